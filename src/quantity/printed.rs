//! A number with the digits it was printed with.

use serde::{Deserialize, Serialize};
use std::fmt;
use std::str::FromStr;

/// A number as a source printed it: the value and how many digits stood after the decimal mark.
///
/// Zeros before the decimal mark are taken as digits ("100" is good to ±0.5), since print does not tell them apart.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Printed {
    value: f64,
    decimals: u8,
}

/// The least size but zero, and the largest, of a number that is read: far beyond any bench, and near enough to one that
/// whatever is computed of such numbers can be held.
pub const LEAST: f64 = 1e-9;
/// The largest size of a number that is read.
pub const MOST: f64 = 1e9;

/// Why a text is no printed number.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum PrintedError {
    /// It is none.
    #[error("\"{text}\" is not a number; write digits with a point or a comma, such as -49.1")]
    NoNumber {
        /// The text found.
        text: String,
    },
    /// It is one that no bench has.
    #[error("\"{text}\" is outside what can be: a number is zero, or its size is from {LEAST} to {MOST}")]
    OutOfRange {
        /// The text found.
        text: String,
    },
}

/// Most digits after the decimal mark that are kept; more cannot be held by the value.
const MOST_DECIMALS: u8 = 12;

impl Printed {
    /// Makes a printed number; `decimals` above 12 are cut to 12.
    ///
    /// A value that is not finite becomes zero digits of zero: callers reject such values before.
    pub fn new(value: f64, decimals: u8) -> Self {
        Self {
            value: if value.is_finite() { value } else { 0.0 },
            decimals: decimals.min(MOST_DECIMALS),
        }
    }

    /// Whether a number is one that can be read: zero, or of a size from [`LEAST`] to [`MOST`].
    pub fn is_held(value: f64) -> bool {
        value == 0.0 || (LEAST..=MOST).contains(&value.abs())
    }

    /// The value.
    pub const fn value(self) -> f64 {
        self.value
    }

    /// Digits printed after the decimal mark.
    pub const fn decimals(self) -> u8 {
        self.decimals
    }

    /// Half a unit of the last printed digit: the half-width of the rounding error.
    pub fn half_last_digit(self) -> f64 {
        0.5 * 10f64.powi(-i32::from(self.decimals))
    }

    /// The same digits with the other sign.
    #[must_use]
    pub fn negated(self) -> Self {
        Self {
            value: -self.value,
            decimals: self.decimals,
        }
    }

    /// Whether two printed numbers have the same value to within a part in 10⁹.
    pub fn same_value(self, other: Self) -> bool {
        (self.value - other.value).abs() <= 1e-9 * self.value.abs().max(1.0)
    }
}

impl fmt::Display for Printed {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:.*}", usize::from(self.decimals), self.value)
    }
}

impl FromStr for Printed {
    type Err = PrintedError;

    /// Reads digits with a decimal point or comma and any printed minus or plus sign; no exponent is a printed digit,
    /// but one is understood.
    ///
    /// # Errors
    /// When the text is no number, or [`Self::is_held`] says no to it.
    fn from_str(text: &str) -> Result<Self, Self::Err> {
        let plain = plain_number(text);
        let none = || PrintedError::NoNumber { text: text.to_owned() };
        let value: f64 = plain.parse().map_err(|_| none())?;
        if !plain.bytes().any(|b| b.is_ascii_digit()) {
            return Err(none());
        }
        if !Self::is_held(value) {
            return Err(PrintedError::OutOfRange { text: text.to_owned() });
        }
        let (mantissa, exponent) = match plain.split_once(['e', 'E']) {
            Some((mantissa, exponent)) => (mantissa, exponent.parse::<i32>().unwrap_or(0)),
            None => (plain.as_str(), 0),
        };
        let after = mantissa.split_once('.').map_or(0, |(_, after)| after.len());
        let decimals = (i32::try_from(after).unwrap_or(i32::from(MOST_DECIMALS)) - exponent).clamp(0, 12);
        Ok(Self::new(value, u8::try_from(decimals).unwrap_or(MOST_DECIMALS)))
    }
}

/// The text of a number with every printed sign and decimal mark brought to ASCII.
///
/// A comma is a decimal mark unless a point is there too. Spaces within the number (thousands, or after the sign) are
/// dropped.
pub(super) fn plain_number(text: &str) -> String {
    let has_point = text.contains('.');
    text.trim()
        .chars()
        .filter_map(|c| match c {
            '\u{2212}' | '\u{2010}' | '\u{2011}' | '\u{2012}' | '\u{2013}' | '\u{2014}' | '\u{FE63}' | '\u{FF0D}' => {
                Some('-')
            }
            '\u{FF0B}' => Some('+'),
            ',' if has_point => None,
            ',' | '\u{00B7}' => Some('.'),
            ' ' | '\u{00A0}' | '\u{2009}' | '\u{202F}' => None,
            c => Some(c),
        })
        .collect()
}

impl Serialize for Printed {
    /// A JSON number; the digits travel as the number's own text where the format allows it.
    fn serialize<S: serde::Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.serialize_f64(self.value)
    }
}

impl<'de> Deserialize<'de> for Printed {
    fn deserialize<D: serde::Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        let value = f64::deserialize(deserializer)?;
        let text = format!("{value}");
        text.parse().map_err(serde::de::Error::custom)
    }
}

/// A number rounded to digits after the decimal mark as it is done by hand: a five at the end goes away from zero, also
/// where the number in binary lies a hair below: 84.35 is 84.4 in one digit (common practice).
pub fn round_to(value: f64, decimals: usize) -> f64 {
    let factor = 10f64.powi(i32::try_from(decimals).unwrap_or(i32::MAX));
    let scaled = value * factor;
    // Beyond 15 digits there is nothing to round.
    if scaled.abs() < 1e15 {
        scaled.round() / factor
    } else {
        value
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_five_at_the_end_goes_away_from_zero() {
        for (value, decimals, rounded) in [
            (84.35, 1, 84.4),
            (-84.35, 1, -84.4),
            (0.125, 2, 0.13),
            (2.5, 0, 3.0),
            (84.3499, 1, 84.3),
            (1e300, 3, 1e300),
        ] {
            assert_eq!(round_to(value, decimals), rounded, "{value}");
        }
        assert!(round_to(f64::NAN, 1).is_nan() && round_to(f64::INFINITY, 1).is_infinite());
    }

    #[test]
    fn every_printed_sign_and_mark_is_read() {
        for (text, value, decimals) in [
            ("-49.1", -49.1, 1),
            ("\u{2212}49.10", -49.1, 2),
            ("\u{2013}49,1", -49.1, 1),
            ("+ 25,4", 25.4, 1),
            ("100", 100.0, 0),
            ("1,234.5", 1234.5, 1),
            ("1.5e-3", 0.0015, 4),
        ] {
            let read: Printed = text.parse().expect(text);
            assert_eq!((read.value(), read.decimals()), (value, decimals), "{text}");
        }
    }

    #[test]
    fn words_and_infinities_are_refused() {
        for text in ["", "-", "nan", "inf", "12x", "1.2.3"] {
            let none = PrintedError::NoNumber { text: text.to_owned() };
            assert_eq!(text.parse::<Printed>(), Err(none), "{text}");
        }
    }

    #[test]
    fn numbers_that_no_bench_has_are_refused() {
        for text in ["1e999", "1e300", "-1e300", "1000000001", "1e-10", "−1e-300"] {
            let beyond = PrintedError::OutOfRange { text: text.to_owned() };
            assert_eq!(text.parse::<Printed>(), Err(beyond), "{text}");
        }
        for text in ["0", "-0.0", "0e999", "1000000000", "-1000000000", "0.000000001"] {
            assert!(text.parse::<Printed>().is_ok(), "{text}");
        }
    }

    proptest::proptest! {
        #[test]
        fn reading_what_was_written_gives_the_same(value in -1e6..1e6f64, decimals in 0u8..6) {
            let written = Printed::new((value * 1e6).round() / 1e6, decimals).to_string();
            let read: Printed = written.parse().unwrap();
            proptest::prop_assert_eq!(read.to_string(), written);
        }
    }
}
