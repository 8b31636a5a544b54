//! Solvents as published rotations name them: pure liquids, percent alcohols, acids, bases and salts in solution,
//! mixtures, buffers, and no solvent at all.
//!
//! [`Solvent`] is a parsed composition. [`Solvent::parse`] takes what the literature prints, `Display` prints the one
//! canonical text, and [`Solvent::find_at`] reads a solvent at a place of a longer text. [`kinship`] says whether two
//! rotations may be compared without a transfer between solvents. The table of substances is `data/solvents.csv`.
//! Not for: concentrations of the measured substance. Start reading at [`Solvent`].

mod amount;
mod kinship;
mod lexicon;
mod reader;
mod substance;

use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Serialize};

pub use amount::{Amount, AmountError};
pub use kinship::{Kinship, kinship};
pub use substance::Substance;

/// What a rotation was measured in.
///
/// Equality is equality of the canonical text; use [`kinship`] to compare solvents as conditions.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub enum Solvent {
    /// No solvent: the pure liquid itself.
    Neat,
    /// A pure solvent.
    Pure(Substance),
    /// A substance dissolved in, or diluted with, another: `HCl 1 N aq`, `EtOH 95%`, `KOH 1 N in EtOH`.
    Solution(Solution),
    /// Two or more solvents, with their ratio where it is printed: `MeOH/H2O 1:1`.
    Mixture(Mixture),
    /// A buffer: `pH 7 buffer`.
    Buffer(Buffer),
    /// A printed name that is not in the table.
    Other(PlainName),
}

/// A substance dissolved in a pure solvent, with its strength.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Solution {
    solute: Substance,
    strength: Strength,
    /// A liquid, and not the solute.
    medium: Substance,
}

/// How much of a substance a [`Solution`] holds, in the unit in which it was printed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Strength {
    /// Nothing was printed.
    Unstated,
    /// "Dilute".
    Dilute,
    /// "Concentrated".
    Concentrated,
    /// Normality: acid or base equivalents per litre.
    Normal(Amount),
    /// Amount concentration in mol/L.
    Molar(Amount),
    /// Per cent; by volume for two liquids, as usual, or with an unknown basis.
    Percent(Amount),
    /// Per cent expressly by mass.
    PercentByMass(Amount),
    /// Equivalents for one mole of the measured substance.
    Equivalents(Amount),
}

/// Solvents mixed with one another, in printed order.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Mixture {
    /// Two to five different components, none of them a mixture.
    components: Vec<Component>,
    ratio: Option<Ratio>,
}

/// One component of a [`Mixture`].
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Component {
    /// A pure solvent.
    Pure(Substance),
    /// A solution, such as `HCl 1 N aq`.
    Solution(Solution),
    /// A buffer.
    Buffer(Buffer),
}

/// The parts of a [`Mixture`], in the order of its components.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Ratio {
    parts: Vec<Amount>,
    /// Parts by mass were printed; otherwise the parts are by volume, the usual meaning (common practice).
    by_mass: bool,
}

/// A buffer solution in water, with what was printed of it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Buffer {
    /// pH, 0 to 14.
    ph: Option<Amount>,
    /// One of [`BUFFER_SPECIES`].
    species: Option<&'static str>,
    /// Concentration in mol/L.
    molar: Option<Amount>,
}

/// Names of buffers that are told apart.
const BUFFER_SPECIES: [&str; 12] = [
    "phosphate",
    "acetate",
    "citrate",
    "borate",
    "tris",
    "carbonate",
    "hepes",
    "glycine",
    "ammonium",
    "formate",
    "succinate",
    "veronal",
];

/// The most components a [`Mixture`] may have.
const MAX_COMPONENTS: usize = 5;

/// A name kept as it was printed, made by [`Solvent::parse_lenient`] only.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct PlainName(String);

/// Why a text is not a known solvent.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum SolventError {
    /// There is nothing to read.
    #[error("the solvent is empty; leave the field out when no solvent is known")]
    Empty,
    /// A part of the text was not understood.
    #[error("`{unread}` in the solvent `{text}` is not known{}", did_you_mean(&nearest(unread)))]
    Unknown {
        /// The text as given.
        text: String,
        /// The part of it that was not understood; [`nearest`] says what may be meant.
        unread: String,
    },
}

/// Canonical ids of known solvents whose printed names resemble `text`, best first; at most three.
///
/// Compares with every known name, so that only a person's question is worth it, not every failure to read.
pub fn nearest(text: &str) -> Vec<String> {
    reader::nearest(text)
}

fn did_you_mean(nearest: &[String]) -> String {
    if nearest.is_empty() {
        String::new()
    } else {
        format!("; nearest known: {}", nearest.join(", "))
    }
}

impl Solvent {
    /// Reads a solvent as printed in the literature; the whole text must be understood.
    ///
    /// Takes canonical ids, names, formulas with or without subscripts or markup, common synonyms in several languages,
    /// strengths before or after the name and mixtures with ratios.
    pub fn parse(text: &str) -> Result<Solvent, SolventError> {
        if text.trim().is_empty() {
            return Err(SolventError::Empty);
        }
        reader::whole(text).map_err(|unread| SolventError::Unknown {
            text: text.to_string(),
            unread: unread.to_string(),
        })
    }

    /// As [`Solvent::parse`], but keeps a text that is not understood as [`Solvent::Other`].
    ///
    /// # Errors
    /// [`SolventError::Empty`] only.
    pub fn parse_lenient(text: &str) -> Result<Solvent, SolventError> {
        if text.trim().is_empty() {
            return Err(SolventError::Empty);
        }
        let plain = || PlainName(text.split_whitespace().collect::<Vec<_>>().join(" "));
        Ok(reader::whole(text).unwrap_or_else(|_| Solvent::Other(plain())))
    }

    /// Reads the longest solvent phrase that begins exactly at the start of `text`, whatever follows.
    ///
    /// Returns the solvent and the length of the phrase in bytes. Stricter than [`Solvent::parse`] where running text is
    /// ambiguous: `water, 1%` is water, `2% ethanol` is nothing (a concentration may precede a solvent), and `A and B`
    /// is a mixture only with a ratio. The work is bounded, however long the text. The caller sees to it that a word
    /// begins here.
    pub fn find_at(text: &str) -> Option<(Solvent, usize)> {
        reader::prefix(text)
    }

    /// The solvent without regard to grade: `EtOH abs` → `EtOH`, `CHCl3 dry` → `CHCl3`.
    #[must_use]
    pub fn without_grade(&self) -> Solvent {
        match self {
            Solvent::Pure(substance) => Solvent::Pure(substance.without_grade()),
            other => other.clone(),
        }
    }

    /// Every substance the solvent is known to hold, each once.
    pub fn substances(&self) -> Vec<Substance> {
        let mut substances = match self {
            Solvent::Neat | Solvent::Other(_) => vec![],
            Solvent::Buffer(_) => vec![Substance::water()],
            Solvent::Pure(substance) => vec![*substance],
            Solvent::Solution(solution) => vec![solution.solute, solution.medium],
            Solvent::Mixture(mixture) => mixture.components.iter().flat_map(|c| c.substances()).collect(),
        };
        let mut seen = std::collections::HashSet::new();
        substances.retain(|substance| seen.insert(*substance));
        substances
    }

    /// Short sentences of caution for someone who is told to use the solvent.
    ///
    /// Empty when nothing is known to be hazardous; otherwise the last sentence points to the safety data sheet.
    pub fn cautions(&self) -> Vec<String> {
        let mut cautions = Vec::new();
        for substance in self.substances() {
            let hazards: Vec<_> = substance.hazards().collect();
            if !hazards.is_empty() {
                cautions.push(format!("{}: {}.", capitalised(substance.name()), hazards.join(", ")));
            }
            if !substance.attacks().is_empty() {
                cautions.push(format!(
                    "{} may attack {}.",
                    capitalised(substance.name()),
                    substance.attacks()
                ));
            }
        }
        if !cautions.is_empty() {
            cautions.push("Follow the safety data sheet, local rules and trained supervision.".to_string());
        }
        cautions
    }
}

fn capitalised(name: &str) -> String {
    let mut chars = name.chars();
    chars
        .next()
        .map(|first| first.to_uppercase().chain(chars).collect())
        .unwrap_or_default()
}

impl Solution {
    /// A solution of `solute` in the pure liquid `medium`.
    ///
    /// `None` when the medium is not a liquid or is the solute itself, or when a percentage is not between 0 and 100
    /// or another strength is zero.
    pub fn new(solute: Substance, strength: Strength, medium: Substance) -> Option<Solution> {
        let sensible = match strength {
            Strength::Unstated | Strength::Dilute | Strength::Concentrated => true,
            Strength::Percent(p) | Strength::PercentByMass(p) => !p.is_zero() && p < Amount::whole(100),
            Strength::Normal(n) | Strength::Molar(n) | Strength::Equivalents(n) => !n.is_zero(),
        };
        (sensible && medium.is_liquid() && medium != solute).then_some(Solution {
            solute,
            strength,
            medium,
        })
    }

    /// What is dissolved.
    pub fn solute(self) -> Substance {
        self.solute
    }

    /// How much is dissolved.
    pub fn strength(self) -> Strength {
        self.strength
    }

    /// What it is dissolved in.
    pub fn medium(self) -> Substance {
        self.medium
    }

    /// Whether the canonical text is that of a commercial grade, `EtOH 95%`, without `aq`.
    fn is_rectified_spirit(self) -> bool {
        matches!(self.strength, Strength::Percent(p) if p >= Amount::whole(90))
            && self.solute.id() == "EtOH"
            && self.medium == Substance::water()
    }
}

impl Mixture {
    /// A mixture of two to five different components, with as many non-zero parts if a ratio is given.
    pub fn new(components: Vec<Component>, ratio: Option<Ratio>) -> Option<Mixture> {
        let distinct = components.iter().collect::<std::collections::HashSet<_>>().len() == components.len();
        let fits = ratio.as_ref().is_none_or(|ratio| ratio.parts.len() == components.len());
        let count = (2..=MAX_COMPONENTS).contains(&components.len());
        (distinct && fits && count).then_some(Mixture { components, ratio })
    }

    /// The components in printed order.
    pub fn components(&self) -> &[Component] {
        &self.components
    }

    /// The ratio, where it was printed.
    pub fn ratio(&self) -> Option<&Ratio> {
        self.ratio.as_ref()
    }
}

impl Component {
    fn substances(self) -> Vec<Substance> {
        Solvent::from(self).substances()
    }
}

impl From<Component> for Solvent {
    fn from(component: Component) -> Self {
        match component {
            Component::Pure(substance) => Solvent::Pure(substance),
            Component::Solution(solution) => Solvent::Solution(solution),
            Component::Buffer(buffer) => Solvent::Buffer(buffer),
        }
    }
}

impl Ratio {
    /// Parts by volume; `None` when a part is zero.
    pub fn by_volume(parts: Vec<Amount>) -> Option<Ratio> {
        (!parts.iter().any(|part| part.is_zero())).then_some(Ratio { parts, by_mass: false })
    }

    /// Parts by mass; `None` when a part is zero.
    pub fn by_mass(parts: Vec<Amount>) -> Option<Ratio> {
        (!parts.iter().any(|part| part.is_zero())).then_some(Ratio { parts, by_mass: true })
    }

    /// The parts, in the order of the components.
    pub fn parts(&self) -> &[Amount] {
        &self.parts
    }

    /// Whether the parts are by mass; otherwise they are by volume.
    pub fn is_by_mass(&self) -> bool {
        self.by_mass
    }
}

impl Buffer {
    /// A buffer with what is known of it; `None` when the pH is above 14, the concentration zero, or the species not
    /// one that is told apart.
    pub fn new(ph: Option<Amount>, species: Option<&str>, molar: Option<Amount>) -> Option<Buffer> {
        let known = match species {
            Some(name) => Some(*BUFFER_SPECIES.iter().find(|known| **known == name)?),
            None => None,
        };
        let sensible = ph.is_none_or(|ph| ph <= Amount::whole(14)) && molar.is_none_or(|m| !m.is_zero());
        sensible.then_some(Buffer {
            ph,
            species: known,
            molar,
        })
    }

    /// The pH, where it was printed.
    pub fn ph(self) -> Option<Amount> {
        self.ph
    }

    /// The kind of buffer, such as `phosphate`, where it was printed.
    pub fn species(self) -> Option<&'static str> {
        self.species
    }

    /// The concentration in mol/L, where it was printed.
    pub fn molar(self) -> Option<Amount> {
        self.molar
    }
}

impl PlainName {
    /// The name as it was printed, with single spaces.
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

impl fmt::Display for Solvent {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Solvent::Neat => f.write_str("neat"),
            Solvent::Pure(substance) => substance.fmt(f),
            Solvent::Solution(solution) => solution.fmt(f),
            Solvent::Mixture(mixture) => mixture.fmt(f),
            Solvent::Buffer(buffer) => buffer.fmt(f),
            Solvent::Other(name) => f.write_str(&name.0),
        }
    }
}

impl fmt::Display for Solution {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Solution {
            solute,
            strength,
            medium,
        } = self;
        if *strength == Strength::Unstated && *solute == Substance::unnamed_acid() {
            return write!(f, "acidic {medium}");
        }
        if *strength == Strength::Unstated && *solute == Substance::unnamed_base() {
            return write!(f, "basic {medium}");
        }
        write!(f, "{solute}")?;
        match strength {
            Strength::Unstated => {}
            Strength::Dilute => write!(f, " dilute")?,
            Strength::Concentrated => write!(f, " conc")?,
            Strength::Normal(n) => write!(f, " {n} N")?,
            Strength::Molar(n) => write!(f, " {n} M")?,
            Strength::Percent(p) => write!(f, " {p}%")?,
            Strength::PercentByMass(p) => write!(f, " {p}% w/w")?,
            Strength::Equivalents(n) => write!(f, " {n} equiv")?,
        }
        if self.is_rectified_spirit() {
            Ok(())
        } else if *medium == Substance::water() {
            write!(f, " aq")
        } else {
            write!(f, " in {medium}")
        }
    }
}

impl fmt::Display for Component {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Component::Pure(substance) => substance.fmt(f),
            Component::Solution(solution) => solution.fmt(f),
            Component::Buffer(buffer) => buffer.fmt(f),
        }
    }
}

impl fmt::Display for Mixture {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (n, component) in self.components.iter().enumerate() {
            write!(f, "{}{component}", if n == 0 { "" } else { "/" })?;
        }
        match &self.ratio {
            Some(ratio) => write!(f, " {ratio}"),
            None => Ok(()),
        }
    }
}

impl fmt::Display for Ratio {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (n, part) in self.parts.iter().enumerate() {
            write!(f, "{}{part}", if n == 0 { "" } else { ":" })?;
        }
        f.write_str(if self.by_mass { " w/w" } else { "" })
    }
}

impl fmt::Display for Buffer {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if let Some(ph) = self.ph {
            write!(f, "pH {ph} ")?;
        }
        if let Some(species) = self.species {
            write!(f, "{species} ")?;
        }
        f.write_str("buffer")?;
        match self.molar {
            Some(molar) => write!(f, " {molar} M"),
            None => Ok(()),
        }
    }
}

impl FromStr for Solvent {
    type Err = SolventError;

    fn from_str(text: &str) -> Result<Self, SolventError> {
        Solvent::parse(text)
    }
}

impl TryFrom<String> for Solvent {
    type Error = SolventError;

    /// As [`Solvent::parse_lenient`], so that stored plain names are read back.
    fn try_from(text: String) -> Result<Self, SolventError> {
        Solvent::parse_lenient(&text)
    }
}

impl From<Solvent> for String {
    fn from(solvent: Solvent) -> Self {
        solvent.to_string()
    }
}
