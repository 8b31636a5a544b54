//! What the library keeps of an audit: findings that a person has accepted, and the marks from which a finding's id is
//! made. The findings themselves are not stored: they follow from the entries.

use super::Library;
use super::error::LibraryError;
use super::history::{self, hexadecimal};
use super::rows::row_as_json;
use super::types::{Change, CompoundId, EntryId};
use rusqlite::{OptionalExtension, Row};
use serde_json::json;
use sha2::{Digest, Sha256};

/// A finding that a person has accepted.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct AcceptedFinding {
    /// The finding's id.
    pub id: String,
    /// Its kind.
    pub code: String,
    /// Stable ids of the entries it is about.
    pub entries: Vec<String>,
    /// What it said.
    pub reason: String,
    /// When it was accepted, RFC 3339 in UTC.
    pub at: String,
    /// By whom.
    pub who: String,
    /// Why.
    pub why: String,
}

/// Fields of a stored entry that say where it stands, not what it says.
const STANDING: [&str; 4] = ["id", "revision", "state", "batch"];

impl Library {
    /// A digest of what an entry says: the same as long as nobody changes it, whatever its review state.
    pub fn content_digest(&self, entry: EntryId) -> Result<String, LibraryError> {
        let Some(mut row) = row_as_json(&self.connection, "entry", entry.0)? else {
            return Err(LibraryError::Unknown {
                what: "entry",
                id: entry.to_string(),
            });
        };
        if let Some(fields) = row.as_object_mut() {
            for field in STANDING {
                fields.remove(field);
            }
        }
        Ok(hexadecimal(&Sha256::digest(row.to_string().as_bytes())))
    }

    /// The acceptance of a finding, when it was accepted.
    pub fn accepted_finding(&self, id: &str) -> Result<Option<AcceptedFinding>, LibraryError> {
        let mut select = self
            .connection
            .prepare_cached("SELECT id, code, entries, reason, at, who, why FROM accepted_finding WHERE id = ?")?;
        let found = select.query_row([id], accepted_from_row).optional()?;
        found.map(checked).transpose()
    }

    /// Every accepted finding that is about an entry, oldest first. Reads all accepted findings.
    pub fn accepted_findings_of(&self, entry_uid: &str) -> Result<Vec<AcceptedFinding>, LibraryError> {
        let mut select = self.connection.prepare_cached(
            "SELECT id, code, entries, reason, at, who, why FROM accepted_finding \
             WHERE EXISTS (SELECT 1 FROM json_each(entries) WHERE value = ?) ORDER BY at",
        )?;
        let found: Vec<(AcceptedFinding, String)> = select
            .query_map([entry_uid], accepted_from_row)?
            .collect::<Result<_, _>>()?;
        found.into_iter().map(checked).collect()
    }

    /// Accepts a finding: it stays quiet until one of its entries changes. The reason must be given.
    ///
    /// # Errors
    /// `Refused` without a reason, or when it is accepted already.
    pub fn accept_finding(
        &mut self,
        id: &str,
        code: &str,
        entries: &[String],
        reason: &str,
        change: &Change,
    ) -> Result<(), LibraryError> {
        if change.why.trim().is_empty() {
            return Err(LibraryError::Refused(
                "a finding is accepted with a reason; say why".to_owned(),
            ));
        }
        if self.accepted_finding(id)?.is_some() {
            return Err(LibraryError::Refused(format!("finding {id} is accepted already")));
        }
        self.in_transaction(|tx| {
            let entries = json!(entries);
            tx.execute(
                "INSERT INTO accepted_finding (id, code, entries, reason, at, who, why) VALUES (?, ?, ?, ?, ?, ?, ?)",
                (
                    id,
                    code,
                    entries.to_string(),
                    reason,
                    history::instant(change)?,
                    &change.who,
                    &change.why,
                ),
            )?;
            let after = json!({"code": code, "entries": entries, "reason": reason});
            history::record(tx, change, "accept", "finding", id, None, Some(&after))
        })
    }

    /// Takes an acceptance back: the finding is open again.
    ///
    /// # Errors
    /// `Unknown` when it is not accepted.
    pub fn reopen_finding(&mut self, id: &str, change: &Change) -> Result<(), LibraryError> {
        let Some(accepted) = self.accepted_finding(id)? else {
            return Err(LibraryError::Unknown {
                what: "accepted finding",
                id: id.to_owned(),
            });
        };
        self.in_transaction(|tx| {
            tx.execute("DELETE FROM accepted_finding WHERE id = ?", [id])?;
            let before = json!({"code": accepted.code, "entries": accepted.entries, "reason": accepted.reason});
            history::record(tx, change, "reopen", "finding", id, Some(&before), None)
        })
    }

    /// The compounds that have entries of a load.
    pub fn compounds_of_batch(&self, batch_uid: &str) -> Result<Vec<CompoundId>, LibraryError> {
        let mut select = self.connection.prepare_cached(
            "SELECT DISTINCT compound FROM entry JOIN import_batch ON import_batch.id = entry.batch \
             WHERE import_batch.uid = ? ORDER BY compound",
        )?;
        let ids = select.query_map([batch_uid], |row| Ok(CompoundId(row.get(0)?)))?;
        Ok(ids.collect::<Result<_, _>>()?)
    }

    /// The entries of a load, by number.
    pub fn entries_of_batch(&self, batch_uid: &str) -> Result<Vec<EntryId>, LibraryError> {
        let mut select = self.connection.prepare_cached(
            "SELECT entry.id FROM entry JOIN import_batch ON import_batch.id = entry.batch \
             WHERE import_batch.uid = ? ORDER BY entry.id",
        )?;
        let ids = select.query_map([batch_uid], |row| Ok(EntryId(row.get(0)?)))?;
        Ok(ids.collect::<Result<_, _>>()?)
    }
}

fn accepted_from_row(row: &Row<'_>) -> Result<(AcceptedFinding, String), rusqlite::Error> {
    let accepted = AcceptedFinding {
        id: row.get(0)?,
        code: row.get(1)?,
        entries: Vec::new(),
        reason: row.get(3)?,
        at: row.get(4)?,
        who: row.get(5)?,
        why: row.get(6)?,
    };
    Ok((accepted, row.get(2)?))
}

fn checked((mut accepted, entries): (AcceptedFinding, String)) -> Result<AcceptedFinding, LibraryError> {
    accepted.entries = serde_json::from_str(&entries).map_err(|_| LibraryError::Stored {
        what: "list of entries",
        value: entries,
    })?;
    Ok(accepted)
}
