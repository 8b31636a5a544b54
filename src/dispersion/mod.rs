//! Rotation against wavelength: tables, fits, conversion between lines. Pure.
//!
//! [`analyse`] takes a table of rotations at wavelengths, fits the one- and the two-term law of Drude, chooses between them
//! and says where the data come near an absorption band or change sign. [`Dispersion::at`] gives the rotation at another
//! line and [`Dispersion::ratio`] the factor from one line to another, each with its standard uncertainty, or the reason
//! why none is given. The laws and their fits are in `drude.rs`.

mod drude;

pub use drude::{Drude, DrudeTerm};

use crate::measurement::least_squares::FitError;
use crate::quantity::{SpecificRotation, Wavelength};
use serde::Serialize;
use statrs::distribution::{ContinuousCDF, Normal};

/// A rotation at a wavelength.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct DispersionPoint {
    /// The wavelength, in air or vacuum.
    pub wavelength: Wavelength,
    /// The rotation: specific, or another one proportional to it, the same for all points of a table.
    pub rotation: SpecificRotation,
    /// Its standard uncertainty, where it is known.
    pub uncertainty: Option<SpecificRotation>,
}

/// Something to know of a table, with the number it rests on.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct DispersionFlag {
    /// A stable word.
    pub code: &'static str,
    /// The number it rests on.
    pub number: f64,
    /// A sentence with the number and what to do.
    pub sentence: String,
}

/// A table with the laws fitted to it.
#[derive(Clone, Debug)]
pub struct Dispersion {
    /// The points, by air wavelength, shortest first.
    pub points: Vec<DispersionPoint>,
    /// The one-term law, or why there is none.
    pub one_term: Result<Drude, LawError>,
    /// The two-term law, or why there is none.
    pub two_term: Result<Drude, LawError>,
    /// Which law is chosen: 1 or 2 terms; none when neither can be fitted.
    pub terms: Option<usize>,
    /// Weight of the two-term law beside the one-term law by AICc, from 0 to 1.
    pub two_term_weight: f64,
    /// Whether the data change sign or turn back, so that nothing is extrapolated.
    pub anomalous: bool,
    /// What to know.
    pub flags: Vec<DispersionFlag>,
}

/// Why a law is not fitted.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
pub enum LawError {
    /// Too few wavelengths.
    #[error("{n_lines} wavelength{}; this law needs {needed}", if *n_lines == 1 { "" } else { "s" })]
    TooFew {
        /// Different wavelengths found.
        n_lines: usize,
        /// Wavelengths needed.
        needed: usize,
    },
    /// What the fit says.
    #[error(transparent)]
    Fit(#[from] FitError),
    /// A band of the law lies among or beyond the data.
    #[error("the fitted band at {band_nm:.0} nm does not lie below the shortest wavelength of the data")]
    BandInside {
        /// Wavelength of the band, nm.
        band_nm: f64,
    },
    /// The square of a band's wavelength came out below zero.
    #[error("the fit asks for a band whose squared wavelength is below zero, which no absorption has")]
    NoBand,
}

/// Why there is no rotation at a line.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum ConversionError {
    /// No law could be fitted.
    #[error("no law could be fitted to the dispersion data")]
    NoLaw,
    /// Beyond the data, where they change sign or turn back.
    #[error(
        "{target_nm:.1} nm lies outside the data ({shortest_nm:.1} to {longest_nm:.1} nm), which change sign or turn \
         back: nothing is extrapolated"
    )]
    Anomalous {
        /// The wavelength asked for, nm in air.
        target_nm: f64,
        /// Shortest wavelength of the data, nm in air.
        shortest_nm: f64,
        /// Longest.
        longest_nm: f64,
    },
    /// Too near to a band.
    #[error("{target_nm:.1} nm is too near the absorption band of the fitted law at {band_nm:.0} nm")]
    NearBand {
        /// The wavelength asked for, nm in air.
        target_nm: f64,
        /// The band, nm.
        band_nm: f64,
    },
    /// Too far beyond the data.
    #[error(
        "{target_nm:.1} nm is too far outside the data ({shortest_nm:.1} to {longest_nm:.1} nm); measure nearer to it"
    )]
    TooFar {
        /// The wavelength asked for, nm in air.
        target_nm: f64,
        /// Shortest wavelength of the data, nm in air.
        shortest_nm: f64,
        /// Longest.
        longest_nm: f64,
    },
    /// The rotation at the line it is converted from is not clearly other than zero.
    #[error(
        "the rotation at {line_nm:.1} nm is not clearly other than zero, or of another sign, so no ratio can be told"
    )]
    NoRatio {
        /// The wavelength, nm in air.
        line_nm: f64,
    },
}

/// A rotation predicted at a line.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Predicted {
    /// The rotation.
    pub rotation: SpecificRotation,
    /// Its standard uncertainty: of the fit, and of the choice between the two laws.
    pub uncertainty: SpecificRotation,
    /// Whether the line lies outside the data.
    pub extrapolated: bool,
}

/// The factor from the rotation at one line to that at another.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LineFactor {
    /// The factor.
    pub factor: f64,
    /// Its standard uncertainty.
    pub uncertainty: f64,
    /// Whether either line lies outside the data.
    pub extrapolated: bool,
}

/// Least wavelengths of each law: parameters and one to judge by; of two terms two more, for AICc.
const ONE_TERM_LINES: usize = 3;
const TWO_TERM_LINES: usize = 6;

/// How far beyond the data a law is used, as factors on the shortest and the longest wavelength. Towards the blue, bands
/// that the data do not see come in soon; towards the red, the laws go on smoothly.
const BLUE_REACH: f64 = 0.9;
const RED_REACH: f64 = 1.5;

/// Ratio of a wavelength to the band's from which the data count as near it. At 1.25 a term has grown to 2.8 times what
/// an inverse square would give, and the width of the band, which the law leaves out, shows (common practice: Drude's law
/// holds away from bands only).
const NEAR_BAND: f64 = 1.25;

/// Ratio of a wavelength to the band's below which nothing is predicted.
const IN_BAND: f64 = 1.1;

/// Standard uncertainties beyond which a value is clearly other than zero, here.
const CLEAR: f64 = 2.0;

/// Fits both laws and looks at the data.
///
/// Where no uncertainty is stated, the scatter about the law tells it. The criterion is AICc (Burnham and Anderson 2002,
/// eq. 2.25); the one-term law is kept unless the two-term law is better by more than 2. Repeated values at one wavelength
/// are used as they are.
pub fn analyse(points: &[DispersionPoint]) -> Dispersion {
    let mut points = points.to_vec();
    points.sort_by(|a, b| {
        let values = (a.rotation.conventional(), b.rotation.conventional());
        (air(a.wavelength).total_cmp(&air(b.wavelength))).then(values.0.total_cmp(&values.1))
    });
    let one_term = drude::fit_law(&points, 1);
    let two_term = drude::fit_law(&points, 2);
    let (terms, two_term_weight) = choose(one_term.as_ref().ok(), two_term.as_ref().ok());
    let mut made = Dispersion {
        points,
        one_term,
        two_term,
        terms,
        two_term_weight,
        anomalous: false,
        flags: Vec::new(),
    };
    made.look();
    made
}

/// The wavelength in air, nm.
fn air(wavelength: Wavelength) -> f64 {
    wavelength.to_air().nanometres()
}

/// Difference of AICc below which the simpler law is kept.
const CLEARLY_BETTER: f64 = 2.0;

/// The law to use, and the weight of two terms against one, `1/(1 + e^{(AICc2 − AICc1)/2})` (Burnham and Anderson 2002,
/// eq. 2.9).
fn choose(one: Option<&Drude>, two: Option<&Drude>) -> (Option<usize>, f64) {
    match (one, two) {
        (None, None) => (None, 0.0),
        (Some(_), None) => (Some(1), 0.0),
        (None, Some(_)) => (Some(2), 1.0),
        (Some(one), Some(two)) => match (one.criterion(), two.criterion()) {
            (Some(a), Some(b)) => (
                Some(if b < a - CLEARLY_BETTER { 2 } else { 1 }),
                1.0 / (1.0 + ((b - a) / 2.0).exp()),
            ),
            _ => (Some(1), 0.0),
        },
    }
}

impl Dispersion {
    /// The chosen law.
    pub fn law(&self) -> Option<&Drude> {
        match self.terms? {
            1 => self.one_term.as_ref().ok(),
            _ => self.two_term.as_ref().ok(),
        }
    }

    /// Whether a wavelength is near the longest band of the chosen law, where the law begins to fail.
    pub fn is_near_band(&self, wavelength: Wavelength) -> bool {
        self.law()
            .is_some_and(|law| air(wavelength) < NEAR_BAND * law.longest_band_nm())
    }

    /// Shortest and longest air wavelength of the data, nm.
    pub fn range_nm(&self) -> Option<(f64, f64)> {
        Some((
            air(self.points.first()?.wavelength),
            air(self.points.last()?.wavelength),
        ))
    }

    /// The rotation at a wavelength.
    ///
    /// The uncertainty is that of the fit, and of the choice between the laws: `u² = Σ w (u_law² + (y_law − y)²)` with the
    /// weights of AICc (Burnham and Anderson 2002, eq. 4.9, about the chosen law). It holds only as far as the law does.
    ///
    /// # Errors
    /// When no law was fitted, the wavelength is near a band of it or too far beyond the data, or it lies beyond data that
    /// change sign.
    pub fn at(&self, wavelength: Wavelength) -> Result<Predicted, ConversionError> {
        let extrapolated = self.reach(wavelength)?;
        let (value, variance) = self.averaged(|law| law.rotation(wavelength))?;
        Ok(Predicted {
            rotation: SpecificRotation::from_conventional(value),
            uncertainty: SpecificRotation::from_conventional(variance.sqrt()),
            extrapolated,
        })
    }

    /// The factor that takes a rotation from one wavelength to another. The size of the fitted rotation cancels; what is
    /// left is the uncertainty of the shape, with the covariance of both ends, and of the choice between the laws.
    ///
    /// # Errors
    /// As [`Dispersion::at`] for both ends; and when the rotation at either end is not clearly other than zero, or the two
    /// have different signs.
    pub fn ratio(&self, from: Wavelength, to: Wavelength) -> Result<LineFactor, ConversionError> {
        let extrapolated = self.reach(from)? | self.reach(to)?;
        let mut sign = 0.0;
        for end in [from, to] {
            let (value, variance) = self.averaged(|law| law.rotation(end))?;
            if value.abs() < CLEAR * variance.sqrt() || value * sign < 0.0 {
                return Err(ConversionError::NoRatio { line_nm: air(end) });
            }
            sign = value;
        }
        let (factor, variance) = self.averaged(|law| law.ratio(from, to))?;
        Ok(LineFactor {
            factor,
            uncertainty: variance.sqrt(),
            extrapolated,
        })
    }

    /// A quantity by the chosen law, and its variance over both laws.
    fn averaged(&self, quantity: impl Fn(&Drude) -> (f64, f64)) -> Result<(f64, f64), ConversionError> {
        let (chosen, _) = self.law().map(&quantity).ok_or(ConversionError::NoLaw)?;
        let weights = [1.0 - self.two_term_weight, self.two_term_weight];
        let variance = [&self.one_term, &self.two_term]
            .into_iter()
            .zip(weights)
            .filter_map(|(law, weight)| Some((law.as_ref().ok()?, weight)))
            .filter(|(_, weight)| *weight > 0.0)
            .map(|(law, weight)| {
                let (value, u) = quantity(law);
                weight * (u * u + (value - chosen).powi(2))
            })
            .sum();
        Ok((chosen, variance))
    }

    /// Whether a wavelength lies outside the data; refused where no law reaches it.
    fn reach(&self, wavelength: Wavelength) -> Result<bool, ConversionError> {
        let target_nm = air(wavelength);
        let law = self.law().ok_or(ConversionError::NoLaw)?;
        let (shortest_nm, longest_nm) = self.range_nm().ok_or(ConversionError::NoLaw)?;
        let band_nm = law.longest_band_nm();
        if target_nm < IN_BAND * band_nm {
            return Err(ConversionError::NearBand { target_nm, band_nm });
        }
        // A tenth of a nanometre is nothing but rounding of a line's wavelength.
        let inside = (shortest_nm - 0.1..=longest_nm + 0.1).contains(&target_nm);
        if inside {
            return Ok(false);
        }
        if self.anomalous {
            return Err(ConversionError::Anomalous {
                target_nm,
                shortest_nm,
                longest_nm,
            });
        }
        if !(BLUE_REACH * shortest_nm..=RED_REACH * longest_nm).contains(&target_nm) {
            return Err(ConversionError::TooFar {
                target_nm,
                shortest_nm,
                longest_nm,
            });
        }
        Ok(true)
    }

    /// Looks for what makes a law doubtful.
    fn look(&mut self) {
        let scatter = self.scatter();
        let value = |point: &DispersionPoint| point.rotation.conventional();
        let u = |point: &DispersionPoint| point.uncertainty.map_or(scatter, SpecificRotation::conventional);
        let clear = |point: &&DispersionPoint| value(point).abs() > CLEAR * u(point);
        let mut flags = Vec::new();
        let mut flag = |code, number: f64, sentence: String| flags.push(DispersionFlag { code, number, sentence });

        let repeated = self
            .points
            .windows(2)
            .filter(|pair| air(pair[0].wavelength) == air(pair[1].wavelength) && value(&pair[0]) == value(&pair[1]))
            .count();
        if repeated > 0 {
            flag(
                "repeated",
                repeated as f64,
                format!(
                    "values that repeat the wavelength and the value of another one: {repeated}; they were kept, and they \
                     make the scatter look smaller than it is if they are copies"
                ),
            );
        }
        let signs: Vec<(f64, bool)> = self
            .points
            .iter()
            .filter(clear)
            .map(|point| (air(point.wavelength), value(point) > 0.0))
            .collect();
        if let Some(pair) = signs.windows(2).find(|pair| pair[0].1 != pair[1].1) {
            self.anomalous = true;
            let between = f64::midpoint(pair[0].0, pair[1].0);
            flag(
                "sign-change",
                between,
                format!(
                    "the rotation changes sign between {} and {} nm: nothing is extrapolated, and a sign holds for its line \
                     only",
                    pair[0].0, pair[1].0
                ),
            );
        }
        // Three standard deviations for one pair; as much more for many as keeps a false alarm as rare.
        let clearly = Normal::standard()
            .inverse_cdf(0.001_35 / self.points.len() as f64)
            .abs();
        let turn = self.points.windows(2).find(|pair| {
            let (blue, red) = (value(&pair[0]), value(&pair[1]));
            air(pair[0].wavelength) < air(pair[1].wavelength)
                && blue * red > 0.0
                && red.abs() - blue.abs() > clearly * (u(&pair[0]).hypot(u(&pair[1])))
        });
        if let Some(pair) = turn {
            self.anomalous = true;
            flag(
                "anomalous",
                air(pair[1].wavelength),
                format!(
                    "the rotation is larger at {} nm than at {} nm: anomalous dispersion, an absorption band is near; nothing \
                     is extrapolated",
                    air(pair[1].wavelength),
                    air(pair[0].wavelength)
                ),
            );
        }
        if let (Some(law), Some((shortest, _))) = (self.law(), self.range_nm()) {
            let band = law.longest_band_nm();
            if shortest < NEAR_BAND * band {
                flag(
                    "near-band",
                    shortest / band,
                    format!(
                        "the shortest wavelength, {shortest} nm, is only {:.2} times the law's band at {band:.0} nm: the law \
                         fails near a band; trust it at longer wavelengths only",
                        shortest / band
                    ),
                );
            }
            if let Some(probability) = law.probability().filter(|p| *p < 0.01) {
                flag(
                    "bad-fit",
                    probability,
                    format!(
                        "the scatter about the law is larger than the stated uncertainties allow (probability {probability:.1e}): \
                         they were widened by {:.1}; look for a wrong value, or take the values of one preparation",
                        law.widened()
                    ),
                );
            }
            if law.degrees_of_freedom() == 0 {
                flag(
                    "no-check",
                    self.points.len() as f64,
                    format!(
                        "{} values fix the law without one left to check it; measure at another line",
                        self.points.len()
                    ),
                );
            }
        }
        self.flags = flags;
    }

    /// Standard deviation about the chosen law; zero without one.
    fn scatter(&self) -> f64 {
        self.law().and_then(Drude::scatter).unwrap_or(0.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn table(points: &[(f64, f64)]) -> Dispersion {
        let points: Vec<DispersionPoint> = points
            .iter()
            .map(|&(nm, value)| DispersionPoint {
                wavelength: Wavelength::in_air(nm).unwrap(),
                rotation: SpecificRotation::from_conventional(value),
                uncertainty: Some(SpecificRotation::from_conventional(0.05)),
            })
            .collect();
        analyse(&points)
    }

    fn nm(value: f64) -> Wavelength {
        Wavelength::in_air(value).unwrap()
    }

    /// By hand: values of 21.648/(λ² − 0.0213) with λ in µm, rounded to 0.01 (the law of sucrose, from memory; here only a
    /// law with known parameters).
    #[test]
    fn a_one_term_law_comes_back() {
        let law = |nm: f64| 21.648 / ((nm * 1e-3).powi(2) - 0.0213);
        let points: Vec<(f64, f64)> = [365.0, 404.7, 435.8, 546.1, 578.0, 589.3, 632.8]
            .map(|nm| (nm, (100.0 * law(nm)).round() / 100.0))
            .to_vec();
        let made = table(&points);
        assert_eq!(made.terms, Some(1));
        let term = made.law().unwrap().terms[0];
        assert!((term.band_nm - 0.0213f64.sqrt() * 1e3).abs() < 0.5, "{term:?}");
        let at = made.at(nm(500.0)).unwrap();
        assert!((at.rotation.conventional() - law(500.0)).abs() < 0.05 && !at.extrapolated);
        let ratio = made.ratio(nm(589.3), nm(436.0)).unwrap();
        assert!((ratio.factor - law(436.0) / law(589.3)).abs() < 3.0 * ratio.uncertainty);
        assert!(made.at(nm(700.0)).unwrap().extrapolated);
        assert!(matches!(made.at(nm(300.0)), Err(ConversionError::TooFar { .. })));
        assert!(made.flags.is_empty(), "{:?}", made.flags);
    }

    #[test]
    fn nothing_is_extrapolated_beyond_a_sign_change() {
        let law = |nm: f64| {
            let square = (nm * 1e-3).powi(2);
            30.0 / (square - 0.04) - 32.0 / (square - 0.03)
        };
        let lines = [365.0, 404.7, 435.8, 486.1, 546.1, 578.0, 589.3, 632.8, 670.0];
        let values = lines.map(law);
        assert!(values[0] > 0.0 && values[8] < 0.0, "{values:?}");
        let made = table(&lines.map(|nm| (nm, law(nm))));
        assert!(
            made.anomalous && made.flags[0].code == "sign-change",
            "{:?}",
            made.flags
        );
        assert!(matches!(made.at(nm(800.0)), Err(ConversionError::Anomalous { .. })));
        assert!(matches!(
            made.ratio(nm(365.0), nm(632.8)),
            Err(ConversionError::NoRatio { .. })
        ));
    }

    #[test]
    fn few_lines_fix_no_law_or_one_without_a_check() {
        assert!(matches!(
            table(&[(589.3, 50.0), (546.1, 59.0)]).one_term,
            Err(LawError::TooFew { n_lines: 2, needed: 3 })
        ));
        let two = table(&[(589.3, 50.0), (546.1, 59.0), (435.8, 99.0), (365.0, 160.0)]);
        assert!(two.one_term.is_ok() && matches!(two.two_term, Err(LawError::TooFew { .. })));
    }
}
