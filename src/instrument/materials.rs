//! Whether a cell goes with a solvent. Whether its length suits an angle is told by the flags of [`crate::measurement`].
//!
//! What a solvent attacks stands in `data/solvents.csv` (common practice); here a cell's windows and seals are held against
//! it. A hint for the bench: the maker's table and the safety data sheet decide.

use crate::solvent::Solvent;

/// Words in which materials are written down, and the words of the solvent table that mean them.
const MATERIALS: [(&[&str], &[&str]); 7] = [
    (&["acrylic", "pmma", "plexi"], &["acrylic"]),
    (&["polycarbonate"], &["polycarbonate"]),
    (&["polystyrene"], &["polystyrene"]),
    (&["cement", "glue", "epoxy"], &["cement"]),
    (
        &[
            "nitrile",
            "nbr",
            "silicone",
            "epdm",
            "fluoroelastomer",
            "rubber",
            "elastomer",
            "fkm",
        ],
        &["elastomer", "seals"],
    ),
    (
        &["steel", "brass", "copper", "alumin", "metal"],
        &["metal", "copper", "aluminium"],
    ),
    (&["glass", "quartz", "silica"], &["glass", "quartz"]),
];

/// Materials that no usual solvent attacks, whatever else the word holds.
const RESISTANT: [&str; 3] = ["ptfe", "perfluoro", "ffkm"];

/// What a solvent may do to a cell's windows and seals, a sentence each; empty when nothing is known.
pub fn attacked(windows: Option<&str>, seals: Option<&str>, solvent: &Solvent) -> Vec<String> {
    let mut found = Vec::new();
    for (part, material) in [("windows", windows), ("seals", seals)] {
        let Some(material) = material else { continue };
        let folded = material.to_lowercase();
        if RESISTANT.iter().any(|word| folded.contains(word)) {
            continue;
        }
        for substance in solvent.substances() {
            let attacks = substance.attacks();
            let hit = MATERIALS.iter().any(|(names, words)| {
                names.iter().any(|name| folded.contains(name)) && words.iter().any(|word| attacks.contains(word))
            });
            if hit {
                found.push(format!(
                    "{} may attack the {part} of this cell ({material}): it attacks {attacks}. Take another cell, or ask the \
                     maker's table first.",
                    substance.name()
                ));
            }
        }
    }
    found
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Common practice: chloroform dissolves cements and swells elastomers, PTFE stands it; water does neither.
    #[test]
    fn chloroform_is_held_against_seals_and_windows() {
        let chloroform = Solvent::parse("CHCl3").unwrap();
        assert_eq!(attacked(Some("glass, cemented"), Some("nitrile"), &chloroform).len(), 2);
        assert!(attacked(Some("fused silica"), Some("PTFE"), &chloroform).is_empty());
        assert!(
            attacked(
                Some("glass, cemented"),
                Some("nitrile"),
                &Solvent::parse("H2O").unwrap()
            )
            .is_empty()
        );
    }
}
