//! The figures of docs/performance.md: how long the sheets of each demo machine take, bound as one PDF, as
//! `lampwise sheet --all` makes them: side by side on all cores.
//!
//! `cargo bench -p paper` prints the table. Times are reported, never asserted.
#![allow(missing_docs, clippy::unwrap_used, clippy::expect_used, clippy::panic)]

use std::collections::BTreeMap;
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};

use diagnose::Shelf;
use machine::{Alternative, Choice, Source};
use paper::render::pdf;
use paper::{Desk, Language, PageSize, Request};

/// What `lampwise` takes its memory from.
#[global_allocator]
static ALLOCATOR: mimalloc::MiMalloc = mimalloc::MiMalloc;

const DEMOS: [&str; 4] = ["minimal", "jar-filler", "parts-washer", "lidding-line"];
const ROUNDS: usize = 5;

/// All sheets that a machine has without a call.
const ALL: [Request; 8] = [
    Request::Lamps,
    Request::LampChart,
    Request::Timing,
    Request::Chart,
    Request::Symptoms,
    Request::CheckTree,
    Request::Commissioning,
    Request::Procedures(None),
];

/// A shelf in memory, so that no disk is measured.
#[derive(Debug, Default)]
struct Board(Mutex<BTreeMap<String, Vec<u8>>>);

impl Shelf for Board {
    fn take(&self, name: &str) -> Option<Vec<u8>> {
        self.0.lock().unwrap().get(name).cloned()
    }

    fn lay_by(&self, name: &str, bytes: &[u8]) {
        self.0.lock().unwrap().insert(name.to_owned(), bytes.to_vec());
    }
}

fn alternatives(name: &str) -> Vec<Alternative> {
    let path = format!("{}/../../demos/{name}.toml", env!("CARGO_MANIFEST_DIR"));
    let reading = machine::read(Source::new(name, std::fs::read_to_string(path).unwrap()), &[]);
    let revision = reading.revisions().first().map(|revision| revision.name.clone());
    reading.resolve(&Choice { revision, ..Choice::default() }).alternatives
}

/// What this program has taken of the processors so far, as Linux tells it; nothing elsewhere.
fn processors() -> Duration {
    let stat = std::fs::read_to_string("/proc/self/stat").unwrap_or_default();
    // Behind the name in brackets: user and system time are the twelfth and thirteenth, in hundredths of a second.
    let fields = stat.rsplit(')').next().unwrap_or_default().split_whitespace().skip(11).take(2);
    Duration::from_millis(10 * fields.filter_map(|field| field.parse::<u64>().ok()).sum::<u64>())
}

fn median(times: &mut [Duration]) -> f64 {
    times.sort();
    times[times.len() / 2].as_secs_f64()
}

/// Seconds in all and of the processors, until the sheets are there, and until they are set from then on; with the
/// pages.
fn laps(name: &str, shelf: impl Fn() -> Arc<Board>) -> ([f64; 4], usize) {
    let mut times: [Vec<Duration>; 4] = Default::default();
    let mut pages = 0;
    for _ in 0..ROUNDS {
        let shelf = shelf();
        let (begin, worked) = (Instant::now(), processors());
        let alternatives = alternatives(name);
        let desk = Desk::new(&alternatives, name, None, Language::English).unwrap().with_shelf(shelf);
        let sheets = desk.all(&ALL, PageSize::A4).unwrap();
        let made = begin.elapsed();
        assert!(!pdf::pdf(desk.head(), &sheets, PageSize::A4, true).unwrap().is_empty());
        let all = begin.elapsed();
        for (times, time) in times.iter_mut().zip([all, processors() - worked, made, all - made]) {
            times.push(time);
        }
        pages = pdf::page_count(desk.head(), &sheets, PageSize::A4, true).unwrap();
    }
    (times.map(|mut times| median(&mut times)), pages)
}

fn main() {
    println!(
        "| machine | worked out anew (of the processors) | taken up (of the processors) | of this: sheets | set | pages |"
    );
    println!("|---|---|---|---|---|---|");
    let wanted: Vec<String> = std::env::args().skip(1).filter(|one| !one.starts_with('-')).collect();
    for name in DEMOS.into_iter().filter(|name| wanted.is_empty() || wanted.iter().any(|one| one == name)) {
        let ([anew, of_anew, ..], _) = laps(name, Arc::default);
        let board = Arc::new(Board::default());
        laps(name, || Arc::clone(&board));
        let ([all, of_all, sheets, set], pages) = laps(name, || Arc::clone(&board));
        println!(
            "| {name} | {anew:.2} s ({of_anew:.2}) | {all:.2} s ({of_all:.2}) | {sheets:.2} s | {set:.2} s | {pages} |"
        );
    }
}
