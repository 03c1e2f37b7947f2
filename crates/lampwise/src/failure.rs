//! Everything that can keep a command from giving its answer: what, where, why,
//! and what to do. Each is printed once, by [`Failure::report`]: as text on the
//! standard error, or with `--json` as a document on the standard output.

use std::fmt::Write as _;
use std::io;
use std::io::Write as _;
use std::path::Path;
use std::process::ExitCode;

use anstyle::{AnsiColor, Effects, Style};
use diagnose::reading::{ReadingError, render_mistakes};
use machine::{Problem, Source};
use serde_json::{Value, json};

use crate::screen::Screen;

/// Exit code for a machine file or library with mistakes in it.
pub const WRONG_FILE: u8 = 1;
/// Exit code for wrong usage, unreadable input, and reports that can't be understood.
pub const WRONG_USE: u8 = 2;

const ERROR: Style = AnsiColor::Red.on_default().effects(Effects::BOLD);
const HINT: Style = AnsiColor::Cyan.on_default();

/// Why there is no answer.
#[derive(Debug)]
pub struct Failure {
    exit: u8,
    faults: Vec<Fault>,
}

#[derive(Debug)]
enum Fault {
    /// Something about an argument, a file, the outside.
    Plain { code: &'static str, what: String, hint: String },
    /// Mistakes in what was typed behind a flag.
    Typed { flag: String, text: String, mistakes: Vec<ReadingError> },
    /// Mistakes in a machine file or library.
    File { sources: Vec<Source>, problems: Vec<Problem> },
}

impl Failure {
    /// A single thing that is wrong with an argument, and what to do.
    pub fn new(code: &'static str, what: impl Into<String>, hint: impl Into<String>) -> Self {
        Self { exit: WRONG_USE, faults: vec![Fault::Plain { code, what: what.into(), hint: hint.into() }] }
    }

    /// The output can't be written.
    pub fn output(error: &io::Error) -> Self {
        Self::new("output", format!("can't write the output: {error}"), "look whether the disk is full")
    }

    /// A file can't be written.
    pub fn write(path: &Path, error: &io::Error) -> Self {
        let hint = "choose another place with --output";
        Self::new("write", format!("can't write `{}`: {error}", path.display()), hint)
    }

    /// Mistakes in the text behind a flag.
    pub fn typed(flag: impl Into<String>, text: impl Into<String>, mistakes: Vec<ReadingError>) -> Self {
        Self { exit: WRONG_USE, faults: vec![Fault::Typed { flag: flag.into(), text: text.into(), mistakes }] }
    }

    /// Mistakes in a machine file.
    pub fn file(sources: Vec<Source>, problems: Vec<Problem>) -> Self {
        Self { exit: WRONG_FILE, faults: vec![Fault::File { sources, problems }] }
    }

    /// What the argument parser found.
    pub fn usage(error: &clap::Error) -> Self {
        let text = error.render().to_string();
        let what = text.lines().next().unwrap_or_default().trim_start_matches("error: ").to_owned();
        Self::new("usage", what, "`lampwise COMMAND --help` shows every flag with examples")
    }

    /// Both: everything wrong is said in one go.
    pub fn and(mut self, other: Self) -> Self {
        self.exit = self.exit.max(other.exit);
        self.faults.extend(other.faults);
        self
    }

    /// The first thing that is wrong, in one line.
    pub fn first_message(&self) -> String {
        match self.faults.first() {
            Some(Fault::Plain { what, .. }) => what.clone(),
            Some(Fault::Typed { mistakes, .. }) => mistakes.first().map(|one| one.what.clone()).unwrap_or_default(),
            Some(Fault::File { problems, .. }) => problems.first().map(|one| one.what.clone()).unwrap_or_default(),
            None => String::new(),
        }
    }

    /// Prints it and gives the exit code.
    pub fn report(&self, screen: &Screen) -> ExitCode {
        if screen.json {
            let errors: Vec<Value> = self.faults.iter().flat_map(Fault::to_json).collect();
            let document = json!({ "schema": "lampwise.error/1", "exit_code": self.exit, "errors": errors });
            // If even this can't be written, the exit code still tells.
            _ = screen.print_json(&document);
        } else {
            let colour = anstream::AutoStream::choice(&io::stderr()) != anstream::ColorChoice::Never;
            let text: Vec<String> = self.faults.iter().map(|fault| fault.render(colour)).collect();
            _ = write!(anstream::stderr(), "{}", text.join("\n"));
        }
        ExitCode::from(self.exit)
    }
}

impl Fault {
    fn render(&self, colour: bool) -> String {
        let mut text = String::new();
        match self {
            Self::Plain { what, hint, .. } => {
                _ = writeln!(text, "{ERROR}error{ERROR:#}: {what}");
                if !hint.is_empty() {
                    _ = writeln!(text, "  {HINT}help{HINT:#}: {hint}");
                }
            }
            Self::Typed { flag, text: typed, mistakes } => {
                text = render_mistakes(flag, typed, mistakes, colour);
            }
            Self::File { sources, problems } => {
                for problem in problems {
                    _ = writeln!(text, "{}", problem.render(sources, colour));
                }
            }
        }
        text
    }

    fn to_json(&self) -> Vec<Value> {
        match self {
            Self::Plain { code, what, hint } => {
                vec![json!({ "code": code, "message": what, "hint": hint, "where": null })]
            }
            Self::Typed { flag, text, mistakes } => mistakes
                .iter()
                .map(|mistake| {
                    json!({
                        "code": mistake.kind.code(),
                        "message": mistake.what,
                        "hint": mistake.hint,
                        "where": {
                            "flag": flag,
                            "text": text,
                            "start": mistake.span.start,
                            "end": mistake.span.end,
                        },
                    })
                })
                .collect(),
            Self::File { sources, problems } => problems
                .iter()
                .map(|problem| {
                    let place = problem.to_json(sources);
                    json!({
                        "code": problem.code,
                        "message": problem.what,
                        "hint": problem.hint,
                        "where": { "file": place["file"], "line": place["line"], "column": place["column"] },
                    })
                })
                .collect(),
        }
    }
}
