//! What is said to whoever is at the machine: answers to choose from, and what can move, in the language of a sheet or of
//! a caller.

use diagnose::next::{Announcement, Movement, ToDo};
use machine::Machine;

use crate::language::{Label, Language};
use crate::phrase;

const CAN_MOVE: Label = Label::new(
    "Can move: {}. Hands off, everybody clear.",
    "Kann sich bewegen: {}. Hände weg, alle zurücktreten.",
    "Puede moverse: {}. Manos fuera, todos apartados.",
);

const CAN_CHANGE: Label = Label::new("Can change: {}.", "Kann sich ändern: {}.", "Puede cambiar: {}.");

const MANY_CAN_MOVE: Label = Label::new(
    "Can move in many places. Hands off, everybody clear.",
    "Kann sich an vielen Stellen bewegen. Hände weg, alle zurücktreten.",
    "Puede moverse en muchos puntos. Manos fuera, todos apartados.",
);

/// So many are named in a list of things to do.
const FEW: usize = 3;

/// What can move when something is done, where it stands in a list of things to do: where it is so much that nobody would
/// remember it, only that.
#[must_use]
pub fn can_move_in_short(machine: &Machine, language: Language, movements: &[Movement]) -> Option<String> {
    match Announcement::of(movements)? {
        Announcement::Moves(told) if told.len() > FEW => Some(MANY_CAN_MOVE.of(language).to_owned()),
        _ => can_move(machine, language, movements),
    }
}

/// What can move when something is done, in one sentence: what can hurt somebody by it, or else the rest; `None` if nothing
/// can.
#[must_use]
pub fn can_move(machine: &Machine, language: Language, movements: &[Movement]) -> Option<String> {
    let (label, told) = match Announcement::of(movements)? {
        Announcement::Moves(told) => (CAN_MOVE, told),
        Announcement::Changes(told) => (CAN_CHANGE, told),
    };
    let name = |one: &&Movement| match machine.mechanisms.rows().find(|row| row.name == one.mechanism) {
        Some(row) => phrase::words(&row.words, &one.words, language).to_owned(),
        None => one.words.clone(),
    };
    Some(label.fill(language, &[&told.iter().map(name).collect::<Vec<_>>().join(", ")]))
}

/// The words of an answer to something that is asked.
///
/// `key` and `english` are those of the [`diagnose::next::Outcome`]; what has no translation stays English.
#[must_use]
pub fn answer(machine: &Machine, language: Language, to_do: &ToDo, key: &str, english: &str) -> String {
    let words = match to_do {
        ToDo::Check(check) => {
            let answers = machine.checks.get(*check).map_or(&[][..], |check| check.answers.as_slice());
            answers.iter().find(|answer| answer.key == key).map(|answer| &answer.words)
        }
        ToDo::Position(mechanism) => machine.mechanisms.get(*mechanism).and_then(|row| {
            let at = row.positions.iter().position(|position| position == key)?;
            row.position_words.get(at)
        }),
        _ => None,
    };
    match words {
        Some(words) => phrase::words(words, english, language).to_owned(),
        None => match common(english) {
            Some(label) => label.of(language).to_owned(),
            None => changes(english, language),
        },
    }
}

/// Lamps that change, such as "X0 goes dark, X3 lights".
fn changes(english: &str, language: Language) -> String {
    const CHANGES: [(&str, Label); 3] = [
        (" lights", Label::new("{} lights", "{} geht an", "se enciende {}")),
        (" goes dark", Label::new("{} goes dark", "{} geht aus", "se apaga {}")),
        (" goes on and off", Label::new("{} goes on and off", "{} blinkt", "{} parpadea")),
    ];
    let one = |part: &str| {
        let known = CHANGES.iter().find_map(|(end, label)| Some((part.strip_suffix(end)?, label)));
        known.map_or_else(|| part.to_owned(), |(lamp, label)| label.fill(language, &[lamp]))
    };
    english.split(", ").map(one).collect::<Vec<_>>().join(", ")
}

/// Answers and causes that are not a machine's own.
pub(crate) fn common(english: &str) -> Option<Label> {
    const COMMON: [Label; 12] = [
        Label::new("lit", "leuchtet", "encendida"),
        Label::new("dark", "dunkel", "apagada"),
        Label::new("goes on and off", "blinkt", "parpadea"),
        Label::new("in between", "dazwischen", "entre medias"),
        Label::new("something else", "etwas anderes", "otra cosa"),
        Label::new("any other answer", "jede andere Antwort", "cualquier otra respuesta"),
        Label::new("no lamp changes", "keine Lampe ändert sich", "no cambia ninguna lámpara"),
        Label::new("all dark", "alle dunkel", "todas apagadas"),
        Label::new("it runs", "sie läuft", "funciona"),
        Label::new("as before", "wie vorher", "igual que antes"),
        Label::new("nothing is wrong", "nichts ist falsch", "no pasa nada"),
        Label::new(
            "something that is not in this file",
            "etwas, das nicht in dieser Datei steht",
            "algo que no está en este archivo",
        ),
    ];
    COMMON.into_iter().find(|label| label.of(Language::English) == english)
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use machine::model::MechanismClass;

    fn machine() -> Machine {
        machine::load_str("jar-filler.toml", include_str!("../../../demos/jar-filler.toml")).unwrap()
    }

    #[test]
    fn what_can_move_is_said_in_the_language_of_who_stands_there() {
        let machine = machine();
        let row = machine.mechanisms.rows().find(|row| row.name == "nozzle").unwrap();
        let movement = |mechanism: &str, words: &str, hazard| Movement {
            mechanism: mechanism.to_owned(),
            words: words.to_owned(),
            hazard,
            probability: 0.5,
        };
        let moves = [movement("nozzle", "nozzle lift", true), movement("not there", "something else", true)];
        let german = row.words.in_language("de");
        assert_ne!(german, row.words.english);
        assert_eq!(
            can_move(&machine, Language::German, &moves).unwrap(),
            format!("Kann sich bewegen: {german}, something else. Hände weg, alle zurücktreten.")
        );
        assert_eq!(can_move(&machine, Language::Spanish, &[]), None);
        // Hands need not be kept off what can't hurt them, and beside what can it is not told.
        let row =
            machine.mechanisms.rows().find(|row| row.class == MechanismClass::Driven && !row.moving_hazard).unwrap();
        let harmless = movement(&row.name, "", false);
        let words = row.words.english.as_str();
        let alone = can_move(&machine, Language::English, std::slice::from_ref(&harmless)).unwrap();
        assert_eq!(alone, format!("Can change: {words}."));
        let both = can_move(&machine, Language::English, &[harmless, moves[0].clone()]).unwrap();
        assert!(!both.contains(words), "{both}");
    }

    #[test]
    fn answers_are_translated_by_what_was_asked_and_stay_english_where_nothing_is_known() {
        let machine = machine();
        let (id, check) = machine.checks.iter().find(|(_, check)| check.key.ends_with("own-led")).unwrap();
        let one = &check.answers[0];
        let said = |to_do: &ToDo, key: &str, words: &str| answer(&machine, Language::German, to_do, key, words);
        let german = said(&ToDo::Check(id), &one.key, &one.words.english);
        assert_eq!(german, one.words.in_language("de"));
        assert_ne!(german, one.words.english);
        assert_eq!(said(&ToDo::GoOn, "runs", "it runs"), "sie läuft");
        assert_eq!(said(&ToDo::Lamps, "X1 on", "X1 lit, X2 lights"), "X1 lit, X2 geht an");
    }
}
