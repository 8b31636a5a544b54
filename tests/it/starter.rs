//! The starter library: every row is loaded or refused, and what is loaded is what stands in the tables.

use biot::compound::Structure;
use biot::library::{EntryKind, Filter, Hand, Identity, Library, NewCompound, ReviewState, SourceKind, Why};
use biot::quantity::{ConcentrationUnit, SpectralLine};
use biot::statement::{Role, RotationKind, Sign, Stage};
use biot::tasks::care::{self, Notice};
use biot::tasks::resolve::{Resolution, resolve};
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
    // Counted, never guessed: limits of substances that no compound of the other tables is.
    assert_eq!(report.name_only, 43);
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
    assert_eq!(counts.values, 504 + 369);
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

/// Every row of the tables of values stands in the library as printed: numbers with their digits, conditions, source,
/// and the marks of `marks.csv`.
#[test]
fn entries_hold_what_the_tables_print() {
    let (_folder, library) = starter_library();
    let mut by_place: BTreeMap<String, Vec<biot::library::Entry>> = BTreeMap::new();
    library
        .for_each_entry(|entry| {
            by_place
                .entry(entry.statement.as_printed.clone())
                .or_default()
                .push(entry);
            Ok(())
        })
        .unwrap();
    let mut n_seen = 0;
    for (file, key) in [("starter_entries.csv", "entry"), ("multi_source_values.csv", "id")] {
        for row in table(file) {
            let printed = |text: &str| Some(text.to_owned()).filter(|text| !text.is_empty());
            let matches = by_place[&row["as_printed"]].iter().filter(|entry| {
                let statement = &entry.statement;
                let number = |number: Option<biot::quantity::Printed>| number.map(|number| number.to_string());
                number(statement.value) == printed(&row["value"])
                    && number(statement.low) == printed(&row["low"])
                    && number(statement.high) == printed(&row["high"])
                    && statement
                        .path
                        .map(|path| ((path.millimetres() * 1e6).round() / 1e6).to_string())
                        == printed(&row["path_mm"])
                    && statement.basis == printed(&row["basis"])
                    && number(statement.concentration.map(|c| c.low))
                        == printed(&row["conc"]).or_else(|| printed(row.get("conc_low").map_or("", String::as_str)))
                    && entry.comment == printed(&row["comment"])
            });
            assert!(matches.count() >= 1, "{file} {}", row[key]);
            n_seen += 1;
        }
    }
    assert_eq!(n_seen, 873);
}

/// Rows read by hand against the tables.
#[test]
fn rows_read_by_hand_are_as_they_stand() {
    let (_folder, library) = starter_library();
    let entries_of = |name: &str| {
        let compounds = library.compounds_by_name(name).unwrap();
        assert_eq!(compounds.len(), 1, "{name}");
        library.entries(compounds[0].id).unwrap()
    };
    // h014d7914.0: "+425.36 deg at 365 °C", which the table reads as 365 nm.
    let gemcitabine = entries_of("gemcitabine");
    let green = &gemcitabine[0];
    assert_eq!(green.statement.value.unwrap().to_string(), "425.36");
    assert_eq!(green.statement.line, Some(SpectralLine::at_nanometres(365.0).unwrap()));
    assert_eq!(green.statement.role, Some(Role::Compiled));
    assert!(
        green
            .statement
            .doubts
            .iter()
            .any(|doubt| doubt.contains("unit misprint"))
    );
    assert_eq!((green.kept_out.as_deref(), green.state), (None, ReviewState::Confirmed));
    // m0163: ">98% ee", HPLC.
    let diphenylethanol = entries_of("(R)-1,2-diphenylethanol");
    let ee = diphenylethanol[0].statement.ee.clone().unwrap();
    assert!(ee.at_least);
    assert_eq!(
        (ee.percent.value(), ee.method.as_deref()),
        (98.0, Some("HPLC, chiral column"))
    );
    let sulfoxide = entries_of("(S)-benzyl tert-butyl sulfoxide");
    let ee = sulfoxide[0].statement.ee.clone().unwrap();
    assert_eq!((ee.at_least, ee.method), (true, None));
    // hc77575ad.0: ten times too large, kept as printed and out of pooling.
    let iopamidol = entries_of("(S)-(−)-iopamidol");
    assert_eq!(iopamidol[0].statement.value.unwrap().value(), -20.1);
    assert!(iopamidol[0].kept_out.as_deref().unwrap().contains("ten times"));
    // h03cb6de8.0: the hand was taken from the sign.
    assert_eq!(entries_of("(R)-(+)-usnic acid")[0].hand, Hand::Inferred);
    // m0326: αD of the liquid stays an observed rotation.
    assert!(
        entries_of("(+)-sabinene")
            .iter()
            .any(|entry| entry.statement.kind == RotationKind::Observed)
    );
    // h17757012: a degree sign misprinted as °C is a doubt but no reason to keep the value out.
    let cysteine = entries_of("L-cysteine hydrochloride");
    assert!(cysteine.iter().all(|entry| entry.kept_out.is_none()));
    // h29fe53bb.0: the sign is not printed.
    assert!(
        entries_of("fludrocortisone")
            .iter()
            .any(|entry| entry.statement.sign == Sign::NotStated)
    );
    // m0010: equilibrium and initial values of the sugars.
    assert!(
        entries_of("alpha-D-glucose")
            .iter()
            .any(|entry| entry.statement.stage == Some(Stage::Initial))
    );
    // spec_ranges.csv: "divide by 0.646", one-sided limit, "1 in 10", an observed angle in a stated tube.
    let salt = entries_of("aspartame-acesulfame salt (E 962)");
    assert_eq!(salt[0].method.clone().unwrap().divide_by.unwrap().to_string(), "0.646");
    assert_eq!(salt[0].statement.time_note.as_deref(), Some("within 30 min"));
    let orange = entries_of("oil of orange (observed rotation)");
    assert_eq!(
        (orange[0].statement.low.unwrap().value(), orange[0].statement.high),
        (95.0, None)
    );
    assert_eq!(orange[0].statement.kind, RotationKind::Observed);
    assert_eq!(orange[0].statement.path.unwrap().millimetres(), 100.0);
    let tocopherol = entries_of("DL-alpha-tocopherol (E 307)");
    let c = tocopherol[0].statement.concentration.unwrap();
    assert_eq!(
        (c.low.value(), c.unit),
        (10.0, ConcentrationUnit::GramsPer100Millilitres)
    );
    assert_eq!(tocopherol[0].statement.doubts.len(), 1);
    // "water (not printed; …)" is no printed solvent.
    assert_eq!(entries_of("L(+)-tartaric acid (INS 334)")[0].statement.solvent, None);
}

/// Whoever types a preferred name means one compound: hydrates say so in theirs, and a sugar is one, however it is drawn.
#[test]
fn no_two_compounds_have_one_preferred_name() {
    let (_folder, library) = starter_library();
    let mut seen = BTreeMap::new();
    library
        .for_each_compound(|compound| {
            if let Some(other) = seen.insert(compound.name.to_lowercase(), compound.id) {
                panic!("{} is compound {other} and {}", compound.name, compound.id);
            }
            Ok(())
        })
        .unwrap();
    let values = |name: &str| {
        let Resolution::One(found) = resolve(&library, name).unwrap() else {
            panic!("{name} is not one compound")
        };
        library.entries(found.compound.id).unwrap().len()
    };
    assert_eq!(
        (
            values("D-xylose"),
            values("raffinose pentahydrate"),
            values("raffinose")
        ),
        (4, 1, 3)
    );
}

#[test]
fn every_mark_is_applied_and_names_a_record() {
    let (_folder, library) = starter_library();
    let mut counts: BTreeMap<&str, usize> = BTreeMap::new();
    let records: BTreeSet<String> = table("starter_entries.csv")
        .iter()
        .map(|row| row["entry"].clone())
        .chain(table("multi_source_values.csv").iter().map(|row| row["id"].clone()))
        .chain(table("compounds.csv").iter().map(|row| row["compound"].clone()))
        .chain((2..=72).map(|line| format!("spec:{line}")))
        .collect();
    let marks = table("marks.csv");
    for mark in &marks {
        assert!(records.contains(&mark["record"]), "{}", mark["record"]);
        assert!(!mark["reason"].is_empty(), "{}", mark["record"]);
        *counts.entry(mark["mark"].as_str()).or_default() += 1;
    }
    let mut kept_out = 0;
    let mut not_independent = 0;
    library
        .for_each_entry(|entry| {
            kept_out += usize::from(entry.kept_out.is_some());
            not_independent += usize::from(entry.hand != Hand::Independent);
            Ok(())
        })
        .unwrap();
    assert_eq!(counts["kept_out"], kept_out);
    assert_eq!(counts["hand"], not_independent);
}

/// All rows of the compilation share one source; the others have one for each distinct citation.
#[test]
fn the_compilation_is_one_source() {
    let (_folder, library) = starter_library();
    let mut by_source: BTreeMap<i64, usize> = BTreeMap::new();
    library
        .for_each_entry(|entry| {
            if entry.kind == EntryKind::Value {
                *by_source.entry(entry.source.0).or_default() += 1;
            }
            Ok(())
        })
        .unwrap();
    let compilations: Vec<usize> = by_source
        .iter()
        .filter(|&(&id, _)| library.source(biot::library::SourceId(id)).unwrap().kind == SourceKind::Compilation)
        .map(|(_, n)| *n)
        .collect();
    assert_eq!(compilations, [504]);
    let citations: BTreeSet<String> = table("multi_source_values.csv")
        .iter()
        .map(|row| row["citation"].clone())
        .collect();
    assert_eq!(by_source.len(), 1 + citations.len());
}

/// Two records that share an InChIKey (gossypol), and polymers, are told apart by a descriptor of our own; mirror
/// images are found by InChIKey or by that descriptor.
#[test]
fn mirror_images_and_families_are_found() {
    let (_folder, library) = starter_library();
    let one = |name: &str| {
        let mut found = library.compounds_by_name(name).unwrap();
        assert_eq!(found.len(), 1, "{name}");
        found.remove(0)
    };
    for (a, b) in [
        ("(S)-(+)-gossypol", "(R)-(−)-gossypol"),
        (
            "poly(D-lactic acid), poly[(R)-lactic acid]",
            "poly(L-lactic acid), poly[(S)-lactic acid]",
        ),
        ("L-methionine", "D-methionine"),
        ("(S)-(+)-2-butanol", "(R)-(-)-2-butanol"),
    ] {
        let (a, b) = (one(a), one(b));
        assert_eq!(
            library.mirror_image(&a).unwrap().map(|mirror| mirror.id),
            Some(b.id),
            "{}",
            a.name
        );
        assert_eq!(
            library.mirror_image(&b).unwrap().map(|mirror| mirror.id),
            Some(a.id),
            "{}",
            b.name
        );
    }
    // Its mirror image is not in the starter library, and it is not its own mirror image.
    assert_eq!(library.mirror_image(&one("sucrose")).unwrap(), None);
    let menthols = library.stereoisomers(&one("(−)-menthol (L-menthol)")).unwrap();
    assert!(
        menthols.iter().any(|other| other.name.contains("(±)-menthol")),
        "{menthols:?}"
    );
    let forms = library.related_forms(&one("L-cysteine hydrochloride")).unwrap();
    assert!(forms.iter().any(|form| form.name == "L-cysteine"), "{forms:?}");
    assert!(library.compounds_by_cas("58-22-0").unwrap().len() == 1);
}

#[test]
fn the_distribution_of_printed_conditions_is_kept() {
    let (_folder, library) = starter_library();
    let distribution = library.print_distribution().unwrap();
    assert!(distribution.n_concentrations > 300, "{}", distribution.n_concentrations);
    assert_eq!(distribution.concentrations.len(), 101);
    // Most rotations are read at 1 g/100 mL (common practice), and the quantiles rise.
    let median = distribution.concentrations[50];
    assert!((0.5..=2.0).contains(&median), "{median}");
    assert!(distribution.concentrations.is_sorted());
    // Cells of 1 and 2 dm are the usual ones (common practice).
    assert!(distribution.lengths.iter().all(|length| (0.1..=4.0).contains(length)));
}

#[test]
fn identities_are_those_of_the_tables() {
    let (_folder, library) = starter_library();
    let mut found: BTreeMap<&str, usize> = BTreeMap::new();
    library
        .for_each_entry(|entry| {
            if entry.kind == EntryKind::Value {
                *found.entry(entry.identity.as_str()).or_default() += 1;
            }
            Ok(())
        })
        .unwrap();
    let mut expected: BTreeMap<&str, usize> = BTreeMap::new();
    let rows: Vec<_> = table("starter_entries.csv")
        .into_iter()
        .chain(table("multi_source_values.csv"))
        .collect();
    for row in &rows {
        *expected
            .entry(Identity::from_word(&row["identity"]).unwrap().as_str())
            .or_default() += 1;
    }
    assert_eq!(found, expected);
}

#[test]
fn a_search_can_be_narrowed_by_condition() {
    let (_folder, library) = starter_library();
    let solvent = biot::solvent::Solvent::parse("CHCl3").unwrap();
    let filter = Filter {
        solvent: Some(solvent),
        ..Filter::default()
    };
    let all = library.search("menthol", &Filter::default(), 20).unwrap();
    assert!(
        all.hits
            .iter()
            .any(|hit| hit.why == Why::SameStem || hit.why == Why::ExactName)
    );
    for hit in library.search("camphor", &filter, 20).unwrap().hits {
        assert!(
            library
                .entries(hit.compound.id)
                .unwrap()
                .iter()
                .any(|entry| entry.statement.solvent == filter.solvent)
        );
    }
}
