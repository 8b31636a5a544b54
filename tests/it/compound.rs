//! Structures, mirror images, formulas, CAS numbers, keys and names.

use biot::compound::name::TokenKind::{Descriptor, Locant, Number, Word};
use biot::compound::{
    CasError, CasNumber, Chirality, CompoundKey, Formula, InchiKey, Relation, Structure, leaves_open, name,
};
use proptest::prelude::*;
use std::fmt::Write as _;

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

/// Mirror images made by inverting every tetrahedral centre with RDKit (tests/scripts/make_mirror_images.py).
#[test]
fn mirror_images_have_the_keys_of_inverted_structures() {
    let rows = table("mirror_images.csv");
    let mut chiral = 0;
    for row in &rows {
        let original = structure(&row[1]);
        let mirror = original.mirror_image().expect("a mirror image");
        assert_eq!(mirror.key().as_str(), &row[3], "{}", &row[0]);
        assert_eq!(mirror.mirror_image().as_ref(), Ok(&original), "{}", &row[0]);
        chiral += usize::from(mirror != original);
    }
    assert!(rows.len() > 500 && chiral > 450, "{chiral} of {}", rows.len());
}

/// Open and given tetrahedral centres as RDKit counts them. Differences: RDKit counts bridgehead nitrogens as open, which
/// InChI does not hold for stereogenic, and does not count double bonds.
#[test]
fn counts_of_stereocentres_agree_but_for_bridgehead_nitrogens() {
    let mut compared = 0;
    for row in table("compound_structures.csv")
        .iter()
        .filter(|row| !row[3].is_empty() && !row[6].is_empty())
    {
        let centres = structure(&row[1]).stereocentres();
        let (set, open): (usize, usize) = (row[6].parse().expect("a count"), row[7].parse().expect("a count"));
        let open_double_bonds = (centres.given + centres.open).saturating_sub(set + open);
        let nitrogen = row[1].contains('N') && centres.open < open;
        assert!(
            centres.given - centres.double_bonds.min(centres.given) <= set && set <= centres.given,
            "{}",
            &row[0]
        );
        assert!(
            centres.open == open || nitrogen || open_double_bonds > 0,
            "{}: {centres:?}",
            &row[0]
        );
        assert_eq!(
            Structure::from_inchi(&row[2]).expect("an InChI").stereocentres(),
            centres,
            "{}",
            &row[0]
        );
        compared += 1;
    }
    assert!(compared > 350);
}

/// Textbook cases (common practice).
#[test]
fn chirality_is_read_from_the_structure() {
    let cases = [
        ("C[C@H](N)C(=O)O", Chirality::Chiral),
        ("CC(N)C(=O)O", Chirality::Open),
        ("O[C@H]([C@@H](O)C(=O)O)C(=O)O", Chirality::Chiral),
        ("O[C@@H]([C@@H](O)C(=O)O)C(=O)O", Chirality::Meso),
        ("OC(C(O)C(=O)O)C(=O)O", Chirality::Open),
        ("CC(=O)O", Chirality::Achiral),
        ("C/C=C/C", Chirality::Achiral),
        ("C[C@@H]1CC[C@H](C)CC1", Chirality::Meso),
        ("C[S@](=O)c1ccccc1", Chirality::Chiral),
        ("C[C@H](N)C(=O)O.C[C@@H](N)C(=O)O", Chirality::Meso),
        ("[2H][C@H](C)O", Chirality::Chiral),
        ("CC=[C@]=CC", Chirality::Chiral),
    ];
    for (smiles, expected) in cases {
        assert_eq!(structure(smiles).chirality(), Ok(expected), "{smiles}");
    }
}

/// Textbook cases (common practice).
#[test]
fn relations_between_stereoisomers() {
    let (rr, ss, meso, open) = (
        "O[C@H]([C@@H](O)C(=O)O)C(=O)O",
        "O[C@@H]([C@H](O)C(=O)O)C(=O)O",
        "O[C@@H]([C@@H](O)C(=O)O)C(=O)O",
        "OC(C(O)C(=O)O)C(=O)O",
    );
    let cases = [
        (rr, rr, Relation::Same),
        (rr, ss, Relation::MirrorImage),
        (rr, meso, Relation::Diastereomer),
        (rr, open, Relation::OpenStereo),
        (rr, "OC(=O)CC(O)C(=O)O", Relation::Different),
        ("C/C=C/C", "C/C=C\\C", Relation::Diastereomer),
        ("[2H][C@H](C)O", "[2H][C@@H](C)O", Relation::MirrorImage),
        ("[2H][C@H](C)O", "CCO", Relation::Different),
        ("CC=[C@]=CC", "CC=[C@@]=CC", Relation::MirrorImage),
    ];
    for (a, b, expected) in cases {
        let (a, b) = (structure(a), structure(b));
        assert_eq!(a.relation(&b), Ok(expected), "{a} {b}");
        assert_eq!(b.relation(&a), Ok(expected), "{b} {a}");
        assert_eq!(
            a.key().connectivity() == b.key().connectivity(),
            expected != Relation::Different || a.inchi().hill_formula() == b.inchi().hill_formula()
        );
    }
}

/// IUPAC carbohydrate nomenclature (Pure Appl. Chem. 68 (1996) 1919, 2-Carb-6): D-glucopyranose leaves its anomeric centre
/// open, its α and β anomers give it; the L sugar and another sugar are none of them. The mirrored spelling has the other
/// parities and the other `/m`.
#[test]
fn an_anomer_is_what_its_sugar_leaves_open() {
    let open = structure("OC[C@H]1OC(O)[C@H](O)[C@@H](O)[C@@H]1O");
    let alpha = structure("OC[C@H]1O[C@H](O)[C@H](O)[C@@H](O)[C@@H]1O");
    let beta = structure("OC[C@H]1O[C@@H](O)[C@H](O)[C@@H](O)[C@@H]1O");
    let galactose = structure("OC[C@H]1O[C@H](O)[C@H](O)[C@@H](O)[C@H]1O");
    let is_left_open = |open: &Structure, given: &Structure| leaves_open(open.inchi().as_str(), given.inchi().as_str());
    assert!(is_left_open(&open, &alpha) && is_left_open(&open, &beta));
    assert!(!is_left_open(&alpha, &open) && !is_left_open(&alpha, &beta) && !is_left_open(&open, &open));
    assert!(!is_left_open(&open, &galactose) && !is_left_open(&open, &alpha.mirror_image().unwrap()));
    let mirrored = open.mirror_image().unwrap();
    assert!(is_left_open(&mirrored, &beta.mirror_image().unwrap()) && !is_left_open(&mirrored, &beta));
}

/// The parents are other rows of the reference table or written out here; pairs are common practice.
#[test]
fn salts_and_hydrates_have_the_free_compound_as_parent() {
    let cases = [
        ("N[C@@H](CS)C(=O)O.Cl", "N[C@@H](CS)C(=O)O"),
        ("N[C@@H](CCC(=O)[O-])C(=O)O.[Na+].O", "N[C@@H](CCC(=O)O)C(=O)O"),
        ("[NH3+][C@@H](C)C(=O)[O-]", "C[C@H](N)C(=O)O"),
        ("[NH3+][C@@H](C)C(=O)O.[Cl-]", "C[C@H](N)C(=O)O"),
        (
            "CN[C@@H](C)[C@H](O)c1ccccc1.CN[C@@H](C)[C@H](O)c1ccccc1.OS(=O)(=O)O",
            "CN[C@@H](C)[C@H](O)c1ccccc1",
        ),
        (
            "[K+].[Na+].O[C@H]([C@@H](O)C(=O)[O-])C(=O)[O-].O.O.O.O",
            "O[C@H]([C@@H](O)C(=O)O)C(=O)O",
        ),
        ("C[C@H](N)c1ccccc1.O[C@H]([C@@H](O)C(=O)O)C(=O)O", ""),
        ("O", "O"),
        ("CC(=O)[O-].[NH4+]", "CC(=O)O"),
    ];
    for (salt, parent) in cases {
        let found = structure(salt)
            .parent()
            .unwrap_or_else(|error| panic!("{salt}: {error}"));
        let expected = (!parent.is_empty()).then(|| structure(parent));
        assert_eq!(found, expected, "{salt}");
    }
    let rows = table("compound_structures.csv");
    let by_name = |name: &str| {
        rows.iter()
            .find(|row| &row[0] == name)
            .map(|row| structure(&row[1]))
            .expect("the compound is in the table")
    };
    let magnesium = by_name("(S)-(−)-omeprazole magnesium (esomeprazole magnesium)")
        .parent()
        .expect("a parent")
        .expect("one parent");
    assert_eq!(magnesium.inchi().hill_formula(), "C17H19N3O3S");
    assert!(!magnesium.inchi().as_str().contains("/q"));
}

/// The handedness of `@` on an allene, drawn in space as OpenSMILES describes it: seen from the first methyl group, the
/// hydrogen, then hydrogen and methyl of the far end run counter-clockwise. InChI takes its parity from the coordinates.
#[test]
fn an_allene_has_the_hand_that_its_coordinates_have() {
    // C1 (methyl) C2 =C3= C4 C5 (methyl); x, y, z in ångström. Methyl C1 lies to +x of C2, methyl C5 to `side` of C4 in y.
    let molfile = |side: f64| {
        let atoms = [
            ("C", 1.2, 0.0, 1.9),
            ("C", 0.0, 0.0, 1.3),
            ("C", 0.0, 0.0, 0.0),
            ("C", 0.0, 0.0, -1.3),
            ("C", 0.0, 1.2 * side, -1.9),
            ("H", -0.9, 0.0, 1.9),
            ("H", 0.0, -0.9 * side, -1.9),
        ];
        let bonds = [(1, 2, 1), (2, 3, 2), (3, 4, 2), (4, 5, 1), (2, 6, 1), (4, 7, 1)];
        let mut text = String::from("\n  x                    3D\n\n  7  6  0  0  0  0  0  0  0  0999 V2000\n");
        for (symbol, x, y, z) in atoms {
            writeln!(
                text,
                "{x:10.4}{y:10.4}{z:10.4} {symbol:<3} 0  0  0  0  0  0  0  0  0  0  0  0"
            )
            .expect("text grows");
        }
        for (a, b, order) in bonds {
            writeln!(text, "{a:3}{b:3}{order:3}  0").expect("text grows");
        }
        text + "M  END\n"
    };
    // Written order: C1, H (of C2) in front of the axis; H (of C4), C5 behind it. Seen from C1 at +x: H of C2 at −x is in
    // the middle distance; going H(C2) above, H(C4), C5 below runs clockwise when C5 is on the right, +y being left.
    let clockwise = |h4: f64, c5: f64| {
        let (v, a, b, c) = ([1.2, 0.0, 1.9], [-0.9, 0.0, 1.9], [0.0, h4, -1.9], [0.0, c5, -1.9]);
        let d = |p: [f64; 3]| [p[0] - v[0], p[1] - v[1], p[2] - v[2]];
        let (a, b, c) = (d(a), d(b), d(c));
        let cross = [
            b[1] * c[2] - b[2] * c[1],
            b[2] * c[0] - b[0] * c[2],
            b[0] * c[1] - b[1] * c[0],
        ];
        a[0] * cross[0] + a[1] * cross[1] + a[2] * cross[2] > 0.0
    };
    for side in [1.0, -1.0] {
        let drawn = inchi::from_molfile(molfile(side), ()).expect("a molfile").into_inchi();
        let smiles = if clockwise(-0.9 * side, 1.2 * side) {
            "CC=[C@@]=CC"
        } else {
            "CC=[C@]=CC"
        };
        assert_eq!(structure(smiles).inchi().as_str(), drawn, "{side}");
    }
}

#[test]
fn spoiled_inchi_texts_are_refused() {
    let whole = "InChI=1S/C10H20O/c1-7(2)9-5-4-8(3)6-10(9)11/h7-11H,4-6H2,1-3H3/t8-,9+,10-/m1/s1";
    assert!(Structure::from_inchi(whole).is_ok());
    // Layers of hydrogens and connections cannot be missing or cut; a carbon atom by itself is a structure.
    let hydrogens = whole.find("/t").expect("a layer");
    for cut in (0..hydrogens).filter(|cut| &whole[..*cut] != "InChI=1S/C") {
        assert!(Structure::from_inchi(&whole[..cut]).is_err(), "{}", &whole[..cut]);
    }
    for text in [
        "",
        "InChI=1S/",
        "InChI=1/CH4/h1H4",
        "InChI=1S/CH4/h1H4\0",
        "InChI=1S/C\u{fc}",
        "InChI=1S/CH4 /h1H4",
        "InChI=1S/XyH4/h1H4",
    ] {
        assert!(Structure::from_inchi(text).is_err(), "{text}");
    }
}

#[test]
fn hostile_smiles_are_errors() {
    let deep = "(".repeat(5000);
    let long_ring = format!("C1{}1", "C".repeat(1500));
    let nested = format!("{}C{}", "C(".repeat(3000), ")".repeat(3000));
    for smiles in [
        "", " ", "*", "C1CC", "C(", "[C", "[Xx]", "C%", "C=1CC#1", "c1cccc1", "[C@@@H]", "\0", "é", "C1CC1.C2", &deep,
        &long_ring, &nested,
    ] {
        assert!(
            Structure::from_smiles(smiles).is_err(),
            "{}",
            &smiles.chars().take(30).collect::<String>()
        );
    }
}

#[test]
fn keys_are_checked_and_printed() {
    let key = "NOOLISFMXDJSKH-UTLUCORTSA-N";
    assert_eq!(key.parse::<InchiKey>().expect("a key").connectivity(), "NOOLISFMXDJSKH");
    assert_eq!(
        format!("InChIKey={key}").parse::<InchiKey>().expect("a key").as_str(),
        key
    );
    for wrong in [
        "",
        "NOOLISFMXDJSKH",
        "NOOLISFMXDJSKH-UTLUCORTNA-N",
        "noolisfmxdjskh-utlucortsa-n",
        "NOOLISFMXDJSKH-UTLUCORTSA-N1",
    ] {
        assert!(wrong.parse::<InchiKey>().is_err(), "{wrong}");
    }
    for text in [key.to_string(), format!("{key}#Ra"), "#poly (R)".to_string()] {
        assert_eq!(text.parse::<CompoundKey>().expect("a key").to_string(), text);
    }
    for wrong in ["", "#", "Ra", "#a#b", &format!("{key}#")] {
        assert!(wrong.parse::<CompoundKey>().is_err(), "{wrong}");
    }
}

/// Numbers in common use (from memory); the check digit is the proof.
#[test]
fn cas_numbers_have_their_check_digit() {
    for number in [
        "7732-18-5",
        "64-17-5",
        "67-66-3",
        "2216-51-5",
        "57-50-1",
        "50-99-7",
        "130-95-0",
    ] {
        assert_eq!(number.parse::<CasNumber>().expect("a CAS number").to_string(), number);
    }
    assert_eq!(
        "7732–18–5".parse::<CasNumber>().expect("a CAS number").to_string(),
        "7732-18-5"
    );
    assert_eq!(
        "7732-18-4".parse::<CasNumber>(),
        Err(CasError::CheckDigit {
            text: "7732-18-4".to_string(),
            found: 4,
            expected: 5
        })
    );
    for wrong in [
        "",
        "7732185",
        "1-18-5",
        "7732-1-5",
        "7732-18-55",
        "a732-18-5",
        "12345678-12-1",
        "0064-17-5",
    ] {
        assert!(
            matches!(wrong.parse::<CasNumber>(), Err(CasError::Form { .. })),
            "{wrong}"
        );
    }
}

/// Printed formulas; masses by hand from the standard atomic weights C 12.011, H 1.008, O 15.999, N 14.007 (IUPAC).
/// Found by made-up texts: a fraction beyond the largest multiplier was read and could not be read back, and a mixed number
/// ran over.
#[test]
fn multipliers_beyond_any_formula_are_refused() {
    for text in ["2991/2N", "999999½H2O", "½·999999/999999H2O", "1001H2O"] {
        assert!(Formula::parse(text).is_err(), "{text}");
    }
    for text in ["1999/2N", "1000H2O", "2½H2O"] {
        let read = Formula::parse(text).expect(text);
        assert_eq!(Formula::parse(&read.to_string()).expect(text), read);
    }
}

#[test]
fn printed_formulas_are_read() {
    let quinine = 20.0 * 12.011 + 24.0 * 1.008 + 2.0 * 14.007 + 2.0 * 15.999;
    let water = 2.0 * 1.008 + 15.999;
    let cases = [
        ("C20H24N2O2·2H2O", "C20H24N2O2·2H2O", quinine + 2.0 * water),
        ("C20H24N2O2.2H2O", "C20H24N2O2·2H2O", quinine + 2.0 * water),
        ("C20H24N2O2 * 2 H2O", "C20H24N2O2·2H2O", quinine + 2.0 * water),
        ("C₂₀H₂₄N₂O₂•2H₂O", "C20H24N2O2·2H2O", quinine + 2.0 * water),
        ("C20H24N2O2·½H2O", "C20H24N2O2·0.5H2O", quinine + 0.5 * water),
        ("C20H24N2O2·0.5H2O", "C20H24N2O2·0.5H2O", quinine + 0.5 * water),
        ("C20H24N2O2·1/2 H2O", "C20H24N2O2·0.5H2O", quinine + 0.5 * water),
        ("C20H24N2O2.1.5H2O", "C20H24N2O2·1.5H2O", quinine + 1.5 * water),
        ("C20H24N2O2·2½H2O", "C20H24N2O2·2.5H2O", quinine + 2.5 * water),
        ("C20H24N2O2·1/3H2O", "C20H24N2O2·1/3H2O", quinine + water / 3.0),
        ("O2N2H24C20", "C20H24N2O2", quinine),
        ("(CH3)2CHOH", "C3H8O", 3.0 * 12.011 + 8.0 * 1.008 + 15.999),
        ("NH4+", "H4N+", 14.007 + 4.0 * 1.008),
        ("[C5H14NO]+", "C5H14NO+", 5.0 * 12.011 + 14.0 * 1.008 + 14.007 + 15.999),
        ("C2O4^2-", "C2O4^2-", 2.0 * 12.011 + 4.0 * 15.999),
        ("[C2O4]2-", "C2O4^2-", 2.0 * 12.011 + 4.0 * 15.999),
        ("C₂O₄²⁻", "C2O4^2-", 2.0 * 12.011 + 4.0 * 15.999),
        ("C2O4 2-", "C2O4^2-", 2.0 * 12.011 + 4.0 * 15.999),
        ("D2O", "D2O", 2.0 * 2.01410178 + 15.999),
        ("[13C]H4", "[13C]H4", 13.0033548 + 4.0 * 1.008),
    ];
    for (printed, canonical, mass) in cases {
        let read = Formula::parse(printed).unwrap_or_else(|error| panic!("{printed}: {error}"));
        assert_eq!(read.to_string(), canonical, "{printed}");
        let difference = read.molar_mass().grams_per_mole() - mass;
        assert!(difference.abs() < 1e-9 * mass, "{printed}: {difference}");
    }
    for wrong in [
        "",
        "Xx",
        "C0",
        "(CH3",
        "C)",
        "h2o",
        "C2O42-",
        "CH4·",
        "[99C]",
        "C9999999",
        "2",
        "+",
        "C6H12O6 and more",
    ] {
        assert!(Formula::parse(wrong).is_err(), "{wrong}");
    }
}

/// DESIGN names the first four as one thing; the others are spellings met in the reference tables or common practice.
#[test]
fn names_share_a_stem_and_list_their_descriptors() {
    let cases: [(&str, &str, &[&str]); 26] = [
        ("(−)-menthol", "menthol", &["(-)"]),
        ("l-menthol", "menthol", &["l"]),
        ("menthol, (1R,2S,5R)-", "menthol", &["1R", "2S", "5R"]),
        ("L-(-)-Menthol", "menthol", &["L", "(-)"]),
        ("MENTHOL", "menthol", &[]),
        ("DL-Menthol", "menthol", &["DL"]),
        ("d,l-menthol", "menthol", &["d", "l"]),
        ("(±)-menthol", "menthol", &["(±)"]),
        ("(+/-)-Menthol", "menthol", &["(±)"]),
        ("α-D-glucopyranose", "glucopyranose", &["alpha", "D"]),
        ("alpha-D-Glucopyranose", "glucopyranose", &["alpha", "D"]),
        ("(R)-(−)‑carvone", "carvone", &["R", "(-)"]),
        ("(1S,5S)-2-pinene", "2-pinene", &["1S", "5S"]),
        ("2-butanol", "2-butanol", &[]),
        ("(2R)-butan-2-ol", "butan-2-ol", &["2R"]),
        ("N,N-Dimethylformamide", "n,n-dimethylformamide", &[]),
        ("meso-tartaric acid", "tartaric acid", &["meso"]),
        ("trans-stilbene oxide", "stilbene oxide", &["trans"]),
        (
            "benzoic acid, 2-hydroxy-, methyl ester",
            "2-hydroxybenzoic acid methyl ester",
            &[],
        ),
        ("2-hydroxy-benzoic acid", "2-hydroxybenzoic acid", &[]),
        ("polysorbate 80", "polysorbate 80", &[]),
        ("vitamin D", "vitamin d", &[]),
        ("5α-cholestane", "cholestane", &["5alpha"]),
        ("(3aS,7aR)-indane", "indane", &["3aS", "7aR"]),
        ("Éphédrine", "ephedrine", &[]),
        ("2′-deoxy-β-d-ribose", "2-deoxyribose", &["beta", "d"]),
    ];
    for (printed, stem, descriptors) in cases {
        assert_eq!(name::stem(printed), stem, "{printed}");
        assert_eq!(name::descriptors(printed), descriptors, "{printed}");
    }
    let kinds: Vec<_> = name::tokens("(1R)-2-methyl butane 80")
        .into_iter()
        .map(|token| token.kind)
        .collect();
    assert_eq!(kinds, [Descriptor, Locant, Word, Word, Number]);
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(1000))]

    #[test]
    fn folding_a_folded_name_changes_nothing(text in "\\PC{0,40}") {
        let once = name::fold(&text);
        prop_assert_eq!(name::fold(&once), once);
        let _ = (name::NameKey::of(&text), name::tokens(&text));
    }

    #[test]
    fn any_text_is_read_or_refused_without_panic(text in "\\PC{0,30}") {
        let _ = (text.parse::<CasNumber>(), text.parse::<InchiKey>(), text.parse::<CompoundKey>());
        let _ = Formula::parse(&text).map(|formula| formula.molar_mass());
        let _ = Structure::from_inchi(&format!("InChI=1S/{text}"));
    }

    #[test]
    fn a_printed_formula_is_read_back(text in "(½|2|0\\.5|)[A-Z][a-z]?[0-9]{0,2}(\\([CHNO]{1,3}\\)[2-9])?[CHNOD]{0,4}[0-9]{0,2}(²⁺|\\+|-|\\^3-|)(·(3|1/3)?H2O)?") {
        if let Ok(formula) = Formula::parse(&text) {
            prop_assert_eq!(Formula::parse(&formula.to_string()), Ok(formula), "{}", text);
        }
    }

    #[test]
    fn texts_like_smiles_never_panic(parts in prop::collection::vec(prop::sample::select(vec![
        "C", "c", "N", "[nH]", "O", "S", "1", "2", "%12", "(", ")", "=", "#", "$", "/", "\\", "[C@H]", "[C@@]", "[S@]", "[2H]", "[O-]", "[N+]", ".",
        "*", "[13CH3]", ":", "~", "->", "@", "[Fe+2]", "[Pt@SP1]", "Cl", "[C@AL1]", "[H]", "P", "[", "]", "F",
    ]), 0..14)) {
        let smiles = parts.concat();
        if let Ok(read) = Structure::from_smiles(&smiles) {
            let again = Structure::from_inchi(read.inchi().as_str());
            prop_assert!(again.is_err() || again.as_ref().map(Structure::key) == Ok(read.key()), "{} {:?}", smiles, again);
            let _ = (read.mirror_image(), read.parent(), read.chirality());
        }
    }
}
