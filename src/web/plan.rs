//! What to measure, at which conditions, with how much sample.

use super::app::App;
use super::check::address;
use super::fields::{CheckFields, field};
use super::guard::Visitor;
use super::pages::compound_of;
use super::views::{Frame, Grid, Problem, html, status};
use crate::compare::Conditions;
use crate::library::Library;
use crate::plan::Bench;
use crate::quantity::{self, Angle, Concentration, Length};
use crate::report::failure::Failure;
use crate::report::options::in_page_words;
use crate::report::plan as words;
use crate::tasks::check::CheckSettings;
use crate::tasks::plan::{PlanRequest, PlanResult, ProposalShown, plan_measurement};
use crate::tasks::typed;
use askama::Template;
use axum::Extension;
use axum::extract::rejection::QueryRejection;
use axum::extract::{Query, State};
use axum::http::StatusCode;
use axum::response::Response;
use axum::routing::get;
use serde::Deserialize;
use std::sync::Arc;

/// The routes of this part.
pub(super) fn routes() -> axum::Router<Arc<App>> {
    axum::Router::new().route("/plan", get(page))
}

/// What is asked: the names and units of the options of `biot plan`.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
struct PlanFields {
    compound: String,
    cells: String,
    mass: String,
    volume: String,
    density: String,
    angle_uncertainty: String,
    solvent: String,
    temp: String,
    line: String,
    conc: String,
    form: String,
    wanted: String,
    expected_purity: String,
}

#[derive(Template, Default)]
#[template(path = "plan.html", config = "src/web/askama.toml")]
struct PlanPage {
    frame: Frame,
    fields: PlanFields,
    problem: Option<Problem>,
    name: String,
    compound: i64,
    sentence: String,
    cells: Grid,
    others: Grid,
    remarks: Vec<String>,
    checklist: Vec<String>,
    cautions: Vec<String>,
    check: String,
    /// Whether there is an answer.
    answered: bool,
}

/// `GET /plan`: the form, or the plan of the fields in the address.
async fn page(
    State(app): State<Arc<App>>,
    Extension(visitor): Extension<Visitor>,
    query: Result<Query<PlanFields>, QueryRejection>,
) -> Response {
    let frame = Frame::new(&app, &visitor, "Plan a measurement", "/plan");
    let (fields, answer) = match query {
        Err(error) => {
            let failure = Failure::usage("query", format!("the address cannot be read: {}", error.body_text()));
            (PlanFields::default(), Err(failure))
        }
        Ok(Query(fields)) if fields.compound.trim().is_empty() => {
            let page = PlanPage {
                frame,
                fields,
                ..PlanPage::default()
            };
            return html(StatusCode::OK, &page);
        }
        Ok(Query(fields)) => {
            let asked = fields.clone();
            let answer = app
                .read(move |library| {
                    let request = asked.request(library)?;
                    Ok(plan_measurement(library, &request, &CheckSettings::default())?)
                })
                .await;
            (fields, answer)
        }
    };
    match answer {
        Ok(result) => {
            let page = PlanPage {
                frame: Frame {
                    title: format!("{}: plan", result.name),
                    ..frame
                },
                ..shown(&result, fields)
            };
            html(StatusCode::OK, &page)
        }
        Err(failure) => {
            let page = PlanPage {
                frame,
                problem: Some(Problem::new(&failure, |one| format!("/plan?compound={}", one.compound))),
                fields,
                ..PlanPage::default()
            };
            html(status(&failure), &page)
        }
    }
}

impl PlanFields {
    fn request(&self, library: &Library) -> Result<PlanRequest, Failure> {
        let compound = compound_of(library, &self.compound)?;
        let mut cells: Vec<Length> = Vec::new();
        for text in self.cells.split([',', ';']) {
            cells.extend(field("cells", text, quantity::parse_length)?);
        }
        if cells.is_empty() {
            cells.push(Length::from_millimetres(100.0));
        }
        let share = |name, text: &str, otherwise: f64, least_is_open: bool| {
            let found =
                field(name, text, quantity::parse_percent)?.unwrap_or(quantity::Fraction::from_percent(otherwise));
            let ratio = found.ratio();
            if ratio > 0.0 && (ratio < 1.0 || (!least_is_open && ratio <= 1.0)) {
                Ok(found)
            } else {
                Err(Failure::usage(
                    "field",
                    format!("{name}: it must lie between 0 and 100 %"),
                ))
            }
        };
        let wanted = share("wanted", &self.wanted, 2.0, true)?;
        let expected_purity = share("expected_purity", &self.expected_purity, 90.0, false)?;
        let angle_uncertainty = field("angle_uncertainty", &self.angle_uncertainty, quantity::parse_angle)?;
        if angle_uncertainty.is_some_and(|u: Angle| u.degrees() <= 0.0) {
            return Err(Failure::usage("field", "angle_uncertainty: it must be above zero"));
        }
        let mass = field("mass", &self.mass, quantity::parse_mass)?;
        let volume = field("volume", &self.volume, quantity::parse_volume)?;
        let density = field("density", &self.density, quantity::parse_density)?;
        let stated = field("conc", &self.conc, quantity::parse_concentration)?;
        let concentration = match (stated, mass, volume) {
            (Some(stated), ..) => Some(
                stated
                    .to_mass_concentration(compound.molar_mass, density)
                    .map_err(|error| Failure::usage("quantity", error.to_string()))?,
            ),
            (None, Some(mass), Some(volume)) => Some(Concentration::from_grams_per_100_millilitres(
                100.0 * mass.grams() / volume.millilitres(),
            )),
            _ => None,
        };
        Ok(PlanRequest {
            compound: compound.id,
            fixed: Conditions {
                temperature: field("temp", &self.temp, quantity::parse_temperature)?,
                line: field("line", &self.line, quantity::parse_line)?,
                solvent: field("solvent", &self.solvent, typed::solvent)?,
                concentration,
                ..Conditions::default()
            },
            bench: Bench {
                cells,
                mass,
                volume,
                density,
                angle_uncertainty,
                wanted,
                expected_purity,
            },
            form: Some(self.form.trim().to_owned()).filter(|text| !text.is_empty()),
        })
    }
}

fn shown(result: &PlanResult, fields: PlanFields) -> PlanPage {
    let page = PlanPage {
        answered: true,
        name: result.name.clone(),
        compound: result.compound,
        fields,
        ..PlanPage::default()
    };
    let Some(first) = result.proposals.first() else {
        return PlanPage {
            remarks: result.notes.iter().map(|said| in_page_words(said)).collect(),
            ..page
        };
    };
    PlanPage {
        sentence: words::sentence(first),
        cells: cells(result, first),
        others: Grid {
            caption: "Other conditions, the best first".to_owned(),
            heads: vec![
                "conditions",
                "expected [α]",
                "u of optical purity",
                "close references",
                "sources",
                "chosen here",
            ],
            rows: (result.proposals.iter().skip(1))
                .map(|proposal| words::proposal_row(proposal).into())
                .collect(),
        },
        remarks: words::remarks(result).iter().map(|said| in_page_words(said)).collect(),
        checklist: result.checklist.iter().map(|item| item.sentence.clone()).collect(),
        cautions: result.cautions.clone(),
        check: address(&CheckFields {
            compound: result.compound.to_string(),
            solvent: first.solvent.clone().unwrap_or_default(),
            conc: first.conc_g_per_100ml.map(words::short).unwrap_or_default(),
            temp: first.temperature_c.map(words::short).unwrap_or_default(),
            line: first.line.clone().unwrap_or_default(),
            ..CheckFields::default()
        }),
        ..page
    }
}

fn cells(result: &PlanResult, first: &ProposalShown) -> Grid {
    Grid {
        caption: words::cells_hold_for(result),
        heads: vec![
            "cell",
            "expected angle",
            "95 %",
            "u of [α]",
            "u of optical purity",
            "share of the measurement",
            "for the u wanted",
        ],
        rows: words::cell_rows(first).into_iter().map(Into::into).collect(),
    }
}
