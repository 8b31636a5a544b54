//! Composition of a two-component mixture, its pure values typed in or taken from the library.

use super::check::{CheckSettings, Holdings, ReferenceShown, reading_worth, references_shown};
use crate::compare::{Conditions, Mixture, PooledValue, Reference, pool};
use crate::library::{CompoundId, Library, LibraryError};
use crate::measurement::composition::{Composition, CompositionError, Rotation, composition};
use crate::quantity::{MolarMass, SpecificRotation};
use serde::Serialize;

/// The mixture and what its components are.
#[derive(Clone, Debug)]
pub struct CompositionRequest {
    /// Specific rotation of the mixture.
    pub mixture: Rotation,
    /// The two compounds.
    pub components: [CompoundId; 2],
    /// Conditions the mixture was measured at, with the stage of the pure components.
    pub conditions: Conditions,
    /// Molar masses; none takes those of the compounds.
    pub molar_masses: Option<[MolarMass; 2]>,
}

/// The rotation of a pure component by the library.
#[derive(Clone, Debug, Serialize)]
pub struct PureFromLibrary {
    /// Number of the compound in this library file.
    pub compound: i64,
    /// Its name.
    pub name: String,
    /// The pooled value at the conditions.
    pub pooled: PooledValue,
    /// Every reference, the used ones first.
    pub references: Vec<ReferenceShown>,
    /// What to know of it.
    pub cautions: Vec<String>,
}

/// A composition with what it rests on.
#[derive(Clone, Debug)]
pub struct Composed {
    /// The composition.
    pub composition: Composition,
    /// The components.
    pub pure: [PureFromLibrary; 2],
}

/// Why there is no composition.
#[derive(Debug, thiserror::Error)]
pub enum ComposeError {
    /// The library.
    #[error(transparent)]
    Library(#[from] LibraryError),
    /// The numbers do not do.
    #[error(transparent)]
    Composition(#[from] CompositionError),
    /// Nothing comparable.
    #[error("the library has no value of {name} to use at these conditions: {reasons}")]
    NothingComparable {
        /// The compound.
        name: String,
        /// Why each reference is not used.
        reasons: String,
    },
    /// Twice the same compound.
    #[error("both components are {name}; a mixture needs two different ones")]
    Same {
        /// The compound.
        name: String,
    },
}

/// The composition of a mixture of two compounds of the library, by the pooled values of both at the conditions of the
/// mixture; what is comparable is decided as in a check.
///
/// The two pooled values are taken as independent: an effect of the conditions that both share is counted twice.
///
/// # Errors
/// When the library has no comparable value of one of them, or their values cannot be told apart.
pub fn compose(
    library: &Library,
    request: &CompositionRequest,
    settings: &CheckSettings,
) -> Result<Composed, ComposeError> {
    let [first, second] = request.components.map(|id| library.compound(id));
    let (first, second) = (first?, second?);
    if first.id == second.id {
        return Err(ComposeError::Same { name: first.name });
    }
    // Of isomers, mass and mole fractions are the same.
    let masses = match (first.molar_mass, second.molar_mass) {
        (Some(a), Some(b)) if (a.grams_per_mole() - b.grams_per_mole()).abs() > 1e-6 => Some([a, b]),
        _ => None,
    };
    let first = pure_value(library, &Holdings::read(library, first)?, &request.conditions, settings)?;
    let second = pure_value(
        library,
        &Holdings::read(library, second)?,
        &request.conditions,
        settings,
    )?;
    Ok(Composed {
        composition: composition(
            request.mixture,
            rotation(&first),
            rotation(&second),
            request.molar_masses.or(masses),
        )?,
        pure: [first, second],
    })
}

/// A pooled value as the composition takes it.
fn rotation(pure: &PureFromLibrary) -> Rotation {
    Rotation {
        value: SpecificRotation::from_conventional(pure.pooled.value),
        uncertainty: SpecificRotation::from_conventional(pure.pooled.standard_uncertainty),
    }
}

fn pure_value(
    library: &Library,
    holdings: &Holdings,
    conditions: &Conditions,
    settings: &CheckSettings,
) -> Result<PureFromLibrary, ComposeError> {
    let worth = reading_worth(library)?;
    let gathered = holdings.against(false, None, &worth);
    let references: Vec<Reference> = gathered.references.iter().map(|g| g.reference.clone()).collect();
    let pooling = pool(conditions, &references, &settings.effects, &settings.options);
    let shown = references_shown(&gathered, &pooling);
    let name = holdings.compound.name.clone();
    let Some(pooled) = pooling.pooled.clone() else {
        return Err(ComposeError::NothingComparable {
            reasons: reasons(&shown),
            name,
        });
    };
    let mut cautions = gathered.form_notes.clone();
    if pooled.driven_by_prior {
        cautions.push(format!(
            "the uncertainty of {name} rests on what is known of the spread of published values in general: its own \
             references are too few to tell it"
        ));
    }
    let modes = pooling.posterior.as_ref().and_then(Mixture::two_modes);
    if let Some((lighter, apart)) = modes
        && lighter > settings.thresholds.second_mode_mass
        && apart > settings.thresholds.mode_distance * pooled.value.abs()
    {
        cautions.push(format!(
            "the sources of {name} disagree: a second value {apart:.1} away from the first has a probability of {:.0} %",
            100.0 * lighter
        ));
    }
    Ok(PureFromLibrary {
        compound: holdings.compound.id.0,
        pooled,
        references: shown,
        cautions,
        name,
    })
}

/// The reasons that references were not used, each once with how many it holds for.
fn reasons(references: &[ReferenceShown]) -> String {
    let mut counted: Vec<(&str, usize)> = Vec::new();
    for reference in references {
        let reason = reference.reason.as_deref().unwrap_or("it is not pooled");
        match counted.iter_mut().find(|(known, _)| *known == reason) {
            Some((_, n)) => *n += 1,
            None => counted.push((reason, 1)),
        }
    }
    if counted.is_empty() {
        return "it holds none".to_owned();
    }
    let told = counted
        .into_iter()
        .map(|(reason, n)| format!("{n} of {}: {reason}", references.len()));
    told.collect::<Vec<_>>().join("; ")
}
