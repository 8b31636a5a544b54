//! What is fuzzed: a function of bytes that must not panic, with seeds from the test data and a dictionary.
//!
//! Each function answers with the shape of what it found, a number that differs where the program took another way.

use biot::compound::{Formula, Structure, name};
use biot::exchange::field::Field;
use biot::exchange::jcamp;
use biot::exchange::mapping::{Assignment, Mapping};
use biot::exchange::record::{Defaults, Maker};
use biot::exchange::references::References;
use biot::exchange::rows::{Event, Format, ReadError, ReadOptions, read};
use biot::notation::{self, Style};
use biot::quantity;
use biot::solvent::Solvent;
use biot::tasks::reduce::read_readings;
use std::hash::{DefaultHasher, Hash, Hasher};
use std::path::PathBuf;

/// One thing that is fuzzed.
pub struct Target {
    /// Its name on the command line.
    pub name: &'static str,
    /// Reads the bytes; panics when a property does not hold.
    pub run: fn(&[u8]) -> u64,
    /// Texts to begin with.
    pub seeds: fn() -> Vec<Vec<u8>>,
    /// Words that mean something to it.
    pub dictionary: &'static [&'static str],
}

/// All of them.
pub const TARGETS: &[Target] = &[
    Target {
        name: "read",
        run: read_text,
        seeds: printed_statements,
        dictionary: STATEMENT_WORDS,
    },
    Target {
        name: "csv",
        run: |bytes| import(bytes, Format::Table),
        seeds: || files(&["csv", "tsv"]),
        dictionary: TABLE_WORDS,
    },
    Target {
        name: "cif",
        run: |bytes| import(bytes, Format::Cif),
        seeds: || files(&["cif"]),
        dictionary: CIF_WORDS,
    },
    Target {
        name: "jsonl",
        run: |bytes| import(bytes, Format::JsonLines),
        seeds: || files(&["jsonl"]),
        dictionary: TABLE_WORDS,
    },
    Target {
        name: "references",
        run: references,
        seeds: || files(&["bib", "ris"]),
        dictionary: &[
            "@article{",
            "author = {",
            "}",
            "TY  - JOUR",
            "ER  - ",
            "DO  - ",
            "\\\"o",
            "year",
            "10.1000/x",
        ],
    },
    Target {
        name: "readings",
        run: readings,
        seeds: || {
            vec![
                b"role,angle_deg,time_s,temperature_c\nblank,0.002,,20.0\nsample,-0.842,60,20.1\nsample,-0.841,0:02:00,20.1\n".to_vec(),
                b"Winkel [mdeg];t/min\n-842,5;1\n-841,7;2 min\n".to_vec(),
                b"-0.842\n-0.841\n-0.843\n".to_vec(),
                JCAMP.as_bytes().to_vec(),
            ]
        },
        dictionary: &[
            "angle", "mdeg", "line", "365", "blank", "sample", "time", "0:02:30", "1e300", ";", "\t", ",", "NaN", "°",
        ],
    },
    Target {
        name: "jcamp",
        run: jcamp,
        seeds: || vec![JCAMP.as_bytes().to_vec(), JCAMP_PAIRS.as_bytes().to_vec()],
        dictionary: &[
            "##XYDATA=(X++(Y..Y))",
            "##XYPOINTS=(XY..XY)",
            "##NPOINTS=",
            "##XFACTOR=1e300",
            "##YFACTOR=0",
            "##END=",
            "$$",
            "@J%",
            "T",
            "?",
            "E-5",
            "S9",
            "##FIRSTX=",
            "##LASTX=",
            "+",
            "-",
        ],
    },
    Target {
        name: "solvent",
        run: solvent,
        seeds: solvents,
        dictionary: &[
            " aq",
            "N HCl",
            "/H2O 1:1",
            "95% ",
            "pH 7",
            " buffer",
            "dry ",
            "in ",
            "<sub>3</sub>",
            "₃",
            "~3~",
            "w/w",
            "(",
            ")",
            "mM ",
            " + ",
            "conc. ",
            "水",
            "0.1 ",
        ],
    },
    Target {
        name: "formula",
        run: formula,
        seeds: || {
            lines("C6H12O6\nC9H13NO2·HCl·1/2H2O\n(C2H5)2O\nNa2[Fe(CN)6]\nC₁₀H₁₆O\n2 H2O\nCu(NH3)4SO4.5H2O\nD2O\n13CH4")
        },
        dictionary: &[
            "(", ")", "[", "]", "·", ".", "1/2", "99999999", "Uuo", "13C", "₂", "x H2O", "^+", "2-",
        ],
    },
    Target {
        name: "structure",
        run: structure,
        seeds: structures,
        dictionary: &[
            "InChI=1S/",
            "/t",
            "/m0/s1",
            "/c1-2",
            "/h1H",
            "[C@@H]",
            "(",
            ")",
            "%12",
            "=",
            "#",
            "/",
            "\\",
            ".",
            "[Na+]",
            "/b3-2+",
        ],
    },
    Target {
        name: "quantity",
        run: quantity,
        seeds: || {
            lines(
                "-49.1\n20 °C\n298.15 K\n589 nm\n1 dm\n10 g/L\n1.5 % w/w\n12° 30'\n0.1 mol/L\n−0,35\n5461 Å\n1e400\n±2",
            )
        },
        dictionary: &[
            "°", "'", " nm", "−", ",", ".", "e9", "/100 mL", "%", "to", "..", "±", "∞", "NaN",
        ],
    },
];

/// Invented curves.
const JCAMP: &str = "##TITLE=made up\n##JCAMP-DX=4.24\n##DATA TYPE=OPTICAL ROTATORY DISPERSION\n##XUNITS=NANOMETERS\n\
    ##YUNITS=DEGREES\n##XFACTOR=1\n##YFACTOR=0.001\n##FIRSTX=400\n##LASTX=404\n##NPOINTS=5\n##FIRSTY=0.1\n\
    ##XYDATA=(X++(Y..Y))\n400 100 101 102\n403 103+104\n##END=\n";
const JCAMP_PAIRS: &str = "##TITLE=made up\n##JCAMP-DX=4.24\n##DATA TYPE=ORD\n##XUNITS=NANOMETERS\n##YUNITS=DEGREES\n\
    ##XFACTOR=1\n##YFACTOR=1\n##NPOINTS=2\n##XYPOINTS=(XY..XY)\n589.3,1.2; 546.1,1.4\n##END=\n";

const STATEMENT_WORDS: &[&str] = &[
    "[α]",
    "[a]D",
    "[M]",
    "D",
    "20",
    "25",
    "589",
    "546",
    "nm",
    "°",
    " deg",
    "−",
    "+",
    "±",
    "(c 1.0, CHCl3)",
    "(c ",
    ", ",
    "; ",
    " in ",
    "H2O",
    "EtOH",
    "(lit. ",
    ")",
    "]",
    "[",
    "{",
    "}",
    "$",
    "\\alpha",
    "\\mathrm{D}",
    "^{20}",
    "_D",
    "<sub>",
    "</sub>",
    "<sup>",
    "&alpha;",
    ".alpha.",
    ".degree.",
    "specific rotation",
    "比旋度",
    "旋光度",
    "rotation",
    " to ",
    "→",
    "l = 1 dm",
    "% ee",
    " K",
    " × 10",
    "|",
    "\n",
    "\r\n",
    "\u{200B}",
    "\u{A0}",
    "0.",
    ",5",
    " and ",
    "respectively",
    "neat",
    "O",
    "l",
    "?",
    "changing to",
    "reported",
    "wt%",
    "mg/mL",
    "ca. ",
    "not less than ",
    "à",
    "от",
    "１",
    "［",
    "］",
];

const TABLE_WORDS: &[&str] = &[
    "name", "[α]", "solvent", "c", "T/°C", "λ/nm", "citation", "doi", "\"", ",", ";", "\t", "\n", "\r", "'", "=1+1",
    "−", "\u{FEFF}", "\0", "ee", "20..25", "1.234,5", "{", "}", "null", "1e999", "[", "]", "true", "\\u0000",
];

const CIF_WORDS: &[&str] = &[
    "data_x",
    "loop_",
    "_chemical.optical_rotation",
    "_chemical_optical_rotation",
    "'",
    "\"",
    "\n;",
    "\n;\n",
    "?",
    ".",
    "#",
    "'[\\a]^20^~D~ = +12.6 (c = 0.5, CHCl~3~)'",
    "_chemical.name_common",
    "_chemical_formula.sum",
    "save_",
    "global_",
    "\\a",
    "^25^",
];

fn shape(parts: impl Hash) -> u64 {
    let mut hasher = DefaultHasher::new();
    parts.hash(&mut hasher);
    hasher.finish()
}

/// Statements lie in the text in order, and what can be written is read back with the same value.
fn read_text(bytes: &[u8]) -> u64 {
    let text = String::from_utf8_lossy(bytes);
    let mut before = 0;
    let mut shapes = Vec::new();
    for found in notation::read(&text) {
        assert!(text.get(found.start..found.end).is_some(), "the span lies in the text");
        assert!(found.start >= before, "statements stand in order");
        before = found.start;
        let s = &found.statement;
        for style in Style::ALL {
            let Ok(written) = notation::write(s, style) else {
                continue;
            };
            let again = notation::read(&written);
            let same = |value: Option<quantity::Printed>, other: Option<quantity::Printed>| match (value, other) {
                (Some(a), Some(b)) => a.same_value(b),
                (None, None) => true,
                _ => false,
            };
            assert!(
                again.first().is_some_and(|again| same(again.statement.value, s.value)),
                "{written} is read back with the same value"
            );
        }
        shapes.push((
            (s.kind, s.sign, s.stage, s.role, s.approx),
            (
                s.value.is_some(),
                s.low.is_some(),
                s.high.is_some(),
                s.plus_minus.is_some(),
            ),
            (
                s.temperature.is_some(),
                s.line.is_some(),
                s.solvent.is_some(),
                s.concentration.is_some(),
            ),
            (
                s.path.is_some(),
                s.ee.is_some(),
                s.form.is_some(),
                s.time_note.is_some(),
            ),
            s.doubts.iter().map(String::len).collect::<Vec<_>>(),
        ));
        if shapes.len() > 20 {
            break;
        }
    }
    shape(format!("{shapes:?}"))
}

/// The bytes as a file.
fn file_of(bytes: &[u8]) -> PathBuf {
    thread_local! {
        static FOLDER: tempfile::TempDir = tempfile::tempdir().expect("the system has a folder for temporary files");
    }
    let path: PathBuf = FOLDER.with(|folder| folder.path().join("input"));
    std::fs::write(&path, bytes).expect("the folder was made for it");
    path
}

/// Readings are numbers that can be computed with, or rejected with a reason.
fn readings(bytes: &[u8]) -> u64 {
    match read_readings(&file_of(bytes), &[]) {
        Ok(file) => {
            let angles = file.readings.iter().map(|reading| reading.angle.degrees());
            assert!(
                angles.clone().all(|angle| angle.abs() < 1e12),
                "an angle that can be computed with"
            );
            let rejected: Vec<String> = file.rejected.iter().take(9).map(|row| kind_of(&row.reason)).collect();
            shape((angles.count().min(9), rejected, file.unmapped.len()))
        }
        Err(error) => shape(kind_of(&error.to_string())),
    }
}

/// The points of a curve are numbers, or the file is refused with its line.
fn jcamp(bytes: &[u8]) -> u64 {
    match jcamp::parse(&String::from_utf8_lossy(bytes)) {
        Ok(curve) => {
            let is_number = |&(x, y): &(f64, f64)| x.is_finite() && y.is_finite();
            assert!(curve.points.iter().all(is_number), "points are numbers");
            shape((curve.points.len().min(9), curve.n_missing.min(9), curve.x_unit.len()))
        }
        Err(error) => shape(kind_of(&error.to_string())),
    }
}

/// A file is read whole or refused with a reason, row by row.
fn import(bytes: &[u8], format: Format) -> u64 {
    let path = file_of(bytes);
    let options = ReadOptions {
        format: Some(format),
        ..ReadOptions::default()
    };
    let mapping = Mapping::default();
    let mut maker = Maker::new(Defaults::default());
    let mut assignment = Assignment::default();
    let mut seen = Vec::new();
    let outcome = read(&path, &options, &|heading| mapping.knows(heading), &mut |event| {
        match event {
            Event::Begin(about) => seen.push(format!("{:?}", about.encoding)),
            Event::Columns(columns) => match mapping.assign(columns) {
                Ok(found) => assignment = found,
                Err(error) => seen.push(kind_of(&error.to_string())),
            },
            Event::Row(row) => {
                let what = match maker.record(&row, &assignment) {
                    Ok(record) => format!("{}{}", record.statement.value.is_some(), record.statement.doubts.len()),
                    Err(refusal) => format!("{:?}{}", refusal.field.map(Field::word), kind_of(&refusal.reason)),
                };
                if seen.len() < 20 {
                    seen.push(what);
                }
            }
        }
        Ok::<(), ReadError>(())
    });
    if let Err(error) = outcome {
        seen.push(kind_of(&error.to_string()));
    }
    shape(seen)
}

/// A message without what was quoted or counted in it.
fn kind_of(message: &str) -> String {
    message.chars().filter(char::is_ascii_lowercase).take(24).collect()
}

fn references(bytes: &[u8]) -> u64 {
    match References::read(&String::from_utf8_lossy(bytes)) {
        Ok(read) => shape(read.len()),
        Err(error) => shape(kind_of(&error.to_string())),
    }
}

/// The canonical text of a solvent reads as the same solvent.
fn solvent(bytes: &[u8]) -> u64 {
    let text = String::from_utf8_lossy(bytes);
    let found = Solvent::find_at(&text);
    if let Some((_, length)) = &found {
        assert!(text.get(..*length).is_some(), "the phrase ends between characters");
    }
    match Solvent::parse(&text) {
        Ok(solvent) => {
            let canonical = solvent.to_string();
            assert_eq!(Solvent::parse(&canonical), Ok(solvent), "{canonical} is read as itself");
            shape((canonical, found.is_some()))
        }
        // The message looks for near names, which takes its time.
        Err(error) => {
            let _ = Solvent::parse_lenient(&text);
            shape((std::mem::discriminant(&error), found.is_some()))
        }
    }
}

/// The written form of a formula reads as the same formula.
fn formula(bytes: &[u8]) -> u64 {
    let text = String::from_utf8_lossy(bytes);
    match Formula::parse(&text) {
        Ok(formula) => {
            let written = formula.to_string();
            let again = Formula::parse(&written);
            assert!(
                again.is_ok_and(|again| {
                    let (a, b) = (
                        again.molar_mass().grams_per_mole(),
                        formula.molar_mass().grams_per_mole(),
                    );
                    (a - b).abs() <= 1e-9 * a.abs().max(1.0)
                }),
                "{written} is read with the same mass"
            );
            shape(written.len())
        }
        Err(error) => shape(kind_of(&error.to_string())),
    }
}

fn structure(bytes: &[u8]) -> u64 {
    let text = String::from_utf8_lossy(bytes);
    // Long texts only repeat what short ones do, and the standard library of InChI takes its time.
    let text: String = text.chars().take(400).collect();
    let mut shapes = vec![shape(name::tokens(&text).len()), shape(name::descriptors(&text).len())];
    for read in [Structure::from_inchi(&text), Structure::from_smiles(&text)] {
        shapes.push(match read {
            Ok(structure) => {
                let again = Structure::from_inchi(structure.inchi().as_str());
                assert!(
                    again.is_ok_and(|again| again.key() == structure.key()),
                    "an InChI reads as itself"
                );
                shape(structure.inchi().hill_formula().len())
            }
            Err(error) => shape(kind_of(&error.to_string())),
        });
    }
    shape(shapes)
}

fn quantity(bytes: &[u8]) -> u64 {
    let text = String::from_utf8_lossy(bytes);
    shape([
        quantity::parse_number(&text).is_ok(),
        quantity::parse_angle(&text).is_ok(),
        quantity::parse_length(&text).is_ok(),
        quantity::parse_temperature(&text).is_ok(),
        quantity::parse_line(&text).is_ok(),
        quantity::parse_concentration(&text).is_ok(),
        quantity::parse_percent(&text).is_ok(),
        quantity::parse_mass(&text).is_ok(),
        quantity::parse_volume(&text).is_ok(),
        quantity::parse_density(&text).is_ok(),
    ])
}

fn lines(text: &str) -> Vec<Vec<u8>> {
    text.lines().map(|line| line.as_bytes().to_vec()).collect()
}

fn printed_statements() -> Vec<Vec<u8>> {
    [
        include_str!("../data/rotation_strings_dev.jsonl"),
        include_str!("../data/journal_dev.jsonl"),
        include_str!("../data/notation_forms.jsonl"),
        include_str!("../data/notation_invented.jsonl"),
    ]
    .iter()
    .flat_map(|file| file.lines())
    .filter_map(|line| serde_json::from_str::<serde_json::Value>(line).ok())
    .filter_map(|item| item["text"].as_str().map(|text| text.as_bytes().to_vec()))
    .collect()
}

/// The sample files of the import with one of these endings.
fn files(endings: &[&str]) -> Vec<Vec<u8>> {
    let folder = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("tests/data/import");
    let mut paths: Vec<PathBuf> = std::fs::read_dir(folder)
        .into_iter()
        .flatten()
        .filter_map(|file| file.ok().map(|file| file.path()))
        .filter(|path| {
            path.extension()
                .is_some_and(|ending| endings.iter().any(|known| ending == *known))
        })
        .collect();
    paths.sort();
    paths.iter().filter_map(|path| std::fs::read(path).ok()).collect()
}

fn solvents() -> Vec<Vec<u8>> {
    let mut names = lines(include_str!("../data/solvent_ids.csv"));
    names.extend(lines(
        "95% aq. EtOH\nCHCl<sub>3</sub>/MeOH (9:1)\n0.1 N HCl in EtOH\npH 7 phosphate buffer\nneat\nAcOH–H2O 1 : 1 w/w",
    ));
    names
}

fn structures() -> Vec<Vec<u8>> {
    include_str!("../data/structure_spellings.tsv")
        .lines()
        .step_by(20)
        .flat_map(|line| line.split('\t').map(|cell| cell.as_bytes().to_vec()))
        .collect()
}
