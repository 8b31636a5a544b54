//! Loading records of another library, which keep their stable ids: look-ups within the load, records added under the
//! id they have there, and records here replaced by theirs, each with its line in the history.

use super::{
    Loader, compound_as_json, find_compound, find_source, insert_cas, insert_name, next_state, write_compound,
};
use crate::library::error::LibraryError;
use crate::library::history;
use crate::library::rows::{
    self, INSERT_ENTRY, SELECT_COMPOUND, SELECT_ENTRY, SELECT_SOURCE, UPDATE_ENTRY, row_as_json,
};
use crate::library::types::{
    Change, Compound, CompoundId, Entry, EntryContent, EntryId, NewCompound, NewSource, Source, SourceId,
};
use rusqlite::{OptionalExtension, params_from_iter};

impl Loader<'_> {
    /// The compound that stands for a stable id here, after merges.
    pub fn compound_by_uid(&self, uid: &str) -> Result<Option<Compound>, LibraryError> {
        let found: Option<(i64, Option<i64>)> = self
            .tx
            .prepare_cached("SELECT id, merged_into FROM compound WHERE uid = ?")?
            .query_row([uid], |row| Ok((row.get(0)?, row.get(1)?)))
            .optional()?;
        let Some((mut id, mut next)) = found else {
            return Ok(None);
        };
        while let Some(into) = next {
            (id, next) = self
                .tx
                .prepare_cached("SELECT id, merged_into FROM compound WHERE id = ?")?
                .query_row([into], |row| Ok((row.get(0)?, row.get(1)?)))?;
        }
        self.compound_numbered(CompoundId(id)).map(Some)
    }

    /// The compound with the same structure and descriptor, or, without a structure, the same descriptor and name.
    pub fn compound_like(&self, compound: &NewCompound) -> Result<Option<Compound>, LibraryError> {
        match find_compound(self.tx, compound)? {
            Some((id, _)) => self.compound_numbered(id).map(Some),
            None => Ok(None),
        }
    }

    /// The source with a stable id.
    pub fn source_by_uid(&self, uid: &str) -> Result<Option<Source>, LibraryError> {
        let mut select = self.tx.prepare_cached(&format!("{SELECT_SOURCE} WHERE uid = ?"))?;
        let mut found = select.query([uid])?;
        found.next()?.map(rows::source_from_row).transpose()
    }

    /// The source with the same DOI; else the one with the same citation, unless both have a DOI.
    pub fn source_like(&self, source: &NewSource) -> Result<Option<Source>, LibraryError> {
        let id = match find_source(self.tx, source)? {
            Some(id) => id,
            None => {
                let found = self
                    .tx
                    .prepare_cached("SELECT id FROM source WHERE citation = ? AND doi IS NULL ORDER BY id LIMIT 1")?
                    .query_row([source.citation.trim()], |row| row.get(0))
                    .optional()?;
                match found {
                    Some(id) => SourceId(id),
                    None => return Ok(None),
                }
            }
        };
        let mut select = self.tx.prepare_cached(&format!("{SELECT_SOURCE} WHERE id = ?"))?;
        let mut found = select.query([id.0])?;
        found.next()?.map(rows::source_from_row).transpose()
    }

    /// The entry with a stable id.
    pub fn entry_by_uid(&self, uid: &str) -> Result<Option<Entry>, LibraryError> {
        let mut select = self.tx.prepare_cached(&format!("{} WHERE uid = ?", *SELECT_ENTRY))?;
        let mut found = select.query([uid])?;
        found.next()?.map(rows::entry_from_row).transpose()
    }

    /// The stable id of a compound.
    pub fn compound_uid(&self, id: CompoundId) -> Result<String, LibraryError> {
        super::uid_of(self.tx, "compound", id.0)
    }

    /// The stable id of a source.
    pub fn source_uid(&self, id: SourceId) -> Result<String, LibraryError> {
        super::uid_of(self.tx, "source", id.0)
    }

    /// Adds a compound under the stable id it has elsewhere.
    pub fn keep_compound(&mut self, uid: &str, compound: &NewCompound) -> Result<CompoundId, LibraryError> {
        self.counts.compounds += 1;
        write_compound(self.tx, compound, uid, Some(self.batch))
    }

    /// Adds a source under the stable id it has elsewhere.
    pub fn keep_source(&mut self, uid: &str, source: &NewSource) -> Result<SourceId, LibraryError> {
        self.counts.sources += 1;
        let state = next_state(self.tx)?;
        self.tx
            .prepare_cached(
                "INSERT INTO source (uid, kind, citation, doi, year, url, batch, changed) \
                 VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
            )?
            .execute((
                uid,
                source.kind.as_str(),
                &source.citation,
                &source.doi,
                source.year,
                &source.url,
                self.batch,
                state,
            ))?;
        Ok(SourceId(self.tx.last_insert_rowid()))
    }

    /// Adds an entry under the stable id it has elsewhere. Its revisions are counted anew.
    pub fn keep_entry(&mut self, uid: &str, content: &EntryContent) -> Result<EntryId, LibraryError> {
        use rusqlite::types::Value;
        self.counts.entries += 1;
        let mut values = rows::content_values(content);
        values.extend([
            Value::Text(uid.to_owned()),
            Value::Integer(0),
            Value::Integer(self.batch),
        ]);
        self.tx
            .prepare_cached(&INSERT_ENTRY)?
            .execute(params_from_iter(values))?;
        Ok(EntryId(self.tx.last_insert_rowid()))
    }

    /// Replaces what an entry holds, with a line in the history.
    pub fn replace_entry(
        &mut self,
        entry: &Entry,
        content: &EntryContent,
        change: &Change,
    ) -> Result<(), LibraryError> {
        let before = row_as_json(self.tx, "entry", entry.id.0)?;
        let mut values = rows::content_values(content);
        values.push(rusqlite::types::Value::Integer(entry.id.0));
        self.tx
            .prepare_cached(&UPDATE_ENTRY)?
            .execute(params_from_iter(values))?;
        let after = row_as_json(self.tx, "entry", entry.id.0)?;
        history::record(
            self.tx,
            change,
            "edit",
            "entry",
            &entry.uid,
            before.as_ref(),
            after.as_ref(),
        )
    }

    /// Replaces what a source holds, with a line in the history.
    pub fn replace_source(&mut self, source: &Source, by: &NewSource, change: &Change) -> Result<(), LibraryError> {
        let before = row_as_json(self.tx, "source", source.id.0)?;
        let state = next_state(self.tx)?;
        self.tx.execute(
            "UPDATE source SET kind = ?, citation = ?, doi = ?, year = ?, url = ?, changed = ? WHERE id = ?",
            (
                by.kind.as_str(),
                &by.citation,
                &by.doi,
                by.year,
                &by.url,
                state,
                source.id.0,
            ),
        )?;
        let after = row_as_json(self.tx, "source", source.id.0)?;
        history::record(
            self.tx,
            change,
            "edit",
            "source",
            &source.uid,
            before.as_ref(),
            after.as_ref(),
        )
    }

    /// Replaces what a compound holds, with a line in the history. Names and CAS numbers it has beyond the new ones
    /// stay; its old preferred name becomes another name.
    ///
    /// # Errors
    /// `CompoundExists` when another compound has the new structure and descriptor.
    pub fn replace_compound(
        &mut self,
        compound: &Compound,
        by: &NewCompound,
        change: &Change,
    ) -> Result<(), LibraryError> {
        if let Some((id, name)) = find_compound(self.tx, by)?
            && id != compound.id
        {
            return Err(LibraryError::CompoundExists { id: id.0, name });
        }
        let before = compound_as_json(self.tx, compound.id)?;
        let state = next_state(self.tx)?;
        self.tx.execute(
            "UPDATE compound SET name = ?, smiles = ?, inchi = ?, inchikey = ?, mirror_key = ?, parent_key = ?, \
             descriptor = ?, formula = ?, molar_mass = ?, chirality = ?, changed = ? WHERE id = ?",
            (
                by.name.trim(),
                &by.smiles,
                &by.inchi,
                &by.inchikey,
                &by.mirror_key,
                &by.parent_key,
                &by.descriptor,
                &by.formula,
                by.molar_mass.map(crate::quantity::MolarMass::grams_per_mole),
                by.chirality.as_str(),
                state,
                compound.id.0,
            ),
        )?;
        if by.name.trim() != compound.name {
            self.tx.execute(
                "UPDATE compound_name SET kind = 'other' WHERE compound = ?",
                [compound.id.0],
            )?;
            insert_name(self.tx, compound.id, &by.name, "preferred")?;
            self.tx.execute(
                "UPDATE compound_name SET kind = 'preferred' WHERE compound = ? AND name = ?",
                (compound.id.0, by.name.trim()),
            )?;
        }
        for name in &by.other_names {
            insert_name(self.tx, compound.id, name, "other")?;
        }
        for number in &by.cas {
            insert_cas(self.tx, compound.id, number)?;
        }
        self.record_compound(compound, before.as_ref(), change)
    }

    /// Gives a compound further names and CAS numbers, with a line in the history.
    pub fn complete_compound(
        &mut self,
        compound: &Compound,
        names: &[String],
        cas: &[String],
        change: &Change,
    ) -> Result<(), LibraryError> {
        let before = compound_as_json(self.tx, compound.id)?;
        self.names(compound.id, names, cas)?;
        self.record_compound(compound, before.as_ref(), change)
    }

    fn record_compound(
        &self,
        compound: &Compound,
        before: Option<&serde_json::Value>,
        change: &Change,
    ) -> Result<(), LibraryError> {
        let after = compound_as_json(self.tx, compound.id)?;
        history::record(
            self.tx,
            change,
            "edit",
            "compound",
            &compound.uid,
            before,
            after.as_ref(),
        )
    }

    fn compound_numbered(&self, id: CompoundId) -> Result<Compound, LibraryError> {
        let mut select = self.tx.prepare_cached(&format!("{SELECT_COMPOUND} WHERE id = ?"))?;
        let mut found = select.query([id.0])?;
        match found.next()? {
            Some(row) => rows::compound_from_row(self.tx, row),
            None => Err(LibraryError::Unknown {
                what: "compound",
                id: id.to_string(),
            }),
        }
    }
}
