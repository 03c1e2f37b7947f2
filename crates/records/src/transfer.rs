//! Machines, calls, findings, running hours and procedures out of the records and into them, as CSV or JSON Lines.
//!
//! An import is all or nothing: every row is tried, every problem is listed with its line, and only without any
//! problem something is kept. Cells are texts and numbers, nothing else: no cell is ever taken as a path, a formula or a
//! query. Fields that hold lists have one line for each thing; in JSON Lines they are arrays of such lines.

mod fields;
mod read;
mod rows;
mod write;

use crate::error::{Error, ErrorKind, Result};
use crate::store::Store;
use fields::Fields;
use jiff::Timestamp;
use rusqlite::{Transaction, TransactionBehavior};
use serde::Serialize;
use std::io::Write;

/// The largest import, bytes.
pub const LARGEST_IMPORT: usize = 64_000_000;
/// Problems that are listed at most.
pub const MOST_PROBLEMS: usize = 500;

/// What is taken along.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Things {
    /// Machines by type and serial number.
    Machines,
    /// Calls with what was said in them.
    Calls,
    /// Findings; each belongs to the call of its machine that began at its time.
    Findings,
    /// How much machines ran in which span of time.
    Hours,
    /// Procedures that were gone through, with what was measured.
    Procedures,
}

impl Things {
    /// All of them, in the order in which they have to come in.
    pub const ALL: [Self; 5] = [Self::Machines, Self::Calls, Self::Findings, Self::Hours, Self::Procedures];

    /// The word for them.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Machines => "machines",
            Self::Calls => "calls",
            Self::Findings => "findings",
            Self::Hours => "hours",
            Self::Procedures => "procedures",
        }
    }

    /// The things of this word.
    #[must_use]
    pub fn called(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|one| one.word() == word)
    }

    /// Their fields: name, and whether a row has to have it.
    #[must_use]
    pub fn fields(self) -> &'static [(&'static str, bool)] {
        match self {
            Self::Machines => &[
                ("machine_type", true),
                ("serial", true),
                ("number", false),
                ("site", false),
                ("revision", false),
                ("settings", false),
                ("contact", false),
                ("notes", false),
                ("running_hours", false),
            ],
            Self::Calls => &[
                ("machine_type", true),
                ("serial", false),
                ("began", true),
                ("closed", false),
                ("fingerprint", false),
                ("number", false),
                ("revision", false),
                ("settings", false),
                ("visit", false),
                ("entries", false),
            ],
            Self::Findings => &[
                ("machine_type", true),
                ("serial", false),
                ("began", true),
                ("words", false),
                ("deviations", false),
                ("remedies", false),
                ("sure", true),
                ("confirmed_by", false),
                ("not_in_file", false),
                ("solved", true),
                ("minutes", false),
                ("visits", false),
                ("parts", false),
                ("stated", false),
            ],
            Self::Hours => &[
                ("machine_type", true),
                ("serial", true),
                ("since", true),
                ("until", true),
                ("amount", true),
                ("unit", false),
            ],
            Self::Procedures => &[
                ("machine_type", true),
                ("serial", true),
                ("at", true),
                ("name", true),
                ("fingerprint", false),
                ("call_began", false),
                ("done_by", false),
                ("completed", false),
                ("note", false),
                ("values", false),
            ],
        }
    }
}

/// How it is written.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Format {
    /// Comma-separated values (RFC 4180) with a line of names first; semicolons and tabs are read too.
    Csv,
    /// One JSON object a line.
    JsonLines,
}

/// Something wrong with a row.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Problem {
    /// The line on which the row begins, from 1.
    pub line: u64,
    /// What is wrong.
    pub what: String,
    /// What to do.
    pub hint: String,
}

impl Problem {
    pub(crate) fn new(line: u64, what: impl Into<String>, hint: impl Into<String>) -> Self {
        Self { line, what: what.into(), hint: hint.into() }
    }
}

/// What an import came to, or would come to.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize)]
pub struct Report {
    /// Rows that were read.
    pub rows: u64,
    /// Things that were not there before.
    pub added: u64,
    /// Things that were there and are different now.
    pub changed: u64,
    /// Things that were there just so.
    pub unchanged: u64,
    /// Whether it was kept: not for a dry run, and not where there are problems.
    pub kept: bool,
    /// All problems, by line; [`MOST_PROBLEMS`] at most.
    pub problems: Vec<Problem>,
    /// Problems that are not listed.
    pub more_problems: u64,
}

/// What a row did.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Done {
    Added,
    Changed,
    Unchanged,
}

impl Report {
    fn problem(&mut self, problem: Problem) {
        if self.problems.len() < MOST_PROBLEMS {
            self.problems.push(problem);
        } else {
            self.more_problems += 1;
        }
    }
}

impl Store {
    /// Writes all things of a kind, in the order of their numbers. Gives how many.
    ///
    /// # Errors
    /// When the records can't be read or the output not be written.
    pub fn export(&self, things: Things, format: Format, out: &mut dyn Write) -> Result<u64> {
        write::export(self, things, format, out)
    }

    /// Takes things in. A dry run does all but keep it. Things that are there already are recognised: a machine by type
    /// and serial number, a call by these and the time at which it began, hours by machine, span and unit, a procedure by
    /// machine, time and name. Of machines, fields that have no column stay. A revision or setting that the machine file
    /// does not have is a problem.
    ///
    /// # Errors
    /// When the records can't be read or written. What is wrong with the text is in the report.
    pub fn import(
        &mut self,
        things: Things,
        format: Format,
        text: &[u8],
        dry_run: bool,
        at: Timestamp,
    ) -> Result<Report> {
        let mut report = Report::default();
        let rows = match read::rows(things, format, text) {
            Ok(rows) => rows,
            Err(problem) => {
                report.problem(problem);
                return Ok(report);
            }
        };
        let mut checked = rows::Checked::default();
        let transaction = Transaction::new(&mut self.connection, TransactionBehavior::Immediate)?;
        for row in rows {
            let fields: Fields = match row {
                Ok(fields) => fields,
                Err(problem) => {
                    report.rows += 1;
                    report.problem(problem);
                    continue;
                }
            };
            report.rows += 1;
            match rows::take_in(&transaction, things, &fields, at, &mut checked) {
                Ok(Done::Added) => report.added += 1,
                Ok(Done::Changed) => report.changed += 1,
                Ok(Done::Unchanged) => report.unchanged += 1,
                Err(error) => report.problem(of_row(fields.line, error)?),
            }
        }
        report.kept = !dry_run && report.problems.is_empty();
        if report.kept {
            transaction.commit()?;
        } else {
            transaction.rollback()?;
        }
        Ok(report)
    }
}

/// What is wrong with a row as a problem; what is wrong with the records stays an error.
fn of_row(line: u64, error: Error) -> Result<Problem> {
    match error.kind {
        ErrorKind::Refused | ErrorKind::Unknown | ErrorKind::Exists => {
            Ok(Problem::new(line, error.to_string(), error.hint))
        }
        _ => Err(error),
    }
}
