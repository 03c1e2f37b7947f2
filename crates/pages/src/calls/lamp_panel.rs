//! The controller's lamps, drawn in the rows in which the caller sees them. Lit, dark, flickering and not seen differ
//! in shape and in word, never in colour alone.

use diagnose::evidence::{LampPlace, LampReport, LampState, Naming};
use diagnose::wording::lamp_meaning;
use machine::Machine;
use maud::{Markup, html};

/// What a field of the form says of a lamp.
pub const STATES: [(Option<LampState>, &str, &str); 4] = [
    (None, "unseen", "not seen"),
    (Some(LampState::Lit), "lit", "lit"),
    (Some(LampState::Dark), "dark", "dark"),
    // Where lamps stand close the word is broken at this sign, which is not seen otherwise.
    (Some(LampState::Flickers), "flickers", "flick\u{ad}ers"),
];

/// Letters of a label that fit where eight lamps stand beside each other on a telephone.
const SHORT_LABEL: usize = 4;

fn state_of(reports: &[LampReport], place: LampPlace) -> (&'static str, &'static str) {
    let state = reports.iter().rev().find(|one| one.place == place).map(|one| one.state);
    STATES.iter().find(|(one, ..)| *one == state).map_or(("unseen", "not seen"), |(_, key, words)| (key, words))
}

/// How a lamp looks, with its label and its state in words.
fn lamp(label: &str, words: &str) -> Markup {
    html! {
        span.bulb aria-hidden="true" {}
        span.label { (label) }
        " "
        span.state { (words) }
    }
}

/// How many lamps stand in a row of the drawing, by the longest row of the controller: all rows have the same, so that
/// lamps stand below each other as they do there.
fn wide(machine: &Machine) -> &'static str {
    match machine.lamp_rows.iter().map(|row| row.lamps.len()).max().unwrap_or(0) {
        0..=6 => "row six",
        7 | 8 => "row eight",
        9 | 10 => "row ten",
        11 | 12 => "row twelve",
        _ => "row sixteen",
    }
}

/// Whether a label needs the room of two lamps on a narrow screen.
fn is_long(label: &str) -> bool {
    label.chars().count() > SHORT_LABEL
}

/// The panel as fields of a form: each lamp a button that goes to its next state, and a hidden field that says it.
pub fn fields(machine: &Machine, reports: &[LampReport]) -> Markup {
    html! {
        div.panel {
            @for (row, lamps) in machine.lamp_rows.iter().enumerate() {
                div class=(wide(machine)) {
                    @for (column, lamp) in lamps.lamps.iter().enumerate() {
                        @let (key, words) = state_of(reports, LampPlace { row, column });
                        @let meaning = lamp_meaning(machine, &lamp.kind);
                        div.place.long[is_long(&lamp.label)] {
                            input type="hidden" name="lamp" value={ (row) "." (column) "." (key) };
                            button.lamp type="button" data-lamp=(key) title=(meaning) { (self::lamp(&lamp.label, words)) }
                        }
                    }
                }
            }
        }
    }
}

/// The panel as it was seen.
pub fn shown(machine: &Machine, reports: &[LampReport]) -> Markup {
    html! {
        div.panel tabindex="0" role="group" aria-label="Lamps" {
            @for (row, lamps) in machine.lamp_rows.iter().enumerate() {
                div class=(wide(machine)) {
                    @for (column, lamp) in lamps.lamps.iter().enumerate() {
                        @let (key, words) = state_of(reports, LampPlace { row, column });
                        div.place.long[is_long(&lamp.label)] title=(lamp_meaning(machine, &lamp.kind)) {
                            div.lamp data-lamp=(key) { (self::lamp(&lamp.label, words)) }
                        }
                    }
                }
            }
        }
    }
}

/// What the fields of a form say; `rest_dark` makes dark whatever was not seen.
pub fn read(machine: &Machine, fields: &[String], rest_dark: bool) -> Vec<LampReport> {
    let mut reports = Vec::new();
    for field in fields {
        let mut parts = field.splitn(3, '.');
        let (Some(row), Some(column), Some(key)) = (parts.next(), parts.next(), parts.next()) else { continue };
        let (Ok(row), Ok(column)) = (row.parse(), column.parse()) else { continue };
        let place = LampPlace { row, column };
        let state = STATES.iter().find(|(_, known, _)| *known == key).and_then(|(state, ..)| *state);
        if place.lamp(machine).is_none() {
            continue;
        }
        match state {
            Some(state) => reports.push(LampReport { place, state, naming: Naming::Named }),
            None if rest_dark => reports.push(LampReport { place, state: LampState::Dark, naming: Naming::Rest }),
            None => {}
        }
    }
    reports
}
