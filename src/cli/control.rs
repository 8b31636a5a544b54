//! `biot control`: is the instrument right today?

use super::change::ChangeOptions;
use super::{Failure, Outcome, Session};
use crate::library::Access;
use crate::quantity::{self, Angle, Length, SpectralLine, Temperature};
use crate::report;
use crate::report::control::{ChartJson, CheckMadeJson, DueJson};
use crate::tasks::control::{self, CheckError, ReadingOfStandard};
use clap::{Args, Subcommand};
use time::OffsetDateTime;
use time::format_description::well_known::Rfc3339;

/// Arguments of `biot control`.
#[derive(Debug, Args)]
#[command(after_help = "Examples (all names are invented):\n  \
    biot control check north \"plate 17\" --reading 34.613 --reading 34.612 --reading 34.613 --blank 0.000 --temp 20.4\n  \
    biot control chart north \"plate 17\"\n  \
    biot control due\n  \
    biot control strike 12 --why \"the plate was dirty\"\n\n\
    The certificate's own value and coefficient win over every built-in law. A check passes when |E_n| is at most 1 (ISO \
    13528). Where the expected angle would rest on a law that Biot knows from memory only (the change of a sugar solution \
    with temperature, dextrose without a certificate) there is no verdict; the difference is still shown. The chart has the \
    limits and the four run rules of Western Electric; below 20 checks its limits are provisional, and a point beyond them is a \
    warning. Exit code 5 when the newest check fails, when it breaks a rule of an established chart, or when something is \
    overdue.")]
pub struct ControlArguments {
    /// What to do
    #[command(subcommand)]
    pub action: Action,
}

/// What to do.
#[derive(Debug, Subcommand)]
pub enum Action {
    /// Check an instrument against a standard and keep the check
    Check(Box<CheckOptions>),
    /// Show the control chart
    Chart {
        /// The instrument
        #[arg(value_name = "INSTRUMENT")]
        instrument: String,
        /// The standard
        #[arg(value_name = "STANDARD")]
        standard: String,
    },
    /// List what is due: checks, certificates, loans
    Due,
    /// Strike a check out, with a reason; it stays in the history
    Strike {
        /// Number of the check
        #[arg(value_name = "CHECK")]
        check: i64,
        /// Who and why
        #[command(flatten)]
        change: ChangeOptions,
    },
}

/// A check.
#[derive(Clone, Debug, Args)]
pub struct CheckOptions {
    /// The instrument
    #[arg(value_name = "INSTRUMENT")]
    pub instrument: String,
    /// The standard
    #[arg(value_name = "STANDARD")]
    pub standard: String,
    /// A reading of the standard; may be given several times
    #[arg(long, required = true, allow_hyphen_values = true, value_parser = quantity::parse_angle, value_name = "ANGLE")]
    pub reading: Vec<Angle>,
    /// A reading without the standard, or of the solvent; may be given several times
    #[arg(long, allow_hyphen_values = true, value_parser = quantity::parse_angle, value_name = "ANGLE")]
    pub blank: Vec<Angle>,
    /// Temperature at the standard
    #[arg(long, visible_alias = "temperature", value_parser = quantity::parse_temperature, value_name = "TEMPERATURE")]
    pub temp: Option<Temperature>,
    /// Line; the default is that of the standard
    #[arg(long, value_parser = quantity::parse_line, value_name = "LINE")]
    pub line: Option<SpectralLine>,
    /// Cell a solution was read in
    #[arg(long, value_parser = quantity::parse_length, value_name = "LENGTH")]
    pub cell: Option<Length>,
    /// When, such as 2026-11-25T09:30:00Z; the default is now
    #[arg(long, value_parser = moment, value_name = "TIME")]
    pub at: Option<OffsetDateTime>,
    /// Show the result and keep nothing
    #[arg(long)]
    pub dry_run: bool,
    /// Who and why
    #[command(flatten)]
    pub change: ChangeOptions,
}

fn moment(text: &str) -> Result<OffsetDateTime, String> {
    OffsetDateTime::parse(text.trim(), &Rfc3339)
        .map_err(|_| "a time is written like 2026-11-25T09:30:00Z or 2026-11-25T09:30:00+01:00".to_owned())
}

/// Works on checks.
pub fn run(arguments: &ControlArguments, session: &mut Session) -> Result<Outcome, Failure> {
    let findings = match &arguments.action {
        Action::Check(options) => check(options, session)?,
        Action::Chart { instrument, standard } => {
            let library = session.library(Access::Read)?;
            let chart = control::chart_of(&library, instrument, standard)?;
            session.answer(&ChartJson::from(&chart), |page| report::control::chart(&chart, page))?;
            chart.is_out_of_control()
        }
        Action::Due => {
            let library = session.library(Access::Read)?;
            let due = control::due(&library, OffsetDateTime::now_utc().date())?;
            session.answer(&DueJson { due: &due }, |page| report::control::due(&due, page))?;
            due.iter().any(|it| it.overdue)
        }
        Action::Strike { check, change } => {
            let mut library = session.library(Access::Write)?;
            let struck = library.strike_control_check(*check, &change.change())?;
            session.answer(
                &serde_json::json!({"struck": struck.id, "struck_at": struck.struck_at}),
                |page| page.paragraph(&format!("Check {} is struck out; the history keeps it.", struck.id)),
            )?;
            false
        }
    };
    Ok(if findings {
        Outcome::WithFindings
    } else {
        Outcome::Answered
    })
}

fn check(options: &CheckOptions, session: &mut Session) -> Result<bool, Failure> {
    let mut library = session.library(if options.dry_run { Access::Read } else { Access::Write })?;
    let read = ReadingOfStandard {
        instrument: options.instrument.clone(),
        standard: options.standard.clone(),
        readings: options.reading.clone(),
        blank: options.blank.clone(),
        line: options.line.clone(),
        temperature: options.temp,
        cell: options.cell,
        at: options.at,
    };
    let made = control::check(&mut library, &read, !options.dry_run, &options.change.change())?;
    session.answer(&CheckMadeJson::from(&made), |page| report::control::made(&made, page))?;
    Ok(made.is_out_of_control())
}

impl From<CheckError> for Failure {
    fn from(error: CheckError) -> Self {
        let code = match error {
            CheckError::Library(error) => return error.into(),
            CheckError::Control(_) => "standard",
            CheckError::NoReading => "no-reading",
            CheckError::InFuture(_) => "in-future",
            CheckError::Expired { .. } => "standard-expired",
        };
        Failure::usage(code, error.to_string())
    }
}
