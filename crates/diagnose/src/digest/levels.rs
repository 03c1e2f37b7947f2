//! What an operator can be asked and told to do: from outside, with nothing opened and nothing live or under
//! pressure within reach.

use crate::evidence::{CheckReport, PositionReport};
use machine::Machine;
use machine::caution::Doing;
use machine::id::{CheckId, DeviceId, MechanismId, RemedyId};
use machine::model::{Access, CheckRole, Energy, HandMove, Load, MechanismClass, Observable, Who};

/// A question for an operator.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Asked {
    /// A check of the machine file or the library.
    Check(CheckId),
    /// Where a mechanism stands.
    Position(MechanismId),
}

/// An answer to such a question.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Report {
    /// To a check.
    Check(CheckReport),
    /// Where a mechanism stands.
    Position(PositionReport),
}

impl Asked {
    /// How many answers it has.
    #[must_use]
    pub fn answers(self, machine: &Machine) -> usize {
        match self {
            Self::Check(check) => machine.checks[check].answers.len(),
            Self::Position(mechanism) => machine.mechanisms[mechanism].positions.len() + 1,
        }
    }

    /// The answer with this number as a report; for a position the last answer is "between".
    #[must_use]
    pub fn report(self, machine: &Machine, answer: usize) -> Report {
        match self {
            Self::Check(check) => Report::Check(CheckReport { check, answer }),
            Self::Position(mechanism) => {
                let there = answer < machine.mechanisms[mechanism].positions.len();
                let position = u8::try_from(answer).ok().filter(|_| there);
                Report::Position(PositionReport { mechanism, position })
            }
        }
    }
}

/// Whether this can be asked of an operator: nobody else is needed, nothing is forbidden about it, nothing is
/// opened, and nothing live, under pressure or raised is within reach.
#[must_use]
pub fn is_for_operator(doing: &Doing, who: Who) -> bool {
    who.max(doing.who()) == Who::Operator
        && doing.forbidden().is_empty()
        && doing.access == Access::Outside
        && doing.load == Load::None
        && matches!(doing.energy, Energy::Off | Energy::Normal)
}

/// All questions for an operator, in the order of the machine: checks that only need looking, then positions of
/// what is no button.
#[must_use]
pub fn asked_of_operator(machine: &Machine) -> Vec<Asked> {
    let checks = machine.checks.iter();
    let checks = checks.filter(|(_, check)| {
        // Whatever is tried or measured can set something moving or needs a tool: left to those who are trained for it.
        check.role == CheckRole::Look
            && is_for_operator(&Doing::of_check(machine, check), check.who)
            && !is_inside(place_of(machine, check.device))
            && looked_at(machine, &check.observes).is_none_or(|place| !is_inside(place))
    });
    let seen = machine.mechanisms.iter();
    let seen = seen.filter(|(_, row)| row.class != MechanismClass::Button && !is_inside(&row.place.english));
    checks.map(|(id, _)| Asked::Check(id)).chain(seen.map(|(id, _)| Asked::Position(id))).collect()
}

/// All remedies for an operator, in the order of the machine.
#[must_use]
pub fn remedies_of_operator(machine: &Machine) -> Vec<RemedyId> {
    let remedies = machine.remedies.iter();
    let own = remedies.filter(|(_, remedy)| {
        is_for_operator(&Doing::of_remedy(machine, remedy), remedy.who)
            && !is_inside(place_of(machine, remedy.device))
            && remedy.does.and_then(|hand| moved(machine, hand)).is_none_or(|place| !is_inside(place))
    });
    own.map(|(id, _)| id).collect()
}

/// The place of a device; nothing where there is none.
fn place_of(machine: &Machine, device: Option<DeviceId>) -> &str {
    device.and_then(|device| machine.devices.get(device)).map_or("", |device| device.place.english.as_str())
}

/// Whether a place, as the machine file has it in words before any translation, is one that something has to be opened
/// for. It is text, so this errs on the side of asking too little: a library's check of a relay may be done from outside, but not of
/// the one in the cabinet.
fn is_inside(place: &str) -> bool {
    const INSIDE: [&str; 12] = [
        "cabinet",
        "enclosure",
        "behind",
        "under a c",
        "inside",
        "schrank",
        "gehäuse",
        "hinter ",
        "innen",
        "armario",
        "detrás",
        "dentro",
    ];
    let place = place.to_lowercase();
    INSIDE.iter().any(|word| place.contains(word))
}

/// The place of what is looked at.
fn looked_at<'m>(machine: &'m Machine, observes: &Observable) -> Option<&'m str> {
    match *observes {
        Observable::InputStage(input, _) => machine.inputs.get(input).map(|row| row.place.english.as_str()),
        Observable::OutputStage(output, _) => machine.outputs.get(output).map(|row| row.place.english.as_str()),
        Observable::Supply(supply) => machine.supplies.get(supply).map(|row| row.place.english.as_str()),
        Observable::Position(mechanism) | Observable::MovesFreely(mechanism) => {
            machine.mechanisms.get(mechanism).map(|row| row.place.english.as_str())
        }
        Observable::Inspect(_) => None,
    }
}

/// The place of what a hand moves.
fn moved(machine: &Machine, hand: HandMove) -> Option<&str> {
    match hand {
        HandMove::Put(mechanism, _)
        | HandMove::Press(mechanism, _)
        | HandMove::Hold(mechanism)
        | HandMove::LetGo(mechanism) => machine.mechanisms.get(mechanism).map(|row| row.place.english.as_str()),
        HandMove::Supply(supply, _) => machine.supplies.get(supply).map(|row| row.place.english.as_str()),
        HandMove::PowerCycle | HandMove::Wait => None,
    }
}
