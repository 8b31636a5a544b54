//! A measured value against the limits of a monograph: the monograph's own rule first, the probability of conformity
//! beside it.
//!
//! [`hold`] brings the value to the basis the limits are stated on, divides by the monograph's factor where it has one,
//! rounds to the digits of the limits and says inside or outside. Where the measurement was not made as the method
//! says, the comparison is shown but nothing is decided. Limits on an observed angle hold in their own tube and are
//! never converted. `conformity.rs` holds JCGM 106:2012, `method.rs` the comparison of conditions, `trend.rs` batches.

mod conformity;
mod method;
mod trend;

pub use conformity::{Acceptance, Conformity, Estimate, Guard, GuardedDecision, conformity, guarded};
pub use method::{Basis, MethodAspect, MethodCheck, ReadingTime, Standing};
pub use trend::{Slope, Trend, trend};

use super::Conditions;
use crate::quantity::{Angle, Length, MolarMass, Printed, SpecificRotation};
use crate::statement::{RotationKind, molar_rotation};
use serde::Serialize;

/// The limits of a monograph and the method they belong to.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct LimitRule {
    /// What the limits are on.
    pub kind: RotationKind,
    /// The low limit; none for "not more than".
    pub low: Option<Printed>,
    /// The high limit; none for "not less than".
    pub high: Option<Printed>,
    /// The conditions of the method; what is not printed is none. The basis stands in `basis`.
    pub conditions: Conditions,
    /// The tube.
    pub path: Option<Length>,
    /// The basis the limits are stated on, as printed.
    pub basis: Option<String>,
    /// When to read, as printed.
    pub time_note: Option<String>,
    /// How to prepare the solution, as printed, where no number says it.
    pub preparation: Option<String>,
    /// The factor the value found is divided by before it is held against the limits.
    pub divide_by: Option<Printed>,
}

/// A mass fraction with its standard uncertainty: water, or loss on drying.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Share {
    /// The fraction of one.
    pub fraction: f64,
    /// Its standard uncertainty.
    pub standard_uncertainty: f64,
}

/// What was measured on a sample.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Sample {
    /// The specific rotation and its standard uncertainty, when one could be made.
    pub specific: Option<(SpecificRotation, SpecificRotation)>,
    /// The observed angle and its standard uncertainty, when an angle was given.
    pub angle: Option<(Angle, Angle)>,
    /// Degrees of freedom of the uncertainty; none when it is not from repeated readings.
    pub degrees_of_freedom: Option<f64>,
    /// Whether the uncertainty rests on defaults and was not stated.
    pub uncertainty_assumed: bool,
    /// The conditions of the measurement. The basis stands in `basis`.
    pub conditions: Conditions,
    /// The tube.
    pub cell: Option<Length>,
    /// The basis of the value, when stated.
    pub basis: Option<Basis>,
    /// Water content of the sample as it is.
    pub water: Option<Share>,
    /// Loss on drying of the sample as it is.
    pub loss_on_drying: Option<Share>,
    /// Minutes from dissolving to reading.
    pub read_after_minutes: Option<f64>,
    /// Molar mass of the compound, for limits on molar rotation.
    pub molar_mass: Option<MolarMass>,
}

/// On which side of the limits a rounded value lies.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "lowercase")]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub enum Side {
    /// On a limit or between them.
    Inside,
    /// Below the low limit.
    Below,
    /// Above the high limit.
    Above,
}

/// What the monograph's own rule says.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub enum LimitOutcome {
    /// The rounded value is within the limits.
    Inside,
    /// It is not.
    Outside,
    /// The measurement was not made as the method says, or the method is not known well enough.
    NotDecided,
}

impl LimitOutcome {
    /// The word it is exchanged by.
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Inside => "inside",
            Self::Outside => "outside",
            Self::NotDecided => "not-decided",
        }
    }
}

/// One step from the value as measured to the value that is held against the limits.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct Step {
    /// What was done, in words.
    pub what: String,
    /// The value after it.
    pub value: f64,
    /// Its standard uncertainty.
    pub standard_uncertainty: f64,
}

/// A value held against limits.
#[derive(Clone, Debug, PartialEq)]
pub struct Held {
    /// What the monograph's own rule says.
    pub outcome: LimitOutcome,
    /// Side of the rounded value, also where nothing is decided; none when no value could be made.
    pub side: Option<Side>,
    /// Why nothing is decided, one sentence each.
    pub reasons: Vec<String>,
    /// The steps from the value as measured, the last with the value that is rounded.
    pub steps: Vec<Step>,
    /// The value in the digits of the limits.
    pub rounded: Option<Printed>,
    /// The probability of conformity of the value before rounding.
    pub conformity: Option<Conformity>,
    /// The guard-banded decision, when asked for.
    pub guarded: Option<GuardedDecision>,
    /// The measurement against the method, aspect by aspect.
    pub method: Vec<MethodCheck>,
    /// What to bear in mind, one sentence each.
    pub notes: Vec<String>,
}

/// Holds a sample against limits. `guard` asks for a guard-banded decision.
pub fn hold(rule: &LimitRule, sample: &Sample, guard: Option<Guard>) -> Held {
    let mut held = Held {
        outcome: LimitOutcome::NotDecided,
        side: None,
        reasons: Vec::new(),
        steps: Vec::new(),
        rounded: None,
        conformity: None,
        guarded: None,
        method: method::compare(rule, sample),
        notes: Vec::new(),
    };
    let estimate = match value_held(rule, sample, &mut held) {
        Ok(estimate) => estimate,
        Err(reason) => {
            held.reasons.push(reason);
            return held;
        }
    };
    let rounded = round_to_limits(estimate.value, rule);
    let side = side_of(rounded.value(), rule);
    let result = conformity(&estimate, bounds(rule));
    held.reasons.extend(
        held.method
            .iter()
            .filter(|check| check.standing == Standing::Differs)
            .map(|check| check.sentence.clone()),
    );
    held.outcome = match side {
        _ if !held.reasons.is_empty() => LimitOutcome::NotDecided,
        Side::Inside => LimitOutcome::Inside,
        Side::Below | Side::Above => LimitOutcome::Outside,
    };
    // A guard band decides nothing that the monograph's own rule leaves open.
    held.guarded = guard
        .filter(|_| held.outcome != LimitOutcome::NotDecided)
        .map(|guard| guarded(&estimate, bounds(rule), guard));
    notes(rule, &estimate, rounded, side, &mut held.notes);
    if result.capability_index.is_some_and(|index| index < 1.0) {
        held.notes.push(
            "The limits are narrower than four standard uncertainties of the measurement: it can hardly tell inside from \
             outside."
                .to_owned(),
        );
    }
    if sample.uncertainty_assumed {
        held.notes.push(
            "The uncertainty rests on the program's defaults: it moves the probability, not the monograph's own rule. \
             State your own."
                .to_owned(),
        );
    }
    held.side = Some(side);
    held.rounded = Some(rounded);
    held.conformity = Some(result);
    held
}

/// The limits as numbers, unbounded where one is missing.
fn bounds(rule: &LimitRule) -> [f64; 2] {
    [
        rule.low.map_or(f64::NEG_INFINITY, Printed::value),
        rule.high.map_or(f64::INFINITY, Printed::value),
    ]
}

/// The value on the monograph's basis and divided by its factor; the steps are noted.
fn value_held(rule: &LimitRule, sample: &Sample, held: &mut Held) -> Result<Estimate, String> {
    let mut estimate = match rule.kind {
        RotationKind::Observed => {
            let (angle, u) = sample.angle.ok_or(
                "The limits are on the observed angle; a specific rotation is never turned into one. Give the angle as \
                 read in the stated tube.",
            )?;
            Estimate::new(angle.degrees(), u.degrees(), sample.degrees_of_freedom)
        }
        RotationKind::Specific | RotationKind::Molar => {
            let (value, u) = sample.specific.ok_or(
                "The limits are on the specific rotation; an angle alone does not make one. Give the cell and the \
                 concentration.",
            )?;
            Estimate::new(value.conventional(), u.conventional(), sample.degrees_of_freedom)
        }
    };
    let mut step = |what: String, estimate: &Estimate| {
        held.steps.push(Step {
            what,
            value: estimate.value,
            standard_uncertainty: estimate.standard_uncertainty,
        });
    };
    step("as measured".to_owned(), &estimate);
    if rule.kind == RotationKind::Molar {
        let mass = sample
            .molar_mass
            .ok_or("The limits are on the molar rotation, and the molar mass of the compound is not known here.")?;
        let molar = |x: f64| molar_rotation(SpecificRotation::from_conventional(x), mass).conventional();
        estimate.value = molar(estimate.value);
        estimate.standard_uncertainty = molar(estimate.standard_uncertainty);
        step(format!("as molar rotation, with {mass}"), &estimate);
    }
    if rule.kind != RotationKind::Observed
        && let Some(words) = method::to_basis(rule, sample, &mut estimate)?
    {
        step(words, &estimate);
    }
    if let Some(factor) = rule.divide_by.filter(|factor| factor.value() != 0.0) {
        estimate.value /= factor.value();
        estimate.standard_uncertainty /= factor.value().abs();
        step(format!("divided by {factor}, as the monograph says"), &estimate);
    }
    Ok(estimate)
}

/// The value in the digits of the limits, the more precise of the two; a half is rounded away from zero, which is the
/// rule of the pharmacopoeias' general notices (common practice).
fn round_to_limits(value: f64, rule: &LimitRule) -> Printed {
    let decimals = [rule.low, rule.high]
        .into_iter()
        .flatten()
        .map(Printed::decimals)
        .max()
        .unwrap_or(0);
    let factor = 10f64.powi(i32::from(decimals));
    let scaled = (value * factor).abs();
    // A half that binary arithmetic missed by its last bits is still a half.
    let whole = (scaled + 0.5 + 1e-9 * scaled.max(1.0)).floor();
    Printed::new(
        if whole == 0.0 {
            0.0
        } else {
            whole.copysign(value) / factor
        },
        decimals,
    )
}

fn side_of(value: f64, rule: &LimitRule) -> Side {
    let near = |limit: Printed| 1e-9 * limit.value().abs().max(1.0);
    match (rule.low, rule.high) {
        (Some(low), _) if value < low.value() - near(low) => Side::Below,
        (_, Some(high)) if value > high.value() + near(high) => Side::Above,
        _ => Side::Inside,
    }
}

fn notes(rule: &LimitRule, estimate: &Estimate, rounded: Printed, side: Side, notes: &mut Vec<String>) {
    let unrounded = side_of(estimate.value, rule);
    if unrounded != side {
        notes.push(
            "Rounding decides here: the value before rounding lies on the other side of the limit. The probability of \
             conformity is that of the value before rounding."
                .to_owned(),
        );
    }
    if side != Side::Inside && side_of(-rounded.value(), rule) == Side::Inside && rounded.value() != 0.0 {
        notes.push(
            "With the other sign the value would lie inside: look for a lost or added minus, or the other hand."
                .to_owned(),
        );
    }
    let [low, high] = bounds(rule);
    if low < 0.0 && high > 0.0 {
        notes.push(
            "Limits around zero say that the sample rotates little; a racemate, an achiral substance and an empty cell \
             all pass."
                .to_owned(),
        );
    }
    if rule.low.is_none() || rule.high.is_none() {
        notes.push("The limit is one-sided: nothing bounds the value on the other side.".to_owned());
    }
}

#[cfg(test)]
mod tests;
