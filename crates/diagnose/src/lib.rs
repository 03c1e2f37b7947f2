//! What is wrong with the machine: exact probabilities from what was reported.

mod class;
pub mod evidence;
pub mod panel;
pub mod prior;
pub mod reading;
mod standing;
mod tally;
mod world;

pub use standing::Standing;
pub use tally::Doubt;
pub use world::{Alternative, FIRST_ROUTINE};
