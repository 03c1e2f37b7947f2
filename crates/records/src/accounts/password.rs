//! Passwords: looked over, hashed, tried. What was typed is kept nowhere.

use crate::error::{Error, ErrorKind, Result};
use crate::id::AccountId;
use crate::store::Store;
use argon2::Argon2;
use argon2::password_hash::phc::PasswordHash;
use argon2::password_hash::{PasswordHasher as _, PasswordVerifier as _};
use rusqlite::OptionalExtension as _;

/// Letters of a password at least. There is nothing beside it by which somebody is known (longer than the 8 that NIST
/// SP 800-63B asks for; from memory).
pub const SHORTEST_PASSWORD: usize = 12;
/// Letters of a password at most, so that nobody keeps the program busy with it.
pub const LONGEST_PASSWORD: usize = 200;

/// What is tried where there is no such account: the same work, and nothing opens it.
const NOBODY: &str = "$argon2id$v=19$m=19456,t=2,p=1$bm9ib2R5IGlzIGhlcmU$AAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAA";

/// A password that may be kept: its hash.
#[derive(Clone)]
pub struct NewPassword {
    hash: String,
}

impl std::fmt::Debug for NewPassword {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("NewPassword")
    }
}

impl NewPassword {
    /// Takes a typed password for an account of this name. Its hash is Argon2id with 19 MiB, two passes and a salt from
    /// the system (the first choice of the OWASP Password Storage Cheat Sheet; from memory).
    ///
    /// # Errors
    /// When it is too short or too long, holds the name, is one letter over and over, or the system has no chance to
    /// give.
    pub fn of(name: &str, typed: &str) -> Result<Self> {
        let refused = |cause: String, hint: &str| Err(Error::refused("the password", cause, hint));
        let letters = typed.chars().count();
        if letters < SHORTEST_PASSWORD {
            let cause = format!("it is shorter than {SHORTEST_PASSWORD} letters");
            return refused(cause, "take four words that have nothing to do with each other");
        }
        if letters > LONGEST_PASSWORD {
            return refused(format!("it is longer than {LONGEST_PASSWORD} letters"), "take a shorter one");
        }
        if typed.chars().any(char::is_control) {
            return refused("it holds a character that can't be typed".to_owned(), "take letters, digits and signs");
        }
        let name = name.trim().to_lowercase();
        if name.chars().count() >= 3 && typed.to_lowercase().contains(&name) {
            return refused("it holds the account's name".to_owned(), "leave the name out");
        }
        let first = typed.chars().next();
        if typed.chars().all(|letter| Some(letter) == first) {
            return refused("it is one letter over and over".to_owned(), "take four words");
        }
        let hash = Argon2::default().hash_password(typed.as_bytes()).map_err(|error| {
            let hint = "look whether the system has memory left and gives random numbers";
            Error::new(ErrorKind::Internal, "the password", format!("it can't be hashed: {error}"), hint)
        })?;
        Ok(Self { hash: hash.to_string() })
    }

    pub(super) fn hash(&self) -> &str {
        &self.hash
    }
}

/// What a typed password is tried on: that of an account, or that of nobody.
pub struct Lock {
    account: Option<AccountId>,
    hash: String,
}

/// An account whose password was typed rightly.
pub struct Opened {
    pub(super) account: AccountId,
    pub(super) hash: String,
}

impl Lock {
    /// Tries a password. It takes the same time whether there is such an account or not.
    #[must_use]
    pub fn open(self, typed: &str) -> Option<Opened> {
        // No password is longer; trying one all the same would let anybody choose how long that takes.
        let typed: String = typed.chars().take(LONGEST_PASSWORD + 1).collect();
        let known = PasswordHash::new(&self.hash).ok()?;
        let fits = Argon2::default().verify_password(typed.as_bytes(), &known).is_ok();
        let account = self.account.filter(|_| fits)?;
        Some(Opened { account, hash: self.hash })
    }
}

impl Store {
    /// The lock of the account of this name; one that nothing opens if there is none.
    ///
    /// # Errors
    /// When the file can't be read.
    pub fn lock_of(&self, name: &str) -> Result<Lock> {
        let found = (self.connection.prepare_cached("SELECT id, password FROM account WHERE name = ?1")?)
            .query_row([name.trim()], |row| Ok(Lock { account: Some(row.get(0)?), hash: row.get(1)? }))
            .optional()?;
        Ok(found.unwrap_or_else(|| Lock { account: None, hash: NOBODY.to_owned() }))
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    #[test]
    fn nobody_takes_the_same_work_as_an_account() {
        let new = NewPassword::of("ada", "twelve letters").unwrap();
        let (new, nobody) = (PasswordHash::new(new.hash()).unwrap(), PasswordHash::new(NOBODY).unwrap());
        assert_eq!((new.algorithm, new.version), (nobody.algorithm, nobody.version));
        assert_eq!(new.params.to_string(), "m=19456,t=2,p=1");
        assert_eq!(new.params, nobody.params);
        let lengths = |hash: &PasswordHash| (hash.salt.unwrap().len(), hash.hash.unwrap().len());
        assert_eq!((lengths(&new).1, lengths(&nobody).1), (32, 32));
        let lock = || Lock { account: None, hash: NOBODY.to_owned() };
        assert!(lock().open("").is_none() && lock().open("twelve letters").is_none());
    }
}
