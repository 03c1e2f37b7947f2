//! Mechanisms, declared and implied, with their positions, class and rest.

use std::collections::BTreeSet;

use super::mentions::How;
use super::{Resolver, humanised};
use crate::library::Filling;
use crate::model::{Mechanism, MechanismClass, Words};
use crate::source::Span;
use crate::tree::Table;

/// The most mechanisms of a machine.
const MOST_MECHANISMS: usize = 2_000;
/// With more mechanisms than this, names are not compared with each other.
const MOST_COMPARED: usize = 200;
/// The most positions of a mechanism.
const MOST_POSITIONS: usize = 250;

impl Resolver<'_> {
    pub fn mechanisms(&mut self) {
        let empty = Table::default();
        let mut names: Vec<String> = Vec::new();
        for entry in self.entries("mechanisms") {
            names.push(entry.key.clone());
        }
        let declared = names.len();
        let outsiders = self.names_of_other_things();
        let mut known: BTreeSet<String> = names.iter().cloned().collect();
        for mention in &self.mentions {
            let implies = mention.how != How::Asked && mention.how != How::Needed;
            if implies
                && !looks_like_label(&mention.mechanism)
                && !known.contains(&mention.mechanism)
                && !outsiders.contains(&mention.mechanism)
            {
                names.push(mention.mechanism.clone());
                known.insert(mention.mechanism.clone());
            }
        }
        if names.len() > MOST_MECHANISMS {
            let what = format!("more than {MOST_MECHANISMS} mechanisms");
            self.problems.error(Span::default(), "too-large", what, "split the machine into several files");
            names.truncate(MOST_MECHANISMS);
        }
        for (index, name) in names.iter().enumerate() {
            let table = self.root.table("mechanisms").and_then(|table| table.table(name)).unwrap_or(&empty);
            let mechanism = self.mechanism_row(name, table, index < declared);
            let id = self.machine.mechanisms.push(mechanism);
            self.mechanism_names.insert(name.clone(), id);
        }
        self.note_likely_misspellings(declared);
    }

    /// Names that `do`, `run` or a routine may use for things that are no mechanisms.
    fn names_of_other_things(&self) -> BTreeSet<String> {
        let mut names = BTreeSet::new();
        for group in ["inputs", "outputs", "supplies", "latches", "counters", "settings"] {
            for entry in self.entries(group) {
                names.insert(entry.key.clone());
                names.extend(entry.node.table().and_then(|table| table.string("tag")));
            }
        }
        if self.entries("supplies").is_empty() {
            names.extend(["power".to_string(), "air".to_string()]);
        }
        names
    }

    fn mechanism_row(&mut self, name: &str, table: &Table, declared: bool) -> Mechanism {
        let class = self.class_of(name, table);
        let positions = self.positions_of(name, table, class, declared);
        let rest = self.rest_of(name, table, class, &positions);
        let filling = Filling::default();
        let key = format!("mechanisms.{name}");
        let english = table.string("words").unwrap_or_else(|| humanised(name));
        let raised_at = table.text("raised").and_then(|text| {
            let found = index_of(&positions, &text.text);
            if found.is_none() {
                let what = format!("`{name}` has no position `{}`", text.text);
                let hint = self.hint(&text.text, positions.iter().map(String::as_str));
                self.problems.error(text.span, "unknown-position", what, hint);
            }
            found
        });
        let moving_hazard = match table.text("moving").map(|text| text.text.as_str()) {
            Some("harmless") => false,
            Some("hazard") => true,
            _ => class == MechanismClass::Driven,
        };
        Mechanism {
            name: name.to_string(),
            words: self.translations.words(&key, &english, &filling),
            class,
            position_words: positions.iter().map(|one| self.position_words(name, one)).collect(),
            positions,
            rest,
            moves: Vec::new(),
            moving_hazard,
            raised_at,
            place: self.place(&key, table),
        }
    }

    /// A position of this mechanism for people: what the library has for its name wherever it stands, or the file for
    /// its own; in the form that the mechanism's own words ask for, as a lid is "abierta" and a clamp's jaw "abierto".
    pub fn position_words(&self, mechanism: &str, name: &str) -> Words {
        let key = format!("positions.{name}");
        match name.strip_prefix("not_") {
            Some(other) => self.words_or(&key, &humanised(name), self.not(self.position_words(mechanism, other))),
            None => self.translations.agreeing(&key, &humanised(name), &format!("forms.{mechanism}")),
        }
    }

    fn class_of(&self, name: &str, table: &Table) -> MechanismClass {
        match table.text("by").map(|text| text.text.as_str()) {
            Some("hand") => return MechanismClass::Hand,
            Some("button") => return MechanismClass::Button,
            Some("drive") => return MechanismClass::Driven,
            _ => {}
        }
        let mentions = || self.mentions_of(name);
        let driven = table.get("moves").is_some()
            || mentions().any(|mention| matches!(mention.how, How::Moved | How::Driven | How::Running));
        if driven {
            return MechanismClass::Driven;
        }
        let pressed = mentions().any(|mention| mention.how == How::Pressed);
        let buttons = mentions().any(|mention| mention.how == How::Sensed { button: true });
        let other_devices = mentions().any(|mention| mention.how == How::Sensed { button: false });
        let positions: Vec<&str> = mentions().filter_map(|mention| mention.position.as_deref()).collect();
        let only_button_positions =
            !positions.is_empty() && positions.iter().all(|position| matches!(*position, "pressed" | "released"));
        if pressed || only_button_positions || (buttons && !other_devices) {
            MechanismClass::Button
        } else {
            MechanismClass::Hand
        }
    }

    fn positions_of(&mut self, name: &str, table: &Table, class: MechanismClass, declared: bool) -> Vec<String> {
        let mut positions: Vec<String> = table.texts("positions").into_iter().map(|text| text.text.clone()).collect();
        if positions.len() > MOST_POSITIONS {
            let what = format!("more than {MOST_POSITIONS} positions");
            self.problems.error(table.span, "too-large", what, "give the positions that the sequence uses");
            positions.truncate(MOST_POSITIONS);
        }
        let mut seen = positions.clone();
        seen.sort();
        seen.dedup();
        if seen.len() < positions.len() {
            self.problems.error(table.span, "duplicate", format!("`{name}` names a position twice"), "");
        }
        if positions.len() > 1 {
            return positions;
        }
        let mut named: Vec<(String, How)> = Vec::new();
        for mention in self.mentions_of(name) {
            if let Some(position) = &mention.position {
                named.push((position.clone(), mention.how));
            }
        }
        let mut add = |position: &str| {
            if !positions.iter().any(|own| own == position) && positions.len() < MOST_POSITIONS {
                positions.push(position.to_string());
            }
        };
        named.iter().filter(|(_, how)| !matches!(how, How::Asked | How::Needed)).for_each(|(name, _)| add(name));
        if class == MechanismClass::Button {
            return button_positions(positions);
        }
        if positions.len() < 2 {
            named.iter().for_each(|(name, _)| {
                if !positions.contains(name) && positions.len() < 2 {
                    positions.push(name.clone());
                }
            });
        }
        let running = self.mentions_of(name).any(|mention| mention.how == How::Running);
        match (positions.as_slice(), running) {
            ([], true) => positions = vec!["stopped".to_string(), "running".to_string()],
            ([], false) => {
                let what = format!("`{name}` has no positions");
                let hint = "write positions = [\"…\", \"…\"]";
                if declared {
                    self.problems.error(table.span, "no-positions", what, hint);
                }
                positions = vec!["one".to_string(), "other".to_string()];
            }
            ([only], _) if only == "running" => positions.insert(0, "stopped".to_string()),
            ([only], true) => positions.insert(0, format!("not_{only}")),
            ([only], false) => positions.push(format!("not_{only}")),
            _ => {}
        }
        positions
    }

    fn rest_of(&mut self, name: &str, table: &Table, class: MechanismClass, positions: &[String]) -> u8 {
        if let Some(text) = table.text("rest") {
            if let Some(at) = index_of(positions, &text.text) {
                return at;
            }
            let hint = self.hint(&text.text, positions.iter().map(String::as_str));
            let what = format!("`{name}` has no position `{}`", text.text);
            self.problems.error(text.span, "unknown-position", what, hint);
            return 0;
        }
        let named = |how: How| -> Vec<u8> {
            let mentions = self.mentions_of(name).filter(|mention| mention.how == how);
            mentions.filter_map(|mention| index_of(positions, mention.position.as_deref()?)).collect()
        };
        match class {
            MechanismClass::Button => 0,
            MechanismClass::Hand => {
                let mut wanted = named(How::Needed);
                wanted.extend(named(How::Put).first());
                let free = (0..positions.len()).filter_map(|at| u8::try_from(at).ok());
                free.into_iter().find(|at| !wanted.contains(at)).unwrap_or(0)
            }
            MechanismClass::Driven if table.get("positions").is_some() => 0,
            MechanismClass::Driven => {
                let needed = named(How::Needed).first().copied();
                let targets = named(How::Moved);
                let undriven = (0..positions.len()).filter_map(|at| u8::try_from(at).ok());
                let undriven = undriven.into_iter().find(|at| !targets.contains(at));
                needed.or_else(|| named(How::Driven).last().copied()).or(undriven).unwrap_or(0)
            }
        }
    }

    /// An implied mechanism whose name is very near to another's is probably that other one.
    fn note_likely_misspellings(&mut self, declared: usize) {
        let names: Vec<String> = self.machine.mechanisms.rows().map(|row| row.name.clone()).collect();
        if names.len() > MOST_COMPARED {
            return;
        }
        let count = |name: &str| self.mentions_of(name).count();
        let sensed = |name: &str| {
            let mut mentions = self.mentions_of(name);
            mentions.any(|mention| matches!(mention.how, How::Sensed { .. }))
        };
        let mut notes = Vec::new();
        for (index, name) in names.iter().enumerate().skip(declared) {
            let near = names.iter().enumerate().find(|(other, candidate)| {
                *other != index
                    && is_slip(candidate, name)
                    && !differ_by_number(candidate, name)
                    && (*other < declared || count(candidate) > count(name) || (sensed(candidate) && !sensed(name)))
            });
            let place = self.mentions_of(name).next().map(|mention| mention.span);
            if let (Some((_, near)), Some(span)) = (near, place) {
                notes.push((span, name.clone(), near.clone()));
            }
        }
        for (span, name, near) in notes {
            let what = format!("`{name}` looks like `{near}` misspelt");
            let hint = format!("write {near}, or declare it: [mechanisms] {name} = {{ … }}");
            self.problems.warning(span, "like-another", what, hint);
        }
    }
}

/// `Y9` is a label that doesn't exist, not a mechanism.
fn looks_like_label(name: &str) -> bool {
    name.starts_with(|first: char| first.is_ascii_uppercase()) && name.contains(|c: char| c.is_ascii_digit())
}

/// Longer names may differ in two letters; the shortest only in their length.
fn is_slip(one: &str, two: &str) -> bool {
    let distance = strsim::damerau_levenshtein(one, two);
    match two.len() {
        0..=2 => false,
        3 => distance == 1 && one.len() != two.len(),
        4..=6 => distance <= 1,
        _ => distance <= 2,
    }
}

fn differ_by_number(one: &str, two: &str) -> bool {
    let letters = |name: &str| name.chars().filter(|c| !c.is_ascii_digit()).collect::<String>();
    letters(one) == letters(two) || one.split('_').count() == two.split('_').count() && one.contains('_')
}

/// Released first, so that rest is position 0 and pressed position 1.
fn button_positions(named: Vec<String>) -> Vec<String> {
    let known = named.iter().all(|position| matches!(position.as_str(), "pressed" | "released"));
    match named.as_slice() {
        [] => vec!["released".to_string(), "pressed".to_string()],
        _ if known => vec!["released".to_string(), "pressed".to_string()],
        [only] => vec![format!("not_{only}"), only.clone()],
        _ => named,
    }
}

pub(crate) fn index_of(positions: &[String], name: &str) -> Option<u8> {
    positions.iter().position(|position| position == name).and_then(|at| u8::try_from(at).ok())
}

/// The first position that isn't this one.
pub(crate) fn other_position(at: u8, count: usize) -> u8 {
    (0..count).filter_map(|other| u8::try_from(other).ok()).find(|other| *other != at).unwrap_or(at)
}
