//! What people do, in a few words: `door shut`, `press start for T#2s`,
//! `hold start`, `let go start`, `wait T#5s`, `power cycle`, `air off`.

use super::sentence::{Duration, duration, words};
use super::{Mistake, Word};

/// A hand action as written.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum HandText {
    /// A mechanism into a position, or a supply `on` or `off`.
    Put(Word, Word),
    /// Press a button, for how long if said.
    Press(Word, Option<Duration>),
    /// Hold a button down.
    Hold(Word),
    /// Let go of it.
    LetGo(Word),
    /// Only wait.
    Wait(Option<Duration>),
    /// Power off and on.
    PowerCycle,
}

const HINT: &str = "write \"door shut\", \"press start\", \"press start for T#2s\", \"hold start\", \"let go start\", \
                    \"wait T#5s\", \"power cycle\", or \"air off\"";

/// Reads a hand action.
///
/// # Errors
/// When it is none of the forms.
pub fn parse_hand(text: &str) -> Result<HandText, Mistake> {
    let words = words(text);
    let lower: Vec<String> = words.iter().map(|word| word.text.to_ascii_lowercase()).collect();
    let lower: Vec<&str> = lower.iter().map(String::as_str).collect();
    match (lower.as_slice(), words.as_slice()) {
        (["power", "cycle"], _) => Ok(HandText::PowerCycle),
        (["wait"], _) => Ok(HandText::Wait(None)),
        (["wait", _], [_, time]) => Ok(HandText::Wait(Some(duration(time)?))),
        (["press", _], [_, button]) => Ok(HandText::Press(button.clone(), None)),
        (["press", _, "for", _], [_, button, _, time]) => Ok(HandText::Press(button.clone(), Some(duration(time)?))),
        (["hold", _], [_, button]) => Ok(HandText::Hold(button.clone())),
        (["let", "go", _], [_, _, button]) | (["let", "go", "of", _], [_, _, _, button]) => {
            Ok(HandText::LetGo(button.clone()))
        }
        (_, [mechanism, position]) => Ok(HandText::Put(mechanism.clone(), position.clone())),
        _ => Err(Mistake::new(0..text.len(), format!("`{}` is no hand action", text.trim()), HINT)),
    }
}
