//! Whatever is typed about lamps, positions, deeds, checks and the complaint:
//! reports or mistakes, never a panic, and what is read can be said and reads the same.
#![no_main]

use std::sync::LazyLock;

use diagnose::reading::{
    ReadingError, describe_checks, describe_deeds, describe_lamps, describe_positions, read_checks, read_complaint,
    read_deeds, read_lamps, read_positions, render_mistakes,
};
use libfuzzer_sys::fuzz_target;
use machine::Machine;

static MACHINES: LazyLock<Vec<Machine>> = LazyLock::new(|| {
    let files = [
        include_str!("../../demos/minimal.toml"),
        include_str!("../../demos/jar-filler.toml"),
        include_str!("../../demos/parts-washer.toml"),
        include_str!("../../demos/lidding-line.toml"),
    ];
    files.iter().map(|text| machine::load_str("demo", text).expect("the demo machines have no mistakes")).collect()
});

// The first byte says which machine and which reader; the rest is the text.
fuzz_target!(|data: &[u8]| {
    let Some((first, rest)) = data.split_first() else { return };
    let Ok(text) = std::str::from_utf8(rest) else { return };
    let machine = &MACHINES[usize::from(*first) % MACHINES.len()];
    match *first as usize / MACHINES.len() % 5 {
        0 | 1 => lamps(machine, text),
        2 => positions(machine, text),
        3 => deeds(machine, text),
        _ => {
            checks(machine, text);
            if let Err(mistakes) = read_complaint(text) {
                well_formed(text, &mistakes);
            }
        }
    }
});

fn lamps(machine: &Machine, text: &str) {
    match read_lamps(machine, text) {
        Ok(reports) => {
            let said = describe_lamps(machine, &reports);
            assert_eq!(read_lamps(machine, &said), Ok(reports), "{text:?} -> {said:?}");
        }
        Err(mistakes) => well_formed(text, &mistakes),
    }
}

fn positions(machine: &Machine, text: &str) {
    match read_positions(machine, text) {
        Ok(reports) => {
            let said = describe_positions(machine, &reports);
            assert_eq!(read_positions(machine, &said), Ok(reports), "{text:?} -> {said:?}");
        }
        Err(mistakes) => well_formed(text, &mistakes),
    }
}

fn deeds(machine: &Machine, text: &str) {
    let Some(routine) = machine.routines.ids().next() else { return };
    match read_deeds(machine, routine, text) {
        Ok(deeds) => {
            let said = describe_deeds(machine, routine, &deeds);
            assert_eq!(read_deeds(machine, routine, &said), Ok(deeds), "{text:?} -> {said:?}");
        }
        Err(mistakes) => well_formed(text, &mistakes),
    }
}

fn checks(machine: &Machine, text: &str) {
    match read_checks(machine, text) {
        Ok(reports) => {
            let said = describe_checks(machine, &reports);
            assert_eq!(read_checks(machine, &said), Ok(reports), "{text:?} -> {said:?}");
        }
        Err(mistakes) => well_formed(text, &mistakes),
    }
}

fn well_formed(text: &str, mistakes: &[ReadingError]) {
    assert!(!mistakes.is_empty());
    for mistake in mistakes {
        assert!(text.get(mistake.span.clone()).is_some(), "{mistake:?}");
        assert!(!mistake.what.is_empty() && !mistake.hint.is_empty(), "{mistake:?}");
    }
    let _ = render_mistakes("typed", text, mistakes, false);
}
