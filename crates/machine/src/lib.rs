//! The machine file: what a machine is, read from a text that a service technician writes.

pub mod condition;
pub mod id;
pub mod model;

pub use condition::Condition;
pub use model::Machine;
