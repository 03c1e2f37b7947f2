//! Sign-ins: a random token in the browser, its hash here. They run out, by not being used and in any case.

use super::{Opened, Role};
use crate::error::{Error, ErrorKind, Result};
use crate::id::AccountId;
use crate::store::Store;
use crate::text;
use blake2::{Blake2s256, Digest as _};
use jiff::{SignedDuration, Timestamp};
use rusqlite::{OptionalExtension as _, params};
use std::fmt::Write as _;

/// Hours after which a sign-in that nobody uses runs out.
pub const IDLE_HOURS: i64 = 2;
/// Hours after which every sign-in runs out: a long shift.
pub const LONGEST_HOURS: i64 = 12;
/// Seconds for which the time of the last use need not be right: not every page has to wait for the disk.
const GRAIN_SECONDS: i64 = 60;
/// Sign-ins of one account at most; the one not used for longest makes room.
const MOST_SIGN_INS: i64 = 50;

/// What the browser holds: 256 random bits, as 64 letters.
#[derive(Clone, PartialEq, Eq)]
pub struct Token(String);

impl std::fmt::Debug for Token {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("Token")
    }
}

impl Token {
    fn random() -> Result<Self> {
        let mut bits = [0_u8; 32];
        getrandom::fill(&mut bits).map_err(|error| {
            let cause = format!("the system gives no random numbers: {error}");
            Error::new(ErrorKind::Internal, "signing in", cause, "look at the system; nothing was changed")
        })?;
        Ok(Self(hex(&bits)))
    }

    /// The letters, for the cookie.
    #[must_use]
    pub fn letters(&self) -> &str {
        &self.0
    }
}

/// Who is signed in.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SignedIn {
    /// The account.
    pub account: AccountId,
    /// Its name.
    pub name: String,
    /// What it may do now, whatever it could when the sign-in began.
    pub role: Role,
    /// What every form of this sign-in carries, so that no other page can make one up. It can be worked out from the
    /// token alone, and the token not from it.
    pub form_token: String,
}

fn hex(bytes: &[u8]) -> String {
    bytes.iter().fold(String::new(), |mut text, byte| {
        _ = write!(text, "{byte:02x}");
        text
    })
}

fn kept(token: &str) -> [u8; 32] {
    Blake2s256::digest(token.as_bytes()).into()
}

fn form_token(token: &str) -> String {
    // The token has a fixed length, so that nothing else gives the same text.
    hex(&Blake2s256::digest(format!("the forms of {token}").as_bytes()))
}

impl Store {
    /// Begins a sign-in for whoever typed the password rightly.
    ///
    /// # Errors
    /// When the account or its password was changed meanwhile, or the file can't be written.
    pub fn sign_in(&mut self, opened: &Opened, at: Timestamp) -> Result<Token> {
        let token = Token::random()?;
        let now = text::to_database(at);
        self.write(|database| {
            let sql = "SELECT 1 FROM account WHERE id = ?1 AND password = ?2";
            let same = database.prepare_cached(sql)?.exists(params![opened.account, opened.hash])?;
            if !same {
                let cause = "the account was changed meanwhile";
                return Err(Error::refused("signing in", cause, "sign in once more, with the new password"));
            }
            let (idle, longest) = bounds(at);
            database.prepare_cached("DELETE FROM sign_in WHERE used < ?1 OR began < ?2")?.execute([idle, longest])?;
            let sql = "DELETE FROM sign_in WHERE token IN
                (SELECT token FROM sign_in WHERE account = ?1 ORDER BY used DESC, token LIMIT -1 OFFSET ?2)";
            database.prepare_cached(sql)?.execute(params![opened.account, MOST_SIGN_INS - 1])?;
            let sql = "INSERT INTO sign_in (token, account, began, used) VALUES (?1, ?2, ?3, ?3)";
            database.prepare_cached(sql)?.execute(params![kept(token.letters()), opened.account, now])?;
            Ok(())
        })?;
        Ok(token)
    }

    /// Who holds this token, if its sign-in has not run out. That it was used is noted.
    ///
    /// # Errors
    /// When the file can't be read or written.
    pub fn signed_in(&mut self, token: &str, at: Timestamp) -> Result<Option<SignedIn>> {
        let sql = "SELECT a.id, a.name, a.role, s.used FROM sign_in s JOIN account a ON a.id = s.account
            WHERE s.token = ?1 AND s.used >= ?2 AND s.began >= ?3";
        let (idle, longest) = bounds(at);
        let found = (self.connection.prepare_cached(sql)?)
            .query_row(params![kept(token), idle, longest], |row| {
                let role: String = row.get(2)?;
                let one = SignedIn {
                    account: row.get(0)?,
                    name: row.get(1)?,
                    role: Role::called(&role).unwrap_or(Role::Reader),
                    form_token: form_token(token),
                };
                Ok((one, row.get::<_, i64>(3)?))
            })
            .optional()?;
        let Some((one, used)) = found else { return Ok(None) };
        let now = text::to_database(at);
        if now - used > GRAIN_SECONDS * 1_000_000 {
            let sql = "UPDATE sign_in SET used = ?2 WHERE token = ?1";
            self.connection.prepare_cached(sql)?.execute(params![kept(token), now])?;
        }
        Ok(Some(one))
    }

    /// Ends a sign-in. One that is not there has ended already.
    ///
    /// # Errors
    /// When the file can't be written.
    pub fn sign_out(&mut self, token: &str) -> Result<()> {
        self.connection.prepare_cached("DELETE FROM sign_in WHERE token = ?1")?.execute([kept(token)])?;
        Ok(())
    }
}

/// Used and begun before these, a sign-in has run out.
fn bounds(at: Timestamp) -> (i64, i64) {
    let before = |hours| text::to_database(at.saturating_sub(SignedDuration::from_hours(hours)).unwrap_or(at));
    (before(IDLE_HOURS), before(LONGEST_HOURS))
}
