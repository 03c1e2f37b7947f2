//! The lamp patterns with which people will call: what the lamps can show at a standstill, the most probable
//! first. For an index on paper; a call is weighed by what was really reported.

use crate::diagnoser::Diagnoser;
use crate::evidence::{Evidence, LampPlace, LampReport, LampState, Naming};
use machine::Machine;
use std::collections::BTreeMap;

/// Share of the weight that is looked at; the rest is spread over patterns too rare for an index.
const SHARE: f64 = 0.98;
/// Hypotheses that are looked at for each routine.
const MOST: usize = 2_000;

/// What all lamps can show.
#[derive(Clone, Debug, PartialEq)]
pub struct Pattern {
    /// Share of all cases that fit the evidence and that are in the machine file.
    pub share: f64,
    /// How each lamp is, in the order of the panel.
    pub lamps: Vec<LampState>,
}

/// The patterns that fit the evidence, the most probable first, at most so many.
#[must_use]
pub fn patterns(diagnoser: &Diagnoser, evidence: &Evidence, most: usize) -> Vec<Pattern> {
    let worlds = diagnoser.worlds();
    let (hypotheses, _) = diagnoser.hypotheses(evidence, SHARE, MOST);
    let total: f64 = hypotheses.iter().map(|one| one.weight).sum();
    let mut sums: BTreeMap<Vec<LampState>, f64> = BTreeMap::new();
    for one in &hypotheses {
        let truth = one.lamps(worlds);
        let lamps = (0..worlds[one.world].panel.len()).map(|lamp| truth.state(lamp)).collect();
        *sums.entry(lamps).or_insert(0.0) += one.weight;
    }
    let mut patterns: Vec<Pattern> =
        sums.into_iter().map(|(lamps, weight)| Pattern { share: weight / total, lamps }).collect();
    patterns.sort_by(|a, b| b.share.total_cmp(&a.share).then_with(|| a.lamps.cmp(&b.lamps)));
    patterns.truncate(most);
    patterns
}

impl Pattern {
    /// The pattern as it would be reported: the lamps that are not dark by name, "all others dark".
    #[must_use]
    pub fn reports(&self, machine: &Machine) -> Vec<LampReport> {
        let places = LampPlace::all(machine).zip(&self.lamps);
        places
            .map(|((place, _), state)| {
                let naming = if *state == LampState::Dark { Naming::Rest } else { Naming::Named };
                LampReport { place, state: *state, naming }
            })
            .collect()
    }
}
