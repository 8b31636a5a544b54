//! Accounts on the command line and in the store: secrets are never shown nor kept, a reset ends sessions, and sessions,
//! tokens and locks end when they should.

use biot::library::{Access, Change, Library, LibraryError, Role};
use biot::tasks::accounts::{self, FAILURES_LET_PASS, SESSION_IDLE, SESSION_WHOLE};
use serde_json::Value;
use std::io::Write;
use std::path::Path;
use std::process::{Command, Stdio};
use tempfile::TempDir;

const PASSWORD: &str = "a dozen letters";

fn library() -> (TempDir, Library) {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("library.biot");
    let library = Library::create(&path, &by("test")).unwrap();
    (folder, library)
}

fn by(who: &str) -> Change {
    Change::now(who, "")
}

/// Runs the program with something on standard input: exit code, standard output, standard error.
fn biot(library: &Path, arguments: &[&str], input: &str) -> (i32, String, String) {
    let mut child = Command::new(env!("CARGO_BIN_EXE_biot"))
        .args(arguments)
        .env("BIOT_LIBRARY", library)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    // The program may end before it reads.
    let _ = child.stdin.take().unwrap().write_all(input.as_bytes());
    let output = child.wait_with_output().unwrap();
    (
        output.status.code().unwrap(),
        String::from_utf8(output.stdout).unwrap(),
        String::from_utf8(output.stderr).unwrap(),
    )
}

#[test]
fn an_account_is_made_changed_and_removed_on_the_command_line() {
    let (_folder, library) = library();
    let path = library.path();
    let add = [
        "account",
        "add",
        "A. First",
        "--role",
        "librarian",
        "--by",
        "root",
        "--password-file",
        "-",
    ];
    let (code, out, err) = biot(path, &add, &format!("{PASSWORD}\nsecond line"));
    assert_eq!(code, 0, "{err}");
    assert!(
        out.contains("librarian") && !out.contains(PASSWORD) && !err.contains(PASSWORD),
        "{out}{err}"
    );
    let (code, _, err) = biot(
        path,
        &["account", "add", "a. first", "--role", "reader", "--password-file", "-"],
        PASSWORD,
    );
    assert_eq!(code, 2);
    assert!(err.contains("already"), "{err}");
    // No terminal, no question; a password on the command line is no option.
    let (code, out, _) = biot(path, &["account", "reset", "A. First", "--json"], "");
    assert_eq!(code, 2);
    assert_eq!(
        serde_json::from_str::<Value>(&out).unwrap()["error"]["code"],
        "password"
    );
    assert_eq!(
        biot(path, &["account", "reset", "A. First", "--password", PASSWORD], "").0,
        2
    );
    for bad in ["short", "", "A. First"] {
        assert_eq!(
            biot(path, &["account", "reset", "A. First", "--password-file", "-"], bad).0,
            2,
            "{bad}"
        );
    }
    assert_eq!(biot(path, &["account", "role", "A. First", "king"], "").0, 2);
    assert_eq!(biot(path, &["account", "role", "nobody", "reader"], "").0, 2);
    assert_eq!(
        biot(path, &["account", "role", "A. First", "reader", "--by", "root"], "").0,
        0
    );
    let (_, out, _) = biot(path, &["account", "list", "--json"], "");
    let listed: Value = serde_json::from_str(&out).unwrap();
    assert_eq!(listed["accounts"][0]["role"], "reader");
    assert_eq!(listed["accounts"][0]["name"], "A. First");
    assert!(!out.contains("argon2"), "{out}");
    assert_eq!(biot(path, &["account", "remove", "A. First", "--by", "root"], "").0, 0);
    assert!(biot(path, &["account", "list"], "").1.contains("no accounts"));
    // The history names who did it, and holds nothing of a password.
    let lines = format!("{:?}", library.newest_history(10).unwrap());
    assert!(
        lines.contains("\"root\"") && !lines.contains("argon2") && !lines.contains(PASSWORD),
        "{lines}"
    );
    assert!(library.check_history().unwrap().is_sound());
}

#[test]
fn a_token_is_shown_once_and_kept_as_a_digest() {
    let (_folder, library) = library();
    let path = library.path().to_owned();
    drop(library);
    biot(
        &path,
        &["account", "add", "P", "--role", "reader", "--password-file", "-"],
        PASSWORD,
    );
    let (code, out, _) = biot(
        &path,
        &["account", "token", "add", "P", "--label", "x", "--json", "--days", "2"],
        "",
    );
    assert_eq!(code, 0);
    let made: Value = serde_json::from_str(&out).unwrap();
    let token = made["token"].as_str().unwrap();
    let (_, listed, _) = biot(&path, &["account", "token", "list", "--json"], "");
    assert!(listed.contains("\"x\"") && !listed.contains(token), "{listed}");
    for file in std::fs::read_dir(path.parent().unwrap()).unwrap() {
        let file = file.unwrap().path();
        if file.is_file() {
            let bytes = std::fs::read(&file).unwrap();
            for secret in [token, PASSWORD] {
                let is_there = bytes.windows(secret.len()).any(|window| window == secret.as_bytes());
                assert!(!is_there, "{} holds a secret", file.display());
            }
        }
    }
    let library = Library::open(&path, Access::Read).unwrap();
    let now = Change::now("", "").at.unix_timestamp();
    assert_eq!(accounts::token_holder(&library, token, now).unwrap().unwrap().name, "P");
    assert_eq!(
        accounts::token_holder(&library, token, now + 3 * 24 * 3600).unwrap(),
        None,
        "it expired"
    );
    assert_eq!(accounts::token_holder(&library, "biot_0", now).unwrap(), None);
    assert_eq!(biot(&path, &["account", "token", "revoke", "1"], "").0, 0);
    assert_eq!(
        accounts::token_holder(&library, token, now).unwrap(),
        None,
        "it was revoked"
    );
    assert_eq!(biot(&path, &["account", "token", "revoke", "1"], "").0, 2);
    assert_eq!(biot(&path, &["account", "token", "revoke", "7"], "").0, 2);
}

#[test]
fn sessions_end_by_time_reset_removal_and_in_copies() {
    let (folder, mut library) = library();
    accounts::add(&mut library, "Q", Role::Contributor, PASSWORD, &by("root")).unwrap();
    let credentials = library.credentials(" q ").unwrap().unwrap();
    let begin = |library: &mut Library, now| accounts::begin_session(library, &credentials, now).unwrap().unwrap();
    let start = 1_000_000_000;
    let secret = begin(&mut library, start);
    let is_open = |library: &Library, now| accounts::session(library, &secret, now).unwrap().is_some();
    assert!(is_open(&library, start + SESSION_IDLE - 1));
    assert!(!is_open(&library, start + SESSION_IDLE), "it was idle for too long");
    let mut at = start;
    while at < start + SESSION_WHOLE {
        library.keep_session(&secret, at).unwrap();
        assert!(is_open(&library, at));
        at += SESSION_IDLE / 2;
    }
    assert!(!is_open(&library, start + SESSION_WHOLE), "however busy, it ends");
    assert!(is_open(&library, start + SESSION_WHOLE - 1));
    // A copy holds the account and no session.
    let copy = folder.path().join("copy.biot");
    library.backup(&copy).unwrap();
    let copied = Library::open(&copy, Access::Read).unwrap();
    assert!(copied.credentials("Q").unwrap().is_some());
    assert!(!is_open(&copied, start));
    // Another role holds at once; a new password ends the session.
    library.set_role("Q", Role::Reader, &by("root")).unwrap();
    let holder = accounts::session(&library, &secret, start + 1).unwrap().unwrap();
    assert_eq!((holder.name.as_str(), holder.role), ("Q", Role::Reader));
    accounts::reset(&mut library, "Q", "another dozen letters", &by("root")).unwrap();
    assert!(!is_open(&library, start + 1));
    assert!(
        accounts::begin_session(&mut library, &credentials, start)
            .unwrap()
            .is_none(),
        "the old password was checked before the reset"
    );
    let credentials = library.credentials("Q").unwrap().unwrap();
    let secret = accounts::begin_session(&mut library, &credentials, start)
        .unwrap()
        .unwrap();
    library.remove_account("Q", &by("root")).unwrap();
    assert!(accounts::session(&library, &secret, start).unwrap().is_none());
    assert!(library.credentials("Q").unwrap().is_none());
    assert!(matches!(library.account_named("Q"), Err(LibraryError::Unknown { .. })));
    assert!(library.check_history().unwrap().is_sound());
}

#[test]
fn an_account_waits_after_failures_and_is_unlocked() {
    let (_folder, mut library) = library();
    accounts::add(&mut library, "Q", Role::Reader, PASSWORD, &by("root")).unwrap();
    let now = 1_000_000_000;
    let credentials = |library: &Library| library.credentials("Q").unwrap().unwrap();
    for _ in 0..FAILURES_LET_PASS {
        let found = credentials(&library);
        assert!(!accounts::is_locked(&found, now));
        accounts::count_failure(&mut library, &found, now).unwrap();
    }
    let found = credentials(&library);
    assert!(accounts::is_locked(&found, now + 29) && !accounts::is_locked(&found, now + 30));
    accounts::count_failure(&mut library, &found, now + 30).unwrap();
    assert!(
        accounts::is_locked(&credentials(&library), now + 89),
        "the next wait is twice as long"
    );
    library.unlock_account("Q", &by("root")).unwrap();
    assert!(!accounts::is_locked(&credentials(&library), now));
    // A success forgets the failures.
    let found = credentials(&library);
    accounts::count_failure(&mut library, &found, now).unwrap();
    accounts::begin_session(&mut library, &found, now).unwrap().unwrap();
    assert_eq!(credentials(&library).failed, 0);
}
