//! What merging two compounds would move, in words.

use super::Page;
use super::compound::keys;
use crate::library::Compound;
use crate::tasks::show::Shown;

/// Writes what would move from one compound to the other, and what speaks against it.
pub fn plan(from: &Shown, into: &Shown, page: &mut Page) {
    page.heading(&format!(
        "{} (compound {}) would become part of {} (compound {})",
        from.compound.name, from.compound.id, into.compound.name, into.compound.id
    ));
    page.field("ends", &keys(&from.compound));
    page.field("stays", &keys(&into.compound));
    page.field("values", &entries(from.values.iter().map(|entry| entry.id.0)));
    page.field(
        "specifications",
        &entries(from.specifications.iter().map(|entry| entry.id.0)),
    );
    let names: Vec<&str> = std::iter::once(&from.compound.name)
        .chain(&from.compound.other_names)
        .map(String::as_str)
        .collect();
    page.field("names", &names.join("; "));
    for warning in warnings(&from.compound, &into.compound) {
        page.lead("warning: ", &warning);
    }
}

/// What speaks against two compounds being one.
pub fn warnings(from: &Compound, into: &Compound) -> Vec<String> {
    let differ = |a: &Option<String>, b: &Option<String>| matches!((a, b), (Some(a), Some(b)) if a != b);
    let mut warnings = Vec::new();
    if differ(&from.inchikey, &into.inchikey) {
        warnings.push(if from.mirror_key.is_some() && from.mirror_key == into.inchikey {
            "the two are mirror images: merging them would mix values of opposite sign".to_owned()
        } else {
            "the structures differ: the values of one may not hold for the other".to_owned()
        });
    }
    if differ(&from.descriptor, &into.descriptor) {
        warnings.push("the labels of the configuration differ".to_owned());
    }
    if differ(&from.formula, &into.formula) {
        warnings.push("the formulas differ, as those of a salt or hydrate and its parent do".to_owned());
    }
    warnings
}

fn entries(numbers: impl Iterator<Item = i64>) -> String {
    let numbers: Vec<String> = numbers.map(|number| number.to_string()).collect();
    if numbers.is_empty() {
        "none".to_owned()
    } else {
        format!("entry {}", numbers.join(", "))
    }
}
