//! Checks one measured value against what the library holds of its compound.

mod cautions;
mod derive;
mod explain;
mod form;
mod gather;
mod result;

pub use derive::{DeriveError, DerivedRequest, keep_derived};
pub use result::{
    CheckResult, CheckedCompound, ConditionsShown, FiellerShown, LineConversionShown, MeasuredShown,
    OpticalPurityShown, ReferenceShown,
};

use crate::compare::{
    Cause, CauseContext, CauseTable, Conditions, EffectTable, Judgement, Measured, MethodExcess, Options, Pooling,
    Reference, Thresholds, causes, judge, pool,
};
use crate::compound::Structure;
use crate::library::{Compound, CompoundId, Library, LibraryError};
use crate::measurement::Reduced;
use crate::quantity::{Angle, Concentration, Length, MolarMass};
use cautions::cautions;
pub(super) use explain::{Relatives, background};
pub(super) use gather::{Gathered, Holdings, reading_worth};

/// Standard uncertainty of an enantiomeric excess by another method, a fraction (chromatographic integration, common
/// practice).
pub const EXCESS_UNCERTAINTY: f64 = 0.01;

/// A measured value and what to hold it against.
#[derive(Clone, Debug)]
pub struct CheckRequest {
    /// The compound.
    pub compound: CompoundId,
    /// The sample is the mirror image of that compound.
    pub mirror_image: bool,
    /// The measured specific rotation with its uncertainty.
    pub measured: Reduced,
    /// The conditions it was measured at.
    pub conditions: Conditions,
    /// The cell it was measured in, to show.
    pub cell: Option<Length>,
    /// The blank that was subtracted, when known: one taken with the wrong sign is a cause of its own.
    pub blank: Option<Angle>,
    /// The form that was weighed, as typed.
    pub form: Option<String>,
    /// Enantiomeric excess by another method.
    pub excess: Option<MethodExcess>,
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
    /// Prior weights of the causes.
    pub causes: CauseTable,
}

impl Default for CheckSettings {
    fn default() -> Self {
        Self {
            effects: EffectTable::built_in(),
            thresholds: Thresholds::built_in(),
            options: Options::default(),
            causes: CauseTable::built_in(),
        }
    }
}

/// The compound whose mirror image a structure (SMILES or InChI) is, when the library holds it.
///
/// # Errors
/// When the library fails. A text that is no structure gives none.
pub fn mirror_of(library: &Library, text: &str) -> Result<Option<Compound>, LibraryError> {
    let structure = if text.starts_with("InChI=") {
        Structure::from_inchi(text)
    } else {
        Structure::from_smiles(text)
    };
    let Some(mirror) = structure.and_then(|it| it.mirror_image()).ok() else {
        return Ok(None);
    };
    Ok(library
        .compounds_by_inchikey(mirror.key().as_str())?
        .into_iter()
        .find(|found| found.descriptor.is_none()))
}

/// Checks one measured value.
///
/// # Errors
/// When the library holds no such compound, or fails.
pub fn check(library: &Library, request: &CheckRequest, settings: &CheckSettings) -> Result<CheckResult, LibraryError> {
    let holdings = Holdings::read(library, library.compound(request.compound)?)?;
    let worth = reading_worth(library)?;
    let mut gathered = holdings.against(request.mirror_image, request.form.as_deref(), &worth);
    gathered.leave_out_own(request.measured.value);
    let references: Vec<Reference> = gathered.references.iter().map(|g| g.reference.clone()).collect();
    let pooling = pool(&request.conditions, &references, &settings.effects, &settings.options);
    let measured = Measured {
        value: request.measured.value,
        uncertainty: request.measured.uncertainty,
        degrees_of_freedom: request.measured.degrees_of_freedom,
        excess: request.excess,
    };
    let judgement = judge(&pooling, &measured, &settings.thresholds);
    let causes = if pooling.posterior.is_none() {
        Vec::new()
    } else {
        let relatives = Relatives::read(library, &holdings.compound)?;
        let (compound, conditions) = (&holdings.compound, &request.conditions);
        let context = CauseContext {
            cell: request.cell,
            angle_given: request.measured.angle.is_some(),
            blank: request.blank,
            ..background(compound, &relatives, &gathered, conditions, &worth, settings)
        };
        let (effects, table) = (&settings.effects, &settings.causes);
        causes(&pooling, &measured, conditions, &context, effects, table)
    };
    Ok(assemble(
        request,
        &holdings.compound,
        &gathered,
        &pooling,
        judgement,
        causes,
        &settings.effects,
    ))
}

fn shown_conditions(conditions: &Conditions, form: Option<&str>, path: Option<Length>) -> ConditionsShown {
    ConditionsShown {
        temperature_c: conditions.temperature.map(crate::quantity::Temperature::celsius),
        line: conditions.line.as_ref().map(ToString::to_string),
        wavelength_nm: conditions
            .line
            .as_ref()
            .and_then(crate::quantity::SpectralLine::wavelength)
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

/// What became of every reference, the used ones first by their weight.
pub(super) fn references_shown(gathered: &Gathered<'_>, pooling: &Pooling) -> Vec<ReferenceShown> {
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
                None if !outcome.used && gathered.reference.excluded.is_none() => match outcome.series_value {
                    Some(other) => Some(format!(
                        "in one series with entry {}, which is pooled in its place",
                        entries[other]
                    )),
                    None => outcome.reason.clone(),
                },
                _ => outcome.reason.clone(),
            };
            ReferenceShown {
                entry: gathered.entry.id.0,
                source: gathered.citation.to_string(),
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
                line_conversion: outcome.line_conversion.as_ref().map(|made| LineConversionShown {
                    method: made.method,
                    from_nm: made.from_nm,
                    to_nm: made.to_nm,
                    factor: made.factor,
                    standard_uncertainty: made.standard_uncertainty,
                    entries: made.references.iter().map(|&at| entries[at]).collect(),
                    warnings: made.warnings.clone(),
                }),
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
    references
}

fn assemble(
    request: &CheckRequest,
    compound: &Compound,
    gathered: &Gathered<'_>,
    pooling: &Pooling,
    judgement: Judgement,
    causes: Vec<Cause>,
    effects: &EffectTable,
) -> CheckResult {
    let cautions = cautions(request, gathered, pooling, &judgement, effects);
    let references = references_shown(gathered, pooling);
    let bounded = judgement.bounded_purity().cloned();
    CheckResult {
        compound: CheckedCompound {
            id: compound.id.0,
            name: if request.mirror_image {
                format!("mirror image of {}", compound.name)
            } else {
                compound.name.clone()
            },
            inchikey: if request.mirror_image {
                compound.mirror_key.clone()
            } else {
                compound.inchikey.clone()
            },
            formula: compound.formula.clone(),
            molar_mass: compound.molar_mass.map(MolarMass::grams_per_mole),
            mirror_image: gathered.mirror.map(|mirror| mirror.name.clone()),
        },
        measured: MeasuredShown {
            value: request.measured.value.conventional(),
            standard_uncertainty: request.measured.uncertainty.conventional(),
            uncertainty_assumed: request.measured.budget.iter().any(|line| line.assumed),
            budget: request.measured.budget.clone(),
            conditions: shown_conditions(&request.conditions, request.form.as_deref(), request.cell),
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
            bounded: bounded.as_ref().map(|p| p.bounded),
            bounded95: bounded.as_ref().map(|p| p.bounded95),
            enantiomer_ratio: bounded.as_ref().map(|p| p.enantiomer_ratio),
            prior_matters: p.prior_matters,
        }),
        excess_check: judgement.excess_check,
        derived_entry: None,
        verdict: judgement.verdict,
        probabilities: judgement.probabilities,
        causes,
        cautions,
    }
}
