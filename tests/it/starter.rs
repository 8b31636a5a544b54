//! The starter library: every row is loaded or refused, and what is loaded is what stands in the tables.

use biot::compound::Structure;
use biot::library::{EntryKind, Filter, Hand, Identity, Library, NewCompound, ReviewState, SourceKind, Why};
use biot::quantity::{ConcentrationUnit, SpectralLine};
use biot::statement::{Role, RotationKind, Sign, Stage};
use biot::tasks::care::{self, Notice};
use std::collections::{BTreeMap, BTreeSet, HashMap};
use std::path::{Path, PathBuf};

/// A new library with the starter entries, in a folder of its own.
pub fn starter_library() -> (tempfile::TempDir, Library) {
    let folder = tempfile::tempdir().unwrap();
    let library = care::create_with_starter(&folder.path().join("starter.biot"), &mut |_| {}).unwrap();
    (folder, library)
}

fn table_path(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("data/starter").join(name)
}

/// The rows of a starter table as maps from column to cell.
pub fn table(name: &str) -> Vec<HashMap<String, String>> {
    let mut reader = csv::Reader::from_path(table_path(name)).unwrap();
    reader.deserialize().map(Result::unwrap).collect()
}

#[test]
fn every_row_is_loaded_or_refused() {
    let folder = tempfile::tempdir().unwrap();
    let mut notices = Vec::new();
    let path = folder.path().join("a.biot");
    let library =
        care::open_or_create(&path, biot::library::Access::Write, &mut |notice| notices.push(notice)).unwrap();
    assert_eq!(notices.first(), Some(&Notice::FirstUse { path: path.clone() }));
    let Some(Notice::Loaded(report)) = notices.last() else {
        panic!("no report");
    };
    println!("name-only compounds of limits: {}", report.name_only);
    let mut n_rows = 0;
    for count in &report.files {
        let rows = table(&count.file).len();
        let refused = report.refused.iter().filter(|row| row.file == count.file).count();
        assert_eq!(count.rows, rows, "{}", count.file);
        assert_eq!(count.loaded + refused, rows, "{}", count.file);
        if count.file != "compounds.csv" {
            n_rows += count.loaded;
        }
    }
    assert!(report.refused.is_empty(), "{:?}", report.refused.first());
    assert_eq!(report.loaded, n_rows);
    let counts = library.statistics().unwrap();
    assert_eq!(counts.values, 504 + 362);
    assert_eq!(counts.specifications, 71);
    assert_eq!(counts.drafts, 0);
    assert_eq!(library.check_integrity().unwrap(), Vec::<String>::new());
    assert!(library.check_history().unwrap().is_sound());
    // A second opening loads nothing again.
    drop(library);
    let mut again = Vec::new();
    care::open_or_create(&path, biot::library::Access::Read, &mut |notice| again.push(notice)).unwrap();
    assert_eq!(again, []);
}

/// `structures.csv` is worked out again from the InChIs of the other tables.
#[test]
fn structures_table_follows_from_the_inchis() {
    let mut lines = BTreeSet::new();
    for row in table("compounds.csv").iter().chain(&table("multi_source_values.csv")) {
        if row["inchi"].is_empty() {
            assert_eq!(row["inchikey"], "");
            continue;
        }
        let structure = Structure::from_inchi(&row["inchi"]).unwrap();
        assert_eq!(structure.key().as_str(), row["inchikey"], "{}", row["name"]);
        let compound = NewCompound::with_structure("x", &structure).unwrap();
        // The tables were made with RDKit: our formula and molar mass are checked against it in passing.
        assert_eq!(
            compound.formula.as_deref(),
            Some(row["formula"].as_str()),
            "{}",
            row["name"]
        );
        let mass = compound.molar_mass.unwrap().grams_per_mole();
        let expected: f64 = row["molar_mass"].parse().unwrap();
        assert!(
            (mass / expected - 1.0).abs() < 2e-4,
            "{}: {mass} {expected}",
            row["name"]
        );
        lines.insert(format!(
            "{},{},{},{}",
            row["inchikey"],
            compound.mirror_key.unwrap_or_default(),
            compound.parent_key.unwrap_or_default(),
            compound.chirality
        ));
    }
    let lines: Vec<String> = lines.into_iter().collect();
    let expected = format!("inchikey,mirror_key,parent_key,chirality\n{}\n", lines.join("\n"));
    let written = Path::new(env!("CARGO_TARGET_TMPDIR")).join("structures.csv");
    std::fs::write(&written, &expected).unwrap();
    assert!(
        expected == std::fs::read_to_string(table_path("structures.csv")).unwrap(),
        "data/starter/structures.csv is not what follows from the InChIs; {} is",
        written.display()
    );
}
