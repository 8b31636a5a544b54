//! The table of pure solvents and of the acids, bases and salts that are dissolved in them (`data/solvents.csv`).

use std::collections::HashMap;
use std::fmt;
use std::sync::LazyLock;

use serde::Deserialize;

use crate::quantity::Density;

/// The table as it is compiled in.
const TABLE: &str = include_str!("../../data/solvents.csv");

static ROWS: LazyLock<Vec<Row>> = LazyLock::new(|| {
    csv::Reader::from_reader(TABLE.as_bytes())
        .deserialize()
        .collect::<Result<_, _>>()
        .expect("data/solvents.csv is compiled in and a test reads every row of it")
});

/// A row of the table of solvents: a pure liquid, or an acid, base or salt that is only met in solution.
///
/// Two grades of one substance (`CHCl3` and `CHCl3 dry`) are two rows.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Substance(u16);

/// What a row of the table may stand for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "lowercase")]
pub(super) enum Kind {
    /// A liquid that serves as a solvent by itself.
    Solvent,
    /// Met in solution only.
    Solute,
}

#[derive(Debug, Deserialize)]
struct Row {
    id: String,
    kind: Kind,
    name: String,
    formula: String,
    synonyms: String,
    misread: String,
    class: String,
    same_as: String,
    grade_of: String,
    equivalents: Option<u8>,
    hazards: String,
    attacks: String,
    density_20c: Option<f64>,
    density_note: String,
    source: String,
}

impl Substance {
    /// Every row, in the order of the table.
    pub fn all() -> impl Iterator<Item = Substance> {
        (0..ROWS.len()).map(|n| Substance(n as u16))
    }

    /// The row with exactly this id; for printed names use [`Solvent::parse`](super::Solvent::parse).
    pub fn by_id(id: &str) -> Option<Substance> {
        static BY_ID: LazyLock<HashMap<&str, Substance>> =
            LazyLock::new(|| Substance::all().map(|substance| (substance.id(), substance)).collect());
        BY_ID.get(id).copied()
    }

    fn row(self) -> &'static Row {
        &ROWS[usize::from(self.0)]
    }

    /// The canonical id, as printed: `CHCl3`, `EtOAc`, `dioxane`.
    pub fn id(self) -> &'static str {
        &self.row().id
    }

    /// The systematic or common name.
    pub fn name(self) -> &'static str {
        &self.row().name
    }

    /// The molecular formula in Hill order, empty for mixtures such as petroleum ether.
    pub fn formula(self) -> &'static str {
        &self.row().formula
    }

    /// The class of substances with which it is kindred as a solvent: `lower alcohol`, `chlorinated`, `acid`.
    pub fn class(self) -> &'static str {
        &self.row().class
    }

    /// Other printed names.
    pub fn synonyms(self) -> impl Iterator<Item = &'static str> {
        split(&self.row().synonyms)
    }

    /// Misreadings of scanned text that stand for nothing else, such as `CHC13`.
    pub fn misreadings(self) -> impl Iterator<Item = &'static str> {
        split(&self.row().misread)
    }

    /// Hazards in short words: `flammable`, `toxic`, `corrosive`, `peroxide-forming`.
    pub fn hazards(self) -> impl Iterator<Item = &'static str> {
        split(&self.row().hazards)
    }

    /// Which parts of a polarimeter cell it attacks, in words; empty when none are known.
    pub fn attacks(self) -> &'static str {
        &self.row().attacks
    }

    /// Density of the pure liquid at 20 °C, where the table has it.
    pub fn density_20c(self) -> Option<Density> {
        self.row().density_20c.map(Density::from_grams_per_millilitre)
    }

    /// Where the density comes from; `from memory` values bear no acceptance limit.
    pub fn density_note(self) -> &'static str {
        &self.row().density_note
    }

    /// What the row rests on.
    pub fn source(self) -> &'static str {
        &self.row().source
    }

    /// Whether the row may stand alone as a solvent; the others (HCl, NaOH…) are met in solution only.
    pub fn is_liquid(self) -> bool {
        self.row().kind == Kind::Solvent
    }

    /// The row of the same substance under its preferred name (`ethylene chloride` → `1,2-dichloroethane`).
    #[must_use]
    pub fn preferred(self) -> Substance {
        Substance::by_id(&self.row().same_as).unwrap_or(self)
    }

    /// The substance without regard to its grade (`EtOH abs` → `EtOH`, `CHCl3 dry` → `CHCl3`).
    #[must_use]
    pub fn without_grade(self) -> Substance {
        Substance::by_id(&self.row().grade_of).unwrap_or(self)
    }

    /// The dry grade of the substance, where the table tells it apart.
    pub(super) fn dry_grade(self) -> Option<Substance> {
        let suffixes = ["abs", "dry"];
        suffixes
            .iter()
            .find_map(|suffix| Substance::by_id(&format!("{} {suffix}", self.id())))
    }

    /// Acid or base equivalents in a mole, for turning normality into mol/L.
    pub(super) fn equivalents(self) -> Option<u8> {
        self.row().equivalents
    }

    /// Whether a little of it may protonate, deprotonate or bind a dissolved substance.
    pub fn ionises(self) -> bool {
        !self.is_liquid()
            || matches!(
                self.class(),
                "carboxylic acid" | "formic acid" | "strong acid" | "amine" | "pyridine" | "phenol"
            )
    }

    /// An acid that was not named, as in `acidic DMF`.
    pub(super) fn unnamed_acid() -> Substance {
        known("acid")
    }

    /// A base that was not named, as in `basic MeOH`.
    pub(super) fn unnamed_base() -> Substance {
        known("base")
    }

    /// Water.
    pub(super) fn water() -> Substance {
        known("H2O")
    }
}

fn known(id: &str) -> Substance {
    Substance::by_id(id).expect("the compiled-in table has this id, a test looks it up")
}

fn split(list: &'static str) -> impl Iterator<Item = &'static str> {
    list.split('|').filter(|item| !item.is_empty())
}

impl fmt::Debug for Substance {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "Substance({})", self.id())
    }
}

impl fmt::Display for Substance {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.id())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::HashSet;

    #[test]
    fn every_row_is_sound() {
        let ids: HashSet<_> = Substance::all().map(Substance::id).collect();
        assert_eq!(ids.len(), Substance::all().count(), "an id occurs twice");
        assert!(Substance::all().filter(|s| s.is_liquid()).count() >= 70);
        for s in Substance::all() {
            assert!(
                !s.name().is_empty() && !s.class().is_empty() && !s.source().is_empty(),
                "{s}"
            );
            assert_eq!(s.density_20c().is_some(), !s.density_note().is_empty(), "{s}");
            for reference in [&s.row().same_as, &s.row().grade_of] {
                assert!(
                    reference.is_empty() || ids.contains(reference.as_str()),
                    "{s} points to {reference}"
                );
            }
            if let Some(density) = s.density_20c().map(Density::grams_per_millilitre) {
                assert!((0.6..3.0).contains(&density), "{s}: {density} g/mL");
            }
        }
        let _ = (Substance::unnamed_acid(), Substance::unnamed_base(), Substance::water());
    }
}
