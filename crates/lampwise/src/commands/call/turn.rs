//! A turn of the dialogue as text: what is known, in a few lines, then what to be careful of, what can move, and
//! only then the question with its answers.

use std::fmt::Write as _;

use diagnose::call::{Ending, Finding, Kind, Question, Session, lamps_as};
use diagnose::next::{Announcement, Outcome, Proposal, ToDo};
use machine::model::Who;

use crate::screen::{BAD, FAINT, GOOD, LIT, PLAIN, STRONG, TITLE, bar, columns, padded, paragraph, percent};

/// Causes that are shown each turn.
const SHOWN: usize = 3;
/// Answers that are shown of a question with many.
const ANSWERS: usize = 6;
/// Letters of an answer about all lamps that is shown to choose from.
const LONGEST_LAMPS: usize = 40;

/// The causes, nothing and "not in this file" among them, the most probable first.
pub fn ranking(session: &Session) -> Vec<(f64, String)> {
    let answer = &session.now().answer;
    let mut lines: Vec<(f64, String)> =
        answer.causes.iter().map(|cause| (cause.probability, cause.words.clone())).collect();
    lines.push((answer.nothing_wrong, "nothing is wrong: it waits for you".to_owned()));
    lines.push((answer.not_in_file, "something that is not in this machine file".to_owned()));
    lines.sort_by(|one, other| other.0.total_cmp(&one.0));
    lines
}

/// Lines that a turn should not have more of: what is heard is kept in mind no longer.
const MOST_LINES: usize = 15;

/// What is known, and what is asked. Of what is known so much is shown as leaves the turn short; what is to be
/// said before the question is never left out.
pub fn turn(session: &Session, asked: Option<Question>, width: usize) -> String {
    let mut below = String::new();
    let opening = matches!(asked, Some(Question::Complaint | Question::Did | Question::Lamps));
    if let Some(finding) = session.finding().filter(|_| !opening) {
        verdict(&mut below, session, finding, width);
    }
    match asked {
        Some(asked) => question(&mut below, session, asked, width),
        None => {
            let text = "There is nothing more to ask from here. `finish` ends the call with a summary.";
            paragraph(&mut below, width, "  ", "  ", STRONG, text);
        }
    }
    if opening {
        return below;
    }
    for (causes, stands) in [(SHOWN, true), (SHOWN, false), (2, false), (1, false)] {
        let mut out = String::new();
        known(&mut out, session, width, causes, stands);
        if out.lines().count() + below.lines().count() <= MOST_LINES {
            return out + &below;
        }
    }
    below
}

/// What is known: so many causes, and where it stands.
fn known(out: &mut String, session: &Session, width: usize, causes: usize, stands: bool) {
    for (probability, words) in
        ranking(session).into_iter().take(causes).filter(|(probability, _)| *probability >= 0.005)
    {
        let first = format!("  {:>7}  {LIT}{}{LIT:#} ", percent(probability), bar(probability, 6));
        lead(out, width, &first, 18, PLAIN, &words);
    }
    if !stands {
        return;
    }
    let mut parts = Vec::new();
    if let Some(point) = session.now().answer.standing.first().filter(|point| point.probability >= 0.05) {
        let steps: Vec<String> = (point.steps.iter().zip(&point.words))
            .map(|(step, words)| if words.is_empty() { step.clone() } else { format!("{step} ({words})") })
            .collect();
        parts.push(match steps.as_slice() {
            [] => "The controller does not run its program".to_owned(),
            steps => format!("Stands in {}", steps.join(" and ")),
        });
        if point.probability < 0.95
            && let Some(part) = parts.last_mut()
        {
            _ = write!(part, ", with {}", percent(point.probability));
        }
    }
    if !session.advice().proposals.is_empty() {
        parts.push(format!("about {} until it runs", minutes(session.advice().minutes)));
    }
    if !parts.is_empty() {
        paragraph(out, width, "  ", "  ", FAINT, &format!("{}.", parts.join("; ")));
    }
}

/// What it was, in a line or two, while the call goes on.
fn verdict(out: &mut String, session: &Session, finding: &Finding, width: usize) {
    let causes = |joint: &str| -> String {
        let words: Vec<String> = finding.found.iter().map(|one| one.causes.join(", or ")).collect();
        words.join(joint)
    };
    let (style, text) = match finding.ending {
        Ending::Runs => (GOOD, "It runs again.".to_owned()),
        Ending::Sure => {
            let probability = finding.found.first().map_or(0.0, |one| one.probability);
            (GOOD, format!("Sure enough, with {}: {}.", percent(probability), causes("; ")))
        }
        Ending::Two => {
            let many = finding.how_many();
            (BAD, format!("{many} things seem to be wrong at once: {}.", causes("; and ")))
        }
        Ending::NothingWrong => (GOOD, "Nothing seems to be wrong: it waits for you.".to_owned()),
        Ending::NotInFile => {
            let text = "Something that is not in this machine file leads. `finish` says what to note for the machine \
                        builder.";
            (BAD, text.to_owned())
        }
        Ending::FitsBadly => {
            let again = match again(session, finding) {
                again if again.is_empty() => "take the lamps once more".to_owned(),
                again => format!("look once more at {again}"),
            };
            let text = format!(
                "What was reported fits badly: {again}. Should more than two things be wrong at once, `at-once 3` thinks of that."
            );
            (BAD, text)
        }
        Ending::NeedsVisit => {
            (BAD, "Little more can be learned from there: it needs a visit. `finish` says what to bring.".to_owned())
        }
    };
    paragraph(out, width, "  ", "  ", style, &text);
}

/// The reports to be read again: those in doubt, with their entries.
pub fn again(session: &Session, finding: &Finding) -> String {
    let lamps: Vec<&str> = finding.look_again.iter().map(String::as_str).collect();
    if lamps.is_empty() {
        return String::new();
    }
    let last = session.entries().iter().rposition(|entry| matches!(entry.kind, Kind::Lamps | Kind::Again));
    let entry = last.map(|at| format!(" (entry {})", at + 1)).unwrap_or_default();
    format!("{}{entry}", lamps.join(", "))
}

/// The question, with all that must be said before it.
fn question(out: &mut String, session: &Session, question: Question, width: usize) {
    match question {
        Question::Complaint => {
            ask(out, width, "What is wrong?");
            let list = [
                "it won't start",
                "it stops midway",
                "it won't finish",
                "the result is wrong",
                "it comes and goes, as \"1 in 20 cycles\"",
            ];
            choices(out, width, list.into_iter());
        }
        Question::Did => {
            ask(out, width, "What was done last, before it stood still?");
            let routine = session.now().evidence.routine.unwrap_or(session.now().leading.0);
            if let Some(row) = session.machine().routines.get(routine) {
                choices(out, width, row.actions.iter().map(|one| one.short.as_str()));
            }
        }
        Question::Lamps => {
            let as_read = lamps_as(session.machine());
            ask(out, width, &format!("Which lamps are lit? As \"{as_read}\"."));
        }
        Question::Proposal(number) => {
            if let Some(proposal) = session.advice().proposals.get(number) {
                self::proposal(out, session, proposal, width);
            }
        }
    }
}

fn ask(out: &mut String, width: usize, words: &str) {
    lead(out, width, &format!("  {STRONG}→{STRONG:#} "), 4, STRONG, words);
}

fn proposal(out: &mut String, session: &Session, proposal: &Proposal, width: usize) {
    for text in said_before(proposal) {
        lead(out, width, &format!("  {BAD}!{BAD:#} "), 4, STRONG, &text);
    }
    let words = spoken(session, proposal);
    let who = match proposal.who {
        who if who <= session.now().terms.caller => "",
        Who::Electrician => ", for a person qualified for electrical work",
        _ => ", for a technician",
    };
    ask(out, width, &format!("{} ({}{who})", sentence(words), minutes(proposal.minutes)));
    if let ToDo::Remedy(remedy) = proposal.to_do {
        if let Some(part) = session.machine().remedies.get(remedy).and_then(|row| row.part.as_ref()) {
            paragraph(out, width, "    ", "    ", PLAIN, &format!("Part: {}.", part.words.english));
        }
        paragraph(
            out,
            width,
            "    ",
            "    ",
            PLAIN,
            "Clear the alarm if one is shown, and start as usual: does it run then?",
        );
    }
    // Nobody compares rows of lamp names by ear: long ones are read out.
    let is_long = |answer: &Outcome| answer.words.chars().count() > LONGEST_LAMPS;
    if proposal.to_do == ToDo::Lamps && proposal.answers.iter().take(ANSWERS).any(is_long) {
        let text = format!("Read them out, as \"{}\".", lamps_as(session.machine()));
        paragraph(out, width, "    ", "    ", PLAIN, &text);
        return;
    }
    choices(out, width, proposal.answers.iter().take(ANSWERS).map(|answer| answer.words.as_str()));
    if proposal.answers.len() > ANSWERS {
        out.push_str("    or read them out\n");
    }
}

/// A proposal in the words of whoever does it: what needs a visit is said to whoever comes.
pub fn spoken<'p>(session: &Session, proposal: &'p Proposal) -> &'p str {
    let is_read = session.now().evidence.moments.last().is_some_and(|moment| !moment.lamps.is_empty());
    if proposal.to_do == ToDo::Lamps && !is_read {
        // Something was done since they were read.
        return "Which lamps are lit now?";
    }
    let technician = session.now().terms.caller >= Who::Technician || proposal.on_site;
    if technician { &proposal.technician.english } else { &proposal.words.english }
}

/// What can be answered, each with its number; an answer stays in one line where it fits.
fn choices<'w>(out: &mut String, width: usize, words: impl Iterator<Item = &'w str>) {
    let mut line = String::new();
    for (at, words) in words.enumerate() {
        let choice = format!("{} {words}", at + 1);
        if !line.is_empty() && columns(&line) + columns(&choice) + 3 > width {
            _ = writeln!(out, "{line}");
            line.clear();
        }
        line.push_str(if line.is_empty() { "    " } else { "   " });
        line.push_str(&choice);
        if columns(&line) > width {
            let long = std::mem::take(&mut line);
            paragraph(out, width, "    ", "      ", PLAIN, &long);
        }
    }
    if !line.is_empty() {
        _ = writeln!(out, "{line}");
    }
}

/// Cautions and movements of a proposal, in the order in which they are said.
pub fn said_before(proposal: &Proposal) -> Vec<String> {
    let mut said: Vec<String> = proposal.cautions.iter().map(|caution| caution.english().to_owned()).collect();
    said.extend(Announcement::of(&proposal.movements).map(|one| one.with_probabilities()));
    said
}

/// The other proposals, in a line or two each.
pub fn others(session: &Session, asked: Option<usize>, width: usize) -> String {
    let mut out = String::new();
    let proposals = &session.advice().proposals;
    for (at, proposal) in proposals.iter().enumerate() {
        let letter = ["a", "b", "c", "d", "e"].get(at).copied().unwrap_or("-");
        let mark = if asked == Some(at) { " (asked)" } else { "" };
        let who = if proposal.on_site { ", needs a visit" } else { "" };
        let text = format!(
            "{} ({}{who}; saves {}){mark}",
            sentence(spoken(session, proposal)),
            minutes(proposal.minutes),
            minutes(proposal.saved)
        );
        lead(&mut out, width, &format!("  {STRONG}{letter}{STRONG:#} "), 4, PLAIN, &text);
        for answer in proposal.answers.iter().take(3) {
            let tells: Vec<String> = answer
                .tells
                .iter()
                .take(1)
                .map(|tell| format!("{} {}", tell.words, percent(tell.probability)))
                .collect();
            let first = format!("      {:>7}  ", percent(answer.probability));
            lead(&mut out, width, &first, 15, FAINT, &format!("{}: {}", answer.words, tells.join(", ")));
        }
    }
    if proposals.len() < 2 {
        out.push_str("  There is nothing else that is worth asking.\n");
    } else {
        out.push_str("  A letter asks that one instead.\n");
    }
    out
}

/// Reasons, and what has been ruled out by what.
pub fn why(session: &Session, width: usize) -> String {
    let mut out = String::new();
    let answer = &session.now().answer;
    if let Some(fact) = &answer.fact {
        let missing: Vec<String> = (fact.needs.iter())
            .filter(|need| need.state == diagnose::answer::NeedState::Missing)
            .map(|need| match need.reported {
                true => need.words.clone(),
                false => format!("probably {} (not reported)", need.words),
            })
            .collect();
        let of = if fact.is_start { "Start".to_owned() } else { format!("\"{}\"", fact.of) };
        let text = match missing.as_slice() {
            [] => format!("{of} lacks nothing that was reported."),
            list => format!("{of} lacks: {}.", list.join("; ")),
        };
        paragraph(&mut out, width, "  ", "  ", STRONG, &text);
    }
    for cause in answer.causes.iter().take(SHOWN).filter(|cause| cause.probability >= 0.02) {
        let first = format!("  {:>7}  ", percent(cause.probability));
        lead(&mut out, width, &first, 11, PLAIN, &format!("{}: {}", cause.words, cause.reason));
    }
    let ruled_out = session.ruled_out();
    if ruled_out.is_empty() {
        out.push_str("  Nothing has been ruled out so far.\n");
        return out;
    }
    _ = writeln!(out, "  {TITLE}Ruled out{TITLE:#}");
    for one in ruled_out {
        let entry = session.entries().get(one.entry).map(ToString::to_string).unwrap_or_default();
        let text = format!("{}, by entry {} ({})", one.words, one.entry + 1, short(&entry, 48));
        lead(&mut out, width, &format!("  {:>7}  ", percent(one.before)), 11, PLAIN, &text);
    }
    out
}

/// What was said.
pub fn list(session: &Session, width: usize) -> String {
    let mut out = String::new();
    for (at, entry) in session.entries().iter().enumerate() {
        let first = format!("  {:>3}  {} ", at + 1, padded(entry.kind.word(), 10));
        lead(&mut out, width, &first, 18, PLAIN, &entry.text);
    }
    if session.entries().is_empty() {
        out.push_str("  Nothing has been said so far.\n");
    }
    out
}

/// Lamps to watch for what comes and goes.
pub fn watch(session: &Session, width: usize) -> String {
    let mut out = String::new();
    let (watches, cycle_ms) = session.watch();
    if let Some(cycles) = session.now().evidence.once_in {
        let count = diagnose::call::cycles_to_see(cycles);
        let takes = count.saturating_mul(cycle_ms);
        let text = format!(
            "It comes once in about {cycles} cycles: watch {count} cycles, {}, to see it with a chance of 90 %.",
            minutes(takes as f64 / 60_000.0)
        );
        paragraph(&mut out, width, "  ", "  ", STRONG, &text);
    }
    for watch in watches.iter().take(4) {
        let lamps = watch.lamps.join(" ");
        let together = if watch.lamps.len() > 1 { " (together)" } else { "" };
        let time = match (watch.seconds, watch.cycles) {
            (Some(seconds), Some(cycles)) if watch.by_eye => {
                format!("{} or {cycles} cycles", minutes(seconds / 60.0))
            }
            (Some(_), _) => "too short to be seen by eye".to_owned(),
            (None, _) => "never lit in this routine".to_owned(),
        };
        let text = format!("{lamps}{together}: {time}; would be {}", watch.causes.join(", or "));
        lead(&mut out, width, &format!("  {:>7}  ", percent(watch.probability)), 11, PLAIN, &text);
    }
    if watches.is_empty() {
        out.push_str("  No cause that comes and goes has any weight.\n");
    } else {
        let text = "Note each time: the step it stood in, which lamps went dark and whether together, what else moved or was \
                    touched just then, the clock, and how many cycles it had run.";
        paragraph(&mut out, width, "  ", "  ", PLAIN, text);
    }
    out
}

pub const HELP: &str = "  \
  1, 2, …     the answer with that number; or in words, as \"lit\" or \"X3 off\"
  ?           nobody knows               can't     nobody there can do that
  others      the next best proposals; a letter asks one of them
  why         the reasons, and what has been ruled out by what
  list        what was said; change 3 …, remove 3, undo put it right
  lamps …     also saw …, did …, then …, again …, found …, tried …, recently …,
              complaint …, hours …, routine …, who …, note …: said unasked, any time
  at-once 3   up to three things may be wrong at once (up to 5), not only two
  runs        it runs again              watch     lamps to watch, if it comes and goes
  save FILE   keep the call in a file    finish    end the call, with a summary
";

/// A paragraph behind a lead that takes so many columns, whatever its colours.
pub fn lead(out: &mut String, width: usize, first: &str, indent: usize, style: anstyle::Style, text: &str) {
    let indent = " ".repeat(indent);
    let mut body = String::new();
    paragraph(&mut body, width, &indent, &indent, style, text);
    out.push_str(first);
    out.push_str(body.strip_prefix(indent.as_str()).unwrap_or(&body));
}

/// "2 min", "half a minute", "3 h".
pub fn minutes(minutes: f64) -> String {
    match minutes {
        m if m < 0.75 => format!("{:.0} s", (m * 60.0 / 5.0).round() * 5.0),
        m if m < 10.0 => format!("{} min", (m * 2.0).round() / 2.0),
        m if m < 120.0 => format!("{m:.0} min"),
        m => format!("{:.1} h", m / 60.0),
    }
}

/// With a capital at the beginning.
pub fn sentence(words: &str) -> String {
    let mut letters = words.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}

fn short(text: &str, most: usize) -> String {
    if text.chars().count() <= most {
        return text.to_owned();
    }
    text.chars().take(most - 1).chain(['…']).collect()
}
