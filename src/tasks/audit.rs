//! Quality findings over the library: of one compound, of everything, of one import, or of entries about to come in.
//!
//! Compounds are audited one after the other, so that memory holds the findings and the entries of one compound only.

use crate::audit::{self, Code, EntryMark, Finding, Item, Settings, Severity, Subject, Symmetry, finding_id};
use crate::library::{
    AcceptedFinding, Change, Chirality, Compound, CompoundId, Entry, EntryContent, EntryId, EntryKind, Identity,
    Library, LibraryError, ReviewState,
};
use std::collections::HashSet;

/// A finding about entries of the library.
#[derive(Clone, Debug, PartialEq)]
pub struct Flagged {
    /// Its stable id; it changes when one of the entries does.
    pub id: String,
    /// Its kind.
    pub code: Code,
    /// How grave it is.
    pub severity: Severity,
    /// Why, in a sentence with the numbers.
    pub reason: String,
    /// The compound.
    pub compound: CompoundId,
    /// Its name.
    pub compound_name: String,
    /// The entries it is about, those of the mirror image included.
    pub entries: Vec<EntryId>,
    /// Their stable ids.
    pub entry_uids: Vec<String>,
    /// Siblings it rests on.
    pub against: Vec<EntryId>,
    /// The acceptance, when a person has accepted it.
    pub accepted: Option<AcceptedFinding>,
}

/// What an audit went over.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Scope {
    /// Compounds with entries.
    pub compounds: u64,
    /// Entries, without withdrawn ones.
    pub entries: u64,
    /// Entries among them that are kept out of pooling, whose values are not judged again.
    pub kept_out: u64,
}

/// Audits every compound; `visit` is given each finding, accepted ones too.
pub fn of_library(
    library: &Library,
    settings: &Settings,
    visit: &mut dyn FnMut(Flagged),
) -> Result<Scope, LibraryError> {
    let mut scope = Scope::default();
    library.for_each_compound(|compound| {
        let entries = library.entries(compound.id)?;
        if entries.is_empty() {
            return Ok(());
        }
        // A pair of mirror images is audited once, with the one that came first.
        let mirror = library
            .mirror_image(&compound)?
            .filter(|mirror| compound.id < mirror.id);
        of_entries(
            library,
            &compound,
            entries,
            mirror.as_ref(),
            settings,
            &mut scope,
            visit,
        )
    })?;
    Ok(scope)
}

/// Audits one compound, together with its mirror image.
pub fn of_compound(
    library: &Library,
    compound: CompoundId,
    settings: &Settings,
    visit: &mut dyn FnMut(Flagged),
) -> Result<Scope, LibraryError> {
    let mut scope = Scope::default();
    let compound = library.compound(compound)?;
    let mirror = library.mirror_image(&compound)?;
    let entries = library.entries(compound.id)?;
    of_entries(
        library,
        &compound,
        entries,
        mirror.as_ref(),
        settings,
        &mut scope,
        visit,
    )?;
    Ok(scope)
}

/// Audits what one import brought, by the load's stable id: the findings about at least one of its entries.
pub fn of_batch(library: &Library, batch_uid: &str, settings: &Settings) -> Result<Vec<Flagged>, LibraryError> {
    let of_batch: HashSet<EntryId> = library.entries_of_batch(batch_uid)?.into_iter().collect();
    let mut found: Vec<Flagged> = Vec::new();
    for compound in library.compounds_of_batch(batch_uid)? {
        of_compound(library, compound, settings, &mut |flagged| {
            let is_new = flagged.entries.iter().any(|entry| of_batch.contains(entry));
            // A pair of mirror images that both came with the import is seen from both sides.
            if is_new && !found.iter().any(|known| known.id == flagged.id) {
                found.push(flagged);
            }
        })?;
    }
    found.sort_by_key(|flagged| std::cmp::Reverse(flagged.severity));
    Ok(found)
}

/// Audits entries that are about to come in for one compound, beside those it has; `labels` call them in words (such as
/// "line 12"). Each finding is about at least one of the new entries; its places count through `stored`, then `new`.
pub fn of_new(
    subject: &Subject,
    stored: &[Entry],
    new: &[EntryContent],
    labels: &[String],
    settings: &Settings,
) -> Vec<Finding> {
    let mut items: Vec<Item> = stored.iter().filter(|entry| is_live(entry)).map(item).collect();
    let n_stored = items.len();
    items.extend(new.iter().enumerate().map(|(at, content)| {
        let label = labels.get(at).cloned().unwrap_or_else(|| format!("new {}", at + 1));
        item_of_content(content, label)
    }));
    let mut found = audit::findings(subject, &items, &[], settings);
    found.retain(|finding| finding.entries.iter().any(|&at| at >= n_stored));
    found
}

/// What an audit has to know of a compound.
pub fn subject(compound: &Compound) -> Subject {
    Subject {
        symmetry: symmetry(compound.chirality),
        has_descriptor: compound.descriptor.is_some(),
        molar_mass: compound.molar_mass,
    }
}

/// Whether a structure of this chirality may turn light.
pub fn symmetry(chirality: Chirality) -> Symmetry {
    match chirality {
        Chirality::Achiral => Symmetry::Achiral,
        Chirality::Meso => Symmetry::Meso,
        Chirality::Chiral | Chirality::Open | Chirality::Unknown => Symmetry::MayRotate,
    }
}

/// Finds the open finding that an id, or the beginning of one, names, and accepts it.
///
/// # Errors
/// `Unknown` when no open finding has the id, `Refused` when several do or no reason is given.
pub fn accept(
    library: &mut Library,
    id: &str,
    compound: Option<CompoundId>,
    settings: &Settings,
    change: &Change,
) -> Result<Flagged, LibraryError> {
    let mut matching: Vec<Flagged> = Vec::new();
    let mut visit = |flagged: Flagged| {
        if flagged.id.starts_with(id) && !matching.iter().any(|known| known.id == flagged.id) {
            matching.push(flagged);
        }
    };
    match compound {
        Some(compound) => of_compound(library, compound, settings, &mut visit)?,
        None => of_library(library, settings, &mut visit)?,
    };
    let mut flagged = match matching.len() {
        1 => matching.remove(0),
        0 => {
            return Err(LibraryError::Unknown {
                what: "finding",
                id: id.to_owned(),
            });
        }
        n => {
            return Err(LibraryError::Refused(format!(
                "{n} findings begin with {id}; give more of the id"
            )));
        }
    };
    library.accept_finding(
        &flagged.id,
        flagged.code.as_str(),
        &flagged.entry_uids,
        &flagged.reason,
        change,
    )?;
    flagged.accepted = library.accepted_finding(&flagged.id)?;
    Ok(flagged)
}

/// Opens an accepted finding again.
pub fn reopen(library: &mut Library, id: &str, change: &Change) -> Result<(), LibraryError> {
    library.reopen_finding(id, change)
}

fn of_entries(
    library: &Library,
    compound: &Compound,
    mut entries: Vec<Entry>,
    mirror: Option<&Compound>,
    settings: &Settings,
    scope: &mut Scope,
    visit: &mut dyn FnMut(Flagged),
) -> Result<(), LibraryError> {
    entries.retain(is_live);
    let mut mirrored = match mirror {
        Some(mirror) => library.entries(mirror.id)?,
        None => Vec::new(),
    };
    mirrored.retain(is_live);
    scope.compounds += u64::from(!entries.is_empty());
    scope.entries += entries.len() as u64;
    scope.kept_out += entries.iter().filter(|entry| entry.kept_out.is_some()).count() as u64;
    let items: Vec<Item> = entries.iter().map(item).collect();
    let mirror_items: Vec<Item> = mirrored.iter().map(item).collect();
    for finding in audit::findings(&subject(compound), &items, &mirror_items, settings) {
        let about: Vec<&Entry> = (finding.entries.iter().map(|&at| &entries[at]))
            .chain(finding.mirror_entries.iter().map(|&at| &mirrored[at]))
            .collect();
        let marks = about
            .iter()
            .map(|entry| {
                Ok(EntryMark {
                    uid: entry.uid.clone(),
                    digest: library.content_digest(entry.id)?,
                })
            })
            .collect::<Result<Vec<_>, LibraryError>>()?;
        let id = finding_id(finding.code, &marks);
        visit(Flagged {
            accepted: library.accepted_finding(&id)?,
            id,
            code: finding.code,
            severity: finding.severity,
            reason: finding.reason,
            compound: compound.id,
            compound_name: compound.name.clone(),
            entries: about.iter().map(|entry| entry.id).collect(),
            entry_uids: marks.into_iter().map(|mark| mark.uid).collect(),
            against: finding.against.iter().map(|&at| entries[at].id).collect(),
        });
    }
    Ok(())
}

/// Whether an entry counts: withdrawn ones are not audited.
pub fn is_live(entry: &Entry) -> bool {
    entry.state != ReviewState::Withdrawn
}

fn item(entry: &Entry) -> Item {
    item_of_content(&EntryContent::from(entry.clone()), entry.id.to_string())
}

fn item_of_content(content: &EntryContent, label: String) -> Item {
    Item {
        label,
        source: content.source.0,
        statement: content.statement.clone(),
        specification: content.kind == EntryKind::Specification,
        kept_out: content.kept_out.is_some(),
        identity_unclear: content.identity == Identity::Unclear,
        draft: content.state == ReviewState::Draft,
        substance: content.substance.clone(),
    }
}
