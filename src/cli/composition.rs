//! `biot composition`: a two-component mixture from its rotation.

use super::{Failure, Outcome, Session, args};
use crate::measurement::composition::{CompositionError, Rotation, composition};
use crate::quantity::{self, MolarMass, Printed, SpecificRotation};
use crate::report;
use clap::Args;

/// Arguments of `biot composition`.
#[derive(Debug, Args)]
#[command(after_help = "Examples:\n  \
    biot composition --value 52.6 --first 112.2 --second 18.7 --names \"α-D-glucose\" \"β-D-glucose\"\n  \
    biot composition --value 52.6 --uncertainty 0.2 --first 112.2 --first-uncertainty 0.5 --second 18.7 \
    --second-uncertainty 0.3 --json\n\n\
    The rotations are specific rotations at the same conditions, or angles of solutions of one mass concentration in one \
    cell; the first component has the mass fraction ([α] − [α]₂)/([α]₁ − [α]₂). Where no uncertainty is given, that of \
    the last digit is taken, which is too small for most values in print.")]
pub struct CompositionArguments {
    /// Rotation of the mixture
    #[arg(long, required = true, allow_hyphen_values = true, value_parser = args::rotation, value_name = "NUMBER")]
    pub value: Printed,
    /// Standard uncertainty of it
    #[arg(long, value_parser = args::rotation, value_name = "NUMBER")]
    pub uncertainty: Option<Printed>,
    /// Rotation of the first pure component
    #[arg(long, required = true, allow_hyphen_values = true, value_parser = args::rotation, value_name = "NUMBER")]
    pub first: Printed,
    /// Standard uncertainty of it
    #[arg(long, value_parser = args::rotation, value_name = "NUMBER")]
    pub first_uncertainty: Option<Printed>,
    /// Rotation of the second pure component
    #[arg(long, required = true, allow_hyphen_values = true, value_parser = args::rotation, value_name = "NUMBER")]
    pub second: Printed,
    /// Standard uncertainty of it
    #[arg(long, value_parser = args::rotation, value_name = "NUMBER")]
    pub second_uncertainty: Option<Printed>,
    /// Names of the components, to show
    #[arg(long, num_args = 2, value_names = ["FIRST", "SECOND"], default_values = ["first", "second"])]
    pub names: Vec<String>,
    /// Molar masses of the components, for mole fractions
    #[arg(long, num_args = 2, value_parser = quantity::parse_molar_mass, value_names = ["FIRST", "SECOND"])]
    pub molar_masses: Option<Vec<MolarMass>>,
}

/// Computes and shows.
pub fn run(arguments: &CompositionArguments, session: &mut Session) -> Result<Outcome, Failure> {
    let mut assumed = Vec::new();
    let mut rotation = |name: &'static str, value: Printed, u: Option<Printed>| {
        let uncertainty = match u {
            Some(u) if u.value() > 0.0 => u.value(),
            Some(u) => {
                return Err(Failure::usage(
                    "uncertainty",
                    format!("the uncertainty {u} must be above zero"),
                ));
            }
            None => {
                assumed.push(name);
                value.half_last_digit() / 3f64.sqrt()
            }
        };
        Ok(Rotation {
            value: SpecificRotation::from_conventional(value.value()),
            uncertainty: SpecificRotation::from_conventional(uncertainty),
        })
    };
    let mixture = rotation("the mixture", arguments.value, arguments.uncertainty)?;
    let first = rotation("the first", arguments.first, arguments.first_uncertainty)?;
    let second = rotation("the second", arguments.second, arguments.second_uncertainty)?;
    let masses = match arguments.molar_masses.as_deref() {
        Some(&[a, b]) => Some([a, b]),
        _ => None,
    };
    let made = composition(mixture, first, second, masses)?;
    let names = [
        arguments.names.first().map_or("first", String::as_str),
        arguments.names.get(1).map_or("second", String::as_str),
    ];
    session.answer(
        &report::composition::CompositionJson::new(&made, names, &assumed),
        |page| {
            report::composition::show(&made, names, &assumed, page);
        },
    )?;
    Ok(Outcome::Answered)
}

impl From<CompositionError> for Failure {
    fn from(error: CompositionError) -> Self {
        Self::usage("composition", "").told(&error.to_string())
    }
}
