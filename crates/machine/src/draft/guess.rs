//! What a point is, guessed from its words: device type, mechanism, position.

use super::table::{Direction, Row};
use crate::library::{DeviceType, Library, StandsIn};
use crate::text::expression::is_reserved;

/// A point with what was guessed about it.
#[derive(Clone, Debug)]
pub(super) struct Guess {
    pub row: Row,
    pub spare: bool,
    /// Device type.
    pub kind: String,
    /// Mechanism and position, or a supply with no position.
    pub about: Option<(String, Option<String>)>,
    /// What kind of thing it is.
    pub sort: Sort,
}

/// Sorts of points that are written in different ways.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Sort {
    /// A button that makes when pressed.
    ButtonMakes,
    /// A button that breaks when pressed.
    ButtonBreaks,
    /// Something with a position.
    Position,
    /// A supply.
    Supply,
    /// An output that moves something.
    Moves,
    /// An output that only shows or sounds.
    Shows,
}

/// Position words in English, German and Spanish, with the name used in the file.
const POSITIONS: &[(&str, &[&str])] = &[
    ("up", &["up", "raised", "top", "oben", "arriba", "subir", "heben", "auf oben", "subido"]),
    ("down", &["down", "lowered", "bottom", "unten", "abajo", "bajar", "senken", "bajado"]),
    ("shut", &["shut", "closed", "close", "geschlossen", "zu", "schließen", "cerrado", "cerrada", "cerrar"]),
    ("open", &["open", "opened", "offen", "auf", "öffnen", "geöffnet", "abierto", "abierta", "abrir"]),
    ("forward", &["forward", "forwards", "front", "vor", "vorn", "vorne", "vorwärts", "adelante", "delante"]),
    ("back", &["back", "backward", "rear", "zurück", "hinten", "rückwärts", "atrás", "detrás"]),
    ("left", &["left", "links", "izquierda"]),
    ("right", &["right", "rechts", "derecha"]),
    ("extended", &["extended", "extend", "ausgefahren", "ausfahren", "extendido", "extender"]),
    ("retracted", &["retracted", "retract", "eingefahren", "einfahren", "retraído", "retraer", "recogido"]),
    ("present", &["present", "there", "detected", "vorhanden", "da", "erkannt", "presente", "detectado"]),
    ("low", &["low", "empty", "min", "minimum", "leer", "niedrig", "bajo", "vacío", "mínimo"]),
    ("high", &["high", "full", "max", "maximum", "voll", "hoch", "lleno", "alto", "máximo"]),
    ("running", &["running", "runs", "läuft", "ein", "marcha", "en marcha"]),
    ("tripped", &["tripped", "trip", "overload", "ausgelöst", "disparado"]),
    ("ok", &["ok", "good", "healthy", "gut", "i.o.", "correcto", "correcta"]),
    ("home", &["home", "grundstellung", "origen", "home position"]),
    ("on", &["on", "an", "encendido"]),
];

/// Words that say nothing about which mechanism it is.
const FILLERS: &[&str] = &[
    "the",
    "a",
    "is",
    "in",
    "at",
    "of",
    "to",
    "no",
    "nc",
    "pnp",
    "npn",
    "der",
    "die",
    "das",
    "ist",
    "im",
    "am",
    "schließer",
    "öffner",
    "el",
    "la",
    "los",
    "las",
    "está",
    "en",
    "de",
    "del",
    "al",
    "na",
    "position",
    "switch",
    "sensor",
    "valve",
    "ventil",
    "válvula",
    "schalter",
    "taste",
    "taster",
    "button",
    "push",
    "pulsador",
    "botón",
    "lamp",
    "lampe",
    "motor",
    "coil",
    "spule",
    "contactor",
    "schütz",
    "contactor",
    "solenoid",
    "detector",
    "interruptor",
    "ok",
];

/// Types that say nothing about the device; taken only where nothing else fits.
const GENERIC: &[&str] = &["sensor", "output-device"];

const SPARE: &[&str] = &["spare", "reserve", "reserved", "frei", "reserva", "libre", "unused", "-", "n.c.", "not used"];

/// Guesses for all points of a list.
pub(super) fn guess(rows: &[Row]) -> Vec<Guess> {
    let mut guesses: Vec<Guess> = rows.iter().map(one).collect();
    drop_ambiguous_tags(&mut guesses);
    pair_valves(&mut guesses);
    tell_apart(&mut guesses);
    guesses
}

fn one(row: &Row) -> Guess {
    let plain = row.words.to_lowercase();
    let spare = plain.is_empty() || SPARE.contains(&plain.trim());
    let stands = if row.direction == Direction::Input { StandsIn::Input } else { StandsIn::Output };
    let (kind, named_by) = guessed_kind(row, &plain, stands);
    let sort = sort_of(&kind, &plain, stands);
    let about = if spare { None } else { about(&plain, &named_by, sort) };
    Guess { row: row.clone(), spare, kind, about, sort }
}

/// The type whose `also` word is the longest found in the words; else by the letter of the tag.
fn guessed_kind(row: &Row, plain: &str, stands: StandsIn) -> (String, String) {
    let found = Library::embedded()
        .types
        .values()
        .filter(|kind| kind.stands_in == stands && !GENERIC.contains(&kind.key.as_str()))
        .flat_map(|kind: &DeviceType| kind.also.iter().map(move |also| (also.to_lowercase(), kind)))
        .filter(|(also, _)| contains_word(plain, also))
        .max_by_key(|(also, kind)| (also.chars().count(), std::cmp::Reverse(kind.key.clone())));
    let breaks = ["nc", "n.c.", "öffner"].iter().any(|word| contains_word(plain, word));
    let guards = ["door", "guard", "tür", "schutztür", "puerta"].iter().any(|word| contains_word(plain, word));
    let magnetic = ["magnetic", "magnet", "magnético", "coded"].iter().any(|word| plain.contains(word));
    if stands == StandsIn::Input && guards && magnetic {
        return ("door-switch-magnetic".to_string(), String::new());
    }
    if let Some((also, kind)) = found {
        let key = if kind.key == "push-button-no" && breaks { "push-button-nc".to_string() } else { kind.key.clone() };
        return (key, also);
    }
    if stands == StandsIn::Input && guards {
        return ("door-switch".to_string(), String::new());
    }
    if stands == StandsIn::Output {
        let valve = ["valve", "ventil", "válvula"].iter().any(|word| plain.contains(word));
        if valve {
            return ("solenoid-valve-single".to_string(), String::new());
        }
    }
    let letter = row.tag.trim_start_matches(['-', '=', '+']).chars().next().unwrap_or(' ').to_ascii_uppercase();
    let by_letter = match (stands, letter) {
        (StandsIn::Input, 'S') if breaks => "push-button-nc",
        (StandsIn::Input, 'S') => "push-button-no",
        (StandsIn::Input, _) => "sensor",
        (_, 'V' | 'Y') => "solenoid-valve-single",
        (_, 'H' | 'P') => "indicator-lamp",
        (_, 'K' | 'Q' | 'M') => "contactor-motor",
        _ => "output-device",
    };
    (by_letter.to_string(), String::new())
}

fn sort_of(kind: &str, plain: &str, stands: StandsIn) -> Sort {
    let air = ["air", "druckluft", "aire"].iter().any(|word| contains_word(plain, word));
    match kind {
        "push-button-no" => Sort::ButtonMakes,
        "push-button-nc" => Sort::ButtonBreaks,
        _ if stands == StandsIn::Input && kind.contains("pressure-switch") && air => Sort::Supply,
        "indicator-lamp" | "horn" => Sort::Shows,
        _ if stands == StandsIn::Output => Sort::Moves,
        _ => Sort::Position,
    }
}

/// Mechanism and position that the words are about.
fn about(plain: &str, named_by: &str, sort: Sort) -> Option<(String, Option<String>)> {
    if sort == Sort::Supply {
        return Some(("air".to_string(), None));
    }
    // "roller forward, reed switch": the device comes behind the comma.
    let first = plain.split([',', ';', '(']).next().map(spaced).filter(|first| !mechanism_name(first).is_empty());
    let mut rest = format!(" {} ", first.unwrap_or_else(|| spaced(plain)));
    // The type's own words go, unless nothing would be left: "start button" is about start.
    let without = rest.replace(&format!(" {} ", spaced(named_by)), " ");
    if !named_by.is_empty() && !mechanism_name(&without).is_empty() {
        rest = without;
    }
    let position = POSITIONS
        .iter()
        .flat_map(|(name, words)| words.iter().map(move |word| (*word, *name)))
        .filter(|(word, _)| rest.contains(&format!(" {word} ")))
        .max_by_key(|(word, _)| word.chars().count());
    if let Some((word, _)) = position {
        let shorter = rest.replacen(&format!(" {word} "), " ", 1);
        if !mechanism_name(&shorter).is_empty() {
            rest = shorter;
        }
    }
    let name = mechanism_name(&rest);
    if name.is_empty() || sort == Sort::Shows {
        return None;
    }
    let default = if sort == Sort::Moves { "running" } else { "on" };
    Some((name, Some(position.map_or(default, |(_, name)| name).to_string())))
}

fn spaced(text: &str) -> String {
    let letters = text.chars().map(|c| if c.is_alphanumeric() || c == '-' { c } else { ' ' });
    letters.collect::<String>().split_whitespace().collect::<Vec<_>>().join(" ")
}

/// Whether a word stands in a text, not as a part of another word in front (German compounds may go on behind).
fn contains_word(text: &str, word: &str) -> bool {
    let mut from = 0;
    while let Some(at) = text[from..].find(word) {
        let start = from + at;
        let before = text[..start].chars().next_back();
        let after = text[start + word.len()..].chars().next();
        let whole = !before.is_some_and(char::is_alphanumeric);
        let short = word.chars().count() <= 4;
        if whole && !(short && after.is_some_and(char::is_alphanumeric)) {
            return true;
        }
        from = start + word.len();
    }
    false
}

/// The words as a name: `[a-z][a-z0-9_]*`, fillers left out, at most three words, and none that means something else
/// to conditions.
fn mechanism_name(text: &str) -> String {
    let words = text.split_whitespace().filter(|word| !FILLERS.contains(word));
    let plain: Vec<String> = words.map(transliterated).filter(|word| !word.is_empty()).take(3).collect();
    let name = plain.join("_");
    let is_none = name.starts_with(|first: char| first.is_ascii_digit()) || is_reserved(&name);
    if is_none { format!("m_{name}") } else { name }
}

fn transliterated(word: &str) -> String {
    let mut plain = String::new();
    for letter in word.chars() {
        match letter {
            'ä' => plain.push_str("ae"),
            'ö' => plain.push_str("oe"),
            'ü' => plain.push_str("ue"),
            'ß' => plain.push_str("ss"),
            'á' | 'à' | 'â' => plain.push('a'),
            'é' | 'è' | 'ê' => plain.push('e'),
            'í' => plain.push('i'),
            'ó' => plain.push('o'),
            'ú' => plain.push('u'),
            'ñ' => plain.push('n'),
            '-' => plain.push('_'),
            letter if letter.is_ascii_lowercase() || letter.is_ascii_digit() => plain.push(letter),
            _ => {}
        }
    }
    plain.trim_matches('_').to_string()
}

/// Two valves for one mechanism, to different positions: both are coils of a double valve.
fn pair_valves(guesses: &mut [Guess]) {
    let valves: Vec<(usize, String, Option<String>)> = guesses
        .iter()
        .enumerate()
        .filter(|(_, guess)| guess.kind == "solenoid-valve-single")
        .filter_map(|(index, guess)| guess.about.clone().map(|(name, position)| (index, name, position)))
        .collect();
    for (index, name, position) in &valves {
        if valves.iter().any(|(_, other, at)| other == name && at != position) {
            guesses[*index].kind = "solenoid-valve-double".to_string();
        }
    }
}

/// A tag that is also an address, or another point's tag, can't stand for one point; it goes into the words.
fn drop_ambiguous_tags(guesses: &mut [Guess]) {
    for index in 0..guesses.len() {
        let tag = guesses[index].row.tag.clone();
        let is_address = guesses.iter().enumerate().any(|(other, guess)| other != index && guess.row.address == tag);
        let is_taken = guesses[..index].iter().any(|guess| guess.row.tag == tag);
        if !tag.is_empty() && (is_address || is_taken) {
            let row = &mut guesses[index].row;
            row.words = format!("{} ({tag})", row.words);
            row.tag.clear();
        }
    }
}

/// Two inputs (or two outputs) about the very same get different names.
fn tell_apart(guesses: &mut [Guess]) {
    for index in 0..guesses.len() {
        let mut number = 2;
        while guesses[index].sort != Sort::Supply
            && guesses[index].about.is_some()
            && guesses[..index]
                .iter()
                .any(|other| other.about == guesses[index].about && other.row.direction == guesses[index].row.direction)
        {
            if let Some((name, _)) = &mut guesses[index].about {
                *name = format!("{}_{number}", name.trim_end_matches(&format!("_{}", number - 1)));
            }
            number += 1;
        }
    }
}
