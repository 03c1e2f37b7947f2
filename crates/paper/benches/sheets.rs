//! The figures of docs/performance.md: how long the sheets of each demo machine take, bound as one PDF.
//!
//! `cargo bench -p paper` prints the table. Times are reported, never asserted.
#![allow(missing_docs, clippy::unwrap_used, clippy::expect_used, clippy::panic)]

use std::time::{Duration, Instant};

use machine::{Alternative, Choice, Source};
use paper::render::pdf;
use paper::{Desk, Language, PageSize, Request};

const DEMOS: [&str; 4] = ["minimal", "jar-filler", "parts-washer", "lidding-line"];
const ROUNDS: usize = 3;

fn alternatives(name: &str) -> Vec<Alternative> {
    let path = format!("{}/../../demos/{name}.toml", env!("CARGO_MANIFEST_DIR"));
    let reading = machine::read(Source::new(name, std::fs::read_to_string(path).unwrap()), &[]);
    let revision = reading.revisions().first().map(|revision| revision.name.clone());
    reading.resolve(&Choice { revision, ..Choice::default() }).alternatives
}

fn median(mut times: Vec<Duration>) -> f64 {
    times.sort();
    times[times.len() / 2].as_secs_f64()
}

fn main() {
    let quick = [
        Request::Lamps,
        Request::LampChart,
        Request::Timing,
        Request::Chart,
        Request::Commissioning,
        Request::Procedures(None),
    ];
    println!("| machine | sheets without a diagnosis | symptom index | check tree | set as one PDF | all | pages |");
    println!("|---|---|---|---|---|---|---|");
    for name in DEMOS {
        let alternatives = alternatives(name);
        let mut times: [Vec<Duration>; 5] = Default::default();
        let mut pages = 0;
        for _ in 0..ROUNDS {
            let whole = Instant::now();
            let desk = Desk::new(&alternatives, name, None, Language::English).unwrap();
            let mut sheets = Vec::new();
            let mut begin = Instant::now();
            let mut lap = |which: usize| {
                times[which].push(begin.elapsed());
                begin = Instant::now();
            };
            for request in &quick {
                sheets.extend(desk.sheets(request, PageSize::A4).unwrap());
            }
            lap(0);
            sheets.extend(desk.sheets(&Request::Symptoms, PageSize::A4).unwrap());
            lap(1);
            sheets.extend(desk.sheets(&Request::CheckTree, PageSize::A4).unwrap());
            lap(2);
            assert!(!pdf::pdf(desk.head(), &sheets, PageSize::A4, true).unwrap().is_empty());
            lap(3);
            times[4].push(whole.elapsed());
            pages = pdf::page_count(desk.head(), &sheets, PageSize::A4, true).unwrap();
        }
        let [quick, symptoms, tree, set, all] = times.map(median);
        println!("| {name} | {quick:.2} s | {symptoms:.2} s | {tree:.2} s | {set:.2} s | {all:.2} s | {pages} |");
    }
}
