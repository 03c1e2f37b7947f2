//! What people type, beside what is understood: the files in `tests/readings`.
//!
//! Each case is a line `> text` (`\n` for a line's end) and the lines that are
//! understood or the mistakes. `UPDATE_READINGS=1 cargo test -p diagnose --test
//! readings` writes the files anew; look at the difference before committing it.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

#[path = "readings/bench.rs"]
mod bench;
#[path = "readings/demo_machines.rs"]
mod demo_machines;
#[path = "readings/round_trips.rs"]
mod round_trips;

use std::fmt::Write as _;
use std::path::Path;

use diagnose::evidence::{Deed, LampReport, LampState, Naming};
use diagnose::reading::{
    ReadingError, describe_checks, describe_deeds, describe_lamps, describe_positions, read_checks, read_complaint,
    read_deeds, read_lamps, read_positions,
};
use machine::Machine;
use machine::id::{Id, RoutineId};

/// Compares a file of cases with what is understood now.
fn check(file: &str, understood: impl Fn(&str) -> String) {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/readings").join(file);
    let before = std::fs::read_to_string(&path).unwrap().replace("\r\n", "\n");
    let mut now = String::new();
    for line in before.lines() {
        if let Some(text) = line.strip_prefix("> ") {
            writeln!(now, "{line}\n{}", understood(&text.replace("\\n", "\n")).trim_end()).unwrap();
        } else if line.is_empty() || line.starts_with('#') {
            writeln!(now, "{line}").unwrap();
        }
    }
    if std::env::var_os("UPDATE_READINGS").is_some() {
        std::fs::write(&path, &now).unwrap();
    }
    for (line, (expected, found)) in before.lines().zip(now.lines()).enumerate() {
        assert_eq!(expected, found, "{file}, line {}", line + 1);
    }
    assert_eq!(before, now, "{file}");
}

fn mistakes(found: &[ReadingError]) -> String {
    let mut lines = String::new();
    for one in found {
        let other = one.other.as_ref().map(|other| format!(" and {}-{}", other.start, other.end)).unwrap_or_default();
        writeln!(lines, "! {} at {}-{}{other}: {}", one.kind.code(), one.span.start, one.span.end, one.what).unwrap();
        writeln!(lines, "!   {}", one.hint).unwrap();
    }
    lines
}

/// The reports, and how they would be said.
fn lamps(machine: &Machine, text: &str) -> String {
    match read_lamps(machine, text) {
        Ok(reports) => format!("{}= {}", reported(machine, &reports), describe_lamps(machine, &reports)),
        Err(found) => mistakes(&found),
    }
}

fn reported(machine: &Machine, reports: &[LampReport]) -> String {
    let mut lines = String::new();
    for (naming, prefix) in [(Naming::Named, ""), (Naming::Rest, "rest ")] {
        for (state, word) in [(LampState::Lit, "on"), (LampState::Dark, "off"), (LampState::Flickers, "flickers")] {
            let labels: Vec<&str> = reports
                .iter()
                .filter(|report| report.naming == naming && report.state == state)
                .map(|report| machine.lamp_rows[report.place.row].lamps[report.place.column].label.as_str())
                .collect();
            if !labels.is_empty() {
                writeln!(lines, "{prefix}{word}: {}", labels.join(" ")).unwrap();
            }
        }
    }
    if lines.is_empty() { "nothing\n".to_owned() } else { lines }
}

#[test]
fn lamps_are_read_as_people_say_them() {
    let machine = bench::sorter();
    check("lamps.txt", |text| lamps(&machine, text));
}

#[test]
fn odd_labels_can_be_named_too() {
    let machine = bench::odd_labels();
    check("odd-labels.txt", |text| lamps(&machine, text));
}

#[test]
fn complaints_are_read_as_people_say_them() {
    check("complaints.txt", |text| match read_complaint(text) {
        Ok(complaint) => {
            assert_eq!(read_complaint(&complaint.to_string()), Ok(complaint));
            format!("= {complaint}")
        }
        Err(found) => mistakes(&found),
    });
}

#[test]
fn positions_are_read_as_people_say_them() {
    let machine = bench::sorter();
    check("positions.txt", |text| match read_positions(&machine, text) {
        Ok(reports) => {
            let said = describe_positions(&machine, &reports);
            assert_eq!(read_positions(&machine, &said), Ok(reports), "{said}");
            format!("= {said}")
        }
        Err(found) => mistakes(&found),
    });
}

#[test]
fn deeds_are_read_as_people_say_them() {
    let machine = bench::sorter();
    let make = RoutineId::new(0);
    check("deeds.txt", |text| match read_deeds(&machine, make, text) {
        Ok(deeds) => {
            let said = describe_deeds(&machine, make, &deeds);
            assert_eq!(read_deeds(&machine, make, &said).as_ref(), Ok(&deeds), "{said}");
            let each = deeds.iter().map(|deed| match deed {
                Deed::Routine(None) => "power on".to_owned(),
                Deed::Routine(Some(action)) => format!("action {}", action + 1),
                Deed::Extra(movement) => format!("{movement:?}"),
            });
            let each = each.collect::<Vec<_>>().join(", ");
            format!("{}\n= {said}", if each.is_empty() { "no deed" } else { &each })
        }
        Err(found) => mistakes(&found),
    });
}

#[test]
fn answers_to_checks_are_read_by_any_clear_name() {
    let machine = bench::sorter();
    check("answers.txt", |text| match read_checks(&machine, text) {
        Ok(reports) => {
            let said = describe_checks(&machine, &reports);
            assert_eq!(read_checks(&machine, &said), Ok(reports), "{said}");
            format!("= {said}")
        }
        Err(found) => mistakes(&found),
    });
}
