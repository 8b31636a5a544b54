//! What the bench adds to readings: how much substance the light met, and what the register says of preset, cell and
//! instrument.

use super::{ReduceRequest, SampleResult};
use crate::compare::Conditions;
use crate::compound::Formula;
use crate::instrument::materials;
use crate::instrument::register::Preset;
use crate::library::{Compound, Library, LibraryError, Loan};
use crate::measurement::kinetics::{TimedReading, duration};
use crate::measurement::settling::{Settling, settling};
use crate::measurement::{Amount, Flag, Reading, ReadingRole, Severity, basis_factor};
use crate::quantity::{
    Angle, ConcentrationUnit, Density, Fraction, Mass, MolarMass, QuantityError, StatedConcentration, Time, Volume,
};
use crate::solvent::Solvent;
use crate::tasks::check::{CheckRequest, CheckSettings, check};
use crate::tasks::measured::{MeasuredError, density_has_a_use};
use crate::tasks::measurements::Filing;
use crate::tasks::{control, register};
use time::OffsetDateTime;

/// How a solution was made, as a person gives it.
#[derive(Clone, Debug, Default)]
pub struct Dissolved {
    /// Concentration.
    pub conc: Option<StatedConcentration>,
    /// Mass dissolved.
    pub mass: Option<Mass>,
    /// Volume it was made up to.
    pub volume: Option<Volume>,
    /// Density: of the neat liquid, or of the solution where the concentration is in % w/w.
    pub density: Option<Density>,
    /// Solvent, or neat.
    pub solvent: Option<Solvent>,
    /// Molar mass of the substance.
    pub molar_mass: Option<MolarMass>,
}

/// Why what was given makes no amount.
#[derive(Debug, thiserror::Error)]
pub enum AmountError {
    /// A density that has no use.
    #[error(transparent)]
    Measured(#[from] MeasuredError),
    /// A unit that cannot be converted.
    #[error(transparent)]
    Quantity(#[from] QuantityError),
    /// A form that was weighed, of an unknown substance.
    #[error("--weighed-as needs the substance the value is for; give --formula, for example --formula C6H12O6")]
    NoFormula,
}

impl Dissolved {
    /// How much substance the light met; none where nothing was given.
    ///
    /// # Errors
    /// When a unit cannot be converted, or a density has no use.
    pub fn amount(&self) -> Result<Option<Amount>, AmountError> {
        density_has_a_use(self.density, self.conc, self.mass.is_some())?;
        Ok(match (self.conc, self.mass, self.volume, self.density) {
            (Some(stated), ..) => Some(match (stated.unit, self.molar_mass, self.density) {
                (ConcentrationUnit::PercentByMass, _, Some(density)) => Amount::MassFraction {
                    fraction: Fraction::from_percent(stated.value.value()),
                    density,
                },
                (ConcentrationUnit::MolesPerLitre, Some(molar_mass), _) => Amount::Molar {
                    moles_per_litre: stated.value.value(),
                    molar_mass,
                },
                _ => Amount::Concentration(stated.to_mass_concentration(self.molar_mass, self.density)?),
            }),
            (None, Some(mass), Some(volume), _) => Some(Amount::MassInVolume { mass, volume }),
            (None, None, None, Some(density)) => match &self.solvent {
                None | Some(Solvent::Neat) => Some(Amount::Neat(density)),
                Some(solvent) => return Err(MeasuredError::DensityInSolvent(solvent.clone()).into()),
            },
            _ => None,
        })
    }

    /// Mass of the substance per mass of the form that was weighed; none where it was weighed as itself. `units` is how
    /// many of the substance one unit of that form holds.
    ///
    /// # Errors
    /// When the molar mass of the substance is not known.
    pub fn factor_of(&self, weighed_as: Option<&Formula>, units: f64) -> Result<Option<f64>, AmountError> {
        match (weighed_as, self.molar_mass) {
            (Some(weighed), Some(basis)) => Ok(Some(basis_factor(weighed.molar_mass(), basis, units))),
            (Some(_), None) => Err(AmountError::NoFormula),
            (None, _) => Ok(None),
        }
    }
}

/// What of the register was used, by name.
#[derive(Clone, Debug, Default)]
pub struct Registered {
    /// The preset.
    pub preset: Option<String>,
    /// The cell.
    pub cell: Option<String>,
    /// The instrument.
    pub instrument: Option<String>,
}

impl Registered {
    /// Fills in what the register says of preset, cell and instrument where `request` does not say; flags where one of
    /// them wants attention at the moment `at`.
    ///
    /// # Errors
    /// When a name is not registered, or the library fails.
    pub fn fill_in(
        &self,
        library: &Library,
        readings: &[Reading],
        at: OffsetDateTime,
        request: &mut ReduceRequest,
        filing: &mut Filing,
    ) -> Result<Vec<Flag>, LibraryError> {
        let mut flags = Vec::new();
        let preset = match &self.preset {
            Some(name) => Some(register::preset(library, name)?.1),
            None => None,
        };
        if let Some(preset) = &preset {
            if let [line] = &preset.lines[..] {
                request.line.get_or_insert_with(|| line.clone());
            }
            request.temperature = request.temperature.or(preset.temperature());
            flags.extend(preset_flags(preset, readings));
        }
        let of_preset = preset
            .as_ref()
            .filter(|_| request.cell.is_none())
            .and_then(|it| it.cell.as_ref());
        if let Some(name) = self.cell.as_ref().or(of_preset) {
            let (equipment, cell) = register::cell(library, name)?;
            if let Some(solvent) = &request.solvent {
                flags.extend(
                    materials::attacked(cell.windows.as_deref(), cell.seals.as_deref(), solvent)
                        .into_iter()
                        .map(|sentence| Flag::new("cell-material", Severity::Warning, sentence)),
                );
            }
            if let Some(loan) = library.open_loan(equipment.id)? {
                flags.push(lent_flag(&equipment.name, &loan));
            }
            filing.cell = Some(equipment.id);
            request.cell = Some(cell.length());
            request.uncertainties.length = request.uncertainties.length.or(cell.length_uncertainty());
        }
        let of_preset = preset.as_ref().and_then(|it| it.instrument.as_ref());
        let Some(name) = self.instrument.as_ref().or(of_preset) else {
            return Ok(flags);
        };
        let (equipment, instrument) = register::instrument(library, name)?;
        filing.instrument = Some(equipment.id);
        let known = instrument.angle_uncertainty();
        if request.is_single_angle {
            request.uncertainties.angle = request.uncertainties.angle.or(known);
        } else {
            request.uncertainties.instrument = request.uncertainties.instrument.or(known);
            request.resolution = request.resolution.or(instrument.resolution());
        }
        let state = control::state_at(library, equipment.id, at)?;
        flags.extend(
            state
                .caution(&equipment.name)
                .map(|caution| Flag::new("instrument-control", Severity::Warning, caution)),
        );
        Ok(flags)
    }
}

/// A cell that is out on loan may not be the one on the bench.
fn lent_flag(cell: &str, loan: &Loan) -> Flag {
    let borrower = &loan.borrower;
    Flag::new(
        "cell-lent",
        Severity::Warning,
        format!(
            "Cell \"{cell}\" is lent to {borrower} since {}: make sure that it is the one in use here, and have it taken back, \
             or name the cell that is.",
            loan.lent_on
        ),
    )
}

/// Readings at the end that must have settled.
const SETTLED_READINGS: usize = 3;

/// Where the readings are fewer than the preset asks for, or had not settled.
fn preset_flags(preset: &Preset, readings: &[Reading]) -> Vec<Flag> {
    let angles: Vec<f64> = readings
        .iter()
        .filter(|reading| reading.role == ReadingRole::Sample)
        .map(|reading| reading.angle.degrees())
        .collect();
    let mut flags = Vec::new();
    if let Some(wanted) = preset.readings
        && angles.len() < wanted as usize
    {
        flags.push(Flag::new(
            "preset-readings",
            Severity::Warning,
            format!(
                "{} readings, but the preset asks for {wanted}: take the rest.",
                angles.len()
            ),
        ));
    }
    if let Some(settle) = preset.settle_deg {
        for group in samples_of(readings) {
            flags.extend(settling_flag(&group, settle, preset.settle_over_s));
        }
    }
    flags
}

/// The readings of each sample, wavelength and filling apart.
fn samples_of(readings: &[Reading]) -> Vec<Vec<&Reading>> {
    let mut groups: Vec<Vec<&Reading>> = Vec::new();
    let mut places = std::collections::HashMap::new();
    for reading in readings.iter().filter(|reading| reading.role == ReadingRole::Sample) {
        let key = (
            reading.sample.as_deref(),
            reading.wavelength_nm.map(f64::to_bits),
            reading.filling.as_deref(),
            reading.preparation.as_deref(),
        );
        let place = *places.entry(key).or_insert_with(|| {
            groups.push(Vec::new());
            groups.len() - 1
        });
        groups[place].push(reading);
    }
    groups
}

/// The settling criterion of a preset against the readings of one sample. Nothing is left out: readings before the angle had
/// settled are pointed out.
fn settling_flag(group: &[&Reading], settle: f64, over: Option<f64>) -> Option<Flag> {
    let of = group
        .first()
        .and_then(|reading| reading.sample.as_ref())
        .map_or_else(String::new, |id| format!("Sample {id}: "));
    let timed: Option<Vec<TimedReading>> = group
        .iter()
        .map(|reading| {
            Some(TimedReading {
                time: Time::from_seconds(reading.seconds?),
                angle: reading.angle,
                uncertainty: None,
            })
        })
        .collect();
    let (Some(over), Some(timed)) = (over, timed) else {
        return last_readings(group, settle, over, &of);
    };
    let criterion = format!("the {settle}° over {} of the preset", duration(over));
    let warning = |code, sentence| Some(Flag::new(code, Severity::Warning, format!("{of}{sentence}")));
    match settling(&timed, Angle::from_degrees(settle), Time::from_seconds(over))? {
        Settling::Settled { before, .. } if before.is_empty() => None,
        Settling::Settled { from, before } => {
            let mean = |indices: &mut dyn Iterator<Item = usize>| {
                let angles: Vec<f64> = indices.map(|at| timed[at].angle.degrees()).collect();
                crate::measurement::reading::mean(&angles)
            };
            let early: std::collections::HashSet<usize> = before.iter().copied().collect();
            let off = mean(&mut before.iter().copied()) - mean(&mut (0..timed.len()).filter(|at| !early.contains(at)));
            let sentence = format!(
                "By {criterion} the angle had settled from {} on; the {} readings before, {off:+.4}° off in the mean, count \
                 too: leave them out and reduce again.",
                duration(from.seconds()),
                before.len()
            );
            warning("settled-late", sentence.replace(" -", " \u{2212}"))
        }
        Settling::Moving { change } => warning(
            "not-settled",
            format!(
                "The angle had not settled by {criterion}: in the last {} it changed by {:.4}°; wait for the temperature and \
                 read on.",
                duration(over),
                change.degrees()
            ),
        ),
        Settling::TooShort { span } => warning(
            "not-settled",
            format!(
                "The readings span {}, too little for {criterion}; read on.",
                duration(span.seconds())
            ),
        ),
    }
}

/// Where no time is known, the last readings stand for the settling criterion.
fn last_readings(group: &[&Reading], settle: f64, over: Option<f64>, of: &str) -> Option<Flag> {
    if group.len() < 2 {
        return None;
    }
    let last = group[group.len().saturating_sub(SETTLED_READINGS)..]
        .iter()
        .map(|reading| reading.angle.degrees());
    let n = last.len();
    let (low, high) = last.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), angle| {
        (low.min(angle), high.max(angle))
    });
    let range = high - low;
    if range > settle + 1e-9 {
        return Some(Flag::new(
            "not-settled",
            Severity::Warning,
            format!(
                "{of}The last {n} readings differ by {range:.4}°, more than the {settle}° of the preset; wait for the \
                 temperature and read again."
            ),
        ));
    }
    let over = over?;
    Some(Flag::new(
        "settling-not-timed",
        Severity::Note,
        format!(
            "{of}The preset wants {settle}° over {}, but not every reading carries its time; the last {n} agree within \
             {range:.4}°. Record the times to have it tested.",
            duration(over)
        ),
    ))
}

/// Holds a result against what the library has of a compound.
///
/// # Errors
/// When the library fails.
pub fn check_result(result: &mut SampleResult, library: &Library, compound: &Compound) -> Result<(), LibraryError> {
    let request = CheckRequest {
        compound: compound.id,
        mirror_image: false,
        measured: result.reduced.clone(),
        conditions: Conditions {
            temperature: result.temperature,
            line: result.line.clone(),
            solvent: result.solvent.clone(),
            concentration: result.reduced.concentration,
            basis: result.shown.conditions.basis.clone(),
            ..Conditions::default()
        },
        cell: Some(result.setup.length),
        blank: result.shown.angle.blank_degrees.map(Angle::from_degrees),
        form: None,
        excess: None,
    };
    let found = check(library, &request, &CheckSettings::default())?;
    result.shown.check = Some(Box::new(found));
    Ok(())
}
