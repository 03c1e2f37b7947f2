//! What a machine looks like when it has come to rest: the bits at a standing
//! point, with what chatters or goes round while nobody acts.

use crate::engine::{Engine, Stop, Watch};
use crate::plant::Plant;
use crate::signal::{Layout, Signal};
use machine::id::{Id, OutputId, StepId};
use serde::{Deserialize, Serialize};

/// How a signal changes while the machine stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub struct Varying {
    /// Which signal.
    pub signal: Signal,
    /// The share of time that it is on, in thousandths.
    pub on_per_mille: u16,
    /// Whether it flickers before one's eyes, rather than changing now and then.
    pub flickers: bool,
}

/// A machine at rest, as it can be observed.
#[derive(Clone, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub struct Situation {
    pub(crate) bits: Box<[u64]>,
    /// Signals that change although nobody acts; empty as a rule.
    pub varying: Vec<Varying>,
    /// Outputs that are commanded to blink.
    pub blinking: Vec<OutputId>,
    /// Why the run stopped.
    pub stop: Stop,
}

impl Situation {
    pub(crate) fn of<W: Watch>(engine: &Engine<'_, W>, varying: Vec<Varying>, stop: Stop) -> Self {
        let plant = engine.plant();
        let blinking = (0..plant.outputs.len())
            .map(OutputId::new)
            .filter(|output| plant.outputs[output.index()].can_blink)
            .filter(|output| engine.on(plant.layout.command(*output)) && engine.blinks(*output))
            .collect();
        Self { bits: engine.state.bits.clone(), varying, blinking, stop }
    }

    /// A moment in passing, of which only the bits are known.
    pub(crate) fn from_bits(bits: Box<[u64]>) -> Self {
        Self { bits, varying: Vec::new(), blinking: Vec::new(), stop: Stop::Standing }
    }

    /// Whether the signal is on; for one that varies, whether it was when the run stopped.
    #[must_use]
    pub fn on(&self, signal: Signal) -> bool {
        self.bits[(signal.0 >> 6) as usize] >> (signal.0 & 63) & 1 == 1
    }

    /// The active steps, in rising order.
    pub fn active_steps(&self, layout: &Layout) -> impl Iterator<Item = StepId> + '_ {
        let steps = layout.step_range();
        let mut next = steps.start;
        std::iter::from_fn(move || {
            while next < steps.end {
                let rest = self.bits[(next >> 6) as usize] >> (next & 63);
                if rest == 0 {
                    next = (next | 63) + 1;
                    continue;
                }
                let step = next + rest.trailing_zeros();
                next = step + 1;
                return (step < steps.end).then(|| StepId::new((step - steps.start) as usize));
            }
            None
        })
    }

    /// How the signal varies, if it does.
    #[must_use]
    pub fn varies(&self, signal: Signal) -> Option<Varying> {
        self.varying.iter().copied().find(|one| one.signal == signal)
    }

    /// Whether the machine itself, its steps and what it drives, is as in the other situation.
    ///
    /// A machine that goes round never looks like one that stands, though it may for a moment; what
    /// varies in both is left aside.
    #[must_use]
    pub fn looks_like(&self, other: &Self, plant: &Plant) -> bool {
        let both_vary = |signal: Signal| self.varies(signal).is_some() && other.varies(signal).is_some();
        let same = |word: usize| {
            let mut differing = (self.bits[word] ^ other.bits[word]) & plant.noticed[word];
            while differing != 0 {
                if !both_vary(Signal(word as u32 * 64 + differing.trailing_zeros())) {
                    return false;
                }
                differing &= differing - 1;
            }
            true
        };
        self.stop == other.stop && (0..self.bits.len()).all(same)
    }
}
