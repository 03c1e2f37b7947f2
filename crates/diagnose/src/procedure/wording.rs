//! What is said of a step of a procedure: before it, of its lamps, of the value to measure.

use super::course::{LampDue, Movement, StepCourse};
use crate::wording::number;
use machine::Machine;
use machine::caution::Doing;
use machine::model::{Measurement, ProcedureStep};

/// What is said before a step: what is worked out first, then the writer's note.
#[must_use]
pub fn said_before(machine: &Machine, step: &ProcedureStep, course: &StepCourse) -> Vec<String> {
    let cautions = Doing::of_step(machine, step).cautions();
    let mut said: Vec<String> = cautions.into_iter().map(|caution| caution.english().to_owned()).collect();
    said.extend(announcement(machine, course));
    said.extend(step.note.iter().map(|note| note.english.clone()));
    said
}

/// What will move by itself; everybody must know before it is set going.
#[must_use]
pub fn announcement(machine: &Machine, course: &StepCourse) -> Vec<String> {
    let mut said = Vec::new();
    let on: Vec<String> =
        course.comes_on.iter().map(|supply| machine.supplies[*supply].words.english.clone()).collect();
    if !on.is_empty() {
        said.push(format!("This comes on: {}.", on.join(", ")));
    }
    let (hazards, others): (Vec<_>, Vec<_>) = course.movements.iter().partition(|movement| movement.hazard);
    let list = |movements: Vec<&Movement>| -> String {
        movements.into_iter().map(|movement| movement.words(machine)).collect::<Vec<_>>().join("; ")
    };
    if !hazards.is_empty() {
        said.push(format!("This will move: {}. Everybody clear.", list(hazards)));
    }
    if !others.is_empty() {
        said.push(format!("This will change: {}.", list(others)));
    }
    said
}

/// Lamps with what they mean.
#[must_use]
pub fn told(lamps: &[&LampDue]) -> String {
    let one = |lamp: &&LampDue| match lamp.words.as_str() {
        "" => lamp.label.clone(),
        words => format!("{} ({words})", lamp.label),
    };
    lamps.iter().map(one).collect::<Vec<_>>().join(", ")
}

/// "285 to 315 ml", "at least 50 kPa".
#[must_use]
pub fn range(measure: &Measurement) -> String {
    let unit = measure.unit.english.as_str();
    let unit = if unit.is_empty() { String::new() } else { format!(" {unit}") };
    match (measure.from.is_finite(), measure.to.is_finite()) {
        (true, true) => format!("{} to {}{unit}", number(measure.from), number(measure.to)),
        (true, false) => format!("at least {}{unit}", number(measure.from)),
        (false, true) => format!("at most {}{unit}", number(measure.to)),
        (false, false) => format!("any value{unit}"),
    }
}
