//! A measured value against the pooled reference: optical purity and the verdict.

use super::excess::{self, ExcessCheck, MethodExcess};
use super::mixture::{Component, Mixture, normal_cdf, normal_quantile};
use super::pool::{Located, Pooling};
use super::verdict::{Probabilities, Thresholds, Verdict, VerdictCode, decide};
use crate::quantity::SpecificRotation;
use serde::Serialize;
use statrs::distribution::{ContinuousCDF, StudentsT};

/// A measured specific rotation.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Measured {
    /// The value.
    pub value: SpecificRotation,
    /// Its standard uncertainty, above zero.
    pub uncertainty: SpecificRotation,
    /// Degrees of freedom of the uncertainty; none when it is not from repeated readings.
    pub degrees_of_freedom: Option<f64>,
    /// Enantiomeric excess by another method.
    pub excess: Option<MethodExcess>,
}

/// The form of Fieller's set.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "lowercase")]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub enum FiellerShape {
    /// An interval from low to high.
    Interval,
    /// Everything outside low to high.
    Exclusive,
    /// The whole line.
    Unbounded,
}

/// Fieller's 95 % confidence set of the ratio.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Fieller {
    /// Its form.
    pub shape: FiellerShape,
    /// Low end; none when unbounded.
    pub low: Option<f64>,
    /// High end; none when unbounded.
    pub high: Option<f64>,
    /// Degrees of freedom of the t quantile used; none for the normal distribution.
    pub degrees_of_freedom: Option<f64>,
}

/// Fieller's confidence set of the ratio θ = x / m of two independent normal estimates (covariance zero).
///
/// The set holds every θ with `(x − θ m)² ≤ t² (u_x² + θ² u_m²)`; t is the two-sided quantile of Student's distribution
/// with the degrees of freedom given, or of the normal distribution. It is an interval when m is clearly not zero, the
/// complement of one, or the whole line. Fieller, J. R. Stat. Soc. B 16 (1954) 175.
pub fn fieller(
    numerator: (f64, f64),
    denominator: (f64, f64),
    degrees_of_freedom: Option<f64>,
    confidence: f64,
) -> Fieller {
    let (x, ux) = numerator;
    let (m, um) = denominator;
    let upper = f64::midpoint(1.0, confidence);
    let t = degrees_of_freedom
        .and_then(|df| StudentsT::new(0.0, 1.0, df).ok())
        .map_or_else(|| normal_quantile(upper), |student| student.inverse_cdf(upper));
    let t2 = t * t;
    let a = m * m - t2 * um * um;
    let b = x * m;
    let c = x * x - t2 * ux * ux;
    let discriminant = b * b - a * c;
    if a == 0.0 || (a < 0.0 && discriminant <= 0.0) {
        return Fieller {
            shape: FiellerShape::Unbounded,
            low: None,
            high: None,
            degrees_of_freedom,
        };
    }
    let root = discriminant.max(0.0).sqrt();
    let (first, second) = ((b - root) / a, (b + root) / a);
    Fieller {
        shape: if a > 0.0 {
            FiellerShape::Interval
        } else {
            FiellerShape::Exclusive
        },
        low: Some(first.min(second)),
        high: Some(first.max(second)),
        degrees_of_freedom,
    }
}

/// Optical purity p, signed: positive for the hand of the compound asked for.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct OpticalPurity {
    /// The plain ratio of the measured value to the pooled one; none when the pooled value is zero.
    pub ratio: Option<f64>,
    /// Fieller's 95 % set of the ratio.
    pub fieller95: Fieller,
    /// Median of the posterior under a uniform prior from −1 to 1.
    pub bounded: f64,
    /// Shortest interval holding 95 % of that posterior.
    pub bounded95: [f64; 2],
    /// Standard deviation of that posterior.
    pub standard_uncertainty: f64,
    /// The ratio of the enantiomers that |bounded| means, `[major, minor]` of 100.
    pub enantiomer_ratio: [f64; 2],
    /// Whether the uniform prior shapes the interval (standard uncertainty above 0.1).
    pub prior_matters: bool,
}

/// A measured value judged.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Judgement {
    /// Optical purity; none without a pooled value.
    pub optical_purity: Option<OpticalPurity>,
    /// The comparison band: where a measurement of the enantiopure compound would lie, 95 %.
    pub comparison_band: Option<[f64; 2]>,
    /// The check against another method.
    pub excess_check: Option<ExcessCheck>,
    /// The probabilities the verdict rests on.
    pub probabilities: Option<Probabilities>,
    /// The verdict.
    pub verdict: Verdict,
}

impl Judgement {
    /// The optical purity as the posterior bounded at one has it; none where the value lies beyond that of the pure compound,
    /// since that posterior would call any such sample pure.
    pub fn bounded_purity(&self) -> Option<&OpticalPurity> {
        (self.optical_purity.as_ref()).filter(|_| self.verdict.code != VerdictCode::Exceeds)
    }
}

/// Judges a measured value.
pub fn judge(pooling: &Pooling, measured: &Measured, thresholds: &Thresholds) -> Judgement {
    let (Some(posterior), Some(located)) = (&pooling.posterior, &pooling.located) else {
        return Judgement {
            optical_purity: None,
            comparison_band: None,
            excess_check: excess::check(None, measured),
            probabilities: None,
            verdict: decide(None, pooling, measured, thresholds),
        };
    };
    let x = measured.value.conventional();
    let u2 = measured.uncertainty.conventional().powi(2);
    let pure = located.one_more.widened(|_| u2);
    let band = [pure.quantile(0.025), pure.quantile(0.975)];
    let probabilities = probabilities(located, &pure, x, u2, band);
    Judgement {
        optical_purity: Some(optical_purity(located, measured)),
        comparison_band: Some(band),
        excess_check: excess::check(Some(posterior), measured),
        verdict: decide(Some(&probabilities), pooling, measured, thresholds),
        probabilities: Some(probabilities),
    }
}

fn probabilities(located: &Located, pure: &Mixture, x: f64, u2: f64, band: [f64; 2]) -> Probabilities {
    let (alone, centre) = (&located.alone, located.centre);
    let positive = 1.0 - alone.cdf(0.0);
    let u = u2.sqrt();
    let value_positive = if u > 0.0 {
        normal_cdf(x / u)
    } else {
        f64::from(u8::from(x > 0.0))
    };
    // What a measurement of the enantiopure compound would read, against 0 and |x|: p < 1 unless it lies between them.
    let size = x.abs();
    let (at_minus, at_zero, at_plus) = (pure.cdf(-size), pure.cdf(0.0), pure.cdf(size));
    let between = if centre < 0.0 {
        at_zero - at_minus
    } else {
        at_plus - at_zero
    };
    let visible = normal_quantile(0.975) * u;
    let (lighter, apart) = located.modes.unwrap_or((0.0, 0.0));
    Probabilities {
        reference_clear: alone.cdf(-visible) + 1.0 - alone.cdf(visible),
        value_sign: value_positive.max(1.0 - value_positive),
        opposite: positive * (1.0 - value_positive) + (1.0 - positive) * value_positive,
        exceeds: at_plus - at_minus,
        lower: 1.0 - between,
        in_band: (band[0]..=band[1]).contains(&x),
        mirrored_in_band: (band[0]..=band[1]).contains(&-x),
        relative_band: (band[1] - band[0]) / 2.0 / centre.abs().max(f64::MIN_POSITIVE),
        second_mode: lighter,
        mode_distance: apart / centre.abs().max(located.half_width).max(f64::MIN_POSITIVE),
    }
}

/// The posterior density of p under a uniform prior from −1 to 1.
#[derive(Clone, Debug)]
pub struct PurityDensity {
    points: Vec<f64>,
    /// Probability below each point.
    cumulated: Vec<f64>,
}

/// Computes the posterior of p: `x ~ Normal(p M, u² + p² τ²)`, with M and τ integrated out over their mixture.
///
/// The density is summed over the mixture at nodes that lie dense around `x/M` of each component, and joined by straight
/// lines.
pub fn purity_density(posterior: &Mixture, value: SpecificRotation, uncertainty: SpecificRotation) -> PurityDensity {
    // Components only matter through their mean and their variance with τ here.
    density_of(&posterior.widened(|c| c.tau * c.tau), value, uncertainty)
}

/// As [`purity_density`], of M with the draw of one further source.
fn density_of(one_more: &Mixture, value: SpecificRotation, uncertainty: SpecificRotation) -> PurityDensity {
    let x = value.conventional();
    let u2 = uncertainty.conventional().powi(2).max(1e-12);
    let components = one_more.components();
    let points = nodes(components, x, u2);
    let mut density = summed(components, &points, x, u2, NEAR);
    if density.iter().all(|&d| d < LOW) {
        density = summed(components, &points, x, u2, f64::INFINITY);
    }
    let mut cumulated = Vec::with_capacity(points.len());
    let mut sum = 0.0;
    cumulated.push(0.0);
    for i in 1..points.len() {
        sum += f64::midpoint(density[i], density[i - 1]) * (points[i] - points[i - 1]);
        cumulated.push(sum);
    }
    if sum > 0.0 {
        for c in &mut cumulated {
            *c /= sum;
        }
    } else {
        // The value is impossibly far from everything: all mass at the nearer end.
        let last = cumulated.len() - 1;
        let positive = x * one_more.mean() > 0.0;
        for (i, c) in cumulated.iter_mut().enumerate() {
            *c = if positive {
                f64::from(u8::from(i == last))
            } else {
                f64::from(u8::from(i > 0))
            };
        }
    }
    PurityDensity { points, cumulated }
}

/// A component contributes to the density of p within so many squared standard deviations: exp(−100) is nothing beside what
/// another gives, unless all give less than `LOW`.
const NEAR: f64 = 200.0;
const LOW: f64 = 1e-30;

/// The density of x at each p, summed over the components within `near` squared standard deviations.
fn summed(components: &[Component], points: &[f64], x: f64, u2: f64, near: f64) -> Vec<f64> {
    let mut density = vec![0.0; points.len()];
    for c in components {
        let weight = c.weight / (2.0 * std::f64::consts::PI).sqrt();
        for (sum, p) in density.iter_mut().zip(points) {
            let variance = u2 + p * p * c.variance;
            let deviation = x - p * c.mean;
            let square = deviation * deviation;
            if square < near * variance {
                *sum += weight * (-0.5 * square / variance).exp() / variance.sqrt();
            }
        }
    }
    density
}

/// Components whose nodes are laid, the heaviest first.
const MOST_LAID: usize = 24;

/// Nodes from −1 to 1, dense around `x/M` of each heavy component. Components that peak where another of like width does
/// share its nodes.
fn nodes(components: &[Component], x: f64, u2: f64) -> Vec<f64> {
    let mut heavy: Vec<&Component> = components.iter().collect();
    heavy.sort_by(|a, b| b.weight.total_cmp(&a.weight));
    let mut peaks: Vec<(f64, f64)> = Vec::new();
    for component in heavy.iter().take(MOST_LAID) {
        let centre = (x / component.mean).clamp(-1.5, 1.5);
        let sd = (u2 + centre * centre * component.variance).sqrt() / component.mean.abs();
        let is_laid = |&(other, other_sd): &(f64, f64)| {
            (other - centre).abs() < 0.5 * other_sd && (0.8..1.25).contains(&(sd / other_sd))
        };
        if sd.is_finite() && !peaks.iter().any(is_laid) {
            peaks.push((centre, sd));
        }
    }
    let mut points: Vec<f64> = (0..=100).map(|i| -1.0 + f64::from(i) / 50.0).collect();
    let mut narrowest = 0.02_f64;
    for (centre, sd) in peaks {
        narrowest = narrowest.min(sd);
        points.extend(
            (-52..=52)
                .map(|i| centre + sd * f64::from(i) / 8.0)
                .filter(|p| p.abs() <= 1.0),
        );
    }
    points.sort_unstable_by(f64::total_cmp);
    points.dedup_by(|a, b| (*a - *b).abs() < narrowest / 10.0);
    // The ends belong to the range, whichever neighbours were dropped.
    if let Some(first) = points.first_mut() {
        *first = -1.0;
    }
    if let Some(last) = points.last_mut() {
        *last = 1.0;
    }
    points
}

impl PurityDensity {
    /// The quantile at probability `p`.
    pub fn quantile(&self, p: f64) -> f64 {
        self.quantile_after(p, self.cumulated.partition_point(|&c| c < p))
    }

    /// The quantile at probability `p`; `after` is the first point below which at least that probability lies.
    fn quantile_after(&self, p: f64, after: usize) -> f64 {
        // All mass lies within the ends, whatever rounding makes of a sum of probabilities.
        if p >= 1.0 - 1e-9 {
            return self.points[self.points.len() - 1];
        }
        if p <= 1e-9 {
            return self.points[0];
        }
        let after = after.clamp(1, self.points.len() - 1);
        let (c0, c1) = (self.cumulated[after - 1], self.cumulated[after]);
        let share = if c1 > c0 {
            ((p - c0) / (c1 - c0)).clamp(0.0, 1.0)
        } else {
            0.0
        };
        self.points[after - 1] + share * (self.points[after] - self.points[after - 1])
    }

    /// The shortest interval that holds a share of the probability.
    pub fn shortest(&self, share: f64) -> [f64; 2] {
        const STEPS: u32 = 400;
        let mut best = [-1.0, 1.0];
        // Both ends only move up, and so do the points behind them.
        let (mut after_low, mut after_high) = (0, 0);
        let advance = |after: &mut usize, p: f64| {
            while *after < self.cumulated.len() && self.cumulated[*after] < p {
                *after += 1;
            }
            self.quantile_after(p, *after)
        };
        for i in 0..=STEPS {
            let start = (1.0 - share) * f64::from(i) / f64::from(STEPS);
            let interval = [advance(&mut after_low, start), advance(&mut after_high, start + share)];
            if interval[1] - interval[0] < best[1] - best[0] - 1e-12 {
                best = interval;
            }
        }
        best
    }

    /// Mean and standard deviation.
    pub fn moments(&self) -> (f64, f64) {
        let mut mean = 0.0;
        let mut square = 0.0;
        for i in 1..self.points.len() {
            let mass = self.cumulated[i] - self.cumulated[i - 1];
            let (a, b) = (self.points[i - 1], self.points[i]);
            mean += mass * f64::midpoint(a, b);
            square += mass * (a * a + a * b + b * b) / 3.0;
        }
        (mean, (square - mean * mean).max(0.0).sqrt())
    }
}

/// Standard uncertainty of p from which the uniform prior is said to matter.
const PRIOR_MATTERS_FROM: f64 = 0.1;

fn optical_purity(located: &Located, measured: &Measured) -> OpticalPurity {
    let x = measured.value.conventional();
    let u = measured.uncertainty.conventional();
    let centre = located.centre;
    let density = density_of(&located.one_more, measured.value, measured.uncertainty);
    let bounded = density.quantile(0.5);
    let (_, sd) = density.moments();
    OpticalPurity {
        ratio: (centre != 0.0).then(|| x / centre),
        fieller95: fieller((x, u), (centre, located.spread), measured.degrees_of_freedom, 0.95),
        bounded,
        bounded95: density.shortest(0.95),
        standard_uncertainty: sd,
        enantiomer_ratio: [50.0 * (1.0 + bounded.abs()), 50.0 * (1.0 - bounded.abs())],
        prior_matters: sd > PRIOR_MATTERS_FROM,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Quantiles: 1.959964 (normal), 2.570582 (t, 5 degrees of freedom): any statistical table.
    #[test]
    fn fieller_has_its_three_shapes() {
        assert!((normal_quantile(0.975) - 1.959_964).abs() < 1e-6);
        let set = fieller((5.0, 0.1), (10.0, 0.2), None, 0.95);
        assert_eq!(set.shape, FiellerShape::Interval);
        assert!(set.low.unwrap() < 0.5 && set.high.unwrap() > 0.5);
        let set = fieller((5.0, 0.1), (1.0, 1.0), None, 0.95);
        assert_eq!(set.shape, FiellerShape::Exclusive);
        let set = fieller((0.1, 1.0), (0.1, 1.0), None, 0.95);
        assert_eq!(set.shape, FiellerShape::Unbounded);
        // With an exact denominator the set is the t interval of the numerator.
        let set = fieller((5.0, 0.1), (10.0, 0.0), Some(5.0), 0.95);
        assert!((set.high.unwrap() - (5.0 + 0.1 * 2.570_582) / 10.0).abs() < 1e-6);
    }

    /// With M known exactly the posterior of p is a normal distribution cut at ±1: mean 0.5, sd u/M.
    #[test]
    fn purity_with_a_sure_reference_is_the_cut_normal() {
        let sure = Mixture::new(vec![Component {
            weight: 1.0,
            mean: 100.0,
            variance: 1e-12,
            tau: 0.0,
        }])
        .unwrap();
        let density = purity_density(
            &sure,
            SpecificRotation::from_conventional(50.0),
            SpecificRotation::from_conventional(2.0),
        );
        assert!((density.quantile(0.5) - 0.5).abs() < 1e-4);
        let [low, high] = density.shortest(0.95);
        // The width is sharp; the place of a shortest interval is not, where the density is nearly symmetric.
        assert!((high - low - 0.04 * 1.959_964).abs() < 3e-4 && (f64::midpoint(low, high) - 0.5).abs() < 2e-3);
        let (mean, sd) = density.moments();
        assert!((mean - 0.5).abs() < 1e-4 && (sd - 0.02).abs() < 2e-4);
        let density = purity_density(
            &sure,
            SpecificRotation::from_conventional(1e6),
            SpecificRotation::from_conventional(2.0),
        );
        assert!(density.quantile(0.5) > 0.9);
    }
}
