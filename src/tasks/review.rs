//! Review of drafts, the history of records, and taking the last import back.
//!
//! A draft is keyed a second time by another person who has not seen the first keying; where the two agree it may be
//! confirmed, where they differ the differences are recorded and somebody looks at the print again.

use super::audit::{self, Flagged};
use crate::audit::{Settings, compare_keyings, fields};
use crate::library::{
    Batch, Change, Compound, CompoundId, Entry, EntryId, HistoryCheck, HistoryLine, KeyedDifference, Keyers, Library,
    LibraryError, ReviewState, SecondKeying, Source, UndoReport,
};
use crate::statement::Statement;
use serde_json::Value;
use std::collections::HashMap;

/// A draft that waits for review.
#[derive(Clone, Debug)]
pub struct Waiting {
    /// Where it is to be found, without what it says.
    pub place: Place,
    /// The open findings about it. Their reasons hold values, which a second keyer is not to see.
    pub findings: Vec<Flagged>,
}

/// Where an entry's print is to be found.
#[derive(Clone, Debug)]
pub struct Place {
    /// The entry. Its statement is not to be shown to a second keyer.
    pub entry: Entry,
    /// Its compound.
    pub compound: Compound,
    /// Its source.
    pub source: Source,
    /// Who keyed it.
    pub keyers: Keyers,
    /// The newest second keying, when it differs and nobody has edited the entry since.
    pub open_differences: Option<SecondKeying>,
}

/// What a second keying came to.
#[derive(Clone, Debug)]
pub struct Keyed {
    /// The entry as it is now.
    pub entry: Entry,
    /// The keying with its differences.
    pub keying: SecondKeying,
    /// Whether the entry was confirmed.
    pub confirmed: bool,
}

/// The drafts, oldest first, each with its findings.
pub fn waiting(library: &Library, limit: usize, settings: &Settings) -> Result<Vec<Waiting>, LibraryError> {
    let mut of_compound: HashMap<CompoundId, Vec<Flagged>> = HashMap::new();
    let mut waiting = Vec::new();
    for entry in library.drafts(limit)? {
        let known = match of_compound.entry(entry.compound) {
            std::collections::hash_map::Entry::Occupied(known) => known.into_mut(),
            std::collections::hash_map::Entry::Vacant(new) => {
                let mut found = Vec::new();
                audit::of_compound(library, entry.compound, settings, &mut |flagged| found.push(flagged))?;
                new.insert(found)
            }
        };
        let findings = known
            .iter()
            .filter(|flagged| flagged.accepted.is_none() && flagged.entries.contains(&entry.id))
            .cloned()
            .collect();
        waiting.push(Waiting {
            place: place_of(library, entry)?,
            findings,
        });
    }
    Ok(waiting)
}

/// Where an entry's print is to be found.
pub fn place(library: &Library, id: EntryId) -> Result<Place, LibraryError> {
    place_of(library, library.entry(id)?)
}

/// Records what another person reads at the same place, and confirms the draft when that is wanted and nothing differs.
///
/// # Errors
/// `Refused` when the entry is no draft, or the person keyed or edited it and `same_person` does not say why that will do.
pub fn key_again(
    library: &mut Library,
    id: EntryId,
    statement: &Statement,
    may_confirm: bool,
    same_person: Option<&str>,
    change: &Change,
) -> Result<Keyed, LibraryError> {
    let entry = library.entry(id)?;
    if entry.state != ReviewState::Draft {
        return Err(LibraryError::Refused(format!(
            "entry {id} is {}; only a draft is keyed a second time",
            entry.state
        )));
    }
    if statement.value.is_none() && statement.low.is_none() && statement.high.is_none() {
        return Err(LibraryError::Refused(
            "there is no value; give the printed text, or a value or limit".to_owned(),
        ));
    }
    let is_first_keyer = library.keyers(&entry)?.include(&change.who);
    let same_person = same_person.map(str::trim).filter(|why| !why.is_empty());
    if is_first_keyer && same_person.is_none() {
        return Err(LibraryError::Refused(format!(
            "{} keyed or edited entry {id}, and a second keyer must be another person; let somebody else key it, or say \
             with --same-person why this will do",
            change.who
        )));
    }
    let differences: Vec<KeyedDifference> = compare_keyings(&entry.statement, statement)
        .into_iter()
        .map(|difference| KeyedDifference {
            field: difference.field,
            first: difference.first,
            second: difference.second,
        })
        .collect();
    let keyed = fields(statement)
        .into_iter()
        .map(|(field, text)| (field.to_owned(), text))
        .collect();
    let same_person = same_person.filter(|_| is_first_keyer);
    let keying = library.add_second_keying(&entry, &keyed, &differences, same_person, change)?;
    let confirmed = may_confirm && keying.differences.is_empty();
    let entry = if confirmed {
        let why = if change.why.trim().is_empty() {
            "the second keying agrees"
        } else {
            &change.why
        };
        library.confirm_entry(
            id,
            &Change {
                why: why.to_owned(),
                ..change.clone()
            },
        )?
    } else {
        entry
    };
    Ok(Keyed {
        entry,
        keying,
        confirmed,
    })
}

/// Confirms a draft. One with open differences between its keyings is confirmed only `despite` them, with a reason.
///
/// # Errors
/// `Refused` when differences are open, or the entry is no draft.
pub fn confirm(library: &mut Library, id: EntryId, despite: bool, change: &Change) -> Result<Entry, LibraryError> {
    if let Some(keying) = library.open_differences(id)? {
        let fields: Vec<&str> = keying.differences.iter().map(|d| d.field.as_str()).collect();
        if !despite || change.why.trim().is_empty() {
            return Err(LibraryError::Refused(format!(
                "the second keying of entry {id} by {} differs in {}; mend the entry with biot edit, key it again with biot \
                 review, or confirm it with --despite-differences and --why",
                keying.who,
                fields.join(", ")
            )));
        }
    }
    library.confirm_entry(id, change)
}

/// One thing that happened to a record.
#[derive(Clone, Debug, PartialEq)]
pub struct Happening {
    /// Its line in the history; none for the load an entry came with, whose line is about all of it.
    pub line: Option<i64>,
    /// When, RFC 3339 in UTC.
    pub at: String,
    /// Who.
    pub who: String,
    /// What was done.
    pub action: String,
    /// What it was done to: `entry 12`, `compound 3`, `finding …`.
    pub record: String,
    /// Why.
    pub why: String,
    /// Fields that changed.
    pub changes: Vec<FieldChange>,
}

/// A field before and after.
#[derive(Clone, Debug, PartialEq)]
pub struct FieldChange {
    /// The field.
    pub field: String,
    /// Before; none when it was empty or the record was not there.
    pub before: Option<String>,
    /// After.
    pub after: Option<String>,
}

/// What happened to an entry, oldest first: how it came, its changes, second keyings and accepted findings.
pub fn history_of_entry(library: &Library, id: EntryId) -> Result<Vec<Happening>, LibraryError> {
    let entry = library.entry(id)?;
    let record = format!("entry {id}");
    let mut happenings = Vec::new();
    if let Some(batch) = library.batch_of(id)? {
        happenings.push(Happening {
            line: None,
            at: batch.at,
            who: batch.who,
            action: "load".to_owned(),
            record: record.clone(),
            why: format!("came with the load \"{}\"", batch.what),
            changes: Vec::new(),
        });
    }
    let mut lines = library.history_of(&entry.uid)?;
    for keying in library.second_keyings(id)? {
        lines.extend(library.history_of(&keying.uid)?);
    }
    for finding in library.accepted_findings_of(&entry.uid)? {
        lines.extend(library.history_of(&finding.id)?);
    }
    lines.sort_by_key(|line| line.id);
    lines.dedup_by_key(|line| line.id);
    happenings.extend(lines.into_iter().map(|line| {
        // A second keying is something that happened to the entry.
        let record = if line.entity == "finding" {
            format!("finding {}", line.entity_uid)
        } else {
            record.clone()
        };
        happening(line, record)
    }));
    Ok(happenings)
}

/// What happened to a compound and to its entries, oldest first.
pub fn history_of_compound(library: &Library, id: CompoundId) -> Result<Vec<Happening>, LibraryError> {
    let compound = library.compound(id)?;
    let mut happenings: Vec<Happening> = library
        .history_of(&compound.uid)?
        .into_iter()
        .map(|line| happening(line, format!("compound {}", compound.id)))
        .collect();
    for entry in library.entries(compound.id)? {
        happenings.extend(history_of_entry(library, entry.id)?);
    }
    happenings.sort_by(|a, b| a.at.cmp(&b.at).then(a.line.cmp(&b.line)));
    Ok(happenings)
}

/// What happened to a record by its stable id; also to one that is gone.
pub fn history_of_uid(library: &Library, uid: &str) -> Result<Vec<Happening>, LibraryError> {
    Ok(library
        .history_of(uid)?
        .into_iter()
        .map(|line| {
            let record = line.entity.clone();
            happening(line, record)
        })
        .collect())
}

/// What checking the history found.
#[derive(Clone, Debug)]
pub struct Verified {
    /// The chain, and the records against it.
    pub check: HistoryCheck,
    /// The line at which the chain breaks.
    pub broken_line: Option<HistoryLine>,
    /// The records that are not what the history says.
    pub changed: Vec<ChangedRecord>,
}

/// A record that was changed outside the program.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ChangedRecord {
    /// Its stable id.
    pub uid: String,
    /// What it is, as the history names it; none where the history knows nothing of it.
    pub record: Option<String>,
    /// The name, or the sample, that the history gives it.
    pub name: Option<String>,
}

/// Checks the chain of the history and the records against it. Reads the whole file.
pub fn verify(library: &Library) -> Result<Verified, LibraryError> {
    let check = library.check_history()?;
    let broken_line = match check.broken_at {
        Some(id) => library.history_line(id)?,
        None => None,
    };
    let changed = check.changed_outside.iter().map(|uid| {
        let first = library.history_of(uid)?.into_iter().next();
        let after = first.as_ref().and_then(|line| line.after.clone()).unwrap_or_default();
        let name = ["name", "sample"].iter().find_map(|key| after[key].as_str());
        Ok(ChangedRecord {
            uid: uid.clone(),
            name: name.map(str::to_owned),
            record: first.map(|line| line.entity),
        })
    });
    let changed = changed.collect::<Result<_, LibraryError>>()?;
    Ok(Verified {
        check,
        broken_line,
        changed,
    })
}

/// All loads, newest first.
pub fn batches(library: &Library) -> Result<Vec<Batch>, LibraryError> {
    library.batches()
}

/// What taking the last import back would do.
pub fn undo_preview(library: &Library) -> Result<UndoReport, LibraryError> {
    library.undo_preview()
}

/// Takes back the import that was looked at, when it still is the last one.
pub fn undo(library: &mut Library, batch_uid: &str, change: &Change) -> Result<UndoReport, LibraryError> {
    library.undo_last_import(batch_uid, change)
}

fn place_of(library: &Library, entry: Entry) -> Result<Place, LibraryError> {
    Ok(Place {
        compound: library.compound(entry.compound)?,
        source: library.source(entry.source)?,
        keyers: library.keyers(&entry)?,
        open_differences: library.open_differences(entry.id)?,
        entry,
    })
}

fn happening(line: HistoryLine, record: String) -> Happening {
    Happening {
        line: Some(line.id),
        at: line.at,
        who: line.who,
        action: line.action,
        record,
        why: line.why,
        changes: match (line.entity.as_str(), &line.after) {
            ("keying", Some(keying)) => keyed_differences(keying),
            _ => changes(line.before.as_ref(), line.after.as_ref()),
        },
    }
}

/// Where a second keying differed from the first, as the history keeps it.
fn keyed_differences(keying: &Value) -> Vec<FieldChange> {
    let differences = keying.get("differences").cloned().unwrap_or_default();
    let differences: Vec<KeyedDifference> = serde_json::from_value(differences).unwrap_or_default();
    differences
        .into_iter()
        .map(|difference| FieldChange {
            field: difference.field,
            before: difference.first,
            after: difference.second,
        })
        .collect()
}

/// Fields that keep the books and say nothing of a record.
const BOOKKEEPING: [&str; 6] = ["id", "uid", "revision", "changed", "batch", "connectivity"];

/// The fields that differ between two states of a record; a printed number is shown with its digits.
fn changes(before: Option<&Value>, after: Option<&Value>) -> Vec<FieldChange> {
    let mut names: Vec<&String> = [before, after]
        .into_iter()
        .flatten()
        .filter_map(Value::as_object)
        .flat_map(serde_json::Map::keys)
        .collect();
    names.sort();
    names.dedup();
    names
        .into_iter()
        .filter(|name| !BOOKKEEPING.contains(&name.as_str()) && !name.ends_with("_decimals"))
        .map(|name| FieldChange {
            field: name.clone(),
            before: text_of(before, name),
            after: text_of(after, name),
        })
        .filter(|change| change.before != change.after)
        .collect()
}

fn text_of(record: Option<&Value>, name: &str) -> Option<String> {
    let record = record?;
    let decimals = record.get(format!("{name}_decimals")).and_then(Value::as_u64);
    let text = match (
        record.get(name)?,
        decimals.and_then(|decimals| usize::try_from(decimals).ok()),
    ) {
        (Value::Null, _) => return None,
        (Value::Number(number), Some(decimals)) => match number.as_f64() {
            Some(number) => format!("{number:.decimals$}"),
            None => number.to_string(),
        },
        (Value::String(text), _) => text.clone(),
        (other, _) => other.to_string(),
    };
    (text != "[]").then_some(text)
}
