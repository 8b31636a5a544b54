//! Batches of measured values: the same answers as single checks, in the order of the rows, and a reason for every row
//! that has none.

use biot::exchange::mapping::Assignment;
use biot::exchange::rows::ReadOptions;
use biot::library::{Access, Library};
use biot::measurement::{self, Defaults};
use biot::quantity::{self, SpecificRotation};
use biot::report::batch::{AnswerFormat, COLUMNS, JsonAnswers, TableAnswers};
use biot::solvent::Solvent;
use biot::tasks::batch::{Answers, BatchReport, BatchRequest, CheckedRow, check_batch};
use biot::tasks::care;
use biot::tasks::check::{CheckRequest, CheckSettings, check};
use biot::tasks::resolve::{Resolution, resolve};
use std::fmt::Write;
use std::path::Path;

fn starter(folder: &Path) -> Library {
    care::open_or_create(&folder.join("starter.biot"), Access::Read, &mut |_| {}).unwrap()
}

/// Keeps the answers.
#[derive(Default)]
struct Kept(Vec<CheckedRow>);

impl Answers for Kept {
    fn headings(&mut self, _: &Assignment) -> std::io::Result<()> {
        Ok(())
    }

    fn row(&mut self, row: &CheckedRow) -> std::io::Result<()> {
        self.0.push(row.clone());
        Ok(())
    }
}

fn batch(library: &Library, file: &Path, answers: &mut dyn Answers) -> BatchReport {
    let request = BatchRequest {
        file: file.to_owned(),
        options: ReadOptions::default(),
        ..BatchRequest::default()
    };
    check_batch(library, &request, &CheckSettings::default(), answers, &mut |_| {}).unwrap()
}

fn table(folder: &Path, name: &str, text: &str) -> std::path::PathBuf {
    let path = folder.join(name);
    std::fs::write(&path, text).unwrap();
    path
}

/// A row and the same value checked alone must give the same numbers; units are those of the command line.
#[test]
fn a_row_gives_what_a_single_check_gives() {
    let folder = tempfile::tempdir().unwrap();
    let library = starter(folder.path());
    let file = table(
        folder.path(),
        "m.csv",
        "id,compound,value,uncertainty,solvent,conc,temp,line\n\
         one,L-proline,-40.4,0.5,H2O,10 g/L,293.15 K,D\n\
         two,L-proline,-80.9,,water,1,20,589.3 nm\n",
    );
    let mut kept = Kept::default();
    let report = batch(&library, &file, &mut kept);
    assert_eq!((report.rows, report.n_refused(), report.poolings), (2, 0, 1));
    let Resolution::One(found) = resolve(&library, "L-proline").unwrap() else {
        panic!("L-proline is one compound")
    };
    let concentration = Some(
        quantity::parse_concentration("1")
            .unwrap()
            .to_mass_concentration(None, None)
            .unwrap(),
    );
    let values = [
        measurement::stated(
            SpecificRotation::from_conventional(-40.4),
            SpecificRotation::from_conventional(0.5),
            concentration,
        ),
        measurement::of_value(
            SpecificRotation::from_conventional(-80.9),
            0.05,
            concentration,
            None,
            &Defaults::built_in(),
        ),
    ];
    for (row, measured) in kept.0.iter().zip(values) {
        let request = CheckRequest {
            compound: found.compound.id,
            mirror_image: false,
            measured,
            conditions: biot::compare::Conditions {
                temperature: Some(quantity::parse_temperature("20").unwrap()),
                line: Some(quantity::parse_line("D").unwrap()),
                solvent: Some(Solvent::parse("H2O").unwrap()),
                concentration,
                stage: None,
                basis: None,
            },
            cell: None,
            blank: None,
            form: None,
            excess: None,
        };
        let alone = check(&library, &request, &CheckSettings::default()).unwrap();
        let answer = row.answer.as_ref().unwrap();
        assert_eq!(answer.judgement.verdict, alone.verdict);
        let (here, there) = (
            answer.judgement.optical_purity.as_ref().unwrap(),
            alone.optical_purity.unwrap(),
        );
        assert_eq!((here.ratio, here.prior_matters), (there.ratio, there.prior_matters));
        let bounded = answer.judgement.bounded_purity();
        assert_eq!(
            bounded.map(|p| (p.bounded, p.bounded95)),
            there.bounded.zip(there.bounded95)
        );
        assert_eq!(answer.standard_uncertainty, alone.measured.standard_uncertainty);
    }
}

/// Weighed amounts, blanks, ratios of the enantiomers and the uncertainty of an ee are columns as they are options; what does
/// not go together is refused with the column to blame. −0.84° · 100/(1 dm · 1 g/100 mL) = −84.0; (99 − 1)/(99 + 1) = 98 %.
#[test]
fn a_row_takes_what_a_single_check_takes() {
    let folder = tempfile::tempdir().unwrap();
    let library = starter(folder.path());
    let file = table(
        folder.path(),
        "m.csv",
        "id,compound,observed,path_mm,mass,volume,conc,blank,solvent,ee,er,ee uncertainty\n\
         ratio,L-proline,-0.84,100,100 mg,10 mL,,0.02,water,,99:1,0.5\n\
         ee,L-proline,-0.84,100,0.1 g,10 mL,,,water,98 % ee,,0.5\n\
         bound,L-proline,-0.84,100,0.1 g,10 mL,,,water,,>99:1,\n\
         no volume,L-proline,-0.84,100,0.1 g,,,,water,,,\n\
         twice,L-proline,-0.84,100,0.1 g,10 mL,1,,water,,,\n\
         turned,L-proline,-0.84,100,0.1 g,10 mL,,,water,,2:98,\n\
         one number,L-proline,-0.84,100,0.1 g,10 mL,,,water,,49,\n\
         apart,L-proline,-0.84,100,0.1 g,10 mL,,,water,98,60:40,\n\
         bound and u,L-proline,-0.84,100,0.1 g,10 mL,,,water,>99,,1\n",
    );
    let mut kept = Kept::default();
    let report = batch(&library, &file, &mut kept);
    assert_eq!((report.rows, report.poolings), (9, 1));
    let answers: Vec<_> = kept.0[..3].iter().map(|row| row.answer.as_ref().unwrap()).collect();
    for answer in &answers {
        assert!((answer.value + 84.0).abs() < 1e-9, "{}", answer.value);
    }
    for answer in &answers[..2] {
        let check = answer.judgement.excess_check.as_ref().unwrap();
        assert!((check.excess - 0.98).abs() < 1e-12 && (check.standard_uncertainty - 0.005).abs() < 1e-12);
    }
    assert!(answers[2].judgement.excess_check.as_ref().unwrap().at_least);
    let codes: Vec<&str> = kept.0[3..]
        .iter()
        .map(|row| row.answer.as_ref().unwrap_err().code)
        .collect();
    assert_eq!(codes, ["mass", "mass", "er", "er", "er", "ee_uncertainty"]);
}

/// A blank of 0.30° that was added instead of subtracted: −0.24° − 2 · 0.30° = −0.84°, −84.0 at c 1 in 1 dm. That the blank
/// is told makes the cause a sharp one, as in a single check.
#[test]
fn a_blank_that_is_told_is_a_cause_of_its_own_size() {
    let folder = tempfile::tempdir().unwrap();
    let library = starter(folder.path());
    let probability = |blank: &str| {
        let file = table(
            folder.path(),
            "m.csv",
            &format!(
                "compound,observed,path_mm,conc,blank,solvent,temp,line\nL-proline,-0.24,100,1,{blank},water,25,D\n"
            ),
        );
        let mut kept = Kept::default();
        let request = BatchRequest {
            file,
            causes: true,
            ..BatchRequest::default()
        };
        check_batch(&library, &request, &CheckSettings::default(), &mut kept, &mut |_| {}).unwrap();
        let answer = kept.0[0].answer.as_ref().unwrap();
        let cause = answer.causes.iter().find(|cause| cause.code.as_str() == "blank-sign");
        cause.map_or(0.0, |cause| cause.probability)
    };
    let (told, unknown) = (probability("0.30"), probability(""));
    assert!(told > 10.0 * unknown && told > 0.2, "{told} {unknown}");
}

#[test]
fn rows_that_cannot_be_checked_say_why_and_keep_their_place() {
    let folder = tempfile::tempdir().unwrap();
    let library = starter(folder.path());
    // More rows than are worked on together, so that the order across portions shows.
    let mut text = "id,compound,value,temp,ee\n".to_owned();
    for i in 0..2100 {
        writeln!(text, "x{i},no such thing,1,20,").unwrap();
    }
    text.push_str(
        "good,L-proline,-80,20,\n\
         racemic or not,menthol,-40,20,\n\
         no number,L-proline,abc,20,\n\
         bare number,12,5,20,\n\
         nobody,,5,20,\n\
         range,L-proline,-80 to -85,20,\n\
         hot,L-proline,-80,900,\n\
         beyond any bench,L-proline,-1e300,20,\n\
         also measured,L-proline,-80,20,99\n",
    );
    let file = table(folder.path(), "m.csv", &text);
    let mut kept = Kept::default();
    let report = batch(&library, &file, &mut kept);
    assert_eq!(report.rows, 2109);
    let lines: Vec<u64> = kept.0.iter().map(|row| row.line).collect();
    assert!(lines.windows(2).all(|pair| pair[1] == pair[0] + 1), "out of order");
    let code = |row: &CheckedRow| match &row.answer {
        Ok(_) => "checked",
        Err(refusal) => refusal.code,
    };
    let codes: Vec<&str> = kept.0[2100..].iter().map(code).collect();
    assert_eq!(
        codes,
        [
            "checked",
            "ambiguous-compound",
            "value",
            "unknown-compound",
            "no-compound",
            "value",
            "temperature",
            "value",
            "checked"
        ]
    );
    assert!(kept.0[..2100].iter().all(|row| code(row) == "unknown-compound"));
    let Err(ambiguous) = &kept.0[2101].answer else { panic!() };
    assert!(ambiguous.candidates.len() > 1);
    let last = kept.0[2108].answer.as_ref().unwrap();
    assert!(last.judgement.excess_check.is_some());
}

#[test]
fn answers_are_written_in_every_format_and_texts_never_run() {
    let folder = tempfile::tempdir().unwrap();
    let library = starter(folder.path());
    let file = table(
        folder.path(),
        "m.csv",
        "id,compound,value,remark\n=1+1,L-proline,-80.90,=A1\nb,nobody,1,-x\n",
    );
    let mut csv: Vec<u8> = Vec::new();
    let mut answers = TableAnswers::new(&mut csv, AnswerFormat::Csv);
    batch(&library, &file, &mut answers);
    answers.finish().unwrap();
    let rows: Vec<csv::StringRecord> = csv::Reader::from_reader(&csv[..])
        .records()
        .collect::<Result<_, _>>()
        .unwrap();
    assert_eq!(rows.len(), 2);
    assert_eq!(rows[0].len(), 4 + COLUMNS.len());
    assert_eq!(&rows[0][0], "'=1+1");
    assert_eq!(&rows[0][2], "-80.90", "a number stays as it was given");
    assert_eq!(&rows[0][3], "'=A1");
    assert_eq!(&rows[1][3], "'-x");
    assert_eq!(&rows[1][2 + COLUMNS.len()], "unknown-compound");

    let mut lines: Vec<u8> = Vec::new();
    let mut answers = JsonAnswers::lines(&mut lines);
    batch(&library, &file, &mut answers);
    answers.finish().unwrap();
    let parsed: Vec<serde_json::Value> = String::from_utf8(lines)
        .unwrap()
        .lines()
        .map(|line| serde_json::from_str(line).unwrap())
        .collect();
    assert_eq!(parsed[0]["id"], "=1+1");
    assert!(parsed[0]["optical_purity"]["bounded95"][1].is_number());
    assert_eq!(parsed[1]["error"]["code"], "unknown-compound");
    assert_eq!(parsed[1]["verdict"], serde_json::Value::Null);

    // The spreadsheet is itself a table that can be checked: new answers take the place of the old.
    let xlsx = folder.path().join("checked.xlsx");
    let mut out = std::fs::File::create(&xlsx).unwrap();
    let mut answers = TableAnswers::new(&mut out, AnswerFormat::Xlsx);
    batch(&library, &file, &mut answers);
    answers.finish().unwrap();
    let mut again: Vec<u8> = Vec::new();
    let mut answers = TableAnswers::new(&mut again, AnswerFormat::Csv);
    let report = batch(&library, &xlsx, &mut answers);
    answers.finish().unwrap();
    assert_eq!((report.rows, report.n_refused()), (2, 1));
    let mut reader = csv::Reader::from_reader(&again[..]);
    assert_eq!(reader.headers().unwrap().len(), 4 + COLUMNS.len());
    let first = reader.records().next().unwrap().unwrap();
    assert_eq!(&first[5], &rows[0][5], "the verdict");
}
