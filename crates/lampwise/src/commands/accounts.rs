//! `lampwise accounts`: who may use the pages from elsewhere.

use std::fmt::Write as _;
use std::io::{self, BufRead as _, IsTerminal as _, Read as _};

use jiff::Timestamp;
use records::accounts::{Account, LONGEST_PASSWORD, NewPassword, Role};
use records::{Error, Store};
use serde_json::{Value, json};

use crate::arguments::accounts::{Accounts, Add, Change, Command, List, Named};
use crate::failure::Failure;
use crate::input::recorded::{failure, open};
use crate::screen::{Screen, padded};

/// Bytes of a line that may be a password; a letter can take four.
const LONGEST_LINE: u64 = 4 * LONGEST_PASSWORD as u64 + 16;

/// Does what was asked for.
pub fn run(accounts: &Accounts, screen: &Screen) -> Result<(), Failure> {
    match &accounts.command {
        Command::Add(add) => self::add(add, screen),
        Command::List(list) => self::list(list, screen),
        Command::Change(change) => self::change(change, screen),
        Command::Remove(named) => remove(named, screen),
    }
}

fn wrong(error: Error) -> Failure {
    failure(&error)
}

/// A password from the terminal, twice and not shown, or one line of the standard input.
fn password(name: &str) -> Result<NewPassword, Failure> {
    let unreadable = |error: io::Error| {
        let hint = "type it at a terminal, or give it as one line of the standard input";
        Failure::new("password", format!("the password can't be read: {error}"), hint)
    };
    let typed = if io::stdin().is_terminal() {
        let typed = rpassword::prompt_password(format!("Password for {name}: ")).map_err(unreadable)?;
        let again = rpassword::prompt_password("Once more: ").map_err(unreadable)?;
        if typed != again {
            let hint = "start the command once more; nothing was changed";
            return Err(Failure::new("password", "the password was not the same both times", hint));
        }
        typed
    } else {
        let mut line = String::new();
        io::stdin().lock().take(LONGEST_LINE).read_line(&mut line).map_err(unreadable)?;
        line.trim_end_matches(['\r', '\n']).to_owned()
    };
    NewPassword::of(name, &typed).map_err(wrong)
}

fn as_json(one: &Account) -> Value {
    json!({
        "name": one.name, "role": one.role.word(), "added": one.added, "changed": one.changed, "used": one.used,
    })
}

/// Says what was done to an account.
fn done(store: &Store, what: &str, name: &str, screen: &Screen) -> Result<(), Failure> {
    let account = store.account_named(name).map_err(wrong)?;
    if screen.json {
        return screen
            .print_json(&json!({ "schema": format!("lampwise.accounts.{what}/1"), "account": as_json(&account) }));
    }
    screen.print(&format!("{} is kept and has the role {}\n", account.name, account.role.word()))
}

fn add(add: &Add, screen: &Screen) -> Result<(), Failure> {
    let mut store = open(&add.named.records)?;
    let name = &add.named.name;
    // Nobody is to think up a password for an account that is there already.
    if let Some(known) = store.accounts().map_err(wrong)?.iter().find(|one| one.name.eq_ignore_ascii_case(name.trim()))
    {
        let hint = "choose another name, or change that account: `lampwise accounts change`";
        return Err(Failure::new("exists", format!("the account `{}` is there already", known.name), hint));
    }
    let password = password(name)?;
    store.add_account(name, add.role.into(), &password, Timestamp::now()).map_err(wrong)?;
    done(&store, "add", name, screen)
}

fn list(list: &List, screen: &Screen) -> Result<(), Failure> {
    let accounts = open(&list.records)?.accounts().map_err(wrong)?;
    if screen.json {
        let accounts: Vec<Value> = accounts.iter().map(as_json).collect();
        return screen.print_json(&json!({ "schema": "lampwise.accounts.list/1", "accounts": accounts }));
    }
    if accounts.is_empty() {
        let path = list.records.display();
        return screen.print(&format!("No accounts yet; add one: lampwise accounts add {path} NAME --role editor\n"));
    }
    let day = |time: Timestamp| time.strftime("%Y-%m-%d").to_string();
    let widest = accounts.iter().map(|one| one.name.chars().count()).max().unwrap_or(0).min(40);
    let mut out = String::new();
    for one in &accounts {
        let role = padded(one.role.word(), 6);
        _ = write!(out, "{}  {role}  since {}", padded(&one.name, widest), day(one.added));
        if one.changed > one.added {
            _ = write!(out, ", changed {}", day(one.changed));
        }
        if let Some(used) = one.used {
            _ = write!(out, ", seen {}", used.strftime("%Y-%m-%d %H:%M UTC"));
        }
        out.push('\n');
    }
    screen.print(&out)
}

fn change(change: &Change, screen: &Screen) -> Result<(), Failure> {
    let mut store = open(&change.named.records)?;
    // Who is not there needs no password.
    let known = store.account_named(&change.named.name).map_err(wrong)?;
    let password = if change.password { Some(password(&known.name)?) } else { None };
    let role: Option<Role> = change.role.map(Into::into);
    store.change_account(&known.name, role, password.as_ref(), Timestamp::now()).map_err(wrong)?;
    done(&store, "change", &known.name, screen)
}

fn remove(named: &Named, screen: &Screen) -> Result<(), Failure> {
    let mut store = open(&named.records)?;
    let known = store.account_named(&named.name).map_err(wrong)?;
    store.remove_account(&known.name).map_err(wrong)?;
    if screen.json {
        return screen.print_json(&json!({ "schema": "lampwise.accounts.remove/1", "account": as_json(&known) }));
    }
    screen.print(&format!("{} is removed, and signed out everywhere\n", known.name))
}
