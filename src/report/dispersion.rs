//! Rotation against wavelength: text and JSON.

use super::plot::{self, Residual};
use super::timecourse::{decimals, refused};
use super::{Column, Page, Table, number};
use crate::dispersion::{ConversionError, Dispersion, DispersionFlag, Drude, DrudeTerm, LawError, Predicted};
use crate::exchange::series::RefusedRow;
use crate::quantity::{SpecificRotation, Wavelength};
use crate::tasks::dispersion::{DispersionResult, medium};
use serde::Serialize;

/// The document of `biot dispersion --json`.
#[derive(Debug, Serialize)]
pub struct DispersionJson<'a> {
    /// Number of terms of the law chosen; null when none could be fitted.
    pub terms: Option<usize>,
    /// The one-term law.
    pub one_term: LawJson<'a>,
    /// The two-term law.
    pub two_term: LawJson<'a>,
    /// Weight of two terms beside one by AICc.
    pub two_term_weight: f64,
    /// Whether the data change sign or turn back, so that nothing is extrapolated.
    pub anomalous: bool,
    /// The points with their residuals from the chosen law.
    pub points: Vec<PointJson>,
    /// Rotations at the lines asked for.
    pub predicted: Vec<PredictedJson>,
    /// The conversion asked for.
    pub conversion: Option<ConversionJson>,
    /// What to know.
    pub flags: &'a [DispersionFlag],
    /// Rows that could not be read.
    pub refused: &'a [RefusedRow],
    /// Entries of the library the points come from.
    pub entries: &'a [i64],
    /// Entries of the library that were left out, with the reason.
    pub left_out: &'a [(i64, String)],
    /// Unit of the values, where the file names it.
    pub unit: Option<&'a str>,
}

/// A fitted law, or why there is none.
#[derive(Debug, Default, Serialize)]
pub struct LawJson<'a> {
    /// The terms; A in the unit of the values times µm², bands in nm (vacuum).
    pub terms: Option<&'a [DrudeTerm]>,
    /// AICc.
    pub criterion: Option<f64>,
    /// Sum of squared residuals, over their variances where uncertainties are stated.
    pub chi_square: Option<f64>,
    /// Degrees of freedom.
    pub degrees_of_freedom: Option<usize>,
    /// Factor by which stated uncertainties were widened.
    pub widened: Option<f64>,
    /// Why the law was not fitted.
    pub reason: Option<String>,
}

/// A point.
#[derive(Debug, Serialize)]
pub struct PointJson {
    /// Wavelength, nm, in the medium given.
    pub wavelength_nm: f64,
    /// Air or vacuum.
    pub medium: &'static str,
    /// Value.
    pub value: f64,
    /// Its standard uncertainty.
    pub standard_uncertainty: Option<f64>,
    /// Value less the chosen law.
    pub residual: Option<f64>,
}

/// A rotation at a line, or why there is none.
#[derive(Debug, Serialize)]
pub struct PredictedJson {
    /// Wavelength, nm in air.
    pub wavelength_nm: f64,
    /// Value.
    pub value: Option<f64>,
    /// Its standard uncertainty.
    pub standard_uncertainty: Option<f64>,
    /// Whether the line lies outside the data.
    pub extrapolated: Option<bool>,
    /// Why there is no value.
    pub reason: Option<String>,
}

/// A value at another line, or why there is none.
#[derive(Debug, Serialize)]
pub struct ConversionJson {
    /// From, nm in air.
    pub from_nm: f64,
    /// To, nm in air.
    pub to_nm: f64,
    /// Factor.
    pub factor: Option<f64>,
    /// Its standard uncertainty.
    pub factor_uncertainty: Option<f64>,
    /// Value at the other line.
    pub value: Option<f64>,
    /// Its standard uncertainty, with that of the conversion.
    pub standard_uncertainty: Option<f64>,
    /// Why there is none.
    pub reason: Option<String>,
}

fn law(found: &Result<Drude, LawError>) -> LawJson<'_> {
    match found {
        Ok(law) => LawJson {
            terms: Some(&law.terms),
            criterion: law.criterion(),
            chi_square: Some(law.chi_square()),
            degrees_of_freedom: Some(law.degrees_of_freedom()),
            widened: Some(law.widened()),
            reason: None,
        },
        Err(error) => LawJson {
            reason: Some(error.to_string()),
            ..LawJson::default()
        },
    }
}

fn air(wavelength: Wavelength) -> f64 {
    wavelength.to_air().nanometres()
}

impl<'a> DispersionJson<'a> {
    /// Makes the document.
    pub fn new(made: &'a DispersionResult) -> Self {
        let found = &made.dispersion;
        let residuals = found.law().map(Drude::residuals);
        Self {
            terms: found.terms,
            one_term: law(&found.one_term),
            two_term: law(&found.two_term),
            two_term_weight: found.two_term_weight,
            anomalous: found.anomalous,
            points: found
                .points
                .iter()
                .enumerate()
                .map(|(at, point)| PointJson {
                    wavelength_nm: point.wavelength.nanometres(),
                    medium: medium(point.wavelength),
                    value: point.rotation.conventional(),
                    standard_uncertainty: point.uncertainty.map(SpecificRotation::conventional),
                    residual: residuals.map(|all| all[at]),
                })
                .collect(),
            predicted: made
                .predicted
                .iter()
                .map(|(at, found)| {
                    let ok = found.as_ref().ok();
                    PredictedJson {
                        wavelength_nm: air(*at),
                        value: ok.map(|p| p.rotation.conventional()),
                        standard_uncertainty: ok.map(|p| p.uncertainty.conventional()),
                        extrapolated: ok.map(|p| p.extrapolated),
                        reason: found.as_ref().err().map(ToString::to_string),
                    }
                })
                .collect(),
            conversion: made.conversion.as_ref().map(|conversion| {
                let factor = conversion.factor.as_ref().ok();
                let converted = conversion.converted();
                ConversionJson {
                    from_nm: air(conversion.from),
                    to_nm: air(conversion.to),
                    factor: factor.map(|f| f.factor),
                    factor_uncertainty: factor.map(|f| f.uncertainty),
                    value: converted.map(|c| c.0),
                    standard_uncertainty: converted.map(|c| c.1),
                    reason: conversion.factor.as_ref().err().map(ToString::to_string),
                }
            }),
            flags: &found.flags,
            refused: &made.refused,
            entries: &made.entries,
            left_out: &made.left_out,
            unit: made.unit.as_deref(),
        }
    }
}

/// The law chosen, in words.
pub fn law_words(found: &Dispersion) -> String {
    let n = found.points.len();
    match found.terms {
        Some(1) => format!("One-term law of Drude through {n} values"),
        Some(_) => format!("Two-term law of Drude through {n} values"),
        None => format!("No law through {n} value{}", if n == 1 { "" } else { "s" }),
    }
}

/// The terms of the law chosen, and the scatter about it.
pub fn facts(found: &Dispersion) -> Vec<(String, String)> {
    let Some(law) = found.law() else { return Vec::new() };
    let mut facts: Vec<(String, String)> = (law.terms.iter().enumerate())
        .map(|(at, term)| {
            let strength = number::signed_with_uncertainty(term.strength, term.strength_uncertainty);
            let band = if term.band_square < 0.0 {
                format!("a smooth background (λ0² {} µm²)", number::number(term.band_square, 3))
            } else {
                format!(
                    "band λ0 {} nm",
                    number::with_uncertainty(term.band_nm, term.band_uncertainty)
                )
            };
            (
                format!("term {}", at + 1),
                format!("A {strength} (value × µm²), {band}"),
            )
        })
        .collect();
    if let Some(scatter) = law.scatter() {
        facts.push(("scatter".to_owned(), number::number(scatter, decimals(scatter))));
    }
    facts
}

/// A rotation at a line with its standard uncertainty, and what to know of it; or why there is none.
pub fn predicted_words(predicted: &Result<Predicted, ConversionError>) -> (String, String) {
    match predicted {
        Ok(p) => (
            number::signed_with_uncertainty(p.rotation.conventional(), p.uncertainty.conventional()),
            if p.extrapolated {
                "outside the data: it holds only as far as the law does".to_owned()
            } else {
                String::new()
            },
        ),
        Err(error) => (String::new(), format!("not given: {error}")),
    }
}

/// Writes the laws, the residuals and what was asked.
pub fn show(made: &DispersionResult, page: &mut Page) {
    let found = &made.dispersion;
    page.heading(&law_words(found));
    for (name, text) in facts(found) {
        page.field(&name, &text);
    }
    laws(made, page);
    if !made.predicted.is_empty() {
        page.heading("At other lines");
        for (at, predicted) in &made.predicted {
            let (value, remark) = predicted_words(predicted);
            let text = match (value.is_empty(), remark.is_empty()) {
                (true, _) => remark,
                (false, true) => value,
                (false, false) => format!("{value}, {remark}"),
            };
            page.field(&format!("{} nm", number::number(air(*at), 1)), &text);
        }
    }
    if let Some(conversion) = &made.conversion {
        page.heading("Conversion");
        let lines = format!(
            "{} to {} nm",
            number::number(air(conversion.from), 1),
            number::number(air(conversion.to), 1)
        );
        match (&conversion.factor, conversion.converted()) {
            (Ok(factor), Some((value, u))) => {
                page.field(&lines, &number::signed_with_uncertainty(value, u));
                page.field("factor", &number::with_uncertainty(factor.factor, factor.uncertainty));
            }
            (Err(error), _) => page.field(&lines, &format!("not comparable: {error}")),
            (Ok(_), None) => {}
        }
    }
    if !found.flags.is_empty() {
        page.heading("To know");
        for flag in &found.flags {
            page.point(&flag.sentence);
        }
    }
    if let Some(law) = found.law() {
        let shown: Vec<Residual> = found
            .points
            .iter()
            .zip(law.residuals())
            .map(|(point, &off)| Residual {
                x: air(point.wavelength),
                off,
            })
            .collect();
        page.heading("Residuals over wavelength");
        page.verbatim(&plot::residuals(
            &shown,
            decimals(law.scatter().unwrap_or(0.0)),
            page.width(),
        ));
        page.note("in the unit of the values, over nm in air");
    }
    refused(&made.refused, page);
    if !made.left_out.is_empty() {
        page.note(&format!(
            "{} entries were left out; --json lists them with the reason",
            made.left_out.len()
        ));
    }
}

fn laws(made: &DispersionResult, page: &mut Page) {
    let found = &made.dispersion;
    let criterion = |law: &Result<Drude, LawError>| law.as_ref().ok().and_then(Drude::criterion);
    let least = [criterion(&found.one_term), criterion(&found.two_term)]
        .into_iter()
        .flatten()
        .fold(f64::INFINITY, f64::min);
    let mut table = Table::new(&[
        Column::Word("law"),
        Column::Number("AICc above the best"),
        Column::Text("why not"),
    ]);
    for (name, law) in [("one term", &found.one_term), ("two terms", &found.two_term)] {
        table.row([
            name.to_owned(),
            criterion(law).map_or("–".to_owned(), |value| number::number(value - least, 1)),
            law.as_ref().err().map(ToString::to_string).unwrap_or_default(),
        ]);
    }
    page.gap();
    page.table(&table);
}
