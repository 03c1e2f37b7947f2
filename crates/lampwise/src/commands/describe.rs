//! `lampwise describe`: what a machine file describes, at a glance.

use std::fmt::Write as _;

use diagnose::wording;
use machine::model::{Chance, Machine, SettingValue};
use serde_json::{Value, json};

use crate::arguments::Describe;
use crate::failure::Failure;
use crate::input::{self, Chosen};
use crate::screen::{FAINT, PLAIN, STRONG, Screen, TITLE, padded, paragraph};

/// Describes.
pub fn run(arguments: &Describe, screen: &Screen) -> Result<(), Failure> {
    let chosen = input::choose(&arguments.choice)?;
    let Some(first) = chosen.alternatives.first() else { return Err(Failure::file(Vec::new(), Vec::new())) };
    if screen.json {
        return screen.print_json(&document(&chosen, &first.machine, arguments.deviations));
    }
    screen.print(&page(&chosen, &first.machine, arguments.deviations, screen.width))
}

fn page(chosen: &Chosen, machine: &Machine, deviations: bool, width: usize) -> String {
    let mut out = String::new();
    _ = writeln!(out, "{STRONG}{}{STRONG:#}", machine.name);
    let about: Vec<&str> =
        [machine.maker.as_str(), machine.about.as_str()].into_iter().filter(|s| !s.is_empty()).collect();
    if !about.is_empty() {
        paragraph(&mut out, width, "  ", "  ", FAINT, &about.join(". "));
    }
    section(&mut out, "Lamps");
    for row in &machine.lamp_rows {
        let labels: Vec<&str> = row.lamps.iter().map(|lamp| lamp.label.as_str()).collect();
        item(&mut out, width, &row.title.english, &labels.join(" "));
    }
    section(&mut out, "Charts");
    for (id, chart) in machine.charts.iter() {
        let steps: Vec<&str> =
            machine.steps.rows().filter(|step| step.chart == id).map(|step| step.name.as_str()).collect();
        item(&mut out, width, &chart.name, &steps.join(" → "));
        for start in machine.transitions.rows().filter(|row| row.chart == id && row.start) {
            let needs: Vec<String> =
                start.when.conjuncts().into_iter().map(|part| wording::condition(machine, part)).collect();
            item(&mut out, width, "  start needs", &wording::list(&needs));
        }
    }
    section(&mut out, "Routines");
    for routine in machine.routines.rows() {
        let actions: Vec<&str> = routine.actions.iter().map(|action| action.short.as_str()).collect();
        item(&mut out, width, &routine.name, &actions.join(", "));
    }
    if !machine.settings.is_empty() {
        section(&mut out, "Settings");
        for setting in machine.settings.rows() {
            let place = match setting.place.english.as_str() {
                "" => String::new(),
                place => format!(" ({place})"),
            };
            item(&mut out, width, &setting.name, &format!("{}{place}", value(setting.value)));
        }
    }
    if !chosen.reading.revisions().is_empty() {
        section(&mut out, "Revisions");
        for revision in chosen.reading.revisions() {
            let serials: Vec<String> = revision.serials.iter().map(|range| serials(*range)).collect();
            let about = if revision.about.is_empty() { String::new() } else { format!(": {}", revision.about) };
            item(&mut out, width, &revision.name, &format!("serial numbers {}{about}", serials.join(", ")));
        }
    }
    section(&mut out, "In numbers");
    for (what, number) in numbers(chosen, machine) {
        item(&mut out, width, what, &number.to_string());
    }
    if deviations {
        section(&mut out, "What can be wrong");
        for row in machine.deviations.rows() {
            item(&mut out, width, &row.key, &format!("{} — {}", row.words.english, chance(row.rate.chance)));
        }
    }
    out
}

fn section(out: &mut String, title: &str) {
    _ = writeln!(out, "\n{TITLE}{title}{TITLE:#}");
}

fn item(out: &mut String, width: usize, name: &str, text: &str) {
    let first = format!("  {} ", padded(name, 16));
    paragraph(out, width, &first, "                   ", PLAIN, text);
}

fn value(value: SettingValue) -> String {
    match value {
        SettingValue::Time(ms) => wording::duration(ms),
        SettingValue::Count(count) => count.to_string(),
    }
}

fn serials((from, to): (u64, Option<u64>)) -> String {
    match to {
        None => format!("{from} and up"),
        Some(to) if to == from => from.to_string(),
        Some(to) => format!("{from}-{to}"),
    }
}

fn chance(chance: Chance) -> String {
    match chance {
        Chance::PerMillionHours(rate) => format!("{rate} in a million hours"),
        Chance::EachTime(share) if share > 0.0 => format!("1 in {:.0} times", 1.0 / share),
        Chance::EachTime(_) => "never".to_owned(),
    }
}

fn numbers(chosen: &Chosen, machine: &Machine) -> [(&'static str, usize); 9] {
    [
        ("inputs", machine.inputs.len()),
        ("outputs", machine.outputs.len()),
        ("mechanisms", machine.mechanisms.len()),
        ("steps", machine.steps.len()),
        ("devices", machine.devices.len()),
        ("deviations", machine.deviations.len()),
        ("checks", machine.checks.len()),
        ("remedies", machine.remedies.len()),
        ("open choices", chosen.alternatives.len() - 1),
    ]
}

fn document(chosen: &Chosen, machine: &Machine, deviations: bool) -> Value {
    let words = |words: &machine::model::Words| words.english.clone();
    json!({
        "schema": "lampwise.describe/1",
        "machine": { "name": machine.name, "version": machine.version, "revision": machine.revision },
        "about": machine.about,
        "lamp_rows": machine.lamp_rows.iter().map(|row| json!({
            "title": row.title.english,
            "labels": row.lamps.iter().map(|lamp| &lamp.label).collect::<Vec<_>>(),
        })).collect::<Vec<_>>(),
        "charts": machine.charts.iter().map(|(id, chart)| json!({
            "name": chart.name,
            "steps": machine.steps.rows().filter(|step| step.chart == id).map(|step| &step.name).collect::<Vec<_>>(),
            "start_needs": machine.transitions.rows().filter(|row| row.chart == id && row.start).map(|row| {
                row.when.conjuncts().into_iter().map(|part| wording::condition(machine, part)).collect::<Vec<_>>()
            }).collect::<Vec<_>>(),
        })).collect::<Vec<_>>(),
        "routines": machine.routines.rows().map(|routine| json!({
            "name": routine.name,
            "actions": routine.actions.iter().map(|action| words(&action.words)).collect::<Vec<_>>(),
        })).collect::<Vec<_>>(),
        "settings": machine.settings.rows().map(|setting| json!({
            "name": setting.name, "value": value(setting.value), "place": setting.place.english,
        })).collect::<Vec<_>>(),
        "revisions": chosen.reading.revisions().iter().map(|revision| json!({
            "name": revision.name,
            "serials": revision.serials.iter().map(|(from, to)| json!([from, to])).collect::<Vec<_>>(),
            "about": revision.about,
        })).collect::<Vec<_>>(),
        "numbers": numbers(chosen, machine).into_iter().map(|(what, number)| (what.replace(' ', "_"), json!(number)))
            .collect::<serde_json::Map<_, _>>(),
        "deviations": deviations.then(|| machine.deviations.rows().map(|row| json!({
            "key": row.key,
            "words": words(&row.words),
            "per_million_hours": match row.rate.chance { Chance::PerMillionHours(rate) => Some(rate), _ => None },
            "each_time": match row.rate.chance { Chance::EachTime(share) => Some(share), _ => None },
        })).collect::<Vec<_>>()),
    })
}
