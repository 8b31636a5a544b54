//! A published value against the others of its compound: what the model would have said of it beforehand.

use super::conditions::{Aspect, Conditions};
use super::copies::representatives;
use super::effects::{Case, EffectTable};
use super::judge::{Measured, judge};
use super::mixture::{Component, Mixture};
use super::pool::{Options, Pooling, pool};
use super::reference::{Reference, SampleExcess};
use super::verdict::{Thresholds, VerdictCode};
use crate::quantity::SpecificRotation;

/// What the model says of a published value from the values of other sources alone.
#[derive(Clone, Debug)]
pub struct Prediction {
    /// Median of what was to be expected, deg mL g⁻¹ dm⁻¹.
    pub expected: f64,
    /// Intervals of 50, 80 and 95 %.
    pub intervals: [[f64; 2]; 3],
    /// What the values of the other sources came to.
    pub pooling: Pooling,
    /// The verdict on the value, taken as a measurement.
    pub verdict: VerdictCode,
    /// The 95 % interval of the optical purity the value would be given.
    pub purity95: [f64; 2],
    /// The aspect in which the heaviest reference differs most from the value, when it differs at all.
    pub transfer: Option<(Aspect, Case)>,
}

/// Shares of probability of the intervals.
pub const SHARES: [f64; 3] = [0.5, 0.8, 0.95];

/// Standard deviations of the Beta(a, 1) prior are cut into this many slices of equal probability.
const SLICES: u32 = 6;

/// For each reference, whether it stays when the source of one of them is left out with all copies of its values: those
/// of the source itself, and every reference that is probably one measurement with one of them.
pub fn staying(references: &[Reference], at: usize) -> Vec<bool> {
    let stands_for = representatives(references);
    let group = |i: usize| stands_for[i].unwrap_or(i);
    let leaving: Vec<usize> = (0..references.len())
        .filter(|&i| references[i].source == references[at].source)
        .map(group)
        .collect();
    (0..references.len())
        .map(|i| references[i].source != references[at].source && !leaving.contains(&group(i)))
        .collect()
}

/// Predicts one of the references from those of other sources; none when nothing else can be compared with it.
pub fn predict(
    references: &[Reference],
    at: usize,
    effects: &EffectTable,
    options: &Options,
    thresholds: &Thresholds,
) -> Option<Prediction> {
    let own = &references[at];
    let others: Vec<Reference> = references
        .iter()
        .zip(staying(references, at))
        .filter(|(reference, stays)| *stays && reference.excluded.is_none())
        .map(|(reference, _)| reference.clone())
        .collect();
    if others.is_empty() {
        return None;
    }
    let conditions: &Conditions = &own.conditions;
    let pooling = pool(conditions, &others, effects, options);
    let posterior = pooling.posterior.as_ref()?;
    let hand = if own.mirror { -1.0 } else { 1.0 };
    let value = SpecificRotation::from_conventional(hand * own.value.conventional());
    let expected = published(posterior, own, options)?;
    let measured = Measured {
        value,
        uncertainty: own.own_uncertainty,
        degrees_of_freedom: None,
        excess: None,
    };
    let judgement = judge(&pooling, &measured, thresholds);
    let heaviest = pooling
        .references
        .iter()
        .filter(|outcome| outcome.used)
        .max_by(|a, b| a.weight.total_cmp(&b.weight))?;
    let transfer = heaviest
        .differences
        .iter()
        .filter(|difference| difference.case.is_some())
        .max_by(|a, b| a.relative_effect.total_cmp(&b.relative_effect))
        .and_then(|difference| Some((difference.aspect, difference.case?)));
    Some(Prediction {
        expected: expected.quantile(0.5),
        intervals: SHARES.map(|share| {
            [
                expected.quantile(f64::midpoint(0.0, 1.0 - share)),
                expected.quantile(f64::midpoint(1.0, share)),
            ]
        }),
        verdict: judgement.verdict.code,
        purity95: judgement.optical_purity.map_or([-1.0, 1.0], |purity| purity.bounded95),
        transfer,
        pooling,
    })
}

/// The distribution of a value published of a sample: `e (M + η) + ε`, with the excess e of its sample.
fn published(posterior: &Mixture, own: &Reference, options: &Options) -> Option<Mixture> {
    let slices: Vec<(f64, f64, f64)> = match own.excess {
        SampleExcess::Stated { mean, sd } => vec![(1.0, mean, sd * sd)],
        SampleExcess::NotStated => (0..SLICES)
            .map(|i| {
                // The middle of each slice, by the quantile function p^(1/a) of Beta(a, 1).
                let middle = (f64::from(i) + 0.5) / f64::from(SLICES);
                (
                    f64::from(SLICES).recip(),
                    middle.powf(options.excess_shape.recip()),
                    0.0,
                )
            })
            .collect(),
    };
    let u = own.own_uncertainty.conventional();
    let components = posterior
        .components()
        .iter()
        .flat_map(|c| {
            slices.iter().map(move |&(weight, e, variance)| Component {
                weight: c.weight * weight,
                mean: e * c.mean,
                variance: e * e * (c.variance + c.tau * c.tau) + variance * c.mean * c.mean + u * u,
                tau: 0.0,
            })
        })
        .collect();
    Mixture::new(components)
}

/// Wilson's 95 % interval of a share, from `k` of `n`.
///
/// `(p̂ + z²/2n ± z √(p̂(1 − p̂)/n + z²/4n²)) / (1 + z²/n)` with z = 1.959964 (E. B. Wilson, J. Am. Stat. Assoc. 22 (1927)
/// 209; L. D. Brown, T. T. Cai, A. DasGupta, Stat. Sci. 16 (2001) 101, eq. 4). Of nothing it is the whole range.
pub fn wilson95(k: u64, n: u64) -> [f64; 2] {
    if n == 0 {
        return [0.0, 1.0];
    }
    let (z, n) = (1.959_963_984_540_054_f64, n as f64);
    let share = k as f64 / n;
    let centre = share + z * z / (2.0 * n);
    let half = z * (share * (1.0 - share) / n + z * z / (4.0 * n * n)).sqrt();
    let scale = 1.0 + z * z / n;
    [((centre - half) / scale).max(0.0), ((centre + half) / scale).min(1.0)]
}

#[cfg(test)]
mod tests {
    use super::*;

    /// statsmodels 0.14 `proportion_confint(k, n, method="wilson")`: 19 of 20, 0 of 10, 81 of 263.
    #[test]
    fn wilson_intervals_are_those_of_a_statistics_library() {
        for (k, n, low, high) in [
            (19, 20, 0.763_868_8, 0.991_118_6),
            (0, 10, 0.0, 0.277_532_8),
            (81, 263, 0.255_288_5, 0.366_209_6),
        ] {
            let [a, b] = wilson95(k, n);
            assert!((a - low).abs() < 1e-7 && (b - high).abs() < 1e-7, "{k} of {n}: {a} {b}");
        }
    }
}
