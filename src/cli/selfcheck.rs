//! `biot selfcheck`: the model held against the library itself.

use super::check::settings_with;
use super::failure::file_failure;
use super::reading::ReadingArguments;
use super::{Failure, Outcome, Session};
use crate::compare::EffectTable;
use crate::library::Access;
use crate::report::selfcheck::{self as report, SelfCheckJson, WithJson};
use crate::tasks::import::{ImportReport, ImportRequest};
use crate::tasks::selfcheck::{SelfCheckRequest, self_check, self_check_with};
use clap::Args;
use indicatif::ProgressBar;
use std::path::PathBuf;

/// Arguments of `biot selfcheck`.
#[derive(Debug, Args)]
#[command(after_help = "Examples:\n  \
    biot selfcheck                            how often the intervals hold the library's own values\n  \
    biot selfcheck --re-estimate --json\n  \
    biot selfcheck --effects ours.csv         with a table that biot effects wrote\n  \
    biot selfcheck --with pairs.csv           the values of a file against the library; nothing is stored\n\n\
    Every value is left out with its whole source and every copy of it, and predicted from the values of other sources. \
    Values far outside are findings: a misprint, a salt filed under its base, a solvent that was not printed, or a limit \
    of the model. Nothing is changed.")]
pub struct SelfCheckArguments {
    /// Re-estimate the effects of conditions for each compound, from all other compounds
    #[arg(long)]
    pub re_estimate: bool,
    /// Table of condition effects in the place of the built-in one
    #[arg(long, value_name = "FILE")]
    pub effects: Option<PathBuf>,
    /// Predict the values of this file in the place of the library's, from the library and the other values of the file. It is
    /// read as biot import reads it; nothing is stored, and drafts count as confirmed values do
    #[arg(long, value_name = "FILE")]
    pub with: Vec<PathBuf>,
    /// How the files are read
    #[command(flatten)]
    pub reading: ReadingArguments,
}

/// Checks the library against itself.
pub fn run(arguments: &SelfCheckArguments, session: &mut Session) -> Result<Outcome, Failure> {
    let mut settings = settings_with(arguments.effects.as_deref())?;
    if arguments.re_estimate && arguments.effects.is_none() {
        settings.effects = EffectTable::starting();
    }
    let library = session.library(Access::Read)?;
    let bar = if session.shows_progress() {
        ProgressBar::no_length()
    } else {
        ProgressBar::hidden()
    };
    let request = SelfCheckRequest {
        re_estimate: arguments.re_estimate,
        after: None,
    };
    let mut progress = |done| bar.set_position(done);
    let (imported, made) = if arguments.with.is_empty() {
        if !arguments.reading.is_empty() {
            return Err(Failure::usage(
                "usage",
                "the options that say how a file is read are of use with --with FILE only",
            ));
        }
        (None, self_check(&library, request, &settings, &mut progress)?)
    } else {
        let files = ImportRequest {
            files: arguments.with.clone(),
            options: arguments.reading.options(),
            mapping: arguments.reading.mapping()?,
            may_add_compounds: true,
            ..ImportRequest::default()
        };
        let folder = tempfile::tempdir().map_err(|error| file_failure("write", &std::env::temp_dir(), &error))?;
        let scratch = folder.path().join("copy.biot");
        let (imported, made) = self_check_with(&library, &files, &scratch, request, &settings, &mut progress)?;
        (Some(imported), made)
    };
    bar.finish_and_clear();
    let mut json = SelfCheckJson::new(&made);
    json.with = imported.as_ref().map(with);
    session.answer(&json, |page| report::self_check(&json, page))?;
    Ok(if json.misses.is_empty() {
        Outcome::Answered
    } else {
        Outcome::WithFindings
    })
}

/// What became of the rows of the files.
fn with(imported: &ImportReport) -> WithJson {
    WithJson {
        added: imported.added.entries,
        already_there: imported.present,
        refused: imported.rejected,
        first_refused: imported
            .refusals
            .iter()
            .take(20)
            .map(|row| format!("{} line {}: {}", row.file.display(), row.line, row.refusal.reason))
            .collect(),
    }
}
