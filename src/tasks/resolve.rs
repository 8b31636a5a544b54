//! From what a person types to a compound: one, several to choose from, or none with the nearest names.
//!
//! The hand of a compound is never decided by an ambiguous name: `menthol` is answered with its family, `l-` and `d-`
//! in lower case only rank the candidates, and a typing error is never taken for what it may mean without being shown.

use crate::compound::name::{self, NameKey};
use crate::compound::{CasError, CasNumber, Formula, Structure};
use crate::library::{Compound, Entry, EntryKind, Filter, Library, LibraryError, ReviewState, is_inchikey};
use crate::statement::Sign;
use std::collections::BTreeSet;

/// What a text means.
#[derive(Clone, Debug, PartialEq)]
pub enum Resolution {
    /// One compound.
    One(Box<Resolved>),
    /// Several, or one that the text does not name fully: the person must choose.
    Ambiguous {
        /// Why the text does not decide, as a sentence.
        reason: String,
        /// The candidates, likeliest first.
        candidates: Vec<Candidate>,
    },
    /// None: the nearest names are offered.
    Unknown {
        /// Why nothing was found, as a sentence.
        reason: String,
        /// Compounds with the nearest names.
        nearest: Vec<Candidate>,
        /// What a person should know about the search.
        notice: Option<String>,
    },
}

/// How a text was understood.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum By {
    /// As the compound's number in this file, written `#12`.
    Number,
    /// As an InChIKey.
    InchiKey,
    /// As an InChI.
    Inchi,
    /// As a SMILES.
    Smiles,
    /// As a CAS number.
    Cas,
    /// As a name.
    Name,
}

/// The one compound a text means.
#[derive(Clone, Debug, PartialEq)]
pub struct Resolved {
    /// The compound.
    pub compound: Compound,
    /// How the text was understood.
    pub by: By,
}

/// A compound a text may mean.
#[derive(Clone, Debug, PartialEq)]
pub struct Candidate {
    /// The compound.
    pub compound: Compound,
    /// Its name or number that matched.
    pub matched: String,
    /// The stereodescriptors of its names, each once.
    pub descriptors: Vec<String>,
    /// The signs of its published values.
    pub signs: Signs,
}

/// How many published values of a compound have which sign.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Signs {
    /// Values above zero with a stated sign.
    pub plus: usize,
    /// Values below zero with a stated sign.
    pub minus: usize,
    /// Values without a stated sign, and ranges through zero.
    pub unsigned: usize,
}

impl Signs {
    /// The signs of the literature values among some entries; withdrawn ones do not count.
    pub fn of<'a>(entries: impl IntoIterator<Item = &'a Entry>) -> Self {
        let mut signs = Self::default();
        let values = entries
            .into_iter()
            .filter(|entry| entry.kind == EntryKind::Value && entry.state != ReviewState::Withdrawn);
        for statement in values.map(|entry| &entry.statement) {
            match statement.central_value() {
                Some(value) if value > 0.0 && statement.sign == Sign::Stated => signs.plus += 1,
                Some(value) if value < 0.0 && statement.sign == Sign::Stated => signs.minus += 1,
                _ => signs.unsigned += 1,
            }
        }
        signs
    }
}

/// How many near names are offered.
const N_NEAREST: usize = 8;

/// Finds what a text means: a name, a CAS number, an InChIKey, an InChI, a SMILES, or `#` with a compound's number.
///
/// Numbers and structures match exactly or not at all. A name means the one compound that owns it, unless the name
/// gives no configuration and stereoisomers share its stem.
pub fn resolve(library: &Library, text: &str) -> Result<Resolution, LibraryError> {
    let text = text.trim();
    if let Some(resolution) = resolve_exactly(library, text)? {
        return Ok(resolution);
    }
    let found = library.search(text, &Filter::default(), N_NEAREST)?;
    let nearest = found
        .hits
        .into_iter()
        .map(|hit| candidate(library, hit.compound, hit.matched))
        .collect::<Result<_, _>>()?;
    Ok(Resolution::Unknown {
        reason: format!("the library holds no compound \"{text}\""),
        nearest,
        notice: found.notice,
    })
}

/// As [`resolve`], by look-ups alone: none when only the search for the nearest names could help.
pub fn resolve_exactly(library: &Library, text: &str) -> Result<Option<Resolution>, LibraryError> {
    let text = text.trim();
    if text.is_empty() {
        return Ok(Some(unknown("no compound is named".to_owned())));
    }
    if let Some(number) = text.strip_prefix('#').and_then(|number| number.parse().ok()) {
        return by_number(library, number).map(Some);
    }
    if is_inchikey(text) {
        return by_key(library, text, text, By::InchiKey).map(Some);
    }
    match text.parse::<CasNumber>() {
        Ok(number) => return by_cas(library, number).map(Some),
        Err(error @ CasError::CheckDigit { .. }) => return Ok(Some(unknown(error.to_string()))),
        Err(CasError::Form { .. }) => {}
    }
    if text.starts_with("InChI=") {
        return match Structure::from_inchi(text) {
            Ok(structure) => by_key(library, text, structure.key().as_str(), By::Inchi).map(Some),
            Err(error) => Ok(Some(unknown(error.to_string()))),
        };
    }
    if let Some(resolution) = by_name(library, text)? {
        return Ok(Some(resolution));
    }
    if let Ok(structure) = Structure::from_smiles(text) {
        return by_key(library, text, structure.key().as_str(), By::Smiles).map(Some);
    }
    by_formula(library, text)
}

fn by_number(library: &Library, number: i64) -> Result<Resolution, LibraryError> {
    match library.compound(crate::library::CompoundId(number)) {
        Ok(compound) => Ok(one(compound, By::Number)),
        Err(LibraryError::Unknown { .. }) => Ok(unknown(format!("there is no compound with the number {number}"))),
        Err(error) => Err(error),
    }
}

fn by_cas(library: &Library, number: CasNumber) -> Result<Resolution, LibraryError> {
    let text = number.to_string();
    let compounds = library.compounds_by_cas(&text)?;
    let reason = format!("the CAS number {text} stands at several compounds");
    Ok(one_or_several(library, compounds, &text, By::Cas, reason)?
        .unwrap_or_else(|| unknown(format!("no compound has the CAS number {text}"))))
}

/// By InChIKey; where the structure is not there, its stereoisomers are offered.
fn by_key(library: &Library, asked: &str, key: &str, by: By) -> Result<Resolution, LibraryError> {
    let compounds = library.compounds_by_inchikey(key)?;
    let reason = format!("several compounds have the InChIKey {key}; their descriptors tell them apart");
    if let Some(resolution) = one_or_several(library, compounds, asked, by, reason)? {
        return Ok(resolution);
    }
    let family = library.compounds_by_connectivity(key.get(..14).unwrap_or_default())?;
    let nearest: Vec<Candidate> = family
        .into_iter()
        .map(|compound| {
            let matched = compound.name.clone();
            candidate(library, compound, matched)
        })
        .collect::<Result<_, _>>()?;
    let reason = if nearest.is_empty() {
        format!("the library holds no compound with the InChIKey {key}")
    } else {
        format!("the library holds no compound with the InChIKey {key}, but stereoisomers of it")
    };
    Ok(Resolution::Unknown {
        reason,
        nearest,
        notice: None,
    })
}

/// A formula is shared by too many compounds to mean one.
fn by_formula(library: &Library, text: &str) -> Result<Option<Resolution>, LibraryError> {
    if !text.starts_with(|c: char| c.is_ascii_uppercase()) {
        return Ok(None);
    }
    let Ok(formula) = Formula::parse(text) else {
        return Ok(None);
    };
    let compounds = library.compounds_by_formula(&formula.to_string())?;
    if compounds.is_empty() {
        return Ok(None);
    }
    let candidates = compounds
        .into_iter()
        .map(|compound| candidate(library, compound, text.to_owned()))
        .collect::<Result<_, _>>()?;
    Ok(Some(Resolution::Ambiguous {
        reason: format!("{text} is a formula, which many compounds can have"),
        candidates,
    }))
}

/// By name: owned as it stands, or the same but for descriptors. None when no name has this stem.
fn by_name(library: &Library, text: &str) -> Result<Option<Resolution>, LibraryError> {
    let typed = NameKey::of(text);
    let owners = library.compounds_by_name(text)?;
    let mut family = library.compounds_by_stem(&typed.stem)?;
    let decides = typed.descriptors.iter().any(|descriptor| decides_hand(descriptor));
    if let [owner] = &owners[..] {
        let rivals = family
            .iter()
            .any(|other| other.id != owner.id && may_be_isomers(owner, other));
        if decides || !rivals {
            return Ok(Some(one(owner.clone(), By::Name)));
        }
    }
    if owners.len() > 1 && decides {
        // All of them own the name as it stands: the rest of the family does not.
        family = owners;
    }
    if family.is_empty() {
        return Ok(None);
    }
    let mut members: Vec<Member> = family
        .into_iter()
        .map(|compound| Member::of(library, compound, &typed))
        .collect::<Result<_, _>>()?;
    members.sort_by_key(|member| std::cmp::Reverse(member.rank()));
    if !decides {
        let reason = match &members[..] {
            [only] => format!(
                "\"{text}\" does not say which stereoisomer; the library holds {}",
                only.candidate.compound.name
            ),
            _ => format!("\"{text}\" does not say which of {} compounds is meant", members.len()),
        };
        return Ok(Some(ambiguous(reason, members)));
    }
    let named: Vec<&Member> = members.iter().filter(|member| member.carries_all).collect();
    if let [only] = named[..] {
        return Ok(Some(one(only.candidate.compound.clone(), By::Name)));
    }
    if named.len() > 1 {
        let n = named.len();
        members.retain(|member| member.carries_all);
        return Ok(Some(ambiguous(
            format!("\"{text}\" may be any of {n} compounds"),
            members,
        )));
    }
    let possible = members.iter().filter(|member| !member.contradicts).count();
    if possible > 0 {
        members.retain(|member| !member.contradicts);
        return Ok(Some(ambiguous(
            format!("no name in the library carries the descriptors of \"{text}\", but none of these contradicts them"),
            members,
        )));
    }
    Ok(Some(Resolution::Unknown {
        reason: format!("the library holds no \"{text}\", but other stereoisomers of it"),
        nearest: members.into_iter().map(|member| member.candidate).collect(),
        notice: None,
    }))
}

/// A compound whose name has the stem that was typed.
struct Member {
    candidate: Candidate,
    /// Its names carry every deciding descriptor typed.
    carries_all: bool,
    /// One of its names contradicts a descriptor typed.
    contradicts: bool,
    /// How many descriptors typed its names carry, hints included.
    n_carried: usize,
    n_values: usize,
}

impl Member {
    fn of(library: &Library, compound: Compound, typed: &NameKey) -> Result<Self, LibraryError> {
        let names: Vec<String> = std::iter::once(&compound.name)
            .chain(&compound.other_names)
            .cloned()
            .collect();
        let matched = names
            .iter()
            .find(|name| name::stem(name) == typed.stem)
            .unwrap_or(&compound.name)
            .clone();
        let candidate = candidate(library, compound, matched)?;
        let has = |descriptor: &String| candidate.descriptors.contains(descriptor);
        let deciding: Vec<&String> = typed.descriptors.iter().filter(|d| decides_hand(d)).collect();
        let carries_all = deciding.iter().all(|descriptor| has(descriptor));
        let contradicts = deciding
            .iter()
            .any(|descriptor| !has(descriptor) && opposites(descriptor).iter().any(&has));
        let hinted = typed.descriptors.iter().filter(|descriptor| {
            hint(descriptor).is_some_and(|hints| hints.iter().any(|hint| has(&(*hint).to_owned())))
        });
        let n_carried = typed.descriptors.iter().filter(|descriptor| has(descriptor)).count() + hinted.count();
        let n_values = candidate.signs.plus + candidate.signs.minus + candidate.signs.unsigned;
        Ok(Self {
            candidate,
            carries_all,
            contradicts,
            n_carried,
            n_values,
        })
    }

    fn rank(&self) -> (usize, usize) {
        (self.n_carried, self.n_values)
    }
}

/// Whether a descriptor says which stereoisomer is meant. Old texts mix `l-` (laevorotatory) and `L-` (configuration),
/// so the letters in lower case only rank.
fn decides_hand(descriptor: &str) -> bool {
    !matches!(descriptor, "l" | "d")
}

/// The descriptors a lower-case letter may stand for.
fn hint(descriptor: &str) -> Option<[&'static str; 2]> {
    match descriptor {
        "l" => Some(["(-)", "L"]),
        "d" => Some(["(+)", "D"]),
        _ => None,
    }
}

/// The descriptors that exclude one.
fn opposites(descriptor: &str) -> Vec<String> {
    match descriptor {
        "(+)" => vec!["(-)".to_owned(), "(+-)".to_owned()],
        "(-)" => vec!["(+)".to_owned(), "(+-)".to_owned()],
        _ => {
            let (locant, label) =
                descriptor.split_at(descriptor.len() - descriptor.chars().last().map_or(0, char::len_utf8));
            let other = match label {
                "R" => "S",
                "S" => "R",
                "D" => "L",
                "L" => "D",
                "E" => "Z",
                "Z" => "E",
                "M" => "P",
                "P" => "M",
                _ => return Vec::new(),
            };
            vec![format!("{locant}{other}"), "rac".to_owned()]
        }
    }
}

/// Whether two compounds may differ by configuration only: same connectivity, or one without a structure.
fn may_be_isomers(a: &Compound, b: &Compound) -> bool {
    match (&a.inchikey, &b.inchikey) {
        (Some(a), Some(b)) => a.get(..14) == b.get(..14),
        _ => true,
    }
}

fn one(compound: Compound, by: By) -> Resolution {
    Resolution::One(Box::new(Resolved { compound, by }))
}

fn ambiguous(reason: String, members: Vec<Member>) -> Resolution {
    Resolution::Ambiguous {
        reason,
        candidates: members.into_iter().map(|member| member.candidate).collect(),
    }
}

fn unknown(reason: String) -> Resolution {
    Resolution::Unknown {
        reason,
        nearest: Vec::new(),
        notice: None,
    }
}

/// One compound, or several candidates; None when there is none.
fn one_or_several(
    library: &Library,
    mut compounds: Vec<Compound>,
    matched: &str,
    by: By,
    reason: String,
) -> Result<Option<Resolution>, LibraryError> {
    match compounds.len() {
        0 => Ok(None),
        1 => Ok(compounds.pop().map(|compound| one(compound, by))),
        _ => {
            let candidates = compounds
                .into_iter()
                .map(|compound| candidate(library, compound, matched.to_owned()))
                .collect::<Result<_, _>>()?;
            Ok(Some(Resolution::Ambiguous { reason, candidates }))
        }
    }
}

/// A compound with what helps to choose it: the descriptors of its names and the signs of its values.
pub fn candidate(library: &Library, compound: Compound, matched: String) -> Result<Candidate, LibraryError> {
    let names = std::iter::once(&compound.name).chain(&compound.other_names);
    let mut descriptors: BTreeSet<String> = names.flat_map(|name| name::descriptors(name)).collect();
    descriptors.extend(compound.descriptor.clone());
    let signs = Signs::of(&library.entries(compound.id)?);
    Ok(Candidate {
        compound,
        matched,
        descriptors: descriptors.into_iter().collect(),
        signs,
    })
}
