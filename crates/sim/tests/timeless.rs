//! Standings that differ only in when are one standing, and go on alike.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

use machine::Machine;
use machine::model::HandMove;
use sim::{Engine, Limits, Plant, Stop};

const PRESS: &str = include_str!("../../machine/tests/files/bare_press.toml");

fn press(scan: &str) -> Machine {
    machine::load_str("press.toml", &PRESS.replace("[inputs]", &format!("{scan}\n[inputs]"))).unwrap()
}

fn start(machine: &Machine) -> HandMove {
    let (start, _) = machine.mechanisms.find(|one| one.name == "start").unwrap();
    HandMove::Press(start, 300)
}

fn stand(engine: &mut Engine<'_>, movement: HandMove) {
    engine.act(movement).unwrap();
    assert_eq!(engine.run_to_standing(Limits::default()), Stop::Standing);
}

#[test]
fn after_one_cycle_and_after_two_it_stands_the_same_way() {
    let machine = press("");
    let plant = Plant::new(&machine);
    let mut engine = Engine::new(&plant);
    engine.power_on().unwrap();
    stand(&mut engine, start(&machine));
    let once = engine.state().clone();
    stand(&mut engine, start(&machine));
    let twice = engine.state().clone();
    assert_ne!(once, twice);
    assert!(once.now() < twice.now());
    assert_eq!(once.timeless(&plant), twice.timeless(&plant));
}

#[test]
fn a_timeless_state_goes_on_as_the_state_itself_in_the_middle_of_a_movement_too() {
    for scan in ["", "scan = \"T#70ms\""] {
        let machine = press(scan);
        let plant = Plant::new(&machine);
        let mut engine = Engine::new(&plant);
        engine.power_on().unwrap();
        stand(&mut engine, start(&machine));
        for time_ms in [1, 50, 290, 400, 777, 1500] {
            engine.act(start(&machine)).unwrap();
            engine.run_to_standing(Limits { time_ms, ..Limits::default() });
            let state = engine.state().clone();
            let timeless = state.clone().timeless(&plant);
            let ends = [&state, &timeless].map(|from| {
                let mut engine = Engine::new(&plant);
                engine.restore(from);
                let stop = engine.run_to_standing(Limits::default());
                let took = engine.state().now() - from.now();
                (took, stop, engine.state().clone().timeless(&plant))
            });
            assert_eq!(ends[0], ends[1], "{scan} after {time_ms} ms");
            engine.run_to_standing(Limits::default());
        }
    }
}

#[test]
fn where_the_program_is_between_two_looks_at_its_inputs_is_kept() {
    let machine = press("scan = \"T#70ms\"");
    let plant = Plant::new(&machine);
    let mut engine = Engine::new(&plant);
    engine.power_on().unwrap();
    stand(&mut engine, start(&machine));
    let phase = engine.state().now() % 70;
    assert_eq!(engine.state().clone().timeless(&plant).now() % 70, phase);
}
