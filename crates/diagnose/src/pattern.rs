//! The lamp patterns with which people will call: what the lamps can show at a standstill, the most probable
//! first. For an index on paper; a call is weighed by what was really reported.

use crate::answer::Answer;
use crate::diagnoser::{Diagnoser, Fits, Weighed};
use crate::evidence::{Complaint, Evidence, LampPlace, LampReport, LampState, Moment, Naming};
use crate::next::{Advice, Terms, advise_weighed};
use machine::Machine;
use rayon::prelude::*;
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

/// The first words of a call: what is complained of, and nothing else, weighed once for all that is made of it.
#[derive(Clone, Debug)]
pub struct Opening {
    pub(crate) evidence: Evidence,
    pub(crate) weighed: Weighed,
}

impl Opening {
    /// The openings of these complaints, in their order.
    #[must_use]
    pub fn of(diagnoser: &Diagnoser, complaints: &[Complaint]) -> Vec<Self> {
        // Nobody has looked at anything yet, which fits alike whatever is complained of.
        let fits = diagnoser.fits(&Evidence::default());
        let opening = |complaint: &Complaint| {
            let evidence = Evidence { complaint: Some(*complaint), ..Evidence::default() };
            Self { weighed: diagnoser.weighed_fitted(&evidence, Some(&fits)), evidence }
        };
        complaints.par_iter().map(opening).collect()
    }
}

/// The patterns that fit an opening, the most probable first, at most so many.
#[must_use]
pub fn patterns(diagnoser: &Diagnoser, opening: &Opening, most: usize) -> Vec<Pattern> {
    let worlds = diagnoser.worlds();
    let (hypotheses, _) = diagnoser.hypotheses_of(&opening.evidence, &opening.weighed, SHARE, MOST);
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

/// A pattern with what it says: the answer and the advice that anybody gets who reports just that.
#[derive(Clone, Debug)]
pub struct Symptom {
    /// The lamps.
    pub pattern: Pattern,
    /// What it probably is.
    pub answer: Answer,
    /// What to do first.
    pub advice: Advice,
}

/// By opening, its patterns with what each says: at most so many, those with at least this share.
#[must_use]
pub fn symptoms(
    diagnoser: &Diagnoser,
    openings: &[Opening],
    (most, least): (usize, f64),
    terms: &Terms,
) -> Vec<Vec<Symptom>> {
    let Some(machine) = diagnoser.machine() else { return openings.iter().map(|_| Vec::new()).collect() };
    let found: Vec<Vec<Pattern>> = (openings.par_iter())
        .map(|opening| {
            let mut found = patterns(diagnoser, opening, most);
            found.retain(|pattern| pattern.share >= least);
            found
        })
        .collect();
    // The same lamps come with several complaints, and what they fit does not depend on these.
    let mut wanted: BTreeMap<&[LampState], Vec<(usize, usize)>> = BTreeMap::new();
    for (number, patterns) in found.iter().enumerate() {
        for (place, pattern) in patterns.iter().enumerate() {
            wanted.entry(&pattern.lamps).or_default().push((number, place));
        }
    }
    let of = |(number, place): (usize, usize), fits: &Fits| {
        let pattern = found[number][place].clone();
        let evidence = Evidence { moments: vec![pattern.moment(machine)], ..openings[number].evidence.clone() };
        let (answer, weighed) = diagnoser.answer_fitted(&evidence, Some(fits));
        let advice = advise_weighed(diagnoser, &evidence, &weighed, terms);
        ((number, place), Symptom { pattern, answer, advice })
    };
    let wanted: Vec<Vec<(usize, usize)>> = wanted.into_values().collect();
    let mut made: Vec<((usize, usize), Symptom)> = (wanted.into_par_iter())
        .flat_map(|places| {
            let alike =
                places.first().map_or_else(Moment::default, |(number, place)| found[*number][*place].moment(machine));
            let fits = diagnoser.fits(&Evidence { moments: vec![alike], ..Evidence::default() });
            places.into_par_iter().map(|place| of(place, &fits)).collect::<Vec<_>>()
        })
        .collect();
    made.sort_by_key(|(place, _)| *place);
    let mut made = made.into_iter().map(|(_, symptom)| symptom);
    found.iter().map(|patterns| made.by_ref().take(patterns.len()).collect()).collect()
}

impl Pattern {
    /// What is known when just these lamps are reported.
    fn moment(&self, machine: &Machine) -> Moment {
        Moment { lamps: self.reports(machine), ..Moment::default() }
    }

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
