//! Practice: a machine with something hidden in it, to be found by whoever learns to read the lamps.
//!
//! An [`Exercise`] is drawn by its number from what really goes wrong with this machine, and answers every look,
//! check and deed from the simulated machine, each at its price in minutes. When the cause is named, a [`Review`] tells
//! what was needed, what the program itself would have taken, and what each lamp and check said. A [`Drill`] is one
//! question about a picture of lamps. The same numbers give the same exercises on every machine.

mod drill;
mod exercise;
mod named;
mod offers;
mod order;
mod review;

pub use drill::{Drill, DrillKind};
pub use exercise::{Done, Exercise, Mistake, Opening, Outcome};
pub use named::meant;
pub use offers::{Group, Offer};
pub use review::{Review, SaidByLamp, ToldNothing};

use crate::evidence::Circumstances;
use serde::Serialize;

/// How hard an exercise is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Level {
    /// Somebody forgot something, or something outside the machine is missing.
    Lapse,
    /// One fault.
    Fault,
    /// What comes: a lapse, a fault, or nothing at all.
    AsItComes,
    /// Two things at once.
    Two,
    /// A fault that comes and goes.
    ComesAndGoes,
}

impl Level {
    /// All levels, the easiest first.
    pub const ALL: [Self; 5] = [Self::Lapse, Self::Fault, Self::AsItComes, Self::Two, Self::ComesAndGoes];

    /// The name by which it is chosen.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Lapse => "lapse",
            Self::Fault => "fault",
            Self::AsItComes => "as-it-comes",
            Self::Two => "two",
            Self::ComesAndGoes => "comes-and-goes",
        }
    }

    /// What it is, in words.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::Lapse => "something was forgotten, or is missing outside the machine",
            Self::Fault => "one fault",
            Self::AsItComes => "as it comes: a lapse, a fault, or nothing at all",
            Self::Two => "two things at once",
            Self::ComesAndGoes => "a fault that comes and goes",
        }
    }

    /// What the machine has to be worked out for.
    #[must_use]
    pub fn circumstances(self) -> Circumstances {
        /// Cycles in which such a fault shows once (an invented figure, for practice only).
        const ONCE_IN: f64 = 20.0;
        let once_in = (self == Self::ComesAndGoes).then_some(ONCE_IN);
        Circumstances { once_in, ..Circumstances::default() }
    }
}
