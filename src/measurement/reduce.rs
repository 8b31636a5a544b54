//! Readings to a specific rotation.

use super::budget::{self, Correlation};
use super::flags::{self, Flag, Seen};
use super::model::{AngleInput, Model};
use super::monte_carlo::{self, MonteCarlo};
use super::reading::{self, Filling, Level, Mean, Reading, ReadingRole};
use super::turns::{self, Scaled, Turns};
use super::{Amount, Defaults, Reduced, Setup, reduced};
use crate::quantity::{Angle, Length, Temperature};
use serde::Serialize;
use std::collections::HashSet;

/// How a reduction runs.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct ReduceSettings {
    /// The Monte Carlo check; none leaves it out.
    pub monte_carlo: Option<monte_carlo::Settings>,
    /// Correlations of inputs, by their names in the budget.
    pub correlations: Vec<(String, String, f64)>,
}

/// Why readings give no value.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum ReduceError {
    /// There is no reading of the sample.
    #[error("there is no reading of the sample; mark its rows with the role \"sample\"")]
    NoSample,
    /// A correlation names no input.
    #[error("\"{name}\" is no input of this budget; its inputs are {known}")]
    NoInput {
        /// The name.
        name: String,
        /// The inputs.
        known: String,
    },
    /// A correlation coefficient that cannot be.
    #[error(
        "the correlation of {first} and {second} is {coefficient}; give two different inputs and a number from -1 to 1"
    )]
    Coefficient {
        /// One input.
        first: String,
        /// The other.
        second: String,
        /// The number.
        coefficient: f64,
    },
    /// The inputs give no finite number.
    #[error("the inputs give no finite specific rotation; check concentration, purity, losses and cell length")]
    NotFinite,
}

/// The angle behind a value.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct AngleSummary {
    /// Sample less blank, degrees, at the first cell and concentration.
    pub net_degrees: f64,
    /// Its standard uncertainty, instrument and rounding included, degrees.
    pub standard_uncertainty: f64,
    /// Mean of the blank, degrees.
    pub blank_degrees: Option<f64>,
    /// Readings of the sample.
    pub n_sample: usize,
    /// Readings of the blank.
    pub n_blank: usize,
    /// Readings that repeat another one, time and all, counted once.
    pub n_duplicates: usize,
    /// Where the type A part comes from.
    pub level: Level,
    /// Values of that level.
    pub n_level: usize,
    /// Standard deviation of readings about the mean of their filling, degrees.
    pub reading_sd: Option<f64>,
}

/// What readings were reduced to.
#[derive(Clone, Debug, PartialEq)]
pub struct Reduction {
    /// The value, its uncertainty and the budget.
    pub reduced: Reduced,
    /// Factor of the interval of 95 %.
    pub coverage_factor: f64,
    /// The angle.
    pub angle: AngleSummary,
    /// The cross-check.
    pub monte_carlo: Option<MonteCarlo>,
    /// What is wrong, worst first.
    pub flags: Vec<Flag>,
    /// Temperature of the readings.
    pub temperature: Option<Temperature>,
}

impl Reduction {
    /// Half the width of the interval of 95 %.
    pub fn expanded95(&self) -> f64 {
        self.coverage_factor * self.reduced.uncertainty.conventional()
    }
}

/// The standard uncertainty of a mean with its degrees of freedom as an input.
fn input_of(mean: &Mean) -> AngleInput {
    AngleInput {
        degrees: mean.degrees,
        uncertainty: mean.uncertainty.unwrap_or(0.0),
        degrees_of_freedom: mean.uncertainty.map(|_| mean.degrees_of_freedom),
        assumed: false,
    }
}

/// Reduces readings of one sample at one wavelength, with their blanks.
///
/// Readings of standards are left out. Readings at other cells or concentrations are brought to those of `setup` in
/// proportion to `l c`, after half turns that a second size resolves. Nothing is dropped: an outlying reading is flagged; of
/// readings that repeat each other with the same time one counts, and the flag says how many.
///
/// # Errors
/// See [`ReduceError`].
pub fn reduce(
    readings: &[Reading],
    setup: &Setup,
    defaults: &Defaults,
    settings: &ReduceSettings,
) -> Result<Reduction, ReduceError> {
    let (kept, n_duplicates) = without_duplicates(readings);
    let of = |role: ReadingRole| -> Vec<&Reading> { kept.iter().copied().filter(|r| r.role == role).collect() };
    let (sample, blank) = (of(ReadingRole::Sample), of(ReadingRole::Blank));
    if sample.is_empty() {
        return Err(ReduceError::NoSample);
    }
    let mut setup = setup.clone();
    if setup.temperature.is_none() {
        setup.temperature = mean_temperature(&sample);
    }
    setup.resolution = setup.resolution.or_else(|| step_of(&kept));
    let blanks = Blanks::of(&blank);
    let fillings = reading::fillings(&sample);
    let sizes = sizes(&sample, &setup);
    let resolved = resolve_turns(&sample, &fillings, &sizes, &blanks, &setup, defaults);
    let own = setup.length.decimetres() * setup.amount.concentration().grams_per_100_millilitres();
    let net: Vec<f64> = sample
        .iter()
        .enumerate()
        .map(|(i, r)| r.angle.degrees() - blanks.mean_in(r.cell) + resolved.added(i))
        .collect();
    let zero = blanks.all.as_ref().map_or(0.0, |mean| mean.degrees);
    let scaled: Vec<f64> = net
        .iter()
        .zip(&sizes)
        .map(|(net, size)| net * own / size + zero)
        .collect();
    let mean = reading::mean_of(&fillings, &scaled).ok_or(ReduceError::NoSample)?;
    let is_alone = mean.uncertainty.is_none() && !setup.counts_instrument && setup.uncertainties.instrument.is_none();
    let sample_input = if is_alone {
        let stated = setup.uncertainties.angle.map(Angle::degrees);
        AngleInput {
            uncertainty: stated.unwrap_or(defaults.angle_degrees),
            assumed: stated.is_none(),
            ..AngleInput::exact(mean.degrees)
        }
    } else {
        input_of(&mean)
    };
    let model = Model::new(&setup, sample_input, blanks.all.as_ref().map(input_of), defaults);
    let correlations = correlations(&model, &settings.correlations)?;
    let made = budget::propagate(&model, &model.inputs, &correlations);
    if !(made.value.is_finite() && made.uncertainty.is_finite()) {
        return Err(ReduceError::NotFinite);
    }
    let monte_carlo = settings
        .monte_carlo
        .and_then(|how| monte_carlo::simulate(&model, &model.inputs, &correlations, &made, how));
    let angle = AngleSummary {
        net_degrees: mean.degrees - zero,
        standard_uncertainty: angle_uncertainty(&model),
        blank_degrees: blanks.all.as_ref().map(|mean| mean.degrees),
        n_sample: sample.len(),
        n_blank: blank.len(),
        n_duplicates,
        level: mean.level,
        n_level: mean.n,
        reading_sd: flags::within(&fillings, &net).map(|(sd, _)| sd),
    };
    let result = reduced(
        &made,
        &model.inputs,
        setup.amount,
        Angle::from_degrees(angle.net_degrees),
    );
    let flags = flags::find(&Seen {
        sample: &sample,
        blank: &blank,
        fillings: &fillings,
        scaled: &scaled,
        net: &net,
        turns: resolved.turns.as_ref(),
        groups: &resolved.groups,
        relative: resolved.relative,
        blank_mean: blanks.all.as_ref(),
        angle: &angle,
        setup: &setup,
        reduced: &result,
        monte_carlo: monte_carlo.as_ref(),
        instrument: setup
            .uncertainties
            .instrument
            .map_or(defaults.angle_degrees, Angle::degrees),
    });
    Ok(Reduction {
        coverage_factor: made.coverage_factor95(),
        reduced: result,
        angle,
        monte_carlo,
        flags,
        temperature: setup.temperature,
    })
}

/// The standard uncertainty of the net angle: every input that is an angle.
fn angle_uncertainty(model: &Model) -> f64 {
    model
        .inputs
        .iter()
        .filter(|input| input.unit == "°")
        .map(|input| input.uncertainty * input.uncertainty)
        .sum::<f64>()
        .sqrt()
}

/// Readings without exact repetitions: the same role, angle, time, sample, cell, filling. Without a time nothing tells a
/// repetition from a second reading.
fn without_duplicates(readings: &[Reading]) -> (Vec<&Reading>, usize) {
    let mut seen = HashSet::new();
    let kept: Vec<&Reading> = readings
        .iter()
        .filter(|r| {
            r.seconds.is_none_or(|seconds| {
                seen.insert((
                    r.role,
                    r.angle.degrees().to_bits(),
                    seconds.to_bits(),
                    r.cell.map(|l| l.decimetres().to_bits()),
                    (r.sample.as_deref(), r.filling.as_deref(), r.preparation.as_deref()),
                ))
            })
        })
        .collect();
    let n = readings.len() - kept.len();
    (kept, n)
}

fn mean_temperature(readings: &[&Reading]) -> Option<Temperature> {
    let all: Vec<f64> = readings
        .iter()
        .filter_map(|r| r.temperature.map(Temperature::celsius))
        .collect();
    (!all.is_empty()).then(|| Temperature::from_celsius(reading::mean(&all)))
}

/// The step of a display, by the digits its readings have: none when all are whole degrees or finer than 10⁻⁶°.
fn step_of(readings: &[&Reading]) -> Option<Angle> {
    (1..=6).find_map(|decimals| {
        let factor = 10f64.powi(decimals);
        let fits = |r: &&Reading| {
            let scaled = r.angle.degrees() * factor;
            (scaled - scaled.round()).abs() < 1e-6 * scaled.abs().max(1.0)
        };
        readings.iter().all(fits).then(|| Angle::from_degrees(1.0 / factor))
    })
}

/// Length times concentration of each reading.
fn sizes(sample: &[&Reading], setup: &Setup) -> Vec<f64> {
    let own = setup.amount.concentration();
    sample
        .iter()
        .map(|r| {
            let length = r.cell.unwrap_or(setup.length).decimetres();
            let c = match setup.amount {
                Amount::Neat(_) => own,
                _ => r.concentration.unwrap_or(own),
            };
            length * c.grams_per_100_millilitres()
        })
        .collect()
}

/// Blank means, over all and by cell.
struct Blanks {
    all: Option<Mean>,
    by_cell: Vec<(Length, f64)>,
}

impl Blanks {
    fn of(blank: &[&Reading]) -> Self {
        let angles: Vec<f64> = blank.iter().map(|r| r.angle.degrees()).collect();
        let all = reading::mean_of(&reading::fillings(blank), &angles);
        let mut by_cell: Vec<(Length, f64)> = Vec::new();
        for r in blank {
            let Some(cell) = r.cell else { continue };
            if by_cell.iter().all(|(known, _)| *known != cell) {
                let own: Vec<f64> = blank
                    .iter()
                    .filter(|other| other.cell == Some(cell))
                    .map(|other| other.angle.degrees())
                    .collect();
                by_cell.push((cell, reading::mean(&own)));
            }
        }
        // With one cell the mean over fillings stands, not that over readings.
        if by_cell.len() == 1 {
            by_cell.clear();
        }
        Self { all, by_cell }
    }

    fn mean_in(&self, cell: Option<Length>) -> f64 {
        let zero = self.all.as_ref().map_or(0.0, |mean| mean.degrees);
        self.by_cell
            .iter()
            .find(|(known, _)| Some(*known) == cell)
            .map_or(zero, |&(_, mean)| mean)
    }
}

/// The half turns found, by groups of equal `l c`.
struct Resolved {
    groups: Vec<Scaled>,
    /// The group of each reading.
    group_of: Vec<usize>,
    turns: Option<Turns>,
    relative: f64,
}

impl Resolved {
    /// Degrees to add to a reading.
    fn added(&self, reading: usize) -> f64 {
        self.turns
            .as_ref()
            .map_or(0.0, |found| 180.0 * f64::from(found.added[self.group_of[reading]]))
    }
}

/// Sizes closer than this, relative, are one size.
const SAME_SIZE: f64 = 0.02;

fn resolve_turns(
    sample: &[&Reading],
    fillings: &[Filling],
    sizes: &[f64],
    blanks: &Blanks,
    setup: &Setup,
    defaults: &Defaults,
) -> Resolved {
    let mut members: Vec<(f64, Vec<f64>)> = Vec::new();
    let mut group_of = vec![0; sample.len()];
    for filling in fillings {
        let size = sizes[filling.readings[0]];
        let at = members
            .iter()
            .position(|(known, _)| (known - size).abs() < SAME_SIZE * size)
            .unwrap_or_else(|| {
                members.push((size, Vec::new()));
                members.len() - 1
            });
        for &reading in &filling.readings {
            group_of[reading] = at;
        }
        members[at].1.extend(
            filling
                .readings
                .iter()
                .map(|&i| sample[i].angle.degrees() - blanks.mean_in(sample[i].cell)),
        );
    }
    let instrument = setup
        .uncertainties
        .instrument
        .map_or(defaults.angle_degrees, Angle::degrees);
    let zero = blanks.all.as_ref().and_then(|mean| mean.uncertainty).unwrap_or(0.0);
    let groups: Vec<Scaled> = members
        .iter()
        .map(|(size, net)| {
            let own = reading::standard_deviation(net) / (net.len() as f64).sqrt();
            Scaled {
                degrees: reading::mean(net),
                uncertainty: own.hypot(instrument).hypot(zero),
                size: *size,
            }
        })
        .collect();
    let share = setup
        .uncertainties
        .concentration
        .map_or(defaults.concentration_relative, crate::quantity::Fraction::ratio);
    let relative = share.hypot(defaults.length_relative);
    Resolved {
        turns: turns::resolve(&groups, relative),
        groups,
        group_of,
        relative,
    }
}

fn correlations(model: &Model, named: &[(String, String, f64)]) -> Result<Vec<Correlation>, ReduceError> {
    let place = |name: &str| {
        model.place(name.trim()).ok_or_else(|| ReduceError::NoInput {
            name: name.to_owned(),
            known: model
                .inputs
                .iter()
                .map(|input| input.source)
                .collect::<Vec<_>>()
                .join(", "),
        })
    };
    named
        .iter()
        .map(|(first, second, coefficient)| {
            let made = Correlation {
                first: place(first)?,
                second: place(second)?,
                coefficient: *coefficient,
            };
            if made.first == made.second || !(-1.0..=1.0).contains(coefficient) {
                return Err(ReduceError::Coefficient {
                    first: first.clone(),
                    second: second.clone(),
                    coefficient: *coefficient,
                });
            }
            Ok(made)
        })
        .collect()
}
