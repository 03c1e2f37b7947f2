//! What it was in the end, what it took, and how sure that is.

use crate::error::{Error, Result};
use crate::id::CallId;
use crate::search::{self, About};
use crate::text;
use jiff::Timestamp;
use rusqlite::{Connection, OptionalExtension as _, params};
use serde::{Deserialize, Serialize};

/// Rows of each kind in a finding at most.
const MOST_ROWS: usize = 500;
/// Minutes of work at most: some two months of days and nights.
pub const MOST_MINUTES: f64 = 100_000.0;
/// Visits for one call at most.
pub const MOST_VISITS: u32 = 1_000;
/// Parts of one kind for one call at most.
pub const MOST_PARTS: u32 = 10_000;
/// The price of one part at most, in whatever is paid with.
pub const HIGHEST_PRICE: f64 = 10_000_000.0;

/// Who put it right.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Solved {
    /// Whoever was at the machine, led on the phone.
    Phone,
    /// Somebody who went there.
    Visit,
    /// Nobody.
    #[default]
    Unsolved,
}

impl Solved {
    /// All of them.
    pub const ALL: [Self; 3] = [Self::Phone, Self::Visit, Self::Unsolved];

    /// The word for it.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Phone => "phone",
            Self::Visit => "visit",
            Self::Unsolved => "unsolved",
        }
    }

    /// The one of this word.
    #[must_use]
    pub fn called(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|one| one.word().eq_ignore_ascii_case(word))
    }
}

/// A part that was used.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct PartUsed {
    /// What it is.
    pub part: String,
    /// How many, from 1.
    pub count: u32,
    /// The price of one, if it is known.
    pub price: Option<f64>,
}

/// A probability that was stated when the call ended.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Stated {
    /// The deviation's key in the machine file.
    pub key: String,
    /// Its probability, from 0 to 1.
    pub probability: f64,
}

/// What it was.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Finding {
    /// The deviations that were there, by their keys in the machine file: `B1/dead`. None where nothing was wrong, or
    /// where it is not in the file.
    pub deviations: Vec<String>,
    /// What it was, in words.
    pub words: String,
    /// The remedies that helped, by their keys.
    pub remedies: Vec<String>,
    /// How sure that is, from 0 to 1.
    pub sure: f64,
    /// By whom it was confirmed; empty if by nobody.
    pub confirmed_by: String,
    /// Whether it was something that is not in the machine file.
    pub not_in_file: bool,
    /// Who put it right.
    pub solved: Solved,
    /// Minutes of work, travel not included, if they are known.
    pub minutes: Option<f64>,
    /// How often somebody went there.
    pub visits: u32,
    /// Parts used.
    pub parts: Vec<PartUsed>,
    /// What was stated as probable when the call ended.
    pub stated: Vec<Stated>,
}

fn clean(finding: &Finding) -> Result<Finding> {
    let keys = |what: &str, keys: &[String]| -> Result<Vec<String>> {
        few(what, keys.len())?;
        let mut clean: Vec<String> = Vec::with_capacity(keys.len());
        for key in keys {
            let key = text::name(what, key)?;
            if !clean.contains(&key) {
                clean.push(key);
            }
        }
        Ok(clean)
    };
    few("the parts", finding.parts.len())?;
    few("the stated probabilities", finding.stated.len())?;
    let part = |part: &PartUsed| {
        let name = text::name("the part", &part.part)?;
        if part.count == 0 {
            return Err(Error::refused(name, "none of it was used", "leave it out, or give a number from 1"));
        }
        let price = part.price.map(|price| text::up_to("the price", price, HIGHEST_PRICE)).transpose()?;
        let count = text::count_up_to("the number of parts", part.count, MOST_PARTS)?;
        Ok(PartUsed { part: name, count, price })
    };
    let stated = |stated: &Stated| {
        let key = text::name("the key", &stated.key)?;
        Ok(Stated { probability: text::probability(&format!("the probability of {key}"), stated.probability)?, key })
    };
    Ok(Finding {
        deviations: keys("the deviation's key", &finding.deviations)?,
        words: text::notes("the finding", &finding.words)?,
        remedies: keys("the remedy's key", &finding.remedies)?,
        sure: text::probability("how sure it is", finding.sure)?,
        confirmed_by: text::line("by whom it was confirmed", &finding.confirmed_by, text::LONGEST_NAME)?,
        not_in_file: finding.not_in_file,
        solved: finding.solved,
        minutes: finding.minutes.map(|minutes| text::up_to("the minutes", minutes, MOST_MINUTES)).transpose()?,
        visits: text::count_up_to("the visits", finding.visits, MOST_VISITS)?,
        parts: finding.parts.iter().map(part).collect::<Result<_>>()?,
        stated: finding.stated.iter().map(stated).collect::<Result<_>>()?,
    })
}

fn few(what: &str, rows: usize) -> Result<()> {
    if rows <= MOST_ROWS {
        return Ok(());
    }
    Err(Error::refused(what, format!("there are more than {MOST_ROWS}"), "keep the most important ones"))
}

/// Keeps a finding, in a transaction that is under way, in the place of the one before.
pub(crate) fn put(database: &Connection, call: CallId, finding: &Finding, at: Timestamp) -> Result<()> {
    let finding = clean(finding)?;
    database.prepare_cached("DELETE FROM finding WHERE call = ?1")?.execute([call])?;
    database
        .prepare_cached(
            "INSERT INTO finding (call, at, words, sure, confirmed_by, not_in_file, solved, minutes, visits)
             VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9)",
        )?
        .execute(params![
            call,
            text::to_database(at),
            finding.words,
            finding.sure,
            finding.confirmed_by,
            finding.not_in_file,
            finding.solved.word(),
            finding.minutes,
            finding.visits
        ])?;
    for (position, key) in (0_i64..).zip(&finding.deviations) {
        let mut statement = database.prepare_cached("INSERT INTO finding_deviation VALUES (?1, ?2, ?3)")?;
        statement.execute(params![call, position, key])?;
    }
    for (position, key) in (0_i64..).zip(&finding.remedies) {
        let mut statement = database.prepare_cached("INSERT INTO finding_remedy VALUES (?1, ?2, ?3)")?;
        statement.execute(params![call, position, key])?;
    }
    for (position, part) in (0_i64..).zip(&finding.parts) {
        let mut statement = database.prepare_cached("INSERT INTO part_used VALUES (?1, ?2, ?3, ?4, ?5)")?;
        statement.execute(params![call, position, part.part, part.count, part.price])?;
    }
    for (position, stated) in (0_i64..).zip(&finding.stated) {
        let mut statement = database.prepare_cached("INSERT INTO stated_probability VALUES (?1, ?2, ?3, ?4)")?;
        statement.execute(params![call, position, stated.key, stated.probability])?;
    }
    let parts: Vec<&str> = finding.parts.iter().map(|part| part.part.as_str()).collect();
    let keys = [finding.deviations.join(" "), finding.remedies.join(" "), parts.join(" "), finding.confirmed_by];
    search::put(database, About::Finding(call), &finding.words, &keys.join("\n"))
}

/// The finding of a call.
pub(crate) fn get(database: &Connection, call: CallId) -> Result<Option<Finding>> {
    let mut statement = database.prepare_cached(
        "SELECT words, sure, confirmed_by, not_in_file, solved, minutes, visits FROM finding WHERE call = ?1",
    )?;
    let found = statement
        .query_row([call], |row| {
            let solved: String = row.get(4)?;
            Ok(Finding {
                words: row.get(0)?,
                sure: row.get(1)?,
                confirmed_by: row.get(2)?,
                not_in_file: row.get(3)?,
                solved: Solved::called(&solved).unwrap_or_default(),
                minutes: row.get(5)?,
                visits: row.get(6)?,
                ..Finding::default()
            })
        })
        .optional()?;
    let Some(mut finding) = found else { return Ok(None) };
    let keys = |table: &str| -> Result<Vec<String>> {
        let mut statement =
            database.prepare_cached(&format!("SELECT key FROM {table} WHERE call = ?1 ORDER BY position"))?;
        let rows = statement.query_map([call], |row| row.get(0))?;
        Ok(rows.collect::<rusqlite::Result<_>>()?)
    };
    finding.deviations = keys("finding_deviation")?;
    finding.remedies = keys("finding_remedy")?;
    let mut statement =
        database.prepare_cached("SELECT part, count, price FROM part_used WHERE call = ?1 ORDER BY position")?;
    let parts = statement
        .query_map([call], |row| Ok(PartUsed { part: row.get(0)?, count: row.get(1)?, price: row.get(2)? }))?;
    finding.parts = parts.collect::<rusqlite::Result<_>>()?;
    let mut statement =
        database.prepare_cached("SELECT key, probability FROM stated_probability WHERE call = ?1 ORDER BY position")?;
    let stated = statement.query_map([call], |row| Ok(Stated { key: row.get(0)?, probability: row.get(1)? }))?;
    finding.stated = stated.collect::<rusqlite::Result<_>>()?;
    Ok(Some(finding))
}
