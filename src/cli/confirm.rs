//! `biot confirm`: a draft becomes a confirmed entry after a second look.

use super::change::ChangeOptions;
use super::{Failure, Outcome, Session, args};
use crate::library::{Access, EntryId};
use crate::report::{self, json::EntryJson};
use crate::tasks::review;
use clap::Args;

/// Arguments of `biot confirm`.
#[derive(Debug, Args)]
#[command(after_help = "Examples:\n  \
    biot confirm 345 --why \"read again against page 112\"")]
pub struct ConfirmArguments {
    /// Number of the entry, as biot show lists it
    #[arg(value_parser = args::entry, value_name = "ENTRY")]
    pub entry: EntryId,
    /// Confirm it although the second keying differs; give --why
    #[arg(long, requires = "why")]
    pub despite_differences: bool,
    /// Who and why
    #[command(flatten)]
    pub change: ChangeOptions,
}

/// Confirms the draft.
pub fn run(arguments: &ConfirmArguments, session: &mut Session) -> Result<Outcome, Failure> {
    let mut library = session.library(Access::Write)?;
    let entry = review::confirm(
        &mut library,
        arguments.entry,
        arguments.despite_differences,
        &arguments.change.change(),
    )?;
    session.answer(&EntryJson::from(&entry), |page| {
        page.paragraph(&format!(
            "Confirmed entry {}: {}",
            entry.id,
            report::entry::sentence(&entry)
        ));
    })?;
    Ok(Outcome::Answered)
}
