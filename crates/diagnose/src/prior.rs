//! How probable each deviation is before anything was reported.
//!
//! A device with fault rates rᵢ per million hours has been without fault for `h` hours
//! with probability exp(−Σrᵢ·h/10⁶); if it has failed, mode `i` did it with probability
//! rᵢ/Σr. The modes of one device thus exclude each other, and devices are independent.
//! A lapse has the probability that the machine file gives it, each on its own.

use machine::Machine;
use machine::id::{DeviationId, Id};
use machine::model::{Chance, DeviationKind};

/// The largest probability that a single device's fault or lapse is given, so that odds stay finite.
const NEARLY_CERTAIN: f64 = 0.999_999;

/// Prior odds of all deviations of a machine.
#[derive(Clone, Debug)]
pub struct Prior {
    /// For each deviation: its probability over that of its device (or lapse) being in order.
    odds: Vec<f64>,
    /// For each deviation: the number of the group whose members exclude each other.
    group: Vec<u32>,
    /// Sum of the odds of each group.
    groups: Vec<f64>,
}

impl Prior {
    /// Works out the odds after so many hours of running since the machine last ran well.
    #[must_use]
    pub fn new(machine: &Machine, hours: f64) -> Self {
        let hours = if hours.is_finite() { hours.max(0.0) } else { machine.hours_since_well };
        let mut odds = vec![0.0; machine.deviations.len()];
        let mut group = vec![0; machine.deviations.len()];
        let mut groups = Vec::new();
        for device in machine.devices.rows() {
            let rate = |id: &DeviationId| match machine.deviations[*id].rate.chance {
                Chance::PerMillionHours(rate) => rate.max(0.0) / 1e6,
                Chance::EachTime(_) => 0.0,
            };
            let total: f64 = device.modes.iter().map(rate).sum();
            // −expm1(−x) keeps its digits where x is small.
            let failed = (-libm::expm1(-total * hours)).min(NEARLY_CERTAIN);
            let mut sum = 0.0;
            for id in &device.modes {
                let share = if total > 0.0 { rate(id) / total } else { 0.0 };
                odds[id.index()] = failed * share / (1.0 - failed);
                group[id.index()] = groups.len() as u32;
                sum += odds[id.index()];
            }
            groups.push(sum);
        }
        for (id, deviation) in machine.deviations.iter() {
            if deviation.kind == DeviationKind::Lapse {
                let chance = match deviation.rate.chance {
                    Chance::EachTime(chance) => chance.clamp(0.0, NEARLY_CERTAIN),
                    Chance::PerMillionHours(rate) => -libm::expm1(-rate.max(0.0) / 1e6 * hours),
                };
                odds[id.index()] = chance / (1.0 - chance);
                group[id.index()] = groups.len() as u32;
                groups.push(odds[id.index()]);
            }
        }
        Self { odds, group, groups }
    }

    /// The odds of a deviation against its device (or person) being in order.
    #[must_use]
    pub fn odds(&self, deviation: DeviationId) -> f64 {
        self.odds[deviation.index()]
    }

    /// The group of deviations that exclude each other.
    #[must_use]
    pub fn group(&self, deviation: DeviationId) -> u32 {
        self.group[deviation.index()]
    }

    /// The sum of all odds.
    #[must_use]
    pub fn sum(&self) -> f64 {
        self.groups.iter().sum()
    }

    /// The odds of nothing at all being wrong, one and two deviations, and of three or more
    /// (which are not looked at), all relative to "nothing".
    ///
    /// Exact: the elementary symmetric sums of the groups' odds. The product over the groups
    /// is 1 + e₁ + e₂ + the rest; the rest is summed by itself so that no digits cancel.
    #[must_use]
    pub fn by_size(&self) -> [f64; 4] {
        let mut sums = [1.0, 0.0, 0.0, 0.0];
        for odds in &self.groups {
            sums[3] += sums[3] * odds + sums[2] * odds;
            sums[2] += sums[1] * odds;
            sums[1] += sums[0] * odds;
        }
        sums
    }
}
