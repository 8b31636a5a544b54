//! Readings to specific rotations, one for each sample and wavelength.

mod bench;
mod readings;
mod result;
mod typed;

pub use bench::{AmountError, Dissolved, Registered, check_result};
pub use readings::{ReadingsError, ReadingsFile, RejectedReading, parse_mapping, read_readings, words};
pub use result::{
    MolarRotationShown, ReduceAnswer, ReducedSample, SampleResult, SpecificRotationShown, StandardReadings,
};
pub use typed::typed_angles;

use crate::measurement::monte_carlo;
use crate::measurement::{
    Amount, Defaults, Flag, Level, Reading, ReadingRole, ReduceError, ReduceSettings, Reduction, Setup, Severity,
    Uncertainties, reduce,
};
use crate::notation::{Style, write};
use crate::quantity::{
    Angle, Concentration, ConcentrationUnit, Fraction, Length, MolarMass, Printed, SpectralLine, StatedConcentration,
    Temperature,
};
use crate::solvent::Solvent;
use crate::statement::{PrintedConcentration, Sign, StatedTemperature, Statement};

/// What is known of a measurement beside its readings.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct ReduceRequest {
    /// Cell length, for readings that do not tell theirs.
    pub cell: Option<Length>,
    /// How much substance, for readings that do not tell theirs.
    pub amount: Option<Amount>,
    /// The concentration as typed, to print it.
    pub stated: Option<StatedConcentration>,
    /// Light, for readings that do not tell theirs.
    pub line: Option<SpectralLine>,
    /// Solvent, or neat.
    pub solvent: Option<Solvent>,
    /// Temperature of the reading, for readings that do not tell theirs.
    pub temperature: Option<Temperature>,
    /// Temperature the value is wanted at.
    pub at: Option<Temperature>,
    /// Relative change per kelvin.
    pub temperature_coefficient: Option<f64>,
    /// Temperature at which the flask was filled.
    pub filled_at: Option<Temperature>,
    /// Cubic expansion of the solution, per kelvin.
    pub expansion: Option<f64>,
    /// Purity.
    pub purity: Option<Fraction>,
    /// Residual solvent.
    pub residual_solvent: Option<Fraction>,
    /// Loss on drying.
    pub loss_on_drying: Option<Fraction>,
    /// Mass of the named basis per mass of the form weighed.
    pub basis_factor: Option<f64>,
    /// The basis in words.
    pub basis: Option<String>,
    /// Molar mass of the basis, for the molar rotation.
    pub molar_mass: Option<MolarMass>,
    /// Step of the display.
    pub resolution: Option<Angle>,
    /// Stated uncertainties.
    pub uncertainties: Uncertainties,
    /// The angle is one number, blank subtracted: no readings stand behind it.
    pub is_single_angle: bool,
    /// Sample, for readings that do not tell theirs.
    pub sample: Option<String>,
    /// Who read, for readings that do not tell theirs.
    pub operator: Option<String>,
    /// Correlations of inputs.
    pub correlations: Vec<(String, String, f64)>,
    /// The Monte Carlo check.
    pub monte_carlo: Option<monte_carlo::Settings>,
}

/// Why readings give no result.
#[derive(Debug, thiserror::Error)]
pub enum ReduceTaskError {
    /// There are no readings.
    #[error("there is no reading; give --angle, or a file of readings")]
    NoReadings,
    /// The length is not known.
    #[error(
        "{sample}: an angle is no specific rotation without the cell length; give --cell, for example --cell \"100 mm\""
    )]
    NoCell {
        /// The sample.
        sample: String,
    },
    /// The amount is not known.
    #[error(
        "{sample}: an angle is no specific rotation without the concentration; give --conc, --mass with --volume, or --density of a neat liquid"
    )]
    NoAmount {
        /// The sample.
        sample: String,
    },
    /// The engine refuses.
    #[error("{sample}: {error}")]
    Reduce {
        /// The sample.
        sample: String,
        /// Why.
        error: ReduceError,
    },
    /// More samples than are answered at once.
    #[error("the file holds {n} samples and wavelengths; at most {MOST_RESULTS} are reduced at once, so split it")]
    TooMany {
        /// How many.
        n: usize,
    },
}

/// Most results of one file.
pub const MOST_RESULTS: usize = 10_000;

/// The readings of one result.
#[derive(Clone, Debug, PartialEq)]
struct Group {
    sample: Option<String>,
    wavelength_nm: Option<f64>,
    readings: Vec<Reading>,
}

/// Reduces readings: one result for each sample and wavelength, in the order in which they appear.
///
/// A blank whose sample id is that of a sample belongs to it alone; any other blank belongs to every sample at its
/// wavelength.
///
/// # Errors
/// See [`ReduceTaskError`]; one sample that cannot be reduced ends the whole, since its row would be missing in silence.
pub fn reduce_readings(readings: &[Reading], request: &ReduceRequest) -> Result<Vec<SampleResult>, ReduceTaskError> {
    let groups = groups(readings);
    if groups.is_empty() {
        return Err(ReduceTaskError::NoReadings);
    }
    if groups.len() > MOST_RESULTS {
        return Err(ReduceTaskError::TooMany { n: groups.len() });
    }
    groups.iter().map(|group| reduce_group(group, request)).collect()
}

fn groups(readings: &[Reading]) -> Vec<Group> {
    use std::collections::{HashMap, HashSet};
    let mut places: HashMap<(Option<&str>, Option<u64>), usize> = HashMap::new();
    let mut groups: Vec<Group> = Vec::new();
    let of_role = |role: ReadingRole| readings.iter().filter(move |r| r.role == role);
    for reading in of_role(ReadingRole::Sample) {
        let key = (reading.sample.as_deref(), reading.wavelength_nm.map(f64::to_bits));
        let place = *places.entry(key).or_insert_with(|| {
            groups.push(Group {
                sample: reading.sample.clone(),
                wavelength_nm: reading.wavelength_nm,
                readings: Vec::new(),
            });
            groups.len() - 1
        });
        groups[place].readings.push(reading.clone());
    }
    let samples: HashSet<&str> = of_role(ReadingRole::Sample)
        .filter_map(|r| r.sample.as_deref())
        .collect();
    let others: Vec<&Reading> = readings.iter().filter(|r| r.role != ReadingRole::Sample).collect();
    let n_wavelengths = groups
        .iter()
        .map(|g| g.wavelength_nm.map(f64::to_bits))
        .collect::<HashSet<_>>()
        .len();
    for group in &mut groups {
        for reading in &others {
            let owned = reading.sample.as_deref().is_some_and(|id| samples.contains(id));
            let is_own = reading.sample == group.sample;
            let fits_light =
                reading.wavelength_nm == group.wavelength_nm || (reading.wavelength_nm.is_none() && n_wavelengths == 1);
            if (is_own || !owned) && fits_light {
                group.readings.push((*reading).clone());
            }
        }
        group.readings.sort_by_key(|r| r.line);
    }
    groups
}

fn reduce_group(group: &Group, request: &ReduceRequest) -> Result<SampleResult, ReduceTaskError> {
    let id = group.sample.clone().or_else(|| request.sample.clone());
    let named = id
        .clone()
        .map_or_else(|| "the sample".to_owned(), |id| format!("sample {id}"));
    let of_sample = || group.readings.iter().filter(|r| r.role == ReadingRole::Sample);
    let cell = request
        .cell
        .or_else(|| of_sample().find_map(|r| r.cell))
        .ok_or_else(|| ReduceTaskError::NoCell { sample: named.clone() })?;
    let own = of_sample().find_map(|r| r.concentration).map(Amount::Concentration);
    let amount = request
        .amount
        .or(own)
        .ok_or_else(|| ReduceTaskError::NoAmount { sample: named.clone() })?;
    // Where the readings tell theirs, the first cell and concentration are the ones the angle is shown at.
    let cell = of_sample().find_map(|r| r.cell).unwrap_or(cell);
    let mut setup = Setup::new(cell, amount);
    setup.purity = request.purity;
    setup.residual_solvent = request.residual_solvent;
    setup.loss_on_drying = request.loss_on_drying;
    setup.basis_factor = request.basis_factor.unwrap_or(1.0);
    setup.temperature = mean_temperature(group).or(request.temperature);
    setup.stated_temperature = request.at;
    setup.temperature_coefficient = request.temperature_coefficient;
    setup.filled_at = request.filled_at;
    setup.expansion = request.expansion.or_else(|| expansion_of(request.solvent.as_ref()));
    setup.counts_instrument = !request.is_single_angle;
    setup.counts_temperature = true;
    setup.resolution = request.resolution;
    setup.uncertainties = request.uncertainties;
    let defaults = Defaults::built_in();
    if request.is_single_angle {
        // The uncertainty of one angle holds its rounding.
        setup.resolution = setup.resolution.or(Some(Angle::from_degrees(0.0)));
    }
    let settings = ReduceSettings {
        monte_carlo: request.monte_carlo,
        correlations: request.correlations.clone(),
    };
    let mut made = reduce(&group.readings, &setup, &defaults, &settings)
        .map_err(|error| ReduceTaskError::Reduce { sample: named, error })?;
    differing_cell(group, request, &mut made);
    Ok(result::assemble(group_info(group, id, request), setup, made, request))
}

/// What of a result is not a number of the engine.
struct GroupInfo {
    sample: Option<String>,
    operator: Option<String>,
    line: Option<SpectralLine>,
    readings: Vec<Reading>,
}

fn group_info(group: &Group, sample: Option<String>, request: &ReduceRequest) -> GroupInfo {
    let mut operators: Vec<&str> = group.readings.iter().filter_map(|r| r.operator.as_deref()).collect();
    operators.dedup();
    operators.sort_unstable();
    operators.dedup();
    GroupInfo {
        sample,
        operator: if operators.is_empty() {
            request.operator.clone()
        } else {
            Some(operators.join(", "))
        },
        line: group
            .wavelength_nm
            .and_then(|nm| SpectralLine::at_nanometres(nm).ok())
            .or_else(|| request.line.clone()),
        readings: group.readings.clone(),
    }
}

fn mean_temperature(group: &Group) -> Option<Temperature> {
    let all: Vec<f64> = group
        .readings
        .iter()
        .filter(|r| r.role == ReadingRole::Sample)
        .filter_map(|r| r.temperature.map(Temperature::celsius))
        .collect();
    (!all.is_empty()).then(|| Temperature::from_celsius(crate::measurement::reading::mean(&all)))
}

/// The expansion of a solution by its solvent: that of water where the solvent is water or a solution in it.
fn expansion_of(solvent: Option<&Solvent>) -> Option<f64> {
    let defaults = Defaults::built_in();
    let text = solvent?.to_string();
    let is_aqueous = ["H2O", "HCl", "NaOH", "water", "buffer"]
        .iter()
        .any(|word| text.contains(word));
    Some(if is_aqueous {
        defaults.water_expansion_per_kelvin
    } else {
        defaults.organic_expansion_per_kelvin
    })
}

/// The cell named on the command line against the one the readings tell.
fn differing_cell(group: &Group, request: &ReduceRequest, made: &mut Reduction) {
    let Some(told) = request.cell else { return };
    let other = group
        .readings
        .iter()
        .filter(|r| r.role == ReadingRole::Sample)
        .filter_map(|r| r.cell)
        .find(|cell| (cell.decimetres() - told.decimetres()).abs() > 0.01 * told.decimetres());
    if let Some(other) = other {
        made.flags.insert(
            0,
            Flag::new(
                "cell-differs",
                Severity::Serious,
                format!(
                    "The cell given is {} mm, but a row names {} mm; the row's was taken. Correct the one that is wrong.",
                    told.millimetres(),
                    other.millimetres()
                ),
            ),
        );
    }
}

/// The value as journals print it: as many digits as the standard uncertainty allows.
fn journal(made: &Reduction, request: &ReduceRequest, setup: &Setup, line: Option<&SpectralLine>) -> Option<String> {
    let u = made.reduced.uncertainty.conventional();
    let decimals = if u > 0.0 {
        (-(u.log10().floor())).clamp(0.0, 4.0) as u8
    } else {
        2
    };
    let digits = |value: f64, decimals: u8| {
        let factor = 10f64.powi(i32::from(decimals));
        Printed::new((value * factor).round() / factor, decimals)
    };
    let at = if setup.temperature_coefficient.is_some() {
        setup.stated_temperature.or(made.temperature)
    } else {
        made.temperature.or(setup.stated_temperature)
    };
    let is_neat = matches!(setup.amount, Amount::Neat(_));
    let concentration = (!is_neat).then(|| printed_concentration(request, setup.amount.concentration()));
    let statement = Statement {
        value: Some(digits(made.reduced.value.conventional(), decimals)),
        sign: Sign::Stated,
        temperature: at.map(|t| {
            StatedTemperature::At(digits(
                t.celsius(),
                u8::from((t.celsius() - t.celsius().round()).abs() > 0.25),
            ))
        }),
        line: line.cloned(),
        solvent: request.solvent.clone().or_else(|| is_neat.then_some(Solvent::Neat)),
        concentration,
        path: None,
        basis: request.basis.clone(),
        ..Statement::default()
    };
    write(&statement, Style::Plain).ok()
}

fn printed_concentration(request: &ReduceRequest, c: Concentration) -> PrintedConcentration {
    if let Some(stated) = request.stated {
        return PrintedConcentration {
            low: stated.value,
            high: None,
            unit: stated.unit,
            unit_printed: true,
        };
    }
    let value = c.grams_per_100_millilitres();
    let decimals = (2.0 - value.abs().max(1e-6).log10().floor()).clamp(0.0, 5.0) as u8;
    let factor = 10f64.powi(i32::from(decimals));
    PrintedConcentration {
        low: Printed::new((value * factor).round() / factor, decimals),
        high: None,
        unit: ConcentrationUnit::GramsPer100Millilitres,
        unit_printed: true,
    }
}

/// The type A level in words.
pub fn level_in_words(n: usize, level: Level) -> String {
    if n == 1 {
        "one reading".to_owned()
    } else {
        format!("{n} {}", level.plural())
    }
}
