//! CAS registry numbers.

use std::fmt;
use std::str::FromStr;

/// A CAS registry number with a right check digit, such as 7732-18-5 (water).
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct CasNumber {
    /// All digits but the check digit, five to nine of them.
    digits: u32,
}

/// Why a text is no CAS number.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum CasError {
    /// It has another form.
    #[error("`{text}` does not have the form of a CAS number (two to seven digits, two digits, one digit: 7732-18-5)")]
    Form {
        /// The text.
        text: String,
    },
    /// The check digit is wrong: a digit is misprinted.
    #[error("`{text}` has the check digit {found} where {expected} belongs; a digit is wrong")]
    CheckDigit {
        /// The text.
        text: String,
        /// The digit found.
        found: u32,
        /// The digit that fits the others.
        expected: u32,
    },
}

impl CasNumber {
    /// The check digit: the sum of the other digits, each times its place from the right, modulo ten.
    fn check_digit(self) -> u32 {
        let mut rest = self.digits;
        let mut sum = 0;
        for place in 1..=9 {
            sum += place * (rest % 10);
            rest /= 10;
        }
        sum % 10
    }
}

impl FromStr for CasNumber {
    type Err = CasError;

    /// Reads a CAS number; any Unicode dash will do.
    fn from_str(text: &str) -> Result<Self, CasError> {
        let form = || CasError::Form {
            text: text.chars().take(40).collect(),
        };
        let plain: String = text
            .trim()
            .chars()
            .map(|c| if ('\u{2010}'..='\u{2212}').contains(&c) { '-' } else { c })
            .collect();
        let blocks: Vec<&str> = plain.split('-').collect();
        let &[first, second, check] = &blocks[..] else {
            return Err(form());
        };
        let lengths_fit = (2..=7).contains(&first.len()) && second.len() == 2 && check.len() == 1;
        if !lengths_fit || !plain.bytes().all(|b| b == b'-' || b.is_ascii_digit()) || first.starts_with('0') {
            return Err(form());
        }
        let number = CasNumber {
            digits: format!("{first}{second}").parse().map_err(|_| form())?,
        };
        let (found, expected) = (check.parse().map_err(|_| form())?, number.check_digit());
        if found == expected {
            Ok(number)
        } else {
            Err(CasError::CheckDigit {
                text: plain,
                found,
                expected,
            })
        }
    }
}

impl fmt::Display for CasNumber {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(
            f,
            "{}-{:02}-{}",
            self.digits / 100,
            self.digits % 100,
            self.check_digit()
        )
    }
}
