//! What an operator can be asked and told to do: from outside, with nothing opened and nothing live or under
//! pressure within reach.

use crate::evidence::{CheckReport, PositionReport};
use crate::within_reach::{is_check_inside, is_position_for_operator, is_position_inside, is_remedy_inside};
use machine::Machine;
use machine::caution::Doing;
use machine::id::{CheckId, MechanismId, RemedyId};
use machine::model::{Access, CheckRole, Energy, Load, Who};

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
    let checks = checks.filter(|(id, check)| {
        // Whatever is tried or measured can set something moving or needs a tool: left to those who are trained for it.
        check.role == CheckRole::Look
            && is_for_operator(&Doing::of_check(machine, check), check.who)
            && !is_check_inside(machine, *id)
    });
    let seen = machine.mechanisms.ids();
    let seen = seen.filter(|id| is_position_for_operator(machine, *id) && !is_position_inside(machine, *id));
    checks.map(|(id, _)| Asked::Check(id)).chain(seen.map(Asked::Position)).collect()
}

/// All remedies for an operator, in the order of the machine.
#[must_use]
pub fn remedies_of_operator(machine: &Machine) -> Vec<RemedyId> {
    let remedies = machine.remedies.iter();
    let own = remedies.filter(|(id, remedy)| {
        is_for_operator(&Doing::of_remedy(machine, remedy), remedy.who) && !is_remedy_inside(machine, *id)
    });
    own.map(|(id, _)| id).collect()
}
