//! `biot info`: which program, which library, and what it holds.

use super::{Failure, Outcome, Session};
use crate::library::{Access, versions};
use crate::report::{self, json::InfoJson};
use crate::tasks::care;
use clap::Args;

/// Arguments of `biot info`.
#[derive(Debug, Args)]
#[command(after_help = "Examples:\n  \
    biot info                           versions, place of the library, counts\n  \
    biot info --json --library group.biot\n  \
    biot info --check                   also checks every page, reference and line of the history")]
pub struct InfoArguments {
    /// Check every page, reference and line of the history; reads the whole file
    #[arg(long)]
    pub check: bool,
}

/// Shows the versions and counts. With `--check`, something found is exit code 5.
pub fn run(arguments: &InfoArguments, session: &mut Session) -> Result<Outcome, Failure> {
    let library = session.library(Access::Read)?;
    let counts = care::statistics(&library)?;
    let health = arguments.check.then(|| care::check(&library)).transpose()?;
    let info = InfoJson {
        program: env!("CARGO_PKG_VERSION"),
        versions: versions(),
        library: library.path(),
        bytes: std::fs::metadata(library.path()).ok().map(|metadata| metadata.len()),
        counts,
        problems: health.as_ref().map(report::care::problems),
    };
    session.answer(&info, |page| report::care::info(&info, page))?;
    match &info.problems {
        Some(problems) if !problems.is_empty() => Ok(Outcome::WithFindings),
        _ => Ok(Outcome::Answered),
    }
}
