//! The shape of the database file, and how a file of an older shape is brought up to date.
//!
//! A shape that was released is never edited; a change is one more step at the end of [`MIGRATIONS`].

use rusqlite_migration::{M, Migrations};

/// Says in the file's head that it is one of ours ("LAMP" as a number).
pub(crate) const APPLICATION: i32 = 0x4c41_4d50;

const STEPS: &[M<'_>] = &[
    M::up(include_str!("schema/first.sql")),
    M::up(include_str!("schema/second.sql")),
    M::up(include_str!("schema/third.sql")),
    M::up(include_str!("schema/fourth.sql")),
];

/// All steps from an empty file to the newest shape.
pub(crate) const MIGRATIONS: Migrations<'_> = Migrations::from_slice(STEPS);

/// The number of the newest shape.
pub(crate) const NEWEST: usize = STEPS.len();
