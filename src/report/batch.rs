//! The answers of a batch as tables and JSON, and its summary.

use super::{Column, Page, Table};
use crate::compare::{Cause, ExcessCheck, PooledValue, Verdict};
use crate::exchange::mapping::Assignment;
use crate::exchange::table_out::{self, OutCell, TableOut};
use crate::tasks::batch::{Answers, BatchReport, CheckedRow, RowRefusal};
use serde::Serialize;
use std::io::{self, Write};

/// The columns that are added behind those of the table that was read.
pub const COLUMNS: [&str; 28] = [
    "row",
    "verdict",
    "sentence",
    "compound_number",
    "compound_name",
    "compound_inchikey",
    "specific_rotation",
    "standard_uncertainty",
    "uncertainty_assumed",
    "pooled",
    "pooled_low95",
    "pooled_high95",
    "band_low95",
    "band_high95",
    "ratio",
    "optical_purity",
    "optical_purity_low95",
    "optical_purity_high95",
    "entries_used",
    "independent_sources",
    "hand_tested",
    "excess_agrees",
    "cause",
    "cause_probability",
    "further_causes",
    "doubts",
    "error",
    "reason",
];

/// A format of answers.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum AnswerFormat {
    /// Comma-separated values in UTF-8.
    Csv,
    /// A spreadsheet.
    Xlsx,
    /// One JSON object a line.
    JsonLines,
}

/// Writes a table of answers: the cells as they were given, then [`COLUMNS`].
pub struct TableAnswers<'a> {
    out: Option<&'a mut (dyn Write + Send)>,
    format: AnswerFormat,
    table: Option<Box<dyn TableOut + 'a>>,
    /// Which columns of the table that was read are written again.
    given: Vec<usize>,
}

impl<'a> TableAnswers<'a> {
    /// Begins a table; `format` is one of the two that are tables.
    pub fn new(out: &'a mut (dyn Write + Send), format: AnswerFormat) -> Self {
        Self {
            out: Some(out),
            format,
            table: None,
            given: Vec::new(),
        }
    }

    /// Ends the table.
    ///
    /// # Errors
    /// When the output cannot be written.
    pub fn finish(self) -> io::Result<()> {
        self.table.map_or(Ok(()), TableOut::finish)
    }
}

impl Answers for TableAnswers<'_> {
    fn headings(&mut self, assignment: &Assignment) -> io::Result<()> {
        // The headings of a format without a heading line may grow; what comes later has no place in a table any more.
        let Some(out) = self.out.take() else { return Ok(()) };
        let headings = &assignment.headings;
        // A table of answers that is checked again gets new answers in the place of the old.
        self.given = (0..headings.len())
            .filter(|&at| !COLUMNS.contains(&headings[at].as_str()))
            .collect();
        let names: Vec<&str> = self
            .given
            .iter()
            .map(|&at| headings[at].as_str())
            .chain(COLUMNS)
            .collect();
        self.table = Some(match self.format {
            AnswerFormat::Xlsx => table_out::xlsx(out, "checked", &names)?,
            AnswerFormat::Csv | AnswerFormat::JsonLines => table_out::csv(out, &names)?,
        });
        Ok(())
    }

    fn row(&mut self, row: &CheckedRow) -> io::Result<()> {
        let Some(table) = &mut self.table else { return Ok(()) };
        let given = |&at: &usize| OutCell::Given(row.cells.get(at).map_or("", String::as_str));
        let mut cells: Vec<OutCell<'_>> = self.given.iter().map(given).collect();
        cells.push(OutCell::Count(row.line));
        let reason;
        let doubts;
        let causes;
        let further;
        match &row.answer {
            Err(refusal) => {
                reason = told(refusal);
                cells.resize(self.given.len() + COLUMNS.len() - 2, OutCell::Empty);
                cells.extend([OutCell::Text(refusal.code), OutCell::Text(&reason)]);
            }
            Ok(answer) => {
                doubts = answer.doubts.join(" | ");
                causes = classes(&answer.causes);
                further = further_causes(&causes);
                let judgement = &answer.judgement;
                let number = |value: Option<f64>| value.map_or(OutCell::Empty, OutCell::Number);
                let count = |value: Option<usize>| value.map_or(OutCell::Empty, |n| OutCell::Count(n as u64));
                let pooled = answer.pooled.as_ref();
                let purity = judgement.optical_purity.as_ref();
                let bounded = judgement.bounded_purity();
                cells.extend([
                    OutCell::Text(judgement.verdict.code.as_str()),
                    OutCell::Text(&judgement.verdict.sentence),
                    OutCell::Count(answer.compound.unsigned_abs()),
                    OutCell::Text(&answer.name),
                    OutCell::Text(answer.inchikey.as_deref().unwrap_or_default()),
                    OutCell::Number(answer.value),
                    OutCell::Number(answer.standard_uncertainty),
                    OutCell::Flag(answer.uncertainty_assumed),
                    number(pooled.map(|p| p.value)),
                    number(pooled.map(|p| p.interval95[0])),
                    number(pooled.map(|p| p.interval95[1])),
                    number(judgement.comparison_band.map(|band| band[0])),
                    number(judgement.comparison_band.map(|band| band[1])),
                    number(purity.and_then(|p| p.ratio)),
                    number(bounded.map(|p| p.bounded)),
                    number(bounded.map(|p| p.bounded95[0])),
                    number(bounded.map(|p| p.bounded95[1])),
                    count(pooled.map(|p| p.entries_used)),
                    count(pooled.map(|p| p.independent_sources)),
                    OutCell::Flag(answer.hand_can_be_tested),
                    judgement
                        .excess_check
                        .as_ref()
                        .and_then(|check| check.agreement)
                        .map_or(OutCell::Empty, |agreement| OutCell::Flag(agreement.agrees)),
                    causes.first().map_or(OutCell::Empty, |(codes, _)| OutCell::Text(codes)),
                    number(causes.first().map(|(_, probability)| *probability)),
                    OutCell::Text(&further),
                    OutCell::Text(&doubts),
                    OutCell::Empty,
                    OutCell::Empty,
                ]);
            }
        }
        table.row(&cells)
    }
}

/// Members of a class less probable than this share of it are not named.
const LEAST_MEMBER: f64 = 0.05;

/// The classes of causes: the codes of each, joined by " or ", and its probability.
fn classes(causes: &[Cause]) -> Vec<(String, f64)> {
    causes
        .chunk_by(|a, b| a.class == b.class)
        .map(|members| {
            let total: f64 = members.iter().map(|cause| cause.probability).sum();
            let named = members.iter().filter(|cause| cause.probability >= LEAST_MEMBER * total);
            let codes: Vec<&str> = named.map(|cause| cause.code.as_str()).collect();
            (codes.join(" or "), total)
        })
        .collect()
}

/// The second and third class of causes with their probabilities, where they are not negligible.
fn further_causes(classes: &[(String, f64)]) -> String {
    let further = classes
        .iter()
        .skip(1)
        .take(2)
        .filter(|(_, probability)| *probability >= 0.01);
    let further: Vec<String> = further
        .map(|(codes, probability)| format!("{codes} {probability:.2}"))
        .collect();
    further.join(" | ")
}

/// A refusal in one sentence, with the candidates.
fn told(refusal: &RowRefusal) -> String {
    let mut told = match &refusal.column {
        Some(column) => format!("{column}: {}", refusal.message),
        None => refusal.message.clone(),
    };
    if !refusal.candidates.is_empty() {
        let names: Vec<String> = refusal
            .candidates
            .iter()
            .map(|(number, name)| format!("{name} (#{number})"))
            .collect();
        told = format!("{told}: {}", names.join(", "));
    }
    told
}

/// One answer as JSON; the fields are those of a single check.
#[derive(Serialize)]
struct RowJson<'a> {
    /// Line (row, in a spreadsheet), from 1.
    row: u64,
    /// The person's own name for the sample.
    id: Option<&'a str>,
    compound: Option<CompoundJson<'a>>,
    measured: Option<MeasuredJson>,
    pooled: Option<&'a PooledValue>,
    comparison_band95: Option<[f64; 2]>,
    optical_purity: Option<PurityJson>,
    hand_can_be_tested: Option<bool>,
    excess_check: Option<&'a ExcessCheck>,
    verdict: Option<&'a Verdict>,
    #[serde(skip_serializing_if = "<[Cause]>::is_empty")]
    causes: &'a [Cause],
    doubts: &'a [String],
    error: Option<ErrorJson<'a>>,
}

#[derive(Serialize)]
struct CompoundJson<'a> {
    id: i64,
    name: &'a str,
    inchikey: Option<&'a str>,
}

#[derive(Serialize)]
struct MeasuredJson {
    value: f64,
    standard_uncertainty: f64,
    uncertainty_assumed: bool,
}

#[derive(Serialize)]
struct PurityJson {
    ratio: Option<f64>,
    bounded: Option<f64>,
    bounded95: Option<[f64; 2]>,
    prior_matters: bool,
}

/// Why a row was not checked, in the shape of every error.
#[derive(Serialize)]
struct ErrorJson<'a> {
    code: &'static str,
    message: &'a str,
    #[serde(rename = "where")]
    place: Option<&'a str>,
    candidates: Vec<CandidateJson<'a>>,
}

#[derive(Serialize)]
struct CandidateJson<'a> {
    compound: i64,
    name: &'a str,
}

impl<'a> ErrorJson<'a> {
    fn new(refusal: &'a RowRefusal) -> Self {
        Self {
            code: refusal.code,
            message: &refusal.message,
            place: refusal.column.as_deref(),
            candidates: refusal
                .candidates
                .iter()
                .map(|(compound, name)| CandidateJson {
                    compound: *compound,
                    name,
                })
                .collect(),
        }
    }
}

/// Writes one JSON object an answer, with a text between them.
pub struct JsonAnswers<'a> {
    out: io::BufWriter<&'a mut (dyn Write + Send)>,
    /// What stands before the first object.
    opening: &'static str,
    /// What stands between two objects.
    between: &'static str,
    n_written: u64,
    is_open: bool,
    id: Option<usize>,
}

impl<'a> JsonAnswers<'a> {
    /// Begins JSON Lines.
    pub fn lines(out: &'a mut (dyn Write + Send)) -> Self {
        Self {
            out: io::BufWriter::new(out),
            opening: "",
            between: "\n",
            n_written: 0,
            is_open: false,
            id: None,
        }
    }

    /// Begins a JSON document with the answers as its first member, `{"answers":[…`; nothing is written before the table
    /// is open, and [`JsonAnswers::finish`] closes the array but not the document.
    pub fn document(out: &'a mut (dyn Write + Send)) -> Self {
        Self {
            opening: "{\"answers\":[\n",
            between: ",\n",
            ..Self::lines(out)
        }
    }

    /// Whether anything was written.
    pub const fn is_open(&self) -> bool {
        self.is_open
    }

    fn open(&mut self) -> io::Result<()> {
        if std::mem::replace(&mut self.is_open, true) {
            return Ok(());
        }
        self.out.write_all(self.opening.as_bytes())
    }

    /// Ends the answers.
    ///
    /// # Errors
    /// When the output cannot be written.
    pub fn finish(mut self) -> io::Result<()> {
        if self.n_written > 0 {
            self.out.write_all(b"\n")?;
        }
        if !self.opening.is_empty() {
            self.open()?;
            self.out.write_all(b"]")?;
        }
        self.out.flush()
    }
}

impl Answers for JsonAnswers<'_> {
    fn headings(&mut self, assignment: &Assignment) -> io::Result<()> {
        self.id = assignment.column(crate::exchange::field::Field::SampleId);
        self.open()
    }

    fn row(&mut self, row: &CheckedRow) -> io::Result<()> {
        self.open()?;
        if self.n_written > 0 {
            self.out.write_all(self.between.as_bytes())?;
        }
        self.n_written += 1;
        let id = self.id.and_then(|at| row.cells.get(at)).map(|cell| cell.trim());
        let answer = row.answer.as_ref().ok();
        let judgement = answer.map(|answer| &answer.judgement);
        let json = RowJson {
            row: row.line,
            id: id.map(crate::exchange::cell::unguard_cell).filter(|id| !id.is_empty()),
            compound: answer.map(|answer| CompoundJson {
                id: answer.compound,
                name: &answer.name,
                inchikey: answer.inchikey.as_deref(),
            }),
            measured: answer.map(|answer| MeasuredJson {
                value: answer.value,
                standard_uncertainty: answer.standard_uncertainty,
                uncertainty_assumed: answer.uncertainty_assumed,
            }),
            pooled: answer.and_then(|answer| answer.pooled.as_ref()),
            comparison_band95: judgement.and_then(|j| j.comparison_band),
            optical_purity: judgement.and_then(|j| {
                let (purity, bounded) = (j.optical_purity.as_ref()?, j.bounded_purity());
                Some(PurityJson {
                    ratio: purity.ratio,
                    bounded: bounded.map(|p| p.bounded),
                    bounded95: bounded.map(|p| p.bounded95),
                    prior_matters: purity.prior_matters,
                })
            }),
            hand_can_be_tested: answer.map(|answer| answer.hand_can_be_tested),
            excess_check: judgement.and_then(|j| j.excess_check.as_ref()),
            verdict: judgement.map(|j| &j.verdict),
            causes: answer.map_or(&[], |answer| &answer.causes),
            doubts: answer.map_or(&[], |answer| &answer.doubts),
            error: row.answer.as_ref().err().map(ErrorJson::new),
        };
        Ok(serde_json::to_writer(&mut self.out, &json)?)
    }
}

/// The summary of a batch.
#[derive(Serialize)]
pub struct BatchJson<'a> {
    /// The file of the answers; null for standard output.
    pub output: Option<String>,
    /// Rows read.
    pub rows: u64,
    /// Rows checked.
    pub checked: u64,
    /// Rows that could not be checked.
    pub refused: u64,
    /// Rows by verdict.
    pub verdicts: &'a std::collections::BTreeMap<&'static str, u64>,
    /// Rows that could not be checked, by code.
    pub errors: &'a std::collections::BTreeMap<&'static str, u64>,
    /// The first of them.
    first_errors: Vec<RefusedJson<'a>>,
    /// Compounds and sets of conditions that were pooled.
    pub poolings: u64,
    /// Columns that are not used.
    pub unused_columns: Vec<&'a str>,
}

#[derive(Serialize)]
struct RefusedJson<'a> {
    row: u64,
    error: ErrorJson<'a>,
}

impl<'a> BatchJson<'a> {
    /// Takes a summary into the shape that is printed.
    pub fn new(report: &'a BatchReport, output: Option<String>) -> Self {
        Self {
            output,
            rows: report.rows,
            checked: report.rows - report.n_refused(),
            refused: report.n_refused(),
            verdicts: &report.verdicts,
            errors: &report.refused,
            first_errors: report
                .first_refused
                .iter()
                .map(|(row, refusal)| RefusedJson {
                    row: *row,
                    error: ErrorJson::new(refusal),
                })
                .collect(),
            poolings: report.poolings,
            unused_columns: unused(report),
        }
    }
}

/// Columns of the table that are not used, those of earlier answers aside.
fn unused(report: &BatchReport) -> Vec<&str> {
    let headings = report.assignment.unmapped.iter().map(String::as_str);
    headings.filter(|heading| !COLUMNS.contains(heading)).collect()
}

/// Writes the summary of a batch.
pub fn summary(report: &BatchReport, page: &mut Page) {
    let n = |n: u64, what: &str| format!("{n} {what}{}", if n == 1 { "" } else { "s" });
    page.paragraph(&format!(
        "{} checked against the published values at {} of compound and conditions.",
        n(report.rows - report.n_refused(), "row"),
        n(report.poolings, "set"),
    ));
    if !report.verdicts.is_empty() {
        let mut table = Table::new(&[Column::Word("verdict"), Column::Number("rows"), Column::Number("%")]);
        for code in crate::compare::VerdictCode::ALL {
            if let Some(&rows) = report.verdicts.get(code.as_str()) {
                let checked = report.rows - report.n_refused();
                table.row([
                    code.as_str().to_owned(),
                    rows.to_string(),
                    format!("{:.1}", 100.0 * rows as f64 / checked as f64),
                ]);
            }
        }
        page.gap();
        page.table(&table);
        page.gap();
    }
    if report.n_refused() > 0 {
        page.paragraph(&format!(
            "{} could not be checked; the columns error and reason say why. The first:",
            n(report.n_refused(), "row")
        ));
        for (line, refusal) in report.first_refused.iter().take(5) {
            page.point(&format!("row {line}: {}", told(refusal)));
        }
    }
    let unused = unused(report);
    if !unused.is_empty() {
        page.note(&format!("Columns not used: {}.", unused.join(", ")));
    }
}
