use crate::support::{Folder, minute};
use records::accounts::{IDLE_HOURS, LONGEST_HOURS, NewPassword, Role};
use records::{ErrorKind, Store};
use rusqlite::Connection;

const GOOD: &str = "plum kettle ladder fog";

fn store_with(name: &str) -> Store {
    let mut store = Store::in_memory().unwrap();
    store.add_account(name, Role::Desk, &NewPassword::of(name, GOOD).unwrap(), minute(0)).unwrap();
    store
}

#[test]
fn an_account_is_added_changed_and_removed() {
    let mut store = store_with("Ada");
    let password = NewPassword::of("ada", GOOD).unwrap();
    let again = store.add_account(" ADA ", Role::Reader, &password, minute(1)).unwrap_err();
    assert_eq!(again.kind, ErrorKind::Exists);
    assert_eq!(store.add_account(" ", Role::Reader, &password, minute(1)).unwrap_err().kind, ErrorKind::Refused);
    store.change_account("ada", Some(Role::Editor), None, minute(5)).unwrap();
    let known = store.account_named("aDa").unwrap();
    assert_eq!((known.name.as_str(), known.role), ("Ada", Role::Editor));
    assert_eq!((known.added, known.changed, known.used), (minute(0), minute(5), None));
    assert_eq!(store.change_account("bob", None, None, minute(6)).unwrap_err().kind, ErrorKind::Unknown);
    assert_eq!(store.remove_account("bob").unwrap_err().kind, ErrorKind::Unknown);
    store.remove_account("ada").unwrap();
    assert!(store.accounts().unwrap().is_empty());
    assert!(store.check().unwrap().is_sound());
}

#[test]
fn roles_may_do_what_those_before_them_may() {
    for (at, role) in Role::ALL.into_iter().enumerate() {
        assert_eq!(Role::called(role.word()), Some(role));
        for (other, needed) in Role::ALL.into_iter().enumerate() {
            assert_eq!(role.may(needed), at >= other);
        }
    }
    assert_eq!(Role::called("admin"), None);
}

#[test]
fn weak_passwords_are_refused() {
    for typed in ["", "eleven char", &"x".repeat(300), "aaaaaaaaaaaaaaaa", "ada's own password", "with\ta control sign"]
    {
        let error = NewPassword::of("Ada", typed).unwrap_err();
        assert_eq!(error.kind, ErrorKind::Refused, "{typed}");
        assert!(!error.to_string().contains(typed) || typed.is_empty(), "what was typed is not said again: {error}");
    }
    // Letters are counted, not bytes.
    NewPassword::of("Ada", "zwölf Fässer").unwrap();
}

#[test]
fn only_the_right_password_opens_and_the_token_tells_who_it_is() {
    let mut store = store_with("Ada");
    for (name, typed) in [("Ada", "plum kettle ladder"), ("Ada", ""), ("Bob", GOOD), ("", GOOD)] {
        assert!(store.lock_of(name).unwrap().open(typed).is_none(), "{name} {typed}");
    }
    let opened = store.lock_of(" ada").unwrap().open(GOOD).expect("the right one");
    let (one, other) = (store.sign_in(&opened, minute(1)).unwrap(), store.sign_in(&opened, minute(1)).unwrap());
    assert!(one != other && one.letters().len() == 64);
    let who = store.signed_in(one.letters(), minute(2)).unwrap().expect("signed in");
    assert_eq!((who.name.as_str(), who.role), ("Ada", Role::Desk));
    assert_ne!(who.form_token, store.signed_in(other.letters(), minute(2)).unwrap().unwrap().form_token);
    assert_eq!(store.signed_in("", minute(2)).unwrap(), None);
    assert_eq!(store.signed_in(&who.form_token, minute(2)).unwrap(), None);
    // What the role is now counts, not what it was.
    store.change_account("ada", Some(Role::Reader), None, minute(3)).unwrap();
    assert_eq!(store.signed_in(one.letters(), minute(4)).unwrap().unwrap().role, Role::Reader);
    store.sign_out(one.letters()).unwrap();
    assert_eq!(store.signed_in(one.letters(), minute(5)).unwrap(), None);
    assert!(store.signed_in(other.letters(), minute(5)).unwrap().is_some());
}

#[test]
fn a_sign_in_runs_out_by_not_being_used_and_in_any_case() {
    let mut store = store_with("Ada");
    let opened = store.lock_of("ada").unwrap().open(GOOD).unwrap();
    let token = store.sign_in(&opened, minute(0)).unwrap();
    let idle = IDLE_HOURS * 60;
    // Used every hour and a half it lives on, up to the longest time.
    let mut now = 0;
    while now + 90 <= LONGEST_HOURS * 60 {
        now += 90;
        assert!(store.signed_in(token.letters(), minute(now)).unwrap().is_some(), "{now}");
    }
    assert!(store.signed_in(token.letters(), minute(LONGEST_HOURS * 60 + 1)).unwrap().is_none());
    let token = store.sign_in(&opened, minute(0)).unwrap();
    assert!(store.signed_in(token.letters(), minute(idle + 1)).unwrap().is_none());
    // What has run out is forgotten with the next sign-in.
    store.sign_in(&opened, minute(LONGEST_HOURS * 60 + 2)).unwrap();
    assert_eq!(store.account_named("ada").unwrap().sign_ins, 1);
}

#[test]
fn a_new_password_or_a_removed_account_ends_what_was_signed_in() {
    let mut store = store_with("Ada");
    let opened = store.lock_of("ada").unwrap().open(GOOD).unwrap();
    let token = store.sign_in(&opened, minute(0)).unwrap();
    let new = NewPassword::of("ada", "other words than before").unwrap();
    store.change_account("ada", None, Some(&new), minute(1)).unwrap();
    assert!(store.signed_in(token.letters(), minute(1)).unwrap().is_none());
    // What was opened with the old password gives no sign-in any more.
    assert_eq!(store.sign_in(&opened, minute(1)).unwrap_err().kind, ErrorKind::Refused);
    assert!(store.lock_of("ada").unwrap().open(GOOD).is_none());
    let opened = store.lock_of("ada").unwrap().open("other words than before").unwrap();
    let token = store.sign_in(&opened, minute(2)).unwrap();
    store.remove_account("ada").unwrap();
    assert!(store.signed_in(token.letters(), minute(2)).unwrap().is_none());
    assert!(store.sign_in(&opened, minute(2)).is_err());
}

#[test]
fn neither_password_nor_token_stands_in_the_file() {
    let folder = Folder::new("secrets");
    let path = folder.file("records.db");
    let mut store = Store::open(&path).unwrap();
    store.add_account("Ada", Role::Desk, &NewPassword::of("Ada", GOOD).unwrap(), minute(0)).unwrap();
    let opened = store.lock_of("ada").unwrap().open(GOOD).unwrap();
    let token = store.sign_in(&opened, minute(0)).unwrap();
    drop(store);
    let bytes = std::fs::read(&path).unwrap();
    let holds = |text: &str| bytes.windows(text.len()).any(|part| part == text.as_bytes());
    assert!(holds("$argon2id$v=19$m=19456,t=2,p=1$"));
    assert!(!holds(GOOD) && !holds(token.letters()));
    let raw: Vec<u8> =
        (0..32).map(|at| u8::from_str_radix(&token.letters()[2 * at..2 * at + 2], 16).unwrap()).collect();
    assert!(!bytes.windows(32).any(|part| part == raw));
    // Two accounts with the same password have nothing in common there.
    let mut store = Store::open(&path).unwrap();
    store.add_account("Bob", Role::Desk, &NewPassword::of("Bob", GOOD).unwrap(), minute(0)).unwrap();
    let database = Connection::open(&path).unwrap();
    let different: i64 =
        database.query_row("SELECT count(DISTINCT password) FROM account", [], |row| row.get(0)).unwrap();
    assert_eq!(different, 2);
}

#[test]
fn records_from_before_there_were_accounts_are_brought_up_to_date() {
    let folder = Folder::new("older");
    let path = folder.file("records.db");
    drop(Store::open(&path).unwrap());
    let database = Connection::open(&path).unwrap();
    let triggers: Vec<String> = database
        .prepare("SELECT name FROM sqlite_schema WHERE type = 'trigger'")
        .unwrap()
        .query_map([], |row| row.get(0))
        .unwrap()
        .collect::<Result<_, _>>()
        .unwrap();
    for trigger in triggers {
        database.execute_batch(&format!("DROP TRIGGER {trigger}")).unwrap();
    }
    let newer = "ALTER TABLE call_event DROP COLUMN author; DROP TABLE written; DROP TABLE sign_in; DROP TABLE account; PRAGMA user_version = 1";
    database.execute_batch(newer).unwrap();
    drop(database);
    let store = Store::open(&path).unwrap();
    assert!(store.accounts().unwrap().is_empty() && store.check().unwrap().is_sound());
}
