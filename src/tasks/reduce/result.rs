//! The result of a reduction, as it is shown and exchanged; `schema/reduce_result.schema.json` describes it.

use super::readings::RejectedReading;
use super::{GroupInfo, ReduceRequest, journal};
use crate::measurement::{
    Amount, AngleSummary, BudgetLine, Flag, MonteCarlo, Reading, ReadingRole, Reduced, Reduction, Setup,
};
use crate::quantity::{Concentration, Length, SI_PER_CONVENTIONAL, SpectralLine, Temperature};
use crate::solvent::Solvent;
use crate::statement::molar_rotation;
use crate::tasks::check::{CheckResult, ConditionsShown};
use serde::Serialize;

/// The specific rotation.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct SpecificRotationShown {
    /// Value, deg mL g⁻¹ dm⁻¹.
    pub value: f64,
    /// Standard uncertainty.
    pub standard_uncertainty: f64,
    /// Half-width of the interval of 95 %, from Student's t.
    pub expanded95: f64,
    /// Effective degrees of freedom; null when no input rests on few readings.
    pub degrees_of_freedom: Option<f64>,
    /// The factor between the two.
    pub coverage_factor: f64,
}

/// The molar rotation.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct MolarRotationShown {
    /// Value, deg cm² dmol⁻¹.
    pub value: f64,
    /// Standard uncertainty.
    pub standard_uncertainty: f64,
    /// Molar mass, g/mol.
    pub molar_mass: f64,
}

/// The SI specific rotation.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct SiShown {
    /// Value, rad m² kg⁻¹.
    pub value: f64,
    /// Standard uncertainty.
    pub standard_uncertainty: f64,
}

/// Readings of control standards that came with the sample.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct StandardReadings {
    /// How many.
    pub n: usize,
    /// Their mean, degrees.
    pub mean_degrees: f64,
}

/// One sample at one wavelength.
#[derive(Clone, Debug, Serialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct ReducedSample {
    /// Sample.
    pub sample: Option<String>,
    /// Who read.
    pub operator: Option<String>,
    /// Conditions.
    pub conditions: ConditionsShown,
    /// The specific rotation.
    pub specific_rotation: SpecificRotationShown,
    /// The molar rotation; null where the molar mass is not known.
    pub molar_rotation: Option<MolarRotationShown>,
    /// The SI specific rotation.
    pub si: SiShown,
    /// Concentration of the substance on the named basis, purity and losses taken off, g per 100 mL; of a neat liquid 100
    /// times its density.
    pub concentration: f64,
    /// The same as weighed.
    pub concentration_as_weighed: f64,
    /// The angle.
    pub angle: AngleSummary,
    /// Where the uncertainty comes from.
    pub budget: Vec<BudgetLine>,
    /// The cross-check by simulation; null where there is nothing to draw.
    pub monte_carlo: Option<MonteCarlo>,
    /// What is wrong, worst first.
    pub flags: Vec<Flag>,
    /// The value as journals print it.
    pub journal: Option<String>,
    /// Readings of control standards, which are no part of the result.
    pub standards: Option<StandardReadings>,
    /// Number of the kept measurement.
    pub measurement: Option<i64>,
    /// The check against a compound of the library; null where none was asked for.
    pub check: Option<Box<CheckResult>>,
}

/// A result with what it was made from, to be kept or compared.
#[derive(Clone, Debug)]
pub struct SampleResult {
    /// What is shown.
    pub shown: ReducedSample,
    /// What a comparison takes.
    pub reduced: Reduced,
    /// The readings.
    pub readings: Vec<Reading>,
    /// Cell, amount and corrections.
    pub setup: Setup,
    /// The light.
    pub line: Option<SpectralLine>,
    /// The solvent.
    pub solvent: Option<Solvent>,
    /// The temperature the value is at.
    pub temperature: Option<Temperature>,
}

/// What `biot reduce --json` prints: one sample as itself, several as a list.
#[derive(Clone, Debug, Serialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(untagged)]
pub enum ReduceAnswer {
    /// One sample.
    One {
        /// The sample.
        #[serde(flatten)]
        result: Box<ReducedSample>,
        /// Rows that could not be used.
        rejected: Vec<RejectedReading>,
    },
    /// Several samples or wavelengths.
    Many {
        /// The samples.
        results: Vec<ReducedSample>,
        /// Rows that could not be used.
        rejected: Vec<RejectedReading>,
    },
}

impl ReduceAnswer {
    /// Puts results together.
    pub fn of(mut results: Vec<ReducedSample>, rejected: Vec<RejectedReading>) -> Self {
        if results.len() == 1
            && let Some(result) = results.pop()
        {
            return Self::One {
                result: Box::new(result),
                rejected,
            };
        }
        Self::Many { results, rejected }
    }

    /// The results.
    pub fn results(&self) -> &[ReducedSample] {
        match self {
            Self::One { result, .. } => std::slice::from_ref(result),
            Self::Many { results, .. } => results,
        }
    }

    /// The rows that could not be used.
    pub fn rejected(&self) -> &[RejectedReading] {
        match self {
            Self::One { rejected, .. } | Self::Many { rejected, .. } => rejected,
        }
    }
}

/// Puts a result together.
pub(super) fn assemble(info: GroupInfo, setup: Setup, made: Reduction, request: &ReduceRequest) -> SampleResult {
    let value = made.reduced.value.conventional();
    let u = made.reduced.uncertainty.conventional();
    let is_neat = matches!(setup.amount, Amount::Neat(_));
    let temperature = if setup.temperature_coefficient.is_some() {
        setup.stated_temperature.or(made.temperature)
    } else {
        made.temperature
    };
    let solvent = request.solvent.clone().or_else(|| is_neat.then_some(Solvent::Neat));
    let standards: Vec<f64> = info
        .readings
        .iter()
        .filter(|r| r.role == ReadingRole::Standard)
        .map(|r| r.angle.degrees())
        .collect();
    let shown = ReducedSample {
        journal: journal(&made, request, &setup, info.line.as_ref()),
        sample: info.sample,
        operator: info.operator,
        conditions: ConditionsShown {
            temperature_c: temperature.map(Temperature::celsius),
            line: info.line.as_ref().map(ToString::to_string),
            wavelength_nm: info
                .line
                .as_ref()
                .and_then(SpectralLine::wavelength)
                .map(|w| w.to_air().nanometres()),
            solvent: solvent.as_ref().map(ToString::to_string),
            conc_g_per_100ml: made.reduced.concentration.map(Concentration::grams_per_100_millilitres),
            path_mm: Some(Length::millimetres(setup.length)),
            stage: None,
            form: None,
            basis: request.basis.clone(),
        },
        specific_rotation: SpecificRotationShown {
            value,
            standard_uncertainty: u,
            expanded95: made.expanded95(),
            degrees_of_freedom: made.reduced.degrees_of_freedom,
            coverage_factor: made.coverage_factor,
        },
        molar_rotation: request.molar_mass.map(|mass| MolarRotationShown {
            value: molar_rotation(made.reduced.value, mass).conventional(),
            standard_uncertainty: molar_rotation(made.reduced.uncertainty, mass).conventional(),
            molar_mass: mass.grams_per_mole(),
        }),
        si: SiShown {
            value: value * SI_PER_CONVENTIONAL,
            standard_uncertainty: u * SI_PER_CONVENTIONAL,
        },
        concentration: setup.concentration().grams_per_100_millilitres(),
        concentration_as_weighed: setup.amount.concentration().grams_per_100_millilitres(),
        angle: made.angle,
        budget: made.reduced.budget.clone(),
        monte_carlo: made.monte_carlo,
        flags: made.flags,
        standards: (!standards.is_empty()).then(|| StandardReadings {
            n: standards.len(),
            mean_degrees: crate::measurement::reading::mean(&standards),
        }),
        measurement: None,
        check: None,
    };
    SampleResult {
        shown,
        reduced: made.reduced,
        readings: info.readings,
        setup,
        line: info.line,
        solvent,
        temperature,
    }
}

#[cfg(test)]
mod tests {
    use super::ReduceAnswer;

    /// The schema in the repository is the one the types give; `BIOT_UPDATE_SCHEMAS=1 cargo test schema` rewrites it.
    #[test]
    fn the_schema_of_a_reduce_result_is_up_to_date() {
        let path = concat!(env!("CARGO_MANIFEST_DIR"), "/schema/reduce_result.schema.json");
        let schema = schemars::schema_for!(ReduceAnswer);
        let made = serde_json::to_string_pretty(&schema).expect("a schema is plain JSON") + "\n";
        if std::env::var_os("BIOT_UPDATE_SCHEMAS").is_some() {
            std::fs::write(path, &made).expect("the schema folder can be written");
        }
        let kept = std::fs::read_to_string(path).unwrap_or_default();
        assert!(
            kept == made,
            "schema/reduce_result.schema.json is out of date; run BIOT_UPDATE_SCHEMAS=1 cargo test schema"
        );
    }
}
