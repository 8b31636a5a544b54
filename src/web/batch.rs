//! A table of measured values: sent, checked row by row, and given back as a page or a file.

use super::app::App;
use super::fields::field;
use super::guard::Visitor;
use super::sent::{Table, sent};
use super::use_log::{SHEET, attachment};
use super::views::{Frame, Grid, Problem, html, status};
use crate::compare::{Conditions, VerdictCode};
use crate::exchange::mapping::Assignment;
use crate::library::Library;
use crate::quantity;
use crate::report::batch::{AnswerFormat, BatchJson, JsonAnswers, TableAnswers};
use crate::report::failure::Failure;
use crate::report::{number, result};
use crate::tasks::batch::{Answers, BatchReport, BatchRequest, CheckedRow, check_batch};
use crate::tasks::check::CheckSettings;
use crate::tasks::typed;
use askama::Template;
use axum::Extension;
use axum::body::Body;
use axum::extract::State;
use axum::http::{HeaderMap, StatusCode};
use axum::response::Response;
use axum::routing::get;
use serde::Deserialize;
use std::io;
use std::sync::Arc;

/// Rows that the page shows.
const MOST_SHOWN: usize = 200;
/// Threads of one table, so that others get their answers too.
const THREADS: usize = 2;

/// The routes of this part.
pub(super) fn routes() -> axum::Router<Arc<App>> {
    axum::Router::new().route("/batch", get(form).post(run))
}

/// What is asked beside the table.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
struct BatchFields {
    rows: String,
    compound: String,
    solvent: String,
    temp: String,
    line: String,
    answer: String,
}

#[derive(Template, Default)]
#[template(path = "batch.html", config = "src/web/askama.toml")]
struct BatchPage {
    frame: Frame,
    fields: BatchFields,
    problem: Option<Problem>,
    name: String,
    sentence: String,
    verdicts: Grid,
    rows: Vec<AnsweredRow>,
    hidden: u64,
    unused: String,
}

/// A row with its answer.
#[derive(Clone, Debug, Default)]
struct AnsweredRow {
    line: u64,
    cells: String,
    tone: &'static str,
    verdict: String,
    compound: i64,
    name: String,
    value: String,
    expected: String,
    sentence: String,
}

/// Takes the first answers for the page.
struct Shown {
    rows: Vec<AnsweredRow>,
}

impl Answers for Shown {
    fn headings(&mut self, _assignment: &Assignment) -> io::Result<()> {
        Ok(())
    }

    fn row(&mut self, row: &CheckedRow) -> io::Result<()> {
        if self.rows.len() < MOST_SHOWN {
            self.rows.push(answered(row));
        }
        Ok(())
    }
}

fn answered(row: &CheckedRow) -> AnsweredRow {
    let shown = AnsweredRow {
        line: row.line,
        cells: row.cells.join(" · "),
        ..AnsweredRow::default()
    };
    match &row.answer {
        Ok(answer) => {
            let verdict = &answer.judgement.verdict;
            AnsweredRow {
                tone: result::tone(verdict.code),
                verdict: verdict.code.as_str().to_owned(),
                compound: answer.compound,
                name: answer.name.clone(),
                value: number::signed_with_uncertainty(answer.value, answer.standard_uncertainty),
                expected: (answer.pooled.as_ref())
                    .map(|pooled| number::signed_with_uncertainty(pooled.value, pooled.standard_uncertainty))
                    .unwrap_or_default(),
                sentence: verdict.sentence.clone(),
                ..shown
            }
        }
        Err(refusal) => AnsweredRow {
            tone: "warn",
            verdict: "not checked".to_owned(),
            sentence: match refusal.candidates.len() {
                0 => refusal.message.clone(),
                _ => format!(
                    "{}: {}",
                    refusal.message,
                    (refusal.candidates.iter())
                        .map(|(id, name)| format!("{name} ({id})"))
                        .collect::<Vec<_>>()
                        .join("; ")
                ),
            },
            ..shown
        },
    }
}

/// `GET /batch`
async fn form(State(app): State<Arc<App>>, Extension(visitor): Extension<Visitor>) -> Response {
    let page = BatchPage {
        frame: frame(&app, &visitor),
        ..BatchPage::default()
    };
    html(StatusCode::OK, &page)
}

fn frame(app: &App, visitor: &Visitor) -> Frame {
    Frame::new(app, visitor, "Check a table of values", "/batch")
}

/// What a table came to.
enum Answered {
    Page(Box<BatchReport>, Vec<AnsweredRow>, String),
    File(Vec<u8>),
}

/// `POST /batch`
async fn run(
    State(app): State<Arc<App>>,
    Extension(visitor): Extension<Visitor>,
    headers: HeaderMap,
    body: Body,
) -> Response {
    let problem = |fields: BatchFields, failure: &Failure| {
        let page = BatchPage {
            frame: frame(&app, &visitor),
            problem: Some(Problem::new(failure, |one| format!("/compounds/{}", one.compound))),
            fields,
            ..BatchPage::default()
        };
        html(status(failure), &page)
    };
    let (fields, file) = match sent::<BatchFields>(&app, &headers, body).await {
        Ok(sent) => sent,
        Err(failure) => return problem(BatchFields::default(), &failure),
    };
    let table = match Table::of(file, &fields.rows) {
        Ok(Some(table)) => table,
        Ok(None) => {
            let failure = Failure::usage("no-rows", "there is no table").hint("choose a file, or paste its rows");
            return problem(fields, &failure);
        }
        Err(failure) => return problem(fields, &failure),
    };
    let asked = fields.clone();
    let answer = app
        .read(move |library| {
            asked
                .checked(library, &table)
                .map_err(|failure| table.in_words(failure))
        })
        .await;
    match answer {
        Ok(Answered::Page(report, rows, name)) => {
            let page = BatchPage {
                frame: frame(&app, &visitor),
                fields,
                ..shown(&report, rows, name)
            };
            html(StatusCode::OK, &page)
        }
        Ok(Answered::File(bytes)) => match format(&fields.answer) {
            Some(AnswerFormat::Xlsx) => attachment("checked.xlsx", SHEET, bytes),
            Some(AnswerFormat::JsonLines) => attachment("checked.jsonl", "application/x-ndjson", bytes),
            _ => attachment("checked.csv", "text/csv; charset=utf-8", bytes),
        },
        Err(failure) => problem(fields, &failure),
    }
}

fn format(word: &str) -> Option<AnswerFormat> {
    match word {
        "csv" => Some(AnswerFormat::Csv),
        "xlsx" => Some(AnswerFormat::Xlsx),
        "jsonl" => Some(AnswerFormat::JsonLines),
        _ => None,
    }
}

impl BatchFields {
    fn request(&self, table: &Table) -> Result<BatchRequest, Failure> {
        Ok(BatchRequest {
            file: table.path().to_owned(),
            compound: Some(self.compound.trim().to_owned()).filter(|text| !text.is_empty()),
            conditions: Conditions {
                temperature: field("temp", &self.temp, quantity::parse_temperature)?,
                line: field("line", &self.line, quantity::parse_line)?,
                solvent: field("solvent", &self.solvent, typed::solvent)?,
                ..Conditions::default()
            },
            threads: THREADS,
            ..BatchRequest::default()
        })
    }

    fn checked(&self, library: &Library, table: &Table) -> Result<Answered, Failure> {
        let request = self.request(table)?;
        let settings = CheckSettings::default();
        let run = |answers: &mut dyn Answers| check_batch(library, &request, &settings, answers, &mut |_| {});
        let Some(format) = format(&self.answer) else {
            let mut shown = Shown { rows: Vec::new() };
            let report = run(&mut shown)?;
            return Ok(Answered::Page(Box::new(report), shown.rows, table.name().to_owned()));
        };
        let mut bytes = Vec::new();
        if matches!(format, AnswerFormat::JsonLines) {
            let mut answers = JsonAnswers::lines(&mut bytes);
            run(&mut answers)?;
            answers.finish()?;
        } else {
            let mut answers = TableAnswers::new(&mut bytes, format);
            run(&mut answers)?;
            answers.finish()?;
        }
        Ok(Answered::File(bytes))
    }
}

fn shown(report: &BatchReport, rows: Vec<AnsweredRow>, name: String) -> BatchPage {
    let told = BatchJson::new(report, None);
    BatchPage {
        sentence: format!(
            "{} of {} rows were checked{}.",
            told.checked,
            told.rows,
            match told.refused {
                0 => String::new(),
                n => format!("; {n} could not be"),
            }
        ),
        verdicts: Grid {
            caption: "Rows by verdict".to_owned(),
            heads: vec!["verdict", "rows"],
            rows: VerdictCode::ALL
                .iter()
                .filter_map(|code| {
                    let rows = told.verdicts.get(code.as_str())?;
                    Some(vec![code.as_str().to_owned(), rows.to_string()])
                })
                .collect(),
        },
        hidden: told.rows.saturating_sub(rows.len() as u64),
        unused: told.unused_columns.join(", "),
        name,
        rows,
        ..BatchPage::default()
    }
}
