//! The advice followed to the end in simulated calls.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

use diagnose::evidence::Circumstances;
use diagnose::trial::{Disturbance, Policy, Trial};
use diagnose::{Alternative, Diagnoser};
use machine::Machine;
use sim::Options;

fn minimal() -> Machine {
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/../../demos/minimal.toml");
    machine::load_str("minimal", &std::fs::read_to_string(path).unwrap()).unwrap()
}

fn diagnoser(machine: Machine) -> Diagnoser {
    let one = Alternative { weight: 1.0, choices: Vec::new(), machine };
    Diagnoser::new(vec![one], &Circumstances::default(), &Options::default())
}

#[test]
fn the_same_seed_gives_the_same_figures_and_callers_answer_alike_whatever_is_asked() {
    let nature = diagnoser(minimal());
    let trial = Trial { calls: 5, seed: 5, ..Trial::default() };
    let both = trial.run(&nature, &nature, &[Policy::Advice, Policy::Odds], &|| ());
    assert_eq!(both, trial.run(&nature, &nature, &[Policy::Advice, Policy::Odds], &|| ()));
    let alone = trial.run(&nature, &nature, &[Policy::Advice], &|| ());
    assert_eq!(both[0], alone[0]);
    assert_eq!(both[0].more_than_first.mean, 0.0);
    assert!(both[0].solved > 0.5, "{:?}", both[0]);
}

#[test]
fn disturbed_machines_differ_from_the_file_in_what_they_say_and_in_nothing_else() {
    let machine = minimal();
    for disturbance in Disturbance::ALL {
        let (nature, file) = disturbance.of(&machine, 3);
        assert_eq!(format!("{:?}", disturbance.of(&machine, 3)), format!("{:?}", (&nature, &file)));
        assert_eq!(nature.deviations.len(), file.deviations.len());
        let rates =
            |machine: &Machine| machine.deviations.rows().map(|row| format!("{:?}", row.rate)).collect::<Vec<_>>();
        let times =
            |machine: &Machine| machine.mechanisms.rows().map(|row| format!("{:?}", row.moves)).collect::<Vec<_>>();
        assert_eq!(rates(&nature) != rates(&file), disturbance != Disturbance::Times, "{disturbance:?}");
        assert_eq!(times(&nature) != times(&file), disturbance == Disturbance::Times, "{disturbance:?}");
    }
}
