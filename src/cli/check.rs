//! `biot check`: one measured value against what is published.

use super::batch::BatchArguments;
use super::change::ChangeOptions;
use super::failure::file_failure;
use super::measured::MeasuredArguments;
use super::{Failure, Outcome, Session, batch, choose};
use crate::compare::{Conditions, EffectTable};
use crate::library::{Access, CompoundId, Library};
use crate::quantity::{self, Angle, Fraction};
use crate::report;
use crate::statement::Stage;
use crate::tasks::check::{
    CheckRequest, CheckSettings, DeriveError, DerivedRequest, EXCESS_UNCERTAINTY, check, keep_derived, mirror_of,
};
use crate::tasks::measurements;
use clap::{ArgGroup, Args};
use std::path::{Path, PathBuf};

/// Arguments of `biot check`.
#[derive(Debug, Args)]
#[command(
    override_usage = "biot check COMPOUND (--value NUMBER | --angle ANGLE | --measurement NUMBER) [OPTIONS]\n       \
                      biot check --batch FILE [OPTIONS]",
    group = ArgGroup::new("measured").args(["value", "angle", "batch", "measurement"]).required(true),
    after_help = "Examples:\n  \
    biot check \"L-menthol\" --value -49.1 --solvent EtOH --conc 5 --temp 20 --line D\n  \
    biot check \"L-menthol\" --angle \"-2.455 deg\" --cell \"100 mm\" --mass \"500 mg\" --volume \"10 mL\" --solvent EtOH --temp 20 --line D\n  \
    biot check \"(S)-(+)-carvone\" --angle 58.4 --cell 100 --density 0.96 --temp 20 --line D\n  \
    biot check \"L-menthol\" --value -45.3 --solvent EtOH --conc 5 --temp 20 --line D --ee 92 --ee-uncertainty 0.5\n  \
    biot check sucrose --value +66.4 --uncertainty 0.2 --solvent H2O --conc \"260 g/L\" --temp 20 --json\n  \
    biot check --measurement 12          one kept here, with its uncertainty and degrees of freedom\n  \
    biot check --batch measured.csv --output checked.xlsx        every row; --map \"Probe=id\" maps a column\n\n\
    Bare numbers are mm, g, mL, °C, g/100 mL, degrees and nm; every option accepts a unit. What is not given is treated \
    as unknown and widens the result; nothing is filled in. The answer is about the rotation alone: it cannot prove what \
    is in the flask."
)]
pub struct CheckArguments {
    /// Compound: name, CAS number, InChIKey, SMILES, or its number in this library
    #[arg(required_unless_present_any = ["batch", "measurement"], value_name = "COMPOUND")]
    pub compound: Vec<String>,

    /// A measurement kept here (biot measurements) in the place of one typed in
    #[arg(long, value_name = "MEASUREMENT", conflicts_with_all = ["conc", "mass", "density", "cell", "uncertainty"], help_heading = "What was measured")]
    pub measurement: Option<i64>,

    /// What was measured, and how
    #[command(flatten)]
    pub measured: MeasuredArguments,
    /// Blank that was subtracted, an angle; tells whether its sign was turned
    #[arg(long, allow_hyphen_values = true, value_parser = quantity::parse_angle, value_name = "ANGLE", conflicts_with = "measurement", help_heading = "What was measured")]
    pub blank: Option<Angle>,
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
    /// Enantiomeric excess by another method, per cent; above zero for the hand of the compound named
    #[arg(long, allow_hyphen_values = true, value_parser = quantity::parse_percent, value_name = "PERCENT", help_heading = "The sample")]
    pub ee: Option<Fraction>,
    /// Standard uncertainty of that excess, per cent; the default is 1 (chromatographic integration)
    #[arg(long, value_parser = quantity::parse_percent, requires = "ee", value_name = "PERCENT", help_heading = "The sample")]
    pub ee_uncertainty: Option<Fraction>,
    /// Method of that excess, such as "HPLC, chiral column"
    #[arg(long, requires = "ee", value_name = "TEXT", help_heading = "The sample")]
    pub ee_method: Option<String>,
    /// Keep the enantiopure value that rotation and ee imply, as a draft entry marked as derived
    #[arg(long, requires_all = ["ee", "ee_method", "citation"], help_heading = "The sample")]
    pub keep_derived: bool,
    /// Where the measurement is written down, for --keep-derived
    #[arg(long, requires = "keep_derived", value_name = "TEXT", help_heading = "The sample")]
    pub citation: Option<String>,

    /// Factor on the variance of references that are unconfirmed drafts
    #[arg(long, default_value_t = 2.0, value_name = "FACTOR", help_heading = "The comparison")]
    pub draft_variance: f64,
    /// Table of condition effects in the place of the built-in one, as biot effects writes it
    #[arg(long, value_name = "FILE", help_heading = "The comparison")]
    pub effects: Option<PathBuf>,

    /// Who and why, for --keep-derived
    #[command(flatten)]
    pub change: ChangeOptions,

    /// A table of measurements in the place of one
    #[command(flatten)]
    pub batch: BatchArguments,
}

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
    let mut settings = settings_with(arguments.effects.as_deref())?;
    settings.options.draft_variance_factor = arguments.draft_variance;
    if let Some(file) = &arguments.batch.batch {
        return batch::run(file, arguments, &settings, session);
    }
    arguments.batch.none()?;
    let mut library = session.library(if arguments.keep_derived {
        Access::Write
    } else {
        Access::Read
    })?;
    let request = match arguments.measurement {
        Some(id) => kept(id, arguments, &library, session)?,
        None => typed(arguments, &library, session)?,
    };
    let mut result = check(&library, &request, &settings)?;
    if let Some(id) = arguments.measurement {
        result.cautions.extend(measurements::cautions(&library, id)?);
    }
    if arguments.keep_derived {
        let derived = DerivedRequest {
            citation: arguments.citation.clone().unwrap_or_default(),
            excess_method: arguments.ee_method.clone().unwrap_or_default(),
        };
        let added = keep_derived(&mut library, &request, &result, &derived, &arguments.change.change())?;
        result.derived_entry = Some(added.entry.id.0);
    }
    session.answer(&result, |page| report::check::show(&result, page))?;
    Ok(Outcome::Answered)
}

/// What is checked, as it is typed.
fn typed(arguments: &CheckArguments, library: &Library, session: &mut Session) -> Result<CheckRequest, Failure> {
    let (compound, is_mirror) = compound(arguments, library, session)?;
    let measured = arguments.measured.reduced(library.compound(compound)?.molar_mass)?;
    Ok(CheckRequest {
        compound,
        mirror_image: is_mirror != arguments.mirror_image,
        conditions: Conditions {
            stage: arguments.stage.as_deref().map(|stage| match stage {
                "initial" => Stage::Initial,
                _ => Stage::Final,
            }),
            basis: arguments.basis.clone(),
            ..arguments.measured.conditions(measured.concentration)
        },
        measured,
        cell: arguments.measured.cell,
        blank: arguments.blank,
        form: arguments.form.clone(),
        excess: excess(arguments)?,
    })
}

/// A measurement kept here, checked against its own compound or the one named.
fn kept(
    id: i64,
    arguments: &CheckArguments,
    library: &Library,
    session: &mut Session,
) -> Result<CheckRequest, Failure> {
    let (named, is_mirror) = if arguments.compound.is_empty() {
        (None, false)
    } else {
        let (compound, is_mirror) = compound(arguments, library, session)?;
        (Some(compound), is_mirror)
    };
    Ok(CheckRequest {
        mirror_image: is_mirror != arguments.mirror_image,
        form: arguments.form.clone(),
        excess: excess(arguments)?,
        ..measurements::check_request(library, id, named)?
    })
}

/// The excess by another method and its standard uncertainty.
fn excess(arguments: &CheckArguments) -> Result<Option<(f64, f64)>, Failure> {
    let Some(ee) = arguments.ee else { return Ok(None) };
    let sd = arguments.ee_uncertainty.map_or(EXCESS_UNCERTAINTY, Fraction::ratio);
    if !(ee.ratio().abs() <= 1.0 && sd > 0.0) {
        return Err(Failure::usage(
            "ee",
            format!(
                "an ee of {} % with an uncertainty of {} % is none; it lies from -100 to 100 %, with an uncertainty above zero",
                ee.percent(),
                100.0 * sd
            ),
        ));
    }
    Ok(Some((ee.ratio(), sd)))
}

impl From<DeriveError> for Failure {
    fn from(error: DeriveError) -> Self {
        match error {
            DeriveError::Circular { .. } => Self::usage("circular", "").told(&error.to_string()).at("--ee-method"),
            DeriveError::NothingImplied => Self::usage("nothing-implied", "").told(&error.to_string()),
            DeriveError::Add(error) => error.into(),
        }
    }
}

/// The settings of a check, with a table of condition effects where one is named.
///
/// # Errors
/// When the table cannot be read or is not whole.
pub fn settings_with(effects: Option<&Path>) -> Result<CheckSettings, Failure> {
    let mut settings = CheckSettings::default();
    if let Some(effects) = effects_in(effects)? {
        settings.effects = effects;
    }
    Ok(settings)
}

/// The table of condition effects in a file, where one is named.
///
/// # Errors
/// When the table cannot be read or is not whole.
pub fn effects_in(path: Option<&Path>) -> Result<Option<EffectTable>, Failure> {
    let Some(path) = path else { return Ok(None) };
    let text = std::fs::read_to_string(path).map_err(|error| file_failure("read", path, &error))?;
    let table = EffectTable::from_csv(&text).map_err(|error| {
        Failure::usage("effects", error.to_string())
            .at(path.display().to_string())
            .hint("biot effects --output FILE writes a whole table")
    })?;
    Ok(Some(table))
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
