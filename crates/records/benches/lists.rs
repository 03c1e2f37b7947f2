//! Lists, search, figures and rates over a hundred thousand calls: `cargo bench -p records`. The calls are the invented
//! history, told over and over in other years.
#![allow(clippy::unwrap_used, clippy::expect_used, missing_docs)]

use jiff::{SignedDuration, Timestamp};
use records::demo::{Wanted, fill};
use records::figures::Asked;
use records::rates::{Factors, learn};
use records::transfer::{Format, Things};
use records::{CallFilter, Change, MachineFilter, NewCall, Page, State, Store};
use serde_json::Value;
use std::time::Instant;

const CALLS: usize = 100_000;
const TIMES: usize = 20;

fn main() {
    let calls: usize = std::env::var("LAMPWISE_CALLS").ok().and_then(|count| count.parse().ok()).unwrap_or(CALLS);
    let now: Timestamp = "2026-11-26T00:00:00Z".parse().unwrap();
    let folder = std::env::temp_dir().join(format!("lampwise-lists-{}", std::process::id()));
    std::fs::create_dir_all(&folder).unwrap();
    let mut store = Store::open(&folder.join("records.db")).unwrap();
    let one = clock(|| fill(&mut store, &Wanted::default(), now).unwrap());
    println!("an invented history of 400 calls: {:.0} ms", one.0);
    let filled = clock(|| tell_again(&mut store, calls));
    println!("{calls} calls imported: {:.1} s", filled.0 / 1e3);
    let all = CallFilter::default();
    let count = store.count_calls(&all).unwrap();
    let middle = store.calls(
        &CallFilter { until: Some(now - SignedDuration::from_hours(24 * 365 * 50)), ..all.clone() },
        &Page::first(50),
    );
    let middle = middle.unwrap().next;
    let first = store.calls(&all, &Page::first(1)).unwrap().rows.remove(0);
    let list = |filter: &CallFilter, after| store.calls(filter, &Page { after, rows: 50 }).unwrap().rows.len();
    println!("{count} calls; milliseconds, median of {TIMES}:");
    show("first page of all calls", || list(&all, None));
    show("a page in the middle", || list(&all, middle));
    show("open calls", || list(&CallFilter { state: Some(State::Open), ..all.clone() }, None));
    show("calls of a machine", || list(&CallFilter { machine: first.machine, ..all.clone() }, None));
    show("calls of a type", || list(&CallFilter { machine_type: Some(first.machine_type), ..all.clone() }, None));
    show("calls at a site", || list(&CallFilter { site: first.site, ..all.clone() }, None));
    show("one call with its entries", || store.call(first.id).unwrap().entries.len());
    show("machines", || store.machines(&MachineFilter::default(), &Page::first(50)).unwrap().rows.len());
    show("counting all calls", || usize::try_from(store.count_calls(&all).unwrap()).unwrap());
    show("search for a rare word", || store.search("spool drain", 20).unwrap().len());
    show("search for a word of nearly every call", || store.search("start", 20).unwrap().len());
    let asked = Asked::of(now - SignedDuration::from_hours(24 * 731), now);
    show("figures of two years", || store.figures(&asked).unwrap().causes.len());
    let (took, counts) = clock(|| store.count_faults(now).unwrap());
    println!("  {took:8.1}  counting faults in all calls, once");
    let (took, _) = clock(|| Factors::of(&counts));
    println!("  {took:8.1}  factors for a diagnosis, once");
    let (took, _) = clock(|| learn(&counts));
    println!("  {took:8.1}  rates with intervals, once");
    let machine = first.machine.unwrap();
    let call = store.begin_call(&NewCall::On(machine), now).unwrap();
    let mut counter = 0;
    let times = (0..TIMES).map(|number| {
        let entry = diagnose::call::Entry::new(diagnose::call::Kind::Note, format!("word {number}"));
        clock(|| counter = store.change(call, counter, &Change::Add(vec![entry]), now).unwrap()).0
    });
    println!("  {:8.2}  one answer kept, synced to the disk", median(times.collect()));
    drop(store);
    std::fs::remove_dir_all(&folder).unwrap();
}

fn clock<T>(work: impl FnOnce() -> T) -> (f64, T) {
    let began = Instant::now();
    let done = work();
    (began.elapsed().as_secs_f64() * 1e3, done)
}

fn median(mut times: Vec<f64>) -> f64 {
    times.sort_by(f64::total_cmp);
    times[times.len() / 2]
}

fn show(what: &str, work: impl Fn() -> usize) {
    let rows = work();
    let times = (0..TIMES).map(|_| clock(&work).0).collect();
    println!("  {:8.2}  {what} ({rows} rows)", median(times));
}

/// Takes the history in again with other years until there are so many calls.
fn tell_again(store: &mut Store, calls: usize) {
    let lines = |store: &Store, things: Things| -> Vec<Value> {
        let mut text = Vec::new();
        store.export(things, Format::JsonLines, &mut text).unwrap();
        String::from_utf8(text).unwrap().lines().map(|line| serde_json::from_str(line).unwrap()).collect()
    };
    let (told, found) = (lines(store, Things::Calls), lines(store, Things::Findings));
    let earlier = |rows: &[Value], years: i64| -> String {
        let moved = rows.iter().map(|row| {
            let mut row = row.clone();
            for name in ["began", "closed"] {
                if let Some(time) = row[name].as_str() {
                    let time: Timestamp = time.parse().unwrap();
                    row[name] = (time - SignedDuration::from_hours(24 * 365 * years)).to_string().into();
                }
            }
            format!("{row}\n")
        });
        moved.collect()
    };
    for round in 1..calls / told.len() {
        for (things, rows) in [(Things::Calls, &told), (Things::Findings, &found)] {
            let text = earlier(rows, i64::try_from(round).unwrap());
            let report =
                store.import(things, Format::JsonLines, text.as_bytes(), false, Timestamp::UNIX_EPOCH).unwrap();
            assert!(report.kept, "{:?}", report.problems.first());
        }
    }
}
