//! One run of a routine, kept to be looked at: every instant at which anything
//! changed, with what a hand did then and which deviations set in.
//!
//! Chattering contacts flip after their mean times, or with a seed after times
//! drawn from exponential distributions with these means. One run is a story, not
//! a probability: the diagnosis uses [`explore`](crate::explore) instead.

use crate::engine::{CycleFinder, Engine, Limits, Stop, Watch};
use crate::plant::Plant;
use crate::signal::Signal;
use crate::situation::Situation;
use machine::Machine;
use machine::id::{DeviationId, RoutineId, StepId};
use machine::model::FaultEffect;
use rustc_hash::FxHashMap;
use std::cell::RefCell;
use std::rc::Rc;

/// Instants that are kept; a machine that goes round for ever would have no end of them.
const MOST_INSTANTS: usize = 20_000;
/// Flips of chattering contacts within one hand action.
const MOST_FLIPS: u32 = 60;
/// Flips of chattering contacts while nothing else is due.
const IDLE_FLIPS: u32 = 4;

/// A deviation in a played run.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Imposed {
    /// Which.
    pub deviation: DeviationId,
    /// It sets in when this step becomes active; none: it is there before power-on.
    pub from: Option<StepId>,
}

/// Why an instant is there, if not by itself.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Cause {
    /// The machine went on by itself.
    Machine,
    /// The power came on.
    PowerOn,
    /// A hand did this action of the routine.
    Hand(usize),
    /// This action of the routine was left out.
    LeftOut(usize),
    /// A deviation set in.
    SetsIn(DeviationId),
}

/// One instant.
#[derive(Clone, Debug, PartialEq)]
pub struct Instant {
    /// Milliseconds since power-on.
    pub at_ms: u64,
    /// Why.
    pub cause: Cause,
    /// What the machine looks like afterwards.
    pub situation: Situation,
    /// Steps that were passed through in no time, in their order.
    pub passed: Vec<StepId>,
}

/// A played run.
#[derive(Clone, Debug, PartialEq)]
pub struct Playback {
    /// The instants, in order.
    pub instants: Vec<Instant>,
    /// Why the run stopped after power-on and after each action.
    pub stops: Vec<Stop>,
    /// Whether instants had to be left out at the end.
    pub cut: bool,
}

/// Plays a routine from power-on to its end. `seed` draws the times of chattering contacts.
///
/// ```
/// use machine::id::{Id, RoutineId};
/// let text = r#"
/// format = 1
/// [machine]
/// name = "Press"
/// [inputs]
/// X1 = { lit = "start = pressed" }
/// X2 = { lit = "ram = up" }
/// X3 = { lit = "ram = down" }
/// [charts.press]
/// start = "start = pressed"
/// needs = ["ram = up"]
/// [charts.press.steps]
/// lower = "do ram down until ram = down"
/// raise = "do ram up until ram = up"
/// "#;
/// let machine = machine::load_str("press.toml", text).unwrap();
/// let plant = sim::Plant::new(&machine);
/// let run = sim::play(&machine, &plant, RoutineId::new(0), &[], sim::Limits::default(), None);
/// let up = machine.inputs.find(|input| input.label == "X2").unwrap().0;
/// assert!(run.instants.iter().any(|one| !one.situation.on(plant.layout().input(up))));
/// ```
#[must_use]
pub fn play(
    machine: &Machine,
    plant: &Plant,
    routine: RoutineId,
    imposed: &[Imposed],
    limits: Limits,
    seed: Option<u64>,
) -> Playback {
    let begun = Rc::default();
    let steps = machine.steps.ids().map(|step| (plant.layout().step(step), step)).collect();
    let mut run = Run {
        machine,
        plant,
        engine: Engine::watched(plant, Begun { steps, begun: Rc::clone(&begun) }),
        begun,
        waiting: imposed.iter().copied().filter(|one| one.from.is_some()).collect(),
        flips: Vec::new(),
        dice: seed.map(Dice),
        playback: Playback { instants: Vec::new(), stops: Vec::new(), cut: false },
    };
    for one in imposed.iter().filter(|one| one.from.is_none()) {
        run.engine.impose_quietly(&machine.deviations[one.deviation].effects);
    }
    let powered = run.engine.power_on();
    run.stage(Cause::PowerOn, powered, None, limits);
    for one in imposed.iter().filter(|one| one.from.is_none()) {
        run.unasked(one.deviation, limits);
    }
    let actions = machine.routines.get(routine).map_or(&[][..], |routine| routine.actions.as_slice());
    for (index, action) in actions.iter().enumerate() {
        let left_out = run.engine.state().effects.iter().any(|active| {
            matches!(active.effect, FaultEffect::Forgotten(of, which) if of == routine && which as usize == index)
        });
        if left_out {
            run.keep(Cause::LeftOut(index), true);
            run.playback.stops.push(Stop::Standing);
        } else {
            let acted = run.engine.act(action.movement);
            run.stage(Cause::Hand(index), acted, action.wait_ms, limits);
        }
    }
    run.playback
}

/// Notes every step that becomes active, however short it lasts.
struct Begun {
    steps: FxHashMap<Signal, StepId>,
    begun: Rc<RefCell<Vec<StepId>>>,
}

impl Watch for Begun {
    fn changed(&mut self, _: u64, signal: Signal, value: bool) {
        if let (true, Some(step)) = (value, self.steps.get(&signal)) {
            self.begun.borrow_mut().push(*step);
        }
    }
}

struct Run<'r> {
    machine: &'r Machine,
    plant: &'r Plant,
    engine: Engine<'r, Begun>,
    /// Steps that became active since the last instant.
    begun: Rc<RefCell<Vec<StepId>>>,
    /// Deviations that have not set in yet.
    waiting: Vec<Imposed>,
    /// When which chattering effect flips.
    flips: Vec<(FaultEffect, u64)>,
    dice: Option<Dice>,
    playback: Playback,
}

impl Run<'_> {
    fn stage(&mut self, cause: Cause, begun: Result<(), Stop>, wait_ms: Option<u64>, limits: Limits) {
        self.keep(cause, true);
        let stop = match begun {
            Ok(()) => self.come_to_rest(wait_ms, limits).unwrap_or_else(|stop| stop),
            Err(stop) => stop,
        };
        self.playback.stops.push(stop);
    }

    /// What somebody does unasked where no step is named for it is done as soon as the machine has power.
    fn unasked(&mut self, deviation: DeviationId, limits: Limits) {
        let effects = &self.machine.deviations[deviation].effects;
        if effects.iter().all(|effect| effect.unasked().is_none()) {
            return;
        }
        let acted = self.engine.act_unasked(effects);
        self.keep(Cause::SetsIn(deviation), true);
        let stop = acted.and_then(|()| self.come_to_rest(None, limits)).unwrap_or_else(|stop| stop);
        if let Some(last) = self.playback.stops.last_mut() {
            *last = stop;
        }
    }

    /// Keeps the present instant if anything changed, or if `always`.
    fn keep(&mut self, cause: Cause, always: bool) {
        let situation = Situation::of(&self.engine, Vec::new(), Stop::Standing);
        let layout = self.plant.layout();
        let passed = |step: &StepId| !situation.on(layout.step(*step));
        let changed = self.playback.instants.last().is_none_or(|last| last.situation != situation)
            || self.begun.borrow().iter().any(passed);
        if !(changed || always) {
            return;
        }
        if self.playback.instants.len() >= MOST_INSTANTS {
            self.playback.cut = true;
            return;
        }
        let mut begun = std::mem::take(&mut *self.begun.borrow_mut());
        begun.retain(passed);
        let at_ms = self.engine.state().now();
        self.playback.instants.push(Instant { at_ms, cause, situation, passed: begun });
    }

    /// Goes on until nothing changes any more. What stops it otherwise is the error.
    fn come_to_rest(&mut self, wait_ms: Option<u64>, limits: Limits) -> Result<Stop, Stop> {
        let until = wait_ms.map(|ms| self.engine.state().now().saturating_add(ms));
        let mut cycle = CycleFinder::new(&self.engine, limits);
        let (mut flips, mut idle) = (0, 0);
        loop {
            self.set_in()?;
            let due = self.engine.next_due();
            let flip = self.next_flip().filter(|_| flips < MOST_FLIPS);
            let flip = flip.filter(|(_, at)| *at < due && (due != u64::MAX || idle < IDLE_FLIPS));
            let next = flip.map_or(due, |(_, at)| at);
            if let Some(until) = until.filter(|until| next > *until) {
                self.engine.wait_until(until);
                return Ok(Stop::Standing);
            }
            if let Some((which, at)) = flip {
                flips += 1;
                idle = if due == u64::MAX { idle + 1 } else { 0 };
                self.engine.wait_until(at);
                self.flips.retain(|(effect, _)| *effect != self.engine.state().effects[which].effect);
                self.engine.flip(which)?;
            } else {
                if let Some(stop) = cycle.look(&self.engine, due) {
                    return Ok(stop);
                }
                idle = 0;
                self.engine.advance()?;
            }
            self.keep(Cause::Machine, false);
        }
    }

    /// Lets deviations set in whose step has become active.
    fn set_in(&mut self) -> Result<(), Stop> {
        while let Some(index) = self
            .waiting
            .iter()
            .position(|one| one.from.is_some_and(|step| self.engine.on(self.plant.layout().step(step))))
        {
            let one = self.waiting.remove(index);
            let effects = &self.machine.deviations[one.deviation].effects;
            let set = self.engine.impose(effects).and_then(|()| self.engine.act_unasked(effects));
            self.keep(Cause::SetsIn(one.deviation), true);
            set?;
        }
        Ok(())
    }

    /// The chattering effect that flips next, and when.
    fn next_flip(&mut self) -> Option<(usize, u64)> {
        let now = self.engine.state().now();
        let mut next: Option<(usize, u64)> = None;
        for which in 0..self.engine.state().effects.len() {
            let effect = self.engine.state().effects[which].effect;
            let Some(mean) = self.engine.chatter(which) else {
                self.flips.retain(|(known, _)| *known != effect);
                continue;
            };
            let at = match self.flips.iter().find(|(known, _)| *known == effect) {
                Some((_, at)) => *at,
                None => {
                    let after = self.dice.as_mut().map_or(u64::from(mean), |dice| dice.exponential(mean));
                    self.flips.push((effect, now.saturating_add(after.max(1))));
                    now.saturating_add(after.max(1))
                }
            };
            if next.is_none_or(|(_, best)| at < best) {
                next = Some((which, at.max(now)));
            }
        }
        next
    }
}

/// SplitMix64 (Steele, Lea and Flood 2014), enough for times of a story and the same everywhere.
struct Dice(u64);

impl Dice {
    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    /// A time with this mean, ms.
    fn exponential(&mut self, mean: u32) -> u64 {
        // 53 bits fit into the mantissa; half a unit keeps the logarithm finite.
        let share = ((self.next() >> 11) as f64 + 0.5) / (1_u64 << 53) as f64;
        (-libm::log(share) * f64::from(mean)) as u64
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, clippy::expect_used)]
mod tests {
    use super::*;
    use machine::id::Id;

    const CAPPER: &str = include_str!("../../../demos/minimal.toml");

    fn run(with: &[(&str, Option<&str>)], seed: Option<u64>) -> (Machine, Plant, Playback) {
        let machine = machine::load_str("minimal.toml", CAPPER).expect("a good file");
        let plant = Plant::new(&machine);
        let imposed: Vec<Imposed> = with
            .iter()
            .map(|(key, step)| Imposed {
                deviation: machine.deviations.find(|row| row.key == *key).expect("a known deviation").0,
                from: step.map(|step| machine.steps.find(|row| row.name == step).expect("a known step").0),
            })
            .collect();
        let playback = play(&machine, &plant, RoutineId::new(0), &imposed, Limits::default(), seed);
        (machine, plant, playback)
    }

    fn last_step(machine: &Machine, plant: &Plant, playback: &Playback) -> String {
        let end = &playback.instants.last().expect("instants").situation;
        let active = machine.steps.ids().find(|step| end.on(plant.layout().step(*step)));
        active.map(|step| machine.steps[step].name.clone()).unwrap_or_default()
    }

    #[test]
    fn a_healthy_machine_comes_back_to_its_first_step() {
        let (machine, plant, playback) = run(&[], None);
        assert_eq!(last_step(&machine, &plant, &playback), "ready");
        let lowered = machine.steps.find(|step| step.name == "lower").expect("a step").0;
        assert!(playback.instants.iter().any(|one| one.situation.on(plant.layout().step(lowered))));
        assert!(playback.instants.windows(2).all(|pair| pair[0].at_ms <= pair[1].at_ms));
    }

    #[test]
    fn a_fault_sets_in_when_its_step_begins() {
        let (machine, plant, playback) = run(&[("I9/dead", Some("lower"))], None);
        assert!(playback.instants.iter().any(|one| matches!(one.cause, Cause::SetsIn(_))));
        assert_eq!(last_step(&machine, &plant, &playback), "lower");
    }

    #[test]
    fn the_same_seed_gives_the_same_run() {
        assert_eq!(run(&[("I9/chatters", None)], Some(7)).2, run(&[("I9/chatters", None)], Some(7)).2);
    }
}
