//! What comes of it when a hand acts, remembered: the same machines are acted on in the same way again and
//! again, for one history after the other and in one answer after the other.

use crate::world::World;
use machine::model::{FaultEffect, HandAction, HandMove};
use rustc_hash::{FxBuildHasher, FxHashMap};
use sim::{Exploration, Situation, State};
use std::hash::BuildHasher;
use std::sync::{Arc, Mutex, PoisonError};

/// How many parts the memory has, each with a lock of its own.
const PARTS: usize = 16;

/// How much is kept in each part; what is kept only saves time, so all of it can be dropped.
const MOST_KEPT: usize = 2_000;

/// How a machine can stand, and the state to go on from.
pub(crate) type Stood = Arc<(Situation, State)>;

/// Every way in which the machine can stand afterwards, with its probability.
pub(crate) type After = Arc<[(f64, Stood)]>;

#[derive(Debug, PartialEq, Eq, Hash)]
struct Question {
    state: State,
    set_in: Vec<FaultEffect>,
    put_right: Vec<FaultEffect>,
    movement: HandMove,
    wait_ms: Option<u64>,
}

/// What has been worked out for one routine of one machine.
#[derive(Debug, Default)]
pub(crate) struct Aftermaths {
    parts: [Mutex<FxHashMap<Question, After>>; PARTS],
}

impl Aftermaths {
    /// Goes on from a state: effects set in, others are put right, then a hand acts.
    pub fn of(
        &self,
        world: &World,
        exploration: &Exploration,
        state: &State,
        set_in: &[FaultEffect],
        put_right: &[FaultEffect],
        action: &HandAction,
    ) -> After {
        let question = Question {
            state: state.clone(),
            set_in: set_in.to_vec(),
            put_right: put_right.to_vec(),
            movement: action.movement,
            wait_ms: action.wait_ms,
        };
        let part = &self.parts[FxBuildHasher.hash_one(&question) as usize >> 7 & (PARTS - 1)];
        let kept = |part: &Mutex<FxHashMap<Question, After>>| {
            part.lock().unwrap_or_else(PoisonError::into_inner).get(&question).cloned()
        };
        if let Some(known) = kept(part) {
            return known;
        }
        let after: After = exploration
            .go_on(&world.plant, state, set_in, put_right, action)
            .into_iter()
            .map(|(probability, situation, state)| (probability, Arc::new((situation, state))))
            .collect();
        let mut part = part.lock().unwrap_or_else(PoisonError::into_inner);
        if part.len() >= MOST_KEPT {
            part.clear();
        }
        part.insert(question, Arc::clone(&after));
        after
    }
}
