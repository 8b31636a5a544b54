//! Everything the library holds that a measured value could be compared with.

use super::CheckRequest;
use super::form::MeasuredForm;
use crate::compare::{Conditions, FormLink, HandKnown, ReadingWorth, Reference, SampleExcess, value_of};
use crate::library::{Compound, Entry, EntryKind, Hand, Identity, Library, LibraryError, ReviewState, Source};
use crate::quantity::{Concentration, SpecificRotation};
use std::collections::HashMap;

/// A reference with the entry it is made of.
pub(super) struct GatheredReference {
    pub(super) reference: Reference,
    pub(super) entry: Entry,
    pub(super) citation: String,
}

/// Everything the library holds that could be compared.
pub(super) struct Gathered {
    pub(super) references: Vec<GatheredReference>,
    pub(super) mirror: Option<Compound>,
    pub(super) n_specifications: usize,
    pub(super) form_notes: Vec<String>,
}

pub(super) fn gather(library: &Library, compound: &Compound, request: &CheckRequest) -> Result<Gathered, LibraryError> {
    let mirror = library.mirror_image(compound)?;
    let worth = reading_worth(library)?;
    let mut sources: HashMap<i64, Source> = HashMap::new();
    let mut gathered = Gathered {
        references: Vec::new(),
        mirror,
        n_specifications: 0,
        form_notes: Vec::new(),
    };
    let measured_form = MeasuredForm::of(compound, request.form.as_deref(), &mut gathered.form_notes);
    let mut groups: Vec<(Compound, bool)> = vec![(compound.clone(), false)];
    groups.extend(gathered.mirror.clone().map(|mirror| (mirror, true)));
    groups.extend(
        library
            .related_forms(compound)?
            .into_iter()
            .map(|related| (related, false)),
    );
    for (of, is_mirror) in groups {
        for entry in library.entries(of.id)? {
            let citation = if let Some(source) = sources.get(&entry.source.0) {
                source.citation.clone()
            } else {
                let source = library.source(entry.source)?;
                let citation = source.citation.clone();
                sources.insert(entry.source.0, source);
                citation
            };
            gathered.n_specifications += usize::from(entry.kind == EntryKind::Specification && of.id == compound.id);
            let reference = reference_of(&entry, &of, is_mirror != request.mirror_image, &measured_form, &worth);
            gathered.references.push(GatheredReference {
                reference,
                entry,
                citation,
            });
        }
    }
    Ok(gathered)
}

/// What an angle was worth, with the library's own concentrations where enough of them are printed.
fn reading_worth(library: &Library) -> Result<ReadingWorth, LibraryError> {
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
fn reference_of(
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
