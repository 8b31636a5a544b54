//! Writing entries to a file of any format, one after the other, in memory that does not grow with the library.
//!
//! [`export`] picks the entries; each format is a `Sink` in a file of its own, but for the bundle, which holds
//! compounds and sources of their own ([`super::bundle`]). What a format cannot hold is named by
//! [`Format::cannot_hold`].

use super::bundle::BundleWriter;
use super::fields::{self, Cell, Figure, Record};
use super::{cif_out, csv_out, json_out, xlsx_out};
use crate::library::{
    Compound, CompoundId, Entry, EntryContent, EntryKind, Library, LibraryError, ReviewState, Source, SourceId,
};
use std::collections::{HashMap, HashSet};
use std::io::{self, Write};
use std::path::Path;

/// A format of exported files.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Format {
    /// Comma-separated values in UTF-8, one row an entry.
    Csv,
    /// A spreadsheet, one row an entry.
    Xlsx,
    /// Crystallographic information file, one data block an entry.
    Cif,
    /// One JSON object a line, one line an entry.
    JsonLines,
    /// Everything that another library can take in.
    Bundle,
}

/// Something a format cannot hold.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Limit {
    /// The field, or in words what is lost.
    pub what: &'static str,
    /// What becomes of it.
    pub why: &'static str,
}

impl Format {
    /// All formats.
    pub const ALL: [Self; 5] = [Self::Csv, Self::Xlsx, Self::Cif, Self::JsonLines, Self::Bundle];

    /// The word for it.
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Csv => "csv",
            Self::Xlsx => "xlsx",
            Self::Cif => "cif",
            Self::JsonLines => "jsonl",
            Self::Bundle => "bundle",
        }
    }

    /// The format with this word.
    pub fn from_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|format| format.as_str() == word)
    }

    /// The format that the ending of a file name stands for.
    pub fn of_file(path: &Path) -> Option<Self> {
        let ending = path.extension()?.to_str()?.to_lowercase();
        match ending.as_str() {
            "ndjson" => Some(Self::JsonLines),
            word => Self::from_word(word),
        }
    }

    /// What a file of this format cannot hold of the entries written to it.
    pub fn cannot_hold(self) -> Vec<Limit> {
        match self {
            Self::Csv => csv_out::LIMITS.to_vec(),
            Self::Xlsx => xlsx_out::LIMITS.to_vec(),
            Self::Cif => cif_out::limits(),
            Self::JsonLines => json_out::LIMITS.to_vec(),
            Self::Bundle => super::bundle::LIMITS.to_vec(),
        }
    }
}

/// Which entries are exported; every condition that is given must hold.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Selection {
    /// Of this compound.
    pub compound: Option<CompoundId>,
    /// Of this source.
    pub source: Option<SourceId>,
    /// In this review state.
    pub state: Option<ReviewState>,
    /// Of this kind.
    pub kind: Option<EntryKind>,
}

impl Selection {
    /// Whether an entry is meant.
    pub fn takes(&self, entry: &Entry) -> bool {
        self.compound.is_none_or(|id| id == entry.compound)
            && self.source.is_none_or(|id| id == entry.source)
            && self.state.is_none_or(|state| state == entry.state)
            && self.kind.is_none_or(|kind| kind == entry.kind)
    }

    /// Whether every entry is meant.
    pub fn is_all(&self) -> bool {
        *self == Self::default()
    }
}

/// An entry that could not be written.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct LeftOut {
    /// Its number.
    pub entry: i64,
    /// What of it was left out, and why.
    pub reason: String,
}

/// What an export came to.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Exported {
    /// Entries written.
    pub entries: u64,
    /// Compounds written.
    pub compounds: u64,
    /// Sources written.
    pub sources: u64,
    /// What could not be written.
    pub left_out: Vec<LeftOut>,
}

/// Why nothing was exported.
#[derive(Debug, thiserror::Error)]
pub enum ExportError {
    /// The library cannot be read.
    #[error(transparent)]
    Library(#[from] LibraryError),
    /// The output cannot be written.
    #[error("the export cannot be written: {0}")]
    Io(#[from] io::Error),
    /// A row or cell that the format cannot hold.
    #[error("entry {entry} cannot be written as {format}: {reason}; export it as csv or bundle")]
    Unholdable {
        /// The entry's number.
        entry: i64,
        /// The format.
        format: &'static str,
        /// Why.
        reason: String,
    },
}

/// Takes entries one after the other and writes them.
pub(super) trait Sink {
    /// Writes an entry.
    fn entry(&mut self, row: &Row<'_>, done: &mut Exported) -> Result<(), ExportError>;

    /// Ends the file.
    fn finish(self: Box<Self>) -> Result<(), ExportError>;
}

/// An entry with its compound and source.
pub(super) struct Row<'a> {
    pub entry: &'a Entry,
    pub compound: &'a Compound,
    pub source: &'a Source,
}

impl Row<'_> {
    /// All fields of the entry, its compound and its source.
    pub fn record(&self) -> Record {
        let mut record = entry_line(self.entry, &self.compound.uid, &self.source.uid);
        record.extend(fields::compound_record(&fields::compound_content(self.compound)));
        record.extend(fields::source_record(&fields::source_content(self.source)));
        record
    }
}

/// The fields of an entry with its ids, as rows and bundles hold them.
pub(super) fn entry_line(entry: &Entry, compound_uid: &str, source_uid: &str) -> Record {
    let mut record = fields::entry_record(&EntryContent::from(entry.clone()));
    let text = |text: &str| Cell::Text(text.to_owned());
    let revision = Figure {
        value: entry.revision as f64,
        decimals: None,
    };
    record.insert("revision".to_owned(), Cell::Number(revision));
    record.insert("uid".to_owned(), text(&entry.uid));
    record.insert("compound_uid".to_owned(), text(compound_uid));
    record.insert("source_uid".to_owned(), text(source_uid));
    record
}

/// The columns of a row in their order: compound, statement, what the library says of it, source. The last, `digits`, is
/// for formats whose readers see the value of a number only.
pub(super) fn columns() -> impl Iterator<Item = (&'static str, fields::FieldKind)> {
    let compound = fields::COMPOUND_FIELDS.into_iter();
    let (entry, ids) = fields::ENTRY_FIELDS.split_at(fields::ENTRY_FIELDS.len() - 4);
    compound
        .chain(entry.iter().copied())
        .chain(fields::SOURCE_FIELDS)
        .chain(ids.iter().copied())
}

/// How many decimals stood behind each printed number of a record: `value 2; conc 1`. None when there is no number.
pub(super) fn digits(record: &Record) -> Option<String> {
    let parts: Vec<String> = columns()
        .filter_map(|(name, _)| match record.get(name) {
            Some(Cell::Number(Figure {
                decimals: Some(decimals),
                ..
            })) => Some(format!("{name} {decimals}")),
            _ => None,
        })
        .collect();
    (!parts.is_empty()).then(|| parts.join("; "))
}

/// Writes the selected entries. `created` is the moment, RFC 3339; `progress` is called with entries looked at and
/// entries in all. Everything is read from one state of the library.
///
/// # Errors
/// When the library cannot be read or `out` cannot be written, and when the format has no place for an entry; then what
/// was written so far is no whole file.
pub fn export(
    library: &Library,
    format: Format,
    selection: &Selection,
    created: &str,
    out: &mut (dyn Write + Send),
    progress: &mut dyn FnMut(u64, u64),
) -> Result<Exported, ExportError> {
    library.in_snapshot(|library| match format {
        Format::Csv => rows(library, selection, Box::new(csv_out::CsvOut::new(out)?), progress),
        Format::Xlsx => rows(library, selection, Box::new(xlsx_out::XlsxOut::new(out)?), progress),
        Format::Cif => rows(library, selection, Box::new(cif_out::CifOut::new(out)?), progress),
        Format::JsonLines => rows(library, selection, Box::new(json_out::JsonOut::new(out)), progress),
        Format::Bundle => bundle(library, selection, created, out, progress),
    })
}

fn rows(
    library: &Library,
    selection: &Selection,
    mut sink: Box<dyn Sink + '_>,
    progress: &mut dyn FnMut(u64, u64),
) -> Result<Exported, ExportError> {
    let mut done = Exported::default();
    let mut cache = Cache::new(library);
    for_each_selected(library, selection, progress, &mut |entry| {
        let (compound, source) = cache.of(entry)?;
        done.entries += 1;
        sink.entry(
            &Row {
                entry,
                compound,
                source,
            },
            &mut done,
        )
    })?;
    done.compounds = cache.seen.0.len() as u64;
    done.sources = cache.seen.1.len() as u64;
    sink.finish()?;
    Ok(done)
}

fn bundle(
    library: &Library,
    selection: &Selection,
    created: &str,
    out: &mut dyn Write,
    progress: &mut dyn FnMut(u64, u64),
) -> Result<Exported, ExportError> {
    // Of a selection only the compounds and sources it needs are written, so they are looked for first.
    let needed = if selection.is_all() {
        None
    } else {
        let mut needed = (HashSet::new(), HashSet::new());
        for_each_selected(library, selection, &mut |_, _| {}, &mut |entry| {
            needed.0.insert(entry.compound);
            needed.1.insert(entry.source);
            Ok(())
        })?;
        Some(needed)
    };
    let mut writer = BundleWriter::new(out, created, library.history_head()?.as_ref())?;
    let mut compounds = HashMap::new();
    each(|stop| {
        library.for_each_compound(|compound| {
            if needed
                .as_ref()
                .is_none_or(|(compounds, _)| compounds.contains(&compound.id))
            {
                stop.on(writer.compound(&compound))?;
                compounds.insert(compound.id, compound.uid);
            }
            Ok(())
        })
    })?;
    let mut sources = HashMap::new();
    each(|stop| {
        library.for_each_source(|source| {
            if needed.as_ref().is_none_or(|(_, sources)| sources.contains(&source.id)) {
                stop.on(writer.source(&source))?;
                sources.insert(source.id, source.uid);
            }
            Ok(())
        })
    })?;
    let unknown = |what| LibraryError::Unknown {
        what,
        id: "that an entry points to".to_owned(),
    };
    for_each_selected(library, selection, progress, &mut |entry| {
        let compound = compounds.get(&entry.compound).ok_or_else(|| unknown("compound"))?;
        let source = sources.get(&entry.source).ok_or_else(|| unknown("source"))?;
        Ok(writer.entry(entry, compound, source)?)
    })?;
    Ok(writer.finish()?)
}

fn for_each_selected(
    library: &Library,
    selection: &Selection,
    progress: &mut dyn FnMut(u64, u64),
    visit: &mut dyn FnMut(&Entry) -> Result<(), ExportError>,
) -> Result<(), ExportError> {
    if let Some(compound) = selection.compound {
        let entries = library.entries(compound)?;
        let total = entries.len() as u64;
        for (done, entry) in (1..).zip(entries.iter().filter(|entry| selection.takes(entry))) {
            visit(entry)?;
            progress(done, total);
        }
        return Ok(());
    }
    let counts = library.statistics()?;
    let total = counts.values + counts.specifications;
    let mut done = 0;
    each(|stop| {
        library.for_each_entry(|entry| {
            done += 1;
            progress(done, total);
            if selection.takes(&entry) {
                stop.on(visit(&entry))?;
            }
            Ok(())
        })
    })
}

/// Runs a walk through the library that may stop for a reason other than the library.
fn each(walk: impl FnOnce(&mut Stop) -> Result<(), LibraryError>) -> Result<(), ExportError> {
    let mut stop = Stop(None);
    let walked = walk(&mut stop);
    match stop.0 {
        Some(error) => Err(error),
        None => Ok(walked?),
    }
}

/// The reason a walk through the library was stopped for.
struct Stop(Option<ExportError>);

impl Stop {
    fn on<E: Into<ExportError>>(&mut self, result: Result<(), E>) -> Result<(), LibraryError> {
        result.map_err(|error| {
            self.0 = Some(error.into());
            LibraryError::Refused("the walk was stopped".to_owned())
        })
    }
}

/// How many compounds and sources are kept at hand.
const MOST_CACHED: usize = 2000;

/// Compounds and sources of the entries seen last.
struct Cache<'a> {
    library: &'a Library,
    compounds: HashMap<CompoundId, Compound>,
    sources: HashMap<SourceId, Source>,
    seen: (HashSet<CompoundId>, HashSet<SourceId>),
}

impl<'a> Cache<'a> {
    fn new(library: &'a Library) -> Self {
        Self {
            library,
            compounds: HashMap::new(),
            sources: HashMap::new(),
            seen: (HashSet::new(), HashSet::new()),
        }
    }

    fn of(&mut self, entry: &Entry) -> Result<(&Compound, &Source), LibraryError> {
        use std::collections::hash_map::Entry as Slot;
        self.seen.0.insert(entry.compound);
        self.seen.1.insert(entry.source);
        if self.compounds.len() > MOST_CACHED {
            self.compounds.clear();
        }
        if self.sources.len() > MOST_CACHED {
            self.sources.clear();
        }
        let compound = match self.compounds.entry(entry.compound) {
            Slot::Occupied(slot) => slot.into_mut(),
            Slot::Vacant(slot) => slot.insert(self.library.compound(entry.compound)?),
        };
        let source = match self.sources.entry(entry.source) {
            Slot::Occupied(slot) => slot.into_mut(),
            Slot::Vacant(slot) => slot.insert(self.library.source(entry.source)?),
        };
        Ok((compound, source))
    }
}
