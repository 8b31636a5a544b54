//! Composition of a two-component mixture from its rotation: anomers, invert sugar, diastereomers.
//!
//! Start reading at [`composition`].

use super::kinetics::Estimate;
use super::student::t_two_sided;
use crate::quantity::{Fraction, MolarMass, SpecificRotation};
use serde::Serialize;

/// A rotation with its standard uncertainty.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Rotation {
    /// The value.
    pub value: SpecificRotation,
    /// Its standard uncertainty.
    pub uncertainty: SpecificRotation,
}

/// A fraction with its standard uncertainty and 95 % interval, and how it comes about.
#[derive(Clone, Debug, PartialEq)]
pub struct Composition {
    /// Mass fraction of the first component, both components making the whole; may lie outside 0 to 1.
    pub first: Estimate,
    /// Mole fraction of the first component, where both molar masses are given.
    pub first_by_amount: Option<Estimate>,
    /// Shares of the variance: mixture, first, second.
    pub shares: [f64; 3],
    /// Difference of the pure values over its standard uncertainty.
    pub separation: f64,
    /// What to know.
    pub cautions: Vec<CompositionCaution>,
}

/// Something to know of a composition.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct CompositionCaution {
    /// A stable word.
    pub code: &'static str,
    /// The number it rests on.
    pub number: f64,
    /// A sentence with the number and what to do.
    pub sentence: String,
}

/// Why there is no composition.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
pub enum CompositionError {
    /// The pure values cannot be told apart.
    #[error(
        "the pure values {first} and {second} differ by {separation:.1} of their standard uncertainties only, fewer than \
         {LEAST_SEPARATION}, so the rotation does not tell the composition; take values that are known better, or another \
         line where they differ more"
    )]
    Indistinct {
        /// Value of the first component.
        first: f64,
        /// Value of the second component.
        second: f64,
        /// Their difference over its standard uncertainty.
        separation: f64,
    },
    /// A number is not finite or an uncertainty below zero.
    #[error("a rotation is not a finite number, or its uncertainty is below zero")]
    NotFinite,
}

/// Difference of the pure values, in its standard uncertainties, below which no composition is given: nearer, the first
/// order of the propagation fails (the denominator may be zero within three of them).
const LEAST_SEPARATION: f64 = 4.0;

/// Factor of a 95 % interval of a normal distribution.
fn normal95() -> f64 {
    t_two_sided(0.05, f64::INFINITY)
}

/// The mass fraction w of the first component of a mixture, from `[α] = w [α]₁ + (1 − w) [α]₂` (Biot's rule: the angles of
/// what does not interact add; stated for mutarotating sugars in OpenStax Organic Chemistry, ch. 25).
///
/// Standard uncertainty by JCGM 100:2008, eq. 10, with the three rotations independent:
/// `u²(w) = (u² + w² u₁² + (1 − w)² u₂²)/([α]₁ − [α]₂)²`. All three are specific rotations at the same conditions, or the
/// angles of solutions of one mass concentration in one cell. It misleads where the components interact, where a third one
/// is there, and where mass is gained on the way (the invert sugar of 1 g of sucrose weighs 1.053 g).
///
/// # Errors
/// When the pure values differ by fewer than four standard uncertainties, or a number is not finite.
pub fn composition(
    mixture: Rotation,
    first: Rotation,
    second: Rotation,
    molar_masses: Option<[MolarMass; 2]>,
) -> Result<Composition, CompositionError> {
    let numbers = |r: Rotation| (r.value.conventional(), r.uncertainty.conventional());
    let ((x, ux), (a, ua), (b, ub)) = (numbers(mixture), numbers(first), numbers(second));
    if [x, a, b].iter().any(|value| !value.is_finite()) || [ux, ua, ub].iter().any(|u| !(*u >= 0.0 && u.is_finite())) {
        return Err(CompositionError::NotFinite);
    }
    let difference = a - b;
    let separation = difference.abs() / ua.hypot(ub);
    if difference == 0.0 || separation < LEAST_SEPARATION {
        return Err(CompositionError::Indistinct {
            first: a,
            second: b,
            separation: if difference == 0.0 { 0.0 } else { separation },
        });
    }
    let w = (x - b) / difference;
    let parts = [ux, w * ua, (1.0 - w) * ub].map(|part| (part / difference).powi(2));
    let variance: f64 = parts.iter().sum();
    let u = variance.sqrt();
    Ok(Composition {
        first: Estimate::symmetric(w, u, normal95()),
        first_by_amount: molar_masses.map(|masses| by_amount(w, u, masses)),
        shares: parts.map(|part| if variance > 0.0 { part / variance } else { 0.0 }),
        separation,
        cautions: cautions(w, u, separation),
    })
}

/// From mass to mole fraction: `x = (w/M₁)/(w/M₁ + (1 − w)/M₂)`, with the slope of that function.
fn by_amount(w: f64, u: f64, masses: [MolarMass; 2]) -> Estimate {
    let ratio = masses[0].grams_per_mole() / masses[1].grams_per_mole();
    let denominator = w + (1.0 - w) * ratio;
    Estimate::symmetric(w / denominator, u * ratio / (denominator * denominator), normal95())
}

fn cautions(w: f64, u: f64, separation: f64) -> Vec<CompositionCaution> {
    let mut cautions = Vec::new();
    let outside = if w < 0.0 { -w } else { w - 1.0 };
    if outside > 0.0 {
        let clearly = outside > normal95() * u;
        cautions.push(CompositionCaution {
            code: if clearly { "outside" } else { "outside-within-uncertainty" },
            number: outside,
            sentence: if clearly {
                format!(
                    "no mixture of the two has this rotation: the fraction lies {:.1} % outside 0 to 100 %, more than its \
                     95 % interval; check concentration, cell, conditions of the pure values, and a third component",
                    100.0 * outside
                )
            } else {
                format!(
                    "the fraction lies {:.1} % outside 0 to 100 %, within its 95 % interval: the mixture is pure as far as \
                     the rotation can tell",
                    100.0 * outside
                )
            },
        });
    }
    if separation < 10.0 {
        cautions.push(CompositionCaution {
            code: "pure-values-vague",
            number: separation,
            sentence: format!(
                "the pure values differ by {separation:.1} of their standard uncertainties only: the interval is a rough one"
            ),
        });
    }
    cautions
}

impl Composition {
    /// The mass fraction of the first component.
    pub const fn first_fraction(&self) -> Fraction {
        Fraction::from_ratio(self.first.value)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn of(value: f64, uncertainty: f64) -> Rotation {
        Rotation {
            value: SpecificRotation::from_conventional(value),
            uncertainty: SpecificRotation::from_conventional(uncertainty),
        }
    }

    /// By hand: w = (52.6 − 18.7)/(112.2 − 18.7) = 0.36257; u² = (0.2² + (0.36257·0.5)² + (0.63743·0.3)²)/93.5².
    #[test]
    fn anomers_by_hand() {
        let made = composition(of(52.6, 0.2), of(112.2, 0.5), of(18.7, 0.3), None).unwrap();
        assert!((made.first.value - 33.9 / 93.5).abs() < 1e-12);
        let by_hand = (0.04f64 + (0.362_566_8 * 0.5f64).powi(2) + (0.637_433_2 * 0.3f64).powi(2)).sqrt() / 93.5;
        assert!((made.first.standard_uncertainty - by_hand).abs() < 1e-8);
        assert!(made.cautions.is_empty());
        let swapped = composition(of(52.6, 0.2), of(18.7, 0.3), of(112.2, 0.5), None).unwrap();
        assert!((swapped.first.value + made.first.value - 1.0).abs() < 1e-12);
    }

    /// By hand: equal masses of M 342 and 180: mole fraction of the first 180/(342 + 180).
    #[test]
    fn masses_become_amounts() {
        let masses = [342.0, 180.0].map(MolarMass::from_grams_per_mole);
        let made = composition(of(50.0, 0.1), of(100.0, 0.1), of(0.0, 0.1), Some(masses)).unwrap();
        assert!((made.first_by_amount.unwrap().value - 180.0 / 522.0).abs() < 1e-12);
    }

    #[test]
    fn what_rotation_cannot_tell_is_refused_or_said() {
        assert!(matches!(
            composition(of(50.0, 0.1), of(51.0, 1.0), of(50.0, 1.0), None),
            Err(CompositionError::Indistinct { .. })
        ));
        assert!(composition(of(50.0, 0.1), of(50.0, 0.0), of(50.0, 0.0), None).is_err());
        assert!(composition(of(f64::NAN, 0.1), of(50.0, 0.0), of(0.0, 0.0), None).is_err());
        let outside = composition(of(120.0, 0.2), of(112.2, 0.5), of(18.7, 0.3), None).unwrap();
        assert_eq!(outside.cautions[0].code, "outside");
        let just = composition(of(112.6, 0.5), of(112.2, 0.5), of(18.7, 0.3), None).unwrap();
        assert_eq!(just.cautions[0].code, "outside-within-uncertainty");
    }
}
