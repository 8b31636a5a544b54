//! Taking a load back: the entries that nobody has changed since go, with a line in the history for each that keeps what
//! they held; the changed ones are named and stay. Compounds and sources that came with the load go when nothing uses
//! them any more.

use super::Library;
use super::error::LibraryError;
use super::history;
use super::index::NameIndex;
use super::rows::row_as_json;
use super::types::{Change, EntryId};
use rusqlite::{Connection, OptionalExtension, Row};
use serde_json::json;

/// A load: a file that was imported, or the starter entries.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Batch {
    /// Its number in this library file.
    pub id: i64,
    /// Its stable id.
    pub uid: String,
    /// When, RFC 3339 in UTC.
    pub at: String,
    /// By whom.
    pub who: String,
    /// What was loaded.
    pub what: String,
    /// Compounds that came with it.
    pub n_compounds: u64,
    /// Sources that came with it.
    pub n_sources: u64,
    /// Entries that came with it.
    pub n_entries: u64,
    /// When it was taken back, and by whom.
    pub undone: Option<(String, String)>,
}

/// What taking a load back does, or did.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct UndoReport {
    /// The load.
    pub batch: Batch,
    /// Entries that go.
    pub n_removed: u64,
    /// Entries that stay, because they were changed or keyed again since.
    pub kept: Vec<EntryId>,
    /// Compounds that go with them.
    pub n_compounds: u64,
    /// Sources that go with them.
    pub n_sources: u64,
}

/// The word the starter entries are loaded under: they belong to the library and are no import.
const STARTER: &str = "starter";

const SELECT_BATCH: &str =
    "SELECT id, uid, at, who, what, n_compounds, n_sources, n_entries, undone_at, undone_by FROM import_batch";

/// Entries of a load that were changed or keyed again since it: `?1` is its number.
const CHANGED: &str = "batch = ?1 AND (revision > 0 \
    OR EXISTS (SELECT 1 FROM history WHERE entity_uid = entry.uid \
               AND id > (SELECT max(line.id) FROM history AS line JOIN import_batch ON line.entity_uid = import_batch.uid \
                         WHERE import_batch.id = ?1 AND line.action = 'load')) \
    OR EXISTS (SELECT 1 FROM second_keying WHERE second_keying.entry = entry.id))";

impl Library {
    /// All loads, newest first.
    pub fn batches(&self) -> Result<Vec<Batch>, LibraryError> {
        let mut select = self
            .connection
            .prepare_cached(&format!("{SELECT_BATCH} ORDER BY id DESC"))?;
        let batches = select.query_map([], batch_from_row)?;
        Ok(batches.collect::<Result<_, _>>()?)
    }

    /// The load an entry came with; none for one that was added by hand.
    pub fn batch_of(&self, entry: EntryId) -> Result<Option<Batch>, LibraryError> {
        let mut select = self.connection.prepare_cached(&format!(
            "{SELECT_BATCH} WHERE id = (SELECT batch FROM entry WHERE id = ?)"
        ))?;
        Ok(select.query_row([entry.0], batch_from_row).optional()?)
    }

    /// The newest import that was not taken back; the starter entries are none.
    pub fn last_import(&self) -> Result<Option<Batch>, LibraryError> {
        Ok(last_import(&self.connection)?)
    }

    /// What taking the last import back would do; changes nothing.
    ///
    /// # Errors
    /// `Refused` when there is no import.
    pub fn undo_preview(&self) -> Result<UndoReport, LibraryError> {
        let batch = last_import(&self.connection)?.ok_or_else(nothing)?;
        let kept = changed_entries(&self.connection, batch.id)?;
        let count = |sql: &str| -> Result<u64, LibraryError> {
            let n: i64 = self.connection.query_row(sql, [batch.id], |row| row.get(0))?;
            Ok(n.cast_unsigned())
        };
        let n_entries = count("SELECT count(*) FROM entry WHERE batch = ?")?;
        let goes = format!("entry.batch = ?1 AND NOT ({CHANGED})");
        Ok(UndoReport {
            n_removed: n_entries - kept.len() as u64,
            kept,
            n_compounds: count(&format!(
                "SELECT count(*) FROM compound WHERE batch = ?1 AND {UNCHANGED_COMPOUND} \
                 AND NOT EXISTS (SELECT 1 FROM entry WHERE compound = compound.id AND NOT ({goes}))"
            ))?,
            n_sources: count(&format!(
                "SELECT count(*) FROM source WHERE batch = ?1 AND {UNCHANGED_SOURCE} \
                 AND NOT EXISTS (SELECT 1 FROM entry WHERE source = source.id AND NOT ({goes}))"
            ))?,
            batch,
        })
    }

    /// Takes the last import back in one transaction.
    ///
    /// # Errors
    /// `Refused` when there is no import, or another process took it back or imported meanwhile.
    pub fn undo_last_import(&mut self, expected: &str, change: &Change) -> Result<UndoReport, LibraryError> {
        let report = self.in_transaction(|tx| {
            let batch = last_import(tx)?.ok_or_else(nothing)?;
            if batch.uid != expected {
                return Err(LibraryError::Refused(
                    "another import has come or gone meanwhile; look at it again with biot undo".to_owned(),
                ));
            }
            let kept = changed_entries(tx, batch.id)?;
            let mut n_removed = 0;
            for (id, uid) in ids(
                tx,
                &format!("SELECT id, uid FROM entry WHERE batch = ?1 AND NOT ({CHANGED}) ORDER BY id"),
                batch.id,
            )? {
                let before = row_as_json(tx, "entry", id)?;
                tx.prepare_cached("DELETE FROM entry WHERE id = ?")?.execute([id])?;
                history::record(tx, change, "undo", "entry", &uid, before.as_ref(), None)?;
                n_removed += 1;
            }
            let mut n_compounds = 0;
            let unused = format!(
                "SELECT id, uid FROM compound WHERE batch = ?1 AND {UNCHANGED_COMPOUND} \
                 AND NOT EXISTS (SELECT 1 FROM entry WHERE compound = compound.id) \
                 AND NOT EXISTS (SELECT 1 FROM measurement WHERE compound = compound.id)"
            );
            for (id, uid) in ids(tx, &unused, batch.id)? {
                let before = super::changes::compound_as_json(tx, super::CompoundId(id))?;
                tx.prepare_cached("DELETE FROM compound_name WHERE compound = ?")?
                    .execute([id])?;
                tx.prepare_cached("DELETE FROM cas_number WHERE compound = ?")?
                    .execute([id])?;
                tx.prepare_cached("DELETE FROM compound WHERE id = ?")?.execute([id])?;
                history::record(tx, change, "undo", "compound", &uid, before.as_ref(), None)?;
                n_compounds += 1;
            }
            let mut n_sources = 0;
            let unused = format!(
                "SELECT id, uid FROM source WHERE batch = ?1 AND {UNCHANGED_SOURCE} \
                 AND NOT EXISTS (SELECT 1 FROM entry WHERE source = source.id)"
            );
            for (id, uid) in ids(tx, &unused, batch.id)? {
                let before = row_as_json(tx, "source", id)?;
                tx.prepare_cached("DELETE FROM source WHERE id = ?")?.execute([id])?;
                history::record(tx, change, "undo", "source", &uid, before.as_ref(), None)?;
                n_sources += 1;
            }
            super::changes::next_state(tx)?;
            tx.execute(
                "UPDATE import_batch SET undone_at = ?, undone_by = ? WHERE id = ?",
                (history::instant(change)?, &change.who, batch.id),
            )?;
            let after = json!({
                "what": batch.what,
                "n_removed": n_removed,
                "kept": kept.iter().map(|id| id.0).collect::<Vec<_>>(),
                "n_compounds": n_compounds,
                "n_sources": n_sources,
            });
            history::record(tx, change, "undo", "batch", &batch.uid, None, Some(&after))?;
            super::changes::refresh_print_distribution(tx)?;
            Ok(UndoReport {
                batch: Batch {
                    undone: Some((history::instant(change)?, change.who.clone())),
                    ..batch
                },
                n_removed,
                kept,
                n_compounds,
                n_sources,
            })
        })?;
        // The index learns of new and changed names only, and the numbers of removed ones are given out again.
        self.index.replace(None);
        NameIndex::discard(&self.path);
        Ok(report)
    }
}

/// A compound that nothing but the load has made: never edited, never part of a merge.
const UNCHANGED_COMPOUND: &str = "merged_into IS NULL \
    AND NOT EXISTS (SELECT 1 FROM compound AS other WHERE other.merged_into = compound.id) \
    AND NOT EXISTS (SELECT 1 FROM history WHERE entity_uid = compound.uid \
                    AND id > (SELECT max(line.id) FROM history AS line JOIN import_batch ON line.entity_uid = import_batch.uid \
                              WHERE import_batch.id = ?1 AND line.action = 'load'))";

/// A source that nothing but the load has made.
const UNCHANGED_SOURCE: &str = "NOT EXISTS (SELECT 1 FROM history WHERE entity_uid = source.uid \
    AND id > (SELECT max(line.id) FROM history AS line JOIN import_batch ON line.entity_uid = import_batch.uid \
              WHERE import_batch.id = ?1 AND line.action = 'load'))";

fn nothing() -> LibraryError {
    LibraryError::Refused(
        "there is no import that could be taken back; the starter entries belong to the library".to_owned(),
    )
}

fn last_import(connection: &Connection) -> Result<Option<Batch>, rusqlite::Error> {
    connection
        .prepare_cached(&format!(
            "{SELECT_BATCH} WHERE undone_at IS NULL AND what <> ? ORDER BY id DESC LIMIT 1"
        ))?
        .query_row([STARTER], batch_from_row)
        .optional()
}

fn changed_entries(connection: &Connection, batch: i64) -> Result<Vec<EntryId>, LibraryError> {
    let changed = ids(
        connection,
        &format!("SELECT id, uid FROM entry WHERE {CHANGED} ORDER BY id"),
        batch,
    )?;
    Ok(changed.into_iter().map(|(id, _)| EntryId(id)).collect())
}

fn ids(connection: &Connection, sql: &str, batch: i64) -> Result<Vec<(i64, String)>, LibraryError> {
    let mut select = connection.prepare(sql)?;
    let ids = select.query_map([batch], |row| Ok((row.get(0)?, row.get(1)?)))?;
    Ok(ids.collect::<Result<_, _>>()?)
}

fn batch_from_row(row: &Row<'_>) -> Result<Batch, rusqlite::Error> {
    let count = |at: usize| -> Result<u64, rusqlite::Error> { Ok(row.get::<_, i64>(at)?.cast_unsigned()) };
    let undone_at: Option<String> = row.get(8)?;
    let undone_by: Option<String> = row.get(9)?;
    Ok(Batch {
        id: row.get(0)?,
        uid: row.get(1)?,
        at: row.get(2)?,
        who: row.get(3)?,
        what: row.get(4)?,
        n_compounds: count(5)?,
        n_sources: count(6)?,
        n_entries: count(7)?,
        undone: undone_at.map(|at| (at, undone_by.unwrap_or_default())),
    })
}
