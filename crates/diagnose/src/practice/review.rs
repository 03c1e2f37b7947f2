//! What there is to learn from an exercise once it is over.

use super::exercise::{Exercise, Outcome};
use super::offers::remedy_words;
use crate::answer::Answer;
use crate::call::by_remedy;
use crate::caller::{Caller, Truth};
use crate::evidence::{Evidence, LampState};
use crate::next::advice::deviation_words;
use crate::next::{ToDo, deed_words};
use crate::reading::describe_lamps;
use crate::trial::{Beginning, Policy, Trial, play};
use crate::wording::lamp_meaning_as;
use rayon::prelude::*;
use serde::Serialize;
use std::collections::BTreeMap;

/// What somebody learns from an exercise.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Review {
    /// How it ended.
    pub outcome: Outcome,
    /// What was wrong, in words; empty if nothing was.
    pub truth: Vec<String>,
    /// Their keys.
    pub truth_keys: Vec<String>,
    /// What puts it right, in words.
    pub remedies: Vec<String>,
    /// Minutes that were used, those of the remedy included.
    pub minutes: f64,
    /// Minutes that the program's own advice takes on the same machine.
    pub advised_minutes: f64,
    /// Whether the advice gets it to run.
    pub advice_solves: bool,
    /// What the program would have done, with the minutes of each.
    pub advised: Vec<(String, f64)>,
    /// Minutes of somebody who knows from the start what it is and puts all of it right. It can run sooner only where
    /// something comes and goes and is in nobody's way just then.
    pub best_minutes: f64,
    /// What was done and told nothing new.
    pub told_nothing: Vec<ToldNothing>,
    /// What each lamp said that bears on the cause, the weightiest first.
    pub lamps: Vec<SaidByLamp>,
    /// How many other lamps were read, which say little about it or nothing.
    pub silent_lamps: usize,
    /// What would have been known at the end, as the program sees it: cause and probability.
    pub known: Vec<(String, f64)>,
}

/// Something that was done and told nothing new.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct ToldNothing {
    /// Which of the things done, from 0.
    pub step: usize,
    /// In words.
    pub words: String,
    /// Minutes that it took.
    pub minutes: f64,
}

/// What a lamp said.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct SaidByLamp {
    /// The lamp with its state: `X3 off`.
    pub lamp: String,
    /// What the lamp is for.
    pub words: String,
    /// How it is when nothing is wrong and it stands there; `None` if that is not the same each time.
    pub expected: Option<bool>,
    /// Bits for what was really wrong; against it if below 0.
    pub bits: f64,
}

/// What tells less than so many bits tells nothing.
const NOTHING: f64 = 0.02;
/// What a lamp must say, in bits, to be named.
const SAYS: f64 = 0.5;
/// Lamps that are named; who learns looks at the weightiest first.
const LAMPS_NAMED: usize = 6;
/// Causes that are named at the end.
const NAMED: usize = 3;

impl Exercise<'_> {
    /// Looks back on the exercise; one that is not over is seen as given up.
    ///
    /// Works out an answer for each step and each lamp read, and follows the program's advice to its end.
    #[must_use]
    pub fn review(&self) -> Review {
        let machine = self.machine();
        let truth = self.present();
        let mut remedies: Vec<_> = truth.iter().filter_map(|one| machine.deviations[*one].remedy).collect();
        remedies.sort();
        remedies.dedup();
        let steps: Vec<&Evidence> =
            std::iter::once(&self.opening).chain(self.done().iter().map(|one| &one.known)).collect();
        let beliefs: Vec<Belief> = steps.par_iter().map(|known| Belief::of(&self.diagnoser.answer(known))).collect();
        let told_nothing = (self.done().iter().enumerate())
            .filter(|(step, done)| done.seen != RUNS && beliefs[step + 1].bits_against(&beliefs[*step]) < NOTHING)
            .map(|(step, done)| ToldNothing { step, words: done.words.clone(), minutes: done.minutes })
            .collect();
        let (advised_minutes, advice_solves, advised) = self.as_advised();
        let (lamps, silent_lamps) = self.said_by_lamps(steps.last().copied());
        Review {
            outcome: self.outcome().cloned().unwrap_or(Outcome::GivenUp),
            truth: truth.iter().map(|one| deviation_words(machine, *one)).collect(),
            truth_keys: self.hidden(),
            remedies: remedies.iter().map(|remedy| remedy_words(machine, &machine.remedies[*remedy])).collect(),
            minutes: self.minutes(),
            advised_minutes,
            advice_solves,
            advised,
            best_minutes: self.repair_minutes(),
            told_nothing,
            lamps,
            silent_lamps,
            known: beliefs.last().map(Belief::leading).unwrap_or_default(),
        }
    }

    /// The program's own way on the same machine.
    fn as_advised(&self) -> (f64, bool, Vec<(String, f64)>) {
        let trial = Trial {
            seed: self.eyes.seed,
            misreading: self.eyes.misreading,
            unreported: self.eyes.unreported,
            does_not_know: self.eyes.does_not_know,
            terms: self.terms(),
            ..Trial::default()
        };
        let caller = Caller::new(self.diagnoser, self.truth.clone(), self.eyes, 0);
        let beginning = Beginning::of(&caller, self.diagnoser, &trial);
        // The advice can always be followed.
        let course = play(caller, self.diagnoser, Policy::Advice, &trial, &beginning).unwrap_or_default();
        let words = |to_do: &ToDo| {
            let known = self.offers().iter().find(|offer| offer.to_do == *to_do);
            known.map_or_else(|| course_words(self, to_do), |offer| offer.words.clone())
        };
        let advised = course.done.iter().map(|(to_do, minutes)| (words(to_do), *minutes)).collect();
        (course.minutes, course.solved, advised)
    }

    /// What each lamp read said about the truth: with it, and without all that was seen of it.
    fn said_by_lamps(&self, known: Option<&Evidence>) -> (Vec<SaidByLamp>, usize) {
        let Some((known, Truth::Listed(truth))) = known.map(|known| (known, &self.truth)) else {
            return (Vec::new(), 0);
        };
        let Some(moment) = known.moments.iter().rposition(|moment| !moment.lamps.is_empty()) else {
            return (Vec::new(), 0);
        };
        let machine = self.machine();
        let wanted: Vec<String> = if truth.deviations.is_empty() {
            vec![NOTHING_WRONG.to_owned()]
        } else {
            let keys = truth.deviations.iter().map(|one| &machine.deviations[*one]);
            keys.map(|row| group(row.remedy.map(|remedy| machine.remedies[remedy].key.as_str()), &row.key)).collect()
        };
        let odds = |evidence: &Evidence| {
            let belief = Belief::of(&self.diagnoser.answer(evidence));
            let there: f64 = wanted.iter().map(|name| belief.share(name)).product();
            (there.max(1e-12) / (1.0 - there).max(1e-12)).log2()
        };
        let whole = odds(known);
        // A lamp that was looked at twice is one lamp.
        let mut lamps = known.moments[moment].lamps.clone();
        let mut places = Vec::new();
        lamps.retain(|lamp| {
            let fresh = !places.contains(&lamp.place);
            places.push(lamp.place);
            fresh
        });
        let expected = self.expected(truth);
        let mut said: Vec<SaidByLamp> = (0..lamps.len())
            .into_par_iter()
            .map(|number| {
                let lamp = lamps[number];
                let mut without = known.clone();
                // What it showed before says much the same, and would speak for it.
                for moment in &mut without.moments {
                    moment.lamps.retain(|one| one.place != lamp.place);
                }
                let lit = expected.as_ref().and_then(|truth| {
                    let there = self.diagnoser.worlds().first()?.panel.number(lamp.place)?;
                    match truth.state(there) {
                        LampState::Lit => Some(true),
                        LampState::Dark => Some(false),
                        LampState::Flickers => None,
                    }
                });
                let there = lamp.place.lamp(machine);
                let words = there.map_or_else(String::new, |row| lamp_meaning_as(machine, &row.kind, lamp.state));
                let bits = whole - odds(&without);
                SaidByLamp { lamp: describe_lamps(machine, &[lamp]), words, expected: lit, bits }
            })
            .collect();
        let all = said.len();
        said.retain(|one| one.bits.abs() >= SAYS);
        said.sort_by(|a, b| b.bits.abs().total_cmp(&a.bits.abs()));
        said.truncate(LAMPS_NAMED);
        let silent = all - said.len();
        (said, silent)
    }

    /// What the lamps show when nothing is wrong and as much of the routine was done.
    fn expected(&self, truth: &crate::hypothesis::Hypothesis) -> Option<crate::panel::LampTruth> {
        let world = self.diagnoser.worlds().get(truth.world)?;
        let end = world.routines.get(truth.routine)?.exploration.nominal_end(truth.stage)?;
        Some(world.panel.truth(&world.plant, end))
    }
}

/// What is seen when it runs again.
pub(super) const RUNS: &str = "it runs again";

fn course_words(exercise: &Exercise<'_>, to_do: &ToDo) -> String {
    match to_do {
        ToDo::GoOn => "go on with the routine: nothing is wrong".to_owned(),
        ToDo::Act(deed) => {
            let words = exercise.routine().map(|routine| deed_words(exercise.machine(), routine, deed).english);
            words.filter(|words| !words.is_empty()).unwrap_or_else(|| to_do.key(exercise.machine()))
        }
        other => other.key(exercise.machine()),
    }
}

const NOTHING_WRONG: &str = "nothing is wrong";
const NOT_IN_FILE: &str = "something that is not in this file";

/// The name of a cause among those that the same remedy puts right.
fn group(remedy: Option<&str>, key: &str) -> String {
    remedy.map_or_else(|| format!(" {key}"), str::to_owned)
}

/// How probable each cause is; causes that the same remedy puts right count as one.
struct Belief {
    /// By name, how probable, and in words.
    shares: BTreeMap<String, (f64, String)>,
}

impl Belief {
    fn of(answer: &Answer) -> Self {
        let mut shares: BTreeMap<String, (f64, String)> = by_remedy(answer)
            .into_iter()
            .map(|found| {
                let key = found.keys.first().map_or("", String::as_str);
                let words = found.causes.first().cloned().unwrap_or_default();
                (group(found.remedy.as_deref(), key), (found.probability, words))
            })
            .collect();
        shares.insert(NOTHING_WRONG.to_owned(), (answer.nothing_wrong, NOTHING_WRONG.to_owned()));
        shares.insert(NOT_IN_FILE.to_owned(), (answer.not_in_file, NOT_IN_FILE.to_owned()));
        Self { shares }
    }

    fn share(&self, name: &str) -> f64 {
        self.shares.get(name).map_or(0.0, |(share, _)| *share)
    }

    /// Bits by which this differs from what was believed before (Kullback and Leibler's divergence, 1951).
    fn bits_against(&self, before: &Self) -> f64 {
        let total = |belief: &Self| belief.shares.values().map(|(share, _)| share).sum::<f64>().max(f64::MIN_POSITIVE);
        let (here, there) = (total(self), total(before));
        (self.shares.iter())
            .filter(|(_, (share, _))| *share > 0.0)
            .map(|(name, (share, _))| {
                let (now, then) = (share / here, (before.share(name) / there).max(1e-9));
                now * (now / then).log2()
            })
            .sum()
    }

    fn leading(&self) -> Vec<(String, f64)> {
        let mut all: Vec<(String, f64)> = self.shares.values().map(|(share, words)| (words.clone(), *share)).collect();
        all.sort_by(|a, b| b.1.total_cmp(&a.1));
        all.truncate(NAMED);
        all
    }
}
