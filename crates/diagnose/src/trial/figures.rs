//! What a trial comes to, in figures.

use super::{Course, Policy, Stated};
use serde::Serialize;

/// A mean with the half-width of its 95 % interval (normal approximation).
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize)]
pub struct Interval {
    /// The mean.
    pub mean: f64,
    /// Half of the interval's width.
    pub half_width: f64,
}

impl Interval {
    /// Of independent values.
    #[must_use]
    pub fn of(values: &[f64]) -> Self {
        let count = values.len() as f64;
        if values.is_empty() {
            return Self::default();
        }
        let mean = values.iter().sum::<f64>() / count;
        let squares: f64 = values.iter().map(|value| (value - mean) * (value - mean)).sum();
        let deviation = (squares / (count - 1.0).max(1.0)).sqrt();
        Self { mean, half_width: 1.96 * deviation / count.sqrt() }
    }
}

/// What was stated in one tenth of the probabilities, and how often it was so.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize)]
pub struct Tenth {
    /// How many statements.
    pub count: usize,
    /// Their mean.
    pub stated: f64,
    /// The share that was so.
    pub observed: f64,
    /// Half of the 95 % interval of the difference between them. Statements of one call go together, so that calls are
    /// what is counted (the linearised variance of a ratio over clusters: W. G. Cochran, Sampling Techniques, 3rd edition
    /// 1977, section 9A, from memory).
    pub half_width: f64,
}

/// How one way to choose fared.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Figures {
    /// The way.
    pub policy: Policy,
    /// Calls.
    pub calls: usize,
    /// Share of calls after which the machine runs, the last resort left aside.
    pub solved: f64,
    /// Share of calls in which the true cause was first before the repair that ended them, causes
    /// with the same remedy counted as one.
    pub true_first: f64,
    /// Minutes until the machine ran.
    pub minutes: Interval,
    /// Median of the minutes.
    pub median: f64,
    /// Ninetieth percentile of the minutes.
    pub ninetieth: f64,
    /// Minutes more than the first way took in the same calls.
    pub more_than_first: Interval,
    /// Visits for each call.
    pub visits: f64,
    /// Questions for each call.
    pub questions: f64,
    /// Stated against observed, by tenths of the stated probability of the leading cause.
    pub tenths: Vec<Tenth>,
}

impl Figures {
    pub(crate) fn of(policy: Policy, own: &[&Course], first: &[&Course]) -> Self {
        let count = own.len().max(1) as f64;
        let share = |is: &dyn Fn(&Course) -> bool| own.iter().filter(|course| is(course)).count() as f64 / count;
        let minutes: Vec<f64> = own.iter().map(|course| course.minutes).collect();
        let more: Vec<f64> = own.iter().zip(first).map(|(own, first)| own.minutes - first.minutes).collect();
        let mut sorted = minutes.clone();
        sorted.sort_by(f64::total_cmp);
        let at = |share: f64| sorted.get(((sorted.len() as f64 * share) as usize).min(sorted.len().saturating_sub(1)));
        Self {
            policy,
            calls: own.len(),
            solved: share(&|course| course.solved),
            true_first: share(&|course| course.true_first),
            minutes: Interval::of(&minutes),
            median: at(0.5).copied().unwrap_or_default(),
            ninetieth: at(0.9).copied().unwrap_or_default(),
            more_than_first: Interval::of(&more),
            visits: own.iter().map(|course| course.visits as f64).sum::<f64>() / count,
            questions: own.iter().map(|course| course.questions as f64).sum::<f64>() / count,
            tenths: (0..10).map(|tenth| Tenth::of(tenth, own)).collect(),
        }
    }
}

impl Tenth {
    fn of(tenth: usize, courses: &[&Course]) -> Self {
        let falls_here = |stated: &&Stated| ((stated.probability * 10.0) as usize).min(9) == tenth;
        let of_calls = courses.iter().map(|course| {
            course.stated.iter().filter(falls_here).fold((0_usize, 0.0, 0.0), |(count, stated, observed), one| {
                (count + 1, stated + one.probability, observed + f64::from(u8::from(one.is_so)))
            })
        });
        let of_calls: Vec<(usize, f64, f64)> = of_calls.filter(|(count, ..)| *count > 0).collect();
        let count: usize = of_calls.iter().map(|(count, ..)| count).sum();
        if count == 0 {
            return Self::default();
        }
        let mean = |of: &dyn Fn(&(usize, f64, f64)) -> f64| of_calls.iter().map(of).sum::<f64>() / count as f64;
        let (stated, observed) = (mean(&|call| call.1), mean(&|call| call.2));
        let rest = |call: &(usize, f64, f64)| call.2 - call.1 - call.0 as f64 * (observed - stated);
        let squares: f64 = of_calls.iter().map(|call| rest(call) * rest(call)).sum();
        let calls = of_calls.len() as f64;
        let half_width = 1.96 * (squares * calls / (calls - 1.0).max(1.0)).sqrt() / count as f64;
        Self { count, stated, observed, half_width }
    }
}
