//! `biot edit`: mends an entry; what it was stays in the history.

use super::change::ChangeOptions;
use super::statement::{self, StatementOptions};
use super::{Failure, Outcome, Session, args, choose};
use crate::library::{Access, EntryContent, EntryId, Hand, Identity};
use crate::report::{self, json::EditedJson};
use crate::tasks::curate;
use clap::Args;

/// Arguments of `biot edit`.
#[derive(Debug, Args)]
#[command(after_help = "Examples:\n  \
    biot edit 345 --value -61.2 --why \"the minus was lost\"\n  \
    biot edit 345 --solvent \"EtOH 95%\" --clear temperature\n  \
    biot edit 345 --keep-out \"printed without a sign, contradicts three others\"\n  \
    biot edit 345 --compound \"(S)-carvone\" --identity likely\n\n\
    Only the fields that are given change. Printed data that look wrong are kept as printed and kept out of pooling \
    with a reason, not corrected.")]
pub struct EditArguments {
    /// Number of the entry, as biot show lists it
    #[arg(value_parser = args::entry, value_name = "ENTRY")]
    pub entry: EntryId,
    /// The fields of the statement
    #[command(flatten)]
    pub statement: StatementOptions,
    /// Field to take out: temperature, solvent, ee …; may be given several times
    #[arg(long, value_name = "FIELD", help_heading = "What is printed")]
    pub clear: Vec<String>,
    /// Compound it belongs to: name, CAS number, InChIKey or number
    #[arg(long, value_name = "COMPOUND", help_heading = "How sure it is")]
    pub compound: Option<String>,
    /// How sure it is that the value belongs to the compound
    #[arg(long, value_parser = args::words(&args::IDENTITIES, Identity::from_word), value_name = "WORD", help_heading = "How sure it is")]
    pub identity: Option<Identity>,
    /// How it is known which mirror image it is: independently, or from the printed sign
    #[arg(long, value_parser = args::words(&args::HANDS, Hand::from_word), value_name = "WORD", help_heading = "How sure it is")]
    pub hand: Option<Hand>,
    /// Keep the entry out of pooling, with the reason
    #[arg(long, value_name = "REASON", help_heading = "How sure it is")]
    pub keep_out: Option<String>,
    /// Take the entry into pooling again
    #[arg(long, conflicts_with = "keep_out", help_heading = "How sure it is")]
    pub use_again: bool,
    /// Remark
    #[arg(long, value_name = "TEXT", help_heading = "How sure it is")]
    pub comment: Option<String>,
    /// Revision the edit is based on; refused when the entry was changed since
    #[arg(long, value_name = "NUMBER", help_heading = "For the history")]
    pub based_on: Option<i64>,
    /// Who and why
    #[command(flatten)]
    pub change: ChangeOptions,
}

/// Edits the entry.
pub fn run(arguments: &EditArguments, session: &mut Session) -> Result<Outcome, Failure> {
    let mut library = session.library(Access::Write)?;
    let before = library.entry(arguments.entry)?;
    let mut content = EntryContent::from(before.clone());
    for field in &arguments.clear {
        statement::clear(&mut content.statement, field)?;
    }
    arguments.statement.put(&mut content.statement);
    if let Some(text) = &arguments.compound {
        content.compound = choose::compound(&library, text, session)?;
    }
    content.identity = arguments.identity.unwrap_or(content.identity);
    content.hand = arguments.hand.unwrap_or(content.hand);
    if arguments.use_again {
        content.kept_out = None;
    }
    content.kept_out = arguments.keep_out.clone().or(content.kept_out);
    content.comment = arguments.comment.clone().or(content.comment);
    if content == EntryContent::from(before.clone()) {
        return Err(Failure::usage("nothing-changed", "nothing would change in the entry")
            .at(format!("entry {}", before.id))
            .hint("biot edit --help lists the fields that can be given"));
    }
    let based_on = arguments.based_on.unwrap_or(before.revision);
    let after = curate::edit(&mut library, before.id, based_on, &content, &arguments.change.change())?;
    session.answer(&EditedJson::new(&before, &after), |page| {
        page.paragraph(&format!("Edited entry {} (revision {}).", after.id, after.revision));
        for (label, entry) in [("was", &before), ("is", &after)] {
            let standing = report::entry::standing(entry);
            let standing = if standing.is_empty() {
                String::new()
            } else {
                format!("; {standing}")
            };
            page.field(label, &format!("{}{standing}", report::entry::sentence(entry)));
        }
    })?;
    Ok(Outcome::Answered)
}
