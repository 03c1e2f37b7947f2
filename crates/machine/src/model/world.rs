//! The physical side: supplies and mechanisms, and the facts about them.

use super::Words;
use crate::condition::Condition;
use crate::id::{MechanismId, OutputId, SupplyId};

/// A fact about the world, whether or not any input shows it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum WorldFact {
    /// The mechanism stands at this position (index into [`Mechanism::positions`]).
    At(MechanismId, u8),
    /// The mechanism is between its positions.
    Between(MechanismId),
    /// The supply is there.
    Supply(SupplyId),
    /// The device behind this output really gets its energy: commanded, chain whole, supply there.
    Driven(OutputId),
}

/// What flows.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum SupplyKind {
    /// Electric: mains, 24 V, a fuse group.
    Electric,
    /// Compressed air.
    Air,
    /// Vacuum.
    Vacuum,
    /// Water or another liquid.
    Water,
}

/// Something that feeds devices. Supplies form a tree.
#[derive(Clone, Debug)]
pub struct Supply {
    /// Name in the file.
    pub name: String,
    /// For people.
    pub words: Words,
    /// What flows.
    pub kind: SupplyKind,
    /// The supply that feeds this one.
    pub from: Option<SupplyId>,
    /// What else must be so, such as a safety relay that has pulled in.
    pub when: Condition<WorldFact>,
    /// Where it is on the machine.
    pub place: Words,
}

/// Who moves a mechanism.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum MechanismClass {
    /// Hands: doors, selectors, work pieces.
    Hand,
    /// Hands, and it springs back when let go: buttons.
    Button,
    /// Outputs, supplies and other mechanisms.
    Driven,
}

/// Anything with a few distinct positions or states.
#[derive(Clone, Debug)]
pub struct Mechanism {
    /// Name in the file.
    pub name: String,
    /// For people.
    pub words: Words,
    /// Who moves it.
    pub class: MechanismClass,
    /// Names of the positions, at least two, at most 250.
    pub positions: Vec<String>,
    /// The same for people, in the same order.
    pub position_words: Vec<Words>,
    /// Where it stands before the routine begins.
    pub rest: u8,
    /// The moves, first match wins; see [`Move`].
    pub moves: Vec<Move>,
    /// Whether its movement can hurt somebody (not so for a level, a temperature, a button).
    pub moving_hazard: bool,
    /// The position in which it holds up a load that can come down, if any.
    pub raised_at: Option<u8>,
    /// Where it is on the machine.
    pub place: Words,
}

/// One way in which a mechanism moves.
///
/// At every moment the first move in the list whose condition holds, and whose
/// `from` allows it, acts: the mechanism travels to `to`, or is held there.
/// When none acts, the mechanism stays where it is, also between positions.
#[derive(Clone, Debug)]
pub struct Move {
    /// The positions it can start from; empty for any, between included.
    pub from: Vec<u8>,
    /// Where it leads.
    pub to: u8,
    /// What drives it.
    pub when: Condition<WorldFact>,
    /// Nominal travel time, ms.
    pub takes_ms: u64,
    /// Tolerance of that time, percent either way.
    pub tolerance_percent: u32,
}
