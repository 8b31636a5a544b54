//! `biot import`: values from files into the library.

use super::args;
use super::change::ChangeOptions;
use super::failure::file_failure;
use super::reading::ReadingArguments;
use super::{Failure, Fault, Outcome, Session};
use crate::audit::Settings;
use crate::exchange::mapping::Mapping;
use crate::exchange::record::{Defaults, GivenCompound};
use crate::exchange::references::{self, References};
use crate::exchange::rows::{Format, ReadOptions};
use crate::library::{Access, Hand, Identity, Library, SourceKind};
use crate::report;
use crate::tasks::audit::{self, Flagged};
use crate::tasks::import::{self, ImportError, ImportReport, ImportRequest, RejectsTo};
use crate::tasks::review;
use clap::Args;
use indicatif::{ProgressBar, ProgressStyle};
use std::fs;
use std::io::Write;
use std::path::{Path, PathBuf};

/// Arguments of `biot import`.
#[derive(Debug, Args)]
#[allow(clippy::struct_excessive_bools, reason = "each is a switch a person sets by itself")]
#[command(after_help = "Examples:\n  \
    biot import values.csv --dry-run                          what would be added, joined, refused, and why\n  \
    biot import values.csv --yes --citation \"J. Invented Chem. 1 (2020) 12\"\n  \
    biot import table.xlsx --sheet Rotations --map \"Konz.=conc:mg/mL\" --map \"Nr.=-\" --save-mapping ours.toml\n  \
    biot import next.xlsx --mapping ours.toml --sources refs.bib --new-compounds --yes\n  \
    biot import si.txt --text --compound \"(R)-carvone\" --doi 10.1000/xyz --dry-run\n\n\
    A terminal shows the dry run first and asks; elsewhere --dry-run or --yes is needed. Columns are known by their \
    headings (name, cas, inchikey, smiles, [α], low, high, T/°C, λ/nm, solvent, c, path_mm, ee, citation, doi …) or \
    mapped; one that is neither is named in the summary. A number without a sign is positive, as in any table; a column \
    sign or sign_stated says otherwise. A cell length needs a unit. Rows that are refused go to FILE.rejects.csv, with \
    line and reason, to be mended and imported again (exit code 5). New entries are drafts; importing a file twice adds \
    nothing.")]
pub struct ImportArguments {
    /// Files: CSV, TSV, XLSX, JSON Lines, CIF, or text
    #[arg(value_name = "FILE", required = true)]
    pub files: Vec<PathBuf>,
    /// Show what would be done, and change nothing
    #[arg(long, conflicts_with = "yes")]
    pub dry_run: bool,
    /// Import without asking
    #[arg(long)]
    pub yes: bool,
    /// Add compounds that the library does not hold
    #[arg(long)]
    pub new_compounds: bool,
    /// File for the rejected rows; it must not exist
    #[arg(long, value_name = "FILE")]
    pub rejects: Option<PathBuf>,

    /// How the file is read
    #[command(flatten)]
    pub reading: ReadingArguments,
    /// Read the file as printed text, as biot read does
    #[arg(long, conflicts_with = "format", help_heading = "How the file is read")]
    pub text: bool,
    /// Save the mapping of this import; the file must not exist
    #[arg(long, value_name = "FILE", help_heading = "How the file is read")]
    pub save_mapping: Option<PathBuf>,

    /// Compound of every row that names none: name, CAS number, InChIKey, InChI, or # and its number
    #[arg(long, value_name = "COMPOUND", help_heading = "For rows that do not say")]
    pub compound: Option<String>,
    /// Citation of the source
    #[arg(long, value_name = "TEXT", help_heading = "For rows that do not say")]
    pub citation: Option<String>,
    /// DOI of the source; its form is checked and nothing is fetched
    #[arg(long, value_name = "DOI", help_heading = "For rows that do not say")]
    pub doi: Option<String>,
    /// Year of the source
    #[arg(long, value_name = "YEAR", help_heading = "For rows that do not say")]
    pub year: Option<i32>,
    /// Where the text was read
    #[arg(long, value_name = "URL", help_heading = "For rows that do not say")]
    pub url: Option<String>,
    /// Kind of the source
    #[arg(long, value_parser = args::words(&args::SOURCE_KINDS, SourceKind::from_word), value_name = "KIND",
          help_heading = "For rows that do not say")]
    pub source_kind: Option<SourceKind>,
    /// RIS or BibTeX file that rows refer to by key or DOI
    #[arg(long, value_name = "FILE", help_heading = "For rows that do not say")]
    pub sources: Option<PathBuf>,
    /// Key of the source in the file of references
    #[arg(
        long,
        requires = "sources",
        value_name = "KEY",
        help_heading = "For rows that do not say"
    )]
    pub reference: Option<String>,
    /// How sure it is that the values belong to their compounds
    #[arg(long, value_parser = args::words(&args::IDENTITIES, Identity::from_word), value_name = "WORD",
          help_heading = "For rows that do not say")]
    pub identity: Option<Identity>,
    /// How it is known which mirror image it is
    #[arg(long, value_parser = args::words(&args::HANDS, Hand::from_word), value_name = "WORD",
          help_heading = "For rows that do not say")]
    pub hand: Option<Hand>,

    /// Who and why
    #[command(flatten)]
    pub change: ChangeOptions,
}

/// Shows what would be done, and does it when told to.
pub fn run(arguments: &ImportArguments, session: &mut Session) -> Result<Outcome, Failure> {
    if !arguments.dry_run && !arguments.yes && !session.can_ask() {
        return Err(
            Failure::usage("nobody-to-ask", "nobody is there to be asked whether to import")
                .hint("--dry-run shows what would be done, --yes imports"),
        );
    }
    let mut request = request(arguments)?;
    let mut library = session.library(Access::Write)?;
    if arguments.dry_run {
        request.is_trial = true;
        let report = import(&mut library, &request, arguments, session)?;
        return answer(&report, &[], arguments, session);
    }
    if !arguments.yes {
        let trial = ImportRequest {
            is_trial: true,
            rejects: RejectsTo::Nowhere,
            ..request.clone()
        };
        let report = import(&mut library, &trial, arguments, session)?;
        session.tell(|page| report::import::summary(&report, page));
        let n = report.added.entries;
        if n == 0 {
            session.notice("There is nothing to add; nothing was changed.");
            return Ok(outcome(&report));
        }
        let answer = session.ask(&format!("Add {n} entries? yes or no:"));
        if !matches!(answer.as_deref(), Some("yes" | "y")) {
            session.notice("Nothing was changed.");
            return Ok(Outcome::Answered);
        }
    }
    let report = import(&mut library, &request, arguments, session)?;
    let findings = findings(&library, &report, session)?;
    answer(&report, &findings, arguments, session)
}

/// Most entries of an import that are audited at once; a larger one is left to `biot audit`.
const MOST_AUDITED: u64 = 5_000;

/// What the audit finds of the entries that came in.
fn findings(library: &Library, report: &ImportReport, session: &mut Session) -> Result<Vec<Flagged>, Failure> {
    let Some(label) = &report.label else {
        return Ok(Vec::new());
    };
    if report.added.entries > MOST_AUDITED {
        session.notice("So many entries are not audited on the way in; biot audit looks at them.");
        return Ok(Vec::new());
    }
    let batches = review::batches(library)?;
    match batches.iter().find(|batch| batch.what == *label) {
        Some(batch) => Ok(audit::of_batch(library, &batch.uid, &Settings::default())?),
        None => Ok(Vec::new()),
    }
}

fn import(
    library: &mut Library,
    request: &ImportRequest,
    arguments: &ImportArguments,
    session: &Session,
) -> Result<ImportReport, Failure> {
    let bar = if session.shows_progress() {
        let style = ProgressStyle::with_template("{bar:40} {bytes} of {total_bytes}, {eta} left");
        ProgressBar::new(0).with_style(style.unwrap_or_else(|_| ProgressStyle::default_bar()))
    } else {
        ProgressBar::hidden()
    };
    let result = import::import(library, request, &arguments.change.change(), &mut |done, total| {
        bar.set_length(total);
        bar.set_position(done);
    });
    bar.finish_and_clear();
    Ok(result?)
}

fn answer(
    report: &ImportReport,
    findings: &[Flagged],
    arguments: &ImportArguments,
    session: &mut Session,
) -> Result<Outcome, Failure> {
    if let (Some(path), Some(file)) = (&arguments.save_mapping, report.files.first()) {
        save_mapping(path, &Mapping::of(&file.assignment))?;
    }
    session.answer(&report::import::ImportJson::new(report, findings), |page| {
        report::import::summary(report, page);
        report::import::findings(findings, page);
    })?;
    Ok(if findings.is_empty() {
        outcome(report)
    } else {
        Outcome::WithFindings
    })
}

fn outcome(report: &ImportReport) -> Outcome {
    if report.rejected > 0 || !report.foreseen.is_empty() {
        Outcome::WithFindings
    } else {
        Outcome::Answered
    }
}

fn request(arguments: &ImportArguments) -> Result<ImportRequest, Failure> {
    let format = if arguments.text {
        Some(Format::Text)
    } else {
        arguments.reading.format.map(Format::from)
    };
    if format == Some(Format::Text) && arguments.compound.is_none() {
        return Err(Failure::usage(
            "no-compound",
            "printed text does not say which compound its rotations are of",
        )
        .at("--compound")
        .hint("name the compound with --compound, and the source with --citation or --doi"));
    }
    if arguments.rejects.is_some() && arguments.files.len() > 1 {
        return Err(
            Failure::usage("rejects", "one file of rejects cannot serve several imported files")
                .at("--rejects")
                .hint("leave --rejects out: each file gets its own rejects file beside it"),
        );
    }
    for path in [&arguments.rejects, &arguments.save_mapping].into_iter().flatten() {
        if path.exists() {
            return Err(
                Failure::usage("file-exists", format!("{} exists already", path.display()))
                    .at(path.display().to_string())
                    .hint("choose another file name"),
            );
        }
    }
    let rejects = match &arguments.rejects {
        Some(path) => RejectsTo::File(path.clone()),
        None if arguments.dry_run => RejectsTo::Nowhere,
        None => RejectsTo::Beside,
    };
    Ok(ImportRequest {
        files: arguments.files.clone(),
        options: ReadOptions {
            format,
            ..arguments.reading.options()
        },
        mapping: arguments.reading.mapping()?,
        defaults: defaults(arguments)?,
        may_add_compounds: arguments.new_compounds,
        is_trial: false,
        rejects,
    })
}

fn defaults(arguments: &ImportArguments) -> Result<Defaults, Failure> {
    let doi = arguments.doi.as_deref().map(references::doi).transpose();
    let doi = doi.map_err(|error| Failure::usage("doi", error.to_string()).at("--doi"))?;
    let references = match &arguments.sources {
        None => References::default(),
        Some(path) => {
            let text = fs::read_to_string(path).map_err(|error| file_failure("read", path, &error))?;
            References::read(&text).map_err(|error| {
                Failure::usage("references", "")
                    .told(&error.to_string())
                    .at(path.display().to_string())
            })?
        }
    };
    Ok(Defaults {
        compound: arguments
            .compound
            .as_deref()
            .map(GivenCompound::from_text)
            .unwrap_or_default(),
        citation: arguments.citation.clone(),
        doi,
        year: arguments.year,
        url: arguments.url.clone(),
        source_kind: arguments.source_kind,
        reference: arguments.reference.clone(),
        references,
        identity: arguments.identity,
        hand: arguments.hand,
    })
}

fn save_mapping(path: &Path, mapping: &Mapping) -> Result<(), Failure> {
    let text = mapping.to_toml()?;
    let mut file = fs::File::create_new(path).map_err(|error| file_failure("create", path, &error))?;
    file.write_all(text.as_bytes())
        .map_err(|error| file_failure("write", path, &error))
}

impl From<ImportError> for Failure {
    fn from(error: ImportError) -> Self {
        match error {
            ImportError::Library(error) => error.into(),
            ImportError::Mapping(error) => error.into(),
            ImportError::Read(error) => error.into(),
            ImportError::Rejects { ref path, .. } => {
                let place = path.display().to_string();
                Self::new(Fault::Usage, "rejects", "")
                    .told(&error.to_string())
                    .at(place)
            }
        }
    }
}
