//! What somebody does unasked while the machine works: it can have happened at any moment after power-on, and it is over
//! then.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

use machine::Machine;
use machine::id::{Id, RoutineId};
use machine::model::FaultEffect;
use sim::{Exploration, Options, Plant, Record, explore};

fn jar_filler() -> Machine {
    machine::load_str("jar-filler.toml", include_str!("../../../demos/jar-filler.toml")).unwrap()
}

fn explored(machine: &Machine, plant: &Plant) -> Exploration {
    explore(machine, plant, RoutineId::new(0), &Options { pairs: false, ..Options::default() })
}

/// The stage in which the cycle runs.
fn stage_of_start(machine: &Machine) -> u16 {
    let mut actions = machine.routines[RoutineId::new(0)].actions.iter();
    u16::try_from(actions.position(|one| one.short == "press start").unwrap() + 1).unwrap()
}

/// The behaviours under whose numbers a record stands.
fn in_play(record: &Record) -> [Option<usize>; 2] {
    [record.first, record.second].map(|one| one.map(|one| one as usize))
}

/// The behaviour that is this deviation and no other.
fn behaviour(machine: &Machine, exploration: &Exploration, key: &str) -> u32 {
    let (wanted, _) = machine.deviations.find(|one| one.key == key).unwrap();
    let found = exploration.behaviours.iter().position(|one| one.members[..] == [wanted]);
    u32::try_from(found.unwrap()).unwrap()
}

#[test]
fn a_stop_button_pressed_meanwhile_sends_the_cycle_home() {
    let machine = jar_filler();
    let plant = Plant::new(&machine);
    let exploration = explored(&machine, &plant);
    let stop = behaviour(&machine, &exploration, "lapse/stop pressed meanwhile");
    let records = exploration.records.iter().filter(|record| record.first == Some(stop));
    let odd: Vec<_> = records.filter(|record| !record.as_always).collect();
    // The stage in which the cycle runs: pressed in the middle of it, the machine goes home without a filled jar.
    let ready = machine.steps.iter().find(|(id, _)| machine.step_name(*id) == "cycle.ready").unwrap().0;
    let home = odd.iter().filter(|record| record.stage == stage_of_start(&machine));
    let home: Vec<_> = home.map(|record| &exploration.situations[record.situation as usize]).collect();
    assert!(!home.is_empty());
    assert!(home.iter().all(|situation| situation.on(plant.layout().step(ready))), "it stands ready again");
}

#[test]
fn nothing_of_it_stays_and_every_standing_is_found_again() {
    let machine = jar_filler();
    let plant = Plant::new(&machine);
    let exploration = explored(&machine, &plant);
    let mut tried = 0;
    for (number, it) in exploration.behaviours.iter().enumerate() {
        if it.effects.iter().all(|effect| effect.unasked().is_none()) {
            continue;
        }
        assert!(!it.from_the_beginning);
        let number = u32::try_from(number).unwrap();
        for record in exploration.records.iter().filter(|record| record.first == Some(number)) {
            let state =
                exploration.state_of(&machine, &plant, record, in_play(record)).expect("it can be played once more");
            let machine_as_new =
                exploration.go_on(&plant, &state, &[], &it.effects, &machine.routines[RoutineId::new(0)].actions[0]);
            assert!(!machine_as_new.is_empty());
            tried += 1;
        }
    }
    assert!(tried > 20, "{tried}");
}

#[test]
fn a_door_opened_meanwhile_is_shut_again() {
    let machine = jar_filler();
    let plant = Plant::new(&machine);
    let exploration = explored(&machine, &plant);
    let door = behaviour(&machine, &exploration, "lapse/door open meanwhile");
    let effects = &exploration.behaviours[door as usize].effects;
    assert!(matches!(effects[..], [FaultEffect::Unasked(_)]));
    let (mechanism, row) = machine.mechanisms.find(|one| one.name == "door").unwrap();
    let shut = u8::try_from(row.positions.iter().position(|position| position == "shut").unwrap()).unwrap();
    let records = exploration.records.iter().filter(|record| record.first == Some(door));
    let after_start: Vec<_> = records.filter(|record| record.stage == stage_of_start(&machine)).collect();
    assert!(!after_start.is_empty());
    for record in after_start {
        let situation = &exploration.situations[record.situation as usize];
        assert!(situation.on(plant.layout().at(mechanism, shut)));
    }
}

#[test]
fn the_shares_of_its_moments_make_up_the_whole() {
    let machine = jar_filler();
    let plant = Plant::new(&machine);
    let exploration = explored(&machine, &plant);
    let power = behaviour(&machine, &exploration, "lapse/switched off");
    let calls = |first: Option<u32>| {
        let records = exploration.records.iter().filter(|record| record.first == first);
        records.map(|record| record.weight).sum::<f64>()
    };
    let latent: f64 = exploration
        .records
        .iter()
        .filter(|record| record.first.is_none())
        .map(|record| record.weight * record.latent.map_or(0.0, |row| exploration.latent[row as usize][power as usize]))
        .sum();
    // Of all in whose routine somebody switches off, some call sooner than he does it; nobody calls twice.
    let all = calls(Some(power)) + latent;
    assert!(all > 0.0 && all <= 1.0 + 1e-9, "{all}");
}
