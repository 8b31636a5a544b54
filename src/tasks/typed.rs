//! Readers of what a person types into an option or a field: a number takes its unit, and every typed minus is a minus.
//! The quantity parsers say what they understand; whoever asks puts the option's or field's name before it.

use crate::compare::limits::{Basis, Guard};
use crate::library::Dextro;
use crate::quantity::{self, Printed, QuantityError};
use crate::solvent::{Solvent, SolventError};
use crate::statement::StatedTemperature;

/// Reads a sign, typed with any plus or minus, or in words.
pub fn sign(text: &str) -> Result<Dextro, String> {
    match text.trim() {
        "+" | "\u{FF0B}" | "(+)" | "plus" | "dextro" | "positive" => Ok(Dextro::Plus),
        "-" | "\u{2212}" | "\u{2010}" | "\u{2011}" | "\u{2013}" | "\u{2014}" | "(-)" | "(\u{2212})" | "minus"
        | "levo" | "laevo" | "negative" => Ok(Dextro::Minus),
        _ => Err("a sign is + or -".to_owned()),
    }
}

/// Reads a value of rotation with the digits it is typed with; a degree sign or unit of specific rotation may follow.
pub fn rotation(text: &str) -> Result<Printed, QuantityError> {
    let number = text.trim();
    let number = ["deg mL g⁻¹ dm⁻¹", "deg cm² dmol⁻¹", "°", "deg", "degrees"]
        .iter()
        .find_map(|unit| number.strip_suffix(unit))
        .unwrap_or(number);
    quantity::parse_number(number)
}

/// Reads a temperature: a number in °C or with a unit, a range, or words such as "room".
pub fn stated_temperature(text: &str) -> Result<StatedTemperature, QuantityError> {
    StatedTemperature::parse(text, "")
}

/// Reads a solvent as the literature prints it; a name that is not in the table is kept as it is typed.
pub fn solvent(text: &str) -> Result<Solvent, SolventError> {
    Solvent::parse_lenient(text)
}

/// Reads a basis: as-is, dried, anhydrous.
///
/// # Errors
/// When the word is not known.
pub fn basis(text: &str) -> Result<Basis, String> {
    Basis::read(text).ok_or_else(|| format!("\"{text}\" is no basis; write as-is, dried or anhydrous"))
}

/// Reads a time in minutes: a bare number, or one with min or h.
///
/// # Errors
/// When it is no time.
pub fn minutes(text: &str) -> Result<f64, String> {
    let text = text.trim();
    let (number, factor) = match text.strip_suffix("min") {
        Some(number) => (number, 1.0),
        None => match text.strip_suffix('h') {
            Some(number) => (number, 60.0),
            None => (text, 1.0),
        },
    };
    match quantity::parse_number(number) {
        Ok(number) if number.value() >= 0.0 => Ok(factor * number.value()),
        _ => Err(format!("\"{text}\" is no time; write 20min or 3h")),
    }
}

/// Reads a guard band: a probability in per cent, or a number of standard uncertainties.
///
/// # Errors
/// When it is neither.
pub fn guard(text: &str) -> Result<Guard, String> {
    let text = text.trim();
    let wrong = || {
        format!(
            "\"{text}\" is no guard band; write a probability of conformity from 50 to below 100 % such as 95%, or standard uncertainties such as 2u"
        )
    };
    if let Some(number) = text.strip_suffix(['u', 'U']) {
        let k = quantity::parse_number(number).map_err(|_| wrong())?.value();
        return if (0.0..=10.0).contains(&k) {
            Ok(Guard::Multiple(k))
        } else {
            Err(wrong())
        };
    }
    let p = quantity::parse_percent(text).map_err(|_| wrong())?.ratio();
    if (0.5..1.0).contains(&p) {
        Ok(Guard::Probability(p))
    } else {
        Err(wrong())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_typed_minus_is_a_minus() {
        for text in ["-49.1", "\u{2212}49.1", "\u{2013}49.1", "-49.1°", "−49.1 deg", "- 49.1"] {
            let value = rotation(text).expect(text);
            assert_eq!((value.value(), value.decimals()), (-49.1, 1), "{text}");
        }
        for text in ["-", "\u{2212}", "(−)", "minus"] {
            assert_eq!(sign(text), Ok(Dextro::Minus), "{text}");
        }
        assert!(sign("left").is_err());
    }

    #[test]
    fn temperatures_keep_their_digits() {
        let at = |text: &str| stated_temperature(text).expect(text);
        assert_eq!(at("20.0"), StatedTemperature::At(Printed::new(20.0, 1)));
        assert_eq!(at("25 °C"), StatedTemperature::At(Printed::new(25.0, 0)));
        assert_eq!(at("-5"), StatedTemperature::At(Printed::new(-5.0, 0)));
        assert_eq!(at("298.15 K"), StatedTemperature::At(Printed::new(25.0, 2)));
        assert_eq!(
            at("20..25"),
            StatedTemperature::Range(Printed::new(20.0, 0), Printed::new(25.0, 0))
        );
        assert_eq!(at("Room"), StatedTemperature::Words("room".to_owned()));
        assert!(stated_temperature("9000").is_err());
        assert!(stated_temperature("").is_err());
    }
}
