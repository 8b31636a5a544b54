//! Own measurements as a list, and one with its readings.

use super::check::light;
use super::number;
use super::page::Page;
use super::plot::{Point, number_line};
use super::table::{Column, Table};
use crate::measurement::{ROTATION_UNIT, ReadingRole};
use crate::tasks::measurements::{ListedMeasurement, ReadingShown, ShownMeasurement};

/// Readings that a page lists; JSON has all.
const MOST_READINGS: usize = 40;

/// Writes a list.
pub fn list(listed: &[ListedMeasurement], page: &mut Page) {
    if listed.is_empty() {
        page.paragraph("No measurement is kept that fits; biot reduce --keep keeps one.");
        return;
    }
    let mut table = Table::new(&[
        Column::Number("no."),
        Column::Word("date"),
        Column::Text("sample"),
        Column::Text("compound"),
        Column::Number("[α]"),
        Column::Word("operator"),
        Column::Text("note"),
    ]);
    for it in listed {
        table.row([
            it.measurement.to_string(),
            it.at.chars().take(10).collect(),
            it.sample.clone(),
            it.compound.clone().unwrap_or_default(),
            number::signed_with_uncertainty(it.value, it.standard_uncertainty),
            it.operator.clone(),
            note(it),
        ]);
    }
    page.table(&table);
}

fn note(it: &ListedMeasurement) -> String {
    let mut parts = Vec::new();
    if let Some(by) = it.superseded_by {
        parts.push(format!("superseded by {by}"));
    }
    if let Some(old) = it.supersedes {
        parts.push(format!("supersedes {old}"));
    }
    match it.n_warnings {
        0 => {}
        1 => parts.push("1 warning".to_owned()),
        n => parts.push(format!("{n} warnings")),
    }
    parts.join(", ")
}

/// The conditions that were kept with a measurement, the solvent first.
pub fn conditions(kept: &serde_json::Value) -> String {
    let word = |name: &str| kept[name].as_str().map(str::to_owned);
    let number = |name: &str| kept[name].as_f64().map(number::short);
    [
        word("solvent"),
        number("conc_g_per_100ml").map(|c| format!("c {c}")),
        number("temperature_c").map(|t| format!("{t} °C")),
        kept["line"].as_str().map(light),
        number("path_mm").map(|l| format!("{l} mm cell")),
        word("form"),
        word("stage"),
        word("basis"),
    ]
    .into_iter()
    .flatten()
    .collect::<Vec<_>>()
    .join(", ")
}

/// Date and time to the minute of an instant as it is stored (RFC 3339 in UTC).
pub fn moment(at: &str) -> String {
    match (at.get(..10), at.get(11..16)) {
        (Some(day), Some(time)) => format!("{day} {time} UTC"),
        _ => at.to_owned(),
    }
}

/// Writes one measurement.
pub fn one(shown: &ShownMeasurement, page: &mut Page) {
    let it = &shown.listed;
    page.heading(&format!(
        "Measurement {} · {} · {} {ROTATION_UNIT}",
        it.measurement,
        it.sample,
        number::signed_with_uncertainty(it.value, it.standard_uncertainty)
    ));
    if let Some(by) = it.superseded_by {
        page.paragraph(&format!("This measurement is superseded by measurement {by}."));
    }
    if let Some(journal) = &it.journal {
        page.field("in print", journal);
    }
    for (label, text) in [
        ("compound", &it.compound),
        ("instrument", &it.instrument),
        ("cell", &it.cell),
    ] {
        if let Some(text) = text {
            page.field(label, text);
        }
    }
    let conditions = conditions(&shown.result["conditions"]);
    if !conditions.is_empty() {
        page.field("conditions", &conditions);
    }
    page.field("read by", &format!("{}, kept {}", it.operator, moment(&it.at)));
    if let Some(old) = it.supersedes {
        page.field("supersedes", &format!("measurement {old}"));
    }
    for flag in shown.result["flags"].as_array().into_iter().flatten() {
        page.point(&format!(
            "{} ({}): {}",
            flag["severity"].as_str().unwrap_or_default(),
            flag["code"].as_str().unwrap_or_default(),
            flag["sentence"].as_str().unwrap_or_default()
        ));
    }
    readings(&shown.readings, page);
}

fn readings(readings: &[ReadingShown], page: &mut Page) {
    page.heading(&format!("{} readings, °", readings.len()));
    for role in [ReadingRole::Sample, ReadingRole::Blank, ReadingRole::Standard] {
        let points: Vec<Point> = readings
            .iter()
            .filter(|reading| reading.role == role)
            .map(|reading| Point {
                group: role.as_str().to_owned(),
                value: reading.angle_deg,
                ends: None,
                counts: true,
            })
            .collect();
        if !points.is_empty() {
            page.verbatim(&number_line(&points, page.width()));
        }
    }
    page.gap();
    let mut table = Table::new(&[
        Column::Number("row"),
        Column::Word("role"),
        Column::Number("angle"),
        Column::Number("s"),
        Column::Number("°C"),
        Column::Number("nm"),
        Column::Number("cell, mm"),
        Column::Word("operator"),
    ]);
    let plain = |value: Option<f64>| {
        value
            .map(|v| format!("{v}").replace('-', "\u{2212}"))
            .unwrap_or_default()
    };
    for reading in readings.iter().take(MOST_READINGS) {
        table.row([
            reading.line.to_string(),
            reading.role.as_str().to_owned(),
            number::signed(reading.angle_deg, 4),
            plain(reading.time_s),
            plain(reading.temperature_c),
            plain(reading.wavelength_nm),
            plain(reading.cell_mm),
            reading.operator.clone().unwrap_or_default(),
        ]);
    }
    page.table(&table);
    if readings.len() > MOST_READINGS {
        page.note(&format!(
            "{} more readings are kept; --json has all.",
            readings.len() - MOST_READINGS
        ));
    }
}
