//! A ten-input machine in a few lines becomes a whole machine.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

use machine::model::{ActionKind, MechanismClass};
use machine::{Choice, Source, read};

fn press() -> machine::Reading {
    read(Source::new("press.toml", include_str!("files/press.toml")), &[])
}

#[test]
fn a_short_file_has_no_problems() {
    let reading = press();
    let resolved = reading.resolve(&Choice::default());
    let shown: Vec<String> = resolved.problems.iter().map(|problem| problem.render(&reading.sources, false)).collect();
    assert!(shown.is_empty(), "{}", shown.join("\n"));
}

#[test]
fn losing_the_guard_is_left_open_and_carried_as_alternatives() {
    let resolved = press().resolve(&Choice::default());
    assert_eq!(resolved.alternatives.len(), 3);
    let total: f64 = resolved.alternatives.iter().map(|alternative| alternative.weight).sum();
    assert!((total - 1.0).abs() < 1e-12);
    assert!(resolved.alternatives[0].choices[0].contains("nothing happens"), "{:?}", resolved.alternatives[0].choices);
}

#[test]
fn what_is_not_written_is_implied() {
    let machine = press().resolve(&Choice::default()).alternatives.remove(0).machine;
    let named = |name: &str| machine.mechanisms.find(|row| row.name == name).map(|(_, row)| row).unwrap();
    assert_eq!(named("start").class, MechanismClass::Button);
    assert_eq!(named("door").class, MechanismClass::Hand);
    assert_eq!(named("lift").class, MechanismClass::Driven);
    let at = |name: &str| named(name).positions[usize::from(named(name).rest)].clone();
    assert_eq!(
        [at("lift"), at("clamp"), at("door"), at("jar"), at("pump")],
        ["up", "open", "not_shut", "not_present", "stopped"]
    );
    let implied: Vec<&str> =
        machine.outputs.rows().filter(|row| row.label.is_none()).map(|row| row.tag.as_str()).collect();
    assert_eq!(implied, ["clamp shut (output)", "pump running (output)", "clamp open (output)"]);
    let lower = machine.steps.find(|step| step.name == "lower").map(|(_, row)| row).unwrap();
    assert!(matches!(lower.actions[0].kind, ActionKind::Set(_)));
    assert_eq!(machine.steps.len(), 6);
}

#[test]
fn faults_and_lapses_have_stable_keys() {
    let machine = press().resolve(&Choice::default()).alternatives.remove(0).machine;
    let has = |key: &str| machine.deviations.rows().any(|row| row.key == key);
    for key in
        ["B1/dead", "B1 cable/broken", "air/missing", "lapse/door shut", "lapse/air shut", "lift/stops-short down"]
    {
        assert!(has(key), "{key}: {:#?}", machine.deviations.rows().map(|row| &row.key).collect::<Vec<_>>());
    }
    for (id, device) in machine.devices.iter() {
        assert!(!device.name.is_empty());
        for mode in &device.modes {
            assert_eq!(machine.deviations[*mode].kind, machine::model::DeviationKind::Fault(id));
        }
    }
}
