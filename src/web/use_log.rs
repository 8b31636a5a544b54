//! Who used which instrument, and when: the page and the file.

use super::app::App;
use super::check::percent_encoded;
use super::guard::Visitor;
use super::views::{Frame, Grid, Link, PageFailure, html};
use crate::exchange::table_out;
use crate::library::EquipmentKind;
use crate::report::failure::Failure;
use crate::report::number;
use crate::tasks::register;
use crate::tasks::use_log::{self, LogFilter, LogLine, Use};
use askama::Template;
use axum::Extension;
use axum::extract::{Query, State};
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Response};
use axum::routing::get;
use serde::Deserialize;
use std::sync::Arc;

/// Lines that the page lists.
const MOST_LINES: usize = 200;

/// The routes of this part.
pub(super) fn routes() -> axum::Router<Arc<App>> {
    axum::Router::new()
        .route("/log", get(page))
        .route("/log.csv", get(csv))
        .route("/log.xlsx", get(xlsx))
}

/// Which lines are wanted.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
struct LogFields {
    since: String,
    until: String,
    operator: String,
    instrument: String,
}

#[derive(Template, Default)]
#[template(path = "log.html", config = "src/web/askama.toml")]
struct LogPage {
    frame: Frame,
    fields: LogFields,
    instruments: Vec<String>,
    months: Grid,
    lines: Grid,
    n_lines: usize,
    query: String,
}

impl LogFields {
    fn filter(&self) -> Result<LogFilter, Failure> {
        let text = |text: &str| Some(text.trim().to_owned()).filter(|text| !text.is_empty());
        let date = |name: &'static str, given: &str| match text(given) {
            None => Ok(None),
            Some(given) => register::parse_date(&given)
                .map(|day| Some(register::date(day)))
                .ok_or_else(|| {
                    Failure::usage("field", format!("{name}: \"{given}\" is no date")).hint("write it YYYY-MM-DD")
                }),
        };
        Ok(LogFilter {
            since: date("since", &self.since)?,
            until: date("until", &self.until)?,
            operator: text(&self.operator),
            instrument: text(&self.instrument),
        })
    }

    fn query(&self) -> String {
        [
            ("since", &self.since),
            ("until", &self.until),
            ("operator", &self.operator),
            ("instrument", &self.instrument),
        ]
        .iter()
        .filter(|(_, text)| !text.is_empty())
        .map(|(name, text)| format!("{name}={}", percent_encoded(text)))
        .collect::<Vec<_>>()
        .join("&")
    }
}

/// The log of one instrument.
pub(super) fn link(instrument: &str) -> Link {
    Link {
        to: format!("/log?instrument={}", percent_encoded(instrument)),
        words: format!("Use log of {instrument}"),
    }
}

/// Lines as a table.
pub(super) fn grid(lines: &[LogLine], caption: &str) -> Grid {
    Grid {
        caption: caption.to_owned(),
        heads: vec!["on", "by", "use", "instrument", "cell", "sample or standard", "result"],
        rows: lines
            .iter()
            .map(|line| {
                let (what, result) = match line.what {
                    Use::Measurement => (
                        format!("measurement {}", line.number),
                        line.value.map(|value| format!("[α] {}", number::signed(value, 2))),
                    ),
                    Use::Check => (
                        format!("check {}", line.number),
                        line.value.map(|value| format!("{}° off", number::signed(value, 4))),
                    ),
                };
                vec![
                    line.at.get(..16).unwrap_or(&line.at).replace('T', " "),
                    line.operator.clone(),
                    what,
                    line.instrument.clone().unwrap_or_default(),
                    line.cell.clone().unwrap_or_default(),
                    line.sample.clone(),
                    result.unwrap_or_default(),
                ]
            })
            .collect(),
    }
}

/// `GET /log`
async fn page(
    State(app): State<Arc<App>>,
    Extension(visitor): Extension<Visitor>,
    Query(fields): Query<LogFields>,
) -> Result<Response, PageFailure> {
    let filter = fields.filter()?;
    let (mut lines, instruments) = app
        .read(move |library| {
            let instruments = register::list(library, Some(EquipmentKind::Instrument), true)?;
            Ok((use_log::lines(library, &filter)?, instruments))
        })
        .await?;
    let months = use_log::by_month(&lines);
    let n_lines = lines.len();
    lines.reverse();
    lines.truncate(MOST_LINES);
    let page = LogPage {
        frame: Frame::new(&app, &visitor, "Use log", "/instruments"),
        months: Grid {
            caption: "By month, person and instrument".to_owned(),
            heads: vec!["month", "by", "instrument", "measurements", "checks"],
            rows: months
                .into_iter()
                .rev()
                .map(|it| {
                    vec![
                        it.month,
                        it.operator,
                        it.instrument.unwrap_or_else(|| "none named".to_owned()),
                        it.measurements.to_string(),
                        it.checks.to_string(),
                    ]
                })
                .collect(),
        },
        lines: grid(&lines, "Uses, the newest first"),
        n_lines,
        instruments: instruments.into_iter().map(|it| it.equipment.name).collect(),
        query: fields.query(),
        fields,
    };
    Ok(html(StatusCode::OK, &page))
}

/// `GET /log.csv`
async fn csv(State(app): State<Arc<App>>, Query(fields): Query<LogFields>) -> Result<Response, PageFailure> {
    file(app, &fields, false).await
}

/// `GET /log.xlsx`
async fn xlsx(State(app): State<Arc<App>>, Query(fields): Query<LogFields>) -> Result<Response, PageFailure> {
    file(app, &fields, true).await
}

async fn file(app: Arc<App>, fields: &LogFields, is_sheet: bool) -> Result<Response, PageFailure> {
    let filter = fields.filter()?;
    let bytes = app
        .read(move |library| {
            let lines = use_log::lines(library, &filter)?;
            let mut bytes = std::io::Cursor::new(Vec::new());
            let table = if is_sheet {
                table_out::xlsx(&mut bytes, "use log", &use_log::HEADINGS)
            } else {
                table_out::csv(&mut bytes, &use_log::HEADINGS)
            };
            table.and_then(|table| use_log::write(&lines, table))?;
            Ok(bytes.into_inner())
        })
        .await?;
    Ok(if is_sheet {
        attachment("use-log.xlsx", SHEET, bytes)
    } else {
        attachment("use-log.csv", "text/csv; charset=utf-8", bytes)
    })
}

/// The type of a spreadsheet.
pub(super) const SHEET: &str = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet";

/// A file to be kept by the browser. The name is our own.
pub(super) fn attachment(name: &'static str, kind: &'static str, bytes: Vec<u8>) -> Response {
    let headers = [
        (header::CONTENT_TYPE, kind.to_owned()),
        (header::CONTENT_DISPOSITION, format!("attachment; filename=\"{name}\"")),
    ];
    (StatusCode::OK, headers, bytes).into_response()
}
