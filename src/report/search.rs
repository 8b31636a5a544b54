//! Compounds found by a text, as a table.

use super::compound::signs;
use super::number::signed;
use super::{Column, Page, Table};
use crate::library::Why;
use crate::tasks::search::{Search, Summary};

/// Writes the compounds found, or what to try when there is none.
pub fn list(text: &str, search: &Search, limit: usize, is_filtered: bool, page: &mut Page) {
    if search.hits.is_empty() {
        page.paragraph(&format!("Nothing in the library fits \"{text}\"."));
        page.lead(
            "hint: ",
            if is_filtered {
                "leave out a filter, or use a shorter part of the name"
            } else {
                "use a shorter part of the name, or the CAS number or InChIKey"
            },
        );
        return;
    }
    let mut table = Table::new(&[
        Column::Number("compound"),
        Column::Text("name"),
        Column::Word("sign"),
        Column::Number("values"),
        Column::Number("limits"),
        Column::Number("[α]"),
        Column::Word("CAS"),
        Column::Text("found by"),
    ]);
    for Summary { hit, entries } in &search.hits {
        let compound = &hit.compound;
        let by = match hit.why {
            Why::InchiKey | Why::Cas | Why::Doi | Why::Formula | Why::ExactName => String::new(),
            Why::SameStem => "same name but for descriptors".to_owned(),
            Why::TypingError | Why::TypingErrorInStem => format!("near {}", hit.matched),
            Why::BeginsWith if hit.matched == compound.name => "word begins with it".to_owned(),
            Why::BeginsWith => format!("word begins with it: {}", hit.matched),
            Why::AllWords | Why::SomeWords if hit.matched == compound.name => String::new(),
            Why::AllWords | Why::SomeWords => hit.matched.clone(),
        };
        let some = |n: usize| if n == 0 { String::new() } else { n.to_string() };
        table.row([
            compound.id.to_string(),
            compound.name.clone(),
            signs(entries.signs).unwrap_or_default(),
            some(entries.n_values),
            some(entries.n_specifications),
            entries.range.map(range).unwrap_or_default(),
            compound.cas.first().cloned().unwrap_or_default(),
            by,
        ]);
    }
    page.table(&table);
    if search.hits.len() >= limit {
        page.gap();
        page.note(&format!("The first {limit} are listed; --limit shows more."));
    }
}

/// Least and greatest rotation, or the one there is.
fn range((low, high): (f64, f64)) -> String {
    let decimals = |value: f64| usize::from(value.abs() < 100.0);
    if low == high {
        signed(low, decimals(low))
    } else {
        format!("{} … {}", signed(low, decimals(low)), signed(high, decimals(high)))
    }
}
