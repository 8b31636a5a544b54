//! Prior weights and settings of the causes: `data/causes.toml` and `data/forms.csv`.

use super::CauseCode;
use crate::compound::{Formula, FormulaError};
use crate::quantity::Wavelength;
use serde::Deserialize;
use std::sync::LazyLock;

/// One cause: how usual it is, and what would tell it from the others.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct CauseSetting {
    /// Its code.
    pub code: CauseCode,
    /// Prior weight, relative to the others.
    pub prior: f64,
    /// Where the weight is from, and why.
    pub reason: String,
    /// The measurement that would tell it from its rivals.
    pub how_to_tell: String,
}

/// A distribution Beta(shape, 1).
#[derive(Clone, Copy, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Shape {
    pub(super) shape: f64,
}

/// The distribution of the optical purity of a sample that is not enantiopure.
#[derive(Clone, Copy, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Purity {
    pub(super) racemic: f64,
    pub(super) shape: f64,
    pub(super) impure_opposite: f64,
    pub(super) excess_wrong: f64,
}

#[derive(Clone, Copy, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Cell {
    pub(super) millimetres: f64,
    pub(super) weight: f64,
}

#[derive(Clone, Copy, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Factor {
    pub(super) factor: f64,
    pub(super) weight: f64,
}

#[derive(Clone, Copy, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Lamp {
    pub(super) nanometres: f64,
    pub(super) weight: f64,
}

#[derive(Clone, Copy, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Scatter {
    pub(super) undivided_molar: f64,
    pub(super) blank_degrees: f64,
    pub(super) angle_degrees: f64,
    pub(super) double_turn: f64,
    pub(super) suspect_relative: f64,
    pub(super) suspect_gross: f64,
    pub(super) suspect_median: f64,
    pub(super) suspect_log_sd: f64,
    pub(super) neat_density: f64,
    pub(super) neat_density_sd: f64,
    pub(super) other_value_relative: f64,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Raw {
    cause: Vec<CauseSetting>,
    purity: Purity,
    dilution: Shape,
    cell: Vec<Cell>,
    concentration: Vec<Factor>,
    line: Vec<Lamp>,
    scatter: Scatter,
}

/// A common salt or hydrate of a compound.
#[derive(Clone, Debug, PartialEq)]
pub struct CommonForm {
    /// Its name behind that of the compound.
    pub name: String,
    /// Whether it differs by water alone.
    pub is_hydrate: bool,
    /// Molar mass it has more than the compound, g/mol.
    pub added: f64,
    /// An element the compound must contain to form it.
    pub needs: String,
    /// Weight relative to the other forms.
    pub weight: f64,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct FormRow {
    name: String,
    kind: String,
    unit: String,
    per_compound: f64,
    loses: String,
    needs: String,
    weight: f64,
    #[serde(rename = "origin")]
    _origin: String,
}

/// Why a table of causes cannot be used.
#[derive(Debug, thiserror::Error)]
pub enum CauseTableError {
    /// The settings cannot be read.
    #[error("the settings of the causes cannot be read: {0}")]
    Settings(#[from] toml::de::Error),
    /// The table of forms cannot be read.
    #[error("the table of forms cannot be read: {0}")]
    Forms(#[from] csv::Error),
    /// A formula of the table of forms.
    #[error("the table of forms: {0}")]
    Formula(#[from] FormulaError),
    /// A cause stands twice or not at all.
    #[error("the settings of the causes name {0} not exactly once")]
    Cause(&'static str),
    /// A weight is negative or not a number.
    #[error("the settings of the causes: a weight, factor or width is not a number above zero")]
    BadNumber,
}

/// Prior weights and settings of the causes.
#[derive(Clone, Debug, PartialEq)]
pub struct CauseTable {
    causes: Vec<CauseSetting>,
    pub(super) purity: Purity,
    pub(super) dilution: Shape,
    pub(super) cells: Vec<Cell>,
    pub(super) concentrations: Vec<Factor>,
    pub(super) lamps: Vec<Lamp>,
    pub(super) scatter: Scatter,
    forms: Vec<CommonForm>,
}

impl CauseTable {
    /// Reads the settings from TOML and the common forms from CSV.
    ///
    /// # Errors
    /// When either cannot be read, a cause is missing, or a number is out of range.
    pub fn read(settings: &str, forms: &str) -> Result<Self, CauseTableError> {
        let raw: Raw = toml::from_str(settings)?;
        for code in CauseCode::ALL {
            if raw.cause.iter().filter(|cause| cause.code == code).count() != 1 {
                return Err(CauseTableError::Cause(code.as_str()));
            }
        }
        let s = raw.scatter;
        let shares = [
            raw.purity.racemic,
            raw.purity.impure_opposite,
            raw.purity.excess_wrong,
            s.undivided_molar,
            s.double_turn,
            s.suspect_gross,
        ];
        let fine = positive(raw.cause.iter().map(|c| c.prior))
            && positive(raw.cell.iter().flat_map(|c| [c.millimetres, c.weight]))
            && positive(raw.concentration.iter().flat_map(|c| [c.factor, c.weight]))
            && positive(raw.line.iter().flat_map(|l| [l.nanometres, l.weight]))
            && positive([raw.purity.shape, raw.dilution.shape, s.blank_degrees, s.angle_degrees])
            && positive([
                s.suspect_relative,
                s.suspect_median,
                s.suspect_log_sd,
                s.neat_density,
                s.neat_density_sd,
                s.other_value_relative,
            ])
            && shares.iter().all(|share| (0.0..=1.0).contains(share));
        let forms = read_forms(forms)?;
        if !fine || !positive(forms.iter().flat_map(|f| [f.added, f.weight])) {
            return Err(CauseTableError::BadNumber);
        }
        Ok(Self {
            causes: raw.cause,
            purity: raw.purity,
            dilution: raw.dilution,
            cells: raw.cell,
            concentrations: raw.concentration,
            lamps: raw.line,
            scatter: raw.scatter,
            forms,
        })
    }

    /// The settings that come with the program.
    ///
    /// # Panics
    /// Never: a test reads the files that are compiled in.
    pub fn built_in() -> Self {
        static TABLE: LazyLock<CauseTable> = LazyLock::new(|| {
            CauseTable::read(
                include_str!("../../../data/causes.toml"),
                include_str!("../../../data/forms.csv"),
            )
            .expect("the built-in settings are read by a test of this module")
        });
        TABLE.clone()
    }

    /// The setting of a cause.
    ///
    /// # Panics
    /// Never: a table is only made when it holds every code.
    pub fn of(&self, code: CauseCode) -> &CauseSetting {
        self.causes
            .iter()
            .find(|cause| cause.code == code)
            .expect("a table of causes holds every code once, as its reader checks")
    }

    /// The lines at which polarimeters read, of those a value may have been read at by mistake.
    pub fn lines(&self) -> impl Iterator<Item = Wavelength> + '_ {
        self.lamps
            .iter()
            .filter_map(|lamp| Wavelength::in_air(lamp.nanometres).ok())
    }

    /// The common salts and hydrates.
    pub fn forms(&self) -> &[CommonForm] {
        &self.forms
    }
}

fn positive(numbers: impl IntoIterator<Item = f64>) -> bool {
    numbers.into_iter().all(|x| x.is_finite() && x > 0.0)
}

fn read_forms(text: &str) -> Result<Vec<CommonForm>, CauseTableError> {
    let mass = |formula: &str| Formula::parse(formula).map(|formula| formula.molar_mass().grams_per_mole());
    csv::Reader::from_reader(text.as_bytes())
        .deserialize()
        .map(|row| {
            let row: FormRow = row?;
            let loses = if row.loses.is_empty() { 0.0 } else { mass(&row.loses)? };
            Ok(CommonForm {
                added: row.per_compound * mass(&row.unit)? - loses,
                is_hydrate: row.kind == "hydrate",
                name: row.name,
                needs: row.needs,
                weight: row.weight,
            })
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_built_in_settings_are_whole_and_give_their_reasons() {
        let table = CauseTable::built_in();
        for code in CauseCode::ALL {
            let cause = table.of(code);
            assert!(cause.reason.contains("common practice") && !cause.how_to_tell.is_empty());
        }
        assert!(CauseTable::read("", "").is_err());
    }

    /// IUPAC standard atomic weights: HCl 36.458, H2O 18.015, Na 22.990 less H 1.008.
    #[test]
    fn forms_weigh_what_their_formulas_say() {
        let table = CauseTable::built_in();
        let added = |name: &str| table.forms().iter().find(|form| form.name == name).unwrap().added;
        assert!((added("hydrochloride") - 36.458).abs() < 0.01);
        assert!((added("hemihydrate") - 18.015 / 2.0).abs() < 0.01);
        assert!((added("sodium salt") - (22.990 - 1.008)).abs() < 0.01);
    }
}
