//! From what people type to [`evidence`](crate::evidence): lamps, positions,
//! what was done, answers to checks, the complaint. Each reader takes the text
//! as it is said on the phone, gives every mistake in one pass with its place
//! and a hint, and never guesses where two meanings are possible. The
//! `describe_…` functions go the other way.
//!
//! No reader knows probabilities: how often a report is wrong belongs to the
//! diagnosis. Each works in time proportional to the text, which may be up to
//! [`LONGEST_TEXT`] bytes long.

mod answers;
mod complaint;
mod deeds;
mod events;
mod frequency;
mod lamps;
mod mistake;
mod nearest;
mod phrase;
mod positions;
mod remedies;
mod things;
mod unit;

pub use answers::{describe_checks, read_checks};
pub use complaint::read_complaint;
pub use deeds::{describe_deeds, read_deeds};
pub use events::{event_words, read_events};
pub use frequency::{read_complained, read_frequency};
pub use lamps::{describe_lamps, read_lamps};
pub use mistake::{LONGEST_TEXT, MistakeKind, ReadingError, render_mistakes};
pub use positions::{describe_positions, read_positions};
pub use remedies::read_remedies;
