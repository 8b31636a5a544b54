//! Rotation against structure: values on what cannot rotate, and mirror images that turn light the same way.

use super::{Code, Finding, Item, Settings, Severity, Subject, Symmetry, signed};
use crate::compare::{Conditions, ReadingWorth, value_of};
use crate::solvent::{Kinship, kinship};
use crate::statement::Sign;

/// Parts of names of counter-ions and partners that are chiral themselves: a salt's rotation may be theirs (common
/// practice of resolution and pharmacy).
const CHIRAL_PARTNERS: [&str; 32] = [
    "tartrate",
    "tartaric",
    "tartar",
    "camphorsulf",
    "camphorsulph",
    "camsilate",
    "camsylate",
    "camphor",
    "mandel",
    "malate",
    "malic",
    "lactate",
    "lactic",
    "ascorb",
    "glutam",
    "aspart",
    "lysin",
    "arginin",
    "quinate",
    "gluconate",
    "glucept",
    "lactobion",
    "brucin",
    "quinin",
    "quinid",
    "cinchon",
    "ephedrin",
    "strychnin",
    "glucamine",
    "meglumin",
    "phenylethylamin",
    "pyroglutam",
];

/// A value counts as a rotation when it lies this many standard uncertainties from zero.
const CLEAR: f64 = 3.0;

/// Finds a rotation on a structure that has none. Where stereocentres are not given, our own descriptor names an axis, or
/// the partner in a salt is chiral, nothing is found.
pub(super) fn of_structure(subject: &Subject, at: usize, item: &Item, found: &mut Vec<Finding>) {
    let (word, why) = match subject.symmetry {
        Symmetry::MayRotate => return,
        Symmetry::Achiral => ("achiral", "it has no stereocentre"),
        Symmetry::Meso => ("meso", "it is its own mirror image"),
    };
    let statement = &item.statement;
    let names_partner = |text: Option<&String>| {
        let text = text.map(|text| text.to_lowercase()).unwrap_or_default();
        CHIRAL_PARTNERS.iter().any(|part| text.contains(part))
    };
    if subject.has_descriptor || names_partner(statement.form.as_ref()) || names_partner(item.substance.as_ref()) {
        return;
    }
    // Limits around zero are what an achiral or racemic substance is held to.
    if let (Some(low), Some(high)) = (statement.low, statement.high)
        && low.value() <= 0.0
        && high.value() >= 0.0
    {
        return;
    }
    let Some(value) = statement
        .central_value()
        .or(statement.low.or(statement.high).map(|limit| limit.value()))
    else {
        return;
    };
    let uncertainty =
        value_of(statement, subject.molar_mass, None, &ReadingWorth::default()).map_or(0.0, |(_, u)| u.conventional());
    if value.abs() <= CLEAR * uncertainty || value == 0.0 {
        return;
    }
    let reason = format!(
        "{} on a structure that is {word}: {why}. If an axis or helix makes it chiral, give the compound a descriptor.",
        signed(value)
    );
    found.push(Finding::new(Code::AchiralRotation, Severity::High, reason, vec![at]));
}

/// Finds values of a compound and of its mirror image with one sign under equal conditions: same solvent, same light,
/// temperature within 10 K, concentration within a factor of ten where both are printed.
pub(super) fn between_enantiomers(
    subject: &Subject,
    items: &[Item],
    mirror: &[Item],
    settings: &Settings,
    found: &mut Vec<Finding>,
) {
    if mirror.is_empty() {
        return;
    }
    let clear = |item: &Item| -> Option<(f64, Conditions)> {
        let kept = item.kept_out && !settings.judge_kept_out;
        if item.specification || kept || item.identity_unclear || item.statement.sign != Sign::Stated {
            return None;
        }
        let (value, u) = value_of(&item.statement, subject.molar_mass, None, &ReadingWorth::default()).ok()?;
        let conditions = Conditions::of(&item.statement, subject.molar_mass);
        conditions.solvent.as_ref()?;
        conditions.line.as_ref()?;
        (value.conventional().abs() > CLEAR * u.conventional()).then(|| (value.conventional(), conditions))
    };
    // Groups by solvent text, so that only entries that can be equal meet.
    let mut theirs: std::collections::HashMap<String, Vec<(usize, f64, Conditions)>> = std::collections::HashMap::new();
    for (at, item) in mirror.iter().enumerate() {
        if let Some((value, conditions)) = clear(item) {
            theirs
                .entry(solvent_text(&conditions))
                .or_default()
                .push((at, value, conditions));
        }
    }
    for (at, item) in items.iter().enumerate() {
        let Some((value, conditions)) = clear(item) else {
            continue;
        };
        let Some(group) = theirs.get(&solvent_text(&conditions)) else {
            continue;
        };
        let equal: Vec<&(usize, f64, Conditions)> = group
            .iter()
            .filter(|(other, _, theirs)| {
                let forms = (&item.statement.form, &mirror[*other].statement.form);
                forms.0 == forms.1 && are_equal(&conditions, theirs)
            })
            .take(MOST_MIRRORS)
            .collect();
        let same: Vec<&(usize, f64, Conditions)> = equal
            .iter()
            .copied()
            .filter(|(_, other, _)| other * value > 0.0)
            .collect();
        let Some((_, first, _)) = same.first() else { continue };
        let mut finding = Finding::new(
            Code::SameSignEnantiomers,
            Severity::High,
            format!(
                "{} here and {} for the mirror image (entry {}) under equal conditions ({}): one sign, or one hand, is wrong.",
                signed(value),
                signed(*first),
                mirror[same[0].0].label,
                solvent_text(&conditions),
            ),
            vec![at],
        );
        finding.mirror_entries = same.iter().map(|(other, ..)| *other).collect();
        found.push(finding);
    }
}

/// At most this many entries of the mirror image are set against one entry.
const MOST_MIRRORS: usize = 20;

fn solvent_text(conditions: &Conditions) -> String {
    conditions.solvent.as_ref().map(ToString::to_string).unwrap_or_default()
}

fn are_equal(a: &Conditions, b: &Conditions) -> bool {
    let solvents = match (&a.solvent, &b.solvent) {
        (Some(a), Some(b)) => kinship(a, b) == Kinship::Same,
        _ => false,
    };
    let lines = match (&a.line, &b.line) {
        (Some(a), Some(b)) => a.same_light(b),
        _ => false,
    };
    let temperatures = match (a.temperature, b.temperature) {
        (Some(a), Some(b)) => (a.celsius() - b.celsius()).abs() <= 10.0,
        _ => true,
    };
    let concentrations = match (a.concentration, b.concentration) {
        (Some(a), Some(b)) => {
            let ratio = a.grams_per_100_millilitres() / b.grams_per_100_millilitres();
            (0.1..=10.0).contains(&ratio)
        }
        _ => true,
    };
    solvents && lines && temperatures && concentrations && a.stage == b.stage
}
