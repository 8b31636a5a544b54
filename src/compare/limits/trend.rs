//! A series of batches: where they lie and whether they move.

use serde::Serialize;
use statrs::distribution::{ContinuousCDF, StudentsT};

/// The straight line through the batches in their order.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct Slope {
    /// Change from one batch to the next.
    pub per_batch: f64,
    /// Its standard error.
    pub standard_error: f64,
    /// Its 95 % confidence interval.
    pub interval95: [f64; 2],
    /// Whether that interval leaves out zero.
    pub clear: bool,
}

/// The batches as a whole.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct Trend {
    /// Batches with a value.
    pub n: usize,
    /// Their mean.
    pub mean: f64,
    /// Their standard deviation; none for one batch.
    pub standard_deviation: Option<f64>,
    /// The line through them; none below four batches.
    pub slope: Option<Slope>,
}

/// Fewest batches through which a line is drawn.
const FEWEST_FOR_A_LINE: usize = 4;

/// Describes the values of batches in their order; none without a value.
///
/// Ordinary least squares of the value on the batch's place in the series; the interval of the slope uses Student's
/// distribution with n − 2 degrees of freedom. It misleads when the series has a step rather than a drift, and when the
/// batches are not in the order of their making.
pub fn trend(values: &[f64]) -> Option<Trend> {
    let n = values.len();
    if n == 0 {
        return None;
    }
    let count = n as f64;
    let mean = values.iter().sum::<f64>() / count;
    let squares: f64 = values.iter().map(|value| (value - mean).powi(2)).sum();
    Some(Trend {
        n,
        mean,
        standard_deviation: (n > 1).then(|| (squares / (count - 1.0)).sqrt()),
        slope: (n >= FEWEST_FOR_A_LINE).then(|| slope(values, mean)).flatten(),
    })
}

fn slope(values: &[f64], mean: f64) -> Option<Slope> {
    let n = values.len() as f64;
    let middle = (n - 1.0) / 2.0;
    let mut sxx = 0.0;
    let mut sxy = 0.0;
    for (at, value) in values.iter().enumerate() {
        let x = at as f64 - middle;
        sxx += x * x;
        sxy += x * (value - mean);
    }
    let per_batch = sxy / sxx;
    let residual: f64 = values
        .iter()
        .enumerate()
        .map(|(at, value)| (value - mean - per_batch * (at as f64 - middle)).powi(2))
        .sum();
    let standard_error = (residual / (n - 2.0) / sxx).sqrt();
    let t = StudentsT::new(0.0, 1.0, n - 2.0).ok()?.inverse_cdf(0.975);
    let interval95 = [per_batch - t * standard_error, per_batch + t * standard_error];
    Some(Slope {
        per_batch,
        standard_error,
        interval95,
        clear: interval95[0] > 0.0 || interval95[1] < 0.0,
    })
}
