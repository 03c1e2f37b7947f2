//! What is said in a call: understood first, then kept, then shown.

use std::sync::Arc;

use axum::Form;
use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Redirect, Response};
use diagnose::call::{Entry, Kind, Session, Understood, added};
use diagnose::reading::{MistakeKind, ReadingError, describe_lamps};
use records::{CallId, Change, ChangeError};

use super::{About, Desk, Way, lamp_panel, sheet, standing, work_about};
use crate::layout::{self, Here};
use crate::mistake::Mistake;
use crate::office::{Office, terms};

/// The fields of a form, in order, each as often as it stands there.
type Fields = Vec<(String, String)>;

fn one<'f>(fields: &'f Fields, name: &str) -> &'f str {
    fields.iter().find(|(known, _)| known == name).map_or("", |(_, value)| value.as_str())
}

/// What was typed and could not be taken, and why.
pub struct Refused {
    /// What was typed.
    pub typed: String,
    /// Why it was not taken.
    pub why: Vec<String>,
}

fn refused(typed: &str, mistakes: &[ReadingError]) -> Refused {
    let why = mistakes.iter().map(|one| format!("{}. {}", one.what, hint(one))).collect();
    Refused { typed: typed.to_owned(), why }
}

/// What to do about it. What the dialogue on the command line would have typed is done elsewhere on the page.
fn hint(mistake: &ReadingError) -> &str {
    if mistake.kind == MistakeKind::Contradiction && mistake.hint.contains("`change ") {
        return "Put that entry right below \"What was said\"; if it has changed meanwhile, choose \"lamps once more\" or \
                \"what was done now\" below \"Say more\"";
    }
    &mistake.hint
}

/// A form that was sent: the call as it is now, and the counter that was seen when it was filled in.
struct Sent {
    desk: Desk,
    seen: u64,
}

impl Sent {
    fn of(office: &Office, call: i64, fields: &Fields) -> Result<Self, Mistake> {
        let seen = one(fields, "seen").parse().map_err(|_| {
            Mistake::wrong("the form says not what it was filled in on", "go back and load the page anew")
        })?;
        let way =
            Way { speak: one(fields, "speak").to_owned(), rates: one(fields, "rates").to_owned(), proposal: None };
        Ok(Self { desk: Desk::of(office, CallId(call), way)?, seen })
    }
}

/// Takes a change, if it can be understood and nobody was quicker; then shows the page.
fn take(office: &Office, Sent { desk, seen }: Sent, typed: &str, what: &Change) -> Result<Response, Mistake> {
    let call = desk.call.row.id;
    let entries = match what {
        Change::Add(new) => Some(added(&desk.call.entries, new.clone())),
        Change::Replace { at, entry } => {
            let mut entries = desk.call.entries.clone();
            let place = entries.get_mut(*at).ok_or_else(|| Mistake::not_there("this entry is not there any more"))?;
            *place = entry.clone();
            Some(entries)
        }
        Change::Remove { at } => {
            let mut entries = desk.call.entries.clone();
            if *at < entries.len() {
                entries.remove(*at);
            }
            Some(entries)
        }
        Change::Undo => None,
    };
    let mut fresh: Option<Session> = None;
    if let Some(mut entries) = entries.filter(|_| seen == desk.call.row.counter) {
        // What could not be read before keeps nothing else from being said.
        entries.retain(|entry| !desk.call.entries.contains(entry) || !desk.is_left_out(entry));
        let machine_type = Some(desk.call.row.machine_type).filter(|_| desk.way.learned());
        let machine =
            office.worked_out(desk.call.row.version, &desk.call.choice, desk.call.origin.as_ref(), machine_type)?;
        let terms = terms(&machine, &desk.call);
        match Session::of(machine, terms, entries) {
            Ok(session) => fresh = Some(session),
            Err(mistakes) => {
                let all: Vec<ReadingError> = mistakes.into_iter().flat_map(|one| one.mistakes).collect();
                return Ok(shown_again(&desk, StatusCode::UNPROCESSABLE_ENTITY, &refused(typed, &all)));
            }
        }
    }
    // Without the binding the records would stay locked while the page is made.
    let changed = office.store().change(call, seen, what, office.now());
    match changed {
        Ok(counter) => {
            if let Some(session) = fresh {
                office.keep(call, counter, desk.way.learned(), session);
            }
            Ok(Redirect::to(&format!("/calls/{call}{}#next", desk.way.query())).into_response())
        }
        Err(ChangeError::Conflict(_)) => {
            let desk = Desk::of(office, call, desk.way)?;
            Ok(changed_meanwhile(&desk, typed))
        }
        Err(ChangeError::Error(error)) => Err(error.into()),
    }
}

fn changed_meanwhile(desk: &Desk, typed: &str) -> Response {
    let why = "Somebody has changed this call in another window meanwhile. What they said is shown here; what you said \
               was not taken. Say it once more if it still holds.";
    let again = Refused { typed: typed.to_owned(), why: vec![why.to_owned()] };
    shown_again(desk, StatusCode::CONFLICT, &again)
}

fn shown_again(desk: &Desk, status: StatusCode, refused: &Refused) -> Response {
    (status, layout::page(&desk.title(), Here::Calls, &sheet::whole(desk, Some(refused)))).into_response()
}

/// Where the entries of the last moment begin.
fn present(entries: &[Entry]) -> usize {
    let begins = |entry: &Entry| matches!(entry.kind, Kind::Then | Kind::Tried | Kind::Again);
    entries.iter().rposition(begins).map_or(0, |at| at + 1)
}

/// Says something in the place of the first entry of its kind at the last moment, or beside all if there is none.
fn instead(entries: &[Entry], entry: Entry) -> Change {
    let begin = present(entries);
    match entries.iter().skip(begin).position(|said| said.kind == entry.kind) {
        Some(at) => Change::Replace { at: begin + at, entry },
        None => Change::Add(vec![entry]),
    }
}

/// The lamps as tapped or typed. They take the place of what was said of them at the same moment.
pub async fn lamps(
    State(office): State<Arc<Office>>,
    Path(call): Path<i64>,
    Form(fields): Form<Fields>,
) -> Result<Response, Mistake> {
    work_about(&Arc::clone(&office), About::Call(call), move || {
        let sent = Sent::of(&office, call, &fields)?;
        let typed = one(&fields, "typed").trim().to_owned();
        let text = if typed.is_empty() {
            let machine = sent.desk.session.machine();
            let tapped: Vec<String> =
                fields.iter().filter(|(name, _)| name == "lamp").map(|(_, value)| value.clone()).collect();
            let reports = lamp_panel::read(machine, &tapped, !one(&fields, "rest_dark").is_empty());
            describe_lamps(machine, &reports)
        } else {
            typed.clone()
        };
        if text.is_empty() {
            return Err(Mistake::wrong(
                "no lamp was seen",
                "tap the lamps that are lit, then say that the others are dark",
            ));
        }
        let entry = Entry::new(Kind::Lamps, &text);
        let change = if typed.is_empty() { instead(&sent.desk.call.entries, entry) } else { Change::Add(vec![entry]) };
        take(&office, sent, &text, &change)
    })
    .await
}

/// Where things stand, as it was chosen. It takes the place of what was said of that at the same moment.
pub async fn positions(
    State(office): State<Arc<Office>>,
    Path(call): Path<i64>,
    Form(fields): Form<Fields>,
) -> Result<Response, Mistake> {
    work_about(&Arc::clone(&office), About::Call(call), move || {
        let sent = Sent::of(&office, call, &fields)?;
        let chosen = fields.iter().filter(|(name, _)| name == "position").map(|(_, value)| value.as_str());
        let text = standing::read(sent.desk.session.machine(), chosen);
        if text.is_empty() {
            return Err(Mistake::wrong("of nothing was said where it stands", "choose it for what the caller sees"));
        }
        let change = instead(&sent.desk.call.entries, Entry::new(Kind::Saw, &text));
        take(&office, sent, &text, &change)
    })
    .await
}

/// Anything that can be said, by its kind.
pub async fn say(
    State(office): State<Arc<Office>>,
    Path(call): Path<i64>,
    Form(fields): Form<Fields>,
) -> Result<Response, Mistake> {
    work_about(&Arc::clone(&office), About::Call(call), move || {
        let sent = Sent::of(&office, call, &fields)?;
        let kind = Kind::called(one(&fields, "kind"))
            .ok_or_else(|| Mistake::wrong("what it is about is not known", "choose it from the list"))?;
        let text = one(&fields, "text").trim().to_owned();
        if text.is_empty() {
            return Err(Mistake::wrong("nothing was said", "type what the caller says"));
        }
        let change = Change::Add(vec![Entry::new(kind, &text)]);
        take(&office, sent, &text, &change)
    })
    .await
}

/// The answer to a question, by its key.
pub async fn answer(
    State(office): State<Arc<Office>>,
    Path(call): Path<i64>,
    Form(fields): Form<Fields>,
) -> Result<Response, Mistake> {
    work_about(&Arc::clone(&office), About::Call(call), move || {
        let sent = Sent::of(&office, call, &fields)?;
        let desk = &sent.desk;
        let key = one(&fields, "question");
        let question = desk.session.question_called(key);
        let Some(question) = question.filter(|_| sent.seen == desk.call.row.counter) else {
            // Somebody else has said something; what was asked may not be the question any more.
            return Ok(changed_meanwhile(desk, one(&fields, "said")));
        };
        let new = match one(&fields, "leave") {
            "unknown" => vec![desk.session.leave_out(Kind::Unknown, question)],
            "cannot" => vec![desk.session.leave_out(Kind::Cannot, question)],
            _ => {
                let said = match one(&fields, "said") {
                    "" => one(&fields, "typed").trim(),
                    said => said,
                };
                match desk.session.understand(question, said) {
                    Understood::Entries(entries) => entries,
                    Understood::AskMore(more) => {
                        let why = vec![more];
                        let again = Refused { typed: said.to_owned(), why };
                        return Ok(shown_again(desk, StatusCode::UNPROCESSABLE_ENTITY, &again));
                    }
                    Understood::Not { mistakes, .. } => {
                        let again = refused(said, &mistakes);
                        return Ok(shown_again(desk, StatusCode::UNPROCESSABLE_ENTITY, &again));
                    }
                }
            }
        };
        let typed = new.iter().map(ToString::to_string).collect::<Vec<_>>().join("; ");
        take(&office, sent, &typed, &Change::Add(new))
    })
    .await
}

/// Corrects an entry, takes it out, or takes the last change back.
pub async fn change(
    State(office): State<Arc<Office>>,
    Path(call): Path<i64>,
    Form(fields): Form<Fields>,
) -> Result<Response, Mistake> {
    work_about(&Arc::clone(&office), About::Call(call), move || {
        let sent = Sent::of(&office, call, &fields)?;
        let at = || -> Result<usize, Mistake> {
            one(&fields, "at").parse().map_err(|_| Mistake::wrong("no entry was named", "go back to the call"))
        };
        let change = match one(&fields, "what") {
            "undo" => Change::Undo,
            "remove" => Change::Remove { at: at()? },
            _ => {
                let at = at()?;
                let known = sent
                    .desk
                    .call
                    .entries
                    .get(at)
                    .ok_or_else(|| Mistake::not_there("this entry is not there any more"))?;
                Change::Replace { at, entry: Entry::new(known.kind, one(&fields, "text")) }
            }
        };
        take(&office, sent, one(&fields, "text"), &change)
    })
    .await
}
