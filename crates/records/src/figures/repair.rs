//! How long it took, whether the next call came soon, and how many calls there were in each month.

use super::{Share, Told};
use crate::findings::Solved;
use crate::id::MachineId;
use crate::rates::SAME_WITHIN_DAYS;
use jiff::tz::TimeZone;
use jiff::{SignedDuration, Timestamp};
use serde::Serialize;
use std::collections::BTreeMap;

/// How long it took until machines ran again. Of calls that were put right.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize)]
pub struct Repair {
    /// Calls of which the minutes are known.
    pub calls: u64,
    /// Median of the minutes of work.
    pub median_minutes: Option<f64>,
    /// Nine in ten took no more minutes of work.
    pub ninetieth_minutes: Option<f64>,
    /// Mean minutes of work.
    pub mean_minutes: Option<f64>,
    /// Median of the hours from the beginning of the call to its end.
    pub median_hours: Option<f64>,
    /// Nine in ten took no more hours.
    pub ninetieth_hours: Option<f64>,
}

/// Calls that began in a month.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize)]
pub struct Month {
    /// The month, as `2026-03` (in UTC).
    pub month: String,
    /// Calls that began.
    pub calls: u64,
    /// Of these, put right on the phone.
    pub by_phone: u64,
    /// Of these, put right by a visit.
    pub by_visit: u64,
}

pub(super) fn repair(calls: &[Told]) -> Repair {
    let put_right = || {
        calls
            .iter()
            .filter_map(|call| Some((call, call.found.as_ref()?)))
            .filter(|(_, found)| found.solved != Solved::Unsolved)
    };
    let minutes: Vec<f64> = put_right().filter_map(|(_, found)| found.minutes).collect();
    let hours: Vec<f64> = put_right()
        .filter_map(|(call, _)| Some(call.closed?.duration_since(call.began).as_secs_f64() / 3600.0))
        .collect();
    let mean = minutes.iter().sum::<f64>() / minutes.len() as f64;
    Repair {
        calls: minutes.len() as u64,
        mean_minutes: (!minutes.is_empty()).then_some(mean),
        median_minutes: quantile(&minutes, 0.5),
        ninetieth_minutes: quantile(&minutes, 0.9),
        median_hours: quantile(&hours, 0.5),
        ninetieth_hours: quantile(&hours, 0.9),
    }
}

/// The value below which this share lies, between two values in proportion (definition 7 of Hyndman and Fan 1996, as
/// in most programs).
fn quantile(values: &[f64], share: f64) -> Option<f64> {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    let at = share * sorted.len().checked_sub(1)? as f64;
    let (below, above) = (sorted[at.floor() as usize], sorted[at.ceil() as usize]);
    Some(below + (above - below) * at.fract())
}

/// Calls after which the same machine called again within thirty days.
pub(super) fn again(calls: &[Told], until: Timestamp) -> Share {
    let soon = SignedDuration::from_hours(SAME_WITHIN_DAYS * 24);
    let mut began: BTreeMap<MachineId, Vec<Timestamp>> = BTreeMap::new();
    for call in calls {
        if let Some(machine) = call.machine {
            began.entry(machine).or_default().push(call.began);
        }
    }
    let ripe = calls.iter().filter(|call| {
        call.machine.is_some() && call.found.is_some() && call.closed.is_some_and(|closed| closed + soon <= until)
    });
    Share::among(ripe, |call| {
        let (Some(machine), Some(closed)) = (call.machine, call.closed) else { return false };
        began[&machine].iter().any(|next| *next > call.began && *next <= closed + soon)
    })
}

pub(super) fn months(calls: &[Told]) -> Vec<Month> {
    let mut months: BTreeMap<String, Month> = BTreeMap::new();
    for call in calls {
        let date = call.began.to_zoned(TimeZone::UTC).date();
        let name = format!("{:04}-{:02}", date.year(), date.month());
        let month = months.entry(name.clone()).or_insert_with(|| Month { month: name, ..Month::default() });
        month.calls += 1;
        match call.found.as_ref().map(|found| found.solved) {
            Some(Solved::Phone) => month.by_phone += 1,
            Some(Solved::Visit) => month.by_visit += 1,
            _ => {}
        }
    }
    months.into_values().collect()
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::quantile;

    #[test]
    fn quantiles_lie_between_values_in_proportion() {
        // numpy.quantile([3, 1, 2, 10], [0.5, 0.9]) is [2.5, 7.9] (NumPy 2, default method).
        let values = [3.0, 1.0, 2.0, 10.0];
        assert!((quantile(&values, 0.5).unwrap() - 2.5).abs() < 1e-12);
        assert!((quantile(&values, 0.9).unwrap() - 7.9).abs() < 1e-12);
        assert_eq!(quantile(&[4.0], 0.9), Some(4.0));
        assert_eq!(quantile(&[], 0.5), None);
    }
}
