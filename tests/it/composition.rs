//! `biot composition` with pure values of the library, and the settling criterion of a preset, through the program. The library
//! is the starter library; published compositions stand beside each check.

use std::path::PathBuf;
use std::process::{Command, Stdio};
use std::sync::LazyLock;
use tempfile::TempDir;

static STARTER: LazyLock<(TempDir, PathBuf)> = LazyLock::new(|| {
    let folder = TempDir::new().unwrap();
    let library = folder.path().join("library.biot");
    (folder, library)
});

fn run(arguments: &[&str]) -> (i32, serde_json::Value) {
    let output = Command::new(env!("CARGO_BIN_EXE_biot"))
        .args(arguments)
        .arg("--json")
        .env("BIOT_LIBRARY", &STARTER.1)
        .stdin(Stdio::null())
        .output()
        .unwrap();
    let text = String::from_utf8(output.stdout).unwrap();
    let json = serde_json::from_str(&text).unwrap_or_else(|_| panic!("{text}"));
    (output.status.code().unwrap(), json)
}

const IN_WATER: [&str; 6] = ["--solvent", "H2O", "--temp", "20", "--line", "D"];

/// The first component's fraction with its 95 % interval.
fn composed(value: &str, components: [&str; 2], stage: &str) -> (f64, [f64; 2], serde_json::Value) {
    let arguments = [
        vec![
            "composition",
            value,
            "--component",
            components[0],
            "--component",
            components[1],
            "--stage",
            stage,
        ],
        IN_WATER.to_vec(),
    ];
    let (code, found) = run(&arguments.concat());
    assert_eq!(code, 0, "{found}");
    let end = |at: usize| found["first"]["interval95"][at].as_f64().unwrap();
    (found["first"]["value"].as_f64().unwrap(), [end(0), end(1)], found)
}

/// Glucose at equilibrium is 36.4 % α and 63.6 % β (quimicaorganica.org, read), 37:63 (OpenStax Organic Chemistry, ch. 25); its
/// rotation there is +52.6 (OpenStax). The entries used and their uncertainty are shown.
#[test]
fn anomers_of_glucose_by_the_library() {
    let (alpha, [low, high], found) = composed("--value=52.6", ["alpha-D-glucose", "beta-D-glucose"], "initial");
    assert!(
        low < 0.364 && 0.364 < high && (alpha - 0.364).abs() < 0.03,
        "{alpha} {low} {high}"
    );
    assert!(high - low < 0.12);
    let used: Vec<&serde_json::Value> = found["library_values"][0]["references"]
        .as_array()
        .unwrap()
        .iter()
        .filter(|reference| reference["used"] == true)
        .collect();
    assert!(
        !used.is_empty() && used.iter().all(|it| it["entry"].is_i64() && it["source"].is_string()),
        "{used:?}"
    );
    assert!(
        found["library_values"][0]["pooled"]["standard_uncertainty"]
            .as_f64()
            .unwrap()
            > 0.5
    );
    assert!(found["first_by_amount"].is_null(), "isomers have one fraction");
}

/// The same from typed values, each from one source: 113.4 / 52.2 / 19.0 (polarimetric values for sugars, a teaching table,
/// p. 442, read) and 112.2 / 52.6 / 18.7 (OpenStax) agree within two points of per cent with 36.4 % (quimicaorganica.org).
#[test]
fn anomers_of_glucose_by_published_triples() {
    for (value, first, second) in [("52.2", "113.4", "19.0"), ("52.6", "112.2", "18.7")] {
        let (code, found) = run(&["composition", "--value", value, "--first", first, "--second", second]);
        let alpha = found["first"]["value"].as_f64().unwrap();
        assert!(code == 0 && (alpha - 0.364).abs() < 0.02, "{alpha}");
    }
}

/// Invert sugar is made of equal masses of glucose and fructose (one of each from sucrose, by definition); its rotation in water
/// at 20 °C, D, is −19.42 (Politechnika Krakowska, physics tables, read).
#[test]
fn invert_sugar_by_the_library() {
    let (glucose, [low, high], found) = composed("--value=-19.42", ["D-glucose", "D-fructose"], "final");
    assert!(
        low < 0.5 && 0.5 < high && (glucose - 0.5).abs() < 0.02,
        "{glucose} {low} {high}"
    );
    // Two sources of fructose leave long tails: the interval is not narrower than they are.
    let tails = &found["library_values"][1]["pooled"]["interval95"];
    let width = tails[1].as_f64().unwrap() - tails[0].as_f64().unwrap();
    assert!((high - low) * 146.0 > 0.4 * width, "{low} {high} {width}");
}

#[test]
fn what_is_not_comparable_or_not_two_is_refused() {
    let code = |arguments: &[&str]| {
        let (exit, found) = run(&[&["composition", "--value", "52.6"], arguments].concat());
        (exit, found["error"]["code"].as_str().unwrap_or_default().to_owned())
    };
    let anomers = ["--component", "alpha-D-glucose", "--component", "beta-D-glucose"];
    assert_eq!(code(&anomers), (2, "nothing-comparable".to_owned()));
    assert_eq!(code(&["--component", "sucrose"]), (2, "component".to_owned()));
    assert_eq!(
        code(&["--component", "sucrose", "--component", "sucrose"]),
        (2, "component".to_owned())
    );
    assert_eq!(code(&["--component", "sucrose", "--component", "no such sugar"]).0, 3);
    assert_eq!(
        code(&["--first", "112.2", "--second", "18.7", "--solvent", "H2O"]),
        (2, "no-component".to_owned())
    );
}

/// Invented values at three lines: where the largest one is planned, the others are named as no larger; at D the larger ones
/// are named. 45.1/12.5 = 3.6.
#[test]
fn a_plan_names_the_lines_that_rotate_more() {
    let folder = TempDir::new().unwrap();
    let table = folder.path().join("invented.csv");
    let rows = [("D", "-12.5"), ("546 nm", "-14.9"), ("365 nm", "-45.1")]
        .map(|(line, value)| {
            format!("(S)-invented acid,C[C@H](Br)C(=O)O,{value},{line},EtOH,20,2,Invented J. Chem. 1 (2020) 1\n")
        })
        .concat();
    let head = "name,smiles,value,line,solvent,temperature,concentration,citation\n";
    std::fs::write(&table, format!("{head}{rows}")).unwrap();
    let (code, found) = run(&["import", table.to_str().unwrap(), "--yes", "--new-compounds"]);
    assert!(code == 0 || code == 5, "{found}");
    let lines = |found: &serde_json::Value, field: &str| -> Vec<(String, f64)> {
        let listed = found[field].as_array().unwrap();
        let one = |it: &serde_json::Value| {
            (
                it["line"].as_str().unwrap().to_owned(),
                it["times_larger"].as_f64().unwrap(),
            )
        };
        listed.iter().map(one).collect()
    };
    // A line that is fixed does not hide that another one rotates more.
    let (code, fixed) = run(&["plan", "(S)-invented acid", "--line", "D"]);
    assert_eq!((code, fixed["proposals"][0]["line"].as_str()), (0, Some("D")));
    let (line, times) = lines(&fixed, "other_lines").remove(0);
    assert!(line == "365" && (times - 3.6).abs() < 0.3, "{line} {times}");
    let (code, best) = run(&["plan", "(S)-invented acid"]);
    assert_eq!(code, 0);
    let first = best["proposals"][0]["line"].as_str().unwrap().to_owned();
    let (larger, smaller) = (lines(&best, "other_lines"), lines(&best, "no_larger_lines"));
    assert_eq!(larger.len() + smaller.len(), 2, "{first} {larger:?} {smaller:?}");
    assert!(larger.iter().all(|(_, times)| *times > 1.1) && smaller.iter().all(|(_, times)| *times <= 1.1));
    if first == "365" {
        assert!(
            larger.is_empty()
                && smaller
                    .iter()
                    .any(|(line, times)| line == "D" && (times - 0.28).abs() < 0.05)
        );
    } else {
        assert!(larger.iter().any(|(line, _)| line == "365"));
    }
}

/// Readings every 20 s, by hand: with 0.002° over 60 s settled from 40 s on, so that two readings came too early.
#[test]
fn a_preset_s_settling_criterion_is_held_against_times() {
    let folder = TempDir::new().unwrap();
    let preset = [
        "register",
        "preset",
        "slow",
        "--line",
        "D",
        "--settle",
        "0.002",
        "--settle-over",
        "60 s",
    ];
    assert_eq!(run(&preset).0, 0);
    let flags = |name: &str, rows: &str| -> Vec<String> {
        let path = folder.path().join(name);
        std::fs::write(&path, rows).unwrap();
        let path = path.to_str().unwrap();
        let (code, found) = run(&[
            "reduce", path, "--preset", "slow", "--cell", "100 mm", "--conc", "1", "--temp", "20",
        ]);
        assert_eq!(code, 0, "{found}");
        found
            .to_string()
            .split("\"code\":\"")
            .skip(1)
            .map(|it| it.split('"').next().unwrap().to_owned())
            .collect()
    };
    let warm = "time_s,angle_deg\n0,1.02\n20,1.004\n40,1.002\n60,1.001\n80,1.000\n100,1.001\n";
    let has = |found: &[String], code: &str| found.iter().any(|it| it == code);
    assert!(has(&flags("late.csv", warm), "settled-late"));
    let settled = warm.replace("1.02\n", "1.001\n").replace("1.004", "1.002");
    let found = flags("settled.csv", &settled);
    assert!(
        !found.iter().any(|it| it.starts_with("settl") || it == "not-settled"),
        "{found:?}"
    );
    assert!(has(
        &flags("moving.csv", &warm.replace("100,1.001", "100,1.009")),
        "not-settled"
    ));
    assert!(has(
        &flags("short.csv", "time_s,angle_deg\n0,1.001\n20,1.001\n"),
        "not-settled"
    ));
    assert!(has(
        &flags("untimed.csv", "angle_deg\n1.001\n1.001\n1.002\n"),
        "settling-not-timed"
    ));
    let (code, found) = run(&["register", "preset", "odd", "--settle-over", "60 s"]);
    assert_eq!((code, found["error"]["code"].as_str()), (2, Some("settle")));
}
