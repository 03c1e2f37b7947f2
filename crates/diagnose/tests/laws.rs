//! Laws that the reckoning must keep on any machine, tried on small ones made at random.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod common;

use common::small::{self, Dice};
use diagnose::evidence::{
    Circumstances, Deed, Evidence, LampPlace, LampReport, LampState, Moment, Naming, PositionReport,
};
use diagnose::likelihood::LampLikelihood;
use diagnose::panel::{LampChange, LampTruth, Misreading, Panel};
use diagnose::{Alternative, Diagnoser, Doubt, Marginals};
use machine::Machine;
use machine::id::Id;
use machine::model::{AfterEvents, Chance, Deviation, DeviationKind, Device, Rate, Source, Words};
use proptest::prelude::*;
use sim::{Options, Plant, Situation, explore};

fn diagnoser(machine: &Machine) -> Diagnoser {
    let alternative = Alternative { weight: 1.0, choices: Vec::new(), machine: machine.clone() };
    // Rare pairs are followed too: which pairs are rare depends on what else there is.
    Diagnoser::new(vec![alternative], &Circumstances::default(), &Options { least_pair: 0.0, ..Options::default() })
}

/// A small machine and a call about it.
fn call(seed: u64) -> (Machine, Evidence, Dice) {
    let mut dice = Dice(seed);
    let machine = small::machine_with([3, 1, 2], &mut dice);
    let evidence = small::evidence(&machine, &mut dice);
    (machine, evidence, dice)
}

fn shuffle<T>(list: &mut [T], dice: &mut Dice) {
    for at in (1..list.len()).rev() {
        list.swap(at, dice.below(at + 1));
    }
}

fn apart(one: &Marginals, other: &Marginals) -> f64 {
    let deviations = one.deviations.iter().map(|(key, value)| (value - other.deviations[key]).abs());
    let rest = [(one.nothing - other.nothing).abs(), (one.unknown - other.unknown).abs()];
    deviations.chain(rest).fold(0.0, f64::max)
}

/// The same machine with a fault that does nothing at all.
fn with_idle_fault(machine: &Machine, rate: f64) -> Machine {
    let mut machine = machine.clone();
    let device = machine.devices.rows().next().unwrap().clone();
    let id = machine.devices.push(Device { modes: Vec::new(), name: "idle".to_string(), ..device });
    let mode = machine.deviations.push(Deviation {
        key: "idle/never acts".to_string(),
        words: Words::plain("never acts"),
        kind: DeviationKind::Fault(id),
        rate: Rate { chance: Chance::PerMillionHours(rate), source: Source::File },
        effects: Vec::new(),
        after: AfterEvents::default(),
        remedy: None,
    });
    machine.devices[id].modes.push(mode);
    machine
}

/// The full and true report of a situation of the undisturbed run, after this stage.
fn full_report(
    machine: &Machine,
    panel: &Panel,
    truth: &LampTruth,
    situation: &Situation,
    plant: &Plant,
    stage: u16,
) -> Evidence {
    let mut moment = Moment { deeds: vec![Deed::Routine(usize::from(stage).checked_sub(1))], ..Moment::default() };
    for (row, lamps) in machine.lamp_rows.iter().enumerate() {
        for column in 0..lamps.lamps.len() {
            let place = LampPlace { row, column };
            let state = truth.state(panel.number(place).unwrap());
            moment.lamps.push(LampReport { place, state, naming: Naming::Named });
        }
    }
    for (mechanism, row) in machine.mechanisms.iter() {
        let count = u8::try_from(row.positions.len()).unwrap();
        let position = (0..count).find(|at| situation.on(plant.layout().at(mechanism, *at)));
        moment.positions.push(PositionReport { mechanism, position });
    }
    Evidence { moments: vec![moment], ..Evidence::default() }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 12, failure_persistence: None, ..ProptestConfig::default() })]

    /// The order of what was said within one moment does not matter.
    #[test]
    fn the_order_of_reports_within_a_moment_is_irrelevant(seed in any::<u64>()) {
        let (machine, evidence, mut dice) = call(seed);
        let diagnoser = diagnoser(&machine);
        let mut other = evidence.clone();
        let moment = &mut other.moments[0];
        shuffle(&mut moment.lamps, &mut dice);
        shuffle(&mut moment.positions, &mut dice);
        shuffle(&mut moment.checks, &mut dice);
        let gap = apart(&diagnoser.marginals(&evidence), &diagnoser.marginals(&other));
        prop_assert!(gap < 1e-12, "{gap}");
    }

    /// What is printed beside a lamp has no bearing on anything but its name.
    #[test]
    fn relabelling_lamps_changes_nothing_else(seed in any::<u64>()) {
        let (machine, evidence, _) = call(seed);
        let mut relabelled = machine.clone();
        for (row, lamps) in relabelled.lamp_rows.iter_mut().enumerate() {
            for (column, lamp) in lamps.lamps.iter_mut().enumerate() {
                lamp.label = format!("L{row}{column}");
            }
        }
        for (id, input) in relabelled.inputs.iter_mut() {
            input.label = format!("new {}", id.index());
        }
        prop_assert_eq!(diagnoser(&machine).marginals(&evidence), diagnoser(&relabelled).marginals(&evidence));
    }

    /// Without evidence, a deviation that never acts changes the others by no more than what is left out:
    /// either way the others are within that of what all sets of any size would give, and there it has no part.
    #[test]
    fn a_deviation_that_never_acts_changes_the_others_by_no_more_than_is_left_out(
        seed in any::<u64>(), rate in 0.1..200.0_f64,
    ) {
        let (machine, _, _) = call(seed);
        let (before, after) = (diagnoser(&machine), diagnoser(&with_idle_fault(&machine, rate)));
        let nothing_said = Evidence::default();
        let left_out = before.answer(&nothing_said).left_out + after.answer(&nothing_said).left_out;
        let (before, after) = (before.marginals(&nothing_said), after.marginals(&nothing_said));
        for (key, value) in &before.deviations {
            let gap = (value - after.deviations[key]).abs();
            prop_assert!(gap <= left_out + 1e-12, "{key} {value} to {}, left out {left_out}", after.deviations[key]);
        }
    }

    /// With evidence its part is exact: beside nothing and beside each other cause that was alone, at its
    /// own odds and with the same likelihood, so that all weights relative to "nothing wrong" can be foretold.
    #[test]
    fn a_deviation_that_never_acts_joins_the_others_at_its_own_odds(seed in any::<u64>(), rate in 0.1..200.0_f64) {
        let (machine, evidence, _) = call(seed);
        let (before, after) = (diagnoser(&machine), diagnoser(&with_idle_fault(&machine, rate)));
        let odds = (rate / 1e6 * machine.hours_since_well).exp_m1();
        let alone: f64 = before.answer(&evidence).causes.iter().map(|cause| cause.alone).sum();
        let (one, other) = (before.answer(&evidence), after.answer(&evidence));
        for cause in &one.causes {
            let keys = |cause: &diagnose::answer::Cause| {
                let mut keys: Vec<String> = cause.members.iter().map(|member| member.key.clone()).collect();
                keys.sort();
                keys
            };
            let Some(again) = other.causes.iter().find(|again| keys(again) == keys(cause)) else { continue };
            let foretold = (cause.probability + odds * cause.alone) / one.nothing_wrong;
            let found = again.probability / other.nothing_wrong;
            prop_assert!((foretold / found - 1.0).abs() < 1e-9, "{}: {foretold} {found}", cause.words);
        }
        let idle = after.marginals(&evidence).deviations["idle/never acts"] / other.nothing_wrong;
        let foretold = odds * (1.0 + alone / one.nothing_wrong);
        // Causes below one in a million are not listed, so their share is missing from `alone`.
        prop_assert!((foretold - idle).abs() <= odds * 1e-4 / one.nothing_wrong, "{foretold} {idle}");
    }

    /// The undisturbed run, reported in full and truly, speaks for nobody's fault: given the stage after which
    /// somebody calls, and that the cause is in the file (the report speaks against the unknown as well).
    #[test]
    fn the_nominal_run_fully_reported_is_not_found_faulty_beyond_its_prior(seed in any::<u64>()) {
        let (machine, _, _) = call(seed);
        let plant = Plant::new(&machine);
        let panel = Panel::new(&machine);
        let routine = machine.routines.ids().next().unwrap();
        let exploration = explore(&machine, &plant, routine, &Options { pairs: false, ..Options::default() });
        let diagnoser = diagnoser(&machine).with_doubt(Doubt { deed: 0.0, ..Doubt::default() });
        let stages = machine.routines[routine].actions.len();
        for stage in 0..=u16::try_from(stages).unwrap() {
            let Some(situation) = exploration.nominal_end(stage) else { continue };
            let truth = panel.truth(&plant, situation);
            let evidence = full_report(&machine, &panel, &truth, situation, &plant, stage);
            let bare = Evidence {
                moments: vec![Moment { deeds: evidence.moments[0].deeds.clone(), ..Moment::default() }],
                ..Evidence::default()
            };
            let faulty = |it: &Marginals| 1.0 - it.nothing / (1.0 - it.unknown);
            let (prior, found) = (faulty(&diagnoser.marginals(&bare)), faulty(&diagnoser.marginals(&evidence)));
            prop_assert!(found <= prior + 1e-12, "stage {stage}: {found} after {prior}");
        }
    }
}

/// Every report about the lamps of a small panel: 3ⁿ of them.
fn sum_over_all_reports(panel: &Panel, places: &[LampPlace], naming: &[Naming], truth: &LampTruth) -> f64 {
    let states = [LampState::Lit, LampState::Dark, LampState::Flickers];
    let count = 3_usize.pow(u32::try_from(places.len()).unwrap());
    (0..count)
        .map(|number| {
            let reports: Vec<LampReport> = places
                .iter()
                .zip(naming)
                .enumerate()
                .map(|(at, (place, naming))| LampReport {
                    place: *place,
                    state: states[number / 3_usize.pow(u32::try_from(at).unwrap()) % 3],
                    naming: *naming,
                })
                .collect();
            LampLikelihood::new(panel, &reports, &Misreading::default()).of(truth)
        })
        .sum()
}

#[test]
fn lamps_that_change_are_weighed_as_if_they_had_been_so_from_the_start() {
    let mut tried = 0;
    for seed in 0..20 {
        let (machine, _, mut dice) = call(seed);
        let (plant, panel) = (Plant::new(&machine), Panel::new(&machine));
        let routine = machine.routines.ids().next().unwrap();
        let exploration = explore(&machine, &plant, routine, &Options { pairs: false, ..Options::default() });
        let rows = machine.lamp_rows.iter().enumerate();
        let places = rows.flat_map(|(row, lamps)| (0..lamps.lamps.len()).map(move |column| LampPlace { row, column }));
        // One is told otherwise or nothing of it. Where many are lit, a slip is likelier than the report as it stands.
        let other = dice.below(panel.len());
        let reports: Vec<LampReport> = places
            .enumerate()
            .filter(|(lamp, _)| *lamp != other || seed % 2 == 0)
            .map(|(lamp, place)| {
                let state = if lamp == other { LampState::Lit } else { LampState::Dark };
                LampReport { place, state, naming: if dice.percent(50) { Naming::Named } else { Naming::Rest } }
            })
            .collect();
        let likelihood = LampLikelihood::new(&panel, &reports, &Misreading::default());
        for situation in exploration.situations.iter().take(5) {
            let mut lamps: Vec<usize> = (0..panel.len()).collect();
            let lit: Vec<LampChange> =
                lamps.iter().filter(|_| dice.percent(80)).map(|lamp| LampChange::lit(*lamp, 1.0)).collect();
            let truth = panel.truth(&plant, situation).with(&lit);
            shuffle(&mut lamps, &mut dice);
            let mut changes: Vec<LampChange> =
                lamps.iter().map(|lamp| LampChange::lit(*lamp, [0.0, 0.4, 1.0][dice.below(3)])).collect();
            let parts = likelihood.parts(&truth);
            let sum = parts.iter().sum();
            while !changes.is_empty() {
                let (one, other) = changes.split_at(dice.below(changes.len()));
                let exact = likelihood.of(&truth.with(&changes));
                let both = [likelihood.ratios(&truth, one), likelihood.ratios(&truth, other)];
                for found in [
                    likelihood.changed(&truth, &parts, sum, &changes),
                    LampLikelihood::changed_both(&parts, &both[0], &both[1]),
                ] {
                    assert!((found / exact - 1.0).abs() < 1e-11, "seed {seed}: {found} instead of {exact}");
                }
                changes.pop();
                tried += 1;
            }
        }
    }
    assert!(tried > 300, "{tried}");
}

#[test]
fn the_likelihood_of_lamp_reports_sums_to_one_over_all_reports() {
    let mut tried = 0;
    for seed in 0..6 {
        let (mut machine, _, mut dice) = call(seed);
        // Two rows of three lamps, so that every kind of slip is possible.
        for row in &mut machine.lamp_rows {
            row.lamps.truncate(3);
        }
        let (plant, panel) = (Plant::new(&machine), Panel::new(&machine));
        let routine = machine.routines.ids().next().unwrap();
        let exploration = explore(&machine, &plant, routine, &Options { pairs: false, ..Options::default() });
        let places: Vec<LampPlace> = machine
            .lamp_rows
            .iter()
            .enumerate()
            .flat_map(|(row, lamps)| (0..lamps.lamps.len()).map(move |column| LampPlace { row, column }))
            .collect();
        let naming: Vec<Naming> =
            places.iter().map(|_| if dice.percent(50) { Naming::Named } else { Naming::Rest }).collect();
        for situation in exploration.situations.iter().take(4) {
            let truth = panel.truth(&plant, situation);
            let all = sum_over_all_reports(&panel, &places, &naming, &truth);
            assert!((all - 1.0).abs() < 1e-12, "seed {seed}: {all}");
            // Also where some lamps were not looked at.
            let some: Vec<LampPlace> = places.iter().copied().filter(|_| dice.percent(60)).collect();
            let all = sum_over_all_reports(&panel, &some, &naming, &truth);
            assert!((all - 1.0).abs() < 1e-12, "seed {seed}, some lamps: {all}");
            tried += 1;
        }
    }
    assert!(tried > 10);
}
