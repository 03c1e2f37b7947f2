//! Answers, line by line: from the keyboard, a pipe, or a file.

use std::io::{BufRead, BufReader, Cursor, IsTerminal, Read as _};
use std::path::Path;

use crate::failure::Failure;
use crate::input;

/// The longest answer that is read, bytes; what is behind is dropped.
const LONGEST: u64 = 70_000;
/// A line longer than this has no end, bytes.
const ENDLESS: u64 = 100_000_000;
/// The largest file of answers, bytes.
const LARGEST_FILE: usize = 1_000_000;

/// Where answers come from.
pub struct Answers {
    lines: Box<dyn BufRead>,
    /// Whether what is typed shows by itself.
    pub typed: bool,
}

impl Answers {
    /// From the standard input.
    pub fn of_stdin() -> Self {
        let typed = std::io::stdin().is_terminal();
        Self { lines: Box::new(BufReader::new(std::io::stdin())), typed }
    }

    /// From a file.
    pub fn of_file(path: &Path) -> Result<Self, Failure> {
        let text = input::read_text(path, "the file of answers", LARGEST_FILE)?.text;
        Ok(Self { lines: Box::new(Cursor::new(text.into_bytes())), typed: false })
    }

    /// The next answer without blanks around it; none at the end. Lines that begin with `#` are comments.
    pub fn next(&mut self) -> Result<Option<String>, Failure> {
        loop {
            let mut bytes = Vec::new();
            let read = (&mut self.lines).take(LONGEST).read_until(b'\n', &mut bytes);
            match read {
                Ok(0) => return Ok(None),
                Ok(_) if bytes.last() != Some(&b'\n') && bytes.len() as u64 >= LONGEST => self.drop_rest_of_line()?,
                Ok(_) => {}
                Err(error) => return Err(unreadable(&error)),
            }
            let line = String::from_utf8_lossy(&bytes).trim().to_owned();
            if !line.starts_with('#') {
                return Ok(Some(line));
            }
        }
    }
    fn drop_rest_of_line(&mut self) -> Result<(), Failure> {
        let mut dropped = Vec::new();
        for _ in 0..ENDLESS / LONGEST {
            dropped.clear();
            let read = (&mut self.lines).take(LONGEST).read_until(b'\n', &mut dropped);
            if read.map_err(|error| unreadable(&error))? == 0 || dropped.last() == Some(&b'\n') {
                break;
            }
        }
        Ok(())
    }
}

fn unreadable(error: &std::io::Error) -> Failure {
    Failure::new("unreadable", format!("can't read the answers: {error}"), "give them in a file with --answers")
}
