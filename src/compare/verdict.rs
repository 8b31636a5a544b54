//! The verdict: which of eight codes applies, by posterior probabilities against thresholds kept in `data/`.

use super::judge::Measured;
use super::pool::Pooling;
use crate::quantity::round_to;
use serde::{Deserialize, Serialize};

/// The verdicts, in the order in which they are tried.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub enum VerdictCode {
    /// Nothing published can be compared.
    NoBasis,
    /// The published values contradict each other.
    SourcesDisagree,
    /// The reading cannot be told from zero.
    NearZero,
    /// The other hand.
    Opposite,
    /// Larger than the enantiopure compound should give.
    Exceeds,
    /// Smaller than the enantiopure compound should give.
    Lower,
    /// Within the comparison band.
    Agrees,
    /// The data cannot tell.
    Undecided,
}

impl VerdictCode {
    /// All codes, in the order in which they are tried.
    pub const ALL: [Self; 8] = [
        Self::NoBasis,
        Self::SourcesDisagree,
        Self::NearZero,
        Self::Opposite,
        Self::Exceeds,
        Self::Lower,
        Self::Agrees,
        Self::Undecided,
    ];

    /// The code as it is exchanged.
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::NoBasis => "no-basis",
            Self::SourcesDisagree => "sources-disagree",
            Self::NearZero => "near-zero",
            Self::Opposite => "opposite",
            Self::Exceeds => "exceeds",
            Self::Lower => "lower",
            Self::Agrees => "agrees",
            Self::Undecided => "undecided",
        }
    }
}

/// The verdict.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct Verdict {
    /// Its code.
    pub code: VerdictCode,
    /// One sentence as a chemist would write it.
    pub sentence: String,
}

/// The probabilities and sizes a verdict rests on.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct Probabilities {
    /// Probability that the enantiopure compound's rotation can be told from zero with this measurement's uncertainty.
    pub reference_clear: f64,
    /// Probability of the more likely sign of the measured value.
    pub value_sign: f64,
    /// P(p < 0): that the measured value and M have opposite signs.
    pub opposite: f64,
    /// P(|p| > 1) before bounding: that the enantiopure compound would read less than this, in magnitude.
    pub exceeds: f64,
    /// P(p < 1): that the enantiopure compound would not read between zero and this.
    pub lower: f64,
    /// Whether the value lies in the comparison band.
    pub in_band: bool,
    /// Whether the value with its sign turned lies in the comparison band.
    pub mirrored_in_band: bool,
    /// Half-width of the comparison band relative to |M|.
    pub relative_band: f64,
    /// Mass of the second mode of M.
    pub second_mode: f64,
    /// Distance of the two modes relative to |M|.
    pub mode_distance: f64,
}

/// The thresholds of the verdict.
#[derive(Clone, Copy, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Thresholds {
    /// Probability from which something is taken as shown.
    pub clear: f64,
    /// Mass of a second mode from which the sources disagree.
    pub second_mode_mass: f64,
    /// Distance of two modes, relative to |M|, from which the sources disagree.
    pub mode_distance: f64,
    /// Widest half-width of the comparison band, relative to |M|, that still means something.
    pub widest_band: f64,
}

/// Why thresholds cannot be used.
#[derive(Debug, thiserror::Error)]
#[error("the thresholds of the verdict cannot be read: {0}")]
pub struct ThresholdsError(#[from] toml::de::Error);

impl Thresholds {
    /// Reads thresholds from TOML.
    ///
    /// # Errors
    /// When a value is missing or unknown.
    pub fn from_toml(text: &str) -> Result<Self, ThresholdsError> {
        Ok(toml::from_str(text)?)
    }

    /// The thresholds that come with the program.
    ///
    /// # Panics
    /// Never: a test reads the table that is compiled in.
    pub fn built_in() -> Self {
        Self::from_toml(include_str!("../../data/verdict_thresholds.toml"))
            .expect("the built-in thresholds are read by a test of this module")
    }
}

/// The first verdict that applies.
pub(super) fn decide(
    probabilities: Option<&Probabilities>,
    pooling: &Pooling,
    measured: &Measured,
    thresholds: &Thresholds,
) -> Verdict {
    let Some(p) = probabilities else {
        return Verdict {
            code: VerdictCode::NoBasis,
            sentence: "No published value in the library can be compared with this measurement.".to_owned(),
        };
    };
    let code = code(p, pooling, thresholds);
    Verdict {
        code,
        sentence: sentence(code, p, pooling, measured),
    }
}

fn code(p: &Probabilities, pooling: &Pooling, t: &Thresholds) -> VerdictCode {
    let undecided = 1.0 - t.clear;
    if p.second_mode > t.second_mode_mass && p.mode_distance > t.mode_distance {
        VerdictCode::SourcesDisagree
    } else if p.reference_clear > t.clear && p.value_sign <= t.clear {
        VerdictCode::NearZero
    } else if p.opposite > t.clear {
        if pooling.hand_can_be_tested {
            VerdictCode::Opposite
        } else {
            VerdictCode::Undecided
        }
    } else if p.exceeds > t.clear {
        VerdictCode::Exceeds
    } else if p.lower > t.clear {
        VerdictCode::Lower
    } else if p.in_band && p.relative_band <= t.widest_band && p.opposite < undecided {
        VerdictCode::Agrees
    } else {
        VerdictCode::Undecided
    }
}

/// A rotation in print form: sign and as many digits as its size deserves.
fn rotation(value: f64) -> String {
    let digits = usize::from(value.abs() < 100.0);
    format!("{:+.digits$}", round_to(value, digits)).replace('-', "\u{2212}")
}

/// Why a hand stays open.
const UNTESTED: &str = "the hand cannot be tested: no reference of independently known hand stands in the same or a \
                        kindred solvent.";

fn sentence(code: VerdictCode, p: &Probabilities, pooling: &Pooling, measured: &Measured) -> String {
    let x = rotation(measured.value.conventional());
    let (pooled, low, high, sources) = match &pooling.pooled {
        Some(pooled) => (
            rotation(pooled.value),
            rotation(pooled.interval95[0]),
            rotation(pooled.interval95[1]),
            pooled.independent_sources,
        ),
        None => return "No published value in the library can be compared with this measurement.".to_owned(),
    };
    let from = if sources == 1 {
        "one source".to_owned()
    } else {
        format!("{sources} sources")
    };
    let (untested, fits) = if pooling.hand_can_be_tested {
        (String::new(), String::new())
    } else {
        (
            format!(" T{}", &UNTESTED[1..]),
            format!(" The magnitude fits, {UNTESTED}"),
        )
    };
    match code {
        VerdictCode::NoBasis => "No published value in the library can be compared with this measurement.".to_owned(),
        VerdictCode::SourcesDisagree => format!(
            "The published values contradict each other ({} positive, {} negative; pooled {pooled}, 95 % from {low} to \
             {high}), so {x} cannot be judged until the sources are looked at.",
            pooling.signs.0, pooling.signs.1
        ),
        VerdictCode::NearZero if p.in_band => format!(
            "{x} cannot be told from zero, nor from the {pooled} expected of the pure compound: the measurement is too \
             uncertain to say anything of hand or purity."
        ),
        VerdictCode::NearZero => format!(
            "{x} cannot be told from zero, where {pooled} is expected of the pure compound ({from}): racemic or nearly \
             so, or another compound."
        ),
        VerdictCode::Opposite => format!(
            "{x} has the opposite sign to the {pooled} expected ({from}): the other enantiomer, if it is this compound."
        ),
        VerdictCode::Exceeds => format!(
            "{x} is larger than the {pooled} expected of the enantiopure compound ({from}, 95 % from {low} to {high}): \
             the references may be too low, or the sample contaminated or mis-weighed.{untested}"
        ),
        VerdictCode::Lower => format!(
            "{x} is smaller than the {pooled} expected of the enantiopure compound ({from}, 95 % from {low} to {high}): \
             enantiomerically or chemically impure, or another compound.{untested}"
        ),
        VerdictCode::Agrees => format!(
            "{x} agrees with the {pooled} expected of the enantiopure compound ({from}, 95 % from {low} to {high}); this \
             does not prove enantiopurity.{fits}"
        ),
        VerdictCode::Undecided if p.opposite > 0.5 && p.mirrored_in_band => {
            format!("{x} has the magnitude but not the sign of the {pooled} expected ({from}); {UNTESTED}")
        }
        VerdictCode::Undecided if p.opposite > 0.5 => {
            format!("{x} has neither the sign nor the magnitude of the {pooled} expected ({from}); {UNTESTED}")
        }
        VerdictCode::Undecided if p.in_band => format!(
            "{x} is compatible with the {pooled} expected ({from}), but the comparison is too wide (±{:.0} %) to mean \
             agreement.{fits}",
            100.0 * p.relative_band
        ),
        VerdictCode::Undecided => {
            format!("{x} can be neither matched with nor told from the {pooled} expected ({from}).{untested}")
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_built_in_thresholds_are_those_of_the_manual() {
        let t = Thresholds::built_in();
        assert_eq!(
            (t.clear, t.second_mode_mass, t.mode_distance, t.widest_band),
            (0.975, 0.15, 0.2, 0.15)
        );
        assert!(Thresholds::from_toml("clear = 0.9").is_err());
    }
}
