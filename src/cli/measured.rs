//! The options that say what was measured, shared by the commands that take one measurement.

use super::{Failure, args};
use crate::compare::Conditions;
use crate::measurement::Reduced;
use crate::quantity::{
    self, Angle, Concentration, Density, Length, Mass, MolarMass, Printed, SpectralLine, StatedConcentration,
    Temperature, Volume,
};
use crate::solvent::Solvent;
use crate::tasks::measured::Measured;
use clap::Args;

/// What was measured, and at which conditions. A command says itself whether a value or an angle must be given.
#[derive(Clone, Debug, Args)]
pub struct MeasuredArguments {
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
    #[arg(long, visible_alias = "concentration", allow_hyphen_values = true, value_parser = quantity::parse_concentration, conflicts_with = "mass", value_name = "CONCENTRATION", help_heading = "What was measured")]
    pub conc: Option<StatedConcentration>,
    /// Mass dissolved
    #[arg(long, allow_hyphen_values = true, value_parser = quantity::parse_mass, requires = "volume", value_name = "MASS", help_heading = "What was measured")]
    pub mass: Option<Mass>,
    /// Volume it was made up to
    #[arg(long, allow_hyphen_values = true, value_parser = quantity::parse_volume, requires = "mass", value_name = "VOLUME", help_heading = "What was measured")]
    pub volume: Option<Volume>,
    /// Density: alone, of the neat liquid; of the solution where --conc is by mass (% w/w, mg/g)
    #[arg(long, allow_hyphen_values = true, value_parser = quantity::parse_density, conflicts_with = "mass", value_name = "DENSITY", help_heading = "What was measured")]
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
}

impl MeasuredArguments {
    /// The measurement as the tasks take it.
    pub fn given(&self) -> Measured {
        Measured {
            value: self.value,
            angle: self.angle,
            uncertainty: self.uncertainty,
            cell: self.cell,
            conc: self.conc,
            mass: self.mass,
            volume: self.volume,
            density: self.density,
            solvent: self.solvent.clone(),
            temperature: self.temp,
            line: self.line.clone(),
        }
    }

    /// As [`Measured::conditions`].
    pub fn conditions(&self, concentration: Option<Concentration>) -> Conditions {
        self.given().conditions(concentration)
    }

    /// As [`Measured::stated_uncertainty`].
    pub fn stated_uncertainty(&self) -> Result<Option<f64>, Failure> {
        Ok(self.given().stated_uncertainty()?)
    }

    /// As [`Measured::concentration`].
    pub fn concentration(&self, molar_mass: Option<MolarMass>) -> Result<Option<Concentration>, Failure> {
        Ok(self.given().concentration(molar_mass)?)
    }

    /// As [`Measured::reduced`].
    pub fn reduced(&self, molar_mass: Option<MolarMass>) -> Result<Reduced, Failure> {
        Ok(self.given().reduced(molar_mass)?)
    }
}
