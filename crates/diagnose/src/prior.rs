//! How probable each deviation is before anything was reported.
//!
//! A device with fault rates rᵢ per million hours has been without fault for `h` hours
//! with probability exp(−Σrᵢ·h/10⁶); if it has failed, mode `i` did it with probability
//! rᵢ/Σr. The modes of one device thus exclude each other, and devices are independent.
//! A lapse has the probability that the machine file gives it, each on its own.
//!
//! Recent events multiply rates. The chance of a lapse is taken as 1 − exp(−x) and x is multiplied,
//! so that no probability reaches 1.
//!
//! Where a machine fails once in so many cycles only, what is always there is hardly the cause: its rate
//! counts for a small part (`ALWAYS_THERE`), that of what depends on travel for more.

use crate::evidence::Circumstances;
use machine::Machine;
use machine::id::{DeviationId, Id};
use machine::model::{Chance, Deviation, DeviationKind};

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
    /// Works out the odds after what the machine has gone through since it last ran well.
    #[must_use]
    pub fn new(machine: &Machine, circumstances: &Circumstances) -> Self {
        let hours = circumstances.hours_since_well.filter(|hours| hours.is_finite());
        let hours = hours.map_or(machine.hours_since_well, |hours| hours.max(0.0));
        let comes_and_goes = circumstances.once_in.is_some_and(|cycles| cycles > 1.0);
        let likelier = |deviation: &Deviation| {
            let factor = deviation.after.after_all(&circumstances.recently);
            if comes_and_goes { factor * now_and_then(deviation) } else { factor }
        };
        let mut odds = vec![0.0; machine.deviations.len()];
        let mut group = vec![0; machine.deviations.len()];
        let mut groups = Vec::new();
        for device in machine.devices.rows() {
            let rate = |id: &DeviationId| match machine.deviations[*id].rate.chance {
                Chance::PerMillionHours(rate) => rate.max(0.0) * likelier(&machine.deviations[*id]) / 1e6,
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
                let factor = likelier(deviation);
                let chance = match deviation.rate.chance {
                    Chance::EachTime(chance) if factor == 1.0 => chance,
                    // A chance of 1 − exp(−x) each time becomes 1 − exp(−factor·x).
                    Chance::EachTime(chance) => -libm::expm1(factor * libm::log1p(-chance.clamp(0.0, NEARLY_CERTAIN))),
                    Chance::PerMillionHours(rate) => -libm::expm1(-rate.max(0.0) * factor / 1e6 * hours),
                }
                .clamp(0.0, NEARLY_CERTAIN);
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

    /// The probability of a deviation before anything was reported.
    #[must_use]
    pub fn probability(&self, deviation: DeviationId) -> f64 {
        self.odds(deviation) / (1.0 + self.groups[self.group(deviation) as usize])
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

/// Share of the faults that are always there which show only now and then (common practice, no source).
const ALWAYS_THERE: f64 = 0.02;
/// The same for faults of travel and adjustment, which are at the edge of what still works for a while.
const AT_THE_EDGE: f64 = 0.3;

/// How much rarer a deviation becomes when the machine fails only once in some cycles.
fn now_and_then(deviation: &Deviation) -> f64 {
    use machine::model::{FaultEffect, Forced};
    let of = |effect: &FaultEffect| match effect {
        FaultEffect::Input(_, _, Forced::Chatters(..))
        | FaultEffect::Output(_, _, Forced::Chatters(..))
        | FaultEffect::Supply(_, Forced::Chatters(..)) => 1.0,
        // People forget a thing now and then, too.
        FaultEffect::Forgotten(..) | FaultEffect::Found(..) | FaultEffect::Unasked(_) => 1.0,
        FaultEffect::Slow(..) | FaultEffect::StopsShort(..) | FaultEffect::Stuck(_) | FaultEffect::Creeps(..) => {
            AT_THE_EDGE
        }
        _ => ALWAYS_THERE,
    };
    deviation.effects.iter().map(of).fold(ALWAYS_THERE, f64::max)
}

#[cfg(test)]
#[allow(clippy::unwrap_used, clippy::expect_used)]
mod tests {
    use super::*;
    use machine::model::{AfterEvents, Event};

    fn machine() -> Machine {
        machine::load_str("minimal.toml", include_str!("../../../demos/minimal.toml")).unwrap()
    }

    fn after(recently: &[Event]) -> Circumstances {
        Circumstances { hours_since_well: None, recently: recently.to_vec(), once_in: None }
    }

    #[test]
    fn without_events_nothing_changes_whatever_the_file_says_of_events() {
        let plain = machine();
        let mut other = plain.clone();
        for (_, deviation) in other.deviations.iter_mut() {
            deviation.after = AfterEvents::new([900.0; 4]);
        }
        let (one, two) = (Prior::new(&plain, &after(&[])), Prior::new(&other, &after(&[])));
        assert_eq!(one.odds, two.odds);
    }

    #[test]
    fn an_event_multiplies_the_rate_and_leaves_every_probability_below_1() {
        let mut machine = machine();
        for (_, deviation) in machine.deviations.iter_mut() {
            deviation.after = AfterEvents::default().with(Event::Moved, 7.0);
            if let Chance::EachTime(chance) = &mut deviation.rate.chance {
                *chance = 0.4;
            }
        }
        let mut faster = machine.clone();
        for (_, deviation) in faster.deviations.iter_mut() {
            if let Chance::PerMillionHours(rate) = &mut deviation.rate.chance {
                *rate *= 7.0;
            }
        }
        let (moved, faster) = (Prior::new(&machine, &after(&[Event::Moved])), Prior::new(&faster, &after(&[])));
        for (id, deviation) in machine.deviations.iter() {
            let chance = moved.odds(id) / (1.0 + moved.odds(id));
            assert!(chance > 0.0 && chance < 1.0, "{} {chance}", deviation.key);
            match deviation.rate.chance {
                Chance::PerMillionHours(_) => {
                    assert!((moved.odds(id) / faster.odds(id) - 1.0).abs() < 1e-12, "{}", deviation.key);
                }
                Chance::EachTime(_) => assert!((chance - (1.0 - 0.6_f64.powi(7))).abs() < 1e-12, "{chance}"),
            }
        }
    }
}
