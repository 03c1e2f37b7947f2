//! The choice itself: what to do next so that the machine runs after the fewest expected minutes.
//!
//! Every act is priced by what follows. Looked no further, what follows is "try the repairs in the
//! best order" ([`Problem::by_repairs`]); looked one act further, it is the best of what can be done
//! then, and so on. The look-ahead goes deeper, a level at a time, for the acts that looked best a level
//! before, as long as the allowance of evaluations lasts. The allowance is counted, not timed, so the
//! same question gets the same answer on every machine.

use super::problem::{Act, Belief, Groups, Problem, Scratch};
use rayon::prelude::*;

/// Tests that are thought of beyond the first step.
const FOLLOWED: usize = 40;

/// How far to look ahead.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Effort {
    /// Evaluations of a belief (a few microseconds each, growing with the cases). A level that would
    /// take more is not begun.
    pub evaluations: usize,
    /// Acts that are followed further at each belief.
    pub width: usize,
    /// Levels at most.
    pub depth: usize,
}

impl Default for Effort {
    fn default() -> Self {
        Self { evaluations: 20_000, width: 6, depth: 4 }
    }
}

/// Something to do, priced.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Priced {
    /// What.
    pub act: Act,
    /// Expected minutes until the machine runs, if this is done next and the best after it.
    pub minutes: f64,
}

/// What can be done, the best first: every act one step ahead, the leading ones looked at further.
///
/// The first is never worse than what one step alone would choose, by the deepest estimate of both.
#[must_use]
pub fn choose(problem: &Problem, belief: &Belief, effort: Effort) -> Vec<Priced> {
    let total: f64 = belief.weights.iter().sum();
    if total <= 0.0 {
        return Vec::new();
    }
    let tests = (0..problem.tests.len()).filter(|test| !belief.asked[*test]).collect();
    let mut search = Search { problem, effort, groups: Groups::new(problem), tests };
    let mut evaluations = 0;
    let mut work = Work::default();
    let acts = search.possible(belief, &mut work);
    let mut priced = search.priced(belief, &acts, 0, &mut evaluations);
    priced.sort_by(order);
    // Further on only those are looked at that are worth something now.
    let worth = priced.iter().filter_map(|one| match one.act {
        Act::Ask(test) => Some(test),
        _ => None,
    });
    search.tests = worth.take(FOLLOWED).collect();
    for depth in 2..=effort.depth {
        let width = effort.width.min(priced.len());
        let leading: Vec<Act> = priced[..width].iter().map(|one| one.act).collect();
        let mut spent = 0;
        let mut deeper = search.priced(belief, &leading, depth - 1, &mut spent);
        deeper.sort_by(order);
        // The others were not looked at so far, and stay behind the best that were.
        priced[..width].copy_from_slice(&deeper);
        evaluations += spent;
        if evaluations + spent.max(1) * effort.width * 2 > effort.evaluations {
            break;
        }
    }
    priced.iter_mut().for_each(|one| one.minutes /= total);
    priced
}

fn order(a: &Priced, b: &Priced) -> std::cmp::Ordering {
    a.minutes.total_cmp(&b.minutes).then(a.act.cmp(&b.act))
}

struct Search<'p> {
    problem: &'p Problem,
    effort: Effort,
    groups: Groups,
    /// The tests that are thought of.
    tests: Vec<usize>,
}

/// What one line of thought needs: memory, and a count of what it has cost.
#[derive(Default)]
struct Work {
    scratch: Scratch,
    evaluations: usize,
}

impl Search<'_> {
    fn by_repairs(&self, belief: &Belief, work: &mut Work) -> f64 {
        work.evaluations += 1;
        self.problem.repair_cost(&self.groups, &belief.weights, &belief.tried, belief.on_site, &mut work.scratch)
    }

    /// Everything that can be done.
    fn possible(&self, belief: &Belief, work: &mut Work) -> Vec<Act> {
        let mut acts = vec![Act::GiveUp];
        acts.extend(self.tests.iter().filter(|test| !belief.asked[**test]).map(|test| Act::Ask(*test)));
        self.by_repairs(belief, work);
        acts.extend(work.scratch.order().iter().take(self.effort.width).map(|repair| Act::Try(*repair)));
        acts
    }

    /// Each of these acts priced, on all cores; adds what it has cost.
    fn priced(&self, belief: &Belief, acts: &[Act], depth: usize, evaluations: &mut usize) -> Vec<Priced> {
        let found: Vec<(Priced, usize)> = acts
            .par_iter()
            .map_init(Work::default, |work, act| {
                work.evaluations = 0;
                let minutes = self.price(belief, *act, depth, work);
                (Priced { act: *act, minutes }, work.evaluations)
            })
            .collect();
        *evaluations += found.iter().map(|(_, evaluations)| evaluations).sum::<usize>();
        found.into_iter().map(|(priced, _)| priced).collect()
    }

    /// Everything that can be done, looked one step ahead, the best first.
    fn acts(&self, belief: &Belief, work: &mut Work) -> Vec<Priced> {
        let acts = self.possible(belief, work);
        let price = |act: Act| Priced { act, minutes: self.price(belief, act, 0, work) };
        let mut acts: Vec<Priced> = acts.into_iter().map(price).collect();
        acts.sort_by(order);
        acts
    }

    /// Minutes times weight if this is done next, looking so many levels further.
    fn price(&self, belief: &Belief, act: Act, depth: usize, work: &mut Work) -> f64 {
        let problem = self.problem;
        let total: f64 = belief.weights.iter().sum();
        match act {
            Act::GiveUp => total * problem.last_resort,
            Act::Try(repair) => {
                let it = &problem.repairs[repair];
                let price = total * problem.price(it.minutes, it.on_site, belief.on_site);
                price + self.value(&problem.failed(belief, repair), depth, work)
            }
            Act::Ask(test) => {
                let it = &problem.tests[test];
                let price = total * problem.price(it.minutes, it.on_site, belief.on_site);
                let value = |answer| self.value(&problem.answered(belief, test, answer), depth, work);
                price + (0..it.answers).map(value).sum::<f64>()
            }
        }
    }

    /// Minutes times weight from here on, looking so many levels further.
    fn value(&self, belief: &Belief, depth: usize, work: &mut Work) -> f64 {
        let total: f64 = belief.weights.iter().sum();
        if total <= 0.0 {
            return 0.0;
        }
        let repairs = self.by_repairs(belief, work);
        if depth == 0 {
            return repairs;
        }
        let acts = self.acts(belief, work);
        let mut best = repairs;
        for one in acts.iter().take(self.effort.width) {
            let minutes = if depth == 1 { one.minutes } else { self.price(belief, one.act, depth - 1, work) };
            best = best.min(minutes);
        }
        best
    }
}
