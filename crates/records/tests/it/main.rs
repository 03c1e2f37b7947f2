//! Tests of the records through their public face.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod accounts;
mod calls; // what a call says, who was quicker, what was taken back
mod demo; // the invented history
mod figures; // figures for the service manager
mod files; // opening, copying, looking over
mod lists; // pages of lists, search
mod machines; // machine types with their versions, machines, exposure, procedures
mod outside; // against SciPy
mod rates; // rates learned from findings
mod support;
mod transfer; // out as CSV or JSON Lines, and back
