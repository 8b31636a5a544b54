//! `biot restore`: puts a backup in the place of the library.

use super::{Failure, Outcome, Session};
use crate::library::Library;
use crate::report::{self, json::CopyJson};
use clap::Args;
use std::path::PathBuf;

/// Arguments of `biot restore`.
#[derive(Debug, Args)]
#[command(after_help = "Examples:\n  \
    biot restore library-2026-11-25.biot\n  \
    biot restore library-2026-11-25.biot --library group.biot\n\n\
    The backup is checked before anything changes, and the library that is replaced is kept beside it.")]
pub struct RestoreArguments {
    /// Backup to restore
    #[arg(value_name = "FILE")]
    pub file: PathBuf,
}

/// Restores the backup.
pub fn run(arguments: &RestoreArguments, session: &mut Session) -> Result<Outcome, Failure> {
    let path = session.library_path()?;
    let copy = Library::restore(&path, &arguments.file)?;
    session.answer(&CopyJson::from(&copy), |page| {
        page.paragraph(&format!(
            "Restored {} from {}.",
            path.display(),
            arguments.file.display()
        ));
        if let Some(aside) = &copy.kept_aside {
            page.paragraph(&format!("The library that was there is kept as {}.", aside.display()));
        }
        report::care::counts("The library was read back and holds", &copy.counts, page);
    })?;
    Ok(Outcome::Answered)
}
