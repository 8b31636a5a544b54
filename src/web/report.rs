//! Reports of checks and measurements as files. A page among them allows its one stylesheet by its hash.

use super::app::App;
use super::check::{request, typed_temperature};
use super::fields::CheckFields;
use super::views::PageFailure;
use crate::library::Library;
use crate::report::document::{self, Document, Form};
use crate::report::failure::Failure;
use crate::tasks::check::CheckSettings;
use crate::tasks::measurements;
use crate::tasks::register::date;
use crate::tasks::report::{CheckQuestion, Labels, changes_since, of_check, of_measurement};
use axum::Router;
use axum::extract::rejection::QueryRejection;
use axum::extract::{Path, Query, State};
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Response};
use axum::routing::get;
use serde::Deserialize;
use std::sync::Arc;

/// The routes of this module.
pub(super) fn routes() -> Router<Arc<App>> {
    Router::new()
        .route("/report/check/{file}", get(check))
        .route("/report/kept/{file}", get(kept))
        .route("/report/measurement/{id}/{file}", get(measurement))
}

/// `GET /report/check/report.html?…`: the report of the check whose fields stand in the address.
async fn check(
    State(app): State<Arc<App>>,
    Path(file): Path<String>,
    query: Result<Query<CheckFields>, QueryRejection>,
) -> Result<Response, PageFailure> {
    let form = form(&file)?;
    let Query(fields) = query.map_err(|error| Failure::usage("query", error.body_text()))?;
    let bytes = app
        .read(move |library| {
            let given = fields.measured()?;
            let typed = typed_temperature(&fields, &given);
            let question = CheckQuestion {
                request: request(library, &fields)?,
                settings: CheckSettings::default(),
                given: Some(given),
                measurement: None,
                stage: Some(fields.stage.clone()).filter(|stage| !stage.is_empty()),
                labels: Labels::default(),
            };
            let report = of_check(library, &question)?;
            let document = document::of_check(&report, question.given.as_ref(), typed, &today());
            Ok(document.write(form)?)
        })
        .await?;
    Ok(answer(bytes, form))
}

/// Which kept check is meant.
#[derive(Deserialize)]
struct Named {
    name: String,
}

/// `GET /report/kept/report.html?name=…`: a kept check as it was answered.
async fn kept(
    State(app): State<Arc<App>>,
    Path(file): Path<String>,
    named: Result<Query<Named>, QueryRejection>,
) -> Result<Response, PageFailure> {
    let form = form(&file)?;
    let Query(named) = named.map_err(|error| Failure::usage("query", error.body_text()))?;
    let bytes = app
        .read(move |library| {
            let kept = library.kept_check(&named.name)?;
            let document = document::of_kept(&kept, changes_since(library, &kept)?)?;
            Ok(document.write(form)?)
        })
        .await?;
    Ok(answer(bytes, form))
}

/// `GET /report/measurement/12/report.html`: a kept measurement, with a check where its compound is known.
async fn measurement(
    State(app): State<Arc<App>>,
    Path((id, file)): Path<(String, String)>,
) -> Result<Response, PageFailure> {
    let form = form(&file)?;
    let no_number = || Failure::usage("not-found", format!("\"{id}\" is no number of a measurement"));
    let id: i64 = id.parse().map_err(|_| no_number())?;
    let bytes = app.read(move |library| Ok(measured(library, id)?.write(form)?)).await?;
    Ok(answer(bytes, form))
}

fn measured(library: &Library, id: i64) -> Result<Document, Failure> {
    let question = match library.measurement(id)?.compound {
        Some(_) => Some(CheckQuestion {
            request: measurements::check_request(library, id, None)?,
            settings: CheckSettings::default(),
            given: None,
            measurement: Some(id),
            stage: None,
            labels: Labels::default(),
        }),
        None => None,
    };
    let report = of_measurement(library, id, question.as_ref(), &Labels::default())?;
    Ok(document::of_measurement(&report, &today()))
}

fn today() -> String {
    date(time::OffsetDateTime::now_utc().date())
}

/// The form that the ending of the address names.
fn form(file: &str) -> Result<Form, Failure> {
    let known = file.strip_prefix("report.").and_then(Form::from_word);
    known.ok_or_else(|| {
        Failure::usage("not-found", "there is no report in that form")
            .hint("end the address in report.html, report.pdf, report.md or report.tex")
    })
}

fn answer(bytes: Vec<u8>, form: Form) -> Response {
    let policy = format!(
        "default-src 'none'; style-src {}; base-uri 'none'; form-action 'none'; frame-ancestors 'none'",
        document::style_hash()
    );
    let shown = match form {
        Form::Html => "inline".to_owned(),
        other => format!("attachment; filename=\"report.{}\"", other.word()),
    };
    (
        StatusCode::OK,
        [
            (header::CONTENT_TYPE, form.media_type().to_owned()),
            (header::CONTENT_SECURITY_POLICY, policy),
            (header::CONTENT_DISPOSITION, shown),
        ],
        bytes,
    )
        .into_response()
}
