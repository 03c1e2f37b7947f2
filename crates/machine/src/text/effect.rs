//! What a lost interlock or a time-out does: `nothing`, `hold, outputs kept`,
//! `hold, outputs off`, `go to STEP`, or `not known`.

use super::{Mistake, Word};

/// An effect as written.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum EffectText {
    /// The sequence takes no notice.
    Nothing,
    /// The chart stays in its steps.
    Hold {
        /// Whether outputs stay on.
        outputs_kept: bool,
    },
    /// The chart goes to these steps.
    GoTo(Vec<Word>),
    /// The writer doesn't know.
    NotKnown,
}

/// Reads an effect.
///
/// # Errors
/// When it is none of the five forms.
pub fn parse_effect(text: &str) -> Result<EffectText, Mistake> {
    let trimmed = text.trim();
    let plain = trimmed.to_ascii_lowercase().replace(',', " ");
    let words: Vec<&str> = plain.split_whitespace().collect();
    match words.as_slice() {
        ["nothing"] => Ok(EffectText::Nothing),
        ["not" | "un", "known"] | ["unknown"] => Ok(EffectText::NotKnown),
        ["hold"] | ["hold", "outputs", "kept"] => Ok(EffectText::Hold { outputs_kept: true }),
        ["hold", "outputs", "off"] => Ok(EffectText::Hold { outputs_kept: false }),
        ["go", "to", _, ..] => Ok(EffectText::GoTo(steps(text))),
        _ => Err(Mistake::new(
            0..text.len(),
            format!("`{trimmed}` is no effect"),
            "write \"nothing\", \"hold, outputs kept\", \"hold, outputs off\", \"go to STEP\" or \"not known\"",
        )),
    }
}

/// The step names behind "go to".
fn steps(text: &str) -> Vec<Word> {
    let mut words = Vec::new();
    let mut at = 0;
    for part in text.split([' ', ',', '\t']) {
        if !part.is_empty() {
            words.push(Word { text: part.to_string(), range: at..at + part.len() });
        }
        at += part.len() + 1;
    }
    words.into_iter().skip(2).filter(|word| word.text != "and").collect()
}
