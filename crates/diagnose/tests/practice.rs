//! Exercises: the machine answers as it must, and the look back tells the truth.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

use diagnose::evidence::LampState;
use diagnose::lamp_chart::{Shown, named_by, stretches};
use diagnose::panel::Panel;
use diagnose::practice::{Drill, DrillKind, Exercise, Group, Level, Mistake, Outcome};
use diagnose::{Alternative, Diagnoser};
use sim::Plant;
use std::collections::BTreeSet;

fn diagnoser(name: &str, level: Level) -> Diagnoser {
    let path = format!("{}/../../demos/{name}.toml", env!("CARGO_MANIFEST_DIR"));
    let machine = machine::load_str(name, &std::fs::read_to_string(path).unwrap()).unwrap();
    let one = Alternative { weight: 1.0, choices: Vec::new(), machine };
    Diagnoser::new(vec![one], &level.circumstances(), &sim::Options::default())
}

#[test]
fn the_cause_that_the_look_back_names_is_accepted_at_every_level() {
    for level in Level::ALL {
        let worked_out = diagnoser("minimal", level);
        for number in 1..=4 {
            let mut exercise = Exercise::new(&worked_out, level, number).expect("the capper has every level");
            let truth = exercise.clone().review();
            let keys: Vec<&str> = truth.truth_keys.iter().map(String::as_str).collect();
            let deviations = match level {
                Level::Two => 2..=2,
                Level::AsItComes => 0..=1,
                _ => 1..=1,
            };
            assert!(deviations.contains(&keys.len()), "{level:?} {number}: {keys:?}");
            if level == Level::Lapse {
                assert!(keys[0].starts_with("lapse/") || keys[0].starts_with("forgotten/"), "{keys:?}");
            }
            assert_eq!(exercise.name_cause(&keys), Ok(Outcome::Found), "{level:?} {number}: {keys:?}");
            assert_eq!(exercise.take("lamps").unwrap_err(), Mistake::Over);
            if number > 1 {
                continue;
            }
            let review = exercise.review();
            // Who knows it from the start takes the remedy's minutes and no others.
            assert_eq!(review.minutes, review.best_minutes);
            // It can run sooner only where something comes and goes and is in nobody's way just then.
            let comes_and_goes = keys.iter().any(|key| key.contains("chatters") || key.contains("loose"));
            let quicker = review.advised_minutes < review.best_minutes;
            assert!(!quicker || comes_and_goes, "{level:?} {number}: {review:?}");
        }
    }
}

#[test]
fn the_same_number_gives_the_same_exercise_and_another_gives_others() {
    let worked_out = diagnoser("minimal", Level::Fault);
    let played = |number: u64| {
        let mut exercise = Exercise::new(&worked_out, Level::Fault, number).unwrap();
        let keys: Vec<String> = exercise.offers().iter().step_by(7).map(|offer| offer.key.clone()).collect();
        for key in keys {
            _ = exercise.take(&key);
        }
        (exercise.opening(), exercise.done().to_vec())
    };
    assert_eq!(played(5), played(5));
    let openings: Vec<_> = (1..=20).map(|number| played(number).1).collect();
    assert!(openings.iter().any(|one| *one != openings[0]));
}

#[test]
fn the_right_remedy_makes_it_run_and_another_does_not() {
    let worked_out = diagnoser("minimal", Level::Fault);
    let mut ran = 0;
    for number in 1..=6 {
        let exercise = Exercise::new(&worked_out, Level::Fault, number).unwrap();
        let machine = exercise.machine();
        let truth = exercise.clone().review().truth_keys;
        let remedy = machine.deviations.find(|row| row.key == truth[0]).unwrap().1.remedy.unwrap();
        let right = format!("remedy:{}", machine.remedies[remedy].key);
        for offer in exercise.offers().iter().filter(|offer| offer.group == Group::Remedies).step_by(11) {
            let mut tried = exercise.clone();
            tried.take(&offer.key).unwrap();
            if offer.key != right {
                assert_eq!(tried.outcome(), None, "{number}: {} is not {right}", offer.key);
            }
        }
        let mut tried = exercise.clone();
        tried.take(&right).unwrap();
        // One repair in twenty fails (`Doubt::remedy`).
        ran += usize::from(tried.outcome() == Some(&Outcome::Runs));
    }
    assert!(ran >= 5, "{ran} of 6");
}

#[test]
fn looking_a_second_time_tells_nothing_new_and_the_lamp_that_matters_is_named() {
    let worked_out = diagnoser("minimal", Level::Lapse);
    let all = (1..=8).map(|number| Exercise::new(&worked_out, Level::Lapse, number).unwrap());
    let mut exercise = all.into_iter().find(|one| one.hidden() == ["lapse/cap in_chuck"]).unwrap();
    exercise.take("lamps").unwrap();
    let first = exercise.minutes();
    assert!(first > 0.0);
    exercise.take("lamp:I3").unwrap();
    let review = exercise.review();
    assert_eq!(review.told_nothing.iter().map(|one| one.step).collect::<Vec<_>>(), [1]);
    // The cap was not put in: I3 is its sensor.
    assert_eq!(review.truth_keys.len(), 1);
    assert!(review.lamps[0].lamp.starts_with("I3") && review.lamps[0].bits > 1.0, "{review:?}");
    assert_eq!(review.lamps[0].expected, Some(true));
    assert_eq!(review.outcome, Outcome::GivenUp);
}

#[test]
fn what_is_not_there_is_refused() {
    let worked_out = diagnoser("minimal", Level::Lapse);
    let mut exercise = Exercise::new(&worked_out, Level::Lapse, 1).unwrap();
    assert_eq!(exercise.take("check:nothing/like-it").unwrap_err(), Mistake::NoSuchThing);
    assert_eq!(exercise.name_cause(&["nothing/like-it"]), Err(Mistake::NoSuchCause));
    assert_eq!((exercise.minutes(), exercise.outcome()), (0.0, None));
    let mut other = exercise.clone();
    assert_eq!(exercise.name_cause(&[]), Ok(Outcome::Mistaken));
    // Who is mistaken has spent the minutes of what he has named, not of what would have been right.
    assert_eq!(other.name_cause(&["I8/dead"]), Ok(Outcome::Mistaken));
    let machine = other.machine();
    let replaced = machine.remedies.rows().find(|row| row.key == "I8/replace").unwrap();
    assert_eq!(other.minutes(), replaced.minutes + machine.prices.trial_run);
    assert!(exercise.minutes() < other.minutes());
}

#[test]
fn drills_one_after_the_other_show_each_picture_once_before_any_comes_again() {
    let worked_out = diagnoser("jar-filler", Level::ALL[0]);
    let shown = |number| {
        let drill = Drill::new(&worked_out, DrillKind::Step, number).unwrap();
        (format!("{:?}", drill.lamps), drill.step)
    };
    let all: Vec<_> = (0..60).map(shown).collect();
    let pictures: BTreeSet<&String> = all.iter().map(|(lamps, _)| lamps).collect();
    for round in all.chunks_exact(pictures.len()) {
        let of_round: BTreeSet<&String> = round.iter().map(|(lamps, _)| lamps).collect();
        assert_eq!(of_round, pictures);
    }
    assert!(pictures.len() > 7 && all.windows(2).all(|two| two[0].0 != two[1].0), "{}", pictures.len());
}

#[test]
fn no_cause_comes_again_before_others_have_and_the_same_number_is_the_same() {
    for (level, fewest) in [(Level::Lapse, 4), (Level::Fault, 12), (Level::Two, 12)] {
        let worked_out = diagnoser("minimal", level);
        let hidden = |number| Exercise::new(&worked_out, level, number).unwrap().hidden();
        let all: Vec<Vec<String>> = (0..12).map(hidden).collect();
        let different: BTreeSet<&Vec<String>> = all.iter().collect();
        assert!(different.len() >= fewest, "{level:?}: {all:?}");
        assert!(all.windows(2).all(|two| two[0] != two[1]), "{level:?}: {all:?}");
        // A round ends where all have come, and the next one begins.
        assert!(all[..different.len()].iter().collect::<BTreeSet<_>>().len() == different.len(), "{all:?}");
        assert_eq!(hidden(7), all[7]);
    }
}

#[test]
fn what_can_move_is_known_before_it_is_done_and_includes_what_then_moves() {
    let worked_out = diagnoser("minimal", Level::AsItComes);
    let mut announced = 0;
    for number in 1..=6 {
        let exercise = Exercise::new(&worked_out, Level::AsItComes, number).unwrap();
        assert!(exercise.can_move("lamps").is_empty() && exercise.can_move("do:nothing").is_empty());
        for offer in exercise.offers().iter().filter(|offer| offer.group == Group::Hands) {
            let can_move = exercise.can_move(&offer.key);
            assert!(can_move.iter().all(|one| one.probability > 0.0 && !one.words.is_empty()), "{}", offer.key);
            announced += usize::from(!can_move.is_empty());
        }
    }
    assert!(announced > 3, "{announced}");
}

/// The chart of steps and lamps is made by playing the routine, the drills from what was kept of exploring it.
#[test]
fn drills_agree_with_the_chart_of_steps_and_lamps() {
    let worked_out = diagnoser("jar-filler", Level::Lapse);
    let machine = worked_out.machine().unwrap();
    let (plant, panel) = (Plant::new(machine), Panel::new(machine));
    let rows: Vec<_> = machine
        .routines
        .ids()
        .flat_map(|routine| {
            let played = sim::play(machine, &plant, routine, &[], sim::Limits::default(), None);
            stretches(machine, &plant, &panel, &[], &played)
        })
        .collect();
    for number in 1..=25 {
        let drill = Drill::new(&worked_out, DrillKind::Step, number).unwrap();
        assert_eq!(Some(&drill), Drill::new(&worked_out, DrillKind::Step, number).as_ref());
        assert!(!drill.right.is_empty() && drill.right.len() < drill.choices.len(), "{drill:?}");
        let agrees = rows.iter().any(|row| {
            let named = named_by(machine, row).iter().any(|step| machine.step_name(*step) == drill.step);
            let mut lamps = row.lamps.iter().zip(&drill.lamps);
            named
                && lamps.all(|(shown, state)| match shown {
                    Shown::Lit => *state == LampState::Lit,
                    Shown::Dark => *state == LampState::Dark,
                    Shown::Changes => true,
                })
        });
        assert!(agrees, "{drill:?}");
        assert!(drill.right.iter().any(|right| drill.choices[*right].starts_with(&drill.step)), "{drill:?}");
    }
}

#[test]
fn what_a_step_waits_for_is_among_the_answers() {
    let worked_out = diagnoser("minimal", Level::Lapse);
    for number in 1..=20 {
        let drill = Drill::new(&worked_out, DrillKind::WaitsFor, number).unwrap();
        let machine = worked_out.machine().unwrap();
        let step = machine.steps.ids().find(|id| machine.step_name(*id) == drill.step).unwrap();
        let waits: Vec<String> = diagnose::lamp_chart::ways(machine, step).map(|way| way.words(machine)).collect();
        assert!(drill.right.iter().any(|right| waits.iter().any(|words| drill.choices[*right].contains(words))));
    }
}
