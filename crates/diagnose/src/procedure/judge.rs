//! What a machine file promises in its procedures, held against the simulation.

use super::course::{Course, Due, StepCourse};
use machine::model::{Access, ExpectedLamp, LampKind, ProcedureStep};
use machine::problem::Problems;
use machine::{Choice, Machine, Problem, Reading};

/// What is wrong with the procedures of a file, in every revision. Nothing is said of a file that can't be
/// resolved: [`Reading::lint`] says why.
#[must_use]
pub fn judge(reading: &Reading) -> Vec<Problem> {
    let revisions: Vec<Option<String>> = match reading.revisions() {
        [] => vec![None],
        list => list.iter().map(|revision| Some(revision.name.clone())).collect(),
    };
    let mut problems = Problems::default();
    for revision in revisions {
        let resolved = reading.resolve(&Choice { revision, ..Choice::default() });
        if resolved.problems.iter().any(Problem::is_error) {
            continue;
        }
        let machines: Vec<&Machine> = resolved.alternatives.iter().map(|one| &one.machine).collect();
        let Some(first) = machines.first() else { continue };
        for (procedure, row) in first.procedures.iter() {
            let course = Course::new(&machines, procedure);
            for (step, course) in row.steps.iter().zip(&course.steps) {
                judge_step(first, step, course, &mut problems);
            }
        }
    }
    problems.into_sorted()
}

fn judge_step(machine: &Machine, step: &ProcedureStep, course: &StepCourse, problems: &mut Problems) {
    for (lamp, lit) in &step.expect {
        let Some(due) = due_of(machine, lamp, course) else { continue };
        let (wanted, state) = (if *lit { "lit" } else { "dark" }, if *lit { Due::Lit } else { Due::Dark });
        let label = label(machine, lamp);
        let shown = match due {
            _ if due == state => continue,
            Due::MayVary => {
                let what = format!("`{label}` need not be {wanted} after this step on a healthy machine");
                let hint = "it depends on travel times or on when somebody looks: wait longer, or leave it out";
                problems.warning(step.span, "may-vary", what, hint);
                continue;
            }
            Due::Lit => "lit",
            Due::Dark => "dark",
            Due::Blinks => "blinking",
        };
        let what = format!("on a healthy machine `{label}` is {shown} after this step, not {wanted}");
        let hint = "put the step, its `wait` or the machine right; `lampwise procedure --plan` shows all lamps";
        problems.error(step.span, "wrong-expectation", what, hint);
    }
    if !course.rests {
        let what = "the machine does not come to rest in this step";
        problems.warning(step.span, "never-rests", what, "give the step a `wait`, such as wait = \"T#20s\"");
    }
    if step.access == Access::BehindGuard && course.is_dangerous() {
        let what = "something moves in this step while somebody reaches behind a guard";
        let hint = "let the energy be switched off in a step before, or let it be done from outside";
        problems.error(step.span, "moves-while-reaching-in", what, hint);
    }
}

/// Whether this is the lamp that a step names.
pub(super) fn is_lamp(expected: &ExpectedLamp, kind: &LampKind) -> bool {
    match (expected, kind) {
        (ExpectedLamp::Input(one), LampKind::Input(other)) => one == other,
        (ExpectedLamp::Output(one), LampKind::Output(other)) => one == other,
        _ => false,
    }
}

fn due_of(machine: &Machine, lamp: &ExpectedLamp, course: &StepCourse) -> Option<Due> {
    let kinds = machine.lamp_rows.iter().flat_map(|row| &row.lamps).map(|lamp| &lamp.kind);
    kinds.zip(&course.lamps).find(|(kind, _)| is_lamp(lamp, kind)).map(|(_, lamp)| lamp.due)
}

fn label(machine: &Machine, lamp: &ExpectedLamp) -> String {
    match lamp {
        ExpectedLamp::Input(input) => machine.inputs[*input].label.clone(),
        ExpectedLamp::Output(output) => {
            let row = &machine.outputs[*output];
            row.label.clone().unwrap_or_else(|| row.tag.clone())
        }
    }
}
