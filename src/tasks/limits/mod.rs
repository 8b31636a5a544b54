//! Holds a measurement, or a series of batches, against the limits the library has of a compound.

mod batches;

pub use batches::{
    Batch, BatchError, BatchLimits, BatchShown, LimitsTrend, RefusedBatch, batch_limits, read_batches, share,
};

use crate::compare::Conditions;
use crate::compare::limits::{
    Conformity, Guard, GuardedDecision, Held, LimitOutcome, LimitRule, MethodCheck, Sample, Side, Standing, Step, hold,
};
use crate::library::{Compound, CompoundId, Entry, EntryKind, Identity, Library, LibraryError, ReviewState};
use crate::measurement::{Amount, Defaults, from_angle, of_value, stated};
use crate::quantity::{Angle, MolarMass, Printed, SpecificRotation};
use crate::statement::{RotationKind, Sign, Statement};
use serde::Serialize;

/// What a limits result is and is not; said with every one.
pub const AID: &str = "This is an aid: the official text in force and licensed practice decide on release.";

/// A measurement to be held against the limits of its compound.
#[derive(Clone, Debug)]
pub struct LimitsRequest {
    /// The compound.
    pub compound: CompoundId,
    /// What was measured.
    pub sample: Sample,
    /// A guard-banded decision beside the monograph's own rule.
    pub guard: Option<Guard>,
}

/// The compound of a result.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct LimitsCompound {
    /// Its number in this library file.
    pub compound: i64,
    /// Preferred name.
    pub name: String,
}

/// A set of limits as the library holds it.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct LimitsShown {
    /// Number of the entry in this library file.
    pub entry: i64,
    /// Where the limits are published.
    pub source: String,
    /// The substance as the source names it.
    pub substance: Option<String>,
    /// What the limits are on: specific, observed, molar.
    pub kind: RotationKind,
    /// The low limit as printed.
    pub low: Option<String>,
    /// The high limit as printed.
    pub high: Option<String>,
    /// The basis as printed.
    pub basis: Option<String>,
    /// The factor the value found is divided by, as printed.
    pub divide_by: Option<String>,
    /// How the figure was seen by the person who keyed it.
    pub seen: Option<String>,
    /// Review state.
    pub state: String,
    /// Doubts of the reader.
    pub doubts: Vec<String>,
}

/// The answer of one set of limits.
#[derive(Clone, Debug, Serialize)]
pub struct MonographAnswer {
    /// The limits.
    pub limits: LimitsShown,
    /// What the monograph's own rule says: inside, outside, not-decided.
    pub outcome: LimitOutcome,
    /// The rule of that decision, by name.
    pub decision_rule: &'static str,
    /// Side of the rounded value, also where nothing is decided.
    pub side: Option<Side>,
    /// Why nothing is decided.
    pub reasons: Vec<String>,
    /// What the result holds provided that: aspects the method states and the measurement does not.
    pub provided: Vec<String>,
    /// From the value as measured to the value that is rounded.
    pub steps: Vec<Step>,
    /// The value in the digits of the limits.
    pub rounded: Option<String>,
    /// The probability of conformity, before rounding.
    pub conformity: Option<Conformity>,
    /// The guard-banded decision.
    pub guarded: Option<GuardedDecision>,
    /// The measurement against the method.
    pub method: Vec<MethodCheck>,
    /// What to bear in mind.
    pub notes: Vec<String>,
}

/// A measurement held against every set of limits of its compound.
#[derive(Clone, Debug, Serialize)]
pub struct LimitsResult {
    /// The compound.
    pub compound: LimitsCompound,
    /// One answer for each set of limits.
    pub monographs: Vec<MonographAnswer>,
    /// What the result is and is not.
    pub caution: &'static str,
}

/// The name of the monograph's own rule.
pub const OWN_RULE: &str =
    "simple acceptance of the value rounded to the digits of the limits (the monograph's own rule)";

/// Holds a measurement against every set of limits of its compound.
///
/// # Errors
/// When the library holds no such compound, or fails.
pub fn limits(library: &Library, request: &LimitsRequest) -> Result<LimitsResult, LibraryError> {
    let compound = library.compound(request.compound)?;
    let monographs = monographs(library, &compound)?
        .iter()
        .map(|monograph| monograph.answer(&request.sample, request.guard))
        .collect();
    Ok(LimitsResult {
        compound: shown_compound(&compound),
        monographs,
        caution: AID,
    })
}

fn shown_compound(compound: &Compound) -> LimitsCompound {
    LimitsCompound {
        compound: compound.id.0,
        name: compound.name.clone(),
    }
}

/// A set of limits with what speaks against deciding by it.
pub(super) struct Monograph {
    shown: LimitsShown,
    rule: LimitRule,
    reasons: Vec<String>,
    notes: Vec<String>,
}

/// Every set of limits of a compound that is not withdrawn.
pub(super) fn monographs(library: &Library, compound: &Compound) -> Result<Vec<Monograph>, LibraryError> {
    library
        .entries(compound.id)?
        .into_iter()
        .filter(|entry| entry.kind == EntryKind::Specification && entry.state != ReviewState::Withdrawn)
        .map(|entry| {
            let source = library.source(entry.source)?;
            Ok(Monograph::of(&entry, source.citation, compound.molar_mass))
        })
        .collect()
}

impl Monograph {
    fn of(entry: &Entry, source: String, molar_mass: Option<MolarMass>) -> Self {
        let statement = &entry.statement;
        let [low, high] = printed_limits(statement);
        let method = entry.method.clone().unwrap_or_default();
        let (mut reasons, mut notes) = (Vec::new(), Vec::new());
        if low.is_none() && high.is_none() {
            reasons.push("The entry holds no limit, only a value.".to_owned());
        }
        if statement.sign != Sign::Stated {
            reasons.push("The sign of the limits is not printed; look it up in the official text.".to_owned());
        }
        // A figure from memory decides nothing.
        let from_memory =
            entry.seen.as_deref() == Some("no") || statement.doubts.iter().any(|it| it.contains("from memory"));
        if from_memory {
            reasons.push("A limit was keyed from memory; look it up in the official text.".to_owned());
        }
        if entry.identity == Identity::Unclear {
            reasons.push("It is not clear that these limits are of this compound.".to_owned());
        }
        if let Some(reason) = &entry.kept_out {
            reasons.push(format!("The entry is marked as wrong: {reason}."));
        }
        if entry.state == ReviewState::Draft {
            notes.push("These limits are a draft: nobody has confirmed them.".to_owned());
        }
        if entry.identity == Identity::Likely {
            notes.push(format!(
                "The limits were matched to the compound by the name \"{}\".",
                entry.substance.as_deref().unwrap_or_default()
            ));
        }
        notes.extend(statement.doubts.iter().cloned());
        Self {
            rule: LimitRule {
                kind: statement.kind,
                low,
                high,
                conditions: Conditions {
                    basis: None,
                    ..Conditions::of(statement, molar_mass)
                },
                path: statement.path,
                basis: statement.basis.clone(),
                time_note: statement.time_note.clone(),
                preparation: method.preparation,
                divide_by: method.divide_by,
            },
            shown: LimitsShown {
                entry: entry.id.0,
                source,
                substance: entry.substance.clone(),
                kind: statement.kind,
                low: low.map(|it| it.to_string()),
                high: high.map(|it| it.to_string()),
                basis: statement.basis.clone(),
                divide_by: method.divide_by.map(|it| it.to_string()),
                seen: entry.seen.clone(),
                state: entry.state.to_string(),
                doubts: statement.doubts.clone(),
            },
            reasons,
            notes,
        }
    }

    fn answer(&self, sample: &Sample, guard: Option<Guard>) -> MonographAnswer {
        let mut held: Held = hold(&self.rule, sample, guard);
        if !self.reasons.is_empty() {
            held.outcome = LimitOutcome::NotDecided;
            held.guarded = None;
            held.reasons.extend(self.reasons.iter().cloned());
        }
        held.notes.extend(self.notes.iter().cloned());
        MonographAnswer {
            limits: self.shown.clone(),
            outcome: held.outcome,
            decision_rule: OWN_RULE,
            side: held.side,
            reasons: held.reasons,
            provided: held
                .method
                .iter()
                .filter(|check| check.standing == Standing::NotGiven)
                .filter_map(|check| {
                    let method = check.method.as_ref()?;
                    Some(format!("{} {method}", check.aspect.as_str()))
                })
                .collect(),
            steps: held.steps,
            rounded: held.rounded.map(|it| it.to_string()),
            conformity: held.conformity,
            guarded: held.guarded,
            method: held.method,
            notes: held.notes,
        }
    }
}

/// The limits of a statement: a printed range, one end of it, or a value with a printed tolerance.
fn printed_limits(statement: &Statement) -> [Option<Printed>; 2] {
    match (statement.value, statement.plus_minus) {
        (Some(value), Some(tolerance)) if statement.low.is_none() && statement.high.is_none() => {
            let decimals = value.decimals().max(tolerance.decimals());
            [-1.0, 1.0].map(|side| Some(Printed::new(value.value() + side * tolerance.value(), decimals)))
        }
        _ => [statement.low, statement.high],
    }
}

/// What was read: a specific rotation, or an angle.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Reading {
    /// A specific rotation.
    Value(Printed),
    /// An observed angle.
    Angle(Angle),
}

/// Puts a reading into a sample that says how it was measured: an angle gives a specific rotation too where cell and
/// concentration (or the density of a neat liquid) are known.
pub fn with_reading(mut sample: Sample, reading: Reading, uncertainty: Option<f64>, amount: Option<Amount>) -> Sample {
    let defaults = Defaults::built_in();
    sample.uncertainty_assumed = uncertainty.is_none();
    match reading {
        Reading::Value(value) => {
            let rotation = SpecificRotation::from_conventional(value.value());
            let concentration = sample.conditions.concentration;
            let reduced = match uncertainty {
                Some(u) => stated(rotation, SpecificRotation::from_conventional(u), concentration),
                None => of_value(rotation, value.half_last_digit(), concentration, sample.cell, &defaults),
            };
            sample.degrees_of_freedom = reduced.degrees_of_freedom;
            sample.specific = Some((reduced.value, reduced.uncertainty));
        }
        Reading::Angle(angle) => {
            let u = uncertainty.map(Angle::from_degrees);
            sample.angle = Some((angle, u.unwrap_or(Angle::from_degrees(defaults.angle_degrees))));
            sample.specific = sample.cell.zip(amount).map(|(cell, amount)| {
                let reduced = from_angle(angle, u, cell, amount, &defaults);
                (reduced.value, reduced.uncertainty)
            });
        }
    }
    sample
}
