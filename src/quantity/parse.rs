//! A number and its unit as a person types them. A bare number is in the unit the option's help names: mm, g, mL, °C,
//! g/100 mL, degree, nm.

use super::{
    Angle, Concentration, Density, Fraction, Length, Mass, MolarMass, Printed, PrintedError, SpectralLine, Temperature,
    Time, Volume, WavelengthError,
};
use serde::{Deserialize, Serialize};
use std::fmt;

/// Why a text is no quantity.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum QuantityError {
    /// No number stands at the start.
    #[error("{quantity} \"{text}\" does not start with a number; write it like {example}")]
    NoNumber {
        /// The quantity wanted.
        quantity: &'static str,
        /// The text found.
        text: String,
        /// A text that would do.
        example: &'static str,
    },
    /// The unit is not one of this quantity.
    #[error("{quantity} \"{text}\": the unit \"{unit}\" is not known here; use one of {known}")]
    UnknownUnit {
        /// The quantity wanted.
        quantity: &'static str,
        /// The text found.
        text: String,
        /// The unit found.
        unit: String,
        /// The units understood.
        known: &'static str,
    },
    /// The number is outside what can be.
    #[error("{quantity} \"{text}\" is outside what can be: it must be {range}")]
    OutOfRange {
        /// The quantity wanted.
        quantity: &'static str,
        /// The text found.
        text: String,
        /// What it must be, in words.
        range: &'static str,
    },
    /// The wavelength is no wavelength of a polarimeter.
    #[error(transparent)]
    Wavelength(#[from] WavelengthError),
    /// A concentration in mol/L without the molar mass.
    #[error(
        "a concentration in mol/L needs the molar mass of the substance, which is not known here; give it in g/100 mL"
    )]
    MolarMassMissing,
    /// A concentration in per cent by mass without the density of the solution.
    #[error("a concentration in % w/w needs the density of the solution (--density \"1.02 g/mL\")")]
    DensityMissing,
}

/// Splits a text into its leading number and the unit behind it.
fn split_number<'a>(
    text: &'a str,
    quantity: &'static str,
    example: &'static str,
) -> Result<(Printed, &'a str), QuantityError> {
    let text = text.trim();
    let is_number_part = |c: char| {
        c.is_ascii_digit()
            || matches!(
                c,
                '.' | ',' | '-' | '+' | '\u{2212}' | '\u{2010}'..='\u{2014}' | '\u{FE63}' | '\u{FF0D}'
            )
    };
    let mut end = 0;
    let mut seen_digit = false;
    for (at, c) in text.char_indices() {
        let exponent = seen_digit
            && matches!(c, 'e' | 'E')
            && text[at + 1..]
                .trim_start_matches(['+', '-'])
                .starts_with(|c: char| c.is_ascii_digit());
        let sign_of_exponent = matches!(c, '+' | '-') && text[..at].ends_with(['e', 'E']);
        let inner_sign = seen_digit && matches!(c, '-' | '+' | '\u{2212}' | '\u{2010}'..='\u{2014}');
        if (is_number_part(c) && !inner_sign) || exponent || sign_of_exponent || (c == ' ' && !seen_digit) {
            seen_digit |= c.is_ascii_digit();
            end = at + c.len_utf8();
        } else {
            break;
        }
    }
    let number: Printed = text[..end]
        .parse()
        .map_err(|error| not_read(&error, quantity, text, example))?;
    Ok((number, text[end..].trim()))
}

/// The unit's text with signs and spacing brought to one form.
fn plain_unit(unit: &str) -> String {
    unit.chars()
        .filter_map(|c| match c {
            ' ' | '\u{00A0}' | '\u{202F}' | '^' => None,
            '\u{00B5}' | '\u{03BC}' => Some('u'),
            '\u{00B3}' => Some('3'),
            '\u{00B2}' => Some('2'),
            '\u{00BA}' => Some('°'),
            c => Some(c),
        })
        .collect()
}

/// Reads a bare number.
///
/// # Errors
/// When the text is not a number.
pub fn parse_number(text: &str) -> Result<Printed, QuantityError> {
    text.parse().map_err(|error| not_read(&error, "number", text, "-49.1"))
}

/// Why a number was not read: there is none, or none that any bench has.
fn not_read(error: &PrintedError, quantity: &'static str, text: &str, example: &'static str) -> QuantityError {
    let text = text.to_owned();
    match error {
        PrintedError::OutOfRange { .. } => QuantityError::OutOfRange {
            quantity,
            text,
            range: "zero, or of a size from 0.000000001 to 1000000000",
        },
        PrintedError::NoNumber { .. } => QuantityError::NoNumber {
            quantity,
            text,
            example,
        },
    }
}

/// Reads a quantity whose unit is one of `units` (name, factor to the internal unit); a bare number has the first.
fn parse_scaled(
    text: &str,
    quantity: &'static str,
    example: &'static str,
    known: &'static str,
    units: &[(&str, f64)],
) -> Result<f64, QuantityError> {
    let (number, unit) = split_number(text, quantity, example)?;
    let unit = plain_unit(unit);
    if unit.is_empty() {
        return Ok(number.value() * units[0].1);
    }
    match units.iter().find(|(name, _)| *name == unit) {
        Some((_, factor)) => Ok(number.value() * factor),
        None => Err(QuantityError::UnknownUnit {
            quantity,
            text: text.trim().to_owned(),
            unit,
            known,
        }),
    }
}

fn positive(value: f64, quantity: &'static str, text: &str, range: &'static str) -> Result<f64, QuantityError> {
    if value > 0.0 && value.is_finite() {
        Ok(value)
    } else {
        Err(QuantityError::OutOfRange {
            quantity,
            text: text.trim().to_owned(),
            range,
        })
    }
}

/// Reads an angle; a bare number is in degrees.
///
/// # Errors
/// When the text is no angle or the unit is none of °, deg, mdeg, ′, rad, mrad.
pub fn parse_angle(text: &str) -> Result<Angle, QuantityError> {
    let degree = 180.0 / std::f64::consts::PI;
    let units = [
        ("°", 1.0),
        ("deg", 1.0),
        ("degree", 1.0),
        ("degrees", 1.0),
        ("mdeg", 1e-3),
        ("m°", 1e-3),
        ("'", 1.0 / 60.0),
        ("′", 1.0 / 60.0),
        ("arcmin", 1.0 / 60.0),
        ("rad", degree),
        ("mrad", degree * 1e-3),
    ];
    parse_scaled(text, "angle", "\"-0.482 deg\"", "deg, mdeg, arcmin, rad, mrad", &units).map(Angle::from_degrees)
}

/// Reads a cell length; a bare number is in millimetres.
///
/// # Errors
/// When the text is no length, the unit is none of mm, cm, dm, m, in, or it is not above zero.
pub fn parse_length(text: &str) -> Result<Length, QuantityError> {
    let units = [("mm", 1.0), ("cm", 0.1), ("dm", 1.0), ("m", 10.0), ("in", 0.254)];
    let (_, unit) = split_number(text, "cell length", "\"100 mm\"")?;
    let value = parse_scaled(text, "cell length", "\"100 mm\"", "mm, cm, dm, m", &units)?;
    let value = positive(value, "cell length", text, "above zero")?;
    // Millimetres are divided, as everywhere: 219.79 · 0.01 and 219.79 / 100 differ in the last bit.
    Ok(match plain_unit(unit).as_str() {
        "" | "mm" => Length::from_millimetres(value),
        _ => Length::from_decimetres(value),
    })
}

/// Reads a mass; a bare number is in grams.
///
/// # Errors
/// When the text is no mass, the unit is none of kg, g, mg, µg, or it is not above zero.
pub fn parse_mass(text: &str) -> Result<Mass, QuantityError> {
    let units = [("g", 1.0), ("mg", 1e-3), ("ug", 1e-6), ("kg", 1e3)];
    let value = parse_scaled(text, "mass", "\"102 mg\"", "g, mg, µg, kg", &units)?;
    positive(value, "mass", text, "above zero").map(Mass::from_grams)
}

/// Reads a volume; a bare number is in millilitres.
///
/// # Errors
/// When the text is no volume, the unit is none of mL, L, µL, cm³, dm³, or it is not above zero.
pub fn parse_volume(text: &str) -> Result<Volume, QuantityError> {
    let units = [
        ("mL", 1.0),
        ("ml", 1.0),
        ("L", 1e3),
        ("l", 1e3),
        ("uL", 1e-3),
        ("ul", 1e-3),
        ("cm3", 1.0),
        ("cc", 1.0),
        ("dm3", 1e3),
    ];
    let value = parse_scaled(text, "volume", "\"10 mL\"", "mL, L, µL, cm3, dm3", &units)?;
    positive(value, "volume", text, "above zero").map(Volume::from_millilitres)
}

/// Reads a density; a bare number is in g/mL.
///
/// # Errors
/// When the text is no density, the unit is not known, or it does not lie above 0 and below 25 g/mL.
pub fn parse_density(text: &str) -> Result<Density, QuantityError> {
    let units = [
        ("g/mL", 1.0),
        ("g/ml", 1.0),
        ("g/cm3", 1.0),
        ("kg/L", 1.0),
        ("kg/m3", 1e-3),
        ("g/L", 1e-3),
    ];
    let value = parse_scaled(text, "density", "\"0.789 g/mL\"", "g/mL, g/cm3, kg/m3", &units)?;
    let range = "above 0 and below 25 g/mL";
    if value >= 25.0 {
        return Err(QuantityError::OutOfRange {
            quantity: "density",
            text: text.trim().to_owned(),
            range,
        });
    }
    positive(value, "density", text, range).map(Density::from_grams_per_millilitre)
}

/// Reads a molar mass; a bare number is in g/mol.
///
/// # Errors
/// When the text is no molar mass or it is not above zero.
pub fn parse_molar_mass(text: &str) -> Result<MolarMass, QuantityError> {
    let units = [("g/mol", 1.0), ("kg/mol", 1e3), ("Da", 1.0), ("kDa", 1e3)];
    let value = parse_scaled(text, "molar mass", "\"156.27 g/mol\"", "g/mol, kg/mol", &units)?;
    positive(value, "molar mass", text, "above zero").map(MolarMass::from_grams_per_mole)
}

/// Reads a temperature; a bare number is in °C.
///
/// # Errors
/// When the text is no temperature or it does not lie from −100 to 300 °C.
pub fn parse_temperature(text: &str) -> Result<Temperature, QuantityError> {
    let (number, unit) = split_number(text, "temperature", "\"20 °C\"")?;
    let celsius = match plain_unit(unit).as_str() {
        "" | "°C" | "C" | "degC" => number.value(),
        "K" => number.value() - 273.15,
        "°F" | "F" | "degF" => (number.value() - 32.0) / 1.8,
        other => {
            return Err(QuantityError::UnknownUnit {
                quantity: "temperature",
                text: text.trim().to_owned(),
                unit: other.to_owned(),
                known: "°C, K, °F",
            });
        }
    };
    if (-100.0..=300.0).contains(&celsius) {
        Ok(Temperature::from_celsius(celsius))
    } else {
        Err(QuantityError::OutOfRange {
            quantity: "temperature",
            text: text.trim().to_owned(),
            range: "from -100 to 300 °C",
        })
    }
}

/// Reads a time or a duration; a bare number is in seconds.
///
/// # Errors
/// When the text is no time or the unit is none of ms, s, min, h, d.
pub fn parse_time(text: &str) -> Result<Time, QuantityError> {
    let units = [
        ("s", 1.0),
        ("sec", 1.0),
        ("ms", 1e-3),
        ("min", 60.0),
        ("h", 3600.0),
        ("d", 86400.0),
    ];
    parse_scaled(text, "time", "\"90 s\"", "s, min, h, d", &units).map(Time::from_seconds)
}

/// Reads a spectral line: `D`, `Na`, `Hg`, a letter of a known line, or a wavelength with nm, Å or µm.
///
/// # Errors
/// When the text is neither, or the number is no wavelength of a polarimeter.
pub fn parse_line(text: &str) -> Result<SpectralLine, QuantityError> {
    match text.trim() {
        "D" | "d" | "Na" | "NaD" | "Na D" | "sodium" | "sodium D" | "sodium-D" => return Ok(SpectralLine::SodiumD),
        "Hg" | "mercury" | "mercury green" => return Ok(SpectralLine::Named("Hg".to_owned())),
        "HeNe" | "He-Ne" => return Ok(SpectralLine::at_nanometres(632.8)?),
        name @ ("C" | "F" | "G'" | "e") => return Ok(SpectralLine::Named(name.to_owned())),
        _ => {}
    }
    let units = [("nm", 1.0), ("Å", 0.1), ("\u{212B}", 0.1), ("A", 0.1), ("um", 1e3)];
    let nanometres = parse_scaled(text, "line", "D or \"546 nm\"", "D, Hg, nm, Å, µm", &units)?;
    Ok(SpectralLine::at_nanometres(nanometres)?)
}

/// What a concentration is counted per.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ConcentrationBasis {
    /// Mass per volume of solution.
    MassPerVolume,
    /// Mass per mass of solution: needs the density of the solution.
    MassPerMass,
    /// Amount of substance per volume of solution: needs the molar mass.
    AmountPerVolume,
}

/// The units concentrations are printed in.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub enum ConcentrationUnit {
    /// g per 100 mL of solution, also for a bare `c = x`.
    #[serde(rename = "g/100mL")]
    GramsPer100Millilitres,
    /// A bare per cent; taken as g per 100 mL, the literature's habit.
    #[serde(rename = "%")]
    Percent,
    /// Per cent by mass.
    #[serde(rename = "% w/w")]
    PercentByMass,
    /// g per mL.
    #[serde(rename = "g/mL")]
    GramsPerMillilitre,
    /// mg per mL, the same as g per L.
    #[serde(rename = "mg/mL")]
    MilligramsPerMillilitre,
    /// mg per L.
    #[serde(rename = "mg/L")]
    MilligramsPerLitre,
    /// mol per L.
    #[serde(rename = "mol/L")]
    MolesPerLitre,
}

impl ConcentrationUnit {
    /// All units, in the order of their definition.
    pub const ALL: [Self; 7] = [
        Self::GramsPer100Millilitres,
        Self::Percent,
        Self::PercentByMass,
        Self::GramsPerMillilitre,
        Self::MilligramsPerMillilitre,
        Self::MilligramsPerLitre,
        Self::MolesPerLitre,
    ];

    /// The unit's name, as it is stored and exchanged.
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::GramsPer100Millilitres => "g/100mL",
            Self::Percent => "%",
            Self::PercentByMass => "% w/w",
            Self::GramsPerMillilitre => "g/mL",
            Self::MilligramsPerMillilitre => "mg/mL",
            Self::MilligramsPerLitre => "mg/L",
            Self::MolesPerLitre => "mol/L",
        }
    }

    /// The unit with this stored name.
    pub fn from_name(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|unit| unit.as_str() == name)
    }

    /// What the unit counts per.
    pub const fn basis(self) -> ConcentrationBasis {
        match self {
            Self::PercentByMass => ConcentrationBasis::MassPerMass,
            Self::MolesPerLitre => ConcentrationBasis::AmountPerVolume,
            _ => ConcentrationBasis::MassPerVolume,
        }
    }
}

impl fmt::Display for ConcentrationUnit {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.as_str())
    }
}

/// A concentration as stated: digits and unit, not yet converted.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct StatedConcentration {
    /// The number.
    pub value: Printed,
    /// Its unit.
    pub unit: ConcentrationUnit,
}

impl StatedConcentration {
    /// The mass concentration c in g per 100 mL.
    ///
    /// mol/L: `c = n M / 10`; % w/w: `c = w ρ` with w in per cent and ρ the density of the solution in g/mL.
    ///
    /// # Errors
    /// When the unit needs the molar mass or the density of the solution and it is not given.
    pub fn to_mass_concentration(
        self,
        molar_mass: Option<MolarMass>,
        density_of_solution: Option<Density>,
    ) -> Result<Concentration, QuantityError> {
        let value = self.value.value();
        let grams_per_100_millilitres = match self.unit {
            ConcentrationUnit::GramsPer100Millilitres | ConcentrationUnit::Percent => value,
            ConcentrationUnit::GramsPerMillilitre => value * 100.0,
            ConcentrationUnit::MilligramsPerMillilitre => value * 0.1,
            ConcentrationUnit::MilligramsPerLitre => value * 1e-4,
            ConcentrationUnit::PercentByMass => {
                value
                    * density_of_solution
                        .ok_or(QuantityError::DensityMissing)?
                        .grams_per_millilitre()
            }
            ConcentrationUnit::MolesPerLitre => {
                value * molar_mass.ok_or(QuantityError::MolarMassMissing)?.grams_per_mole() / 10.0
            }
        };
        Ok(Concentration::from_grams_per_100_millilitres(grams_per_100_millilitres))
    }
}

impl fmt::Display for StatedConcentration {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} {}", self.value, self.unit)
    }
}

/// Reads a concentration; a bare number is in g per 100 mL.
///
/// # Errors
/// When the text is no concentration, the unit is not known, or it is not above zero.
pub fn parse_concentration(text: &str) -> Result<StatedConcentration, QuantityError> {
    use ConcentrationUnit as U;
    const QUANTITY: &str = "concentration";
    let (number, unit) = split_number(text, QUANTITY, "\"1.0 g/100mL\"")?;
    // Units that are a power of ten of a stored one are rewritten, so that the digits stay as printed.
    let (unit, shift) = match plain_unit(unit).as_str() {
        "" | "g/100mL" | "g/100ml" | "g/dL" | "g/dl" | "g/100cm3" | "%w/v" | "%(w/v)" | "%m/v" => {
            (U::GramsPer100Millilitres, 0)
        }
        "%" => (U::Percent, 0),
        "%w/w" | "%(w/w)" | "wt%" | "%wt" | "%m/m" | "%(m/m)" | "g/100g" => (U::PercentByMass, 0),
        "mg/g" | "g/kg" => (U::PercentByMass, -1),
        "g/mL" | "g/ml" | "g/cm3" | "kg/L" => (U::GramsPerMillilitre, 0),
        "mg/mL" | "mg/ml" | "g/L" | "g/l" | "kg/m3" | "g/dm3" | "mg/cm3" => (U::MilligramsPerMillilitre, 0),
        "mg/L" | "mg/l" | "ug/mL" | "ug/ml" => (U::MilligramsPerLitre, 0),
        "mg/100mL" | "mg/dL" => (U::GramsPer100Millilitres, -3),
        "mol/L" | "mol/l" | "M" | "mol/dm3" => (U::MolesPerLitre, 0),
        "mmol/L" | "mM" | "mol/m3" => (U::MolesPerLitre, -3),
        other => {
            return Err(QuantityError::UnknownUnit {
                quantity: QUANTITY,
                text: text.trim().to_owned(),
                unit: other.to_owned(),
                known: "g/100mL, g/mL, g/L, mg/mL, mg/L, %, % w/w, mg/g, mol/L, mmol/L",
            });
        }
    };
    positive(number.value(), QUANTITY, text, "above zero")?;
    let value = match shift {
        0 => number,
        -1 => Printed::new(number.value() * 1e-1, number.decimals() + 1),
        _ => Printed::new(number.value() * 1e-3, number.decimals() + 3),
    };
    Ok(StatedConcentration { value, unit })
}

/// Reads a fraction given in per cent ("98", "98 %") or, with a leading "0." or "1.0", as a ratio.
///
/// # Errors
/// When the text is no number or does not lie from −100 to 100 %.
pub fn parse_percent(text: &str) -> Result<Fraction, QuantityError> {
    let (number, unit) = split_number(text, "per cent", "\"98 %\"")?;
    match plain_unit(unit).as_str() {
        "" | "%" | "percent" => {}
        other => {
            return Err(QuantityError::UnknownUnit {
                quantity: "per cent",
                text: text.trim().to_owned(),
                unit: other.to_owned(),
                known: "%",
            });
        }
    }
    if number.value().abs() > 100.0 {
        return Err(QuantityError::OutOfRange {
            quantity: "per cent",
            text: text.trim().to_owned(),
            range: "from -100 to 100 %",
        });
    }
    Ok(Fraction::from_percent(number.value()))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The path and concentration columns of the worked examples use these units (W002, W007, W012, W047).
    #[test]
    fn units_of_the_textbooks_are_read() {
        assert!((parse_length("5.00 cm").unwrap().decimetres() - 0.5).abs() < 1e-12);
        assert!((parse_length("100").unwrap().decimetres() - 1.0).abs() < 1e-12);
        let c = |text: &str| {
            parse_concentration(text)
                .unwrap()
                .to_mass_concentration(None, None)
                .unwrap()
                .grams_per_100_millilitres()
        };
        assert!((c("0.007 g/mL") - 0.7).abs() < 1e-12);
        assert!((c("750 g/L") - 75.0).abs() < 1e-12);
        assert!((c("200 kg/m3") - 20.0).abs() < 1e-12);
        assert!((c("0.28 g/cm³") - 28.0).abs() < 1e-12);
        let molar = parse_concentration("0.81 mol/L").unwrap();
        assert_eq!(
            molar.to_mass_concentration(None, None),
            Err(QuantityError::MolarMassMissing)
        );
        let mass = MolarMass::from_grams_per_mole(74.12);
        let c = molar.to_mass_concentration(Some(mass), None).unwrap();
        assert!((c.grams_per_100_millilitres() - 6.003_72).abs() < 1e-9);
    }

    #[test]
    fn wrong_units_name_the_right_ones() {
        let error = parse_length("5 kg").unwrap_err().to_string();
        assert!(error.contains("\"kg\"") && error.contains("mm"), "{error}");
        assert!(parse_mass("-3 g").unwrap_err().to_string().contains("above zero"));
        assert!(parse_concentration("0").unwrap_err().to_string().contains("above zero"));
        assert!(parse_temperature("500").is_err());
        assert!(parse_line("20").is_err());
    }

    #[test]
    fn signs_and_exponents_are_read() {
        assert_eq!(parse_angle("−0.482 deg").unwrap().degrees(), -0.482);
        assert_eq!(parse_angle("1e-3").unwrap().degrees(), 1e-3);
        assert!((parse_angle("-30'").unwrap().degrees() + 0.5).abs() < 1e-12);
        assert_eq!(parse_temperature("293.15 K").unwrap().celsius(), 20.0);
        assert_eq!(parse_line("546.1 nm").unwrap().to_string(), "546.1");
        assert_eq!(parse_line("5893 A").unwrap(), SpectralLine::SodiumD);
    }

    proptest::proptest! {
        #[test]
        fn no_text_panics(text in ".{0,24}") {
            let _ = parse_angle(&text);
            let _ = parse_length(&text);
            let _ = parse_concentration(&text);
            let _ = parse_temperature(&text);
            let _ = parse_line(&text);
            let _ = parse_percent(&text);
        }
    }
}
