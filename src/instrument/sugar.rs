//! The international sugar scale: what a solution of sucrose rotates, and degrees of sugar (°Z) from an angle.
//!
//! 100 °Z is the rotation of the normal sugar solution, 26.0160 g of sucrose (weighed in vacuo) in 100.000 cm³ of water at
//! 20.00 °C in a cell of 200.000 mm, at 546.2271 nm in vacuum; water is 0 °Z, and the scale is linear between. GOST
//! 8.258-2013, Annex A, which restates the scale of ICUMSA.

use super::StandardError;
use crate::quantity::{Angle, Concentration, Length, Temperature, Wavelength};

/// Sucrose in the normal sugar solution, weighed in vacuo (GOST 8.258-2013, Annex A).
pub const NORMAL_CONCENTRATION: Concentration = Concentration::from_grams_per_100_millilitres(26.016);

/// The cell of the scale (GOST 8.258-2013, Annex A).
pub const CELL: Length = Length::from_decimetres(2.0);

/// The temperature of the scale (GOST 8.258-2013, Annex A).
pub const TEMPERATURE: Temperature = Temperature::from_celsius(20.0);

/// The defining wavelength, nm in vacuum: the green line of ¹⁹⁸Hg (GOST 8.258-2013, Annex A).
pub const DEFINING_NANOMETRES: f64 = 546.2271;

/// The angle of 100 °Z at the defining wavelength, degrees. The number is lost in the retrieved page of GOST 8.258-2013, but
/// its value at 589.44 nm, 34.626° ± 0.001°, over the value of its formula there gives 40.777° ± 0.001°, which is also what
/// ICUMSA SPS-1 and OIML R 14 have (from memory).
const DEFINING_ANGLE: f64 = 40.777;

/// Coefficients of λ⁰, λ⁻², λ⁻⁴ and λ⁻⁸ with λ in µm. The digits were read in GOST 8.258-2013, Annex A; the powers of ten and
/// the exponents of λ are lost there and were reconstructed, as the only set tried that returns both 40.777° and 34.626°.
const DISPERSION: [f64; 4] = [-1.7982e-3, 0.276_531_8, 6.557_36e-3, 1.038_25e-5];

/// The highest wavelength the formula is used at, nm: the standard names none, and infrared saccharimeters work at 882.6 nm.
const HIGHEST_NANOMETRES: f64 = 900.0;

/// A reading on the international sugar scale, in °Z.
#[derive(Clone, Copy, Debug, PartialEq, PartialOrd)]
pub struct SugarDegrees(f64);

impl SugarDegrees {
    /// Makes a reading from a number in °Z.
    pub const fn from_z(value: f64) -> Self {
        Self(value)
    }

    /// The number in °Z.
    pub const fn z(self) -> f64 {
        self.0
    }
}

impl std::fmt::Display for SugarDegrees {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match f.precision() {
            Some(digits) => write!(f, "{:.*} °Z", digits, self.0),
            None => write!(f, "{} °Z", self.0),
        }
    }
}

/// The rotation of the normal sugar solution, 100 °Z, in 200 mm at 20 °C: `40.777° (A + B/λ² + C/λ⁴ + D/λ⁸)` with the vacuum
/// wavelength λ in µm (GOST 8.258-2013, Annex A, partly reconstructed: see the constants in the source).
///
/// The wavelength is converted to vacuum where it is given in air.
///
/// # Errors
/// When the vacuum wavelength is below 546.2271 nm, where the standard's formula ends, or above 900 nm.
pub fn normal_solution(wavelength: Wavelength) -> Result<Angle, StandardError> {
    let nanometres = wavelength.to_vacuum().nanometres();
    // The air wavelength of the defining line converts back to within 10⁻⁶ nm.
    if !(DEFINING_NANOMETRES - 1e-6..=HIGHEST_NANOMETRES).contains(&nanometres) {
        return Err(StandardError::Wavelength {
            standard: "sugar scale",
            wavelength,
            lowest: DEFINING_NANOMETRES,
            highest: HIGHEST_NANOMETRES,
            medium: "vacuum",
        });
    }
    let inverse_square = (1e3 / nanometres).powi(2);
    let [a, b, c, d] = DISPERSION;
    let relative = a + inverse_square * (b + inverse_square * (c + inverse_square * inverse_square * d));
    Ok(Angle::from_degrees(DEFINING_ANGLE * relative))
}

/// The angle a reading on the scale means in 200 mm at 20 °C: linear from 0 to 100 °Z (GOST 8.258-2013, Annex A), and
/// continued beyond.
///
/// # Errors
/// As [`normal_solution`].
pub fn angle_of(reading: SugarDegrees, wavelength: Wavelength) -> Result<Angle, StandardError> {
    let whole = normal_solution(wavelength)?;
    Ok(Angle::from_degrees(whole.degrees() * reading.z() / 100.0))
}

/// The reading on the scale of an angle in 200 mm at 20 °C: `Z = 100 α / α(100 °Z)`.
///
/// # Errors
/// As [`normal_solution`].
pub fn reading_of(angle: Angle, wavelength: Wavelength) -> Result<SugarDegrees, StandardError> {
    let whole = normal_solution(wavelength)?;
    Ok(SugarDegrees(100.0 * angle.degrees() / whole.degrees()))
}
