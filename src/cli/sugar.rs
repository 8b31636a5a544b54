//! `biot sugar`: an angle on the international sugar scale, and the sucrose it means.

use super::{Failure, Outcome, Session};
use crate::instrument::sugar;
use crate::quantity::{self, Angle, Length, SpectralLine};
use crate::report::number;
use clap::Args;
use serde::Serialize;

/// Arguments of `biot sugar`.
#[derive(Debug, Args)]
#[command(after_help = "Examples:\n  \
    biot sugar --angle 34.62 --cell \"200 mm\" --line D      a solution of 26 g sucrose in 100 mL reads 99.98 °Z\n  \
    biot sugar --angle 10.2 --cell \"100 mm\" --line 546.1 --json\n\n\
    The scale is defined at 20 °C; nothing but sucrose may turn the light. The definition is that of GOST 8.258-2013, Annex A, \
    which restates the international sugar scale; the official text in force decides.")]
pub struct SugarArguments {
    /// Observed angle at 20 °C, blank subtracted
    #[arg(long, allow_hyphen_values = true, value_parser = quantity::parse_angle, value_name = "ANGLE")]
    pub angle: Angle,
    /// Its standard uncertainty
    #[arg(long, value_parser = quantity::parse_angle, value_name = "ANGLE")]
    pub uncertainty: Option<Angle>,
    /// Cell length
    #[arg(long, value_parser = quantity::parse_length, default_value = "200 mm", value_name = "LENGTH")]
    pub cell: Length,
    /// Line
    #[arg(long, value_parser = quantity::parse_line, default_value = "D", value_name = "LINE")]
    pub line: SpectralLine,
}

/// The answer.
#[derive(Debug, Serialize)]
struct SugarJson {
    sugar_degrees: f64,
    standard_uncertainty: Option<f64>,
    sucrose_g_per_100ml: f64,
    sucrose_standard_uncertainty: Option<f64>,
    normal_solution_deg: f64,
}

/// Converts the angle.
pub fn run(arguments: &SugarArguments, session: &mut Session) -> Result<Outcome, Failure> {
    let wavelength = arguments.line.wavelength().ok_or_else(|| {
        Failure::usage(
            "line",
            format!("the wavelength of line {} is not known", arguments.line),
        )
        .at("--line")
    })?;
    let refuse = |error: crate::instrument::StandardError| Failure::usage("line", error.to_string()).at("--line");
    let normal = sugar::normal_solution(wavelength).map_err(refuse)?;
    if arguments.cell.millimetres().is_nan() || arguments.cell.millimetres() <= 0.0 {
        return Err(Failure::usage("cell", "the cell length must be above zero").at("--cell"));
    }
    let in_scale_cell =
        |angle: Angle| Angle::from_degrees(angle.degrees() * sugar::CELL.decimetres() / arguments.cell.decimetres());
    let reading = sugar::reading_of(in_scale_cell(arguments.angle), wavelength).map_err(refuse)?;
    let per_degree = sugar::NORMAL_CONCENTRATION.grams_per_100_millilitres() / 100.0;
    let u = arguments
        .uncertainty
        .map(|u| 100.0 * in_scale_cell(u).degrees() / normal.degrees());
    let answer = SugarJson {
        sugar_degrees: reading.z(),
        standard_uncertainty: u,
        sucrose_g_per_100ml: reading.z() * per_degree,
        sucrose_standard_uncertainty: u.map(|u| u * per_degree),
        normal_solution_deg: normal.degrees(),
    };
    session.answer(&answer, |page| {
        let with = |value: f64, u: Option<f64>| {
            u.map_or_else(|| number::number(value, 3), |u| number::with_uncertainty(value, u))
        };
        page.field("sugar scale", &format!("{} °Z", with(answer.sugar_degrees, u)));
        page.field(
            "sucrose",
            &format!(
                "{} g in 100 mL at 20 °C, if nothing else turns the light",
                with(answer.sucrose_g_per_100ml, answer.sucrose_standard_uncertainty)
            ),
        );
        page.field(
            "100 °Z",
            &format!(
                "{}° in 200 mm at this line",
                number::number(answer.normal_solution_deg, 3)
            ),
        );
    })?;
    Ok(Outcome::Answered)
}
