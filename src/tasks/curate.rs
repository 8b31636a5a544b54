//! Putting values into the library and mending them: add, edit, withdraw, confirm, merge. Each is one recorded change.

use super::resolve::{Candidate, Resolution, candidate, resolve, resolve_exactly};
use crate::compound::{CasError, CasNumber, Structure, StructureError};
use crate::library::{
    Change, Compound, CompoundChoice, CompoundId, Entry, EntryContent, EntryId, EntryKind, Hand, Identity, Library,
    LibraryError, LimitMethod, NewCompound, NewSource, ReviewState,
};
use crate::quantity::Printed;
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
    /// Why the entry is kept out of pooling, when it is.
    pub kept_out: Option<String>,
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
    #[error(transparent)]
    Structure(#[from] StructureError),
    /// The CAS number is none.
    #[error(transparent)]
    Cas(#[from] CasError),
    /// What is given of the compound does not fit together.
    #[error("{detail}; one of them is wrong")]
    Contradiction {
        /// What does not fit.
        detail: String,
    },
    /// The statement holds no value.
    #[error("there is no value; give one, or a low or high limit")]
    NoValue,
    /// A number that no bench has.
    #[error("{:e} is outside what can be; look whether a number was printed or read wrongly", .0.value())]
    Beyond(Printed),
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
    if let Some(number) = statement.beyond_any_bench() {
        return Err(CurateError::Beyond(number));
    }
    let choice = find_compound(library, &request.compound)?;
    if let (CompoundChoice::New(compound), false) = (&choice, request.may_add_compound) {
        let nearest = match resolve(library, &compound.name)? {
            Resolution::One(_) => Vec::new(),
            Resolution::Ambiguous { candidates, .. } => candidates,
            Resolution::Unknown { nearest, .. } => nearest,
        };
        return Err(CurateError::UnknownCompound {
            asked: compound.name.clone(),
            nearest,
        });
    }
    let content = |compound, source| EntryContent {
        compound,
        source,
        kind: request.kind,
        statement: statement.clone(),
        identity: request.identity,
        hand: request.hand,
        state: ReviewState::Draft,
        kept_out: request.kept_out.clone(),
        substance: request.substance.clone(),
        seen: request.seen.clone(),
        comment: request.comment.clone(),
        method: request.method.clone(),
    };
    let id = library.add_record(&choice, &request.source, content, change)?;
    let entry = library.entry(id)?;
    Ok(Added {
        compound: library.compound(entry.compound)?,
        entry,
        compound_is_new: matches!(choice, CompoundChoice::New(_)),
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

/// Finds the compound of a request, or describes the one to be added.
pub(super) fn find_compound(library: &Library, request: &CompoundRequest) -> Result<CompoundChoice, CurateError> {
    let cas = request
        .cas
        .as_deref()
        .map(str::parse::<CasNumber>)
        .transpose()?
        .map(|number| number.to_string());
    let by_cas = match &cas {
        Some(number) => library.compounds_by_cas(number)?,
        None => Vec::new(),
    };
    if let Some(structure) = structure_of(request)? {
        return by_structure(library, request, &structure, cas, &by_cas);
    }
    match (&by_cas[..], &cas) {
        ([compound], _) => return Ok(CompoundChoice::Known(compound.id)),
        ([_, ..], Some(number)) => return Err(ambiguous(library, number, by_cas)?),
        _ => {}
    }
    let Some(name) = &request.name else {
        return Err(if cas.is_some() {
            CurateError::NameMissing
        } else {
            CurateError::NoCompound
        });
    };
    match resolve_exactly(library, name)? {
        Some(Resolution::One(resolved)) => Ok(CompoundChoice::Known(resolved.compound.id)),
        Some(Resolution::Ambiguous { candidates, .. }) if request.descriptor.is_none() => Err(CurateError::Ambiguous {
            asked: name.clone(),
            candidates,
        }),
        _ => Ok(CompoundChoice::New(Box::new(NewCompound {
            other_names: request.other_names.clone(),
            cas: cas.into_iter().collect(),
            descriptor: request.descriptor.clone(),
            ..NewCompound::named(name)
        }))),
    }
}

/// The structure of a request; SMILES and InChI must agree where both are given.
fn structure_of(request: &CompoundRequest) -> Result<Option<Structure>, CurateError> {
    let smiles = request.smiles.as_deref().map(Structure::from_smiles).transpose()?;
    let inchi = request.inchi.as_deref().map(Structure::from_inchi).transpose()?;
    match (smiles, inchi) {
        (Some(smiles), Some(inchi)) if smiles != inchi => Err(CurateError::Contradiction {
            detail: format!(
                "the SMILES has the InChIKey {}, the InChI {}",
                smiles.key(),
                inchi.key()
            ),
        }),
        (smiles, inchi) => Ok(smiles.or(inchi)),
    }
}

/// The compound with a structure and, where InChI cannot tell, the descriptor of the request.
fn by_structure(
    library: &Library,
    request: &CompoundRequest,
    structure: &Structure,
    cas: Option<String>,
    by_cas: &[Compound],
) -> Result<CompoundChoice, CurateError> {
    let same_key = library.compounds_by_inchikey(structure.key().as_str())?;
    if let Some(compound) = same_key
        .iter()
        .find(|compound| compound.descriptor == request.descriptor)
    {
        return Ok(CompoundChoice::Known(compound.id));
    }
    if !same_key.is_empty() && request.descriptor.is_none() {
        return Err(ambiguous(library, structure.key().as_str(), same_key)?);
    }
    if let (Some(number), Some(other)) = (&cas, by_cas.first()) {
        return Err(CurateError::Contradiction {
            detail: format!(
                "the CAS number {number} is that of {}, which has another structure",
                other.name
            ),
        });
    }
    let name = request.name.as_ref().ok_or(CurateError::NameMissing)?;
    Ok(CompoundChoice::New(Box::new(NewCompound {
        smiles: request.smiles.clone(),
        other_names: request.other_names.clone(),
        cas: cas.into_iter().collect(),
        descriptor: request.descriptor.clone(),
        ..NewCompound::with_structure(name, structure)?
    })))
}

fn ambiguous(library: &Library, asked: &str, compounds: Vec<Compound>) -> Result<CurateError, LibraryError> {
    let candidates = compounds
        .into_iter()
        .map(|compound| candidate(library, compound, asked.to_owned()))
        .collect::<Result<_, _>>()?;
    Ok(CurateError::Ambiguous {
        asked: asked.to_owned(),
        candidates,
    })
}
