//! `lampwise records`: machines, calls and findings that are kept, and what is learned from them.

mod figures;
mod lists;
mod rates;
mod transfer;

use std::process::ExitCode;

use jiff::Timestamp;
use records::demo::{Wanted, fill};
use records::{Error, NewVersion, SiteId, Store, TypeId};
use serde_json::json;

use crate::arguments::records::{Add, Backup, Command, Demo, Place, Records};
use crate::failure::Failure;
use crate::input;
use crate::input::recorded::{failure, open};
use crate::progress;
use crate::screen::Screen;

/// Does what was asked for.
pub fn run(records: &Records, screen: &Screen) -> Result<ExitCode, Failure> {
    match &records.command {
        Command::Init(place) => init(place, screen),
        Command::Demo(demo) => self::demo(demo, screen),
        Command::Add(add) => self::add(add, screen),
        Command::Machines(machines) => lists::machines(machines, screen),
        Command::Hours(hours) => lists::hours(hours, screen),
        Command::Calls(calls) => lists::calls(calls, screen),
        Command::Call(call) => lists::call(call, screen),
        Command::Search(search) => lists::search(search, screen),
        Command::Import(import) => return transfer::import(import, screen),
        Command::Export(export) => transfer::export(export, screen),
        Command::Backup(backup) => self::backup(backup, screen),
        Command::Check(place) => return check(place, screen),
        Command::Rates(rates) => rates::run(rates, screen),
        Command::Figures(figures) => figures::run(figures, screen),
    }
    .map(|()| ExitCode::SUCCESS)
}

fn wrong(error: Error) -> Failure {
    failure(&error)
}

/// New records, in a file that is not there yet.
fn fresh(place: &Place) -> Result<Store, Failure> {
    if place.records.symlink_metadata().is_ok() {
        let what = format!("`{}` is there already", place.records.display());
        return Err(Failure::new("exists", what, "choose another name; nothing is overwritten"));
    }
    Store::open(&place.records).map_err(wrong)
}

fn init(place: &Place, screen: &Screen) -> Result<(), Failure> {
    fresh(place)?;
    let path = place.records.display().to_string();
    if screen.json {
        return screen.print_json(&json!({ "schema": "lampwise.records.init/1", "records": path }));
    }
    screen.print(&format!("Records begun in {path}; now add a machine file: lampwise records add {path} MACHINE\n"))
}

fn demo(demo: &Demo, screen: &Screen) -> Result<(), Failure> {
    let mut store = fresh(&demo.place)?;
    let wanted = Wanted { calls: demo.calls as usize, seed: demo.seed };
    let until = demo.until.unwrap_or_else(Timestamp::now);
    let written = progress::while_working("writing the invented history", || fill(&mut store, &wanted, until));
    let written = written.map_err(wrong)?;
    let path = demo.place.records.display().to_string();
    if screen.json {
        return screen.print_json(&json!({
            "schema": "lampwise.records.demo/1", "records": path, "machines": written.machines, "calls": written.calls,
        }));
    }
    screen.print(&format!(
        "{} calls on {} machines, all invented, kept in {path}; now try: lampwise records figures {path}\n",
        written.calls, written.machines
    ))
}

fn add(add: &Add, screen: &Screen) -> Result<(), Failure> {
    let mut store = open(&add.place.records)?;
    let reading = input::read_machine(&add.machine, &add.library)?;
    let resolved = reading.resolve(&machine::Choice::default());
    if resolved.problems.iter().any(machine::Problem::is_error) {
        return Err(Failure::file(reading.sources, resolved.problems));
    }
    let own = || add.machine.file_stem().map(|stem| stem.to_string_lossy().trim_start_matches("demo:").to_owned());
    let name = add.name.clone().or_else(own).unwrap_or_default();
    // What the file names beside it and what was named here; the library inside the program goes without saying.
    let inside = machine::library::Library::embedded().sources.len();
    let libraries: Vec<(String, String)> = (reading.sources.iter().skip(1 + inside))
        .map(|source| {
            let name = std::path::Path::new(&source.name).file_name();
            (name.map_or_else(|| source.name.clone(), |name| name.to_string_lossy().into_owned()), source.text.clone())
        })
        .collect();
    let text = reading.sources.first().map(|source| source.text.as_str()).unwrap_or_default();
    let new = NewVersion { name: &name, text, libraries: &libraries, note: &add.note };
    let added = store.add_version(&new, Timestamp::now()).map_err(wrong)?;
    let version = store.version(added.version).map_err(wrong)?;
    if screen.json {
        return screen.print_json(&json!({
            "schema": "lampwise.records.add/1", "machine_type": name, "version": version.number, "label": version.label,
            "fingerprint": version.fingerprint, "fresh": added.fresh,
        }));
    }
    let what = if added.fresh { "kept" } else { "was there already; calls begin with it from now on" };
    screen.print(&format!("{name}, version {} of it: {what}\n", version.number))
}

fn backup(backup: &Backup, screen: &Screen) -> Result<(), Failure> {
    open(&backup.place.records)?.backup(&backup.copy).map_err(wrong)?;
    let path = backup.copy.display().to_string();
    if screen.json {
        return screen.print_json(&json!({ "schema": "lampwise.records.backup/1", "copy": path }));
    }
    screen.print(&format!("Copied to {path} and looked over: it is sound\n"))
}

fn check(place: &Place, screen: &Screen) -> Result<ExitCode, Failure> {
    let condition = open(&place.records)?.check().map_err(wrong)?;
    let code = if condition.is_sound() { ExitCode::SUCCESS } else { ExitCode::from(1) };
    if screen.json {
        screen.print_json(&json!({
            "schema": "lampwise.records.check/1", "sound": condition.is_sound(), "faults": condition.faults,
        }))?;
        return Ok(code);
    }
    match condition.faults.as_slice() {
        [] => screen.print("The records are sound\n")?,
        faults => screen.print(&format!("The records are damaged:\n  {}\n", faults.join("\n  ")))?,
    }
    Ok(code)
}

/// The machine type of this name.
fn type_named(store: &Store, name: Option<&String>) -> Result<Option<TypeId>, Failure> {
    let Some(name) = name else { return Ok(None) };
    if let Some(found) = store.machine_type_named(name).map_err(wrong)? {
        return Ok(Some(found.id));
    }
    let names: Vec<String> = store.machine_types().map_err(wrong)?.into_iter().map(|one| one.name).collect();
    let hint =
        if names.is_empty() { "there is none yet".to_owned() } else { format!("there is: {}", names.join(", ")) };
    Err(Failure::new("unknown-type", format!("there is no machine type `{name}`"), hint))
}

/// The site of this name.
fn site_named(store: &Store, name: Option<&String>) -> Result<Option<SiteId>, Failure> {
    let Some(name) = name else { return Ok(None) };
    let sites = store.sites().map_err(wrong)?;
    // As in the records, large and small letters are the same.
    let found = sites.iter().find(|site| site.name.eq_ignore_ascii_case(name.trim()));
    let names = || sites.iter().map(|site| site.name.as_str()).take(20).collect::<Vec<_>>().join(", ");
    match found {
        Some(site) => Ok(Some(site.id)),
        None => {
            Err(Failure::new("unknown-site", format!("there is no site `{name}`"), format!("there is: {}", names())))
        }
    }
}
