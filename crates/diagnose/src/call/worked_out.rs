//! A machine worked out once for all calls about it.

use super::record::Origin;
use crate::diagnoser::Diagnoser;
use crate::evidence::Circumstances;
use crate::procedure;
use machine::id::ProcedureId;
use machine::{Alternative, Machine};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

/// Sets of circumstances that a machine is kept worked out for; the oldest goes first.
const KEPT: usize = 3;

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
        Some(Self { alternatives, procedure, names, known: Mutex::default() })
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
            let options = sim::Options::default();
            let diagnoser = match self.procedure {
                Some((id, steps)) => procedure::diagnoser(&self.alternatives, id, steps, &options),
                None => Diagnoser::new(self.alternatives.clone(), circumstances, &options),
            };
            if known.len() >= KEPT {
                known.remove(0);
            }
            known.push((circumstances.clone(), Arc::new(diagnoser)));
        }
        Arc::clone(&known[known.len() - 1].1)
    }

    fn known(&self) -> MutexGuard<'_, Vec<(Circumstances, Arc<Diagnoser>)>> {
        // What is in there is whole at any moment, also if somebody panicked while holding it.
        self.known.lock().unwrap_or_else(PoisonError::into_inner)
    }
}
