//! Running hours between failures, with bounds by the χ² distribution.

use super::Told;
use crate::error::Result;
use crate::id::{MachineId, TypeId};
use crate::rates::{Files, SAME_WITHIN_DAYS};
use crate::statistics::chi_square_quantile;
use crate::store::Store;
use jiff::{SignedDuration, Timestamp};
use serde::Serialize;
use std::collections::BTreeMap;

/// Share of the intervals that hold the truth.
const CONFIDENCE: f64 = 0.9;

/// Hours between failures of a machine type.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Reliability {
    /// The machine type.
    pub machine_type: TypeId,
    /// Its short name.
    pub type_name: String,
    /// Machines with recorded hours.
    pub machines: u64,
    /// Their running hours.
    pub hours: f64,
    /// Failures: calls in which a fault was found. Lapses are none, and the same fault on the same machine within
    /// thirty days is one.
    pub failures: u64,
    /// Hours for each failure; none where there was none.
    pub between: Option<f64>,
    /// Lower end of the 90 % interval.
    pub low: Option<f64>,
    /// Upper end; none where there was no failure.
    pub high: Option<f64>,
}

/// Bounds of the mean time between failures after so many hours with so many failures, counting stopped at a time:
/// 2T/χ²(1−α/2; 2r+2) and 2T/χ²(α/2; 2r) (NIST/SEMATECH e-Handbook of Statistical Methods, 8.4.5.1).
///
/// ```
/// // The handbook's factors for two failures at 90 %: 0.3177 and 5.6281, here on 800 h / 2.
/// let (low, high) = records::figures::between_failures(800.0, 2, 0.9);
/// assert!((low - 400.0 * 0.3177).abs() < 0.05);
/// assert!(high.is_some_and(|high| (high - 400.0 * 5.6281).abs() < 0.05));
/// ```
#[must_use]
pub fn between_failures(hours: f64, failures: u64, confidence: f64) -> (f64, Option<f64>) {
    let outside = (1.0 - confidence) / 2.0;
    let count = failures as f64;
    let low = 2.0 * hours / chi_square_quantile(2.0 * count + 2.0, 1.0 - outside);
    let high = (failures > 0).then(|| 2.0 * hours / chi_square_quantile(2.0 * count, outside));
    (low, high)
}

pub(super) fn reliability(
    store: &Store,
    calls: &[Told],
    hours: &BTreeMap<MachineId, f64>,
    files: &mut Files,
) -> Result<Vec<Reliability>> {
    let soon = SignedDuration::from_hours(SAME_WITHIN_DAYS * 24);
    let mut failures: BTreeMap<TypeId, u64> = BTreeMap::new();
    let mut last: BTreeMap<(MachineId, &str), Timestamp> = BTreeMap::new();
    for call in calls {
        let (Some(machine), Some(found)) = (call.machine.filter(|one| hours.contains_key(one)), &call.found) else {
            continue;
        };
        let mut fresh = false;
        for key in &found.deviations {
            if files.faults(store, call.version, &call.choice)?.is_fault(key) {
                let before = last.insert((machine, key), call.began);
                fresh |= before.is_none_or(|before| call.began.duration_since(before) > soon);
            }
        }
        *failures.entry(call.machine_type).or_default() += u64::from(fresh);
    }
    let mut sums: BTreeMap<TypeId, (u64, f64)> = BTreeMap::new();
    for machine in store.all_machines()? {
        if let Some(hours) = hours.get(&machine.id) {
            let sum = sums.entry(machine.machine_type).or_default();
            *sum = (sum.0 + 1, sum.1 + hours);
        }
    }
    let types = store.machine_types()?;
    let rows = types.into_iter().filter_map(|one| {
        let (machines, hours) = sums.get(&one.id).copied().filter(|(_, hours)| *hours > 0.0)?;
        let failures = failures.get(&one.id).copied().unwrap_or(0);
        let (low, high) = between_failures(hours, failures, CONFIDENCE);
        Some(Reliability {
            machine_type: one.id,
            type_name: one.name,
            machines,
            hours,
            failures,
            between: (failures > 0).then(|| hours / failures as f64),
            low: Some(low).filter(|low| low.is_finite()),
            high,
        })
    });
    Ok(rows.collect())
}
