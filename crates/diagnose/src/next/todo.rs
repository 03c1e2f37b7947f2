//! Things that somebody can be asked to do, and on what terms.

use super::Effort;
use crate::evidence::{Deed, LampPlace};
use machine::Machine;
use machine::id::{CheckId, MechanismId, RemedyId};
use machine::model::{HandMove, Prices, Who};

/// Something that somebody can be asked to do.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum ToDo {
    /// A check of the machine file or the library.
    Check(CheckId),
    /// Look at one lamp.
    Lamp(LampPlace),
    /// Read all lamps that were not read yet.
    Lamps,
    /// Look where a mechanism stands.
    Position(MechanismId),
    /// Work the machine, and see what changes.
    Act(Deed),
    /// Put something right, and see whether it runs.
    Remedy(RemedyId),
    /// Nothing is wrong: go on with the routine.
    GoOn,
}

impl ToDo {
    /// A name that stays the same from call to call: `check:B1/own-led`, `lamp:X3`, `remedy:B1/replace`.
    #[must_use]
    pub fn key(&self, machine: &Machine) -> String {
        match self {
            Self::Check(check) => format!("check:{}", machine.checks[*check].key),
            Self::Lamp(place) => format!("lamp:{}", place.label(machine)),
            Self::Lamps => "lamps".to_owned(),
            Self::Position(mechanism) => format!("position:{}", machine.mechanisms[*mechanism].name),
            Self::Act(Deed::Routine(action)) => format!("do:action-{}", action.map_or(0, |action| action + 1)),
            Self::Act(Deed::Extra(movement)) => format!("do:{}", movement_key(machine, *movement)),
            Self::Remedy(remedy) => format!("remedy:{}", machine.remedies[*remedy].key),
            Self::GoOn => "go-on".to_owned(),
        }
    }
}

fn movement_key(machine: &Machine, movement: HandMove) -> String {
    let name = |mechanism: MechanismId| machine.mechanisms[mechanism].name.as_str();
    match movement {
        HandMove::Put(mechanism, position) => format!("put-{}-{position}", name(mechanism)),
        HandMove::Press(mechanism, _) => format!("press-{}", name(mechanism)),
        HandMove::Hold(mechanism) => format!("hold-{}", name(mechanism)),
        HandMove::LetGo(mechanism) => format!("let-go-{}", name(mechanism)),
        HandMove::Supply(supply, there) => {
            format!("{}-{}", if there { "open" } else { "shut" }, machine.supplies[supply].name)
        }
        HandMove::PowerCycle => "power-cycle".to_owned(),
        HandMove::Wait => "wait".to_owned(),
    }
}

/// Who is there, and what things cost.
#[derive(Clone, Debug, PartialEq)]
pub struct Terms {
    /// The qualification of whoever is at the machine.
    pub caller: Who,
    /// What things cost that have no minutes of their own.
    pub prices: Prices,
    /// What the caller can't do, or did not know the answer of.
    pub left_out: Vec<ToDo>,
    /// How far to look ahead.
    pub effort: Effort,
    /// Share of the weight that is looked at.
    pub share: f64,
    /// How many proposals are worked out in full.
    pub shown: usize,
}

impl Terms {
    /// With an operator there, at the prices of this machine's file.
    #[must_use]
    pub fn of(machine: &Machine) -> Self {
        Self { prices: machine.prices, ..Self::default() }
    }

    /// The same, with so many minutes until somebody qualified for everything is there, if a call says so.
    #[must_use]
    pub fn visited_after(mut self, minutes: Option<u32>) -> Self {
        self.prices.visit = minutes.map_or(self.prices.visit, f64::from);
        self
    }
}

impl Default for Terms {
    /// An operator is there, at the prices of a machine file that names none.
    fn default() -> Self {
        Self {
            caller: Who::Operator,
            prices: Prices::default(),
            left_out: Vec::new(),
            effort: Effort::default(),
            share: 0.999,
            shown: 3,
        }
    }
}
