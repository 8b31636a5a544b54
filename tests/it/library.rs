//! The store: what goes in comes out, nothing of the past is lost, and a file that is damaged, newer, elsewhere or in
//! use is met with a clear word.

use crate::starter::starter_library;
use biot::library::{
    Access, Change, CompoundChoice, CompoundId, EntryContent, EntryKind, Filter, Hand, Identity, Library, LibraryError,
    NewCompound, NewSource, ReviewState, SourceId, SourceKind, Why,
};
use biot::quantity::{ConcentrationUnit, Length, Printed, SpectralLine, Wavelength};
use biot::solvent::Solvent;
use biot::statement::{
    PrintedConcentration, Role, RotationKind, Sign, Stage, StatedExcess, StatedTemperature, Statement,
};
use biot::tasks::{care, curate};
use proptest::prelude::*;
use std::path::{Path, PathBuf};

fn change(why: &str) -> Change {
    Change::now("tester", why)
}

fn new_library(folder: &Path) -> Library {
    Library::create(&folder.join("test.biot"), &change("test")).unwrap()
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

fn value(text: &str) -> Statement {
    Statement {
        value: Some(text.parse().unwrap()),
        as_printed: format!("[α]D {text}"),
        ..Statement::default()
    }
}

/// A library with one compound, source and entry.
fn small_library(folder: &Path) -> (Library, biot::library::EntryId) {
    let mut library = new_library(folder);
    let compound = CompoundChoice::New(Box::new(NewCompound::named("(−)-testol")));
    let entry = library
        .add_record(
            &compound,
            &new_source("A. Author, J. Test. 1 (2001) 1"),
            |compound, source| content(compound, source, value("-12.30")),
            &change("first value"),
        )
        .unwrap();
    (library, entry)
}

#[test]
fn every_starter_entry_survives_a_second_library() {
    let (folder, library) = starter_library();
    let mut contents = Vec::new();
    library
        .for_each_entry(|entry| {
            contents.push(EntryContent::from(entry));
            Ok(())
        })
        .unwrap();
    let mut copy = Library::create(&folder.path().join("copy.biot"), &change("copy")).unwrap();
    let ((), counts) = copy
        .load("copy", &change("copy"), |loader| {
            let compound = loader.compound(&NewCompound::named("all"))?;
            let source = loader.source(&new_source("all"))?;
            for content in &mut contents {
                content.compound = compound;
                content.source = source;
                loader.entry(content, None)?;
            }
            Ok(())
        })
        .unwrap();
    assert_eq!(counts.entries, 944);
    let mut at = 0;
    copy.for_each_entry(|entry| {
        assert_eq!(EntryContent::from(entry), contents[at]);
        at += 1;
        Ok(())
    })
    .unwrap();
    assert_eq!(at, contents.len());
}

fn printed() -> impl Strategy<Value = Printed> {
    (-1e7..1e7f64, 0u8..8).prop_map(|(value, decimals)| Printed::new(value, decimals))
}

fn words() -> impl Strategy<Value = String> {
    "[ -~αβ−°\u{1F600}\n\"',;]{0,20}"
}

prop_compose! {
    fn conditions()(
        temperature in prop_oneof![
            Just(None),
            printed().prop_map(|at| Some(StatedTemperature::At(at))),
            (printed(), printed()).prop_map(|(low, high)| Some(StatedTemperature::Range(low, high))),
            words().prop_map(|words| Some(StatedTemperature::Words(words))),
        ],
        line in prop_oneof![
            Just(None),
            Just(Some(SpectralLine::SodiumD)),
            (180.0..2500.0f64).prop_map(|nm| Some(SpectralLine::At(Wavelength::in_air(nm).unwrap()))),
            (180.0..2500.0f64).prop_map(|nm| Some(SpectralLine::At(Wavelength::in_vacuum(nm).unwrap()))),
            words().prop_map(|name| Some(SpectralLine::Named(name))),
        ],
        solvent in proptest::option::of(proptest::sample::select(vec![
            "neat", "CHCl3", "EtOH 95%", "HCl 1 N aq", "MeOH/H2O 1:1", "pH 7 buffer", "some oil",
        ])),
        concentration in proptest::option::of((
            printed(), proptest::option::of(printed()), proptest::sample::select(ConcentrationUnit::ALL.to_vec()),
            any::<bool>(),
        )),
        path in proptest::option::of(0.01..10.0f64),
    ) -> Statement {
        Statement {
            temperature,
            line,
            solvent: solvent.map(|text| Solvent::parse_lenient(text).unwrap()),
            concentration: concentration.map(|(low, high, unit, unit_printed)| PrintedConcentration {
                low, high, unit, unit_printed,
            }),
            path: path.map(Length::from_decimetres),
            ..Statement::default()
        }
    }
}

prop_compose! {
    pub fn statement()(
        conditions in conditions(),
        kind in proptest::sample::select(vec![RotationKind::Specific, RotationKind::Observed, RotationKind::Molar]),
        numbers in (proptest::option::of(printed()), proptest::option::of(printed()), proptest::option::of(printed())),
        plus_minus in proptest::option::of(printed()),
        sign in proptest::sample::select(vec![Sign::Stated, Sign::NotStated, Sign::Ambiguous]),
        approx in any::<bool>(),
        texts in proptest::array::uniform6(proptest::option::of(words())),
        stage in proptest::sample::select(vec![None, Some(Stage::Initial), Some(Stage::Final)]),
        role in proptest::sample::select(vec![None, Some(Role::Measured), Some(Role::Lit), Some(Role::Compiled)]),
        ee in proptest::option::of((printed(), any::<bool>(), proptest::option::of(words()))),
        as_printed in words(),
        doubts in proptest::collection::vec(words(), 0..3),
    ) -> Statement {
        let [form, basis, time_note, enantiomer_note, place, _] = texts;
        Statement {
            kind, value: numbers.0, low: numbers.1, high: numbers.2, plus_minus, sign, approx,
            form, basis, time_note, enantiomer_note, place, stage, role,
            ee: ee.map(|(percent, at_least, method)| StatedExcess { percent, at_least, method }),
            as_printed, doubts,
            ..conditions
        }
    }
}

#[test]
fn any_statement_is_read_back_as_it_was_written() {
    let folder = tempfile::tempdir().unwrap();
    let mut library = new_library(folder.path());
    let compound = library.add_compound(&NewCompound::named("x"), &change("test")).unwrap();
    let source = library.add_source(&new_source("x"), &change("test")).unwrap();
    let mut runner = proptest::test_runner::TestRunner::deterministic();
    let mut contents = Vec::new();
    for _ in 0..300 {
        let tree = statement().new_tree(&mut runner).unwrap();
        contents.push(content(compound, source, proptest::strategy::ValueTree::current(&tree)));
    }
    let (ids, _) = library
        .load("statements", &change("test"), |loader| {
            contents
                .iter()
                .map(|content| loader.entry(content, None))
                .collect::<Result<Vec<_>, _>>()
        })
        .unwrap();
    for (id, content) in ids.into_iter().zip(contents) {
        assert_eq!(EntryContent::from(library.entry(id).unwrap()), content);
    }
}

#[test]
fn every_change_is_recorded_and_the_chain_holds() {
    let folder = tempfile::tempdir().unwrap();
    let (mut library, id) = small_library(folder.path());
    let entry = library.entry(id).unwrap();
    assert_eq!((entry.revision, entry.state), (0, ReviewState::Draft));
    let mut edited = EntryContent::from(entry.clone());
    edited.statement.value = Some("-12.50".parse().unwrap());
    let after = curate::edit(&mut library, id, 0, &edited, &change("misread digit")).unwrap();
    assert_eq!(after.revision, 1);
    assert_eq!(after.statement.value.unwrap().to_string(), "-12.50");
    // A second edit of the old revision is refused.
    let error = library.edit_entry(id, 0, &edited, &change("late")).unwrap_err();
    assert!(
        matches!(
            error,
            LibraryError::RevisionChanged {
                based_on: 0,
                found: 1,
                ..
            }
        ),
        "{error}"
    );
    curate::confirm(&mut library, id, &change("checked against the page")).unwrap();
    assert!(library.confirm_entry(id, &change("again")).is_err());
    assert!(
        library.withdraw_entry(id, &change("  ")).is_err(),
        "withdrawn without a reason"
    );
    let withdrawn = curate::withdraw(&mut library, id, &change("the paper was retracted")).unwrap();
    assert_eq!(withdrawn.state, ReviewState::Withdrawn);
    let lines = library.history_of(&entry.uid).unwrap();
    let actions: Vec<&str> = lines.iter().map(|line| line.action.as_str()).collect();
    assert_eq!(actions, ["add", "edit", "confirm", "withdraw"]);
    assert_eq!(lines[1].before.as_ref().unwrap()["value"], -12.3);
    assert_eq!(lines[1].before.as_ref().unwrap()["value_decimals"], 2);
    assert_eq!(lines[1].after.as_ref().unwrap()["value"], -12.5);
    assert_eq!(
        (lines[1].who.as_str(), lines[1].why.as_str()),
        ("tester", "misread digit")
    );
    assert!(library.check_history().unwrap().is_sound());
}

#[test]
fn merged_compounds_keep_entries_names_and_a_way_back() {
    let folder = tempfile::tempdir().unwrap();
    let (mut library, id) = small_library(folder.path());
    let loser = library.entry(id).unwrap().compound;
    let loser_uid = library.compound(loser).unwrap().uid;
    let winner = library
        .add_compound(
            &NewCompound {
                cas: vec!["58-22-0".to_owned()],
                ..NewCompound::named("laevotestol")
            },
            &change("the same substance"),
        )
        .unwrap();
    library.search("testol", &Filter::default(), 5).unwrap();
    let merged = curate::merge(&mut library, loser, winner, &change("one substance")).unwrap();
    assert_eq!(merged.name, "laevotestol");
    assert_eq!(merged.other_names, ["(−)-testol"]);
    assert_eq!(library.entries(winner).unwrap().len(), 1);
    // The old number, the old stable id and the old name lead to the survivor.
    assert_eq!(library.compound(loser).unwrap().id, winner);
    assert_eq!(library.compound_by_uid(&loser_uid).unwrap().unwrap().id, winner);
    assert_eq!(library.compounds_by_name("(-)-testol").unwrap()[0].id, winner);
    assert_eq!(
        library.search("testol", &Filter::default(), 5).unwrap().hits[0]
            .compound
            .id,
        winner
    );
    assert!(
        library.merge_compounds(loser, winner, &change("again")).is_err(),
        "merged into itself"
    );
    assert!(library.check_history().unwrap().is_sound());
    assert_eq!(library.statistics().unwrap().compounds, 1);
    assert!(library.check_integrity().unwrap().is_empty());
}

/// Opens the file with the plain database library, past all our own care.
fn tamper(path: &Path, sql: &str) -> Result<(), rusqlite::Error> {
    rusqlite::Connection::open(path)?.execute_batch(sql)
}

#[test]
fn tampering_with_the_past_shows() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("test.biot");
    let fresh = || {
        let _ = std::fs::remove_file(&path);
        let (mut library, id) = small_library(folder.path());
        library.confirm_entry(id, &change("checked")).unwrap();
        library.check_history().unwrap()
    };
    assert!(fresh().is_sound());
    // The history itself refuses.
    assert!(tamper(&path, "UPDATE history SET who = 'somebody else' WHERE id = 2").is_err());
    assert!(tamper(&path, "DELETE FROM history WHERE id = 2").is_err());
    let open = "DROP TRIGGER history_is_never_changed; DROP TRIGGER history_is_never_deleted;";
    for (sql, broken_at, cut_off, n_changed) in [
        (
            "UPDATE history SET who = 'somebody else' WHERE id = 2",
            Some(2),
            false,
            0,
        ),
        (
            "UPDATE history SET after = replace(after, '-12.3', '12.3') WHERE id = 4",
            Some(4),
            false,
            0,
        ),
        ("DELETE FROM history WHERE id = 3", Some(4), false, 0),
        ("DELETE FROM history WHERE id = 5", None, true, 1),
        ("UPDATE entry SET value = 12.3", None, false, 1),
    ] {
        fresh();
        tamper(&path, &format!("{open}{sql}")).unwrap();
        let found = Library::open(&path, Access::Read).unwrap().check_history().unwrap();
        assert_eq!(
            (found.broken_at, found.cut_off),
            (broken_at, cut_off),
            "{sql}: {found:?}"
        );
        assert_eq!(found.changed_outside.len(), n_changed, "{sql}: {found:?}");
        assert!(!found.is_sound(), "{sql}");
    }
}

#[test]
fn tampering_with_a_loaded_entry_shows() {
    let (_folder, mut library) = starter_library();
    // An honest edit of a loaded entry does not look like tampering …
    let entry = library.entry(biot::library::EntryId(100)).unwrap();
    let content = EntryContent {
        comment: Some("looked at again".to_owned()),
        ..entry.clone().into()
    };
    library
        .edit_entry(entry.id, entry.revision, &content, &change("remark"))
        .unwrap();
    assert!(library.check_history().unwrap().is_sound());
    // … a changed digit behind our back does.
    tamper(library.path(), "UPDATE entry SET value = value * 10 WHERE id = 200").unwrap();
    assert_eq!(library.check_history().unwrap().changed_outside.len(), 1);
}

#[test]
fn writers_wait_for_each_other_and_readers_do_not() {
    let folder = tempfile::tempdir().unwrap();
    let (library, _) = small_library(folder.path());
    let path = library.path().to_owned();
    let compound = library.compounds_by_name("(−)-testol").unwrap()[0].id;
    let source = SourceId(1);
    drop(library);
    std::thread::scope(|scope| {
        for writer in 0..4 {
            let path = &path;
            scope.spawn(move || {
                let mut library = Library::open(path, Access::Write).unwrap();
                for n in 0..25 {
                    let statement = value(&format!("{writer}.{n}"));
                    library
                        .add_entry(&content(compound, source, statement), &change("many"))
                        .unwrap();
                }
            });
        }
        scope.spawn(|| {
            let library = Library::open(&path, Access::Read).unwrap();
            let mut last = 0;
            while last < 101 {
                let n = library.entries(compound).unwrap().len();
                assert!(n >= last, "a reader saw half a change");
                last = n;
            }
        });
    });
    let library = Library::open(&path, Access::Read).unwrap();
    assert_eq!(library.entries(compound).unwrap().len(), 101);
    assert!(library.check_history().unwrap().is_sound());
}

/// The library two processes make at once, told to the second one by its environment.
const SHARED: &str = "BIOT_TEST_SHARED_LIBRARY";

/// Does nothing unless it is started by the test below.
#[test]
fn second_process() {
    let Some(path) = std::env::var_os(SHARED) else { return };
    let library = care::open_or_create(Path::new(&path), Access::Write, &mut |_| {}).unwrap();
    assert_eq!(library.statistics().unwrap().values, 873);
}

#[test]
fn processes_at_first_start_do_not_harm_each_other() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("data").join("biot").join("library.biot");
    let children: Vec<_> = (0..2)
        .map(|_| {
            std::process::Command::new(std::env::current_exe().unwrap())
                .args(["--exact", "library::second_process"])
                .env(SHARED, &path)
                .stdout(std::process::Stdio::null())
                .spawn()
                .unwrap()
        })
        .collect();
    let library = care::open_or_create(&path, Access::Write, &mut |_| {}).unwrap();
    for mut child in children {
        assert!(child.wait().unwrap().success());
    }
    assert_eq!(library.statistics().unwrap().values, 873);
    assert!(library.check_history().unwrap().is_sound());
    let left: Vec<PathBuf> = std::fs::read_dir(path.parent().unwrap())
        .unwrap()
        .map(|file| file.unwrap().path())
        .filter(|file| file.extension().is_some_and(|extension| extension == "part"))
        .collect();
    assert!(left.is_empty(), "{left:?}");
}

#[cfg(unix)]
#[test]
fn the_file_is_its_owners_only() {
    use std::os::unix::fs::PermissionsExt;
    let folder = tempfile::tempdir().unwrap();
    let (library, _) = small_library(folder.path());
    library.search("testil", &Filter::default(), 3).unwrap();
    let mode = |path: &Path| std::fs::metadata(path).unwrap().permissions().mode() & 0o777;
    assert_eq!(mode(library.path()), 0o600);
    assert_eq!(mode(&folder.path().join("test.biot.index")), 0o700);
    let copy = folder.path().join("copy.biot");
    library.backup(&copy).unwrap();
    assert_eq!(mode(&copy), 0o600);
    let left: Vec<_> = std::fs::read_dir(folder.path())
        .unwrap()
        .map(|file| file.unwrap().file_name().into_string().unwrap())
        .filter(|name| name.contains("part") || name.starts_with("copy.biot-"))
        .collect();
    assert_eq!(left, Vec::<String>::new());
}

#[test]
fn a_library_opened_for_reading_is_not_changed() {
    let folder = tempfile::tempdir().unwrap();
    let (library, id) = small_library(folder.path());
    let mut reader = Library::open(library.path(), Access::Read).unwrap();
    let error = reader.confirm_entry(id, &change("x")).unwrap_err();
    assert!(matches!(error, LibraryError::ReadOnly { .. }), "{error}");
}

#[test]
fn what_is_no_library_is_said() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("x.biot");
    let open = |access| Library::open(&path, access).err().unwrap();
    assert!(matches!(open(Access::Read), LibraryError::NotFound { .. }));
    std::fs::write(&path, "value;solvent\n1;2\n".repeat(100)).unwrap();
    for access in [Access::Read, Access::Write] {
        let error = open(access);
        assert!(matches!(error, LibraryError::NotALibrary { .. }), "{error}");
    }
    std::fs::remove_file(&path).unwrap();
    tamper(&path, "CREATE TABLE t (x)").unwrap();
    assert!(matches!(open(Access::Write), LibraryError::NotALibrary { .. }));
    std::fs::write(&path, "").unwrap();
    assert!(matches!(open(Access::Write), LibraryError::NotALibrary { .. }));
    let error = Library::create(&path, &change("x")).err().unwrap();
    assert!(matches!(error, LibraryError::Exists { .. }), "{error}");
}

#[test]
fn a_newer_library_can_be_read_but_not_written() {
    let folder = tempfile::tempdir().unwrap();
    let (library, id) = small_library(folder.path());
    let path = library.path().to_owned();
    drop(library);
    tamper(&path, "PRAGMA user_version = 99").unwrap();
    assert_eq!(Library::open(&path, Access::Read).unwrap().entry(id).unwrap().id, id);
    let error = Library::open(&path, Access::Write).err().unwrap();
    assert!(matches!(error, LibraryError::Newer { found: 99, .. }), "{error}");
    assert!(error.to_string().contains("newer Biot"), "{error}");
}

/// Overwrites the middle of a file.
fn damage(path: &Path) {
    let mut bytes = std::fs::read(path).unwrap();
    let n = bytes.len();
    for byte in &mut bytes[n / 4..n * 3 / 4] {
        *byte = 0xA5;
    }
    std::fs::write(path, bytes).unwrap();
}

#[test]
fn a_damaged_library_is_said_and_restored_from_a_backup() {
    let (folder, library) = starter_library();
    let path = library.path().to_owned();
    let backup = folder.path().join("backup.biot");
    let report = care::backup(&library, &backup).unwrap();
    assert_eq!(report.counts, library.statistics().unwrap());
    assert!(matches!(library.backup(&backup), Err(LibraryError::Exists { .. })));
    drop(library);
    damage(&path);
    let damaged = Library::open(&path, Access::Read);
    let problem = damaged.and_then(|library| {
        let problems = library.check_integrity()?;
        Ok(problems.first().cloned())
    });
    assert!(!matches!(problem, Ok(None)), "{problem:?}");
    let restored = care::restore(&path, &backup).unwrap();
    assert_eq!(restored.counts, report.counts);
    assert!(restored.kept_aside.unwrap().exists(), "the damaged file is thrown away");
    let library = Library::open(&path, Access::Write).unwrap();
    assert_eq!(library.statistics().unwrap(), report.counts);
    assert!(library.check_history().unwrap().is_sound());
    // A damaged backup changes nothing.
    damage(&backup);
    assert!(care::restore(&path, &backup).is_err());
    assert_eq!(library.statistics().unwrap(), report.counts);
    // A library is not restored from itself.
    assert!(care::restore(&path, &path).is_err());
}

#[test]
fn a_place_that_cannot_be_written_is_said() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("file");
    std::fs::write(&file, "x").unwrap();
    let error = Library::create(&file.join("library.biot"), &change("x")).err().unwrap();
    assert!(matches!(error, LibraryError::Unwritable { .. }), "{error}");
}

fn finds(library: &Library, typed: &str, name: &str) -> (bool, Option<String>) {
    let found = library.search(typed, &Filter::default(), 5).unwrap();
    let hit = found.hits.iter().find(|hit| hit.compound.name == name);
    (hit.is_some_and(|hit| hit.why >= Why::TypingError), found.notice)
}

#[test]
fn the_index_is_rebuilt_when_absent_stale_or_damaged() {
    let (folder, mut library) = starter_library();
    let index = folder.path().join("starter.biot.index");
    assert!(!index.exists(), "the index is made before anybody searches");
    let good = (true, None);
    assert_eq!(finds(&library, "gemcitabien", "gemcitabine"), good);
    assert!(index.exists());
    // Stale: a name added later by another process is found.
    let mut writer = Library::open(library.path(), Access::Write).unwrap();
    writer
        .add_compound(&NewCompound::named("quaxolidine"), &change("new"))
        .unwrap();
    assert_eq!(finds(&library, "quaxolidime", "quaxolidine"), good);
    let fresh = Library::open(library.path(), Access::Read).unwrap();
    assert_eq!(finds(&fresh, "quaxolidime", "quaxolidine"), good);
    // A renamed compound is not found twice.
    let id = writer.compounds_by_name("quaxolidine").unwrap()[0].id;
    writer
        .add_names(id, &["vexamolidine".to_owned()], &[], &change("another name"))
        .unwrap();
    assert_eq!(finds(&fresh, "vexamolidime", "quaxolidine"), good);
    // Deleted.
    drop(fresh);
    std::fs::remove_dir_all(&index).unwrap();
    library = Library::open(library.path(), Access::Read).unwrap();
    assert_eq!(finds(&library, "vexamolidime", "quaxolidine"), good);
    // Damaged, kind of file by kind of file; the rebuilt index has files of other names.
    let files = || -> Vec<PathBuf> {
        let files = std::fs::read_dir(&index).unwrap().map(|file| file.unwrap().path());
        files
            .filter(|file| std::fs::metadata(file).unwrap().len() > 16)
            .collect()
    };
    let kinds: std::collections::BTreeSet<_> = files()
        .iter()
        .filter_map(|file| file.extension().map(ToOwned::to_owned))
        .collect();
    assert!(kinds.len() >= 4, "{kinds:?}");
    for kind in kinds {
        let file = files()
            .into_iter()
            .find(|file| file.extension() == Some(&kind))
            .unwrap();
        let broken: Vec<u8> = std::fs::read(&file).unwrap().iter().map(|byte| byte ^ 0x5A).collect();
        std::fs::write(&file, broken).unwrap();
        library = Library::open(library.path(), Access::Read).unwrap();
        assert_eq!(
            finds(&library, "vexamolidime", "quaxolidine"),
            good,
            "{}",
            file.display()
        );
    }
    let left = std::fs::read_dir(folder.path()).unwrap().count();
    assert!(left <= 4, "library, log, shared memory, index: {left} files");
    // Of another library: the folder of one put beside another.
    let other = Library::create(&folder.path().join("other.biot"), &change("other")).unwrap();
    let other_index = folder.path().join("other.biot.index");
    drop(library);
    std::fs::rename(&index, &other_index).unwrap();
    let found = other.search("vexamolidime", &Filter::default(), 5).unwrap();
    assert!(found.hits.is_empty(), "{found:?}");
    // Where the folder cannot be used, names are searched in memory, and it is said.
    std::fs::write(&index, "a file in the way").unwrap();
    let library = Library::open(&folder.path().join("starter.biot"), Access::Read).unwrap();
    let (found, notice) = finds(&library, "vexamolidime", "quaxolidine");
    assert!(found && notice.is_some(), "{notice:?}");
}

#[test]
fn a_restored_library_does_not_keep_the_index_of_its_successor() {
    let (folder, mut library) = starter_library();
    let backup = folder.path().join("backup.biot");
    library.backup(&backup).unwrap();
    library
        .add_compound(&NewCompound::named("quaxolidine"), &change("new"))
        .unwrap();
    assert!(finds(&library, "quaxolidime", "quaxolidine").0);
    let path = library.path().to_owned();
    drop(library);
    care::restore(&path, &backup).unwrap();
    let mut library = Library::open(&path, Access::Write).unwrap();
    // The same number of changes later, but other ones.
    library
        .add_compound(&NewCompound::named("vexamolidine"), &change("other"))
        .unwrap();
    assert!(!finds(&library, "quaxolidime", "quaxolidine").0);
    assert!(finds(&library, "vexamolidime", "vexamolidine").0);
}

/// A structure whose compound was merged away is not added a second time.
#[test]
fn a_merged_structure_leads_to_the_survivor() {
    let (_folder, mut library) = starter_library();
    let loser = library.compounds_by_name("L-alanine").unwrap().remove(0);
    let winner = library.compounds_by_name("D-methionine").unwrap().remove(0);
    library
        .merge_compounds(loser.id, winner.id, &change("for the test"))
        .unwrap();
    let again = NewCompound {
        inchikey: loser.inchikey.clone(),
        ..NewCompound::named("alanine once more")
    };
    let error = library.add_compound(&again, &change("x")).unwrap_err();
    assert!(
        matches!(error, LibraryError::CompoundExists { id, .. } if id == winner.id.0),
        "{error}"
    );
    let key = loser.inchikey.unwrap();
    assert_eq!(library.compounds_by_inchikey(&key).unwrap()[0].id, winner.id);
}

fn request(compound: curate::CompoundRequest) -> curate::AddRequest {
    curate::AddRequest {
        compound,
        may_add_compound: false,
        source: new_source("B. Author, J. Test. 2 (2002) 2"),
        kind: EntryKind::Value,
        statement: value("+1.0"),
        identity: Identity::Sure,
        hand: Hand::Independent,
        substance: None,
        seen: None,
        comment: None,
        method: None,
        kept_out: None,
    }
}

#[test]
fn a_value_is_added_to_the_compound_that_is_meant() {
    let (_folder, mut library) = starter_library();
    let named = |name: &str| curate::CompoundRequest {
        name: Some(name.to_owned()),
        ..curate::CompoundRequest::default()
    };
    let added = curate::add(&mut library, &request(named("L-alanine")), &change("x")).unwrap();
    assert_eq!(
        (added.compound.name.as_str(), added.entry.state),
        ("L-alanine", ReviewState::Draft)
    );
    // An ambiguous name adds nothing.
    let before = library.statistics().unwrap();
    let error = curate::add(&mut library, &request(named("menthol")), &change("x")).unwrap_err();
    assert!(matches!(error, curate::CurateError::Ambiguous { .. }), "{error}");
    // Nor does an unknown one, which is answered with the nearest names.
    let error = curate::add(&mut library, &request(named("gemcitabien")), &change("x")).unwrap_err();
    let curate::CurateError::UnknownCompound { nearest, .. } = error else {
        panic!("{error}");
    };
    assert_eq!(nearest[0].compound.name, "gemcitabine");
    assert_eq!(library.statistics().unwrap(), before);
    // A structure decides before the name; a new one is added when that is asked for.
    let by_structure = curate::CompoundRequest {
        smiles: Some("OC(=O)[C@H](C)N".to_owned()),
        ..named("some amino acid")
    };
    let added = curate::add(&mut library, &request(by_structure), &change("x")).unwrap();
    assert_eq!(added.compound.inchikey.as_deref(), Some("QNAYBMKLOCPYGJ-REOHCLBHSA-N"));
    let mut fresh = request(curate::CompoundRequest {
        smiles: Some("CC[C@H](Cl)C#N".to_owned()),
        ..named("2-chlorobutanenitrile, one hand")
    });
    assert!(curate::add(&mut library, &fresh, &change("x")).is_err());
    fresh.may_add_compound = true;
    let added = curate::add(&mut library, &fresh, &change("x")).unwrap();
    assert!(added.compound_is_new && added.compound.mirror_key.is_some());
    assert_eq!(added.compound.formula.as_deref(), Some("C4H6ClN"));
    // Its mirror image, added later, is found as such.
    fresh.compound.smiles = Some("CC[C@@H](Cl)C#N".to_owned());
    fresh.compound.name = Some("2-chlorobutanenitrile, other hand".to_owned());
    let other = curate::add(&mut library, &fresh, &change("x")).unwrap();
    assert_eq!(
        library.mirror_image(&other.compound).unwrap().unwrap().id,
        added.compound.id
    );
    // Contradictions and wrong numbers are said.
    let wrong = curate::CompoundRequest {
        smiles: Some("C[C@H](N)C(=O)O".to_owned()),
        inchi: Some("InChI=1S/CH4/h1H4".to_owned()),
        ..curate::CompoundRequest::default()
    };
    let error = curate::add(&mut library, &request(wrong), &change("x")).unwrap_err();
    assert!(matches!(error, curate::CurateError::Contradiction { .. }), "{error}");
    let wrong = curate::CompoundRequest {
        cas: Some("58-22-1".to_owned()),
        ..named("testosterone")
    };
    assert!(matches!(
        curate::add(&mut library, &request(wrong), &change("x")),
        Err(curate::CurateError::Cas(_))
    ));
    let empty = curate::AddRequest {
        statement: Statement::default(),
        ..request(named("L-alanine"))
    };
    assert!(matches!(
        curate::add(&mut library, &empty, &change("x")),
        Err(curate::CurateError::NoValue)
    ));
    assert!(library.check_history().unwrap().is_sound());
}
