//! Change of an angle with time: mutarotation, inversion, a sample that comes to temperature.
//!
//! A first-order course `α(t) = α∞ + (α0 − α∞) e^{−kt}` is fitted and set against a straight line and a constant, so that
//! the answer says when the series is too short to tell. Start reading at [`follow`].

use super::least_squares::{Fit, FitError, Number, Observation, fit};
use super::student::t_tails;
use crate::quantity::{Angle, Time};
use num_dual::DualNum;
use serde::Serialize;
use statrs::distribution::{ContinuousCDF, Normal};
use std::f64::consts::LN_2;

/// One reading.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TimedReading {
    /// Time since the solution was made, or since the clock's zero.
    pub time: Time,
    /// The angle, or a rotation proportional to it.
    pub angle: Angle,
    /// Its standard uncertainty, where it is known.
    pub uncertainty: Option<Angle>,
}

/// A value with its standard uncertainty and 95 % interval.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct Estimate {
    /// The value.
    pub value: f64,
    /// Its standard uncertainty.
    pub standard_uncertainty: f64,
    /// Ends of the 95 % interval.
    pub interval95: [f64; 2],
}

impl Estimate {
    /// A symmetric interval from a factor on the standard uncertainty.
    pub fn symmetric(value: f64, standard_uncertainty: f64, factor: f64) -> Self {
        let half = factor * standard_uncertainty;
        Self {
            value,
            standard_uncertainty,
            interval95: [value - half, value + half],
        }
    }

    /// An interval of a positive quantity, symmetric in its logarithm.
    fn logarithmic(value: f64, relative: f64, factor: f64) -> Self {
        let spread = (factor * relative).exp();
        Self {
            value,
            standard_uncertainty: value * relative,
            interval95: [value / spread, value * spread],
        }
    }
}

/// The course of the readings that the data support.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub enum CourseLaw {
    /// No change beyond the scatter.
    Constant,
    /// A steady change: a straight line fits as well as a first-order course.
    Linear,
    /// A first-order approach to an equilibrium.
    FirstOrder,
}

/// Something to know of the series, with the number it rests on.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct Flag {
    /// A stable word.
    pub code: &'static str,
    /// The number it rests on.
    pub number: f64,
    /// A sentence with the number and what to do.
    pub sentence: String,
}

/// A first-order course.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct FirstOrder {
    /// The value at time zero, degrees.
    pub initial: Estimate,
    /// The value at equilibrium, degrees.
    pub equilibrium: Estimate,
    /// α0 − α∞, degrees.
    pub change: Estimate,
    /// Rate constant k, s⁻¹.
    pub rate_per_second: Estimate,
    /// Half-life ln 2 / k, s.
    pub half_life_s: Estimate,
    /// Time over which readings were taken, in half-lives.
    pub half_lives_seen: f64,
    /// Time from which the course lies within the scatter of one reading of the equilibrium, s; none where it does from the
    /// beginning.
    pub equilibrium_from_s: Option<f64>,
    /// Correlation of α∞ and k in the fit.
    pub correlation: f64,
}

impl FirstOrder {
    /// The angle at a time after t = 0: `α(t) = α∞ + (α0 − α∞) e^{−kt}`.
    pub fn at(&self, time: Time) -> Angle {
        let [initial, end] = [self.initial.value, self.equilibrium.value];
        Angle::from_degrees(end + (initial - end) * (-self.rate_per_second.value * time.seconds()).exp())
    }
}

/// What a series of readings tells.
#[derive(Clone, Debug)]
pub struct Course {
    /// The course the data support.
    pub law: CourseLaw,
    /// The first-order course; none where no such course can be fitted.
    pub first_order: Option<FirstOrder>,
    /// The steady change, degrees per second.
    pub slope_per_second: Estimate,
    /// The mean of all readings, degrees.
    pub mean: Estimate,
    /// Criterion (AICc) of the three laws: constant, linear, first order; the smallest is the best.
    pub criteria: [Option<f64>; 3],
    /// Residuals from the supported law, degrees, in the order of the readings.
    pub residuals: Vec<f64>,
    /// Standard deviation of the readings about the supported law, degrees.
    pub scatter: f64,
    /// Where uncertainties are stated: the probability of such a scatter about the supported law, and the factor by which
    /// they were widened for it.
    pub stated_fit: Option<(f64, f64)>,
    /// What to know.
    pub flags: Vec<Flag>,
}

/// Why a series tells nothing.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum SeriesError {
    /// Too few readings at different times.
    #[error(
        "{} cannot tell a change with time; at least {LEAST_TIMES} are needed, and ten or more over three half-lives are good",
        times_in_words(*n_times)
    )]
    TooFew {
        /// Different times found.
        n_times: usize,
    },
    /// What the fit says.
    #[error(transparent)]
    Fit(#[from] FitError),
}

fn times_in_words(n_times: usize) -> String {
    match n_times {
        0 => "a series without readings".to_owned(),
        1 => "readings at one time".to_owned(),
        n => format!("readings at {n} different times"),
    }
}

/// Least number of different times: three parameters and one degree of freedom.
pub const LEAST_TIMES: usize = 4;

/// Half-lives a series must span before its equilibrium value is taken as seen (common practice: after three half-lives
/// 1/8 of the change is left).
const ENOUGH_HALF_LIVES: f64 = 3.0;

/// Relative standard uncertainty of k beyond which the half-life is not told.
const VAGUE_RATE: f64 = 0.3;

/// Difference of AICc below which the simpler law is kept. Burnham and Anderson, Model Selection and Multimodel Inference,
/// 2nd ed. (2002), 2.6: models within 2 of each other are both substantially supported.
const CLEARLY_BETTER: f64 = 2.0;

/// Readings among which the search for a start looks; more are thinned out evenly for it alone.
const MOST_FOR_START: usize = 2000;

/// Fits the course of a series, in any order of times.
///
/// Weighted non-linear least squares with ln k as the parameter, from the best of 80 starting rates (α0 and α∞ follow
/// linearly from each). Intervals of k and the half-life are symmetric in the logarithm. The readings are taken as
/// independent: a drift of the instrument is not seen here.
///
/// # Errors
/// When fewer than four different times are given, or the numbers allow no fit.
pub fn follow(readings: &[TimedReading]) -> Result<Course, SeriesError> {
    let mut times: Vec<f64> = readings.iter().map(|reading| reading.time.seconds()).collect();
    times.sort_by(f64::total_cmp);
    times.dedup();
    if times.len() < LEAST_TIMES {
        return Err(SeriesError::TooFew { n_times: times.len() });
    }
    let (first, span) = (times[0], times[times.len() - 1] - times[0]);
    // Times in units of the span, so that no parameter is far from one.
    let values: Vec<Observation> = readings
        .iter()
        .map(|reading| Observation {
            x: (reading.time.seconds() - first) / span,
            y: reading.angle.degrees(),
            uncertainty: reading.uncertainty.map(Angle::degrees),
        })
        .collect();
    let constant = fit(&values, &[mean(&values)], |_, p| p[0])?;
    let line = fit(&values, &[mean(&values), 0.0], |x, p| p[0] + p[1] * x)?;
    let exponential = start(&values).and_then(|start| fit(&values, &start, course).ok());
    let law = choose(&constant, &line, exponential.as_ref());
    let supported = match (law, &exponential) {
        (CourseLaw::FirstOrder, Some(fit)) => fit,
        (CourseLaw::Constant, _) => &constant,
        _ => &line,
    };
    let scatter = deviation(&supported.residuals, supported.parameters.len());
    let first_order = exponential.as_ref().map(|fit| described(fit, first, span, scatter));
    let criteria = [
        constant.criterion(),
        line.criterion(),
        exponential.as_ref().and_then(Fit::criterion),
    ];
    let slope = line.parameters[1] / span;
    let mut made = Course {
        law,
        slope_per_second: Estimate::symmetric(slope, line.standard_uncertainty(1) / span, line.coverage95()),
        mean: Estimate::symmetric(
            constant.parameters[0],
            constant.standard_uncertainty(0),
            constant.coverage95(),
        ),
        first_order,
        criteria,
        residuals: supported.residuals.clone(),
        scatter,
        stated_fit: supported
            .probability()
            .map(|probability| (probability, supported.widened)),
        flags: Vec::new(),
    };
    made.flags = flags(&made, readings, first, span);
    Ok(made)
}

/// The law in the fit: parameters α∞, α0 − α∞ at the first reading, ln k.
fn course(x: f64, p: &[Number]) -> Number {
    p[0] + p[1] * (-p[2].exp() * x).exp()
}

fn mean(values: &[Observation]) -> f64 {
    values.iter().map(|value| value.y).sum::<f64>() / values.len() as f64
}

/// Root of the sum of squares over the degrees of freedom, degrees, whatever the weights.
fn deviation(residuals: &[f64], n_parameters: usize) -> f64 {
    let n = residuals.len().saturating_sub(n_parameters).max(1);
    (residuals.iter().map(|r| r * r).sum::<f64>() / n as f64).sqrt()
}

/// The best of many rates, each with the straight line `α∞ + Δ e^{−kt}` that fits best.
fn start(values: &[Observation]) -> Option<[f64; 3]> {
    const RATES: u32 = 80;
    let step = values.len().div_ceil(MOST_FOR_START).max(1);
    let thinned: Vec<&Observation> = values.iter().step_by(step).collect();
    let mut best: Option<(f64, [f64; 3])> = None;
    for i in 0..RATES {
        // From a fiftieth of a half-life in the span to six hundred.
        let log_rate = -4.3 + 10.3 * f64::from(i) / f64::from(RATES - 1);
        let rate = log_rate.exp();
        let (mut n, mut se, mut see, mut sy, mut sey) = (0.0, 0.0, 0.0, 0.0, 0.0);
        for value in &thinned {
            let w = value.uncertainty.map_or(1.0, |u| 1.0 / (u * u));
            let e = (-rate * value.x).exp();
            n += w;
            se += w * e;
            see += w * e * e;
            sy += w * value.y;
            sey += w * e * value.y;
        }
        let determinant = n * see - se * se;
        if determinant.is_nan() || determinant <= 1e-14 * n * see {
            continue;
        }
        let change = (n * sey - se * sy) / determinant;
        let end = (sy - change * se) / n;
        let squares: f64 = thinned
            .iter()
            .map(|value| {
                let r = value.y - end - change * (-rate * value.x).exp();
                r * r * value.uncertainty.map_or(1.0, |u| 1.0 / (u * u))
            })
            .sum();
        if squares.is_finite() && best.is_none_or(|(least, _)| squares < least) {
            best = Some((squares, [end, change, log_rate]));
        }
    }
    best.map(|(_, start)| start)
}

/// The simplest law that none of the others clearly beats.
fn choose(constant: &Fit, line: &Fit, exponential: Option<&Fit>) -> CourseLaw {
    let worst = f64::INFINITY;
    let criterion = |fit: &Fit| fit.criterion().unwrap_or(worst);
    let (flat, steady) = (criterion(constant), criterion(line));
    let curved = exponential.map_or(worst, criterion);
    if curved < steady.min(flat) - CLEARLY_BETTER {
        CourseLaw::FirstOrder
    } else if steady < flat - CLEARLY_BETTER || curved < flat - CLEARLY_BETTER || is_clear(line) {
        CourseLaw::Linear
    } else {
        CourseLaw::Constant
    }
}

/// Whether the slope of the straight line is clearly other than zero (t test, two-sided 99 %). With few readings the
/// small-sample term of AICc keeps the constant against a slope that anyone sees.
fn is_clear(line: &Fit) -> bool {
    let n = line.degrees_of_freedom;
    if n == 0 {
        return false;
    }
    // Stated uncertainties that were not widened are taken as known.
    let nu = if line.stated && line.widened == 1.0 {
        1e6
    } else {
        n as f64
    };
    t_tails(line.parameters[1] / line.standard_uncertainty(1), nu) < 0.01
}

/// The quantities of a fitted first-order course, at the zero of the clock.
fn described(fit: &Fit, first: f64, span: f64, scatter: f64) -> FirstOrder {
    let factor = fit.coverage95();
    let rate = fit.parameters[2].exp() / span;
    let relative = fit.standard_uncertainty(2);
    let back = first / span;
    let grown = |p: &[Number]| (p[2].exp() * back).exp();
    let (initial, u_initial) = fit.propagate(|p| p[0] + p[1] * grown(p));
    let (change, u_change) = fit.propagate(|p| p[1] * grown(p));
    let rate_estimate = Estimate::logarithmic(rate, relative, factor);
    let beyond = (change.abs() / scatter).ln() / rate;
    FirstOrder {
        initial: Estimate::symmetric(initial, u_initial, factor),
        equilibrium: Estimate::symmetric(fit.parameters[0], fit.standard_uncertainty(0), factor),
        change: Estimate::symmetric(change, u_change, factor),
        rate_per_second: rate_estimate,
        half_life_s: Estimate::logarithmic(LN_2 / rate, relative, factor),
        half_lives_seen: span * rate / LN_2,
        equilibrium_from_s: (beyond.is_finite() && beyond > 0.0).then_some(beyond),
        correlation: fit.covariance(0, 2) / (fit.standard_uncertainty(0) * relative),
    }
}

/// Three significant digits with a true minus are the report's business; here numbers stand in sentences as they are read.
fn told(value: f64) -> String {
    if value == 0.0 || !value.is_finite() {
        return value.to_string();
    }
    let decimals = (2.0 - value.abs().log10().floor()).clamp(0.0, 9.0) as usize;
    format!("{value:.decimals$}").replace('-', "\u{2212}")
}

fn flags(course: &Course, readings: &[TimedReading], first: f64, span: f64) -> Vec<Flag> {
    let mut flags = Vec::new();
    let mut flag = |code, number: f64, sentence: String| flags.push(Flag { code, number, sentence });
    match (course.law, &course.first_order) {
        (CourseLaw::FirstOrder, Some(found)) => {
            let relative = found.rate_per_second.standard_uncertainty / found.rate_per_second.value;
            let seen = found.half_lives_seen;
            if seen < ENOUGH_HALF_LIVES {
                flag(
                    "too-short",
                    seen,
                    format!(
                        "the series spans {} half-lives, fewer than {ENOUGH_HALF_LIVES}: the equilibrium value is \
                         extrapolated and hangs together with k (correlation {}); read on until {} after the start",
                        told(seen),
                        told(found.correlation),
                        duration(first + ENOUGH_HALF_LIVES * found.half_life_s.value),
                    ),
                );
            }
            if relative > VAGUE_RATE {
                flag(
                    "rate-vague",
                    relative,
                    format!(
                        "k is known to {} % only (one standard uncertainty): the half-life is not told; take more \
                         readings while the angle still changes",
                        told(100.0 * relative)
                    ),
                );
            }
            let missed = first / found.half_life_s.value;
            if missed > 1.0 {
                flag(
                    "late-start",
                    missed,
                    format!(
                        "the first reading is {} half-lives after time zero: the initial value is extrapolated by that \
                         much; read sooner after dissolving",
                        told(missed)
                    ),
                );
            }
        }
        (CourseLaw::Linear, _) => {
            let better = match course.criteria {
                [_, Some(line), Some(curve)] => curve - line,
                _ => f64::INFINITY,
            };
            flag(
                "too-short",
                better,
                format!(
                    "the readings change steadily over {}, and {}: neither equilibrium nor half-life can be told; read on \
                     until the change slows",
                    duration(span),
                    if better.is_finite() {
                        format!(
                            "a first-order course fits no better than a straight line (AICc {} against it)",
                            told(better)
                        )
                    } else {
                        "they are too few to tell a first-order course from a straight line".to_owned()
                    },
                ),
            );
        }
        _ => {
            flag(
                "no-change",
                course.slope_per_second.value * span,
                format!(
                    "no change with time beyond the scatter of {}°: over {} the trend is {}° with a standard uncertainty \
                     of {}°; either equilibrium was reached before the first reading, or nothing changes",
                    told(course.scatter),
                    duration(span),
                    told(course.slope_per_second.value * span),
                    told(course.slope_per_second.standard_uncertainty * span),
                ),
            );
        }
    }
    let mut order: Vec<usize> = (0..readings.len()).collect();
    order.sort_by(|&a, &b| readings[a].time.seconds().total_cmp(&readings[b].time.seconds()));
    let signs: Vec<bool> = order.iter().map(|&at| course.residuals[at] >= 0.0).collect();
    if let Some(probability) = few_runs(&signs)
        && probability < FEW_RUNS
    {
        flag(
            "not-this-law",
            probability,
            format!(
                "residuals of one sign follow each other (runs test, probability {}): the course is not of this law; look \
                 for a sample that was not at temperature, a second reaction, or a drifting zero",
                told(probability)
            ),
        );
    }
    if let Some((probability, widened)) = course.stated_fit.filter(|(probability, _)| *probability < BAD_FIT) {
        flag(
            "bad-fit",
            probability,
            format!(
                "the readings scatter about the course {} times as much as the stated uncertainties allow (probability \
                 {probability:.1e}): the intervals were widened by that; the uncertainty stated is too small, or the course \
                 is not of this law",
                told(widened)
            ),
        );
    }
    if let Some((at, size)) = outlier(&course.residuals, course.scatter) {
        flag(
            "outlying-reading",
            size,
            format!(
                "reading {} (at {}) lies {} standard deviations off the course; it was kept: look for a bubble or a typing \
                 error",
                at + 1,
                duration(readings[at].time.seconds()),
                told(size)
            ),
        );
    }
    let backwards = readings
        .windows(2)
        .filter(|pair| pair[1].time.seconds() < pair[0].time.seconds())
        .count();
    if backwards > 0 {
        flag(
            "time-backwards",
            backwards as f64,
            format!(
                "places where time runs backwards: {backwards}; the readings were ordered by their time, so see that no clock \
                 was set meanwhile"
            ),
        );
    }
    let repeated = order
        .windows(2)
        .filter(|pair| {
            let (a, b) = (&readings[pair[0]], &readings[pair[1]]);
            a.time == b.time && a.angle == b.angle
        })
        .count();
    if repeated > 0 {
        flag(
            "repeated-readings",
            repeated as f64,
            format!(
                "readings that repeat the time and angle of another one: {repeated}; they were kept, and they make the \
                 scatter look smaller than it is if they are copies"
            ),
        );
    }
    flags
}

/// A duration in the unit a person would use.
pub fn duration(seconds: f64) -> String {
    let (value, unit) = match seconds.abs() {
        s if s < 120.0 => (seconds, "s"),
        s if s < 7200.0 => (seconds / 60.0, "min"),
        s if s < 172_800.0 => (seconds / 3600.0, "h"),
        _ => (seconds / 86400.0, "d"),
    };
    let decimals = usize::from(value.abs() < 99.95 && value != value.round());
    format!("{value:.decimals$} {unit}").replace('-', "\u{2212}")
}

/// Probability of the scatter, by the stated uncertainties, below which it is told.
const BAD_FIT: f64 = 0.01;

/// Probability of the runs test below which residuals count as systematic.
const FEW_RUNS: f64 = 0.005;

/// Probability of as few runs of one sign or fewer, by the normal approximation with continuity correction; Wald and
/// Wolfowitz, Ann. Math. Stat. 11 (1940) 147. None where either sign occurs fewer than five times.
fn few_runs(signs: &[bool]) -> Option<f64> {
    let plus = signs.iter().filter(|&&sign| sign).count() as f64;
    let minus = signs.len() as f64 - plus;
    if plus < 5.0 || minus < 5.0 {
        return None;
    }
    let runs = 1.0 + signs.windows(2).filter(|pair| pair[0] != pair[1]).count() as f64;
    let n = plus + minus;
    let expected = 1.0 + 2.0 * plus * minus / n;
    let variance = (expected - 1.0) * (expected - 2.0) / (n - 1.0);
    let z = (runs + 0.5 - expected) / variance.sqrt();
    Normal::new(0.0, 1.0).ok().map(|normal| normal.cdf(z))
}

/// The largest residual in standard deviations, where it is beyond what one of n normal residuals reaches in 1 % of series
/// (Bonferroni's bound).
fn outlier(residuals: &[f64], scatter: f64) -> Option<(usize, f64)> {
    let (at, size) = residuals
        .iter()
        .map(|r| r.abs() / scatter)
        .enumerate()
        .max_by(|a, b| a.1.total_cmp(&b.1))?;
    let normal = Normal::new(0.0, 1.0).ok()?;
    let limit = normal.inverse_cdf(1.0 - 0.005 / residuals.len() as f64);
    (size.is_finite() && size > limit && residuals.len() >= 8).then_some((at, size))
}
