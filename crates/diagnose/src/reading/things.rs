//! Mechanisms and supplies by everything they can be called: the name in the
//! machine file, its words, or one word of these where that is enough; and the
//! positions of a mechanism by their names or by words that mean the same.

use machine::Machine;
use machine::id::{MechanismId, SupplyId};
use machine::model::Words;

use super::mistake::{MistakeKind, Mistakes, listed};
use super::nearest::nearest;
use super::phrase::Phrases;
use super::unit::{Unit, UnitKind, key};

/// Something that a hand can move.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Thing {
    Mechanism(MechanismId),
    Supply(SupplyId),
}

/// By what it was called; an earlier one goes before a later one.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
enum CalledBy {
    Name,
    Words,
    OneWord,
}

/// Words that mean the same position. The first of a group is only the first.
/// The German and Spanish ones were not reviewed by native speakers.
const SAME: &[&str] = &[
    "open, opened, opening, offen, auf, geoffnet, abierto, abierta",
    "shut, closed, close, shutting, closing, zu, geschlossen, cerrado, cerrada",
    "up, raised, raise, lifted, top, at the top, oben, hoch, arriba",
    "down, lowered, lower, bottom, at the bottom, unten, runter, abajo",
    "running, runs, run, on, turning, lauft, an, en marcha, encendido, encendida",
    "stopped, off, idle, still, not running, steht, aus, parado, parada, apagado, apagada",
    "pressed, pushed in, pressed in, gedruckt, pulsado, pulsada",
    "released, not pressed, let go, pulled out, losgelassen, suelto, suelta",
    "present, there, in place, loaded, inserted, put in, placed, standing, da, vorhanden, puesto, puesta",
    "absent, missing, gone, none, not there, removed, taken out, took out, taken away, took away, weg, fehlt, quitado, quitada",
    "in, retracted, back, eingefahren, dentro",
    "out, extended, forward, ausgefahren, fuera",
    "full, filled, voll, lleno, llena",
    "empty, leer, vacio, vacia",
];

/// A word for a position, before it is known of which mechanism.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Place {
    /// The name of a position of this mechanism.
    Name(MechanismId, u8),
    /// One of the words of this group.
    Group(usize),
}

/// A position as said.
#[derive(Clone, Debug)]
pub(super) struct SaidPlace(Vec<Place>);

/// The names of one machine's mechanisms, their positions, and supplies.
#[derive(Debug)]
pub(super) struct Things<'m> {
    machine: &'m Machine,
    names: Phrases<(Thing, CalledBy)>,
    places: Phrases<Place>,
}

/// What was found at a place of the text.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) enum Found {
    Thing(Thing),
    /// Several things are called this.
    Several(Vec<Thing>),
}

impl<'m> Things<'m> {
    /// Collects the names.
    pub fn of(machine: &'m Machine) -> Self {
        let mut things = Self { machine, names: Phrases::default(), places: Phrases::default() };
        for (id, mechanism) in machine.mechanisms.iter() {
            things.call(Thing::Mechanism(id), &mechanism.name, &mechanism.words);
            for (position, name) in (0..=u8::MAX).zip(&mechanism.positions) {
                things.places.add_key(bare_key(name), Place::Name(id, position));
            }
        }
        for (id, supply) in machine.supplies.iter() {
            things.call(Thing::Supply(id), &supply.name, &supply.words);
        }
        for (group, list) in SAME.iter().enumerate() {
            list.split(", ").for_each(|phrase| things.places.add(phrase, Place::Group(group)));
        }
        things
    }

    fn call(&mut self, thing: Thing, name: &str, words: &Words) {
        self.names.add_key(bare_key(name), (thing, CalledBy::Name));
        for text in [&words.english].into_iter().chain(words.translations.iter().map(|(_, text)| text)) {
            let all = bare_key(text);
            let content: Vec<String> = all.iter().filter(|unit| !is_article(unit)).cloned().collect();
            for word in &content {
                if word.len() > 1 && word.chars().all(char::is_alphabetic) {
                    self.names.add_key(vec![word.clone()], (thing, CalledBy::OneWord));
                }
            }
            self.names.add_key(content, (thing, CalledBy::Words));
            self.names.add_key(all, (thing, CalledBy::Words));
        }
        for word in bare_key(name) {
            if word.len() > 1 && word.chars().all(char::is_alphabetic) {
                self.names.add_key(vec![word], (thing, CalledBy::OneWord));
            }
        }
    }

    /// The longest name that begins at this unit, and how many units it takes.
    pub fn longest(&self, units: &[Unit], from: usize) -> Option<(usize, Found)> {
        let (count, called) = self.names.longest(units, from, is_article)?;
        let best = called.iter().map(|(_, by)| *by).min()?;
        let things: Vec<Thing> = called.iter().filter(|(_, by)| *by == best).map(|(thing, _)| *thing).collect();
        let found = match things.as_slice() {
            [one] => Found::Thing(*one),
            _ => Found::Several(things),
        };
        Some((count, found))
    }

    /// The longest word for a position that begins at this unit.
    pub fn longest_place(&self, units: &[Unit], from: usize) -> Option<(usize, SaidPlace)> {
        let (count, places) = self.places.longest(units, from, is_article)?;
        Some((count, SaidPlace(places.to_vec())))
    }

    /// The position of this mechanism that was meant, if it is clear.
    pub fn position(&self, mechanism: MechanismId, said: &SaidPlace) -> Option<u8> {
        let by_name = said.0.iter().find_map(|place| match place {
            Place::Name(of, position) if *of == mechanism => Some(*position),
            _ => None,
        });
        if by_name.is_some() {
            return by_name;
        }
        let positions = &self.machine.mechanisms.get(mechanism)?.positions;
        let mut meant = (0..=u8::MAX).zip(positions).filter(|(_, name)| {
            let key = bare_key(name);
            let means = self.places.get(key.iter().map(String::as_str));
            means.iter().any(|place| matches!(place, Place::Group(_)) && said.0.contains(place))
        });
        match (meant.next(), meant.next()) {
            (Some((position, _)), None) => Some(position),
            _ => None,
        }
    }

    /// A mechanism's or supply's name, as people write it: without underscores.
    pub fn name(&self, thing: Thing) -> String {
        let name = match thing {
            Thing::Mechanism(id) => self.machine.mechanisms.get(id).map(|row| &row.name),
            Thing::Supply(id) => self.machine.supplies.get(id).map(|row| &row.name),
        };
        name.map(|name| spoken(name)).unwrap_or_default()
    }

    /// A mechanism's positions, as people write them.
    pub fn positions(&self, mechanism: MechanismId) -> Vec<String> {
        let row = self.machine.mechanisms.get(mechanism);
        row.map(|row| row.positions.iter().map(|name| spoken(name)).collect()).unwrap_or_default()
    }

    /// The mechanisms' names most like the typed one.
    pub fn like(&self, typed: &str) -> Vec<String> {
        let mechanisms = self.machine.mechanisms.rows().flat_map(|row| [row.name.as_str(), row.words.english.as_str()]);
        let names: Vec<String> = mechanisms.filter(|name| !name.is_empty()).map(spoken).collect();
        nearest(typed, names.iter().map(String::as_str), 3)
    }

    /// Notes that nothing is called what was typed.
    pub fn unknown(&self, span: std::ops::Range<usize>, typed: &str, mistakes: &mut Mistakes) {
        if !mistakes.wanted() {
            return;
        }
        let near = self.like(typed);
        let hint = if near.is_empty() {
            let own = self.machine.mechanisms.rows().map(|row| spoken(&row.name)).take(12).collect::<Vec<_>>();
            format!("the mechanisms are {}", listed(&own, "and"))
        } else {
            format!("did you mean {}?", listed(&near, "or"))
        };
        mistakes.add(MistakeKind::NoSuchName, span, format!("nothing on this machine is called `{typed}`"), hint);
    }

    /// Notes that several things are called what was typed.
    pub fn several(&self, span: std::ops::Range<usize>, typed: &str, things: &[Thing], mistakes: &mut Mistakes) {
        let names: Vec<String> = things.iter().map(|thing| self.name(*thing)).collect();
        mistakes.add(
            MistakeKind::SeveralOfThatName,
            span,
            format!("`{typed}` can be more than one thing"),
            format!("say which: {}", listed(&names, "or")),
        );
    }
}

/// A name of the machine file as people write it.
pub(super) fn spoken(name: &str) -> String {
    name.replace('_', " ")
}

/// A key without marks: `own-led`, `own_led` and `own led` are the same.
pub(super) fn bare_key(name: &str) -> Vec<String> {
    key(name).into_iter().filter(|unit| unit.chars().any(char::is_alphanumeric)).collect()
}

/// Whether the unit is an article or the like, which may be left out of any name.
pub(super) fn is_article(unit: &str) -> bool {
    matches!(
        unit,
        "the"
            | "a"
            | "an"
            | "is"
            | "are"
            | "of"
            | "at"
            | "to"
            | "its"
            | "der"
            | "die"
            | "das"
            | "den"
            | "dem"
            | "des"
            | "ist"
            | "sind"
            | "el"
            | "la"
            | "los"
            | "las"
            | "de"
            | "del"
            | "esta"
            | "estan"
            | "-"
            | "_"
            | "/"
    )
}

/// Whether the unit is a word or a number, not a mark.
pub(super) fn is_word(unit: &Unit) -> bool {
    matches!(unit.kind, UnitKind::Letters | UnitKind::Digits | UnitKind::Quoted)
}
