//! Every truth value of a machine as one bit: where each mechanism stands, which
//! supply is there, what each input reads, each output commands, each step does.
//! The numbering is fixed when a [`Plant`](crate::Plant) is compiled.

use machine::id::{EdgeId, Id, InputId, LatchId, MechanismId, OutputId, StepId, SupplyId};
use machine::model::{Machine, ProgramFact, WorldFact};
use serde::{Deserialize, Serialize};

/// A bit of the machine's state.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug, Default, Serialize, Deserialize)]
pub struct Signal(pub(crate) u32);

impl Signal {
    /// Sets this bit.
    pub(crate) fn set_in(self, bits: &mut [u64]) {
        bits[(self.0 >> 6) as usize] |= 1 << (self.0 & 63);
    }

    /// Whether this bit is set.
    #[inline]
    pub(crate) fn is_in(self, bits: &[u64]) -> bool {
        bits[(self.0 >> 6) as usize] >> (self.0 & 63) & 1 == 1
    }
}

/// Where the bits of each kind begin.
#[derive(Clone, Debug, Default)]
pub struct Layout {
    positions: Vec<u32>,
    between: u32,
    supplies: u32,
    driven: u32,
    inputs: u32,
    commands: u32,
    stored: u32,
    steps: u32,
    steps_len: u32,
    latches: u32,
    edge_was: u32,
    rises: u32,
    falls: u32,
    held: u32,
    dropped: u32,
    timed_out: u32,
    pub(crate) powered: Signal,
    pub(crate) running: Signal,
    timers: u32,
    counted: u32,
    /// How many bits there are.
    pub(crate) len: u32,
}

impl Layout {
    pub(crate) fn new(machine: &Machine, timers: usize, counted: usize) -> Self {
        let mut next = 0_u32;
        let mut take = |count: usize| {
            let start = next;
            next += u32::try_from(count).unwrap_or(u32::MAX / 2);
            start
        };
        // Steps come first, so that active steps are found a word at a time.
        let steps = take(machine.steps.len());
        let positions = machine.mechanisms.rows().map(|mechanism| take(mechanism.positions.len())).collect();
        let outputs = machine.outputs.len();
        let charts = machine.charts.len();
        Self {
            positions,
            between: take(machine.mechanisms.len()),
            supplies: take(machine.supplies.len()),
            driven: take(outputs),
            inputs: take(machine.inputs.len()),
            commands: take(outputs),
            stored: take(outputs),
            steps,
            steps_len: machine.steps.len() as u32,
            latches: take(machine.latches.len()),
            edge_was: take(machine.edges.len()),
            rises: take(machine.edges.len()),
            falls: take(machine.edges.len()),
            held: take(charts),
            dropped: take(charts),
            timed_out: take(charts),
            powered: Signal(take(1)),
            running: Signal(take(1)),
            timers: take(timers),
            counted: take(counted),
            len: next,
        }
    }

    /// How many positions a mechanism has.
    pub(crate) fn positions_of(&self, mechanism: MechanismId) -> u8 {
        let from = self.positions[mechanism.index()];
        let to = self.positions.get(mechanism.index() + 1).copied().unwrap_or(self.between);
        u8::try_from(to - from).unwrap_or(u8::MAX)
    }

    /// The mechanism stands at this position.
    #[must_use]
    pub fn at(&self, mechanism: MechanismId, position: u8) -> Signal {
        Signal(self.positions[mechanism.index()] + u32::from(position))
    }

    /// The mechanism is between its positions.
    #[must_use]
    pub fn between(&self, mechanism: MechanismId) -> Signal {
        Signal(self.between + mechanism.index() as u32)
    }

    /// The supply is there.
    #[must_use]
    pub fn supply(&self, supply: SupplyId) -> Signal {
        Signal(self.supplies + supply.index() as u32)
    }

    /// The device behind the output gets its energy.
    #[must_use]
    pub fn driven(&self, output: OutputId) -> Signal {
        Signal(self.driven + output.index() as u32)
    }

    /// The program reads the input as lit.
    #[must_use]
    pub fn input(&self, input: InputId) -> Signal {
        Signal(self.inputs + input.index() as u32)
    }

    /// The program commands the output.
    #[must_use]
    pub fn command(&self, output: OutputId) -> Signal {
        Signal(self.commands + output.index() as u32)
    }

    pub(crate) fn stored(&self, output: OutputId) -> Signal {
        Signal(self.stored + output.index() as u32)
    }

    /// The step is active.
    #[must_use]
    pub fn step(&self, step: StepId) -> Signal {
        Signal(self.steps + step.index() as u32)
    }

    /// The latch is set.
    #[must_use]
    pub fn latch(&self, latch: LatchId) -> Signal {
        Signal(self.latches + latch.index() as u32)
    }

    pub(crate) fn edge_was(&self, edge: EdgeId) -> Signal {
        Signal(self.edge_was + edge.index() as u32)
    }

    pub(crate) fn rises(&self, edge: EdgeId) -> Signal {
        Signal(self.rises + edge.index() as u32)
    }

    pub(crate) fn falls(&self, edge: EdgeId) -> Signal {
        Signal(self.falls + edge.index() as u32)
    }

    /// The chart is held in its steps by an interlock or a time-out.
    #[must_use]
    pub fn held(&self, chart: usize) -> Signal {
        Signal(self.held + chart as u32)
    }

    pub(crate) fn dropped(&self, chart: usize) -> Signal {
        Signal(self.dropped + chart as u32)
    }

    /// A step of the chart has timed out and holds it.
    #[must_use]
    pub fn timed_out(&self, chart: usize) -> Signal {
        Signal(self.timed_out + chart as u32)
    }

    /// The controller has its supply.
    #[must_use]
    pub fn powered(&self) -> Signal {
        self.powered
    }

    /// The controller runs its program.
    #[must_use]
    pub fn running(&self) -> Signal {
        self.running
    }

    pub(crate) fn timer(&self, timer: usize) -> Signal {
        Signal(self.timers + timer as u32)
    }

    pub(crate) fn counted(&self, counted: usize) -> Signal {
        Signal(self.counted + counted as u32)
    }

    /// The bits of all steps, as a range of signal numbers.
    #[must_use]
    pub fn step_range(&self) -> std::ops::Range<u32> {
        self.steps..self.steps + self.steps_len
    }

    pub(crate) fn world(&self, fact: WorldFact) -> Signal {
        match fact {
            WorldFact::At(mechanism, position) => self.at(mechanism, position),
            WorldFact::Between(mechanism) => self.between(mechanism),
            WorldFact::Supply(supply) => self.supply(supply),
            WorldFact::Driven(output) => self.driven(output),
        }
    }

    pub(crate) fn program(&self, fact: ProgramFact, timers: &[(StepId, u64)], counts: &[(usize, u32)]) -> Signal {
        match fact {
            ProgramFact::Input(input) => self.input(input),
            ProgramFact::Output(output) => self.command(output),
            ProgramFact::Step(step) => self.step(step),
            ProgramFact::StepFor(step, ms) => {
                self.timer(timers.iter().position(|t| *t == (step, ms)).unwrap_or_default())
            }
            ProgramFact::Latch(latch) => self.latch(latch),
            ProgramFact::Counted(counter, n) => {
                self.counted(counts.iter().position(|c| *c == (counter.index(), n)).unwrap_or_default())
            }
            ProgramFact::Rises(edge) => self.rises(edge),
            ProgramFact::Falls(edge) => self.falls(edge),
        }
    }
}
