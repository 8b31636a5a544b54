//! What the library holds, as plain data.

use crate::quantity::{MolarMass, Printed};
use crate::statement::Statement;
use serde::{Deserialize, Serialize};
use std::fmt;

/// Defines an identifier that cannot be mistaken for another one.
macro_rules! identifier {
    ($(#[$doc:meta])* $name:ident) => {
        $(#[$doc])*
        #[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
        #[serde(transparent)]
        pub struct $name(pub i64);

        impl fmt::Display for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                self.0.fmt(f)
            }
        }
    };
}

identifier!(
    /// A compound within one library file.
    CompoundId
);
identifier!(
    /// A source within one library file.
    SourceId
);
identifier!(
    /// An entry within one library file.
    EntryId
);

/// Defines a word that is stored and exchanged by name.
macro_rules! word {
    ($(#[$doc:meta])* $name:ident { $($(#[$vdoc:meta])* $variant:ident = $text:literal),+ $(,)? }) => {
        $(#[$doc])*
        #[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
        pub enum $name {
            $($(#[$vdoc])* #[serde(rename = $text)] $variant),+
        }

        impl $name {
            /// The stored word.
            pub const fn as_str(self) -> &'static str {
                match self { $(Self::$variant => $text),+ }
            }

            /// The value with this stored word.
            pub fn from_word(word: &str) -> Option<Self> {
                match word { $($text => Some(Self::$variant),)+ _ => None }
            }
        }

        impl fmt::Display for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.pad(self.as_str())
            }
        }
    };
}

word!(
    /// How sure it is that the statement belongs to the compound.
    Identity {
        /// Sure.
        Sure = "sure",
        /// Likely.
        Likely = "likely",
        /// Unclear: shown, never pooled.
        Unclear = "unclear",
    }
);
word!(
    /// How the hand (which enantiomer) of the entry is known.
    Hand {
        /// From something other than the printed sign.
        Independent = "independent",
        /// Taken from the printed sign: the sign proves nothing.
        Inferred = "inferred",
        /// Not known.
        Unclear = "unclear",
    }
);
word!(
    /// Review state of an entry.
    ReviewState {
        /// Not yet confirmed by a second look.
        Draft = "draft",
        /// Confirmed.
        Confirmed = "confirmed",
        /// Withdrawn, with a reason in its history.
        Withdrawn = "withdrawn",
    }
);
word!(
    /// The two kinds of entry.
    EntryKind {
        /// A value from the literature.
        Value = "value",
        /// Limits with their method.
        Specification = "specification",
    }
);
word!(
    /// The kind of a source.
    SourceKind {
        /// Journal article.
        Paper = "paper",
        /// Patent.
        Patent = "patent",
        /// Book.
        Book = "book",
        /// Thesis.
        Thesis = "thesis",
        /// Teaching material.
        Teaching = "teaching",
        /// Published standard, monograph or legal text.
        Standard = "standard",
        /// A compilation whose own sources are not printed.
        Compilation = "compilation",
        /// Data sheet of a supplier.
        DataSheet = "data-sheet",
        /// Own measurement of the group.
        Own = "own",
        /// Anything else.
        Other = "other",
    }
);

/// A compound and its identity.
#[derive(Clone, Debug, PartialEq)]
pub struct Compound {
    /// Its number in this library file.
    pub id: CompoundId,
    /// Its stable id across libraries (UUID).
    pub uid: String,
    /// The preferred name.
    pub name: String,
    /// All other names.
    pub other_names: Vec<String>,
    /// CAS numbers.
    pub cas: Vec<String>,
    /// SMILES as given.
    pub smiles: Option<String>,
    /// Standard InChI.
    pub inchi: Option<String>,
    /// Standard InChIKey.
    pub inchikey: Option<String>,
    /// Own label where InChI cannot tell (axis, polymer), part of the key.
    pub descriptor: Option<String>,
    /// Formula in Hill order.
    pub formula: Option<String>,
    /// Molar mass.
    pub molar_mass: Option<MolarMass>,
    /// Whether the structure can rotate light, as far as it tells.
    pub chirality: Chirality,
    /// InChIKey of the mirror image, where it differs from its own.
    pub mirror_key: Option<String>,
    /// The first two blocks of the InChIKey of the largest component.
    pub parent_key: Option<String>,
}

word!(
    /// What the structure says of chirality.
    Chirality {
        /// Every stereocentre is given and the mirror image differs.
        Chiral = "chiral",
        /// Equal to its own mirror image although it has stereocentres.
        Meso = "meso",
        /// No stereocentre.
        Achiral = "achiral",
        /// Some stereocentres are not given.
        Open = "open",
        /// No structure is known, or it cannot tell (axis, polymer).
        Unknown = "unknown",
    }
);

/// Where a value was published.
#[derive(Clone, Debug, PartialEq)]
pub struct Source {
    /// Its number in this library file.
    pub id: SourceId,
    /// Its stable id across libraries (UUID).
    pub uid: String,
    /// Its kind.
    pub kind: SourceKind,
    /// The citation.
    pub citation: String,
    /// DOI without resolver.
    pub doi: Option<String>,
    /// Year of publication.
    pub year: Option<i32>,
    /// Where the text was read.
    pub url: Option<String>,
}

/// A statement in the library.
#[derive(Clone, Debug, PartialEq)]
pub struct Entry {
    /// Its number in this library file.
    pub id: EntryId,
    /// Its stable id across libraries.
    pub uid: String,
    /// The compound it is attached to.
    pub compound: CompoundId,
    /// Where it was published.
    pub source: SourceId,
    /// Value or specification.
    pub kind: EntryKind,
    /// The statement.
    pub statement: Statement,
    /// How sure the identity is.
    pub identity: Identity,
    /// How the hand is known.
    pub hand: Hand,
    /// Review state.
    pub state: ReviewState,
    /// Why the entry is kept out of pooling, when it is (printed data that look wrong are kept as printed).
    pub kept_out: Option<String>,
    /// Substance name as the source gave it.
    pub substance: Option<String>,
    /// How the figure was seen by the person who keyed it: yes, partly with what was repaired, no (from memory).
    pub seen: Option<String>,
    /// Remark of the librarian.
    pub comment: Option<String>,
    /// Of a specification: what its method says beyond the statement's fields.
    pub method: Option<LimitMethod>,
    /// Number of changes so far; an edit names the revision it is based on.
    pub revision: i64,
}

/// What the method of a specification says beyond the fields of a statement.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct LimitMethod {
    /// How the solution is prepared, in words, where no number says it: "5.00 g + 6.4 g borax in 50.0 mL".
    pub preparation: Option<String>,
    /// The factor by which the value found is to be divided before it is held against the limits.
    pub divide_by: Option<Printed>,
}

/// A compound to be added.
#[derive(Clone, Debug, PartialEq)]
pub struct NewCompound {
    /// The preferred name.
    pub name: String,
    /// All other names.
    pub other_names: Vec<String>,
    /// CAS numbers.
    pub cas: Vec<String>,
    /// SMILES as given.
    pub smiles: Option<String>,
    /// Standard InChI.
    pub inchi: Option<String>,
    /// Standard InChIKey.
    pub inchikey: Option<String>,
    /// InChIKey of the mirror image, where it differs from its own.
    pub mirror_key: Option<String>,
    /// The first two blocks of the InChIKey of the largest component (salts and hydrates of one parent share it).
    pub parent_key: Option<String>,
    /// Own label where InChI cannot tell.
    pub descriptor: Option<String>,
    /// Formula in Hill order.
    pub formula: Option<String>,
    /// Molar mass.
    pub molar_mass: Option<MolarMass>,
    /// What the structure says of chirality.
    pub chirality: Chirality,
}

impl NewCompound {
    /// A compound of which only the name is known.
    pub fn named(name: impl Into<String>) -> Self {
        Self {
            name: name.into(),
            other_names: Vec::new(),
            cas: Vec::new(),
            smiles: None,
            inchi: None,
            inchikey: None,
            mirror_key: None,
            parent_key: None,
            descriptor: None,
            formula: None,
            molar_mass: None,
            chirality: Chirality::Unknown,
        }
    }
}

/// A source to be added.
#[derive(Clone, Debug, PartialEq)]
pub struct NewSource {
    /// Its kind.
    pub kind: SourceKind,
    /// The citation.
    pub citation: String,
    /// DOI without resolver.
    pub doi: Option<String>,
    /// Year of publication.
    pub year: Option<i32>,
    /// Where the text was read.
    pub url: Option<String>,
}

/// What an entry holds apart from its numbers: to be added, or to replace what an entry holds.
#[derive(Clone, Debug, PartialEq)]
pub struct EntryContent {
    /// The compound it is attached to.
    pub compound: CompoundId,
    /// Where it was published.
    pub source: SourceId,
    /// Value or specification.
    pub kind: EntryKind,
    /// The statement.
    pub statement: Statement,
    /// How sure the identity is.
    pub identity: Identity,
    /// How the hand is known.
    pub hand: Hand,
    /// Review state.
    pub state: ReviewState,
    /// Why the entry is kept out of pooling, when it is.
    pub kept_out: Option<String>,
    /// Substance name as the source gave it.
    pub substance: Option<String>,
    /// How the figure was seen by the person who keyed it.
    pub seen: Option<String>,
    /// Remark of the librarian.
    pub comment: Option<String>,
    /// Of a specification: what its method says beyond the statement's fields.
    pub method: Option<LimitMethod>,
}

impl From<Entry> for EntryContent {
    fn from(entry: Entry) -> Self {
        Self {
            compound: entry.compound,
            source: entry.source,
            kind: entry.kind,
            statement: entry.statement,
            identity: entry.identity,
            hand: entry.hand,
            state: entry.state,
            kept_out: entry.kept_out,
            substance: entry.substance,
            seen: entry.seen,
            comment: entry.comment,
            method: entry.method,
        }
    }
}

/// Who changes the library, when and why.
#[derive(Clone, Debug, PartialEq)]
pub struct Change {
    /// Who.
    pub who: String,
    /// Why, in words.
    pub why: String,
    /// When.
    pub at: time::OffsetDateTime,
}

impl Change {
    /// A change made now.
    pub fn now(who: impl Into<String>, why: impl Into<String>) -> Self {
        Self {
            who: who.into(),
            why: why.into(),
            at: time::OffsetDateTime::now_utc(),
        }
    }
}
