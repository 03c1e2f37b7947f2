//! The answer as a document: `lampwise.why/1`.

use serde_json::{Value, json};

use super::Finding;
use crate::commands::call::proposal_document as proposal;

/// The document, as `schemas/why.json` describes it.
pub fn document(finding: &Finding<'_>) -> Value {
    let machine = finding.machine;
    let extent = &finding.extent;
    let routine = finding.routine.routine.map(|routine| machine.routines[routine].name.as_str());
    json!({
        "schema": "lampwise.why/1",
        "machine": {
            "name": machine.name,
            "version": machine.version,
            "revision": machine.revision,
        },
        "understood": super::text::understood(finding)
            .into_iter()
            .map(|(what, text)| json!({ "what": what, "text": text }))
            .collect::<Vec<_>>(),
        "recently": finding.evidence.recently.iter().map(|event| event.key()).collect::<Vec<_>>(),
        "routine": routine,
        "routine_guessed": finding.routine.guessed,
        "answer": finding.answer,
        "next": finding.next.as_ref().map(|next| json!({
            "minutes": next.minutes,
            "minutes_without": next.minutes_without,
            "proposals": next.proposals.iter().map(proposal).collect::<Vec<_>>(),
            "needs_visit": next.needs_visit,
            "bring": next.bring,
            "bring_enough": next.bring_enough,
        })),
        "looked_at": {
            "deviations": extent.deviations,
            "pairs": extent.pairs,
            "behaviours": extent.behaviours,
            "runs": extent.runs,
            "situations": extent.situations,
            "alternatives": extent.alternatives,
        },
        "remarks": finding.remarks.iter().map(|remark| remark.to_json(finding.sources)).collect::<Vec<_>>(),
    })
}
