//! Plots of results, each with the table of its numbers.

use super::views::{Grid, Plot};
use crate::dispersion::Dispersion;
use crate::measurement::kinetics::CourseLaw;
use crate::measurement::{Reading, ReadingRole};
use crate::quantity::{SpecificRotation, Time, Wavelength};
use crate::report::number;
use crate::report::svg::{Chart, Look, Mark, Rule};
use crate::statement::RotationKind;
use crate::tasks::control::ControlChart;
use crate::tasks::limits::BatchLimits;
use crate::tasks::timecourse::Timecourse;

/// Most rows of a table under a plot.
const MOST_ROWS: usize = 500;
/// Points of a curve.
const CURVE: usize = 80;
/// The unit of specific rotation, on an axis.
const AXIS: &str = "[α] / (deg mL g⁻¹ dm⁻¹)";

/// Places at even steps from one end to the other.
fn steps(from: f64, to: f64) -> impl Iterator<Item = f64> {
    (0..=CURVE).map(move |at| from + (to - from) * at as f64 / CURVE as f64)
}

/// The ends of what is drawn.
fn ends(values: impl Iterator<Item = f64>) -> [f64; 2] {
    values.fold([f64::INFINITY, f64::NEG_INFINITY], |[low, high], value| {
        [low.min(value), high.max(value)]
    })
}

/// Readings of a sample as they were read, in their order; the table has the blank's too.
pub(super) fn readings(id: &str, of: &str, readings: &[Reading]) -> Plot {
    let title = format!("Readings of {of}");
    let of_sample: Vec<f64> = readings
        .iter()
        .filter(|reading| reading.role == ReadingRole::Sample)
        .map(|reading| reading.angle.degrees())
        .collect();
    let chart = Chart {
        id,
        title: &title,
        x_axis: "reading of the sample, in the order taken",
        y_axis: "angle / °",
        marks: (1..)
            .zip(&of_sample)
            .map(|(at, &value)| Mark {
                x: f64::from(at),
                value,
                ends: None,
                look: Look::Value,
                label: format!("reading {at}: {}°", number::signed(value, 4)),
            })
            .collect(),
        rules: (of_sample.len() > 1)
            .then(|| Rule {
                value: crate::measurement::reading::mean(&of_sample),
                is_limit: false,
                label: "mean".to_owned(),
            })
            .into_iter()
            .collect(),
        is_counted: true,
        ..Chart::default()
    };
    let text = |value: Option<f64>, decimals: usize| value.map(|v| number::number(v, decimals)).unwrap_or_default();
    Plot {
        svg: chart.draw(),
        grid: Grid {
            caption: format!("{title}, with those of blank and standard"),
            heads: vec!["reading", "role", "angle / °", "time / s", "T / °C"],
            rows: (1..)
                .zip(readings)
                .take(MOST_ROWS)
                .map(|(at, reading): (usize, _)| {
                    vec![
                        at.to_string(),
                        reading.role.as_str().to_owned(),
                        number::signed(reading.angle.degrees(), 4),
                        text(reading.seconds, 0),
                        text(reading.temperature.map(crate::quantity::Temperature::celsius), 2),
                    ]
                })
                .collect(),
        },
        title,
    }
}

/// The angle against time with the course it follows.
pub(super) fn course(id: &str, of: &str, made: &Timecourse) -> Plot {
    let title = format!("Angle of {of} against time");
    let [from, to] = ends(made.readings.iter().map(|reading| reading.time.seconds()));
    let first_order = (made.course.first_order.as_ref()).filter(|_| made.course.law == CourseLaw::FirstOrder);
    let curve: Vec<[f64; 2]> = if let Some(law) = first_order {
        steps(from, to)
            .map(|t| [t, law.at(Time::from_seconds(t)).degrees()])
            .collect()
    } else {
        let mut fitted: Vec<[f64; 2]> = (made.readings.iter().zip(&made.course.residuals))
            .map(|(reading, off)| [reading.time.seconds(), reading.angle.degrees() - off])
            .collect();
        fitted.sort_by(|a, b| a[0].total_cmp(&b[0]));
        fitted
    };
    let chart = Chart {
        id,
        title: &title,
        x_axis: "time / s",
        y_axis: "angle, blank taken off / °",
        marks: (made.readings.iter())
            .map(|reading| Mark {
                x: reading.time.seconds(),
                value: reading.angle.degrees(),
                ends: None,
                look: Look::Value,
                label: format!(
                    "{} s: {}°",
                    number::number(reading.time.seconds(), 0),
                    number::signed(reading.angle.degrees(), 4)
                ),
            })
            .collect(),
        curve,
        ..Chart::default()
    };
    Plot {
        svg: chart.draw(),
        grid: Grid {
            caption: format!("{title}: the numbers of the drawing"),
            heads: vec!["time / s", "angle / °", "off the curve / °"],
            rows: (made.readings.iter().zip(&made.course.residuals).take(MOST_ROWS))
                .map(|(reading, off)| {
                    vec![
                        number::number(reading.time.seconds(), 0),
                        number::signed(reading.angle.degrees(), 4),
                        number::signed(*off, 4),
                    ]
                })
                .collect(),
        },
        title,
    }
}

/// Rotation against wavelength with the law that fits.
pub(super) fn dispersion(id: &str, of: &str, found: &Dispersion) -> Plot {
    let title = format!("Rotation of {of} against wavelength");
    let nm = |wavelength: Wavelength| wavelength.to_air().nanometres();
    let curve = match (found.law(), found.range_nm()) {
        (Some(law), Some((from, to))) => steps(from, to)
            .filter_map(|at| Some([at, law.rotation(Wavelength::in_air(at).ok()?).0]))
            .collect(),
        _ => Vec::new(),
    };
    let points = || {
        found.points.iter().map(|point| {
            let value = point.rotation.conventional();
            (
                nm(point.wavelength),
                value,
                point.uncertainty.map(SpecificRotation::conventional),
            )
        })
    };
    let chart = Chart {
        id,
        title: &title,
        x_axis: "wavelength in air / nm",
        y_axis: AXIS,
        marks: points()
            .map(|(x, value, u)| Mark {
                x,
                value,
                ends: u.map(|u| [value - 2.0 * u, value + 2.0 * u]),
                look: Look::Value,
                label: format!("{} nm: {}", number::number(x, 1), number::signed(value, 2)),
            })
            .collect(),
        curve,
        ..Chart::default()
    };
    Plot {
        svg: chart.draw(),
        grid: Grid {
            caption: format!("{title}: the numbers of the drawing"),
            heads: vec!["wavelength / nm", "[α]", "standard uncertainty", "off the curve"],
            rows: points()
                .enumerate()
                .map(|(at, (x, value, u))| {
                    let off = found.law().and_then(|law| law.residuals().get(at));
                    vec![
                        number::number(x, 1),
                        number::signed(value, 2),
                        u.map(|u| number::number(u, 2)).unwrap_or_default(),
                        off.map(|off| number::signed(*off, 2)).unwrap_or_default(),
                    ]
                })
                .collect(),
        },
        title,
    }
}

/// The control chart of an instrument with a standard.
pub(super) fn control(id: &str, it: &ControlChart) -> Plot {
    let title = format!("Control chart: {} with {}", it.instrument.name, it.standard.name);
    let lines = it.charted.iter().filter_map(|&at| Some((at, it.checks.get(at)?)));
    let rule = |value: crate::quantity::Angle, is_limit, label: &str| Rule {
        value: value.degrees(),
        is_limit,
        label: label.to_owned(),
    };
    let mut rules: Vec<Rule> = it
        .chart
        .centre
        .map(|it| rule(it, false, "centre"))
        .into_iter()
        .collect();
    if let Some([low, high]) = it.chart.limits {
        rules.push(rule(low, true, "lower limit"));
        rules.push(rule(high, true, "upper limit"));
    }
    let day = |at: &str| at.get(..10).unwrap_or(at).to_owned();
    let chart = Chart {
        id,
        title: &title,
        x_axis: "check, the oldest first",
        y_axis: "found less expected / °",
        marks: lines
            .map(|(at, (row, check))| Mark {
                x: at as f64 + 1.0,
                value: check.difference().degrees(),
                ends: None,
                look: if it.rules_at(at).is_empty() && check.passes() != Some(false) {
                    Look::Value
                } else {
                    Look::Alarm
                },
                label: format!(
                    "check {} of {}: {}°",
                    row.id,
                    day(&row.at),
                    number::signed(check.difference().degrees(), 4)
                ),
            })
            .collect(),
        rules,
        is_counted: true,
        is_joined: true,
        ..Chart::default()
    };
    Plot {
        svg: chart.draw(),
        grid: Grid {
            caption: format!("{title}: the numbers of the drawing"),
            heads: vec!["check", "number", "on", "by", "found − expected / °", "E_n", "remark"],
            rows: (it.checks.iter().enumerate())
                .map(|(at, (row, check))| {
                    vec![
                        (at + 1).to_string(),
                        row.id.to_string(),
                        day(&row.at),
                        row.operator.clone(),
                        number::signed(check.difference().degrees(), 4),
                        check.e_n.map(|score| number::signed(score, 2)).unwrap_or_default(),
                        crate::report::control::remark(it, at),
                    ]
                })
                .collect(),
        },
        title,
    }
}

/// Batches with their limits.
pub(super) fn batches(id: &str, of: &str, series: &BatchLimits) -> Plot {
    use crate::compare::limits::LimitOutcome;
    let title = format!("Batches of {of} and their limits");
    let limit = |text: &Option<String>, label: &str| {
        let value = text.as_ref()?.parse::<crate::quantity::Printed>().ok()?.value();
        Some(Rule {
            value,
            is_limit: true,
            label: label.to_owned(),
        })
    };
    let chart = Chart {
        id,
        title: &title,
        x_axis: "batch, in the order given",
        y_axis: match series.limits.kind {
            RotationKind::Specific => AXIS,
            RotationKind::Observed => "angle / °",
            RotationKind::Molar => "[M] / (deg cm² dmol⁻¹)",
        },
        marks: (1..)
            .zip(&series.batches)
            .filter_map(|(at, batch)| {
                let value = batch.value?;
                Some(Mark {
                    x: f64::from(at),
                    value,
                    ends: batch.standard_uncertainty.map(|u| [value - 2.0 * u, value + 2.0 * u]),
                    look: match batch.outcome {
                        LimitOutcome::Inside => Look::Value,
                        LimitOutcome::Outside => Look::Alarm,
                        LimitOutcome::NotDecided => Look::Aside,
                    },
                    label: format!("{}: {}", batch.batch, number::signed(value, 2)),
                })
            })
            .collect(),
        rules: [
            limit(&series.limits.low, "low limit"),
            limit(&series.limits.high, "high limit"),
        ]
        .into_iter()
        .flatten()
        .collect(),
        is_counted: true,
        ..Chart::default()
    };
    Plot {
        svg: chart.draw(),
        grid: Grid {
            caption: format!("{title}: the numbers of the drawing"),
            heads: vec!["batch", "name", "date", "value", "standard uncertainty", "outcome"],
            rows: (1..)
                .zip(&series.batches)
                .take(MOST_ROWS)
                .map(|(at, batch): (usize, _)| {
                    vec![
                        at.to_string(),
                        batch.batch.clone(),
                        batch.date.clone().unwrap_or_default(),
                        batch.value.map(|value| number::signed(value, 3)).unwrap_or_default(),
                        batch
                            .standard_uncertainty
                            .map(|u| number::number(u, 3))
                            .unwrap_or_default(),
                        batch.outcome.as_str().to_owned(),
                    ]
                })
                .collect(),
        },
        title,
    }
}
