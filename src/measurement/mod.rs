//! An angle and how it was taken, to a specific rotation with its standard uncertainty. Pure.
//!
//! The law of propagation of uncertainty (JCGM 100:2008, 5.1.2) for the product form `[α] = 100 α / (l c)`,
//! `c = 100 m / V`: all inputs are taken as independent, so relative variances add. Where the user states no uncertainty,
//! [`Defaults`] are used and the result says so.

use crate::quantity::{Angle, Concentration, Density, Length, Mass, SpecificRotation, Volume};
use crate::statement::{specific_from_angle, specific_of_neat_liquid};
use serde::{Deserialize, Serialize};

/// How much substance the light met.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Amount {
    /// A stated mass concentration.
    Concentration(Concentration),
    /// A mass made up to a volume.
    MassInVolume {
        /// The mass weighed.
        mass: Mass,
        /// The volume it was made up to.
        volume: Volume,
    },
    /// A neat liquid of this density.
    Neat(Density),
}

impl Amount {
    /// The mass concentration; of a neat liquid 100 times its density.
    pub fn concentration(self) -> Concentration {
        Concentration::from_grams_per_100_millilitres(match self {
            Self::Concentration(c) => c.grams_per_100_millilitres(),
            Self::MassInVolume { mass, volume } => 100.0 * mass.grams() / volume.millilitres(),
            Self::Neat(density) => 100.0 * density.grams_per_millilitre(),
        })
    }
}

/// Standard uncertainties assumed where none is stated. Kept in `data/measurement_defaults.toml`, each with its reason.
#[derive(Clone, Copy, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Defaults {
    /// Of an observed angle, degrees.
    pub angle_degrees: f64,
    /// Of a cell length, relative.
    pub length_relative: f64,
    /// Of a stated concentration, relative.
    pub concentration_relative: f64,
    /// Of a weighed mass, grams.
    pub mass_grams: f64,
    /// Of a made-up volume, relative.
    pub volume_relative: f64,
    /// Of a density, relative.
    pub density_relative: f64,
    /// Of the substance's purity, relative, on every result.
    pub purity_relative: f64,
    /// The cell assumed behind a bare value, dm.
    pub cell_decimetres: f64,
    /// The concentration assumed behind a bare value, g per 100 mL.
    pub concentration_grams_per_100_millilitres: f64,
}

impl Defaults {
    /// The defaults that come with the program.
    ///
    /// # Panics
    /// Never: a test reads the table that is compiled in.
    pub fn built_in() -> Self {
        toml::from_str(include_str!("../../data/measurement_defaults.toml"))
            .expect("the built-in defaults are read by a test of this module")
    }
}

/// One line of an uncertainty budget.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct BudgetLine {
    /// The input.
    pub source: String,
    /// Its standard uncertainty, in words with the unit.
    pub input: String,
    /// Its contribution to the standard uncertainty of the result, deg mL g⁻¹ dm⁻¹.
    pub standard_uncertainty: f64,
    /// Its share of the variance.
    pub share: f64,
    /// Whether it is a default of the program and not stated by the user.
    pub assumed: bool,
}

/// A specific rotation with its standard uncertainty and where that comes from.
#[derive(Clone, Debug, PartialEq)]
pub struct Reduced {
    /// The value.
    pub value: SpecificRotation,
    /// Its standard uncertainty.
    pub uncertainty: SpecificRotation,
    /// The concentration it was measured at.
    pub concentration: Option<Concentration>,
    /// The angle it was computed from; none where the specific rotation itself was given.
    pub angle: Option<Angle>,
    /// The budget.
    pub budget: Vec<BudgetLine>,
}

/// Collects the contributions of a budget.
struct Budget {
    lines: Vec<(String, String, f64, bool)>,
}

impl Budget {
    fn add(&mut self, source: &str, input: String, contribution: f64, assumed: bool) {
        self.lines.push((source.to_owned(), input, contribution.abs(), assumed));
    }

    fn finish(self, value: SpecificRotation, concentration: Option<Concentration>) -> Reduced {
        let variance: f64 = self.lines.iter().map(|(_, _, u, _)| u * u).sum();
        let budget = self
            .lines
            .into_iter()
            .map(|(source, input, u, assumed)| BudgetLine {
                source,
                input,
                standard_uncertainty: u,
                share: if variance > 0.0 { u * u / variance } else { 0.0 },
                assumed,
            })
            .collect();
        Reduced {
            value,
            uncertainty: SpecificRotation::from_conventional(variance.sqrt()),
            concentration,
            angle: None,
            budget,
        }
    }
}

/// The specific rotation of one observed angle.
///
/// `u_angle` is the standard uncertainty of the angle; none takes the default.
pub fn from_angle(
    angle: Angle,
    u_angle: Option<Angle>,
    length: Length,
    amount: Amount,
    defaults: &Defaults,
) -> Reduced {
    let concentration = amount.concentration();
    let value = match amount {
        Amount::Neat(density) => specific_of_neat_liquid(angle, length, density),
        _ => specific_from_angle(angle, length, concentration),
    };
    let size = value.conventional();
    let per_degree = specific_from_angle(Angle::from_degrees(1.0), length, concentration).conventional();
    let mut budget = Budget { lines: Vec::new() };
    let u = u_angle.map_or(defaults.angle_degrees, Angle::degrees);
    budget.add("angle", format!("{u}°"), per_degree * u, u_angle.is_none());
    let relative = |budget: &mut Budget, source: &str, u: f64| {
        budget.add(source, format!("{} %", round(100.0 * u)), size * u, true);
    };
    relative(&mut budget, "cell length", defaults.length_relative);
    match amount {
        Amount::Concentration(_) => relative(&mut budget, "concentration", defaults.concentration_relative),
        Amount::MassInVolume { mass, .. } => {
            let u = defaults.mass_grams;
            budget.add("mass", format!("{} mg", round(1e3 * u)), size * u / mass.grams(), true);
            relative(&mut budget, "volume", defaults.volume_relative);
        }
        Amount::Neat(_) => relative(&mut budget, "density", defaults.density_relative),
    }
    relative(&mut budget, "purity", defaults.purity_relative);
    Reduced {
        angle: Some(angle),
        ..budget.finish(value, (!matches!(amount, Amount::Neat(_))).then_some(concentration))
    }
}

/// The standard uncertainty of a specific rotation given as a bare value.
///
/// The angle behind it is taken at the stated concentration and cell, or at the defaults; concentration, cell and purity
/// enter with their defaults, and the last digit given as the half-width of a rectangular distribution.
pub fn of_value(
    value: SpecificRotation,
    half_last_digit: f64,
    concentration: Option<Concentration>,
    length: Option<Length>,
    defaults: &Defaults,
) -> Reduced {
    let c = concentration.unwrap_or(Concentration::from_grams_per_100_millilitres(
        defaults.concentration_grams_per_100_millilitres,
    ));
    let l = length.unwrap_or(Length::from_decimetres(defaults.cell_decimetres));
    let size = value.conventional();
    let per_degree = specific_from_angle(Angle::from_degrees(1.0), l, c).conventional();
    let mut budget = Budget { lines: Vec::new() };
    budget.add(
        "angle",
        format!(
            "{}° at c {} g/100 mL, l {} dm",
            defaults.angle_degrees,
            round(c.grams_per_100_millilitres()),
            round(l.decimetres())
        ),
        per_degree * defaults.angle_degrees,
        true,
    );
    budget.add(
        "last digit",
        format!("±{}", round(half_last_digit)),
        half_last_digit / 3f64.sqrt(),
        false,
    );
    for (source, u) in [
        ("cell length", defaults.length_relative),
        ("concentration", defaults.concentration_relative),
        ("purity", defaults.purity_relative),
    ] {
        budget.add(source, format!("{} %", round(100.0 * u)), size * u, true);
    }
    budget.finish(value, concentration)
}

/// The specific rotation with a stated standard uncertainty.
pub fn stated(value: SpecificRotation, uncertainty: SpecificRotation, concentration: Option<Concentration>) -> Reduced {
    let mut budget = Budget { lines: Vec::new() };
    budget.add(
        "stated",
        format!("{}", uncertainty.conventional()),
        uncertainty.conventional(),
        false,
    );
    budget.finish(value, concentration)
}

/// Three significant digits, without trailing zeros.
fn round(value: f64) -> f64 {
    if value == 0.0 || !value.is_finite() {
        return value;
    }
    let factor = 10f64.powf((2.0 - value.abs().log10().floor()).clamp(-6.0, 9.0));
    (value * factor).round() / factor
}

#[cfg(test)]
mod tests {
    use super::*;

    fn grams(c: f64) -> Amount {
        Amount::Concentration(Concentration::from_grams_per_100_millilitres(c))
    }

    /// By hand, JCGM 100:2008 5.1.6: relative variances of a product add.
    #[test]
    fn relative_variances_add() {
        let d = Defaults::built_in();
        let made = from_angle(
            Angle::from_degrees(-0.482),
            None,
            Length::from_decimetres(1.0),
            grams(1.0),
            &d,
        );
        assert!((made.value.conventional() + 48.2).abs() < 1e-9);
        let by_hand = 48.2
            * ((d.angle_degrees / 0.482).powi(2)
                + d.length_relative.powi(2)
                + d.concentration_relative.powi(2)
                + d.purity_relative.powi(2))
            .sqrt();
        assert!((made.uncertainty.conventional() - by_hand).abs() < 1e-9);
        assert!((made.budget.iter().map(|line| line.share).sum::<f64>() - 1.0).abs() < 1e-12);
    }

    /// A neat liquid of density 0.81 g/mL in 1 dm: [α] = α / (l ρ).
    #[test]
    fn a_neat_liquid_divides_by_its_density() {
        let made = from_angle(
            Angle::from_degrees(10.93),
            None,
            Length::from_decimetres(1.0),
            Amount::Neat(Density::from_grams_per_millilitre(0.81)),
            &Defaults::built_in(),
        );
        assert!((made.value.conventional() - 10.93 / 0.81).abs() < 1e-9);
        assert!(made.concentration.is_none());
    }
}
