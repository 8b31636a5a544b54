//! A mixture of normal distributions: the form every posterior of M takes here.

use libm::erfc;
use statrs::distribution::{ContinuousCDF, Normal};

/// One normal component of the posterior of M.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Component {
    /// Weight; the weights of a mixture sum to 1.
    pub weight: f64,
    /// Mean of M, deg mL g⁻¹ dm⁻¹.
    pub mean: f64,
    /// Variance of M.
    pub variance: f64,
    /// Between-source standard deviation τ in this component.
    pub tau: f64,
}

/// A mixture of normal distributions.
#[derive(Clone, Debug, PartialEq)]
pub struct Mixture {
    components: Vec<Component>,
}

/// Beyond this many standard deviations the tail of a normal distribution is lost beside 1 in double precision.
const LOST: f64 = 8.3;

/// Distribution function of the standard normal distribution.
pub(super) fn normal_cdf(z: f64) -> f64 {
    if z > LOST {
        return 1.0;
    }
    0.5 * erfc(-z / std::f64::consts::SQRT_2)
}

/// The quantile of the standard normal distribution.
pub(super) fn normal_quantile(p: f64) -> f64 {
    Normal::standard().inverse_cdf(p)
}

/// Density of a normal distribution of mean zero.
pub(super) fn normal_density(deviation: f64, variance: f64) -> f64 {
    (-0.5 * deviation * deviation / variance).exp() / (2.0 * std::f64::consts::PI * variance).sqrt()
}

/// Variances within this factor are taken as alike when neighbours are merged.
const ALIKE_VARIANCE: f64 = 1.25;

/// Components lighter than this are dropped when a mixture is made.
const LIGHTEST: f64 = 1e-7;

/// A number in its total order.
struct Ordered(f64);

impl PartialEq for Ordered {
    fn eq(&self, other: &Self) -> bool {
        self.cmp(other).is_eq()
    }
}

impl Eq for Ordered {}

impl PartialOrd for Ordered {
    fn partial_cmp(&self, other: &Self) -> Option<std::cmp::Ordering> {
        Some(self.cmp(other))
    }
}

impl Ord for Ordered {
    fn cmp(&self, other: &Self) -> std::cmp::Ordering {
        self.0.total_cmp(&other.0)
    }
}

impl Mixture {
    /// Makes a mixture: normalises the weights, drops the lightest, merges near neighbours of equal τ (exact in mean and
    /// variance).
    ///
    /// None when no weight is above zero.
    pub(super) fn new(mut components: Vec<Component>) -> Option<Self> {
        let total: f64 = components.iter().map(|c| c.weight).sum();
        if !(total > 0.0 && total.is_finite()) {
            return None;
        }
        for component in &mut components {
            component.weight /= total;
        }
        components.retain(|c| c.weight > LIGHTEST);
        // Neighbours in this order are alike in τ and width, so that merging them finds its pairs in one pass.
        components.sort_by_cached_key(|c| {
            let width = (c.variance.ln() / ALIKE_VARIANCE.ln()).floor();
            [c.tau, width, c.mean].map(Ordered)
        });
        let mut merged: Vec<Component> = Vec::with_capacity(components.len());
        for component in components {
            if let Some(last) = merged.last_mut()
                && last.tau == component.tau
                && alike(last, &component)
            {
                *last = merge(last, &component);
                continue;
            }
            merged.push(component);
        }
        let total: f64 = merged.iter().map(|c| c.weight).sum();
        for component in &mut merged {
            component.weight /= total;
        }
        Some(Self { components: merged })
    }

    /// The components.
    pub fn components(&self) -> &[Component] {
        &self.components
    }

    /// Mean.
    pub fn mean(&self) -> f64 {
        self.components.iter().map(|c| c.weight * c.mean).sum()
    }

    /// Standard deviation.
    pub fn sd(&self) -> f64 {
        let mean = self.mean();
        self.components
            .iter()
            .map(|c| c.weight * (c.variance + (c.mean - mean).powi(2)))
            .sum::<f64>()
            .sqrt()
    }

    /// Mean of τ.
    pub fn mean_tau(&self) -> f64 {
        self.components.iter().map(|c| c.weight * c.tau).sum()
    }

    /// The mixture of M + further, where `further` gives the variance that is added to each component; τ is forgotten and
    /// near neighbours are merged.
    #[must_use]
    pub fn widened(&self, further: impl Fn(&Component) -> f64) -> Self {
        let components = self
            .components
            .iter()
            .map(|c| Component {
                variance: c.variance + further(c),
                tau: 0.0,
                ..*c
            })
            .collect();
        // A mixture has a component of weight above zero, and so has this one.
        Self::new(components).unwrap_or_else(|| self.clone())
    }

    /// P(M ≤ x).
    pub fn cdf(&self, x: f64) -> f64 {
        self.components
            .iter()
            .map(|c| c.weight * normal_cdf((x - c.mean) / c.variance.sqrt()))
            .sum()
    }

    /// The quantile at probability `p` in (0, 1), to a part in 10⁹ of the mixture's reach: Newton's steps from where a
    /// normal distribution of the same mean and standard deviation has it, kept within a bracket, every third a halving.
    pub fn quantile(&self, p: f64) -> f64 {
        let reach = |side: f64| {
            self.components
                .iter()
                .map(move |c| c.mean + side * 9.0 * c.variance.sqrt())
        };
        let mut low = reach(-1.0).fold(f64::INFINITY, f64::min);
        let mut high = reach(1.0).fold(f64::NEG_INFINITY, f64::max);
        let enough = 1e-9 * (high - low);
        let mut at = (self.mean() + normal_quantile(p) * self.sd()).clamp(low, high);
        for step in 0..100 {
            let found = self.cdf(at) - p;
            if found.abs() < 1e-12 {
                return at;
            }
            if found < 0.0 {
                low = at;
            } else {
                high = at;
            }
            let next = at - found / self.density(at);
            // The last step of Newton's is far better than its own length.
            if (next - at).abs() <= enough && next >= low && next <= high {
                return next;
            }
            if high - low <= enough {
                break;
            }
            at = if step % 3 == 2 || !(next > low && next < high) {
                f64::midpoint(low, high)
            } else {
                next
            };
        }
        f64::midpoint(low, high)
    }

    /// Half the width of the central 68.27 % interval: what a normal distribution calls its standard deviation.
    pub fn half_width(&self) -> f64 {
        let share = normal_cdf(1.0);
        (self.quantile(share) - self.quantile(1.0 - share)) / 2.0
    }

    /// What stands for a standard uncertainty: the larger of [`Self::half_width`] and of what makes a normal
    /// distribution's 95 % interval as wide as this one's. Possible gross errors and failed transfers give long tails, of
    /// which a standard deviation says too much and the middle too little.
    pub fn standard_uncertainty(&self) -> f64 {
        let interval = self.quantile(0.975) - self.quantile(0.025);
        self.half_width().max(interval / 2.0 / normal_quantile(0.975))
    }

    /// Density of M at x.
    pub fn density(&self, x: f64) -> f64 {
        self.components
            .iter()
            .map(|c| c.weight * normal_density(x - c.mean, c.variance))
            .sum()
    }

    /// The masses of the two main modes and the distance between them, when the density has more than one: the lighter
    /// mass and the distance. The masses are split at the lowest point between the two highest peaks.
    pub fn two_modes(&self) -> Option<(f64, f64)> {
        const POINTS: usize = 240;
        let low = self.quantile(0.002);
        let high = self.quantile(0.998);
        if high <= low {
            return None;
        }
        let step = (high - low) / POINTS as f64;
        let at = |i: usize| low + step * i as f64;
        let density: Vec<f64> = (0..=POINTS).map(|i| self.density(at(i))).collect();
        let mut peaks: Vec<usize> = (0..=POINTS)
            .filter(|&i| (i == 0 || density[i] > density[i - 1]) && (i == POINTS || density[i] >= density[i + 1]))
            .collect();
        peaks.sort_by(|&a, &b| density[b].total_cmp(&density[a]));
        // The pair of peaks with the deepest valley between them counts, so that ripples on one peak do not hide a second.
        let first = *peaks.first()?;
        let mut best: Option<(f64, f64)> = None;
        for &second in peaks.iter().skip(1).take(6) {
            let (a, b) = (first.min(second), first.max(second));
            let valley = (a..=b).min_by(|&i, &j| density[i].total_cmp(&density[j]))?;
            if density[valley] > 0.6 * density[second] {
                continue;
            }
            let below = self.cdf(at(valley));
            let lighter = below.min(1.0 - below);
            if best.is_none_or(|(mass, _)| lighter > mass) {
                best = Some((lighter, at(b) - at(a)));
            }
        }
        best
    }
}

/// Whether two components lie so close that one normal distribution serves for both.
fn alike(a: &Component, b: &Component) -> bool {
    let sd = a.variance.min(b.variance).sqrt();
    (a.mean - b.mean).abs() < 0.15 * sd
        && a.variance < ALIKE_VARIANCE * b.variance
        && b.variance < ALIKE_VARIANCE * a.variance
}

fn merge(a: &Component, b: &Component) -> Component {
    let weight = a.weight + b.weight;
    let mean = (a.weight * a.mean + b.weight * b.mean) / weight;
    let spread = |c: &Component| c.variance + (c.mean - mean).powi(2);
    Component {
        weight,
        mean,
        variance: (a.weight * spread(a) + b.weight * spread(b)) / weight,
        tau: a.tau,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn normal(weight: f64, mean: f64, sd: f64) -> Component {
        Component {
            weight,
            mean,
            variance: sd * sd,
            tau: 0.0,
        }
    }

    /// Quantiles of the standard normal distribution: ±1.959964 at 2.5 % (any statistical table).
    #[test]
    fn one_component_is_the_normal_distribution() {
        let mixture = Mixture::new(vec![normal(3.0, 10.0, 2.0)]).unwrap();
        let low = mixture.quantile(0.025);
        assert!((low - (10.0 - 2.0 * 1.959_964)).abs() < 1e-5, "{low}");
        assert!(mixture.two_modes().is_none());
        assert_eq!(mixture.mean(), 10.0);
    }

    #[test]
    fn two_far_components_are_two_modes() {
        let mixture = Mixture::new(vec![normal(0.7, 50.0, 1.0), normal(0.3, -50.0, 1.0)]).unwrap();
        let (mass, apart) = mixture.two_modes().unwrap();
        assert!(
            (mass - 0.3).abs() < 1e-6 && (apart - 100.0).abs() < 2.0,
            "{mass} {apart}"
        );
    }

    #[test]
    fn nothing_has_no_mixture() {
        assert!(Mixture::new(Vec::new()).is_none());
        assert!(Mixture::new(vec![normal(0.0, 1.0, 1.0)]).is_none());
    }
}
