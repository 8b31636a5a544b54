//! The register of shared equipment: its keeper registers and changes instruments, cells, presets and control standards,
//! lends cells and takes them back, and takes out of use what is used no longer. One form serves all kinds.

use super::app::App;
use super::curation::happenings;
use super::equipment_fields::{self as fields, FormField, Given};
use super::fields::{field, form};
use super::guard::Visitor;
use super::views::{Frame, Grid, PageFailure, Problem, html, status};
use crate::library::{Change, Equipment, EquipmentKind, Library, LibraryError, Loan};
use crate::report::failure::Failure;
use crate::report::register as words;
use crate::tasks::accounts::Act;
use crate::tasks::{register, review};
use askama::Template;
use axum::Extension;
use axum::body::Body;
use axum::extract::{Path, State};
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Response};
use axum::routing::{get, post};
use std::sync::Arc;

/// The routes of this part.
pub(super) fn routes() -> axum::Router<Arc<App>> {
    axum::Router::new()
        .route("/register/{kind}", get(new_form).post(add))
        .route("/equipment/{id}", get(one).post(change))
        .route("/equipment/{id}/loan", post(lend))
        .route("/equipment/{id}/return", post(take_back))
        .route("/equipment/{id}/retire", post(retire))
}

#[derive(Template, Default)]
#[template(path = "equipment.html", config = "src/web/askama.toml")]
struct EquipmentPage {
    frame: Frame,
    /// 0 for one that is not registered yet.
    id: i64,
    kind: &'static str,
    name: String,
    revision: i64,
    summary: String,
    /// When it was taken out of use; empty while it is in use.
    retired: String,
    form: Vec<FormField>,
    problem: Option<Problem>,
    conflict: Grid,
    is_lendable: bool,
    /// Who has it and until when; empty when it is here.
    lent: String,
    loan: String,
    loan_form: Vec<FormField>,
    loan_problem: Option<Problem>,
    why: String,
    who: String,
    history: Grid,
}

/// What one form of the page sent.
enum Sent {
    /// Fields of the record.
    Record(Given),
    /// To whom it is lent.
    Loan(Given),
    /// One without fields to be shown again.
    Other,
}

impl Sent {
    fn without_fields(_: Given) -> Self {
        Self::Other
    }
}

fn kind_of(word: &str) -> Result<EquipmentKind, Failure> {
    EquipmentKind::from_word(word).ok_or_else(|| {
        Failure::usage("not-found", format!("nothing is registered as \"{word}\""))
            .hint("there are instruments, cells, presets and standards")
    })
}

fn by_id(library: &Library, id: &str) -> Result<Equipment, Failure> {
    let unknown = || Failure::usage("unknown-record", format!("there is no equipment {id} in the register"));
    Ok(library.equipment_by_id(id.parse().map_err(|_| unknown())?)?)
}

/// One that is in use: its name is its own, which one out of use has lost.
fn in_use(library: &Library, id: &str) -> Result<Equipment, Failure> {
    let it = by_id(library, id)?;
    if it.retired_at.is_some() {
        return Err(LibraryError::Refused(format!("{} is out of use", it.name)).into());
    }
    Ok(it)
}

fn meanwhile(what: &str) -> Failure {
    Failure::usage("revision-changed", format!("{what} meanwhile")).hint("look at it as it is now, and try again")
}

fn framed(app: &App, visitor: &Visitor, page: EquipmentPage) -> EquipmentPage {
    let title = if page.id == 0 {
        let what = match page.kind {
            "instrument" => "an instrument",
            "cell" => "a cell",
            "preset" => "a preset",
            _ => "a control standard",
        };
        format!("Register {what}")
    } else {
        page.name.clone()
    };
    EquipmentPage {
        frame: Frame::new(app, visitor, title, "/instruments").only(visitor, Act::KeepInstruments),
        who: app.who(visitor).to_owned(),
        ..page
    }
}

fn new_page(library: &Library, kind: EquipmentKind, given: &Given) -> Result<EquipmentPage, Failure> {
    Ok(EquipmentPage {
        kind: kind.as_str(),
        form: fields::form(library, kind, given)?,
        ..EquipmentPage::default()
    })
}

fn page_of(library: &Library, it: &Equipment) -> Result<EquipmentPage, Failure> {
    let loan = library.open_loan(it.id)?;
    Ok(EquipmentPage {
        id: it.id,
        kind: it.kind.as_str(),
        name: it.name.clone(),
        revision: it.revision,
        summary: words::fields(it),
        retired: (it.retired_at.as_deref())
            .map(|at| at.get(..10).unwrap_or(at).to_owned())
            .unwrap_or_default(),
        form: fields::form(library, it.kind, &fields::shown(it)?)?,
        is_lendable: it.kind == EquipmentKind::Cell,
        lent: loan.as_ref().map(words::lent).unwrap_or_default(),
        loan: loan.map(|loan| loan.uid).unwrap_or_default(),
        loan_form: fields::loan_form(&Given::default()),
        history: happenings(
            "What happened to this record",
            review::history_of_uid(library, &it.uid)?,
            &["edit", "lend", "take-back"],
        ),
        ..EquipmentPage::default()
    })
}

/// `GET /register/{kind}`: the empty form.
async fn new_form(
    State(app): State<Arc<App>>,
    Extension(visitor): Extension<Visitor>,
    Path(kind): Path<String>,
) -> Result<Response, PageFailure> {
    let kind = kind_of(&kind)?;
    let page = app
        .read(move |library| new_page(library, kind, &fields::empty(kind)))
        .await?;
    Ok(html(StatusCode::OK, &framed(&app, &visitor, page)))
}

/// `POST /register/{kind}`
async fn add(
    State(app): State<Arc<App>>,
    Extension(visitor): Extension<Visitor>,
    Path(kind): Path<String>,
    body: Body,
) -> Result<Response, PageFailure> {
    let kind = kind_of(&kind)?;
    let given: Given = form(body).await?;
    visitor.may_write(given.text("token"))?;
    let change = app.change(&visitor, given.text("by"), given.text("why"));
    let asked = given.clone();
    let outcome = app
        .write(move |library| {
            let content = fields::content(library, kind, &asked)?;
            let name = (kind, asked.text("name"));
            // What a register refuses of a sound record is its name.
            register::keep(library, name, &content, false, &change).map_err(|error| Failure::from(error).at("name"))
        })
        .await;
    match outcome {
        Ok(it) => Ok(to(it.id)),
        Err(failure) => {
            let mut page = app.read(move |library| new_page(library, kind, &given)).await?;
            page.problem = Some(told(&failure, &mut page.form));
            Ok(html(status(&failure), &framed(&app, &visitor, page)))
        }
    }
}

/// A failure as the page tells it: at its field, and above the form.
fn told(failure: &Failure, form: &mut [FormField]) -> Problem {
    let problem = Problem::new(failure, |_| String::new());
    let place = failure.place.as_deref().unwrap_or_default();
    if let Some(field) = form.iter_mut().find(|field| field.id == place) {
        field.error = [problem.message.as_str(), &problem.hint].join(" ").trim_end().into();
    }
    problem
}

fn to(id: i64) -> Response {
    (StatusCode::SEE_OTHER, [(header::LOCATION, format!("/equipment/{id}"))]).into_response()
}

/// `GET /equipment/{id}`
async fn one(
    State(app): State<Arc<App>>,
    Extension(visitor): Extension<Visitor>,
    Path(id): Path<String>,
) -> Result<Response, PageFailure> {
    let page = app.read(move |library| page_of(library, &by_id(library, &id)?)).await?;
    Ok(html(StatusCode::OK, &framed(&app, &visitor, page)))
}

/// What a form of the page came to: the page anew, or the page with what is wrong and what was typed.
async fn answer(
    app: &Arc<App>,
    visitor: &Visitor,
    id: String,
    outcome: Result<i64, Failure>,
    sent: Sent,
) -> Result<Response, PageFailure> {
    let failure = match outcome {
        Ok(id) => return Ok(to(id)),
        Err(failure) => failure,
    };
    let told_failure = failure.clone();
    let page = app
        .read(move |library| {
            let it = by_id(library, &id)?;
            let mut page = page_of(library, &it)?;
            match sent {
                Sent::Record(given) if given.text("revision") != it.revision.to_string() => {
                    page.conflict = Grid {
                        caption: "Where your form and the register differ now".to_owned(),
                        heads: vec!["field", "in the register", "in your form"],
                        rows: fields::differences(&page.form, &fields::form(library, it.kind, &given)?),
                    };
                }
                Sent::Record(given) => {
                    page.form = fields::form(library, it.kind, &given)?;
                    given.text("why").clone_into(&mut page.why);
                    page.problem = Some(told(&failure, &mut page.form));
                }
                Sent::Loan(given) => {
                    page.loan_form = fields::loan_form(&given);
                    page.loan_problem = Some(told(&failure, &mut page.loan_form));
                }
                Sent::Other => page.problem = Some(told(&failure, &mut [])),
            }
            Ok(page)
        })
        .await?;
    let found = if page.conflict.caption.is_empty() {
        status(&told_failure)
    } else {
        StatusCode::CONFLICT
    };
    Ok(html(found, &framed(app, visitor, page)))
}

/// What every form of a record's page has in common: it is read, the work is done with it, and the page answers. `sent` says
/// what of the form is shown again where the work fails.
async fn written(
    (app, visitor, id, body): (Arc<App>, Visitor, String, Body),
    sent: fn(Given) -> Sent,
    work: impl FnOnce(&mut Library, &str, &Given, &Change) -> Result<i64, Failure> + Send + 'static,
) -> Result<Response, PageFailure> {
    let given: Given = form(body).await?;
    visitor.may_write(given.text("token"))?;
    let change = app.change(&visitor, given.text("by"), given.text("why"));
    let (asked, name) = (given.clone(), id.clone());
    let outcome = app.write(move |library| work(library, &name, &asked, &change)).await;
    answer(&app, &visitor, id, outcome, sent(given)).await
}

/// `POST /equipment/{id}`: changes a record. When somebody else changed it meanwhile, both are shown and nothing is stored.
async fn change(
    State(app): State<Arc<App>>,
    Extension(visitor): Extension<Visitor>,
    Path(id): Path<String>,
    body: Body,
) -> Result<Response, PageFailure> {
    written((app, visitor, id, body), Sent::Record, |library, id, given, change| {
        let it = by_id(library, id)?;
        let seen = given.revision()?;
        let content = fields::content(library, it.kind, given)?;
        Ok(register::change(library, &it, seen, &content, change)?.id)
    })
    .await
}

/// `POST /equipment/{id}/loan`
async fn lend(
    State(app): State<Arc<App>>,
    Extension(visitor): Extension<Visitor>,
    Path(id): Path<String>,
    body: Body,
) -> Result<Response, PageFailure> {
    written((app, visitor, id, body), Sent::Loan, |library, id, given, change| {
        let it = in_use(library, id)?;
        let until = field("until", given.text("until"), |text| {
            register::parse_date(text).ok_or("a date is written YYYY-MM-DD")
        })?;
        let is_past = until.is_some_and(|until| until < change.at.date());
        register::lend(library, &it.name, given.text("to"), until, change)
            .map_err(|error| Failure::from(error).at(if is_past { "until" } else { "to" }))?;
        Ok(it.id)
    })
    .await
}

/// `POST /equipment/{id}/return`: takes back the loan that the page showed, and no later one.
async fn take_back(
    State(app): State<Arc<App>>,
    Extension(visitor): Extension<Visitor>,
    Path(id): Path<String>,
    body: Body,
) -> Result<Response, PageFailure> {
    written(
        (app, visitor, id, body),
        Sent::without_fields,
        |library, id, given, change| {
            let it = in_use(library, id)?;
            let open: Option<Loan> = library.open_loan(it.id)?;
            if open.is_none_or(|loan| loan.uid != given.text("loan")) {
                return Err(meanwhile("that loan was ended by somebody else"));
            }
            register::take_back(library, &it.name, change)?;
            Ok(it.id)
        },
    )
    .await
}

/// `POST /equipment/{id}/retire`: takes a record out of use; it stays in the file and its history.
async fn retire(
    State(app): State<Arc<App>>,
    Extension(visitor): Extension<Visitor>,
    Path(id): Path<String>,
    body: Body,
) -> Result<Response, PageFailure> {
    written(
        (app, visitor, id, body),
        Sent::without_fields,
        |library, id, given, change| {
            let it = in_use(library, id)?;
            if it.revision != given.revision()? {
                return Err(meanwhile("the record was changed by somebody else"));
            }
            register::retire(library, it.kind, &it.name, change)?;
            Ok(it.id)
        },
    )
    .await
}
