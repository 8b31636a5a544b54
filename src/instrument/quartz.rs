//! The rotation of quartz along its optic axis, per millimetre of plate.
//!
//! Magnitudes: a dextrorotatory plate turns by +, a laevorotatory one by −. A plate's certificate comes before these
//! figures; they serve to see whether a plate and a reading belong together.

use super::StandardError;
use crate::quantity::{Angle, Length, Temperature, Wavelength};

/// A rotation per length of quartz, held in degrees per mm.
#[derive(Clone, Copy, Debug, PartialEq, PartialOrd)]
pub struct RotationPerLength(f64);

impl RotationPerLength {
    /// Makes a rotation per length from a number in degrees per mm.
    pub const fn from_degrees_per_millimetre(value: f64) -> Self {
        Self(value)
    }

    /// The number in degrees per mm.
    pub const fn degrees_per_millimetre(self) -> f64 {
        self.0
    }

    /// The rotation of a plate of this thickness.
    pub const fn over(self, thickness: Length) -> Angle {
        Angle::from_degrees(self.0 * thickness.millimetres())
    }
}

impl std::fmt::Display for RotationPerLength {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match f.precision() {
            Some(digits) => write!(f, "{:.*} °/mm", digits, self.0),
            None => write!(f, "{} °/mm", self.0),
        }
    }
}

/// The wavelengths of the formula, nm in air.
const LOWEST_NANOMETRES: f64 = 237.3;
const HIGHEST_NANOMETRES: f64 = 2500.0;

/// The rotation of quartz at 20 °C, a magnitude: `ρ = 9.5639/(λ² − 0.0127493) − 2.3113/(λ² − 0.000974) − 0.1905` degrees per
/// mm, with the air wavelength λ in µm.
///
/// Lowry and Coode-Adams, Phil. Trans. R. Soc. A 226 (1927) 391; the coefficients were read in a secondary quotation. From
/// 328 to 760 nm the formula lies within 0.06 degrees per mm of the measurements of Soret and Sarasin. The wavelength is
/// converted to air where it is given in vacuum.
///
/// # Errors
/// When the air wavelength is not from 237.3 to 2500 nm.
pub fn at_20_celsius(wavelength: Wavelength) -> Result<RotationPerLength, StandardError> {
    let nanometres = wavelength.to_air().nanometres();
    if !(LOWEST_NANOMETRES..=HIGHEST_NANOMETRES).contains(&nanometres) {
        return Err(StandardError::Wavelength {
            standard: "rotation of quartz",
            wavelength,
            lowest: LOWEST_NANOMETRES,
            highest: HIGHEST_NANOMETRES,
            medium: "air",
        });
    }
    let square = (nanometres * 1e-3).powi(2);
    Ok(RotationPerLength(
        9.5639 / (square - 0.012_749_3) - 2.3113 / (square - 0.000_974) - 0.1905,
    ))
}

/// How the rotation of quartz grows with temperature, as a factor on the rotation at 0 °C; t in °C.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum TemperatureLaw {
    /// `1 + 0.000146 t`, from 0 to 100 °C. Wiley, Principles and Practice of Agricultural Analysis, vol. 3.
    Wiley,
    /// `1 + 0.0000999 t + 0.000000318 t²`. Sohncke, in Winkelmann, Handbuch der Physik, Optik.
    Sohncke,
    /// `1 + 0.000179 t`. Soret and Sarasin, in Winkelmann, Handbuch der Physik, Optik.
    SoretSarasin,
}

/// The temperatures the laws are used at, °C: Wiley names 0 to 100; the others are taken to reach as far.
const LOWEST_CELSIUS: f64 = 0.0;
const HIGHEST_CELSIUS: f64 = 100.0;

impl TemperatureLaw {
    /// All laws.
    pub const ALL: [Self; 3] = [Self::Wiley, Self::Sohncke, Self::SoretSarasin];

    /// The rotation at a temperature over the rotation at 0 °C.
    ///
    /// # Errors
    /// When the temperature is not from 0 to 100 °C.
    pub fn factor_from_0_celsius(self, temperature: Temperature) -> Result<f64, StandardError> {
        let t = temperature.celsius();
        if !(LOWEST_CELSIUS..=HIGHEST_CELSIUS).contains(&t) {
            return Err(StandardError::Temperature {
                celsius: t,
                lowest: LOWEST_CELSIUS,
                highest: HIGHEST_CELSIUS,
            });
        }
        Ok(match self {
            Self::Wiley => 1.0 + 0.000_146 * t,
            Self::Sohncke => 1.0 + t * (0.000_099_9 + 0.000_000_318 * t),
            Self::SoretSarasin => 1.0 + 0.000_179 * t,
        })
    }
}

/// The rotation of quartz at a temperature: [`at_20_celsius`] times the ratio of the law's factors.
///
/// # Errors
/// When wavelength or temperature lies outside the range of its formula.
pub fn at(
    wavelength: Wavelength,
    temperature: Temperature,
    law: TemperatureLaw,
) -> Result<RotationPerLength, StandardError> {
    let ratio = law.factor_from_0_celsius(temperature)? / law.factor_from_0_celsius(Temperature::from_celsius(20.0))?;
    Ok(RotationPerLength(at_20_celsius(wavelength)?.0 * ratio))
}
