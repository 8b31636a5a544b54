//! Everything the library holds that a measured value could be compared with.

use super::derive::{derived_from, is_own};
use super::form::MeasuredForm;
use crate::compare::{Conditions, FormLink, HandKnown, ReadingWorth, Reference, SampleExcess, value_of};
use crate::library::{Compound, Entry, EntryKind, Hand, Identity, Library, LibraryError, ReviewState};
use crate::quantity::{Concentration, SpecificRotation};
use std::collections::HashMap;
use std::sync::Arc;

/// All that the library holds of a compound: its values, those of its mirror image, and those of its other forms. Read
/// once, it serves any number of measured values.
pub(crate) struct Holdings {
    pub(crate) compound: Compound,
    pub(crate) mirror: Option<Compound>,
    groups: Vec<Group>,
}

/// A compound with its entries.
struct Group {
    of: Compound,
    is_mirror: bool,
    entries: Vec<(Entry, Arc<str>)>,
}

/// A reference with the entry it is made of.
pub(crate) struct GatheredReference<'a> {
    pub(crate) reference: Reference,
    pub(crate) entry: &'a Entry,
    pub(crate) citation: &'a Arc<str>,
}

/// Everything that could be compared with one form of a compound.
pub(crate) struct Gathered<'a> {
    pub(crate) references: Vec<GatheredReference<'a>>,
    pub(crate) mirror: Option<&'a Compound>,
    /// Whether they stand against a sample of the mirror image.
    pub(super) is_of_mirror: bool,
    pub(crate) n_specifications: usize,
    pub(crate) form_notes: Vec<String>,
    /// The form that was weighed.
    pub(super) measured_form: MeasuredForm,
    /// Other forms of the compound in the library, with how they stand to the form measured.
    pub(super) known_forms: Vec<(&'a str, FormLink)>,
}

impl Holdings {
    /// Reads what the library holds.
    pub(crate) fn read(library: &Library, compound: Compound) -> Result<Self, LibraryError> {
        let mirror = library.mirror_image(&compound)?;
        let forms = library.related_forms(&compound)?;
        let mut citations: HashMap<i64, Arc<str>> = HashMap::new();
        let own = std::iter::once((compound.clone(), false));
        let all = own
            .chain(mirror.clone().map(|mirror| (mirror, true)))
            .chain(forms.into_iter().map(|form| (form, false)));
        let mut groups = Vec::new();
        for (of, is_mirror) in all {
            let mut entries = Vec::new();
            for entry in library.entries(of.id)? {
                let citation = if let Some(known) = citations.get(&entry.source.0) {
                    Arc::clone(known)
                } else {
                    let citation: Arc<str> = library.source(entry.source)?.citation.into();
                    citations.insert(entry.source.0, Arc::clone(&citation));
                    citation
                };
                entries.push((entry, citation));
            }
            groups.push(Group { of, is_mirror, entries });
        }
        Ok(Self {
            compound,
            mirror,
            groups,
        })
    }

    /// The references that stand against a sample: of this compound or, with `mirror_image`, of its mirror image; in the
    /// form that was weighed, as typed.
    pub(crate) fn against(&self, mirror_image: bool, form: Option<&str>, worth: &ReadingWorth) -> Gathered<'_> {
        let mut form_notes = Vec::new();
        let measured_form = MeasuredForm::of(&self.compound, form, &mut form_notes);
        let mut gathered = Gathered {
            references: Vec::new(),
            mirror: self.mirror.as_ref(),
            is_of_mirror: mirror_image,
            n_specifications: 0,
            form_notes,
            measured_form,
            known_forms: Vec::new(),
        };
        for group in &self.groups {
            let is_other_form = !group.is_mirror && group.of.id != self.compound.id;
            if is_other_form && let Ok(link) = gathered.measured_form.link(&group.of) {
                gathered.known_forms.push((group.of.name.as_str(), link));
            }
            for (entry, citation) in &group.entries {
                gathered.n_specifications +=
                    usize::from(entry.kind == EntryKind::Specification && group.of.id == self.compound.id);
                let is_mirror = group.is_mirror != mirror_image;
                gathered.references.push(GatheredReference {
                    reference: reference_of(entry, &group.of, is_mirror, &gathered.measured_form, worth),
                    entry,
                    citation,
                });
            }
        }
        gathered
    }
}

/// What an angle was worth, with the library's own concentrations where enough of them are printed.
pub(crate) fn reading_worth(library: &Library) -> Result<ReadingWorth, LibraryError> {
    const ENOUGH: u64 = 50;
    let mut worth = ReadingWorth::default();
    let printed = library.print_distribution()?;
    if printed.n_concentrations >= ENOUGH && !printed.concentrations.is_empty() {
        // The middle 90 % in ten equal steps of probability.
        let n = printed.concentrations.len();
        worth.concentrations = (0..10)
            .map(|i| {
                let probability = 0.05 + 0.9 * (f64::from(i) + 0.5) / 10.0;
                let at = (probability * n as f64 - 0.5).round().clamp(0.0, (n - 1) as f64) as usize;
                Concentration::from_grams_per_100_millilitres(printed.concentrations[at])
            })
            .collect();
    }
    Ok(worth)
}

/// The reference an entry makes, with the reason when it must not be used.
pub(super) fn reference_of(
    entry: &Entry,
    of: &Compound,
    mirror: bool,
    measured_form: &MeasuredForm,
    worth: &ReadingWorth,
) -> Reference {
    let statement = &entry.statement;
    let (value, excluded) = match value_of(statement, of.molar_mass, None, worth) {
        Ok(value) => (value, None),
        Err(error) => {
            let nothing = SpecificRotation::from_conventional(0.0);
            ((nothing, nothing), Some(format!("not comparable: {error}")))
        }
    };
    let (form, other_form) = match measured_form.link(of) {
        Ok(link) => (link, None),
        Err(reason) => (FormLink::Unknown, Some(reason)),
    };
    let excluded = if entry.state == ReviewState::Withdrawn {
        Some("withdrawn".to_owned())
    } else if entry.kind == EntryKind::Specification {
        Some("a specification: limits of a monograph, not a measured value".to_owned())
    } else if let Some(reason) = &entry.kept_out {
        Some(format!("kept out of pooling: {reason}"))
    } else if entry.identity == Identity::Unclear {
        Some("it is not clear that the value is of this compound".to_owned())
    } else {
        excluded.or(other_form)
    };
    Reference {
        value: value.0,
        own_uncertainty: value.1,
        mirror,
        source: entry.source.0,
        excess: SampleExcess::of(statement.ee.as_ref()),
        hand: if entry.hand == Hand::Independent {
            HandKnown::Independent
        } else {
            HandKnown::FromSign
        },
        conditions: Conditions::of(statement, of.molar_mass),
        form,
        draft: entry.state == ReviewState::Draft,
        quoted: statement
            .role
            .is_some_and(|role| role != crate::statement::Role::Measured),
        excluded,
    }
}

impl Gathered<'_> {
    /// Leaves out what was derived from the measurement itself: it agrees with it by construction.
    pub(crate) fn leave_out_own(&mut self, measured: SpecificRotation) {
        for gathered in &mut self.references {
            let is_own = derived_from(gathered.entry).is_some_and(|from| is_own(from, measured));
            if is_own && gathered.reference.excluded.is_none() {
                gathered.reference.excluded =
                    Some("derived from this very measurement, with which it agrees by construction".to_owned());
            }
        }
    }
}

impl Holdings {
    /// Whether a value was derived from this measurement.
    pub(crate) fn has_derived_from(&self, measured: SpecificRotation) -> bool {
        self.groups
            .iter()
            .flat_map(|group| &group.entries)
            .any(|(entry, _)| derived_from(entry).is_some_and(|from| is_own(from, measured)))
    }
}
