//! A measurement, or a series of batches, against the limits of a monograph.

use super::app::App;
use super::fields::{CheckFields, field};
use super::guard::Visitor;
use super::pages::compound_of;
use super::plots;
use super::sent::{Table, sent};
use super::views::{Frame, Grid, PageFailure, Plot, Problem, html, status};
use crate::compare::limits::{LimitOutcome, Sample};
use crate::library::Library;
use crate::measurement::Amount;
use crate::report::failure::Failure;
use crate::report::{limits as words, number};
use crate::solvent::Solvent;
use crate::tasks::limits::{
    BatchError, BatchLimits, LimitsRequest, LimitsResult, LimitsTrend, MonographAnswer, Reading, batch_limits, limits,
    read_batches, share, with_reading,
};
use crate::tasks::typed;
use askama::Template;
use axum::Extension;
use axum::body::Body;
use axum::extract::rejection::QueryRejection;
use axum::extract::{Query, State};
use axum::http::{HeaderMap, StatusCode};
use axum::response::Response;
use axum::routing::get;
use serde::Deserialize;
use std::sync::Arc;

/// The routes of this part.
pub(super) fn routes() -> axum::Router<Arc<App>> {
    axum::Router::new().route("/limits", get(page).post(series))
}

/// What is asked: the names and units of the options of `biot limits`.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
struct LimitsFields {
    compound: String,
    value: String,
    angle: String,
    uncertainty: String,
    cell: String,
    conc: String,
    mass: String,
    volume: String,
    density: String,
    solvent: String,
    temp: String,
    line: String,
    basis: String,
    water: String,
    loss_on_drying: String,
    read_after: String,
    guard: String,
    batches: String,
}

#[derive(Template, Default)]
#[template(path = "limits.html", config = "src/web/askama.toml")]
struct LimitsPage {
    frame: Frame,
    fields: LimitsFields,
    problem: Option<Problem>,
    name: String,
    compound: i64,
    answers: Vec<AnswerShown>,
    series: Vec<SeriesShown>,
    refused: Grid,
    caution: &'static str,
    answered: bool,
}

/// What one set of limits says of a measurement.
#[derive(Clone, Debug, Default)]
struct AnswerShown {
    source: String,
    tone: &'static str,
    outcome: &'static str,
    sentence: String,
    facts: Vec<(&'static str, String)>,
    steps: Grid,
    method: Grid,
    notes: Vec<String>,
}

/// What one set of limits says of a series.
#[derive(Clone, Debug, Default)]
struct SeriesShown {
    source: String,
    sentence: String,
    facts: Vec<(&'static str, String)>,
    plot: Plot,
    batches: Grid,
}

impl LimitsFields {
    /// What they say of the measurement, as a check takes it.
    fn measured(&self) -> Result<crate::tasks::measured::Measured, Failure> {
        CheckFields {
            value: self.value.clone(),
            angle: self.angle.clone(),
            uncertainty: self.uncertainty.clone(),
            cell: self.cell.clone(),
            conc: self.conc.clone(),
            mass: self.mass.clone(),
            volume: self.volume.clone(),
            density: self.density.clone(),
            solvent: self.solvent.clone(),
            temp: self.temp.clone(),
            line: self.line.clone(),
            ..CheckFields::default()
        }
        .measured()
    }

    fn common(&self, library: &Library) -> Result<(crate::library::Compound, Sample), Failure> {
        let compound = compound_of(library, &self.compound)?;
        let given = self.measured()?;
        let concentration = given.concentration(compound.molar_mass)?;
        let sample = Sample {
            conditions: given.conditions(concentration),
            cell: given.cell,
            basis: field("basis", &self.basis, typed::basis)?,
            water: field("water", &self.water, share)?,
            loss_on_drying: field("loss_on_drying", &self.loss_on_drying, share)?,
            read_after_minutes: field("read_after", &self.read_after, typed::minutes)?,
            molar_mass: compound.molar_mass,
            ..Sample::default()
        };
        Ok((compound, sample))
    }

    fn single(&self, library: &Library) -> Result<LimitsResult, Failure> {
        let (compound, common) = self.common(library)?;
        let given = self.measured()?;
        let reading = match (given.value, given.angle) {
            (Some(value), _) => Reading::Value(value),
            (None, Some(angle)) => Reading::Angle(angle),
            (None, None) => {
                return Err(
                    Failure::usage("measured", "nothing was measured").hint("give a specific rotation or an angle")
                );
            }
        };
        let is_neat = matches!(given.solvent, None | Some(Solvent::Neat));
        let amount = match (given.mass, given.volume, common.conditions.concentration, given.density) {
            (Some(mass), Some(volume), ..) => Some(Amount::MassInVolume { mass, volume }),
            (_, _, Some(concentration), _) => Some(Amount::Concentration(concentration)),
            (_, _, None, Some(density)) if is_neat => Some(Amount::Neat(density)),
            _ => None,
        };
        let request = LimitsRequest {
            compound: compound.id,
            sample: with_reading(common, reading, given.stated_uncertainty()?, amount),
            guard: field("guard", &self.guard, typed::guard)?,
        };
        Ok(limits(library, &request)?)
    }

    fn trend(&self, library: &Library, table: &Table) -> Result<LimitsTrend, Failure> {
        let (compound, common) = self.common(library)?;
        let (batches, refused) = read_batches(table.path(), &common).map_err(|error| match error {
            BatchError::Read(error) => table.in_words(error.into()),
            BatchError::NoValues => Failure::usage("batches", "").told(&error.to_string()),
        })?;
        let guard = field("guard", &self.guard, typed::guard)?;
        Ok(batch_limits(library, compound.id, &batches, refused, guard)?)
    }
}

/// `GET /limits`: the form, or the answer to the fields in the address.
async fn page(
    State(app): State<Arc<App>>,
    Extension(visitor): Extension<Visitor>,
    query: Result<Query<LimitsFields>, QueryRejection>,
) -> Result<Response, PageFailure> {
    let Query(fields) =
        query.map_err(|error| Failure::usage("query", format!("the address cannot be read: {}", error.body_text())))?;
    let frame = Frame::new(&app, &visitor, "Hold against limits", "/limits");
    let is_asked = !(fields.value.trim().is_empty() && fields.angle.trim().is_empty());
    if !is_asked || fields.compound.trim().is_empty() {
        let page = LimitsPage {
            frame,
            fields,
            ..LimitsPage::default()
        };
        return Ok(html(StatusCode::OK, &page));
    }
    let asked = fields.clone();
    let answer = app.read(move |library| asked.single(library)).await;
    Ok(match answer {
        Ok(result) => {
            let page = LimitsPage {
                frame: Frame {
                    title: format!("{}: limits", result.compound.name),
                    ..frame
                },
                answers: result.monographs.iter().map(answer_shown).collect(),
                name: result.compound.name,
                compound: result.compound.compound,
                caution: result.caution,
                answered: true,
                fields,
                ..LimitsPage::default()
            };
            html(StatusCode::OK, &page)
        }
        Err(failure) => refused(frame, fields, &failure),
    })
}

fn refused(frame: Frame, fields: LimitsFields, failure: &Failure) -> Response {
    let page = LimitsPage {
        frame,
        problem: Some(Problem::new(failure, |one| {
            format!("/limits?compound={}", one.compound)
        })),
        fields,
        ..LimitsPage::default()
    };
    html(status(failure), &page)
}

/// `POST /limits`: a series of batches, from a file or pasted. Nothing is stored.
async fn series(
    State(app): State<Arc<App>>,
    Extension(visitor): Extension<Visitor>,
    headers: HeaderMap,
    body: Body,
) -> Response {
    let frame = Frame::new(&app, &visitor, "Hold batches against limits", "/limits");
    let (fields, file) = match sent::<LimitsFields>(&app, &headers, body).await {
        Ok(sent) => sent,
        Err(failure) => return refused(frame, LimitsFields::default(), &failure),
    };
    let table = match Table::of(file, &fields.batches) {
        Ok(Some(table)) => table,
        Ok(None) => {
            let failure =
                Failure::usage("batches", "there is no table of batches").hint("choose a file, or paste its rows");
            return refused(frame, fields, &failure);
        }
        Err(failure) => return refused(frame, fields, &failure),
    };
    let asked = fields.clone();
    match app.read(move |library| asked.trend(library, &table)).await {
        Ok(result) => {
            let page = LimitsPage {
                frame: Frame {
                    title: format!("{}: batches and limits", result.compound.name),
                    ..frame
                },
                series: (1..)
                    .zip(&result.monographs)
                    .map(|(at, monograph)| series_shown(at, &result.compound.name, monograph))
                    .collect(),
                refused: Grid {
                    caption: "Rows that are no batches".to_owned(),
                    heads: vec!["line", "why"],
                    rows: (result.refused.iter())
                        .map(|row| vec![row.line.to_string(), row.reason.clone()])
                        .collect(),
                },
                name: result.compound.name,
                compound: result.compound.compound,
                caution: result.caution,
                answered: true,
                fields,
                ..LimitsPage::default()
            };
            html(StatusCode::OK, &page)
        }
        Err(failure) => refused(frame, fields, &failure),
    }
}

fn answer_shown(monograph: &MonographAnswer) -> AnswerShown {
    let mut facts = vec![("Limits", words::limits_line(&monograph.limits))];
    if let Some(rounded) = &monograph.rounded {
        facts.push((
            "Rounded",
            format!("{} in the digits of the limits", words::signed(rounded)),
        ));
    }
    facts.push(("Decision rule", monograph.decision_rule.to_owned()));
    facts.extend(
        monograph
            .conformity
            .as_ref()
            .map(|it| ("Conformity", words::conformity(it))),
    );
    facts.extend(monograph.guarded.as_ref().map(|it| ("Guard band", words::guarded(it))));
    AnswerShown {
        source: monograph.limits.source.clone(),
        tone: match monograph.outcome {
            LimitOutcome::Inside => "good",
            LimitOutcome::Outside => "bad",
            LimitOutcome::NotDecided => "open",
        },
        outcome: monograph.outcome.as_str(),
        sentence: words::sentence(monograph),
        facts,
        steps: Grid {
            caption: "From the value as measured to the value that is rounded".to_owned(),
            heads: vec!["value", "what it is"],
            rows: (monograph.steps.iter())
                .map(|step| {
                    vec![
                        number::signed_with_uncertainty(step.value, step.standard_uncertainty),
                        step.what.clone(),
                    ]
                })
                .collect(),
        },
        method: Grid {
            caption: "The measurement beside the method".to_owned(),
            heads: vec!["aspect", "method", "measured", "standing"],
            rows: (monograph.method.iter())
                .map(|check| {
                    vec![
                        check.aspect.as_str().to_owned(),
                        check.method.clone().unwrap_or_default(),
                        check.sample.clone().unwrap_or_default(),
                        words::standing(check).to_lowercase(),
                    ]
                })
                .collect(),
        },
        notes: monograph.notes.clone(),
    }
}

fn series_shown(at: usize, of: &str, monograph: &BatchLimits) -> SeriesShown {
    let [inside, outside, open] = monograph.counts;
    let mut facts = vec![
        ("Limits", words::limits_line(&monograph.limits)),
        ("Decision rule", monograph.decision_rule.to_owned()),
    ];
    if !monograph.provided.is_empty() {
        let provided = monograph.provided.join("; ");
        facts.push(("Provided that", format!("the method was followed: {provided}")));
    }
    facts.extend(
        monograph
            .trend
            .as_ref()
            .map(|trend| ("Series", words::trend_sentence(trend))),
    );
    SeriesShown {
        source: monograph.limits.source.clone(),
        sentence: format!(
            "{inside} inside, {outside} outside{}",
            if open > 0 {
                format!(", {open} not decided")
            } else {
                String::new()
            }
        ),
        facts,
        plot: plots::batches(&format!("batches-{at}"), of, monograph),
        batches: Grid {
            caption: "Batches".to_owned(),
            heads: vec![
                "batch",
                "date",
                "value",
                "rounded",
                "conformity",
                "rule",
                "guard band",
                "note",
            ],
            rows: (monograph.batches.iter())
                .map(|batch| {
                    vec![
                        batch.batch.clone(),
                        batch.date.clone().unwrap_or_default(),
                        (batch.value.zip(batch.standard_uncertainty))
                            .map(|(value, u)| number::signed_with_uncertainty(value, u))
                            .unwrap_or_default(),
                        batch.rounded.as_deref().map(words::signed).unwrap_or_default(),
                        batch.probability.map(number::percent).unwrap_or_default(),
                        batch.outcome.as_str().to_owned(),
                        batch.guarded.map(words::acceptance_word).unwrap_or_default().to_owned(),
                        batch.notes.join("; "),
                    ]
                })
                .collect(),
        },
    }
}
