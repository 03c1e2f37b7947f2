//! The advice followed to the end in simulated calls.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod common;

use common::small::{self, Dice};
use diagnose::evidence::Circumstances;
use diagnose::next::{Terms, ToDo};
use diagnose::trial::{Disturbance, Policy, Trial};
use diagnose::{Alternative, Diagnoser};
use machine::Machine;
use machine::model::Chance;
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
    let first = &both.figures[0];
    assert_eq!(first, &alone.figures[0]);
    assert_eq!(first.more_than_first.mean, 0.0);
    assert!(first.solved > 0.5, "{first:?}");
    let minutes: f64 = both.calls.iter().map(|call| call.courses[0].minutes).sum();
    assert!((minutes / 5.0 - first.minutes.mean).abs() < 1e-9);
}

/// Small enough for the exact optimum: machines made at random with a few deviations, where nobody asks for positions, so
/// that a few lamps, checks, acts and remedies are left.
#[test]
fn on_small_machines_the_advice_takes_hardly_longer_than_the_exact_optimum() {
    let (mut advised, mut best, mut questions, mut machines) = (0.0, 0.0, 0.0, 0);
    for seed in 1..=40 {
        let mut dice = Dice(seed);
        let mut machine = small::machine_with([3, 1, 1], &mut dice);
        small::mend(&mut machine, &mut dice);
        // So long that asking pays.
        machine.remedies.rows_mut().zip([30.0, 20.0, 25.0]).for_each(|(remedy, minutes)| remedy.minutes = minutes);
        let mut trial = Trial { calls: 12, seed, unreported: 0.2, misreading: 0.05, ..Trial::default() };
        let terms = &mut trial.terms;
        terms.left_out.extend(machine.mechanisms.ids().map(ToDo::Position));
        terms.left_out.push(ToDo::Lamps);
        terms.prices.last_resort = 300.0;
        let nature = diagnoser(machine);
        let tried = trial.run(&nature, &nature, &[Policy::Advice, Policy::Optimum], &|| ());
        let [advice, optimum] = &tried.figures[..] else { continue };
        machines += 1;
        advised += advice.minutes.mean;
        best += optimum.minutes.mean;
        questions += optimum.questions;
    }
    println!(
        "{machines} machines, {:.1} questions, {} of the optimum",
        questions / f64::from(machines),
        advised / best
    );
    assert!(machines >= 10 && questions > 0.15 * f64::from(machines), "{machines} {questions}");
    assert!(advised <= 1.05 * best, "{advised} and {best}");
}

/// The minimal machine with these lines as well in its file.
fn with_prices(prices: &str) -> Machine {
    let text = format!("{}\n[prices]\n{prices}\n", include_str!("../../../demos/minimal.toml"));
    machine::load_str("priced.toml", &text).unwrap()
}

#[test]
fn a_visit_costs_what_the_file_says() {
    let knowing = |machine: Machine| {
        let trial = Trial { calls: 40, seed: 3, terms: Terms::of(&machine), ..Trial::default() };
        let nature = diagnoser(machine);
        trial.run(&nature, &nature, &[Policy::Knowing], &|| ()).figures.remove(0)
    };
    let (usual, dear) = (knowing(minimal()), knowing(with_prices("visit = 300")));
    assert!(usual.visits > 0.1, "{usual:?}");
    assert_eq!(usual.visits, dear.visits);
    let more = dear.minutes.mean - usual.minutes.mean;
    assert!((more - (300.0 - 180.0) * usual.visits).abs() < 1e-9, "{more}");
}

#[test]
fn where_a_remedy_in_vain_is_dear_more_is_asked_and_less_is_tried() {
    let advised = |prices: &str| {
        let machine = with_prices(prices);
        let trial = Trial { calls: 40, seed: 3, terms: Terms::of(&machine), ..Trial::default() };
        let nature = diagnoser(machine);
        let tried = trial.run(&nature, &nature, &[Policy::Advice], &|| ());
        let done = tried.calls.iter().flat_map(|call| &call.courses[0].done);
        let repairs = done.filter(|(to_do, _)| matches!(to_do, ToDo::Remedy(_) | ToDo::GoOn)).count();
        (tried.figures[0].questions, repairs)
    };
    let (usual, dear) = (advised("remedy_in_vain = 0"), advised("remedy_in_vain = 120"));
    assert!(dear.0 > usual.0 && dear.1 < usual.1, "{usual:?} {dear:?}");
}

#[test]
fn the_optimum_is_left_out_where_there_is_too_much_to_ask() {
    let nature = diagnoser(minimal());
    let trial = Trial { calls: 2, seed: 5, ..Trial::default() };
    let tried = trial.run(&nature, &nature, &[Policy::Optimum, Policy::Odds], &|| ());
    assert_eq!(tried.figures.iter().map(|one| one.policy).collect::<Vec<_>>(), [Policy::Odds]);
    assert!(tried.calls.iter().all(|call| call.courses.len() == 1));
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

#[test]
fn where_nothing_is_wrong_every_way_ends_with_a_machine_that_runs() {
    let nature = diagnoser(minimal());
    let trial = Trial { calls: 25, seed: 2, ..Trial::default() };
    let tried = trial.run(&nature, &nature, &[Policy::Advice, Policy::Odds, Policy::FileOrder], &|| ());
    let fine: Vec<_> = tried.calls.iter().filter(|call| call.wrong == Some(Vec::new())).collect();
    assert!(!fine.is_empty());
    // Whoever tries a remedy and looks whether the machine runs goes on with it, and it does.
    assert!(fine.iter().all(|call| call.courses.iter().all(|course| course.solved)), "{fine:?}");
}

#[test]
fn nobody_makes_a_check_twice_who_does_not_reckon() {
    let nature = diagnoser(minimal());
    let trial = Trial { calls: 12, seed: 4, ..Trial::default() };
    let tried = trial.run(&nature, &nature, &[Policy::FileOrder, Policy::Halving], &|| ());
    for course in tried.calls.iter().flat_map(|call| &call.courses) {
        let mut checks: Vec<_> = course.done.iter().map(|(done, _)| *done).collect();
        checks.retain(|done| matches!(done, ToDo::Check(_)));
        let all = checks.len();
        checks.sort_by_key(|check| format!("{check:?}"));
        checks.dedup();
        assert_eq!(checks.len(), all, "{course:?}");
    }
}

#[test]
fn a_cause_that_the_file_does_not_know_is_not_sought_for_ever() {
    // The air has failed, and the file says that it never does. Everything speaks for its neighbours, and again after
    // each of their remedies.
    let only = |machine: &mut Machine, keeps: &dyn Fn(&str) -> bool| {
        for deviation in machine.deviations.rows_mut().filter(|deviation| !keeps(&deviation.key)) {
            deviation.rate.chance = Chance::PerMillionHours(0.0);
        }
    };
    let (mut nature, mut file) = (minimal(), minimal());
    only(&mut nature, &|key| key == "air/missing");
    only(&mut file, &|key| key != "air/missing");
    let trial = Trial { calls: 12, seed: 1, ..Trial::default() };
    let tried = trial.run(&diagnoser(nature), &diagnoser(file), &[Policy::Advice], &|| ());
    let failed = |call: &&diagnose::trial::Played| call.wrong.as_ref().is_some_and(|wrong| !wrong.is_empty());
    let courses: Vec<_> = tried.calls.iter().filter(failed).map(|call| &call.courses[0]).collect();
    assert!(!courses.is_empty());
    for course in courses {
        assert!(!course.solved && course.done.len() < 60, "{} things were done", course.done.len());
        // No more is spent on looking than half of what the last resort takes.
        assert!(course.minutes < 1.5 * 1440.0, "{course:?}");
    }
}
