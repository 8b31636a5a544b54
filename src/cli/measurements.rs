//! `biot measurements`: what was measured here, and the readings behind it.

use super::{Failure, Outcome, Session, choose};
use crate::library::{Access, MeasurementFilter};
use crate::report;
use crate::tasks::measurements;
use crate::tasks::register::{date, parse_date};
use clap::Args;

/// Arguments of `biot measurements`.
#[derive(Debug, Args)]
#[command(after_help = "Examples:\n  \
    biot measurements                                     the newest 50\n  \
    biot measurements --compound \"L-menthol\" --since 2026-01-01\n  \
    biot measurements --operator AB --json\n  \
    biot measurements 12                                  one with its readings, drawn and listed\n  \
    biot check --measurement 12                           what the library says to it\n\n\
    biot reduce --keep puts measurements here. Readings are never changed: a correction is a new measurement that \
    supersedes the old one (biot reduce --keep --supersedes 12).")]
pub struct MeasurementsArguments {
    /// Show this measurement with its readings
    #[arg(value_name = "MEASUREMENT", conflicts_with_all = ["compound", "operator", "sample", "since", "until", "superseded"])]
    pub measurement: Option<i64>,
    /// Of this compound
    #[arg(long, value_name = "COMPOUND")]
    pub compound: Option<String>,
    /// By this operator
    #[arg(long, value_name = "NAME")]
    pub operator: Option<String>,
    /// Of this sample
    #[arg(long, value_name = "ID")]
    pub sample: Option<String>,
    /// Kept on or after this date, YYYY-MM-DD
    #[arg(long, value_parser = day, value_name = "DATE")]
    pub since: Option<String>,
    /// Kept on or before this date
    #[arg(long, value_parser = day, value_name = "DATE")]
    pub until: Option<String>,
    /// Also those that a later one corrects
    #[arg(long)]
    pub superseded: bool,
    /// Most that are listed
    #[arg(long, default_value_t = 50, value_name = "NUMBER")]
    pub most: u32,
}

fn day(text: &str) -> Result<String, String> {
    parse_date(text)
        .map(date)
        .ok_or_else(|| "a date is written YYYY-MM-DD".to_owned())
}

/// Lists measurements or shows one.
pub fn run(arguments: &MeasurementsArguments, session: &mut Session) -> Result<Outcome, Failure> {
    let library = session.library(Access::Read)?;
    if let Some(id) = arguments.measurement {
        let shown = measurements::show(&library, id)?;
        session.answer(&shown, |page| report::measurements::one(&shown, page))?;
        return Ok(Outcome::Answered);
    }
    let compound = match &arguments.compound {
        Some(text) => Some(choose::compound(&library, text, session)?),
        None => None,
    };
    let filter = MeasurementFilter {
        compound,
        operator: arguments.operator.clone(),
        sample: arguments.sample.clone(),
        since: arguments.since.clone(),
        until: arguments.until.clone(),
        with_superseded: arguments.superseded,
        most: Some(arguments.most),
    };
    let listed = measurements::list(&library, &filter)?;
    session.answer(&listed, |page| report::measurements::list(&listed, page))?;
    Ok(Outcome::Answered)
}
