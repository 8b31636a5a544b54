//! Review, history and undo: in words and as JSON. Nothing here shows a value to somebody who is to key it again.

use super::Page;
use super::json::EntryJson;
use super::table::{Column, Table};
use crate::audit::{Code, Severity};
use crate::library::{Batch, EntryKind, KeyedDifference, SecondKeying, UndoReport};
use crate::tasks::review::{Happening, Keyed, Place, Verified, Waiting};
use serde::Serialize;
use std::collections::BTreeMap;

/// Where the print of an entry is to be found, without what it says.
#[derive(Clone, Debug, Serialize)]
pub struct PlaceJson {
    /// Number of the entry.
    pub entry: i64,
    /// Value or specification.
    pub kind: EntryKind,
    /// Number of the compound.
    pub compound: i64,
    /// Its name.
    pub compound_name: String,
    /// Substance name as the source gives it.
    pub substance: Option<String>,
    /// Citation of the source.
    pub citation: String,
    /// DOI of the source.
    pub doi: Option<String>,
    /// Where the text was read.
    pub url: Option<String>,
    /// Place in the source.
    pub place: Option<String>,
    /// When it came into the library, RFC 3339 in UTC.
    pub added_at: Option<String>,
    /// Who keyed or edited it.
    pub keyed_by: Vec<String>,
    /// Whether a second keying differs and nobody has edited the entry since.
    pub differences_open: bool,
}

impl From<&Place> for PlaceJson {
    fn from(place: &Place) -> Self {
        Self {
            entry: place.entry.id.0,
            kind: place.entry.kind,
            compound: place.compound.id.0,
            compound_name: place.compound.name.clone(),
            substance: place.entry.substance.clone(),
            citation: place.source.citation.clone(),
            doi: place.source.doi.clone(),
            url: place.source.url.clone(),
            place: place.entry.statement.place.clone(),
            added_at: place.keyers.added_at.clone(),
            keyed_by: place.keyers.who.clone(),
            differences_open: place.open_differences.is_some(),
        }
    }
}

/// The answer of `biot review` without an entry.
#[derive(Clone, Debug, Serialize)]
pub struct WaitingListJson {
    /// How many drafts there are.
    pub drafts: u64,
    /// The oldest of them.
    pub waiting: Vec<WaitingJson>,
}

/// A draft that waits.
#[derive(Clone, Debug, Serialize)]
pub struct WaitingJson {
    /// Where its print is to be found.
    #[serde(flatten)]
    pub place: PlaceJson,
    /// Its open findings, by kind; the reasons hold values, which a second keyer is not to see.
    pub findings: Vec<WaitingFindingJson>,
}

/// A finding about a draft.
#[derive(Clone, Debug, Serialize)]
pub struct WaitingFindingJson {
    /// Id.
    pub finding: String,
    /// Kind.
    pub code: Code,
    /// Severity.
    pub severity: Severity,
}

impl From<&Waiting> for WaitingJson {
    fn from(waiting: &Waiting) -> Self {
        Self {
            place: PlaceJson::from(&waiting.place),
            findings: waiting
                .findings
                .iter()
                .map(|flagged| WaitingFindingJson {
                    finding: flagged.id.clone(),
                    code: flagged.code,
                    severity: flagged.severity,
                })
                .collect(),
        }
    }
}

/// Writes the drafts that wait.
pub fn waiting(list: &WaitingListJson, page: &mut Page) {
    if list.waiting.is_empty() {
        page.paragraph("No draft waits for review.");
        return;
    }
    page.paragraph(&format!(
        "{} draft{} for review, oldest first. biot review ENTRY keys one a second time.",
        list.drafts,
        if list.drafts == 1 { " waits" } else { "s wait" }
    ));
    page.gap();
    let mut table = Table::new(&[
        Column::Number("entry"),
        Column::Word("since"),
        Column::Text("keyed by"),
        Column::Text("compound"),
        Column::Text("source"),
        Column::Text("place"),
        Column::Text("findings"),
    ]);
    for waiting in &list.waiting {
        let place = &waiting.place;
        let mut findings: Vec<String> = waiting
            .findings
            .iter()
            .map(|finding| format!("{} ({})", finding.code.as_str(), finding.severity.as_str()))
            .collect();
        if place.differences_open {
            findings.insert(0, "second keying differs".to_owned());
        }
        table.row([
            place.entry.to_string(),
            place
                .added_at
                .as_deref()
                .and_then(|at| at.get(..10))
                .unwrap_or_default()
                .to_owned(),
            place.keyed_by.join(", "),
            place.compound_name.clone(),
            place.citation.clone(),
            place.place.clone().unwrap_or_default(),
            findings.join(", "),
        ]);
    }
    page.table(&table);
    let hidden = list.drafts.saturating_sub(list.waiting.len() as u64);
    if hidden > 0 {
        page.note(&format!("{hidden} younger drafts are not listed; --limit 0 lists all."));
    }
}

/// Writes where the print of an entry is to be found.
pub fn place(place: &PlaceJson, page: &mut Page) {
    page.heading(&format!("Entry {} · second keying", place.entry));
    let compound = match &place.substance {
        Some(substance) => format!("{} (in the source: {substance})", place.compound_name),
        None => place.compound_name.clone(),
    };
    page.field("compound", &compound);
    page.field("source", &place.citation);
    for (label, text) in [("DOI", &place.doi), ("read at", &place.url)] {
        if let Some(text) = text {
            page.field(label, text);
        }
    }
    page.field("place", place.place.as_deref().unwrap_or("not noted"));
    page.field("keyed by", &place.keyed_by.join(", "));
    page.note("What was keyed first is not shown, so that the second keying is a reading of its own.");
}

/// The answer of a second keying.
#[derive(Clone, Debug, Serialize)]
pub struct KeyedJson {
    /// Number of the entry.
    pub entry: i64,
    /// Stable id of the keying.
    pub keying: String,
    /// Who keyed, when.
    pub who: String,
    /// RFC 3339 in UTC.
    pub at: String,
    /// What was keyed.
    pub fields: BTreeMap<String, String>,
    /// Whether both keyings say the same.
    pub equal: bool,
    /// Where they differ.
    pub differences: Vec<KeyedDifference>,
    /// Whether the entry was confirmed.
    pub confirmed: bool,
    /// Why the first keyer keyed again.
    pub same_person: Option<String>,
    /// The entry as it is now.
    pub now: EntryJson,
}

impl From<&Keyed> for KeyedJson {
    fn from(keyed: &Keyed) -> Self {
        let SecondKeying {
            uid,
            at,
            who,
            fields,
            differences,
            same_person,
            ..
        } = keyed.keying.clone();
        Self {
            entry: keyed.entry.id.0,
            keying: uid,
            who,
            at,
            fields,
            equal: differences.is_empty(),
            differences,
            confirmed: keyed.confirmed,
            same_person,
            now: EntryJson::from(&keyed.entry),
        }
    }
}

/// Writes what a second keying came to.
pub fn keyed(keyed: &KeyedJson, page: &mut Page) {
    if keyed.equal {
        let end = if keyed.confirmed {
            "it is confirmed."
        } else {
            "it may be confirmed (--confirm, or biot confirm)."
        };
        page.paragraph(&format!("Both keyings of entry {} say the same; {end}", keyed.entry));
        return;
    }
    page.paragraph(&format!(
        "The keyings of entry {} differ; it stays a draft until it is mended or keyed again. Look at the print.",
        keyed.entry
    ));
    page.gap();
    let mut table = Table::new(&[Column::Word("field"), Column::Text("first"), Column::Text("second")]);
    for difference in &keyed.differences {
        let shown = |text: &Option<String>| text.as_ref().map_or("(nothing)".to_owned(), |text| minus(text));
        table.row([
            difference.field.clone(),
            shown(&difference.first),
            shown(&difference.second),
        ]);
    }
    page.table(&table);
}

/// A number with a typographic minus, another text as it is.
fn minus(text: &str) -> String {
    match text.strip_prefix('-') {
        Some(rest) if rest.starts_with(|c: char| c.is_ascii_digit()) => format!("\u{2212}{rest}"),
        _ => text.to_owned(),
    }
}

/// Something that happened to a record.
#[derive(Clone, Debug, Serialize)]
pub struct HappeningJson {
    /// Line of the history.
    pub line: Option<i64>,
    /// RFC 3339 in UTC.
    pub at: String,
    /// Who.
    pub who: String,
    /// What was done.
    pub action: String,
    /// What it was done to.
    pub record: String,
    /// Why.
    pub why: String,
    /// Fields that changed.
    pub changes: Vec<FieldChangeJson>,
}

/// A field before and after.
#[derive(Clone, Debug, Serialize)]
pub struct FieldChangeJson {
    /// The field.
    pub field: String,
    /// Before.
    pub before: Option<String>,
    /// After.
    pub after: Option<String>,
}

impl From<&Happening> for HappeningJson {
    fn from(happening: &Happening) -> Self {
        Self {
            line: happening.line,
            at: happening.at.clone(),
            who: happening.who.clone(),
            action: happening.action.clone(),
            record: happening.record.clone(),
            why: happening.why.clone(),
            changes: happening
                .changes
                .iter()
                .map(|change| FieldChangeJson {
                    field: change.field.clone(),
                    before: change.before.clone(),
                    after: change.after.clone(),
                })
                .collect(),
        }
    }
}

/// Writes what happened, oldest first.
pub fn history(happenings: &[HappeningJson], page: &mut Page) {
    if happenings.is_empty() {
        page.paragraph("The history says nothing of this record by itself.");
        return;
    }
    for happening in happenings {
        let at = happening.at.get(..16).unwrap_or(&happening.at).replace('T', " ");
        page.heading(&format!(
            "{at} · {} · {} {}",
            happening.who, happening.action, happening.record
        ));
        if !happening.why.is_empty() {
            page.field("why", &happening.why);
        }
        if happening.action == "key-again" {
            let text = if happening.changes.is_empty() {
                "agrees with the first keying in every field"
            } else {
                "differs from the first keying (first → second):"
            };
            page.field("second keying", text);
        }
        for change in &happening.changes {
            let after = change.after.as_deref().map(minus);
            let text = match (change.before.as_deref().map(minus), after) {
                (Some(before), Some(after)) => format!("{before} → {after}"),
                (Some(before), None) => format!("{before} → (nothing)"),
                (None, after) => after.unwrap_or_default(),
            };
            page.field(&change.field, &text);
        }
    }
}

/// The answer of `biot history --verify`.
#[derive(Clone, Debug, Serialize)]
pub struct VerifiedJson {
    /// Whether nothing was found.
    pub sound: bool,
    /// Lines whose hash fits.
    pub lines: u64,
    /// The first line that does not fit.
    pub broken_at: Option<i64>,
    /// What that line says.
    pub broken_line: Option<BrokenLineJson>,
    /// Whether lines are missing at the end.
    pub cut_off: bool,
    /// Records that are not what the history says.
    pub changed_outside: Vec<ChangedRecordJson>,
}

/// A record that was changed outside the program.
#[derive(Clone, Debug, Serialize)]
pub struct ChangedRecordJson {
    /// Its stable id.
    pub uid: String,
    /// What it is, as the history names it; null where the history knows nothing of it.
    pub record: Option<String>,
    /// The name, or the sample, that the history gives it.
    pub name: Option<String>,
}

/// A line that does not fit.
#[derive(Clone, Debug, Serialize)]
pub struct BrokenLineJson {
    /// RFC 3339 in UTC.
    pub at: String,
    /// Who.
    pub who: String,
    /// What was done.
    pub action: String,
    /// The kind of record.
    pub entity: String,
    /// Its stable id.
    pub entity_uid: String,
}

impl From<&Verified> for VerifiedJson {
    fn from(verified: &Verified) -> Self {
        let check = &verified.check;
        Self {
            sound: check.is_sound(),
            lines: check.n_lines,
            broken_at: check.broken_at,
            broken_line: verified.broken_line.as_ref().map(|line| BrokenLineJson {
                at: line.at.clone(),
                who: line.who.clone(),
                action: line.action.clone(),
                entity: line.entity.clone(),
                entity_uid: line.entity_uid.clone(),
            }),
            cut_off: check.cut_off,
            changed_outside: (verified.changed.iter())
                .map(|changed| ChangedRecordJson {
                    uid: changed.uid.clone(),
                    record: changed.record.clone(),
                    name: changed.name.clone(),
                })
                .collect(),
        }
    }
}

/// Writes what checking the history found.
pub fn verified(verified: &VerifiedJson, page: &mut Page) {
    if verified.sound {
        page.paragraph(&format!(
            "All {} lines of the history fit each other, and the records are what it says.",
            verified.lines
        ));
        return;
    }
    page.paragraph(&format!("{} lines fit; the history is not sound:", verified.lines));
    if let Some(at) = verified.broken_at {
        let line = match &verified.broken_line {
            Some(line) => format!(
                " ({}, {}: {} {} {})",
                line.at.get(..16).unwrap_or(&line.at),
                line.who,
                line.action,
                line.entity,
                line.entity_uid
            ),
            None => " (it is missing)".to_owned(),
        };
        page.point(&format!(
            "it breaks at line {at}{line}: that line, or the one before, was changed outside the program"
        ));
    }
    if verified.cut_off {
        page.point("lines are missing at the end");
    }
    for changed in &verified.changed_outside {
        let name = changed
            .name
            .as_ref()
            .map(|name| format!(" \"{name}\""))
            .unwrap_or_default();
        page.point(&match &changed.record {
            Some(record) => format!(
                "{record}{name} ({}) is not what the history says: it was changed outside the program",
                changed.uid
            ),
            None => format!(
                "record {} is not in the history: it was put in outside the program",
                changed.uid
            ),
        });
    }
    page.paragraph(
        "Do not rely on what was changed outside the program. Keep this file as it is; take the records from a backup made \
         before the change (biot restore), or measure and check again under a new name.",
    );
}

/// A load.
#[derive(Clone, Debug, Serialize)]
pub struct BatchJson {
    /// Number in this library file.
    pub batch: i64,
    /// Stable id.
    pub uid: String,
    /// RFC 3339 in UTC.
    pub at: String,
    /// Who.
    pub who: String,
    /// What was loaded.
    pub what: String,
    /// Compounds that came with it.
    pub compounds: u64,
    /// Sources that came with it.
    pub sources: u64,
    /// Entries that came with it.
    pub entries: u64,
    /// When it was taken back.
    pub undone_at: Option<String>,
    /// By whom.
    pub undone_by: Option<String>,
}

impl From<&Batch> for BatchJson {
    fn from(batch: &Batch) -> Self {
        Self {
            batch: batch.id,
            uid: batch.uid.clone(),
            at: batch.at.clone(),
            who: batch.who.clone(),
            what: batch.what.clone(),
            compounds: batch.n_compounds,
            sources: batch.n_sources,
            entries: batch.n_entries,
            undone_at: batch.undone.as_ref().map(|(at, _)| at.clone()),
            undone_by: batch.undone.as_ref().map(|(_, who)| who.clone()),
        }
    }
}

/// Writes the loads, newest first.
pub fn batches(batches: &[BatchJson], page: &mut Page) {
    let mut table = Table::new(&[
        Column::Word("when"),
        Column::Text("who"),
        Column::Text("what"),
        Column::Number("entries"),
        Column::Number("compounds"),
        Column::Number("sources"),
        Column::Text("taken back"),
    ]);
    for batch in batches {
        let day = |at: &str| at.get(..16).unwrap_or(at).replace('T', " ");
        table.row([
            day(&batch.at),
            batch.who.clone(),
            batch.what.clone(),
            batch.entries.to_string(),
            batch.compounds.to_string(),
            batch.sources.to_string(),
            match (&batch.undone_at, &batch.undone_by) {
                (Some(at), Some(who)) => format!("{} by {who}", day(at)),
                _ => String::new(),
            },
        ]);
    }
    if table.is_empty() {
        page.paragraph("Nothing was imported yet.");
    } else {
        page.table(&table);
    }
}

/// What taking an import back does, or did.
#[derive(Clone, Debug, Serialize)]
pub struct UndoJson {
    /// The load.
    pub batch: BatchJson,
    /// Whether it was done.
    pub done: bool,
    /// Entries that go.
    pub removed: u64,
    /// Entries that stay, because they were changed or keyed again since.
    pub kept: Vec<i64>,
    /// Compounds that go with them.
    pub compounds: u64,
    /// Sources that go with them.
    pub sources: u64,
}

impl UndoJson {
    /// Makes the answer.
    pub fn new(report: &UndoReport, done: bool) -> Self {
        Self {
            batch: BatchJson::from(&report.batch),
            done,
            removed: report.n_removed,
            kept: report.kept.iter().map(|entry| entry.0).collect(),
            compounds: report.n_compounds,
            sources: report.n_sources,
        }
    }
}

/// Writes what taking an import back does, or did.
pub fn undo(undo: &UndoJson, page: &mut Page) {
    let batch = &undo.batch;
    page.paragraph(&format!(
        "{}: \"{}\", {} entries, by {} on {}.",
        if undo.done { "Taken back" } else { "Would be taken back" },
        batch.what,
        batch.entries,
        batch.who,
        batch.at.get(..16).unwrap_or(&batch.at).replace('T', " ")
    ));
    let verb = if undo.done { "went" } else { "go" };
    page.field(
        verb,
        &format!(
            "{} entries, {} compounds and {} sources that nothing else uses; the history keeps what they held",
            undo.removed, undo.compounds, undo.sources
        ),
    );
    if !undo.kept.is_empty() {
        const MOST: usize = 50;
        let mut kept: Vec<String> = undo.kept.iter().take(MOST).map(|entry| format!("#{entry}")).collect();
        if undo.kept.len() > MOST {
            kept.push(format!("and {} more", undo.kept.len() - MOST));
        }
        page.field(
            if undo.done { "stayed" } else { "stay" },
            &format!("{} (changed or keyed again since)", kept.join(", ")),
        );
    }
}
