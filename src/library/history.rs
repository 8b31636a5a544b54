//! The append-only history: who changed what, when, why, before and after, each line chained to the one before by a
//! hash, so that a later change of the past shows.

use super::error::LibraryError;
use super::rows::row_as_json;
use super::types::Change;
use rusqlite::{Connection, OptionalExtension, Row};
use serde_json::Value;
use sha2::{Digest, Sha256};
use time::format_description::well_known::Rfc3339;

/// The hash before the first line.
const BEGINNING: &str = "";

/// One line of the history.
#[derive(Clone, Debug, PartialEq)]
pub struct HistoryLine {
    /// Its number.
    pub id: i64,
    /// When, RFC 3339 in UTC.
    pub at: String,
    /// Who.
    pub who: String,
    /// What was done: create, add, edit, withdraw, confirm, merge, load, undo, restore, accept, reopen, key-again, reset, unlock,
    /// remove, revoke.
    pub action: String,
    /// What it was done to: library, compound, source, entry, batch, finding, keying, account, token.
    pub entity: String,
    /// The stable id of it.
    pub entity_uid: String,
    /// Its stored fields before.
    pub before: Option<Value>,
    /// Its stored fields after.
    pub after: Option<Value>,
    /// Why, in words.
    pub why: String,
}

/// What checking the history against itself and against the records found.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct HistoryCheck {
    /// Lines whose hash fits.
    pub n_lines: u64,
    /// The first line that does not fit the one before or its own hash.
    pub broken_at: Option<i64>,
    /// Lines are missing at the end.
    pub cut_off: bool,
    /// Stable ids of entries, loads, equipment, control checks, loans, measurements and kept checks whose records are not
    /// what the history says they are.
    pub changed_outside: Vec<String>,
}

impl HistoryCheck {
    /// Whether nothing was found.
    pub fn is_sound(&self) -> bool {
        self.broken_at.is_none() && !self.cut_off && self.changed_outside.is_empty()
    }
}

/// Appends a line.
pub(super) fn record(
    connection: &Connection,
    change: &Change,
    action: &str,
    entity: &str,
    entity_uid: &str,
    before: Option<&Value>,
    after: Option<&Value>,
) -> Result<(), LibraryError> {
    let previous: Option<String> = connection
        .prepare_cached("SELECT hash FROM history ORDER BY id DESC LIMIT 1")?
        .query_row([], |row| row.get(0))
        .optional()?;
    let previous = previous.unwrap_or_else(|| BEGINNING.to_owned());
    let line = Line {
        previous: &previous,
        at: &instant(change)?,
        who: &change.who,
        action,
        entity,
        entity_uid,
        before: before.map(ToString::to_string),
        after: after.map(ToString::to_string),
        why: &change.why,
    };
    connection
        .prepare_cached(
            "INSERT INTO history (at, who, action, entity, entity_uid, before, after, why, prev_hash, hash) \
             VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
        )?
        .execute((
            line.at,
            line.who,
            line.action,
            line.entity,
            line.entity_uid,
            &line.before,
            &line.after,
            line.why,
            line.previous,
            line.hash(),
        ))?;
    Ok(())
}

/// The moment of a change as it is stored.
pub(super) fn instant(change: &Change) -> Result<String, LibraryError> {
    change
        .at
        .to_offset(time::UtcOffset::UTC)
        .format(&Rfc3339)
        .map_err(|error| LibraryError::Refused(format!("the time of the change cannot be written: {error}")))
}

/// The lines about one record, oldest first.
pub(super) fn of(connection: &Connection, entity_uid: &str) -> Result<Vec<HistoryLine>, LibraryError> {
    let mut select = connection.prepare_cached(
        "SELECT id, at, who, action, entity, entity_uid, before, after, why FROM history WHERE entity_uid = ? \
         ORDER BY id",
    )?;
    let lines = select.query_map([entity_uid], line_from_row)?;
    Ok(lines.collect::<Result<_, _>>()?)
}

/// The newest lines, newest first.
pub(super) fn newest(connection: &Connection, limit: usize) -> Result<Vec<HistoryLine>, LibraryError> {
    let mut select = connection.prepare_cached(
        "SELECT id, at, who, action, entity, entity_uid, before, after, why FROM history ORDER BY id DESC LIMIT ?",
    )?;
    let limit = i64::try_from(limit).unwrap_or(i64::MAX);
    let lines = select.query_map([limit], line_from_row)?;
    Ok(lines.collect::<Result<_, _>>()?)
}

/// Checks the chain, and that every entry is what its newest line (or the load it came with) says. Reads the whole
/// file: for checking on demand.
/// Records of a kind that the history knows and the table that held them does not; their stable ids are added to `changed`.
pub(super) fn gone(
    connection: &Connection,
    entity: &str,
    table: &str,
    changed: &mut Vec<String>,
) -> Result<(), LibraryError> {
    let mut select = connection.prepare(&format!(
        "SELECT entity_uid FROM history WHERE entity = ? AND action = 'add' \
         AND entity_uid NOT IN (SELECT uid FROM {table}) ORDER BY id"
    ))?;
    for uid in select.query_map([entity], |row| row.get(0))? {
        changed.push(uid?);
    }
    Ok(())
}

pub(super) fn check(connection: &Connection) -> Result<HistoryCheck, LibraryError> {
    let mut found = HistoryCheck::default();
    let mut previous = BEGINNING.to_owned();
    let mut last_id = 0;
    let mut select = connection.prepare(
        "SELECT id, at, who, action, entity, entity_uid, before, after, why, prev_hash, hash FROM history ORDER BY id",
    )?;
    let mut rows = select.query([])?;
    while let Some(row) = rows.next()? {
        let id: i64 = row.get(0)?;
        let (at, who, action, entity, entity_uid): (String, String, String, String, String) =
            (row.get(1)?, row.get(2)?, row.get(3)?, row.get(4)?, row.get(5)?);
        let why: String = row.get(8)?;
        let line = Line {
            previous: &previous,
            at: &at,
            who: &who,
            action: &action,
            entity: &entity,
            entity_uid: &entity_uid,
            before: row.get(6)?,
            after: row.get(7)?,
            why: &why,
        };
        let hash: String = row.get(10)?;
        if id != last_id + 1 || row.get::<_, String>(9)? != previous || hash != line.hash() {
            found.broken_at = Some(id);
            break;
        }
        found.n_lines += 1;
        last_id = id;
        previous = hash;
    }
    if found.broken_at.is_none() {
        let handed_out: Option<i64> = connection
            .query_row("SELECT seq FROM sqlite_sequence WHERE name = 'history'", [], |row| {
                row.get(0)
            })
            .optional()?;
        found.cut_off = handed_out.is_some_and(|n| n != last_id);
    }
    changed_entries(connection, &mut found.changed_outside)?;
    changed_batches(connection, &mut found.changed_outside)?;
    super::equipment::changed_outside(connection, &mut found.changed_outside)?;
    super::measurements::changed_outside(connection, &mut found.changed_outside)?;
    super::checks::changed_outside(connection, &mut found.changed_outside)?;
    Ok(found)
}

/// Entries with lines of their own: the newest `after` must be what is stored.
fn changed_entries(connection: &Connection, changed: &mut Vec<String>) -> Result<(), LibraryError> {
    let mut select = connection.prepare(
        "SELECT entry.id, entry.uid, (SELECT after FROM history WHERE entity_uid = entry.uid ORDER BY id DESC LIMIT 1) \
         FROM entry",
    )?;
    let mut rows = select.query([])?;
    while let Some(row) = rows.next()? {
        let after: Option<String> = row.get(2)?;
        let Some(after) = after else { continue };
        let now = row_as_json(connection, "entry", row.get(0)?)?;
        if now.map(|now| now.to_string()) != Some(after) {
            changed.push(row.get(1)?);
        }
    }
    Ok(())
}

/// Loads: the digest must be that of the entries as they came. For an entry changed since that is its oldest `before`,
/// for one that was taken back with the load the `before` of that.
fn changed_batches(connection: &Connection, changed: &mut Vec<String>) -> Result<(), LibraryError> {
    let mut batches = connection.prepare(
        "SELECT id, uid, digest, n_entries, undone_at IS NOT NULL, \
         (SELECT max(id) FROM history WHERE entity_uid = import_batch.uid AND action = 'load') FROM import_batch",
    )?;
    let mut batches = batches.query([])?;
    while let Some(batch) = batches.next()? {
        let (id, uid, digest, n_entries): (i64, String, String, i64) =
            (batch.get(0)?, batch.get(1)?, batch.get(2)?, batch.get(3)?);
        let undone: bool = batch.get(4)?;
        // Only what happened after the load counts: the same record may have come and gone before.
        let load: Option<i64> = batch.get(5)?;
        let mut taken_back = if undone {
            taken_back(connection, id, load)?
        } else {
            Vec::new()
        };
        taken_back.reverse();
        let mut entries = connection.prepare_cached(
            "SELECT entry.id, (SELECT before FROM history WHERE entity_uid = entry.uid AND id > ?2 ORDER BY id LIMIT 1) \
             FROM entry WHERE batch = ?1 ORDER BY id",
        )?;
        let mut entries = entries.query((id, load.unwrap_or(0)))?;
        let mut now = BatchDigest::default();
        while let Some(entry) = entries.next()? {
            let number: i64 = entry.get(0)?;
            while let Some((_, before)) = taken_back.pop_if(|(taken, _)| *taken < number) {
                now.add(&before);
            }
            let before: Option<String> = entry.get(1)?;
            match before {
                Some(before) => now.add(&before),
                None => now.add(
                    &row_as_json(connection, "entry", number)?
                        .unwrap_or_default()
                        .to_string(),
                ),
            }
        }
        while let Some((_, before)) = taken_back.pop() {
            now.add(&before);
        }
        if now.n != n_entries || now.hex() != digest {
            changed.push(uid);
        }
    }
    Ok(())
}

/// The entries of a load that were taken back, by number, each as it was.
fn taken_back(connection: &Connection, batch: i64, load: Option<i64>) -> Result<Vec<(i64, String)>, LibraryError> {
    let mut select = connection.prepare_cached(
        "SELECT json_extract(before, '$.id'), before FROM history \
         WHERE id > ?2 AND action = 'undo' AND entity = 'entry' AND json_extract(before, '$.batch') = ?1 ORDER BY 1",
    )?;
    let lines = select.query_map((batch, load.unwrap_or(0)), |row| Ok((row.get(0)?, row.get(1)?)))?;
    Ok(lines.collect::<Result<_, _>>()?)
}

/// The digest of the entries of one load.
#[derive(Default)]
pub(super) struct BatchDigest {
    hasher: Sha256,
    n: i64,
}

impl BatchDigest {
    /// Adds an entry by its stored fields.
    pub(super) fn add(&mut self, row: &str) {
        self.hasher.update((row.len() as u64).to_le_bytes());
        self.hasher.update(row.as_bytes());
        self.n += 1;
    }

    /// The digest in hexadecimal.
    pub(super) fn hex(self) -> String {
        hexadecimal(&self.hasher.finalize())
    }
}

/// What is hashed of a line.
struct Line<'a> {
    previous: &'a str,
    at: &'a str,
    who: &'a str,
    action: &'a str,
    entity: &'a str,
    entity_uid: &'a str,
    before: Option<String>,
    after: Option<String>,
    why: &'a str,
}

impl Line<'_> {
    /// SHA-256 over a JSON list of the fields, which can be checked with general tools.
    fn hash(&self) -> String {
        let fields = serde_json::json!([
            self.previous,
            self.at,
            self.who,
            self.action,
            self.entity,
            self.entity_uid,
            self.before,
            self.after,
            self.why
        ]);
        hexadecimal(&Sha256::digest(fields.to_string().as_bytes()))
    }
}

pub(super) fn hexadecimal(bytes: &[u8]) -> String {
    use std::fmt::Write;
    bytes.iter().fold(String::with_capacity(64), |mut text, byte| {
        // Writing to a string cannot fail.
        let _ = write!(text, "{byte:02x}");
        text
    })
}

pub(super) fn line_from_row(row: &Row<'_>) -> Result<HistoryLine, rusqlite::Error> {
    let json = |at: usize| -> Result<Option<Value>, rusqlite::Error> {
        let text: Option<String> = row.get(at)?;
        Ok(text.and_then(|text| serde_json::from_str(&text).ok()))
    };
    Ok(HistoryLine {
        id: row.get(0)?,
        at: row.get(1)?,
        who: row.get(2)?,
        action: row.get(3)?,
        entity: row.get(4)?,
        entity_uid: row.get(5)?,
        before: json(6)?,
        after: json(7)?,
        why: row.get(8)?,
    })
}
