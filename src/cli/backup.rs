//! `biot backup`: a verified copy of the library.

use super::{Failure, Outcome, Session};
use crate::library::Access;
use crate::report::{self, json::CopyJson};
use clap::Args;
use std::path::PathBuf;

/// Arguments of `biot backup`.
#[derive(Debug, Args)]
#[command(after_help = "Examples:\n  \
    biot backup library-2026-11-25.biot\n  \
    biot backup /media/disk/library.biot --library group.biot\n\n\
    The copy is read back and counted before it takes its name; an existing file is never overwritten.")]
pub struct BackupArguments {
    /// File to write
    #[arg(value_name = "FILE")]
    pub file: PathBuf,
}

/// Makes the copy.
pub fn run(arguments: &BackupArguments, session: &mut Session) -> Result<Outcome, Failure> {
    let library = session.library(Access::Read)?;
    let copy = library.backup(&arguments.file)?;
    session.answer(&CopyJson::from(&copy), |page| {
        page.paragraph(&format!(
            "Copied {} to {}.",
            library.path().display(),
            copy.copy.display()
        ));
        report::care::counts("The copy was read back and holds", &copy.counts, page);
    })?;
    Ok(Outcome::Answered)
}
