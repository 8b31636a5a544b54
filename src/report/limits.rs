//! A measurement, or a series of batches, against limits, in words, a table and a chart.

use super::number;
use super::page::{Page, truncate};
use super::table::{Column, Table};
use crate::compare::limits::{Acceptance, Conformity, GuardedDecision, LimitOutcome, MethodCheck, Standing, Trend};
use crate::quantity::Printed;
use crate::statement::RotationKind;
use crate::tasks::limits::{BatchLimits, BatchShown, LimitsResult, LimitsShown, LimitsTrend, MonographAnswer};
use unicode_width::UnicodeWidthStr;

/// Writes what every set of limits says of one measurement.
pub fn show(result: &LimitsResult, page: &mut Page) {
    page.heading(&format!(
        "{} · {}",
        result.compound.name,
        sets_of_limits(result.monographs.len())
    ));
    if result.monographs.is_empty() {
        nothing(page);
    }
    for monograph in &result.monographs {
        answer(monograph, page);
    }
    page.gap();
    page.note(result.caution);
}

/// Writes what every set of limits says of a series of batches.
pub fn show_trend(result: &LimitsTrend, page: &mut Page) {
    page.heading(&format!(
        "{} · {}",
        result.compound.name,
        sets_of_limits(result.monographs.len())
    ));
    if result.monographs.is_empty() {
        nothing(page);
    }
    for monograph in &result.monographs {
        series(monograph, page);
    }
    if !result.refused.is_empty() {
        page.heading("Rows that are no batches");
        for row in &result.refused {
            page.point(&format!("line {}: {}", row.line, row.reason));
        }
    }
    page.gap();
    page.note(result.caution);
}

fn sets_of_limits(n: usize) -> String {
    match n {
        0 => "no limits".to_owned(),
        1 => "1 set of limits".to_owned(),
        n => format!("{n} sets of limits"),
    }
}

fn nothing(page: &mut Page) {
    page.paragraph(
        "The library holds no limits of this compound. biot add takes them from the official text, with their method.",
    );
}

const fn outcome(outcome: LimitOutcome) -> &'static str {
    match outcome {
        LimitOutcome::Inside => "inside",
        LimitOutcome::Outside => "OUTSIDE",
        LimitOutcome::NotDecided => "not decided",
    }
}

/// The printed digits of a limit with a sign.
pub fn signed(text: &str) -> String {
    text.parse::<Printed>()
        .map_or_else(|_| text.to_owned(), number::printed_signed)
}

fn range(limits: &LimitsShown) -> String {
    match (&limits.low, &limits.high) {
        (Some(low), Some(high)) => format!("{} to {}", signed(low), signed(high)),
        (Some(low), None) => format!("not less than {}", signed(low)),
        (None, Some(high)) => format!("not more than {}", signed(high)),
        (None, None) => "none".to_owned(),
    }
}

/// A set of limits in words.
pub fn limits_line(limits: &LimitsShown) -> String {
    let mut parts = vec![range(limits)];
    parts.push(
        match limits.kind {
            RotationKind::Specific => "specific rotation",
            RotationKind::Observed => "observed angle, degrees",
            RotationKind::Molar => "molar rotation",
        }
        .to_owned(),
    );
    parts.extend(limits.basis.clone());
    parts.extend(
        limits
            .divide_by
            .as_ref()
            .map(|factor| format!("after division by {factor}")),
    );
    parts.push(format!("entry #{}", limits.entry));
    parts.join(", ")
}

fn answer(monograph: &MonographAnswer, page: &mut Page) {
    let limits = &monograph.limits;
    page.heading(&format!("{} · {}", limits.source, outcome(monograph.outcome)));
    page.paragraph(&sentence(monograph));
    page.gap();
    page.field("limits", &limits_line(limits));
    for (at, step) in monograph.steps.iter().enumerate() {
        page.field(
            if at == 0 { "value" } else { "" },
            &format!(
                "{}{} {}",
                number::signed_with_uncertainty(step.value, step.standard_uncertainty),
                if limits.kind == RotationKind::Observed {
                    "°"
                } else {
                    ""
                },
                step.what
            ),
        );
    }
    if let Some(rounded) = &monograph.rounded {
        page.field("rounded", &format!("{} in the digits of the limits", signed(rounded)));
    }
    page.field("decision rule", monograph.decision_rule);
    if let Some(conformity) = &monograph.conformity {
        page.field("conformity", &self::conformity(conformity));
    }
    if let Some(guarded) = &monograph.guarded {
        page.field("guard band", &self::guarded(guarded));
    }
    page.gap();
    method(monograph, page);
    for note in &monograph.notes {
        page.point(note);
    }
}

/// The probability of conformity in words.
pub fn conformity(conformity: &Conformity) -> String {
    format!(
        "probability {} (JCGM 106:2012; below the limits {}, above {}){}",
        number::percent(conformity.probability),
        number::percent(conformity.below),
        number::percent(conformity.above),
        conformity
            .capability_index
            .map(|index| format!("; measurement capability index {}", number::number(index, 1)))
            .unwrap_or_default()
    )
}

/// A decision with a guard band in words.
pub fn guarded(guarded: &GuardedDecision) -> String {
    let end = |end: Option<f64>| end.map_or_else(|| "open".to_owned(), |end| number::signed(end, 3));
    let acceptance = guarded.acceptance_limits.map_or_else(
        || "none".to_owned(),
        |[low, high]| format!("{} to {}", end(low), end(high)),
    );
    format!(
        "{}: {}; acceptance limits {acceptance}. {}",
        guarded.rule,
        acceptance_word(guarded.decision),
        guarded.sentence
    )
}

/// A decision with a guard band, in a word.
pub const fn acceptance_word(decision: Acceptance) -> &'static str {
    match decision {
        Acceptance::Accepted => "accepted",
        Acceptance::Inconclusive => "inconclusive",
        Acceptance::Rejected => "rejected",
    }
}

/// What a set of limits says, in a sentence.
pub fn sentence(monograph: &MonographAnswer) -> String {
    let range = range(&monograph.limits);
    let value = monograph.rounded.as_deref().map(signed).unwrap_or_default();
    let provided = if monograph.provided.is_empty() {
        String::new()
    } else {
        format!(
            ", provided that it was measured as the method says: {}",
            monograph.provided.join("; ")
        )
    };
    match monograph.outcome {
        LimitOutcome::Inside => format!("{value} is within {range}{provided}."),
        LimitOutcome::Outside => format!("{value} is not within {range}{provided}."),
        LimitOutcome::NotDecided if monograph.rounded.is_some() => format!(
            "Nothing is decided. As a bare number {value} would be {} {range}. {}",
            if monograph.side == Some(crate::compare::limits::Side::Inside) {
                "within"
            } else {
                "outside"
            },
            monograph.reasons.join(" ")
        ),
        LimitOutcome::NotDecided => format!("Nothing is decided. {}", monograph.reasons.join(" ")),
    }
}

/// How the measurement stands beside what a method says.
pub const fn standing(check: &MethodCheck) -> &'static str {
    match check.standing {
        Standing::AsPrescribed => "as prescribed",
        Standing::NotGiven if check.sample.is_none() => "not given",
        Standing::NotGiven => "look",
        Standing::NotPrinted => "not stated with the limits",
        Standing::Close => "close",
        Standing::Differs if check.method.is_none() => "NOT STATED with the limits",
        Standing::Differs => "DIFFERS",
    }
}

fn method(monograph: &MonographAnswer, page: &mut Page) {
    let mut table = Table::new(&[
        Column::Word("method"),
        Column::Text("says"),
        Column::Text("measured"),
        Column::Word(""),
    ]);
    for check in &monograph.method {
        table.row([
            check.aspect.as_str().to_owned(),
            check.method.clone().unwrap_or_default(),
            check.sample.clone().unwrap_or_default(),
            standing(check).to_owned(),
        ]);
    }
    page.table(&table);
}

fn series(monograph: &BatchLimits, page: &mut Page) {
    let [inside, outside, open] = monograph.counts;
    page.heading(&format!(
        "{} · {inside} inside, {outside} outside{}",
        monograph.limits.source,
        if open > 0 {
            format!(", {open} not decided")
        } else {
            String::new()
        }
    ));
    page.field("limits", &limits_line(&monograph.limits));
    page.field("decision rule", monograph.decision_rule);
    if !monograph.provided.is_empty() {
        page.field(
            "provided that",
            &format!("the method was followed: {}", monograph.provided.join("; ")),
        );
    }
    if let Some(trend) = &monograph.trend {
        page.field("series", &trend_sentence(trend));
    }
    page.gap();
    chart(monograph, page);
    page.gap();
    let mut table = Table::new(&[
        Column::Word("batch"),
        Column::Word("date"),
        Column::Number("value"),
        Column::Number("rounded"),
        Column::Number("conformity"),
        Column::Word("rule"),
        Column::Word("guard band"),
        Column::Text("note"),
    ]);
    for batch in &monograph.batches {
        table.row([
            batch.batch.clone(),
            batch.date.clone().unwrap_or_default(),
            batch
                .value
                .zip(batch.standard_uncertainty)
                .map(|(value, u)| number::signed_with_uncertainty(value, u))
                .unwrap_or_default(),
            batch.rounded.as_deref().map(signed).unwrap_or_default(),
            batch.probability.map(number::percent).unwrap_or_default(),
            outcome(batch.outcome).to_owned(),
            batch.guarded.map(acceptance_word).unwrap_or_default().to_owned(),
            batch.notes.join("; "),
        ]);
    }
    page.table(&table);
}

/// A series as a whole, in words.
pub fn trend_sentence(trend: &Trend) -> String {
    let spread = trend
        .standard_deviation
        .map(|sd| format!(", standard deviation {}", number::number(sd, 2)))
        .unwrap_or_default();
    let slope = match &trend.slope {
        Some(slope) => format!(
            "{} from batch to batch (95 % {} to {}): {}",
            number::signed(slope.per_batch, 3),
            number::signed(slope.interval95[0], 3),
            number::signed(slope.interval95[1], 3),
            if slope.clear {
                "a drift to look into"
            } else {
                "no clear drift"
            }
        ),
        None => "too few to tell a drift".to_owned(),
    };
    let mean = number::signed(trend.mean, 2);
    format!("{} values, mean {mean}{spread}; {slope}", trend.n)
}

/// Widest label of a chart, columns.
const MOST_LABEL: usize = 14;

/// One row per batch on one axis; the limits are upright lines, a bar is two standard uncertainties.
fn chart(monograph: &BatchLimits, page: &mut Page) {
    let limit = |text: &Option<String>| {
        text.as_ref()
            .and_then(|text| text.parse::<Printed>().ok())
            .map(Printed::value)
    };
    let limits: Vec<f64> = [&monograph.limits.low, &monograph.limits.high]
        .into_iter()
        .filter_map(limit)
        .collect();
    let drawn: Vec<(&BatchShown, f64, f64)> = monograph
        .batches
        .iter()
        .filter_map(|batch| Some((batch, batch.value?, 2.0 * batch.standard_uncertainty?)))
        .collect();
    if drawn.is_empty() {
        return;
    }
    let mut low = limits.iter().copied().fold(f64::INFINITY, f64::min);
    let mut high = limits.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    for (_, value, bar) in &drawn {
        low = low.min(value - bar);
        high = high.max(value + bar);
    }
    let margin = 0.03 * (high - low).max(f64::MIN_POSITIVE);
    (low, high) = (low - margin, high + margin);
    let label = drawn
        .iter()
        .map(|(batch, ..)| batch.batch.width())
        .max()
        .unwrap_or(0)
        .min(MOST_LABEL);
    let columns = page.width().saturating_sub(label + 5).clamp(30, 90);
    let place = |value: f64| ((value - low) / (high - low) * (columns - 1) as f64).round() as usize;
    for (batch, value, bar) in &drawn {
        let mut cells = vec![' '; columns];
        cells[place(value - bar)..=place(value + bar).min(columns - 1)].fill('─');
        for limit in &limits {
            cells[place(*limit)] = '│';
        }
        cells[place(*value)] = match batch.outcome {
            LimitOutcome::Inside => '●',
            LimitOutcome::Outside => '✕',
            LimitOutcome::NotDecided => '○',
        };
        let name = truncate(&batch.batch, label);
        let pad = " ".repeat(label.saturating_sub(name.width()));
        let row: String = cells.into_iter().collect();
        page.verbatim(&format!("  {pad}{name} {}", row.trim_end()));
    }
    // The axis names the limits.
    let mut axis = vec![' '; columns];
    for text in [&monograph.limits.low, &monograph.limits.high].into_iter().flatten() {
        let Some(at) = limit(&Some(text.clone())).map(place) else {
            continue;
        };
        let text = signed(text);
        let start = at
            .saturating_sub(text.chars().count() / 2)
            .min(columns.saturating_sub(text.chars().count()));
        for (cell, character) in axis[start..].iter_mut().zip(text.chars()) {
            *cell = character;
        }
    }
    let axis: String = axis.into_iter().collect();
    page.verbatim(&format!("  {} {}", " ".repeat(label), axis.trim_end()));
    page.note("  ● inside   ✕ outside   ○ not decided   │ limit   ─ two standard uncertainties each way");
}
