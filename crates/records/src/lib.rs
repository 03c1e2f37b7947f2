//! What was learned: machine types, machines, calls and findings, kept in one SQLite file.
//!
//! 1. A [`Store`] is the file. Machine files come in with [`Store::add_version`], machines with
//!    [`Store::add_machine`].
//! 2. [`Store::begin_call`], [`Store::change`], [`Store::set_finding`] and [`Store::close_call`] follow a call. What
//!    was acknowledged is on the disk.
//! 3. Lists come page by page ([`Page`]), [`Store::search`] looks through all of it.
//!
//! [`accounts`] says who may use the pages from elsewhere.
//!
//! Nothing here has a clock: every time is given by the caller.

pub mod accounts;
mod calls;
pub mod demo;
mod entries;
mod error;
pub mod figures;
mod filter;
mod findings;
mod id;
mod machine_types;
mod machines;
mod page;
mod procedures;
pub mod rates;
mod schema;
mod search;
mod statistics;
mod store;
mod text;
pub mod transfer;

pub use calls::{Call, CallFilter, CallRow, ChangeError, Conflict, NewCall, State};
pub use entries::{Change, Event, MOST_CHANGES, MOST_ENTRIES, Said, What};
pub use error::{Error, ErrorKind, Result};
pub use findings::{Finding, HIGHEST_PRICE, MOST_MINUTES, MOST_PARTS, MOST_VISITS, PartUsed, Solved, Stated};
pub use id::{AccountId, CallId, ExposureId, MachineId, RunId, SiteId, TypeId, VersionId};
pub use machine_types::{Added, MachineType, NewVersion, Version, VersionText};
pub use machines::{Exposure, MOST_CYCLES, MOST_HOURS, Machine, MachineFilter, NewMachine, Site, Unit};
pub use page::{LARGEST_PAGE, Listed, NamePlace, Page, TimePlace};
pub use procedures::{Measured, ProcedureRun};
pub use search::{About, Hit, Piece};
pub use store::{Condition, Store, Written};
pub use text::{LONGEST_LINE, LONGEST_NAME, LONGEST_NOTES, serial_number};
