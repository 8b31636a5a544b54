//! The probability of conformity and guard bands, by JCGM 106:2012.

use super::super::mixture::normal_cdf;
use super::super::mixture::normal_quantile;
use serde::Serialize;
use statrs::distribution::{ContinuousCDF, StudentsT};

/// A value with its standard uncertainty.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Estimate {
    /// The value.
    pub value: f64,
    /// Its standard uncertainty, above zero.
    pub standard_uncertainty: f64,
    /// Degrees of freedom; none for the normal distribution.
    pub degrees_of_freedom: Option<f64>,
}

impl Estimate {
    /// A value with its standard uncertainty and degrees of freedom.
    pub const fn new(value: f64, standard_uncertainty: f64, degrees_of_freedom: Option<f64>) -> Self {
        Self {
            value,
            standard_uncertainty,
            degrees_of_freedom,
        }
    }

    /// The probability that the quantity is below `x`, when this estimate is all that is known of it.
    fn below(&self, x: f64) -> f64 {
        if x.is_infinite() {
            return f64::from(u8::from(x > 0.0));
        }
        if self.standard_uncertainty <= 0.0 {
            return f64::from(u8::from(x >= self.value));
        }
        let z = (x - self.value) / self.standard_uncertainty;
        match self.degrees_of_freedom.and_then(|df| StudentsT::new(0.0, 1.0, df).ok()) {
            Some(student) => student.cdf(z),
            None => normal_cdf(z),
        }
    }
}

/// The probability of conformity and how well the measurement can tell.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct Conformity {
    /// Probability that the true value lies within the limits.
    pub probability: f64,
    /// Probability that it lies below the low limit.
    pub below: f64,
    /// Probability that it lies above the high limit.
    pub above: f64,
    /// Measurement capability index, the width of the limits over four standard uncertainties; none for a one-sided
    /// limit.
    pub capability_index: Option<f64>,
}

/// The probability that the quantity lies within `limits`, `[low, high]`, infinite where a side is open.
///
/// `p_c = F((T_U − y)/u) − F((T_L − y)/u)`: y the value, u its standard uncertainty, F the standard normal distribution
/// (JCGM 106:2012, 7.3 and 7.4), or Student's with the degrees of freedom of u where the value is a mean of few readings
/// (JCGM 101:2008, 6.4.9). Nothing but the measurement is taken to be known of the quantity. Measurement capability index
/// `C_m = (T_U − T_L)/(4 u)` (JCGM 106:2012, 7.6).
///
/// It misleads when the uncertainty leaves something out, or when much is known of the process that made the item.
pub fn conformity(estimate: &Estimate, limits: [f64; 2]) -> Conformity {
    let below = estimate.below(limits[0]);
    let above = 1.0 - estimate.below(limits[1]);
    let width = limits[1] - limits[0];
    Conformity {
        probability: (1.0 - below - above).clamp(0.0, 1.0),
        below,
        above,
        capability_index: (width.is_finite() && estimate.standard_uncertainty > 0.0)
            .then(|| width / (4.0 * estimate.standard_uncertainty)),
    }
}

/// How a guard band is chosen.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Guard {
    /// Accepted only where the probability of conformity is at least this.
    Probability(f64),
    /// The limits are moved inwards by this many standard uncertainties.
    Multiple(f64),
}

/// What a guard-banded rule says.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub enum Acceptance {
    /// Within the acceptance limits.
    Accepted,
    /// Within a guard band: neither accepted nor clearly outside.
    Inconclusive,
    /// Outside the limits by more than the guard band.
    Rejected,
}

/// A guard-banded decision.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct GuardedDecision {
    /// The decision rule, by name.
    pub rule: String,
    /// The width of the guard band inside each limit.
    pub guard_band: f64,
    /// The acceptance limits, `[low, high]`, null where a side is open; null when the limits are too narrow for this
    /// uncertainty.
    pub acceptance_limits: Option<[Option<f64>; 2]>,
    /// The decision.
    pub decision: Acceptance,
    /// What it rests on, in a sentence.
    pub sentence: String,
}

/// Decides with a guard band (guarded acceptance, JCGM 106:2012, 8.3.2).
///
/// With [`Guard::Multiple`] k the acceptance limits are `T_L + k u` and `T_U − k u`. With [`Guard::Probability`] p they
/// are the values at which the probability of conformity is p; for one limit that is `k = Φ⁻¹(p)`. The decision is
/// taken on the value before rounding.
pub fn guarded(estimate: &Estimate, limits: [f64; 2], guard: Guard) -> GuardedDecision {
    let u = estimate.standard_uncertainty;
    let (rule, acceptance) = match guard {
        Guard::Multiple(k) => {
            let moved = [limits[0] + k * u, limits[1] - k * u];
            (
                format!("guarded acceptance with a guard band of {k} u (JCGM 106:2012, 8.3.2)"),
                (moved[0] <= moved[1]).then_some(moved),
            )
        }
        Guard::Probability(p) => (
            format!(
                "guarded acceptance where the probability of conformity is at least {} % (JCGM 106:2012, 8.3.2)",
                100.0 * p
            ),
            acceptance_limits(estimate, limits, p),
        ),
    };
    let guard_band = match (acceptance, guard) {
        (_, Guard::Multiple(k)) => k * u,
        (Some([low, _]), _) if low.is_finite() => low - limits[0],
        (Some([_, high]), _) if high.is_finite() => limits[1] - high,
        (_, Guard::Probability(p)) => u * normal_quantile(p),
    };
    let y = estimate.value;
    let decision = if acceptance.is_some_and(|[low, high]| (low..=high).contains(&y)) {
        Acceptance::Accepted
    } else if y < limits[0] - guard_band || y > limits[1] + guard_band {
        Acceptance::Rejected
    } else {
        Acceptance::Inconclusive
    };
    let sentence = match (decision, acceptance) {
        (Acceptance::Accepted, _) => "The value lies within the acceptance limits.",
        (Acceptance::Rejected, _) => "The value lies outside the limits by more than the guard band.",
        (Acceptance::Inconclusive, Some(_)) => {
            "The value lies within a guard band: measure again with less uncertainty before anything is concluded."
        }
        (Acceptance::Inconclusive, None) => {
            "No value can be accepted: the limits are too narrow for the uncertainty of this measurement."
        }
    };
    let end = |x: f64| x.is_finite().then_some(x);
    GuardedDecision {
        rule,
        guard_band,
        acceptance_limits: acceptance.map(|[low, high]| [end(low), end(high)]),
        decision,
        sentence: sentence.to_owned(),
    }
}

/// The values between which the probability of conformity is at least `p`, by bisection from the middle outwards; none
/// when even the middle does not reach it.
fn acceptance_limits(estimate: &Estimate, limits: [f64; 2], p: f64) -> Option<[f64; 2]> {
    let [low, high] = limits;
    let u = estimate.standard_uncertainty;
    let at = |value: f64| conformity(&Estimate { value, ..*estimate }, limits).probability;
    // Far inside a one-sided limit the probability is as good as one.
    let inside = match (low.is_finite(), high.is_finite()) {
        (true, true) => f64::midpoint(low, high),
        (true, false) => low + 1e4 * u,
        (false, true) => high - 1e4 * u,
        (false, false) => return Some(limits),
    };
    if at(inside) < p {
        return None;
    }
    let find = |outside: f64| {
        if outside.is_infinite() {
            return outside;
        }
        let (mut good, mut bad) = (inside, outside);
        for _ in 0..100 {
            let middle = f64::midpoint(good, bad);
            if at(middle) >= p {
                good = middle;
            } else {
                bad = middle;
            }
        }
        good
    };
    // Where p is below one half the acceptance limits lie outside the limits; guarding never moves them there.
    Some([find(low), find(high)])
}
