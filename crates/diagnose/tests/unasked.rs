//! Something that somebody did unasked is a cause like any other, where the lamps speak for it.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

use diagnose::evidence::{Circumstances, Complaint, Deed, Evidence, Moment};
use diagnose::reading::read_lamps;
use diagnose::{Alternative, Diagnoser};
use sim::Options;

const STOP: &str = "lapse/stop pressed meanwhile";

#[test]
fn a_cycle_that_went_home_speaks_for_a_stop_button_pressed_and_not_told() {
    let text = include_str!("../../../demos/jar-filler.toml");
    let machine = machine::load_str("jar-filler.toml", text).unwrap();
    let start = machine.routines.rows().next().unwrap().actions.iter().position(|one| one.short == "press start");
    let lamps = read_lamps(&machine, "X3 X12 X14 Y4 on, rest off").unwrap();
    let moment = Moment { deeds: vec![Deed::Routine(start)], lamps, ..Moment::default() };
    let went_home = Evidence { complaint: Some(Complaint::StopsMidway), moments: vec![moment], ..Evidence::default() };
    let alternative = Alternative { weight: 1.0, choices: Vec::new(), machine };
    let diagnoser = Diagnoser::new(vec![alternative], &Circumstances::default(), &Options::default());
    let before = diagnoser.marginals(&Evidence::default()).deviations[STOP];
    let after = diagnoser.marginals(&went_home).deviations[STOP];
    assert!(after > 2.0 * before, "{after} against {before}");
    // It was not pressed where the cycle stands in the middle of a step that it would have left.
    let mut filling = went_home;
    filling.moments[0].lamps =
        read_lamps(diagnoser.machine().unwrap(), "X0 X2 X4 X5 X12 X14 X17 Y2 Y3 Y12 on, rest off").unwrap();
    let filling = diagnoser.marginals(&filling).deviations[STOP];
    assert!(filling < 0.5 * after, "{filling} against {after}");
}

#[test]
fn what_nobody_is_said_to_do_is_no_cause() {
    let text = include_str!("../../../demos/minimal.toml");
    let machine = machine::load_str("minimal.toml", text).unwrap();
    let unasked = machine.deviations.rows().filter(|one| one.effects.iter().any(|effect| effect.unasked().is_some()));
    assert_eq!(unasked.count(), 0);
}
