//! `biot take`: a bundle of another library into this one.

use super::change::ChangeOptions;
use super::{Failure, Outcome, Session, args};
use crate::exchange::take::{Keep, Resolution, Run, Taken};
use crate::library::{Access, Change, Library};
use crate::report::share::{self as report, TakeJson};
use crate::tasks::share;
use clap::Args;
use indicatif::ProgressBar;
use std::path::PathBuf;
use std::time::Duration;

/// Arguments of `biot take`.
#[derive(Debug, Args)]
#[command(after_help = "Examples:\n  \
    biot take group.bundle --dry-run             shows what is new and what differs\n  \
    biot take group.bundle --yes --why \"values of the second group\"\n  \
    biot take group.bundle --dry-run --conflicts-to conflicts.toml\n  \
    biot take group.bundle --yes --conflicts conflicts.toml\n\n\
    Records are known by their stable ids; compounds also by structure, sources by DOI or citation. New records are \
    added, equal ones skipped. Records that differ are conflicts: nothing is changed until each is decided. A damaged \
    or newer bundle is refused whole.")]
pub struct TakeArguments {
    /// Bundle, as biot export writes it
    #[arg(value_name = "BUNDLE")]
    pub bundle: PathBuf,
    /// Only show what would be done
    #[arg(long, conflicts_with = "yes")]
    pub dry_run: bool,
    /// Take it in without asking
    #[arg(long)]
    pub yes: bool,
    /// Which record to keep where two differ: ours or theirs
    #[arg(long, value_name = "WHICH", value_parser = args::words(&KEEPS, keep))]
    pub prefer: Option<Keep>,
    /// File of conflicts that were decided one by one
    #[arg(long, value_name = "FILE")]
    pub conflicts: Option<PathBuf>,
    /// Write the conflicts to this file, to be decided and given back with --conflicts
    #[arg(long, value_name = "FILE")]
    pub conflicts_to: Option<PathBuf>,
    /// Who and why
    #[command(flatten)]
    pub change: ChangeOptions,
}

/// Words for what is kept.
const KEEPS: [&str; 2] = ["ours", "theirs"];

fn keep(word: &str) -> Option<Keep> {
    match word {
        "ours" => Some(Keep::Ours),
        "theirs" => Some(Keep::Theirs),
        _ => None,
    }
}

/// Shows what a bundle brings, and takes it in when told to.
pub fn run(arguments: &TakeArguments, session: &mut Session) -> Result<Outcome, Failure> {
    if !arguments.dry_run && !arguments.yes && !session.can_ask() {
        return Err(Failure::usage(
            "say-which",
            "nobody is here to ask whether the bundle is to be taken in",
        )
        .hint("--dry-run shows what it brings, --yes takes it in"));
    }
    let resolution = Resolution {
        prefer: arguments.prefer,
        decisions: match &arguments.conflicts {
            Some(file) => share::read_decisions(file)?,
            None => std::collections::HashMap::new(),
        },
    };
    let change = arguments.change.change();
    let mut library = session.library(Access::Write)?;
    let mut run = if arguments.yes { Run::Real } else { Run::Dry };
    let mut taken = take(arguments, &mut library, &resolution, run, &change, session)?;
    let has_work = taken.n_open() == 0
        && (taken.new.entries + taken.new.compounds + taken.new.sources > 0
            || taken.completed > 0
            || !taken.conflicts.is_empty());
    if !arguments.yes && !arguments.dry_run && has_work {
        session.tell(|page| report::taken(&arguments.bundle, &taken, Run::Dry, page));
        let answer = session.ask("Take it in? yes or no:");
        if !matches!(answer.as_deref(), Some("yes" | "y")) {
            session.notice("Nothing was changed.");
            return Ok(Outcome::Answered);
        }
        run = Run::Real;
        taken = take(arguments, &mut library, &resolution, run, &change, session)?;
    }
    if let (Some(file), false) = (&arguments.conflicts_to, taken.conflicts.is_empty()) {
        share::write_conflicts(file, &taken.conflicts)?;
        session.notice(&format!("The conflicts are in {}.", file.display()));
    }
    let json = TakeJson {
        bundle: &arguments.bundle,
        dry_run: run == Run::Dry,
        open_conflicts: taken.n_open(),
        taken: &taken,
    };
    session.answer(&json, |page| report::taken(&arguments.bundle, &taken, run, page))?;
    Ok(if taken.n_open() == 0 {
        Outcome::Answered
    } else {
        Outcome::WithFindings
    })
}

fn take(
    arguments: &TakeArguments,
    library: &mut Library,
    resolution: &Resolution,
    run: Run,
    change: &Change,
    session: &Session,
) -> Result<Taken, Failure> {
    let bar = session.shows_progress().then(ProgressBar::new_spinner);
    if let Some(bar) = &bar {
        bar.enable_steady_tick(Duration::from_millis(100));
    }
    let taken = share::take_file(library, &arguments.bundle, resolution, run, change, &mut |line| {
        if let Some(bar) = bar.as_ref().filter(|_| line.is_multiple_of(100)) {
            bar.set_message(format!("line {line}"));
        }
    });
    if let Some(bar) = bar {
        bar.finish_and_clear();
    }
    Ok(taken?)
}
