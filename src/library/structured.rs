//! A compound to be added, from its structure: what the store keeps of it so that mirror images, stereoisomers and
//! other forms are found by look-ups.

use super::types::{Chirality, NewCompound};
use crate::compound::{self, Formula, Structure, StructureError};
use std::collections::BTreeMap;
use std::fmt::Write;

impl NewCompound {
    /// A compound with a name and a structure; SMILES, further names, CAS numbers and descriptor can be set after.
    ///
    /// # Errors
    /// When the InChI library does not accept the mirror image or the parent of the structure.
    pub fn with_structure(name: impl Into<String>, structure: &Structure) -> Result<Self, StructureError> {
        let key = structure.key().as_str();
        let mirror_image = structure.mirror_image()?;
        let parent = structure.parent()?;
        let formula = whole_formula(structure.inchi().as_str(), structure.inchi().hill_formula());
        let has_isotopes = structure.inchi().as_str().contains("/i");
        Ok(Self {
            inchi: Some(structure.inchi().as_str().to_owned()),
            inchikey: Some(key.to_owned()),
            mirror_key: Some(mirror_image.key().as_str().to_owned()).filter(|mirrored| mirrored != key),
            parent_key: parent.and_then(|parent| parent.key().as_str().get(..25).map(ToOwned::to_owned)),
            molar_mass: formula
                .as_deref()
                .filter(|_| !has_isotopes)
                .and_then(|formula| Formula::parse(formula).ok())
                .map(|formula| formula.molar_mass()),
            formula,
            chirality: match structure.chirality()? {
                compound::Chirality::Chiral => Chirality::Chiral,
                compound::Chirality::Meso => Chirality::Meso,
                compound::Chirality::Achiral => Chirality::Achiral,
                compound::Chirality::Open => Chirality::Open,
            },
            ..Self::named(name)
        })
    }
}

/// The formula of all components of an InChI together, in Hill order, with the protons that its `/p` layer adds or
/// removes (InChI Technical Manual: the formula layer leaves them out). None when it cannot be read.
fn whole_formula(inchi: &str, formula_layer: &str) -> Option<String> {
    let mut atoms: BTreeMap<String, i64> = BTreeMap::new();
    for component in formula_layer.split('.') {
        let (times, elements) = leading_number(component);
        let times = times.unwrap_or(1);
        let mut rest = elements;
        while !rest.is_empty() {
            let end = rest
                .char_indices()
                .skip(1)
                .find(|(_, c)| !c.is_ascii_lowercase())
                .map_or(rest.len(), |(at, _)| at);
            let symbol = rest
                .get(..end)
                .filter(|symbol| symbol.starts_with(|c: char| c.is_ascii_uppercase()))?;
            let (count, behind) = leading_number(&rest[end..]);
            *atoms.entry(symbol.to_owned()).or_default() += times * count.unwrap_or(1);
            rest = behind;
        }
    }
    if let Some(layer) = inchi.split('/').find_map(|layer| layer.strip_prefix('p')) {
        let protons: i64 = layer.split(';').filter_map(|part| part.parse::<i64>().ok()).sum();
        *atoms.entry("H".to_owned()).or_default() += protons;
    }
    let has_carbon = atoms.contains_key("C");
    let mut atoms: Vec<(String, i64)> = atoms.into_iter().filter(|(_, count)| *count != 0).collect();
    atoms.sort_by_key(|(symbol, _)| match symbol.as_str() {
        "C" if has_carbon => 0,
        "H" if has_carbon => 1,
        _ => 2,
    });
    let mut formula = String::new();
    for (symbol, count) in atoms {
        let number = if count == 1 { String::new() } else { count.to_string() };
        // Writing to a string cannot fail.
        let _ = write!(formula, "{symbol}{number}");
    }
    (!formula.is_empty()).then_some(formula)
}

/// A number at the start of a text, and the rest.
fn leading_number(text: &str) -> (Option<i64>, &str) {
    let end = text.find(|c: char| !c.is_ascii_digit()).unwrap_or(text.len());
    (text[..end].parse().ok(), &text[end..])
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Formulas of sodium acetate and quinine sulfate: common knowledge of chemistry.
    #[test]
    fn components_and_protons_add_up() {
        assert_eq!(
            whole_formula("InChI=1S/C2H4O2.Na/c1-2(3)4;/h1H3,(H,3,4);/q;+1/p-1", "C2H4O2.Na").as_deref(),
            Some("C2H3NaO2")
        );
        assert_eq!(
            whole_formula("InChI=1S/2C20H24N2O2.H2O4S/", "2C20H24N2O2.H2O4S").as_deref(),
            Some("C40H50N4O8S")
        );
        assert_eq!(whole_formula("InChI=1S/H3N/h1H3/p+1", "H3N").as_deref(), Some("H4N"));
    }
}
