//! Drills, one after the other: a picture of lamps, a question, an answer by its number.

use std::fmt::Write as _;

use diagnose::Diagnoser;
use diagnose::evidence::{LampPlace, LampState};
use diagnose::practice::{Drill, DrillKind};
use serde_json::{Value, json};

use super::kept::{Kept, Line};
use super::lamps;
use crate::answers::Answers;
use crate::commands::call::lead;
use crate::failure::Failure;
use crate::screen::{BAD, FAINT, GOOD, PLAIN, STRONG, Screen, TITLE, paragraph};

/// Asks so many drills, from this number on.
pub fn ask(
    diagnoser: &Diagnoser,
    kind: DrillKind,
    first: u64,
    count: u32,
    answers: &mut Answers,
    kept: &mut Kept,
    screen: &Screen,
) -> Result<(), Failure> {
    let Some(machine) = diagnoser.machine() else { return Err(Failure::file(Vec::new(), Vec::new())) };
    let (mut right, mut asked) = (0, 0);
    let mut documents: Vec<Value> = Vec::new();
    for number in (0..u64::from(count)).map(|more| first.saturating_add(more)) {
        let Some(drill) = Drill::new(diagnoser, kind, number) else {
            let what = format!("the steps of {} give nothing to choose among", machine.name);
            return Err(Failure::new("no-drill", what, "take a machine with more than one step"));
        };
        if !screen.json {
            screen.print(&question(&drill, machine, screen.width))?;
        }
        let chosen = loop {
            let Some(said) = answers.next()? else { break None };
            if !screen.json && !answers.typed {
                screen.print(&format!("{said}\n"))?;
            }
            match said.parse::<usize>() {
                Ok(chosen) if (1..=drill.choices.len()).contains(&chosen) => break Some(chosen - 1),
                _ if screen.json => {
                    let what = format!("`{said}` is none of the answers to drill {number}");
                    return Err(Failure::new("answer", what, format!("a number from 1 to {}", drill.choices.len())));
                }
                _ => screen.print(&format!("A number from 1 to {}: ", drill.choices.len()))?,
            }
        };
        let Some(chosen) = chosen else { break };
        let is_right = drill.right.contains(&chosen);
        asked += 1;
        right += usize::from(is_right);
        documents.push(json!({
            "number": number,
            "choices": drill.choices,
            "right": drill.right.iter().map(|one| one + 1).collect::<Vec<_>>(),
            "chosen": chosen + 1,
            "step": drill.step,
            "tells": drill.tells,
        }));
        if !screen.json {
            screen.print(&verdict(&drill, machine, is_right, screen.width))?;
        }
    }
    if asked > 0 {
        let (machine, what) = (machine.name.clone(), kind.name().to_owned());
        kept.add(Line { machine, what, number: first, right, of: asked, minutes: 0.0, advised_minutes: 0.0 })?;
    }
    if screen.json {
        return screen.print_json(&json!({
            "schema": "lampwise.practice/1",
            "machine": machine.name,
            "drill": kind.name(),
            "right": right,
            "drills": documents,
        }));
    }
    screen.print(&format!("{STRONG}{right} of {asked} right.{PLAIN}\n"))
}

fn question(drill: &Drill, machine: &machine::Machine, width: usize) -> String {
    let mut out = String::new();
    _ = writeln!(out, "{TITLE}{} (drill {}){TITLE:#}", drill.kind.words(), drill.number);
    lamps::write(&mut out, machine, &lamps::of_panel(machine, &drill.lamps));
    for (number, choice) in drill.choices.iter().enumerate() {
        paragraph(&mut out, width, &format!("  {} ", number + 1), "    ", PLAIN, choice);
    }
    out.push_str("> ");
    out
}

fn verdict(drill: &Drill, machine: &machine::Machine, is_right: bool, width: usize) -> String {
    let mut out = String::new();
    let (word, style) = if is_right { ("Right.", GOOD) } else { ("Not so.", BAD) };
    let right: Vec<&str> = drill.right.iter().filter_map(|one| drill.choices.get(*one)).map(String::as_str).collect();
    let more = if !is_right || right.len() > 1 {
        format!("It is: {}.", right.join(", or with the same lamps: "))
    } else {
        String::new()
    };
    lead(&mut out, width, &format!("{style}{word}{style:#} "), word.len() + 1, PLAIN, &more);
    if !drill.tells.is_empty() {
        let told: Vec<String> = drill.tells.iter().map(|label| told(drill, machine, label)).collect();
        let text = format!("What tells it from the others: {}.", told.join(", "));
        paragraph(&mut out, width, "", "", FAINT, &text);
    }
    out.push('\n');
    out
}

/// A lamp with how it is.
fn told(drill: &Drill, machine: &machine::Machine, label: &str) -> String {
    let mut lamps = LampPlace::all(machine).zip(&drill.lamps);
    let state = lamps.find(|((_, lamp), _)| lamp.label == label).map(|(_, state)| state);
    let words = match state {
        Some(LampState::Lit) => " lit",
        Some(LampState::Dark) => " dark",
        Some(LampState::Flickers) => " goes on and off",
        None => "",
    };
    format!("{label}{words}")
}
