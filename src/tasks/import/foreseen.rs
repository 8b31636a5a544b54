//! What the audit would find of the entries of a trial, beside those their compounds have.

use crate::audit::{Code, Settings, Severity, Subject, Symmetry};
use crate::library::{Compound, CompoundId, Entry, EntryContent, EntryId, Library, LibraryError, NewCompound};
use crate::tasks::audit;
use std::collections::BTreeMap;

/// Most entries of a trial that are kept to be audited; the rest is left to the audit of the import.
pub const MOST_FORESEEN: usize = 5_000;

/// A finding about rows that are not in the library yet.
#[derive(Clone, Debug, PartialEq)]
pub struct Foreseen {
    /// Its kind.
    pub code: Code,
    /// How grave it is.
    pub severity: Severity,
    /// Why, in a sentence with the numbers.
    pub reason: String,
    /// The compound; none for one that the import would add.
    pub compound: Option<CompoundId>,
    /// Its name, in the library or in the file.
    pub compound_name: String,
    /// The rows it is about, such as "values.csv line 12".
    pub rows: Vec<String>,
    /// Entries of the library it is about too.
    pub entries: Vec<EntryId>,
}

/// Entries of a trial, by compound.
#[derive(Default)]
pub(super) struct Pending {
    compounds: BTreeMap<CompoundId, OfCompound>,
    /// Compounds that the trial adds, as the audit has to know them.
    subjects: BTreeMap<CompoundId, Subject>,
    n_kept: usize,
    /// Entries that came when enough were kept.
    pub(super) n_beyond: u64,
}

#[derive(Default)]
struct OfCompound {
    name: String,
    contents: Vec<EntryContent>,
    rows: Vec<String>,
}

impl Pending {
    /// Keeps what a compound is that the trial adds.
    pub(super) fn compound(&mut self, id: CompoundId, new: &NewCompound) {
        if self.subjects.len() < MOST_FORESEEN {
            self.subjects.insert(id, subject_of_new(new));
        }
    }

    /// Keeps an entry with the name the file gives its compound, and the row it stands in.
    pub(super) fn entry(&mut self, content: &EntryContent, name: &str, row: String) {
        if self.n_kept >= MOST_FORESEEN {
            self.n_beyond += 1;
            return;
        }
        self.n_kept += 1;
        let of_compound = self.compounds.entry(content.compound).or_default();
        if of_compound.contents.is_empty() {
            name.clone_into(&mut of_compound.name);
        }
        of_compound.contents.push(content.clone());
        of_compound.rows.push(row);
    }

    /// The findings, the gravest first. `before` is the library as it was.
    pub(super) fn findings(self, before: &Library) -> Result<Vec<Foreseen>, LibraryError> {
        let mut all = Vec::new();
        for (id, of_compound) in self.compounds {
            let known = match before.compound(id) {
                Ok(compound) => Some(compound),
                Err(LibraryError::Unknown { .. }) => None,
                Err(error) => return Err(error),
            };
            let subject = match &known {
                Some(compound) => audit::subject(compound),
                None => self.subjects.get(&id).copied().unwrap_or_else(nothing_known),
            };
            let stored: Vec<Entry> = match &known {
                Some(compound) => before
                    .entries(compound.id)?
                    .into_iter()
                    .filter(audit::is_live)
                    .collect(),
                None => Vec::new(),
            };
            let found = audit::of_new(
                &subject,
                &stored,
                &of_compound.contents,
                &of_compound.rows,
                &Settings::default(),
            );
            all.extend(found.into_iter().map(|finding| {
                Foreseen {
                    code: finding.code,
                    severity: finding.severity,
                    reason: finding.reason,
                    compound: known.as_ref().map(|compound| compound.id),
                    compound_name: name(known.as_ref(), &of_compound.name),
                    rows: (finding.entries.iter())
                        .filter_map(|&at| of_compound.rows.get(at.checked_sub(stored.len())?).cloned())
                        .collect(),
                    entries: (finding.entries.iter())
                        .filter_map(|&at| stored.get(at).map(|entry| entry.id))
                        .collect(),
                }
            }));
        }
        all.sort_by_key(|finding| std::cmp::Reverse(finding.severity));
        Ok(all)
    }
}

fn name(known: Option<&Compound>, given: &str) -> String {
    known.map_or_else(|| given.to_owned(), |compound| compound.name.clone())
}

fn subject_of_new(new: &NewCompound) -> Subject {
    Subject {
        symmetry: audit::symmetry(new.chirality),
        has_descriptor: new.descriptor.is_some(),
        molar_mass: new.molar_mass,
    }
}

fn nothing_known() -> Subject {
    Subject {
        symmetry: Symmetry::MayRotate,
        has_descriptor: false,
        molar_mass: None,
    }
}
