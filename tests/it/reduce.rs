//! Files of readings to results: what bad input gives, and that worked examples come out the same way.

use assert_cmd::Command;
use biot::measurement::Amount;
use biot::quantity::{parse_angle, parse_concentration, parse_length, parse_mass, parse_volume};
use biot::tasks::reduce::{ReadingsError, ReadingsFile, ReduceRequest, SampleResult, read_readings, reduce_readings};
use serde_json::Value;
use std::fmt::Write;

fn file(text: &str) -> Result<ReadingsFile, ReadingsError> {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("readings.csv");
    std::fs::write(&path, text).unwrap();
    read_readings(&path, &[])
}

fn request() -> ReduceRequest {
    let c = parse_concentration("1.0")
        .unwrap()
        .to_mass_concentration(None, None)
        .unwrap();
    ReduceRequest {
        cell: Some(parse_length("100 mm").unwrap()),
        amount: Some(Amount::Concentration(c)),
        ..ReduceRequest::default()
    }
}

fn results(text: &str) -> Vec<SampleResult> {
    reduce_readings(&file(text).unwrap().readings, &request()).unwrap()
}

fn codes(result: &SampleResult) -> Vec<&str> {
    result.shown.flags.iter().map(|flag| flag.code.as_str()).collect()
}

#[test]
fn an_empty_file_and_one_without_readings_are_refused() {
    assert!(file("").unwrap_err().to_string().contains("holds no readings"));
    let error = file("role,angle_deg\n").unwrap_err().to_string();
    assert!(error.contains("holds no readings"), "{error}");
    let error = file("role,time_s\nsample,3\n").unwrap_err().to_string();
    assert!(error.contains("no column holds the angle"), "{error}");
    assert!(matches!(
        file("angle_deg,winkel\n1,2\n"),
        Err(ReadingsError::Twice { .. })
    ));
}

#[test]
fn one_reading_gives_a_value_and_says_that_its_scatter_is_unknown() {
    let made = results("angle_deg\n-0.482\n");
    assert!((made[0].reduced.value.conventional() + 48.2).abs() < 1e-9);
    assert!(codes(&made[0]).contains(&"few-readings") && codes(&made[0]).contains(&"no-blank"));
}

#[test]
fn decimal_commas_units_and_mapped_headings_are_read() {
    let comma = file("Rolle;Winkel [mdeg];Zeit/min\nProbe;−482,0;0,5\nBlindwert;2,0;0\nProbe;-0,480 deg;1\n").unwrap();
    let degrees: Vec<f64> = comma.readings.iter().map(|r| r.angle.degrees()).collect();
    assert_eq!(degrees.len(), 3);
    assert!(
        (degrees[0] + 0.482).abs() < 1e-12 && (degrees[1] - 0.002).abs() < 1e-12 && (degrees[2] + 0.48).abs() < 1e-12
    );
    assert_eq!(comma.readings[0].seconds, Some(30.0));
    assert_eq!(comma.n_other_units, 1);
    assert_eq!(file("-0,482\n-0,480\n").unwrap().readings.len(), 2);
}

#[test]
fn not_a_number_is_rejected_with_its_row_and_the_rest_is_used() {
    let read = file("role,angle_deg,temperature_c\nsample,NaN,20\nsample,inf,20\nsample,-0.48,20\nsample,-0.48,900\nghost,1,20\n,,\n")
        .unwrap();
    assert_eq!(read.readings.len(), 1);
    let lines: Vec<u64> = read.rejected.iter().map(|row| row.line).collect();
    assert_eq!(lines, [2, 3, 5, 6]);
}

#[test]
fn times_that_run_backwards_and_copied_rows_are_flagged() {
    let backwards = results("angle_deg,time_s\n-0.482,0\n-0.481,30\n-0.483,10\n-0.482,20\n-0.480,40\n");
    assert!(codes(&backwards[0]).contains(&"time-backwards"));
    let twice = results("angle_deg,time_s\n-0.482,0\n-0.481,30\n-0.481,30\n-0.482,60\n-0.480,90\n");
    assert!(codes(&twice[0]).contains(&"duplicate-readings"));
    assert_eq!(
        (twice[0].shown.angle.n_sample, twice[0].shown.angle.n_duplicates),
        (4, 1)
    );
    // Without times nothing tells a copy from a second reading; all count.
    assert_eq!(results("angle_deg\n-0.48\n-0.48\n")[0].shown.angle.n_sample, 2);
}

#[test]
fn samples_wavelengths_and_blanks_are_kept_apart() {
    let made = results(
        "role,angle_deg,wavelength_nm,sample,operator\nblank,0.01,589,,AB\nblank,0.02,546,,AB\nsample,0.51,589,S1,AB\n\
         sample,0.62,546,S1,CD\nsample,0.41,589,S2,CD\nstandard,34.1,589,,CD\n",
    );
    let got: Vec<(Option<&str>, f64)> = made
        .iter()
        .map(|r| {
            (
                r.shown.sample.as_deref(),
                (r.shown.angle.net_degrees * 1e6).round() / 1e6,
            )
        })
        .collect();
    assert_eq!(got, [(Some("S1"), 0.5), (Some("S1"), 0.6), (Some("S2"), 0.4)]);
    assert_eq!(made[0].shown.standards.as_ref().map(|s| s.n), Some(1));
    assert_eq!(made[2].shown.operator.as_deref(), Some("AB, CD"));
}

/// By hand: [α] = +5.0 · 100 per dm g/100 mL is +100° at c 20 and +50° at c 10; the first reads −80°.
#[test]
fn a_half_turn_is_resolved_by_a_second_concentration() {
    let made = results("angle_deg,conc\n-80.00,20\n-80.00,20\n50.00,10\n50.00,10\n");
    assert!(codes(&made[0]).contains(&"half-turn"), "{:?}", made[0].shown.flags);
    assert!((made[0].reduced.value.conventional() - 500.0).abs() < 1e-6);
    let wrong = results("angle_deg,conc\n6.000,20\n6.001,20\n3.300,10\n3.301,10\n");
    assert!(codes(&wrong[0]).contains(&"not-proportional"));
}

#[test]
fn a_million_readings_are_reduced() {
    let mut text = String::from("angle_deg\n");
    for i in 0..1_000_000_u32 {
        let _ = writeln!(text, "{:.3}", -0.482 + 0.001 * f64::from(i % 3));
    }
    let made = results(&text);
    assert_eq!(made[0].shown.angle.n_sample, 1_000_000);
    assert!((made[0].reduced.value.conventional() + 48.1).abs() < 1e-3);
}

/// Rows of `worked_examples.csv` on observed angles (W007 and OpenStax W002), through readings and mass in volume.
#[test]
fn worked_examples_come_out_the_same_through_readings() {
    let one = |angle: &str, cell: &str, amount: Amount| {
        let mut request = request();
        request.cell = Some(parse_length(cell).unwrap());
        request.amount = Some(amount);
        let readings = file(&format!("angle\n{angle}\n")).unwrap().readings;
        assert_eq!(readings[0].angle, parse_angle(angle).unwrap());
        reduce_readings(&readings, &request).unwrap()[0]
            .reduced
            .value
            .conventional()
    };
    let c = parse_concentration("0.007 g/mL")
        .unwrap()
        .to_mass_concentration(None, None)
        .unwrap();
    let mut rows = csv::Reader::from_reader(include_str!("../data/worked_examples.csv").as_bytes());
    let headers = rows.headers().unwrap().clone();
    let column = |name: &str| headers.iter().position(|h| h == name).unwrap();
    let row = rows
        .records()
        .map(Result::unwrap)
        .find(|row| &row[column("id")] == "W007")
        .unwrap();
    let printed: f64 = row[column("answer")].parse().unwrap();
    assert!((one("0.087 deg", "2 cm", Amount::Concentration(c)) - printed).abs() < 0.5);
    let weighed = Amount::MassInVolume {
        mass: parse_mass("1.20 g").unwrap(),
        volume: parse_volume("7.50 mL").unwrap(),
    };
    assert!((one("-1.28 deg", "5.00 cm", weighed) + 16.0).abs() < 1e-9);
}

fn biot(arguments: &[&str]) -> (Option<i32>, Value) {
    let made = Command::cargo_bin("biot")
        .unwrap()
        .args(arguments)
        .args(["--json"])
        .output()
        .unwrap();
    (made.status.code(), serde_json::from_slice(&made.stdout).unwrap())
}

#[test]
fn the_command_answers_in_the_documented_shape() {
    let (code, made) = biot(&[
        "reduce",
        "--angle=-0.482",
        "--cell",
        "100 mm",
        "--conc",
        "0.28 g/cm3",
        "--solvent",
        "EtOH",
        "--temp",
        "20",
        "--line",
        "D",
    ]);
    assert_eq!(code, Some(0));
    assert!((made["specific_rotation"]["value"].as_f64().unwrap() + 0.482 / 0.28).abs() < 1e-9);
    for field in ["value", "standard_uncertainty", "expanded95", "degrees_of_freedom"] {
        assert!(made["specific_rotation"].get(field).is_some(), "{field}");
    }
    assert!((made["concentration"].as_f64().unwrap() - 28.0).abs() < 1e-9);
    for field in ["source", "standard_uncertainty", "sensitivity", "share"] {
        assert!(made["budget"][0].get(field).is_some(), "{field}");
    }
    for field in ["code", "sentence", "severity"] {
        assert!(made["flags"][0].get(field).is_some(), "{field}");
    }
    assert_eq!(made["journal"], "[α]_D^20 −1.72 (c 0.28 g/mL, EtOH)");
    // Glucose monohydrate weighed, the value of the anhydrous form: by molar masses 180.156 and 198.171.
    let (_, hydrate) = biot(&[
        "reduce",
        "--angle",
        "2.44",
        "--cell",
        "100",
        "--mass",
        "0.5",
        "--volume",
        "10",
        "--formula",
        "C6H12O6",
        "--weighed-as",
        "C6H12O6.H2O",
    ]);
    let wanted = 100.0 * 2.44 / (5.0 * 180.156 / 198.171);
    assert!((hydrate["specific_rotation"]["value"].as_f64().unwrap() - wanted).abs() < 1e-3 * wanted);
    let (code, error) = biot(&["reduce", "--angle", "1", "--conc", "1"]);
    assert_eq!((code, error["error"]["code"].as_str()), (Some(2), Some("cell")));
    let (code, error) = biot(&["reduce", "--angle", "NaN", "--conc", "1"]);
    assert_eq!((code, error["error"]["code"].as_str()), (Some(2), Some("usage")));
}

/// A library with one compound, in a folder of its own.
fn library() -> (tempfile::TempDir, std::path::PathBuf) {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("library.biot");
    let file = folder.path().join("readings.csv");
    std::fs::write(
        &file,
        "role,angle_deg,time_s,sample,operator\nblank,0.001,0,,AB\nblank,0.002,10,,AB\nsample,-0.482,20,S1,AB\n\
         sample,-0.481,30,S1,AB\nsample,-0.480,40,S1,AB\n",
    )
    .unwrap();
    (folder, path)
}

#[test]
fn kept_measurements_keep_their_readings_and_are_superseded_not_changed() {
    let (folder, path) = library();
    let library = path.to_str().unwrap();
    let file = folder.path().join("readings.csv");
    let keep = |more: &[&str]| {
        let mut arguments = vec![
            "--library",
            library,
            "reduce",
            file.to_str().unwrap(),
            "--cell",
            "100",
            "--conc",
            "1.0",
        ];
        arguments.extend([
            "--solvent",
            "EtOH",
            "--temp",
            "20",
            "--line",
            "D",
            "--compound",
            "L-menthol",
            "--keep",
        ]);
        arguments.extend(more);
        biot(&arguments)
    };
    let (code, first) = keep(&[]);
    assert_eq!((code, first["measurement"].as_i64()), (Some(0), Some(1)), "{first}");
    let (_, second) = keep(&["--supersedes", "1", "--why", "wrong flask"]);
    assert_eq!(second["measurement"].as_i64(), Some(2));
    let (code, refused) = keep(&["--supersedes", "1"]);
    assert_eq!(code, Some(2));
    assert!(
        refused["error"]["message"]
            .as_str()
            .unwrap()
            .contains("superseded by 2 already"),
        "{refused}"
    );

    let (_, listed) = biot(&["--library", library, "measurements", "--operator", "ab"]);
    assert_eq!(listed.as_array().unwrap().len(), 1);
    let (_, all) = biot(&[
        "--library",
        library,
        "measurements",
        "--compound",
        "L-menthol",
        "--superseded",
    ]);
    assert_eq!(all[1]["superseded_by"].as_i64(), Some(2));
    let (_, none) = biot(&["--library", library, "measurements", "--until", "2000-01-01"]);
    assert_eq!(none.as_array().unwrap().len(), 0);
    let (_, shown) = biot(&["--library", library, "measurements", "2"]);
    let angles: Vec<f64> = shown["readings"]
        .as_array()
        .unwrap()
        .iter()
        .map(|r| r["angle_deg"].as_f64().unwrap())
        .collect();
    assert_eq!(angles, [0.001, 0.002, -0.482, -0.481, -0.480]);

    // The check takes value, uncertainty and conditions from the measurement, and says that it is superseded.
    let (code, checked) = biot(&["--library", library, "check", "--measurement", "1"]);
    assert_eq!(code, Some(0));
    assert_eq!(checked["measured"]["value"], first["specific_rotation"]["value"]);
    assert_eq!(
        checked["measured"]["standard_uncertainty"],
        first["specific_rotation"]["standard_uncertainty"]
    );
    assert_eq!(checked["measured"]["conditions"]["solvent"], "EtOH");
    assert!(checked["cautions"].to_string().contains("superseded by measurement 2"));
    let (code, unknown) = biot(&["--library", library, "check", "--measurement", "9"]);
    assert_eq!(
        (code, unknown["error"]["code"].as_str()),
        (Some(2), Some("unknown-record"))
    );
    // Nothing outside the program's own way changes a reading either.
    let connection = rusqlite::Connection::open(&path).unwrap();
    for change in [
        "UPDATE reading SET angle = 1",
        "DELETE FROM reading",
        "UPDATE measurement SET value = 1",
        "DELETE FROM measurement",
    ] {
        assert!(
            connection
                .execute_batch(change)
                .unwrap_err()
                .to_string()
                .contains("never"),
            "{change}"
        );
    }
}

#[test]
fn a_kept_measurement_needs_a_sample() {
    let (_folder, path) = library();
    let (code, error) = biot(&[
        "--library",
        path.to_str().unwrap(),
        "reduce",
        "--angle",
        "1",
        "--cell",
        "100",
        "--conc",
        "1",
        "--keep",
    ]);
    assert_eq!(code, Some(2));
    assert!(
        error["error"]["message"].as_str().unwrap().contains("a sample"),
        "{error}"
    );
}
