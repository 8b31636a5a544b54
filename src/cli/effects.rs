//! `biot effects`: what pairs of values tell of the effects of conditions.

use super::check::effects_in;
use super::{Failure, Outcome, Session};
use crate::compare::EffectTable;
use crate::library::Access;
use crate::report::selfcheck::{self as report, EffectsJson};
use crate::tasks::selfcheck::learn_effects;
use crate::tasks::share::{self, ShareError};
use clap::Args;
use indicatif::ProgressBar;
use std::io::Write;
use std::path::PathBuf;

/// Arguments of `biot effects`.
#[derive(Debug, Args)]
#[command(after_help = "Examples:\n  \
    biot effects\n  \
    biot effects --output ours.csv && biot check sucrose --value 66.4 --effects ours.csv\n\n\
    Pairs of values of one compound that differ in one condition only tell how much that condition moves a rotation. One \
    vote a compound; where fewer than ten compounds have a vote, the built-in table still counts. The library is not \
    changed, and the built-in table stays in use unless a command is given another.")]
pub struct EffectsArguments {
    /// File for the re-estimated table, CSV
    #[arg(long, value_name = "FILE")]
    pub output: Option<PathBuf>,
    /// Replace an existing file
    #[arg(long, requires = "output")]
    pub overwrite: bool,
    /// Table to start from in the place of the program's own
    #[arg(long, value_name = "FILE")]
    pub effects: Option<PathBuf>,
}

/// Re-estimates the effects.
pub fn run(arguments: &EffectsArguments, session: &mut Session) -> Result<Outcome, Failure> {
    let starting = effects_in(arguments.effects.as_deref())?.unwrap_or_else(EffectTable::starting);
    let library = session.library(Access::Read)?;
    let bar = if session.shows_progress() {
        ProgressBar::no_length()
    } else {
        ProgressBar::hidden()
    };
    let result = learn_effects(&library, &starting, &mut |done| bar.set_position(done));
    bar.finish_and_clear();
    let made = result?;
    if let Some(path) = &arguments.output {
        share::write_file(path, arguments.overwrite, |file| {
            file.write_all(made.table.to_csv().as_bytes())
                .map_err(|source| ShareError::File {
                    doing: "write",
                    path: path.clone(),
                    source,
                })
        })
        .map_err(|error| Failure::from(error).hint("choose another file name, or give --overwrite"))?;
    }
    let json = EffectsJson::new(&made, arguments.output.as_ref().map(|path| path.display().to_string()));
    session.answer(&json, |page| report::effects(&json, page))?;
    Ok(Outcome::Answered)
}
