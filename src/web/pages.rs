//! Pages that read: search, a compound, and a text with the statements found in it.

use super::app::App;
use super::fields::{StatementFields, form};
use super::guard::Visitor;
use super::views::{
    CompoundPage, EntryRow, FoundRow, Frame, Grid, HitRow, Link, PageFailure, Plot, ReadPage, SearchPage, SourceRow,
    Stretch, html, problem, signs,
};
use crate::compare::Conditions;
use crate::library::{Compound, CompoundId, Entry, Filter, Library, ReviewState, Source};
use crate::notation;
use crate::report::failure::{self, Failure};
use crate::report::svg::{self, Dot, Place};
use crate::report::{entry as words, json, number};
use crate::statement::{RotationKind, Statement};
use crate::tasks;
use crate::tasks::resolve::resolve;
use crate::tasks::show::{Relative, Shown};
use axum::Extension;
use axum::body::Body;
use axum::extract::{Path, Query, State};
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Response};
use serde::Deserialize;
use std::sync::Arc;

/// Most compounds a search lists.
const MOST_HITS: usize = 50;
/// Most values a plot draws.
const MOST_DOTS: usize = 500;

/// What a page's address may ask.
#[derive(Deserialize)]
pub(super) struct Asked {
    #[serde(default)]
    q: String,
    #[serde(default)]
    token: String,
}

/// `GET /style.css`
pub(super) async fn style() -> Response {
    let kind = [
        (header::CONTENT_TYPE, "text/css; charset=utf-8"),
        (header::CACHE_CONTROL, "max-age=300"),
    ];
    (kind, include_str!("style.css")).into_response()
}

/// Any other address.
pub(super) async fn not_found(uri: axum::http::Uri) -> Response {
    let failure = Failure::usage("not-found", "there is no such page").hint("start at the search");
    problem(StatusCode::NOT_FOUND, &failure, uri.path().starts_with("/api/"))
}

/// What is there, but not for this method.
pub(super) async fn wrong_method(uri: axum::http::Uri) -> Response {
    let failure = Failure::usage("method", "this address does not answer to that method");
    problem(
        StatusCode::METHOD_NOT_ALLOWED,
        &failure,
        uri.path().starts_with("/api/"),
    )
}

/// `GET /start?token=…`: lets this browser write.
pub(super) async fn start(State(app): State<Arc<App>>, Query(asked): Query<Asked>) -> Response {
    match app.start(&asked.token) {
        Some(kept) => (
            StatusCode::SEE_OTHER,
            [
                (header::LOCATION, "/".to_owned()),
                (header::SET_COOKIE, app.cookie(&kept)),
            ],
        )
            .into_response(),
        None => problem(
            StatusCode::FORBIDDEN,
            &Failure::usage("start", "this address does not allow writing")
                .hint("use the one that biot serve printed when it started"),
            false,
        ),
    }
}

/// `GET /`: search.
pub(super) async fn search(
    State(app): State<Arc<App>>,
    Extension(visitor): Extension<Visitor>,
    Query(asked): Query<Asked>,
) -> Result<Response, PageFailure> {
    let text = asked.q.trim().to_owned();
    let mut page = SearchPage {
        frame: Frame::new(&app, &visitor, "Search", "/"),
        text: text.clone(),
        asked: !text.is_empty(),
        ..SearchPage::default()
    };
    if text.is_empty() {
        let counts = app.read(|library| Ok(tasks::care::statistics(library)?)).await?;
        page.holds = format!(
            "This library holds {} compounds, {} values and {} specifications from {} sources; {} drafts wait for review.",
            counts.compounds, counts.values, counts.specifications, counts.sources, counts.drafts
        );
    } else {
        page.frame.title = format!("{text}: search");
        let found = app
            .read(move |library| Ok(tasks::search::search(library, &text, &Filter::default(), MOST_HITS)?))
            .await?;
        page.notice = found.notice.unwrap_or_default();
        page.hits = found
            .hits
            .iter()
            .map(|summary| {
                let compound = &summary.hit.compound;
                HitRow {
                    id: compound.id.0,
                    name: compound.name.clone(),
                    matched: Some(&summary.hit.matched)
                        .filter(|matched| **matched != compound.name)
                        .cloned()
                        .unwrap_or_default(),
                    formula: compound.formula.clone().unwrap_or_default(),
                    values: summary.entries.n_values,
                    signs: signs(json::signs(summary.entries.signs)),
                    range: (summary.entries.range)
                        .map(|(low, high)| {
                            let (low, high) = (number::signed(low, 1), number::signed(high, 1));
                            if low == high { low } else { format!("{low} to {high}") }
                        })
                        .unwrap_or_default(),
                }
            })
            .collect();
    }
    Ok(html(StatusCode::OK, &page))
}

/// The one compound a text means; a bare number is a compound's number.
///
/// # Errors
/// With the candidates when it means several, or with the nearest names when it means none.
pub(super) fn compound_of(library: &Library, text: &str) -> Result<Compound, Failure> {
    let text = text.trim();
    if let Ok(number) = text.parse()
        && text.bytes().all(|b| b.is_ascii_digit())
    {
        return Ok(library.compound(CompoundId(number))?);
    }
    failure::one_compound(text, resolve(library, text)?).map_err(|told| told.0)
}

/// `GET /compounds/{id}`
pub(super) async fn compound(
    State(app): State<Arc<App>>,
    Extension(visitor): Extension<Visitor>,
    Path(id): Path<String>,
) -> Result<Response, PageFailure> {
    let (shown, mirrored) = app
        .read(move |library| {
            let compound = compound_of(library, &id)?;
            let shown = tasks::show::show(library, compound.id)?;
            let mirrored = match &shown.mirror_image {
                Some(mirror) => library.entries(mirror.compound.id)?,
                None => Vec::new(),
            };
            Ok((shown, mirrored))
        })
        .await?;
    let frame = Frame::new(&app, &visitor, &shown.compound.name, "/");
    Ok(html(StatusCode::OK, &compound_page(frame, &shown, &mirrored)))
}

fn compound_page(frame: Frame, shown: &Shown, mirrored: &[Entry]) -> CompoundPage {
    let compound = &shown.compound;
    let mut keys = Vec::new();
    let mut key = |name, text: Option<String>| {
        if let Some(text) = text.filter(|text| !text.is_empty()) {
            keys.push((name, text));
        }
    };
    key("Also named", Some(compound.other_names.join("; ")));
    key("Formula", compound.formula.clone());
    key(
        "Molar mass",
        compound
            .molar_mass
            .map(|mass| format!("{:.2} g/mol", mass.grams_per_mole())),
    );
    key("CAS number", Some(compound.cas.join(", ")));
    key("InChIKey", compound.inchikey.clone());
    key("SMILES", compound.smiles.clone());
    key("Configuration", compound.descriptor.clone());
    let link = |relative: &Relative| {
        let signs = signs(json::signs(relative.signs));
        Link {
            to: format!("/compounds/{}", relative.compound.id),
            words: format!(
                "{} ({} value{}{}{signs})",
                relative.compound.name,
                relative.n_values,
                if relative.n_values == 1 { "" } else { "s" },
                if signs.is_empty() { "" } else { ", " },
            ),
        }
    };
    let mut relatives = Vec::new();
    for (name, of) in [
        ("Mirror image", shown.mirror_image.iter().collect::<Vec<_>>()),
        ("Other stereoisomers", shown.stereoisomers.iter().collect()),
        ("Salts, hydrates, parent", shown.related_forms.iter().collect()),
    ] {
        if !of.is_empty() {
            relatives.push((name, of.into_iter().map(link).collect()));
        }
    }
    let row = |entry: &Entry| EntryRow {
        id: entry.id.0,
        value: number::stated_value(&entry.statement),
        conditions: words::conditions(&entry.statement),
        standing: words::standing(entry),
        source: shown.source_number(entry.source),
    };
    let of_source = |source: &Source| {
        (shown.values.iter().chain(&shown.specifications))
            .filter(|entry| entry.source == source.id)
            .map(|entry| entry.id.0)
            .collect::<Vec<_>>()
    };
    let sources: Vec<(Source, Vec<i64>)> = shown
        .sources
        .iter()
        .map(|source| (source.clone(), of_source(source)))
        .collect();
    let (plots, not_drawn) = plots(shown, mirrored);
    CompoundPage {
        frame,
        id: compound.id.0,
        name: compound.name.clone(),
        keys,
        relatives,
        has_mirror_values: !mirrored.is_empty() && !plots.is_empty(),
        plots,
        not_drawn: not_drawn.join(", "),
        values: shown.values.iter().map(row).collect(),
        specifications: shown.specifications.iter().map(row).collect(),
        sources: source_rows(&sources),
    }
}

/// Sources with the numbers of their entries.
pub(super) fn source_rows(sources: &[(Source, Vec<i64>)]) -> Vec<SourceRow> {
    sources
        .iter()
        .enumerate()
        .map(|(at, (source, entries))| SourceRow {
            number: at + 1,
            citation: source.citation.clone(),
            doi: source.doi.clone().unwrap_or_default(),
            entries: entries
                .iter()
                .map(|entry| format!("#{entry}"))
                .collect::<Vec<_>>()
                .join(", "),
        })
        .collect()
}

/// A value of either hand, to draw.
struct Drawn<'a> {
    statement: &'a Statement,
    id: i64,
    value: f64,
    mirror: bool,
    counts: bool,
}

/// Where a value stands on an axis, if it is known.
type PlaceOf<'a> = dyn Fn(&Statement) -> Option<Place> + 'a;

/// The values of both hands against each condition that varies, and the conditions that do not.
fn plots(shown: &Shown, mirrored: &[Entry]) -> (Vec<Plot>, Vec<&'static str>) {
    let own = shown.values.iter().map(|entry| (entry, false));
    let drawn: Vec<Drawn<'_>> = own
        .chain(mirrored.iter().map(|entry| (entry, true)))
        .filter(|(entry, _)| entry.state != ReviewState::Withdrawn && entry.statement.kind == RotationKind::Specific)
        .filter_map(|(entry, mirror)| {
            Some(Drawn {
                statement: &entry.statement,
                id: entry.id.0,
                value: entry.statement.central_value()?,
                mirror,
                counts: words::counts(entry),
            })
        })
        .take(MOST_DOTS)
        .collect();
    // Values without a solvent have a place of their own beside those with one.
    let is_stated = drawn.iter().any(|value| value.statement.solvent.is_some());
    let solvent = |s: &Statement| match &s.solvent {
        Some(solvent) => Some(Place::Named(solvent.to_string())),
        None => is_stated.then(|| Place::Named("not printed".to_owned())),
    };
    let temperature = |s: &Statement| s.temperature.as_ref()?.celsius().map(|(t, _)| Place::At(t));
    // As it is compared, whatever the unit printed.
    let concentration = |s: &Statement| {
        let c = Conditions::of(s, shown.compound.molar_mass).concentration?;
        Some(Place::At(c.grams_per_100_millilitres()))
    };
    let wavelength = |s: &Statement| Some(Place::At(s.line.as_ref()?.wavelength()?.to_air().nanometres()));
    let each: [(&str, &str, &str, &PlaceOf<'_>); 4] = [
        ("solvent", "Values by solvent", "solvent", &solvent),
        (
            "temperature",
            "Values against temperature",
            "temperature / °C",
            &temperature,
        ),
        (
            "concentration",
            "Values against concentration",
            "c / (g/100 mL)",
            &concentration,
        ),
        (
            "wavelength",
            "Values against wavelength",
            "wavelength in air / nm",
            &wavelength,
        ),
    ];
    let (mut plots, mut not_drawn) = (Vec::new(), Vec::new());
    for (id, title, axis, place) in each {
        match plot(id, title, axis, &drawn, place) {
            Some(plot) => plots.push(plot),
            None => not_drawn.push(id),
        }
    }
    (plots, not_drawn)
}

/// One plot; none where fewer than two values have a place on it.
fn plot(id: &str, title: &str, axis: &'static str, drawn: &[Drawn<'_>], place: &PlaceOf<'_>) -> Option<Plot> {
    let mut dots = Vec::new();
    let mut rows = Vec::new();
    for value in drawn {
        let Some(at) = place(value.statement) else { continue };
        rows.push(vec![
            match &at {
                Place::At(x) => number::number(*x, if x.fract() == 0.0 { 0 } else { 2 }),
                Place::Named(name) => name.clone(),
            },
            number::stated_value(value.statement),
            format!("#{}{}", value.id, if value.mirror { ", mirror image" } else { "" }),
            words::conditions(value.statement),
        ]);
        dots.push(Dot {
            place: at,
            value: value.value,
            label: format!("#{}: {}", value.id, words::statement_sentence(value.statement)),
            mirror: value.mirror,
            counts: value.counts,
        });
    }
    // Values at one place tell nothing of a dependence; by solvent they still tell how they scatter.
    let differs = |dot: &Dot| match (&dot.place, &dots[0].place) {
        (Place::At(a), Place::At(b)) => (a - b).abs() > 1e-9,
        _ => true,
    };
    if dots.len() < 2 || !dots.iter().any(differs) {
        return None;
    }
    let svg = svg::points(id, title, axis, "[α] / (deg mL g⁻¹ dm⁻¹)", &dots);
    Some(Plot {
        title: title.to_owned(),
        svg,
        grid: Grid {
            caption: format!("{title}: the numbers of the drawing"),
            heads: vec![axis, "[α]", "entry", "conditions"],
            rows,
        },
    })
}

/// `GET /read`: the empty form.
pub(super) async fn read_form(State(app): State<Arc<App>>, Extension(visitor): Extension<Visitor>) -> Response {
    let page = ReadPage {
        frame: Frame::new(&app, &visitor, "Read a text", "/read"),
        ..ReadPage::default()
    };
    html(StatusCode::OK, &page)
}

/// A text to read.
#[derive(Deserialize, Default)]
#[serde(default)]
struct Text {
    text: String,
}

/// `POST /read`: the text with what was found in it. Nothing is stored.
pub(super) async fn read(
    State(app): State<Arc<App>>,
    Extension(visitor): Extension<Visitor>,
    body: Body,
) -> Result<Response, PageFailure> {
    let Text { text } = form(body).await?;
    let (text, found) = tokio::task::spawn_blocking(move || {
        let found = notation::read(&text);
        (text, found)
    })
    .await
    .map_err(|_| Failure::usage("broken", "the text could not be read"))?;
    let mut page = ReadPage {
        frame: Frame::new(&app, &visitor, "Read a text", "/read"),
        asked: true,
        who: app.who(&visitor).to_owned(),
        ..ReadPage::default()
    };
    let mut at = 0;
    for (place, found) in found.iter().enumerate() {
        let number = place + 1;
        // Statements that share words overlap; the later one starts where the earlier one ends.
        let start = found.start.max(at);
        let end = found.end.max(start);
        let piece = |from: usize, to: usize| text.get(from..to).unwrap_or_default().to_owned();
        page.stretches.push(Stretch {
            text: piece(at, start),
            statement: None,
        });
        page.stretches.push(Stretch {
            text: piece(start, end),
            statement: Some(number),
        });
        at = end;
        page.found.push(FoundRow {
            number,
            printed: found.statement.as_printed.clone(),
            sentence: words::statement_sentence(&found.statement),
            doubts: found.statement.doubts.clone(),
            fields: StatementFields::from(&found.statement),
        });
    }
    page.stretches.push(Stretch {
        text: text.get(at..).unwrap_or_default().to_owned(),
        statement: None,
    });
    page.text = text;
    Ok(html(StatusCode::OK, &page))
}
