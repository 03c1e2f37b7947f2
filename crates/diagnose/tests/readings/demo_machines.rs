//! Everything on the demo machines can be said by its own name: each lamp by
//! label and tag, each position, each action of each routine by its short form
//! and its words, each answer to each check.

use std::path::Path;

use diagnose::evidence::{CheckReport, Deed, LampPlace, LampState, Naming, PositionReport};
use diagnose::reading::{
    describe_checks, describe_deeds, describe_positions, read_checks, read_deeds, read_lamps, read_positions,
};
use machine::Machine;
use machine::id::{Id, MechanismId};
use machine::model::LampKind;

fn demos() -> Vec<(&'static str, Machine)> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../demos");
    ["minimal", "jar-filler", "parts-washer", "lidding-line"]
        .into_iter()
        .map(|name| {
            let text = std::fs::read_to_string(folder.join(name).with_extension("toml")).unwrap();
            (name, machine::load_str(name, &text).unwrap())
        })
        .collect()
}

/// What the text says of one lamp alone.
fn one_lamp(machine: &Machine, text: &str) -> (LampPlace, LampState, Naming) {
    match read_lamps(machine, text).unwrap_or_else(|mistakes| panic!("{text}: {mistakes:?}")).as_slice() {
        [one] => (one.place, one.state, one.naming),
        more => panic!("{text}: {more:?}"),
    }
}

#[test]
fn each_lamp_is_named_by_its_label_and_by_its_tag() {
    for (name, machine) in demos() {
        for (row, lamps) in machine.lamp_rows.iter().enumerate() {
            for (column, lamp) in lamps.lamps.iter().enumerate() {
                let expected = (LampPlace { row, column }, LampState::Dark, Naming::Named);
                assert_eq!(one_lamp(&machine, &format!("{} off", lamp.label)), expected, "{name}");
                let tag = match lamp.kind {
                    LampKind::Input(input) => machine.inputs[input].tag.clone(),
                    LampKind::Output(output) => machine.outputs[output].tag.clone(),
                    LampKind::Status(_) | LampKind::Unused => continue,
                };
                assert_eq!(one_lamp(&machine, &format!("{tag} is off")), expected, "{name}");
            }
        }
    }
}

#[test]
fn each_position_of_each_mechanism_can_be_said() {
    for (name, machine) in demos() {
        let most = machine.mechanisms.rows().map(|mechanism| mechanism.positions.len()).max().unwrap_or(0);
        for place in 0..=most {
            // All mechanisms in one text; those that have no such position are between.
            let at = |count: usize| u8::try_from(place).ok().filter(|_| place < count);
            let all = machine.mechanisms.iter();
            let reports: Vec<PositionReport> =
                all.map(|(mechanism, row)| PositionReport { mechanism, position: at(row.positions.len()) }).collect();
            let text = describe_positions(&machine, &reports);
            assert_eq!(read_positions(&machine, &text), Ok(reports), "{name}: {text}");
        }
    }
}

#[test]
fn each_action_of_each_routine_can_be_said() {
    for (name, machine) in demos() {
        for (routine, row) in machine.routines.iter() {
            for (action, done) in row.actions.iter().enumerate() {
                for text in [&done.short, &done.words.english] {
                    let read = read_deeds(&machine, routine, text);
                    let Ok([Deed::Routine(Some(found))]) = read.as_deref() else { panic!("{name}: {text}: {read:?}") };
                    assert_eq!(row.actions[*found].movement, done.movement, "{name}: {text}");
                }
                let deeds = vec![Deed::Routine(Some(action))];
                let text = describe_deeds(&machine, routine, &deeds);
                assert_eq!(read_deeds(&machine, routine, &text), Ok(deeds), "{name}: {text}");
            }
        }
    }
}

#[test]
fn each_answer_to_each_check_can_be_said() {
    for (name, machine) in demos() {
        let most = machine.checks.rows().map(|check| check.answers.len()).max().unwrap_or(0);
        for answer in 0..most {
            // All checks that have so many answers, in one text.
            let checks = || machine.checks.iter().filter(|(_, row)| row.answers.len() > answer);
            let reports: Vec<CheckReport> = checks().map(|(check, _)| CheckReport { check, answer }).collect();
            let by_key = describe_checks(&machine, &reports);
            assert_eq!(read_checks(&machine, &by_key), Ok(reports.clone()), "{name}: {by_key}");
            let by_words: Vec<String> =
                checks().map(|(_, row)| format!("{}: {}", row.key, row.answers[answer].words.english)).collect();
            let by_words = by_words.join("\n");
            assert_eq!(read_checks(&machine, &by_words), Ok(reports), "{name}: {by_words}");
        }
    }
}

#[test]
fn the_first_command_of_the_readme_is_understood() {
    let (_, machine) = &demos()[1];
    let lamps = read_lamps(machine, "X12 X14 on, X3 off, rest off").unwrap();
    assert_eq!(lamps.len(), machine.lamp_rows.iter().map(|row| row.lamps.len()).sum::<usize>());
    assert_eq!(lamps.iter().filter(|lamp| lamp.state == LampState::Lit).count(), 2);
    let routine = machine.routines.ids().next().unwrap();
    let deeds = read_deeds(machine, routine, "pressed start").unwrap();
    assert!(matches!(deeds.as_slice(), [Deed::Routine(Some(_))]), "{deeds:?}");
    let seen = read_positions(machine, "nozzle up").unwrap();
    let nozzle = machine.mechanisms.find(|mechanism| mechanism.name == "nozzle").map(|(id, _)| id);
    assert_eq!(seen, [PositionReport { mechanism: nozzle.unwrap_or(MechanismId::new(0)), position: Some(0) }]);
}
