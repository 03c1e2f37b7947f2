//! The file as a tree of tables, lists and values, each with its place in the
//! text. Built from the TOML parser's recovering form, so that one syntax
//! mistake doesn't hide the others; revisions are laid over it here.

use std::ops::Range;

use toml::de::{DeTable, DeValue};

use crate::problem::Problems;
use crate::source::{Source, Span};

/// A value and where it stands.
#[derive(Clone, Debug)]
pub struct Node {
    /// Where.
    pub span: Span,
    /// What.
    pub value: Value,
}

/// What a node holds.
#[derive(Clone, Debug)]
pub enum Value {
    /// A string.
    Text(Text),
    /// A whole number.
    Whole(i64),
    /// A number with a point.
    Number(f64),
    /// true or false.
    Flag(bool),
    /// A date or time of day.
    Date(String),
    /// A list.
    List(Vec<Node>),
    /// A table.
    Table(Table),
}

/// A string with the places of its characters, escapes included.
#[derive(Clone, Debug, Default)]
pub struct Text {
    /// The string as it is meant.
    pub text: String,
    /// Where it stands, quotes included.
    pub span: Span,
    /// Where each byte of `text` stands, and the end; empty where the bytes simply follow `first`.
    offsets: Vec<u32>,
    first: u32,
}

impl Text {
    /// Where a part of the string stands in the file.
    #[must_use]
    pub fn part(&self, range: Range<usize>) -> Span {
        let at = |index: usize| match self.offsets.get(index) {
            Some(&offset) => offset,
            None if self.offsets.is_empty() => self.first + u32::try_from(index).unwrap_or(0),
            None => self.span.end.saturating_sub(1),
        };
        Span { file: self.span.file, start: at(range.start), end: at(range.end).max(at(range.start)) }
    }
}

/// A table whose entries keep the order of the file.
#[derive(Clone, Debug, Default)]
pub struct Table {
    /// Where it begins (its header or brace).
    pub span: Span,
    /// The entries.
    pub entries: Vec<Entry>,
}

/// An entry of a table.
#[derive(Clone, Debug)]
pub struct Entry {
    /// Its key.
    pub key: String,
    /// Where the key stands.
    pub key_span: Span,
    /// Its value.
    pub node: Node,
}

impl Node {
    /// The string, if it is one.
    #[must_use]
    pub fn text(&self) -> Option<&Text> {
        if let Value::Text(text) = &self.value { Some(text) } else { None }
    }

    /// The table, if it is one.
    #[must_use]
    pub fn table(&self) -> Option<&Table> {
        if let Value::Table(table) = &self.value { Some(table) } else { None }
    }

    /// The members of the list, or the value itself as the only member.
    #[must_use]
    pub fn members(&self) -> Vec<&Self> {
        if let Value::List(list) = &self.value { list.iter().collect() } else { vec![self] }
    }

    /// The number, whole or not.
    #[must_use]
    pub fn number(&self) -> Option<f64> {
        match self.value {
            // The numbers of a machine file are far below 2^53.
            #[allow(clippy::cast_precision_loss)]
            Value::Whole(whole) => Some(whole as f64),
            Value::Number(number) => Some(number),
            _ => None,
        }
    }

    /// What kind of value it is, for messages.
    #[must_use]
    pub fn kind_words(&self) -> &'static str {
        match self.value {
            Value::Text(_) => "a text",
            Value::Whole(_) => "a whole number",
            Value::Number(_) => "a number",
            Value::Flag(_) => "true/false",
            Value::Date(_) => "a date",
            Value::List(_) => "a list",
            Value::Table(_) => "a table",
        }
    }
}

impl Table {
    /// The entry of this key.
    #[must_use]
    pub fn entry(&self, key: &str) -> Option<&Entry> {
        self.entries.iter().find(|entry| entry.key == key)
    }

    /// The value of this key.
    #[must_use]
    pub fn get(&self, key: &str) -> Option<&Node> {
        self.entry(key).map(|entry| &entry.node)
    }

    /// The string of this key.
    #[must_use]
    pub fn text(&self, key: &str) -> Option<&Text> {
        self.get(key)?.text()
    }

    /// The string of this key, as a plain `String`.
    #[must_use]
    pub fn string(&self, key: &str) -> Option<String> {
        self.text(key).map(|text| text.text.clone())
    }

    /// The strings of this key: one string, or a list of them.
    #[must_use]
    pub fn texts(&self, key: &str) -> Vec<&Text> {
        self.get(key).map(Node::members).unwrap_or_default().into_iter().filter_map(Node::text).collect()
    }

    /// The number of this key.
    #[must_use]
    pub fn number(&self, key: &str) -> Option<f64> {
        self.get(key)?.number()
    }

    /// The whole number of this key.
    #[must_use]
    pub fn whole(&self, key: &str) -> Option<i64> {
        if let Value::Whole(whole) = self.get(key)?.value { Some(whole) } else { None }
    }

    /// true or false of this key.
    #[must_use]
    pub fn flag(&self, key: &str) -> Option<bool> {
        if let Value::Flag(flag) = self.get(key)?.value { Some(flag) } else { None }
    }

    /// The table of this key.
    #[must_use]
    pub fn table(&self, key: &str) -> Option<&Self> {
        self.get(key)?.table()
    }

    /// The entries of the table of this key; none if there is no such table.
    #[must_use]
    pub fn entries_of(&self, key: &str) -> &[Entry] {
        self.table(key).map_or(&[], |table| &table.entries)
    }

    /// The tables in the list of this key; one table counts as a list of one.
    #[must_use]
    pub fn tables(&self, key: &str) -> Vec<&Self> {
        self.get(key).map(Node::members).unwrap_or_default().into_iter().filter_map(Node::table).collect()
    }

    /// Lays another table over this one: tables are merged key by key, anything else is replaced.
    pub fn lay_over(&mut self, over: &Self) {
        for entry in &over.entries {
            match self.entries.iter_mut().find(|own| own.key == entry.key) {
                Some(own) => match (&mut own.node.value, &entry.node.value) {
                    (Value::Table(below), Value::Table(above)) => below.lay_over(above),
                    _ => own.node = entry.node.clone(),
                },
                None => self.entries.push(entry.clone()),
            }
        }
    }

    /// Takes out the entry at a path such as `["inputs", "X5"]`; says whether it was there.
    pub fn remove(&mut self, path: &[&str]) -> bool {
        // A key may itself contain the dot that separates a path, such as the label `I0.3`.
        for taken in 1..=path.len() {
            let key = path[..taken].join(".");
            let Some(at) = self.entries.iter().position(|entry| entry.key == key) else { continue };
            if taken == path.len() {
                self.entries.remove(at);
                return true;
            }
            if let Value::Table(table) = &mut self.entries[at].node.value
                && table.remove(&path[taken..])
            {
                return true;
            }
        }
        false
    }
}

/// Reads a text into a tree; syntax mistakes go to `problems`.
pub fn parse(source: &Source, file: u32, problems: &mut Problems) -> Table {
    let (table, errors) = DeTable::parse_recoverable(&source.text);
    for error in errors {
        let span = error.span().unwrap_or(0..0);
        problems.error(Span::new(file, span), "toml", error.message().to_string(), syntax_hint(error.message()));
    }
    let span = Span::new(file, 0..0);
    convert_table(table.get_ref(), span, &source.text, file)
}

fn syntax_hint(message: &str) -> &'static str {
    if message.contains("duplicate key") {
        "every name may appear once only; give one of the two another name"
    } else if message.contains("string") {
        "texts stand between two \" on one line"
    } else {
        "each line is: name = value; texts stand in \"…\", lists in [ … ], tables in { … } or below a [header]"
    }
}

fn convert_table(table: &DeTable<'_>, span: Span, text: &str, file: u32) -> Table {
    let entries = table
        .iter()
        .map(|(key, value)| Entry {
            key: key.get_ref().to_string(),
            key_span: Span::new(file, key.span()),
            node: convert(value.get_ref(), Span::new(file, value.span()), text, file),
        })
        .collect();
    Table { span, entries }
}

fn convert(value: &DeValue<'_>, span: Span, text: &str, file: u32) -> Node {
    let value = match value {
        DeValue::String(string) => Value::Text(place_text(string, span, text)),
        DeValue::Integer(integer) => match i64::from_str_radix(integer.as_str(), integer.radix()) {
            Ok(whole) => Value::Whole(whole),
            Err(_) => Value::Number(f64::NAN),
        },
        DeValue::Float(float) => Value::Number(float.as_str().parse().unwrap_or(f64::NAN)),
        DeValue::Boolean(flag) => Value::Flag(*flag),
        DeValue::Datetime(date) => Value::Date(date.to_string()),
        DeValue::Array(array) => Value::List(
            array.iter().map(|member| convert(member.get_ref(), Span::new(file, member.span()), text, file)).collect(),
        ),
        DeValue::Table(table) => Value::Table(convert_table(table, span, text, file)),
    };
    Node { span, value }
}

/// Finds where each character of a string stands, so that messages about a part of it point to the right column.
fn place_text(string: &str, span: Span, text: &str) -> Text {
    let raw = text.get(span.range()).unwrap_or("");
    let quote = if raw.starts_with("\"\"\"") || raw.starts_with("'''") { 3 } else { 1 };
    let inside = raw.get(quote..raw.len().saturating_sub(quote)).unwrap_or("");
    let first = span.start + u32::try_from(quote).unwrap_or(1);
    let mut placed = Text { text: string.to_string(), span, offsets: Vec::new(), first };
    if inside != string {
        placed.offsets = offsets(string, inside, first);
    }
    placed
}

/// The place of every byte of `string`, whose written form is `raw`, beginning at `first`.
fn offsets(string: &str, raw: &str, first: u32) -> Vec<u32> {
    let mut offsets = Vec::with_capacity(string.len() + 1);
    let mut at = 0;
    for character in string.chars() {
        at = boundary(raw, at + skipped(&raw[at..], character));
        let place = first + u32::try_from(at).unwrap_or(0);
        offsets.extend(std::iter::repeat_n(place, character.len_utf8()));
        at = boundary(raw, at + written_length(&raw[at..]));
    }
    offsets.push(first + u32::try_from(at).unwrap_or(0));
    offsets
}

/// Bytes that stand for nothing: a line's end escaped by `\`, or a carriage return.
fn skipped(raw: &str, next: char) -> usize {
    if raw.starts_with('\\') && raw[1..].trim_start_matches([' ', '\t', '\r']).starts_with('\n') {
        return raw.len() - raw[1..].trim_start().len();
    }
    // The first line end of a multi-line string, and the carriage return of a line end.
    if next != '\n' && raw.starts_with('\n') {
        return 1;
    }
    if next != '\r' && raw.starts_with('\r') {
        return if next != '\n' && raw[1..].starts_with('\n') { 2 } else { 1 };
    }
    0
}

/// How many bytes the next character takes as written.
fn written_length(raw: &str) -> usize {
    let mut characters = raw.chars();
    match characters.next() {
        Some('\\') => match characters.next() {
            Some('x') => 4,
            Some('u') => 6,
            Some('U') => 10,
            Some(other) => 1 + other.len_utf8(),
            None => 1,
        },
        Some(other) => other.len_utf8(),
        None => 0,
    }
}

/// The next place at or behind `at` where a character begins.
fn boundary(raw: &str, at: usize) -> usize {
    (at..raw.len()).find(|&at| raw.is_char_boundary(at)).unwrap_or(raw.len())
}
