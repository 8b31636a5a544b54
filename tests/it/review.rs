//! Review, history and undo: a second keying is another person's own reading, nothing of the past can be changed unseen,
//! an import goes as it came, and a library of the first format is brought up to date. All values are invented.

use biot::audit::{Settings, compare_keyings};
use biot::library::{
    Access, Change, CompoundChoice, EntryContent, EntryId, EntryKind, Hand, Identity, Library, LibraryError,
    NewCompound, NewSource, ReviewState, SourceKind,
};
use biot::notation;
use biot::statement::Statement;
use biot::tasks::{curate, review};
use std::path::{Path, PathBuf};
use std::process::Command;

fn by(who: &str) -> Change {
    Change::now(who, "test")
}

fn read(text: &str) -> Statement {
    notation::read(text).remove(0).statement
}

fn source() -> NewSource {
    NewSource {
        kind: SourceKind::Paper,
        citation: "A. Author, J. Invented Chem. 1 (2001) 1".to_owned(),
        doi: None,
        year: Some(2001),
        url: None,
    }
}

const PRINT: &str = "[α]D20 −61.20 (c 1.0, EtOH)";

/// A library with one draft, keyed by "first".
fn draft(folder: &Path) -> (Library, EntryId) {
    let mut library = Library::create(&folder.join("review.biot"), &by("first")).unwrap();
    let choice = CompoundChoice::New(Box::new(NewCompound::named("(−)-testol")));
    let content = |compound, source| EntryContent {
        compound,
        source,
        kind: EntryKind::Value,
        statement: read(PRINT),
        identity: Identity::Sure,
        hand: Hand::Independent,
        state: ReviewState::Draft,
        kept_out: None,
        substance: None,
        seen: None,
        comment: None,
        method: None,
    };
    let id = library.add_record(&choice, &source(), content, &by("first")).unwrap();
    (library, id)
}

#[test]
fn an_equal_second_keying_by_another_person_may_confirm() {
    let folder = tempfile::tempdir().unwrap();
    let (mut library, id) = draft(folder.path());
    let print = read("[a]20D -61.20° (c = 1.0; ethanol)");
    // The first keyer is refused under any spelling of the name, unless a reason is recorded.
    for same in ["first", " First "] {
        let refused = review::key_again(&mut library, id, &print, true, None, &by(same));
        assert!(matches!(refused, Err(LibraryError::Refused(_))), "{same}");
    }
    let keyed = review::key_again(
        &mut library,
        id,
        &print,
        false,
        Some("alone in the group"),
        &by("first"),
    )
    .unwrap();
    assert_eq!(keyed.keying.same_person.as_deref(), Some("alone in the group"));
    assert!(!keyed.confirmed);
    let keyed = review::key_again(&mut library, id, &print, true, None, &by("second")).unwrap();
    assert!(keyed.confirmed && keyed.keying.differences.is_empty());
    assert_eq!(keyed.keying.same_person, None);
    assert_eq!(library.entry(id).unwrap().state, ReviewState::Confirmed);
    // Only drafts are keyed again.
    assert!(review::key_again(&mut library, id, &print, true, None, &by("third")).is_err());
    let actions: Vec<String> = (review::history_of_entry(&library, id).unwrap().into_iter())
        .map(|happening| format!("{} {}", happening.who, happening.action))
        .collect();
    assert_eq!(
        actions,
        ["first add", "first key-again", "second key-again", "second confirm"]
    );
    assert!(library.check_history().unwrap().is_sound());
}

#[test]
fn differing_keyings_keep_a_draft_until_it_is_mended() {
    let folder = tempfile::tempdir().unwrap();
    let (mut library, id) = draft(folder.path());
    // A digit less is a difference: it is evidence of precision.
    let other = read("[α]D25 +61.2 (c 1.0, EtOH)");
    let keyed = review::key_again(&mut library, id, &other, true, None, &by("second")).unwrap();
    assert!(!keyed.confirmed);
    let shown: Vec<(String, Option<String>, Option<String>)> = (keyed.keying.differences.into_iter())
        .map(|difference| (difference.field, difference.first, difference.second))
        .collect();
    let difference =
        |field: &str, first: &str, second: &str| (field.to_owned(), Some(first.to_owned()), Some(second.to_owned()));
    assert_eq!(
        shown,
        [
            difference("value", "-61.20", "61.2"),
            difference("temperature", "20", "25")
        ]
    );
    assert!(review::confirm(&mut library, id, false, &by("third")).is_err());
    assert_eq!(library.entry(id).unwrap().state, ReviewState::Draft);
    assert!(review::place(&library, id).unwrap().open_differences.is_some());
    let waiting = review::waiting(&library, 10, &Settings::default()).unwrap();
    assert_eq!(waiting.len(), 1);
    assert_eq!(waiting[0].place.keyers.who, ["first"]);
    // An edit after a look at the print resolves it; the editor is a keyer from then on.
    let entry = library.entry(id).unwrap();
    let mut content = EntryContent::from(entry.clone());
    content.statement = read("[α]D25 −61.20 (c 1.0, EtOH)");
    curate::edit(&mut library, id, entry.revision, &content, &by("third")).unwrap();
    assert!(library.open_differences(id).unwrap().is_none());
    assert!(library.keyers(&library.entry(id).unwrap()).unwrap().include("third"));
    let changes = review::history_of_entry(&library, id).unwrap().pop().unwrap().changes;
    let fields: Vec<(&str, Option<&str>, Option<&str>)> = (changes.iter())
        .map(|change| (change.field.as_str(), change.before.as_deref(), change.after.as_deref()))
        .collect();
    assert!(fields.contains(&("temperature", Some("20"), Some("25"))), "{fields:?}");
    assert!(!fields.iter().any(|(field, ..)| *field == "value"), "{fields:?}");
    review::confirm(&mut library, id, false, &by("fourth")).unwrap();
    assert!(library.check_history().unwrap().is_sound());
}

#[test]
fn keyings_are_compared_by_what_is_printed() {
    let same = |a: &str, b: &str| compare_keyings(&read(a), &read(b)).is_empty();
    assert!(same("[α]D20 −61.2 (c 1.0, EtOH)", "[a]20/D = -61.2° (c=1.0, ethanol)"));
    assert!(!same("[α]D20 −61.2 (c 1.0, EtOH)", "[α]D20 −61.2 (c 1.00, EtOH)"));
    assert!(!same("[α]D20 −61.2 (c 1.0, EtOH)", "[α]D20 −61.2 (c 1.0, MeOH)"));
    assert!(!same("[α]D20 −61.2 (c 1.0, EtOH)", "[α]546 20 −61.2 (c 1.0, EtOH)"));
}

/// Loads three values of one new compound and source.
fn import(library: &mut Library) -> String {
    let entry = library.drafts(1).unwrap().remove(0);
    library
        .load("three values", &by("importer"), |loader| {
            let compound = loader.named_compound("(+)-importol")?;
            let from = loader.source(&NewSource {
                citation: "B. Author, J. Invented Chem. 2 (2002) 2".to_owned(),
                ..source()
            })?;
            for value in [
                "[α]D20 +1.5 (c 1.0, EtOH)",
                "[α]D20 +1.6 (c 1.0, EtOH)",
                "[α]D20 +15 (c 1.0, EtOH)",
            ] {
                let content = EntryContent {
                    compound,
                    source: from,
                    statement: read(value),
                    ..entry.clone().into()
                };
                loader.entry(&content, Some(value))?;
            }
            Ok(())
        })
        .unwrap();
    library.last_import().unwrap().unwrap().uid
}

#[test]
fn an_import_goes_as_it_came_and_can_come_again() {
    let folder = tempfile::tempdir().unwrap();
    let (mut library, first) = draft(folder.path());
    assert!(review::undo_preview(&library).is_err(), "nothing was imported");
    let before = library.statistics().unwrap();
    for round in 0..2 {
        let uid = import(&mut library);
        assert_eq!(library.compounds_by_name("(+)-importol").unwrap().len(), 1);
        let preview = review::undo_preview(&library).unwrap();
        assert_eq!((preview.n_removed, preview.n_compounds, preview.n_sources), (3, 1, 1));
        assert!(review::undo(&mut library, "another load", &by("importer")).is_err());
        let done = review::undo(&mut library, &uid, &by("importer")).unwrap();
        assert_eq!(
            (done.n_removed, done.kept.len(), done.n_compounds, done.n_sources),
            (3, 0, 1, 1)
        );
        assert!(done.batch.undone.is_some());
        let after = library.statistics().unwrap();
        assert_eq!(
            (after.compounds, after.sources, after.values),
            (before.compounds, before.sources, before.values)
        );
        assert!(library.compounds_by_name("(+)-importol").unwrap().is_empty());
        assert!(
            library
                .search("importol", &biot::library::Filter::default(), 10)
                .unwrap()
                .hits
                .is_empty()
        );
        let check = library.check_history().unwrap();
        assert!(check.is_sound(), "round {round}: {check:?}");
        assert!(review::undo_preview(&library).is_err(), "it was taken back already");
    }
    // What went is in the history by its stable id, whole.
    let line = library.newest_history(4).unwrap().pop().unwrap();
    assert!(line.action == "undo" && line.before.is_some(), "{line:?}");
    assert!(!review::history_of_uid(&library, &line.entity_uid).unwrap().is_empty());
    assert!(library.entry(first).is_ok());
    // It comes a third time, and that is not mistaken for a change of the past.
    import(&mut library);
    assert!(library.check_history().unwrap().is_sound());
    assert_eq!(review::batches(&library).unwrap().len(), 3);
}

#[test]
fn what_was_changed_since_an_import_stays() {
    let folder = tempfile::tempdir().unwrap();
    let (mut library, _) = draft(folder.path());
    let uid = import(&mut library);
    let imported = library.entries_of_batch(&uid).unwrap();
    library.confirm_entry(imported[0], &by("second")).unwrap();
    review::key_again(
        &mut library,
        imported[1],
        &read("[α]D20 +1.6 (c 1.0, EtOH)"),
        false,
        None,
        &by("second"),
    )
    .unwrap();
    let preview = review::undo_preview(&library).unwrap();
    assert_eq!((preview.n_removed, &preview.kept[..]), (1, &imported[..2]));
    assert_eq!((preview.n_compounds, preview.n_sources), (0, 0));
    let done = review::undo(&mut library, &uid, &by("importer")).unwrap();
    assert_eq!((done.n_removed, &done.kept[..]), (1, &imported[..2]));
    assert_eq!((done.n_compounds, done.n_sources), (0, 0));
    assert!(library.entry(imported[2]).is_err());
    assert_eq!(library.entry(imported[0]).unwrap().state, ReviewState::Confirmed);
    assert!(library.check_history().unwrap().is_sound());
}

/// Changes the file behind the program's back.
fn tamper(path: &Path, sql: &str) {
    let connection = rusqlite::Connection::open(path).unwrap();
    let open = "DROP TRIGGER IF EXISTS history_is_never_changed; DROP TRIGGER IF EXISTS history_is_never_deleted;";
    connection.execute_batch(&format!("{open}{sql}")).unwrap();
}

fn biot(library: &Path, arguments: &[&str]) -> (i32, String, String) {
    let run = Command::new(env!("CARGO_BIN_EXE_biot"))
        .env_clear()
        .env("BIOT_LIBRARY", library)
        .env("BIOT_USER", "second")
        .env("COLUMNS", "100")
        .args(arguments)
        .output()
        .unwrap();
    let text = |bytes: &[u8]| String::from_utf8(bytes.to_vec()).unwrap();
    (run.status.code().unwrap(), text(&run.stdout), text(&run.stderr))
}

#[test]
fn a_changed_past_is_named_by_its_line() {
    let folder = tempfile::tempdir().unwrap();
    let (mut library, id) = draft(folder.path());
    let uid = import(&mut library);
    review::undo(&mut library, &uid, &by("importer")).unwrap();
    library.confirm_entry(id, &by("second")).unwrap();
    let path = library.path().to_owned();
    drop(library);
    assert_eq!(biot(&path, &["history", "--verify"]).0, 0);
    let copy = |name: &str| -> PathBuf {
        let copy = folder.path().join(name);
        Library::open(&path, Access::Read).unwrap().backup(&copy).unwrap();
        copy
    };
    // What a taken-back entry held is part of the load's digest and of the chain.
    for (name, sql, place) in [
        (
            "who",
            "UPDATE history SET who = 'somebody else' WHERE id = 3",
            "breaks at line 3",
        ),
        (
            "undone",
            "UPDATE history SET before = replace(before, '1.5', '2.5') WHERE id = (SELECT min(id) FROM history WHERE action = 'undo')",
            "breaks at line 6",
        ),
        (
            "cut",
            "DELETE FROM history WHERE id = (SELECT max(id) FROM history)",
            "missing at the end",
        ),
        ("entry", "UPDATE entry SET value = 61.2", "is not what the history says"),
    ] {
        let copy = copy(name);
        tamper(&copy, sql);
        let (code, out, _) = biot(&copy, &["history", "--verify"]);
        let said = out.split_whitespace().collect::<Vec<_>>().join(" ");
        assert_eq!(code, 5, "{name}: {out}");
        assert!(said.contains(place), "{name}: {out}");
    }
}

#[test]
fn the_second_keyer_is_not_shown_the_value() {
    let folder = tempfile::tempdir().unwrap();
    let (library, id) = draft(folder.path());
    let path = library.path().to_owned();
    drop(library);
    let number = id.to_string();
    for arguments in [
        vec!["review"],
        vec!["review", &number],
        vec!["review", "--json"],
        vec!["review", &number, "--json"],
    ] {
        let (code, out, err) = biot(&path, &arguments);
        assert_eq!(code, 0, "{arguments:?}: {err}");
        assert!(out.contains("J. Invented Chem."), "{out}");
        // With the point: the fraction of a second may hold any digits, but no second is the 61st.
        assert!(
            !format!("{out}{err}").contains("61.2"),
            "{arguments:?} shows the value: {out}{err}"
        );
    }
    let (code, out, _) = biot(&path, &["review", &number, "--value", "61.2", "--json"]);
    let keyed: serde_json::Value = serde_json::from_str(&out).unwrap();
    assert_eq!(
        (code, &keyed["equal"], &keyed["confirmed"]),
        (5, &false.into(), &false.into())
    );
    let (code, _, err) = biot(&path, &["confirm", &number]);
    assert_eq!(code, 2);
    assert!(err.contains("differs in value"), "{err}");
    let (code, out, err) = biot(&path, &["review", &number, "--text", PRINT, "--confirm"]);
    assert_eq!(code, 0, "{out}{err}");
    assert!(out.contains("confirmed"), "{out}");
    // Findings: the summary by kind, and exit code 5 only while one is open.
    let (code, out, _) = biot(&path, &["audit", "--json"]);
    assert_eq!(code, 0, "{out}");
    let (code, _, err) = biot(&path, &["review", "--value", "1"]);
    assert_eq!(code, 2, "{err}");
}

#[test]
fn libraries_of_older_formats_are_brought_up_to_date() {
    for kept in ["format_1.biot", "format_2.biot", "format_4.biot"] {
        is_brought_up_to_date(kept);
    }
}

fn is_brought_up_to_date(kept: &str) {
    let kept = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("tests/data/libraries")
        .join(kept);
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("old.biot");
    std::fs::copy(kept, &path).unwrap();
    let library = Library::open(&path, Access::Read).unwrap();
    assert!(library.check_history().unwrap().is_sound());
    assert!(library.check_integrity().unwrap().is_empty());
    assert_eq!(library.statistics().unwrap().values, 5);
    let drafts = library.drafts(10).unwrap();
    assert_eq!(drafts.len(), 4);
    drop(library);
    // What is new works on it.
    let mut library = Library::open(&path, Access::Write).unwrap();
    let keyers = library.keyers(&drafts[0]).unwrap();
    assert_eq!(keyers.who, ["first keyer"]);
    review::key_again(
        &mut library,
        drafts[0].id,
        &drafts[0].statement,
        true,
        None,
        &by("second"),
    )
    .unwrap();
    let batch = library.last_import().unwrap().unwrap();
    assert_eq!(batch.what, "three invented values");
    let done = review::undo(&mut library, &batch.uid, &by("second")).unwrap();
    assert_eq!((done.n_removed, done.n_compounds), (3, 1));
    assert!(library.check_history().unwrap().is_sound());
}
