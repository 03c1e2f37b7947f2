//! One thing that was said in a call, in the words in which it was said.

use crate::reading::ReadingError;
use std::fmt;

/// What an entry is about. Its word stands before the text in a file, and is what people type.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Kind {
    /// Who is at the machine.
    Who,
    /// Running hours since it last ran well.
    Hours,
    /// What happened to the machine lately.
    Recently,
    /// How many things that are wrong at once are thought of.
    AtOnce,
    /// The complaint, how often it comes included.
    Complaint,
    /// The routine that people were doing.
    Routine,
    /// What was done before the call.
    Did,
    /// Lamps.
    Lamps,
    /// Positions.
    Saw,
    /// Answers to checks.
    Found,
    /// Lamps looked at once more, later; nobody did anything meanwhile.
    Again,
    /// What was done then.
    Then,
    /// A remedy that was tried.
    Tried,
    /// Whether it runs again.
    Runs,
    /// Something that nobody there knows, by its key.
    Unknown,
    /// Something that nobody there can do, by its key.
    Cannot,
    /// A note.
    Note,
}

impl Kind {
    /// All of them.
    pub const ALL: [Self; 17] = [
        Self::Who,
        Self::Hours,
        Self::Recently,
        Self::AtOnce,
        Self::Complaint,
        Self::Routine,
        Self::Did,
        Self::Lamps,
        Self::Saw,
        Self::Found,
        Self::Again,
        Self::Then,
        Self::Tried,
        Self::Runs,
        Self::Unknown,
        Self::Cannot,
        Self::Note,
    ];

    /// The word for it.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Who => "who",
            Self::Hours => "hours",
            Self::Recently => "recently",
            Self::AtOnce => "at-once",
            Self::Complaint => "complaint",
            Self::Routine => "routine",
            Self::Did => "did",
            Self::Lamps => "lamps",
            Self::Saw => "saw",
            Self::Found => "found",
            Self::Again => "again",
            Self::Then => "then",
            Self::Tried => "tried",
            Self::Runs => "runs",
            Self::Unknown => "unknown",
            Self::Cannot => "cannot",
            Self::Note => "note",
        }
    }

    /// The kind that is called by this word.
    #[must_use]
    pub fn called(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|kind| kind.word().eq_ignore_ascii_case(word))
    }

    /// Whether a later entry of this kind takes the place of an earlier one.
    #[must_use]
    pub fn is_single(self) -> bool {
        matches!(self, Self::Who | Self::Hours | Self::AtOnce | Self::Complaint | Self::Routine)
    }
}

/// One thing that was said.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Entry {
    /// What it is about.
    pub kind: Kind,
    /// The words: one line.
    pub text: String,
}

impl Entry {
    /// An entry; line ends and other control characters become blanks.
    #[must_use]
    pub fn new(kind: Kind, text: impl AsRef<str>) -> Self {
        let clean: String =
            text.as_ref().chars().map(|letter| if letter.is_control() { ' ' } else { letter }).collect();
        Self { kind, text: clean.trim().to_owned() }
    }

    /// An entry as a line of a file or as people type it: `lamps: X3 off`; the colon may be missing.
    #[must_use]
    pub fn of_line(line: &str) -> Option<Self> {
        let line = line.trim();
        let end = line.find(|letter: char| !letter.is_ascii_alphabetic() && letter != '-').unwrap_or(line.len());
        let (word, rest) = line.split_at(end);
        let kind = Kind::called(word)?;
        let rest = rest.trim_start();
        Some(Self::new(kind, rest.strip_prefix(':').unwrap_or(rest)))
    }
}

impl fmt::Display for Entry {
    /// As a line of a file.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}: {}", self.kind.word(), self.text)
    }
}

/// Entries with new ones added. One of a kind that is said only once takes the place of the one before.
///
/// ```
/// use diagnose::call::{Entry, Kind, added};
/// let known = [Entry::new(Kind::Who, "operator"), Entry::new(Kind::Note, "loud")];
/// let entries = added(&known, vec![Entry::new(Kind::Who, "technician"), Entry::new(Kind::Note, "hot")]);
/// let texts: Vec<&str> = entries.iter().map(|entry| entry.text.as_str()).collect();
/// assert_eq!(texts, ["technician", "loud", "hot"]);
/// ```
#[must_use]
pub fn added(entries: &[Entry], new: Vec<Entry>) -> Vec<Entry> {
    let mut entries = entries.to_vec();
    for entry in new {
        match entries.iter_mut().find(|known| entry.kind.is_single() && known.kind == entry.kind) {
            Some(known) => *known = entry,
            None => entries.push(entry),
        }
    }
    entries
}

/// Why an entry can't be understood.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct EntryMistake {
    /// Which entry, from 0.
    pub entry: usize,
    /// The text that the places of `mistakes` are in.
    pub text: String,
    /// What is wrong with it.
    pub mistakes: Vec<ReadingError>,
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_line_reads_back() {
        for kind in Kind::ALL {
            let entry = Entry::new(kind, "X3 off: really");
            assert_eq!(Entry::of_line(&entry.to_string()), Some(entry));
        }
        assert_eq!(Entry::of_line("LAMPS X3 off"), Some(Entry::new(Kind::Lamps, "X3 off")));
        assert_eq!(Entry::of_line("lampshade on"), None);
        assert_eq!(Entry::of_line(""), None);
    }

    #[test]
    fn an_entry_is_one_line() {
        assert_eq!(Entry::new(Kind::Note, " a\nb\u{7}c ").text, "a b c");
    }
}
