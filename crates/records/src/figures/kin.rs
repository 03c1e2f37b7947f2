//! Machines that call more than their kin: those of the same type, hour for hour.
//!
//! If all machines of a type were alike, the calls of one would be a share of all their calls, binomial with its share
//! of the running hours (this is the exact test of equal Poisson rates, Przyborowski and Wilenski 1940). As many
//! machines are looked at, the probabilities are adjusted by Benjamini and Hochberg (1995): of the machines that stand
//! out by this, at most one in twenty does so by chance, on average.

use super::Told;
use crate::error::Result;
use crate::id::{MachineId, TypeId};
use crate::statistics::binomial_at_least;
use crate::store::Store;
use serde::Serialize;
use std::collections::BTreeMap;

/// Below this adjusted probability a machine stands out.
const STANDS_OUT: f64 = 0.05;

/// How probable it is that a machine has so many calls by chance.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct MoreCalls {
    /// Calls to be expected from its hours.
    pub expected: f64,
    /// Probability of as many calls or more, if it is like its kin.
    pub chance: f64,
    /// The same, adjusted for many machines being looked at.
    pub adjusted: f64,
}

/// A machine among its kin.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Compared {
    /// The machine.
    pub machine: MachineId,
    /// Its serial number.
    pub serial: String,
    /// The type's short name.
    pub type_name: String,
    /// Where it stands.
    pub site: String,
    /// Calls.
    pub calls: u64,
    /// Running hours.
    pub hours: f64,
    /// Compared with its kin.
    pub more: MoreCalls,
    /// Whether it stands out.
    pub stands_out: bool,
}

/// Compares machines with their kin: for each its group, calls and hours. The results are in the same order.
#[must_use]
pub fn more_than_kin(machines: &[(u64, u64, f64)]) -> Vec<MoreCalls> {
    let mut sums: BTreeMap<u64, (u64, f64)> = BTreeMap::new();
    for (group, calls, hours) in machines {
        let sum = sums.entry(*group).or_default();
        *sum = (sum.0 + calls, sum.1 + hours);
    }
    let mut compared: Vec<MoreCalls> = machines
        .iter()
        .map(|(group, calls, hours)| {
            let (all, all_hours) = sums[group];
            let share = if all_hours > 0.0 { hours / all_hours } else { 0.0 };
            let chance = binomial_at_least(*calls, all, share);
            MoreCalls { expected: all as f64 * share, chance, adjusted: chance }
        })
        .collect();
    let mut order: Vec<usize> = (0..compared.len()).collect();
    order.sort_by(|one, other| compared[*one].chance.total_cmp(&compared[*other].chance));
    let mut least = 1.0_f64;
    for (rank, at) in order.iter().enumerate().rev() {
        least = least.min(compared[*at].chance * compared.len() as f64 / (rank + 1) as f64);
        compared[*at].adjusted = least;
    }
    compared
}

pub(super) fn machines(store: &Store, calls: &[Told], hours: &BTreeMap<MachineId, f64>) -> Result<Vec<Compared>> {
    let mut counts: BTreeMap<MachineId, u64> = BTreeMap::new();
    for machine in calls.iter().filter_map(|call| call.machine) {
        *counts.entry(machine).or_default() += 1;
    }
    let all = store.all_machines()?;
    let with_hours: Vec<_> = all
        .iter()
        .filter_map(|machine| Some((machine, hours.get(&machine.id).copied().filter(|hours| *hours > 0.0)?)))
        .collect();
    let group = |machine_type: TypeId| machine_type.0.unsigned_abs();
    let of = |machine: MachineId| counts.get(&machine).copied().unwrap_or(0);
    let rows: Vec<(u64, u64, f64)> =
        with_hours.iter().map(|(machine, hours)| (group(machine.machine_type), of(machine.id), *hours)).collect();
    let compared = more_than_kin(&rows).into_iter().zip(with_hours);
    let mut compared: Vec<Compared> = compared
        .map(|(more, (machine, hours))| Compared {
            machine: machine.id,
            serial: machine.serial.clone(),
            type_name: machine.type_name.clone(),
            site: machine.site_name.clone(),
            calls: of(machine.id),
            hours,
            more,
            stands_out: more.adjusted <= STANDS_OUT,
        })
        .collect();
    compared.sort_by(|one, other| one.more.chance.total_cmp(&other.more.chance));
    Ok(compared)
}
