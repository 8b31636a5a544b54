//! `biot selfcheck`: the model held against the library itself.

use super::check::settings_with;
use super::{Failure, Outcome, Session};
use crate::compare::EffectTable;
use crate::library::Access;
use crate::report::selfcheck::{self as report, SelfCheckJson};
use crate::tasks::selfcheck::{SelfCheckRequest, self_check};
use clap::Args;
use indicatif::ProgressBar;
use std::path::PathBuf;

/// Arguments of `biot selfcheck`.
#[derive(Debug, Args)]
#[command(after_help = "Examples:\n  \
    biot selfcheck                            how often the intervals hold the library's own values\n  \
    biot selfcheck --re-estimate --json\n  \
    biot selfcheck --effects ours.csv         with a table that biot effects wrote\n\n\
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
    };
    let result = self_check(&library, request, &settings, &mut |done| bar.set_position(done));
    bar.finish_and_clear();
    let made = result?;
    let json = SelfCheckJson::new(&made);
    session.answer(&json, |page| report::self_check(&json, page))?;
    Ok(if json.misses.is_empty() {
        Outcome::Answered
    } else {
        Outcome::WithFindings
    })
}
