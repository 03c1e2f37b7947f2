//! The engine: what follows from what, and when.
//!
//! One call of [`Engine::settle`] works out everything that follows at one
//! instant, in rounds: supplies, outputs and inputs that depend on what has
//! changed; then one evolution of the charts (IEC 60848: all transitions that
//! are enabled and true clear together; a step activated and deactivated at once
//! stays active; an unstable situation evolves again in the same instant); and
//! when the program is at rest, the mechanisms choose their movements. Then time
//! jumps to the next thing that is due.
//!
//! Hazards: a program that never comes to rest is stopped after
//! [`EVOLUTIONS`] rounds and reported as [`Stop::Unstable`]. The inner loop has
//! no strings, no hashing and no allocation; `cargo bench -p sim` measures it.

use crate::plant::{EffectPlan, Plant};
use crate::signal::Signal;
use crate::state::{Active, Due, NEVER, State, Travel};
use machine::id::{Id, InputId, MechanismId, OutputId, StepId, SupplyId};
use machine::model::{ActionKind, FaultEffect, Forced, HandMove, InputStage, OutputStage};
use serde::{Deserialize, Serialize};
use smallvec::SmallVec;

/// Rounds within one instant after which a program counts as unstable.
pub const EVOLUTIONS: usize = 500;

/// How long the power is off in a power cycle, ms.
pub const POWER_OFF_MS: u64 = 10_000;

/// Told of every change of a signal.
pub trait Watch {
    /// The signal changed to this value at this time (ms).
    fn changed(&mut self, now: u64, signal: Signal, value: bool);
}

/// Watches nothing.
#[derive(Clone, Copy, Debug, Default)]
pub struct Unwatched;

impl Watch for Unwatched {
    #[inline]
    fn changed(&mut self, _: u64, _: Signal, _: bool) {}
}

/// Why a run stopped.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
pub enum Stop {
    /// Nothing changes any more until a hand acts.
    Standing,
    /// The same changes come again and again.
    Cycling,
    /// The program does not come to rest within an instant.
    Unstable,
    /// The limit on time or events was reached.
    Limit,
}

/// How far a run may go before it is stopped.
#[derive(Clone, Copy, Debug)]
pub struct Limits {
    /// Simulated time for one hand action, ms.
    pub time_ms: u64,
    /// Signal changes for one hand action.
    pub events: u64,
}

impl Default for Limits {
    fn default() -> Self {
        Self { time_ms: 24 * 3_600_000, events: 50_000 }
    }
}

/// A machine in motion.
#[derive(Debug)]
pub struct Engine<'p, W = Unwatched> {
    plant: &'p Plant,
    pub(crate) state: State,
    dirty: Box<[u64]>,
    program_dirty: bool,
    wanted: Box<[u64]>,
    cleared: Vec<usize>,
    entered: Vec<StepId>,
    left: Vec<StepId>,
    forced: Vec<bool>,
    /// Signals that have been on, and off, since the last [`Engine::begin_epoch`].
    pub(crate) seen_on: Box<[u64]>,
    pub(crate) seen_off: Box<[u64]>,
    /// Signals that the program, or a reaction of the world, has looked at since the last
    /// [`Engine::begin_epoch`]; what the program looked at last counts as well.
    pub(crate) looked_at: Box<[u64]>,
    /// Whether a step has changed since this was last cleared.
    pub(crate) steps_changed: bool,
    events: u64,
    watch: W,
}

fn set_bit(bits: &mut [u64], index: usize) {
    bits[index >> 6] |= 1 << (index & 63);
}

fn first_bit(bits: &[u64]) -> Option<usize> {
    bits.iter().enumerate().find(|(_, word)| **word != 0).map(|(i, word)| i * 64 + word.trailing_zeros() as usize)
}

impl<'p> Engine<'p> {
    /// A machine with the power off, every mechanism at rest, nothing at fault.
    #[must_use]
    pub fn new(plant: &'p Plant) -> Self {
        Self::watched(plant, Unwatched)
    }
}

impl<'p, W: Watch> Engine<'p, W> {
    /// Like [`Engine::new`], with somebody who is told of every change.
    #[must_use]
    pub fn watched(plant: &'p Plant, watch: W) -> Self {
        let signals = plant.layout.len as usize;
        let words = signals.div_ceil(64);
        let mut bits = vec![0_u64; words].into_boxed_slice();
        for (index, mechanism) in plant.mechanisms.iter().enumerate() {
            set_bit(&mut bits, plant.layout.at(MechanismId::new(index), mechanism.rest).0 as usize);
        }
        let due = plant.mechanisms.len() + plant.timers.len() + plant.inputs.len() + 1;
        let travel = plant
            .mechanisms
            .iter()
            .map(|plan| Travel { from: plan.rest, to: plan.rest, done: 0, whole: 1, since: NEVER })
            .collect();
        let state = State {
            now: 0,
            bits,
            travel,
            due: Due::none(due),
            counters: vec![0; plant.counters].into_boxed_slice(),
            effects: Vec::with_capacity(16),
            pressed: None,
            mains_off: true,
            shut: vec![false; plant.supplies.len()].into_boxed_slice(),
            controller_dead: false,
            looking_at: vec![0; words].into_boxed_slice(),
            unsettled: true,
        };
        let mut engine = Self {
            plant,
            state,
            dirty: vec![0; plant.reactions.len.div_ceil(64)].into_boxed_slice(),
            program_dirty: false,
            wanted: vec![0; plant.outputs.len().div_ceil(64)].into_boxed_slice(),
            cleared: Vec::with_capacity(16),
            entered: Vec::with_capacity(16),
            left: Vec::with_capacity(16),
            forced: vec![false; plant.charts.len()],
            seen_on: vec![0; words].into_boxed_slice(),
            seen_off: vec![0; words].into_boxed_slice(),
            looked_at: vec![0; words].into_boxed_slice(),
            steps_changed: false,
            events: 0,
            watch,
        };
        engine.all_dirty();
        engine
    }

    /// The state, to be kept for a fork.
    #[must_use]
    pub fn state(&self) -> &State {
        &self.state
    }

    /// Goes on from a kept state.
    pub fn restore(&mut self, state: &State) {
        self.state.clone_from(state);
        self.dirty.fill(0);
        self.program_dirty = false;
    }

    /// How many signals have changed since the engine was made.
    #[must_use]
    pub fn events(&self) -> u64 {
        self.events
    }

    /// Gives back whoever watched.
    pub fn into_watch(self) -> W {
        self.watch
    }

    /// Whoever watches.
    pub fn watch_mut(&mut self) -> &mut W {
        &mut self.watch
    }

    /// Whether the signal is on.
    #[must_use]
    pub fn on(&self, signal: Signal) -> bool {
        self.state.bit(signal)
    }

    /// Switches the mains on and settles. The beginning of every run.
    pub fn power_on(&mut self) -> Result<(), Stop> {
        self.state.mains_off = false;
        self.all_dirty();
        self.update_powered();
        self.settle()
    }

    /// Switches a deviation's effect on and settles.
    pub fn impose(&mut self, effects: &[FaultEffect]) -> Result<(), Stop> {
        for effect in effects {
            self.impose_one(*effect);
        }
        self.settle()
    }

    /// Imposes effects without settling, for use before power-on.
    pub(crate) fn impose_quietly(&mut self, effects: &[FaultEffect]) {
        for effect in effects {
            self.impose_one(*effect);
        }
    }

    fn impose_one(&mut self, effect: FaultEffect) {
        match effect {
            FaultEffect::Found(mechanism, position) => {
                self.place(mechanism, position);
                return;
            }
            // Done once and over; see [`Engine::act_unasked`].
            FaultEffect::Unasked(_) => return,
            FaultEffect::ControllerStopped | FaultEffect::ControllerError => {
                self.state.controller_dead = true;
                self.update_running();
            }
            _ => {}
        }
        self.state.effects.push(Active { effect, broken: false });
        // The most downstream stage decides, so the list is kept in the order of the stages.
        self.state.effects.sort_by_key(|active| active.effect);
        self.touch(effect);
    }

    /// Takes a deviation's effects away again, as a remedy does, and settles.
    pub fn lift(&mut self, effects: &[FaultEffect]) -> Result<(), Stop> {
        for effect in effects {
            self.state.effects.retain(|active| active.effect != *effect);
            if let FaultEffect::ControllerStopped | FaultEffect::ControllerError = effect {
                self.state.controller_dead = false;
                self.update_running();
            }
            self.touch(*effect);
        }
        self.settle()
    }

    /// Marks what an effect bears on as to be worked out anew.
    fn touch(&mut self, effect: FaultEffect) {
        let reactions = self.plant.reactions;
        let reaction = match effect {
            FaultEffect::Input(input, ..) => reactions.inputs + input.index(),
            FaultEffect::Output(output, ..) => reactions.outputs + output.index(),
            FaultEffect::Supply(supply, _) => supply.index(),
            FaultEffect::Stuck(mechanism)
            | FaultEffect::Slow(mechanism, _)
            | FaultEffect::StopsShort(mechanism, _)
            | FaultEffect::Creeps(mechanism, ..) => reactions.mechanisms + mechanism.index(),
            FaultEffect::ControllerStopped
            | FaultEffect::ControllerError
            | FaultEffect::Forgotten(..)
            | FaultEffect::Found(..)
            | FaultEffect::Unasked(_) => return,
        };
        set_bit(&mut self.dirty, reaction);
    }

    /// Opens or closes the `which`-th active effect, if it chatters, and settles.
    pub(crate) fn flip(&mut self, which: usize) -> Result<(), Stop> {
        self.state.effects[which].broken ^= true;
        self.touch(self.state.effects[which].effect);
        self.settle()
    }

    /// The input at which the `which`-th effect of a state sits, if the program is about to read something else there.
    pub(crate) fn about_to_read(&self, state: &State, which: usize) -> Option<InputId> {
        let FaultEffect::Input(input, ..) = state.effects[which].effect else { return None };
        (state.due.of(self.due_of_input(input)) != NEVER).then_some(input)
    }

    /// The program reads at once what it is about to read at this input, whatever its delay; settles.
    pub(crate) fn read_at_once(&mut self, input: InputId) -> Result<(), Stop> {
        let signal = self.plant.layout.input(input);
        self.state.due.clear(self.due_of_input(input));
        self.set(signal, !self.state.bit(signal));
        self.settle()
    }

    fn due_of_input(&self, input: InputId) -> usize {
        self.plant.mechanisms.len() + self.plant.timers.len() + input.index()
    }

    /// Whether the `which`-th active effect chatters just now, and its mean time until it flips, ms.
    pub(crate) fn chatter(&self, which: usize) -> Option<u32> {
        let active = self.state.effects[which];
        // Few chatter, and all are asked before each event.
        let (FaultEffect::Input(.., Forced::Chatters(made, broken))
        | FaultEffect::Output(.., Forced::Chatters(made, broken))
        | FaultEffect::Supply(_, Forced::Chatters(made, broken))) = active.effect
        else {
            return None;
        };
        let live = match active.effect {
            FaultEffect::Input(_, InputStage::Lamp, _) | FaultEffect::Output(_, OutputStage::Lamp, _) => false,
            FaultEffect::Input(input, ..) => self.input_before(input, Some(which)),
            FaultEffect::Output(output, ..) => self.output_before(output, Some(which)),
            FaultEffect::Supply(supply, _) => self.supply_before(supply, Some(which)),
            _ => false,
        };
        live.then_some(if active.broken { broken } else { made }.max(1))
    }

    /// Whether the program would notice a flip of the `which`-th active effect: not if it is an input's
    /// and the program, as it stands, does not look there.
    pub(crate) fn is_noticed(&self, which: usize) -> bool {
        match self.state.effects[which].effect {
            FaultEffect::Input(input, ..) => {
                let signal = self.plant.layout.input(input);
                self.state.unsettled || signal.is_in(&self.state.looking_at)
            }
            _ => true,
        }
    }

    /// A hand acts; settles.
    pub fn act(&mut self, movement: HandMove) -> Result<(), Stop> {
        match movement {
            HandMove::Put(mechanism, position) => self.place(mechanism, position),
            HandMove::Press(mechanism, ms) => {
                let back = self.state.travel[mechanism.index()].from;
                self.place(mechanism, 1);
                let release = self.state.due.len() - 1;
                self.state.pressed = Some((mechanism.index() as u32, if back == 1 { 0 } else { back }));
                self.state.due.set(release, self.state.now + ms.max(1));
            }
            HandMove::Hold(mechanism) => self.place(mechanism, 1),
            HandMove::LetGo(mechanism) => self.place(mechanism, self.plant.mechanisms[mechanism.index()].rest),
            HandMove::Supply(supply, there) => {
                self.state.shut[supply.index()] = !there;
                set_bit(&mut self.dirty, supply.index());
            }
            HandMove::PowerCycle => {
                self.state.mains_off = true;
                self.dirty_supplies();
                self.settle()?;
                let on_again = self.state.now + POWER_OFF_MS;
                while self.next_due() <= on_again {
                    self.advance()?;
                }
                self.state.now = on_again;
                self.state.mains_off = false;
                self.dirty_supplies();
            }
            HandMove::Wait => {}
        }
        self.settle()
    }

    /// Does what these effects say that somebody does unasked, and settles.
    pub(crate) fn act_unasked(&mut self, effects: &[FaultEffect]) -> Result<(), Stop> {
        for movement in effects.iter().filter_map(FaultEffect::unasked) {
            let back = match movement {
                HandMove::Put(mechanism, _) if self.plant.mechanisms[mechanism.index()].by_hand => {
                    Some(HandMove::Put(mechanism, self.state.travel[mechanism.index()].from))
                }
                _ => None,
            };
            self.act(movement)?;
            if let Some(back) = back {
                self.act(back)?;
            }
        }
        Ok(())
    }

    /// Puts a mechanism into a position at once.
    fn place(&mut self, mechanism: MechanismId, position: u8) {
        let index = mechanism.index();
        let travel = self.state.travel[index];
        let moving = travel.done != 0 || travel.since != NEVER;
        self.set(self.plant.layout.at(mechanism, travel.from), false);
        if moving {
            self.set(self.plant.layout.between(mechanism), false);
        }
        self.state.travel[index] = Travel { from: position, to: position, done: 0, whole: 1, since: NEVER };
        self.state.due.clear(index);
        self.set(self.plant.layout.at(mechanism, position), true);
        set_bit(&mut self.dirty, self.plant.reactions.mechanisms + index);
    }

    /// When the next thing is due; [`u64::MAX`] at a standing point.
    #[must_use]
    pub(crate) fn next_due(&self) -> u64 {
        self.state.due.next()
    }

    /// Goes to the next instant at which something is due, and settles.
    pub(crate) fn advance(&mut self) -> Result<(), Stop> {
        self.advance_to(self.next_due())
    }

    /// Goes to this instant, which must be when the next thing is due.
    pub(crate) fn advance_to(&mut self, now: u64) -> Result<(), Stop> {
        if now == NEVER {
            return Ok(());
        }
        self.state.now = now;
        let mechanisms = self.plant.mechanisms.len();
        let timers = mechanisms + self.plant.timers.len();
        // Nothing becomes due again within this instant while the list is gone through.
        let due: SmallVec<[usize; 8]> =
            self.state.due.pending().filter(|index| self.state.due.of(*index) == now).collect();
        for index in due {
            if self.state.due.of(index) != now {
                // Something before it has called it off.
                continue;
            }
            self.state.due.clear(index);
            if index < mechanisms {
                self.arrive(index);
            } else if index < timers {
                self.set(self.plant.layout.timer(index - mechanisms), true);
            } else if index + 1 < self.state.due.len() {
                let signal = self.plant.layout.input(InputId::new(index - timers));
                let value = !self.state.bit(signal);
                self.set(signal, value);
            } else if let Some((mechanism, back)) = self.state.pressed.take() {
                self.place(MechanismId::new(mechanism as usize), back);
            }
        }
        self.settle()
    }

    /// Lets time pass without anything happening; `until` must not lie behind [`Engine::next_due`].
    pub(crate) fn wait_until(&mut self, until: u64) {
        self.state.now = self.state.now.max(until);
    }

    fn arrive(&mut self, index: usize) {
        let mechanism = MechanismId::new(index);
        let travel = self.state.travel[index];
        let short =
            self.state.effects.iter().any(|active| active.effect == FaultEffect::StopsShort(mechanism, travel.to));
        if short {
            self.state.travel[index] = Travel {
                done: travel.whole.saturating_sub(1).max(1),
                whole: travel.whole.max(2),
                since: NEVER,
                ..travel
            };
            return;
        }
        self.state.travel[index] = Travel { from: travel.to, to: travel.to, done: 0, whole: 1, since: NEVER };
        self.set(self.plant.layout.between(mechanism), false);
        self.set(self.plant.layout.at(mechanism, travel.to), true);
        set_bit(&mut self.dirty, self.plant.reactions.mechanisms + index);
    }

    #[inline]
    fn set(&mut self, signal: Signal, value: bool) {
        let (word, bit) = ((signal.0 >> 6) as usize, 1_u64 << (signal.0 & 63));
        if (self.state.bits[word] & bit != 0) == value {
            return;
        }
        self.state.bits[word] ^= bit;
        if value {
            self.seen_on[word] |= bit;
        } else {
            self.seen_off[word] |= bit;
        }
        self.events += 1;
        let dependents = &self.plant.dependents[signal.0 as usize];
        for (dirty, depends) in self.dirty.iter_mut().zip(dependents.iter()) {
            *dirty |= depends;
        }
        // The last evolution came to rest, so another would do the same unless it sees a difference.
        let seen = if self.state.unsettled { bit } else { self.state.looking_at[word] };
        self.program_dirty |= bit & (self.plant.program_steps[word] | (self.plant.program_reads[word] & seen)) != 0;
        self.watch.changed(self.state.now, signal, value);
    }

    /// Forgets which signals have been on and off; from here on they are noted anew.
    pub(crate) fn begin_epoch(&mut self) {
        self.seen_on.copy_from_slice(&self.state.bits);
        for (off, on) in self.seen_off.iter_mut().zip(&self.state.bits) {
            *off = !on;
        }
        self.looked_at.copy_from_slice(&self.state.looking_at);
    }

    /// Whether imposing these effects on a settled state would change nothing but these signals.
    pub(crate) fn stays_quiet(&mut self, state: &State, effects: &[FaultEffect], own: &[u64]) -> bool {
        self.restore(state);
        let unchanged = self.impose(effects).is_ok()
            && self.state.due == state.due
            && self.state.travel == state.travel
            && self.state.counters == state.counters;
        unchanged && self.state.bits.iter().zip(&state.bits).zip(own).all(|((now, then), own)| (now ^ then) & !own == 0)
    }

    /// Whether a condition of the program holds; notes what it looks at.
    #[inline]
    fn reads(&mut self, decision: crate::decision::Decision) -> bool {
        self.plant.decisions.holds_noting(decision, &self.state.bits, &mut self.state.looking_at)
    }

    /// Active steps of a mask, word by word.
    #[inline]
    fn active(&self, word: usize, mask: &[u64]) -> u64 {
        self.state.bits[word] & mask[word]
    }

    fn all_dirty(&mut self) {
        for reaction in 0..self.plant.reactions.len {
            set_bit(&mut self.dirty, reaction);
        }
        self.program_dirty = true;
    }

    fn dirty_supplies(&mut self) {
        for supply in 0..self.plant.supplies.len() {
            set_bit(&mut self.dirty, supply);
        }
        self.update_powered();
    }

    fn update_powered(&mut self) {
        let powered = match self.plant.controller_supply {
            Some(supply) => self.state.bit(supply),
            None => !self.state.mains_off,
        };
        if powered != self.state.bit(self.plant.layout.powered) {
            self.set(self.plant.layout.powered, powered);
            self.update_running();
        }
    }

    /// The program starts or stops running.
    fn update_running(&mut self) {
        let running = self.state.bit(self.plant.layout.powered) && !self.state.controller_dead;
        if running == self.state.bit(self.plant.layout.running) {
            return;
        }
        self.set(self.plant.layout.running, running);
        let plant = self.plant;
        let layout = &plant.layout;
        for step in 0..plant.steps.len() {
            self.leave(StepId::new(step));
        }
        for (index, latch) in plant.latches.iter().enumerate() {
            self.set(layout.latch(Id::new(index)), running && latch.at_power_on);
        }
        for edge in 0..plant.edges.len() {
            for signal in [layout.edge_was(Id::new(edge)), layout.rises(Id::new(edge)), layout.falls(Id::new(edge))] {
                self.set(signal, false);
            }
        }
        for chart in 0..plant.charts.len() {
            for signal in [layout.held(chart), layout.dropped(chart), layout.timed_out(chart)] {
                self.set(signal, false);
            }
        }
        for output in 0..plant.outputs.len() {
            self.set(layout.stored(OutputId::new(output)), false);
        }
        for counter in 0..plant.counters {
            self.count(counter, 0);
        }
        if running {
            for steps in &plant.charts {
                for step in steps {
                    self.enter(*step);
                }
            }
        } else {
            for output in 0..plant.outputs.len() {
                self.set(layout.command(OutputId::new(output)), false);
            }
        }
        self.program_dirty = running;
    }

    fn count(&mut self, counter: usize, value: u32) {
        self.state.counters[counter] = value;
        let plant = self.plant;
        for (index, (which, n)) in plant.counts.iter().enumerate() {
            if *which == counter {
                self.set(plant.layout.counted(index), value >= *n);
            }
        }
    }

    /// Settles after a fork: the program evolves at least once, so that it is known what it looks at.
    pub(crate) fn settle_program(&mut self) -> Result<(), Stop> {
        self.program_dirty = true;
        self.settle()
    }

    /// Works out everything anew and settles.
    pub(crate) fn settle_all(&mut self) -> Result<(), Stop> {
        self.all_dirty();
        self.settle()
    }

    /// Works out everything that follows at this instant.
    pub(crate) fn settle(&mut self) -> Result<(), Stop> {
        let reactions = self.plant.reactions;
        let mut rounds = 0;
        loop {
            let next = first_bit(&self.dirty);
            if let Some(reaction) = next.filter(|reaction| *reaction < reactions.mechanisms) {
                self.dirty[reaction >> 6] &= !(1 << (reaction & 63));
                if reaction < reactions.outputs {
                    self.react_supply(reaction);
                } else if reaction < reactions.inputs {
                    self.react_output(reaction - reactions.outputs);
                } else {
                    self.react_input(reaction - reactions.inputs);
                }
            } else if self.program_dirty {
                self.program_dirty = false;
                self.evolve();
            } else if let Some(reaction) = next {
                self.dirty[reaction >> 6] &= !(1 << (reaction & 63));
                self.react_mechanism(reaction - reactions.mechanisms);
                continue;
            } else {
                return Ok(());
            }
            rounds += 1;
            if rounds > EVOLUTIONS + 4 * reactions.len {
                self.dirty.fill(0);
                self.program_dirty = false;
                return Err(Stop::Unstable);
            }
        }
    }

    /// The value of a stage before the effects from the `below`-th on; all effects when `None`.
    fn forced(&self, mut value: bool, below: Option<usize>, concerns: impl Fn(FaultEffect) -> Option<Forced>) -> bool {
        let count = below.unwrap_or(self.state.effects.len());
        for active in &self.state.effects[..count] {
            if let Some(forced) = concerns(active.effect) {
                value = match forced {
                    Forced::Off => false,
                    Forced::On => true,
                    Forced::Chatters(..) => value && !active.broken,
                };
            }
        }
        value
    }

    fn supply_before(&self, supply: SupplyId, below: Option<usize>) -> bool {
        let plan = &self.plant.supplies[supply.index()];
        let value = plan.parent.is_none_or(|parent| self.state.bit(parent))
            && !(plan.electric && self.state.mains_off)
            && !self.state.shut[supply.index()]
            && self.plant.decisions.holds(plan.when, &self.state.bits);
        self.forced(value, below, |effect| match effect {
            FaultEffect::Supply(which, forced) if which == supply => Some(forced),
            _ => None,
        })
    }

    fn react_supply(&mut self, index: usize) {
        let supply = SupplyId::new(index);
        self.note_reaction(index);
        let value = self.supply_before(supply, None);
        self.set(self.plant.layout.supply(supply), value);
        if self.plant.controller_supply == Some(self.plant.layout.supply(supply)) {
            self.update_powered();
        }
    }

    fn output_before(&self, output: OutputId, below: Option<usize>) -> bool {
        let commanded = self.state.bit(self.plant.layout.command(output));
        self.forced(commanded, below, |effect| match effect {
            FaultEffect::Output(which, stage, forced) if which == output && stage != OutputStage::Lamp => Some(forced),
            _ => None,
        })
    }

    /// Notes everything that a reaction depends on as looked at.
    #[inline]
    fn note_reaction(&mut self, reaction: usize) {
        for (looked_at, depends) in self.looked_at.iter_mut().zip(&self.plant.depends_on[reaction]) {
            *looked_at |= depends;
        }
    }

    fn react_output(&mut self, index: usize) {
        let output = OutputId::new(index);
        self.note_reaction(self.plant.reactions.outputs + index);
        let fed = self.plant.outputs[index].supply.is_none_or(|supply| self.state.bit(supply));
        // A valve that hangs open passes air without current; what is stuck further up needs the supply.
        let hangs = self.state.effects.iter().any(|active| {
            matches!(active.effect, FaultEffect::Output(which, OutputStage::Valve, Forced::On) if which == output)
        });
        let value = (fed || hangs) && self.output_before(output, None);
        self.set(self.plant.layout.driven(output), value);
    }

    fn input_before(&self, input: InputId, below: Option<usize>) -> bool {
        let plan = &self.plant.inputs[input.index()];
        let sensed = plan.used && self.plant.decisions.holds(plan.lit, &self.state.bits);
        let fed = plan.supply.is_none_or(|supply| self.state.bit(supply));
        let count = below.unwrap_or(self.state.effects.len());
        let mut value = sensed;
        let mut at_sensor = false;
        for active in &self.state.effects[..count] {
            let FaultEffect::Input(which, stage, forced) = active.effect else { continue };
            if which != input || stage == InputStage::Lamp {
                continue;
            }
            if stage > InputStage::Target && !at_sensor {
                value &= fed;
                at_sensor = true;
            }
            value = match forced {
                Forced::Off => false,
                Forced::On => true,
                Forced::Chatters(..) => value && !active.broken,
            };
            // Nothing that the sensor's own fault makes it say gets out without its supply.
            if stage == InputStage::Sensor {
                value &= fed;
            }
        }
        if !at_sensor {
            value &= fed;
        }
        value
    }

    fn react_input(&mut self, index: usize) {
        let input = InputId::new(index);
        self.note_reaction(self.plant.reactions.inputs + index);
        let plan = &self.plant.inputs[index];
        let value = self.state.bit(self.plant.layout.powered) && self.input_before(input, None);
        let signal = self.plant.layout.input(input);
        let due = self.due_of_input(input);
        if value == self.state.bit(signal) {
            self.state.due.clear(due);
            return;
        }
        if !self.state.bit(self.plant.layout.powered) {
            self.state.due.clear(due);
            self.set(signal, false);
            return;
        }
        let delay = if value { plan.on_delay } else { plan.off_delay };
        let mut when = self.state.now + delay;
        if self.plant.scan_ms > 0 {
            // The program takes the change over when its next scan begins.
            when = when.div_ceil(self.plant.scan_ms) * self.plant.scan_ms;
        }
        if when == self.state.now {
            self.state.due.clear(due);
            self.set(signal, value);
        } else if self.state.due.of(due) == NEVER {
            self.state.due.set(due, when);
        }
    }

    fn react_mechanism(&mut self, index: usize) {
        let mechanism = MechanismId::new(index);
        self.note_reaction(self.plant.reactions.mechanisms + index);
        let plan = &self.plant.mechanisms[index];
        let mut travel = self.state.travel[index];
        let at_rest = travel.done == 0 && travel.since == NEVER;
        let mut stuck = false;
        let mut slow = 100;
        let mut creeps = None;
        for active in &self.state.effects {
            match active.effect {
                FaultEffect::Stuck(which) if which == mechanism => stuck = true,
                FaultEffect::Slow(which, percent) if which == mechanism => slow = slow.max(percent),
                FaultEffect::Creeps(which, from, to, ms) if which == mechanism && from == travel.from => {
                    creeps = Some((to, u64::from(ms)));
                }
                _ => {}
            }
        }
        let acting = plan
            .moves
            .iter()
            .find(|one| {
                (one.from.is_empty() || one.from.contains(&travel.from))
                    && self.plant.decisions.holds(one.when, &self.state.bits)
            })
            .map(|one| (one.to, one.takes.saturating_mul(u64::from(slow)) / 100));
        // What leaks goes away even while something tries to hold it there, and goes on to do so on its way.
        let creeps = creeps.filter(|(to, ms)| at_rest || (travel.to, travel.whole) == (*to, (*ms).max(1)));
        let acting = match (acting, creeps) {
            (None, Some(creep)) => Some(creep),
            (Some((to, _)), Some(creep)) if to == travel.from => Some(creep),
            (acting, _) => acting,
        };
        let now = self.state.now;
        if travel.since != NEVER {
            travel.done += now - travel.since;
            travel.since = NEVER;
        }
        let goal = acting.filter(|_| !stuck);
        match goal {
            Some((to, _)) if to == travel.from && at_rest => return,
            None if at_rest => return,
            None => {
                if travel.done == 0 {
                    // It had only just been told to move.
                    travel.done = 1;
                }
                self.state.due.clear(index);
            }
            Some((to, takes)) => {
                let takes = takes.max(1);
                if at_rest {
                    travel = Travel { from: travel.from, to, done: 0, whole: takes, since: now };
                    self.set(self.plant.layout.at(mechanism, travel.from), false);
                    self.set(self.plant.layout.between(mechanism), true);
                } else if to == travel.from {
                    // Back to where it came from: what was done is what is left.
                    let left = (takes * travel.done / travel.whole).max(1);
                    travel = Travel { from: travel.to, to, done: takes - left.min(takes), whole: takes, since: now };
                } else {
                    let done = takes * travel.done / travel.whole;
                    travel = Travel { from: travel.from, to, done: done.min(takes - 1), whole: takes, since: now };
                }
                self.state.due.set(index, now + (travel.whole - travel.done));
            }
        }
        self.state.travel[index] = travel;
    }

    fn enter(&mut self, step: StepId) {
        let plant = self.plant;
        self.set(plant.layout.step(step), true);
        self.steps_changed = true;
        let mechanisms = plant.mechanisms.len();
        for timer in &plant.steps[step.index()].timers {
            let ms = plant.timers[*timer].1;
            if ms == 0 {
                self.set(plant.layout.timer(*timer), true);
            } else {
                self.state.due.set(mechanisms + timer, self.state.now + ms);
            }
        }
        for action in &plant.steps[step.index()].actions {
            match action.kind {
                ActionKind::Count(counter) => {
                    // Beyond the highest number that anything asks for, one count is like another.
                    let most = plant.highest_counts[counter.index()];
                    self.count(counter.index(), (self.state.counters[counter.index()] + 1).min(most));
                }
                ActionKind::Clear(counter) => self.count(counter.index(), 0),
                _ => {}
            }
        }
    }

    fn leave(&mut self, step: StepId) {
        let plant = self.plant;
        if !self.state.bit(plant.layout.step(step)) {
            return;
        }
        self.set(plant.layout.step(step), false);
        self.steps_changed = true;
        for timer in &plant.steps[step.index()].timers {
            self.set(plant.layout.timer(*timer), false);
            self.state.due.clear(plant.mechanisms.len() + timer);
        }
    }

    /// Puts a chart into just these steps.
    fn force(&mut self, chart: usize, steps: &[StepId]) {
        let plant = self.plant;
        for step in &plant.chart_steps[chart] {
            if !steps.contains(step) {
                self.leave(*step);
            }
        }
        for step in steps {
            if !self.state.bit(plant.layout.step(*step)) {
                self.enter(*step);
            }
        }
        self.set(plant.layout.timed_out(chart), false);
    }

    fn in_situation(&self, chart: usize, steps: &[StepId]) -> bool {
        self.plant.chart_steps[chart]
            .iter()
            .all(|step| self.state.bit(self.plant.layout.step(*step)) == steps.contains(step))
    }

    /// One evolution of the program: edges, latches, interlocks, time-outs, transitions, outputs.
    fn evolve(&mut self) {
        if !self.state.bit(self.plant.layout.running) {
            return;
        }
        self.state.looking_at.fill(0);
        self.edges();
        self.latches();
        self.interlocks();
        self.time_outs();
        self.transitions();
        let stable = self.cleared.is_empty() && !self.forced.contains(&true);
        self.stored_actions();
        self.state.unsettled = !stable;
        if stable {
            self.command();
        }
        for (all, now) in self.looked_at.iter_mut().zip(&self.state.looking_at) {
            *all |= now;
        }
    }

    fn edges(&mut self) {
        let plant = self.plant;
        for (index, condition) in plant.edges.iter().enumerate() {
            let edge = Id::new(index);
            let was = self.state.bit(plant.layout.edge_was(edge));
            let is = self.reads(*condition);
            self.set(plant.layout.edge_was(edge), is);
            self.set(plant.layout.rises(edge), is && !was);
            self.set(plant.layout.falls(edge), was && !is);
        }
    }

    fn latches(&mut self) {
        let plant = self.plant;
        for (index, latch) in plant.latches.iter().enumerate() {
            let signal = plant.layout.latch(Id::new(index));
            if self.reads(latch.reset) {
                self.set(signal, false);
            } else if self.reads(latch.set) {
                self.set(signal, true);
            }
        }
    }

    fn interlocks(&mut self) {
        let plant = self.plant;
        self.forced.fill(false);
        let mut held = 0_u64;
        let mut dropped = 0_u64;
        for interlock in &plant.interlocks {
            let watched = (0..plant.step_words).any(|word| self.active(word, &interlock.in_steps) != 0);
            if !watched || self.reads(interlock.needs) {
                continue;
            }
            match &interlock.effect {
                EffectPlan::Nothing => {}
                EffectPlan::Hold { outputs_kept } => {
                    // Charts beyond the 64th share the last bit; the reader refuses so many.
                    let bit = 1 << interlock.chart.min(63);
                    held |= bit;
                    dropped |= if *outputs_kept { 0 } else { bit };
                }
                EffectPlan::GoTo(steps) => {
                    if !self.in_situation(interlock.chart, steps) {
                        self.force(interlock.chart, steps);
                        self.forced[interlock.chart] = true;
                    }
                }
            }
        }
        for chart in 0..plant.charts.len() {
            self.set(plant.layout.held(chart), held >> chart.min(63) & 1 == 1);
            let timed_out = self.state.bit(plant.layout.timed_out(chart));
            if !timed_out {
                self.set(plant.layout.dropped(chart), dropped >> chart.min(63) & 1 == 1);
            } else if dropped >> chart.min(63) & 1 == 1 {
                self.set(plant.layout.dropped(chart), true);
            }
        }
    }

    fn time_outs(&mut self) {
        let plant = self.plant;
        for word in 0..plant.step_words {
            let mut active = self.active(word, &plant.timed_steps);
            while active != 0 {
                let index = word * 64 + active.trailing_zeros() as usize;
                active &= active - 1;
                self.time_out(index);
            }
        }
    }

    fn time_out(&mut self, index: usize) {
        let plant = self.plant;
        let step = &plant.steps[index];
        let Some((timer, effect)) = &step.time_out else { return };
        if !self.state.bit(plant.layout.timer(*timer)) || self.forced[step.chart] {
            return;
        }
        match effect {
            EffectPlan::Nothing => {}
            EffectPlan::Hold { outputs_kept } => {
                self.set(plant.layout.timed_out(step.chart), true);
                if !outputs_kept {
                    self.set(plant.layout.dropped(step.chart), true);
                }
            }
            EffectPlan::GoTo(steps) => {
                if !self.in_situation(step.chart, steps) {
                    self.force(step.chart, steps);
                    self.forced[step.chart] = true;
                }
            }
        }
    }

    fn transitions(&mut self) {
        let plant = self.plant;
        let layout = &plant.layout;
        self.cleared.clear();
        for word in 0..plant.step_words {
            let mut active = self.active(word, &plant.step_mask);
            while active != 0 {
                let step = word * 64 + active.trailing_zeros() as usize;
                active &= active - 1;
                let plan = &plant.steps[step];
                if self.forced[plan.chart]
                    || self.state.bit(layout.held(plan.chart))
                    || self.state.bit(layout.timed_out(plan.chart))
                {
                    continue;
                }
                for way_out in &plan.ways_out {
                    let transition = &plant.transitions[*way_out];
                    let enabled = transition.from[1..].iter().all(|step| self.state.bit(layout.step(*step)));
                    if enabled && self.reads(transition.when) {
                        self.cleared.push(*way_out);
                    }
                }
            }
        }
        if self.cleared.is_empty() {
            return;
        }
        self.entered.clear();
        self.left.clear();
        for index in 0..self.cleared.len() {
            let transition = &plant.transitions[self.cleared[index]];
            debug_assert!(transition.chart < plant.charts.len());
            self.entered.extend_from_slice(&transition.to);
            self.left.extend_from_slice(&transition.from);
        }
        for index in 0..self.left.len() {
            let step = self.left[index];
            if !self.entered.contains(&step) {
                self.leave(step);
            }
        }
        for index in 0..self.entered.len() {
            let step = self.entered[index];
            if !self.state.bit(layout.step(step)) {
                self.enter(step);
            }
        }
    }

    /// Carries out stored actions, and notes what continuous ones want.
    fn stored_actions(&mut self) {
        let plant = self.plant;
        self.wanted.fill(0);
        for word in 0..plant.step_words {
            let mut active = self.active(word, &plant.acting_steps);
            while active != 0 {
                let index = word * 64 + active.trailing_zeros() as usize;
                active &= active - 1;
                self.act_in_step(index);
            }
        }
    }

    /// Works out what the program commands. Only in a stable situation: the assignments of a step
    /// that is passed through are not made (IEC 60848), and a command never comes and goes at once.
    fn command(&mut self) {
        let plant = self.plant;
        let layout = &plant.layout;
        for (index, plan) in plant.outputs.iter().enumerate() {
            let output = OutputId::new(index);
            let stored = self.state.bit(layout.stored(output))
                && !plan.charts.iter().any(|chart| self.state.bit(layout.dropped(*chart)));
            let wanted =
                plan.used && (stored || self.wanted[index >> 6] >> (index & 63) & 1 == 1 || self.reads(plan.driven));
            self.set(layout.command(output), wanted);
        }
    }

    fn act_in_step(&mut self, index: usize) {
        let plant = self.plant;
        let layout = &plant.layout;
        let step = &plant.steps[index];
        let dropped = self.state.bit(layout.dropped(step.chart));
        for action in &step.actions {
            if !self.reads(action.when) {
                continue;
            }
            match action.kind {
                ActionKind::Drive(output) if !dropped => set_bit(&mut self.wanted, output.index()),
                ActionKind::Drive(_) | ActionKind::Count(_) | ActionKind::Clear(_) => {}
                ActionKind::Set(output) => self.set(layout.stored(output), true),
                ActionKind::Reset(output) => self.set(layout.stored(output), false),
                ActionKind::SetLatch(latch) => self.set(layout.latch(latch), true),
                ActionKind::ResetLatch(latch) => self.set(layout.latch(latch), false),
            }
        }
    }

    /// Goes on until nothing changes any more, the same comes again, or a limit is reached.
    /// Chattering contacts stay as they are; see the exploration for their branches.
    pub fn run_to_standing(&mut self, limits: Limits) -> Stop {
        let mut cycle = CycleFinder::new(self, limits);
        loop {
            let due = self.next_due();
            if let Some(stop) = cycle.look(self, due) {
                return stop;
            }
            if let Err(stop) = self.advance_to(due) {
                return stop;
            }
        }
    }

    /// Whether the output is commanded, but only by blinking actions.
    #[must_use]
    pub fn blinks(&self, output: OutputId) -> bool {
        let plant = self.plant;
        let mut blinking = false;
        for (index, step) in plant.steps.iter().enumerate() {
            if !self.state.bit(plant.layout.step(StepId::new(index))) {
                continue;
            }
            for action in &step.actions {
                if action.kind == ActionKind::Drive(output) && plant.decisions.holds(action.when, &self.state.bits) {
                    if !action.blinks {
                        return false;
                    }
                    blinking = true;
                }
            }
        }
        blinking
            && !self.state.bit(plant.layout.stored(output))
            && !plant.decisions.holds(plant.outputs[output.index()].driven, &self.state.bits)
    }

    /// The plant.
    #[must_use]
    pub fn plant(&self) -> &'p Plant {
        self.plant
    }
}

/// Finds out that a run has come to its end: standing, or going round (Brent 1980:
/// the state is compared with one kept at a power-of-two distance).
#[derive(Debug)]
pub(crate) struct CycleFinder {
    limits: Limits,
    from: u64,
    events: u64,
    looks: u64,
    next: u64,
    kept: Option<State>,
}

/// Looks before the first state is kept.
const FIRST_KEPT: u64 = 4;

impl CycleFinder {
    pub(crate) fn new<W: Watch>(engine: &Engine<'_, W>, limits: Limits) -> Self {
        Self { limits, from: engine.state.now, events: engine.events, looks: 0, next: FIRST_KEPT, kept: None }
    }

    pub(crate) fn look<W: Watch>(&mut self, engine: &Engine<'_, W>, due: u64) -> Option<Stop> {
        if due == NEVER {
            return Some(Stop::Standing);
        }
        if due - self.from > self.limits.time_ms || engine.events - self.events > self.limits.events {
            return Some(Stop::Limit);
        }
        self.looks += 1;
        if self.kept.as_ref().is_some_and(|kept| engine.state.same_but_later(kept)) {
            return Some(Stop::Cycling);
        }
        if self.looks == self.next {
            self.kept = Some(engine.state.clone());
            self.next *= 2;
        }
        None
    }

    /// Begins to look anew; the limits stay as they are.
    pub(crate) fn forget(&mut self) {
        (self.looks, self.next, self.kept) = (0, FIRST_KEPT, None);
    }

    /// After [`Stop::Cycling`]: lets as many whole rounds pass as fit before `until`, and looks for no
    /// further ones. What is due then is due before or just after `until`.
    pub(crate) fn skip<W: Watch>(&mut self, engine: &mut Engine<'_, W>, until: u64) {
        let Some(kept) = self.kept.take() else { return };
        let round = (engine.state.now - kept.now).max(1);
        let rounds = until.saturating_sub(engine.state.now) / round;
        engine.state.shift(rounds * round);
        self.next = u64::MAX;
    }
}
