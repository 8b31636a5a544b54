//! The result of a check in words, a number line and a table.

use super::number;
use super::page::Page;
use super::table::{Column, Table};
use crate::compare::{Aspect, Cause, CauseCode, Difference, ExcessCheck, FiellerShape, LineMethod, Size, VerdictCode};
use crate::tasks::check::{CheckResult, ConditionsShown, LineConversionShown, OpticalPurityShown, ReferenceShown};

/// Writes the result of a check.
pub fn show(result: &CheckResult, page: &mut Page) {
    let measured = &result.measured;
    page.heading(&format!("{} · {}", result.compound.name, result.verdict.code.as_str()));
    page.paragraph(&result.verdict.sentence);
    page.gap();
    page.field(
        "measured",
        &format!(
            "{} deg mL g⁻¹ dm⁻¹{}",
            number::signed_with_uncertainty(measured.value, measured.standard_uncertainty),
            if measured.uncertainty_assumed {
                " (uncertainty from defaults)"
            } else {
                ""
            }
        ),
    );
    page.field("conditions", &conditions(&measured.conditions));
    if let Some(pooled) = &result.pooled {
        page.field(
            "expected",
            &format!(
                "{} for the enantiopure compound; 95 % {}",
                number::signed_with_uncertainty(pooled.value, pooled.standard_uncertainty),
                number::interval(pooled.interval95[0], pooled.interval95[1])
            ),
        );
        page.field(
            "rests on",
            &format!(
                "{} of {}, {}; between-source spread {}{}",
                count(pooled.entries_used, "reference"),
                result.references.len(),
                count(pooled.independent_sources, "independent source"),
                number::number(pooled.between_source_sd, 1),
                if pooled.driven_by_prior {
                    " (from the prior)"
                } else {
                    ""
                }
            ),
        );
    }
    if let Some(band) = result.comparison_band95 {
        page.field(
            "band",
            &format!(
                "{}: where the enantiopure compound would read, 95 %",
                number::interval(band[0], band[1])
            ),
        );
    }
    if let Some(purity) = &result.optical_purity {
        page.field("optical purity", &purity_line(purity));
        if let Some([major, minor]) = purity.enantiomer_ratio {
            page.field(
                "as a ratio",
                &format!(
                    "{} : {} of the enantiomers, if the sample is chemically pure",
                    number::number(major, 1),
                    number::number(minor, 1)
                ),
            );
        }
        page.field("plain ratio", &ratio_line(purity));
    }
    if let Some(excess) = &result.excess_check {
        other_method(result, excess, page);
    }
    drawing(result, page);
    causes(result, page);
    references(&result.references, page);
    if !result.cautions.is_empty() {
        page.heading("Bear in mind");
        for caution in &result.cautions {
            page.point(caution);
        }
    }
}

/// What an ee by another method says beside the rotation.
fn other_method(result: &CheckResult, excess: &ExcessCheck, page: &mut Page) {
    let ee = if excess.at_least {
        format!("ee of {} or more", number::percent(excess.excess))
    } else {
        format!(
            "ee {} ± {}",
            number::percent(excess.excess),
            number::percent(1.96 * excess.standard_uncertainty)
        )
    };
    match (&excess.agreement, excess.expected_value, excess.expected95) {
        (Some(agreement), Some(value), Some([low, high])) => {
            page.field(
                "other method",
                &format!(
                    "{ee} leads to expect {} (95 % {}): rotation and ee {}",
                    number::signed(value, 1),
                    number::interval(low, high),
                    if agreement.agrees { "agree" } else { "do NOT agree" }
                ),
            );
            page.field(
                "p less ee",
                &format!(
                    "{} ± {} (95 %); a difference below {} would not show",
                    number::percent(agreement.difference),
                    number::percent(agreement.smallest_visible),
                    number::percent(agreement.smallest_visible)
                ),
            );
        }
        _ => page.field(
            "other method",
            &format!("{ee}; there is no reference to compare it with"),
        ),
    }
    if let Some(implied) = &excess.implied {
        page.field(
            "they imply",
            &format!(
                "{} for the enantiopure compound (95 % {}){}",
                number::signed_with_uncertainty(implied.value, implied.standard_uncertainty),
                number::interval(implied.interval95[0], implied.interval95[1]),
                match result.derived_entry {
                    Some(entry) => format!("; kept as draft entry #{entry}, marked as derived"),
                    None => "; --keep-derived makes a draft entry of it".to_owned(),
                }
            ),
        );
    }
    if result.derived_entry.is_some() {
        page.note(
            "  This sample agrees with that entry by construction, and the entry is worth no more than the sample's chemical \
             purity.",
        );
    }
    if !excess.meanings.is_empty() {
        page.gap();
        page.paragraph("What the difference between rotation and ee can mean:");
        for meaning in &excess.meanings {
            page.point(&format!(
                "{} To tell: {}",
                meaning.sentence,
                uncapitalised(&meaning.how_to_tell)
            ));
        }
    }
}

fn uncapitalised(text: &str) -> String {
    let mut characters = text.chars();
    characters
        .next()
        .map(|first| first.to_lowercase().chain(characters).collect())
        .unwrap_or_default()
}

fn count(n: usize, noun: &str) -> String {
    format!("{n} {noun}{}", if n == 1 { "" } else { "s" })
}

/// The optical purity with its interval.
pub(super) fn purity_line(purity: &OpticalPurityShown) -> String {
    let (Some(bounded), Some([low, high])) = (purity.bounded, purity.bounded95) else {
        return "none can be told: the value lies beyond that of the pure compound".to_owned();
    };
    format!(
        "{} (95 % from {} to {}){}{}",
        number::percent(bounded),
        number::percent(low),
        number::percent(high),
        if high < 0.0 {
            ", negative: of the other hand"
        } else {
            ""
        },
        if purity.prior_matters {
            ", shaped by the uniform prior"
        } else {
            ""
        }
    )
}

fn ratio_line(purity: &OpticalPurityShown) -> String {
    let Some(ratio) = purity.ratio else {
        return "none: the expected value is zero".to_owned();
    };
    let set = &purity.fieller95;
    let range = match (set.shape, set.low, set.high) {
        (FiellerShape::Interval, Some(low), Some(high)) => {
            format!(
                "Fieller's 95 % from {} to {}",
                number::percent(low),
                number::percent(high)
            )
        }
        (FiellerShape::Exclusive, Some(low), Some(high)) => {
            format!(
                "Fieller's 95 % below {} or above {}",
                number::percent(low),
                number::percent(high)
            )
        }
        _ => "Fieller's 95 % set is unbounded".to_owned(),
    };
    format!("{}; {range}", number::percent(ratio))
}

/// Conditions in the order of print.
pub fn conditions(conditions: &ConditionsShown) -> String {
    let mut parts: Vec<String> = Vec::new();
    let mut part = |text: Option<String>, missing: &str| parts.push(text.unwrap_or_else(|| missing.to_owned()));
    let neat = conditions.solvent.as_deref() == Some("neat");
    part(conditions.solvent.clone(), "solvent ?");
    if !neat || conditions.conc_g_per_100ml.is_some() {
        part(
            conditions.conc_g_per_100ml.map(|c| format!("c {}", number::short(c))),
            "c ?",
        );
    }
    part(
        conditions.temperature_c.map(|t| format!("{} °C", number::short(t))),
        "T ?",
    );
    part(conditions.line.as_deref().map(light), "line ?");
    parts.extend(conditions.stage.clone());
    parts.extend(conditions.form.clone());
    parts.extend(conditions.basis.clone());
    parts.join(", ")
}

/// A line as it stands among conditions: a bare number is a wavelength.
pub(super) fn light(line: &str) -> String {
    if line.parse::<f64>().is_ok() {
        format!("{line} nm")
    } else {
        line.to_owned()
    }
}

/// Columns of a row's label, and most rows of references that are drawn.
const LABEL: usize = 12;
const MOST_ROWS: usize = 12;

/// The measured value, the references and the pooled value on one axis.
fn drawing(result: &CheckResult, page: &mut Page) {
    let (Some(pooled), Some(band)) = (&result.pooled, result.comparison_band95) else {
        return;
    };
    let columns = page.width().saturating_sub(LABEL + 4).clamp(30, 90);
    let used: Vec<&ReferenceShown> = result.references.iter().filter(|r| r.used).take(MOST_ROWS).collect();
    let u = 1.96 * result.measured.standard_uncertainty;
    let mut low = band[0].min(result.measured.value - u).min(pooled.interval95[0]);
    let mut high = band[1].max(result.measured.value + u).max(pooled.interval95[1]);
    for value in used.iter().filter_map(|r| r.value_here) {
        low = low.min(value);
        high = high.max(value);
    }
    // Zero is shown when it is near.
    let span = (high - low).max(f64::MIN_POSITIVE);
    if low > 0.0 && low < span {
        low = 0.0;
    }
    if high < 0.0 && -high < span {
        high = 0.0;
    }
    let span = (high - low).max(f64::MIN_POSITIVE);
    let place = |value: f64| {
        (((value - low) / span) * (columns - 1) as f64)
            .round()
            .clamp(0.0, (columns - 1) as f64) as usize
    };
    let row = |label: &str, ends: [f64; 2], value: f64, bar: char, dot: char| {
        let mut cells = vec![' '; columns];
        for cell in &mut cells[place(ends[0])..=place(ends[1])] {
            *cell = bar;
        }
        if (low..=high).contains(&0.0) && cells[place(0.0)] == ' ' {
            cells[place(0.0)] = '┊';
        }
        cells[place(value)] = dot;
        let line: String = cells.into_iter().collect();
        format!("  {label:>LABEL$} {}", line.trim_end())
    };
    page.gap();
    let measured = result.measured.value;
    page.verbatim(&row("measured", [measured - u, measured + u], measured, '━', '◆'));
    page.verbatim(&row("pooled", pooled.interval95, pooled.value, '━', '●'));
    page.verbatim(&row("band", band, pooled.value, '─', '·'));
    for reference in &used {
        let (Some(value), Some(own)) = (reference.value_here, reference.own_uncertainty) else {
            continue;
        };
        let label = format!(
            "#{}{}",
            reference.entry,
            if reference.mirror_image { " (m)" } else { "" }
        );
        page.verbatim(&row(&label, [value - 1.96 * own, value + 1.96 * own], value, '─', '○'));
    }
    let left = number::signed(low, usize::from(span < 20.0));
    let right = number::signed(high, usize::from(span < 20.0));
    let gap = columns.saturating_sub(left.chars().count() + right.chars().count());
    page.verbatim(&format!("  {:>LABEL$} {left}{}{right}", "", " ".repeat(gap)));
    let hidden = result
        .references
        .iter()
        .filter(|r| r.used)
        .count()
        .saturating_sub(used.len());
    if hidden > 0 {
        page.note(&format!(
            "  {hidden} more used references are not drawn; the table has them."
        ));
    }
    if used.iter().any(|r| r.mirror_image) {
        page.note("  (m): an entry of the mirror image, drawn with its sign turned.");
    }
}

/// Classes of causes less probable than this are not listed in words, and at most so many are.
const LEAST_LISTED: f64 = 0.02;
const MOST_LISTED: usize = 5;

/// What may explain the value: where it does not agree, or where a cause stands above "nothing is wrong".
fn causes(result: &CheckResult, page: &mut Page) {
    let Some(first) = result.causes.first() else { return };
    let is_none = |cause: &Cause| cause.code == CauseCode::None;
    let in_first = |cause: &&Cause| cause.class == first.class;
    if result.verdict.code == VerdictCode::Agrees && result.causes.iter().take_while(in_first).any(is_none) {
        return;
    }
    page.heading("What may explain it");
    let n_classes = result.causes.last().map_or(0, |cause| cause.class);
    let mut is_reduced = false;
    for class in 1..=n_classes.min(MOST_LISTED) {
        let members: Vec<&Cause> = result.causes.iter().filter(|cause| cause.class == class).collect();
        let together: f64 = members.iter().map(|cause| cause.probability).sum();
        if together < LEAST_LISTED && class > 1 {
            break;
        }
        let share = format!("  {:>6}  ", number::percent(together));
        let members: Vec<&Cause> = members
            .into_iter()
            .filter(|cause| cause.probability >= 0.05 * together || cause.code == CauseCode::Diluted)
            .collect();
        if let [only] = members[..] {
            page.lead(&share, &format!("{} To tell: {}.", only.sentence, only.how_to_tell));
        } else {
            page.lead(&share, "one of these, which this value alone cannot tell apart:");
            for member in &members {
                page.lead(
                    "          - ",
                    &format!("{} To tell: {}.", member.sentence, member.how_to_tell),
                );
            }
        }
        is_reduced |= members.iter().any(|cause| cause.code == CauseCode::Diluted);
    }
    if !is_reduced && result.causes.iter().any(|cause| cause.code == CauseCode::Diluted) {
        page.note(
            "Residual solvent, water and other inactive matter lower a rotation just as the other enantiomer does.",
        );
    }
    page.note("Probabilities are among these usual slips, one at a time; a reason that is not listed is not found.");
}

/// Writes the references, where their line was taken from, and their sources.
pub fn references(references: &[ReferenceShown], page: &mut Page) {
    if references.is_empty() {
        return;
    }
    page.heading("References");
    let mut table = Table::new(&[
        Column::Number("entry"),
        Column::Number("value"),
        Column::Number("weight"),
        Column::Text("conditions"),
        Column::Text("differs in"),
        Column::Text("note"),
    ]);
    let mut sources: Vec<(&str, Vec<i64>)> = Vec::new();
    for reference in references {
        match sources.iter_mut().find(|(source, _)| *source == reference.source) {
            Some((_, entries)) => entries.push(reference.entry),
            None => sources.push((&reference.source, vec![reference.entry])),
        }
        let mut value = reference
            .value
            .map(|value| number::signed(value, decimals(value)))
            .unwrap_or_default();
        if reference.mirror_image {
            value.push_str(" (m)");
        }
        let differences: Vec<String> = reference.differences.iter().filter_map(difference).collect();
        let mut note = reference.reason.clone().unwrap_or_default();
        if reference.state == "draft" {
            let draft = if reference.used { "draft, counts less" } else { "draft" };
            note = if note.is_empty() {
                draft.to_owned()
            } else {
                format!("{draft}; {note}")
            };
        }
        if reference.used
            && let Some(gross) = reference.gross_error_probability.filter(|gross| *gross > 0.1)
        {
            let likely = format!("({} likely a gross error)", number::percent(gross));
            note = if note.is_empty() {
                likely
            } else {
                format!("{note} {likely}")
            };
        }
        table.row([
            format!("#{}", reference.entry),
            value,
            if reference.used {
                number::number(100.0 * reference.weight, 0) + " %"
            } else {
                "not used".to_owned()
            },
            conditions(&reference.conditions),
            differences.join(", "),
            note,
        ]);
    }
    page.table(&table);
    conversions(references, page);
    page.heading("Sources");
    for (source, entries) in sources {
        let entries: Vec<String> = entries.iter().map(|entry| format!("#{entry}")).collect();
        page.point(&format!("{source}: {}", entries.join(", ")));
    }
}

/// How references were taken to the line of the measurement, each way once.
fn conversions(references: &[ReferenceShown], page: &mut Page) {
    let mut ways: Vec<(String, Vec<i64>)> = Vec::new();
    for reference in references.iter().filter(|reference| reference.used) {
        let Some(made) = &reference.line_conversion else {
            continue;
        };
        let mut sentence = format!("{}.", line_conversion(made));
        for warning in &made.warnings {
            sentence = format!("{sentence} {warning}");
        }
        match ways.iter_mut().find(|(way, _)| *way == sentence) {
            Some((_, entries)) => entries.push(reference.entry),
            None => ways.push((sentence, vec![reference.entry])),
        }
    }
    if ways.is_empty() {
        return;
    }
    page.heading("Taken from another line");
    for (sentence, entries) in ways {
        page.point(&format!("{}: {sentence}", numbers(&entries)));
    }
}

/// A conversion between lines in words, with its factor and standard uncertainty.
pub fn line_conversion(made: &LineConversionShown) -> String {
    let decimals = (1.0 - made.standard_uncertainty.max(1e-9).log10().floor()).clamp(2.0, 6.0) as usize;
    let rests_on = match made.method {
        LineMethod::OwnDispersion => format!("dispersion data of the compound, {}", numbers(&made.entries)),
        LineMethod::BothLines => format!("values of one source at both lines, {}", numbers(&made.entries)),
        LineMethod::GenericLaw => "the generic one-term law of colourless compounds".to_owned(),
    };
    format!(
        "{} to {} nm by {rests_on}: × {} ± {}",
        number::short(made.from_nm),
        number::short(made.to_nm),
        number::number(made.factor, decimals),
        number::number(made.standard_uncertainty, decimals)
    )
}

/// Most entries named one by one.
const MOST_NAMED: usize = 8;

/// Entries by their numbers.
fn numbers(entries: &[i64]) -> String {
    let mut named: Vec<String> = entries
        .iter()
        .take(MOST_NAMED)
        .map(|entry| format!("#{entry}"))
        .collect();
    if entries.len() > MOST_NAMED {
        named.push(format!("and {} more", entries.len() - MOST_NAMED));
    }
    named.join(", ")
}

fn decimals(value: f64) -> usize {
    if (value * 10.0).round() == value * 10.0 {
        usize::from(value.fract() != 0.0)
    } else {
        2
    }
}

/// A difference as a word with its size, none where there is no difference.
fn difference(difference: &Difference) -> Option<String> {
    let name = match difference.aspect {
        Aspect::Solvent => "solvent",
        Aspect::Concentration => "c",
        Aspect::Temperature => "T",
        Aspect::Line => "line",
        Aspect::Form => "form",
        Aspect::Stage => "stage",
        Aspect::Basis => "basis",
        Aspect::Source => "source",
    };
    let percent = 100.0 * difference.relative_effect;
    let size = match percent {
        p if p < 0.5 => "<1 %".to_owned(),
        p if p > 100.0 => ">100 %".to_owned(),
        p => format!("±{p:.0} %"),
    };
    match difference.size {
        Size::None => None,
        Size::Unknown => Some(format!("{name} ? ({size})")),
        Size::Small | Size::Large => Some(format!("{name} ({size})")),
    }
}
