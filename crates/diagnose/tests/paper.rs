//! The check tree and the design review: what holds for every tree, and a machine small enough for a sheet of paper.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

use diagnose::evidence::{Circumstances, Complaint, Evidence};
use diagnose::next::{Next, Node, Size, Terms, ToDo, tree};
use diagnose::review::{Group, review};
use diagnose::{Alternative, Diagnoser};
use machine::Machine;
use machine::id::DeviationId;
use machine::model::{Chance, DeviationKind, FaultEffect, Forced, InputStage, LampKind};
use sim::Options;

fn diagnoser(machine: Machine, options: &Options) -> Diagnoser {
    let alternative = Alternative { weight: 1.0, choices: Vec::new(), machine };
    Diagnoser::new(vec![alternative], &Circumstances::default(), options)
}

fn no_question_twice(node: &Node, asked: &mut Vec<String>) {
    if let Next::Do(step) = &node.next {
        assert!(!asked.contains(&step.key), "{} after {asked:?}", step.key);
        asked.push(step.key.clone());
        let sum: f64 = step.branches.iter().map(|branch| branch.node.share).sum();
        assert!((sum - node.share).abs() < 1e-9, "{sum} of {}", node.share);
        step.branches.iter().for_each(|branch| no_question_twice(&branch.node, asked));
        asked.pop();
    }
}

#[test]
fn the_leaves_hold_all_cases_no_question_comes_twice_and_a_deeper_tree_never_costs_more() {
    let machine = machine::load_str("minimal.toml", include_str!("../../../demos/minimal.toml")).unwrap();
    let diagnoser = diagnoser(machine, &Options { pairs: false, ..Options::default() });
    for complaint in [Complaint::WontStart, Complaint::StopsMidway] {
        let evidence = Evidence { complaint: Some(complaint), ..Evidence::default() };
        let mut before = f64::INFINITY;
        for depth in 0..=4 {
            let size = Size { depth, ..Size::default() };
            let root = tree(&diagnoser, &evidence, &Terms::default(), size).unwrap();
            let leaves = root.leaves();
            let sum: f64 = leaves.iter().map(|(share, _)| share).sum();
            assert!((sum - 1.0).abs() < 1e-9, "{sum}");
            assert!(leaves.iter().all(|(share, leaf)| leaf.solved >= -1e-12 && leaf.solved <= share + 1e-9));
            for (share, leaf) in &leaves {
                let helped: f64 = leaf.remedies.iter().map(|one| one.helps).sum();
                assert!(leaf.remedies.iter().all(|one| one.helps >= -1e-12) && helped <= 1.0 + 1e-9, "{helped}");
                assert!(leaf.remedies.is_empty() || (helped * share - leaf.solved).abs() < 1e-9, "{helped}");
            }
            assert_eq!(leaves.len() == 1, depth == 0);
            no_question_twice(&root, &mut Vec::new());
            assert!(root.minutes <= before + 1e-9, "depth {depth}: {} after {before}", root.minutes);
            before = root.minutes;
        }
    }
}

const PRESS: &str = include_str!("../../machine/tests/files/bare_press.toml");

/// Only these two can fail, equally often, and putting either right takes ten minutes.
fn press() -> (Machine, DeviationId, DeviationId) {
    let mut machine = machine::load_str("press.toml", PRESS).unwrap();
    let (x3, _) = machine.inputs.find(|input| input.label == "X3").unwrap();
    let dead = FaultEffect::Input(x3, InputStage::Sensor, Forced::Off);
    let (dead, _) = machine.deviations.find(|one| one.effects.as_slice() == [dead]).unwrap();
    let is_jam = |effect: &FaultEffect| matches!(effect, FaultEffect::Stuck(_));
    let (jam, _) = machine.deviations.find(|one| one.effects.iter().any(is_jam)).unwrap();
    for (id, one) in machine.deviations.iter_mut() {
        let rate = if id == dead || id == jam { 1.0 } else { 0.0 };
        one.rate.chance = match one.kind {
            DeviationKind::Fault(_) => Chance::PerMillionHours(rate),
            DeviationKind::Lapse => Chance::EachTime(0.0),
        };
    }
    machine.remedies.iter_mut().for_each(|(_, remedy)| remedy.minutes = 10.0);
    // Nothing is worth being checked, and nobody sees a lamp for "up".
    machine.checks.iter_mut().for_each(|(_, check)| check.minutes = 1e6);
    let up = machine.inputs.find(|input| input.label == "X2").unwrap().0;
    for lamp in machine.lamp_rows.iter_mut().flat_map(|row| &mut row.lamps) {
        if matches!(lamp.kind, LampKind::Input(input) if input == up) {
            lamp.kind = LampKind::Unused;
        }
    }
    assert_ne!(machine.deviations[dead].remedy, machine.deviations[jam].remedy);
    (machine, dead, jam)
}

/// X3 dark, the program in "lower": the ram is down and its sensor dead, or it has never moved. Remedies in
/// either order, the lamps read once more (1.5) after the first in vain: 0.5·(0.95·12) + 0.5·(0.95·25.5) and what comes after; with a
/// lamp for "up", read rightly in 98 %, 0.98·(0.95·12) + 0.02·(0.95·25.5). The difference is 0.48·0.95·13.5 = 6.156 minutes.
#[test]
fn one_lamp_separates_a_jam_from_a_dead_sensor_and_saves_what_a_sheet_of_paper_says() {
    let (machine, dead, jam) = press();
    let keys = [machine.deviations[dead].key.clone(), machine.deviations[jam].key.clone()];
    let ram = machine.mechanisms.find(|one| one.name == "ram").unwrap().0;
    let always = Options { before_power_on: 1.0, pairs: false, ..Options::default() };
    let terms = Terms { left_out: vec![ToDo::Position(ram)], ..Terms::default() };
    let found = review(&diagnoser(machine, &always), &terms).unwrap();
    let together = |groups: &[Group]| {
        groups.iter().any(|group| keys.iter().all(|key| group.members.iter().any(|member| member.key == *key)))
    };
    assert!(together(&found.alike_by_lamps), "{:#?}", found.alike_by_lamps);
    assert!(!together(&found.alike_by_eyes), "{:#?}", found.alike_by_eyes);
    assert!(!together(&found.alike_by_checks));
    let silent = found.silent.iter().find(|step| step.step == "lower").expect("nobody is told in `lower`");
    assert!((silent.share - 1.0).abs() < 1e-9, "{silent:#?}");
    let up = found.additions.iter().find(|addition| addition.of == "ram = up").expect("a lamp for `up` helps");
    assert!((up.saved - 6.156).abs() < 0.01, "{up:#?}");
    assert!(found.additions.iter().all(|addition| addition.saved <= up.saved));
}
