//! What an export or a bundle came to.

use super::Page;
use crate::exchange::export::{Exported, Format, Limit};
use crate::exchange::take::{Conflict, Counts, Keep, Run, Taken};
use serde::Serialize;
use std::path::Path;

/// Most conflicts a page shows.
const MOST_SHOWN: usize = 20;

/// The answer of `biot export`.
#[derive(Clone, Debug, Serialize)]
pub struct ExportJson<'a> {
    /// The file.
    pub file: &'a Path,
    /// Its format.
    pub format: &'static str,
    /// Entries written.
    pub entries: u64,
    /// Compounds written.
    pub compounds: u64,
    /// Sources written.
    pub sources: u64,
    /// What the format cannot hold.
    pub cannot_hold: Vec<LimitJson>,
    /// What of single entries could not be written.
    pub left_out: Vec<LeftOutJson<'a>>,
}

/// Something a format cannot hold.
#[derive(Clone, Debug, Serialize)]
pub struct LimitJson {
    /// The field, or in words what is lost.
    pub what: &'static str,
    /// What becomes of it.
    pub why: &'static str,
}

/// An entry of which something was left out.
#[derive(Clone, Debug, Serialize)]
pub struct LeftOutJson<'a> {
    /// Its number.
    pub entry: i64,
    /// What, and why.
    pub reason: &'a str,
}

impl<'a> ExportJson<'a> {
    /// What an export came to.
    pub fn new(file: &'a Path, format: Format, exported: &'a Exported) -> Self {
        Self {
            file,
            format: format.as_str(),
            entries: exported.entries,
            compounds: exported.compounds,
            sources: exported.sources,
            cannot_hold: format
                .cannot_hold()
                .into_iter()
                .map(|Limit { what, why }| LimitJson { what, why })
                .collect(),
            left_out: exported
                .left_out
                .iter()
                .map(|left| LeftOutJson {
                    entry: left.entry,
                    reason: &left.reason,
                })
                .collect(),
        }
    }
}

/// The answer of `biot take`.
#[derive(Clone, Debug, Serialize)]
pub struct TakeJson<'a> {
    /// The bundle.
    pub bundle: &'a Path,
    /// Whether it was only found out what would be done.
    pub dry_run: bool,
    /// Conflicts that are not decided; while there are any, nothing is changed.
    pub open_conflicts: usize,
    /// What was found and done.
    #[serde(flatten)]
    pub taken: &'a Taken,
}

/// What a format cannot hold, in one sentence for each reason.
pub fn limits(format: Format) -> Vec<String> {
    let mut by_reason: Vec<(&str, Vec<&str>)> = Vec::new();
    for Limit { what, why } in format.cannot_hold() {
        match by_reason.iter_mut().find(|(known, _)| *known == why) {
            Some((_, all)) => all.push(what),
            None => by_reason.push((why, vec![what])),
        }
    }
    by_reason
        .into_iter()
        .map(|(why, what)| format!("{} does not hold {}: {why}.", format.as_str(), what.join(", ")))
        .collect()
}

/// Writes what an export came to.
pub fn exported(file: &Path, exported: &Exported, page: &mut Page) {
    page.paragraph(&format!(
        "Wrote {} entries of {} compounds from {} sources to {}.",
        exported.entries,
        exported.compounds,
        exported.sources,
        file.display()
    ));
}

/// Writes what taking a bundle in came to, or would.
pub fn taken(bundle: &Path, taken: &Taken, run: Run, page: &mut Page) {
    let n_open = taken.n_open();
    let lead = match (run, taken.changed) {
        (_, true) => "Taken in",
        (Run::Dry, _) => "Would be taken in",
        (Run::Real, _) => "Nothing was changed; to be taken in",
    };
    page.heading(&format!("Bundle {}", bundle.display()));
    page.field("new", &counts(taken.new));
    page.field("equal", &counts(taken.equal));
    if taken.completed > 0 {
        page.field("completed", &format!("{} compounds get further names", taken.completed));
    }
    page.field("conflicts", &format!("{}, {n_open} not decided", taken.conflicts.len()));
    for conflict in taken.conflicts.iter().take(MOST_SHOWN) {
        self::conflict(conflict, page);
    }
    if taken.conflicts.len() > MOST_SHOWN {
        page.note(&format!(
            "{} more conflicts; --json or --conflicts-to FILE lists all",
            taken.conflicts.len() - MOST_SHOWN
        ));
    }
    page.gap();
    if taken.new == Counts::default() && taken.conflicts.is_empty() && taken.completed == 0 {
        page.paragraph("This library holds everything of the bundle already. Nothing was changed.");
    } else if n_open > 0 {
        page.paragraph("Nothing was changed, because records differ and it is not decided which to keep.");
        page.lead(
            "hint: ",
            "--prefer ours or --prefer theirs decides all; --conflicts-to FILE writes them down to be decided one by one",
        );
    } else {
        page.paragraph(&format!("{lead}: {}.", counts(taken.new)));
    }
}

fn counts(counts: Counts) -> String {
    format!(
        "{} entries, {} compounds, {} sources",
        counts.entries, counts.compounds, counts.sources
    )
}

fn conflict(conflict: &Conflict, page: &mut Page) {
    let kept = match conflict.keep {
        None => "",
        Some(Keep::Ours) => ", ours is kept",
        Some(Keep::Theirs) => ", theirs is kept",
    };
    page.heading(&format!("{} {}{kept}", conflict.record.as_str(), conflict.about));
    for difference in &conflict.differences {
        let side = |text: &Option<String>| text.as_deref().map_or_else(|| "\u{2013}".to_owned(), visible);
        page.field(
            &difference.field,
            &format!("ours {} | theirs {}", side(&difference.ours), side(&difference.theirs)),
        );
    }
}

/// A text of another library without characters that a terminal obeys.
fn visible(text: &str) -> String {
    text.chars().map(|c| if c.is_control() { ' ' } else { c }).collect()
}
