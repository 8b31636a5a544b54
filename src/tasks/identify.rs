//! Which compounds of the library have published values that fit a measured rotation.
//!
//! A rotation cannot identify a compound: many have the same. What can be said is which compounds fit, how their
//! probabilities stand to each other when every compound of the library, in either hand, was as likely before, and how many
//! would fit by chance. The first pass streams once over the values of the library and weighs each compound roughly; the
//! likeliest are then pooled as in a check.

use super::check::{CheckSettings, Holdings, reading_worth};
use crate::compare::{
    Conditions, FormLink, HandKnown, Measured, ReadingWorth, Reference, SampleExcess, judge, pool, value_of,
    values_of_isomer,
};
use crate::library::{Chirality, Compound, CompoundId, Entry, Library, LibraryError};
use crate::measurement::Reduced;
use crate::quantity::{MolarMass, SpecificRotation};
use serde::Serialize;
use std::collections::HashSet;

/// Which compounds to look among.
#[derive(Clone, Debug, PartialEq)]
pub enum Among {
    /// The whole library.
    Library,
    /// Compounds with this formula in Hill order.
    Formula(String),
    /// Compounds with this molar mass, to half a unit.
    Mass(MolarMass),
    /// These.
    These(Vec<CompoundId>),
}

/// A measured value to find compounds for.
#[derive(Clone, Debug)]
pub struct IdentifyRequest {
    /// The measured specific rotation with its uncertainty.
    pub measured: Reduced,
    /// The conditions it was measured at.
    pub conditions: Conditions,
    /// Where to look.
    pub among: Among,
    /// Most candidates listed.
    pub limit: usize,
}

/// A compound in one hand.
#[derive(Clone, Debug, Serialize)]
pub struct FittingCompound {
    /// Number of the compound in this library file.
    pub compound: i64,
    /// Its name; of a hand that the library does not hold, in words.
    pub name: String,
    /// Whether it is the mirror image of the compound numbered, and not itself in the library.
    pub mirror_image: bool,
    /// InChIKey of this hand.
    pub inchikey: Option<String>,
    /// Formula.
    pub formula: Option<String>,
    /// Molar mass, g/mol.
    pub molar_mass: Option<f64>,
    /// Probability among all compounds looked at, in both hands, each as likely before.
    pub probability: f64,
    /// What the enantiopure compound is expected to read, deg mL g⁻¹ dm⁻¹.
    pub expected: f64,
    /// Its standard uncertainty.
    pub standard_uncertainty: f64,
    /// Where a measurement of the enantiopure compound would lie, 95 %.
    pub band95: [f64; 2],
    /// Whether the measured value lies there.
    pub fits: bool,
    /// References pooled.
    pub references: usize,
    /// Sources among them.
    pub independent_sources: usize,
    /// Whether a reference of independently known hand stands in the same or a kindred solvent.
    pub hand_can_be_tested: bool,
}

/// What was found.
#[derive(Clone, Debug, Serialize)]
pub struct Identified {
    /// The measured specific rotation, deg mL g⁻¹ dm⁻¹.
    pub value: f64,
    /// Its standard uncertainty.
    pub standard_uncertainty: f64,
    /// Compounds with values that could be compared.
    pub compounds_looked_at: usize,
    /// How many, in either hand, fit.
    pub fitting: usize,
    /// How many would fit a value of about this size that belongs to none of them: the mean number over sizes from two
    /// thirds to three halves of it.
    pub fitting_by_chance: f64,
    /// Candidates, the most probable first.
    pub candidates: Vec<FittingCompound>,
    /// Probability that is left for compounds not listed.
    pub probability_of_others: f64,
}

/// Compounds pooled as in a check after the rough pass.
const MOST_POOLED: usize = 60;

/// Half-width of the molar masses looked at, g/mol: the digits of an ordinary mass spectrum.
const MASS_TOLERANCE: f64 = 0.5;

/// Steps to either side of the values evenly from two thirds to three halves of the measured one, on the logarithmic scale.
const STEPS: i32 = 8;

/// Values beyond this factor of the measured one are not looked at: no ordinary change of conditions makes it. An absolute
/// margin in deg mL g⁻¹ dm⁻¹ keeps small values in.
const REACH: f64 = 6.0;
const MARGIN: f64 = 30.0;

/// Finds the compounds that fit.
///
/// # Errors
/// When the library fails.
pub fn identify(
    library: &Library,
    request: &IdentifyRequest,
    settings: &CheckSettings,
) -> Result<Identified, LibraryError> {
    let worth = reading_worth(library)?;
    let mut rough = Rough::new(request, settings, &worth);
    match compounds_of(library, &request.among)? {
        None => {
            let size = request.measured.value.conventional().abs();
            let low = SpecificRotation::from_conventional((size / REACH - MARGIN).max(0.0));
            let high = SpecificRotation::from_conventional(size * REACH + MARGIN);
            library.for_each_rotation_between(low, high, |entry| {
                rough.take(&entry);
                Ok(())
            })?;
        }
        Some(compounds) => {
            for compound in compounds {
                for entry in library.usable_rotations(compound)? {
                    rough.take(&entry);
                }
            }
        }
    }
    rough.finish_compound();
    pool_likeliest(library, request, settings, &worth, rough)
}

/// The compounds to look among; none for all.
fn compounds_of(library: &Library, among: &Among) -> Result<Option<Vec<CompoundId>>, LibraryError> {
    let ids = |compounds: Vec<Compound>| compounds.into_iter().map(|compound| compound.id).collect();
    Ok(match among {
        Among::Library => None,
        Among::Formula(formula) => Some(ids(library.compounds_by_formula(formula)?)),
        Among::Mass(mass) => {
            let mass = mass.grams_per_mole();
            let around = [mass - MASS_TOLERANCE, mass + MASS_TOLERANCE].map(MolarMass::from_grams_per_mole);
            Some(library.compounds_by_mass(around[0], around[1])?)
        }
        Among::These(compounds) => Some(compounds.clone()),
    })
}

/// A compound weighed roughly.
#[derive(Clone, Copy)]
struct Weighed {
    compound: CompoundId,
    /// Density of the measured value in this hand and in the other.
    density: [f64; 2],
    /// In how many hands it fits.
    n_fits: usize,
}

/// The rough pass: compound by compound, each a mixture of its references.
struct Rough<'r> {
    conditions: &'r Conditions,
    settings: &'r CheckSettings,
    worth: &'r ReadingWorth,
    value: f64,
    variance: f64,
    at: Option<CompoundId>,
    values: Vec<(f64, f64)>,
    weighed: Vec<Weighed>,
    by_chance: f64,
}

impl<'r> Rough<'r> {
    fn new(request: &'r IdentifyRequest, settings: &'r CheckSettings, worth: &'r ReadingWorth) -> Self {
        Self {
            conditions: &request.conditions,
            settings,
            worth,
            value: request.measured.value.conventional(),
            variance: request.measured.uncertainty.conventional().powi(2),
            at: None,
            values: Vec::new(),
            weighed: Vec::new(),
            by_chance: 0.0,
        }
    }

    /// Takes the next entry; the entries of a compound come together.
    fn take(&mut self, entry: &Entry) {
        if self.at != Some(entry.compound) {
            self.finish_compound();
            self.at = Some(entry.compound);
        }
        let Ok((value, own_uncertainty)) = value_of(&entry.statement, None, None, self.worth) else {
            return;
        };
        let reference = Reference {
            value,
            own_uncertainty,
            mirror: false,
            source: entry.source.0,
            excess: SampleExcess::NotStated,
            hand: HandKnown::FromSign,
            conditions: Conditions::of(&entry.statement, None),
            form: FormLink::Same,
            draft: false,
            quoted: false,
            excluded: None,
        };
        let (effects, options) = (&self.settings.effects, &self.settings.options);
        self.values
            .extend(values_of_isomer(self.conditions, &[reference], effects, options));
    }

    fn finish_compound(&mut self) {
        let Some(compound) = self.at.take() else { return };
        if self.values.is_empty() {
            return;
        }
        let n = self.values.len() as f64;
        let (x, u2) = (self.value, self.variance);
        let density = [x, -x].map(|x| {
            let sum: f64 = self
                .values
                .iter()
                .map(|(mean, variance)| {
                    let variance = variance + u2;
                    (-0.5 * (x - mean).powi(2) / variance).exp() / variance.sqrt()
                })
                .sum();
            sum / n / (2.0 * std::f64::consts::PI).sqrt()
        });
        let fits = |x: f64| {
            self.values
                .iter()
                .any(|(mean, variance)| (x - mean).abs() <= 1.96 * (variance + u2).sqrt())
        };
        let n_by_chance = (-STEPS..=STEPS)
            .flat_map(|i| {
                let x = x * 1.5f64.powf(f64::from(i) / f64::from(STEPS));
                [x, -x]
            })
            .filter(|&x| fits(x))
            .count();
        self.by_chance += n_by_chance as f64 / f64::from(2 * STEPS + 1);
        let n_fits = usize::from(fits(x)) + usize::from(fits(-x));
        self.weighed.push(Weighed {
            compound,
            density,
            n_fits,
        });
        self.values.clear();
    }
}

/// Pools the likeliest compounds and ranks them, the rest weighed as the rough pass has them.
fn pool_likeliest(
    library: &Library,
    request: &IdentifyRequest,
    settings: &CheckSettings,
    worth: &ReadingWorth,
    rough: Rough<'_>,
) -> Result<Identified, LibraryError> {
    let mut weighed = rough.weighed;
    let likeliest = |w: &Weighed| w.density[0].max(w.density[1]);
    weighed.sort_by(|a, b| likeliest(b).total_cmp(&likeliest(a)));
    let measured = Measured {
        value: request.measured.value,
        uncertainty: request.measured.uncertainty,
        degrees_of_freedom: None,
        excess: None,
    };
    let mut seen: HashSet<i64> = HashSet::new();
    let mut candidates: Vec<FittingCompound> = Vec::new();
    for w in weighed.iter().take(MOST_POOLED) {
        if seen.contains(&w.compound.0) {
            continue;
        }
        let compound = library.compound(w.compound)?;
        // A value on a structure that cannot rotate says nothing of what rotates.
        if matches!(compound.chirality, Chirality::Achiral | Chirality::Meso) {
            continue;
        }
        let holdings = Holdings::read(library, compound)?;
        seen.insert(holdings.compound.id.0);
        seen.extend(holdings.mirror.as_ref().map(|mirror| mirror.id.0));
        candidates.extend(both_hands(&holdings, request, &measured, settings, worth));
    }
    let pooled: f64 = candidates.iter().map(|candidate| candidate.probability).sum();
    let not_pooled = || {
        weighed
            .iter()
            .skip(MOST_POOLED)
            .filter(|w| !seen.contains(&w.compound.0))
    };
    let rest: f64 = not_pooled().map(|w| w.density[0] + w.density[1]).sum();
    let rest_fitting: usize = not_pooled().map(|w| w.n_fits).sum();
    let total = pooled + rest;
    for candidate in &mut candidates {
        candidate.probability = if total > 0.0 {
            candidate.probability / total
        } else {
            0.0
        };
    }
    candidates.sort_by(|a, b| b.fits.cmp(&a.fits).then(b.probability.total_cmp(&a.probability)));
    let fitting = rest_fitting + candidates.iter().filter(|candidate| candidate.fits).count();
    candidates.retain(|candidate| candidate.fits);
    candidates.truncate(request.limit);
    let listed: f64 = candidates.iter().map(|candidate| candidate.probability).sum();
    Ok(Identified {
        value: request.measured.value.conventional(),
        standard_uncertainty: request.measured.uncertainty.conventional(),
        compounds_looked_at: weighed.len(),
        fitting,
        fitting_by_chance: rough.by_chance,
        candidates,
        probability_of_others: (1.0 - listed).max(0.0),
    })
}

/// A compound and its mirror image; `probability` is the density of the measured value, to be divided by the sum.
fn both_hands(
    holdings: &Holdings,
    request: &IdentifyRequest,
    measured: &Measured,
    settings: &CheckSettings,
    worth: &ReadingWorth,
) -> Vec<FittingCompound> {
    let gathered = holdings.against(false, None, worth);
    let references: Vec<Reference> = gathered.references.iter().map(|g| g.reference.clone()).collect();
    let pooling = pool(&request.conditions, &references, &settings.effects, &settings.options);
    let (Some(posterior), Some(pooled)) = (&pooling.posterior, &pooling.pooled) else {
        return Vec::new();
    };
    let u2 = measured.uncertainty.conventional().powi(2);
    let pure = posterior.widened(|c| c.tau * c.tau + u2);
    let Some(band) = judge(&pooling, measured, &settings.thresholds).comparison_band else {
        return Vec::new();
    };
    let x = measured.value.conventional();
    let compound = &holdings.compound;
    [1.0, -1.0]
        .into_iter()
        .map(|hand| {
            let named = if hand > 0.0 {
                Some(compound)
            } else {
                holdings.mirror.as_ref()
            };
            FittingCompound {
                compound: named.unwrap_or(compound).id.0,
                name: named.map_or_else(|| format!("mirror image of {}", compound.name), |own| own.name.clone()),
                mirror_image: named.is_none(),
                inchikey: named.map_or_else(|| compound.mirror_key.clone(), |own| own.inchikey.clone()),
                formula: compound.formula.clone(),
                molar_mass: compound.molar_mass.map(MolarMass::grams_per_mole),
                probability: pure.density(hand * x),
                expected: hand * pooled.value,
                standard_uncertainty: pooled.standard_uncertainty,
                band95: if hand > 0.0 { band } else { [-band[1], -band[0]] },
                fits: (band[0]..=band[1]).contains(&(hand * x)),
                references: pooled.entries_used,
                independent_sources: pooled.independent_sources,
                hand_can_be_tested: pooling.hand_can_be_tested,
            }
        })
        .collect()
}
