//! The options that say what is checked and how, shared by `biot check` and `biot report`.

use super::check::settings_with;
use super::measured::MeasuredArguments;
use super::{Failure, Session, choose};
use crate::compare::{Conditions, MethodExcess};
use crate::library::{CompoundId, Library};
use crate::quantity::{self, Angle, Fraction};
use crate::statement::{Stage, StatedExcess};
use crate::tasks::check::{CheckRequest, CheckSettings, EXCESS_UNCERTAINTY, mirror_of};
use crate::tasks::measurements;
use crate::tasks::report::{CheckQuestion, Labels};
use clap::Args;
use std::path::PathBuf;

/// What is checked, and how. The compound is an argument of the command.
#[derive(Clone, Debug, Args)]
pub struct QuestionArguments {
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
    /// Enantiomeric excess by another method, per cent; above zero for the hand of the compound named. ">99" is a lower bound
    #[arg(long, allow_hyphen_values = true, value_parser = StatedExcess::read, value_name = "PERCENT", help_heading = "The sample")]
    pub ee: Option<StatedExcess>,
    /// Standard uncertainty of that excess, per cent; the default is 1 (chromatographic integration)
    #[arg(long, value_parser = quantity::parse_percent, requires = "ee", value_name = "PERCENT", help_heading = "The sample")]
    pub ee_uncertainty: Option<Fraction>,

    /// Factor on the variance of references that are unconfirmed drafts
    #[arg(long, default_value_t = 2.0, value_name = "FACTOR", help_heading = "The comparison")]
    pub draft_variance: f64,
    /// Table of condition effects in the place of the built-in one, as biot effects writes it
    #[arg(long, value_name = "FILE", help_heading = "The comparison")]
    pub effects: Option<PathBuf>,
}

impl QuestionArguments {
    /// The options that were given, without dashes.
    pub fn given(&self) -> Vec<&'static str> {
        let it = &self.measured;
        [
            ("value", it.value.is_some()),
            ("angle", it.angle.is_some()),
            ("uncertainty", it.uncertainty.is_some()),
            ("cell", it.cell.is_some()),
            ("conc", it.conc.is_some()),
            ("mass", it.mass.is_some()),
            ("volume", it.volume.is_some()),
            ("density", it.density.is_some()),
            ("solvent", it.solvent.is_some()),
            ("temp", it.temp.is_some()),
            ("line", it.line.is_some()),
            ("measurement", self.measurement.is_some()),
            ("blank", self.blank.is_some()),
            ("stage", self.stage.is_some()),
            ("basis", self.basis.is_some()),
            ("mirror-image", self.mirror_image),
            ("form", self.form.is_some()),
            ("ee", self.ee.is_some()),
            ("effects", self.effects.is_some()),
        ]
        .into_iter()
        .filter_map(|(name, is_given)| is_given.then_some(name))
        .collect()
    }

    /// The settings of the check.
    ///
    /// # Errors
    /// When a number is out of range or the table of effects does not do.
    pub fn settings(&self) -> Result<CheckSettings, Failure> {
        if !(self.draft_variance >= 1.0 && self.draft_variance.is_finite()) {
            return Err(Failure::usage(
                "draft-variance",
                format!("--draft-variance is {}, but it must be 1 or more", self.draft_variance),
            ));
        }
        let mut settings = settings_with(self.effects.as_deref())?;
        settings.options.draft_variance_factor = self.draft_variance;
        Ok(settings)
    }

    /// What is checked: a measurement kept here, or what is typed.
    ///
    /// # Errors
    /// When the compound is unknown or ambiguous, or what was measured makes no specific rotation.
    pub fn request(
        &self,
        compound: &[String],
        library: &Library,
        session: &mut Session,
    ) -> Result<CheckRequest, Failure> {
        match self.measurement {
            Some(id) => self.kept(id, compound, library, session),
            None => self.typed(compound, library, session),
        }
    }

    /// The whole question, for a report.
    ///
    /// # Errors
    /// As of [`Self::request`] and [`Self::settings`].
    pub fn question(
        &self,
        compound: &[String],
        labels: Labels,
        library: &Library,
        session: &mut Session,
    ) -> Result<CheckQuestion, Failure> {
        Ok(CheckQuestion {
            request: self.request(compound, library, session)?,
            settings: self.settings()?,
            given: self.measurement.is_none().then(|| self.measured.given()),
            measurement: self.measurement,
            stage: self.stage.clone(),
            labels,
        })
    }

    /// What is checked, as it is typed.
    fn typed(&self, compound: &[String], library: &Library, session: &mut Session) -> Result<CheckRequest, Failure> {
        let (compound, is_mirror) = named(compound, library, session)?;
        let measured = self.measured.reduced(library.compound(compound)?.molar_mass)?;
        Ok(CheckRequest {
            compound,
            mirror_image: is_mirror != self.mirror_image,
            conditions: Conditions {
                stage: self.stage.as_deref().map(|stage| match stage {
                    "initial" => Stage::Initial,
                    _ => Stage::Final,
                }),
                basis: self.basis.clone(),
                ..self.measured.conditions(measured.concentration)
            },
            measured,
            cell: self.measured.cell,
            blank: self.blank,
            form: self.form.clone(),
            excess: self.excess()?,
        })
    }

    /// A measurement kept here, checked against its own compound or the one named.
    fn kept(
        &self,
        id: i64,
        compound: &[String],
        library: &Library,
        session: &mut Session,
    ) -> Result<CheckRequest, Failure> {
        let (asked, is_mirror) = if compound.is_empty() {
            (None, false)
        } else {
            let (compound, is_mirror) = named(compound, library, session)?;
            (Some(compound), is_mirror)
        };
        Ok(CheckRequest {
            mirror_image: is_mirror != self.mirror_image,
            form: self.form.clone(),
            excess: self.excess()?,
            ..measurements::check_request(library, id, asked)?
        })
    }

    /// The excess by another method.
    fn excess(&self) -> Result<Option<MethodExcess>, Failure> {
        let Some(stated) = &self.ee else { return Ok(None) };
        let wrong = |text: &str| Err(Failure::usage("ee", text));
        if stated.at_least && self.ee_uncertainty.is_some() {
            return wrong("a lower bound has no uncertainty; give the ee without >, or leave --ee-uncertainty out");
        }
        let sd = self.ee_uncertainty.map_or(EXCESS_UNCERTAINTY, Fraction::ratio);
        if sd <= 0.0 {
            return wrong("the uncertainty of an ee must be above zero");
        }
        match MethodExcess::of(stated, sd) {
            Some(excess) => Ok(Some(excess)),
            None => wrong("a lower bound of an ee is above zero; for the other hand give --mirror-image"),
        }
    }
}

/// The compound asked for, or the one whose mirror image a structure is.
fn named(compound: &[String], library: &Library, session: &mut Session) -> Result<(CompoundId, bool), Failure> {
    let text = compound.join(" ");
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
