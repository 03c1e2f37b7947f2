//! Machines by serial number: where they stand, their own settings, their calls.

use std::collections::BTreeMap;
use std::sync::Arc;

use axum::Form;
use axum::extract::{Path, Query, State};
use axum::response::{IntoResponse, Redirect, Response};
use diagnose::wording::duration;
use machine::Choice;
use machine::model::{Chance, DeviationKind, SettingValue};
use maud::{Markup, html};
use records::accounts::Role;
use records::rates::{Estimate, Rates};
use records::{CallFilter, Machine, MachineFilter, MachineId, NamePlace, NewMachine, Page, SiteId, TypeId};
use serde::Deserialize;

use crate::calls::{self, work};
use crate::layout::{self, Here};
use crate::mistake::Mistake;
use crate::office::Office;
use crate::visitor;
use crate::words::day;

const ROWS: usize = 100;
/// Kinds of faults that are shown with how often they are to be expected, in so many hours.
const EXPECTED: usize = 10;
const SHOWN_HOURS: f64 = 10_000.0;
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
                table.stacked {
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

/// A setting's value as it stands in a machine file's words.
fn value(value: SettingValue) -> String {
    match value {
        SettingValue::Time(ms) => duration(ms),
        SettingValue::Count(count) => count.to_string(),
    }
}

/// All settings with their values, which of them are this machine's own, and what its revision is.
fn settings_of(one: &Machine, there: Option<&machine::Machine>) -> Markup {
    let own = |name: &str| one.settings.iter().any(|(known, _)| known == name);
    html! {
        @if let Some(revision) = there.and_then(|there| there.revision.as_ref()) {
            p { "Revision " (revision) @if one.revision.is_none() { ", by its serial number" } "." }
        }
        @match there.filter(|there| !there.settings.is_empty()) {
            None => { p { "Its machine file has none." } }
            Some(there) => { div.wide tabindex="0" { table {
                thead { tr { th scope="col" { "Setting" } th.number scope="col" { "Here" } th.number scope="col" { "Usual" } th scope="col" { "Where" } } }
                tbody { @for setting in there.settings.rows() { tr {
                    td { (setting.words.english) " " small { (setting.name) } }
                    td.number { @if own(&setting.name) { strong { (value(setting.value)) } " " span.mark { "its own" } } @else { (value(setting.value)) } }
                    td.number { (value(setting.default)) }
                    td { (setting.place.english) }
                } } }
            } } }
        }
    }
}

/// A kind of fault on a machine: how often it is to be expected.
struct Often {
    words: String,
    devices: usize,
    library: f64,
    learned: Option<Estimate>,
}

impl Often {
    fn is(&self) -> f64 {
        self.learned.map_or(self.library, |learned| learned.mean)
    }
}

/// The faults of such a machine that are to be expected most often, by the library and as learned.
fn often(machine: &machine::Machine, machine_type: TypeId, rates: &Rates) -> Vec<Often> {
    let mut kinds: BTreeMap<(&str, &str), Often> = BTreeMap::new();
    for fault in machine.deviations.rows() {
        let (DeviationKind::Fault(device), Chance::PerMillionHours(rate)) = (fault.kind, fault.rate.chance) else {
            continue;
        };
        let (device, mode) = (&machine.devices[device], fault.key.rsplit_once('/').map_or("", |(_, mode)| mode));
        let words = || format!("{}: {}", device.type_key.replace('-', " "), fault.words.english);
        let kind = (kinds.entry((&device.type_key, mode))).or_insert_with(|| Often {
            words: words(),
            devices: 0,
            library: 0.0,
            learned: None,
        });
        kind.devices += 1;
        kind.library += rate * SHOWN_HOURS / 1e6;
    }
    for learned in &rates.faults {
        let on = learned.types.iter().find(|on| on.machine_type == machine_type);
        let kind = kinds.get_mut(&(learned.device_type.as_str(), learned.mode.as_str()));
        if let (Some(kind), Some(on)) = (kind, on) {
            let times = |factor: f64| factor * kind.library;
            kind.learned =
                Some(Estimate { mean: times(on.factor.mean), low: times(on.factor.low), high: times(on.factor.high) });
        }
    }
    let mut all: Vec<Often> = kinds.into_values().collect();
    all.sort_by(|one, other| other.is().total_cmp(&one.is()));
    all
}

fn expected(one: &Machine, there: Option<&machine::Machine>, office: &Arc<Office>) -> Result<Markup, Mistake> {
    let Some(there) = there else { return Ok(html! { p { "Its machine file can't be used." } }) };
    let learned = office.learned()?;
    let all = often(there, one.machine_type, &learned.rates);
    Ok(html! {
        p.aside { "Faults in 10,000 running hours of this machine: by the library, and as learned from findings on its type, with the interval in which that lies with 90 %." }
        div.wide tabindex="0" { table {
            thead { tr { th scope="col" { "Fault" } th.number scope="col" { "Library" } th.number scope="col" { "Learned" } } }
            tbody { @for kind in all.iter().take(EXPECTED) { tr {
                td { (kind.words) @if kind.devices > 1 { " " small { "(" (kind.devices) " devices)" } } }
                td.number { (format!("{:.2}", kind.library)) }
                td.number.nowrap { @if let Some(learned) = kind.learned { (format!("{:.2}", learned.mean)) br; small { (format!("{:.2} to {:.2}", learned.low, learned.high)) } } @else { "–" } }
            } } }
        } }
        p { a href={ "/types/" (one.machine_type) "/devices" } { "All devices and their rates" } }
    })
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

/// Settings as they are typed, one a line.
pub fn settings(typed: &str) -> Result<Vec<(String, String)>, Mistake> {
    let lines = typed.lines().map(str::trim).filter(|line| !line.is_empty());
    lines
        .map(|line| {
            let (name, value) = line.split_once('=').ok_or_else(|| {
                Mistake::wrong(format!("the setting \"{line}\" has no value"), "write it as fill_time=T#3s")
            })?;
            Ok((name.trim().to_owned(), value.trim().to_owned()))
        })
        .collect()
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
        let settings = settings(&self.settings)?;
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
            div.desk {
                div.left {
                    h2 { "Calls" }
                    (calls::table(&listed.rows, calls::Columns::OfMachine))
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
                }
                div.right {
                    h2 id="settings" { "Its settings" }
                    (settings_of(&one, alternatives.first().map(|first| &first.machine)))
                    h2 id="rates" { "What can be expected of it" }
                    (expected(&one, alternatives.first().map(|first| &first.machine), &office)?)
                }
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
