//! `lampwise lint`: all mistakes of machine files and device libraries in one go.

use std::fmt::Write as _;
use std::io;
use std::process::ExitCode;

use machine::{Problem, Severity};
use serde_json::{Value, json};

use crate::arguments::Lint;
use crate::failure::{Failure, WRONG_FILE};
use crate::input;
use crate::screen::{BAD, GOOD, STRONG, Screen};

/// Looks the files over; exit code 1 if one has errors.
pub fn run(lint: &Lint, screen: &Screen) -> Result<ExitCode, Failure> {
    let colour = anstream::AutoStream::choice(&io::stdout()) != anstream::ColorChoice::Never;
    let mut out = String::new();
    let mut files: Vec<Value> = Vec::new();
    let mut wrong = false;
    let mut unreadable: Option<Failure> = None;
    for path in &lint.files {
        let looked = match input::look_over(path, &lint.library) {
            Ok(looked) => looked,
            Err(failure) => {
                unreadable = Some(match unreadable {
                    Some(before) => before.and(failure),
                    None => failure,
                });
                continue;
            }
        };
        let input::LookedOver { sources, problems } = looked;
        let errors = count(&problems, Severity::Error);
        wrong |= errors > 0;
        files.push(json!({
            "file": path.display().to_string(),
            "errors": errors,
            "warnings": count(&problems, Severity::Warning),
            "problems": problems.iter().map(|problem| problem.to_json(&sources)).collect::<Vec<_>>(),
        }));
        for problem in &problems {
            _ = writeln!(out, "{}\n", problem.render(&sources, colour));
        }
        let style = if errors > 0 { BAD } else { GOOD };
        let name = path.display();
        _ = writeln!(out, "{STRONG}{name}{STRONG:#}: {style}{}{style:#}", verdict(&problems));
    }
    if let Some(failure) = unreadable {
        // Half of the files looked over is no answer, but what was found is worth reading.
        if !screen.json {
            screen.print(&out)?;
        }
        return Err(failure);
    }
    if screen.json {
        screen.print_json(&json!({ "schema": "lampwise.lint/1", "files": files }))?;
    } else {
        screen.print(&out)?;
    }
    Ok(if wrong { ExitCode::from(WRONG_FILE) } else { ExitCode::SUCCESS })
}

fn count(problems: &[Problem], severity: Severity) -> usize {
    problems.iter().filter(|problem| problem.severity == severity).count()
}

fn verdict(problems: &[Problem]) -> String {
    let parts: Vec<String> = [Severity::Error, Severity::Warning, Severity::Note]
        .into_iter()
        .map(|severity| (count(problems, severity), severity.word()))
        .filter(|(count, _)| *count > 0)
        .map(|(count, word)| format!("{count} {word}{}", if count == 1 { "" } else { "s" }))
        .collect();
    if parts.is_empty() { "no mistakes found".to_owned() } else { parts.join(", ") }
}
