//! One measurement as a person gives it, made into a specific rotation with its uncertainty and conditions.

use crate::compare::Conditions;
use crate::measurement::{self, Amount, Defaults, Reduced};
use crate::quantity::{
    Angle, Concentration, ConcentrationUnit, Density, Fraction, Length, Mass, MolarMass, Printed, QuantityError,
    SpecificRotation, SpectralLine, StatedConcentration, Temperature, Volume,
};
use crate::solvent::Solvent;

/// What was measured, and at which conditions; what is not given is unknown.
#[derive(Clone, Debug, Default)]
pub struct Measured {
    /// Measured specific rotation, deg mL g⁻¹ dm⁻¹, with its digits.
    pub value: Option<Printed>,
    /// Observed angle, blank subtracted.
    pub angle: Option<Angle>,
    /// Standard uncertainty of the value, or of the angle in degrees where an angle is given.
    pub uncertainty: Option<Printed>,
    /// Cell length.
    pub cell: Option<Length>,
    /// Concentration of the solution.
    pub conc: Option<StatedConcentration>,
    /// Mass dissolved.
    pub mass: Option<Mass>,
    /// Volume it was made up to.
    pub volume: Option<Volume>,
    /// Density: of the neat liquid, or of the solution where the concentration is in % w/w.
    pub density: Option<Density>,
    /// Solvent, or neat.
    pub solvent: Option<Solvent>,
    /// Temperature.
    pub temperature: Option<Temperature>,
    /// Light.
    pub line: Option<SpectralLine>,
}

/// Why what was given does not make a specific rotation.
#[derive(Debug, thiserror::Error)]
pub enum MeasuredError {
    /// Neither a value nor an angle.
    #[error("nothing was measured; give --value or --angle")]
    Nothing,
    /// An uncertainty that is zero or less.
    #[error("--uncertainty is {0}, but it must be above zero")]
    Uncertainty(Printed),
    /// An angle without a cell.
    #[error("an angle is no specific rotation without the cell length; give --cell, for example --cell \"100 mm\"")]
    NoCell,
    /// An angle of a solution without its concentration.
    #[error(
        "an angle is no specific rotation without the concentration; give --conc, --mass with --volume, or --density of \
         a neat liquid"
    )]
    NoConcentration,
    /// A density alone, with a solvent.
    #[error(
        "the concentration in {0} is missing and a density alone stands for a neat liquid; give --conc, or --mass and \
         --volume"
    )]
    DensityInSolvent(Solvent),
    /// A density beside a concentration that needs none.
    #[error(
        "a density is given beside {0}, which needs none: it turns % w/w into g/100 mL, or stands alone for a neat \
         liquid; leave one of the two out"
    )]
    DensityBeside(String),
    /// A unit that cannot be converted.
    #[error(transparent)]
    Quantity(#[from] QuantityError),
}

/// The one rule for a density: it turns a concentration by mass (% w/w, mg/g) into a mass per volume, or stands alone for a
/// neat liquid; beside any other concentration it has no use, and would be passed over in silence.
///
/// # Errors
/// When it stands beside a concentration per volume, or beside mass and volume.
pub fn density_has_a_use(
    density: Option<Density>,
    conc: Option<StatedConcentration>,
    has_mass: bool,
) -> Result<(), MeasuredError> {
    match (density, conc) {
        (Some(_), Some(stated)) if stated.unit != ConcentrationUnit::PercentByMass => {
            Err(MeasuredError::DensityBeside(format!("the concentration {stated}")))
        }
        (Some(_), None) if has_mass => Err(MeasuredError::DensityBeside("mass and volume".to_owned())),
        _ => Ok(()),
    }
}

impl Measured {
    /// The conditions of the measurement at the concentration it was reduced with.
    pub fn conditions(&self, concentration: Option<Concentration>) -> Conditions {
        let is_neat = self.density.is_some() && self.conc.is_none() && self.mass.is_none();
        Conditions {
            temperature: self.temperature,
            line: self.line.clone(),
            solvent: self.solvent.clone().or_else(|| is_neat.then_some(Solvent::Neat)),
            concentration,
            ..Conditions::default()
        }
    }

    /// The stated standard uncertainty of the value or the angle, whichever is given.
    ///
    /// # Errors
    /// When it is zero or less.
    pub fn stated_uncertainty(&self) -> Result<Option<f64>, MeasuredError> {
        match self.uncertainty {
            Some(u) if u.value() > 0.0 => Ok(Some(u.value())),
            Some(u) => Err(MeasuredError::Uncertainty(u)),
            None => Ok(None),
        }
    }

    /// The concentration, stated or from mass and volume.
    ///
    /// # Errors
    /// When its unit needs a molar mass or a density that is not known, or a density stands beside one that needs none.
    pub fn concentration(&self, molar_mass: Option<MolarMass>) -> Result<Option<Concentration>, MeasuredError> {
        density_has_a_use(self.density, self.conc, self.mass.is_some())?;
        Ok(match (self.conc, self.mass, self.volume) {
            (Some(stated), ..) => Some(stated.to_mass_concentration(molar_mass, self.density)?),
            (None, Some(mass), Some(volume)) => Some(Amount::MassInVolume { mass, volume }.concentration()),
            _ => None,
        })
    }

    /// The measured specific rotation and its uncertainty.
    ///
    /// # Errors
    /// When what was given does not make a specific rotation.
    pub fn reduced(&self, molar_mass: Option<MolarMass>) -> Result<Reduced, MeasuredError> {
        let defaults = Defaults::built_in();
        let uncertainty = self.stated_uncertainty()?;
        let concentration = self.concentration(molar_mass)?;
        if let Some(value) = self.value {
            let rotation = SpecificRotation::from_conventional(value.value());
            return Ok(match uncertainty {
                Some(u) => measurement::stated(rotation, SpecificRotation::from_conventional(u), concentration),
                None => measurement::of_value(rotation, value.half_last_digit(), concentration, self.cell, &defaults),
            });
        }
        let angle = self.angle.ok_or(MeasuredError::Nothing)?;
        let cell = self.cell.ok_or(MeasuredError::NoCell)?;
        Ok(measurement::from_angle(
            angle,
            uncertainty.map(Angle::from_degrees),
            cell,
            self.amount(concentration)?,
            &defaults,
        ))
    }

    /// How much substance the light met.
    fn amount(&self, concentration: Option<Concentration>) -> Result<Amount, MeasuredError> {
        if let (Some(stated), Some(density)) = (self.conc, self.density) {
            return Ok(Amount::MassFraction {
                fraction: Fraction::from_percent(stated.value.value()),
                density,
            });
        }
        match (self.mass, self.volume, concentration, self.density) {
            (Some(mass), Some(volume), ..) => Ok(Amount::MassInVolume { mass, volume }),
            (_, _, Some(concentration), _) => Ok(Amount::Concentration(concentration)),
            (_, _, None, Some(density)) => match &self.solvent {
                None | Some(Solvent::Neat) => Ok(Amount::Neat(density)),
                Some(solvent) => Err(MeasuredError::DensityInSolvent(solvent.clone())),
            },
            _ => Err(MeasuredError::NoConcentration),
        }
    }
}
