//! `biot show`: everything the library knows of one compound.

use super::{Failure, Outcome, Session, choose};
use crate::library::Access;
use crate::report::{self, json::ShowJson};
use crate::tasks;
use clap::Args;

/// Arguments of `biot show`.
#[derive(Debug, Args)]
#[command(after_help = "Examples:\n  \
    biot show \"(R)-carvone\"             its names, mirror image, values with conditions and sources, limits\n  \
    biot show 6485-40-1                 by CAS number; an InChIKey will do too\n  \
    biot show 12                        by the number that biot search lists\n  \
    biot show L-alanine --json")]
pub struct ShowArguments {
    /// Name, CAS number, InChIKey, or number of the compound in this library
    #[arg(required = true, value_name = "COMPOUND")]
    pub compound: Vec<String>,
}

/// Shows the compound.
pub fn run(arguments: &ShowArguments, session: &mut Session) -> Result<Outcome, Failure> {
    let library = session.library(Access::Read)?;
    let compound = choose::compound(&library, &arguments.compound.join(" "), session)?;
    let shown = tasks::show::show(&library, compound)?;
    session.answer(&ShowJson::from(&shown), |page| report::compound::show(&shown, page))?;
    Ok(Outcome::Answered)
}
