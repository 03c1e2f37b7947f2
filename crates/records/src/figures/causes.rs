//! What it was, the most frequent first (Pareto).

use super::Told;
use crate::error::Result;
use crate::rates::Files;
use crate::store::Store;
use serde::Serialize;
use std::collections::BTreeMap;

/// One kind of cause.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Cause {
    /// Device type and fault mode (`reed-switch/dead`), a lapse (`lapse/air shut`), or `not-in-file`.
    pub key: String,
    /// In words.
    pub words: String,
    /// How many calls.
    pub calls: u64,
    /// Their share of all causes found.
    pub share: f64,
    /// The share of this and all more frequent ones.
    pub together: f64,
    /// Minutes of work in these calls, where they are known.
    pub minutes: f64,
}

pub(super) fn causes(store: &Store, calls: &[Told], files: &mut Files) -> Result<Vec<Cause>> {
    let mut counts: BTreeMap<String, (String, u64, f64)> = BTreeMap::new();
    for call in calls {
        let Some(found) = &call.found else { continue };
        let mut keys = Vec::new();
        for deviation in &found.deviations {
            let known = files.faults(store, call.version, &call.choice)?.known(deviation);
            keys.push(known.unwrap_or_else(|| (deviation.clone(), "not known to the machine file".to_owned())));
        }
        if found.not_in_file {
            keys.push(("not-in-file".to_owned(), "something that is not in the machine file".to_owned()));
        }
        for (key, words) in keys {
            let count = counts.entry(key).or_insert((words, 0, 0.0));
            count.1 += 1;
            count.2 += found.minutes.unwrap_or(0.0);
        }
    }
    let all: u64 = counts.values().map(|(_, calls, _)| calls).sum();
    let mut causes: Vec<Cause> = counts
        .into_iter()
        .map(|(key, (words, calls, minutes))| Cause {
            key,
            words,
            calls,
            share: calls as f64 / all as f64,
            together: 0.0,
            minutes,
        })
        .collect();
    causes.sort_by(|one, other| other.calls.cmp(&one.calls).then_with(|| one.key.cmp(&other.key)));
    let mut sum = 0;
    for cause in &mut causes {
        sum += cause.calls;
        cause.together = sum as f64 / all as f64;
    }
    Ok(causes)
}
