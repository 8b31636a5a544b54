//! Putting values into the library and mending them: add, edit, withdraw, confirm, merge. Each is one recorded change.

use super::resolve::{Candidate, Resolution, resolve};
use crate::library::{
    Change, Compound, CompoundId, Entry, EntryContent, EntryId, EntryKind, Hand, Identity, Library, LibraryError,
    LimitMethod, NewCompound, NewSource, ReviewState,
};
use crate::statement::Statement;

/// The compound an entry is about, as a person gives it. A structure decides before a CAS number, a CAS number before
/// a name.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct CompoundRequest {
    /// Its name; needed when the compound is new.
    pub name: Option<String>,
    /// Further names.
    pub other_names: Vec<String>,
    /// CAS number.
    pub cas: Option<String>,
    /// SMILES.
    pub smiles: Option<String>,
    /// Standard InChI.
    pub inchi: Option<String>,
    /// Own label where InChI cannot tell the compound from another (axis, polymer, racemate).
    pub descriptor: Option<String>,
}

/// An entry to be added.
#[derive(Clone, Debug, PartialEq)]
pub struct AddRequest {
    /// The compound.
    pub compound: CompoundRequest,
    /// Whether a compound that is not known yet may be added.
    pub may_add_compound: bool,
    /// The source.
    pub source: NewSource,
    /// Value or specification.
    pub kind: EntryKind,
    /// The statement.
    pub statement: Statement,
    /// How sure the identity is.
    pub identity: Identity,
    /// How the hand is known.
    pub hand: Hand,
    /// Substance name as the source gives it.
    pub substance: Option<String>,
    /// How the figure was seen by the person who keys it.
    pub seen: Option<String>,
    /// Remark of the librarian.
    pub comment: Option<String>,
    /// Of a specification: what its method says beyond the statement's fields.
    pub method: Option<LimitMethod>,
}

/// What adding an entry came to.
#[derive(Clone, Debug, PartialEq)]
pub struct Added {
    /// The entry; a draft until it is confirmed.
    pub entry: Entry,
    /// Its compound.
    pub compound: Compound,
    /// Whether the compound is new in the library.
    pub compound_is_new: bool,
}

/// Why a value could not be put into the library.
#[derive(Debug, thiserror::Error)]
pub enum CurateError {
    /// Nothing says which compound it is.
    #[error("nothing says which compound this is; give a name, a CAS number, a SMILES or an InChI")]
    NoCompound,
    /// Several compounds answer.
    #[error("\"{asked}\" may be any of {} compounds; name one of them, or give a structure or a CAS number", candidates.len())]
    Ambiguous {
        /// What was asked for.
        asked: String,
        /// The candidates.
        candidates: Vec<Candidate>,
    },
    /// No compound answers.
    #[error(
        "the library holds no compound \"{asked}\"; choose one of the nearest names, or say that it is to be added"
    )]
    UnknownCompound {
        /// What was asked for.
        asked: String,
        /// The nearest names.
        nearest: Vec<Candidate>,
    },
    /// A compound to be added has no name.
    #[error("this structure is not in the library yet; give a name to add it")]
    NameMissing,
    /// The structure cannot be read.
    #[error("the structure cannot be read: {detail}")]
    Structure {
        /// Why.
        detail: String,
    },
    /// The CAS number is none.
    #[error("{number} is not a CAS number: its check digit does not fit; look at the digits again")]
    Cas {
        /// The text found.
        number: String,
    },
    /// The statement holds no value.
    #[error("there is no value; give one, or a low or high limit")]
    NoValue,
    /// The library refuses.
    #[error(transparent)]
    Library(#[from] LibraryError),
}

/// Adds an entry as a draft.
pub fn add(library: &mut Library, request: &AddRequest, change: &Change) -> Result<Added, CurateError> {
    let statement = &request.statement;
    if statement.value.is_none() && statement.low.is_none() && statement.high.is_none() {
        return Err(CurateError::NoValue);
    }
    let (compound, compound_is_new) = match find_compound(library, &request.compound)? {
        Wanted::There(compound) => (compound.id, false),
        Wanted::New(compound) if request.may_add_compound => (library.add_compound(&compound, change)?, true),
        Wanted::New(compound) => {
            let nearest = match resolve(library, &compound.name)? {
                Resolution::One(_) => Vec::new(),
                Resolution::Ambiguous { candidates, .. } => candidates,
                Resolution::Unknown { nearest, .. } => nearest,
            };
            return Err(CurateError::UnknownCompound {
                asked: compound.name,
                nearest,
            });
        }
    };
    let source = library.add_source(&request.source, change)?;
    let content = EntryContent {
        compound,
        source,
        kind: request.kind,
        statement: statement.clone(),
        identity: request.identity,
        hand: request.hand,
        state: ReviewState::Draft,
        kept_out: None,
        substance: request.substance.clone(),
        seen: request.seen.clone(),
        comment: request.comment.clone(),
        method: request.method.clone(),
    };
    let entry = library.add_entry(&content, change)?;
    Ok(Added {
        entry: library.entry(entry)?,
        compound: library.compound(compound)?,
        compound_is_new,
    })
}

/// Replaces what an entry holds; the edit names the revision it is based on.
pub fn edit(
    library: &mut Library,
    id: EntryId,
    based_on: i64,
    content: &EntryContent,
    change: &Change,
) -> Result<Entry, CurateError> {
    Ok(library.edit_entry(id, based_on, content, change)?)
}

/// Withdraws an entry; the reason stands in the change.
pub fn withdraw(library: &mut Library, id: EntryId, change: &Change) -> Result<Entry, CurateError> {
    Ok(library.withdraw_entry(id, change)?)
}

/// Confirms a draft.
pub fn confirm(library: &mut Library, id: EntryId, change: &Change) -> Result<Entry, CurateError> {
    Ok(library.confirm_entry(id, change)?)
}

/// Merges one compound into another; the surviving compound is returned.
pub fn merge(
    library: &mut Library,
    loser: CompoundId,
    winner: CompoundId,
    change: &Change,
) -> Result<Compound, CurateError> {
    library.merge_compounds(loser, winner, change)?;
    Ok(library.compound(winner)?)
}

/// A compound that is there, or what is to be added.
enum Wanted {
    There(Compound),
    New(NewCompound),
}

fn find_compound(library: &Library, request: &CompoundRequest) -> Result<Wanted, CurateError> {
    let _ = (library, request);
    Err(CurateError::NoCompound)
}
