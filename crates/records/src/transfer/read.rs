//! A text cut into rows. Whatever the text is, each row gives either its fields or a problem with its line.

use super::fields::{Fields, Held, short, unguarded};
use super::{Format, LARGEST_IMPORT, Problem, Things};
use csv::ReaderBuilder;
use serde_json::Value;
use std::collections::BTreeMap;

/// Bytes of one row at most.
const LONGEST_ROW: usize = 2_000_000;

type Rows<'t> = Box<dyn Iterator<Item = Result<Fields, Problem>> + 't>;

/// The rows of a text.
pub(super) fn rows(things: Things, format: Format, text: &[u8]) -> Result<Rows<'_>, Problem> {
    if text.len() > LARGEST_IMPORT {
        let what = format!("it is larger than {} MB", LARGEST_IMPORT / 1_000_000);
        return Err(Problem::new(1, what, "cut it into several files"));
    }
    if text.starts_with(&[0xff, 0xfe]) || text.starts_with(&[0xfe, 0xff]) {
        return Err(Problem::new(1, "it is in UTF-16", "save it as UTF-8"));
    }
    let text = text.strip_prefix(&[0xef, 0xbb, 0xbf]).unwrap_or(text);
    match format {
        Format::Csv => csv_rows(things, text),
        Format::JsonLines => Ok(Box::new(json_rows(things, text))),
    }
}

fn csv_rows(things: Things, text: &[u8]) -> Result<Rows<'_>, Problem> {
    let head = text.split(|byte| *byte == b'\n').next().unwrap_or_default();
    let count = |mark: u8| head.iter().filter(|byte| **byte == mark).count();
    let mark = [b',', b';', b'\t'].into_iter().max_by_key(|mark| (count(*mark), *mark == b',')).unwrap_or(b',');
    if let Some(problem) = loose_quote(text, mark) {
        return Err(problem);
    }
    let mut reader = ReaderBuilder::new().delimiter(mark).flexible(true).from_reader(text);
    let names = reader.byte_headers().map_err(|error| Problem::new(1, error.to_string(), "save it as CSV"))?.clone();
    let mut columns = Vec::new();
    for name in &names {
        let name = String::from_utf8_lossy(name).trim().to_ascii_lowercase();
        if !things.fields().iter().any(|(known, _)| *known == name) {
            return Err(unknown(things, 1, &name));
        }
        if columns.contains(&name) {
            return Err(Problem::new(1, format!("the column `{name}` is there twice"), "leave one out"));
        }
        columns.push(name);
    }
    for (name, _) in things.fields().iter().filter(|(_, needed)| *needed) {
        if !columns.iter().any(|column| column == name) {
            return Err(Problem::new(1, format!("the column `{name}` is missing"), wanted(things)));
        }
    }
    let mut lines = Lines { text, counted: 0, line: 1 };
    Ok(Box::new(reader.into_byte_records().map(move |record| {
        let record = record.map_err(|error| {
            let line = error.position().map_or(1, |place| lines.at(place.byte()));
            Problem::new(line, error.to_string(), "save it as CSV")
        })?;
        let line = record.position().map_or(1, |place| lines.at(place.byte()));
        if record.as_slice().len() > LONGEST_ROW {
            return Err(too_long(line));
        }
        if record.len() != columns.len() {
            let what = format!("it has {} cells, and the first line has {}", record.len(), columns.len());
            return Err(Problem::new(line, what, "look for a missing or a needless separator or quote"));
        }
        let mut fields = Fields { line, held: BTreeMap::new() };
        for (name, cell) in columns.iter().zip(&record) {
            let cell = readable(line, cell)?;
            fields.held.insert(name.clone(), Held::Text(unguarded(cell).to_owned()));
        }
        needed(things, fields)
    })))
}

/// A quote that is never closed, or after which something else follows (RFC 4180, section 2): rows behind it would be
/// swallowed without a word.
fn loose_quote(text: &[u8], mark: u8) -> Option<Problem> {
    let hint = "close it; a quote within a quoted cell is written twice";
    let (mut line, mut opened) = (1_u64, 1_u64);
    let (mut begins, mut quoted) = (true, false);
    let mut at = 0;
    while let Some(byte) = text.get(at) {
        let next = text.get(at + 1).copied();
        match (*byte, quoted) {
            (b'"', false) if begins => {
                (quoted, opened) = (true, line);
            }
            (b'"', true) if next == Some(b'"') => at += 1,
            (b'"', true) => {
                quoted = false;
                if next.is_some_and(|next| next != mark && !matches!(next, b'\r' | b'\n')) {
                    let what = if opened == line {
                        "behind the quote that ends a cell something else follows".to_owned()
                    } else {
                        format!("the quote that is opened on line {opened} is closed here, and something else follows")
                    };
                    return Some(Problem::new(line, what, hint));
                }
            }
            _ => {}
        }
        begins = !quoted && (*byte == mark || matches!(*byte, b'\r' | b'\n'));
        line += u64::from(*byte == b'\n');
        at += 1;
    }
    quoted.then(|| Problem::new(opened, "a quote is opened here and never closed", hint))
}

/// Counts lines. The reader's own count is one short where lines end with CR and LF.
struct Lines<'t> {
    text: &'t [u8],
    counted: usize,
    line: u64,
}

impl Lines<'_> {
    /// The line of the row that begins here or behind the line ends that stand here. Places have to rise.
    fn at(&mut self, byte: u64) -> u64 {
        let from = usize::try_from(byte).unwrap_or(usize::MAX).clamp(self.counted, self.text.len());
        let ends = self.text[from..].iter().take_while(|byte| matches!(byte, b'\r' | b'\n')).count();
        let passed = &self.text[self.counted..from + ends];
        self.line += passed.iter().filter(|byte| **byte == b'\n').count() as u64;
        self.counted = from + ends;
        self.line
    }
}

fn json_rows(things: Things, text: &[u8]) -> impl Iterator<Item = Result<Fields, Problem>> {
    let lines = (1_u64..).zip(text.split(|byte| *byte == b'\n'));
    let lines = lines.filter(|(_, line)| !line.iter().all(u8::is_ascii_whitespace));
    lines.map(move |(number, line)| {
        if line.len() > LONGEST_ROW {
            return Err(too_long(number));
        }
        let line = readable(number, line)?;
        let value: Value = serde_json::from_str(line).map_err(|error| {
            let what = format!("this is no JSON: {error}");
            Problem::new(number, what, "each line is one object, such as {\"serial\": \"17\"}")
        })?;
        let Value::Object(object) = value else {
            return Err(Problem::new(number, "this is no object", "each line is one object, in braces"));
        };
        let mut fields = Fields { line: number, held: BTreeMap::new() };
        for (name, value) in object {
            if !things.fields().iter().any(|(known, _)| *known == name) {
                return Err(unknown(things, number, &name));
            }
            let wrong = || {
                let hint = "it is a text, a number, true, false, or an array of texts";
                Problem::new(number, format!("`{name}` holds something else"), hint)
            };
            let held = match value {
                Value::Null => continue,
                Value::String(text) => Held::Text(text),
                Value::Number(number) => Held::Text(number.to_string()),
                Value::Bool(truth) => Held::Text(truth.to_string()),
                Value::Array(list) => {
                    let texts = list.into_iter().map(|one| match one {
                        Value::String(text) if !text.contains('\n') => Ok(text),
                        _ => Err(wrong()),
                    });
                    Held::List(texts.collect::<Result<_, _>>()?)
                }
                Value::Object(_) => return Err(wrong()),
            };
            if matches!(&held, Held::Text(text) if text.contains('\0')) {
                return Err(no_text(number));
            }
            fields.held.insert(name, held);
        }
        needed(things, fields)
    })
}

/// Notes what a row has to have and has not.
fn needed(things: Things, fields: Fields) -> Result<Fields, Problem> {
    for (name, _) in things.fields().iter().filter(|(_, needed)| *needed) {
        let there = match fields.held.get(*name) {
            Some(Held::Text(text)) => !text.trim().is_empty(),
            _ => false,
        };
        if !there {
            return Err(Problem::new(fields.line, format!("`{name}` is missing"), "each row needs it"));
        }
    }
    Ok(fields)
}

fn readable(line: u64, bytes: &[u8]) -> Result<&str, Problem> {
    if bytes.contains(&0) {
        return Err(no_text(line));
    }
    std::str::from_utf8(bytes).map_err(|_| Problem::new(line, "it is not in UTF-8", "save it as UTF-8"))
}

fn no_text(line: u64) -> Problem {
    Problem::new(line, "it holds a NUL character, so it is no text", "look whether it is the right file")
}

fn too_long(line: u64) -> Problem {
    let what = format!("the row is longer than {} MB", LONGEST_ROW / 1_000_000);
    Problem::new(line, what, "look for a quote that is never closed")
}

fn unknown(things: Things, line: u64, name: &str) -> Problem {
    Problem::new(line, format!("there is no field `{}`", short(name)), wanted(things))
}

fn wanted(things: Things) -> String {
    let names: Vec<&str> = things.fields().iter().map(|(name, _)| *name).collect();
    format!("{} have: {}", things.word(), names.join(", "))
}
