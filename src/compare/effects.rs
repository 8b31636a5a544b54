//! How much a difference of conditions can move a specific rotation: the table `data/condition_effects.csv`.
//!
//! That table is what `biot effects` learns from the starter library, with `data/condition_effects_start.csv` to start
//! from.

use super::conditions::Aspect;
use serde::{Deserialize, Serialize};

/// How the conditions of measurement and reference stand to each other within an aspect.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Case {
    /// Both known and different; the effect is per kelvin or per factor e where the aspect is a number.
    Differs,
    /// Both known, different but kindred (solvents of one class).
    Kindred,
    /// Both known and not kindred.
    Other,
    /// Both known and not kindred, one of them an acid, a base or a buffer: an ionisable solute is another species there.
    Ionising,
    /// Missing on one side or both.
    Unknown,
    /// A salt against its base or another salt, after scaling by molar mass.
    Salt,
    /// Sources of the same value at the same conditions.
    Between,
}

/// One effect: a standard deviation relative to the size of the rotation, and an absolute floor.
#[derive(Clone, Debug, PartialEq, Deserialize)]
pub struct Effect {
    /// The aspect.
    pub aspect: Aspect,
    /// The case.
    pub case: Case,
    /// Standard deviation relative to the common scale m (per kelvin, per factor e, or once).
    pub relative_sd: f64,
    /// Standard deviation in deg mL g⁻¹ dm⁻¹ that is always there, added in quadrature.
    pub absolute_floor: f64,
    /// Probability that the transfer fails altogether: the rotation there has another sign or another size.
    pub failure: f64,
    /// `estimated` from the pairs of a library, or `from memory`.
    pub origin: String,
    /// Compounds that have such pairs.
    pub compounds: u32,
    /// Pairs the estimate rests on.
    pub pairs: u32,
    /// Median of the relative change over those compounds (per kelvin, per factor e, or once).
    pub median_change: Option<f64>,
    /// Why this figure.
    pub reason: String,
}

impl Effect {
    /// The standard deviation at the scale m, deg mL g⁻¹ dm⁻¹: `√((d m)² + floor²)`.
    pub fn sd(&self, scale: f64) -> f64 {
        (self.relative_sd * scale).hypot(self.absolute_floor)
    }

    /// What the pairs of a library say, for the effects that a chemist asks about; `library` is its name in the sentence.
    pub fn sentence(&self, library: &str) -> Option<String> {
        let what = match (self.aspect, self.case) {
            (Aspect::Solvent, Case::Kindred) => "changing the solvent for a kindred one",
            (Aspect::Solvent, Case::Other) => "changing the solvent for one that is not kindred",
            (Aspect::Solvent, Case::Ionising) => "changing to or from an acid, a base or a buffer",
            (Aspect::Temperature, Case::Differs) => "one kelvin",
            (Aspect::Concentration, Case::Differs) => "a factor e in concentration",
            (Aspect::Source, Case::Between) => "another source at the same conditions",
            _ => return None,
        };
        Some(format!(
            "In {library} {what} moved [α] by a median of {:.1} % ({} pairs of {} compounds).",
            100.0 * self.median_change?,
            self.pairs,
            self.compounds
        ))
    }
}

/// All effects.
#[derive(Clone, Debug, PartialEq)]
pub struct EffectTable {
    rows: Vec<Effect>,
    /// The library its estimates are from, as a sentence names it.
    library: &'static str,
}

/// Why a table of effects cannot be used.
#[derive(Debug, thiserror::Error)]
pub enum EffectTableError {
    /// A line cannot be read.
    #[error("the table of condition effects cannot be read: {0}")]
    Unreadable(#[from] csv::Error),
    /// A row that the model needs is not there.
    #[error("the table of condition effects has no row for {aspect:?} {case:?}")]
    Missing {
        /// The aspect wanted.
        aspect: Aspect,
        /// The case wanted.
        case: Case,
    },
    /// A number is negative or not a number.
    #[error(
        "the table of condition effects: row {row} has a standard deviation or probability that is out of range or no number"
    )]
    BadNumber {
        /// The row, from 1.
        row: usize,
    },
}

/// The rows the model needs.
const NEEDED: [(Aspect, Case); 15] = [
    (Aspect::Temperature, Case::Differs),
    (Aspect::Temperature, Case::Unknown),
    (Aspect::Concentration, Case::Differs),
    (Aspect::Concentration, Case::Unknown),
    (Aspect::Solvent, Case::Kindred),
    (Aspect::Solvent, Case::Other),
    (Aspect::Solvent, Case::Ionising),
    (Aspect::Solvent, Case::Unknown),
    (Aspect::Line, Case::Unknown),
    (Aspect::Form, Case::Unknown),
    (Aspect::Form, Case::Salt),
    (Aspect::Stage, Case::Unknown),
    (Aspect::Basis, Case::Differs),
    (Aspect::Basis, Case::Unknown),
    (Aspect::Source, Case::Between),
];

impl EffectTable {
    /// Reads a table from CSV with the columns of [`Effect`].
    ///
    /// # Errors
    /// When it cannot be read, a row is missing or a number is negative.
    pub fn from_csv(text: &str) -> Result<Self, EffectTableError> {
        let rows: Vec<Effect> = csv::Reader::from_reader(text.as_bytes())
            .deserialize()
            .collect::<Result<_, _>>()?;
        for (at, row) in rows.iter().enumerate() {
            let fine = |number: f64| number.is_finite() && number >= 0.0;
            if !fine(row.relative_sd) || !fine(row.absolute_floor) || !(0.0..0.9).contains(&row.failure) {
                return Err(EffectTableError::BadNumber { row: at + 1 });
            }
        }
        for (aspect, case) in NEEDED {
            if !rows.iter().any(|row| row.aspect == aspect && row.case == case) {
                return Err(EffectTableError::Missing { aspect, case });
            }
        }
        Ok(Self {
            rows,
            library: "the library of the table of effects",
        })
    }

    /// The table that comes with the program, learned from the starter library.
    ///
    /// # Panics
    /// Never: a test reads the table that is compiled in.
    pub fn built_in() -> Self {
        let table = Self::from_csv(include_str!("../../data/condition_effects.csv"))
            .expect("the built-in table is read by a test of this module");
        Self {
            library: "the starter library",
            ..table
        }
    }

    /// The table that learning starts from, before any library has been looked at.
    ///
    /// # Panics
    /// Never: a test reads the table that is compiled in.
    pub fn starting() -> Self {
        Self::from_csv(include_str!("../../data/condition_effects_start.csv"))
            .expect("the starting table is read by a test of this module")
    }

    /// What the library of this table says of an effect.
    pub fn sentence(&self, aspect: Aspect, case: Case) -> Option<String> {
        self.row(aspect, case)?.sentence(self.library)
    }

    /// The table as CSV, as [`EffectTable::from_csv`] reads it.
    pub fn to_csv(&self) -> String {
        let number = |value: f64| format!("{}", (value * 1e5).round() / 1e5);
        let mut writer = csv::Writer::from_writer(Vec::new());
        let heading = [
            "aspect",
            "case",
            "relative_sd",
            "absolute_floor",
            "failure",
            "origin",
            "compounds",
            "pairs",
            "median_change",
            "reason",
        ];
        // Writing to memory cannot fail.
        let _ = writer.write_record(heading);
        for row in &self.rows {
            let word = |it: serde_json::Value| it.as_str().unwrap_or_default().to_owned();
            let _ = writer.write_record([
                word(serde_json::json!(row.aspect)),
                word(serde_json::json!(row.case)),
                number(row.relative_sd),
                number(row.absolute_floor),
                number(row.failure),
                row.origin.clone(),
                row.compounds.to_string(),
                row.pairs.to_string(),
                row.median_change.map(number).unwrap_or_default(),
                row.reason.clone(),
            ]);
        }
        writer
            .into_inner()
            .map(|bytes| String::from_utf8_lossy(&bytes).into_owned())
            .unwrap_or_default()
    }

    /// The row of an effect.
    pub fn row(&self, aspect: Aspect, case: Case) -> Option<&Effect> {
        self.rows.iter().find(|row| row.aspect == aspect && row.case == case)
    }

    /// The same table with other figures in one row; a row that it does not have is not added.
    pub(super) fn replace(&mut self, effect: Effect) {
        if let Some(row) = self
            .rows
            .iter_mut()
            .find(|row| row.aspect == effect.aspect && row.case == effect.case)
        {
            *row = effect;
        }
    }

    /// All rows.
    pub fn rows(&self) -> &[Effect] {
        &self.rows
    }

    /// The probability that a transfer fails; zero where the table has no such row.
    pub fn failure(&self, aspect: Aspect, case: Case) -> f64 {
        self.rows
            .iter()
            .find(|row| row.aspect == aspect && row.case == case)
            .map_or(0.0, |row| row.failure)
    }

    /// The standard deviation of an effect at the scale m; zero where the table has no such row.
    pub fn sd(&self, aspect: Aspect, case: Case, scale: f64) -> f64 {
        self.rows
            .iter()
            .find(|row| row.aspect == aspect && row.case == case)
            .map_or(0.0, |row| row.sd(scale))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_tables_are_whole_and_say_where_each_row_is_from() {
        for table in [EffectTable::built_in(), EffectTable::starting()] {
            for row in table.rows() {
                assert!(!row.reason.is_empty());
                assert!(["estimated", "from memory"].contains(&row.origin.as_str()), "{row:?}");
                assert_eq!(row.origin == "estimated", row.pairs > 0, "{row:?}");
            }
        }
        assert!(EffectTable::starting().rows().iter().all(|row| row.pairs == 0));
    }

    #[test]
    fn a_table_without_a_needed_row_is_refused() {
        let header = "aspect,case,relative_sd,absolute_floor,failure,origin,compounds,pairs,median_change,reason\n";
        assert!(matches!(
            EffectTable::from_csv(header),
            Err(EffectTableError::Missing { .. })
        ));
        let negative = format!("{header}temperature,differs,-1,0,0,from memory,0,0,,x\n");
        assert!(matches!(
            EffectTable::from_csv(&negative),
            Err(EffectTableError::BadNumber { row: 1 })
        ));
    }
}
