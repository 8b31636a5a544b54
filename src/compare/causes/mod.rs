//! Why a measured value may not be the one expected: the usual slips as competing hypotheses. Pure.
//!
//! Each hypothesis h says how the reported value x comes from y, what a right measurement of a sample as good as those of
//! the references would have read: x = f y (a wrong cell, unit, form, line, hand), x = y + s (a turn, a blank), x = p y with p from a
//! proper prior density (partial optical purity, dilution), or x has nothing to do with y (another stereoisomer, a suspect
//! reference). The reference's posterior gives the density of y; the marginal likelihood of x under each hypothesis times
//! its prior weight (`data/causes.toml`), brought to a sum of 1, is its probability. Bayes' theorem over a closed list:
//! a slip that is not on the list is not found, and two slips at once are not tried.
//!
//! Hypotheses with one corrected value form a class, since no arithmetic on this value can tell them apart: a cell of
//! 10 mm for one of 100 mm and a concentration ten times off, or partial purity and dilution. Classes are ranked; what would
//! tell the members apart stands with each.
//!
//! Not for: repairing a value. Nothing is corrected in silence. Start reading at [`causes`], then `hypotheses.rs`.

mod hypotheses;
mod likelihood;
mod settings;
mod words;

pub use likelihood::{Isomer, values_of_isomer};
pub use settings::{CauseSetting, CauseTable, CauseTableError, CommonForm};

use super::conditions::Conditions;
use super::effects::{Case, EffectTable};
use super::judge::Measured;
use super::lines::OwnLine;
use super::pool::Pooling;
use crate::compare::Aspect;
use crate::quantity::{Angle, Length, MolarMass, SpecificRotation};
use hypotheses::{Hypothesis, Kind};
use likelihood::Expected;
use serde::{Deserialize, Serialize};

/// The causes, by the code they are exchanged with.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub enum CauseCode {
    /// The value as it is, consistent with the references.
    None,
    /// The sample is not enantiopure.
    PartialPurity,
    /// The other enantiomer, or a lost sign.
    OppositeHand,
    /// Another cell than the one entered.
    CellLength,
    /// Concentration in another unit than the one entered.
    ConcentrationUnit,
    /// An angle given as a specific rotation, or the other way round.
    AngleAsSpecific,
    /// Off by n·180°.
    HalfTurn,
    /// Sugar degrees given as degrees.
    SugarDegrees,
    /// Molar rotation given as specific rotation.
    MolarAsSpecific,
    /// Blank added where it was to be subtracted.
    BlankSign,
    /// Another salt or hydrate weighed.
    OtherForm,
    /// Read at another line.
    OtherLine,
    /// Not at the stage of mutarotation stated.
    NotAtEquilibrium,
    /// Another stereoisomer.
    OtherStereoisomer,
    /// Residual solvent, water or another inactive admixture.
    Diluted,
    /// The references are wrong, or do not hold at these conditions.
    ReferenceSuspect,
}

impl CauseCode {
    /// All codes.
    pub const ALL: [Self; 16] = [
        Self::None,
        Self::PartialPurity,
        Self::OppositeHand,
        Self::CellLength,
        Self::ConcentrationUnit,
        Self::AngleAsSpecific,
        Self::HalfTurn,
        Self::SugarDegrees,
        Self::MolarAsSpecific,
        Self::BlankSign,
        Self::OtherForm,
        Self::OtherLine,
        Self::NotAtEquilibrium,
        Self::OtherStereoisomer,
        Self::Diluted,
        Self::ReferenceSuspect,
    ];

    /// The code as it is exchanged.
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::None => "none",
            Self::PartialPurity => "partial-purity",
            Self::OppositeHand => "opposite-hand",
            Self::CellLength => "cell-length",
            Self::ConcentrationUnit => "concentration-unit",
            Self::AngleAsSpecific => "angle-as-specific",
            Self::HalfTurn => "half-turn",
            Self::SugarDegrees => "sugar-degrees",
            Self::MolarAsSpecific => "molar-as-specific",
            Self::BlankSign => "blank-sign",
            Self::OtherForm => "other-form",
            Self::OtherLine => "other-line",
            Self::NotAtEquilibrium => "not-at-equilibrium",
            Self::OtherStereoisomer => "other-stereoisomer",
            Self::Diluted => "diluted",
            Self::ReferenceSuspect => "reference-suspect",
        }
    }
}

/// A cause with its probability.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct Cause {
    /// Its code; one code may stand in several classes (a cell of 50 mm, a cell of 200 mm).
    pub code: CauseCode,
    /// Its class, counted from 1, the most probable first. Members of a class give the same corrected value.
    pub class: usize,
    /// Posterior probability; the probabilities of all causes sum to 1.
    pub probability: f64,
    /// What the value would be without this slip, deg mL g⁻¹ dm⁻¹.
    pub corrected_value: f64,
    /// What it means, in a sentence.
    pub sentence: String,
    /// The measurement or look-up that would tell it from the others.
    pub how_to_tell: String,
}

/// Another form of the compound that the library knows.
#[derive(Clone, Debug, PartialEq)]
pub struct KnownForm {
    /// Its name.
    pub name: String,
    /// Molar mass of the form measured over that of this form, both per molecule of the parent.
    pub factor: f64,
    /// Whether it differs by water alone.
    pub is_hydrate: bool,
}

/// What is known of the measurement and the compound beyond the value and the references.
#[derive(Clone, Debug, Default)]
pub struct CauseContext {
    /// The cell.
    pub cell: Option<Length>,
    /// Whether an angle was given, not a specific rotation.
    pub angle_given: bool,
    /// The blank that was subtracted, when known.
    pub blank: Option<Angle>,
    /// Molar mass of the form measured.
    pub molar_mass: Option<MolarMass>,
    /// Formula of the compound, to see which salts it can form.
    pub formula: Option<String>,
    /// Whether the compound is itself a salt or hydrate.
    pub is_salt_or_hydrate: bool,
    /// Other forms in the library.
    pub known_forms: Vec<KnownForm>,
    /// Values at another stage of mutarotation with their standard uncertainties, in the hand of the sample.
    pub other_stages: Vec<(SpecificRotation, SpecificRotation)>,
    /// Other stereoisomers of the same connectivity.
    pub isomers: Vec<Isomer>,
    /// The lines that the compound's own values reach.
    pub own_lines: Vec<OwnLine>,
}

/// Causes less probable than this are left out, `none` and dilution aside.
const LEAST_SHOWN: f64 = 0.001;

/// The causes of a measured value, by classes, the most probable first. Empty when nothing can be compared.
///
/// Probabilities sum to 1. `none` is always there; dilution is there whenever the value is smaller than expected.
pub fn causes(
    pooling: &Pooling,
    measured: &Measured,
    conditions: &Conditions,
    context: &CauseContext,
    effects: &EffectTable,
    table: &CauseTable,
) -> Vec<Cause> {
    let Some(posterior) = &pooling.posterior else {
        return Vec::new();
    };
    // Where the references do not state their excess, no more is known of the sample than of theirs; where another method
    // gives that of the sample, it is what its right value rests on, unless that method is wrong.
    let unstated = Expected::of(posterior, (pooling.sample_like, 0.0), pooling.scale);
    let stated = measured
        .excess
        .map(|excess| Expected::of(posterior, excess.moments(), pooling.scale));
    let expected = Expectations {
        right: stated.as_ref().unwrap_or(&unstated),
        unstated: &unstated,
    };
    let salt_sd = effects.sd(Aspect::Form, Case::Salt, pooling.scale) / pooling.scale;
    let hypotheses = hypotheses::all(measured, conditions, context, salt_sd, table);
    let mut judged = judge_all(&hypotheses, &expected, measured, table, pooling.scale);
    let is_small = {
        let x = measured.value.conventional();
        let centre = expected.right.centre;
        x * centre > 0.0 && x.abs() < centre.abs()
    };
    judged.retain(|j| {
        j.probability >= LEAST_SHOWN
            || j.hypothesis.code == CauseCode::None
            || (is_small && j.hypothesis.code == CauseCode::Diluted)
    });
    assemble(judged, measured, table)
}

/// What a right measurement would read.
#[derive(Clone, Copy)]
struct Expectations<'e> {
    /// Of this sample.
    right: &'e Expected,
    /// Of one whose excess no other method gives.
    unstated: &'e Expected,
}

impl Expectations<'_> {
    /// What a hypothesis starts from: a purity that is drawn anew knows no other excess.
    fn under(&self, kind: &Kind) -> &Expected {
        match kind {
            Kind::Purity { .. } => self.unstated,
            _ => self.right,
        }
    }
}

/// A hypothesis with its probability and what the value would be without the slip.
struct Judged<'h> {
    hypothesis: &'h Hypothesis,
    probability: f64,
    corrected: f64,
    /// Standard uncertainty of the corrected value that comes from the measurement.
    uncertainty: f64,
    /// The part of it that comes from the slip: another line and another salt change a value by a factor not quite known.
    spread: f64,
}

fn judge_all<'h>(
    hypotheses: &'h [Hypothesis],
    expectations: &Expectations<'_>,
    measured: &Measured,
    table: &CauseTable,
    scale: f64,
) -> Vec<Judged<'h>> {
    let x = measured.value.conventional();
    let u = measured.uncertainty.conventional();
    let prior_of_none = hypotheses
        .iter()
        .find(|h| h.code == CauseCode::None)
        .map_or(0.0, |h| h.prior);
    let mut judged: Vec<Judged<'h>> = hypotheses
        .iter()
        .map(|hypothesis| {
            let expected = expectations.under(&hypothesis.kind);
            let weight = if let Kind::Suspect = hypothesis.kind {
                // The value is right, and the references do not reach it: one is wrong, or the transfer failed.
                hypothesis.prior * expected.suspect(x, u, table, scale)
                    + prior_of_none * expected.wide_weight * expected.wide(x, u)
            } else {
                (1.0 - expected.wide_weight) * hypothesis.prior * expected.likelihood(&hypothesis.kind, x, u, table)
            };
            let corrected = expected.corrected(&hypothesis.kind, x, u);
            let uncertainty = match hypothesis.kind {
                Kind::Scale { factor, reading, .. } => {
                    likelihood::multiplied_uncertainty(x, u, factor, reading) / factor.abs()
                }
                Kind::Shift { shift, reading, .. } => likelihood::shifted_uncertainty(x, u, shift, reading),
                _ => u,
            };
            let spread = match hypothesis.kind {
                Kind::Scale { relative_sd, .. } => relative_sd * corrected.abs(),
                _ => 0.0,
            };
            Judged {
                hypothesis,
                probability: weight,
                corrected,
                uncertainty,
                spread,
            }
        })
        .collect();
    let total: f64 = judged.iter().map(|j| j.probability).sum();
    for j in &mut judged {
        j.probability = if total > 0.0 && total.is_finite() {
            j.probability / total
        } else {
            // The value lies beyond everything, to the last digit of the arithmetic: nothing but the references is left.
            f64::from(u8::from(matches!(j.hypothesis.kind, Kind::Suspect)))
        };
    }
    judged.sort_by(|a, b| b.probability.total_cmp(&a.probability));
    judged
}

/// What a hypothesis does with the value, as far as classes go.
#[derive(Clone, Copy, PartialEq)]
enum Family {
    /// A definite change of the value.
    Definite,
    /// Any smaller value: partial purity and dilution.
    Reduction,
    /// A family of its own.
    Own(CauseCode),
}

fn family(hypothesis: &Hypothesis) -> Family {
    match hypothesis.kind {
        // The other hand, pure or not, is one cause; a blank of unknown size can give any near value.
        _ if hypothesis.code == CauseCode::OppositeHand => Family::Own(hypothesis.code),
        Kind::Shift { sd, .. } if sd > 0.0 => Family::Own(hypothesis.code),
        Kind::Scale { .. } | Kind::Shift { .. } => Family::Definite,
        Kind::Purity { .. } | Kind::Dilution => Family::Reduction,
        Kind::Stage { .. } | Kind::Other { .. } | Kind::Suspect => Family::Own(hypothesis.code),
    }
}

/// Two corrected values can be told apart by repeating the measurement when they differ by more than this many standard
/// uncertainties of their difference (two-sided 95 % of a normal distribution).
const TOLD_APART: f64 = 1.96;

/// Whether the corrected values of two hypotheses are one. How well a slip's own factor is known counts between variants of
/// one cause only: two salts may be one class where a salt and a right value are not.
fn cannot_be_told(leader: &Judged<'_>, other: &Judged<'_>) -> bool {
    let kin = family(leader.hypothesis);
    if kin != family(other.hypothesis) || kin != Family::Definite {
        return kin == family(other.hypothesis);
    }
    let measured = leader.uncertainty.hypot(other.uncertainty);
    let uncertainty = if leader.hypothesis.code == other.hypothesis.code {
        measured.hypot(leader.spread).hypot(other.spread)
    } else {
        measured
    };
    (leader.corrected - other.corrected).abs() <= TOLD_APART * uncertainty
}

/// Puts judged hypotheses, the most probable first, into classes and merges those of one code within a class.
fn assemble(judged: Vec<Judged<'_>>, measured: &Measured, table: &CauseTable) -> Vec<Cause> {
    // Each class is led by its most probable member; a hypothesis joins the first class whose leader it cannot be told from.
    let mut classes: Vec<(f64, Vec<Judged<'_>>)> = Vec::new();
    for j in judged {
        let home = classes.iter_mut().find(|(_, members)| cannot_be_told(&members[0], &j));
        match home {
            Some((total, members)) => {
                *total += j.probability;
                members.push(j);
            }
            None => classes.push((j.probability, vec![j])),
        }
    }
    classes.sort_by(|a, b| b.0.total_cmp(&a.0));
    let total: f64 = classes.iter().map(|(probability, _)| probability).sum();
    let mut causes: Vec<Cause> = Vec::new();
    for (at, (_, members)) in classes.into_iter().enumerate() {
        let first = causes.len();
        for j in members {
            let code = j.hypothesis.code;
            if let Some(cause) = causes[first..].iter_mut().find(|cause| cause.code == code) {
                cause.probability += j.probability / total;
                continue;
            }
            causes.push(Cause {
                code,
                class: at + 1,
                probability: j.probability / total,
                corrected_value: j.corrected,
                sentence: words::sentence(j.hypothesis, j.corrected, measured),
                how_to_tell: table.of(code).how_to_tell.clone(),
            });
        }
        causes[first..].sort_by(|a, b| b.probability.total_cmp(&a.probability));
    }
    causes
}

#[cfg(test)]
mod tests;
