//! The result of a check as words and rows: the same for the pages of a browser and for written reports.

use super::svg::Bar;
use super::{check as words, number};
use crate::compare::{Aspect, Size, VerdictCode};
use crate::measurement::{BudgetLine, ROTATION_UNIT};
use crate::notation::{self, Style};
use crate::quantity::{ConcentrationUnit, Printed};
use crate::statement::{PrintedConcentration, Sign, StatedTemperature, Statement};
use crate::tasks::check::{CheckResult, ReferenceShown};
use crate::tasks::measured::Measured;

/// Most references that are drawn; the table has them all.
const MOST_DRAWN: usize = 20;
/// Most classes of causes that are listed, and the least probability of one that is listed after the first.
const MOST_CAUSES: usize = 5;
const LEAST_CAUSE: f64 = 0.01;
/// The aspects of the grid of differences.
pub const ASPECTS: [(Aspect, &str); 7] = [
    (Aspect::Solvent, "solvent"),
    (Aspect::Concentration, "c"),
    (Aspect::Temperature, "T"),
    (Aspect::Line, "line"),
    (Aspect::Form, "form"),
    (Aspect::Stage, "stage"),
    (Aspect::Basis, "basis"),
];
/// The unit of specific rotation.
pub const UNIT: &str = "deg mL g⁻¹ dm⁻¹";

/// A reference of a check.
#[derive(Clone, Debug, Default)]
pub struct ReferenceRow {
    /// The entry.
    pub entry: i64,
    /// Its value.
    pub value: String,
    /// Whether it is of the mirror image.
    pub mirror: bool,
    /// Its share in the pooled value, in words.
    pub weight: String,
    /// How it differs, aspect by aspect.
    pub cells: Vec<AspectCell>,
    /// Its conditions.
    pub conditions: String,
    /// What to know of it.
    pub note: String,
    /// Whether it was pooled.
    pub used: bool,
}

/// How a reference differs in one aspect.
#[derive(Clone, Debug, Default)]
pub struct AspectCell {
    /// `same`, `small`, `large` or `unknown`.
    pub class: &'static str,
    /// The size of the effect; empty where nothing is known to differ.
    pub words: String,
    /// Both conditions.
    pub detail: String,
}

/// What may explain a value: one class of causes.
#[derive(Clone, Debug, Default)]
pub struct CauseRow {
    /// Probability of the class.
    pub share: String,
    /// Its members: what it is, and how to tell.
    pub members: Vec<(String, String)>,
}

/// How a verdict looks: `good`, `warn`, `bad` or `open`.
pub const fn tone(code: VerdictCode) -> &'static str {
    match code {
        VerdictCode::Agrees => "good",
        VerdictCode::Opposite | VerdictCode::Exceeds => "bad",
        VerdictCode::Lower | VerdictCode::NearZero | VerdictCode::SourcesDisagree => "warn",
        VerdictCode::NoBasis | VerdictCode::Undecided => "open",
    }
}

/// The figures of a result, each with its name.
pub fn facts(result: &CheckResult) -> Vec<(&'static str, String)> {
    let measured = &result.measured;
    let [low, high] = around(measured.value, measured.standard_uncertainty);
    let mut facts = vec![
        (
            "Measured",
            format!(
                "{} {UNIT}; 95 % {}",
                number::signed_with_uncertainty(measured.value, measured.standard_uncertainty),
                number::interval(low, high)
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
        facts.push(("Optical purity", words::purity_line(purity)));
    }
    if let Some(excess) = &result.excess_check {
        let bound = if excess.at_least { "at least " } else { "" };
        let ee = format!("ee {bound}{}", number::percent(excess.excess));
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

/// A value and its standard uncertainty as a 95 % interval, as of a normal distribution.
fn around(value: f64, u: f64) -> [f64; 2] {
    const Z: f64 = 1.96;
    [value - Z * u, value + Z * u]
}

/// The rows of the number line: the measured value, the pooled one, the band, and the references that count.
pub fn bars(result: &CheckResult) -> Vec<Bar> {
    let measured = &result.measured;
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
    bars
}

/// The title of the number line.
pub fn bars_title(result: &CheckResult) -> String {
    format!("Measured value and references of {}", result.compound.name)
}

/// The name of its axis.
pub fn bars_axis() -> String {
    format!("[α] at the measurement's conditions / {UNIT}")
}

/// The heads of the table of its numbers.
pub const BAR_HEADS: [&str; 4] = ["row", "value", "95 % from", "to"];

/// A row of that table.
pub fn bar_row(bar: &Bar) -> Vec<String> {
    vec![
        bar.label.clone(),
        bar.value.map(|value| number::signed(value, 2)).unwrap_or_default(),
        number::signed(bar.ends[0], 2),
        number::signed(bar.ends[1], 2),
    ]
}

/// A reference as a row.
pub fn reference_row(reference: &ReferenceShown) -> ReferenceRow {
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
    if let Some(made) = reference.line_conversion.as_ref().filter(|_| reference.used) {
        notes.push(super::check::line_conversion(made));
        notes.extend(made.warnings.iter().cloned());
    }
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

/// Takes from rows the aspects of which none says anything, and names those that stay.
pub fn drop_silent_aspects(rows: &mut [ReferenceRow]) -> Vec<&'static str> {
    let tells: Vec<bool> = (0..ASPECTS.len())
        .map(|at| rows.iter().any(|row| !row.cells[at].words.is_empty()))
        .collect();
    for row in rows {
        let mut kept = tells.iter();
        row.cells.retain(|_| *kept.next().unwrap_or(&true));
    }
    (ASPECTS.iter().zip(tells))
        .filter_map(|((_, name), tells)| tells.then_some(*name))
        .collect()
}

/// What may explain the value, the most probable first; nothing where it agrees.
pub fn causes(result: &CheckResult) -> Vec<CauseRow> {
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
/// The heads of the table of the uncertainty budget.
pub const BUDGET_HEADS: [&str; 3] = ["input", "standard uncertainty", "share of the variance"];

/// The rows of that table for a check.
pub fn budget_rows(result: &CheckResult) -> Vec<Vec<String>> {
    budget_lines(&result.measured.budget)
}

/// The rows of that table. What has the unit of the result says so, for the others stand in units of their own.
pub fn budget_lines(lines: &[BudgetLine]) -> Vec<Vec<String>> {
    (lines.iter())
        .map(|line| {
            let unit = if line.unit == ROTATION_UNIT {
                format!(" {UNIT}")
            } else {
                String::new()
            };
            let assumed = if line.assumed { " (assumed)" } else { "" };
            vec![
                line.source.clone(),
                format!("{}{unit}{assumed}", line.in_words()),
                number::percent(line.share),
            ]
        })
        .collect()
}

/// The measured value as a journal prints it, from what was given; nothing is filled in. `typed` is the temperature with
/// the digits it was typed with.
pub fn journal(given: &Measured, typed: Option<Printed>, result: &CheckResult, style: Style) -> String {
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
        temperature: given
            .temperature
            .map(|t| StatedTemperature::At(typed.unwrap_or_else(|| degrees(t.celsius())))),
        line: given.line.clone(),
        solvent: given.solvent.clone(),
        concentration: concentration.or_else(|| {
            let c = result.measured.conditions.conc_g_per_100ml?;
            Some(PrintedConcentration {
                low: Printed::new((c * 100.0).round() / 100.0, 2),
                high: None,
                unit: ConcentrationUnit::GramsPer100Millilitres,
                unit_printed: true,
            })
        }),
        ..Statement::default()
    };
    notation::write(&statement, style).unwrap_or_default()
}

/// A temperature in whole degrees, or to a tenth where it has one.
fn degrees(celsius: f64) -> Printed {
    let tenths = (celsius * 10.0).round() / 10.0;
    Printed::new(tenths, u8::from(tenths.fract() != 0.0))
}
