//! The classical estimators against a general statistics library and against published values.
//!
//! `tests/data/meta_golden.json` is made by `tests/scripts/make_estimator_golden.py` (statsmodels and scipy; the versions
//! stand in the file).

use biot::compare::estimators::{
    Estimate, EstimateError, dersimonian_laird, paule_mandel, restricted_maximum_likelihood,
};
use serde_json::Value;

type Estimator = fn(&[f64], &[f64]) -> Result<Estimate, EstimateError>;

/// Each estimator, the name it has in the golden file, and how far τ² may be off relative to τ² plus the smallest
/// variance. DerSimonian–Laird is a closed form; Paule–Mandel is limited by the 10⁻¹¹ on Q at which the library stops; the
/// restricted likelihood is flat at its maximum, so a search on its values finds the place to about the square root of
/// the rounding error, 10⁻⁸, times its own width, which is a few times τ².
const ESTIMATORS: [(&str, Estimator, f64); 3] = [
    ("dersimonian-laird", dersimonian_laird, 1e-9),
    ("paule-mandel", paule_mandel, 1e-9),
    ("restricted-maximum-likelihood", restricted_maximum_likelihood, 1e-6),
];

struct Set {
    name: String,
    values: Vec<f64>,
    variances: Vec<f64>,
    estimates: Value,
}

fn sets() -> Vec<Set> {
    let golden: Value = serde_json::from_str(include_str!("../data/meta_golden.json")).unwrap();
    let numbers = |list: &Value| list.as_array().unwrap().iter().map(|n| n.as_f64().unwrap()).collect();
    golden["sets"]
        .as_array()
        .unwrap()
        .iter()
        .map(|set| Set {
            name: set["name"].as_str().unwrap().to_owned(),
            values: numbers(&set["values"]),
            variances: numbers(&set["variances"]),
            estimates: set["estimates"].clone(),
        })
        .collect()
}

fn set(name: &str) -> Set {
    sets().into_iter().find(|set| set.name == name).unwrap()
}

#[test]
fn estimates_are_those_of_a_statistics_library() {
    let sets = sets();
    assert_eq!(sets.len(), 9);
    for set in &sets {
        let smallest = set.variances.iter().copied().fold(f64::INFINITY, f64::min);
        for (name, estimator, tolerance) in ESTIMATORS {
            let found = estimator(&set.values, &set.variances).unwrap();
            let golden = |key: &str| set.estimates[name][key].as_f64().unwrap();
            let place = format!("{} {name}: {found:?}", set.name);
            let allowed = tolerance * (golden("tau2") + smallest);
            assert!(
                (found.tau_squared - golden("tau2")).abs() <= allowed,
                "{place}, τ² {}",
                golden("tau2")
            );
            if golden("tau2") == 0.0 {
                assert_eq!(found.tau_squared, 0.0, "{place}");
            }
            // An error of τ² moves the mean by less than itself over τ², in units of the standard error.
            let se = golden("se");
            assert!(
                (found.mean - golden("mean")).abs() <= 2.0 * tolerance * (se + golden("mean").abs()),
                "{place}"
            );
            assert!(
                (found.standard_error / se - 1.0).abs() <= tolerance.max(1e-9),
                "{place}"
            );
        }
    }
}

/// The printed values of the thirteen trials of the BCG vaccine (log risk ratios; Colditz et al., JAMA 271 (1994) 698): by
/// restricted maximum likelihood τ² 0.3132, mean −0.7145, standard error 0.1798, as printed in the documentation of R's
/// general meta-analysis package (Viechtbauer, J. Stat. Softw. 36 (2010) 3); DerSimonian–Laird 0.3088 and Paule–Mandel
/// 0.3181 from memory (and the golden file agrees). Each to half its last digit.
#[test]
fn the_vaccine_trials_give_the_published_values() {
    let bcg = set("bcg log risk ratios");
    let reml = restricted_maximum_likelihood(&bcg.values, &bcg.variances).unwrap();
    assert!((reml.tau_squared - 0.3132).abs() <= 0.5e-4, "{reml:?}");
    assert!((reml.mean + 0.7145).abs() <= 0.5e-4, "{reml:?}");
    assert!((reml.standard_error - 0.1798).abs() <= 0.5e-4, "{reml:?}");
    let dl = dersimonian_laird(&bcg.values, &bcg.variances).unwrap();
    assert!((dl.tau_squared - 0.3088).abs() <= 0.5e-4, "{dl:?}");
    let pm = paule_mandel(&bcg.values, &bcg.variances).unwrap();
    assert!((pm.tau_squared - 0.3181).abs() <= 0.5e-4, "{pm:?}");
}

/// Kacker, Metrologia 41 (2004) 132, table 1: τ by Paule and Mandel is 0.8399. The same data computed with R's general
/// meta-analysis package, as stored in the tests of statsmodels: τ² 0.705395309224248, mean 62.4076199113286, standard error
/// 0.338030602684471.
#[test]
fn kackers_comparison_gives_the_published_values() {
    let kacker = set("kacker");
    let pm = paule_mandel(&kacker.values, &kacker.variances).unwrap();
    assert!((pm.tau_squared.sqrt() - 0.8399).abs() <= 0.5e-4, "{pm:?}");
    assert!((pm.tau_squared - 0.705_395_309_224_248).abs() < 1e-8, "{pm:?}");
    assert!((pm.mean - 62.407_619_911_328_6).abs() < 1e-8, "{pm:?}");
    assert!((pm.standard_error - 0.338_030_602_684_471).abs() < 1e-8, "{pm:?}");
}

/// The golden script found two maxima of this restricted likelihood; a search that climbs from zero stops at the lower one.
#[test]
fn the_higher_of_two_maxima_is_taken() {
    let set = set("two maxima of the restricted likelihood");
    assert_eq!(
        set.estimates["restricted-maximum-likelihood"]["maxima"].as_u64(),
        Some(2)
    );
    let reml = restricted_maximum_likelihood(&set.values, &set.variances).unwrap();
    assert!(reml.tau_squared > 10.0, "{reml:?}");
}

/// For two values all three estimators have one closed form, `τ² = max(0, (y₁ − y₂)²/2 − (v₁ + v₂)/2)`: by hand.
#[test]
fn two_values_have_a_closed_form() {
    let pairs: [([f64; 2], [f64; 2]); 3] = [
        ([50.0, 54.0], [0.25, 1.0]),
        ([1.0, 1.1], [0.5, 0.5]),
        ([-3.0, 9.0], [4.0, 1e-3]),
    ];
    for (y, v) in pairs {
        let by_hand = ((y[0] - y[1]) * (y[0] - y[1]) / 2.0 - f64::midpoint(v[0], v[1])).max(0.0);
        for (name, estimator, tolerance) in ESTIMATORS {
            let found = estimator(&y, &v).unwrap().tau_squared;
            assert!(
                (found - by_hand).abs() <= tolerance * (1.0 + by_hand),
                "{name} {found} {by_hand}"
            );
        }
    }
}

#[test]
fn what_cannot_be_estimated_is_refused() {
    for (name, estimator, _) in ESTIMATORS {
        assert_eq!(estimator(&[], &[]), Err(EstimateError::TooFew), "{name}");
        assert_eq!(estimator(&[1.0], &[1.0]), Err(EstimateError::TooFew), "{name}");
        for (values, variances) in [
            ([1.0, f64::NAN], [1.0, 1.0]),
            ([1.0, 2.0], [1.0, 0.0]),
            ([1.0, 2.0], [1.0, f64::INFINITY]),
        ] {
            assert_eq!(
                estimator(&values, &variances),
                Err(EstimateError::BadValue { index: 1 }),
                "{name}"
            );
        }
    }
}
