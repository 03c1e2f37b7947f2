use crate::support::{add_capper, minute, new_machine};
use jiff::{SignedDuration, Timestamp};
use records::demo::{BUSY_SITES, Wanted, fill};
use records::figures::{Asked, Share, between_failures, more_than_kin, stock_for};
use records::{CallId, Exposure, ExposureId, Finding, MachineId, NewCall, PartUsed, Solved, Stated, Store, Unit};

fn day(days: i64) -> Timestamp {
    minute(days * 24 * 60)
}

/// A call on a machine that begins on this day and is closed an hour later.
fn call(store: &mut Store, machine: MachineId, begins: i64, finding: Finding) -> CallId {
    let call = store.begin_call(&NewCall::On(machine), day(begins)).unwrap();
    store.set_finding(call, 0, &finding, day(begins)).unwrap();
    store.close_call(call, 1, day(begins) + SignedDuration::from_hours(1)).unwrap();
    call
}

fn finding(deviation: &str, solved: Solved, visits: u32, minutes: f64) -> Finding {
    Finding {
        deviations: vec![deviation.to_owned()],
        sure: 1.0,
        solved,
        visits,
        minutes: Some(minutes),
        ..Finding::default()
    }
}

/// Two cappers, 400 h each within a hundred days, and six calls that can be counted by hand.
fn by_hand() -> Store {
    let mut store = Store::in_memory().unwrap();
    let added = add_capper(&mut store);
    let machines = ["1", "2"].map(|serial| store.add_machine(&new_machine(added, serial), day(0)).unwrap());
    for machine in machines {
        // A record over 200 days, of which the hundred asked for hold half.
        let (since, until) = (day(0), day(200));
        let exposure = Exposure { id: ExposureId(0), machine, since, until, amount: 800.0, unit: Unit::Hours };
        store.add_exposure(&exposure).unwrap();
    }
    let [one, two] = machines;
    let fuse = |count| vec![PartUsed { part: "fuse".to_owned(), count, price: Some(2.0) }];
    call(&mut store, one, 1, Finding { parts: fuse(3), ..finding("I8/dead", Solved::Visit, 1, 30.0) });
    call(&mut store, one, 11, finding("I8/dead", Solved::Visit, 2, 50.0));
    call(&mut store, two, 20, finding("lapse/guard shut", Solved::Phone, 0, 5.0));
    call(&mut store, two, 60, Finding { parts: fuse(1), ..finding("I9/dead", Solved::Phone, 0, 15.0) });
    let nowhere = Finding { not_in_file: true, solved: Solved::Unsolved, sure: 0.8, ..Finding::default() };
    call(&mut store, two, 95, nowhere);
    store.begin_call(&NewCall::On(one), day(99)).unwrap();
    // Outside of what is asked for.
    call(&mut store, two, 150, finding("I9/dead", Solved::Phone, 0, 1e4));
    store
}

#[test]
fn six_calls_counted_by_hand() {
    let store = by_hand();
    let figures = store.figures(&Asked { lead_days: 50.0, ..Asked::of(day(0), day(100)) }).unwrap();
    assert_eq!((figures.calls, figures.with_finding), (6, 5));
    let causes: Vec<(&str, u64, f64)> =
        figures.causes.iter().map(|one| (one.key.as_str(), one.calls, one.minutes)).collect();
    let expected = [("sensor/dead", 3, 95.0), ("lapse/guard shut", 1, 5.0), ("not-in-file", 1, 0.0)];
    assert_eq!(causes, expected);
    assert!((figures.causes[1].together - 0.8).abs() < 1e-12);
    // Minutes 5, 15, 30, 50: between 15 and 30, and 0.7 of the way from 30 to 50.
    assert_eq!(figures.repair.median_minutes, Some(22.5));
    assert!((figures.repair.ninetieth_minutes.unwrap() - 44.0).abs() < 1e-9);
    assert_eq!(figures.repair.median_hours, Some(1.0));
    assert_eq!((figures.first_visit.count, figures.first_visit.of), (1, 2));
    assert_eq!((figures.by_phone.count, figures.by_phone.of), (2, 5));
    // Closed 30 days before the end: those of days 1, 11, 20 and 60; after that of day 1 the next came on day 11.
    assert_eq!((figures.again.count, figures.again.of), (1, 4));
    let months: Vec<(&str, u64)> = figures.months.iter().map(|one| (one.month.as_str(), one.calls)).collect();
    assert_eq!(months, [("2026-03", 3), ("2026-04", 1), ("2026-06", 2)]);
    let fuse = &figures.parts[0];
    assert_eq!((fuse.part.as_str(), fuse.used, fuse.price), ("fuse", 4, Some(2.0)));
    assert!((fuse.until_there - 2.0).abs() < 1e-12 && (fuse.in_a_year - 4.0 * 3.6525).abs() < 1e-9);
    assert_eq!(fuse.stock, stock_for(0.95, 2.0, None));
    // Three whole periods of four weeks with 3, 0 and 1: mean 4/3, variance 7/3.
    let shape = (16.0 / 9.0) / (7.0 / 3.0 - 4.0 / 3.0) * 50.0 / 28.0;
    assert!((fuse.shape.unwrap() - shape).abs() < 1e-12);
    assert_eq!(fuse.stock_in_bursts, stock_for(0.95, 2.0, Some(shape)));
    // 800 h; the second I8/dead on the same machine is the same failure.
    let reliability = &figures.reliability[0];
    assert_eq!((reliability.failures, reliability.machines), (2, 2));
    assert!((reliability.hours - 800.0).abs() < 1e-9);
    let (low, high) = between_failures(800.0, 2, 0.9);
    assert_eq!((reliability.low, reliability.high), (Some(low), high));
    let calls: Vec<u64> = figures.machines.iter().map(|one| one.calls).collect();
    assert_eq!(calls, [3, 3]);
    assert!(figures.machines.iter().all(|one| !one.stands_out && (one.hours - 400.0).abs() < 1e-9));
    let elsewhere = Asked { site: Some(records::SiteId(5)), ..Asked::of(day(0), day(100)) };
    let nothing = store.figures(&elsewhere).unwrap();
    assert_eq!((nothing.calls, nothing.by_phone.share, nothing.repair.median_minutes), (0, None, None));
    assert!(nothing.causes.is_empty() && nothing.parts.is_empty() && nothing.machines.is_empty());
}

#[test]
fn a_question_that_is_none_is_refused() {
    let store = by_hand();
    for asked in [
        Asked::of(day(5), day(5)),
        Asked { service_level: 1.0, ..Asked::of(day(0), day(5)) },
        Asked { service_level: f64::NAN, ..Asked::of(day(0), day(5)) },
        Asked { lead_days: -1.0, ..Asked::of(day(0), day(5)) },
    ] {
        assert!(store.figures(&asked).is_err(), "{asked:?}");
    }
    let none = store.figures(&Asked { lead_days: 0.0, ..Asked::of(day(0), day(100)) }).unwrap();
    assert_eq!((none.parts[0].stock, none.parts[0].stock_in_bursts), (0, 0));
}

#[test]
fn bounds_of_the_hours_between_failures_are_those_of_the_handbook() {
    // NIST/SEMATECH e-Handbook of Statistical Methods, 8.4.5.1: factors on T/r for a two-sided 90 % interval (values
    // computed from the handbook's formula).
    for (failures, low, high) in
        [(1, 0.2108, 19.4957), (2, 0.3177, 5.6281), (3, 0.3869, 3.6689), (5, 0.4756, 2.5379), (10, 0.5895, 1.8432)]
    {
        let (lower, upper) = between_failures(failures as f64, failures, 0.9);
        assert!((lower - low).abs() < 5e-5 && (upper.unwrap() - high).abs() < 5e-5, "{failures}: {lower} {upper:?}");
    }
    // No failure: 0.4343·T, which is T/ln 10, is the one-sided 90 % bound, the lower end of a two-sided 80 % interval.
    assert!((between_failures(1.0, 0, 0.8).0 - 1.0 / std::f64::consts::LN_10).abs() < 1e-9);
    assert_eq!(between_failures(1.0, 0, 0.8).1, None);
}

#[test]
fn machines_alike_seldom_stand_out() {
    // 200 fleets of 40 like machines: with the adjustment, a fleet in which any stands out is rarer than one in twenty.
    let mut dice = fastrand::Rng::with_seed(7);
    let mut alarms = 0;
    for _ in 0..200 {
        let machines: Vec<(u64, u64, f64)> = (0..40)
            .map(|_| {
                let hours = 1_000.0 + 4_000.0 * dice.f64();
                let calls = (0..1_000).filter(|_| dice.f64() < hours / 1e6).count() as u64;
                (1, calls, hours)
            })
            .collect();
        alarms += usize::from(more_than_kin(&machines).iter().any(|one| one.adjusted <= 0.05));
    }
    assert!(alarms <= 17, "{alarms} of 200");
    assert!(more_than_kin(&[]).is_empty());
    assert_eq!(more_than_kin(&[(1, 0, 0.0)])[0].chance, 1.0);
}

#[test]
fn the_history_shows_its_secrets() {
    let mut store = Store::in_memory().unwrap();
    fill(&mut store, &Wanted::default(), day(0)).unwrap();
    let figures = store.figures(&Asked::of(day(-731), day(0))).unwrap();
    assert_eq!((figures.calls, figures.with_finding), (400, 397));
    assert_eq!(figures.months.iter().map(|month| month.calls).sum::<u64>(), 400);
    let standing_out: Vec<&str> =
        figures.machines.iter().filter(|one| one.stands_out).map(|one| one.site.as_str()).collect();
    assert!(standing_out.len() >= 2 && standing_out.iter().all(|site| BUSY_SITES.contains(site)), "{standing_out:?}");
    let causes: f64 = figures.causes.iter().map(|cause| cause.share).sum();
    assert!((causes - 1.0).abs() < 1e-9 && (figures.causes.last().unwrap().together - 1.0).abs() < 1e-9);
    assert!(figures.causes.is_sorted_by(|one, other| one.calls >= other.calls));
    // The history states a little too much.
    let first = figures.stated.first_was_it.share.unwrap();
    assert!((0.55..0.85).contains(&first), "{first}");
    assert!(figures.stated.square_error.unwrap() < 0.2);
    assert!(figures.reliability.len() == 4 && figures.parts.len() > 5);
    assert!(figures.by_phone.share.unwrap() > 0.2 && figures.first_visit.share.unwrap() > 0.5);
}

#[test]
fn stated_probabilities_are_counted_by_tenths() {
    let mut store = Store::in_memory().unwrap();
    let added = add_capper(&mut store);
    let machine = store.add_machine(&new_machine(added, "1"), day(0)).unwrap();
    let stated = |key: &str, probability| Stated { key: key.to_owned(), probability };
    for (begins, right, sure) in [(1, "a", 1.0), (2, "b", 1.0), (3, "b", 0.5)] {
        let stated = vec![stated("a", 0.7), stated("b", 0.3)];
        call(&mut store, machine, begins, Finding { sure, stated, ..finding(right, Solved::Phone, 0, 1.0) });
    }
    let held = store.figures(&Asked::of(day(0), day(9))).unwrap().stated;
    assert_eq!((held.calls, held.first_was_it), (2, Share::new(1, 2)));
    let counts: Vec<(u64, u64)> = held.tenths.iter().map(|tenth| (tenth.so.count, tenth.so.of)).collect();
    assert_eq!(counts, [(0, 0), (0, 0), (0, 0), (1, 2), (0, 0), (0, 0), (0, 0), (1, 2), (0, 0), (0, 0)]);
    // 2·0.09 of the first call, 2·0.49 of the second, over four statements.
    assert!((held.square_error.unwrap() - (2.0 * 0.09 + 2.0 * 0.49) / 4.0).abs() < 1e-12);
}
