//! The choice itself: what to do next so that the machine runs after the fewest expected minutes.
//!
//! Every act is priced by what follows. Looked no further, what follows is "try the repairs in the
//! best order" ([`Problem::by_repairs`]); looked one act further, it is the best of what can be done
//! then, and so on. The look-ahead goes deeper, a level at a time, for the acts that looked best a level
//! before, as long as the allowance of evaluations lasts. The allowance is counted, not timed, so the
//! same question gets the same answer on every machine.

use super::problem::{Act, Belief, Groups, Problem, Scratch};

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
    let groups = Groups::new(problem);
    let tests = (0..problem.tests.len()).filter(|test| !belief.asked[*test]).collect();
    let mut search = Search { problem, effort, groups, tests, scratch: Scratch::default(), evaluations: 0 };
    let mut priced = search.acts(belief);
    // Further on only those are looked at that are worth something now.
    let worth = priced.iter().filter_map(|one| match one.act {
        Act::Ask(test) => Some(test),
        _ => None,
    });
    search.tests = worth.take(FOLLOWED).collect();
    for depth in 2..=effort.depth {
        let before = search.evaluations;
        let mut deeper = priced.clone();
        for one in deeper.iter_mut().take(effort.width) {
            one.minutes = search.price(belief, one.act, depth - 1);
        }
        deeper[..effort.width.min(priced.len())].sort_by(order);
        // The others were not looked at so far, and stay behind the best that were.
        priced = deeper;
        let spent = (search.evaluations - before).max(1);
        let branching = effort.width * 2;
        if search.evaluations + spent * branching > effort.evaluations {
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
    scratch: Scratch,
    evaluations: usize,
}

impl Search<'_> {
    fn by_repairs(&mut self, belief: &Belief) -> f64 {
        self.evaluations += 1;
        self.problem.repair_cost(&self.groups, &belief.weights, &belief.tried, belief.on_site, &mut self.scratch)
    }

    /// Everything that can be done, looked one step ahead, the best first.
    fn acts(&mut self, belief: &Belief) -> Vec<Priced> {
        let problem = self.problem;
        let total: f64 = belief.weights.iter().sum();
        let mut acts = vec![Priced { act: Act::GiveUp, minutes: total * problem.last_resort }];
        for test in self.tests.clone().into_iter().filter(|test| !belief.asked[*test]) {
            acts.push(Priced { act: Act::Ask(test), minutes: self.price(belief, Act::Ask(test), 0) });
        }
        self.by_repairs(belief);
        let order_of_repairs: Vec<usize> = self.scratch.order().iter().copied().take(self.effort.width).collect();
        for repair in order_of_repairs {
            acts.push(Priced { act: Act::Try(repair), minutes: self.price(belief, Act::Try(repair), 0) });
        }
        acts.sort_by(order);
        acts
    }

    /// Minutes times weight if this is done next, looking so many levels further.
    fn price(&mut self, belief: &Belief, act: Act, depth: usize) -> f64 {
        let problem = self.problem;
        let total: f64 = belief.weights.iter().sum();
        match act {
            Act::GiveUp => total * problem.last_resort,
            Act::Try(repair) => {
                let it = &problem.repairs[repair];
                let price = total * problem.price(it.minutes, it.on_site, belief.on_site);
                price + self.value(&problem.failed(belief, repair), depth)
            }
            Act::Ask(test) => {
                let it = &problem.tests[test];
                let price = total * problem.price(it.minutes, it.on_site, belief.on_site);
                let answers = (0..it.answers).map(|answer| self.value(&problem.answered(belief, test, answer), depth));
                price + answers.sum::<f64>()
            }
        }
    }

    /// Minutes times weight from here on, looking so many levels further.
    fn value(&mut self, belief: &Belief, depth: usize) -> f64 {
        let total: f64 = belief.weights.iter().sum();
        if total <= 0.0 {
            return 0.0;
        }
        let repairs = self.by_repairs(belief);
        if depth == 0 {
            return repairs;
        }
        let acts = self.acts(belief);
        let mut best = repairs;
        for one in acts.iter().take(self.effort.width) {
            let minutes = if depth == 1 { one.minutes } else { self.price(belief, one.act, depth - 1) };
            best = best.min(minutes);
        }
        best
    }
}
