//! What takes long to work out and changes only when something is written: kept, shown at once, and worked out anew
//! beside that when it has become old. A page says from when its numbers are.

use std::collections::VecDeque;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

/// Things that are kept of one kind at most.
const MOST: usize = 8;

struct One<K, T> {
    key: K,
    /// How often what it comes from had been written.
    written: u64,
    value: Arc<T>,
}

/// Things of one kind.
pub struct Kept<K, T> {
    known: Mutex<VecDeque<One<K, T>>>,
    /// Held by whoever works one out while others wait for it.
    working: Mutex<()>,
    /// Those that are worked out anew.
    renewed: Mutex<Vec<K>>,
}

impl<K, T> Default for Kept<K, T> {
    fn default() -> Self {
        Self { known: Mutex::default(), working: Mutex::default(), renewed: Mutex::default() }
    }
}

fn lock<T>(what: &Mutex<T>) -> MutexGuard<'_, T> {
    // Lists that are whole at any moment, also if somebody panicked while holding them.
    what.lock().unwrap_or_else(PoisonError::into_inner)
}

impl<K: Clone + PartialEq, T> Kept<K, T> {
    /// What is kept under this key, at once if it was ever worked out. If something was written meanwhile, or it has
    /// become old in another way, `anew` has it worked out beside that; what was never worked out is waited for.
    pub fn shown<E>(
        &self,
        key: &K,
        written: u64,
        is_fresh: impl FnOnce(&T) -> bool,
        anew: impl FnOnce(),
        work_out: impl FnOnce() -> Result<Arc<T>, E>,
    ) -> Result<Arc<T>, E> {
        if let Some((value, is_new)) = self.get(key, written) {
            let is_new = is_new && is_fresh(&value);
            if !is_new && self.begin_anew(key) {
                anew();
            }
            return Ok(value);
        }
        let _turn = self.turn();
        match self.get(key, written) {
            Some((value, _)) => Ok(value),
            None => work_out(),
        }
    }

    /// What is kept under this key, and whether it is still of `written`.
    fn get(&self, key: &K, written: u64) -> Option<(Arc<T>, bool)> {
        let known = lock(&self.known);
        known.iter().find(|one| one.key == *key).map(|one| (Arc::clone(&one.value), one.written == written))
    }

    /// Keeps something in the place of what was there; the oldest makes room.
    pub fn put(&self, key: K, written: u64, value: T) -> Arc<T> {
        let value = Arc::new(value);
        let mut known = lock(&self.known);
        known.retain(|one| one.key != key);
        known.push_back(One { key, written, value: Arc::clone(&value) });
        if known.len() > MOST {
            known.pop_front();
        }
        value
    }

    /// The turn of working one out.
    pub fn turn(&self) -> MutexGuard<'_, ()> {
        lock(&self.working)
    }

    /// Whether this one is to be worked out anew now: not if somebody does that already.
    fn begin_anew(&self, key: &K) -> bool {
        let mut renewed = lock(&self.renewed);
        if renewed.contains(key) {
            return false;
        }
        renewed.push(key.clone());
        true
    }

    /// Somebody has worked it out, or could not.
    pub fn end_anew(&self, key: &K) {
        lock(&self.renewed).retain(|one| one != key);
    }
}
