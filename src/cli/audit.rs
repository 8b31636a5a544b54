//! `biot audit`: what in the library is probably wrong.

use super::change::ChangeOptions;
use super::{Failure, Outcome, Session, args, choose};
use crate::audit::{Code, Settings, Severity};
use crate::library::{Access, CompoundId, Library};
use crate::report;
use crate::report::audit::{AuditJson, FindingJson};
use crate::tasks::audit::{self, Flagged};
use clap::Args;

/// Arguments of `biot audit`.
#[derive(Debug, Args)]
#[command(after_help = "Examples:\n  \
    biot audit                                          everything that is suspicious, with a summary by kind\n  \
    biot audit \"L-menthol\"                              one compound\n  \
    biot audit --severity high                          only what would lead checks astray\n  \
    biot audit --code sign-flip --code power-of-ten --json\n  \
    biot audit --accept 3f9c01d27ab4 --why \"read again: the sign does change in pyridine\"\n  \
    biot audit --all                                    accepted findings too\n\n\
    A finding is looked into by a person: mend the entry with biot edit, keep it out with biot edit --keep-out, withdraw \
    it, or accept the finding. An accepted finding stays quiet until one of its entries changes. Exit code 5 when findings \
    are open.")]
pub struct AuditArguments {
    /// Compound: name, CAS number, InChIKey, or its number in this library; all when none is named
    #[arg(value_name = "COMPOUND")]
    pub compound: Vec<String>,
    /// Only findings of at least this severity
    #[arg(long, value_parser = args::words(&["low", "medium", "high"], Severity::from_word), default_value = "low", value_name = "SEVERITY", help_heading = "What is listed")]
    pub severity: Severity,
    /// Only findings of this kind; may be given several times
    #[arg(long, value_parser = args::words(Code::WORDS, Code::from_word), value_name = "KIND", help_heading = "What is listed")]
    pub code: Vec<Code>,
    /// List accepted findings too
    #[arg(long, help_heading = "What is listed")]
    pub all: bool,
    /// Judge the values of entries that are kept out of pooling too
    #[arg(long, help_heading = "What is listed")]
    pub kept_out: bool,
    /// List at most this many findings; 0 lists all (JSON always holds all)
    #[arg(long, default_value_t = 100, value_name = "NUMBER", help_heading = "What is listed")]
    pub limit: usize,
    /// Accept the finding with this id, or with an id that begins so; give --why
    #[arg(long, requires = "why", value_name = "FINDING", help_heading = "Accepting")]
    pub accept: Option<String>,
    /// Open an accepted finding again
    #[arg(long, conflicts_with = "accept", value_name = "FINDING", help_heading = "Accepting")]
    pub reopen: Option<String>,
    /// Who and why
    #[command(flatten)]
    pub change: ChangeOptions,
}

/// Audits the library or one compound.
pub fn run(arguments: &AuditArguments, session: &mut Session) -> Result<Outcome, Failure> {
    let settings = Settings {
        judge_kept_out: arguments.kept_out,
        ..Settings::default()
    };
    let writes = arguments.accept.is_some() || arguments.reopen.is_some();
    let mut library = session.library(if writes { Access::Write } else { Access::Read })?;
    if let Some(id) = &arguments.reopen {
        audit::reopen(&mut library, id, &arguments.change.change())?;
        session.answer(&serde_json::json!({"reopened": id}), |page| {
            page.paragraph(&format!("Finding {id} is open again."));
        })?;
        return Ok(Outcome::Answered);
    }
    let compound = named_compound(&arguments.compound, &library, session)?;
    if let Some(id) = &arguments.accept {
        if id.len() < SHORTEST_ID {
            return Err(
                Failure::usage("finding", format!("\"{id}\" is too short for the id of a finding"))
                    .at("--accept")
                    .hint("biot audit lists the ids"),
            );
        }
        let flagged = audit::accept(&mut library, id, compound, &settings, &arguments.change.change())?;
        let finding = FindingJson::from(&flagged);
        session.answer(&finding, |page| {
            page.paragraph("Accepted; it stays quiet until one of its entries changes:");
            report::audit::one(&finding, page);
        })?;
        return Ok(Outcome::Answered);
    }
    let mut found: Vec<Flagged> = Vec::new();
    let mut visit = |flagged: Flagged| {
        let is_wanted = flagged.severity >= arguments.severity
            && (arguments.code.is_empty() || arguments.code.contains(&flagged.code));
        if is_wanted {
            found.push(flagged);
        }
    };
    let scope = match compound {
        Some(compound) => audit::of_compound(&library, compound, &settings, &mut visit)?,
        None => audit::of_library(&library, &settings, &mut visit)?,
    };
    let answer = AuditJson::new(scope, found, arguments.all);
    let most = if arguments.limit == 0 {
        usize::MAX
    } else {
        arguments.limit
    };
    session.answer(&answer, |page| report::audit::show(&answer, most, page))?;
    Ok(if answer.open > 0 {
        Outcome::WithFindings
    } else {
        Outcome::Answered
    })
}

/// Fewer digits than this name too many findings.
const SHORTEST_ID: usize = 4;

fn named_compound(words: &[String], library: &Library, session: &mut Session) -> Result<Option<CompoundId>, Failure> {
    if words.is_empty() {
        return Ok(None);
    }
    choose::compound(library, &words.join(" "), session).map(Some)
}
