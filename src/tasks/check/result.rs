//! The result of a check, as it is shown and exchanged; `schema/check_result.schema.json` describes it.

use crate::compare::{Cause, Difference, ExcessCheck, FiellerShape, LineMethod, PooledValue, Probabilities, Verdict};
use crate::measurement::BudgetLine;
use serde::Serialize;

/// The compound of a check.
#[derive(Clone, Debug, Serialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct CheckedCompound {
    /// Its number in this library file.
    pub id: i64,
    /// Preferred name.
    pub name: String,
    /// Standard InChIKey.
    pub inchikey: Option<String>,
    /// Formula.
    pub formula: Option<String>,
    /// Molar mass, g/mol.
    pub molar_mass: Option<f64>,
    /// Name of the mirror image, when the library holds it.
    pub mirror_image: Option<String>,
}

/// Conditions in print form and as numbers.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct ConditionsShown {
    /// Temperature, °C.
    pub temperature_c: Option<f64>,
    /// Line: `D`, a name, or nm.
    pub line: Option<String>,
    /// Wavelength in air, nm.
    pub wavelength_nm: Option<f64>,
    /// Solvent.
    pub solvent: Option<String>,
    /// Concentration, g per 100 mL.
    pub conc_g_per_100ml: Option<f64>,
    /// Cell length, mm.
    pub path_mm: Option<f64>,
    /// Stage of mutarotation.
    pub stage: Option<String>,
    /// Form.
    pub form: Option<String>,
    /// Basis.
    pub basis: Option<String>,
}

/// The measured value.
#[derive(Clone, Debug, Serialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct MeasuredShown {
    /// Specific rotation, deg mL g⁻¹ dm⁻¹.
    pub value: f64,
    /// Its standard uncertainty.
    pub standard_uncertainty: f64,
    /// Whether any part of the uncertainty was assumed.
    pub uncertainty_assumed: bool,
    /// Where the uncertainty comes from.
    pub budget: Vec<BudgetLine>,
    /// Conditions.
    pub conditions: ConditionsShown,
}

/// One reference.
#[derive(Clone, Debug, Serialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct ReferenceShown {
    /// Number of the entry in this library file.
    pub entry: i64,
    /// Citation of its source.
    pub source: String,
    /// Value as it stands in the entry, deg mL g⁻¹ dm⁻¹ for a specific rotation; none for a range with one end.
    pub value: Option<f64>,
    /// The text as printed.
    pub as_printed: String,
    /// Its conditions.
    pub conditions: ConditionsShown,
    /// Whether the entry is of the mirror image.
    pub mirror_image: bool,
    /// Its value at the measurement's line, form and hand.
    pub value_here: Option<f64>,
    /// Its own standard uncertainty, likewise.
    pub own_uncertainty: Option<f64>,
    /// Differences of conditions, aspect by aspect.
    pub differences: Vec<Difference>,
    /// How it was taken to the line of the measurement; null where the line is the same, unknown or not converted.
    pub line_conversion: Option<LineConversionShown>,
    /// Share in the pooled value; the shares of the used references sum to 1.
    pub weight: f64,
    /// Whether it was pooled.
    pub used: bool,
    /// Why not, or what to know of it.
    pub reason: Option<String>,
    /// Posterior probability that it is a gross error.
    pub gross_error_probability: Option<f64>,
    /// How the hand is known: independent, inferred, unclear.
    pub hand: String,
    /// Review state.
    pub state: String,
    /// How the figure was seen: yes, partly with what was repaired, no (from memory).
    pub seen: Option<String>,
}

/// A conversion from the line of a reference to that of the measurement.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct LineConversionShown {
    /// What it rests on.
    pub method: LineMethod,
    /// The line the reference was read at, nm in air.
    pub from_nm: f64,
    /// The line of the measurement, nm in air.
    pub to_nm: f64,
    /// The factor.
    pub factor: f64,
    /// Its standard uncertainty, contained in the difference of the aspect `line`.
    pub standard_uncertainty: f64,
    /// Entries it is made of; empty for the generic law.
    pub entries: Vec<i64>,
    /// What makes it doubtful.
    pub warnings: Vec<String>,
}

/// Optical purity.
#[derive(Clone, Debug, Serialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct OpticalPurityShown {
    /// The plain ratio of the measured value to the pooled one.
    pub ratio: Option<f64>,
    /// Fieller's 95 % set of the ratio.
    pub fieller95: FiellerShown,
    /// Median of the posterior under a uniform prior from −1 to 1; null where the value lies beyond that of the pure compound,
    /// since that posterior would call any such sample pure.
    pub bounded: Option<f64>,
    /// Shortest interval holding 95 % of that posterior; null with it.
    pub bounded95: Option<[f64; 2]>,
    /// `[major, minor]` of 100, from |bounded|; null with it.
    pub enantiomer_ratio: Option<[f64; 2]>,
    /// Whether the uniform prior shapes the interval.
    pub prior_matters: bool,
}

/// Fieller's set.
#[derive(Clone, Debug, Serialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct FiellerShown {
    /// `interval`, `exclusive` (everything outside low to high) or `unbounded`.
    pub shape: FiellerShape,
    /// Low end.
    pub low: Option<f64>,
    /// High end.
    pub high: Option<f64>,
}

/// The result of a check.
#[derive(Clone, Debug, Serialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct CheckResult {
    /// The compound.
    pub compound: CheckedCompound,
    /// The measured value.
    pub measured: MeasuredShown,
    /// Every reference, used ones first, heaviest first.
    pub references: Vec<ReferenceShown>,
    /// The pooled value; null for `no-basis`.
    pub pooled: Option<PooledValue>,
    /// Where a measurement of the enantiopure compound would lie, 95 %.
    pub comparison_band95: Option<[f64; 2]>,
    /// Optical purity; null for `no-basis`.
    pub optical_purity: Option<OpticalPurityShown>,
    /// The check against an enantiomeric excess by another method.
    pub excess_check: Option<ExcessCheck>,
    /// The draft entry made of the implied value, when it was to be kept.
    pub derived_entry: Option<i64>,
    /// The verdict.
    pub verdict: Verdict,
    /// The probabilities the verdict rests on.
    pub probabilities: Option<Probabilities>,
    /// What may explain the value, by classes, the most probable first; `none` is among them. Empty for `no-basis`.
    pub causes: Vec<Cause>,
    /// What to bear in mind.
    pub cautions: Vec<String>,
}

#[cfg(test)]
mod tests {
    use super::CheckResult;

    /// The schema in the repository is the one the types give; `BIOT_UPDATE_SCHEMAS=1 cargo test schema` rewrites it.
    #[test]
    fn the_schema_of_a_check_result_is_up_to_date() {
        let path = concat!(env!("CARGO_MANIFEST_DIR"), "/schema/check_result.schema.json");
        let schema = schemars::schema_for!(CheckResult);
        let made = serde_json::to_string_pretty(&schema).expect("a schema is plain JSON") + "\n";
        if std::env::var_os("BIOT_UPDATE_SCHEMAS").is_some() {
            std::fs::write(path, &made).expect("the schema folder can be written");
        }
        let kept = std::fs::read_to_string(path).unwrap_or_default();
        assert!(
            kept == made,
            "schema/check_result.schema.json is out of date; run BIOT_UPDATE_SCHEMAS=1 cargo test schema"
        );
    }
}
