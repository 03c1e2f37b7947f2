//! The answer to a call so far: the fact first, then where the sequence stands and
//! what it waits for, then the causes with their probabilities and reasons.

use crate::diagnoser::{Ground, Look};
use crate::evidence::{Complaint, LampPlace, LampReport, LampState};
use crate::numbered::numbered;
use crate::panel::LampTruth;
use crate::seen::lamp_changes;
use crate::wording;
use crate::world::World;
use machine::id::{DeviationId, StepId, TransitionId};
use machine::model::{
    Chance, DeviationKind, DeviceRole, FaultEffect, Forced, HandMove, InputStage, LampKind, MechanismClass,
    OutputStage, ProgramFact, WorldFact,
};
use machine::{Condition, Machine};
use rayon::prelude::*;
use rustc_hash::FxHashMap;
use serde::Serialize;
use smallvec::SmallVec;
use std::collections::BTreeMap;

/// What is wrong, as far as the evidence goes.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Answer {
    /// What the start, or the step, needs, and which of it is missing.
    pub fact: Option<Fact>,
    /// Where the sequence stands, the most probable first.
    pub standing: Vec<StandingPoint>,
    /// Probability that nothing is wrong: it waits for a person.
    pub nothing_wrong: f64,
    /// What can be wrong, the most probable first. Two causes can be there at once, so the
    /// probabilities can sum to more than 1.
    pub causes: Vec<Cause>,
    /// Causes that are there together, the most probable first.
    pub together: Vec<Together>,
    /// Probability of something that is not in the machine file.
    pub not_in_file: f64,
    /// Share of the prior weight that was not looked at: three or more deviations at once, as far as they were not asked
    /// for, and pairs that were not followed to their end.
    pub left_out: f64,
    /// How many sets of more than two deviations were looked at.
    pub larger_sets: usize,
    /// Readings that are probably wrong, the most doubtful first.
    pub doubtful: Vec<Doubtful>,
    /// Whether everything fits badly, so that readings should be taken again before anything else.
    pub fits_badly: bool,
    /// What the machine file leaves open, with the probability of each choice.
    pub open: Vec<Open>,
}

/// What something needs in order to go on.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Fact {
    /// "start", or the step that it leaves.
    pub of: String,
    /// Whether this is about the start of a chart.
    pub is_start: bool,
    /// What is needed.
    pub needs: Vec<Need>,
}

/// One condition.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Need {
    /// In words.
    pub words: String,
    /// The lamp that shows it, if it is shown by just one.
    pub lamp: Option<String>,
    /// Whether it is met.
    pub state: NeedState,
    /// Whether that was reported, or follows from the most probable state of the machine.
    pub reported: bool,
}

/// Whether a condition is met.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum NeedState {
    /// It is.
    Met,
    /// It is not.
    Missing,
    /// A hand makes it, for a moment: a button.
    ByHand,
}

/// Where the sequence may stand.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct StandingPoint {
    /// Names of the active steps; empty when the controller does not run.
    pub steps: Vec<String>,
    /// The steps' words for people.
    pub words: Vec<String>,
    /// Its probability.
    pub probability: f64,
    /// What each way onward waits for.
    pub waits_for: Vec<Wait>,
    /// Interlocks that hold it, in words.
    pub held_by: Vec<String>,
}

/// A way onward and what it waits for.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Wait {
    /// Where it leads.
    pub to: Vec<String>,
    /// The parts of its condition that do not hold.
    pub conditions: Vec<String>,
}

/// Something that can be wrong: deviations that nothing reported can tell apart.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Cause {
    /// What it comes to, in words.
    pub words: String,
    /// Its probability, whatever else is wrong.
    pub probability: f64,
    /// Probability that it is wrong and nothing else.
    pub alone: f64,
    /// Why, in one line.
    pub reason: String,
    /// The deviations, the most probable first.
    pub members: Vec<Member>,
}

/// One deviation.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Member {
    /// Its key in the machine file, such as `B1/dead`.
    pub key: String,
    /// In words.
    pub words: String,
    /// The device, for people; empty for a lapse.
    pub device: String,
    /// Where in the chain it sits.
    pub place: String,
    /// Whether it is a lapse rather than a fault.
    pub lapse: bool,
    /// Its probability.
    pub probability: f64,
    /// Key of what puts it right.
    pub remedy: Option<String>,
}

/// Two causes at once, or more.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Together {
    /// What they come to, in words.
    pub words: Vec<String>,
    /// Probability of just these.
    pub probability: f64,
}

/// A reading that is probably wrong.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Doubtful {
    /// The lamp.
    pub lamp: String,
    /// Probability that it was not as reported.
    pub probability: f64,
}

/// A choice for what the machine file leaves open.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Open {
    /// What is assumed, in words.
    pub choices: Vec<String>,
    /// Probability given the evidence.
    pub probability: f64,
}

impl Member {
    /// What is wrong, with the device that it is wrong with.
    #[must_use]
    pub fn with_device(&self) -> String {
        if self.device.is_empty() { self.words.clone() } else { format!("{}: {}", self.device, self.words) }
    }
}

/// Causes less probable than this are not listed one by one.
const LISTED: f64 = 1e-6;

/// The lamps reported last, as an alternative understands them.
fn reports<'g>(ground: &'g Ground<'_>) -> &'g [LampReport] {
    ground.told.moments.last().map_or(&[], |moment| &moment.lamps)
}

pub(crate) fn answer(worlds: &[World], grounds: &[Ground<'_>]) -> Answer {
    let all: f64 = grounds.iter().map(|ground| ground.scale * (ground.total + ground.unknown)).sum();
    if all <= 0.0 {
        // Only possible if every probability underflowed: nothing can be said, so all is "not in the file".
        return Answer { not_in_file: 1.0, fits_badly: true, ..Answer::default() };
    }
    let not_in_file = grounds.iter().map(|ground| ground.scale * ground.unknown).sum::<f64>() / all;
    let nothing_wrong = grounds.iter().map(|ground| ground.scale * ground.nothing).sum::<f64>() / all;
    let doubtful = doubtful(grounds);
    let places = places(grounds, all);
    let misread: f64 = doubtful.iter().map(|one| one.probability).sum();
    let top = grounds.iter().max_by(|a, b| (a.scale * a.total).total_cmp(&(b.scale * b.total)));
    let [_, _, _, more] = top.map_or([0.0; 4], |ground| ground.world.prior.by_size());
    let listed = top.map_or(0.0, |ground| ground.routine.listed);
    let looked_at = top.map_or(0.0, |ground| ground.larger_odds);
    let more = (more - looked_at).max(0.0) + top.map_or(0.0, |ground| ground.routine.unfollowed);
    Answer {
        fact: places.first().and_then(|place| fact(place.ground, place.look)),
        standing: standing(&places),
        nothing_wrong,
        causes: causes(grounds, all),
        together: together(grounds, all),
        not_in_file,
        left_out: more / (listed + more),
        larger_sets: grounds.iter().map(|ground| ground.larger_sets).max().unwrap_or_default(),
        fits_badly: not_in_file > 0.3 || misread > 1.5,
        doubtful: doubtful.into_iter().filter(|one| one.probability > 0.2).collect(),
        open: open(worlds, grounds, all),
    }
}

fn lamp_number(ground: &Ground<'_>, place: LampPlace) -> Option<usize> {
    ground.world.panel.number(place)
}

fn doubtful(grounds: &[Ground<'_>]) -> Vec<Doubtful> {
    // The same lamp can sit elsewhere in another alternative; its label stays.
    let mut wrong: Vec<(String, f64)> = Vec::new();
    let mut total = 0.0;
    for ground in grounds {
        // Thousands of looks show much the same.
        let (places, shown) = numbered(ground.looks.iter().map(|look| -> &LampTruth { &look.truth }));
        let mut shown: Vec<(&LampTruth, f64)> = shown.into_iter().map(|truth| (truth, 0.0)).collect();
        for (look, place) in ground.looks.iter().zip(places) {
            shown[place].1 += ground.scale * look.weight;
        }
        total += shown.iter().map(|(_, weight)| weight).sum::<f64>();
        let disagreeing = |report: &LampReport| {
            let lamp = lamp_number(ground, report.place)?;
            let disagree = shown.iter().filter(|(truth, _)| !agrees(truth, lamp, report.state));
            Some(disagree.map(|(_, weight)| weight).sum())
        };
        let weights: Vec<Option<f64>> = reports(ground).par_iter().map(disagreeing).collect();
        for (report, weight) in reports(ground).iter().zip(weights) {
            let Some(weight) = weight else { continue };
            let label = report.place.label(&ground.world.machine).to_owned();
            match wrong.iter_mut().find(|(known, _)| *known == label) {
                Some((_, sum)) => *sum += weight,
                None => wrong.push((label, weight)),
            }
        }
    }
    let mut doubtful: Vec<_> = wrong
        .into_iter()
        .filter(|(_, wrong)| *wrong > 0.0 && total > 0.0)
        .map(|(lamp, wrong)| Doubtful { lamp, probability: wrong / total })
        .collect();
    doubtful.sort_by(|a, b| b.probability.total_cmp(&a.probability));
    doubtful
}

/// Whether a report can be right about a lamp: one that varies can be seen lit or dark as well.
fn agrees(truth: &LampTruth, lamp: usize, state: LampState) -> bool {
    truth.state(lamp) == state || truth.state(lamp) == LampState::Flickers
}

/// A place where the sequence may stand, summed over everything that stands there.
struct Place<'g, 'd> {
    steps: Vec<String>,
    probability: f64,
    /// The heaviest of what stands there, and its weight.
    ground: &'g Ground<'d>,
    look: &'g Look<'d>,
    weight: f64,
}

/// The places, the most probable first.
fn places<'g, 'd>(grounds: &'g [Ground<'d>], all: f64) -> Vec<Place<'g, 'd>> {
    let mut list: Vec<Place<'g, 'd>> = Vec::new();
    let mut by_name: BTreeMap<Vec<String>, usize> = BTreeMap::new();
    for ground in grounds {
        // Thousands of looks stand in a few dozen places.
        let mut known: FxHashMap<ActiveSteps, usize> = FxHashMap::default();
        let active: Vec<ActiveSteps> = ground.looks.par_iter().map(|look| active_steps(ground, look)).collect();
        for (look, active) in ground.looks.iter().zip(active) {
            let weight = ground.scale * look.weight / all;
            let place = *known.entry(active).or_insert_with_key(|active| {
                let steps: Vec<String> = active.iter().map(|step| ground.world.machine.step_name(*step)).collect();
                *by_name.entry(steps).or_insert_with_key(|steps| {
                    let weight = f64::NEG_INFINITY;
                    list.push(Place { steps: steps.clone(), probability: 0.0, ground, look, weight });
                    list.len() - 1
                })
            });
            let place = &mut list[place];
            place.probability += weight;
            if weight > place.weight {
                (place.ground, place.look, place.weight) = (ground, look, weight);
            }
        }
    }
    // Of places as probable as each other the one that comes first by name.
    list.sort_by(|a, b| a.steps.cmp(&b.steps));
    list.sort_by(|a, b| b.probability.total_cmp(&a.probability));
    list
}

fn standing(places: &[Place<'_, '_>]) -> Vec<StandingPoint> {
    let worth_telling = places.iter().filter(|place| place.probability > 1e-4);
    worth_telling
        .map(|place| {
            let (ground, look) = (place.ground, place.look);
            let machine = &ground.world.machine;
            let words =
                active_steps(ground, look).into_iter().map(|step| machine.steps[step].words.english.clone()).collect();
            StandingPoint {
                steps: place.steps.clone(),
                words,
                probability: place.probability,
                waits_for: waits(ground, look),
                held_by: held_by(ground, look),
            }
        })
        .collect()
}

type ActiveSteps = SmallVec<[StepId; 4]>;

fn active_steps(ground: &Ground<'_>, look: &Look<'_>) -> ActiveSteps {
    look.situation.active_steps(ground.world.plant.layout()).collect()
}

fn enabled(ground: &Ground<'_>, look: &Look<'_>) -> Vec<TransitionId> {
    let layout = ground.world.plant.layout();
    ground
        .world
        .machine
        .transitions
        .iter()
        .filter(|(_, row)| row.from.iter().all(|step| look.situation.on(layout.step(*step))))
        .map(|(id, _)| id)
        .collect()
}

fn waits(ground: &Ground<'_>, look: &Look<'_>) -> Vec<Wait> {
    let machine = &ground.world.machine;
    let holds = |fact: &ProgramFact| ground.world.plant.fact(&look.situation, *fact);
    enabled(ground, look)
        .into_iter()
        .map(|id| {
            let row = &machine.transitions[id];
            let missing = row.when.conjuncts().into_iter().filter(|part| !part.holds(&holds));
            Wait {
                to: row.to.iter().map(|step| machine.step_name(*step)).collect(),
                conditions: missing.map(|part| wording::condition(machine, part)).collect(),
            }
        })
        .collect()
}

fn held_by(ground: &Ground<'_>, look: &Look<'_>) -> Vec<String> {
    let machine = &ground.world.machine;
    let layout = ground.world.plant.layout();
    let holds = |fact: &ProgramFact| ground.world.plant.fact(&look.situation, *fact);
    let mut held: Vec<String> = machine
        .interlocks
        .rows()
        .filter(|row| row.in_steps.iter().any(|step| look.situation.on(layout.step(*step))) && !row.needs.holds(&holds))
        .map(|row| wording::condition(machine, &row.needs))
        .collect();
    for chart in 0..machine.charts.len() {
        if look.situation.on(layout.timed_out(chart)) {
            held.push("a time-out that only power off or a reset ends".to_owned());
        }
    }
    held
}

/// Whether a condition holds, as far as the reported lamps tell.
fn reported(machine: &Machine, condition: &Condition<ProgramFact>, reports: &[LampReport]) -> Option<bool> {
    match condition {
        Condition::Always(value) => Some(*value),
        Condition::Fact(fact) => {
            let place = match *fact {
                ProgramFact::Input(input) => {
                    crate::panel::place_of(machine, |kind| matches!(kind, LampKind::Input(which) if *which == input))?
                }
                ProgramFact::Output(output) => {
                    crate::panel::place_of(machine, |kind| matches!(kind, LampKind::Output(which) if *which == output))?
                }
                _ => return None,
            };
            match reports.iter().find(|report| report.place == place)?.state {
                LampState::Lit => Some(true),
                LampState::Dark => Some(false),
                LampState::Flickers => None,
            }
        }
        Condition::Not(inner) => reported(machine, inner, reports).map(|value| !value),
        Condition::All(list) => {
            let parts: Vec<_> = list.iter().map(|part| reported(machine, part, reports)).collect();
            if parts.contains(&Some(false)) {
                Some(false)
            } else if parts.contains(&None) {
                None
            } else {
                Some(true)
            }
        }
        Condition::Any(list) => {
            let parts: Vec<_> = list.iter().map(|part| reported(machine, part, reports)).collect();
            if parts.contains(&Some(true)) {
                Some(true)
            } else if parts.contains(&None) {
                None
            } else {
                Some(false)
            }
        }
    }
}

/// Whether a condition is made by pressing buttons, so that it can't be seen when nobody presses.
/// That a stop button is not pressed is no such condition.
pub(crate) fn by_hand(machine: &Machine, condition: &Condition<ProgramFact>) -> bool {
    about_buttons(machine, condition) && !condition.holds(&|fact| shows_with_buttons_at_rest(machine, *fact))
}

/// Whether the program sees this while nobody presses a button; moments are over by then.
fn shows_with_buttons_at_rest(machine: &Machine, fact: ProgramFact) -> bool {
    let ProgramFact::Input(input) = fact else { return false };
    machine.inputs[input]
        .lit
        .holds(&|fact| matches!(*fact, WorldFact::At(mechanism, at) if machine.mechanisms[mechanism].rest == at))
}

fn about_buttons(machine: &Machine, condition: &Condition<ProgramFact>) -> bool {
    let facts = condition.facts();
    let pressed = |fact: &ProgramFact| match *fact {
        ProgramFact::Input(input) => {
            let world = machine.inputs[input].lit.facts();
            !world.is_empty()
                && world.iter().all(|fact| match fact {
                    WorldFact::At(mechanism, _) | WorldFact::Between(mechanism) => {
                        machine.mechanisms[*mechanism].class == MechanismClass::Button
                    }
                    _ => false,
                })
        }
        _ => false,
    };
    !facts.is_empty()
        && facts.into_iter().all(|fact| match *fact {
            ProgramFact::Rises(edge) | ProgramFact::Falls(edge) => about_buttons(machine, &machine.edges[edge]),
            _ => pressed(fact),
        })
}

/// The fact that a technician wants first: what the start or the step needs, and what of it is missing.
fn fact(ground: &Ground<'_>, look: &Look<'_>) -> Option<Fact> {
    let machine = &ground.world.machine;
    let (complaint, reports) = (ground.told.complaint, reports(ground));
    // A controller that does not run waits for none of it.
    if !look.situation.on(ground.world.plant.layout().running()) {
        return None;
    }
    let mode = machine.routines[ground.routine.routine].mode;
    let of_mode = |id: &TransitionId| mode.is_none() || machine.charts[machine.transitions[*id].chart].mode == mode;
    let has_needs = |id: &TransitionId| !machine.transitions[*id].when.conjuncts().is_empty();
    let missing = |id: &TransitionId| {
        let parts = machine.transitions[*id].when.conjuncts();
        parts.iter().filter(|part| reported(machine, part, reports) == Some(false) && !by_hand(machine, part)).count()
    };
    // Somebody who says that it won't start wants to know what the start needs, wherever it stands.
    let starts = machine.transitions.ids().filter(|id| machine.transitions[*id].start);
    let start = starts.filter(of_mode).find(has_needs).filter(|_| complaint == Some(Complaint::WontStart));
    let onward = || {
        enabled(ground, look)
            .into_iter()
            .filter(has_needs)
            .max_by_key(|id| (of_mode(id), !machine.transitions[*id].start, missing(id), std::cmp::Reverse(*id)))
    };
    let chosen = start.or_else(onward)?;
    let row = &machine.transitions[chosen];
    let holds = |fact: &ProgramFact| ground.world.plant.fact(&look.situation, *fact);
    let needs = row
        .when
        .conjuncts()
        .into_iter()
        .map(|part| {
            let said = reported(machine, part, reports);
            let met = said.unwrap_or_else(|| part.holds(&holds));
            let facts = part.facts();
            let lamp = match facts[..] {
                [fact] => wording::lamp_of(machine, *fact),
                _ => None,
            };
            let state = match met {
                true => NeedState::Met,
                false if by_hand(machine, part) => NeedState::ByHand,
                false => NeedState::Missing,
            };
            Need { words: wording::condition(machine, part), lamp, state, reported: said.is_some() }
        })
        .collect();
    let of = if row.start {
        "start".to_owned()
    } else {
        let names: Vec<_> = row.from.iter().map(|step| machine.step_name(*step)).collect();
        wording::list(&names)
    };
    Some(Fact { of, is_start: row.start, needs })
}

/// A cause under way: the same deviations can come from several worlds.
#[derive(Default)]
struct Sum {
    words: String,
    probability: f64,
    alone: f64,
    reason: String,
    reason_weight: f64,
    members: BTreeMap<String, Member>,
}

fn causes(grounds: &[Ground<'_>], all: f64) -> Vec<Cause> {
    let mut sums: BTreeMap<String, Sum> = BTreeMap::new();
    let weighed: Vec<_> = grounds.par_iter().map(|ground| (ground.member_masses(), ground.class_masses())).collect();
    for (ground, (shares, marginal)) in grounds.iter().zip(weighed) {
        let scale = ground.scale / all;
        let machine = &ground.world.machine;
        for (index, class) in ground.classes.iter().enumerate() {
            if marginal[index] * scale < LISTED * 1e-3 {
                continue;
            }
            // Deviations that the sequence does not notice have nothing in common but that.
            let apart = ground.routine.exploration.behaviours[class.behaviour].effects.is_empty();
            let lots: Vec<Vec<usize>> = if apart {
                (0..class.members.len()).map(|one| vec![one]).collect()
            } else {
                vec![(0..class.members.len()).collect()]
            };
            for lot in lots {
                // What comes to the same is one cause, also where answers to checks have split it.
                let key = if apart {
                    machine.deviations[class.members[lot[0]]].key.clone()
                } else {
                    effects_words(machine, &ground.routine.exploration.behaviours[class.behaviour].effects)
                };
                let sum = sums.entry(key).or_default();
                let part = |mass: f64| {
                    if apart { mass * class.share(class.members[lot[0]], &ground.world.prior) } else { mass }
                };
                let weight = if apart { shares[index][lot[0]] } else { marginal[index] } * scale;
                sum.probability += weight;
                sum.alone += part(ground.single[index]) * scale;
                if weight > sum.reason_weight {
                    sum.reason_weight = weight;
                    sum.reason = reason(ground, index, marginal[index]);
                    sum.words = headline(ground, index, &lot);
                }
                for one in lot {
                    let member = self_member(machine, class.members[one]);
                    sum.members.entry(member.key.clone()).or_insert(member).probability += shares[index][one] * scale;
                }
            }
        }
    }
    let mut causes: Vec<Cause> = sums
        .into_iter()
        .filter(|(_, sum)| sum.probability > LISTED)
        .map(|(common, sum)| {
            let mut members: Vec<_> = sum.members.into_values().collect();
            members.sort_by(|a, b| b.probability.total_cmp(&a.probability));
            let words = if members.len() > 1 { common } else { sum.words };
            Cause { words, probability: sum.probability, alone: sum.alone, reason: sum.reason, members }
        })
        .collect();
    causes.sort_by(|a, b| b.probability.total_cmp(&a.probability));
    causes
}

fn together(grounds: &[Ground<'_>], all: f64) -> Vec<Together> {
    let mut sums: BTreeMap<Vec<String>, f64> = BTreeMap::new();
    for ground in grounds {
        let scale = ground.scale / all;
        let silent =
            |class: usize| ground.routine.exploration.behaviours[ground.classes[class].behaviour].effects.is_empty();
        let mut add = |set: &[u32], mass: f64| {
            if mass * scale > 1e-4 && !set.iter().any(|class| silent(*class as usize)) {
                let words = |class: &u32| {
                    let class = *class as usize;
                    let lot: Vec<_> = (0..ground.classes[class].members.len()).collect();
                    headline(ground, class, &lot)
                };
                *sums.entry(set.iter().map(words).collect()).or_insert(0.0) += mass * scale;
            }
        };
        ground.pairs.iter().for_each(|(set, mass)| add(set, *mass));
        ground.larger.iter().for_each(|(set, mass)| add(set, *mass));
    }
    let mut list: Vec<_> = sums.into_iter().map(|(words, probability)| Together { words, probability }).collect();
    list.sort_by(|a, b| b.probability.total_cmp(&a.probability));
    list.truncate(20);
    list
}

fn open(worlds: &[World], grounds: &[Ground<'_>], all: f64) -> Vec<Open> {
    if worlds.len() < 2 {
        return Vec::new();
    }
    let mut list: Vec<Open> = worlds
        .iter()
        .map(|world| Open {
            choices: world.choices.clone(),
            probability: grounds
                .iter()
                .filter(|ground| std::ptr::eq(ground.world, world))
                .map(|ground| ground.scale * (ground.total + ground.unknown))
                .sum::<f64>()
                / all,
        })
        .collect();
    list.sort_by(|a, b| b.probability.total_cmp(&a.probability));
    list
}

fn self_member(machine: &Machine, id: DeviationId) -> Member {
    let row = &machine.deviations[id];
    let device = match row.kind {
        DeviationKind::Fault(device) => Some(&machine.devices[device]),
        DeviationKind::Lapse => None,
    };
    Member {
        key: row.key.clone(),
        words: row.words.english.clone(),
        device: device.map(|device| device.words.english.clone()).unwrap_or_default(),
        place: place_in_chain(&row.effects).to_owned(),
        lapse: row.kind == DeviationKind::Lapse && matches!(row.rate.chance, Chance::EachTime(_)),
        probability: 0.0,
        remedy: row.remedy.map(|remedy| machine.remedies[remedy].key.clone()),
    }
}

fn place_in_chain(effects: &[FaultEffect]) -> &'static str {
    match effects.first() {
        Some(FaultEffect::Input(_, stage, _)) => match stage {
            InputStage::Target => "what is sensed",
            InputStage::Sensor => "sensing device",
            InputStage::Cable => "cable",
            InputStage::Terminal => "terminal",
            InputStage::Card => "input card",
            InputStage::Lamp => "lamp",
        },
        Some(FaultEffect::Output(_, stage, _)) => match stage {
            OutputStage::Lamp => "lamp",
            OutputStage::Card => "output card",
            OutputStage::Cable => "cable",
            OutputStage::Coil => "coil",
            OutputStage::Valve => "valve or contactor",
        },
        Some(FaultEffect::Supply(..)) => "supply",
        Some(FaultEffect::Stuck(_) | FaultEffect::Slow(..) | FaultEffect::StopsShort(..) | FaultEffect::Creeps(..)) => {
            "mechanism"
        }
        Some(FaultEffect::ControllerStopped | FaultEffect::ControllerError) => "controller",
        Some(FaultEffect::Forgotten(..) | FaultEffect::Found(..) | FaultEffect::Unasked(_)) => "by hand",
        None => "",
    }
}

/// What an answer lists a deviation under: the words by which it is summed up with others that come to the same, and
/// the words if it is alone.
pub(crate) fn common_words(machine: &Machine, effects: &[FaultEffect], deviation: DeviationId) -> (String, String) {
    let own = deviation_words(machine, deviation);
    if effects.is_empty() {
        return (machine.deviations[deviation].key.clone(), own);
    }
    (effects_words(machine, effects), own)
}

/// What a class of deviations comes to.
fn headline(ground: &Ground<'_>, class: usize, lot: &[usize]) -> String {
    let machine = &ground.world.machine;
    let class = &ground.classes[class];
    if let [one] = lot {
        return deviation_words(machine, class.members[*one]);
    }
    effects_words(machine, &ground.routine.exploration.behaviours[class.behaviour].effects)
}

/// What a deviation is called, with its device.
fn deviation_words(machine: &Machine, deviation: DeviationId) -> String {
    let row = &machine.deviations[deviation];
    match row.kind {
        DeviationKind::Fault(device) => {
            let device = &machine.devices[device];
            let name = if device.words.english.is_empty() { &device.name } else { &device.words.english };
            let label = match device.role {
                DeviceRole::Input(input) => Some(&machine.inputs[input].label),
                DeviceRole::Output(output) => machine.outputs[output].label.as_ref(),
                _ => None,
            };
            // Where the point has no tag of its own, its label stands in the name already.
            let about = label.filter(|label| !wording::says(name, label)).map(|label| format!(" ({label})"));
            format!("{name}{}: {}", about.unwrap_or_default(), row.words.english)
        }
        DeviationKind::Lapse => row.words.english.clone(),
    }
}

/// What effects come to, in words.
fn effects_words(machine: &Machine, effects: &[FaultEffect]) -> String {
    let Some(first) = effects.first() else { return String::new() };
    let text = effect_words(machine, *first);
    if effects.len() > 1 { format!("{text}, and {} more points of the same part", effects.len() - 1) } else { text }
}

fn effect_words(machine: &Machine, effect: FaultEffect) -> String {
    match effect {
        FaultEffect::Input(input, _, forced) => {
            let row = &machine.inputs[input];
            let name = format!("{} ({})", row.label, row.words.english);
            match forced {
                Forced::Off => format!("{name} stays dark"),
                Forced::On => format!("{name} stays lit"),
                Forced::Chatters(..) => format!("{name} comes and goes"),
            }
        }
        FaultEffect::Output(output, _, forced) => {
            let row = &machine.outputs[output];
            let name = match &row.label {
                Some(label) => format!("{label} ({})", row.words.english),
                None => format!("output \"{}\"", row.words.english),
            };
            match forced {
                Forced::Off => format!("{name} does not act"),
                Forced::On => format!("{name} acts all the time"),
                Forced::Chatters(..) => format!("{name} comes and goes"),
            }
        }
        FaultEffect::Supply(supply, forced) => {
            let row = &machine.supplies[supply];
            let name = if row.words.english.is_empty() { &row.name } else { &row.words.english };
            match forced {
                Forced::Off => format!("{name} is missing"),
                Forced::On => format!("{name} is always there"),
                Forced::Chatters(..) => format!("{name} comes and goes"),
            }
        }
        FaultEffect::Stuck(mechanism) => format!("{} does not move", mechanism_name(machine, mechanism)),
        FaultEffect::Slow(mechanism, _) => format!("{} moves too slowly", mechanism_name(machine, mechanism)),
        FaultEffect::StopsShort(mechanism, position) => format!(
            "{} does not quite reach \"{}\"",
            mechanism_name(machine, mechanism),
            position_name(machine, mechanism, position)
        ),
        FaultEffect::Creeps(mechanism, from, ..) => format!(
            "{} does not stay at \"{}\"",
            mechanism_name(machine, mechanism),
            position_name(machine, mechanism, from)
        ),
        FaultEffect::ControllerStopped | FaultEffect::ControllerError => {
            "the controller does not run its program".to_owned()
        }
        FaultEffect::Forgotten(routine, action) => machine.routines[routine]
            .actions
            .get(action as usize)
            .map(|action| format!("not done: {}", action.words.english))
            .unwrap_or_default(),
        FaultEffect::Unasked(HandMove::Press(mechanism, _)) => {
            format!("{} pressed meanwhile", mechanism_name(machine, mechanism))
        }
        FaultEffect::Unasked(HandMove::Put(mechanism, position)) => format!(
            "{} moved to \"{}\" meanwhile",
            mechanism_name(machine, mechanism),
            position_name(machine, mechanism, position)
        ),
        FaultEffect::Unasked(HandMove::PowerCycle) => "switched off and on meanwhile".to_owned(),
        FaultEffect::Unasked(_) => "something done meanwhile".to_owned(),
        FaultEffect::Found(mechanism, position) => format!(
            "{} found at \"{}\"",
            mechanism_name(machine, mechanism),
            position_name(machine, mechanism, position)
        ),
    }
}

fn position_name(machine: &Machine, mechanism: machine::id::MechanismId, position: u8) -> &str {
    machine.mechanisms[mechanism].positions.get(usize::from(position)).map_or("", String::as_str)
}

fn mechanism_name(machine: &Machine, mechanism: machine::id::MechanismId) -> &str {
    let row = &machine.mechanisms[mechanism];
    if row.words.english.is_empty() { &row.name } else { &row.words.english }
}

/// One line: which of the odd readings the cause explains, and which speak against it.
fn reason(ground: &Ground<'_>, class: usize, mass: f64) -> String {
    const NOTHING: &str = "nothing reported shows it";
    let Some((look, latent)) = ground.best[class].map(|(index, latent)| (&ground.looks[index], latent)) else {
        return NOTHING.to_owned();
    };
    // What is hardly likelier than before any report, and then beside something else, explains nothing itself.
    let before: f64 = ground.classes[class].members.iter().map(|member| ground.world.prior.probability(*member)).sum();
    if mass <= 1.5 * before * ground.total && ground.single[class] < 0.5 * mass {
        return NOTHING.to_owned();
    }
    let machine = &ground.world.machine;
    let set = [(&ground.classes[class], latent)];
    let truth = look.truth.with(&lamp_changes(ground.world, &look.situation, &look.truth, &set));
    let usual = ground
        .routine
        .exploration
        .nominal_end(look.stage)
        .map(|situation| ground.world.panel.truth(&ground.world.plant, situation));
    let mut explains = Vec::new();
    let mut unexplained = Vec::new();
    let mut against = Vec::new();
    for report in reports(ground) {
        let Some(lamp) = lamp_number(ground, report.place) else { continue };
        let state = match report.state {
            LampState::Lit => "lit",
            LampState::Dark => "dark",
            LampState::Flickers => "flickering",
        };
        let text = format!("{} {state}", report.place.label(machine));
        let odd = usual.as_ref().is_some_and(|usual| !agrees(usual, lamp, report.state));
        match (odd, agrees(&truth, lamp, report.state)) {
            (true, true) => explains.push(text),
            (true, false) => unexplained.push(text),
            (false, false) => against.push(text),
            (false, true) => {}
        }
    }
    let mut parts = Vec::new();
    if !explains.is_empty() {
        parts.push(format!("explains {}", wording::list(&explains)));
    }
    if !unexplained.is_empty() {
        parts.push(format!("does not explain {}", wording::list(&unexplained)));
    }
    if !against.is_empty() {
        parts.push(format!("speaks against {}", wording::list(&against)));
    }
    if parts.is_empty() {
        let steps: Vec<_> = active_steps(ground, look).into_iter().map(|step| machine.step_name(step)).collect();
        let at =
            if steps.is_empty() { String::new() } else { format!("; it then stands in {}", wording::list(&steps)) };
        return format!("fits all that was reported{at}");
    }
    parts.join("; ")
}
