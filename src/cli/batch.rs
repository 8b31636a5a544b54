//! `biot check --batch`: a table of measured values.

use super::check::CheckArguments;
use super::reading::ReadingArguments;
use super::{Failure, Outcome, Session};
use crate::compare::Conditions;
use crate::library::Access;
use crate::report::batch::{self as report, AnswerFormat, BatchJson, JsonAnswers, TableAnswers};
use crate::statement::Stage;
use crate::tasks::batch::{self, Answers, BatchError, BatchReport, BatchRequest};
use crate::tasks::check::CheckSettings;
use crate::tasks::share::{self, ShareError};
use clap::{Args, ValueEnum};
use indicatif::{ProgressBar, ProgressStyle};
use std::io::{self, Write};
use std::path::{Path, PathBuf};

/// Options of a batch.
#[derive(Debug, Args)]
pub struct BatchArguments {
    /// Table of measured values: CSV, XLSX or JSON Lines with the columns id, compound, value (or observed with path),
    /// uncertainty, solvent, conc (or mass and volume), density, temp, line, blank, form, basis, stage, ee (or er, 98:2),
    /// ee_uncertainty, ee_method, or some of them
    #[arg(long, value_name = "FILE", help_heading = "A table of measurements")]
    pub batch: Option<PathBuf>,
    /// File for the answers, or - for standard output, the default
    #[arg(
        long,
        value_name = "FILE",
        requires = "batch",
        help_heading = "A table of measurements"
    )]
    pub output: Option<PathBuf>,
    /// Format of the answers; the default is what the ending of the file says, and csv on standard output
    #[arg(
        long,
        value_name = "FORMAT",
        requires = "batch",
        help_heading = "A table of measurements"
    )]
    pub output_format: Option<OutputWord>,
    /// Replace an existing file
    #[arg(long, requires = "output", help_heading = "A table of measurements")]
    pub overwrite: bool,
    /// Seek what may explain each row that does not agree: the causes of a single check, with their probabilities
    #[arg(long, requires = "batch", help_heading = "A table of measurements")]
    pub causes: bool,
    /// Threads that compute; the default is one on each core
    #[arg(
        long,
        value_name = "NUMBER",
        default_value_t = 0,
        hide_default_value = true,
        requires = "batch",
        help_heading = "A table of measurements"
    )]
    pub threads: usize,
    /// How the table is read
    #[command(flatten)]
    pub reading: ReadingArguments,
}

/// Formats of answers, as typed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum OutputWord {
    /// Table with commas
    Csv,
    /// Spreadsheet
    Xlsx,
    /// One JSON object a line
    Jsonl,
}

impl From<OutputWord> for AnswerFormat {
    fn from(word: OutputWord) -> Self {
        match word {
            OutputWord::Csv => Self::Csv,
            OutputWord::Xlsx => Self::Xlsx,
            OutputWord::Jsonl => Self::JsonLines,
        }
    }
}

impl BatchArguments {
    /// What of the options of a batch is given although none is asked for.
    ///
    /// # Errors
    /// When something is.
    pub fn none(&self) -> Result<(), Failure> {
        if self.reading.is_empty() {
            return Ok(());
        }
        Err(Failure::usage(
            "usage",
            "the options that say how a file is read are of use with --batch FILE only",
        )
        .hint("biot check --help shows the usage"))
    }
}

/// Checks the table.
pub fn run(
    file: &Path,
    arguments: &CheckArguments,
    settings: &CheckSettings,
    session: &mut Session,
) -> Result<Outcome, Failure> {
    let options = &arguments.batch;
    let request = request(file, arguments)?;
    let output = options.output.as_deref().filter(|path| *path != Path::new("-"));
    let format = format(options, output, session)?;
    let library = session.library(Access::Read)?;
    let size = std::fs::metadata(file).map_or(0, |about| about.len());
    let bar = if session.shows_progress() {
        let style = ProgressStyle::with_template("{bar:40} {bytes} of {total_bytes}, {eta} left");
        ProgressBar::new(size).with_style(style.unwrap_or_else(|_| ProgressStyle::default_bar()))
    } else {
        ProgressBar::hidden()
    };
    let mut n_rows = 0u64;
    let mut progress = |bytes| {
        n_rows += 1;
        if n_rows.is_multiple_of(256) {
            bar.set_position(bytes);
        }
    };
    let mut run = |answers: &mut dyn Answers| batch::check_batch(&library, &request, settings, answers, &mut progress);
    let result = if let Some(path) = output {
        share::write_file(path, options.overwrite, |out| {
            write(format, out, &mut run).map_err(Stopped::Batch)
        })
        .map_err(|stopped| match stopped {
            Stopped::Batch(error) => error.into(),
            Stopped::File(error) => Failure::from(error).hint("choose another file name, or give --overwrite"),
        })
    } else {
        let mut out = session.bytes()?;
        write(format, &mut out, &mut run).map_err(Failure::from)
    };
    bar.finish_and_clear();
    let report = result?;
    let json = BatchJson::new(&report, output.map(|path| path.display().to_string()));
    if output.is_some() {
        session.answer(&json, |page| report::summary(&report, page))?;
    } else if session.json() {
        // The document is open behind its answers; the summary closes it.
        let text = serde_json::to_string(&json).map_err(io::Error::from)?;
        session.raw(format!(",\n{}\n", text.trim_start_matches('{')).as_bytes())?;
    } else {
        session.remark(|page| report::summary(&report, page));
    }
    Ok(if report.n_refused() > 0 {
        Outcome::WithFindings
    } else {
        Outcome::Answered
    })
}

/// Why a file of answers was not written.
enum Stopped {
    Batch(BatchError),
    File(ShareError),
}

impl From<ShareError> for Stopped {
    fn from(error: ShareError) -> Self {
        Self::File(error)
    }
}

/// What checks the table and hands out the answers.
type Run<'a> = dyn FnMut(&mut dyn Answers) -> Result<BatchReport, BatchError> + 'a;

fn write(format: Output, out: &mut (dyn Write + Send), run: &mut Run<'_>) -> Result<BatchReport, BatchError> {
    let report = match format {
        Output::Table(format) => {
            let mut answers = TableAnswers::new(out, format);
            let report = run(&mut answers)?;
            answers.finish()?;
            report
        }
        Output::Lines => {
            let mut answers = JsonAnswers::lines(out);
            let report = run(&mut answers)?;
            answers.finish()?;
            report
        }
        Output::Array => {
            let mut answers = JsonAnswers::document(out);
            let report = run(&mut answers);
            // A document that was begun is closed, also when an error follows it.
            if answers.is_open() {
                answers.finish()?;
                if report.is_err() {
                    out.write_all(b"}\n")?;
                }
            }
            report?
        }
    };
    Ok(report)
}

/// The shape the answers take.
#[derive(Clone, Copy)]
enum Output {
    Table(AnswerFormat),
    Lines,
    /// Elements of an array within the JSON document of the summary.
    Array,
}

fn format(options: &BatchArguments, output: Option<&Path>, session: &Session) -> Result<Output, Failure> {
    let told = options.output_format.map(AnswerFormat::from);
    let Some(path) = output else {
        return match told {
            _ if session.json() => Ok(Output::Array),
            None => Ok(Output::Table(AnswerFormat::Csv)),
            Some(AnswerFormat::JsonLines) => Ok(Output::Lines),
            Some(table) => Ok(Output::Table(table)),
        };
    };
    let ending = path
        .extension()
        .map(|ending| ending.to_string_lossy().to_lowercase())
        .unwrap_or_default();
    let by_name = match ending.as_str() {
        "csv" => Some(AnswerFormat::Csv),
        "xlsx" => Some(AnswerFormat::Xlsx),
        "jsonl" | "ndjson" => Some(AnswerFormat::JsonLines),
        _ => None,
    };
    match told.or(by_name) {
        Some(AnswerFormat::JsonLines) => Ok(Output::Lines),
        Some(table) => Ok(Output::Table(table)),
        None => Err(
            Failure::usage("format", format!("the ending of {} names no format", path.display()))
                .hint("give --output-format csv, xlsx or jsonl"),
        ),
    }
}

fn request(file: &Path, arguments: &CheckArguments) -> Result<BatchRequest, Failure> {
    let measured = &arguments.question.measured;
    let of_one = [
        ("--uncertainty", measured.uncertainty.is_some()),
        ("--cell", measured.cell.is_some()),
        ("--blank", arguments.question.blank.is_some()),
        ("--conc", measured.conc.is_some()),
        ("--mass", measured.mass.is_some()),
        ("--volume", measured.volume.is_some()),
        ("--density", measured.density.is_some()),
        ("--ee", arguments.question.ee.is_some()),
        ("--ee-uncertainty", arguments.question.ee_uncertainty.is_some()),
        ("--mirror-image", arguments.question.mirror_image),
        ("--keep-derived", arguments.keep_derived),
    ];
    if let Some((option, _)) = of_one.into_iter().find(|(_, given)| *given) {
        let hint = match option {
            "--mirror-image" => "name the mirror image, or its structure, in the column of the compound",
            "--keep-derived" => "check that sample alone",
            _ => "give it as a column",
        };
        return Err(Failure::usage("usage", format!("{option} is of one measurement, not of a table")).hint(hint));
    }
    let compound = arguments.compound.join(" ");
    Ok(BatchRequest {
        file: file.to_owned(),
        options: arguments.batch.reading.options(),
        mapping: arguments.batch.reading.mapping()?,
        compound: Some(compound).filter(|text| !text.is_empty()),
        conditions: Conditions {
            stage: arguments.question.stage.as_deref().map(|stage| match stage {
                "initial" => Stage::Initial,
                _ => Stage::Final,
            }),
            basis: arguments.question.basis.clone(),
            ..measured.conditions(None)
        },
        form: arguments.question.form.clone(),
        causes: arguments.batch.causes,
        threads: arguments.batch.threads,
    })
}

impl From<BatchError> for Failure {
    fn from(error: BatchError) -> Self {
        match error {
            BatchError::Read(error) => error.into(),
            BatchError::Mapping(error) => error.into(),
            BatchError::Library(error) => error.into(),
            BatchError::Write(error) => error.into(),
            BatchError::Stopped => Self::usage("output", error.to_string()),
        }
    }
}
