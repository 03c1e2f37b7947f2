//! An invented history to look at: two years of calls on some sixty machines of the four demo types.
//!
//! Faults are drawn from each machine's own rates and running hours, with three secrets that the figures should bring
//! to light: a few sites call more ([`BUSY_SITES`]), one device type wears faster than the library says
//! ([`WORN_TYPE`]), and some remedies did not last. What the lamps showed in each call is simulated, so that every
//! entry is one that the call dialogue understands. Nothing here happened anywhere.

mod people;
mod plan;
mod stage;
mod write;

pub use plan::Wanted;

use crate::error::{Error, ErrorKind, Result};
use crate::store::Store;
use jiff::Timestamp;

/// The device type that wears faster than the library says.
pub const WORN_TYPE: &str = "reed-switch";
/// How many times faster.
pub const WORN_FACTOR: f64 = 5.0;
/// Sites whose machines fail more often: steam, dust, rough hands.
pub const BUSY_SITES: [&str; 3] = ["Burdock Hill", "Fennel Wharf", "Yarrow Mill"];
/// How many times more often.
pub const BUSY_FACTOR: f64 = 3.0;

/// What was written.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Written {
    /// Machines.
    pub machines: usize,
    /// Calls.
    pub calls: usize,
}

/// The machine types of the demo: short name, title for messages, machine file.
pub(crate) const TYPES: [(&str, &str); 4] = [
    ("jar-capper", include_str!("../../../demos/minimal.toml")),
    ("jar-filler", include_str!("../../../demos/jar-filler.toml")),
    ("parts-washer", include_str!("../../../demos/parts-washer.toml")),
    ("lidding-line", include_str!("../../../demos/lidding-line.toml")),
];

/// Writes the invented history into new records; it ends at `now`. The same seed and time give the same history.
///
/// # Errors
/// When there are machine types in the records already.
pub fn fill(store: &mut Store, wanted: &Wanted, now: Timestamp) -> Result<Written> {
    if !store.machine_types()?.is_empty() {
        let hint = "begin new records for it; invented calls among real ones would spoil every figure";
        return Err(Error::new(ErrorKind::Exists, "the records", "there is something in them already", hint));
    }
    write::write(store, wanted, now)
}
