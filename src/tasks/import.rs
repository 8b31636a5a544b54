//! Importing files of values: every row is joined to its compound, or refused with the reason, in one recorded load.
//!
//! A trial is the same load taken back at its end, so that it says what an import would do and nothing else. A row's key
//! follows from its source, its compound as the file gives it and its statement; a row whose key is in the library is
//! there already, so that a file imported twice adds nothing. Start reading at [`import`].

mod foreseen;

use super::curate::{CompoundRequest, CurateError, find_compound};
use super::resolve::{self, Candidate, Resolution, resolve_exactly};
use crate::compound::{CasNumber, Formula, Structure};
use crate::exchange::field::Field;
use crate::exchange::mapping::{Assignment, Mapping, MappingError};
use crate::exchange::record::{Defaults, GivenCompound, Maker, Record, Refusal, folded_name};
use crate::exchange::rejects::Rejects;
use crate::exchange::rows::{self, About, Event, ReadError, ReadOptions, Row};
use crate::library::{
    Access, Change, Compound, CompoundChoice, CompoundId, EntryContent, EntryKind, Library, LibraryError, LoadCounts,
    Loader, NewCompound, NewSource, ReviewState, SourceId,
};
use foreseen::Pending;
pub use foreseen::{Foreseen, MOST_FORESEEN};
use sha2::{Digest, Sha256};
use std::collections::{BTreeMap, HashMap};
use std::fmt::Write;
use std::fs::File;
use std::io::{self, Read};
use std::path::{Path, PathBuf};

/// What is to be imported, and how.
#[derive(Clone, Debug, Default)]
pub struct ImportRequest {
    /// The files.
    pub files: Vec<PathBuf>,
    /// How they are read.
    pub options: ReadOptions,
    /// What is known of their columns.
    pub mapping: Mapping,
    /// What holds for every row.
    pub defaults: Defaults,
    /// Whether compounds that the library does not hold are added.
    pub may_add_compounds: bool,
    /// Whether nothing is kept.
    pub is_trial: bool,
    /// Where rejected rows go.
    pub rejects: RejectsTo,
}

/// Where rejected rows go.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub enum RejectsTo {
    /// To no file.
    #[default]
    Nowhere,
    /// Beside each input.
    Beside,
    /// To one file, for an import of one.
    File(PathBuf),
}

/// What an import came to, or would come to.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct ImportReport {
    /// Whether nothing was kept.
    pub is_trial: bool,
    /// The label of the load in the history; none when nothing was added.
    pub label: Option<String>,
    /// The files.
    pub files: Vec<FileReport>,
    /// Compounds, sources and entries added.
    pub added: Counts,
    /// Rows that are in the library already.
    pub present: u64,
    /// Rows refused.
    pub rejected: u64,
    /// Entries added with a doubt.
    pub doubted: u64,
    /// Compounds that rows were joined to, with the number of rows added; the first ones.
    pub joined: Vec<Joined>,
    /// Compounds beyond those listed.
    pub joined_beyond: u64,
    /// Rows refused, with the reason; the first ones.
    pub refusals: Vec<RefusedRow>,
    /// Solvents that are not in the table, kept as they are printed.
    pub unknown_solvents: Vec<String>,
    /// What the audit would find of the first entries of a trial, the gravest first.
    pub foreseen: Vec<Foreseen>,
    /// Entries of a trial beyond those that were audited.
    pub not_foreseen: u64,
}

/// What was added.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Counts {
    /// Compounds.
    pub compounds: u64,
    /// Sources.
    pub sources: u64,
    /// Entries.
    pub entries: u64,
}

impl From<LoadCounts> for Counts {
    fn from(counts: LoadCounts) -> Self {
        Self {
            compounds: counts.compounds,
            sources: counts.sources,
            entries: counts.entries,
        }
    }
}

/// What a file came to.
#[derive(Clone, Debug, PartialEq)]
pub struct FileReport {
    /// The file.
    pub file: PathBuf,
    /// SHA-256 of its bytes.
    pub digest: String,
    /// What it was found to be.
    pub about: About,
    /// What its columns hold.
    pub assignment: Assignment,
    /// Rows read.
    pub rows: u64,
    /// Entries added.
    pub added: u64,
    /// Rows that are in the library already.
    pub present: u64,
    /// Rows refused.
    pub rejected: u64,
    /// The file of refused rows.
    pub rejects: Option<PathBuf>,
}

/// A compound that rows were joined to.
#[derive(Clone, Debug, PartialEq)]
pub struct Joined {
    /// What the file calls it.
    pub given: String,
    /// Its number in the library; of a new compound in a trial, none.
    pub compound: Option<CompoundId>,
    /// Its name in the library.
    pub name: String,
    /// Whether it is new.
    pub is_new: bool,
    /// Rows added to it.
    pub rows: u64,
}

/// A row that was refused.
#[derive(Clone, Debug, PartialEq)]
pub struct RefusedRow {
    /// The file.
    pub file: PathBuf,
    /// The line or row.
    pub line: u64,
    /// The column and field to blame, and the reason.
    pub refusal: Refusal,
    /// Compounds that may be meant.
    pub candidates: Vec<Candidate>,
}

/// Why nothing was imported.
#[derive(Debug, thiserror::Error)]
pub enum ImportError {
    /// A file cannot be read.
    #[error(transparent)]
    Read(#[from] ReadError),
    /// The mapping does not do.
    #[error(transparent)]
    Mapping(#[from] MappingError),
    /// The rejects cannot be written.
    #[error("the rejects cannot be written to {}: {error}; name another file with --rejects", path.display())]
    Rejects {
        /// The file.
        path: PathBuf,
        /// What the system says.
        error: io::Error,
    },
    /// The library refuses.
    #[error(transparent)]
    Library(#[from] LibraryError),
}

/// Most compounds and refused rows that a report lists.
const MOST_LISTED: usize = 200;

/// Most compounds, sources and refusals that are remembered while rows pass.
const MOST_REMEMBERED: usize = 200_000;

/// How often progress is told, in rows.
const PROGRESS_EVERY: u64 = 256;

/// Imports files, in one load that is kept whole or not at all. `progress` is told the bytes read of the file at hand, and
/// its size.
///
/// # Errors
/// When a file cannot be read, a mapping does not fit, or the library cannot be written; then nothing is kept.
pub fn import(
    library: &mut Library,
    request: &ImportRequest,
    change: &Change,
    progress: &mut dyn FnMut(u64, u64),
) -> Result<ImportReport, ImportError> {
    let mut label = Vec::new();
    let mut files = Vec::new();
    for file in &request.files {
        let (digest, size) = digest(file).map_err(|error| ReadError::io(file, error))?;
        label.push(format!("{} (sha256 {digest})", file_name(file)));
        files.push((file.clone(), digest, size));
    }
    let label = format!("import: {}", label.join(", "));
    // Names are looked up in the library as it was before the load; what the load itself adds is found through its loader.
    let before = Library::open(library.path(), Access::Read)?;

    let mut report = ImportReport {
        is_trial: request.is_trial,
        ..ImportReport::default()
    };
    let mut stopped: Option<ImportError> = None;
    let mut all_rejects = Vec::new();
    let loaded = library.load(&label, change, |loader| {
        let mut import = Import {
            request,
            before: &before,
            loader,
            maker: Maker::new(request.defaults.clone()),
            identified: HashMap::new(),
            sources: HashMap::new(),
            joined: BTreeMap::new(),
            joined_beyond: 0,
            pending: request.is_trial.then(Pending::default),
            report: &mut report,
        };
        for (file, digest, size) in files {
            match import.file(&file, &digest, size, progress) {
                Ok(rejects) => all_rejects.push(rejects),
                Err(error) => {
                    stopped = Some(error);
                    return Err(taken_back());
                }
            }
        }
        if let Some(pending) = import.pending.take() {
            import.report.not_foreseen = pending.n_beyond;
            import.report.foreseen = pending.findings(import.before)?;
        }
        let n_added = import.finish();
        if request.is_trial || n_added == 0 {
            return Err(taken_back());
        }
        Ok(())
    });
    if let Some(error) = stopped {
        return Err(error);
    }
    match loaded {
        Ok(((), counts)) => {
            report.added = counts.into();
            report.label = Some(label);
        }
        Err(LibraryError::Refused(reason)) if reason == TAKEN_BACK => {}
        Err(error) => return Err(error.into()),
    }
    for (file, (path, rejects)) in report.files.iter_mut().zip(all_rejects) {
        file.rejects = rejects.finish().map_err(|error| ImportError::Rejects { path, error })?;
    }
    Ok(report)
}

/// The reason a load is taken back without an error.
const TAKEN_BACK: &str = "the load is taken back";

fn taken_back() -> LibraryError {
    LibraryError::Refused(TAKEN_BACK.to_owned())
}

/// What a compound as given came to.
#[derive(Clone)]
struct Identified {
    /// What tells it from others in the key of a row, independent of this library.
    identity: String,
    result: Result<CompoundId, Box<Unidentified>>,
}

/// Why a compound is not identified.
#[derive(Clone)]
struct Unidentified {
    reason: String,
    candidates: Vec<Candidate>,
}

impl Unidentified {
    fn new(reason: impl Into<String>) -> Self {
        Self {
            reason: reason.into(),
            candidates: Vec::new(),
        }
    }
}

/// Why a row is not added: it is refused, or the library failed, which ends the import.
enum RowError {
    Refused(Refusal, Vec<Candidate>),
    Library(LibraryError),
}

impl From<LibraryError> for RowError {
    fn from(error: LibraryError) -> Self {
        Self::Library(error)
    }
}

impl From<Refusal> for RowError {
    fn from(refusal: Refusal) -> Self {
        Self::Refused(refusal, Vec::new())
    }
}

/// How a row ended that was not refused.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Ending {
    Added,
    Present,
}

/// One import under way.
struct Import<'a, 'tx> {
    request: &'a ImportRequest,
    before: &'a Library,
    loader: &'a mut Loader<'tx>,
    maker: Maker,
    identified: HashMap<GivenCompound, Identified>,
    sources: HashMap<(String, Option<String>), SourceId>,
    joined: BTreeMap<CompoundId, Joined>,
    joined_beyond: u64,
    /// The entries of a trial, to be audited at its end.
    pending: Option<Pending>,
    report: &'a mut ImportReport,
}

impl Import<'_, '_> {
    fn file(
        &mut self,
        file: &Path,
        digest: &str,
        size: u64,
        progress: &mut dyn FnMut(u64, u64),
    ) -> Result<(PathBuf, Rejects), ImportError> {
        let mapping = &self.request.mapping;
        let mut read: Option<FileReport> = None;
        let mut rejects = Rejects::none();
        let mut rejects_path = PathBuf::new();
        progress(0, size);
        rows::read(
            file,
            &self.request.options,
            &|heading| mapping.knows(heading),
            &mut |event| {
                match (event, &mut read) {
                    (Event::Begin(about), _) => {
                        let to = match &self.request.rejects {
                            RejectsTo::Nowhere => None,
                            RejectsTo::Beside => Some(Rejects::beside(file, about.format)),
                            RejectsTo::File(path) => Some(path.clone()),
                        };
                        if let Some(path) = to {
                            rejects = Rejects::new(path.clone()).map_err(|error| ImportError::Rejects {
                                path: path.clone(),
                                error,
                            })?;
                            rejects_path = path;
                        }
                        read = Some(FileReport {
                            file: file.to_owned(),
                            digest: digest.to_owned(),
                            about: about.clone(),
                            assignment: Assignment::default(),
                            rows: 0,
                            added: 0,
                            present: 0,
                            rejected: 0,
                            rejects: None,
                        });
                    }
                    (Event::Columns(columns), Some(read)) => {
                        read.assignment = mapping.assign(columns)?;
                        read.assignment.keep(|field| !field.is_of_measurement());
                    }
                    (Event::Row(row), Some(read)) => {
                        read.rows += 1;
                        if read.rows.is_multiple_of(PROGRESS_EVERY) {
                            progress(row.bytes, size);
                        }
                        self.row(&row, read, &mut rejects, &rejects_path)?;
                    }
                    (_, None) => {}
                }
                Ok::<(), ImportError>(())
            },
        )?;
        progress(size, size);
        let Some(read) = read else {
            return Err(ReadError::Empty { path: file.to_owned() }.into());
        };
        if let Some(column) = mapping.missing(&read.assignment.headings).first() {
            return Err(MappingError::Column {
                column: column.clone(),
                found: read.assignment.headings.clone(),
            }
            .into());
        }
        self.report.files.push(read);
        Ok((rejects_path, rejects))
    }

    fn row(
        &mut self,
        row: &Row,
        read: &mut FileReport,
        rejects: &mut Rejects,
        rejects_path: &Path,
    ) -> Result<(), ImportError> {
        match self.add(row, &read.assignment, &read.file) {
            Ok(Ending::Added) => read.added += 1,
            Ok(Ending::Present) => read.present += 1,
            Err(RowError::Library(error)) => return Err(error.into()),
            Err(RowError::Refused(refusal, candidates)) => {
                read.rejected += 1;
                let mut reason = match &refusal.column {
                    Some(column) => format!("{column}: {}", refusal.reason),
                    None => refusal.reason.clone(),
                };
                if !candidates.is_empty() {
                    let names: Vec<String> = candidates
                        .iter()
                        .take(5)
                        .map(|candidate| format!("{} (#{})", candidate.compound.name, candidate.compound.id))
                        .collect();
                    reason = format!("{reason}: {}", names.join(", "));
                }
                rejects
                    .add(&read.assignment.headings, row, &reason)
                    .map_err(|error| ImportError::Rejects {
                        path: rejects_path.to_owned(),
                        error,
                    })?;
                if self.report.refusals.len() < MOST_LISTED {
                    self.report.refusals.push(RefusedRow {
                        file: read.file.clone(),
                        line: row.line,
                        refusal,
                        candidates,
                    });
                }
            }
        }
        Ok(())
    }

    fn add(&mut self, row: &Row, assignment: &Assignment, file: &Path) -> Result<Ending, RowError> {
        let record = self.maker.record(row, assignment)?;
        if let Some(entry) = record
            .uid
            .as_deref()
            .map(|uid| self.before.entry_by_uid(uid))
            .transpose()?
            .flatten()
        {
            return if entry.statement == record.statement {
                Ok(Ending::Present)
            } else {
                let reason = format!(
                    "entry #{} with this uid is in the library and differs; change it with biot edit {}, or empty the \
                     cell to add the row as a new entry",
                    entry.id, entry.id
                );
                Err(RowError::Refused(
                    Refusal {
                        field: Some(Field::Uid),
                        column: Some("uid".to_owned()),
                        reason,
                    },
                    Vec::new(),
                ))
            };
        }
        let identified = self.identify(&record.compound)?;
        let key = format!("import|{}", record.key(&identified.identity));
        // What is there already is so even where its compound is no longer found by the name the file gives.
        if self.loader.has_entry(&key)? {
            return Ok(Ending::Present);
        }
        let compound = identified.result.map_err(|why| {
            let refusal = Refusal {
                field: Some(Field::Compound),
                column: assignment
                    .column(Field::Compound)
                    .and_then(|column| assignment.headings.get(column).cloned()),
                reason: why.reason,
            };
            RowError::Refused(refusal, why.candidates)
        })?;
        let source = self.source(&record.source)?;
        self.join(&record, compound);
        if !record.statement.doubts.is_empty() {
            self.report.doubted += 1;
        }
        let name = self.pending.as_ref().map(|_| record.compound.label().to_owned());
        let content = EntryContent {
            compound,
            source,
            kind: record.kind,
            statement: record.statement,
            identity: record.identity,
            hand: record.hand,
            state: ReviewState::Draft,
            kept_out: record.kept_out,
            substance: record.substance,
            seen: record.seen,
            comment: record.comment,
            method: record.method.filter(|_| record.kind == EntryKind::Specification),
        };
        self.loader.entry(&content, Some(&key))?;
        if let (Some(pending), Some(name)) = (&mut self.pending, name) {
            pending.entry(&content, &name, format!("{} line {}", file_name(file), row.line));
        }
        Ok(Ending::Added)
    }

    fn source(&mut self, source: &NewSource) -> Result<SourceId, LibraryError> {
        let key = (source.citation.clone(), source.doi.clone());
        if let Some(&id) = self.sources.get(&key) {
            return Ok(id);
        }
        let id = self.loader.source(source)?;
        if self.sources.len() >= MOST_REMEMBERED {
            self.sources.clear();
        }
        self.sources.insert(key, id);
        Ok(id)
    }

    fn join(&mut self, record: &Record, compound: CompoundId) {
        if let Some(joined) = self.joined.get_mut(&compound) {
            joined.rows += 1;
        } else if self.joined.len() >= MOST_REMEMBERED {
            self.joined_beyond += 1;
        } else {
            self.joined.insert(
                compound,
                Joined {
                    given: record.compound.label().to_owned(),
                    compound: Some(compound),
                    name: String::new(),
                    is_new: false,
                    rows: 1,
                },
            );
        }
    }

    fn identify(&mut self, given: &GivenCompound) -> Result<Identified, LibraryError> {
        if let Some(known) = self.identified.get(given) {
            return Ok(known.clone());
        }
        let identity = identity(given);
        let result = match self.choose(given) {
            Ok(choice) => self.take(given, choice)?,
            Err(Choosing::Library(error)) => return Err(error),
            Err(Choosing::Refused(why)) => Err(why),
        };
        let identified = Identified { identity, result };
        if self.identified.len() >= MOST_REMEMBERED {
            self.identified.clear();
        }
        self.identified.insert(given.clone(), identified.clone());
        Ok(identified)
    }

    /// The compound in the library as it was, or the one to be added.
    fn choose(&self, given: &GivenCompound) -> Result<CompoundChoice, Choosing> {
        let choice = match &given.inchikey {
            Some(key) if given.smiles.is_none() && given.inchi.is_none() => self.by_inchikey(given, key)?,
            _ => find_compound(self.before, &request(given))?,
        };
        let (found, formula, inchikey) = match &choice {
            CompoundChoice::Known(id) => {
                let compound = self.before.compound(*id)?;
                (Some(compound.id), compound.formula, compound.inchikey)
            }
            CompoundChoice::New(new) => (None, new.formula.clone(), new.inchikey.clone()),
        };
        if let (Some(asked), Some(other)) = (&given.inchikey, &inchikey)
            && asked != other
        {
            return refused(format!(
                "the InChIKey {asked} is not that of the structure, {other}; one of them is wrong"
            ));
        }
        if let Some(formula_given) = &given.formula {
            let read = Formula::parse(formula_given)
                .map_err(|error| Choosing::Refused(Box::new(Unidentified::new(error.to_string()))))?;
            let plain = read.to_string();
            if formula
                .as_deref()
                .and_then(|known| Formula::parse(known).ok())
                .is_some_and(|known| {
                    (known.molar_mass().grams_per_mole() - read.molar_mass().grams_per_mole()).abs() > 0.05
                })
            {
                return refused(format!(
                    "the formula {plain} is not that of the compound, {}; a salt or hydrate is another compound",
                    formula.unwrap_or_default()
                ));
            }
        }
        self.check_name(given, found)?;
        Ok(choice)
    }

    /// A name or CAS number that is owned by one other compound contradicts what was found by structure or number.
    fn check_name(&self, given: &GivenCompound, found: Option<CompoundId>) -> Result<(), Choosing> {
        let decided_otherwise =
            given.cas.is_some() || given.smiles.is_some() || given.inchi.is_some() || given.inchikey.is_some();
        let Some(name) = given.name.as_deref().filter(|_| decided_otherwise) else {
            return Ok(());
        };
        if let Some(Resolution::One(other)) = resolve_exactly(self.before, name)?
            && found != Some(other.compound.id)
            && (found.is_some() || other.compound.inchikey.is_some())
        {
            return refused(format!(
                "the name \"{name}\" is that of {} (#{}), which is not the compound of the structure or number given",
                other.compound.name, other.compound.id
            ));
        }
        Ok(())
    }

    fn by_inchikey(&self, given: &GivenCompound, key: &str) -> Result<CompoundChoice, Choosing> {
        let mut found = self.before.compounds_by_inchikey(key)?;
        if let Some(text) = &given.cas {
            let number = text.parse::<CasNumber>().map_err(CurateError::from)?.to_string();
            let others = self.before.compounds_by_cas(&number)?;
            if let Some(other) = others
                .first()
                .filter(|_| !others.iter().any(|other| found.contains(other)))
            {
                return refused(format!(
                    "the CAS number {number} is that of {} (#{}), which has another InChIKey",
                    other.name, other.id
                ));
            }
        }
        if let Some(exact) = found.iter().find(|compound| compound.descriptor == given.descriptor) {
            return Ok(CompoundChoice::Known(exact.id));
        }
        match (found.len(), &given.descriptor) {
            (1, None) => return Ok(CompoundChoice::Known(found.remove(0).id)),
            (2.., None) => return Err(self.ambiguous(&format!("several compounds have the InChIKey {key}"), found)?),
            _ => {}
        }
        let Some(name) = &given.name else {
            return refused(format!(
                "the library holds no compound with the InChIKey {key}; give a name or a structure to add it"
            ));
        };
        Ok(CompoundChoice::New(Box::new(NewCompound {
            other_names: given.other_names.clone(),
            cas: given.cas.iter().cloned().collect(),
            inchikey: Some(key.to_owned()),
            descriptor: given.descriptor.clone(),
            ..NewCompound::named(name)
        })))
    }

    fn ambiguous(&self, reason: &str, compounds: Vec<Compound>) -> Result<Choosing, LibraryError> {
        let candidates = compounds
            .into_iter()
            .map(|compound| {
                let matched = compound.name.clone();
                resolve::candidate(self.before, compound, matched)
            })
            .collect::<Result<_, _>>()?;
        Ok(Choosing::Refused(Box::new(Unidentified {
            reason: reason.to_owned(),
            candidates,
        })))
    }

    /// Takes the choice into the load: a new compound is added, or found among those that this load added.
    fn take(
        &mut self,
        given: &GivenCompound,
        choice: CompoundChoice,
    ) -> Result<Result<CompoundId, Box<Unidentified>>, LibraryError> {
        let mut new = match choice {
            CompoundChoice::Known(id) => return Ok(Ok(id)),
            CompoundChoice::New(new) => *new,
        };
        if !self.request.may_add_compounds {
            return Ok(Err(Box::new(self.unknown(given)?)));
        }
        if is_repeating_unit(given) {
            new.smiles.clone_from(&given.smiles);
        }
        if let Some(name) = given.name.as_deref().filter(|name| name.starts_with('#')) {
            return Ok(Err(Box::new(Unidentified::new(format!("there is no compound {name}")))));
        }
        for text in &given.other_cas {
            match text.parse::<CasNumber>() {
                Ok(number) => new.cas.push(number.to_string()),
                Err(error) => return Ok(Err(Box::new(Unidentified::new(error.to_string())))),
            }
        }
        if new.inchikey.is_none() && new.descriptor.is_none() {
            let mut added = self.loader.by_name(&new.name)?;
            for number in &new.cas {
                added.extend(self.loader.by_cas(number)?);
            }
            added.sort_unstable();
            added.dedup();
            match added[..] {
                [] => {}
                [id] => {
                    self.loader
                        .names(id, std::iter::once(&new.name).chain(&new.other_names), &new.cas)?;
                    return Ok(Ok(id));
                }
                _ => {
                    return Ok(Err(Box::new(Unidentified::new(format!(
                        "\"{}\" may be any of several compounds of this import; give a structure or a CAS number",
                        new.name
                    )))));
                }
            }
        }
        if new.formula.is_none()
            && let Some(formula) = given
                .formula
                .as_deref()
                .and_then(|formula| Formula::parse(formula).ok())
        {
            new.molar_mass = Some(formula.molar_mass());
            new.formula = Some(formula.to_string());
        }
        let is_name_only = new.inchikey.is_none() && new.descriptor.is_none() && new.formula.is_none();
        if is_name_only {
            let id = self.loader.named_compound(&new.name)?;
            self.loader.names(id, &new.other_names, &new.cas)?;
            return Ok(Ok(id));
        }
        let id = self.loader.compound(&new)?;
        if let Some(pending) = &mut self.pending {
            pending.compound(id, &new);
        }
        Ok(Ok(id))
    }

    /// The reason for a compound that the library does not hold, with the nearest names as long as few are asked for.
    fn unknown(&self, given: &GivenCompound) -> Result<Unidentified, LibraryError> {
        let asked = given.label();
        let nearest = if self.report.refusals.len() < MOST_LISTED {
            match resolve::resolve(self.before, asked)? {
                Resolution::Unknown { nearest, .. } => nearest,
                Resolution::Ambiguous { candidates, .. } => candidates,
                Resolution::One(_) => Vec::new(),
            }
        } else {
            Vec::new()
        };
        Ok(Unidentified {
            reason: format!(
                "the library holds no compound \"{asked}\"; choose one of the nearest names, or import with --new-compounds"
            ),
            candidates: nearest,
        })
    }

    /// Sums up; how many entries were added.
    fn finish(self) -> u64 {
        let report = self.report;
        let sum = |count: fn(&FileReport) -> u64| report.files.iter().map(count).sum::<u64>();
        let (added, present, rejected) = (
            sum(|file| file.added),
            sum(|file| file.present),
            sum(|file| file.rejected),
        );
        (report.present, report.rejected) = (present, rejected);
        report.added = self.loader.counts().into();
        report.unknown_solvents = self.maker.unknown_solvents.into_iter().collect();
        let mut joined: Vec<Joined> = self.joined.into_values().collect();
        joined.sort_by_key(|joined| std::cmp::Reverse(joined.rows));
        report.joined_beyond = (joined.len().saturating_sub(MOST_LISTED) as u64) + self.joined_beyond;
        joined.truncate(MOST_LISTED);
        for joined in &mut joined {
            // A compound of this load is not in the library as it was.
            if let Some(Ok(compound)) = joined.compound.map(|id| self.before.compound(id)) {
                joined.name = compound.name;
                continue;
            }
            joined.name.clone_from(&joined.given);
            joined.is_new = true;
            if report.is_trial {
                joined.compound = None;
            }
        }
        report.joined = joined;
        added
    }
}

/// Why no compound was chosen.
enum Choosing {
    Refused(Box<Unidentified>),
    Library(LibraryError),
}

impl From<LibraryError> for Choosing {
    fn from(error: LibraryError) -> Self {
        Self::Library(error)
    }
}

impl From<CurateError> for Choosing {
    fn from(error: CurateError) -> Self {
        match error {
            CurateError::Library(error) => Self::Library(error),
            CurateError::Ambiguous { ref candidates, .. } => Self::Refused(Box::new(Unidentified {
                reason: error.to_string(),
                candidates: candidates.clone(),
            })),
            other => Self::Refused(Box::new(Unidentified::new(other.to_string()))),
        }
    }
}

fn refused<T>(reason: String) -> Result<T, Choosing> {
    Err(Choosing::Refused(Box::new(Unidentified::new(reason))))
}

/// A repeating unit (`*` in its SMILES) is no structure: its name and descriptor decide, and the SMILES is kept as text.
fn is_repeating_unit(given: &GivenCompound) -> bool {
    given.descriptor.is_some() && given.smiles.as_ref().is_some_and(|smiles| smiles.contains('*'))
}

fn request(given: &GivenCompound) -> CompoundRequest {
    CompoundRequest {
        name: given.name.clone(),
        other_names: given.other_names.clone(),
        cas: given.cas.clone(),
        smiles: given.smiles.clone().filter(|_| !is_repeating_unit(given)),
        inchi: given.inchi.clone(),
        descriptor: given.descriptor.clone(),
    }
}

/// What tells a compound from others in the key of a row: its InChIKey, else its CAS number, else its folded name; and its
/// descriptor.
fn identity(given: &GivenCompound) -> String {
    let structure = || {
        let smiles = given
            .smiles
            .as_deref()
            .and_then(|text| Structure::from_smiles(text).ok());
        let inchi = || given.inchi.as_deref().and_then(|text| Structure::from_inchi(text).ok());
        smiles
            .or_else(inchi)
            .map(|structure| structure.key().as_str().to_owned())
    };
    let main = given
        .inchikey
        .clone()
        .or_else(structure)
        .or_else(|| given.cas.clone())
        .or_else(|| given.name.as_deref().map(folded_name))
        .unwrap_or_default();
    format!("{main}|{}", given.descriptor.as_deref().unwrap_or_default())
}

fn file_name(path: &Path) -> String {
    path.file_name().unwrap_or_default().to_string_lossy().into_owned()
}

/// SHA-256 of a file, in hexadecimal, and its size.
fn digest(path: &Path) -> io::Result<(String, u64)> {
    let mut file = File::open(path)?;
    let mut hasher = Sha256::new();
    let mut block = vec![0; 1 << 16];
    let mut size = 0;
    loop {
        let n = file.read(&mut block)?;
        if n == 0 {
            let mut hex = String::new();
            for byte in hasher.finalize() {
                let _ = write!(hex, "{byte:02x}");
            }
            return Ok((hex, size));
        }
        hasher.update(&block[..n]);
        size += n as u64;
    }
}
