//! From a machine and what is believed about it to the bare problem: cases, tests, repairs.

use super::advice::deviation_words;
use super::problem::{Needs, Problem, Repair, Test};
use super::questions::{Asked, Cases, GO_ON_MINUTES, LAMPS_MINUTES, questions, tells_apart};
use super::todo::{Terms, ToDo};
use crate::diagnoser::{Diagnoser, Weighed};
use crate::evidence::Evidence;
use crate::hypothesis::Hypothesis;
use crate::renamed::same_remedy;
use crate::unlisted;
use crate::world::World;
use machine::Machine;
use machine::caution::Doing;
use machine::id::{DeviationId, RemedyId};
use machine::model::Who;
use rayon::prelude::*;
use rustc_hash::{FxHashMap, FxHasher};
use smallvec::SmallVec;
use std::hash::Hasher;

/// Hypotheses that are followed at most, for each routine.
const MOST_HYPOTHESES: usize = 3_000;

/// The bare problem of a call, and what its numbers stand for.
#[derive(Debug)]
pub(crate) struct Posed {
    pub problem: Problem,
    pub asked: Vec<Asked>,
    pub repairs: Vec<(ToDo, Who, f64)>,
    pub hypotheses: Vec<Hypothesis>,
    /// By hypothesis, its case; the case after all of them is the cause that is not in the file.
    pub case_of: Vec<usize>,
    /// The weight of everything, the unknown cause included.
    pub total: f64,
    /// What can be wrong, in words, and what of it each hypothesis says.
    pub causes: Vec<String>,
    pub causes_of: Vec<SmallVec<[u32; 2]>>,
}

/// Poses the problem: what can be the case, what tells it apart, what puts it right.
pub(crate) fn pose(diagnoser: &Diagnoser, evidence: &Evidence, weighed: &Weighed, terms: &Terms) -> Option<Posed> {
    let known = Known::of(diagnoser, evidence, weighed, terms)?;
    let worlds = diagnoser.worlds();
    let questions = questions(&worlds[0].machine, worlds, &known.hypotheses, known.total, evidence);
    let cases = Cases::new(diagnoser, &known.hypotheses, evidence.now());
    let asked: Vec<(Asked, Vec<f64>)> = questions
        .into_par_iter()
        .filter(|question| !terms.left_out.contains(question))
        .filter_map(|question| cases.ask(question))
        .filter(|(one, row)| tells_apart(row, one.answers.len()))
        .collect();
    Some(merged(evidence, terms, diagnoser, known, asked))
}

/// The same without anything to ask.
pub(crate) fn pose_repairs(
    diagnoser: &Diagnoser,
    evidence: &Evidence,
    weighed: &Weighed,
    terms: &Terms,
) -> Option<Posed> {
    let known = Known::of(diagnoser, evidence, weighed, terms)?;
    Some(merged(evidence, terms, diagnoser, known, Vec::new()))
}

/// What can be the case.
struct Known {
    hypotheses: Vec<Hypothesis>,
    /// The weight of a cause that is not in the file, and of everything.
    unknown: f64,
    total: f64,
}

impl Known {
    /// `None` without a machine.
    fn of(diagnoser: &Diagnoser, evidence: &Evidence, weighed: &Weighed, terms: &Terms) -> Option<Self> {
        diagnoser.machine()?;
        let (hypotheses, unknown) = diagnoser.hypotheses_of(evidence, weighed, terms.share, MOST_HYPOTHESES);
        let total = hypotheses.iter().map(|one| one.weight).sum::<f64>() + unknown;
        Some(Self { hypotheses, unknown, total })
    }
}

/// Puts together the hypotheses that no test tells apart and that need the same.
fn merged(
    evidence: &Evidence,
    terms: &Terms,
    diagnoser: &Diagnoser,
    Known { hypotheses, unknown, total }: Known,
    asked: Vec<(Asked, Vec<f64>)>,
) -> Posed {
    let (asked, rows): (Vec<Asked>, Vec<Vec<f64>>) = asked.into_iter().unzip();
    let worlds = diagnoser.worlds();
    let machine = &worlds[0].machine;
    let mut repairs: Vec<(ToDo, Who, f64)> = Vec::new();
    let mut known: FxHashMap<RemedyId, u16> = FxHashMap::default();
    let mut go_on = None;
    let mut problem = Problem {
        visit: terms.prices.visit,
        last_resort: terms.prices.last_resort,
        again: LAMPS_MINUTES + terms.prices.remedy_in_vain,
        ..Problem::default()
    };
    // Cases that answer alike are found by a fingerprint of their answers, and then compared.
    let answers_of = |number| answers_of(&rows, &asked, number);
    let fingerprints: Vec<u64> = (0..hypotheses.len())
        .into_par_iter()
        .map(|number| {
            let mut hasher = FxHasher::default();
            answers_of(number).for_each(|share| hasher.write_u64(share.to_bits()));
            hasher.finish()
        })
        .collect();
    let mut index: FxHashMap<(Needs, u64), SmallVec<[usize; 1]>> = FxHashMap::default();
    let mut cases: Vec<usize> = Vec::new();
    let mut case_of = Vec::with_capacity(hypotheses.len());
    for (number, one) in hypotheses.iter().enumerate() {
        let world = &worlds[one.world];
        let mut needs = Needs::new();
        let in_the_way = one.in_the_way(worlds);
        if in_the_way.is_empty() {
            let repair = *go_on.get_or_insert_with(|| {
                repairs.push((ToDo::GoOn, Who::Operator, GO_ON_MINUTES));
                repairs.len() as u16 - 1
            });
            needs.push(SmallVec::from_slice(&[repair]));
        }
        for deviation in &in_the_way {
            let remedy = world.machine.deviations[*deviation].remedy;
            let remedy = remedy.and_then(|remedy| same_remedy(&world.machine, remedy, machine));
            let mut need = SmallVec::new();
            if let Some(remedy) = remedy {
                need.push(*known.entry(remedy).or_insert_with(|| {
                    let mut who = who_may(machine, remedy);
                    if terms.left_out.contains(&ToDo::Remedy(remedy)) {
                        // Who is there can't; whoever comes can.
                        who = who.max(above(terms.caller));
                    }
                    repairs.push((ToDo::Remedy(remedy), who, machine.remedies[remedy].minutes));
                    repairs.len() as u16 - 1
                }));
            }
            if !needs.contains(&need) {
                needs.push(need);
            }
        }
        let alike = index.entry((needs.clone(), fingerprints[number])).or_default();
        let known = alike.iter().copied().find(|case| answers_of(cases[*case]).eq(answers_of(number)));
        let case = known.unwrap_or_else(|| {
            problem.weights.push(0.0);
            problem.needs.push(needs);
            cases.push(number);
            alike.push(cases.len() - 1);
            cases.len() - 1
        });
        problem.weights[case] += one.weight / total;
        case_of.push(case);
    }
    // Whatever is not in the file answers anything, and only the last resort helps.
    problem.weights.push(unknown / total);
    problem.needs.push(SmallVec::from_elem(SmallVec::new(), 1));
    problem.tests = asked
        .par_iter()
        .zip(&rows)
        .map(|(one, row)| {
            let answers = one.answers.len();
            let mut likelihood = Vec::with_capacity((cases.len() + 1) * answers);
            cases
                .iter()
                .for_each(|number| likelihood.extend_from_slice(&row[number * answers..(number + 1) * answers]));
            likelihood.extend(unlisted::answers(evidence, one.to_do, answers));
            Test { minutes: one.minutes, on_site: one.who > terms.caller, answers, likelihood }
        })
        .collect();
    problem.repairs = repairs
        .iter()
        .map(|(to_do, who, minutes)| Repair {
            minutes: minutes + terms.prices.trial_run,
            on_site: *who > terms.caller,
            fails: if *to_do == ToDo::GoOn { 0.0 } else { diagnoser.doubt().remedy },
        })
        .collect();
    let (causes, causes_of) = causes(worlds, &hypotheses);
    Posed { problem, asked, repairs, hypotheses, case_of, total, causes, causes_of }
}

/// The probability of every answer to everything that is asked, under one hypothesis.
fn answers_of<'r>(rows: &'r [Vec<f64>], asked: &'r [Asked], number: usize) -> impl Iterator<Item = f64> + 'r {
    rows.iter().zip(asked).flat_map(move |(row, one)| {
        let count = one.answers.len();
        row[number * count..(number + 1) * count].iter().copied()
    })
}

/// What can be wrong, each in words once, and what of it each hypothesis says.
fn causes(worlds: &[World], hypotheses: &[Hypothesis]) -> (Vec<String>, Vec<SmallVec<[u32; 2]>>) {
    let mut causes: Vec<String> = Vec::new();
    // Deviations of the same words can't be told apart by whoever reads them.
    let mut by_words: FxHashMap<String, u32> = FxHashMap::default();
    let mut number = |words: String| {
        *by_words.entry(words).or_insert_with_key(|words| {
            causes.push(words.clone());
            causes.len() as u32 - 1
        })
    };
    let mut known: FxHashMap<(usize, DeviationId), u32> = FxHashMap::default();
    let mut causes_of = Vec::with_capacity(hypotheses.len());
    for one in hypotheses {
        let machine = &worlds[one.world].machine;
        let mut of = |deviation: &DeviationId| {
            *known.entry((one.world, *deviation)).or_insert_with(|| number(deviation_words(machine, *deviation)))
        };
        let mut said: SmallVec<[u32; 2]> = one.deviations.iter().map(&mut of).collect();
        if one.deviations.is_empty() {
            said.push(number("nothing is wrong".to_owned()));
        }
        causes_of.push(said);
    }
    (causes, causes_of)
}

/// Who may put something right.
pub(crate) fn who_may(machine: &Machine, remedy: RemedyId) -> Who {
    let it = &machine.remedies[remedy];
    it.who.max(Doing::of_remedy(machine, it).who())
}

/// Who can do what this one can't; nobody can do more than an electrician.
fn above(caller: Who) -> Who {
    if caller == Who::Operator { Who::Technician } else { Who::Electrician }
}
