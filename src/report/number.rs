//! Numbers as they stand in human text: a true minus sign (U+2212), and a value with its uncertainty.

use crate::quantity::{Printed, round_to};
use crate::statement::{Sign, Statement};

/// The minus sign of human text, U+2212.
pub const MINUS: char = '\u{2212}';

/// Digits of an uncertainty beyond which nothing is said: JCGM 100:2008, 7.2.6 (two are usually enough).
const UNCERTAINTY_DIGITS: i32 = 2;

/// Most digits after the decimal mark that are written.
const MOST_DECIMALS: i32 = 12;

/// The text of a number with a true minus sign and the given digits after the decimal mark.
///
/// A number that is not finite is written as "not a number" or "unbounded"; a zero has no sign.
pub fn number(value: f64, decimals: usize) -> String {
    if value.is_nan() {
        return "not a number".to_owned();
    }
    if value.is_infinite() {
        let sign = if value < 0.0 { MINUS.to_string() } else { String::new() };
        return format!("{sign}unbounded");
    }
    let digits = format!("{:.decimals$}", round_to(value.abs(), decimals));
    let is_zero = digits.bytes().all(|b| matches!(b, b'0' | b'.'));
    if value < 0.0 && !is_zero {
        format!("{MINUS}{digits}")
    } else {
        digits
    }
}

/// As [`number`], with a plus sign before a number above zero.
pub fn signed(value: f64, decimals: usize) -> String {
    let text = number(value, decimals);
    let is_zero = text.bytes().all(|b| matches!(b, b'0' | b'.'));
    if value > 0.0 && value.is_finite() && !is_zero {
        format!("+{text}")
    } else {
        text
    }
}

/// A number in at most four significant digits, without zeros at the end.
pub fn short(value: f64) -> String {
    let decimals = (3.0 - value.abs().max(1e-9).log10().floor()).clamp(0.0, 6.0);
    format!("{}", round_to(value, decimals as usize)).replace('-', "\u{2212}")
}

/// A printed number with the digits it was printed with, unsigned when above zero.
pub fn printed(value: Printed) -> String {
    number(value.value(), usize::from(value.decimals()))
}

/// A printed number with its sign.
pub fn printed_signed(value: Printed) -> String {
    signed(value.value(), usize::from(value.decimals()))
}

/// A value with its standard uncertainty in brackets, referred to the last digits: `−49.1(12)` is −49.1 with u = 1.2.
///
/// The uncertainty is rounded to two significant digits and the value to the same place (JCGM 100:2008, 7.2.2 notation 2
/// and 7.2.6). Value and uncertainty are in the same unit, which is not written. An uncertainty that is zero or not
/// finite says nothing about digits; the value is then written with four significant digits and no bracket.
pub fn with_uncertainty(value: f64, uncertainty: f64) -> String {
    match rounded(value, uncertainty) {
        Some((value, uncertainty, decimals)) => bracket(&number(value, decimals), uncertainty, decimals),
        None => number(value, significant_decimals(value)),
    }
}

/// As [`with_uncertainty`], with a plus sign before a number above zero.
pub fn signed_with_uncertainty(value: f64, uncertainty: f64) -> String {
    match rounded(value, uncertainty) {
        Some((value, uncertainty, decimals)) => bracket(&signed(value, decimals), uncertainty, decimals),
        None => signed(value, significant_decimals(value)),
    }
}

/// A number with a sign, to the place of the second digit of an uncertainty that is not its own: as [`signed_with_uncertainty`]
/// without the bracket.
pub fn signed_to(value: f64, uncertainty: f64) -> String {
    match rounded(value, uncertainty) {
        Some((value, _, decimals)) => signed(value, decimals),
        None => signed(value, significant_decimals(value)),
    }
}

/// An interval `[low, high]` in the digits that `uncertainty` allows, with a word between the ends: `−51.3 to −47.0`.
pub fn interval(low: f64, high: f64) -> String {
    let half_width = (high - low).abs() / 2.0;
    let decimals = rounded(low, half_width).map_or_else(
        || significant_decimals(low).max(significant_decimals(high)),
        |(_, _, decimals)| decimals,
    );
    format!("{} to {}", signed(low, decimals), signed(high, decimals))
}

/// A fraction of one in per cent, with one digit after the decimal mark below 10 % and above 90 %.
pub fn percent(fraction: f64) -> String {
    let percent = fraction * 100.0;
    let decimals = usize::from(!(10.0..90.0).contains(&percent.abs()));
    format!("{} %", number(percent, decimals))
}

/// The printed value of a statement: `+25.4`, `−51.3 to −47.0`, `≥ −5`, `49.1 (no sign printed)` is left to the caller.
pub fn stated_value(statement: &Statement) -> String {
    let sign = |value: Printed| match statement.sign {
        Sign::Stated => printed_signed(value),
        Sign::NotStated => printed(value),
        Sign::Ambiguous => format!("±{}", printed(value).trim_start_matches(MINUS)),
    };
    let mut text = match (statement.value, statement.low, statement.high) {
        (Some(value), _, _) => sign(value),
        (None, Some(low), Some(high)) => format!("{} to {}", sign(low), sign(high)),
        (None, Some(low), None) => format!("≥ {}", sign(low)),
        (None, None, Some(high)) => format!("≤ {}", sign(high)),
        (None, None, None) => "–".to_owned(),
    };
    if statement.approx {
        text.insert_str(0, "ca. ");
    }
    if let Some(tolerance) = statement.plus_minus {
        text.push_str(" ± ");
        text.push_str(&printed(tolerance));
    }
    text
}

/// Value and uncertainty rounded to the place of the uncertainty's second digit, and the decimals to write.
fn rounded(value: f64, uncertainty: f64) -> Option<(f64, f64, usize)> {
    if !(uncertainty > 0.0 && uncertainty.is_finite() && value.is_finite()) {
        return None;
    }
    // The exponent after rounding to two digits: 0.0996 rounds to 0.10 and has exponent −1, not −2.
    let scientific = format!("{uncertainty:.1e}");
    let exponent: i32 = scientific.rsplit_once('e')?.1.parse().ok()?;
    let place = exponent - (UNCERTAINTY_DIGITS - 1);
    let decimals = (-place).clamp(0, MOST_DECIMALS);
    if place > 0 {
        let unit = 10f64.powi(place);
        Some(((value / unit).round() * unit, (uncertainty / unit).round() * unit, 0))
    } else {
        Some((value, uncertainty, usize::try_from(decimals).unwrap_or(0)))
    }
}

fn bracket(value: &str, uncertainty: f64, decimals: usize) -> String {
    let last_digits = format!("{uncertainty:.decimals$}").replace('.', "");
    let last_digits = last_digits.trim_start_matches('0');
    let last_digits = if last_digits.is_empty() { "0" } else { last_digits };
    format!("{value}({last_digits})")
}

/// Digits after the decimal mark that show four significant ones, at most six.
fn significant_decimals(value: f64) -> usize {
    let magnitude = value.abs();
    if !magnitude.is_finite() || magnitude < 1e-6 {
        return 2;
    }
    usize::try_from(3 - magnitude.log10().floor() as i32)
        .unwrap_or(0)
        .min(6)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// JCGM 100:2008, 7.2.2: "m_S = 100.021 47(35) g" for y = 100.021 47 g, u = 0.35 mg; 7.2.6: u = 28.05 kHz is
    /// rounded to 28 kHz, and y = 10.057 62 Ω with u = 27 mΩ to 10.058 Ω.
    #[test]
    fn the_guide_s_own_examples_are_written_as_printed() {
        assert_eq!(with_uncertainty(100.021_47, 0.35e-3), "100.02147(35)");
        assert_eq!(with_uncertainty(10.057_62, 27e-3), "10.058(27)");
        assert_eq!(with_uncertainty(0.0, 28.05), "0(28)");
    }

    /// Rounding carried into the next place; the results follow from the rule by hand.
    #[test]
    fn uncertainties_keep_two_digits() {
        assert_eq!(with_uncertainty(-49.13, 1.24), "\u{2212}49.1(12)");
        assert_eq!(signed_with_uncertainty(25.4, 0.0996), "+25.40(10)");
        assert_eq!(with_uncertainty(-4912.0, 123.0), "\u{2212}4910(120)");
        assert_eq!(with_uncertainty(-0.004, 0.12), "0.00(12)");
        assert_eq!(with_uncertainty(12.0, 0.0), "12.00");
        assert_eq!(with_uncertainty(12.0, f64::INFINITY), "12.00");
    }

    #[test]
    fn human_text_has_a_true_minus_and_no_signed_zero() {
        assert_eq!(number(-49.1, 1), "\u{2212}49.1");
        assert_eq!(number(-0.01, 1), "0.0");
        assert_eq!(signed(0.0, 1), "0.0");
        assert_eq!(signed(3.25, 1), "+3.3");
        assert_eq!(number(f64::NAN, 1), "not a number");
        assert_eq!(interval(-51.31, -46.95), "\u{2212}51.3 to \u{2212}47.0");
        assert_eq!(percent(0.983), "98.3 %");
        assert_eq!(percent(0.5), "50 %");
    }

    proptest::proptest! {
        /// What is written differs from the value by at most half of the last digit kept, which is below u / 10.
        #[test]
        fn rounding_never_moves_a_value_by_a_tenth_of_its_uncertainty(value in -1e4..1e4f64, exponent in -6i32..3) {
            let uncertainty = 1.7 * 10f64.powi(exponent);
            let text = with_uncertainty(value, uncertainty);
            let (digits, _) = text.split_once('(').unwrap();
            let back: f64 = digits.replace(MINUS, "-").parse().unwrap();
            proptest::prop_assert!((back - value).abs() <= uncertainty / 10.0, "{value} {uncertainty} {text}");
        }
    }
}
