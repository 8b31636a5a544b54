//! `biot calibrate`: rotation against enantiomeric excess.

use super::{Failure, Outcome, Session, args};
use crate::quantity::{Printed, SpecificRotation};
use crate::report;
use crate::tasks::calibrate::{CalibrateError, calibrate_file};
use clap::Args;
use std::path::PathBuf;

/// Arguments of `biot calibrate`.
#[derive(Debug, Args)]
#[command(after_help = "Examples:\n  \
    biot calibrate points.csv                                 columns ee_percent and rotation\n  \
    biot calibrate points.csv --value 9.25 --uncertainty 0.05 the ee of a sample of that rotation\n\n\
    A file (invented):\n    \
    ee_percent,rotation,uncertainty\n    \
    20,3.95,0.05\n    \
    50,9.24,0.05\n    \
    80,12.95,0.05\n    \
    100,14.02,0.05\n\n\
    Where rotation is not linear in enantiomeric excess (Horeau effect), optical purity is not ee; the curve \
    [α] = a e + b e³ is fitted where the points support it, and inverted. The ee of the points must come from another \
    method than rotation.")]
pub struct CalibrateArguments {
    /// Table of points: CSV or XLSX
    #[arg(value_name = "FILE")]
    pub file: PathBuf,
    /// Specific rotation of a sample, at the conditions of the points
    #[arg(long, allow_hyphen_values = true, value_parser = args::rotation, value_name = "NUMBER")]
    pub value: Option<Printed>,
    /// Standard uncertainty of the rotations: of the sample, and of points whose column gives none
    #[arg(long, value_parser = args::rotation, value_name = "NUMBER")]
    pub uncertainty: Option<Printed>,
    /// Which column holds what: ee, rotation, uncertainty or ee_uncertainty; - leaves one out
    #[arg(long, value_name = "HEADING=WORD")]
    pub map: Vec<String>,
}

/// Fits, inverts and shows.
pub fn run(arguments: &CalibrateArguments, session: &mut Session) -> Result<Outcome, Failure> {
    if let Some(u) = arguments.uncertainty.filter(|u| u.value() <= 0.0) {
        return Err(Failure::usage(
            "uncertainty",
            format!("--uncertainty is {u}, but it must be above zero"),
        ));
    }
    let u = arguments
        .uncertainty
        .map(|u| SpecificRotation::from_conventional(u.value()));
    let value = arguments.value.map(|value| {
        let last_digit = SpecificRotation::from_conventional(value.half_last_digit() / 3f64.sqrt());
        (
            SpecificRotation::from_conventional(value.value()),
            u.unwrap_or(last_digit),
        )
    });
    let made = calibrate_file(&arguments.file, &arguments.map, u, value)?;
    session.answer(&report::composition::CalibrateJson::new(&made), |page| {
        report::composition::show_calibration(&made, page);
    })?;
    Ok(if made.refused.is_empty() {
        Outcome::Answered
    } else {
        Outcome::WithFindings
    })
}

impl From<CalibrateError> for Failure {
    fn from(error: CalibrateError) -> Self {
        match error {
            CalibrateError::File(error) => error.into(),
            CalibrateError::Calibration { .. } => Self::usage("calibration", "").told(&error.to_string()),
        }
    }
}
