//! Dispersion tables as documents.

use super::build::{heading, labels, provenance};
use super::{Block, Document, Grid};
use crate::dispersion::{Dispersion, Drude};
use crate::quantity::{SpecificRotation, Wavelength};
use crate::report::number;
use crate::report::result as rows;
use crate::report::svg::{Chart, Look, Mark};
use crate::tasks::dispersion::{DispersionResult, medium};
use crate::tasks::report::Provenance;

/// Points of the law that are drawn.
const CURVE: u32 = 120;

/// The report of a dispersion table.
pub fn of_dispersion(title: &str, made: &DispersionResult, from: &Provenance, made_on: &str) -> Document {
    let found = &made.dispersion;
    let unit = made.unit.clone().unwrap_or_else(|| rows::UNIT.to_owned());
    let mut facts: Vec<(String, String)> = labels(from).collect();
    facts.extend(law_facts(made, &unit));
    if !made.entries.is_empty() {
        let entries: Vec<String> = made.entries.iter().map(|entry| format!("#{entry}")).collect();
        facts.push(("Entries".to_owned(), entries.join(", ")));
    }
    let mut blocks = vec![
        Block::Facts { rows: facts },
        figure(title, found, &unit),
        Block::Table {
            table: points(title, found, &unit),
            supporting: true,
        },
    ];
    blocks.extend(predictions(made, &unit));
    if !found.flags.is_empty() {
        blocks.push(heading("To know"));
        blocks.push(Block::Points {
            items: found.flags.iter().map(|flag| flag.sentence.clone()).collect(),
        });
    }
    let mut left_out: Vec<String> = (made.left_out.iter())
        .map(|(entry, why)| format!("Entry #{entry}: {why}"))
        .collect();
    left_out.extend(
        made.refused
            .iter()
            .map(|row| format!("Row {}: {}", row.line, row.reason)),
    );
    if !left_out.is_empty() {
        blocks.push(heading("Left out"));
        blocks.push(Block::Points { items: left_out });
    }
    Document {
        title: title.to_owned(),
        kind: "Optical rotatory dispersion".to_owned(),
        made_on: made_on.to_owned(),
        blocks,
        provenance: provenance(from),
    }
}

/// Decimals that show a number as it was given, four at most.
fn decimals(value: f64) -> usize {
    let text = format!("{:.4}", value.abs());
    let digits = text.trim_end_matches('0');
    digits.split_once('.').map_or(0, |(_, decimals)| decimals.len())
}

/// The values with as many decimals as the finest of them; what the law leaves has one more.
fn points(title: &str, found: &Dispersion, unit: &str) -> Grid {
    let value = |rotation: SpecificRotation| rotation.conventional();
    let most = found
        .points
        .iter()
        .map(|point| decimals(value(point.rotation)))
        .max()
        .unwrap_or(0);
    let residuals = found.law().map(Drude::residuals);
    let has_uncertainty = found.points.iter().any(|point| point.uncertainty.is_some());
    let mut heads = vec!["#λ / nm".to_owned(), "medium".to_owned(), format!("#[α] / {unit}")];
    heads.extend(has_uncertainty.then(|| "#standard uncertainty".to_owned()));
    heads.extend(residuals.map(|_| "#less the law".to_owned()));
    let heads: Vec<&str> = heads.iter().map(String::as_str).collect();
    let mut table = Grid::new(&format!("Rotation of {title} at each wavelength"), &heads);
    table.rows = (found.points.iter().enumerate())
        .map(|(at, point)| {
            let mut row = vec![
                number::number(point.wavelength.nanometres(), 1),
                medium(point.wavelength).to_owned(),
                number::signed(value(point.rotation), most),
            ];
            if has_uncertainty {
                let u = point.uncertainty.map(value);
                row.push(
                    u.map(|u| number::number(u, most.max(decimals(u).min(most + 1))))
                        .unwrap_or_default(),
                );
            }
            row.extend(residuals.map(|all| number::signed(all[at], most + 1)));
            row
        })
        .collect();
    table
}

fn nm(wavelength: Wavelength) -> f64 {
    wavelength.to_air().nanometres()
}

/// The values with the law through them.
fn figure(title: &str, found: &Dispersion, unit: &str) -> Block {
    let title = format!("Rotation of {title} against wavelength");
    let curve = match (found.law(), found.range_nm()) {
        (Some(law), Some((from, to))) => (0..=CURVE)
            .map(|at| from + (to - from) * f64::from(at) / f64::from(CURVE))
            .filter_map(|at| Some([at, law.rotation(Wavelength::in_air(at).ok()?).0]))
            .collect(),
        _ => Vec::new(),
    };
    let marks = (found.points.iter()).map(|point| {
        let value = point.rotation.conventional();
        let u = point.uncertainty.map(SpecificRotation::conventional);
        Mark {
            x: nm(point.wavelength),
            value,
            ends: u.map(|u| [value - 2.0 * u, value + 2.0 * u]),
            look: Look::Value,
            label: format!(
                "{} nm: {}",
                number::number(nm(point.wavelength), 1),
                number::signed(value, decimals(value))
            ),
        }
    });
    let chart = Chart {
        id: "dispersion",
        title: &title,
        x_axis: "wavelength in air / nm",
        y_axis: &format!("[α] / {unit}"),
        marks: marks.collect(),
        curve,
        ..Chart::default()
    };
    Block::Figure {
        svg: chart.draw(),
        title: title.clone(),
        // The table of the values follows.
        table: Grid::default(),
    }
}

fn law_facts(made: &DispersionResult, unit: &str) -> Vec<(String, String)> {
    let found = &made.dispersion;
    let Some(law) = found.law() else {
        return vec![("Law".to_owned(), "none could be fitted".to_owned())];
    };
    let mut facts = vec![(
        "Law".to_owned(),
        format!(
            "[α] = {}A/(λ² − λ₀²), Drude's law with {} term{}; λ in vacuum",
            if law.terms.len() == 1 { "" } else { "Σ " },
            law.terms.len(),
            if law.terms.len() == 1 { "" } else { "s" }
        ),
    )];
    for (at, term) in law.terms.iter().enumerate() {
        let strength = number::signed_with_uncertainty(term.strength, term.strength_uncertainty);
        let band = if term.band_square < 0.0 {
            format!("a smooth background, λ₀² = {} µm²", number::number(term.band_square, 3))
        } else {
            format!(
                "λ₀ = {} nm",
                number::with_uncertainty(term.band_nm, term.band_uncertainty)
            )
        };
        facts.push((format!("Term {}", at + 1), format!("A = {strength} {unit} µm², {band}")));
    }
    facts
}

fn predictions(made: &DispersionResult, unit: &str) -> Option<Block> {
    if made.predicted.is_empty() {
        return None;
    }
    let rows: Vec<Vec<String>> = (made.predicted.iter())
        .map(|(at, predicted)| {
            let wavelength = number::number(nm(*at), 1);
            match predicted {
                Ok(found) => vec![
                    wavelength,
                    number::signed_with_uncertainty(found.rotation.conventional(), found.uncertainty.conventional()),
                    if found.extrapolated { "outside the data" } else { "" }.to_owned(),
                ],
                Err(error) => vec![wavelength, "–".to_owned(), error.to_string()],
            }
        })
        .collect();
    let mut table = Grid::new(
        "At other lines, by the law",
        &["#λ / nm in air", &format!("#[α] / {unit}"), "note"],
    );
    table.rows = rows;
    table.drop_empty_columns();
    Some(Block::Table {
        table,
        supporting: true,
    })
}
