//! What can be asked, with the probability of each answer in each case.

use super::todo::ToDo;
use crate::class::bears_on;
use crate::diagnoser::Diagnoser;
use crate::evidence::{Deed, Evidence, LampPlace, LampState, Moment};
use crate::hypothesis::Hypothesis;
use crate::likelihood::lamp_likelihood;
use crate::numbered::numbered;
use crate::panel::LampTruth;
use crate::renamed::same_check;
use crate::seen::reported;
use crate::within_reach::is_position_for_operator;
use crate::world::World;
use machine::Machine;
use machine::caution::Doing;
use machine::id::{CheckId, DeviationId, Id, MechanismId};
use machine::model::{DeviationKind, HandMove, Observable, Who};
use rayon::prelude::*;
use rustc_hash::FxHashMap;
use sim::{Situation, View};
use smallvec::SmallVec;

/// A device is worth a check if this much of the weight says that something is wrong with it.
const WORTH_A_CHECK: f64 = 1e-3;

/// Hypotheses whose machines are worked on in the simulation, to foretell what an act brings.
const MOST_FORETOLD: usize = 60;

/// What an act can bring that is told apart.
const MOST_OUTCOMES: usize = 6;

/// What all lamps together can show that is told apart.
const MOST_READINGS: usize = 24;

/// Error of a reading of all lamps, one lamp, a position.
const READING_ERROR: f64 = 0.1;

/// Minutes of looking at one lamp. Common practice, no source.
pub const LAMP_MINUTES: f64 = 0.3;
/// Minutes of looking at all lamps. Common practice, no source.
pub const LAMPS_MINUTES: f64 = 1.5;
/// Minutes of looking where a mechanism stands. Common practice, no source.
pub const POSITION_MINUTES: f64 = 0.5;
/// Minutes of working the machine. It destroys what could be seen before; the lamps have to be read again. Common
/// practice, no source.
pub const ACT_MINUTES: f64 = 2.0;
/// Minutes of going on with the routine. Common practice, no source.
pub const GO_ON_MINUTES: f64 = 1.0;

/// Something that tells cases apart, with the words of its answers.
#[derive(Clone, Debug)]
pub(crate) struct Asked {
    pub to_do: ToDo,
    pub who: Who,
    pub minutes: f64,
    /// Key and words of each answer.
    pub answers: Vec<(String, String)>,
}

/// Everything that can be asked as things stand.
pub(crate) fn questions(
    machine: &Machine,
    worlds: &[World],
    hypotheses: &[Hypothesis],
    total: f64,
    evidence: &Evidence,
) -> Vec<ToDo> {
    let now = evidence.now();
    let checks = worth_asking(machine, hypotheses, worlds, total, now);
    let mut questions: Vec<ToDo> = checks.into_iter().map(ToDo::Check).collect();
    let unread = unread(machine, now);
    questions.extend(unread.iter().map(|place| ToDo::Lamp(*place)));
    if unread.len() > 2 {
        questions.push(ToDo::Lamps);
    }
    let unseen = machine.mechanisms.ids().filter(|mechanism| {
        is_position_for_operator(machine, *mechanism)
            && now.positions.iter().all(|report| report.mechanism != *mechanism)
    });
    questions.extend(unseen.map(ToDo::Position));
    let acts = worlds.first().into_iter().flat_map(|first| acts(first, hypotheses, worlds));
    questions.extend(acts.filter(|deed| !worn_out(*deed, hypotheses, worlds, &evidence.moments)).map(ToDo::Act));
    questions
}

/// The lamps that nobody has read.
fn unread(machine: &Machine, now: &Moment) -> Vec<LampPlace> {
    let all = LampPlace::all(machine).map(|(place, _)| place);
    all.filter(|place| now.lamps.iter().all(|lamp| lamp.place != *place)).collect()
}

/// What can be the case, for asking.
pub(crate) struct Cases<'c> {
    diagnoser: &'c Diagnoser,
    worlds: &'c [World],
    hypotheses: &'c [Hypothesis],
    /// What the lamps show, by hypothesis.
    truths: Vec<LampTruth>,
    /// How the machines look, each once, with the alternative that it is of; and by hypothesis, which of them is its own.
    situations: Vec<(usize, &'c Situation)>,
    places: Vec<usize>,
    /// See [`lamps_there`], by alternative.
    there: Vec<Vec<Option<usize>>>,
    unread: Vec<LampPlace>,
}

impl<'c> Cases<'c> {
    pub fn new(diagnoser: &'c Diagnoser, hypotheses: &'c [Hypothesis], now: &Moment) -> Self {
        let worlds = diagnoser.worlds();
        let first = worlds.first();
        let there = worlds.iter().map(|world| first.map_or_else(Vec::new, |first| lamps_there(first, world)));
        let (places, situations) = numbered(hypotheses.iter().map(|one| one.situation(worlds)));
        // What lies at one place is of one alternative.
        let mut of = vec![0; situations.len()];
        hypotheses.iter().zip(&places).for_each(|(one, place)| of[*place] = one.world);
        Self {
            situations: of.into_iter().zip(situations).collect(),
            places,
            diagnoser,
            worlds,
            hypotheses,
            truths: hypotheses.par_iter().map(|one| one.lamps(worlds)).collect(),
            there: there.collect(),
            unread: first.map_or_else(Vec::new, |first| unread(&first.machine, now)),
        }
    }

    /// A question with its answers and the probability of each under each hypothesis: all answers under the first, then
    /// all under the second …; `None` for what is not asked.
    pub fn ask(&self, question: ToDo) -> Option<(Asked, Vec<f64>)> {
        let first = self.worlds.first()?;
        match question {
            ToDo::Check(check) => Some(self.check(&first.machine, check)),
            ToDo::Lamp(place) => self.lamp(first, place),
            ToDo::Lamps => Some(self.lamps(first)),
            ToDo::Position(mechanism) => Some(self.position(&first.machine, mechanism)),
            ToDo::Act(deed) => self.act(first, deed),
            ToDo::Remedy(_) | ToDo::GoOn => None,
        }
    }

    fn check(&self, machine: &Machine, check: CheckId) -> (Asked, Vec<f64>) {
        let it = &machine.checks[check];
        let who = it.who.max(Doing::of_check(machine, it).who());
        let answers: Vec<_> =
            it.answers.iter().map(|answer| (answer.key.clone(), answer.words.english.clone())).collect();
        let same = self.worlds.iter().map(|world| {
            let there = same_check(machine, check, &world.machine).map(|check| &world.machine.checks[check]);
            there.filter(|there| there.answers.len() == answers.len()).map(|there| there.observes.clone())
        });
        let same: Vec<Option<Observable>> = same.collect();
        let row = self.row(answers.len(), it.error, &same);
        (Asked { to_do: ToDo::Check(check), who, minutes: it.minutes, answers }, row)
    }

    fn position(&self, machine: &Machine, mechanism: MechanismId) -> (Asked, Vec<f64>) {
        let it = &machine.mechanisms[mechanism];
        let answers: Vec<(String, String)> = (it.positions.iter())
            .map(|position| (position.clone(), position.replace('_', " ")))
            .chain(std::iter::once(("between".to_owned(), "in between".to_owned())))
            .collect();
        let same = self.worlds.iter().map(|world| {
            let there = world.machine.mechanisms.find(|there| there.name == it.name);
            there.map(|(there, _)| Observable::Position(there))
        });
        let same: Vec<Option<Observable>> = same.collect();
        let row = self.row(answers.len(), self.diagnoser.doubt().position, &same);
        (Asked { to_do: ToDo::Position(mechanism), who: Who::Operator, minutes: POSITION_MINUTES, answers }, row)
    }

    /// What is said when this is looked at, by alternative; where it is not there anything is said.
    fn row(&self, answers: usize, error: f64, what: &[Option<Observable>]) -> Vec<f64> {
        let told = |world: usize, situation: &Situation, deviations: &[DeviationId]| -> SmallVec<[f64; 4]> {
            let shares = what[world].as_ref().map(|observable| {
                let world = &self.worlds[world];
                View::new(&world.machine, &world.plant, situation, deviations).answers(observable)
            });
            match shares {
                Some(shares) if shares.len() == answers => {
                    (0..answers).map(|said| reported(&shares, said, error)).collect()
                }
                _ => even(answers).into(),
            }
        };
        // Most of what can be wrong bears on something else, and then the machine as it stands tells everything.
        let as_it_stands: Vec<_> =
            self.situations.iter().map(|(world, situation)| told(*world, situation, &[])).collect();
        let bearing: Vec<Vec<bool>> = (self.worlds.iter().zip(what))
            .map(|(world, what)| {
                let machine = &world.machine;
                let bears = |id| what.as_ref().is_some_and(|what| bears_on(machine, id, what));
                machine.deviations.iter().map(|(id, _)| bears(id)).collect()
            })
            .collect();
        let mut row = Vec::with_capacity(self.hypotheses.len() * answers);
        for (one, place) in self.hypotheses.iter().zip(&self.places) {
            if one.deviations.iter().any(|deviation| bearing[one.world][deviation.index()]) {
                row.extend(told(one.world, self.situations[*place].1, &one.deviations));
            } else {
                row.extend_from_slice(&as_it_stands[*place]);
            }
        }
        row
    }

    fn lamp(&self, first: &World, place: LampPlace) -> Option<(Asked, Vec<f64>)> {
        let lamp = first.panel.number(place)?;
        let error = self.diagnoser.doubt().lamps.named;
        let states = [LampState::Lit, LampState::Dark, LampState::Flickers];
        let mut row = Vec::with_capacity(self.hypotheses.len() * states.len());
        for (one, truth) in self.hypotheses.iter().zip(&self.truths) {
            row.extend(match self.there[one.world][lamp] {
                Some(lamp) => {
                    let truth = truth.of(lamp);
                    states.map(|state| lamp_likelihood(state, truth, error))
                }
                None => [1.0 / 3.0; 3],
            });
        }
        let answers = [("lit", "lit"), ("dark", "dark"), ("flickers", "goes on and off")];
        let answers = answers.map(|(key, words)| (key.to_owned(), words.to_owned())).to_vec();
        Some((Asked { to_do: ToDo::Lamp(place), who: Who::Operator, minutes: LAMP_MINUTES, answers }, row))
    }

    fn lamps(&self, first: &World) -> (Asked, Vec<f64>) {
        let lamps: Vec<usize> = self.unread.iter().filter_map(|place| first.panel.number(*place)).collect();
        let seen: Vec<Vec<LampState>> = (self.hypotheses.par_iter().zip(&self.truths))
            .map(|(one, truth)| {
                let shown =
                    |lamp: &usize| self.there[one.world][*lamp].map_or(LampState::Dark, |lamp| truth.state(lamp));
                lamps.iter().map(shown).collect()
            })
            .collect();
        let weights: Vec<f64> = self.hypotheses.iter().map(|one| one.weight).collect();
        let (row, patterns) = outcomes(&seen, &weights, MOST_READINGS);
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
        (Asked { to_do: ToDo::Lamps, who: Who::Operator, minutes: LAMPS_MINUTES, answers }, row)
    }

    fn act(&self, first: &World, deed: Deed) -> Option<(Asked, Vec<f64>)> {
        let (row, answers) = self.foretold(first, deed);
        // Whatever is the case, the same follows: it tells nothing, and takes away what can be seen now.
        let tells = answers.len() > 2;
        tells.then_some((Asked { to_do: ToDo::Act(deed), who: Who::Operator, minutes: ACT_MINUTES, answers }, row))
    }

    /// What the lamps show after a deed, foretold by simulation for the leading hypotheses.
    fn foretold(&self, first: &World, deed: Deed) -> (Vec<f64>, Vec<(String, String)>) {
        let Self { worlds, hypotheses, truths: before, there, .. } = self;
        let panel = &first.panel;
        let count = hypotheses.len().min(MOST_FORETOLD);
        let seen: Vec<Option<Vec<(usize, LampState)>>> = hypotheses[..count]
            .par_iter()
            .zip(&before[..count])
            .map(|(one, before)| {
                let world = &worlds[one.world];
                let movement = movement_of(world, one.routine, deed)?;
                let (stood, latent) = one.stood(worlds)?;
                let after = world.routines[one.routine].go_on(world, &stood, &latent, &[], &movement.into());
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

pub(crate) fn even(answers: usize) -> Vec<f64> {
    vec![1.0 / answers.max(1) as f64; answers]
}

/// Whether two cases answer differently.
pub(crate) fn tells_apart(row: &[f64], answers: usize) -> bool {
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
    let mut row = vec![READING_ERROR / (answers - 1) as f64; seen.len() * answers];
    for (one, shares) in seen.iter().zip(row.chunks_exact_mut(answers)) {
        shares[place.get(one).copied().unwrap_or(sorted.len())] = 1.0 - READING_ERROR;
    }
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

/// How often the machine is worked in one way before it is left at that: what it has not told twice it does not tell.
const MOST_WORKED: usize = 2;

/// Whether this was done so often since the call began that it is not proposed any more.
fn worn_out(deed: Deed, hypotheses: &[Hypothesis], worlds: &[World], moments: &[Moment]) -> bool {
    let Some(leading) = hypotheses.first() else { return false };
    let of = |deed| movement_of(&worlds[leading.world], leading.routine, deed);
    let done = moments.iter().skip(1).flat_map(|moment| &moment.deeds).filter(|done| of(**done) == of(deed));
    done.count() >= MOST_WORKED
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
