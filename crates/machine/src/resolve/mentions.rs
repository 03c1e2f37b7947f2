//! Where mechanisms and positions are named, before any of them is known. What
//! the file doesn't declare is implied by how it is named.

use super::Resolver;
use super::raw_chart::{Placed, RawChart};
use crate::source::Span;
use crate::text::expression::{Comparison, Expression, Operand};
use crate::text::hand::{HandText, parse_hand};
use crate::text::sentence::{End, Verb};
use crate::tree::{Table, Text, Value};

/// How a mechanism is named.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum How {
    /// In an input's `lit`; whether the input is a push button.
    Sensed { button: bool },
    /// As the target of an output.
    Moved,
    /// As the target of `do` in a step.
    Driven,
    /// As the target of `run`.
    Running,
    /// In a start permissive.
    Needed,
    /// By a hand in a routine.
    Put,
    /// Pressed or held.
    Pressed,
    /// In a program condition.
    Asked,
}

/// A mechanism named somewhere, with or without a position.
#[derive(Clone, Debug)]
pub(crate) struct Mention {
    pub mechanism: String,
    pub position: Option<String>,
    pub how: How,
    pub span: Span,
}

impl<'r> Resolver<'r> {
    pub fn collect_mentions(&mut self, charts: &[RawChart<'r>]) {
        for entry in self.entries("inputs") {
            if let Some(table) = entry.node.table() {
                self.mentions_of_input(table);
            }
        }
        for entry in self.entries("outputs") {
            if let Some(table) = entry.node.table() {
                for text in table.texts("moves").into_iter().chain(table.texts("back")) {
                    self.mention_pair(text, How::Moved);
                }
            }
        }
        for chart in charts {
            self.mentions_of_chart(chart);
        }
        for entry in self.entries("routines") {
            if let Some(table) = entry.node.table() {
                self.mentions_of_routine(table);
            }
        }
        self.mentions_of_program();
        for (index, mention) in self.mentions.iter().enumerate() {
            self.mentions_by_name.entry(mention.mechanism.clone()).or_default().push(index);
        }
    }

    /// Where a mechanism is named, in order.
    pub fn mentions_of(&self, name: &str) -> impl Iterator<Item = &Mention> {
        let places = self.mentions_by_name.get(name).map(Vec::as_slice).unwrap_or_default();
        places.iter().filter_map(|index| self.mentions.get(*index))
    }

    fn mentions_of_input(&mut self, table: &'r Table) {
        let button = table.text("is").is_some_and(|kind| kind.text.starts_with("push-button"));
        if let Some(text) = table.text("lit")
            && let Some(condition) = self.placed_condition(text)
        {
            self.mention_condition(&condition, How::Sensed { button });
        }
    }

    fn mentions_of_chart(&mut self, chart: &RawChart<'r>) {
        if let Some(start) = &chart.start {
            self.mention_condition(start, How::Asked);
        }
        for need in &chart.needs {
            self.mention_condition(need, How::Needed);
        }
        for step in &chart.steps {
            for clause in &step.clauses {
                let how = match clause.it.verb {
                    Verb::Do => How::Driven,
                    Verb::Run => How::Running,
                    _ => continue,
                };
                self.mentions.push(Mention {
                    mechanism: clause.it.object.text.clone(),
                    position: clause.it.position.as_ref().map(|word| word.text.clone()),
                    how,
                    span: clause.text.part(clause.it.object.range.clone()),
                });
            }
            if let Some(Placed { it: End::Until(condition), text }) = &step.end {
                self.mention_condition(&Placed { it: condition.clone(), text }, How::Asked);
            }
        }
        for key in ["stop"] {
            if let Some(text) = chart.table.text(key)
                && let Some(condition) = self.placed_condition(text)
            {
                self.mention_condition(&condition, How::Asked);
            }
        }
    }

    fn mentions_of_routine(&mut self, table: &'r Table) {
        for text in routine_texts(table) {
            let (name, position, how) = match parse_hand(&text.text) {
                Ok(HandText::Put(name, position)) => (name, Some(position.text), How::Put),
                Ok(HandText::Press(name, _) | HandText::Hold(name) | HandText::LetGo(name)) => {
                    (name, None, How::Pressed)
                }
                _ => continue,
            };
            let span = text.part(name.range);
            self.mentions.push(Mention { mechanism: name.text, position, how, span });
        }
    }

    fn mentions_of_program(&mut self) {
        for (group, keys) in [("latches", ["set", "reset"]), ("modes", ["when", "when"])] {
            for entry in self.entries(group) {
                for key in keys {
                    if let Some(text) = entry.node.table().and_then(|table| table.text(key))
                        && let Some(condition) = self.placed_condition(text)
                    {
                        self.mention_condition(&condition, How::Asked);
                    }
                }
            }
        }
    }

    fn mention_pair(&mut self, text: &Text, how: How) {
        let words = crate::text::sentence::words(&text.text);
        if let [mechanism, position] = words.as_slice() {
            self.mentions.push(Mention {
                mechanism: mechanism.text.clone(),
                position: Some(position.text.clone()),
                how,
                span: text.part(mechanism.range.clone()),
            });
        }
    }

    fn mention_condition(&mut self, condition: &Placed<'r, Expression>, how: How) {
        let mut found = Vec::new();
        condition.it.visit(&mut |atom| {
            let Expression::Compare(left, Comparison::Equal | Comparison::Unequal, right) = atom else { return };
            let position = match right {
                Operand::Name(word) | Operand::Whole(_, word) => word.text.clone(),
                Operand::Time(..) => return,
            };
            found.push((left.clone(), position));
        });
        for (word, position) in found {
            if position == "between" {
                continue;
            }
            let span = condition.text.part(word.range);
            self.mentions.push(Mention { mechanism: word.text, position: Some(position), how, span });
        }
    }
}

/// The actions of a routine, whether written as texts or as tables with `do`.
pub(crate) fn routine_texts(table: &Table) -> Vec<&Text> {
    let members = table.get("do").map(crate::tree::Node::members).unwrap_or_default();
    let texts = members.into_iter().filter_map(|node| match &node.value {
        Value::Text(text) => Some(text),
        Value::Table(inner) => inner.text("do"),
        _ => None,
    });
    texts.collect()
}
