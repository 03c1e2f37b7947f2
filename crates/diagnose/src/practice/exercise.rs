//! One exercise: what is wrong is drawn, and whatever is done is answered by the machine.

use super::Level;
use super::offers::{Offer, offers};
use super::order;
use super::review::RUNS;
use crate::caller::{Caller, Eyes, Truth, Urn};
use crate::diagnoser::Diagnoser;
use crate::evidence::{CheckReport, Deed, Evidence, LampReport, LampState, Moment, PositionReport};
use crate::hypothesis::Hypothesis;
use crate::next::{GO_ON_MINUTES, LAMPS_MINUTES, Movement, Terms, ToDo, movements};
use crate::reading::{describe_deeds, describe_lamps};
use crate::wording;
use machine::Machine;
use machine::id::{DeviationId, RoutineId};
use machine::model::{DeviationKind, FaultEffect, HandMove, Who, Words};
use serde::Serialize;
use std::collections::BTreeMap;

/// What somebody says who calls for help.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Opening {
    /// What is complained of.
    pub complaint: String,
    /// What was being done; empty if that is not said, or where there is just one thing to do.
    pub doing: String,
    /// What was done last; empty if that is not said.
    pub did: String,
}

/// Something that was done, and what came of it.
#[derive(Clone, Debug, PartialEq)]
pub struct Done {
    /// Its key.
    pub key: String,
    /// In words.
    pub words: String,
    /// Minutes that it took.
    pub minutes: f64,
    /// What was seen, in words.
    pub seen: String,
    /// How all lamps are, where all were looked at.
    pub lamps: Vec<LampReport>,
    /// Everything known afterwards.
    pub(super) known: Evidence,
}

/// How an exercise ended.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Outcome {
    /// The cause that was named is right.
    Found,
    /// The cause that was named is wrong.
    Mistaken,
    /// It runs again: what was tried was right.
    Runs,
    /// It was given up.
    GivenUp,
}

/// What can't be done in an exercise.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Mistake {
    /// The exercise is over.
    Over,
    /// There is nothing of this name to be done.
    NoSuchThing,
    /// There is no cause of this name.
    NoSuchCause,
}

/// A simulated machine in which something is hidden.
#[derive(Clone, Debug)]
pub struct Exercise<'d> {
    pub(super) diagnoser: &'d Diagnoser,
    machine: &'d Machine,
    pub(super) truth: Truth,
    pub(super) eyes: Eyes,
    caller: Caller<'d>,
    level: Level,
    number: u64,
    offers: Vec<Offer>,
    pub(super) opening: Evidence,
    evidence: Evidence,
    done: Vec<Done>,
    minutes: f64,
    outcome: Option<Outcome>,
}

impl<'d> Exercise<'d> {
    /// The exercise of this number. The machine has to be worked out for the level's
    /// [circumstances](Level::circumstances). `None` if this machine has nothing of this level.
    #[must_use]
    pub fn new(diagnoser: &'d Diagnoser, level: Level, number: u64) -> Option<Self> {
        let machine = diagnoser.machine()?;
        let known = Evidence { once_in: level.circumstances().once_in, ..Evidence::default() };
        let urn = Urn::of(diagnoser, &known).only(|one| belongs(diagnoser, level, one));
        let truth = drawn(&urn, level, number)?;
        // Who practises reads what is there, and is told nothing that was not looked at.
        let eyes = Eyes { seed: number, misreading: 0.0, unreported: 1.0, does_not_know: 0.0 };
        let caller = Caller::new(diagnoser, truth.clone(), eyes, 0);
        let opening = Evidence { once_in: known.once_in, ..caller.opening() };
        Some(Self {
            diagnoser,
            machine,
            truth,
            eyes,
            caller,
            level,
            number,
            offers: offers(machine, machine.prices.trial_run),
            evidence: opening.clone(),
            opening,
            done: Vec::new(),
            minutes: 0.0,
            outcome: None,
        })
    }

    /// Who practises stands at the machine and is qualified for everything, so that nobody has to come.
    pub(super) fn terms(&self) -> Terms {
        Terms { caller: Who::Electrician, ..Terms::of(self.machine) }
    }

    /// The machine.
    #[must_use]
    pub fn machine(&self) -> &'d Machine {
        self.machine
    }

    /// How hard it is.
    #[must_use]
    pub fn level(&self) -> Level {
        self.level
    }

    /// Its number.
    #[must_use]
    pub fn number(&self) -> u64 {
        self.number
    }

    /// What is said at the beginning.
    #[must_use]
    pub fn opening(&self) -> Opening {
        let deeds = self.opening.moments.first().map(|moment| moment.deeds.as_slice()).unwrap_or_default();
        let routine = self.routine();
        Opening {
            complaint: match (
                self.opening.complaint.map_or("it is not right", wording::complaint),
                self.opening.once_in,
            ) {
                (words, None) => words.to_owned(),
                (words, Some(cycles)) => format!("{words}, once in {cycles:.0} cycles"),
            },
            doing: (self.opening.routine)
                .filter(|_| self.machine.routines.len() > 1)
                .map(|routine| self.machine.routines[routine].words.english.clone())
                .unwrap_or_default(),
            did: routine.map(|routine| self.done_last(routine, deeds)).unwrap_or_default(),
        }
    }

    /// The routine that was said to be under way, else the usual one; none if the machine has none.
    pub(super) fn routine(&self) -> Option<RoutineId> {
        self.opening.routine.or_else(|| self.machine.routines.ids().next())
    }

    /// An action of the routine in the words that the file has for it.
    fn done_last(&self, routine: RoutineId, deeds: &[Deed]) -> String {
        match deeds {
            [Deed::Routine(Some(action))] => {
                let action = self.machine.routines[routine].actions.get(*action);
                action.map(|action| action.words.english.clone()).unwrap_or_default()
            }
            _ => describe_deeds(self.machine, routine, deeds),
        }
    }

    /// What can be done.
    #[must_use]
    pub fn offers(&self) -> &[Offer] {
        &self.offers
    }

    /// What was done so far.
    #[must_use]
    pub fn done(&self) -> &[Done] {
        &self.done
    }

    /// Minutes used so far.
    #[must_use]
    pub fn minutes(&self) -> f64 {
        self.minutes
    }

    /// How it ended, once it has.
    #[must_use]
    pub fn outcome(&self) -> Option<&Outcome> {
        self.outcome.as_ref()
    }

    /// Does what has this key, see [`ToDo::key`], and looks what comes of it.
    ///
    /// # Errors
    /// Nothing of this name can be done, or the exercise is over.
    pub fn take(&mut self, key: &str) -> Result<&Done, Mistake> {
        if self.outcome.is_some() {
            return Err(Mistake::Over);
        }
        let offer = self.offers.iter().find(|offer| offer.key.eq_ignore_ascii_case(key)).ok_or(Mistake::NoSuchThing)?;
        let (to_do, words, mut minutes) = (offer.to_do, offer.words.clone(), offer.minutes);
        let key = offer.key.clone();
        let seen = match to_do {
            ToDo::Remedy(remedy) => {
                if self.caller.put_right(&to_do) {
                    self.outcome = Some(Outcome::Runs);
                    (RUNS.to_owned(), Vec::new())
                } else {
                    minutes += LAMPS_MINUTES;
                    let lamps = self.caller.read_lamps("again", 0.0);
                    let moment =
                        Moment { remedies: vec![remedy], lamps: lamps.clone(), runs: Some(false), ..Moment::default() };
                    self.evidence.moments.push(moment);
                    ("it does not run; all lamps were read again".to_owned(), lamps)
                }
            }
            _ => {
                let movement = match to_do {
                    ToDo::Act(Deed::Extra(movement)) => Some(movement),
                    _ => None,
                };
                let before = self.lamps_known();
                self.caller.ask(to_do, movement, &mut self.evidence);
                self.seen(to_do, movement, &before)
            }
        };
        self.minutes += minutes;
        let known = self.evidence.clone();
        self.done.push(Done { key, words, minutes, seen: seen.0, lamps: seen.1, known });
        self.done.last().ok_or(Mistake::NoSuchThing)
    }

    /// What can move when this is done, as far as anybody can know who has seen what was seen: it is said before. A key of
    /// nothing moves nothing.
    #[must_use]
    pub fn can_move(&self, key: &str) -> Vec<Movement> {
        /// Share of the weight that is looked at, and hypotheses at most.
        const LOOKED_AT: (f64, usize) = (0.999, 2_000);
        let Some(offer) = self.offers.iter().find(|offer| offer.key.eq_ignore_ascii_case(key)) else {
            return Vec::new();
        };
        if !matches!(offer.to_do, ToDo::Act(_) | ToDo::Remedy(_) | ToDo::Check(_)) {
            return Vec::new();
        }
        let (hypotheses, unknown) = self.diagnoser.hypotheses(&self.evidence, LOOKED_AT.0, LOOKED_AT.1);
        let total = hypotheses.iter().map(|one| one.weight).sum::<f64>() + unknown;
        movements(self.diagnoser, &hypotheses, total, &offer.to_do)
    }

    fn lamps_known(&self) -> Vec<LampReport> {
        self.evidence.moments.last().map(|moment| moment.lamps.clone()).unwrap_or_default()
    }

    fn seen(&self, to_do: ToDo, movement: Option<HandMove>, before: &[LampReport]) -> (String, Vec<LampReport>) {
        let Some(now) = self.evidence.moments.last() else { return (String::new(), Vec::new()) };
        let last = |text: String| (text, Vec::new());
        match to_do {
            ToDo::Check(_) => last(now.checks.last().map_or_else(String::new, |one| self.answered(one))),
            ToDo::Position(_) => last(now.positions.last().map_or_else(String::new, |one| self.stands(one))),
            ToDo::Lamp(_) => last(describe_lamps(self.machine, now.lamps.last().map_or(&[], std::slice::from_ref))),
            ToDo::Lamps => (lit(self.machine, &now.lamps), now.lamps.clone()),
            _ => {
                let changed: Vec<LampReport> = (now.lamps.iter().copied())
                    .filter(|lamp| before.iter().any(|known| known.place == lamp.place && known.state != lamp.state))
                    .collect();
                let text = match (movement, before.is_empty(), changed.as_slice()) {
                    (_, true, _) => lit(self.machine, &now.lamps),
                    (_, false, []) => "no lamp is otherwise than before".to_owned(),
                    (_, false, changed) => format!("now: {}", describe_lamps(self.machine, changed)),
                };
                (text, now.lamps.clone())
            }
        }
    }

    /// The answer to a check, in words.
    fn answered(&self, report: &CheckReport) -> String {
        let check = &self.machine.checks[report.check];
        check.answers.get(report.answer).map_or_else(String::new, |one| in_words(&one.words, &one.key))
    }

    /// Where something stands, in words.
    fn stands(&self, report: &PositionReport) -> String {
        let row = &self.machine.mechanisms[report.mechanism];
        let place =
            report.position.map(usize::from).and_then(|at| Some((row.positions.get(at)?, row.position_words.get(at))));
        let place = place.map(|(name, words)| words.map_or_else(|| name.clone(), |words| in_words(words, name)));
        place.unwrap_or_else(|| "in between".to_owned())
    }

    /// Names what is wrong, by the keys of deviations (`B3/dead`); none for "nothing is wrong". Causes that the same
    /// remedy puts right count as one. It ends the exercise, and takes the minutes of the remedies.
    ///
    /// # Errors
    /// A cause of this name is not in the file, or the exercise is over.
    pub fn name_cause(&mut self, keys: &[&str]) -> Result<Outcome, Mistake> {
        if self.outcome.is_some() {
            return Err(Mistake::Over);
        }
        let found: Option<Vec<DeviationId>> = keys
            .iter()
            .map(|key| self.machine.deviations.find(|row| row.key.eq_ignore_ascii_case(key)).map(|(id, _)| id))
            .collect();
        let found = found.ok_or(Mistake::NoSuchCause)?;
        let mut named = needs(self.machine, &found);
        let mut needed = needs(self.machine, &self.present());
        named.sort();
        needed.sort();
        let outcome = if named == needed { Outcome::Found } else { Outcome::Mistaken };
        // Who is mistaken puts right what he has named.
        self.minutes += self.minutes_for(&found);
        self.outcome = Some(outcome.clone());
        Ok(outcome)
    }

    /// Gives up.
    pub fn give_up(&mut self) {
        if self.outcome.is_none() {
            self.outcome = Some(Outcome::GivenUp);
        }
    }

    /// The keys of what is hidden; none if nothing is wrong.
    #[must_use]
    pub fn hidden(&self) -> Vec<String> {
        self.present().into_iter().map(|one| self.machine.deviations[one].key.clone()).collect()
    }

    /// What is hidden.
    pub(super) fn present(&self) -> Vec<DeviationId> {
        match &self.truth {
            Truth::Listed(one) => one.deviations.to_vec(),
            Truth::Unlisted => Vec::new(),
        }
    }

    /// Minutes of putting right what is wrong, by somebody who knows it; where nothing is, of going on.
    pub(super) fn repair_minutes(&self) -> f64 {
        self.minutes_for(&self.present())
    }

    /// Minutes of putting these right.
    fn minutes_for(&self, deviations: &[DeviationId]) -> f64 {
        if deviations.is_empty() {
            return GO_ON_MINUTES + self.machine.prices.trial_run;
        }
        let mut remedies: Vec<_> = deviations.iter().filter_map(|one| self.machine.deviations[*one].remedy).collect();
        remedies.sort();
        remedies.dedup();
        remedies.iter().map(|remedy| self.machine.remedies[*remedy].minutes + self.machine.prices.trial_run).sum()
    }
}

/// What is hidden in the exercise of this number. What comes as it comes repeats as often as it really does; on the other
/// levels nothing comes again before so many others have.
fn drawn(urn: &Urn, level: Level, number: u64) -> Option<Truth> {
    /// Exercises after which a cause may come again.
    const IN_A_ROUND: usize = 12;
    let mut dice = fastrand::Rng::with_seed(number);
    if level == Level::AsItComes {
        return urn.draw(&mut dice);
    }
    let cause_of = |one: &Hypothesis| {
        let mut deviations = one.deviations.to_vec();
        deviations.sort();
        deviations
    };
    let mut causes: BTreeMap<Vec<DeviationId>, f64> = BTreeMap::new();
    for one in urn.hypotheses() {
        *causes.entry(cause_of(one)).or_insert(0.0) += one.weight;
    }
    let weights: Vec<f64> = causes.values().copied().collect();
    let cause = causes.keys().nth(order::drawn(number, &weights, IN_A_ROUND)?)?;
    urn.among(|one| cause_of(one) == *cause).draw(&mut dice)
}

/// What has to be put right: remedies by name; a deviation without one stands for itself.
fn needs(machine: &Machine, deviations: &[DeviationId]) -> Vec<String> {
    let mut all: Vec<String> = deviations
        .iter()
        .map(|one| {
            let row = &machine.deviations[*one];
            match row.remedy.map(|remedy| &machine.remedies[remedy]) {
                // What is made good alike is one thing to whoever says it, whichever routine it was forgotten in.
                Some(remedy) if remedy.device.is_none() => remedy.words.english.clone(),
                Some(remedy) => remedy.key.clone(),
                None => format!(" {}", row.key),
            }
        })
        .collect();
    all.sort();
    all.dedup();
    all
}

/// The English words; where there are none the name in the file, as people say it.
fn in_words(words: &Words, name: &str) -> String {
    if words.english.is_empty() { name.replace('_', " ") } else { words.english.clone() }
}

/// Which lamps are lit, in words.
fn lit(machine: &Machine, lamps: &[LampReport]) -> String {
    let not_dark: Vec<LampReport> = lamps.iter().copied().filter(|lamp| lamp.state != LampState::Dark).collect();
    if not_dark.is_empty() {
        return "all lamps are dark".to_owned();
    }
    format!("{}; all others are dark", describe_lamps(machine, &not_dark))
}

/// Whether something belongs to a level.
fn belongs(diagnoser: &Diagnoser, level: Level, one: &Hypothesis) -> bool {
    let Some(world) = diagnoser.worlds().get(one.world) else { return false };
    let machine = &world.machine;
    // What has an exercise in it is what the most probable alternative has: names are its names.
    if one.world != 0 {
        return false;
    }
    let is_lapse = |id: &DeviationId| machine.deviations[*id].kind == DeviationKind::Lapse;
    let in_play = one.in_play();
    let count = one.deviations.len();
    match level {
        Level::Lapse => count == 1 && one.deviations.iter().all(is_lapse),
        Level::Fault => count == 1 && in_play == 1 && !one.deviations.iter().any(is_lapse),
        Level::AsItComes => count <= 1,
        Level::Two => count == 2 && in_play == 2,
        Level::ComesAndGoes => count == 1 && one.deviations.iter().any(|id| comes_and_goes(machine, *id)),
    }
}

/// Whether a fault shows now and then only.
fn comes_and_goes(machine: &Machine, deviation: DeviationId) -> bool {
    machine.deviations[deviation].effects.iter().any(FaultEffect::comes_and_goes)
}
