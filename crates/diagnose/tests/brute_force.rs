//! The reckoning of small machines against an enumeration in another language that knows
//! no shortcuts: `tools/outside/brute_force.py`, written from docs/reckoning.md: thirty-six with one moment of evidence,
//! others with later moments, loose contacts, latches, several routines, or mechanisms that creep. Six more, with fewer
//! deviations, against a general Bayesian-network library: `tools/outside/bayes_net.py`.
//!
//! The cases (`brute_force/case-NN.json`) and the results (`brute_force/*.jsonl`, made by CPython 3.11)
//! are committed. Where `python3` is there (and the library, for the six: tools/outside/requirements.txt), they
//! are made anew: all of them with `CI` in the environment, else a few. To write both anew after a
//! change of the rules or of the machine file's defaults: `LAMPWISE_REMAKE=1 cargo test -p diagnose --test brute_force`.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod common;

use common::small::{self, Dice};
use diagnose::evidence::{Circumstances, Evidence};
use diagnose::{Alternative, Diagnoser, Doubt, Followed};
use machine::Machine;
use serde_json::Value;
use sim::{Branching, Options};
use std::ops::RangeInclusive;
use std::path::{Path, PathBuf};
use std::process::Command;

const CALLS: usize = 4;

/// Cases with evidence in later moments.
const LATER: RangeInclusive<u64> = 201..=206;

/// Cases with latches and a counter.
const REMEMBERS: RangeInclusive<u64> = 301..=308;

/// Cases with several routines.
const ROUTINES: RangeInclusive<u64> = 401..=406;

/// Cases with a mechanism that creeps or stops short.
const CREEPS: RangeInclusive<u64> = 501..=508;

/// Branches less probable than this are not followed where a contact chatters.
const LEAST_BRANCH: f64 = 1e-12;

/// Cases with a contact that chatters: those of 601 to 616 that take little time.
const CHATTERS: [u64; 11] = [601, 603, 604, 605, 606, 607, 609, 610, 612, 613, 614];

fn folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/brute_force")
}

fn script(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../../tools/outside").join(name)
}

fn remake() -> bool {
    std::env::var_os("LAMPWISE_REMAKE").is_some()
}

/// What the cases assume: nothing that saves time, and nobody who goes on when something is odd.
fn options() -> Options {
    let mut options = Options { least_forked: 0.0, least_pair: 0.0, ..Options::default() };
    options.habits.patience = 1;
    let branching = Branching { least: LEAST_BRANCH, branches: usize::MAX };
    (options.single_branching, options.pair_branching) = (branching, branching);
    options
}

struct Case {
    name: String,
    machine: Machine,
    options: Options,
    calls: Vec<Evidence>,
    json: Value,
}

/// Seeds above 100 have fewer deviations; what else is in those above 200 the ranges say.
fn case(seed: u64) -> Case {
    let mut dice = Dice(seed);
    let few = if CHATTERS.contains(&seed) { [1, 1, 1] } else { [2, 1, 1] };
    let machine = match seed {
        0..=100 => small::machine_with([4, 2, 2], &mut dice),
        _ if REMEMBERS.contains(&seed) => small::machine_that_remembers(few, &mut dice),
        _ if ROUTINES.contains(&seed) => small::machine_with_routines([2, 1, 2], &mut dice),
        _ => small::machine_with(few, &mut dice),
    };
    let mut machine = machine;
    if LATER.contains(&seed) {
        small::mend(&mut machine, &mut dice);
    }
    if CREEPS.contains(&seed) {
        small::creep(&mut machine, &mut dice);
    }
    if CHATTERS.contains(&seed) {
        small::chatter(&mut machine, &mut dice);
    }
    let calls: Vec<Evidence> = match seed {
        _ if LATER.contains(&seed) => {
            (0..3).map(|call| small::evidence_of(&machine, 1 + call % 2, &mut dice)).collect()
        }
        _ if ROUTINES.contains(&seed) => (0..CALLS).map(|_| small::evidence_in_any(&machine, &mut dice)).collect(),
        _ => (0..CALLS).map(|_| small::evidence(&machine, &mut dice)).collect(),
    };
    let options = options();
    let name = format!("case-{seed:02}");
    let json = common::plain::case(&name, &machine, &options, &Doubt::default(), &calls);
    Case { name, machine, options, calls, json }
}

fn diagnoser(case: &Case) -> Diagnoser {
    let alternative = Alternative { weight: 1.0, choices: Vec::new(), machine: case.machine.clone() };
    Diagnoser::new(vec![alternative], &Circumstances::default(), &case.options).with_followed(Followed::everything())
}

/// The greatest difference between our answers and those of a script. A script that leaves the unknown
/// cause aside gives probabilities under the condition that the cause is in the file.
fn difference(case: &Case, result: &Value) -> (f64, String) {
    let diagnoser = diagnoser(case);
    let mut worst = (0.0, String::new());
    for (call, (evidence, answer)) in case.calls.iter().zip(result["answers"].as_array().unwrap()).enumerate() {
        let ours = diagnoser.marginals(evidence);
        let given = if answer["unknown"].is_null() { 1.0 - ours.unknown } else { 1.0 };
        let mut compare = |what: &str, ours: f64, theirs: &Value| {
            let theirs = theirs.as_f64().unwrap();
            let gap = (ours - theirs).abs();
            if gap > worst.0 || gap.is_nan() {
                worst = (gap, format!("{}, call {call}, {what}: {ours} here, {theirs} there", case.name));
            }
        };
        compare("nothing", ours.nothing / given, &answer["nothing"]);
        if !answer["unknown"].is_null() {
            compare("unknown", ours.unknown, &answer["unknown"]);
        }
        for (key, theirs) in answer["deviations"].as_object().unwrap() {
            compare(key, ours.deviations.get(key).copied().unwrap_or(f64::NAN) / given, theirs);
        }
        assert_eq!(ours.deviations.len(), answer["deviations"].as_object().unwrap().len());
    }
    worst
}

fn compare_all(results: &[Value], seeds: &[u64]) {
    assert_eq!(results.len(), seeds.len());
    let mut worst = (0.0, String::new());
    let mut wrong = Vec::new();
    for seed in seeds {
        let case = case(*seed);
        let result = results.iter().find(|result| result["case"] == case.name.as_str()).unwrap();
        let found = difference(&case, result);
        if found.0 > 1e-9 || found.0.is_nan() {
            wrong.push(found.1.clone());
        }
        if found.0 > worst.0 {
            worst = found;
        }
    }
    assert!(wrong.is_empty(), "{} of {} cases differ:\n{}", wrong.len(), seeds.len(), wrong.join("\n"));
    println!("greatest difference {:e} ({})", worst.0, worst.1);
}

/// Runs a script on all cases. `None` where Python or a library is not there.
fn run_script(name: &str, seeds: &[u64]) -> Option<Vec<Value>> {
    let python = std::env::var("LAMPWISE_PYTHON").unwrap_or_else(|_| "python3".to_string());
    let cases = seeds.iter().map(|seed| folder().join(format!("case-{seed:02}.json")));
    let output = match Command::new(python).arg(script(name)).args(cases).output() {
        Ok(output) => output,
        Err(error) => {
            println!("skipped: python3 is not there ({error})");
            return None;
        }
    };
    let said = String::from_utf8_lossy(&output.stderr).into_owned();
    if said.contains("ModuleNotFoundError") {
        println!("skipped: {name} needs a library that is not there: {said}");
        return None;
    }
    assert!(output.status.success(), "{said}");
    let text = String::from_utf8(output.stdout).unwrap();
    Some(text.lines().map(|line| serde_json::from_str(line).unwrap()).collect())
}

fn hold_against(script: &str, results: &str, seeds: &[u64]) {
    for seed in seeds {
        let case = case(*seed);
        let path = folder().join(format!("{}.json", case.name));
        if remake() {
            std::fs::write(&path, format!("{}\n", case.json)).unwrap();
        }
        let committed: Value = serde_json::from_str(&std::fs::read_to_string(&path).unwrap()).unwrap();
        assert_eq!(committed, case.json, "{} is stale: see the top of this file", case.name);
    }
    let path = folder().join(results);
    let made = if remake() {
        let made = run_script(script, seeds).expect("python3 and the library are needed to make the results");
        let lines: String = made.iter().map(|line| format!("{line}\n")).collect();
        std::fs::write(&path, lines).unwrap();
        Some(made)
    } else {
        None
    };
    let text = std::fs::read_to_string(&path).unwrap();
    let committed: Vec<Value> = text.lines().map(|line| serde_json::from_str(line).unwrap()).collect();
    compare_all(&committed, seeds);
    if let Some(made) = made {
        return compare_all(&made, seeds);
    }
    // Anew: all of them where there is time (`CI`, or LAMPWISE_REMAKE), else a few.
    let some: Vec<u64> =
        if std::env::var_os("CI").is_some() { seeds.to_vec() } else { seeds.iter().copied().step_by(9).collect() };
    if let Some(made) = run_script(script, &some) {
        compare_all(&made, &some);
    }
}

#[test]
fn thirty_six_small_machines_as_in_the_enumeration() {
    hold_against("brute_force.py", "results.jsonl", &(1..=36).collect::<Vec<_>>());
}

#[test]
fn six_small_machines_as_in_a_bayesian_network() {
    hold_against("bayes_net.py", "bayes_net.jsonl", &(101..=106).collect::<Vec<_>>());
}

#[test]
fn what_was_seen_after_something_was_done_as_in_the_enumeration() {
    hold_against("brute_force.py", "later.jsonl", &LATER.collect::<Vec<_>>());
}

#[test]
fn programs_that_remember_as_in_the_enumeration() {
    hold_against("brute_force.py", "remembers.jsonl", &REMEMBERS.collect::<Vec<_>>());
}

#[test]
fn several_routines_as_in_the_enumeration() {
    hold_against("brute_force.py", "routines.jsonl", &ROUTINES.collect::<Vec<_>>());
}

#[test]
fn what_creeps_or_stops_short_as_in_the_enumeration() {
    hold_against("brute_force.py", "creeps.jsonl", &CREEPS.collect::<Vec<_>>());
}

#[test]
fn what_chatters_as_in_the_enumeration() {
    hold_against("brute_force.py", "chatters.jsonl", &CHATTERS);
}
