//! The program as its user meets it: streams, exit codes, JSON, help. Most tests of what the program knows go through
//! the library; these go through the process.

use std::fs;
use std::io::Read;
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};
use std::sync::LazyLock;
use tempfile::TempDir;

/// A library with the starter entries, made once for all tests; tests that write take a copy of it.
static STARTER: LazyLock<(TempDir, PathBuf)> = LazyLock::new(|| {
    let folder = TempDir::new().unwrap();
    let path = folder.path().join("library.biot");
    let run = Biot::at(&path).run(&["info"]);
    assert_eq!(run.code, 0, "{}", run.err);
    (folder, path)
});

/// The program with a library of its own.
struct Biot {
    library: PathBuf,
    _folder: Option<TempDir>,
}

/// What a run of the program left.
struct Run {
    code: i32,
    out: String,
    err: String,
}

impl Biot {
    /// On a library file that may not exist yet.
    fn at(library: &Path) -> Self {
        Self {
            library: library.to_owned(),
            _folder: None,
        }
    }

    /// On the shared starter library, for commands that only read.
    fn reading() -> Self {
        Self::at(&STARTER.1)
    }

    /// On a copy of the starter library.
    fn writing() -> Self {
        let folder = TempDir::new().unwrap();
        let library = folder.path().join("library.biot");
        let copied = Self::reading().run(&["backup", library.to_str().unwrap()]);
        assert_eq!(copied.code, 0, "{}", copied.err);
        Self {
            library,
            _folder: Some(folder),
        }
    }

    fn command(&self) -> Command {
        let mut command = Command::new(env!("CARGO_BIN_EXE_biot"));
        command
            .env_clear()
            .env("BIOT_LIBRARY", &self.library)
            .env("HOME", self.library.parent().unwrap())
            .env("COLUMNS", "100")
            .stdin(Stdio::null());
        command
    }

    fn run(&self, arguments: &[&str]) -> Run {
        Run::from(self.command().args(arguments).output().unwrap())
    }

    /// Runs with `--json` and reads the one document on standard output.
    fn json(&self, arguments: &[&str]) -> (i32, serde_json::Value) {
        let run = self.run(&[arguments, &["--json"]].concat());
        let value = serde_json::from_str(&run.out).unwrap_or_else(|error| panic!("{error}: {}\n{}", run.out, run.err));
        (run.code, value)
    }
}

impl From<Output> for Run {
    fn from(output: Output) -> Self {
        Self {
            code: output.status.code().unwrap_or(-1),
            out: String::from_utf8(output.stdout).unwrap(),
            err: String::from_utf8(output.stderr).unwrap(),
        }
    }
}

/// Every command of the program's own definition, deepest first.
fn commands() -> Vec<clap::Command> {
    biot::cli::command().get_subcommands().cloned().collect()
}

#[test]
fn every_command_has_help_with_examples() {
    let commands = commands();
    assert!(commands.len() >= 2, "the command tree was not walked");
    for command in commands {
        let name = command.get_name().to_owned();
        let examples = command.get_after_help().map(ToString::to_string).unwrap_or_default();
        assert!(
            examples.contains(&format!("biot {name}")),
            "biot {name} --help shows no worked example"
        );
        assert!(command.get_about().is_some(), "biot {name} does not say what it does");
        for argument in command.get_arguments() {
            let help = argument.get_help().map(ToString::to_string).unwrap_or_default();
            assert!(!help.is_empty(), "biot {name}: {} has no help", argument.get_id());
            assert!(
                !help.ends_with('.'),
                "biot {name}: the help of {} ends with a full stop",
                argument.get_id()
            );
        }
        // What the definition says is what the process shows.
        let run = Biot::at(Path::new("/nonexistent/library.biot")).run(&[&name, "--help"]);
        assert_eq!(run.code, 0);
        assert!(
            run.out.contains("Usage:") && run.out.contains(&format!("biot {name}")),
            "{}",
            run.out
        );
        assert!(run.out.lines().all(|line| line.chars().count() <= 110), "{}", run.out);
    }
}

#[test]
fn completions_name_every_command() {
    let biot = Biot::at(Path::new("/nonexistent/library.biot"));
    for shell in ["bash", "zsh", "fish"] {
        let run = biot.run(&["completions", shell]);
        assert_eq!(run.code, 0, "{}", run.err);
        for command in commands() {
            assert!(
                run.out.contains(command.get_name()),
                "{shell} does not complete {}",
                command.get_name()
            );
        }
    }
}

#[test]
fn usage_errors_are_json_when_json_is_asked_for() {
    let biot = Biot::reading();
    for arguments in [
        &["no-such-command"][..],
        &["show"],
        &["search", "menthol", "--line", "20"],
        &["withdraw", "1"],
        &["search", "menthol", "--no-such-option"],
    ] {
        let (code, value) = biot.json(arguments);
        assert_eq!(code, 2, "{arguments:?}");
        assert_eq!(value["error"]["code"], "usage", "{value}");
        let message = value["error"]["message"].as_str().unwrap();
        assert!(
            !message.contains('\n') && !message.contains("error:") && message.len() > 10,
            "{message}"
        );
        // The same in words, on standard error only.
        let run = biot.run(arguments);
        assert_eq!((run.code, run.out.as_str()), (2, ""));
        assert!(run.err.starts_with("error:"), "{}", run.err);
    }
}

#[test]
fn option_errors_name_the_option_and_what_would_do() {
    let run = Biot::reading().run(&["search", "menthol", "--line", "20"]);
    assert!(
        run.err.contains("--line") && run.err.contains("180 to 2500 nm"),
        "{}",
        run.err
    );
}

#[test]
fn a_closed_pipe_is_no_error() {
    let biot = Biot::reading();
    for arguments in [
        &["search", "acid", "--limit", "500"][..],
        &["completions", "bash"],
        &["show", "--help"],
    ] {
        let mut child = biot
            .command()
            .args(arguments)
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .unwrap();
        // Takes one byte and goes away, as `head` does.
        let mut out = child.stdout.take().unwrap();
        let mut byte = [0];
        out.read_exact(&mut byte).unwrap();
        drop(out);
        let run = Run::from(child.wait_with_output().unwrap());
        assert_eq!((run.code, run.err.as_str()), (0, ""), "{arguments:?}");
    }
    // A pipe that is closed before the program starts.
    let (reader, writer) = std::io::pipe().unwrap();
    drop(reader);
    let run = Run::from(
        biot.command()
            .args(["search", "menthol"])
            .stdout(writer)
            .stderr(Stdio::piped())
            .output()
            .unwrap(),
    );
    assert_eq!((run.code, run.err.as_str()), (0, ""));
}

#[test]
fn colour_is_used_only_where_it_is_wanted() {
    let biot = Biot::reading();
    assert!(!biot.run(&["info"]).out.contains('\u{1b}'));
    assert!(biot.run(&["info", "--color", "always"]).out.contains('\u{1b}'));
    assert!(!biot.run(&["info", "--color", "never"]).out.contains('\u{1b}'));
}

#[test]
fn a_damaged_library_is_told_with_what_to_do() {
    let folder = TempDir::new().unwrap();
    let library = folder.path().join("library.biot");
    fs::write(
        &library,
        b"this is no database at all, and longer than a header would be",
    )
    .unwrap();
    let biot = Biot::at(&library);
    let run = biot.run(&["search", "menthol"]);
    assert_eq!((run.code, run.out.as_str()), (4, ""));
    assert!(
        run.err.contains(library.to_str().unwrap()) && run.err.contains("hint:"),
        "{}",
        run.err
    );
    let (code, value) = biot.json(&["search", "menthol"]);
    assert_eq!(code, 4);
    assert_eq!(value["error"]["code"], "not-a-library");
    assert_eq!(value["error"]["where"], library.to_str().unwrap());
    assert_eq!(fs::read(&library).unwrap().len(), 61, "a damaged file is left as it is");
}

#[test]
fn a_place_that_cannot_be_written_is_told() {
    let folder = TempDir::new().unwrap();
    // A file where a folder would have to be: not even a privileged user can write below it.
    let file = folder.path().join("file");
    fs::write(&file, b"x").unwrap();
    let biot = Biot::at(&file.join("library.biot"));
    let (code, value) = biot.json(&["search", "menthol"]);
    assert_eq!(code, 4, "{value}");
    assert_eq!(value["error"]["code"], "library-unwritable", "{value}");
}

#[test]
fn two_processes_at_first_start_share_one_library() {
    let folder = TempDir::new().unwrap();
    let library = folder.path().join("deep/library.biot");
    let biot = Biot::at(&library);
    let children: Vec<_> = (0..3)
        .map(|_| {
            biot.command()
                .args(["search", "menthol", "--json"])
                .stdout(Stdio::piped())
                .stderr(Stdio::piped())
                .spawn()
                .unwrap()
        })
        .collect();
    let runs: Vec<Run> = children
        .into_iter()
        .map(|child| Run::from(child.wait_with_output().unwrap()))
        .collect();
    for run in &runs {
        assert_eq!(run.code, 0, "{}", run.err);
        assert_eq!(run.out, runs[0].out);
    }
    let (_, first) = Biot::reading().json(&["info"]);
    let (_, second) = biot.json(&["info"]);
    assert_eq!(
        first["counts"], second["counts"],
        "the starter entries were loaded once"
    );
}
