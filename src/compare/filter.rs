//! The posterior of (M, τ) by quadrature over τ and enumeration of what each reference can be.
//!
//! Given τ, and given for each reference whether it is sound and what the excess of its sample was, everything is a linear
//! model with normal errors, and M has a normal posterior in closed form. So the whole posterior is a mixture of normal
//! distributions over those hypotheses. They are enumerated reference by reference, each hypothesis carried forward as a
//! normal distribution of (M, the shared draws, the draw of the present source) by one step of linear regression. While
//! the number of hypotheses stays within the budget the result is exact up to the quadrature; beyond it the lightest
//! hypotheses are dropped at each step.

use super::mixture::{Component, normal_density};
use std::sync::OnceLock;

/// A reference as the filter takes it: own hand, measurement's line and form.
#[derive(Clone, Debug)]
pub(super) struct Datum {
    /// The value.
    pub value: f64,
    /// Variance of its own error.
    pub variance: f64,
    /// Excess of its sample: none for the prior, else mean and variance.
    pub excess: Option<(f64, f64)>,
    /// Whether the sign tells nothing.
    pub sign_free: bool,
    /// Shared draws it contains: index and coefficient.
    pub shared: Vec<(usize, f64)>,
    /// Its source.
    pub source: usize,
}

/// A draw that references share, in units of its standard deviation.
#[derive(Clone, Copy, Debug)]
pub(super) struct SharedDraw {
    /// Probability that the transfer fails altogether.
    pub failure: f64,
    /// Standard deviation of one unit, deg mL g⁻¹ dm⁻¹.
    pub unit: f64,
    /// Standard deviation of a transfer that fails, deg mL g⁻¹ dm⁻¹.
    pub failed: f64,
}

/// The priors.
#[derive(Clone, Copy, Debug)]
pub(super) struct Priors {
    /// The common scale m.
    pub scale: f64,
    /// Scale of the half-normal prior of τ.
    pub tau_scale: f64,
    /// The first parameter a of the prior Beta(a, 1) of an excess that is not stated.
    pub excess_shape: f64,
    /// The two parameters of the Beta prior of the probability π of a gross error.
    pub gross: (f64, f64),
}

/// What the filter finds.
#[derive(Debug)]
pub(super) struct Found {
    /// Components of the posterior of (M, τ), not normalised.
    pub components: Vec<Component>,
    /// Posterior probability of being a gross error, for each datum.
    pub gross: Vec<f64>,
}

/// Standard deviation of the prior of M, and of a gross error, in units of m: wide enough to hold a factor of ten either
/// way, and the same for both, so that a single reference is a gross error with its prior probability.
const WIDE: f64 = 4.0;

/// Most shared draws whose failing is enumerated; further ones are taken with the variance of both cases together.
const MOST_FAILING: usize = 6;

/// Nodes of the quadrature over τ, and how far it reaches in units of the prior's scale.
const TAU_NODES: usize = 16;
const TAU_REACH: f64 = 4.5;

/// Most hypotheses that are carried for few references, and the work (hypotheses × references × dimension²) that bounds
/// them for many.
const MOST_HYPOTHESES: usize = 729;
const MOST_WORK: usize = 1_500_000;
const FEWEST_HYPOTHESES: usize = 24;

/// Hypotheses lighter than e^−16 of the heaviest are dropped.
const LIGHTEST: f64 = -16.0;

/// Runs the filter. The data of one source must stand together.
pub(super) fn run(data: &[Datum], shared: &[SharedDraw], priors: &Priors) -> Found {
    let patterns = failing_patterns(shared);
    let slices = excess_slices(data, priors, patterns.len());
    let mut found = Found {
        components: Vec::new(),
        gross: vec![0.0; data.len()],
    };
    let mut evidence: Vec<(f64, Vec<f64>, Vec<Component>)> = Vec::with_capacity(TAU_NODES);
    for &(node, weight) in gauss_legendre() {
        // τ = reach · t², t in (0, 1): the nodes lie dense near zero.
        let t = f64::midpoint(1.0, node);
        let tau = TAU_REACH * priors.tau_scale * t * t;
        let jacobian = 2.0 * TAU_REACH * priors.tau_scale * t;
        let prior = normal_density(tau, priors.tau_scale * priors.tau_scale);
        let (log_evidence, gross, components) = at_tau(data, &patterns, priors, &slices, tau);
        evidence.push((log_evidence + (weight * jacobian * prior).ln(), gross, components));
    }
    let highest = evidence.iter().map(|(log, ..)| *log).fold(f64::NEG_INFINITY, f64::max);
    let total: f64 = evidence.iter().map(|(log, ..)| (log - highest).exp()).sum();
    for (log, gross, components) in evidence {
        let share = (log - highest).exp() / total;
        for (sum, part) in found.gross.iter_mut().zip(gross) {
            *sum += share * part;
        }
        found.components.extend(components.into_iter().map(|c| Component {
            weight: c.weight * share,
            ..c
        }));
    }
    found
}

/// Weight, mean and variance of the excess in each slice of its distribution, for each datum.
fn excess_slices(data: &[Datum], priors: &Priors, n_patterns: usize) -> Vec<Vec<(f64, f64, f64)>> {
    let unknown = data.iter().filter(|d| d.excess.is_none()).count();
    let power = |base: f64, n: usize| base.powi(i32::try_from(n).unwrap_or(i32::MAX));
    let hypotheses =
        |slices: usize| n_patterns as f64 * power((slices + 1) as f64, unknown) * power(2.0, data.len() - unknown);
    let n_slices = (1..=8)
        .rev()
        .find(|&slices| hypotheses(slices) <= MOST_HYPOTHESES as f64)
        .unwrap_or(1);
    let prior = beta_slices(priors.excess_shape, n_slices);
    data.iter()
        .map(|d| match d.excess {
            Some((mean, variance)) => vec![(1.0, mean, variance)],
            None => prior.clone(),
        })
        .collect()
}

/// Cuts the distribution Beta(a, 1) into slices of equal probability: weight, mean and variance of each.
///
/// Its distribution function is e^a, so that between two points the moments are `∫ e^k a e^(a−1) de`, and the slices
/// together have the mean and the variance of the whole.
fn beta_slices(a: f64, n: usize) -> Vec<(f64, f64, f64)> {
    let weight = (n as f64).recip();
    (0..n)
        .map(|i| {
            let (low, high) = (
                (i as f64 * weight).powf(a.recip()),
                ((i + 1) as f64 * weight).powf(a.recip()),
            );
            let moment = |k: f64| a / (a + k) * (high.powf(a + k) - low.powf(a + k)) / weight;
            let mean = moment(1.0);
            (weight, mean, (moment(2.0) - mean * mean).max(0.0))
        })
        .collect()
}

/// Which shared draws fail: the weight of each pattern and the variances of the draws in it.
fn failing_patterns(shared: &[SharedDraw]) -> Vec<(f64, Vec<f64>)> {
    let mut patterns: Vec<(f64, Vec<f64>)> = vec![(1.0, Vec::with_capacity(shared.len()))];
    let mut n_failing = 0;
    for draw in shared {
        let failed = (draw.failed / draw.unit).powi(2).max(1.0);
        if draw.failure == 0.0 || n_failing >= MOST_FAILING {
            let both = 1.0 - draw.failure + draw.failure * failed;
            for (_, variances) in &mut patterns {
                variances.push(both);
            }
            continue;
        }
        n_failing += 1;
        patterns = patterns
            .into_iter()
            .flat_map(|(weight, variances)| {
                [(1.0 - draw.failure, 1.0), (draw.failure, failed)].map(|(probability, variance)| {
                    let mut longer = variances.clone();
                    longer.push(variance);
                    (weight * probability, longer)
                })
            })
            .collect();
    }
    patterns
}

/// A hypothesis about the references so far.
struct Hypotheses {
    dimension: usize,
    log_weights: Vec<f64>,
    gross_so_far: Vec<u32>,
    /// Mean then covariance, `dimension + dimension²` numbers each.
    states: Vec<f64>,
}

impl Hypotheses {
    fn stride(&self) -> usize {
        self.dimension * (self.dimension + 1)
    }
}

/// One way a hypothesis goes on: the parent, what the reference is, and its weight.
struct Child {
    parent: usize,
    log_weight: f64,
    /// Sign and slice of a sound reference; none for a gross error.
    sound: Option<(f64, usize)>,
}

fn at_tau(
    data: &[Datum],
    patterns: &[(f64, Vec<f64>)],
    priors: &Priors,
    slices: &[Vec<(f64, f64, f64)>],
    tau: f64,
) -> (f64, Vec<f64>, Vec<Component>) {
    // The state is (M, shared draws, draw of the present source).
    let n_shared = patterns.first().map_or(0, |(_, variances)| variances.len());
    let d = n_shared + 2;
    let wide = (WIDE * priors.scale).powi(2);
    let budget = (MOST_WORK / (data.len().max(1) * d * d)).clamp(FEWEST_HYPOTHESES, MOST_HYPOTHESES);
    let mut now = Hypotheses {
        dimension: d,
        log_weights: patterns.iter().map(|(weight, _)| weight.ln()).collect(),
        gross_so_far: vec![0; patterns.len()],
        states: Vec::with_capacity(patterns.len() * d * (d + 1)),
    };
    for (_, variances) in patterns {
        let start = now.states.len();
        now.states.resize(start + d * (d + 1), 0.0);
        let covariance = &mut now.states[start + d..];
        covariance[0] = wide;
        for (i, variance) in variances.iter().enumerate() {
            covariance[(i + 1) * (d + 1)] = *variance;
        }
    }
    let mut ancestry: Vec<Vec<(usize, bool)>> = Vec::with_capacity(data.len());
    let mut source = None;
    let mut h = vec![0.0; d];
    let mut ph = vec![0.0; d];
    for (at, datum) in data.iter().enumerate() {
        if source != Some(datum.source) {
            source = Some(datum.source);
            renew_source_draw(&mut now, tau * tau);
        }
        let gross_density = normal_density(datum.value, wide).ln();
        let (a, b) = priors.gross;
        let mut children: Vec<Child> = Vec::with_capacity(now.log_weights.len() * (slices[at].len() + 1));
        for parent in 0..now.log_weights.len() {
            let log_weight = now.log_weights[parent];
            let gross = (a + f64::from(now.gross_so_far[parent])) / (a + b + at as f64);
            children.push(Child {
                parent,
                log_weight: log_weight + gross.ln() + gross_density,
                sound: None,
            });
            let state = &now.states[parent * now.stride()..(parent + 1) * now.stride()];
            for (slice, &(weight, e, e_variance)) in slices[at].iter().enumerate() {
                let (mean, variance) = predict(state, d, datum, e, e_variance, &mut h, &mut ph);
                let signs: &[f64] = if datum.sign_free { &[1.0, -1.0] } else { &[1.0] };
                for &sign in signs {
                    let density = normal_density(sign * datum.value - mean, variance).max(f64::MIN_POSITIVE);
                    let log = log_weight + (1.0 - gross).ln() + (weight / signs.len() as f64).ln() + density.ln();
                    children.push(Child {
                        parent,
                        log_weight: log,
                        sound: Some((sign, slice)),
                    });
                }
            }
        }
        prune(&mut children, budget);
        let mut next = Hypotheses {
            dimension: d,
            log_weights: Vec::with_capacity(children.len()),
            gross_so_far: Vec::with_capacity(children.len()),
            states: Vec::with_capacity(children.len() * now.stride()),
        };
        for child in &children {
            let state = &now.states[child.parent * now.stride()..(child.parent + 1) * now.stride()];
            let start = next.states.len();
            next.states.extend_from_slice(state);
            if let Some((sign, slice)) = child.sound {
                let (_, e, e_variance) = slices[at][slice];
                let (mean, variance) = predict(state, d, datum, e, e_variance, &mut h, &mut ph);
                update(
                    &mut next.states[start..],
                    d,
                    &ph,
                    (sign * datum.value - mean) / variance,
                    variance,
                );
            }
            next.log_weights.push(child.log_weight);
            next.gross_so_far
                .push(now.gross_so_far[child.parent] + u32::from(child.sound.is_none()));
        }
        ancestry.push(children.iter().map(|c| (c.parent, c.sound.is_none())).collect());
        now = next;
    }
    finish(&now, &ancestry, tau)
}

/// Replaces the draw of the last source by a new one that nothing is known of.
fn renew_source_draw(now: &mut Hypotheses, variance: f64) {
    let d = now.dimension;
    let stride = now.stride();
    for state in now.states.chunks_mut(stride) {
        state[d - 1] = 0.0;
        for i in 0..d {
            state[d + i * d + d - 1] = 0.0;
            state[d + (d - 1) * d + i] = 0.0;
        }
        state[d + d * d - 1] = variance;
    }
}

/// Mean and variance of a sound reference's value; leaves `P h` in `ph`.
fn predict(
    state: &[f64],
    d: usize,
    datum: &Datum,
    e: f64,
    e_variance: f64,
    h: &mut [f64],
    ph: &mut [f64],
) -> (f64, f64) {
    h.fill(0.0);
    h[0] = e;
    h[d - 1] = e;
    for &(shared, coefficient) in &datum.shared {
        h[1 + shared] += e * coefficient;
    }
    let (mean, covariance) = state.split_at(d);
    let mut predicted = 0.0;
    let mut variance = datum.variance;
    for i in 0..d {
        let row = &covariance[i * d..(i + 1) * d];
        ph[i] = row.iter().zip(h.iter()).map(|(p, h)| p * h).sum();
        predicted += h[i] * mean[i];
    }
    for i in 0..d {
        variance += h[i] * ph[i];
    }
    if e_variance > 0.0 {
        // The variance of the excess within its slice, at the size of the rotation that the datum gives.
        let size = datum.value / e;
        variance += e_variance * size * size;
    }
    (predicted, variance)
}

/// One step of linear regression: `mean += P h r`, `P −= P h (P h)ᵀ / s`, with r the residual over its variance s.
fn update(state: &mut [f64], d: usize, ph: &[f64], scaled_residual: f64, variance: f64) {
    let (mean, covariance) = state.split_at_mut(d);
    for i in 0..d {
        mean[i] += ph[i] * scaled_residual;
        let share = ph[i] / variance;
        for (p, other) in covariance[i * d..(i + 1) * d].iter_mut().zip(ph) {
            *p -= share * other;
        }
    }
}

/// Keeps the heaviest hypotheses, within the budget and not too light; the order stays that of enumeration.
fn prune(children: &mut Vec<Child>, budget: usize) {
    let highest = children.iter().map(|c| c.log_weight).fold(f64::NEG_INFINITY, f64::max);
    children.retain(|c| c.log_weight >= highest + LIGHTEST);
    if children.len() > budget {
        let mut weights: Vec<f64> = children.iter().map(|c| c.log_weight).collect();
        let (_, &mut least, _) = weights.select_nth_unstable_by(budget - 1, |a, b| b.total_cmp(a));
        let mut left = budget;
        children.retain(|c| {
            let keep = c.log_weight >= least && left > 0;
            left -= usize::from(keep);
            keep
        });
    }
}

/// Log evidence, posterior probability of gross error per datum, and the components of M.
fn finish(now: &Hypotheses, ancestry: &[Vec<(usize, bool)>], tau: f64) -> (f64, Vec<f64>, Vec<Component>) {
    let highest = now.log_weights.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let total: f64 = now.log_weights.iter().map(|w| (w - highest).exp()).sum();
    let mut weights: Vec<f64> = now.log_weights.iter().map(|w| (w - highest).exp() / total).collect();
    let components = weights
        .iter()
        .zip(now.states.chunks(now.stride()))
        .map(|(&weight, state)| Component {
            weight,
            mean: state[0],
            variance: state[now.dimension].max(f64::MIN_POSITIVE),
            tau,
        })
        .collect();
    let mut gross = vec![0.0; ancestry.len()];
    for (at, level) in ancestry.iter().enumerate().rev() {
        let n_parents = level.iter().map(|&(parent, _)| parent + 1).max().unwrap_or(0);
        let mut above = vec![0.0; n_parents];
        for (&(parent, is_gross), &weight) in level.iter().zip(&weights) {
            above[parent] += weight;
            if is_gross {
                gross[at] += weight;
            }
        }
        weights = above;
    }
    (highest + total.ln(), gross, components)
}

/// Nodes and weights of the Gauss–Legendre rule on (−1, 1), by Newton's method on the Legendre polynomial.
fn gauss_legendre() -> &'static [(f64, f64); TAU_NODES] {
    static RULE: OnceLock<[(f64, f64); TAU_NODES]> = OnceLock::new();
    RULE.get_or_init(|| {
        let n = TAU_NODES as f64;
        std::array::from_fn(|i| {
            let mut x = (std::f64::consts::PI * (i as f64 + 0.75) / (n + 0.5)).cos();
            let mut slope = 1.0;
            for _ in 0..100 {
                let (mut p, mut before) = (1.0, 0.0);
                for j in 0..TAU_NODES {
                    let j = j as f64;
                    (p, before) = (((2.0 * j + 1.0) * x * p - j * before) / (j + 1.0), p);
                }
                slope = n * (x * p - before) / (x * x - 1.0);
                let step = p / slope;
                x -= step;
                if step.abs() < 1e-15 {
                    break;
                }
            }
            (x, 2.0 / ((1.0 - x * x) * slope * slope))
        })
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Beta(40, 1): mean 40/41, variance 40/(41² · 42).
    #[test]
    fn slices_of_the_excess_keep_mean_and_variance() {
        for n in [1usize, 2, 3, 8] {
            let slices = beta_slices(40.0, n);
            let mean: f64 = slices.iter().map(|(w, e, _)| w * e).sum();
            let square: f64 = slices.iter().map(|(w, e, v)| w * (e * e + v)).sum();
            assert!((slices.iter().map(|(w, ..)| w).sum::<f64>() - 1.0).abs() < 1e-12);
            assert!((mean - 40.0 / 41.0).abs() < 1e-12, "{n} {mean}");
            assert!(
                (square - mean * mean - 40.0 / (41.0 * 41.0 * 42.0)).abs() < 1e-12,
                "{n}"
            );
        }
    }

    /// ∫₋₁¹ x² dx = 2/3, ∫₋₁¹ eˣ dx = e − 1/e.
    #[test]
    fn the_legendre_rule_integrates() {
        let square: f64 = gauss_legendre().iter().map(|(x, w)| w * x * x).sum();
        assert!((square - 2.0 / 3.0).abs() < 1e-14);
        let exponential: f64 = gauss_legendre().iter().map(|(x, w)| w * x.exp()).sum();
        assert!((exponential - (1f64.exp() - (-1f64).exp())).abs() < 1e-13);
    }
}
