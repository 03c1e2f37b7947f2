//! Calls: the list, the page on which one is worked, and what is said in it.

mod closing;
mod known;
pub mod lamp_panel;
mod said;
mod say;
mod sheet;
mod standing;

pub use closing::{end, report};
pub use say::{answer, change, lamps, positions, say};

use std::sync::Arc;

use axum::Form;
use axum::extract::{Path, Query, State};
use axum::response::{IntoResponse, Redirect, Response};
use diagnose::call::code::{self, CodeMistake};
use diagnose::call::{Entry, Session, fingerprint};
use machine::Choice;
use maud::html;
use records::{Call, CallFilter, CallId, Change, ChangeError, MachineId, NewCall, Page, TimePlace};
use serde::Deserialize;

use crate::layout::{self, Here};
use crate::machines;
use crate::mistake::Mistake;
use crate::office::Office;
use crate::rooms;
use crate::visitor;
use crate::words::{day, moment};

/// Calls on a page of the list.
const ROWS: usize = 50;

/// How a call is looked at: kept in the address, so that two windows can look at it in their own ways.
#[derive(Clone, Debug, Default, Deserialize)]
pub struct Way {
    /// Language of whoever is on the phone.
    #[serde(default)]
    pub speak: String,
    /// `library`: without the rates that were learned.
    #[serde(default)]
    pub rates: String,
    /// Which of the proposals is asked, from 1.
    #[serde(default)]
    pub proposal: Option<usize>,
}

impl Way {
    pub fn learned(&self) -> bool {
        self.rates != "library"
    }

    /// The same, to be put behind an address.
    pub fn query(&self) -> String {
        let mut parts = Vec::new();
        if crate::words::LANGUAGES.iter().any(|(tag, _)| *tag == self.speak) && self.speak != "en" {
            parts.push(format!("speak={}", self.speak));
        }
        if !self.learned() {
            parts.push("rates=library".to_owned());
        }
        if parts.is_empty() { String::new() } else { format!("?{}", parts.join("&")) }
    }
}

/// Which calls are listed.
#[derive(Debug, Default, Deserialize)]
pub struct Wanted {
    #[serde(default)]
    time: Option<i64>,
    #[serde(default)]
    id: Option<i64>,
}

/// The list of calls, the newest first.
pub async fn list(State(office): State<Arc<Office>>, Query(wanted): Query<Wanted>) -> Result<Response, Mistake> {
    work(move || {
        let after = wanted.time.zip(wanted.id).map(|(time, id)| TimePlace { time, id });
        let listed = office.store().calls(&CallFilter::default(), &Page { after, rows: ROWS })?;
        let body = html! {
            h1 { "Calls" }
            (table(&listed.rows, Columns::All))
            @if let Some(next) = listed.next {
                p { a.button href={ "/calls?time=" (next.time) "&id=" (next.id) } { "Older calls" } }
            }
        };
        Ok(layout::page("Calls", Here::Calls, &body))
    })
    .await
}

/// What is shown of each call in a list.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Columns {
    /// All of it.
    All,
    /// Without findings, which open calls do not have yet.
    Open,
    /// Without the machine, which the page is about.
    OfMachine,
}

/// Calls as a table, in which a narrow screen puts what belongs to a call below each other.
pub fn table(rows: &[records::CallRow], columns: Columns) -> maud::Markup {
    html! {
        @if rows.is_empty() {
            p { "None yet." }
        } @else {
            div.wide tabindex="0" {
                table.stacked {
                    thead { tr {
                        th scope="col" { "Call" }
                        th scope="col" { "Began" }
                        @if columns != Columns::OfMachine { th scope="col" { "Machine" } }
                        th scope="col" { "Complaint" }
                        @if columns != Columns::Open { th scope="col" { "Finding" } }
                    } }
                    tbody {
                        @for row in rows {
                            tr {
                                td.nowrap { a href={ "/calls/" (row.id) } { "No. " (row.id) } @if row.state == records::State::Open { " " span.mark { "open" } } }
                                td.nowrap { (day(row.began)) }
                                @if columns != Columns::OfMachine { td { (row.type_name) @if !row.serial.is_empty() { " " (row.serial) } @if !row.site_name.is_empty() { " " small.below { (row.site_name) } } } }
                                td { (said::complaint_in_words(&row.complaint)) }
                                @if columns != Columns::Open { td { (row.finding) } }
                            }
                        }
                    }
                }
            }
        }
    }
}

/// A call to be begun.
#[derive(Debug, Deserialize)]
pub struct Begin {
    /// A serial number, as typed; empty with a type.
    #[serde(default)]
    serial: String,
    /// The short name of a machine type, for a machine that is not in the records.
    #[serde(default)]
    machine_type: String,
    #[serde(default)]
    revision: String,
    /// Its own settings, for a machine that is not in the records.
    #[serde(default)]
    settings: String,
    /// Minutes until somebody qualified for everything can be there; empty: as usual.
    #[serde(default)]
    visit: String,
    /// The code from an offline guide.
    #[serde(default)]
    code: String,
    /// A machine in the records by its number there.
    #[serde(default)]
    machine: Option<i64>,
}

/// The machine type whose guide gave this code: tried are the current file of each, and its revisions.
fn of_code(office: &Office, typed: &str) -> Result<(NewCall, Vec<Entry>), Mistake> {
    let types = office.store().machine_types()?;
    let mut why = None;
    for one in &types {
        let reading = office.store().version_text(one.current)?.reading();
        let print = fingerprint(reading.sources.iter().map(|source| source.text.as_str()));
        let revisions = reading.revisions().iter().map(|revision| Some(revision.name.clone()));
        for revision in std::iter::once(None).chain(revisions) {
            let choice = Choice { revision, ..Choice::default() };
            let resolved = reading.resolve(&choice);
            let Some(first) = resolved.alternatives.first() else { continue };
            match code::decode(&first.machine, &print, typed) {
                Ok(entered) => {
                    let entries = entered.entries(&first.machine);
                    return Ok((NewCall::Of { machine_type: one.id, choice }, entries));
                }
                // That it is of another file is the usual case here; any other mistake is the code's own.
                Err(mistake) => why = why.or(Some(mistake).filter(|one| *one != CodeMistake::OtherMachine)),
            }
        }
    }
    Err(match why {
        Some(mistake) => Mistake::wrong(mistake.to_string(), mistake.hint()),
        None => Mistake::wrong(
            "the code comes from a guide of another machine or of an older machine file",
            "begin the call on the machine type and ask for the lamps",
        ),
    })
}

/// Begins a call, on the machine with this serial number or on one of a type.
pub async fn begin(State(office): State<Arc<Office>>, Form(begin): Form<Begin>) -> Result<Response, Mistake> {
    work(move || {
        if !begin.code.trim().is_empty() {
            let (new, entries) = of_code(&office, begin.code.trim())?;
            let mut store = office.store();
            let call = store.begin_call(&new, office.now())?;
            return match store.change(call, 0, &Change::Add(entries), office.now()) {
                Ok(_) => Ok(Redirect::to(&format!("/calls/{call}")).into_response()),
                Err(ChangeError::Error(error)) => Err(error.into()),
                Err(ChangeError::Conflict(conflict)) => {
                    Err(Mistake::wrong(conflict.to_string(), "look at the open calls"))
                }
            };
        }
        let serial = begin.serial.trim();
        let visit = visit(&begin.visit)?;
        let mut store = office.store();
        let new = if let Some(machine) = begin.machine {
            NewCall::On(MachineId(machine))
        } else if serial.is_empty() || !begin.machine_type.is_empty() {
            let machine_type = store.machine_type_named(&begin.machine_type)?;
            let machine_type = machine_type
                .ok_or_else(|| Mistake::wrong("no machine was named", "type a serial number, or choose a type"))?;
            let revision = Some(begin.revision.trim().to_owned()).filter(|name| !name.is_empty());
            let settings = machines::settings(&begin.settings)?;
            let as_kept = revision.is_none() && settings.is_empty();
            let known = store.machines_with_serial(serial)?;
            match known.iter().find(|one| one.machine_type == machine_type.id && as_kept) {
                Some(known) => NewCall::On(known.id),
                None => {
                    let number = if revision.is_none() { records::serial_number(serial) } else { None };
                    let choice = Choice { revision, serial: number, settings };
                    store.check_choice(machine_type.id, &choice)?;
                    NewCall::Of { machine_type: machine_type.id, choice }
                }
            }
        } else {
            let found = store.machines_with_serial(serial)?;
            match found.as_slice() {
                [one] => NewCall::On(one.id),
                [] => {
                    let what = format!("no machine in the records has the serial number \"{serial}\"");
                    return Err(Mistake::wrong(
                        what,
                        "look whether it was misheard, or begin the call on a machine type",
                    ));
                }
                several => {
                    let body = html! {
                        h1 { "Which one?" }
                        p { "More than one machine has the serial number " (serial) "." }
                        ul.plain { @for one in several { li {
                            form method="post" action="/calls" { (visitor::proof())
                                input type="hidden" name="machine" value=(one.id);
                                button { (one.type_name) " " (one.serial) ", " (one.site_name) }
                            }
                        } } }
                    };
                    return Ok(layout::page("Which machine?", Here::Front, &body));
                }
            }
        };
        let call = store.begin_call_from(&new, visit, None, office.now())?;
        Ok(Redirect::to(&format!("/calls/{call}")).into_response())
    })
    .await
}

/// Minutes until somebody can be there, as typed; none if nothing was.
fn visit(typed: &str) -> Result<Option<u32>, Mistake> {
    let typed = typed.trim();
    if typed.is_empty() {
        return Ok(None);
    }
    let minutes = typed.parse().ok().filter(|minutes| f64::from(*minutes) <= records::MOST_MINUTES);
    let wrong =
        || Mistake::wrong(format!("\"{typed}\" are no minutes until a visit"), "write whole minutes, such as 180");
    minutes.map(Some).ok_or_else(wrong)
}

/// Runs what takes a while where it keeps no other request waiting.
pub async fn work(what: impl FnOnce() -> Result<Response, Mistake> + Send + 'static) -> Result<Response, Mistake> {
    let visitor = visitor::now();
    tokio::task::spawn_blocking(|| visitor.sync_scope(what)).await.unwrap_or_else(|_| {
        let status = axum::http::StatusCode::INTERNAL_SERVER_ERROR;
        let hint = "nothing was lost that a page has shown; please report it with what was done".to_owned();
        Err(Mistake { status, what: "a mistake in this program".to_owned(), hint })
    })
}

/// The machine that a request is about.
pub enum About {
    /// That of a call.
    Call(i64),
    /// A machine in the records.
    Machine(i64),
    /// A machine type.
    Type(i64),
    /// A machine type by its short name.
    TypeNamed(String),
}

/// The same for what needs a machine worked out. One that takes long keeps no other request waiting either.
pub async fn work_about(
    office: &Arc<Office>,
    about: About,
    what: impl FnOnce() -> Result<Response, Mistake> + Send + 'static,
) -> Result<Response, Mistake> {
    let office = Arc::clone(office);
    work(move || {
        if !office.takes_long(&about) {
            return what();
        }
        let visitor = visitor::now();
        rooms::work(|| visitor.sync_scope(what))
    })
    .await
}

/// A call with what is known in it.
pub struct Desk {
    pub call: Call,
    pub session: Arc<Session>,
    pub way: Way,
    /// How the call was to be closed, if that could not be taken.
    pub closing: closing::Tried,
}

impl Desk {
    pub fn of(office: &Office, call: CallId, way: Way) -> Result<Self, Mistake> {
        let call = office.store().call(call)?;
        let session = office.session(&call, way.learned())?;
        Ok(Self { call, session, way, closing: closing::Tried::default() })
    }

    /// Whether an entry could not be read, and is left out of all that is worked out.
    pub fn is_left_out(&self, entry: &Entry) -> bool {
        !self.session.entries().contains(entry)
    }

    pub fn title(&self) -> String {
        let row = &self.call.row;
        let serial = if row.serial.is_empty() { String::new() } else { format!(" {}", row.serial) };
        format!("Call {} on {}{serial}", row.id, row.type_name)
    }
}

/// The page of a call.
pub async fn page(
    State(office): State<Arc<Office>>,
    Path(call): Path<i64>,
    Query(way): Query<Way>,
) -> Result<Response, Mistake> {
    work_about(&Arc::clone(&office), About::Call(call), move || {
        let desk = Desk::of(&office, CallId(call), way)?;
        Ok(layout::page(&desk.title(), Here::Calls, &sheet::whole(&desk, None)))
    })
    .await
}

/// Whether the script asks for a piece of the page, or somebody without scripts for all of it.
#[derive(Debug, Default, Deserialize)]
pub struct Piece {
    #[serde(default)]
    piece: String,
}

/// What to do next, which takes longer than the rest.
pub async fn next(
    State(office): State<Arc<Office>>,
    Path(call): Path<i64>,
    Query(way): Query<Way>,
    Query(Piece { piece }): Query<Piece>,
) -> Result<Response, Mistake> {
    work_about(&Arc::clone(&office), About::Call(call), move || {
        let desk = Desk::of(&office, CallId(call), way)?;
        // One at a time: what is known in other calls is not to wait for what to ask in this one. What takes long is done
        // elsewhere, and is not waited for.
        let _turn = (!office.takes_long(&About::Call(call))).then(|| office.turn());
        if piece == "yes" {
            return Ok(layout::piece(sheet::next(&desk)));
        }
        Ok(layout::page(&desk.title(), Here::Calls, &sheet::next_alone(&desk)))
    })
    .await
}

/// When a call began and changed last.
fn times(call: &Call) -> String {
    format!("began {}, changed {}", moment(call.row.began), moment(call.row.changed))
}
