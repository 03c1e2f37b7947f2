//! Controller points and the stages of the chains behind them.

use super::{ProgramFact, Words, WorldFact};
use crate::condition::Condition;
use crate::id::SupplyId;

/// Whether a point is in use.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum PointUse {
    /// Wired and read by the program.
    Used,
    /// The lamp is there, nothing is wired to it.
    Spare,
    /// Was used in an earlier revision; the lamp must not mislead.
    OutOfUse,
}

/// The stages between the thing sensed and the lamp. A fault sits at one stage;
/// every stage from there on shows the faulty value, those before it the true one.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum InputStage {
    /// The thing sensed: cam, magnet, work piece.
    Target,
    /// The sensing device; its own LED shows this stage.
    Sensor,
    /// The far end of its cable.
    Cable,
    /// The terminal in the cabinet; volts here.
    Terminal,
    /// The input card's channel: what the program reads.
    Card,
    /// The lamp on the controller.
    Lamp,
}

/// The stages between the program and the mechanism.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum OutputStage {
    /// The lamp on the controller: what the program commands. A fault here darkens the lamp only.
    Lamp,
    /// The output card's channel.
    Card,
    /// The far end of the cable; volts at the coil.
    Cable,
    /// The coil: pulls or not.
    Coil,
    /// The valve or contactor: passes energy or not.
    Valve,
}

/// A controller input.
#[derive(Clone, Debug)]
pub struct Input {
    /// The label printed beside the lamp.
    pub label: String,
    /// The tag in the drawing; the label where there is none.
    pub tag: String,
    /// What a lit lamp means, for people.
    pub words: Words,
    /// Whether it is in use.
    pub usage: PointUse,
    /// When the lamp is lit on a healthy machine with its supply there.
    pub lit: Condition<WorldFact>,
    /// What feeds the sensing device.
    pub supply: Option<SupplyId>,
    /// Delay before the program sees it lit, ms.
    pub on_delay_ms: u64,
    /// Delay before the program sees it dark, ms.
    pub off_delay_ms: u64,
    /// Where the device is on the machine.
    pub place: Words,
    /// Picture file and the marked spot in it (0 to 1 across, 0 to 1 down).
    pub picture: Option<(String, f64, f64)>,
    /// Whether the sensing device has an LED of its own.
    pub own_led: bool,
}

/// A controller output.
#[derive(Clone, Debug)]
pub struct Output {
    /// The label printed beside the lamp; none for an output that is only implied.
    pub label: Option<String>,
    /// The tag in the drawing; the label or an implied name where there is none.
    pub tag: String,
    /// What a lit lamp means, for people.
    pub words: Words,
    /// Whether it is in use.
    pub usage: PointUse,
    /// When the program drives it apart from the actions of steps; never, as a rule.
    pub driven: Condition<ProgramFact>,
    /// What feeds the card's channel and the coil.
    pub supply: Option<SupplyId>,
    /// Where the device is on the machine.
    pub place: Words,
    /// Picture file and the marked spot in it.
    pub picture: Option<(String, f64, f64)>,
}

impl Input {
    /// Whether the world says lit, with the supply left aside.
    pub fn sensed(&self, holds: &impl Fn(&WorldFact) -> bool) -> bool {
        self.lit.holds(holds)
    }
}
