//! Accounts of those who reach the library through a server: their roles, sessions and tokens. Secrets come in and go to
//! the file as digests only. How a password is hashed, and how long anything lasts, is the business of
//! [`crate::tasks::accounts`].

use super::Library;
use super::error::LibraryError;
use super::history::{self, hexadecimal};
use super::types::Change;
use rusqlite::{Connection, OptionalExtension, Row};
use serde_json::{Value, json};
use sha2::{Digest, Sha256};
use unicode_normalization::UnicodeNormalization;
use uuid::Uuid;

/// What an account is for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, serde::Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Role {
    /// Looks things up and checks measurements.
    Reader,
    /// Adds drafts and measurements.
    Contributor,
    /// Mends, confirms and withdraws entries.
    Librarian,
    /// Keeps instruments, cells and standards.
    InstrumentKeeper,
    /// Does all of that.
    Administrator,
}

impl Role {
    /// All roles.
    pub const ALL: [Self; 5] = [
        Self::Reader,
        Self::Contributor,
        Self::Librarian,
        Self::InstrumentKeeper,
        Self::Administrator,
    ];
    /// Their words, in the same order.
    pub const WORDS: &'static [&'static str] = &[
        "reader",
        "contributor",
        "librarian",
        "instrument-keeper",
        "administrator",
    ];

    /// The word it is stored as.
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Reader => "reader",
            Self::Contributor => "contributor",
            Self::Librarian => "librarian",
            Self::InstrumentKeeper => "instrument-keeper",
            Self::Administrator => "administrator",
        }
    }

    /// The role a word stands for.
    pub fn from_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|role| role.as_str() == word)
    }
}

impl std::fmt::Display for Role {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(self.as_str())
    }
}

/// An account in use. Moments are seconds since 1970-01-01T00:00:00Z.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Account {
    /// Number in this library.
    pub id: i64,
    /// Stable id.
    pub uid: String,
    /// The name, as the history names them.
    pub name: String,
    /// What it is for.
    pub role: Role,
    /// When it was made.
    pub made: i64,
    /// Sign-ins that failed in a row.
    pub failed: u32,
    /// Until when no sign-in is taken.
    pub locked_until: Option<i64>,
    /// Sessions that were begun and not ended; some may have expired.
    pub n_sessions: u32,
    /// Tokens that are not revoked; some may have expired.
    pub n_tokens: u32,
}

/// What a sign-in is checked against.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Credentials {
    /// The account's number.
    pub account: i64,
    /// Its password, hashed, as a PHC string.
    pub password: String,
    /// Sign-ins that failed in a row.
    pub failed: u32,
    /// Until when no sign-in is taken.
    pub locked_until: Option<i64>,
}

/// Who asks, as a session or a token tells.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Holder {
    /// The account's number.
    pub account: i64,
    /// Its name.
    pub name: String,
    /// Its role.
    pub role: Role,
    /// When the session began, or the token was made.
    pub began: i64,
    /// When the session was last used, or until when the token lasts.
    pub until: i64,
}

/// A token of a program.
#[derive(Clone, Debug, PartialEq, Eq, serde::Serialize)]
pub struct AccessToken {
    /// Number in this library.
    pub id: i64,
    /// The account it speaks for.
    pub account: String,
    /// What it is for.
    pub label: String,
    /// When it was made.
    pub made: i64,
    /// Until when it lasts.
    pub expires: i64,
    /// When it was revoked.
    pub revoked: Option<i64>,
}

const ACCOUNT: &str = "SELECT id, uid, name, role, made, failed, locked_until, \
    (SELECT count(*) FROM session WHERE session.account = account.id), \
    (SELECT count(*) FROM access_token WHERE access_token.account = account.id AND revoked IS NULL) FROM account";

/// Sessions that one account may have; the one not used for longest gives way.
const MOST_SESSIONS: i64 = 20;

impl Library {
    /// The accounts in use, by name.
    pub fn accounts(&self) -> Result<Vec<Account>, LibraryError> {
        let mut select = self
            .connection
            .prepare_cached(&format!("{ACCOUNT} WHERE removed IS NULL ORDER BY folded"))?;
        let rows = select.query_map([], account_from_row)?;
        rows.map(|row| row?).collect()
    }

    /// The account in use of that name, whatever the case of its letters.
    ///
    /// # Errors
    /// `Unknown` when there is none.
    pub fn account_named(&self, name: &str) -> Result<Account, LibraryError> {
        account_named(&self.connection, name)
    }

    /// Adds an account; `password` is hashed already.
    ///
    /// # Errors
    /// `Refused` when the name is taken or cannot be one.
    pub fn add_account(
        &mut self,
        name: &str,
        role: Role,
        password: &str,
        change: &Change,
    ) -> Result<Account, LibraryError> {
        let name = name.trim();
        if name.is_empty() || name.chars().count() > 80 || name.chars().any(char::is_control) {
            return Err(LibraryError::Refused(
                "the name of an account has 1 to 80 characters, none of them a control character".to_owned(),
            ));
        }
        self.in_transaction(|tx| {
            if account_named(tx, name).is_ok() {
                return Err(LibraryError::Refused(format!(
                    "there is an account \"{name}\" already; choose another name, or reset its password"
                )));
            }
            let uid = Uuid::now_v7().to_string();
            tx.execute(
                "INSERT INTO account (uid, name, folded, role, password, made) VALUES (?, ?, ?, ?, ?, ?)",
                (
                    &uid,
                    name,
                    folded(name),
                    role.as_str(),
                    password,
                    change.at.unix_timestamp(),
                ),
            )?;
            let account = account_named(tx, name)?;
            history::record(tx, change, "add", "account", &uid, None, Some(&told(&account)))?;
            Ok(account)
        })
    }

    /// Gives an account another role. It holds at once, for sessions under way too.
    pub fn set_role(&mut self, name: &str, role: Role, change: &Change) -> Result<Account, LibraryError> {
        self.change_account(name, "edit", change, |tx, account| {
            tx.execute("UPDATE account SET role = ? WHERE id = ?", (role.as_str(), account.id))?;
            Ok(())
        })
    }

    /// Gives an account another password, hashed already; ends its sessions and takes sign-ins again.
    pub fn set_password(&mut self, name: &str, password: &str, change: &Change) -> Result<Account, LibraryError> {
        self.change_account(name, "reset", change, |tx, account| {
            tx.execute(
                "UPDATE account SET password = ?, failed = 0, locked_until = NULL WHERE id = ?",
                (password, account.id),
            )?;
            end_sessions(tx, account.id)
        })
    }

    /// Takes sign-ins of an account again.
    pub fn unlock_account(&mut self, name: &str, change: &Change) -> Result<Account, LibraryError> {
        self.change_account(name, "unlock", change, |tx, account| {
            tx.execute(
                "UPDATE account SET failed = 0, locked_until = NULL WHERE id = ?",
                [account.id],
            )?;
            Ok(())
        })
    }

    /// Takes an account out of use, ends its sessions and revokes its tokens. What it did stays in the history.
    pub fn remove_account(&mut self, name: &str, change: &Change) -> Result<Account, LibraryError> {
        self.in_transaction(|tx| {
            let account = account_named(tx, name)?;
            let now = change.at.unix_timestamp();
            tx.execute(
                "UPDATE account SET removed = ?, password = '' WHERE id = ?",
                (now, account.id),
            )?;
            tx.execute(
                "UPDATE access_token SET revoked = ? WHERE account = ? AND revoked IS NULL",
                (now, account.id),
            )?;
            end_sessions(tx, account.id)?;
            history::record(
                tx,
                change,
                "remove",
                "account",
                &account.uid,
                Some(&told(&account)),
                None,
            )?;
            Ok(account)
        })
    }

    /// What a sign-in under a name is checked against; none when there is no such account.
    pub fn credentials(&self, name: &str) -> Result<Option<Credentials>, LibraryError> {
        Ok(self
            .connection
            .prepare_cached(
                "SELECT id, password, failed, locked_until FROM account WHERE folded = ? AND removed IS NULL",
            )?
            .query_row([folded(name)], |row| {
                Ok(Credentials {
                    account: row.get(0)?,
                    password: row.get(1)?,
                    failed: row.get(2)?,
                    locked_until: row.get(3)?,
                })
            })
            .optional()?)
    }

    /// Counts a sign-in that failed. `lock` says from the number of failures in a row for how many seconds the account
    /// then waits; 0 for not at all.
    pub fn count_failed_sign_in(
        &mut self,
        account: i64,
        now: i64,
        lock: impl FnOnce(u32) -> i64,
    ) -> Result<(), LibraryError> {
        self.in_transaction(|tx| {
            let failed: u32 = tx.query_row(
                "UPDATE account SET failed = failed + 1 WHERE id = ? RETURNING failed",
                [account],
                |row| row.get(0),
            )?;
            let seconds = lock(failed);
            if seconds > 0 {
                tx.execute(
                    "UPDATE account SET locked_until = ? WHERE id = ?",
                    (now + seconds, account),
                )?;
            }
            Ok(())
        })
    }

    /// Begins a session. `credentials` are those the password was checked against: when they changed meanwhile, no
    /// session begins. Sessions not used since `expired` go.
    pub fn begin_session(
        &mut self,
        credentials: &Credentials,
        secret: &str,
        now: i64,
        expired: i64,
    ) -> Result<bool, LibraryError> {
        self.in_transaction(|tx| {
            let is_current = tx.execute(
                "UPDATE account SET failed = 0, locked_until = NULL WHERE id = ? AND password = ? AND removed IS NULL",
                (credentials.account, &credentials.password),
            )? == 1;
            if !is_current {
                return Ok(false);
            }
            tx.execute("DELETE FROM session WHERE seen < ?", [expired])?;
            tx.execute(
                "DELETE FROM session WHERE digest IN \
                 (SELECT digest FROM session WHERE account = ? ORDER BY seen DESC LIMIT -1 OFFSET ?)",
                (credentials.account, MOST_SESSIONS - 1),
            )?;
            tx.execute(
                "INSERT INTO session (digest, account, began, seen) VALUES (?, ?, ?, ?)",
                (digest(secret), credentials.account, now, now),
            )?;
            Ok(true)
        })
    }

    /// Whose session a secret is; whether it still lasts is for the caller to say.
    pub fn session(&self, secret: &str) -> Result<Option<Holder>, LibraryError> {
        holder(
            &self.connection,
            "SELECT account.id, name, role, began, seen FROM session JOIN account ON account.id = session.account \
             WHERE digest = ? AND removed IS NULL",
            secret,
        )
    }

    /// Notes that a session is in use.
    pub fn keep_session(&mut self, secret: &str, now: i64) -> Result<(), LibraryError> {
        self.in_transaction(|tx| {
            tx.execute(
                "UPDATE session SET seen = max(seen, ?) WHERE digest = ?",
                (now, digest(secret)),
            )?;
            Ok(())
        })
    }

    /// Ends a session.
    pub fn end_session(&mut self, secret: &str) -> Result<(), LibraryError> {
        self.in_transaction(|tx| {
            tx.execute("DELETE FROM session WHERE digest = ?", [digest(secret)])?;
            Ok(())
        })
    }

    /// Whose token this is, unless it is revoked; whether it still lasts is for the caller to say.
    pub fn token_holder(&self, token: &str) -> Result<Option<Holder>, LibraryError> {
        holder(
            &self.connection,
            "SELECT account.id, name, role, access_token.made, expires FROM access_token \
             JOIN account ON account.id = access_token.account \
             WHERE digest = ? AND revoked IS NULL AND removed IS NULL",
            token,
        )
    }

    /// Tokens in use, of one account or of all, the newest last.
    pub fn access_tokens(&self, name: Option<&str>) -> Result<Vec<AccessToken>, LibraryError> {
        let mut select = self.connection.prepare_cached(
            "SELECT access_token.id, account.name, label, access_token.made, expires, revoked FROM access_token \
             JOIN account ON account.id = access_token.account \
             WHERE revoked IS NULL AND (?1 IS NULL OR folded = ?1) ORDER BY access_token.id",
        )?;
        let rows = select.query_map([name.map(folded)], token_from_row)?;
        Ok(rows.collect::<Result<_, _>>()?)
    }

    /// Adds a token of an account.
    pub fn add_access_token(
        &mut self,
        name: &str,
        label: &str,
        token: &str,
        expires: i64,
        change: &Change,
    ) -> Result<AccessToken, LibraryError> {
        self.in_transaction(|tx| {
            let account = account_named(tx, name)?;
            let uid = Uuid::now_v7().to_string();
            let made = change.at.unix_timestamp();
            tx.execute(
                "INSERT INTO access_token (uid, digest, account, label, made, expires) VALUES (?, ?, ?, ?, ?, ?)",
                (&uid, digest(token), account.id, label, made, expires),
            )?;
            let id = tx.last_insert_rowid();
            let after = json!({"id": id, "account": account.name, "label": label, "expires": expires});
            history::record(tx, change, "add", "token", &uid, None, Some(&after))?;
            token_by_id(tx, id)
        })
    }

    /// Revokes a token.
    pub fn revoke_access_token(&mut self, id: i64, change: &Change) -> Result<AccessToken, LibraryError> {
        self.in_transaction(|tx| {
            let before = token_by_id(tx, id)?;
            if before.revoked.is_some() {
                return Err(LibraryError::Refused(format!("token {id} is revoked already")));
            }
            tx.execute(
                "UPDATE access_token SET revoked = ? WHERE id = ?",
                (change.at.unix_timestamp(), id),
            )?;
            let uid: String = tx.query_row("SELECT uid FROM access_token WHERE id = ?", [id], |row| row.get(0))?;
            let held = json!({"id": id, "account": before.account, "label": before.label});
            history::record(tx, change, "revoke", "token", &uid, Some(&held), None)?;
            token_by_id(tx, id)
        })
    }

    fn change_account(
        &mut self,
        name: &str,
        action: &str,
        change: &Change,
        run: impl FnOnce(&Connection, &Account) -> Result<(), LibraryError>,
    ) -> Result<Account, LibraryError> {
        self.in_transaction(|tx| {
            let before = account_named(tx, name)?;
            run(tx, &before)?;
            let after = account_named(tx, name)?;
            history::record(
                tx,
                change,
                action,
                "account",
                &before.uid,
                Some(&told(&before)),
                Some(&told(&after)),
            )?;
            Ok(after)
        })
    }
}

/// Drops every session of a file: a copy of a library must not bring back what was ended meanwhile.
pub(super) fn forget_sessions(connection: &Connection) -> Result<(), rusqlite::Error> {
    connection.execute("DELETE FROM session", [])?;
    Ok(())
}

/// What the history is told of an account: nothing of its password.
fn told(account: &Account) -> Value {
    json!({"id": account.id, "name": account.name, "role": account.role.as_str()})
}

fn folded(name: &str) -> String {
    name.trim().nfkc().collect::<String>().to_lowercase()
}

fn digest(secret: &str) -> String {
    hexadecimal(&Sha256::digest(secret.as_bytes()))
}

fn account_named(connection: &Connection, name: &str) -> Result<Account, LibraryError> {
    connection
        .prepare_cached(&format!("{ACCOUNT} WHERE folded = ? AND removed IS NULL"))?
        .query_row([folded(name)], account_from_row)
        .optional()?
        .unwrap_or_else(|| {
            Err(LibraryError::Unknown {
                what: "account",
                id: name.trim().to_owned(),
            })
        })
}

fn end_sessions(connection: &Connection, account: i64) -> Result<(), LibraryError> {
    connection.execute("DELETE FROM session WHERE account = ?", [account])?;
    Ok(())
}

fn account_from_row(row: &Row<'_>) -> Result<Result<Account, LibraryError>, rusqlite::Error> {
    let role: String = row.get(3)?;
    let account = Account {
        id: row.get(0)?,
        uid: row.get(1)?,
        name: row.get(2)?,
        role: Role::Reader,
        made: row.get(4)?,
        failed: row.get(5)?,
        locked_until: row.get(6)?,
        n_sessions: row.get(7)?,
        n_tokens: row.get(8)?,
    };
    Ok(role_of(role).map(|role| Account { role, ..account }))
}

fn role_of(word: String) -> Result<Role, LibraryError> {
    Role::from_word(&word).ok_or(LibraryError::Stored {
        what: "role",
        value: word,
    })
}

fn holder(connection: &Connection, select: &str, secret: &str) -> Result<Option<Holder>, LibraryError> {
    let found = connection
        .prepare_cached(select)?
        .query_row([digest(secret)], |row| {
            Ok((
                row.get(0)?,
                row.get(1)?,
                row.get::<_, String>(2)?,
                row.get(3)?,
                row.get(4)?,
            ))
        })
        .optional()?;
    let Some((account, name, role, began, until)) = found else {
        return Ok(None);
    };
    Ok(Some(Holder {
        account,
        name,
        role: role_of(role)?,
        began,
        until,
    }))
}

fn token_by_id(connection: &Connection, id: i64) -> Result<AccessToken, LibraryError> {
    connection
        .prepare_cached(
            "SELECT access_token.id, account.name, label, access_token.made, expires, revoked FROM access_token \
             JOIN account ON account.id = access_token.account WHERE access_token.id = ?",
        )?
        .query_row([id], token_from_row)
        .optional()?
        .ok_or_else(|| LibraryError::Unknown {
            what: "token",
            id: id.to_string(),
        })
}

fn token_from_row(row: &Row<'_>) -> Result<AccessToken, rusqlite::Error> {
    Ok(AccessToken {
        id: row.get(0)?,
        account: row.get(1)?,
        label: row.get(2)?,
        made: row.get(3)?,
        expires: row.get(4)?,
        revoked: row.get(5)?,
    })
}
