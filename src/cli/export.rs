//! `biot export`: entries to a file.

use super::failure::file_failure;
use super::{Failure, Outcome, Session, args, choose};
use crate::exchange::export::{Exported, Format, Selection};
use crate::library::{Access, EntryKind, ReviewState};
use crate::report::share::{self as report, ExportJson};
use crate::tasks::share;
use clap::Args;
use indicatif::ProgressBar;
use std::path::{Path, PathBuf};

/// Entries that are written before a bar of progress is moved.
const STEP: u64 = 500;

/// Arguments of `biot export`.
#[derive(Debug, Args)]
#[command(after_help = "Examples:\n  \
    biot export menthol.csv --compound menthol\n  \
    biot export confirmed.xlsx --state confirmed\n  \
    biot export group.bundle                     everything, for biot take in another library\n  \
    biot export - --format jsonl | head -3\n\n\
    The file appears whole or not at all; an existing one is replaced only with --overwrite. What the format cannot \
    hold is said on standard error. A text that a spreadsheet would run as a formula gets a leading apostrophe, which \
    biot import takes off again.")]
pub struct ExportArguments {
    /// File to write, or - for standard output
    #[arg(value_name = "FILE")]
    pub file: PathBuf,
    /// Format; the default is what the ending of the file says
    #[arg(long, value_name = "FORMAT", value_parser = args::words(&FORMATS, Format::from_word))]
    pub format: Option<Format>,
    /// Only entries of this compound: name, CAS number, InChIKey or number
    #[arg(long, value_name = "COMPOUND")]
    pub compound: Option<String>,
    /// Only entries of this source: DOI, whole citation or stable id
    #[arg(long, value_name = "SOURCE")]
    pub source: Option<String>,
    /// Only entries in this review state
    #[arg(long, value_name = "STATE", value_parser = args::words(&STATES, ReviewState::from_word))]
    pub state: Option<ReviewState>,
    /// Only values or only specifications
    #[arg(long, value_name = "KIND", value_parser = args::words(&KINDS, EntryKind::from_word))]
    pub kind: Option<EntryKind>,
    /// Replace an existing file
    #[arg(long)]
    pub overwrite: bool,
}

/// Words for formats.
const FORMATS: [&str; 5] = ["csv", "xlsx", "cif", "jsonl", "bundle"];
/// Words for review states.
const STATES: [&str; 3] = ["draft", "confirmed", "withdrawn"];
/// Words for kinds of entries.
const KINDS: [&str; 2] = ["value", "specification"];

/// Writes the file and says what it holds and what it does not.
pub fn run(arguments: &ExportArguments, session: &mut Session) -> Result<Outcome, Failure> {
    let file = &arguments.file;
    let format = arguments.format.or_else(|| Format::of_file(file)).ok_or_else(|| {
        Failure::usage("format", format!("the ending of {} names no format", file.display()))
            .hint("give --format csv, xlsx, cif, jsonl or bundle")
    })?;
    let library = session.library(Access::Read)?;
    let selection = Selection {
        compound: match &arguments.compound {
            Some(compound) => Some(choose::compound(&library, compound, session)?),
            None => None,
        },
        source: match &arguments.source {
            Some(source) => Some(share::source(&library, source)?),
            None => None,
        },
        state: arguments.state,
        kind: arguments.kind,
    };
    let bar = session.shows_progress().then(|| ProgressBar::new(0));
    let mut progress = |done: u64, total: u64| {
        if let Some(bar) = bar.as_ref().filter(|_| done.is_multiple_of(STEP)) {
            bar.set_length(total);
            bar.set_position(done);
        }
    };
    let to_stream = file == Path::new("-");
    if !to_stream && file.exists() && !arguments.overwrite {
        return Err(file_failure("write", file, &std::io::ErrorKind::AlreadyExists.into())
            .hint("choose another file name, or replace the file with --overwrite"));
    }
    let exported = if to_stream {
        let mut out = session.bytes()?;
        share::export_to(&library, format, &selection, &mut out, &mut progress)
    } else {
        share::export_file(&library, file, arguments.overwrite, format, &selection, &mut progress)
    };
    if let Some(bar) = bar {
        bar.finish_and_clear();
    }
    let exported = exported?;
    tell(&exported, format, session);
    if to_stream {
        // A closed pipe is noticed here at the latest.
        session.flush()?;
    } else {
        session.answer(&ExportJson::new(file, format, &exported), |page| {
            report::exported(file, &exported, page);
        })?;
    }
    Ok(if exported.left_out.is_empty() {
        Outcome::Answered
    } else {
        Outcome::WithFindings
    })
}

/// Says what the file does not hold.
fn tell(exported: &Exported, format: Format, session: &mut Session) {
    for sentence in report::limits(format) {
        session.notice(&sentence);
    }
    if exported.entries == 0 {
        session.warn("no entry fits the conditions, so the file holds none");
    }
    for left in &exported.left_out {
        session.warn(&format!("entry {}: {}", left.entry, left.reason));
    }
}
