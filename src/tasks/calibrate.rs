//! Calibrates rotation against enantiomeric excess from a file, and reads an excess off the curve.

use crate::exchange::series::{self, Column, RefusedRow, SeriesFileError};
use crate::measurement::calibration::{Calibration, CalibrationError, CalibrationPoint, ReadOff, calibrate};
use crate::quantity::{Fraction, Printed, SpecificRotation, parse_number, parse_percent};
use std::path::Path;

/// A calibration with its points and what was read off it.
#[derive(Clone, Debug)]
pub struct Calibrated {
    /// The points, in the order of the file.
    pub points: Vec<CalibrationPoint>,
    /// The curve.
    pub calibration: Calibration,
    /// The excess asked for.
    pub read_off: Option<ReadOff>,
    /// Rows that could not be read.
    pub refused: Vec<RefusedRow>,
}

/// Why there is no calibration.
#[derive(Debug, thiserror::Error)]
pub enum CalibrateError {
    /// The file does not do.
    #[error(transparent)]
    File(#[from] SeriesFileError),
    /// The points do not do.
    #[error("{error}{}", told(refused))]
    Calibration {
        /// Why.
        error: CalibrationError,
        /// Rows that could not be read.
        refused: Vec<RefusedRow>,
    },
}

/// The columns of a file.
const COLUMNS: [Column; 4] = [
    Column {
        word: "ee",
        headings: &["ee percent", "enantiomeric excess", "excess", "e.e"],
        parse: |text| parse_percent(text).map(Fraction::ratio),
        required: true,
    },
    Column {
        word: "rotation",
        headings: &["value", "specific rotation", "[α]", "[a]"],
        parse: |text| parse_number(text.trim_end_matches(['°', ' '])).map(Printed::value),
        required: true,
    },
    Column {
        word: "uncertainty",
        headings: &["u", "standard uncertainty", "sd"],
        parse: |text| parse_number(text.trim_end_matches(['°', ' '])).map(|u| u.value().abs()),
        required: false,
    },
    Column {
        word: "ee_uncertainty",
        headings: &["u ee", "uncertainty of ee"],
        parse: |text| parse_percent(text).map(|u| u.ratio().abs()),
        required: false,
    },
];

/// Reads the points, fits the curve, and reads the excess of a value (with its standard uncertainty) off it.
///
/// # Errors
/// When the file cannot be read, the points allow no curve that can be inverted, or the value lies beyond it.
pub fn calibrate_file(
    path: &Path,
    mappings: &[String],
    uncertainty: Option<SpecificRotation>,
    value: Option<(SpecificRotation, SpecificRotation)>,
) -> Result<Calibrated, CalibrateError> {
    let series = series::read(path, &COLUMNS, mappings)?;
    let points: Vec<CalibrationPoint> = series
        .rows
        .iter()
        .filter_map(|row| {
            Some(CalibrationPoint {
                excess: Fraction::from_ratio(row.values[0]?),
                rotation: SpecificRotation::from_conventional(row.values[1]?),
                uncertainty: row.values[2].map(SpecificRotation::from_conventional).or(uncertainty),
                excess_uncertainty: row.values[3].map(Fraction::from_ratio),
            })
        })
        .collect();
    let made = calibrate(&points).and_then(|calibration| {
        let read_off = value.map(|(value, u)| calibration.read_off(value, u)).transpose()?;
        Ok((calibration, read_off))
    });
    let (calibration, read_off) = match made {
        Ok(made) => made,
        Err(error) => {
            let refused = series.refused;
            return Err(CalibrateError::Calibration { error, refused });
        }
    };
    Ok(Calibrated {
        points,
        calibration,
        read_off,
        refused: series.refused,
    })
}

/// Rows that could not be read, where a calibration failed for want of points.
fn told(refused: &[RefusedRow]) -> String {
    refused.first().map_or_else(String::new, |row| {
        let reason = row.reason.replace("; ", ", ");
        match refused.len() {
            1 => format!("; the row in line {} could not be read: {reason}", row.line),
            n => format!("; {n} rows could not be read, the first in line {}: {reason}", row.line),
        }
    })
}
