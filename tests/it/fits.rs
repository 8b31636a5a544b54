//! The commands that fit: `biot timecourse`, through the process.

use std::fmt::Write;
use std::fs;
use std::process::Command;
use tempfile::TempDir;

/// Exit code, standard output and standard error of a run.
fn biot(arguments: &[&str]) -> (i32, String, String) {
    let folder = TempDir::new().unwrap();
    let run = Command::new(env!("CARGO_BIN_EXE_biot"))
        .args(arguments)
        .env("BIOT_LIBRARY", folder.path().join("library.biot"))
        .env("COLUMNS", "100")
        .output()
        .unwrap();
    (
        run.status.code().unwrap(),
        String::from_utf8(run.stdout).unwrap(),
        String::from_utf8(run.stderr).unwrap(),
    )
}

fn json(arguments: &[&str]) -> (i32, serde_json::Value) {
    let (code, out, err) = biot(&[arguments, &["--json"]].concat());
    (
        code,
        serde_json::from_str(&out).unwrap_or_else(|_| panic!("{out}\n{err}")),
    )
}

/// Writes a file and gives its path.
fn file(folder: &TempDir, name: &str, text: &str) -> String {
    let path = folder.path().join(name);
    fs::write(&path, text).unwrap();
    path.to_string_lossy().into_owned()
}

/// Readings by hand: 5 + 6 · 2^(−t/10 min), so the half-life is 10 min and the values at 0 and ∞ are 11 and 5.
fn halving(separator: &str, minutes: u32) -> String {
    let mut text = format!("time_min{separator}angle_deg\n");
    for t in (0..=minutes).step_by(2) {
        let noise = if t % 4 == 0 { 0.0005 } else { -0.0005 };
        let angle = 5.0 + 6.0 * 0.5f64.powf(f64::from(t) / 10.0) + noise;
        writeln!(text, "{t}{separator}{angle:.4}").unwrap();
    }
    text
}

#[test]
fn a_course_is_told_in_text_and_json() {
    let folder = TempDir::new().unwrap();
    let path = file(&folder, "r.csv", &halving(",", 50));
    let (code, found) = json(&["timecourse", &path]);
    assert_eq!((code, found["law"].as_str()), (0, Some("first-order")));
    let value = |name: &str| found["first_order"][name]["value"].as_f64().unwrap();
    assert!((value("initial") - 11.0).abs() < 0.002 && (value("equilibrium") - 5.0).abs() < 0.002);
    assert!((value("half_life_s") - 600.0).abs() < 0.5);
    assert_eq!(found["flags"].as_array().unwrap().len(), 0, "{found}");
    let (code, text, _) = biot(&["timecourse", &path]);
    assert!(
        code == 0 && text.contains("half-life        10.0 min") && text.contains("●"),
        "{text}"
    );
    let (_, shifted) = json(&["timecourse", &path, "--dissolved-at", "-10 min", "--blank", "1 deg"]);
    let initial = shifted["first_order"]["initial"]["value"].as_f64().unwrap();
    assert!(
        (initial - 16.0).abs() < 0.01,
        "4 + 12 at ten minutes before the clock's zero: {initial}"
    );
}

#[test]
fn bad_series_end_clearly() {
    let folder = TempDir::new().unwrap();
    for (name, text, code, word) in [
        ("empty.csv", "", 2, "empty-file"),
        ("one.csv", "time,angle\n1,2\n", 2, "series"),
        ("text.csv", "a,b\n1,2\n", 2, "no-headings"),
        ("half.csv", "time,comment\n1,2\n", 2, "column-missing"),
        ("nan.csv", "time,angle\n1,NaN\n2,inf\n", 2, "no-rows"),
    ] {
        let (found, document) = json(&["timecourse", &file(&folder, name, text)]);
        assert_eq!(
            (found, document["error"]["code"].as_str()),
            (code, Some(word)),
            "{document}"
        );
    }
    let mixed = halving(";", 50).replace('.', ",") + "400 s;oops\n360 s;8,9587\n";
    let (code, document) = json(&["timecourse", &file(&folder, "mixed.csv", &mixed)]);
    assert_eq!((code, document["law"].as_str()), (5, Some("first-order")), "{document}");
    assert_eq!(document["refused"][0]["line"], 28, "{}", document["refused"]);
    assert_eq!(document["n_readings"], 27);
    let codes: Vec<&str> = document["flags"]
        .as_array()
        .unwrap()
        .iter()
        .filter_map(|f| f["code"].as_str())
        .collect();
    assert!(codes.contains(&"time-backwards"), "{codes:?}");
}
