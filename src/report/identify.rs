//! The compounds that fit a measured rotation, in words and a table.

use super::number;
use super::page::Page;
use super::table::{Column, Table};
use crate::tasks::identify::Identified;

/// Writes the compounds that fit.
pub fn show(found: &Identified, page: &mut Page) {
    let value = number::signed_with_uncertainty(found.value, found.standard_uncertainty);
    let count = |n: usize, noun: &str| format!("{n} {noun}{}", if n == 1 { "" } else { "s" });
    if found.compounds_looked_at == 0 {
        page.heading(&format!("{value} · nothing to compare with"));
        page.paragraph("No compound looked at has a specific rotation that can be compared.");
        return;
    }
    page.heading(&format!("{value} · {} fit", found.fitting));
    page.paragraph(&format!(
        "A rotation cannot identify a compound. {} with a published value of about this size {} looked at, in both hands and \
         taken as enantiopure; {} would fit by chance a value that belongs to none of them.",
        count(found.compounds_looked_at, "compound"),
        if found.compounds_looked_at == 1 { "was" } else { "were" },
        if found.fitting_by_chance < 0.1 {
            "hardly any".to_owned()
        } else {
            format!("about {}", number::number(found.fitting_by_chance, usize::from(found.fitting_by_chance < 10.0)))
        },
    ));
    if found.candidates.is_empty() {
        page.gap();
        page.paragraph(
            "None of them fits: another compound, a sample that is not enantiopure, or a slip in the value (biot check names \
             the usual ones).",
        );
        return;
    }
    page.gap();
    let mut table = Table::new(&[
        Column::Number("no."),
        Column::Text("compound"),
        Column::Text("formula"),
        Column::Number("likely"),
        Column::Number("expected"),
        Column::Text("band 95 %"),
        Column::Text("rests on"),
    ]);
    for candidate in &found.candidates {
        let mut rests = format!(
            "{}, {}",
            count(candidate.references, "value"),
            count(candidate.independent_sources, "source")
        );
        if !candidate.hand_can_be_tested {
            rests.push_str("; hand untested");
        }
        table.row([
            candidate.compound.to_string(),
            candidate.name.clone(),
            candidate.formula.clone().unwrap_or_default(),
            number::percent(candidate.probability),
            number::signed_with_uncertainty(candidate.expected, candidate.standard_uncertainty),
            number::interval(candidate.band95[0], candidate.band95[1]),
            rests,
        ]);
    }
    page.table(&table);
    page.note(&format!(
        "Likely: among the compounds looked at, each hand as likely before the value was known; {} is left for those not \
         listed, nothing for compounds the library does not hold.",
        number::percent(found.probability_of_others)
    ));
}
