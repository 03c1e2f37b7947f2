//! A procedure and its steps as text: what is said before a step, the step, the
//! lamps due after it, the value to measure. For the screen, the phone and paper.

use std::fmt::Write as _;

use anstyle::Style;
use diagnose::procedure::{Due, LampDue, StepCourse, range, said_before, told};
use diagnose::wording::duration;
use machine::caution::Caution;
use machine::model::ProcedureStep;

use super::{Job, who_words};
use crate::screen::{BAD, FAINT, GOOD, LIT, PLAIN, STRONG, TITLE, columns, padded, paragraph};

/// Columns before the text of a step.
const MARGIN: usize = 4;
/// Columns of the word before a list of lamps.
const KEY: usize = 11;
/// Below this nobody is told to wait.
const NO_WAIT_MS: u64 = 1_000;

/// The whole procedure.
pub fn page(job: &Job<'_>, width: usize) -> String {
    let mut out = head(job, width);
    for step in 0..job.procedure.steps.len() {
        out.push('\n');
        before(&mut out, job, step, width);
        after(&mut out, job, step, width);
    }
    out
}

/// What it is, for whom, and what comes first.
pub fn head(job: &Job<'_>, width: usize) -> String {
    let (machine, procedure) = (job.machine, job.procedure);
    let mut out = String::new();
    let revision = machine.revision.as_ref().filter(|_| job.alternatives.len() == 1);
    let revision = revision.map(|name| format!(", revision {name}")).unwrap_or_default();
    _ = writeln!(out, "{STRONG}{}{revision}: {}{STRONG:#}", machine.name, procedure.words.english);
    if !procedure.purpose.english.is_empty() {
        paragraph(&mut out, width, "  ", "  ", PLAIN, &procedure.purpose.english);
    }
    let takes: u64 = job.course.steps.iter().map(|step| step.takes_ms).sum();
    let steps = procedure.steps.len();
    let text = format!(
        "{steps} steps, {}; the machine itself takes about {}.",
        who_words(procedure.who),
        duration(takes.div_ceil(1_000) * 1_000)
    );
    paragraph(&mut out, width, "  ", "  ", PLAIN, &text);
    paragraph(&mut out, width, "  ", "  ", FAINT, Caution::ManualFirst.english());
    out
}

/// Cautions, movements, the writer's note, then what to do.
pub fn before(out: &mut String, job: &Job<'_>, step: usize, width: usize) {
    let Some((row, course)) = job.procedure.steps.get(step).zip(job.course.steps.get(step)) else { return };
    let said = said_before(job.machine, row, course);
    let number = format!("{:>2}", step + 1);
    for (index, text) in said.iter().enumerate() {
        let lead = if index == 0 { number.as_str() } else { "  " };
        marked(out, width, &format!("{STRONG}{lead}{STRONG:#}  {BAD}!{BAD:#} "), STRONG, text);
    }
    let lead = if said.is_empty() { number.as_str() } else { "  " };
    marked(out, width, &format!("{STRONG}{lead}{STRONG:#}  {LIT}→{LIT:#} "), STRONG, &words(row, course));
}

/// A paragraph behind a mark in colour.
fn marked(out: &mut String, width: usize, first: &str, style: Style, text: &str) {
    let indent = " ".repeat(MARGIN + 2);
    let mut body = String::new();
    paragraph(&mut body, width, &indent, &indent, style, text);
    out.push_str(first);
    out.push_str(body.strip_prefix(indent.as_str()).unwrap_or(&body));
}

/// The words of a step with the time to wait.
fn words(row: &ProcedureStep, course: &StepCourse) -> String {
    let english = &row.words.english;
    let about = || duration(course.takes_ms.div_ceil(1_000) * 1_000);
    let waits = english.starts_with("Wait ");
    match row.wait_ms {
        Some(ms) if waits => format!("{english} Allow {}.", duration(ms)),
        Some(ms) => format!("{english} Wait {}.", duration(ms)),
        None if course.takes_ms < NO_WAIT_MS => english.clone(),
        None if waits => format!("{english} That takes about {}.", about()),
        None => format!("{english} Wait until it has come to rest, about {}.", about()),
    }
}

/// The lamps due after a step, and the value to measure.
pub fn after(out: &mut String, job: &Job<'_>, step: usize, width: usize) {
    let Some((row, course)) = job.procedure.steps.get(step).zip(job.course.steps.get(step)) else { return };
    lamps(out, course, step == 0, width);
    if let Some(measure) = &row.measure {
        let text = format!("{}: {}", measure.words.english, range(measure));
        line(out, width, "measure", TITLE, &text);
        if !measure.outside.english.is_empty() {
            line(out, width, "", PLAIN, &format!("outside that: {}", measure.outside.english));
        }
    }
}

fn lamps(out: &mut String, course: &StepCourse, first: bool, width: usize) {
    let of = |due: Due, changed: bool| -> Vec<&LampDue> {
        course.lamps.iter().filter(|lamp| lamp.due == due && (lamp.changed && !first) == changed).collect()
    };
    // What changes is told with its meaning; what stays with its label.
    line(out, width, "now lit", GOOD, &told(&of(Due::Lit, true)));
    line(out, width, "now dark", FAINT, &told(&of(Due::Dark, true)));
    let blinks: Vec<&LampDue> = course.lamps.iter().filter(|lamp| lamp.due == Due::Blinks).collect();
    line(out, width, "blinks", LIT, &told(&blinks));
    let (named, lit): (Vec<&LampDue>, Vec<&LampDue>) = of(Due::Lit, false).into_iter().partition(|lamp| lamp.named);
    line(out, width, if first { "lit" } else { "stays lit" }, GOOD, &list(&named, &lit));
    let dark: Vec<&LampDue> = of(Due::Dark, false).into_iter().filter(|lamp| lamp.named).collect();
    line(out, width, if first { "dark" } else { "stays dark" }, FAINT, &told(&dark));
    let varies: Vec<&LampDue> = course.lamps.iter().filter(|lamp| lamp.due == Due::MayVary).collect();
    line(out, width, "either way", PLAIN, &told(&varies));
    line(out, width, "", FAINT, "all others dark");
}

fn list(named: &[&LampDue], others: &[&LampDue]) -> String {
    let labels: Vec<&str> = others.iter().map(|lamp| lamp.label.as_str()).collect();
    let parts = [told(named), labels.join(" ")];
    parts.into_iter().filter(|part| !part.is_empty()).collect::<Vec<_>>().join(", ")
}

fn line(out: &mut String, width: usize, key: &str, style: Style, text: &str) {
    if text.is_empty() {
        return;
    }
    let indent = " ".repeat(MARGIN + 2 + KEY);
    let mut body = String::new();
    paragraph(&mut body, width, &indent, &indent, PLAIN, text);
    _ = write!(out, "{}{style}{}{style:#}", " ".repeat(MARGIN + 2), padded(key, KEY));
    out.push_str(body.strip_prefix(indent.as_str()).unwrap_or(&body));
    debug_assert!(columns(key) < KEY);
}
