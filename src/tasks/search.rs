//! Finding compounds by a text, with what their entries say in short.

use super::resolve::Signs;
use crate::library::{CompoundId, EntryKind, Filter, Hit, Library, LibraryError, ReviewState};
use crate::statement::RotationKind;

/// Compounds found by a text.
#[derive(Clone, Debug, Default)]
pub struct Search {
    /// The compounds, best first.
    pub hits: Vec<Summary>,
    /// What a person should know about the search itself.
    pub notice: Option<String>,
}

/// A compound found, with its entries in short.
#[derive(Clone, Debug)]
pub struct Summary {
    /// The compound, and why it was found.
    pub hit: Hit,
    /// What its entries hold.
    pub entries: EntrySummary,
}

/// The entries of a compound in short; withdrawn ones do not count.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct EntrySummary {
    /// Literature values.
    pub n_values: usize,
    /// Specifications.
    pub n_specifications: usize,
    /// Signs of the literature values.
    pub signs: Signs,
    /// Least and greatest specific rotation among the literature values at any condition, deg mL g⁻¹ dm⁻¹.
    pub range: Option<(f64, f64)>,
}

/// Searches compounds by name, number, formula or DOI.
///
/// # Errors
/// When the library cannot be read.
pub fn search(library: &Library, text: &str, filter: &Filter, limit: usize) -> Result<Search, LibraryError> {
    let found = library.search(text, filter, limit)?;
    let hits = found
        .hits
        .into_iter()
        .map(|hit| {
            let entries = summarise(library, hit.compound.id)?;
            Ok(Summary { hit, entries })
        })
        .collect::<Result<_, LibraryError>>()?;
    Ok(Search {
        hits,
        notice: found.notice,
    })
}

/// The entries of a compound in short.
///
/// # Errors
/// When the library cannot be read.
pub fn summarise(library: &Library, compound: CompoundId) -> Result<EntrySummary, LibraryError> {
    let mut entries = library.entries(compound)?;
    entries.retain(|entry| entry.state != ReviewState::Withdrawn);
    let mut summary = EntrySummary {
        signs: Signs::of(&entries),
        ..EntrySummary::default()
    };
    for entry in &entries {
        match entry.kind {
            EntryKind::Specification => summary.n_specifications += 1,
            EntryKind::Value => {
                summary.n_values += 1;
                if entry.statement.kind == RotationKind::Specific
                    && let Some(value) = entry.statement.central_value()
                {
                    let (low, high) = summary.range.unwrap_or((value, value));
                    summary.range = Some((low.min(value), high.max(value)));
                }
            }
        }
    }
    Ok(summary)
}
