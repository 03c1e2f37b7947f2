//! A procedure as the routine of a machine, so that the same simulation and the
//! same diagnosis serve it.

use crate::diagnoser::Diagnoser;
use crate::kept::Shelf;
use machine::Alternative;
use machine::Machine;
use machine::id::{Id, ProcedureId, RoutineId, Table};
use machine::model::{Deviation, FaultEffect, HandAction, HandMove, ProcedureStep, Routine, Words};
use sim::Options;

/// Share of the faults that were there before a procedure began: it takes minutes, they take hours
/// (common practice, no source).
const BEFORE: f64 = 0.95;

/// The machine with the first `steps` steps of this procedure as its only routine. What people forget in
/// its other routines can't happen here; whether a step was done as told is asked of whoever is led.
///
/// A machine without such a procedure has an empty routine.
#[must_use]
pub fn as_routine(machine: &Machine, procedure: ProcedureId, steps: usize) -> Machine {
    let mut led = machine.clone();
    led.routines = Table::new();
    let forgotten = |row: &Deviation| row.effects.iter().any(|effect| matches!(effect, FaultEffect::Forgotten(..)));
    led.deviations = machine.deviations.rows().filter(|row| !forgotten(row)).cloned().collect();
    let Some(row) = machine.procedures.get(procedure) else {
        let (name, words) = (String::new(), Words::default());
        led.routines.push(Routine { name, words, mode: None, actions: Vec::new() });
        return led;
    };
    let actions: Vec<HandAction> = row.steps.iter().take(steps).map(|step| action(machine, step)).collect();
    let name = row.name.clone();
    led.routines.push(Routine { name, words: row.words.clone(), mode: None, actions });
    led
}

fn action(machine: &Machine, step: &ProcedureStep) -> HandAction {
    let short = short(machine, step.movement);
    HandAction { words: step.words.clone(), short, movement: step.movement, wait_ms: step.wait_ms }
}

/// The movement as it is written in a machine file.
fn short(machine: &Machine, movement: HandMove) -> String {
    let name = |mechanism| machine.mechanisms.get(mechanism).map_or("", |row| row.name.as_str());
    match movement {
        HandMove::Put(mechanism, at) => {
            let row = machine.mechanisms.get(mechanism);
            let at = row.and_then(|row| row.positions.get(usize::from(at))).map_or("", String::as_str);
            format!("{} {at}", name(mechanism))
        }
        HandMove::Press(mechanism, _) => format!("press {}", name(mechanism)),
        HandMove::Hold(mechanism) => format!("hold {}", name(mechanism)),
        HandMove::LetGo(mechanism) => format!("let go {}", name(mechanism)),
        HandMove::Supply(supply, on) => {
            let name = machine.supplies.get(supply).map_or("", |row| row.name.as_str());
            format!("{name} {}", if on { "on" } else { "off" })
        }
        HandMove::PowerCycle => "power cycle".to_owned(),
        HandMove::Wait => "wait".to_owned(),
    }
}

/// A diagnoser for what went wrong in the first `steps` steps of a procedure, for the evidence of
/// [`evidence`](super::evidence). The alternatives are those of the machine, with the procedure's number in each.
#[must_use]
pub fn diagnoser(
    alternatives: &[Alternative],
    procedure: ProcedureId,
    steps: usize,
    options: &Options,
    shelf: &dyn Shelf,
) -> Diagnoser {
    let led = |one: &Alternative| Alternative {
        weight: one.weight,
        choices: one.choices.clone(),
        machine: as_routine(&one.machine, procedure, steps),
    };
    let options = Options { before_power_on: BEFORE, looks_after_wait: true, ..*options };
    let circumstances = crate::evidence::Circumstances::default();
    Diagnoser::from_shelf(alternatives.iter().map(led).collect(), &circumstances, &options, shelf)
}

/// The routine of [`as_routine`].
pub(super) fn only_routine() -> RoutineId {
    RoutineId::new(0)
}
