//! The JSON interface: the objects of `--json`, and the error object of the command line with the fitting status.

use super::app::App;
use super::check::{judged, request};
use super::fields::{CheckFields, bytes};
use super::openapi::check_request;
use super::views::{json, problem, status};
use crate::library::Filter;
use crate::notation;
use crate::report::failure::Failure;
use crate::report::json::{ReadJson, SearchJson};
use crate::tasks;
use axum::body::Body;
use axum::extract::{Query, State};
use axum::http::{HeaderMap, StatusCode, header};
use axum::response::{IntoResponse, Response};
use serde::Deserialize;
use serde_json::{Value, json};
use std::sync::Arc;

/// Most compounds a search lists.
const MOST_HITS: usize = 100;
/// Compounds a search lists when no number is given.
const HITS: usize = 20;

/// Refuses a body that is not said to be JSON: a page elsewhere cannot send that without being allowed to.
async fn document<T: serde::de::DeserializeOwned>(headers: &HeaderMap, body: Body) -> Result<T, Failure> {
    let kind = headers
        .get(header::CONTENT_TYPE)
        .and_then(|kind| kind.to_str().ok())
        .unwrap_or_default();
    if !kind
        .split(';')
        .next()
        .unwrap_or_default()
        .trim()
        .eq_ignore_ascii_case("application/json")
    {
        return Err(Failure::usage("content-type", "the body must be JSON")
            .hint("send it with the header Content-Type: application/json"));
    }
    let bytes = bytes(body).await?;
    serde_json::from_slice(&bytes).map_err(|error| {
        Failure::usage("json", format!("the body cannot be read: {error}")).at(format!(
            "line {}, column {}",
            error.line(),
            error.column()
        ))
    })
}

fn answered(answer: Result<Response, Failure>) -> Response {
    answer.unwrap_or_else(|failure| problem(status(&failure), &failure, true))
}

/// `POST /api/check`
pub(super) async fn check(State(app): State<Arc<App>>, headers: HeaderMap, body: Body) -> Response {
    let answer = async {
        let fields: CheckFields = document(&headers, body).await?;
        let result = app
            .read(move |library| judged(library, &request(library, &fields)?))
            .await?;
        Ok(json(StatusCode::OK, &result))
    };
    answered(answer.await)
}

/// What is asked of the reader.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct ReadRequest {
    text: String,
}

/// `POST /api/read`
pub(super) async fn read(headers: HeaderMap, body: Body) -> Response {
    let answer = async {
        let request: ReadRequest = document(&headers, body).await?;
        let found = tokio::task::spawn_blocking(move || notation::read(&request.text))
            .await
            .map_err(|_| Failure::usage("broken", "the text could not be read"))?;
        Ok(json(StatusCode::OK, &ReadJson::new(None, &found)))
    };
    answered(answer.await)
}

/// What is asked of the search.
#[derive(Deserialize)]
pub(super) struct SearchQuery {
    #[serde(default)]
    q: String,
    limit: Option<usize>,
}

/// `GET /api/search?q=`
pub(super) async fn search(
    State(app): State<Arc<App>>,
    query: Result<Query<SearchQuery>, axum::extract::rejection::QueryRejection>,
) -> Response {
    let answer = async {
        let Query(query) = query.map_err(|error| Failure::usage("query", error.body_text()))?;
        let limit = query.limit.unwrap_or(HITS);
        if limit > MOST_HITS {
            return Err(
                Failure::usage("query", format!("{limit} hits are more than one answer holds"))
                    .at("limit")
                    .hint(format!("ask for {MOST_HITS} at most")),
            );
        }
        let text = query.q.trim().to_owned();
        if text.is_empty() {
            return Err(Failure::usage("query", "nothing is searched for")
                .at("q")
                .hint("give a text: ?q=menthol"));
        }
        let found = app
            .read(move |library| {
                let search = tasks::search::search(library, &text, &Filter::default(), limit)?;
                Ok(SearchJson::new(&text, &search))
            })
            .await?;
        Ok(json(StatusCode::OK, &found))
    };
    answered(answer.await)
}

/// `GET /healthz`
pub(super) async fn health(State(app): State<Arc<App>>) -> Response {
    match app.read(|library| Ok(library.n_drafts()?)).await {
        Ok(_) => (StatusCode::OK, "ok\n").into_response(),
        Err(failure) => problem(StatusCode::SERVICE_UNAVAILABLE, &failure, true),
    }
}

/// `GET /api/openapi.json`
pub(super) async fn openapi(State(app): State<Arc<App>>) -> Response {
    let answer = async {
        let highest = app.read(|library| Ok(library.highest_compound()?)).await?;
        Ok(json(StatusCode::OK, &description(highest)))
    };
    answered(answer.await)
}

/// The description of this interface in the terms of OpenAPI 3.1. The numbers of compounds reach to `highest`.
fn description(highest: i64) -> Value {
    let mut result: Value = serde_json::from_str(include_str!("../../schema/check_result.schema.json"))
        .expect("the schema in the repository is JSON: a test compares it with the types");
    let mut schemas = serde_json::Map::new();
    if let Some(Value::Object(parts)) = result.get_mut("$defs").map(Value::take) {
        schemas.extend(parts);
    }
    if let Some(object) = result.as_object_mut() {
        object.remove("$defs");
        object.remove("$schema");
    }
    schemas.insert("CheckResult".to_owned(), result);
    schemas.insert("CheckRequest".to_owned(), check_request(highest));
    schemas.insert("Error".to_owned(), error());
    let mut document = json!({
        "openapi": "3.1.0",
        "info": {
            "title": "Biot",
            "version": env!("CARGO_PKG_VERSION"),
            "description": "A local library of published optical rotations and a checker of measured ones. The objects \
                            are those of --json. The answers are about the rotation alone: they cannot prove what is in \
                            the flask."
        },
        "paths": {
            "/api/check": {"post": {
                "operationId": "check",
                "summary": "Check a measured rotation against published values",
                "requestBody": body("#/components/schemas/CheckRequest"),
                "responses": responses(&json!({"$ref": "#/components/schemas/CheckResult"}), &["400", "404", "413", "422"])
            }},
            "/api/read": {"post": {
                "operationId": "read",
                "summary": "Find the rotations printed in a text",
                "requestBody": {"required": true, "content": {"application/json": {"schema": {
                    "type": "object",
                    "properties": {"text": {"type": "string"}},
                    "required": ["text"],
                    "additionalProperties": false
                }}}},
                "responses": responses(&json!({
                    "type": "object",
                    "properties": {
                        "file": {"type": "null"},
                        "statements": {"type": "array", "items": {"type": "object"}}
                    },
                    "required": ["statements"]
                }), &["400", "413"])
            }},
            "/api/search": {"get": {
                "operationId": "search",
                "summary": "Find compounds by name, CAS number, InChIKey, formula or DOI",
                "parameters": [
                    {"name": "q", "in": "query", "required": true,
                     "schema": {"type": "string", "minLength": 1, "pattern": "\\S"}},
                    {"name": "limit", "in": "query", "schema": {"type": "integer", "minimum": 0, "maximum": MOST_HITS}}
                ],
                "responses": responses(&json!({
                    "type": "object",
                    "properties": {
                        "text": {"type": "string"},
                        "hits": {"type": "array", "items": {
                            "type": "object",
                            "properties": {"compound": {"type": "integer"}, "name": {"type": "string"}},
                            "required": ["compound", "name"]
                        }},
                        "notice": {"type": ["string", "null"]}
                    },
                    "required": ["text", "hits", "notice"]
                }), &["400"])
            }},
            "/healthz": {"get": {
                "operationId": "health",
                "summary": "Whether the library can be read",
                "responses": health_responses()
            }}
        }
    });
    document["components"] = json!({
        "schemas": schemas,
        "securitySchemes": {"token": {
            "type": "http",
            "scheme": "bearer",
            "description": "A token from biot account token add, where the server asks for accounts"
        }}
    });
    // Either nothing, on a server of this machine alone, or a token.
    document["security"] = json!([{}, {"token": []}]);
    rename_references(&mut document);
    document
}

fn body(schema: &str) -> Value {
    json!({"required": true, "content": {"application/json": {"schema": {"$ref": schema}}}})
}

/// Faults that any request may meet: another site's page, too slow, another host's name, too many requests, an error of
/// the program or the disk, a library that is busy.
const ANYWHERE: [&str; 6] = ["403", "408", "421", "429", "500", "503"];

fn responses(schema: &Value, faults: &[&str]) -> Value {
    let mut all = json!({"200": {"description": "The answer", "content": {"application/json": {"schema": schema}}}});
    let error = json!({"application/json": {"schema": {"$ref": "#/components/schemas/Error"}}});
    for status in faults.iter().chain(&ANYWHERE) {
        all[status] = json!({"description": "No answer, and why", "content": error});
    }
    // Whatever is asked: the token is missing, or not enough; too much was asked in a short time.
    for status in ["401", "403", "429"] {
        all[status] = json!({"description": "Refused, and why", "content": error});
    }
    all
}

fn health_responses() -> Value {
    let mut all = responses(&Value::Null, &[]);
    all["200"] = json!({"description": "It can", "content": {"text/plain": {"schema": {"type": "string"}}}});
    all
}

fn error() -> Value {
    json!({
        "type": "object",
        "properties": {"error": {
            "type": "object",
            "properties": {
                "code": {"type": "string"},
                "message": {"type": "string"},
                "where": {"type": ["string", "null"]},
                "hint": {"type": ["string", "null"]},
                "candidates": {"type": "array", "items": {"type": "object"}}
            },
            "required": ["code", "message", "where", "hint", "candidates"]
        }},
        "required": ["error"]
    })
}

/// Points the references of the schema to where OpenAPI keeps its parts.
fn rename_references(value: &mut Value) {
    match value {
        Value::Object(fields) => {
            for (name, field) in fields {
                match field {
                    Value::String(target) if name == "$ref" => {
                        *target = target.replace("#/$defs/", "#/components/schemas/");
                    }
                    other => rename_references(other),
                }
            }
        }
        Value::Array(items) => items.iter_mut().for_each(rename_references),
        _ => {}
    }
}
