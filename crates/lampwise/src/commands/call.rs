//! `lampwise call`: a service case from the complaint to the finding, led by questions. What is known and what
//! to ask next is worked out in `diagnose::call`; here it is shown, asked, and kept in a file.

mod closing;
mod command;
mod dialogue;
mod keep;
mod lines;
mod opened;
mod replay;
mod state;
mod turn;

use std::sync::Arc;

use diagnose::Shelf;
use diagnose::call::{Entry, Origin, Session, WorkedOut};
use diagnose::next::Terms;

pub(super) use self::dialogue::Dialogue;
pub(super) use self::keep::Keeper;
pub(super) use self::opened::read as read_record;
pub(super) use self::state::proposal as proposal_document;
pub(super) use self::turn::{lead, minutes, said_before, sentence};

use crate::answers::Answers;
use crate::arguments::{Call, Qualification};
use crate::failure::Failure;
use crate::screen::Screen;

/// Opens the call, leads it, and closes it.
pub fn run(arguments: &Call, screen: &Screen, shelf: Arc<dyn Shelf>) -> Result<(), Failure> {
    if arguments.json_lines && screen.json {
        let hint = "`--json-lines` alone prints JSON already";
        return Err(Failure::new("usage", "`--json` and `--json-lines` exclude each other", hint));
    }
    let opened = opened::open(arguments, shelf)?;
    let terms = opened.alternatives.first().map(|one| Terms::of(&one.machine)).unwrap_or_default();
    let terms = terms.visited_after(opened.record.visit);
    if arguments.replay.is_some() {
        return replay::run(opened, terms, screen);
    }
    let place = arguments.save.clone().or_else(|| arguments.resume.clone());
    let fresh = arguments.save.is_some();
    let mut session = opened.session(terms, opened.record.entries.clone())?;
    if let Some(who) = arguments.who {
        let word = match who {
            Qualification::Operator => "operator",
            Qualification::Technician => "technician",
            Qualification::Electrician => "electrician",
        };
        _ = session.add(vec![Entry::new(diagnose::call::Kind::Who, word)]);
    }
    let mut keeper = Keeper::new(opened.record.clone(), place, fresh)?;
    keeper.keep(session.entries())?;
    if arguments.json_lines {
        return lines::lead(session, keeper, screen);
    }
    let mut answers = Answers::of_stdin();
    Dialogue::new(session, keeper, &mut answers, *screen).lead(&opened.remarks)
}

/// What went wrong with entries, as a failure.
fn failure_of(entries: &[Entry], mistakes: Vec<diagnose::call::EntryMistake>) -> Failure {
    let all = mistakes.into_iter().map(|one| {
        let kind = entries.get(one.entry).map_or("entry", |entry| entry.kind.word());
        Failure::typed(format!("entry {} ({kind})", one.entry + 1), one.text, one.mistakes)
    });
    all.reduce(Failure::and).unwrap_or_else(|| Failure::new("call", "the call can't be read", ""))
}

fn no_session(origin: Option<&Origin>) -> Failure {
    match origin {
        Some(Origin::Procedure { name, .. }) => Failure::new(
            "unknown-procedure",
            format!("the call goes on from the procedure `{name}`, which the machine file does not have"),
            "`lampwise procedure MACHINE` lists the procedures",
        ),
        None => Failure::file(Vec::new(), Vec::new()),
    }
}

/// A session of this machine.
pub(super) fn session(
    alternatives: &[diagnose::Alternative],
    origin: Option<&Origin>,
    terms: Terms,
    entries: Vec<Entry>,
    shelf: &Arc<dyn Shelf>,
) -> Result<Session, Failure> {
    let worked_out = WorkedOut::new(alternatives.to_vec(), origin).ok_or_else(|| no_session(origin))?;
    let worked_out = Arc::new(worked_out.with_shelf(Arc::clone(shelf)));
    let made = crate::progress::while_working("working out what can go wrong", || {
        Session::of(worked_out, terms, entries.clone())
    });
    made.map_err(|mistakes| failure_of(&entries, mistakes))
}
