//! What is known in a call, and what to ask, as a document: `lampwise.call/1`.

use diagnose::call::{Question, Record, Session};
use diagnose::next::Proposal;
use machine::model::Who;
use serde_json::{Value, json};

/// The document. `question` is the proposal asked, if it is not the best one.
pub fn document(session: &Session, record: &Record, question: Option<Question>) -> Value {
    let now = session.now();
    let question = question.or_else(|| session.question());
    let (watch, cycle_ms) = match now.evidence.once_in {
        Some(_) => session.watch(),
        None => (Vec::new(), 0),
    };
    let verification = session.finding().map(|_| session.verification());
    json!({
        "schema": "lampwise.call/1",
        "type": "state",
        "machine": { "name": record.machine, "version": record.version, "revision": session.machine().revision },
        "entries": session.entries().iter().enumerate().map(|(at, entry)| json!({
            "number": at + 1,
            "kind": entry.kind.word(),
            "text": entry.text,
        })).collect::<Vec<_>>(),
        "answer": now.answer,
        "minutes": finite(session.advice().minutes),
        "minutes_without": finite(session.advice().minutes_without),
        "question": question.map(|question| asked(session, question)),
        "proposals": session.advice().proposals.iter().map(proposal).collect::<Vec<_>>(),
        "finding": session.finding(),
        "verification": verification,
        "needs_visit": session.advice().needs_visit,
        "bring": session.advice().bring,
        "bring_enough": session.advice().bring_enough,
        "watch": watch,
        "cycle_ms": cycle_ms,
        "once_in": now.evidence.once_in,
        "cycles_to_see": now.evidence.once_in.map(diagnose::call::cycles_to_see),
    })
}

fn finite(number: f64) -> Option<f64> {
    number.is_finite().then_some(number)
}

/// What is asked: its key, and for a proposal all about it.
fn asked(session: &Session, question: Question) -> Value {
    let key = session.key(question);
    match question {
        Question::Proposal(number) => session.advice().proposals.get(number).map_or(Value::Null, proposal),
        Question::Complaint => opening(&key, "What is wrong?"),
        Question::Did => opening(&key, "What was done last, before it stood still?"),
        Question::Lamps => opening(&key, "Which lamps are lit?"),
    }
}

fn opening(key: &str, words: &str) -> Value {
    json!({
        "key": key,
        "words": words,
        "technician": words,
        "minutes": 0.0,
        "who": "operator",
        "on_site": false,
        "saved": 0.0,
        "cautions": [],
        "movements": [],
        "answers": [],
    })
}

/// A proposal.
pub fn proposal(proposal: &Proposal) -> Value {
    json!({
        "key": proposal.key,
        "cautions": proposal.cautions.iter()
            .map(|caution| json!({ "key": caution.key(), "words": caution.english() }))
            .collect::<Vec<_>>(),
        "movements": proposal.movements,
        "words": proposal.words.english,
        "technician": proposal.technician.english,
        "minutes": proposal.minutes,
        "who": match proposal.who {
            Who::Operator => "operator",
            Who::Technician => "technician",
            Who::Electrician => "electrician",
        },
        "on_site": proposal.on_site,
        "saved": proposal.saved,
        "answers": proposal.answers,
    })
}
