//! Measurements that were kept, with their readings.

use super::app::App;
use super::check;
use super::guard::Visitor;
use super::plots;
use super::views::{FlagRow, Frame, Link, PageFailure, Plot, html};
use crate::library::MeasurementFilter;
use crate::report::failure::Failure;
use crate::report::{measurements as words, number};
use crate::tasks::measurements::{self, ListedMeasurement};
use crate::tasks::report as reports;
use askama::Template;
use axum::Extension;
use axum::extract::{Path, Query, State};
use axum::http::StatusCode;
use axum::response::Response;
use axum::routing::get;
use serde::Deserialize;
use std::sync::Arc;

/// Most measurements, and kept checks, that are listed.
const MOST_LISTED: u32 = 200;

/// The routes of this part.
pub(super) fn routes() -> axum::Router<Arc<App>> {
    axum::Router::new()
        .route("/measurements", get(list))
        .route("/measurements/{id}", get(one))
        .route("/measurements/{id}/check", get(check::of_measurement))
}

/// Which are wanted.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
struct Wanted {
    sample: String,
    operator: String,
}

#[derive(Template, Default)]
#[template(path = "measurements.html", config = "src/web/askama.toml")]
struct MeasurementsPage {
    frame: Frame,
    fields: Wanted,
    listed: Vec<MeasurementRow>,
    checks: Vec<CheckRow>,
}

/// A kept check in the list.
#[derive(Clone, Debug, Default)]
struct CheckRow {
    name: String,
    at: String,
    by: String,
    compound: String,
    verdict: String,
    reports: Vec<Link>,
}

/// A measurement in the list.
#[derive(Clone, Debug, Default)]
struct MeasurementRow {
    id: i64,
    at: String,
    sample: String,
    compound: String,
    value: String,
    by: String,
    instrument: String,
    notes: String,
}

#[derive(Template, Default)]
#[template(path = "measurement.html", config = "src/web/askama.toml")]
struct MeasurementPage {
    frame: Frame,
    id: i64,
    value: String,
    journal: String,
    facts: Vec<(&'static str, String)>,
    cautions: Vec<String>,
    flags: Vec<FlagRow>,
    plot: Plot,
    check: String,
    /// Whether it is filed under a compound.
    compound: bool,
    reports: Vec<Link>,
}

fn value(it: &ListedMeasurement) -> String {
    number::signed_with_uncertainty(it.value, it.standard_uncertainty)
}

/// `GET /measurements`
async fn list(
    State(app): State<Arc<App>>,
    Extension(visitor): Extension<Visitor>,
    Query(fields): Query<Wanted>,
) -> Result<Response, PageFailure> {
    let text = |text: &str| Some(text.trim().to_owned()).filter(|text| !text.is_empty());
    let filter = MeasurementFilter {
        sample: text(&fields.sample),
        operator: text(&fields.operator),
        with_superseded: true,
        most: Some(MOST_LISTED),
        ..MeasurementFilter::default()
    };
    let (listed, checks) = app
        .read(move |library| {
            Ok((
                measurements::list(library, &filter)?,
                reports::list(library, MOST_LISTED)?,
            ))
        })
        .await?;
    let page = MeasurementsPage {
        frame: Frame::new(&app, &visitor, "Measurements", "/measurements"),
        fields,
        listed: listed
            .into_iter()
            .map(|it| MeasurementRow {
                id: it.measurement,
                at: it.at.get(..10).unwrap_or(&it.at).to_owned(),
                value: value(&it),
                sample: it.sample,
                compound: it.compound.unwrap_or_default(),
                by: it.operator,
                instrument: it.instrument.unwrap_or_default(),
                notes: match (it.superseded_by, it.n_warnings) {
                    (Some(by), _) => format!("superseded by {by}"),
                    (None, 0) => String::new(),
                    (None, 1) => "1 warning".to_owned(),
                    (None, n) => format!("{n} warnings"),
                },
            })
            .collect(),
        checks: (checks.into_iter())
            .map(|kept| CheckRow {
                reports: check::report_links("kept", &format!("?name={}", check::percent_encoded(&kept.name))),
                at: kept.at.get(..10).unwrap_or(&kept.at).to_owned(),
                name: kept.name,
                by: kept.who,
                compound: kept.compound,
                verdict: kept.verdict,
            })
            .collect(),
    };
    Ok(html(StatusCode::OK, &page))
}

/// `GET /measurements/{id}`
async fn one(
    State(app): State<Arc<App>>,
    Extension(visitor): Extension<Visitor>,
    Path(id): Path<String>,
) -> Result<Response, PageFailure> {
    let number: i64 = id.parse().map_err(|_| {
        Failure::usage("unknown-record", format!("there is no measurement {id}")).hint("they are named by their number")
    })?;
    let (shown, readings, cautions) = app
        .read(move |library| {
            Ok((
                measurements::show(library, number)?,
                library.readings_of(number)?,
                measurements::cautions(library, number)?,
            ))
        })
        .await?;
    let it = &shown.listed;
    let text = |key: &str| shown.result[key].as_str().map(str::to_owned);
    let flags: Vec<FlagRow> = (shown.result["flags"].as_array().into_iter().flatten())
        .map(|flag| {
            let text = |key: &str| flag[key].as_str().unwrap_or_default().to_owned();
            FlagRow {
                severity: text("severity"),
                code: text("code"),
                sentence: text("sentence"),
            }
        })
        .collect();
    let mut facts = Vec::new();
    let mut fact = |name, text: Option<String>| facts.extend(text.map(|text| (name, text)));
    fact("Sample", Some(it.sample.clone()));
    fact("Compound", it.compound.clone());
    fact(
        "Conditions",
        Some(words::conditions(&shown.result["conditions"])).filter(|text| !text.is_empty()),
    );
    fact("Instrument", it.instrument.clone());
    fact("Cell", it.cell.clone());
    fact(
        "Read by",
        Some(format!("{}, kept {}", it.operator, words::moment(&it.at))),
    );
    fact("Supersedes", it.supersedes.map(|old| format!("measurement {old}")));
    let page = MeasurementPage {
        frame: Frame::new(&app, &visitor, format!("Measurement {number}"), "/measurements"),
        id: number,
        value: value(it),
        journal: text("journal").unwrap_or_default(),
        facts,
        cautions,
        flags,
        plot: plots::readings("readings", &it.sample, &readings),
        check: format!("/measurements/{number}/check"),
        compound: it.compound.is_some(),
        reports: check::report_links(&format!("measurement/{number}"), ""),
    };
    Ok(html(StatusCode::OK, &page))
}
