//! `biot composition`: a two-component mixture from its rotation.

use super::{Failure, Outcome, Session, args, choose};
use crate::compare::Conditions;
use crate::library::Access;
use crate::measurement::composition::{CompositionError, Rotation, composition};
use crate::quantity::{self, MolarMass, Printed, SpecificRotation, SpectralLine, StatedConcentration, Temperature};
use crate::report;
use crate::solvent::Solvent;
use crate::statement::Stage;
use crate::tasks::check::CheckSettings;
use crate::tasks::composition::{ComposeError, CompositionRequest, compose};
use clap::Args;

/// Arguments of `biot composition`.
#[derive(Debug, Args)]
#[command(
    override_usage = "biot composition --value NUMBER --first NUMBER --second NUMBER [OPTIONS]\n       \
                      biot composition --value NUMBER --component COMPOUND --component COMPOUND [OPTIONS]",
    after_help = "Examples:\n  \
    biot composition --value 52.6 --first 112.2 --second 18.7 --names \"α-D-glucose\" \"β-D-glucose\"\n  \
    biot composition --value 52.6 --uncertainty 0.2 --first 112.2 --first-uncertainty 0.5 --second 18.7 \
    --second-uncertainty 0.3 --json\n  \
    biot composition --value 52.6 --component alpha-D-glucose --component beta-D-glucose --stage initial --solvent H2O \
    --temp 20 --line D\n  \
    biot composition --value=-19.4 --component D-glucose --component D-fructose --stage final --solvent H2O --temp 20 \
    --line D\n\n\
    The rotations are specific rotations at the same conditions, or angles of solutions of one mass concentration in one \
    cell; the first component has the mass fraction ([α] − [α]₂)/([α]₁ − [α]₂). Where no uncertainty is given, that of \
    the last digit is taken, which is too small for most values in print. With --component the pure values are pooled \
    from the library at the conditions given, by the rules of biot check, and --value is a specific rotation; --stage is \
    that of the pure components: a single anomer has its own rotation at the start only."
)]
pub struct CompositionArguments {
    /// Rotation of the mixture
    #[arg(long, required = true, allow_hyphen_values = true, value_parser = args::rotation, value_name = "NUMBER")]
    pub value: Printed,
    /// Standard uncertainty of it
    #[arg(long, value_parser = args::rotation, value_name = "NUMBER")]
    pub uncertainty: Option<Printed>,
    /// Molar masses of the components, for mole fractions
    #[arg(long, num_args = 2, value_parser = quantity::parse_molar_mass, value_names = ["FIRST", "SECOND"])]
    pub molar_masses: Option<Vec<MolarMass>>,

    /// Rotation of the first pure component
    #[arg(long, required_unless_present = "component", allow_hyphen_values = true, value_parser = args::rotation, value_name = "NUMBER", help_heading = "Pure values typed in")]
    pub first: Option<Printed>,
    /// Standard uncertainty of it
    #[arg(long, value_parser = args::rotation, value_name = "NUMBER", help_heading = "Pure values typed in")]
    pub first_uncertainty: Option<Printed>,
    /// Rotation of the second pure component
    #[arg(long, required_unless_present = "component", allow_hyphen_values = true, value_parser = args::rotation, value_name = "NUMBER", help_heading = "Pure values typed in")]
    pub second: Option<Printed>,
    /// Standard uncertainty of it
    #[arg(long, value_parser = args::rotation, value_name = "NUMBER", help_heading = "Pure values typed in")]
    pub second_uncertainty: Option<Printed>,
    /// Names of the components, to show
    #[arg(long, num_args = 2, value_names = ["FIRST", "SECOND"], default_values = ["first", "second"], help_heading = "Pure values typed in")]
    pub names: Vec<String>,

    /// A component: name, CAS number, InChIKey, SMILES, or its number in this library; give it twice
    #[arg(long, conflicts_with_all = ["first", "second", "first_uncertainty", "second_uncertainty", "names"], value_name = "COMPOUND", help_heading = "Pure values of the library")]
    pub component: Vec<String>,
    /// Stage of the pure components where they mutarotate
    #[arg(long, value_parser = ["initial", "final"], value_name = "STAGE", help_heading = "Pure values of the library")]
    pub stage: Option<String>,
    /// Solvent
    #[arg(long, value_parser = args::solvent, value_name = "SOLVENT", help_heading = "Pure values of the library")]
    pub solvent: Option<Solvent>,
    /// Temperature
    #[arg(long, visible_alias = "temperature", allow_hyphen_values = true, value_parser = quantity::parse_temperature, value_name = "TEMPERATURE", help_heading = "Pure values of the library")]
    pub temp: Option<Temperature>,
    /// Light: D, 546 nm, or a line's letter
    #[arg(long, value_parser = quantity::parse_line, value_name = "LINE", help_heading = "Pure values of the library")]
    pub line: Option<SpectralLine>,
    /// Concentration of the mixture
    #[arg(long, visible_alias = "concentration", value_parser = quantity::parse_concentration, value_name = "CONCENTRATION", help_heading = "Pure values of the library")]
    pub conc: Option<StatedConcentration>,
}

/// Computes and shows.
pub fn run(arguments: &CompositionArguments, session: &mut Session) -> Result<Outcome, Failure> {
    let mut assumed = Vec::new();
    let mixture = rotation("the mixture", arguments.value, arguments.uncertainty, &mut assumed)?;
    let masses = match arguments.molar_masses.as_deref() {
        Some(&[a, b]) => Some([a, b]),
        _ => None,
    };
    if arguments.component.is_empty() {
        no_conditions(arguments)?;
    }
    let (Some(first), Some(second)) = (arguments.first, arguments.second) else {
        return of_library(arguments, mixture, masses, &assumed, session);
    };
    let first = rotation("the first", first, arguments.first_uncertainty, &mut assumed)?;
    let second = rotation("the second", second, arguments.second_uncertainty, &mut assumed)?;
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

/// Conditions only choose values of the library: typed ones must be at the conditions of the mixture already.
fn no_conditions(arguments: &CompositionArguments) -> Result<(), Failure> {
    let given = [
        ("--stage", arguments.stage.is_some()),
        ("--solvent", arguments.solvent.is_some()),
        ("--temp", arguments.temp.is_some()),
        ("--line", arguments.line.is_some()),
        ("--conc", arguments.conc.is_some()),
    ];
    match given.iter().find(|(_, is_given)| *is_given) {
        None => Ok(()),
        Some((option, _)) => Err(Failure::usage(
            "no-component",
            format!("{option} chooses values of the library, but the pure values are typed in"),
        )
        .at(*option)
        .hint("leave it out, or name the compounds with --component instead of --first and --second")),
    }
}

/// A rotation with its uncertainty; where none is given, that of the last digit, and `assumed` names it.
fn rotation(
    name: &'static str,
    value: Printed,
    uncertainty: Option<Printed>,
    assumed: &mut Vec<&'static str>,
) -> Result<Rotation, Failure> {
    let uncertainty = match uncertainty {
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
}

/// With the pure values of the library.
fn of_library(
    arguments: &CompositionArguments,
    mixture: Rotation,
    molar_masses: Option<[MolarMass; 2]>,
    assumed: &[&'static str],
    session: &mut Session,
) -> Result<Outcome, Failure> {
    let [first, second] = arguments.component.as_slice() else {
        return Err(Failure::usage(
            "component",
            format!("--component is given {} times", arguments.component.len()),
        )
        .hint("a mixture has two components: give --component twice"));
    };
    let library = session.library(Access::Read)?;
    let components = [
        choose::compound(&library, first, session)?,
        choose::compound(&library, second, session)?,
    ];
    let concentration = match arguments.conc {
        Some(stated) => Some(
            stated
                .to_mass_concentration(None, None)
                .map_err(|error| Failure::usage("quantity", error.to_string()).at("--conc"))?,
        ),
        None => None,
    };
    let request = CompositionRequest {
        mixture,
        components,
        conditions: Conditions {
            temperature: arguments.temp,
            line: arguments.line.clone(),
            solvent: arguments.solvent.clone(),
            concentration,
            stage: arguments.stage.as_deref().map(|stage| match stage {
                "initial" => Stage::Initial,
                _ => Stage::Final,
            }),
            basis: None,
        },
        molar_masses,
    };
    let made = compose(&library, &request, &CheckSettings::default())?;
    session.answer(
        &report::composition::CompositionJson::of_library(&made, assumed),
        |page| report::composition::show_of_library(&made, assumed, page),
    )?;
    Ok(Outcome::Answered)
}

impl From<CompositionError> for Failure {
    fn from(error: CompositionError) -> Self {
        Self::usage("composition", "").told(&error.to_string())
    }
}

impl From<ComposeError> for Failure {
    fn from(error: ComposeError) -> Self {
        match error {
            ComposeError::Library(error) => error.into(),
            ComposeError::Composition(error) => error.into(),
            ComposeError::NothingComparable { .. } => Self::usage("nothing-comparable", error.to_string()).hint(
                "state the conditions (--solvent, --temp, --line, --stage), or type the pure values (--first, --second)",
            ),
            ComposeError::Same { .. } => Self::usage("component", error.to_string()),
        }
    }
}
