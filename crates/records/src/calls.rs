//! Calls: begun, changed entry by entry, ended with a finding. Each change is on the disk when it is acknowledged.
//!
//! A call has a counter that rises with every change. Whoever changes it says which counter was seen, so that two
//! windows on the same call can't overwrite each other.

use crate::entries::{Change, Event, MOST_CHANGES, MOST_ENTRIES, Said, What};
use crate::error::{Error, Result};
use crate::filter::Filter;
use crate::findings::{self, Finding};
use crate::id::{CallId, MachineId, SiteId, TypeId, VersionId};
use crate::machines;
use crate::page::{Listed, Page, TimePlace};
use crate::search::{self, About};
use crate::store::Store;
use crate::text;
use diagnose::call::{Entry, Kind, Origin, Record};
use jiff::Timestamp;
use machine::Choice;
use rusqlite::types::Value;
use rusqlite::{Connection, OptionalExtension as _, Row, params, params_from_iter};
use serde::Serialize;
use std::fmt;

/// A call to be begun.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum NewCall {
    /// On a machine in the records: its type's current version, serial number, revision and settings are taken.
    On(MachineId),
    /// On a machine that is not in the records.
    Of {
        /// The type; its current version is taken.
        machine_type: TypeId,
        /// What is known of the machine.
        choice: Choice,
    },
}

/// Whether somebody is still at it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum State {
    /// It goes on.
    Open,
    /// It came to its end.
    Closed,
}

/// A call as lists show it.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct CallRow {
    /// Its number.
    pub id: CallId,
    /// Open or closed.
    pub state: State,
    /// When it began.
    pub began: Timestamp,
    /// When it was changed last.
    pub changed: Timestamp,
    /// When it was closed.
    pub closed: Option<Timestamp>,
    /// Rises with every change.
    pub counter: u64,
    /// The version of the machine file that it was begun with, and stays with.
    pub version: VersionId,
    /// The machine type.
    pub machine_type: TypeId,
    /// The type's short name.
    pub type_name: String,
    /// The machine, if it is in the records.
    pub machine: Option<MachineId>,
    /// The site at which the machine stood then.
    pub site: Option<SiteId>,
    /// The site's name; empty if none is known.
    pub site_name: String,
    /// The serial number as text; empty if it is not known.
    pub serial: String,
    /// The complaint; empty if nothing was said.
    pub complaint: String,
    /// The words of the finding; empty if there is none.
    pub finding: String,
}

/// A call with all that was said.
#[derive(Clone, Debug, PartialEq)]
pub struct Call {
    /// What lists show.
    pub row: CallRow,
    /// What the machine file is resolved for: as the machine was when the call began.
    pub choice: Choice,
    /// Minutes until somebody qualified for everything can be there, if that was said.
    pub visit: Option<u32>,
    /// What it goes on from.
    pub origin: Option<Origin>,
    /// What was said, in order.
    pub entries: Vec<Entry>,
    /// Who said each of them, or put it right; empty if that was not said.
    pub authors: Vec<String>,
    /// Who closed it last; empty if that was not said.
    pub closed_by: String,
    /// Whether there is a change that can be taken back.
    pub can_undo: bool,
    /// What it was in the end.
    pub finding: Option<Finding>,
}

/// Somebody else has changed the call meanwhile.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Conflict {
    /// The counter that was seen.
    pub seen: u64,
    /// The counter that the call has.
    pub now: u64,
    /// What was done since the counter that was seen.
    pub since: Vec<Event>,
}

impl fmt::Display for Conflict {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "the call was changed meanwhile ({} seen, {} now); look at it again", self.seen, self.now)
    }
}

/// Why a call was not changed.
#[derive(Debug)]
pub enum ChangeError {
    /// Somebody else was quicker. Nothing was changed.
    Conflict(Conflict),
    /// It can't be kept. Nothing was changed.
    Error(Error),
}

impl fmt::Display for ChangeError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Conflict(conflict) => conflict.fmt(f),
            Self::Error(error) => error.fmt(f),
        }
    }
}

impl std::error::Error for ChangeError {
    fn source(&self) -> Option<&(dyn std::error::Error + 'static)> {
        match self {
            Self::Conflict(_) => None,
            Self::Error(error) => Some(error),
        }
    }
}

impl From<Error> for ChangeError {
    fn from(error: Error) -> Self {
        Self::Error(error)
    }
}

impl From<rusqlite::Error> for ChangeError {
    fn from(error: rusqlite::Error) -> Self {
        Self::Error(error.into())
    }
}

/// Which calls to list; without any of these, all.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct CallFilter {
    /// Open or closed ones.
    pub state: Option<State>,
    /// On this machine.
    pub machine: Option<MachineId>,
    /// On machines of this type.
    pub machine_type: Option<TypeId>,
    /// At this site.
    pub site: Option<SiteId>,
    /// Begun at this time or later.
    pub since: Option<Timestamp>,
    /// Begun before this time.
    pub until: Option<Timestamp>,
}

const ROW: &str = "SELECT c.id, c.closed, c.began, c.changed, c.counter, c.version, c.machine_type, t.name, c.machine,
    c.site, coalesce(s.name, ''), c.serial, c.complaint, coalesce(f.words, ''), c.number, c.revision, c.visit,
    c.origin_procedure, c.origin_steps
    FROM call c JOIN machine_type t ON t.id = c.machine_type LEFT JOIN site s ON s.id = c.site
    LEFT JOIN finding f ON f.call = c.id";

fn row_of(row: &Row<'_>) -> rusqlite::Result<CallRow> {
    let closed: Option<i64> = row.get(1)?;
    Ok(CallRow {
        id: row.get(0)?,
        state: if closed.is_some() { State::Closed } else { State::Open },
        began: text::of_database(row.get(2)?),
        changed: text::of_database(row.get(3)?),
        closed: closed.map(text::of_database),
        counter: row.get(4)?,
        version: row.get(5)?,
        machine_type: row.get(6)?,
        type_name: row.get(7)?,
        machine: row.get(8)?,
        site: row.get(9)?,
        site_name: row.get(10)?,
        serial: row.get(11)?,
        complaint: row.get(12)?,
        finding: row.get(13)?,
    })
}

fn unknown(id: CallId) -> Error {
    Error::unknown(format!("call {id}"), "`lampwise records calls` lists them")
}

pub(crate) fn events(database: &Connection, call: CallId, behind: u64) -> Result<Vec<Event>> {
    let mut statement = database.prepare_cached(
        "SELECT counter, at, what, position, kind, text, author FROM call_event WHERE call = ?1 AND counter > ?2
         ORDER BY counter, part",
    )?;
    let mut rows = statement.query(params![call, behind])?;
    let mut events = Vec::new();
    while let Some(row) = rows.next()? {
        let (what, kind, words): (String, Option<String>, Option<String>) = (row.get(2)?, row.get(4)?, row.get(5)?);
        let Some(what) = What::ALL.into_iter().find(|known| known.word() == what) else { continue };
        let kind = kind.as_deref().and_then(Kind::called);
        let entry = kind.map(|kind| Entry { kind, text: words.unwrap_or_default() });
        events.push(Event {
            counter: row.get(0)?,
            at: text::of_database(row.get(1)?),
            what,
            position: row.get(3)?,
            entry,
            author: row.get(6)?,
        });
    }
    Ok(events)
}

/// Begins a call, in a transaction that is under way.
pub(crate) fn begin(
    database: &Connection,
    new: &NewCall,
    visit: Option<u32>,
    origin: Option<&Origin>,
    at: Timestamp,
) -> Result<CallId> {
    let (machine_type, machine, site, serial, choice) = match new {
        NewCall::On(id) => {
            let machine = machines::machine(database, *id)?;
            (machine.machine_type, Some(*id), machine.site, machine.serial.clone(), machine.choice())
        }
        NewCall::Of { machine_type, choice } => {
            let serial = choice.serial.map(|serial| serial.to_string()).unwrap_or_default();
            (*machine_type, None, None, serial, choice.clone())
        }
    };
    let version: Option<VersionId> = database
        .prepare_cached("SELECT current FROM machine_type WHERE id = ?1")?
        .query_row([machine_type], |row| row.get(0))
        .optional()?;
    let Some(version) = version else {
        return Err(Error::unknown(format!("machine type {machine_type}"), "add its machine file first"));
    };
    let revision = choice.revision.as_deref().map(|name| text::name("the revision", name)).transpose()?;
    let number = choice.serial.map(i64::try_from).transpose();
    let number =
        number.map_err(|_| Error::refused("the serial number", "it is too large", "look at the plate again"))?;
    let (procedure, steps) = match origin {
        Some(Origin::Procedure { name, steps }) => {
            (Some(text::name("the procedure", name)?), i64::try_from(*steps).ok())
        }
        None => (None, None),
    };
    let at = text::to_database(at);
    database
        .prepare_cached(
            "INSERT INTO call (version, machine_type, machine, site, began, changed, serial, number, revision, visit,
             origin_procedure, origin_steps) VALUES (?1, ?2, ?3, ?4, ?5, ?5, ?6, ?7, ?8, ?9, ?10, ?11)",
        )?
        .execute(params![
            version,
            machine_type,
            machine,
            site,
            at,
            serial,
            number,
            revision,
            visit,
            procedure,
            steps
        ])?;
    let call = CallId(database.last_insert_rowid());
    put_settings(database, call, &choice.settings)?;
    show(database, call, "")?;
    Ok(call)
}

/// What a call that was worked elsewhere says of its machine.
pub(crate) struct Seen {
    /// The version that it was worked with; none: the current one.
    pub version: Option<VersionId>,
    /// The serial number as text.
    pub serial: String,
    /// What the machine file was resolved for.
    pub choice: Choice,
}

/// Begins a call that was worked elsewhere, in a transaction that is under way.
pub(crate) fn begin_as_seen(
    database: &Connection,
    new: &NewCall,
    visit: Option<u32>,
    seen: &Seen,
    at: Timestamp,
) -> Result<CallId> {
    let call = begin(database, new, visit, None, at)?;
    let revision = seen.choice.revision.as_deref().map(|name| text::name("the revision", name)).transpose()?;
    let number = seen.choice.serial.map(i64::try_from).transpose();
    let number = number.map_err(|_| Error::refused("number", "it is too large", "look at the plate again"))?;
    database
        .prepare_cached(
            "UPDATE call SET version = coalesce(?2, version), serial = ?3, number = ?4, revision = ?5 WHERE id = ?1",
        )?
        .execute(params![call, seen.version, seen.serial, number, revision])?;
    database.prepare_cached("DELETE FROM call_setting WHERE call = ?1")?.execute([call])?;
    put_settings(database, call, &seen.choice.settings)?;
    show(database, call, "")?;
    Ok(call)
}

fn put_settings(database: &Connection, call: CallId, settings: &[(String, String)]) -> Result<()> {
    for (position, (name, value)) in (0_i64..).zip(settings) {
        let name = text::name("the setting's name", name)?;
        let value = text::line("the setting's value", value, text::LONGEST_NAME)?;
        let mut statement = database.prepare_cached("INSERT INTO call_setting VALUES (?1, ?2, ?3, ?4)")?;
        statement.execute(params![call, position, name, value])?;
    }
    Ok(())
}

/// Puts into the search what a call says.
fn show(database: &Connection, call: CallId, said: &str) -> Result<()> {
    let title: String = database
        .prepare_cached(
            "SELECT trim(c.serial || ' ' || t.name || ' ' || coalesce(s.name, '') || ' ' || c.complaint)
             FROM call c JOIN machine_type t ON t.id = c.machine_type LEFT JOIN site s ON s.id = c.site WHERE c.id = ?1",
        )?
        .query_row([call], |row| row.get(0))?;
    search::put(database, About::Call(call), &title, said)
}

/// The counter and state of a call, which must be as it was seen.
pub(crate) fn expect(database: &Connection, call: CallId, seen: u64) -> Result<State, ChangeError> {
    let found: Option<(u64, Option<i64>)> = database
        .prepare_cached("SELECT counter, closed FROM call WHERE id = ?1")?
        .query_row([call], |row| Ok((row.get(0)?, row.get(1)?)))
        .optional()?;
    let Some((now, closed)) = found else { return Err(unknown(call).into()) };
    if now != seen {
        let since = if seen < now { events(database, call, seen)? } else { Vec::new() };
        return Err(ChangeError::Conflict(Conflict { seen, now, since }));
    }
    if now >= MOST_CHANGES {
        let cause = format!("it was changed {MOST_CHANGES} times");
        return Err(Error::refused(format!("call {call}"), cause, "close it, and begin another").into());
    }
    Ok(if closed.is_some() { State::Closed } else { State::Open })
}

/// Writes down what was done, under the next counter, which it gives.
pub(crate) fn note(database: &Connection, call: CallId, seen: u64, events: &[Event], at: Timestamp) -> Result<u64> {
    let counter = seen + 1;
    let mut statement = database.prepare_cached(
        "INSERT INTO call_event (call, counter, part, at, what, position, kind, text, author)
         VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, (SELECT name FROM temp.author))",
    )?;
    for (part, event) in events.iter().enumerate() {
        let part = i64::try_from(part).unwrap_or(i64::MAX);
        let kind = event.entry.as_ref().map(|entry| entry.kind.word());
        let words = event.entry.as_ref().map(|entry| entry.text.as_str());
        let position = event.position.and_then(|position| i64::try_from(position).ok());
        let when = text::to_database(at);
        statement.execute(params![call, counter, part, when, event.what.word(), position, kind, words])?;
    }
    database.prepare_cached("UPDATE call SET counter = ?2, changed = ?3 WHERE id = ?1")?.execute(params![
        call,
        counter,
        text::to_database(at)
    ])?;
    Ok(counter)
}

/// Changes what a call says, in a transaction that is under way.
pub(crate) fn change(
    database: &Connection,
    call: CallId,
    seen: u64,
    change: &Change,
    at: Timestamp,
) -> Result<u64, ChangeError> {
    let place = || format!("call {call}");
    if expect(database, call, seen)? == State::Closed {
        return Err(Error::refused(place(), "it is closed", "open it again first").into());
    }
    let mut all = events(database, call, 0)?;
    let before = Said::of(&all);
    let event = |what, position, entry| Event { counter: seen + 1, at, what, position, entry, author: String::new() };
    let there = |position: usize| {
        let hint = "count the entries from 0, as they stand now";
        if position < before.entries.len() {
            Ok(Some(position))
        } else {
            Err(Error::refused(place(), format!("it has no entry {position}"), hint))
        }
    };
    let new = match change {
        Change::Add(entries) if entries.is_empty() => {
            return Err(Error::refused(place(), "nothing is to be added", "give at least one entry").into());
        }
        Change::Add(entries) => {
            let one = |entry: &Entry| clean(entry).map(|entry| event(What::Add, None, Some(entry)));
            entries.iter().map(one).collect::<Result<Vec<_>>>()?
        }
        Change::Replace { at, entry } => vec![event(What::Replace, there(*at)?, Some(clean(entry)?))],
        Change::Remove { at } => vec![event(What::Remove, there(*at)?, None)],
        Change::Undo if before.standing.is_empty() => {
            return Err(Error::refused(place(), "there is nothing to take back", "nothing was changed").into());
        }
        Change::Undo => vec![event(What::Undo, None, None)],
    };
    all.extend(new.iter().cloned());
    let said = Said::of(&all);
    if said.entries.len() > MOST_ENTRIES {
        let cause = format!("it has more than {MOST_ENTRIES} entries");
        return Err(Error::refused(place(), cause, "close it, and begin another").into());
    }
    let counter = note(database, call, seen, &new, at)?;
    database
        .prepare_cached("UPDATE call SET complaint = ?2 WHERE id = ?1")?
        .execute(params![call, said.complaint()])?;
    show(database, call, &said.text())?;
    Ok(counter)
}

/// An entry as it is kept: cleaned, though its fields can be filled without [`Entry::new`].
fn clean(entry: &Entry) -> Result<Entry> {
    let words = text::line("the entry", &entry.text, text::LONGEST_LINE)?;
    Ok(Entry { kind: entry.kind, text: words })
}

impl Store {
    /// Begins a call. It stays with the version of the machine file that is current now.
    ///
    /// # Errors
    /// When the machine or type is not there.
    pub fn begin_call(&mut self, new: &NewCall, at: Timestamp) -> Result<CallId> {
        self.write(|database| begin(database, new, None, None, at))
    }

    /// Begins a call that goes on from a step of a procedure, or of which the minutes until a visit are known.
    ///
    /// # Errors
    /// As [`Store::begin_call`].
    pub fn begin_call_from(
        &mut self,
        new: &NewCall,
        visit: Option<u32>,
        origin: Option<&Origin>,
        at: Timestamp,
    ) -> Result<CallId> {
        self.write(|database| begin(database, new, visit, origin, at))
    }

    /// Changes what a call says, if it still has the counter that was seen, and gives the new counter. When this
    /// returns, the change is on the disk.
    ///
    /// ```
    /// use diagnose::call::{Entry, Kind};
    /// use records::{Change, ChangeError, NewCall, NewVersion, Store};
    /// # let mut store = Store::in_memory()?;
    /// # let now = "2026-03-01T09:00:00Z".parse().unwrap();
    /// # let text = include_str!("../../../demos/minimal.toml");
    /// # let added = store.add_version(&NewVersion { name: "jar-capper", text, ..NewVersion::default() }, now)?;
    /// # let new = NewCall::Of { machine_type: added.machine_type, choice: machine::Choice::default() };
    /// let call = store.begin_call(&new, now)?;
    /// let said = Change::Add(vec![Entry::new(Kind::Lamps, "I1 on")]);
    /// assert_eq!(store.change(call, 0, &said, now).ok(), Some(1));
    /// // A window that has not seen this can't change the call.
    /// assert!(matches!(store.change(call, 0, &Change::Undo, now), Err(ChangeError::Conflict(_))));
    /// # Ok::<(), records::Error>(())
    /// ```
    ///
    /// # Errors
    /// [`ChangeError::Conflict`] when somebody else was quicker; else when the change can't be made.
    pub fn change(&mut self, call: CallId, seen: u64, what: &Change, at: Timestamp) -> Result<u64, ChangeError> {
        self.write_call(|database| change(database, call, seen, what, at))
    }

    /// Keeps what it was, in the place of what was kept before, and gives the new counter.
    ///
    /// # Errors
    /// As [`Store::change`].
    pub fn set_finding(
        &mut self,
        call: CallId,
        seen: u64,
        finding: &Finding,
        at: Timestamp,
    ) -> Result<u64, ChangeError> {
        self.write_call(|database| {
            expect(database, call, seen)?;
            findings::put(database, call, finding, at)?;
            Ok(note(database, call, seen, &[plain(What::Finding, seen, at)], at)?)
        })
    }

    /// Keeps what it was and closes the call, both or neither; gives the new counter.
    ///
    /// # Errors
    /// As [`Store::change`], and when it is closed; then the finding that it was closed with stays.
    pub fn close_call_with(
        &mut self,
        call: CallId,
        seen: u64,
        finding: &Finding,
        at: Timestamp,
    ) -> Result<u64, ChangeError> {
        self.write_call(|database| {
            if expect(database, call, seen)? == State::Closed {
                let hint = "open it again to change what it was";
                return Err(Error::refused(format!("call {call}"), "it is closed already", hint).into());
            }
            findings::put(database, call, finding, at)?;
            let seen = note(database, call, seen, &[plain(What::Finding, seen, at)], at)?;
            close(database, call, seen, at)
        })
    }

    /// Closes a call and gives the new counter.
    ///
    /// # Errors
    /// As [`Store::change`], and when it is closed.
    pub fn close_call(&mut self, call: CallId, seen: u64, at: Timestamp) -> Result<u64, ChangeError> {
        self.write_call(|database| close(database, call, seen, at))
    }

    /// Opens a call again and gives the new counter. Its finding stays until another is kept.
    ///
    /// # Errors
    /// As [`Store::change`], and when it is open.
    pub fn reopen_call(&mut self, call: CallId, seen: u64, at: Timestamp) -> Result<u64, ChangeError> {
        self.write_call(|database| {
            if expect(database, call, seen)? == State::Open {
                return Err(Error::refused(format!("call {call}"), "it is open already", "go on with it").into());
            }
            database.prepare_cached("UPDATE call SET closed = NULL WHERE id = ?1")?.execute([call])?;
            Ok(note(database, call, seen, &[plain(What::Reopen, seen, at)], at)?)
        })
    }

    fn write_call<T>(&mut self, work: impl FnOnce(&Connection) -> Result<T, ChangeError>) -> Result<T, ChangeError> {
        let mut conflict = None;
        let done = self.write(|database| match work(database) {
            Ok(done) => Ok(Some(done)),
            Err(ChangeError::Conflict(found)) => {
                conflict = Some(found);
                Ok(None)
            }
            Err(ChangeError::Error(error)) => Err(error),
        })?;
        match (done, conflict) {
            (Some(done), _) => Ok(done),
            (None, Some(conflict)) => Err(ChangeError::Conflict(conflict)),
            // Work gives either a result or a conflict.
            (None, None) => Err(Error::refused("the call", "it was not changed", "try again").into()),
        }
    }

    /// A call with all that was said.
    ///
    /// # Errors
    /// When there is none with this number.
    pub fn call(&self, id: CallId) -> Result<Call> {
        let mut statement = self.connection.prepare_cached(&format!("{ROW} WHERE c.id = ?1"))?;
        let found = statement
            .query_row([id], |row| {
                let number: Option<i64> = row.get(14)?;
                let steps: Option<i64> = row.get(18)?;
                let procedure: Option<String> = row.get(17)?;
                let origin = procedure.map(|name| Origin::Procedure {
                    name,
                    steps: steps.and_then(|steps| usize::try_from(steps).ok()).unwrap_or(0),
                });
                let choice = Choice {
                    revision: row.get(15)?,
                    serial: number.and_then(|number| u64::try_from(number).ok()),
                    settings: Vec::new(),
                };
                Ok((row_of(row)?, choice, row.get(16)?, origin))
            })
            .optional()?;
        let Some((row, mut choice, visit, origin)) = found else { return Err(unknown(id)) };
        let mut statement =
            self.connection.prepare_cached("SELECT name, value FROM call_setting WHERE call = ?1 ORDER BY position")?;
        let settings = statement.query_map([id], |row| Ok((row.get(0)?, row.get(1)?)))?;
        choice.settings = settings.collect::<rusqlite::Result<_>>()?;
        let events = events(&self.connection, id, 0)?;
        let closed_by = events.iter().rev().find(|event| event.what == What::Close).map(|event| event.author.clone());
        let said = Said::of(&events);
        let finding = findings::get(&self.connection, id)?;
        Ok(Call {
            row,
            choice,
            visit,
            origin,
            can_undo: !said.standing.is_empty(),
            entries: said.entries,
            authors: said.authors,
            closed_by: closed_by.unwrap_or_default(),
            finding,
        })
    }

    /// The counter of a call, to see cheaply whether something has changed.
    ///
    /// # Errors
    /// When there is none with this number.
    pub fn counter(&self, call: CallId) -> Result<u64> {
        let mut statement = self.connection.prepare_cached("SELECT counter FROM call WHERE id = ?1")?;
        statement.query_row([call], |row| row.get(0)).optional()?.ok_or_else(|| unknown(call))
    }

    /// Everything that was done to a call, in order.
    ///
    /// # Errors
    /// When the file can't be read.
    pub fn events(&self, call: CallId) -> Result<Vec<Event>> {
        events(&self.connection, call, 0)
    }

    /// Calls, the newest first, page by page.
    ///
    /// # Errors
    /// When the file can't be read.
    pub fn calls(&self, filter: &CallFilter, page: &Page<TimePlace>) -> Result<Listed<CallRow, TimePlace>> {
        let (sql, values) = list(filter, page);
        let mut statement = self.connection.prepare_cached(&sql)?;
        let rows = statement.query_map(params_from_iter(values), row_of)?;
        let rows: Vec<CallRow> = rows.collect::<rusqlite::Result<_>>()?;
        Ok(Listed::of(rows, page, |row| TimePlace { time: text::to_database(row.began), id: row.id.0 }))
    }

    /// How many calls there are.
    ///
    /// # Errors
    /// When the file can't be read.
    pub fn count_calls(&self, filter: &CallFilter) -> Result<u64> {
        let list = conditions(filter);
        let sql = format!("SELECT count(*) FROM call c WHERE {}", list.conditions());
        let mut statement = self.connection.prepare_cached(&sql)?;
        Ok(statement.query_row(params_from_iter(list.values), |row| row.get(0))?)
    }

    /// A call as the text that `lampwise call --resume` reads.
    ///
    /// # Errors
    /// When the call is not there.
    pub fn call_record(&self, id: CallId) -> Result<Record> {
        let call = self.call(id)?;
        let version = self.version(call.row.version)?;
        Ok(Record {
            file: format!("{}.toml", call.row.type_name),
            libraries: Vec::new(),
            machine: version.title,
            version: version.label,
            // The number tells the revision where none was named.
            serial: call.choice.serial.filter(|_| call.choice.revision.is_none()),
            revision: call.choice.revision,
            settings: call.choice.settings.iter().map(|(name, value)| format!("{name}={value}")).collect(),
            visit: call.visit,
            fingerprint: version.fingerprint,
            origin: call.origin,
            entries: call.entries,
        })
    }
}

/// Closes a call, in a transaction that is under way.
pub(crate) fn close(database: &Connection, call: CallId, seen: u64, at: Timestamp) -> Result<u64, ChangeError> {
    if expect(database, call, seen)? == State::Closed {
        return Err(Error::refused(format!("call {call}"), "it is closed already", "nothing is left to do").into());
    }
    let row = params![call, text::to_database(at)];
    database.prepare_cached("UPDATE call SET closed = ?2 WHERE id = ?1")?.execute(row)?;
    Ok(note(database, call, seen, &[plain(What::Close, seen, at)], at)?)
}

pub(crate) fn plain(what: What, seen: u64, at: Timestamp) -> Event {
    Event { counter: seen + 1, at, what, position: None, entry: None, author: String::new() }
}

/// The query of a list, with its values.
fn list(filter: &CallFilter, page: &Page<TimePlace>) -> (String, Vec<Value>) {
    let mut list = conditions(filter);
    if let Some(place) = page.after {
        list.and("(c.began, c.id) < (?, ?)", [Value::from(place.time), Value::from(place.id)]);
    }
    let sql = format!("{ROW} WHERE {}", list.ending("ORDER BY c.began DESC, c.id DESC", page.limit()));
    (sql, list.values)
}

fn conditions(filter: &CallFilter) -> Filter {
    let mut list = Filter::default();
    list.equal("(c.closed IS NULL)", filter.state.map(|state| i64::from(state == State::Open)));
    list.equal("c.machine", filter.machine);
    list.equal("c.machine_type", filter.machine_type);
    list.equal("c.site", filter.site);
    if let Some(since) = filter.since {
        list.and("c.began >= ?", [Value::from(text::to_database(since))]);
    }
    if let Some(until) = filter.until {
        list.and("c.began < ?", [Value::from(text::to_database(until))]);
    }
    list
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    #[test]
    fn every_list_walks_along_an_index_from_where_the_page_begins() {
        let store = Store::in_memory().unwrap();
        let all = CallFilter::default();
        let later = Page { after: Some(TimePlace { time: 7, id: 7 }), rows: 20 };
        let time = Some(Timestamp::UNIX_EPOCH);
        for (filter, index) in [
            (all.clone(), "call_by_time (began<"),
            (CallFilter { since: time, until: time, ..all.clone() }, "call_by_time (began>"),
            (CallFilter { state: Some(State::Open), ..all.clone() }, "call_by_state (<expr>=? AND began<"),
            (CallFilter { machine: Some(MachineId(1)), ..all.clone() }, "call_by_machine (machine=? AND began<"),
            (CallFilter { machine_type: Some(TypeId(1)), ..all.clone() }, "call_by_type (machine_type=? AND began<"),
            (CallFilter { site: Some(SiteId(1)), ..all }, "call_by_site (site=? AND began<"),
        ] {
            let (sql, values) = list(&filter, &later);
            let mut statement = store.connection.prepare(&format!("EXPLAIN QUERY PLAN {sql}")).unwrap();
            let rows = statement.query_map(params_from_iter(values), |row| row.get(3)).unwrap();
            let plan = rows.collect::<rusqlite::Result<Vec<String>>>().unwrap().join("\n");
            assert!(plan.contains(index), "{filter:?}\n{plan}");
            assert!(!plan.contains("TEMP B-TREE") && !plan.contains("SCAN c"), "{filter:?}\n{plan}");
        }
    }
}
