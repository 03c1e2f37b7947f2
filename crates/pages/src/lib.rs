//! The web pages: calls worked in the browser, machines, machine files, search; served by this program alone, from
//! the computer on which it runs.
//!
//! 1. An [`Office`] holds the records and the machines that are worked out.
//! 2. [`serve`] shows its pages at an address of the loopback interface.
//!
//! Every page is whole HTML and works without scripts; the one small script makes lamps quicker to type in and fetches
//! what takes longer. Nothing is loaded from elsewhere. What is said in a call is on the disk before a page shows it.

mod calls;
mod figures;
mod front;
mod guard;
mod layout;
mod look;
mod machine_types;
mod machines;
mod mistake;
mod office;
mod practice;
mod procedures;
mod search;
mod serving;
mod words;

pub use office::Office;
pub use serving::{ServeError, Serving, router, serve};
