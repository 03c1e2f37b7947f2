//! What comes of it when a hand acts, remembered: the same machines are acted on in the same way again and
//! again, for one history after the other and in one answer after the other.

use crate::world::World;
use machine::model::{FaultEffect, HandAction, HandMove};
use rustc_hash::{FxBuildHasher, FxHashMap, FxHashSet};
use sim::{Exploration, Plant, SetIn, Situation, State};
use std::hash::{BuildHasher, Hash, Hasher};
use std::sync::{Arc, Mutex, PoisonError};

/// How many parts the memory has, each with a lock of its own.
const PARTS: usize = 16;

/// How much is kept in each part; what is kept only saves time, so all of it can be dropped.
const MOST_KEPT: usize = 2_000;

/// How many standings are known apart.
const MOST_STANDINGS: usize = 20_000;

/// How a machine stands: what it looks like, and the state to go on from.
pub(crate) type Stood = Arc<(Situation, State)>;

/// Every way in which the machine can stand afterwards, with its probability.
pub(crate) type After = Arc<[(f64, Stood)]>;

/// What has set in meanwhile; see [`SetIn`].
#[derive(Debug)]
pub(crate) struct Late {
    pub behaviour: usize,
    pub share: f64,
    pub in_play: bool,
    /// How the machine stands then.
    pub stood: Stood,
}

/// Everything that can have set in meanwhile.
pub(crate) type Meanwhile = Arc<[Late]>;

/// The very same standing: equal ones are kept once, and comparing states would take as long as going on from them.
#[derive(Debug)]
struct TheSame(Stood);

impl PartialEq for TheSame {
    fn eq(&self, other: &Self) -> bool {
        Arc::ptr_eq(&self.0, &other.0)
    }
}

impl Eq for TheSame {}

impl Hash for TheSame {
    fn hash<H: Hasher>(&self, state: &mut H) {
        Arc::as_ptr(&self.0).hash(state);
    }
}

#[derive(Debug, PartialEq, Eq, Hash)]
struct Question {
    /// Held on to, so that its address stays its own.
    stood: TheSame,
    set_in: Vec<FaultEffect>,
    put_right: Vec<FaultEffect>,
    movement: HandMove,
    wait_ms: Option<u64>,
    /// The stage of the routine that the act begins.
    stage: Option<u16>,
}

impl Question {
    fn new(stood: &Stood, set_in: &[FaultEffect], put_right: &[FaultEffect], action: &HandAction) -> Self {
        Self {
            stood: TheSame(Arc::clone(stood)),
            set_in: set_in.to_vec(),
            put_right: put_right.to_vec(),
            movement: action.movement,
            wait_ms: action.wait_ms,
            stage: None,
        }
    }
}

/// Answers to questions, the oldest dropped together when there are too many.
#[derive(Debug)]
struct Memory<A> {
    parts: [Mutex<FxHashMap<Question, Arc<[A]>>>; PARTS],
}

impl<A> Default for Memory<A> {
    fn default() -> Self {
        Self { parts: std::array::from_fn(|_| Mutex::default()) }
    }
}

impl<A> Memory<A> {
    fn of(&self, question: Question, work_out: impl FnOnce() -> Arc<[A]>) -> Arc<[A]> {
        let part = &self.parts[FxBuildHasher.hash_one(&question) as usize >> 7 & (PARTS - 1)];
        let lock = || part.lock().unwrap_or_else(PoisonError::into_inner);
        let known = lock().get(&question).cloned();
        known.unwrap_or_else(|| {
            let found = work_out();
            let mut part = lock();
            if part.len() >= MOST_KEPT {
                part.clear();
            }
            part.insert(question, Arc::clone(&found));
            found
        })
    }
}

/// Standings, each equal one only once, so that what comes after it is worked out once, and histories that lead to it
/// can be put together.
#[derive(Debug, Default)]
struct Standings(Mutex<FxHashSet<Stood>>);

impl Standings {
    fn once(&self, plant: &Plant, situation: Situation, state: State) -> Stood {
        let stood = Arc::new((situation, state.timeless(plant)));
        let mut known = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(same) = known.get(&stood) {
            return Arc::clone(same);
        }
        if known.len() >= MOST_STANDINGS {
            // Whoever holds one goes on holding it; only what comes later is not put together with it.
            known.clear();
        }
        known.insert(Arc::clone(&stood));
        stood
    }
}

/// What has been worked out for one routine of one machine.
#[derive(Debug, Default)]
pub(crate) struct Aftermaths {
    standings: Standings,
    after: Memory<(f64, Stood)>,
    meanwhile: Memory<Late>,
}

impl Aftermaths {
    /// A standing, the same one for all that are equal apart from when.
    pub fn standing(&self, plant: &Plant, situation: Situation, state: State) -> Stood {
        self.standings.once(plant, situation, state)
    }

    /// Goes on from a standing: effects set in, others are put right, then a hand acts.
    pub fn after(
        &self,
        (world, exploration): (&World, &Exploration),
        stood: &Stood,
        set_in: &[FaultEffect],
        put_right: &[FaultEffect],
        action: &HandAction,
    ) -> After {
        self.after.of(Question::new(stood, set_in, put_right, action), || {
            exploration
                .go_on(&world.plant, &stood.1, set_in, put_right, action)
                .into_iter()
                .map(|(probability, situation, state)| (probability, self.standing(&world.plant, situation, state)))
                .collect()
        })
    }

    /// What becomes of it for each deviation that sets in while the hand acts; see [`Exploration::set_in_meanwhile`].
    pub fn meanwhile(
        &self,
        (world, exploration): (&World, &Exploration),
        stood: &Stood,
        there: &[FaultEffect],
        action: &HandAction,
        stage: Option<u16>,
    ) -> Meanwhile {
        self.meanwhile.of(Question { stage, ..Question::new(stood, there, &[], action) }, || {
            exploration
                .set_in_meanwhile(&world.plant, &stood.1, there, action, stage)
                .into_iter()
                .map(|SetIn { behaviour, share, in_play, situation, state }| Late {
                    behaviour,
                    share,
                    in_play,
                    stood: self.standing(&world.plant, situation, state),
                })
                .collect()
        })
    }
}
