//! Led procedures: what a healthy machine does and shows at each step, worked out
//! by simulation; and what was seen instead, as evidence for a diagnosis.
//!
//! 1. [`Course::new`] plays a procedure on a healthy machine: which lamps are due
//!    after each step, and what will move, so that it can be announced before.
//! 2. A [`Report`] for each step says what was seen and measured.
//! 3. Where [`deviations`] finds something, [`diagnoser`] and [`evidence`] give a
//!    diagnosis with all that is known so far.
//!
//! [`judge`] holds the lamps that a machine file promises against the simulation.

mod course;
mod judge;
mod report;
mod routine;
mod wording;

pub use course::{Course, Due, LampDue, Movement, StepCourse};
pub use judge::judge;
pub use report::{Report, Seen, deviations, evidence, lamps_seen};
pub use routine::{as_routine, diagnoser};
pub use wording::{announcement, range, said_before, told};

/// How much sooner or later than told people look, percent of the time to wait (common practice, no source).
const WAITING_PERCENT: u64 = 10;
