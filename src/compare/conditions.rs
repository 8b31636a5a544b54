//! Conditions of a measurement and of a reference, aspect by aspect.

use super::effects::{Case, EffectTable};
use super::lines::LineStep;
use crate::quantity::{Concentration, SpectralLine, Temperature};
use crate::solvent::{Kinship, Solvent, kinship};
use crate::statement::Stage;
use serde::{Deserialize, Serialize};
use std::f64::consts::FRAC_1_SQRT_2;

/// An aspect in which conditions can differ.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub enum Aspect {
    /// Solvent, or neat.
    Solvent,
    /// Mass concentration.
    Concentration,
    /// Temperature.
    Temperature,
    /// Wavelength.
    Line,
    /// Salt, hydrate, base.
    Form,
    /// Stage of a mutarotating solution.
    Stage,
    /// Basis: dried, anhydrous.
    Basis,
    /// The source.
    Source,
}

/// The conditions a specific rotation holds at; what is not known is none.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Conditions {
    /// Temperature.
    pub temperature: Option<Temperature>,
    /// Light.
    pub line: Option<SpectralLine>,
    /// Solvent, or neat.
    pub solvent: Option<Solvent>,
    /// Concentration.
    pub concentration: Option<Concentration>,
    /// Stage of a mutarotating solution.
    pub stage: Option<Stage>,
    /// Basis.
    pub basis: Option<String>,
}

/// How the form of a reference (what was weighed) stands to the form measured.
#[derive(Clone, Debug, PartialEq)]
pub enum FormLink {
    /// The same.
    Same,
    /// The same substance with or without solvate water: exact by molar mass, `[α] → [α] · factor`.
    Hydrate {
        /// Molar mass of the reference's form over that of the form measured.
        factor: f64,
    },
    /// A salt of the same base or acid, or the base itself: scaled by molar mass, with a large transfer uncertainty.
    Salt {
        /// Molar mass of the reference's form over that of the form measured.
        factor: f64,
    },
    /// Not known on one side.
    Unknown,
}

/// How large a difference is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub enum Size {
    /// No difference.
    None,
    /// Moves the value by less than 5 %, one standard deviation.
    Small,
    /// Moves the value by 5 % or more, one standard deviation.
    Large,
    /// Not known on one side or both.
    Unknown,
}

/// A difference of conditions in one aspect, with what it may do to the value.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct Difference {
    /// The aspect.
    pub aspect: Aspect,
    /// The condition of the measurement, in print form.
    pub measured: Option<String>,
    /// The condition of the reference, in print form.
    pub reference: Option<String>,
    /// How large the difference is.
    pub size: Size,
    /// Standard deviation of the effect relative to the rotation's size, a fraction.
    pub relative_effect: f64,
    /// The row of the table of effects that applies; none where nothing differs.
    #[serde(skip)]
    pub case: Option<Case>,
}

/// Relative effect from which a difference counts as large.
const LARGE_EFFECT: f64 = 0.05;

/// Standard deviation of a failed transfer in units of the scale m: another sign or another size.
const FAILED: f64 = 3.0;

/// A shared draw: its group and the coefficient it enters a reference with, deg mL g⁻¹ dm⁻¹.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Transfer {
    pub group: (Aspect, String),
    pub sd: f64,
    /// Probability that the transfer fails altogether.
    pub failure: f64,
    /// Standard deviation of a transfer that fails, deg mL g⁻¹ dm⁻¹.
    pub failed: f64,
}

/// What separates a reference from the measurement.
#[derive(Clone, Debug)]
pub(super) struct Transfers {
    /// Factor that takes the reference's value to the measurement's line and form.
    pub factor: f64,
    /// Shared draws.
    pub shared: Vec<Transfer>,
    /// The same, to show.
    pub differences: Vec<Difference>,
}

/// Sets a reference's conditions against those of the measurement, at the scale m (deg mL g⁻¹ dm⁻¹).
///
/// # Errors
/// A sentence on why the two cannot be compared at all.
pub(super) fn transfers(
    measured: &Conditions,
    reference: &Conditions,
    form: &FormLink,
    line: &LineStep,
    effects: &EffectTable,
    scale: f64,
) -> Result<Transfers, (String, Vec<Difference>)> {
    let mut made = Transfers {
        factor: 1.0,
        shared: Vec::new(),
        differences: Vec::new(),
    };
    let relative = |sd: f64| sd / scale;

    // Solvent: one draw per solvent of the references. Where the measurement's own is not known, half the variance of a
    // solvent that is not known is its own and shared by all references: they may agree and all be far from it.
    let (case, row) = solvent_case(measured.solvent.as_ref(), reference.solvent.as_ref());
    let group = match (case, &reference.solvent) {
        (None, _) => String::new(),
        (_, Some(b)) => b.to_string(),
        (_, None) => "not printed".to_owned(),
    };
    let sd = row.map_or(0.0, |row| effects.sd(Aspect::Solvent, row, scale));
    let not_given = if measured.solvent.is_none() {
        FRAC_1_SQRT_2 * effects.sd(Aspect::Solvent, Case::Unknown, scale).min(sd)
    } else {
        0.0
    };
    made.push(
        Aspect::Solvent,
        measured.solvent.as_ref().map(ToString::to_string),
        reference.solvent.as_ref().map(ToString::to_string),
        case,
        group,
        (sd * sd - not_given * not_given).sqrt(),
        relative(sd),
    );
    if let (Some(row), Some(made)) = (row, made.shared.last_mut()) {
        made.failure = effects.failure(Aspect::Solvent, row);
        // A solvent that was not printed may be one of another class.
        made.failed = match row {
            Case::Unknown => effects.sd(Aspect::Solvent, Case::Other, scale),
            _ => FAILED * scale,
        };
    }
    if not_given > 0.0 {
        made.shared.push(Transfer {
            group: (Aspect::Solvent, "not given".to_owned()),
            sd: not_given,
            failure: 0.0,
            failed: 0.0,
        });
    }

    // Temperature: one slope for the compound, times the difference in kelvin.
    let show = |t: Temperature| format!("{} °C", t.celsius());
    let (case, group, sd) = match (measured.temperature, reference.temperature) {
        (Some(a), Some(b)) => {
            let kelvins = b.celsius() - a.celsius();
            let case = if kelvins == 0.0 { None } else { Some(Case::Differs) };
            (
                case,
                "slope",
                kelvins * effects.sd(Aspect::Temperature, Case::Differs, scale),
            )
        }
        (Some(_), None) => (
            Some(Case::Unknown),
            "not printed",
            effects.sd(Aspect::Temperature, Case::Unknown, scale),
        ),
        (None, _) => (
            Some(Case::Unknown),
            "not given",
            effects.sd(Aspect::Temperature, Case::Unknown, scale),
        ),
    };
    made.push(
        Aspect::Temperature,
        measured.temperature.map(show),
        reference.temperature.map(show),
        case,
        group.to_owned(),
        sd,
        relative(sd.abs()),
    );

    // Concentration: one slope for the compound, times the logarithm of the ratio.
    let show = |c: Concentration| format!("c {}", round_for_show(c.grams_per_100_millilitres()));
    let neat = |conditions: &Conditions| {
        conditions
            .solvent
            .as_ref()
            .is_some_and(|solvent| *solvent == Solvent::Neat)
    };
    let (case, group, sd) = match (measured.concentration, reference.concentration) {
        _ if neat(measured) && neat(reference) => (None, "", 0.0),
        (Some(a), Some(b)) => {
            let ratio = (b.grams_per_100_millilitres() / a.grams_per_100_millilitres()).ln();
            let case = if ratio.abs() < 1e-9 { None } else { Some(Case::Differs) };
            (
                case,
                "slope",
                ratio * effects.sd(Aspect::Concentration, Case::Differs, scale),
            )
        }
        (Some(_), None) => (
            Some(Case::Unknown),
            "not printed",
            effects.sd(Aspect::Concentration, Case::Unknown, scale),
        ),
        (None, _) => (
            Some(Case::Unknown),
            "not given",
            effects.sd(Aspect::Concentration, Case::Unknown, scale),
        ),
    };
    made.push(
        Aspect::Concentration,
        measured.concentration.map(show),
        reference.concentration.map(show),
        case,
        group.to_owned(),
        sd,
        relative(sd.abs()),
    );

    made.line(measured.line.as_ref(), reference.line.as_ref(), line, effects, scale)?;

    match form {
        FormLink::Same => {}
        FormLink::Hydrate { factor } => made.factor *= factor,
        FormLink::Salt { factor } => {
            made.factor *= factor;
            let sd = effects.sd(Aspect::Form, Case::Salt, scale);
            made.push(
                Aspect::Form,
                None,
                None,
                Some(Case::Salt),
                "salt".to_owned(),
                sd,
                relative(sd),
            );
            if let Some(made) = made.shared.last_mut() {
                made.failure = effects.failure(Aspect::Form, Case::Salt);
                made.failed = FAILED * scale;
            }
        }
        FormLink::Unknown => {
            let sd = effects.sd(Aspect::Form, Case::Unknown, scale);
            made.push(
                Aspect::Form,
                None,
                None,
                Some(Case::Unknown),
                "unknown".to_owned(),
                sd,
                relative(sd),
            );
        }
    }

    made.stage(measured.stage, reference.stage, effects, scale)?;

    if measured.basis != reference.basis {
        let both = measured.basis.is_some() && reference.basis.is_some();
        let case = if both { Case::Differs } else { Case::Unknown };
        let sd = effects.sd(Aspect::Basis, case, scale);
        let group = reference.basis.clone().unwrap_or_else(|| "not printed".to_owned());
        made.push(
            Aspect::Basis,
            measured.basis.clone(),
            reference.basis.clone(),
            Some(case),
            group,
            sd,
            relative(sd),
        );
    }
    Ok(made)
}

/// How two solvents stand to each other, none where they are the same; and the row of the table of effects that applies.
///
/// An acid or a base is hardly ever left unprinted: a missing solvent against one of these is as far as another species.
pub(super) fn solvent_case(a: Option<&Solvent>, b: Option<&Solvent>) -> (Option<Case>, Option<Case>) {
    match (a, b) {
        (Some(a), Some(b)) => {
            let case = match kinship(a, b) {
                Kinship::Same => None,
                Kinship::Kindred => Some(Case::Kindred),
                Kinship::Other if ionises(a) || ionises(b) => Some(Case::Ionising),
                Kinship::Other => Some(Case::Other),
            };
            (case, case)
        }
        (Some(one), None) | (None, Some(one)) if ionises(one) => (Some(Case::Unknown), Some(Case::Ionising)),
        _ => (Some(Case::Unknown), Some(Case::Unknown)),
    }
}

/// Whether a solvent makes another species of an ionisable solute.
fn ionises(solvent: &Solvent) -> bool {
    matches!(solvent, Solvent::Buffer(_)) || solvent.substances().into_iter().any(crate::solvent::Substance::ionises)
}

impl Transfers {
    #[expect(
        clippy::too_many_arguments,
        reason = "one call per aspect, each argument a column of the difference"
    )]
    fn push(
        &mut self,
        aspect: Aspect,
        measured: Option<String>,
        reference: Option<String>,
        case: Option<Case>,
        group: String,
        sd: f64,
        relative_effect: f64,
    ) {
        let size = match case {
            None => Size::None,
            Some(Case::Unknown) => Size::Unknown,
            Some(_) if relative_effect >= LARGE_EFFECT => Size::Large,
            Some(_) => Size::Small,
        };
        if sd != 0.0 {
            self.shared.push(Transfer {
                group: (aspect, group),
                sd,
                failure: 0.0,
                failed: 0.0,
            });
        }
        self.differences.push(Difference {
            aspect,
            measured,
            reference,
            size,
            relative_effect,
            case,
        });
    }

    fn line(
        &mut self,
        measured: Option<&SpectralLine>,
        reference: Option<&SpectralLine>,
        step: &LineStep,
        effects: &EffectTable,
        scale: f64,
    ) -> Result<(), (String, Vec<Difference>)> {
        let show = |line: Option<&SpectralLine>| {
            line.map(|line| match line {
                SpectralLine::At(wavelength) => wavelength.to_string(),
                other => other.to_string(),
            })
        };
        match step {
            LineStep::Unknown => {
                let sd = effects.sd(Aspect::Line, Case::Unknown, scale);
                let is_given = measured.is_some_and(|line| line.wavelength().is_some());
                let group = if is_given { "not printed" } else { "not given" };
                self.push(
                    Aspect::Line,
                    show(measured),
                    show(reference),
                    Some(Case::Unknown),
                    group.to_owned(),
                    sd,
                    sd / scale,
                );
                Ok(())
            }
            LineStep::Same => {
                self.push(
                    Aspect::Line,
                    show(measured),
                    show(reference),
                    None,
                    String::new(),
                    0.0,
                    0.0,
                );
                Ok(())
            }
            LineStep::Converted(made) => {
                self.factor *= made.factor;
                let relative_sd = made.signed_relative();
                self.push(
                    Aspect::Line,
                    show(measured),
                    show(reference),
                    Some(Case::Differs),
                    made.group(),
                    relative_sd * scale,
                    relative_sd.abs(),
                );
                Ok(())
            }
            LineStep::Refused(reason) => {
                self.differences.push(Difference {
                    aspect: Aspect::Line,
                    measured: show(measured),
                    reference: show(reference),
                    size: Size::Large,
                    relative_effect: 1.0,
                    case: Some(Case::Differs),
                });
                Err((reason.clone(), std::mem::take(&mut self.differences)))
            }
        }
    }

    fn stage(
        &mut self,
        measured: Option<Stage>,
        reference: Option<Stage>,
        effects: &EffectTable,
        scale: f64,
    ) -> Result<(), (String, Vec<Difference>)> {
        let show = |stage: Option<Stage>| {
            stage.map(|stage| match stage {
                Stage::Initial => "initial".to_owned(),
                Stage::Final => "equilibrium".to_owned(),
            })
        };
        let refused = |reason: &str, mut differences: Vec<Difference>| {
            differences.push(Difference {
                aspect: Aspect::Stage,
                measured: show(measured),
                reference: show(reference),
                size: Size::Large,
                relative_effect: 1.0,
                case: Some(Case::Differs),
            });
            Err((reason.to_owned(), differences))
        };
        match (measured, reference) {
            (a, b) if a == b => Ok(()),
            (Some(_), Some(_)) => refused(
                "another stage of mutarotation (initial against equilibrium)",
                std::mem::take(&mut self.differences),
            ),
            // A stage that is not printed is that of equilibrium, or the substance does not mutarotate (common practice).
            (Some(Stage::Initial), None) | (None, Some(Stage::Initial)) => refused(
                if reference.is_some() {
                    "an initial value of a mutarotating solution; the measurement does not say its stage (--stage \
                     initial)"
                } else {
                    "its stage of mutarotation is not printed and is taken as equilibrium; the measurement is an initial \
                     value"
                },
                std::mem::take(&mut self.differences),
            ),
            _ => {
                let sd = effects.sd(Aspect::Stage, Case::Unknown, scale);
                self.push(
                    Aspect::Stage,
                    show(measured),
                    show(reference),
                    Some(Case::Unknown),
                    "not printed".to_owned(),
                    sd,
                    sd / scale,
                );
                Ok(())
            }
        }
    }
}

/// A number in three significant digits, without trailing zeros.
fn round_for_show(value: f64) -> String {
    if value == 0.0 || !value.is_finite() {
        return value.to_string();
    }
    let digits = (2.0 - value.abs().log10().floor()).clamp(0.0, 6.0);
    let factor = 10f64.powf(digits);
    format!("{}", (value * factor).round() / factor)
}
