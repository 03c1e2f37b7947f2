//! What things cost that have no minutes of their own.

/// Prices in minutes, apart from those of single checks and remedies.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Prices {
    /// Until somebody qualified for everything is there.
    pub visit: f64,
    /// The last resort, such as the machine builder coming, that helps whatever it is.
    pub last_resort: f64,
    /// Finding out whether the machine runs again.
    pub trial_run: f64,
    /// What a remedy in vain costs beside all minutes that it takes: parts used up, patience, trust.
    pub remedy_in_vain: f64,
}

impl Prices {
    /// The most that anything may cost: ten weeks.
    pub const MOST: f64 = 100_000.0;
}

impl Default for Prices {
    /// A visit takes three hours, the last resort a day and a night, a trial run two minutes (common practice, no source).
    fn default() -> Self {
        Self { visit: 180.0, last_resort: 1440.0, trial_run: 2.0, remedy_in_vain: 0.0 }
    }
}
