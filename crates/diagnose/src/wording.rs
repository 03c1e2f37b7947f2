//! Conditions, lamps and situations in words.

use crate::evidence::{Complaint, LampState};
use crate::panel::place_of;
use machine::model::{LampKind, ProgramFact};
use machine::{Condition, Machine};

/// Switching off and on, as one is told to do it.
pub const POWER_CYCLE: &str = "switch the machine off, wait ten seconds, switch it on again";

/// A number for people.
///
/// ```
/// assert_eq!(diagnose::wording::number(-5.0), "\u{2212}5");
/// assert_eq!(diagnose::wording::number(2.5), "2.5");
/// ```
#[must_use]
pub fn number(value: f64) -> String {
    with_minus(&value.to_string())
}

/// A text in which a number below nought has a true minus sign; a hyphen there is read as a dash between two numbers.
/// What is no sign stays: "5-10", "X-3".
#[must_use]
pub fn with_minus(text: &str) -> String {
    let mut before = ' ';
    let mut letters = text.chars().peekable();
    let mut signed = String::with_capacity(text.len());
    while let Some(letter) = letters.next() {
        let number_follows = letters.peek().is_some_and(char::is_ascii_digit);
        let sign = letter == '-' && number_follows && !before.is_alphanumeric();
        signed.push(if sign { '\u{2212}' } else { letter });
        before = letter;
    }
    signed
}

/// A complaint in words.
#[must_use]
pub fn complaint(complaint: Complaint) -> &'static str {
    match complaint {
        Complaint::WontStart => "it won't start",
        Complaint::StopsMidway => "it stops midway",
        Complaint::WontFinish => "it won't finish",
        Complaint::WrongResult => "the result is wrong",
    }
}

/// A probability in at most six columns, never rounded to certainty.
///
/// ```
/// assert_eq!(diagnose::wording::percent(0.004), "0.4 %");
/// ```
#[must_use]
pub fn percent(probability: f64) -> String {
    match probability * 100.0 {
        p if p >= 99.95 => ">99.9 %".to_owned(),
        p if p >= 99.0 => format!("{p:.1} %"),
        p if p >= 9.95 => format!("{p:.0} %"),
        p if p >= 0.095 => format!("{p:.1} %"),
        p if p > 0.0 => "<0.1 %".to_owned(),
        _ => "0 %".to_owned(),
    }
}

/// What a lit lamp means; empty for status lamps and spare ones.
#[must_use]
pub fn lamp_meaning<'m>(machine: &'m Machine, kind: &LampKind) -> &'m str {
    match kind {
        LampKind::Input(input) => &machine.inputs[*input].words.english,
        LampKind::Output(output) => &machine.outputs[*output].words.english,
        _ => "",
    }
}

/// What a lamp means as it was seen: its words say what a lit one means, so that a dark one means that it is not so. Empty as
/// [`lamp_meaning`] is.
#[must_use]
pub fn lamp_meaning_as(machine: &Machine, kind: &LampKind, state: LampState) -> String {
    match (lamp_meaning(machine, kind), state) {
        ("", _) => String::new(),
        (words, LampState::Dark) => not_so(words),
        (words, LampState::Lit | LampState::Flickers) => words.to_owned(),
    }
}

/// Without the "not" a dark lamp would read as its opposite.
fn not_so(words: &str) -> String {
    format!("not: {words}")
}

/// A duration as people say it.
#[must_use]
pub fn duration(ms: u64) -> String {
    match ms {
        0..1_000 => format!("{ms} ms"),
        1_000..120_000 if ms.is_multiple_of(1_000) => format!("{} s", ms / 1_000),
        1_000..120_000 => format!("{:.1} s", ms as f64 / 1_000.0),
        _ if ms.is_multiple_of(60_000) => format!("{} min", ms / 60_000),
        _ => format!("{} min {} s", ms / 60_000, ms % 60_000 / 1_000),
    }
}

/// A fact that the program knows, or its opposite, in words.
#[must_use]
pub fn fact(machine: &Machine, fact: ProgramFact, wanted: bool) -> String {
    let not = if wanted { "" } else { "not " };
    let means = |words: &str| if wanted { words.to_owned() } else { not_so(words) };
    match fact {
        ProgramFact::Input(input) => {
            let row = &machine.inputs[input];
            format!("{} {} ({})", row.label, if wanted { "lit" } else { "dark" }, means(&row.words.english))
        }
        ProgramFact::Output(output) => {
            let row = &machine.outputs[output];
            let name = row.label.as_deref().unwrap_or(&row.tag);
            format!("{name} {} ({})", if wanted { "on" } else { "off" }, means(&row.words.english))
        }
        ProgramFact::Step(step) => format!("step \"{}\" {not}active", machine.step_name(step)),
        ProgramFact::StepFor(step, ms) => {
            if wanted {
                format!("{} in step \"{}\"", duration(ms), machine.step_name(step))
            } else {
                format!("less than {} in step \"{}\"", duration(ms), machine.step_name(step))
            }
        }
        ProgramFact::Latch(latch) => {
            let row = &machine.latches[latch];
            let name = if row.words.english.is_empty() { &row.name } else { &row.words.english };
            format!("\"{name}\" {not}set")
        }
        ProgramFact::Counted(counter, n) => {
            let row = &machine.counters[counter];
            format!("{} {} {n}", row.name, if wanted { "at least" } else { "below" })
        }
        ProgramFact::Rises(edge) => format!("{not}{}", edge_words(machine, &machine.edges[edge], true)),
        ProgramFact::Falls(edge) => format!("{not}{}", edge_words(machine, &machine.edges[edge], false)),
    }
}

/// The moment at which a condition becomes true, or ceases to be.
fn edge_words(machine: &Machine, condition: &Condition<ProgramFact>, rising: bool) -> String {
    if let Condition::Fact(ProgramFact::Input(input)) = condition {
        let row = &machine.inputs[*input];
        return format!("{} {} ({})", row.label, if rising { "lights up" } else { "goes dark" }, row.words.english);
    }
    format!("at the moment of: {}", write_condition(machine, condition, rising, true))
}

/// A condition in words.
#[must_use]
pub fn condition(machine: &Machine, whole: &Condition<ProgramFact>) -> String {
    write_condition(machine, whole, true, false)
}

fn write_condition(machine: &Machine, whole: &Condition<ProgramFact>, wanted: bool, inside: bool) -> String {
    match whole {
        Condition::Always(value) => (if *value == wanted { "always" } else { "never" }).to_owned(),
        Condition::Fact(one) => fact(machine, *one, wanted),
        Condition::Not(inner) => write_condition(machine, inner, !wanted, inside),
        Condition::All(list) | Condition::Any(list) => {
            let all = matches!(whole, Condition::All(_)) == wanted;
            let parts: Vec<_> = list.iter().map(|part| write_condition(machine, part, wanted, true)).collect();
            let text = parts.join(if all { " and " } else { " or " });
            if inside && list.len() > 1 { format!("({text})") } else { text }
        }
    }
}

/// The label of the lamp that shows a fact, if one does.
#[must_use]
pub fn lamp_of(machine: &Machine, fact: ProgramFact) -> Option<String> {
    let place = match fact {
        ProgramFact::Input(input) => {
            place_of(machine, |kind| matches!(kind, LampKind::Input(which) if *which == input))?
        }
        ProgramFact::Output(output) => {
            place_of(machine, |kind| matches!(kind, LampKind::Output(which) if *which == output))?
        }
        _ => return None,
    };
    Some(place.label(machine).to_owned())
}

/// Whether a text holds a name as a word of its own.
///
/// ```
/// assert!(diagnose::wording::says("sensor I8 (head is up)", "I8"));
/// assert!(!diagnose::wording::says("sensor I80", "I8"));
/// ```
#[must_use]
pub fn says(text: &str, name: &str) -> bool {
    let apart = |letter: Option<char>| letter.is_none_or(|letter| !letter.is_alphanumeric() && letter != '_');
    let mut places = text.match_indices(name);
    !name.is_empty()
        && places.any(|(at, _)| apart(text[..at].chars().next_back()) && apart(text[at + name.len()..].chars().next()))
}

/// Names joined as in a sentence: "a", "a and b", "a, b and c".
#[must_use]
pub fn list(names: &[String]) -> String {
    match names {
        [] => String::new(),
        [one] => one.clone(),
        [first @ .., last] => format!("{} and {last}", first.join(", ")),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn probabilities_are_short_and_never_round_to_certainty() {
        let shown = [1.0, 0.9995, 0.995, 0.62, 0.0995, 0.004, 0.000_01, 0.0].map(percent);
        assert_eq!(shown, [">99.9 %", ">99.9 %", "99.5 %", "62 %", "10 %", "0.4 %", "<0.1 %", "0 %"]);
    }

    #[test]
    fn a_dark_lamp_says_that_it_is_not_so() {
        let machine =
            machine::load_str("jar-filler.toml", include_str!("../../../demos/jar-filler.toml")).unwrap_or_default();
        let found = machine.inputs.iter().find(|(_, row)| row.label == "X11").map(|(id, _)| id);
        let meaning = |state| found.map(|id| lamp_meaning_as(&machine, &LampKind::Input(id), state));
        assert_eq!(meaning(LampState::Lit).as_deref(), Some("product tank is low"));
        assert_eq!(meaning(LampState::Dark).as_deref(), Some("not: product tank is low"));
        let needed = found.map(|id| fact(&machine, ProgramFact::Input(id), false));
        assert_eq!(needed.as_deref(), Some("X11 dark (not: product tank is low)"));
        assert_eq!(lamp_meaning_as(&machine, &LampKind::Unused, LampState::Dark), "");
    }

    #[test]
    fn only_signs_become_minus_signs() {
        for (typed, shown) in
            [("-5 to 15 mm", "−5 to 15 mm"), ("5-10", "5-10"), ("X-3, (-2.5)", "X-3, (−2.5)"), ("-", "-")]
        {
            assert_eq!(with_minus(typed), shown);
        }
        assert_eq!(number(-0.5), "−0.5");
    }

    #[test]
    fn durations_read_as_spoken() {
        assert_eq!(duration(250), "250 ms");
        assert_eq!(duration(1_500), "1.5 s");
        assert_eq!(duration(4_000), "4 s");
        assert_eq!(duration(600_000), "10 min");
        assert_eq!(duration(150_000), "2 min 30 s");
    }

    #[test]
    fn lists_read_as_spoken() {
        let names = |n: usize| (0..n).map(|i| format!("X{i}")).collect::<Vec<_>>();
        assert_eq!(list(&names(0)), "");
        assert_eq!(list(&names(1)), "X0");
        assert_eq!(list(&names(3)), "X0, X1 and X2");
    }
}
