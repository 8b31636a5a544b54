//! Quality findings: what about the entries of one compound is probably wrong. Pure: plain data in, plain data out.
//!
//! [`findings`] looks at the entries of one compound, and at those of its mirror image, and says what is suspicious, in
//! words with the numbers. It never changes anything and decides nothing: a finding is looked into by a person, who mends
//! the entry or accepts the finding. [`compare_keyings`] sets two keyings of one printed value side by side.
//!
//! The work grows with the number of entries of the compound (times a fixed number of siblings), never with its square,
//! so that a library of any size is audited compound by compound. Not for: the verdict on a measurement, which is the
//! business of [`crate::compare`]. Start reading at [`findings`].

mod contradictions;
mod duplicates;
mod hand;
mod identity;
mod keying;
mod plausibility;

pub use identity::{EntryMark, finding_id};
pub use keying::{FieldDifference, compare_keyings, fields};

use crate::compare::{EffectTable, Options};
use crate::quantity::MolarMass;
use crate::statement::Statement;
use serde::Serialize;

/// What the structure of a compound says of rotation.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Symmetry {
    /// The structure can rotate light, or does not tell.
    MayRotate,
    /// No stereocentre.
    Achiral,
    /// Stereocentres, and equal to its own mirror image.
    Meso,
}

/// What an audit has to know of a compound.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Subject {
    /// What its structure says.
    pub symmetry: Symmetry,
    /// Whether a descriptor of our own names its configuration (axis, polymer), which the structure does not see.
    pub has_descriptor: bool,
    /// Its molar mass.
    pub molar_mass: Option<MolarMass>,
}

/// One entry as an audit takes it. Withdrawn entries are not given.
#[derive(Clone, Debug, PartialEq)]
pub struct Item {
    /// What the entry is called in words: its number, or its row in a file.
    pub label: String,
    /// Number of its source.
    pub source: i64,
    /// What is printed.
    pub statement: Statement,
    /// Limits with their method, not a value.
    pub specification: bool,
    /// Kept out of pooling with a reason: a person has dealt with it, so its value is not judged again.
    pub kept_out: bool,
    /// It is not clear that the value is of this compound, so it proves nothing about others.
    pub identity_unclear: bool,
    /// Not confirmed yet.
    pub draft: bool,
    /// Substance name as the source gives it.
    pub substance: Option<String>,
}

/// How grave a finding is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Severity {
    /// Untidy, or less is known than could be.
    Low,
    /// May well be wrong.
    Medium,
    /// Would lead later checks astray.
    High,
}

impl Severity {
    /// The word.
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Low => "low",
            Self::Medium => "medium",
            Self::High => "high",
        }
    }

    /// The severity a word names.
    pub fn from_word(word: &str) -> Option<Self> {
        [Self::Low, Self::Medium, Self::High]
            .into_iter()
            .find(|severity| severity.as_str() == word)
    }
}

/// Defines the kinds of finding with their word and what each means.
macro_rules! codes {
    ($($(#[$doc:meta])* $variant:ident = $word:literal, $meaning:literal;)+) => {
        /// The kind of a finding.
        #[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize)]
        pub enum Code {
            $($(#[$doc])* #[serde(rename = $word)] $variant),+
        }

        impl Code {
            /// Every kind.
            pub const ALL: &'static [Self] = &[$(Self::$variant),+];
            /// The word of every kind, in the same order.
            pub const WORDS: &'static [&'static str] = &[$($word),+];

            /// Its word, stable for programs.
            pub const fn as_str(self) -> &'static str {
                match self { $(Self::$variant => $word),+ }
            }

            /// What it means, in few words.
            pub const fn meaning(self) -> &'static str {
                match self { $(Self::$variant => $meaning),+ }
            }

            /// The kind a word names.
            pub fn from_word(word: &str) -> Option<Self> {
                match word { $($word => Some(Self::$variant),)+ _ => None }
            }
        }
    };
}

codes! {
    /// The sign contradicts the siblings, and with the other sign the value fits.
    SignFlip = "sign-flip", "fits its siblings with the other sign";
    /// The value is off by ten or a hundred.
    PowerOfTen = "power-of-ten", "fits its siblings times or divided by 10 or 100";
    /// The value lies outside the prediction interval of its siblings.
    Outlier = "outlier", "outside the prediction interval of its siblings";
    /// Both enantiomers have the same sign under equal conditions.
    SameSignEnantiomers = "same-sign-enantiomers", "both mirror images have one sign under equal conditions";
    /// A rotation on a structure that cannot rotate.
    AchiralRotation = "achiral-rotation", "a rotation on an achiral or meso structure";
    /// Low end above the high end.
    LimitsReversed = "limits-reversed", "the low limit or end stands above the high one";
    /// An angle beyond what an instrument reads.
    AngleTooLarge = "angle-too-large", "the printed c makes an angle past 90 degrees";
    /// An angle too small to be read.
    AngleTooSmall = "angle-too-small", "the printed c makes an angle no instrument tells from zero";
    /// More digits than an angle can carry.
    TooManyDigits = "too-many-digits", "more digits than the angle at the printed c can carry";
    /// No light a rotation is read with.
    WavelengthImplausible = "wavelength-implausible", "a wavelength no polarimeter lamp has";
    /// No temperature a rotation is read at.
    TemperatureImplausible = "temperature-implausible", "a temperature rotations are hardly read at";
    /// Conditions are not printed.
    MissingConditions = "missing-conditions", "conditions are not printed";
    /// One keying twice.
    ExactDuplicate = "exact-duplicate", "one source, value and conditions, entered twice";
    /// Probably one measurement.
    NearDuplicate = "near-duplicate", "one value, no condition that differs: probably one measurement";
}

/// Something suspicious about one or several entries.
#[derive(Clone, Debug, PartialEq)]
pub struct Finding {
    /// Its kind.
    pub code: Code,
    /// How grave it is.
    pub severity: Severity,
    /// Why, in a sentence with the numbers.
    pub reason: String,
    /// The entries it is about, by their place in the items.
    pub entries: Vec<usize>,
    /// Entries of the mirror image it is about, by their place there.
    pub mirror_entries: Vec<usize>,
    /// Further items it rests on, which may be right.
    pub against: Vec<usize>,
}

impl Finding {
    fn new(code: Code, severity: Severity, reason: String, entries: Vec<usize>) -> Self {
        Self {
            code,
            severity,
            reason,
            entries,
            mirror_entries: Vec::new(),
            against: Vec::new(),
        }
    }
}

/// The tables and settings of an audit.
#[derive(Clone, Debug)]
pub struct Settings {
    /// Condition effects.
    pub effects: EffectTable,
    /// Settings of the model.
    pub options: Options,
    /// Judge the values of entries that are kept out of pooling too: to see whether the audit would have found them.
    pub judge_kept_out: bool,
}

impl Default for Settings {
    fn default() -> Self {
        Self {
            effects: EffectTable::built_in(),
            options: Options::default(),
            judge_kept_out: false,
        }
    }
}

/// Everything suspicious about the entries of one compound, gravest first. `mirror` are the entries of its mirror image,
/// empty when there is none or it has been audited with them already.
pub fn findings(subject: &Subject, items: &[Item], mirror: &[Item], settings: &Settings) -> Vec<Finding> {
    let judged = |item: &Item| settings.judge_kept_out || !item.kept_out;
    let mut found = Vec::new();
    for (at, item) in items.iter().enumerate().filter(|(_, item)| judged(item)) {
        plausibility::of_item(subject, at, item, &mut found);
        hand::of_structure(subject, at, item, &mut found);
    }
    contradictions::among(subject, items, settings, &mut found);
    hand::between_enantiomers(subject, items, mirror, settings, &mut found);
    duplicates::among(items, &mut found);
    found.sort_by(|a, b| b.severity.cmp(&a.severity).then(a.code.cmp(&b.code)));
    found
}

/// A number in at most four significant digits, with a minus of its own.
fn shown(value: f64) -> String {
    let decimals = (3.0 - value.abs().max(1e-9).log10().floor()).clamp(0.0, 6.0);
    let factor = 10f64.powf(decimals);
    let rounded = (value * factor).round() / factor;
    format!("{rounded}").replace('-', "\u{2212}")
}

/// A number with its sign.
fn signed(value: f64) -> String {
    if value > 0.0 {
        format!("+{}", shown(value))
    } else {
        shown(value)
    }
}

/// Entries by their labels, at most six.
fn labels(items: &[Item], places: &[usize]) -> String {
    const MOST: usize = 6;
    let mut names: Vec<&str> = places.iter().take(MOST).map(|&at| items[at].label.as_str()).collect();
    if places.len() > MOST {
        names.push("…");
    }
    names.join(", ")
}
