//! A call: one service case from the complaint to the finding, without a terminal.
//!
//! 1. A [`Session`] holds the ordered list of [`Entry`]s, in the words in which they were said. Each can be
//!    replaced or removed; all is worked out anew from the list then.
//! 2. [`Session::question`] is what to ask next; [`Session::understand`] turns an answer into entries.
//! 3. [`Session::now`] is what is known, [`Session::finding`] what it was, once that is sure enough.
//!
//! A call is kept as one readable text, see [`Record`]. Nothing here reads or writes files.

mod answering;
mod as_said;
mod build;
pub mod code;
mod entry;
mod finding;
mod heard;
mod record;
mod session;
mod verify;
mod watch;
mod worked_out;

pub use answering::{Understood, lamps_as};
pub use as_said::{is_as_before, leaves_out, says_it_runs};
pub use build::{routine_called, to_do_called};
pub use entry::{Entry, EntryMistake, Kind, added};
pub(crate) use finding::by_remedy;
pub use finding::{Ending, Finding, Found};
pub use heard::entries_of;
pub use record::{Origin, Record, RecordMistake, fingerprint};
pub use session::{Now, Question, RuledOut, Session};
pub use verify::Verification;
pub use watch::{CHANCE, Watch, cycles_to_see, seconds_to_see};
pub use worked_out::WorkedOut;
