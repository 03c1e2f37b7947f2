//! Charts as written: sentences parsed, names not yet looked up.

use super::Resolver;
use crate::source::Span;
use crate::text::expression::Expression;
use crate::text::sentence::{self, Clause, End, Verb};
use crate::text::{Mistake, effect, effect::EffectText};
use crate::tree::{Entry, Node, Table, Text, Value};

/// Something parsed from a string, with the string for the places of its parts.
#[derive(Clone, Debug)]
pub(crate) struct Placed<'r, T> {
    pub it: T,
    pub text: &'r Text,
}

/// A step as written.
#[derive(Clone, Debug)]
pub(crate) struct RawStep<'r> {
    pub name: String,
    pub table: Option<&'r Table>,
    pub clauses: Vec<Placed<'r, Clause>>,
    pub end: Option<Placed<'r, End>>,
    pub alarm: bool,
    pub implied: bool,
}

/// A chart as written.
#[derive(Clone, Debug)]
pub(crate) struct RawChart<'r> {
    pub name: String,
    pub span: Span,
    pub table: &'r Table,
    pub start: Option<Placed<'r, Expression>>,
    pub needs: Vec<Placed<'r, Expression>>,
    pub steps: Vec<RawStep<'r>>,
}

const VERBS: [(&str, Verb); 6] = [
    ("do", Verb::Do),
    ("run", Verb::Run),
    ("set", Verb::Set),
    ("reset", Verb::Reset),
    ("count", Verb::Count),
    ("clear", Verb::Clear),
];

impl<'r> Resolver<'r> {
    pub fn raw_charts(&mut self) -> Vec<RawChart<'r>> {
        let charts = self.entries("charts").iter();
        charts.filter_map(|entry| entry.node.table().map(|table| self.raw_chart(entry, table))).collect()
    }

    fn raw_chart(&mut self, entry: &'r Entry, table: &'r Table) -> RawChart<'r> {
        let start = table.text("start").and_then(|text| self.placed_condition(text));
        let needs = table.texts("needs").into_iter().filter_map(|text| self.placed_condition(text)).collect();
        let mut steps: Vec<RawStep<'r>> = Vec::new();
        for step in in_order(table.entries_of("steps")) {
            let raw = self.raw_step(step);
            steps.push(raw);
        }
        let has_initial = steps.iter().any(|step| step.table.is_some_and(|table| table.flag("initial") == Some(true)));
        let opens_with_ready = steps.first().is_some_and(|step| step.name == "ready");
        if start.is_some() && !has_initial && !opens_with_ready {
            let ready = RawStep {
                name: "ready".to_string(),
                table: None,
                clauses: Vec::new(),
                end: None,
                alarm: false,
                implied: true,
            };
            steps.insert(0, ready);
        }
        RawChart { name: entry.key.clone(), span: entry.key_span, table, start, needs, steps }
    }

    fn raw_step(&mut self, entry: &'r Entry) -> RawStep<'r> {
        let mut step = RawStep {
            name: entry.key.clone(),
            table: entry.node.table(),
            clauses: Vec::new(),
            end: None,
            alarm: false,
            implied: false,
        };
        match &entry.node.value {
            Value::Text(text) => self.step_sentence(&mut step, text),
            Value::Table(table) => self.step_table(&mut step, table),
            _ => {}
        }
        step
    }

    fn step_sentence(&mut self, step: &mut RawStep<'r>, text: &'r Text) {
        match sentence::parse(&text.text) {
            Ok(sentence) => {
                step.clauses = sentence.clauses.into_iter().map(|it| Placed { it, text }).collect();
                step.end = sentence.end.map(|it| Placed { it, text });
            }
            Err(mistake) => self.mistake(text, mistake),
        }
    }

    fn step_table(&mut self, step: &mut RawStep<'r>, table: &'r Table) {
        step.alarm = table.flag("alarm").unwrap_or(false);
        if let Some(text) = table.text("sentence") {
            self.step_sentence(step, text);
        }
        for (key, verb) in VERBS {
            for text in table.texts(key) {
                match sentence::parse_clauses(&text.text, verb) {
                    Ok(clauses) => step.clauses.extend(clauses.into_iter().map(|it| Placed { it, text })),
                    Err(mistake) => self.mistake(text, mistake),
                }
            }
        }
        if let Some(text) = table.text("until")
            && let Some(condition) = self.placed_condition(text)
        {
            step.end = Some(Placed { it: End::Until(condition.it), text });
        }
    }

    /// Parses a condition; a mistake in it is noted.
    pub fn placed_condition(&mut self, text: &'r Text) -> Option<Placed<'r, Expression>> {
        self.parse_condition(text).map(|it| Placed { it, text })
    }

    /// Parses a condition; a mistake in it is noted.
    pub fn parse_condition(&mut self, text: &Text) -> Option<Expression> {
        crate::text::expression::parse(&text.text).map_err(|mistake| self.mistake(text, mistake)).ok()
    }

    /// Parses an effect; a mistake in it is noted.
    pub fn parse_effect(&mut self, node: &'r Node) -> Option<Placed<'r, EffectText>> {
        let text = node.text()?;
        let parsed: Result<EffectText, Mistake> = effect::parse_effect(&text.text);
        parsed.map_err(|mistake| self.mistake(text, mistake)).ok().map(|it| Placed { it, text })
    }
}

/// The steps in the order of the file, those with `after = "STEP"` behind that step.
fn in_order(entries: &[Entry]) -> Vec<&Entry> {
    let after = |entry: &Entry| entry.node.table().and_then(|table| table.string("after"));
    let mut order: Vec<&Entry> = entries.iter().filter(|entry| after(entry).is_none()).collect();
    for entry in entries {
        let Some(before) = after(entry) else { continue };
        let at = order.iter().position(|other| other.key == before).map_or(order.len(), |at| at + 1);
        order.insert(at, entry);
    }
    order
}
