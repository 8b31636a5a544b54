//! Checks against control standards as text and JSON: one check, a chart, what is due.

use super::Page;
use super::number;
use super::table::{Column, Table};
use crate::instrument::chart::{Alarm, Chart, Rule};
use crate::tasks::control::{CheckMade, ControlChart, Due, KeptCheck};
use serde::Serialize;

/// The answer of `biot control check`.
#[derive(Clone, Debug, Serialize)]
pub struct CheckMadeJson<'a> {
    /// The instrument.
    pub instrument: &'a str,
    /// The standard.
    pub standard: &'a str,
    /// What a check with this standard tests.
    pub tests: &'static str,
    /// The number it is kept under; null when it was not kept.
    pub check_id: Option<i64>,
    /// Whether the E_n score is within 1; null without uncertainties.
    pub passes: Option<bool>,
    /// The check.
    #[serde(flatten)]
    pub check: &'a KeptCheck,
    /// Published laws at these conditions: name and degrees.
    pub laws: Vec<(&'static str, f64)>,
    /// Run rules broken by this check.
    pub alarms: &'a [Rule],
}

impl<'a> From<&'a CheckMade> for CheckMadeJson<'a> {
    fn from(made: &'a CheckMade) -> Self {
        Self {
            instrument: &made.instrument.name,
            standard: &made.standard.name,
            tests: made.tests,
            check_id: made.id,
            passes: made.check.passes(),
            check: &made.check,
            laws: made.laws.iter().map(|(name, angle)| (*name, angle.degrees())).collect(),
            alarms: &made.alarms,
        }
    }
}

/// Writes a check.
pub fn made(made: &CheckMade, page: &mut Page) {
    let check = &made.check;
    page.heading(&format!("{} · {}", made.instrument.name, made.standard.name));
    let verdict = match check.passes() {
        Some(true) => "The instrument reads this standard right.",
        Some(false) => {
            "The instrument does not read this standard right: clean the standard and windows, zero, read again; if it stays, \
             the instrument is out of control."
        }
        None => "Neither the standard nor the instrument has an uncertainty, so nothing is decided; enter one.",
    };
    page.paragraph(verdict);
    page.field(
        "found",
        &format!(
            "{}° from {} reading{}",
            number::signed_with_uncertainty(check.found_deg, check.found_uncertainty_deg),
            check.readings_deg.len(),
            if check.readings_deg.len() == 1 { "" } else { "s" }
        ),
    );
    page.field(
        "expected",
        &format!(
            "{}°: {}",
            number::signed_with_uncertainty(check.expected_deg, check.expected_uncertainty_deg),
            check.basis.join("; ")
        ),
    );
    page.field(
        "difference",
        &format!("{}°", number::signed(check.difference().degrees(), 4)),
    );
    if let Some(score) = check.e_n {
        page.field(
            "E_n",
            &format!("{} (passes up to 1; ISO 13528)", number::signed(score, 2)),
        );
    }
    for (name, angle) in &made.laws {
        page.field("by law", &format!("{name} {}°", number::signed(angle.degrees(), 4)));
    }
    page.note(made.tests);
    for rule in &made.alarms {
        page.point(&format!("Control chart: {}.", rule.sentence()));
    }
    match made.id {
        Some(id) => page.note(&format!("Kept as check {id}.")),
        None => page.note("Not kept."),
    }
}

/// The answer of `biot control chart`.
#[derive(Clone, Debug, Serialize)]
pub struct ChartJson<'a> {
    /// The instrument.
    pub instrument: &'a str,
    /// The standard.
    pub standard: &'a str,
    /// Centre of the differences, degrees.
    pub centre_deg: Option<f64>,
    /// Sigma from the mean moving range, degrees.
    pub sigma_deg: Option<f64>,
    /// Control limits, degrees.
    pub limits_deg: Option<[f64; 2]>,
    /// Whether the limits rest on 20 checks.
    pub established: bool,
    /// The checks.
    pub checks: Vec<PointJson<'a>>,
    /// Broken rules.
    pub alarms: &'a [Alarm],
}

/// A point of a chart.
#[derive(Clone, Debug, Serialize)]
pub struct PointJson<'a> {
    /// Its number.
    pub check_id: i64,
    /// When.
    pub at: &'a str,
    /// By whom.
    pub operator: &'a str,
    /// Found less expected, degrees.
    pub difference_deg: f64,
    /// E_n.
    pub e_n: Option<f64>,
}

impl<'a> From<&'a ControlChart> for ChartJson<'a> {
    fn from(it: &'a ControlChart) -> Self {
        Self {
            instrument: &it.instrument.name,
            standard: &it.standard.name,
            centre_deg: it.chart.centre.map(crate::quantity::Angle::degrees),
            sigma_deg: it.chart.sigma.map(crate::quantity::Angle::degrees),
            limits_deg: it
                .chart
                .limits
                .map(|limits| limits.map(crate::quantity::Angle::degrees)),
            established: it.chart.established,
            checks: it
                .checks
                .iter()
                .map(|(row, check)| PointJson {
                    check_id: row.id,
                    at: &row.at,
                    operator: &row.operator,
                    difference_deg: check.difference().degrees(),
                    e_n: check.e_n,
                })
                .collect(),
            alarms: &it.chart.alarms,
        }
    }
}

/// Writes a chart.
pub fn chart(it: &ControlChart, page: &mut Page) {
    page.heading(&format!("{} · {}", it.instrument.name, it.standard.name));
    if it.checks.is_empty() {
        page.paragraph("No check yet; biot control check keeps the first.");
        return;
    }
    match (it.chart.centre, it.chart.limits) {
        (Some(centre), Some([low, high])) => {
            page.field("centre", &format!("{}°", number::signed(centre.degrees(), 4)));
            page.field(
                "control limits",
                &format!(
                    "{}° to {}°{}",
                    number::signed(low.degrees(), 4),
                    number::signed(high.degrees(), 4),
                    if it.chart.established {
                        ""
                    } else {
                        ", provisional: fewer than 20 checks"
                    }
                ),
            );
        }
        _ => page.note("Limits are drawn from six checks on."),
    }
    page.verbatim(&drawing(&it.chart, PLOT_WIDTH));
    let mut table = Table::new(&[
        Column::Number("check"),
        Column::Word("at"),
        Column::Text("operator"),
        Column::Number("difference"),
        Column::Number("E_n"),
        Column::Text("rule broken"),
    ]);
    for (at, (row, check)) in it.checks.iter().enumerate() {
        let broken: Vec<&str> = it
            .chart
            .alarms
            .iter()
            .filter(|alarm| alarm.at == at)
            .map(|alarm| alarm.rule.sentence())
            .collect();
        table.row([
            row.id.to_string(),
            row.at.clone(),
            row.operator.clone(),
            format!("{}°", number::signed(check.difference().degrees(), 4)),
            check.e_n.map(|score| number::signed(score, 2)).unwrap_or_default(),
            broken.join("; "),
        ]);
    }
    page.table(&table);
}

/// Columns of the drawing.
const PLOT_WIDTH: usize = 61;

/// One line per check, oldest first: `|` the limits, `:` the centre, `●` the check, `✕` one that breaks a rule.
fn drawing(chart: &Chart, width: usize) -> String {
    let values: Vec<f64> = chart.differences.iter().map(|it| it.degrees()).collect();
    let mut ends: Vec<f64> = values.clone();
    ends.extend(chart.limits.iter().flatten().map(|it| it.degrees()));
    ends.push(0.0);
    let low = ends.iter().copied().fold(f64::INFINITY, f64::min);
    let high = ends.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let span = (high - low).max(1e-9);
    let place = |value: f64| (((value - low) / span) * (width - 1) as f64).round() as usize;
    let mut text = String::new();
    for (at, value) in values.iter().enumerate() {
        let mut cells = vec![' '; width];
        if let Some(centre) = chart.centre {
            cells[place(centre.degrees())] = ':';
        }
        for limit in chart.limits.iter().flatten() {
            cells[place(limit.degrees())] = '|';
        }
        let broken = chart.alarms.iter().any(|alarm| alarm.at == at);
        cells[place(*value)] = if broken { '✕' } else { '●' };
        text.push_str(cells.iter().collect::<String>().trim_end());
        text.push('\n');
    }
    text
}

/// The answer of `biot control due`.
#[derive(Clone, Debug, Serialize)]
pub struct DueJson<'a> {
    /// What is due, soonest first.
    pub due: &'a [Due],
}

/// Writes what is due.
pub fn due(due: &[Due], page: &mut Page) {
    if due.is_empty() {
        page.paragraph("Nothing has a date: give instruments --check-every and standards --due.");
        return;
    }
    let mut table = Table::new(&[
        Column::Word("on"),
        Column::Word("kind"),
        Column::Text("name"),
        Column::Text("what"),
        Column::Word(""),
    ]);
    for it in due {
        table.row([
            it.due_on.clone().unwrap_or_else(|| "never done".to_owned()),
            it.kind.to_string(),
            it.name.clone(),
            it.what.clone(),
            if it.overdue {
                "overdue".to_owned()
            } else {
                String::new()
            },
        ]);
    }
    page.table(&table);
}
