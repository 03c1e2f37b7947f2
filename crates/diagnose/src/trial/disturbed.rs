//! Machines that are not as the file says, to find out what advice is worth when the file is wrong.

use machine::Machine;
use machine::id::InterlockId;
use machine::model::{Chance, DeviationKind};
use serde::Serialize;

/// A way in which the file is wrong.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Disturbance {
    /// Every rate is three times too high or too low, at random.
    Rates,
    /// One fault in ten is not in the file.
    LeftOut,
    /// Every movement takes between half and twice its time, and the first interlock is missing in the file.
    Times,
}

impl Disturbance {
    /// All of them.
    pub const ALL: [Self; 3] = [Self::Rates, Self::LeftOut, Self::Times];

    /// The machine as it really is, and as the file has it.
    #[must_use]
    pub fn of(self, machine: &Machine, seed: u64) -> (Machine, Machine) {
        let mut dice = fastrand::Rng::with_seed(seed);
        let (mut nature, mut file) = (machine.clone(), machine.clone());
        match self {
            Self::Rates => {
                for deviation in nature.deviations.rows_mut() {
                    let factor = if dice.bool() { 3.0 } else { 1.0 / 3.0 };
                    deviation.rate.chance = match deviation.rate.chance {
                        Chance::PerMillionHours(rate) => Chance::PerMillionHours(rate * factor),
                        Chance::EachTime(chance) => Chance::EachTime((chance * factor).min(0.9)),
                    };
                }
            }
            Self::LeftOut => {
                for deviation in file.deviations.rows_mut() {
                    if matches!(deviation.kind, DeviationKind::Fault(_)) && dice.u32(0..10) == 0 {
                        deviation.rate.chance = Chance::PerMillionHours(0.0);
                    }
                }
            }
            Self::Times => {
                for mechanism in nature.mechanisms.rows_mut() {
                    for one in &mut mechanism.moves {
                        one.takes_ms = (one.takes_ms as f64 * libm::exp2(2.0 * dice.f64() - 1.0)) as u64;
                    }
                }
                if !file.interlocks.is_empty() {
                    // Without steps to watch it watches nothing.
                    let first: InterlockId = machine::id::Id::new(0);
                    file.interlocks[first].in_steps.clear();
                }
            }
        }
        (nature, file)
    }
}
