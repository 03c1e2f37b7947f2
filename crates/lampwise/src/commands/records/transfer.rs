//! Lists taken in and written out.

use std::ffi::OsStr;
use std::fmt::Write as _;
use std::fs::OpenOptions;
use std::io::{BufWriter, ErrorKind, Write as _};
use std::path::Path;
use std::process::ExitCode;

use jiff::Timestamp;
use records::transfer::{Format, LARGEST_IMPORT, Things};
use serde_json::json;

use super::wrong;
use crate::arguments::records::{Export, Import, ListFormat, Things as Named};
use crate::failure::{Failure, WRONG_FILE};
use crate::input::{read_bytes, recorded::open};
use crate::screen::{BAD, FAINT, Screen};

fn things(named: Named) -> Things {
    match named {
        Named::Machines => Things::Machines,
        Named::Calls => Things::Calls,
        Named::Findings => Things::Findings,
        Named::Hours => Things::Hours,
        Named::Procedures => Things::Procedures,
    }
}

fn format(named: Option<ListFormat>, path: Option<&Path>) -> Format {
    let end = path.and_then(Path::extension).and_then(OsStr::to_str).unwrap_or_default().to_ascii_lowercase();
    match (named, end.as_str()) {
        (Some(ListFormat::JsonLines), _) | (None, "jsonl" | "ndjson" | "json") => Format::JsonLines,
        _ => Format::Csv,
    }
}

/// Takes a list in.
pub fn import(arguments: &Import, screen: &Screen) -> Result<ExitCode, Failure> {
    let mut store = open(&arguments.place.records)?;
    let text = read_bytes(&arguments.list, "the list", LARGEST_IMPORT)?;
    let (things, format) = (things(arguments.things), format(arguments.format, Some(&arguments.list)));
    let report = store.import(things, format, &text, arguments.dry_run, Timestamp::now()).map_err(wrong)?;
    let code = if report.problems.is_empty() { ExitCode::SUCCESS } else { ExitCode::from(WRONG_FILE) };
    if screen.json {
        screen.print_json(&json!({
            "schema": "lampwise.records.import/1", "what": things.word(), "dry_run": arguments.dry_run, "report": report,
        }))?;
        return Ok(code);
    }
    let mut out = String::new();
    for problem in &report.problems {
        _ = writeln!(out, "{BAD}line {}{BAD:#}: {}", problem.line, problem.what);
        _ = writeln!(out, "    {FAINT}{}{FAINT:#}", problem.hint);
    }
    if report.more_problems > 0 {
        _ = writeln!(out, "and {} more problems", report.more_problems);
    }
    let counts = format!("{} new, {} changed, {} as before", report.added, report.changed, report.unchanged);
    _ = match (report.kept, report.problems.is_empty()) {
        (true, _) => writeln!(out, "{} rows kept: {counts}", report.rows),
        (false, true) => writeln!(out, "{} rows without a problem: {counts}; nothing was kept", report.rows),
        (false, false) => writeln!(out, "{} rows; nothing was kept", report.rows),
    };
    screen.print(&out)?;
    Ok(code)
}

/// Writes a list out.
pub fn export(arguments: &Export, screen: &Screen) -> Result<(), Failure> {
    let store = open(&arguments.place.records)?;
    let (things, format) = (things(arguments.things), format(arguments.format, arguments.output.as_deref()));
    let Some(path) = &arguments.output else {
        let mut text = Vec::new();
        let count = store.export(things, format, &mut text).map_err(wrong)?;
        let text = String::from_utf8_lossy(&text);
        if screen.json {
            return screen.print_json(&json!({
                "schema": "lampwise.records.export/1", "what": things.word(), "count": count, "text": text,
                "saved_as": null,
            }));
        }
        return screen.print(&text);
    };
    let file = OpenOptions::new().write(true).create_new(true).open(path).map_err(|error| match error.kind() {
        ErrorKind::AlreadyExists => {
            let what = format!("`{}` is there already and is not overwritten", path.display());
            Failure::new("exists", what, "choose another name with --output, or move the file away")
        }
        _ => Failure::write(path, &error),
    })?;
    let mut file = BufWriter::new(file);
    let count = store.export(things, format, &mut file).map_err(wrong)?;
    file.flush().map_err(|error| Failure::write(path, &error))?;
    let saved = path.display().to_string();
    if screen.json {
        return screen.print_json(&json!({
            "schema": "lampwise.records.export/1", "what": things.word(), "count": count, "text": null,
            "saved_as": saved,
        }));
    }
    screen.print(&format!("{count} {} written to {saved}\n", things.word()))
}
