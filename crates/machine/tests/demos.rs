//! The demo machines: every revision reads without an error or a warning, and has the points its README promises.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

use std::path::Path;

use machine::caution::{self, Caution, Doing};
use machine::model::{DeviceRole, Energy, Guarding, HandMove, Load, MechanismClass, PointUse, Who};
use machine::{Choice, Machine, Reading, Severity, Source, read};

const DEMOS: [&str; 4] = ["minimal", "jar-filler", "parts-washer", "lidding-line"];

fn text_of(path: &str) -> String {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join(path);
    std::fs::read_to_string(&path).unwrap_or_else(|error| panic!("{}: {error}", path.display()))
}

fn demo(name: &str) -> Reading {
    read(Source::new(format!("{name}.toml"), text_of(&format!("../../demos/{name}.toml"))), &[])
}

/// One choice for each revision; one that leaves it open where there are none.
fn choices(reading: &Reading) -> Vec<Choice> {
    let named = |name: &str| Choice { revision: Some(name.to_string()), ..Choice::default() };
    let all: Vec<Choice> = reading.revisions().iter().map(|revision| named(&revision.name)).collect();
    if all.is_empty() { vec![Choice::default()] } else { all }
}

fn machine(name: &str, revision: Option<&str>) -> Machine {
    let choice = Choice { revision: revision.map(str::to_string), ..Choice::default() };
    demo(name).resolve(&choice).alternatives.remove(0).machine
}

/// Used inputs and used outputs that have a lamp.
fn points(machine: &Machine) -> (usize, usize) {
    let inputs = machine.inputs.rows().filter(|row| row.usage == PointUse::Used).count();
    let outputs = machine.outputs.rows().filter(|row| row.usage == PointUse::Used && row.label.is_some()).count();
    (inputs, outputs)
}

#[test]
fn every_revision_of_every_demo_reads_without_errors_or_warnings() {
    for name in DEMOS {
        let reading = demo(name);
        let linted = (None, reading.lint());
        let resolved = choices(&reading).into_iter().map(|choice| {
            let problems = reading.resolve(&choice).problems;
            (choice.revision, problems)
        });
        for (revision, problems) in resolved.chain([linted]) {
            let bad = problems.iter().filter(|problem| problem.severity != Severity::Note);
            let shown: Vec<String> = bad.map(|problem| problem.render(&reading.sources, false)).collect();
            assert!(shown.is_empty(), "{name} {revision:?}:\n{}", shown.join("\n\n"));
        }
    }
}

#[test]
fn the_complete_demos_leave_nothing_open_and_the_minimal_one_does() {
    for name in DEMOS {
        let reading = demo(name);
        for choice in choices(&reading) {
            let alternatives = reading.resolve(&choice).alternatives;
            assert_eq!(alternatives.len() > 1, name == "minimal", "{name}: {:?}", alternatives[0].choices);
        }
    }
}

#[test]
fn the_demos_have_the_points_that_their_readme_names() {
    assert_eq!(points(&machine("minimal", None)), (10, 0));
    assert_eq!(points(&machine("jar-filler", None)), (14, 10));
    assert_eq!(points(&machine("parts-washer", Some("A"))), (17, 12));
    assert_eq!(points(&machine("parts-washer", Some("B"))), (18, 12));
    assert_eq!(points(&machine("lidding-line", None)), (31, 20));
}

#[test]
fn the_minimal_demo_is_no_longer_than_promised() {
    let lines = text_of("../../demos/minimal.toml").lines().count();
    assert!(lines <= 60, "{lines} lines");
}

#[test]
fn the_serial_number_chooses_the_revision_of_the_parts_washer() {
    let reading = demo("parts-washer");
    for (serial, revision) in [(1000, "A"), (1349, "A"), (1350, "B"), (2100, "B")] {
        let choice = Choice { serial: Some(serial), ..Choice::default() };
        let resolved = reading.resolve(&choice);
        assert_eq!(resolved.alternatives.len(), 1);
        assert_eq!(resolved.alternatives[0].machine.revision.as_deref(), Some(revision), "{serial}");
    }
}

#[test]
fn faults_of_a_machine_of_its_own_have_their_remedy_and_german_and_spanish_words() {
    let own = [
        ("jar-filler", "B1/jar_fallen", "B1/stand_jar"),
        ("jar-filler", "product/nozzle_clogged", "product/clean_nozzle"),
        ("parts-washer", "B4/foam", "B4/rinse_foam"),
        ("parts-washer", "basket/guide_bent up", "basket/straighten_guide"),
        ("lidding-line", "cup/lip_worn covered", "cup/new_cup"),
    ];
    for (name, fault, remedy) in own {
        let machine = machine(name, (name == "parts-washer").then_some("B"));
        let fault = machine.deviations.rows().find(|row| row.key == fault).expect(fault);
        assert_eq!(fault.remedy.map(|id| machine.remedies[id].key.as_str()), Some(remedy));
        for language in ["de", "es"] {
            assert_ne!(fault.words.in_language(language), fault.words.english, "{language}");
        }
    }
}

#[test]
fn what_is_no_mechanics_is_not_greased() {
    for name in DEMOS {
        for choice in choices(&demo(name)) {
            let machine = machine(name, choice.revision.as_deref());
            for (id, device) in machine.devices.iter() {
                let DeviceRole::Mechanism(mechanism) = device.role else { continue };
                let row = &machine.mechanisms[mechanism];
                if row.moving_hazard || row.class != MechanismClass::Driven {
                    continue;
                }
                assert_ne!(device.type_key, "mechanism", "{name}: {} has a type of its own", row.name);
                let own = machine.remedies.rows().filter(|remedy| remedy.device == Some(id));
                for words in own.map(|remedy| &remedy.words) {
                    assert!(!words.english.contains("grease"), "{name}: {}: {}", row.name, words.english);
                }
            }
        }
    }
}

#[test]
fn a_temperature_limiter_is_not_just_put_back() {
    let machine = machine("parts-washer", Some("A"));
    let lapse = machine.deviations.rows().find(|row| row.key == "lapse/limiter found tripped").unwrap();
    let remedy = &machine.remedies[lapse.remedy.unwrap()];
    assert_eq!(remedy.key, "limiter/reset");
    assert_eq!(remedy.who, Who::Technician);
    let (limiter, row) = machine.mechanisms.find(|row| row.name == "limiter").unwrap();
    assert_eq!(remedy.does, Some(HandMove::Put(limiter, row.rest)));
    for (language, asks_why) in [("en", "find out why"), ("de", "Ursache"), ("es", "por qué")] {
        assert!(remedy.words.in_language(language).contains(asks_why), "{language}");
    }
}

#[test]
fn what_is_put_back_inside_a_guard_is_put_back_with_care() {
    for (name, key, who, load) in [
        ("parts-washer", "lapse/filter found out", Who::Technician, Load::Raised),
        ("jar-filler", "lapse/tray found full", Who::Operator, Load::None),
        ("jar-filler", "lapse/cup found in_place", Who::Operator, Load::None),
        ("lidding-line", "lapse/magazine found empty", Who::Operator, Load::None),
    ] {
        let machine = machine(name, None);
        let lapse = machine.deviations.rows().find(|row| row.key == key).unwrap();
        let remedy = &machine.remedies[lapse.remedy.unwrap()];
        assert_eq!((remedy.who, remedy.energy, remedy.load), (who, Energy::Off, load), "{key}");
        for (language, first) in [("en", "press stop"), ("de", "Stopp drücken"), ("es", "pulsar parada")] {
            assert!(remedy.words.in_language(language).starts_with(first), "{key}, {language}");
        }
    }
}

#[test]
fn an_emergency_stop_is_not_just_released() {
    let machine = machine("lidding-line", None);
    let lapse = machine.deviations.rows().find(|row| row.key == "lapse/emergency found pushed_in").unwrap();
    let remedy = &machine.remedies[lapse.remedy.unwrap()];
    assert_eq!(remedy.who, Who::Operator);
    for (language, asks_why) in [("en", "find out why"), ("de", "warum"), ("es", "por qué")] {
        assert!(remedy.words.in_language(language).contains(asks_why), "{language}");
    }
    assert!(Doing::of_remedy(&machine, remedy).cautions().contains(&Caution::Protects));
}

#[test]
fn the_temperature_limiter_is_among_what_protects_people() {
    let machine = machine("parts-washer", Some("A"));
    let (id, _) = machine.inputs.find(|row| row.tag == "F7").unwrap();
    assert_eq!(caution::guarding_of_input(&machine, id), Guarding::Guard);
    let reset = machine.remedies.rows().find(|remedy| remedy.key == "limiter/reset").unwrap();
    assert!(Doing::of_remedy(&machine, reset).cautions().contains(&Caution::Protects));
}
