//! `biot log`: who used which instrument, and when.

use super::failure::file_failure;
use super::register::date;
use super::{Failure, Outcome, Session};
use crate::exchange::table_out;
use crate::library::Access;
use crate::report;
use crate::report::use_log::UseLogJson;
use crate::tasks::{register, use_log};
use clap::Args;
use std::path::PathBuf;

/// Arguments of `biot log`.
#[derive(Debug, Args)]
#[command(after_help = "Examples:\n  \
    biot log                                             by month and operator, and the newest uses\n  \
    biot log --since 2026-01-01 --instrument north --output use-2026.xlsx\n  \
    biot log --operator AB --json\n\n\
    The log is made of the measurements kept by biot reduce --keep and of the checks kept by biot control check.")]
pub struct LogArguments {
    /// On or after this date, YYYY-MM-DD
    #[arg(long, value_parser = date, value_name = "DATE")]
    pub since: Option<time::Date>,
    /// On or before this date
    #[arg(long, value_parser = date, value_name = "DATE")]
    pub until: Option<time::Date>,
    /// By this operator
    #[arg(long, value_name = "NAME")]
    pub operator: Option<String>,
    /// On this instrument
    #[arg(long, value_name = "NAME")]
    pub instrument: Option<String>,
    /// Write all lines to this file: .csv or .xlsx
    #[arg(long, value_name = "FILE")]
    pub output: Option<PathBuf>,
    /// Most lines that are listed
    #[arg(long, default_value_t = 20, value_name = "NUMBER")]
    pub most: usize,
}

/// Shows or writes the log.
pub fn run(arguments: &LogArguments, session: &mut Session) -> Result<Outcome, Failure> {
    let library = session.library(Access::Read)?;
    let filter = use_log::LogFilter {
        since: arguments.since.map(register::date),
        until: arguments.until.map(register::date),
        operator: arguments.operator.clone(),
        instrument: arguments.instrument.clone(),
    };
    let lines = use_log::lines(&library, &filter)?;
    if let Some(path) = &arguments.output {
        write(path, &lines)?;
        session.notice(&format!("Wrote {} lines to {}.", lines.len(), path.display()));
    }
    let summary = use_log::by_month(&lines);
    let answer = UseLogJson {
        summary: &summary,
        lines: &lines,
    };
    session.answer(&answer, |page| report::use_log::show(&answer, arguments.most, page))?;
    Ok(Outcome::Answered)
}

fn write(path: &std::path::Path, lines: &[use_log::LogLine]) -> Result<(), Failure> {
    let is_sheet = match path
        .extension()
        .and_then(|it| it.to_str())
        .map(str::to_lowercase)
        .as_deref()
    {
        Some("csv") => false,
        Some("xlsx") => true,
        _ => {
            return Err(Failure::usage("format", "the log is written as .csv or .xlsx")
                .at("--output")
                .hint("name the file with one of these endings"));
        }
    };
    let failed = |error: std::io::Error| file_failure("write", path, &error);
    let mut file = std::fs::File::create(path).map_err(failed)?;
    let table = if is_sheet {
        table_out::xlsx(&mut file, "use log", &use_log::HEADINGS)
    } else {
        table_out::csv(&mut file, &use_log::HEADINGS)
    };
    table.and_then(|table| use_log::write(lines, table)).map_err(failed)
}
