//! Changes of the store. Each is one transaction that also appends to the history; a writer waits for another one and
//! never sees a half-done change.

mod keep;

use super::error::LibraryError;
use super::history::{self, BatchDigest};
use super::queries::{PrintDistribution, assert_looked_up};
use super::rows::{self, INSERT_ENTRY, SELECT_ENTRY, UPDATE_ENTRY, row_as_json, rows_as_json};
use super::types::{Change, CompoundId, Entry, EntryContent, EntryId, NewCompound, NewSource, ReviewState, SourceId};
use super::{Access, Library, file};
use crate::compound::name;
use crate::quantity::ConcentrationUnit;
use rusqlite::{Connection, OptionalExtension, Row, Transaction, TransactionBehavior, params_from_iter};
use serde_json::{Value, json};
use uuid::Uuid;

/// Stable ids that follow from what a record is are drawn from this namespace (UUID version 5).
const NAMESPACE: Uuid = Uuid::from_u128(0x6269_6f74_2d6c_8962_b261_7279_2d69_6473);

/// The compound a new entry is attached to.
#[derive(Clone, Debug, PartialEq)]
pub enum CompoundChoice {
    /// One that is there.
    Known(CompoundId),
    /// One to be added.
    New(Box<NewCompound>),
}

/// What a load added.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct LoadCounts {
    /// Compounds added.
    pub compounds: u64,
    /// Sources added.
    pub sources: u64,
    /// Entries added.
    pub entries: u64,
}

impl Library {
    /// Adds a compound.
    ///
    /// # Errors
    /// `CompoundExists` when the structure (and descriptor) is there already; `Refused` when it has no name.
    pub fn add_compound(&mut self, compound: &NewCompound, change: &Change) -> Result<CompoundId, LibraryError> {
        self.in_transaction(|tx| add_compound(tx, compound, change))
    }

    /// Gives a compound further names and CAS numbers; those it has already are left out.
    pub fn add_names(
        &mut self,
        id: CompoundId,
        names: &[String],
        cas: &[String],
        change: &Change,
    ) -> Result<(), LibraryError> {
        let id = self.compound(id)?.id;
        self.in_transaction(|tx| {
            let before = compound_as_json(tx, id)?;
            let state = next_state(tx)?;
            for name in names {
                insert_name(tx, id, name, "other")?;
            }
            for number in cas {
                insert_cas(tx, id, number)?;
            }
            tx.execute("UPDATE compound SET changed = ? WHERE id = ?", (state, id.0))?;
            let after = compound_as_json(tx, id)?;
            let uid = uid_of(tx, "compound", id.0)?;
            history::record(tx, change, "edit", "compound", &uid, before.as_ref(), after.as_ref())
        })
    }

    /// Adds a source, or finds the one with the same DOI or the same citation.
    pub fn add_source(&mut self, source: &NewSource, change: &Change) -> Result<SourceId, LibraryError> {
        self.in_transaction(|tx| add_source(tx, source, change))
    }

    /// Adds an entry with its compound and source, each found or added, in one transaction; `content` is given their
    /// numbers.
    pub fn add_record(
        &mut self,
        compound: &CompoundChoice,
        source: &NewSource,
        content: impl FnOnce(CompoundId, SourceId) -> EntryContent,
        change: &Change,
    ) -> Result<EntryId, LibraryError> {
        let known = match compound {
            CompoundChoice::Known(id) => Some(self.compound(*id)?.id),
            CompoundChoice::New(_) => None,
        };
        self.in_transaction(|tx| {
            let compound = match (compound, known) {
                (CompoundChoice::New(new), _) => add_compound(tx, new, change)?,
                (CompoundChoice::Known(id), known) => known.unwrap_or(*id),
            };
            let source = add_source(tx, source, change)?;
            add_entry(tx, &content(compound, source), change)
        })
    }

    /// Adds an entry.
    pub fn add_entry(&mut self, content: &EntryContent, change: &Change) -> Result<EntryId, LibraryError> {
        let mut content = content.clone();
        content.compound = self.compound(content.compound)?.id;
        self.source(content.source)?;
        self.in_transaction(|tx| add_entry(tx, &content, change))
    }

    /// Replaces what an entry holds.
    ///
    /// # Errors
    /// `RevisionChanged` when the entry is no longer at the revision the edit is based on.
    pub fn edit_entry(
        &mut self,
        id: EntryId,
        based_on: i64,
        content: &EntryContent,
        change: &Change,
    ) -> Result<Entry, LibraryError> {
        self.change_entry(id, Some(based_on), "edit", change, |_| Ok(content.clone()))
    }

    /// Withdraws an entry; the reason is that of the change and must be given.
    pub fn withdraw_entry(&mut self, id: EntryId, change: &Change) -> Result<Entry, LibraryError> {
        if change.why.trim().is_empty() {
            return Err(LibraryError::Refused(
                "an entry is withdrawn with a reason; say why".to_owned(),
            ));
        }
        self.change_entry(id, None, "withdraw", change, |entry| {
            if entry.state == ReviewState::Withdrawn {
                return Err(LibraryError::Refused(format!("entry {id} is withdrawn already")));
            }
            Ok(EntryContent {
                state: ReviewState::Withdrawn,
                ..entry.into()
            })
        })
    }

    /// Confirms a draft.
    pub fn confirm_entry(&mut self, id: EntryId, change: &Change) -> Result<Entry, LibraryError> {
        self.change_entry(id, None, "confirm", change, |entry| match entry.state {
            ReviewState::Draft => Ok(EntryContent {
                state: ReviewState::Confirmed,
                ..entry.into()
            }),
            state => Err(LibraryError::Refused(format!(
                "entry {id} is {state}; only a draft is confirmed"
            ))),
        })
    }

    /// Merges one compound into another: its entries, names and CAS numbers move, and its number and stable id lead to
    /// the other from now on.
    pub fn merge_compounds(
        &mut self,
        loser: CompoundId,
        winner: CompoundId,
        change: &Change,
    ) -> Result<(), LibraryError> {
        let loser = self.compound(loser)?;
        let winner = self.compound(winner)?;
        if loser.id == winner.id {
            return Err(LibraryError::Refused(format!(
                "\"{}\" cannot be merged into itself",
                loser.name
            )));
        }
        self.in_transaction(|tx| {
            let loser_before = compound_as_json(tx, loser.id)?;
            let winner_before = compound_as_json(tx, winner.id)?;
            let state = next_state(tx)?;
            for name in std::iter::once(&loser.name).chain(&loser.other_names) {
                insert_name(tx, winner.id, name, "other")?;
            }
            tx.execute("DELETE FROM compound_name WHERE compound = ?", [loser.id.0])?;
            for number in &loser.cas {
                insert_cas(tx, winner.id, number)?;
            }
            tx.execute("DELETE FROM cas_number WHERE compound = ?", [loser.id.0])?;
            let entries: Vec<(i64, String)> = tx
                .prepare("SELECT id, uid FROM entry WHERE compound = ? ORDER BY id")?
                .query_map([loser.id.0], |row| Ok((row.get(0)?, row.get(1)?)))?
                .collect::<Result<_, _>>()?;
            for (entry, uid) in entries {
                let before = row_as_json(tx, "entry", entry)?;
                tx.execute(
                    "UPDATE entry SET compound = ?, revision = revision + 1 WHERE id = ?",
                    (winner.id.0, entry),
                )?;
                let after = row_as_json(tx, "entry", entry)?;
                history::record(tx, change, "merge", "entry", &uid, before.as_ref(), after.as_ref())?;
            }
            tx.execute(
                "UPDATE compound SET merged_into = ?, changed = ? WHERE id = ?",
                (winner.id.0, state, loser.id.0),
            )?;
            tx.execute("UPDATE compound SET changed = ? WHERE id = ?", (state, winner.id.0))?;
            for (compound, before) in [(&loser, loser_before), (&winner, winner_before)] {
                let after = compound_as_json(tx, compound.id)?;
                history::record(
                    tx,
                    change,
                    "merge",
                    "compound",
                    &compound.uid,
                    before.as_ref(),
                    after.as_ref(),
                )?;
            }
            Ok(())
        })
    }

    /// Adds many records in one transaction. The history gets one line with a digest over the entries instead of a
    /// line for each; nothing is kept when `fill` fails.
    pub fn load<T>(
        &mut self,
        what: &str,
        change: &Change,
        fill: impl FnOnce(&mut Loader<'_>) -> Result<T, LibraryError>,
    ) -> Result<(T, LoadCounts), LibraryError> {
        self.in_transaction(|tx| {
            let uid = Uuid::now_v7().to_string();
            tx.execute(
                "INSERT INTO import_batch (uid, at, who, what, n_compounds, n_sources, n_entries, digest) \
                 VALUES (?, ?, ?, ?, 0, 0, 0, '')",
                (&uid, history::instant(change)?, &change.who, what),
            )?;
            let batch = tx.last_insert_rowid();
            let mut loader = Loader {
                tx,
                batch,
                counts: LoadCounts::default(),
            };
            let result = fill(&mut loader)?;
            let counts = loader.counts;
            let digest = batch_digest(tx, batch)?;
            tx.execute(
                "UPDATE import_batch SET n_compounds = ?, n_sources = ?, n_entries = ?, digest = ? WHERE id = ?",
                (
                    counts.compounds.cast_signed(),
                    counts.sources.cast_signed(),
                    counts.entries.cast_signed(),
                    &digest,
                    batch,
                ),
            )?;
            let after = json!({
                "what": what,
                "n_compounds": counts.compounds,
                "n_sources": counts.sources,
                "n_entries": counts.entries,
                "digest": digest,
            });
            history::record(tx, change, "load", "batch", &uid, None, Some(&after))?;
            refresh_print_distribution(tx)?;
            Ok((result, counts))
        })
    }

    fn change_entry(
        &mut self,
        id: EntryId,
        based_on: Option<i64>,
        action: &str,
        change: &Change,
        make: impl FnOnce(Entry) -> Result<EntryContent, LibraryError>,
    ) -> Result<Entry, LibraryError> {
        self.in_transaction(|tx| {
            let entry = select_entry(tx, id)?;
            if let Some(based_on) = based_on.filter(|&based_on| based_on != entry.revision) {
                return Err(LibraryError::RevisionChanged {
                    entry: id.0,
                    based_on,
                    found: entry.revision,
                });
            }
            let uid = entry.uid.clone();
            let before = row_as_json(tx, "entry", id.0)?;
            let content = make(entry)?;
            let mut values = rows::content_values(&content);
            values.push(rusqlite::types::Value::Integer(id.0));
            tx.prepare_cached(&UPDATE_ENTRY)?.execute(params_from_iter(values))?;
            let after = row_as_json(tx, "entry", id.0)?;
            history::record(tx, change, action, "entry", &uid, before.as_ref(), after.as_ref())?;
            select_entry(tx, id)
        })
    }

    /// Runs a change in a transaction that takes the writer's lock at once, so that it waits instead of failing midway.
    pub(super) fn in_transaction<T>(
        &mut self,
        run: impl FnOnce(&Transaction<'_>) -> Result<T, LibraryError>,
    ) -> Result<T, LibraryError> {
        if self.access == Access::Read {
            return Err(LibraryError::ReadOnly {
                path: self.path.clone(),
            });
        }
        let path = &self.path;
        let tx = self
            .connection
            .transaction_with_behavior(TransactionBehavior::Immediate)
            .map_err(|error| file::in_words(path, error))?;
        let result = run(&tx).map_err(|error| match error {
            LibraryError::Sqlite(error) => file::in_words(path, error),
            other => other,
        })?;
        tx.commit().map_err(|error| file::in_words(path, error))?;
        Ok(result)
    }
}

/// Adds records within one load.
pub struct Loader<'a> {
    tx: &'a Transaction<'a>,
    batch: i64,
    counts: LoadCounts,
}

impl Loader<'_> {
    /// Adds a compound, or finds the one with the same structure and descriptor and gives it the new names. One without
    /// structure and descriptor is always new.
    pub fn compound(&mut self, compound: &NewCompound) -> Result<CompoundId, LibraryError> {
        if let Some((id, _)) = find_compound(self.tx, compound)? {
            self.names(
                id,
                std::iter::once(&compound.name).chain(&compound.other_names),
                &compound.cas,
            )?;
            return Ok(id);
        }
        self.counts.compounds += 1;
        insert_compound(self.tx, compound, Some(self.batch))
    }

    /// Adds a compound of which only the name is known. The name makes its stable id, so that the same record loaded
    /// into two libraries is known as one.
    pub fn named_compound(&mut self, name: &str) -> Result<CompoundId, LibraryError> {
        self.counts.compounds += 1;
        let uid = stable_uid("compound", &format!("||{name}"));
        write_compound(self.tx, &NewCompound::named(name), &uid, Some(self.batch))
    }

    /// Gives a compound further names and CAS numbers.
    pub fn names<'n>(
        &mut self,
        id: CompoundId,
        names: impl IntoIterator<Item = &'n String>,
        cas: &[String],
    ) -> Result<(), LibraryError> {
        let mut n_new = 0;
        for name in names {
            n_new += insert_name(self.tx, id, name, "other")?;
        }
        for number in cas {
            insert_cas(self.tx, id, number)?;
        }
        if n_new > 0 {
            let state = next_state(self.tx)?;
            self.tx
                .prepare_cached("UPDATE compound SET changed = ? WHERE id = ?")?
                .execute((state, id.0))?;
        }
        Ok(())
    }

    /// The compounds with a CAS number.
    pub fn by_cas(&self, number: &str) -> Result<Vec<CompoundId>, LibraryError> {
        self.ids("SELECT compound FROM cas_number WHERE number = ?", number)
    }

    /// The compounds that own a name.
    pub fn by_name(&self, name: &str) -> Result<Vec<CompoundId>, LibraryError> {
        self.ids(
            "SELECT DISTINCT compound FROM compound_name WHERE folded = ? LIMIT 100",
            &super::folded(name),
        )
    }

    /// Adds a source, or finds the one with the same DOI or the same citation.
    pub fn source(&mut self, source: &NewSource) -> Result<SourceId, LibraryError> {
        if let Some(id) = find_source(self.tx, source)? {
            return Ok(id);
        }
        self.counts.sources += 1;
        insert_source(self.tx, source, Some(self.batch))
    }

    /// Adds an entry. The key, when given, makes its stable id, so that the same record loaded into two libraries is
    /// known as one.
    pub fn entry(&mut self, content: &EntryContent, key: Option<&str>) -> Result<EntryId, LibraryError> {
        let uid = match key {
            Some(key) => stable_uid("entry", key),
            None => Uuid::now_v7().to_string(),
        };
        self.counts.entries += 1;
        insert_entry(self.tx, content, &uid, Some(self.batch))
    }

    /// What was added so far.
    pub const fn counts(&self) -> LoadCounts {
        self.counts
    }

    /// Whether the library holds the entry that this key makes the stable id of, whatever its state.
    pub fn has_entry(&self, key: &str) -> Result<bool, LibraryError> {
        Ok(self
            .tx
            .prepare_cached("SELECT EXISTS (SELECT 1 FROM entry WHERE uid = ?)")?
            .query_row([stable_uid("entry", key)], |row| row.get(0))?)
    }

    fn ids(&self, sql: &str, text: &str) -> Result<Vec<CompoundId>, LibraryError> {
        let mut select = self.tx.prepare_cached(sql)?;
        let ids = select.query_map([text], |row| Ok(CompoundId(row.get(0)?)))?;
        Ok(ids.collect::<Result<_, _>>()?)
    }
}

fn add_compound(tx: &Connection, compound: &NewCompound, change: &Change) -> Result<CompoundId, LibraryError> {
    let id = insert_compound(tx, compound, None)?;
    let after = compound_as_json(tx, id)?;
    let uid = uid_of(tx, "compound", id.0)?;
    history::record(tx, change, "add", "compound", &uid, None, after.as_ref())?;
    Ok(id)
}

fn add_source(tx: &Connection, source: &NewSource, change: &Change) -> Result<SourceId, LibraryError> {
    if let Some(id) = find_source(tx, source)? {
        return Ok(id);
    }
    let id = insert_source(tx, source, None)?;
    let after = row_as_json(tx, "source", id.0)?;
    let uid = uid_of(tx, "source", id.0)?;
    history::record(tx, change, "add", "source", &uid, None, after.as_ref())?;
    Ok(id)
}

fn add_entry(tx: &Connection, content: &EntryContent, change: &Change) -> Result<EntryId, LibraryError> {
    let uid = Uuid::now_v7().to_string();
    let id = insert_entry(tx, content, &uid, None)?;
    let after = row_as_json(tx, "entry", id.0)?;
    history::record(tx, change, "add", "entry", &uid, None, after.as_ref())?;
    Ok(id)
}

fn insert_compound(
    connection: &Connection,
    compound: &NewCompound,
    batch: Option<i64>,
) -> Result<CompoundId, LibraryError> {
    if compound.name.trim().is_empty() {
        return Err(LibraryError::Refused("a compound needs a name".to_owned()));
    }
    if let Some((id, name)) = find_compound(connection, compound)? {
        return Err(LibraryError::CompoundExists { id: id.0, name });
    }
    // What tells a compound from others makes its stable id, so that two libraries agree on it.
    let descriptor = compound.descriptor.as_deref().unwrap_or_default();
    let uid = match &compound.inchikey {
        Some(key) => stable_uid("compound", &format!("{key}|{descriptor}")),
        None if descriptor.is_empty() => Uuid::now_v7().to_string(),
        None => stable_uid("compound", &format!("|{descriptor}|{}", super::folded(&compound.name))),
    };
    write_compound(connection, compound, &uid, batch)
}

fn write_compound(
    connection: &Connection,
    compound: &NewCompound,
    uid: &str,
    batch: Option<i64>,
) -> Result<CompoundId, LibraryError> {
    let state = next_state(connection)?;
    connection
        .prepare_cached(
            "INSERT INTO compound (uid, name, smiles, inchi, inchikey, mirror_key, parent_key, descriptor, formula, \
             molar_mass, chirality, batch, changed) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
        )?
        .execute((
            uid,
            compound.name.trim(),
            &compound.smiles,
            &compound.inchi,
            &compound.inchikey,
            &compound.mirror_key,
            &compound.parent_key,
            &compound.descriptor,
            &compound.formula,
            compound.molar_mass.map(crate::quantity::MolarMass::grams_per_mole),
            compound.chirality.as_str(),
            batch,
            state,
        ))?;
    let id = CompoundId(connection.last_insert_rowid());
    insert_name(connection, id, &compound.name, "preferred")?;
    for name in &compound.other_names {
        insert_name(connection, id, name, "other")?;
    }
    for number in &compound.cas {
        insert_cas(connection, id, number)?;
    }
    Ok(id)
}

/// Adds a name unless the compound has it; how many were added.
fn insert_name(connection: &Connection, id: CompoundId, name: &str, kind: &str) -> Result<usize, LibraryError> {
    let name = name.trim();
    if name.is_empty() {
        return Ok(0);
    }
    Ok(connection
        .prepare_cached(
            "INSERT INTO compound_name (compound, name, kind, folded, stem) VALUES (?, ?, ?, ?, ?) \
             ON CONFLICT DO NOTHING",
        )?
        .execute((id.0, name, kind, super::folded(name), name::stem(name)))?)
}

fn insert_cas(connection: &Connection, id: CompoundId, number: &str) -> Result<(), LibraryError> {
    connection
        .prepare_cached("INSERT INTO cas_number (number, compound) VALUES (?, ?) ON CONFLICT DO NOTHING")?
        .execute((number.trim(), id.0))?;
    Ok(())
}

/// The compound with the same structure and descriptor, or, without a structure, the same descriptor and name; one that
/// was merged leads to the compound it was merged into.
fn find_compound(
    connection: &Connection,
    compound: &NewCompound,
) -> Result<Option<(CompoundId, String)>, LibraryError> {
    let row = |row: &Row<'_>| Ok((row.get(0)?, row.get(1)?, row.get(2)?));
    let found: Option<(i64, String, Option<i64>)> = match (&compound.inchikey, &compound.descriptor) {
        (None, None) => None,
        (Some(key), descriptor) => {
            // By the index of first blocks: the one of whole keys leaves out merged compounds.
            let mut select = connection.prepare_cached(
                "SELECT id, name, merged_into FROM compound WHERE connectivity = substr(?1, 1, 14) AND inchikey = ?1 \
                 AND COALESCE(descriptor, '') = COALESCE(?2, '') ORDER BY merged_into IS NOT NULL",
            )?;
            let found = select.query_row((key, descriptor), row).optional()?;
            assert_looked_up(&select);
            found
        }
        (None, Some(descriptor)) => connection
            .prepare_cached(
                "SELECT compound.id, compound.name, merged_into FROM compound \
                 JOIN compound_name ON compound_name.compound = compound.id \
                 WHERE descriptor = ?1 AND inchikey IS NULL AND folded = ?2 ORDER BY merged_into IS NOT NULL",
            )?
            .query_row((descriptor, super::folded(&compound.name)), row)
            .optional()?,
    };
    let Some((mut id, mut name, mut next)) = found else {
        return Ok(None);
    };
    while let Some(into) = next {
        (id, name, next) = connection
            .prepare_cached("SELECT id, name, merged_into FROM compound WHERE id = ?")?
            .query_row([into], row)?;
    }
    Ok(Some((CompoundId(id), name)))
}

fn insert_source(connection: &Connection, source: &NewSource, batch: Option<i64>) -> Result<SourceId, LibraryError> {
    if source.citation.trim().is_empty() {
        return Err(LibraryError::Refused("a source needs a citation".to_owned()));
    }
    let doi = source.doi.as_ref().map(|doi| doi.trim().to_lowercase());
    let uid = stable_uid("source", doi.as_deref().unwrap_or(source.citation.trim()));
    let state = next_state(connection)?;
    connection
        .prepare_cached(
            "INSERT INTO source (uid, kind, citation, doi, year, url, batch, changed) VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
        )?
        .execute((
            uid,
            source.kind.as_str(),
            source.citation.trim(),
            doi,
            source.year,
            &source.url,
            batch,
            state,
        ))?;
    Ok(SourceId(connection.last_insert_rowid()))
}

fn find_source(connection: &Connection, source: &NewSource) -> Result<Option<SourceId>, LibraryError> {
    let (sql, text) = match &source.doi {
        Some(doi) => ("SELECT min(id) FROM source WHERE doi = ?", doi.trim().to_lowercase()),
        None => (
            "SELECT min(id) FROM source WHERE citation = ?",
            source.citation.trim().to_owned(),
        ),
    };
    let mut select = connection.prepare_cached(sql)?;
    let id: Option<i64> = select.query_row([text], |row| row.get(0))?;
    assert_looked_up(&select);
    Ok(id.map(SourceId))
}

fn insert_entry(
    connection: &Connection,
    content: &EntryContent,
    uid: &str,
    batch: Option<i64>,
) -> Result<EntryId, LibraryError> {
    use rusqlite::types::Value as Column;
    let mut values = rows::content_values(content);
    values.push(Column::Text(uid.to_owned()));
    values.push(Column::Integer(0));
    values.push(batch.map_or(Column::Null, Column::Integer));
    connection
        .prepare_cached(&INSERT_ENTRY)?
        .execute(params_from_iter(values))?;
    Ok(EntryId(connection.last_insert_rowid()))
}

fn select_entry(connection: &Connection, id: EntryId) -> Result<Entry, LibraryError> {
    let mut select = connection.prepare_cached(&format!("{} WHERE id = ?", *SELECT_ENTRY))?;
    let mut found = select.query([id.0])?;
    match found.next()? {
        Some(row) => rows::entry_from_row(row),
        None => Err(LibraryError::Unknown {
            what: "entry",
            id: id.to_string(),
        }),
    }
}

/// Raises the state of names and sources, so that a search index knows it is behind.
pub(super) fn next_state(connection: &Connection) -> Result<i64, LibraryError> {
    Ok(connection
        .prepare_cached(
            "UPDATE meta SET value = CAST(value AS INTEGER) + 1 WHERE key = 'state' RETURNING CAST(value AS INTEGER)",
        )?
        .query_row([], |row| row.get(0))?)
}

fn uid_of(connection: &Connection, table: &str, id: i64) -> Result<String, LibraryError> {
    Ok(connection
        .prepare_cached(&format!("SELECT uid FROM {table} WHERE id = ?"))?
        .query_row([id], |row| row.get(0))?)
}

/// A stable id that follows from what the record is.
fn stable_uid(what: &str, key: &str) -> String {
    Uuid::new_v5(&NAMESPACE, format!("{what}|{key}").as_bytes()).to_string()
}

/// A compound with its names and CAS numbers as JSON, for the history.
pub(super) fn compound_as_json(connection: &Connection, id: CompoundId) -> Result<Option<Value>, LibraryError> {
    let Some(mut compound) = row_as_json(connection, "compound", id.0)? else {
        return Ok(None);
    };
    let texts = |sql: &str| -> Result<Vec<String>, rusqlite::Error> {
        connection
            .prepare_cached(sql)?
            .query_map([id.0], |row| row.get(0))?
            .collect()
    };
    compound["names"] = texts("SELECT name FROM compound_name WHERE compound = ? ORDER BY id")?.into();
    compound["cas"] = texts("SELECT number FROM cas_number WHERE compound = ? ORDER BY number")?.into();
    Ok(Some(compound))
}

fn batch_digest(connection: &Connection, batch: i64) -> Result<String, LibraryError> {
    let mut digest = BatchDigest::default();
    rows_as_json(
        connection,
        "SELECT * FROM entry WHERE batch = ? ORDER BY id",
        batch,
        |row| {
            digest.add(&row.to_string());
        },
    )?;
    Ok(digest.hex())
}

/// How many entries are looked at for the distribution of printed conditions; of more, evenly spread ones.
const MOST_SAMPLED: i64 = 100_000;

/// How many quantiles describe a distribution.
const N_QUANTILES: usize = 101;

/// Recomputes the distribution of printed concentrations and cell lengths.
pub(super) fn refresh_print_distribution(connection: &Connection) -> Result<(), LibraryError> {
    let last: i64 = connection.query_row("SELECT COALESCE(max(id), 0) FROM entry", [], |row| row.get(0))?;
    let stride = (last / MOST_SAMPLED).max(1);
    let mut concentrations = Vec::new();
    let mut lengths = Vec::new();
    let mut select = connection.prepare(
        "WITH RECURSIVE sample (id) AS (SELECT ?1 UNION ALL SELECT id + ?1 FROM sample WHERE id + ?1 <= ?2) \
         SELECT concentration, concentration_unit, path FROM sample JOIN entry USING (id) \
         WHERE kind = 'value' AND state <> 'withdrawn'",
    )?;
    let mut rows = select.query([stride, last])?;
    while let Some(row) = rows.next()? {
        let concentration: Option<f64> = row.get(0)?;
        let unit: Option<String> = row.get(1)?;
        let unit = unit.as_deref().and_then(ConcentrationUnit::from_name);
        if let (Some(value), Some(unit)) = (concentration, unit) {
            let stated = crate::quantity::StatedConcentration {
                value: crate::quantity::Printed::new(value, 12),
                unit,
            };
            // Units that need a molar mass or a density are left out.
            if let Ok(concentration) = stated.to_mass_concentration(None, None) {
                concentrations.push(concentration.grams_per_100_millilitres());
            }
        }
        if let Some(length) = row.get(2)? {
            lengths.push(length);
        }
    }
    let distribution = PrintDistribution {
        n_concentrations: concentrations.len() as u64,
        concentrations: quantiles(concentrations),
        n_lengths: lengths.len() as u64,
        lengths: quantiles(lengths),
    };
    let text = serde_json::to_string(&distribution).map_err(|error| LibraryError::Refused(error.to_string()))?;
    connection.execute(
        "INSERT INTO meta (key, value) VALUES ('print_distribution', ?) \
         ON CONFLICT (key) DO UPDATE SET value = excluded.value",
        [text],
    )?;
    Ok(())
}

/// The quantiles at (i + ½)/n of a sample, by linear interpolation between order statistics (type 7 of Hyndman and
/// Fan, Am. Stat. 50 (1996) 361).
fn quantiles(mut sample: Vec<f64>) -> Vec<f64> {
    if sample.is_empty() {
        return Vec::new();
    }
    sample.sort_by(f64::total_cmp);
    (0..N_QUANTILES)
        .map(|i| {
            let at = (i as f64 + 0.5) / N_QUANTILES as f64 * (sample.len() - 1) as f64;
            let low = at.floor() as usize;
            let high = (low + 1).min(sample.len() - 1);
            sample[low] + (sample[high] - sample[low]) * at.fract()
        })
        .collect()
}
