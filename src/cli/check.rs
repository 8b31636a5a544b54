//! `biot check`: one measured value against what is published.

use super::batch::BatchArguments;
use super::change::ChangeOptions;
use super::failure::file_failure;
use super::question::QuestionArguments;
use super::{Failure, Outcome, Session, batch};
use crate::compare::EffectTable;
use crate::library::Access;
use crate::report::{self, document};
use crate::tasks::check::{CheckSettings, DeriveError, DerivedRequest, keep_derived};
use crate::tasks::register::date;
use crate::tasks::report::{Labels, keep, of_check as report_of};
use clap::{ArgGroup, Args};
use std::path::Path;

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
    biot check \"L-menthol\" --value -48.9 --solvent EtOH --conc 5 --temp 20 --line D --ee \">99\"\n  \
    biot check sucrose --value +66.4 --uncertainty 0.2 --solvent H2O --conc \"260 g/L\" --temp 20 --json\n  \
    biot check --measurement 12          one kept here, with its uncertainty and degrees of freedom\n  \
    biot check --measurement 12 --keep \"batch 7\"          kept with its report, for biot report --check \"batch 7\"\n  \
    biot check --batch measured.csv --output checked.xlsx        every row; --map \"Probe=id\" maps a column\n\n\
    Bare numbers are mm, g, mL, °C, g/100 mL, degrees and nm; every option accepts a unit. What is not given is treated \
    as unknown and widens the result; nothing is filled in. The answer is about the rotation alone: it cannot prove what \
    is in the flask."
)]
pub struct CheckArguments {
    /// Compound: name, CAS number, InChIKey, SMILES, or its number in this library
    #[arg(required_unless_present_any = ["batch", "measurement"], value_name = "COMPOUND")]
    pub compound: Vec<String>,

    /// What is checked, and how
    #[command(flatten)]
    pub question: QuestionArguments,
    /// Method of that excess, such as "HPLC, chiral column"
    #[arg(long, requires = "ee", value_name = "TEXT", help_heading = "The sample")]
    pub ee_method: Option<String>,
    /// Keep the enantiopure value that rotation and ee imply, as a draft entry marked as derived
    #[arg(long, requires_all = ["ee", "ee_method", "citation"], help_heading = "The sample")]
    pub keep_derived: bool,
    /// Where the measurement is written down, for --keep-derived
    #[arg(long, requires = "keep_derived", value_name = "TEXT", help_heading = "The sample")]
    pub citation: Option<String>,

    /// Keep the check with its report under this name (biot report --check NAME)
    #[arg(long, value_name = "NAME", conflicts_with = "batch", help_heading = "The report")]
    pub keep: Option<String>,

    /// Who and why, for --keep and --keep-derived
    #[command(flatten)]
    pub change: ChangeOptions,

    /// A table of measurements in the place of one
    #[command(flatten)]
    pub batch: BatchArguments,
}

/// Checks the value.
pub fn run(arguments: &CheckArguments, session: &mut Session) -> Result<Outcome, Failure> {
    let settings = arguments.question.settings()?;
    if let Some(file) = &arguments.batch.batch {
        return batch::run(file, arguments, &settings, session);
    }
    arguments.batch.none()?;
    let mut library = session.library(if arguments.keep_derived || arguments.keep.is_some() {
        Access::Write
    } else {
        Access::Read
    })?;
    let question = arguments
        .question
        .question(&arguments.compound, Labels::default(), &library, session)?;
    let report = report_of(&library, &question)?;
    let mut result = report.result.clone();
    if let Some(name) = &arguments.keep {
        let change = arguments.change.change();
        let document = document::of_check(&report, question.given.as_ref(), None, &date(change.at.date()));
        let kept = keep(&mut library, name, &report, &document, &change)?;
        session.notice(&format!(
            "Kept as \"{}\"; biot report --check \"{}\" --output FILE prints it.",
            kept.name, kept.name
        ));
    }
    if arguments.keep_derived {
        let derived = DerivedRequest {
            citation: arguments.citation.clone().unwrap_or_default(),
            excess_method: arguments.ee_method.clone().unwrap_or_default(),
        };
        let change = arguments.change.change();
        let added = keep_derived(&mut library, &question.request, &result, &derived, &change)?;
        result.derived_entry = Some(added.entry.id.0);
    }
    session.answer(&result, |page| report::check::show(&result, page))?;
    Ok(Outcome::Answered)
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
