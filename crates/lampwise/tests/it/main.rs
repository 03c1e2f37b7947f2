//! The command line from outside: each module one feature, each test one thing that
//! somebody types.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

/// `lampwise accounts`.
mod accounts;
/// Every way in which input can be wrong.
mod bad_input;
/// Demos, describe and types.
mod browse;
/// `lampwise call`.
mod call;
/// `lampwise draft`.
mod draft;
/// `lampwise guide`, and calls that go on from its code.
mod guide;
/// Documents and their schemas.
mod json;
/// What was worked out and is kept for the next start.
mod kept;
/// `lampwise lint`.
mod lint;
/// Help, completions and manual pages.
mod manual;
/// `lampwise play`.
mod play;
mod practice;
/// `lampwise procedure`.
mod procedure;
/// `lampwise records`.
mod records;
/// `lampwise serve`, with accounts and encrypted.
mod serve;
/// `lampwise sheet`.
mod sheet;
/// Starting the program and looking at what it printed.
mod support;
/// `lampwise tree` and `lampwise review`.
mod tree;
/// `lampwise why`.
mod why;
