//! Files that are read, with their limits, and the machine that they describe.

pub mod recorded;
pub mod spreadsheet;

use std::fs::File;
use std::io::{ErrorKind, Read};
use std::path::{Path, PathBuf};

use machine::{Alternative, Choice, LARGEST_FILE, Problem, Reading, Source, Span};

use crate::arguments::MachineChoice;
use crate::failure::Failure;

/// What stands before the name of a machine file that is inside the program.
const DEMO: &str = "demo:";

/// A machine file from inside the program: name, what it is, text.
pub const DEMOS: &[(&str, &str, &str)] = &[
    ("minimal", "jar capper: the least that is useful, 10 inputs", include_str!("../../../demos/minimal.toml")),
    ("jar-filler", "jar filler with two modes, octal lamp rows", include_str!("../../../demos/jar-filler.toml")),
    (
        "parts-washer",
        "parts washer with a second chart and two revisions",
        include_str!("../../../demos/parts-washer.toml"),
    ),
    ("lidding-line", "lidding line: parallel branches, three doors", include_str!("../../../demos/lidding-line.toml")),
];

/// What messages call a machine file.
const MACHINE_FILE: &str = "the machine file";

/// Reads a text file of at most `largest` bytes. `is` says what the file should be.
pub fn read_text(path: &Path, is: &str, largest: usize) -> Result<Source, Failure> {
    let bytes = read_bytes(path, is, largest)?;
    if bytes.starts_with(&[0xff, 0xfe]) || bytes.starts_with(&[0xfe, 0xff]) {
        return Err(cannot(path, is, "it is in UTF-16", "save it in the editor as UTF-8"));
    }
    if bytes.contains(&0) {
        return Err(cannot(path, is, "it is no text", &format!("{is} is a plain text file")));
    }
    match String::from_utf8(bytes) {
        Ok(text) => Ok(Source::new(path.display().to_string(), text)),
        Err(error) => {
            let good = error.utf8_error().valid_up_to();
            let line = error.as_bytes().iter().take(good).filter(|byte| **byte == b'\n').count() + 1;
            let why = format!("line {line} is not in UTF-8");
            Err(cannot(path, is, &why, "save it in the editor as UTF-8"))
        }
    }
}

/// Reads a file of at most `largest` bytes that is not empty.
pub fn read_bytes(path: &Path, is: &str, largest: usize) -> Result<Vec<u8>, Failure> {
    let fault = |why: &str, hint: &str| cannot(path, is, why, hint);
    let file = File::open(path).map_err(|error| match error.kind() {
        ErrorKind::NotFound => fault("there is no such file", &nearest_file(path, is)),
        ErrorKind::PermissionDenied => fault("it may not be read", "look at the file's permissions"),
        _ => fault(&error.to_string(), "look whether the path is right"),
    })?;
    if file.metadata().is_ok_and(|about| about.is_dir()) {
        return Err(fault("it is a folder", &format!("name a file in it, such as `{}`", in_folder(path))));
    }
    // One byte more than allowed tells that there is more; an endless device is not read on.
    let limit = u64::try_from(largest).unwrap_or(u64::MAX).saturating_add(1);
    let mut bytes = Vec::new();
    file.take(limit).read_to_end(&mut bytes).map_err(|error| fault(&error.to_string(), "try to copy the file"))?;
    if bytes.len() > largest {
        let why = match largest / 1000 {
            kilobytes if kilobytes % 1000 == 0 => format!("it is larger than {} MB", kilobytes / 1000),
            kilobytes => format!("it is larger than {kilobytes} kB"),
        };
        return Err(fault(&why, "is it the right file?"));
    }
    if bytes.iter().all(u8::is_ascii_whitespace) {
        let hint = match is {
            MACHINE_FILE => "`lampwise demo minimal` prints a machine file to begin with",
            _ => "look whether it is the right file",
        };
        return Err(fault("it is empty", hint));
    }
    Ok(bytes)
}

fn cannot(path: &Path, is: &str, why: &str, hint: &str) -> Failure {
    Failure::new("unreadable", format!("can't read {is} `{}`: {why}", path.display()), hint)
}

/// What may have been meant by a file that isn't there.
fn nearest_file(path: &Path, is: &str) -> String {
    let wanted = path.file_name().map(|name| name.to_string_lossy().into_owned()).unwrap_or_default();
    let folder = path.parent().unwrap_or(Path::new(""));
    let listed = if folder.as_os_str().is_empty() { Path::new(".") } else { folder };
    let mut names: Vec<String> = std::fs::read_dir(listed)
        .map(|list| list.flatten().map(|entry| entry.file_name().to_string_lossy().into_owned()).collect())
        .unwrap_or_default();
    names.sort();
    let near = names
        .iter()
        .map(|name| (strsim::jaro_winkler(name, &wanted), name))
        .filter(|(nearness, _)| *nearness > 0.85)
        .max_by(|one, two| one.0.total_cmp(&two.0));
    match near {
        Some((_, name)) => format!("did you mean `{}`?", folder.join(name).display()),
        None if is == MACHINE_FILE => "`lampwise demo` lists machines that are inside the program".to_owned(),
        None => "look whether name and folder are right".to_owned(),
    }
}

fn in_folder(path: &Path) -> String {
    let mut names: Vec<PathBuf> =
        std::fs::read_dir(path).map(|list| list.flatten().map(|entry| entry.path()).collect()).unwrap_or_default();
    names.sort();
    let toml = names.into_iter().find(|path| path.extension().is_some_and(|end| end == "toml"));
    toml.unwrap_or_else(|| path.join("machine.toml")).display().to_string()
}

/// A file that was looked over: the texts that places refer to, and what is wrong.
pub struct LookedOver {
    pub sources: Vec<Source>,
    pub problems: Vec<Problem>,
}

/// Looks a machine file over with its device libraries, or a device library by itself.
pub fn look_over(path: &Path, libraries: &[PathBuf]) -> Result<LookedOver, Failure> {
    let source = machine_text(path)?;
    if machine::is_library(&source) {
        let others: Result<Vec<Source>, Failure> = libraries.iter().map(|path| library_text(path)).collect();
        let (sources, problems) = machine::lint_library(source, &others?);
        return Ok(LookedOver { sources, problems });
    }
    let reading = read_with_libraries(source, path, libraries)?;
    let mut problems = reading.lint();
    if !problems.iter().any(Problem::is_error) {
        // What procedures promise can only be judged by simulation.
        problems.extend(diagnose::procedure::judge(&reading));
    }
    Ok(LookedOver { sources: reading.sources, problems })
}

fn library_text(path: &Path) -> Result<Source, Failure> {
    read_text(path, "the device library", LARGEST_FILE)
}

/// Reads a machine file with its device libraries: those that it names, beside it, then those of the command line.
pub fn read_machine(path: &Path, libraries: &[PathBuf]) -> Result<Reading, Failure> {
    let source = machine_text(path)?;
    read_with_libraries(source, path, libraries)
}

fn read_with_libraries(source: Source, path: &Path, libraries: &[PathBuf]) -> Result<Reading, Failure> {
    let folder = path.parent().unwrap_or(Path::new(""));
    let named = machine::libraries_named(&source).into_iter().map(|name| folder.join(name));
    let mut texts = Vec::new();
    for library in named.chain(libraries.iter().cloned()) {
        texts.push(library_text(&library)?);
    }
    Ok(machine::read(source, &texts))
}

fn machine_text(path: &Path) -> Result<Source, Failure> {
    let name = path.to_string_lossy();
    if let (Some(demo), false) = (name.strip_prefix(DEMO), path.exists()) {
        let (_, _, text) = find_demo(demo)?;
        return Ok(Source::new(name.as_ref(), *text));
    }
    read_text(path, MACHINE_FILE, LARGEST_FILE)
}

/// The demo of this name.
pub fn find_demo(name: &str) -> Result<&'static (&'static str, &'static str, &'static str), Failure> {
    DEMOS.iter().find(|(known, ..)| *known == name).ok_or_else(|| {
        let names: Vec<&str> = DEMOS.iter().map(|(known, ..)| *known).collect();
        Failure::new("unknown-demo", format!("there is no demo `{name}`"), format!("there is: {}", names.join(", ")))
    })
}

/// One machine, with what the file leaves open.
pub struct Chosen {
    /// The file that was read.
    pub reading: Reading,
    /// The alternatives, at least one.
    pub alternatives: Vec<Alternative>,
    /// What is worth knowing about the file; nothing that keeps it from being used.
    pub remarks: Vec<Problem>,
}

/// Reads a machine file and resolves it for the machine that is meant.
pub fn choose(arguments: &MachineChoice) -> Result<Chosen, Failure> {
    if let Some(records) = &arguments.records {
        return recorded::choose(arguments, records);
    }
    let reading = read_machine(&arguments.machine, &arguments.library)?;
    let choice = choice(arguments, &reading)?;
    resolve(reading, &choice)
}

fn resolve(reading: Reading, choice: &Choice) -> Result<Chosen, Failure> {
    let resolved = reading.resolve(choice);
    // What has no place in the file is about what was asked for, such as an unknown setting.
    let asked = resolved.problems.iter().filter(|problem| problem.is_error() && problem.span == Span::default());
    let wrongly = asked.map(|one| Failure::new(one.code, one.what.clone(), one.hint.clone().unwrap_or_default()));
    if let (Some(failure), true) = (wrongly.reduce(Failure::and), !choice.settings.is_empty()) {
        return Err(failure);
    }
    if resolved.problems.iter().any(Problem::is_error) || resolved.alternatives.is_empty() {
        return Err(Failure::file(reading.sources, resolved.problems));
    }
    Ok(Chosen { reading, alternatives: resolved.alternatives, remarks: resolved.problems })
}

fn choice(arguments: &MachineChoice, reading: &Reading) -> Result<Choice, Failure> {
    let mut settings = Vec::new();
    for text in &arguments.settings {
        let Some((name, value)) = text.split_once('=') else {
            let hint = "write NAME=VALUE, such as `--set fill_time=T#3s`";
            return Err(Failure::new("setting", format!("`--set {text}` has no value"), hint));
        };
        settings.push((name.trim().to_owned(), value.trim().to_owned()));
    }
    if let Some(name) = &arguments.revision
        && !reading.revisions().iter().any(|revision| revision.name == *name)
    {
        let names: Vec<String> = reading.revisions().iter().map(|revision| revision.name.clone()).collect();
        let hint = match names.as_slice() {
            [] => "this machine file has no revisions; leave `--revision` out".to_owned(),
            names => format!("there is: {}", names.join(", ")),
        };
        return Err(Failure::new("unknown-revision", format!("there is no revision `{name}`"), hint));
    }
    Ok(Choice { revision: arguments.revision.clone(), serial: arguments.serial, settings })
}
