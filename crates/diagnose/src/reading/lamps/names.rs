//! The lamps of one machine and everything they can be called by: the label
//! beside them, the tag in the drawing, the words for the point, and the fact
//! that a lit lamp stands for ("door shut").

use std::collections::BTreeMap;

use machine::id::Id;
use machine::model::{LampKind, Words, WorldFact};
use machine::{Condition, Machine};

use super::words::Scope;
use crate::evidence::LampPlace;
use crate::reading::mistake::listed;
use crate::reading::nearest::{nearest, numbered_neighbours, slips_of_a_digit, stem_and_number};
use crate::reading::phrase::Phrases;
use crate::reading::unit::{Unit, key};

/// What sort of lamp.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Class {
    /// An input's lamp, or an unused one among these.
    Input,
    /// An output's lamp, or an unused one among these.
    Output,
    /// A lamp of the controller itself.
    Status,
}

/// One lamp.
#[derive(Clone, Debug)]
pub(super) struct Lamp {
    pub label: String,
    pub place: LampPlace,
    pub class: Class,
    pub title: usize,
    pub last_row: bool,
    /// Which point it shows, so that two lamps of one point are not taken for two points.
    shows: Option<(Class, usize)>,
}

impl Lamp {
    /// Whether it is one of these.
    pub fn is_in(&self, scope: Scope) -> bool {
        match scope {
            Scope::Everything => true,
            Scope::Class(class) => self.class == class,
            Scope::Title(title) => self.title == title,
            Scope::Row(row) => self.place.row == row,
            Scope::LastRow => self.last_row,
        }
    }
}

/// By what a lamp was called; an earlier one goes before a later one.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
enum CalledBy {
    Label,
    Tag,
    Words,
    Fact,
}

/// What a phrase of this machine stands for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Called {
    Lamp(usize, CalledBy),
    Rows(usize),
}

/// What was found at a place of the text.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) enum Found {
    /// One lamp, by its place in [`LampNames::lamps`].
    Lamp(usize),
    /// Several lamps are called this.
    Several(Vec<usize>),
    /// Rows of this title.
    Rows(usize),
}

/// The lamps in the order of the panel, and their names.
#[derive(Debug)]
pub(super) struct LampNames {
    pub lamps: Vec<Lamp>,
    titles: Vec<String>,
    phrases: Phrases<Called>,
}

/// So far from the nearest number a label is rather a slip of a digit.
const FAR_BEYOND: u64 = 9;

impl LampNames {
    /// Collects the names of a machine's lamps.
    pub fn of(machine: &Machine) -> Self {
        let mut names = Self { lamps: panel(machine), titles: Vec::new(), phrases: Phrases::default() };
        for (row, lamps) in machine.lamp_rows.iter().enumerate() {
            let title = names.titles.iter().position(|title| *title == lamps.title.english).unwrap_or_else(|| {
                names.titles.push(lamps.title.english.clone());
                names.titles.len() - 1
            });
            let translations = lamps.title.translations.iter().map(|(_, text)| text);
            for text in [&lamps.title.english].into_iter().chain(translations) {
                names.phrases.add(text, Called::Rows(title));
            }
            names.lamps.iter_mut().filter(|lamp| lamp.place.row == row).for_each(|lamp| lamp.title = title);
        }
        for (called, lamp) in machine.lamp_rows.iter().flat_map(|row| &row.lamps).enumerate() {
            names.call(called, CalledBy::Label, &lamp.label);
            match &lamp.kind {
                LampKind::Input(input) => {
                    if let Some(point) = machine.inputs.get(*input) {
                        names.call(called, CalledBy::Tag, &point.tag);
                        names.call_by_words(called, &point.words);
                        names.call_by_fact(called, machine, &point.lit);
                    }
                }
                LampKind::Output(output) => {
                    if let Some(point) = machine.outputs.get(*output) {
                        names.call(called, CalledBy::Tag, &point.tag);
                        names.call_by_words(called, &point.words);
                    }
                }
                LampKind::Status(_) | LampKind::Unused => {}
            }
        }
        names
    }

    fn call(&mut self, lamp: usize, by: CalledBy, name: &str) {
        let units = key(name);
        // `E-STOP` is typed with a blank or nothing in the middle, too.
        if units.iter().any(|unit| unit == "-") {
            let apart: Vec<String> = units.iter().filter(|unit| *unit != "-").cloned().collect();
            self.phrases.add_key(vec![apart.concat()], Called::Lamp(lamp, by));
            self.phrases.add_key(apart, Called::Lamp(lamp, by));
        }
        self.phrases.add_key(units, Called::Lamp(lamp, by));
    }

    fn call_by_words(&mut self, lamp: usize, words: &Words) {
        for text in [&words.english].into_iter().chain(words.translations.iter().map(|(_, text)| text)) {
            self.call(lamp, CalledBy::Words, text);
            let short: Vec<String> = key(text).into_iter().filter(|unit| !super::words::filler(unit)).collect();
            self.phrases.add_key(short, Called::Lamp(lamp, CalledBy::Words));
        }
    }

    /// A lamp that stands for one fact alone can be called by that fact.
    fn call_by_fact(&mut self, lamp: usize, machine: &Machine, lit: &Condition<WorldFact>) {
        let Condition::Fact(WorldFact::At(mechanism, position)) = lit else { return };
        let Some(row) = machine.mechanisms.get(*mechanism) else { return };
        let Some(position) = row.positions.get(usize::from(*position)) else { return };
        for name in [&row.name, &row.words.english] {
            if !name.is_empty() {
                self.call(lamp, CalledBy::Fact, &format!("{name} {position}"));
            }
        }
    }

    /// The longest name that begins at this unit, and how many units it takes.
    pub fn longest(&self, units: &[Unit], from: usize) -> Option<(usize, Found)> {
        let (count, called) = self.phrases.longest(units, from, super::words::filler)?;
        Some((count, self.found(called)?))
    }

    /// What exactly this key names.
    pub fn get<'u>(&self, units: impl IntoIterator<Item = &'u str>) -> Option<Found> {
        self.found(self.phrases.get(units))
    }

    fn found(&self, called: &[Called]) -> Option<Found> {
        let best = called.iter().filter_map(|one| if let Called::Lamp(_, by) = one { Some(*by) } else { None }).min();
        let Some(best) = best else {
            return called
                .iter()
                .find_map(|one| if let Called::Rows(title) = one { Some(Found::Rows(*title)) } else { None });
        };
        let mut lamps: Vec<usize> = Vec::new();
        for one in called {
            if let Called::Lamp(lamp, by) = one
                && *by == best
                && !lamps.iter().any(|other| self.same_point(*other, *lamp))
            {
                lamps.push(*lamp);
            }
        }
        match lamps.as_slice() {
            [one] => Some(Found::Lamp(*one)),
            _ => Some(Found::Several(lamps)),
        }
    }

    fn same_point(&self, one: usize, other: usize) -> bool {
        self.lamps[one].shows.is_some() && self.lamps[one].shows == self.lamps[other].shows
    }

    /// The key of a lamp's label without its last number, for "X1, 2 and 3".
    pub fn stem(&self, lamp: usize) -> Option<Vec<String>> {
        let mut units = key(&self.lamps[lamp].label);
        let last = units.pop()?;
        (!units.is_empty() && last.bytes().all(|byte| byte.is_ascii_digit())).then_some(units)
    }

    /// Whether there is a range from the one lamp to the other: they must be of one sort.
    pub fn same_sort(&self, one: usize, other: usize) -> bool {
        self.lamps[one].class == self.lamps[other].class
    }

    /// The lamps from the one to the other as they sit on the panel, lamps of another
    /// sort in between left out.
    pub fn between(&self, one: usize, other: usize) -> impl Iterator<Item = usize> {
        (one.min(other)..=one.max(other)).filter(move |lamp| self.same_sort(one, *lamp))
    }

    /// What to type instead of a name that no lamp has.
    pub fn hint(&self, typed: &str) -> String {
        let labels = || self.lamps.iter().map(|lamp| lamp.label.as_str());
        let mut near = numbered_neighbours(typed, labels());
        let number = |label: &str| stem_and_number(label).map_or(0, |(_, number)| number);
        if let [only] = near.as_slice()
            && number(only).abs_diff(number(typed)) > FAR_BEYOND
        {
            // Far beyond the last: what looks alike says more than where the row ends.
            let slips = slips_of_a_digit(typed, labels());
            near = if slips.is_empty() { near } else { slips };
        }
        // Of the labels with the same letters the neighbours in number say enough.
        let stem = stem_and_number(typed).map(|(stem, _)| stem).filter(|_| !near.is_empty());
        for name in nearest(typed, labels(), 3) {
            if stem.is_none() || stem != stem_and_number(&name).map(|(stem, _)| stem) {
                near.push(name);
            }
        }
        if self.lamps.is_empty() {
            return "this machine has no lamps".to_owned();
        }
        if near.is_empty() {
            return format!("the lamps are {}", self.overview());
        }
        let counts = if self.looks_octal(typed) { "; the numbers here count in eights: behind 7 comes 10" } else { "" };
        let verb = if near.len() == 1 { "label is" } else { "labels are" };
        format!("the nearest {verb} {}{counts}", listed(&near, "and"))
    }

    /// Whether the number typed has an 8 or 9 and no label like it has one.
    fn looks_octal(&self, typed: &str) -> bool {
        let nines = |number: u64| number.to_string().contains(['8', '9']);
        let Some((stem, number)) = stem_and_number(typed) else { return false };
        let numbers: Vec<u64> = self
            .lamps
            .iter()
            .filter_map(|lamp| stem_and_number(&lamp.label))
            .filter(|(other, _)| *other == stem)
            .map(|(_, number)| number)
            .collect();
        nines(number) && numbers.iter().any(|number| *number >= 10) && !numbers.iter().any(|number| nines(*number))
    }

    /// The rows in short: `X0 to X7, POWER to ERROR`.
    fn overview(&self) -> String {
        const MOST: usize = 8;
        let mut rows: BTreeMap<usize, (&str, &str)> = BTreeMap::new();
        for lamp in &self.lamps {
            rows.entry(lamp.place.row).or_insert((&lamp.label, &lamp.label)).1 = &lamp.label;
        }
        let shown: Vec<String> = rows
            .values()
            .take(MOST)
            .map(|(first, last)| if first == last { format!("`{first}`") } else { format!("`{first}` to `{last}`") })
            .collect();
        shown.join(", ")
    }
}

/// The lamps in the order of the panel.
fn panel(machine: &Machine) -> Vec<Lamp> {
    let last = machine.lamp_rows.len().saturating_sub(1);
    let mut lamps = Vec::new();
    for (row, of_row) in machine.lamp_rows.iter().enumerate() {
        for (column, lamp) in of_row.lamps.iter().enumerate() {
            let own = class_of(&lamp.kind);
            let class = own.unwrap_or_else(|| class_of_unused(machine, row, column));
            let shows = match lamp.kind {
                LampKind::Input(input) => Some((class, input.index())),
                LampKind::Output(output) => Some((class, output.index())),
                LampKind::Status(_) | LampKind::Unused => None,
            };
            let place = LampPlace { row, column };
            lamps.push(Lamp { label: lamp.label.clone(), place, class, title: 0, last_row: row == last, shows });
        }
    }
    lamps
}

fn class_of(kind: &LampKind) -> Option<Class> {
    match kind {
        LampKind::Input(_) => Some(Class::Input),
        LampKind::Output(_) => Some(Class::Output),
        LampKind::Status(_) => Some(Class::Status),
        LampKind::Unused => None,
    }
}

/// A lamp with nothing behind it belongs to the nearest used lamp of its row, else to
/// one with the same letters, else to the controller.
fn class_of_unused(machine: &Machine, row: usize, column: usize) -> Class {
    let lamps = &machine.lamp_rows[row].lamps;
    let in_row = lamps
        .iter()
        .enumerate()
        .filter_map(|(other, lamp)| Some((column.abs_diff(other), other, class_of(&lamp.kind)?)))
        .min()
        .map(|(_, _, class)| class);
    let letters = |label: &str| stem_and_number(label).map(|(stem, _)| stem);
    let alike = || {
        let wanted = letters(&lamps[column].label)?;
        let all = machine.lamp_rows.iter().flat_map(|row| &row.lamps);
        all.filter_map(|lamp| Some((class_of(&lamp.kind)?, letters(&lamp.label)?)))
            .find(|(_, stem)| *stem == wanted)
            .map(|(class, _)| class)
    };
    in_row.or_else(alike).unwrap_or(Class::Status)
}
