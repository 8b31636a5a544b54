//! An exact, non-negative decimal number as printed in a composition: `0.1`, `95`, `6.10` (equal to `6.1`).

use std::fmt;
use std::str::FromStr;

/// A non-negative decimal number, exact to six decimals and below ten million.
///
/// Trailing zeros are not kept: `6.0 N` and `6 N` are the same solution.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Amount {
    /// The number times one million.
    millionths: u64,
}

/// Decimals kept.
const DECIMALS: usize = 6;
/// Digits allowed before the decimal point.
const WHOLE_DIGITS: usize = 7;
/// One, in millionths.
const ONE: u64 = 1_000_000;

impl Amount {
    /// A whole number.
    pub const fn whole(n: u32) -> Self {
        Amount {
            millionths: n as u64 * ONE,
        }
    }

    /// The number as a binary floating-point value.
    pub fn to_f64(self) -> f64 {
        self.millionths as f64 / ONE as f64
    }

    /// Whether the number is zero.
    pub fn is_zero(self) -> bool {
        self.millionths == 0
    }

    /// The number divided by `n`; `None` when the quotient is not exact to six decimals or `n` is zero.
    pub(super) fn exact_div(self, n: u64) -> Option<Self> {
        (n != 0 && self.millionths.is_multiple_of(n)).then(|| Amount {
            millionths: self.millionths / n,
        })
    }

    /// `self − other`, `None` when that would be negative.
    pub(super) fn minus(self, other: Self) -> Option<Self> {
        self.millionths
            .checked_sub(other.millionths)
            .map(|millionths| Amount { millionths })
    }
}

/// Why a text is not an [`Amount`].
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error(
    "`{text}` is not a plain non-negative decimal number with at most {WHOLE_DIGITS} digits before and {DECIMALS} after the point"
)]
pub struct AmountError {
    /// The text that was read.
    pub text: String,
}

impl FromStr for Amount {
    type Err = AmountError;

    /// Reads ASCII digits with at most one decimal point or comma.
    fn from_str(text: &str) -> Result<Self, AmountError> {
        let error = || AmountError { text: text.to_string() };
        let (whole, decimals) = text.split_once(['.', ',']).unwrap_or((text, ""));
        let all_digits = whole.bytes().chain(decimals.bytes()).all(|b| b.is_ascii_digit());
        let decimals = decimals.trim_end_matches('0');
        let whole = whole.trim_start_matches('0');
        let too_long = whole.len() > WHOLE_DIGITS || decimals.len() > DECIMALS;
        if !all_digits || too_long || !text.bytes().any(|b| b.is_ascii_digit()) {
            return Err(error());
        }
        let digits = |s: &str| s.bytes().fold(0u64, |n, b| n * 10 + u64::from(b - b'0'));
        let scale = 10u64.pow((DECIMALS - decimals.len()) as u32);
        Ok(Amount {
            millionths: digits(whole) * ONE + digits(decimals) * scale,
        })
    }
}

impl fmt::Display for Amount {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (whole, rest) = (self.millionths / ONE, self.millionths % ONE);
        if rest == 0 {
            return write!(f, "{whole}");
        }
        let decimals = format!("{rest:06}");
        write!(f, "{whole}.{}", decimals.trim_end_matches('0'))
    }
}
