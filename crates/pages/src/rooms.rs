//! Where machines that take long are worked out: on threads of their own, so that nobody else stands behind them. Among
//! threads the system is fair; among what is done side by side on the same threads it is not.

use std::sync::{Mutex, PoisonError};

use machine::Alternative;
use rayon::{ThreadPool, ThreadPoolBuilder};

/// Rooms that are kept for the next who come; they cost a thread or two each.
const KEPT: usize = 4;
/// With more pairs of deviations than that a machine takes long; the largest demo has a quarter of a million, and takes two
/// seconds on two cores.
const MANY_PAIRS: f64 = 1e6;
/// With more than that it takes minutes.
pub const MOST_PAIRS: f64 = 5e6;

/// The pairs of deviations that are followed, on each of the ways in which the machine may be.
pub fn pairs(alternatives: &[Alternative]) -> f64 {
    alternatives.iter().map(|one| (one.machine.deviations.len() as f64).powi(2) / 2.0).sum()
}

/// Whether a machine takes long.
pub fn takes_long(alternatives: &[Alternative]) -> bool {
    pairs(alternatives) > MANY_PAIRS
}

static EMPTY: Mutex<Vec<ThreadPool>> = Mutex::new(Vec::new());

/// Does something that may take all cores, in a room of its own.
pub fn work<T: Send>(what: impl FnOnce() -> T + Send) -> T {
    let empty = || EMPTY.lock().unwrap_or_else(PoisonError::into_inner);
    let known = empty().pop();
    // As many threads as there are cores.
    let Some(room) = known.or_else(|| ThreadPoolBuilder::new().build().ok()) else {
        // The system has no threads left: then beside the others.
        return what();
    };
    let done = room.install(what);
    let mut rooms = empty();
    if rooms.len() < KEPT {
        rooms.push(room);
    }
    done
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::sync::mpsc;
    use std::time::Duration;

    #[test]
    fn nobody_waits_behind_what_takes_long() {
        let (stop, stopped) = mpsc::channel::<()>();
        let long = std::thread::spawn(move || {
            work(|| {
                // Every thread of this room is held.
                let stopped = Mutex::new(stopped);
                rayon::broadcast(|_| {
                    _ = stopped.lock().map(|stopped| stopped.recv_timeout(Duration::from_secs(60)));
                });
            });
        });
        std::thread::sleep(Duration::from_millis(50));
        let (done, told) = mpsc::channel();
        std::thread::spawn(move || {
            let (one, other) = work(|| rayon::join(|| 1, || 2));
            _ = done.send(one + other);
        });
        assert_eq!(told.recv_timeout(Duration::from_secs(30)), Ok(3));
        drop(stop);
        assert!(long.join().is_ok());
    }
}
