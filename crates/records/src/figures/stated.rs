//! How well stated probabilities held: of all that was stated with 70 %, was it so in seven of ten?

use super::{Asked, Share, Told};
use crate::error::Result;
use crate::id::CallId;
use crate::store::Store;
use crate::text;
use serde::Serialize;
use std::collections::BTreeMap;

/// Findings less sure than this say nothing of what was stated.
const SURE: f64 = 0.75;

/// What was stated within one tenth.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Tenth {
    /// From this probability …
    pub from: f64,
    /// … to this one.
    pub to: f64,
    /// Mean of what was stated; none where nothing was.
    pub stated: Option<f64>,
    /// How often it was so, with its interval.
    pub so: Share,
}

/// How well stated probabilities held.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Held {
    /// Calls with a finding that is sure enough, and something stated.
    pub calls: u64,
    /// Of these: what was stated as most probable was it.
    pub first_was_it: Share,
    /// By tenths of the stated probability.
    pub tenths: Vec<Tenth>,
    /// Mean square of the difference between what was stated and what was so (1 or 0), after Brier (1950): 0 is
    /// perfect, and always stating one half gives 0.25.
    pub square_error: Option<f64>,
}

pub(super) fn held(store: &Store, calls: &[Told], asked: &Asked) -> Result<Held> {
    let sure: BTreeMap<CallId, &[String]> = calls
        .iter()
        .filter_map(|call| Some((call.call, call.found.as_ref()?)))
        .filter(|(_, found)| found.sure >= SURE)
        .map(|(call, found)| (call, found.deviations.as_slice()))
        .collect();
    let mut statement = store.connection.prepare_cached(
        "SELECT p.call, p.key, p.probability FROM call c JOIN stated_probability p ON p.call = c.id
         WHERE c.began >= ?1 AND c.began < ?2 ORDER BY c.began, c.id, p.position",
    )?;
    let mut rows = statement.query([asked.since, asked.until].map(text::to_database))?;
    let mut sums = [(0_u64, 0_u64, 0.0_f64); 10];
    let (mut squares, mut all) = (0.0, 0_u64);
    let mut first: BTreeMap<CallId, (f64, bool)> = BTreeMap::new();
    while let Some(row) = rows.next()? {
        let (call, key, probability): (CallId, String, f64) = (row.get(0)?, row.get(1)?, row.get(2)?);
        let Some(deviations) = sure.get(&call) else { continue };
        let so = deviations.contains(&key);
        let tenth = &mut sums[((probability * 10.0) as usize).min(9)];
        *tenth = (tenth.0 + 1, tenth.1 + u64::from(so), tenth.2 + probability);
        squares += (probability - f64::from(u8::from(so))).powi(2);
        all += 1;
        let leading = first.entry(call).or_insert((probability, so));
        if probability > leading.0 {
            *leading = (probability, so);
        }
    }
    let tenths = sums.iter().enumerate().map(|(at, (count, so, sum))| Tenth {
        from: at as f64 / 10.0,
        to: (at + 1) as f64 / 10.0,
        stated: (*count > 0).then(|| sum / *count as f64),
        so: Share::new(*so, *count),
    });
    let right = first.values().filter(|(_, so)| *so).count() as u64;
    Ok(Held {
        calls: first.len() as u64,
        first_was_it: Share::new(right, first.len() as u64),
        tenths: tenths.collect(),
        square_error: (all > 0).then(|| squares / all as f64),
    })
}
