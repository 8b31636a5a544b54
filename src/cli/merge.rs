//! `biot merge`: two compounds of the library become one.

use super::change::ChangeOptions;
use super::{Failure, Outcome, Session, choose};
use crate::library::Access;
use crate::report::{self, json::MergeJson};
use crate::tasks::{curate, show};
use clap::Args;

/// Arguments of `biot merge`.
#[derive(Debug, Args)]
#[command(after_help = "Examples:\n  \
    biot merge 812 12                   shows what would move from compound 812 to compound 12\n  \
    biot merge 812 12 --yes --why \"same substance under two names\"\n\n\
    The entries, names and CAS numbers of the first compound move to the second; its number leads there from then on. \
    Without --yes nothing is changed, except that a person at a terminal is asked.")]
pub struct MergeArguments {
    /// Compound that ends: name, CAS number, InChIKey or number
    #[arg(value_name = "COMPOUND")]
    pub from: String,
    /// Compound that stays
    #[arg(value_name = "INTO")]
    pub into: String,
    /// Merge without asking
    #[arg(long)]
    pub yes: bool,
    /// Who and why
    #[command(flatten)]
    pub change: ChangeOptions,
}

/// Shows what would move, and moves it when told to.
pub fn run(arguments: &MergeArguments, session: &mut Session) -> Result<Outcome, Failure> {
    let mut library = session.library(Access::Write)?;
    let from = choose::compound(&library, &arguments.from, session)?;
    let into = choose::compound(&library, &arguments.into, session)?;
    if from == into {
        return Err(Failure::usage(
            "same-compound",
            "both texts name the same compound, so there is nothing to merge",
        )
        .hint("biot search lists the compounds with their numbers"));
    }
    let (from, into) = (show::show(&library, from)?, show::show(&library, into)?);
    if arguments.yes {
        for warning in report::merge::warnings(&from.compound, &into.compound) {
            session.warn(&warning);
        }
    } else if session.can_ask() {
        session.tell(|page| report::merge::plan(&from, &into, page));
        let answer = session.ask("Merge them? yes or no:");
        if !matches!(answer.as_deref(), Some("yes" | "y")) {
            session.notice("Nothing was changed.");
            return Ok(Outcome::Answered);
        }
    } else {
        session.answer(&MergeJson::new(&from, &into, false), |page| {
            report::merge::plan(&from, &into, page);
            page.paragraph("Nothing was changed; --yes merges them.");
        })?;
        return Ok(Outcome::Answered);
    }
    curate::merge(
        &mut library,
        from.compound.id,
        into.compound.id,
        &arguments.change.change(),
    )?;
    session.answer(&MergeJson::new(&from, &into, true), |page| {
        page.paragraph(&format!(
            "Merged {} (compound {}) into {} (compound {}).",
            from.compound.name, from.compound.id, into.compound.name, into.compound.id
        ));
    })?;
    Ok(Outcome::Answered)
}
