//! Learned rates laid over a machine, before anything is diagnosed.

use super::count::name_of;
use super::{Factors, Rates};
use crate::id::TypeId;
use machine::Alternative;
use machine::model::Chance;

impl Rates {
    /// See [`Factors::apply`].
    pub fn apply(&self, machine_type: TypeId, alternatives: &mut [Alternative]) -> usize {
        self.factors.apply(machine_type, alternatives)
    }
}

impl Factors {
    /// Multiplies the rate of every fault by what was learned of it, on this machine type or, where that has no hours
    /// yet, on others. Faults of which nothing was learned, and lapses, stay as they are. Gives how many were changed.
    ///
    /// Whoever wants the answer without it diagnoses alternatives to which this was not done.
    pub fn apply(&self, machine_type: TypeId, alternatives: &mut [Alternative]) -> usize {
        let mut changed = 0;
        for alternative in alternatives {
            let machine = &mut alternative.machine;
            let factors: Vec<_> = machine
                .deviations
                .iter()
                .filter_map(|(id, deviation)| Some((id, self.factor(&name_of(machine, deviation)?, machine_type)?)))
                .collect();
            for (id, factor) in factors {
                if let Chance::PerMillionHours(rate) = &mut machine.deviations[id].rate.chance {
                    *rate *= factor;
                    changed += 1;
                }
            }
        }
        changed
    }

    /// The learned factor of a fault on a machine type; none if nothing was learned of it.
    fn factor(&self, name: &(String, String), machine_type: TypeId) -> Option<f64> {
        let (anywhere, by_type) = self.by_name.get(name)?;
        Some(by_type.get(&machine_type).copied().unwrap_or(*anywhere))
    }
}
