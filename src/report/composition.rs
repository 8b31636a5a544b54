//! Composition of a mixture, and calibration against enantiomeric excess: text and JSON.

use super::plot::{self, Residual};
use super::timecourse::{decimals, refused};
use super::{Page, number};
use crate::exchange::series::RefusedRow;
use crate::measurement::calibration::{Curve, ReadOff};
use crate::measurement::composition::{Composition, CompositionCaution};
use crate::measurement::kinetics::Estimate;
use crate::tasks::calibrate::Calibrated;
use crate::tasks::composition::{Composed, PureFromLibrary};
use serde::Serialize;

/// The document of `biot composition --json`.
#[derive(Debug, Serialize)]
pub struct CompositionJson<'a> {
    /// Names of the components.
    pub names: [&'a str; 2],
    /// Mass fraction of the first component.
    pub first: Estimate,
    /// Mass fraction of the second component.
    pub second: f64,
    /// Mole fraction of the first component.
    pub first_by_amount: Option<Estimate>,
    /// Shares of the variance: mixture, first, second.
    pub shares: [f64; 3],
    /// Difference of the pure values over its standard uncertainty.
    pub separation: f64,
    /// Rotations whose uncertainty was taken from their last digit.
    pub assumed: &'a [&'static str],
    /// What to know.
    pub cautions: &'a [CompositionCaution],
    /// The pure values of the library: first, second; null where they were typed in.
    pub library_values: Option<&'a [PureFromLibrary; 2]>,
}

impl<'a> CompositionJson<'a> {
    /// Makes the document of a composition with the values of the library.
    pub fn of_library(made: &'a Composed, assumed: &'a [&'static str]) -> Self {
        Self {
            library_values: Some(&made.pure),
            ..Self::new(&made.composition, names(made), assumed)
        }
    }

    /// Makes the document.
    pub fn new(made: &'a Composition, names: [&'a str; 2], assumed: &'a [&'static str]) -> Self {
        Self {
            names,
            first: made.first,
            second: 1.0 - made.first.value,
            first_by_amount: made.first_by_amount,
            shares: made.shares,
            separation: made.separation,
            assumed,
            cautions: &made.cautions,
            library_values: None,
        }
    }
}

fn names(made: &Composed) -> [&str; 2] {
    [&made.pure[0].name, &made.pure[1].name]
}

/// Writes a composition with the values of the library and the entries they rest on.
pub fn show_of_library(made: &Composed, assumed: &[&'static str], page: &mut Page) {
    show(&made.composition, names(made), assumed, page);
    page.heading("Pure values of the library");
    for pure in &made.pure {
        let pooled = &pure.pooled;
        page.field(
            &pure.name,
            &format!(
                "{}; 95 % {}; {} of {} entries, independent sources: {}",
                number::signed_with_uncertainty(pooled.value, pooled.standard_uncertainty),
                number::interval(pooled.interval95[0], pooled.interval95[1]),
                pooled.entries_used,
                pure.references.len(),
                pooled.independent_sources
            ),
        );
    }
    for caution in made.pure.iter().flat_map(|pure| &pure.cautions) {
        page.point(caution);
    }
    for pure in &made.pure {
        page.gap();
        page.paragraph(&format!("{}:", pure.name));
        super::check::references(&pure.references, page);
    }
}

fn in_percent(estimate: Estimate) -> String {
    format!(
        "{} %; 95 %: {} %",
        number::with_uncertainty(100.0 * estimate.value, 100.0 * estimate.standard_uncertainty),
        number::interval(100.0 * estimate.interval95[0], 100.0 * estimate.interval95[1]).replace('+', "")
    )
}

/// Writes the composition.
pub fn show(made: &Composition, names: [&str; 2], assumed: &[&'static str], page: &mut Page) {
    page.heading("Composition by mass");
    let second = Estimate {
        value: 1.0 - made.first.value,
        interval95: [1.0 - made.first.interval95[1], 1.0 - made.first.interval95[0]],
        ..made.first
    };
    page.field(names[0], &in_percent(made.first));
    page.field(names[1], &in_percent(second));
    if let Some(amount) = made.first_by_amount {
        page.field("by amount", &format!("{}: {}", names[0], in_percent(amount)));
    }
    page.field(
        "uncertainty from",
        &format!(
            "mixture {}, {} {}, {} {}",
            number::percent(made.shares[0]),
            names[0],
            number::percent(made.shares[1]),
            names[1],
            number::percent(made.shares[2])
        ),
    );
    for caution in &made.cautions {
        page.point(&caution.sentence);
    }
    if !assumed.is_empty() {
        page.note(&format!(
            "the uncertainty of {} was taken from the last digit alone, so the interval is likely too narrow",
            assumed.join(", of ")
        ));
    }
}

/// The document of `biot calibrate --json`.
#[derive(Debug, Serialize)]
pub struct CalibrateJson<'a> {
    /// The curve the points support.
    pub curve: Curve,
    /// Its parameters a and, of the cubic one, b with their standard uncertainties.
    pub parameters: Vec<(f64, f64)>,
    /// Rotation of the pure enantiomer by the curve.
    pub pure: Estimate,
    /// Part of the pure rotation that the cubic term makes.
    pub curvature: Option<Estimate>,
    /// AICc of the linear and of the cubic curve.
    pub criteria: [Option<f64>; 2],
    /// Standard deviation about the curve.
    pub scatter: f64,
    /// Largest difference of optical purity and excess, a fraction.
    pub largest_difference: f64,
    /// The excess where it is.
    pub largest_difference_at: f64,
    /// What was read off the curve.
    pub read_off: Option<&'a ReadOff>,
    /// Rows that could not be read.
    pub refused: &'a [RefusedRow],
}

impl<'a> CalibrateJson<'a> {
    /// Makes the document.
    pub fn new(made: &'a Calibrated) -> Self {
        let found = &made.calibration;
        Self {
            curve: found.curve,
            parameters: found.parameters(),
            pure: found.pure,
            curvature: found.curvature,
            criteria: found.criteria,
            scatter: found.scatter,
            largest_difference: found.largest_difference.0,
            largest_difference_at: found.largest_difference.1,
            read_off: made.read_off.as_ref(),
            refused: &made.refused,
        }
    }
}

/// The largest difference of optical purity and excess that a curvature within its 95 % interval can make: with
/// κ = b/(a + b), `r − e = −κ e (1 − e²)`, largest at e = 1/√3 (the root of its derivative), where it is 2/√27 of κ.
fn largest_gap(curvature: Estimate) -> f64 {
    let [low, high] = curvature.interval95;
    2.0 / 27f64.sqrt() * low.abs().max(high.abs())
}

/// Writes the calibration and what was read off it.
pub fn show_calibration(made: &Calibrated, page: &mut Page) {
    let found = &made.calibration;
    page.heading(match found.curve {
        Curve::Linear => "Rotation is linear in ee, as far as these points tell",
        Curve::Cubic => "Rotation is not linear in ee: [α] = a e + b e³",
    });
    for (name, (value, u)) in ["a", "b"].into_iter().zip(found.parameters()) {
        page.field(name, &number::signed_with_uncertainty(value, u));
    }
    page.field(
        "pure enantiomer",
        &number::signed_with_uncertainty(found.pure.value, found.pure.standard_uncertainty),
    );
    let (difference, at) = found.largest_difference;
    if found.curve == Curve::Cubic {
        page.field(
            "largest gap",
            &format!(
                "optical purity differs from ee by {} points of per cent at ee {}",
                number::signed(100.0 * difference, 1),
                number::percent(at)
            ),
        );
    }
    if let Some(read) = &made.read_off {
        page.heading("Read off the curve");
        page.field("ee", &in_percent(read.excess));
        page.field("optical purity", &in_percent(read.optical_purity));
        page.field(
            "difference",
            &match (found.curve, found.curvature) {
                (Curve::Cubic, _) => format!(
                    "optical purity less ee: {} points of per cent",
                    number::signed_with_uncertainty(100.0 * read.difference, 100.0 * read.difference_uncertainty)
                ),
                (Curve::Linear, Some(curvature)) => format!(
                    "none told apart; by these points it is at most {} points of per cent anywhere (95 %)",
                    number::number(100.0 * largest_gap(curvature), 1)
                ),
                (Curve::Linear, None) => "none told apart; the points are too few for a curved law".to_owned(),
            },
        );
        if read.extrapolated {
            page.point("the ee lies beyond the points of the calibration: add a point there");
        }
    }
    page.heading("Residuals over ee in per cent");
    let shown: Vec<Residual> = made
        .points
        .iter()
        .zip(&found.residuals)
        .map(|(point, &off)| Residual {
            x: point.excess.percent(),
            off,
        })
        .collect();
    page.verbatim(&plot::residuals(&shown, decimals(found.scatter), page.width()));
    page.note("the curve holds for the concentration, solvent, line and temperature of its points only");
    refused(&made.refused, page);
}
