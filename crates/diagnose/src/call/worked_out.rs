//! A machine worked out once for all calls about it.

use super::record::Origin;
use crate::answer::Answer;
use crate::diagnoser::Diagnoser;
use crate::evidence::{Circumstances, Evidence};
use crate::kept::{NoShelf, Shelf};
use crate::procedure;
use machine::id::ProcedureId;
use machine::{Alternative, Machine};
use std::collections::VecDeque;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

/// Sets of circumstances that a machine is kept worked out for; the oldest goes first.
const KEPT: usize = 3;

/// Answers whose probabilities are kept; the oldest go first.
const ANSWERS: usize = 300;

/// How probable a deviation was after some evidence.
#[derive(Debug)]
pub(super) struct Weight {
    /// Its key.
    pub key: String,
    /// What is wrong, with the device.
    pub words: String,
    pub probability: f64,
}

/// The circumstances for which the machine was worked out, what was said then, and how probable everything was.
type Remembered = (Circumstances, Evidence, Arc<[Weight]>);

/// A machine that calls are about: worked out for the circumstances of a call when the first call has them, and kept
/// for the next. It can be shared between threads.
#[derive(Debug)]
pub struct WorkedOut {
    alternatives: Vec<Alternative>,
    /// The procedure that calls go on from, as a routine, and how many of its steps were done.
    procedure: Option<(ProcedureId, usize)>,
    /// The machine whose names are used in calls.
    names: Machine,
    known: Mutex<Vec<(Circumstances, Arc<Diagnoser>)>>,
    /// What was answered lately: what a call says after an entry is asked for again after each further one.
    answers: Mutex<VecDeque<Remembered>>,
    /// Where it may be worked out already.
    shelf: Arc<dyn Shelf>,
}

impl WorkedOut {
    /// A machine, of which nothing is worked out yet. `None` if there are no alternatives, or if the procedure that
    /// calls go on from is not there.
    #[must_use]
    pub fn new(alternatives: Vec<Alternative>, origin: Option<&Origin>) -> Option<Self> {
        let machine = &alternatives.first()?.machine;
        let procedure = match origin {
            None => None,
            Some(Origin::Procedure { name, steps }) => {
                let (id, row) = machine.procedures.find(|row| row.name == *name)?;
                Some((id, (*steps).min(row.steps.len())))
            }
        };
        let names = match procedure {
            Some((id, steps)) => procedure::as_routine(machine, id, steps),
            None => machine.clone(),
        };
        let (known, answers) = Default::default();
        Some(Self { alternatives, procedure, names, known, answers, shelf: Arc::new(NoShelf) })
    }

    /// The same, where what is worked out is taken up from a shelf, and laid by there.
    #[must_use]
    pub fn with_shelf(self, shelf: Arc<dyn Shelf>) -> Self {
        Self { shelf, ..self }
    }

    /// The machine, with the names that are used in calls.
    #[must_use]
    pub fn names(&self) -> &Machine {
        &self.names
    }

    /// Whether calls go on from a procedure.
    #[must_use]
    pub fn is_of_procedure(&self) -> bool {
        self.procedure.is_some()
    }

    /// The machine worked out for these circumstances. Who asks first waits until it is, and so do others who want the
    /// same machine meanwhile.
    #[must_use]
    pub fn diagnoser(&self, circumstances: &Circumstances) -> Arc<Diagnoser> {
        let mut known = self.known();
        if let Some(at) = known.iter().position(|(of, _)| of == circumstances) {
            // What was asked for last goes last.
            let found = known.remove(at);
            known.push(found);
        } else {
            let (options, shelf) = (sim::Options::default(), &*self.shelf);
            let diagnoser = match self.procedure {
                Some((id, steps)) => procedure::diagnoser(&self.alternatives, id, steps, &options, shelf),
                None => Diagnoser::from_shelf(self.alternatives.clone(), circumstances, &options, shelf),
            };
            if known.len() >= KEPT {
                known.remove(0);
            }
            known.push((circumstances.clone(), Arc::new(diagnoser)));
        }
        Arc::clone(&known[known.len() - 1].1)
    }

    /// How probable everything was after this evidence; answered only if that is not known.
    pub(super) fn weights(
        &self,
        circumstances: &Circumstances,
        evidence: &Evidence,
        answer: impl FnOnce() -> Answer,
    ) -> Arc<[Weight]> {
        let answers = || self.answers.lock().unwrap_or_else(PoisonError::into_inner);
        let is_so = |(under, of, _): &&Remembered| of == evidence && under == circumstances;
        let found = answers().iter().find(is_so).map(|(_, _, weights)| Arc::clone(weights));
        found.unwrap_or_else(|| {
            let members = answer().causes.into_iter().flat_map(|cause| cause.members);
            let weights: Arc<[Weight]> = members
                .map(|member| Weight { words: member.with_device(), probability: member.probability, key: member.key })
                .collect();
            let mut answers = answers();
            if answers.len() >= ANSWERS {
                answers.pop_front();
            }
            answers.push_back((circumstances.clone(), evidence.clone(), Arc::clone(&weights)));
            weights
        })
    }

    fn known(&self) -> MutexGuard<'_, Vec<(Circumstances, Arc<Diagnoser>)>> {
        // What is in there is whole at any moment, also if somebody panicked while holding it.
        self.known.lock().unwrap_or_else(PoisonError::into_inner)
    }
}
