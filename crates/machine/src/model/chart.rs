//! The control program as IEC 60848 charts, with what the standard leaves to
//! the builder: permissives, interlocks, time-outs, latches, counters.

use super::Words;
use crate::condition::Condition;
use crate::id::{ChartId, CounterId, EdgeId, InputId, LatchId, ModeId, OutputId, StepId};

/// A fact that the program can know.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum ProgramFact {
    /// The input reads as lit.
    Input(InputId),
    /// The program commands this output.
    Output(OutputId),
    /// The step is active (IEC 61131-3 `step.X`).
    Step(StepId),
    /// The step is active and has been for at least this many ms (`step.T >= T#…`).
    StepFor(StepId, u64),
    /// The latch is set.
    Latch(LatchId),
    /// The counter has reached this number.
    Counted(CounterId, u32),
    /// The condition has just become true.
    Rises(EdgeId),
    /// The condition has just become false.
    Falls(EdgeId),
}

/// A chart.
#[derive(Clone, Debug)]
pub struct Chart {
    /// Name in the file.
    pub name: String,
    /// For people.
    pub words: Words,
    /// The mode it belongs to; its condition is among the start's permissives.
    pub mode: Option<ModeId>,
    /// The steps active at power-on.
    pub initial: Vec<StepId>,
}

/// A step.
#[derive(Clone, Debug)]
pub struct Step {
    /// Name in the file.
    pub name: String,
    /// For people.
    pub words: Words,
    /// The chart it belongs to.
    pub chart: ChartId,
    /// What it does.
    pub actions: Vec<Action>,
    /// How long it may last.
    pub time_out: Option<TimeOut>,
    /// The alarm that this step stands for, when it is one that a trip leads to.
    pub alarm: bool,
}

/// Something that a step does.
#[derive(Clone, Debug)]
pub struct Action {
    /// What.
    pub kind: ActionKind,
    /// Only while this holds.
    pub when: Condition<ProgramFact>,
    /// When, within the step.
    pub timing: Timing,
}

/// What an action does.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ActionKind {
    /// Continuous: the output is on while the action lasts.
    Drive(OutputId),
    /// Stored: on from here until reset.
    Set(OutputId),
    /// Stored: off from here until set.
    Reset(OutputId),
    /// Set a latch.
    SetLatch(LatchId),
    /// Reset a latch.
    ResetLatch(LatchId),
    /// Add one, when the step becomes active.
    Count(CounterId),
    /// Back to nought, when the step becomes active.
    Clear(CounterId),
}

/// When an action acts within its step.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Timing {
    /// As long as the step is active.
    WhileActive,
    /// From this many ms after activation on.
    After(u64),
    /// Only for the first so many ms.
    For(u64),
    /// On and off in turn, in ms, beginning with on.
    Blink(u64, u64),
}

/// A transition.
#[derive(Clone, Debug)]
pub struct Transition {
    /// The chart it belongs to.
    pub chart: ChartId,
    /// The steps that must all be active.
    pub from: Vec<StepId>,
    /// The steps that become active.
    pub to: Vec<StepId>,
    /// Its condition; the outermost parts of an "all" are what it waits for.
    pub when: Condition<ProgramFact>,
    /// Whether this is the chart's start, so that its parts are permissives.
    pub start: bool,
}

/// What a lost interlock or a time-out does to its chart.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Effect {
    /// The sequence takes no notice.
    Nothing,
    /// The chart stays in its steps. After an interlock it goes on when the
    /// interlock is back; after a time-out only an interlock's `GoTo` or a power-off ends it.
    Hold {
        /// Whether the outputs of the chart stay on meanwhile.
        outputs_kept: bool,
    },
    /// The chart goes to these steps at once, whatever it was doing.
    GoTo(Vec<StepId>),
}

/// A condition whose loss holds or aborts a running chart.
#[derive(Clone, Debug)]
pub struct Interlock {
    /// The chart it belongs to.
    pub chart: ChartId,
    /// For people.
    pub words: Words,
    /// What must hold.
    pub needs: Condition<ProgramFact>,
    /// The steps in which it is watched.
    pub in_steps: Vec<StepId>,
    /// What its loss does.
    pub effect: Effect,
}

/// A step's time limit.
#[derive(Clone, Debug)]
pub struct TimeOut {
    /// After so many ms in the step.
    pub after_ms: u64,
    /// What happens then.
    pub effect: Effect,
}

/// A bit that the program remembers. Reset wins over set.
#[derive(Clone, Debug)]
pub struct Latch {
    /// Name in the file.
    pub name: String,
    /// For people.
    pub words: Words,
    /// What sets it, apart from actions.
    pub set: Condition<ProgramFact>,
    /// What resets it, apart from actions.
    pub reset: Condition<ProgramFact>,
    /// Its value after power-on.
    pub at_power_on: bool,
}

/// A number that the program counts.
#[derive(Clone, Debug)]
pub struct Counter {
    /// Name in the file.
    pub name: String,
    /// For people.
    pub words: Words,
}
