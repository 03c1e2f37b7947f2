//! `lampwise accounts`: who may use the pages from elsewhere.

use std::io::Write as _;
use std::process::Stdio;

use serde_json::Value;

use crate::json::valid;
use crate::records::place;
use crate::support::{Ran, command, finish, lampwise};

const GOOD: &str = "plum kettle ladder fog";

/// Runs the program with one line on its standard input.
pub fn typed(arguments: &[&str], line: &str) -> Ran {
    let mut command = command(arguments);
    command.stdin(Stdio::piped()).stdout(Stdio::piped()).stderr(Stdio::piped());
    let mut child = command.spawn().unwrap();
    // A command that needs no password may end before it is written.
    _ = writeln!(child.stdin.take().unwrap(), "{line}");
    finish(child.wait_with_output().unwrap())
}

fn document(arguments: &[&str], line: &str) -> Value {
    let arguments: Vec<&str> = ["accounts"].into_iter().chain(arguments.iter().copied()).chain(["--json"]).collect();
    valid("accounts", &typed(&arguments, line).good())
}

/// Records with an account.
pub fn with_account(name: &str) -> String {
    let path = place(name);
    lampwise(&["records", "init", &path]).good();
    typed(&["accounts", "add", &path, "Ada", "--role", "editor"], GOOD).good();
    path
}

#[test]
fn an_account_is_added_listed_changed_and_removed() {
    let path = place("accounts");
    lampwise(&["records", "init", &path]).good();
    let none = lampwise(&["accounts", "list", &path]).good();
    assert_eq!(none, format!("No accounts yet; add one: lampwise accounts add {path} NAME --role editor\n"));
    let added = document(&["add", &path, "Ada", "--role", "editor"], GOOD);
    assert_eq!((&added["account"]["name"], &added["account"]["role"]), (&"Ada".into(), &"editor".into()));
    let said = typed(&["accounts", "add", &path, "Benjamin", "--role", "desk"], GOOD).good();
    assert_eq!(said, "Benjamin is kept and has the role desk\n");
    let list = lampwise(&["accounts", "list", &path]).good();
    let lines: Vec<&str> = list.lines().map(|line| line.split("  since").next().unwrap()).collect();
    assert_eq!(lines, ["Ada       editor", "Benjamin  desk  "]);
    assert_eq!(document(&["change", &path, "ada", "--role", "reader"], "")["account"]["role"], "reader");
    document(&["change", &path, "ADA", "--password"], "anvil comet jug moss");
    let store = records::Store::open(path.as_ref()).unwrap();
    assert!(store.lock_of("ada").unwrap().open(GOOD).is_none());
    assert!(store.lock_of("ada").unwrap().open("anvil comet jug moss").is_some());
    assert_eq!(document(&["list", &path], "")["accounts"].as_array().unwrap().len(), 2);
    let removed = lampwise(&["accounts", "remove", &path, "Benjamin"]).good();
    assert_eq!(removed, "Benjamin is removed, and signed out everywhere\n");
    assert_eq!(document(&["list", &path], "")["accounts"].as_array().unwrap().len(), 1);
}

#[test]
fn what_can_not_be_kept_is_told_and_no_password_is_said_again() {
    let path = with_account("accounts-refused");
    for (arguments, line, why) in [
        (vec!["add", &path, "ada", "--role", "desk"], GOOD, "there already"),
        (vec!["add", &path, "Ben", "--role", "desk"], "secret1", "shorter than 12 letters"),
        (vec!["add", &path, "Ben", "--role", "desk"], "", "shorter than 12 letters"),
        (vec!["add", &path, "Benjamin", "--role", "desk"], "benjamin is here", "holds the account's name"),
        (vec!["add", &path, "Ben", "--role", "chief"], GOOD, "invalid value"),
        (vec!["add", &path, "Ben"], GOOD, "--role"),
        // A password is never an argument, where everybody on the computer could read it.
        (vec!["add", &path, "Ben", "--role", "desk", "--password", "secret1"], GOOD, "--password"),
        (vec!["change", &path, "Ben", "--role", "desk"], "", "there is no such thing"),
        (vec!["change", &path, "Ada"], "", "--role"),
        (vec!["change", &path, "Ada", "--password"], "secret1", "shorter than 12 letters"),
        (vec!["remove", &path, "Ben"], "", "there is no such thing"),
        (vec!["list", "no-such-file.db"], "", "no such file"),
    ] {
        let arguments: Vec<&str> = ["accounts"].into_iter().chain(arguments).collect();
        let said = typed(&arguments, line).bad(2);
        assert!(said.contains(why), "{arguments:?}: {said}");
        assert!(line.is_empty() || !said.contains(line) || arguments.contains(&line), "{arguments:?}: {said}");
    }
    assert_eq!(document(&["list", &path], "")["accounts"].as_array().unwrap().len(), 1);
}
