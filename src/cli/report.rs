//! `biot report`: a check, a measurement or a dispersion table as a file for the notebook, the paper or the batch record.

use super::failure::file_failure;
use super::question::QuestionArguments;
use super::{Failure, Outcome, Session, args, choose};
use crate::library::{Access, Library};
use crate::report::document::{self, Document, Form, WriteError};
use crate::report::{self, Page};
use crate::tasks::dispersion::{DispersionRequest, DispersionResult, of_compound, of_file};
use crate::tasks::register::date;
use crate::tasks::report::{self as reports, Labels, ListedCheck};
use crate::tasks::share::write_file;
use clap::{ArgGroup, Args};
use serde::Serialize;
use std::io::Write;
use std::path::{Path, PathBuf};

/// Arguments of `biot report`.
#[derive(Debug, Args)]
#[command(
    override_usage = "biot report COMPOUND (--value NUMBER | --angle ANGLE) [OPTIONS] --output FILE\n       \
                      biot report (--check NAME | --measurement NUMBER | --dispersion WHAT | --list) [OPTIONS]",
    group = ArgGroup::new("reported").args(["value", "angle", "check", "measurement", "dispersion", "list"]).required(true),
    after_help = "Examples:\n  \
    biot report \"L-menthol\" --value -49.1 --solvent EtOH --conc 5 --temp 20 --line D --output menthol.html\n  \
    biot report \"L-menthol\" --value -49.1 --solvent EtOH --conc 5 --temp 20 --line D --output si.tex\n  \
    biot check \"L-menthol\" --value -49.1 --solvent EtOH --temp 20 --line D --keep \"batch 7\"\n  \
    biot report --check \"batch 7\" --output batch7.pdf\n  \
    biot report --measurement 12 --output measurement12.html      with a check where its compound is known\n  \
    biot report --dispersion table.csv --output ord.tex\n  \
    biot report --dispersion sucrose --solvent H2O --at 546 --format md\n  \
    biot report --list                                            the checks kept here\n\n\
    The form follows the ending of the file: .html (a page to look at and to print), .pdf, .md, \
    .tex (tables for supporting information). Without --output it goes to standard output, as Markdown if nothing \
    else is said. Every report names the program, the state of the library, all inputs, and a digest over them and the \
    answer: the same digest means the same question, answer, program and library."
)]
pub struct ReportArguments {
    /// Compound: name, CAS number, InChIKey, SMILES, or its number in this library
    #[arg(value_name = "COMPOUND")]
    pub compound: Vec<String>,
    /// A check kept by biot check --keep, as it was answered then
    #[arg(long, value_name = "NAME", conflicts_with_all = ["compound", "sample", "operator", "note"], help_heading = "What is reported")]
    pub check: Option<String>,
    /// Rotation against wavelength: a table (CSV, XLSX), a JCAMP-DX curve, or a compound of the library
    #[arg(
        long,
        value_name = "FILE or COMPOUND",
        conflicts_with = "compound",
        help_heading = "What is reported"
    )]
    pub dispersion: Option<String>,
    /// Line at which the rotation is wanted by the law; may be given several times
    #[arg(long, value_parser = crate::quantity::parse_line, requires = "dispersion", value_name = "LINE", help_heading = "What is reported")]
    pub at: Vec<crate::quantity::SpectralLine>,
    /// List the checks kept here
    #[arg(long, conflicts_with_all = ["compound", "output", "format"], help_heading = "What is reported")]
    pub list: bool,

    /// What is checked, and how
    #[command(flatten)]
    pub question: QuestionArguments,

    /// Sample, to print
    #[arg(long, value_name = "ID", help_heading = "The report")]
    pub sample: Option<String>,
    /// Who measured, to print
    #[arg(long, value_name = "NAME", help_heading = "The report")]
    pub operator: Option<String>,
    /// A note, to print
    #[arg(long, value_name = "TEXT", help_heading = "The report")]
    pub note: Option<String>,
    /// File that is written; standard output without it
    #[arg(long, visible_alias = "out", value_name = "FILE", help_heading = "The report")]
    pub output: Option<PathBuf>,
    /// Form of the report, where the file's ending does not name it
    #[arg(long, value_parser = args::words(&["html", "pdf", "md", "tex"], Form::from_word), value_name = "FORM", help_heading = "The report")]
    pub format: Option<Form>,
    /// Replace the file if it is there
    #[arg(long, visible_alias = "force", requires = "output", help_heading = "The report")]
    pub overwrite: bool,
}

/// Most kept checks that are listed.
const MOST_LISTED: u32 = 500;

/// What was reported, for `--json`.
#[derive(Debug, Serialize)]
struct Written<'a, T> {
    /// `check`, `measurement` or `dispersion`.
    kind: &'static str,
    /// The file written.
    file: Option<&'a Path>,
    /// The form of the file.
    format: Option<&'static str>,
    /// The day the report was made on.
    made_on: &'a str,
    /// What is reported, with where it comes from.
    report: T,
}

/// A dispersion table with where it comes from.
#[derive(Debug, Serialize)]
struct DispersionReport<'a> {
    provenance: &'a reports::Provenance,
    result: report::dispersion::DispersionJson<'a>,
}

/// Writes the report.
pub fn run(arguments: &ReportArguments, session: &mut Session) -> Result<Outcome, Failure> {
    if arguments.list {
        let library = session.library(Access::Read)?;
        let listed = reports::list(&library, MOST_LISTED)?;
        session.answer(&listed, |page| list(&listed, page))?;
        return Ok(Outcome::Answered);
    }
    let form = form(arguments)?;
    if form == Form::Pdf && arguments.output.is_none() && !session.json() && session.shows_on_terminal() {
        return Err(Failure::usage("output", "a PDF is not written to a terminal").hint("name a file with --output"));
    }
    let labels = Labels {
        sample: arguments.sample.clone(),
        operator: arguments.operator.clone(),
        note: arguments.note.clone(),
    };
    let today = date(time::OffsetDateTime::now_utc().date());
    if let Some(name) = &arguments.check {
        nothing_else(arguments, "a kept check", &[])?;
        return kept(name, form, arguments, session);
    }
    if let Some(what) = &arguments.dispersion {
        nothing_else(arguments, "a dispersion table", &["solvent", "uncertainty"])?;
        return dispersion(what, form, &labels, &today, arguments, session);
    }
    let library = session.library(Access::Read)?;
    let asked = |labels: Labels, library: &Library, session: &mut Session| {
        (arguments.question).question(&arguments.compound, labels, library, session)
    };
    if let Some(id) = arguments.question.measurement {
        let question = if !arguments.compound.is_empty() || library.measurement(id)?.compound.is_some() {
            Some(asked(Labels::default(), &library, session)?)
        } else {
            None
        };
        let made = reports::of_measurement(&library, id, question.as_ref(), &labels)?;
        let document = document::of_measurement(&made, &today);
        return give("measurement", &made, &document, form, arguments, session);
    }
    if arguments.compound.is_empty() {
        return Err(Failure::usage("compound", "no compound is named").hint("biot report COMPOUND --value NUMBER …"));
    }
    let question = asked(labels, &library, session)?;
    let made = reports::of_check(&library, &question)?;
    let document = document::of_check(&made, question.given.as_ref(), None, &today);
    give("check", &made, &document, form, arguments, session)
}

/// Refuses options that a kept check or a dispersion table has no use for.
fn nothing_else(arguments: &ReportArguments, what: &str, allowed: &[&str]) -> Result<(), Failure> {
    let given = arguments.question.given();
    match given.iter().find(|option| !allowed.contains(option)) {
        None => Ok(()),
        Some(option) => Err(Failure::usage(
            "options",
            format!("--{option} says nothing to {what}; leave it out"),
        )),
    }
}

/// The form that is asked for; it must be one that this program can write, before anything else is done.
fn form(arguments: &ReportArguments) -> Result<Form, Failure> {
    let of_file = arguments.output.as_deref().map(|file| {
        Form::of_file(file).ok_or_else(|| {
            Failure::usage("format", format!("the ending of {} names no form", file.display()))
                .hint("end it in .html, .pdf, .md or .tex, or give --format")
        })
    });
    let form = match (arguments.format, of_file) {
        (Some(form), _) => form,
        (None, Some(form)) => form?,
        (None, None) => Form::Md,
    };
    if !form.is_built_in() {
        return Err(WriteError::NotBuiltIn.into());
    }
    if let Some(file) = arguments.output.as_deref()
        && !arguments.overwrite
        && file.exists()
    {
        return Err(file_failure("write", file, &std::io::ErrorKind::AlreadyExists.into())
            .hint("choose another file name, or replace the file with --overwrite"));
    }
    Ok(form)
}

/// A check as it was answered when it was kept.
fn kept(name: &str, form: Form, arguments: &ReportArguments, session: &mut Session) -> Result<Outcome, Failure> {
    let library = session.library(Access::Read)?;
    let kept = library.kept_check(name)?;
    let document = document::of_kept(&kept, reports::changes_since(&library, &kept)?)?;
    give("check", &kept.content["report"], &document, form, arguments, session)
}

fn dispersion(
    what: &str,
    form: Form,
    labels: &Labels,
    today: &str,
    arguments: &ReportArguments,
    session: &mut Session,
) -> Result<Outcome, Failure> {
    let uncertainty = arguments.question.measured.uncertainty;
    let request = DispersionRequest {
        at: arguments.at.clone(),
        uncertainty: uncertainty.map(|u| crate::quantity::SpecificRotation::from_conventional(u.value())),
        ..DispersionRequest::default()
    };
    let solvent = &arguments.question.measured.solvent;
    let path = Path::new(what);
    let mut library = None;
    let made: DispersionResult = if super::dispersion::is_file(path) {
        of_file(path, &request)?
    } else {
        let library = library.insert(session.library(Access::Read)?);
        let compound = choose::compound(library, what, session)?;
        of_compound(library, compound, solvent.as_ref(), &request)?
    };
    let title = path.file_name().map_or(what.into(), |name| name.to_string_lossy());
    let shown = report::dispersion::DispersionJson::new(&made);
    let solvent = solvent.as_ref().map(ToString::to_string);
    let from = reports::of_dispersion(library.as_ref(), &title, solvent.as_deref(), &made, &shown, labels)?;
    let document = document::of_dispersion(&title, &made, &from, today);
    let report = DispersionReport {
        provenance: &from,
        result: shown,
    };
    give("dispersion", &report, &document, form, arguments, session)
}

/// Writes the file, or gives the report on standard output.
fn give<T: Serialize>(
    kind: &'static str,
    report: &T,
    document: &Document,
    form: Form,
    arguments: &ReportArguments,
    session: &mut Session,
) -> Result<Outcome, Failure> {
    let bytes = document.write(form)?;
    if let Some(file) = &arguments.output {
        write_file(file, arguments.overwrite, |to| {
            to.write_all(&bytes)
                .map_err(|error| file_failure("write", file, &error))
        })?;
    } else if !session.json() {
        session.raw(&bytes)?;
        return Ok(Outcome::Answered);
    }
    let written = Written {
        kind,
        file: arguments.output.as_deref(),
        format: arguments.output.as_ref().map(|_| form.word()),
        made_on: &document.made_on,
        report,
    };
    session.answer(&written, |page| {
        if let Some(file) = &arguments.output {
            page.paragraph(&format!("Wrote {}: {}.", file.display(), document.title));
        }
    })?;
    Ok(Outcome::Answered)
}

fn list(listed: &[ListedCheck], page: &mut Page) {
    if listed.is_empty() {
        page.paragraph("No check is kept here; biot check --keep NAME keeps one.");
        return;
    }
    let mut table = report::Table::new(&[
        report::Column::Text("name"),
        report::Column::Word("kept"),
        report::Column::Word("by"),
        report::Column::Text("compound"),
        report::Column::Word("verdict"),
    ]);
    for check in listed {
        table.row([
            check.name.clone(),
            check.at.chars().take(10).collect(),
            check.who.clone(),
            check.compound.clone(),
            check.verdict.clone(),
        ]);
    }
    page.table(&table);
}
