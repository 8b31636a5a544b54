//! Checks one measured value against what the library holds of its compound.

use super::resolve::{Candidate, Resolution, Resolved, resolve};
use crate::compare::{
    Conditions, Difference, EffectTable, ExcessCheck, FiellerShape, FormLink, HandKnown, Judgement, Measured, Options,
    PooledValue, Pooling, Probabilities, ReadingWorth, Reference, SampleExcess, Size, Thresholds, Verdict, VerdictCode,
    judge, pool, value_of,
};
use crate::library::{Compound, Entry, EntryKind, Hand, Identity, Library, LibraryError, ReviewState, Source};
use crate::measurement::{BudgetLine, Reduced};
use crate::quantity::{Concentration, Length, MolarMass, SpecificRotation};
use crate::solvent::Solvent;
use serde::Serialize;
use std::collections::HashMap;

/// A measured value and what to hold it against.
#[derive(Clone, Debug)]
pub struct CheckRequest {
    /// The compound, as typed.
    pub compound: String,
    /// The measured specific rotation with its uncertainty.
    pub measured: Reduced,
    /// The conditions it was measured at.
    pub conditions: Conditions,
    /// The form that was weighed, as typed.
    pub form: Option<String>,
    /// Enantiomeric excess by another method, a fraction, with its standard uncertainty.
    pub excess: Option<(f64, f64)>,
}

/// The tables and settings a check runs with.
#[derive(Clone, Debug)]
pub struct CheckSettings {
    /// Condition effects.
    pub effects: EffectTable,
    /// Thresholds of the verdict.
    pub thresholds: Thresholds,
    /// Settings of the model.
    pub options: Options,
}

impl Default for CheckSettings {
    fn default() -> Self {
        Self {
            effects: EffectTable::built_in(),
            thresholds: Thresholds::built_in(),
            options: Options::default(),
        }
    }
}

/// Why a check gives no result.
#[derive(Debug, thiserror::Error)]
pub enum CheckError {
    /// The compound is not known.
    #[error("{reason}")]
    Unknown {
        /// The text asked for.
        asked: String,
        /// Why, as a sentence.
        reason: String,
        /// The nearest.
        nearest: Vec<Candidate>,
    },
    /// Several compounds answer.
    #[error("{reason}")]
    Ambiguous {
        /// The text asked for.
        asked: String,
        /// Why, as a sentence.
        reason: String,
        /// The candidates.
        candidates: Vec<Candidate>,
    },
    /// The library failed.
    #[error(transparent)]
    Library(#[from] LibraryError),
}

/// The compound of a check.
#[derive(Clone, Debug, Serialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct CheckedCompound {
    /// Its number in this library file.
    pub id: i64,
    /// Preferred name.
    pub name: String,
    /// Standard InChIKey.
    pub inchikey: Option<String>,
    /// Formula.
    pub formula: Option<String>,
    /// Molar mass, g/mol.
    pub molar_mass: Option<f64>,
    /// Name of the mirror image, when the library holds it.
    pub mirror_image: Option<String>,
}

/// Conditions in print form and as numbers.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct ConditionsShown {
    /// Temperature, °C.
    pub temperature_c: Option<f64>,
    /// Line: `D`, a name, or nm.
    pub line: Option<String>,
    /// Wavelength in air, nm.
    pub wavelength_nm: Option<f64>,
    /// Solvent.
    pub solvent: Option<String>,
    /// Concentration, g per 100 mL.
    pub conc_g_per_100ml: Option<f64>,
    /// Cell length, mm.
    pub path_mm: Option<f64>,
    /// Stage of mutarotation.
    pub stage: Option<String>,
    /// Form.
    pub form: Option<String>,
    /// Basis.
    pub basis: Option<String>,
}

/// The measured value.
#[derive(Clone, Debug, Serialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct MeasuredShown {
    /// Specific rotation, deg mL g⁻¹ dm⁻¹.
    pub value: f64,
    /// Its standard uncertainty.
    pub standard_uncertainty: f64,
    /// Whether any part of the uncertainty was assumed.
    pub uncertainty_assumed: bool,
    /// Where the uncertainty comes from.
    pub budget: Vec<BudgetLine>,
    /// Conditions.
    pub conditions: ConditionsShown,
}

/// One reference.
#[derive(Clone, Debug, Serialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct ReferenceShown {
    /// Number of the entry in this library file.
    pub entry: i64,
    /// Citation of its source.
    pub source: String,
    /// Value as it stands in the entry, deg mL g⁻¹ dm⁻¹ for a specific rotation; none for a range with one end.
    pub value: Option<f64>,
    /// The text as printed.
    pub as_printed: String,
    /// Its conditions.
    pub conditions: ConditionsShown,
    /// Whether the entry is of the mirror image.
    pub mirror_image: bool,
    /// Its value at the measurement's line, form and hand.
    pub value_here: Option<f64>,
    /// Its own standard uncertainty, likewise.
    pub own_uncertainty: Option<f64>,
    /// Differences of conditions, aspect by aspect.
    pub differences: Vec<Difference>,
    /// Share in the pooled value; the shares of the used references sum to 1.
    pub weight: f64,
    /// Whether it was pooled.
    pub used: bool,
    /// Why not, or what to know of it.
    pub reason: Option<String>,
    /// Posterior probability that it is a gross error.
    pub gross_error_probability: Option<f64>,
    /// How the hand is known: independent, inferred, unclear.
    pub hand: String,
    /// Review state.
    pub state: String,
    /// How the figure was seen: yes, partly with what was repaired, no (from memory).
    pub seen: Option<String>,
}

/// Optical purity.
#[derive(Clone, Debug, Serialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct OpticalPurityShown {
    /// The plain ratio of the measured value to the pooled one.
    pub ratio: Option<f64>,
    /// Fieller's 95 % set of the ratio.
    pub fieller95: FiellerShown,
    /// Median of the posterior under a uniform prior from −1 to 1.
    pub bounded: f64,
    /// Shortest interval holding 95 % of that posterior.
    pub bounded95: [f64; 2],
    /// `[major, minor]` of 100, from |bounded|.
    pub enantiomer_ratio: [f64; 2],
    /// Whether the uniform prior shapes the interval.
    pub prior_matters: bool,
}

/// Fieller's set.
#[derive(Clone, Debug, Serialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct FiellerShown {
    /// `interval`, `exclusive` (everything outside low to high) or `unbounded`.
    pub shape: FiellerShape,
    /// Low end.
    pub low: Option<f64>,
    /// High end.
    pub high: Option<f64>,
}

/// The result of a check.
#[derive(Clone, Debug, Serialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct CheckResult {
    /// The compound.
    pub compound: CheckedCompound,
    /// The measured value.
    pub measured: MeasuredShown,
    /// Every reference, used ones first, heaviest first.
    pub references: Vec<ReferenceShown>,
    /// The pooled value; null for `no-basis`.
    pub pooled: Option<PooledValue>,
    /// Where a measurement of the enantiopure compound would lie, 95 %.
    pub comparison_band95: Option<[f64; 2]>,
    /// Optical purity; null for `no-basis`.
    pub optical_purity: Option<OpticalPurityShown>,
    /// The check against an enantiomeric excess by another method.
    pub excess_check: Option<ExcessCheck>,
    /// The verdict.
    pub verdict: Verdict,
    /// The probabilities the verdict rests on.
    pub probabilities: Option<Probabilities>,
    /// What to bear in mind.
    pub cautions: Vec<String>,
}

/// Checks one measured value.
///
/// # Errors
/// When the compound is unknown or ambiguous, or the library fails.
pub fn check(library: &Library, request: &CheckRequest, settings: &CheckSettings) -> Result<CheckResult, CheckError> {
    let compound = find(library, &request.compound)?;
    let gathered = gather(library, &compound, request.form.as_deref())?;
    let references: Vec<Reference> = gathered.references.iter().map(|g| g.reference.clone()).collect();
    let pooling = pool(&request.conditions, &references, &settings.effects, &settings.options);
    let measured = Measured {
        value: request.measured.value,
        uncertainty: request.measured.uncertainty,
        degrees_of_freedom: None,
        excess: request.excess,
    };
    let judgement = judge(&pooling, &measured, &settings.thresholds);
    Ok(assemble(request, &compound, gathered, &pooling, judgement))
}

/// The one compound a text names.
fn find(library: &Library, text: &str) -> Result<Compound, CheckError> {
    match resolve(library, text)? {
        Resolution::One(Resolved { compound, .. }) => Ok(compound),
        Resolution::Ambiguous { reason, candidates } => Err(CheckError::Ambiguous {
            asked: text.to_owned(),
            reason,
            candidates,
        }),
        Resolution::Unknown { reason, nearest, .. } => Err(CheckError::Unknown {
            asked: text.to_owned(),
            reason,
            nearest,
        }),
    }
}

/// A reference with the entry it is made of.
struct GatheredReference {
    reference: Reference,
    entry: Entry,
    citation: String,
}

/// Everything the library holds that could be compared.
struct Gathered {
    references: Vec<GatheredReference>,
    mirror: Option<Compound>,
    n_specifications: usize,
    form_notes: Vec<String>,
}

fn gather(library: &Library, compound: &Compound, form: Option<&str>) -> Result<Gathered, LibraryError> {
    let mirror = library.mirror_image(compound)?;
    let worth = reading_worth(library)?;
    let mut sources: HashMap<i64, Source> = HashMap::new();
    let mut gathered = Gathered {
        references: Vec::new(),
        mirror,
        n_specifications: 0,
        form_notes: Vec::new(),
    };
    let measured_form = MeasuredForm::of(compound, form, &mut gathered.form_notes);
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
            let reference = reference_of(&entry, &of, is_mirror, &measured_form, &worth);
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

/// What a structure's components are: copies of the parent, waters, and the rest.
#[derive(Clone, Debug, PartialEq)]
struct Composition {
    parents: f64,
    waters: f64,
    others: Vec<(String, f64)>,
}

impl Composition {
    /// Reads the formula layer of an InChI: `2C17H19NO3.H2O4S.5H2O`. The largest component is the parent.
    fn of(inchi: &str) -> Option<Self> {
        let layer = inchi.split('/').nth(1)?;
        let mut parts: Vec<(String, f64)> = layer
            .split('.')
            .map(|part| {
                let digits = part.len() - part.trim_start_matches(|c: char| c.is_ascii_digit()).len();
                (part[digits..].to_owned(), part[..digits].parse().unwrap_or(1.0))
            })
            .collect();
        let waters = parts
            .iter()
            .filter(|(formula, _)| formula == "H2O")
            .map(|(_, n)| n)
            .sum();
        parts.retain(|(formula, _)| formula != "H2O");
        // InChI lists components from the largest down in its own order; the parent is the one with most carbon.
        let carbon = |formula: &str| -> u32 {
            formula
                .strip_prefix('C')
                .filter(|rest| !rest.starts_with(|c: char| c.is_ascii_lowercase()))
                .map_or(0, |rest| {
                    let digits: String = rest.chars().take_while(char::is_ascii_digit).collect();
                    digits.parse().unwrap_or(1)
                })
        };
        let parent = (0..parts.len()).max_by_key(|&i| carbon(&parts[i].0))?;
        let (_, parents) = parts.remove(parent);
        parts.sort_by(|a, b| a.0.cmp(&b.0));
        Some(Self {
            parents,
            waters,
            others: parts,
        })
    }

    /// Whether two forms differ by water alone.
    fn same_but_for_water(&self, other: &Self) -> bool {
        let per_parent = |c: &Self| -> Vec<(String, f64)> {
            c.others
                .iter()
                .map(|(formula, n)| (formula.clone(), n / c.parents))
                .collect()
        };
        per_parent(self) == per_parent(other)
    }
}

/// Molar mass of water, g/mol (IUPAC standard atomic weights 2021, conventional: H 1.008, O 15.999).
const WATER: f64 = 18.015;

/// The form that was weighed.
struct MeasuredForm {
    /// The compound asked for.
    compound: i64,
    molar_mass: Option<MolarMass>,
    composition: Option<Composition>,
    /// Waters per parent that the user states beyond those of the compound's own formula; none when not stated.
    stated_waters: Option<f64>,
    /// The user named a form that is not understood.
    unknown: bool,
}

impl MeasuredForm {
    fn of(compound: &Compound, form: Option<&str>, notes: &mut Vec<String>) -> Self {
        let composition = compound.inchi.as_deref().and_then(Composition::of);
        let mut made = Self {
            compound: compound.id.0,
            molar_mass: compound.molar_mass,
            composition,
            stated_waters: None,
            unknown: false,
        };
        let Some(form) = form else { return made };
        match waters_in(form) {
            Some(waters) if made.molar_mass.is_some() => made.stated_waters = Some(waters),
            _ if names_form(compound, form) => {}
            _ => {
                made.unknown = true;
                notes.push(format!(
                    "The form \"{form}\" is not one this compound is known by here; it is treated as unknown. Name the salt \
                     itself as the compound, or write a hydrate as \"monohydrate\"."
                ));
            }
        }
        made
    }

    /// Molar mass per parent of the form measured.
    fn mass_per_parent(&self) -> Option<f64> {
        let mass = self.molar_mass?.grams_per_mole();
        let (parents, own_waters) = self.composition.as_ref().map_or((1.0, 0.0), |c| (c.parents, c.waters));
        let per_parent = mass / parents;
        Some(match self.stated_waters {
            Some(waters) => per_parent + (waters - own_waters / parents) * WATER,
            None => per_parent,
        })
    }

    /// How a reference's form stands to this one.
    ///
    /// # Errors
    /// Why the two forms cannot be compared.
    fn link(&self, of: &Compound) -> Result<FormLink, String> {
        if self.unknown {
            return Ok(FormLink::Unknown);
        }
        let own = self.compound == of.id.0;
        let composition = if own {
            self.composition.clone()
        } else {
            of.inchi.as_deref().and_then(Composition::of)
        };
        let is_mirror_or_own = own || composition == self.composition;
        if is_mirror_or_own && self.stated_waters.is_none() {
            return Ok(FormLink::Same);
        }
        let refused = || format!("another form: {}", of.name);
        let mass = of.molar_mass.ok_or_else(refused)?.grams_per_mole();
        let here = self.mass_per_parent().ok_or_else(refused)?;
        let (there, by_water) = match (&composition, &self.composition) {
            (Some(theirs), Some(ours)) => (mass / theirs.parents, ours.same_but_for_water(theirs)),
            _ if own => (mass, true),
            _ => return Err(refused()),
        };
        let factor = there / here;
        Ok(if by_water {
            FormLink::Hydrate { factor }
        } else {
            FormLink::Salt { factor }
        })
    }
}

/// Waters that a word for a hydrate means.
fn waters_in(form: &str) -> Option<f64> {
    const WORDS: [(&str, f64); 12] = [
        ("anhydrous", 0.0),
        ("anhydrate", 0.0),
        ("hemihydrate", 0.5),
        ("sesquihydrate", 1.5),
        ("monohydrate", 1.0),
        ("dihydrate", 2.0),
        ("trihydrate", 3.0),
        ("tetrahydrate", 4.0),
        ("pentahydrate", 5.0),
        ("hexahydrate", 6.0),
        ("heptahydrate", 7.0),
        ("octahydrate", 8.0),
    ];
    let form = form.trim().to_lowercase();
    WORDS.iter().find(|(word, _)| form == *word).map(|&(_, waters)| waters)
}

/// Whether a compound is known by a name that holds the form's word.
fn names_form(compound: &Compound, form: &str) -> bool {
    let form = form.trim().to_lowercase();
    std::iter::once(&compound.name)
        .chain(&compound.other_names)
        .any(|name| name.to_lowercase().contains(&form))
}

fn shown_conditions(conditions: &Conditions, form: Option<&str>, path: Option<Length>) -> ConditionsShown {
    ConditionsShown {
        temperature_c: conditions.temperature.map(crate::quantity::Temperature::celsius),
        line: conditions.line.as_ref().map(ToString::to_string),
        wavelength_nm: conditions
            .line
            .as_ref()
            .and_then(|line| line.wavelength())
            .map(|w| w.to_air().nanometres()),
        solvent: conditions.solvent.as_ref().map(ToString::to_string),
        conc_g_per_100ml: conditions.concentration.map(Concentration::grams_per_100_millilitres),
        path_mm: path.map(Length::millimetres),
        stage: conditions.stage.map(|stage| match stage {
            crate::statement::Stage::Initial => "initial".to_owned(),
            crate::statement::Stage::Final => "final".to_owned(),
        }),
        form: form.map(str::to_owned),
        basis: conditions.basis.clone(),
    }
}

fn assemble(
    request: &CheckRequest,
    compound: &Compound,
    gathered: Gathered,
    pooling: &Pooling,
    judgement: Judgement,
) -> CheckResult {
    let cautions = cautions(request, &gathered, pooling, &judgement);
    let entries: Vec<i64> = gathered.references.iter().map(|g| g.entry.id.0).collect();
    let mut references: Vec<ReferenceShown> = gathered
        .references
        .iter()
        .zip(&pooling.references)
        .map(|(gathered, outcome)| {
            let statement = &gathered.entry.statement;
            let reason = match outcome.copy_of {
                Some(other) if !outcome.used && gathered.reference.excluded.is_none() => Some(format!(
                    "probably one measurement together with entry {}",
                    entries[other]
                )),
                _ => outcome.reason.clone(),
            };
            ReferenceShown {
                entry: gathered.entry.id.0,
                source: gathered.citation.clone(),
                value: statement.central_value(),
                as_printed: statement.as_printed.clone(),
                conditions: shown_conditions(
                    &gathered.reference.conditions,
                    statement.form.as_deref(),
                    statement.path,
                ),
                mirror_image: gathered.reference.mirror,
                value_here: outcome.value_here.filter(|_| outcome.used),
                own_uncertainty: outcome.own_uncertainty.filter(|_| outcome.used),
                differences: outcome.differences.clone(),
                weight: outcome.weight,
                used: outcome.used,
                reason,
                gross_error_probability: outcome.gross_error_probability,
                hand: gathered.entry.hand.to_string(),
                state: gathered.entry.state.to_string(),
                seen: gathered.entry.seen.clone(),
            }
        })
        .collect();
    references.sort_by(|a, b| b.used.cmp(&a.used).then(b.weight.total_cmp(&a.weight)));
    CheckResult {
        compound: CheckedCompound {
            id: compound.id.0,
            name: compound.name.clone(),
            inchikey: compound.inchikey.clone(),
            formula: compound.formula.clone(),
            molar_mass: compound.molar_mass.map(MolarMass::grams_per_mole),
            mirror_image: gathered.mirror.map(|mirror| mirror.name),
        },
        measured: MeasuredShown {
            value: request.measured.value.conventional(),
            standard_uncertainty: request.measured.uncertainty.conventional(),
            uncertainty_assumed: request.measured.budget.iter().any(|line| line.assumed),
            budget: request.measured.budget.clone(),
            conditions: shown_conditions(&request.conditions, request.form.as_deref(), None),
        },
        references,
        pooled: pooling.pooled.clone(),
        comparison_band95: judgement.comparison_band,
        optical_purity: judgement.optical_purity.map(|p| OpticalPurityShown {
            ratio: p.ratio,
            fieller95: FiellerShown {
                shape: p.fieller95.shape,
                low: p.fieller95.low,
                high: p.fieller95.high,
            },
            bounded: p.bounded,
            bounded95: p.bounded95,
            enantiomer_ratio: p.enantiomer_ratio,
            prior_matters: p.prior_matters,
        }),
        excess_check: judgement.excess_check,
        verdict: judgement.verdict,
        probabilities: judgement.probabilities,
        cautions,
    }
}

/// What to bear in mind with this result, one sentence each, the weightiest first.
fn cautions(request: &CheckRequest, gathered: &Gathered, pooling: &Pooling, judgement: &Judgement) -> Vec<String> {
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
    let assumed: Vec<String> = request
        .measured
        .budget
        .iter()
        .filter(|line| line.assumed)
        .map(|line| format!("{} {}", line.source, line.input))
        .collect();
    if !assumed.is_empty() {
        said.push(format!(
            "The uncertainty of the measurement rests on stated defaults ({}); give your own with --uncertainty.",
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
