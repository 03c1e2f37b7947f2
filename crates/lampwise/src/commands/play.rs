//! `lampwise play`: one run of a routine as a time line, and the chart of steps and lamps.

mod chart;
mod line;

use diagnose::panel::Panel;
use machine::Machine;
use machine::id::{Id, RoutineId};
use serde_json::{Value, json};
use sim::{Imposed, Limits, Plant, Playback, Stop};

use super::why::routine_called;
use crate::arguments::Play;
use crate::failure::Failure;
use crate::input;
use crate::progress;
use crate::screen::Screen;

/// A run with what it is a run of.
struct Played<'p> {
    machine: &'p Machine,
    plant: &'p Plant,
    panel: Panel,
    routine: RoutineId,
    imposed: Vec<Imposed>,
    playback: Playback,
}

/// Plays and prints.
pub fn run(arguments: &Play, screen: &Screen) -> Result<(), Failure> {
    let chosen = input::choose(&arguments.choice)?;
    let Some(alternative) = chosen.alternatives.first() else { return Err(Failure::file(Vec::new(), Vec::new())) };
    let machine = &alternative.machine;
    if machine.routines.is_empty() {
        let hint = "write a routine, or a chart with a start button, into the machine file";
        return Err(Failure::new("no-routine", "this machine file has no routine to play", hint));
    }
    let routine = match &arguments.routine {
        Some(name) => routine_called(machine, name)?,
        None => RoutineId::new(0),
    };
    let imposed = arguments.with.iter().map(|text| imposed(machine, text)).collect::<Result<Vec<_>, _>>()?;
    let plant = Plant::new(machine);
    let playback = progress::while_working("playing the routine", || {
        sim::play(machine, &plant, routine, &imposed, Limits::default(), arguments.seed)
    });
    let played = Played { machine, plant: &plant, panel: Panel::new(machine), routine, imposed, playback };
    if screen.json {
        return screen.print_json(&document(&played, &alternative.choices, arguments.lamps));
    }
    let mut out = line::page(&played, screen.width);
    if arguments.lamps {
        out.push('\n');
        out.push_str(&chart::page(&played, screen.width));
    }
    if !alternative.choices.is_empty() {
        let text =
            format!("The file leaves open what happens in some cases; here: {}.", alternative.choices.join("; "));
        out.push('\n');
        crate::screen::paragraph(&mut out, screen.width, "", "", crate::screen::FAINT, &text);
    }
    screen.print(&out)
}

fn imposed(machine: &Machine, text: &str) -> Result<Imposed, Failure> {
    let (key, step) = match text.rsplit_once('@') {
        Some((key, step)) => (key.trim(), Some(step.trim())),
        None => (text.trim(), None),
    };
    let wanted = key.to_lowercase();
    let Some((deviation, _)) = machine.deviations.find(|row| row.key.to_lowercase() == wanted) else {
        let keys = machine.deviations.rows().map(|row| row.key.as_str());
        let near = did_you_mean(key, keys);
        let joint = if near.ends_with('?') { "" } else { ";" };
        let hint = format!("{near}{joint} `lampwise describe MACHINE --deviations` lists all");
        return Err(Failure::new("unknown-deviation", format!("`--with {text}`: there is no deviation `{key}`"), hint));
    };
    let Some(step) = step else { return Ok(Imposed { deviation, from: None }) };
    let names: Vec<String> = machine.steps.ids().map(|id| machine.step_name(id)).collect();
    let found = machine.steps.ids().find(|id| machine.step_name(*id) == step);
    let found = found.or_else(|| machine.steps.find(|row| row.name == step).map(|(id, _)| id));
    match found {
        Some(id) => Ok(Imposed { deviation, from: Some(id) }),
        None => {
            let hint = format!("there is: {}", names.join(", "));
            Err(Failure::new("unknown-step", format!("`--with {text}`: there is no step `{step}`"), hint))
        }
    }
}

/// The names most like a mistyped one, for a hint; all of them where they are few.
pub(super) fn did_you_mean<'n>(typed: &str, names: impl Iterator<Item = &'n str>) -> String {
    const FEW: usize = 12;
    let typed = typed.to_lowercase();
    let names: Vec<&str> = names.collect();
    let mut near: Vec<(f64, &str)> =
        names.iter().map(|name| (strsim::jaro_winkler(&typed, &name.to_lowercase()), *name)).collect();
    near.sort_by(|one, two| two.0.total_cmp(&one.0).then(one.1.cmp(two.1)));
    let near: Vec<String> =
        near.into_iter().take(3).filter(|(likeness, _)| *likeness > 0.7).map(|(_, name)| format!("`{name}`")).collect();
    match near.as_slice() {
        [] if names.is_empty() => "there is none".to_owned(),
        [] if names.len() <= FEW => format!("there is: {}", names.join(", ")),
        [] => "no name is like it".to_owned(),
        near => format!("did you mean {}?", near.join(" or ")),
    }
}

fn stop_word(stop: Stop) -> &'static str {
    match stop {
        Stop::Standing => "standing",
        Stop::Cycling => "cycling",
        Stop::Unstable => "unstable",
        Stop::Limit => "limit",
    }
}

fn document(played: &Played<'_>, choices: &[String], lamps: bool) -> Value {
    let machine = played.machine;
    json!({
        "schema": "lampwise.play/1",
        "machine": { "name": machine.name, "version": machine.version, "revision": machine.revision },
        "routine": machine.routines[played.routine].name,
        "with": played.imposed.iter().map(|one| json!({
            "deviation": machine.deviations[one.deviation].key,
            "from_step": one.from.map(|step| machine.step_name(step)),
        })).collect::<Vec<_>>(),
        "assumed": choices,
        "instants": line::instants(played),
        "stops": played.playback.stops.iter().map(|stop| stop_word(*stop)).collect::<Vec<_>>(),
        "cut": played.playback.cut,
        "chart": lamps.then(|| chart::document(played)),
    })
}
