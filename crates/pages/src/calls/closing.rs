//! The end of a call: what it was, what it took; and all of it as a page to print or to paste.

use std::sync::Arc;

use axum::Form;
use axum::extract::{Path, Query, State as Shared};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Redirect, Response};
use diagnose::call::{Ending, Session};
use maud::{Markup, html};
use records::accounts::Role;
use records::{
    CallId, ChangeError, ErrorKind, Finding, HIGHEST_PRICE, MOST_MINUTES, MOST_PARTS, MOST_VISITS, PartUsed, Solved,
    State, Stated,
};
use serde::Deserialize;

use super::{About, Desk, Way, sheet, work_about};
use crate::layout::{self, Here};
use crate::mistake::Mistake;
use crate::office::Office;
use crate::visitor;
use crate::words::{minutes, percent};

/// Causes that can be chosen as the finding.
const OFFERED: usize = 12;
/// What was stated is kept for so many causes.
const STATED: usize = 20;

/// The causes that were thought of, most probable first: key, words, probability, remedy.
fn thought_of(session: &Session) -> Vec<(String, String, f64, Option<String>)> {
    let mut all: Vec<(String, String, f64, Option<String>)> = (session.now().answer.causes.iter())
        .flat_map(|cause| &cause.members)
        .map(|member| (member.key.clone(), member.with_device(), member.probability, member.remedy.clone()))
        .collect();
    all.sort_by(|one, other| other.2.total_cmp(&one.2));
    all
}

/// What is wrong with a field of the form.
#[derive(Debug)]
struct Wrong {
    field: &'static str,
    why: String,
}

/// How a call was to be closed, and why that could not be taken; nothing if nobody has tried.
#[derive(Debug, Default)]
pub struct Tried {
    filled: Filled,
    wrong: Vec<Wrong>,
}

impl Tried {
    fn is_there(&self) -> bool {
        !self.wrong.is_empty()
    }

    /// What was typed into a field, or what stands there at first.
    fn typed<'t>(&'t self, name: &str, first: &'t str) -> &'t str {
        if self.is_there() { self.filled.one(name) } else { first }
    }

    fn has(&self, cause: &str) -> bool {
        self.filled.causes.iter().any(|one| one == cause)
    }

    /// What is wrong with a field, to stand below it.
    fn beside(&self, field: &'static str) -> Markup {
        html! {
            @for wrong in self.wrong.iter().filter(|wrong| wrong.field == field) {
                p.mistake id={ "wrong-" (field) } { (wrong.why) }
            }
        }
    }

    fn is_wrong(&self, field: &str) -> Option<&'static str> {
        self.wrong.iter().any(|wrong| wrong.field == field).then_some("true")
    }

    /// The id of what is said of a field, for those who can't see that it stands below.
    fn said_of(&self, field: &str) -> Option<String> {
        self.is_wrong(field).map(|_| format!("wrong-{field}"))
    }
}

fn field(tried: &Tried, name: &'static str, label: &str, first: &str, longest: usize, mode: &str) -> Markup {
    html! {
        label for=(name) { (label) }
        input id=(name) name=(name) maxlength=(longest) inputmode=(mode) autocomplete="off" value=(tried.typed(name, first)) aria-invalid=[tried.is_wrong(name)] aria-describedby=[tried.said_of(name)];
        (tried.beside(name))
    }
}

/// The form in which the finding is kept and the call is closed. What was typed and could not be taken stands there
/// still, with what is wrong beside it.
pub fn form(desk: &Desk) -> Markup {
    let offered = thought_of(&desk.session);
    let tried = &desk.closing;
    let solved = Solved::called(tried.typed("solved", Solved::Phone.word())).unwrap_or(Solved::Phone);
    let sure = tried.typed("sure", "1");
    // What was chosen is offered also when it has become less probable meanwhile.
    let offered = offered.iter().enumerate().filter(|(number, (key, ..))| *number < OFFERED || tried.has(key));
    html! {
        section id="end" {
            details open[tried.is_there()] {
                summary { h2 { "Close the call" } }
                @if tried.is_there() { p.mistake role="alert" { "The call is not closed yet. What is wrong stands beside it." } }
                (tried.beside("form"))
                form method="post" action={ "/calls/" (desk.call.row.id) "/end" } {
                    (sheet::carried(desk))
                    fieldset aria-describedby=[tried.said_of("cause")] {
                        legend { "What it was" }
                        (tried.beside("cause"))
                        @for (number, (key, words, probability, _)) in offered {
                            label.choice { input type="checkbox" name="cause" value=(key) id={ "cause-" (number) } checked[tried.has(key)]; " " (words) " (" (percent(*probability)) ")" }
                        }
                        label.choice { input type="checkbox" name="cause" value="-not-in-file" checked[tried.has("-not-in-file")]; " something that is not in the machine file" }
                        label.choice { input type="checkbox" name="cause" value="-nothing" checked[tried.has("-nothing")]; " nothing was wrong" }
                    }
                    (field(tried, "words", "In words, if it was something else", "", 500, "text"))
                    fieldset {
                        legend { "Put right" }
                        @for (one, words) in [(Solved::Phone, "by whoever was there, led on the phone"), (Solved::Visit, "by somebody who went there"), (Solved::Unsolved, "by nobody")] {
                            label.choice { input type="radio" name="solved" value=(one.word()) checked[solved == one]; " " (words) }
                        }
                    }
                    label for="sure" { "How sure" }
                    select id="sure" name="sure" {
                        @for (value, words) in [("1", "confirmed"), ("0.8", "most probably"), ("0.5", "perhaps")] { option value=(value) selected[sure == value] { (words) } }
                    }
                    (tried.beside("sure"))
                    (field(tried, "confirmed_by", "Confirmed by", "", 200, "text"))
                    (field(tried, "minutes", "Minutes of work", "", 10, "decimal"))
                    (field(tried, "visits", "Visits", "0", 4, "numeric"))
                    label for="parts" { "Parts used, one a line: 2 × reed switch, 14.50" }
                    textarea id="parts" name="parts" rows="3" maxlength="4000" aria-invalid=[tried.is_wrong("parts")] aria-describedby=[tried.said_of("parts")] { (tried.typed("parts", "")) }
                    (tried.beside("parts"))
                    button { "Keep it and close the call" }
                }
            }
        }
    }
}

/// What is shown of a call that is closed.
pub fn closed(desk: &Desk) -> Markup {
    html! {
        section.verdict {
            h2 { "Closed" @if !desk.call.closed_by.is_empty() { " by " (desk.call.closed_by) } }
            @if let Some(finding) = &desk.call.finding {
                p { strong { (finding.words) } }
                p {
                    @match finding.solved { Solved::Phone => "Solved on the phone", Solved::Visit => "Solved by a visit", Solved::Unsolved => "Not solved" }
                    @if let Some(taken) = finding.minutes { ", " (minutes(taken)) " of work" }
                    @if finding.visits > 0 { ", visits: " (finding.visits) }
                    "."
                }
                @if !finding.parts.is_empty() {
                    ul { @for part in &finding.parts { li { (part.count) " × " (part.part) @if let Some(price) = part.price { " at " (format!("{price:.2}")) } } } }
                }
            }
            @if visitor::may(Role::Desk) {
                form method="post" action={ "/calls/" (desk.call.row.id) "/end" } {
                    (sheet::carried(desk))
                    button.second name="again" value="yes" { "Open it again" }
                }
            }
        }
    }
}

/// What was found, as the form says it.
#[derive(Debug, Default)]
struct Filled {
    causes: Vec<String>,
    fields: Vec<(String, String)>,
}

impl Filled {
    fn one(&self, name: &str) -> &str {
        self.fields.iter().find(|(known, _)| known == name).map_or("", |(_, value)| value.trim())
    }

    /// A number in a field; none if it is empty or wrong, which is noted.
    fn number<T>(&self, field: &'static str, most: T, wrong: &mut Vec<Wrong>) -> Option<T>
    where
        T: std::str::FromStr + PartialOrd + std::fmt::Display + Default,
    {
        let text = self.one(field).replace(',', ".");
        if text.is_empty() {
            return None;
        }
        let why = match text.parse::<T>() {
            Ok(value) if value >= T::default() && value <= most => return Some(value),
            Ok(value) => format!("{value} is not to be believed: it goes from 0 to {most}."),
            Err(_) => format!("\"{text}\" is no number; write it in digits."),
        };
        wrong.push(Wrong { field, why });
        None
    }

    /// The finding, or all that is wrong with it.
    fn finding(&self, session: &Session) -> Result<Finding, Vec<Wrong>> {
        let mut wrong = Vec::new();
        let known = thought_of(session);
        let named: Vec<_> = known.iter().filter(|(key, ..)| self.causes.contains(key)).collect();
        let not_in_file = self.causes.iter().any(|key| key == "-not-in-file");
        let nothing = self.causes.iter().any(|key| key == "-nothing");
        let mut words: Vec<String> = named.iter().map(|(_, words, ..)| words.clone()).collect();
        if nothing {
            words.push("nothing was wrong".to_owned());
        }
        if !self.one("words").is_empty() {
            words.push(self.one("words").to_owned());
        } else if not_in_file {
            words.push("something that is not in the machine file".to_owned());
        }
        if words.is_empty() {
            let why = "Nothing says what it was: choose a cause, or write it in words.".to_owned();
            wrong.push(Wrong { field: "cause", why });
        }
        if nothing && (not_in_file || !named.is_empty()) {
            let why = "Nothing was wrong, and something was: take one of them out.".to_owned();
            wrong.push(Wrong { field: "cause", why });
        }
        let mut parts = Vec::new();
        for line in self.one("parts").lines().filter(|line| !line.trim().is_empty()) {
            match part(line) {
                Ok(part) => parts.push(part),
                Err(why) => wrong.push(Wrong { field: "parts", why }),
            }
        }
        let finding = Finding {
            deviations: named.iter().map(|(key, ..)| key.clone()).collect(),
            words: words.join("; "),
            remedies: named.iter().filter_map(|(.., remedy)| remedy.clone()).collect(),
            sure: self.number("sure", 1.0, &mut wrong).unwrap_or(1.0),
            confirmed_by: self.one("confirmed_by").to_owned(),
            not_in_file: not_in_file || (named.is_empty() && !nothing),
            solved: Solved::called(self.one("solved")).unwrap_or_default(),
            minutes: self.number("minutes", MOST_MINUTES, &mut wrong),
            visits: self.number("visits", MOST_VISITS, &mut wrong).unwrap_or(0),
            parts,
            stated: (known.iter().take(STATED))
                .map(|(key, _, probability, _)| Stated { key: key.clone(), probability: probability.clamp(0.0, 1.0) })
                .collect(),
        };
        if wrong.is_empty() { Ok(finding) } else { Err(wrong) }
    }
}

/// A part as it is written: "2 × reed switch, 14.50"; count and price may be missing.
fn part(line: &str) -> Result<PartUsed, String> {
    let line = line.trim();
    let wrong = |what: String| format!("{what}; write it as: 2 × reed switch, 14.50.");
    // Without a sign between them a number is part of the name, as in "2 way valve".
    let (count, rest) = match line.split_once(['×', 'x', '*']) {
        Some((count, rest)) if count.trim().bytes().all(|one| one.is_ascii_digit()) && !count.trim().is_empty() => {
            let count = count.trim().parse().ok().filter(|count| (1..=MOST_PARTS).contains(count));
            (count.ok_or_else(|| wrong(format!("\"{line}\": so many parts are not to be believed")))?, rest)
        }
        _ => (1, line),
    };
    let (name, price) = match rest.rsplit_once(['@', ',']) {
        Some((name, price)) if price.trim().parse::<f64>().is_ok() => (name, price.trim().parse::<f64>().ok()),
        _ => (rest, None),
    };
    // "14,50" was taken apart at its comma.
    let comma = name.rsplit_once([',', ' ']).and_then(|(name, whole)| {
        let whole = whole.trim();
        let cents = rest.rsplit_once(',')?.1.trim();
        let is_price = cents.len() == 2 && !whole.is_empty() && whole.bytes().all(|one| one.is_ascii_digit());
        is_price.then(|| format!("{whole}.{cents}").parse().ok().map(|price: f64| (name, price)))?
    });
    let (name, price) = comma.map_or((name, price), |(name, price)| (name, Some(price)));
    let name = name.trim().trim_end_matches([',', '@']).trim();
    if name.is_empty() {
        return Err(wrong(format!("\"{line}\" names no part")));
    }
    if price.is_some_and(|price| !(0.0..=HIGHEST_PRICE).contains(&price)) {
        return Err(wrong(format!("\"{line}\": this price is not to be believed")));
    }
    Ok(PartUsed { part: name.to_owned(), count, price })
}

/// Keeps the finding and closes the call, or opens it again.
pub async fn end(
    Shared(office): Shared<Arc<Office>>,
    Path(call): Path<i64>,
    Form(fields): Form<Vec<(String, String)>>,
) -> Result<Response, Mistake> {
    work_about(&Arc::clone(&office), About::Call(call), move || {
        let causes = fields.iter().filter(|(name, _)| name == "cause").map(|(_, value)| value.clone()).collect();
        let filled = Filled { causes, fields };
        let seen: Option<u64> = filled.one("seen").parse().ok();
        let seen =
            seen.ok_or_else(|| Mistake::wrong("the form says not what it was filled in on", "load the page anew"))?;
        let way = Way { speak: filled.one("speak").to_owned(), rates: filled.one("rates").to_owned(), proposal: None };
        let call = CallId(call);
        let mut desk = Desk::of(&office, call, way)?;
        let again = |mut desk: Desk, status: StatusCode, filled: Filled, wrong: Vec<Wrong>| {
            desk.closing = Tried { filled, wrong };
            Ok((status, layout::page(&desk.title(), Here::Calls, &sheet::whole(&desk, None))).into_response())
        };
        let is_open = desk.call.row.state == State::Open;
        let changed = if filled.one("again").is_empty() {
            let finding = match filled.finding(&desk.session) {
                Ok(finding) => finding,
                Err(wrong) if is_open => return again(desk, StatusCode::UNPROCESSABLE_ENTITY, filled, wrong),
                Err(_) => Finding::default(),
            };
            office.store().close_call_with(call, seen, &finding, office.now())
        } else {
            office.store().reopen_call(call, seen, office.now())
        };
        match changed {
            Ok(_) => Ok(Redirect::to(&format!("/calls/{call}{}", desk.way.query())).into_response()),
            Err(ChangeError::Conflict(_)) => {
                let why = "Somebody has changed this call in another window meanwhile; what they said is shown here. Look at \
                           it, then close the call if what you typed still holds.";
                desk = Desk::of(&office, call, desk.way)?;
                let wrong = vec![Wrong { field: "form", why: why.to_owned() }];
                if desk.call.row.state == State::Open {
                    return again(desk, StatusCode::CONFLICT, filled, wrong);
                }
                let hint = "go back to the call and look at what it was closed with";
                Err(Mistake::wrong("somebody has closed this call in another window meanwhile", hint))
            }
            Err(ChangeError::Error(error)) if is_open && error.kind == ErrorKind::Refused => {
                let why = format!("{}: {}; {}.", error.place, error.cause, error.hint);
                again(desk, StatusCode::UNPROCESSABLE_ENTITY, filled, vec![Wrong { field: "form", why }])
            }
            Err(ChangeError::Error(error)) => Err(error.into()),
        }
    })
    .await
}

/// Whether the reader wants it bare.
#[derive(Debug, Default, Deserialize)]
pub struct Bare {
    #[serde(flatten)]
    way: Way,
}

/// All of a call on one page.
pub async fn report(
    Shared(office): Shared<Arc<Office>>,
    Path(call): Path<i64>,
    Query(bare): Query<Bare>,
) -> Result<Response, Mistake> {
    work_about(&Arc::clone(&office), About::Call(call), move || {
        let desk = Desk::of(&office, CallId(call), bare.way)?;
        Ok(layout::page(&desk.title(), Here::Calls, &reported(&desk)))
    })
    .await
}

fn reported(desk: &Desk) -> Markup {
    let session = &desk.session;
    let machine = session.machine();
    let row = &desk.call.row;
    let verification = session.verification();
    let settled =
        session.finding().is_some_and(|finding| !matches!(finding.ending, Ending::NotInFile | Ending::FitsBadly));
    html! {
        h1 { "Report of call " (row.id) }
        p {
            strong { (machine.name) } @if !row.serial.is_empty() { ", serial number " (row.serial) }
            @if let Some(revision) = &machine.revision { ", revision " (revision) }
            @if !row.site_name.is_empty() { ", " (row.site_name) }
            @if !machine.version.is_empty() { " (machine file version " (machine.version) ")" } ", "
            (super::times(&desk.call)) "."
        }
        @if let Some(finding) = &desk.call.finding { p.verdict { strong { (finding.words) } } } @else { (sheet::verdict(desk)) }
        h2 { "What was said" }
        ol.said { @for at in 0..session.entries().len() { li { (sheet::in_words(desk, session.entries(), at)) } } }
        h2 { "What is known" }
        (super::known::known(&session.now().answer))
        h2 id="ruled-out" { "What has been ruled out" }
        @let ruled = session.ruled_out();
        @if ruled.is_empty() { p { "Nothing that had some weight." } }
        ul.plain { @for one in ruled { li { (one.words) ": from " (percent(one.before)) " to " (percent(one.now)) " by entry " (one.entry + 1) } } }
        @if settled && !verification.steps.is_empty() {
            h2 { "How to find out that it runs" }
            @if !verification.moves.is_empty() { p.caution { "This moves by itself: " (verification.moves.join(", ")) ". Guards shut, everybody clear." } }
            ol { @for step in &verification.steps { li { (step.english) } } }
            p { "Then lit: " @if verification.lit_after.is_empty() { "no lamp" } @else { (verification.lit_after.join(", ")) } @if !verification.blink_after.is_empty() { "; blinking: " (verification.blink_after.join(", ")) } "; all others dark." }
        }
        p { a href={ "/calls/" (row.id) (desk.way.query()) } { "Back to the call" } }
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    #[test]
    fn parts_are_read_as_they_are_written() {
        for (line, part_name, count, price) in [
            ("2 × reed switch, 14.50", "reed switch", 2, Some(14.5)),
            ("2 x reed switch, 14,50", "reed switch", 2, Some(14.5)),
            ("fuse", "fuse", 1, None),
            ("1 x belt @ 5", "belt", 1, Some(5.0)),
            ("fuse 3,50", "fuse", 1, Some(3.5)),
            ("hose, black", "hose, black", 1, None),
        ] {
            assert_eq!(part(line).unwrap(), PartUsed { part: part_name.to_owned(), count, price }, "{line}");
        }
        for line in ["99999999999999999999 x fuse", "0 x fuse", "2 x", "fuse, -4"] {
            assert!(part(line).is_err(), "{line}");
        }
    }
}
