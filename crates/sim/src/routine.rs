//! A routine played through: power on, then one hand action after the other, each
//! when the machine has come to rest. Where contacts chatter, the run branches.
//!
//! A run is cut into **stages** (0 is power-on, `k` the `k`-th hand action) and each
//! stage into **epochs**: epoch 0 begins before the hand acts, a new one begins
//! whenever steps become active that have not been active together in this stage
//! before (so that a machine which goes round adds no epochs). Epochs are the moments at which deviations set in, and
//! each keeps the state from which a run with a further deviation is forked.

use crate::engine::{CycleFinder, Engine, Limits, Stop, Unwatched};
use crate::plant::Plant;
use crate::signal::Signal;
use crate::situation::{Situation, Varying};
use crate::state::State;
use machine::model::{FaultEffect, HandAction};
use smallvec::SmallVec;
use std::sync::Arc;

/// The number of the epoch that stands for the end of a stage.
pub(crate) const STAGE_END: u16 = u16::MAX;

/// Epochs kept in one stage; a machine that goes round for ever would have no end of them.
pub(crate) const EPOCHS_PER_STAGE: u16 = 64;

/// How people go on when the machine has come to rest.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Habits {
    /// Probability of stopping and calling when all is as always.
    pub calls_when_fine: f64,
    /// Probability of stopping and calling when it is not.
    pub calls_when_odd: f64,
    /// How often something odd is met before one calls for certain.
    pub patience: u8,
}

impl Default for Habits {
    fn default() -> Self {
        Self { calls_when_fine: 0.002, calls_when_odd: 0.85, patience: 2 }
    }
}

/// How finely runs branch where contacts chatter.
#[derive(Clone, Copy, Debug)]
pub struct Branching {
    /// Branches of less probability than this are cut off, and their weight reported.
    pub least: f64,
    /// How many branches a run may have.
    pub branches: usize,
}

/// The sets of steps that have been active together in a stage, one after the other: in one piece of
/// memory, since every mark and every branch has its own.
#[derive(Clone, Debug, Default)]
pub(crate) struct Met {
    words: Vec<u64>,
    count: u16,
}

impl Met {
    fn knows(&self, plant: &Plant, steps: &[u64]) -> bool {
        self.words.chunks_exact(plant.step_words.max(1)).any(|met| plant.same_steps(met, steps))
    }

    fn push(&mut self, steps: &[u64]) {
        self.words.extend_from_slice(steps);
        self.count += 1;
    }

    fn clear(&mut self) {
        self.words.clear();
        self.count = 0;
    }
}

/// A moment from which a run can be forked.
#[derive(Clone, Debug)]
pub(crate) struct Mark {
    pub stage: u16,
    pub epoch: u16,
    pub state: State,
    /// At the fork that a run begins with: the state before what set in has had any consequence,
    /// so that a further deviation can set in together with it.
    pub unsettled: Option<State>,
    /// What somebody does unasked at that fork, once all that sets in there is there.
    pub unasked: Vec<FaultEffect>,
    pub seen_on: Box<[u64]>,
    pub seen_off: Box<[u64]>,
    /// Signals that the program looked at in this epoch.
    pub looked_at: Box<[u64]>,
    /// The steps that have been active together in this stage so far.
    pub met: Met,
    /// Up to when people wait in this stage, if they don't wait for the machine to stand.
    pub until: Option<u64>,
    /// Probability that nobody has called yet.
    pub going_on: f64,
    /// How often something odd has been met.
    pub odd: u8,
    /// How often contacts have flipped by then, before the fork that the run began with too.
    pub flipped: u32,
}

/// The end of a stage: somebody may call now.
#[derive(Clone, Debug)]
pub(crate) struct StageEnd {
    pub stage: u16,
    pub situation: Situation,
    /// See [`State::unseen`].
    pub unseen: u64,
    /// The state itself; only kept where it is asked for, since most ends are never gone on from.
    pub state: Option<State>,
    /// Probability of calling here, given the run.
    pub calls: f64,
    /// How many new situations the stage went through.
    pub epochs: u16,
    /// Whether all went as it does when nothing is wrong: to the same place, through as many
    /// situations. A machine that has not begun looks like one that has finished.
    pub as_always: bool,
}

/// One run through the routine, or one branch of it.
#[derive(Clone, Debug)]
pub(crate) struct Path {
    pub probability: f64,
    /// Shared, since branches have their beginnings in common.
    pub marks: Vec<Arc<Mark>>,
    pub ends: Vec<StageEnd>,
}

impl Path {
    /// A run that nothing has happened in yet.
    pub fn begun() -> Self {
        Self { probability: 1.0, marks: Vec::new(), ends: Vec::new() }
    }
}

/// Plays a routine.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Player<'p> {
    pub plant: &'p Plant,
    pub actions: &'p [HandAction],
    /// What each stage of the run without deviations ends in; empty while that run is played.
    pub nominal: &'p [StageEnd],
    pub habits: Habits,
    pub limits: Limits,
    pub branching: Branching,
    /// Whether the state at each end is kept.
    pub keep_states: bool,
    /// Whether somebody looks when a time to wait is over, as in a led procedure.
    pub looks_after_wait: bool,
    /// Whether hand actions can be forgotten; not where somebody does just what he is told.
    pub forgets: bool,
}

/// A run under way.
#[derive(Clone, Debug)]
struct Partial {
    path: Path,
    /// The state to go on from; none if the engine is in it already.
    state: Option<State>,
    stage: u16,
    epoch: u16,
    going_on: f64,
    odd: u8,
    flips: u32,
    phase: Phase,
    /// The steps that have been active together in this stage.
    met: Met,
    /// Up to when people wait in this stage, if they don't wait for the machine to stand.
    until: Option<u64>,
    /// Why the run cannot even begin.
    broken_off: Option<Stop>,
    /// What the epoch under way had seen when the branch was put aside.
    seen: Option<Seen>,
}

/// What an epoch has seen so far.
#[derive(Clone, Debug)]
struct Seen {
    on: Box<[u64]>,
    off: Box<[u64]>,
    looked_at: Box<[u64]>,
}

impl Seen {
    fn of(engine: &Engine<'_, Unwatched>) -> Self {
        Self { on: engine.seen_on.clone(), off: engine.seen_off.clone(), looked_at: engine.looked_at.clone() }
    }

    fn give_back(self, engine: &mut Engine<'_, Unwatched>) {
        engine.seen_on = self.on;
        engine.seen_off = self.off;
        engine.looked_at = self.looked_at;
    }
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Phase {
    /// Before the hand acts.
    Before,
    /// The machine moves.
    Moving,
    /// The moment just before somebody calls.
    AtEnd,
}

/// Flips in a row after which a chattering run counts as going round.
const FLIPS: u32 = 24;

/// What is put aside while a run is played: branches to be played later, and the probability of those that never are.
struct Aside {
    branches: Vec<Partial>,
    cut: f64,
}

impl Partial {
    /// A run that nothing has happened in yet, in the state that the engine is in, before the hand
    /// acts in this stage.
    fn before_stage(stage: u16) -> Self {
        Self {
            path: Path::begun(),
            state: None,
            stage,
            epoch: 0,
            going_on: 1.0,
            odd: 0,
            flips: 0,
            met: Met::default(),
            until: None,
            broken_off: None,
            phase: Phase::Before,
            seen: None,
        }
    }
}

impl<'p> Player<'p> {
    /// Plays from power-on; `effects` are there from the beginning.
    pub fn play_from_power_on(&self, effects: &[FaultEffect], keep: bool) -> (Vec<Path>, f64) {
        let mut engine = Engine::new(self.plant);
        engine.impose_quietly(effects);
        let start = Partial::before_stage(0);
        self.play(&mut engine, start, keep)
    }

    /// The same for runs with two deviations: with so much wrong, people call as soon as they notice.
    pub fn for_pairs(self, branching: Branching) -> Self {
        Self { branching, habits: Habits { patience: 1, ..self.habits }, ..self }
    }

    /// Forks at a mark, with further effects from there on.
    pub fn play_from_mark(
        &self,
        engine: &mut Engine<'p, Unwatched>,
        mark: &Mark,
        effects: &[FaultEffect],
        keep: bool,
    ) -> (Vec<Path>, f64) {
        // What sets in now sets in together with what the mark's own run began with: nothing
        // may follow from the one before the other is there.
        engine.restore(mark.unsettled.as_ref().unwrap_or(&mark.state));
        engine.begin_epoch();
        engine.steps_changed = false;
        engine.impose_quietly(effects);
        let powered_on = (mark.stage, mark.epoch) != (0, 0);
        let unsettled = (keep && powered_on).then(|| engine.state().clone());
        let broken_off = match (powered_on, &mark.unsettled) {
            (false, _) => None,
            (true, None) => engine.settle_program().err(),
            (true, Some(_)) => engine.settle_all().err(),
        };
        // What was done unasked at this mark in the mark's own run is done here, too.
        let acted = |engine: &mut Engine<'p, Unwatched>| {
            engine.act_unasked(&mark.unasked)?;
            engine.act_unasked(effects)
        };
        let broken_off = broken_off.or_else(|| acted(engine).err().filter(|_| powered_on));
        let mut start = Partial {
            path: Path::begun(),
            state: None,
            stage: mark.stage,
            epoch: mark.epoch,
            going_on: mark.going_on,
            odd: mark.odd,
            flips: mark.flipped,
            met: mark.met.clone(),
            until: mark.until,
            broken_off,
            phase: match mark.epoch {
                0 => Phase::Before,
                STAGE_END => Phase::AtEnd,
                _ => Phase::Moving,
            },
            seen: None,
        };
        if keep && powered_on {
            let unasked = effects.iter().copied().filter(|effect| effect.unasked().is_some()).collect();
            self.push_mark(engine, &mut start, unsettled, unasked);
        }
        if engine.steps_changed && start.phase == Phase::Moving {
            self.next_epoch(engine, &mut start, keep);
        }
        self.play(engine, start, keep)
    }

    /// Lets a hand act on a machine at rest: the only action of the routine.
    pub fn go_on(&self, engine: &mut Engine<'p, Unwatched>) -> Vec<(f64, Situation, State)> {
        let start = Partial::before_stage(1);
        let (paths, _) = self.play(engine, start, false);
        let ends = paths.into_iter().filter_map(|mut path| Some((path.probability, path.ends.pop()?)));
        ends.filter_map(|(probability, end)| Some((probability, end.situation, end.state?))).collect()
    }

    /// The same with the moments from which it can be forked.
    pub fn go_on_with_marks(&self, engine: &mut Engine<'p, Unwatched>) -> Vec<Path> {
        self.play(engine, Partial::before_stage(1), true).0
    }

    /// Plays on to the end of the routine in every branch; gives the paths and the probability cut off.
    fn play(&self, engine: &mut Engine<'p, Unwatched>, start: Partial, keep: bool) -> (Vec<Path>, f64) {
        let mut paths = Vec::new();
        let mut todo = Aside { branches: vec![start], cut: 0.0 };
        while let Some(mut partial) = todo.branches.pop() {
            if paths.len() >= self.branching.branches || partial.path.probability < self.branching.least {
                todo.cut += partial.path.probability;
                continue;
            }
            if let Some(state) = &partial.state {
                engine.restore(state);
            }
            if let Some(seen) = partial.seen.take() {
                seen.give_back(engine);
            }
            if keep && partial.path.marks.is_empty() {
                self.mark(engine, &mut partial);
            }
            self.play_path(engine, &mut partial, &mut todo, keep);
            paths.push(partial.path);
        }
        (paths, todo.cut)
    }

    fn play_path(&self, engine: &mut Engine<'p, Unwatched>, partial: &mut Partial, todo: &mut Aside, keep: bool) {
        loop {
            let mut broken_off = partial.broken_off.take();
            if partial.phase == Phase::Before && broken_off.is_none() {
                broken_off = self.hand_acts(engine, partial, todo, keep).err();
                partial.phase = Phase::Moving;
            }
            let rest = match broken_off {
                Some(stop) => Rest { stop, varying: Vec::new() },
                None => self.come_to_rest(engine, partial, todo, keep),
            };
            if !self.end_stage(engine, partial, rest, keep) {
                return;
            }
        }
    }

    /// The machine reacts to what may have set in, then the hand acts.
    fn hand_acts(
        &self,
        engine: &mut Engine<'p, Unwatched>,
        partial: &mut Partial,
        todo: &mut Aside,
        keep: bool,
    ) -> Result<(), Stop> {
        engine.steps_changed = false;
        if partial.stage == 0 {
            engine.power_on()?;
        } else {
            if !self.waits(partial.stage - 1) {
                self.come_to_rest(engine, partial, todo, false);
            }
            // What happens before the hand acts belongs to epoch 0, in a branch that was put aside meanwhile too.
            partial.epoch = 0;
            partial.met.clear();
            engine.steps_changed = false;
            let index = usize::from(partial.stage) - 1;
            let forgotten = engine
                .state()
                .effects
                .iter()
                .any(|active| matches!(active.effect, FaultEffect::Forgotten(_, which) if which as usize == index));
            if !(forgotten && self.forgets) {
                engine.act(self.actions[index].movement)?;
            }
            let wait = self.actions[index].wait_ms.filter(|_| self.waits(partial.stage));
            partial.until = wait.map(|ms| engine.state().now + ms);
        }
        if engine.steps_changed {
            self.next_epoch(engine, partial, keep);
        }
        Ok(())
    }

    /// Whether people act again after a time of their own rather than when the machine stands.
    /// After the last action nobody does, unless he looks just then.
    fn waits(&self, stage: u16) -> bool {
        let stage = usize::from(stage);
        let goes_on = stage < self.actions.len() || self.looks_after_wait;
        stage > 0 && goes_on && self.actions[stage - 1].wait_ms.is_some()
    }

    fn next_epoch(&self, engine: &mut Engine<'p, Unwatched>, partial: &mut Partial, keep: bool) {
        engine.steps_changed = false;
        let steps = &engine.state().bits[..self.plant.step_words];
        if !partial.met.knows(self.plant, steps) && partial.epoch < EPOCHS_PER_STAGE {
            partial.met.push(steps);
            partial.epoch += 1;
            if keep {
                self.mark(engine, partial);
            }
        }
    }

    /// Closes the epoch under way and opens the next.
    fn mark(&self, engine: &mut Engine<'p, Unwatched>, partial: &mut Partial) {
        self.close_epoch(engine, partial);
        engine.begin_epoch();
        self.push_mark(engine, partial, None, Vec::new());
    }

    fn push_mark(
        &self,
        engine: &Engine<'p, Unwatched>,
        partial: &mut Partial,
        unsettled: Option<State>,
        unasked: Vec<FaultEffect>,
    ) {
        partial.path.marks.push(Arc::new(Mark {
            stage: partial.stage,
            epoch: partial.epoch,
            state: engine.state().clone(),
            unsettled,
            unasked,
            seen_on: Box::default(),
            seen_off: Box::default(),
            looked_at: Box::default(),
            met: partial.met.clone(),
            until: partial.until,
            going_on: partial.going_on,
            odd: partial.odd,
            flipped: partial.flips,
        }));
    }

    fn close_epoch(&self, engine: &Engine<'p, Unwatched>, partial: &mut Partial) {
        if let Some(last) = partial.path.marks.last_mut().map(Arc::make_mut) {
            last.seen_on = engine.seen_on.clone();
            last.seen_off = engine.seen_off.clone();
            last.looked_at = engine.looked_at.clone();
        }
    }

    /// Goes on until nothing changes any more; branches where a contact chatters.
    fn come_to_rest(
        &self,
        engine: &mut Engine<'p, Unwatched>,
        partial: &mut Partial,
        todo: &mut Aside,
        keep: bool,
    ) -> Rest {
        let until = partial.until.filter(|_| partial.phase == Phase::Moving);
        let mut cycle = CycleFinder::new(engine, self.limits);
        loop {
            let due = engine.next_due();
            if until.is_some_and(|until| due > until) {
                engine.wait_until(until.unwrap_or_default());
                return Rest { stop: Stop::Standing, varying: Vec::new() };
            }
            let stop = cycle.look(engine, due);
            let contacts = self.chattering(engine);
            if !contacts.is_empty() {
                match stop {
                    Some(Stop::Standing) => return self.chatter_at_rest(engine, partial, keep),
                    None => {
                        // One whose flip changes nothing does not keep the others from flipping.
                        let mut flips =
                            |(mean, which): &(u32, usize)| self.branch(engine, partial, todo, *which, *mean, keep);
                        if contacts.iter().any(&mut flips) {
                            // There and back again by chance is not going round.
                            cycle.forget();
                            continue;
                        }
                    }
                    Some(_) => {}
                }
            }
            match (stop, until) {
                (Some(Stop::Cycling), Some(until)) => {
                    // Nobody waits for it to end, so whole rounds are passed over.
                    cycle.skip(engine, until);
                    continue;
                }
                (Some(Stop::Cycling), None) => return going_round(engine, self.limits),
                (Some(stop), _) => return Rest { stop, varying: Vec::new() },
                (None, _) => {}
            }
            if let Err(stop) = engine.advance_to(due) {
                return Rest { stop, varying: Vec::new() };
            }
            if engine.steps_changed {
                self.next_epoch(engine, partial, keep);
            }
        }
    }

    /// The contacts that chatter just now, each with its mean time until it flips, the one that will flip first at the
    /// beginning.
    fn chattering(&self, engine: &Engine<'p, Unwatched>) -> SmallVec<[(u32, usize); 2]> {
        let mut found = SmallVec::new();
        for which in 0..engine.state().effects.len() {
            if let Some(mean) = engine.chatter(which) {
                found.push((mean, which));
            }
        }
        if found.len() > 1 {
            found.sort_unstable();
        }
        found
    }

    /// Branches a run: the contact flips before the next thing happens, or it does not.
    /// Gives whether this path goes on with the flip; the other branch is put aside.
    ///
    /// A flip that changes nothing but its own lamp is no branch.
    fn branch(
        &self,
        engine: &mut Engine<'p, Unwatched>,
        partial: &mut Partial,
        todo: &mut Aside,
        which: usize,
        mean: u32,
        keep: bool,
    ) -> bool {
        if partial.flips >= FLIPS || !engine.is_noticed(which) {
            return false;
        }
        let gap = engine.next_due() - engine.state().now;
        let stays = libm::exp(-(gap as f64) / f64::from(mean));
        let before = engine.state().clone();
        let steps_changed = engine.steps_changed;
        engine.wait_until(before.now + u64::from(mean).min(gap / 2));
        let settled = engine.flip(which).is_ok();
        let material = !settled || felt(engine, &before, which);
        if !material {
            engine.restore(&before);
            engine.steps_changed = steps_changed;
            return false;
        }
        let other = partial.path.probability * stays;
        partial.path.probability *= 1.0 - stays;
        if other < self.branching.least {
            todo.cut += other;
        } else {
            self.put_aside(engine, (partial, other), todo, &before, keep);
        }
        partial.flips += 1;
        if engine.steps_changed {
            self.next_epoch(engine, partial, keep);
        }
        true
    }

    /// Puts the branch aside in which no contact flips, from the state before until the next thing is due, which then
    /// happens; leaves the engine as it is.
    fn put_aside(
        &self,
        engine: &mut Engine<'p, Unwatched>,
        (partial, probability): (&Partial, f64),
        todo: &mut Aside,
        before: &State,
        keep: bool,
    ) {
        let flipped = engine.state().clone();
        let flipped_steps = engine.steps_changed;
        // The branch may open an epoch of its own, which sees nothing yet.
        let flipped_seen = Seen::of(engine);
        engine.restore(before);
        engine.steps_changed = false;
        let mut other = partial.clone();
        other.path.probability = probability;
        if engine.advance().is_ok() {
            if engine.steps_changed {
                self.next_epoch(engine, &mut other, keep);
            }
            other.state = Some(engine.state().clone());
            other.seen = Some(Seen::of(engine));
            todo.branches.push(other);
        } else {
            todo.cut += probability;
        }
        engine.restore(&flipped);
        flipped_seen.give_back(engine);
        engine.steps_changed = flipped_steps;
    }

    /// Nothing is due, but contacts chatter: each in turn flips until all comes round again.
    fn chatter_at_rest(&self, engine: &mut Engine<'p, Unwatched>, partial: &mut Partial, keep: bool) -> Rest {
        let mut flips = vec![0; engine.state().effects.len()];
        loop {
            let kept = engine.state().clone();
            let mut rounds = Vec::new();
            for (_, which) in self.chattering(engine) {
                match self.round_of(engine, which, &mut flips[which], &kept) {
                    Round::Closed(times) => rounds.push(times),
                    Round::Changed => break,
                    Round::GoesOn(times) => {
                        let stop = if times.is_empty() { Stop::Standing } else { Stop::Cycling };
                        return Rest { stop, varying: shares(&times, true) };
                    }
                    Round::Stopped(stop) => return Rest { stop, varying: Vec::new() },
                }
            }
            if engine.steps_changed {
                self.next_epoch(engine, partial, keep);
            } else if engine.state().same_but_later(&kept) {
                return Rest { stop: Stop::Standing, varying: shares_together(&kept, &rounds) };
            }
        }
    }

    /// One contact flips, and no other, until the machine is as it was before one of its flips. The first flip can have
    /// ended something for good: a cylinder that had stopped midway, since the contact was open, arrives, and is never
    /// midway again. The round begins behind that.
    fn round_of(&self, engine: &mut Engine<'p, Unwatched>, which: usize, flips: &mut u32, kept: &State) -> Round {
        let mut times = Looks::new();
        let mut passed: Vec<State> = Vec::new();
        let mut cycle = CycleFinder::new(engine, self.limits);
        while *flips < FLIPS {
            let Some(mean) = engine.chatter(which) else {
                // The machine has moved to where it does not matter any more whether the contact is open.
                return Round::Changed;
            };
            *flips += 1;
            times.push((u64::from(mean), engine.state().bits.clone()));
            engine.wait_until(engine.state().now + u64::from(mean));
            if let Err(stop) = engine.flip(which) {
                return Round::Stopped(stop);
            }
            // Whatever the flip has set going is played to its end.
            while cycle.look(engine, engine.next_due()).is_none() {
                if let Err(stop) = engine.advance() {
                    return Round::Stopped(stop);
                }
            }
            if engine.steps_changed {
                return Round::Changed;
            }
            if engine.state().same_but_later(kept) {
                return Round::Closed(times);
            }
            if passed.iter().any(|state| engine.state().same_but_later(state)) {
                return Round::Changed;
            }
            passed.push(engine.state().clone());
        }
        Round::GoesOn(times)
    }

    /// Notes the end of a stage; gives whether the routine goes on.
    fn end_stage(&self, engine: &mut Engine<'p, Unwatched>, partial: &mut Partial, rest: Rest, keep: bool) -> bool {
        let stage = partial.stage;
        let waits = self.waits(stage);
        let last = usize::from(stage) == self.actions.len();
        let whole = !matches!(rest.stop, Stop::Limit | Stop::Unstable);
        if !waits || self.looks_after_wait || last || !whole {
            let situation = Situation::of(engine, rest.varying, rest.stop);
            let epochs = partial.met.count;
            let as_always = match self.nominal.iter().find(|end| end.stage == stage) {
                Some(end) => situation.looks_like(&end.situation, self.plant) && epochs == end.epochs,
                None => self.nominal.is_empty(),
            };
            let mut calls = if as_always { self.habits.calls_when_fine } else { self.habits.calls_when_odd };
            if !as_always {
                partial.odd += 1;
                if partial.odd >= self.habits.patience || last {
                    calls = 1.0;
                }
            }
            if !whole {
                calls = 1.0;
            }
            if keep && partial.phase != Phase::AtEnd {
                let epoch = partial.epoch;
                partial.epoch = STAGE_END;
                // The mark stands before the question whether to call, so its counts are those before.
                let odd = partial.odd;
                partial.odd -= u8::from(!as_always);
                // What goes round goes on doing so behind the mark, pulses in no time included.
                let goes_on = situation.stop == Stop::Cycling || !situation.varying.is_empty();
                let goes_on = goes_on.then(|| Seen::of(engine));
                self.mark(engine, partial);
                if let Some(seen) = goes_on {
                    seen.give_back(engine);
                }
                partial.odd = odd;
                partial.epoch = epoch;
            }
            let state = self.keep_states.then(|| engine.state().clone());
            partial.path.ends.push(StageEnd {
                stage,
                situation,
                unseen: engine.state().unseen(),
                calls: partial.going_on * calls,
                state,
                epochs,
                as_always,
            });
            partial.going_on *= 1.0 - calls;
        }
        if last || !whole || partial.going_on <= 0.0 {
            if keep {
                self.close_epoch(engine, partial);
            }
            return false;
        }
        partial.stage += 1;
        partial.epoch = 0;
        partial.met.clear();
        partial.until = None;
        partial.phase = Phase::Before;
        if keep {
            self.mark(engine, partial);
        }
        true
    }
}

/// How a stage has come to its end.
struct Rest {
    stop: Stop,
    varying: Vec<Varying>,
}

/// What a machine looked like, and for how many ms, one look after the other.
type Looks = Vec<(u64, Box<[u64]>)>;

/// What came of a contact's flipping at rest.
enum Round {
    /// The machine is as it was; what it looked like before each flip, and for how long.
    Closed(Looks),
    /// Steps have changed, the contact does not matter any more, or the round begins only here.
    Changed,
    /// It has flipped often, and the machine was never as it was.
    GoesOn(Looks),
    /// It can't go on.
    Stopped(Stop),
}

/// Whether a flip, after which the engine is, has changed anything that matters later. Where the program reads the input
/// late, it is asked what would follow if it read it at once: that something is due there is no consequence yet.
fn felt(engine: &mut Engine<'_, Unwatched>, before: &State, which: usize) -> bool {
    let soon = (engine.about_to_read(before, which), engine.about_to_read(engine.state(), which));
    let (begin, input) = match soon {
        (None, Some(input)) => (None, input),
        (Some(input), None) => (Some(before), input),
        _ => return !immaterial(before, engine.state(), which),
    };
    let (flipped, seen, steps_changed) = (engine.state().clone(), Seen::of(engine), engine.steps_changed);
    if let Some(begin) = begin {
        engine.restore(begin);
    }
    let settled = engine.read_at_once(input).is_ok();
    let other = if begin.is_some() { &flipped } else { before };
    let felt = !settled || !immaterial(other, engine.state(), which);
    engine.restore(&flipped);
    seen.give_back(engine);
    engine.steps_changed = steps_changed;
    felt
}

/// Whether a flip has changed nothing that matters later: no step, no command, no movement, nothing due.
fn immaterial(before: &State, after: &State, which: usize) -> bool {
    let differing: u32 = before.bits.iter().zip(&after.bits).map(|(a, b)| (a ^ b).count_ones()).sum();
    let concerns_input = matches!(after.effects[which].effect, FaultEffect::Input(..));
    concerns_input && differing <= 1 && before.due == after.due && before.travel == after.travel
}

/// The share of time that each signal is on, for those that are not always the same.
fn shares(times: &[(u64, Box<[u64]>)], flickers: bool) -> Vec<Varying> {
    let Some((_, first)) = times.first() else { return Vec::new() };
    let total: u64 = times.iter().map(|(ms, _)| ms).sum::<u64>().max(1);
    let mut varying = Vec::new();
    for word in 0..first.len() {
        let always = times.iter().fold(u64::MAX, |acc, (_, bits)| acc & bits[word]);
        let ever = times.iter().fold(0, |acc, (_, bits)| acc | bits[word]);
        let mut differs = ever & !always;
        while differs != 0 {
            let bit = differs.trailing_zeros();
            differs &= differs - 1;
            let on: u64 = times.iter().filter(|(_, bits)| bits[word] >> bit & 1 == 1).map(|(ms, _)| ms).sum();
            let on_per_mille = u16::try_from(on * 1000 / total).unwrap_or(1000);
            varying.push(Varying { signal: Signal(word as u32 * 64 + bit), on_per_mille, flickers });
        }
    }
    varying
}

/// The same where several contacts flip, each with a round of its own: what is on at rest is on while each of them lets it
/// be, what is off while none of them brings it on.
fn shares_together(kept: &State, rounds: &[Looks]) -> Vec<Varying> {
    let mut together: Vec<Varying> = Vec::new();
    for round in rounds {
        for one in shares(round, true) {
            let Some(known) = together.iter_mut().find(|known| known.signal == one.signal) else {
                together.push(one);
                continue;
            };
            let both = |a: u16, b: u16| u16::try_from(u32::from(a) * u32::from(b) / 1000).unwrap_or(1000);
            let (a, b) = (known.on_per_mille, one.on_per_mille);
            known.on_per_mille = if kept.bit(one.signal) { both(a, b) } else { 1000 - both(1000 - a, 1000 - b) };
        }
    }
    together.sort_by_key(|one| one.signal.0);
    together
}

/// The machine goes round: plays one round more to see what changes in it, and leaves it where its
/// lowest-numbered steps begin, or if none change the lowest positions that its mechanisms are in or come from, so that
/// it does not matter when the round was noticed.
fn going_round(engine: &mut Engine<'_, Unwatched>, limits: Limits) -> Rest {
    let kept = engine.state().clone();
    let mut times = Vec::new();
    let mut round = Vec::new();
    let events = engine.events();
    let plant = engine.plant();
    let number = |state: &State| -> (Vec<u64>, Vec<u8>) {
        (plant.steps_in(&state.bits), state.travel.iter().map(|travel| travel.from).collect())
    };
    loop {
        let (then, bits) = (engine.state().now, engine.state().bits.clone());
        let due = engine.next_due();
        round.push(number(engine.state()));
        if due == u64::MAX || engine.advance_to(due).is_err() || engine.events() - events > limits.events {
            break;
        }
        times.push((engine.state().now - then, bits));
        if engine.state().same_but_later(&kept) {
            break;
        }
    }
    let steps_change = round.iter().any(|(steps, _)| *steps != round[0].0);
    // Only what changes has a beginning.
    let number = |state: &State| {
        let (steps, places) = number(state);
        if steps_change { (steps, Vec::new()) } else { (Vec::new(), places) }
    };
    let lowest = if steps_change {
        round.into_iter().map(|(steps, _)| (steps, Vec::new())).min()
    } else {
        round.into_iter().map(|(_, places)| (Vec::new(), places)).min()
    };
    for _ in 0..2 * times.len() {
        let before = number(engine.state());
        if engine.advance().is_err() {
            break;
        }
        let after = Some(number(engine.state()));
        if after == lowest && after.as_ref() != Some(&before) {
            break;
        }
    }
    Rest { stop: Stop::Cycling, varying: shares(&times, false) }
}
