//! Numbers with units: parse, convert, print.
//!
//! One type per quantity, so that no function takes several bare numbers that could be swapped. Inside, every
//! quantity is held in the one unit its type names. [`Printed`] keeps a number together with the digits it was
//! printed with, because the digits are evidence of its precision. Text with a unit is read by the `parse_…` functions; spectral
//! lines are [`SpectralLine`].

mod line;
mod parse;
mod printed;

pub use line::{Medium, ONE_LINE_NM, SpectralLine, Wavelength, WavelengthError};
pub use parse::{
    ConcentrationBasis, ConcentrationUnit, QuantityError, StatedConcentration, parse_angle, parse_concentration,
    parse_density, parse_length, parse_line, parse_mass, parse_molar_mass, parse_number, parse_percent,
    parse_temperature, parse_time, parse_volume,
};
pub use printed::{LEAST, MOST, Printed, PrintedError, round_to};

use serde::{Deserialize, Serialize};

/// Defines a quantity held as one `f64` in one unit.
macro_rules! quantity {
    ($(#[$doc:meta])* $name:ident, $make:ident, $get:ident, $unit:literal) => {
        $(#[$doc])*
        #[derive(Clone, Copy, Debug, PartialEq, PartialOrd, Serialize, Deserialize)]
        #[serde(transparent)]
        pub struct $name(f64);

        impl $name {
            #[doc = concat!("Makes the quantity from a number in ", $unit, ".")]
            pub const fn $make(value: f64) -> Self {
                Self(value)
            }

            #[doc = concat!("The number in ", $unit, ".")]
            pub const fn $get(self) -> f64 {
                self.0
            }
        }

        impl std::fmt::Display for $name {
            fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
                if let Some(digits) = f.precision() {
                    write!(f, "{:.*} {}", digits, self.0, $unit)
                } else {
                    write!(f, "{} {}", self.0, $unit)
                }
            }
        }
    };
}

quantity!(
    /// An observed rotation α or a difference of two; + is dextrorotatory (seen towards the source, clockwise).
    Angle, from_degrees, degrees, "°"
);
quantity!(
    /// The length of the light's way through the sample (cell length) l.
    Length, from_decimetres, decimetres, "dm"
);
quantity!(
    /// A mass.
    Mass, from_grams, grams, "g"
);
quantity!(
    /// A volume.
    Volume, from_millilitres, millilitres, "mL"
);
quantity!(
    /// A mass density ρ.
    Density, from_grams_per_millilitre, grams_per_millilitre, "g/mL"
);
quantity!(
    /// A mass concentration c in the unit of the rotation literature.
    Concentration, from_grams_per_100_millilitres, grams_per_100_millilitres, "g/100 mL"
);
quantity!(
    /// A time since a beginning, or a duration.
    Time, from_seconds, seconds, "s"
);
quantity!(
    /// A Celsius temperature.
    Temperature, from_celsius, celsius, "°C"
);
quantity!(
    /// A molar mass M.
    MolarMass, from_grams_per_mole, grams_per_mole, "g/mol"
);
quantity!(
    /// A specific rotation `[α]`, or a difference or standard uncertainty of one.
    SpecificRotation, from_conventional, conventional, "deg mL g⁻¹ dm⁻¹"
);
quantity!(
    /// A molar rotation `[M] = [α] M / 100`.
    MolarRotation, from_conventional, conventional, "deg cm² dmol⁻¹"
);
quantity!(
    /// A fraction of one: purity, enantiomeric excess, optical purity (signed where the field is signed).
    Fraction, from_ratio, ratio, "(1)"
);

impl Length {
    /// Makes a length from millimetres.
    pub const fn from_millimetres(value: f64) -> Self {
        Self(value / 100.0)
    }

    /// The length in millimetres.
    pub const fn millimetres(self) -> f64 {
        self.0 * 100.0
    }
}

/// 1 deg mL g⁻¹ dm⁻¹ in rad m² kg⁻¹: (π/180) rad × 10⁻⁶ m³ / (10⁻³ kg × 10⁻¹ m).
pub const SI_PER_CONVENTIONAL: f64 = std::f64::consts::PI / 180.0 * 1e-2;

impl SpecificRotation {
    /// The SI specific rotation αₘ in rad m² kg⁻¹.
    pub const fn radian_square_metres_per_kilogram(self) -> f64 {
        self.0 * SI_PER_CONVENTIONAL
    }

    /// The rotation of the mirror image.
    #[must_use]
    pub const fn mirrored(self) -> Self {
        Self(-self.0)
    }
}

impl Fraction {
    /// Makes a fraction from per cent.
    pub const fn from_percent(value: f64) -> Self {
        Self(value / 100.0)
    }

    /// The fraction in per cent.
    pub const fn percent(self) -> f64 {
        self.0 * 100.0
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Dimensional arithmetic (DESIGN, table of units) and ISO 592:1998: 26.00 g/100 mL, 200 mm, 20 °C, 34.62°, which
    /// the same standard prints as 604 mrad.
    #[test]
    fn si_value_follows_from_dimensions_and_the_sugar_scale() {
        let by_hand = std::f64::consts::PI / 180.0 * 1e-6 / (1e-3 * 1e-1);
        assert!((SI_PER_CONVENTIONAL - by_hand).abs() < 1e-18);
        let alpha = SpecificRotation::from_conventional(100.0 * 34.62 / (2.0 * 26.00));
        // αₘ · γ · l with γ = 260.0 kg/m³ and l = 0.2 m gives the angle in radians.
        let radians = alpha.radian_square_metres_per_kilogram() * 260.0 * 0.2;
        assert!((radians * 1e3 - 604.0).abs() < 0.5, "{radians}");
    }
}
