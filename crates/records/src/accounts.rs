//! Accounts: who may use the pages from elsewhere, and what each may do there.
//!
//! 1. [`NewPassword::of`] takes what was typed, looks it over and keeps only its hash.
//! 2. [`Store::add_account`] keeps an account with it.
//! 3. [`Store::lock_of`] gives what a typed password is tried on, [`Store::sign_in`] a token for the browser,
//!    [`Store::signed_in`] whoever holds such a token.
//!
//! Hashing takes time and memory on purpose. It needs no store, so that nobody who works has to wait for it.

mod password;
mod sign_in;

use crate::error::{Error, ErrorKind, Result};
use crate::id::AccountId;
use crate::store::Store;
use crate::text;
use jiff::Timestamp;
use rusqlite::{Connection, OptionalExtension as _, Row, params};
use serde::{Deserialize, Serialize};

pub use password::{LONGEST_PASSWORD, Lock, NewPassword, Opened, SHORTEST_PASSWORD};
pub use sign_in::{IDLE_HOURS, LONGEST_HOURS, SignedIn, Token};

/// What somebody may do. Each may do what those before it may.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Role {
    /// Reads everything.
    Reader,
    /// Works calls, procedures, practice, and the notes of machines.
    Desk,
    /// Changes machines, machine types, rates, takes lists in, sees the accounts.
    Editor,
}

impl Role {
    /// All of them, the one that may do least first.
    pub const ALL: [Self; 3] = [Self::Reader, Self::Desk, Self::Editor];

    /// The word for it.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Reader => "reader",
            Self::Desk => "desk",
            Self::Editor => "editor",
        }
    }

    /// The one of this word.
    #[must_use]
    pub fn called(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|one| one.word() == word)
    }

    /// Whether it may do what needs another.
    #[must_use]
    pub fn may(self, needed: Self) -> bool {
        self >= needed
    }
}

/// An account.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Account {
    /// Its number.
    pub id: AccountId,
    /// The name; large and small letters are the same.
    pub name: String,
    /// What it may do.
    pub role: Role,
    /// Since when it is there.
    pub added: Timestamp,
    /// When its role or password was changed last.
    pub changed: Timestamp,
    /// When somebody who is signed in used it last; none if nobody is.
    pub used: Option<Timestamp>,
    /// Sign-ins that are kept, also those that have run out.
    pub sign_ins: u32,
}

const ACCOUNT: &str = "SELECT a.id, a.name, a.role, a.added, a.changed, max(s.used), count(s.token)
    FROM account a LEFT JOIN sign_in s ON s.account = a.id";

fn account_of(row: &Row<'_>) -> rusqlite::Result<Account> {
    let role: String = row.get(2)?;
    Ok(Account {
        id: row.get(0)?,
        name: row.get(1)?,
        // Only words of roles can stand there; were it another, it may do least.
        role: Role::called(&role).unwrap_or(Role::Reader),
        added: text::of_database(row.get(3)?),
        changed: text::of_database(row.get(4)?),
        used: row.get::<_, Option<i64>>(5)?.map(text::of_database),
        sign_ins: row.get(6)?,
    })
}

fn unknown(name: &str) -> Error {
    Error::unknown(format!("the account `{name}`"), "`lampwise accounts list` shows those that are there")
}

fn find(database: &Connection, name: &str) -> Result<Option<Account>> {
    let mut statement = database.prepare_cached(&format!("{ACCOUNT} WHERE a.name = ?1 GROUP BY a.id"))?;
    Ok(statement.query_row([name.trim()], account_of).optional()?)
}

impl Store {
    /// All accounts, by name.
    ///
    /// # Errors
    /// When the file can't be read.
    pub fn accounts(&self) -> Result<Vec<Account>> {
        let mut statement =
            self.connection.prepare_cached(&format!("{ACCOUNT} GROUP BY a.id ORDER BY a.name, a.id"))?;
        let rows = statement.query_map([], account_of)?;
        Ok(rows.collect::<rusqlite::Result<_>>()?)
    }

    /// The account of this name.
    ///
    /// # Errors
    /// When there is none, or the file can't be read.
    pub fn account_named(&self, name: &str) -> Result<Account> {
        find(&self.connection, name)?.ok_or_else(|| unknown(name))
    }

    /// Keeps a new account.
    ///
    /// # Errors
    /// When there is one of this name, or the name can't be kept.
    pub fn add_account(&mut self, name: &str, role: Role, password: &NewPassword, at: Timestamp) -> Result<AccountId> {
        let name = text::name("the account's name", name)?;
        self.write(|database| {
            if find(database, &name)?.is_some() {
                let hint = "choose another name, or change that account: `lampwise accounts change`";
                let place = format!("the account `{name}`");
                return Err(Error::new(ErrorKind::Exists, place, "it is there already", hint));
            }
            let sql = "INSERT INTO account (name, role, password, added, changed) VALUES (?1, ?2, ?3, ?4, ?4)";
            let at = text::to_database(at);
            database.prepare_cached(sql)?.execute(params![name, role.word(), password.hash(), at])?;
            Ok(AccountId(database.last_insert_rowid()))
        })
    }

    /// Changes what an account may do, or its password. With a new password all that are signed in with it are signed
    /// out.
    ///
    /// # Errors
    /// When there is none of this name.
    pub fn change_account(
        &mut self,
        name: &str,
        role: Option<Role>,
        password: Option<&NewPassword>,
        at: Timestamp,
    ) -> Result<()> {
        self.write(|database| {
            let known = find(database, name)?.ok_or_else(|| unknown(name))?;
            let sql = "UPDATE account SET role = ?2, password = coalesce(?3, password), changed = ?4 WHERE id = ?1";
            let role = role.unwrap_or(known.role).word();
            let hash = password.map(NewPassword::hash);
            database.prepare_cached(sql)?.execute(params![known.id, role, hash, text::to_database(at)])?;
            if password.is_some() {
                database.prepare_cached("DELETE FROM sign_in WHERE account = ?1")?.execute([known.id])?;
            }
            Ok(())
        })
    }

    /// Removes an account; whoever is signed in with it is signed out.
    ///
    /// # Errors
    /// When there is none of this name.
    pub fn remove_account(&mut self, name: &str) -> Result<()> {
        self.write(|database| {
            let known = find(database, name)?.ok_or_else(|| unknown(name))?;
            database.prepare_cached("DELETE FROM account WHERE id = ?1")?.execute([known.id])?;
            Ok(())
        })
    }
}
