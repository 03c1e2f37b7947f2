//! One row taken in.

use super::fields::{Fields, number, short};
use super::{Done, Things};
use crate::calls::{self, ChangeError, NewCall, Seen};
use crate::entries::{Change, Said, What};
use crate::error::{Error, Result};
use crate::findings::{self, Finding, PartUsed, Solved, Stated};
use crate::id::{CallId, TypeId, VersionId};
use crate::machines::{self, NewMachine};
use crate::text;
use diagnose::call::Entry;
use jiff::Timestamp;
use machine::Choice;
use rusqlite::{Connection, OptionalExtension as _, params};

/// What a price that is not known is written as.
pub(super) const NO_PRICE: &str = "?";

pub(super) fn take_in(database: &Connection, things: Things, fields: &Fields, at: Timestamp) -> Result<Done> {
    match things {
        Things::Machines => machine(database, fields, at),
        Things::Calls => call(database, fields),
        Things::Findings => finding(database, fields, at),
    }
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

fn machine(database: &Connection, fields: &Fields, at: Timestamp) -> Result<Done> {
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

fn call(database: &Connection, fields: &Fields) -> Result<Done> {
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
    let visit = fields.whole("visit")?;
    let seen = Seen { version: version(database, fields, machine_type)?, serial, choice };
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
