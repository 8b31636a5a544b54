//! `biot reduce`: from what the instrument gives to a specific rotation with its uncertainty.

use super::change::ChangeOptions;
use super::failure::file_failure;
use super::{Failure, Outcome, Session, args, choose};
use crate::compound::Formula;
use crate::library::{Access, Compound, Library};
use crate::measurement::{Reading, ReadingRole, Uncertainties, monte_carlo};
use crate::quantity::{
    self, Angle, Density, Fraction, Length, Mass, MolarMass, QuantityError, SpectralLine, StatedConcentration,
    Temperature, Volume,
};
use crate::report;
use crate::solvent::Solvent;
use crate::tasks::measurements::{Filing, keep};
use crate::tasks::reduce::{
    AmountError, Dissolved, ReadingsError, ReduceAnswer, ReduceRequest, ReduceTaskError, ReducedSample, Registered,
    RejectedReading, check_result, parse_mapping, read_readings, reduce_readings,
};
use clap::Args;
use std::io::{Read, Write};
use std::path::{Path, PathBuf};

/// Arguments of `biot reduce`.
#[derive(Debug, Args)]
#[command(after_help = "Examples:\n  \
    biot reduce --angle=-0.482 --cell \"100 mm\" --conc \"0.28 g/cm3\" --solvent EtOH --temp 20 --line D\n  \
    biot reduce --angle=-0.482 --angle=-0.480 --angle=-0.483 --blank 0.002 --blank 0.003 --cell 100 --mass \"102 mg\" --volume \"10 mL\"\n  \
    biot reduce readings.csv --cell \"100 mm\" --mass \"102 mg\" --volume \"10 mL\" --solvent CHCl3 --line D --at 20\n  \
    biot reduce curve.jdx --cell 100 --conc 1.0               a JCAMP-DX curve of angles: a value at each wavelength\n  \
    biot reduce readings.csv --map \"Winkel=angle:mdeg\" --conc 1.0 --json\n  \
    biot reduce --angle 58.4 --cell 100 --density 0.9608 --check \"(S)-(+)-carvone\" --temp 20 --line D\n  \
    biot reduce readings.csv --cell-id C1 --instrument P1 --conc 1.0 --compound \"L-menthol\" --sample S1 --keep\n  \
    biot reduce --angle 2.44 --cell 100 --mass 0.5 --volume 10 --formula C6H12O6 --weighed-as C6H12O6.H2O\n\n\
    A file of readings has a heading line such as role,angle_deg,time_s,temperature_c,wavelength_nm,cell_mm,sample,operator \
    (any subset; also filling, preparation, conc, absorbance, turbidity), any delimiter, decimal points or commas; - reads \
    standard input. Bare numbers are degrees, mm, g, mL, °C, g/100 mL and nm. A purity is the mass fraction of the substance, \
    both enantiomers counted, and never an enantiomeric excess. Uncertainties that are not stated are defaults, and the budget \
    marks them.")]
pub struct ReduceArguments {
    /// File of readings (CSV, XLSX, a JCAMP-DX curve), or - for standard input
    #[arg(value_name = "READINGS")]
    pub readings: Option<PathBuf>,
    /// What a column holds, with its unit where the heading has none: "Winkel=angle:mdeg"; "Nr.=-" leaves it out
    #[arg(long, value_parser = parse_mapping, value_name = "COLUMN=FIELD", help_heading = "Readings")]
    pub map: Vec<(String, String)>,
    /// Angle; repeat it for repeated readings. One alone is taken as blank subtracted, unless --blank is given
    #[arg(long, allow_hyphen_values = true, value_parser = quantity::parse_angle, value_name = "ANGLE", conflicts_with = "readings", help_heading = "Readings")]
    pub angle: Vec<Angle>,
    /// Angle of the blank; repeat it
    #[arg(long, allow_hyphen_values = true, value_parser = quantity::parse_angle, value_name = "ANGLE", help_heading = "Readings")]
    pub blank: Vec<Angle>,
    /// Cell length, where the readings do not tell it
    #[arg(long, visible_alias = "path", value_parser = quantity::parse_length, value_name = "LENGTH", help_heading = "Readings")]
    pub cell: Option<Length>,
    /// Step of the display; found from the digits of the readings
    #[arg(long, value_parser = quantity::parse_angle, value_name = "ANGLE", help_heading = "Readings")]
    pub resolution: Option<Angle>,

    /// Concentration of the solution
    #[arg(long, visible_alias = "concentration", allow_hyphen_values = true, value_parser = quantity::parse_concentration, conflicts_with = "mass", value_name = "CONCENTRATION", help_heading = "Amount")]
    pub conc: Option<StatedConcentration>,
    /// Mass dissolved
    #[arg(long, allow_hyphen_values = true, value_parser = quantity::parse_mass, requires = "volume", value_name = "MASS", help_heading = "Amount")]
    pub mass: Option<Mass>,
    /// Volume it was made up to
    #[arg(long, allow_hyphen_values = true, value_parser = quantity::parse_volume, requires = "mass", value_name = "VOLUME", help_heading = "Amount")]
    pub volume: Option<Volume>,
    /// Density: alone, of the neat liquid; of the solution where --conc is by mass (% w/w, mg/g)
    #[arg(long, allow_hyphen_values = true, value_parser = quantity::parse_density, conflicts_with = "mass", value_name = "DENSITY", help_heading = "Amount")]
    pub density: Option<Density>,
    /// Mass fraction of the substance, both enantiomers counted, per cent
    #[arg(long, value_parser = share, value_name = "PERCENT", help_heading = "Amount")]
    pub purity: Option<Fraction>,
    /// Residual solvent, per cent by mass
    #[arg(long, value_parser = share, value_name = "PERCENT", help_heading = "Amount")]
    pub residual_solvent: Option<Fraction>,
    /// Loss on drying or water, per cent by mass
    #[arg(long, visible_aliases = ["lod", "water"], value_parser = share, value_name = "PERCENT", help_heading = "Amount")]
    pub loss_on_drying: Option<Fraction>,
    /// Formula of the substance the value is for
    #[arg(long, value_parser = Formula::parse, value_name = "FORMULA", help_heading = "Amount")]
    pub formula: Option<Formula>,
    /// Formula of the form that was weighed: a salt or hydrate
    #[arg(long, value_parser = Formula::parse, value_name = "FORMULA", help_heading = "Amount")]
    pub weighed_as: Option<Formula>,
    /// Units of --formula in --weighed-as: 2 for the sulfate of a base
    #[arg(long, default_value_t = 1.0, value_parser = above_zero, requires = "weighed_as", value_name = "NUMBER", help_heading = "Amount")]
    pub units: f64,
    /// Basis of the value in words: anhydrous, dried
    #[arg(long, value_name = "BASIS", help_heading = "Amount")]
    pub basis: Option<String>,

    /// Solvent, or neat
    #[arg(long, value_parser = args::solvent, value_name = "SOLVENT", help_heading = "Conditions")]
    pub solvent: Option<Solvent>,
    /// Temperature of the reading, where the readings do not tell it
    #[arg(long, visible_alias = "temperature", allow_hyphen_values = true, value_parser = quantity::parse_temperature, value_name = "TEMPERATURE", help_heading = "Conditions")]
    pub temp: Option<Temperature>,
    /// Temperature the value is wanted at
    #[arg(long, allow_hyphen_values = true, value_parser = quantity::parse_temperature, value_name = "TEMPERATURE", help_heading = "Conditions")]
    pub at: Option<Temperature>,
    /// Relative change of the rotation per kelvin, as a fraction; brings the value to --at
    #[arg(long, allow_hyphen_values = true, value_parser = small_number, value_name = "NUMBER", help_heading = "Conditions")]
    pub temperature_coefficient: Option<f64>,
    /// Temperature at which the flask was filled, where it differs: the solution expands
    #[arg(long, allow_hyphen_values = true, value_parser = quantity::parse_temperature, value_name = "TEMPERATURE", help_heading = "Conditions")]
    pub filled_at: Option<Temperature>,
    /// Cubic expansion of the solution per kelvin; that of water or of an organic solvent
    #[arg(long, value_parser = small_number, value_name = "NUMBER", help_heading = "Conditions")]
    pub expansion: Option<f64>,
    /// Light: D, 546 nm, or a line's letter, where the readings do not tell it
    #[arg(long, value_parser = quantity::parse_line, value_name = "LINE", help_heading = "Conditions")]
    pub line: Option<SpectralLine>,
    /// Sample, where the readings do not tell it
    #[arg(long, value_name = "ID", help_heading = "Conditions")]
    pub sample: Option<String>,
    /// Who read, where the readings do not tell it
    #[arg(long, value_name = "NAME", help_heading = "Conditions")]
    pub operator: Option<String>,

    /// Of one angle, reading and zero together
    #[arg(long, value_parser = positive_angle, value_name = "ANGLE", help_heading = "Standard uncertainties")]
    pub uncertainty: Option<Angle>,
    /// Of the instrument's angle, beside the scatter of its readings
    #[arg(long, value_parser = positive_angle, value_name = "ANGLE", help_heading = "Standard uncertainties")]
    pub instrument_uncertainty: Option<Angle>,
    /// Of the scale of the angle, per cent
    #[arg(long, value_parser = share, value_name = "PERCENT", help_heading = "Standard uncertainties")]
    pub scale_uncertainty: Option<Fraction>,
    /// Of the rotation by strained windows; a blank cancels it only with the cell unmoved
    #[arg(long, value_parser = positive_angle, value_name = "ANGLE", help_heading = "Standard uncertainties")]
    pub strain: Option<Angle>,
    /// Of the cell length
    #[arg(long, value_parser = quantity::parse_length, value_name = "LENGTH", help_heading = "Standard uncertainties")]
    pub cell_uncertainty: Option<Length>,
    /// Of the stated concentration, per cent of it
    #[arg(long, value_parser = share, value_name = "PERCENT", help_heading = "Standard uncertainties")]
    pub conc_uncertainty: Option<Fraction>,
    /// Of the mass: balance
    #[arg(long, value_parser = quantity::parse_mass, value_name = "MASS", help_heading = "Standard uncertainties")]
    pub mass_uncertainty: Option<Mass>,
    /// Of the volume: flask
    #[arg(long, value_parser = quantity::parse_volume, value_name = "VOLUME", help_heading = "Standard uncertainties")]
    pub volume_uncertainty: Option<Volume>,
    /// Of the density
    #[arg(long, value_parser = quantity::parse_density, value_name = "DENSITY", help_heading = "Standard uncertainties")]
    pub density_uncertainty: Option<Density>,
    /// Of the purity, per cent
    #[arg(long, value_parser = share, value_name = "PERCENT", help_heading = "Standard uncertainties")]
    pub purity_uncertainty: Option<Fraction>,
    /// Of the residual solvent, per cent by mass
    #[arg(long, value_parser = share, value_name = "PERCENT", help_heading = "Standard uncertainties")]
    pub residual_solvent_uncertainty: Option<Fraction>,
    /// Of the loss on drying, per cent by mass
    #[arg(long, value_parser = share, value_name = "PERCENT", help_heading = "Standard uncertainties")]
    pub loss_on_drying_uncertainty: Option<Fraction>,
    /// Of the temperature, kelvin
    #[arg(long, value_parser = small_number, value_name = "NUMBER", help_heading = "Standard uncertainties")]
    pub temp_uncertainty: Option<f64>,
    /// Of the temperature coefficient, per kelvin
    #[arg(long, value_parser = small_number, requires = "temperature_coefficient", value_name = "NUMBER", help_heading = "Standard uncertainties")]
    pub coefficient_uncertainty: Option<f64>,
    /// Correlation of two inputs of the budget: "mass:volume=0.5"
    #[arg(long, value_parser = correlation, value_name = "A:B=R", help_heading = "Standard uncertainties")]
    pub correlation: Vec<(String, String, f64)>,
    /// Draws of the Monte Carlo check; 0 leaves it out
    #[arg(long, default_value_t = 100_000, value_parser = clap::value_parser!(u32).range(0..=10_000_000), value_name = "NUMBER", help_heading = "Standard uncertainties")]
    pub trials: u32,
    /// Seed of the Monte Carlo check
    #[arg(
        long,
        default_value_t = 1,
        value_name = "NUMBER",
        help_heading = "Standard uncertainties"
    )]
    pub seed: u64,

    /// Instrument of the register, for the uncertainty of its angle and its step
    #[arg(long, value_name = "NAME", help_heading = "Conditions")]
    pub instrument: Option<String>,
    /// Preset of the register: fills in line, temperature, instrument and cell where they are not given
    #[arg(long, value_name = "NAME", help_heading = "Conditions")]
    pub preset: Option<String>,
    /// Cell of the register, for its certified length
    #[arg(long, conflicts_with = "cell", value_name = "NAME", help_heading = "Conditions")]
    pub cell_id: Option<String>,

    /// Compound the sample is, for its molar mass and to file the measurement under
    #[arg(long, conflicts_with = "check", value_name = "COMPOUND", help_heading = "The result")]
    pub compound: Option<String>,
    /// Keep the measurement with its readings in the library; needs a sample id
    #[arg(long, help_heading = "The result")]
    pub keep: bool,
    /// Number of the kept measurement that this one corrects
    #[arg(long, requires = "keep", value_name = "MEASUREMENT", help_heading = "The result")]
    pub supersedes: Option<i64>,
    /// Check the value against what the library holds of this compound
    #[arg(long, value_name = "COMPOUND", help_heading = "The result")]
    pub check: Option<String>,

    /// Who and why, for --keep
    #[command(flatten)]
    pub change: ChangeOptions,
}

fn share(text: &str) -> Result<Fraction, String> {
    let found = quantity::parse_percent(text).map_err(|error| error.to_string())?;
    if found.ratio() < 0.0 {
        return Err("a share lies from 0 to 100 %".to_owned());
    }
    Ok(found)
}

fn above_zero(text: &str) -> Result<f64, String> {
    match quantity::parse_number(text) {
        Ok(number) if number.value() > 0.0 => Ok(number.value()),
        _ => Err("it must be a number above zero".to_owned()),
    }
}

fn small_number(text: &str) -> Result<f64, QuantityError> {
    quantity::parse_number(text.trim_end_matches(['K', ' '])).map(quantity::Printed::value)
}

fn positive_angle(text: &str) -> Result<Angle, String> {
    let angle = quantity::parse_angle(text).map_err(|error| error.to_string())?;
    if angle.degrees() > 0.0 {
        Ok(angle)
    } else {
        Err("it must be above zero".to_owned())
    }
}

fn correlation(text: &str) -> Result<(String, String, f64), String> {
    let wrong = || format!("\"{text}\" is no correlation; write it like \"mass:volume=0.5\"");
    let (pair, number) = text.rsplit_once('=').ok_or_else(wrong)?;
    let (first, second) = pair.split_once(':').ok_or_else(wrong)?;
    let number = quantity::parse_number(number).map_err(|_| wrong())?;
    Ok((first.trim().to_owned(), second.trim().to_owned(), number.value()))
}

/// Reduces readings.
pub fn run(arguments: &ReduceArguments, session: &mut Session) -> Result<Outcome, Failure> {
    let mut library = arguments.library(session)?;
    let compound = match (&library, arguments.check.as_ref().or(arguments.compound.as_ref())) {
        (Some(library), Some(text)) => Some(library.compound(choose::compound(library, text, session)?)?),
        _ => None,
    };
    let (readings, rejected, n_other_units) = readings(arguments, session)?;
    let mut request = arguments.request(compound.as_ref())?;
    let mut filing = Filing {
        compound: compound.as_ref().map(|compound| compound.id),
        supersedes: arguments.supersedes,
        ..Filing::default()
    };
    let mut control = Vec::new();
    if let Some(library) = &library {
        let at = arguments.change.change().at;
        control = arguments
            .registered()
            .fill_in(library, &readings, at, &mut request, &mut filing)?;
    }
    let mut results = reduce_readings(&readings, &request)?;
    for result in &mut results {
        if n_other_units > 0 {
            result.shown.flags.push(report::reduce::mixed_units(n_other_units));
        }
        result.shown.flags.extend(control.iter().cloned());
        result.shown.flags.sort_by_key(|flag| std::cmp::Reverse(flag.severity));
        if let (Some(library), Some(compound), true) = (&library, &compound, arguments.check.is_some()) {
            check_result(result, library, compound)?;
        }
    }
    if let (Some(library), true) = (&mut library, arguments.keep) {
        keep(library, &mut results, &filing, &arguments.change.change())?;
    }
    let shown: Vec<ReducedSample> = results.into_iter().map(|result| result.shown).collect();
    let has_rejected = !rejected.is_empty();
    let answer = ReduceAnswer::of(shown, rejected);
    session.answer(&answer, |page| report::reduce::show(&answer, page))?;
    Ok(if has_rejected {
        Outcome::WithFindings
    } else {
        Outcome::Answered
    })
}

type Found = (Vec<Reading>, Vec<RejectedReading>, usize);

/// The readings, from options, a file, or standard input.
fn readings(arguments: &ReduceArguments, session: &mut Session) -> Result<Found, Failure> {
    let mut found: Found = (Vec::new(), Vec::new(), 0);
    let mut add = |role: ReadingRole, angles: &[Angle]| {
        for &angle in angles {
            let number = found.0.len() as u64 + 1;
            found.0.push(Reading::of(number, role, angle));
        }
    };
    add(ReadingRole::Blank, &arguments.blank);
    add(ReadingRole::Sample, &arguments.angle);
    let Some(path) = &arguments.readings else {
        return Ok(found);
    };
    let file = if path == Path::new("-") {
        if session.can_ask() {
            session.notice("Type readings, one angle a line, or a table with a heading line; end with Ctrl-D.");
        }
        let mut bytes = Vec::new();
        std::io::stdin()
            .lock()
            .read_to_end(&mut bytes)
            .map_err(|error| file_failure("read", path, &error))?;
        let failed = |error: &std::io::Error| file_failure("keep", Path::new("standard input"), error);
        let mut kept = tempfile::Builder::new()
            .suffix(".csv")
            .tempfile()
            .map_err(|error| failed(&error))?;
        kept.write_all(&bytes).map_err(|error| failed(&error))?;
        if bytes.iter().all(u8::is_ascii_whitespace) {
            return Err(Failure::usage("no-readings", "standard input holds no readings")
                .hint("type one angle a line, or a table with a heading line"));
        }
        read_readings(kept.path(), &arguments.map)?
    } else {
        read_readings(path, &arguments.map)?
    };
    if !file.unmapped.is_empty() {
        session.notice(&format!(
            "These columns are not used: {}; map one with --map COLUMN=FIELD.",
            file.unmapped.join(", ")
        ));
    }
    if file.readings.is_empty() {
        let first = file
            .rejected
            .first()
            .map_or_else(String::new, |row| format!("; row {}: {}", row.line, row.reason));
        return Err(Failure::usage(
            "no-readings",
            format!("none of the {} rows could be used{first}", file.rejected.len()),
        )
        .at(path.display().to_string()));
    }
    found.0.extend(file.readings);
    found.1 = file.rejected;
    found.2 = file.n_other_units;
    Ok(found)
}

impl ReduceArguments {
    /// The library, where something of it is asked for.
    fn library(&self, session: &mut Session) -> Result<Option<Library>, Failure> {
        if self.keep {
            return session.library(Access::Write).map(Some);
        }
        let is_asked = [
            &self.check,
            &self.compound,
            &self.instrument,
            &self.cell_id,
            &self.preset,
        ]
        .iter()
        .any(|option| option.is_some());
        if is_asked {
            session.library(Access::Read).map(Some)
        } else {
            Ok(None)
        }
    }

    /// What of the register is named.
    fn registered(&self) -> Registered {
        Registered {
            preset: self.preset.clone(),
            cell: self.cell_id.clone(),
            instrument: self.instrument.clone(),
        }
    }

    /// What is known beside the readings.
    fn request(&self, compound: Option<&Compound>) -> Result<ReduceRequest, Failure> {
        let of_formula = self.formula.as_ref().map(Formula::molar_mass);
        let molar_mass = of_formula.or_else(|| compound.and_then(|compound| compound.molar_mass));
        let dissolved = self.dissolved(molar_mass);
        let is_single_angle = self.readings.is_none() && self.angle.len() == 1 && self.blank.is_empty();
        if self.uncertainty.is_some() && !is_single_angle {
            return Err(Failure::usage(
                "uncertainty",
                "--uncertainty is that of one angle; the scatter of readings tells its own",
            )
            .hint("give --instrument-uncertainty for what scatter does not show"));
        }
        let kelvin = |value: Option<f64>| value.map(Temperature::from_celsius);
        Ok(ReduceRequest {
            cell: self.cell,
            amount: dissolved.amount()?,
            stated: self.conc,
            line: self.line.clone(),
            solvent: self.solvent.clone(),
            temperature: self.temp,
            at: self.at,
            temperature_coefficient: self.temperature_coefficient,
            filled_at: self.filled_at,
            expansion: self.expansion,
            purity: self.purity,
            residual_solvent: self.residual_solvent,
            loss_on_drying: self.loss_on_drying,
            basis_factor: dissolved.factor_of(self.weighed_as.as_ref(), self.units)?,
            basis: self.basis.clone(),
            molar_mass,
            resolution: self.resolution,
            uncertainties: Uncertainties {
                angle: self.uncertainty,
                instrument: self.instrument_uncertainty,
                gain: self.scale_uncertainty,
                strain: self.strain,
                length: self.cell_uncertainty,
                concentration: self.conc_uncertainty,
                mass: self.mass_uncertainty,
                volume: self.volume_uncertainty,
                density: self.density_uncertainty,
                purity: self.purity_uncertainty,
                residual_solvent: self.residual_solvent_uncertainty,
                loss_on_drying: self.loss_on_drying_uncertainty,
                temperature: kelvin(self.temp_uncertainty),
                filled_at: None,
                expansion: None,
                temperature_coefficient: self.coefficient_uncertainty,
            },
            is_single_angle,
            sample: self.sample.clone(),
            operator: self.operator.clone(),
            correlations: self.correlation.clone(),
            monte_carlo: (self.trials > 0).then_some(monte_carlo::Settings {
                trials: self.trials,
                seed: self.seed,
            }),
        })
    }

    /// How the solution was made.
    fn dissolved(&self, molar_mass: Option<MolarMass>) -> Dissolved {
        Dissolved {
            conc: self.conc,
            mass: self.mass,
            volume: self.volume,
            density: self.density,
            solvent: self.solvent.clone(),
            molar_mass,
        }
    }
}

impl From<AmountError> for Failure {
    fn from(error: AmountError) -> Self {
        let code = match error {
            AmountError::Measured(error) => return error.into(),
            AmountError::Quantity(_) => "quantity",
            AmountError::NoFormula => "formula",
        };
        Self::usage(code, "").told(&error.to_string())
    }
}

impl From<ReduceTaskError> for Failure {
    fn from(error: ReduceTaskError) -> Self {
        let code = match error {
            ReduceTaskError::NoReadings => "no-readings",
            ReduceTaskError::NoCell { .. } => "cell",
            ReduceTaskError::NoAmount { .. } => "concentration",
            ReduceTaskError::Reduce { .. } => "reduce",
            ReduceTaskError::TooMany { .. } => "too-many",
        };
        Self::usage(code, "").told(&error.to_string())
    }
}

impl From<ReadingsError> for Failure {
    fn from(error: ReadingsError) -> Self {
        let code = match error {
            ReadingsError::Read(error) => return error.into(),
            ReadingsError::NoHeadings { .. } | ReadingsError::NoAngle { .. } => "no-angle",
            ReadingsError::Twice { .. } => "column-twice",
            ReadingsError::Curve { .. } => "jcamp",
            ReadingsError::Abscissa { .. } | ReadingsError::Ordinate { .. } => "unit",
            ReadingsError::NoRows { .. } => "no-readings",
        };
        Self::usage(code, "").told(&error.to_string())
    }
}
