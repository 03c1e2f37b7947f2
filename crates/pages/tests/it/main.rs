//! Tests of the pages, all in one program: it links once.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod accounts;
mod encrypted;
mod hostile;
mod pages;
mod support;
