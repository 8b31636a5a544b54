//! `biot identify`: compounds whose published values fit a measured one.

use super::measured::MeasuredArguments;
use super::{Failure, Outcome, Session, choose};
use crate::compound::Formula;
use crate::library::{Access, CompoundId, Library};
use crate::quantity::{self, MolarMass};
use crate::report;
use crate::tasks::check::CheckSettings;
use crate::tasks::identify::{Among, IdentifyRequest, identify};
use clap::{ArgGroup, Args};
use std::path::Path;

/// Arguments of `biot identify`.
#[derive(Debug, Args)]
#[command(
    group = ArgGroup::new("measured").args(["value", "angle"]).required(true),
    group = ArgGroup::new("where").args(["formula", "molar_mass", "among"]),
    after_help = "Examples:\n  \
    biot identify --value -49.1 --solvent EtOH --conc 5 --temp 20 --line D\n  \
    biot identify --value -49.1 --solvent EtOH --line D --formula C10H20O\n  \
    biot identify --value -84 --solvent H2O --conc 1 --molar-mass 115.13 --json\n  \
    biot identify --value -84 --solvent H2O --among \"L-proline; L-histidine; L-tryptophan\"\n  \
    biot identify --value -84 --solvent H2O --among candidates.txt        one name on each line\n\n\
    A rotation cannot identify a compound: the answer lists the compounds of this library that fit, in both hands, and says \
    how many would fit by chance. The sample is taken as enantiopure."
)]
pub struct IdentifyArguments {
    /// What was measured, and how
    #[command(flatten)]
    pub measured: MeasuredArguments,
    /// Only compounds with this formula
    #[arg(long, value_name = "FORMULA", help_heading = "Where to look")]
    pub formula: Option<String>,
    /// Only compounds with this molar mass, to 0.5 g/mol
    #[arg(long, value_parser = quantity::parse_molar_mass, value_name = "MASS", help_heading = "Where to look")]
    pub molar_mass: Option<MolarMass>,
    /// Only these: names with semicolons between them, or a file with one on each line
    #[arg(long, value_name = "LIST", help_heading = "Where to look")]
    pub among: Option<String>,
    /// Most compounds listed
    #[arg(long, default_value_t = 20, value_name = "NUMBER")]
    pub limit: usize,
}

/// Finds the compounds that fit.
pub fn run(arguments: &IdentifyArguments, session: &mut Session) -> Result<Outcome, Failure> {
    let library = session.library(Access::Read)?;
    let measured = arguments.measured.reduced(arguments.molar_mass)?;
    let request = IdentifyRequest {
        conditions: arguments.measured.conditions(measured.concentration),
        measured,
        among: among(arguments, &library, session)?,
        limit: arguments.limit,
    };
    let found = identify(&library, &request, &CheckSettings::default())?;
    session.answer(&found, |page| report::identify::show(&found, page))?;
    Ok(Outcome::Answered)
}

fn among(arguments: &IdentifyArguments, library: &Library, session: &mut Session) -> Result<Among, Failure> {
    if let Some(formula) = &arguments.formula {
        let formula = Formula::parse(formula).map_err(|error| Failure::usage("formula", error.to_string()))?;
        return Ok(Among::Formula(formula.to_string()));
    }
    if let Some(mass) = arguments.molar_mass {
        return Ok(Among::Mass(mass));
    }
    let Some(list) = &arguments.among else {
        return Ok(Among::Library);
    };
    let is_file = Path::new(list).is_file();
    let text = if is_file {
        std::fs::read_to_string(list).map_err(|error| {
            Failure::usage("among", format!("the list {list} cannot be read: {error}"))
                .hint("it must be plain text with one compound on each line")
        })?
    } else {
        list.replace(';', "\n")
    };
    let mut compounds: Vec<CompoundId> = Vec::new();
    for (at, name) in text.lines().map(str::trim).enumerate() {
        if name.is_empty() || (is_file && name.starts_with("# ")) {
            continue;
        }
        let compound = choose::compound(library, name, session).map_err(|failure| {
            if is_file {
                failure.at(format!("{list} line {}", at + 1))
            } else {
                failure
            }
        })?;
        if !compounds.contains(&compound) {
            compounds.push(compound);
        }
    }
    if compounds.is_empty() {
        return Err(Failure::usage("among", "the list names no compound").hint("--among \"menthol; neomenthol\""));
    }
    Ok(Among::These(compounds))
}
