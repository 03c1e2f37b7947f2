//! What is wrong with the machine: exact probabilities from what was reported.

mod aftermath;
pub mod answer;
pub mod call;
mod caller;
mod class;
pub mod consistency;
mod diagnoser;
pub mod digest;
pub mod evidence;
mod following;
mod hypothesis;
mod kept;
pub mod lamp_chart;
pub mod likelihood;
mod marginals;
pub mod next;
pub mod panel;
pub mod pattern;
pub mod practice;
pub mod prior;
pub mod procedure;
pub mod reading;
mod renamed;
pub mod review;
mod seen;
mod standing;
mod tally;
pub mod trial;
mod unlisted;
pub mod wording;
mod world;

pub use answer::Answer;
pub use diagnoser::{Diagnoser, Extent};
pub use following::{Followed, WRONG_ABOUT_RUNNING};
pub use kept::{NoShelf, Shelf};
pub use machine::Alternative;
pub use marginals::Marginals;

pub use standing::Standing;
pub use tally::Doubt;
pub use unlisted::RUNS_BY_ITSELF;
pub use world::FIRST_ROUTINE;
