//! A sign of life on the standard error for work that takes more than a second.
//! Nothing is shown where no terminal is.

use std::sync::mpsc::{RecvTimeoutError, channel};
use std::time::Duration;

use indicatif::{ProgressBar, ProgressStyle};

/// After so long something is shown.
const PATIENCE: Duration = Duration::from_secs(1);

/// Does the work; shows `what` and the time taken while it lasts.
pub fn while_working<T>(what: &'static str, work: impl FnOnce() -> T) -> T {
    std::thread::scope(|scope| {
        let (done, wait) = channel::<()>();
        scope.spawn(move || {
            if wait.recv_timeout(PATIENCE) != Err(RecvTimeoutError::Timeout) {
                return;
            }
            let bar = ProgressBar::new_spinner().with_message(what).with_elapsed(PATIENCE);
            if let Ok(style) = ProgressStyle::with_template("{spinner} {msg} ({elapsed})") {
                bar.set_style(style);
            }
            bar.enable_steady_tick(Duration::from_millis(120));
            // Ends when the sender is dropped, also if the work panics.
            _ = wait.recv();
            bar.finish_and_clear();
        });
        let result = work();
        drop(done);
        result
    })
}

/// Does work that tells whenever one of `count` things is done; shows how far it is.
pub fn while_counting<T>(what: &'static str, count: usize, work: impl FnOnce(&(dyn Fn() + Sync)) -> T) -> T {
    let bar = ProgressBar::new(count as u64).with_message(what);
    if let Ok(style) = ProgressStyle::with_template("{wide_bar} {pos} of {len} {msg}, {eta} left") {
        bar.set_style(style);
    }
    let result = work(&|| bar.inc(1));
    bar.finish_and_clear();
    result
}
