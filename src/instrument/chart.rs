//! The control chart of one instrument with one standard: individual differences from the expected angle, Shewhart limits
//! from moving ranges, and run rules.
//!
//! Limits: centre ± 2.660 times the mean moving range of two (ISO 7870-2:2013, individuals and moving range; 2.660 = 3/1.128).
//! Rules: one point beyond three sigma, nine in a row on one side, six in a row rising or falling, two of three beyond two
//! sigma on one side (tests 1, 2, 3 and 5 of ISO 8258:1991, figure 3).

use crate::quantity::Angle;
use serde::Serialize;

/// Expected moving range of two normal values in units of sigma (ISO 7870-2:2013, d₂ for n = 2).
const D2: f64 = 1.128;

/// Scatter below this is rounding in the arithmetic and none of the instrument, degrees.
const NO_SCATTER: f64 = 1e-9;

/// Points from which limits are drawn at all, and from which they count as established.
const FEWEST: usize = 6;
const ESTABLISHED: usize = 20;

/// A run rule.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Rule {
    /// One point beyond three sigma.
    BeyondLimits,
    /// Nine points in a row on one side of the centre.
    OneSide,
    /// Six points in a row rising or falling.
    Trend,
    /// Two of three points in a row beyond two sigma on the same side.
    TwoOfThree,
}

impl Rule {
    /// What it says, in trade words.
    pub const fn sentence(self) -> &'static str {
        match self {
            Self::BeyondLimits => "beyond the control limits: stop, clean, zero and read again",
            Self::OneSide => "nine checks in a row on one side: the zero or the calibration has moved",
            Self::Trend => "six checks in a row rising or falling: a drift; look at lamp, temperature and windows",
            Self::TwoOfThree => "two of three checks near the same limit: read again soon",
        }
    }
}

/// A rule broken at a point.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
pub struct Alarm {
    /// The point, from 0.
    pub at: usize,
    /// The rule.
    pub rule: Rule,
}

/// A control chart.
#[derive(Clone, Debug, PartialEq)]
pub struct Chart {
    /// The differences found − expected, in order of time.
    pub differences: Vec<Angle>,
    /// Centre; none with too few points.
    pub centre: Option<Angle>,
    /// Standard deviation from the mean moving range.
    pub sigma: Option<Angle>,
    /// Lower and upper control limit.
    pub limits: Option<[Angle; 2]>,
    /// Whether there are points enough for the limits to count as established.
    pub established: bool,
    /// Broken rules in order of points.
    pub alarms: Vec<Alarm>,
}

/// Draws the chart. Limits come from the first 20 points, so that a later fault does not widen them; with fewer than six
/// points there are none.
///
/// `step` is the smallest step of the display. Readings that are all alike scatter by less than it, and limits from them
/// alone would call the next step a fault: sigma is at least half a step (common practice), so that one step is no alarm
/// and two are. Where the step is not known and the points do not scatter at all, there are no limits.
pub fn chart(differences: &[Angle], step: Option<Angle>) -> Chart {
    let values: Vec<f64> = differences.iter().map(|it| it.degrees()).collect();
    let base = &values[..values.len().min(ESTABLISHED)];
    let without_limits = Chart {
        differences: differences.to_vec(),
        centre: None,
        sigma: None,
        limits: None,
        established: false,
        alarms: Vec::new(),
    };
    if base.len() < FEWEST {
        return without_limits;
    }
    let centre = base.iter().sum::<f64>() / base.len() as f64;
    let range = base.windows(2).map(|pair| (pair[1] - pair[0]).abs()).sum::<f64>() / (base.len() - 1) as f64;
    let least = step.map_or(0.0, |step| step.degrees() / 2.0);
    let sigma = (range / D2).max(least);
    if sigma < NO_SCATTER {
        return without_limits;
    }
    Chart {
        differences: differences.to_vec(),
        centre: Some(Angle::from_degrees(centre)),
        sigma: Some(Angle::from_degrees(sigma)),
        limits: Some([centre - 3.0 * sigma, centre + 3.0 * sigma].map(Angle::from_degrees)),
        established: values.len() >= ESTABLISHED,
        alarms: alarms(&values, centre, sigma),
    }
}

/// Applies the rules to standardised points.
fn alarms(values: &[f64], centre: f64, sigma: f64) -> Vec<Alarm> {
    let side = |value: f64| match value - centre {
        above if above > NO_SCATTER => 1,
        below if below < -NO_SCATTER => -1,
        _ => 0,
    };
    let mut found = Vec::new();
    for at in 0..values.len() {
        let mut add = |rule| found.push(Alarm { at, rule });
        let last = |n: usize| (at + 1 >= n).then(|| &values[at + 1 - n..=at]);
        if (values[at] - centre).abs() > 3.0 * sigma + NO_SCATTER {
            add(Rule::BeyondLimits);
        }
        if let Some(nine) = last(9)
            && side(nine[0]) != 0
            && nine.iter().all(|&value| side(value) == side(nine[0]))
        {
            add(Rule::OneSide);
        }
        if let Some(six) = last(6) {
            let rising = six.windows(2).all(|pair| pair[1] > pair[0]);
            let falling = six.windows(2).all(|pair| pair[1] < pair[0]);
            if rising || falling {
                add(Rule::Trend);
            }
        }
        if let Some(three) = last(3) {
            for sign in [1.0, -1.0] {
                let far = |value: f64| sign * (value - centre) > 2.0 * sigma + NO_SCATTER;
                if far(values[at]) && three.iter().filter(|&&value| far(value)).count() >= 2 {
                    add(Rule::TwoOfThree);
                }
            }
        }
    }
    found
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::SeedableRng;
    use rand_distr::{Distribution, StandardNormal};
    use rand_pcg::Pcg64;

    fn of(values: &[f64]) -> Chart {
        chart(
            &values.iter().copied().map(Angle::from_degrees).collect::<Vec<_>>(),
            None,
        )
    }

    /// NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2, individuals chart of flow rate: mean 50.81, mean moving range
    /// 1.8778, limits 55.8041 and 45.8159.
    #[test]
    fn the_individuals_chart_of_the_nist_handbook() {
        let found = of(&[49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1]);
        assert!((found.centre.unwrap().degrees() - 50.81).abs() < 1e-9);
        let [low, high] = found.limits.unwrap();
        assert!(
            (high.degrees() - 55.8041).abs() < 1e-3 && (low.degrees() - 45.8159).abs() < 1e-3,
            "{found:?}"
        );
        assert!(found.alarms.is_empty() && !found.established);
    }

    #[test]
    fn each_rule_is_seen_where_it_is_broken() {
        let calm = [
            0.1, -0.1, 0.05, -0.08, 0.1, -0.1, 0.07, -0.05, 0.1, -0.1, 0.1, -0.1, 0.05, -0.08, 0.1, -0.1,
        ];
        let quiet: Vec<f64> = calm.iter().copied().chain([0.07, -0.05, 0.1, -0.1]).collect();
        let with = |more: &[f64]| of(&quiet.iter().copied().chain(more.iter().copied()).collect::<Vec<_>>());
        let rules = |chart: &Chart| chart.alarms.iter().map(|alarm| alarm.rule).collect::<Vec<_>>();
        assert!(rules(&with(&[])).is_empty());
        assert_eq!(rules(&with(&[1.0])), [Rule::BeyondLimits]);
        assert_eq!(
            rules(&with(&[0.05, 0.02, 0.04, 0.03, 0.06, 0.02, 0.05, 0.03, 0.04])),
            [Rule::OneSide]
        );
        assert!(rules(&with(&[-0.09, -0.07, -0.03, 0.01, 0.05])).contains(&Rule::Trend));
        assert!(rules(&with(&[0.35, 0.0, 0.35])).contains(&Rule::TwoOfThree));
        assert_eq!(of(&[0.0; 5]).limits, None);
    }

    /// Twenty readings alike but for rounding in the arithmetic, as a coarse display gives them: no limits and no alarm where
    /// the step is not known. With it, by hand: limits of 1.5 steps, one step is no alarm, two are.
    #[test]
    fn a_display_that_never_moves_raises_no_alarm_by_rounding() {
        let mut values = vec![0.1 + 0.2; 20];
        values[19] = 0.3;
        assert!(of(&values).limits.is_none() && of(&values).alarms.is_empty());
        let step = Some(Angle::from_degrees(0.001));
        let drawn = |more: &[f64]| {
            let all = values.iter().chain(more).copied().map(Angle::from_degrees);
            chart(&all.collect::<Vec<_>>(), step)
        };
        let [low, high] = drawn(&[]).limits.unwrap();
        assert!((high.degrees() - low.degrees() - 0.003).abs() < 1e-12);
        assert!(drawn(&[0.301, 0.3, 0.301]).alarms.is_empty());
        assert_eq!(drawn(&[0.302]).alarms.len(), 1);
    }

    /// False alarms of a chart in control whose limits are known: one point in 370 by the first rule (normal table, P = 0.0027);
    /// a shift of three sigma is seen at once in half of the cases. Printed for the other rules.
    #[test]
    #[expect(clippy::print_stdout, reason = "prints the rates it measured")]
    fn false_alarms_and_detection() {
        let mut rng = Pcg64::seed_from_u64(1815);
        let mut draw = |mean: f64| -> f64 {
            let z: f64 = StandardNormal.sample(&mut rng);
            z + mean
        };
        let n = 200_000;
        let calm: Vec<f64> = (0..n).map(|_| draw(0.0)).collect();
        let found = alarms(&calm, 0.0, 1.0);
        for rule in [Rule::BeyondLimits, Rule::OneSide, Rule::Trend, Rule::TwoOfThree] {
            let count = found.iter().filter(|alarm| alarm.rule == rule).count();
            println!("{rule:?}: {:.3} % of calm points", 100.0 * count as f64 / f64::from(n));
        }
        let first = found.iter().filter(|alarm| alarm.rule == Rule::BeyondLimits).count() as f64 / f64::from(n);
        assert!(
            (first - 0.0027).abs() < 4.0 * (0.0027f64 / f64::from(n)).sqrt(),
            "{first}"
        );
        let shifted: Vec<f64> = (0..20_000).map(|_| draw(3.0)).collect();
        let seen = shifted.iter().filter(|value| value.abs() > 3.0).count() as f64 / 20_000.0;
        println!("shift of 3 sigma seen at its first point: {:.1} %", 100.0 * seen);
        assert!((seen - 0.5).abs() < 0.02);
    }
}
