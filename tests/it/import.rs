//! Importing files: every format with good and bad samples, encodings, rejects that are mended, hostile bytes. The samples
//! in `tests/data/import` are invented.

use biot::audit::{Code, Settings};
use biot::exchange::mapping::Mapping;
use biot::exchange::record::{Defaults, GivenCompound};
use biot::exchange::references::References;
use biot::exchange::rows::{self, Event, Format, ReadError, ReadOptions};
use biot::exchange::spreadsheet_bounds::SpreadsheetBounds;
use biot::library::{Change, Entry, Hand, Library, NewCompound, ReviewState, Source};
use biot::quantity::{Printed, SpectralLine};
use biot::statement::{RotationKind, Sign, StatedTemperature};
use biot::tasks::audit::of_batch;
use biot::tasks::import::{ImportError, ImportReport, ImportRequest, RejectsTo, import};
use proptest::prelude::*;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use tempfile::TempDir;

/// An empty library in a folder of its own.
struct Place {
    folder: TempDir,
    library: Library,
}

impl Place {
    fn new() -> Self {
        let folder = TempDir::new().unwrap();
        let library = Library::create(&folder.path().join("l.biot"), &change()).unwrap();
        Self { folder, library }
    }

    /// A file with these bytes.
    fn file(&self, name: &str, bytes: impl AsRef<[u8]>) -> PathBuf {
        let path = self.folder.path().join(name);
        fs::write(&path, bytes).unwrap();
        path
    }

    /// A copy of a sample.
    fn sample(&self, name: &str) -> PathBuf {
        self.file(name, fs::read(sample(name)).unwrap())
    }

    fn import(&mut self, request: &ImportRequest) -> Result<ImportReport, ImportError> {
        import(&mut self.library, request, &change(), &mut |_, _| {})
    }

    /// Imports a file that adds its compounds.
    fn take(&mut self, file: &Path) -> ImportReport {
        self.import(&request(file)).unwrap()
    }

    fn entries(&self) -> Vec<Entry> {
        let mut all = Vec::new();
        self.library
            .for_each_entry(|entry| {
                all.push(entry);
                Ok(())
            })
            .unwrap();
        all
    }

    fn name_of(&self, entry: &Entry) -> String {
        self.library.compound(entry.compound).unwrap().name
    }

    fn source_of(&self, entry: &Entry) -> Source {
        self.library.source(entry.source).unwrap()
    }
}

fn change() -> Change {
    Change::now("tester", "test")
}

fn sample(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("tests/data/import")
        .join(name)
}

fn request(file: &Path) -> ImportRequest {
    ImportRequest {
        files: vec![file.to_owned()],
        may_add_compounds: true,
        rejects: RejectsTo::Beside,
        ..ImportRequest::default()
    }
}

fn number(printed: Option<Printed>) -> Option<(f64, u8)> {
    printed.map(|printed| (printed.value(), printed.decimals()))
}

fn counts(report: &ImportReport) -> (u64, u64, u64) {
    (report.added.entries, report.present, report.rejected)
}

#[test]
fn a_table_is_imported_with_everything_it_says() {
    let mut place = Place::new();
    let report = place.take(&place.sample("good_comma.csv"));
    assert_eq!(counts(&report), (3, 0, 0));
    assert_eq!((report.added.compounds, report.added.sources), (2, 1));
    assert_eq!(report.files[0].assignment.unmapped, ["melting point"]);
    let entries = place.entries();
    let first = &entries[0];
    assert_eq!(place.name_of(first), "invented acid A");
    assert_eq!(first.state, ReviewState::Draft);
    assert_eq!(number(first.statement.value), Some((-49.1, 1)));
    assert_eq!(first.statement.line, Some(SpectralLine::SodiumD));
    assert_eq!(
        first.statement.temperature,
        Some(StatedTemperature::At(Printed::new(20.0, 0)))
    );
    assert_eq!(first.statement.solvent.as_ref().unwrap().to_string(), "EtOH");
    let concentration = first.statement.concentration.unwrap();
    assert_eq!((concentration.low.value(), concentration.low.decimals()), (1.0, 2));
    assert!(concentration.unit_printed);
    assert_eq!(first.statement.path.unwrap().millimetres(), 100.0);
    assert_eq!(first.comment.as_deref(), Some("two\nlines"));
    let source = place.source_of(first);
    assert_eq!((source.doi.as_deref(), source.year), (Some("10.1000/xyz"), Some(2020)));
    assert_eq!(
        entries[2].statement.temperature,
        Some(StatedTemperature::Words("room".to_owned()))
    );
    assert_eq!(entries[2].statement.concentration, None);
    // One load, one line in the history, which stays whole.
    let newest = place.library.newest_history(1).unwrap();
    assert_eq!(newest[0].action, "load");
    assert!(report.label.unwrap().contains(&report.files[0].digest));
    assert!(place.library.check_integrity().unwrap().is_empty());
}

#[test]
fn encodings_and_decimal_commas_are_read() {
    let mut place = Place::new();
    let report = place.take(&place.sample("good_semicolon_cp1252.csv"));
    assert_eq!(counts(&report), (2, 0, 0));
    let about = &report.files[0].about;
    assert_eq!((about.encoding, about.encoding_guessed), (Some("windows-1252"), true));
    assert_eq!((about.delimiter, about.heading_line), (Some(';'), Some(3)));
    let entries = place.entries();
    assert_eq!(place.name_of(&entries[0]), "Apsäure");
    assert_eq!(number(entries[0].statement.value), Some((-49.1, 1)));
    // 1,234 may be thousands: it is read, and doubted.
    assert_eq!(number(entries[1].statement.value), Some((1.234, 3)));
    assert!(
        entries[1].statement.doubts[0].contains("decimal comma"),
        "{:?}",
        entries[1].statement.doubts
    );
    for (name, encoding) in [
        ("good_utf16le_bom.csv", "UTF-16LE"),
        ("good_utf16be_bom.csv", "UTF-16BE"),
        ("good_utf8_bom.csv", "UTF-8"),
    ] {
        let mut place = Place::new();
        let report = place.take(&place.sample(name));
        assert_eq!(counts(&report), (2, 0, 0), "{name}");
        assert_eq!(report.files[0].about.encoding, Some(encoding));
        let entries = place.entries();
        assert_eq!(place.name_of(&entries[1]), "α-thing", "{name}");
        assert_eq!(number(entries[1].statement.value), Some((4.25, 2)), "{name}");
    }
    let error = Place::new()
        .import(&request(&sample("bad_utf16_without_bom.csv")))
        .unwrap_err();
    assert!(error.to_string().contains("--encoding"), "{error}");
    // With its encoding named, the same file is read.
    let mut place = Place::new();
    let mut told = request(&place.sample("bad_utf16_without_bom.csv"));
    told.options.encoding = Some("utf-16le".to_owned());
    assert_eq!(counts(&place.import(&told).unwrap()), (2, 0, 0));
}

#[test]
fn conditions_of_a_heading_hold_for_its_column() {
    let mut place = Place::new();
    let report = place.take(&place.sample("good_tab_heading_conditions.tsv"));
    assert_eq!(counts(&report), (1, 0, 0), "{:?}", report.refusals);
    let statement = &place.entries()[0].statement;
    assert_eq!(number(statement.value), Some((-12.5, 1)));
    assert_eq!(statement.line, Some(SpectralLine::SodiumD));
    assert_eq!(
        statement.temperature,
        Some(StatedTemperature::At(Printed::new(20.0, 0)))
    );
    assert_eq!(statement.solvent.as_ref().unwrap().to_string(), "CHCl3");
}

#[test]
fn rows_are_refused_with_line_column_and_reason() {
    let mut place = Place::new();
    let report = place.take(&place.sample("bad_rows.csv"));
    assert_eq!(counts(&report), (1, 0, 8));
    let told: Vec<(u64, Option<&str>)> = report
        .refusals
        .iter()
        .map(|refused| (refused.line, refused.refusal.column.as_deref()))
        .collect();
    assert_eq!(
        told,
        [
            (3, Some("value")),
            (4, Some("path")),
            (5, Some("temperature")),
            (6, Some("doi")),
            (7, Some("citation")),
            (8, Some("name")),
            (9, Some("ee")),
            (10, Some("value")),
        ]
    );
    for (name, added, rejected, word) in [
        ("bad_nul_bytes.csv", 1, 1, "NUL"),
        ("bad_bytes_in_utf8.csv", 1, 1, "no text in UTF-8"),
        ("bad_decimal_comma_unquoted.csv", 1, 1, "quotation marks"),
        ("bad_no_rotation_in_item.cif", 0, 1, "no rotation is found"),
        ("bad_unclosed_text.cif", 0, 1, "not closed"),
        ("bad_lines.jsonl", 1, 4, "no JSON"),
    ] {
        let mut place = Place::new();
        let report = place.take(&place.sample(name));
        assert_eq!((report.added.entries, report.rejected), (added, rejected), "{name}");
        assert!(
            report.refusals[0].refusal.reason.contains(word),
            "{name}: {:?}",
            report.refusals[0]
        );
    }
    for (name, word) in [
        ("bad_empty.csv", "empty"),
        ("bad_no_headings.csv", "no line of headings"),
    ] {
        let mut place = Place::new();
        let error = place.import(&request(&place.sample(name))).unwrap_err().to_string();
        assert!(error.contains(word), "{name}: {error}");
        assert!(place.entries().is_empty());
    }
}

#[test]
fn rejects_can_be_mended_and_imported_again() {
    let mut place = Place::new();
    let report = place.take(&place.sample("bad_rows.csv"));
    let rejects = report.files[0].rejects.clone().unwrap();
    assert!(rejects.ends_with("bad_rows.csv.rejects.csv"));
    let text = fs::read_to_string(&rejects).unwrap();
    let mut lines = text.lines();
    assert_eq!(
        lines.next(),
        Some("name,value,temperature,path,ee,doi,citation,line,reason")
    );
    assert!(
        lines
            .next()
            .unwrap()
            .starts_with("no number,see text,20,,,10.1000/ok,,3,"),
        "{text}"
    );
    // Unmended, the same rows are refused for the same reasons, and no second pair of columns piles up.
    let again = place.take(&rejects);
    assert_eq!(counts(&again), (0, 0, 8));
    let second = fs::read_to_string(again.files[0].rejects.clone().unwrap()).unwrap();
    assert_eq!(second.lines().next(), text.lines().next());
    // Mended ones go in.
    let mended = text
        .replace("see text", "-7.5")
        .replace(",1,,", ",1 dm,,")
        .replace("900", "90");
    fs::write(&rejects, mended).unwrap();
    assert_eq!(counts(&place.take(&rejects)), (3, 0, 5));
    assert_eq!(place.entries().len(), 4);

    let mut place = Place::new();
    let report = place.take(&place.sample("bad_lines.jsonl"));
    let rejects = report.files[0].rejects.clone().unwrap();
    assert!(rejects.ends_with("bad_lines.jsonl.rejects.jsonl"));
    let text = fs::read_to_string(&rejects).unwrap();
    assert!(
        text.lines().all(|line| line.contains("\"rejected\":{\"line\":")),
        "{text}"
    );
    fs::write(&rejects, text.replace("{\"a\":1}", "4.5")).unwrap();
    let mended = place.take(&rejects);
    assert_eq!(counts(&mended), (1, 0, 3), "{:?}", mended.refusals);
}

#[test]
fn importing_twice_adds_nothing() {
    for name in [
        "good_comma.csv",
        "good_semicolon_cp1252.csv",
        "good_utf16le_bom.csv",
        "good_apostrophes.csv",
        "good_lines.jsonl",
        "good_blocks.cif",
    ] {
        let mut place = Place::new();
        let file = place.sample(name);
        let mut all = request(&file);
        all.defaults.citation = Some("Invented Lett. 9".to_owned());
        let first = place.import(&all).unwrap();
        assert!(
            first.added.entries > 0 && first.rejected == 0,
            "{name}: {:?}",
            first.refusals
        );
        let lines = place.library.statistics().unwrap().history_lines;
        let second = place.import(&all).unwrap();
        assert_eq!(counts(&second), (0, first.added.entries, 0), "{name}");
        assert_eq!(second.added.compounds + second.added.sources, 0, "{name}");
        assert_eq!(place.library.statistics().unwrap().history_lines, lines, "{name}");
    }
    // A row that stands twice in one file is one entry.
    let mut place = Place::new();
    let file = place.file("twice.csv", "name,value,citation\na,-1.5,X\na,-1.5,X\na,-1.50,X\n");
    assert_eq!(counts(&place.take(&file)), (2, 1, 0));
}

#[test]
fn a_trial_says_the_same_and_keeps_nothing() {
    let mut place = Place::new();
    let file = place.sample("bad_rows.csv");
    let trial = ImportRequest {
        is_trial: true,
        rejects: RejectsTo::Nowhere,
        ..request(&file)
    };
    let before = place.library.statistics().unwrap();
    let tried = place.import(&trial).unwrap();
    assert_eq!(place.library.statistics().unwrap(), before);
    assert_eq!(
        fs::read_dir(place.folder.path())
            .unwrap()
            .filter(|entry| {
                entry
                    .as_ref()
                    .unwrap()
                    .file_name()
                    .to_string_lossy()
                    .contains("rejects")
            })
            .count(),
        0
    );
    assert!(tried.joined[0].is_new && tried.joined[0].compound.is_none());
    let done = place.take(&file);
    assert_eq!((tried.added, tried.rejected), (done.added, done.rejected));
}

#[test]
fn guarding_apostrophes_are_removed() {
    let mut place = Place::new();
    place.take(&place.sample("good_apostrophes.csv"));
    let entries = place.entries();
    assert_eq!(place.name_of(&entries[0]), "=acid");
    assert_eq!(entries[0].comment.as_deref(), Some("+ remark"));
    assert_eq!(place.source_of(&entries[0]).citation, "@Invented Lett. 6");
    assert_eq!(number(entries[0].statement.value), Some((-1.5, 1)));
}

#[test]
fn json_lines_carry_compound_source_and_statement() {
    let mut place = Place::new();
    let report = place.take(&place.sample("good_lines.jsonl"));
    assert_eq!(counts(&report), (3, 0, 0), "{:?}", report.refusals);
    let entries = place.entries();
    assert_eq!(entries[0].statement.doubts, ["The sign is faint."]);
    assert_eq!(place.source_of(&entries[0]).doi.as_deref(), Some("10.1000/j"));
    assert_eq!(place.library.compound(entries[0].compound).unwrap().cas, ["7732-18-5"]);
    assert_eq!(entries[1].statement.sign, Sign::NotStated);
    assert_eq!(number(entries[1].statement.low), Some((-50.0, 0)));
    assert_eq!(entries[2].statement.as_printed, "[α]D25 +3.2 (c 0.5, CHCl3)");
    assert_eq!(number(entries[2].statement.value), Some((3.2, 1)));
}

#[test]
fn what_the_reader_prints_as_json_can_be_imported() {
    use biot::notation::{self, ReadStatement};
    let text = "[α]546 25 −49.1 ± 0.5 (c 1.00, CHCl3, 98% ee)";
    let found = notation::read(text);
    let mut object = serde_json::to_value(ReadStatement::from(&found[0])).unwrap();
    object["compound"] = "acid W".into();
    object["source"] = serde_json::json!({"citation": "Invented Lett. 8"});
    let mut place = Place::new();
    let report = place.take(&place.file("w.jsonl", object.to_string()));
    assert_eq!(counts(&report), (1, 0, 0), "{:?}", report.refusals);
    let (read, kept) = (&found[0].statement, &place.entries()[0].statement);
    assert_eq!(kept.line, read.line);
    assert_eq!(kept.temperature, read.temperature);
    assert_eq!(kept.solvent, read.solvent);
    assert_eq!(kept.plus_minus.map(Printed::value), read.plus_minus.map(Printed::value));
    assert_eq!(kept.value, read.value);
}

#[test]
fn cif_items_of_both_dictionaries_are_read() {
    let mut place = Place::new();
    let mut all = request(&place.sample("good_blocks.cif"));
    all.defaults.citation = Some("Invented Lett. 9".to_owned());
    let report = place.import(&all).unwrap();
    assert_eq!(counts(&report), (2, 0, 0), "{:?}", report.refusals);
    let entries = place.entries();
    // The example of the core dictionary's definition of the item.
    assert_eq!(number(entries[0].statement.value), Some((108.0, 0)));
    assert_eq!(entries[0].statement.solvent.as_ref().unwrap().to_string(), "CHCl3");
    assert_eq!(
        entries[0].statement.temperature,
        Some(StatedTemperature::At(Printed::new(25.0, 0)))
    );
    assert_eq!(entries[0].hand, Hand::Independent);
    let compound = place.library.compound(entries[0].compound).unwrap();
    assert_eq!(
        (compound.name.as_str(), compound.formula.as_deref()),
        ("acid C", Some("C3H6O3"))
    );
    assert_eq!(compound.other_names, ["(R)-2-inventedpropanoic acid"]);
    let source = place.source_of(&entries[0]);
    assert_eq!(
        (source.citation.as_str(), source.doi.as_deref()),
        ("Invented Cryst. 5 (2001) 17", Some("10.1000/cif"))
    );
    assert_eq!(place.name_of(&entries[1]), "it's B");
    assert_eq!(entries[1].hand, Hand::Unclear);
    assert_eq!(place.source_of(&entries[1]).citation, "Invented Lett. 9");
}

#[test]
fn printed_text_is_read_for_one_compound_and_source() {
    let mut place = Place::new();
    let mut all = request(&place.sample("good_text.txt"));
    all.options.format = Some(Format::Text);
    all.defaults = Defaults {
        compound: GivenCompound::from_text("acid T"),
        doi: Some("10.1000/t".to_owned()),
        ..Defaults::default()
    };
    let report = place.import(&all).unwrap();
    assert_eq!(counts(&report), (2, 0, 0), "{:?}", report.refusals);
    let entries = place.entries();
    assert_eq!(number(entries[0].statement.value), Some((-49.1, 1)));
    assert_eq!(entries[1].statement.kind, RotationKind::Specific);
    assert_eq!(place.source_of(&entries[0]).citation, "doi:10.1000/t");
    assert_eq!(counts(&place.import(&all).unwrap()), (0, 2, 0));
}

#[test]
fn rows_refer_to_references_by_key() {
    for name in ["good_references.ris", "good_references.bib"] {
        let mut place = Place::new();
        let mut all = request(&place.sample("good_reference_keys.csv"));
        all.defaults.references = References::read(&fs::read_to_string(sample(name)).unwrap()).unwrap();
        let report = place.import(&all).unwrap();
        assert_eq!(counts(&report), (1, 0, 1), "{name}");
        let source = place.source_of(&place.entries()[0]);
        assert_eq!(source.citation, "Writer, A., J. Invented Chem. 1 (2020) 12", "{name}");
        assert_eq!(source.doi.as_deref(), Some("10.1000/w1"));
    }
}

/// (R)- and (S)-carvone: InChIKeys as in tests/data/structure_oracle.tsv.
const R_CARVONE: &str = "CC1=CC[C@H](CC1=O)C(C)=C";

#[test]
fn a_row_is_joined_by_structure_and_contradictions_are_refused() {
    let mut place = Place::new();
    let structure = biot::compound::Structure::from_smiles(R_CARVONE).unwrap();
    let mirror = structure.mirror_image().unwrap();
    for (name, structure) in [("(R)-carvone", &structure), ("(S)-carvone", &mirror)] {
        let compound = NewCompound::with_structure(name, structure).unwrap();
        place.library.add_compound(&compound, &change()).unwrap();
    }
    let key = structure.key().as_str();
    let file = place.file(
        "joined.csv",
        format!(
            "name,smiles,inchikey,formula,value,citation\n\
             ,{R_CARVONE},,,-61,X\n\
             any name,,{key},,-60,X\n\
             (R)-carvone,,,,-59,X\n\
             carvone,,,,-58,X\n\
             (S)-carvone,{R_CARVONE},,,-57,X\n\
             (R)-carvone,,,C10H15ClO,-56,X\n\
             unheard-of,,,,-55,X\n"
        ),
    );
    let known_only = ImportRequest {
        may_add_compounds: false,
        ..request(&file)
    };
    let report = place.import(&known_only).unwrap();
    assert_eq!(counts(&report), (3, 0, 4), "{:?}", report.refusals);
    assert_eq!(
        (report.joined.len(), report.joined[0].name.as_str()),
        (1, "(R)-carvone")
    );
    let reasons: Vec<&str> = report
        .refusals
        .iter()
        .map(|refused| refused.refusal.reason.as_str())
        .collect();
    assert!(reasons[0].contains("may be any of"), "{reasons:?}");
    assert_eq!(report.refusals[0].candidates.len(), 2);
    assert!(reasons[1].contains("is that of (S)-carvone"), "{reasons:?}");
    assert!(reasons[2].contains("formula"), "{reasons:?}");
    assert!(reasons[3].contains("--new-compounds"), "{reasons:?}");
    let rejects = fs::read_to_string(report.files[0].rejects.clone().unwrap()).unwrap();
    assert!(rejects.contains("(S)-carvone (#2)"), "{rejects}");
}

#[test]
fn a_repeating_unit_is_known_by_name_and_descriptor() {
    let mut place = Place::new();
    let file = place.file(
        "polymer.csv",
        "name,smiles,descriptor,value,citation\npoly acid,*O[C@@H](C)C(*)=O,poly[(R)-acid],-150,X\n\
         poly acid,*O[C@@H](C)C(*)=O,,-151,X\n",
    );
    let report = place.take(&file);
    assert_eq!(counts(&report), (1, 0, 1), "{:?}", report.refusals);
    let compound = place.library.compound(place.entries()[0].compound).unwrap();
    assert_eq!(compound.smiles.as_deref(), Some("*O[C@@H](C)C(*)=O"));
    assert_eq!(counts(&place.take(&file)), (0, 1, 1));
}

#[test]
fn a_mapping_is_told_saved_and_used_again() {
    let mut place = Place::new();
    let file = place.file("own.csv", "Was;Wert;Konz.;Wo\nacid M;-3,5;2,5;Invented Lett. 1\n");
    let mut mapping = Mapping::default();
    for text in ["Was=compound", "Wert=value", "Konz.=conc:mg/mL", "Wo=citation"] {
        mapping.add(text).unwrap();
    }
    let told = ImportRequest {
        mapping,
        ..request(&file)
    };
    let report = place.import(&told).unwrap();
    assert_eq!(counts(&report), (1, 0, 0), "{:?}", report.refusals);
    let concentration = place.entries()[0].statement.concentration.unwrap();
    assert_eq!((concentration.low.value(), concentration.unit.as_str()), (2.5, "mg/mL"));
    let saved = Mapping::from_toml(&Mapping::of(&report.files[0].assignment).to_toml().unwrap()).unwrap();
    let again = ImportRequest {
        mapping: saved,
        ..request(&file)
    };
    assert_eq!(counts(&place.import(&again).unwrap()), (0, 1, 0));
    let mut wrong = Mapping::default();
    wrong.add("Nowhere=value").unwrap();
    let wrong = ImportRequest {
        mapping: wrong,
        ..request(&place.sample("good_comma.csv"))
    };
    assert!(matches!(place.import(&wrong), Err(ImportError::Mapping(_))));
}

/// A spreadsheet with a formula, a guarded text and a second sheet.
fn workbook() -> Vec<u8> {
    use rust_xlsxwriter::{Formula, Workbook};
    let mut book = Workbook::new();
    let sheet = book.add_worksheet();
    sheet.write(0, 0, "Table of rotations").unwrap();
    for (column, heading) in ["name", "[α]", "T/°C", "solvent", "citation"].iter().enumerate() {
        sheet.write(2, column as u16, *heading).unwrap();
    }
    sheet.write(3, 0, "'=acid X").unwrap();
    sheet.write(3, 1, -49.1).unwrap();
    sheet.write(3, 2, 20).unwrap();
    sheet.write(3, 3, "EtOH").unwrap();
    sheet.write(3, 4, "Invented Lett. 10").unwrap();
    sheet.write(5, 0, "acid Y").unwrap();
    sheet
        .write_formula(5, 1, Formula::new("=-24.55*2").set_result("-49.1"))
        .unwrap();
    sheet.write(5, 4, "Invented Lett. 10").unwrap();
    let second = book.add_worksheet();
    second.set_name("Other").unwrap();
    second.write(0, 0, "name").unwrap();
    second.write(0, 1, "value").unwrap();
    second.write(1, 0, "acid Z").unwrap();
    second.write(1, 1, "see text").unwrap();
    book.save_to_buffer().unwrap()
}

#[test]
fn spreadsheets_are_read_by_sheet_and_stored_value() {
    let mut place = Place::new();
    let file = place.file("book.xlsx", workbook());
    let report = place.take(&file);
    assert_eq!(counts(&report), (2, 0, 0), "{:?}", report.refusals);
    assert_eq!(report.files[0].about.heading_line, Some(3));
    let entries = place.entries();
    assert_eq!(place.name_of(&entries[0]), "=acid X");
    assert_eq!(number(entries[0].statement.value), Some((-49.1, 1)));
    assert_eq!(number(entries[1].statement.value), Some((-49.1, 1)));
    let mut other = request(&file);
    other.options.sheet = Some("Other".to_owned());
    let report = place.import(&other).unwrap();
    assert_eq!(counts(&report), (0, 0, 1));
    assert_eq!(
        (report.refusals[0].line, report.refusals[0].refusal.column.as_deref()),
        (2, Some("value"))
    );
    other.options.sheet = Some("None".to_owned());
    assert!(place.import(&other).unwrap_err().to_string().contains("\"None\""));
}

#[test]
fn damaged_and_swollen_spreadsheets_are_refused() {
    let mut place = Place::new();
    let whole = workbook();
    for (name, bytes) in [
        ("cut.xlsx", &whole[..whole.len() / 2]),
        ("no_zip.xlsx", b"this is no spreadsheet"),
        ("zip_start_only.xlsx", b"PK\x03\x04"),
    ] {
        let error = place.import(&request(&place.file(name, bytes))).unwrap_err();
        assert!(
            matches!(error, ImportError::Read(ReadError::Spreadsheet { .. })),
            "{name}: {error}"
        );
    }
    // A part of two megabytes of nothing packs to two kilobytes.
    let mut writer = zip::ZipWriter::new(std::io::Cursor::new(Vec::new()));
    writer
        .start_file("xl/worksheets/sheet1.xml", zip::write::SimpleFileOptions::default())
        .unwrap();
    std::io::Write::write_all(&mut writer, &vec![b' '; 2 << 20]).unwrap();
    let bomb = writer.finish().unwrap().into_inner();
    assert!(bomb.len() < 100_000);
    // Its directory lies about the size, too: the four bytes of the unpacked size in both headers are set to 1.
    let mut lying = bomb.clone();
    let size = (2u32 << 20).to_le_bytes();
    let places: Vec<usize> = lying
        .windows(4)
        .enumerate()
        .filter(|(_, four)| *four == size)
        .map(|(at, _)| at)
        .collect();
    for at in places {
        lying[at..at + 4].copy_from_slice(&1u32.to_le_bytes());
    }
    for (name, bytes) in [("bomb.xlsx", bomb), ("lying.xlsx", lying)] {
        let mut limited = request(&place.file(name, bytes));
        limited.options.bounds.unpacked = 1 << 20;
        let error = place.import(&limited).unwrap_err();
        let refused = matches!(
            error,
            ImportError::Read(ReadError::TooLarge { .. } | ReadError::Bound { .. } | ReadError::Spreadsheet { .. })
        );
        assert!(refused, "{name}: {error}");
    }
}

#[test]
fn endless_lines_are_refused_in_bounded_memory() {
    let mut place = Place::new();
    let wide = format!(
        "name,value,citation\nacid,-1.5,X{}\nacid,-2.5,X\n",
        ",1".repeat(1_000_000)
    );
    let report = place.take(&place.file("wide.csv", wide));
    assert_eq!(counts(&report), (1, 0, 1));
    assert!(
        report.refusals[0].refusal.reason.contains("1000003 cells"),
        "{:?}",
        report.refusals[0].refusal
    );
    let headings = format!("name,value,citation{}\nacid,-1.5,X\n", ",x".repeat(1_000_000));
    let error = place
        .import(&request(&place.file("headings.csv", headings)))
        .unwrap_err();
    assert!(matches!(error, ImportError::Read(ReadError::Columns { .. })), "{error}");
    let open = format!(
        "name,value,citation\n\"acid,-1.5,X\n{}",
        "acid,-2.5,X\n".repeat(1_600_000)
    );
    let error = place.import(&request(&place.file("open.csv", open))).unwrap_err();
    assert!(
        matches!(error, ImportError::Read(ReadError::TooLarge { .. })),
        "{error}"
    );
    assert_eq!(place.entries().len(), 1);
}

/// The program on an empty library.
fn biot(place: &Place, arguments: &[&str]) -> (i32, String, String) {
    let output = Command::new(env!("CARGO_BIN_EXE_biot"))
        .env_clear()
        .env("BIOT_LIBRARY", place.library.path())
        .env("HOME", place.folder.path())
        .current_dir(place.folder.path())
        .stdin(Stdio::null())
        .args(arguments)
        .output()
        .unwrap();
    (
        output.status.code().unwrap_or(-1),
        String::from_utf8(output.stdout).unwrap(),
        String::from_utf8(output.stderr).unwrap(),
    )
}

#[test]
fn the_command_asks_or_is_told() {
    let place = Place::new();
    place.sample("bad_rows.csv");
    place.sample("good_comma.csv");
    let (code, _, err) = biot(&place, &["import", "good_comma.csv"]);
    assert_eq!(code, 2);
    assert!(err.contains("--dry-run") && err.contains("--yes"), "{err}");
    let (code, out, _) = biot(&place, &["import", "good_comma.csv", "--dry-run", "--new-compounds"]);
    assert_eq!(code, 0);
    assert!(
        out.contains("3 entries would be added") && out.contains("melting point"),
        "{out}"
    );
    assert!(place.entries().is_empty());
    let (code, out, err) = biot(
        &place,
        &[
            "import",
            "good_comma.csv",
            "--yes",
            "--new-compounds",
            "--save-mapping",
            "m.toml",
            "--json",
        ],
    );
    assert_eq!(code, 0, "{err}");
    let json: serde_json::Value = serde_json::from_str(&out).unwrap();
    assert_eq!(
        (json["added"].as_u64(), json["files"][0]["unmapped"][0].as_str()),
        (Some(3), Some("melting point"))
    );
    assert_eq!(place.entries().len(), 3);
    let saved = fs::read_to_string(place.folder.path().join("m.toml")).unwrap();
    assert!(saved.contains("\"T/°C\" = \"temperature:°C\""), "{saved}");
    let (code, _, _) = biot(
        &place,
        &[
            "import",
            "bad_rows.csv",
            "--yes",
            "--new-compounds",
            "--rejects",
            "r.csv",
        ],
    );
    assert_eq!(code, 5);
    assert!(place.folder.path().join("r.csv").exists());
    let (code, _, err) = biot(&place, &["import", "bad_rows.csv", "--yes", "--rejects", "r.csv"]);
    assert_eq!(code, 2, "{err}");
    let (code, _, err) = biot(&place, &["import", "bad_rows.csv", "--text", "--dry-run"]);
    assert_eq!(code, 2);
    assert!(err.contains("--compound"), "{err}");
    let (code, out, _) = biot(&place, &["import", "nowhere.csv", "--yes", "--json"]);
    assert_eq!(code, 2);
    assert!(out.contains("\"error\""), "{out}");
}

/// Reads a file in a format and drops what it gives.
fn drain(bytes: &[u8], format: Format) -> usize {
    let file = tempfile::NamedTempFile::new().unwrap();
    fs::write(file.path(), bytes).unwrap();
    let options = ReadOptions {
        format: Some(format),
        bounds: SpreadsheetBounds {
            unpacked: 4 << 20,
            ..SpreadsheetBounds::OWN_FILE
        },
        ..ReadOptions::default()
    };
    let mut n = 0;
    let mapping = Mapping::default();
    let _ = rows::read::<ReadError>(file.path(), &options, &|heading| mapping.knows(heading), &mut |event| {
        n += usize::from(matches!(event, Event::Row(_)));
        Ok(())
    });
    n
}

const FORMATS: [Format; 5] = [
    Format::Table,
    Format::Xlsx,
    Format::JsonLines,
    Format::Cif,
    Format::Text,
];

/// Pieces of all formats, so that random files go deep into their readers.
fn piece() -> impl Strategy<Value = Vec<u8>> {
    prop_oneof![
        proptest::collection::vec(any::<u8>(), 0..6),
        proptest::sample::select(vec![
            "name,value\n",
            "name;[α]\n",
            "\"",
            "'",
            ",",
            ";",
            "\t",
            "\n",
            "\n;",
            "data_x ",
            "loop_ ",
            "_chemical_name_common ",
            "_chemical.optical_rotation ",
            "'[\\a]^25^~D~ = +108 (c = 3.42, CHCl~3~)'",
            "save_",
            "#",
            "{\"compound\": ",
            "}",
            "{\"value\": -1.5}",
            "\"source\": {",
            "[α]D20 −49.1 (c 1, EtOH)",
            "-49,1",
            "PK\u{3}\u{4}",
            "\0",
            "\u{FEFF}",
            "é",
        ])
        .prop_map(|text| text.as_bytes().to_vec()),
    ]
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(96))]

    #[test]
    fn no_bytes_panic_a_reader(pieces in proptest::collection::vec(piece(), 0..40)) {
        let bytes = pieces.concat();
        for format in FORMATS {
            drain(&bytes, format);
        }
    }

    #[test]
    fn no_damage_to_a_spreadsheet_panics(at in any::<prop::sample::Index>(), byte in any::<u8>(), cut in any::<prop::sample::Index>()) {
        let mut bytes = workbook();
        let place = at.index(bytes.len());
        bytes[place] = byte;
        drain(&bytes, Format::Xlsx);
        bytes.truncate(cut.index(bytes.len()) + 1);
        drain(&bytes, Format::Xlsx);
    }

    #[test]
    fn no_rows_panic_an_import(cells in proptest::collection::vec("[-+−0-9.,;°%a-zα ()>\\[\\]'\"=]{0,12}", 24)) {
        let mut table = String::from("name,value,T,c,path,ee,sign,citation\n");
        for row in cells.chunks(8) {
            table.push_str(&row.iter().map(|cell| format!("\"{}\"", cell.replace('"', "\"\""))).collect::<Vec<_>>().join(","));
            table.push('\n');
        }
        let file = tempfile::NamedTempFile::with_suffix(".csv").unwrap();
        fs::write(file.path(), table).unwrap();
        let mut place = Place::new();
        let trial = ImportRequest { is_trial: true, rejects: RejectsTo::Nowhere, ..request(file.path()) };
        let report = place.import(&trial).unwrap();
        prop_assert_eq!(report.added.entries + report.present + report.rejected, report.files[0].rows);
    }
}

#[test]
fn what_an_export_writes_can_be_imported() {
    use biot::exchange::export;
    let mut place = Place::new();
    place.take(&place.sample("good_comma.csv"));
    place.take(&place.sample("good_lines.jsonl"));
    let before = place.entries();
    for (format, name) in [
        (export::Format::Csv, "out.csv"),
        (export::Format::Xlsx, "out.xlsx"),
        (export::Format::JsonLines, "out.jsonl"),
    ] {
        let mut out = Vec::new();
        export::export(
            &place.library,
            format,
            &export::Selection::default(),
            "2020-01-01T00:00:00Z",
            &mut out,
            &mut |_, _| {},
        )
        .unwrap();
        let mut other = Place::new();
        let report = other.take(&other.file(name, out));
        assert_eq!(
            counts(&report),
            (before.len() as u64, 0, 0),
            "{name}: {:?}",
            report.refusals
        );
        assert!(
            report.files[0].assignment.unmapped.is_empty(),
            "{name}: {:?}",
            report.files[0].assignment.unmapped
        );
        for (left, right) in before.iter().zip(&other.entries()) {
            assert_eq!(left.statement, right.statement, "{name}");
            assert_eq!(place.name_of(left), other.name_of(right), "{name}");
            assert_eq!(
                place.source_of(left).citation,
                other.source_of(right).citation,
                "{name}"
            );
            assert_eq!(
                (&left.comment, left.hand, left.identity),
                (&right.comment, right.hand, right.identity)
            );
        }
    }
}

/// A row keeps its line number whichever way lines end, and an entry that an export wrote is there already.
#[test]
fn lines_that_end_in_two_characters_are_counted_once() {
    let mut place = Place::new();
    let text = "name,value,solvent,citation\r\nL-proline,-85.2,H2O,Invented J. 1 (2021) 3\r\nL-proline,abc,H2O,Invented J. 1 (2021) 3\r\n";
    let report = place.take(&place.file("two.csv", text));
    let lines: Vec<u64> = report.refusals.iter().map(|refused| refused.line).collect();
    assert!(lines.ends_with(&[3]), "{lines:?}");
}

#[test]
fn a_dry_run_says_what_the_audit_would_find() {
    let mut place = Place::new();
    let there = "name,value,solvent,c,line,temperature,citation\ninvented lactone Q,-41.0,CHCl3,1.0,D,20,Invented 1\n";
    place.take(&place.file("there.csv", there));
    // A factor of ten off the value in the library, and a rotation of a compound without a hand, new with this file.
    let rows = "name,smiles,value,solvent,c,line,temperature,citation\n\
                invented lactone Q,,-410,CHCl3,1.0,D,20,Invented 2\n\
                invented achiral acid,CC(=O)O,+12.3,H2O,1.0,D,20,Invented 2\n";
    let file = place.file("new.csv", rows);
    let trial = ImportRequest {
        is_trial: true,
        ..request(&file)
    };
    let report = place.import(&trial).unwrap();
    assert_eq!(counts(&report), (2, 0, 0));
    let foreseen: Vec<(Code, &str, usize, &[String])> = report
        .foreseen
        .iter()
        .map(|finding| {
            let name = finding.compound_name.as_str();
            (finding.code, name, finding.entries.len(), finding.rows.as_slice())
        })
        .collect();
    let lines = ["new.csv line 2".to_owned(), "new.csv line 3".to_owned()];
    assert!(
        foreseen.contains(&(Code::AchiralRotation, "invented achiral acid", 0, &lines[1..])),
        "{foreseen:?}"
    );
    assert!(
        foreseen
            .iter()
            .any(|(code, name, _, rows)| (*code, *name, *rows) == (Code::PowerOfTen, "invented lactone Q", &lines[..1])),
        "{foreseen:?}"
    );
    // What the import itself finds is what was foreseen.
    let report = place.take(&file);
    let batch = place.library.last_import().unwrap().unwrap();
    let found = of_batch(&place.library, &batch.uid, &Settings::default()).unwrap();
    let codes = |mut all: Vec<Code>| {
        all.sort();
        all
    };
    assert!(report.foreseen.is_empty());
    assert_eq!(
        codes(found.iter().map(|flagged| flagged.code).collect()),
        codes(foreseen.iter().map(|(code, ..)| *code).collect())
    );
}
