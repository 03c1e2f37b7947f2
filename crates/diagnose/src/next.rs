//! The next check: what to look at, try or repair next so that the machine runs soonest.

mod choose;
mod exact;
mod problem;

pub use choose::{Effort, Priced, choose};
pub use exact::optimum;
pub use problem::{Act, Belief, Needs, Problem, Repair, Test};
