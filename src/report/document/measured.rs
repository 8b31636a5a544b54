//! Kept measurements as documents.

use super::build::{CARE, IN_PRINT, budget, check_blocks, facts, heading, labels, lowered_solvent, provenance};
use super::{Block, Document, Grid, SetLine};
use crate::measurement::BudgetLine;
use crate::notation::{self, Style};
use crate::report::measurements::{conditions, moment};
use crate::report::number;
use crate::report::options::in_page_words;
use crate::report::result as rows;
use crate::tasks::measurements::{ReadingShown, ShownMeasurement};
use crate::tasks::report::MeasurementReport;

/// Most readings that are printed.
const MOST_READINGS: usize = 200;

/// A number that may have been noted of a reading.
type Number = fn(&ReadingShown) -> Option<f64>;

/// The report of a kept measurement.
pub fn of_measurement(report: &MeasurementReport, made_on: &str) -> Document {
    let shown = &report.measurement;
    let it = &shown.listed;
    let mut blocks = Vec::new();
    // Above all else; a check has them among its own.
    blocks.extend((report.cautions.iter()).map(|caution| Block::Paragraph {
        text: in_page_words(caution),
    }));
    blocks.push(Block::Facts { rows: told(report) });
    blocks.extend(it.journal.as_ref().map(|line| Block::Line {
        label: IN_PRINT.to_owned(),
        text: line.clone(),
        set: set(line),
    }));
    let flags: Vec<String> = (shown.result["flags"].as_array().into_iter().flatten())
        .map(|flag| {
            let word = |name: &str| flag[name].as_str().unwrap_or_default();
            format!("{}: {}", capital(word("severity")), in_page_words(word("sentence")))
        })
        .collect();
    if !flags.is_empty() {
        blocks.push(heading("Quality of the readings"));
        blocks.push(Block::Points { items: flags });
    }
    if let Some(check) = &report.check {
        blocks.push(heading("Check against published values"));
        // Value and conditions stand above already, and so do sample and operator.
        let facts = facts(check).into_iter().filter(|(name, _)| {
            !matches!(
                name.as_str(),
                "Measured" | "Conditions" | "Sample" | "Measured by" | "Note"
            )
        });
        let mut check = check.clone();
        (check.result.cautions).retain(|caution| !report.cautions.contains(caution));
        blocks.extend(check_blocks(&check, facts.collect(), None));
    }
    let lines: Vec<BudgetLine> = serde_json::from_value(shown.result["budget"].clone()).unwrap_or_default();
    if !lines.is_empty() {
        blocks.push(heading("Uncertainty of the measurement"));
        blocks.push(budget(rows::budget_lines(&lines)));
    }
    blocks.push(heading("Readings"));
    blocks.push(readings(shown));
    blocks.push(Block::Paragraph { text: CARE.to_owned() });
    Document {
        title: format!("Measurement {}: {}", it.measurement, it.sample),
        kind: "Measurement of an optical rotation".to_owned(),
        made_on: made_on.to_owned(),
        blocks,
        provenance: provenance(&report.provenance),
    }
}

fn told(report: &MeasurementReport) -> Vec<(String, String)> {
    let it = &report.measurement.listed;
    let mut facts: Vec<(String, String)> = labels(&report.provenance).collect();
    let mut fact = |name: &str, text: Option<String>| {
        if let Some(text) = text.filter(|text| !text.is_empty()) {
            facts.push((name.to_owned(), text));
        }
    };
    fact(
        "Measured",
        Some(format!(
            "{} {}",
            number::signed_with_uncertainty(it.value, it.standard_uncertainty),
            rows::UNIT
        )),
    );
    let result = &report.measurement.result;
    fact("Conditions", Some(lowered_solvent(&conditions(&result["conditions"]))));
    let angle = &result["angle"];
    fact(
        "Angle",
        angle["net_degrees"].as_f64().map(|net| {
            let u = angle["standard_uncertainty"].as_f64().unwrap_or(0.0);
            let blank = if angle["blank_degrees"].is_null() {
                ""
            } else {
                ", blank taken off"
            };
            format!("{}°{blank}", number::signed_with_uncertainty(net, u))
        }),
    );
    fact("Compound", it.compound.clone());
    fact("Instrument", it.instrument.clone());
    fact("Cell", it.cell.clone());
    fact("Read by", Some(it.operator.clone()));
    fact("Kept", Some(moment(&it.at)));
    fact("Supersedes", it.supersedes.map(|old| format!("measurement {old}")));
    facts
}

/// The kept line with its marks set, where the reader takes it for what was written.
fn set(line: &str) -> Option<SetLine> {
    let found = notation::read(line);
    let [only] = found.as_slice() else { return None };
    let write = |style| notation::write(&only.statement, style).ok();
    if write(Style::Plain)? != line {
        return None;
    }
    Some(SetLine {
        html: write(Style::Html)?,
        markdown: write(Style::Markdown)?,
        latex: write(Style::Latex)?,
    })
}

fn capital(word: &str) -> String {
    let mut letters = word.chars();
    let first: String = letters.next().map(|c| c.to_uppercase().collect()).unwrap_or_default();
    first + letters.as_str()
}

/// The readings, a column for each thing that was noted of any of them.
fn readings(shown: &ShownMeasurement) -> Block {
    let all = &shown.readings;
    let caption = match all.len() {
        1 => "The one reading".to_owned(),
        n if n > MOST_READINGS => {
            format!("The first {MOST_READINGS} of {n} readings; biot measurements --json has all")
        }
        n => format!("The {n} readings"),
    };
    let shown = &all[..all.len().min(MOST_READINGS)];
    let numbers: [(&str, Number); 5] = [
        ("#α / °", |reading| Some(reading.angle_deg)),
        ("#t / s", |reading| reading.time_s),
        ("#T / °C", |reading| reading.temperature_c),
        ("#λ / nm", |reading| reading.wavelength_nm),
        ("#cell / mm", |reading| reading.cell_mm),
    ];
    let mut heads = vec!["#row", "role"];
    let mut columns: Vec<Vec<String>> = vec![
        shown.iter().map(|reading| reading.line.to_string()).collect(),
        shown.iter().map(|reading| reading.role.as_str().to_owned()).collect(),
    ];
    for (head, of) in numbers {
        let values: Vec<Option<f64>> = shown.iter().map(of).collect();
        if values.iter().any(Option::is_some) {
            heads.push(head);
            columns.push(as_read(&values, head.starts_with("#α")));
        }
    }
    if shown.iter().any(|reading| reading.operator.is_some()) {
        heads.push("operator");
        columns.push(
            shown
                .iter()
                .map(|reading| reading.operator.clone().unwrap_or_default())
                .collect(),
        );
    }
    let mut table = Grid::new(&caption, &heads);
    table.rows = (0..shown.len())
        .map(|row| columns.iter().map(|column| column[row].clone()).collect())
        .collect();
    Block::Table {
        table,
        supporting: false,
    }
}

/// Numbers with the digits of the finest among them, as an instrument shows them.
fn as_read(values: &[Option<f64>], is_signed: bool) -> Vec<String> {
    let decimals = |value: &f64| format!("{value}").split_once('.').map_or(0, |(_, digits)| digits.len());
    let most = values.iter().flatten().map(decimals).max().unwrap_or(0).min(6);
    let write = |value: f64| {
        if is_signed {
            number::signed(value, most)
        } else {
            number::number(value, most)
        }
    };
    values
        .iter()
        .map(|value| value.map(write).unwrap_or_default())
        .collect()
}
