//! Every single deviation of every demo machine is found again from the full report of
//! what its lamps show and where everything stands, read without an error.
//!
//! Where something comes and goes there is no one report without error: the same lamp may be
//! seen lit, dark or flickering. Those are counted apart.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

use diagnose::evidence::{LampPlace, LampReport, Naming};
use diagnose::likelihood::LampLikelihood;
use diagnose::panel::{Misreading, Panel};
use machine::Machine;
use machine::id::{Id, RoutineId};
use machine::model::Observable;
use sim::{Exploration, Options, Plant, View, explore};

/// Reads every lamp and every position of a situation as they are, and finds the behaviour
/// under which that report is most probable. Behaviours that look exactly alike share the
/// first place.
fn recovered(machine: &Machine, steady: bool) -> (usize, usize) {
    let plant = Plant::new(machine);
    let panel = Panel::new(machine);
    let options = Options { pairs: false, ..Options::default() };
    let exploration = explore(machine, &plant, RoutineId::new(0), &options);
    let truths: Vec<_> = exploration.situations.iter().map(|situation| panel.truth(&plant, situation)).collect();
    let positions: Vec<Vec<Vec<f64>>> = exploration
        .situations
        .iter()
        .map(|situation| {
            let view = View::new(machine, &plant, situation, &[]);
            machine.mechanisms.ids().map(|mechanism| view.answers(&Observable::Position(mechanism)).to_vec()).collect()
        })
        .collect();
    let mut found = 0;
    let mut tried = 0;
    for (index, behaviour) in exploration.behaviours.iter().enumerate() {
        let Some(record) = exploration
            .records
            .iter()
            .filter(|record| record.first == Some(index as u32))
            .max_by(|a, b| a.weight.total_cmp(&b.weight))
        else {
            continue;
        };
        if exploration.situations[record.situation as usize].varying.is_empty() != steady {
            continue;
        }
        tried += 1;
        let seen = record.situation as usize;
        let reports: Vec<LampReport> = machine
            .lamp_rows
            .iter()
            .enumerate()
            .flat_map(|(row, lamps)| (0..lamps.lamps.len()).map(move |column| LampPlace { row, column }))
            .map(|place| LampReport {
                place,
                state: truths[seen].state(panel.number(place).unwrap()),
                naming: Naming::Named,
            })
            .collect();
        let likelihood = LampLikelihood::new(&panel, &reports, &Misreading::default());
        let scores: Vec<f64> = (0..exploration.situations.len())
            .map(|other| {
                let mut product = likelihood.of(&truths[other]);
                for (seen, there) in positions[seen].iter().zip(&positions[other]) {
                    let agreement: f64 = seen.iter().zip(there).map(|(a, b)| a * b).sum();
                    product *= agreement * 0.97 + (1.0 - agreement) * 0.03;
                }
                product
            })
            .collect();
        let own = best(&exploration, index as u32, record.stage, &scores);
        let most = (0..exploration.behaviours.len() as u32)
            .map(|other| best(&exploration, other, record.stage, &scores))
            .fold(0.0, f64::max);
        if own >= most * (1.0 - 1e-9) {
            found += 1;
        } else {
            println!("{}: {:?} is beaten: {own:e} against {most:e}", machine.name, behaviour.effects);
        }
    }
    (found, tried)
}

fn best(exploration: &Exploration, behaviour: u32, stage: u16, scores: &[f64]) -> f64 {
    exploration
        .records
        .iter()
        .filter(|record| record.first == Some(behaviour) && record.second.is_none() && record.stage == stage)
        .map(|record| scores[record.situation as usize])
        .fold(0.0, f64::max)
}

fn all_are_recovered(name: &str) {
    let path = format!("{}/../../demos/{name}.toml", env!("CARGO_MANIFEST_DIR"));
    let text = std::fs::read_to_string(&path).unwrap();
    let machine = machine::load_str(name, &text).unwrap();
    let (found, tried) = recovered(&machine, true);
    assert!(tried > 20, "{name}: only {tried} behaviours come into play");
    assert_eq!(found, tried, "{name}: {found} of {tried}");
    let (found, tried) = recovered(&machine, false);
    println!("{name}: of what comes and goes, {found} of {tried}");
    assert!(2 * found > tried, "{name}: of what comes and goes, only {found} of {tried}");
}

#[test]
fn every_deviation_of_the_jar_filler_is_recovered() {
    all_are_recovered("jar-filler");
}

#[test]
fn every_deviation_of_the_parts_washer_is_recovered() {
    all_are_recovered("parts-washer");
}

#[test]
fn every_deviation_of_the_lidding_line_is_recovered() {
    all_are_recovered("lidding-line");
}
