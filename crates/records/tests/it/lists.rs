use crate::support::{add_capper, minute, new_machine};
use diagnose::call::{Entry, Kind};
use machine::Choice;
use records::{
    About, CallFilter, Change, Finding, MachineFilter, NewCall, NewVersion, Page, State, Store, serial_number,
};
use std::collections::BTreeSet;

#[test]
fn pages_show_every_call_once_the_newest_first() {
    let mut store = Store::in_memory().unwrap();
    let added = add_capper(&mut store);
    let mut machine = new_machine(added, "1");
    machine.site = Some("North hall".to_owned());
    let machine = store.add_machine(&machine, minute(0)).unwrap();
    let site = store.machine(machine).unwrap().site;
    for number in 0..57 {
        let new = if number % 3 == 0 {
            NewCall::On(machine)
        } else {
            NewCall::Of { machine_type: added.machine_type, choice: Choice::default() }
        };
        // Several begin at the same moment.
        let call = store.begin_call(&new, minute(number / 5)).unwrap();
        if number % 2 == 0 {
            store.close_call(call, 0, minute(90)).unwrap();
        }
    }
    let all = CallFilter::default();
    let filters = [
        (all.clone(), 57),
        (CallFilter { state: Some(State::Open), ..all.clone() }, 28),
        (CallFilter { machine: Some(machine), ..all.clone() }, 19),
        (CallFilter { machine: Some(machine), state: Some(State::Closed), ..all.clone() }, 10),
        (CallFilter { site, ..all.clone() }, 19),
        (CallFilter { machine_type: Some(added.machine_type), ..all.clone() }, 57),
        (CallFilter { since: Some(minute(2)), until: Some(minute(4)), ..all }, 10),
    ];
    for (filter, count) in filters {
        let (mut seen, mut page) = (Vec::new(), Page::first(7));
        loop {
            let listed = store.calls(&filter, &page).unwrap();
            assert!(listed.rows.len() <= 7);
            seen.extend(listed.rows.iter().map(|row| (row.began, row.id)));
            match listed.next {
                Some(next) => page.after = Some(next),
                None => break,
            }
        }
        assert_eq!(seen.len(), count, "{filter:?}");
        assert_eq!(store.count_calls(&filter).unwrap(), count as u64);
        assert!(seen.is_sorted_by(|one, two| one > two));
    }
}

#[test]
fn pages_of_machines_go_by_serial_number() {
    let mut store = Store::in_memory().unwrap();
    let first = add_capper(&mut store);
    let second = store
        .add_version(&NewVersion { name: "other", text: crate::support::CAPPER, ..NewVersion::default() }, minute(0))
        .unwrap();
    for number in 0..30 {
        let added = if number % 2 == 0 { first } else { second };
        store.add_machine(&new_machine(added, &format!("m{:02}", number / 2)), minute(0)).unwrap();
    }
    for (filter, count) in [
        (MachineFilter::default(), 30),
        (MachineFilter { machine_type: Some(second.machine_type), ..MachineFilter::default() }, 15),
    ] {
        let (mut seen, mut page) = (Vec::new(), Page::first(4));
        loop {
            let listed = store.machines(&filter, &page).unwrap();
            seen.extend(listed.rows.iter().map(|row| (row.serial.clone(), row.id)));
            match listed.next {
                Some(next) => page.after = Some(next),
                None => break,
            }
        }
        assert_eq!(seen.len(), count);
        assert!(seen.is_sorted());
    }
}

#[test]
fn search_finds_everything_by_the_beginnings_of_words() {
    let mut store = Store::in_memory().unwrap();
    let added = add_capper(&mut store);
    let mut new = new_machine(added, "JC-17");
    new.site = Some("Märchenhof".to_owned());
    new.notes = "spare key with the porter".to_owned();
    let machine = store.add_machine(&new, minute(0)).unwrap();
    let call = store.begin_call(&NewCall::On(machine), minute(1)).unwrap();
    let said = vec![Entry::new(Kind::Complaint, "the chuck hums"), Entry::new(Kind::Lamps, "I1-I4 on")];
    store.change(call, 0, &Change::Add(said), minute(2)).unwrap();
    let finding = Finding { words: "worn clutch".to_owned(), sure: 1.0, ..Finding::default() };
    store.set_finding(call, 1, &finding, minute(3)).unwrap();
    let about = |store: &Store, typed: &str| -> BTreeSet<String> {
        store.search(typed, 50).unwrap().iter().map(|hit| format!("{:?}", hit.about)).collect()
    };
    let one = |about: About| BTreeSet::from([format!("{about:?}")]);
    assert_eq!(about(&store, "porter"), one(About::Machine(machine)));
    assert_eq!(about(&store, "HUM chu"), one(About::Call(call)));
    assert_eq!(about(&store, "clutch worn"), one(About::Finding(call)));
    assert_eq!(about(&store, "jar-capper").len(), 3, "type, machine and call");
    // A letter without its dots finds the one with them: site, machine and call.
    assert_eq!(about(&store, "marchen").len(), 3);
    assert!(about(&store, "porter clutch").is_empty());
    let hit = &store.search("porter", 1).unwrap()[0];
    let found: Vec<&str> = hit.around.iter().filter(|piece| piece.found).map(|piece| piece.text.as_str()).collect();
    assert_eq!(found, ["porter"]);
    let whole: String = hit.around.iter().map(|piece| piece.text.as_str()).collect();
    assert!(whole.contains("spare key with the porter"), "{whole}");
    // What was taken back is not found any more.
    store.change(call, 2, &Change::Undo, minute(4)).unwrap();
    assert!(about(&store, "hums").is_empty());
}

#[test]
fn no_typed_words_are_taken_as_a_query_language() {
    let mut store = Store::in_memory().unwrap();
    add_capper(&mut store);
    for typed in [
        "\"",
        "\"\"",
        "'",
        "*",
        "a*",
        "a AND",
        "AND OR NOT",
        "NEAR(",
        "NEAR(a b, 2)",
        "title:",
        "title: jar",
        "^jar",
        "-jar",
        "+",
        "(",
        ")",
        "{a b} : c",
        "jar\0capper",
        "\u{2}\u{3}",
        "%",
        ";",
        "DROP TABLE call",
        "a\"b",
        "ⅷ",
        "🦀",
        "\\",
        "title : \"jar\" OR 1",
        "x3.1",
        "I1-I4",
    ] {
        store.search(typed, 10).unwrap();
    }
    assert!(store.search(&"word ".repeat(100_000), 10).unwrap().is_empty());
    assert!(store.search(&"x".repeat(1_000_000), 10).unwrap().is_empty());
    assert_eq!(store.search("jar* -nonsense", 10).unwrap().len(), 0, "the minus is no operator");
    assert_eq!(store.search("(jar) \"capper\"", 10).unwrap().len(), 1);
    assert_eq!(store.search("jar", 0).unwrap().len(), 0);
}

#[test]
fn a_serial_number_tells_its_digits() {
    assert_eq!(serial_number("18446744073709551615"), None, "larger than the file can hold");
    assert_eq!(serial_number("9223372036854775807"), Some(i64::MAX as u64));
}
