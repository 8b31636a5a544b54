//! The text of one cell read as a number, a rotation, a temperature, a line, an excess.
//!
//! As [`crate::quantity`] reads what a person types, with what tables add: decimal commas beside points that part
//! thousands, ranges, printed statements in a cell. Every reader says in words why a text does not do.

use super::fields::split_list;
use crate::notation;
use crate::quantity::{Printed, QuantityError, SpectralLine, Wavelength, parse_line, parse_number};
use crate::statement::{Sign, StatedExcess, Statement};

/// Reads the cell of a value: a plain number, or whatever the reader of printed text makes of it.
///
/// A plain number has the sign it shows, and + without one, as tables of numbers mean it.
pub(super) fn rotation(text: &str) -> Result<ReadValue, String> {
    let bare = without_degrees(text);
    let is_plain = bare.chars().all(|c| c.is_ascii_digit() || is_sign_or_mark(c));
    if is_plain {
        let (value, doubt) = number(bare)?;
        return Ok(ReadValue {
            statement: Statement {
                value: Some(value),
                doubts: doubt.into_iter().collect(),
                ..Statement::default()
            },
            sign_seen: bare.starts_with(|c: char| !c.is_ascii_digit() && !matches!(c, '.' | ',')),
        });
    }
    let has_symbol = ["[α]", "[a]", "[A]", "[M]", "[\u{3B1}", "[ α"]
        .iter()
        .any(|symbol| text.contains(symbol));
    let mut statement = if has_symbol {
        read_one(text)?
    } else {
        read_one(&format!("[α] {text}")).map_err(|_| format!("\"{text}\" is not understood as a value of rotation"))?
    };
    text.clone_into(&mut statement.as_printed);
    Ok(ReadValue {
        sign_seen: statement.sign == Sign::Stated,
        statement,
    })
}

/// A value that was read from a cell.
pub(super) struct ReadValue {
    /// The statement.
    pub(super) statement: Statement,
    /// Whether the cell itself shows a sign.
    pub(super) sign_seen: bool,
}

/// Reads a number with a decimal point or comma, and the doubt it leaves where a comma may part thousands.
pub(super) fn number(text: &str) -> Result<(Printed, Option<String>), String> {
    let wrong = || format!("\"{text}\" is no number; write digits with a point or a comma, such as -49.1");
    let (comma, point) = (text.rfind(','), text.rfind('.'));
    let plain = match (comma, point) {
        // 1.234,5: points part thousands.
        (Some(comma), Some(point)) if comma > point => {
            if text.matches(',').count() > 1 {
                return Err(wrong());
            }
            text.replace('.', "")
        }
        (None, Some(_)) if text.matches('.').count() > 1 => return Err(wrong()),
        (Some(_), None) if text.matches(',').count() > 1 => return Err(wrong()),
        _ => text.to_owned(),
    };
    let value = parse_number(&plain).map_err(|error| match error {
        QuantityError::OutOfRange { .. } => error.to_string(),
        _ => wrong(),
    })?;
    let digits = |part: &str| part.chars().filter(char::is_ascii_digit).count();
    let may_be_thousands = match (comma, point) {
        (Some(at), None) => {
            let (before, after) = (digits(&text[..at]), digits(&text[at + 1..]));
            after == 3
                && (1..=3).contains(&before)
                && !text.trim_start_matches(|c| !char::is_ascii_digit(&c)).starts_with('0')
        }
        _ => false,
    };
    let doubt = may_be_thousands
        .then(|| format!("The number \"{text}\" is read with a decimal comma; it may be meant as thousands."));
    Ok((value, doubt))
}

pub(super) fn without_degrees(text: &str) -> &str {
    let text = text.trim();
    ["deg mL g⁻¹ dm⁻¹", "deg cm² dmol⁻¹", "°", "º", "degrees", "deg"]
        .iter()
        .find_map(|unit| text.strip_suffix(unit))
        .unwrap_or(text)
        .trim_end()
}

/// Units a heading may name for a rotation: all the same number as the conventional one.
pub(super) fn is_unit_of_rotation(unit: &str) -> bool {
    let plain: String = unit
        .to_lowercase()
        .chars()
        .filter(|c| c.is_alphanumeric() || *c == '°')
        .collect();
    matches!(
        plain.as_str(),
        "" | "°"
            | "deg"
            | "degree"
            | "degrees"
            | "grad"
            | "degmlg1dm1"
            | "°mlg1dm1"
            | "degmlgdm"
            | "°mlgdm"
            | "degcm3g1dm1"
            | "°cm3g1dm1"
            | "degmlg⁻¹dm⁻¹"
            | "degmldm1g1"
            | "101degcm2g1"
            | "degcm2dmol1"
            | "degmlg¹dm¹"
            | "degcm²dmol¹"
    )
}

/// Reads the one statement of a printed text.
pub(super) fn read_one(text: &str) -> Result<Statement, String> {
    let mut found = notation::read(text);
    match found.len() {
        0 => Err(format!(
            "no rotation is found in \"{}\"",
            super::rows::shortened(text, 80)
        )),
        1 => {
            let mut statement = found.remove(0).statement;
            text.clone_into(&mut statement.as_printed);
            Ok(statement)
        }
        n => Err(format!(
            "{n} rotations are found in the text; give each a row of its own"
        )),
    }
}

pub(super) fn spectral_line(text: &str, unit: &str) -> Result<SpectralLine, String> {
    if let Some(number) = text.strip_suffix("(vacuum)") {
        let number = number.trim().trim_end_matches("nm").trim();
        let nanometres = parse_number(number).map_err(|error| error.to_string())?;
        return Wavelength::in_vacuum(nanometres.value())
            .map(SpectralLine::At)
            .map_err(|error| error.to_string());
    }
    let has_digits = text.contains(|c: char| c.is_ascii_digit());
    let has_unit = text.contains(|c: char| c.is_alphabetic() || c == 'Å');
    let whole = if has_digits && !has_unit {
        format!("{text} {unit}")
    } else {
        text.to_owned()
    };
    match parse_line(&whole) {
        Ok(line) => Ok(line),
        // A line printed in a word, such as "red".
        Err(_) if !has_digits && text.chars().count() <= 20 => Ok(SpectralLine::Named(text.to_owned())),
        Err(error) => Err(error.to_string()),
    }
}

/// A ratio of the enantiomers, `98:2`; one number alone may be the share or the quotient and is not guessed at.
pub(super) fn ratio(text: &str) -> Result<StatedExcess, String> {
    StatedExcess::from_ratio(text).unwrap_or_else(|| Err(format!("\"{text}\" is no ratio of enantiomers such as 98:2")))
}

/// The parts of a list joined by ` | `.
pub(super) fn listed(text: &str) -> Vec<String> {
    split_list(text)
        .iter()
        .map(|part| part.trim())
        .filter(|part| !part.is_empty())
        .map(str::to_owned)
        .collect()
}

fn is_sign_or_mark(c: char) -> bool {
    matches!(
        c,
        '+' | '-' | '.' | ',' | ' ' | '\u{A0}' | '\u{2009}' | '\u{202F}' | '\u{2212}' | '\u{2010}'
            ..='\u{2014}' | '\u{FE63}' | '\u{FF0D}' | '\u{FF0B}' | 'e' | 'E'
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::statement::StatedTemperature;

    #[test]
    fn numbers_are_read_with_point_and_comma() {
        for (text, value, doubted) in [
            ("-49.1", -49.1, false),
            ("−49,1", -49.1, false),
            ("1.234,5", 1234.5, false),
            ("1,234.5", 1234.5, false),
            ("1,234", 1.234, true),
            ("0,123", 0.123, false),
            ("+ 25,4", 25.4, false),
        ] {
            let (read, doubt) = number(text).expect(text);
            assert_eq!((read.value(), doubt.is_some()), (value, doubted), "{text}");
        }
        for text in ["1,2,3", "1.2.3", "abc", "", "-", "1.2,3,4"] {
            assert!(number(text).is_err(), "{text}");
        }
    }

    #[test]
    fn cells_of_values_may_hold_print() {
        let read = rotation("−48 to −50").unwrap().statement;
        assert_eq!(read.low.map(Printed::value), Some(-50.0));
        let read = rotation("[α]D20 −49.1 (c 1.0, EtOH)").unwrap().statement;
        assert_eq!(read.value.map(Printed::value), Some(-49.1));
        assert!(read.concentration.is_some());
        assert!(rotation("see text").is_err());
        assert!(rotation("date 45321").is_err());
    }

    proptest::proptest! {
        #[test]
        fn no_cell_panics(text in "[-+−0-9.,°%a-zα ()>\\[\\]]{0,24}") {
            let _ = rotation(&text);
            let _ = number(&text);
            let _ = StatedTemperature::parse(&text, "°C");
            let _ = spectral_line(&text, "nm");
            let _ = StatedExcess::read(&text);
            let _ = crate::exchange::field::recognise(&text);
        }
    }
}
