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

/// Cases in which it was said whether the machine runs again.
const RUNS: RangeInclusive<u64> = 701..=706;

/// Cases with a contact that chatters and later moments.
const CHATTERS_LATER: [u64; 10] = [801, 802, 803, 804, 807, 809, 810, 811, 812, 814];

/// Cases with two such contacts; each second one with later moments.
const TWO_CHATTER: [u64; 7] = [901, 902, 903, 904, 906, 907, 908];

/// Cases with several routines and later moments.
const ROUTINES_LATER: RangeInclusive<u64> = 1001..=1006;

/// Cases with things that somebody did unasked; each second one with later moments.
const UNASKED: [u64; 9] = [1111, 1112, 1119, 1121, 1125, 1129, 1131, 1135, 1148];

/// Cases in which the machine may be one of several; each second one with later moments.
const ALTERNATIVES: [u64; 10] = [1201, 1203, 1205, 1206, 1207, 1209, 1214, 1216, 1218, 1220];

/// Cases with a contact that chatters and inputs that are read late; each second one with later moments.
const CHATTERS_DELAYED: [u64; 5] = [1301, 1302, 1304, 1308, 1310];

/// Cases with a contact that chatters and several routines; each second one with later moments.
const ROUTINES_CHATTER: [u64; 5] = [1401, 1402, 1405, 1406, 1407];

/// Cases with a contact that chatters, in a machine that may be one of several; each second one with later moments.
const ALTERNATIVES_CHATTER: [u64; 5] = [1501, 1504, 1506, 1507, 1508];

/// Cases with latches and a counter and later moments.
const REMEMBERS_LATER: [u64; 4] = [1602, 1604, 1606, 1607];

/// Cases with things done unasked and several routines; each second one with later moments.
const ROUTINES_UNASKED: [u64; 5] = [1701, 1702, 1703, 1704, 1706];

/// Cases with things done unasked, in a machine that may be one of several; each second one with later moments.
const ALTERNATIVES_UNASKED: [u64; 3] = [1801, 1803, 1806];

/// Cases in which more than two deviations at once are thought of; each second one with later moments.
const MORE_AT_ONCE: [u64; 8] = [1901, 1903, 1904, 1905, 1906, 1910, 1912, 1924];

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
    options.later_branching = branching;
    options
}

struct Case {
    name: String,
    alternatives: Vec<Alternative>,
    options: Options,
    calls: Vec<Evidence>,
    json: Value,
}

/// What is in a case, by its seed. Those of a kind begin at a round number; further ones can be tried behind the
/// committed ones (see [`more_of_a_kind`]).
#[derive(Clone, Copy, PartialEq, Eq)]
enum Kind {
    Plain,
    Few,
    Later,
    Remembers,
    Routines,
    Creeps,
    Chatters,
    Runs,
    ChattersLater,
    TwoChatter,
    RoutinesLater,
    Unasked,
    Alternatives,
    ChattersDelayed,
    RoutinesChatter,
    AlternativesChatter,
    RemembersLater,
    RoutinesUnasked,
    AlternativesUnasked,
    MoreAtOnce,
}

impl Kind {
    fn of(seed: u64) -> Self {
        match seed % 100_000 / 100 {
            0 => Self::Plain,
            1 => Self::Few,
            2 => Self::Later,
            3 => Self::Remembers,
            4 => Self::Routines,
            5 => Self::Creeps,
            6 => Self::Chatters,
            7 => Self::Runs,
            8 => Self::ChattersLater,
            9 => Self::TwoChatter,
            10 => Self::RoutinesLater,
            11 => Self::Unasked,
            12 => Self::Alternatives,
            13 => Self::ChattersDelayed,
            14 => Self::RoutinesChatter,
            15 => Self::AlternativesChatter,
            16 => Self::RemembersLater,
            17 => Self::RoutinesUnasked,
            18 => Self::AlternativesUnasked,
            19 => Self::MoreAtOnce,
            other => panic!("no cases of kind {other}"),
        }
    }
}

fn case(seed: u64) -> Case {
    let mut dice = Dice(seed);
    let kind = Kind::of(seed);
    let few = match kind {
        Kind::Chatters | Kind::ChattersLater | Kind::ChattersDelayed | Kind::TwoChatter => [1, 1, 1],
        Kind::Alternatives | Kind::AlternativesChatter | Kind::AlternativesUnasked => [1, 1, 1],
        Kind::MoreAtOnce if !seed.is_multiple_of(3) => [1, 1, 1],
        _ => [2, 1, 1],
    };
    let several = matches!(kind, Kind::Alternatives | Kind::AlternativesChatter | Kind::AlternativesUnasked);
    let mut alternatives = match kind {
        _ if several => small::machines(few, &mut dice),
        _ => {
            let machine = match kind {
                Kind::Plain => small::machine_with([4, 2, 2], &mut dice),
                Kind::Remembers | Kind::RemembersLater => small::machine_that_remembers(few, &mut dice),
                Kind::Routines => small::machine_with_routines([2, 1, 2], &mut dice),
                Kind::RoutinesLater => small::machine_with_routines([1, 1, 2], &mut dice),
                Kind::RoutinesChatter | Kind::RoutinesUnasked => small::machine_with_routines([1, 1, 1], &mut dice),
                _ => small::machine_with(few, &mut dice),
            };
            vec![Alternative { weight: 1.0, choices: Vec::new(), machine }]
        }
    };
    if several && kind != Kind::Alternatives {
        // The same thing in each of them.
        let seed = dice.next();
        for one in &mut alternatives {
            match kind {
                Kind::AlternativesChatter => small::chatter(&mut one.machine, &mut Dice(seed)),
                _ => small::unasked(&mut one.machine, &mut Dice(seed)),
            }
        }
    }
    let machine = &mut alternatives[0].machine;
    match kind {
        Kind::Creeps => small::creep(machine, &mut dice),
        Kind::Chatters | Kind::ChattersLater | Kind::RoutinesChatter => small::chatter(machine, &mut dice),
        Kind::ChattersDelayed => small::chatter_delayed(machine, &mut dice),
        Kind::TwoChatter => {
            small::chatter(machine, &mut dice);
            small::chatter_elsewhere(machine, &mut dice);
        }
        Kind::Unasked | Kind::RoutinesUnasked => small::unasked(machine, &mut dice),
        _ => {}
    }
    let later = match kind {
        Kind::Later | Kind::Runs | Kind::ChattersLater | Kind::RoutinesLater | Kind::RemembersLater => true,
        Kind::TwoChatter | Kind::Unasked | Kind::ChattersDelayed => seed.is_multiple_of(2),
        Kind::RoutinesChatter | Kind::RoutinesUnasked | Kind::MoreAtOnce => seed.is_multiple_of(2),
        _ => several && seed.is_multiple_of(2),
    };
    if later && !several {
        small::mend(machine, &mut dice);
    }
    let machine = &alternatives[0].machine;
    let mut calls: Vec<Evidence> = match kind {
        Kind::Routines => (0..CALLS).map(|_| small::evidence_in_any(machine, 0, &mut dice)).collect(),
        Kind::RoutinesChatter | Kind::RoutinesUnasked if !later => {
            (0..3).map(|_| small::evidence_in_any(machine, 0, &mut dice)).collect()
        }
        Kind::RoutinesLater | Kind::RoutinesChatter | Kind::RoutinesUnasked => {
            (0..3).map(|call| small::evidence_in_any(machine, 1 + call % 2, &mut dice)).collect()
        }
        _ if later => (0..3)
            .map(|call| {
                let mut evidence = small::evidence_of(machine, 1 + call % 2, &mut dice);
                if kind == Kind::Runs {
                    small::say_whether_it_runs(&mut evidence, &mut dice);
                }
                evidence
            })
            .collect(),
        _ => (0..CALLS).map(|_| small::evidence(machine, &mut dice)).collect(),
    };
    let options = options();
    let name = format!("case-{seed:02}");
    let mut json = common::plain::cases(&name, &alternatives, &options, &Doubt::default(), &calls);
    if kind == Kind::MoreAtOnce {
        let at_once = if seed.is_multiple_of(3) { 4 } else { 3 };
        calls.iter_mut().for_each(|evidence| evidence.most_at_once = Some(at_once));
        json["at_once"] = at_once.into();
    }
    Case { name, alternatives, options, calls, json }
}

fn diagnoser(case: &Case) -> Diagnoser {
    Diagnoser::new(case.alternatives.clone(), &Circumstances::default(), &case.options)
        .with_followed(Followed::everything())
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

#[test]
fn whether_it_runs_again_as_in_the_enumeration() {
    hold_against("brute_force.py", "runs.jsonl", &RUNS.collect::<Vec<_>>());
}

#[test]
fn what_chatters_and_was_acted_on_as_in_the_enumeration() {
    hold_against("brute_force.py", "chatters_later.jsonl", &CHATTERS_LATER);
}

#[test]
fn two_contacts_that_chatter_as_in_the_enumeration() {
    hold_against("brute_force.py", "two_chatter.jsonl", &TWO_CHATTER);
}

#[test]
fn several_routines_and_what_was_done_then_as_in_the_enumeration() {
    hold_against("brute_force.py", "routines_later.jsonl", &ROUTINES_LATER.collect::<Vec<_>>());
}

#[test]
fn what_somebody_did_unasked_as_in_the_enumeration() {
    hold_against("brute_force.py", "unasked.jsonl", &UNASKED);
}

#[test]
fn one_of_several_machines_as_in_the_enumeration() {
    hold_against("brute_force.py", "alternatives.jsonl", &ALTERNATIVES);
}

#[test]
fn what_chatters_and_is_read_late_as_in_the_enumeration() {
    hold_against("brute_force.py", "chatters_delayed.jsonl", &CHATTERS_DELAYED);
}

#[test]
fn several_routines_and_what_chatters_as_in_the_enumeration() {
    hold_against("brute_force.py", "routines_chatter.jsonl", &ROUTINES_CHATTER);
}

#[test]
fn one_of_several_machines_that_chatters_as_in_the_enumeration() {
    hold_against("brute_force.py", "alternatives_chatter.jsonl", &ALTERNATIVES_CHATTER);
}

#[test]
fn programs_that_remember_and_what_was_done_then_as_in_the_enumeration() {
    hold_against("brute_force.py", "remembers_later.jsonl", &REMEMBERS_LATER);
}

#[test]
fn several_routines_and_what_was_done_unasked_as_in_the_enumeration() {
    hold_against("brute_force.py", "routines_unasked.jsonl", &ROUTINES_UNASKED);
}

#[test]
fn one_of_several_machines_and_what_was_done_unasked_as_in_the_enumeration() {
    hold_against("brute_force.py", "alternatives_unasked.jsonl", &ALTERNATIVES_UNASKED);
}

#[test]
fn more_than_two_at_once_as_in_the_enumeration() {
    hold_against("brute_force.py", "more_at_once.jsonl", &MORE_AT_ONCE);
}

/// Further cases, which nothing is committed of: `LAMPWISE_CASES=720-740 cargo test -p diagnose --test brute_force --
/// --ignored --nocapture`. Those that differ are printed, each with what differs most.
#[test]
#[ignore = "takes as long as it is told to"]
fn more_of_a_kind() {
    let asked = std::env::var("LAMPWISE_CASES").expect("LAMPWISE_CASES says which");
    let scratch = Path::new(env!("CARGO_TARGET_TMPDIR"));
    let python = std::env::var("LAMPWISE_PYTHON").unwrap_or_else(|_| "python3".to_string());
    let mut worst = 0.0;
    let mut wrong = Vec::new();
    let mut tried = 0;
    for range in asked.split(',') {
        let (from, to) = range.split_once('-').unwrap_or((range, range));
        for seed in from.parse().unwrap()..=to.parse().unwrap() {
            let case = case(seed);
            let path = scratch.join(format!("{}.json", case.name));
            std::fs::write(&path, case.json.to_string()).unwrap();
            if let Some(kept) = std::env::var_os("LAMPWISE_KEPT") {
                std::fs::copy(&path, Path::new(&kept).join(format!("{}.json", case.name))).unwrap();
            }
            // What takes too long is no case for every day.
            let mut child = Command::new("timeout");
            let begun = std::time::Instant::now();
            let output = child.arg("60").arg(&python).arg(script("brute_force.py")).arg(&path).output().unwrap();
            if !output.status.success() {
                println!("{}: no result: {}", case.name, String::from_utf8_lossy(&output.stderr));
                continue;
            }
            let there = begun.elapsed();
            let result: Value = serde_json::from_slice(&output.stdout).unwrap();
            let found = difference(&case, &result);
            let took = begun.elapsed() - there;
            println!("{}: {:e}, {} s there, {} s here", case.name, found.0, there.as_secs_f32(), took.as_secs_f32());
            tried += 1;
            if found.0 > 1e-9 || found.0.is_nan() {
                println!("    {}", found.1);
                wrong.push(case.name.clone());
            }
            worst = f64::max(worst, found.0);
        }
    }
    println!("{tried} cases, greatest difference {worst:e}");
    assert!(wrong.is_empty(), "these differ: {}", wrong.join(" "));
}
