//! `biot undo`: takes back the last import.

use super::change::ChangeOptions;
use super::{Failure, Outcome, Session};
use crate::library::Access;
use crate::report;
use crate::report::review::{BatchJson, UndoJson};
use crate::tasks::review;
use clap::Args;

/// Arguments of `biot undo`.
#[derive(Debug, Args)]
#[command(after_help = "Examples:\n  \
    biot undo                          what taking back the last import would do; asks at a terminal\n  \
    biot undo --yes --why \"wrong file\"\n  \
    biot undo --list                   every import, newest first\n\n\
    Entries of the import that were changed or keyed again since are named and stay. What the others held stays in the \
    history. The starter entries are no import.")]
pub struct UndoArguments {
    /// Take the import back without asking
    #[arg(long)]
    pub yes: bool,
    /// List every import
    #[arg(long, conflicts_with = "yes")]
    pub list: bool,
    /// Who and why
    #[command(flatten)]
    pub change: ChangeOptions,
}

/// Takes the last import back.
pub fn run(arguments: &UndoArguments, session: &mut Session) -> Result<Outcome, Failure> {
    if arguments.list {
        let library = session.library(Access::Read)?;
        let batches: Vec<BatchJson> = review::batches(&library)?.iter().map(BatchJson::from).collect();
        session.answer(&batches, |page| report::review::batches(&batches, page))?;
        return Ok(Outcome::Answered);
    }
    let library = session.library(Access::Read)?;
    let preview = review::undo_preview(&library)?;
    drop(library);
    let planned = UndoJson::new(&preview, false);
    let is_wanted = arguments.yes || {
        if session.can_ask() {
            session.tell(|page| report::review::undo(&planned, page));
        }
        session
            .ask("Take it back? yes, or Enter to stop:")
            .is_some_and(|answer| answer.eq_ignore_ascii_case("yes") || answer.eq_ignore_ascii_case("y"))
    };
    if !is_wanted {
        session.answer(&planned, |page| report::review::undo(&planned, page))?;
        session.notice("Nothing was changed; --yes takes it back.");
        return Ok(Outcome::Answered);
    }
    let mut library = session.library(Access::Write)?;
    let report = review::undo(&mut library, &preview.batch.uid, &arguments.change.change())?;
    let done = UndoJson::new(&report, true);
    session.answer(&done, |page| report::review::undo(&done, page))?;
    Ok(Outcome::Answered)
}
