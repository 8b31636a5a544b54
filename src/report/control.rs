//! Checks against control standards as text and JSON: one check, a chart, what is due.

use super::Page;
use super::table::{Column, Table};
use super::{number, plot};
use crate::instrument::chart::{Chart, ESTABLISHED, FEWEST, Rule};
use crate::instrument::control::NoVerdict;
use crate::quantity::Angle;
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
    /// Whether the E_n score is within 1; null without a verdict.
    pub passes: Option<bool>,
    /// The check.
    #[serde(flatten)]
    pub check: &'a KeptCheck,
    /// Published laws at these conditions: name and degrees.
    pub laws: Vec<(&'static str, f64)>,
    /// Rules of the control chart broken by this check.
    pub alarms: &'a [Rule],
    /// Whether the limits of the chart rest on 20 checks; before, an alarm is a warning.
    pub established: bool,
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
            established: made.chart.established,
        }
    }
}

/// What a check says, a sentence.
pub fn verdict(made: &CheckMade) -> String {
    match (made.check.passes(), made.check.no_verdict) {
        (Some(true), _) => "The instrument reads this standard right.".to_owned(),
        (Some(false), _) => {
            "The instrument does not read this standard right: clean the standard and windows, zero, read again; if it stays, \
             the instrument is out of control."
                .to_owned()
        }
        (None, Some(why)) => format!("{}.", capital(&why.sentence(made.reference_temperature()))),
        (None, None) => "Neither the standard nor the instrument has an uncertainty; enter one.".to_owned(),
    }
}

/// What the control chart says of a check, a sentence for each rule it breaks.
pub fn alarms(made: &CheckMade) -> Vec<String> {
    let broken = made.alarms.iter();
    broken
        .map(|rule| {
            if made.chart.established {
                format!("Control chart: {}.", rule.sentence())
            } else {
                format!(
                    "Control chart: beyond limits that are still provisional ({} checks, fewer than {ESTABLISHED}); read again.",
                    made.chart.differences.len()
                )
            }
        })
        .collect()
}

/// The numbers of a check: label and text.
pub fn facts(made: &CheckMade) -> Vec<(&'static str, String)> {
    let check = &made.check;
    let (found, expected) = (check.found_uncertainty_deg, check.expected_uncertainty_deg);
    let n = check.readings_deg.len();
    let mut facts = vec![
        (
            "found",
            format!(
                "{}° from {n} reading{}",
                with_digits(check.found_deg, found, expected),
                if n == 1 { "" } else { "s" }
            ),
        ),
        (
            "expected",
            format!(
                "{}°: {}",
                with_digits(check.expected_deg, expected, found),
                check.basis.join("; ")
            ),
        ),
        (
            "difference",
            format!(
                "{}°",
                number::signed_with_uncertainty(check.difference().degrees(), found.hypot(expected))
            ),
        ),
    ];
    if let Some(score) = check.e_n {
        facts.push((
            "E_n",
            format!("{} (passes up to 1; ISO 13528)", number::signed(score, 2)),
        ));
    }
    facts
}

/// Writes a check.
pub fn made(made: &CheckMade, page: &mut Page) {
    page.heading(&format!("{} · {}", made.instrument.name, made.standard.name));
    page.paragraph(&verdict(made));
    for (label, text) in facts(made) {
        page.field(label, &text);
    }
    for (name, angle) in &made.laws {
        page.field("by law", &format!("{name} {}°", number::signed(angle.degrees(), 4)));
    }
    page.note(made.tests);
    for sentence in alarms(made) {
        page.point(&sentence);
    }
    match made.id {
        Some(id) => page.note(&format!("Kept as check {id}.")),
        None => page.note("Not kept."),
    }
}

/// A value with its uncertainty in brackets, or where it has none with the digits of the other side's.
fn with_digits(value: f64, uncertainty: f64, other: f64) -> String {
    if uncertainty > 0.0 {
        number::signed_with_uncertainty(value, uncertainty)
    } else {
        number::signed_to(value, other)
    }
}

fn capital(sentence: &str) -> String {
    let mut rest = sentence.chars();
    rest.next().map_or_else(String::new, |first| {
        first.to_uppercase().collect::<String>() + rest.as_str()
    })
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
    /// Whether the limits rest on 20 checks; before, they are provisional and an alarm is a warning.
    pub established: bool,
    /// Whether the newest check says that the instrument is out of control.
    pub out_of_control: bool,
    /// The checks.
    pub checks: Vec<PointJson<'a>>,
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
    /// E_n; null without a verdict.
    pub e_n: Option<f64>,
    /// Why there is no verdict.
    pub no_verdict: Option<NoVerdict>,
    /// Whether it has a place in the chart.
    pub charted: bool,
    /// Rules broken by it.
    pub alarms: Vec<Rule>,
}

impl<'a> From<&'a ControlChart> for ChartJson<'a> {
    fn from(it: &'a ControlChart) -> Self {
        Self {
            instrument: &it.instrument.name,
            standard: &it.standard.name,
            centre_deg: it.chart.centre.map(Angle::degrees),
            sigma_deg: it.chart.sigma.map(Angle::degrees),
            limits_deg: it.chart.limits.map(|limits| limits.map(Angle::degrees)),
            established: it.chart.established,
            out_of_control: it.is_out_of_control(),
            checks: it
                .checks
                .iter()
                .enumerate()
                .map(|(at, (row, check))| PointJson {
                    check_id: row.id,
                    at: &row.at,
                    operator: &row.operator,
                    difference_deg: check.difference().degrees(),
                    e_n: check.e_n,
                    no_verdict: check.no_verdict,
                    charted: check.is_charted(),
                    alarms: it.rules_at(at),
                })
                .collect(),
        }
    }
}

/// Centre and limits of a chart in words, or why there are none.
pub fn limits(chart: &Chart) -> String {
    match (chart.centre, chart.limits) {
        (Some(centre), Some([low, high])) => format!(
            "Centre {}°, control limits {}° to {}°{}",
            number::signed(centre.degrees(), 4),
            number::signed(low.degrees(), 4),
            number::signed(high.degrees(), 4),
            if chart.established {
                String::new()
            } else {
                format!(
                    ", provisional: {} checks, fewer than {ESTABLISHED}",
                    chart.differences.len()
                )
            }
        ),
        _ if chart.differences.len() < FEWEST => {
            format!("Limits are drawn from {FEWEST} checks on, provisional up to {ESTABLISHED}")
        }
        _ => "No limits: the checks do not scatter; register the step of the instrument's display".to_owned(),
    }
}

/// Writes a chart.
pub fn chart(it: &ControlChart, page: &mut Page) {
    page.heading(&format!("{} · {}", it.instrument.name, it.standard.name));
    if it.checks.is_empty() {
        page.paragraph("No check yet; biot control check keeps the first.");
        return;
    }
    page.paragraph(&format!("{}.", limits(&it.chart)));
    let newest = it.checks.len().saturating_sub(MOST_ROWS);
    if newest > 0 {
        page.note(&format!("{newest} older checks are not shown; --json lists them all."));
    }
    let rows: Vec<(String, f64, bool)> = (newest..it.checks.len())
        .filter(|&at| it.checks[at].1.is_charted())
        .map(|at| {
            let (row, check) = &it.checks[at];
            let day = row.at.get(..10).unwrap_or(&row.at).to_owned();
            (day, check.difference().degrees(), !it.rules_at(at).is_empty())
        })
        .collect();
    let lines = it.chart.centre.zip(it.chart.limits);
    let drawn = plot::ControlRows {
        rows,
        lines: lines.map(|(centre, limits)| (centre.degrees(), limits.map(Angle::degrees))),
    };
    if !drawn.rows.is_empty() {
        page.heading("Found less expected, degrees");
        page.verbatim(&plot::control_rows(&drawn, page.width()));
        page.note(if lines.is_some() {
            "● a check, ✕ one that breaks a rule, │ the control limits, ┊ the centre"
        } else {
            "● a check"
        });
    }
    page.gap();
    let mut table = Table::new(&[
        Column::Number("check"),
        Column::Word("at"),
        Column::Text("operator"),
        Column::Number("difference"),
        Column::Number("E_n"),
        Column::Text("remark"),
    ]);
    for (at, (row, check)) in it.checks.iter().enumerate().skip(newest) {
        table.row([
            row.id.to_string(),
            row.at.clone(),
            row.operator.clone(),
            format!("{}°", number::signed(check.difference().degrees(), 4)),
            check
                .e_n
                .map_or_else(|| "–".to_owned(), |score| number::signed(score, 2)),
            remark(it, at),
        ]);
    }
    page.table(&table);
}

/// Rows of the drawing and of the table at most.
const MOST_ROWS: usize = 60;

/// What is to know of a check, by its place in the list: no verdict, failed, rules broken; empty where nothing is.
pub fn remark(it: &ControlChart, at: usize) -> String {
    let Some((_, check)) = it.checks.get(at) else {
        return String::new();
    };
    let mut remarks: Vec<&str> = Vec::new();
    match check.no_verdict {
        Some(NoVerdict::ValueNotSourced) => remarks.push("no verdict: law not sourced"),
        Some(NoVerdict::TemperatureLawNotSourced) => {
            remarks.push("no verdict, not charted: temperature law not sourced");
        }
        Some(NoVerdict::TemperatureNotRead) => remarks.push("no verdict, not charted: temperature not read"),
        None if check.passes() == Some(false) => remarks.push("failed"),
        None => {}
    }
    for rule in it.rules_at(at) {
        remarks.push(if it.chart.established {
            rule.sentence()
        } else {
            "beyond the provisional limits"
        });
    }
    remarks.join("; ")
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
