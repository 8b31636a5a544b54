//! From what an instrument gives to a specific rotation with its standard uncertainty, and what is wrong with the
//! measurement. Pure.
//!
//! [`reduce`](reduce()) takes readings and a [`Setup`]; [`from_angle`] takes one angle through the same engine. [`model`] holds
//! the equation, [`budget`] the law of propagation (JCGM 100:2008), [`monte_carlo`] its cross-check (JCGM 101:2008),
//! [`reading`] the levels of repetition and [`flags`] the quality flags. Where the user states no uncertainty, [`Defaults`]
//! are used and the budget says so. [`kinetics`] follows a change with
//! time, [`least_squares`] fits. Not for: dispersion, control standards.

pub mod budget;
pub mod calibration;
pub mod composition;
pub mod flags;
pub mod kinetics;
pub mod least_squares;
pub mod model;
pub mod monte_carlo;
pub mod reading;
mod reduce;
pub mod settling;
pub mod student;
mod turns;

pub use budget::{BudgetLine, Correlation};
pub use flags::{Flag, Severity};
pub use monte_carlo::MonteCarlo;
pub use reading::{Level, Reading, ReadingRole};
pub use reduce::{AngleSummary, ReduceError, ReduceSettings, Reduction, reduce};

use crate::quantity::{
    Angle, Concentration, Density, Fraction, Length, Mass, MolarMass, SpecificRotation, Temperature, Volume,
};
use crate::statement::specific_from_angle;
use model::{AngleInput, Model};
use serde::Deserialize;

/// How much substance the light met.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Amount {
    /// A stated mass concentration.
    Concentration(Concentration),
    /// A stated amount concentration.
    Molar {
        /// mol/L.
        moles_per_litre: f64,
        /// Molar mass of the substance.
        molar_mass: MolarMass,
    },
    /// A mass made up to a volume.
    MassInVolume {
        /// The mass weighed.
        mass: Mass,
        /// The volume it was made up to.
        volume: Volume,
    },
    /// A stated mass fraction of the substance in a solution of known density.
    MassFraction {
        /// The mass fraction.
        fraction: Fraction,
        /// The density of the solution at its temperature.
        density: Density,
    },
    /// A neat liquid of this density.
    Neat(Density),
}

impl Amount {
    /// The mass concentration as weighed; of a neat liquid 100 times its density.
    pub fn concentration(self) -> Concentration {
        Concentration::from_grams_per_100_millilitres(match self {
            Self::Concentration(c) => c.grams_per_100_millilitres(),
            Self::Molar {
                moles_per_litre,
                molar_mass,
            } => moles_per_litre * molar_mass.grams_per_mole() / 10.0,
            Self::MassInVolume { mass, volume } => 100.0 * mass.grams() / volume.millilitres(),
            Self::MassFraction { fraction, density } => fraction.percent() * density.grams_per_millilitre(),
            Self::Neat(density) => 100.0 * density.grams_per_millilitre(),
        })
    }
}

/// Standard uncertainties the user states; the rest comes from [`Defaults`].
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Uncertainties {
    /// Of an angle given as one number, reading and zero together.
    pub angle: Option<Angle>,
    /// Of the instrument's angle, beside the scatter of its readings.
    pub instrument: Option<Angle>,
    /// Of the instrument's scale, relative. A blank does not remove it.
    pub gain: Option<Fraction>,
    /// Of the rotation the windows add by strain. A blank cancels it only with the cell unmoved.
    pub strain: Option<Angle>,
    /// Of the cell length.
    pub length: Option<Length>,
    /// Of a stated concentration, relative.
    pub concentration: Option<Fraction>,
    /// Of the mass.
    pub mass: Option<Mass>,
    /// Of the volume.
    pub volume: Option<Volume>,
    /// Of the density.
    pub density: Option<Density>,
    /// Of the purity.
    pub purity: Option<Fraction>,
    /// Of the residual solvent.
    pub residual_solvent: Option<Fraction>,
    /// Of the loss on drying.
    pub loss_on_drying: Option<Fraction>,
    /// Of the temperature of the reading, a difference in kelvin.
    pub temperature: Option<Temperature>,
    /// Of the temperature of the flask, a difference in kelvin.
    pub filled_at: Option<Temperature>,
    /// Of the expansion, per kelvin.
    pub expansion: Option<f64>,
    /// Of the temperature coefficient, per kelvin.
    pub temperature_coefficient: Option<f64>,
}

/// How a measurement was made: everything but the angles.
#[derive(Clone, Debug, PartialEq)]
pub struct Setup {
    /// Cell length.
    pub length: Length,
    /// How much substance.
    pub amount: Amount,
    /// Mass fraction of the substance, both enantiomers counted.
    pub purity: Option<Fraction>,
    /// Mass fraction of residual solvent.
    pub residual_solvent: Option<Fraction>,
    /// Mass fraction lost on drying, or water.
    pub loss_on_drying: Option<Fraction>,
    /// Mass of the named basis per mass of the form weighed; 1 where they are the same. See [`basis_factor`].
    pub basis_factor: f64,
    /// Temperature of the reading; that of the readings where none is given.
    pub temperature: Option<Temperature>,
    /// Temperature the value is wanted at.
    pub stated_temperature: Option<Temperature>,
    /// Relative change of the rotation per kelvin.
    pub temperature_coefficient: Option<f64>,
    /// Temperature at which the flask was filled, where it is not that of the reading.
    pub filled_at: Option<Temperature>,
    /// Cubic expansion of the solution, per kelvin.
    pub expansion: Option<f64>,
    /// The step of the display.
    pub resolution: Option<Angle>,
    /// Whether the instrument's own angle and scale count beside the readings' scatter.
    pub counts_instrument: bool,
    /// Whether the temperature counts.
    pub counts_temperature: bool,
    /// Stated uncertainties.
    pub uncertainties: Uncertainties,
}

impl Setup {
    /// A measurement of which only cell and amount are known.
    pub const fn new(length: Length, amount: Amount) -> Self {
        Self {
            length,
            amount,
            purity: None,
            residual_solvent: None,
            loss_on_drying: None,
            basis_factor: 1.0,
            temperature: None,
            stated_temperature: None,
            temperature_coefficient: None,
            filled_at: None,
            expansion: None,
            resolution: None,
            counts_instrument: false,
            counts_temperature: false,
            uncertainties: Uncertainties {
                angle: None,
                instrument: None,
                gain: None,
                strain: None,
                length: None,
                concentration: None,
                mass: None,
                volume: None,
                density: None,
                purity: None,
                residual_solvent: None,
                loss_on_drying: None,
                temperature: None,
                filled_at: None,
                expansion: None,
                temperature_coefficient: None,
            },
        }
    }

    /// Mass concentration of the substance on the named basis, purity and losses taken off.
    pub fn concentration(&self) -> Concentration {
        let kept = |lost: Option<Fraction>| 1.0 - lost.map_or(0.0, Fraction::ratio);
        Concentration::from_grams_per_100_millilitres(
            self.amount.concentration().grams_per_100_millilitres()
                * self.purity.map_or(1.0, Fraction::ratio)
                * kept(self.residual_solvent)
                * kept(self.loss_on_drying)
                * self.basis_factor,
        )
    }
}

/// Mass of the basis per mass of the form weighed: `n M(basis) / M(weighed)` for a form that holds n units of the basis.
///
/// A conversion, exact but for the molar masses; ionisation of a salt may change the rotation itself, which no factor
/// removes.
pub fn basis_factor(weighed: MolarMass, basis: MolarMass, units: f64) -> f64 {
    units * basis.grams_per_mole() / weighed.grams_per_mole()
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
    /// Of the scale of an instrument's angle, relative.
    pub gain_relative: f64,
    /// Of a measured temperature, kelvin.
    pub temperature_kelvin: f64,
    /// Relative change of a rotation per kelvin, where no coefficient is stated.
    pub temperature_effect_per_kelvin: f64,
    /// Cubic expansion of water, per kelvin.
    pub water_expansion_per_kelvin: f64,
    /// Cubic expansion of an organic solvent, per kelvin.
    pub organic_expansion_per_kelvin: f64,
    /// Of an expansion, relative.
    pub expansion_relative: f64,
    /// Of a loss on drying or a residual solvent, a fraction.
    pub loss_ratio: f64,
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

/// A specific rotation with its standard uncertainty and where that comes from.
#[derive(Clone, Debug, PartialEq)]
pub struct Reduced {
    /// The value.
    pub value: SpecificRotation,
    /// Its standard uncertainty.
    pub uncertainty: SpecificRotation,
    /// Effective degrees of freedom; none when the uncertainty does not rest on few readings.
    pub degrees_of_freedom: Option<f64>,
    /// The concentration it was measured at, as weighed.
    pub concentration: Option<Concentration>,
    /// The angle it was computed from; none where the specific rotation itself was given.
    pub angle: Option<Angle>,
    /// The budget.
    pub budget: Vec<BudgetLine>,
}

/// The specific rotation of one observed angle, through the same equation as readings.
///
/// `u_angle` is the standard uncertainty of the angle; none takes the default.
pub fn from_angle(
    angle: Angle,
    u_angle: Option<Angle>,
    length: Length,
    amount: Amount,
    defaults: &Defaults,
) -> Reduced {
    let sample = AngleInput {
        degrees: angle.degrees(),
        uncertainty: u_angle.map_or(defaults.angle_degrees, Angle::degrees),
        degrees_of_freedom: None,
        assumed: u_angle.is_none(),
    };
    let model = Model::new(&Setup::new(length, amount), sample, None, defaults);
    let made = budget::propagate(&model, &model.inputs, &[]);
    reduced(&made, &model.inputs, amount, angle)
}

/// What a propagated value hands on.
fn reduced(made: &budget::Propagated, inputs: &[budget::Input], amount: Amount, angle: Angle) -> Reduced {
    Reduced {
        value: SpecificRotation::from_conventional(made.value),
        uncertainty: SpecificRotation::from_conventional(made.uncertainty),
        degrees_of_freedom: Some(made.degrees_of_freedom).filter(|nu| nu.is_finite()),
        concentration: (!matches!(amount, Amount::Neat(_))).then(|| amount.concentration()),
        angle: Some(angle),
        budget: budget::lines(inputs, made),
    }
}

/// A sum of contributions that are already in the unit of the result.
struct Sum;

impl budget::Equation for Sum {
    fn value<D: num_dual::DualNum<Primitive = f64> + Copy>(&self, inputs: &[D]) -> D {
        inputs.iter().fold(D::from(0.0), |sum, &input| sum + input)
    }
}

/// A contribution in the unit of the result.
fn part(source: &'static str, uncertainty: f64, assumed: bool) -> budget::Input {
    budget::Input {
        source,
        unit: ROTATION_UNIT,
        value: 0.0,
        uncertainty: uncertainty.abs(),
        distribution: budget::Distribution::Normal,
        assumed,
    }
}

/// The unit of a specific rotation.
pub const ROTATION_UNIT: &str = "deg mL g⁻¹ dm⁻¹";

fn of_parts(value: SpecificRotation, mut inputs: Vec<budget::Input>, concentration: Option<Concentration>) -> Reduced {
    if let Some(first) = inputs.first_mut() {
        first.value = value.conventional();
    }
    let made = budget::propagate(&Sum, &inputs, &[]);
    Reduced {
        value,
        uncertainty: SpecificRotation::from_conventional(made.uncertainty),
        degrees_of_freedom: None,
        concentration,
        angle: None,
        budget: budget::lines(&inputs, &made),
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
    let inputs = vec![
        part("angle", per_degree * defaults.angle_degrees, true),
        part("last digit", half_last_digit / 3f64.sqrt(), false),
        part("cell length", size * defaults.length_relative, true),
        part("concentration", size * defaults.concentration_relative, true),
        part("purity", size * defaults.purity_relative, true),
    ];
    of_parts(value, inputs, concentration)
}

/// The specific rotation with a stated standard uncertainty.
pub fn stated(value: SpecificRotation, uncertainty: SpecificRotation, concentration: Option<Concentration>) -> Reduced {
    of_parts(
        value,
        vec![part("stated", uncertainty.conventional(), false)],
        concentration,
    )
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
