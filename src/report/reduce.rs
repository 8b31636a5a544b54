//! The result of a reduction in words, with its budget and what is wrong.

use super::number;
use super::page::Page;
use super::table::{Column, Table};
use crate::measurement::{BudgetLine, Flag, MonteCarlo, ROTATION_UNIT, Severity};
use crate::tasks::reduce::{ReduceAnswer, ReducedSample, level_in_words};

/// The flag of a file whose cells name different units.
pub fn mixed_units(n: usize) -> Flag {
    Flag::new(
        "mixed-units",
        Severity::Note,
        format!(
            "{n} angle{} named another unit than the column's and {} converted; check that none was mistyped.",
            if n == 1 { "" } else { "s" },
            if n == 1 { "was" } else { "were" }
        ),
    )
}

/// Writes the results.
pub fn show(answer: &ReduceAnswer, page: &mut Page) {
    for result in answer.results() {
        sample(result, page);
    }
    let rejected = answer.rejected();
    if !rejected.is_empty() {
        page.heading(&format!(
            "{} row{} not used",
            rejected.len(),
            if rejected.len() == 1 { " was" } else { "s were" }
        ));
        for row in rejected.iter().take(20) {
            page.point(&format!("row {}: {}", row.line, row.reason));
        }
    }
}

/// Writes one result.
pub fn sample(result: &ReducedSample, page: &mut Page) {
    let rotation = &result.specific_rotation;
    let named = result.sample.as_ref().map(|id| format!("{id} · ")).unwrap_or_default();
    let light = result.conditions.line.as_deref().unwrap_or_default();
    let light = match light.parse::<f64>() {
        Ok(_) => format!(" at {light} nm"),
        Err(_) if light.is_empty() => String::new(),
        Err(_) => format!(" at {light}"),
    };
    page.heading(&format!(
        "{named}[α]{light} = {} {ROTATION_UNIT}",
        number::signed_with_uncertainty(rotation.value, rotation.standard_uncertainty)
    ));
    page.field(
        "95 %",
        &format!(
            "{} ({}; factor {})",
            number::interval(
                rotation.value - rotation.expanded95,
                rotation.value + rotation.expanded95
            ),
            rotation.degrees_of_freedom.map_or_else(
                || "type B inputs alone".to_owned(),
                |nu| format!("{} degrees of freedom", whole(nu))
            ),
            number::number(rotation.coverage_factor, 2)
        ),
    );
    if let Some(journal) = &result.journal {
        page.field("in print", journal);
    }
    page.field("conditions", &super::check::conditions(&result.conditions));
    angle(result, page);
    let c = result.concentration;
    if (c - result.concentration_as_weighed).abs() > 1e-9 * c.abs() {
        page.field(
            "concentration",
            &format!(
                "{} g/100 mL of the substance; {} as weighed",
                significant(c),
                significant(result.concentration_as_weighed)
            ),
        );
    }
    if let Some(molar) = &result.molar_rotation {
        page.field(
            "molar rotation",
            &format!(
                "{} deg cm² dmol⁻¹ (M {})",
                number::signed_with_uncertainty(molar.value, molar.standard_uncertainty),
                number::number(molar.molar_mass, 2)
            ),
        );
    }
    page.field(
        "SI",
        &format!(
            "{} rad m² kg⁻¹",
            number::signed_with_uncertainty(result.si.value, result.si.standard_uncertainty)
        ),
    );
    if let Some(operator) = &result.operator {
        page.field("read by", operator);
    }
    if let Some(standards) = &result.standards {
        page.field(
            "standards",
            &format!(
                "{} readings, mean {}°; no part of the result",
                standards.n,
                number::signed(standards.mean_degrees, 4)
            ),
        );
    }
    if let Some(id) = result.measurement {
        page.field("kept as", &format!("measurement {id}"));
    }
    flags(&result.flags, page);
    budget(&result.budget, page);
    if let Some(drawn) = &result.monte_carlo {
        monte_carlo(drawn, page);
    }
    if let Some(check) = &result.check {
        page.gap();
        super::check::show(check, page);
    }
}

/// Degrees of freedom in words.
pub fn whole(nu: f64) -> String {
    if nu >= 1000.0 {
        "over 1000".to_owned()
    } else {
        number::number(nu, usize::from(nu < 10.0))
    }
}

/// Four significant digits.
fn significant(value: f64) -> String {
    if value == 0.0 {
        return "0".to_owned();
    }
    let decimals = (3.0 - value.abs().max(1e-9).log10().floor()).clamp(0.0, 8.0) as usize;
    number::number(value, decimals)
}

fn angle(result: &ReducedSample, page: &mut Page) {
    let angle = &result.angle;
    let blank = match (angle.blank_degrees, angle.n_blank) {
        (Some(blank), n) => format!(
            ", blank {}° of {n} reading{} taken off",
            number::signed(blank, 4),
            if n == 1 { "" } else { "s" }
        ),
        (None, _) => String::new(),
    };
    page.field(
        "angle",
        &format!(
            "{}° from {}{}{blank}",
            number::signed_with_uncertainty(angle.net_degrees, angle.standard_uncertainty),
            level_in_words(angle.n_level, angle.level),
            if angle.n_sample > angle.n_level {
                format!(" ({} readings)", angle.n_sample)
            } else {
                String::new()
            }
        ),
    );
}

/// Writes what is wrong.
pub fn flags(flags: &[Flag], page: &mut Page) {
    if flags.is_empty() {
        page.field("quality", "nothing to object to");
        return;
    }
    page.heading("Quality");
    for flag in flags {
        page.point(&format!(
            "{} ({}): {}",
            flag.severity.as_str(),
            flag.code,
            flag.sentence
        ));
    }
}

fn budget(lines: &[BudgetLine], page: &mut Page) {
    page.heading("Uncertainty budget");
    let mut table = Table::new(&[
        Column::Text("input"),
        Column::Number("value"),
        Column::Number("u"),
        Column::Word("unit"),
        Column::Number("sensitivity"),
        Column::Number("contributes"),
        Column::Number("share"),
        Column::Number("ν"),
        Column::Word(""),
    ]);
    let mut sorted: Vec<&BudgetLine> = lines.iter().collect();
    sorted.sort_by(|a, b| b.share.total_cmp(&a.share));
    for line in sorted {
        table.row([
            line.source.clone(),
            significant(line.value),
            three(line.standard_uncertainty),
            if line.unit == "1" {
                String::new()
            } else {
                line.unit.clone()
            },
            three(line.sensitivity),
            three(line.contribution),
            format!("{} %", number::number(100.0 * line.share, 1)),
            line.degrees_of_freedom
                .map(|nu| number::number(nu, 0))
                .unwrap_or_default(),
            if line.assumed {
                "default".to_owned()
            } else {
                String::new()
            },
        ]);
    }
    page.table(&table);
}

/// Three significant digits.
fn three(value: f64) -> String {
    let decimals = (2.0 - value.abs().max(1e-12).log10().floor()).clamp(0.0, 9.0) as usize;
    number::number(value, decimals)
}

fn monte_carlo(drawn: &MonteCarlo, page: &mut Page) {
    page.field(
        "simulated",
        &format!(
            "95 % {} in {} draws (seed {}), {} times as wide as by the law of propagation{}",
            number::interval(drawn.interval95[0], drawn.interval95[1]),
            drawn.trials,
            drawn.seed,
            number::number(drawn.width_ratio, 3),
            if drawn.agrees { ": they agree" } else { "" }
        ),
    );
}
