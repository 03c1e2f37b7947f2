//! The chart of steps and lamps of a played run: a row for each stretch in which the
//! same steps are active, a column for each lamp.

use std::fmt::Write as _;

use diagnose::lamp_chart::{self, Shown, Stretch};
use diagnose::wording;
use machine::Machine;
use serde_json::{Value, json};

use super::Played;
use crate::screen::{FAINT, LIT, PLAIN, STRONG, TITLE, columns, padded, paragraph};

/// The chart for people.
pub fn page(played: &Played<'_>, width: usize) -> String {
    let rows = rows(played);
    let mut out = String::new();
    let name = |row: &Stretch| name(played.machine, row);
    let names = rows.iter().map(|row| columns(&name(row))).max().unwrap_or(0).clamp(4, 24);
    _ = writeln!(out, "{TITLE}Steps and lamps{TITLE:#}   {LIT}●{LIT:#} lit   · dark   {LIT}~{LIT:#} may change");
    // As many lamps side by side as the screen has room for.
    let each = (width.saturating_sub(names + 4) / 2).max(1);
    let lamps = played.panel.len();
    for start in (0..lamps).step_by(each) {
        let shown = start..(start + each).min(lamps);
        out.push('\n');
        header(&mut out, played, names, shown.clone());
        for row in &rows {
            let mut cells = String::new();
            for lamp in shown.clone() {
                _ = match row.lamps[lamp] {
                    Shown::Lit => write!(cells, " {LIT}●{LIT:#}"),
                    Shown::Dark => write!(cells, " {FAINT}·{FAINT:#}"),
                    Shown::Changes => write!(cells, " {LIT}~{LIT:#}"),
                };
            }
            _ = writeln!(out, "  {} {cells}", padded(&cut(&name(row), names), names));
        }
    }
    out.push('\n');
    _ = writeln!(out, "{TITLE}What each step waits for{TITLE:#}");
    for (step, waits) in waits(played, &rows) {
        let first = format!("  {} ", padded(&cut(&step, names), names));
        let rest = " ".repeat(names + 3);
        for (index, wait) in waits.iter().enumerate() {
            paragraph(&mut out, width, if index == 0 { &first } else { &rest }, &rest, PLAIN, wait);
        }
    }
    out
}

fn cut(text: &str, width: usize) -> String {
    if columns(text) <= width {
        return text.to_owned();
    }
    let mut short: String = text.chars().take(width.saturating_sub(1)).collect();
    short.push('…');
    short
}

/// Labels written downwards.
fn header(out: &mut String, played: &Played<'_>, names: usize, lamps: std::ops::Range<usize>) {
    let labels: Vec<Vec<char>> = lamps.map(|lamp| played.panel.label(lamp).chars().collect()).collect();
    let height = labels.iter().map(Vec::len).max().unwrap_or(0);
    for line in 0..height {
        let mut text = " ".repeat(names + 3);
        for label in &labels {
            // Set at the foot, so that the letters end just above their column.
            let letter = (line + label.len()).checked_sub(height).and_then(|at| label.get(at));
            text.push(' ');
            text.push(letter.copied().unwrap_or(' '));
        }
        _ = writeln!(out, "{STRONG}{}{STRONG:#}", text.trim_end());
    }
}

fn rows(played: &Played<'_>) -> Vec<Stretch> {
    lamp_chart::stretches(played.machine, played.plant, &played.panel, &played.imposed, &played.playback)
}

/// Of each step of the rows, in their order: what each way onward needs, and where it leads.
fn waits(played: &Played<'_>, rows: &[Stretch]) -> Vec<(String, Vec<String>)> {
    let machine = played.machine;
    let mut told: Vec<(String, Vec<String>)> = Vec::new();
    for step in rows.iter().flat_map(|row| &row.active) {
        let name = machine.step_name(*step);
        if told.iter().any(|(known, _)| *known == name) {
            continue;
        }
        let ways = lamp_chart::ways(machine, *step).map(|way| {
            let to: Vec<String> = way.to.iter().map(|step| machine.step_name(*step)).collect();
            format!("→ {}: {}", wording::list(&to), way.words(machine))
        });
        told.push((name, ways.collect()));
    }
    told
}

/// What a row is called by.
fn name(machine: &Machine, row: &Stretch) -> String {
    if row.active.is_empty() {
        return "(not running)".to_owned();
    }
    let said: Vec<String> = lamp_chart::named_by(machine, row).iter().map(|step| machine.step_name(*step)).collect();
    said.join(" + ")
}

/// The chart for programs.
pub fn document(played: &Played<'_>) -> Value {
    let word = |shown: &Shown| match shown {
        Shown::Lit => "lit",
        Shown::Dark => "dark",
        Shown::Changes => "changes",
    };
    let rows = rows(played);
    json!({
        "lamps": (0..played.panel.len()).map(|lamp| played.panel.label(lamp)).collect::<Vec<_>>(),
        "rows": rows.iter().map(|row| json!({
            "steps": row.active.iter().map(|step| played.machine.step_name(*step)).collect::<Vec<_>>(),
            "lamps": row.lamps.iter().map(word).collect::<Vec<_>>(),
        })).collect::<Vec<_>>(),
        "waits_for": waits(played, &rows).into_iter().map(|(step, ways)| json!({ "step": step, "ways": ways }))
            .collect::<Vec<_>>(),
    })
}
