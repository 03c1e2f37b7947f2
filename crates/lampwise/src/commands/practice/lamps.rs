//! The lamps as they sit on the controller: lit and dark differ in shape.

use std::fmt::Write as _;

use diagnose::evidence::{LampPlace, LampReport, LampState};
use machine::Machine;

use crate::screen::{FAINT, LIT, PLAIN, columns};

/// Writes the rows of lamps; those that are not among the reports are left open.
pub fn write(out: &mut String, machine: &Machine, lamps: &[LampReport]) {
    let widest = machine.lamp_rows.iter().flat_map(|row| &row.lamps).map(|lamp| columns(&lamp.label)).max();
    let width = widest.unwrap_or(0).max(2) + 1;
    for (row, of) in machine.lamp_rows.iter().enumerate() {
        let (mut labels, mut signs) = (String::new(), String::new());
        for (column, lamp) in of.lamps.iter().enumerate() {
            let place = LampPlace { row, column };
            let state = lamps.iter().rev().find(|one| one.place == place).map(|one| one.state);
            let (sign, style) = match state {
                Some(LampState::Lit) => ("●", LIT),
                Some(LampState::Dark) => ("·", PLAIN),
                Some(LampState::Flickers) => ("◐", LIT),
                None => ("?", FAINT),
            };
            _ = write!(labels, "{FAINT}{:>width$}{FAINT:#}", lamp.label);
            _ = write!(signs, "{}{style}{sign}{style:#}", " ".repeat(width - 1));
        }
        _ = writeln!(out, "  {labels}\n  {signs}");
    }
    _ = writeln!(out, "  {FAINT}● lit   · dark   ◐ flickers{FAINT:#}");
}

/// The states of a whole panel as reports.
pub fn of_panel(machine: &Machine, states: &[LampState]) -> Vec<LampReport> {
    let places = LampPlace::all(machine).zip(states);
    let naming = diagnose::evidence::Naming::Named;
    places.map(|((place, _), state)| LampReport { place, state: *state, naming }).collect()
}
