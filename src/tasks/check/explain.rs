//! The causes of a value that does not fit: what the library knows that could explain it.

use super::gather::{Gathered, reference_of};
use super::{CheckRequest, CheckSettings};
use crate::compare::{
    Cause, CauseContext, FormLink, Isomer, KnownForm, Measured, Pooling, ReadingWorth, Reference, causes,
    values_of_isomer,
};
use crate::library::{Chirality, Compound, Library, LibraryError};
use crate::quantity::SpecificRotation;
use crate::statement::Stage;

/// Most stereoisomers that are looked at: a check stays fast in a family of sugars.
const MOST_ISOMERS: usize = 40;

/// What a check has found out by the time its causes are sought.
pub(super) struct Checked<'a> {
    pub(super) compound: &'a Compound,
    pub(super) gathered: &'a Gathered<'a>,
    pub(super) worth: &'a ReadingWorth,
    pub(super) pooling: &'a Pooling,
    pub(super) measured: &'a Measured,
}

/// The causes of the measured value.
pub(super) fn explain(
    library: &Library,
    request: &CheckRequest,
    checked: &Checked<'_>,
    settings: &CheckSettings,
) -> Result<Vec<Cause>, LibraryError> {
    let Checked {
        compound,
        gathered,
        pooling,
        measured,
        ..
    } = *checked;
    if pooling.posterior.is_none() {
        return Ok(Vec::new());
    }
    let mut known_forms = gathered.measured_form.parts_of();
    known_forms.extend(gathered.known_forms.iter().filter_map(|(name, link)| match link {
        FormLink::Hydrate { factor } => Some(known_form(name, *factor, true)),
        FormLink::Salt { factor } => Some(known_form(name, *factor, false)),
        FormLink::Same | FormLink::Unknown => None,
    }));
    let context = CauseContext {
        cell: request.cell,
        angle_given: request.measured.angle.is_some(),
        blank: None,
        molar_mass: gathered.measured_form.mass(),
        formula: compound.formula.clone(),
        is_salt_or_hydrate: gathered.measured_form.is_salt_or_hydrate(),
        known_forms,
        other_stages: other_stages(gathered, request.conditions.stage),
        isomers: isomers(library, request, checked, settings)?,
    };
    let conditions = &request.conditions;
    Ok(causes(
        pooling,
        measured,
        conditions,
        &context,
        &settings.effects,
        &settings.causes,
    ))
}

/// A form of the library; its factor is turned round, from reference over measured to measured over weighed.
fn known_form(name: &str, factor: f64, is_hydrate: bool) -> KnownForm {
    KnownForm {
        name: name.to_owned(),
        factor: 1.0 / factor,
        is_hydrate,
    }
}

/// Values of the compound at the other stage of mutarotation, in the hand of the sample.
fn other_stages(gathered: &Gathered<'_>, measured: Option<Stage>) -> Vec<(SpecificRotation, SpecificRotation)> {
    let other = match measured {
        None | Some(Stage::Final) => Stage::Initial,
        Some(Stage::Initial) => Stage::Final,
    };
    gathered
        .references
        .iter()
        .map(|g| &g.reference)
        .filter(|r| r.excluded.is_none() && r.form == FormLink::Same && r.conditions.stage == Some(other))
        .map(|r| {
            let value = if r.mirror { r.value.mirrored() } else { r.value };
            (value, r.own_uncertainty)
        })
        .collect()
}

/// Other stereoisomers with what they would read at the conditions of the measurement, and their mirror images where only
/// one hand is in the library.
fn isomers(
    library: &Library,
    request: &CheckRequest,
    checked: &Checked<'_>,
    settings: &CheckSettings,
) -> Result<Vec<Isomer>, LibraryError> {
    let compound = checked.compound;
    let family = library.stereoisomers(compound)?;
    let is_known = |key: &str| family.iter().any(|member| member.inchikey.as_deref() == Some(key));
    let is_mirror = |member: &Compound| member.inchikey.is_some() && member.inchikey == compound.mirror_key;
    let mut found = Vec::new();
    for member in family.iter().take(MOST_ISOMERS) {
        if is_mirror(member) || member.inchikey == compound.inchikey {
            continue;
        }
        if member.chirality == Chirality::Meso {
            found.push(Isomer {
                name: format!("{} (meso, does not rotate)", member.name),
                values: vec![(0.0, 0.0)],
            });
            continue;
        }
        let references: Vec<Reference> = library
            .entries(member.id)?
            .iter()
            .map(|entry| {
                let made = reference_of(entry, member, false, &checked.gathered.measured_form, checked.worth);
                Reference {
                    form: FormLink::Same,
                    ..made
                }
            })
            .collect();
        let values = values_of_isomer(&request.conditions, &references, &settings.effects, &settings.options);
        if values.is_empty() {
            continue;
        }
        let other_hand = member.mirror_key.as_deref().is_some_and(|key| !is_known(key));
        if other_hand {
            found.push(Isomer {
                name: format!("the mirror image of {}", member.name),
                values: values.iter().map(|&(mean, variance)| (-mean, variance)).collect(),
            });
        }
        found.push(Isomer {
            name: member.name.clone(),
            values,
        });
    }
    Ok(found)
}
