//! Checks that were kept, each as it was answered: added, listed, never changed.

use super::Library;
use super::error::LibraryError;
use super::history;
use super::types::{Change, CompoundId};
use rusqlite::{Connection, OptionalExtension, Row, params};
use serde_json::{Value, json};
use sha2::{Digest, Sha256};
use uuid::Uuid;

/// A check to be kept.
#[derive(Clone, Debug, PartialEq)]
pub struct NewCheck {
    /// The name it is found by.
    pub name: String,
    /// The compound.
    pub compound: CompoundId,
    /// The digest that its report prints.
    pub digest: String,
    /// Question, answer and report.
    pub content: Value,
}

/// A kept check.
#[derive(Clone, Debug, PartialEq)]
pub struct KeptCheck {
    /// Number in this library.
    pub id: i64,
    /// Stable id.
    pub uid: String,
    /// When it was kept, RFC 3339 in UTC.
    pub at: String,
    /// Who kept it.
    pub who: String,
    /// Its name.
    pub name: String,
    /// The compound.
    pub compound: CompoundId,
    /// The digest that its report prints.
    pub digest: String,
    /// Question, answer and report.
    pub content: Value,
    /// Whether it is what the history says was kept; if not, it was changed outside the program.
    pub is_intact: bool,
}

const SELECT: &str = "SELECT id, uid, at, who, name, compound, digest, content, \
    (SELECT json_array(at, who, after) FROM history \
     WHERE entity_uid = kept_check.uid AND entity = 'kept-check' AND action = 'add') FROM kept_check";

impl Library {
    /// Keeps a check; its number.
    ///
    /// # Errors
    /// `Refused` without a name or when the name is taken, `Unknown` when there is no such compound.
    pub fn keep_check(&mut self, new: &NewCheck, change: &Change) -> Result<i64, LibraryError> {
        let name = new.name.trim();
        if name.is_empty() || name.chars().any(char::is_control) {
            return Err(LibraryError::Refused(
                "a kept check needs a name in one line; give one, such as a sample number".to_owned(),
            ));
        }
        let compound = self.compound(new.compound)?.id;
        let content = new.content.to_string();
        self.in_transaction(|tx| {
            let taken: Option<String> = tx
                .query_row("SELECT at FROM kept_check WHERE name = ?", [name], |row| row.get(0))
                .optional()?;
            if let Some(at) = taken {
                return Err(LibraryError::Refused(format!(
                    "a check named \"{name}\" was kept at {at} already; a kept check is never changed, so choose another name"
                )));
            }
            let uid = Uuid::now_v7().to_string();
            tx.execute(
                "INSERT INTO kept_check (uid, at, who, name, compound, digest, content) VALUES (?, ?, ?, ?, ?, ?, ?)",
                params![
                    uid,
                    history::instant(change)?,
                    change.who,
                    name,
                    compound.0,
                    new.digest,
                    content
                ],
            )?;
            let id = tx.last_insert_rowid();
            let after = kept(name, &new.digest, &content);
            history::record(tx, change, "add", "kept-check", &uid, None, Some(&after))?;
            Ok(id)
        })
    }

    /// The kept check of this name, whatever the case.
    ///
    /// # Errors
    /// `Unknown` when there is none.
    pub fn kept_check(&self, name: &str) -> Result<KeptCheck, LibraryError> {
        self.connection
            .prepare_cached(&format!("{SELECT} WHERE name = ?"))?
            .query_row([name.trim()], from_row)
            .optional()?
            .ok_or_else(|| LibraryError::Unknown {
                what: "kept check",
                id: format!("\"{name}\""),
            })?
    }

    /// The kept checks, newest first.
    pub fn kept_checks(&self, most: u32) -> Result<Vec<KeptCheck>, LibraryError> {
        let mut select = self
            .connection
            .prepare_cached(&format!("{SELECT} ORDER BY id DESC LIMIT ?"))?;
        let rows = select.query_map([most], from_row)?;
        rows.map(|row| row?).collect()
    }
}

/// What the history keeps of a check: enough to notice any change of it.
fn kept(name: &str, digest: &str, content: &str) -> Value {
    json!({
        "name": name,
        "digest": digest,
        "content_sha256": history::hexadecimal(&Sha256::digest(content.as_bytes())),
    })
}

/// Kept checks that are not what the history says was kept, or are gone, or were never kept. Their stable ids are added to
/// `changed`.
pub(super) fn changed_outside(connection: &Connection, changed: &mut Vec<String>) -> Result<(), LibraryError> {
    let mut select = connection.prepare(SELECT)?;
    let mut rows = select.query([])?;
    while let Some(row) = rows.next()? {
        if !is_intact(row)? {
            changed.push(row.get(1)?);
        }
    }
    history::gone(connection, "kept-check", "kept_check", changed)
}

/// Whether a row of [`SELECT`] is what its line of the history says: when, who, name, digest and every byte of the content.
fn is_intact(row: &Row<'_>) -> Result<bool, rusqlite::Error> {
    let (at, who, name): (String, String, String) = (row.get(2)?, row.get(3)?, row.get(4)?);
    let (compound, digest, content): (i64, String, String) = (row.get(5)?, row.get(6)?, row.get(7)?);
    let line: Option<String> = row.get(8)?;
    let said = line.and_then(|line| serde_json::from_str::<(String, String, String)>(&line).ok());
    let Some((said_at, said_who, after)) = said else {
        return Ok(false);
    };
    // The compound is named in the content too.
    let told = serde_json::from_str::<Value>(&content).ok();
    let told = told.and_then(|content| content["report"]["result"]["compound"]["id"].as_i64());
    let is_compound = told.is_none_or(|told| told == compound);
    let after: Option<Value> = serde_json::from_str(&after).ok();
    Ok(is_compound && said_at == at && said_who == who && after == Some(kept(&name, &digest, &content)))
}

fn from_row(row: &Row<'_>) -> Result<Result<KeptCheck, LibraryError>, rusqlite::Error> {
    let content: String = row.get(7)?;
    let Ok(content) = serde_json::from_str(&content) else {
        return Ok(Err(LibraryError::Stored {
            what: "kept check",
            value: content,
        }));
    };
    Ok(Ok(KeptCheck {
        id: row.get(0)?,
        uid: row.get(1)?,
        at: row.get(2)?,
        who: row.get(3)?,
        name: row.get(4)?,
        compound: CompoundId(row.get(5)?),
        digest: row.get(6)?,
        content,
        is_intact: is_intact(row)?,
    }))
}
