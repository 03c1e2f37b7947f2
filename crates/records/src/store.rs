//! The database file: opened, brought up to date, looked over, copied while in use.
//!
//! An entry that was acknowledged is on the disk: the write-ahead log is synced with every transaction. Several
//! programs and threads may each open a [`Store`] on the same file; who writes waits for the other.

use crate::error::{Error, ErrorKind, Result};
use crate::schema::{APPLICATION, MIGRATIONS, NEWEST};
use crate::text;
use rusqlite::backup::{Backup, StepResult};
use rusqlite::{Connection, OpenFlags, Transaction, TransactionBehavior};
use std::path::Path;
use std::time::Duration;

/// How long to wait for somebody else who is writing.
const PATIENCE: Duration = Duration::from_secs(10);
/// How often opening is tried while others open the same new file.
const TRIES: usize = 200;
/// Prepared statements that are kept.
const STATEMENTS: usize = 128;

/// Everything that was recorded, in one SQLite file.
///
/// ```
/// use records::{NewMachine, NewVersion, Store};
/// let mut store = Store::in_memory()?;
/// let now = "2026-03-01T09:00:00Z".parse().unwrap();
/// let text = include_str!("../../../demos/minimal.toml");
/// let added = store.add_version(&NewVersion { name: "jar-capper", text, ..NewVersion::default() }, now)?;
/// let machine = store.add_machine(&NewMachine { serial: "JC-17".into(), ..NewMachine::of(added.machine_type) }, now)?;
/// assert_eq!(store.machine(machine)?.number, Some(17));
/// # Ok::<(), records::Error>(())
/// ```
#[derive(Debug)]
pub struct Store {
    pub(crate) connection: Connection,
    /// Who writes.
    author: String,
}

/// What looking the file over gave.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Condition {
    /// What is wrong, in SQLite's words; empty if nothing is.
    pub faults: Vec<String>,
}

impl Condition {
    /// Whether nothing is wrong.
    #[must_use]
    pub fn is_sound(&self) -> bool {
        self.faults.is_empty()
    }
}

/// How often that was written from which something is worked out, by whatever program. While a number stays the same,
/// so does what is worked out.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Written {
    /// Findings, running hours, machines, machine types: from these rates are learned.
    pub learned: u64,
    /// The same, and calls that were begun and closed: from these figures are made.
    pub figures: u64,
}

impl Store {
    /// Opens a file, or makes it if there is none, and brings it up to date.
    ///
    /// # Errors
    /// When it can't be opened, is something else, was written by a newer program, or stays busy.
    pub fn open(path: &Path) -> Result<Self> {
        let place = || path.display().to_string();
        Connection::open(path).map_err(Error::from).and_then(Self::prepare).map_err(|error| error.at(place()))
    }

    /// Opens a file that must be there.
    ///
    /// # Errors
    /// As [`Store::open`], and when there is no such file.
    pub fn open_existing(path: &Path) -> Result<Self> {
        if !path.exists() {
            let hint = "look whether name and folder are right, or begin new records: `lampwise records init`";
            return Err(Error::new(ErrorKind::Unreadable, path.display().to_string(), "there is no such file", hint));
        }
        Self::open(path)
    }

    /// Records that are gone when this is dropped, for tests and trying out.
    ///
    /// # Errors
    /// When SQLite does not work here at all.
    pub fn in_memory() -> Result<Self> {
        Self::prepare(Connection::open_in_memory()?)
    }

    /// Says who does to calls what is done through this store from now on; empty: that is not said.
    ///
    /// # Errors
    /// When the name can't be kept.
    pub fn set_author(&mut self, name: &str) -> Result<()> {
        if self.author != name {
            let clean = text::line("the name", name, text::LONGEST_NAME)?;
            self.connection.prepare_cached("UPDATE temp.author SET name = ?1")?.execute([clean])?;
            name.clone_into(&mut self.author);
        }
        Ok(())
    }

    /// Another way into the same file, for what takes long while others work; none if these records are no file.
    ///
    /// # Errors
    /// When the file can't be opened once more.
    pub fn once_more(&self) -> Result<Option<Self>> {
        match self.connection.path() {
            None | Some("") => Ok(None),
            Some(path) => Self::open_existing(Path::new(path)).map(Some),
        }
    }

    fn prepare(mut connection: Connection) -> Result<Self> {
        connection.busy_timeout(PATIENCE)?;
        connection.set_prepared_statement_cache_capacity(STATEMENTS);
        refuse_foreign(&connection)?;
        // Two that open a new file at once get in each other's way for a moment; the second finds all done.
        let mut tries = 0;
        loop {
            match set_up(&mut connection) {
                Err(error) if error.kind == ErrorKind::Busy && tries < TRIES => {
                    tries += 1;
                    std::thread::sleep(Duration::from_millis(10));
                }
                Err(error) => return Err(error),
                Ok(()) => break,
            }
        }
        // Of this connection alone, and in memory: who writes is read where something is written down.
        connection.execute_batch(
            "PRAGMA temp_store = MEMORY;
             CREATE TEMP TABLE author (name TEXT NOT NULL) STRICT;
             INSERT INTO author VALUES ('')",
        )?;
        Ok(Self { connection, author: String::new() })
    }

    /// Copies everything to a new file, while this one is in use: the copy is as all stood at one moment.
    ///
    /// # Errors
    /// When there is such a file already, or it can't be written.
    pub fn backup(&self, to: &Path) -> Result<()> {
        let place = || to.display().to_string();
        if to.symlink_metadata().is_ok() {
            let hint = "choose another name; nothing is overwritten";
            return Err(Error::new(ErrorKind::Exists, place(), "there is such a file already", hint));
        }
        let copy = || -> Result<()> {
            let flags = OpenFlags::SQLITE_OPEN_READ_WRITE | OpenFlags::SQLITE_OPEN_CREATE;
            let mut target = Connection::open_with_flags(to, flags)?;
            target.pragma_update(None, "synchronous", "FULL")?;
            {
                let backup = Backup::new(&self.connection, &mut target)?;
                // All in one step: writers go on in the log meanwhile, and can't make it begin anew for ever.
                for _ in 0..TRIES {
                    match backup.step(-1)? {
                        StepResult::Done => break,
                        _ => std::thread::sleep(Duration::from_millis(50)),
                    }
                }
                let left = backup.progress();
                if left.remaining > 0 || left.pagecount == 0 {
                    let hint = "try again; look whether another program holds the file";
                    return Err(Error::new(ErrorKind::Busy, place(), "the copy was not finished", hint));
                }
            }
            // One file, without a log beside it, is what people carry away.
            target.pragma_update_and_check(None, "journal_mode", "DELETE", |_| Ok(()))?;
            let faults = faults(&target)?;
            match faults.first() {
                None => Ok(()),
                Some(fault) => Err(Error::new(
                    ErrorKind::Damaged,
                    place(),
                    format!("the copy is not sound: {fault}"),
                    "look at the disk, and copy once more to another place",
                )),
            }
        };
        copy().map_err(|error| error.at(place()))
    }

    /// Looks the whole file over: its structure, and whether everything that is referred to is there.
    ///
    /// # Errors
    /// When it can't be read at all.
    pub fn check(&self) -> Result<Condition> {
        Ok(Condition { faults: faults(&self.connection)? })
    }

    /// How often that was written from which something is worked out.
    ///
    /// # Errors
    /// When the file can't be read.
    pub fn written(&self) -> Result<Written> {
        let times = |what: &str| -> Result<u64> {
            let mut statement = self.connection.prepare_cached("SELECT times FROM written WHERE what = ?1")?;
            Ok(statement.query_row([what], |row| row.get(0))?)
        };
        Ok(Written { learned: times("learned")?, figures: times("figures")? })
    }

    /// Does all of it or nothing; others wait meanwhile.
    pub(crate) fn write<T>(&mut self, work: impl FnOnce(&Connection) -> Result<T>) -> Result<T> {
        let transaction = Transaction::new(&mut self.connection, TransactionBehavior::Immediate)?;
        let done = work(&transaction)?;
        transaction.commit()?;
        Ok(done)
    }
}

/// Refuses a database that somebody else has made.
fn refuse_foreign(connection: &Connection) -> Result<()> {
    let application: i32 = connection.pragma_query_value(None, "application_id", |row| row.get(0))?;
    let tables: i64 = connection.query_row("SELECT count(*) FROM sqlite_schema", [], |row| row.get(0))?;
    if application == APPLICATION || (application == 0 && tables == 0) {
        return Ok(());
    }
    let hint = "look whether it is the right file; new records are begun with `lampwise records init`";
    Err(Error::new(ErrorKind::NotRecords, "the file", "this is a database of another program", hint))
}

fn set_up(connection: &mut Connection) -> Result<()> {
    // In memory there is no log; SQLite then answers `memory`, which is as it should be.
    connection.pragma_update_and_check(None, "journal_mode", "WAL", |_| Ok(()))?;
    connection.pragma_update(None, "synchronous", "FULL")?;
    connection.pragma_update(None, "foreign_keys", true)?;
    let shape: i64 = connection.pragma_query_value(None, "user_version", |row| row.get(0))?;
    match usize::try_from(shape) {
        Ok(shape) if shape == NEWEST => return Ok(()),
        Ok(shape) if shape > NEWEST => {
            let hint = "take a newer lampwise";
            return Err(Error::new(
                ErrorKind::Newer,
                "the file",
                "it was written by a newer version of lampwise",
                hint,
            ));
        }
        _ => {}
    }
    // Marked before the tables come, so that no half-made file is taken for somebody else's.
    connection.pragma_update(None, "application_id", APPLICATION)?;
    if let Err(error) = MIGRATIONS.to_latest(connection) {
        // Somebody else may have been quicker; then all is done, or will be at the next try.
        let hint = "go back to the last backup, and report this";
        return Err(match error {
            rusqlite_migration::Error::RusqliteError { err, .. } => match Error::from(err) {
                busy if busy.kind == ErrorKind::Busy => busy,
                _ if shape_of(connection).is_some_and(|now| now == NEWEST) => {
                    Error::new(ErrorKind::Busy, "the file", "it was just made by somebody else", hint)
                }
                other => other,
            },
            other => Error::new(ErrorKind::Internal, "the file", "it can't be brought up to date", hint).because(other),
        });
    }
    Ok(())
}

fn shape_of(connection: &Connection) -> Option<usize> {
    let shape: i64 = connection.pragma_query_value(None, "user_version", |row| row.get(0)).ok()?;
    usize::try_from(shape).ok()
}

fn faults(connection: &Connection) -> Result<Vec<String>> {
    let mut faults: Vec<String> = Vec::new();
    let mut statement = connection.prepare("PRAGMA integrity_check")?;
    let mut rows = statement.query([])?;
    while let Some(row) = rows.next()? {
        let said: String = row.get(0)?;
        if said != "ok" {
            faults.push(said);
        }
    }
    let mut statement = connection.prepare("PRAGMA foreign_key_check")?;
    let mut rows = statement.query([])?;
    while let Some(row) = rows.next()? {
        let (table, number, parent): (String, Option<i64>, String) = (row.get(0)?, row.get(1)?, row.get(2)?);
        let number = number.map(|number| format!(" {number}")).unwrap_or_default();
        faults.push(format!("{table}{number} refers to a row of {parent} that is not there"));
    }
    Ok(faults)
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    #[test]
    fn every_transaction_is_synced_and_references_are_kept() {
        let store = Store::in_memory().unwrap();
        let pragma = |name: &str| -> i64 { store.connection.pragma_query_value(None, name, |row| row.get(0)).unwrap() };
        // 2 is FULL: the log is synced at every commit (sqlite.org/pragma.html#pragma_synchronous).
        assert_eq!(pragma("synchronous"), 2);
        assert_eq!(pragma("foreign_keys"), 1);
        assert_eq!(pragma("busy_timeout"), 10_000);
        assert_eq!(pragma("user_version"), i64::try_from(NEWEST).unwrap());
        assert!(MIGRATIONS.validate().is_ok());
    }
}
