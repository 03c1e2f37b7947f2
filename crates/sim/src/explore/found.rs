//! What playing all deviations found, apart from what a machine gives at once: it can be kept and taken up again, so
//! that nothing is played a second time.

use super::{Exploration, Options, Record, Undisturbed};
use crate::plant::Plant;
use crate::situation::Situation;
use machine::Machine;
use machine::id::RoutineId;
use rustc_hash::FxHashMap;
use serde::{Deserialize, Serialize};
use std::borrow::Cow;

/// What an exploration found. With the same machine, routine and options [`explored`] makes the same
/// exploration of it again.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub struct Found<'f> {
    pub(super) records: Cow<'f, [Record]>,
    #[serde(with = "shares")]
    pub(super) latent: Cow<'f, [Vec<f64>]>,
    pub(super) situations: Cow<'f, [Situation]>,
    pub(super) runs: u64,
    pub(super) events: u64,
    pub(super) cut: f64,
    pub(super) unfollowed: f64,
}

impl Exploration {
    /// What was found, to be kept.
    #[must_use]
    pub fn found(&self) -> Found<'_> {
        Found {
            records: Cow::Borrowed(&self.records),
            latent: Cow::Borrowed(&self.latent),
            situations: Cow::Borrowed(&self.situations),
            runs: self.runs,
            events: self.events,
            cut: self.cut,
            unfollowed: self.unfollowed,
        }
    }
}

/// The exploration that this was found in; only the undisturbed run is played.
///
/// What was found has to come from this machine and routine, under these options and odds: nothing here can tell.
#[must_use]
pub fn explored(
    machine: &Machine,
    plant: &Plant,
    routine: RoutineId,
    options: &Options,
    found: Found<'_>,
) -> Exploration {
    Undisturbed::new(machine, plant, routine, options).with(found, routine, options)
}

/// Many shares are alike: each is written once, and where it stands only its number.
mod shares {
    use super::{Cow, Deserialize, FxHashMap, Serialize};
    use serde::de::Error as _;
    use serde::{Deserializer, Serializer};

    #[derive(Serialize, Deserialize)]
    struct Numbered {
        values: Vec<f64>,
        rows: Vec<Vec<u32>>,
    }

    #[allow(clippy::ptr_arg)] // The signature is serde's.
    pub fn serialize<S: Serializer>(rows: &Cow<'_, [Vec<f64>]>, to: S) -> Result<S::Ok, S::Error> {
        let mut values = Vec::new();
        let mut known: FxHashMap<u64, u32> = FxHashMap::default();
        let mut number = |share: &f64| {
            *known.entry(share.to_bits()).or_insert_with(|| {
                values.push(*share);
                values.len() as u32 - 1
            })
        };
        let rows = rows.iter().map(|row| row.iter().map(&mut number).collect()).collect();
        Numbered { values, rows }.serialize(to)
    }

    pub fn deserialize<'de, D: Deserializer<'de>>(from: D) -> Result<Cow<'static, [Vec<f64>]>, D::Error> {
        let Numbered { values, rows } = Numbered::deserialize(from)?;
        let share = |number: u32| values.get(number as usize).copied();
        let row = |row: Vec<u32>| row.into_iter().map(share).collect::<Option<Vec<f64>>>();
        let rows: Option<Vec<Vec<f64>>> = rows.into_iter().map(row).collect();
        rows.map(Cow::Owned).ok_or_else(|| D::Error::custom("a share is missing"))
    }
}
