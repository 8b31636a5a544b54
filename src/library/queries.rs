//! Questions to the store. Each is a few look-ups in an index of the file, whatever its size; those that read the
//! whole file say so.

use super::Library;
use super::error::LibraryError;
use super::history::{self, HistoryCheck, HistoryLine};
use super::rows::{self, SELECT_COMPOUND, SELECT_ENTRY, SELECT_SOURCE};
use super::types::{Compound, CompoundId, Entry, EntryId, Source, SourceId};
use crate::quantity::{MolarMass, SpecificRotation};
use rusqlite::{OptionalExtension, Params, Statement, StatementStatus};
use serde::{Deserialize, Serialize};

/// Counts of what a library holds.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Statistics {
    /// Compounds, without those merged into another.
    pub compounds: u64,
    /// Compounds with a structure.
    pub compounds_with_structure: u64,
    /// Names.
    pub names: u64,
    /// Sources.
    pub sources: u64,
    /// Literature values.
    pub values: u64,
    /// Specifications.
    pub specifications: u64,
    /// Entries not yet confirmed.
    pub drafts: u64,
    /// Withdrawn entries.
    pub withdrawn: u64,
    /// Entries kept out of pooling.
    pub kept_out: u64,
    /// Lines of the history.
    pub history_lines: u64,
}

/// How printed concentrations and cell lengths are distributed over the library: what an unprinted one may have been.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct PrintDistribution {
    /// Quantiles of the mass concentration, g/100 mL, at the probabilities (i + ½)/n.
    pub concentrations: Vec<f64>,
    /// Entries with a concentration.
    pub n_concentrations: u64,
    /// Quantiles of the cell length, dm, at the probabilities (i + ½)/n.
    pub lengths: Vec<f64>,
    /// Entries with a cell length.
    pub n_lengths: u64,
}

/// Entries that a value can be held against: specific rotations with a sign, neither withdrawn nor kept out.
const USABLE_ROTATION: &str = "kind = 'value' AND rotation = 'specific' AND sign = 'stated' AND state <> 'withdrawn' \
                               AND kept_out IS NULL AND identity <> 'unclear'";

impl Library {
    /// A compound by its number; one that was merged leads to the compound it was merged into.
    pub fn compound(&self, id: CompoundId) -> Result<Compound, LibraryError> {
        let at = self.surviving(id)?;
        self.compounds_where("id = ?", [at.0])?
            .pop()
            .ok_or_else(|| unknown("compound", id))
    }

    /// A compound by its stable id; one that was merged leads to the compound it was merged into.
    pub fn compound_by_uid(&self, uid: &str) -> Result<Option<Compound>, LibraryError> {
        let id: Option<i64> = self
            .connection
            .prepare_cached("SELECT id FROM compound WHERE uid = ?")?
            .query_row([uid], |row| row.get(0))
            .optional()?;
        id.map(|id| self.compound(CompoundId(id))).transpose()
    }

    /// Compounds with a standard InChIKey; several where only our own descriptor tells them apart.
    pub fn compounds_by_inchikey(&self, inchikey: &str) -> Result<Vec<Compound>, LibraryError> {
        // By the index of first blocks: the one of whole keys leaves out merged compounds, which lead to others.
        self.surviving_compounds(
            "SELECT id FROM compound WHERE connectivity = substr(?1, 1, 14) AND inchikey = ?1",
            [inchikey],
        )
    }

    /// Compounds with a CAS number.
    pub fn compounds_by_cas(&self, number: &str) -> Result<Vec<Compound>, LibraryError> {
        self.surviving_compounds("SELECT compound FROM cas_number WHERE number = ?", [number])
    }

    /// Compounds that own a name, spelling of dashes, Greek letters and case aside.
    pub fn compounds_by_name(&self, name: &str) -> Result<Vec<Compound>, LibraryError> {
        self.surviving_compounds(
            "SELECT DISTINCT compound FROM compound_name WHERE folded = ? LIMIT 100",
            [super::folded(name)],
        )
    }

    /// Compounds with a name of the same stem, that is, the same name but for stereodescriptors.
    pub fn compounds_by_stem(&self, stem: &str) -> Result<Vec<Compound>, LibraryError> {
        self.surviving_compounds(
            "SELECT DISTINCT compound FROM compound_name WHERE stem = ? LIMIT 100",
            [stem],
        )
    }

    /// Compounds with a formula in Hill order.
    pub fn compounds_by_formula(&self, formula: &str) -> Result<Vec<Compound>, LibraryError> {
        self.surviving_compounds("SELECT id FROM compound WHERE formula = ? LIMIT 1000", [formula])
    }

    /// Compounds of one connectivity, by the first block of the InChIKey.
    pub fn compounds_by_connectivity(&self, block: &str) -> Result<Vec<Compound>, LibraryError> {
        self.surviving_compounds(
            "SELECT id FROM compound WHERE connectivity = ? AND inchikey IS NOT NULL LIMIT 1000",
            [block],
        )
    }

    /// The other stereoisomers of a compound: same first block of the InChIKey.
    pub fn stereoisomers(&self, compound: &Compound) -> Result<Vec<Compound>, LibraryError> {
        let Some(block) = compound.inchikey.as_deref().and_then(|key| key.get(..14)) else {
            return Ok(Vec::new());
        };
        let mut family = self.compounds_by_connectivity(block)?;
        family.retain(|member| member.id != compound.id);
        Ok(family)
    }

    /// The mirror image of a compound, when the library holds it: by the InChIKey of the mirror image, or, where InChI
    /// cannot tell (axes, polymers), by our own descriptor with its labels exchanged.
    pub fn mirror_image(&self, compound: &Compound) -> Result<Option<Compound>, LibraryError> {
        if let Some(descriptor) = &compound.descriptor {
            let Some(mirrored) = mirrored_descriptor(descriptor) else {
                return Ok(None);
            };
            let key = compound.mirror_key.as_ref().or(compound.inchikey.as_ref());
            let mut found = self.surviving_compounds(
                "SELECT id FROM compound WHERE descriptor = ?1 AND inchikey IS ?2",
                (mirrored, key),
            )?;
            return Ok(found.pop());
        }
        let Some(key) = &compound.mirror_key else {
            return Ok(None);
        };
        let mut found = self.compounds_by_inchikey(key)?;
        found.retain(|other| other.descriptor.is_none() && other.id != compound.id);
        Ok(found.pop())
    }

    /// Other forms of the same parent with the same configuration: its salts and hydrates, or the parent itself.
    pub fn related_forms(&self, compound: &Compound) -> Result<Vec<Compound>, LibraryError> {
        let Some(parent_key) = &compound.parent_key else {
            return Ok(Vec::new());
        };
        let mut forms =
            self.surviving_compounds("SELECT id FROM compound WHERE parent_key = ? LIMIT 1000", [parent_key])?;
        forms.retain(|form| form.id != compound.id && form.descriptor == compound.descriptor);
        Ok(forms)
    }

    /// All entries of a compound: values and specifications of every review state.
    pub fn entries(&self, compound: CompoundId) -> Result<Vec<Entry>, LibraryError> {
        let compound = self.surviving(compound)?;
        self.entries_where("compound = ? ORDER BY id", [compound.0])
    }

    /// The specifications of a compound that are not withdrawn.
    pub fn specifications(&self, compound: CompoundId) -> Result<Vec<Entry>, LibraryError> {
        let compound = self.surviving(compound)?;
        self.entries_where(
            "compound = ? AND kind = 'specification' AND state <> 'withdrawn' ORDER BY id",
            [compound.0],
        )
    }

    /// All entries of a source.
    pub fn entries_of_source(&self, source: SourceId) -> Result<Vec<Entry>, LibraryError> {
        self.entries_where("source = ? ORDER BY id", [source.0])
    }

    /// An entry by its number.
    pub fn entry(&self, id: EntryId) -> Result<Entry, LibraryError> {
        self.entries_where("id = ?", [id.0])?
            .pop()
            .ok_or_else(|| unknown("entry", id))
    }

    /// An entry by its stable id.
    pub fn entry_by_uid(&self, uid: &str) -> Result<Option<Entry>, LibraryError> {
        Ok(self.entries_where("uid = ?", [uid])?.pop())
    }

    /// A source by its number.
    pub fn source(&self, id: SourceId) -> Result<Source, LibraryError> {
        self.sources_where("id = ?", [id.0])?
            .pop()
            .ok_or_else(|| unknown("source", id))
    }

    /// A source by its stable id.
    pub fn source_by_uid(&self, uid: &str) -> Result<Option<Source>, LibraryError> {
        Ok(self.sources_where("uid = ?", [uid])?.pop())
    }

    /// Sources with a DOI (without resolver, case aside).
    pub fn sources_by_doi(&self, doi: &str) -> Result<Vec<Source>, LibraryError> {
        self.sources_where("doi = ?", [doi.to_lowercase()])
    }

    /// Sources with exactly this citation.
    pub fn sources_by_citation(&self, citation: &str) -> Result<Vec<Source>, LibraryError> {
        self.sources_where("citation = ?", [citation])
    }

    /// Calls `visit` with every entry, in order of its number, without holding them all. Reads the whole file.
    pub fn for_each_entry(&self, mut visit: impl FnMut(Entry) -> Result<(), LibraryError>) -> Result<(), LibraryError> {
        let mut select = self
            .connection
            .prepare_cached(&format!("{} ORDER BY id", *SELECT_ENTRY))?;
        let mut rows = select.query([])?;
        while let Some(row) = rows.next()? {
            visit(rows::entry_from_row(row)?)?;
        }
        Ok(())
    }

    /// Calls `visit` with every specific rotation that may be pooled and whose size lies between two bounds, those of a
    /// compound together, without holding them all. Reads the whole file.
    pub fn for_each_rotation_between(
        &self,
        low: SpecificRotation,
        high: SpecificRotation,
        mut visit: impl FnMut(Entry) -> Result<(), LibraryError>,
    ) -> Result<(), LibraryError> {
        let mut select = self.connection.prepare_cached(&format!(
            "{} WHERE {USABLE_ROTATION} AND abs(COALESCE(value, (low + high) / 2)) BETWEEN ? AND ? ORDER BY compound",
            *SELECT_ENTRY
        ))?;
        let mut rows = select.query([low.conventional(), high.conventional()])?;
        while let Some(row) = rows.next()? {
            visit(rows::entry_from_row(row)?)?;
        }
        Ok(())
    }

    /// The specific rotations of a compound that may be pooled.
    pub fn usable_rotations(&self, compound: CompoundId) -> Result<Vec<Entry>, LibraryError> {
        let compound = self.surviving(compound)?;
        self.entries_where(&format!("compound = ? AND {USABLE_ROTATION} ORDER BY id"), [compound.0])
    }

    /// Compounds with a molar mass between two bounds. Reads all compounds.
    pub fn compounds_by_mass(&self, low: MolarMass, high: MolarMass) -> Result<Vec<CompoundId>, LibraryError> {
        let mut select = self.connection.prepare_cached(
            "SELECT id FROM compound WHERE merged_into IS NULL AND molar_mass BETWEEN ? AND ? ORDER BY id",
        )?;
        let found = select.query_map([low.grams_per_mole(), high.grams_per_mole()], |row| row.get(0))?;
        Ok(found.map(|id| id.map(CompoundId)).collect::<Result<_, _>>()?)
    }

    /// Calls `visit` with every compound that was not merged, in order of its number. Reads the whole file.
    pub fn for_each_compound(
        &self,
        mut visit: impl FnMut(Compound) -> Result<(), LibraryError>,
    ) -> Result<(), LibraryError> {
        let mut select = self
            .connection
            .prepare_cached(&format!("{SELECT_COMPOUND} WHERE merged_into IS NULL ORDER BY id"))?;
        let mut rows = select.query([])?;
        while let Some(row) = rows.next()? {
            visit(rows::compound_from_row(&self.connection, row)?)?;
        }
        Ok(())
    }

    /// The highest number of a compound; zero in an empty library.
    pub fn highest_compound(&self) -> Result<i64, LibraryError> {
        Ok(self
            .connection
            .query_row("SELECT coalesce(max(id), 0) FROM compound", [], |row| row.get(0))?)
    }

    /// Counts. Reads the whole file.
    pub fn statistics(&self) -> Result<Statistics, LibraryError> {
        let count = |sql: &str| -> Result<u64, LibraryError> {
            let n: i64 = self.connection.query_row(sql, [], |row| row.get(0))?;
            Ok(n.cast_unsigned())
        };
        Ok(Statistics {
            compounds: count("SELECT count(*) FROM compound WHERE merged_into IS NULL")?,
            compounds_with_structure: count(
                "SELECT count(*) FROM compound WHERE merged_into IS NULL AND inchikey IS NOT NULL",
            )?,
            names: count("SELECT count(*) FROM compound_name")?,
            sources: count("SELECT count(*) FROM source")?,
            values: count("SELECT count(*) FROM entry WHERE kind = 'value'")?,
            specifications: count("SELECT count(*) FROM entry WHERE kind = 'specification'")?,
            drafts: count("SELECT count(*) FROM entry WHERE state = 'draft'")?,
            withdrawn: count("SELECT count(*) FROM entry WHERE state = 'withdrawn'")?,
            kept_out: count("SELECT count(*) FROM entry WHERE kept_out IS NOT NULL")?,
            history_lines: count("SELECT count(*) FROM history")?,
        })
    }

    /// The distribution of printed concentrations and cell lengths, as it was at the newest load.
    pub fn print_distribution(&self) -> Result<PrintDistribution, LibraryError> {
        match self.meta("print_distribution")? {
            None => Ok(PrintDistribution::default()),
            Some(text) => serde_json::from_str(&text).map_err(|_| LibraryError::Stored {
                what: "distribution of printed conditions",
                value: text,
            }),
        }
    }

    /// The lines of the history about one record, by its stable id, oldest first.
    pub fn history_of(&self, entity_uid: &str) -> Result<Vec<HistoryLine>, LibraryError> {
        history::of(&self.connection, entity_uid)
    }

    /// The newest lines of the history, newest first.
    pub fn newest_history(&self, limit: usize) -> Result<Vec<HistoryLine>, LibraryError> {
        history::newest(&self.connection, limit)
    }

    /// Checks the history against itself and against the entries. Reads the whole file.
    pub fn check_history(&self) -> Result<HistoryCheck, LibraryError> {
        history::check(&self.connection)
    }

    /// Checks every page of the file and that no record points nowhere; the problems found, in words. Reads the whole
    /// file.
    pub fn check_integrity(&self) -> Result<Vec<String>, LibraryError> {
        super::file::integrity_problems(&self.connection)
    }

    /// A stored setting.
    pub(super) fn meta(&self, key: &str) -> Result<Option<String>, LibraryError> {
        Ok(self
            .connection
            .prepare_cached("SELECT value FROM meta WHERE key = ?")?
            .query_row([key], |row| row.get(0))
            .optional()?)
    }

    /// The compound a number stands for now, after merges.
    fn surviving(&self, id: CompoundId) -> Result<CompoundId, LibraryError> {
        let mut select = self
            .connection
            .prepare_cached("SELECT merged_into FROM compound WHERE id = ?")?;
        let mut at = id;
        // Merges form chains, never circles: a compound is merged only into one that survives.
        loop {
            let next: Option<Option<i64>> = select.query_row([at.0], |row| row.get(0)).optional()?;
            match next {
                None => return Err(unknown("compound", id)),
                Some(None) => return Ok(at),
                Some(Some(next)) => at = CompoundId(next),
            }
        }
    }

    fn surviving_compounds(&self, sql: &str, params: impl Params) -> Result<Vec<Compound>, LibraryError> {
        let mut select = self.connection.prepare_cached(sql)?;
        let ids: Vec<i64> = select.query_map(params, |row| row.get(0))?.collect::<Result<_, _>>()?;
        assert_looked_up(&select);
        let mut survivors: Vec<CompoundId> = Vec::with_capacity(ids.len());
        for id in ids {
            let id = self.surviving(CompoundId(id))?;
            if !survivors.contains(&id) {
                survivors.push(id);
            }
        }
        survivors.into_iter().map(|id| self.compound(id)).collect()
    }

    fn compounds_where(&self, condition: &str, params: impl Params) -> Result<Vec<Compound>, LibraryError> {
        let mut select = self
            .connection
            .prepare_cached(&format!("{SELECT_COMPOUND} WHERE {condition}"))?;
        let mut rows = select.query(params)?;
        let mut compounds = Vec::new();
        while let Some(row) = rows.next()? {
            compounds.push(rows::compound_from_row(&self.connection, row)?);
        }
        drop(rows);
        assert_looked_up(&select);
        Ok(compounds)
    }

    fn entries_where(&self, condition: &str, params: impl Params) -> Result<Vec<Entry>, LibraryError> {
        let mut select = self
            .connection
            .prepare_cached(&format!("{} WHERE {condition}", *SELECT_ENTRY))?;
        let mut rows = select.query(params)?;
        let mut entries = Vec::new();
        while let Some(row) = rows.next()? {
            entries.push(rows::entry_from_row(row)?);
        }
        drop(rows);
        assert_looked_up(&select);
        Ok(entries)
    }

    fn sources_where(&self, condition: &str, params: impl Params) -> Result<Vec<Source>, LibraryError> {
        let mut select = self
            .connection
            .prepare_cached(&format!("{SELECT_SOURCE} WHERE {condition} ORDER BY id"))?;
        let mut rows = select.query(params)?;
        let mut sources = Vec::new();
        while let Some(row) = rows.next()? {
            sources.push(rows::source_from_row(row)?);
        }
        drop(rows);
        assert_looked_up(&select);
        Ok(sources)
    }
}

/// In debug builds, refuses a look-up that has read a whole table or index: in a large library it would be felt.
pub(super) fn assert_looked_up(select: &Statement<'_>) {
    if cfg!(debug_assertions) {
        let n_rows_passed = select.reset_status(StatementStatus::FullscanStep);
        debug_assert_eq!(
            n_rows_passed,
            0,
            "{:?} does not go through an index",
            select.expanded_sql()
        );
    }
}

fn unknown(what: &'static str, id: impl std::fmt::Display) -> LibraryError {
    LibraryError::Unknown {
        what,
        id: id.to_string(),
    }
}

/// Our own descriptor with its configuration labels exchanged: R ↔ S, P ↔ M, D ↔ L where they stand alone or behind
/// locants or an `a` (axial), as in `aR` or `poly[(R)-lactic acid]`. None when it holds no label.
pub fn mirrored_descriptor(descriptor: &str) -> Option<String> {
    let mut mirrored = String::with_capacity(descriptor.len());
    let mut changed = false;
    let mut word = String::new();
    for c in descriptor.chars().chain(std::iter::once('\0')) {
        if c.is_alphanumeric() {
            word.push(c);
            continue;
        }
        let label = word
            .trim_start_matches(|c: char| c.is_ascii_digit())
            .trim_start_matches('a');
        let exchanged = match label {
            "R" => Some('S'),
            "S" => Some('R'),
            "P" => Some('M'),
            "M" => Some('P'),
            "D" => Some('L'),
            "L" => Some('D'),
            _ => None,
        };
        if let Some(exchanged) = exchanged {
            word.pop();
            word.push(exchanged);
            changed = true;
        }
        mirrored.push_str(&word);
        word.clear();
        if c != '\0' {
            mirrored.push(c);
        }
    }
    changed.then_some(mirrored)
}

#[cfg(test)]
mod tests {
    use super::mirrored_descriptor;

    #[test]
    fn labels_of_own_descriptors_are_exchanged() {
        assert_eq!(mirrored_descriptor("aR").as_deref(), Some("aS"));
        assert_eq!(
            mirrored_descriptor("poly[(R)-lactic acid]").as_deref(),
            Some("poly[(S)-lactic acid]")
        );
        assert_eq!(mirrored_descriptor("1R,3aS").as_deref(), Some("1S,3aR"));
        assert_eq!(mirrored_descriptor("racemate"), None);
    }
}
