//! Rotation against enantiomeric excess: a calibration curve for substances whose rotation is not linear in it (Horeau
//! effect), and its inversion.
//!
//! The curve is odd, because a sample and its mirror image have opposite rotations: `[α](e) = a e` or `a e + b e³`. Start
//! reading at [`calibrate`].

use super::kinetics::Estimate;
use super::least_squares::{Fit, FitError, Number, Observation, fit};
use crate::quantity::{Fraction, SpecificRotation};
use serde::Serialize;

/// A sample of known enantiomeric excess with its rotation.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CalibrationPoint {
    /// Signed enantiomeric excess, by another method than rotation.
    pub excess: Fraction,
    /// Its standard uncertainty, where it is known.
    pub excess_uncertainty: Option<Fraction>,
    /// The specific rotation.
    pub rotation: SpecificRotation,
    /// Its standard uncertainty, where it is known.
    pub uncertainty: Option<SpecificRotation>,
}

/// Which curve is used.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub enum Curve {
    /// `a e`: optical purity equals excess.
    Linear,
    /// `a e + b e³`.
    Cubic,
}

/// A fitted calibration.
#[derive(Clone, Debug)]
pub struct Calibration {
    /// The curve the points support.
    pub curve: Curve,
    /// Rotation of the pure enantiomer by the curve, deg mL g⁻¹ dm⁻¹.
    pub pure: Estimate,
    /// b/(a + b), the part of the pure rotation that the cubic term makes; of the cubic curve, whether or not it is chosen.
    pub curvature: Option<Estimate>,
    /// AICc of the linear and of the cubic curve.
    pub criteria: [Option<f64>; 2],
    /// Residuals from the chosen curve.
    pub residuals: Vec<f64>,
    /// Standard deviation about the chosen curve.
    pub scatter: f64,
    /// Largest difference of optical purity and excess between 0 and 1, and the excess where it is.
    pub largest_difference: (f64, f64),
    /// Smallest and largest |excess| of the points.
    pub range: (f64, f64),
    fit: Fit,
}

/// An excess read off the curve.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct ReadOff {
    /// Signed enantiomeric excess, a fraction.
    pub excess: Estimate,
    /// Signed optical purity, the rotation over that of the pure enantiomer by the curve.
    pub optical_purity: Estimate,
    /// Optical purity less excess.
    pub difference: f64,
    /// Its standard uncertainty: rotation and curve move both together.
    pub difference_uncertainty: f64,
    /// Whether |excess| lies beyond the points.
    pub extrapolated: bool,
}

/// Why there is no calibration, or no excess.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
pub enum CalibrationError {
    /// Too few different values of excess.
    #[error("{n_values} different values of |ee| above zero; at least {LEAST_VALUES} are needed for a curve")]
    TooFew {
        /// Values found.
        n_values: usize,
    },
    /// What the fit says.
    #[error(transparent)]
    Fit(#[from] FitError),
    /// The rotation does not grow with excess all the way.
    #[error(
        "the curve turns back at ee {:.0} %: one rotation stands for two values of ee, so it cannot be inverted; add points \
         there", 100.0 * at
    )]
    NotMonotonic {
        /// Where the slope becomes zero, a fraction.
        at: f64,
    },
    /// The rotation of the pure enantiomer is not clearly other than zero.
    #[error("the rotation of the pure enantiomer is not clearly other than zero, so nothing can be read off")]
    NoRotation,
    /// The rotation lies beyond what the curve reaches.
    #[error(
        "the rotation is {:.1} % of that of the pure enantiomer by the curve, beyond 100 % by more than its uncertainty; \
         check concentration, cell, line and temperature, and the points", 100.0 * ratio
    )]
    Beyond {
        /// The rotation over that of the pure enantiomer.
        ratio: f64,
    },
}

/// Least different values of |ee| above zero: two parameters and one to judge by.
const LEAST_VALUES: usize = 3;

/// Difference of AICc below which the straight line is kept (Burnham and Anderson 2002, 2.6).
const CLEARLY_BETTER: f64 = 2.0;

/// The largest |ee| there is; a pure sample read a little high is solved for this.
const MOST_EXCESS: f64 = 1.0;

fn law(e: f64, p: &[Number]) -> Number {
    match p {
        [a, b] => (*a + *b * (e * e)) * e,
        [a] => *a * e,
        _ => Number::from(0.0),
    }
}

/// Fits the curve to points of known excess.
///
/// Weighted least squares; an uncertainty of the excess enters through the slope of the curve (effective variance; common
/// practice), for which the fit is repeated. The cubic term is kept only when AICc is better by more than 2. The
/// points must be of the same conditions: the Horeau effect depends on concentration, solvent and temperature.
///
/// # Errors
/// When there are too few points, their numbers allow no fit, or the curve cannot be inverted.
pub fn calibrate(points: &[CalibrationPoint]) -> Result<Calibration, CalibrationError> {
    let mut sizes: Vec<f64> = points
        .iter()
        .map(|p| p.excess.ratio().abs())
        .filter(|e| *e > 0.0)
        .collect();
    sizes.sort_by(f64::total_cmp);
    let range = (
        sizes.first().copied().unwrap_or(0.0),
        sizes.last().copied().unwrap_or(0.0),
    );
    sizes.dedup_by(|a, b| (*a - *b).abs() < 1e-6);
    if sizes.len() < LEAST_VALUES {
        return Err(CalibrationError::TooFew { n_values: sizes.len() });
    }
    let linear = fitted(points, 1)?;
    let cubic = fitted(points, 2).ok();
    let criteria = [linear.criterion(), cubic.as_ref().and_then(Fit::criterion)];
    let curvature = cubic.as_ref().map(|fit| {
        let (value, u) = fit.propagate(|p| p[1] / (p[0] + p[1]));
        Estimate::symmetric(value, u, fit.coverage95())
    });
    let (curve, fit) = match (criteria, cubic) {
        ([Some(line), Some(curved)], Some(cubic)) if curved < line - CLEARLY_BETTER => (Curve::Cubic, cubic),
        _ => (Curve::Linear, linear),
    };
    let (pure, u_pure) = fit.propagate(|p| law(1.0, p));
    let scatter = {
        let n = fit.degrees_of_freedom.max(1) as f64;
        (fit.residuals.iter().map(|r| r * r).sum::<f64>() / n).sqrt()
    };
    let made = Calibration {
        curve,
        pure: Estimate::symmetric(pure, u_pure, fit.coverage95()),
        curvature,
        criteria,
        residuals: fit.residuals.clone(),
        scatter,
        largest_difference: (0.0, 0.0),
        range,
        fit,
    };
    if pure.abs() < 3.0 * u_pure || pure == 0.0 {
        return Err(CalibrationError::NoRotation);
    }
    made.monotonic()?;
    let largest_difference = (1..100)
        .map(|percent| f64::from(percent) / 100.0)
        .map(|e| (made.value(e) / pure - e, e))
        .max_by(|a, b| a.0.abs().total_cmp(&b.0.abs()))
        .unwrap_or((0.0, 0.0));
    Ok(Calibration {
        largest_difference,
        ..made
    })
}

fn fitted(points: &[CalibrationPoint], n_parameters: usize) -> Result<Fit, FitError> {
    let guess = points
        .iter()
        .filter(|p| p.excess.ratio() != 0.0)
        .map(|p| p.rotation.conventional() / p.excess.ratio())
        .sum::<f64>()
        / points.len() as f64;
    let mut start = vec![0.0; n_parameters];
    start[0] = guess;
    let mut slopes = vec![0.0; points.len()];
    let mut made = None;
    for _ in 0..3 {
        let values: Vec<Observation> = points
            .iter()
            .zip(&slopes)
            .map(|(p, slope): (_, &f64)| Observation {
                x: p.excess.ratio(),
                y: p.rotation.conventional(),
                uncertainty: p.uncertainty.map(|u| {
                    u.conventional()
                        .hypot(slope * p.excess_uncertainty.map_or(0.0, Fraction::ratio))
                }),
            })
            .collect();
        let fit = fit(&values, &start, law)?;
        start.clone_from(&fit.parameters);
        for (slope, p) in slopes.iter_mut().zip(points) {
            *slope = slope_of(&fit.parameters, p.excess.ratio());
        }
        made = Some(fit);
        if points
            .iter()
            .all(|p| p.excess_uncertainty.is_none() || p.uncertainty.is_none())
        {
            break;
        }
    }
    made.ok_or(FitError::NotSettled)
}

/// d\[α\]/de.
fn slope_of(parameters: &[f64], e: f64) -> f64 {
    parameters[0] + parameters.get(1).map_or(0.0, |b| 3.0 * b * e * e)
}

impl Calibration {
    /// The rotation at an excess, deg mL g⁻¹ dm⁻¹.
    fn value(&self, e: f64) -> f64 {
        let numbers: Vec<Number> = self.fit.parameters.iter().map(|&p| Number::from_re(p)).collect();
        law(e, &numbers).re
    }

    fn monotonic(&self) -> Result<(), CalibrationError> {
        let at_zero = slope_of(&self.fit.parameters, 0.0);
        match (1..=100)
            .map(|percent| f64::from(percent) / 100.0)
            .find(|&e| slope_of(&self.fit.parameters, e) * at_zero <= 0.0)
        {
            Some(at) => Err(CalibrationError::NotMonotonic { at }),
            None => Ok(()),
        }
    }

    /// Reads the excess of a sample off the curve.
    ///
    /// `u²(e) = (u²(x) + u²(curve at e))/(d[α]/de)²` (implicit function, JCGM 100:2008, 5.1.2); the curve's part comes from
    /// the covariance of its parameters. Optical purity is the rotation over the curve's rotation of the pure enantiomer.
    ///
    /// # Errors
    /// When the rotation is beyond that of the pure enantiomer by more than its uncertainty.
    pub fn read_off(
        &self,
        rotation: SpecificRotation,
        uncertainty: SpecificRotation,
    ) -> Result<ReadOff, CalibrationError> {
        let (x, u) = (rotation.conventional(), uncertainty.conventional());
        let pure = self.pure.value;
        let ratio = x / pure;
        let u_ratio = (u / pure).hypot(ratio * self.pure.standard_uncertainty / pure);
        if !ratio.is_finite() || ratio.abs() > 1.0 + (2.0 * u_ratio).min(0.1) {
            return Err(CalibrationError::Beyond { ratio });
        }
        let (mut low, mut high) = (-MOST_EXCESS, MOST_EXCESS);
        for _ in 0..80 {
            let middle = f64::midpoint(low, high);
            if (self.value(middle) - x) * pure < 0.0 {
                low = middle;
            } else {
                high = middle;
            }
        }
        let e = f64::midpoint(low, high);
        let (_, u_curve) = self.fit.propagate(|p| law(e, p));
        let slope = slope_of(&self.fit.parameters, e);
        let u_excess = u.hypot(u_curve) / slope.abs();
        // r − e = x/law(1) − law⁻¹(x), whose slope in the parameters is that of x/law(1) + law(e)/slope at fixed e.
        let (_, u_difference) = self
            .fit
            .propagate(|p| Number::from(x) / law(1.0, p) + law(e, p) / slope);
        let factor = self.fit.coverage95();
        Ok(ReadOff {
            excess: Estimate::symmetric(e, u_excess, factor),
            optical_purity: Estimate::symmetric(ratio, u_ratio, factor),
            difference: ratio - e,
            difference_uncertainty: u_difference.hypot(u * (1.0 / pure - 1.0 / slope)),
            extrapolated: e.abs() > self.range.1 + 1e-9,
        })
    }

    /// The parameters a and b with their standard uncertainties.
    pub fn parameters(&self) -> Vec<(f64, f64)> {
        (0..self.fit.parameters.len())
            .map(|at| (self.fit.parameters[at], self.fit.standard_uncertainty(at)))
            .collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn points(law: impl Fn(f64) -> f64) -> Vec<CalibrationPoint> {
        [0.2, 0.4, 0.5, 0.6, 0.8, 0.9, 1.0]
            .map(|e| CalibrationPoint {
                excess: Fraction::from_ratio(e),
                excess_uncertainty: None,
                rotation: SpecificRotation::from_conventional(law(e)),
                uncertainty: Some(SpecificRotation::from_conventional(0.02)),
            })
            .to_vec()
    }

    fn read(made: &Calibration, x: f64) -> Result<ReadOff, CalibrationError> {
        made.read_off(
            SpecificRotation::from_conventional(x),
            SpecificRotation::from_conventional(0.02),
        )
    }

    /// By hand: [α] = 20 e − 6 e³. At ee 50 % it is 9.25; the pure enantiomer has 14, so the optical purity is 66.07 %.
    #[test]
    fn a_known_curve_is_inverted() {
        let made = calibrate(&points(|e| 20.0 * e - 6.0 * e * e * e)).unwrap();
        assert_eq!(made.curve, Curve::Cubic);
        let found = read(&made, 9.25).unwrap();
        assert!((found.excess.value - 0.5).abs() < 1e-6);
        assert!((found.optical_purity.value - 9.25 / 14.0).abs() < 1e-6);
        let mirrored = read(&made, -9.25).unwrap();
        assert!((mirrored.excess.value + 0.5).abs() < 1e-6);
        // The difference (20 e − 6 e³)/14 − e is largest where its slope is zero: e = √(1/3).
        let (difference, at) = made.largest_difference;
        assert!((at - (1.0f64 / 3.0).sqrt()).abs() < 0.01 && (difference - 0.164_96).abs() < 1e-4);
        assert!(matches!(read(&made, 15.0), Err(CalibrationError::Beyond { .. })));
    }

    /// The uncertainty of the difference is the scatter of differences over simulated calibrations: points and sample drawn
    /// 2000 times (seeded) with the standard uncertainty they state; the ratio is known to 1/√4000 = 1.6 %.
    #[test]
    fn the_difference_scatters_as_its_uncertainty_says() {
        use rand::SeedableRng;
        use rand_distr::{Distribution, Normal};
        let mut rng = rand_pcg::Pcg64::seed_from_u64(1974);
        let noise = Normal::new(0.0, 0.02).unwrap();
        let true_law = |e: f64| 20.0 * e - 6.0 * e * e * e;
        let stated = read(&calibrate(&points(true_law)).unwrap(), 9.25).unwrap();
        let differences: Vec<f64> = (0..2000)
            .map(|_| {
                let mut drawn = points(true_law);
                for point in &mut drawn {
                    let off = SpecificRotation::from_conventional(noise.sample(&mut rng));
                    point.rotation =
                        SpecificRotation::from_conventional(point.rotation.conventional() + off.conventional());
                }
                let sample = 9.25 + noise.sample(&mut rng);
                read(&calibrate(&drawn).unwrap(), sample).unwrap().difference
            })
            .collect();
        let mean = differences.iter().sum::<f64>() / 2000.0;
        let sd = (differences.iter().map(|it| (it - mean).powi(2)).sum::<f64>() / 1999.0).sqrt();
        // Stated uncertainties are widened by the scatter where it is larger; here the points lie on the law.
        let ratio = stated.difference_uncertainty / sd;
        assert!((ratio - 1.0).abs() < 0.07, "{ratio}");
    }

    #[test]
    fn a_straight_line_stays_one_and_a_turning_curve_is_refused() {
        let made = calibrate(&points(|e| 20.0 * e)).unwrap();
        assert_eq!(
            (made.curve, made.largest_difference.0.abs() < 1e-9),
            (Curve::Linear, true)
        );
        assert!(matches!(
            calibrate(&points(|e| 20.0 * e - 12.0 * e * e * e)),
            Err(CalibrationError::NotMonotonic { .. })
        ));
        assert!(matches!(
            calibrate(&points(|e| e)[..2]),
            Err(CalibrationError::TooFew { n_values: 2 })
        ));
    }

    #[test]
    fn an_uncertain_excess_widens_what_is_read_off() {
        let sharp = points(|e| 20.0 * e);
        let vague: Vec<CalibrationPoint> = sharp
            .iter()
            .map(|p| CalibrationPoint {
                excess_uncertainty: Some(Fraction::from_percent(1.0)),
                ..*p
            })
            .collect();
        let u = |points: &[CalibrationPoint]| {
            read(&calibrate(points).unwrap(), 10.0)
                .unwrap()
                .excess
                .standard_uncertainty
        };
        assert!(u(&vague) > 2.0 * u(&sharp));
    }
}
