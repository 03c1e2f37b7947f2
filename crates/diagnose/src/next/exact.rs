//! The exact optimum of a small problem: the yardstick for [`super::choose`].

use super::problem::{Act, Belief, Problem};
use rustc_hash::FxHashMap;

/// The least expected minutes until the machine runs, and what to do first.
///
/// Dynamic programming over everything that can have been asked, answered and tried, so the cost grows
/// with (answers + 1) to the number of tests, times 2 to the number of repairs. `None` if that is more
/// than `most` beliefs.
#[must_use]
pub fn optimum(problem: &Problem, on_site: bool, most: usize) -> Option<(f64, Act)> {
    let mut solver = Solver { problem, known: FxHashMap::default(), most };
    let belief = problem.begin(on_site);
    let done = vec![0; problem.tests.len() + problem.repairs.len()];
    let total: f64 = belief.weights.iter().sum();
    let (cost, act) = solver.best(&belief, &done)?;
    Some((cost / total, act))
}

/// How many beliefs [`optimum`] may have to know at most: everything that can have been asked, answered and tried.
#[must_use]
pub fn beliefs(problem: &Problem) -> f64 {
    let asked: f64 = problem.tests.iter().map(|test| test.answers as f64 + 1.0).product();
    asked * libm::exp2(problem.repairs.len() as f64)
}

struct Solver<'p> {
    problem: &'p Problem,
    /// By what was done: for each test 0 or the answer's number plus 1, for each repair 0 or 1.
    known: FxHashMap<(Vec<u8>, bool), (f64, Act)>,
    most: usize,
}

impl Solver<'_> {
    fn best(&mut self, belief: &Belief, done: &[u8]) -> Option<(f64, Act)> {
        let problem = self.problem;
        let total: f64 = belief.weights.iter().sum();
        if total <= 0.0 {
            return Some((0.0, Act::GiveUp));
        }
        let key = (done.to_vec(), belief.on_site);
        if let Some(known) = self.known.get(&key) {
            return Some(*known);
        }
        if self.known.len() >= self.most {
            return None;
        }
        let mut best = (total * problem.last_resort, Act::GiveUp);
        for (index, repair) in problem.repairs.iter().enumerate().filter(|(index, _)| !belief.tried[*index]) {
            let price = total * problem.price(repair.minutes, repair.on_site, belief.on_site);
            let mut next = done.to_vec();
            next[problem.tests.len() + index] = 1;
            let after = problem.failed(belief, index);
            let again = after.weights.iter().sum::<f64>() * problem.again;
            let cost = price + again + self.best(&after, &next)?.0;
            if cost < best.0 {
                best = (cost, Act::Try(index));
            }
        }
        for (index, test) in problem.tests.iter().enumerate().filter(|(index, _)| !belief.asked[*index]) {
            let mut cost = total * problem.price(test.minutes, test.on_site, belief.on_site);
            for answer in 0..test.answers {
                let mut next = done.to_vec();
                next[index] = u8::try_from(answer + 1).ok()?;
                cost += self.best(&problem.answered(belief, index, answer), &next)?.0;
            }
            if cost < best.0 {
                best = (cost, Act::Ask(index));
            }
        }
        self.known.insert(key, best);
        Some(best)
    }
}
