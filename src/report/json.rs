//! The shapes that `--json` prints: separate from what is stored, so that either may change without the other. Numbers
//! are in the units of the field's name or doc comment; a field without a value is null.

use crate::library::{
    Chirality, Compound, CopyReport, Entry, EntryKind, Hand, Identity, ReviewState, Source, SourceKind, Statistics,
    Versions, Why,
};
use crate::notation::{Found, ReadStatement};
use crate::tasks::curate::Added;
use crate::tasks::resolve::Signs;
use crate::tasks::search::{Search, Summary};
use crate::tasks::show::{Relative, Shown};
use serde::Serialize;
use std::path::{Path, PathBuf};

pub use super::json_statement::StatementJson;

/// A compound.
#[derive(Clone, Debug, Serialize)]
pub struct CompoundJson {
    /// Number in this library file.
    pub compound: i64,
    /// Stable id across libraries.
    pub uid: String,
    /// Preferred name.
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
    /// Own label of the configuration where InChI cannot tell.
    pub descriptor: Option<String>,
    /// Formula in Hill order.
    pub formula: Option<String>,
    /// Molar mass, g/mol.
    pub molar_mass: Option<f64>,
    /// What the structure says of chirality.
    pub chirality: Chirality,
}

impl From<&Compound> for CompoundJson {
    fn from(compound: &Compound) -> Self {
        Self {
            compound: compound.id.0,
            uid: compound.uid.clone(),
            name: compound.name.clone(),
            other_names: compound.other_names.clone(),
            cas: compound.cas.clone(),
            smiles: compound.smiles.clone(),
            inchi: compound.inchi.clone(),
            inchikey: compound.inchikey.clone(),
            descriptor: compound.descriptor.clone(),
            formula: compound.formula.clone(),
            molar_mass: compound.molar_mass.map(crate::quantity::MolarMass::grams_per_mole),
            chirality: compound.chirality,
        }
    }
}

/// A compound that stands in a relation to the one asked for.
#[derive(Clone, Debug, Serialize)]
pub struct RelativeJson {
    /// Number in this library file.
    pub compound: i64,
    /// Preferred name.
    pub name: String,
    /// Standard InChIKey.
    pub inchikey: Option<String>,
    /// How many values, not withdrawn, the library holds for it.
    pub values: usize,
    /// Signs of these values: `+`, `-`, `+-`, or null.
    pub signs: Option<&'static str>,
}

impl From<&Relative> for RelativeJson {
    fn from(relative: &Relative) -> Self {
        Self {
            compound: relative.compound.id.0,
            name: relative.compound.name.clone(),
            inchikey: relative.compound.inchikey.clone(),
            values: relative.n_values,
            signs: signs(relative.signs),
        }
    }
}

/// A source.
#[derive(Clone, Debug, Serialize)]
pub struct SourceJson {
    /// Number in this library file; entries point to it.
    pub source: i64,
    /// Stable id across libraries.
    pub uid: String,
    /// Kind.
    pub kind: SourceKind,
    /// Citation.
    pub citation: String,
    /// DOI without resolver.
    pub doi: Option<String>,
    /// Year of publication.
    pub year: Option<i32>,
    /// Where the text was read.
    pub url: Option<String>,
}

impl From<&Source> for SourceJson {
    fn from(source: &Source) -> Self {
        Self {
            source: source.id.0,
            uid: source.uid.clone(),
            kind: source.kind,
            citation: source.citation.clone(),
            doi: source.doi.clone(),
            year: source.year,
            url: source.url.clone(),
        }
    }
}

/// An entry.
#[derive(Clone, Debug, Serialize)]
pub struct EntryJson {
    /// Number in this library file.
    pub entry: i64,
    /// Stable id across libraries.
    pub uid: String,
    /// Number of the compound.
    pub compound: i64,
    /// Number of the source.
    pub source: i64,
    /// Value or specification.
    pub kind: EntryKind,
    /// What is printed.
    pub statement: StatementJson,
    /// How sure it is that the statement belongs to the compound.
    pub identity: Identity,
    /// How the hand is known.
    pub hand: Hand,
    /// Review state.
    pub state: ReviewState,
    /// Why it is kept out of pooling.
    pub kept_out: Option<String>,
    /// Substance name as the source gives it.
    pub substance: Option<String>,
    /// How the figure was seen by the person who keyed it.
    pub seen: Option<String>,
    /// Remark of the librarian.
    pub comment: Option<String>,
    /// How the solution of a specification's method is prepared, in words.
    pub preparation: Option<String>,
    /// The factor a specification's method divides the value found by.
    pub divide_by: Option<f64>,
    /// Number of changes so far.
    pub revision: i64,
}

impl From<&Entry> for EntryJson {
    fn from(entry: &Entry) -> Self {
        let method = entry.method.as_ref();
        Self {
            entry: entry.id.0,
            uid: entry.uid.clone(),
            compound: entry.compound.0,
            source: entry.source.0,
            kind: entry.kind,
            statement: StatementJson::from(&entry.statement),
            identity: entry.identity,
            hand: entry.hand,
            state: entry.state,
            kept_out: entry.kept_out.clone(),
            substance: entry.substance.clone(),
            seen: entry.seen.clone(),
            comment: entry.comment.clone(),
            preparation: method.and_then(|method| method.preparation.clone()),
            divide_by: method.and_then(|method| Some(method.divide_by?.value())),
            revision: entry.revision,
        }
    }
}

/// The answer of `biot show`.
#[derive(Clone, Debug, Serialize)]
pub struct ShowJson {
    /// The compound.
    pub compound: CompoundJson,
    /// Its mirror image, when the library holds it.
    pub mirror_image: Option<RelativeJson>,
    /// The other stereoisomers of its connectivity.
    pub stereoisomers: Vec<RelativeJson>,
    /// Salts, hydrates or the parent with the same configuration.
    pub related_forms: Vec<RelativeJson>,
    /// Literature values.
    pub values: Vec<EntryJson>,
    /// Specifications.
    pub specifications: Vec<EntryJson>,
    /// The sources of the entries.
    pub sources: Vec<SourceJson>,
}

impl From<&Shown> for ShowJson {
    fn from(shown: &Shown) -> Self {
        Self {
            compound: (&shown.compound).into(),
            mirror_image: shown.mirror_image.as_ref().map(Into::into),
            stereoisomers: shown.stereoisomers.iter().map(Into::into).collect(),
            related_forms: shown.related_forms.iter().map(Into::into).collect(),
            values: shown.values.iter().map(Into::into).collect(),
            specifications: shown.specifications.iter().map(Into::into).collect(),
            sources: shown.sources.iter().map(Into::into).collect(),
        }
    }
}

/// The signs of a compound's values: `+`, `-`, `+-`.
pub const fn signs(signs: Signs) -> Option<&'static str> {
    match (signs.plus > 0, signs.minus > 0) {
        (true, true) => Some("+-"),
        (true, false) => Some("+"),
        (false, true) => Some("-"),
        (false, false) => None,
    }
}

/// The answer of `biot backup` and `biot restore`.
#[derive(Clone, Debug, Serialize)]
pub struct CopyJson {
    /// The file that was written.
    pub file: PathBuf,
    /// What it holds, counted in the file that was read back.
    pub counts: Statistics,
    /// Where the file that was replaced is kept, after a restore.
    pub kept_aside: Option<PathBuf>,
}

/// The answer of `biot info`.
#[derive(Clone, Debug, Serialize)]
pub struct InfoJson<'a> {
    /// Version of the program.
    pub program: &'a str,
    /// Versions of what a library file rests on.
    #[serde(flatten)]
    pub versions: Versions,
    /// The library file.
    pub library: &'a Path,
    /// Size of the library file, bytes.
    pub bytes: Option<u64>,
    /// What the library holds.
    pub counts: Statistics,
    /// What a check of the whole file found, when one was asked for.
    pub problems: Option<Vec<String>>,
}

/// The answer of `biot search`.
#[derive(Clone, Debug, Serialize)]
pub struct SearchJson {
    /// The text searched for.
    pub text: String,
    /// The compounds found, best first.
    pub hits: Vec<HitJson>,
    /// What a person should know about the search itself.
    pub notice: Option<String>,
}

/// A compound found.
#[derive(Clone, Debug, Serialize)]
pub struct HitJson {
    /// The compound.
    #[serde(flatten)]
    pub compound: CompoundJson,
    /// The name, number or formula that matched.
    pub matched: String,
    /// How it matched: `inchikey`, `cas`, `doi`, `formula`, `name`, `stem`, `typing-error`, `begins-with` or `words`.
    pub found_by: &'static str,
    /// Literature values that are not withdrawn.
    pub values: usize,
    /// Specifications that are not withdrawn.
    pub specifications: usize,
    /// Signs of the values: `+`, `-`, `+-`, or null.
    pub signs: Option<&'static str>,
    /// Least and greatest specific rotation among the values at any condition, deg mL g⁻¹ dm⁻¹.
    pub range: Option<(f64, f64)>,
}

impl SearchJson {
    /// The answer to a text.
    pub fn new(text: &str, search: &Search) -> Self {
        Self {
            text: text.to_owned(),
            hits: search.hits.iter().map(Into::into).collect(),
            notice: search.notice.clone(),
        }
    }
}

impl From<&Summary> for HitJson {
    fn from(Summary { hit, entries }: &Summary) -> Self {
        Self {
            compound: (&hit.compound).into(),
            matched: hit.matched.clone(),
            found_by: match hit.why {
                Why::InchiKey => "inchikey",
                Why::Cas => "cas",
                Why::Doi => "doi",
                Why::Formula => "formula",
                Why::ExactName => "name",
                Why::SameStem => "stem",
                Why::TypingError | Why::TypingErrorInStem => "typing-error",
                Why::BeginsWith => "begins-with",
                Why::AllWords | Why::SomeWords => "words",
            },
            values: entries.n_values,
            specifications: entries.n_specifications,
            signs: signs(entries.signs),
            range: entries.range,
        }
    }
}

impl From<&CopyReport> for CopyJson {
    fn from(copy: &CopyReport) -> Self {
        Self {
            file: copy.copy.clone(),
            counts: copy.counts.clone(),
            kept_aside: copy.kept_aside.clone(),
        }
    }
}

/// The answer of `biot merge`.
#[derive(Clone, Debug, Serialize)]
pub struct MergeJson {
    /// Whether the compounds were merged; false when only shown what would move.
    pub merged: bool,
    /// The compound that ends.
    pub from: CompoundJson,
    /// The compound that stays, as it was before.
    pub into: CompoundJson,
    /// Numbers of the entries that move.
    pub entries: Vec<i64>,
    /// What speaks against merging them.
    pub warnings: Vec<String>,
}

impl MergeJson {
    /// What merging two compounds moves.
    pub fn new(from: &Shown, into: &Shown, merged: bool) -> Self {
        let entries = from.values.iter().chain(&from.specifications);
        Self {
            merged,
            from: (&from.compound).into(),
            into: (&into.compound).into(),
            entries: entries.map(|entry| entry.id.0).collect(),
            warnings: super::merge::warnings(&from.compound, &into.compound),
        }
    }
}

/// The answer of `biot add`.
#[derive(Clone, Debug, Serialize)]
pub struct AddedJson {
    /// The entry, a draft.
    pub entry: EntryJson,
    /// Its compound.
    pub compound: CompoundJson,
    /// Whether the compound is new in the library.
    pub compound_is_new: bool,
}

impl From<&Added> for AddedJson {
    fn from(added: &Added) -> Self {
        Self {
            entry: (&added.entry).into(),
            compound: (&added.compound).into(),
            compound_is_new: added.compound_is_new,
        }
    }
}

/// The answer of `biot edit`.
#[derive(Clone, Debug, Serialize)]
pub struct EditedJson {
    /// The entry as it was.
    pub before: EntryJson,
    /// The entry as it is.
    pub after: EntryJson,
}

impl EditedJson {
    /// An entry before and after an edit.
    pub fn new(before: &Entry, after: &Entry) -> Self {
        Self {
            before: before.into(),
            after: after.into(),
        }
    }
}

/// The answer of `biot read` for one text.
#[derive(Clone, Debug, Serialize)]
pub struct ReadJson<'a> {
    /// The file; `-` for standard input, none for a text given as an option.
    pub file: Option<&'a Path>,
    /// The rotations found, in order; keys that are not printed are left out.
    pub statements: Vec<ReadStatement>,
}

impl<'a> ReadJson<'a> {
    /// What was found in a text.
    pub fn new(file: Option<&'a Path>, found: &[Found]) -> Self {
        Self {
            file,
            statements: found.iter().map(Into::into).collect(),
        }
    }
}

/// The answer of `biot read --lines` for one line.
#[derive(Clone, Debug, Serialize)]
pub struct LineJson {
    /// Number of the line, from one.
    pub line: usize,
    /// The rotations found in it.
    pub statements: Vec<ReadStatement>,
}

impl LineJson {
    /// What was found in a line.
    pub fn new(line: usize, found: &[Found]) -> Self {
        Self {
            line,
            statements: found.iter().map(Into::into).collect(),
        }
    }
}
