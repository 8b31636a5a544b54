//! `biot limits`: a measurement, or a series of batches, against the limits of a monograph.

use super::measured::MeasuredArguments;
use super::{Failure, Outcome, Session, choose};
use crate::compare::limits::{Basis, Guard, Sample, Share};
use crate::library::{Access, CompoundId, Library};
use crate::measurement::Amount;
use crate::report;
use crate::solvent::Solvent;
use crate::tasks::limits::{
    BatchError, LimitsRequest, Reading, batch_limits, limits, read_batches, share, with_reading,
};
use crate::tasks::typed;
use clap::{ArgGroup, Args};
use std::path::PathBuf;

/// Arguments of `biot limits`.
#[derive(Debug, Args)]
#[command(
    group = ArgGroup::new("measured").args(["value", "angle", "batches"]).required(true),
    after_help = "Examples:\n  \
    biot limits dextrose --value 52.93 --solvent \"0.012 N ammonium hydroxide\" --conc \"100 mg/mL\" --temp 25 --line D --basis anhydrous\n  \
    biot limits \"monosodium L-glutamate\" --value 22.6 --water 9.6% --guard 95%\n  \
    biot limits \"oil of orange\" --angle 96.1 --cell \"100 mm\" --temp 25 --line D\n  \
    biot limits dextrose --batches lots.csv --temp 25 --line D      headings batch,date,value,uncertainty,water\n\n\
    The monograph's own rule comes first: the value on its basis, rounded to the digits of the limits, inside or outside. \
    Beside it stands the probability of conformity (JCGM 106:2012). A measurement that was not made as the method says \
    decides nothing; what was not given is a proviso of the answer. Limits on an observed angle hold in their own tube and \
    are never converted. This is an aid: the official text in force and licensed practice decide."
)]
pub struct LimitsArguments {
    /// Compound: name, CAS number, InChIKey, or its number in this library
    #[arg(required = true, value_name = "COMPOUND")]
    pub compound: Vec<String>,

    /// What was measured, and how
    #[command(flatten)]
    pub measured: MeasuredArguments,
    /// Basis of the value: as-is, dried, anhydrous; as-is where --water or --loss-on-drying is given
    #[arg(long, value_parser = typed::basis, value_name = "BASIS", help_heading = "Conditions")]
    pub basis: Option<Basis>,
    /// Water content of the sample as it is, per cent
    #[arg(long, value_parser = share, value_name = "PERCENT", help_heading = "Conditions")]
    pub water: Option<Share>,
    /// Loss on drying of the sample as it is, per cent
    #[arg(long, visible_alias = "lod", value_parser = share, value_name = "PERCENT", help_heading = "Conditions")]
    pub loss_on_drying: Option<Share>,
    /// Time from dissolving to reading: a number of minutes, or with a unit, such as 20min or 3h
    #[arg(long, value_parser = typed::minutes, value_name = "TIME", help_heading = "Conditions")]
    pub read_after: Option<f64>,

    /// Table of batches instead of one value: batch, date, value or angle, uncertainty, temp, conc, cell, water,
    /// loss_on_drying, any subset
    #[arg(long, conflicts_with_all = ["uncertainty", "mass", "density"], value_name = "FILE", help_heading = "The decision")]
    pub batches: Option<PathBuf>,
    /// Decide with a guard band too: the probability of conformity wanted (95%), or standard uncertainties (2u)
    #[arg(long, value_parser = typed::guard, value_name = "GUARD", num_args = 0..=1, default_missing_value = "95%", help_heading = "The decision")]
    pub guard: Option<Guard>,
}

/// Holds the measurement or the batches against the limits.
pub fn run(arguments: &LimitsArguments, session: &mut Session) -> Result<Outcome, Failure> {
    let library = session.library(Access::Read)?;
    let compound = choose::compound(&library, &arguments.compound.join(" "), session)?;
    let common = common(arguments, &library, compound)?;
    let Some(path) = &arguments.batches else {
        let sample = measured(arguments, common)?;
        let request = LimitsRequest {
            compound,
            sample,
            guard: arguments.guard,
        };
        let result = limits(&library, &request)?;
        session.answer(&result, |page| report::limits::show(&result, page))?;
        return Ok(Outcome::Answered);
    };
    let (batches, refused) = read_batches(path, &common).map_err(unreadable)?;
    let result = batch_limits(&library, compound, &batches, refused, arguments.guard)?;
    session.answer(&result, |page| report::limits::show_trend(&result, page))?;
    Ok(if result.refused.is_empty() {
        Outcome::Answered
    } else {
        Outcome::WithFindings
    })
}

fn unreadable(error: BatchError) -> Failure {
    match error {
        BatchError::Read(error) => Failure::from(error),
        BatchError::NoValues => Failure::usage("batches", "").told(&error.to_string()).at("--batches"),
    }
}

/// What holds for the measurement whatever its value.
fn common(arguments: &LimitsArguments, library: &Library, compound: CompoundId) -> Result<Sample, Failure> {
    let molar_mass = library.compound(compound)?.molar_mass;
    let concentration = arguments.measured.concentration(molar_mass)?;
    Ok(Sample {
        conditions: arguments.measured.conditions(concentration),
        cell: arguments.measured.cell,
        basis: arguments.basis,
        water: arguments.water,
        loss_on_drying: arguments.loss_on_drying,
        read_after_minutes: arguments.read_after,
        molar_mass,
        ..Sample::default()
    })
}

/// The sample with its reading; an angle alone is enough for limits on the angle.
fn measured(arguments: &LimitsArguments, common: Sample) -> Result<Sample, Failure> {
    let given = &arguments.measured;
    let uncertainty = given.stated_uncertainty()?;
    let reading = match (given.value, given.angle) {
        (Some(value), _) => Reading::Value(value),
        (None, Some(angle)) => Reading::Angle(angle),
        (None, None) => return Err(Failure::usage("measured", "give --value, --angle or --batches")),
    };
    let is_neat = matches!(given.solvent, None | Some(Solvent::Neat));
    let amount = match (given.mass, given.volume, common.conditions.concentration, given.density) {
        (Some(mass), Some(volume), ..) => Some(Amount::MassInVolume { mass, volume }),
        (_, _, Some(concentration), _) => Some(Amount::Concentration(concentration)),
        (_, _, None, Some(density)) if is_neat => Some(Amount::Neat(density)),
        _ => None,
    };
    Ok(with_reading(common, reading, uncertainty, amount))
}
