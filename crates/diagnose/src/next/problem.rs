//! The bare problem behind the next check, without a machine: cases with weights, things to ask
//! with the probability of each answer, repairs that put cases right, all priced in minutes.
//!
//! Weights need not sum to 1: every price here is "minutes times weight", so that the branches
//! of an answer can simply be added up.

use rustc_hash::FxHashMap;
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
    /// Minutes of what helps in the end whatever it is.
    pub last_resort: f64,
}

/// Cases that need the same, so that repairs need not be priced case by case.
#[derive(Clone, Debug, Default)]
pub(crate) struct Groups {
    /// By case, its group.
    of: Vec<u32>,
    /// By group, what its cases need.
    needs: Vec<Needs>,
}

impl Groups {
    pub(crate) fn new(problem: &Problem) -> Self {
        let mut groups = Self::default();
        let mut known: FxHashMap<&Needs, u32> = FxHashMap::default();
        for needs in &problem.needs {
            let group = *known.entry(needs).or_insert_with(|| {
                groups.needs.push(needs.clone());
                groups.needs.len() as u32 - 1
            });
            groups.of.push(group);
        }
        groups
    }
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
        let mut next = belief.clone();
        next.tried[repair] = true;
        next.on_site |= self.repairs[repair].on_site;
        for (needs, weight) in self.needs.iter().zip(&mut next.weights).filter(|(_, weight)| **weight > 0.0) {
            let before = self.still_there(needs, &belief.tried);
            *weight *= self.still_there(needs, &next.tried) / before;
        }
        next
    }

    /// The probability that a case is still there after all that was tried: 1 until all of its needs
    /// were met, then that at least one of them was met in vain. It does not depend on the order.
    fn still_there(&self, needs: &Needs, tried: &[bool]) -> f64 {
        if needs.is_empty() || !needs.iter().all(|need| is_met(need, tried)) {
            return 1.0;
        }
        1.0 - needs.iter().map(|need| 1.0 - self.in_vain(need, tried)).product::<f64>()
    }

    /// The probability that none of the repairs tried for a need has helped.
    fn in_vain(&self, need: &[u16], tried: &[bool]) -> f64 {
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
        let mut scratch = Scratch::default();
        let groups = Groups::new(self);
        let cost = self.repair_cost(&groups, &belief.weights, &belief.tried, belief.on_site, &mut scratch);
        (cost, scratch.order)
    }

    pub(crate) fn repair_cost(
        &self,
        groups: &Groups,
        weights: &[f64],
        tried: &[bool],
        on_site: bool,
        scratch: &mut Scratch,
    ) -> f64 {
        let Scratch { sums, score, worth, order, rank, elapsed } = scratch;
        sums.clear();
        sums.resize(groups.needs.len(), 0.0);
        for (weight, group) in weights.iter().zip(&groups.of) {
            sums[*group as usize] += weight;
        }
        score.clear();
        score.resize(self.repairs.len(), 0.0);
        let mut total = 0.0;
        for (weight, needs) in sums.iter().zip(&groups.needs) {
            if *weight <= 0.0 {
                continue;
            }
            total += weight;
            if let [need] = needs.as_slice()
                && let [repair] = need.as_slice()
            {
                if !tried[usize::from(*repair)] {
                    score[usize::from(*repair)] += weight;
                }
                continue;
            }
            let open = needs.iter().filter(|need| !is_met(need, tried)).count();
            for need in needs.iter().filter(|need| !is_met(need, tried)) {
                need.iter().for_each(|repair| score[usize::from(*repair)] += weight / open as f64);
            }
        }
        order.clear();
        order.extend((0..self.repairs.len()).filter(|repair| !tried[*repair] && score[*repair] > 0.0));
        worth.clear();
        worth.extend(score.iter().zip(&self.repairs).map(|(score, repair)| score / repair.minutes.max(1e-9)));
        order.sort_unstable_by(|a, b| worth[*b].total_cmp(&worth[*a]).then(a.cmp(b)));
        if !on_site {
            // The visit is worth as much as the best beginning of what can be done after it.
            let (mut probability, mut minutes, mut visit_worth) = (0.0, self.visit.max(1e-9), 0.0_f64);
            for repair in order.iter().copied().filter(|repair| self.repairs[*repair].on_site) {
                probability += score[repair];
                minutes += self.repairs[repair].minutes;
                visit_worth = visit_worth.max(probability / minutes);
            }
            let first = |repair: usize| !self.repairs[repair].on_site && worth[repair] >= visit_worth;
            order.sort_by_key(|repair| !first(*repair));
        }
        // The order with the time at which each repair is done; given up where the last resort is better.
        rank.clear();
        rank.resize(self.repairs.len(), u32::MAX);
        elapsed.clear();
        let (mut now, mut left, mut there) = (0.0, total, on_site);
        for (place, repair) in order.iter().enumerate() {
            let it = &self.repairs[*repair];
            now += self.price(it.minutes, it.on_site, there);
            there |= it.on_site;
            rank[*repair] = place as u32;
            elapsed.push(now);
        }
        // Up to where going on costs less than the last resort at once.
        let (mut end, mut least, mut spent) = (0, total * self.last_resort, 0.0);
        for (place, repair) in order.iter().enumerate() {
            spent += score[*repair] * elapsed[place];
            left -= score[*repair];
            let cost = spent + left.max(0.0) * (elapsed[place] + self.last_resort);
            if cost < least {
                (end, least) = (place + 1, cost);
            }
        }
        order.truncate(end);
        let tried_all = end.checked_sub(1).map_or(0.0, |last| elapsed[last]);
        let mut cost = 0.0;
        for (weight, needs) in sums.iter().zip(&groups.needs) {
            if *weight <= 0.0 {
                continue;
            }
            let mut last = 0_u32;
            let mut helps = 1.0;
            let mut open = false;
            for need in needs {
                if is_met(need, tried) {
                    helps *= 1.0 - self.in_vain(need, tried);
                    continue;
                }
                open = true;
                let first = need.iter().min_by_key(|repair| rank[usize::from(**repair)]);
                let place = first.map_or(u32::MAX, |repair| rank[usize::from(*repair)]);
                helps *= 1.0 - first.map_or(0.0, |repair| self.repairs[usize::from(*repair)].fails);
                last = last.max(place);
            }
            let in_the_end = tried_all + self.last_resort;
            cost += weight
                * if !open || last as usize >= end {
                    in_the_end
                } else {
                    helps * elapsed[last as usize] + (1.0 - helps) * in_the_end
                };
        }
        cost
    }
}

fn is_met(need: &[u16], tried: &[bool]) -> bool {
    need.iter().any(|repair| tried[usize::from(*repair)])
}

/// Memory for [`Problem::repair_cost`], which is asked many thousand times.
#[derive(Debug, Default)]
pub(crate) struct Scratch {
    sums: Vec<f64>,
    score: Vec<f64>,
    worth: Vec<f64>,
    order: Vec<usize>,
    rank: Vec<u32>,
    elapsed: Vec<f64>,
}

impl Scratch {
    /// The order in which the repairs were last priced.
    pub(crate) fn order(&self) -> &[usize] {
        &self.order
    }
}
