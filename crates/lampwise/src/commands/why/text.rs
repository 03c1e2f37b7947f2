//! The answer as a page for people: the fact first, then where it stands, then
//! what it can be, then what else is worth knowing.

use std::fmt::Write as _;

use diagnose::answer::{Answer, Cause, Fact, Need, NeedState, StandingPoint};
use diagnose::evidence::Evidence;
use diagnose::reading::{describe_checks, describe_deeds, describe_lamps, describe_positions, event_words};
use diagnose::wording;
use machine::id::{Id, RoutineId};

use super::Finding;
use crate::commands::call::{minutes, said_before, sentence};
use crate::screen::{BAD, FAINT, GOOD, LIT, PLAIN, STRONG, TITLE, bar, padded, paragraph, percent};

/// Causes that are listed unless all are asked for.
const LISTED: usize = 8;
/// Causes below this are only counted, unless all are asked for.
const WORTH_A_LINE: f64 = 0.005;
/// Members that are listed under a cause, unless all are asked for.
const MEMBERS: usize = 4;
/// Columns of a bar.
const BAR: usize = 9;
/// Where the text behind number and bar begins.
const INDENT: &str = "                     ";

/// The whole page.
pub fn page(finding: &Finding<'_>, width: usize) -> String {
    let mut out = String::new();
    head(&mut out, finding, width);
    if let Some(fact) = &finding.answer.fact {
        needs(&mut out, fact, finding.evidence, width);
    }
    standing(&mut out, &finding.answer, width);
    causes(&mut out, finding, width);
    doubts(&mut out, finding, width);
    open(&mut out, &finding.answer, width);
    next(&mut out, finding, width);
    foot(&mut out, finding, width);
    out
}

fn head(out: &mut String, finding: &Finding<'_>, width: usize) {
    let machine = finding.machine;
    let mut title = machine.name.clone();
    if let (Some(revision), true) = (&machine.revision, finding.extent.alternatives == 1) {
        _ = write!(title, ", revision {revision}");
    }
    _ = writeln!(out, "{STRONG}{title}{STRONG:#}");
    for (what, text) in understood(finding) {
        let first = format!("  {} ", padded(what, 10));
        paragraph(out, width, &first, "             ", FAINT, &text);
    }
    if let (Some(routine), true) = (finding.routine.routine, finding.routine.guessed) {
        let name = &machine.routines[routine].name;
        let text = format!("taken as part of the routine \"{name}\"; --routine names another");
        paragraph(out, width, "             ", "             ", FAINT, &text);
    }
    out.push('\n');
}

/// What was understood, part by part, in the program's words.
pub fn understood(finding: &Finding<'_>) -> Vec<(&'static str, String)> {
    let Finding { machine, evidence, .. } = finding;
    let routine = finding.routine.routine.unwrap_or(RoutineId::new(0));
    let mut parts = Vec::new();
    if let Some(complaint) = evidence.complaint {
        parts.push(("complaint", wording::complaint(complaint).to_owned()));
    }
    if let Some(cycles) = evidence.once_in {
        parts.push(("how often", format!("once in {cycles} cycles")));
    }
    if let Some(hours) = evidence.hours_since_well {
        parts.push(("ran well", format!("{hours} running hours ago")));
    }
    if let Some(most) = evidence.most_at_once {
        parts.push(("at once", format!("up to {most} things that are wrong")));
    }
    if !evidence.recently.is_empty() {
        let events: Vec<&str> = evidence.recently.iter().map(|event| event_words(*event)).collect();
        parts.push(("recently", events.join(", ")));
    }
    for (index, moment) in evidence.moments.iter().enumerate() {
        let mut part = |what, text: String| {
            if !text.is_empty() {
                parts.push((what, text));
            }
        };
        part(if index == 0 { "done" } else { "then" }, describe_deeds(machine, routine, &moment.deeds));
        let tried: Vec<String> =
            moment.remedies.iter().map(|remedy| machine.remedies[*remedy].words.english.clone()).collect();
        part("tried", tried.join("; "));
        part("lamps", describe_lamps(machine, &moment.lamps));
        part("seen", describe_positions(machine, &moment.positions));
        part("found", describe_checks(machine, &moment.checks));
    }
    if parts.is_empty() {
        parts.push(("reported", "nothing; this is what to expect of any call".to_owned()));
    }
    parts
}

fn needs(out: &mut String, fact: &Fact, evidence: &Evidence, width: usize) {
    let what = if fact.is_start { "Start needs".to_owned() } else { format!("To leave \"{}\" it needs", fact.of) };
    _ = writeln!(out, "{TITLE}{what}{TITLE:#}");
    let somebody_saw = evidence.moments.last().is_some_and(|moment| !moment.lamps.is_empty());
    for need in &fact.needs {
        let (mark, style, note) = match (need.state, need.reported) {
            (NeedState::Met, true) => ("✓", GOOD, ""),
            (NeedState::Met, false) if somebody_saw => ("✓", GOOD, " — not reported, but probably so"),
            (NeedState::Met, false) => ("✓", GOOD, " — probably so"),
            (NeedState::Missing, true) => ("✗", BAD, ""),
            (NeedState::Missing, false) => ("✗", BAD, " — not reported; probably missing"),
            (NeedState::ByHand, _) => ("·", FAINT, " — by hand, for a moment"),
        };
        let first = format!("  {style}{mark}{style:#} ");
        paragraph_marked(out, width, &first, &format!("{}{note}", need.words), style);
    }
    paragraph(out, width, "", "", STRONG, &verdict(fact));
    out.push('\n');
}

/// Which of the needs are missing, as lamps that are seen.
fn verdict(fact: &Fact) -> String {
    // A need that is one lamp is told by its label and how it is; all else in full.
    let told = |need: &Need| -> (String, &'static str) {
        let shown = need.lamp.as_ref().and_then(|lamp| Some((lamp, need.words.strip_prefix(lamp.as_str())?)));
        match shown {
            Some((lamp, rest)) if rest.starts_with(" lit") || rest.starts_with(" on") => (lamp.clone(), "dark"),
            Some((lamp, rest)) if rest.starts_with(" dark") || rest.starts_with(" off") => (lamp.clone(), "lit"),
            _ => (need.words.clone(), "missing"),
        }
    };
    let mut parts: Vec<String> = Vec::new();
    for (reported, state) in
        [true, false].into_iter().flat_map(|said| ["dark", "lit", "missing"].map(|state| (said, state)))
    {
        let missing = fact.needs.iter().filter(|need| need.state == NeedState::Missing && need.reported == reported);
        let names: Vec<String> = missing.map(told).filter(|(_, is)| *is == state).map(|(name, _)| name).collect();
        if !names.is_empty() {
            let is = if names.len() == 1 { "is" } else { "are" };
            let sure = if reported { "" } else { "not reported, but probably " };
            parts.push(format!("{} {is} {sure}{state}", wording::list(&names)));
        }
    }
    let guessed = fact.needs.iter().any(|need| need.state == NeedState::Met && !need.reported);
    match (parts.is_empty(), guessed) {
        (true, true) => "Of these nothing is missing, as far as is known.".to_owned(),
        (true, false) => "Of these nothing is missing.".to_owned(),
        (false, _) => format!("Of these {}.", wording::list(&parts)),
    }
}

/// A paragraph behind a mark that takes one column, whatever its colours.
fn paragraph_marked(out: &mut String, width: usize, first: &str, text: &str, style: anstyle::Style) {
    let mut body = String::new();
    paragraph(&mut body, width, "    ", "    ", if style == BAD { STRONG } else { PLAIN }, text);
    out.push_str(first);
    out.push_str(body.strip_prefix("    ").unwrap_or(&body));
}

fn standing(out: &mut String, answer: &Answer, width: usize) {
    if answer.standing.is_empty() {
        return;
    }
    _ = writeln!(out, "{TITLE}Where it stands{TITLE:#}");
    let mut rest = 1.0;
    for point in answer.standing.iter().filter(|point| point.probability >= 0.02).take(4) {
        rest -= point.probability;
        let first = format!("  {:>7}  ", percent(point.probability));
        paragraph(out, width, &first, "           ", STRONG, &place(point));
        for held in &point.held_by {
            paragraph(out, width, "           ", "             ", PLAIN, &format!("held, because it needs {held}"));
        }
        for wait in &point.waits_for {
            let waits = match wait.conditions.as_slice() {
                [] => "nothing keeps it from going on".to_owned(),
                list => format!("waits for {}", wording::list(list)),
            };
            let text = format!("{waits}, then goes to \"{}\"", wording::list(&wait.to));
            paragraph(out, width, "           ", "             ", PLAIN, &text);
        }
    }
    if rest >= 0.02 {
        let elsewhere = format!("  {:>7}  elsewhere, or something that is not in this machine file", percent(rest));
        _ = writeln!(out, "{FAINT}{elsewhere}{FAINT:#}");
    }
    out.push('\n');
}

fn place(point: &StandingPoint) -> String {
    if point.steps.is_empty() {
        return "the controller does not run its program".to_owned();
    }
    let named: Vec<String> = point
        .steps
        .iter()
        .zip(&point.words)
        .map(|(step, words)| if words.is_empty() || words == step { step.clone() } else { format!("{step} ({words})") })
        .collect();
    format!("in step{} {}", if named.len() > 1 { "s" } else { "" }, wording::list(&named))
}

/// A line of the ranking.
enum Line<'a> {
    Cause(&'a Cause),
    Nothing,
    NotInFile,
}

fn causes(out: &mut String, finding: &Finding<'_>, width: usize) {
    let answer = &finding.answer;
    let mut lines: Vec<(f64, Line<'_>)> =
        answer.causes.iter().map(|cause| (cause.probability, Line::Cause(cause))).collect();
    lines.push((answer.nothing_wrong, Line::Nothing));
    lines.push((answer.not_in_file, Line::NotInFile));
    lines.sort_by(|one, two| two.0.total_cmp(&one.0));
    _ = writeln!(out, "{TITLE}What it can be{TITLE:#}");
    let mut listed = 0;
    let mut unlisted = (0, 0.0);
    for (probability, line) in &lines {
        match line {
            Line::Nothing => {
                let words = "nothing is wrong: it waits for you";
                row(out, width, *probability, words, "everything is as it should be at this point");
            }
            Line::NotInFile => {
                row(out, width, *probability, "something that is not in this machine file", "");
            }
            Line::Cause(cause) if finding.all || (listed < LISTED && *probability >= WORTH_A_LINE) => {
                listed += 1;
                row(out, width, *probability, &cause.words, &reason(cause));
                members(out, width, cause, finding.all);
            }
            Line::Cause(cause) => {
                unlisted.0 += 1;
                unlisted.1 += cause.probability;
            }
        }
    }
    if unlisted.0 > 0 {
        let text = format!("and {} more of {} together; --all lists them", unlisted.0, percent(unlisted.1));
        paragraph(out, width, INDENT, INDENT, FAINT, &text);
    }
    for set in answer.together.iter().filter(|set| set.probability >= 0.02).take(3) {
        let Some((last, others)) = set.words.split_last() else { continue };
        let how = if others.len() == 1 { "both at once" } else { "all at once" };
        row(out, width, set.probability, &format!("{how}: {}; and {last}", others.join("; ")), "");
    }
    out.push('\n');
}

fn row(out: &mut String, width: usize, probability: f64, words: &str, reason: &str) {
    let first = format!("  {:>7}  {LIT}{}{LIT:#} ", percent(probability), bar(probability, BAR));
    let mut body = String::new();
    paragraph(&mut body, width, INDENT, INDENT, STRONG, words);
    out.push_str(&first);
    out.push_str(body.strip_prefix(INDENT).unwrap_or(&body));
    if !reason.is_empty() {
        paragraph(out, width, INDENT, INDENT, PLAIN, reason);
    }
}

fn reason(cause: &Cause) -> String {
    match cause.members.as_slice() {
        [one] if !one.place.is_empty() => format!("{} [{}, {}]", cause.reason, one.key, one.place),
        [one] => format!("{} [{}]", cause.reason, one.key),
        _ => cause.reason.clone(),
    }
}

fn members(out: &mut String, width: usize, cause: &Cause, all: bool) {
    if cause.members.len() < 2 {
        return;
    }
    let count = if all { cause.members.len() } else { MEMBERS };
    let share = |probability: f64| percent(probability / cause.probability);
    // A device that all of them share is named by the headline, as a rule.
    let one_device = cause.members.iter().all(|member| member.device == cause.members[0].device);
    for member in cause.members.iter().take(count) {
        let told = member.device.is_empty() || (one_device && cause.words.contains(&member.device));
        let device = if told { String::new() } else { format!("{}: ", device_beside(&cause.words, &member.device)) };
        let place = if member.place.is_empty() { String::new() } else { format!(", {}", member.place) };
        let text = format!("{device}{} [{}{place}]", member.words, member.key);
        let first = format!("{INDENT}{:>6}  ", share(member.probability));
        paragraph(out, width, &first, &format!("{INDENT}        "), FAINT, &text);
    }
    if cause.members.len() > count {
        let rest: f64 = cause.members[count..].iter().map(|member| member.probability).sum();
        let text = format!("{:>6}  {} more of this kind", share(rest), cause.members.len() - count);
        _ = writeln!(out, "{INDENT}{FAINT}{text}{FAINT:#}");
    }
}

/// A device's name without what the headline says already: "sensor B3 (nozzle is up)" below
/// "X3 (nozzle is up) stays dark" is "sensor B3".
fn device_beside<'d>(headline: &str, device: &'d str) -> &'d str {
    let mut name = device;
    if let Some(open) = name.rfind(" (").filter(|open| headline.contains(&name[open + 1..])) {
        name = &name[..open];
    }
    match name.rsplit_once(' ') {
        Some((kind, tag)) if wording::says(headline, tag) && tag.chars().any(|letter| letter.is_ascii_digit()) => kind,
        _ => name,
    }
}

fn doubts(out: &mut String, finding: &Finding<'_>, width: usize) {
    let answer = &finding.answer;
    if answer.fits_badly {
        let text = "What was reported fits badly with everything in this file: take the readings again before \
                    anything else.";
        paragraph(out, width, "", "", BAD, text);
        // Who is led through a procedure can't say so.
        if answer.larger_sets == 0 && finding.next.is_some() {
            let text = "Should more than two things be wrong at once, --at-once 3 thinks of that.";
            paragraph(out, width, "", "", PLAIN, text);
        }
    }
    for doubtful in &answer.doubtful {
        let text = format!(
            "Look at {} once more: with a probability of {} it was not as reported.",
            doubtful.lamp,
            percent(doubtful.probability)
        );
        paragraph(out, width, "", "", STRONG, &text);
    }
    if answer.fits_badly || !answer.doubtful.is_empty() {
        out.push('\n');
    }
}

fn open(out: &mut String, answer: &Answer, width: usize) {
    if answer.open.is_empty() {
        return;
    }
    _ = writeln!(out, "{TITLE}The file leaves open{TITLE:#}");
    for choice in answer.open.iter().take(4) {
        let first = format!("  {:>7}  ", percent(choice.probability));
        paragraph(out, width, &first, "           ", PLAIN, &choice.choices.join("; "));
    }
    if answer.open.len() > 4 {
        let rest: f64 = answer.open[4..].iter().map(|choice| choice.probability).sum();
        let text = format!("{:>7}  {} more", percent(rest), answer.open.len() - 4);
        _ = writeln!(out, "  {FAINT}{text}{FAINT:#}");
    }
    out.push('\n');
}

fn next(out: &mut String, finding: &Finding<'_>, width: usize) {
    let Some(next) = finding.next.as_ref().filter(|next| !next.proposals.is_empty()) else { return };
    _ = writeln!(out, "{TITLE}Look at next{TITLE:#}");
    for (index, proposal) in next.proposals.iter().enumerate() {
        for text in said_before(proposal) {
            paragraph(out, width, "     ! ", "       ", PLAIN, &text);
        }
        let words = if proposal.on_site { &proposal.technician.english } else { &proposal.words.english };
        let who = if proposal.on_site { "; needs a visit" } else { "" };
        let key = proposal.key.split_once(':').map(|(_, key)| format!(" [{key}]")).unwrap_or_default();
        let text = format!("{} ({}{who}){key}", sentence(words), minutes(proposal.minutes));
        paragraph(out, width, &format!("  {}  ", index + 1), "     ", if index == 0 { STRONG } else { PLAIN }, &text);
    }
    paragraph(out, width, "  ", "  ", FAINT, "`lampwise call` asks, question after question.");
    out.push('\n');
}

fn foot(out: &mut String, finding: &Finding<'_>, width: usize) {
    let (asked, of_file): (Vec<_>, Vec<_>) =
        finding.remarks.iter().partition(|remark| remark.span == machine::Span::default());
    for remark in asked {
        let hint = remark.hint.as_ref().map(|hint| format!("; {hint}")).unwrap_or_default();
        paragraph(out, width, "", "", STRONG, &format!("Note: {}{hint}.", remark.what));
    }
    if !of_file.is_empty() {
        let text = format!("The machine file has {} more remarks: `lampwise lint` shows them.", of_file.len());
        paragraph(out, width, "", "", FAINT, &text);
    }
    let extent = &finding.extent;
    let left_out = percent(finding.answer.left_out);
    let more = match finding.answer.larger_sets {
        0 => format!("three or more at once, {left_out} of the weight before any report, were not"),
        sets => format!(
            "of more at once the {sets} sets that the reports speak for most; the others, {left_out} of the weight \
             before any report, were not"
        ),
    };
    let text = format!("Looked at: {} deviations and {} pairs of them; {more}.", extent.deviations, extent.pairs);
    paragraph(out, width, "", "", FAINT, &text);
    let caution = "The machine builder's manual, lockout rules and local codes come first.";
    paragraph(out, width, "", "", FAINT, caution);
}

#[cfg(test)]
mod tests {
    use super::device_beside;

    #[test]
    fn a_device_below_its_headline_is_named_without_what_that_says() {
        let headline = "I8 (head is up) stays dark";
        assert_eq!(device_beside(headline, "sensor (kind not known) I8 (head is up)"), "sensor (kind not known)");
        assert_eq!(device_beside(headline, "cylinder switch (reed) B3 (head is up)"), "cylinder switch (reed) B3");
        assert_eq!(device_beside(headline, "cable in the machine I8"), "cable in the machine");
        assert_eq!(device_beside(headline, "sensor (kind not known) I80"), "sensor (kind not known) I80");
        assert_eq!(device_beside("fuse F3 is missing", "fuse F3"), "fuse");
        assert_eq!(device_beside("", ""), "");
    }
}
