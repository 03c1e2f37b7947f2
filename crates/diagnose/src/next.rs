//! The next check: what to look at, try or repair next so that the machine runs soonest.
//!
//! [`advise`] poses the bare problem for a machine and a call (`candidates`, from what can be asked, `questions`), has it solved (`choose`), and puts
//! the first proposals into words, each with what it can set moving (`movement`). The bare problem knows no
//! machine, so that it can be held against published examples and the exact [`optimum`].

pub(crate) mod advice;
mod asking;
pub(crate) mod candidates;
mod choose;
mod exact;
mod movement;
mod pricing;
mod problem;
pub(crate) mod questions;
mod todo;
mod tree;

pub(crate) use advice::advise_weighed;
pub use advice::{Advice, Bring, Outcome, Proposal, Tell, advise};
pub use asking::{asked, deed_words};
pub use choose::{Effort, Priced, choose};
pub use exact::{beliefs, optimum};
pub(crate) use movement::movements;
pub use movement::{Announcement, Movement};
pub use problem::{Act, Belief, Needs, Problem, Repair, Test};
pub use questions::{ACT_MINUTES, GO_ON_MINUTES, LAMP_MINUTES, LAMPS_MINUTES, POSITION_MINUTES};
pub use todo::{Terms, ToDo};
pub use tree::{Branch, End, Leaf, Next, Node, Remedy, Size, Step, tree, tree_of};
