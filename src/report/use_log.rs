//! The use log as text and JSON.

use super::Page;
use super::number;
use super::table::{Column, Table};
use crate::tasks::use_log::{LogLine, MonthOfUse, Use};
use serde::Serialize;

/// The answer of `biot log`.
#[derive(Clone, Debug, Serialize)]
pub struct UseLogJson<'a> {
    /// By month, operator and instrument.
    pub summary: &'a [MonthOfUse],
    /// The lines, oldest first.
    pub lines: &'a [LogLine],
}

/// Writes the summary, and the newest lines.
pub fn show(answer: &UseLogJson<'_>, most: usize, page: &mut Page) {
    if answer.lines.is_empty() {
        page.paragraph("Nothing is logged; biot reduce --keep and biot control check write into the log.");
        return;
    }
    page.heading("Use by month");
    let mut table = Table::new(&[
        Column::Word("month"),
        Column::Text("operator"),
        Column::Text("instrument"),
        Column::Number("measurements"),
        Column::Number("checks"),
    ]);
    for it in answer.summary {
        table.row([
            it.month.clone(),
            it.operator.clone(),
            it.instrument.clone().unwrap_or_else(|| "not named".to_owned()),
            it.measurements.to_string(),
            it.checks.to_string(),
        ]);
    }
    page.table(&table);
    page.heading("Newest");
    let mut table = Table::new(&[
        Column::Word("at"),
        Column::Text("operator"),
        Column::Word("what"),
        Column::Text("instrument"),
        Column::Text("cell"),
        Column::Text("sample or standard"),
        Column::Number("value"),
    ]);
    for line in answer.lines.iter().rev().take(most) {
        let (what, value) = match line.what {
            Use::Measurement => ("measurement", line.value.map(|value| number::signed(value, 2))),
            Use::Check => (
                "check",
                line.value.map(|value| format!("{}°", number::signed(value, 4))),
            ),
        };
        table.row([
            second(&line.at),
            line.operator.clone(),
            format!("{what} {}", line.number),
            line.instrument.clone().unwrap_or_default(),
            line.cell.clone().unwrap_or_default(),
            line.sample.clone(),
            value.unwrap_or_default(),
        ]);
    }
    page.table(&table);
}

/// A moment without its fractions of a second: they are in the file and in JSON.
fn second(at: &str) -> String {
    at.split_once('.')
        .map_or_else(|| at.to_owned(), |(whole, _)| format!("{whole}Z"))
}
