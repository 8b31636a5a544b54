//! Keeping the value of the enantiopure compound that a rotation and an ee by another method imply, as a draft.

use super::{CheckRequest, CheckResult};
use crate::compare::ExcessCheck;
use crate::library::{Change, Entry, EntryKind, Hand, Identity, Library, NewSource, SourceKind};
use crate::quantity::{Concentration, ConcentrationUnit, Printed, SpecificRotation, Temperature};
use crate::statement::{PrintedConcentration, Role, StatedExcess, StatedTemperature, Statement};
use crate::tasks::curate::{self, AddRequest, Added, CompoundRequest, CurateError};

/// What is said of a derived entry beside its numbers.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct DerivedRequest {
    /// Where the measurement is written down: notebook and page, batch record.
    pub citation: String,
    /// The method of the ee, such as "HPLC, chiral column".
    pub excess_method: String,
}

/// Why nothing was kept.
#[derive(Debug, thiserror::Error)]
pub enum DeriveError {
    /// The ee comes from a rotation.
    #[error(
        "an ee by \"{method}\" is itself derived from a rotation, and the value would only repeat the reference; give an ee \
         by chromatography or NMR"
    )]
    Circular {
        /// The method.
        method: String,
    },
    /// The pair implies no value.
    #[error("the ee is too small or too uncertain to imply a value of the enantiopure compound; nothing was kept")]
    NothingImplied,
    /// The entry could not be added.
    #[error(transparent)]
    Add(#[from] CurateError),
}

/// Adds the implied value as a draft, marked as derived.
///
/// The value is x / ee with ee by a method that is no rotation, so it is a reference in its own right. What is kept is a
/// value at 100 % ee whose printed ± is the half-width that gives back its standard uncertainty, so that the uncertainty
/// of the ee is counted once. Its hand is unclear until somebody says how it is known, and where the pair does not agree
/// with the references it is kept out of pooling: an impure sample would drag them along. It is left
/// out of every check of the measurement it was derived from, with which it agrees by construction.
///
/// # Errors
/// When the ee comes from a rotation or implies nothing, or the entry cannot be added.
pub fn keep_derived(
    library: &mut Library,
    request: &CheckRequest,
    result: &CheckResult,
    derived: &DerivedRequest,
    change: &Change,
) -> Result<Added, DeriveError> {
    let check = result.excess_check.as_ref().ok_or(DeriveError::NothingImplied)?;
    let disagrees = check.agreement.is_some_and(|agreement| !agreement.agrees);
    let implied = check.implied.as_ref().ok_or(DeriveError::NothingImplied)?;
    let excess = StatedExcess {
        percent: Printed::new(100.0, 0),
        at_least: true,
        method: Some(format!(
            "division by the ee of {} % ({})",
            stated(check),
            derived.excess_method
        )),
    };
    let by_method = StatedExcess {
        method: Some(derived.excess_method.clone()),
        ..excess.clone()
    };
    if by_method.is_from_rotation() {
        return Err(DeriveError::Circular {
            method: derived.excess_method.clone(),
        });
    }
    // The entry is of the compound named, also when the sample was its mirror image.
    let hand = if request.mirror_image { -1.0 } else { 1.0 };
    let value = digits(hand * implied.value, implied.standard_uncertainty);
    let half_width = 3f64.sqrt() * implied.standard_uncertainty;
    let measured = digits(result.measured.value, result.measured.standard_uncertainty);
    let conditions = &request.conditions;
    let sentence = format!(
        "{DERIVED}{measured} divided by the ee of {} % by {}.",
        stated(check),
        derived.excess_method
    );
    let statement = Statement {
        value: Some(value),
        plus_minus: Some(Printed::new(half_width, value.decimals())),
        temperature: conditions
            .temperature
            .map(|t: Temperature| StatedTemperature::At(plain(t.celsius()))),
        line: conditions.line.clone(),
        solvent: conditions.solvent.clone(),
        concentration: conditions.concentration.map(|c: Concentration| PrintedConcentration {
            low: plain(c.grams_per_100_millilitres()),
            high: None,
            unit: ConcentrationUnit::GramsPer100Millilitres,
            unit_printed: true,
        }),
        path: request.cell,
        form: request.form.clone(),
        basis: conditions.basis.clone(),
        stage: conditions.stage,
        ee: Some(excess),
        role: Some(Role::Measured),
        as_printed: sentence.clone(),
        doubts: vec![sentence],
        ..Statement::default()
    };
    let request = AddRequest {
        compound: CompoundRequest {
            name: Some(format!("#{}", request.compound)),
            ..CompoundRequest::default()
        },
        may_add_compound: false,
        source: NewSource {
            kind: SourceKind::Own,
            citation: derived.citation.clone(),
            doi: None,
            year: None,
            url: None,
        },
        kind: EntryKind::Value,
        statement,
        identity: Identity::Sure,
        hand: Hand::Unclear,
        substance: None,
        seen: Some("computed".to_owned()),
        comment: Some("derived from a rotation and an ee by another method".to_owned()),
        method: None,
        kept_out: disagrees.then(|| {
            "rotation and ee did not agree with the references: as long as it is not known why, the value may be that of an \
             impure sample"
                .to_owned()
        }),
    };
    Ok(curate::add(library, &request, change)?)
}

/// What the printed text of a derived entry begins with; the measured value stands behind it.
const DERIVED: &str = "Derived, not measured: ";

/// The measured value that an entry was derived from; none where it was not derived.
pub(super) fn derived_from(entry: &Entry) -> Option<Printed> {
    let (measured, _) = entry.statement.as_printed.strip_prefix(DERIVED)?.split_once(' ')?;
    crate::quantity::parse_number(measured).ok()
}

/// Whether a measurement, in either hand, is the one that a value was derived from, as far as its digits tell.
pub(super) fn is_own(derived_from: Printed, measured: SpecificRotation) -> bool {
    let apart = (derived_from.value().abs() - measured.conventional().abs()).abs();
    apart <= derived_from.half_last_digit() * (1.0 + 1e-9)
}

/// The excess as given, per cent.
fn stated(check: &ExcessCheck) -> String {
    let percent = digits(100.0 * check.excess, 100.0 * check.standard_uncertainty);
    format!("{}{percent}", if check.at_least { "at least " } else { "" })
}

/// A number in the digits its standard uncertainty allows: to the second significant digit of that.
fn digits(value: f64, uncertainty: f64) -> Printed {
    let decimals = (1.0 - uncertainty.max(1e-9).log10().floor()).clamp(0.0, 9.0);
    let factor = 10f64.powf(decimals);
    Printed::new((value * factor).round() / factor, decimals as u8)
}

/// A number in at most four significant digits, as it would be written.
fn plain(value: f64) -> Printed {
    let factor = 10f64.powf((3.0 - value.abs().max(1e-6).log10().floor()).clamp(0.0, 9.0));
    let rounded = (value * factor).round() / factor;
    format!("{rounded}")
        .parse()
        .unwrap_or_else(|_| Printed::new(rounded, 4))
}
