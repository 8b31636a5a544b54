//! Tables of measurements through the program: every format in and out, streams and exit codes.

use biot::library::Access;
use biot::tasks::care;
use calamine::Reader;
use std::path::{Path, PathBuf};
use std::process::Command;

/// A folder with the starter library.
struct Desk {
    folder: tempfile::TempDir,
}

/// What a run of the program left.
struct Run {
    code: Option<i32>,
    out: String,
    err: String,
}

impl Desk {
    fn new() -> Self {
        let folder = tempfile::tempdir().unwrap();
        care::open_or_create(&folder.path().join("starter.biot"), Access::Read, &mut |_| {}).unwrap();
        Self { folder }
    }

    fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    fn write(&self, name: &str, text: &str) {
        std::fs::write(self.path(name), text).unwrap();
    }

    fn check(&self, arguments: &[&str]) -> Run {
        let run = Command::new(env!("CARGO_BIN_EXE_biot"))
            .current_dir(self.folder.path())
            .env_clear()
            .args(["check", "--library", "starter.biot"])
            .args(arguments)
            .output()
            .unwrap();
        Run {
            code: run.status.code(),
            out: String::from_utf8(run.stdout).unwrap(),
            err: String::from_utf8(run.stderr).unwrap(),
        }
    }
}

fn csv_rows(text: &str) -> Vec<std::collections::HashMap<String, String>> {
    csv::Reader::from_reader(text.as_bytes())
        .deserialize()
        .collect::<Result<_, _>>()
        .unwrap()
}

/// A German table: semicolons, decimal commas, headings of one's own.
const GERMAN: &str = "Probe;Stoff;Drehwert;LM;Konz;Temp\n\
                      P1;L-proline;-80,9;H2O;1;20\n\
                      P2;L-proline;+80,9;H2O;1;20\n\
                      P3;no such thing;1,0;H2O;1;20\n\
                      P4;L-proline;-8,09;H2O;1;20\n";

const MAPPED: [&str; 12] = [
    "--map",
    "Probe=id",
    "--map",
    "Stoff=compound",
    "--map",
    "Drehwert=value",
    "--map",
    "LM=solvent",
    "--map",
    "Konz=conc",
    "--map",
    "Temp=temp",
];

#[test]
fn a_table_with_decimal_commas_and_own_headings_is_answered_row_by_row() {
    let desk = Desk::new();
    desk.write("in.csv", GERMAN);
    let run = desk.check(&[&["--batch", "in.csv", "--causes", "--line", "D"], &MAPPED[..]].concat());
    assert_eq!(run.code, Some(5), "{}", run.err);
    let rows = csv_rows(&run.out);
    let column = |name: &str| -> Vec<&str> { rows.iter().map(|row| row[name].as_str()).collect() };
    assert_eq!(column("Probe"), ["P1", "P2", "P3", "P4"]);
    assert_eq!(column("verdict"), ["agrees", "opposite", "", "lower"]);
    assert_eq!(column("error"), ["", "", "unknown-compound", ""]);
    assert!(rows[2]["reason"].contains("no such thing"));
    assert_eq!(rows[0]["specific_rotation"].parse::<f64>().unwrap(), -80.9);
    // Causes stand beside what does not agree, and only there.
    assert_eq!(column("cause")[..2], ["", "opposite-hand"]);
    assert!(rows[3]["cause"].contains("concentration-unit"), "{}", rows[3]["cause"]);
    let probability: f64 = rows[3]["cause_probability"].parse().unwrap();
    assert!(probability > 0.5 && probability <= 1.0);
    // The summary is a notice; without a terminal there is no progress.
    assert!(run.err.contains("opposite") && !run.err.contains('\r'), "{}", run.err);
}

#[test]
fn every_format_holds_the_same_answers_in_the_same_order() {
    let desk = Desk::new();
    desk.write("in.csv", GERMAN);
    for name in ["out.csv", "out.xlsx", "out.jsonl"] {
        let run = desk.check(&[&["--batch", "in.csv", "--output", name, "--json"], &MAPPED[..]].concat());
        assert_eq!(run.code, Some(5), "{}", run.err);
        assert_eq!(run.err, "");
        let summary: serde_json::Value = serde_json::from_str(&run.out).unwrap();
        assert_eq!((&summary["rows"], &summary["refused"]), (&4.into(), &1.into()));
        assert_eq!(summary["verdicts"]["opposite"], 1);
        assert_eq!(summary["first_errors"][0]["row"], 4);
    }
    let verdicts = ["agrees", "opposite", "", "lower"];
    let table = csv_rows(&std::fs::read_to_string(desk.path("out.csv")).unwrap());
    assert_eq!(
        table.iter().map(|row| row["verdict"].as_str()).collect::<Vec<_>>(),
        verdicts
    );
    let lines = std::fs::read_to_string(desk.path("out.jsonl")).unwrap();
    let lines: Vec<serde_json::Value> = lines.lines().map(|line| serde_json::from_str(line).unwrap()).collect();
    assert_eq!(
        lines
            .iter()
            .map(|line| line["id"].as_str().unwrap())
            .collect::<Vec<_>>(),
        ["P1", "P2", "P3", "P4"]
    );
    assert_eq!(lines[1]["verdict"]["code"], "opposite");
    assert_eq!(lines[2]["error"]["code"], "unknown-compound");
    let mut book: calamine::Xlsx<_> = calamine::open_workbook(desk.path("out.xlsx")).unwrap();
    let sheet = book.worksheet_range_at(0).unwrap().unwrap();
    let at = sheet
        .rows()
        .next()
        .unwrap()
        .iter()
        .position(|cell| *cell == *"verdict")
        .unwrap();
    let found: Vec<String> = sheet.rows().skip(1).map(|row| row[at].to_string()).collect();
    assert_eq!(found, verdicts);
    // A file that exists is not replaced unasked.
    let again = desk.check(&[&["--batch", "in.csv", "--output", "out.csv"], &MAPPED[..]].concat());
    assert_ne!(again.code, Some(0));
    assert!(again.err.contains("--overwrite"), "{}", again.err);
}

fn spreadsheet(path: &Path) {
    let mut book = rust_xlsxwriter::Workbook::new();
    let sheet = book.add_worksheet();
    for (at, heading) in [
        "id",
        "compound",
        "value",
        "uncertainty",
        "solvent",
        "conc",
        "temp",
        "line",
    ]
    .iter()
    .enumerate()
    {
        sheet.write(0, at as u16, *heading).unwrap();
    }
    for (row, value) in [(1, -80.9), (2, -40.0)] {
        sheet.write(row, 0, format!("s{row}")).unwrap();
        sheet.write(row, 1, "L-proline").unwrap();
        sheet.write(row, 2, value).unwrap();
        sheet.write(row, 3, 0.5).unwrap();
        sheet.write(row, 4, "H2O").unwrap();
        sheet.write(row, 5, 1.0).unwrap();
        sheet.write(row, 6, 20.0).unwrap();
        sheet.write(row, 7, "D").unwrap();
    }
    book.save(path).unwrap();
}

#[test]
fn a_spreadsheet_is_read_and_its_answers_form_one_json_document() {
    let desk = Desk::new();
    spreadsheet(&desk.path("in.xlsx"));
    let run = desk.check(&["--batch", "in.xlsx", "--json"]);
    assert_eq!(run.code, Some(0), "{}", run.err);
    let document: serde_json::Value = serde_json::from_str(&run.out).unwrap();
    let answers = document["answers"].as_array().unwrap();
    assert_eq!(answers.len(), 2);
    assert_eq!(answers[0]["id"], "s1");
    assert_eq!(
        (&answers[0]["verdict"]["code"], &answers[1]["verdict"]["code"]),
        (&"agrees".into(), &"lower".into())
    );
    assert_eq!(answers[0]["measured"]["uncertainty_assumed"], false);
    assert_eq!(answers[1].get("causes"), None, "none were asked for");
    assert_eq!(document["rows"], 2);
}

#[test]
fn an_empty_file_and_one_without_rows_say_so() {
    let desk = Desk::new();
    desk.write("empty.csv", "");
    let run = desk.check(&["--batch", "empty.csv", "--json"]);
    assert_eq!(run.code, Some(2), "{}", run.err);
    let error: serde_json::Value = serde_json::from_str(&run.out).unwrap();
    assert!(error["error"]["message"].as_str().unwrap().contains("empty"), "{error}");
    desk.write("headings.csv", "id,compound,value\n");
    let run = desk.check(&["--batch", "headings.csv", "--json"]);
    assert_eq!(run.code, Some(0), "{}", run.out);
    let document: serde_json::Value = serde_json::from_str(&run.out).unwrap();
    assert_eq!(
        (&document["rows"], &document["answers"]),
        (&0.into(), &serde_json::json!([]))
    );
    // An option of one measurement is none of a table.
    let run = desk.check(&["--batch", "headings.csv", "--blank", "0.01"]);
    assert_eq!(run.code, Some(2));
    assert!(run.err.contains("column"), "{}", run.err);
}
