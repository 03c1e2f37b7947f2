//! The whole state of one machine at one moment, small enough to be copied
//! whenever a run is forked.

use crate::plant::Plant;
use machine::id::Id;
use machine::model::FaultEffect;
use rustc_hash::FxHasher;
use std::hash::{Hash, Hasher};

/// "Never": nothing is due.
pub(crate) const NEVER: u64 = u64::MAX;

/// A time later than any run takes to come to rest, ms; see [`State::timeless`].
const LATE: u64 = 1 << 48;

/// When things are due, with those that are due at all as bits, so that the others need not be looked at.
#[derive(Debug, PartialEq, Eq, Hash)]
pub(crate) struct Due {
    when: Box<[u64]>,
    any: Box<[u64]>,
}

impl Due {
    /// So many things, none of them due.
    pub fn none(count: usize) -> Self {
        Self { when: vec![NEVER; count].into(), any: vec![0; count.div_ceil(64)].into() }
    }

    pub fn len(&self) -> usize {
        self.when.len()
    }

    /// When this is due; [`NEVER`] if it is not.
    pub fn of(&self, which: usize) -> u64 {
        self.when[which]
    }

    pub fn set(&mut self, which: usize, when: u64) {
        self.when[which] = when;
        self.any[which >> 6] |= 1 << (which & 63);
    }

    pub fn clear(&mut self, which: usize) {
        self.when[which] = NEVER;
        self.any[which >> 6] &= !(1 << (which & 63));
    }

    /// When the next of them is due; [`NEVER`] if none is.
    #[inline]
    pub fn next(&self) -> u64 {
        self.pending().map(|which| self.when[which]).min().unwrap_or(NEVER)
    }

    /// Those that are due at some time, in rising order.
    #[inline]
    pub fn pending(&self) -> impl Iterator<Item = usize> {
        self.any.iter().enumerate().flat_map(|(word, bits)| {
            let mut bits = *bits;
            std::iter::from_fn(move || {
                let which = (bits != 0).then(|| word * 64 + bits.trailing_zeros() as usize);
                bits &= bits.wrapping_sub(1);
                which
            })
        })
    }

    /// Moves everything that is due.
    fn shift(&mut self, moved: impl Fn(u64) -> u64) {
        self.when.iter_mut().filter(|when| **when != NEVER).for_each(|when| *when = moved(*when));
    }

    fn clone_from(&mut self, from: &Self) {
        self.when.clone_from(&from.when);
        self.any.clone_from(&from.any);
    }
}

impl Clone for Due {
    fn clone(&self) -> Self {
        Self { when: self.when.clone(), any: self.any.clone() }
    }
}

/// Where a mechanism is between two positions.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub(crate) struct Travel {
    /// The position it came from; its position when `done` is 0.
    pub from: u8,
    /// The position it goes to, or last went to.
    pub to: u8,
    /// How much of the way is done, in ms of `whole`; counted up to `since` when moving.
    pub done: u64,
    /// The whole way, ms.
    pub whole: u64,
    /// When the present movement began; [`NEVER`] when it stands.
    pub since: u64,
}

/// A deviation's effect at work.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub(crate) struct Active {
    pub effect: FaultEffect,
    /// For what chatters: whether the contact is open just now.
    pub broken: bool,
}

/// The state of a machine. Copy it to fork a run.
#[derive(Debug, PartialEq, Eq, Hash)]
pub struct State {
    pub(crate) now: u64,
    pub(crate) bits: Box<[u64]>,
    pub(crate) travel: Box<[Travel]>,
    /// When what is due next: mechanisms, then timers, then inputs, then one for a button to be let go.
    pub(crate) due: Due,
    pub(crate) counters: Box<[u32]>,
    pub(crate) effects: Vec<Active>,
    /// The button that springs back when its time is due.
    pub(crate) pressed: Option<(u32, u8)>,
    /// The mains switch is off.
    pub(crate) mains_off: bool,
    /// Supplies shut by hand.
    pub(crate) shut: Box<[bool]>,
    /// Effects that forbid the program to run.
    pub(crate) controller_dead: bool,
    /// Signals that the program's last evolution looked at, and whether that was not yet its last word.
    pub(crate) looking_at: Box<[u64]>,
    pub(crate) unsettled: bool,
}

impl Clone for State {
    fn clone(&self) -> Self {
        Self {
            now: self.now,
            bits: self.bits.clone(),
            travel: self.travel.clone(),
            due: self.due.clone(),
            counters: self.counters.clone(),
            effects: self.effects.clone(),
            pressed: self.pressed,
            mains_off: self.mains_off,
            shut: self.shut.clone(),
            controller_dead: self.controller_dead,
            looking_at: self.looking_at.clone(),
            unsettled: self.unsettled,
        }
    }

    /// Copies into the memory that is there: runs are forked by the million.
    fn clone_from(&mut self, from: &Self) {
        self.now = from.now;
        self.bits.clone_from(&from.bits);
        self.travel.clone_from(&from.travel);
        self.due.clone_from(&from.due);
        self.counters.clone_from(&from.counters);
        self.effects.clone_from(&from.effects);
        self.pressed = from.pressed;
        self.mains_off = from.mains_off;
        self.shut.clone_from(&from.shut);
        self.controller_dead = from.controller_dead;
        self.looking_at.clone_from(&from.looking_at);
        self.unsettled = from.unsettled;
    }
}

impl State {
    /// Milliseconds since power-on.
    #[must_use]
    pub fn now(&self) -> u64 {
        self.now
    }

    #[inline]
    pub(crate) fn bit(&self, signal: crate::Signal) -> bool {
        self.bits[(signal.0 >> 6) as usize] >> (signal.0 & 63) & 1 == 1
    }

    /// Lets time pass in which the machine goes round and comes back to just this state.
    pub(crate) fn shift(&mut self, by: u64) {
        self.now += by;
        self.due.shift(|time| time + by);
        for travel in self.travel.iter_mut().filter(|travel| travel.since != NEVER) {
            travel.since += by;
        }
    }

    /// The state as a machine has it that got here at one fixed time and has forgotten what has no bearing on what
    /// comes: two states with the same future, apart from when, are then equal.
    #[must_use]
    pub fn timeless(mut self, plant: &Plant) -> Self {
        let now = self.now;
        // The program looks at its inputs at fixed times, so the time since it did last stays.
        let scan = plant.scan_ms.max(1);
        let then = LATE / scan * scan + now % scan;
        // What began before now, and what is due after it.
        let moved = |time: u64| then.saturating_add(time).saturating_sub(now);
        self.due.shift(moved);
        for travel in &mut self.travel {
            if travel.since != NEVER {
                travel.since = moved(travel.since);
            } else if travel.done == 0 {
                // A mechanism at rest has forgotten where it last went.
                (travel.to, travel.whole) = (travel.from, 1);
            }
        }
        self.now = then;
        self
    }

    /// What decides what comes and yet is in no signal, as one number, told from now: how far mechanisms have come that
    /// stand between two positions, what is due, counters, contacts that are open. A loose contact that came open before
    /// its circuit went dead looks like one that is closed, and is not when the circuit is live again.
    ///
    /// Where the program is between two looks at its inputs is left aside: nearly every run would have a number of its own.
    pub(crate) fn unseen(&self) -> u64 {
        let mut unseen = FxHasher::default();
        for (which, travel) in self.travel.iter().enumerate() {
            // One at rest is where its signals say.
            if travel.since != NEVER || travel.done != 0 {
                let since = if travel.since == NEVER { NEVER } else { self.now - travel.since };
                (which, travel.from, travel.to, travel.done, travel.whole, since).hash(&mut unseen);
            }
        }
        for which in self.due.pending() {
            (which, self.due.of(which) - self.now).hash(&mut unseen);
        }
        for (which, _) in self.effects.iter().enumerate().filter(|(_, active)| active.broken) {
            which.hash(&mut unseen);
        }
        self.counters.hash(&mut unseen);
        unseen.finish()
    }

    /// Whether two states of one moment are the same but for what only lamps show: inputs that the program never reads,
    /// outputs by which nothing moves.
    pub(crate) fn same_but_for_lamps(&self, other: &Self, plant: &Plant) -> bool {
        let layout = plant.layout();
        let mut shown = vec![0; self.bits.len()];
        let read = |input: &usize| layout.input(Id::new(*input)).is_in(&plant.program_reads);
        let unread: Vec<usize> = (0..plant.inputs.len()).filter(|input| !read(input)).collect();
        unread.iter().for_each(|input| layout.input(Id::new(*input)).set_in(&mut shown));
        for output in 0..plant.outputs.len() {
            let driven = layout.driven(Id::new(output));
            if plant.dependents[driven.0 as usize].iter().all(|word| *word == 0) {
                driven.set_in(&mut shown);
            }
        }
        let first_input = plant.mechanisms.len() + plant.timers.len();
        let due = (0..self.due.len()).filter(|which| !unread.iter().any(|input| first_input + input == *which));
        // How far something has come is noted now and then: what is done by now less the time is the same.
        let course = |travel: &Travel| match travel.since {
            NEVER => (travel.from, travel.to, travel.done, travel.whole, false),
            since => (travel.from, travel.to, travel.done.wrapping_sub(since), travel.whole, true),
        };
        self.bits.iter().zip(&other.bits).zip(&shown).all(|((one, other), shown)| (one ^ other) & !shown == 0)
            && self.counters == other.counters
            && due.map(|which| (self.due.of(which), other.due.of(which))).all(|(one, other)| one == other)
            && self.travel.iter().map(course).eq(other.travel.iter().map(course))
    }

    /// Whether two states lead to the same future, apart from when.
    pub(crate) fn same_but_later(&self, earlier: &Self) -> bool {
        let shift = self.now - earlier.now;
        let moved = |then: u64| if then == NEVER { NEVER } else { then + shift };
        self.bits == earlier.bits
            && self.counters == earlier.counters
            && self.pressed == earlier.pressed
            && self.shut == earlier.shut
            && self.effects == earlier.effects
            && self.due.when.iter().zip(&earlier.due.when).all(|(now, then)| *now == moved(*then))
            && self.travel.iter().zip(&earlier.travel).all(|(now, then)| {
                now.from == then.from && now.done == then.done && now.since == moved(then.since) && {
                    // A mechanism at rest has forgotten where it last went.
                    now.done == 0 && now.since == NEVER || (now.to == then.to && now.whole == then.whole)
                }
            })
    }
}
