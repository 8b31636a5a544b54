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

/// L-Glutamic acid and L-ascorbic acid, with values in several solvents and a specification each (starter tables).
const GLUTAMIC: &str = "WHUUTDBJXJRKMK-VKHMYHEASA-N";
const ASCORBIC: &str = "CIWBSHSKHKDKBQ-JLAZNSOCSA-N";

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

#[test]
fn search_lists_what_the_filters_leave() {
    let biot = Biot::reading();
    let (code, all) = biot.json(&["search", "alanine", "--limit", "100"]);
    assert_eq!(code, 0);
    let hits = all["hits"].as_array().unwrap();
    assert!(!hits.is_empty());
    for hit in hits {
        for key in ["compound", "name", "inchikey", "values", "signs", "found_by", "range"] {
            assert!(hit.get(key).is_some(), "no {key} in {hit}");
        }
    }
    // The same minus in every spelling; the filter leaves fewer.
    let filtered: Vec<_> = ["-", "\u{2212}", "minus"]
        .iter()
        .map(|sign| biot.json(&["search", "acid", "--limit", "500", "--sign", sign]).1["hits"].clone())
        .collect();
    assert!(
        filtered
            .iter()
            .all(|hits| *hits == filtered[0] && !hits.as_array().unwrap().is_empty())
    );
    for hit in filtered[0].as_array().unwrap() {
        assert!(hit["signs"].as_str().is_some_and(|signs| signs.contains('-')), "{hit}");
    }
    let (_, none) = biot.json(&[
        "search",
        "acid",
        "--solvent",
        "CCl4",
        "--line",
        "365",
        "--sign",
        "+",
        "--kind",
        "molar",
    ]);
    assert_eq!(none["hits"].as_array().unwrap().len(), 0);
    let run = biot.run(&["search", "qqqqqq"]);
    assert_eq!(run.code, 0);
    assert!(run.out.contains("qqqqqq") && run.out.contains("hint:"), "{}", run.out);
}

#[test]
fn tables_fit_the_terminal() {
    let biot = Biot::reading();
    for columns in ["60", "80", "120"] {
        for arguments in [
            &["search", "acid", "--limit", "100"][..],
            &["show", "1"],
            &["show", "77"],
            &["info"],
        ] {
            let run = Run::from(biot.command().env("COLUMNS", columns).args(arguments).output().unwrap());
            assert_eq!(run.code, 0, "{}", run.err);
            let width: usize = columns.parse().unwrap();
            let widest = run.out.lines().max_by_key(|line| line.chars().count()).unwrap();
            // Columns of numbers and short words are never broken; with the other columns at their least they may ask
            // for more than a narrow terminal has.
            let allowed = if width < 80 { 100 } else { width };
            assert!(
                widest.chars().count() <= allowed,
                "{columns} columns, {arguments:?}:\n{widest}"
            );
        }
    }
}

/// The starter tables hold both enantiomers of lactic acid, +3.82 and −3.82; a name without a hand decides nothing
/// (common practice: the sign of the lactic acids is the textbook example).
#[test]
fn a_name_without_a_hand_is_answered_with_the_candidates() {
    let biot = Biot::reading();
    let (code, error) = biot.json(&["show", "lactic", "acid"]);
    assert_eq!(code, 3);
    assert_eq!(error["error"]["code"], "ambiguous-compound");
    let candidates = error["error"]["candidates"].as_array().unwrap();
    let signs: Vec<&str> = candidates
        .iter()
        .filter_map(|candidate| candidate["signs"].as_str())
        .collect();
    assert!(signs.contains(&"+") && signs.contains(&"-"), "{error}");
    for candidate in candidates {
        assert!(!candidate["descriptors"].as_array().unwrap().is_empty(), "{candidate}");
        let number = candidate["compound"].to_string();
        assert_eq!(biot.json(&["show", &number]).0, 0, "a candidate's number leads to it");
    }
    // The same in words: a table with the signs as they are printed, and nothing on standard output.
    let run = biot.run(&["show", "lactic acid"]);
    assert_eq!((run.code, run.out.as_str()), (3, ""));
    assert!(
        run.err.contains("(S)-(+)-lactic acid") && run.err.contains('\u{2212}'),
        "{}",
        run.err
    );
    assert!(run.err.contains("hint:"), "{}", run.err);
}

#[test]
fn an_unknown_name_is_answered_with_the_nearest() {
    let biot = Biot::reading();
    let (code, error) = biot.json(&["show", "glutamc acid"]);
    assert_eq!((code, &error["error"]["code"]), (3, &"unknown-compound".into()));
    let nearest = error["error"]["candidates"].as_array().unwrap();
    assert!(
        nearest
            .iter()
            .any(|candidate| candidate["name"].as_str().unwrap().contains("glutamic acid")),
        "{error}"
    );
    let (code, error) = biot.json(&["show", "qqqqqq"]);
    assert_eq!((code, &error["error"]["candidates"]), (3, &serde_json::json!([])));
    let (code, error) = biot.json(&["show", "99999999"]);
    assert_eq!((code, &error["error"]["code"]), (3, &"unknown-compound".into()));
}

#[test]
fn a_printed_value_is_added_as_a_draft_and_confirmed() {
    let biot = Biot::writing();
    let text = "[α]D20 −7.5 (c 1.0, EtOH)";
    let citation = ["--citation", "Invented for a test, 2020", "--doi", "10.1000/test"];
    let add = |more: &[&str]| biot.json(&[&["add"], more, &citation[..]].concat());
    // A name that is not there is not taken for its nearest neighbour.
    let (code, error) = add(&["invented acid", "--text", text]);
    assert_eq!((code, &error["error"]["code"]), (3, &"unknown-compound".into()));
    // Print is read whatever it says; a number that no bench has is not kept.
    let (code, error) = add(&["L-proline", "--text", "[α]D20 −7500000000000 (c 1.0, EtOH)"]);
    assert_eq!((code, &error["error"]["code"]), (2, &"quantity".into()), "{error}");
    // A compound of its own, by a structure that the starter tables do not hold.
    let new = [
        "invented alcohol",
        "--new-compound",
        "--smiles",
        "CCCCCCC[C@@H](C)CCCCF",
        "--text",
        text,
    ];
    let (code, added) = add(&new);
    assert_eq!(code, 0, "{added}");
    assert_eq!(added["compound_is_new"], true);
    assert_eq!(added["compound"]["chirality"], "chiral");
    assert_eq!(added["entry"]["state"], "draft");
    let statement = &added["entry"]["statement"];
    assert_eq!(
        (&statement["value"], &statement["decimals"]),
        (&(-7.5).into(), &1.into())
    );
    assert_eq!(
        (&statement["solvent"], &statement["temperature_c"]),
        (&"EtOH".into(), &20.0.into())
    );
    assert_eq!(statement["as_printed"], text);
    let entry = added["entry"]["entry"].to_string();
    let (code, confirmed) = biot.json(&["confirm", &entry, "--by", "second reader", "--why", "read again"]);
    assert_eq!((code, &confirmed["state"]), (0, &"confirmed".into()));
    // A specification of the same compound, by name, with limits and units as typed.
    let limits = [
        "--specification",
        "--low=−8.0",
        "--high",
        "-7.0",
        "--length",
        "10 cm",
        "--concentration",
        "20 g/L",
    ];
    let (code, added) = add(&[&["invented alcohol"], &limits[..]].concat());
    assert_eq!(code, 0, "{added}");
    assert_eq!(added["compound_is_new"], false);
    let statement = &added["entry"]["statement"];
    assert_eq!(
        (&statement["low"], &statement["high"]),
        (&(-8.0).into(), &(-7.0).into())
    );
    assert_eq!(
        (&statement["path_mm"], &statement["conc_unit"]),
        (&100.0.into(), &"mg/mL".into())
    );
    let (_, shown) = biot.json(&["show", "invented alcohol"]);
    assert_eq!(shown["values"].as_array().unwrap().len(), 1);
    assert_eq!(shown["specifications"].as_array().unwrap().len(), 1);
    assert_eq!(
        shown["sources"].as_array().unwrap().len(),
        1,
        "the source is stored once"
    );
    // A text with no value and one with two say so.
    for text in ["mp 60 °C", "[α]D20 −7.5 (c 1.0, EtOH); [α]D20 +7.4 (c 1.0, EtOH)"] {
        let (code, error) = add(&["invented alcohol", "--text", text]);
        assert_eq!(
            (code, &error["error"]["code"]),
            (2, &"not-one-statement".into()),
            "{text}"
        );
    }
    let (code, error) = add(&["invented alcohol"]);
    assert_eq!((code, &error["error"]["code"]), (2, &"no-value".into()));
}

#[test]
fn show_gives_every_entry_its_source() {
    let biot = Biot::reading();
    for compound in [GLUTAMIC, ASCORBIC] {
        let (code, shown) = biot.json(&["show", compound]);
        assert_eq!(code, 0, "{shown}");
        assert_eq!(shown["compound"]["inchikey"], compound);
        // Its number leads to the same answer.
        let number = shown["compound"]["compound"].to_string();
        assert_eq!(biot.json(&["show", &number]).1, shown);
        let sources: Vec<i64> = shown["sources"]
            .as_array()
            .unwrap()
            .iter()
            .map(|s| s["source"].as_i64().unwrap())
            .collect();
        let entries = [&shown["values"], &shown["specifications"]];
        let mut n_entries = 0;
        for entry in entries.iter().flat_map(|list| list.as_array().unwrap()) {
            n_entries += 1;
            assert!(sources.contains(&entry["source"].as_i64().unwrap()), "{entry}");
            assert!(entry["statement"]["as_printed"].is_string(), "{entry}");
        }
        assert!(n_entries > 0);
    }
}

#[test]
fn an_entry_is_edited_withdrawn_and_kept_in_the_past() {
    let biot = Biot::writing();
    let (_, shown) = biot.json(&["show", GLUTAMIC]);
    let entry = shown["values"][0]["entry"].to_string();
    // A printed minus, as it stands in a PDF, and the digits as typed.
    let (code, edited) = biot.json(&[
        "edit",
        &entry,
        "--value",
        "\u{2212}49.10",
        "--solvent",
        "EtOH 95%",
        "--why",
        "test",
    ]);
    assert_eq!(code, 0, "{edited}");
    assert_eq!(edited["after"]["statement"]["value"], -49.1);
    assert_eq!(edited["after"]["statement"]["decimals"], 2);
    assert_eq!(edited["after"]["statement"]["solvent"], "EtOH 95%");
    assert_eq!(edited["before"], shown["values"][0]);
    for value in ["--value=-49.1", "--value=\u{2212}49.1"] {
        assert_eq!(
            biot.run(&["edit", &entry, value, "--plus-minus", "0.5", "--quiet"]).err,
            ""
        );
        assert_eq!(biot.run(&["edit", &entry, "--clear", "plus-minus"]).code, 0);
    }
    let (code, error) = biot.json(&["edit", &entry, "--value", "-49.1"]);
    assert_eq!((code, &error["error"]["code"]), (2, &"nothing-changed".into()));
    let (code, error) = biot.json(&["edit", &entry, "--value", "-1", "--based-on", "0"]);
    assert_eq!((code, &error["error"]["code"]), (2, &"revision-changed".into()));

    assert_eq!(biot.run(&["withdraw", &entry, "--why", "for the salt"]).code, 0);
    let (code, error) = biot.json(&["withdraw", &entry, "--why", "again"]);
    assert_eq!((code, &error["error"]["code"]), (2, &"refused".into()));
    let (_, shown) = biot.json(&["show", GLUTAMIC]);
    assert_eq!(shown["values"][0]["state"], "withdrawn");
    let (code, error) = biot.json(&["withdraw", "99999999", "--why", "not there"]);
    assert_eq!((code, &error["error"]["code"]), (2, &"unknown-entry".into()));
}

#[test]
fn merging_changes_nothing_until_it_is_told_to() {
    let biot = Biot::writing();
    let (_, before) = biot.json(&["info"]);
    let (code, plan) = biot.json(&["merge", ASCORBIC, GLUTAMIC]);
    assert_eq!(code, 0);
    assert_eq!(plan["merged"], false);
    assert!(!plan["entries"].as_array().unwrap().is_empty());
    assert!(
        !plan["warnings"].as_array().unwrap().is_empty(),
        "different structures are warned of"
    );
    assert_eq!(biot.json(&["info"]).1["counts"], before["counts"]);
    let (code, merged) = biot.json(&["merge", ASCORBIC, GLUTAMIC, "--yes"]);
    assert_eq!((code, &merged["merged"]), (0, &true.into()));
    let ended = plan["from"]["compound"].to_string();
    let (_, shown) = biot.json(&["show", &ended]);
    assert_eq!(
        shown["compound"]["inchikey"], GLUTAMIC,
        "the number of the compound that ended leads to the other"
    );
}

#[test]
fn a_backup_brings_back_what_was_there() {
    let biot = Biot::writing();
    let copy = biot.library.with_file_name("copy.biot");
    let copy = copy.to_str().unwrap();
    let (code, made) = biot.json(&["backup", copy]);
    assert_eq!(code, 0, "{made}");
    let (code, error) = biot.json(&["backup", copy]);
    assert_eq!((code, &error["error"]["code"]), (2, &"file-exists".into()));
    assert_eq!(biot.run(&["merge", ASCORBIC, GLUTAMIC, "--yes"]).code, 0);
    let (code, restored) = biot.json(&["restore", copy]);
    assert_eq!(code, 0, "{restored}");
    assert_eq!(restored["counts"], made["counts"]);
    assert!(Path::new(restored["kept_aside"].as_str().unwrap()).exists());
    let (code, info) = biot.json(&["info", "--check"]);
    assert_eq!((code, &info["problems"]), (0, &serde_json::json!([])));
    assert_eq!(info["counts"], made["counts"]);
    // A file that is no backup changes nothing.
    let other = biot.library.with_file_name("other.biot");
    fs::write(&other, "text").unwrap();
    let (code, error) = biot.json(&["restore", other.to_str().unwrap()]);
    assert_eq!((code, &error["error"]["code"]), (4, &"not-a-library".into()));
    assert_eq!(biot.json(&["info"]).1["counts"], made["counts"]);
}

#[test]
fn printed_text_is_read_from_files_options_and_standard_input() {
    let folder = TempDir::new().unwrap();
    let file = folder.path().join("text.txt");
    fs::write(&file, "mp 60 °C\n[α]D20 −49.1 (c 1.00, EtOH)\n").unwrap();
    let file = file.to_str().unwrap();
    let biot = Biot::at(Path::new("/nonexistent/library.biot"));
    let (code, read) = biot.json(&["read", file]);
    assert_eq!(code, 0);
    let statements = read["statements"].as_array().unwrap();
    assert_eq!(statements.len(), 1);
    assert_eq!(statements[0]["value"], -49.1);
    assert_eq!(statements[0]["solvent"], "EtOH");

    let lines = biot.run(&["read", "--lines", "--json", file]).out;
    let lines: Vec<serde_json::Value> = lines.lines().map(|line| serde_json::from_str(line).unwrap()).collect();
    assert_eq!(lines.len(), 2);
    assert_eq!((&lines[0]["line"], &lines[1]["line"]), (&1.into(), &2.into()));
    assert_eq!(lines[0]["statements"], serde_json::json!([]));
    assert_eq!(lines[1]["statements"][0]["value"], -49.1);

    let piped = Run::from(
        biot.command()
            .arg("read")
            .stdin(fs::File::open(file).unwrap())
            .output()
            .unwrap(),
    );
    assert_eq!(piped.code, 0, "{}", piped.err);
    assert_eq!(piped.out, biot.run(&["read", file]).out);
    assert!(piped.out.contains("\u{2212}49.1"), "{}", piped.out);

    let (code, error) = biot.json(&["read", "/nonexistent/text.txt"]);
    assert_eq!((code, &error["error"]["where"]), (2, &"/nonexistent/text.txt".into()));
}

#[test]
fn quiet_says_nothing_beside_the_answer() {
    let folder = TempDir::new().unwrap();
    let library = folder.path().join("library.biot");
    let loud = Biot::at(&library).run(&["info"]);
    assert!(
        loud.err.contains("First use") && loud.err.contains(library.to_str().unwrap()),
        "{}",
        loud.err
    );
    let again = Biot::at(&library).run(&["info"]);
    assert_eq!(again.err, "", "the starter entries are loaded once");
    fs::remove_file(&library).unwrap();
    assert_eq!(Biot::at(&library).run(&["info", "--quiet"]).err, "");
}

#[test]
fn limits_answer_with_their_rule_and_refuse_what_is_no_measurement() {
    let program = Biot::reading();
    let (code, answer) = program.json(&[
        "limits", "dextrose", "--value", "48.1", "--water", "9.0%", "--guard", "95%", "--temp", "25",
    ]);
    assert_eq!(code, 0);
    let monograph = &answer["monographs"][0];
    assert_eq!(
        (&monograph["outcome"], &monograph["rounded"]),
        (&"inside".into(), &"52.9".into())
    );
    assert!(
        monograph["decision_rule"]
            .as_str()
            .unwrap()
            .contains("simple acceptance")
    );
    assert!(monograph["guarded"]["rule"].as_str().unwrap().contains("JCGM 106"));
    assert!(answer["caution"].as_str().unwrap().contains("official text"));
    let (code, _) = program.json(&["limits", "dextrose", "--value", "nan"]);
    assert_eq!(code, 2);
    for bad in [
        ["--guard", "20%"],
        ["--water", "120"],
        ["--basis", "boiled"],
        ["--read-after", "soon"],
    ] {
        let (code, answer) = program.json(&["limits", "dextrose", "--value", "52.9", bad[0], bad[1]]);
        assert_eq!((code, answer["error"]["code"].as_str()), (2, Some("usage")), "{bad:?}");
    }
    let (code, answer) = program.json(&["limits", "dextrose", "--batches", "/nowhere/lots.csv"]);
    assert_eq!((code, answer["error"]["code"].as_str()), (2, Some("file")));
    // A compound without limits is an answer too.
    let (code, answer) = program.json(&["limits", "L-menthol", "--value", "-49"]);
    assert_eq!((code, answer["monographs"].as_array().map(Vec::len)), (0, Some(0)));
}

/// L-glutamic acid by its InChIKey, a list with a name that is none, a list that is empty, and no value at all.
#[test]
fn identify_answers_and_refuses() {
    let biot = Biot::reading();
    let value = ["identify", "--value=31", "--solvent", "HCl 6N", "--line", "D"];
    let (code, found) = biot.json(&[&value[..], &["--among", GLUTAMIC]].concat());
    assert_eq!((code, &found["compounds_looked_at"]), (0, &serde_json::json!(1)));
    let run = biot.run(&[&value[..], &["--formula", "C5H9NO4"]].concat());
    assert!(
        run.code == 0 && run.out.contains("A rotation cannot identify a compound"),
        "{}",
        run.out
    );
    let (code, error) = biot.json(&[&value[..], &["--among", "no such compound anywhere"]].concat());
    assert_eq!(
        (code, &error["error"]["code"]),
        (3, &serde_json::json!("unknown-compound"))
    );
    assert_eq!(biot.run(&[&value[..], &["--among", " ; "]].concat()).code, 2);
    assert_eq!(biot.run(&[&value[..], &["--formula", "Xx9"]].concat()).code, 2);
    assert_eq!(biot.run(&["identify", "--solvent", "EtOH"]).code, 2);
}

/// What a plan foretells is what a check states of a measurement made as planned.
#[test]
fn a_plan_foretells_what_a_check_then_states() {
    let program = Biot::reading();
    let (code, plan) = program.json(&[
        "plan",
        "L-proline",
        "--cell",
        "100 mm",
        "--volume",
        "10 mL",
        "--angle-uncertainty",
        "0.004",
    ]);
    assert_eq!(code, 0);
    let best = &plan["proposals"][0];
    let cell = &best["cells"][0];
    let c = best["conc_g_per_100ml"].as_f64().unwrap();
    let solvent = best["solvent"].as_str().unwrap();
    let line = best["line"].as_str().unwrap();
    let temperature = best["temperature_c"].to_string();
    let angle = format!("--angle={}", cell["expected_angle"]);
    let mass = format!("{} g", c / 10.0);
    let (code, check) = program.json(&[
        "check",
        "L-proline",
        &angle,
        "--uncertainty",
        "0.004",
        "--cell",
        "100 mm",
        "--mass",
        &mass,
        "--volume",
        "10 mL",
        "--solvent",
        solvent,
        "--temp",
        &temperature,
        "--line",
        line,
    ]);
    assert_eq!(code, 0, "{check}");
    let close = |a: &serde_json::Value, b: &serde_json::Value| {
        let (a, b) = (a.as_f64().unwrap(), b.as_f64().unwrap());
        (a - b).abs() < 1e-9 * b.abs().max(1.0)
    };
    assert!(close(
        &check["measured"]["standard_uncertainty"],
        &cell["value_uncertainty"]
    ));
    assert!(close(&check["pooled"]["value"], &best["expected_value"]));
    // The interval a check prints is that of the same posterior: about four standard deviations wide.
    let interval = &check["optical_purity"]["bounded95"];
    let width = interval[1].as_f64().unwrap() - interval[0].as_f64().unwrap();
    let foretold = cell["purity_uncertainty"].as_f64().unwrap();
    assert!((width / foretold - 3.6).abs() < 0.5, "{width} {foretold}");
    assert!(!plan["checklist"].as_array().unwrap().is_empty());

    let (code, nothing) = program.json(&["plan", "dextrose"]);
    assert_eq!((code, nothing["proposals"].as_array().map(Vec::len)), (0, Some(0)));
    let (code, _) = program.json(&["plan", "L-proline", "--wanted", "0%"]);
    assert_eq!(code, 2);
}
