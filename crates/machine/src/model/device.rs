//! What can be wrong, how one looks, and what puts it right.

use super::hand::HandMove;
use super::{AfterEvents, InputStage, OutputStage, Words};
use crate::id::{DeviationId, DeviceId, InputId, MechanismId, OutputId, RemedyId, RoutineId, SupplyId};

/// Where a number comes from.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Source {
    /// A named published source.
    Published(String),
    /// A named source, as remembered.
    Memory(String),
    /// Common practice, no source.
    Practice,
    /// The writer of the machine file.
    File,
}

/// How probable a deviation is before anything was reported.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Chance {
    /// A failure rate per million hours of running.
    PerMillionHours(f64),
    /// A probability for each time the routine is done, in 0 to 1.
    EachTime(f64),
}

/// A failure rate or probability with its source.
#[derive(Clone, Debug, PartialEq)]
pub struct Rate {
    /// The number.
    pub chance: Chance,
    /// Where it comes from.
    pub source: Source,
}

/// A thing that can be at fault: a sensor, a valve, a fuse, a cable, a card, the controller.
#[derive(Clone, Debug)]
pub struct Device {
    /// Name, unique within the machine: the tag of its point, the supply's or mechanism's
    /// name, or such with the part behind it (`B1 cable`).
    pub name: String,
    /// For people.
    pub words: Words,
    /// The device type's key in the library.
    pub type_key: String,
    /// What it stands in.
    pub role: DeviceRole,
    /// Whether it guards people, so that it is never swapped or tried by hand.
    pub guarding: Guarding,
    /// Its fault modes, which exclude each other.
    pub modes: Vec<DeviationId>,
    /// Where it is on the machine.
    pub place: Words,
}

/// What a device stands in.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum DeviceRole {
    /// In an input's chain.
    Input(InputId),
    /// In an output's chain.
    Output(OutputId),
    /// It is or makes a supply.
    Supply(SupplyId),
    /// It is a mechanism.
    Mechanism(MechanismId),
    /// Shared by several points: a cable, a junction box, a card.
    Shared,
    /// The controller itself.
    Controller,
}

/// Whether something belongs to what protects people.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Guarding {
    /// Not a guard.
    None,
    /// A guard door's or a relay's part in guarding.
    Guard,
    /// A stop or emergency stop.
    Stop,
    /// A two-hand control.
    TwoHand,
}

/// A value that a fault forces on a stage.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Forced {
    /// Always off.
    Off,
    /// Always on.
    On,
    /// Makes and breaks while it should be on: mean ms made, mean ms broken.
    Chatters(u32, u32),
}

/// What a deviation does to the machine.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum FaultEffect {
    /// A stage of an input's chain.
    Input(InputId, InputStage, Forced),
    /// A stage of an output's chain.
    Output(OutputId, OutputStage, Forced),
    /// A supply is missing, or comes and goes.
    Supply(SupplyId, Forced),
    /// A mechanism does not move any more.
    Stuck(MechanismId),
    /// A mechanism takes so many percent of its time (400: four times as long).
    Slow(MechanismId, u32),
    /// A mechanism stops just short of this position.
    StopsShort(MechanismId, u8),
    /// A mechanism does not stay in the first position: it goes to the second by itself within so many ms.
    Creeps(MechanismId, u8, u8, u32),
    /// The controller does not run its program: its outputs are off.
    ControllerStopped,
    /// The controller does not run its program and shows its error lamp.
    ControllerError,
    /// The hand action with this index in this routine is not done.
    Forgotten(RoutineId, u32),
    /// The mechanism is found in this position before the routine begins.
    Found(MechanismId, u8),
    /// Somebody does this at some moment after power-on, once, and does not say so. What moves by hand is put there and
    /// back again.
    Unasked(HandMove),
}

impl FaultEffect {
    /// What somebody does unasked, if it is that.
    #[must_use]
    pub fn unasked(&self) -> Option<HandMove> {
        match self {
            Self::Unasked(movement) => Some(*movement),
            _ => None,
        }
    }

    /// Whether it shows now and then only, as a loose contact does.
    #[must_use]
    pub fn comes_and_goes(&self) -> bool {
        matches!(
            self,
            Self::Input(_, _, Forced::Chatters(..))
                | Self::Output(_, _, Forced::Chatters(..))
                | Self::Supply(_, Forced::Chatters(..))
        )
    }
}

/// One thing that is not as it should be.
#[derive(Clone, Debug)]
pub struct Deviation {
    /// Key, unique within the machine: `B1/dead`, `lapse/door shut`.
    pub key: String,
    /// For people: "the contact is broken".
    pub words: Words,
    /// Fault or lapse.
    pub kind: DeviationKind,
    /// How probable, and where the number comes from.
    pub rate: Rate,
    /// What it does.
    pub effects: Vec<FaultEffect>,
    /// How many times likelier it is after recent events.
    pub after: AfterEvents,
    /// What puts it right.
    pub remedy: Option<RemedyId>,
}

/// Fault or lapse.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum DeviationKind {
    /// A device in one of its fault modes; can set in at any moment.
    Fault(DeviceId),
    /// A person's slip or a condition of the site; there from the beginning.
    Lapse,
}

/// Who may do a check or a remedy, by rising qualification.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Who {
    /// Whoever runs the machine.
    Operator,
    /// A service technician.
    Technician,
    /// A person qualified for electrical work.
    Electrician,
}

/// The energy that a check or a remedy needs.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Energy {
    /// Everything off and locked.
    Off,
    /// On as in normal running; nothing is opened.
    Normal,
    /// Air or vacuum on and within reach.
    Pressure,
    /// Live parts within reach.
    Live,
}

/// The access it needs.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Access {
    /// From outside, as in normal running.
    Outside,
    /// The cabinet is open.
    Cabinet,
    /// Behind a guard.
    BehindGuard,
}

/// Whether it is done near a load that can come down.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Load {
    /// No raised load.
    None,
    /// Under or beside a raised load.
    Raised,
}

/// What a check looks at. Its answer under any hypothesis is computed from the simulated state.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Observable {
    /// On or off at a stage of an input's chain.
    InputStage(InputId, InputStage),
    /// On or off at a stage of an output's chain.
    OutputStage(OutputId, OutputStage),
    /// There or missing.
    Supply(SupplyId),
    /// The position of a mechanism; the answers are its positions and "between".
    Position(MechanismId),
    /// Whether the mechanism can be moved by hand with the energy off.
    MovesFreely(MechanismId),
    /// Whether one of these deviations is there, seen by looking at the device itself.
    Inspect(Vec<DeviationId>),
}

/// What part a check plays; cautions and rules for swapping depend on it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum CheckRole {
    /// Looking.
    Look,
    /// Measuring.
    Measure,
    /// Trying or moving by hand.
    Try,
    /// Swapping with a neighbour.
    Swap,
}

/// One possible answer to a check.
#[derive(Clone, Debug)]
pub struct Answer {
    /// Key, such as `on`, `off`, or a position's name.
    pub key: String,
    /// For people.
    pub words: Words,
}

/// Something that a person can look at, measure or try.
#[derive(Clone, Debug)]
pub struct Check {
    /// Key, unique within the machine: `B1/own-led`.
    pub key: String,
    /// The device it belongs to.
    pub device: Option<DeviceId>,
    /// Asked of an operator on the phone.
    pub operator: Words,
    /// Told to a technician.
    pub technician: Words,
    /// What it looks at.
    pub observes: Observable,
    /// The possible answers: on and off (in this order), or the positions and "between".
    pub answers: Vec<Answer>,
    /// What part it plays.
    pub role: CheckRole,
    /// Minutes it takes.
    pub minutes: f64,
    /// Probability that its answer is wrong.
    pub error: f64,
    /// Who may do it.
    pub who: Who,
    /// Energy it needs.
    pub energy: Energy,
    /// Access it needs.
    pub access: Access,
    /// Raised load nearby.
    pub load: Load,
    /// Where its numbers come from.
    pub source: Source,
}

/// A spare part.
#[derive(Clone, Debug, PartialEq)]
pub struct Part {
    /// What it is.
    pub words: Words,
    /// Price in the writer's currency, 0 if unknown.
    pub price: f64,
}

/// What puts a deviation right.
#[derive(Clone, Debug)]
pub struct Remedy {
    /// Key, unique within the machine: `B1/replace`.
    pub key: String,
    /// The device it belongs to.
    pub device: Option<DeviceId>,
    /// For people, in the imperative.
    pub words: Words,
    /// Minutes it takes.
    pub minutes: f64,
    /// The part needed.
    pub part: Option<Part>,
    /// Who may do it.
    pub who: Who,
    /// Energy while it is done.
    pub energy: Energy,
    /// Access it needs.
    pub access: Access,
    /// Raised load nearby.
    pub load: Load,
    /// What a hand does to the machine in it, if the simulation knows: a lapse is made good so.
    pub does: Option<HandMove>,
    /// Where its numbers come from.
    pub source: Source,
}
