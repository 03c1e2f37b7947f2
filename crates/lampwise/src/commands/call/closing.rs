//! The end of a call: what it was, what to do, how to find out that it runs, and all of it once more as plain
//! text to be pasted into a mail.

use std::fmt::Write as _;

use diagnose::call::{Ending, Entry, Found, Kind, Record, Session};
use diagnose::next::Announcement;
use machine::caution::{Caution, Doing};
use paper::{Language, entry};

use super::turn::{self, sentence};
use crate::screen::{PLAIN, STRONG, paragraph, percent};

/// The page.
pub fn page(session: &Session, record: &Record, width: usize) -> String {
    let mut out = format!("\n{STRONG}Summary{STRONG:#}\n");
    let machine = session.machine();
    let serial = record.serial.map(|serial| format!(", serial number {serial}")).unwrap_or_default();
    let revision = machine.revision.as_ref().map(|name| format!(", revision {name}")).unwrap_or_default();
    let version =
        if record.version.is_empty() { String::new() } else { format!(" (machine file version {})", record.version) };
    line(&mut out, width, "machine", &format!("{}{revision}{serial}{version}", machine.name));
    said(&mut out, session, width);
    out.push('\n');
    finding(&mut out, session, width);
    verification(&mut out, session, width);
    if session.now().evidence.once_in.is_some() {
        out.push_str("To watch:\n");
        out.push_str(&turn::watch(session, width));
    }
    paragraph(&mut out, width, "", "", PLAIN, Caution::ManualFirst.english());
    out
}

fn said(out: &mut String, session: &Session, width: usize) {
    for (at, said) in session.entries().iter().enumerate() {
        let words = entry::in_words(session.machine(), Language::English, session.entries(), at);
        line(out, width, entry::kind(said.kind, Language::English), &words);
    }
}

fn line(out: &mut String, width: usize, key: &str, text: &str) {
    let first = format!("  {} ", crate::screen::padded(key, 12));
    turn::lead(out, width, &first, 15, PLAIN, text);
}

fn finding(out: &mut String, session: &Session, width: usize) {
    let Some(finding) = session.finding() else {
        paragraph(out, width, "", "", STRONG, "Not settled. So far:");
        for (probability, words) in turn::ranking(session).into_iter().take(4).filter(|(p, _)| *p >= 0.01) {
            turn::lead(out, width, &format!("  {:>7}  ", percent(probability)), 11, PLAIN, &words);
        }
        if let Some(first) = session.advice().proposals.first() {
            for text in turn::said_before(first) {
                paragraph(out, width, "  ! ", "    ", PLAIN, &text);
            }
            let text = format!("Next it would be asked: {}", sentence(turn::spoken(session, first)));
            paragraph(out, width, "", "  ", PLAIN, &text);
        }
        return;
    };
    let title = match finding.ending {
        Ending::Runs => "It runs again.",
        Ending::Sure => "Finding:",
        Ending::Two => &format!("Finding: {} things are wrong at once.", finding.how_many().to_lowercase()),
        Ending::NothingWrong => "Finding: nothing is wrong; it waits for somebody.",
        Ending::NotInFile => "Finding: something that is not in the machine file.",
        Ending::FitsBadly => "No finding: what was reported fits badly with everything in the file.",
        Ending::NeedsVisit => "It needs a visit. Most probable:",
    };
    paragraph(out, width, "", "", STRONG, title);
    let mut cautions: Vec<Caution> = Vec::new();
    if finding.ending == Ending::Two {
        let many = finding.how_many();
        let both = finding.found.first().map_or(0.0, |one| one.probability);
        paragraph(out, width, "  ", "  ", PLAIN, &format!("{many} at once: {}. Most probably these:", percent(both)));
    }
    for found in &finding.found {
        self::found(out, session, found, finding.ending, &mut cautions, width);
    }
    match finding.ending {
        Ending::FitsBadly => {
            let again = match turn::again(session, finding) {
                again if again.is_empty() => {
                    "Take all lamps once more, with somebody else reading them out.".to_owned()
                }
                again => format!("Read once more first: {again}."),
            };
            paragraph(out, width, "  ", "  ", PLAIN, &again);
        }
        Ending::NotInFile => builder(out, session, width),
        Ending::NothingWrong => next_action(out, session, width),
        Ending::NeedsVisit => bring(out, session, width),
        Ending::Sure | Ending::Two if session.advice().needs_visit => bring(out, session, width),
        _ => {}
    }
}

/// One of the things found. Cautions that were said for the one before are not said again.
fn found(out: &mut String, session: &Session, found: &Found, ending: Ending, said: &mut Vec<Caution>, width: usize) {
    let causes = found.causes.join(", or ");
    if !causes.is_empty() {
        let probability = if matches!(ending, Ending::Runs | Ending::Two) {
            String::new()
        } else {
            format!(" ({})", percent(found.probability))
        };
        paragraph(out, width, "  ", "  ", PLAIN, &format!("{}{probability}.", sentence(&causes)));
    }
    let machine = session.machine();
    let remedy = found.remedy.as_ref().and_then(|key| machine.remedies.rows().find(|remedy| remedy.key == *key));
    let Some(remedy) = remedy else { return };
    if ending == Ending::Runs {
        paragraph(out, width, "  ", "  ", PLAIN, &format!("What helped: {}.", remedy.words.english));
    } else {
        for caution in Doing::of_remedy(machine, remedy).cautions() {
            if !said.contains(&caution) {
                paragraph(out, width, "  ! ", "    ", PLAIN, caution.english());
                said.push(caution);
            }
        }
        let proposal = session.advice().proposals.iter().find(|one| one.key == format!("remedy:{}", remedy.key));
        if let Some(moves) = proposal.and_then(|one| Announcement::of(&one.movements)) {
            paragraph(out, width, "  ! ", "    ", PLAIN, &moves.with_probabilities());
        }
        paragraph(out, width, "  ", "  ", PLAIN, &format!("Remedy: {}.", remedy.words.english.trim_end_matches('.')));
    }
    if let Some(part) = &remedy.part {
        let used = if ending == Ending::Runs { "Part used" } else { "Part" };
        paragraph(out, width, "  ", "  ", PLAIN, &format!("{used}: {}.", part.words.english));
    }
}

fn next_action(out: &mut String, session: &Session, width: usize) {
    let (routine, stage) = session.now().leading;
    let row = session.machine().routines.get(routine);
    if let Some(action) = row.and_then(|row| row.actions.get(usize::from(stage))) {
        paragraph(out, width, "  ", "  ", PLAIN, &format!("Next in the routine: {}.", action.words.english));
    }
}

/// What somebody who knows the machine's inside needs.
fn builder(out: &mut String, session: &Session, width: usize) {
    let kinds: Vec<Kind> = session.entries().iter().map(|entry| entry.kind).collect();
    let mut note = vec!["the serial number and what was changed on the machine lately"];
    if !kinds.contains(&Kind::Lamps) {
        note.push("all lamps, with a photograph of the panel");
    } else {
        note.push("a photograph of the panel, to check the lamps above");
    }
    if !kinds.contains(&Kind::Did) {
        note.push("what was done last before it stood still");
    }
    if !kinds.contains(&Kind::Saw) {
        note.push("where everything stands that moves");
    }
    note.push("whether it does the same after power off and on");
    let text = format!("Note for the machine builder: {}.", note.join("; "));
    paragraph(out, width, "  ", "  ", PLAIN, &text);
    if let Some(point) = session.now().answer.standing.first().filter(|point| point.probability >= 0.05) {
        let text = format!("By the lamps it stands in {} ({}).", point.steps.join(" and "), percent(point.probability));
        paragraph(out, width, "  ", "  ", PLAIN, &text);
    }
}

fn bring(out: &mut String, session: &Session, width: usize) {
    let advice = &session.advice();
    if advice.bring.is_empty() {
        paragraph(out, width, "  ", "  ", PLAIN, "No part is likely to be needed; bring tools and a meter.");
        return;
    }
    let mut parts: Vec<(&str, usize, f64)> = Vec::new();
    for one in &advice.bring {
        match parts.iter_mut().find(|(part, ..)| *part == one.part) {
            Some((_, count, _)) => *count += 1,
            None => parts.push((&one.part, 1, one.probability)),
        }
    }
    let parts: Vec<String> = parts
        .into_iter()
        .map(|(part, count, probability)| match count {
            1 => format!("{part} ({})", percent(probability)),
            _ => format!("{count} × {part} ({} or less each)", percent(probability)),
        })
        .collect();
    let text = format!(
        "Bring: {}. That is enough for one visit with a chance of {}.",
        parts.join("; "),
        percent(advice.bring_enough)
    );
    paragraph(out, width, "  ", "  ", PLAIN, &text);
}

fn verification(out: &mut String, session: &Session, width: usize) {
    let settled = session.finding().is_some_and(|finding| {
        matches!(finding.ending, Ending::Runs | Ending::Sure | Ending::Two | Ending::NeedsVisit)
    });
    let it = session.verification();
    let steps: Vec<&str> = it.steps.iter().map(|step| step.english.as_str()).collect();
    let Some((last, before)) = steps.split_last().filter(|_| settled) else { return };
    let mut text = String::from("To verify: ");
    if !before.is_empty() {
        _ = write!(text, "{}. ", before.join(", "));
        if !it.lit_before.is_empty() {
            _ = write!(text, "Lit must be {}, all others dark. ", it.lit_before.join(" "));
        }
    }
    if !it.moves.is_empty() {
        _ = write!(text, "Everybody clear, this will move: {}. ", it.moves.join("; "));
    }
    let then = if before.is_empty() { "" } else { "Then " };
    _ = write!(text, "{then}{last}. ");
    if it.takes_ms >= 2_500 {
        _ = write!(text, "After {} ", turn::minutes(it.takes_ms as f64 / 60_000.0));
    } else {
        text.push_str("Then ");
    }
    if it.lit_after.is_empty() {
        text.push_str("all lamps must be dark");
    } else {
        _ = write!(text, "lit must be {}", it.lit_after.join(" "));
    }
    if !it.blink_after.is_empty() {
        _ = write!(text, ", and {} blink", it.blink_after.join(" "));
    }
    text.push_str(if it.lit_after.is_empty() { "." } else { ", all others dark." });
    paragraph(out, width, "", "  ", PLAIN, &sentence(&text));
}

/// The entry of a call as shown when it is replayed.
pub fn replayed(entry: &Entry) -> String {
    format!("{STRONG}> {entry}{STRONG:#}\n")
}
