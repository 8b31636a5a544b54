//! The laws of Drude and their fits.

use super::{DispersionPoint, LawError, ONE_TERM_LINES, TWO_TERM_LINES, air};
use crate::measurement::least_squares::{Fit, FitError, Number, Observation, fit};
use crate::quantity::{SpecificRotation, Wavelength};
use serde::Serialize;

/// One term `A/(λ² − λ0²)`.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct DrudeTerm {
    /// A, in the unit of the rotation times µm².
    pub strength: f64,
    /// Its standard uncertainty.
    pub strength_uncertainty: f64,
    /// λ0², µm²; below zero the term is a smooth background, no band.
    pub band_square: f64,
    /// λ0, nm in vacuum; 0 for a background.
    pub band_nm: f64,
    /// Its standard uncertainty.
    pub band_uncertainty: f64,
}

/// A fitted law `[α] = Σ A/(λ² − λ0²)` with λ the vacuum wavelength: the law is about frequencies, so the medium of the
/// light does not enter twice. P. Drude, Lehrbuch der Optik (1900), on natural rotation; from memory.
#[derive(Clone, Debug)]
pub struct Drude {
    /// The terms, the band of longest wavelength first.
    pub terms: Vec<DrudeTerm>,
    fit: Fit,
}

/// λ² in vacuum, µm².
fn square(wavelength: Wavelength) -> f64 {
    (wavelength.to_vacuum().nanometres() * 1e-3).powi(2)
}

/// The law at λ²: parameters A and λ0² of each term.
fn law(x: f64, p: &[Number]) -> Number {
    p.chunks_exact(2)
        .fold(Number::from(0.0), |sum, term| sum + term[0] / (-term[1] + x))
}

/// Bands tried for a start, nm.
const BANDS_TRIED: std::ops::RangeInclusive<u32> = 5..=95;

/// Points among which the search for a start looks; more are thinned out evenly for it alone.
const MOST_FOR_START: usize = 2000;

/// Squares tried for the start of a smooth background, µm².
const BACKGROUNDS_TRIED: [f64; 4] = [-0.05, -0.4, -1.5, -5.0];

/// Fits a law of one or two terms to points in order of wavelength.
pub(super) fn fit_law(points: &[DispersionPoint], n_terms: usize) -> Result<Drude, LawError> {
    let mut lines: Vec<f64> = points.iter().map(|point| air(point.wavelength)).collect();
    lines.dedup_by(|a, b| (*a - *b).abs() < 0.3);
    let needed = if n_terms == 1 { ONE_TERM_LINES } else { TWO_TERM_LINES };
    if lines.len() < needed {
        return Err(LawError::TooFew {
            n_lines: lines.len(),
            needed,
        });
    }
    let values: Vec<Observation> = points
        .iter()
        .map(|point| Observation {
            x: square(point.wavelength),
            y: point.rotation.conventional(),
            uncertainty: point.uncertainty.map(SpecificRotation::conventional),
        })
        .collect();
    let shortest = values.iter().map(|value| value.x).fold(f64::INFINITY, f64::min);
    let start = start(&values, shortest, n_terms).ok_or(FitError::NotFinite)?;
    let fit = fit(&values, &start, law)?;
    for at in 0..n_terms {
        let (band, u) = (fit.parameters[2 * at + 1], fit.standard_uncertainty(2 * at + 1));
        if band >= shortest {
            return Err(LawError::BandInside {
                band_nm: band.sqrt() * 1e3,
            });
        }
        // A band at zero within its uncertainty is one far in the ultraviolet: the inverse square law. Beside a true band, a
        // second term with a square below zero is a smooth background, as measured tables need it (the constant of quartz).
        let beside = n_terms > 1 && fit.parameters.chunks_exact(2).any(|term| term[1] > 0.0);
        if band < 0.0 && !beside && -band > 2.0 * u {
            return Err(LawError::NoBand);
        }
    }
    let mut terms: Vec<DrudeTerm> = (0..n_terms).map(|at| term(&fit, at)).collect();
    terms.sort_by(|a, b| b.band_nm.total_cmp(&a.band_nm));
    Ok(Drude { terms, fit })
}

fn term(fit: &Fit, at: usize) -> DrudeTerm {
    let band = fit.parameters[2 * at + 1].max(0.0).sqrt() * 1e3;
    let u_square = fit.standard_uncertainty(2 * at + 1) * 1e6;
    DrudeTerm {
        strength: fit.parameters[2 * at],
        strength_uncertainty: fit.standard_uncertainty(2 * at),
        band_square: fit.parameters[2 * at + 1],
        band_nm: band,
        // Near zero the slope of the root is without bound; the root of the uncertainty is the band it allows.
        band_uncertainty: if band * band > u_square {
            u_square / (2.0 * band)
        } else {
            u_square.sqrt()
        },
    }
}

/// The best of many bands, or pairs of bands, each with the strengths that fit best: the law is linear in them.
fn start(values: &[Observation], shortest: f64, n_terms: usize) -> Option<Vec<f64>> {
    let bands: Vec<f64> = BANDS_TRIED
        .step_by(5)
        .map(|percent| shortest * (f64::from(percent) / 100.0).powi(2))
        .collect();
    let mut best: Option<(f64, Vec<f64>)> = None;
    let mut consider = |squares: f64, parameters: Vec<f64>| {
        if squares.is_finite() && best.as_ref().is_none_or(|(least, _)| squares < *least) {
            best = Some((squares, parameters));
        }
    };
    let weight = |value: &Observation| value.uncertainty.map_or(1.0, |u| 1.0 / (u * u));
    let values: Vec<&Observation> = values
        .iter()
        .step_by(values.len().div_ceil(MOST_FOR_START).max(1))
        .collect();
    for (i, &a) in bands.iter().enumerate() {
        if n_terms == 1 {
            let (mut ff, mut fy) = (0.0, 0.0);
            for value in &values {
                let f = 1.0 / (value.x - a);
                ff += weight(value) * f * f;
                fy += weight(value) * f * value.y;
            }
            let strength = fy / ff;
            let squares = values
                .iter()
                .map(|value| weight(value) * (value.y - strength / (value.x - a)).powi(2))
                .sum();
            consider(squares, vec![strength, a]);
            continue;
        }
        for &b in bands[..i].iter().chain(&BACKGROUNDS_TRIED) {
            let (mut ff, mut fg, mut gg, mut fy, mut gy) = (0.0, 0.0, 0.0, 0.0, 0.0);
            for value in &values {
                let w = weight(value);
                let (f, g) = (1.0 / (value.x - a), 1.0 / (value.x - b));
                ff += w * f * f;
                fg += w * f * g;
                gg += w * g * g;
                fy += w * f * value.y;
                gy += w * g * value.y;
            }
            let determinant = ff * gg - fg * fg;
            let (p, q) = ((fy * gg - gy * fg) / determinant, (gy * ff - fy * fg) / determinant);
            let squares = values
                .iter()
                .map(|value| weight(value) * (value.y - p / (value.x - a) - q / (value.x - b)).powi(2))
                .sum();
            consider(squares, vec![p, a, q, b]);
        }
    }
    best.map(|(_, parameters)| parameters)
}

impl Drude {
    /// The rotation at a wavelength and the standard uncertainty of the fit.
    pub fn rotation(&self, wavelength: Wavelength) -> (f64, f64) {
        let x = square(wavelength);
        self.fit.propagate(|p| law(x, p))
    }

    /// The ratio of the rotation at `to` over that at `from`, and its standard uncertainty.
    pub fn ratio(&self, from: Wavelength, to: Wavelength) -> (f64, f64) {
        let (x, y) = (square(from), square(to));
        self.fit.propagate(|p| law(y, p) / law(x, p))
    }

    /// AICc; none where there are too few points for it.
    pub fn criterion(&self) -> Option<f64> {
        self.fit.criterion()
    }

    /// Residuals, in the order of the points.
    pub fn residuals(&self) -> &[f64] {
        &self.fit.residuals
    }

    /// The longest wavelength of a band, nm.
    pub fn longest_band_nm(&self) -> f64 {
        self.terms.first().map_or(0.0, |term| term.band_nm)
    }

    /// Sum of squared residuals, each over its variance where uncertainties are stated.
    pub fn chi_square(&self) -> f64 {
        self.fit.chi_square
    }

    /// Points less parameters.
    pub fn degrees_of_freedom(&self) -> usize {
        self.fit.degrees_of_freedom
    }

    /// Probability of such a scatter, where uncertainties are stated.
    pub fn probability(&self) -> Option<f64> {
        self.fit.probability()
    }

    /// Factor by which stated uncertainties were widened.
    pub fn widened(&self) -> f64 {
        self.fit.widened
    }

    /// Factor from a standard uncertainty to a 95 % half-width.
    pub fn coverage95(&self) -> f64 {
        self.fit.coverage95()
    }

    /// Standard deviation of the residuals in the unit of the rotation; none without a degree of freedom.
    pub fn scatter(&self) -> Option<f64> {
        let n = self.fit.degrees_of_freedom;
        let squares: f64 = self.fit.residuals.iter().map(|r| r * r).sum();
        (n > 0).then(|| (squares / n as f64).sqrt())
    }

    /// The fit itself, with the covariance of its parameters: A and λ0² (µm²) of each term in turn.
    pub const fn fit(&self) -> &Fit {
        &self.fit
    }
}
