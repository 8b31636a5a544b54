//! Is the instrument right today? Instruments with their control charts, the checks their keeper enters, and what is due.

use super::app::App;
use super::fields::{field, form};
use super::guard::Visitor;
use super::plots;
use super::use_log;
use super::views::{Frame, Grid, Link, PageFailure, Plot, Problem, html, status};
use crate::library::{Equipment, EquipmentKind, Library, LibraryError};
use crate::quantity;
use crate::report::failure::Failure;
use crate::report::options::in_page_words;
use crate::report::{self, register as words};
use crate::tasks::accounts::Act;
use crate::tasks::control::{self, CheckMade, ControlState, ReadingOfStandard};
use crate::tasks::reduce::typed_angles;
use crate::tasks::register;
use crate::tasks::use_log::LogFilter;
use askama::Template;
use axum::Extension;
use axum::body::Body;
use axum::extract::{Path, Query, State};
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Response};
use axum::routing::{get, post};
use serde::Deserialize;
use std::sync::Arc;
use time::OffsetDateTime;

/// Uses that the page of an instrument lists.
const MOST_USES: usize = 30;

/// The routes of this part.
pub(super) fn routes() -> axum::Router<Arc<App>> {
    axum::Router::new()
        .route("/instruments", get(list))
        .route("/instruments/{id}", get(one))
        .route("/instruments/{id}/checks", post(check))
        .route("/instruments/{id}/strike", post(strike))
}

/// An instrument in the list.
#[derive(Clone, Debug, Default)]
struct InstrumentRow {
    id: i64,
    name: String,
    tone: &'static str,
    state: String,
    fields: String,
}

#[derive(Template, Default)]
#[template(path = "instruments.html", config = "src/web/askama.toml")]
struct InstrumentsPage {
    frame: Frame,
    instruments: Vec<InstrumentRow>,
    due: Grid,
    others: Vec<OtherRow>,
    is_all: bool,
}

/// What else is registered.
#[derive(Clone, Debug, Default)]
struct OtherRow {
    id: i64,
    kind: &'static str,
    name: String,
    fields: String,
    standing: String,
}

/// What a list is asked for.
#[derive(Deserialize, Default)]
#[serde(default)]
struct ListFields {
    all: String,
}

#[derive(Template, Default)]
#[template(path = "instrument.html", config = "src/web/askama.toml")]
struct InstrumentPage {
    frame: Frame,
    /// Whether checks may be struck out.
    may_keep: bool,
    id: i64,
    name: String,
    fields: String,
    tone: &'static str,
    state: String,
    problem: Option<Problem>,
    /// What a check came to.
    made: Vec<String>,
    made_facts: Vec<(&'static str, String)>,
    charts: Vec<ChartShown>,
    standards: Vec<String>,
    check: CheckOfStandard,
    who: String,
    uses: Grid,
    log: Link,
}

/// A control chart.
#[derive(Clone, Debug, Default)]
struct ChartShown {
    standard: String,
    sentence: String,
    alarms: Vec<String>,
    plot: Plot,
}

/// A check that is entered, or struck out.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
struct CheckOfStandard {
    token: String,
    standard: String,
    readings: String,
    blank: String,
    temp: String,
    line: String,
    cell: String,
    by: String,
    why: String,
    check: String,
    dry_run: String,
}

fn state_words(state: &ControlState, name: &str) -> (&'static str, String) {
    match state {
        ControlState::InControl { checked } => ("good", format!("In control at its check of {checked}.")),
        ControlState::OutOfControl { .. } => ("bad", state.caution(name).unwrap_or_default()),
        ControlState::Warning { .. } | ControlState::Overdue { .. } | ControlState::NeverChecked => {
            ("warn", state.caution(name).unwrap_or_default())
        }
    }
}

/// `GET /instruments`
async fn list(
    State(app): State<Arc<App>>,
    Extension(visitor): Extension<Visitor>,
    Query(fields): Query<ListFields>,
) -> Result<Response, PageFailure> {
    let is_all = !fields.all.is_empty();
    let mut page = app
        .read(move |library| {
            let now = OffsetDateTime::now_utc();
            let mut page = InstrumentsPage {
                is_all,
                ..InstrumentsPage::default()
            };
            for listed in register::list(library, None, is_all)? {
                let it = &listed.equipment;
                if it.kind == EquipmentKind::Instrument && it.retired_at.is_none() {
                    let (tone, state) = state_words(&control::state_at(library, it.id, now)?, &it.name);
                    page.instruments.push(InstrumentRow {
                        id: it.id,
                        name: it.name.clone(),
                        tone,
                        state,
                        fields: words::fields(it),
                    });
                } else {
                    let standing = match (&it.retired_at, &listed.loan) {
                        (Some(at), _) => format!("out of use since {}", at.get(..10).unwrap_or(at)),
                        (None, Some(loan)) => format!("lent {}", words::lent(loan)),
                        (None, None) => String::new(),
                    };
                    page.others.push(OtherRow {
                        id: it.id,
                        kind: it.kind.as_str(),
                        name: it.name.clone(),
                        fields: words::fields(it),
                        standing,
                    });
                }
            }
            page.due = Grid {
                caption: "What has a date, the soonest first".to_owned(),
                heads: vec!["on", "kind", "name", "what", "standing"],
                rows: control::due(library, now.date())?
                    .into_iter()
                    .map(|due| {
                        vec![
                            due.due_on.unwrap_or_else(|| "never done".to_owned()),
                            due.kind.to_string(),
                            due.name,
                            due.what,
                            if due.overdue { "overdue" } else { "in time" }.to_owned(),
                        ]
                    })
                    .collect(),
            };
            Ok(page)
        })
        .await?;
    page.frame = Frame::new(&app, &visitor, "Instruments", "/instruments").only(&visitor, Act::KeepInstruments);
    Ok(html(StatusCode::OK, &page))
}

fn instrument(library: &Library, id: &str) -> Result<Equipment, Failure> {
    let unknown = || Failure::usage("unknown-record", format!("there is no instrument {id}"));
    let number = id.parse().map_err(|_| unknown())?;
    let found = library.equipment_by_id(number)?;
    if found.kind == EquipmentKind::Instrument {
        Ok(found)
    } else {
        Err(unknown())
    }
}

/// `GET /instruments/{id}`
async fn one(
    State(app): State<Arc<App>>,
    Extension(visitor): Extension<Visitor>,
    Path(id): Path<String>,
) -> Result<Response, PageFailure> {
    let page = app.read(move |library| instrument_page(library, &id)).await?;
    Ok(html(StatusCode::OK, &framed(&app, &visitor, page)))
}

fn framed(app: &App, visitor: &Visitor, page: InstrumentPage) -> InstrumentPage {
    InstrumentPage {
        frame: Frame::new(app, visitor, page.name.clone(), "/instruments"),
        may_keep: visitor.may(Act::KeepInstruments),
        who: if page.check.by.is_empty() {
            app.who(visitor).to_owned()
        } else {
            page.check.by.clone()
        },
        ..page
    }
}

fn instrument_page(library: &Library, id: &str) -> Result<InstrumentPage, Failure> {
    let it = instrument(library, id)?;
    let (tone, state) = state_words(&control::state_at(library, it.id, OffsetDateTime::now_utc())?, &it.name);
    let mut charts = Vec::new();
    let mut standards = Vec::new();
    for listed in register::list(library, Some(EquipmentKind::Standard), true)? {
        let standard = listed.equipment;
        if standard.retired_at.is_none() {
            standards.push(standard.name.clone());
        }
        let chart = control::chart_of(library, &it.name, &standard.name)?;
        if !chart.checks.is_empty() {
            charts.push(chart_shown(&format!("chart-{}", standard.id), &chart));
        }
    }
    let filter = LogFilter {
        instrument: Some(it.name.clone()),
        ..LogFilter::default()
    };
    let mut lines = crate::tasks::use_log::lines(library, &filter)?;
    lines.reverse();
    lines.truncate(MOST_USES);
    Ok(InstrumentPage {
        id: it.id,
        fields: words::fields(&it),
        tone,
        state,
        charts,
        standards,
        uses: use_log::grid(&lines, "The newest uses"),
        log: use_log::link(&it.name),
        name: it.name,
        ..InstrumentPage::default()
    })
}

fn chart_shown(id: &str, chart: &control::ControlChart) -> ChartShown {
    let sentence = format!("{}.", report::control::limits(&chart.chart));
    ChartShown {
        standard: chart.standard.name.clone(),
        sentence,
        alarms: (chart.checks.iter().enumerate())
            .filter(|(at, _)| !chart.rules_at(*at).is_empty())
            .map(|(at, (row, _))| {
                let day = row.at.get(..10).unwrap_or(&row.at);
                format!("Check {} of {day}: {}.", row.id, report::control::remark(chart, at))
            })
            .collect(),
        plot: plots::control(id, chart),
    }
}

fn reading(name: &str, given: &CheckOfStandard) -> Result<ReadingOfStandard, Failure> {
    let angles = |name: &'static str, text: &str| {
        if text.trim().is_empty() {
            return Ok(Vec::new());
        }
        typed_angles(text).ok_or_else(|| {
            Failure::usage("field", format!("{name}: it holds more than angles"))
                .hint("type one angle a line, in degrees")
        })
    };
    Ok(ReadingOfStandard {
        instrument: name.to_owned(),
        standard: given.standard.trim().to_owned(),
        readings: angles("readings", &given.readings)?,
        blank: angles("blank", &given.blank)?,
        line: field("line", &given.line, quantity::parse_line)?,
        temperature: field("temp", &given.temp, quantity::parse_temperature)?,
        cell: field("cell", &given.cell, quantity::parse_length)?,
        at: None,
    })
}

/// `POST /instruments/{id}/checks`: a check against a standard, kept or only shown.
async fn check(
    State(app): State<Arc<App>>,
    Extension(visitor): Extension<Visitor>,
    Path(id): Path<String>,
    body: Body,
) -> Result<Response, PageFailure> {
    let given: CheckOfStandard = form(body).await?;
    visitor.may_write(&given.token)?;
    let change = app.change(&visitor, &given.by, &given.why);
    let (asked, name) = (given.clone(), id.clone());
    let is_kept = given.dry_run.is_empty();
    let outcome = app
        .write(move |library| {
            let it = instrument(library, &name)?;
            let read = reading(&it.name, &asked)?;
            Ok(control::check(library, &read, is_kept, &change)?)
        })
        .await;
    let page = app.read(move |library| instrument_page(library, &id)).await?;
    Ok(match outcome {
        Ok(made) => {
            let page = InstrumentPage {
                made: made_sentences(&made),
                made_facts: made_facts(&made),
                check: if is_kept { CheckOfStandard::default() } else { given },
                ..page
            };
            html(StatusCode::OK, &framed(&app, &visitor, page))
        }
        Err(failure) => {
            let page = InstrumentPage {
                problem: Some(Problem::new(&failure, |_| String::new())),
                check: given,
                ..page
            };
            html(status(&failure), &framed(&app, &visitor, page))
        }
    })
}

fn made_sentences(made: &CheckMade) -> Vec<String> {
    let mut said = vec![in_page_words(&report::control::verdict(made))];
    said.extend(report::control::alarms(made));
    said.push(match made.id {
        Some(id) => format!("Kept as check {id}."),
        None => "Not kept.".to_owned(),
    });
    said.push(made.tests.to_owned());
    said
}

fn made_facts(made: &CheckMade) -> Vec<(&'static str, String)> {
    let headed = |label| match label {
        "found" => "Found",
        "expected" => "Expected",
        "difference" => "Difference",
        other => other,
    };
    let facts = report::control::facts(made).into_iter();
    facts.map(|(label, text)| (headed(label), text)).collect()
}

/// `POST /instruments/{id}/strike`: strikes a check out; the history keeps it.
async fn strike(
    State(app): State<Arc<App>>,
    Extension(visitor): Extension<Visitor>,
    Path(id): Path<String>,
    body: Body,
) -> Result<Response, PageFailure> {
    let given: CheckOfStandard = form(body).await?;
    visitor.may_write(&given.token)?;
    let number: i64 = (given.check.trim().trim_start_matches('#').parse())
        .map_err(|_| Failure::usage("field", "check: it is named by its number"))?;
    let change = app.change(&visitor, &given.by, &given.why);
    let name = id.clone();
    app.write(move |library| {
        let it = instrument(library, &name)?;
        let is_own = (library.control_checks(Some(it.id), None)?.iter()).any(|row| row.id == number);
        if !is_own {
            return Err(LibraryError::Refused(format!("{} has no check {number}", it.name)).into());
        }
        Ok(library.strike_control_check(number, &change)?)
    })
    .await?;
    let to = format!("/instruments/{id}");
    Ok((StatusCode::SEE_OTHER, [(header::LOCATION, to)]).into_response())
}
