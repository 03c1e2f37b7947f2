//! Ways to choose what to do next, and a call played through in one of them.

use super::{Course, Stated, Trial};
use crate::caller::Caller;
use crate::diagnoser::Diagnoser;
use crate::evidence::{Evidence, Moment};
use crate::next::candidates::{Posed, pose, pose_repairs};
use crate::next::questions::movement_of;
use crate::next::{Act, Belief, LAMPS_MINUTES, Terms, ToDo, beliefs, choose, optimum};
use machine::model::{HandMove, Who};
use serde::Serialize;
use std::sync::Arc;

/// A way to choose what to do next.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Policy {
    /// As the program advises.
    Advice,
    /// The checks in the order of the machine file, until one remedy is likely enough.
    FileOrder,
    /// No checks: remedies by probability over price.
    Odds,
    /// The check that tells most for its minutes, until one remedy is likely enough.
    Information,
    /// The devices that explain the missing condition first, the check that halves their weight best.
    Halving,
    /// As is best on the whole, worked out over everything that can be asked and tried: only where that is little enough.
    Optimum,
    /// Nothing is asked, and just what is needed is done: no way to choose, but what no way can do without.
    Knowing,
}

impl Policy {
    /// All of them, the program's own first.
    pub const ALL: [Self; 7] =
        [Self::Advice, Self::FileOrder, Self::Odds, Self::Information, Self::Halving, Self::Optimum, Self::Knowing];

    /// What it is, in words.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::Advice => "the program's advice",
            Self::FileOrder => "checks in the order of the file",
            Self::Odds => "remedies by probability over minutes",
            Self::Information => "most information per minute",
            Self::Halving => "missing condition first, its chain halved",
            Self::Optimum => "the exact optimum",
            Self::Knowing => "whoever knew the cause beforehand",
        }
    }
}

/// Probability from which the simple ways try a remedy.
const LIKELY_ENOUGH: f64 = 0.8;

/// Beliefs over which the exact optimum is worked out, at most.
const OPTIMUM_BELIEFS: f64 = 1e5;

/// Plays one call to its end; `None` where there is too much to ask and to try for the exact optimum.
pub(crate) fn play(
    mut caller: Caller<'_>,
    advisor: &Diagnoser,
    policy: Policy,
    trial: &Trial,
    beginning: &Beginning,
) -> Option<Course> {
    if policy == Policy::Knowing {
        return Some(knowing(caller, trial));
    }
    let mut course = Course::default();
    let mut evidence = beginning.evidence.clone();
    let mut terms = trial.terms.clone();
    let mut known = beginning.known.clone();
    for _ in 0..trial.most_steps {
        let now = known.take().or_else(|| Known::of(advisor, &evidence, &terms, policy));
        let Some(now) = now else { break };
        let Known { posed, belief } = &now;
        let (leading, probability) = leading(posed, belief);
        let needs = caller.needs();
        let is_so = match leading {
            Some(to_do) => needs.contains(&to_do),
            None => needs.is_empty(),
        };
        course.stated.push(Stated { leading, probability, is_so });
        course.true_first = is_so;
        let act = next(policy, posed, belief, &course.done, trial)?;
        let on_site = match act {
            Act::Ask(test) => posed.problem.tests[test].on_site,
            Act::Try(repair) => posed.problem.repairs[repair].on_site,
            Act::GiveUp => false,
        };
        if on_site && !belief.on_site {
            course.minutes += trial.terms.prices.visit;
            course.visits += 1;
            terms.caller = Who::Electrician;
        }
        match act {
            Act::GiveUp => break,
            Act::Try(repair) => {
                let (to_do, _, minutes) = posed.repairs[repair];
                course.minutes += minutes + trial.terms.prices.trial_run;
                course.done.push((to_do, minutes + trial.terms.prices.trial_run));
                if caller.put_right(&to_do) {
                    course.solved = true;
                    return Some(course);
                }
                let remedies = match to_do {
                    ToDo::Remedy(remedy) => vec![remedy],
                    _ => Vec::new(),
                };
                course.minutes += LAMPS_MINUTES;
                // Reading the lamps anew belongs to what was tried in vain.
                course.done.last_mut().into_iter().for_each(|(_, minutes)| *minutes += LAMPS_MINUTES);
                let lamps = caller.read_lamps("again", 0.0);
                evidence.moments.push(Moment { remedies, lamps, runs: Some(false), ..Moment::default() });
            }
            Act::Ask(test) => {
                let question = &posed.asked[test];
                course.minutes += question.minutes;
                course.done.push((question.to_do, question.minutes));
                course.questions += 1;
                let movement = movement(advisor, posed, question.to_do);
                let answered = caller.ask(question.to_do, movement, &mut evidence);
                if !answered {
                    terms.left_out.push(question.to_do);
                }
                // The program's own way, and the best, look anew at what there is to ask after every answer.
                if !matches!(policy, Policy::Advice | Policy::Optimum) && matches!(question.to_do, ToDo::Check(_)) {
                    known = Some(now.after(test, evidence.moments.last().filter(|_| answered)));
                }
            }
        }
    }
    course.minutes += trial.terms.prices.last_resort;
    Some(course)
}

/// What it takes if the cause is known beforehand: its remedies, again where they fail, and the visit if they need one.
fn knowing(mut caller: Caller<'_>, trial: &Trial) -> Course {
    let mut course = Course { true_first: true, ..Course::default() };
    let mut on_site = false;
    for _ in 0..trial.most_steps {
        let Some(to_do) = caller.needs().first().copied() else { break };
        let (who, minutes) = caller.price(&to_do);
        if who > trial.terms.caller && !on_site {
            on_site = true;
            course.visits += 1;
            course.minutes += trial.terms.prices.visit;
        }
        course.minutes += minutes + trial.terms.prices.trial_run;
        course.done.push((to_do, minutes + trial.terms.prices.trial_run));
        if caller.put_right(&to_do) {
            course.solved = true;
            return course;
        }
    }
    course.minutes = trial.terms.prices.last_resort;
    course
}

/// What is said first, and what is known then: the same for each way to choose.
pub(crate) struct Beginning {
    evidence: Evidence,
    known: Option<Known>,
}

impl Beginning {
    pub fn of(caller: &Caller<'_>, advisor: &Diagnoser, trial: &Trial) -> Self {
        let evidence = caller.opening();
        let known = Known::of(advisor, &evidence, &trial.terms, Policy::Advice);
        Self { evidence, known }
    }
}

/// What is known at some point of a call.
#[derive(Clone)]
struct Known {
    posed: Arc<Posed>,
    belief: Belief,
}

impl Known {
    fn of(advisor: &Diagnoser, evidence: &Evidence, terms: &Terms, policy: Policy) -> Option<Self> {
        let weighed = advisor.weighed(evidence);
        let posed = match policy {
            // Who never asks need not know what could be asked.
            Policy::Odds => pose_repairs(advisor, evidence, &weighed, terms),
            _ => pose(advisor, evidence, &weighed, terms),
        }?;
        let belief = posed.problem.begin(false);
        Some(Self { posed: Arc::new(posed), belief })
    }

    /// After a check, whose answer is the last in this moment; without one it is not known.
    fn after(self, test: usize, moment: Option<&Moment>) -> Self {
        let Self { posed, mut belief } = self;
        match moment.and_then(|moment| moment.checks.last()) {
            Some(report) => belief = posed.problem.answered(&belief, test, report.answer),
            None => {
                belief.asked[test] = true;
                belief.on_site |= posed.problem.tests[test].on_site;
            }
        }
        Self { posed, belief }
    }
}

/// What the hand does in an act of the leading hypothesis.
fn movement(advisor: &Diagnoser, posed: &Posed, to_do: ToDo) -> Option<HandMove> {
    let (ToDo::Act(deed), Some(leading)) = (to_do, posed.hypotheses.first()) else { return None };
    movement_of(&advisor.worlds()[leading.world], leading.routine, deed)
}

/// The remedy that is most probably needed, with its probability; `None` for a cause that is not in the file.
fn leading(posed: &Posed, belief: &Belief) -> (Option<ToDo>, f64) {
    let total: f64 = belief.weights.iter().sum();
    let shares = repair_shares(posed, belief);
    let best = shares.iter().enumerate().max_by(|a, b| a.1.total_cmp(b.1).then(b.0.cmp(&a.0)));
    let unknown = belief.weights.last().copied().unwrap_or(0.0);
    match best {
        Some((repair, share)) if *share >= unknown => (Some(posed.repairs[repair].0), share / total),
        _ => (None, unknown / total),
    }
}

/// By repair, the weight of the cases that need it.
fn repair_shares(posed: &Posed, belief: &Belief) -> Vec<f64> {
    let mut shares = vec![0.0; posed.repairs.len()];
    for (weight, needs) in belief.weights.iter().zip(&posed.problem.needs) {
        needs.iter().flatten().for_each(|repair| shares[usize::from(*repair)] += weight);
    }
    shares
}

fn next(policy: Policy, posed: &Posed, belief: &Belief, done: &[(ToDo, f64)], trial: &Trial) -> Option<Act> {
    let problem = &posed.problem;
    Some(match policy {
        Policy::Advice => choose(problem, belief, trial.terms.effort).first().map_or(Act::GiveUp, |first| first.act),
        Policy::Optimum if beliefs(problem) > OPTIMUM_BELIEFS => return None,
        Policy::Optimum => optimum(problem, belief.on_site, usize::MAX)?.1,
        Policy::Odds | Policy::Knowing => by_odds(posed, belief, done),
        Policy::FileOrder | Policy::Information | Policy::Halving => {
            let (leading, stated) = leading(posed, belief);
            if stated >= LIKELY_ENOUGH && leading.is_none() {
                return Some(Act::GiveUp);
            }
            let by_phone = |test: &usize| belief.on_site || !problem.tests[*test].on_site;
            // Nobody makes the same check twice who does not know that things look different by now.
            let is_new = |to_do: &ToDo| match to_do {
                ToDo::Check(_) => done.iter().all(|(done, _)| done != to_do),
                _ => policy == Policy::Information,
            };
            let checks: Vec<usize> =
                (0..problem.tests.len()).filter(|test| is_new(&posed.asked[*test].to_do)).collect();
            let open: Vec<usize> = match checks.iter().copied().filter(by_phone).collect::<Vec<_>>() {
                some if !some.is_empty() => some,
                _ => checks,
            };
            if stated >= LIKELY_ENOUGH || open.is_empty() {
                return Some(by_odds(posed, belief, done));
            }
            let test = match policy {
                Policy::FileOrder => open.first().copied(),
                Policy::Information => open
                    .into_iter()
                    .max_by(|a, b| information(posed, belief, *a).total_cmp(&information(posed, belief, *b))),
                _ => open
                    .into_iter()
                    .min_by(|a, b| from_half(posed, belief, *a).total_cmp(&from_half(posed, belief, *b))),
            };
            test.map_or(Act::GiveUp, Act::Ask)
        }
    })
}

/// How often the simple ways try one remedy.
const TRIED_AT_MOST: usize = 2;

fn by_odds(posed: &Posed, belief: &Belief, done: &[(ToDo, f64)]) -> Act {
    let (_, order) = posed.problem.by_repairs(belief);
    let tried = |repair: &usize| done.iter().filter(|(done, _)| *done == posed.repairs[*repair].0).count();
    order.into_iter().find(|repair| tried(repair) < TRIED_AT_MOST).map_or(Act::GiveUp, Act::Try)
}

fn answer_shares(posed: &Posed, belief: &Belief, test: usize) -> Vec<f64> {
    let total: f64 = belief.weights.iter().sum();
    (0..posed.problem.tests[test].answers)
        .map(|answer| posed.problem.answered(belief, test, answer).weights.iter().sum::<f64>() / total)
        .collect()
}

fn from_half(posed: &Posed, belief: &Belief, test: usize) -> f64 {
    answer_shares(posed, belief, test).first().map_or(1.0, |share| (share - 0.5).abs())
}

/// Bits that a test is expected to tell about the remedy, per minute.
fn information(posed: &Posed, belief: &Belief, test: usize) -> f64 {
    let entropy = |belief: &Belief| -> f64 {
        let mut shares = repair_shares(posed, belief);
        shares.push(belief.weights.last().copied().unwrap_or(0.0));
        let total: f64 = shares.iter().sum();
        let share = |weight: &f64| weight / total;
        shares.iter().filter(|weight| **weight > 0.0).map(|weight| -share(weight) * share(weight).log2()).sum()
    };
    let total: f64 = belief.weights.iter().sum();
    let after: f64 = (0..posed.problem.tests[test].answers)
        .map(|answer| {
            let after = posed.problem.answered(belief, test, answer);
            let weight: f64 = after.weights.iter().sum();
            if weight > 0.0 { weight / total * entropy(&after) } else { 0.0 }
        })
        .sum();
    let it = &posed.problem.tests[test];
    (entropy(belief) - after) / posed.problem.price(it.minutes, it.on_site, belief.on_site)
}
