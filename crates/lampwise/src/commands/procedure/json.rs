//! The procedure as a document: `lampwise.procedure/1`.

use diagnose::evidence::LampState;
use diagnose::procedure::{Seen, StepCourse};
use machine::Machine;
use machine::caution::{Caution, Doing};
use machine::model::{Procedure, ProcedureStep, Who};
use serde_json::{Value, json};

use super::Job;
use super::deviation::due_word;
use super::led::Record;

/// The list of a machine's procedures.
pub fn list(machine: &Machine) -> Value {
    document_of(machine, Value::Null, Value::Null)
}

/// One procedure, with what was done if it was.
pub fn document(job: &Job<'_>, record: Option<&Record>) -> Value {
    let steps = job.procedure.steps.iter().zip(&job.course.steps).enumerate();
    let mut procedure = about(job.procedure);
    procedure["manual_first"] = json!(Caution::ManualFirst.english());
    procedure["steps"] = steps.map(|(index, (row, course))| step(job.machine, index, row, course)).collect();
    let record = record.map_or(Value::Null, |record| record_of(job, record));
    document_of(job.machine, procedure, record)
}

fn document_of(machine: &Machine, procedure: Value, record: Value) -> Value {
    json!({
        "schema": "lampwise.procedure/1",
        "machine": { "name": machine.name, "version": machine.version, "revision": machine.revision },
        "procedures": machine.procedures.rows().map(about).collect::<Vec<_>>(),
        "procedure": procedure,
        "record": record,
    })
}

fn about(row: &Procedure) -> Value {
    json!({
        "name": row.name,
        "words": row.words.english,
        "purpose": row.purpose.english,
        "who": match row.who {
            Who::Operator => "operator",
            Who::Technician => "technician",
            Who::Electrician => "electrician",
        },
        "number_of_steps": row.steps.len(),
    })
}

fn step(machine: &Machine, index: usize, row: &ProcedureStep, course: &StepCourse) -> Value {
    let position = |mechanism: &machine::model::Mechanism, at: Option<u8>| {
        at.and_then(|at| mechanism.positions.get(usize::from(at)).cloned())
    };
    json!({
        "number": index + 1,
        "cautions": Doing::of_step(machine, row).cautions().into_iter()
            .map(|caution| json!({ "key": caution.key(), "words": caution.english() }))
            .collect::<Vec<_>>(),
        "comes_on": course.comes_on.iter().map(|supply| &machine.supplies[*supply].name).collect::<Vec<_>>(),
        "movements": course.movements.iter().map(|movement| {
            let mechanism = &machine.mechanisms[movement.mechanism];
            json!({
                "mechanism": mechanism.name,
                "words": movement.words(machine),
                "from": position(mechanism, movement.from),
                "to": movement.to.iter().map(|at| position(mechanism, *at)).collect::<Vec<_>>(),
                "hazard": movement.hazard,
            })
        }).collect::<Vec<_>>(),
        "note": row.note.as_ref().map(|note| &note.english),
        "words": row.words.english,
        "wait_ms": row.wait_ms,
        "takes_ms": course.takes_ms,
        "rests": course.rests,
        "lamps": course.lamps.iter().map(|lamp| json!({
            "label": lamp.label,
            "words": lamp.words,
            "due": match due_word(lamp.due) { "either way" => "may_vary", word => word },
            "changed": lamp.changed,
            "named": lamp.named,
        })).collect::<Vec<_>>(),
        "measure": row.measure.as_ref().map(|measure| json!({
            "words": measure.words.english,
            "unit": measure.unit.english,
            "from": measure.from.is_finite().then_some(measure.from),
            "to": measure.to.is_finite().then_some(measure.to),
            "outside": measure.outside.english,
        })),
    })
}

fn record_of(job: &Job<'_>, record: &Record) -> Value {
    let label = |place| job.course.steps.first().and_then(|step| step.lamp(place)).map(|lamp| lamp.label.clone());
    let steps = job.procedure.steps.iter().zip(&record.reports).enumerate();
    json!({
        "finished": record.finished,
        "steps": steps.map(|(index, (row, report))| {
            let (seen, reported) = match &report.seen {
                Seen::NotLooked => ("not_looked", &[][..]),
                Seen::AsDue => ("as_due", &[][..]),
                Seen::Reported(reports) => ("reported", reports.as_slice()),
            };
            let within = |value: f64| row.measure.as_ref().is_some_and(|one| (one.from..=one.to).contains(&value));
            json!({
                "number": index + 1,
                "lamps": seen,
                "reported": reported.iter().map(|report| json!({
                    "label": label(report.place),
                    "state": match report.state {
                        LampState::Lit => "lit",
                        LampState::Dark => "dark",
                        LampState::Flickers => "flickers",
                    },
                })).collect::<Vec<_>>(),
                "measured": report.measured,
                "within": report.measured.map(within),
            })
        }).collect::<Vec<_>>(),
        "deviations": record.deviations.iter().map(|deviation| json!({
            "number": deviation.step + 1,
            "differ": deviation.differ,
            "answer": deviation.answer,
        })).collect::<Vec<_>>(),
    })
}
