//! What a library file holds, in counts, and how it is.

use super::Page;
use super::json::InfoJson;
use crate::library::Statistics;
use crate::tasks::care::Health;

/// Writes a lead and the counts of a library in one sentence.
pub fn counts(lead: &str, counts: &Statistics, page: &mut Page) {
    let Statistics {
        compounds,
        sources,
        values,
        specifications,
        ..
    } = counts;
    page.paragraph(&format!(
        "{lead} {compounds} compounds, {values} values, {specifications} specifications and {sources} sources."
    ));
}

/// What a check of a library file found, one sentence each; empty when all is well.
pub fn problems(health: &Health) -> Vec<String> {
    let mut problems = health.problems.clone();
    let history = &health.history;
    if let Some(line) = history.broken_at {
        problems.push(format!(
            "the history does not fit from line {line} on: it was changed outside the program"
        ));
    }
    if history.cut_off {
        problems.push("lines are missing at the end of the history".to_owned());
    }
    for uid in &history.changed_outside {
        problems.push(format!(
            "record {uid} is not what the history says: it was changed outside the program"
        ));
    }
    problems
}

/// Writes versions, the place of the library, its counts, and what a check found.
pub fn info(info: &InfoJson<'_>, page: &mut Page) {
    page.heading("Program");
    page.field("biot", info.program);
    page.field("library format", &info.versions.schema.to_string());
    page.field("search index", &format!("format {}", info.versions.index));
    page.field("SQLite", &info.versions.sqlite);
    page.heading("Library");
    let size = info
        .bytes
        .map(|bytes| format!(" ({:.1} MB)", bytes as f64 / 1e6))
        .unwrap_or_default();
    page.field("file", &format!("{}{size}", info.library.display()));
    count_fields(&info.counts, page);
    if let Some(problems) = &info.problems {
        page.heading("Check");
        if problems.is_empty() {
            page.paragraph("Every page, reference and line of the history is sound.");
        }
        for problem in problems {
            page.point(problem);
        }
        if !problems.is_empty() {
            page.lead(
                "hint: ",
                "restore a backup with biot restore FILE; the file as it is will be kept beside it",
            );
        }
    }
}

/// Writes the counts of a library, one a line.
pub fn count_fields(counts: &Statistics, page: &mut Page) {
    page.field(
        "compounds",
        &format!(
            "{}, {} with a structure",
            counts.compounds, counts.compounds_with_structure
        ),
    );
    page.field("names", &counts.names.to_string());
    page.field("sources", &counts.sources.to_string());
    page.field(
        "values",
        &format!(
            "{}, {} of all entries kept out of pooling",
            counts.values, counts.kept_out
        ),
    );
    page.field("specifications", &counts.specifications.to_string());
    page.field("drafts", &counts.drafts.to_string());
    page.field("withdrawn", &counts.withdrawn.to_string());
    page.field("history", &format!("{} lines", counts.history_lines));
}
