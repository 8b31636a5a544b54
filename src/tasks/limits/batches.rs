//! A series of batches against the limits of their compound.

use super::{AID, LimitsCompound, LimitsShown, Reading, monographs, shown_compound, with_reading};
use crate::compare::limits::{Guard, LimitOutcome, Sample, Share, Trend, trend};
use crate::exchange::rows::{self, Event, ReadError, ReadOptions};
use crate::library::{CompoundId, Library, LibraryError};
use crate::measurement::Amount;
use crate::quantity::{
    Printed, parse_angle, parse_concentration, parse_length, parse_number, parse_percent, parse_temperature,
};
use serde::Serialize;
use std::path::Path;

/// One batch of a series.
#[derive(Clone, Debug, PartialEq)]
pub struct Batch {
    /// Its name.
    pub batch: String,
    /// Its date, as written.
    pub date: Option<String>,
    /// What was measured.
    pub sample: Sample,
}

/// A row that is no batch.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct RefusedBatch {
    /// Line of the file.
    pub line: u64,
    /// Why.
    pub reason: String,
}

/// Why a file of batches cannot be read.
#[derive(Debug, thiserror::Error)]
pub enum BatchError {
    /// The file cannot be read.
    #[error(transparent)]
    Read(#[from] ReadError),
    /// Neither values nor angles.
    #[error("the file has no column of values; name one \"value\" or \"angle\"")]
    NoValues,
}

/// The columns a file of batches can have, each with the headings it is known by.
const COLUMNS: [(Column, &[&str]); 10] = [
    (Column::Batch, &["batch", "lot", "id", "sample"]),
    (Column::Date, &["date", "day"]),
    (Column::Value, &["value", "specific_rotation", "rotation"]),
    (Column::Angle, &["angle", "angle_deg", "observed"]),
    (Column::Uncertainty, &["uncertainty", "u", "standard_uncertainty"]),
    (Column::Temperature, &["temp", "temperature", "temperature_c"]),
    (Column::Concentration, &["conc", "concentration", "c"]),
    (Column::Cell, &["cell", "cell_mm", "path_mm", "path"]),
    (Column::Water, &["water", "water_percent"]),
    (Column::Loss, &["loss_on_drying", "lod", "loss_on_drying_percent"]),
];

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Column {
    Batch,
    Date,
    Value,
    Angle,
    Uncertainty,
    Temperature,
    Concentration,
    Cell,
    Water,
    Loss,
}

impl Column {
    fn of(heading: &str) -> Option<Self> {
        let heading = heading.trim().to_lowercase().replace([' ', '-'], "_");
        COLUMNS
            .iter()
            .find(|(_, names)| names.contains(&heading.as_str()))
            .map(|&(column, _)| column)
    }
}

/// Reads a table of batches (CSV or XLSX). `common` says what holds for all of them; a column wins over it. A row that
/// cannot be read is refused with its reason, the others stay in their order.
///
/// # Errors
/// When the file cannot be read, or has neither a column of values nor one of angles.
pub fn read_batches(path: &Path, common: &Sample) -> Result<(Vec<Batch>, Vec<RefusedBatch>), BatchError> {
    let mut columns: Vec<Option<Column>> = Vec::new();
    let (mut batches, mut refused) = (Vec::new(), Vec::new());
    let knows = |heading: &str| Column::of(heading).is_some();
    rows::read::<BatchError>(path, &ReadOptions::default(), &knows, &mut |event| {
        match event {
            Event::Begin(_) => {}
            Event::Columns(headings) => {
                columns = headings.iter().map(|heading| Column::of(heading)).collect();
                if !(columns.contains(&Some(Column::Value)) || columns.contains(&Some(Column::Angle))) {
                    return Err(BatchError::NoValues);
                }
            }
            Event::Row(row) => {
                let cell = |column: Column| {
                    let at = columns.iter().position(|known| *known == Some(column))?;
                    row.cells
                        .get(at)
                        .map(|text| text.trim())
                        .filter(|text| !text.is_empty())
                };
                let read = match &row.fault {
                    Some(fault) => Err(fault.clone()),
                    None => batch(&cell, common, batches.len() + refused.len() + 1),
                };
                match read {
                    Ok(batch) => batches.push(batch),
                    Err(reason) => refused.push(RefusedBatch { line: row.line, reason }),
                }
            }
        }
        Ok(())
    })?;
    Ok((batches, refused))
}

fn batch<'a>(cell: &impl Fn(Column) -> Option<&'a str>, common: &Sample, number: usize) -> Result<Batch, String> {
    let say = |error: crate::quantity::QuantityError| error.to_string();
    let mut sample = common.clone();
    if let Some(text) = cell(Column::Temperature) {
        sample.conditions.temperature = Some(parse_temperature(text).map_err(say)?);
    }
    if let Some(text) = cell(Column::Concentration) {
        let stated = parse_concentration(text).map_err(say)?;
        sample.conditions.concentration = Some(stated.to_mass_concentration(common.molar_mass, None).map_err(say)?);
    }
    if let Some(text) = cell(Column::Cell) {
        sample.cell = Some(parse_length(text).map_err(say)?);
    }
    if let Some(text) = cell(Column::Water) {
        sample.water = Some(share(text)?);
    }
    if let Some(text) = cell(Column::Loss) {
        sample.loss_on_drying = Some(share(text)?);
    }
    let uncertainty = match cell(Column::Uncertainty).map(parse_number).transpose().map_err(say)? {
        Some(u) if u.value() > 0.0 => Some(u.value()),
        Some(u) => return Err(format!("the uncertainty is {u}, but it must be above zero")),
        None => None,
    };
    let reading = match (cell(Column::Value), cell(Column::Angle)) {
        (Some(text), _) => Reading::Value(parse_number(text).map_err(say)?),
        (None, Some(text)) => Reading::Angle(parse_angle(text).map_err(say)?),
        (None, None) => return Err("there is neither a value nor an angle".to_owned()),
    };
    let amount = sample.conditions.concentration.map(Amount::Concentration);
    Ok(Batch {
        batch: cell(Column::Batch).map_or_else(|| format!("row {number}"), str::to_owned),
        date: cell(Column::Date).map(str::to_owned),
        sample: with_reading(sample, reading, uncertainty, amount),
    })
}

/// A share in per cent; its standard uncertainty is that of its last digit, half of it as a rectangular half-width.
///
/// # Errors
/// When the text is no percentage from 0 to 100.
pub fn share(text: &str) -> Result<Share, String> {
    let fraction = parse_percent(text).map_err(|error| error.to_string())?.ratio();
    if !(0.0..1.0).contains(&fraction) {
        return Err(format!(
            "\"{text}\" is no share of a sample; it must be from 0 to below 100 %"
        ));
    }
    let number = text.trim().trim_end_matches(['%', ' ']);
    let half = parse_number(number).map_or(0.0, Printed::half_last_digit);
    Ok(Share {
        fraction,
        standard_uncertainty: half / 100.0 / 3f64.sqrt(),
    })
}

/// One batch held against one set of limits.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct BatchShown {
    /// Its name.
    pub batch: String,
    /// Its date, as written.
    pub date: Option<String>,
    /// What the monograph's own rule says.
    pub outcome: LimitOutcome,
    /// The value that is rounded.
    pub value: Option<f64>,
    /// Its standard uncertainty.
    pub standard_uncertainty: Option<f64>,
    /// The value in the digits of the limits.
    pub rounded: Option<String>,
    /// Probability of conformity.
    pub probability: Option<f64>,
    /// What the guard-banded rule says, when asked for.
    pub guarded: Option<crate::compare::limits::Acceptance>,
    /// Why nothing is decided, and what to bear in mind.
    pub notes: Vec<String>,
}

/// All batches against one set of limits.
#[derive(Clone, Debug, Serialize)]
pub struct BatchLimits {
    /// The limits.
    pub limits: LimitsShown,
    /// The rule of the decisions, by name.
    pub decision_rule: &'static str,
    /// What the results hold provided that.
    pub provided: Vec<String>,
    /// The batches in their order.
    pub batches: Vec<BatchShown>,
    /// Batches inside, outside, not decided.
    pub counts: [usize; 3],
    /// The series as a whole; null without a value.
    pub trend: Option<Trend>,
}

/// A series of batches against every set of limits of its compound.
#[derive(Clone, Debug, Serialize)]
pub struct LimitsTrend {
    /// The compound.
    pub compound: LimitsCompound,
    /// One series for each set of limits.
    pub monographs: Vec<BatchLimits>,
    /// Rows that are no batches.
    pub refused: Vec<RefusedBatch>,
    /// What the result is and is not.
    pub caution: &'static str,
}

/// Holds batches against every set of limits of their compound.
///
/// # Errors
/// When the library holds no such compound, or fails.
pub fn batch_limits(
    library: &Library,
    compound: CompoundId,
    batches: &[Batch],
    refused: Vec<RefusedBatch>,
    guard: Option<Guard>,
) -> Result<LimitsTrend, LibraryError> {
    let compound = library.compound(compound)?;
    let mut series = Vec::new();
    for monograph in monographs(library, &compound)? {
        let mut provided: Vec<String> = Vec::new();
        let mut counts = [0; 3];
        let shown: Vec<BatchShown> = batches
            .iter()
            .map(|batch| {
                let mut answer = monograph.answer(&batch.sample, guard);
                provided.extend(
                    answer
                        .provided
                        .drain(..)
                        .filter(|it| !provided.contains(it))
                        .collect::<Vec<_>>(),
                );
                counts[match answer.outcome {
                    LimitOutcome::Inside => 0,
                    LimitOutcome::Outside => 1,
                    LimitOutcome::NotDecided => 2,
                }] += 1;
                // What is true of the limits as such is said once, above the table.
                let other_side = [
                    ("Rounding decides", "decided by rounding"),
                    ("With the other sign", "inside with the other sign"),
                ];
                let notes = answer.reasons.iter().cloned().chain(
                    other_side
                        .iter()
                        .filter(|(start, _)| answer.notes.iter().any(|note| note.starts_with(start)))
                        .map(|(_, short)| (*short).to_owned()),
                );
                let notes = notes.collect();
                let last = answer.steps.last();
                BatchShown {
                    batch: batch.batch.clone(),
                    date: batch.date.clone(),
                    outcome: answer.outcome,
                    value: last.map(|step| step.value).filter(|_| answer.rounded.is_some()),
                    standard_uncertainty: last.map(|step| step.standard_uncertainty),
                    probability: answer.conformity.map(|it| it.probability),
                    guarded: answer.guarded.map(|it| it.decision),
                    notes,
                    rounded: answer.rounded,
                }
            })
            .collect();
        let values: Vec<f64> = shown.iter().filter_map(|batch| batch.value).collect();
        series.push(BatchLimits {
            limits: monograph.shown,
            decision_rule: super::OWN_RULE,
            provided,
            batches: shown,
            counts,
            trend: trend(&values),
        });
    }
    Ok(LimitsTrend {
        compound: shown_compound(&compound),
        monographs: series,
        refused,
        caution: AID,
    })
}
