//! The change of an angle with time: text and JSON.

use super::plot::{self, Residual};
use super::{Column, Page, Table, number};
use crate::exchange::series::RefusedRow;
use crate::measurement::kinetics::{CourseLaw, Estimate, FirstOrder, Flag, duration};
use crate::tasks::timecourse::Timecourse;
use serde::Serialize;

/// The document of `biot timecourse --json`.
#[derive(Debug, Serialize)]
pub struct TimecourseJson<'a> {
    /// The course the data support: constant, linear or first-order.
    pub law: CourseLaw,
    /// The first-order course, also where it is not supported; degrees and seconds.
    pub first_order: Option<&'a FirstOrder>,
    /// The steady change, degrees per second.
    pub slope_per_second: Estimate,
    /// The mean of all readings, degrees.
    pub mean: Estimate,
    /// AICc of the three laws; the smallest is the best.
    pub criteria: CriteriaJson,
    /// Standard deviation of the readings about the supported law, degrees.
    pub scatter: f64,
    /// Number of readings.
    pub n_readings: usize,
    /// What to know.
    pub flags: &'a [Flag],
    /// Rows that could not be read.
    pub refused: &'a [RefusedRow],
    /// The readings with their residuals; at most the first 10,000.
    pub residuals: Vec<ResidualJson>,
    /// Residuals that are not listed.
    pub residuals_left_out: usize,
}

/// AICc of the laws; null where there are too few readings for it.
#[derive(Debug, Serialize)]
pub struct CriteriaJson {
    /// No change.
    pub constant: Option<f64>,
    /// A steady change.
    pub linear: Option<f64>,
    /// A first-order course.
    pub first_order: Option<f64>,
}

/// A reading and how far it lies from the law.
#[derive(Debug, Serialize)]
pub struct ResidualJson {
    /// Time, s.
    pub time_s: f64,
    /// Angle, degrees.
    pub angle: f64,
    /// Angle less the law, degrees.
    pub residual: f64,
}

/// Most residuals that are listed.
const MOST_LISTED: usize = 10_000;

impl<'a> TimecourseJson<'a> {
    /// Makes the document.
    pub fn new(made: &'a Timecourse) -> Self {
        let course = &made.course;
        let [constant, linear, first_order] = course.criteria;
        Self {
            law: course.law,
            first_order: course.first_order.as_ref(),
            slope_per_second: course.slope_per_second,
            mean: course.mean,
            criteria: CriteriaJson {
                constant,
                linear,
                first_order,
            },
            scatter: course.scatter,
            n_readings: made.readings.len(),
            flags: &course.flags,
            refused: &made.refused,
            residuals: made
                .readings
                .iter()
                .zip(&course.residuals)
                .take(MOST_LISTED)
                .map(|(reading, &residual)| ResidualJson {
                    time_s: reading.time.seconds(),
                    angle: reading.angle.degrees(),
                    residual,
                })
                .collect(),
            residuals_left_out: made.readings.len().saturating_sub(MOST_LISTED),
        }
    }
}

/// Writes the course.
pub fn show(made: &Timecourse, page: &mut Page) {
    let course = &made.course;
    page.heading(&match course.law {
        CourseLaw::Constant => format!("No change with time in {} readings", made.readings.len()),
        CourseLaw::Linear => format!("A steady change in {} readings", made.readings.len()),
        CourseLaw::FirstOrder => format!("A first-order course in {} readings", made.readings.len()),
    });
    let last = made
        .readings
        .iter()
        .map(|reading| reading.time.seconds())
        .fold(f64::NEG_INFINITY, f64::max);
    let angle = |estimate: &Estimate| {
        format!(
            "{}°; 95 %: {}",
            number::signed_with_uncertainty(estimate.value, estimate.standard_uncertainty),
            number::interval(estimate.interval95[0], estimate.interval95[1])
        )
    };
    match (course.law, &course.first_order) {
        (CourseLaw::FirstOrder, Some(found)) => {
            page.field("initial (t = 0)", &angle(&found.initial));
            page.field("equilibrium", &angle(&found.equilibrium));
            let rate = found.rate_per_second;
            page.field(
                "rate constant k",
                &format!(
                    "{} s⁻¹ = {} min⁻¹",
                    power(rate.value, rate.standard_uncertainty),
                    power(60.0 * rate.value, 60.0 * rate.standard_uncertainty)
                ),
            );
            let half = found.half_life_s;
            page.field(
                "half-life",
                &format!(
                    "{}; 95 %: {} to {}",
                    duration(half.value),
                    duration(half.interval95[0]),
                    duration(half.interval95[1])
                ),
            );
            page.field(
                "seen",
                &format!("{} half-lives", number::number(found.half_lives_seen, 1)),
            );
            if let Some(from) = found.equilibrium_from_s.filter(|from| *from <= last) {
                page.field(
                    "settled",
                    &format!(
                        "from {} on a reading differs from equilibrium by less than its scatter",
                        duration(from)
                    ),
                );
            }
        }
        (CourseLaw::Linear, _) => {
            let slope = course.slope_per_second;
            page.field(
                "change",
                &format!(
                    "{}° per hour",
                    power(3600.0 * slope.value, 3600.0 * slope.standard_uncertainty)
                ),
            );
        }
        _ => page.field("mean", &angle(&course.mean)),
    }
    page.field(
        "scatter",
        &format!(
            "{}° (standard deviation about the law)",
            number::number(course.scatter, decimals(course.scatter))
        ),
    );
    criteria(course.criteria, page);
    if !course.flags.is_empty() {
        page.heading("To know");
        for flag in &course.flags {
            page.point(&flag.sentence);
        }
    }
    page.heading("Residuals over time");
    let shown: Vec<Residual> = made
        .readings
        .iter()
        .zip(&course.residuals)
        .map(|(reading, &off)| Residual {
            x: reading.time.seconds(),
            off,
        })
        .collect();
    page.verbatim(&plot::residuals(&shown, decimals(course.scatter), page.width()));
    page.note("degrees over seconds; a digit or + is several readings at one place");
    refused(&made.refused, page);
    if made.n_other_roles > 0 {
        page.note(&format!(
            "{} readings of a blank or a standard were left out",
            made.n_other_roles
        ));
    }
}

/// A value with its uncertainty, in powers of ten where it is far from one.
fn power(value: f64, u: f64) -> String {
    let exponent = value.abs().log10().floor();
    if !exponent.is_finite() || (-3.0..5.0).contains(&exponent) {
        return number::with_uncertainty(value, u);
    }
    let scale = 10f64.powf(-exponent);
    format!(
        "{} × 10^{}",
        number::with_uncertainty(value * scale, u * scale),
        number::number(exponent, 0)
    )
}

/// Digits after the decimal mark that show a scatter with two significant ones.
pub(super) fn decimals(scatter: f64) -> usize {
    if scatter > 0.0 && scatter.is_finite() {
        (1.0 - scatter.log10().floor()).clamp(0.0, 9.0) as usize
    } else {
        3
    }
}

fn criteria(values: [Option<f64>; 3], page: &mut Page) {
    let least = values.iter().flatten().copied().fold(f64::INFINITY, f64::min);
    let mut table = Table::new(&[Column::Word("law"), Column::Number("AICc above the best")]);
    for (name, value) in ["constant", "straight line", "first order"].into_iter().zip(values) {
        let text = value.map_or("too few readings".to_owned(), |value| number::number(value - least, 1));
        table.row([name.to_owned(), text]);
    }
    page.gap();
    page.table(&table);
}

/// Writes the rows that could not be read.
pub fn refused(rows: &[RefusedRow], page: &mut Page) {
    const MOST: usize = 10;
    if rows.is_empty() {
        return;
    }
    page.heading(&format!("Rows that were not used: {}", rows.len()));
    for row in rows.iter().take(MOST) {
        let column = row
            .column
            .as_ref()
            .map(|column| format!(", column {column}"))
            .unwrap_or_default();
        page.point(&format!("line {}{column}: {}", row.line, row.reason));
    }
    if rows.len() > MOST {
        page.note(&format!("and {} more; --json lists all", rows.len() - MOST));
    }
}
