//! What a reader of a result should bear in mind.

use super::CheckRequest;
use super::gather::Gathered;
use crate::compare::{EffectTable, Judgement, LineConversion, LineMethod, Pooling, Size, VerdictCode};
use crate::solvent::Solvent;

/// What to bear in mind with this result, one sentence each, the weightiest first.
pub(super) fn cautions(
    request: &CheckRequest,
    gathered: &Gathered<'_>,
    pooling: &Pooling,
    judgement: &Judgement,
    effects: &EffectTable,
) -> Vec<String> {
    let mut said: Vec<String> = Vec::new();
    let conditions = &request.conditions;
    let missing: Vec<&str> = [
        ("solvent", conditions.solvent.is_none()),
        ("temperature", conditions.temperature.is_none()),
        ("line", conditions.line.is_none()),
        (
            "concentration",
            conditions.concentration.is_none() && conditions.solvent.as_ref() != Some(&Solvent::Neat),
        ),
    ]
    .into_iter()
    .filter_map(|(name, missing)| missing.then_some(name))
    .collect();
    if !missing.is_empty() {
        said.push(format!(
            "Not given with the measurement: {}; each is treated as an unknown condition and widens the result.",
            missing.join(", ")
        ));
    }
    if let Some(Solvent::Other(name)) = &conditions.solvent {
        let nearest = Solvent::parse(name.as_str())
            .err()
            .map(|error| format!(" ({error})"))
            .unwrap_or_default();
        said.push(format!(
            "The solvent \"{}\" is not in the table of solvents{nearest}; it is compared as kindred to none.",
            name.as_str()
        ));
    }
    let assumed: Vec<String> = request
        .measured
        .budget
        .iter()
        .filter(|line| line.assumed)
        .map(|line| format!("{} {:.2}", line.source, line.contribution))
        .collect();
    if !assumed.is_empty() {
        said.push(format!(
            "The uncertainty of the measurement rests on defaults of this program (contributing, in deg mL g⁻¹ dm⁻¹: {}); \
             give your own with --uncertainty.",
            assumed.join(", ")
        ));
    }
    said.extend(gathered.form_notes.iter().cloned());
    if let Some(pooled) = &pooling.pooled {
        if pooled.driven_by_prior {
            said.push(format!(
                "Only {} independent source{}: how far sources scatter is taken from the prior, not learned here.",
                pooled.independent_sources,
                if pooled.independent_sources == 1 { "" } else { "s" }
            ));
        }
        if !pooling.hand_can_be_tested {
            said.push(
                "The hand cannot be tested: no reference of independently known hand stands in the same or a kindred \
                 solvent."
                    .to_owned(),
            );
        }
    }
    for aspect in &pooling.sign_changes_with {
        said.push(format!(
            "The sign of this compound's rotation is known to change with {}; a reference that differs in it does not fix \
             the hand.",
            serde_json::to_value(aspect).ok().and_then(|v| v.as_str().map(str::to_owned)).unwrap_or_default()
        ));
    }
    let differing = |size: Size| {
        pooling
            .references
            .iter()
            .filter(|r| r.used && r.differences.iter().any(|d| d.size == size))
            .count()
    };
    let used = pooling.references.iter().filter(|r| r.used).count();
    if used > 0 && differing(Size::Large) == used {
        said.push(
            "No reference stands at the same or nearly the same conditions; the comparison is a transfer.".to_owned(),
        );
    }
    said.extend(transfers_of_the_heaviest(pooling, effects));
    let converted = |is_doubtful: fn(&LineConversion) -> bool| {
        let made = pooling.references.iter().filter(|r| r.used);
        made.filter_map(|r| r.line_conversion.as_ref())
            .filter(|made| is_doubtful(made))
            .count()
    };
    let generic = converted(|made| made.method == LineMethod::GenericLaw);
    if generic > 0 {
        said.push(format!(
            "{generic} reference{} read at another line, converted by a law for colourless compounds; a coloured compound, or \
             one that absorbs near the visible, does not follow it.",
            if generic == 1 { " was" } else { "s were" }
        ));
    }
    let doubtful = converted(|made| !made.warnings.is_empty());
    if doubtful > 0 {
        said.push(format!(
            "{doubtful} conversion{} between lines {} doubtful; the list of references says why.",
            if doubtful == 1 { "" } else { "s" },
            if doubtful == 1 { "is" } else { "are" }
        ));
    }
    if judgement.optical_purity.as_ref().is_some_and(|p| p.prior_matters) {
        said.push(
            "The interval of the optical purity is shaped by its uniform prior (standard uncertainty above 0.1)."
                .to_owned(),
        );
    }
    if matches!(
        judgement.verdict.code,
        VerdictCode::Lower | VerdictCode::Agrees | VerdictCode::Undecided
    ) {
        said.push(
            "Optical purity is not enantiomeric excess: residual solvent, water or an achiral impurity lowers the rotation \
             just as the other enantiomer does."
                .to_owned(),
        );
    }
    if gathered.n_specifications > 0 {
        said.push(format!(
            "{} specification{} of this compound in the library {} not used as reference values; the official text in \
             force and licensed practice decide on release.",
            gathered.n_specifications,
            if gathered.n_specifications == 1 { "" } else { "s" },
            if gathered.n_specifications == 1 { "is" } else { "are" }
        ));
    }
    let from_memory = gathered
        .references
        .iter()
        .zip(&pooling.references)
        .any(|(g, r)| r.used && g.entry.seen.as_deref().is_some_and(|seen| seen == "no"));
    if from_memory {
        said.push("A reference used here was keyed from memory; look it up before you rely on it.".to_owned());
    }
    said
}

/// What pairs of published values say of the differences that the heaviest reference is carried across.
fn transfers_of_the_heaviest(pooling: &Pooling, effects: &EffectTable) -> Vec<String> {
    let heaviest = pooling
        .references
        .iter()
        .filter(|reference| reference.used)
        .max_by(|a, b| a.weight.total_cmp(&b.weight));
    heaviest.map_or_else(Vec::new, |reference| {
        reference
            .differences
            .iter()
            .filter_map(|difference| effects.sentence(difference.aspect, difference.case?))
            .collect()
    })
}
