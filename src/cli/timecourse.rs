//! `biot timecourse`: the change of an angle with time.

use super::{Failure, Outcome, Session};
use crate::exchange::series::SeriesFileError;
use crate::quantity::{self, Angle, Time};
use crate::report;
use crate::tasks::timecourse::{TimecourseError, TimecourseOptions, timecourse};
use clap::Args;
use std::path::PathBuf;

/// Arguments of `biot timecourse`.
#[derive(Debug, Args)]
#[command(after_help = "Examples:\n  \
    biot timecourse readings.csv                       columns time_s and angle_deg\n  \
    biot timecourse readings.csv --uncertainty \"2 mdeg\" --dissolved-at \"-90 s\"\n  \
    biot timecourse log.xlsx --map \"Clock=time:min\" --map \"Display=angle:mdeg\" --json\n\n\
    A file (invented):\n    \
    time_min,angle_deg\n    \
    2,5.548\n    \
    10,5.166\n    \
    …\n\n\
    The readings are set against no change, a steady change, and a first-order approach to an equilibrium, \
    α(t) = α∞ + (α0 − α∞) e^(−kt). Bare numbers are seconds and degrees; headings and cells may name a unit. A file of \
    readings with roles is read too; its blanks and standards are left out.")]
pub struct TimecourseArguments {
    /// Table of readings: CSV or XLSX
    #[arg(value_name = "FILE")]
    pub file: PathBuf,
    /// Standard uncertainty of one reading; without it the scatter tells it
    #[arg(long, value_parser = quantity::parse_angle, value_name = "ANGLE")]
    pub uncertainty: Option<Angle>,
    /// When the solution was made, on the clock of the file; the initial value is that of this moment
    #[arg(long, allow_hyphen_values = true, value_parser = quantity::parse_time, default_value = "0 s", value_name = "TIME")]
    pub dissolved_at: Time,
    /// What the solvent alone read in the same cell
    #[arg(long, allow_hyphen_values = true, value_parser = quantity::parse_angle, value_name = "ANGLE")]
    pub blank: Option<Angle>,
    /// Which column holds what: time, angle, uncertainty or role, with a unit behind a colon; - leaves one out
    #[arg(long, value_name = "HEADING=WORD[:UNIT]")]
    pub map: Vec<String>,
}

/// Fits and shows the course.
pub fn run(arguments: &TimecourseArguments, session: &mut Session) -> Result<Outcome, Failure> {
    if let Some(u) = arguments.uncertainty.filter(|u| u.degrees() <= 0.0) {
        return Err(Failure::usage(
            "uncertainty",
            format!("--uncertainty is {u}, but it must be above zero"),
        ));
    }
    let made = timecourse(
        &arguments.file,
        &TimecourseOptions {
            mappings: arguments.map.clone(),
            uncertainty: arguments.uncertainty,
            zero: Some(arguments.dissolved_at),
            blank: arguments.blank,
        },
    )?;
    if !made.unused.is_empty() {
        session.notice(&format!("Columns that were not used: {}.", made.unused.join(", ")));
    }
    session.answer(&report::timecourse::TimecourseJson::new(&made), |page| {
        report::timecourse::show(&made, page);
    })?;
    Ok(if made.refused.is_empty() {
        Outcome::Answered
    } else {
        Outcome::WithFindings
    })
}

impl From<SeriesFileError> for Failure {
    fn from(error: SeriesFileError) -> Self {
        let place = error.path().map(|path| path.display().to_string());
        let code = match error {
            SeriesFileError::Read(error) => return error.into(),
            SeriesFileError::Headings { .. } => "no-headings",
            SeriesFileError::Missing { .. } => "column-missing",
            SeriesFileError::Twice { .. } => "column-twice",
            SeriesFileError::Mapping { .. } => "mapping",
            SeriesFileError::TooLong { .. } => "too-large",
        };
        Self {
            place,
            ..Self::usage(code, "").told(&error.to_string())
        }
    }
}

impl From<TimecourseError> for Failure {
    fn from(error: TimecourseError) -> Self {
        let code = match error {
            TimecourseError::File(error) => return error.into(),
            TimecourseError::Nothing { .. } => "no-rows",
            TimecourseError::Series(_) => "series",
        };
        Self::usage(code, "").told(&error.to_string())
    }
}
