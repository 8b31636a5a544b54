//! A plan in words and tables.

use super::number;
use super::page::Page;
use super::table::{Column, Table};
use crate::plan::CellPlan;
use crate::tasks::plan::{PlanResult, ProposalShown};

/// Most proposals that are listed in words.
const MOST_LISTED: usize = 6;

/// Writes a plan.
pub fn show(result: &PlanResult, page: &mut Page) {
    page.heading(&format!("{} · plan", result.name));
    let Some(first) = result.proposals.first() else {
        for note in &result.notes {
            page.paragraph(note);
        }
        return;
    };
    page.paragraph(&sentence(first));
    page.gap();
    cells(result, first, page);
    for remark in remarks(result) {
        page.point(&remark);
    }
    proposals(result, page);
    page.heading("At the bench");
    for item in &result.checklist {
        page.point(&item.sentence);
    }
    if !result.cautions.is_empty() {
        page.heading("Cautions");
        for caution in &result.cautions {
            page.point(caution);
        }
    }
}

/// The first proposal in a sentence.
pub fn sentence(first: &ProposalShown) -> String {
    format!(
        "Measure in {}. {} of {} close to that; the enantiopure compound is expected at {} (95 % {}).",
        conditions(first),
        match first.references_close {
            0 => "None".to_owned(),
            n => n.to_string(),
        },
        match (first.references_used, first.references_close) {
            (1, _) => "1 reference stands".to_owned(),
            (n, 0 | 1) => format!("{n} references stands"),
            (n, _) => format!("{n} references stand"),
        },
        number::signed(first.expected_value, 1),
        number::interval(first.interval95[0], first.interval95[1])
    )
}

/// What is to be said of the plan, a sentence each: other lines first.
pub fn remarks(result: &PlanResult) -> Vec<String> {
    let mut said: Vec<String> = result
        .other_lines
        .iter()
        .map(|line| {
            format!(
                "At {} the rotation is about {} times larger ({} close references).",
                line.line,
                number::number(line.times_larger, 1),
                line.references_close
            )
        })
        .collect();
    if said.is_empty() && !result.no_larger_lines.is_empty() {
        let lines = result.no_larger_lines.iter();
        let lines: Vec<String> = lines
            .map(|line| {
                format!(
                    "{} ({} times as large)",
                    line.line,
                    number::number(line.times_larger, 2)
                )
            })
            .collect();
        said.push(format!(
            "No other line with values in this solvent rotates clearly more: {}.",
            lines.join(", ")
        ));
    } else if said.is_empty() && !result.proposals.is_empty() {
        said.push(
            "No value at another line in this solvent: a shorter line (546, 436, 365 nm) usually rotates more, but could not \
             be compared."
                .to_owned(),
        );
    }
    said.extend(result.notes.iter().cloned());
    said
}

/// The concentration, and the mass for it, that the uncertainty wanted needs in a cell.
pub fn needed(proposal: &ProposalShown, cell: &CellPlan) -> String {
    match (cell.concentration_needed, cell.mass_needed) {
        (Some(c), Some(mass)) => format!("c {} ({} mg)", short(c), short(1e3 * mass)),
        (Some(c), None) => format!("c {}", short(c)),
        (None, _) if proposal.conc_g_per_100ml.is_none() => String::new(),
        (None, _) => "out of reach".to_owned(),
    }
}

/// The conditions of a proposal.
pub fn conditions(proposal: &ProposalShown) -> String {
    let mut parts = vec![proposal.solvent.clone().unwrap_or_default()];
    parts.extend(proposal.conc_g_per_100ml.map(|c| format!("c {}", short(c))));
    parts.extend(proposal.temperature_c.map(|t| format!("{} °C", short(t))));
    parts.extend(proposal.line.as_ref().map(|line| {
        if line.parse::<f64>().is_ok() {
            format!("{line} nm")
        } else {
            line.clone()
        }
    }));
    parts.join(", ")
}

/// A number in at most three significant digits.
pub fn short(value: f64) -> String {
    let factor = 10f64.powf((2.0 - value.abs().max(1e-9).log10().floor()).clamp(0.0, 6.0));
    format!("{}", (value * factor).round() / factor)
}

/// The rows of the table of cells: cell, angle, 95 %, u of the value, u of the optical purity, share of the measurement, and what
/// the uncertainty wanted needs.
pub fn cell_rows(proposal: &ProposalShown) -> Vec<[String; 7]> {
    (proposal.cells.iter())
        .map(|cell| {
            [
                format!("{} mm", short(cell.cell_mm)),
                format!(
                    "{}°{}",
                    number::signed(cell.expected_angle, 3),
                    if cell.beyond_90 { ", past ±90°" } else { "" }
                ),
                format!(
                    "{}°",
                    number::interval(cell.expected_angle95[0], cell.expected_angle95[1])
                ),
                number::number(cell.value_uncertainty, 2),
                number::percent(cell.purity_uncertainty),
                number::percent(cell.share_of_measurement),
                needed(proposal, cell),
            ]
        })
        .collect()
}

/// What the table of cells holds for.
pub fn cells_hold_for(result: &PlanResult) -> String {
    format!(
        "For a sample of {} optical purity and an angle good to {}°; u: standard uncertainty; wanted for the optical purity: {}",
        number::percent(result.expected_purity),
        short(result.angle_uncertainty),
        number::percent(result.wanted)
    )
}

/// A row of the table of proposals: conditions, expected value, least u of the optical purity, close references, sources, and
/// what was chosen here.
pub fn proposal_row(proposal: &ProposalShown) -> [String; 6] {
    let best = (proposal.cells.iter())
        .map(|cell| cell.purity_uncertainty)
        .fold(f64::INFINITY, f64::min);
    [
        conditions(proposal),
        number::signed(proposal.expected_value, 1),
        number::percent(best),
        proposal.references_close.to_string(),
        proposal.independent_sources.to_string(),
        proposal.chosen.join(", "),
    ]
}

fn cells(result: &PlanResult, proposal: &ProposalShown, page: &mut Page) {
    let mut table = Table::new(&[
        Column::Number("cell"),
        Column::Number("angle"),
        Column::Text("95 %"),
        Column::Number("u of [α]"),
        Column::Number("u of p"),
        Column::Number("by measuring"),
        Column::Text("for the u wanted"),
    ]);
    for row in cell_rows(proposal) {
        table.row(row);
    }
    page.table(&table);
    page.note(&format!(
        "{}. u of p is the one a check would state for the optical purity. \"By measuring\" is the share of the measurement, \
         the rest is the references'.",
        cells_hold_for(result)
    ));
}

fn proposals(result: &PlanResult, page: &mut Page) {
    if result.proposals.len() < 2 {
        return;
    }
    page.heading("Other conditions");
    let mut table = Table::new(&[
        Column::Text("conditions"),
        Column::Number("expected"),
        Column::Number("u of p"),
        Column::Number("close"),
        Column::Number("sources"),
        Column::Text("chosen here"),
    ]);
    for proposal in result.proposals.iter().take(MOST_LISTED) {
        table.row(proposal_row(proposal));
    }
    page.table(&table);
    let more = result.proposals.len().saturating_sub(MOST_LISTED);
    if more > 0 {
        page.note(&format!("{more} more; --json lists all."));
    }
}
