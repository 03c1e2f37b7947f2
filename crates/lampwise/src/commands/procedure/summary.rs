//! What was done, seen and measured, to be kept or pasted into a mail.

use std::fmt::Write as _;

use diagnose::procedure::Seen;

use super::Job;
use super::led::Record;
use crate::screen::{BAD, GOOD, PLAIN, STRONG, paragraph};
use diagnose::procedure::range;
use diagnose::wording::number;

/// The page.
pub fn page(job: &Job<'_>, record: &Record, width: usize) -> String {
    let mut out = format!("\n{STRONG}Summary: {}, {}{STRONG:#}\n", job.machine.name, job.procedure.words.english);
    let (done, all) = (record.reports.len(), job.procedure.steps.len());
    let text = if record.finished {
        format!("All {all} steps were done.")
    } else {
        format!("Left after {done} of {all} steps.")
    };
    paragraph(&mut out, width, "  ", "  ", if record.finished { GOOD } else { BAD }, &text);
    let unseen: Vec<String> = (record.reports.iter().enumerate())
        .filter(|(_, report)| report.seen == Seen::NotLooked)
        .map(|(step, _)| (step + 1).to_string())
        .collect();
    let lamps = match (record.deviations.is_empty(), unseen.is_empty()) {
        (true, true) if done > 0 => "The lamps were as they should be after each of them.".to_owned(),
        (_, false) => format!("The lamps were not looked at after step {}.", unseen.join(", ")),
        _ => String::new(),
    };
    if !lamps.is_empty() {
        paragraph(&mut out, width, "  ", "  ", PLAIN, &lamps);
    }
    for deviation in &record.deviations {
        let text = format!("Step {}: {}.", deviation.step + 1, deviation.differ.join("; "));
        paragraph(&mut out, width, "  ", "    ", BAD, &text);
    }
    for (step, (row, report)) in job.procedure.steps.iter().zip(&record.reports).enumerate() {
        let Some(measure) = &row.measure else { continue };
        let mut text = format!("Step {}: {}: ", step + 1, measure.words.english);
        let style = match report.measured {
            None => {
                _ = write!(text, "not measured ({})", range(measure));
                PLAIN
            }
            Some(value) if (measure.from..=measure.to).contains(&value) => {
                _ = write!(text, "{} {} (right: {})", number(value), measure.unit.english, range(measure));
                GOOD
            }
            Some(value) => {
                _ = write!(
                    text,
                    "{} {} (OUTSIDE {}): {}",
                    number(value),
                    measure.unit.english,
                    range(measure),
                    measure.outside.english
                );
                BAD
            }
        };
        paragraph(&mut out, width, "  ", "    ", style, &text);
    }
    out
}
