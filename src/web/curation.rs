//! Pages that write: storing what was read, mending an entry, the second keying; and what waits and what is suspicious.

use super::app::App;
use super::fields::{StatementFields, form};
use super::guard::Visitor;
use super::views::{
    AuditPage, DonePage, EntryPage, FindingRow, Frame, Grid, KeyPage, Link, PageFailure, Problem, ReviewPage,
    WaitingRow, html, status,
};
use crate::audit::Settings;
use crate::library::{EntryContent, EntryId, EntryKind, Hand, Identity, Library, NewSource, SourceKind};
use crate::notation;
use crate::report::entry as words;
use crate::report::failure::Failure;
use crate::report::review::PlaceJson;
use crate::statement::Statement;
use crate::tasks::accounts::Act;
use crate::tasks::curate::{self, AddRequest, CompoundRequest};
use crate::tasks::review;
use axum::Extension;
use axum::body::Body;
use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::Response;
use serde::Deserialize;
use std::sync::Arc;

/// Most findings that a page lists.
const MOST_FINDINGS: usize = 200;
/// Most drafts that a page lists.
const MOST_DRAFTS: usize = 100;

/// A form that carries its token.
#[derive(Deserialize, Default)]
#[serde(default)]
struct Stored {
    token: String,
    compound: String,
    new_compound: String,
    citation: String,
    doi: String,
    year: String,
    by: String,
    printed: String,
    why: String,
    revision: String,
    #[serde(flatten)]
    fields: StatementFields,
}

fn entry_id(text: &str) -> Result<EntryId, Failure> {
    text.parse().map(EntryId).map_err(|_| {
        Failure::usage("unknown-entry", format!("there is no entry {text}")).hint("entries are named by their number")
    })
}

/// The statement of a printed text, or an empty one with the text as printed when it does not hold exactly one.
fn statement_of(printed: &str) -> Statement {
    let mut found = notation::read(printed);
    match found.len() {
        1 => found.remove(0).statement,
        _ => Statement {
            as_printed: printed.trim().to_owned(),
            ..Statement::default()
        },
    }
}

/// `POST /entries`: stores a statement as a draft.
pub(super) async fn store(
    State(app): State<Arc<App>>,
    Extension(visitor): Extension<Visitor>,
    body: Body,
) -> Result<Response, PageFailure> {
    let stored: Stored = form(body).await?;
    visitor.may_write(&stored.token)?;
    let text = |text: &str| Some(text.trim().to_owned()).filter(|text| !text.is_empty());
    let name = text(&stored.compound)
        .ok_or_else(|| Failure::usage("no-compound", "nothing says which compound this is").hint("give its name"))?;
    let citation = text(&stored.citation)
        .ok_or_else(|| Failure::usage("no-source", "nothing says where this is printed").hint("give the citation"))?;
    let year = super::fields::field("year", &stored.year, str::parse::<i32>)?;
    let mut statement = statement_of(&stored.printed);
    stored.fields.put(&mut statement)?;
    let is_number = name.bytes().all(|b| b.is_ascii_digit());
    let request = AddRequest {
        compound: CompoundRequest {
            name: Some(if is_number { format!("#{name}") } else { name }),
            ..CompoundRequest::default()
        },
        may_add_compound: stored.new_compound == "on",
        source: NewSource {
            kind: SourceKind::Paper,
            citation,
            doi: text(&stored.doi),
            year,
            url: None,
        },
        kind: EntryKind::Value,
        statement,
        identity: Identity::Sure,
        hand: Hand::Unclear,
        kept_out: None,
        substance: None,
        seen: None,
        comment: None,
        method: None,
    };
    let change = app.change(&visitor, &stored.by, "read from a text");
    let added = app
        .write(move |library| Ok(curate::add(library, &request, &change)?))
        .await?;
    let page = DonePage {
        frame: Frame::new(&app, &visitor, "Stored as a draft", "/read"),
        sentences: vec![
            format!(
                "Entry {} is stored as a draft: {}",
                added.entry.id,
                words::sentence(&added.entry)
            ),
            format!("Compound: {}", added.compound.name),
            "It waits for a second keying by another person and counts less until then.".to_owned(),
        ],
        links: vec![
            Link {
                to: format!("/entries/{}", added.entry.id),
                words: format!("Entry {}", added.entry.id),
            },
            Link {
                to: format!("/compounds/{}", added.compound.id),
                words: added.compound.name,
            },
        ],
        ..DonePage::default()
    };
    Ok(html(StatusCode::OK, &page))
}

/// `GET /entries/{id}`
pub(super) async fn entry(
    State(app): State<Arc<App>>,
    Extension(visitor): Extension<Visitor>,
    Path(id): Path<String>,
) -> Result<Response, PageFailure> {
    let id = entry_id(&id)?;
    let mut page = app.read(move |library| entry_page(library, id)).await?;
    page.frame = Frame::new(&app, &visitor, format!("Entry {id}"), "/").only(&visitor, Act::Curate);
    app.who(&visitor).clone_into(&mut page.who);
    Ok(html(StatusCode::OK, &page))
}

fn entry_page(library: &Library, id: EntryId) -> Result<EntryPage, Failure> {
    let entry = library.entry(id)?;
    let compound = library.compound(entry.compound)?;
    let source = library.source(entry.source)?;
    let history = review::history_of_entry(library, id)?;
    Ok(EntryPage {
        id: id.0,
        revision: entry.revision,
        compound: Link {
            to: format!("/compounds/{}", compound.id),
            words: compound.name,
        },
        source: words::source(&source),
        printed: entry.statement.as_printed.clone(),
        sentence: words::sentence(&entry),
        standing: words::standing(&entry),
        doubts: entry.statement.doubts.clone(),
        fields: StatementFields::from(&entry.statement),
        history: happenings("What happened to this entry", history, &["edit"]),
        ..EntryPage::default()
    })
}

/// What happened to a record as a table; the fields are named for the actions in `told`.
pub(super) fn happenings(caption: &str, history: Vec<review::Happening>, told: &[&str]) -> Grid {
    Grid {
        caption: caption.to_owned(),
        heads: vec!["when", "who", "what", "why", "changes"],
        rows: history
            .into_iter()
            .map(|happening| {
                let changes: Vec<String> = happening
                    .changes
                    .iter()
                    .filter(|change| told.contains(&happening.action.as_str()) && change.field != "loan")
                    .map(|change| {
                        let of = |text: &Option<String>| text.clone().unwrap_or_else(|| "nothing".to_owned());
                        let field = change.field.replace('_', " ");
                        // A loan begins and ends; it does not change.
                        match (happening.action.as_str(), &change.before, &change.after) {
                            ("lend" | "take-back", Some(one), None) | ("lend" | "take-back", None, Some(one)) => {
                                format!("{field} {one}")
                            }
                            (_, before, after) => format!("{field}: {} → {}", of(before), of(after)),
                        }
                    })
                    .collect();
                vec![
                    happening.at.get(..16).unwrap_or(&happening.at).replace('T', " "),
                    happening.who,
                    happening.action,
                    happening.why,
                    changes.join("; "),
                ]
            })
            .collect(),
    }
}

/// `POST /entries/{id}`: mends an entry. When somebody else changed it meanwhile, both are shown and nothing is stored.
pub(super) async fn edit(
    State(app): State<Arc<App>>,
    Extension(visitor): Extension<Visitor>,
    Path(id): Path<String>,
    body: Body,
) -> Result<Response, PageFailure> {
    let id = entry_id(&id)?;
    let stored: Stored = form(body).await?;
    visitor.may_write(&stored.token)?;
    let based_on: i64 = stored
        .revision
        .parse()
        .map_err(|_| Failure::usage("form", "the form does not say which revision it is based on"))?;
    if stored.why.trim().is_empty() {
        return Err(Failure::usage("no-reason", "an entry is mended with a reason")
            .hint("say why")
            .into());
    }
    let change = app.change(&visitor, &stored.by, &stored.why);
    let fields = stored.fields.clone();
    let outcome = app
        .write(move |library| {
            let before = library.entry(id)?;
            let mut content = EntryContent::from(before);
            fields.put(&mut content.statement)?;
            Ok(curate::edit(library, id, based_on, &content, &change)?)
        })
        .await;
    let mut page = app.read(move |library| entry_page(library, id)).await?;
    page.frame = Frame::new(&app, &visitor, format!("Entry {id}"), "/").only(&visitor, Act::Curate);
    app.who(&visitor).clone_into(&mut page.who);
    let failure = match outcome {
        Ok(_) => return Ok(html(StatusCode::OK, &page)),
        Err(failure) if failure.code == "revision-changed" => failure,
        Err(failure) => return Err(failure.into()),
    };
    page.conflict = Grid {
        caption: "Where your form and the library differ now".to_owned(),
        heads: vec!["field", "in the library", "in your form"],
        rows: field_pairs(&page.fields, &stored.fields),
    };
    Ok(html(status(&failure), &page))
}

fn field_pairs(library: &StatementFields, form: &StatementFields) -> Vec<Vec<String>> {
    [
        ("value", &library.value, &form.value),
        ("low", &library.low, &form.low),
        ("high", &library.high, &form.high),
        ("line", &library.line, &form.line),
        ("temperature", &library.temperature, &form.temperature),
        ("solvent", &library.solvent, &form.solvent),
        ("concentration", &library.concentration, &form.concentration),
        ("length", &library.length, &form.length),
        ("ee", &library.ee, &form.ee),
        ("form", &library.form, &form.form),
        ("basis", &library.basis, &form.basis),
        ("place", &library.place, &form.place),
    ]
    .into_iter()
    .filter(|(_, a, b)| a != b)
    .map(|(name, a, b)| vec![name.to_owned(), a.clone(), b.clone()])
    .collect()
}

/// `GET /review`: drafts that wait. Findings are named without their reasons, which hold values.
pub(super) async fn review(
    State(app): State<Arc<App>>,
    Extension(visitor): Extension<Visitor>,
) -> Result<Response, PageFailure> {
    let (drafts, waiting) = app
        .read(|library| {
            let waiting = review::waiting(library, MOST_DRAFTS, &Settings::default())?;
            Ok((library.n_drafts()?, waiting))
        })
        .await?;
    let page = ReviewPage {
        frame: Frame::new(&app, &visitor, "Drafts that wait for review", "/review"),
        drafts,
        waiting: waiting
            .iter()
            .map(|waiting| {
                let place = PlaceJson::from(&waiting.place);
                let mut findings: Vec<&str> = waiting.findings.iter().map(|finding| finding.code.as_str()).collect();
                if place.differences_open {
                    findings.insert(0, "second keying differs");
                }
                WaitingRow {
                    entry: place.entry,
                    since: (place.added_at.as_deref().and_then(|at| at.get(..10)))
                        .unwrap_or_default()
                        .to_owned(),
                    by: place.keyed_by.join(", "),
                    compound: place.compound_name,
                    source: place.citation,
                    place: place.place.unwrap_or_default(),
                    findings: findings.join(", "),
                }
            })
            .collect(),
    };
    Ok(html(StatusCode::OK, &page))
}

fn key_page(app: &App, visitor: &Visitor, place: &PlaceJson) -> KeyPage {
    let mut rows = vec![
        ("Compound", place.compound_name.clone()),
        ("Source", place.citation.clone()),
        ("Keyed by", place.keyed_by.join(", ")),
    ];
    for (name, text) in [
        ("Substance in the source", &place.substance),
        ("DOI", &place.doi),
        ("Place", &place.place),
        ("Read at", &place.url),
    ] {
        if let Some(text) = text {
            rows.push((name, text.clone()));
        }
    }
    KeyPage {
        frame: Frame::new(app, visitor, format!("Entry {}: second keying", place.entry), "/review"),
        entry: place.entry,
        place: rows,
        ..KeyPage::default()
    }
}

/// `GET /review/{id}`: the form of a second keying.
pub(super) async fn key_form(
    State(app): State<Arc<App>>,
    Extension(visitor): Extension<Visitor>,
    Path(id): Path<String>,
) -> Result<Response, PageFailure> {
    let id = entry_id(&id)?;
    let place = app
        .read(move |library| Ok(PlaceJson::from(&review::place(library, id)?)))
        .await?;
    Ok(html(StatusCode::OK, &key_page(&app, &visitor, &place)))
}

/// A second keying.
#[derive(Deserialize, Default)]
#[serde(default)]
struct Keyed {
    token: String,
    by: String,
    text: String,
    confirm: String,
}

/// `POST /review/{id}`: compares the second keying with the first.
pub(super) async fn key_again(
    State(app): State<Arc<App>>,
    Extension(visitor): Extension<Visitor>,
    Path(id): Path<String>,
    body: Body,
) -> Result<Response, PageFailure> {
    let id = entry_id(&id)?;
    let keyed: Keyed = form(body).await?;
    visitor.may_write(&keyed.token)?;
    let change = app.change(&visitor, &keyed.by, "");
    let may_confirm = keyed.confirm == "on" && visitor.may(Act::Curate);
    let text = keyed.text.clone();
    let outcome = app
        .write(move |library| {
            let mut found = notation::read(&text);
            if found.len() != 1 {
                return Err(Failure::usage(
                    "not-one-statement",
                    format!("{} rotations are found in the text, not one", found.len()),
                )
                .hint("key the text of one value as it is printed, such as [α]D20 −12.3 (c 0.5, MeOH)"));
            }
            let statement = found.remove(0).statement;
            Ok(review::key_again(library, id, &statement, may_confirm, None, &change)?)
        })
        .await;
    let keyed_now = match outcome {
        Ok(keyed) => keyed,
        Err(failure) => {
            let place = app
                .read(move |library| Ok(PlaceJson::from(&review::place(library, id)?)))
                .await?;
            let page = KeyPage {
                text: keyed.text,
                by: keyed.by,
                problem: Some(Problem::new(&failure, |_| String::new())),
                ..key_page(&app, &visitor, &place)
            };
            return Ok(html(status(&failure), &page));
        }
    };
    let differences = &keyed_now.keying.differences;
    let page = DonePage {
        frame: Frame::new(&app, &visitor, format!("Entry {id}: second keying"), "/review"),
        sentences: vec![match (differences.is_empty(), keyed_now.confirmed) {
            (true, true) => format!("Both keyings agree; entry {id} is confirmed."),
            (true, false) => format!("Both keyings agree; entry {id} is still a draft."),
            _ => format!("The keyings differ; entry {id} stays a draft until it is mended or keyed again."),
        }],
        differences: Grid {
            caption: "Differences between the keyings".to_owned(),
            heads: vec!["field", "first", "second"],
            rows: differences
                .iter()
                .map(|d| {
                    let of = |text: &Option<String>| text.clone().unwrap_or_else(|| "nothing".to_owned());
                    vec![d.field.clone(), of(&d.first), of(&d.second)]
                })
                .collect(),
        },
        links: vec![
            Link {
                to: format!("/entries/{id}"),
                words: format!("Entry {id}"),
            },
            Link {
                to: "/review".to_owned(),
                words: "Other drafts".to_owned(),
            },
        ],
    };
    Ok(html(StatusCode::OK, &page))
}

/// `GET /audit`: what is probably wrong.
pub(super) async fn audit(
    State(app): State<Arc<App>>,
    Extension(visitor): Extension<Visitor>,
) -> Result<Response, PageFailure> {
    let audit = app.audit().await?;
    let page = AuditPage {
        frame: Frame::new(&app, &visitor, "Audit", "/audit"),
        scope: format!(
            "{} entries of {} compounds were gone over. {} findings are open, {} were accepted by somebody.",
            audit.scope.entries, audit.scope.compounds, audit.open, audit.accepted
        ),
        summary: Grid {
            caption: "Findings by kind, the gravest first".to_owned(),
            heads: vec!["severity", "kind", "open", "accepted", "meaning"],
            rows: audit
                .summary
                .iter()
                .map(|count| {
                    vec![
                        count.severity.as_str().to_owned(),
                        count.code.as_str().to_owned(),
                        count.open.to_string(),
                        count.accepted.to_string(),
                        count.meaning.to_owned(),
                    ]
                })
                .collect(),
        },
        hidden: audit.findings.len().saturating_sub(MOST_FINDINGS),
        findings: audit
            .findings
            .iter()
            .take(MOST_FINDINGS)
            .map(|finding| FindingRow {
                severity: finding.severity.as_str(),
                code: finding.code.as_str(),
                compound: finding.compound,
                name: finding.compound_name.clone(),
                entries: finding.entries.clone(),
                reason: finding.reason.clone(),
            })
            .collect(),
    };
    Ok(html(StatusCode::OK, &page))
}
