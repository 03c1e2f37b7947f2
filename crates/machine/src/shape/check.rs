//! A tree held against a shape: unknown keys, missing keys, values of the wrong
//! kind, texts that can't be what they should be.

use super::{Kind, Shape};
use crate::problem::Problems;
use crate::source::Span;
use crate::text::{Mistake, chance, effect, expression, time};
use crate::tree::{Node, Table, Text, Value};

/// The key whose value is judged, for messages.
#[derive(Clone, Copy)]
struct Spot<'k> {
    name: &'k str,
    /// An example of the value, or of a whole line when the names are free.
    example: &'k str,
    free: bool,
}

impl Spot<'_> {
    fn example(&self) -> String {
        if self.free { self.example.to_string() } else { format!("{} = {}", self.name, self.example) }
    }
}

/// Notes everything in a table that its shape doesn't allow. `place` is shown where the table itself has no place.
pub fn check(table: &Table, shape: &Shape, place: Span, problems: &mut Problems) {
    for entry in &table.entries {
        match shape.keys.iter().find(|key| key.name == entry.key) {
            Some(key) => {
                let spot = Spot { name: key.name, example: key.example, free: matches!(key.kind, Kind::Named(_)) };
                check_node(&entry.node, &key.kind, spot, problems);
            }
            None => unknown_key(&entry.key, entry.key_span, shape, problems),
        }
    }
    // After a mistake of syntax the key may stand where the reader lost the thread.
    if problems.has_syntax_errors() {
        return;
    }
    for key in shape.keys.iter().filter(|key| key.required && table.get(key.name).is_none()) {
        let place = if table.span == Span::default() { place } else { table.span };
        let what = format!("`{}` is missing", key.name);
        let line = match key.kind {
            Kind::Named(_) => format!("write [{}] and below it a line such as {}", key.name, key.example),
            _ => format!("write {} = {}", key.name, key.example),
        };
        problems.error(place, "missing-key", what, format!("{line}. {}", key.about));
    }
}

fn unknown_key(name: &str, span: Span, shape: &Shape, problems: &mut Problems) {
    let nearest = shape
        .keys
        .iter()
        .map(|key| (strsim::jaro_winkler(&name.to_lowercase(), key.name), key))
        .max_by(|one, two| one.0.total_cmp(&two.0));
    let hint = match nearest {
        Some((near, key)) if near > 0.8 => format!("did you mean {}? {}", key.name, key.about),
        _ => {
            let names: Vec<&str> = shape.keys.iter().map(|key| key.name).collect();
            format!("the keys here are: {}", names.join(", "))
        }
    };
    let article = if shape.name.starts_with(['a', 'e', 'i', 'o', 'u']) { "an" } else { "a" };
    problems.error(span, "unknown-key", format!("there is no key `{name}` in {article} {}", shape.name), hint);
}

fn wrong_kind(node: &Node, expected: &str, spot: Spot<'_>, problems: &mut Problems) {
    let what = format!("`{}` is {expected}, not {}", spot.name, node.kind_words());
    problems.error(node.span, "wrong-kind", what, format!("for example {}", spot.example()));
}

fn check_node(node: &Node, kind: &Kind, spot: Spot<'_>, problems: &mut Problems) {
    match kind {
        Kind::Text => expect(node.text().is_some(), node, "a text", spot, problems),
        Kind::OneOf(words) => one_of(node, words, spot, problems),
        Kind::Texts => {
            let all = node.members().into_iter().all(|member| member.text().is_some());
            expect(all, node, "a text or a list of texts", spot, problems);
        }
        Kind::Whole => {
            let whole = matches!(node.value, Value::Whole(whole) if whole >= 0);
            expect(whole, node, "a whole number, 0 or more", spot, problems);
        }
        Kind::Number => expect(node.number().is_some_and(f64::is_finite), node, "a number", spot, problems),
        Kind::Flag => expect(matches!(node.value, Value::Flag(_)), node, "true or false", spot, problems),
        Kind::Date => {
            expect(matches!(node.value, Value::Date(_) | Value::Text(_)), node, "a date", spot, problems);
        }
        Kind::Version => {
            let version = matches!(node.value, Value::Text(_) | Value::Whole(_) | Value::Number(_));
            expect(version, node, "a text or a number", spot, problems);
        }
        Kind::Time => match node.text() {
            Some(text) => check_time(text, node.span, problems),
            None => wrong_kind(node, "a time", spot, problems),
        },
        Kind::TimeOrSetting => match &node.value {
            Value::Text(text) if text.text.contains('#') => check_time(text, node.span, problems),
            Value::Text(_) | Value::Whole(_) => {}
            _ => wrong_kind(node, "a time, a setting or a whole number", spot, problems),
        },
        Kind::Chance => check_chance(node, spot, problems),
        Kind::Percent => {
            let percent = node.text().is_some() || node.number().is_some();
            expect(percent, node, "a percentage", spot, problems);
        }
        Kind::Condition => check_conditions(node, spot, problems),
        Kind::Effect => match node.text() {
            Some(text) => check_text(text, effect::parse_effect(&text.text), problems),
            None => wrong_kind(node, "an effect", spot, problems),
        },
        Kind::Table(shape) => match node.table() {
            Some(table) => check(table, shape, node.span, problems),
            None => wrong_kind(node, "a table { … }", spot, problems),
        },
        Kind::Tables(shape) => {
            for member in node.members() {
                match member.table() {
                    Some(table) => check(table, shape, member.span, problems),
                    None => wrong_kind(member, "a list of tables [ { … } ]", spot, problems),
                }
            }
        }
        Kind::Named(inner) => match node.table() {
            Some(table) => {
                for entry in &table.entries {
                    let spot = Spot { name: &entry.key, ..spot };
                    check_node(&entry.node, inner, spot, problems);
                }
            }
            None => wrong_kind(node, "a table of names", spot, problems),
        },
        Kind::List(inner) => check_list(node, inner, spot, problems),
        Kind::TextOr(short, shape) => match node.table() {
            Some(table) => check(table, shape, node.span, problems),
            None if node.text().is_some() => check_node(node, short, spot, problems),
            None => wrong_kind(node, "a text or a table { … }", spot, problems),
        },
        Kind::ValueOr(shape) => match &node.value {
            Value::Table(table) => check(table, shape, node.span, problems),
            Value::Text(text) => check_time(text, node.span, problems),
            Value::Whole(_) => {}
            _ => wrong_kind(node, "a time, a whole number or a table", spot, problems),
        },
        Kind::Translations => check_translations(node, spot, problems),
    }
}

fn expect(right: bool, node: &Node, expected: &str, spot: Spot<'_>, problems: &mut Problems) {
    if !right {
        wrong_kind(node, expected, spot, problems);
    }
}

fn one_of(node: &Node, words: &[&str], spot: Spot<'_>, problems: &mut Problems) {
    let Some(text) = node.text() else {
        wrong_kind(node, "a text", spot, problems);
        return;
    };
    if !words.contains(&text.text.as_str()) {
        let what = format!("`{}` is not possible here", text.text);
        problems.error(node.span, "unknown-value", what, format!("write one of: {}", words.join(", ")));
    }
}

/// A list, one member of it, or (for moves) a table of named members.
fn check_list(node: &Node, inner: &Kind, spot: Spot<'_>, problems: &mut Problems) {
    if let (Kind::Table(shape), Some(table)) = (inner, node.table()) {
        for entry in &table.entries {
            match entry.node.table() {
                Some(member) => check(member, shape, entry.node.span, problems),
                None => wrong_kind(&entry.node, "a table { … }", spot, problems),
            }
        }
        return;
    }
    for member in node.members() {
        check_node(member, inner, spot, problems);
    }
}

fn check_time(text: &Text, span: Span, problems: &mut Problems) {
    if let Err(what) = time::parse_time(&text.text) {
        problems.error(span, "bad-time", what, time::HINT);
    }
}

fn check_chance(node: &Node, spot: Spot<'_>, problems: &mut Problems) {
    let result = match &node.value {
        Value::Text(text) => chance::parse_chance(&text.text).map(|_| ()),
        Value::Whole(_) | Value::Number(_) => match node.number() {
            Some(number) if (0.0..=1.0).contains(&number) => Ok(()),
            _ => Err("this chance is not between 0 and 1".to_string()),
        },
        _ => {
            wrong_kind(node, "a chance", spot, problems);
            return;
        }
    };
    if let Err(what) = result {
        problems.error(node.span, "bad-chance", what, chance::HINT);
    }
}

fn check_conditions(node: &Node, spot: Spot<'_>, problems: &mut Problems) {
    for member in node.members() {
        match member.text() {
            Some(text) => check_text(text, expression::parse(&text.text), problems),
            None => wrong_kind(member, "a condition", spot, problems),
        }
    }
}

fn check_text<T>(text: &Text, result: Result<T, Mistake>, problems: &mut Problems) {
    if let Err(mistake) = result {
        problems.error(text.part(mistake.range), "syntax", mistake.what, mistake.hint);
    }
}

fn check_translations(node: &Node, spot: Spot<'_>, problems: &mut Problems) {
    match &node.value {
        Value::Text(_) => {}
        Value::Table(table) => table.entries.iter().for_each(|entry| check_translations(&entry.node, spot, problems)),
        _ => wrong_kind(node, "a text", spot, problems),
    }
}
