//! The causes of a value that does not fit: what the library knows that could explain it.

use super::CheckSettings;
use super::gather::{Gathered, reference_of};
use crate::compare::{
    CauseContext, Conditions, FormLink, Isomer, KnownForm, ReadingWorth, Reference, own_lines, values_of_isomer,
};
use crate::compound::leaves_open;
use crate::library::{Chirality, Compound, Entry, Library, LibraryError};
use crate::quantity::SpecificRotation;
use crate::statement::Stage;

/// Most stereoisomers that are looked at: a check stays fast in a family of sugars.
const MOST_ISOMERS: usize = 40;

/// Another stereoisomer with its entries.
pub(crate) struct Relative {
    compound: Compound,
    entries: Vec<Entry>,
    tie: Tie,
}

/// How another stereoisomer stands to the compound.
#[derive(Clone, Copy, PartialEq)]
enum Tie {
    /// It gives what the compound leaves open, as an anomer does of its sugar.
    Gives,
    /// It leaves open what the compound gives, as a sugar does of its anomer.
    LeavesOpen,
    /// Another configuration.
    Other,
}

impl Tie {
    fn of(compound: &Compound, relative: &Compound) -> Self {
        match (&compound.inchi, &relative.inchi) {
            (Some(own), Some(other)) if leaves_open(own, other) => Self::Gives,
            (Some(own), Some(other)) if leaves_open(other, own) => Self::LeavesOpen,
            _ => Self::Other,
        }
    }
}

impl Relative {
    /// Whether its values are those of another stage of mutarotation of the compound, where some of its own values
    /// are of the start.
    fn is_of_mutarotation(&self, is_initial: bool) -> bool {
        match self.tie {
            Tie::Gives => self
                .entries
                .iter()
                .any(|entry| entry.statement.stage == Some(Stage::Initial)),
            Tie::LeavesOpen => is_initial,
            Tie::Other => false,
        }
    }
}

/// Whether some of the compound's own values were read at the start of a mutarotation.
fn read_at_start(gathered: &Gathered<'_>) -> bool {
    let mut own = gathered.references.iter();
    own.any(|g| g.reference.conditions.stage == Some(Stage::Initial))
}

/// The other stereoisomers of a compound, its mirror image aside. Read once, they serve any number of measured values.
pub(crate) struct Relatives {
    of: Vec<Relative>,
    /// Their InChIKeys and those of the compound and its mirror image.
    keys: Vec<String>,
}

impl Relatives {
    /// Reads what the library holds.
    pub(crate) fn read(library: &Library, compound: &Compound) -> Result<Self, LibraryError> {
        let family = library.stereoisomers(compound)?;
        let keys = family.iter().filter_map(|member| member.inchikey.clone()).collect();
        let is_mirror = |member: &Compound| member.inchikey.is_some() && member.inchikey == compound.mirror_key;
        let of = family
            .into_iter()
            .take(MOST_ISOMERS)
            .filter(|member| !is_mirror(member) && member.inchikey != compound.inchikey)
            .map(|relative| {
                Ok(Relative {
                    entries: library.entries(relative.id)?,
                    tie: Tie::of(compound, &relative),
                    compound: relative,
                })
            })
            .collect::<Result<_, LibraryError>>()?;
        Ok(Self { of, keys })
    }
}

/// What is known beyond the value, the cell and the blank: the context of the causes of any value of one compound, in one
/// form, at one set of conditions.
pub(crate) fn background(
    compound: &Compound,
    relatives: &Relatives,
    gathered: &Gathered<'_>,
    conditions: &Conditions,
    worth: &ReadingWorth,
    settings: &CheckSettings,
) -> CauseContext {
    let mut known_forms = gathered.measured_form.parts_of();
    known_forms.extend(gathered.known_forms.iter().filter_map(|(name, link)| match link {
        FormLink::Hydrate { factor } => Some(known_form(name, *factor, true)),
        FormLink::Salt { factor } => Some(known_form(name, *factor, false)),
        FormLink::Same | FormLink::Unknown => None,
    }));
    let references = gathered.references.iter().map(|g| &g.reference);
    CauseContext {
        cell: None,
        angle_given: false,
        blank: None,
        molar_mass: gathered.measured_form.mass(),
        formula: compound.formula.clone(),
        is_salt_or_hydrate: gathered.measured_form.is_salt_or_hydrate(),
        known_forms,
        other_stages: other_stages(relatives, gathered, conditions.stage, worth),
        isomers: isomers(relatives, gathered, conditions, worth, settings),
        own_lines: own_lines(conditions, references, &settings.effects, settings.causes.lines()),
    }
}

/// A form of the library; its factor is turned round, from reference over measured to measured over weighed.
fn known_form(name: &str, factor: f64, is_hydrate: bool) -> KnownForm {
    KnownForm {
        name: name.to_owned(),
        factor: 1.0 / factor,
        is_hydrate,
    }
}

/// Values at another stage of mutarotation, in the hand of the sample: those of the compound itself; of its anomers, read at
/// the start; or, of an anomer, those of its sugar.
fn other_stages(
    relatives: &Relatives,
    gathered: &Gathered<'_>,
    measured: Option<Stage>,
    worth: &ReadingWorth,
) -> Vec<(SpecificRotation, SpecificRotation)> {
    let other = match measured {
        None | Some(Stage::Final) => Stage::Initial,
        Some(Stage::Initial) => Stage::Final,
    };
    let is_initial = read_at_start(gathered);
    let of_relatives: Vec<Reference> = relatives
        .of
        .iter()
        .filter(|relative| relative.is_of_mutarotation(is_initial))
        .flat_map(|relative| relative.entries.iter().map(move |entry| (relative, entry)))
        .filter(|(relative, entry)| {
            let is_start = entry.statement.stage == Some(Stage::Initial);
            let of_anomer = relative.tie == Tie::Gives;
            // An anomer is read at the start; its sugar is not.
            is_start == of_anomer && measured != Some(if of_anomer { Stage::Initial } else { Stage::Final })
        })
        .map(|(relative, entry)| {
            let is_mirror = gathered.is_of_mirror;
            reference_of(entry, &relative.compound, is_mirror, &gathered.measured_form, worth)
        })
        .collect();
    let own = gathered.references.iter().map(|g| &g.reference);
    own.filter(|r| r.conditions.stage == Some(other))
        .chain(&of_relatives)
        .filter(|r| r.excluded.is_none() && r.form == FormLink::Same)
        .map(|r| {
            let value = if r.mirror { r.value.mirrored() } else { r.value };
            (value, r.own_uncertainty)
        })
        .collect()
}

/// Other stereoisomers with what they would read at the conditions of the measurement, and their mirror images where only
/// one hand is in the library.
fn isomers(
    relatives: &Relatives,
    gathered: &Gathered<'_>,
    conditions: &Conditions,
    worth: &ReadingWorth,
    settings: &CheckSettings,
) -> Vec<Isomer> {
    let mut found = Vec::new();
    let is_initial = read_at_start(gathered);
    let others = relatives
        .of
        .iter()
        .filter(|relative| !relative.is_of_mutarotation(is_initial));
    for Relative { compound, entries, .. } in others {
        if compound.chirality == Chirality::Meso {
            found.push(Isomer {
                name: format!("{} (meso, does not rotate)", compound.name),
                values: vec![(0.0, 0.0)],
            });
            continue;
        }
        let references: Vec<Reference> = entries
            .iter()
            .map(|entry| {
                let made = reference_of(entry, compound, false, &gathered.measured_form, worth);
                Reference {
                    form: FormLink::Same,
                    ..made
                }
            })
            .collect();
        let values = values_of_isomer(conditions, &references, &settings.effects, &settings.options);
        if values.is_empty() {
            continue;
        }
        let other_hand = compound
            .mirror_key
            .as_ref()
            .is_some_and(|key| !relatives.keys.contains(key));
        if other_hand {
            found.push(Isomer {
                name: format!("the mirror image of {}", compound.name),
                values: values.iter().map(|&(mean, variance)| (-mean, variance)).collect(),
            });
        }
        found.push(Isomer {
            name: compound.name.clone(),
            values,
        });
    }
    found
}
