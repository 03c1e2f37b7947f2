//! `lampwise procedure`: a led service job. Everything that is said before, at and
//! after a step is worked out in `machine::caution` and `diagnose::procedure`;
//! here it is put into order, asked and written down.

mod deviation;
mod json;
mod led;
mod plan;
mod summary;

use std::io::IsTerminal;
use std::sync::Arc;

use diagnose::call::{Record, fingerprint};
use diagnose::procedure::Course;
use diagnose::{Alternative, Shelf};
use machine::Machine;
use machine::id::ProcedureId;
use machine::model::{Procedure, Who};

use super::play::did_you_mean;
use crate::answers::Answers;
use crate::arguments;
use crate::failure::Failure;
use crate::input;
use crate::progress;
use crate::screen::{FAINT, STRONG, Screen, padded, paragraph};

/// A procedure of a machine, worked out.
struct Job<'j> {
    machine: &'j Machine,
    alternatives: &'j [Alternative],
    id: ProcedureId,
    procedure: &'j Procedure,
    course: Course,
    /// What a call that goes on from here is kept with.
    record: Record,
    /// Where what a call needs may be worked out already.
    shelf: Arc<dyn Shelf>,
}

/// Lists, plans or leads.
pub fn run(arguments: &arguments::Procedure, screen: &Screen, shelf: Arc<dyn Shelf>) -> Result<(), Failure> {
    let chosen = input::choose(&arguments.choice)?;
    let fingerprint = fingerprint(chosen.reading.sources.iter().map(|source| source.text.as_str()));
    let alternatives = chosen.alternatives;
    let Some(machine) = alternatives.first().map(|one| &one.machine) else {
        return Err(Failure::file(Vec::new(), Vec::new()));
    };
    let Some(name) = &arguments.name else { return list(machine, screen) };
    let id = procedure_called(machine, name)?;
    let machines: Vec<&Machine> = alternatives.iter().map(|one| &one.machine).collect();
    let course = progress::while_working("working out the procedure", || Course::new(&machines, id));
    let record = record(&arguments.choice, machine, fingerprint);
    let procedure = &machine.procedures[id];
    let job = Job { machine, alternatives: &alternatives, id, procedure, course, record, shelf };
    let typed_answers = arguments.answers.is_some() || !std::io::stdin().is_terminal();
    if arguments.plan || (screen.json && !typed_answers) {
        return if screen.json {
            screen.print_json(&json::document(&job, None))
        } else {
            screen.print(&plan::page(&job, screen.width))
        };
    }
    let mut answers = match &arguments.answers {
        Some(path) => Answers::of_file(path)?,
        None => Answers::of_stdin(),
    };
    let record = led::lead(&job, &mut answers, screen)?;
    if screen.json {
        screen.print_json(&json::document(&job, Some(&record)))
    } else {
        screen.print(&summary::page(&job, &record, screen.width))
    }
}

fn record(choice: &arguments::MachineChoice, machine: &Machine, fingerprint: String) -> Record {
    Record {
        file: choice.machine.display().to_string(),
        libraries: choice.library.iter().map(|path| path.display().to_string()).collect(),
        machine: machine.name.clone(),
        version: machine.version.clone(),
        revision: choice.revision.clone(),
        serial: choice.serial,
        settings: choice.settings.clone(),
        fingerprint,
        ..Record::default()
    }
}

fn procedure_called(machine: &Machine, name: &str) -> Result<ProcedureId, Failure> {
    let wanted = name.trim().to_lowercase();
    let is_so = |row: &Procedure| row.name.to_lowercase() == wanted || row.words.english.to_lowercase() == wanted;
    machine.procedures.find(is_so).map(|(id, _)| id).ok_or_else(|| {
        let hint = if machine.procedures.is_empty() {
            "this machine file has no procedures; docs/machine-file.md shows how one is written".to_owned()
        } else {
            did_you_mean(name, machine.procedures.rows().map(|row| row.name.as_str()))
        };
        Failure::new("unknown-procedure", format!("there is no procedure `{name}`"), hint)
    })
}

fn list(machine: &Machine, screen: &Screen) -> Result<(), Failure> {
    if screen.json {
        return screen.print_json(&json::list(machine));
    }
    let mut out = format!("{STRONG}{}{STRONG:#}\n", machine.name);
    if machine.procedures.is_empty() {
        out.push_str("  The machine file has no procedures.\n");
    }
    let width = machine.procedures.rows().map(|row| row.name.len()).max().unwrap_or(0);
    for row in machine.procedures.rows() {
        let first = format!("  {STRONG}{}{STRONG:#}  ", padded(&row.name, width));
        let rest = " ".repeat(width + 4);
        let mut body = String::new();
        let steps = row.steps.len();
        let text = format!("{} ({steps} steps, {})", row.words.english, who_words(row.who));
        paragraph(&mut body, screen.width, &rest, &rest, crate::screen::PLAIN, &text);
        out.push_str(&first);
        out.push_str(body.strip_prefix(&rest).unwrap_or(&body));
        if !row.purpose.english.is_empty() {
            paragraph(&mut out, screen.width, &rest, &rest, FAINT, &row.purpose.english);
        }
    }
    screen.print(&out)
}

fn who_words(who: Who) -> &'static str {
    match who {
        Who::Operator => "for whoever runs the machine",
        Who::Technician => "for a technician",
        Who::Electrician => "for a person qualified for electrical work",
    }
}
