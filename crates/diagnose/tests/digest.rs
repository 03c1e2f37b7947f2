//! The rows of a digest against what the reckoning itself says.
#![allow(missing_docs, clippy::unwrap_used)]

use diagnose::Diagnoser;
use diagnose::digest::{Asked, Digest, Ground, InTheWay, asked_of_operator, digest, needs, remedies_of_operator};
use diagnose::evidence::Circumstances;
use machine::caution::{Caution, Doing};
use machine::model::{Access, Energy, Who};
use machine::{Alternative, Choice, Source};

fn alternatives(name: &str) -> Vec<Alternative> {
    let path = format!("{}/../../demos/{name}.toml", env!("CARGO_MANIFEST_DIR"));
    let reading = machine::read(Source::new(name, std::fs::read_to_string(path).unwrap()), &[]);
    reading.resolve(&Choice::default()).alternatives
}

fn worked_out(name: &str) -> Digest {
    digest(&Diagnoser::new(alternatives(name), &Circumstances::default(), &sim::Options::default()))
}

/// The weight of all rows with what is latent beside them, as the module's first page says.
fn whole(ground: &Ground) -> f64 {
    let group_shares = |class: usize| &ground.classes[class].groups;
    let mut sum = 0.0;
    for row in &ground.rows {
        let sign = ground.signs[row.sign as usize];
        let Some(latent) = sign.latent.filter(|_| row.set[1].is_none()) else {
            sum += row.weight;
            continue;
        };
        let shares = &ground.latent[latent as usize];
        let own: Vec<f64> = ground.classes.iter().map(|class| class.odds * shares[class.behaviour as usize]).collect();
        let all: f64 = own.iter().sum();
        // The weight of the pairs that exclude each other: both in one group.
        let together = |a: usize, b: usize| -> f64 {
            let alike = |group: u32| group_shares(b).iter().find(|(other, _)| *other == group).map_or(0.0, |one| one.1);
            let both: f64 = group_shares(a).iter().map(|(group, odds)| odds * alike(*group)).sum();
            both / (ground.classes[a].odds * ground.classes[b].odds)
        };
        let classes = 0..own.len();
        sum += row.weight
            * match row.set[0] {
                Some(first) => {
                    1.0 + all - classes.map(|other| own[other] * together(first as usize, other)).sum::<f64>()
                }
                None => {
                    let excluded: f64 = classes
                        .clone()
                        .flat_map(|a| classes.clone().map(move |b| (a, b)))
                        .map(|(a, b)| own[a] * own[b] * together(a, b))
                        .sum();
                    1.0 + all + (all * all - excluded) / 2.0
                }
            };
    }
    sum
}

#[test]
fn before_any_report_the_rows_weigh_as_much_as_all_calls() {
    for ground in worked_out("minimal").grounds {
        let part = whole(&ground) / ground.listed;
        assert!((part - 1.0).abs() < 1e-4, "{part}");
    }
}

#[test]
fn little_is_set_aside_and_every_number_points_at_something() {
    let digest = worked_out("parts-washer");
    assert!(digest.left_out < 1e-4 && digest.grounds.len() == 2, "{}", digest.left_out);
    for ground in &digest.grounds {
        for row in &ground.rows {
            let sign = ground.signs[row.sign as usize];
            assert!((sign.look as usize) < ground.looks.len() && usize::from(row.stage) <= ground.actions);
            let vector = &ground.vectors[sign.vector as usize];
            for (question, shares) in vector.iter().enumerate() {
                let shares = &ground.shares[question][usize::from(*shares)];
                assert_eq!(shares.len(), ground.answers_here[question]);
                assert!(shares.is_empty() || (shares.iter().sum::<f64>() - 1.0).abs() < 0.01, "{shares:?}");
            }
            row.set.iter().flatten().for_each(|class| {
                assert!((ground.classes[*class as usize].cause as usize) < digest.causes.len());
            });
        }
        for (class, change) in ground.change_lists.iter().flatten() {
            assert!((*class as usize) < ground.classes.len() && (*change as usize) < ground.changes.len());
        }
    }
}

#[test]
fn an_operator_is_asked_nothing_that_is_opened_live_or_behind_a_guard() {
    for name in ["minimal", "jar-filler", "parts-washer", "lidding-line"] {
        let machine = &alternatives(name)[0].machine;
        let asked = asked_of_operator(machine);
        assert!(!asked.is_empty());
        for one in asked {
            let place = match one {
                Asked::Check(check) => machine.checks[check].device.map_or("", |device| &machine.devices[device].place),
                Asked::Position(mechanism) => &machine.mechanisms[mechanism].place,
            };
            assert!(!place.contains("cabinet") && !place.contains("behind"), "{place}");
            let Asked::Check(check) = one else { continue };
            let row = &machine.checks[check];
            let doing = Doing::of_check(machine, row);
            assert_eq!(
                (row.who, doing.who(), row.access),
                (Who::Operator, Who::Operator, Access::Outside),
                "{}",
                row.key
            );
            assert!(!matches!(row.energy, Energy::Live | Energy::Pressure), "{}", row.key);
            let cautions = doing.cautions();
            let never = [Caution::Live, Caution::Pressure, Caution::Cabinet, Caution::BehindGuard, Caution::Swap];
            assert!(never.iter().all(|caution| !cautions.contains(caution)), "{}: {cautions:?}", row.key);
        }
        for remedy in remedies_of_operator(machine) {
            let row = &machine.remedies[remedy];
            assert_eq!(
                (Doing::of_remedy(machine, row).who(), row.access),
                (Who::Operator, Access::Outside),
                "{}",
                row.key
            );
        }
    }
}

#[test]
fn what_the_start_needs_names_its_lamps() {
    let machine = &alternatives("minimal")[0].machine;
    let start = machine.transitions.iter().find(|(_, row)| row.start).unwrap().0;
    let needs = needs(machine, start);
    let guard = needs.iter().find(|need| need.lamp.as_deref() == Some("I1")).unwrap();
    assert!(!guard.by_hand && guard.part == diagnose::digest::Part::Lit(0));
    assert!(needs.iter().any(|need| need.by_hand));
}

/// What is in the way after one stage, by whether it is in play and by the key of a deviation, with the moves after which.
fn in_the_way(digest: &Digest, stage: u16, in_play: bool, key: &str) -> Option<Vec<bool>> {
    let ground = &digest.grounds[0];
    let cause = digest.causes.iter().position(|cause| cause.members.iter().any(|member| member == key)).unwrap();
    let class = ground.classes.iter().find(|class| class.cause as usize == cause).unwrap();
    let mut found = ground.in_the_way.iter();
    let is_it = |one: &&InTheWay| one.stage == stage && one.in_play == in_play && one.behaviour == class.behaviour;
    found.find(is_it).map(|one| one.after.clone())
}

#[test]
fn what_a_hand_brings_into_play_is_in_the_way_after_it() {
    let digest = worked_out("minimal");
    let machine = &alternatives("minimal")[0].machine;
    let ground = &digest.grounds[0];
    // After power-on nobody has put a jar in, so that a dead sensor for it holds nothing otherwise until somebody does.
    let jar = machine.remedies.find(|row| row.key == "lapse/jar in_nest/make-good").unwrap().0;
    let guard = machine.remedies.find(|row| row.key == "lapse/guard shut/make-good").unwrap().0;
    let moved = |remedy| ground.moves.by_remedy.iter().find(|(id, _)| *id == remedy).unwrap().1;
    let after = in_the_way(&digest, 0, false, "I2/dead").unwrap();
    assert!(!after[0] && after[moved(jar)] && !after[moved(guard)], "{after:?}");
    // The moves of remedies are those of the routine that were left out.
    assert!(ground.moves.by_action.contains(&moved(jar)));
    assert!(ground.classes.iter().any(|class| class.disturbs) && ground.classes.iter().any(|class| !class.disturbs));
}
