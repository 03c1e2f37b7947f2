//! The choice itself: what to do next so that the machine runs after the fewest expected minutes.
//!
//! Every act is priced by what follows. Looked no further, what follows is "try the repairs in the
//! best order" ([`Problem::by_repairs`]); looked one act further, it is the best of what can be done
//! then, and so on. The look-ahead goes deeper, a level at a time, for the acts that looked best a level
//! before, as long as the allowance of evaluations lasts. The allowance is counted, not timed, so the
//! same question gets the same answer on every machine.

use super::pricing::{Groups, Scratch};
use super::problem::{Act, Belief, Problem};
use crate::tally::keep_share;
use rayon::prelude::*;
use std::borrow::Cow;

/// Tests that are thought of at the second step: those that are worth most at the first.
const FOLLOWED: usize = 40;

/// Tests that are thought of from the third step on: those that are worth most one step before, after just these
/// answers. What is worth little then is hardly ever the best a step later, and most of the time would go into it.
const FOLLOWED_FURTHER: usize = 10;

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
    Sorted::new(problem).choose(belief, None, effort, |_| true)
}

/// A problem with its cases in the order of what they need: sorted once, for all beliefs about it.
pub(super) struct Sorted<'p> {
    pub problem: &'p Problem,
    pub groups: Groups,
    /// By test and answer: its probability in each case, the cases in the order of the groups.
    columns: Vec<Vec<Vec<f64>>>,
}

impl<'p> Sorted<'p> {
    pub fn new(problem: &'p Problem) -> Self {
        let groups = Groups::new(problem);
        let columns = (problem.tests.par_iter())
            .map(|test| {
                let column =
                    |answer| groups.cases().map(|case| test.likelihood[case * test.answers + answer]).collect();
                (0..test.answers).map(column).collect()
            })
            .collect();
        Self { problem, groups, columns }
    }

    /// See [`choose`]: among the heaviest cases only that make up this share of the weight, if one is given; more than
    /// one step is looked ahead only if that is wanted after the first, of which `further` is told what can be done,
    /// the best first, its minutes times weight.
    pub fn choose(
        &self,
        belief: &Belief,
        share: Option<f64>,
        effort: Effort,
        further: impl FnOnce(&[Priced]) -> bool,
    ) -> Vec<Priced> {
        let node = Node {
            weights: self.groups.cases().map(|case| belief.weights[case]).collect(),
            asked: belief.asked.clone(),
            tried: belief.tried.clone(),
            on_site: belief.on_site,
        };
        match share {
            None => {
                let columns = self.columns.iter().map(|test| test.iter().map(|one| Cow::Borrowed(&one[..])).collect());
                let columns = columns.collect();
                Search { problem: self.problem, effort, groups: Cow::Borrowed(&self.groups), columns }
                    .choose(&node, further)
            }
            Some(share) => {
                let kept = self.heaviest(&node.weights, share);
                let only = |all: &[f64]| kept.iter().map(|place| all[*place]).collect::<Vec<f64>>();
                // Of what was asked already nothing is wanted any more.
                let columns = self.columns.par_iter().zip(&node.asked).map(|(test, asked)| {
                    let columns = test.iter().filter(|_| !asked);
                    columns.map(|column| Cow::Owned(only(column))).collect()
                });
                let columns = columns.collect();
                let groups = Cow::Owned(self.groups.only(&kept));
                let node = Node { weights: only(&node.weights), ..node };
                Search { problem: self.problem, effort, groups, columns }.choose(&node, further)
            }
        }
    }

    /// Where the heaviest cases are that make up this share of the weight, in rising order.
    fn heaviest(&self, weights: &[f64], share: f64) -> Vec<usize> {
        let mut kept: Vec<usize> = (0..weights.len()).collect();
        kept.sort_unstable_by(|a, b| weights[*b].total_cmp(&weights[*a]).then(a.cmp(b)));
        keep_share(&mut kept, |place| weights[*place], share * weights.iter().sum::<f64>());
        kept.sort_unstable();
        kept
    }
}

fn order(a: &Priced, b: &Priced) -> std::cmp::Ordering {
    a.minutes.total_cmp(&b.minutes).then(a.act.cmp(&b.act))
}

/// What is asked, in this order.
fn asked(acts: &[Priced]) -> impl Iterator<Item = usize> {
    acts.iter().filter_map(|one| match one.act {
        Act::Ask(test) => Some(test),
        Act::Try(_) | Act::GiveUp => None,
    })
}

struct Search<'p> {
    problem: &'p Problem,
    effort: Effort,
    groups: Cow<'p, Groups>,
    /// By test and answer: its probability in each case, the cases in the order of the groups.
    columns: Vec<Vec<Cow<'p, [f64]>>>,
}

/// A belief with its cases in the order of the groups.
#[derive(Clone)]
struct Node {
    weights: Vec<f64>,
    asked: Vec<bool>,
    tried: Vec<bool>,
    on_site: bool,
}

/// What one line of thought needs: memory, and a count of what it has cost.
#[derive(Default)]
struct Work {
    scratch: Scratch,
    left: Vec<f64>,
    evaluations: usize,
}

impl Search<'_> {
    fn choose(&self, belief: &Node, further: impl FnOnce(&[Priced]) -> bool) -> Vec<Priced> {
        let total: f64 = belief.weights.iter().sum();
        if total <= 0.0 {
            return Vec::new();
        }
        let mut tests: Vec<usize> = (0..self.problem.tests.len()).collect();
        let mut evaluations = 0;
        let acts = self.possible(belief, &tests, &mut Work::default());
        let mut priced = self.priced(belief, &acts, &tests, 0, &mut evaluations);
        priced.sort_by(order);
        // Further on only those are looked at that are worth something now.
        tests = asked(&priced).take(FOLLOWED).collect();
        let deepest = if self.effort.depth > 1 && further(&priced) { self.effort.depth } else { 1 };
        for depth in 2..=deepest {
            let width = self.effort.width.min(priced.len());
            let leading: Vec<Act> = priced[..width].iter().map(|one| one.act).collect();
            let mut spent = 0;
            let mut deeper = self.priced(belief, &leading, &tests, depth - 1, &mut spent);
            deeper.sort_by(order);
            // The others were not looked at so far, and stay behind the best that were.
            priced[..width].copy_from_slice(&deeper);
            evaluations += spent;
            if evaluations + spent.max(1) * self.effort.width * 2 > self.effort.evaluations {
                break;
            }
        }
        priced.iter_mut().for_each(|one| one.minutes /= total);
        priced
    }

    /// What is believed after an answer.
    fn answered(&self, node: &Node, test: usize, answer: usize) -> Node {
        let mut next = node.clone();
        next.weights.iter_mut().zip(&*self.columns[test][answer]).for_each(|(weight, share)| *weight *= share);
        next.asked[test] = true;
        next.on_site |= self.problem.tests[test].on_site;
        next
    }

    /// What is believed after a repair was tried in vain.
    fn failed(&self, node: &Node, repair: usize, work: &mut Work) -> Node {
        let mut next = node.clone();
        self.groups.left_after(self.problem, &node.tried, repair, &mut work.left);
        for (run, left) in self.groups.runs().zip(&work.left).filter(|(_, left)| **left != 1.0) {
            next.weights[run].iter_mut().for_each(|weight| *weight *= left);
        }
        next.tried[repair] = true;
        next.on_site |= self.problem.repairs[repair].on_site;
        next
    }

    fn by_repairs(&self, node: &Node, work: &mut Work) -> f64 {
        work.evaluations += 1;
        work.scratch.sums.clear();
        work.scratch.sums.extend(self.groups.runs().map(|run| node.weights[run].iter().sum::<f64>()));
        self.groups.repair_cost(self.problem, &node.tried, node.on_site, &mut work.scratch)
    }

    /// What repairs cost after an answer, without making the belief of it.
    fn by_repairs_answered(&self, node: &Node, test: usize, answer: usize, work: &mut Work) -> f64 {
        work.evaluations += 1;
        let column = &self.columns[test][answer];
        work.scratch.sums.clear();
        work.scratch.sums.extend(self.groups.runs().map(|run| {
            let shares = column[run.clone()].iter();
            node.weights[run].iter().zip(shares).map(|(weight, share)| weight * share).sum::<f64>()
        }));
        let on_site = node.on_site | self.problem.tests[test].on_site;
        self.groups.repair_cost(self.problem, &node.tried, on_site, &mut work.scratch)
    }

    /// Everything that can be done.
    fn possible(&self, node: &Node, tests: &[usize], work: &mut Work) -> Vec<Act> {
        let mut acts = vec![Act::GiveUp];
        acts.extend(tests.iter().filter(|test| !node.asked[**test]).map(|test| Act::Ask(*test)));
        self.by_repairs(node, work);
        acts.extend(work.scratch.order().take(self.effort.width).map(Act::Try));
        acts
    }

    /// Each of these acts priced, on all cores; adds what it has cost.
    fn priced(&self, node: &Node, acts: &[Act], tests: &[usize], depth: usize, evaluations: &mut usize) -> Vec<Priced> {
        // Some questions have two answers and some have twenty, so each answer is a piece of work of its own.
        let pieces: Vec<(Act, usize)> =
            acts.iter().flat_map(|act| (0..self.answers(*act).unwrap_or(1)).map(|answer| (*act, answer))).collect();
        let found: Vec<(f64, usize)> = pieces
            .par_iter()
            .map_init(Work::default, |work, (act, answer)| {
                work.evaluations = 0;
                let minutes = match act {
                    Act::Ask(test) => self.value_answered(node, (*test, *answer), tests, depth, work),
                    _ => self.price(node, *act, tests, depth, work),
                };
                (minutes, work.evaluations)
            })
            .collect();
        *evaluations += found.iter().map(|(_, evaluations)| evaluations).sum::<usize>();
        let mut found = found.into_iter().map(|(minutes, _)| minutes);
        let mut price = |act: Act| match (act, self.answers(act)) {
            (Act::Ask(test), Some(count)) => self.asking(node, test) + found.by_ref().take(count).sum::<f64>(),
            _ => found.next().unwrap_or(f64::INFINITY),
        };
        acts.iter().map(|act| Priced { act: *act, minutes: price(*act) }).collect()
    }

    /// How many answers there are to a question; none for what is no question.
    fn answers(&self, act: Act) -> Option<usize> {
        match act {
            Act::Ask(test) => Some(self.problem.tests[test].answers),
            Act::Try(_) | Act::GiveUp => None,
        }
    }

    /// Minutes times weight of asking, whatever follows.
    fn asking(&self, node: &Node, test: usize) -> f64 {
        let it = &self.problem.tests[test];
        node.weights.iter().sum::<f64>() * self.problem.price(it.minutes, it.on_site, node.on_site)
    }

    /// Minutes times weight after an answer.
    fn value_answered(
        &self,
        node: &Node,
        (test, answer): (usize, usize),
        tests: &[usize],
        depth: usize,
        work: &mut Work,
    ) -> f64 {
        match depth {
            0 => self.by_repairs_answered(node, test, answer, work),
            _ => self.value(&self.answered(node, test, answer), tests, depth, work),
        }
    }

    /// Everything that can be done, looked one step ahead, the best first.
    fn acts(&self, node: &Node, tests: &[usize], work: &mut Work) -> Vec<Priced> {
        let acts = self.possible(node, tests, work);
        let price = |act: Act| Priced { act, minutes: self.price(node, act, tests, 0, work) };
        let mut acts: Vec<Priced> = acts.into_iter().map(price).collect();
        acts.sort_by(order);
        acts
    }

    /// Minutes times weight if this is done next, looking so many levels further.
    fn price(&self, node: &Node, act: Act, tests: &[usize], depth: usize, work: &mut Work) -> f64 {
        let problem = self.problem;
        let total: f64 = node.weights.iter().sum();
        match act {
            Act::GiveUp => total * problem.last_resort,
            Act::Try(repair) => {
                let it = &problem.repairs[repair];
                let price = total * problem.price(it.minutes, it.on_site, node.on_site);
                let failed = self.failed(node, repair, work);
                let again = failed.weights.iter().sum::<f64>() * problem.again;
                price + again + self.value(&failed, tests, depth, work)
            }
            Act::Ask(test) => {
                let answers = 0..problem.tests[test].answers;
                let after =
                    answers.map(|answer| self.value_answered(node, (test, answer), tests, depth, work)).sum::<f64>();
                self.asking(node, test) + after
            }
        }
    }

    /// Minutes times weight from here on, looking so many levels further.
    fn value(&self, node: &Node, tests: &[usize], depth: usize, work: &mut Work) -> f64 {
        let total: f64 = node.weights.iter().sum();
        if total <= 0.0 {
            return 0.0;
        }
        let repairs = self.by_repairs(node, work);
        if depth == 0 {
            return repairs;
        }
        let acts = self.acts(node, tests, work);
        let leading = &acts[..acts.len().min(self.effort.width)];
        if depth == 1 {
            return leading.first().map_or(repairs, |best| best.minutes.min(repairs));
        }
        let worth: Vec<usize> = asked(&acts).take(FOLLOWED_FURTHER).collect();
        leading.iter().fold(repairs, |best, one| best.min(self.price(node, one.act, &worth, depth - 1, work)))
    }
}
