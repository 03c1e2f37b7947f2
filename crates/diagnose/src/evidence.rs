//! What was reported. Evidence is a list of moments; within one moment the
//! order of reports does not matter, and a moment ends when somebody acts.

pub use crate::renamed::{NAMES_WHAT_IS_NOT_THERE, Told, retold};
use machine::Machine;
use machine::id::{CheckId, InputId, MechanismId, OutputId, RemedyId, RoutineId};
use machine::model::{Event, HandMove, PanelLamp};

/// How a lamp was said to be.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum LampState {
    /// Lit all the time.
    Lit,
    /// Dark all the time.
    Dark,
    /// Goes on and off.
    Flickers,
}

/// How the report names the lamp, which decides how often it is wrong.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Naming {
    /// The lamp was named.
    Named,
    /// The lamp was one of "all the others".
    Rest,
}

/// A place on the controller's front: row and column in [`machine::Machine::lamp_rows`].
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct LampPlace {
    /// Row, from the top.
    pub row: usize,
    /// Column, from the left.
    pub column: usize,
}

impl LampPlace {
    /// Every place where a machine has a lamp, row by row, with the lamp.
    pub fn all(machine: &Machine) -> impl Iterator<Item = (Self, &PanelLamp)> {
        let rows = machine.lamp_rows.iter().enumerate();
        rows.flat_map(|(row, lamps)| {
            lamps.lamps.iter().enumerate().map(move |(column, lamp)| (Self { row, column }, lamp))
        })
    }

    /// The lamp at this place, where the machine has one.
    #[must_use]
    pub fn lamp(self, machine: &Machine) -> Option<&PanelLamp> {
        machine.lamp_rows.get(self.row)?.lamps.get(self.column)
    }

    /// The label beside it; empty where there is no lamp.
    #[must_use]
    pub fn label(self, machine: &Machine) -> &str {
        self.lamp(machine).map_or("", |lamp| &lamp.label)
    }
}

/// One lamp as reported.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct LampReport {
    /// Which lamp.
    pub place: LampPlace,
    /// How it was.
    pub state: LampState,
    /// How it was named.
    pub naming: Naming,
}

/// A mechanism as seen; no position means "between its positions".
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct PositionReport {
    /// Which mechanism.
    pub mechanism: MechanismId,
    /// Where it stands.
    pub position: Option<u8>,
}

/// The answer to a check, as an index into [`machine::model::Check::answers`].
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct CheckReport {
    /// Which check.
    pub check: CheckId,
    /// Which answer.
    pub answer: usize,
}

/// What the caller complains of.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Complaint {
    /// Start is pressed and nothing begins.
    WontStart,
    /// It began and stands still midway.
    StopsMidway,
    /// It does nearly everything but does not come to its end.
    WontFinish,
    /// It comes to its end, but the work is not right.
    WrongResult,
}

/// What a person did, as said.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Deed {
    /// The action with this index in the routine was the last that was done; `None`: only powered on.
    Routine(Option<usize>),
    /// Something that the routine has no place for.
    Extra(HandMove),
}

/// Everything reported at one moment.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Moment {
    /// What was done, in order, to come to this moment: for the first moment the last things
    /// before the call, for later ones what was done since the moment before.
    pub deeds: Vec<Deed>,
    /// Remedies applied since the moment before.
    pub remedies: Vec<RemedyId>,
    /// Lamps.
    pub lamps: Vec<LampReport>,
    /// Positions.
    pub positions: Vec<PositionReport>,
    /// Answers to checks.
    pub checks: Vec<CheckReport>,
    /// Whether the machine was found to run again, after what was done. In the first moment it does
    /// not run, or nobody would call, so there it says nothing.
    pub runs: Option<bool>,
}

/// Everything reported in a call.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Evidence {
    /// The complaint, if one was named.
    pub complaint: Option<Complaint>,
    /// The routine that people were doing, if known; [`Deed::Routine`] counts its actions.
    pub routine: Option<RoutineId>,
    /// Running hours since it last ran well, if known.
    pub hours_since_well: Option<f64>,
    /// What happened to the machine since then.
    pub recently: Vec<Event>,
    /// It fails once in so many cycles, and runs in between; none: it stands still.
    pub once_in: Option<f64>,
    /// How many deviations at once are thought of, where more than two are; at most [`MOST_AT_ONCE`](crate::MOST_AT_ONCE).
    pub most_at_once: Option<usize>,
    /// The moments, the earliest first.
    pub moments: Vec<Moment>,
}

/// A moment of which nothing is known.
static SILENCE: Moment = Moment {
    deeds: Vec::new(),
    remedies: Vec::new(),
    lamps: Vec::new(),
    positions: Vec::new(),
    checks: Vec::new(),
    runs: None,
};

impl Evidence {
    /// What was reported of the moment of the call; nothing if nothing was.
    pub(crate) fn first(&self) -> &Moment {
        self.moments.first().unwrap_or(&SILENCE)
    }

    /// What was reported of the last moment; nothing if nothing was.
    pub(crate) fn now(&self) -> &Moment {
        self.moments.last().unwrap_or(&SILENCE)
    }

    /// What has to be known before a machine is worked out.
    #[must_use]
    pub fn circumstances(&self) -> Circumstances {
        Circumstances {
            hours_since_well: self.hours_since_well,
            recently: self.recently.clone(),
            once_in: self.once_in,
        }
    }
}

/// What the machine has gone through since it last ran well: it decides how probable each
/// deviation is before anything is reported.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Circumstances {
    /// Running hours since it last ran well; the machine file says it if nobody knows.
    pub hours_since_well: Option<f64>,
    /// What happened to it since then.
    pub recently: Vec<Event>,
    /// It fails once in so many cycles, and runs in between; none: it stands still.
    pub once_in: Option<f64>,
}

/// A lamp of the machine that stands for a point.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum LampPoint {
    /// An input.
    Input(InputId),
    /// An output.
    Output(OutputId),
}
