//! Readers of what a person types into an option or a field: a number takes its unit, and every typed minus is a minus.
//! The quantity parsers say what they understand; whoever asks puts the option's or field's name before it.

use crate::library::Dextro;
use crate::quantity::{self, Printed, QuantityError};
use crate::solvent::{Solvent, SolventError};
use crate::statement::{StatedExcess, StatedTemperature};

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

/// Reads an enantiomeric excess: `98`, `98.5 %`, `>99`.
pub fn excess(text: &str) -> Result<StatedExcess, String> {
    let text = text.trim();
    let number = text.trim_start_matches(['>', '≥', '=', ' ']);
    quantity::parse_percent(number).map_err(|error| error.to_string())?;
    let percent = quantity::parse_number(number.trim_end_matches(['%', ' '])).map_err(|error| error.to_string())?;
    Ok(StatedExcess {
        percent,
        at_least: number.len() < text.len(),
        method: None,
    })
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
