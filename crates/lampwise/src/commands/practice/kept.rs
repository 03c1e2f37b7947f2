//! The file of progress: a line of JSON for each exercise that was ended, the oldest first. Lines are only ever added.

use std::fs::OpenOptions;
use std::io::{ErrorKind, Write as _};
use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};

use crate::failure::Failure;
use crate::input;

/// The largest file that is read, bytes: some fifty thousand exercises.
const LARGEST: usize = 10_000_000;
/// So many of the last exercises of a kind are looked at for how it goes.
const LATELY: usize = 5;

/// One exercise, or one round of drills.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Line {
    /// The machine's name.
    pub machine: String,
    /// The level, or the kind of drill.
    pub what: String,
    /// The number, for drills that of the first.
    pub number: u64,
    /// How many were right, of how many.
    pub right: usize,
    /// Of how many: 1 for an exercise.
    pub of: usize,
    /// Minutes used at the simulated machine.
    pub minutes: f64,
    /// Minutes of the program's own way.
    pub advised_minutes: f64,
}

/// What was practised so far.
pub struct Kept {
    place: Option<PathBuf>,
    lines: Vec<Line>,
}

impl Kept {
    /// What is kept at this place; a file that is not there yet is empty.
    pub fn open(place: Option<&Path>) -> Result<Self, Failure> {
        let Some(path) = place else { return Ok(Self { place: None, lines: Vec::new() }) };
        let there = path.metadata().map(|about| about.len() > 0);
        let text = match there {
            Ok(true) => input::read_text(path, "the file of progress", LARGEST)?.text,
            Ok(false) => String::new(),
            Err(error) if error.kind() == ErrorKind::NotFound => String::new(),
            Err(error) => return Err(cannot(path, &error)),
        };
        let mut lines = Vec::new();
        for (number, line) in text.lines().enumerate().filter(|(_, line)| !line.trim().is_empty()) {
            match serde_json::from_str(line) {
                Ok(line) => lines.push(line),
                Err(error) => {
                    let what = format!("`{}`, line {}: {error}", path.display(), number + 1);
                    return Err(Failure::new("progress", what, "is it the right file? Name another one"));
                }
            }
        }
        Ok(Self { place: Some(path.to_owned()), lines })
    }

    /// The number behind the last that was practised, 1 to begin with.
    pub fn next_number(&self, machine: &str, what: &str) -> u64 {
        let known = self.lines.iter().filter(|line| line.machine == machine && line.what == what);
        known.map(|line| line.number.saturating_add(line.of as u64)).max().unwrap_or(1)
    }

    /// Adds a line, on the disk before this returns.
    pub fn add(&mut self, line: Line) -> Result<(), Failure> {
        if let Some(path) = &self.place {
            let text = serde_json::to_string(&line)
                .map_err(|error| Failure::new("progress", error.to_string(), "report this as a mistake"))?;
            let mut file =
                OpenOptions::new().append(true).create(true).open(path).map_err(|error| cannot(path, &error))?;
            file.write_all(format!("{text}\n").as_bytes())
                .and_then(|()| file.sync_all())
                .map_err(|error| cannot(path, &error))?;
        }
        self.lines.push(line);
        Ok(())
    }

    /// How it has gone lately: right, of how many, and minutes used against those of the program's own way.
    /// `None` where nothing is kept.
    pub fn lately(&self, machine: &str, what: &str) -> Option<(usize, usize, f64)> {
        self.place.as_ref()?;
        let known: Vec<&Line> = self.lines.iter().filter(|line| line.machine == machine && line.what == what).collect();
        let last = &known[known.len().saturating_sub(LATELY)..];
        // What was given up took no time at all.
        let sum = |of: fn(&Line) -> f64| last.iter().filter(|line| line.right > 0).map(|line| of(line)).sum::<f64>();
        let ratio = sum(|line| line.minutes) / sum(|line| line.advised_minutes).max(f64::MIN_POSITIVE);
        Some((last.iter().map(|line| line.right).sum(), last.iter().map(|line| line.of).sum(), ratio))
    }
}

fn cannot(path: &Path, error: &std::io::Error) -> Failure {
    Failure::new("progress", format!("can't use `{}`: {error}", path.display()), "name a file in a folder of yours")
}
