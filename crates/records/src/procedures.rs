//! Led service jobs that were gone through, with what was measured.

use crate::error::{Error, Result};
use crate::id::{CallId, MachineId, RunId, VersionId};
use crate::machines;
use crate::store::Store;
use crate::text;
use jiff::Timestamp;
use rusqlite::{Connection, OptionalExtension as _, params};
use serde::{Deserialize, Serialize};

/// Measured values of one run at most.
const MOST_VALUES: usize = 1_000;
/// No measured value is further from 0.
const FURTHEST: f64 = 1e15;

/// A measured value.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Measured {
    /// What was measured.
    pub what: String,
    /// The value.
    pub value: f64,
    /// Its unit; empty if it has none.
    pub unit: String,
    /// The lowest value that was right then, if there was a limit.
    pub lowest: Option<f64>,
    /// The highest.
    pub highest: Option<f64>,
}

/// A procedure that was gone through.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct ProcedureRun {
    /// Its number; whatever is given for a new one.
    pub id: RunId,
    /// The machine.
    pub machine: MachineId,
    /// The version of the machine file by which it was led.
    pub version: VersionId,
    /// The call to which it belongs, or which came of it.
    pub call: Option<CallId>,
    /// When.
    pub at: Timestamp,
    /// The procedure's name in the machine file.
    pub name: String,
    /// Who did it; empty if that was not said.
    pub done_by: String,
    /// Whether it was gone through to its end.
    pub completed: bool,
    /// A note.
    pub note: String,
    /// What was measured, in order.
    pub values: Vec<Measured>,
}

/// Keeps a procedure that was gone through, in a transaction that is under way.
pub(crate) fn add(database: &Connection, run: &ProcedureRun) -> Result<RunId> {
    let name = text::name("the procedure", &run.name)?;
    let done_by = text::line("who did it", &run.done_by, text::LONGEST_NAME)?;
    let note = text::notes("the note", &run.note)?;
    if run.values.len() > MOST_VALUES {
        let cause = format!("there are more than {MOST_VALUES}");
        return Err(Error::refused("the measured values", cause, "keep the most important ones"));
    }
    machines::machine(database, run.machine)?;
    database
        .prepare_cached(
            "INSERT INTO procedure_run (machine, version, call, at, name, done_by, completed, note)
             VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8)",
        )?
        .execute(params![
            run.machine,
            run.version,
            run.call,
            text::to_database(run.at),
            name,
            done_by,
            run.completed,
            note
        ])?;
    let id = RunId(database.last_insert_rowid());
    for (position, measured) in (0_i64..).zip(&run.values) {
        let what = text::name("what was measured", &measured.what)?;
        let unit = text::line("the unit", &measured.unit, text::LONGEST_NAME)?;
        let numbers = [Some(measured.value), measured.lowest, measured.highest];
        if !numbers.iter().flatten().all(|number| number.abs() <= FURTHEST) {
            return Err(Error::refused(what, "its value is no number, or too large to be one", "measure it again"));
        }
        if unit.contains('=') {
            return Err(Error::refused(what, "its unit holds `=`", "a unit is a word such as mm"));
        }
        database.prepare_cached("INSERT INTO measured_value VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7)")?.execute(params![
            id,
            position,
            what,
            measured.value,
            unit,
            measured.lowest,
            measured.highest
        ])?;
    }
    Ok(id)
}

/// A procedure that was gone through.
pub(crate) fn get(database: &Connection, id: RunId) -> Result<ProcedureRun> {
    let mut statement = database.prepare_cached(
        "SELECT machine, version, call, at, name, done_by, completed, note FROM procedure_run WHERE id = ?1",
    )?;
    let found = statement
        .query_row([id], |row| {
            Ok(ProcedureRun {
                id,
                machine: row.get(0)?,
                version: row.get(1)?,
                call: row.get(2)?,
                at: text::of_database(row.get(3)?),
                name: row.get(4)?,
                done_by: row.get(5)?,
                completed: row.get(6)?,
                note: row.get(7)?,
                values: Vec::new(),
            })
        })
        .optional()?;
    let mut run =
        found.ok_or_else(|| Error::unknown(format!("procedure run {id}"), "look at the machine's history"))?;
    let mut statement = database.prepare_cached(
        "SELECT what, value, unit, lowest, highest FROM measured_value WHERE run = ?1 ORDER BY position",
    )?;
    let values = statement.query_map([id], |row| {
        Ok(Measured {
            what: row.get(0)?,
            value: row.get(1)?,
            unit: row.get(2)?,
            lowest: row.get(3)?,
            highest: row.get(4)?,
        })
    })?;
    run.values = values.collect::<rusqlite::Result<_>>()?;
    Ok(run)
}

impl Store {
    /// Keeps a procedure that was gone through.
    ///
    /// # Errors
    /// When the machine, version or call is not there, or a text or number can't be kept.
    pub fn add_procedure_run(&mut self, run: &ProcedureRun) -> Result<RunId> {
        self.write(|database| add(database, run))
    }

    /// A procedure that was gone through.
    ///
    /// # Errors
    /// When there is none with this number.
    pub fn procedure_run(&self, id: RunId) -> Result<ProcedureRun> {
        get(&self.connection, id)
    }

    /// The procedures gone through on a machine, the newest first, so many at most.
    ///
    /// # Errors
    /// When the file can't be read.
    pub fn procedure_runs(&self, machine: MachineId, most: u32) -> Result<Vec<ProcedureRun>> {
        let mut statement = self
            .connection
            .prepare_cached("SELECT id FROM procedure_run WHERE machine = ?1 ORDER BY at DESC, id DESC LIMIT ?2")?;
        let ids = statement.query_map(params![machine, most], |row| row.get(0))?;
        let ids: Vec<RunId> = ids.collect::<rusqlite::Result<_>>()?;
        ids.into_iter().map(|id| self.procedure_run(id)).collect()
    }
}
