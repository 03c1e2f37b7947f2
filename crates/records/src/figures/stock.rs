//! Spare stock: how many of a part to keep, so that it lasts until ordered ones are there.

use super::{Asked, Told};
use crate::error::Result;
use crate::id::CallId;
use crate::statistics::{negative_binomial_up_to, poisson_at_least};
use crate::store::Store;
use crate::text;
use jiff::SignedDuration;
use serde::Serialize;
use std::collections::BTreeMap;

/// Days of the periods in which use is counted, to see whether it comes in bursts.
const PERIOD_DAYS: i64 = 28;
/// More than anybody keeps.
const MOST: u64 = 1_000_000;

/// A part with its use and stock.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct PartStock {
    /// The part.
    pub part: String,
    /// How many were used.
    pub used: u64,
    /// Of these, used in a year.
    pub in_a_year: f64,
    /// The price of one, as last noted.
    pub price: Option<f64>,
    /// How many are used until ordered ones are there, on average.
    pub until_there: f64,
    /// Shape of the negative binomial distribution of that, if use comes in bursts (its variance over periods of
    /// four weeks is greater than its mean).
    pub shape: Option<f64>,
    /// Stock to keep, if each use comes by itself (Poisson).
    pub stock: u64,
    /// Stock to keep, if use comes in bursts as it did (negative binomial).
    pub stock_in_bursts: u64,
}

/// The smallest stock that lasts with this probability, when so many are used on average; `shape` is that of a
/// negative binomial distribution, none: Poisson.
///
/// ```
/// // SciPy 1.17: poisson.ppf(0.95, 2.5) is 5, nbinom.ppf(0.95, 1.5, 1.5/4) is 8.
/// assert_eq!(records::figures::stock_for(0.95, 2.5, None), 5);
/// assert_eq!(records::figures::stock_for(0.95, 2.5, Some(1.5)), 8);
/// ```
#[must_use]
pub fn stock_for(service_level: f64, mean: f64, shape: Option<f64>) -> u64 {
    let lasts = |stock: u64| {
        let probability = match shape {
            Some(shape) => negative_binomial_up_to(stock, shape, mean),
            None => 1.0 - poisson_at_least(stock + 1, mean),
        };
        probability >= service_level
    };
    if !(mean > 0.0 && service_level > 0.0 && service_level < 1.0) {
        return 0;
    }
    let mut enough = 1;
    while !lasts(enough) && enough < MOST {
        enough *= 2;
    }
    let mut from = 0;
    let mut to = enough;
    while from < to {
        let middle = from + (to - from) / 2;
        if lasts(middle) {
            to = middle;
        } else {
            from = middle + 1;
        }
    }
    to
}

pub(super) fn parts(store: &Store, calls: &[Told], asked: &Asked) -> Result<Vec<PartStock>> {
    let began: BTreeMap<CallId, usize> = calls.iter().enumerate().map(|(at, call)| (call.call, at)).collect();
    let span = asked.until.duration_since(asked.since);
    let period = SignedDuration::from_hours(PERIOD_DAYS * 24);
    let periods = usize::try_from(span.as_secs() / period.as_secs()).unwrap_or(0);
    let mut used: BTreeMap<String, (Vec<u64>, u64, Option<f64>)> = BTreeMap::new();
    let mut statement = store.connection.prepare_cached(
        "SELECT p.call, p.part, p.count, p.price FROM call c JOIN part_used p ON p.call = c.id
         WHERE c.began >= ?1 AND c.began < ?2 ORDER BY c.began, c.id, p.position",
    )?;
    let mut rows = statement.query([asked.since, asked.until].map(text::to_database))?;
    while let Some(row) = rows.next()? {
        let call: CallId = row.get(0)?;
        let Some(at) = began.get(&call) else { continue };
        let (part, count, price): (String, u32, Option<f64>) = (row.get(1)?, row.get(2)?, row.get(3)?);
        let entry = used.entry(part).or_insert_with(|| (vec![0; periods], 0, None));
        let since = calls[*at].began.duration_since(asked.since);
        // What is left at the end is shorter than a period and says nothing of bursts.
        let which = usize::try_from(since.as_secs() / period.as_secs()).unwrap_or(usize::MAX);
        if let Some(sum) = entry.0.get_mut(which) {
            *sum += u64::from(count);
        }
        entry.1 += u64::from(count);
        entry.2 = price.or(entry.2);
    }
    let days = span.as_secs_f64() / 86_400.0;
    let mut parts: Vec<PartStock> = used
        .into_iter()
        .map(|(part, (counts, used, price))| {
            let until_there = used as f64 / days * asked.lead_days;
            let shape = shape(&counts).map(|shape| shape * asked.lead_days / PERIOD_DAYS as f64);
            let shape = shape.filter(|shape| *shape > 0.0);
            PartStock {
                part,
                used,
                in_a_year: used as f64 / days * 365.25,
                price,
                until_there,
                shape,
                stock: stock_for(asked.service_level, until_there, None),
                stock_in_bursts: stock_for(asked.service_level, until_there, shape),
            }
        })
        .collect();
    parts.sort_by(|one, other| other.used.cmp(&one.used).then_with(|| one.part.cmp(&other.part)));
    Ok(parts)
}

/// The shape of a negative binomial distribution with the mean and variance of these counts (method of moments); none
/// where the variance is not greater than the mean.
fn shape(counts: &[u64]) -> Option<f64> {
    if counts.len() < 3 {
        return None;
    }
    let mean = counts.iter().sum::<u64>() as f64 / counts.len() as f64;
    let squares: f64 = counts.iter().map(|count| (*count as f64 - mean).powi(2)).sum();
    let variance = squares / (counts.len() - 1) as f64;
    (variance > mean && mean > 0.0).then(|| mean * mean / (variance - mean))
}

#[cfg(test)]
mod tests {
    use super::shape;

    #[test]
    fn use_in_bursts_has_a_shape_and_even_use_has_none() {
        assert_eq!(shape(&[1, 1, 1, 1]), None);
        assert_eq!(shape(&[0, 0, 0]), None);
        assert_eq!(shape(&[9, 0]), None);
        // Mean 2, variance 16/3: 4/(16/3 − 2) = 1.2.
        assert!(shape(&[6, 0, 2, 0, 2, 2]).is_some_and(|shape| (shape - 4.0 / (24.0 / 5.0 - 2.0)).abs() < 1e-12));
    }
}
