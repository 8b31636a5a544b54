//! `biot check`: one measured value against what is published.

use super::{Failure, Outcome, Session, args, choose};
use crate::compare::Conditions;
use crate::library::{Access, CompoundId, Library};
use crate::measurement::{self, Amount, Defaults, Reduced};
use crate::quantity::{
    self, Angle, Concentration, Density, Fraction, Length, Mass, MolarMass, Printed, QuantityError, SpecificRotation,
    SpectralLine, StatedConcentration, Temperature, Volume,
};
use crate::report;
use crate::solvent::Solvent;
use crate::statement::Stage;
use crate::tasks::check::{CheckRequest, CheckSettings, check, mirror_of};
use clap::{ArgGroup, Args};

/// Arguments of `biot check`.
#[derive(Debug, Args)]
#[command(
    group = ArgGroup::new("measured").args(["value", "angle"]).required(true),
    after_help = "Examples:\n  \
    biot check \"L-menthol\" --value -49.1 --solvent EtOH --conc 5 --temp 20 --line D\n  \
    biot check \"L-menthol\" --angle \"-2.455 deg\" --cell \"100 mm\" --mass \"500 mg\" --volume \"10 mL\" --solvent EtOH --temp 20 --line D\n  \
    biot check \"(S)-(+)-carvone\" --angle 58.4 --cell 100 --density 0.96 --temp 20 --line D\n  \
    biot check sucrose --value +66.4 --uncertainty 0.2 --solvent H2O --conc \"260 g/L\" --temp 20 --json\n\n\
    Bare numbers are mm, g, mL, °C, g/100 mL, degrees and nm; every option accepts a unit. What is not given is treated \
    as unknown and widens the result; nothing is filled in. The answer is about the rotation alone: it cannot prove what \
    is in the flask."
)]
pub struct CheckArguments {
    /// Compound: name, CAS number, InChIKey, SMILES, or its number in this library
    #[arg(required = true, value_name = "COMPOUND")]
    pub compound: Vec<String>,

    /// Measured specific rotation, deg mL g⁻¹ dm⁻¹
    #[arg(long, allow_hyphen_values = true, value_parser = args::rotation, value_name = "NUMBER", help_heading = "What was measured")]
    pub value: Option<Printed>,
    /// Observed angle, blank subtracted; needs --cell and --conc, --mass with --volume, or --density
    #[arg(long, allow_hyphen_values = true, value_parser = quantity::parse_angle, value_name = "ANGLE", help_heading = "What was measured")]
    pub angle: Option<Angle>,
    /// Standard uncertainty of the value, or of the angle where an angle is given
    #[arg(long, value_parser = args::rotation, value_name = "NUMBER", help_heading = "What was measured")]
    pub uncertainty: Option<Printed>,
    /// Cell length
    #[arg(long, visible_alias = "path", value_parser = quantity::parse_length, value_name = "LENGTH", help_heading = "What was measured")]
    pub cell: Option<Length>,
    /// Concentration of the solution
    #[arg(long, visible_alias = "concentration", allow_hyphen_values = true, value_parser = quantity::parse_concentration, conflicts_with_all = ["mass", "density"], value_name = "CONCENTRATION", help_heading = "What was measured")]
    pub conc: Option<StatedConcentration>,
    /// Mass dissolved
    #[arg(long, allow_hyphen_values = true, value_parser = quantity::parse_mass, requires = "volume", value_name = "MASS", help_heading = "What was measured")]
    pub mass: Option<Mass>,
    /// Volume it was made up to
    #[arg(long, allow_hyphen_values = true, value_parser = quantity::parse_volume, requires = "mass", value_name = "VOLUME", help_heading = "What was measured")]
    pub volume: Option<Volume>,
    /// Density: of the neat liquid, or of the solution where --conc is in % w/w
    #[arg(long, allow_hyphen_values = true, value_parser = quantity::parse_density, value_name = "DENSITY", help_heading = "What was measured")]
    pub density: Option<Density>,

    /// Solvent, or neat
    #[arg(long, value_parser = args::solvent, value_name = "SOLVENT", help_heading = "Conditions")]
    pub solvent: Option<Solvent>,
    /// Temperature
    #[arg(long, visible_alias = "temperature", allow_hyphen_values = true, value_parser = quantity::parse_temperature, value_name = "TEMPERATURE", help_heading = "Conditions")]
    pub temp: Option<Temperature>,
    /// Light: D, 546 nm, or a line's letter
    #[arg(long, value_parser = quantity::parse_line, value_name = "LINE", help_heading = "Conditions")]
    pub line: Option<SpectralLine>,
    /// Stage of a mutarotating solution
    #[arg(long, value_parser = ["initial", "final"], value_name = "STAGE", help_heading = "Conditions")]
    pub stage: Option<String>,
    /// Basis of the value: dried, anhydrous
    #[arg(long, value_name = "BASIS", help_heading = "Conditions")]
    pub basis: Option<String>,

    /// The sample is the mirror image of the compound named
    #[arg(long, help_heading = "The sample")]
    pub mirror_image: bool,
    /// Form that was weighed, where it is not the compound's own: monohydrate, hydrochloride
    #[arg(long, value_name = "FORM", help_heading = "The sample")]
    pub form: Option<String>,
    /// Enantiomeric excess by another method, per cent
    #[arg(long, allow_hyphen_values = true, value_parser = quantity::parse_percent, value_name = "PERCENT", help_heading = "The sample")]
    pub ee: Option<Fraction>,

    /// Factor on the variance of references that are unconfirmed drafts
    #[arg(long, default_value_t = 2.0, value_name = "FACTOR", help_heading = "The comparison")]
    pub draft_variance: f64,
}

/// Standard uncertainty of an enantiomeric excess by another method, a fraction (chromatographic integration, common
/// practice).
const EXCESS_UNCERTAINTY: f64 = 0.01;

/// Checks the value.
pub fn run(arguments: &CheckArguments, session: &mut Session) -> Result<Outcome, Failure> {
    if !(arguments.draft_variance >= 1.0 && arguments.draft_variance.is_finite()) {
        return Err(Failure::usage(
            "draft-variance",
            format!(
                "--draft-variance is {}, but it must be 1 or more",
                arguments.draft_variance
            ),
        ));
    }
    let library = session.library(Access::Read)?;
    let (compound, is_mirror) = compound(arguments, &library, session)?;
    let measured = measured(arguments, library.compound(compound)?.molar_mass)?;
    let is_neat = arguments.density.is_some() && arguments.conc.is_none() && arguments.mass.is_none();
    let request = CheckRequest {
        compound,
        mirror_image: is_mirror != arguments.mirror_image,
        conditions: Conditions {
            temperature: arguments.temp,
            line: arguments.line.clone(),
            solvent: arguments.solvent.clone().or_else(|| is_neat.then_some(Solvent::Neat)),
            concentration: measured.concentration,
            stage: arguments.stage.as_deref().map(|stage| match stage {
                "initial" => Stage::Initial,
                _ => Stage::Final,
            }),
            basis: arguments.basis.clone(),
        },
        measured,
        cell: arguments.cell,
        form: arguments.form.clone(),
        excess: arguments.ee.map(|ee| (ee.ratio(), EXCESS_UNCERTAINTY)),
    };
    let mut settings = CheckSettings::default();
    settings.options.draft_variance_factor = arguments.draft_variance;
    let result = check(&library, &request, &settings)?;
    session.answer(&result, |page| report::check::show(&result, page))?;
    Ok(Outcome::Answered)
}

/// The compound asked for, or the one whose mirror image a structure is.
fn compound(
    arguments: &CheckArguments,
    library: &Library,
    session: &mut Session,
) -> Result<(CompoundId, bool), Failure> {
    let text = arguments.compound.join(" ");
    match choose::compound(library, &text, session) {
        Err(failure) if failure.code == "unknown-compound" => match mirror_of(library, &text)? {
            Some(mirror) => {
                session.notice(&format!(
                    "Only the mirror image of this structure is in the library: {}.",
                    mirror.name
                ));
                Ok((mirror.id, true))
            }
            None => Err(failure),
        },
        found => Ok((found?, false)),
    }
}

/// The measured specific rotation and its uncertainty.
fn measured(arguments: &CheckArguments, molar_mass: Option<MolarMass>) -> Result<Reduced, Failure> {
    let defaults = Defaults::built_in();
    let uncertainty = match arguments.uncertainty {
        Some(u) if u.value() > 0.0 => Some(u.value()),
        Some(u) => {
            return Err(Failure::usage(
                "uncertainty",
                format!("--uncertainty is {u}, but it must be above zero"),
            ));
        }
        None => None,
    };
    let concentration = match (arguments.conc, arguments.mass, arguments.volume) {
        (Some(stated), ..) => Some(
            stated
                .to_mass_concentration(molar_mass, arguments.density)
                .map_err(|error| quantity(&error))?,
        ),
        (None, Some(mass), Some(volume)) => Some(Amount::MassInVolume { mass, volume }.concentration()),
        _ => None,
    };
    if let Some(value) = arguments.value {
        let rotation = SpecificRotation::from_conventional(value.value());
        return Ok(match uncertainty {
            Some(u) => measurement::stated(rotation, SpecificRotation::from_conventional(u), concentration),
            None => measurement::of_value(
                rotation,
                value.half_last_digit(),
                concentration,
                arguments.cell,
                &defaults,
            ),
        });
    }
    let angle = arguments
        .angle
        .ok_or_else(|| Failure::usage("measured", "give --value or --angle"))?;
    let Some(cell) = arguments.cell else {
        return Err(
            Failure::usage("cell", "an angle is no specific rotation without the cell length")
                .hint("give --cell, for example --cell \"100 mm\""),
        );
    };
    let amount = amount(arguments, concentration)?;
    Ok(measurement::from_angle(
        angle,
        uncertainty.map(Angle::from_degrees),
        cell,
        amount,
        &defaults,
    ))
}

/// How much substance the light met.
fn amount(arguments: &CheckArguments, concentration: Option<Concentration>) -> Result<Amount, Failure> {
    match (arguments.mass, arguments.volume, concentration, arguments.density) {
        (Some(mass), Some(volume), ..) => Ok(Amount::MassInVolume { mass, volume }),
        (_, _, Some(concentration), _) => Ok(Amount::Concentration(concentration)),
        (_, _, None, Some(density)) => match &arguments.solvent {
            None | Some(Solvent::Neat) => Ok(Amount::Neat(density)),
            Some(solvent) => Err(Failure::usage(
                "concentration",
                format!("the concentration in {solvent} is missing; a density alone stands for a neat liquid"),
            )
            .hint("give --conc, or --mass and --volume")),
        },
        _ => Err(Failure::usage(
            "concentration",
            "an angle is no specific rotation without the concentration",
        )
        .hint("give --conc, --mass with --volume, or --density of a neat liquid")),
    }
}

fn quantity(error: &QuantityError) -> Failure {
    Failure::usage("quantity", error.to_string())
}
