//! Follows the change of an angle with time from a file of readings.

use crate::exchange::series::{self, Column, RefusedRow, SeriesFileError};
use crate::measurement::kinetics::{Course, SeriesError, TimedReading, follow};
use crate::measurement::{Reading, ReadingRole};
use crate::quantity::{Angle, QuantityError, Time, parse_angle, parse_time};
use std::path::Path;

/// A fitted series with the readings it rests on.
#[derive(Clone, Debug)]
pub struct Timecourse {
    /// The readings, in the order of the file.
    pub readings: Vec<TimedReading>,
    /// What they tell.
    pub course: Course,
    /// Rows that could not be read.
    pub refused: Vec<RefusedRow>,
    /// Rows of a blank or a standard, which are no part of the series.
    pub n_other_roles: usize,
    /// Columns that were not used.
    pub unused: Vec<String>,
}

/// Why a series is not followed.
#[derive(Debug, thiserror::Error)]
pub enum TimecourseError {
    /// The file does not do.
    #[error(transparent)]
    File(#[from] SeriesFileError),
    /// No reading of it can be used.
    #[error("no row of the file can be used: line {line}: {reason}")]
    Nothing {
        /// The line of the first row that cannot be used.
        line: u64,
        /// Why.
        reason: String,
    },
    /// The numbers do not do.
    #[error(transparent)]
    Series(#[from] SeriesError),
}

/// What a series is read with.
#[derive(Clone, Debug, Default)]
pub struct TimecourseOptions {
    /// What a person said of the columns, `HEADING=WORD[:UNIT]`.
    pub mappings: Vec<String>,
    /// Standard uncertainty of one reading, where it is known and no column gives it.
    pub uncertainty: Option<Angle>,
    /// The time on the file's clock at which the solution was made.
    pub zero: Option<Time>,
    /// What the solvent read in the same cell.
    pub blank: Option<Angle>,
}

/// The columns of a series.
const COLUMNS: [Column; 4] = [
    Column {
        word: "time",
        headings: &["t", "zeit", "temps", "elapsed", "elapsed time", "seconds"],
        parse: |text| parse_time(text).map(Time::seconds),
        required: true,
    },
    Column {
        word: "angle",
        headings: &[
            "α",
            "alpha",
            "rotation",
            "observed",
            "observed rotation",
            "drehung",
            "winkel",
            "drehwinkel",
            "ablesung",
            "angle observé",
            "reading",
        ],
        parse: |text| parse_angle(text).map(Angle::degrees),
        required: true,
    },
    Column {
        word: "uncertainty",
        headings: &["u", "u angle", "standard uncertainty", "angle uncertainty"],
        parse: |text| parse_angle(text).map(|u| u.degrees().abs()),
        required: false,
    },
    Column {
        word: "role",
        headings: &["kind of reading"],
        parse: |text| match text.trim().to_lowercase().as_str() {
            "sample" => Ok(SAMPLE),
            "blank" | "standard" => Ok(SAMPLE + 1.0),
            _ => Err(QuantityError::NoNumber {
                quantity: "role",
                text: text.to_owned(),
                example: "sample, blank or standard",
            }),
        },
        required: false,
    },
];

/// The number the role of a sample is read to.
const SAMPLE: f64 = 0.0;

/// Reads the file and fits the course.
///
/// # Errors
/// When the file cannot be read, no row can be used, or the readings allow no fit.
pub fn timecourse(path: &Path, options: &TimecourseOptions) -> Result<Timecourse, TimecourseError> {
    let series = series::read(path, &COLUMNS, &options.mappings)?;
    let zero = options.zero.map_or(0.0, Time::seconds);
    let blank = options.blank.map_or(0.0, Angle::degrees);
    let mut n_other_roles = 0;
    let mut readings = Vec::with_capacity(series.rows.len());
    for row in &series.rows {
        let [Some(time), Some(angle), uncertainty, role] = row.values[..] else {
            continue;
        };
        if role.is_some_and(|role| role != SAMPLE) {
            n_other_roles += 1;
            continue;
        }
        readings.push(TimedReading {
            time: Time::from_seconds(time - zero),
            angle: Angle::from_degrees(angle - blank),
            uncertainty: uncertainty.map(Angle::from_degrees).or(options.uncertainty),
        });
    }
    if readings.is_empty()
        && let Some(first) = series.refused.first()
    {
        return Err(TimecourseError::Nothing {
            line: first.line,
            reason: first.reason.clone(),
        });
    }
    let course = follow(&readings)?;
    Ok(Timecourse {
        readings,
        course,
        refused: series.refused,
        n_other_roles,
        unused: series.unused,
    })
}

/// Fits the course of the readings of a sample that tell their time, the blank's mean taken off; none where fewer than two
/// tell it.
///
/// # Errors
/// When the readings allow no fit.
pub fn of_readings(readings: &[Reading]) -> Result<Option<Timecourse>, SeriesError> {
    let of_role = |role: ReadingRole| readings.iter().filter(move |reading| reading.role == role);
    let blank: Vec<f64> = of_role(ReadingRole::Blank).map(|r| r.angle.degrees()).collect();
    let blank = if blank.is_empty() {
        0.0
    } else {
        crate::measurement::reading::mean(&blank)
    };
    let timed: Vec<TimedReading> = of_role(ReadingRole::Sample)
        .filter_map(|reading| {
            Some(TimedReading {
                time: Time::from_seconds(reading.seconds?),
                angle: Angle::from_degrees(reading.angle.degrees() - blank),
                uncertainty: None,
            })
        })
        .collect();
    if timed.len() < 2 {
        return Ok(None);
    }
    let course = follow(&timed)?;
    Ok(Some(Timecourse {
        readings: timed,
        course,
        refused: Vec::new(),
        n_other_roles: 0,
        unused: Vec::new(),
    }))
}
