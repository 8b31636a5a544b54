//! The dispersion of a compound: what one source gives at several lines, the law through it, and the values it carries to
//! the usual lines. Where there is none to draw, the page says why.

use super::app::App;
use super::guard::Visitor;
use super::pages::compound_of;
use super::plots;
use super::views::{Frame, Grid, Link, PageFailure, Plot, html};
use crate::library::{Compound, Library};
use crate::quantity::parse_line;
use crate::report::dispersion as told;
use crate::report::failure::Failure;
use crate::report::options::in_page_words;
use crate::report::{entry as words, number};
use crate::statement::StatedTemperature;
use crate::tasks::dispersion::{self, DispersionRequest, LEAST_LINES, LineTable};
use askama::Template;
use axum::Extension;
use axum::extract::{Path, Query, State};
use axum::http::StatusCode;
use axum::response::Response;
use axum::routing::get;
use serde::Deserialize;
use std::sync::Arc;

/// The lines that rotations are printed at: of mercury, sodium and the red laser (common practice).
const USUAL_LINES: [&str; 7] = ["365.0", "404.7", "435.8", "546.1", "578.0", "D", "632.8"];
/// Most entries that are named as left out.
const MOST_LEFT_OUT: usize = 50;

/// The routes of this part.
pub(super) fn routes() -> axum::Router<Arc<App>> {
    axum::Router::new().route("/compounds/{id}/dispersion", get(page))
}

/// Which of the tables is wanted; they are counted from 1.
#[derive(Deserialize, Default)]
#[serde(default)]
struct Asked {
    table: String,
}

#[derive(Template, Default)]
#[template(path = "dispersion.html", config = "src/web/askama.toml")]
struct DispersionPage {
    frame: Frame,
    compound: Link,
    /// Why nothing is drawn; empty when something is.
    why_not: Vec<String>,
    source: String,
    sample: String,
    law: String,
    facts: Vec<(String, String)>,
    warnings: Vec<String>,
    plot: Plot,
    carried: Grid,
    entries: Grid,
    left_out: Grid,
    others: Vec<Link>,
}

/// `GET /compounds/{id}/dispersion`
async fn page(
    State(app): State<Arc<App>>,
    Extension(visitor): Extension<Visitor>,
    Path(id): Path<String>,
    Query(asked): Query<Asked>,
) -> Result<Response, PageFailure> {
    let mut page = app
        .read(move |library| {
            let compound = compound_of(library, &id)?;
            let asked = asked.table.parse().unwrap_or(1_usize).saturating_sub(1);
            page_of(library, &compound, asked)
        })
        .await?;
    page.frame = Frame::new(&app, &visitor, format!("{}: dispersion", page.compound.words), "/");
    Ok(html(StatusCode::OK, &page))
}

fn page_of(library: &Library, compound: &Compound, asked: usize) -> Result<DispersionPage, Failure> {
    let (tables, left_out) = dispersion::tables_of(library, compound.id)?;
    let to = format!("/compounds/{}", compound.id);
    let page = DispersionPage {
        compound: Link {
            to: to.clone(),
            words: compound.name.clone(),
        },
        left_out: Grid {
            caption: "Entries that give no value at a line".to_owned(),
            heads: vec!["entry", "why"],
            rows: (left_out.iter().take(MOST_LEFT_OUT))
                .map(|(entry, why)| vec![format!("#{entry}"), why.clone()])
                .collect(),
        },
        ..DispersionPage::default()
    };
    let (large, small): (Vec<_>, Vec<_>) = tables.into_iter().partition(|it| it.lines_nm.len() >= LEAST_LINES);
    let Some(table) = large.get(asked).or_else(|| large.first()) else {
        return Ok(DispersionPage {
            why_not: why_not(small.first()),
            ..page
        });
    };
    let others = (large.iter().enumerate())
        .filter(|(_, other)| other.entries[0].id != table.entries[0].id)
        .map(|(at, other)| {
            let source = library.source(other.source)?;
            Ok(Link {
                to: format!("{to}/dispersion?table={}", at + 1),
                words: format!("{}: {}", sample(other), words::source(&source)),
            })
        })
        .collect::<Result<_, Failure>>()?;
    drawn(library, compound, table, DispersionPage { others, ..page })
}

/// The page of one table.
fn drawn(
    library: &Library,
    compound: &Compound,
    table: &LineTable,
    page: DispersionPage,
) -> Result<DispersionPage, Failure> {
    let request = DispersionRequest {
        at: (USUAL_LINES.iter()).filter_map(|line| parse_line(line).ok()).collect(),
        ..DispersionRequest::default()
    };
    let made = dispersion::of_table(table, &request)?;
    let found = &made.dispersion;
    let mut warnings: Vec<String> = found.flags.iter().map(|flag| in_page_words(&flag.sentence)).collect();
    warnings.extend(mixed(table));
    if found.law().is_none() {
        let reasons = [("one term", &found.one_term), ("two terms", &found.two_term)];
        for (terms, law) in reasons {
            if let Err(error) = law {
                warnings.push(format!("No law of {terms} is drawn: {error}."));
            }
        }
    }
    Ok(DispersionPage {
        source: words::source(&library.source(table.source)?),
        sample: sample(table),
        law: told::law_words(found),
        facts: told::facts(found),
        warnings,
        plot: plots::dispersion("dispersion", &compound.name, found),
        carried: Grid {
            caption: "By the law at the usual lines; the digits in brackets are the standard uncertainty".to_owned(),
            heads: vec!["line / nm", "[α]", "remark"],
            rows: (USUAL_LINES.iter().zip(&made.predicted))
                .map(|(line, (at, predicted))| {
                    let nm = number::number(at.to_air().nanometres(), 1);
                    let (value, remark) = told::predicted_words(predicted);
                    let line = if *line == "D" { format!("D ({nm})") } else { nm };
                    vec![line, value, remark]
                })
                .collect(),
        },
        entries: Grid {
            caption: "The entries it is drawn from".to_owned(),
            heads: vec!["entry", "value as printed", "conditions"],
            rows: (table.entries.iter())
                .map(|entry| {
                    vec![
                        format!("#{}", entry.id),
                        number::stated_value(&entry.statement),
                        words::conditions(&entry.statement),
                    ]
                })
                .collect(),
        },
        ..page
    })
}

/// What was measured: the solvent, with form and stage where they are printed.
fn sample(table: &LineTable) -> String {
    let mut words = vec![match &table.solvent {
        Some(solvent) => format!("in {solvent}"),
        None => "with no solvent printed".to_owned(),
    }];
    words.extend(table.form.clone());
    words.extend(table.stage.map(|stage| format!("{} rotation", stage.as_str())));
    words.join(", ")
}

/// Where values at several temperatures or concentrations are taken together.
fn mixed(table: &LineTable) -> Vec<String> {
    let several = |what: &str, said: Vec<String>| {
        let mut said: Vec<String> = said.into_iter().filter(|text| !text.is_empty()).collect();
        said.sort();
        said.dedup();
        (said.len() > 1).then(|| {
            format!(
                "Values at several {what} ({}) are taken together: their difference is in the scatter.",
                said.join("; ")
            )
        })
    };
    let temperatures = (table.entries.iter())
        .map(|it| &it.statement)
        .filter(|it| {
            matches!(
                it.temperature,
                Some(StatedTemperature::At(_) | StatedTemperature::Range(..))
            )
        })
        .map(|it| format!("{} °C", words::temperature(it)));
    let concentrations = (table.entries.iter())
        .filter_map(|it| it.statement.concentration.as_ref())
        .map(words::concentration);
    several("temperatures", temperatures.collect())
        .into_iter()
        .chain(several("concentrations", concentrations.collect()))
        .collect()
}

/// Why nothing can be drawn, from the table with most lines.
fn why_not(most: Option<&LineTable>) -> Vec<String> {
    let first = match most {
        None => "The library holds no value of this compound at a known wavelength that may be used.".to_owned(),
        Some(table) => {
            let lines: Vec<String> = table.lines_nm.iter().map(|nm| number::number(*nm, 1)).collect();
            let most = match &lines[..] {
                [one] => format!("what there is was read at {one} nm alone"),
                several => format!("the most is {}: {} nm", several.len(), several.join(" and ")),
            };
            format!(
                "No source gives values of this compound at {LEAST_LINES} lines or more in one solvent; {most}, {}.",
                sample(table)
            )
        }
    };
    vec![
        first,
        "A law of Drude has two constants: through two lines it always runs, and nothing would show whether it holds. Values of \
         different sources are not joined, because their differences would pass for dispersion."
            .to_owned(),
        "Store the other lines of a published table, or measure a sample at several lines: readings with a column of \
         wavelengths are fitted where they are reduced."
            .to_owned(),
    ]
}
