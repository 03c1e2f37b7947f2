//! The time line: every instant with what a hand did and what changed.

use std::fmt::Write as _;

use machine::Machine;
use machine::model::{HandMove, MechanismClass};
use serde_json::{Value, json};
use sim::{Cause, Situation, Stop};

use super::Played;
use crate::screen::{BAD, LIT, PLAIN, STRONG, TITLE, paragraph};

/// Where the text behind the time begins.
const INDENT: &str = "              ";

/// Something that changed.
struct Change {
    kind: &'static str,
    name: String,
    value: String,
}

/// The time line for people.
pub fn page(played: &Played<'_>, width: usize) -> String {
    let machine = played.machine;
    let mut out = String::new();
    let routine = &machine.routines[played.routine];
    _ = writeln!(out, "{STRONG}{}, routine {}{STRONG:#}", machine.name, routine.name);
    for one in &played.imposed {
        let row = &machine.deviations[one.deviation];
        let from = one.from.map(|step| format!(" from step {} on", machine.step_name(step))).unwrap_or_default();
        let text = format!("with {}: {}{from}", row.key, row.words.english);
        paragraph(&mut out, width, "  ", "  ", BAD, &text);
    }
    out.push('\n');
    let mut before: Option<&Situation> = None;
    let mut stage = 0;
    for (index, instant) in played.playback.instants.iter().enumerate() {
        let time = seconds(instant.at_ms);
        if let Some((style, text)) = cause(machine, played, instant.cause) {
            paragraph(&mut out, width, &format!("{time:>11}   "), INDENT, style, &text);
        }
        let changes = changes(played, before, &instant.situation);
        let first = if instant.cause == Cause::Machine { format!("{time:>11}   ") } else { INDENT.to_owned() };
        let steps: Vec<&Change> = changes.iter().filter(|one| one.kind == "step" && one.value == "begins").collect();
        let others: Vec<String> = changes.iter().filter(|one| one.kind != "step").map(spoken).collect();
        let mut lead = first;
        let passed: Vec<String> = instant.passed.iter().map(|step| machine.step_name(*step)).collect();
        if !steps.is_empty() || !passed.is_empty() {
            let names: Vec<&str> = steps.iter().map(|one| one.name.as_str()).collect();
            let text = match (names.as_slice(), passed.as_slice()) {
                (names, []) => format!("step {}", names.join(", ")),
                ([], passed) => format!("through {} and back", diagnose::wording::list(passed)),
                (names, passed) => format!("step {} (through {})", names.join(", "), diagnose::wording::list(passed)),
            };
            paragraph(&mut out, width, &lead, INDENT, LIT, &text);
            lead = INDENT.to_owned();
        }
        if !others.is_empty() {
            paragraph(&mut out, width, &lead, INDENT, PLAIN, &others.join(", "));
        }
        before = Some(&instant.situation);
        let ends = played.playback.instants.get(index + 1).is_none_or(|next| begins_stage(next.cause));
        if ends {
            let stop = played.playback.stops.get(stage).copied().unwrap_or(Stop::Standing);
            if let Some(text) = stopped(stop) {
                paragraph(&mut out, width, INDENT, INDENT, BAD, text);
            }
            stage += 1;
        }
    }
    if played.playback.cut {
        paragraph(&mut out, width, INDENT, INDENT, BAD, "and so on: the rest of this run is not shown");
    }
    if let Some(end) = played.playback.instants.last() {
        out.push('\n');
        let steps = active_steps(played, &end.situation);
        let text = if steps.is_empty() {
            "At the end the controller does not run its program.".to_owned()
        } else {
            format!("At the end it stands in {}.", diagnose::wording::list(&steps))
        };
        paragraph(&mut out, width, "", "", TITLE, &text);
    }
    out
}

fn begins_stage(cause: Cause) -> bool {
    matches!(cause, Cause::PowerOn | Cause::Hand(_) | Cause::LeftOut(_))
}

fn cause(machine: &Machine, played: &Played<'_>, cause: Cause) -> Option<(anstyle::Style, String)> {
    let action = |index: usize| machine.routines[played.routine].actions.get(index);
    match cause {
        Cause::Machine => None,
        Cause::PowerOn => Some((STRONG, "power on".to_owned())),
        Cause::Hand(index) => action(index).map(|action| {
            let held = match action.movement {
                HandMove::Press(_, ms) if ms >= 1_000 => format!(" (for {})", diagnose::wording::duration(ms)),
                _ => String::new(),
            };
            (STRONG, format!("by hand: {}{held}", action.words.english))
        }),
        Cause::LeftOut(index) => action(index).map(|action| (BAD, format!("left out: {}", action.words.english))),
        Cause::SetsIn(deviation) => {
            let row = &machine.deviations[deviation];
            Some((BAD, format!("sets in: {} ({})", row.words.english, row.key)))
        }
    }
}

fn stopped(stop: Stop) -> Option<&'static str> {
    match stop {
        Stop::Standing => None,
        Stop::Cycling => Some("from here on the same comes again and again"),
        Stop::Unstable => Some("the program does not come to rest within one instant"),
        Stop::Limit => Some("no end in sight: stopped looking here"),
    }
}

fn seconds(ms: u64) -> String {
    format!("{}.{:03} s", ms / 1000, ms % 1000)
}

/// Names of the active steps.
pub fn active_steps(played: &Played<'_>, situation: &Situation) -> Vec<String> {
    let layout = played.plant.layout();
    let machine = played.machine;
    machine.steps.ids().filter(|step| situation.on(layout.step(*step))).map(|step| machine.step_name(step)).collect()
}

fn spoken(change: &Change) -> String {
    match change.kind {
        "mechanism" => format!("{}: {}", change.name, change.value),
        _ => format!("{} {}", change.name, change.value),
    }
}

fn changes(played: &Played<'_>, before: Option<&Situation>, now: &Situation) -> Vec<Change> {
    let (machine, layout) = (played.machine, played.plant.layout());
    let mut changes = Vec::new();
    let mut changed = |kind, signal, name: &dyn Fn() -> String, words: [&str; 2]| {
        let is = now.on(signal);
        // At power-on only what is there is worth a word.
        if before.map_or(is, |before| before.on(signal) != is) {
            changes.push(Change { kind, name: name(), value: words[usize::from(is)].to_owned() });
        }
    };
    for id in machine.steps.ids() {
        changed("step", layout.step(id), &|| machine.step_name(id), ["ends", "begins"]);
    }
    for (id, row) in machine.inputs.iter() {
        changed("input", layout.input(id), &|| row.label.clone(), ["dark", "lit"]);
    }
    for (id, row) in machine.outputs.iter() {
        let name = || row.label.clone().unwrap_or_else(|| format!("output \"{}\"", row.words.english));
        changed("output", layout.command(id), &name, ["off", "on"]);
    }
    for (id, row) in machine.supplies.iter() {
        if before.is_some() {
            changed("supply", layout.supply(id), &|| row.name.clone(), ["is lost", "is there"]);
        }
    }
    for (id, row) in machine.latches.iter() {
        changed("latch", layout.latch(id), &|| format!("latch {}", row.name), ["reset", "set"]);
    }
    for (id, row) in machine.mechanisms.iter().filter(|(_, row)| row.class != MechanismClass::Button) {
        let place = |situation: &Situation| {
            (0..row.positions.len()).find(|at| situation.on(layout.at(id, u8::try_from(*at).unwrap_or(u8::MAX))))
        };
        let at = if now.on(layout.between(id)) { None } else { place(now) };
        let was = before.map(|before| if before.on(layout.between(id)) { None } else { place(before) });
        if was.is_some_and(|was| was != at) {
            let value = at.and_then(|at| row.positions.get(at)).map_or("on its way", String::as_str);
            changes.push(Change { kind: "mechanism", name: row.name.clone(), value: value.to_owned() });
        }
    }
    changes
}

/// The instants for programs.
pub fn instants(played: &Played<'_>) -> Vec<Value> {
    let mut before: Option<&Situation> = None;
    let mut list = Vec::new();
    for instant in &played.playback.instants {
        let (cause, action, deviation) = match instant.cause {
            Cause::Machine => ("machine", None, None),
            Cause::PowerOn => ("power_on", None, None),
            Cause::Hand(index) => ("hand", Some(index), None),
            Cause::LeftOut(index) => ("left_out", Some(index), None),
            Cause::SetsIn(which) => ("sets_in", None, Some(&played.machine.deviations[which].key)),
        };
        let words = action.and_then(|index| played.machine.routines[played.routine].actions.get(index));
        list.push(json!({
            "at_ms": instant.at_ms,
            "cause": cause,
            "action": words.map(|action| &action.words.english),
            "deviation": deviation,
            "steps": active_steps(played, &instant.situation),
            "passed": instant.passed.iter().map(|step| played.machine.step_name(*step)).collect::<Vec<_>>(),
            "changes": changes(played, before, &instant.situation).iter().map(|one| json!({
                "kind": one.kind, "name": one.name, "value": one.value,
            })).collect::<Vec<_>>(),
        }));
        before = Some(&instant.situation);
    }
    list
}
