//! Entries as text: the conditions in one phrase, the tables of values and specifications, the dots on a number line.

use super::number::{self, printed};
use super::plot::Point;
use super::{Column, Table};
use crate::library::{Entry, EntryKind, Hand, Identity, ReviewState, Source, SourceKind};
use crate::quantity::SpectralLine;
use crate::statement::{PrintedConcentration, Role, RotationKind, Stage, StatedTemperature, Statement};

/// What is printed of the light, such as `D` or `546.1 nm`; empty when nothing is.
pub fn line(statement: &Statement) -> String {
    match &statement.line {
        Some(line @ SpectralLine::At(_)) => format!("{line} nm"),
        Some(line) => line.to_string(),
        None => String::new(),
    }
}

/// What is printed of the temperature without its unit, such as `20`, `20–25` or `room`; empty when nothing is.
pub fn temperature(statement: &Statement) -> String {
    match &statement.temperature {
        Some(StatedTemperature::At(at)) => printed(*at),
        Some(StatedTemperature::Range(low, high)) => format!("{}–{}", printed(*low), printed(*high)),
        Some(StatedTemperature::Words(words)) => words.clone(),
        None => String::new(),
    }
}

/// A printed concentration with its unit, the unit in brackets where it was not printed.
pub fn concentration(concentration: &PrintedConcentration) -> String {
    let number = match concentration.high {
        Some(high) => format!("{}–{}", printed(concentration.low), printed(high)),
        None => printed(concentration.low),
    };
    if concentration.unit_printed {
        format!("{number} {}", concentration.unit)
    } else {
        format!("{number} ({}?)", concentration.unit)
    }
}

/// The conditions of a statement in one phrase: `D, 20 °C, EtOH, c 10 g/100mL, 100 mm`.
pub fn conditions(statement: &Statement) -> String {
    let mut parts = Vec::new();
    let mut push = |part: String| {
        if !part.is_empty() {
            parts.push(part);
        }
    };
    push(line(statement));
    match &statement.temperature {
        Some(StatedTemperature::Words(words)) => push(format!("{words} temperature")),
        Some(_) => push(format!("{} °C", temperature(statement))),
        None => {}
    }
    push(statement.solvent.as_ref().map(ToString::to_string).unwrap_or_default());
    push(
        statement
            .concentration
            .as_ref()
            .map(|c| format!("c {}", concentration(c)))
            .unwrap_or_default(),
    );
    push(
        statement
            .path
            .map(|path| format!("{} mm", path.millimetres()))
            .unwrap_or_default(),
    );
    push(remarks(statement));
    parts.join(", ")
}

/// An entry in one phrase: its value and conditions.
pub fn sentence(entry: &Entry) -> String {
    statement_sentence(&entry.statement)
}

/// A statement in one phrase: its value and conditions.
pub fn statement_sentence(statement: &Statement) -> String {
    let symbol = if statement.kind == RotationKind::Specific {
        "[α] "
    } else {
        ""
    };
    let conditions = conditions(statement);
    let conditions = if conditions.is_empty() {
        String::new()
    } else {
        format!(" ({conditions})")
    };
    format!("{symbol}{}{conditions}", value(statement))
}

/// A value as printed; one that is no specific rotation carries its symbol, `α` or `[M]`.
fn value(statement: &Statement) -> String {
    let symbol = match statement.kind {
        RotationKind::Specific => "",
        RotationKind::Observed => "α ",
        RotationKind::Molar => "[M] ",
    };
    format!("{symbol}{}", number::stated_value(statement))
}

/// What a statement says beyond value, light, temperature, solvent and concentration.
pub fn remarks(statement: &Statement) -> String {
    let mut parts: Vec<String> = Vec::new();
    parts.extend(statement.form.clone());
    parts.extend(statement.basis.clone());
    if let Some(ee) = &statement.ee {
        let bound = if ee.at_least { "≥ " } else { "" };
        let method = ee
            .method
            .as_ref()
            .map(|method| format!(" by {method}"))
            .unwrap_or_default();
        parts.push(format!("ee {bound}{} %{method}", printed(ee.percent)));
    }
    match statement.stage {
        Some(Stage::Initial) => parts.push("initial".to_owned()),
        Some(Stage::Final) => parts.push("at equilibrium".to_owned()),
        None => {}
    }
    parts.extend(statement.time_note.clone());
    parts.extend(statement.enantiomer_note.clone());
    match statement.role {
        Some(Role::Lit) => parts.push("quoted".to_owned()),
        Some(Role::Compiled) => parts.push("compiled".to_owned()),
        Some(Role::Measured) | None => {}
    }
    parts.join("; ")
}

/// A source in few words: the start of its citation, and the year where the citation does not hold it.
pub fn source(source: &Source) -> String {
    let mut text = source.citation.clone();
    if let Some(year) = source.year
        && !text.contains(&year.to_string())
    {
        text = format!("{text} ({year})");
    }
    if source.kind == SourceKind::Own {
        text.insert_str(0, "own measurement: ");
    }
    text
}

/// Why an entry counts less or not at all, in few words; empty for a confirmed entry in good standing.
pub fn standing(entry: &Entry) -> String {
    let mut parts = Vec::new();
    match entry.state {
        ReviewState::Draft => parts.push("draft".to_owned()),
        ReviewState::Withdrawn => parts.push("withdrawn".to_owned()),
        ReviewState::Confirmed => {}
    }
    match entry.identity {
        Identity::Sure => {}
        Identity::Likely => parts.push("identity likely".to_owned()),
        Identity::Unclear => parts.push("identity unclear, not pooled".to_owned()),
    }
    if entry.hand == Hand::Inferred {
        parts.push("hand from the sign".to_owned());
    }
    if let Some(reason) = &entry.kept_out {
        parts.push(format!("kept out: {reason}"));
    }
    parts.join("; ")
}

/// Whether an entry may be pooled with others, as far as its own record says.
pub fn counts(entry: &Entry) -> bool {
    entry.state != ReviewState::Withdrawn && entry.identity != Identity::Unclear && entry.kept_out.is_none()
}

/// A table of entries with their conditions; sources are numbered and listed once below.
pub fn table(entries: &[(&Entry, usize)]) -> Table {
    let mut table = Table::new(&[
        Column::Number("entry"),
        Column::Number("[α]"),
        Column::Word("line"),
        Column::Number("t/°C"),
        Column::Text("solvent"),
        Column::Text("c"),
        Column::Text("remarks"),
        Column::Text("standing"),
        Column::Number("source"),
    ]);
    for (entry, source) in entries {
        let statement = &entry.statement;
        table.row([
            entry.id.to_string(),
            value(statement),
            line(statement),
            temperature(statement),
            statement.solvent.as_ref().map(ToString::to_string).unwrap_or_default(),
            statement.concentration.as_ref().map(concentration).unwrap_or_default(),
            remarks(statement),
            standing(entry),
            format!("[{source}]"),
        ]);
    }
    table
}

/// The values of entries as points, grouped by solvent; specifications and other kinds than specific are left out.
pub fn points<'a>(entries: impl IntoIterator<Item = &'a Entry>) -> Vec<Point> {
    entries
        .into_iter()
        .filter(|entry| entry.kind == EntryKind::Value && entry.statement.kind == RotationKind::Specific)
        .filter(|entry| entry.state != ReviewState::Withdrawn)
        .filter_map(|entry| {
            let solvent = entry.statement.solvent.as_ref();
            let mut group = solvent.map_or_else(|| "(no solvent)".to_owned(), ToString::to_string);
            match &entry.statement.line {
                None | Some(SpectralLine::SodiumD) => {}
                Some(_) => group = format!("{group}, {}", line(&entry.statement)),
            }
            Some(Point {
                group,
                value: entry.statement.central_value()?,
                ends: entry
                    .statement
                    .low
                    .zip(entry.statement.high)
                    .map(|(low, high)| (low.value(), high.value())),
                counts: counts(entry),
            })
        })
        .collect()
}
