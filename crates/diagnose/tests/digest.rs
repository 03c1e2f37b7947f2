//! The rows of a digest against what the reckoning itself says.
#![allow(missing_docs, clippy::unwrap_used)]

use diagnose::digest::{Asked, Digest, Ground, InTheWay, Row, asked_of_operator, digest, needs, remedies_of_operator};
use diagnose::evidence::{Circumstances, Evidence, Moment};
use diagnose::{Diagnoser, Doubt, Followed, Standing, WRONG_ABOUT_RUNNING};
use machine::caution::{Caution, Doing};
use machine::id::RemedyId;
use machine::model::{Access, Energy, Who};
use machine::{Alternative, Choice, Source};
use std::collections::HashMap;

fn alternatives(name: &str) -> Vec<Alternative> {
    let path = format!("{}/../../demos/{name}.toml", env!("CARGO_MANIFEST_DIR"));
    let reading = machine::read(Source::new(name, std::fs::read_to_string(path).unwrap()), &[]);
    reading.resolve(&Choice::default()).alternatives
}

fn worked_out(name: &str) -> Digest {
    digest(&Diagnoser::new(alternatives(name), &Circumstances::default(), &sim::Options::default()))
}

/// The part of the pairs of two classes that exclude each other: both in one group.
fn excluded(ground: &Ground, a: usize, b: usize) -> f64 {
    let groups = |class: usize| &ground.classes[class].groups;
    let alike = |group: u32| groups(b).iter().find(|(other, _)| *other == group).map_or(0.0, |one| one.1);
    let both: f64 = groups(a).iter().map(|(group, odds)| odds * alike(*group)).sum();
    both / (ground.classes[a].odds * ground.classes[b].odds)
}

/// The weight of all rows with what is latent beside them, as the module's first page says.
fn whole(ground: &Ground) -> f64 {
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
        let together = |a: usize, b: usize| excluded(ground, a, b);
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
                Asked::Check(check) => {
                    machine.checks[check].device.map_or("", |device| &machine.devices[device].place.english)
                }
                Asked::Position(mechanism) => &machine.mechanisms[mechanism].place.english,
            };
            let on_it = place.contains("door") || place.contains("front");
            assert!((!place.contains("cabinet") || on_it) && !place.contains("behind"), "{place}");
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

/// By class, the weight of all ways to stand in which the machine does not run after one remedy, as the module's first page
/// says.
fn in_vain(ground: &Ground, remedy: RemedyId) -> (f64, Vec<f64>) {
    let fails = Doubt::default().remedy;
    let movement = ground.moves.by_remedy.iter().find(|(id, _)| *id == remedy).map_or(0, |(_, movement)| *movement);
    let by_itself: HashMap<(u16, u32, bool), bool> =
        ground.in_the_way.iter().map(|one| ((one.stage, one.behaviour, one.in_play), one.after[movement])).collect();
    let both: HashMap<(u16, bool, [u32; 2]), [bool; 3]> =
        ground.together.iter().map(|one| ((one.stage, one.as_always, one.behaviours), one.otherwise)).collect();
    let stands = |row: &Row, there: &[(usize, bool)]| -> f64 {
        let as_always = matches!(row.standing, Standing::WaitsForYou | Standing::Finished);
        let class = |at: usize| &ground.classes[there[at].0];
        let mut sum = 0.0;
        for gone in 0..1_usize << there.len() {
            let is_gone = |at: &usize| gone >> at & 1 == 1;
            let chance = |at: usize| match (class(at).remedy == Some(remedy), is_gone(&at)) {
                (true, true) => 1.0 - fails,
                (true, false) => fails,
                (false, gone) => f64::from(u8::from(!gone)),
            };
            let left: Vec<usize> = (0..there.len()).filter(|at| !is_gone(at)).collect();
            let disturbed = !as_always && (gone == 0 || left.iter().any(|at| class(*at).disturbs));
            let mut held =
                left.iter().any(|at| by_itself.get(&(row.stage, class(*at).behaviour, there[*at].1)) == Some(&true));
            if there.len() == 2 && !left.is_empty() && there.iter().all(|(_, in_play)| *in_play) {
                let mut pair = [class(0).behaviour, class(1).behaviour];
                let lower = usize::from(pair[0] > pair[1]);
                pair.sort_unstable();
                let which = if left.len() == 2 {
                    0
                } else if left[0] == lower {
                    1
                } else {
                    2
                };
                held ^= both.get(&(row.stage, as_always, pair)).is_some_and(|otherwise| otherwise[which]);
            }
            let runs = left.is_empty() || !disturbed && !held;
            let said = if runs { WRONG_ABOUT_RUNNING } else { 1.0 - WRONG_ABOUT_RUNNING };
            sum += said * (0..there.len()).map(chance).product::<f64>();
        }
        sum
    };
    let (mut total, mut classes) = (0.0, vec![0.0; ground.classes.len()]);
    for row in &ground.rows {
        let mut give = |weight: f64, there: &[(usize, bool)]| {
            let weight = weight * stands(row, there);
            total += weight;
            there.iter().for_each(|(class, _)| classes[*class] += weight);
        };
        let set: Vec<(usize, bool)> = row.set.iter().flatten().map(|class| (*class as usize, true)).collect();
        give(row.weight, &set);
        let Some(latent) = ground.signs[row.sign as usize].latent.filter(|_| set.len() < 2) else { continue };
        let own = |class: usize| {
            ground.classes[class].odds * ground.latent[latent as usize][ground.classes[class].behaviour as usize]
        };
        for a in (0..ground.classes.len()).filter(|class| own(*class) > 0.0) {
            let beside = set.first().map_or(1.0, |(first, _)| 1.0 - excluded(ground, *first, a));
            give(row.weight * own(a) * beside, &[&set[..], &[(a, false)]].concat());
            for b in (a + 1..ground.classes.len()).filter(|_| set.is_empty()) {
                give(row.weight * own(a) * own(b) * (1.0 - excluded(ground, a, b)), &[(a, false), (b, false)]);
            }
        }
    }
    (total, classes)
}

/// Somebody calls and says nothing, and puts one thing right in vain: what stands in the rows then makes the same answer as
/// following each history does.
#[test]
fn after_a_remedy_in_vain_the_rows_say_what_the_histories_say() {
    let diagnoser = Diagnoser::new(alternatives("minimal"), &Circumstances::default(), &sim::Options::default());
    let diagnoser = diagnoser.with_followed(Followed { share: 1.0 - 1e-8, most: 10_000, ..Followed::default() });
    let digest = digest(&diagnoser);
    let mut compared = 0;
    for remedy in remedies_of_operator(diagnoser.machine().unwrap()) {
        let tried = Moment { remedies: vec![remedy], runs: Some(false), ..Moment::default() };
        let evidence = Evidence { moments: vec![Moment::default(), tried], ..Evidence::default() };
        let answer = diagnoser.answer(&evidence);
        let (mut total, mut causes) = (0.0, vec![0.0; digest.causes.len()]);
        for ground in &digest.grounds {
            let (whole, classes) = in_vain(ground, remedy);
            total += ground.scale * whole;
            let classes = classes.iter().zip(&ground.classes);
            classes.for_each(|(weight, class)| causes[class.cause as usize] += ground.scale * weight);
        }
        for cause in answer.causes.iter().filter(|cause| cause.probability > 1e-4) {
            let at = digest.causes.iter().position(|row| row.members.contains(&cause.members[0].key)).unwrap();
            let told = causes[at] / total * (1.0 - answer.not_in_file);
            let gap = (told / cause.probability - 1.0).abs();
            assert!(gap < 0.03, "{}: {} by the histories, {told} by the rows", cause.words, cause.probability);
            compared += 1;
        }
    }
    assert!(compared > 100, "{compared}");
}

/// Both were passed over once, and the guide was up to 39 points off.
#[test]
fn what_is_left_is_in_the_way_though_it_disturbs_nothing_or_holds_nothing_alone() {
    let digest = worked_out("jar-filler");
    let machine = &alternatives("jar-filler")[0].machine;
    let priming = machine.routines.find(|row| row.name == "prime_hose").unwrap().0;
    let ground = digest.grounds.iter().find(|ground| ground.routine == priming).unwrap();
    let behaviour = |key: &str| {
        let class = ground.classes.iter().find(|row| machine.deviations[row.member].key == key);
        class.unwrap().behaviour
    };
    // Priming goes as always without compressed air, which is missed all the same.
    let air = behaviour("lapse/air shut");
    assert!(ground.classes.iter().filter(|class| class.behaviour == air).all(|class| !class.disturbs));
    assert!(ground.in_the_way.iter().any(|one| one.stage == 5 && one.behaviour == air && one.after[0]));
    // A supply that comes and goes was left with its contact open where the tank was low, and closed where it was not.
    let (tank, supply) = (behaviour("lapse/tank found low"), behaviour("dc24/overload"));
    let pair = [tank.min(supply), tank.max(supply)];
    let both = ground.together.iter().find(|one| one.stage == 1 && one.as_always && one.behaviours == pair).unwrap();
    let supply_left = 1 + usize::from(supply > tank);
    assert!(both.otherwise[supply_left], "{both:?}");
}
