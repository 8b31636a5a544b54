//! From readings to a specific rotation: the form, the result, and keeping it as a measurement.

use super::app::App;
use super::check::address;
use super::fields::{CheckFields, field};
use super::guard::Visitor;
use super::pages::compound_of;
use super::plots;
use super::sent::{Table, sent};
use super::views::{FlagRow, Frame, Grid, Plot, Problem, html, status};
use crate::compound::Formula;
use crate::library::{Compound, EquipmentKind, Library};
use crate::measurement::kinetics::{CourseLaw, duration};
use crate::measurement::{ROTATION_UNIT, Reading, ReadingRole, Uncertainties, monte_carlo};
use crate::quantity::{self, Angle, Fraction, SpectralLine, Temperature};
use crate::report::failure::Failure;
use crate::report::{check as words, number, reduce as report};
use crate::tasks::measurements::{Filing, keep};
use crate::tasks::reduce::{
    Dissolved, ReduceRequest, Registered, RejectedReading, SampleResult, level_in_words, read_readings,
    reduce_readings, typed_angles,
};
use crate::tasks::{dispersion, register, timecourse, typed};
use askama::Template;
use axum::Extension;
use axum::body::Body;
use axum::extract::State;
use axum::http::{HeaderMap, StatusCode, header};
use axum::response::{IntoResponse, Response};
use axum::routing::get;
use serde::{Deserialize, Serialize};
use std::sync::Arc;
use time::OffsetDateTime;

/// Most results that a page shows.
const MOST_RESULTS: usize = 50;
/// Most results with a Monte Carlo check, and its draws and seed: those of the command line.
const MOST_DRAWN: usize = 10;
const TRIALS: u32 = 100_000;
const SEED: u64 = 1;
/// Most rejected rows that are listed.
const MOST_REJECTED: usize = 50;

/// The routes of this part.
pub(super) fn routes() -> axum::Router<Arc<App>> {
    axum::Router::new().route("/reduce", get(form).post(reduce))
}

/// What is asked: the names and units of the options of `biot reduce`.
#[derive(Clone, Debug, Default, Deserialize, Serialize)]
#[serde(default)]
pub(super) struct ReduceFields {
    readings: String,
    blank: String,
    cell: String,
    cell_id: String,
    instrument: String,
    preset: String,
    conc: String,
    mass: String,
    volume: String,
    density: String,
    purity: String,
    residual_solvent: String,
    loss_on_drying: String,
    formula: String,
    weighed_as: String,
    units: String,
    basis: String,
    solvent: String,
    temp: String,
    at: String,
    temperature_coefficient: String,
    line: String,
    sample: String,
    operator: String,
    compound: String,
    uncertainty: String,
    instrument_uncertainty: String,
    cell_uncertainty: String,
    conc_uncertainty: String,
    mass_uncertainty: String,
    volume_uncertainty: String,
    purity_uncertainty: String,
    temp_uncertainty: String,
    #[serde(skip_serializing)]
    token: String,
    #[serde(skip_serializing)]
    keep: String,
    #[serde(skip_serializing)]
    by: String,
    #[serde(skip_serializing)]
    why: String,
}

/// What the register offers.
#[derive(Clone, Debug, Default)]
struct Choices {
    instruments: Vec<String>,
    cells: Vec<String>,
    presets: Vec<String>,
}

#[derive(Template, Default)]
#[template(path = "reduce.html", config = "src/web/askama.toml")]
struct ReducePage {
    frame: Frame,
    fields: ReduceFields,
    choices: Choices,
    problem: Option<Problem>,
    results: Vec<ResultShown>,
    /// All of them at a glance, where there are several.
    summary: Grid,
    dispersion: Option<Plot>,
    dispersion_facts: Vec<String>,
    notices: Vec<String>,
    rejected: Grid,
    hidden: usize,
    /// What is sent again when the result is kept.
    again: Vec<(String, String)>,
    who: String,
}

/// One result.
#[derive(Clone, Debug, Default)]
struct ResultShown {
    heading: String,
    journal: String,
    facts: Vec<(&'static str, String)>,
    flags: Vec<FlagRow>,
    budget: Grid,
    plots: Vec<Plot>,
    course: Vec<String>,
    check: String,
}

/// `GET /reduce`
async fn form(State(app): State<Arc<App>>, Extension(visitor): Extension<Visitor>) -> Response {
    shown(&app, &visitor, ReducePage::default(), None).await
}

/// A page with its form.
async fn shown(app: &Arc<App>, visitor: &Visitor, page: ReducePage, failure: Option<&Failure>) -> Response {
    let choices = app.read(choices).await.unwrap_or_default();
    let fields = page.fields.clone();
    let page = ReducePage {
        frame: Frame::new(app, visitor, "Readings to a specific rotation", "/reduce"),
        choices,
        problem: failure.map(|failure| Problem::new(failure, |one| format!("/compounds/{}", one.compound))),
        who: if fields.operator.trim().is_empty() {
            app.who(visitor).to_owned()
        } else {
            fields.operator.trim().to_owned()
        },
        again: pairs(&fields),
        ..page
    };
    html(failure.map_or(StatusCode::OK, status), &page)
}

fn choices(library: &Library) -> Result<Choices, Failure> {
    let names = |kind| -> Result<Vec<String>, Failure> {
        let listed = register::list(library, Some(kind), false)?;
        Ok(listed.into_iter().map(|it| it.equipment.name).collect())
    };
    Ok(Choices {
        instruments: names(EquipmentKind::Instrument)?,
        cells: names(EquipmentKind::Cell)?,
        presets: names(EquipmentKind::Preset)?,
    })
}

/// The fields that are filled in, to be sent again.
fn pairs(fields: &ReduceFields) -> Vec<(String, String)> {
    let Ok(serde_json::Value::Object(object)) = serde_json::to_value(fields) else {
        return Vec::new();
    };
    object
        .into_iter()
        .filter_map(|(name, value)| Some((name, value.as_str()?.to_owned())))
        .filter(|(_, text)| !text.trim().is_empty())
        .collect()
}

/// What the readings came to.
struct Reduced {
    results: Vec<SampleResult>,
    rejected: Vec<RejectedReading>,
    unmapped: Vec<String>,
    compound: Option<Compound>,
}

/// `POST /reduce`: the result of readings that were typed, pasted or sent as a file; kept when that is asked for.
async fn reduce(
    State(app): State<Arc<App>>,
    Extension(visitor): Extension<Visitor>,
    headers: HeaderMap,
    body: Body,
) -> Response {
    let (mut fields, table) = match sent::<ReduceFields>(&app, &headers, body).await {
        Ok(sent) => sent,
        Err(failure) => return shown(&app, &visitor, ReducePage::default(), Some(&failure)).await,
    };
    let is_kept = !fields.keep.is_empty();
    let asked = fields.clone();
    let answer = if is_kept {
        let change = app.change(&visitor, &fields.by, &fields.why);
        match visitor.may_write(&fields.token) {
            Ok(()) => {
                app.write(move |library| {
                    let (mut made, filing) = reduced(library, &asked, table.as_ref(), change.at)?;
                    let ids = keep(library, &mut made.results, &filing, &change)?;
                    Ok((made, ids))
                })
                .await
            }
            Err(failure) => Err(failure),
        }
    } else {
        app.read(move |library| {
            let (made, _) = reduced(library, &asked, table.as_ref(), OffsetDateTime::now_utc())?;
            Ok((made, Vec::new()))
        })
        .await
    };
    match answer {
        Ok((_, ids)) if is_kept => {
            let to = match ids[..] {
                [one] => format!("/measurements/{one}"),
                _ => "/measurements".to_owned(),
            };
            (StatusCode::SEE_OTHER, [(header::LOCATION, to)]).into_response()
        }
        Ok((made, _)) => {
            if fields.readings.trim().is_empty() {
                fields.readings = as_table(&made.results);
            }
            let page = page(fields, &made);
            shown(&app, &visitor, page, None).await
        }
        Err(failure) => {
            let page = ReducePage {
                fields,
                ..ReducePage::default()
            };
            shown(&app, &visitor, page, Some(&failure)).await
        }
    }
}

/// Reduces what was sent, with what the register says.
fn reduced(
    library: &Library,
    fields: &ReduceFields,
    table: Option<&Table>,
    at: OffsetDateTime,
) -> Result<(Reduced, Filing), Failure> {
    let compound = match fields.compound.trim() {
        "" => None,
        text => Some(compound_of(library, text)?),
    };
    let mut found = Found::default();
    if let Some(table) = table {
        found.add_table(table)?;
    } else if let Some(angles) = typed_angles(&fields.readings) {
        found.add(ReadingRole::Sample, &angles);
    } else if !fields.readings.trim().is_empty() {
        found.add_table(&Table::of_text(&fields.readings)?)?;
    }
    if !fields.blank.trim().is_empty() {
        let blank = typed_angles(&fields.blank).ok_or_else(|| {
            Failure::usage("field", "blank: it holds more than angles")
                .hint("type one angle a line, or put the blanks into the table with the role blank")
        })?;
        found.add(ReadingRole::Blank, &blank);
    }
    let is_single = found.readings.len() == 1 && found.is_typed;
    let mut request = fields.request(compound.as_ref(), is_single)?;
    let groups = {
        let mut groups: Vec<(Option<&str>, Option<u64>)> = (found.readings.iter())
            .filter(|reading| reading.role == ReadingRole::Sample)
            .map(|reading| (reading.sample.as_deref(), reading.wavelength_nm.map(f64::to_bits)))
            .collect();
        groups.sort_unstable();
        groups.dedup();
        groups.len()
    };
    if groups > MOST_DRAWN {
        request.monte_carlo = None;
    }
    let mut filing = Filing {
        compound: compound.as_ref().map(|compound| compound.id),
        ..Filing::default()
    };
    let control = fields
        .registered()
        .fill_in(library, &found.readings, at, &mut request, &mut filing)?;
    let mut results = reduce_readings(&found.readings, &request)?;
    for result in &mut results {
        if found.n_other_units > 0 {
            result.shown.flags.push(report::mixed_units(found.n_other_units));
        }
        result.shown.flags.extend(control.iter().cloned());
        result.shown.flags.sort_by_key(|flag| std::cmp::Reverse(flag.severity));
    }
    Ok((
        Reduced {
            results,
            rejected: found.rejected,
            unmapped: found.unmapped,
            compound,
        },
        filing,
    ))
}

/// Readings as they were found.
#[derive(Default)]
struct Found {
    readings: Vec<Reading>,
    rejected: Vec<RejectedReading>,
    unmapped: Vec<String>,
    n_other_units: usize,
    /// Whether all of them were typed as bare angles.
    is_typed: bool,
}

impl Found {
    fn add(&mut self, role: ReadingRole, angles: &[Angle]) {
        self.is_typed = role == ReadingRole::Sample || self.is_typed;
        for &angle in angles {
            let number = self.readings.len() as u64 + 1;
            self.readings.push(Reading::of(number, role, angle));
        }
    }

    fn add_table(&mut self, table: &Table) -> Result<(), Failure> {
        let file = read_readings(table.path(), &[]).map_err(|error| table.in_words(error.into()))?;
        if file.readings.is_empty() {
            let first =
                (file.rejected.first()).map_or_else(String::new, |row| format!("; row {}: {}", row.line, row.reason));
            let message = format!("none of the {} rows could be used{first}", file.rejected.len());
            return Err(Failure::usage("no-readings", message));
        }
        self.readings = file.readings;
        self.rejected = file.rejected;
        self.unmapped = file.unmapped;
        self.n_other_units = file.n_other_units;
        Ok(())
    }
}

fn share(text: &str) -> Result<Fraction, String> {
    let found = quantity::parse_percent(text).map_err(|error| error.to_string())?;
    if found.ratio() < 0.0 {
        return Err("a share lies from 0 to 100 %".to_owned());
    }
    Ok(found)
}

fn positive_angle(text: &str) -> Result<Angle, String> {
    let angle = quantity::parse_angle(text).map_err(|error| error.to_string())?;
    if angle.degrees() > 0.0 {
        Ok(angle)
    } else {
        Err("it must be above zero".to_owned())
    }
}

fn number_of(text: &str) -> Result<f64, quantity::QuantityError> {
    quantity::parse_number(text.trim_end_matches(['K', ' '])).map(quantity::Printed::value)
}

impl ReduceFields {
    fn registered(&self) -> Registered {
        let name = |text: &str| Some(text.trim().to_owned()).filter(|text| !text.is_empty());
        Registered {
            preset: name(&self.preset),
            cell: name(&self.cell_id),
            instrument: name(&self.instrument),
        }
    }

    fn request(&self, compound: Option<&Compound>, is_single_angle: bool) -> Result<ReduceRequest, Failure> {
        let given = |text: &str| !text.trim().is_empty();
        let text = |text: &str| Some(text.trim().to_owned()).filter(|text| !text.is_empty());
        if given(&self.cell) && given(&self.cell_id) {
            return Err(
                Failure::usage("fields", "a cell length and a cell of the register exclude each other")
                    .hint("leave one of them empty"),
            );
        }
        if given(&self.conc) && given(&self.mass) {
            return Err(
                Failure::usage("fields", "concentration and mass exclude each other").hint("leave one of them empty")
            );
        }
        if given(&self.mass) != given(&self.volume) {
            return Err(Failure::usage("fields", "mass and volume go together").hint("give both, or neither"));
        }
        if given(&self.uncertainty) && !is_single_angle {
            return Err(Failure::usage(
                "uncertainty",
                "the uncertainty of one angle is given, but there are several readings, whose scatter tells it",
            )
            .hint("give that of the instrument instead"));
        }
        let formula = field("formula", &self.formula, Formula::parse)?;
        let weighed_as = field("weighed_as", &self.weighed_as, Formula::parse)?;
        let units = field("units", &self.units, number_of)?.unwrap_or(1.0);
        if units <= 0.0 {
            return Err(Failure::usage("field", "units: it must be a number above zero"));
        }
        let molar_mass = (formula.as_ref().map(Formula::molar_mass)).or_else(|| compound.and_then(|it| it.molar_mass));
        let solvent = field("solvent", &self.solvent, typed::solvent)?;
        let dissolved = Dissolved {
            conc: field("conc", &self.conc, quantity::parse_concentration)?,
            mass: field("mass", &self.mass, quantity::parse_mass)?,
            volume: field("volume", &self.volume, quantity::parse_volume)?,
            density: field("density", &self.density, quantity::parse_density)?,
            solvent: solvent.clone(),
            molar_mass,
        };
        let kelvin =
            |text: &str| field("temp_uncertainty", text, number_of).map(|it| it.map(Temperature::from_celsius));
        Ok(ReduceRequest {
            cell: field("cell", &self.cell, quantity::parse_length)?,
            amount: dissolved.amount()?,
            stated: dissolved.conc,
            line: field("line", &self.line, quantity::parse_line)?,
            solvent,
            temperature: field("temp", &self.temp, quantity::parse_temperature)?,
            at: field("at", &self.at, quantity::parse_temperature)?,
            temperature_coefficient: field("temperature_coefficient", &self.temperature_coefficient, number_of)?,
            purity: field("purity", &self.purity, share)?,
            residual_solvent: field("residual_solvent", &self.residual_solvent, share)?,
            loss_on_drying: field("loss_on_drying", &self.loss_on_drying, share)?,
            basis_factor: dissolved.factor_of(weighed_as.as_ref(), units)?,
            basis: text(&self.basis),
            molar_mass,
            uncertainties: Uncertainties {
                angle: field("uncertainty", &self.uncertainty, positive_angle)?,
                instrument: field("instrument_uncertainty", &self.instrument_uncertainty, positive_angle)?,
                length: field("cell_uncertainty", &self.cell_uncertainty, quantity::parse_length)?,
                concentration: field("conc_uncertainty", &self.conc_uncertainty, share)?,
                mass: field("mass_uncertainty", &self.mass_uncertainty, quantity::parse_mass)?,
                volume: field("volume_uncertainty", &self.volume_uncertainty, quantity::parse_volume)?,
                purity: field("purity_uncertainty", &self.purity_uncertainty, share)?,
                temperature: kelvin(&self.temp_uncertainty)?,
                ..Uncertainties::default()
            },
            is_single_angle,
            sample: text(&self.sample),
            operator: text(&self.operator),
            monte_carlo: Some(monte_carlo::Settings {
                trials: TRIALS,
                seed: SEED,
            }),
            ..ReduceRequest::default()
        })
    }
}

/// The readings as a table, so that a page that came from a file can be asked again.
fn as_table(results: &[SampleResult]) -> String {
    use std::fmt::Write;
    let mut table = "role,angle_deg,time_s,temperature_c,wavelength_nm,cell_mm,sample,operator,filling,preparation,\
                     conc_g_per_100ml,absorbance,turbidity\n"
        .to_owned();
    let text = |value: &Option<String>| {
        let plain = value.clone().unwrap_or_default();
        if plain.contains([',', '"', '\n']) {
            format!("\"{}\"", plain.replace('"', "\"\""))
        } else {
            plain
        }
    };
    let figure = |value: Option<f64>| value.map(|it| it.to_string()).unwrap_or_default();
    let mut seen = std::collections::HashSet::new();
    for reading in results.iter().flat_map(|result| &result.readings) {
        // A blank of several samples stands in each result.
        if !seen.insert(reading.line) {
            continue;
        }
        let _ = writeln!(
            table,
            "{},{},{},{},{},{},{},{},{},{},{},{},{}",
            reading.role.as_str(),
            reading.angle.degrees(),
            figure(reading.seconds),
            figure(reading.temperature.map(Temperature::celsius)),
            figure(reading.wavelength_nm),
            figure(reading.cell.map(quantity::Length::millimetres)),
            text(&reading.sample),
            text(&reading.operator),
            text(&reading.filling),
            text(&reading.preparation),
            figure(
                reading
                    .concentration
                    .map(quantity::Concentration::grams_per_100_millilitres)
            ),
            figure(reading.absorbance),
            figure(reading.turbidity),
        );
    }
    table
}

fn page(fields: ReduceFields, made: &Reduced) -> ReducePage {
    let of = |result: &SampleResult| {
        (result.shown.sample.clone())
            .or_else(|| made.compound.as_ref().map(|compound| compound.name.clone()))
            .unwrap_or_else(|| "the sample".to_owned())
    };
    let name = made.results.first().map(of).unwrap_or_default();
    let found = dispersion::of_results(&made.results);
    let mut notices = Vec::new();
    if !made.unmapped.is_empty() {
        notices.push(format!("These columns are not used: {}.", made.unmapped.join(", ")));
    }
    ReducePage {
        results: (1..)
            .zip(made.results.iter().take(MOST_RESULTS))
            .map(|(at, result)| one(at, result, &of(result), made.compound.as_ref(), &fields))
            .collect(),
        summary: Grid {
            caption: "All results".to_owned(),
            heads: vec!["sample", "light", "[α]", "95 %", "in print"],
            rows: (made
                .results
                .iter()
                .filter(|_| made.results.len() > 1)
                .take(MOST_RESULTS))
            .map(summary_row)
            .collect(),
        },
        dispersion_facts: found.iter().flat_map(dispersion_facts).collect(),
        dispersion: found.map(|found| plots::dispersion("dispersion", &name, &found)),
        notices,
        rejected: Grid {
            caption: format!("{} rows were not used", made.rejected.len()),
            heads: vec!["row", "why"],
            rows: (made.rejected.iter().take(MOST_REJECTED))
                .map(|row| vec![row.line.to_string(), row.reason.clone()])
                .collect(),
        },
        hidden: made.results.len().saturating_sub(MOST_RESULTS),
        fields,
        ..ReducePage::default()
    }
}

fn summary_row(result: &SampleResult) -> Vec<String> {
    let shown = &result.shown;
    let rotation = &shown.specific_rotation;
    vec![
        shown.sample.clone().unwrap_or_default(),
        shown.conditions.line.clone().unwrap_or_default(),
        number::signed_with_uncertainty(rotation.value, rotation.standard_uncertainty),
        number::interval(
            rotation.value - rotation.expanded95,
            rotation.value + rotation.expanded95,
        ),
        shown.journal.clone().unwrap_or_default(),
    ]
}

fn dispersion_facts(found: &crate::dispersion::Dispersion) -> Vec<String> {
    let mut said: Vec<String> = match found.law() {
        Some(law) => vec![format!(
            "The curve is the Drude law with {}.",
            if law.terms.len() == 1 { "one term" } else { "two terms" }
        )],
        None => vec!["No law of dispersion is supported by these values.".to_owned()],
    };
    said.extend(found.flags.iter().map(|flag| flag.sentence.clone()));
    said
}

fn one(at: usize, result: &SampleResult, of: &str, compound: Option<&Compound>, fields: &ReduceFields) -> ResultShown {
    let shown = &result.shown;
    let rotation = &shown.specific_rotation;
    let light = match shown.conditions.line.as_deref() {
        None => String::new(),
        Some(line) if line.parse::<f64>().is_ok() => format!(" at {line} nm"),
        Some(line) => format!(" at {line}"),
    };
    let mut plots = vec![plots::readings(&format!("readings-{at}"), of, &result.readings)];
    let mut course = Vec::new();
    if let Ok(Some(found)) = timecourse::of_readings(&result.readings) {
        plots.push(plots::course(&format!("course-{at}"), of, &found));
        course = course_facts(&found);
    }
    plots.retain(|plot| plot.grid.rows.len() > 1);
    ResultShown {
        heading: format!(
            "{}[α]{light} = {} {ROTATION_UNIT}",
            shown.sample.as_ref().map(|id| format!("{id}: ")).unwrap_or_default(),
            number::signed_with_uncertainty(rotation.value, rotation.standard_uncertainty)
        ),
        journal: shown.journal.clone().unwrap_or_default(),
        facts: facts(result),
        flags: shown.flags.iter().map(FlagRow::from).collect(),
        budget: budget(shown),
        plots,
        course,
        check: address(&to_check(result, compound, fields)),
    }
}

fn facts(result: &SampleResult) -> Vec<(&'static str, String)> {
    let shown = &result.shown;
    let rotation = &shown.specific_rotation;
    let mut facts = vec![(
        "95 %",
        format!(
            "{} ({}, coverage factor {})",
            number::interval(
                rotation.value - rotation.expanded95,
                rotation.value + rotation.expanded95
            ),
            rotation.degrees_of_freedom.map_or_else(
                || "type B inputs alone".to_owned(),
                |nu| format!("{} degrees of freedom", report::whole(nu))
            ),
            number::number(rotation.coverage_factor, 2)
        ),
    )];
    facts.push(("Conditions", words::conditions(&shown.conditions)));
    let angle = &shown.angle;
    facts.push((
        "Angle",
        format!(
            "{}° from {}{}",
            number::signed_with_uncertainty(angle.net_degrees, angle.standard_uncertainty),
            level_in_words(angle.n_level, angle.level),
            match angle.blank_degrees {
                Some(blank) => format!(
                    "; blank {}° of {} readings taken off",
                    number::signed(blank, 4),
                    angle.n_blank
                ),
                None => String::new(),
            }
        ),
    ));
    if let Some(molar) = &shown.molar_rotation {
        facts.push((
            "Molar rotation",
            format!(
                "{} deg cm² dmol⁻¹ (M {})",
                number::signed_with_uncertainty(molar.value, molar.standard_uncertainty),
                number::number(molar.molar_mass, 2)
            ),
        ));
    }
    facts.push((
        "SI",
        format!(
            "{} rad m² kg⁻¹",
            number::signed_with_uncertainty(shown.si.value, shown.si.standard_uncertainty)
        ),
    ));
    if let Some(drawn) = &shown.monte_carlo {
        facts.push((
            "Monte Carlo",
            format!(
                "95 % {} in {} 000 draws{}",
                number::interval(drawn.interval95[0], drawn.interval95[1]),
                drawn.trials / 1000,
                if drawn.agrees {
                    ", which agrees with the budget"
                } else {
                    ", which differs from the budget"
                }
            ),
        ));
    }
    if let Some(operator) = &shown.operator {
        facts.push(("Read by", operator.clone()));
    }
    facts
}

/// The budget, the largest share first.
pub(super) fn budget(shown: &crate::tasks::reduce::ReducedSample) -> Grid {
    let mut sorted: Vec<&crate::measurement::BudgetLine> = shown.budget.iter().collect();
    sorted.sort_by(|a, b| b.share.total_cmp(&a.share));
    Grid {
        caption: "Where the uncertainty comes from".to_owned(),
        heads: vec![
            "input",
            "standard uncertainty",
            "contributes to [α]",
            "share of the variance",
            "known from",
        ],
        rows: sorted
            .into_iter()
            .map(|line| {
                let decimals = (2.0 - line.contribution.abs().max(1e-12).log10().floor()).clamp(0.0, 9.0) as usize;
                vec![
                    line.source.clone(),
                    line.in_words(),
                    number::number(line.contribution, decimals),
                    number::percent(line.share),
                    match (line.assumed, line.degrees_of_freedom) {
                        (true, _) => "default of the program".to_owned(),
                        (false, Some(nu)) => format!("scatter, {} degrees of freedom", number::number(nu, 0)),
                        (false, None) => "stated".to_owned(),
                    },
                ]
            })
            .collect(),
    }
}

fn course_facts(found: &timecourse::Timecourse) -> Vec<String> {
    let course = &found.course;
    let mut said = Vec::new();
    match (course.law, &course.first_order) {
        (CourseLaw::FirstOrder, Some(law)) => {
            said.push(format!(
                "The angle follows a first-order course: from {}° at t = 0 to {}° at equilibrium, half-life {}.",
                number::signed_with_uncertainty(law.initial.value, law.initial.standard_uncertainty),
                number::signed_with_uncertainty(law.equilibrium.value, law.equilibrium.standard_uncertainty),
                duration(law.half_life_s.value)
            ));
        }
        (CourseLaw::Linear, _) => said.push("The angle changes steadily with time.".to_owned()),
        _ => said.push("No change of the angle with time is seen.".to_owned()),
    }
    said.extend(course.flags.iter().map(|flag| flag.sentence.clone()));
    said
}

/// The check of a result, in the digits its uncertainty allows and two more.
fn to_check(result: &SampleResult, compound: Option<&Compound>, fields: &ReduceFields) -> CheckFields {
    let shown = &result.shown;
    let u = shown.specific_rotation.standard_uncertainty;
    let decimals = if u > 0.0 {
        (3.0 - u.log10().floor()).clamp(0.0, 8.0) as usize
    } else {
        4
    };
    let conditions = &shown.conditions;
    let plain = |value: Option<f64>| value.map(|value| format!("{value}")).unwrap_or_default();
    let c = conditions
        .conc_g_per_100ml
        .filter(|_| conditions.solvent.as_deref() != Some("neat"));
    CheckFields {
        compound: compound.map(|it| it.id.to_string()).unwrap_or_default(),
        value: format!("{:.decimals$}", shown.specific_rotation.value),
        uncertainty: if u > 0.0 {
            format!("{u:.decimals$}")
        } else {
            String::new()
        },
        conc: c.map(|c| format!("{c:.4}")).unwrap_or_default(),
        cell: plain(conditions.path_mm),
        blank: plain(shown.angle.blank_degrees),
        solvent: conditions.solvent.clone().unwrap_or_default(),
        temp: conditions.temperature_c.map(|t| format!("{t:.2}")).unwrap_or_default(),
        line: (result.line.as_ref().map(SpectralLine::to_string)).unwrap_or_default(),
        basis: fields.basis.trim().to_owned(),
        ..CheckFields::default()
    }
}
