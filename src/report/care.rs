//! What a library file holds, in counts.

use super::Page;
use crate::library::Statistics;

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

/// Writes the counts of a library, one a line.
pub fn count_fields(counts: &Statistics, page: &mut Page) {
    page.field(
        "compounds",
        &format!("{}, {} with a structure", counts.compounds, counts.compounds_with_structure),
    );
    page.field("names", &counts.names.to_string());
    page.field("sources", &counts.sources.to_string());
    page.field(
        "values",
        &format!("{}, {} of all entries kept out of pooling", counts.values, counts.kept_out),
    );
    page.field("specifications", &counts.specifications.to_string());
    page.field("drafts", &counts.drafts.to_string());
    page.field("withdrawn", &counts.withdrawn.to_string());
    page.field("history", &format!("{} lines", counts.history_lines));
}
