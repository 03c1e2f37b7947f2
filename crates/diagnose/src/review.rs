//! Design review: what a machine makes hard to find, worked out before anything is wrong with it.
//!
//! Three questions: which deviations look alike to whoever reads the lamps, looks, or checks everything; in which
//! steps it can stand for ever without telling anybody; and which one more lamp would save most minutes. All
//! from the situations in which the machine stands, of single deviations in the most probable alternative.

use crate::diagnoser::Diagnoser;
use crate::evidence::{Evidence, LampState};
use crate::hypothesis::{Hypothesis, Stands};
use crate::next::advice::deviation_words;
use crate::next::candidates::{Posed, pose};
use crate::next::{Belief, Effort, Problem, Terms, Test, ToDo, choose};
use crate::seen::lamps_shown;
use crate::standing::Standing;
use crate::world::{RoutineWorld, World};
use machine::Machine;
use machine::caution::Doing;
use machine::id::{DeviationId, MechanismId, StepId, SupplyId};
use machine::model::{LampKind, MechanismClass, Observable, WorldFact};
use rayon::prelude::*;
use serde::Serialize;
use sim::{Situation, View};
use std::collections::{BTreeMap, BTreeSet};

/// Two deviations look alike if at least this share of the cases of one could be cases of the other.
const ALIKE: f64 = 0.95;

/// Probability that the added lamp is misread.
const MISREAD: f64 = 0.02;

/// Readings of the lamps that are followed one by one; the rarer ones are left out on both sides.
const READINGS: usize = 40;

/// Additions that are listed.
const LISTED: usize = 5;

/// How far to look ahead for each reading.
const EFFORT: Effort = Effort { evaluations: 2_000, width: 4, depth: 2 };

/// What was found.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Review {
    /// How many deviations were looked at.
    pub deviations: usize,
    /// Deviations that look alike to whoever reads the lamps.
    pub alike_by_lamps: Vec<Group>,
    /// Deviations that look alike also to whoever sees where everything stands.
    pub alike_by_eyes: Vec<Group>,
    /// Deviations that look alike whatever is checked.
    pub alike_by_checks: Vec<Group>,
    /// Steps in which it can stand for ever without a word, the most probable first.
    pub silent: Vec<SilentStep>,
    /// Expected minutes until it runs, over all faults, when all lamps are read first.
    pub minutes: f64,
    /// Share of the faults that this was worked out over.
    pub share: f64,
    /// What would save most minutes, the best first.
    pub additions: Vec<Addition>,
}

/// Deviations that can't be told apart.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Group {
    /// Which, the most probable first.
    pub members: Vec<Member>,
    /// Whether the same remedy puts all of them right, so that it does not matter.
    pub same_remedy: bool,
    /// Share of all deviations by probability.
    pub share: f64,
}

/// A deviation in a group.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Member {
    /// Its key in the machine file.
    pub key: String,
    /// In words.
    pub words: String,
}

/// A step in which the machine can stand for ever without an alarm.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct SilentStep {
    /// Name of the chart and of the step.
    pub chart: String,
    /// The step's name.
    pub step: String,
    /// Share of all deviations, by probability, that let it stand there in silence.
    pub share: f64,
    /// These deviations, the most probable first.
    pub by: Vec<Member>,
}

/// Something that could be added to the machine.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Addition {
    /// What kind: `position`, `supply` or `time_out`.
    pub kind: &'static str,
    /// Of what, by its name in the machine file.
    pub of: String,
    /// In words.
    pub words: String,
    /// Expected minutes that it saves, over all faults.
    pub saved: f64,
}

/// A moment at which somebody meets a deviation.
struct Sighting<'w> {
    routine: &'w RoutineWorld,
    record: usize,
    weight: f64,
    in_play: bool,
}

impl Sighting<'_> {
    fn situation(&self) -> &Situation {
        let exploration = &self.routine.exploration;
        &exploration.situations[exploration.records[self.record].situation as usize]
    }
}

/// What can be seen, and for what share of the cases.
type Look = BTreeMap<Vec<u16>, f64>;

/// Looks the machine over. `None` if there is no machine.
#[must_use]
pub fn review(diagnoser: &Diagnoser, terms: &Terms) -> Option<Review> {
    let world = diagnoser.worlds().first()?;
    let machine = &world.machine;
    let mut ids: Vec<DeviationId> = machine.deviations.iter().map(|(id, _)| id).collect();
    ids.sort_by(|a, b| world.prior.odds(*b).total_cmp(&world.prior.odds(*a)).then(a.cmp(b)));
    let looks: Vec<[Look; 3]> = ids.par_iter().map(|id| looks(world, *id)).collect();
    let groups = |level: usize| groups(world, &ids, &looks.iter().map(|look| &look[level]).collect::<Vec<_>>());
    let (minutes, share, additions) = additions(diagnoser, world, terms);
    Some(Review {
        deviations: ids.len(),
        alike_by_lamps: groups(0),
        alike_by_eyes: groups(1),
        alike_by_checks: groups(2),
        silent: silent(world, &ids),
        minutes,
        share: share.min(1.0),
        additions,
    })
}

/// Where the machine stands with this deviation: where it has come into play, if it ever does.
fn sightings(world: &World, deviation: DeviationId) -> Vec<Sighting<'_>> {
    let mut found = Vec::new();
    for routine in &world.routines {
        let exploration = &routine.exploration;
        let Some(behaviour) = exploration.behaviours.iter().position(|one| one.members.contains(&deviation)) else {
            continue;
        };
        let alone = routine.alone[exploration.runs_as(behaviour, None)].clone();
        for record in alone {
            let weight = routine.weight * exploration.records[record].weight;
            found.push(Sighting { routine, record, weight, in_play: true });
        }
        for (index, record) in exploration.records.iter().enumerate().filter(|(_, record)| record.first.is_none()) {
            let latent = record.latent.and_then(|row| exploration.latent.get(row as usize)?.get(behaviour).copied());
            let weight = routine.weight * record.weight * latent.unwrap_or(0.0);
            found.push(Sighting { routine, record: index, weight, in_play: false });
        }
    }
    let noticed = found.iter().any(|one| one.in_play && one.weight > 0.0);
    found.retain(|one| one.weight > 0.0 && one.in_play == noticed);
    found
}

/// What shows: by lamps, by lamps and eyes, by all checks.
fn looks(world: &World, deviation: DeviationId) -> [Look; 3] {
    let machine = &world.machine;
    let sightings = sightings(world, deviation);
    let total: f64 = sightings.iter().map(|one| one.weight).sum();
    let mut looks = [Look::new(), Look::new(), Look::new()];
    for one in &sightings {
        let share = one.weight / total;
        let shown = world.panel.truth(&world.plant, one.situation());
        let truth = lamps_shown(world, one.situation(), shown, &[deviation]);
        let mut seen: Vec<u16> = (0..world.panel.len()).map(|lamp| state_number(truth.state(lamp))).collect();
        *looks[0].entry(seen.clone()).or_insert(0.0) += share;
        let deviations = [deviation];
        let view = View::new(machine, &world.plant, one.situation(), &deviations);
        let mechanisms = machine.mechanisms.iter().map(|(id, _)| Observable::Position(id));
        mechanisms.for_each(|observable| seen.extend(per_mille(&view.answers(&observable))));
        *looks[1].entry(seen.clone()).or_insert(0.0) += share;
        for check in machine.checks.rows().filter(|check| Doing::of_check(machine, check).forbidden().is_empty()) {
            seen.extend(per_mille(&view.answers(&check.observes)));
        }
        *looks[2].entry(seen).or_insert(0.0) += share;
    }
    looks
}

fn state_number(state: LampState) -> u16 {
    match state {
        LampState::Dark => 0,
        LampState::Lit => 1,
        LampState::Flickers => 2,
    }
}

/// Shares as whole numbers, so that they can be compared.
fn per_mille(shares: &[f64]) -> Vec<u16> {
    // Between 0 and 1000, so the conversion is exact.
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)]
    shares.iter().map(|share| (share.clamp(0.0, 1.0) * 1000.0).round() as u16).collect()
}

fn overlap(one: &Look, other: &Look) -> f64 {
    one.iter().filter_map(|(seen, share)| Some(share.min(*other.get(seen)?))).sum()
}

/// Each deviation joins the first group whose most probable member looks like it; those that stay alone are
/// left out.
fn groups(world: &World, ids: &[DeviationId], looks: &[&Look]) -> Vec<Group> {
    let mut found: Vec<Vec<usize>> = Vec::new();
    for number in 0..ids.len() {
        let like = found.iter_mut().find(|group| {
            let leader = group.first().copied().unwrap_or(number);
            overlap(looks[leader], looks[number]) >= ALIKE
        });
        match like {
            Some(group) => group.push(number),
            None => found.push(vec![number]),
        }
    }
    let all = probability(world, ids);
    let mut groups: Vec<Group> = (found.into_iter().filter(|group| group.len() > 1))
        .map(|group| {
            let members: Vec<DeviationId> = group.into_iter().map(|number| ids[number]).collect();
            let remedies: BTreeSet<_> = members.iter().map(|id| world.machine.deviations[*id].remedy).collect();
            Group {
                same_remedy: remedies.len() == 1 && !remedies.contains(&None),
                share: probability(world, &members) / all,
                members: members.iter().map(|id| member(&world.machine, *id)).collect(),
            }
        })
        .collect();
    groups.sort_by(|a, b| b.share.total_cmp(&a.share));
    groups
}

fn probability(world: &World, ids: &[DeviationId]) -> f64 {
    ids.iter().map(|id| world.prior.probability(*id)).sum()
}

fn member(machine: &Machine, id: DeviationId) -> Member {
    Member { key: machine.deviations[id].key.clone(), words: deviation_words(machine, id) }
}

/// The steps without a time-out in which it stands though it never does there when nothing is wrong, and
/// nothing tells.
fn silent_steps(world: &World, routine: &RoutineWorld, record: usize) -> Vec<StepId> {
    let machine = &world.machine;
    let layout = world.plant.layout();
    if !matches!(routine.standings[record], Standing::Stalled) {
        return Vec::new();
    }
    let exploration = &routine.exploration;
    let situation = &exploration.situations[exploration.records[record].situation as usize];
    let nominal = exploration.nominal_end(exploration.records[record].stage);
    let leads_on = |id: StepId| machine.transitions.rows().any(|transition| transition.from.contains(&id));
    (machine.steps.iter())
        .filter(|(id, step)| {
            step.time_out.is_none()
                && !step.alarm
                && !machine.charts[step.chart].initial.contains(id)
                && leads_on(*id)
                && situation.on(layout.step(*id))
                && nominal.is_none_or(|nominal| !nominal.on(layout.step(*id)))
        })
        .map(|(id, _)| id)
        .collect()
}

fn silent(world: &World, ids: &[DeviationId]) -> Vec<SilentStep> {
    let machine = &world.machine;
    let mut by_step: BTreeMap<StepId, Vec<(DeviationId, f64)>> = BTreeMap::new();
    for id in ids {
        let mut shares: BTreeMap<StepId, f64> = BTreeMap::new();
        let sightings = sightings(world, *id);
        let total: f64 = sightings.iter().map(|one| one.weight).sum();
        for one in sightings.iter().filter(|one| one.in_play) {
            for step in silent_steps(world, one.routine, one.record) {
                *shares.entry(step).or_insert(0.0) += one.weight / total;
            }
        }
        for (step, share) in shares {
            by_step.entry(step).or_default().push((*id, share * world.prior.probability(*id)));
        }
    }
    let all = probability(world, ids);
    let mut found: Vec<SilentStep> = by_step
        .into_iter()
        .map(|(step, mut by)| {
            by.sort_by(|a, b| b.1.total_cmp(&a.1).then(a.0.cmp(&b.0)));
            let row = &machine.steps[step];
            SilentStep {
                chart: machine.charts[row.chart].name.clone(),
                step: row.name.clone(),
                share: by.iter().map(|(_, share)| share).sum::<f64>() / all,
                by: by.iter().map(|(id, _)| member(machine, *id)).collect(),
            }
        })
        .collect();
    found.sort_by(|a, b| b.share.total_cmp(&a.share));
    found
}

/// A lamp that could be added.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Extra {
    Position(MechanismId, u8),
    Supply(SupplyId),
    TimeOut(StepId),
}

/// Everything that no lamp shows so far.
fn extras(world: &World) -> Vec<Extra> {
    let machine = &world.machine;
    // An input without a lamp tells the controller, but nobody who looks at it.
    let lamps = machine.lamp_rows.iter().flat_map(|row| &row.lamps);
    let shown: Vec<WorldFact> = lamps
        .filter_map(|lamp| match lamp.kind {
            LampKind::Input(input) => Some(&machine.inputs[input].lit),
            _ => None,
        })
        .flat_map(|lit| lit.facts().into_iter().copied().collect::<Vec<_>>())
        .collect();
    let mut found = Vec::new();
    for (id, mechanism) in machine.mechanisms.iter().filter(|(_, one)| one.class != MechanismClass::Button) {
        let positions = (0..mechanism.positions.len()).filter_map(|position| u8::try_from(position).ok());
        found.extend(positions.filter(|at| !shown.contains(&WorldFact::At(id, *at))).map(|at| Extra::Position(id, at)));
    }
    let supplies = machine.supplies.iter().map(|(id, _)| id);
    found.extend(supplies.filter(|id| !shown.contains(&WorldFact::Supply(*id))).map(Extra::Supply));
    let silent: BTreeSet<StepId> = (world.routines.iter())
        .flat_map(|routine| (0..routine.standings.len()).flat_map(|record| silent_steps(world, routine, record)))
        .collect();
    found.extend(silent.into_iter().map(Extra::TimeOut));
    found
}

/// The probability that the added lamp is really lit.
fn lit(extra: Extra, worlds: &[World], one: &Hypothesis) -> f64 {
    let world = &worlds[one.world];
    let view = View::new(&world.machine, &world.plant, one.situation(worlds), &one.deviations);
    let share = |observable, answer: usize| view.answers(&observable).get(answer).copied().unwrap_or(0.0);
    match extra {
        Extra::Position(mechanism, at) => share(Observable::Position(mechanism), usize::from(at)),
        Extra::Supply(supply) => share(Observable::Supply(supply), 0),
        Extra::TimeOut(step) => match one.stands {
            Stands::Record { record, .. } => {
                let silent = silent_steps(world, &world.routines[one.routine], record as usize);
                f64::from(u8::from(silent.contains(&step)))
            }
            Stands::Held { .. } => 0.0,
        },
    }
}

/// The minutes as things are, the share of the faults that they were worked out over, and what could be added.
fn additions(diagnoser: &Diagnoser, world: &World, terms: &Terms) -> (f64, f64, Vec<Addition>) {
    let silence = Evidence::default();
    let Some(posed) = pose(diagnoser, &silence, &diagnoser.weighed(&silence), terms) else {
        return (0.0, 0.0, Vec::new());
    };
    let worlds = diagnoser.worlds();
    let (beliefs, share) = readings(worlds, &posed);
    let total: f64 = beliefs.iter().map(|belief| belief.weights.iter().sum::<f64>()).sum();
    if total <= 0.0 {
        return (0.0, 0.0, Vec::new());
    }
    let problem = &posed.problem;
    let before: Vec<f64> = beliefs.par_iter().map(|belief| minutes(problem, belief)).collect();
    let mut found: Vec<Addition> = extras(world)
        .into_par_iter()
        .map(|extra| {
            let test = added(worlds, &posed, extra);
            let saved = beliefs.iter().zip(&before).map(|(belief, before)| saved(problem, belief, *before, &test));
            let (kind, of, words) = described(&world.machine, extra);
            Addition { kind, of, words, saved: saved.sum::<f64>() / total }
        })
        .filter(|addition| addition.saved > 0.05)
        .collect();
    found.sort_by(|a, b| b.saved.total_cmp(&a.saved).then(a.of.cmp(&b.of)));
    found.truncate(LISTED);
    (before.iter().sum::<f64>() / total, share, found)
}

/// What is believed after each reading of all lamps, of cases in which something is wrong; and the share of
/// these that was kept.
fn readings(worlds: &[World], posed: &Posed) -> (Vec<Belief>, f64) {
    let problem = &posed.problem;
    let begin = problem.begin(false);
    let mut by_reading: BTreeMap<Vec<u16>, Vec<f64>> = BTreeMap::new();
    let truths: Vec<_> = posed.hypotheses.par_iter().map(|one| one.lamps(worlds)).collect();
    for ((one, case), truth) in posed.hypotheses.iter().zip(&posed.case_of).zip(&truths) {
        if one.deviations.is_empty() {
            continue;
        }
        let lamps = (0..worlds[one.world].panel.len()).map(|lamp| state_number(truth.state(lamp))).collect();
        let weights = by_reading.entry(lamps).or_insert_with(|| vec![0.0; begin.weights.len()]);
        weights[*case] += one.weight / posed.total;
    }
    let sum = |weights: &[f64]| weights.iter().sum::<f64>();
    let mut readings: Vec<Vec<f64>> = by_reading.into_values().collect();
    let all: f64 = readings.iter().map(|weights| sum(weights)).sum();
    readings.sort_by(|a, b| sum(b).total_cmp(&sum(a)));
    readings.truncate(READINGS);
    let kept: f64 = readings.iter().map(|weights| sum(weights)).sum();
    let mut asked = begin.asked.clone();
    for (test, one) in posed.asked.iter().enumerate() {
        // The lamps have been read, and working the machine would leave the situations that are compared.
        asked[test] |= matches!(one.to_do, ToDo::Lamp(_) | ToDo::Lamps | ToDo::Act(_));
    }
    let beliefs = readings.into_iter().map(|weights| Belief { weights, asked: asked.clone(), ..begin.clone() });
    (beliefs.collect(), if all > 0.0 { kept / all } else { 0.0 })
}

/// Minutes times weight.
fn minutes(problem: &Problem, belief: &Belief) -> f64 {
    let weight: f64 = belief.weights.iter().sum();
    choose(problem, belief, EFFORT).first().map_or(0.0, |first| first.minutes * weight)
}

/// The added lamp as a test that costs nothing. Cases are mixtures of hypotheses that nothing else tells apart
/// and that need the same, so the mean over them is exact.
fn added(worlds: &[World], posed: &Posed, extra: Extra) -> Test {
    let cases = posed.problem.weights.len();
    let (mut lit_weight, mut weight) = (vec![0.0; cases], vec![0.0; cases]);
    for (one, case) in posed.hypotheses.iter().zip(&posed.case_of) {
        weight[*case] += one.weight;
        lit_weight[*case] += one.weight * lit(extra, worlds, one);
    }
    let likelihood = (lit_weight.iter().zip(&weight))
        .flat_map(|(lit, weight)| {
            let share = if *weight > 0.0 { lit / weight } else { 0.5 };
            let on = share * (1.0 - MISREAD) + (1.0 - share) * MISREAD;
            [on, 1.0 - on]
        })
        .collect();
    Test { minutes: 0.0, on_site: false, answers: 2, likelihood }
}

/// Minutes times weight that the lamp saves at one reading of the others. Looking at it and going on as without
/// it costs the same, so it never costs more.
fn saved(problem: &Problem, belief: &Belief, before: f64, test: &Test) -> f64 {
    let weights = belief.weights.iter().zip(test.likelihood.chunks_exact(2)).filter(|(weight, _)| **weight > 0.0);
    let shares: Vec<f64> = weights.map(|(_, row)| row[0]).collect();
    let apart = shares.iter().any(|share| (share - shares[0]).abs() > 1e-9);
    if !apart {
        return 0.0;
    }
    let after: f64 = (0..2)
        .map(|answer| {
            let mut next = belief.clone();
            next.weights
                .iter_mut()
                .zip(test.likelihood.chunks_exact(2))
                .for_each(|(weight, row)| *weight *= row[answer]);
            minutes(problem, &next)
        })
        .sum();
    (before - after).max(0.0)
}

fn described(machine: &Machine, extra: Extra) -> (&'static str, String, String) {
    let named = |words: &str, name: &str| if words.is_empty() { name.replace('_', " ") } else { words.to_owned() };
    match extra {
        Extra::Position(id, at) => {
            let it = &machine.mechanisms[id];
            let position = it.positions.get(usize::from(at)).map_or("", String::as_str);
            let words =
                format!("a lamp that tells: {} {}", named(&it.words.english, &it.name), position.replace('_', " "));
            ("position", format!("{} = {position}", it.name), words)
        }
        Extra::Supply(id) => {
            let it = &machine.supplies[id];
            ("supply", it.name.clone(), format!("a lamp that tells: {} is there", named(&it.words.english, &it.name)))
        }
        Extra::TimeOut(id) => {
            let it = &machine.steps[id];
            let chart = &machine.charts[it.chart].name;
            let words = format!("a time-out with a lamp in step {}", it.name.replace('_', " "));
            ("time_out", format!("{chart}.{}", it.name), words)
        }
    }
}
