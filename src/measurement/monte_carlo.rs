//! Propagation of distributions by seeded simulation: the cross-check of the law of propagation. JCGM 101:2008.

use super::budget::{Correlation, Distribution, Equation, Input, Propagated};
use nalgebra::DMatrix;
use rand::{RngExt, SeedableRng};
use rand_distr::{Distribution as _, StandardNormal, StudentT};
use rand_pcg::Pcg64;
use serde::Serialize;

/// How the simulation runs.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Settings {
    /// Draws.
    pub trials: u32,
    /// Seed; the same seed gives the same result on every machine.
    pub seed: u64,
}

impl Default for Settings {
    fn default() -> Self {
        Self {
            trials: 100_000,
            seed: 1,
        }
    }
}

/// What the simulation found, beside what the law of propagation says.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct MonteCarlo {
    /// Draws.
    pub trials: u32,
    /// Seed.
    pub seed: u64,
    /// Mean of the drawn results.
    pub mean: f64,
    /// Their standard deviation. With few readings it is larger than the standard uncertainty of the law of propagation:
    /// compare the intervals.
    pub standard_deviation: f64,
    /// The standard deviation to be expected: each few-reading input counts ν/(ν − 2) of its variance; null where ν ≤ 2
    /// makes it infinite, and where inputs are correlated.
    pub expected_standard_deviation: Option<f64>,
    /// Interval holding 95 % of the results, 2.5 % on each side.
    pub interval95: [f64; 2],
    /// Standard error of the ends of that interval from the finite number of draws.
    pub interval_sampling_error: f64,
    /// Half the width of this interval over that of the law of propagation.
    pub width_ratio: f64,
    /// Whether the ends agree with those of the law of propagation to two digits of the standard uncertainty, sampling
    /// error allowed for (JCGM 101:2008, 8.1).
    pub agrees: bool,
}

/// Draws the inputs and evaluates the equation.
///
/// Independent inputs follow their distributions; correlated ones are drawn jointly normal (6.4.8). None when there is
/// nothing to draw: fewer than 1000 draws, no uncertainty, or correlations that no distribution can have.
pub fn simulate(
    equation: &impl Equation,
    inputs: &[Input],
    correlations: &[Correlation],
    law: &Propagated,
    settings: Settings,
) -> Option<MonteCarlo> {
    if settings.trials < 1000 || law.uncertainty.is_nan() || law.uncertainty <= 0.0 {
        return None;
    }
    let joint = joint(inputs.len(), correlations)?;
    let students: Vec<Option<StudentT<f64>>> = inputs
        .iter()
        .map(|input| match input.distribution {
            Distribution::Student(nu) => StudentT::new(nu).ok(),
            _ => None,
        })
        .collect();
    let mut rng = Pcg64::seed_from_u64(settings.seed);
    let mut drawn = vec![0.0; inputs.len()];
    let mut normals = vec![0.0; inputs.len()];
    let mut results: Vec<f64> = Vec::with_capacity(settings.trials as usize);
    for _ in 0..settings.trials {
        for normal in &mut normals {
            *normal = StandardNormal.sample(&mut rng);
        }
        for (i, input) in inputs.iter().enumerate() {
            if input.uncertainty == 0.0 {
                drawn[i] = input.value;
                continue;
            }
            let deviation = match (&joint, &students[i], input.distribution) {
                (Some((root, is_shared)), ..) if is_shared[i] => (0..=i).map(|j| root[(i, j)] * normals[j]).sum(),
                (_, Some(student), _) => student.sample(&mut rng),
                (_, _, Distribution::Rectangular) => (rng.random::<f64>() - 0.5) * 12f64.sqrt(),
                _ => normals[i],
            };
            drawn[i] = input.value + input.uncertainty * deviation;
        }
        results.push(equation.value(&drawn));
    }
    results.sort_unstable_by(f64::total_cmp);
    Some(summary(&results, inputs, !correlations.is_empty(), law, settings))
}

/// The lower triangle that makes correlated draws of independent ones, and which inputs take part.
#[expect(
    clippy::option_option,
    reason = "outer: impossible correlations; inner: no correlations at all"
)]
fn joint(n: usize, correlations: &[Correlation]) -> Option<Option<(DMatrix<f64>, Vec<bool>)>> {
    if correlations.is_empty() {
        return Some(None);
    }
    let mut matrix = DMatrix::identity(n, n);
    let mut is_shared = vec![false; n];
    for r in correlations {
        matrix[(r.first, r.second)] = r.coefficient;
        matrix[(r.second, r.first)] = r.coefficient;
        is_shared[r.first] = true;
        is_shared[r.second] = true;
    }
    // A coefficient of exactly ±1 leaves the matrix singular; the tiny ridge lets it through.
    for i in 0..n {
        matrix[(i, i)] += 1e-12;
    }
    let root = matrix.cholesky()?.l();
    Some(Some((root, is_shared)))
}

fn summary(results: &[f64], inputs: &[Input], correlated: bool, law: &Propagated, settings: Settings) -> MonteCarlo {
    let n = results.len() as f64;
    let mean = results.iter().sum::<f64>() / n;
    let variance = results.iter().map(|x| (x - mean).powi(2)).sum::<f64>() / (n - 1.0);
    let at = |share: f64| results[((share * n) as usize).min(results.len() - 1)];
    let interval95 = [at(0.025), at(0.975)];
    // The density at the ends, from the draws between the 1.5 and 3.5 % points.
    let slope = |low: f64, high: f64| (at(high) - at(low)) / (high - low);
    let spacing = slope(0.015, 0.035).max(slope(0.965, 0.985));
    let sampling = (0.025f64 * 0.975 / n).sqrt() * spacing;
    let inflated: f64 = inputs
        .iter()
        .zip(&law.sensitivities)
        .map(|(input, c)| {
            let nu = input.distribution.degrees_of_freedom();
            let factor = if nu.is_finite() { nu / (nu - 2.0) } else { 1.0 };
            let part = (c * input.uncertainty).powi(2);
            if part == 0.0 {
                0.0
            } else if nu > 2.0 {
                part * factor
            } else {
                f64::INFINITY
            }
        })
        .sum();
    let half = law.coverage_factor95() * law.uncertainty;
    let tolerance = tolerance(law.uncertainty) + 3.0 * sampling;
    let agrees =
        (law.value - half - interval95[0]).abs() <= tolerance && (law.value + half - interval95[1]).abs() <= tolerance;
    MonteCarlo {
        trials: settings.trials,
        seed: settings.seed,
        mean,
        standard_deviation: variance.sqrt(),
        expected_standard_deviation: Some(inflated.sqrt()).filter(|sd| sd.is_finite() && !correlated),
        interval95,
        interval_sampling_error: sampling,
        width_ratio: (interval95[1] - interval95[0]) / (2.0 * half),
        agrees,
    }
}

/// Half a unit of the second significant digit of a standard uncertainty (JCGM 101:2008, 7.9.2).
fn tolerance(uncertainty: f64) -> f64 {
    0.5 * 10f64.powf(uncertainty.log10().floor() - 1.0)
}
