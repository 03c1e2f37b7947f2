//! What people do: modes, routines, procedures, settings.

use super::{Access, Energy, Guarding, Load, ProgramFact, Who, Words};
use crate::condition::Condition;
use crate::id::{InputId, MechanismId, ModeId, OutputId, SupplyId};
use crate::source::Span;

/// What the controller is set to.
#[derive(Clone, Debug)]
pub struct Mode {
    /// Name in the file.
    pub name: String,
    /// For people.
    pub words: Words,
    /// How the program knows that it is chosen.
    pub when: Condition<ProgramFact>,
}

/// What a person normally does in a mode, in order. Before each action but the
/// first, the machine has come to a standing point, unless the action before says
/// how long people wait.
#[derive(Clone, Debug)]
pub struct Routine {
    /// Name in the file.
    pub name: String,
    /// For people.
    pub words: Words,
    /// The mode it is for.
    pub mode: Option<ModeId>,
    /// The actions; power-on comes before the first.
    pub actions: Vec<HandAction>,
}

/// One thing that a hand does.
#[derive(Clone, Debug)]
pub struct HandAction {
    /// For people, in the imperative: "shut the door".
    pub words: Words,
    /// The writer's short form, such as `door shut` or `press start`.
    pub short: String,
    /// What.
    pub movement: HandMove,
    /// How long people wait before the next action; none: until the machine stands.
    pub wait_ms: Option<u64>,
}

impl From<HandMove> for HandAction {
    /// The move alone, without words; people wait until the machine stands.
    fn from(movement: HandMove) -> Self {
        Self { words: Words::default(), short: String::new(), movement, wait_ms: None }
    }
}

/// What a hand does to the machine.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum HandMove {
    /// Puts a mechanism into a position.
    Put(MechanismId, u8),
    /// Presses a button for so many ms and lets go.
    Press(MechanismId, u64),
    /// Holds a button down until further notice.
    Hold(MechanismId),
    /// Lets go of a held button.
    LetGo(MechanismId),
    /// Shuts or opens a supply by hand (true: it is there afterwards).
    Supply(SupplyId, bool),
    /// Power off, and on again after at least ten seconds.
    PowerCycle,
    /// Only waits.
    Wait,
}

/// A led service job.
#[derive(Clone, Debug)]
pub struct Procedure {
    /// Name in the file.
    pub name: String,
    /// For people.
    pub words: Words,
    /// What it is for, and when.
    pub purpose: Words,
    /// Who may do it.
    pub who: Who,
    /// The steps.
    pub steps: Vec<ProcedureStep>,
}

/// One step of a procedure.
#[derive(Clone, Debug)]
pub struct ProcedureStep {
    /// What to do.
    pub words: Words,
    /// What the writer wants said before it, beside the cautions that are worked out.
    pub note: Option<Words>,
    /// What the hand does to the machine, if anything the simulation knows.
    pub movement: HandMove,
    /// How long to wait afterwards, ms; none: until the machine stands.
    pub wait_ms: Option<u64>,
    /// Lamps that the writer expects lit or dark (checked against the simulation).
    pub expect: Vec<(ExpectedLamp, bool)>,
    /// Where the file says so, else where the step begins; for messages only.
    pub span: Span,
    /// A value to measure.
    pub measure: Option<Measurement>,
    /// Energy while it is done.
    pub energy: Energy,
    /// Access it needs.
    pub access: Access,
    /// Raised load nearby.
    pub load: Load,
    /// Whether it is about something that protects people; for doors, stops and the like this is known anyway.
    pub guarding: Guarding,
}

/// A lamp that a procedure step names.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ExpectedLamp {
    /// An input's lamp.
    Input(InputId),
    /// An output's lamp.
    Output(OutputId),
}

/// A measured value.
#[derive(Clone, Debug)]
pub struct Measurement {
    /// What is measured.
    pub words: Words,
    /// Unit, such as `ml/min`.
    pub unit: Words,
    /// Least and greatest value that is right.
    pub from: f64,
    /// See `from`.
    pub to: f64,
    /// What to do when it is outside.
    pub outside: Words,
}

/// A value that differs from machine to machine.
#[derive(Clone, Debug)]
pub struct Setting {
    /// Name in the file.
    pub name: String,
    /// For people.
    pub words: Words,
    /// The value used.
    pub value: SettingValue,
    /// The value if nobody says otherwise.
    pub default: SettingValue,
    /// Least and greatest value.
    pub range: Option<(SettingValue, SettingValue)>,
    /// Where it is adjusted.
    pub place: Words,
}

/// A setting's value.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum SettingValue {
    /// A time, ms.
    Time(u64),
    /// A count.
    Count(u32),
}
