//! What a machine does: a timed simulation of supplies, mechanisms, points,
//! charts and hands together, with any deviations switched on at any moment.
//!
//! The life of a run:
//! 1. [`Plant::new`] compiles a [`machine::Machine`] once.
//! 2. [`Engine::new`] gives a machine with the power off.
//! 3. [`Engine::power_on`], then [`Engine::act`] for each thing a hand does and
//!    [`Engine::run_to_standing`] after it.
//! 4. [`Engine::impose`] switches a deviation on at any moment in between;
//!    [`Engine::state`] and [`Engine::restore`] fork a run.
//!
//! Hazards: a machine file can describe nonsense. Runs therefore end at
//! [`Limits`], and a program that never comes to rest is reported as
//! [`Stop::Unstable`].

mod behaviour;
mod decision;
mod engine;
mod explore;
mod observe;
mod plant;
mod playback;
mod routine;
mod signal;
mod situation;
mod state;

pub use behaviour::{Behaviour, behaviours};
pub use engine::{EVOLUTIONS, Engine, Limits, POWER_OFF_MS, Stop, Unwatched, Watch};
pub use explore::{
    Exploration, Found, Options, Record, SetEnd, SetEnds, SetIn, Slot, explore, explore_weighted, explored,
};
pub use observe::{Shares, View};
pub use plant::Plant;
pub use playback::{Cause, Imposed, Instant, Playback, play};
pub use routine::{Branching, Habits};
pub use signal::{Layout, Signal};
pub use situation::{Situation, Varying};
pub use state::State;
