//! `biot plan`: what to measure, at which conditions, with how much sample.

use super::{Failure, Outcome, Session, args, choose};
use crate::compare::Conditions;
use crate::library::Access;
use crate::plan::Bench;
use crate::quantity::{
    self, Angle, Concentration, Density, Fraction, Length, Mass, SpectralLine, StatedConcentration, Temperature, Volume,
};
use crate::report;
use crate::solvent::Solvent;
use crate::tasks::check::CheckSettings;
use crate::tasks::plan::{PlanRequest, plan_measurement};
use clap::Args;

/// Arguments of `biot plan`.
#[derive(Debug, Args)]
#[command(after_help = "Examples:\n  \
    biot plan L-proline                                            the conditions with the most and best references\n  \
    biot plan L-proline --cell \"100 mm\" --cell \"50 mm\" --mass \"25 mg\" --volume \"5 mL\"\n  \
    biot plan L-menthol --solvent EtOH --temp 20 --line D --angle-uncertainty 0.002 --wanted 1%\n  \
    biot plan \"(R)-1-phenylethylamine\" --density 0.94 --json\n\n\
    What is not fixed is taken from the references, so that the result can be compared with them. The uncertainty foretold \
    is the one a check would state of such a measurement. Bare numbers are mm, g, mL, °C, g/100 mL, degrees and nm.")]
pub struct PlanArguments {
    /// Compound: name, CAS number, InChIKey, or its number in this library
    #[arg(required = true, value_name = "COMPOUND")]
    pub compound: Vec<String>,

    /// A cell at hand; may be given several times
    #[arg(long, value_parser = quantity::parse_length, default_value = "100 mm", value_name = "LENGTH", help_heading = "The bench")]
    pub cell: Vec<Length>,
    /// Sample there is
    #[arg(long, value_parser = quantity::parse_mass, value_name = "MASS", help_heading = "The bench")]
    pub mass: Option<Mass>,
    /// Volume the solution is made up to
    #[arg(long, value_parser = quantity::parse_volume, value_name = "VOLUME", help_heading = "The bench")]
    pub volume: Option<Volume>,
    /// Density of the neat liquid
    #[arg(long, value_parser = quantity::parse_density, value_name = "DENSITY", help_heading = "The bench")]
    pub density: Option<Density>,
    /// Standard uncertainty of an angle, degrees
    #[arg(long, value_parser = quantity::parse_angle, value_name = "ANGLE", help_heading = "The bench")]
    pub angle_uncertainty: Option<Angle>,

    /// Solvent, or neat
    #[arg(long, value_parser = args::solvent, value_name = "SOLVENT", help_heading = "What is fixed")]
    pub solvent: Option<Solvent>,
    /// Temperature
    #[arg(long, visible_alias = "temperature", allow_hyphen_values = true, value_parser = quantity::parse_temperature, value_name = "TEMPERATURE", help_heading = "What is fixed")]
    pub temp: Option<Temperature>,
    /// Light: D, 546 nm, or a line's letter
    #[arg(long, value_parser = quantity::parse_line, value_name = "LINE", help_heading = "What is fixed")]
    pub line: Option<SpectralLine>,
    /// Concentration; the default is that of the references, or of --mass in --volume
    #[arg(long, visible_alias = "concentration", value_parser = quantity::parse_concentration, value_name = "CONCENTRATION", help_heading = "What is fixed")]
    pub conc: Option<StatedConcentration>,
    /// Form that will be weighed, where it is not the compound's own: monohydrate, hydrochloride
    #[arg(long, value_name = "FORM", help_heading = "What is fixed")]
    pub form: Option<String>,

    /// Wanted standard uncertainty of the optical purity
    #[arg(long, value_parser = quantity::parse_percent, default_value = "2%", value_name = "PERCENT", help_heading = "What is wanted")]
    pub wanted: Fraction,
    /// Optical purity the sample is expected to have
    #[arg(long, value_parser = quantity::parse_percent, default_value = "90%", value_name = "PERCENT", help_heading = "What is wanted")]
    pub expected_purity: Fraction,
}

/// Plans the measurement.
pub fn run(arguments: &PlanArguments, session: &mut Session) -> Result<Outcome, Failure> {
    let (wanted, expected) = (arguments.wanted.ratio(), arguments.expected_purity.ratio());
    if !(wanted > 0.0 && wanted < 1.0) {
        return Err(Failure::usage("wanted", "--wanted must lie between 0 and 100 %"));
    }
    if !(expected > 0.0 && expected <= 1.0) {
        return Err(Failure::usage(
            "expected-purity",
            "--expected-purity must lie above 0 and not above 100 %",
        ));
    }
    if arguments.angle_uncertainty.is_some_and(|u| u.degrees() <= 0.0) {
        return Err(Failure::usage(
            "angle-uncertainty",
            "--angle-uncertainty must be above zero",
        ));
    }
    let library = session.library(Access::Read)?;
    let compound = choose::compound(&library, &arguments.compound.join(" "), session)?;
    let molar_mass = library.compound(compound)?.molar_mass;
    let concentration = match (arguments.conc, arguments.mass, arguments.volume) {
        (Some(stated), ..) => Some(
            stated
                .to_mass_concentration(molar_mass, arguments.density)
                .map_err(|error| Failure::usage("quantity", error.to_string()))?,
        ),
        (None, Some(mass), Some(volume)) => Some(Concentration::from_grams_per_100_millilitres(
            100.0 * mass.grams() / volume.millilitres(),
        )),
        _ => None,
    };
    let request = PlanRequest {
        compound,
        fixed: Conditions {
            temperature: arguments.temp,
            line: arguments.line.clone(),
            solvent: arguments.solvent.clone(),
            concentration,
            ..Conditions::default()
        },
        bench: Bench {
            cells: arguments.cell.clone(),
            mass: arguments.mass,
            volume: arguments.volume,
            density: arguments.density,
            angle_uncertainty: arguments.angle_uncertainty,
            wanted: arguments.wanted,
            expected_purity: arguments.expected_purity,
        },
        form: arguments.form.clone(),
    };
    let result = plan_measurement(&library, &request, &CheckSettings::default())?;
    session.answer(&result, |page| report::plan::show(&result, page))?;
    Ok(Outcome::Answered)
}
