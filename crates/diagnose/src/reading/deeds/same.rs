//! Whether two sentences about a deed are the same: past or imperative, with
//! or without articles.

use machine::model::{HandAction, HandMove};

use crate::reading::things::bare_key;

/// Forms of verbs that no rule gives.
const IRREGULAR: &[(&str, &str)] = &[
    ("put", "put"),
    ("took", "take"),
    ("taken", "take"),
    ("held", "hold"),
    ("let", "let"),
    ("shut", "shut"),
    ("shutting", "shut"),
    ("closed", "shut"),
    ("close", "shut"),
    ("closing", "shut"),
    ("hit", "press"),
    ("pushed", "push"),
    ("set", "set"),
    ("setting", "set"),
    ("laid", "lay"),
    ("hung", "hang"),
    ("brought", "bring"),
    ("swung", "swing"),
    ("slid", "slide"),
    ("drew", "draw"),
    ("fed", "feed"),
    ("filled", "fill"),
    ("did", "do"),
    ("done", "do"),
    ("ran", "run"),
    ("gave", "give"),
    ("made", "make"),
];

/// The content words of a sentence, each in one form.
pub(super) fn content(text: &str) -> Vec<String> {
    content_of(&bare_key(text))
}

/// The content words among these units.
pub(super) fn content_of(units: &[String]) -> Vec<String> {
    units.iter().filter(|unit| !says_nothing(unit)).map(|unit| one_form(unit)).collect()
}

/// Words that don't matter to what was done.
pub(super) fn says_nothing(unit: &str) -> bool {
    matches!(
        unit,
        "the"
            | "a"
            | "an"
            | "i"
            | "we"
            | "he"
            | "she"
            | "they"
            | "you"
            | "it"
            | "its"
            | "operator"
            | "have"
            | "has"
            | "had"
            | "just"
            | "only"
            | "again"
            | "once"
            | "last"
            | "first"
            | "already"
            | "also"
            | "was"
            | "were"
            | "is"
            | "been"
            | "to"
            | "of"
            | "der"
            | "die"
            | "das"
            | "den"
            | "dem"
            | "el"
            | "la"
            | "los"
            | "las"
    )
}

/// `pressed`, `pressing` and `presses` are `press`.
fn one_form(word: &str) -> String {
    let word = IRREGULAR.iter().find(|(other, _)| *other == word).map_or(word, |(_, form)| form);
    for ending in ["ing", "ed"] {
        if let Some(stem) = word.strip_suffix(ending)
            && stem.len() >= 3
        {
            let mut letters = stem.chars().rev();
            let doubled = matches!((letters.next(), letters.next()), (Some(a), Some(b)) if a == b && !"sl".contains(a));
            return if doubled { stem[..stem.len() - 1].to_owned() } else { stem.trim_end_matches('e').to_owned() };
        }
    }
    match word.strip_suffix("es").or_else(|| word.strip_suffix('s')) {
        Some(stem) if stem.len() >= 3 && !stem.ends_with('s') => stem.trim_end_matches('e').to_owned(),
        _ if word.len() >= 4 => word.trim_end_matches('e').to_owned(),
        _ => word.to_owned(),
    }
}

/// The sentences for an action, each as its content words.
pub(super) fn sentences(action: &HandAction) -> Vec<Vec<String>> {
    let translations = action.words.translations.iter().map(|(_, text)| text);
    [&action.short, &action.words.english].into_iter().chain(translations).map(|text| content(text)).collect()
}

/// Whether two movements are the same deed; for how long a button is pressed makes no difference.
pub(super) fn same_deed(one: HandMove, other: HandMove) -> bool {
    match (one, other) {
        (HandMove::Press(one, _), HandMove::Press(other, _)) => one == other,
        (one, other) => one == other,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_form_of_a_verb_makes_no_difference() {
        assert_eq!(content("I pressed the start button"), content("press start button"));
        assert_eq!(content("closed the door"), content("shut door"));
        assert_eq!(content("loaded a tray"), content("load the tray"));
        assert_eq!(content("removed the tray"), content("remove tray"));
        assert_eq!(content("stopped it"), content("stop"));
        assert_eq!(content("took the jar out"), content("take the jar out"));
        assert_ne!(content("opened the door"), content("shut the door"));
    }
}
