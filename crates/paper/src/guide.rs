//! The offline guide: one page for an operator's phone, with everything in it that is needed to go from a
//! complaint and the lamps to what only a technician can do.

mod numbers;
mod rows;
mod data;

pub use data::figures;
