//! `biot history`: who changed what, when and why; and whether the history itself is sound.

use super::{Failure, Outcome, Session, choose};
use crate::library::{Access, EntryId};
use crate::report;
use crate::report::review::{HappeningJson, VerifiedJson};
use crate::tasks::review;
use clap::{ArgGroup, Args};

/// Arguments of `biot history`.
#[derive(Debug, Args)]
#[command(
    group = ArgGroup::new("what").args(["record", "compound", "verify"]).required(true),
    after_help = "Examples:\n  \
    biot history 345                   an entry: how it came, each change field by field, second keyings\n  \
    biot history \"L-menthol\"           a compound and its entries; by name, CAS number or InChIKey\n  \
    biot history --compound 12         a compound by its number\n  \
    biot history --verify              checks the chain of the history; exit code 5 and the place where it breaks\n\n\
    A bare number is an entry. A record that is gone (an import that was taken back) is found by its stable id."
)]
pub struct HistoryArguments {
    /// Entry (its number), compound (name, CAS number, InChIKey), or the stable id of any record
    #[arg(value_name = "ENTRY|COMPOUND")]
    pub record: Vec<String>,
    /// Compound by its number, or as above
    #[arg(long, value_name = "COMPOUND")]
    pub compound: Option<String>,
    /// Check that nothing of the past was changed outside the program
    #[arg(long)]
    pub verify: bool,
}

/// Shows the history.
pub fn run(arguments: &HistoryArguments, session: &mut Session) -> Result<Outcome, Failure> {
    let library = session.library(Access::Read)?;
    if arguments.verify {
        let verified = VerifiedJson::from(&review::verify(&library)?);
        session.answer(&verified, |page| report::review::verified(&verified, page))?;
        return Ok(if verified.sound {
            Outcome::Answered
        } else {
            Outcome::WithFindings
        });
    }
    let typed = arguments.record.join(" ");
    let typed = typed.trim();
    let number: Option<i64> = typed.trim_start_matches('#').parse().ok();
    let happenings = if let Some(compound) = &arguments.compound {
        review::history_of_compound(&library, choose::compound(&library, compound, session)?)?
    } else if let Some(number) = number {
        review::history_of_entry(&library, EntryId(number))?
    } else if is_stable_id(typed) {
        review::history_of_uid(&library, typed)?
    } else {
        review::history_of_compound(&library, choose::compound(&library, typed, session)?)?
    };
    let happenings: Vec<HappeningJson> = happenings.iter().map(HappeningJson::from).collect();
    session.answer(&happenings, |page| report::review::history(&happenings, page))?;
    Ok(Outcome::Answered)
}

/// Whether a text has the form of a stable id (UUID).
fn is_stable_id(text: &str) -> bool {
    text.len() == 36
        && text.bytes().enumerate().all(|(at, b)| {
            if matches!(at, 8 | 13 | 18 | 23) {
                b == b'-'
            } else {
                b.is_ascii_hexdigit()
            }
        })
}
