//! One row taken in.

use super::fields::{Fields, number, short};
use super::{Done, Things};
use crate::calls::{self, ChangeError, NewCall, Seen};
use crate::entries::{Change, Said, What};
use crate::error::{Error, Result};
use crate::findings::{self, Finding, PartUsed, Solved, Stated};
use crate::id::{CallId, ExposureId, MachineId, RunId, TypeId, VersionId};
use crate::machine_types;
use crate::machines::{self, Exposure, NewMachine, Unit};
use crate::procedures::{self, Measured, ProcedureRun};
use crate::text;
use diagnose::call::Entry;
use jiff::Timestamp;
use machine::Choice;
use rusqlite::{Connection, OptionalExtension as _, params};
use std::collections::HashSet;

/// What a price that is not known is written as.
pub(super) const NO_PRICE: &str = "?";

/// Minutes of a visit at most.
const LONGEST_VISIT: u32 = 100_000;

/// Revisions and settings that were found in their machine file already: reading one takes a while.
#[derive(Default)]
pub(super) struct Checked(HashSet<Named>);

/// A version, and the revision, number and settings that were named for it.
type Named = (VersionId, Option<String>, Option<u64>, Vec<(String, String)>);

impl Checked {
    fn check(&mut self, database: &Connection, version: VersionId, choice: &Choice) -> Result<()> {
        let key = (version, choice.revision.clone(), choice.serial, choice.settings.clone());
        if !self.0.contains(&key) {
            machine_types::check_choice(database, version, choice)?;
            self.0.insert(key);
        }
        Ok(())
    }
}

pub(super) fn take_in(
    database: &Connection,
    things: Things,
    fields: &Fields,
    at: Timestamp,
    checked: &mut Checked,
) -> Result<Done> {
    match things {
        Things::Machines => machine(database, fields, at, checked),
        Things::Calls => call(database, fields, checked),
        Things::Findings => finding(database, fields, at),
        Things::Hours => hours(database, fields),
        Things::Procedures => procedure(database, fields),
    }
}

fn current(database: &Connection, machine_type: TypeId) -> Result<VersionId> {
    let mut statement = database.prepare_cached("SELECT current FROM machine_type WHERE id = ?1")?;
    Ok(statement.query_row([machine_type], |row| row.get(0))?)
}

fn machine_type(database: &Connection, fields: &Fields) -> Result<TypeId> {
    let name = fields.text("machine_type")?.trim();
    let found = database
        .prepare_cached("SELECT id FROM machine_type WHERE name = ?1")?
        .query_row([name], |row| row.get(0))
        .optional()?;
    found.ok_or_else(|| {
        let hint = "add its machine file first, under this name: `lampwise records add`";
        Error::unknown(format!("the machine type `{}`", short(name)), hint)
    })
}

fn settings(fields: &Fields) -> Result<Vec<(String, String)>> {
    let one = |line: &&str| match line.split_once('=') {
        Some((name, value)) => Ok((name.trim().to_owned(), value.trim().to_owned())),
        None => {
            let cause = format!("`{}` has no value", short(line));
            Err(Error::refused("settings", cause, "write one on each line, as fill_time=T#3s"))
        }
    };
    fields.list("settings").iter().map(one).collect()
}

fn machine(database: &Connection, fields: &Fields, at: Timestamp, checked: &mut Checked) -> Result<Done> {
    let machine_type = machine_type(database, fields)?;
    let serial = text::name("serial", fields.text("serial")?)?;
    let known = machines::find_machine(database, &serial, machine_type)?;
    let before = known.map(|id| machines::machine(database, id)).transpose()?;
    let mut new = before.as_ref().map_or_else(|| NewMachine::of(machine_type), machines::Machine::to_new);
    new.serial = serial;
    if fields.has("number") {
        new.number = fields.whole("number")?;
    }
    if fields.has("site") {
        new.site = fields.optional("site")?;
    }
    if fields.has("revision") {
        new.revision = fields.optional("revision")?;
    }
    if fields.has("settings") {
        new.settings = settings(fields)?;
    }
    if fields.has("contact") {
        new.contact = fields.text("contact")?.to_owned();
    }
    if fields.has("notes") {
        new.notes = fields.text("notes")?.to_owned();
    }
    if fields.has("running_hours") {
        new.running_hours = fields.number("running_hours")?;
    }
    // What was kept before may be of an older machine file.
    if before.as_ref().is_none_or(|before| before.revision != new.revision || before.settings != new.settings) {
        let serial = new.number.or_else(|| text::serial_number(&new.serial));
        let choice = Choice { revision: new.revision.clone(), serial, settings: new.settings.clone() };
        checked.check(database, current(database, machine_type)?, &choice)?;
    }
    let id = machines::keep(database, known, &new, at)?;
    match before {
        None => Ok(Done::Added),
        Some(before) if machines::machine(database, id)? == before => Ok(Done::Unchanged),
        Some(_) => Ok(Done::Changed),
    }
}

/// The call on this machine that began then.
fn find_call(database: &Connection, machine_type: TypeId, serial: &str, began: Timestamp) -> Result<Option<CallId>> {
    let mut statement = database.prepare_cached(
        "SELECT id FROM call WHERE machine_type = ?1 AND began = ?2 AND serial = ?3 COLLATE NOCASE ORDER BY id",
    )?;
    let row = params![machine_type, text::to_database(began), serial.trim()];
    Ok(statement.query_row(row, |row| row.get(0)).optional()?)
}

fn began(fields: &Fields) -> Result<Timestamp> {
    fields.time("began")?.ok_or_else(|| Error::refused("began", "it is missing", "each row needs it"))
}

fn call(database: &Connection, fields: &Fields, checked: &mut Checked) -> Result<Done> {
    let machine_type = machine_type(database, fields)?;
    let serial = text::line("serial", fields.text("serial")?, text::LONGEST_NAME)?;
    let (began, closed) = (began(fields)?, fields.time("closed")?);
    if closed.is_some_and(|closed| closed < began) {
        return Err(Error::refused("closed", "it is before the beginning", "change the two times"));
    }
    let mut entries = Vec::new();
    for line in fields.list("entries") {
        let hint = "an entry is a line such as `lamps: X3 off`";
        let entry = Entry::of_line(line);
        entries.push(entry.ok_or_else(|| Error::refused("entries", format!("`{}` is no entry", short(line)), hint))?);
    }
    if let Some(known) = find_call(database, machine_type, &serial, began)? {
        let same = Said::of(&calls::events(database, known, 0)?).entries == entries;
        let hint = "change it in the program; an import overwrites no call";
        let cause = "a call on this machine that began then is there already, and says something else";
        return if same { Ok(Done::Unchanged) } else { Err(Error::refused("the call", cause, hint)) };
    }
    let machine = machines::find_machine(database, &serial, machine_type)?;
    let mut choice =
        Choice { revision: fields.optional("revision")?, serial: fields.whole("number")?, settings: settings(fields)? };
    if !fields.has("number") {
        choice.serial = text::serial_number(&serial);
    }
    let new = match machine {
        Some(machine) => NewCall::On(machine),
        None => NewCall::Of { machine_type, choice: choice.clone() },
    };
    let visit: Option<u32> = fields.whole("visit")?;
    let visit = visit.map(|visit| text::count_up_to("visit", visit, LONGEST_VISIT)).transpose()?;
    let version = version(database, fields, machine_type)?;
    let file = version.map_or_else(|| current(database, machine_type), Ok)?;
    checked.check(database, file, &choice)?;
    let seen = Seen { version, serial, choice };
    let call = calls::begin_as_seen(database, &new, visit, &seen, began)?;
    let mut counter = 0;
    if !entries.is_empty() {
        counter = calls::change(database, call, counter, &Change::Add(entries), began).map_err(plain)?;
    }
    if let Some(closed) = closed {
        calls::close(database, call, counter, closed).map_err(plain)?;
    }
    Ok(Done::Added)
}

/// The version with the fingerprint that the row names; the current one if it names none.
fn version(database: &Connection, fields: &Fields, machine_type: TypeId) -> Result<Option<VersionId>> {
    let Some(fingerprint) = fields.optional("fingerprint")? else { return Ok(None) };
    let found = database
        .prepare_cached(
            "SELECT id FROM type_version WHERE machine_type = ?1 AND fingerprint = ?2 ORDER BY number DESC",
        )?
        .query_row(params![machine_type, fingerprint], |row| row.get(0))
        .optional()?;
    let hint =
        "add that version of the machine file first, or leave the fingerprint empty: the current one is taken then";
    found
        .map(Some)
        .ok_or_else(|| Error::unknown(format!("the version with the fingerprint `{}`", short(&fingerprint)), hint))
}

fn plain(error: ChangeError) -> Error {
    match error {
        ChangeError::Error(error) => error,
        ChangeError::Conflict(conflict) => Error::refused("the call", conflict.to_string(), "try again"),
    }
}

fn finding(database: &Connection, fields: &Fields, at: Timestamp) -> Result<Done> {
    let machine_type = machine_type(database, fields)?;
    let (serial, began) = (fields.text("serial")?.trim(), began(fields)?);
    let Some(call) = find_call(database, machine_type, serial, began)? else {
        let hint = "take the calls in first; a finding names type, serial number and beginning of its call";
        return Err(Error::unknown(format!("the call on `{}` that began at {began}", short(serial)), hint));
    };
    let list = |name: &str| fields.list(name).into_iter().map(str::to_owned).collect();
    let solved = fields.text("solved")?.trim();
    let new = Finding {
        deviations: list("deviations"),
        words: fields.text("words")?.to_owned(),
        remedies: list("remedies"),
        sure: fields.number("sure")?.unwrap_or(0.0),
        confirmed_by: fields.text("confirmed_by")?.to_owned(),
        not_in_file: fields.truth("not_in_file")?,
        solved: Solved::called(solved).ok_or_else(|| {
            let cause = format!("`{}` is none of the ways", short(solved));
            Error::refused("solved", cause, "it is phone, visit or unsolved")
        })?,
        minutes: fields.number("minutes")?,
        visits: fields.whole("visits")?.unwrap_or(0),
        parts: fields.list("parts").into_iter().map(part).collect::<Result<_>>()?,
        stated: fields.list("stated").into_iter().map(stated).collect::<Result<_>>()?,
    };
    let before = findings::get(database, call)?;
    findings::put(database, call, &new, at)?;
    let now = findings::get(database, call)?;
    if before == now {
        return Ok(Done::Unchanged);
    }
    let counter: u64 =
        database.prepare_cached("SELECT counter FROM call WHERE id = ?1")?.query_row([call], |row| row.get(0))?;
    calls::note(database, call, counter, &[calls::plain(What::Finding, counter, at)], at)?;
    Ok(if before.is_some() { Done::Changed } else { Done::Added })
}

/// `2 x fuse @ 3.5`; the price may be `?` or missing.
fn part(line: &str) -> Result<PartUsed> {
    let wrong = || {
        Error::refused("parts", format!("`{}` is no part", short(line)), "write one on each line, as `2 x fuse @ 3.5`")
    };
    let (count, rest) = line.split_once(" x ").ok_or_else(wrong)?;
    let count = count.trim().parse().map_err(|_| wrong())?;
    let (part, price) = match rest.rsplit_once(" @ ") {
        None => (rest, None),
        Some((part, NO_PRICE)) => (part, None),
        Some((part, price)) => (part, Some(number("parts", price)?)),
    };
    Ok(PartUsed { part: part.to_owned(), count, price })
}

/// `0.62 B1/dead`.
fn stated(line: &str) -> Result<Stated> {
    let hint = "write one on each line, as `0.62 B1/dead`";
    let (probability, key) =
        line.split_once(' ').ok_or_else(|| Error::refused("stated", format!("`{}` has no key", short(line)), hint))?;
    Ok(Stated { key: key.to_owned(), probability: number("stated", probability)? })
}

/// The machine that a row is about.
fn known_machine(database: &Connection, fields: &Fields, machine_type: TypeId) -> Result<MachineId> {
    let serial = fields.text("serial")?.trim();
    machines::find_machine(database, serial, machine_type)?
        .ok_or_else(|| Error::unknown(format!("the machine `{}`", short(serial)), "take the machines in first"))
}

fn time(fields: &Fields, name: &str) -> Result<Timestamp> {
    fields.time(name)?.ok_or_else(|| Error::refused(name, "it is missing", "each row needs it"))
}

fn hours(database: &Connection, fields: &Fields) -> Result<Done> {
    let machine = known_machine(database, fields, machine_type(database, fields)?)?;
    let unit = match fields.optional("unit")? {
        None => Unit::Hours,
        Some(word) => Unit::called(&word)
            .ok_or_else(|| Error::refused("unit", format!("`{}` is no unit", short(&word)), "it is hours or cycles"))?,
    };
    let amount = fields.number("amount")?.unwrap_or(0.0);
    let (since, until) = (time(fields, "since")?, time(fields, "until")?);
    let new = Exposure { id: ExposureId(0), machine, since, until, amount, unit };
    let known = machines::overlapping(database, &new)?;
    match known.as_slice() {
        [] => machines::add_exposure(database, &new).map(|_| Done::Added),
        [one] if (one.since, one.until) == (since, until) => {
            if one.amount.to_bits() == amount.to_bits() {
                return Ok(Done::Unchanged);
            }
            machines::set_amount(database, one.id, amount, unit).map(|()| Done::Changed)
        }
        [one, ..] => {
            let cause = format!("{} {} from {} to {} are kept already", one.amount, unit.word(), one.since, one.until);
            Err(Error::refused("the span", cause, "give one that does not overlap; it would count twice"))
        }
    }
}

fn procedure(database: &Connection, fields: &Fields) -> Result<Done> {
    let machine_type = machine_type(database, fields)?;
    let machine = known_machine(database, fields, machine_type)?;
    let version = version(database, fields, machine_type)?.map_or_else(|| current(database, machine_type), Ok)?;
    let call = match fields.time("call_began")? {
        None => None,
        Some(began) => {
            let serial = fields.text("serial")?;
            let found = find_call(database, machine_type, serial, began)?;
            let hint = "take the calls in first, or leave it empty";
            let place = || format!("the call on `{}` that began at {began}", short(serial));
            Some(found.ok_or_else(|| Error::unknown(place(), hint))?)
        }
    };
    let name = text::name("name", fields.text("name")?)?;
    let new = ProcedureRun {
        id: RunId(0),
        machine,
        version,
        call,
        at: time(fields, "at")?,
        name,
        done_by: fields.text("done_by")?.to_owned(),
        completed: fields.truth("completed")?,
        note: fields.text("note")?.to_owned(),
        values: fields.list("values").into_iter().map(measured).collect::<Result<_>>()?,
    };
    let known: Option<RunId> = database
        .prepare_cached("SELECT id FROM procedure_run WHERE machine = ?1 AND at = ?2 AND name = ?3 ORDER BY id")?
        .query_row(params![machine, text::to_database(new.at), new.name], |row| row.get(0))
        .optional()?;
    let id = procedures::add(database, &new)?;
    let Some(known) = known else { return Ok(Done::Added) };
    // Kept for a moment, so that the two are compared as they are kept.
    let (kept, mut fresh) = (procedures::get(database, known)?, procedures::get(database, id)?);
    fresh.id = known;
    if kept != fresh {
        let cause = "it was gone through on this machine at that time already, and something else was measured";
        return Err(Error::refused("the procedure", cause, "an import overwrites no measured values"));
    }
    database.prepare_cached("DELETE FROM procedure_run WHERE id = ?1")?.execute([id])?;
    Ok(Done::Unchanged)
}

/// `stroke = 72.5 mm [40 to 60]`: what, value, unit, and what was right then; either end may be missing.
fn measured(line: &str) -> Result<Measured> {
    let wrong = || {
        let hint = "write one on each line, as `stroke = 52.5 mm [40 to 60]`";
        Error::refused("values", format!("`{}` is no measured value", short(line)), hint)
    };
    let (rest, lowest, highest) = match line.strip_suffix(']').and_then(|line| line.rsplit_once('[')) {
        None => (line, None, None),
        Some((rest, limits)) => {
            let (low, high) = limits.split_once("to").ok_or_else(wrong)?;
            let limit = |text: &str| match text.trim() {
                "" => Ok(None),
                text => number("values", text).map(Some),
            };
            (rest, limit(low)?, limit(high)?)
        }
    };
    let (what, rest) = rest.rsplit_once(" = ").ok_or_else(wrong)?;
    let rest = rest.trim();
    let (value, unit) = rest.split_once(' ').unwrap_or((rest, ""));
    Ok(Measured {
        what: what.to_owned(),
        value: number("values", value)?,
        unit: unit.trim().to_owned(),
        lowest,
        highest,
    })
}
