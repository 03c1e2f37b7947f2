//! The web pages: calls worked in the browser, machines, machine files, search; served by this program alone.
//!
//! 1. [`Serving`] listens at an address, [`Reached`] says by which names and how safely that is reached.
//! 2. An [`Office`] holds the records and the machines that are worked out.
//! 3. [`serve`] shows its pages. Over the loopback interface nobody has to sign in; whoever comes from elsewhere has to,
//!    over an encrypted connection. [`ADDRESSES`] says who may do what.
//!
//! Every page is whole HTML and works without scripts; the one small script makes lamps quicker to type in, fetches
//! what takes longer, and leads from a remark to its line of a machine file. Nothing is loaded from elsewhere. What is said in a call is on the disk before a page shows it.

mod accounts;
mod attempts;
mod calls;
mod encrypted;
mod figures;
mod front;
mod guard;
mod kept;
mod layout;
mod lists;
mod look;
mod machine_types;
mod machines;
mod mistake;
mod office;
mod pending;
mod practice;
mod procedures;
mod reached;
mod rooms;
mod search;
mod serving;
mod sign_in;
mod visitor;
mod words;

pub use office::Office;
pub use reached::{HostName, Reached};
pub use serving::{ADDRESSES, Address, Limits, Needs, ServeError, Serving, router, serve};
