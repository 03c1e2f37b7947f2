//! Contacts that come and go.
#![allow(clippy::unwrap_used)]

use machine::Machine;
use machine::id::{Id, RoutineId};
use machine::model::FaultEffect;
use sim::{Exploration, Options, Plant, Record, Stop, explore};

const ROUTINE: usize = 0;

fn explored() -> (Machine, Plant, Exploration) {
    let machine = machine::load_str("minimal.toml", include_str!("../../../demos/minimal.toml")).unwrap();
    let plant = Plant::new(&machine);
    // Later moments branch as finely as the runs before them.
    let options = Options { pairs: false, later_branching: Options::default().single_branching, ..Options::default() };
    let exploration = explore(&machine, &plant, RoutineId::new(ROUTINE), &options);
    (machine, plant, exploration)
}

fn loose(exploration: &Exploration) -> impl Iterator<Item = &Record> {
    let is_loose =
        |number: u32| exploration.behaviours[number as usize].effects.iter().any(FaultEffect::comes_and_goes);
    exploration.records.iter().filter(move |record| record.first.is_some_and(is_loose))
}

/// However a run branches, all moments at which something else can set in are counted once, save those in the branches
/// that are cut off.
#[test]
fn each_moment_counts_once_however_the_run_branches() {
    let (machine, plant, exploration) = explored();
    let mut most_branches = 0;
    for record in loose(&exploration) {
        let actions = &machine.routines[RoutineId::new(ROUTINE)].actions;
        let Some(action) = actions.get(usize::from(record.stage)) else { continue };
        let stage = record.stage + 1;
        let state = exploration
            .state_of(&machine, &plant, record, record.first.map(|first| [Some(first as usize), None]).unwrap())
            .unwrap();
        let found = exploration.set_in_meanwhile(&plant, &state, &[], action, Some(stage));
        let whole: f64 = exploration.slots.iter().filter(|slot| slot.stage == stage).map(|slot| slot.share).sum();
        let late = exploration.behaviours.iter().enumerate().filter(|(_, behaviour)| !behaviour.from_the_beginning);
        for (number, _) in late {
            let of_it = || found.iter().filter(|one| one.behaviour == number);
            most_branches = most_branches.max(of_it().filter(|one| !one.in_play).count());
            let sum: f64 = of_it().map(|one| one.share).sum();
            let part = sum / whole;
            assert!(part > 0.0 && part < 1.0 + 1e-12, "behaviour {number} in stage {stage}: {part}");
        }
    }
    assert!(most_branches > 1, "no run has branched");
}

/// A cylinder that has stopped midway since a contact was open arrives when it closes, and is not midway again: that is
/// no going round.
#[test]
fn a_machine_with_a_loose_contact_stands() {
    let (.., exploration) = explored();
    let stops: Vec<Stop> =
        loose(&exploration).map(|record| exploration.situations[record.situation as usize].stop).collect();
    assert!(stops.len() > 20);
    assert!(stops.iter().all(|stop| *stop == Stop::Standing), "{stops:?}");
}
