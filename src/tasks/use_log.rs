//! The use log of shared instruments: what was measured and checked, by whom and when, and its summary by month.

use super::measurements;
use super::register;
use crate::exchange::table_out::{OutCell, TableOut};
use crate::library::{EquipmentKind, Library, LibraryError, MeasurementFilter};
use serde::Serialize;
use std::collections::BTreeMap;
use std::io;

/// What a line of the log is about.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Use {
    /// A measurement that was kept.
    Measurement,
    /// A check against a control standard.
    Check,
}

/// One line of the log.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct LogLine {
    /// When, RFC 3339 in UTC.
    pub at: String,
    /// By whom.
    pub operator: String,
    /// What it is.
    pub what: Use,
    /// Its number among its kind.
    pub number: i64,
    /// The instrument; none when none was named.
    pub instrument: Option<String>,
    /// The cell.
    pub cell: Option<String>,
    /// The sample, or the standard.
    pub sample: String,
    /// Specific rotation of a measurement, deg mL g⁻¹ dm⁻¹; the difference from the expected angle of a check, degrees.
    pub value: Option<f64>,
    /// Its stable id, which grows with the moment of entry.
    #[serde(skip)]
    pub uid: String,
}

/// Which lines are wanted. Dates are YYYY-MM-DD.
#[derive(Clone, Debug, Default)]
pub struct LogFilter {
    /// On or after this date.
    pub since: Option<String>,
    /// On or before this date.
    pub until: Option<String>,
    /// By this operator, whatever the case.
    pub operator: Option<String>,
    /// On this instrument.
    pub instrument: Option<String>,
}

/// How much one operator used one instrument in one month.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct MonthOfUse {
    /// YYYY-MM.
    pub month: String,
    /// By whom.
    pub operator: String,
    /// The instrument; none when none was named.
    pub instrument: Option<String>,
    /// Measurements kept.
    pub measurements: u64,
    /// Checks against control standards.
    pub checks: u64,
}

/// The lines a filter lets through, oldest first, those of one second in their order of entry. Measurements that a later one
/// corrects are uses too.
///
/// # Errors
/// When the library fails, or no instrument has the name.
pub fn lines(library: &Library, filter: &LogFilter) -> Result<Vec<LogLine>, LibraryError> {
    let instrument = filter
        .instrument
        .as_deref()
        .map(|name| register::named(library, EquipmentKind::Instrument, name))
        .transpose()?;
    let measured = measurements::list(
        library,
        &MeasurementFilter {
            operator: filter.operator.clone(),
            since: filter.since.clone(),
            until: filter.until.clone(),
            with_superseded: true,
            ..MeasurementFilter::default()
        },
    )?;
    let mut found: Vec<LogLine> = measured
        .into_iter()
        .filter(|it| {
            instrument
                .as_ref()
                .is_none_or(|wanted| it.instrument.as_ref() == Some(&wanted.name))
        })
        .map(|it| LogLine {
            at: it.at,
            operator: it.operator,
            what: Use::Measurement,
            number: it.measurement,
            instrument: it.instrument,
            cell: it.cell,
            sample: it.sample,
            value: Some(it.value),
            uid: it.uid,
        })
        .collect();
    for check in library.control_checks(instrument.map(|it| it.id), None)? {
        let day = check.at.get(..10).unwrap_or(&check.at);
        let is_wanted = filter.since.as_deref().is_none_or(|since| day >= since)
            && filter.until.as_deref().is_none_or(|until| day <= until)
            && filter
                .operator
                .as_deref()
                .is_none_or(|wanted| wanted.eq_ignore_ascii_case(&check.operator));
        if is_wanted {
            let number = |field: &str| check.content.get(field).and_then(serde_json::Value::as_f64);
            found.push(LogLine {
                what: Use::Check,
                number: check.id,
                instrument: Some(library.equipment_by_id(check.instrument)?.name),
                cell: None,
                sample: library.equipment_by_id(check.standard)?.name,
                value: number("found_deg")
                    .zip(number("expected_deg"))
                    .map(|(found, due)| found - due),
                uid: check.uid,
                at: check.at,
                operator: check.operator,
            });
        }
    }
    // Moments are written with and without parts of a second; stable ids are of version 7 (RFC 9562) and grow with time.
    let second = |line: &LogLine| line.at.get(..19).unwrap_or(&line.at).to_owned();
    found.sort_by_cached_key(|line| (second(line), line.uid.clone()));
    Ok(found)
}

/// The summary by month, operator and instrument.
pub fn by_month(lines: &[LogLine]) -> Vec<MonthOfUse> {
    let mut counted: BTreeMap<(String, String, Option<String>), (u64, u64)> = BTreeMap::new();
    for line in lines {
        let month = line.at.get(..7).unwrap_or(&line.at).to_owned();
        let counts = counted
            .entry((month, line.operator.clone(), line.instrument.clone()))
            .or_default();
        match line.what {
            Use::Measurement => counts.0 += 1,
            Use::Check => counts.1 += 1,
        }
    }
    counted
        .into_iter()
        .map(|((month, operator, instrument), (measurements, checks))| MonthOfUse {
            month,
            operator,
            instrument,
            measurements,
            checks,
        })
        .collect()
}

/// Headings of the log as a table.
pub const HEADINGS: [&str; 8] = [
    "at",
    "operator",
    "what",
    "number",
    "instrument",
    "cell",
    "sample",
    "value",
];

/// Writes the lines as rows of a table.
///
/// # Errors
/// When the output cannot be written.
pub fn write(lines: &[LogLine], mut table: Box<dyn TableOut + '_>) -> io::Result<()> {
    for line in lines {
        let text = |text: &Option<String>| -> String { text.clone().unwrap_or_default() };
        let (instrument, cell) = (text(&line.instrument), text(&line.cell));
        table.row(&[
            OutCell::Text(&line.at),
            OutCell::Text(&line.operator),
            OutCell::Text(match line.what {
                Use::Measurement => "measurement",
                Use::Check => "check",
            }),
            OutCell::Count(u64::try_from(line.number).unwrap_or_default()),
            OutCell::Text(&instrument),
            OutCell::Text(&cell),
            OutCell::Text(&line.sample),
            line.value.map_or(OutCell::Empty, OutCell::Number),
        ])?;
    }
    table.finish()
}
