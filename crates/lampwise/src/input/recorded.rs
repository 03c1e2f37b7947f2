//! A machine from the records: its file, its settings, and what was learned of its faults.

use std::path::Path;

use jiff::Timestamp;
use machine::{Choice, Problem, Severity, Span};
use records::rates::Factors;
use records::{Error, Store};

use super::{Chosen, choice, resolve};
use crate::arguments::MachineChoice;
use crate::failure::Failure;

/// What is wrong with the records, as a failure.
pub fn failure(error: &Error) -> Failure {
    Failure::new(error.kind.code(), error.to_string(), error.hint.clone())
}

/// Opens records that have to be there.
pub fn open(path: &Path) -> Result<Store, Failure> {
    Store::open_existing(path).map_err(|error| failure(&error))
}

/// The machine that is meant: by serial number, else a type by its name.
pub(super) fn choose(arguments: &MachineChoice, path: &Path) -> Result<Chosen, Failure> {
    let store = open(path)?;
    let named = arguments.machine.to_string_lossy();
    let wrong = |error: Error| failure(&error);
    let machines = store.machines_with_serial(&named).map_err(wrong)?;
    let (machine_type, own) = match machines.as_slice() {
        [machine] => (machine.machine_type, machine.choice()),
        [] => match store.machine_type_named(&named).map_err(wrong)? {
            Some(found) => (found.id, Choice::default()),
            None => {
                let what = format!("there is neither a machine nor a machine type `{named}` in `{}`", path.display());
                let hint = "`lampwise records machines RECORDS --all` lists the machines";
                return Err(Failure::new("not-in-records", what, hint));
            }
        },
        several => {
            let list: Vec<String> = several.iter().map(|one| format!("{} ({})", one.serial, one.type_name)).collect();
            let what = format!("`{named}` may be any of {} machines", several.len());
            return Err(Failure::new("several-machines", what, format!("there is: {}", list.join(", "))));
        }
    };
    let kind = store.machine_type(machine_type).map_err(wrong)?;
    let reading = store.version_text(kind.current).map_err(wrong)?.reading();
    let typed = choice(arguments, &reading)?;
    // What is typed now goes before what is kept.
    let mut settings = own.settings;
    settings.retain(|(name, _)| !typed.settings.iter().any(|(other, _)| other == name));
    settings.extend(typed.settings);
    let mut choice = match typed.revision.is_some() || typed.serial.is_some() {
        true => Choice { settings, ..typed },
        false => Choice { revision: own.revision, serial: own.serial, settings },
    };
    if reading.revisions().is_empty() && arguments.serial.is_none() {
        // Nobody has typed it, so nobody needs to be told that the file has no use for it.
        choice.serial = None;
    }
    let mut chosen = resolve(reading, &choice)?;
    if !arguments.library_rates {
        let counts = store.count_faults(Timestamp::now()).map_err(wrong)?;
        let changed = Factors::of(&counts).apply(machine_type, &mut chosen.alternatives);
        if changed > 0 {
            chosen.remarks.push(Problem {
                severity: Severity::Note,
                span: Span::default(),
                code: "learned-rates",
                what: "fault rates are those learned from findings".to_owned(),
                hint: Some("with `--library-rates` they are those of the machine file".to_owned()),
            });
        }
    }
    Ok(chosen)
}
