//! What there is to learn from an exercise, printed.

use std::fmt::Write as _;

use diagnose::practice::{Exercise, Outcome, Review};
use serde_json::{Value, json};

use crate::commands::call::minutes;
use crate::screen::{BAD, FAINT, GOOD, PLAIN, STRONG, TITLE, padded, paragraph, percent};

/// The look back as text.
pub fn page(review: &Review, width: usize) -> String {
    let mut out = String::new();
    let (word, style) = match review.outcome {
        Outcome::Found => ("Right.", GOOD),
        Outcome::Runs => ("It runs again.", GOOD),
        Outcome::Mistaken => ("That was not it.", BAD),
        Outcome::GivenUp => ("Given up.", STRONG),
    };
    let truth = match review.truth.as_slice() {
        [] => "Nothing was wrong: it waited for you.".to_owned(),
        some => format!("It was: {}.", some.join("; and ")),
    };
    paragraph(&mut out, width, &format!("\n{style}{word}{style:#} "), "", STRONG, &truth);
    for remedy in &review.remedies {
        paragraph(&mut out, width, "  ", "  ", PLAIN, &format!("What puts it right: {remedy}"));
    }
    _ = writeln!(out, "\n{TITLE}Minutes{TITLE:#}");
    let own = match review.outcome {
        Outcome::GivenUp => format!("{}, and not found", minutes(review.minutes)),
        Outcome::Mistaken => format!("{}, and it would still stand", minutes(review.minutes)),
        Outcome::Found | Outcome::Runs => minutes(review.minutes),
    };
    let solves = if review.advice_solves { "" } else { " (it would have given up)" };
    for (what, took) in [
        ("you", own),
        ("the program's own way", format!("{}{solves}", minutes(review.advised_minutes))),
        ("who knows what it is from the start", minutes(review.best_minutes)),
    ] {
        _ = writeln!(out, "  {}{took}", padded(what, 38));
    }
    if !review.advised.is_empty() {
        _ = writeln!(out, "\n{TITLE}What the program would have done{TITLE:#}");
        for (number, (words, took)) in review.advised.iter().enumerate() {
            let text = format!("{words} ({})", minutes(*took));
            paragraph(&mut out, width, &format!("  {}. ", number + 1), "     ", PLAIN, &text);
        }
    }
    if !review.told_nothing.is_empty() {
        _ = writeln!(out, "\n{TITLE}Told you nothing new{TITLE:#}");
        for one in &review.told_nothing {
            let text = format!("{} ({})", one.words, minutes(one.minutes));
            paragraph(&mut out, width, &format!("  step {}: ", one.step + 1), "    ", PLAIN, &text);
        }
    }
    if !review.lamps.is_empty() || review.silent_lamps > 0 {
        _ = writeln!(out, "\n{TITLE}What the lamps said{TITLE:#}");
        for one in &review.lamps {
            let expected = match one.expected {
                Some(true) => ", lit when nothing is wrong",
                Some(false) => ", dark when nothing is wrong",
                None => "",
            };
            let factor = one.bits.abs().min(20.0).exp2();
            let factor = if factor < 10.0 { format!("{factor:.1}") } else { format!("{factor:.0}") };
            let what = if one.bits > 0.0 { "more" } else { "less" };
            let words = if one.words.is_empty() { String::new() } else { format!(" ({})", one.words) };
            let text = format!("{}{words}{expected}: makes what it was {factor} times {what} probable", one.lamp);
            paragraph(&mut out, width, "  ", "    ", PLAIN, &text);
        }
    }
    if review.silent_lamps > 0 {
        let text = match (review.silent_lamps, review.lamps.is_empty()) {
            (1, _) => "One other lamp that you read says little about it or nothing.".to_owned(),
            (many, true) => format!("None of the {many} lamps that you read says much about it."),
            (many, false) => format!("The other {many} lamps that you read say little about it or nothing."),
        };
        paragraph(&mut out, width, "  ", "  ", FAINT, &text);
    }
    if !review.known.is_empty() {
        _ = writeln!(out, "\n{TITLE}What could be known at the end{TITLE:#}");
        for (words, probability) in &review.known {
            paragraph(&mut out, width, &format!("  {:>7}  ", percent(*probability)), "           ", PLAIN, words);
        }
    }
    out
}

/// The look back, and what was done, as a document.
pub fn document(exercise: &Exercise<'_>, review: &Review) -> Value {
    json!({
        "schema": "lampwise.practice/1",
        "machine": exercise.machine().name,
        "level": exercise.level(),
        "exercise": exercise.number(),
        "opening": exercise.opening(),
        "done": exercise.done().iter().map(|one| json!({
            "key": one.key,
            "words": one.words,
            "minutes": one.minutes,
            "seen": one.seen,
        })).collect::<Vec<_>>(),
        "review": review,
    })
}
