//! The state of a call: entries, and what follows from them.

use super::build::{Built, OPENING, build};
use super::entry::{Entry, EntryMistake, Kind, added};
use super::finding::{Finding, finding};
use super::record::Origin;
use super::verify::Verification;
use super::watch::{Watch, watch};
use super::worked_out::WorkedOut;
use crate::answer::Answer;
use crate::diagnoser::{Diagnoser, Weighed};
use crate::evidence::{Circumstances, Evidence};
use crate::next::{Advice, Terms, advise_weighed};
use machine::Alternative;
use machine::Machine;
use machine::id::{Id, RoutineId};
use serde::Serialize;
use std::collections::BTreeMap;
use std::sync::{Arc, Mutex, OnceLock, PoisonError};

/// What is known now.
#[derive(Clone, Debug)]
pub struct Now {
    /// The entries as evidence.
    pub evidence: Evidence,
    /// Who is there, and what they can't do.
    pub terms: Terms,
    /// What is wrong, as far as can be told.
    pub answer: Answer,
    /// The routine, and how many of its actions were done, that lead.
    pub leading: (RoutineId, u16),
    /// Whether it runs again.
    runs: bool,
    /// The remedy that was tried last.
    tried: Option<String>,
}

/// What to ask.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Question {
    /// What is complained of.
    Complaint,
    /// What was done last.
    Did,
    /// All lamps.
    Lamps,
    /// The proposal with this number in [`Advice::proposals`].
    Proposal(usize),
}

/// A cause that something reported has made improbable.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct RuledOut {
    /// The cause.
    pub words: String,
    /// How probable it was before.
    pub before: f64,
    /// How probable it is now.
    pub now: f64,
    /// The entry after which it fell most, from 0.
    pub entry: usize,
}

/// A call that goes on.
#[derive(Debug)]
pub struct Session {
    worked_out: Arc<WorkedOut>,
    terms: Terms,
    diagnoser: Arc<Diagnoser>,
    circumstances: Circumstances,
    entries: Vec<Entry>,
    past: Vec<Vec<Entry>>,
    now: Now,
    /// What was weighed for the answer, until what to do next is worked out from it.
    weighed: Mutex<Option<Weighed>>,
    /// What to do next and what it was, once somebody asks.
    next: OnceLock<(Advice, Option<Finding>)>,
}

impl Session {
    /// A call about a machine, with what has been said already. `None` for a machine without alternatives, or if the
    /// procedure that it goes on from is not there.
    ///
    /// # Errors
    /// The entries that can't be understood.
    pub fn new(
        alternatives: Vec<Alternative>,
        origin: Option<&Origin>,
        terms: Terms,
        entries: Vec<Entry>,
    ) -> Result<Option<Self>, Vec<EntryMistake>> {
        match WorkedOut::new(alternatives, origin) {
            Some(worked_out) => Self::of(Arc::new(worked_out), terms, entries).map(Some),
            None => Ok(None),
        }
    }

    /// A call about a machine that other calls may be about too, with what has been said already.
    ///
    /// # Errors
    /// The entries that can't be understood.
    pub fn of(worked_out: Arc<WorkedOut>, terms: Terms, entries: Vec<Entry>) -> Result<Self, Vec<EntryMistake>> {
        let built = build(worked_out.names(), &entries)?;
        let circumstances = built.evidence.circumstances();
        let diagnoser = worked_out.diagnoser(&circumstances);
        let (now, weighed) = work_out(&diagnoser, &terms, built);
        let (weighed, past, next) = (Mutex::new(Some(weighed)), Vec::new(), OnceLock::new());
        Ok(Self { worked_out, terms, diagnoser, circumstances, entries, past, now, weighed, next })
    }

    /// The machine, with the names that are used in the call.
    #[must_use]
    pub fn machine(&self) -> &Machine {
        self.worked_out.names()
    }

    /// What was said, in order.
    #[must_use]
    pub fn entries(&self) -> &[Entry] {
        &self.entries
    }

    /// What is known now.
    #[must_use]
    pub fn now(&self) -> &Now {
        &self.now
    }

    /// What to do next. It is worked out when it is asked for first, which takes longer than the answer.
    #[must_use]
    pub fn advice(&self) -> &Advice {
        &self.next().0
    }

    /// What it was, if that can be said.
    #[must_use]
    pub fn finding(&self) -> Option<&Finding> {
        self.next().1.as_ref()
    }

    fn next(&self) -> &(Advice, Option<Finding>) {
        self.next.get_or_init(|| {
            let now = &self.now;
            let weighed = self.weighed.lock().unwrap_or_else(PoisonError::into_inner).take();
            let weighed = || weighed.unwrap_or_else(|| self.diagnoser.weighed(&now.evidence));
            let advice = match now.runs {
                true => Advice::default(),
                false => advise_weighed(&self.diagnoser, &now.evidence, &weighed(), &now.terms),
            };
            let finding = finding(&now.answer, &advice, now.runs, now.tried.as_deref());
            (advice, finding)
        })
    }

    /// Adds entries. One of a kind that is said only once takes the place of the one before.
    ///
    /// # Errors
    /// What can't be understood; then nothing is added.
    pub fn add(&mut self, new: Vec<Entry>) -> Result<(), Vec<EntryMistake>> {
        self.set(added(&self.entries, new))
    }

    /// Puts another entry in the place of this one, from 0. An entry that is not there is left alone.
    ///
    /// # Errors
    /// What can't be understood; then nothing is changed.
    pub fn replace(&mut self, at: usize, entry: Entry) -> Result<(), Vec<EntryMistake>> {
        let mut entries = self.entries.clone();
        if let Some(known) = entries.get_mut(at) {
            *known = entry;
        }
        self.set(entries)
    }

    /// Takes an entry away, from 0.
    ///
    /// # Errors
    /// What can't be understood without it; then nothing is changed.
    pub fn remove(&mut self, at: usize) -> Result<(), Vec<EntryMistake>> {
        let mut entries = self.entries.clone();
        if at < entries.len() {
            entries.remove(at);
        }
        self.set(entries)
    }

    /// Takes back what was changed last; gives whether there was anything.
    pub fn undo(&mut self) -> bool {
        let Some(before) = self.past.pop() else { return false };
        let now = self.entries.clone();
        if self.set(before).is_err() {
            self.entries = now;
        }
        // What was taken back is not to be taken back itself.
        self.past.pop();
        true
    }

    fn set(&mut self, entries: Vec<Entry>) -> Result<(), Vec<EntryMistake>> {
        let built = build(self.machine(), &entries)?;
        let circumstances = built.evidence.circumstances();
        if circumstances != self.circumstances {
            self.diagnoser = self.worked_out.diagnoser(&circumstances);
            self.circumstances = circumstances;
        }
        let terms = terms(&self.terms, &built);
        if built.evidence != self.now.evidence || terms != self.now.terms {
            let (now, weighed) = work_out(&self.diagnoser, &self.terms, built);
            (self.now, self.weighed) = (now, Mutex::new(Some(weighed)));
            self.next = OnceLock::new();
        }
        self.past.push(std::mem::replace(&mut self.entries, entries));
        Ok(())
    }

    /// What to ask next: first what every call begins with, then the best proposal.
    #[must_use]
    pub fn question(&self) -> Option<Question> {
        let proposal = || (!self.advice().proposals.is_empty()).then_some(Question::Proposal(0));
        self.opening().or_else(proposal)
    }

    /// What every call begins with and was not said yet. To know it nothing has to be worked out.
    #[must_use]
    pub fn opening(&self) -> Option<Question> {
        let said = |kinds: &[Kind], key: &str| {
            self.entries
                .iter()
                .any(|entry| kinds.contains(&entry.kind) || (entry.kind == Kind::Unknown && entry.text == key))
        };
        if !self.worked_out.is_of_procedure() {
            if !said(&[Kind::Complaint], OPENING[0]) {
                return Some(Question::Complaint);
            }
            if !said(&[Kind::Did, Kind::Then], OPENING[1]) {
                return Some(Question::Did);
            }
        }
        (!said(&[Kind::Lamps], OPENING[2])).then_some(Question::Lamps)
    }

    /// The key of a question, by which it is answered or left out.
    #[must_use]
    pub fn key(&self, question: Question) -> String {
        match question {
            Question::Complaint => OPENING[0].to_owned(),
            Question::Did => OPENING[1].to_owned(),
            Question::Lamps => OPENING[2].to_owned(),
            Question::Proposal(number) => {
                self.advice().proposals.get(number).map(|one| one.key.clone()).unwrap_or_default()
            }
        }
    }

    /// How to find out that it runs again.
    #[must_use]
    pub fn verification(&self) -> Verification {
        let (routine, stage) = self.now.leading;
        Verification::new(self.machine(), routine, stage)
    }

    /// What to watch if it comes and goes, and the time of a cycle, ms.
    #[must_use]
    pub fn watch(&self) -> (Vec<Watch>, u64) {
        watch(&self.diagnoser, &self.now.answer, self.now.leading.0)
    }

    /// What has been ruled out by which entry: causes that had some weight, and lost it.
    ///
    /// Takes as many answers as there are entries, of which those given lately are remembered.
    #[must_use]
    pub fn ruled_out(&self) -> Vec<RuledOut> {
        /// Causes that never had as much weight are not told.
        const HAD_WEIGHT: f64 = 0.03;
        /// What is left of a cause that is ruled out.
        const LEFT: f64 = 0.01;
        const TOLD: usize = 6;
        let mut course: BTreeMap<String, (String, Vec<f64>)> = BTreeMap::new();
        let mut before: Option<Evidence> = None;
        let mut rounds = 0;
        let mut places = Vec::new();
        for count in 0..=self.entries.len() {
            let Ok(built) = build(self.machine(), &self.entries[..count]) else { continue };
            if before.as_ref() == Some(&built.evidence) {
                continue;
            }
            let answer = || match built.evidence == self.now.evidence {
                true => self.now.answer.clone(),
                false => self.diagnoser.answer(&built.evidence),
            };
            let known = self.worked_out.weights(&self.circumstances, &built.evidence, answer);
            before = Some(built.evidence);
            for one in &*known {
                let (_, weights) = course.entry(one.key.clone()).or_insert_with(|| (one.words.clone(), Vec::new()));
                weights.resize(rounds, 0.0);
                weights.push(one.probability);
            }
            rounds += 1;
            places.push(count);
        }
        let mut told: Vec<RuledOut> = course
            .into_values()
            .filter_map(|(words, mut weights)| {
                weights.resize(rounds, 0.0);
                let now = weights.last().copied()?;
                let most = weights.iter().copied().fold(0.0, f64::max);
                if most < HAD_WEIGHT || now > LEFT {
                    return None;
                }
                let fell = |at: &usize| (weights[*at] + 1e-9) / (weights[at + 1] + 1e-9);
                let at =
                    (0..rounds - 1).filter(|at| weights[*at] >= LEFT).max_by(|a, b| fell(a).total_cmp(&fell(b)))?;
                Some(RuledOut { words, before: weights[at], now, entry: places[at + 1].saturating_sub(1) })
            })
            .collect();
        told.sort_by(|a, b| b.before.total_cmp(&a.before));
        told.truncate(TOLD);
        told
    }
}

fn terms(base: &Terms, built: &Built) -> Terms {
    let mut terms = base.clone();
    terms.caller = built.who.unwrap_or(base.caller);
    for to_do in &built.left_out {
        if !terms.left_out.contains(to_do) {
            terms.left_out.push(*to_do);
        }
    }
    terms
}

fn work_out(diagnoser: &Diagnoser, base: &Terms, built: Built) -> (Now, Weighed) {
    let terms = terms(base, &built);
    let (answer, weighed) = diagnoser.answer_weighed(&built.evidence);
    let tried = diagnoser.machine().zip(built.tried).map(|(machine, remedy)| machine.remedies[remedy].key.clone());
    let first = || (built.evidence.routine.unwrap_or(RoutineId::new(0)), 0);
    let leading = diagnoser.leading_place(&built.evidence, &weighed).unwrap_or_else(first);
    (Now { evidence: built.evidence, terms, answer, leading, runs: built.runs, tried }, weighed)
}
