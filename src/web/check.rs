//! Checking a measured value: the form, and the result with an address of its own that holds the whole question.

use super::app::App;
use super::fields::{CheckFields, field};
use super::guard::Visitor;
use super::pages::{compound_of, source_rows};
use super::views::{CheckPage, Frame, Grid, Link, PageFailure, Plot, Problem, ResultPage, html, status};
use crate::compare::{Conditions, MethodExcess};
use crate::library::{Library, Source};
use crate::notation::Style;
use crate::quantity::{self, Printed};
use crate::report::document::Form;
use crate::report::failure::Failure;
use crate::report::options::in_page_words;
use crate::report::{result as rows, svg};
use crate::statement::StatedExcess;
use crate::tasks::check::{CheckRequest, CheckResult, CheckSettings, EXCESS_UNCERTAINTY, check, mirror_of};
use crate::tasks::measured::Measured;
use crate::tasks::measurements;
use crate::tasks::report::sources_of;
use axum::Extension;
use axum::extract::{Path, Query, State};
use axum::http::{StatusCode, Uri};
use axum::response::Response;
use std::sync::Arc;

/// What to do when only the other hand of a compound is known.
const MIRROR_HINT: &str = "If the sample is the mirror image of one of them, name that one and tick the box below it";

/// The request that fields make.
///
/// # Errors
/// When a field cannot be read, or the compound is unknown or ambiguous.
pub(super) fn request(library: &Library, fields: &CheckFields) -> Result<CheckRequest, Failure> {
    let given = fields.measured()?;
    let (compound, is_mirror) = match compound_of(library, &fields.compound) {
        Ok(compound) => (compound, false),
        Err(failure) if failure.code == "unknown-compound" => match mirror_of(library, &fields.compound)? {
            Some(mirror) => (mirror, true),
            None => return Err(failure),
        },
        Err(failure) => return Err(failure),
    };
    let measured = given.reduced(compound.molar_mass)?;
    let text = |text: &str| Some(text.trim().to_owned()).filter(|text| !text.is_empty());
    Ok(CheckRequest {
        compound: compound.id,
        mirror_image: is_mirror != fields.mirror_image,
        conditions: Conditions {
            stage: fields.read_stage()?,
            basis: text(&fields.basis),
            ..given.conditions(measured.concentration)
        },
        measured,
        cell: given.cell,
        blank: field("blank", &fields.blank, quantity::parse_angle)?,
        form: text(&fields.form),
        excess: field("ee", &fields.ee, |text| {
            let bounded = "a lower bound of an ee is above zero; for the other hand tick the mirror image";
            MethodExcess::of(&StatedExcess::read(text)?, EXCESS_UNCERTAINTY).ok_or_else(|| bounded.to_owned())
        })?,
    })
}

/// The result of a request with the settings of the program.
///
/// # Errors
/// When the library fails.
pub(super) fn judged(library: &Library, request: &CheckRequest) -> Result<CheckResult, Failure> {
    Ok(check(library, request, &CheckSettings::default())?)
}

/// `GET /check`: the empty form, or the result of the fields in the address.
pub(super) async fn page(
    State(app): State<Arc<App>>,
    Extension(visitor): Extension<Visitor>,
    uri: Uri,
    query: Result<Query<CheckFields>, axum::extract::rejection::QueryRejection>,
) -> Response {
    let form = |fields: CheckFields, failure: Option<&Failure>| {
        let again = fields.clone();
        let failure = failure.map(|failure| {
            let is_near = failure.code == "unknown-compound" && !failure.candidates.is_empty() && !fields.mirror_image;
            let mut failure = failure.clone();
            if is_near {
                let hint = failure.hint.take().map(|hint| hint + ". ").unwrap_or_default();
                failure = failure.hint(hint + MIRROR_HINT);
            }
            failure
        });
        let failure = failure.as_ref();
        let page = CheckPage {
            frame: Frame::new(&app, &visitor, "Check a measured value", "/check"),
            problem: failure.map(|failure| {
                Problem::new(failure, |candidate| {
                    address(&CheckFields {
                        compound: candidate.compound.to_string(),
                        ..again.clone()
                    })
                })
            }),
            fields,
        };
        html(failure.map_or(StatusCode::OK, status), &page)
    };
    let fields = match query {
        Ok(Query(fields)) => fields,
        Err(error) => {
            let failure = Failure::usage("query", format!("the address cannot be read: {}", error.body_text()));
            return form(CheckFields::default(), Some(&failure));
        }
    };
    let is_asked = uri.query().is_some_and(|query| !query.is_empty())
        && !fields.compound.trim().is_empty()
        && !(fields.value.trim().is_empty() && fields.angle.trim().is_empty());
    if !is_asked {
        return form(fields, None);
    }
    let asked = fields.clone();
    let answer = app
        .read(move |library| with_sources(library, judged(library, &request(library, &asked)?)?))
        .await;
    match answer {
        Ok((result, sources)) => {
            let frame = Frame::new(&app, &visitor, format!("{}: check", result.compound.name), "/check");
            html(StatusCode::OK, &shown(frame, &result, &sources, fields))
        }
        Err(failure) => form(fields, Some(&failure)),
    }
}

/// A result with the sources of its references and their entries.
type Sourced = (CheckResult, Vec<(Source, Vec<i64>)>);

fn with_sources(library: &Library, result: CheckResult) -> Result<Sourced, Failure> {
    let sources = sources_of(library, &result)?;
    Ok((result, sources))
}

/// Of which compound a kept measurement is, where it is filed under none.
#[derive(Clone, Debug, Default, serde::Deserialize)]
#[serde(default)]
pub(super) struct Of {
    compound: String,
}

/// `GET /measurements/{id}/check`: a kept measurement against what is published, with its own uncertainty and degrees of
/// freedom.
pub(super) async fn of_measurement(
    State(app): State<Arc<App>>,
    Extension(visitor): Extension<Visitor>,
    Path(id): Path<i64>,
    Query(of): Query<Of>,
) -> Result<Response, PageFailure> {
    let (result, sources, kept) = app
        .read(move |library| {
            let compound = match of.compound.trim() {
                "" => None,
                text => Some(compound_of(library, text)?.id),
            };
            let request = measurements::check_request(library, id, compound)?;
            let (mut result, sources) = with_sources(library, judged(library, &request)?)?;
            result.cautions.splice(0..0, measurements::cautions(library, id)?);
            Ok((result, sources, library.measurement(id)?))
        })
        .await?;
    let conditions = &result.measured.conditions;
    let fields = CheckFields {
        compound: result.compound.id.to_string(),
        value: kept.value.conventional().to_string(),
        uncertainty: kept.uncertainty.conventional().to_string(),
        conc: conditions.conc_g_per_100ml.map(|c| c.to_string()).unwrap_or_default(),
        solvent: conditions.solvent.clone().unwrap_or_default(),
        temp: conditions.temperature_c.map(|t| t.to_string()).unwrap_or_default(),
        line: conditions.line.clone().unwrap_or_default(),
        ..CheckFields::default()
    };
    let journal = kept.content["journal"].as_str().unwrap_or_default().to_owned();
    let title = format!("{}: check of measurement {id}", result.compound.name);
    let frame = Frame::new(&app, &visitor, title, "/measurements");
    let page = ResultPage {
        journal,
        measurement: id,
        reports: report_links(&format!("measurement/{id}"), ""),
        ..shown(frame, &result, &sources, fields)
    };
    Ok(html(StatusCode::OK, &page))
}

/// The address of a check.
pub(super) fn address(fields: &CheckFields) -> String {
    let mut address = "/check?".to_owned();
    if let Ok(serde_json::Value::Object(pairs)) = serde_json::to_value(fields) {
        for (name, value) in pairs {
            let text = match value {
                serde_json::Value::String(text) if !text.is_empty() => text,
                serde_json::Value::Bool(true) => "on".to_owned(),
                _ => continue,
            };
            if !address.ends_with('?') {
                address.push('&');
            }
            address.push_str(&name);
            address.push('=');
            address.push_str(&percent_encoded(&text));
        }
    }
    address
}

/// Text as it may stand in the query of an address.
pub(super) fn percent_encoded(text: &str) -> String {
    use std::fmt::Write;
    text.bytes().fold(String::new(), |mut encoded, byte| {
        if byte.is_ascii_alphanumeric() || b"-._~".contains(&byte) {
            encoded.push(char::from(byte));
        } else {
            let _ = write!(encoded, "%{byte:02X}");
        }
        encoded
    })
}

fn shown(frame: Frame, result: &CheckResult, sources: &[(Source, Vec<i64>)], fields: CheckFields) -> ResultPage {
    let mut references: Vec<_> = result.references.iter().map(rows::reference_row).collect();
    let aspects = rows::drop_silent_aspects(&mut references);
    for row in &mut references {
        row.note = in_page_words(&row.note);
    }
    ResultPage {
        frame,
        measurement: 0,
        compound: result.compound.id,
        name: result.compound.name.clone(),
        code: result.verdict.code.as_str().to_owned(),
        tone: rows::tone(result.verdict.code),
        sentence: result.verdict.sentence.clone(),
        facts: rows::facts(result),
        plot: number_line(result),
        has_mirror: result.references.iter().any(|r| r.mirror_image),
        aspects,
        references,
        causes: rows::causes(result),
        meanings: (result.excess_check.iter().flat_map(|excess| &excess.meanings))
            .map(|meaning| (meaning.sentence.clone(), meaning.how_to_tell.clone()))
            .collect(),
        cautions: result.cautions.iter().map(|said| in_page_words(said)).collect(),
        sources: source_rows(sources),
        journal: journal(&fields, result),
        reports: report_links("check", address(&fields).trim_start_matches("/check")),
        budget: Grid {
            caption: "Where the uncertainty of the measurement comes from".to_owned(),
            heads: rows::BUDGET_HEADS.to_vec(),
            rows: rows::budget_rows(result),
        },
        fields,
    }
}
fn number_line(result: &CheckResult) -> Plot {
    let bars = rows::bars(result);
    let title = rows::bars_title(result);
    Plot {
        svg: svg::number_line("number-line", &title, &rows::bars_axis(), &bars),
        grid: Grid {
            caption: "The numbers of the drawing".to_owned(),
            heads: rows::BAR_HEADS.to_vec(),
            rows: bars.iter().map(rows::bar_row).collect(),
        },
        title,
    }
}

/// The measured value as a journal prints it, with the digits of the temperature as typed.
fn journal(fields: &CheckFields, result: &CheckResult) -> String {
    let Ok(given) = fields.measured() else {
        return String::new();
    };
    let typed = typed_temperature(fields, &given);
    rows::journal(&given, typed, result, Style::Plain)
}

/// The temperature with the digits it was typed with, where it was typed in °C.
pub(super) fn typed_temperature(fields: &CheckFields, given: &Measured) -> Option<Printed> {
    let plain = fields.temp.trim().trim_end_matches(['C', '°', ' ']);
    let celsius = given.temperature?.celsius();
    quantity::parse_number(plain)
        .ok()
        .filter(|typed| (typed.value() - celsius).abs() < 1e-9)
}

/// The addresses of a report in its forms, and their names.
pub(super) fn report_links(base: &str, query: &str) -> Vec<Link> {
    [
        (Form::Html, "page for print"),
        (Form::Pdf, "PDF"),
        (Form::Md, "Markdown"),
        (Form::Tex, "LaTeX tables"),
    ]
    .into_iter()
    .filter(|(form, _)| form.is_built_in())
    .map(|(form, words)| Link {
        to: format!("/report/{base}/report.{}{query}", form.word()),
        words: words.to_owned(),
    })
    .collect()
}
