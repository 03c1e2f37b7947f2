use crate::support::minute;
use diagnose::call::{Kind, Session};
use diagnose::next::Terms;
use diagnose::reading::{read_checks, read_complained, read_deeds, read_lamps, read_remedies};
use machine::id::{Id, RoutineId};
use records::demo::{BUSY_SITES, WORN_TYPE, Wanted, fill};
use records::{Call, CallFilter, ErrorKind, MachineFilter, Page, Solved, State, Store};
use std::collections::{BTreeMap, BTreeSet};
use std::sync::LazyLock;

/// The history as the program writes it.
struct History {
    calls: Vec<Call>,
    /// Machines as their files have them, by number in the records.
    machines: BTreeMap<i64, machine::Machine>,
    /// Sites of all machines, by number in the records.
    sites: BTreeMap<i64, String>,
}

/// Written once for all tests.
static HISTORY: LazyLock<History> = LazyLock::new(|| {
    let store = written(&Wanted::default());
    let calls = all_calls(&store);
    let mut machines = BTreeMap::new();
    for call in &calls {
        machines.entry(call.row.machine.unwrap().0).or_insert_with(|| {
            let reading = store.version_text(call.row.version).unwrap().reading();
            reading.resolve(&call.choice).alternatives.into_iter().next().unwrap().machine
        });
    }
    let listed = store.machines(&MachineFilter::default(), &Page::first(1000)).unwrap().rows;
    let sites = listed.iter().map(|machine| (machine.id.0, machine.site_name.clone())).collect();
    History { calls, machines, sites }
});

fn written(wanted: &Wanted) -> Store {
    let mut store = Store::in_memory().unwrap();
    let written = fill(&mut store, wanted, minute(0)).unwrap();
    assert_eq!(written.calls, wanted.calls);
    store
}

fn all_calls(store: &Store) -> Vec<Call> {
    let rows = store.calls(&CallFilter::default(), &Page::first(1_000)).unwrap().rows;
    rows.into_iter().map(|row| store.call(row.id).unwrap()).collect()
}

#[test]
fn there_are_400_calls_over_two_years_on_some_sixty_machines() {
    let History { calls, sites, .. } = &*HISTORY;
    assert_eq!(calls.len(), 400);
    assert!((50..=75).contains(&sites.len()), "{}", sites.len());
    let days = calls[0].row.began.duration_since(calls[399].row.began).as_hours() / 24;
    assert!((690..=730).contains(&days), "{days}");
    assert!(calls.iter().all(|call| call.row.began < minute(0) && call.row.changed <= minute(0)));
    assert_eq!(calls.iter().filter(|call| call.row.state == State::Open).count(), 3);
    let types: BTreeSet<&str> = calls.iter().map(|call| call.row.type_name.as_str()).collect();
    assert_eq!(types.into_iter().collect::<Vec<_>>(), ["jar-capper", "jar-filler", "lidding-line", "parts-washer"]);
    let versions: BTreeSet<i64> = calls.iter().map(|call| call.row.version.0).collect();
    assert_eq!(versions.len(), 5, "the parts washer had two");
}

#[test]
fn the_same_seed_gives_the_same_history_and_another_another() {
    let again = all_calls(&written(&Wanted::default()));
    assert_eq!(again, HISTORY.calls);
    let other = all_calls(&written(&Wanted { seed: 2, ..Wanted::default() }));
    assert_ne!(other, again);
}

#[test]
fn every_entry_is_one_that_the_dialogue_understands() {
    let History { calls, machines, .. } = &*HISTORY;
    let mut kinds = BTreeSet::new();
    for call in calls {
        let machine = &machines[&call.row.machine.unwrap().0];
        for entry in &call.entries {
            kinds.insert(entry.kind);
            let text = &entry.text;
            let mistakes = match entry.kind {
                Kind::Complaint => read_complained(text).err(),
                Kind::Lamps => read_lamps(machine, text).err(),
                Kind::Did => read_deeds(machine, RoutineId::new(0), text).err(),
                Kind::Found => read_checks(machine, text).err(),
                Kind::Tried => read_remedies(machine, text).err(),
                Kind::Runs | Kind::Note => None,
                other => panic!("{other:?}"),
            };
            assert_eq!(mistakes, None, "{}: {entry}", call.row.type_name);
        }
    }
    assert_eq!(kinds.len(), 7, "{kinds:?}");
}

#[test]
fn a_call_of_each_type_can_be_led_on() {
    let History { calls, machines, .. } = &*HISTORY;
    for name in ["jar-capper", "jar-filler", "parts-washer"] {
        let call = calls.iter().find(|call| call.row.type_name == name && call.entries.len() >= 5).unwrap();
        let machine = machines[&call.row.machine.unwrap().0].clone();
        let alternative = machine::Alternative { weight: 1.0, choices: Vec::new(), machine };
        let session = Session::new(vec![alternative], None, Terms::default(), call.entries.clone());
        let session = session.unwrap_or_else(|mistakes| panic!("{name}: {mistakes:?}")).unwrap();
        assert_eq!(session.entries(), call.entries, "{name}");
    }
}

#[test]
fn findings_name_what_the_machine_file_knows_and_the_secrets_show() {
    let History { calls, machines, sites } = &*HISTORY;
    let (mut worn, mut not_in_file, mut visits) = (0, 0, 0);
    for call in calls.iter().filter(|call| call.row.state == State::Closed) {
        let finding = call.finding.as_ref().unwrap();
        let machine = &machines[&call.row.machine.unwrap().0];
        for key in &finding.deviations {
            let (id, _) = machine.deviations.find(|row| row.key == *key).unwrap();
            let device = machine.devices.rows().find(|device| device.modes.contains(&id));
            worn += usize::from(device.is_some_and(|device| device.type_key == WORN_TYPE));
        }
        not_in_file += usize::from(finding.not_in_file);
        visits += usize::from(finding.solved == Solved::Visit);
        assert!(finding.not_in_file || !finding.deviations.is_empty());
        let sum: f64 = finding.stated.iter().map(|stated| stated.probability).sum();
        assert!(!finding.stated.is_empty() && sum <= 1.0 + 1e-9, "{sum}");
    }
    assert!(worn > 30, "{worn}");
    assert!((5..60).contains(&not_in_file), "{not_in_file}");
    assert!((100..330).contains(&visits), "{visits}");
    let mut per_machine: BTreeMap<bool, (usize, usize)> = BTreeMap::new();
    for (machine, site) in sites {
        let count = calls.iter().filter(|call| call.row.machine.unwrap().0 == *machine).count();
        let sum = per_machine.entry(BUSY_SITES.contains(&site.as_str())).or_default();
        *sum = (sum.0 + 1, sum.1 + count);
    }
    let mean = |busy: bool| per_machine[&busy].1 as f64 / per_machine[&busy].0 as f64;
    assert!(mean(true) > 1.5 * mean(false), "{per_machine:?}");
}

#[test]
fn it_is_only_written_into_new_records() {
    let mut store = written(&Wanted { calls: 5, seed: 3 });
    assert_eq!(fill(&mut store, &Wanted::default(), minute(0)).unwrap_err().kind, ErrorKind::Exists);
    assert!(store.check().unwrap().is_sound());
}
