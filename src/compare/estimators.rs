//! Classical estimators of the spread between sources, kept for comparison with the posterior.
//!
//! Model: `y_i = μ + η_i + ε_i`, `η_i ~ (0, τ²)`, `ε_i ~ (0, v_i)`, v_i known. Given τ², μ is the weighted mean with weights
//! `w_i = 1/(v_i + τ²)` and standard error `1/√Σ w_i`. All assume independent values; none knows gross errors, impure
//! samples or shared differences of conditions, which is why the program's answer does not rest on them.

use thiserror::Error;

/// A classical estimate.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Estimate {
    /// Estimate of the variance between sources τ².
    pub tau_squared: f64,
    /// Weighted mean μ.
    pub mean: f64,
    /// Its standard error.
    pub standard_error: f64,
}

/// Why there is no estimate.
#[derive(Clone, Debug, PartialEq, Error)]
pub enum EstimateError {
    /// Fewer than two values.
    #[error("an estimate of the spread between sources needs at least two values")]
    TooFew,
    /// A variance that is not above zero, or a number that is not finite.
    #[error("value {index}: the value and its variance must be finite, the variance above zero")]
    BadValue {
        /// Which, from 0.
        index: usize,
    },
}

fn check(values: &[f64], variances: &[f64]) -> Result<(), EstimateError> {
    if values.len() < 2 || values.len() != variances.len() {
        return Err(EstimateError::TooFew);
    }
    match values
        .iter()
        .zip(variances)
        .position(|(y, v)| !(y.is_finite() && v.is_finite() && *v > 0.0))
    {
        Some(index) => Err(EstimateError::BadValue { index }),
        None => Ok(()),
    }
}

/// Weighted mean and standard error at a given τ².
fn at(values: &[f64], variances: &[f64], tau_squared: f64) -> Estimate {
    let weights: Vec<f64> = variances.iter().map(|v| 1.0 / (v + tau_squared)).collect();
    let total: f64 = weights.iter().sum();
    let mean = weights.iter().zip(values).map(|(w, y)| w * y).sum::<f64>() / total;
    Estimate {
        tau_squared,
        mean,
        standard_error: total.sqrt().recip(),
    }
}

/// Cochran's Q at a given τ²: `Σ (y_i − μ)² / (v_i + τ²)`.
fn generalised_q(values: &[f64], variances: &[f64], tau_squared: f64) -> f64 {
    let mean = at(values, variances, tau_squared).mean;
    values
        .iter()
        .zip(variances)
        .map(|(y, v)| (y - mean).powi(2) / (v + tau_squared))
        .sum()
}

/// The moment estimator of DerSimonian and Laird: `τ² = max(0, (Q − (k − 1)) / (Σw − Σw²/Σw))` with `w = 1/v`.
///
/// DerSimonian and Laird, Control. Clin. Trials 7 (1986) 177, doi:10.1016/0197-2456(86)90046-2. Underestimates τ² when the
/// v_i differ much.
///
/// # Errors
/// With fewer than two values or a variance that is not above zero.
pub fn dersimonian_laird(values: &[f64], variances: &[f64]) -> Result<Estimate, EstimateError> {
    check(values, variances)?;
    let w: f64 = variances.iter().map(|v| 1.0 / v).sum();
    let w2: f64 = variances.iter().map(|v| 1.0 / (v * v)).sum();
    let q = generalised_q(values, variances, 0.0);
    let tau_squared = ((q - (values.len() - 1) as f64) / (w - w2 / w)).max(0.0);
    Ok(at(values, variances, tau_squared))
}

/// The estimator of Paule and Mandel: the τ² at which `Q(τ²) = k − 1`; zero when Q(0) is below that.
///
/// Paule and Mandel, J. Res. Natl. Bur. Stand. 87 (1982) 377, doi:10.6028/jres.087.022. Found by bisection, since Q falls
/// monotonically in τ².
///
/// # Errors
/// With fewer than two values or a variance that is not above zero.
pub fn paule_mandel(values: &[f64], variances: &[f64]) -> Result<Estimate, EstimateError> {
    check(values, variances)?;
    let target = (values.len() - 1) as f64;
    if generalised_q(values, variances, 0.0) <= target {
        return Ok(at(values, variances, 0.0));
    }
    let mut high = 1.0;
    while generalised_q(values, variances, high) > target {
        high *= 2.0;
    }
    let mut low = 0.0;
    for _ in 0..200 {
        let middle = f64::midpoint(low, high);
        if generalised_q(values, variances, middle) > target {
            low = middle;
        } else {
            high = middle;
        }
    }
    Ok(at(values, variances, f64::midpoint(low, high)))
}

/// The restricted maximum likelihood estimator: the τ² ≥ 0 with the highest restricted likelihood
/// `−½ [Σ ln(v_i + τ²) + ln Σ w_i + Q(τ²)]`.
///
/// Viechtbauer, J. Educ. Behav. Stat. 30 (2005) 261, doi:10.3102/10769986030003261. Found by golden-section search on a
/// bracket that a coarse logarithmic scan gives, so that a second, lower maximum does not catch it.
///
/// # Errors
/// With fewer than two values or a variance that is not above zero.
pub fn restricted_maximum_likelihood(values: &[f64], variances: &[f64]) -> Result<Estimate, EstimateError> {
    check(values, variances)?;
    let log_likelihood = |tau_squared: f64| {
        let logs: f64 = variances.iter().map(|v| (v + tau_squared).ln()).sum();
        let total: f64 = variances.iter().map(|v| 1.0 / (v + tau_squared)).sum();
        -0.5 * (logs + total.ln() + generalised_q(values, variances, tau_squared))
    };
    let centre = values.iter().sum::<f64>() / values.len() as f64;
    let spread = values.iter().map(|y| (y - centre).powi(2)).sum::<f64>() + variances.iter().sum::<f64>();
    let scan: Vec<f64> = std::iter::once(0.0)
        .chain((0..=120).map(|i| spread * 10f64.powf(-10.0 + f64::from(i) / 12.0)))
        .collect();
    let best = (0..scan.len())
        .max_by(|&i, &j| log_likelihood(scan[i]).total_cmp(&log_likelihood(scan[j])))
        .unwrap_or(0);
    let (mut low, mut high) = (scan[best.saturating_sub(1)], scan[(best + 1).min(scan.len() - 1)]);
    let golden = f64::midpoint(-1.0, 5f64.sqrt());
    for _ in 0..200 {
        let (a, b) = (high - golden * (high - low), low + golden * (high - low));
        if log_likelihood(a) >= log_likelihood(b) {
            high = b;
        } else {
            low = a;
        }
    }
    let inside = f64::midpoint(low, high);
    let tau_squared = if log_likelihood(0.0) >= log_likelihood(inside) {
        0.0
    } else {
        inside
    };
    Ok(at(values, variances, tau_squared))
}
