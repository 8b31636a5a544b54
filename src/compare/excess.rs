//! Optical purity beside an enantiomeric excess by another method.
//!
//! The two are different quantities. They are equal when the rotation is linear in the composition, the sample is
//! chemically pure and the reference value is right; a difference therefore says that one of these does not hold, or
//! that one of the two measurements is wrong. The pair also implies a value of the enantiopure compound, x / ee, which
//! owes nothing to any reference.

use super::judge::{Fieller, FiellerShape, Measured, fieller};
use super::mixture::{Component, Mixture};
use serde::Serialize;

/// How optical purity and ee stand to each other.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct Agreement {
    /// Optical purity less ee, fractions; the optical purity is the plain ratio, not bounded.
    pub difference: f64,
    /// Its standard uncertainty: measurement, reference and ee together.
    pub standard_uncertainty: f64,
    /// The smallest difference that would show at 95 %.
    pub smallest_visible: f64,
    /// Whether the measured value lies in the 95 % interval that reference and ee lead to expect.
    pub agrees: bool,
}

/// The value of the enantiopure compound that rotation and ee imply, deg mL g⁻¹ dm⁻¹.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct ImpliedValue {
    /// x / ee.
    pub value: f64,
    /// Its standard uncertainty.
    pub standard_uncertainty: f64,
    /// Its 95 % interval (Fieller).
    pub interval95: [f64; 2],
}

/// One thing that a difference can mean.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct ExcessMeaning {
    /// A stable word: `impurity`, `reference-value`, `not-linear`, `weighing`, `excess-method`, `other-hand`.
    pub code: String,
    /// What it would be here, in a sentence.
    pub sentence: String,
    /// The measurement that would tell it from the others.
    pub how_to_tell: String,
}

/// What an enantiomeric excess from another method says beside the rotation.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct ExcessCheck {
    /// The excess given, a fraction, positive for the hand of the compound asked for.
    pub excess: f64,
    /// Its standard uncertainty.
    pub standard_uncertainty: f64,
    /// The rotation the pooled value and the excess lead to expect; null without a pooled value.
    pub expected_value: Option<f64>,
    /// 95 % interval of that, with the uncertainty of the measurement.
    pub expected95: Option<[f64; 2]>,
    /// How optical purity and ee stand to each other; null without a pooled value.
    pub agreement: Option<Agreement>,
    /// What the difference can mean, the likeliest kinds first; empty where they agree.
    pub meanings: Vec<ExcessMeaning>,
    /// The value of the enantiopure compound that the pair implies; null where the excess is too small or too uncertain.
    pub implied: Option<ImpliedValue>,
}

/// Smallest excess, by magnitude, that a value of the enantiopure compound is inferred from: below it a reference would
/// not be pooled either.
const LEAST_EXCESS: f64 = 0.5;

/// Sets a measured value against an excess by another method; none when none is given.
///
/// The excess is one measurement whatever the reference is, so its uncertainty, unlike the spread of the references,
/// enters once. `agrees` asks whether x lies in the 95 % interval of `ee · M + η + ε`.
pub(super) fn check(posterior: Option<&Mixture>, measured: &Measured) -> Option<ExcessCheck> {
    let (excess, sd) = measured.excess?;
    let x = measured.value.conventional();
    let u = measured.uncertainty.conventional();
    let mut check = ExcessCheck {
        excess,
        standard_uncertainty: sd,
        expected_value: None,
        expected95: None,
        agreement: None,
        meanings: Vec::new(),
        implied: implied((x, u), (excess, sd), measured.degrees_of_freedom),
    };
    let Some(posterior) = posterior else {
        return Some(check);
    };
    // e M + error: each component scaled by e; the uncertainty of e at the size of M.
    let scaled: Vec<Component> = posterior
        .components()
        .iter()
        .map(|c| Component {
            weight: c.weight,
            mean: excess * c.mean,
            variance: excess * excess * (c.variance + c.tau * c.tau) + sd * sd * c.mean * c.mean + u * u,
            tau: 0.0,
        })
        .collect();
    let alone = posterior.widened(|_| 0.0);
    let centre = alone.quantile(0.5);
    check.expected_value = Some(excess * centre);
    check.expected95 = Mixture::new(scaled).map(|mixture| [mixture.quantile(0.025), mixture.quantile(0.975)]);
    if let Some([low, high]) = check.expected95
        && centre != 0.0
    {
        let p = x / centre;
        let spread = alone.half_width().hypot(posterior.mean_tau());
        let u_p = u.hypot(p * spread) / centre.abs();
        let standard_uncertainty = u_p.hypot(sd);
        let agrees = (low..=high).contains(&x);
        check.agreement = Some(Agreement {
            difference: p - excess,
            standard_uncertainty,
            smallest_visible: 1.96 * standard_uncertainty,
            agrees,
        });
        if !agrees {
            check.meanings = meanings(p, excess, check.implied.as_ref());
        }
    }
    Some(check)
}

/// `x / e` with Fieller's interval; the standard uncertainty by JCGM 100:2008, 5.1.2: `(u_x/e)² + (x u_e/e²)²`.
fn implied(x: (f64, f64), excess: (f64, f64), degrees_of_freedom: Option<f64>) -> Option<ImpliedValue> {
    let ((x, u), (e, u_e)) = (x, excess);
    if e.abs() < LEAST_EXCESS {
        return None;
    }
    let Fieller {
        shape: FiellerShape::Interval,
        low: Some(low),
        high: Some(high),
        ..
    } = fieller((x, u), (e, u_e), degrees_of_freedom, 0.95)
    else {
        return None;
    };
    Some(ImpliedValue {
        value: x / e,
        standard_uncertainty: (u / e).hypot(x * u_e / (e * e)),
        interval95: [low, high],
    })
}

/// What a difference can mean, in trade words (common practice).
fn meanings(p: f64, excess: f64, implied: Option<&ImpliedValue>) -> Vec<ExcessMeaning> {
    let meaning = |code: &str, sentence: String, how_to_tell: &str| ExcessMeaning {
        code: code.to_owned(),
        sentence,
        how_to_tell: how_to_tell.to_owned(),
    };
    let percent = |fraction: f64| format!("{:.0} %", 100.0 * fraction);
    let reference = meaning(
        "reference-value",
        match implied {
            Some(implied) => format!(
                "The published value may be wrong or of another form: this pair implies {:.1} for the enantiopure compound.",
                implied.value
            )
            .replace('-', "\u{2212}"),
            None => "The published value may be wrong or of another form.".to_owned(),
        },
        "Measure a sample of known high ee at the same conditions.",
    );
    let not_linear = meaning(
        "not-linear",
        "The rotation may not be linear in the ee, because the enantiomers associate in solution.".to_owned(),
        "Measure at a tenth of the concentration, or in a solvent that breaks hydrogen bonds: the difference shrinks when \
         association makes it.",
    );
    let method = meaning(
        "excess-method",
        "The ee may be off: peaks not separated to the base line or overlapped by an impurity, unequal response, \
         enrichment on the way to the vial, or racemisation in making a derivative."
            .to_owned(),
        "Inject the racemate and the other enantiomer under the same conditions, and a sample spiked with a known amount.",
    );
    let weighing = |word: &str| {
        meaning(
            "weighing",
            format!(
                "The concentration or the cell length may be off, so that the specific rotation comes out too {word}."
            ),
            "Make up a second solution and measure it in another cell.",
        )
    };
    if p * excess < 0.0 {
        return vec![
            meaning(
                "other-hand",
                "Rotation and ee name opposite hands: the peaks may be assigned the wrong way round, or the sign of the \
                 angle lost."
                    .to_owned(),
                "Inject an authentic sample of one hand; measure the angle again at half the concentration.",
            ),
            reference,
            not_linear,
        ];
    }
    if p.abs() < excess.abs() {
        let inert = 1.0 - p / excess;
        vec![
            meaning(
                "impurity",
                format!(
                    "A chemical impurity, residual solvent or water lowers the rotation and leaves the ee as it is: about {} \
                     of the mass would do it, if it does not rotate itself.",
                    percent(inert)
                ),
                "Dry the sample and determine the content: NMR with an internal standard, residual solvent, water.",
            ),
            weighing("low"),
            reference,
            not_linear,
            method,
        ]
    } else {
        vec![
            reference,
            weighing("high"),
            method,
            not_linear,
            meaning(
                "impurity",
                "An impurity that rotates strongly the same way would raise the rotation and leave the ee as it is."
                    .to_owned(),
                "Look for it by chromatography without the chiral column and by NMR; purify and measure again.",
            ),
        ]
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::SpecificRotation;

    fn measured(x: f64, u: f64, excess: f64, sd: f64) -> Measured {
        Measured {
            value: SpecificRotation::from_conventional(x),
            uncertainty: SpecificRotation::from_conventional(u),
            degrees_of_freedom: None,
            excess: Some((excess, sd)),
        }
    }

    fn sure(mean: f64, sd: f64) -> Mixture {
        Mixture::new(vec![Component {
            weight: 1.0,
            mean,
            variance: sd * sd,
            tau: 0.0,
        }])
        .unwrap()
    }

    /// By hand, JCGM 100:2008 5.1.2: −41.6(4)/0.92(1) = −45.217, u = √((0.4/0.92)² + (41.6·0.01/0.92²)²) = 0.6562.
    #[test]
    fn the_implied_value_carries_both_uncertainties() {
        let found = check(None, &measured(-41.6, 0.4, 0.92, 0.01)).unwrap();
        let implied = found.implied.unwrap();
        assert!((implied.value + 45.217_391).abs() < 1e-5);
        let by_hand = (0.4f64 / 0.92).hypot(41.6 * 0.01 / (0.92 * 0.92));
        assert!((implied.standard_uncertainty - by_hand).abs() < 1e-12 && (by_hand - 0.6562).abs() < 1e-4);
        assert!(implied.interval95[0] < implied.value && implied.value < implied.interval95[1]);
        assert!((implied.interval95[1] - implied.interval95[0] - 2.0 * 1.96 * by_hand).abs() < 0.01);
        assert!(found.agreement.is_none());
        // A small excess multiplies every error; nothing is inferred.
        assert!(check(None, &measured(-10.0, 0.4, 0.2, 0.01)).unwrap().implied.is_none());
    }

    #[test]
    fn a_difference_is_told_only_where_it_shows() {
        let reference = sure(-50.0, 0.5);
        let found = check(Some(&reference), &measured(-46.0, 0.4, 0.92, 0.01)).unwrap();
        assert!(found.agreement.unwrap().agrees && found.meanings.is_empty());
        let found = check(Some(&reference), &measured(-41.4, 0.4, 0.92, 0.01)).unwrap();
        let agreement = found.agreement.unwrap();
        assert!(!agreement.agrees && (agreement.difference + 0.092).abs() < 1e-9);
        assert_eq!(found.meanings[0].code, "impurity");
        // 1 − 0.828/0.92 = 0.10.
        assert!(
            found.meanings[0].sentence.contains("10 %"),
            "{}",
            found.meanings[0].sentence
        );
        let found = check(Some(&reference), &measured(-52.0, 0.4, 0.92, 0.01)).unwrap();
        assert_eq!(found.meanings[0].code, "reference-value");
        let found = check(Some(&reference), &measured(46.0, 0.4, 0.92, 0.01)).unwrap();
        assert_eq!(found.meanings[0].code, "other-hand");
        // The same difference against a poor reference does not show.
        let found = check(Some(&sure(-50.0, 8.0)), &measured(-41.4, 0.4, 0.92, 0.01)).unwrap();
        let agreement = found.agreement.unwrap();
        assert!(agreement.agrees && agreement.smallest_visible > 0.2);
    }
}
