//! The bare problem behind the next check, without a machine: cases with weights, things to ask
//! with the probability of each answer, repairs that put cases right, all priced in minutes.
//!
//! Weights need not sum to 1: every price here is "minutes times weight", so that the branches
//! of an answer can simply be added up.

use super::pricing::{Groups, Scratch};
use smallvec::SmallVec;

/// Something to look at, measure or try that tells cases apart.
#[derive(Clone, Debug, PartialEq)]
pub struct Test {
    /// Minutes it takes.
    pub minutes: f64,
    /// Whether a technician has to be there.
    pub on_site: bool,
    /// How many answers there are.
    pub answers: usize,
    /// The probability of each answer in each case: all answers of the first case, then of the second …
    pub likelihood: Vec<f64>,
}

/// Something that can put cases right; tried with a look at whether the machine runs.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Repair {
    /// Minutes it takes, the trial run included.
    pub minutes: f64,
    /// Whether a technician has to be there.
    pub on_site: bool,
    /// Probability that it does not help although it should.
    pub fails: f64,
}

/// What a case needs: every entry must be met, each by any one of its repairs. Without an entry
/// nothing but the last resort helps.
pub type Needs = SmallVec<[SmallVec<[u16; 2]>; 2]>;

/// Cases, tests and repairs.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Problem {
    /// The weight of each case.
    pub weights: Vec<f64>,
    /// What each case needs.
    pub needs: Vec<Needs>,
    /// The tests.
    pub tests: Vec<Test>,
    /// The repairs.
    pub repairs: Vec<Repair>,
    /// Minutes until a technician is there.
    pub visit: f64,
    /// Minutes of looking again after a repair was tried in vain, with whatever else that costs.
    pub again: f64,
    /// Minutes of what helps in the end whatever it is.
    pub last_resort: f64,
}

/// What is known while the problem is being worked on.
#[derive(Clone, Debug, PartialEq)]
pub struct Belief {
    /// The weight of each case, given the answers so far.
    pub weights: Vec<f64>,
    /// Tests that were asked.
    pub asked: Vec<bool>,
    /// Repairs that were tried.
    pub tried: Vec<bool>,
    /// Whether a technician is there.
    pub on_site: bool,
}

/// What can be done next in a [`Problem`].
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Act {
    /// Ask the test with this number.
    Ask(usize),
    /// Try the repair with this number.
    Try(usize),
    /// Give up and leave it to the last resort.
    GiveUp,
}

impl Problem {
    /// Nothing asked and nothing tried yet; `on_site` if a technician is there already.
    #[must_use]
    pub fn begin(&self, on_site: bool) -> Belief {
        Belief {
            weights: self.weights.clone(),
            asked: vec![false; self.tests.len()],
            tried: vec![false; self.repairs.len()],
            on_site,
        }
    }

    /// Minutes of doing something that may need a technician.
    #[must_use]
    pub fn price(&self, minutes: f64, needs_technician: bool, on_site: bool) -> f64 {
        minutes + if needs_technician && !on_site { self.visit } else { 0.0 }
    }

    /// What is believed after this answer to a test.
    ///
    /// # Panics
    /// Never for tests and answers of this problem.
    #[must_use]
    pub fn answered(&self, belief: &Belief, test: usize, answer: usize) -> Belief {
        let it = &self.tests[test];
        let mut next = belief.clone();
        for (weight, row) in next.weights.iter_mut().zip(it.likelihood.chunks_exact(it.answers.max(1))) {
            *weight *= row[answer];
        }
        next.asked[test] = true;
        next.on_site |= it.on_site;
        next
    }

    /// What is believed after a repair was tried and the machine still does not run.
    #[must_use]
    pub fn failed(&self, belief: &Belief, repair: usize) -> Belief {
        self.all_failed(belief, &[repair])
    }

    /// What is believed after these repairs were tried and the machine still does not run.
    pub(super) fn all_failed(&self, belief: &Belief, repairs: &[usize]) -> Belief {
        let mut next = belief.clone();
        let mut new = vec![false; self.repairs.len()];
        for repair in repairs {
            new[*repair] = true;
            next.tried[*repair] = true;
            next.on_site |= self.repairs[*repair].on_site;
        }
        for (needs, weight) in self.needs.iter().zip(&mut next.weights).filter(|(_, weight)| **weight > 0.0) {
            // Where none of them is needed nothing was learned.
            if needs.iter().any(|need| is_met(need, &new)) {
                let before = self.still_there(needs, &belief.tried);
                *weight *= self.still_there(needs, &next.tried) / before;
            }
        }
        next
    }

    /// The probability that a case is still there after all that was tried: 1 until all of its needs
    /// were met, then that at least one of them was met in vain. It does not depend on the order.
    pub(super) fn still_there(&self, needs: &Needs, tried: &[bool]) -> f64 {
        if needs.is_empty() || !needs.iter().all(|need| is_met(need, tried)) {
            return 1.0;
        }
        1.0 - needs.iter().map(|need| 1.0 - self.in_vain(need, tried)).product::<f64>()
    }

    /// The probability that none of the repairs tried for a need has helped.
    pub(super) fn in_vain(&self, need: &[u16], tried: &[bool]) -> f64 {
        let tried = need.iter().map(|repair| usize::from(*repair)).filter(|repair| tried[*repair]);
        tried.map(|repair| self.repairs[repair].fails).product()
    }

    /// Minutes times weight until the machine runs if nothing more is asked and the repairs are tried
    /// in the best order, with the order.
    ///
    /// The order is by falling probability over price, as is optimal for single causes with independent
    /// repairs (Kadane and Simon 1977; Heckerman, Breese and Rommelse 1995). Repairs that need a
    /// technician come after the visit, and count with it as one block where that pays (Sidney 1975).
    /// Cost: the cases, plus sorting the repairs.
    #[must_use]
    pub fn by_repairs(&self, belief: &Belief) -> (f64, Vec<usize>) {
        self.by_repairs_in(&Groups::new(self), belief)
    }

    /// The same, with the groups of this problem, for whoever asks it about many beliefs.
    pub(super) fn by_repairs_in(&self, groups: &Groups, belief: &Belief) -> (f64, Vec<usize>) {
        let mut scratch = Scratch::default();
        let weights: Vec<f64> = groups.cases().map(|case| belief.weights[case]).collect();
        scratch.sums.extend(groups.runs().map(|run| weights[run].iter().sum::<f64>()));
        let cost = groups.repair_cost(self, &belief.tried, belief.on_site, &mut scratch);
        (cost, scratch.order().collect())
    }
}

/// Whether one of the repairs for a need was tried.
pub(super) fn is_met(need: &[u16], tried: &[bool]) -> bool {
    need.iter().any(|repair| tried[usize::from(*repair)])
}
