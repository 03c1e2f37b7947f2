//! The figure of docs/performance.md: how long the offline guide of each demo machine takes, and how large it is.
//!
//! `cargo bench -p paper --bench guide` prints the table. Times are reported, never asserted.
#![allow(missing_docs, clippy::unwrap_used)]

use std::time::{Duration, Instant};

use machine::{Choice, Source};
use paper::guide::{Request, guide};

const DEMOS: [&str; 4] = ["minimal", "jar-filler", "parts-washer", "lidding-line"];
const ROUNDS: usize = 3;

fn main() {
    println!("| machine | guide | size | rows | questions |");
    println!("|---|---|---|---|---|");
    for name in DEMOS {
        let path = format!("{}/../../demos/{name}.toml", env!("CARGO_MANIFEST_DIR"));
        let reading = machine::read(Source::new(name, std::fs::read_to_string(path).unwrap()), &[]);
        let alternatives = reading.resolve(&Choice::default()).alternatives;
        let request = Request { file: name, fingerprint: "0", serial: None, pictures: &[] };
        let mut times: Vec<Duration> = Vec::new();
        let mut made = None;
        for _ in 0..ROUNDS {
            let begin = Instant::now();
            made = guide(&alternatives, &request);
            times.push(begin.elapsed());
        }
        times.sort();
        let made = made.unwrap();
        let (seconds, size) = (times[ROUNDS / 2].as_secs_f64(), made.html.len() as f64 / 1e6);
        println!("| {name} | {seconds:.2} s | {size:.2} MB | {} | {} |", made.rows, made.questions);
    }
}
