//! The control chart of one instrument with one standard: individual differences from the expected angle, Shewhart limits
//! from moving ranges, and run rules.
//!
//! Limits: centre ± 2.660 times the mean moving range of two (ISO 7870-2:2013, individuals and moving range; 2.660 = 3/1.128).
//! Rules: the four of Western Electric, Statistical Quality Control Handbook (1956): one point beyond three sigma, two of
//! three beyond two sigma on one side, four of five beyond one sigma on one side, eight in a row on one side; as told in
//! Montgomery and Runger, Applied Statistics and Probability for Engineers, 3rd ed., 16-5, p. 606. Together they raise a false
//! alarm at every 91.75th point of a calm chart with known limits (Champ and Woodall, Technometrics 29 (1987) 393).
//!
//! Below 20 points the limits are provisional: they rest on the very points they judge, so only a point beyond them is
//! told, as a warning.

use crate::quantity::Angle;
use serde::Serialize;

/// Expected moving range of two normal values in units of sigma (ISO 7870-2:2013, d₂ for n = 2).
const D2: f64 = 1.128;

/// Scatter below this is rounding in the arithmetic and none of the instrument, degrees.
const NO_SCATTER: f64 = 1e-9;

/// Points from which limits are drawn at all, and from which they count as established (common practice: 20 to 25).
pub const FEWEST: usize = 6;
/// See [`FEWEST`].
pub const ESTABLISHED: usize = 20;

/// A run rule.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Rule {
    /// One point beyond three sigma.
    BeyondLimits,
    /// Two of three points in a row beyond two sigma on the same side.
    TwoOfThree,
    /// Four of five points in a row beyond one sigma on the same side.
    FourOfFive,
    /// Eight points in a row on one side of the centre.
    OneSide,
}

impl Rule {
    /// All rules.
    pub const ALL: [Self; 4] = [Self::BeyondLimits, Self::TwoOfThree, Self::FourOfFive, Self::OneSide];

    /// What it says, in trade words.
    pub const fn sentence(self) -> &'static str {
        match self {
            Self::BeyondLimits => "beyond the control limits: stop, clean, zero and read again",
            Self::TwoOfThree => "two of three checks beyond two sigma on the same side: clean, zero and read again",
            Self::FourOfFive => {
                "four of five checks beyond one sigma on the same side: a drift; look at lamp, temperature and windows"
            }
            Self::OneSide => "eight checks in a row on one side: the zero or the calibration has moved",
        }
    }
}

/// A rule broken at a point.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
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
    let established = values.len() >= ESTABLISHED;
    let mut alarms = alarms(&values, centre, sigma);
    if !established {
        alarms.retain(|alarm| alarm.rule == Rule::BeyondLimits);
    }
    Chart {
        differences: differences.to_vec(),
        centre: Some(Angle::from_degrees(centre)),
        sigma: Some(Angle::from_degrees(sigma)),
        limits: Some([centre - 3.0 * sigma, centre + 3.0 * sigma].map(Angle::from_degrees)),
        established,
        alarms,
    }
}

/// Applies the rules to all points; each is told at the point that completes it.
fn alarms(values: &[f64], centre: f64, sigma: f64) -> Vec<Alarm> {
    let mut found = Vec::new();
    for at in 0..values.len() {
        // How many of the last `of` points lie beyond so many sigma on the side of the newest, which is one of them.
        let complete = |needed: usize, of: usize, sigmas: f64| {
            let window = &values[(at + 1).saturating_sub(of)..=at];
            [1.0, -1.0].iter().any(|sign| {
                let beyond = |value: f64| sign * (value - centre) > sigmas * sigma + NO_SCATTER;
                beyond(values[at]) && window.iter().filter(|&&value| beyond(value)).count() >= needed
            })
        };
        let broken = Rule::ALL.into_iter().filter(|rule| match rule {
            Rule::BeyondLimits => complete(1, 1, 3.0),
            Rule::TwoOfThree => complete(2, 3, 2.0),
            Rule::FourOfFive => complete(4, 5, 1.0),
            Rule::OneSide => complete(8, 8, 0.0),
        });
        found.extend(broken.map(|rule| Alarm { at, rule }));
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

    /// By hand, with centre 0 and sigma 1: each rule at the point that completes it, and not one point short of it.
    #[test]
    fn each_rule_is_seen_where_it_is_broken() {
        let rules = |values: &[f64]| -> Vec<(usize, Rule)> {
            alarms(values, 0.0, 1.0).iter().map(|it| (it.at, it.rule)).collect()
        };
        assert_eq!(
            rules(&[0.5, 3.1, -3.1]),
            [(1, Rule::BeyondLimits), (2, Rule::BeyondLimits)]
        );
        assert!(rules(&[2.9, -2.9, 0.9, 2.9]).is_empty());
        assert_eq!(rules(&[2.1, -0.5, 2.1]), [(2, Rule::TwoOfThree)]);
        assert_eq!(rules(&[-2.1, -2.1]), [(1, Rule::TwoOfThree)]);
        assert!(rules(&[2.1, 0.0, 0.0, 2.1]).is_empty() && rules(&[2.1, 1.9, -2.1]).is_empty());
        // The newest must be one of them: the alarm is told once, at 1.
        assert_eq!(rules(&[2.1, 2.1, 0.0]), [(1, Rule::TwoOfThree)]);
        assert_eq!(rules(&[1.1, 1.2, -0.1, 1.1, 1.3]), [(4, Rule::FourOfFive)]);
        assert!(rules(&[1.1, 1.2, -0.1, 1.1, 0.9]).is_empty() && rules(&[1.1, 1.1, 1.1, -1.1]).is_empty());
        let run = [0.4, 0.3, 0.9, 0.1, 0.2, 0.8, 0.5, 0.6];
        assert_eq!(rules(&run), [(7, Rule::OneSide)]);
        assert!(rules(&run[..7]).is_empty());
        assert!(rules(&[0.4, 0.3, 0.9, 0.0, 0.2, 0.8, 0.5, 0.6]).is_empty());
        assert_eq!(rules(&run.map(|value| -value)), [(7, Rule::OneSide)]);
    }

    /// Nineteen points: the limits are provisional, a point beyond them is told and no run is; one more, and both are.
    #[test]
    fn below_twenty_points_only_a_point_beyond_the_limits_is_told() {
        let mut values: Vec<f64> = (0..10).map(|at| if at % 2 == 0 { 0.1 } else { -0.1 }).collect();
        values.extend([0.05; 8]);
        values.push(2.0);
        let rules = |values: &[f64]| -> Vec<Rule> { of(values).alarms.iter().map(|it| it.rule).collect() };
        assert!(!of(&values).established);
        assert_eq!(rules(&values), [Rule::BeyondLimits]);
        let calm: Vec<f64> = values[..10].iter().chain(&values[..10]).copied().collect();
        assert!(of(&calm).established && rules(&calm).is_empty());
        let with_run: Vec<f64> = calm.iter().copied().chain([0.05; 8]).collect();
        assert!(rules(&with_run).contains(&Rule::OneSide));
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

    /// Calm charts with known limits: one point in 370 by the first rule (normal table, P = 0.0027), and with all four the
    /// first alarm after 91.75 points in the mean (Champ and Woodall, Technometrics 29 (1987) 393, quoted with the rules in
    /// many places). A shift of three sigma is seen at its first point in half of the cases. Prints the rates.
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
        for rule in Rule::ALL {
            let count = found.iter().filter(|alarm| alarm.rule == rule).count();
            println!("{rule:?}: {:.3} % of calm points", 100.0 * count as f64 / f64::from(n));
        }
        let first = found.iter().filter(|alarm| alarm.rule == Rule::BeyondLimits).count() as f64 / f64::from(n);
        assert!(
            (first - 0.0027).abs() < 4.0 * (0.0027f64 / f64::from(n)).sqrt(),
            "{first}"
        );
        // Each run starts afresh after its alarm.
        let (mut lengths, mut at) = (Vec::new(), 0);
        while let Some(alarm) = alarms(&calm[at..(at + 2000).min(calm.len())], 0.0, 1.0).first() {
            lengths.push((alarm.at + 1) as f64);
            at += alarm.at + 1;
        }
        let mean = lengths.iter().sum::<f64>() / lengths.len() as f64;
        println!(
            "mean run to the first false alarm: {mean:.1} points in {} runs",
            lengths.len()
        );
        assert!(
            (mean - 91.75).abs() < 4.0 * 91.75 / (lengths.len() as f64).sqrt(),
            "{mean}"
        );
        let shifted: Vec<f64> = (0..20_000).map(|_| draw(3.0)).collect();
        let seen = shifted.iter().filter(|value| value.abs() > 3.0).count() as f64 / 20_000.0;
        println!("shift of 3 sigma seen at its first point: {:.1} %", 100.0 * seen);
        assert!((seen - 0.5).abs() < 0.02);
    }
}
