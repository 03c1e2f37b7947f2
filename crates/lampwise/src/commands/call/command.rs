//! What can be typed beside an answer.

use diagnose::call::{Entry, Kind, leaves_out};

/// A line that is no answer to the question.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Command {
    /// Nothing was typed.
    Nothing,
    /// Nobody knows.
    Unknown,
    /// Nobody there can do that.
    Cannot,
    /// The other proposals.
    Others,
    /// Ask this proposal instead, from 0.
    Take(usize),
    /// Reasons, and what has been ruled out.
    Why,
    /// What was said.
    List,
    /// Put something else in the place of an entry, from 0.
    Change(usize, String),
    /// Take an entry away, from 0.
    Remove(usize),
    /// Take back the last change.
    Undo,
    /// Keep the call in a file.
    Save(String),
    /// What to watch if it comes and goes.
    Watch,
    /// End the call.
    Finish,
    /// What can be typed.
    Help,
    /// Something said unasked.
    Say(Entry),
    /// A command that lacks something: what to type.
    Incomplete(&'static str),
}

impl Command {
    /// The command that this line is, if it is one.
    pub fn of(line: &str) -> Option<Self> {
        let line = line.trim();
        let lower = line.to_lowercase().replace('’', "'");
        match leaves_out(line) {
            Some(Kind::Unknown) => return Some(Self::Unknown),
            Some(_) => return Some(Self::Cannot),
            None => {}
        }
        match lower.trim_end_matches(['.', '!']) {
            "" => return Some(Self::Nothing),
            "others" | "more" => return Some(Self::Others),
            "a" => return Some(Self::Take(0)),
            "b" => return Some(Self::Take(1)),
            "c" => return Some(Self::Take(2)),
            "why" => return Some(Self::Why),
            "list" => return Some(Self::List),
            "undo" => return Some(Self::Undo),
            "watch" => return Some(Self::Watch),
            "finish" | "end" | "quit" | "exit" | "stop" => return Some(Self::Finish),
            "help" | "h" | "??" => return Some(Self::Help),
            "it runs" | "runs" | "it runs again" => return Some(Self::Say(Entry::new(Kind::Runs, "yes"))),
            _ => {}
        }
        let (word, rest) = line.split_once(char::is_whitespace).unwrap_or((line, ""));
        let rest = rest.trim();
        match word.to_lowercase().as_str() {
            "change" => Some(match numbered(rest) {
                Some((at, text)) if !text.is_empty() => Self::Change(at, text.to_owned()),
                _ => Self::Incomplete("change NUMBER TEXT, as \"change 3 X4 on, rest off\"; `list` shows the numbers"),
            }),
            "remove" => Some(match numbered(rest) {
                Some((at, "")) => Self::Remove(at),
                _ => Self::Incomplete("remove NUMBER, as \"remove 3\"; `list` shows the numbers"),
            }),
            "save" => Some(Self::Save(rest.to_owned())),
            _ => {
                let entry = Entry::of_line(line)?;
                if entry.text.is_empty() {
                    return Some(Self::Incomplete("the word and what is to be said, as \"lamps X3 off\""));
                }
                Some(Self::Say(entry))
            }
        }
    }
}

/// A number from 1, as one from 0, and what stands behind it.
fn numbered(text: &str) -> Option<(usize, &str)> {
    let (number, rest) = text.split_once(char::is_whitespace).unwrap_or((text, ""));
    let number: usize = number.parse().ok()?;
    Some((number.checked_sub(1)?, rest.trim()))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn commands_are_plain_words() {
        assert_eq!(Command::of("?"), Some(Command::Unknown));
        assert_eq!(Command::of("Dunno."), Some(Command::Unknown));
        assert_eq!(Command::of("SKIP"), Some(Command::Unknown));
        assert_eq!(Command::of("Can’t do that."), Some(Command::Cannot));
        assert_eq!(Command::of("b"), Some(Command::Take(1)));
        assert_eq!(Command::of("change 2 X3 on"), Some(Command::Change(1, "X3 on".to_owned())));
        assert_eq!(Command::of("remove 2"), Some(Command::Remove(1)));
        assert!(matches!(Command::of("remove 0"), Some(Command::Incomplete(_))));
        assert!(matches!(Command::of("lamps"), Some(Command::Incomplete(_))));
        assert_eq!(Command::of("note: smells burnt"), Some(Command::Say(Entry::new(Kind::Note, "smells burnt"))));
    }

    #[test]
    fn an_answer_is_no_command() {
        for line in ["1", "X3 off", "yes", "lit", "other", "as before", "the same"] {
            assert_eq!(Command::of(line), None, "{line}");
        }
    }
}
