//! The guesses as the text of a machine file.

use std::collections::BTreeSet;

use super::guess::{Guess, Sort};
use super::table::Direction;

/// Positions that belong together, the one at rest first.
const PAIRS: &[(&str, &str)] = &[
    ("up", "down"),
    ("open", "shut"),
    ("back", "forward"),
    ("left", "right"),
    ("retracted", "extended"),
    ("absent", "present"),
    ("ok", "low"),
    ("ok", "high"),
    ("stopped", "running"),
    ("ok", "tripped"),
    ("not_ok", "ok"),
    ("away", "home"),
    ("off", "on"),
];

/// The machine file.
pub(super) fn machine_file(name: &str, guesses: &[Guess]) -> String {
    let mut text = format!(
        "# A first draft from an I/O list. Everything marked \"please confirm\" was guessed from the words:\n\
         # look at it, put it right, and take the mark away. Then write the sequence at the end.\n\
         format = 1\n\n[machine]\nname = {}\n",
        quoted(name)
    );
    supplies(&mut text, guesses);
    mechanisms(&mut text, guesses);
    text.push_str("\n[inputs]\n");
    for guess in guesses.iter().filter(|guess| guess.row.direction == Direction::Input) {
        text.push_str(&input(guess));
    }
    let outputs: Vec<&Guess> = guesses.iter().filter(|guess| guess.row.direction == Direction::Output).collect();
    if !outputs.is_empty() {
        text.push_str("\n[outputs]\n");
        outputs.iter().for_each(|guess| text.push_str(&output(guess)));
    }
    sequence(&mut text, guesses);
    text
}

fn supplies(text: &mut String, guesses: &[Guess]) {
    text.push_str("\n[supplies]\ndc24 = { is = \"power-supply-24v\" } # please confirm: what feeds the points\n");
    let air = guesses.iter().any(|guess| guess.sort == Sort::Supply || guess.kind.contains("valve"));
    if air {
        text.push_str("air = { is = \"compressed-air\" } # please confirm\n");
    }
}

/// The mechanisms with both their positions; buttons need no line.
fn mechanisms(text: &mut String, guesses: &[Guess]) {
    let mut names: Vec<&str> = Vec::new();
    for guess in guesses.iter().filter(|guess| !matches!(guess.sort, Sort::ButtonMakes | Sort::ButtonBreaks)) {
        if let Some((name, Some(_))) = &guess.about
            && !names.contains(&name.as_str())
        {
            names.push(name);
        }
    }
    if names.is_empty() {
        return;
    }
    text.push_str("\n[mechanisms]\n");
    for name in names {
        let about = guesses.iter().filter(|guess| {
            guess.about.as_ref().is_some_and(|(of, _)| of == name)
                && !matches!(guess.sort, Sort::ButtonMakes | Sort::ButtonBreaks)
        });
        let mut named: BTreeSet<&str> = BTreeSet::new();
        let mut driven = false;
        for guess in about {
            named.extend(guess.about.as_ref().and_then(|(_, position)| position.as_deref()));
            driven |= guess.sort == Sort::Moves;
        }
        let positions: Vec<String> = all_positions(&named).iter().map(|position| quoted(position)).collect();
        let by = if driven { "" } else { ", by = \"hand\"" };
        let mark = if driven {
            "the first position is the one at rest"
        } else {
            "who moves it, the first position is the one at rest"
        };
        text.push_str(&format!("{name} = {{ positions = [{}]{by} }} # please confirm: {mark}\n", positions.join(", ")));
    }
}

/// The named positions in the order of their pair, completed to at least two.
fn all_positions(named: &BTreeSet<&str>) -> Vec<String> {
    let mut all: Vec<String> = Vec::new();
    let mut add = |position: &str| {
        if !all.iter().any(|known| known == position) {
            all.push(position.to_string());
        }
    };
    let both = PAIRS.iter().find(|(one, two)| named.contains(one) && named.contains(two));
    let either = PAIRS.iter().find(|(one, two)| named.contains(one) || named.contains(two));
    let pair = both.or(if named.len() == 1 { either } else { None });
    if let Some((one, two)) = pair {
        add(one);
        add(two);
    }
    named.iter().for_each(|position| add(position));
    all
}

fn input(guess: &Guess) -> String {
    let row = &guess.row;
    let label = key(&row.address);
    if guess.spare {
        return format!("{label} = \"spare\" # please confirm: nothing is wired to it\n");
    }
    let (lit, mark) = match (&guess.about, guess.sort) {
        (Some((name, _)), Sort::ButtonMakes) => (format!("{name} = pressed"), "type and button"),
        (Some((name, _)), Sort::ButtonBreaks) => {
            (format!("{name} = released"), "type, and that it is dark while pressed")
        }
        (Some((name, None)), _) => (name.clone(), "type and supply"),
        (Some((name, Some(position))), _) => (format!("{name} = {position}"), "type, mechanism and position"),
        (None, _) => (format!("signal_{} = on", row.address.to_lowercase().replace(['.', ':'], "_")), "what it shows"),
    };
    let parts = vec![
        tag(row.tag.as_str()),
        Some(format!("is = {}", quoted(&guess.kind))),
        Some(format!("lit = {}", quoted(&lit))),
        words(&row.words),
    ];
    line(&label, parts, mark)
}

fn output(guess: &Guess) -> String {
    let row = &guess.row;
    let label = key(&row.address);
    if guess.spare {
        return format!("{label} = \"spare\" # please confirm: nothing is wired to it\n");
    }
    let moves = match (&guess.about, guess.sort) {
        (Some((name, Some(position))), Sort::Moves) => {
            Some(format!("moves = {}", quoted(&format!("{name} {position}"))))
        }
        _ => None,
    };
    let mark = if moves.is_some() { "type, mechanism and position" } else { "type" };
    let parts = vec![tag(row.tag.as_str()), Some(format!("is = {}", quoted(&guess.kind))), moves, words(&row.words)];
    line(&label, parts, mark)
}

fn tag(tag: &str) -> Option<String> {
    (!tag.is_empty()).then(|| format!("tag = {}", quoted(tag)))
}

fn words(words: &str) -> Option<String> {
    (!words.is_empty()).then(|| format!("words = {}", quoted(words)))
}

fn line(label: &str, parts: Vec<Option<String>>, mark: &str) -> String {
    let parts: Vec<String> = parts.into_iter().flatten().collect();
    format!("{label} = {{ {} }} # please confirm: {mark}\n", parts.join(", "))
}

/// A pattern for the sequence, as a comment, with the names of this machine where there are any.
fn sequence(text: &mut String, guesses: &[Guess]) {
    let start = guesses
        .iter()
        .filter(|guess| guess.sort == Sort::ButtonMakes)
        .filter_map(|guess| guess.about.as_ref())
        .map(|(name, _)| name.as_str())
        .find(|name| name.contains("start") || name.contains("marcha"))
        .unwrap_or("start");
    text.push_str(&format!(
        "\n# The sequence, in order; take the marks # away and write your own steps.\n\
         # [charts.cycle]\n# start = \"{start} = pressed\"\n# needs = [\"…\"]          # what must hold for it to start\n\
         # [charts.cycle.steps]\n"
    ));
    let mut number = 1;
    for guess in guesses.iter().filter(|guess| guess.sort == Sort::Moves) {
        if let Some((name, Some(position))) = &guess.about {
            let sensed = guesses.iter().any(|other| other.sort == Sort::Position && other.about == guess.about);
            let end = if sensed { format!("until {name} = {position}") } else { "for T#2s".to_string() };
            text.push_str(&format!("# step_{number} = \"do {name} {position} {end}\"\n"));
            number += 1;
        }
    }
    if number == 1 {
        text.push_str("# step_1 = \"do lift down until lift = down\"\n");
    }
}

/// A label as a TOML key: bare where it may be.
fn key(label: &str) -> String {
    let bare = label.chars().all(|c| c.is_ascii_alphanumeric() || c == '_' || c == '-');
    if bare && !label.is_empty() { label.to_string() } else { quoted(label) }
}

/// A text in quotes.
fn quoted(text: &str) -> String {
    let mut quoted = String::from("\"");
    for letter in text.chars() {
        match letter {
            '"' => quoted.push_str("\\\""),
            '\\' => quoted.push_str("\\\\"),
            control if control.is_control() => quoted.push(' '),
            letter => quoted.push(letter),
        }
    }
    quoted.push('"');
    quoted
}
