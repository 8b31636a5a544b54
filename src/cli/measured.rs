//! The options that say what was measured, shared by the commands that take one measurement.

use super::{Failure, args};
use crate::compare::Conditions;
use crate::measurement::{self, Amount, Defaults, Reduced};
use crate::quantity::{
    self, Angle, Concentration, Density, Length, Mass, MolarMass, Printed, QuantityError, SpecificRotation,
    SpectralLine, StatedConcentration, Temperature, Volume,
};
use crate::solvent::Solvent;
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
}

impl MeasuredArguments {
    /// The conditions of the measurement at the concentration it was reduced with.
    pub fn conditions(&self, concentration: Option<Concentration>) -> Conditions {
        let is_neat = self.density.is_some() && self.conc.is_none() && self.mass.is_none();
        Conditions {
            temperature: self.temp,
            line: self.line.clone(),
            solvent: self.solvent.clone().or_else(|| is_neat.then_some(Solvent::Neat)),
            concentration,
            ..Conditions::default()
        }
    }

    /// The stated standard uncertainty of the value or the angle, whichever is given.
    ///
    /// # Errors
    /// When it is zero or less.
    pub fn stated_uncertainty(&self) -> Result<Option<f64>, Failure> {
        match self.uncertainty {
            Some(u) if u.value() > 0.0 => Ok(Some(u.value())),
            Some(u) => Err(Failure::usage(
                "uncertainty",
                format!("--uncertainty is {u}, but it must be above zero"),
            )),
            None => Ok(None),
        }
    }

    /// The concentration, stated or from mass and volume.
    ///
    /// # Errors
    /// When its unit needs a molar mass or a density that is not known.
    pub fn concentration(&self, molar_mass: Option<MolarMass>) -> Result<Option<Concentration>, Failure> {
        Ok(match (self.conc, self.mass, self.volume) {
            (Some(stated), ..) => Some(
                stated
                    .to_mass_concentration(molar_mass, self.density)
                    .map_err(|error| quantity(&error))?,
            ),
            (None, Some(mass), Some(volume)) => Some(Amount::MassInVolume { mass, volume }.concentration()),
            _ => None,
        })
    }

    /// The measured specific rotation and its uncertainty.
    ///
    /// # Errors
    /// When what was given does not make a specific rotation.
    pub fn reduced(&self, molar_mass: Option<MolarMass>) -> Result<Reduced, Failure> {
        let defaults = Defaults::built_in();
        let uncertainty = self.stated_uncertainty()?;
        let concentration = self.concentration(molar_mass)?;
        if let Some(value) = self.value {
            let rotation = SpecificRotation::from_conventional(value.value());
            return Ok(match uncertainty {
                Some(u) => measurement::stated(rotation, SpecificRotation::from_conventional(u), concentration),
                None => measurement::of_value(rotation, value.half_last_digit(), concentration, self.cell, &defaults),
            });
        }
        let angle = self
            .angle
            .ok_or_else(|| Failure::usage("measured", "give --value or --angle"))?;
        let Some(cell) = self.cell else {
            return Err(
                Failure::usage("cell", "an angle is no specific rotation without the cell length")
                    .hint("give --cell, for example --cell \"100 mm\""),
            );
        };
        let amount = self.amount(concentration)?;
        Ok(measurement::from_angle(
            angle,
            uncertainty.map(Angle::from_degrees),
            cell,
            amount,
            &defaults,
        ))
    }

    /// How much substance the light met.
    fn amount(&self, concentration: Option<Concentration>) -> Result<Amount, Failure> {
        match (self.mass, self.volume, concentration, self.density) {
            (Some(mass), Some(volume), ..) => Ok(Amount::MassInVolume { mass, volume }),
            (_, _, Some(concentration), _) => Ok(Amount::Concentration(concentration)),
            (_, _, None, Some(density)) => match &self.solvent {
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
}

fn quantity(error: &QuantityError) -> Failure {
    Failure::usage("quantity", error.to_string())
}
