//! Rates learned from findings: how much oftener or more seldom each fault came than the library says.
//!
//! The model, for the fault `f` (a device type with one of its fault modes) on the machine type `t`:
//!
//! - the number of findings is Poisson with mean `θ(f,t)·m(f,t)`, where `m` is what the library's rate and the
//!   recorded running hours let expect;
//! - `θ(f,t)` is gamma with shape `kin` and mean `φ(f)`: machine types are kin, not the same;
//! - `φ(f)` is gamma with shape `trust` and mean 1: the library is right on average.
//!
//! The two shapes are not known. Each pair of a grid is weighed by how probable it makes all counts together (its
//! marginal likelihood), and all answers are means over the pairs. Nothing is sampled: the integral over `φ` is a sum
//! over an even grid of its logarithm. docs/records.md tells more.

mod apply;
mod count;
mod posterior;

pub use count::{Counted, Counts, LeftOut};
pub(crate) use count::{Files, SAME_WITHIN_DAYS};

use crate::id::TypeId;
use posterior::{Fault, Mixed, Posterior};
use serde::Serialize;
use std::collections::BTreeMap;

/// Shapes of the library's error that are weighed: 1 means "off by a factor of three is nothing odd", 8 "seldom by more
/// than a half" (common practice, no source).
pub const TRUST: [f64; 4] = [1.0, 2.0, 4.0, 8.0];
/// Shapes of the difference between machine types that are weighed.
pub const KIN: [f64; 4] = [1.0, 3.0, 9.0, 27.0];

/// An estimate with its 90 % interval.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Estimate {
    /// The mean.
    pub mean: f64,
    /// It lies below this with a probability of 5 %.
    pub low: f64,
    /// It lies above this with a probability of 5 %.
    pub high: f64,
}

impl Estimate {
    fn times(self, factor: f64) -> Self {
        Self { mean: self.mean * factor, low: self.low * factor, high: self.high * factor }
    }
}

/// What was learned of a fault on one machine type.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct OnType {
    /// The machine type.
    pub machine_type: TypeId,
    /// Its short name.
    pub type_name: String,
    /// Findings; one that is not sure counts for less than 1.
    pub found: f64,
    /// Findings to be expected by the library's rate.
    pub expected: f64,
    /// How many times the library's rate.
    pub factor: Estimate,
    /// The rate of one device, per million hours.
    pub rate: Estimate,
}

/// What was learned of a fault.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Learned {
    /// The device type's key in the library.
    pub device_type: String,
    /// The fault mode's key.
    pub mode: String,
    /// Findings on all machine types.
    pub found: f64,
    /// Findings to be expected by the library's rates.
    pub expected: f64,
    /// How many times the library's rate, on a machine type of which nothing is known.
    pub factor: Estimate,
    /// On each machine type that has such devices and hours.
    pub types: Vec<OnType>,
}

/// A pair of shapes with its weight.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Shapes {
    /// How far the library can be trusted.
    pub trust: f64,
    /// How alike machine types are.
    pub kin: f64,
    /// How probable this pair is after all that was counted.
    pub weight: f64,
}

/// All that was learned.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Rates {
    /// The pairs of shapes, weighed.
    pub shapes: Vec<Shapes>,
    /// The faults, those first that came most oftener than expected, by the lower end of the interval.
    pub faults: Vec<Learned>,
    /// The mean of each factor, to be applied.
    #[serde(skip)]
    pub factors: Factors,
}

/// The mean factor of each fault: all that a diagnosis needs, and quicker to be had than the intervals.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Factors {
    /// By device type and mode: on a machine type of which nothing is known, and on each of which something is.
    by_name: BTreeMap<(String, String), (f64, BTreeMap<TypeId, f64>)>,
}

/// Rows of the same fault, with what is known of it.
struct Group<'c> {
    device_type: &'c str,
    mode: &'c str,
    rows: Vec<&'c Counted>,
    fault: Fault,
}

fn groups(counts: &Counts) -> Vec<Group<'_>> {
    let mut by_name: BTreeMap<(&str, &str), Vec<&Counted>> = BTreeMap::new();
    for row in counts.rows.iter().filter(|row| row.expected > 0.0) {
        by_name.entry((&row.device_type, &row.mode)).or_default().push(row);
    }
    let made = by_name.into_iter().map(|((device_type, mode), rows)| {
        let fault = Fault::new(rows.iter().map(|row| (row.found, row.expected)));
        Group { device_type, mode, rows, fault }
    });
    made.collect()
}

impl Factors {
    /// The factors that these counts tell.
    #[must_use]
    pub fn of(counts: &Counts) -> Self {
        let groups = groups(counts);
        let posterior = Posterior::new(groups.iter().map(|group| &group.fault));
        let mut factors = Self::default();
        for group in &groups {
            factors.put(group, &posterior.of(&group.fault));
        }
        factors
    }

    fn put(&mut self, group: &Group<'_>, mixed: &Mixed) {
        let rows = group.rows.iter().enumerate();
        let by_type = rows.map(|(at, row)| (row.machine_type, mixed.of_type(at).mean())).collect();
        let name = (group.device_type.to_owned(), group.mode.to_owned());
        self.by_name.insert(name, (mixed.of_a_new_type().mean(), by_type));
    }
}

/// Learns rates from counts.
///
/// ```
/// use records::TypeId;
/// use records::rates::{Counted, Counts, learn};
/// let row = Counted {
///     device_type: "reed-switch".into(),
///     mode: "out-of-adjustment".into(),
///     machine_type: TypeId(1),
///     type_name: "press".into(),
///     library: 2.0,
///     device_hours: 1e6,
///     expected: 2.0,
///     found: 12.0,
/// };
/// let rates = learn(&Counts { rows: vec![row], ..Counts::default() });
/// let learned = &rates.faults[0].types[0];
/// // Between the library's 2 per million hours and the 12 that were counted.
/// assert!(learned.rate.mean > 4.0 && learned.rate.mean < 12.0);
/// assert!(learned.rate.low < learned.rate.mean && learned.rate.mean < learned.rate.high);
/// ```
#[must_use]
pub fn learn(counts: &Counts) -> Rates {
    let groups = groups(counts);
    let posterior = Posterior::new(groups.iter().map(|group| &group.fault));
    let mut learned = Vec::with_capacity(groups.len());
    let mut factors = Factors::default();
    for group in &groups {
        let mixed = posterior.of(&group.fault);
        factors.put(group, &mixed);
        let on_type = |(at, row): (usize, &&Counted)| {
            let factor = mixed.of_type(at).estimate();
            OnType {
                machine_type: row.machine_type,
                type_name: row.type_name.clone(),
                found: row.found,
                expected: row.expected,
                factor,
                rate: factor.times(row.library),
            }
        };
        learned.push(Learned {
            device_type: group.device_type.to_owned(),
            mode: group.mode.to_owned(),
            found: group.rows.iter().map(|row| row.found).sum(),
            expected: group.rows.iter().map(|row| row.expected).sum(),
            factor: mixed.of_a_new_type().estimate(),
            types: group.rows.iter().enumerate().map(on_type).collect(),
        });
    }
    let most = |one: &Learned| one.types.iter().map(|on| on.factor.low).fold(0.0, f64::max);
    learned.sort_by(|one, other| most(other).total_cmp(&most(one)));
    Rates { shapes: posterior.shapes().collect(), faults: learned, factors }
}

impl Rates {
    /// How probable it is, after all that was counted, that the factor of a fault on a machine type lies below this.
    /// For checks of the reckoning: `counts` must be those that the rates were learned from.
    #[must_use]
    pub fn probabilities_below(counts: &Counts, factors: &[f64]) -> Vec<f64> {
        let mut groups: BTreeMap<(&str, &str), Vec<usize>> = BTreeMap::new();
        for (at, row) in counts.rows.iter().enumerate().filter(|(_, row)| row.expected > 0.0) {
            groups.entry((&row.device_type, &row.mode)).or_default().push(at);
        }
        let fault =
            |rows: &Vec<usize>| Fault::new(rows.iter().map(|at| (counts.rows[*at].found, counts.rows[*at].expected)));
        let faults: Vec<Fault> = groups.values().map(fault).collect();
        let posterior = Posterior::new(&faults);
        let mut below = vec![f64::NAN; counts.rows.len()];
        for (rows, fault) in groups.values().zip(&faults) {
            let mixed = posterior.of(fault);
            for (place, at) in rows.iter().enumerate() {
                below[*at] = factors.get(*at).map_or(f64::NAN, |factor| mixed.of_type(place).below(*factor));
            }
        }
        below
    }
}
