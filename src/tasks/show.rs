//! Everything the library knows of one compound.

use super::resolve::Signs;
use crate::library::{Compound, CompoundId, Entry, EntryKind, Library, LibraryError, ReviewState, Source, SourceId};

/// Everything the library knows of one compound, ordered as it is read.
#[derive(Clone, Debug)]
pub struct Shown {
    /// The compound.
    pub compound: Compound,
    /// Its mirror image, when the library holds it.
    pub mirror_image: Option<Relative>,
    /// The other stereoisomers of its connectivity, without the mirror image.
    pub stereoisomers: Vec<Relative>,
    /// Salts, hydrates or the parent with the same configuration.
    pub related_forms: Vec<Relative>,
    /// Its literature values of every review state.
    pub values: Vec<Entry>,
    /// Its specifications of every review state.
    pub specifications: Vec<Entry>,
    /// The sources of the entries, in order of first use.
    pub sources: Vec<Source>,
}

/// A compound that stands in a relation to another.
#[derive(Clone, Debug, PartialEq)]
pub struct Relative {
    /// The compound.
    pub compound: Compound,
    /// How many literature values, not withdrawn, the library holds for it.
    pub n_values: usize,
    /// The signs of those values.
    pub signs: Signs,
}

impl Shown {
    /// The place of a source in [`Shown::sources`], counted from one; zero when it is not there.
    pub fn source_number(&self, id: SourceId) -> usize {
        self.sources
            .iter()
            .position(|source| source.id == id)
            .map_or(0, |at| at + 1)
    }
}

/// Gathers everything about a compound.
///
/// # Errors
/// When the compound is not there or the library cannot be read.
pub fn show(library: &Library, id: CompoundId) -> Result<Shown, LibraryError> {
    let compound = library.compound(id)?;
    let (values, specifications): (Vec<Entry>, Vec<Entry>) = library
        .entries(compound.id)?
        .into_iter()
        .partition(|entry| entry.kind == EntryKind::Value);
    let mut sources: Vec<Source> = Vec::new();
    for entry in values.iter().chain(&specifications) {
        if !sources.iter().any(|source| source.id == entry.source) {
            sources.push(library.source(entry.source)?);
        }
    }
    let mirror_image = library.mirror_image(&compound)?;
    let mut stereoisomers = library.stereoisomers(&compound)?;
    stereoisomers.retain(|other| mirror_image.as_ref().is_none_or(|mirror| mirror.id != other.id));
    let relatives = |compounds: Vec<Compound>| -> Result<Vec<Relative>, LibraryError> {
        compounds
            .into_iter()
            .map(|compound| relative(library, compound))
            .collect()
    };
    Ok(Shown {
        mirror_image: mirror_image.map(|compound| relative(library, compound)).transpose()?,
        stereoisomers: relatives(stereoisomers)?,
        related_forms: relatives(library.related_forms(&compound)?)?,
        values,
        specifications,
        sources,
        compound,
    })
}

fn relative(library: &Library, compound: Compound) -> Result<Relative, LibraryError> {
    let entries = library.entries(compound.id)?;
    Ok(Relative {
        n_values: entries.iter().filter(|entry| is_live_value(entry)).count(),
        signs: Signs::of(&entries),
        compound,
    })
}

fn is_live_value(entry: &Entry) -> bool {
    entry.kind == EntryKind::Value && entry.state != ReviewState::Withdrawn
}
