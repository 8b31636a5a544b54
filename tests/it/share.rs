//! Sharing: everything that leaves comes back as it was, what a format cannot hold is named, and a bundle never
//! overwrites in silence. The readers here are the tests' own, so that a writer is not checked by its own inverse.

use crate::library::statement;
use crate::starter::starter_library;
use biot::exchange::bundle::VERSION;
use biot::exchange::cell::unguard_cell;
use biot::exchange::export::{ExportError, Exported, Format, Selection, export};
use biot::exchange::fields::{self, Cell, FieldKind, Record};
use biot::exchange::take::{Keep, RecordKind, Resolution, Run, TakeError, Taken, take};
use biot::library::{
    Change, Compound, CompoundChoice, CompoundId, Entry, EntryContent, EntryId, EntryKind, Hand, Identity, Library,
    NewCompound, NewSource, ReviewState, Source, SourceId, SourceKind,
};
use biot::notation;
use biot::quantity::MolarMass;
use biot::statement::Statement;
use biot::tasks::share::{self, ShareError};
use calamine::{Data, Reader};
use proptest::strategy::{Strategy, ValueTree};
use sha2::{Digest, Sha256};
use std::collections::{BTreeMap, HashMap};
use std::io::{self, Write};
use std::path::Path;
use std::process::{Command, Stdio};
use std::sync::LazyLock;
use tempfile::TempDir;

/// The starter library as a bundle.
static STARTER_BUNDLE: LazyLock<Vec<u8>> = LazyLock::new(|| {
    let (_folder, library) = starter_library();
    exported(&library, Format::Bundle)
});

fn change(why: &str) -> Change {
    Change::now("tester", why)
}

fn new_library(folder: &TempDir, name: &str) -> Library {
    Library::create(&folder.path().join(name), &change("test")).unwrap()
}

fn export_all(library: &Library, format: Format, out: &mut (dyn Write + Send)) -> Result<Exported, ExportError> {
    let created = "2026-11-25T10:00:00Z";
    export(library, format, &Selection::default(), created, out, &mut |_, _| {})
}

fn exported(library: &Library, format: Format) -> Vec<u8> {
    let mut out = Vec::new();
    export_all(library, format, &mut out).unwrap();
    out
}

fn take_in(library: &mut Library, bundle: &[u8], resolution: &Resolution, run: Run) -> Result<Taken, TakeError> {
    take(
        library,
        bundle,
        "bundle test",
        resolution,
        run,
        &change("taking in"),
        &mut |_| {},
    )
}

fn prefer(keep: Keep) -> Resolution {
    Resolution {
        prefer: Some(keep),
        ..Resolution::default()
    }
}

/// Everything a library holds, by stable id, with the ids it points to instead of numbers.
#[derive(Debug, PartialEq)]
struct Contents {
    compounds: BTreeMap<String, NewCompound>,
    sources: BTreeMap<String, NewSource>,
    /// Entry, stable id of its compound, stable id of its source.
    entries: BTreeMap<String, (EntryContent, String, String)>,
}

fn contents(library: &Library) -> Contents {
    let mut contents = Contents {
        compounds: BTreeMap::new(),
        sources: BTreeMap::new(),
        entries: BTreeMap::new(),
    };
    let (mut compound_ids, mut source_ids) = (HashMap::new(), HashMap::new());
    library
        .for_each_compound(|compound: Compound| {
            compound_ids.insert(compound.id, compound.uid.clone());
            let content = fields::compound_content(&compound);
            contents.compounds.insert(compound.uid, content);
            Ok(())
        })
        .unwrap();
    library
        .for_each_source(|source: Source| {
            source_ids.insert(source.id, source.uid.clone());
            let content = fields::source_content(&source);
            contents.sources.insert(source.uid, content);
            Ok(())
        })
        .unwrap();
    library
        .for_each_entry(|entry: Entry| {
            let ids = (compound_ids[&entry.compound].clone(), source_ids[&entry.source].clone());
            let uid = entry.uid.clone();
            let mut content = EntryContent::from(entry);
            content.compound = CompoundId(0);
            content.source = SourceId(0);
            contents.entries.insert(uid, (content, ids.0, ids.1));
            Ok(())
        })
        .unwrap();
    contents
}

fn value(text: &str) -> Statement {
    Statement {
        value: Some(text.parse().unwrap()),
        as_printed: format!("[α]D {text}"),
        ..Statement::default()
    }
}

fn content(compound: CompoundId, source: SourceId, statement: Statement) -> EntryContent {
    EntryContent {
        compound,
        source,
        kind: EntryKind::Value,
        statement,
        identity: Identity::Sure,
        hand: Hand::Independent,
        state: ReviewState::Draft,
        kept_out: None,
        substance: None,
        seen: None,
        comment: None,
        method: None,
    }
}

fn new_source(citation: &str) -> NewSource {
    NewSource {
        kind: SourceKind::Paper,
        citation: citation.to_owned(),
        doi: None,
        year: Some(2001),
        url: None,
    }
}

fn add(library: &mut Library, compound: NewCompound, source: &NewSource, statement: Statement) -> EntryId {
    let choice = CompoundChoice::New(Box::new(compound));
    let make = |compound, source| content(compound, source, statement);
    library.add_record(&choice, source, make, &change("added")).unwrap()
}

/// Names that would do harm where a reader runs or cuts what it reads.
const HOSTILE: [&str; 8] = [
    "<script>alert(1)</script>",
    "=HYPERLINK(\"http://example.org\";\"x\")",
    "@SUM(1+1)*cmd|' /C calc'!A0",
    "-2+3 \"quoted\", 'single'; semicolon",
    "+\tTab and\nnewline\n;second line",
    "'=already guarded",
    "data_block loop_ _name # comment",
    "back\\slash | bar ^caret^ ~tilde~ &#x41; 亮氨酸",
];

/// A library whose texts are hostile.
fn hostile_library(folder: &TempDir) -> Library {
    let mut library = new_library(folder, "hostile.biot");
    for (at, name) in HOSTILE.iter().enumerate() {
        let compound = NewCompound {
            other_names: vec![format!("{name} too"), "a | b".to_owned()],
            ..NewCompound::named(*name)
        };
        let statement = Statement {
            as_printed: (*name).to_owned(),
            place: Some(format!("={at}")),
            doubts: vec![(*name).to_owned(), "-1".to_owned()],
            ..value("-1.50")
        };
        add(&mut library, compound, &new_source(name), statement);
    }
    library
}

/// A library with artificial statements.
fn artificial_library(folder: &TempDir, n: usize) -> Library {
    let mut library = new_library(folder, "artificial.biot");
    let mut runner = proptest::test_runner::TestRunner::deterministic();
    library
        .load("artificial", &change("test"), |loader| {
            let compound = loader.compound(&NewCompound::named("x"))?;
            let source = loader.source(&new_source("x"))?;
            for _ in 0..n {
                let statement = statement().new_tree(&mut runner).unwrap().current();
                loader.entry(&content(compound, source, statement), None)?;
            }
            Ok(())
        })
        .unwrap();
    library
}

#[test]
fn the_starter_library_survives_a_bundle() {
    let (folder, library) = starter_library();
    let mut copy = new_library(&folder, "copy.biot");
    let taken = take_in(&mut copy, &STARTER_BUNDLE, &Resolution::default(), Run::Real).unwrap();
    assert!(taken.changed && taken.conflicts.is_empty());
    let (before, after) = (contents(&library), contents(&copy));
    assert_eq!(before.entries.len(), 944);
    assert_eq!(taken.new.entries, 944);
    assert_eq!(taken.new.compounds, before.compounds.len() as u64);
    assert_eq!(taken.new.sources, before.sources.len() as u64);
    assert_eq!(before, after);
    let newest = &copy.newest_history(1).unwrap()[0];
    assert_eq!(
        (newest.who.as_str(), newest.why.as_str(), newest.action.as_str()),
        ("tester", "taking in", "load")
    );
    assert!(copy.check_history().unwrap().is_sound());
    assert_eq!(copy.check_integrity().unwrap(), Vec::<String>::new());

    // Once more changes nothing, not even the history.
    let lines = copy.statistics().unwrap().history_lines;
    let again = take_in(&mut copy, &STARTER_BUNDLE, &Resolution::default(), Run::Real).unwrap();
    assert_eq!((again.changed, again.completed), (false, 0));
    assert_eq!(again.equal, taken.new);
    assert_eq!(again.conflicts, []);
    assert_eq!(copy.statistics().unwrap().history_lines, lines);
    // The copy gives the same bundle, but for the header, the digest of which is that of another history.
    let second = exported(&copy, Format::Bundle);
    let records = |bundle: &[u8]| -> Vec<String> {
        let text = String::from_utf8(bundle.to_vec()).unwrap();
        text.lines()
            .filter(|line| !line.contains("\"record\":\"header\"") && !line.contains("\"record\":\"end\""))
            .map(ToOwned::to_owned)
            .collect()
    };
    assert_eq!(records(&second), records(&STARTER_BUNDLE));
}

#[test]
fn the_header_carries_the_state_of_the_history() {
    let folder = tempfile::tempdir().unwrap();
    let library = hostile_library(&folder);
    let bundle = String::from_utf8(exported(&library, Format::Bundle)).unwrap();
    let header: serde_json::Value = serde_json::from_str(bundle.lines().next().unwrap()).unwrap();
    let head = library.history_head().unwrap().unwrap();
    assert_eq!(header["history_digest"], head.digest);
    assert_eq!(header["history_lines"], library.statistics().unwrap().history_lines);
    assert_eq!(header["version"], VERSION);
    // The last line holds the SHA-256 of every byte before it.
    let last = bundle.lines().last().unwrap();
    let before = &bundle[..bundle.len() - last.len() - 1];
    let end: serde_json::Value = serde_json::from_str(last).unwrap();
    assert_eq!(end["sha256"], sha256(before));
}

#[test]
fn any_statement_and_hostile_text_survive_a_bundle() {
    let folder = tempfile::tempdir().unwrap();
    for (at, library) in [artificial_library(&folder, 300), hostile_library(&folder)]
        .iter()
        .enumerate()
    {
        let mut copy = new_library(&folder, &format!("copy{at}.biot"));
        let bundle = exported(library, Format::Bundle);
        take_in(&mut copy, &bundle, &Resolution::default(), Run::Real).unwrap();
        assert_eq!(contents(library), contents(&copy));
    }
}

/// Two libraries that began as one, with an entry mended differently in each; the bundle of the second, and the entry.
fn two_libraries(folder: &TempDir) -> (Library, Library, Vec<u8>, String) {
    let mut ours = new_library(folder, "ours.biot");
    let source = new_source("A. Author, J. Test. 1 (2001) 1");
    let id = add(&mut ours, NewCompound::named("(−)-testol"), &source, value("-12.3"));
    let uid = ours.entry(id).unwrap().uid;
    let mut theirs = new_library(folder, "theirs.biot");
    let first = exported(&ours, Format::Bundle);
    take_in(&mut theirs, &first, &Resolution::default(), Run::Real).unwrap();
    for (library, mended) in [(&mut ours, "-12.4"), (&mut theirs, "-12.50")] {
        let entry = library.entry_by_uid(&uid).unwrap().unwrap();
        let mut content = EntryContent::from(entry.clone());
        content.statement.value = Some(mended.parse().unwrap());
        library
            .edit_entry(entry.id, entry.revision, &content, &change("misread"))
            .unwrap();
    }
    let new = NewCompound::named("(+)-novol");
    add(&mut theirs, new, &source, value("+3.0"));
    let bundle = exported(&theirs, Format::Bundle);
    (ours, theirs, bundle, uid)
}

fn value_of(library: &Library, uid: &str) -> String {
    let entry = library.entry_by_uid(uid).unwrap().unwrap();
    entry.statement.value.unwrap().to_string()
}

#[test]
fn an_entry_edited_in_both_libraries_is_a_conflict() {
    let folder = tempfile::tempdir().unwrap();
    let (mut ours, theirs, bundle, uid) = two_libraries(&folder);
    let before = contents(&ours);
    let lines = ours.statistics().unwrap().history_lines;
    // Neither a dry run nor a real one with an open conflict changes anything.
    for run in [Run::Dry, Run::Real] {
        let taken = take_in(&mut ours, &bundle, &Resolution::default(), run).unwrap();
        assert_eq!((taken.changed, taken.n_open(), taken.new.entries), (false, 1, 1));
        let conflict = &taken.conflicts[0];
        assert_eq!((conflict.record, &conflict.uid), (RecordKind::Entry, &uid));
        let shown: Vec<_> = conflict
            .differences
            .iter()
            .map(|d| (d.field.as_str(), d.ours.as_deref(), d.theirs.as_deref()))
            .collect();
        assert_eq!(shown, [("value", Some("-12.4"), Some("-12.50"))]);
        assert_eq!(contents(&ours), before);
        assert_eq!(ours.statistics().unwrap().history_lines, lines);
    }
    // Ours is kept, the new entry comes in.
    let taken = take_in(&mut ours, &bundle, &prefer(Keep::Ours), Run::Real).unwrap();
    assert!(taken.changed);
    assert_eq!(value_of(&ours, &uid), "-12.4");
    assert_eq!(contents(&ours).entries.len(), 2);
    // Theirs is taken, with a line in the history that says what was there.
    let taken = take_in(&mut ours, &bundle, &prefer(Keep::Theirs), Run::Real).unwrap();
    assert!(taken.changed);
    assert_eq!(contents(&ours), contents(&theirs));
    let history = ours.history_of(&uid).unwrap();
    let newest = history.last().unwrap();
    assert_eq!((newest.action.as_str(), newest.why.as_str()), ("edit", "taking in"));
    assert_eq!(newest.before.as_ref().unwrap()["value"], -12.4);
    assert_eq!(newest.after.as_ref().unwrap()["value"], -12.5);
    assert!(ours.check_history().unwrap().is_sound());
    let taken = take_in(&mut ours, &bundle, &Resolution::default(), Run::Real).unwrap();
    assert_eq!((taken.changed, taken.conflicts.len()), (false, 0));
}

#[test]
fn conflicts_are_decided_one_by_one_in_a_file() {
    let folder = tempfile::tempdir().unwrap();
    let (mut ours, _, bundle, uid) = two_libraries(&folder);
    let file = folder.path().join("conflicts.toml");
    let taken = take_in(&mut ours, &bundle, &Resolution::default(), Run::Dry).unwrap();
    share::write_conflicts(&file, &taken.conflicts).unwrap();
    assert!(
        matches!(share::write_conflicts(&file, &[]), Err(ShareError::File { .. })),
        "an edited file of conflicts is not written over"
    );
    assert!(
        share::read_decisions(&file).unwrap().is_empty(),
        "nothing is decided yet"
    );
    let text = std::fs::read_to_string(&file).unwrap();
    assert!(text.contains("keep = \"\""), "{text}");
    std::fs::write(&file, text.replace("keep = \"\"", "keep = \"mine\"")).unwrap();
    assert!(matches!(
        share::read_decisions(&file),
        Err(ShareError::Conflicts { .. })
    ));
    std::fs::write(&file, text.replace("keep = \"\"", "keep = \"theirs\"")).unwrap();
    let resolution = Resolution {
        prefer: None,
        decisions: share::read_decisions(&file).unwrap(),
    };
    // A decision holds only for the differences it was made on.
    let entry = ours.entry_by_uid(&uid).unwrap().unwrap();
    let content = EntryContent {
        comment: Some("looked up".to_owned()),
        ..EntryContent::from(entry.clone())
    };
    let edited = ours
        .edit_entry(entry.id, entry.revision, &content, &change("comment"))
        .unwrap();
    let taken = take_in(&mut ours, &bundle, &resolution, Run::Real).unwrap();
    assert_eq!((taken.changed, taken.n_open()), (false, 1));
    ours.edit_entry(entry.id, edited.revision, &EntryContent::from(entry), &change("back"))
        .unwrap();
    let taken = take_in(&mut ours, &bundle, &resolution, Run::Real).unwrap();
    assert_eq!((taken.changed, taken.n_open()), (true, 0));
    assert_eq!(value_of(&ours, &uid), "-12.50");
}

#[test]
fn compounds_and_sources_are_known_by_what_they_are() {
    let folder = tempfile::tempdir().unwrap();
    // L-Alanine, its InChI and InChIKey from the starter tables.
    let (_starter, starter) = starter_library();
    let alanine = starter
        .compounds_by_inchikey("QNAYBMKLOCPYGJ-REOHCLBHSA-N")
        .unwrap()
        .pop()
        .expect("the starter library holds L-alanine");
    let known = fields::compound_content(&alanine);
    let mut ours = new_library(&folder, "ours.biot");
    let source = NewSource {
        doi: Some("10.1000/test".to_owned()),
        ..new_source("As we cite it")
    };
    add(&mut ours, known.clone(), &source, value("+2.4"));
    let mut theirs = new_library(&folder, "theirs.biot");
    let cited = NewSource {
        citation: "As they cite it".to_owned(),
        ..source.clone()
    };
    let named = NewCompound {
        other_names: vec!["a new name".to_owned()],
        ..known.clone()
    };
    add(&mut theirs, named, &cited, value("+14.6"));
    let bundle = String::from_utf8(exported(&theirs, Format::Bundle)).unwrap();
    // As if an older program had given them other stable ids.
    let theirs_compound = theirs.compounds_by_inchikey(known.inchikey.as_ref().unwrap()).unwrap()[0]
        .uid
        .clone();
    let theirs_source = theirs.sources_by_doi("10.1000/test").unwrap()[0].uid.clone();
    let bundle = bundle
        .replace(&theirs_compound, "00000000-0000-4000-8000-000000000001")
        .replace(&theirs_source, "00000000-0000-4000-8000-000000000002");
    let bundle = resealed(&bundle);
    let taken = take_in(&mut ours, bundle.as_bytes(), &Resolution::default(), Run::Dry).unwrap();
    assert_eq!((taken.new.compounds, taken.new.sources, taken.new.entries), (0, 0, 1));
    assert_eq!(taken.completed, 1, "the name is added");
    let fields: Vec<_> = taken
        .conflicts
        .iter()
        .flat_map(|conflict| &conflict.differences)
        .map(|difference| difference.field.as_str())
        .collect();
    assert_eq!(fields, ["citation"], "the citations of one DOI differ");
    take_in(&mut ours, bundle.as_bytes(), &prefer(Keep::Ours), Run::Real).unwrap();
    let after = contents(&ours);
    assert_eq!(
        (after.compounds.len(), after.sources.len(), after.entries.len()),
        (1, 1, 2)
    );
    let compound = after.compounds.values().next().unwrap();
    assert!(compound.other_names.contains(&"a new name".to_owned()));
    assert_eq!(after.sources.values().next().unwrap().citation, "As we cite it");
    assert_eq!(ours.compounds_by_name("a new name").unwrap().len(), 1);
}

/// A compound replaced by theirs keeps its old name, and is found by the new one.
#[test]
fn a_compound_taken_over_keeps_its_names() {
    let folder = tempfile::tempdir().unwrap();
    let (mut ours, theirs, _, _) = two_libraries(&folder);
    let uid = ours.compounds_by_name("(−)-testol").unwrap()[0].uid.clone();
    let bundle = String::from_utf8(exported(&theirs, Format::Bundle)).unwrap();
    let bundle = resealed(&bundle.replace(
        "\"name\":\"(−)-testol\"",
        "\"name\":\"(R)-testol\",\"formula\":\"C2H6O\"",
    ));
    take_in(&mut ours, bundle.as_bytes(), &prefer(Keep::Theirs), Run::Real).unwrap();
    let compound = ours.compound_by_uid(&uid).unwrap().unwrap();
    assert_eq!(
        (compound.name.as_str(), compound.formula.as_deref()),
        ("(R)-testol", Some("C2H6O"))
    );
    assert_eq!(compound.other_names, ["(−)-testol"]);
    assert!(ours.check_history().unwrap().is_sound());
}

fn sha256(text: &str) -> String {
    let digest = Sha256::digest(text.as_bytes());
    digest
        .iter()
        .fold(String::new(), |hex, byte| format!("{hex}{byte:02x}"))
}

/// The bundle with the digest of its last line made to fit.
fn resealed(bundle: &str) -> String {
    let last = bundle.lines().last().unwrap();
    let before = &bundle[..bundle.len() - last.len() - 1];
    let mut end: serde_json::Value = serde_json::from_str(last).unwrap();
    end["sha256"] = sha256(before).into();
    format!("{before}{end}\n")
}

#[test]
fn a_newer_damaged_or_cut_bundle_is_refused_whole() {
    let folder = tempfile::tempdir().unwrap();
    let (_, _, bundle, _) = two_libraries(&folder);
    let bundle = String::from_utf8(bundle).unwrap();
    let lines: Vec<&str> = bundle.lines().collect();
    let n = lines.len();
    let first_entry = lines
        .iter()
        .position(|line| line.contains("\"record\":\"entry\""))
        .unwrap();
    let with = |at: usize, line: &str| {
        let mut lines = lines.clone();
        lines[at] = line;
        lines.join("\n") + "\n"
    };
    let newer = lines[0].replace("\"version\":1", "\"version\":2");
    let wrong_state = lines[first_entry].replace("\"state\":\"draft\"", "\"state\":\"sure\"");
    let unknown_field = lines[first_entry].replace("\"state\"", "\"colour\":\"red\",\"state\"");
    let raw_number = lines[first_entry].replace("\"value\":\"-12.50\"", "\"value\":-12.5");
    let no_number = lines[first_entry].replace("\"-12.50\"", "\"-12.5O\"");
    let other_digit = lines[first_entry].replace("\"-12.50\"", "\"-72.50\"");
    assert!(no_number != lines[first_entry] && raw_number != lines[first_entry] && newer != lines[0]);
    let cases = [
        ("newer", with(0, &newer), 1),
        ("no bundle", "compound,value\nx,1\n".to_owned(), 1),
        ("empty", String::new(), 1),
        ("no JSON", with(2, "{\"record\":"), 3),
        ("wrong word", with(first_entry, &wrong_state), first_entry + 1),
        ("unknown field", with(first_entry, &unknown_field), first_entry + 1),
        ("number not as text", with(first_entry, &raw_number), first_entry + 1),
        ("letter O in a number", with(first_entry, &no_number), first_entry + 1),
        ("twice", with(first_entry, lines[n - 2]), n - 1),
        ("changed value", with(first_entry, &other_digit), n),
        ("compound missing", with(1, lines[0]), 2),
        ("cut off", lines[..n - 1].join("\n") + "\n", n),
        ("more behind the end", format!("{bundle}{}\n", lines[1]), n + 1),
    ];
    let mut library = new_library(&folder, "empty.biot");
    for (what, text, line) in cases {
        let error = take_in(&mut library, text.as_bytes(), &prefer(Keep::Theirs), Run::Real).unwrap_err();
        assert!(matches!(error, TakeError::Bundle(_)), "{what}: {error}");
        assert!(
            error.to_string().starts_with(&format!("line {line}: ")),
            "{what}: {error}"
        );
        assert_eq!(contents(&library).compounds.len(), 0, "{what}");
    }
    // A wrong InChIKey would file values under another compound.
    let starter = String::from_utf8(STARTER_BUNDLE.clone()).unwrap();
    let key = "QNAYBMKLOCPYGJ-REOHCLBHSA-N";
    let changed = resealed(&starter.replacen(key, "QNAYBMKLOCPYGJ-UWTATZPHSA-N", 1));
    let error = take_in(&mut library, changed.as_bytes(), &Resolution::default(), Run::Real).unwrap_err();
    assert!(error.to_string().contains("InChIKey"), "{error}");
    assert_eq!(contents(&library).compounds.len(), 0);
    // Bytes that are no text.
    let mut bytes = bundle.into_bytes();
    bytes[200] = 0xFF;
    assert!(take_in(&mut library, &bytes, &Resolution::default(), Run::Real).is_err());
}

/// What a row of a flat export says.
struct FlatRow {
    uid: String,
    compound_uid: String,
    source_uid: String,
    compound: NewCompound,
    source: NewSource,
    entry: EntryContent,
}

fn kind_of(field: &str) -> FieldKind {
    fields::COMPOUND_FIELDS
        .iter()
        .chain(&fields::ENTRY_FIELDS)
        .chain(&fields::SOURCE_FIELDS)
        .find(|(name, _)| *name == field)
        .unwrap_or_else(|| panic!("column {field}"))
        .1
}

/// A row from its cells: texts as a spreadsheet holds them, numbers as the text of their digits.
fn flat_row(cells: impl IntoIterator<Item = (String, String)>) -> FlatRow {
    let mut all = Record::new();
    for (field, text) in cells {
        if text.is_empty() {
            continue;
        }
        let cell = match kind_of(&field) {
            FieldKind::Text => Cell::Text(unguard_cell(&text).to_owned()),
            FieldKind::Number => Cell::Text(text),
            FieldKind::Flag => Cell::Flag(text.to_lowercase().parse().unwrap()),
            FieldKind::List => Cell::List(fields::split_list(unguard_cell(&text))),
        };
        all.insert(field, cell);
    }
    let mut uid = |field: &str| match all.remove(field) {
        Some(Cell::Text(uid)) => uid,
        other => panic!("{field}: {other:?}"),
    };
    let (uid, compound_uid, source_uid) = (uid("uid"), uid("compound_uid"), uid("source_uid"));
    all.remove("revision");
    let mut pick = |names: &[(&str, FieldKind)]| -> Record {
        let mut record = Record::new();
        for (name, _) in names {
            if let Some(cell) = all.remove(*name) {
                record.insert((*name).to_owned(), cell);
            }
        }
        record
    };
    let compound = fields::compound_from(pick(&fields::COMPOUND_FIELDS)).unwrap();
    let source = fields::source_from(pick(&fields::SOURCE_FIELDS)).unwrap();
    FlatRow {
        uid,
        compound_uid,
        source_uid,
        compound,
        source,
        entry: fields::entry_from(all, CompoundId(0), SourceId(0)).unwrap(),
    }
}

/// Compares rows read back with the library, but for compounds and sources without an entry, which rows cannot hold.
fn compare_rows(library: &Library, rows: Vec<FlatRow>) {
    let expected = contents(library);
    assert_eq!(rows.len(), expected.entries.len());
    for row in rows {
        let (entry, compound, source) = &expected.entries[&row.uid];
        assert_eq!(&row.entry, entry, "entry {}", row.uid);
        assert_eq!(&row.compound_uid, compound);
        assert_eq!(row.compound, expected.compounds[compound]);
        assert_eq!(&row.source_uid, source);
        assert_eq!(row.source, expected.sources[source]);
    }
}

fn csv_rows(bytes: &[u8]) -> Vec<FlatRow> {
    let mut reader = csv::Reader::from_reader(bytes);
    let heading = reader.headers().unwrap().clone();
    reader
        .records()
        .map(|row| {
            let row = row.unwrap();
            flat_row(heading.iter().map(str::to_owned).zip(row.iter().map(str::to_owned)))
        })
        .collect()
}

/// Decimals by field, from the column `digits`.
fn decimals(digits: &str) -> HashMap<&str, usize> {
    digits
        .split("; ")
        .filter_map(|part| part.split_once(' '))
        .map(|(field, n)| (field, n.parse().unwrap()))
        .collect()
}

fn with_digits(field: &str, value: f64, decimals: &HashMap<&str, usize>) -> String {
    match decimals.get(field) {
        Some(&n) if format!("{value:.n$}").parse() == Ok(value) => format!("{value:.n$}"),
        Some(n) => format!("{value}:{n}"),
        None => value.to_string(),
    }
}

fn xlsx_cells(bytes: &[u8]) -> (Vec<String>, Vec<Vec<Data>>) {
    let mut book: calamine::Xlsx<_> = calamine::open_workbook_from_rs(io::Cursor::new(bytes)).unwrap();
    let sheet = book.worksheet_range("entries").unwrap();
    let mut rows = sheet.rows();
    let heading = rows.next().unwrap().iter().map(ToString::to_string).collect();
    (heading, rows.map(<[Data]>::to_vec).collect())
}

fn xlsx_rows(bytes: &[u8]) -> Vec<FlatRow> {
    let (heading, rows) = xlsx_cells(bytes);
    let n_fields = heading.len() - 1;
    assert_eq!(heading[n_fields], "digits");
    rows.iter()
        .map(|row| {
            let digits = row.get(n_fields).map(ToString::to_string).unwrap_or_default();
            let decimals = decimals(&digits);
            flat_row(heading[..n_fields].iter().zip(row).map(|(field, cell)| {
                let text = match cell {
                    Data::Float(value) => with_digits(field, *value, &decimals),
                    Data::Int(value) => with_digits(field, *value as f64, &decimals),
                    other => {
                        let is_number = kind_of(field) == FieldKind::Number;
                        assert!(!is_number || *other == Data::Empty, "{field} is no number: {other:?}");
                        other.to_string()
                    }
                };
                (field.clone(), text)
            }))
        })
        .collect()
}

fn json_rows(bytes: &[u8]) -> Vec<FlatRow> {
    let text = std::str::from_utf8(bytes).unwrap();
    text.lines()
        .map(|line| {
            let row: serde_json::Map<String, serde_json::Value> = serde_json::from_str(line).unwrap();
            let digits = row.get("digits").and_then(|digits| digits.as_str()).unwrap_or_default();
            let decimals = decimals(digits);
            flat_row(
                row.iter()
                    .filter(|(field, _)| *field != "digits")
                    .map(|(field, value)| {
                        let text = match value {
                            serde_json::Value::Number(number) => {
                                with_digits(field, number.as_f64().unwrap(), &decimals)
                            }
                            serde_json::Value::String(text) => biot::exchange::cell::guard_cell(text).into_owned(),
                            serde_json::Value::Array(texts) => {
                                let texts = texts.iter().map(|text| text.as_str().unwrap().to_owned());
                                let joined = Cell::List(texts.collect()).to_string();
                                biot::exchange::cell::guard_cell(&joined).into_owned()
                            }
                            other => other.to_string(),
                        };
                        (field.clone(), text)
                    }),
            )
        })
        .collect()
}

#[test]
fn the_starter_library_survives_csv_xlsx_and_json_lines() {
    let (_folder, library) = starter_library();
    compare_rows(&library, csv_rows(&exported(&library, Format::Csv)));
    compare_rows(&library, xlsx_rows(&exported(&library, Format::Xlsx)));
    compare_rows(&library, json_rows(&exported(&library, Format::JsonLines)));
}

#[test]
fn hostile_text_survives_rows_and_runs_nowhere() {
    let folder = tempfile::tempdir().unwrap();
    let library = hostile_library(&folder);
    let csv = exported(&library, Format::Csv);
    let xlsx = exported(&library, Format::Xlsx);
    compare_rows(&library, csv_rows(&csv));
    compare_rows(&library, xlsx_rows(&xlsx));
    compare_rows(&library, json_rows(&exported(&library, Format::JsonLines)));
    let is_formula = |text: &str| text.starts_with(['=', '+', '-', '@', '\t', '\r']);
    let mut n_guarded = 0;
    let mut reader = csv::Reader::from_reader(&csv[..]);
    let heading = reader.headers().unwrap().clone();
    for row in reader.records() {
        for (field, cell) in heading.iter().zip(&row.unwrap()) {
            n_guarded += usize::from(cell.starts_with('\'') && is_formula(cell.trim_start_matches('\'')));
            assert!(
                !is_formula(cell) || (kind_of(field) == FieldKind::Number && cell.parse::<f64>().is_ok()),
                "{field}: {cell}"
            );
        }
    }
    assert!(n_guarded > HOSTILE.len(), "{n_guarded} cells are guarded");
    for cell in xlsx_cells(&xlsx).1.iter().flatten() {
        if let Data::String(text) = cell {
            assert!(!is_formula(text), "{text}");
        }
    }
    // Values stay numbers: -1.50 is no guarded text.
    assert!(String::from_utf8(csv).unwrap().contains(",-1.50,"));
}

#[test]
fn artificial_statements_survive_json_lines() {
    let folder = tempfile::tempdir().unwrap();
    let library = artificial_library(&folder, 200);
    let text = String::from_utf8(exported(&library, Format::JsonLines)).unwrap();
    assert_eq!(text.lines().count(), 200);
    for line in text.lines() {
        let row: serde_json::Value = serde_json::from_str(line).unwrap();
        assert!(row["uid"].is_string());
    }
}

/// A CIF block: its code, and its items by lower-case name. Written from the syntax of CIF 1.1 (International Tables
/// for Crystallography G, ch. 2.2): comments, quoted values, text fields.
fn cif_blocks(text: &str) -> Vec<(String, HashMap<String, String>)> {
    assert!(text.is_ascii(), "CIF 1.1 is ASCII");
    assert!(text.lines().all(|line| line.len() <= 2048));
    let mut blocks: Vec<(String, HashMap<String, String>)> = Vec::new();
    let mut lines = text.lines().peekable();
    let mut name: Option<String> = None;
    while let Some(line) = lines.next() {
        let line = line.trim_end();
        if let (Some(first), Some(item)) = (line.strip_prefix(';'), name.clone()) {
            let mut value = first.to_owned();
            loop {
                match lines.next() {
                    Some(line) if line.starts_with(';') => {
                        assert_eq!(line, ";", "a text field ends inside its text");
                        break;
                    }
                    Some(line) => value = format!("{value} {line}"),
                    None => panic!("a text field has no end"),
                }
            }
            blocks.last_mut().unwrap().1.insert(item, value);
            name = None;
            continue;
        }
        if line.is_empty() || line.starts_with('#') {
            continue;
        }
        if let Some(code) = line.strip_prefix("data_") {
            assert!(code.len() <= 70 && !code.contains(' '), "{code}");
            blocks.push((code.to_owned(), HashMap::new()));
            continue;
        }
        assert!(line.starts_with('_'), "neither a name nor a block: {line}");
        match line.split_once(' ') {
            None => name = Some(line.to_lowercase()),
            Some((item, value)) => {
                let quote = value.chars().next().unwrap();
                let value = if quote == '\'' || quote == '"' {
                    let inner = &value[1..value.len() - 1];
                    assert!(value.ends_with(quote), "{value}");
                    assert!(!inner.contains(quote), "{value}");
                    inner
                } else {
                    assert!(
                        !value.contains(' ') && !value.starts_with(['_', '#', '$', ';', '[']),
                        "{value}"
                    );
                    value
                };
                let before = blocks
                    .last_mut()
                    .unwrap()
                    .1
                    .insert(item.to_lowercase(), value.to_owned());
                assert_eq!(before, None, "{item} stands twice in one block");
            }
        }
    }
    blocks
}

/// Prose as CIF holds it back to Unicode: the codes that occur, then the references.
fn from_cif(text: &str) -> String {
    let mut plain = text.to_owned();
    for (code, character) in [
        ("\\%A", "Å"),
        ("\\%a", "å"),
        ("\\a", "α"),
        ("\\b", "β"),
        ("\\g", "γ"),
        ("\\d", "δ"),
        ("\\e", "ε"),
        ("\\l", "λ"),
        ("\\w", "ω"),
        ("\\%", "°"),
        ("\\\"u", "ü"),
        ("\\\"o", "ö"),
        ("\\\"a", "ä"),
        ("\\'e", "é"),
        ("\\`e", "è"),
    ] {
        plain = plain.replace(code, character);
    }
    let mut out = String::new();
    let mut rest = plain.as_str();
    while let Some(at) = rest.find("&#x") {
        out.push_str(&rest[..at]);
        let end = at + rest[at..].find(';').unwrap();
        let code = u32::from_str_radix(&rest[at + 3..end], 16).unwrap();
        out.push(char::from_u32(code).unwrap());
        rest = &rest[end + 1..];
    }
    out + rest
}

/// A text with dashes, primes, quotation marks and spaces as the export names them: the ASCII ones.
fn without_typography(text: &str) -> String {
    let mut plain = String::new();
    for c in text.chars() {
        match c {
            '\u{2010}'..='\u{2015}' | '\u{2212}' => plain.push('-'),
            '\u{2032}' | '\u{2018}' | '\u{2019}' => plain.push('\''),
            '\u{2033}' => plain.push_str("''"),
            '\u{2034}' => plain.push_str("'''"),
            '\u{201C}' | '\u{201D}' => plain.push('"'),
            c => plain.push(c),
        }
    }
    plain.split_whitespace().collect::<Vec<_>>().join(" ")
}

#[test]
fn the_starter_library_survives_cif_but_for_what_is_named() {
    let (_folder, library) = starter_library();
    let mut out = Vec::new();
    let done = export_all(&library, Format::Cif, &mut out).unwrap();
    let expected = contents(&library);
    let numbers: HashMap<String, i64> = {
        let mut numbers = HashMap::new();
        library
            .for_each_entry(|entry| {
                numbers.insert(entry.uid, entry.id.0);
                Ok(())
            })
            .unwrap();
        numbers
    };
    let blocks = cif_blocks(&String::from_utf8(out).unwrap());
    assert_eq!(blocks.len(), 944);
    let named: Vec<&str> = Format::Cif.cannot_hold().iter().map(|limit| limit.what).collect();
    let reasons: HashMap<i64, &str> = done
        .left_out
        .iter()
        .map(|left| (left.entry, left.reason.as_str()))
        .collect();
    let mut n_rotations = 0;
    let mut not_named = Vec::new();
    for (uid, items) in &blocks {
        let (entry, compound, source) = &expected.entries[uid];
        let (compound, source) = (&expected.compounds[compound], &expected.sources[source]);
        let item = |name: &str| items.get(name).map(String::as_str);
        assert_eq!(
            from_cif(item("_chemical.name_common").unwrap()),
            without_typography(&compound.name)
        );
        assert_eq!(
            item("_chemical_formula.sum").map(|formula| formula.replace(' ', "")),
            compound.formula
        );
        assert_eq!(
            item("_chemical_formula.weight").map(|mass| mass.parse().unwrap()),
            compound.molar_mass.map(MolarMass::grams_per_mole)
        );
        assert_eq!(item("_chemical.identifier_inchi"), compound.inchi.as_deref());
        assert_eq!(item("_chemical.identifier_inchi_key"), compound.inchikey.as_deref());
        assert_eq!(
            from_cif(item("_citation.special_details").unwrap()),
            without_typography(&source.citation)
        );
        assert_eq!(item("_citation.doi"), source.doi.as_deref());
        assert_eq!(item("_citation.year").map(|year| year.parse().unwrap()), source.year);
        let number = numbers[uid];
        let reason = reasons.get(&number).copied().unwrap_or_default();
        let Some(rotation) = item("_chemical.optical_rotation") else {
            assert!(!reason.is_empty(), "entry {number} has no rotation and is not named");
            continue;
        };
        n_rotations += 1;
        let read = notation::read(&format!("_chemical.optical_rotation '{rotation}'"));
        let back = read.first().map(|found| found.statement.clone()).unwrap_or_default();
        let back = fields::entry_record(&EntryContent {
            statement: back,
            ..entry.clone()
        });
        let there = fields::entry_record(entry);
        for (field, _) in fields::ENTRY_FIELDS {
            let same = back.get(field).map(ToString::to_string) == there.get(field).map(ToString::to_string);
            if !same && !named.contains(&field) {
                assert!(
                    !["kind", "value", "low", "high", "sign", "plus_minus"].contains(&field),
                    "{field} of entry {number} is lost in {rotation}"
                );
                if !reason.contains(field) {
                    not_named.push(format!("{field} of entry {number} in {rotation}"));
                }
            }
        }
    }
    assert!(n_rotations > 930, "{n_rotations} rotations are written");
    assert!(not_named.is_empty(), "lost without a word:\n{}", not_named.join("\n"));
    // Conditions in words of their own are few.
    assert!(done.left_out.len() <= 20, "{:?}", done.left_out);
}

#[test]
fn hostile_text_stays_inside_its_cif_item() {
    let folder = tempfile::tempdir().unwrap();
    let library = hostile_library(&folder);
    let blocks = cif_blocks(&String::from_utf8(exported(&library, Format::Cif)).unwrap());
    let mut names: Vec<String> = blocks
        .iter()
        .map(|(_, items)| from_cif(&items["_chemical.name_common"]))
        .collect();
    let mut expected: Vec<String> = HOSTILE.iter().map(|name| without_typography(name)).collect();
    names.sort();
    expected.sort();
    assert_eq!(names, expected);
}

#[test]
fn every_format_names_what_it_cannot_hold() {
    for format in Format::ALL {
        let limits = format.cannot_hold();
        assert!(!limits.is_empty(), "{format:?}");
        assert!(
            limits
                .iter()
                .all(|limit| !limit.what.is_empty() && !limit.why.is_empty())
        );
        assert_eq!(Format::from_word(format.as_str()), Some(format));
        assert_eq!(
            Format::of_file(Path::new(&format!("x.{}", format.as_str().to_uppercase()))),
            Some(format)
        );
    }
    let cif: Vec<&str> = Format::Cif.cannot_hold().iter().map(|limit| limit.what).collect();
    for field in ["form", "role", "comment", "state", "doubts", "as_printed", "smiles"] {
        assert!(cif.contains(&field), "{field}");
    }
    assert_eq!(Format::of_file(Path::new("x.pdf")), None);
}

/// Takes what is written and notes how much.
#[derive(Default)]
struct Counting {
    n_bytes: u64,
    most_at_once: usize,
}

impl Write for Counting {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        self.n_bytes += bytes.len() as u64;
        self.most_at_once = self.most_at_once.max(bytes.len());
        Ok(bytes.len())
    }

    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}

#[test]
fn ten_thousand_entries_stream_out() {
    let folder = tempfile::tempdir().unwrap();
    let mut library = new_library(&folder, "many.biot");
    library
        .load("many", &change("test"), |loader| {
            for n in 0..100 {
                let compound = loader.compound(&NewCompound::named(format!("compound {n}")))?;
                let source = loader.source(&new_source(&format!("source {n}")))?;
                for m in 0..100 {
                    let statement = value(&format!("{}.{n:02}", m + 1));
                    loader.entry(&content(compound, source, statement), None)?;
                }
            }
            Ok(())
        })
        .unwrap();
    for format in Format::ALL {
        let out = std::sync::Mutex::new(Counting::default());
        let mut seen = 0;
        let mut written_halfway = 0;
        let done = export(
            &library,
            format,
            &Selection::default(),
            "",
            &mut Shared(&out),
            &mut |done, total| {
                assert_eq!(total, 10_000);
                seen = done;
                if done == total / 2 {
                    written_halfway = out.lock().unwrap().n_bytes;
                }
            },
        )
        .unwrap();
        let out = out.lock().unwrap();
        assert_eq!(
            (done.entries, done.compounds, done.sources),
            (10_000, 100, 100),
            "{format:?}"
        );
        assert_eq!(seen, 10_000);
        assert!(out.n_bytes > 100_000, "{format:?}: {} bytes", out.n_bytes);
        // A spreadsheet is an archive that is packed at the end, from a temporary file.
        if format != Format::Xlsx {
            assert!(written_halfway > out.n_bytes / 4, "{format:?} is kept until the end");
            assert!(
                out.most_at_once < 1 << 16,
                "{format:?}: {} bytes at once",
                out.most_at_once
            );
        }
    }
    let mut copy = new_library(&folder, "copy.biot");
    let bundle = exported(&library, Format::Bundle);
    let taken = take_in(&mut copy, &bundle, &Resolution::default(), Run::Real).unwrap();
    assert_eq!(taken.new.entries, 10_000);
}

struct Shared<'a>(&'a std::sync::Mutex<Counting>);

impl Write for Shared<'_> {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        self.0.lock().unwrap().write(bytes)
    }

    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}

#[test]
fn a_selection_takes_only_what_it_names() {
    let (_folder, library) = starter_library();
    let all = contents(&library);
    let specifications = Selection {
        kind: Some(EntryKind::Specification),
        ..Selection::default()
    };
    let n = all
        .entries
        .values()
        .filter(|(entry, ..)| entry.kind == EntryKind::Specification)
        .count() as u64;
    let mut out = Vec::new();
    let done = export(&library, Format::Bundle, &specifications, "", &mut out, &mut |_, _| {}).unwrap();
    assert_eq!(done.entries, n);
    assert!(n > 0 && done.sources < all.sources.len() as u64);
    // Such a bundle stands alone.
    let folder = tempfile::tempdir().unwrap();
    let mut copy = new_library(&folder, "copy.biot");
    let taken = take_in(&mut copy, &out, &Resolution::default(), Run::Real).unwrap();
    assert_eq!(taken.new.entries, n);
    let alanine = library.compounds_by_inchikey("QNAYBMKLOCPYGJ-REOHCLBHSA-N").unwrap()[0].id;
    let one = Selection {
        compound: Some(alanine),
        state: Some(ReviewState::Confirmed),
        ..Selection::default()
    };
    let mut out = Vec::new();
    export(&library, Format::Csv, &one, "", &mut out, &mut |_, _| {}).unwrap();
    let rows = csv_rows(&out);
    assert!(!rows.is_empty() && rows.len() < 30);
    assert!(
        rows.iter()
            .all(|row| row.compound.inchikey.as_deref() == Some("QNAYBMKLOCPYGJ-REOHCLBHSA-N"))
    );
}

#[test]
fn a_file_appears_whole_or_not_at_all() {
    let folder = tempfile::tempdir().unwrap();
    let mut library = new_library(&folder, "long.biot");
    let long = Statement {
        as_printed: "x".repeat(40_000),
        ..value("1.0")
    };
    add(&mut library, NewCompound::named("x"), &new_source("x"), long);
    let file = folder.path().join("out.xlsx");
    let write = |replace, format, file: &Path| {
        share::export_file(&library, file, replace, format, &Selection::default(), &mut |_, _| {})
    };
    let error = write(false, Format::Xlsx, &file).unwrap_err();
    assert!(error.to_string().contains("as_printed"), "{error}");
    assert!(!file.exists());
    let csv = folder.path().join("out.csv");
    write(false, Format::Csv, &csv).unwrap();
    let before = std::fs::read(&csv).unwrap();
    assert!(matches!(write(false, Format::Csv, &csv), Err(ShareError::File { .. })));
    write(true, Format::Csv, &csv).unwrap();
    assert_eq!(std::fs::read(&csv).unwrap(), before);
    let left: Vec<_> = std::fs::read_dir(folder.path())
        .unwrap()
        .map(|entry| entry.unwrap().file_name().into_string().unwrap())
        .filter(|name| name.starts_with(".biot-export"))
        .collect();
    assert_eq!(left, Vec::<String>::new());
}

#[test]
fn the_schema_describes_every_field() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("schema/bundle.schema.json");
    let schema: serde_json::Value = serde_json::from_str(&std::fs::read_to_string(path).unwrap()).unwrap();
    for (record, table, more) in [
        ("compound", &fields::COMPOUND_FIELDS[..], &["record", "uid"][..]),
        ("source", &fields::SOURCE_FIELDS[..], &["record", "uid"]),
        ("entry", &fields::ENTRY_FIELDS[..], &["record"]),
    ] {
        let mut described: Vec<&str> = schema["$defs"][record]["properties"]
            .as_object()
            .unwrap()
            .keys()
            .map(String::as_str)
            .collect();
        let mut written: Vec<&str> = table
            .iter()
            .map(|(name, _)| *name)
            .chain(more.iter().copied())
            .collect();
        described.sort_unstable();
        written.sort_unstable();
        assert_eq!(described, written);
    }
    assert_eq!(schema["$defs"]["header"]["properties"]["version"]["const"], VERSION);
    // Every line that is written has only fields of the schema.
    let text = String::from_utf8(STARTER_BUNDLE.clone()).unwrap();
    for line in text.lines() {
        let line: serde_json::Value = serde_json::from_str(line).unwrap();
        let properties = &schema["$defs"][line["record"].as_str().unwrap()]["properties"];
        for (field, _) in line.as_object().unwrap() {
            assert!(properties.get(field).is_some(), "{field}");
        }
    }
}

/// The program on a library of its own.
fn biot(library: &Path, arguments: &[&str]) -> (i32, String, String) {
    let output = Command::new(env!("CARGO_BIN_EXE_biot"))
        .env_clear()
        .env("BIOT_LIBRARY", library)
        .env("BIOT_USER", "tester")
        .env("HOME", library.parent().unwrap())
        .stdin(Stdio::null())
        .args(arguments)
        .output()
        .unwrap();
    (
        output.status.code().unwrap_or(-1),
        String::from_utf8_lossy(&output.stdout).into_owned(),
        String::from_utf8_lossy(&output.stderr).into_owned(),
    )
}

#[test]
fn the_commands_keep_streams_and_exit_codes() {
    let folder = tempfile::tempdir().unwrap();
    let (ours, theirs, _, uid) = two_libraries(&folder);
    let (ours, theirs) = (ours.path().to_owned(), theirs.path().to_owned());
    let at = |name: &str| folder.path().join(name).to_str().unwrap().to_owned();
    let bundle = at("theirs.bundle");
    let (code, out, err) = biot(&theirs, &["export", &bundle, "--json"]);
    assert_eq!(code, 0, "{err}");
    let answer: serde_json::Value = serde_json::from_str(&out).unwrap();
    assert_eq!((&answer["entries"], &answer["format"]), (&2.into(), &"bundle".into()));
    assert!(err.contains("does not hold"), "{err}");
    let (code, out, _) = biot(&theirs, &["export", &bundle, "--json"]);
    assert_eq!(code, 2, "an existing file is not replaced");
    assert!(out.contains("--overwrite"), "{out}");
    assert_eq!(biot(&theirs, &["export", &bundle, "--overwrite"]).0, 0);
    assert_eq!(biot(&theirs, &["export", &at("x.pdf")]).0, 2);
    let (code, out, err) = biot(&theirs, &["export", "-", "--format", "csv", "--quiet"]);
    assert_eq!((code, err.as_str()), (0, ""));
    assert_eq!(csv_rows(out.as_bytes()).len(), 2);

    let (code, out, _) = biot(&ours, &["take", &bundle, "--json"]);
    assert_eq!(code, 2, "without a terminal it must be said: {out}");
    let (code, out, _) = biot(&ours, &["take", &bundle, "--dry-run", "--json"]);
    let answer: serde_json::Value = serde_json::from_str(&out).unwrap();
    assert_eq!(
        (code, &answer["open_conflicts"], &answer["changed"]),
        (5, &1.into(), &false.into())
    );
    let difference = &answer["conflicts"][0]["differences"][0];
    assert_eq!(
        *difference,
        serde_json::json!({"field": "value", "ours": "-12.4", "theirs": "-12.50"})
    );
    let conflicts = at("conflicts.toml");
    let (code, out, _) = biot(&ours, &["take", &bundle, "--yes", "--conflicts-to", &conflicts]);
    assert_eq!(code, 5);
    assert!(out.contains("-12.50") && out.contains("Nothing was changed"), "{out}");
    let text = std::fs::read_to_string(&conflicts).unwrap();
    std::fs::write(&conflicts, text.replace("keep = \"\"", "keep = \"theirs\"")).unwrap();
    let (code, _, err) = biot(
        &ours,
        &[
            "take",
            &bundle,
            "--yes",
            "--conflicts",
            &conflicts,
            "--why",
            "second group",
        ],
    );
    assert_eq!(code, 0, "{err}");
    let library = Library::open(&ours, biot::library::Access::Read).unwrap();
    assert_eq!(value_of(&library, &uid), "-12.50");
    let newest = library.history_of(&uid).unwrap().pop().unwrap();
    assert_eq!((newest.who.as_str(), newest.why.as_str()), ("tester", "second group"));
    let (code, out, _) = biot(&ours, &["take", &conflicts, "--yes", "--json"]);
    assert_eq!(code, 2);
    assert!(out.contains("no bundle"), "{out}");
}
