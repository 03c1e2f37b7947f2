//! Everything that the page knows, as one document.

use diagnose::digest::Digest;
use diagnose::Diagnoser;
use serde_json::{Value, json};

use super::numbers::WEIGHT_STEPS;
use super::rows::{of_complaints, of_doubt, of_ground};

/// The figures that answers are worked out from.
#[must_use]
pub fn figures(diagnoser: &Diagnoser, digest: &Digest) -> Value {
    json!({
        "weightSteps": WEIGHT_STEPS,
        "doubt": of_doubt(diagnoser.doubt()),
        "complaints": of_complaints(),
        "questions": digest.errors.iter().zip(&digest.answers).map(|(error, answers)| json!({ "error": error, "count": answers })).collect::<Vec<_>>(),
        "causes": digest.causes.iter().map(|cause| json!({ "words": cause.words, "members": cause.members })).collect::<Vec<_>>(),
        "grounds": digest.grounds.iter().map(of_ground).collect::<Vec<_>>(),
    })
}
