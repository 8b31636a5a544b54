//! The options that say what a statement says: shared by the commands that add and edit entries.

use super::args;
use super::failure::Failure;
use crate::notation;
use crate::quantity::{self, Length, Printed, SpectralLine, StatedConcentration};
use crate::solvent::Solvent;
use crate::statement::{
    PrintedConcentration, Role, RotationKind, Sign, Stage, StatedExcess, StatedTemperature, Statement,
};
use clap::{Args, ValueEnum};

/// A statement, field by field. A field that is not given stays missing (or, in an edit, as it is).
#[derive(Clone, Debug, Default, Args)]
#[command(next_help_heading = "What is printed")]
pub struct StatementOptions {
    /// The rotation with its sign and printed digits: -49.1
    #[arg(long, allow_hyphen_values = true, value_parser = args::rotation, value_name = "NUMBER")]
    pub value: Option<Printed>,
    /// Low end of a printed range, or alone for "not less than"
    #[arg(long, allow_hyphen_values = true, value_parser = args::rotation, value_name = "NUMBER", conflicts_with = "value")]
    pub low: Option<Printed>,
    /// High end of a printed range, or alone for "not more than"
    #[arg(long, allow_hyphen_values = true, value_parser = args::rotation, value_name = "NUMBER", conflicts_with = "value")]
    pub high: Option<Printed>,
    /// Printed tolerance of the rotation
    #[arg(long, value_parser = args::rotation, value_name = "NUMBER")]
    pub plus_minus: Option<Printed>,
    /// No sign is printed before the value
    #[arg(long)]
    pub no_sign: bool,
    /// The value is printed with "about", "ca." or "~"
    #[arg(long)]
    pub approx: bool,
    /// Kind of rotation
    #[arg(long, value_name = "KIND")]
    pub kind: Option<KindWord>,
    /// Light: D, a wavelength (546 nm), or a line's letter
    #[arg(long, value_parser = quantity::parse_line, value_name = "LINE")]
    pub line: Option<SpectralLine>,
    /// Temperature: 20, "20 °C", "293 K", 20..25, or room
    #[arg(long, visible_alias = "temp", allow_hyphen_values = true, value_parser = args::stated_temperature, value_name = "TEMPERATURE")]
    pub temperature: Option<StatedTemperature>,
    /// Solvent as printed, or neat
    #[arg(long, value_parser = args::solvent, value_name = "SOLVENT")]
    pub solvent: Option<Solvent>,
    /// Concentration; a bare number is in g/100 mL
    #[arg(long, visible_alias = "conc", value_parser = quantity::parse_concentration, value_name = "CONCENTRATION")]
    pub concentration: Option<StatedConcentration>,
    /// Cell length; a bare number is in mm
    #[arg(long, visible_alias = "cell", value_parser = quantity::parse_length, value_name = "LENGTH")]
    pub length: Option<Length>,
    /// Enantiomeric excess of the sample in per cent; ">99" for a lower bound
    #[arg(long, value_parser = StatedExcess::read, value_name = "PER_CENT")]
    pub ee: Option<StatedExcess>,
    /// Method the enantiomeric excess was found with
    #[arg(long, requires = "ee", value_name = "TEXT")]
    pub ee_method: Option<String>,
    /// Form that was measured: a salt, hydrate or anomer
    #[arg(long, value_name = "TEXT")]
    pub form: Option<String>,
    /// Basis of the value: dried, anhydrous
    #[arg(long, value_name = "TEXT")]
    pub basis: Option<String>,
    /// Stage of a solution whose rotation changes with time
    #[arg(long, value_name = "STAGE")]
    pub stage: Option<StageWord>,
    /// Whether the source measured the value, quotes it, or compiled it
    #[arg(long, value_name = "ROLE")]
    pub role: Option<RoleWord>,
    /// Place in the source: page, compound number
    #[arg(long, value_name = "TEXT")]
    pub place: Option<String>,
}

/// Kinds of rotation, as typed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum KindWord {
    /// Specific rotation
    Specific,
    /// Observed rotation, an angle
    Observed,
    /// Molar rotation
    Molar,
}

impl From<KindWord> for RotationKind {
    fn from(word: KindWord) -> Self {
        match word {
            KindWord::Specific => Self::Specific,
            KindWord::Observed => Self::Observed,
            KindWord::Molar => Self::Molar,
        }
    }
}

/// Stages, as typed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum StageWord {
    /// Read soon after dissolving
    Initial,
    /// Read at equilibrium
    Final,
}

/// Roles, as typed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum RoleWord {
    /// Measured by the authors of the source
    Measured,
    /// Quoted beside a measured value
    Lit,
    /// Compiled from sources not printed
    Compiled,
}

impl StatementOptions {
    /// Whether no option was given.
    pub fn is_empty(&self) -> bool {
        let mut statement = Statement::default();
        self.put(&mut statement);
        statement == Statement::default() && self.role.is_none()
    }

    /// Puts the fields that were given into a statement and leaves the others.
    pub fn put(&self, statement: &mut Statement) {
        if let Some(value) = self.value {
            (statement.value, statement.low, statement.high) = (Some(value), None, None);
            statement.sign = Sign::Stated;
        }
        if self.low.is_some() || self.high.is_some() {
            (statement.value, statement.low, statement.high) = (None, self.low, self.high);
            statement.sign = Sign::Stated;
        }
        if self.no_sign {
            statement.sign = Sign::NotStated;
        }
        statement.approx |= self.approx;
        if let Some(kind) = self.kind {
            statement.kind = kind.into();
        }
        put(&mut statement.plus_minus, self.plus_minus);
        put(&mut statement.line, self.line.clone());
        put(&mut statement.temperature, self.temperature.clone());
        put(&mut statement.solvent, self.solvent.clone());
        put(
            &mut statement.concentration,
            self.concentration.map(|stated| PrintedConcentration {
                low: stated.value,
                high: None,
                unit: stated.unit,
                unit_printed: true,
            }),
        );
        put(&mut statement.path, self.length);
        let ee = self.ee.clone().map(|ee| StatedExcess {
            method: self.ee_method.clone(),
            ..ee
        });
        put(&mut statement.ee, ee);
        put(&mut statement.form, self.form.clone());
        put(&mut statement.basis, self.basis.clone());
        let stage = self.stage.map(|word| match word {
            StageWord::Initial => Stage::Initial,
            StageWord::Final => Stage::Final,
        });
        put(&mut statement.stage, stage);
        let role = self.role.map(|word| match word {
            RoleWord::Measured => Role::Measured,
            RoleWord::Lit => Role::Lit,
            RoleWord::Compiled => Role::Compiled,
        });
        put(&mut statement.role, role);
        put(&mut statement.place, self.place.clone());
    }
}

/// A statement: what is read from the printed text, overruled by the options.
///
/// # Errors
/// When the text does not hold exactly one rotation.
pub fn read(text: Option<&str>, options: &StatementOptions) -> Result<Statement, Failure> {
    let mut statement = match text {
        None => Statement::default(),
        Some(text) => {
            let mut found = notation::read(text);
            if found.len() != 1 {
                let listed: Vec<String> = found.iter().map(|found| found.statement.as_printed.clone()).collect();
                let message = if found.is_empty() {
                    "no rotation is found in the text".to_owned()
                } else {
                    format!(
                        "{} rotations are found in the text: {}",
                        found.len(),
                        listed.join(" | ")
                    )
                };
                return Err(Failure::usage("not-one-statement", message)
                    .at("--text")
                    .hint("give the text of one value, or its fields as options"));
            }
            found.remove(0).statement
        }
    };
    options.put(&mut statement);
    Ok(statement)
}

/// Takes a field out of a statement by the name its option has.
///
/// # Errors
/// When there is no such field, or it cannot be missing.
pub fn clear(statement: &mut Statement, field: &str) -> Result<(), Failure> {
    match field {
        "plus-minus" => statement.plus_minus = None,
        "approx" => statement.approx = false,
        "line" => statement.line = None,
        "temperature" => statement.temperature = None,
        "solvent" => statement.solvent = None,
        "concentration" => statement.concentration = None,
        "length" => statement.path = None,
        "ee" => statement.ee = None,
        "form" => statement.form = None,
        "basis" => statement.basis = None,
        "stage" => statement.stage = None,
        "role" => statement.role = None,
        "place" => statement.place = None,
        "doubts" => statement.doubts.clear(),
        _ => {
            return Err(Failure::usage(
                "unknown-field",
                format!("\"{field}\" is not a field that can be taken out"),
            )
            .at("--clear")
            .hint(
                "fields are plus-minus, approx, line, temperature, solvent, concentration, length, ee, form, \
                         basis, stage, role, place, doubts",
            ));
        }
    }
    Ok(())
}

fn put<T>(field: &mut Option<T>, given: Option<T>) {
    if given.is_some() {
        *field = given;
    }
}
