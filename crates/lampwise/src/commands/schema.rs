//! `lampwise schema`: JSON Schemas of the files that are read and the documents that are printed.

use std::fmt::Write as _;

use machine::shape::{LIBRARY_FILE, MACHINE_FILE, WORDS_FILE, json_schema};
use serde_json::{Value, json};

use crate::arguments::Schema;
use crate::failure::Failure;
use crate::screen::{Screen, padded};

const FILES: &[(&str, &str)] =
    &[("machine", "a machine file"), ("library", "a device library"), ("words", "translations")];

/// What commands print with `--json`: name, and the schema's text.
const DOCUMENTS: &[(&str, &str)] = &[
    ("why", include_str!("../../schemas/why.json")),
    ("call", include_str!("../../schemas/call.json")),
    ("play", include_str!("../../schemas/play.json")),
    ("procedure", include_str!("../../schemas/procedure.json")),
    ("practice", include_str!("../../schemas/practice.json")),
    ("serve", include_str!("../../schemas/serve.json")),
    ("tree", include_str!("../../schemas/tree.json")),
    ("sheet", include_str!("../../schemas/sheet.json")),
    ("guide", include_str!("../../schemas/guide.json")),
    ("review", include_str!("../../schemas/review.json")),
    ("lint", include_str!("../../schemas/lint.json")),
    ("draft", include_str!("../../schemas/draft.json")),
    ("describe", include_str!("../../schemas/describe.json")),
    ("trial", include_str!("../../schemas/trial.json")),
    ("types", include_str!("../../schemas/types.json")),
    ("demo", include_str!("../../schemas/demo.json")),
    ("schema", include_str!("../../schemas/schema.json")),
    ("completions", include_str!("../../schemas/completions.json")),
    ("man", include_str!("../../schemas/man.json")),
    ("records", include_str!("../../schemas/records.json")),
    ("accounts", include_str!("../../schemas/accounts.json")),
    ("error", include_str!("../../schemas/error.json")),
];

/// Prints a schema, or the list of them.
pub fn run(arguments: &Schema, screen: &Screen) -> Result<(), Failure> {
    let Some(name) = &arguments.name else { return list(screen) };
    screen.print_json(&schema(name)?)
}

fn schema(name: &str) -> Result<Value, Failure> {
    match name {
        "machine" => return Ok(json_schema(&MACHINE_FILE)),
        "library" => return Ok(json_schema(&LIBRARY_FILE)),
        "words" => return Ok(json_schema(&WORDS_FILE)),
        _ => {}
    }
    let Some((_, text)) = DOCUMENTS.iter().find(|(known, _)| *known == name) else {
        let names: Vec<&str> = FILES.iter().chain(DOCUMENTS).map(|(name, _)| *name).collect();
        let hint = format!("there is: {}", names.join(", "));
        return Err(Failure::new("unknown-schema", format!("there is no schema `{name}`"), hint));
    };
    serde_json::from_str(text).map_err(|error| Failure::new("schema", error.to_string(), "please report this"))
}

fn list(screen: &Screen) -> Result<(), Failure> {
    let names = || FILES.iter().chain(DOCUMENTS).map(|(name, _)| *name);
    if screen.json {
        return screen.print_json(&json!({ "schema": "lampwise.schema/1", "names": names().collect::<Vec<_>>() }));
    }
    let mut out = String::new();
    for (name, about) in FILES {
        _ = writeln!(out, "  {} {about}", padded(name, 12));
    }
    for (name, _) in DOCUMENTS {
        let about = match *name {
            "error" => "what any command prints with --json when it fails".to_owned(),
            name => format!("what `lampwise {name} --json` prints"),
        };
        _ = writeln!(out, "  {} {about}", padded(name, 12));
    }
    screen.print(&out)
}
