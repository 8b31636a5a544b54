//! Structures, mirror images, formulas, CAS numbers, keys and names.

use biot::compound::{CasError, CasNumber, Chirality, CompoundKey, Formula, InchiKey, Relation, Structure};
use proptest::prelude::*;

/// The rows of a table under `tests/data`, which is CSV or, with the extension `tsv`, separated by tabs.
fn table(name: &str) -> Vec<csv::StringRecord> {
    let path = format!("{}/tests/data/{name}", env!("CARGO_MANIFEST_DIR"));
    let delimiter = if name.ends_with("tsv") { b'\t' } else { b',' };
    let mut reader = csv::ReaderBuilder::new()
        .delimiter(delimiter)
        .from_path(path)
        .expect("the table is there");
    reader.records().collect::<Result<_, _>>().expect("the table is sound")
}

fn structure(smiles: &str) -> Structure {
    Structure::from_smiles(smiles).unwrap_or_else(|error| panic!("{error}"))
}

/// 72 structures in 2,676 random SMILES spellings with their InChIKeys, made with RDKit 2026.09.1.
#[test]
fn every_spelling_gives_the_key_of_its_structure() {
    let rows = table("structure_spellings.tsv");
    assert_eq!(rows.len(), 2676);
    let wrong: Vec<_> = rows
        .iter()
        .filter_map(|row| match Structure::from_smiles(&row[1]) {
            Ok(structure) if structure.key().as_str() == &row[2] => None,
            other => Some(format!("{} {}: {other:?}", &row[0], &row[1])),
        })
        .collect();
    assert!(
        wrong.is_empty(),
        "{} wrong, first {:?}",
        wrong.len(),
        &wrong[..wrong.len().min(5)]
    );
}

/// Compounds with published rotations; InChI and InChIKey computed with RDKit.
#[test]
fn compounds_with_published_rotations_get_their_inchi_and_key() {
    let mut wrong = Vec::new();
    let mut count = 0;
    for row in table("compound_structures.csv") {
        let (name, smiles, inchi, key) = (&row[0], &row[1], &row[2], &row[3]);
        if key.is_empty() {
            // A polymer: the open places of its unit are refused.
            assert!(Structure::from_smiles(smiles).is_err(), "{name}");
            continue;
        }
        count += 1;
        match (Structure::from_smiles(smiles), Structure::from_inchi(inchi)) {
            (Ok(a), Ok(b)) if a.inchi().as_str() == inchi && a.key().as_str() == key && b == a => {}
            (a, b) => wrong.push(format!("{name} {smiles}: {a:?} {b:?}")),
        }
    }
    assert!(count > 500, "{count}");
    assert!(
        wrong.is_empty(),
        "{} of {count} wrong: {:#?}",
        wrong.len(),
        &wrong[..wrong.len().min(8)]
    );
}

/// Formula and average mass as RDKit computes them; it uses slightly older atomic weights (S 32.067, Cl 35.453).
#[test]
fn formulas_give_the_molar_mass() {
    const RELATIVE: f64 = 2e-4;
    let rows = table("compound_structures.csv")
        .into_iter()
        .map(|row| (row[0].to_string(), row[4].to_string(), row[5].to_string()));
    let oracle = table("structure_oracle.tsv")
        .into_iter()
        .map(|row| (row[0].to_string(), row[3].to_string(), row[4].to_string()));
    let mut count = 0;
    for (name, formula, mass) in rows
        .chain(oracle)
        .filter(|(_, formula, mass)| !formula.contains('*') && !mass.is_empty())
    {
        let read = Formula::parse(&formula).unwrap_or_else(|error| panic!("{name}: {error}"));
        let (ours, theirs) = (
            read.molar_mass().grams_per_mole(),
            mass.parse::<f64>().expect("a number"),
        );
        // RDKit prints a labelled hydrogen as H but weighs it as deuterium.
        let labelled = (ours - theirs).abs() > RELATIVE * theirs && name.contains("1-d");
        assert!(
            labelled || (ours - theirs).abs() <= RELATIVE * theirs,
            "{name} {formula}: {ours} and {theirs}"
        );
        assert_eq!(Formula::parse(&read.to_string()), Ok(read), "{formula}");
        count += 1;
    }
    assert!(count > 600);
}
