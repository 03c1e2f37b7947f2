//! The seam to the diagnosis: a step did not go as expected, and everything seen so
//! far becomes evidence, for the page that is shown and for the call that can go on from here.

use diagnose::call::{Entry, Kind, entries_of};
use diagnose::evidence::{Deed, Evidence, LampState};
use diagnose::procedure::{Due, LampDue, Report, as_routine, diagnoser, evidence, range};
use diagnose::wording::number;
use diagnose::{Answer, Extent};
use machine::Machine;

use super::Job;
use crate::commands::why;
use crate::progress;

/// A step that did not go as expected.
pub struct Deviation {
    /// Which, from 0.
    pub step: usize,
    /// What differed, in words.
    pub differ: Vec<String>,
    /// What is wrong, as far as can be told.
    pub answer: Answer,
    /// The machine with the procedure as its routine, which the evidence is about.
    machine: Machine,
    evidence: Evidence,
    /// What was measured so far, a line each.
    measured: Vec<String>,
    extent: Extent,
}

/// Works out what can be wrong after the last of these reports.
pub fn take_over(job: &Job<'_>, reports: &[Report], differ: Vec<String>) -> Deviation {
    let done = reports.len();
    let evidence = evidence(&job.course, reports);
    let (answer, extent) = progress::while_working("working out what can be wrong", || {
        let diagnoser = diagnoser(job.alternatives, job.id, done, &sim::Options::default(), &*job.shelf);
        (diagnoser.answer(&evidence), diagnoser.extent())
    });
    let machine = as_routine(job.machine, job.id, done);
    let measured = (job.procedure.steps.iter().zip(reports)).enumerate().filter_map(|(step, (row, report))| {
        let (measure, value) = (row.measure.as_ref()?, report.measured?);
        let right = (measure.from..=measure.to).contains(&value);
        let range = range(measure);
        let is = if right { format!("in order, {range}") } else { format!("OUTSIDE {range}") };
        let unit = match measure.unit.english.as_str() {
            "" => String::new(),
            unit => format!(" {unit}"),
        };
        Some(format!("step {}, {}: {}{unit} ({is})", step + 1, measure.words.english, number(value)))
    });
    let measured = measured.collect();
    Deviation { step: done.saturating_sub(1), differ, answer, machine, evidence, measured, extent }
}

impl Deviation {
    /// All that is known, as a call says it.
    pub fn entries(&self) -> Vec<Entry> {
        let notes = self.measured.iter().map(|line| Entry::new(Kind::Note, line));
        entries_of(&self.machine, &self.evidence).into_iter().chain(notes).collect()
    }

    /// The page that `lampwise why` would print.
    pub fn page(&self, job: &Job<'_>, width: usize) -> String {
        // Of all moments that which differs is shown; those before were as they should be.
        let mut shown = self.evidence.clone();
        let here = Deed::Routine(Some(self.step));
        shown.moments.retain(|moment| moment.deeds.contains(&here));
        if let (Some(moment), Some(step)) = (shown.moments.first_mut(), job.course.steps.get(self.step)) {
            moment.lamps.retain(|report| step.lamp(report.place).is_some_and(|lamp| differs(lamp.due, report.state)));
        }
        why::page_about(&self.machine, &shown, &self.answer, self.extent, width)
    }
}

fn differs(due: Due, state: LampState) -> bool {
    !matches!(
        (due, state),
        (Due::Lit, LampState::Lit)
            | (Due::Dark, LampState::Dark)
            | (Due::Blinks, LampState::Flickers)
            | (Due::MayVary, _)
    )
}

/// "X17 (product flows) is dark and should be lit".
pub fn words(lamp: &LampDue, state: LampState) -> String {
    let is = match state {
        LampState::Lit => "lit",
        LampState::Dark => "dark",
        LampState::Flickers => "flickering",
    };
    let meaning = if lamp.words.is_empty() { String::new() } else { format!(" ({})", lamp.words) };
    format!("{}{meaning} is {is} and should be {}", lamp.label, due_word(lamp.due))
}

/// The word for how a lamp is due.
pub fn due_word(due: Due) -> &'static str {
    match due {
        Due::Lit => "lit",
        Due::Dark => "dark",
        Due::Blinks => "blinking",
        Due::MayVary => "either way",
    }
}
