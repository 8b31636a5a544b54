//! Drafts that wait for review, and second keyings of them.

use super::Library;
use super::error::LibraryError;
use super::history::{self, HistoryLine};
use super::rows::{self, SELECT_ENTRY};
use super::types::{Change, Entry, EntryId};
use rusqlite::{OptionalExtension, Row};
use serde_json::json;
use std::collections::BTreeMap;
use uuid::Uuid;

/// A field in which a second keying differs from the entry.
#[derive(Clone, Debug, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
pub struct KeyedDifference {
    /// The field.
    pub field: String,
    /// What the entry held.
    pub first: Option<String>,
    /// What the second keyer read.
    pub second: Option<String>,
}

/// What another person read at the same place.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SecondKeying {
    /// Its stable id.
    pub uid: String,
    /// The entry.
    pub entry: EntryId,
    /// The entry's revision then.
    pub revision: i64,
    /// When, RFC 3339 in UTC.
    pub at: String,
    /// Who.
    pub who: String,
    /// What was keyed, by the names of the fields.
    pub fields: BTreeMap<String, String>,
    /// Where it differed from the entry then.
    pub differences: Vec<KeyedDifference>,
    /// Why the first keyer keyed again, when it was the same person.
    pub same_person: Option<String>,
}

/// Who keyed an entry, and when it came into the library.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Keyers {
    /// When the entry came, RFC 3339 in UTC.
    pub added_at: Option<String>,
    /// Everybody who keyed or edited it, first keyer first.
    pub who: Vec<String>,
}

impl Keyers {
    /// Whether a person is among them, case and outer spaces aside.
    pub fn include(&self, who: &str) -> bool {
        let folded = |name: &str| name.trim().to_lowercase();
        self.who.iter().any(|known| folded(known) == folded(who))
    }
}

impl Library {
    /// The drafts, oldest first.
    pub fn drafts(&self, limit: usize) -> Result<Vec<Entry>, LibraryError> {
        let mut select = self
            .connection
            .prepare_cached(&format!("{} WHERE state = 'draft' ORDER BY id LIMIT ?", *SELECT_ENTRY))?;
        let mut rows = select.query([i64::try_from(limit).unwrap_or(i64::MAX)])?;
        let mut drafts = Vec::new();
        while let Some(row) = rows.next()? {
            drafts.push(rows::entry_from_row(row)?);
        }
        Ok(drafts)
    }

    /// How many drafts there are.
    pub fn n_drafts(&self) -> Result<u64, LibraryError> {
        let n: i64 = self
            .connection
            .query_row("SELECT count(*) FROM entry WHERE state = 'draft'", [], |row| row.get(0))?;
        Ok(n.cast_unsigned())
    }

    /// Who keyed an entry: whoever added or imported it, and whoever edited it since.
    pub fn keyers(&self, entry: &Entry) -> Result<Keyers, LibraryError> {
        let mut keyers = Keyers::default();
        let load: Option<(String, String)> = self
            .connection
            .prepare_cached(
                "SELECT import_batch.at, import_batch.who FROM entry JOIN import_batch ON import_batch.id = entry.batch \
                 WHERE entry.id = ?",
            )?
            .query_row([entry.id.0], |row| Ok((row.get(0)?, row.get(1)?)))
            .optional()?;
        if let Some((at, who)) = load {
            keyers.added_at = Some(at);
            keyers.who.push(who);
        }
        for line in self.history_of(&entry.uid)? {
            if line.action == "add" {
                keyers.added_at.get_or_insert(line.at);
            } else if line.action != "edit" {
                continue;
            }
            if !keyers.who.contains(&line.who) {
                keyers.who.push(line.who);
            }
        }
        Ok(keyers)
    }

    /// The second keyings of an entry, oldest first.
    pub fn second_keyings(&self, entry: EntryId) -> Result<Vec<SecondKeying>, LibraryError> {
        let mut select = self.connection.prepare_cached(
            "SELECT uid, entry, revision, at, who, fields, differences, same_person FROM second_keying \
             WHERE entry = ? ORDER BY id",
        )?;
        let mut rows = select.query([entry.0])?;
        let mut keyings = Vec::new();
        while let Some(row) = rows.next()? {
            keyings.push(keying_from_row(row)?);
        }
        Ok(keyings)
    }

    /// The newest second keying when it differs and the entry has not been edited since.
    pub fn open_differences(&self, entry: EntryId) -> Result<Option<SecondKeying>, LibraryError> {
        let Some(newest) = self.second_keyings(entry)?.pop() else {
            return Ok(None);
        };
        let revision = self.entry(entry)?.revision;
        Ok((newest.revision == revision && !newest.differences.is_empty()).then_some(newest))
    }

    /// One line of the history.
    pub fn history_line(&self, id: i64) -> Result<Option<HistoryLine>, LibraryError> {
        let mut select = self.connection.prepare_cached(
            "SELECT id, at, who, action, entity, entity_uid, before, after, why FROM history WHERE id = ?",
        )?;
        Ok(select.query_row([id], history::line_from_row).optional()?)
    }

    /// Records a second keying of a draft.
    ///
    /// # Errors
    /// `RevisionChanged` when the entry is no longer at the revision the differences were taken at.
    pub fn add_second_keying(
        &mut self,
        entry: &Entry,
        fields: &BTreeMap<String, String>,
        differences: &[KeyedDifference],
        same_person: Option<&str>,
        change: &Change,
    ) -> Result<SecondKeying, LibraryError> {
        let uid = Uuid::now_v7().to_string();
        self.in_transaction(|tx| {
            let revision: i64 = tx
                .prepare_cached("SELECT revision FROM entry WHERE id = ?")?
                .query_row([entry.id.0], |row| row.get(0))?;
            if revision != entry.revision {
                return Err(LibraryError::RevisionChanged {
                    entry: entry.id.0,
                    based_on: entry.revision,
                    found: revision,
                });
            }
            tx.execute(
                "INSERT INTO second_keying (uid, entry, revision, at, who, fields, differences, same_person) \
                 VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
                (
                    &uid,
                    entry.id.0,
                    revision,
                    history::instant(change)?,
                    &change.who,
                    json!(fields).to_string(),
                    json!(differences).to_string(),
                    same_person,
                ),
            )?;
            let after = json!({
                "entry": entry.uid,
                "revision": revision,
                "fields": fields,
                "differences": differences,
                "same_person": same_person,
            });
            history::record(tx, change, "key-again", "keying", &uid, None, Some(&after))
        })?;
        self.second_keyings(entry.id)?.pop().ok_or(LibraryError::Unknown {
            what: "second keying",
            id: uid,
        })
    }
}

fn keying_from_row(row: &Row<'_>) -> Result<SecondKeying, LibraryError> {
    fn read<T: serde::de::DeserializeOwned>(what: &'static str, text: String) -> Result<T, LibraryError> {
        serde_json::from_str(&text).map_err(|_| LibraryError::Stored { what, value: text })
    }
    Ok(SecondKeying {
        uid: row.get(0)?,
        entry: EntryId(row.get(1)?),
        revision: row.get(2)?,
        at: row.get(3)?,
        who: row.get(4)?,
        fields: read("keying", row.get(5)?)?,
        differences: read("list of differences", row.get(6)?)?,
        same_person: row.get(7)?,
    })
}
