//! The lamps as the caller sees them.

use super::{ProgramFact, Words};
use crate::condition::Condition;
use crate::id::{InputId, OutputId};

/// One row of lamps on the controller's front.
#[derive(Clone, Debug)]
pub struct LampRow {
    /// What the row is called, such as "inputs" or "outputs".
    pub title: Words,
    /// The lamps from left to right.
    pub lamps: Vec<PanelLamp>,
}

/// One lamp.
#[derive(Clone, Debug)]
pub struct PanelLamp {
    /// The label printed beside it.
    pub label: String,
    /// What it shows.
    pub kind: LampKind,
}

/// What a lamp shows.
#[derive(Clone, Debug)]
pub enum LampKind {
    /// An input's lamp.
    Input(InputId),
    /// An output's lamp.
    Output(OutputId),
    /// A status lamp of the controller.
    Status(StatusMeaning),
    /// A lamp with nothing behind it; always dark.
    Unused,
}

/// What a status lamp means.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum StatusMeaning {
    /// The controller has its supply.
    Powered,
    /// The controller runs its program.
    Running,
    /// The controller reports an error of its own.
    Error,
    /// The program lights it.
    Program(Condition<ProgramFact>),
}
