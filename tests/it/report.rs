//! Written reports: the same question gives the same bytes, another state of the library another digest, and no word from
//! outside becomes markup.

use biot::library::{Access, Change, Library};
use biot::report::document::{self, Document, Form};
use biot::tasks::care;
use biot::tasks::check::{CheckRequest, CheckSettings};
use biot::tasks::measured::Measured;
use biot::tasks::report::{CheckQuestion, CheckReport, Labels, changes_since, keep, list, of_check};
use sha2::{Digest, Sha256};
use std::fmt::Write;
use std::path::PathBuf;
use std::process::Command;
use std::sync::LazyLock;
use tempfile::TempDir;

/// A library with the starter entries, made once; tests that write take a copy.
static STARTER: LazyLock<(TempDir, PathBuf)> = LazyLock::new(|| {
    let folder = TempDir::new().unwrap();
    let path = folder.path().join("library.biot");
    drop(care::open_or_create(&path, Access::Write, &mut |_| {}).unwrap());
    (folder, path)
});

fn copy() -> (TempDir, PathBuf) {
    let folder = TempDir::new().unwrap();
    let path = folder.path().join("copy.biot");
    Library::open(&STARTER.1, Access::Read).unwrap().backup(&path).unwrap();
    (folder, path)
}

/// L-Proline in water, as it is asked on the command line.
pub(super) const PROLINE: [&str; 10] = [
    "L-proline",
    "--value=-84.1",
    "--solvent",
    "H2O",
    "--conc",
    "1",
    "--temp",
    "25",
    "--line",
    "D",
];

fn biot(library: &std::path::Path, arguments: &[&str]) -> (i32, String, String) {
    let output = Command::new(env!("CARGO_BIN_EXE_biot"))
        .env("BIOT_LIBRARY", library)
        .env("BIOT_USER", "A. First")
        .args(arguments)
        .output()
        .unwrap();
    (
        output.status.code().unwrap(),
        String::from_utf8(output.stdout).unwrap(),
        String::from_utf8(output.stderr).unwrap(),
    )
}

/// L-Proline in water (starter tables), with labels.
fn question(library: &Library, labels: Labels) -> CheckQuestion {
    let compound = library
        .compounds_by_inchikey("ONIBWKKTOPOVIA-BYPYZUCNSA-N")
        .unwrap()
        .remove(0);
    let given = Measured {
        value: Some("-84.1".parse().unwrap()),
        conc: Some(biot::quantity::parse_concentration("1").unwrap()),
        solvent: Some(biot::solvent::Solvent::parse("H2O").unwrap()),
        temperature: Some(biot::quantity::Temperature::from_celsius(25.0)),
        line: Some(biot::quantity::SpectralLine::SodiumD),
        ..Measured::default()
    };
    let measured = given.reduced(compound.molar_mass).unwrap();
    CheckQuestion {
        request: CheckRequest {
            compound: compound.id,
            mirror_image: false,
            conditions: given.conditions(measured.concentration),
            measured,
            cell: None,
            blank: None,
            form: None,
            excess: None,
        },
        settings: CheckSettings::default(),
        given: Some(given),
        measurement: None,
        stage: None,
        labels,
    }
}

fn reported(library: &Library, labels: Labels, made_on: &str) -> (CheckReport, Document) {
    let question = question(library, labels);
    let report = of_check(library, &question).unwrap();
    let document = document::of_check(&report, question.given.as_ref(), None, made_on);
    (report, document)
}

/// A report in a form of text.
fn text(document: &Document, form: Form) -> String {
    String::from_utf8(document.write(form).unwrap()).unwrap()
}

/// Labels that are markup in every form.
fn hostile() -> Labels {
    Labels {
        sample: Some(
            "</style><script>alert(1)</script>\"' & \\input{/etc/passwd} | `x` $y$ %z _a_ #b ~c ^d".to_owned(),
        ),
        operator: Some("<img src=x onerror=y>\n# heading\n| a | b |".to_owned()),
        note: Some("水 α\u{202e} \u{0} -->".to_owned()),
    }
}

#[test]
fn the_same_question_gives_the_same_bytes_except_the_line_of_the_date() {
    let library = Library::open(&STARTER.1, Access::Read).unwrap();
    let (first, on_one_day) = reported(&library, Labels::default(), "2026-01-01");
    let (second, on_another) = reported(&library, Labels::default(), "2027-12-31");
    assert_eq!(first.provenance, second.provenance);
    for form in [Form::Html, Form::Md, Form::Tex] {
        let one = text(&on_one_day, form);
        let other = text(&on_another, form);
        let differ: Vec<(&str, &str)> = one.lines().zip(other.lines()).filter(|(a, b)| a != b).collect();
        assert_eq!(differ.len(), 1, "{form:?}: {differ:?}");
        assert!(differ[0].0.contains("Made on 2026-01-01"), "{differ:?}");
        assert_eq!(one.len(), other.len());
        for named in [&first.provenance.digest, &first.provenance.library_state] {
            assert!(one.contains(named.as_str()), "{form:?} does not name {named}");
        }
    }
}

#[test]
fn another_state_of_the_library_another_input_or_label_gives_another_digest() {
    let (_folder, path) = copy();
    let mut library = Library::open(&path, Access::Write).unwrap();
    let digest = |library: &Library, labels| reported(library, labels, "2026-01-01").0.provenance.digest;
    let before = digest(&library, Labels::default());
    assert_eq!(before, digest(&library, Labels::default()));
    let labelled = Labels {
        sample: Some("7".to_owned()),
        ..Labels::default()
    };
    assert_ne!(before, digest(&library, labelled));
    let mut other = question(&library, Labels::default());
    other.given.as_mut().unwrap().value = Some("-84.10".parse().unwrap());
    assert_ne!(before, of_check(&library, &other).unwrap().provenance.digest);
    let id = library.entries(other.request.compound).unwrap()[0].id;
    library.withdraw_entry(id, &Change::now("A. First", "a test")).unwrap();
    assert_ne!(before, digest(&library, Labels::default()));
}

#[test]
fn the_page_holds_all_it_needs_and_nothing_else() {
    let library = Library::open(&STARTER.1, Access::Read).unwrap();
    let html = text(&reported(&library, hostile(), "2026-01-01").1, Form::Html);
    // The one stylesheet is the one the page's own policy allows: base64 of its SHA-256 (Content Security Policy Level 3).
    let style = html.split("<style>").nth(1).unwrap().split("</style>").next().unwrap();
    let policy = html.split("style-src ").nth(1).unwrap().split('"').next().unwrap();
    assert_eq!(policy, document::style_hash());
    let base64 = policy.trim_start_matches("'sha256-").trim_end_matches('\'');
    assert_eq!(unbase64(base64), Sha256::digest(style.as_bytes()).to_vec());
    assert_eq!(html.matches("<style").count(), 1);
    // Every tag is one of the report's own, and so is every attribute.
    let tags = regex::Regex::new("<[^>]*>?").unwrap();
    let own = regex::Regex::new(
        "^<(!doctype html|/?(html|head|meta|title|style|body|header|main|footer|section|h1|h2|p|b|i|dl|dt|dd|ul|ol|li|div|table|\
         caption|thead|tbody|tr|th|td|span|figure|figcaption|details|summary|svg|g|line|text|circle|path|a|sub|sup)\
         ( (lang|charset|http-equiv|content|name|class|aria-label|aria-labelledby|role|scope|tabindex|href|rel|viewBox|xmlns|id|\
         [xy][12]?|cx|cy|r|d|text-anchor|transform)=\"[^\"<>]*\")*/?)>$",
    )
    .unwrap();
    for tag in tags.find_iter(&html.replace(style, "")) {
        assert!(own.is_match(tag.as_str()), "{}", tag.as_str());
    }
    for wrong in ["@import", "url(", "\u{202e}", "\u{0}"] {
        assert!(!html.contains(wrong), "{wrong}");
    }
    for address in html.split("http").skip(1) {
        let known = address.starts_with("s://doi.org/")
            || address.starts_with("://www.w3.org/2000/svg")
            || address.starts_with("-equiv");
        assert!(known, "http{}", &address[..40.min(address.len())]);
    }
    assert!(html.contains("<svg") && html.contains("@page") && html.contains("@media print"));
}

/// The bytes of a base64 text (RFC 4648, section 4).
fn unbase64(text: &str) -> Vec<u8> {
    const ALPHABET: &[u8] = b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    let mut bits = 0u32;
    let mut n = 0;
    let mut out = Vec::new();
    for byte in text.bytes().filter(|byte| *byte != b'=') {
        let value = ALPHABET.iter().position(|known| *known == byte).unwrap();
        bits = bits << 6 | u32::try_from(value).unwrap();
        n += 6;
        if n >= 8 {
            n -= 8;
            out.push((bits >> n & 0xff) as u8);
        }
    }
    out
}

#[test]
fn words_are_no_markup_in_markdown() {
    let library = Library::open(&STARTER.1, Access::Read).unwrap();
    let text = text(&reported(&library, hostile(), "2026-01-01").1, Form::Md);
    assert!(
        !text.lines().any(|line| line == "# heading" || line == "| a | b |"),
        "{text}"
    );
    let own = text
        .replace("<sub>", "")
        .replace("</sub>", "")
        .replace("<sup>", "")
        .replace("</sup>", "");
    assert_eq!(own.matches('<').count(), own.matches("\\<").count(), "{text}");
    // Every row of a table has as many cells as its head.
    let unescaped = |line: &str| line.replace("\\|", "").matches('|').count();
    let mut in_table = None;
    for line in text.lines() {
        match (line.starts_with('|'), in_table) {
            (true, Some(n)) => assert_eq!(unescaped(line), n, "{line}"),
            (true, None) => in_table = Some(unescaped(line)),
            (false, _) => in_table = None,
        }
    }
}

#[test]
fn words_are_no_commands_in_latex() {
    let library = Library::open(&STARTER.1, Access::Read).unwrap();
    let text = text(&reported(&library, hostile(), "2026-01-01").1, Form::Tex);
    let tables: Vec<&str> = text.lines().filter(|line| !line.starts_with('%')).collect();
    let tables = tables.join("\n");
    assert!(!tables.contains("\\input") && tables.is_ascii(), "{tables}");
    let without = tables.replace("\\{", "").replace("\\}", "");
    assert_eq!(without.matches('{').count(), without.matches('}').count());
    assert_eq!(tables.replace("\\$", "").matches('$').count() % 2, 0);
    // Every row of the table has the columns its head has.
    let ends: Vec<&str> = tables.lines().filter(|line| line.ends_with(" \\\\")).collect();
    assert!(ends.len() > 4, "{tables}");
    for row in &ends {
        assert_eq!(row.replace("\\&", "").matches('&').count(), 6, "{row}");
    }
    // What stands in comments stays there.
    assert!(
        text.lines()
            .filter(|line| line.contains("Inputs"))
            .all(|line| line.starts_with("% "))
    );
}

#[test]
fn a_kept_check_is_printed_as_it_was_answered() {
    let (_folder, path) = copy();
    let mut library = Library::open(&path, Access::Write).unwrap();
    let change = Change::now("A. First", "a test");
    let (report, document) = reported(&library, Labels::default(), "2026-01-01");
    let kept = keep(&mut library, "batch 7", &report, &document, &change).unwrap();
    assert!(
        keep(&mut library, "BATCH 7", &report, &document, &change).is_err(),
        "the name is taken"
    );
    assert!(
        keep(&mut library, " ", &report, &document, &change).is_err(),
        "a name is needed"
    );
    assert_eq!(changes_since(&library, &kept).unwrap(), 0);
    let printed = document::of_kept(&library.kept_check("Batch 7").unwrap(), 0).unwrap();
    assert_eq!(printed.blocks, document.blocks);
    assert_eq!(printed.made_on, "2026-01-01");
    let id = library
        .entries(biot::library::CompoundId(report.result.compound.id))
        .unwrap()[0]
        .id;
    library.withdraw_entry(id, &change).unwrap();
    let kept = library.kept_check("batch 7").unwrap();
    assert_eq!(changes_since(&library, &kept).unwrap(), 1);
    let text = text(&document::of_kept(&kept, 1).unwrap(), Form::Md);
    assert!(text.contains("The library has changed since (1 change)"), "{text}");
    assert!(text.contains(&report.provenance.digest));
    let listed = list(&library, 10).unwrap();
    assert_eq!((listed.len(), listed[0].verdict.as_str()), (1, "agrees"));
    assert!(library.check_history().unwrap().is_sound());
}

#[test]
fn a_report_is_written_once_and_replaced_only_when_told() {
    let (folder, path) = copy();
    let file = folder.path().join("proline.html");
    let file = file.to_str().unwrap();
    let asked = [&["report"], &PROLINE[..]].concat();
    let (code, _, err) = biot(&path, &[&asked[..], &["--output", file]].concat());
    assert_eq!(code, 0, "{err}");
    let (code, _, err) = biot(&path, &[&asked[..], &["--output", file]].concat());
    assert_eq!(code, 2, "{err}");
    let (code, out, err) = biot(&path, &[&asked[..], &["--out", file, "--force", "--json"]].concat());
    assert_eq!(code, 0, "{err}");
    let json: serde_json::Value = serde_json::from_str(&out).unwrap();
    assert_eq!(json["report"]["result"]["verdict"]["code"], "agrees");
    let digest = json["report"]["provenance"]["digest"].as_str().unwrap();
    assert!(std::fs::read_to_string(file).unwrap().contains(digest));
    for (arguments, code) in [
        (vec!["--output", "report.doc"], 2),
        (vec!["--check", "batch 7"], 2),
        (vec!["--dispersion", "sucrose"], 2),
    ] {
        let (found, _, err) = biot(&path, &[&asked[..], &arguments].concat());
        assert_eq!(found, code, "{arguments:?}: {err}");
    }
    let (code, ..) = biot(&path, &["report", "--check", "not kept"]);
    assert_eq!(code, 2);
}

#[test]
fn a_kept_measurement_is_reported_with_its_readings_and_its_check() {
    let (_folder, path) = copy();
    let (code, _, err) = biot(
        &path,
        &[
            "reduce",
            "--angle=-0.841",
            "--cell",
            "100 mm",
            "--conc",
            "1",
            "--solvent",
            "H2O",
            "--temp",
            "25",
            "--line",
            "D",
            "--sample",
            "S1",
            "--operator",
            "A. First",
            "--compound",
            "L-proline",
            "--keep",
        ],
    );
    assert_eq!(code, 0, "{err}");
    let (code, out, err) = biot(&path, &["report", "--measurement", "1"]);
    assert_eq!(code, 0, "{err}");
    for part in [
        "# Measurement 1: S1",
        "agrees",
        "Check against published values",
        "Readings",
        "A. First",
        "- **Conditions**: H₂O, c 1, 25 °C, D, 100 mm cell",
        "| concentration | 0.5 % (assumed) |",
        "[α]<sub>D</sub><sup>25</sup> −84.1 (*c* 1, H<sub>2</sub>O)",
    ] {
        assert!(out.contains(part), "{part} is missing: {out}");
    }
    // Paper names no options of the command line.
    assert!(!out.replace("---", "").contains("--"), "{out}");
    // What stands above is not said again in the check, and a column without a word in it is left out.
    assert_eq!(out.matches("**Measured**").count(), 1, "{out}");
    assert!(out.contains("| row | role | α / ° |"), "{out}");
    let (_, tex, _) = biot(&path, &["report", "--measurement", "1", "--format", "tex"]);
    assert!(
        tex.contains("$[\\alpha]_{\\mathrm{D}}^{25}$ $-84.1$ ($c$ 1, H$_{2}$O)"),
        "{tex}"
    );
    assert!(tex.contains(" & H\\textsubscript{2}O & "), "{tex}");
}

#[test]
fn a_dispersion_table_is_reported_with_its_law() {
    let folder = TempDir::new().unwrap();
    let table = folder.path().join("invented.csv");
    // Made by [α] = A/(λ² − λ0²) with A 22 deg µm² and λ0 150 nm, rounded to 0.01: the law must be found again.
    let mut rows = "wavelength_nm,value\n".to_owned();
    for nm in [589.3, 546.1, 435.8, 404.7, 365.0f64] {
        let l = nm / 1000.0;
        writeln!(rows, "{nm},{:.2}", 22.0 / (l * l - 0.0225)).unwrap();
    }
    std::fs::write(&table, rows).unwrap();
    let asked = ["report", "--dispersion", table.to_str().unwrap(), "--at", "578"];
    let (code, out, err) = biot(&STARTER.1, &asked);
    assert_eq!(code, 0, "{err}");
    assert!(out.contains("At other lines, by the law"), "{out}");
    let (code, out, err) = biot(&STARTER.1, &[&asked[..], &["--json"]].concat());
    assert_eq!(code, 0, "{err}");
    let json: serde_json::Value = serde_json::from_str(&out).unwrap();
    let band = json["report"]["result"]["one_term"]["terms"][0]["band_nm"]
        .as_f64()
        .unwrap();
    assert!((band - 150.0).abs() < 1.0, "{band}");
    let (_, tex, _) = biot(&STARTER.1, &[&asked[..], &["--format", "tex"]].concat());
    // The digits of the table; what the law leaves has one more.
    let value = 22.0 / (0.5893f64.powi(2) - 0.0225);
    let row = regex::Regex::new(&format!(r"589\.3 & air & \+{value:.2} & (\$-\$|\+)?0\.\d{{3}} ")).unwrap();
    assert!(row.is_match(&tex), "{tex}");
}

/// Kept checks and measurements are guarded by triggers, which whoever holds the file can drop; the history still tells.
#[test]
fn a_kept_record_that_was_changed_behind_its_back_is_found_and_not_relied_on() {
    let (folder, path) = copy();
    let (code, _, err) = biot(&path, &[&["check"], &PROLINE[..], &["--keep", "batch 7"]].concat());
    assert_eq!(code, 0, "{err}");
    let reduce = [
        "reduce",
        "--angle=-0.841",
        "--cell",
        "100 mm",
        "--conc",
        "1",
        "--solvent",
        "H2O",
        "--temp",
        "25",
    ];
    let kept = ["--line", "D", "--sample", "S1", "--operator", "A. First", "--keep"];
    let (code, _, err) = biot(&path, &[&reduce[..], &kept[..]].concat());
    assert_eq!(code, 0, "{err}");
    let (code, out, _) = biot(&path, &["history", "--verify"]);
    assert_eq!(code, 0, "{out}");
    let triggers = "DROP TRIGGER kept_check_is_never_changed; DROP TRIGGER kept_check_is_never_deleted; \
        DROP TRIGGER measurement_is_never_changed; DROP TRIGGER measurement_is_never_deleted; \
        DROP TRIGGER reading_is_never_changed; DROP TRIGGER reading_is_never_deleted; PRAGMA foreign_keys = off;";
    for (sql, named) in [
        (
            "UPDATE kept_check SET content = replace(content, '84.1', '84.2')",
            "kept-check \"batch 7\"",
        ),
        (
            "UPDATE kept_check SET content = replace(content, 'agrees', 'disagrees')",
            "kept-check \"batch 7\"",
        ),
        ("UPDATE kept_check SET name = 'batch 8'", "kept-check \"batch 7\""),
        (
            "UPDATE kept_check SET at = '2020-01-01T00:00:00Z'",
            "kept-check \"batch 7\"",
        ),
        ("UPDATE kept_check SET who = 'B. Second'", "kept-check \"batch 7\""),
        ("UPDATE kept_check SET digest = 'x'", "kept-check \"batch 7\""),
        (
            "UPDATE kept_check SET compound = compound + 1",
            "kept-check \"batch 7\"",
        ),
        ("DELETE FROM kept_check", "kept-check \"batch 7\""),
        (
            "INSERT INTO kept_check SELECT id + 1, 'put in', at, who, 'batch 9', compound, digest, content FROM kept_check",
            "record put in is not in the history",
        ),
        ("UPDATE measurement SET value = value * 1.000001", "measurement \"S1\""),
        (
            "UPDATE measurement SET content = json_set(content, '$.journal', 'x')",
            "measurement \"S1\"",
        ),
        ("UPDATE measurement SET compound = 1", "measurement \"S1\""),
        ("UPDATE reading SET angle = -0.842", "measurement \"S1\""),
        ("UPDATE reading SET temperature = 26", "measurement \"S1\""),
        ("DELETE FROM reading", "measurement \"S1\""),
        ("DELETE FROM measurement", "measurement \"S1\""),
    ] {
        let changed = folder.path().join("changed.biot");
        let _ = std::fs::remove_file(&changed);
        Library::open(&path, Access::Read).unwrap().backup(&changed).unwrap();
        let connection = rusqlite::Connection::open(&changed).unwrap();
        connection.execute_batch(&format!("{triggers} {sql}")).unwrap();
        assert!(connection.changes() > 0, "{sql} changes nothing");
        drop(connection);
        let (code, out, err) = biot(&changed, &["history", "--verify"]);
        let out = out.split_whitespace().collect::<Vec<_>>().join(" ");
        assert_eq!(code, 5, "{sql}: {out} {err}");
        assert!(out.contains(named) && out.contains("Do not rely on"), "{sql}: {out}");
        let (_, json, _) = biot(&changed, &["history", "--verify", "--json"]);
        let json: serde_json::Value = serde_json::from_str(&json).unwrap();
        assert_eq!(json["changed_outside"].as_array().unwrap().len(), 1, "{sql}: {json}");
        let (code, out, _) = biot(&changed, &["report", "--check", "batch 7"]);
        if code == 0 && sql.contains("kept_check") && !sql.starts_with("INSERT") {
            assert!(out.contains("was changed outside the program"), "{sql}: {out}");
        }
        let (code, out, _) = biot(&changed, &["report", "--measurement", "1"]);
        let is_told = out.contains("Measurement 1 was changed outside the program");
        assert_eq!(
            code == 0 && is_told,
            named.contains("S1") && sql != "DELETE FROM measurement",
            "{sql}: {out}"
        );
    }
    let (_, out, _) = biot(&path, &["report", "--check", "batch 7"]);
    assert!(!out.contains("changed outside"), "{out}");
}
