//! The machine file: what a machine is, read from a text that a service technician writes.
//!
//! 1. [`read`] takes the text (a [`Source`]) and gives a [`Reading`]; it never fails.
//! 2. [`Reading::resolve`] gives the machine for one [`Choice`] of revision and settings,
//!    as a list of weighted [`Alternative`]s where the file leaves something open.
//! 3. What is wrong is a list of [`Problem`]s, each with place, cause and hint.

pub mod caution;
pub mod condition;
pub mod draft;
pub mod id;
pub mod library;
mod lint;
pub mod model;
pub mod problem;
mod reading;
mod resolve;
pub mod shape;
pub mod source;
pub mod text;
pub mod tree;

pub use condition::Condition;
pub use model::Machine;
pub use problem::{Problem, Severity};
pub use reading::{
    Alternative, Choice, LARGEST_FILE, Reading, Resolved, Revision, is_library, libraries_named, lint_library,
    load_str, read,
};
pub use source::{Source, Span};
