//! The equation of a specific rotation, with everything that corrects it, and the inputs it takes.
//!
//! ```text
//! α     = (a − b + r + i + s) / (1 + g)                sample less blank; resolution, instrument, strain of windows; gain
//! c     = c₀ · P (1 − q)(1 − d) k / (1 + γ (T − T_f))   purity, residual solvent, loss on drying, basis, expansion
//! [α]   = 100 α / (l c) / (1 + β (T − T₀))             l in dm, c in g per 100 mL
//! ```
//!
//! `c₀` is a stated concentration, `100 m / V`, `w ρ`, `n M / 10` or, of a neat liquid, `100 ρ`. `P` is the mass fraction of
//! the substance, both enantiomers counted; an enantiomeric excess never enters. `k` is the exact ratio of molar masses of
//! the named basis and the form weighed. A flask is filled at T_f and read at T: the solution expands by γ per kelvin. β is
//! the coefficient that brings the value to the stated temperature T₀. Small terms that are zero at their best estimate
//! (r, i, s, g) stand in the equation so that their uncertainty has a line of its own. JCGM 100:2008, 4.1.

use super::budget::{Distribution, Equation, Input};
use super::{Amount, Defaults, Setup};
use num_dual::DualNum;

/// The inputs the equation knows.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Slot {
    /// Mean angle of the sample, degrees.
    Sample,
    /// Mean angle of the blank, degrees.
    Blank,
    /// Rounding of the readings, degrees.
    Resolution,
    /// The instrument's angle, degrees.
    Instrument,
    /// Strain of the windows, degrees.
    Strain,
    /// Scale of the angle, relative.
    Gain,
    /// Cell length, dm.
    Length,
    /// Stated concentration (g/100 mL or mol/L), mass (g), per cent by mass, or density of a neat liquid.
    First,
    /// Volume (mL) or density of the solution (g/mL).
    Second,
    /// Purity.
    Purity,
    /// Residual solvent.
    Residual,
    /// Loss on drying.
    Drying,
    /// Temperature of the reading, °C.
    Temperature,
    /// Temperature at which the flask was filled, °C.
    Filling,
    /// Cubic expansion of the solution, per kelvin.
    Expansion,
    /// Temperature coefficient, per kelvin.
    Coefficient,
}

const N_SLOTS: usize = 16;

/// The equation with the inputs it was set up with.
#[derive(Clone, Debug)]
pub struct Model {
    /// The inputs with a place in the equation.
    pub inputs: Vec<Input>,
    places: [Option<usize>; N_SLOTS],
    constants: [f64; N_SLOTS],
    amount: Amount,
    basis_factor: f64,
    stated_temperature: f64,
}

/// The angle with what is known of it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct AngleInput {
    /// Best estimate, degrees.
    pub degrees: f64,
    /// Standard uncertainty, degrees.
    pub uncertainty: f64,
    /// Degrees of freedom, where it comes from repeated readings.
    pub degrees_of_freedom: Option<f64>,
    /// Whether the uncertainty is a default of the program.
    pub assumed: bool,
}

impl AngleInput {
    /// An angle known exactly.
    pub const fn exact(degrees: f64) -> Self {
        Self {
            degrees,
            uncertainty: 0.0,
            degrees_of_freedom: None,
            assumed: false,
        }
    }
}

impl Model {
    /// Sets up the equation of one angle; `sample` and `blank` carry their type A parts.
    pub fn new(setup: &Setup, sample: AngleInput, blank: Option<AngleInput>, defaults: &Defaults) -> Self {
        let mut model = Self {
            inputs: Vec::new(),
            places: [None; N_SLOTS],
            constants: [0.0; N_SLOTS],
            amount: setup.amount,
            basis_factor: setup.basis_factor,
            stated_temperature: 0.0,
        };
        model.constants[Slot::Purity as usize] = 1.0;
        model.add_angles(setup, sample, blank, defaults);
        model.add_amount(setup, defaults);
        model.add_corrections(setup, defaults);
        model.add_temperature(setup, defaults);
        model
    }

    fn add(
        &mut self,
        slot: Slot,
        source: &'static str,
        unit: &'static str,
        value: f64,
        stated: Option<f64>,
        default: f64,
    ) {
        self.push(
            slot,
            source,
            unit,
            value,
            stated.unwrap_or(default),
            Distribution::Normal,
            stated.is_none(),
        );
    }

    #[expect(
        clippy::too_many_arguments,
        reason = "the fields of one input, named at each call by the slot"
    )]
    fn push(
        &mut self,
        slot: Slot,
        source: &'static str,
        unit: &'static str,
        value: f64,
        uncertainty: f64,
        distribution: Distribution,
        assumed: bool,
    ) {
        self.places[slot as usize] = Some(self.inputs.len());
        self.inputs.push(Input {
            source,
            unit,
            value,
            uncertainty,
            distribution,
            assumed,
        });
    }

    fn add_angles(&mut self, setup: &Setup, sample: AngleInput, blank: Option<AngleInput>, defaults: &Defaults) {
        let spread = |angle: AngleInput| {
            angle
                .degrees_of_freedom
                .map_or(Distribution::Normal, Distribution::Student)
        };
        self.push(
            Slot::Sample,
            if sample.degrees_of_freedom.is_some() {
                "repeated readings"
            } else {
                "angle"
            },
            "°",
            sample.degrees,
            sample.uncertainty,
            spread(sample),
            sample.assumed,
        );
        if let Some(blank) = blank {
            self.push(
                Slot::Blank,
                "blank",
                "°",
                blank.degrees,
                blank.uncertainty,
                spread(blank),
                blank.assumed,
            );
        }
        let u = &setup.uncertainties;
        if let Some(step) = setup.resolution.filter(|step| step.degrees() > 0.0) {
            // A digital step d is rectangular with half-width d/2 (JCGM 100:2008, F.2.2.1). It enters once for the difference
            // of sample and blank, and only as far as the readings' own scatter does not show it already.
            let rounding = step.degrees() / 12f64.sqrt();
            if sample.degrees_of_freedom.is_none() || sample.uncertainty < rounding {
                self.push(
                    Slot::Resolution,
                    "resolution",
                    "°",
                    0.0,
                    rounding,
                    Distribution::Rectangular,
                    false,
                );
            }
        }
        let stated = u.instrument.map(crate::quantity::Angle::degrees);
        if setup.counts_instrument || stated.is_some() {
            self.add(
                Slot::Instrument,
                "instrument angle",
                "°",
                0.0,
                stated,
                defaults.angle_degrees,
            );
        }
        let gain = u.gain.map(crate::quantity::Fraction::ratio);
        if setup.counts_instrument || gain.is_some() {
            self.add(Slot::Gain, "scale of the angle", "1", 0.0, gain, defaults.gain_relative);
        }
        if let Some(strain) = u.strain {
            self.add(
                Slot::Strain,
                "strain of the windows",
                "°",
                0.0,
                Some(strain.degrees()),
                0.0,
            );
        }
        let length = setup.length.decimetres();
        let stated = u.length.map(crate::quantity::Length::decimetres);
        self.add(
            Slot::Length,
            "cell length",
            "dm",
            length,
            stated,
            defaults.length_relative * length,
        );
    }

    fn add_amount(&mut self, setup: &Setup, defaults: &Defaults) {
        let u = &setup.uncertainties;
        let relative = u.concentration.map(crate::quantity::Fraction::ratio);
        match setup.amount {
            Amount::Concentration(c) => {
                let c = c.grams_per_100_millilitres();
                let stated = relative.map(|share| share * c);
                self.add(
                    Slot::First,
                    "concentration",
                    "g/100 mL",
                    c,
                    stated,
                    defaults.concentration_relative * c,
                );
            }
            Amount::Molar { moles_per_litre, .. } => {
                let n = moles_per_litre;
                let stated = relative.map(|share| share * n);
                self.add(
                    Slot::First,
                    "concentration",
                    "mol/L",
                    n,
                    stated,
                    defaults.concentration_relative * n,
                );
            }
            Amount::MassInVolume { mass, volume } => {
                let stated = u.mass.map(crate::quantity::Mass::grams);
                self.add(Slot::First, "mass", "g", mass.grams(), stated, defaults.mass_grams);
                let (v, stated) = (volume.millilitres(), u.volume.map(crate::quantity::Volume::millilitres));
                self.add(Slot::Second, "volume", "mL", v, stated, defaults.volume_relative * v);
            }
            Amount::MassFraction { fraction, density } => {
                let w = fraction.percent();
                let stated = relative.map(|share| share * w);
                self.add(
                    Slot::First,
                    "mass fraction",
                    "%",
                    w,
                    stated,
                    defaults.concentration_relative * w,
                );
                self.add_density(Slot::Second, density.grams_per_millilitre(), setup, defaults);
            }
            Amount::Neat(density) => self.add_density(Slot::First, density.grams_per_millilitre(), setup, defaults),
        }
    }

    fn add_density(&mut self, slot: Slot, density: f64, setup: &Setup, defaults: &Defaults) {
        let stated = setup
            .uncertainties
            .density
            .map(crate::quantity::Density::grams_per_millilitre);
        self.add(
            slot,
            "density",
            "g/mL",
            density,
            stated,
            defaults.density_relative * density,
        );
    }

    fn add_corrections(&mut self, setup: &Setup, defaults: &Defaults) {
        let u = &setup.uncertainties;
        let ratio = |stated: Option<crate::quantity::Fraction>| stated.map(crate::quantity::Fraction::ratio);
        let purity = setup.purity.map_or(1.0, crate::quantity::Fraction::ratio);
        self.add(
            Slot::Purity,
            "purity",
            "1",
            purity,
            ratio(u.purity),
            defaults.purity_relative,
        );
        if let Some(residual) = setup.residual_solvent {
            let stated = ratio(u.residual_solvent);
            self.add(
                Slot::Residual,
                "residual solvent",
                "1",
                residual.ratio(),
                stated,
                defaults.loss_ratio,
            );
        }
        if let Some(loss) = setup.loss_on_drying {
            let stated = ratio(u.loss_on_drying);
            self.add(
                Slot::Drying,
                "loss on drying",
                "1",
                loss.ratio(),
                stated,
                defaults.loss_ratio,
            );
        }
    }

    fn add_temperature(&mut self, setup: &Setup, defaults: &Defaults) {
        let u = &setup.uncertainties;
        let celsius = |t: crate::quantity::Temperature| t.celsius();
        let read_at = setup.temperature.or(setup.stated_temperature);
        let read = read_at.map_or(20.0, celsius);
        self.stated_temperature = read;
        if !setup.counts_temperature {
            return;
        }
        let stated = u.temperature.map(celsius);
        self.add(
            Slot::Temperature,
            "temperature",
            "°C",
            read,
            stated,
            defaults.temperature_kelvin,
        );
        match setup.temperature_coefficient {
            Some(coefficient) => {
                self.stated_temperature = setup.stated_temperature.map_or(read, celsius);
                self.constants[Slot::Coefficient as usize] = coefficient;
                if let Some(u) = u.temperature_coefficient {
                    self.add(
                        Slot::Coefficient,
                        "temperature coefficient",
                        "1/K",
                        coefficient,
                        Some(u),
                        0.0,
                    );
                }
            }
            None => self.constants[Slot::Coefficient as usize] = defaults.temperature_effect_per_kelvin,
        }
        if let Some(filled) = setup.filled_at {
            let stated = u.filled_at.map(celsius);
            self.add(
                Slot::Filling,
                "temperature of the flask",
                "°C",
                filled.celsius(),
                stated,
                defaults.temperature_kelvin,
            );
            let (gamma, u_gamma) = match (setup.expansion, u.expansion) {
                (Some(gamma), u) => (gamma, u),
                (None, u) => (defaults.organic_expansion_per_kelvin, u),
            };
            let default = defaults.expansion_relative * gamma;
            self.add(
                Slot::Expansion,
                "expansion of the solution",
                "1/K",
                gamma,
                u_gamma,
                default,
            );
        }
    }

    /// The place of the input of this name.
    pub fn place(&self, source: &str) -> Option<usize> {
        self.inputs.iter().position(|input| input.source == source)
    }
}

impl Equation for Model {
    fn value<D: DualNum<Primitive = f64> + Copy>(&self, inputs: &[D]) -> D {
        let get = |slot: Slot| match self.places[slot as usize] {
            Some(place) => inputs[place],
            None => D::from(self.constants[slot as usize]),
        };
        let one = D::from(1.0);
        let hundred = D::from(100.0);
        let difference = get(Slot::Sample) - get(Slot::Blank);
        let angle =
            (difference + get(Slot::Resolution) + get(Slot::Instrument) + get(Slot::Strain)) / (one + get(Slot::Gain));
        let first = get(Slot::First);
        let made = match self.amount {
            Amount::Concentration(_) => first,
            Amount::Molar { molar_mass, .. } => first * D::from(molar_mass.grams_per_mole() / 10.0),
            Amount::MassInVolume { .. } => hundred * first / get(Slot::Second),
            Amount::MassFraction { .. } => first * get(Slot::Second),
            Amount::Neat(_) => hundred * first,
        };
        let substance = get(Slot::Purity) * (one - get(Slot::Residual)) * (one - get(Slot::Drying));
        let warm = one + get(Slot::Expansion) * (get(Slot::Temperature) - get(Slot::Filling));
        let c = made * substance * D::from(self.basis_factor) / warm;
        let to_stated = one + get(Slot::Coefficient) * (get(Slot::Temperature) - D::from(self.stated_temperature));
        hundred * angle / (get(Slot::Length) * c) / to_stated
    }
}
