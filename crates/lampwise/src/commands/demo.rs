//! `lampwise demo`: the machine files that are inside the program.

use std::fmt::Write as _;
use std::fs::OpenOptions;
use std::io::{ErrorKind, Write as _};
use std::path::Path;

use serde_json::json;

use crate::arguments::Demo;
use crate::failure::Failure;
use crate::input::{DEMOS, find_demo};
use crate::screen::{Screen, padded};

/// Lists the demos, or prints or saves one.
pub fn run(demo: &Demo, screen: &Screen) -> Result<(), Failure> {
    let Some(name) = &demo.name else { return list(screen) };
    let (name, about, text) = find_demo(name)?;
    if let Some(path) = &demo.output {
        save(path, text)?;
    }
    let saved = demo.output.as_ref().map(|path| path.display().to_string());
    if screen.json {
        return screen.print_json(&json!({
            "schema": "lampwise.demo/1", "name": name, "about": about, "text": text, "saved_as": saved,
        }));
    }
    match saved {
        None => screen.print(text),
        Some(path) => screen.print(&format!("{name} saved as {path}; now try: lampwise play {path} --lamps\n")),
    }
}

fn list(screen: &Screen) -> Result<(), Failure> {
    if screen.json {
        let demos: Vec<_> = DEMOS.iter().map(|(name, about, _)| json!({ "name": name, "about": about })).collect();
        return screen.print_json(&json!({ "schema": "lampwise.demos/1", "demos": demos }));
    }
    let mut out = String::new();
    for (name, about, _) in DEMOS {
        _ = writeln!(out, "  {} {about}", padded(name, 13));
    }
    out.push_str("\nUse one as MACHINE with `demo:` before its name: lampwise play demo:minimal\n");
    screen.print(&out)
}

/// Saves a text in a file that is not there yet.
pub fn save(path: &Path, text: &str) -> Result<(), Failure> {
    let mut file = OpenOptions::new().write(true).create_new(true).open(path).map_err(|error| match error.kind() {
        ErrorKind::AlreadyExists => {
            let what = format!("`{}` is there already and is not overwritten", path.display());
            Failure::new("exists", what, "choose another name with --output, or move the file away")
        }
        _ => Failure::write(path, &error),
    })?;
    file.write_all(text.as_bytes()).map_err(|error| Failure::write(path, &error))
}
