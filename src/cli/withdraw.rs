//! `biot withdraw`: takes an entry out of use, with a reason; nothing is deleted.

use super::{Failure, Outcome, Session, args, change};
use crate::library::{Access, Change, EntryId};
use crate::report::{self, json::EntryJson};
use crate::tasks::curate;
use clap::Args;

/// Arguments of `biot withdraw`.
#[derive(Debug, Args)]
#[command(after_help = "Examples:\n  \
    biot withdraw 345 --why \"printed for the hydrochloride, not for the base\"\n\n\
    The entry stays in the library and its history; it is listed by biot show and never pooled.")]
pub struct WithdrawArguments {
    /// Number of the entry, as biot show lists it
    #[arg(value_parser = args::entry, value_name = "ENTRY")]
    pub entry: EntryId,
    /// Why it is withdrawn
    #[arg(long, required = true, value_name = "TEXT")]
    pub why: String,
    /// Who withdraws it; the default is $BIOT_USER, or the system's user
    #[arg(long, value_name = "NAME")]
    pub by: Option<String>,
}

/// Withdraws the entry.
pub fn run(arguments: &WithdrawArguments, session: &mut Session) -> Result<Outcome, Failure> {
    let mut library = session.library(Access::Write)?;
    let change = Change::now(change::who(arguments.by.as_deref()), &arguments.why);
    let entry = curate::withdraw(&mut library, arguments.entry, &change)?;
    session.answer(&EntryJson::from(&entry), |page| {
        page.paragraph(&format!(
            "Withdrew entry {}: {}",
            entry.id,
            report::entry::sentence(&entry)
        ));
    })?;
    Ok(Outcome::Answered)
}
