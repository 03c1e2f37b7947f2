//! The complaint, from its short name or from what people say, and back.

use std::fmt;
use std::sync::LazyLock;

use super::mistake::{MistakeKind, Mistakes, ReadingError, listed};
use super::phrase::Phrases;
use super::unit::units;
use crate::evidence::Complaint;

const SHORT_NAMES: [(Complaint, &str); 4] = [
    (Complaint::WontStart, "wont-start"),
    (Complaint::StopsMidway, "stops-midway"),
    (Complaint::WontFinish, "wont-finish"),
    (Complaint::WrongResult, "wrong-result"),
];

// The German and Spanish phrases were not reviewed by native speakers.
const SAID: [(Complaint, &str); 12] = [
    (
        Complaint::WontStart,
        "wont start, will not start, does not start, doesnt start, not starting, cant start, cannot start, can not start, didnt start, did not start, would not start, wouldnt start, never starts, fails to start, refuses to start, no start, start does nothing, nothing happens, wont begin, does not begin, doesnt begin, wont run, does not run, doesnt run, wont go, does not go, doesnt go, dead",
    ),
    (
        Complaint::WontStart,
        "startet nicht, lauft nicht an, lauft nicht, geht nicht an, beginnt nicht, nichts passiert, tut nichts, tut sich nichts",
    ),
    (Complaint::WontStart, "no arranca, no empieza, no inicia, no se inicia, no comienza, no hace nada, no pasa nada"),
    (
        Complaint::StopsMidway,
        "stops midway, stopped midway, stops halfway, stopped halfway, stops half way, stopped half way, stops in the middle, stopped in the middle, stops partway, stopped partway, stops part way, stopped part way, stuck midway, stuck halfway, stuck half way, stuck in the middle, stops during, stopped during, stands still, stood still, hangs, hung up, got stuck, gets stuck, is stuck, freezes, froze, stops in between, stops mid cycle, stopped mid cycle, midway, halfway",
    ),
    (
        Complaint::StopsMidway,
        "bleibt stehen, bleibt mittendrin stehen, blieb stehen, stehen geblieben, stehengeblieben, hangt, halt mittendrin, stoppt mittendrin, mittendrin",
    ),
    (
        Complaint::StopsMidway,
        "se para a medias, se queda a medias, se detiene a medias, se paro a medias, se quedo a medias, se queda parada, se quedo parada, se para a mitad, se detiene a mitad, a medio camino, se atasca",
    ),
    (
        Complaint::WontFinish,
        "wont finish, will not finish, does not finish, doesnt finish, not finishing, didnt finish, did not finish, never finishes, cant finish, cannot finish, wont end, does not end, doesnt end, never ends, wont complete, does not complete, doesnt complete, does not come to its end, does not come to an end, not quite finished, stops at the end, stops near the end, stops just before the end, almost finishes, nearly finishes",
    ),
    (
        Complaint::WontFinish,
        "wird nicht fertig, kommt nicht zum ende, endet nicht, hort nicht auf, bleibt am ende stehen",
    ),
    (Complaint::WontFinish, "no termina, no acaba, no finaliza, no llega al final, nunca termina, nunca acaba"),
    (
        Complaint::WrongResult,
        "wrong result, bad result, wrong results, bad results, result is wrong, results are wrong, work is wrong, work is not right, not right, comes out wrong, came out wrong, wrong amount, wrong work, bad work, poor result, bad quality, bad parts, wrong parts",
    ),
    (
        Complaint::WrongResult,
        "falsches ergebnis, schlechtes ergebnis, ergebnis falsch, ergebnis stimmt nicht, ergebnis ist falsch, ausschuss",
    ),
    (
        Complaint::WrongResult,
        "resultado equivocado, resultado incorrecto, mal resultado, resultado malo, sale mal, salen mal",
    ),
];

static PHRASES: LazyLock<Phrases<Complaint>> = LazyLock::new(|| {
    let mut phrases = Phrases::default();
    for (complaint, list) in SHORT_NAMES.iter().chain(&SAID) {
        list.split(", ").for_each(|phrase| phrases.add(phrase, *complaint));
    }
    phrases
});

impl fmt::Display for Complaint {
    /// The short name: `wont-start`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(SHORT_NAMES.iter().find(|(complaint, _)| complaint == self).map_or("", |(_, name)| name))
    }
}

/// Reads a complaint: one of the short names (`wont-start`, `stops-midway`,
/// `wont-finish`, `wrong-result`) or a sentence that says it.
///
/// ```
/// use diagnose::evidence::Complaint;
/// use diagnose::reading::read_complaint;
/// assert_eq!(read_complaint("It won't start!"), Ok(Complaint::WontStart));
/// assert_eq!(Complaint::StopsMidway.to_string(), "stops-midway");
/// ```
///
/// # Errors
/// One mistake, if the text says none of the complaints, or more than one.
pub fn read_complaint(text: &str) -> Result<Complaint, Vec<ReadingError>> {
    let mut mistakes = Mistakes::check_length(text)?;
    let units = units(text);
    let mut found: Option<(Complaint, std::ops::Range<usize>)> = None;
    let mut at = 0;
    while at < units.len() {
        // "the", "it" and the like may stand inside; they say nothing.
        let matched =
            PHRASES.longest(&units, at, |unit| matches!(unit, "the" | "it" | "its" | "at" | "right" | "just" | "up"));
        let Some((count, [complaint, ..])) = matched else {
            at += 1;
            continue;
        };
        let span = units[at].span.start..units[at + count - 1].span.end;
        at += count;
        match &found {
            Some((before, _)) if before == complaint => {}
            Some((before, place)) => {
                let both = listed(&[before.to_string(), complaint.to_string()], "or");
                mistakes.push(ReadingError {
                    kind: MistakeKind::Contradiction,
                    span,
                    other: Some(place.clone()),
                    what: "two different complaints are said".to_owned(),
                    hint: format!("choose the one that it is about: {both}"),
                });
                break;
            }
            None => found = Some((*complaint, span)),
        }
    }
    match found {
        Some((complaint, _)) => mistakes.or(complaint),
        None => {
            let names = listed(&SHORT_NAMES.map(|(_, name)| name), "or");
            mistakes.add(
                MistakeKind::NoSuchName,
                0..text.len(),
                "no complaint can be found in this",
                format!("say one of {names}"),
            );
            Err(mistakes.all())
        }
    }
}
