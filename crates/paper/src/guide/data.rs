//! Everything that the page knows, as one document.

use diagnose::digest::{Digest, Ground};
use diagnose::{Alternative, Diagnoser};
use serde_json::{Value, json};

use super::numbers::WEIGHT_STEPS;
use super::rows::{of_complaints, of_doubt, of_ground, standings_as_always};
use super::{texts, words};
use crate::language::Language;

/// The document, for the alternatives that the diagnoser was made from; `file` is the fingerprint of the machine file.
pub fn document(alternatives: &[Alternative], diagnoser: &Diagnoser, digest: &Digest, file: &str) -> Option<Value> {
    let machine = &alternatives.first()?.machine;
    let ground = |one: &Ground| {
        let mut value = of_ground(one);
        let (looks, mode) = texts::looks(&alternatives.get(one.alternative)?.machine, one);
        value["looks"] = looks;
        value["mode"] = mode;
        Some(value)
    };
    Some(json!({
        "languages": Language::ALL.map(Language::tag),
        "page": words::page(),
        "machine": machine.name,
        "version": machine.version,
        "revision": machine.revision,
        "lamps": texts::lamps(machine),
        "lampMinutes": diagnose::next::LAMP_MINUTES,
        "routines": texts::routines(diagnoser, machine),
        "questions": texts::questions(machine, digest),
        "remedies": texts::remedies(diagnoser, machine),
        "alternatives": alternatives.iter().map(texts::alternative).collect::<Vec<_>>(),
        "code": texts::of_code(machine, file),
        "weightSteps": WEIGHT_STEPS,
        "doubt": of_doubt(diagnoser.doubt()),
        "complaints": of_complaints(),
        "asAlways": standings_as_always(),
        "causes": causes(alternatives, digest),
        "grounds": digest.grounds.iter().map(ground).collect::<Option<Vec<_>>>()?,
    }))
}

fn causes(alternatives: &[Alternative], digest: &Digest) -> Value {
    let cause = |cause: &diagnose::digest::CauseRow| json!({ "words": words::cause(alternatives, &cause.words, &cause.members), "members": cause.members });
    json!(digest.causes.iter().map(cause).collect::<Vec<_>>())
}
