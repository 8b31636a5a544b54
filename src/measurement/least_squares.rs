//! Weighted non-linear least squares with the covariance of the parameters: the one place from which change with time,
//! dispersion and calibration curves fit.
//!
//! Levenberg–Marquardt with exact derivatives (dual numbers), so a law is written once, as a function of its parameters.
//! Start reading at [`fit`]. The values are plain numbers here; the callers know their units.

use super::student::t_two_sided;
use levenberg_marquardt::{LeastSquaresProblem, LevenbergMarquardt};
use nalgebra::{DMatrix, DVector, Dyn, Owned};
use num_dual::Dual64;
use statrs::distribution::{ChiSquared, ContinuousCDF};

/// A number with its derivative, in which laws are written.
pub type Number = Dual64;

/// One observed value y at x; `uncertainty` is its standard uncertainty, or none where the scatter shall tell it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Observation {
    /// The independent variable.
    pub x: f64,
    /// The observed value.
    pub y: f64,
    /// Its standard uncertainty.
    pub uncertainty: Option<f64>,
}

/// Why nothing is fitted.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum FitError {
    /// Fewer values than parameters, or as many where the scatter shall tell the uncertainty.
    #[error("{n_values} values cannot tell {n_parameters} parameters{}; take more values", if *with_scatter { " and their scatter" } else { "" })]
    TooFew {
        /// Values given.
        n_values: usize,
        /// Parameters of the law.
        n_parameters: usize,
        /// Whether the scatter was to be told too.
        with_scatter: bool,
    },
    /// Some values have an uncertainty and some have none, or one is not above zero.
    #[error("give the standard uncertainty of every value, each above zero, or of none")]
    Uncertainties,
    /// A value or a start is not a number.
    #[error("a value is not a finite number")]
    NotFinite,
    /// The search did not settle.
    #[error("the fit did not settle on values for the parameters")]
    NotSettled,
    /// The values do not tell all parameters.
    #[error("the values do not tell all parameters of the law")]
    Degenerate,
}

/// A law fitted to values.
#[derive(Clone, Debug)]
pub struct Fit {
    /// The parameters, in the order of the start.
    pub parameters: Vec<f64>,
    /// Their covariance.
    covariance: DMatrix<f64>,
    /// Residuals y − law(x), in the order of the values.
    pub residuals: Vec<f64>,
    /// Sum of the squared residuals, each over its variance where uncertainties are stated.
    pub chi_square: f64,
    /// Values less parameters.
    pub degrees_of_freedom: usize,
    /// Whether uncertainties were stated; otherwise the scatter of the residuals told them.
    pub stated: bool,
    /// Factor by which the stated uncertainties were widened, because the scatter is larger than they allow (Birge
    /// ratio); 1 where it is not.
    pub widened: f64,
}

/// Probability of the χ² below which stated uncertainties do not explain the scatter.
const UNLIKELY: f64 = 0.05;

/// Most evaluations per parameter before the search is given up, for up to [`MANY`] values.
const PATIENCE: usize = 1000;

/// More values than this are first fitted thinned out evenly; the search among all of them begins there, and has as much
/// less patience as there are more.
const MANY: usize = 4000;

/// Fits `law(x, parameters)` to the values, from `start`.
///
/// Minimises Σ ((y − law)/u)². Where no uncertainty is stated, all values weigh alike and the residual variance
/// `s² = χ²/ν` scales the covariance `(JᵀJ)⁻¹`; where they are stated, the covariance is widened by χ²/ν only when such a
/// χ² has a probability below 5 % (Birge ratio; common practice in adjusting measured constants). The covariance is that
/// of the linearised law at the minimum: it misleads where the law is far from linear within the uncertainties.
///
/// # Errors
/// When the values cannot tell the parameters, or the search does not settle.
pub fn fit(values: &[Observation], start: &[f64], law: impl Fn(f64, &[Number]) -> Number) -> Result<Fit, FitError> {
    let stated = values.first().is_some_and(|value| value.uncertainty.is_some());
    if values.iter().any(|value| match value.uncertainty {
        Some(u) => !(stated && u > 0.0 && u.is_finite()),
        None => stated,
    }) {
        return Err(FitError::Uncertainties);
    }
    if values.iter().any(|value| !value.x.is_finite() || !value.y.is_finite()) || start.iter().any(|p| !p.is_finite()) {
        return Err(FitError::NotFinite);
    }
    let n_parameters = start.len();
    if values.len() < n_parameters + usize::from(!stated) || n_parameters == 0 {
        return Err(FitError::TooFew {
            n_values: values.len(),
            n_parameters,
            with_scatter: !stated,
        });
    }
    let search = |values, parameters, patience| {
        let problem = Problem {
            values,
            law: &law,
            parameters,
        };
        LevenbergMarquardt::new().with_patience(patience).minimize(problem)
    };
    let mut begin = DVector::from_column_slice(start);
    let times_many = values.len().div_ceil(MANY);
    let thinned: Vec<Observation>;
    if times_many > 1 {
        thinned = values.iter().step_by(times_many).copied().collect();
        begin = search(&thinned[..], begin, PATIENCE).0.parameters;
    }
    let (solved, report) = search(values, begin, (PATIENCE / times_many).max(10));
    let parameters: Vec<f64> = solved.parameters.iter().copied().collect();
    if !report.termination.was_successful() || parameters.iter().any(|p| !p.is_finite()) {
        return Err(FitError::NotSettled);
    }
    finish(&solved, parameters, stated)
}

fn finish<L: Fn(f64, &[Number]) -> Number>(
    solved: &Problem<'_, L>,
    parameters: Vec<f64>,
    stated: bool,
) -> Result<Fit, FitError> {
    let residuals: Vec<f64> = solved
        .values
        .iter()
        .map(|value| value.y - solved.at(value.x, None).re)
        .collect();
    let chi_square = residuals
        .iter()
        .zip(solved.values)
        .map(|(r, value)| (r / value.uncertainty.unwrap_or(1.0)).powi(2))
        .sum::<f64>();
    if !chi_square.is_finite() || chi_square >= OUT_OF_DOMAIN {
        return Err(FitError::NotSettled);
    }
    let degrees_of_freedom = residuals.len() - parameters.len();
    let reduced = chi_square / degrees_of_freedom.max(1) as f64;
    let widened = if stated && degrees_of_freedom > 0 && upper_tail(chi_square, degrees_of_freedom) < UNLIKELY {
        reduced.sqrt()
    } else {
        1.0
    };
    let scale = if stated { widened * widened } else { reduced };
    let covariance = unscaled_covariance(&solved.derivatives()).ok_or(FitError::Degenerate)? * scale;
    Ok(Fit {
        parameters,
        covariance,
        residuals,
        chi_square,
        degrees_of_freedom,
        stated,
        widened,
    })
}

/// Smallest singular value, over the largest, of the scaled derivatives that still tells the parameters apart.
const SINGULAR: f64 = 1e-11;

/// `(JᵀJ)⁻¹` through the singular values of J with its columns brought to length one; none where they are dependent.
fn unscaled_covariance(derivatives: &DMatrix<f64>) -> Option<DMatrix<f64>> {
    let n = derivatives.ncols();
    let lengths: Vec<f64> = derivatives.column_iter().map(|column| column.norm()).collect();
    if lengths.iter().any(|length| !(*length > 0.0 && length.is_finite())) {
        return None;
    }
    let mut scaled = derivatives.clone();
    for (mut column, length) in scaled.column_iter_mut().zip(&lengths) {
        column /= *length;
    }
    let triangle = scaled.qr().r();
    let parts = triangle.svd(false, true);
    let turned = parts.v_t?;
    let largest = parts.singular_values.max();
    if parts.singular_values.min() < SINGULAR * largest {
        return None;
    }
    let mut covariance = DMatrix::zeros(n, n);
    for i in 0..n {
        for j in 0..n {
            covariance[(i, j)] = (0..n)
                .map(|k| turned[(k, i)] * turned[(k, j)] / parts.singular_values[k].powi(2))
                .sum::<f64>()
                / (lengths[i] * lengths[j]);
        }
    }
    Some(covariance)
}

/// Probability of a χ² this large or larger.
fn upper_tail(chi_square: f64, degrees_of_freedom: usize) -> f64 {
    ChiSquared::new(degrees_of_freedom as f64).map_or(1.0, |law| law.sf(chi_square))
}

impl Fit {
    /// Standard uncertainty of a parameter.
    ///
    /// # Panics
    /// When the law has no such parameter.
    pub fn standard_uncertainty(&self, at: usize) -> f64 {
        self.covariance[(at, at)].max(0.0).sqrt()
    }

    /// Covariance of two parameters.
    ///
    /// # Panics
    /// When the law has no such parameters.
    pub fn covariance(&self, i: usize, j: usize) -> f64 {
        self.covariance[(i, j)]
    }

    /// A function of the parameters with its standard uncertainty (JCGM 100:2008, eq. 13, correlated inputs).
    pub fn propagate(&self, function: impl Fn(&[Number]) -> Number) -> (f64, f64) {
        let mut inputs: Vec<Number> = self.parameters.iter().map(|&p| Number::from_re(p)).collect();
        let value = function(&inputs).re;
        let slopes: Vec<f64> = (0..inputs.len())
            .map(|at| {
                inputs[at].eps = 1.0;
                let slope = function(&inputs).eps;
                inputs[at].eps = 0.0;
                slope
            })
            .collect();
        let variance: f64 = (0..slopes.len())
            .flat_map(|i| (0..slopes.len()).map(move |j| (i, j)))
            .map(|(i, j)| slopes[i] * self.covariance[(i, j)] * slopes[j])
            .sum();
        (value, variance.max(0.0).sqrt())
    }

    /// Standard deviation of the residuals, in the unit of the values where no uncertainty is stated, else relative to
    /// the stated ones; none without a degree of freedom.
    pub fn residual_deviation(&self) -> Option<f64> {
        (self.degrees_of_freedom > 0).then(|| (self.chi_square / self.degrees_of_freedom as f64).sqrt())
    }

    /// Probability of a scatter this large or larger where the law holds and the stated uncertainties are right; none
    /// where none are stated or nothing is left to judge by.
    pub fn probability(&self) -> Option<f64> {
        (self.stated && self.degrees_of_freedom > 0).then(|| upper_tail(self.chi_square, self.degrees_of_freedom))
    }

    /// Factor from a standard uncertainty to the half-width of a 95 % interval: Student's t with the degrees of freedom of
    /// the scatter (JCGM 100:2008, G.3.2), or the normal 1.96 where uncertainties are stated and explain the scatter.
    pub fn coverage95(&self) -> f64 {
        let is_normal = self.stated && self.widened == 1.0 || self.degrees_of_freedom == 0;
        let degrees_of_freedom = if is_normal {
            f64::INFINITY
        } else {
            self.degrees_of_freedom as f64
        };
        t_two_sided(0.05, degrees_of_freedom)
    }

    /// Akaike's criterion with the small-sample correction; smaller is better. Burnham and Anderson, Model Selection and
    /// Multimodel Inference, 2nd ed. (2002), eq. 2.25: `−2 ln L + 2 K + 2 K (K + 1)/(n − K − 1)`, with −2 ln L = χ² where
    /// uncertainties are stated, or n ln(χ²/n) with the variance as one more parameter. None where n is too small for it.
    pub fn criterion(&self) -> Option<f64> {
        let n = self.residuals.len();
        let k = self.parameters.len() + usize::from(!self.stated);
        if n < k + 2 {
            return None;
        }
        let (n, k) = (n as f64, k as f64);
        let likelihood = if self.stated {
            self.chi_square
        } else {
            n * (self.chi_square / n).max(f64::MIN_POSITIVE).ln()
        };
        Some(likelihood + 2.0 * k + 2.0 * k * (k + 1.0) / (n - k - 1.0))
    }
}

/// What a residual is taken for where the law has no value: so large that the search turns back.
const OUT_OF_DOMAIN: f64 = 1e100;

struct Problem<'a, L> {
    values: &'a [Observation],
    law: &'a L,
    parameters: DVector<f64>,
}

impl<L: Fn(f64, &[Number]) -> Number> Problem<'_, L> {
    /// The law at x, with its derivative by one parameter.
    fn at(&self, x: f64, by: Option<usize>) -> Number {
        let mut inputs: Vec<Number> = self.parameters.iter().map(|&p| Number::from_re(p)).collect();
        if let Some(by) = by {
            inputs[by].eps = 1.0;
        }
        (self.law)(x, &inputs)
    }

    fn derivatives(&self) -> DMatrix<f64> {
        let mut matrix = DMatrix::zeros(self.values.len(), self.parameters.len());
        let mut inputs: Vec<Number> = self.parameters.iter().map(|&p| Number::from_re(p)).collect();
        for by in 0..inputs.len() {
            inputs[by].eps = 1.0;
            for (row, value) in self.values.iter().enumerate() {
                let slope = -(self.law)(value.x, &inputs).eps / value.uncertainty.unwrap_or(1.0);
                matrix[(row, by)] = if slope.is_finite() { slope } else { 0.0 };
            }
            inputs[by].eps = 0.0;
        }
        matrix
    }
}

impl<L: Fn(f64, &[Number]) -> Number> LeastSquaresProblem<f64, Dyn, Dyn> for Problem<'_, L> {
    type ResidualStorage = Owned<f64, Dyn>;
    type JacobianStorage = Owned<f64, Dyn, Dyn>;
    type ParameterStorage = Owned<f64, Dyn>;

    fn set_params(&mut self, parameters: &DVector<f64>) {
        self.parameters.copy_from(parameters);
    }

    fn params(&self) -> DVector<f64> {
        self.parameters.clone()
    }

    fn residuals(&self) -> Option<DVector<f64>> {
        let inputs: Vec<Number> = self.parameters.iter().map(|&p| Number::from_re(p)).collect();
        Some(DVector::from_iterator(
            self.values.len(),
            self.values.iter().map(|value| {
                let r = (value.y - (self.law)(value.x, &inputs).re) / value.uncertainty.unwrap_or(1.0);
                if r.is_finite() { r } else { OUT_OF_DOMAIN }
            }),
        ))
    }

    fn jacobian(&self) -> Option<DMatrix<f64>> {
        Some(self.derivatives())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn line(points: &[(f64, f64)], uncertainty: Option<f64>) -> Result<Fit, FitError> {
        let values: Vec<Observation> = points.iter().map(|&(x, y)| Observation { x, y, uncertainty }).collect();
        fit(&values, &[0.0, 1.0], |x, p| p[0] + p[1] * x)
    }

    /// Textbook formulas of the straight line: slope Σ(x−x̄)(y−ȳ)/Σ(x−x̄)², s² = RSS/(n−2), u(slope) = s/√Σ(x−x̄)².
    /// By hand for (0, 1), (1, 3), (2, 4): slope 1.5, intercept 7/6, RSS 1/6, u(slope)² = 1/12.
    #[test]
    fn a_straight_line_equals_its_closed_form() {
        let made = line(&[(0.0, 1.0), (1.0, 3.0), (2.0, 4.0)], None).unwrap();
        assert!((made.parameters[1] - 1.5).abs() < 1e-10 && (made.parameters[0] - 7.0 / 6.0).abs() < 1e-10);
        assert!((made.chi_square - 1.0 / 6.0).abs() < 1e-12);
        assert!((made.standard_uncertainty(1).powi(2) - 1.0 / 12.0).abs() < 1e-10);
        let (value, u) = made.propagate(|p| p[0] + p[1]);
        // At the mean of x: ȳ = 8/3 with variance s²/n = 1/18.
        assert!((value - 8.0 / 3.0).abs() < 1e-10 && (u * u - 1.0 / 18.0).abs() < 1e-10);
    }

    #[test]
    fn what_cannot_be_told_is_refused() {
        assert!(matches!(
            line(&[(0.0, 1.0), (1.0, 2.0)], None),
            Err(FitError::TooFew { .. })
        ));
        assert!(line(&[(0.0, 1.0), (1.0, 2.0)], Some(0.1)).is_ok());
        assert_eq!(
            line(&[(1.0, 1.0), (1.0, 2.0), (1.0, 3.0)], None).unwrap_err(),
            FitError::Degenerate
        );
        assert_eq!(
            line(&[(1.0, f64::NAN), (1.0, 2.0), (1.0, 3.0)], None).unwrap_err(),
            FitError::NotFinite
        );
        assert_eq!(
            line(&[(0.0, 1.0), (1.0, 2.0)], Some(0.0)).unwrap_err(),
            FitError::Uncertainties
        );
    }

    /// Stated uncertainties far too small for the scatter are widened by √(χ²/ν).
    #[test]
    fn scatter_beyond_the_stated_uncertainty_widens_it() {
        let points = [(0.0, 0.0), (1.0, 1.5), (2.0, 1.5), (3.0, 3.0)];
        let wide = line(&points, Some(1e-3)).unwrap();
        let free = line(&points, None).unwrap();
        assert!(wide.widened > 10.0);
        assert!((wide.standard_uncertainty(1) / free.standard_uncertainty(1) - 1.0).abs() < 1e-6);
        assert_eq!(line(&points, Some(5.0)).unwrap().widened, 1.0);
    }
}
