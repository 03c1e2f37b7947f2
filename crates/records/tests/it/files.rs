use crate::support::{Folder, add_capper, minute, new_machine};
use diagnose::call::{Entry, Kind};
use records::{Change, ErrorKind, MachineFilter, NewCall, Page, Store};
use rusqlite::Connection;

#[test]
fn what_was_kept_is_there_when_the_file_is_opened_again() {
    let folder = Folder::new("again");
    let path = folder.file("records.db");
    let machine = {
        let mut store = Store::open(&path).unwrap();
        let added = add_capper(&mut store);
        store.add_machine(&new_machine(added, "JC-17"), minute(1)).unwrap()
    };
    let store = Store::open_existing(&path).unwrap();
    assert_eq!(store.machine(machine).unwrap().serial, "JC-17");
    assert!(store.check().unwrap().is_sound());
}

#[test]
fn the_file_is_safe_against_power_loss_and_keeps_references() {
    let folder = Folder::new("pragmas");
    let path = folder.file("records.db");
    drop(Store::open(&path).unwrap());
    let database = Connection::open(&path).unwrap();
    let mode: String = database.pragma_query_value(None, "journal_mode", |row| row.get(0)).unwrap();
    assert_eq!(mode, "wal");
    let tables: Vec<(String, bool)> = database
        .prepare("SELECT name, strict FROM pragma_table_list WHERE type = 'table' AND schema = 'main' AND name <> 'sqlite_schema'")
        .unwrap()
        .query_map([], |row| Ok((row.get(0)?, row.get(1)?)))
        .unwrap()
        .collect::<Result<_, _>>()
        .unwrap();
    assert!(tables.len() > 15, "{tables:?}");
    for (name, strict) in tables {
        assert!(strict, "{name} is not strict");
    }
    // A row that refers to nothing is noticed by the look over.
    database.pragma_update(None, "foreign_keys", false).unwrap();
    database.execute("INSERT INTO machine_setting VALUES (99, 'fill_time', 'T#3s')", []).unwrap();
    let faults = Store::open(&path).unwrap().check().unwrap().faults;
    assert_eq!(faults, ["machine_setting refers to a row of machine that is not there"]);
}

#[test]
fn files_of_others_are_left_alone() {
    let folder = Folder::new("foreign");
    let path = folder.file("other.db");
    Connection::open(&path).unwrap().execute("CREATE TABLE mine (it)", []).unwrap();
    let error = Store::open(&path).unwrap_err();
    assert_eq!(error.kind, ErrorKind::NotRecords, "{error}");
    assert!(error.place.contains("other.db"));
    std::fs::write(
        folder.file("text.db"),
        "no database at all, but a text that is long enough to be looked at".repeat(40),
    )
    .unwrap();
    assert_eq!(Store::open(&folder.file("text.db")).unwrap_err().kind, ErrorKind::NotRecords);
    assert_eq!(Store::open(&folder.file("no/folder.db")).unwrap_err().kind, ErrorKind::Unreadable);
    assert_eq!(Store::open_existing(&folder.file("none.db")).unwrap_err().kind, ErrorKind::Unreadable);
    assert!(!folder.file("none.db").exists());
}

#[test]
fn a_file_of_a_newer_program_is_not_touched() {
    let folder = Folder::new("newer");
    let path = folder.file("records.db");
    drop(Store::open(&path).unwrap());
    Connection::open(&path).unwrap().pragma_update(None, "user_version", 999).unwrap();
    assert_eq!(Store::open(&path).unwrap_err().kind, ErrorKind::Newer);
}

#[test]
fn many_open_a_new_file_at_once_and_all_write() {
    let folder = Folder::new("many");
    let path = folder.file("records.db");
    std::thread::scope(|scope| {
        for thread in 0..8 {
            let path = &path;
            scope.spawn(move || {
                let mut store = Store::open(path).unwrap();
                let added = add_capper(&mut store);
                for number in 0..5 {
                    store.add_machine(&new_machine(added, &format!("T{thread}-{number}")), minute(0)).unwrap();
                }
            });
        }
    });
    let store = Store::open(&path).unwrap();
    assert_eq!(store.machine_types().unwrap().len(), 1);
    assert_eq!(store.machines(&MachineFilter::default(), &Page::first(100)).unwrap().rows.len(), 40);
    assert!(store.check().unwrap().is_sound());
}

#[test]
fn a_copy_is_whole_while_others_write() {
    let folder = Folder::new("copy");
    let path = folder.file("records.db");
    let mut store = Store::open(&path).unwrap();
    let added = add_capper(&mut store);
    let new = NewCall::Of { machine_type: added.machine_type, choice: machine::Choice::default() };
    let call = store.begin_call(&new, minute(0)).unwrap();
    let going = std::sync::atomic::AtomicBool::new(true);
    let (copied, before, after) = std::thread::scope(|scope| {
        let writer = scope.spawn(|| {
            let mut other = Store::open(&path).unwrap();
            let mut counter = 0;
            while going.load(std::sync::atomic::Ordering::Relaxed) && counter < 900 {
                let said = Change::Add(vec![Entry::new(Kind::Note, format!("word {counter}"))]);
                counter = other.change(call, counter, &said, minute(1)).unwrap();
            }
        });
        while store.counter(call).unwrap() < 20 {
            std::thread::yield_now();
        }
        let before = store.counter(call).unwrap();
        store.backup(&folder.file("copy.db")).unwrap();
        let after = store.counter(call).unwrap();
        going.store(false, std::sync::atomic::Ordering::Relaxed);
        writer.join().unwrap();
        let copy = Store::open(&folder.file("copy.db")).unwrap();
        assert!(copy.check().unwrap().is_sound());
        (copy.call(call).unwrap(), before, after)
    });
    assert_eq!(copied.entries.len() as u64, copied.row.counter);
    assert!((before..=after).contains(&copied.row.counter), "{before} {} {after}", copied.row.counter);
    let error = store.backup(&folder.file("copy.db")).unwrap_err();
    assert_eq!(error.kind, ErrorKind::Exists);
    assert_eq!(store.backup(&folder.file("no/copy.db")).unwrap_err().kind, ErrorKind::Unreadable);
}

#[test]
fn a_store_can_go_to_another_thread() {
    fn sent<T: Send>() {}
    sent::<Store>();
    sent::<records::Error>();
}
