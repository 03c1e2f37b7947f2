//! Shared by the tests that hold the reckoning against the outside.
#![allow(dead_code, clippy::unwrap_used, clippy::expect_used, clippy::panic)]

pub mod plain;
pub mod small;
