use crate::support::minute;
use diagnose::call::{Entry, Kind};
use machine::Choice;
use machine::model::Chance;
use records::demo::{WORN_TYPE, Wanted, fill};
use records::rates::{Counted, Counts, KIN, Rates, TRUST, learn};
use records::{Change, Exposure, ExposureId, Finding, NewCall, Store, TypeId, Unit};

/// Counts of this fault on this machine type.
pub fn counted(fault: usize, kind: usize, found: f64, expected: f64) -> Counted {
    Counted {
        device_type: format!("device-{fault:03}"),
        mode: "dead".to_owned(),
        machine_type: TypeId(kind as i64),
        type_name: format!("type {kind}"),
        library: 2.0,
        device_hours: expected * 5e5,
        expected,
        found,
    }
}

/// A gamma variate with this shape and mean, by Marsaglia and Tsang (2000).
fn gamma(shape: f64, mean: f64, dice: &mut fastrand::Rng) -> f64 {
    if shape < 1.0 {
        let lift = dice.f64().powf(1.0 / shape);
        return gamma(shape + 1.0, mean * (shape + 1.0) / shape, dice) * lift;
    }
    let d = shape - 1.0 / 3.0;
    loop {
        // Box and Muller.
        let normal = (-2.0 * (1.0 - dice.f64()).ln()).sqrt() * (std::f64::consts::TAU * dice.f64()).cos();
        let v = (1.0 + normal / (9.0 * d).sqrt()).powi(3);
        if v > 0.0 && (1.0 - dice.f64()).ln() < 0.5 * normal * normal + d - d * v + d * v.ln() {
            return d * v * mean / shape;
        }
    }
}

fn poisson(mean: f64, dice: &mut fastrand::Rng) -> f64 {
    let (mut count, mut left) = (-1.0, mean);
    while left >= 0.0 {
        left += (1.0 - dice.f64()).ln();
        count += 1.0;
    }
    count
}

#[test]
fn nine_in_ten_intervals_hold_the_true_rate_over_a_thousand_fleets() {
    let mut dice = fastrand::Rng::with_seed(5);
    let (mut held, mut all, mut below) = (0, 0, 0);
    for _ in 0..1_000 {
        // Nature draws what the model says is not known: the shapes, each fault, each machine type.
        let (trust, kin) = (TRUST[dice.usize(0..4)], KIN[dice.usize(0..4)]);
        let (mut rows, mut truths) = (Vec::new(), Vec::new());
        for fault in 0..5 {
            let phi = gamma(trust, 1.0, &mut dice);
            for kind in 0..3 {
                let expected = 0.05 * 400_f64.powf(dice.f64());
                let truth = gamma(kin, phi, &mut dice);
                rows.push(counted(fault, kind, poisson(truth * expected, &mut dice), expected));
                truths.push(truth);
            }
        }
        let counts = Counts { rows, ..Counts::default() };
        for probability in Rates::probabilities_below(&counts, &truths) {
            all += 1;
            held += usize::from((0.05..=0.95).contains(&probability));
            below += usize::from(probability < 0.05);
        }
    }
    assert_eq!(all, 15_000);
    let share = f64::from(held as u32) / f64::from(all as u32);
    println!("{:.2} % of the intervals hold the truth, {:.2} % lie above it", share * 100.0, below as f64 / 150.0);
    // The figure to reach is 87 % to 93 %. Of 15,000 intervals the share is known to half a percent, so what is asked here
    // is narrower: with findings counted as 1.3 each it would be 88.8 %.
    assert!((0.89..=0.92).contains(&share), "{share}");
    assert!((0.04..=0.06).contains(&(below as f64 / 15_000.0)), "{below}");
}

#[test]
fn the_ends_of_an_interval_are_where_the_probability_says() {
    let rows =
        vec![counted(0, 0, 3.0, 1.5), counted(0, 1, 0.0, 4.0), counted(1, 0, 0.6, 0.01), counted(2, 1, 80.0, 9.0)];
    let counts = Counts { rows, ..Counts::default() };
    let rates = learn(&counts);
    let of = |fault: usize, kind: i64| {
        let learned = rates.faults.iter().find(|one| one.device_type == format!("device-{fault:03}")).unwrap();
        learned.types.iter().find(|one| one.machine_type == TypeId(kind)).unwrap().factor
    };
    let all = [of(0, 0), of(0, 1), of(1, 0), of(2, 1)];
    for (probability, end) in [(0.05, all.map(|one| one.low)), (0.95, all.map(|one| one.high))] {
        for found in Rates::probabilities_below(&counts, &end) {
            assert!((found - probability).abs() < 1e-9, "{found}");
        }
    }
    assert!(all.iter().all(|one| one.low < one.mean && one.mean < one.high));
    // Pooled: the type on which nothing was found is drawn up by its kin, but stays below it.
    assert!(of(0, 1).mean < of(0, 0).mean);
    // Much data speaks for itself: 80 in place of 9.
    assert!((of(2, 1).mean / (80.0 / 9.0) - 1.0).abs() < 0.15, "{:?}", of(2, 1));
    let weights: f64 = rates.shapes.iter().map(|one| one.weight).sum();
    assert!((weights - 1.0).abs() < 1e-12);
}

#[test]
fn with_nothing_found_the_library_holds() {
    assert!(learn(&Counts::default()).faults.is_empty());
    // Of hardly any hours nothing is learned: the mean of the factor stays 1.
    let rates = learn(&Counts { rows: vec![counted(0, 0, 0.0, 1e-9)], ..Counts::default() });
    assert!((rates.faults[0].types[0].factor.mean - 1.0).abs() < 1e-6, "{:?}", rates.faults[0]);
}

#[test]
fn the_history_gives_away_the_part_that_wears_faster() {
    let mut store = Store::in_memory().unwrap();
    fill(&mut store, &Wanted::default(), minute(0)).unwrap();
    let counts = store.count_faults(minute(0)).unwrap();
    assert_eq!(counts.left_out.machines_without_hours, 0);
    assert_eq!(counts.left_out.unknown, 0);
    assert!(counts.left_out.lapses > 20 && counts.left_out.again > 5, "{:?}", counts.left_out);
    let rates = learn(&counts);
    // The fault that came most oftener than expected is one of that part, clearly so on every machine type; and all of
    // its faults together came some five times as often.
    let first = &rates.faults[0];
    assert_eq!(first.device_type, WORN_TYPE);
    assert!(first.types.iter().all(|on| on.factor.low > 1.0), "{first:#?}");
    let worn = rates.faults.iter().filter(|one| one.device_type == WORN_TYPE);
    let (found, expected) = worn.fold((0.0, 0.0), |sum, one| (sum.0 + one.found, sum.1 + one.expected));
    assert!((2.5..8.0).contains(&(found / expected)), "{found} {expected}");
    // Applied, these rates rise in the machine file's place, and others hardly.
    let kind = store.machine_type_named("lidding-line").unwrap().unwrap();
    let before = store.version_text(kind.current).unwrap().reading().resolve(&Choice::default()).alternatives;
    let mut after = before.clone();
    let changed = rates.apply(kind.id, &mut after);
    assert!(changed > 300, "{changed}");
    let rate = |machine: &machine::Machine, type_key: &str| -> f64 {
        let devices = machine.devices.rows().filter(|device| device.type_key == type_key);
        let rates = devices.flat_map(|device| &device.modes).map(|mode| machine.deviations[*mode].rate.chance);
        rates.map(|chance| if let Chance::PerMillionHours(rate) = chance { rate } else { 0.0 }).sum()
    };
    let times = |key: &str| rate(&after[0].machine, key) / rate(&before[0].machine, key);
    assert!(times(WORN_TYPE) > 2.0, "{}", times(WORN_TYPE));
    assert!((0.3..2.5).contains(&times("fuse")), "{}", times("fuse"));
    // A machine type that is not in the records takes what was learned on the others.
    let mut other = before.clone();
    assert_eq!(rates.apply(TypeId(99), &mut other), changed);
    assert!(rate(&other[0].machine, WORN_TYPE) > 1.5 * rate(&before[0].machine, WORN_TYPE));
    // Earlier, less was known.
    let earlier = store.count_faults("2025-01-01T00:00:00Z".parse().unwrap()).unwrap();
    let found = |counts: &Counts| counts.rows.iter().map(|row| row.found).sum::<f64>();
    assert!(found(&earlier) < found(&counts) && found(&earlier) > 0.0);
}

#[test]
fn what_rates_and_figures_come_from_is_counted_whoever_writes_it() {
    let folder = crate::support::Folder::new("written");
    let path = folder.file("records.db");
    let store = Store::open(&path).unwrap();
    let mut other = Store::open(&path).unwrap();
    let mut last = store.written().unwrap();
    let mut changed = |what: &str, learned: bool, figures: bool| {
        let now = store.written().unwrap();
        assert_eq!((now.learned != last.learned, now.figures != last.figures), (learned, figures), "{what}");
        last = now;
    };
    let added = crate::support::add_capper(&mut other);
    changed("a machine type", true, true);
    let machine = other.add_machine(&crate::support::new_machine(added, "1"), minute(0)).unwrap();
    changed("a machine", true, true);
    let hours =
        Exposure { id: ExposureId(0), machine, since: minute(0), until: minute(60), amount: 1.0, unit: Unit::Hours };
    other.add_exposure(&hours).unwrap();
    changed("hours", true, true);
    let call = other.begin_call(&NewCall::On(machine), minute(1)).unwrap();
    changed("a call", false, true);
    let said = Change::Add(vec![Entry::new(Kind::Note, "loud")]);
    let counter = other.change(call, 0, &said, minute(2)).unwrap();
    changed("what is said in it", false, false);
    let finding = Finding { deviations: vec!["I8/dead".to_owned()], sure: 1.0, ..Finding::default() };
    let counter = other.set_finding(call, counter, &finding, minute(3)).unwrap();
    changed("a finding", true, true);
    let counter = other.close_call(call, counter, minute(4)).unwrap();
    changed("its end", false, true);
    other.reopen_call(call, counter, minute(5)).unwrap();
    changed("that it goes on", false, true);
    changed("nothing", false, false);
}
