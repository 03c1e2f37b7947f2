//! The check tree: what to do next written out for every answer, to a bounded depth, for paper.
//!
//! The problem is posed once, as it is when somebody calls; on each way down only the weights change. So a tree
//! is quickly made, and knows less than a call that goes along: where working the machine has changed how it
//! stands, what could be seen before is not asked any more on that way.
//!
//! At each node the act is what [`choose`] puts first, or "try the rest in the best order" where that costs no
//! more within the depth that is left. The act does not depend on that depth, so a deeper tree never costs
//! more minutes than a shallower one.

use super::advice::{Tell, cautions, deviation_words, outcome};
use super::asking::words_of;
use super::candidates::{Posed, pose};
use super::choose::{Effort, Priced, Sorted};
use super::movement::{FAR_FETCHED, Movement, movements};
use super::pricing::Groups;
use super::problem::{Act, Belief};
use super::todo::{Terms, ToDo};
use crate::diagnoser::{Diagnoser, Weighed};
use crate::evidence::Evidence;
use crate::hypothesis::Hypothesis;
use crate::pattern::Opening;
use machine::Machine;
use machine::caution::Caution;
use machine::model::{Who, Words};
use rayon::prelude::*;
use std::collections::BTreeMap;
use std::sync::OnceLock;

/// Remedies that are listed where a tree ends.
const LISTED: usize = 5;
/// What puts right less than this of those with which an end is reached is not listed there.
const WORTH_A_LINE: f64 = 0.03;

/// Share of the weight at a node among which the next thing to do is chosen.
const LOOKED_AT: f64 = 0.998;

/// Share of all cases from which on a node is worth looking further ahead than a step.
const LOOKED_FAR: f64 = 0.1;

/// By what share of its minutes an act is to be ahead of all others, a step ahead, so that it is chosen without looking
/// further.
const WELL_AHEAD: f64 = 0.25;

/// How large a tree may become.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Size {
    /// Things to do one after the other, at most.
    pub depth: usize,
    /// An answer of a smaller share of all cases is not followed by itself.
    pub least: f64,
    /// How far to look ahead at each node.
    pub effort: Effort,
}

impl Default for Size {
    fn default() -> Self {
        Self { depth: 6, least: 0.02, effort: Effort { evaluations: 4_000, width: 4, depth: 2 } }
    }
}

/// What to do from here on.
#[derive(Clone, Debug)]
pub struct Node {
    /// Share of all cases that come here.
    pub share: f64,
    /// Expected minutes from here until the machine runs, over the cases that come here.
    pub minutes: f64,
    /// What is done here, or how it ends.
    pub next: Next,
}

/// What is done at a node.
#[derive(Clone, Debug)]
pub enum Next {
    /// Something is asked or tried, and it depends.
    Do(Box<Step>),
    /// The way ends here.
    End(Leaf),
}

/// Something to ask or try, with what follows each answer.
#[derive(Clone, Debug)]
pub struct Step {
    /// What.
    pub to_do: ToDo,
    /// The same as a name, see [`ToDo::key`].
    pub key: String,
    /// As said to whoever is at the machine.
    pub words: Words,
    /// Who may do it.
    pub who: Who,
    /// Minutes it takes, the trial run of a remedy included.
    pub minutes: f64,
    /// What to be careful of, before the words.
    pub cautions: Vec<Caution>,
    /// What can move, before the words.
    pub movements: Vec<Movement>,
    /// The answers that are followed.
    pub branches: Vec<Branch>,
}

/// An answer and what follows it.
#[derive(Clone, Debug)]
pub struct Branch {
    /// The answer's key; `rare` for all answers that are not followed by themselves.
    pub key: String,
    /// Its words.
    pub words: String,
    /// How many answers stand here together.
    pub answers: usize,
    /// What follows.
    pub node: Node,
}

/// How a way through the tree ends.
#[derive(Clone, Debug)]
pub struct Leaf {
    /// In what way.
    pub end: End,
    /// Share of all cases that are put right here, by what was done last or by what is listed.
    pub solved: f64,
    /// The causes that are left, the most probable first; where it runs: what it was.
    pub causes: Vec<Tell>,
    /// By cause, the key of the deviation, by which its words in other languages are found; `None`: it is none.
    pub deviations: Vec<Option<String>>,
    /// What is still to be tried, in the best order.
    pub remedies: Vec<Remedy>,
}

/// In what way a tree ends.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum End {
    /// The remedy has helped: the machine runs.
    Runs,
    /// Somebody has to come who may do what is next.
    Visit,
    /// What is still listed is to be tried in turn.
    Remedies,
    /// Nothing is left but the last resort.
    LastResort,
    /// Rare answers, not followed by themselves.
    Rare,
}

/// A remedy where a tree ends.
#[derive(Clone, Debug, PartialEq)]
pub struct Remedy {
    /// Its key, see [`ToDo::key`].
    pub key: String,
    /// What to do, in all languages that there are.
    pub words: Words,
    /// The probability that the machine runs with it, of those with which this end is reached; those before it were in
    /// vain.
    pub helps: f64,
    /// Who may do it.
    pub who: Who,
    /// What to be careful of, before the words.
    pub cautions: Vec<Caution>,
    /// What can move, before the words.
    pub movements: Vec<Movement>,
}

/// Writes out what to do for every answer, from this evidence on. `None` if the machine has nothing to tell.
#[must_use]
pub fn tree(diagnoser: &Diagnoser, evidence: &Evidence, terms: &Terms, size: Size) -> Option<Node> {
    tree_weighed(diagnoser, evidence, &diagnoser.weighed(evidence), terms, size)
}

/// The same from an opening on.
#[must_use]
pub fn tree_of(diagnoser: &Diagnoser, opening: &Opening, terms: &Terms, size: Size) -> Option<Node> {
    tree_weighed(diagnoser, &opening.evidence, &opening.weighed, terms, size)
}

fn tree_weighed(
    diagnoser: &Diagnoser,
    evidence: &Evidence,
    weighed: &Weighed,
    terms: &Terms,
    size: Size,
) -> Option<Node> {
    let mut posed = pose(diagnoser, evidence, weighed, terms)?;
    make_whole(&mut posed);
    let belief = posed.problem.begin(false);
    let total: f64 = belief.weights.iter().sum();
    if total <= 0.0 {
        return None;
    }
    let sorted = Sorted::new(&posed.problem);
    let planned = Planner { posed: &posed, sorted: &sorted, size, total }.plan(&belief, size.depth);
    let read = evidence.moments.last().is_some_and(|now| !now.lamps.is_empty());
    let keys = keys(diagnoser, &posed);
    let moved = posed.repairs.iter().map(|_| OnceLock::new()).collect();
    let writer = Writer { diagnoser, posed: &posed, groups: &sorted.groups, terms, total, read, keys, moved };
    Some(writer.node(&belief, planned))
}

/// By what a deviation is called, its key.
fn keys(diagnoser: &Diagnoser, posed: &Posed) -> BTreeMap<String, String> {
    let worlds = diagnoser.worlds();
    let mut seen: Vec<_> =
        posed.hypotheses.iter().flat_map(|one| one.deviations.iter().map(|of| (one.world, *of))).collect();
    seen.sort_unstable();
    seen.dedup();
    let mut keys = BTreeMap::new();
    for (world, deviation) in seen {
        let machine = &worlds[world].machine;
        let key = &machine.deviations[deviation].key;
        keys.entry(deviation_words(machine, deviation)).or_insert_with(|| key.clone());
    }
    keys
}

/// Makes the answers of each case sum to 1. Where something goes round, the share of time at each position is
/// rounded to thousandths, and so the sum is not always whole; on paper no case may get lost by it.
fn make_whole(posed: &mut Posed) {
    for test in &mut posed.problem.tests {
        for row in test.likelihood.chunks_exact_mut(test.answers.max(1)) {
            let sum: f64 = row.iter().sum();
            if sum > 0.0 {
                row.iter_mut().for_each(|share| *share /= sum);
            }
        }
    }
}

/// A tree without words.
struct Plan {
    /// Minutes times weight.
    cost: f64,
    act: Option<(Act, Vec<Follow>)>,
    /// Whether what is best next needs somebody to come.
    visit: bool,
}

/// Answers that are followed together, and how.
struct Follow {
    answers: Vec<usize>,
    belief: Belief,
    plan: Option<Plan>,
}

struct Planner<'p> {
    posed: &'p Posed,
    sorted: &'p Sorted<'p>,
    size: Size,
    total: f64,
}

impl Planner<'_> {
    fn plan(&self, belief: &Belief, depth: usize) -> Plan {
        let problem = &self.posed.problem;
        let (cost, _) = problem.by_repairs_in(&self.sorted.groups, belief);
        let mut stop = Plan { cost, act: None, visit: false };
        // Where few come, or where there is no doubt, a step ahead is enough.
        let open = |priced: &[Priced]| match priced {
            [first, second, ..] => second.minutes < first.minutes * (1.0 + WELL_AHEAD),
            _ => false,
        };
        let many = weight(belief) >= LOOKED_FAR * self.total;
        // Of these there are fewer with each answer. Everything is priced with all of them.
        let priced = self.sorted.choose(belief, Some(LOOKED_AT), self.size.effort, |priced| many && open(priced));
        let Some(first) = priced.first().copied() else { return stop };
        let (minutes, on_site, parts) = match first.act {
            Act::GiveUp => return stop,
            Act::Ask(test) => {
                let parts: Vec<Belief> =
                    (0..problem.tests[test].answers).map(|answer| self.after(belief, test, answer)).collect();
                (problem.tests[test].minutes, problem.tests[test].on_site, parts)
            }
            Act::Try(repair) => {
                (problem.repairs[repair].minutes, problem.repairs[repair].on_site, vec![problem.failed(belief, repair)])
            }
        };
        stop.visit = on_site && !belief.on_site;
        if depth == 0 || stop.visit {
            return stop;
        }
        let again = match first.act {
            Act::Try(_) => problem.again * parts.iter().map(weight).sum::<f64>(),
            Act::Ask(_) | Act::GiveUp => 0.0,
        };
        let (large, mut small): (Vec<_>, Vec<_>) =
            parts.into_iter().enumerate().partition(|(_, part)| weight(part) >= self.size.least * self.total);
        if large.is_empty() {
            return stop;
        }
        let mut large: Vec<(Vec<usize>, Belief)> =
            large.into_iter().map(|(answer, part)| (vec![answer], part)).collect();
        // Whoever gets an answer that is not on the page can't know whether it is "something else".
        if let Some((answers, part)) =
            large.iter_mut().find(|(answers, _)| self.is_something_else(first.act, answers[0]))
        {
            for (answer, rare) in small.drain(..) {
                answers.push(answer);
                add(part, &rare);
            }
        }
        let mut follows: Vec<Follow> = large
            .into_par_iter()
            .map(|(answers, part)| {
                let plan = Some(self.plan(&part, depth - 1));
                Follow { answers, belief: part, plan }
            })
            .collect();
        let mut cost = minutes * weight(belief) + again;
        cost += follows.iter().filter_map(|follow| follow.plan.as_ref()).map(|plan| plan.cost).sum::<f64>();
        // The answers themselves are known to whoever rings up with one of them, so each is priced by itself.
        cost += small.iter().map(|(_, part)| problem.by_repairs_in(&self.sorted.groups, part).0).sum::<f64>();
        if let Some((_, first)) = small.first() {
            let mut together = first.clone();
            together.weights.fill(0.0);
            small.iter().for_each(|(_, part)| add(&mut together, part));
            let answers = small.iter().map(|(answer, _)| *answer).collect();
            follows.push(Follow { answers, belief: together, plan: None });
        }
        if cost > stop.cost * (1.0 + 1e-12) {
            return stop;
        }
        Plan { cost, act: Some((first.act, follows)), visit: false }
    }

    /// Whether an answer is all that have no words of their own.
    fn is_something_else(&self, act: Act, answer: usize) -> bool {
        let Act::Ask(test) = act else { return false };
        self.posed.asked[test].answers.get(answer).is_some_and(|(key, _)| key == "other")
    }

    /// What is believed after an answer, with everything crossed out that it answers too or that is no
    /// longer as it was.
    fn after(&self, belief: &Belief, test: usize, answer: usize) -> Belief {
        let mut after = self.posed.problem.answered(belief, test, answer);
        let asked = &self.posed.asked[test];
        let key = asked.answers.get(answer).map_or("", |(key, _)| key.as_str());
        let crossed_out = |to_do: &ToDo| match asked.to_do {
            ToDo::Lamps => key != "other" && matches!(to_do, ToDo::Lamp(_)),
            ToDo::Act(_) => {
                key != "nothing"
                    && matches!(to_do, ToDo::Lamp(_) | ToDo::Lamps | ToDo::Position(_) | ToDo::Act(_) | ToDo::Check(_))
            }
            _ => false,
        };
        for (other, one) in self.posed.asked.iter().enumerate() {
            after.asked[other] |= crossed_out(&one.to_do);
        }
        after
    }
}

/// Adds the weights of another belief, of which nothing else counts.
fn add(to: &mut Belief, more: &Belief) {
    to.weights.iter_mut().zip(&more.weights).for_each(|(sum, weight)| *sum += weight);
}

fn weight(belief: &Belief) -> f64 {
    belief.weights.iter().sum()
}

/// A text with a name before it, in all languages.
fn named(name: &str, words: Words) -> Words {
    let with = |text: &str| format!("{name}: {text}");
    Words {
        english: with(&words.english),
        translations: words.translations.iter().map(|(language, text)| (language.clone(), with(text))).collect(),
        ..words
    }
}

/// Puts a plan into words.
struct Writer<'w> {
    diagnoser: &'w Diagnoser,
    posed: &'w Posed,
    groups: &'w Groups,
    terms: &'w Terms,
    total: f64,
    /// Whether lamps were read already.
    read: bool,
    /// By what a deviation is called, its key.
    keys: BTreeMap<String, String>,
    /// By repair, what can move where it is needed; the same one ends many ways through a tree.
    moved: Vec<OnceLock<Vec<Movement>>>,
}

impl Writer<'_> {
    fn words(&self, machine: &Machine, to_do: &ToDo) -> Words {
        let words = words_of(machine, self.diagnoser.worlds(), &self.posed.hypotheses, to_do);
        match to_do {
            ToDo::Check(check) if self.terms.caller >= Who::Technician => machine.checks[*check].technician.clone(),
            ToDo::Lamps if !self.read => Words {
                key: "next.all-lamps".to_owned(),
                english: "Which lamps are lit?".to_owned(),
                translations: [("de", "Welche Lampen leuchten?"), ("es", "¿Qué lámparas están encendidas?")]
                    .map(|(language, text)| (language.to_owned(), text.to_owned()))
                    .to_vec(),
            },
            // On paper nothing else says which of several like sensors is meant.
            ToDo::Remedy(remedy) => {
                let device = machine.remedies[*remedy].device.map(|device| machine.devices[device].name.as_str());
                match device.filter(|name| !words.english.contains(name)) {
                    Some(name) => named(&name.replace('_', " "), words),
                    None => words,
                }
            }
            _ => words,
        }
    }

    fn node(&self, belief: &Belief, plan: Plan) -> Node {
        let here = weight(belief);
        let next = match plan.act {
            None => {
                let leaf = self.ending(belief);
                Next::End(if plan.visit { Leaf { end: End::Visit, ..leaf } } else { leaf })
            }
            Some((act, follows)) => self.step(belief, act, follows),
        };
        Node { share: here / self.total, minutes: plan.cost / here.max(f64::MIN_POSITIVE), next }
    }

    fn step(&self, belief: &Belief, act: Act, follows: Vec<Follow>) -> Next {
        let (to_do, who, minutes) = match act {
            Act::GiveUp => return Next::End(self.ending(belief)),
            Act::Ask(test) => {
                let asked = &self.posed.asked[test];
                (asked.to_do, asked.who, asked.minutes)
            }
            Act::Try(repair) => {
                let (to_do, who, minutes) = self.posed.repairs[repair];
                (to_do, who, minutes + self.terms.prices.trial_run)
            }
        };
        let mut branches = Vec::new();
        if let Act::Try(repair) = act {
            branches.push(self.it_runs(belief, repair));
        }
        for follow in follows {
            let here = weight(&follow.belief);
            let words_of = |answer: &usize| match act {
                Act::Ask(test) => self.posed.asked[test].answers.get(*answer).cloned(),
                _ => Some(("still".to_owned(), "as before".to_owned())),
            };
            let (key, words) = match follow.answers.as_slice() {
                [answer] if follow.plan.is_some() => words_of(answer).unwrap_or_default(),
                _ => ("rare".to_owned(), "any other answer".to_owned()),
            };
            let node = match follow.plan {
                Some(plan) => self.node(&follow.belief, plan),
                None if here <= 0.0 => continue,
                None => {
                    let minutes = self.posed.problem.by_repairs_in(self.groups, &follow.belief).0 / here;
                    let leaf = Leaf { end: End::Rare, ..self.ending(&follow.belief) };
                    Node { share: here / self.total, minutes, next: Next::End(leaf) }
                }
            };
            branches.push(Branch { key, words, answers: follow.answers.len(), node });
        }
        let Some(machine) = self.diagnoser.machine() else { return Next::End(self.ending(belief)) };
        let believed = self.believed(belief);
        let total: f64 = weight(belief) * self.posed.total;
        Next::Do(Box::new(Step {
            key: to_do.key(machine),
            words: self.words(machine, &to_do),
            who,
            minutes,
            cautions: cautions(machine, self.diagnoser, self.posed, &to_do),
            movements: movements(self.diagnoser, &believed, total, &to_do),
            branches,
            to_do,
        }))
    }

    /// The hypotheses that still matter, with their weights here.
    fn believed(&self, belief: &Belief) -> Vec<Hypothesis> {
        let total = weight(belief) * self.posed.total;
        let before = &self.posed.problem.weights;
        (self.posed.hypotheses.iter().zip(&self.posed.case_of))
            .filter(|(_, case)| before[**case] > 0.0)
            .map(|(one, case)| (one, one.weight * belief.weights[*case] / before[*case]))
            .filter(|(_, weight)| *weight >= FAR_FETCHED * total)
            .map(|(one, weight)| Hypothesis { weight, ..one.clone() })
            .collect()
    }

    /// What can move when this is put right: of everything that needs it, as it was in the beginning.
    fn moved(&self, repair: usize) -> &[Movement] {
        self.moved[repair].get_or_init(|| {
            let needs =
                |case: usize| self.posed.problem.needs[case].iter().flatten().any(|one| usize::from(*one) == repair);
            let concerned = self.posed.hypotheses.iter().zip(&self.posed.case_of).filter(|(_, case)| needs(**case));
            let concerned: Vec<Hypothesis> = concerned.map(|(one, _)| one.clone()).collect();
            let total = concerned.iter().map(|one| one.weight).sum();
            movements(self.diagnoser, &concerned, total, &self.posed.repairs[repair].0)
        })
    }

    fn it_runs(&self, belief: &Belief, repair: usize) -> Branch {
        let after = self.posed.problem.failed(belief, repair);
        let helped: Vec<f64> =
            belief.weights.iter().zip(&after.weights).map(|(before, after)| before - after).collect();
        let share = helped.iter().sum::<f64>() / self.total;
        let (causes, deviations) = self.causes(belief, &helped);
        let leaf = Leaf { end: End::Runs, solved: share, causes, deviations, remedies: Vec::new() };
        let node = Node { share, minutes: 0.0, next: Next::End(leaf) };
        Branch { key: "runs".to_owned(), words: "it runs".to_owned(), answers: 1, node }
    }

    fn causes(&self, before: &Belief, after: &[f64]) -> (Vec<Tell>, Vec<Option<String>>) {
        let mut tells = outcome(self.posed, "", "", &before.weights, after).tells;
        tells.retain(|tell| tell.probability >= 0.005);
        let deviations = tells.iter().map(|tell| self.keys.get(&tell.words).cloned()).collect();
        (tells, deviations)
    }

    /// Remedies tried in this order, each with its share of what is believed that it puts right.
    fn in_turn(&self, belief: &Belief, order: &[usize]) -> Vec<(usize, f64)> {
        let all = weight(belief);
        let mut left = belief.clone();
        let one = |repair: &usize| {
            let after = self.posed.problem.failed(&left, *repair);
            let helps = (weight(&left) - weight(&after)) / all;
            left = after;
            (*repair, helps)
        };
        order.iter().map(one).collect()
    }

    /// Of remedies tried in this order those that are listed: the ones that help most often, in the same order.
    fn worth_a_line(&self, belief: &Belief, order: Vec<usize>) -> Vec<usize> {
        let helping: Vec<(usize, f64)> =
            self.in_turn(belief, &order).into_iter().filter(|(_, helps)| *helps >= WORTH_A_LINE).collect();
        if helping.is_empty() {
            return order;
        }
        let mut most: Vec<f64> = helping.iter().map(|(_, helps)| *helps).collect();
        most.sort_by(|one, other| other.total_cmp(one));
        let least = most.get(LISTED - 1).copied().unwrap_or(0.0);
        helping.into_iter().filter(|(_, helps)| *helps >= least).map(|(one, _)| one).collect()
    }

    /// The first of these remedies in words, each with what it puts right after those before it.
    fn remedies(&self, belief: &Belief, order: &[usize]) -> Vec<Remedy> {
        let Some(machine) = self.diagnoser.machine() else { return Vec::new() };
        let words: Vec<Words> = order.iter().map(|one| self.words(machine, &self.posed.repairs[*one].0)).collect();
        // Several lapses are made good by the same thing.
        let mut lines: Vec<&Words> = Vec::new();
        for one in &words {
            if lines.len() < LISTED && !lines.contains(&one) {
                lines.push(one);
            }
        }
        let listed: Vec<(usize, usize)> = (order.iter().zip(&words))
            .filter_map(|(repair, words)| Some((*repair, lines.iter().position(|line| *line == words)?)))
            .collect();
        let repairs: Vec<usize> = listed.iter().map(|(repair, _)| *repair).collect();
        let mut remedies: Vec<Remedy> = Vec::new();
        for ((repair, line), (_, helps)) in listed.iter().zip(self.in_turn(belief, &repairs)) {
            if let Some(same) = remedies.get_mut(*line) {
                same.helps += helps;
                continue;
            }
            let (to_do, who, _) = self.posed.repairs[*repair];
            remedies.push(Remedy {
                key: to_do.key(machine),
                words: lines[*line].clone(),
                helps,
                who,
                cautions: cautions(machine, self.diagnoser, self.posed, &to_do),
                movements: self.moved(*repair).to_vec(),
            });
        }
        remedies
    }

    /// How a way ends at which nothing more is asked.
    fn ending(&self, belief: &Belief) -> Leaf {
        let problem = &self.posed.problem;
        let (_, order) = problem.by_repairs_in(self.groups, belief);
        let listed = self.worth_a_line(belief, order);
        let remedies = self.remedies(belief, &listed);
        let visit = listed.first().is_some_and(|first| problem.repairs[*first].on_site && !belief.on_site);
        let end = match listed.first() {
            None => End::LastResort,
            Some(_) if visit => End::Visit,
            Some(_) => End::Remedies,
        };
        let solved = remedies.iter().map(|one| one.helps).sum::<f64>() * weight(belief) / self.total;
        let (causes, deviations) = self.causes(belief, &belief.weights);
        Leaf { end, solved, causes, deviations, remedies }
    }
}

impl Node {
    /// All ends of the tree, with the share of all cases that come to each.
    #[must_use]
    pub fn leaves(&self) -> Vec<(f64, &Leaf)> {
        match &self.next {
            Next::End(leaf) => vec![(self.share, leaf)],
            Next::Do(step) => step.branches.iter().flat_map(|branch| branch.node.leaves()).collect(),
        }
    }
}
