//! Search over everything. What people type is taken as words, never as a query language.

use crate::error::Result;
use crate::id::{CallId, MachineId, SiteId, TypeId};
use crate::store::Store;
use rusqlite::{Connection, params};
use serde::Serialize;

/// Words of a search at most; more make nothing clearer.
const MOST_WORDS: usize = 16;
/// Hits at most.
const MOST_HITS: usize = 200;
/// Rows that are weighed at most where a word stands nearly everywhere; the newest are taken.
const MOST_WEIGHED: usize = 5_000;
/// Marks around what was found, which no cleaned text holds.
const OPEN: char = '\u{2}';
const CLOSE: char = '\u{3}';

/// What was found.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize)]
#[serde(rename_all = "snake_case", tag = "what", content = "id")]
pub enum About {
    /// A machine type.
    Type(TypeId),
    /// A site.
    Site(SiteId),
    /// A machine, its contact and notes included.
    Machine(MachineId),
    /// A call: what was said in it.
    Call(CallId),
    /// What it was in the end.
    Finding(CallId),
}

impl About {
    /// Eight times the thing's number plus a digit for what it is.
    fn row(self) -> i64 {
        let (id, digit) = match self {
            Self::Type(id) => (id.0, 0),
            Self::Site(id) => (id.0, 1),
            Self::Machine(id) => (id.0, 2),
            Self::Call(id) => (id.0, 3),
            Self::Finding(id) => (id.0, 4),
        };
        id.wrapping_mul(8) + digit
    }

    fn of_row(row: i64) -> Self {
        let id = row.div_euclid(8);
        match row.rem_euclid(8) {
            0 => Self::Type(TypeId(id)),
            1 => Self::Site(SiteId(id)),
            2 => Self::Machine(MachineId(id)),
            3 => Self::Call(CallId(id)),
            _ => Self::Finding(CallId(id)),
        }
    }
}

/// A piece of text around what was found.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Piece {
    /// The text.
    pub text: String,
    /// Whether it is what was looked for.
    pub found: bool,
}

/// One thing that was found.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Hit {
    /// What it is.
    pub about: About,
    /// Its title.
    pub title: String,
    /// Where the words stand in it.
    pub around: Vec<Piece>,
}

/// Puts or replaces what a thing can be found by.
pub(crate) fn put(database: &Connection, about: About, title: &str, body: &str) -> Result<()> {
    let mut statement =
        database.prepare_cached("INSERT OR REPLACE INTO finder (rowid, title, body) VALUES (?1, ?2, ?3)")?;
    statement.execute(params![about.row(), title, body])?;
    Ok(())
}

/// Gives a thing that can be found another title.
pub(crate) fn retitle(database: &Connection, about: About, title: &str) -> Result<()> {
    let mut statement = database.prepare_cached("UPDATE finder SET title = ?2 WHERE rowid = ?1")?;
    statement.execute(params![about.row(), title])?;
    Ok(())
}

/// The typed words as a query: each must be there, as it is or as the beginning of a word.
fn query(typed: &str) -> Option<String> {
    let clean: String =
        typed.chars().map(|letter| if letter == '"' || letter.is_control() { ' ' } else { letter }).collect();
    let words: Vec<String> = clean
        .split_whitespace()
        .filter(|word| word.chars().any(char::is_alphanumeric))
        .take(MOST_WORDS)
        .map(|word| format!("\"{}\"*", word.chars().take(100).collect::<String>()))
        .collect();
    if words.is_empty() { None } else { Some(words.join(" ")) }
}

impl Store {
    /// What has all these words, the best first: at most so many.
    ///
    /// # Errors
    /// When the file can't be read. No words can be wrong.
    pub fn search(&self, typed: &str, most: usize) -> Result<Vec<Hit>> {
        let Some(query) = query(typed) else { return Ok(Vec::new()) };
        let mut statement = self.connection.prepare_cached(
            "WITH newest (number) AS MATERIALIZED (
                 SELECT rowid FROM finder WHERE finder MATCH ?1 ORDER BY rowid DESC LIMIT ?3)
             SELECT rowid, title, snippet(finder, 1, char(2), char(3), ' … ', 16) FROM finder
             WHERE finder MATCH ?1 AND rowid >= (SELECT min(number) FROM newest)
             ORDER BY bm25(finder, 4.0, 1.0), rowid DESC LIMIT ?2",
        )?;
        let rows = statement.query_map(params![query, most.min(MOST_HITS), MOST_WEIGHED], |row| {
            let snippet: String = row.get(2)?;
            Ok(Hit { about: About::of_row(row.get(0)?), title: row.get(1)?, around: pieces(&snippet) })
        })?;
        Ok(rows.collect::<rusqlite::Result<_>>()?)
    }
}

fn pieces(snippet: &str) -> Vec<Piece> {
    let mut pieces = Vec::new();
    let mut found = false;
    for text in snippet.split_inclusive([OPEN, CLOSE]) {
        let next = match text.chars().last() {
            Some(OPEN) => true,
            Some(CLOSE) => false,
            _ => found,
        };
        let plain: String = text.chars().filter(|letter| !matches!(*letter, OPEN | CLOSE)).collect();
        if !plain.is_empty() {
            pieces.push(Piece { text: plain, found });
        }
        found = next;
    }
    pieces
}
