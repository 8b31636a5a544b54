//! One compound with everything the library knows of it, as text.

use super::Page;
use super::entry;
use super::number::MINUS;
use super::plot;
use crate::library::{Chirality, Compound, Entry};
use crate::tasks::resolve::Signs;
use crate::tasks::show::{Relative, Shown};

/// Names listed before "and … more".
const MOST_NAMES: usize = 10;

/// Relatives listed before "and … more".
const MOST_RELATIVES: usize = 12;

/// Writes everything the library knows of a compound.
pub fn show(shown: &Shown, page: &mut Page) {
    identity(&shown.compound, page);
    if let Some(mirror) = &shown.mirror_image {
        page.field("mirror image", &relative(mirror));
    }
    relatives("stereoisomers", &shown.stereoisomers, page);
    relatives("related forms", &shown.related_forms, page);

    if shown.values.is_empty() && shown.specifications.is_empty() {
        page.gap();
        page.paragraph("The library holds no entry for this compound.");
        return;
    }
    if !shown.values.is_empty() {
        let n_counting = shown.values.iter().filter(|value| entry::counts(value)).count();
        let n_values = shown.values.len();
        page.heading(&if n_counting == n_values {
            format!("Values ({n_values})")
        } else {
            format!("Values ({n_values}, of which {n_counting} may be pooled)")
        });
        page.table(&entry::table(&numbered(shown, &shown.values)));
        let points = entry::points(&shown.values);
        if points.len() > 1 {
            page.heading("Specific rotation by solvent, deg mL g⁻¹ dm⁻¹");
            page.verbatim(&plot::number_line(&points, page.width()));
            page.note("● may be pooled · ○ listed only · ─ printed range · 2 to 9, + several at one place");
        }
    }
    if !shown.specifications.is_empty() {
        page.heading(&format!("Specifications ({})", shown.specifications.len()));
        page.table(&entry::table(&numbered(shown, &shown.specifications)));
        for (entry, method) in shown
            .specifications
            .iter()
            .filter_map(|e| Some((e, e.method.as_ref()?)))
        {
            let mut parts: Vec<String> = Vec::new();
            parts.extend(method.preparation.clone());
            parts.extend(
                method
                    .divide_by
                    .map(|factor| format!("value to be divided by {factor}")),
            );
            page.point(&format!("entry {}: {}", entry.id, parts.join("; ")));
        }
        page.note("A comparison with limits is an aid: the official text in force and licensed practice decide.");
    }
    page.heading("Sources");
    for (at, source) in shown.sources.iter().enumerate() {
        let link = source.doi.as_ref().map(|doi| format!(" doi:{doi}"));
        let link = link
            .or_else(|| source.url.as_ref().map(|url| format!(" {url}")))
            .unwrap_or_default();
        let kind = source.kind;
        page.lead(
            &format!("  [{}] ", at + 1),
            &format!("{}{link} ({kind})", entry::source(source)),
        );
    }
}

/// Writes who a compound is: its names, formula and keys.
fn identity(compound: &Compound, page: &mut Page) {
    page.heading(&format!("{} (compound {})", compound.name, compound.id));
    let mass = compound.molar_mass.map(|mass| format!("{mass:.2}"));
    let formula: Vec<String> = compound.formula.clone().into_iter().chain(mass).collect();
    let structure = match compound.chirality {
        Chirality::Chiral => "chiral, every stereocentre is given",
        Chirality::Meso => "meso: equal to its own mirror image, so it does not rotate light",
        Chirality::Achiral => "no stereocentre, so it does not rotate light",
        Chirality::Open => "some stereocentres are not given",
        Chirality::Unknown => "no structure, or one that cannot tell",
    };
    let fields = [
        ("configuration", compound.descriptor.clone().unwrap_or_default()),
        ("formula", formula.join(", ")),
        ("CAS number", compound.cas.join(", ")),
        ("InChIKey", compound.inchikey.clone().unwrap_or_default()),
        ("SMILES", compound.smiles.clone().unwrap_or_default()),
        ("structure", structure.to_owned()),
        ("other names", listed(&compound.other_names, MOST_NAMES, "; ")),
    ];
    for (label, text) in fields {
        if !text.is_empty() {
            page.field(label, &text);
        }
    }
}

/// The keys of a compound in one line: formula, CAS numbers, InChIKey, label of the configuration.
pub fn keys(compound: &Compound) -> String {
    let keys: Vec<&str> = [&compound.formula, &compound.inchikey, &compound.descriptor]
        .into_iter()
        .flatten()
        .chain(&compound.cas)
        .map(String::as_str)
        .collect();
    if keys.is_empty() {
        "known by name only".to_owned()
    } else {
        keys.join(", ")
    }
}

fn relatives(label: &str, all: &[Relative], page: &mut Page) {
    if !all.is_empty() {
        let texts: Vec<String> = all.iter().map(relative).collect();
        page.field(label, &listed(&texts, MOST_RELATIVES, "; "));
    }
}

fn relative(relative: &Relative) -> String {
    let compound = &relative.compound;
    let values = match relative.n_values {
        0 => "no values".to_owned(),
        1 => "1 value".to_owned(),
        n => format!("{n} values"),
    };
    let signs = signs(relative.signs)
        .map(|signs| format!(", {signs}"))
        .unwrap_or_default();
    format!("{} (compound {}: {values}{signs})", compound.name, compound.id)
}

/// The signs of a compound's values: `+`, `−`, `+ and −`; none without a value off zero.
pub fn signs(signs: Signs) -> Option<String> {
    match (signs.plus > 0, signs.minus > 0) {
        (true, true) => Some(format!("+ and {MINUS}")),
        (true, false) => Some("+".to_owned()),
        (false, true) => Some(MINUS.to_string()),
        (false, false) => None,
    }
}

fn numbered<'a>(shown: &Shown, entries: &'a [Entry]) -> Vec<(&'a Entry, usize)> {
    entries
        .iter()
        .map(|entry| (entry, shown.source_number(entry.source)))
        .collect()
}

/// The first texts of a list, and how many more there are.
fn listed(texts: &[String], most: usize, between: &str) -> String {
    let shown = texts.len().min(most);
    let mut text = texts[..shown].join(between);
    if texts.len() > shown {
        let more = format!("{between}and {} more (--json lists all)", texts.len() - shown);
        text.push_str(&more);
    }
    text
}
