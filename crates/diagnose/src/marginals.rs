//! The bare numbers of an answer: how probable each deviation is, whatever else is wrong.

use crate::diagnoser::Ground;
use std::collections::BTreeMap;

/// Probabilities after the evidence.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Marginals {
    /// Nothing is wrong.
    pub nothing: f64,
    /// Something that is not in the machine file.
    pub unknown: f64,
    /// Each deviation by its key, alone or together with another.
    pub deviations: BTreeMap<String, f64>,
}

pub(crate) fn marginals(grounds: &[Ground<'_>]) -> Marginals {
    let all: f64 = grounds.iter().map(|ground| ground.scale * (ground.total + ground.unknown)).sum();
    if all <= 0.0 {
        // Every probability underflowed: nothing can be said.
        return Marginals { unknown: 1.0, ..Marginals::default() };
    }
    let mut marginals = Marginals::default();
    for ground in grounds {
        let scale = ground.scale / all;
        marginals.nothing += scale * ground.nothing;
        marginals.unknown += scale * ground.unknown;
        let deviations = &ground.world.machine.deviations;
        for (class, shares) in ground.classes.iter().zip(ground.member_masses()) {
            for (member, mass) in class.members.iter().zip(shares) {
                *marginals.deviations.entry(deviations[*member].key.clone()).or_insert(0.0) += scale * mass;
            }
        }
    }
    marginals
}
