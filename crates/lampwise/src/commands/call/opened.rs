//! The machine of a call and what was kept of it: from the arguments, or from a saved call.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use diagnose::call::{Entry, Record, Session, code, fingerprint};
use diagnose::next::Terms;
use diagnose::{Alternative, Shelf};

use crate::arguments::{Call, MachineChoice};
use crate::failure::Failure;
use crate::input;

/// The largest file of a call, bytes.
const LARGEST_CALL: usize = 2_000_000;

/// A call that can begin or go on.
pub struct Opened {
    pub record: Record,
    pub alternatives: Vec<Alternative>,
    /// What has to be said before it begins.
    pub remarks: Vec<String>,
    /// Where the machine may be worked out already.
    shelf: Arc<dyn Shelf>,
}

/// Reads the machine file and the saved call, if there is one.
pub fn open(arguments: &Call, shelf: Arc<dyn Shelf>) -> Result<Opened, Failure> {
    let kept = match arguments.resume.as_ref().or(arguments.replay.as_ref()) {
        Some(path) => Some(read(path)?),
        None => None,
    };
    let mut record = kept.clone().unwrap_or_default();
    if let Some(machine) = &arguments.machine {
        record.file = machine.display().to_string();
    }
    if !arguments.library.is_empty() {
        record.libraries = arguments.library.iter().map(|path| path.display().to_string()).collect();
    }
    if arguments.revision.is_some() || arguments.serial.is_some() {
        (record.revision, record.serial) = (arguments.revision.clone(), arguments.serial);
    }
    if arguments.visit.is_some() {
        record.visit = arguments.visit;
    }
    if !arguments.settings.is_empty() {
        record.settings.clone_from(&arguments.settings);
    }
    let choice = MachineChoice {
        machine: PathBuf::from(&record.file),
        library: record.libraries.iter().map(PathBuf::from).collect(),
        records: arguments.records.clone(),
        library_rates: arguments.library_rates,
        revision: record.revision.clone(),
        serial: record.serial,
        settings: record.settings.clone(),
    };
    let chosen = input::choose(&choice)?;
    record.fingerprint = fingerprint(chosen.reading.sources.iter().map(|source| source.text.as_str()));
    let alternatives = chosen.alternatives;
    let mut remarks = Vec::new();
    if let Some(first) = alternatives.first() {
        record.machine.clone_from(&first.machine.name);
        record.version.clone_from(&first.machine.version);
    }
    if let Some(kept) = kept {
        if kept.machine != record.machine {
            let what = format!("the call is about a `{}`, and the file describes a `{}`", kept.machine, record.machine);
            return Err(Failure::new("other-machine", what, "name the machine file before --resume or --replay"));
        }
        if kept.fingerprint != record.fingerprint {
            let versions = if kept.version == record.version {
                String::new()
            } else {
                format!(" (version {} then, {} now)", kept.version, record.version)
            };
            remarks
                .push(format!("The machine file has changed since the call was saved{versions}: answers may differ."));
        }
    }
    if let (Some(code), Some(first)) = (&arguments.from_code, alternatives.first()) {
        let entered = code::decode(&first.machine, &record.fingerprint, code);
        let entered = entered.map_err(|mistake| Failure::new(mistake.code(), mistake.to_string(), mistake.hint()))?;
        record.entries = entered.entries(&first.machine);
    }
    Ok(Opened { record, alternatives, remarks, shelf })
}

/// Reads a saved call.
pub fn read(path: &Path) -> Result<Record, Failure> {
    let text = input::read_text(path, "the saved call", LARGEST_CALL)?.text;
    Record::of_text(&text).map_err(|mistakes| {
        let all = mistakes.into_iter().map(|one| {
            let what = format!("`{}`, line {}: {}", path.display(), one.line, one.what);
            Failure::new("saved-call", what, one.hint)
        });
        all.reduce(Failure::and).unwrap_or_else(|| Failure::new("saved-call", "the call can't be read", ""))
    })
}

impl Opened {
    /// The session with these entries.
    pub fn session(&self, terms: Terms, entries: Vec<Entry>) -> Result<Session, Failure> {
        super::session(&self.alternatives, self.record.origin.as_ref(), terms, entries, &self.shelf)
    }
}
