//! Machines by serial number: where they stand, their own settings, their calls.

use std::sync::Arc;

use axum::Form;
use axum::extract::{Path, Query, State};
use axum::response::{IntoResponse, Redirect, Response};
use machine::Choice;
use maud::{Markup, html};
use records::accounts::Role;
use records::{CallFilter, Machine, MachineFilter, MachineId, NamePlace, NewMachine, Page, SiteId, TypeId};
use serde::Deserialize;

use crate::calls::{self, work};
use crate::layout::{self, Here};
use crate::mistake::Mistake;
use crate::office::Office;
use crate::visitor;
use crate::words::day;

const ROWS: usize = 100;
/// Procedures gone through that are shown.
const RUNS: u32 = 10;

/// Which machines are listed.
#[derive(Debug, Default, Deserialize)]
pub struct Wanted {
    #[serde(default)]
    after: Option<String>,
    #[serde(default)]
    id: Option<i64>,
    #[serde(default)]
    site: Option<i64>,
    #[serde(default, rename = "type")]
    machine_type: Option<i64>,
}

/// The list, by serial number.
pub async fn list(State(office): State<Arc<Office>>, Query(wanted): Query<Wanted>) -> Result<Response, Mistake> {
    work(move || {
        let store = office.store();
        let filter = MachineFilter { machine_type: wanted.machine_type.map(TypeId), site: wanted.site.map(SiteId) };
        let after = wanted.after.zip(wanted.id).map(|(name, id)| NamePlace { name, id });
        let listed = store.machines(&filter, &Page { after, rows: ROWS })?;
        let types = store.machine_types()?;
        let body = html! {
            h1 { "Machines" }
            div.wide tabindex="0" {
                table {
                    thead { tr { th scope="col" { "Serial number" } th scope="col" { "Type" } th scope="col" { "Site" } th scope="col" { "Contact" } } }
                    tbody { @for one in &listed.rows { tr {
                        td { a href={ "/machines/" (one.id) } { (one.serial) } }
                        td { a href={ "/types/" (one.machine_type) } { (one.type_name) } }
                        td { (one.site_name) }
                        td { (one.contact) }
                    } } }
                }
            }
            @if let Some(next) = &listed.next {
                form action="/machines" {
                    input type="hidden" name="after" value=(next.name);
                    input type="hidden" name="id" value=(next.id);
                    @if let Some(site) = wanted.site { input type="hidden" name="site" value=(site); }
                    @if let Some(one) = wanted.machine_type { input type="hidden" name="type" value=(one); }
                    button { "More machines" }
                }
            }
            @if !types.is_empty() && visitor::may(Role::Editor) {
                details {
                    summary { h2 { "Add a machine" } }
                    form method="post" action="/machines" { (visitor::proof())
                        label for="type" { "Type" }
                        select id="type" name="machine_type" { @for one in &types { option value=(one.id) { (one.title) } } }
                        (fields(None))
                        button { "Add it" }
                    }
                }
            }
        };
        Ok(layout::page("Machines", Here::Machines, &body))
    })
    .await
}

/// What can be said of a machine.
fn fields(known: Option<&Machine>) -> Markup {
    let settings: String = known
        .map(|one| one.settings.iter().map(|(name, value)| format!("{name}={value}\n")).collect())
        .unwrap_or_default();
    html! {
        label for="serial" { "Serial number" }
        input id="serial" name="serial" required maxlength="100" autocomplete="off" value=(known.map_or("", |one| &one.serial));
        label for="site" { "Site" }
        input id="site" name="site" maxlength="200" autocomplete="off" value=(known.map_or("", |one| &one.site_name));
        label for="contact" { "Whom to ask there" }
        input id="contact" name="contact" maxlength="200" autocomplete="off" value=(known.map_or("", |one| &one.contact));
        label for="revision" { "Revision, if the serial number does not tell it" }
        input id="revision" name="revision" maxlength="100" autocomplete="off" value=(known.and_then(|one| one.revision.as_deref()).unwrap_or(""));
        label for="hours" { "Running hours, as last read" }
        input id="hours" name="hours" maxlength="12" inputmode="decimal" value=(known.and_then(|one| one.running_hours).map(|hours| hours.to_string()).unwrap_or_default());
        label for="settings" { "Its own settings, one a line: fill_time=T#3s" }
        textarea id="settings" name="settings" rows="3" maxlength="4000" { (settings) }
        label for="notes" { "Notes" }
        textarea id="notes" name="notes" rows="4" maxlength="10000" { (known.map_or("", |one| &one.notes)) }
    }
}

/// A machine as a form says it.
#[derive(Debug, Deserialize)]
pub struct Filled {
    #[serde(default)]
    machine_type: Option<i64>,
    serial: String,
    #[serde(default)]
    site: String,
    #[serde(default)]
    contact: String,
    #[serde(default)]
    revision: String,
    #[serde(default)]
    hours: String,
    #[serde(default)]
    settings: String,
    #[serde(default)]
    notes: String,
}

impl Filled {
    fn machine(&self, machine_type: TypeId) -> Result<NewMachine, Mistake> {
        let some = |text: &str| Some(text.trim().to_owned()).filter(|text| !text.is_empty());
        let mut settings = Vec::new();
        for line in self.settings.lines().filter(|line| !line.trim().is_empty()) {
            let (name, value) = line.split_once('=').ok_or_else(|| {
                Mistake::wrong(format!("the setting \"{line}\" has no value"), "write it as fill_time=T#3s")
            })?;
            settings.push((name.trim().to_owned(), value.trim().to_owned()));
        }
        let hours = match some(&self.hours.replace(',', ".")) {
            None => None,
            Some(text) => Some(
                text.parse::<f64>()
                    .map_err(|_| Mistake::wrong(format!("\"{text}\" are no running hours"), "write them in digits"))?,
            ),
        };
        Ok(NewMachine {
            serial: self.serial.trim().to_owned(),
            number: records::serial_number(&self.serial),
            machine_type,
            site: some(&self.site),
            revision: some(&self.revision),
            settings,
            contact: self.contact.trim().to_owned(),
            notes: self.notes.trim().to_owned(),
            running_hours: hours,
        })
    }
}

/// What the machine file is to be resolved for.
fn choice(new: &NewMachine) -> Choice {
    Choice { revision: new.revision.clone(), serial: new.number, settings: new.settings.clone() }
}

/// Adds a machine.
pub async fn add(State(office): State<Arc<Office>>, Form(filled): Form<Filled>) -> Result<Response, Mistake> {
    work(move || {
        let machine_type = filled.machine_type.ok_or_else(|| Mistake::wrong("no type was chosen", "choose one"))?;
        let new = filled.machine(TypeId(machine_type))?;
        let mut store = office.store();
        store.check_choice(new.machine_type, &choice(&new))?;
        let id = store.add_machine(&new, office.now())?;
        Ok(Redirect::to(&format!("/machines/{id}")).into_response())
    })
    .await
}

/// Changes what is known of a machine.
pub async fn change(
    State(office): State<Arc<Office>>,
    Path(machine): Path<i64>,
    Form(filled): Form<Filled>,
) -> Result<Response, Mistake> {
    work(move || {
        let mut store = office.store();
        let known = store.machine(MachineId(machine))?;
        let new = filled.machine(known.machine_type)?;
        // What was kept before may be of an older machine file.
        if (&new.revision, &new.settings) != (&known.revision, &known.settings) {
            store.check_choice(new.machine_type, &choice(&new))?;
        }
        store.change_machine(known.id, &new)?;
        Ok(Redirect::to(&format!("/machines/{machine}")).into_response())
    })
    .await
}

/// Notes of a machine.
#[derive(Debug, Deserialize)]
pub struct Notes {
    #[serde(default)]
    notes: String,
}

/// Changes the notes of a machine and nothing else of it.
pub async fn change_notes(
    State(office): State<Arc<Office>>,
    Path(machine): Path<i64>,
    Form(typed): Form<Notes>,
) -> Result<Response, Mistake> {
    work(move || {
        let mut store = office.store();
        let known = store.machine(MachineId(machine))?;
        store.change_machine(known.id, &NewMachine { notes: typed.notes.trim().to_owned(), ..known.to_new() })?;
        Ok(Redirect::to(&format!("/machines/{machine}")).into_response())
    })
    .await
}

/// A machine with its history.
pub async fn page(State(office): State<Arc<Office>>, Path(machine): Path<i64>) -> Result<Response, Mistake> {
    work(move || {
        let store = office.store();
        let one = store.machine(MachineId(machine))?;
        let filter = CallFilter { machine: Some(one.id), ..CallFilter::default() };
        let listed = store.calls(&filter, &Page::first(50))?;
        let current = store.machine_type(one.machine_type)?.current;
        let runs = store.procedure_runs(one.id, RUNS)?;
        drop(store);
        // A file that can't be used for this machine shows no procedures here; beginning a call says why.
        let alternatives = office.alternatives(current, &one.choice()).unwrap_or_default();
        let procedures: Vec<(String, String)> = (alternatives.first().into_iter())
            .flat_map(|first| first.machine.procedures.rows())
            .map(|row| (row.name.clone(), row.words.english.clone()))
            .collect();
        let body = html! {
            h1 { (one.type_name) " " (one.serial) }
            p {
                @if !one.site_name.is_empty() { (one.site_name) ", " }
                @if !one.contact.is_empty() { "ask for " (one.contact) ", " }
                "in the records since " (day(one.added))
                @if let Some(hours) = one.running_hours { ", " (format!("{hours:.0}")) " running hours" }
                "."
            }
            @if !one.notes.is_empty() { p.notes { (one.notes) } }
            @if visitor::may(Role::Desk) {
                form method="post" action="/calls" {
                    (visitor::proof())
                    input type="hidden" name="machine" value=(one.id);
                    button { "Begin a call about it" }
                }
            }
            h2 { "Calls" }
            (calls::table(&listed.rows))
            @if listed.next.is_some() { p { "Only the newest are shown." } }
            h2 id="procedures" { "Procedures" }
            @if procedures.is_empty() { p { "Its machine file has none." } }
            ul.plain { @for (name, words) in &procedures { li { a href={ "/machines/" (one.id) "/procedures/" (name) } { (words) } } } }
            @if !runs.is_empty() {
                h3 { "Gone through" }
                ul.plain { @for run in &runs { li {
                    (day(run.at)) ": " (procedures.iter().find(|(name, _)| *name == run.name).map_or(run.name.as_str(), |(_, words)| words))
                    @if !run.completed { ", not to its end" }
                    @if !run.done_by.is_empty() { ", by " (run.done_by) }
                    @for value in &run.values { br; small { (value.what) ": " (value.value) " " (value.unit) } }
                    @if !run.note.is_empty() { br; small { (run.note) } }
                } } }
            }
            @if visitor::may(Role::Editor) {
                details {
                    summary { h2 { "Change what is known of it" } }
                    form method="post" action={ "/machines/" (one.id) } { (visitor::proof()) (fields(Some(&one))) button { "Keep it" } }
                }
            } @else if visitor::may(Role::Desk) {
                details {
                    summary { h2 { "Change the notes" } }
                    form method="post" action={ "/machines/" (one.id) "/notes" } {
                        (visitor::proof())
                        label for="notes" { "Notes" }
                        textarea id="notes" name="notes" rows="4" maxlength="10000" { (one.notes) }
                        button { "Keep them" }
                    }
                }
            }
        };
        Ok(layout::page(&format!("{} {}", one.type_name, one.serial), Here::Machines, &body))
    })
    .await
}
