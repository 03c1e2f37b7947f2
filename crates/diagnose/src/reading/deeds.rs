//! What a person did, as said: "shut the door, pressed start".
//!
//! Each deed is matched with an action of the routine: by its short form or
//! words, in the past or the imperative, or by what it does to the machine.
//! What the routine has no place for is an extra deed.

mod parse;
mod same;

use std::ops::Range;

use machine::Machine;
use machine::id::RoutineId;
use machine::model::HandMove;

use super::mistake::{MistakeKind, Mistakes, ReadingError};
use super::things::{Thing, Things, spoken};
use crate::evidence::Deed;

/// How long a button is held that is said to be pressed, ms.
const PRESSED_MS: u64 = 500;

/// What one part of the text says was done, before its place in the routine is known.
#[derive(Clone, Debug)]
enum Done {
    /// One of these actions of the routine, in rising order, or else the movement itself.
    Action { actions: Vec<usize>, movement: HandMove },
    /// This action and no other.
    Numbered(usize),
    /// This movement, beside the routine.
    Beside(HandMove),
    /// Powered on.
    PowerOn,
}

/// Reads what was done, in order, as people say it: "powered on, shut the door,
/// pressed start", "pushed the lift up", "power cycled". Deeds are separated by
/// commas, semicolons, lines, "and" or "then".
///
/// A deed that is an action of the routine becomes [`Deed::Routine`]. Where the
/// routine has the action several times, the last one is meant that leaves the
/// deeds in the routine's order ("action 2" says which). What is not in the
/// routine, or comes out of its order, becomes [`Deed::Extra`]; "besides" in front says so outright.
/// "Powered on" is `Deed::Routine(None)`, "nothing" no deed.
///
/// # Errors
/// Every mistake of the text, with the routine's actions to choose from. What
/// was *not* done is a mistake too: it is no deed.
pub fn read_deeds(machine: &Machine, routine: RoutineId, text: &str) -> Result<Vec<Deed>, Vec<ReadingError>> {
    let mut mistakes = Mistakes::check_length(text)?;
    let Some(actions) = machine.routines.get(routine).map(|routine| routine.actions.as_slice()) else {
        mistakes.add(
            MistakeKind::NoSuchName,
            0..text.len(),
            "this machine has no such routine",
            "choose one of the routines of the machine file",
        );
        return Err(mistakes.all());
    };
    let done = parse::parse(machine, actions, text, &mut mistakes);
    mistakes.or(in_order(&done))
}

/// Gives each deed its place: from the last to the first, each the last of its actions that comes before the next one.
fn in_order(done: &[Done]) -> Vec<Deed> {
    let mut deeds = Vec::with_capacity(done.len());
    let mut next = usize::MAX;
    for one in done.iter().rev() {
        let deed = match one {
            Done::PowerOn => {
                next = 0;
                Deed::Routine(None)
            }
            Done::Numbered(action) => {
                next = *action;
                Deed::Routine(Some(*action))
            }
            Done::Beside(movement) => Deed::Extra(*movement),
            Done::Action { actions, movement } => match actions.iter().rev().find(|action| **action < next) {
                Some(action) => {
                    next = *action;
                    Deed::Routine(Some(*action))
                }
                None => Deed::Extra(*movement),
            },
        };
        // After the power was off the routine begins anew.
        if matches!(deed, Deed::Extra(HandMove::PowerCycle)) {
            next = usize::MAX;
        }
        deeds.push(deed);
    }
    deeds.reverse();
    deeds
}

/// The deeds as a person would say them, such that they read the same.
/// Actions that the routine does not have are left out.
#[must_use]
pub fn describe_deeds(machine: &Machine, routine: RoutineId, deeds: &[Deed]) -> String {
    let Some(actions) = machine.routines.get(routine).map(|routine| routine.actions.as_slice()) else {
        return String::new();
    };
    let things = Things::of(machine);
    let plain = |deed: &Deed| match deed {
        Deed::Routine(None) => Some("powered on".to_owned()),
        Deed::Routine(Some(action)) => actions.get(*action).map(|action| action.short.clone()),
        Deed::Extra(movement) => Some(movement_words(&things, movement)),
    };
    let explicit = |deed: &Deed| match deed {
        Deed::Routine(Some(action)) => Some(format!("action {}", action + 1)),
        Deed::Extra(movement) => Some(format!("besides {}", movement_words(&things, movement))),
        Deed::Routine(None) => plain(deed),
    };
    let known: Vec<Deed> = deeds.iter().copied().filter(|deed| plain(deed).is_some()).collect();
    let said = |words: &[String]| words.join(", ");
    let mut words: Vec<String> = known.iter().filter_map(plain).collect();
    if read_deeds(machine, routine, &said(&words)).as_ref() == Ok(&known) {
        return said(&words);
    }
    // Say outright as few as are needed: the last ones first, since they decide about those before.
    for (i, deed) in known.iter().enumerate().rev() {
        let tail = said(&words[i..]);
        if read_deeds(machine, routine, &tail).as_deref() != Ok(&known[i..])
            && let Some(explicit) = explicit(deed)
        {
            words[i] = explicit;
        }
    }
    said(&words)
}

fn movement_words(things: &Things<'_>, movement: &HandMove) -> String {
    let mechanism = |id| things.name(Thing::Mechanism(id));
    match movement {
        HandMove::Put(id, position) => {
            let positions = things.positions(*id);
            let place = positions.get(usize::from(*position)).map_or("", String::as_str);
            format!("{} {place}", mechanism(*id))
        }
        HandMove::Press(id, PRESSED_MS) => format!("press {}", mechanism(*id)),
        HandMove::Press(id, ms) => format!("press {} for {ms} ms", mechanism(*id)),
        HandMove::Hold(id) => format!("hold {}", mechanism(*id)),
        HandMove::LetGo(id) => format!("let go {}", mechanism(*id)),
        HandMove::Supply(id, true) => format!("{} on", spoken(&things.name(Thing::Supply(*id)))),
        HandMove::Supply(id, false) => format!("{} off", spoken(&things.name(Thing::Supply(*id)))),
        HandMove::PowerCycle => "power cycled".to_owned(),
        HandMove::Wait => "wait".to_owned(),
    }
}

/// A part of the text, without the blanks around it.
fn trimmed(text: &str, span: Range<usize>) -> Range<usize> {
    let part = text.get(span.clone()).unwrap_or_default();
    let front = part.len() - part.trim_start().len();
    let back = part.len() - part.trim_end().len();
    span.start + front..(span.end - back).max(span.start + front)
}
