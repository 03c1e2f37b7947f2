//! From a machine and what is believed about it to the bare problem: cases, tests, repairs.

use super::advice::deviation_words;
use super::problem::{Needs, Problem, Repair, Test};
use super::todo::{Terms, ToDo};
use crate::diagnoser::{Diagnoser, Weighed};
use crate::evidence::{Deed, Evidence, LampPlace, LampState, Moment};
use crate::hypothesis::Hypothesis;
use crate::likelihood::lamp_likelihood;
use crate::panel::LampTruth;
use crate::renamed::{same_check, same_remedy};
use crate::seen::reported;
use crate::world::World;
use machine::Machine;
use machine::caution::Doing;
use machine::id::{CheckId, DeviationId, RemedyId};
use machine::model::{DeviationKind, HandMove, MechanismClass, Observable, Who};
use rayon::prelude::*;
use rustc_hash::{FxHashMap, FxHasher};
use sim::View;
use smallvec::SmallVec;
use std::hash::Hasher;

/// Hypotheses that are followed at most, for each routine.
const MOST_HYPOTHESES: usize = 3_000;

/// A device is worth a check if this much of the weight says that something is wrong with it.
const WORTH_A_CHECK: f64 = 1e-3;

/// Hypotheses whose machines are worked on in the simulation, to foretell what an act brings.
const MOST_FORETOLD: usize = 60;

/// What an act can bring that is told apart.
const MOST_OUTCOMES: usize = 6;

/// Error of a reading of all lamps, one lamp, a position.
const READING_ERROR: f64 = 0.1;

/// Minutes of looking at one lamp, at all, at a mechanism, of working the machine. Common practice, no source.
pub(crate) const LAMP_MINUTES: f64 = 0.3;
pub(crate) const LAMPS_MINUTES: f64 = 1.5;
pub(crate) const POSITION_MINUTES: f64 = 0.5;
/// Working the machine destroys what could be seen before; the lamps have to be read again.
pub(crate) const ACT_MINUTES: f64 = 2.0;
const GO_ON_MINUTES: f64 = 1.0;

/// Something that tells cases apart, with the words of its answers.
#[derive(Clone, Debug)]
pub(crate) struct Asked {
    pub to_do: ToDo,
    pub who: Who,
    pub minutes: f64,
    /// Key and words of each answer.
    pub answers: Vec<(String, String)>,
}

/// The bare problem of a call, and what its numbers stand for.
#[derive(Debug)]
pub(crate) struct Posed {
    pub problem: Problem,
    pub asked: Vec<Asked>,
    pub repairs: Vec<(ToDo, Who, f64)>,
    pub hypotheses: Vec<Hypothesis>,
    /// By hypothesis, its case; the case after all of them is the cause that is not in the file.
    pub case_of: Vec<usize>,
    /// The weight of everything, the unknown cause included.
    pub total: f64,
    /// What can be wrong, in words, and what of it each hypothesis says.
    pub causes: Vec<String>,
    pub causes_of: Vec<SmallVec<[u32; 2]>>,
}

/// Poses the problem: what can be the case, what tells it apart, what puts it right.
pub(crate) fn pose(diagnoser: &Diagnoser, evidence: &Evidence, weighed: &Weighed, terms: &Terms) -> Option<Posed> {
    let worlds = diagnoser.worlds();
    let first = worlds.first()?;
    let machine = &first.machine;
    let (hypotheses, unknown) = diagnoser.hypotheses_of(evidence, weighed, terms.share, MOST_HYPOTHESES);
    let known: f64 = hypotheses.iter().map(|one| one.weight).sum();
    let total = known + unknown;
    let silent = Moment::default();
    let now = evidence.moments.last().unwrap_or(&silent);

    let mut asked = Vec::new();
    let mut rows: Vec<Vec<f64>> = Vec::new();
    let mut put = |one: Asked, row: Vec<f64>| {
        if !terms.left_out.contains(&one.to_do) && tells_apart(&row, one.answers.len()) {
            asked.push(one);
            rows.push(row);
        }
    };
    for check in worth_asking(machine, &hypotheses, worlds, total, now) {
        let it = &machine.checks[check];
        let who = it.who.max(Doing::of_check(machine, it).who());
        let answers = it.answers.iter().map(|answer| (answer.key.clone(), answer.words.english.clone())).collect();
        let one = Asked { to_do: ToDo::Check(check), who, minutes: it.minutes, answers };
        put(one, check_row(worlds, &hypotheses, check));
    }
    let truths: Vec<LampTruth> = hypotheses.par_iter().map(|one| one.lamps(worlds)).collect();
    let there: Vec<Vec<Option<usize>>> = worlds.iter().map(|world| lamps_there(first, world)).collect();
    let unread: Vec<LampPlace> = LampPlace::all(machine)
        .map(|(place, _)| place)
        .filter(|place| now.lamps.iter().all(|lamp| lamp.place != *place))
        .collect();
    for place in &unread {
        let Some(lamp) = first.panel.number(*place) else { continue };
        let error = diagnoser.doubt().lamps.named;
        let states = [LampState::Lit, LampState::Dark, LampState::Flickers];
        let row = (hypotheses.par_iter().zip(&truths))
            .flat_map_iter(|(one, truth)| match there[one.world][lamp] {
                Some(lamp) => states.map(|state| lamp_likelihood(state, truth.of(lamp), error)),
                None => [1.0 / 3.0; 3],
            })
            .collect();
        let answers = [("lit", "lit"), ("dark", "dark"), ("flickers", "goes on and off")];
        let answers = answers.map(|(key, words)| (key.to_owned(), words.to_owned())).to_vec();
        put(Asked { to_do: ToDo::Lamp(*place), who: Who::Operator, minutes: LAMP_MINUTES, answers }, row);
    }
    if unread.len() > 2 {
        let lamps: Vec<usize> = unread.iter().filter_map(|place| first.panel.number(*place)).collect();
        let seen: Vec<Vec<LampState>> = (hypotheses.iter().zip(&truths))
            .map(|(one, truth)| {
                let shown = |lamp: &usize| there[one.world][*lamp].map_or(LampState::Dark, |lamp| truth.state(lamp));
                lamps.iter().map(shown).collect()
            })
            .collect();
        let weights: Vec<f64> = hypotheses.iter().map(|one| one.weight).collect();
        let (row, patterns) = outcomes(&seen, &weights, 24);
        let answers = patterns
            .iter()
            .map(|pattern| {
                let in_state = |wanted: LampState| -> Vec<&str> {
                    let those = lamps.iter().zip(pattern).filter(|(_, state)| **state == wanted);
                    those.map(|(lamp, _)| first.panel.label(*lamp)).collect()
                };
                lamps_read(&in_state(LampState::Lit), &in_state(LampState::Flickers))
            })
            .chain(std::iter::once(("other".to_owned(), "something else".to_owned())))
            .collect();
        put(Asked { to_do: ToDo::Lamps, who: Who::Operator, minutes: LAMPS_MINUTES, answers }, row);
    }
    for (mechanism, it) in machine.mechanisms.iter() {
        // A button is where the hand has left it.
        if it.class == MechanismClass::Button || now.positions.iter().any(|report| report.mechanism == mechanism) {
            continue;
        }
        let answers: Vec<(String, String)> = (it.positions.iter())
            .map(|position| (position.clone(), position.replace('_', " ")))
            .chain(std::iter::once(("between".to_owned(), "in between".to_owned())))
            .collect();
        let error = diagnoser.doubt().position;
        let row = hypotheses
            .par_iter()
            .flat_map_iter(|one| {
                let world = &worlds[one.world];
                let shares = match world.machine.mechanisms.find(|there| there.name == it.name) {
                    Some((there, _)) => view(world, one, worlds).answers(&Observable::Position(there)),
                    None => Vec::new(),
                };
                let shares = if shares.len() == answers.len() { shares } else { even(answers.len()) };
                (0..shares.len()).map(|said| reported(&shares, said, error)).collect::<Vec<_>>()
            })
            .collect();
        put(Asked { to_do: ToDo::Position(mechanism), who: Who::Operator, minutes: POSITION_MINUTES, answers }, row);
    }
    for deed in acts(first, &hypotheses, worlds) {
        if terms.left_out.contains(&ToDo::Act(deed)) {
            continue;
        }
        let (row, answers) = foretold(worlds, &hypotheses, &truths, &there, deed);
        // Whatever is the case, the same follows: it tells nothing, and takes away what can be seen now.
        if answers.len() <= 2 {
            continue;
        }
        put(Asked { to_do: ToDo::Act(deed), who: Who::Operator, minutes: ACT_MINUTES, answers }, row);
    }
    Some(merged(worlds, terms, diagnoser, hypotheses, asked, rows, (total, unknown)))
}

/// Key and words of a reading of lamps; all others are dark. The key is what could be typed instead, without the rest.
fn lamps_read(lit: &[&str], flickering: &[&str]) -> (String, String) {
    let mut keys = Vec::new();
    let mut words = Vec::new();
    if !lit.is_empty() {
        keys.push(format!("{} on", lit.join(" ")));
        words.push(format!("{} lit", lit.join(", ")));
    }
    if !flickering.is_empty() {
        keys.push(format!("{} flickers", flickering.join(" ")));
        words.push(format!("{} on and off", flickering.join(", ")));
    }
    match keys.as_slice() {
        [] => ("all off".to_owned(), "all dark".to_owned()),
        _ => (keys.join(", "), words.join("; ")),
    }
}

/// Puts together the hypotheses that no test tells apart and that need the same.
fn merged(
    worlds: &[World],
    terms: &Terms,
    diagnoser: &Diagnoser,
    hypotheses: Vec<Hypothesis>,
    asked: Vec<Asked>,
    rows: Vec<Vec<f64>>,
    (total, unknown): (f64, f64),
) -> Posed {
    let machine = &worlds[0].machine;
    let mut repairs: Vec<(ToDo, Who, f64)> = Vec::new();
    let mut known: FxHashMap<RemedyId, u16> = FxHashMap::default();
    let mut go_on = None;
    let mut problem =
        Problem { visit: terms.visit_minutes, last_resort: terms.last_resort_minutes, ..Problem::default() };
    // Cases that answer alike are found by a fingerprint of their answers, and then compared.
    let answers_of = |number| answers_of(&rows, &asked, number);
    let fingerprints: Vec<u64> = (0..hypotheses.len())
        .into_par_iter()
        .map(|number| {
            let mut hasher = FxHasher::default();
            answers_of(number).for_each(|share| hasher.write_u64(share.to_bits()));
            hasher.finish()
        })
        .collect();
    let mut index: FxHashMap<(Needs, u64), SmallVec<[usize; 1]>> = FxHashMap::default();
    let mut cases: Vec<usize> = Vec::new();
    let mut case_of = Vec::with_capacity(hypotheses.len());
    for (number, one) in hypotheses.iter().enumerate() {
        let world = &worlds[one.world];
        let mut needs = Needs::new();
        if one.deviations.is_empty() {
            let repair = *go_on.get_or_insert_with(|| {
                repairs.push((ToDo::GoOn, Who::Operator, GO_ON_MINUTES));
                repairs.len() as u16 - 1
            });
            needs.push(SmallVec::from_slice(&[repair]));
        }
        for deviation in &one.deviations {
            let remedy = world.machine.deviations[*deviation].remedy;
            let remedy = remedy.and_then(|remedy| same_remedy(&world.machine, remedy, machine));
            let mut need = SmallVec::new();
            if let Some(remedy) = remedy {
                need.push(*known.entry(remedy).or_insert_with(|| {
                    let it = &machine.remedies[remedy];
                    let mut who = it.who.max(Doing::of_remedy(machine, it).who());
                    if terms.left_out.contains(&ToDo::Remedy(remedy)) {
                        // Who is there can't; whoever comes can.
                        who = who.max(above(terms.caller));
                    }
                    repairs.push((ToDo::Remedy(remedy), who, it.minutes));
                    repairs.len() as u16 - 1
                }));
            }
            if !needs.contains(&need) {
                needs.push(need);
            }
        }
        let alike = index.entry((needs.clone(), fingerprints[number])).or_default();
        let known = alike.iter().copied().find(|case| answers_of(cases[*case]).eq(answers_of(number)));
        let case = known.unwrap_or_else(|| {
            problem.weights.push(0.0);
            problem.needs.push(needs);
            cases.push(number);
            alike.push(cases.len() - 1);
            cases.len() - 1
        });
        problem.weights[case] += one.weight / total;
        case_of.push(case);
    }
    // Whatever is not in the file answers anything, and only the last resort helps.
    problem.weights.push(unknown / total);
    problem.needs.push(SmallVec::from_elem(SmallVec::new(), 1));
    problem.tests = asked
        .iter()
        .zip(&rows)
        .map(|(one, row)| {
            let answers = one.answers.len();
            let likelihood = (cases.iter())
                .flat_map(|number| row[number * answers..(number + 1) * answers].iter().copied())
                .chain(even(answers))
                .collect();
            Test { minutes: one.minutes, on_site: one.who > terms.caller, answers, likelihood }
        })
        .collect();
    problem.repairs = repairs
        .iter()
        .map(|(to_do, who, minutes)| Repair {
            minutes: minutes + terms.trial_minutes,
            on_site: *who > terms.caller,
            fails: if *to_do == ToDo::GoOn { 0.0 } else { diagnoser.doubt().remedy },
        })
        .collect();
    let (causes, causes_of) = causes(worlds, &hypotheses);
    Posed { problem, asked, repairs, hypotheses, case_of, total, causes, causes_of }
}

/// The probability of every answer to everything that is asked, under one hypothesis.
fn answers_of<'r>(rows: &'r [Vec<f64>], asked: &'r [Asked], number: usize) -> impl Iterator<Item = f64> + 'r {
    rows.iter().zip(asked).flat_map(move |(row, one)| {
        let count = one.answers.len();
        row[number * count..(number + 1) * count].iter().copied()
    })
}

/// What can be wrong, each in words once, and what of it each hypothesis says.
fn causes(worlds: &[World], hypotheses: &[Hypothesis]) -> (Vec<String>, Vec<SmallVec<[u32; 2]>>) {
    let mut causes: Vec<String> = Vec::new();
    // Deviations of the same words can't be told apart by whoever reads them.
    let mut by_words: FxHashMap<String, u32> = FxHashMap::default();
    let mut number = |words: String| {
        *by_words.entry(words).or_insert_with_key(|words| {
            causes.push(words.clone());
            causes.len() as u32 - 1
        })
    };
    let mut known: FxHashMap<(usize, DeviationId), u32> = FxHashMap::default();
    let mut causes_of = Vec::with_capacity(hypotheses.len());
    for one in hypotheses {
        let machine = &worlds[one.world].machine;
        let mut of = |deviation: &DeviationId| {
            *known.entry((one.world, *deviation)).or_insert_with(|| number(deviation_words(machine, *deviation)))
        };
        let mut said: SmallVec<[u32; 2]> = one.deviations.iter().map(&mut of).collect();
        if one.deviations.is_empty() {
            said.push(number("nothing is wrong".to_owned()));
        }
        causes_of.push(said);
    }
    (causes, causes_of)
}

/// By lamp of the first alternative, the lamp of the same label in another.
pub(crate) fn lamps_there(first: &World, world: &World) -> Vec<Option<usize>> {
    (0..first.panel.len())
        .map(|lamp| {
            let label = first.panel.label(lamp);
            let same = |there: &usize| world.panel.label(*there) == label;
            Some(lamp).filter(|there| *there < world.panel.len() && same(there)).or((0..world.panel.len()).find(same))
        })
        .collect()
}

/// Who can do what this one can't; nobody can do more than an electrician.
fn above(caller: Who) -> Who {
    if caller == Who::Operator { Who::Technician } else { Who::Electrician }
}

fn even(answers: usize) -> Vec<f64> {
    vec![1.0 / answers.max(1) as f64; answers]
}

/// Whether two cases answer differently.
fn tells_apart(row: &[f64], answers: usize) -> bool {
    answers > 1
        && (0..answers).any(|answer| {
            let mut shares = row.iter().skip(answer).step_by(answers);
            let first = shares.next().copied().unwrap_or(0.0);
            shares.any(|share| (share - first).abs() > 1e-9)
        })
}

/// The checks of devices that may be at fault, not yet answered as things stand, and not forbidden.
fn worth_asking(
    machine: &Machine,
    hypotheses: &[Hypothesis],
    worlds: &[World],
    total: f64,
    now: &Moment,
) -> Vec<CheckId> {
    let mut suspected: FxHashMap<&str, f64> = FxHashMap::default();
    for one in hypotheses {
        let there = &worlds[one.world].machine;
        for deviation in &one.deviations {
            if let DeviationKind::Fault(device) = there.deviations[*deviation].kind {
                *suspected.entry(there.devices[device].name.as_str()).or_insert(0.0) += one.weight / total;
            }
        }
    }
    machine
        .checks
        .iter()
        .filter(|(id, check)| {
            let suspect = check.device.is_none_or(|device| {
                suspected.get(machine.devices[device].name.as_str()).is_some_and(|weight| *weight >= WORTH_A_CHECK)
            });
            suspect
                && now.checks.iter().all(|report| report.check != *id)
                && Doing::of_check(machine, check).forbidden().is_empty()
        })
        .map(|(id, _)| id)
        .collect()
}

fn view<'v>(world: &'v World, one: &'v Hypothesis, worlds: &'v [World]) -> View<'v> {
    View::new(&world.machine, &world.plant, one.situation(worlds), &one.deviations)
}

fn check_row(worlds: &[World], hypotheses: &[Hypothesis], check: CheckId) -> Vec<f64> {
    let it = &worlds[0].machine.checks[check];
    let same: Vec<Option<&Observable>> = worlds
        .iter()
        .map(|world| {
            let there = same_check(&worlds[0].machine, check, &world.machine).map(|check| &world.machine.checks[check]);
            there.filter(|there| there.answers.len() == it.answers.len()).map(|there| &there.observes)
        })
        .collect();
    hypotheses
        .par_iter()
        .flat_map_iter(|one| {
            let shares = same[one.world].map(|observable| view(&worlds[one.world], one, worlds).answers(observable));
            match shares {
                Some(shares) => (0..it.answers.len()).map(|said| reported(&shares, said, it.error)).collect(),
                None => even(it.answers.len()),
            }
        })
        .collect()
}

/// Sorts what is seen into the heaviest outcomes and one for all others; the probability of each, by
/// hypothesis, with some error.
fn outcomes<T: Clone + Eq + std::hash::Hash>(seen: &[T], weights: &[f64], most: usize) -> (Vec<f64>, Vec<T>) {
    let mut sums: FxHashMap<&T, (f64, usize)> = FxHashMap::default();
    for (index, (one, weight)) in seen.iter().zip(weights).enumerate() {
        sums.entry(one).or_insert((0.0, index)).0 += weight;
    }
    let mut sorted: Vec<(&T, f64, usize)> =
        sums.into_iter().map(|(one, (weight, index))| (one, weight, index)).collect();
    sorted.sort_by(|a, b| b.1.total_cmp(&a.1).then(a.2.cmp(&b.2)));
    sorted.truncate(most);
    let place: FxHashMap<&T, usize> = sorted.iter().enumerate().map(|(place, (one, ..))| (*one, place)).collect();
    let answers = sorted.len() + 1;
    let row =
        seen.iter()
            .flat_map(|one| {
                let right = place.get(one).copied().unwrap_or(sorted.len());
                (0..answers).map(move |answer| {
                    if answer == right { 1.0 - READING_ERROR } else { READING_ERROR / (answers - 1) as f64 }
                })
            })
            .collect();
    (row, sorted.into_iter().map(|(one, ..)| one.clone()).collect())
}

/// Ways to work the machine that are worth trying: the last action once more, the next one, the buttons
/// that the routines know, and power off and on.
fn acts(first: &World, hypotheses: &[Hypothesis], worlds: &[World]) -> Vec<Deed> {
    let machine = &first.machine;
    let Some(leading) = hypotheses.first() else { return Vec::new() };
    let routine = worlds[leading.world].routines[leading.routine].routine;
    let Some(routine) = machine.routines.get(routine) else { return Vec::new() };
    let stage = usize::from(leading.stage);
    let mut deeds = Vec::new();
    let mut moves: Vec<HandMove> = Vec::new();
    for index in [stage.checked_sub(1), Some(stage)].into_iter().flatten() {
        if let Some(action) = routine.actions.get(index) {
            deeds.push(Deed::Routine(Some(index)));
            moves.push(action.movement);
        }
    }
    for action in machine.routines.rows().flat_map(|routine| &routine.actions) {
        if let HandMove::Press(mechanism, _) = action.movement {
            let known = moves.iter().any(|known| matches!(known, HandMove::Press(which, _) if *which == mechanism));
            if !known && deeds.len() < 4 {
                deeds.push(Deed::Extra(action.movement));
                moves.push(action.movement);
            }
        }
    }
    deeds.push(Deed::Extra(HandMove::PowerCycle));
    deeds
}

/// What the hand does for a deed in a world's routine.
pub(crate) fn movement_of(world: &World, routine: usize, deed: Deed) -> Option<HandMove> {
    match deed {
        Deed::Routine(index) => {
            let actions = &world.machine.routines[world.routines[routine].routine].actions;
            actions.get(index?).map(|action| action.movement)
        }
        Deed::Extra(movement) => Some(movement),
    }
}

/// What the lamps show after a deed, foretold by simulation for the leading hypotheses.
fn foretold(
    worlds: &[World],
    hypotheses: &[Hypothesis],
    before: &[LampTruth],
    there: &[Vec<Option<usize>>],
    deed: Deed,
) -> (Vec<f64>, Vec<(String, String)>) {
    let panel = &worlds[0].panel;
    let count = hypotheses.len().min(MOST_FORETOLD);
    let seen: Vec<Option<Vec<(usize, LampState)>>> = hypotheses[..count]
        .par_iter()
        .zip(&before[..count])
        .map(|(one, before)| {
            let world = &worlds[one.world];
            let movement = movement_of(world, one.routine, deed)?;
            let (stood, latent) = one.stood(worlds)?;
            let after = world.routines[one.routine].go_on(world, stood, &latent, &[], &movement.into());
            let (_, stood) = after.iter().max_by(|a, b| a.0.total_cmp(&b.0))?;
            let truth = world.panel.truth(&world.plant, &stood.0);
            let same = there[one.world].iter().enumerate().filter_map(|(lamp, there)| Some((lamp, (*there)?)));
            let changed = same.filter(|(_, there)| before.state(*there) != truth.state(*there));
            Some(changed.map(|(lamp, there)| (lamp, truth.state(there))).collect())
        })
        .collect();
    let weights: Vec<f64> = hypotheses[..count].iter().map(|one| one.weight).collect();
    let (mut row, patterns) = outcomes(&seen, &weights, MOST_OUTCOMES);
    let answers = patterns
        .iter()
        .map(|pattern| {
            let words: Vec<String> = (pattern.iter().flatten())
                .map(|(lamp, state)| {
                    let verb = match state {
                        LampState::Lit => "lights",
                        LampState::Dark => "goes dark",
                        LampState::Flickers => "goes on and off",
                    };
                    format!("{} {verb}", panel.label(*lamp))
                })
                .collect();
            match words.len() {
                0 => ("nothing".to_owned(), "no lamp changes".to_owned()),
                _ => (words.join("; "), words.join(", ")),
            }
        })
        .chain(std::iter::once(("other".to_owned(), "something else".to_owned())))
        .collect::<Vec<_>>();
    // Of the lighter ones nobody knows: they answer as the others do on average, so that nothing is told by having
    // been left out.
    let total: f64 = weights.iter().sum();
    let mean: Vec<f64> = (0..answers.len())
        .map(|answer| {
            let shares = row.iter().skip(answer).step_by(answers.len());
            shares.zip(&weights).map(|(share, weight)| share * weight).sum::<f64>() / total.max(f64::MIN_POSITIVE)
        })
        .collect();
    for _ in count..hypotheses.len() {
        row.extend_from_slice(&mean);
    }
    (row, answers)
}
