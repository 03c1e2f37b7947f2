//! What to do next, in words and numbers.

use super::asking::words_of;
use super::candidates::{Posed, pose};
use super::choose::choose;
use super::movement::{Movement, movements};
use super::problem::{Act, Belief};
use super::todo::{Terms, ToDo};
use crate::diagnoser::{Diagnoser, Weighed};
use crate::evidence::Evidence;
use machine::Machine;
use machine::caution::{Caution, Doing};
use machine::model::{DeviationKind, HandMove, Who, Words};
use serde::Serialize;
use std::collections::BTreeMap;

/// What to do next, the best first.
#[derive(Clone, Debug, Default)]
pub struct Advice {
    /// Expected minutes until the machine runs if nothing is asked any more and remedies are tried in the best order.
    pub minutes_without: f64,
    /// Expected minutes if the first proposal is followed.
    pub minutes: f64,
    /// The proposals, the best first.
    pub proposals: Vec<Proposal>,
    /// What a technician should bring, if somebody has to go there sooner or later.
    pub bring: Vec<Bring>,
    /// Probability that what is brought is enough to put it right in one visit.
    pub bring_enough: f64,
    /// Whether nothing that can be done from here is worth more than going there.
    pub needs_visit: bool,
    /// Whether the last resort is the best that is left.
    pub give_up: bool,
}

/// Something that can be done next.
#[derive(Clone, Debug)]
pub struct Proposal {
    /// What.
    pub to_do: ToDo,
    /// The same as a name, see [`ToDo::key`].
    pub key: String,
    /// As said to whoever is at the machine.
    pub words: Words,
    /// As said among technicians.
    pub technician: Words,
    /// Minutes it takes.
    pub minutes: f64,
    /// Who may do it.
    pub who: Who,
    /// Whether somebody has to go there for it.
    pub on_site: bool,
    /// Expected minutes that it saves against trying remedies in the best order.
    pub saved: f64,
    /// The answers, each with its probability and what it would tell. A remedy has two: it runs, it does not.
    pub answers: Vec<Outcome>,
    /// What to be careful of, before the words.
    pub cautions: Vec<Caution>,
    /// What can move, before the words.
    pub movements: Vec<Movement>,
}

/// A possible answer.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Outcome {
    /// Its key.
    pub key: String,
    /// Its words.
    pub words: String,
    /// How probable it is.
    pub probability: f64,
    /// The causes that it would leave, the most probable first.
    pub tells: Vec<Tell>,
}

/// A cause with its probability.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Tell {
    /// What is wrong.
    pub words: String,
    /// How probable that is then.
    pub probability: f64,
}

/// A part worth bringing.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Bring {
    /// Key of the remedy that needs it.
    pub remedy: String,
    /// The part.
    pub part: String,
    /// Probability that it is needed.
    pub probability: f64,
    /// Its price; 0 if the file does not say.
    pub price: f64,
}

/// The chance of putting it right in one visit that the parts are chosen for.
const ENOUGH: f64 = 0.9;

/// Works out what to do next. The same question gets the same answer on every machine.
#[must_use]
pub fn advise(diagnoser: &Diagnoser, evidence: &Evidence, terms: &Terms) -> Advice {
    advise_weighed(diagnoser, evidence, &diagnoser.weighed(evidence), terms)
}

/// The same for evidence that was weighed already.
pub(crate) fn advise_weighed(diagnoser: &Diagnoser, evidence: &Evidence, weighed: &Weighed, terms: &Terms) -> Advice {
    let Some(posed) = pose(diagnoser, evidence, weighed, terms) else { return Advice::default() };
    let Some(machine) = diagnoser.machine() else { return Advice::default() };
    let belief = posed.problem.begin(false);
    let total: f64 = belief.weights.iter().sum();
    if total <= 0.0 {
        return Advice::default();
    }
    let (without, _) = posed.problem.by_repairs(&belief);
    let without = without / total;
    let priced = choose(&posed.problem, &belief, terms.effort);
    let mut proposals = Vec::new();
    let best = priced.first().copied();
    for one in &priced {
        if proposals.len() >= terms.shown {
            break;
        }
        // What was said to be impossible from here is left to the visit; a question that saves nothing is none.
        let left_out = matches!(one.act, Act::Try(repair) if terms.left_out.contains(&posed.repairs[repair].0));
        let in_vain = matches!(one.act, Act::Ask(_)) && one.minutes >= without && !proposals.is_empty();
        if left_out || in_vain {
            continue;
        }
        if let Some(mut proposal) = proposal(machine, diagnoser, &posed, &belief, terms, one.act) {
            proposal.saved = (without - one.minutes).max(0.0);
            proposals.push(proposal);
        }
    }
    let (bring, bring_enough) = bring(machine, diagnoser, &posed);
    Advice {
        minutes_without: without,
        minutes: best.map_or(without, |best| best.minutes),
        needs_visit: proposals.first().is_some_and(|first| first.on_site),
        give_up: best.is_some_and(|best| best.act == Act::GiveUp),
        proposals,
        bring,
        bring_enough,
    }
}

fn proposal(
    machine: &Machine,
    diagnoser: &Diagnoser,
    posed: &Posed,
    belief: &Belief,
    terms: &Terms,
    act: Act,
) -> Option<Proposal> {
    let worlds = diagnoser.worlds();
    let (to_do, who, minutes, answers) = match act {
        Act::GiveUp => return None,
        Act::Ask(test) => {
            let asked = &posed.asked[test];
            let answers = (asked.answers.iter().enumerate())
                .map(|(answer, (key, words))| {
                    let after = posed.problem.answered(belief, test, answer);
                    outcome(posed, key, words, &belief.weights, &after.weights)
                })
                .collect();
            (asked.to_do, asked.who, asked.minutes, answers)
        }
        Act::Try(repair) => {
            let (to_do, who, minutes) = posed.repairs[repair];
            let after = posed.problem.failed(belief, repair);
            let runs: Vec<f64> =
                belief.weights.iter().zip(&after.weights).map(|(before, after)| before - after).collect();
            let answers = vec![
                outcome(posed, "runs", "it runs", &belief.weights, &runs),
                outcome(posed, "still", "as before", &belief.weights, &after.weights),
            ];
            (to_do, who, minutes, answers)
        }
    };
    let technician = match to_do {
        ToDo::Check(check) => machine.checks[check].technician.clone(),
        _ => words_of(machine, worlds, &posed.hypotheses, &to_do),
    };
    let mut answers: Vec<Outcome> = answers;
    if !matches!(to_do, ToDo::Check(_) | ToDo::Remedy(_) | ToDo::GoOn) {
        answers.sort_by(|a, b| b.probability.total_cmp(&a.probability));
    }
    Some(Proposal {
        key: to_do.key(machine),
        words: words_of(machine, worlds, &posed.hypotheses, &to_do),
        technician,
        minutes,
        who,
        on_site: who > terms.caller,
        saved: 0.0,
        answers,
        cautions: cautions(machine, diagnoser, posed, &to_do),
        movements: movements(diagnoser, &posed.hypotheses, posed.total, &to_do),
        to_do,
    })
}

pub(crate) fn cautions(machine: &Machine, diagnoser: &Diagnoser, posed: &Posed, to_do: &ToDo) -> Vec<Caution> {
    match to_do {
        ToDo::Check(check) => Doing::of_check(machine, &machine.checks[*check]).cautions(),
        ToDo::Remedy(remedy) => Doing::of_remedy(machine, &machine.remedies[*remedy]).cautions(),
        ToDo::Act(deed) => {
            let worlds = diagnoser.worlds();
            let movement = posed
                .hypotheses
                .first()
                .and_then(|leading| super::questions::movement_of(&worlds[leading.world], leading.routine, *deed));
            Doing::of_hand(machine, movement.unwrap_or(HandMove::Wait)).cautions()
        }
        ToDo::Lamp(_) | ToDo::Lamps | ToDo::Position(_) | ToDo::GoOn => Vec::new(),
    }
}

pub(crate) fn outcome(posed: &Posed, key: &str, words: &str, before: &[f64], after: &[f64]) -> Outcome {
    let total: f64 = before.iter().sum();
    let left: f64 = after.iter().sum();
    let mut weights = vec![0.0; posed.causes.len()];
    let weighed = posed.hypotheses.iter().zip(&posed.case_of).zip(&posed.causes_of);
    for ((one, case), causes) in weighed.filter(|((_, case), _)| before[**case] > 0.0) {
        let weight = one.weight / posed.total * after[*case] / posed.problem.weights[*case];
        causes.iter().for_each(|cause| weights[*cause as usize] += weight);
    }
    let unknown = after.last().map(|unknown| ("something that is not in this file", *unknown));
    let causes = posed.causes.iter().map(String::as_str).zip(weights).chain(unknown);
    let mut causes: Vec<(&str, f64)> = causes.filter(|(_, weight)| *weight > 0.0).collect();
    causes.sort_by(|a, b| a.0.cmp(b.0));
    let mut tells: Vec<Tell> = causes
        .into_iter()
        // Rounding can make the whole a little more than itself.
        .map(|(words, weight)| Tell {
            words: words.to_owned(),
            probability: if left > 0.0 { (weight / left).min(1.0) } else { 0.0 },
        })
        .collect();
    tells.sort_by(|a, b| b.probability.total_cmp(&a.probability));
    tells.truncate(2);
    Outcome { key: key.to_owned(), words: words.to_owned(), probability: left / total, tells }
}

/// What is wrong, with the device.
pub(crate) fn deviation_words(machine: &Machine, deviation: machine::id::DeviationId) -> String {
    let row = &machine.deviations[deviation];
    match row.kind {
        DeviationKind::Fault(device) => {
            let device = &machine.devices[device];
            let name = if device.words.english.is_empty() { &device.name } else { &device.words.english };
            format!("{name}: {}", row.words.english)
        }
        DeviationKind::Lapse => row.words.english.clone(),
    }
}

/// Parts worth bringing: by probability over price until the chance of one visit is high enough.
fn bring(machine: &Machine, diagnoser: &Diagnoser, posed: &Posed) -> (Vec<Bring>, f64) {
    let worlds = diagnoser.worlds();
    let mut needed: BTreeMap<machine::id::RemedyId, f64> = BTreeMap::new();
    let mut by_set: Vec<(Vec<machine::id::RemedyId>, f64)> = Vec::new();
    for one in &posed.hypotheses {
        let there = &worlds[one.world].machine;
        let weight = one.weight / posed.total;
        let remedies: Option<Vec<_>> = one
            .deviations
            .iter()
            .map(|deviation| {
                let remedy = there.deviations[*deviation].remedy?;
                crate::renamed::same_remedy(there, remedy, machine)
            })
            .collect();
        let Some(remedies) = remedies else { continue };
        let parts: Vec<_> = remedies.into_iter().filter(|remedy| machine.remedies[*remedy].part.is_some()).collect();
        parts.iter().for_each(|remedy| *needed.entry(*remedy).or_insert(0.0) += weight);
        by_set.push((parts, weight));
    }
    let price = |remedy: machine::id::RemedyId| machine.remedies[remedy].part.as_ref().map_or(0.0, |part| part.price);
    // A part without a price counts as a small one, so that nothing is free.
    let worth = |remedy: machine::id::RemedyId, probability: f64| probability / price(remedy).max(5.0);
    let mut order: Vec<(machine::id::RemedyId, f64)> = needed.into_iter().collect();
    order.sort_by(|a, b| worth(b.0, b.1).total_cmp(&worth(a.0, a.1)).then(a.0.cmp(&b.0)));
    let enough = |brought: &[machine::id::RemedyId]| -> f64 {
        by_set
            .iter()
            .filter(|(parts, _)| parts.iter().all(|part| brought.contains(part)))
            .map(|(_, weight)| weight)
            .sum()
    };
    let possible: f64 = by_set.iter().map(|(_, weight)| weight).sum();
    let mut brought = Vec::new();
    let mut list = Vec::new();
    for (remedy, probability) in order {
        if enough(&brought) >= ENOUGH * possible || probability < 0.005 {
            break;
        }
        brought.push(remedy);
        let part = machine.remedies[remedy].part.as_ref();
        list.push(Bring {
            remedy: machine.remedies[remedy].key.clone(),
            part: part.map(|part| part.words.english.clone()).unwrap_or_default(),
            probability,
            price: price(remedy),
        });
    }
    list.sort_by(|a, b| b.probability.total_cmp(&a.probability));
    (list, enough(&brought))
}
