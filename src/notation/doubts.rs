//! What the reader is not sure of, each with the sentence a person is shown, and the checks of plausibility.
//!
//! A doubt must be specific: a right statement that looks sound carries none. Start at [`plausibility`].

use crate::quantity::{ConcentrationBasis, StatedConcentration};
use crate::statement::{RotationKind, StatedTemperature, Statement};
use std::fmt;

/// A reason to look at the printed text again.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Doubt {
    /// `±` stands as the sign, or a damaged sign that may be `+` or `±`.
    SignAmbiguous,
    /// The sign is a damaged character.
    SignDamaged,
    /// The place of the sign holds a character that is none.
    SignLost,
    /// A letter stands for a digit, or a power stands on the line.
    DigitDamaged,
    /// `-34 to 38`.
    SecondSignMissing,
    /// `6.5 to -9.0`.
    FirstSignMissing,
    /// The second end of the range is nearer to zero than the first and has no sign.
    RangeFalls,
    /// "Not less than" a negative number.
    BoundOfNegative,
    /// `04.4`.
    LeadingZero,
    /// `1,234`.
    ThousandsOrDecimals,
    /// `30-2°`, `42'73°`.
    DecimalMarkDamaged,
    /// `48a`, `111'`.
    DegreeDamaged,
    /// `10° „ 63°`.
    DittoMark,
    /// °C printed where degrees are meant.
    CelsiusForDegrees,
    /// A second number with a degree sign follows and is not understood.
    StrayNumber,
    /// The symbol `[α]` is damaged.
    SymbolDamaged(String),
    /// The pieces of `[α]D20` stand in a scrambled order.
    GlyphsScrambled,
    /// Stray characters within the symbol or its indices.
    StrayCharacters,
    /// The number behind `[α]D` may be the temperature.
    ValueOrTemperature,
    /// `20-46`: a temperature and a negative value, or a range.
    MinusOrRange,
    /// The wavelength carries the unit of a temperature, or another one that cannot be.
    WavelengthUnit(String),
    /// A letter stands for a line where D may be meant.
    LineLetter(String),
    /// A temperature no rotation is measured at.
    Temperature(f64),
    /// The concentration cannot be right with this value.
    Concentration(String),
    /// The solvent's printed form is damaged.
    SolventDamaged(String),
    /// A strength of zero.
    ZeroStrength(String),
    /// More than one concentration, or one that contradicts itself.
    ConcentrationGarbled,
    /// The tolerance is large against the value.
    Tolerance,
    /// A value beyond what is known.
    Magnitude,
    /// The value is said to be calculated.
    Calculated,
    /// The number has neither sign nor degree sign and no symbol before it.
    BareNumber,
    /// A signed number with a concentration but no symbol before it.
    NoSymbol,
    /// The label and the value stand in separate columns.
    ColumnsApart,
    /// "Rotation" without a word on what turns.
    KindNotSaid,
    /// The sign was taken from a word such as levorotatory.
    SignFromWord(String),
    /// A per cent sign where a degree sign is meant.
    PercentForDegree,
}

impl fmt::Display for Doubt {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::SignAmbiguous => f.write_str("The printed sign is ± or damaged; the sign of the value is not known."),
            Self::SignDamaged => f.write_str("The sign is a damaged character and was taken for +."),
            Self::SignLost => f.write_str("The sign is a damaged character; the value may be negative."),
            Self::DigitDamaged => f.write_str("A digit is printed as a letter or out of its place; check the digits."),
            Self::SecondSignMissing => f.write_str(
                "Only the first end of the range has a minus sign; both were taken as negative, the second may be positive.",
            ),
            Self::FirstSignMissing => {
                f.write_str("Only the second end of the range has a minus sign; the first may have lost its own.")
            }
            Self::RangeFalls => f.write_str("The second end of the range is smaller than the first; a digit may be wrong."),
            Self::BoundOfNegative => {
                f.write_str("A bound on a negative value may be meant for its magnitude; it was read as printed.")
            }
            Self::LeadingZero => f.write_str("A zero stands before the digits; a sign or a digit may be garbled."),
            Self::ThousandsOrDecimals => {
                f.write_str("The comma was read as a mark of thousands; it may be a decimal mark.")
            }
            Self::DecimalMarkDamaged => {
                f.write_str("The decimal mark is printed as another character; check the digits.")
            }
            Self::DegreeDamaged => f.write_str("The degree sign is damaged or missing; check the digits."),
            Self::DittoMark => f.write_str("A ditto mark stands for \"to\" in the range."),
            Self::CelsiusForDegrees => {
                f.write_str("The value is printed in °C; degrees of rotation were assumed, a number may be misplaced.")
            }
            Self::StrayNumber => f.write_str("A further number with a degree sign follows; a ± may have been lost."),
            Self::SymbolDamaged(printed) => write!(f, "The symbol [α] is printed as \"{printed}\"."),
            Self::GlyphsScrambled => {
                f.write_str("The pieces of the symbol stand in a scrambled order; check temperature and value.")
            }
            Self::StrayCharacters => f.write_str("Stray characters stand beside the symbol; check temperature and value."),
            Self::ValueOrTemperature => {
                f.write_str("The only number behind the symbol may be the temperature rather than the value.")
            }
            Self::MinusOrRange => {
                f.write_str("The dash was read as the minus sign of the value; it may join two temperatures or two values.")
            }
            Self::WavelengthUnit(printed) => {
                write!(f, "The wavelength is printed as \"{printed}\"; nm was assumed.")
            }
            Self::LineLetter(printed) => write!(f, "The line is printed as \"{printed}\"; D may be meant."),
            Self::Temperature(celsius) => write!(f, "{celsius} °C is an unusual temperature for a rotation."),
            Self::Concentration(reason) => f.write_str(reason),
            Self::SolventDamaged(printed) => write!(f, "The solvent is printed as \"{printed}\"."),
            Self::ZeroStrength(printed) => write!(f, "The strength in \"{printed}\" is zero."),
            Self::ConcentrationGarbled => f.write_str("The concentration is stated twice or contradicts itself."),
            Self::Tolerance => f.write_str("The tolerance is large against the value; a degree sign may have been read as 0."),
            Self::Magnitude => f.write_str("The value is larger than specific rotations are; a decimal mark may be missing."),
            Self::Calculated => f.write_str("The value is said to be calculated, not measured."),
            Self::BareNumber => f.write_str("The number has neither a sign nor a degree sign."),
            Self::ColumnsApart => {
                f.write_str("Labels and values stand in separate columns; the value may belong to another label.")
            }
            Self::KindNotSaid => f.write_str("The text says \"rotation\" only; it may be another one than that of light."),
            Self::NoSymbol => f.write_str("No symbol of rotation stands before the number."),
            Self::SignFromWord(word) => write!(f, "The sign is not printed; it was taken from the word \"{word}\"."),
            Self::PercentForDegree => f.write_str("A per cent sign stands where a degree sign is meant; check the digits."),
        }
    }
}

/// Degrees of observed rotation in a 1 dm cell beyond which a printed concentration is not believed.
const MOST_ANGLE: f64 = 200.0;
/// Degrees of observed rotation in a 1 dm cell below which nothing could have been measured.
const LEAST_ANGLE: f64 = 1e-4;
/// A specific rotation beyond this is rare enough to look again: helicenes reach some thousands.
const MOST_SPECIFIC: f64 = 5000.0;
/// A molar rotation beyond this is as rare.
const MOST_MOLAR: f64 = 1e5;
/// A tolerance of at least this many degrees and a third of the value is doubted.
const LARGE_TOLERANCE: f64 = 10.0;

/// Doubts that follow from the statement as a whole.
pub(super) fn plausibility(statement: &Statement) -> Vec<Doubt> {
    let mut doubts = Vec::new();
    let magnitude = [statement.value, statement.low, statement.high]
        .iter()
        .flatten()
        .map(|printed| printed.value().abs())
        .fold(0.0, f64::max);
    temperature(statement, &mut doubts);
    if let (Some(value), Some(tolerance)) = (statement.value, statement.plus_minus) {
        let tolerance = tolerance.value();
        if tolerance >= LARGE_TOLERANCE && tolerance > value.value().abs() / 3.0 {
            doubts.push(Doubt::Tolerance);
        }
    }
    let largest = match statement.kind {
        RotationKind::Specific | RotationKind::Observed => MOST_SPECIFIC,
        RotationKind::Molar => MOST_MOLAR,
    };
    if magnitude > largest {
        doubts.push(Doubt::Magnitude);
    }
    concentration(statement, magnitude, &mut doubts);
    doubts
}

fn temperature(statement: &Statement, doubts: &mut Vec<Doubt>) {
    let celsius = match &statement.temperature {
        Some(StatedTemperature::At(at)) => at.value(),
        Some(StatedTemperature::Range(low, high)) => {
            if high.value() < low.value() {
                low.value()
            } else {
                high.value()
            }
        }
        _ => return,
    };
    if !(-10.0..=60.0).contains(&celsius) {
        doubts.push(Doubt::Temperature(celsius));
    }
}

fn concentration(statement: &Statement, magnitude: f64, doubts: &mut Vec<Doubt>) {
    let Some(printed) = statement.concentration else { return };
    let stated = StatedConcentration {
        value: printed.low,
        unit: printed.unit,
    };
    if printed.low.value() == 0.0 {
        doubts.push(Doubt::Concentration("The concentration is printed as zero.".to_owned()));
        return;
    }
    if printed.unit.basis() != ConcentrationBasis::MassPerVolume {
        return;
    }
    let Ok(c) = stated.to_mass_concentration(None, None) else {
        return;
    };
    let c = c.grams_per_100_millilitres();
    if c > 100.0 {
        doubts.push(Doubt::Concentration(format!(
            "A concentration of {c} g/100 mL is more than a solution can hold."
        )));
    }
    if statement.kind != RotationKind::Specific || magnitude == 0.0 {
        return;
    }
    let path = statement.path.map_or(1.0, crate::quantity::Length::decimetres);
    let angle = magnitude * c * path / 100.0;
    if angle > MOST_ANGLE {
        doubts.push(Doubt::Concentration(format!(
            "The printed concentration would give an angle of {angle:.0}°; value or concentration may be misprinted."
        )));
    } else if angle < LEAST_ANGLE {
        doubts.push(Doubt::Concentration(
            "The printed concentration would give an angle too small to be measured; its unit may be misprinted."
                .to_owned(),
        ));
    }
}
