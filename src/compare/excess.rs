//! Optical purity beside an enantiomeric excess by another method.
//!
//! The two are different quantities. They are equal when the rotation is linear in the composition, the sample is
//! chemically pure and the reference value is right; a difference therefore says that one of these does not hold, or
//! that one of the two measurements is wrong. The pair also implies a value of the enantiopure compound, x / ee, which
//! owes nothing to any reference.

use super::judge::{Fieller, FiellerShape, Measured, fieller};
use super::mixture::{Component, Mixture};
use crate::statement::StatedExcess;
use serde::Serialize;

/// An enantiomeric excess by another method, a fraction, positive for the hand of the compound asked for.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum MethodExcess {
    /// A value with its standard uncertainty.
    Value {
        /// The excess, from −1 to 1.
        ratio: f64,
        /// Its standard uncertainty, above zero.
        sd: f64,
    },
    /// A lower bound from 0 to 1, as "> 99 %" is: anything from there to 1 is as good.
    AtLeast(f64),
}

impl MethodExcess {
    /// A stated excess with the standard uncertainty of its method, a fraction, which a lower bound has no use for. None for
    /// a lower bound below zero: which hand it bounds cannot be told.
    pub fn of(stated: &StatedExcess, sd: f64) -> Option<Self> {
        let ratio = stated.fraction().ratio();
        if !stated.at_least {
            return Some(Self::Value { ratio, sd });
        }
        (0.0..=1.0).contains(&ratio).then_some(Self::AtLeast(ratio))
    }

    /// Mean and standard deviation; a bound makes a rectangular distribution (JCGM 100:2008, 4.3.7).
    pub(super) fn moments(self) -> (f64, f64) {
        match self {
            Self::Value { ratio, sd } => (ratio, sd),
            Self::AtLeast(bound) => (f64::midpoint(bound, 1.0), (1.0 - bound) / 12f64.sqrt()),
        }
    }

    /// The lowest and highest value it leaves open, each with its standard uncertainty.
    fn ends(self) -> [(f64, f64); 2] {
        match self {
            Self::Value { ratio, sd } => [(ratio, sd); 2],
            Self::AtLeast(bound) => [(bound, 0.0), (1.0, 0.0)],
        }
    }
}

/// How optical purity and ee stand to each other.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct Agreement {
    /// Optical purity less ee, fractions; the optical purity is the plain ratio, not bounded. Where the ee is a lower bound,
    /// less the nearest value it leaves open.
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
    /// Whether it is a lower bound, so that anything from there to 1 is as good.
    pub at_least: bool,
    /// Its standard uncertainty; of a lower bound, that of the range it leaves open.
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
/// enters once. `agrees` asks whether x lies in the 95 % interval of `ee · M + η + ε`; of a lower bound, in that of any ee
/// from there to 1.
pub(super) fn check(posterior: Option<&Mixture>, measured: &Measured) -> Option<ExcessCheck> {
    let given = measured.excess?;
    let (excess, sd) = given.moments();
    let x = measured.value.conventional();
    let u = measured.uncertainty.conventional();
    let ends = given.ends();
    let mut check = ExcessCheck {
        excess: ends[0].0,
        at_least: matches!(given, MethodExcess::AtLeast(_)),
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
    let alone = posterior.widened(|_| 0.0);
    let centre = alone.quantile(0.5);
    check.expected_value = Some(excess * centre);
    let intervals: Vec<[f64; 2]> = ends.iter().filter_map(|&end| expected95(posterior, end, u)).collect();
    let low = intervals
        .iter()
        .map(|interval| interval[0])
        .fold(f64::INFINITY, f64::min);
    let high = intervals
        .iter()
        .map(|interval| interval[1])
        .fold(f64::NEG_INFINITY, f64::max);
    check.expected95 = (low <= high).then_some([low, high]);
    if check.expected95.is_some() && centre != 0.0 {
        let p = x / centre;
        let spread = posterior.widened(|c| c.tau * c.tau).standard_uncertainty();
        let u_p = u.hypot(p * spread) / centre.abs();
        let nearest = p.clamp(ends[0].0, ends[1].0);
        let standard_uncertainty = u_p.hypot(ends[0].1);
        let agrees = (low..=high).contains(&x);
        check.agreement = Some(Agreement {
            difference: p - nearest,
            standard_uncertainty,
            smallest_visible: 1.96 * standard_uncertainty,
            agrees,
        });
        if !agrees {
            check.meanings = meanings(p, nearest, check.implied.as_ref());
        }
    }
    Some(check)
}

/// 95 % interval of a measurement, with standard uncertainty u, of a sample of an excess with its standard uncertainty:
/// `e M + error`, each component scaled by e, the uncertainty of e at the size of M.
fn expected95(posterior: &Mixture, (excess, sd): (f64, f64), u: f64) -> Option<[f64; 2]> {
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
    Mixture::new(scaled).map(|mixture| [mixture.quantile(0.025), mixture.quantile(0.975)])
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
            excess: Some(MethodExcess::Value { ratio: excess, sd }),
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

    /// "> 99 %" of −50.0(5), read with u = 0.4: every ee from 0.99 to 1 is as good, so the interval runs from the low end at
    /// 1 to the high end at 0.99: −50 − 1.96·√(0.5² + 0.4²) = −51.25, −49.5 + 1.96·√(0.495² + 0.4²) = −48.25. The implied
    /// value lies between x and x/0.99.
    #[test]
    fn a_lower_bound_leaves_everything_above_it_open() {
        let reference = sure(-50.0, 0.5);
        let with = |x: f64, bound: f64| Measured {
            excess: Some(MethodExcess::AtLeast(bound)),
            ..measured(x, 0.4, 0.0, 0.0)
        };
        let found = check(Some(&reference), &with(-49.8, 0.99)).unwrap();
        assert!(found.at_least && found.excess == 0.99);
        let [low, high] = found.expected95.unwrap();
        assert!(
            (low + 51.255).abs() < 0.01 && (high + 48.253).abs() < 0.01,
            "{low} {high}"
        );
        let agreement = found.agreement.unwrap();
        assert!(agreement.agrees && agreement.difference == 0.0 && found.meanings.is_empty());
        let implied = found.implied.unwrap();
        assert!(implied.value < -49.8 && implied.value > -49.8 / 0.99);
        // Well below the bound the rotation disagrees, and the difference counts from the bound.
        let found = check(Some(&reference), &with(-45.0, 0.99)).unwrap();
        let agreement = found.agreement.unwrap();
        assert!(!agreement.agrees && (agreement.difference + 0.09).abs() < 1e-9);
        assert_eq!(found.meanings[0].code, "impurity");
        // A weak bound excludes little.
        assert!(
            check(Some(&reference), &with(-45.0, 0.8))
                .unwrap()
                .agreement
                .unwrap()
                .agrees
        );
        let stated = |percent: f64| StatedExcess {
            percent: crate::quantity::Printed::new(percent, 0),
            at_least: true,
            method: None,
        };
        assert_eq!(MethodExcess::of(&stated(99.0), 0.01), Some(MethodExcess::AtLeast(0.99)));
        assert_eq!(MethodExcess::of(&stated(-99.0), 0.01), None);
    }
}
