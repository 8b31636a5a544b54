//! Checking a measured value: the form, and the result with an address of its own that holds the whole question.

use super::app::App;
use super::fields::{CheckFields, field};
use super::guard::Visitor;
use super::pages::{compound_of, source_rows};
use super::views::{
    AspectCell, CauseRow, CheckPage, Frame, Grid, Plot, Problem, ReferenceRow, ResultPage, html, status,
};
use crate::compare::{Aspect, Conditions, Size, VerdictCode};
use crate::library::{EntryId, Library, Source};
use crate::notation::{self, Style};
use crate::quantity::{self, Printed};
use crate::report::failure::Failure;
use crate::report::svg::{self, Bar};
use crate::report::{check as words, number};
use crate::statement::{PrintedConcentration, Sign, StatedTemperature, Statement};
use crate::tasks::check::{CheckRequest, CheckResult, CheckSettings, EXCESS_UNCERTAINTY, check, mirror_of};
use axum::Extension;
use axum::extract::{Query, State};
use axum::http::{StatusCode, Uri};
use axum::response::Response;
use std::sync::Arc;

/// Most references that are drawn; the table has them all.
const MOST_DRAWN: usize = 20;
/// Most classes of causes that are listed, and the least probability of one that is listed after the first.
const MOST_CAUSES: usize = 5;
const LEAST_CAUSE: f64 = 0.01;
/// The aspects of the grid of differences.
const ASPECTS: [(Aspect, &str); 7] = [
    (Aspect::Solvent, "solvent"),
    (Aspect::Concentration, "c"),
    (Aspect::Temperature, "T"),
    (Aspect::Line, "line"),
    (Aspect::Form, "form"),
    (Aspect::Stage, "stage"),
    (Aspect::Basis, "basis"),
];
/// The unit of specific rotation.
const UNIT: &str = "deg mL g⁻¹ dm⁻¹";

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
        form: text(&fields.form),
        excess: field("ee", &fields.ee, quantity::parse_percent)?.map(|ee| (ee.ratio(), EXCESS_UNCERTAINTY)),
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
        && !(fields.value.trim().is_empty() && fields.angle.trim().is_empty());
    if !is_asked {
        return form(fields, None);
    }
    let asked = fields.clone();
    let answer = app
        .read(move |library| {
            let result = judged(library, &request(library, &asked)?)?;
            let mut sources: Vec<(Source, Vec<i64>)> = Vec::new();
            for reference in &result.references {
                let source = library.entry(EntryId(reference.entry))?.source;
                match sources.iter_mut().find(|(known, _)| known.id == source) {
                    Some((_, entries)) => entries.push(reference.entry),
                    None => sources.push((library.source(source)?, vec![reference.entry])),
                }
            }
            Ok((result, sources))
        })
        .await;
    match answer {
        Ok((result, sources)) => {
            let frame = Frame::new(&app, &visitor, format!("{}: check", result.compound.name), "/check");
            html(StatusCode::OK, &shown(frame, &result, &sources, fields))
        }
        Err(failure) => form(fields, Some(&failure)),
    }
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
    let references: Vec<ReferenceRow> = result.references.iter().map(reference_row).collect();
    ResultPage {
        frame,
        compound: result.compound.id,
        name: result.compound.name.clone(),
        code: result.verdict.code.as_str().to_owned(),
        tone: match result.verdict.code {
            VerdictCode::Agrees => "good",
            VerdictCode::Opposite | VerdictCode::Exceeds => "bad",
            VerdictCode::Lower | VerdictCode::NearZero | VerdictCode::SourcesDisagree => "warn",
            VerdictCode::NoBasis | VerdictCode::Undecided => "open",
        },
        sentence: result.verdict.sentence.clone(),
        facts: facts(result),
        plot: number_line(result),
        has_mirror: result.references.iter().any(|r| r.mirror_image),
        aspects: ASPECTS.iter().map(|(_, name)| *name).collect(),
        references,
        causes: causes(result),
        meanings: (result.excess_check.iter().flat_map(|excess| &excess.meanings))
            .map(|meaning| (meaning.sentence.clone(), meaning.how_to_tell.clone()))
            .collect(),
        cautions: result.cautions.clone(),
        sources: source_rows(sources),
        journal: journal(&fields, result),
        budget: Grid {
            caption: "Where the uncertainty of the measurement comes from".to_owned(),
            heads: vec!["input", "standard uncertainty", "share of the variance"],
            rows: (result.measured.budget.iter())
                .map(|line| {
                    let assumed = if line.assumed { " (assumed)" } else { "" };
                    vec![
                        line.source.clone(),
                        format!("{}{assumed}", line.in_words()),
                        number::percent(line.share),
                    ]
                })
                .collect(),
        },
        fields,
    }
}

fn facts(result: &CheckResult) -> Vec<(&'static str, String)> {
    let measured = &result.measured;
    let mut facts = vec![
        (
            "Measured",
            format!(
                "{} {UNIT}",
                number::signed_with_uncertainty(measured.value, measured.standard_uncertainty)
            ),
        ),
        ("Conditions", words::conditions(&measured.conditions)),
    ];
    if let Some(pooled) = &result.pooled {
        facts.push((
            "Expected, enantiopure",
            format!(
                "{}; 95 % {}",
                number::signed_with_uncertainty(pooled.value, pooled.standard_uncertainty),
                number::interval(pooled.interval95[0], pooled.interval95[1])
            ),
        ));
        facts.push((
            "Rests on",
            format!(
                "{} of {} references, {} independent source{}{}",
                pooled.entries_used,
                result.references.len(),
                pooled.independent_sources,
                if pooled.independent_sources == 1 { "" } else { "s" },
                if pooled.driven_by_prior {
                    "; the spread between sources is taken from the prior"
                } else {
                    ""
                }
            ),
        ));
    }
    if let Some(purity) = &result.optical_purity {
        facts.push((
            "Optical purity",
            format!(
                "{} (95 % from {} to {})",
                number::percent(purity.bounded),
                number::percent(purity.bounded95[0]),
                number::percent(purity.bounded95[1])
            ),
        ));
    }
    if let Some(excess) = &result.excess_check {
        let ee = format!("ee {}", number::percent(excess.excess));
        let told = match (&excess.agreement, excess.expected_value, excess.expected95) {
            (Some(agreement), Some(value), Some([low, high])) => format!(
                "{ee} leads to expect {} (95 % {}): rotation and ee {}",
                number::signed(value, 1),
                number::interval(low, high),
                if agreement.agrees { "agree" } else { "do not agree" }
            ),
            _ => format!("{ee}; there is no reference to compare it with"),
        };
        facts.push(("Other method", told));
    }
    facts
}

fn number_line(result: &CheckResult) -> Plot {
    const Z: f64 = 1.96;
    let measured = &result.measured;
    let around = |value: f64, u: f64| [value - Z * u, value + Z * u];
    let mut bars = vec![Bar {
        label: "measured".to_owned(),
        class: "measured",
        value: Some(measured.value),
        ends: around(measured.value, measured.standard_uncertainty),
    }];
    if let Some(pooled) = &result.pooled {
        bars.push(Bar {
            label: "pooled".to_owned(),
            class: "pooled",
            value: Some(pooled.value),
            ends: pooled.interval95,
        });
    }
    if let Some(band) = result.comparison_band95 {
        bars.push(Bar {
            label: "prediction band".to_owned(),
            class: "band",
            value: None,
            ends: band,
        });
    }
    for reference in result.references.iter().filter(|r| r.used).take(MOST_DRAWN) {
        if let (Some(value), Some(own)) = (reference.value_here, reference.own_uncertainty) {
            bars.push(Bar {
                label: format!(
                    "#{}{}",
                    reference.entry,
                    if reference.mirror_image { " mirror" } else { "" }
                ),
                class: if reference.mirror_image { "mirror" } else { "reference" },
                value: Some(value),
                ends: around(value, own),
            });
        }
    }
    let title = format!("Measured value and references of {}", result.compound.name);
    Plot {
        svg: svg::number_line(
            "number-line",
            &title,
            &format!("[α] at the measurement's conditions / {UNIT}"),
            &bars,
        ),
        grid: Grid {
            caption: "The numbers of the drawing".to_owned(),
            heads: vec!["row", "value", "95 % from", "to"],
            rows: bars
                .iter()
                .map(|bar| {
                    vec![
                        bar.label.clone(),
                        bar.value.map(|value| number::signed(value, 2)).unwrap_or_default(),
                        number::signed(bar.ends[0], 2),
                        number::signed(bar.ends[1], 2),
                    ]
                })
                .collect(),
        },
        title,
    }
}

fn reference_row(reference: &crate::tasks::check::ReferenceShown) -> ReferenceRow {
    let cells = ASPECTS
        .iter()
        .map(|(aspect, name)| {
            let Some(difference) = reference.differences.iter().find(|d| d.aspect == *aspect) else {
                return AspectCell {
                    class: "same",
                    words: String::new(),
                    detail: String::new(),
                };
            };
            let percent = 100.0 * difference.relative_effect;
            let size = match percent {
                p if p < 0.5 => "<1 %".to_owned(),
                p if p > 100.0 => ">100 %".to_owned(),
                p => format!("±{p:.0} %"),
            };
            let of = |text: &Option<String>| text.clone().unwrap_or_else(|| "?".to_owned());
            let detail = format!(
                "{name}: measured {}, reference {}",
                of(&difference.measured),
                of(&difference.reference)
            );
            let (class, words) = match difference.size {
                Size::None => ("same", "=".to_owned()),
                Size::Small => ("small", size),
                Size::Large => ("large", size),
                Size::Unknown => ("unknown", format!("? {size}")),
            };
            AspectCell { class, words, detail }
        })
        .collect();
    let mut notes: Vec<String> = Vec::new();
    if reference.state == "draft" {
        notes.push(if reference.used { "draft, counts less" } else { "draft" }.to_owned());
    }
    notes.extend(reference.reason.clone());
    if reference.used
        && let Some(gross) = reference.gross_error_probability.filter(|gross| *gross > 0.1)
    {
        notes.push(format!("{} likely a gross error", number::percent(gross)));
    }
    ReferenceRow {
        entry: reference.entry,
        value: reference
            .value
            .map(|value| number::signed(value, 1))
            .unwrap_or_default(),
        mirror: reference.mirror_image,
        weight: if reference.used {
            number::number(100.0 * reference.weight, 0) + " %"
        } else {
            "not used".to_owned()
        },
        cells,
        conditions: words::conditions(&reference.conditions),
        note: notes.join("; "),
        used: reference.used,
    }
}

fn causes(result: &CheckResult) -> Vec<CauseRow> {
    if result.verdict.code == VerdictCode::Agrees {
        return Vec::new();
    }
    let n_classes = result.causes.last().map_or(0, |cause| cause.class);
    let mut rows = Vec::new();
    for class in 1..=n_classes.min(MOST_CAUSES) {
        let members = || result.causes.iter().filter(|cause| cause.class == class);
        let together: f64 = members().map(|cause| cause.probability).sum();
        if together < LEAST_CAUSE && class > 1 {
            break;
        }
        rows.push(CauseRow {
            share: number::percent(together),
            members: members()
                .filter(|cause| cause.probability >= 0.05 * together)
                .map(|cause| (cause.sentence.clone(), cause.how_to_tell.clone()))
                .collect(),
        });
    }
    rows
}

/// The measured value as a journal prints it, from what was typed; nothing is filled in.
fn journal(fields: &CheckFields, result: &CheckResult) -> String {
    let Ok(given) = fields.measured() else {
        return String::new();
    };
    let value = given
        .value
        .unwrap_or_else(|| Printed::new((result.measured.value * 10.0).round() / 10.0, 1));
    let concentration = given.conc.map(|stated| PrintedConcentration {
        low: stated.value,
        high: None,
        unit: stated.unit,
        unit_printed: true,
    });
    let statement = Statement {
        value: Some(value),
        sign: Sign::Stated,
        temperature: given.temperature.map(|t| {
            let plain = fields.temp.trim().trim_end_matches(['C', '°', ' ']);
            let celsius = t.celsius();
            let typed = quantity::parse_number(plain)
                .ok()
                .filter(|typed| (typed.value() - celsius).abs() < 1e-9);
            StatedTemperature::At(typed.unwrap_or_else(|| Printed::new((celsius * 10.0).round() / 10.0, 1)))
        }),
        line: given.line,
        solvent: given.solvent,
        concentration: concentration.or_else(|| {
            let c = result.measured.conditions.conc_g_per_100ml?;
            Some(PrintedConcentration {
                low: Printed::new((c * 100.0).round() / 100.0, 2),
                high: None,
                unit: crate::quantity::ConcentrationUnit::GramsPer100Millilitres,
                unit_printed: true,
            })
        }),
        ..Statement::default()
    };
    notation::write(&statement, Style::Plain).unwrap_or_default()
}
