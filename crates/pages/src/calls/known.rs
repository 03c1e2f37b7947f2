//! What is known: the missing condition first, where it stands, what it waits for, and the causes with their reasons.

use diagnose::answer::{Answer, Need, NeedState, Wait};
use diagnose::call::{CHANCE, Session, cycles_to_see};
use maud::{Markup, html};

use crate::words::{minutes, percent, share};

/// Causes that are shown; the others are below a fold.
const SHOWN: usize = 5;
/// Ways onward of the likeliest standing that are shown; the others are below a fold.
const WAITS: usize = 2;
/// Sets of lamps to watch that are shown.
const WATCHED: usize = 4;
const MS_IN_A_MINUTE: f64 = 60_000.0;
/// Less probable than this is not shown at all.
const FAR_FETCHED: f64 = 1e-4;

/// All of it.
pub fn known(answer: &Answer) -> Markup {
    html! {
        @if answer.fits_badly {
            p.mistake { "What was reported fits badly with everything in the machine file. Take the readings below in doubt once more first." }
        }
        (fact(answer))
        (standing(answer))
        (causes(answer))
        @if !answer.doubtful.is_empty() {
            h3 { "Readings in doubt" }
            ul.plain { @for one in &answer.doubtful { li { (one.lamp) ": misread with " (percent(one.probability)) } } }
        }
        @if !answer.open.is_empty() {
            details {
                summary { "What the machine file leaves open" }
                ul { @for one in &answer.open { li { (one.choices.join("; ")) " " (share(one.probability)) } } }
            }
        }
        p.aside { "Share of what can be wrong that was not looked at: " (percent(answer.left_out)) }
    }
}

fn fact(answer: &Answer) -> Markup {
    let Some(fact) = &answer.fact else { return html! {} };
    let missing = fact.needs.iter().filter(|need| need.state == NeedState::Missing).count();
    html! {
        section.fact {
            h3 {
                @if fact.is_start { "Start needs" } @else { "To leave " (fact.of) " it needs" }
                @if missing > 0 { " (" (missing) " missing)" }
            }
            ul.plain {
                @for need in &fact.needs {
                    @let (sign, word) = match need.state {
                        NeedState::Met => ("✓", "there"),
                        NeedState::Missing => ("✗", "missing"),
                        _ => ("☞", "by hand"),
                    };
                    li.missing[need.state == NeedState::Missing] {
                        span.sign aria-hidden="true" { (sign) } " " (need.words) " "
                        span.mark { (word) @if !need.reported && need.state != NeedState::ByHand { ", probably" } }
                    }
                }
            }
        }
    }
}

fn standing(answer: &Answer) -> Markup {
    let likely = answer.standing.iter().filter(|point| point.probability >= 0.01).take(3);
    html! {
        h3 { "Where it stands" }
        ul.plain {
            @for (place, point) in likely.enumerate() {
                // What a machine with several charts waits for is long: only that of the likeliest is read at once.
                @let open = if place == 0 { WAITS } else { 0 };
                li {
                    @if point.steps.is_empty() {
                        "the controller does not run its program "
                    } @else {
                        @for (number, (step, words)) in point.steps.iter().zip(&point.words).enumerate() {
                            @if number > 0 { " and " }
                            strong { (step) } @if !words.is_empty() { " (" (words) ")" }
                        }
                        " "
                    }
                    (share(point.probability))
                    @for held in &point.held_by { p.aside { "held by: " (held) } }
                    @for wait in point.waits_for.iter().take(open) { (waits(wait)) }
                    @if point.waits_for.len() > open {
                        details {
                            summary { @if open == 0 { "what it waits for" } @else { "what else it waits for" } }
                            @for wait in point.waits_for.iter().skip(open) { (waits(wait)) }
                        }
                    }
                }
            }
        }
    }
}

fn waits(wait: &Wait) -> Markup {
    html! {
        p.aside {
            @if wait.conditions.is_empty() { "can go on" } @else { "waits for " (wait.conditions.join(" and ")) }
            ", then goes to " (wait.to.join(" and "))
        }
    }
}

/// The most important of it in three short sentences, for a screen on which all of it is further down.
pub fn brief(answer: &Answer) -> Markup {
    let missing: Vec<&Need> =
        (answer.fact.iter()).flat_map(|fact| &fact.needs).filter(|need| need.state == NeedState::Missing).collect();
    let stands = answer.standing.first().filter(|point| !point.steps.is_empty());
    html! {
        p.brief {
            @if !missing.is_empty() {
                @if missing.iter().all(|need| need.reported) { "Missing: " } @else { "Probably missing: " }
                strong { (missing.iter().map(|need| need.words.as_str()).collect::<Vec<_>>().join(", ")) } ". "
            }
            @if let Some(point) = stands { "Stands at " (point.steps.join(" and ")) ". " }
            @if let Some(first) = lines(answer).first() { "Most probably: " (first.words) ", " (percent(first.probability)) "." }
        }
    }
}

/// Lamps to watch where it comes and goes, and for how long.
pub fn watched(session: &Session) -> Markup {
    let Some(once_in) = session.now().evidence.once_in else { return html! {} };
    let (watches, cycle_ms) = session.watch();
    let cycles = cycles_to_see(once_in);
    let takes = cycles.saturating_mul(cycle_ms) as f64 / MS_IN_A_MINUTE;
    html! {
        details {
            summary { "What to watch, as it comes and goes" }
            p { "It comes once in about " (once_in) " cycles: " (cycles) " cycles, " (minutes(takes)) ", show it with " (percent(CHANCE)) "." }
            ul.plain { @for one in watches.iter().take(WATCHED) { li {
                strong { (one.lamps.join(" ")) @if one.lamps.len() > 1 { " (together)" } } ": "
                @match (one.seconds, one.cycles) {
                    (Some(seconds), Some(cycles)) if one.by_eye => { (minutes(seconds / 60.0)) " or " (cycles) " cycles" },
                    (Some(_), _) => "too short to be seen by eye",
                    (None, _) => "never lit in this routine",
                }
                "; would be " (one.causes.join(", or ")) " (" (percent(one.probability)) ")"
            } } }
            p.aside { "Note each time: the step it stood in, which lamps went dark and whether together, what else moved or was touched just then, the clock, and how many cycles it had run." }
        }
    }
}

/// A line of the ranking: how probable, what, why, and what it may be in particular.
struct Line<'a> {
    probability: f64,
    words: &'a str,
    reason: &'a str,
    members: Vec<(f64, String)>,
}

/// What it can be, the most probable first.
fn lines(answer: &Answer) -> Vec<Line<'_>> {
    let mut lines: Vec<Line<'_>> = (answer.causes.iter())
        .map(|cause| Line {
            probability: cause.probability,
            words: &cause.words,
            reason: &cause.reason,
            members: (cause.members.iter())
                .filter(|member| member.probability >= 0.01 * cause.probability)
                .map(|member| (member.probability, member.with_device()))
                .collect(),
        })
        .collect();
    let plain = |probability: f64, words: &'static str| Line { probability, words, reason: "", members: Vec::new() };
    lines.push(plain(answer.nothing_wrong, "nothing is wrong: it waits for you"));
    lines.push(plain(answer.not_in_file, "something that is not in this machine file"));
    lines.sort_by(|one, other| other.probability.total_cmp(&one.probability));
    lines.retain(|line| line.probability >= FAR_FETCHED);
    lines
}

fn causes(answer: &Answer) -> Markup {
    let lines = lines(answer);
    let (first, rest) = lines.split_at(SHOWN.min(lines.len()));
    html! {
        h3 { "What it can be" }
        ol.causes { @for line in first { (cause(line)) } }
        @if !rest.is_empty() {
            details {
                summary { (rest.len()) " more" }
                ol.causes start=(SHOWN + 1) { @for line in rest { (cause(line)) } }
            }
        }
        @if !answer.together.is_empty() && answer.together[0].probability >= 0.01 {
            h3 { "Several at once" }
            ul.plain {
                @for set in answer.together.iter().take(3).filter(|set| set.probability >= 0.005) {
                    li { (share(set.probability)) " " (set.words.join(", and ")) }
                }
            }
        }
    }
}

fn cause(line: &Line<'_>) -> Markup {
    html! {
        li {
            (share(line.probability)) " " span { (line.words) }
            @if !line.reason.is_empty() { p.aside { (line.reason) } }
            @if line.members.len() > 1 {
                details {
                    summary { "in particular" }
                    ul { @for (probability, words) in &line.members { li { (percent(*probability)) " " (words) } } }
                }
            }
        }
    }
}
