//! The law of propagation of uncertainty for any measurement equation: exact derivatives, correlation, degrees of freedom.
//!
//! JCGM 100:2008. Nothing here knows about rotation; [`super::model`] holds the equation.

use super::student::t_two_sided;
use num_dual::{Dual64, DualNum};
use serde::{Deserialize, Serialize};

/// What an input's value can be.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Distribution {
    /// Normal (type B, or a mean of many readings).
    Normal,
    /// Rectangular: rounding, a tolerance.
    Rectangular,
    /// A mean of few readings: Student's t with these degrees of freedom, shifted and scaled (JCGM 101:2008, 6.4.9).
    Student(f64),
}

impl Distribution {
    /// Degrees of freedom; infinite for a type B input (JCGM 100:2008, G.4.3).
    pub const fn degrees_of_freedom(self) -> f64 {
        match self {
            Self::Student(nu) => nu,
            _ => f64::INFINITY,
        }
    }
}

/// One input of a measurement equation.
#[derive(Clone, Debug, PartialEq)]
pub struct Input {
    /// Its name in the trade's words.
    pub source: &'static str,
    /// The unit of value and uncertainty.
    pub unit: &'static str,
    /// Its best estimate.
    pub value: f64,
    /// Its standard uncertainty.
    pub uncertainty: f64,
    /// What it can be.
    pub distribution: Distribution,
    /// Whether the uncertainty is a default of the program.
    pub assumed: bool,
}

/// The correlation coefficient of two inputs, by their place in the list.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Correlation {
    /// One input.
    pub first: usize,
    /// The other.
    pub second: usize,
    /// The coefficient, from −1 to 1.
    pub coefficient: f64,
}

/// An equation whose value and exact derivatives are wanted.
pub trait Equation {
    /// The value at the inputs, in the order of the list they stand in.
    fn value<D: DualNum<Primitive = f64> + Copy>(&self, inputs: &[D]) -> D;
}

/// A value with the uncertainty its inputs give it.
#[derive(Clone, Debug, PartialEq)]
pub struct Propagated {
    /// The value.
    pub value: f64,
    /// Combined standard uncertainty.
    pub uncertainty: f64,
    /// Partial derivatives, input by input.
    pub sensitivities: Vec<f64>,
    /// Effective degrees of freedom; infinite when no input rests on few readings.
    pub degrees_of_freedom: f64,
}

impl Propagated {
    /// The factor that makes an interval of 95 % of the standard uncertainty: Student's t (JCGM 100:2008, G.3, G.4).
    pub fn coverage_factor95(&self) -> f64 {
        t_two_sided(0.05, self.degrees_of_freedom)
    }
}

/// Propagates the uncertainties of the inputs.
///
/// `u² = Σ_i Σ_j c_i c_j u_i u_j r_ij` (JCGM 100:2008, eq. 13 and 16) with `c_i = ∂f/∂x_i`, exact through dual numbers, and
/// `ν_eff = u⁴ / Σ (c_i u_i)⁴/ν_i` (Welch–Satterthwaite, eq. G.2b). The latter holds for independent inputs; with
/// correlated ones it is an approximation. It misleads when the equation bends within the uncertainties: the Monte Carlo
/// check shows that.
pub fn propagate(equation: &impl Equation, inputs: &[Input], correlations: &[Correlation]) -> Propagated {
    let mut at: Vec<Dual64> = inputs.iter().map(|input| Dual64::from(input.value)).collect();
    let value = equation.value(&at).re;
    let sensitivities: Vec<f64> = (0..inputs.len())
        .map(|i| {
            at[i].eps = 1.0;
            let derivative = equation.value(&at).eps;
            at[i].eps = 0.0;
            derivative
        })
        .collect();
    let parts: Vec<f64> = inputs
        .iter()
        .zip(&sensitivities)
        .map(|(input, c)| c * input.uncertainty)
        .collect();
    let shared: f64 = correlations
        .iter()
        .map(|r| 2.0 * r.coefficient * parts[r.first] * parts[r.second])
        .sum();
    let variance = (parts.iter().map(|part| part * part).sum::<f64>() + shared).max(0.0);
    let denominator: f64 = inputs
        .iter()
        .zip(&parts)
        .map(|(input, part)| part.powi(4) / input.distribution.degrees_of_freedom())
        .sum();
    Propagated {
        value,
        uncertainty: variance.sqrt(),
        sensitivities,
        degrees_of_freedom: if denominator > 0.0 {
            variance * variance / denominator
        } else {
            f64::INFINITY
        },
    }
}

/// One line of an uncertainty budget.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct BudgetLine {
    /// The input.
    pub source: String,
    /// The input's value.
    pub value: f64,
    /// The unit of the input.
    pub unit: String,
    /// The input's standard uncertainty, in its unit.
    pub standard_uncertainty: f64,
    /// Change of the result per unit of the input.
    pub sensitivity: f64,
    /// Its contribution to the standard uncertainty of the result, deg mL g⁻¹ dm⁻¹.
    pub contribution: f64,
    /// Its share of the variance; shares sum to 1 where no inputs are correlated.
    pub share: f64,
    /// Degrees of freedom; null for a type B input.
    pub degrees_of_freedom: Option<f64>,
    /// Whether it is a default of the program and not stated by the user.
    pub assumed: bool,
}

impl BudgetLine {
    /// The input's standard uncertainty in words: of a length, mass or concentration in per cent, else in its unit.
    pub fn in_words(&self) -> String {
        let of_a_size = !matches!(self.unit.as_str(), "°" | "°C" | super::ROTATION_UNIT);
        if of_a_size && self.value.abs() > self.standard_uncertainty {
            return format!("{} %", two_digits(100.0 * self.standard_uncertainty / self.value.abs()));
        }
        let unit = match self.unit.as_str() {
            "°" => "°".to_owned(),
            "1" | super::ROTATION_UNIT => String::new(),
            "°C" => " K".to_owned(),
            unit => format!(" {unit}"),
        };
        format!("{}{unit}", two_digits(self.standard_uncertainty))
    }
}

/// Three significant digits, without trailing zeros.
fn two_digits(value: f64) -> f64 {
    if value == 0.0 || !value.is_finite() {
        return value;
    }
    let factor = 10f64.powf((1.0 - value.abs().log10().floor()).clamp(-6.0, 9.0));
    (value * factor).round() / factor
}

/// The budget of a propagated value; inputs that are exactly known have no line.
pub fn lines(inputs: &[Input], made: &Propagated) -> Vec<BudgetLine> {
    let variance = made.uncertainty * made.uncertainty;
    inputs
        .iter()
        .zip(&made.sensitivities)
        .filter(|(input, _)| input.uncertainty > 0.0)
        .map(|(input, &sensitivity)| {
            let contribution = (sensitivity * input.uncertainty).abs();
            let nu = input.distribution.degrees_of_freedom();
            BudgetLine {
                source: input.source.to_owned(),
                value: input.value,
                unit: input.unit.to_owned(),
                standard_uncertainty: input.uncertainty,
                sensitivity,
                contribution,
                share: if variance > 0.0 {
                    contribution * contribution / variance
                } else {
                    0.0
                },
                degrees_of_freedom: nu.is_finite().then_some(nu),
                assumed: input.assumed,
            }
        })
        .collect()
}
