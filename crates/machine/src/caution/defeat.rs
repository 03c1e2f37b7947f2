//! Finds words that tell somebody to bridge, defeat or hold what protects people,
//! in English, German and Spanish. Words alone can't be understood by a program,
//! so this errs on two sides: a prohibition ("never bridge it"), a question
//! ("has somebody bridged it?"), working a two-hand control with both hands and
//! keeping a guard shut must pass; a plain instruction must not.

use std::ops::Range;

/// A word in lower case, and where it stands.
struct Word {
    text: String,
    capital: bool,
    range: Range<usize>,
}

/// What stands between two marks or joining words.
#[derive(Default)]
struct Clause {
    words: Vec<Word>,
    /// Joined to the clause before by "or", "nor".
    joined_by_or: bool,
}

/// Makes, in one word, what is not made.
const BRIDGE: &[&str] = &[
    "bridge",
    "bridging",
    "bridges",
    "jumper",
    "jumpering",
    "bypass",
    "bypassing",
    "defeat",
    "defeating",
    "override",
    "overriding",
    "disable",
    "disabling",
    "deactivate",
    "deactivating",
    "tape",
    "taping",
    "wedge",
    "wedging",
    "fool",
    "trick",
    "cheat",
    "überbrücken",
    "überbrücke",
    "brücken",
    "umgehen",
    "umgehe",
    "austricksen",
    "überlisten",
    "kurzschließen",
    "festbinden",
    "zubinden",
    "anbinden",
    "festkleben",
    "zukleben",
    "verkeilen",
    "unwirksam",
    "puentear",
    "puentee",
    "puentea",
    "puenteando",
    "anular",
    "anule",
    "anula",
    "anulando",
    "burlar",
    "burle",
    "eludir",
    "eluda",
    "neutralizar",
    "neutralice",
    "inutilizar",
    "inutilice",
    "cortocircuitar",
    "cortocircuite",
    "atar",
    "ate",
];
/// The same as something that was done: an instruction only where nobody asks whether it was.
const BRIDGED: &[&str] = &[
    "bridged",
    "jumpered",
    "bypassed",
    "defeated",
    "overridden",
    "disabled",
    "deactivated",
    "taped",
    "wedged",
    "überbrückt",
    "überbrückte",
    "überbrücktem",
    "überbrückter",
    "gebrückt",
    "umgangen",
    "kurzgeschlossen",
    "festgebunden",
    "puenteado",
    "puenteada",
    "puenteados",
    "anulado",
    "anulada",
    "atado",
    "atada",
];
/// A thing that bridges; telling to put one somewhere is telling to bridge.
const THING: &[&str] = &["bridge", "jumper", "brücke", "drahtbrücke", "kurzschlussbrücke", "puente"];
const PUT: &[&str] = &[
    "put",
    "fit",
    "insert",
    "place",
    "install",
    "set",
    "connect",
    "clip",
    "use",
    "make",
    "einsetzen",
    "einlegen",
    "einbauen",
    "setzen",
    "setze",
    "stecken",
    "legen",
    "lege",
    "einstecken",
    "poner",
    "ponga",
    "colocar",
    "coloque",
    "instalar",
    "instale",
    "hacer",
    "haga",
    "montar",
    "monte",
];
const HOLD: &[&str] = &[
    "hold",
    "holding",
    "halten",
    "halte",
    "festhalten",
    "zuhalten",
    "gedrückthalten",
    "sujetar",
    "sujete",
    "sujetando",
    "mantener",
    "mantenga",
    "manteniendo",
    "aguantar",
    "aguante",
];
/// Before a word it makes a noun of it: "the bypass", "the hand override".
const BEFORE_NOUN: &[&str] = &["the", "a", "an", "any", "this", "its", "hand", "manual", "of", "adhesive", "el", "un"];
const NOT: &[&str] = &[
    "not",
    "never",
    "no",
    "nothing",
    "nobody",
    "none",
    "without",
    "nor",
    "neither",
    "instead",
    "cannot",
    "forbidden",
    "nicht",
    "nie",
    "niemals",
    "kein",
    "keine",
    "keinen",
    "keiner",
    "keinesfalls",
    "nichts",
    "niemand",
    "ohne",
    "weder",
    "noch",
    "verboten",
    "nada",
    "nunca",
    "jamás",
    "sin",
    "ni",
    "nadie",
    "ningún",
    "ninguna",
    "prohibido",
];
const ASKS: &[&str] = &["whether", "if", "ob", "falls", "si"];
const OR: &[&str] = &["or", "nor", "oder", "noch", "o", "u", "ni"];
const AND: &[&str] = &["and", "then", "und", "dann", "y", "e", "luego", "after"];
const BOTH: &[&str] = &["both", "beide", "beiden", "ambas", "ambos"];
const SHUT: &[&str] = &["geschlossen", "zu", "verschlossen", "cerrada", "cerrado", "cerradas", "cerrados"];

/// Where a text tells somebody to bridge, defeat, tie back or hold what protects people. With
/// `protects` the text belongs to such a device, so that it need not name it.
///
/// ```
/// use machine::caution::told_to_defeat;
/// assert!(told_to_defeat("Bridge the door switch and press start.", false).is_some());
/// assert!(told_to_defeat("The door switch is never bridged, defeated or held.", false).is_none());
/// assert!(told_to_defeat("Shut the guard door and hold the cup.", false).is_none());
/// ```
#[must_use]
pub fn told_to_defeat(text: &str, protects: bool) -> Option<Range<usize>> {
    sentences(text).into_iter().find_map(|(clauses, question)| {
        let named = clauses.iter().any(|clause| names_guard(&clause.words));
        let asks = question || clauses.iter().any(|clause| has(&clause.words, ASKS));
        let denied = denied(&clauses);
        clauses.iter().zip(denied).filter(|(_, denied)| !denied).find_map(|(clause, _)| {
            let bridges = if protects || named { bridges(&clause.words, asks) } else { None };
            bridges.or_else(|| holds(&clause.words, protects))
        })
    })
}

/// Which clauses forbid; a prohibition reaches over "or" and over a list of single words.
fn denied(clauses: &[Clause]) -> Vec<bool> {
    let mut denied: Vec<bool> = clauses.iter().map(|clause| clause.words.iter().any(is_denial)).collect();
    for at in 1..clauses.len() {
        denied[at] |= denied[at - 1] && (clauses[at].joined_by_or || clauses[at].words.len() <= 2);
    }
    for at in (1..clauses.len()).rev() {
        denied[at - 1] |= denied[at] && clauses[at].joined_by_or;
    }
    denied
}

fn is_denial(word: &Word) -> bool {
    NOT.contains(&word.text.as_str()) || word.text.ends_with("n't") || word.text.ends_with("n’t")
}

fn bridges(words: &[Word], asks: bool) -> Option<Range<usize>> {
    let puts = has(words, PUT);
    for (at, word) in words.iter().enumerate() {
        let text = word.text.as_str();
        let before = at.checked_sub(1).map(|before| words[before].text.as_str());
        let noun = before.is_some_and(|before| BEFORE_NOUN.contains(&before))
            // German nouns have a capital, also those that look like the verb.
            || (word.capital && at > 0);
        let short = text == "short" && words.get(at + 1).is_some_and(|next| matches!(&*next.text, "out" | "across"));
        let ties = matches!(text, "tie" | "tying" | "tied")
            && words[at..].iter().any(|next| matches!(&*next.text, "back" | "down" | "shut" | "open" | "up"));
        let across = text == "across" && puts;
        if (BRIDGE.contains(&text) && !noun)
            || (BRIDGED.contains(&text) && !asks)
            || (THING.contains(&text) && puts)
            || short
            || ties
            || across
        {
            return Some(word.range.clone());
        }
    }
    None
}

fn holds(words: &[Word], protects: bool) -> Option<Range<usize>> {
    // A two-hand control is held with both hands: that is what it is for.
    if has(words, BOTH) {
        return None;
    }
    let at = words.iter().position(|word| HOLD.contains(&word.text.as_str()))?;
    let english = words[at].text.starts_with("hold");
    let object = if english { &words[at + 1..] } else { words };
    let own =
        protects && object.iter().any(|word| matches!(&*word.text, "it" | "tag" | "switch" | "contact" | "magnet"));
    // "Halten Sie die Schutztür geschlossen" is what everybody should do.
    let keeps_shut = !english && has(words, SHUT) && !names_switch(words);
    ((own || names_guard_itself(object)) && !keeps_shut).then(|| words[at].range.clone())
}

fn has(words: &[Word], list: &[&str]) -> bool {
    words.iter().any(|word| list.contains(&word.text.as_str()))
}

/// A switch that a guard works.
fn names_switch(words: &[Word]) -> bool {
    let pair = |first: &[&str], second: &[&str]| has(words, first) && has(words, second);
    words.iter().any(|word| {
        let word = word.text.as_str();
        ["türschalter", "türkontakt", "deckelschalter", "schutzschalter", "zweihand", "verriegelung", "zuhaltung"]
            .iter()
            .any(|stem| word.contains(stem) && !word.contains("motorschutz"))
            || word.starts_with("sicherheits")
            || word.starts_with("interlock")
            || word.starts_with("enclavamiento")
            || matches!(word, "two-hand" | "twohand" | "bimanual")
    }) || pair(&["switch", "contact"], &["door", "lid", "hood", "cover", "gate", "safety", "guard"])
        || pair(&["two", "dos"], &["hand", "manos"])
        || pair(&["interruptor", "contacto"], &["puerta", "tapa", "seguridad", "cubierta"])
}

/// A guard, its switch, or a two-hand control.
fn names_guard_itself(words: &[Word]) -> bool {
    names_switch(words)
        || words.iter().any(|word| {
            let word = word.text.as_str();
            word.starts_with("guard")
                || word.starts_with("resguardo")
                || ["schutztür", "schutzhaube", "schutzgitter", "schutzeinrichtung"]
                    .iter()
                    .any(|stem| word.contains(stem))
        })
        || (has(words, &["puerta"]) && has(words, &["protección"]))
}

/// Anything that protects people: the above, stops, light curtains, safety relays.
fn names_guard(words: &[Word]) -> bool {
    let pair = |first: &str, second: &[&str]| has(words, &[first]) && has(words, second);
    names_guard_itself(words)
        || words.iter().any(|word| {
            let word = word.text.as_str();
            ["e-stop", "not-halt", "nothalt", "not-aus", "notaus", "lichtvorhang", "lichtgitter", "stopptaste"]
                .iter()
                .any(|stem| word.starts_with(stem))
        })
        || pair("safety", &["relay", "circuit", "chain", "edge", "mat", "door", "device", "devices"])
        || pair("emergency", &["stop"])
        || pair("emergencia", &["parada"])
        || pair("stop", &["button"])
        || pair("parada", &["pulsador"])
        || pair("light", &["curtain"])
        || pair("seguridad", &["relé", "circuito", "cadena", "barrera"])
}

/// The sentences of a text, each as its clauses, and whether it asks.
fn sentences(text: &str) -> Vec<(Vec<Clause>, bool)> {
    let mut all = Vec::new();
    let mut clauses = vec![Clause::default()];
    let mut begin: Option<usize> = None;
    let end_word = |clauses: &mut Vec<Clause>, begin: &mut Option<usize>, at: usize| {
        let Some(from) = begin.take() else { return };
        let shown = &text[from..at];
        let lower = shown.trim_matches(|c: char| c == '-' || c == '\'').to_lowercase();
        let (or, and) = (OR.contains(&lower.as_str()), AND.contains(&lower.as_str()));
        if or || and {
            clauses.push(Clause { words: Vec::new(), joined_by_or: or });
            // "Noch" and "nor" deny what follows as well.
            if !NOT.contains(&lower.as_str()) {
                return;
            }
        }
        let capital = shown.chars().next().is_some_and(char::is_uppercase);
        if let Some(clause) = clauses.last_mut() {
            clause.words.push(Word { text: lower, capital, range: from..at });
        }
    };
    for (at, letter) in text.char_indices() {
        if letter.is_alphanumeric() || matches!(letter, '-' | '\'' | '’') {
            begin.get_or_insert(at);
            continue;
        }
        end_word(&mut clauses, &mut begin, at);
        match letter {
            '.' | ';' | '!' | '?' | ':' => {
                all.push((std::mem::replace(&mut clauses, vec![Clause::default()]), letter == '?'))
            }
            ',' | '(' | ')' | '—' | '–' => clauses.push(Clause::default()),
            _ => {}
        }
    }
    end_word(&mut clauses, &mut begin, text.len());
    all.push((clauses, false));
    for (clauses, _) in &mut all {
        // What is left empty by "and then" must not come between an "or" and its clause.
        let mut or = false;
        for clause in clauses.iter_mut() {
            clause.joined_by_or |= or;
            or = clause.words.is_empty() && clause.joined_by_or;
        }
        clauses.retain(|clause| !clause.words.is_empty());
    }
    all
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_tells_to_defeat_a_guard_is_found_in_three_languages() {
        for text in [
            "Bridge the door switch and press start.",
            "Measure the door switch, then bridge its two wires.",
            "Put a jumper across the terminals of the safety relay.",
            "Fit a wire bridge to the emergency stop chain",
            "Run the machine with the guard switch bridged.",
            "By bypassing the interlock you can see the table turn.",
            "Tie back the guard door and watch.",
            "Hold the guard switch in with a screwdriver.",
            "Hold the interlock and press start",
            "Defeat the light curtain.",
            "Short out the lid switch.",
            "Tape one button of the two-hand control down.",
            "Hold one button of the two-hand control with a clamp.",
            "Überbrücken Sie den Türschalter.",
            "Den Not-Halt überbrücken und Start drücken.",
            "Türschalter mit einer Klammer festhalten.",
            "Setzen Sie eine Drahtbrücke am Sicherheitsrelais ein und setze die Brücke fest.",
            "Puentee el interruptor de la puerta.",
            "Sujete el interruptor de la puerta con cinta.",
            "Anule el enclavamiento.",
            "Coloque un puente en el relé de seguridad.",
        ] {
            assert!(told_to_defeat(text, false).is_some(), "{text}");
        }
        assert!(told_to_defeat("Bridge {tag} for a moment.", true).is_some());
        assert!(told_to_defeat("Hold {tag} in.", true).is_some());
    }

    #[test]
    fn what_forbids_asks_or_does_as_it_should_is_no_alarm() {
        for text in [
            "Never bridge the door switch.",
            "The guard is never bridged, defeated or held.",
            "Don't hold the guard switch in.",
            "Look whether somebody has bridged the door switch.",
            "Is the interlock bypassed?",
            "Remove the bridge from the door switch and test the guard.",
            "Shut the guard door and hold the cup under the nozzle.",
            "Hold the stop button.",
            "Hold both buttons of the two-hand control until the ram is down.",
            "Keep the guard door shut.",
            "Press the hand override of the valve; the guard stays shut.",
            "Put the wires back as drawn and test the guard before the machine runs.",
            "Bridge the rectifier's output with a resistor.",
            "Halten Sie die Schutztür geschlossen.",
            "Die Schutztür wird weder überbrückt noch festgehalten.",
            "Überbrücken Sie den Türschalter nie.",
            "Prüfen, ob der Türschalter überbrückt ist.",
            "Mantenga la puerta de protección cerrada.",
            "Nunca puentee el interruptor de la puerta.",
            "Sin puentear el enclavamiento.",
            "Wedge the basket so that it cannot slip.",
            "",
        ] {
            assert_eq!(told_to_defeat(text, false).map(|range| &text[range]), None, "{text}");
        }
    }
}
