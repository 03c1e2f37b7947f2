use crate::support::{CAPPER, add_capper, minute, new_machine};
use diagnose::call::{Entry, Kind, Record};
use machine::Choice;
use proptest::prelude::*;
use records::{
    CallId, Change, ChangeError, ErrorKind, Finding, NewCall, NewVersion, PartUsed, Solved, State, Stated, Store, What,
};

fn begun() -> (Store, CallId) {
    let mut store = Store::in_memory().unwrap();
    let added = add_capper(&mut store);
    let new = NewCall::Of { machine_type: added.machine_type, choice: Choice::default() };
    let call = store.begin_call(&new, minute(0)).unwrap();
    (store, call)
}

fn entry(kind: Kind, text: &str) -> Entry {
    Entry::new(kind, text)
}

#[test]
fn two_windows_on_the_same_call_see_each_other() {
    let (mut store, call) = begun();
    let first = store.change(call, 0, &Change::Add(vec![entry(Kind::Lamps, "I1 on")]), minute(1)).unwrap();
    assert_eq!(first, 1);
    // The second window has not seen that.
    let late = Change::Add(vec![entry(Kind::Lamps, "I1 off")]);
    let Err(ChangeError::Conflict(conflict)) = store.change(call, 0, &late, minute(2)) else {
        panic!("the change was made");
    };
    assert_eq!((conflict.seen, conflict.now), (0, 1));
    assert_eq!(conflict.since.len(), 1);
    assert_eq!(conflict.since[0].entry, Some(entry(Kind::Lamps, "I1 on")));
    assert_eq!(conflict.since[0].at, minute(1));
    assert_eq!(store.call(call).unwrap().entries.len(), 1);
    assert_eq!(store.change(call, 1, &late, minute(3)).unwrap(), 2);
    assert_eq!(store.call(call).unwrap().row.changed, minute(3));
}

#[test]
fn a_call_stays_with_the_version_and_the_settings_it_was_begun_with() {
    let mut store = Store::in_memory().unwrap();
    let washer = include_str!("../../../../demos/parts-washer.toml");
    let add = |store: &mut Store, text: &str| {
        store.add_version(&NewVersion { name: "washer", text, ..NewVersion::default() }, minute(0)).unwrap()
    };
    let first = add(&mut store, washer);
    let mut machine = new_machine(first, "PW-1360");
    machine.settings = vec![("drip_time".to_owned(), "T#9s".to_owned())];
    machine.site = Some("Marigold Lane".to_owned());
    let id = store.add_machine(&machine, minute(0)).unwrap();
    let call = store.begin_call(&NewCall::On(id), minute(1)).unwrap();
    let newer = washer.replace("version = \"7\"", "version = \"8\"");
    let second = add(&mut store, &newer);
    assert!(second.fresh && second.version != first.version);
    machine.settings.clear();
    machine.site = Some("Elsewhere".to_owned());
    store.change_machine(id, &machine).unwrap();
    let kept = store.call(call).unwrap();
    assert_eq!(kept.row.version, first.version);
    assert_eq!(kept.row.site_name, "Marigold Lane");
    assert_eq!(kept.choice.serial, Some(1360));
    assert_eq!(kept.choice.settings, [("drip_time".to_owned(), "T#9s".to_owned())]);
    assert_eq!(store.version_text(kept.row.version).unwrap().text, washer);
    let later = store.begin_call(&NewCall::On(id), minute(2)).unwrap();
    assert_eq!(store.call(later).unwrap().row.version, second.version);
    // The kept file can be resolved for what was kept of the machine.
    let reading = store.version_text(kept.row.version).unwrap().reading();
    let resolved = reading.resolve(&kept.choice);
    assert_eq!(resolved.alternatives[0].machine.revision.as_deref(), Some("B"));
}

#[test]
fn what_is_said_once_takes_the_place_of_what_was_said_before_and_comes_back() {
    let (mut store, call) = begun();
    let said = [entry(Kind::Complaint, "won't start"), entry(Kind::Lamps, "I1 on")];
    store.change(call, 0, &Change::Add(said.to_vec()), minute(1)).unwrap();
    store.change(call, 1, &Change::Add(vec![entry(Kind::Complaint, "stops midway")]), minute(2)).unwrap();
    let now = store.call(call).unwrap();
    assert_eq!(now.row.complaint, "stops midway");
    assert_eq!(now.entries, [entry(Kind::Complaint, "stops midway"), said[1].clone()]);
    store.change(call, 2, &Change::Undo, minute(3)).unwrap();
    assert_eq!(store.call(call).unwrap().entries, said);
    // Both entries of one answer are taken back together.
    store.change(call, 3, &Change::Undo, minute(4)).unwrap();
    let now = store.call(call).unwrap();
    assert!(now.entries.is_empty() && !now.can_undo && now.row.complaint.is_empty());
    let Err(ChangeError::Error(error)) = store.change(call, 4, &Change::Undo, minute(5)) else {
        panic!("nothing was taken back");
    };
    assert_eq!(error.kind, ErrorKind::Refused);
    let what: Vec<What> = store.events(call).unwrap().iter().map(|event| event.what).collect();
    assert_eq!(what, [What::Add, What::Add, What::Add, What::Undo, What::Undo]);
}

#[test]
fn changes_that_cannot_be_made_change_nothing() {
    let (mut store, call) = begun();
    let refused = |store: &mut Store, change: Change| match store.change(call, 0, &change, minute(1)) {
        Err(ChangeError::Error(error)) => error.kind,
        other => panic!("{other:?}"),
    };
    assert_eq!(refused(&mut store, Change::Add(Vec::new())), ErrorKind::Refused);
    assert_eq!(refused(&mut store, Change::Remove { at: 0 }), ErrorKind::Refused);
    assert_eq!(refused(&mut store, Change::Replace { at: 5, entry: entry(Kind::Note, "x") }), ErrorKind::Refused);
    let long = entry(Kind::Note, &"x".repeat(5_000));
    assert_eq!(refused(&mut store, Change::Add(vec![long])), ErrorKind::Refused);
    let many = vec![entry(Kind::Note, "x"); 1_001];
    assert_eq!(refused(&mut store, Change::Add(many)), ErrorKind::Refused);
    assert_eq!(store.counter(call).unwrap(), 0);
    assert!(store.events(call).unwrap().is_empty());
    let nowhere = store.change(CallId(99), 0, &Change::Undo, minute(1));
    assert!(matches!(nowhere, Err(ChangeError::Error(error)) if error.kind == ErrorKind::Unknown));
    // An entry whose fields were filled by hand is cleaned, so that it stays one line.
    let odd = Entry { kind: Kind::Note, text: "a\nlamps: X1 on\0".to_owned() };
    store.change(call, 0, &Change::Add(vec![odd]), minute(1)).unwrap();
    assert_eq!(store.call(call).unwrap().entries[0].text, "a lamps: X1 on");
}

#[test]
fn a_finding_reads_back_and_a_closed_call_rests() {
    let (mut store, call) = begun();
    let finding = Finding {
        deviations: vec!["I8 sensor/dead".to_owned(), "F1/blown".to_owned()],
        words: "The sensor was dead,\nand had taken the fuse along.".to_owned(),
        remedies: vec!["I8 sensor/replace".to_owned()],
        sure: 0.9,
        confirmed_by: "R. Teasel".to_owned(),
        not_in_file: false,
        solved: Solved::Visit,
        minutes: Some(35.0),
        visits: 2,
        parts: vec![PartUsed { part: "cylinder switch".to_owned(), count: 2, price: Some(17.5) }],
        stated: vec![Stated { key: "I8 sensor/dead".to_owned(), probability: 0.62 }],
    };
    let counter = store.set_finding(call, 0, &finding, minute(30)).unwrap();
    assert_eq!(store.close_call(call, counter, minute(31)).unwrap(), 2);
    let kept = store.call(call).unwrap();
    assert_eq!(kept.finding, Some(finding.clone()));
    assert_eq!((kept.row.state, kept.row.closed), (State::Closed, Some(minute(31))));
    let more = Change::Add(vec![entry(Kind::Note, "late")]);
    assert!(matches!(store.change(call, 2, &more, minute(32)), Err(ChangeError::Error(_))));
    assert!(store.close_call(call, 2, minute(32)).is_err());
    let counter = store.reopen_call(call, 2, minute(33)).unwrap();
    assert!(store.reopen_call(call, counter, minute(33)).is_err());
    store.change(call, counter, &more, minute(34)).unwrap();
    let better = Finding { sure: 1.0, deviations: Vec::new(), not_in_file: true, parts: Vec::new(), ..finding };
    store.set_finding(call, 4, &better, minute(35)).unwrap();
    assert_eq!(store.call(call).unwrap().finding, Some(better.clone()));
    for wrong in [
        Finding { sure: 1.5, ..better.clone() },
        Finding { minutes: Some(f64::NAN), ..better.clone() },
        Finding { parts: vec![PartUsed { part: "fuse".to_owned(), count: 0, price: None }], ..better.clone() },
        Finding { stated: vec![Stated { key: "a".to_owned(), probability: -0.1 }], ..better.clone() },
    ] {
        assert!(store.set_finding(call, 5, &wrong, minute(36)).is_err());
    }
    assert_eq!(store.call(call).unwrap().finding, Some(better));
}

#[test]
fn a_call_as_a_text_is_what_the_dialogue_reads() {
    let (mut store, call) = begun();
    let said = vec![entry(Kind::Complaint, "won't start"), entry(Kind::Lamps, "I1-I4 on, rest off")];
    store.change(call, 0, &Change::Add(said.clone()), minute(1)).unwrap();
    let record = store.call_record(call).unwrap();
    let read = Record::of_text(&record.to_string()).unwrap();
    assert_eq!(read, record);
    assert_eq!(read.entries, said);
    assert_eq!(read.fingerprint, diagnose::call::fingerprint([CAPPER]));
}

/// A change drawn at random; places may be wrong.
fn any_change() -> impl Strategy<Value = Change> {
    let any_entry = || {
        let kind = prop::sample::select(Kind::ALL.to_vec());
        (kind, "[a-z]{1,4}").prop_map(|(kind, text)| Entry::new(kind, text))
    };
    prop_oneof![
        4 => prop::collection::vec(any_entry(), 1..4).prop_map(Change::Add),
        1 => (0_usize..8, any_entry()).prop_map(|(at, entry)| Change::Replace { at, entry }),
        1 => (0_usize..8).prop_map(|at| Change::Remove { at }),
        2 => Just(Change::Undo),
    ]
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(60))]

    /// The list after any changes is that of somebody who keeps a copy before each change.
    #[test]
    fn any_changes_come_to_what_a_stack_of_copies_comes_to(changes in prop::collection::vec(any_change(), 0..40)) {
        let (mut store, call) = begun();
        let (mut entries, mut copies, mut counter) = (Vec::<Entry>::new(), Vec::new(), 0);
        for change in changes {
            let mut next = entries.clone();
            let possible = match &change {
                Change::Add(new) => {
                    for entry in new {
                        match next.iter_mut().find(|known| entry.kind.is_single() && known.kind == entry.kind) {
                            Some(known) => *known = entry.clone(),
                            None => next.push(entry.clone()),
                        }
                    }
                    true
                }
                Change::Replace { at, entry } => next.get_mut(*at).map(|known| *known = entry.clone()).is_some(),
                Change::Remove { at } => *at < next.len() && { next.remove(*at); true },
                Change::Undo => match copies.pop() {
                    Some(before) => { next = before; true }
                    None => false,
                },
            };
            if possible {
                if change != Change::Undo {
                    copies.push(entries);
                }
                entries = next;
            }
            match store.change(call, counter, &change, minute(1)) {
                Ok(new) => { prop_assert!(possible); counter = new; }
                Err(_) => prop_assert!(!possible),
            }
            let now = store.call(call).unwrap();
            prop_assert_eq!(&now.entries, &entries);
            prop_assert_eq!(now.can_undo, !copies.is_empty());
            prop_assert_eq!(now.row.counter, counter);
        }
    }
}

#[test]
fn who_said_what_is_kept_with_it() {
    let mut store = Store::in_memory().unwrap();
    let added = add_capper(&mut store);
    let new = NewCall::Of { machine_type: added.machine_type, choice: Choice::default() };
    let call = store.begin_call(&new, minute(0)).unwrap();
    let note = |words: &str| Entry::new(Kind::Note, words);
    let counter = store.change(call, 0, &Change::Add(vec![note("loud")]), minute(1)).unwrap();
    store.set_author("ada").unwrap();
    let counter = store.change(call, counter, &Change::Add(vec![note("hot"), note("wet")]), minute(2)).unwrap();
    store.set_author("ben").unwrap();
    let right = Change::Replace { at: 1, entry: note("warm") };
    let counter = store.change(call, counter, &right, minute(3)).unwrap();
    assert_eq!(store.call(call).unwrap().authors, ["", "ben", "ada"]);
    // Taken back, it is as it was before.
    let counter = store.change(call, counter, &Change::Undo, minute(4)).unwrap();
    let counter = store.change(call, counter, &Change::Remove { at: 0 }, minute(5)).unwrap();
    let known = store.call(call).unwrap();
    assert_eq!((known.authors, known.closed_by.as_str()), (vec!["ada".to_owned(), "ada".to_owned()], ""));
    store.close_call(call, counter, minute(6)).unwrap();
    assert_eq!(store.call(call).unwrap().closed_by, "ben");
    assert!(store.set_author(&"x".repeat(300)).is_err());
}
