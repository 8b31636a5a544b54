//! Wavelengths and spectral lines.

use serde::{Deserialize, Serialize};
use std::fmt;

/// The medium a wavelength is given in.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Medium {
    /// Standard air (15 °C, 101 325 Pa, dry, 0.045 % CO₂).
    Air,
    /// Vacuum, as in the constants of the international sugar scale.
    Vacuum,
}

/// A wavelength in nanometres in a named medium.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Wavelength {
    nanometres: f64,
    medium: Medium,
}

/// Why a number is no wavelength.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
#[error("{nanometres} nm is no wavelength of a polarimeter; it must lie from 180 to 2500 nm")]
pub struct WavelengthError {
    /// The number found.
    pub nanometres: f64,
}

impl Wavelength {
    /// Makes a wavelength in standard air.
    ///
    /// # Errors
    /// When it does not lie from 180 to 2500 nm.
    pub fn in_air(nanometres: f64) -> Result<Self, WavelengthError> {
        Self::new(nanometres, Medium::Air)
    }

    /// Makes a vacuum wavelength.
    ///
    /// # Errors
    /// When it does not lie from 180 to 2500 nm.
    pub fn in_vacuum(nanometres: f64) -> Result<Self, WavelengthError> {
        Self::new(nanometres, Medium::Vacuum)
    }

    fn new(nanometres: f64, medium: Medium) -> Result<Self, WavelengthError> {
        if (180.0..=2500.0).contains(&nanometres) {
            Ok(Self { nanometres, medium })
        } else {
            Err(WavelengthError { nanometres })
        }
    }

    /// The number of nanometres, in [`Wavelength::medium`].
    pub const fn nanometres(self) -> f64 {
        self.nanometres
    }

    /// The medium the number is given in.
    pub const fn medium(self) -> Medium {
        self.medium
    }

    /// The wavelength in standard air.
    ///
    /// Vacuum is converted with the dispersion formula of standard air by Ciddor, Appl. Opt. 35 (1996) 1566, eq. 1
    /// (0.045 % CO₂), which holds from 230 to 1690 nm.
    #[must_use]
    pub fn to_air(self) -> Self {
        match self.medium {
            Medium::Air => self,
            Medium::Vacuum => Self {
                nanometres: self.nanometres / refractive_index_of_air(self.nanometres),
                medium: Medium::Air,
            },
        }
    }

    /// The wavelength in vacuum (see [`Wavelength::to_air`]; the index is taken at the vacuum wavelength, found by
    /// three steps of substitution).
    #[must_use]
    pub fn to_vacuum(self) -> Self {
        match self.medium {
            Medium::Vacuum => self,
            Medium::Air => {
                let mut vacuum = self.nanometres;
                for _ in 0..3 {
                    vacuum = self.nanometres * refractive_index_of_air(vacuum);
                }
                Self {
                    nanometres: vacuum,
                    medium: Medium::Vacuum,
                }
            }
        }
    }
}

impl fmt::Display for Wavelength {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.medium {
            Medium::Air => write!(f, "{} nm", self.nanometres),
            Medium::Vacuum => write!(f, "{} nm (vacuum)", self.nanometres),
        }
    }
}

/// Refractive index of standard air at a vacuum wavelength in nm (Ciddor 1996, eq. 1): σ is the wavenumber in µm⁻¹,
/// `10⁸ (n − 1) = 5792105 / (238.0185 − σ²) + 167917 / (57.362 − σ²)`.
fn refractive_index_of_air(vacuum_nanometres: f64) -> f64 {
    let sigma = 1e3 / vacuum_nanometres;
    let sigma2 = sigma * sigma;
    1.0 + 1e-8 * (5_792_105.0 / (238.0185 - sigma2) + 167_917.0 / (57.362 - sigma2))
}

/// The light a rotation was read with, as printed.
#[derive(Clone, Debug, PartialEq)]
pub enum SpectralLine {
    /// The sodium D doublet, 589.0 and 589.6 nm, mean 589.3 nm (air).
    SodiumD,
    /// A wavelength printed as a number.
    At(Wavelength),
    /// A line printed by a letter or word without a number, such as `C`, `Hg` or `red`.
    Named(String),
}

/// Mean wavelength of the sodium D doublet in air, nm (D₁ 589.592, D₂ 588.995; common practice of polarimetry).
const SODIUM_D_NM: f64 = 589.3;

/// Lines known by name: name, nm in air. Fraunhofer and mercury lines: common practice; the mercury lines as listed in
/// the pharmacopoeial chapters on optical rotation (578, 546.1, 435.8, 404.7, 365.0 nm).
const NAMED_LINES: [(&str, f64); 6] = [
    ("C", 656.3),
    ("F", 486.1),
    ("G'", 434.0),
    ("Hg", 546.1),
    ("e", 546.1),
    ("HeNe", 632.8),
];

/// Wavelengths this near are one line, nm: D is written 589, 589.3 and by its letter.
pub const ONE_LINE_NM: f64 = 0.6;

impl SpectralLine {
    /// A line at a number of nanometres in air. `589`, `589.0` and `589.3` are taken as the sodium D line: nothing in
    /// print tells a filtered lamp from a sodium lamp.
    ///
    /// # Errors
    /// When it does not lie from 180 to 2500 nm.
    pub fn at_nanometres(nanometres: f64) -> Result<Self, WavelengthError> {
        if (588.9..=589.7).contains(&nanometres) {
            return Ok(Self::SodiumD);
        }
        Ok(Self::At(Wavelength::in_air(nanometres)?))
    }

    /// The wavelength in air, when the line's name is known or a number was printed.
    pub fn wavelength(&self) -> Option<Wavelength> {
        match self {
            Self::SodiumD => Some(Wavelength {
                nanometres: SODIUM_D_NM,
                medium: Medium::Air,
            }),
            Self::At(wavelength) => Some(wavelength.to_air()),
            Self::Named(name) => NAMED_LINES
                .iter()
                .find(|(known, _)| known == name)
                .map(|&(_, nanometres)| Wavelength {
                    nanometres,
                    medium: Medium::Air,
                }),
        }
    }

    /// Whether two lines are the same light, to within [`ONE_LINE_NM`].
    pub fn same_light(&self, other: &Self) -> bool {
        match (self.wavelength(), other.wavelength()) {
            (Some(a), Some(b)) => (a.nanometres() - b.nanometres()).abs() <= ONE_LINE_NM,
            _ => self == other,
        }
    }
}

impl fmt::Display for SpectralLine {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::SodiumD => f.write_str("D"),
            Self::At(wavelength) => write!(f, "{}", wavelength.nanometres()),
            Self::Named(name) => f.write_str(name),
        }
    }
}

/// As it is written: `D`, `546.1`, `Hg`.
impl Serialize for SpectralLine {
    fn serialize<S: serde::Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(self)
    }
}

impl<'de> Deserialize<'de> for SpectralLine {
    fn deserialize<D: serde::Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        let text = String::deserialize(deserializer)?;
        super::parse_line(&text).map_err(serde::de::Error::custom)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// GOST 8.258-2013 Annex A gives the mercury line of the sugar scale as 546.2271 nm in vacuum; the same line is
    /// listed as 546.075 nm in air in the tables of spectral lines (from memory: 546.0750). Sodium: 589.4400 nm in
    /// vacuum is the mean of the doublet, 589.277 nm in air.
    #[test]
    fn sugar_scale_lines_convert_to_air() {
        let green = Wavelength::in_vacuum(546.2271).unwrap().to_air().nanometres();
        assert!((green - 546.0753).abs() < 5e-4, "{green}");
        let yellow = Wavelength::in_vacuum(589.44).unwrap().to_air().nanometres();
        assert!((yellow - 589.2767).abs() < 1e-3, "{yellow}");
        let back = Wavelength::in_air(green).unwrap().to_vacuum().nanometres();
        assert!((back - 546.2271).abs() < 1e-7, "{back}");
    }

    #[test]
    fn numbers_around_589_are_the_sodium_line() {
        for nm in [589.0, 589.3, 589.6] {
            assert_eq!(SpectralLine::at_nanometres(nm).unwrap(), SpectralLine::SodiumD);
        }
        assert!(SpectralLine::at_nanometres(20.0).is_err());
    }
}
