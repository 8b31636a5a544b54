//! `biot review`: the drafts that wait, and blind second keying.

use super::change::ChangeOptions;
use super::statement::{self, StatementOptions};
use super::{Failure, Outcome, Session, args};
use crate::audit::Settings;
use crate::library::{Access, EntryId};
use crate::report;
use crate::report::review::{KeyedJson, PlaceJson, WaitingJson, WaitingListJson};
use crate::tasks::review;
use clap::Args;

/// Arguments of `biot review`.
#[derive(Debug, Args)]
#[command(after_help = "Examples:\n  \
    biot review                                              drafts that wait, oldest first, with their findings\n  \
    biot review 345                                          where its print is; at a terminal it asks what is printed\n  \
    biot review 345 --text \"[α]D20 −61.2 (c 1.0, EtOH)\" --by \"B. Second\"\n  \
    biot review 345 --value -61.2 --temperature 20 --line D --solvent EtOH --concentration 1.0 --confirm\n\n\
    The second keyer reads the print at the source and is not shown what was keyed first; both keyings are then compared \
    field by field. Where they agree the entry may be confirmed; where they differ it stays a draft with the differences \
    until it is mended or keyed again. Exit code 5 when they differ.")]
pub struct ReviewArguments {
    /// Number of the draft to key a second time; the waiting drafts are listed when none is named
    #[arg(value_parser = args::entry, value_name = "ENTRY")]
    pub entry: Option<EntryId>,
    /// Printed text; it is read, and the options below overrule what is read
    #[arg(long, requires = "entry", value_name = "TEXT", help_heading = "What is printed")]
    pub text: Option<String>,
    /// The fields of the statement
    #[command(flatten)]
    pub statement: StatementOptions,
    /// Confirm the entry when both keyings agree
    #[arg(long, requires = "entry", help_heading = "The second keying")]
    pub confirm: bool,
    /// The first keyer keys again: why that will do; it is recorded
    #[arg(long, requires = "entry", value_name = "REASON", help_heading = "The second keying")]
    pub same_person: Option<String>,
    /// List at most this many drafts; 0 lists all
    #[arg(long, default_value_t = 50, value_name = "NUMBER", help_heading = "What is listed")]
    pub limit: usize,
    /// Who and why
    #[command(flatten)]
    pub change: ChangeOptions,
}

/// Lists the drafts, or keys one a second time.
pub fn run(arguments: &ReviewArguments, session: &mut Session) -> Result<Outcome, Failure> {
    let Some(entry) = arguments.entry else {
        return list(arguments, session);
    };
    let mut text = arguments.text.clone();
    if text.is_none() && arguments.statement.is_empty() {
        let library = session.library(Access::Read)?;
        let place = PlaceJson::from(&review::place(&library, entry)?);
        drop(library);
        session.answer(&place, |page| report::review::place(&place, page))?;
        text = session.ask("What is printed there?");
        if text.is_none() {
            session.notice("Give what is printed with --text, or field by field.");
            return Ok(Outcome::Answered);
        }
    }
    let statement = statement::read(text.as_deref(), &arguments.statement)?;
    let mut library = session.library(Access::Write)?;
    let keyed = review::key_again(
        &mut library,
        entry,
        &statement,
        arguments.confirm,
        arguments.same_person.as_deref(),
        &arguments.change.change(),
    )?;
    let keyed = KeyedJson::from(&keyed);
    session.answer(&keyed, |page| report::review::keyed(&keyed, page))?;
    Ok(if keyed.equal {
        Outcome::Answered
    } else {
        Outcome::WithFindings
    })
}

fn list(arguments: &ReviewArguments, session: &mut Session) -> Result<Outcome, Failure> {
    if !arguments.statement.is_empty() {
        return Err(Failure::usage("entry", "a second keying needs the number of its entry")
            .hint("biot review lists the drafts that wait"));
    }
    let library = session.library(Access::Read)?;
    let limit = if arguments.limit == 0 {
        usize::MAX
    } else {
        arguments.limit
    };
    let waiting = review::waiting(&library, limit, &Settings::default())?;
    let list = WaitingListJson {
        drafts: library.n_drafts()?,
        waiting: waiting.iter().map(WaitingJson::from).collect(),
    };
    session.answer(&list, |page| report::review::waiting(&list, page))?;
    Ok(Outcome::Answered)
}
