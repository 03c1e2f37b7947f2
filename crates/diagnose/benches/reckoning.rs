//! The figures of docs/performance.md: simulation speed, the cold exploration of all pairs, taking it up again from
//! where it was laid by, an answer after one more piece of evidence, the next check, and memory, for each demo machine.
//!
//! `cargo bench -p diagnose` prints the table; names of demo machines after `--` choose among them. Times are medians of several runs in one
//! process; they are reported, never asserted.
#![allow(missing_docs, clippy::unwrap_used, clippy::expect_used, clippy::panic)]

use diagnose::evidence::{Circumstances, Complaint, Evidence, LampPlace, LampReport, LampState, Moment, Naming};
use diagnose::next::{Terms, advise};
use diagnose::{Alternative, Diagnoser, Shelf};
use machine::Machine;
use machine::id::{Id, RoutineId};
use sim::{Engine, Limits, Options, Plant};
use std::sync::Mutex;
use std::time::{Duration, Instant};

/// The allocator of the program.
#[global_allocator]
static ALLOCATOR: mimalloc::MiMalloc = mimalloc::MiMalloc;

const DEMOS: [&str; 4] = ["minimal", "jar-filler", "parts-washer", "lidding-line"];

fn load(name: &str) -> Machine {
    let path = format!("{}/../../demos/{name}.toml", env!("CARGO_MANIFEST_DIR"));
    machine::load_str(name, &std::fs::read_to_string(path).unwrap()).unwrap()
}

/// A shelf in memory with room for one machine.
#[derive(Debug, Default)]
struct OnePlace(Mutex<Option<(String, Vec<u8>)>>);

impl Shelf for OnePlace {
    fn take(&self, name: &str) -> Option<Vec<u8>> {
        self.0.lock().unwrap().as_ref().filter(|(known, _)| known == name).map(|(_, bytes)| bytes.clone())
    }

    fn lay_by(&self, name: &str, bytes: &[u8]) {
        *self.0.lock().unwrap() = Some((name.to_owned(), bytes.to_vec()));
    }
}

fn median(mut times: Vec<Duration>) -> Duration {
    times.sort();
    times[times.len() / 2]
}

/// Signal changes a second of one engine that plays the first routine over and over.
fn events_per_second(machine: &Machine) -> f64 {
    let plant = Plant::new(machine);
    let mut engine = Engine::new(&plant);
    let fresh = engine.state().clone();
    let begin = Instant::now();
    let mut rounds = 0;
    while begin.elapsed() < Duration::from_secs(1) || rounds < 3 {
        engine.restore(&fresh);
        engine.power_on().unwrap();
        for action in &machine.routines[RoutineId::new(0)].actions {
            engine.act(action.movement).unwrap();
            engine.run_to_standing(Limits::default());
        }
        rounds += 1;
    }
    engine.events() as f64 / begin.elapsed().as_secs_f64()
}

/// The lamps of the machine at rest, of which one more is told each time.
fn evidence(machine: &Machine, told: usize) -> Evidence {
    let lamps = machine
        .lamp_rows
        .iter()
        .enumerate()
        .flat_map(|(row, lamps)| (0..lamps.lamps.len()).map(move |column| LampPlace { row, column }))
        .take(told)
        .map(|place| LampReport { place, state: LampState::Dark, naming: Naming::Named })
        .collect();
    Evidence {
        complaint: Some(Complaint::WontStart),
        moments: vec![Moment { lamps, ..Moment::default() }],
        ..Evidence::default()
    }
}

/// The most memory this process has had, in megabytes; 0 where the system does not say.
fn peak_memory() -> u64 {
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let line = status.lines().find(|line| line.starts_with("VmHWM:")).unwrap_or_default();
    line.split_whitespace().nth(1).and_then(|kilobytes| kilobytes.parse::<u64>().ok()).unwrap_or(0) / 1024
}

fn main() {
    // `cargo test --benches` only wants to know that it builds and starts.
    if std::env::args().any(|argument| argument == "--test") {
        return;
    }
    let cores = std::thread::available_parallelism().map_or(1, usize::from);
    println!("{cores} cores");
    println!(
        "| machine | inputs / outputs | deviations | pairs | behaviours | runs | events/s and core | cold | warm | laid by | one more reading | next check | memory so far |"
    );
    println!("|---|---|---|---|---|---|---|---|---|---|---|---|---|");
    let chosen: Vec<String> = std::env::args().skip(1).filter(|argument| !argument.starts_with('-')).collect();
    for name in DEMOS.into_iter().filter(|name| chosen.is_empty() || chosen.iter().any(|one| one == name)) {
        let machine = load(name);
        let events = events_per_second(&machine);
        let made = |shelf: &dyn Shelf| {
            let alternative = Alternative { weight: 1.0, choices: Vec::new(), machine: machine.clone() };
            let begin = Instant::now();
            let made = Diagnoser::from_shelf(vec![alternative], &Circumstances::default(), &Options::default(), shelf);
            (made, begin.elapsed())
        };
        let shelf = OnePlace::default();
        let mut cold = Vec::new();
        let mut diagnoser = None;
        for _ in 0..3 {
            *shelf.0.lock().unwrap() = None;
            let (made, time) = made(&shelf);
            cold.push(time);
            diagnoser = Some(made);
        }
        let diagnoser = diagnoser.unwrap();
        let warm = (0..5).map(|_| made(&shelf).1).collect();
        let laid_by = shelf.0.lock().unwrap().as_ref().map_or(0, |(_, bytes)| bytes.len());
        let answers = (8..17)
            .map(|told| {
                let evidence = evidence(&machine, told);
                let begin = Instant::now();
                let answer = diagnoser.answer(&evidence);
                assert!(!answer.causes.is_empty());
                begin.elapsed()
            })
            .collect();
        let advices = (8..17)
            .map(|told| {
                let evidence = evidence(&machine, told);
                let begin = Instant::now();
                let advice = advise(&diagnoser, &evidence, &Terms::default());
                assert!(!advice.proposals.is_empty());
                begin.elapsed()
            })
            .collect();
        let extent = diagnoser.extent();
        println!(
            "| {name} | {} / {} | {} | {} | {} | {} | {:.1} million | {:.2} s | {:.0} ms | {:.1} MB | {:.0} ms | {:.0} ms | {} MB |",
            machine.inputs.len(),
            machine.outputs.len(),
            extent.deviations,
            extent.pairs,
            extent.behaviours,
            extent.runs,
            events / 1e6,
            median(cold).as_secs_f64(),
            median(warm).as_secs_f64() * 1e3,
            laid_by as f64 / 1e6,
            median(answers).as_secs_f64() * 1e3,
            median(advices).as_secs_f64() * 1e3,
            peak_memory(),
        );
    }
}
