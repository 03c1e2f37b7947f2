//! Lists in and out: machines, calls, findings, running hours and procedures as CSV or JSON Lines. A list that is taken in
//! is looked over first; with any problem nothing of it is kept.

use std::collections::VecDeque;
use std::sync::Arc;

use axum::Form;
use axum::extract::{Multipart, Path, State};
use axum::http::{HeaderValue, StatusCode, header};
use axum::response::{IntoResponse, Response};
use maud::{Markup, html};
use records::accounts::Role;
use records::transfer::{Format, Report, Things};
use serde::Deserialize;

use crate::calls::work;
use crate::layout::{self, Here};
use crate::mistake::Mistake;
use crate::office::Office;
use crate::visitor::{self, Visitor};
use crate::words::marked;

/// Bytes that a list may have here; the command takes larger ones.
pub const LARGEST: usize = 5_000_000;
/// Lists that wait to be taken in after they were looked over; the oldest makes room.
const WAITING: usize = 4;

/// How lists are written: end of the file's name, in words, and as what they are sent.
const FORMATS: [(Format, &str, &str, &str); 2] = [
    (Format::Csv, "csv", "CSV", "text/csv; charset=utf-8"),
    (Format::JsonLines, "jsonl", "JSON Lines", "application/jsonl; charset=utf-8"),
];

fn words(things: Things) -> &'static str {
    match things {
        Things::Machines => "Machines",
        Things::Calls => "Calls, with what was said",
        Things::Findings => "Findings",
        Things::Hours => "Running hours and cycles",
        Things::Procedures => "Procedures, with what was measured",
    }
}

/// A list that was looked over and has no problems.
struct Looked {
    number: u64,
    by: Visitor,
    things: Things,
    format: Format,
    text: Vec<u8>,
}

/// Lists that were looked over, until somebody takes them in.
#[derive(Default)]
pub struct LookedOver {
    last: u64,
    lists: VecDeque<Looked>,
}

impl LookedOver {
    fn put(&mut self, things: Things, format: Format, text: Vec<u8>) -> u64 {
        self.last += 1;
        self.lists.push_back(Looked { number: self.last, by: visitor::now(), things, format, text });
        while self.lists.len() > WAITING {
            self.lists.pop_front();
        }
        self.last
    }

    /// The list of this number, for whoever has looked it over.
    fn take(&mut self, number: u64) -> Option<Looked> {
        let by = visitor::now();
        let at = self.lists.iter().position(|one| one.number == number && one.by == by)?;
        self.lists.remove(at)
    }
}

fn form() -> Markup {
    html! {
        form method="post" action="/lists" enctype="multipart/form-data" {
            // The proof comes first, so that it can be looked at before the file.
            (visitor::proof())
            label for="what" { "What it is" }
            select id="what" name="what" { @for things in Things::ALL { option value=(things.word()) { (words(things)) } } }
            label for="file" { "The list, CSV or JSON Lines, of at most " (LARGEST / 1_000_000) " MB" }
            input id="file" name="file" type="file" required accept=".csv,.txt,.jsonl,.ndjson,.json";
            p { button { "Look it over" } }
        }
        p.aside { "Nothing is kept by looking it over. Larger lists go in with " code { "lampwise records import" } "." }
        details {
            summary { "Which columns a list has" }
            @for things in Things::ALL {
                h3 { (words(things)) }
                p {
                    @for (number, (name, needed)) in things.fields().iter().enumerate() {
                        @if number > 0 { ", " }
                        @if *needed { strong { (name) } } @else { (name) }
                    }
                }
            }
            p.aside { "Each row needs those in bold. A list that was taken out has all of them, and goes in again as it is." }
        }
    }
}

fn page_of(above: &Markup) -> Markup {
    html! {
        h1 { "Lists in and out" }
        (above)
        h2 { "Out" }
        div.wide tabindex="0" {
            table {
                thead { tr { th scope="col" { "What" } @for (.., name, _) in FORMATS { th scope="col" { (name) } } } }
                tbody { @for things in Things::ALL { tr {
                    td { (words(things)) }
                    @for (_, end, ..) in FORMATS { td {
                        a href={ "/lists/" (things.word()) "." (end) } { (things.word()) "." (end) }
                    } }
                } } }
            }
        }
        @if visitor::may(Role::Editor) { h2 { "In" } (form()) }
    }
}

/// The page with all of them.
pub async fn page() -> Response {
    layout::page("Lists", Here::Lists, &page_of(&html! {}))
}

/// A list, to be saved.
pub async fn out(State(office): State<Arc<Office>>, Path(what): Path<String>) -> Result<Response, Mistake> {
    work(move || {
        let not_there = || Mistake::not_there("there is no such list");
        let (word, end) = what.rsplit_once('.').ok_or_else(not_there)?;
        let things = Things::called(word).ok_or_else(not_there)?;
        let format = FORMATS.iter().find(|(_, known, ..)| *known == end);
        let (format, .., kind) = *format.ok_or_else(not_there)?;
        let mut text = Vec::new();
        office.aside(|store| store.export(things, format, &mut text))?;
        let mut response = ([(header::CONTENT_TYPE, kind)], text).into_response();
        if let Ok(name) = HeaderValue::from_str(&format!("attachment; filename=\"{what}\"")) {
            response.headers_mut().insert(header::CONTENT_DISPOSITION, name);
        }
        Ok(response)
    })
    .await
}

fn reported(report: &Report, things: Things) -> Markup {
    html! {
        @if !report.problems.is_empty() {
            p.mistake role="alert" {
                "Nothing was kept: " (report.problems.len() as u64 + report.more_problems) " of " (report.rows) " rows of " (things.word()) " have a problem."
            }
            div.wide tabindex="0" {
                table {
                    thead { tr { th.number scope="col" { "Line" } th scope="col" { "What is wrong" } th scope="col" { "What to do" } } }
                    tbody { @for one in &report.problems { tr { td.number { (one.line) } td { (marked(&one.what)) } td { (marked(&one.hint)) } } } }
                }
            }
            @if report.more_problems > 0 { p { "And " (report.more_problems) " more." } }
        } @else {
            p { (report.rows) @if report.rows == 1 { " row of " } @else { " rows of " } (things.word()) ": " (report.added) " new, " (report.changed) " changed, " (report.unchanged) " as before." }
        }
    }
}

/// What a form with a file says.
#[derive(Default)]
struct Sent {
    what: String,
    name: String,
    text: Vec<u8>,
}

async fn sent(mut fields: Multipart) -> Result<Sent, Mistake> {
    let unreadable = |error: axum::extract::multipart::MultipartError| {
        let hint = "choose the file once more; larger lists go in with `lampwise records import`".to_owned();
        let too_large = error.status() == StatusCode::PAYLOAD_TOO_LARGE;
        let what = match too_large {
            true => format!("the list is larger than {} MB", LARGEST / 1_000_000),
            false => "the form can't be read".to_owned(),
        };
        Mistake { status: error.status(), what, hint }
    };
    let mut sent = Sent::default();
    while let Some(field) = fields.next_field().await.map_err(unreadable)? {
        match field.name() {
            Some("what") => sent.what = field.text().await.map_err(unreadable)?,
            Some("file") => {
                sent.name = field.file_name().unwrap_or_default().to_ascii_lowercase();
                sent.text = field.bytes().await.map_err(unreadable)?.to_vec();
            }
            _ => {}
        }
    }
    if sent.text.len() > LARGEST {
        let what = format!("the list is larger than {} MB", LARGEST / 1_000_000);
        let hint = "cut it into several, or take it in with `lampwise records import`".to_owned();
        return Err(Mistake { status: StatusCode::PAYLOAD_TOO_LARGE, what, hint });
    }
    Ok(sent)
}

/// Looks a list over and keeps nothing of it.
pub async fn look_over(State(office): State<Arc<Office>>, fields: Multipart) -> Result<Response, Mistake> {
    let sent = sent(fields).await?;
    work(move || {
        let things = Things::called(&sent.what)
            .ok_or_else(|| Mistake::wrong("nothing says what the list is of", "choose it above the file"))?;
        if sent.text.is_empty() {
            return Err(Mistake::wrong("no file was chosen, or it is empty", "choose one, then look it over"));
        }
        let first = sent.text.iter().find(|byte| !byte.is_ascii_whitespace());
        let lines = [".jsonl", ".ndjson", ".json"].iter().any(|end| sent.name.ends_with(end)) || first == Some(&b'{');
        let format = if lines { Format::JsonLines } else { Format::Csv };
        let now = office.now();
        let report = office.aside(|store| store.import(things, format, &sent.text, true, now))?;
        let is_good = report.problems.is_empty();
        let above = html! {
            h2 { "Looked over" }
            (reported(&report, things))
            @if is_good && report.added + report.changed > 0 {
                form method="post" action="/lists/take" {
                    (visitor::proof())
                    input type="hidden" name="number" value=(office.looked_over().put(things, format, sent.text));
                    button { "Take them in" }
                }
            } @else if is_good {
                p { "There is nothing in it that is not kept already." }
            }
        };
        let status = if is_good { StatusCode::OK } else { StatusCode::UNPROCESSABLE_ENTITY };
        Ok((status, layout::page("Lists", Here::Lists, &page_of(&above))).into_response())
    })
    .await
}

/// Which list is to be taken in.
#[derive(Debug, Deserialize)]
pub struct Taken {
    number: u64,
}

/// Takes in a list that was looked over.
pub async fn take(State(office): State<Arc<Office>>, Form(taken): Form<Taken>) -> Result<Response, Mistake> {
    work(move || {
        let looked = office.looked_over().take(taken.number);
        let Some(looked) = looked else {
            let hint = "choose the file once more and look it over";
            return Err(Mistake::wrong("this list was taken in already, or waited too long", hint));
        };
        let now = office.now();
        let report = office.aside(|store| store.import(looked.things, looked.format, &looked.text, false, now))?;
        if report.kept {
            office.forget_what_was_learned();
        }
        let above = html! {
            h2 { @if report.kept { "Taken in" } @else { "Not taken in" } }
            (reported(&report, looked.things))
        };
        let status = if report.kept { StatusCode::OK } else { StatusCode::UNPROCESSABLE_ENTITY };
        Ok((status, layout::page("Lists", Here::Lists, &page_of(&above))).into_response())
    })
    .await
}
