//! A call as one readable text: what machine it is, a blank line, then a line for each entry.
//!
//! ```text
//! lampwise call 1
//! file: demo:jar-filler
//! machine: Jar filler
//! version: 4
//! fingerprint: 9c1f0b6f4e0d2a77
//!
//! complaint: it won't start
//! lamps: X12 X14 on, rest off
//! found: B3/own-led: off
//! ```
//!
//! Whoever reads it needs no program; whoever edits it keeps to the words of the dialogue.

use super::entry::Entry;
use std::fmt::{self, Write as _};

/// First line, with the version of the format.
const TITLE: &str = "lampwise call 1";
/// Entries at most; a call has some dozens.
pub(super) const MOST_ENTRIES: usize = 1_000;

/// What a call goes on from, if not from nothing.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Origin {
    /// A step of a procedure that did not go as expected.
    Procedure {
        /// The procedure's name in the machine file.
        name: String,
        /// How many of its steps were done.
        steps: usize,
    },
}

/// A call as it is kept.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Record {
    /// The machine file, as it was named.
    pub file: String,
    /// Further device libraries.
    pub libraries: Vec<String>,
    /// The machine's name.
    pub machine: String,
    /// The version that the machine file says of itself.
    pub version: String,
    /// The revision that was chosen by name.
    pub revision: Option<String>,
    /// The serial number.
    pub serial: Option<u64>,
    /// Settings, as `name=value`.
    pub settings: Vec<String>,
    /// Minutes until somebody qualified for everything can be there, if that was said.
    pub visit: Option<u32>,
    /// Fingerprint of the machine file and its libraries, see [`fingerprint`].
    pub fingerprint: String,
    /// What it goes on from.
    pub origin: Option<Origin>,
    /// What was said.
    pub entries: Vec<Entry>,
}

/// What is wrong with the text of a call.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct RecordMistake {
    /// The line, from 1.
    pub line: usize,
    /// What is wrong.
    pub what: String,
    /// What to do.
    pub hint: String,
}

impl fmt::Display for RecordMistake {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "line {}: {} ({})", self.line, self.what, self.hint)
    }
}

impl std::error::Error for RecordMistake {}

impl fmt::Display for Record {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let mut head = String::new();
        let mut put = |key: &str, value: &str| {
            // A line end in a name would begin another line.
            let value: String = value.chars().map(|one| if one.is_control() { ' ' } else { one }).collect();
            _ = writeln!(head, "{key}: {}", value.trim());
        };
        put("file", &self.file);
        self.libraries.iter().for_each(|library| put("library", library));
        put("machine", &self.machine);
        put("version", &self.version);
        if let Some(revision) = &self.revision {
            put("revision", revision);
        }
        if let Some(serial) = self.serial {
            put("serial", &serial.to_string());
        }
        self.settings.iter().for_each(|setting| put("set", setting));
        if let Some(minutes) = self.visit {
            put("visit", &format!("{minutes} min"));
        }
        put("fingerprint", &self.fingerprint);
        if let Some(Origin::Procedure { name, steps }) = &self.origin {
            put("procedure", &format!("{name}, {steps} steps"));
        }
        writeln!(f, "{TITLE}\n{head}")?;
        self.entries.iter().try_for_each(|entry| writeln!(f, "{entry}"))
    }
}

impl Record {
    /// Reads the text of a call. Empty lines and lines that begin with `#` behind the head say nothing.
    ///
    /// # Errors
    /// Every line that can't be read.
    pub fn of_text(text: &str) -> Result<Self, Vec<RecordMistake>> {
        let mut record = Self::default();
        let mut mistakes = Vec::new();
        let mut mistake = |line: usize, what: String, hint: &str| {
            mistakes.push(RecordMistake { line: line + 1, what, hint: hint.to_owned() });
        };
        let mut lines = text.trim_start_matches('\u{feff}').lines().enumerate();
        match lines.next() {
            Some((_, TITLE)) => {}
            Some((at, first)) if first.starts_with("lampwise call ") => {
                let hint = "take a newer lampwise";
                mistake(at, "this call was saved by a newer version of the program".to_owned(), hint);
                return Err(mistakes);
            }
            _ => {
                mistake(0, "this is no saved call".to_owned(), &format!("its first line is `{TITLE}`"));
                return Err(mistakes);
            }
        }
        for (at, line) in lines.by_ref().take_while(|(_, line)| !line.trim().is_empty()) {
            let (key, value) = line.split_once(':').unwrap_or((line, ""));
            let value = value.trim().to_owned();
            match key.trim() {
                "file" => record.file = value,
                "library" => record.libraries.push(value),
                "machine" => record.machine = value,
                "version" => record.version = value,
                "revision" => record.revision = Some(value),
                "serial" => match value.parse() {
                    Ok(serial) => record.serial = Some(serial),
                    Err(_) => mistake(at, format!("`{}` is no serial number", short(&value)), "it is a whole number"),
                },
                "set" => record.settings.push(value),
                "visit" => match value.trim_end_matches("min").trim().parse() {
                    Ok(minutes) => record.visit = Some(minutes),
                    Err(_) => mistake(at, format!("`{}` is no time", short(&value)), "write it as `180 min`"),
                },
                "fingerprint" => record.fingerprint = value,
                "procedure" => match procedure(&value) {
                    Some(origin) => record.origin = Some(origin),
                    None => {
                        let hint = "write it as `procedure: first_start, 3 steps`";
                        mistake(at, format!("`{}` is no procedure with its steps", short(&value)), hint);
                    }
                },
                other => {
                    let hint = "it belongs to the entries, behind the first empty line, or is misspelt";
                    mistake(at, format!("`{}` is not in the head of a call", short(other)), hint);
                }
            }
        }
        for (at, line) in lines.filter(|(_, line)| !line.trim().is_empty() && !line.starts_with('#')) {
            if record.entries.len() >= MOST_ENTRIES {
                mistake(at, format!("more than {MOST_ENTRIES} entries"), "is it the right file?");
                break;
            }
            match Entry::of_line(line) {
                Some(entry) => record.entries.push(entry),
                None => {
                    let hint = "an entry is a line such as `lamps: X3 off`";
                    mistake(at, format!("`{}` is no entry", short(line)), hint);
                }
            }
        }
        mistakes.truncate(20);
        if mistakes.is_empty() { Ok(record) } else { Err(mistakes) }
    }
}

fn procedure(value: &str) -> Option<Origin> {
    let (name, steps) = value.rsplit_once(',')?;
    let steps = steps.trim().strip_suffix("steps")?.trim().parse().ok()?;
    Some(Origin::Procedure { name: name.trim().to_owned(), steps })
}

fn short(text: &str) -> String {
    text.chars().take(40).collect()
}

/// A fingerprint of texts: FNV-1a, 64 bits, as hexadecimal digits. It notices that a file was changed; it
/// does not protect against somebody who wants to deceive.
#[must_use]
pub fn fingerprint<'t>(texts: impl IntoIterator<Item = &'t str>) -> String {
    let mut sum: u64 = 0xcbf2_9ce4_8422_2325;
    for text in texts {
        // The end of a text counts, so that moving a line from one file to the next is noticed.
        for byte in text.bytes().chain([0]) {
            sum = (sum ^ u64::from(byte)).wrapping_mul(0x0100_0000_01b3);
        }
    }
    format!("{sum:016x}")
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::super::entry::Kind;
    use super::*;

    fn record() -> Record {
        Record {
            file: "machines/press: old.toml".to_owned(),
            libraries: vec!["shop.toml".to_owned()],
            machine: "Press".to_owned(),
            version: "3".to_owned(),
            revision: Some("B".to_owned()),
            serial: Some(17),
            settings: vec!["time=T#3s".to_owned()],
            visit: Some(240),
            fingerprint: fingerprint(["a", "b"]),
            origin: Some(Origin::Procedure { name: "first_start".to_owned(), steps: 3 }),
            entries: vec![Entry::new(Kind::Complaint, "won't start"), Entry::new(Kind::Note, "")],
        }
    }

    #[test]
    fn a_call_reads_back_as_it_was_written() {
        for record in [record(), Record { entries: Vec::new(), origin: None, ..record() }] {
            assert_eq!(Record::of_text(&record.to_string()).unwrap(), record);
        }
    }

    #[test]
    fn every_wrong_line_is_told_with_its_number() {
        let text = "lampwise call 1\nserial: many\nvisit: soon\nfoo: bar\n\n# a remark\nlamps: X1 on\nnonsense\n";
        let lines: Vec<usize> = Record::of_text(text).unwrap_err().iter().map(|mistake| mistake.line).collect();
        assert_eq!(lines, [2, 3, 4, 8]);
        assert!(Record::of_text("").is_err());
        assert!(Record::of_text("lampwise call 2\n").unwrap_err()[0].what.contains("newer"));
    }

    #[test]
    fn a_fingerprint_is_that_of_the_published_algorithm_and_notices_moved_lines() {
        // published: FNV-1a 64 of the empty string is the offset basis; of "\0" it is af63bd4c8601b7df.
        assert_eq!(fingerprint([]), "cbf29ce484222325");
        assert_eq!(fingerprint([""]), "af63bd4c8601b7df");
        assert_ne!(fingerprint(["ab", "c"]), fingerprint(["a", "bc"]));
    }
}
