//! Where things stand, as whoever is there sees it: a choice for each thing that moves or is moved.

use diagnose::evidence::PositionReport;
use diagnose::reading::describe_positions;
use machine::Machine;
use machine::id::{Id as _, MechanismId};
use machine::model::{Mechanism, MechanismClass};
use maud::{Markup, html};

use super::{Desk, sheet};

/// What a field says of a thing that stands in none of its positions.
const BETWEEN: &str = "between";

/// Whether somebody sees where it stands: a button springs back when it is let go.
fn is_seen(mechanism: &Mechanism) -> bool {
    mechanism.class != MechanismClass::Button
}

/// The form, with what was said of the present moment chosen.
pub fn form(desk: &Desk) -> Markup {
    let machine = desk.session.machine();
    let known: &[PositionReport] = desk.session.now().evidence.moments.last().map_or(&[], |moment| &moment.positions);
    let mut shown = machine.mechanisms.iter().filter(|(_, mechanism)| is_seen(mechanism)).peekable();
    html! {
        @if shown.peek().is_some() { section id="positions" {
            details open[!known.is_empty()] {
                summary { h2 { "Where things stand" } }
                form method="post" action={ "/calls/" (desk.call.row.id) "/positions" } {
                    (sheet::carried(desk))
                    div.choices { @for (id, mechanism) in shown { (choice(id, mechanism, known)) } }
                    button { "Take these" }
                }
            }
        } }
    }
}

fn choice(id: MechanismId, mechanism: &Mechanism, known: &[PositionReport]) -> Markup {
    let said = known.iter().rev().find(|report| report.mechanism == id).map(|report| report.position);
    let at = id.index();
    // Without words of its own a thing is called by its name.
    let words = |words: &machine::model::Words, name: &str| match words.english.is_empty() {
        true => name.replace('_', " "),
        false => words.english.clone(),
    };
    html! {
        div {
            label for={ "position-" (at) } { (words(&mechanism.words, &mechanism.name)) }
            select id={ "position-" (at) } name="position" {
                option value="" { "not seen" }
                @for (number, name) in mechanism.positions.iter().enumerate() {
                    @let chosen = said.flatten().is_some_and(|position| usize::from(position) == number);
                    option value={ (at) "." (number) } selected[chosen] {
                        (mechanism.position_words.get(number).map_or_else(|| name.clone(), |one| words(one, name)))
                    }
                }
                @if mechanism.class == MechanismClass::Driven {
                    option value={ (at) "." (BETWEEN) } selected[said == Some(None)] { "between" }
                }
            }
        }
    }
}

/// What the fields of a form say, as somebody would say it; what the machine does not have is left out.
pub fn read<'f>(machine: &Machine, fields: impl Iterator<Item = &'f str>) -> String {
    let report = |field: &str| {
        let (at, place) = field.split_once('.')?;
        let (mechanism, row) = machine.mechanisms.iter().nth(at.parse().ok()?)?;
        let position = match place {
            BETWEEN => None,
            number => Some(number.parse::<u8>().ok().filter(|number| usize::from(*number) < row.positions.len())?),
        };
        Some(PositionReport { mechanism, position })
    };
    let reports: Vec<PositionReport> = fields.filter_map(report).collect();
    describe_positions(machine, &reports)
}
