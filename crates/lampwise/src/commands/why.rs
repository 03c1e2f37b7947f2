//! `lampwise why`: from what was reported to what is wrong.

mod evidence;
mod json;
mod moments;
mod text;

use std::process::ExitCode;

use clap::ArgMatches;
use diagnose::evidence::Evidence;
use diagnose::next::{Advice, Terms, advise};
use diagnose::{Answer, Diagnoser, Extent, Shelf};
use machine::{Machine, Problem, Source};

pub(super) use evidence::routine_called;

use crate::arguments::Why;
use crate::failure::Failure;
use crate::input;
use crate::progress;
use crate::screen::Screen;

/// An answer with what it is an answer to.
struct Finding<'f> {
    machine: &'f Machine,
    sources: &'f [Source],
    remarks: &'f [Problem],
    evidence: &'f Evidence,
    /// The routine that deeds were read in, and whether somebody named it.
    routine: evidence::TakenRoutine,
    answer: Answer,
    extent: Extent,
    /// What to look at next; none where somebody else goes on.
    next: Option<Advice>,
    /// Whether causes of little weight are listed too.
    all: bool,
}

/// The page about evidence that did not come from the arguments, such as a procedure's.
pub(super) fn page_about(
    machine: &Machine,
    evidence: &Evidence,
    answer: &Answer,
    extent: Extent,
    width: usize,
) -> String {
    let routine = evidence::TakenRoutine { routine: evidence.routine, guessed: false };
    let answer = answer.clone();
    let finding =
        Finding { machine, sources: &[], remarks: &[], evidence, routine, answer, extent, next: None, all: false };
    text::page(&finding, width)
}

/// What was reported, and the machine that it was reported of.
pub(super) struct Report {
    pub alternatives: Vec<diagnose::Alternative>,
    pub evidence: Evidence,
}

/// Reads a report as `lampwise why` does, with the names of the alternative that understands most of it;
/// that one comes first.
pub(super) fn report(why: &Why, matches: &ArgMatches) -> Result<Report, Failure> {
    let moments = moments::moments(why, matches)?;
    let mut chosen = input::choose(&why.choice)?;
    let machines: Vec<&Machine> = chosen.alternatives.iter().map(|one| &one.machine).collect();
    let heard = evidence::read(&machines, why, &moments)?;
    let Some(told) = heard.told.get(heard.best) else { return Err(Failure::file(Vec::new(), Vec::new())) };
    let evidence = told.evidence.clone();
    if heard.best < chosen.alternatives.len() {
        chosen.alternatives.swap(0, heard.best);
    }
    Ok(Report { alternatives: chosen.alternatives, evidence })
}

/// Answers, or says why it can't.
pub fn run(why: &Why, matches: &ArgMatches, screen: &Screen, shelf: &dyn Shelf) -> Result<ExitCode, Failure> {
    let moments = moments::moments(why, matches)?;
    let chosen = input::choose(&why.choice)?;
    let machines: Vec<&Machine> = chosen.alternatives.iter().map(|one| &one.machine).collect();
    let heard = evidence::read(&machines, why, &moments)?;
    let best = machines.get(heard.best).zip(heard.told.get(heard.best));
    let Some((machine, told)) = best else { return Err(Failure::file(Vec::new(), Vec::new())) };
    let (machine, evidence) = ((*machine).clone(), told.evidence.clone());
    let (answer, extent, next) = progress::while_working("working out what can go wrong", || {
        let (circumstances, options) = (evidence.circumstances(), sim::Options::default());
        let diagnoser = Diagnoser::from_shelf(chosen.alternatives, &circumstances, &options, shelf);
        let next = advise(&diagnoser, &evidence, &Terms::of(&machine));
        (diagnoser.answer_told(&heard.told), diagnoser.extent(), next)
    });
    let finding = Finding {
        machine: &machine,
        sources: &chosen.reading.sources,
        remarks: &chosen.remarks,
        evidence: &evidence,
        routine: heard.routine,
        answer,
        extent,
        next: Some(next),
        all: why.all,
    };
    if screen.json {
        screen.print_json(&json::document(&finding))?;
    } else {
        screen.print(&text::page(&finding, screen.width))?;
    }
    Ok(ExitCode::SUCCESS)
}
