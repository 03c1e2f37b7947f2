//! A walk over every text for people of all demo machines and of a machine with one device of every type of the
//! library: each has a German and a Spanish translation, but for names that a file without translations made up.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod machines;

use std::collections::BTreeSet;

use machine::Machine;
use machine::model::{
    Answer, Chart, Check, Counter, Deviation, Device, HandAction, Input, Interlock, LampRow, Latch, Measurement,
    Mechanism, Mode, Output, Part, PointUse, Procedure, ProcedureStep, Remedy, Routine, Setting, Step, Supply, Words,
};
use machines::machines;

const LANGUAGES: [&str; 2] = ["de", "es"];

/// Texts with the place where they stand.
#[derive(Default)]
struct Texts<'m> {
    all: Vec<(String, &'m Words)>,
}

impl<'m> Texts<'m> {
    fn take<const N: usize>(&mut self, place: &str, texts: [&'m Words; N]) {
        self.all.extend(texts.into_iter().map(|words| (place.to_owned(), words)));
    }

    /// Every text of a machine. Nothing is left out by `..` where a new text could come in.
    fn of(machine: &'m Machine) -> Self {
        let mut all = Self::default();
        let Machine {
            name: _,
            maker: _,
            version: _,
            date: _,
            about: _,
            revision: _,
            scan_ms: _,
            controller_supply: _,
            hours_since_well: _,
            prices: _,
            lamp_rows,
            supplies,
            mechanisms,
            inputs,
            outputs,
            charts,
            steps,
            transitions: _,
            interlocks,
            latches,
            counters,
            edges: _,
            modes,
            routines,
            procedures,
            settings,
            devices,
            deviations,
            checks,
            remedies,
        } = machine;
        for LampRow { title, lamps: _ } in lamp_rows {
            all.take("lamps", [title]);
        }
        for Supply { name, words, kind: _, from: _, when: _, place } in supplies.rows() {
            all.take(name, [words, place]);
        }
        for row in mechanisms.rows() {
            let Mechanism { name, words, position_words, place, .. } = row;
            all.take(name, [words, place]);
            position_words.iter().for_each(|words| all.take(name, [words]));
        }
        // Nobody is told of a spare point but that it is spare.
        for Input { label, words, place, .. } in inputs.rows().filter(|row| row.usage == PointUse::Used) {
            all.take(label, [words, place]);
        }
        for Output { tag, words, place, .. } in outputs.rows().filter(|row| row.usage == PointUse::Used) {
            all.take(tag, [words, place]);
        }
        for Chart { name, words, mode: _, initial: _ } in charts.rows() {
            all.take(name, [words]);
        }
        for Step { name, words, .. } in steps.rows() {
            all.take(name, [words]);
        }
        for Interlock { words, .. } in interlocks.rows() {
            all.take("an interlock", [words]);
        }
        for Latch { name, words, .. } in latches.rows() {
            all.take(name, [words]);
        }
        for Counter { name, words } in counters.rows() {
            all.take(name, [words]);
        }
        for Mode { name, words, when: _ } in modes.rows() {
            all.take(name, [words]);
        }
        for Routine { name, words, mode: _, actions } in routines.rows() {
            all.take(name, [words]);
            for HandAction { words, .. } in actions {
                all.take(name, [words]);
            }
        }
        for Procedure { name, words, purpose, who: _, steps } in procedures.rows() {
            all.take(name, [words, purpose]);
            for ProcedureStep { words, note, measure, .. } in steps {
                all.take(name, [words]);
                note.iter().for_each(|words| all.take(name, [words]));
                if let Some(Measurement { words, unit, from: _, to: _, outside }) = measure {
                    all.take(name, [words, unit, outside]);
                }
            }
        }
        for Setting { name, words, value: _, default: _, range: _, place } in settings.rows() {
            all.take(name, [words, place]);
        }
        for Device { name, words, place, .. } in devices.rows() {
            all.take(name, [words, place]);
        }
        for Deviation { key, words, .. } in deviations.rows() {
            all.take(key, [words]);
        }
        for Check { key, operator, technician, answers, .. } in checks.rows() {
            all.take(key, [operator, technician]);
            for Answer { key: _, words } in answers {
                all.take(key, [words]);
            }
        }
        for Remedy { key, words, part, .. } in remedies.rows() {
            all.take(key, [words]);
            if let Some(Part { words, price: _ }) = part {
                all.take(key, [words]);
            }
        }
        all.all.retain(|(_, words)| !words.english.is_empty());
        all
    }
}

/// What a file has only made up names for: mechanisms, steps and the like are then called by these.
fn made_up(machine: &Machine) -> BTreeSet<String> {
    let named = [
        machine.mechanisms.rows().map(|row| &row.name).collect::<Vec<_>>(),
        machine.charts.rows().map(|row| &row.name).collect(),
        machine.steps.rows().map(|row| &row.name).collect(),
        machine.routines.rows().map(|row| &row.name).collect(),
        machine.mechanisms.rows().flat_map(|row| &row.positions).collect(),
    ];
    named.into_iter().flatten().map(|name| name.replace('_', " ")).collect()
}

/// What is not translated, as "de PLACE: TEXT".
fn untranslated(machine: &Machine, excused: &BTreeSet<String>) -> Vec<String> {
    let mut missing = Vec::new();
    for (place, words) in Texts::of(machine).all {
        for language in LANGUAGES {
            let there = words.translations.iter().any(|(tag, text)| tag == language && !text.trim().is_empty());
            if !there && !excused.contains(&words.english) {
                missing.push(format!("{language} {place}: {}", words.english));
            }
        }
    }
    missing
}

#[test]
fn every_text_of_the_demos_and_the_library_is_german_and_spanish_too() {
    for (name, machine) in machines() {
        // The capper shows how little a file needs, so it has names and no words.
        let excused = match name.as_str() {
            "minimal" | "every type" => made_up(&machine),
            _ => BTreeSet::new(),
        };
        let missing = untranslated(&machine, &excused);
        assert!(missing.is_empty(), "{name}: {missing:#?}");
        assert!(Texts::of(&machine).all.len() > 100, "{name}");
    }
}

#[test]
fn a_text_without_a_translation_is_found() {
    let text = "format = 1\n[machine]\nname = \"Press\"\n\
        [inputs]\nX1 = { lit = \"start = pressed\" }\nX2 = { lit = \"ram = up\", place = \"left column\" }\n\
        [charts.press]\nstart = \"start = pressed\"\n[charts.press.steps]\nraise = \"do ram up until ram = up\"\n\
        [words.de]\n\"left column\" = \"linke Säule\"\n";
    let machine = machine::load_str("press.toml", text).unwrap_or_else(|problems| panic!("{problems:#?}"));
    let missing = untranslated(&machine, &made_up(&machine));
    assert!(missing.contains(&"es X2: left column".to_owned()), "{missing:#?}");
    assert!(missing.iter().all(|line| line.ends_with(": left column") && line.starts_with("es ")), "{missing:#?}");
}

#[test]
fn a_place_is_translated_by_its_text_or_by_its_key_in_every_revision() {
    let text = "format = 1\n[machine]\nname = \"Press\"\nrevision = \"A\"\nserials = \"1-9\"\n\
        [inputs]\nX1 = { lit = \"start = pressed\", place = \"panel\" }\nX2 = { lit = \"ram = up\", place = \"panel\" }\n\
        [charts.press]\nstart = \"start = pressed\"\n[charts.press.steps]\nraise = \"do ram up until ram = up\"\n\
        [revisions.B]\nserials = \"10-\"\n[revisions.B.change.inputs]\nX1 = { place = \"left column\" }\n\
        [words.de]\n\"panel\" = \"Bedienfeld\"\n\"left column\" = \"linke Säule\"\n\"inputs.X2.place\" = \"Bedienfeld, unten\"\n";
    let reading = machine::read(machine::Source::new("press.toml", text), &[]);
    let places = |revision: &str| {
        let choice = machine::Choice { revision: Some(revision.to_owned()), ..machine::Choice::default() };
        let machine = &reading.resolve(&choice).alternatives[0].machine;
        let place = |row: &Input| (row.place.english.clone(), row.place.in_language("de").to_owned());
        machine.inputs.rows().map(place).collect::<Vec<_>>()
    };
    let both = |one: (&str, &str), other: (&str, &str)| {
        [one, other].map(|(english, german)| (english.to_owned(), german.to_owned())).to_vec()
    };
    assert_eq!(places("A"), both(("panel", "Bedienfeld"), ("panel", "Bedienfeld, unten")));
    assert_eq!(places("B"), both(("left column", "linke Säule"), ("panel", "Bedienfeld, unten")));
}

#[test]
fn where_something_stands_agrees_with_its_words() {
    let text = r#"
        format = 1
        [machine]
        name = "Box"
        [mechanisms]
        lid = { positions = ["open", "shut", "propped"], by = "hand" }
        lock = { positions = ["open", "shut"], by = "hand" }
        boxes = { positions = ["empty", "full"], by = "hand" }
        clip = { by = "hand" }
        [inputs]
        X0 = { lit = "clip = open" }
        [words.es]
        forms = { lid = "f", boxes = "fp", clip = "f" }
        "positions.propped" = "apoyado"
        "positions.propped.f" = "apoyada"
    "#;
    let reading = machine::read(machine::Source::new("box.toml", text), &[]);
    let machine = reading.resolve(&machine::Choice::default()).alternatives.remove(0).machine;
    let positions = |name: &str, language: &str| {
        let row = machine.mechanisms.rows().find(|row| row.name == name).unwrap();
        row.position_words.iter().map(|one| one.in_language(language)).collect::<Vec<_>>().join(", ")
    };
    assert_eq!(positions("lid", "es"), "abierta, cerrada, apoyada");
    assert_eq!(positions("lock", "es"), "abierto, cerrado");
    assert_eq!(positions("boxes", "es"), "vacías, llenas");
    assert_eq!(positions("clip", "es"), "abierta, no abierta");
    // German needs none of it.
    assert_eq!(positions("lid", "de"), "offen, zu, propped");
}

#[test]
fn a_thing_has_one_german_word() {
    // What was once called by two words, and the one that it has now.
    const NOW: [(&str, &str); 7] = [
        ("Heizschütz", "Heizungsschütz"),
        ("Heizkörper", "Heizelement"),
        ("Heizstab", "Heizelement"),
        ("Hubeinheit", "Lift"),
        ("Düsenhub", "Düsenlift"),
        ("Füllstandssonde", "Niveaufühler"),
        ("Sauger", "Saugnapf"),
    ];
    for (name, machine) in machines() {
        for (place, words) in Texts::of(&machine).all {
            let german = words.in_language("de");
            for (once, now) in NOW {
                assert!(!german.contains(once), "{name} {place}: {german}: write {now}");
            }
        }
    }
}
