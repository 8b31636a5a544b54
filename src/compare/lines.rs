//! How a reference read at another line is taken to the line of the measurement.
//!
//! In this order: by dispersion data of the compound in the reference's solvent (three lines or more of one source); by the
//! values of one source at both lines; between 546 and 633 nm only, by a generic one-term law. Each conversion carries its
//! own standard uncertainty. Where none applies, or where the library's own data speak against one, the reference is not
//! comparable. Only values of one source, solvent and preparation form a series: in a ratio of two of them a wrong weight
//! or an impure sample cancels, in a ratio across sources it does not.
//!
//! A line that is not printed is the sodium D line (common practice of papers and handbooks): a reference without one is
//! comparable as it is with a measurement at D, and is taken from D to any other line, as it would be had it printed D. Of a
//! measurement whose line is not given the same is assumed. A line with a name that stands for no wavelength, such as `red`,
//! is comparable with itself alone.
//!
//! A series is one piece of evidence. When it holds the line of the measurement its values there are pooled and no others;
//! otherwise the value that reaches the line with the least uncertainty is.
//!
//! Start reading at [`steps`].

use super::conditions::{Aspect, Conditions, FormLink};
use super::effects::{Case, EffectTable};
use super::reference::Reference;
use crate::dispersion::{ConversionError, Dispersion, DispersionPoint, analyse};
use crate::quantity::{ONE_LINE_NM, SpecificRotation, SpectralLine, Wavelength};
use crate::solvent::{Kinship, kinship};
use serde::{Deserialize, Serialize};
use std::cell::OnceCell;

/// What a conversion between lines rests on.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub enum LineMethod {
    /// The law fitted to values of the compound in that solvent at three lines or more.
    OwnDispersion,
    /// Values of one source at both lines.
    BothLines,
    /// The generic one-term law of colourless compounds, 546 to 633 nm.
    GenericLaw,
}

/// A conversion of a reference to the line of the measurement.
#[derive(Clone, Debug, PartialEq)]
pub struct LineConversion {
    /// What it rests on.
    pub method: LineMethod,
    /// The line the reference was read at, nm in air.
    pub from_nm: f64,
    /// The line of the measurement, nm in air.
    pub to_nm: f64,
    /// The factor.
    pub factor: f64,
    /// Its standard uncertainty.
    pub standard_uncertainty: f64,
    /// The references it is made of; none for the generic law.
    pub references: Vec<usize>,
    /// What makes it doubtful, one sentence each.
    pub warnings: Vec<String>,
}

impl LineConversion {
    /// The standard uncertainty of the factor relative to it, with the sign in which the generic law's λ0 moves it, so that
    /// conversions up and down the spectrum share that draw rightly.
    pub(super) fn signed_relative(&self) -> f64 {
        let relative = self.standard_uncertainty / self.factor.abs();
        if self.method == LineMethod::GenericLaw && self.from_nm < self.to_nm {
            -relative
        } else {
            relative
        }
    }

    /// The conversion where one of the two lines is assumed: what a line that is not printed may do comes on top.
    fn resting_on(mut self, assumption: &str, value: SpecificRotation, effects: &EffectTable) -> Self {
        let size = value.conventional().abs();
        if size > 0.0 {
            let unprinted = effects.sd(Aspect::Line, Case::Unknown, size) / size;
            self.standard_uncertainty = self.standard_uncertainty.hypot(self.factor * unprinted);
        }
        self.warnings
            .push(format!("The conversion rests on an assumption: {assumption}."));
        self
    }

    /// The group of references that share this conversion's error.
    pub(super) fn group(&self) -> String {
        match self.method {
            LineMethod::GenericLaw => "generic law".to_owned(),
            method => format!("{method:?} {:?}", self.references),
        }
    }
}

/// How the line of a reference stands to that of the measurement.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum LineStep {
    /// The same light.
    Same,
    /// Not printed on one side or both, and the other is the sodium D line.
    Unknown,
    /// Another line, converted.
    Converted(LineConversion),
    /// Another line; why it is not converted.
    Refused(String),
}

impl LineStep {
    /// The factor on the value; none where there is no conversion.
    pub(super) fn factor(&self) -> Option<f64> {
        match self {
            Self::Same | Self::Unknown => Some(1.0),
            Self::Converted(made) => Some(made.factor),
            Self::Refused(_) => None,
        }
    }
}

/// The steps of all references.
#[derive(Debug)]
pub(super) struct LineSteps {
    /// One step a reference.
    pub(super) steps: Vec<LineStep>,
    /// The reference of the same series that is pooled in its place.
    pub(super) stands_for: Vec<Option<usize>>,
}

/// How each reference is taken to the line of the measurement.
pub(super) fn steps(measured: &Conditions, references: &[Reference], effects: &EffectTable) -> LineSteps {
    let here = measured.line.as_ref();
    let relations: Vec<Relation> = references
        .iter()
        .map(|reference| Relation::of(reference.conditions.line.as_ref(), here))
        .collect();
    let is_converted = |relation: &Relation| matches!(relation, Relation::Apart { .. });
    let series = if relations.iter().any(is_converted) {
        gather(references, effects)
    } else {
        Vec::new()
    };
    let steps: Vec<LineStep> = references
        .iter()
        .zip(relations)
        .map(|(reference, relation)| match relation {
            Relation::Same => LineStep::Same,
            Relation::Unknown => LineStep::Unknown,
            Relation::NoWavelength(name) => {
                LineStep::Refused(format!("the wavelength of the line \"{name}\" is not known"))
            }
            Relation::Apart { from, to, assumed } => match convert(reference, from, to, &series) {
                Ok(made) => LineStep::Converted(match assumed {
                    Some(assumption) => made.resting_on(assumption, reference.value, effects),
                    None => made,
                }),
                Err(reason) => LineStep::Refused(match assumed {
                    Some(assumption) => format!("{assumption}; {reason}"),
                    None => reason,
                }),
            },
        })
        .collect();
    let stands_for = represent(references, &series, &steps);
    LineSteps { steps, stands_for }
}

/// What is assumed of a line that is not printed.
const REFERENCE_AT_D: &str = "its line is not printed and is taken as D";
/// What is assumed of a line that is not given.
const MEASURED_AT_D: &str = "the line of the measurement is not given and is taken as D";

/// How two lines stand to each other.
enum Relation {
    /// The same light.
    Same,
    /// Not printed on one side or both, and not known to be another than D.
    Unknown,
    /// A line whose name stands for no wavelength, and another.
    NoWavelength(String),
    /// Two lines.
    Apart {
        from: Wavelength,
        to: Wavelength,
        /// What is assumed, where one is not printed.
        assumed: Option<&'static str>,
    },
}

impl Relation {
    fn of(reference: Option<&SpectralLine>, measured: Option<&SpectralLine>) -> Self {
        let (there, here) = match (reference, measured) {
            (None, None) => return Self::Unknown,
            (there, here) => (
                there.unwrap_or(&SpectralLine::SodiumD),
                here.unwrap_or(&SpectralLine::SodiumD),
            ),
        };
        let assumed = match (reference, measured) {
            (None, _) => Some(REFERENCE_AT_D),
            (_, None) => Some(MEASURED_AT_D),
            _ => None,
        };
        if there.same_light(here) {
            return assumed.map_or(Self::Same, |_| Self::Unknown);
        }
        match (there.wavelength(), here.wavelength()) {
            (Some(from), Some(to)) => Self::Apart { from, to, assumed },
            (None, _) => Self::NoWavelength(there.to_string()),
            (_, None) => Self::NoWavelength(here.to_string()),
        }
    }
}

/// Values of one source, solvent and preparation at several lines.
struct Series<'a> {
    /// Its first value.
    example: &'a Reference,
    members: Vec<Member>,
    dispersion: OnceCell<Dispersion>,
}

/// A value of a series.
#[derive(Clone, Copy)]
struct Member {
    at: usize,
    wavelength: Wavelength,
    value: f64,
    /// Standard uncertainty beside the first member of the series: its own, and what temperature and concentration may do
    /// where they are not known to be the same.
    u: f64,
}

/// Within how many kelvin, and within which factor of concentration, values count as of one preparation.
const SAME_KELVIN: f64 = 2.0;
const SAME_FACTOR: f64 = 1.25;

/// Lines from which a series is dispersion data: the one-term law needs three.
const DISPERSION_LINES: usize = 3;

/// Standard uncertainties from which a sign is clear, and relative uncertainty up to which a ratio is used: beyond it the
/// ratio is nowhere near normal.
const CLEAR: f64 = 2.0;
const MOST_UNCERTAIN: f64 = 0.25;

/// Standard uncertainty, relative, of a law of one or two terms as a law: within the data, and beyond their ends. Leaving
/// single lines out of quartz and of the sugar scale (four to seven lines from 365 to 633 nm of a published table), the law
/// fitted to the rest was off by up to 0.2 % within and 0.6 % beyond (`tests/it/lines.rs`), with no sign of it in the fit.
const LAW_WITHIN: f64 = 0.002;
const LAW_BEYOND: f64 = 0.006;

/// Puts the usable values into series; those with a single line are left out.
fn gather<'a>(references: impl IntoIterator<Item = &'a Reference>, effects: &EffectTable) -> Vec<Series<'a>> {
    let mut found: Vec<Series<'a>> = Vec::new();
    for (at, reference) in references.into_iter().enumerate() {
        let conditions = &reference.conditions;
        let wavelength = conditions.line.as_ref().and_then(SpectralLine::wavelength);
        let (Some(wavelength), None, Some(_)) = (wavelength, &reference.excluded, &conditions.solvent) else {
            continue;
        };
        let own = reference.own_uncertainty.conventional();
        let value = reference.value.conventional();
        let home = found.iter_mut().find_map(|series| {
            let first = series.example;
            let is_one =
                first.source == reference.source && first.mirror == reference.mirror && alike(first, reference);
            let apart = is_one.then(|| preparation(&first.conditions, conditions, effects, value.abs()))??;
            Some((series, apart))
        });
        match home {
            Some((series, apart)) => series.members.push(Member {
                at,
                wavelength,
                value,
                u: own.hypot(apart),
            }),
            None => found.push(Series {
                example: reference,
                members: vec![Member {
                    at,
                    wavelength,
                    value,
                    u: own,
                }],
                dispersion: OnceCell::new(),
            }),
        }
    }
    found.retain(|series| series.n_lines() > 1);
    found
}

/// Whether two references are of one solvent, form, stage and basis, so that the dispersion of one is that of the other.
fn alike(a: &Reference, b: &Reference) -> bool {
    let (x, y) = (&a.conditions, &b.conditions);
    // In solution a hydrate and the anhydrous substance are one.
    let form = |link: &FormLink| match link {
        FormLink::Hydrate { .. } => FormLink::Same,
        other => other.clone(),
    };
    matches!((&x.solvent, &y.solvent), (Some(p), Some(q)) if kinship(p, q) == Kinship::Same)
        && form(&a.form) == form(&b.form)
        && x.stage == y.stage
        && x.basis == y.basis
}

/// What differences of temperature and concentration within one series may do to a value of this size (standard
/// uncertainty); none where they are too far apart for one preparation.
fn preparation(a: &Conditions, b: &Conditions, effects: &EffectTable, size: f64) -> Option<f64> {
    let temperature = match (a.temperature, b.temperature) {
        (Some(a), Some(b)) => {
            let kelvins = (a.celsius() - b.celsius()).abs();
            (kelvins <= SAME_KELVIN).then(|| kelvins * effects.sd(Aspect::Temperature, Case::Differs, size))?
        }
        (None, None) => 0.0,
        _ => effects.sd(Aspect::Temperature, Case::Unknown, size),
    };
    let concentration = match (a.concentration, b.concentration) {
        (Some(a), Some(b)) => {
            let ratio = a.grams_per_100_millilitres() / b.grams_per_100_millilitres();
            let apart = ratio.ln().abs();
            (apart <= SAME_FACTOR.ln()).then(|| apart * effects.sd(Aspect::Concentration, Case::Differs, size))?
        }
        (None, None) => 0.0,
        _ => effects.sd(Aspect::Concentration, Case::Unknown, size),
    };
    Some(temperature.hypot(concentration))
}

impl Series<'_> {
    fn n_lines(&self) -> usize {
        let mut nm: Vec<f64> = self.members.iter().map(|m| m.wavelength.nanometres()).collect();
        nm.sort_by(f64::total_cmp);
        1 + nm.windows(2).filter(|pair| pair[1] - pair[0] > ONE_LINE_NM).count()
    }

    fn dispersion(&self) -> &Dispersion {
        self.dispersion.get_or_init(|| {
            let points: Vec<DispersionPoint> = self
                .members
                .iter()
                .map(|member| DispersionPoint {
                    wavelength: member.wavelength,
                    rotation: SpecificRotation::from_conventional(member.value),
                    uncertainty: Some(SpecificRotation::from_conventional(member.u)),
                })
                .collect();
            analyse(&points)
        })
    }

    /// The mean at a line, weighted by the inverse variances, and its standard uncertainty.
    fn mean_at(&self, line: Wavelength) -> Option<(f64, f64)> {
        let near = |m: &&Member| (m.wavelength.nanometres() - line.nanometres()).abs() <= ONE_LINE_NM;
        let values: Vec<(f64, f64)> = self.members.iter().filter(near).map(|m| (m.value, m.u)).collect();
        (!values.is_empty()).then(|| weighted_mean(&values))
    }

    fn origins(&self) -> Vec<usize> {
        self.members.iter().map(|member| member.at).collect()
    }
}

/// The mean weighted by inverse variances and its standard uncertainty, widened by the Birge ratio where the values scatter
/// more than their uncertainties allow (Birge, Phys. Rev. 40 (1932) 207).
fn weighted_mean(values: &[(f64, f64)]) -> (f64, f64) {
    let weight = |u: f64| (u * u).max(f64::MIN_POSITIVE).recip();
    let total: f64 = values.iter().map(|&(_, u)| weight(u)).sum();
    let mean = values.iter().map(|&(x, u)| weight(u) * x).sum::<f64>() / total;
    let squares: f64 = values.iter().map(|&(x, u)| weight(u) * (x - mean).powi(2)).sum();
    let birge = if values.len() > 1 {
        (squares / (values.len() - 1) as f64).max(1.0)
    } else {
        1.0
    };
    (mean, (birge / total).sqrt())
}

/// A ratio found in one series.
struct Ratio {
    factor: f64,
    u: f64,
    origins: Vec<usize>,
    warnings: Vec<String>,
}

/// The conversion of a reference, by the first way that applies.
fn convert(
    reference: &Reference,
    from: Wavelength,
    to: Wavelength,
    series: &[Series<'_>],
) -> Result<LineConversion, String> {
    let fitting = || series.iter().filter(|series| alike(series.example, reference));
    // Own data that say that no ratio holds there: the generic law must not overrule them.
    let mut against: Option<String> = None;
    let mut own = Vec::new();
    for series in fitting().filter(|series| series.n_lines() >= DISPERSION_LINES) {
        match by_dispersion(series, from, to) {
            Ok(Some(ratio)) => own.push(ratio),
            Ok(None) => {}
            Err(reason) => against = Some(reason),
        }
    }
    if let Some(made) = combined(LineMethod::OwnDispersion, from, to, own) {
        return Ok(made);
    }
    let mut pairs = Vec::new();
    for series in fitting() {
        match by_both_lines(series, from, to) {
            Ok(Some(ratio)) => pairs.push(ratio),
            Ok(None) => {}
            Err(reason) => against = Some(reason),
        }
    }
    if let Some(made) = combined(LineMethod::BothLines, from, to, pairs) {
        return Ok(made);
    }
    let (a, b) = (shown(from), shown(to));
    if let Some(reason) = against {
        return Err(format!(
            "not converted from {a} to {b}, since the compound's own values speak against it: {reason}"
        ));
    }
    generic_conversion(from, to).ok_or_else(|| {
        format!(
            "not converted from {a} to {b}: no dispersion data in its solvent reach both lines, no source gives values at \
             both, and the generic law holds between 546 and 633 nm only"
        )
    })
}

/// By the law fitted to a series: none where it does not reach.
fn by_dispersion(series: &Series<'_>, from: Wavelength, to: Wavelength) -> Result<Option<Ratio>, String> {
    let dispersion = series.dispersion();
    let ratio = match dispersion.ratio(from, to) {
        Ok(ratio) => ratio,
        Err(ConversionError::NoLaw) if dispersion.anomalous => {
            return Err("they change sign or turn back with the wavelength".to_owned());
        }
        Err(ConversionError::TooFar { .. } | ConversionError::NoLaw) => return Ok(None),
        Err(error) => return Err(error.to_string()),
    };
    // The fit's factor from a standard uncertainty to 95 %, brought to that of the normal distribution.
    let of_fit = ratio.uncertainty * dispersion.law().map_or(1.0, |law| law.coverage95() / 1.96);
    let of_law = if ratio.extrapolated { LAW_BEYOND } else { LAW_WITHIN };
    let u = of_fit.hypot(of_law * ratio.factor);
    if u > MOST_UNCERTAIN * ratio.factor.abs() {
        return Ok(None);
    }
    let mut warnings = Vec::new();
    if ratio.extrapolated
        && let Some((shortest, longest)) = dispersion.range_nm()
    {
        warnings.push(format!(
            "The dispersion data lie from {shortest:.1} to {longest:.1} nm: this extrapolates them, and a band they do not \
             see would not show."
        ));
    }
    for line in [from, to] {
        if dispersion.is_near_band(line) {
            warnings.push(format!(
                "{} is near the absorption band of the fitted law, where the law fails.",
                shown(line)
            ));
        }
    }
    if dispersion.anomalous {
        warnings.push("The dispersion data change sign or turn back: the ratio holds at these lines only.".to_owned());
    }
    Ok(Some(Ratio {
        factor: ratio.factor,
        u,
        origins: series.origins(),
        warnings,
    }))
}

/// By the values of a series at both lines: none where it lacks one of them, or they are too uncertain for a ratio.
fn by_both_lines(series: &Series<'_>, from: Wavelength, to: Wavelength) -> Result<Option<Ratio>, String> {
    let (Some((a, u_a)), Some((b, u_b))) = (series.mean_at(from), series.mean_at(to)) else {
        return Ok(None);
    };
    if a * b < 0.0 && a.abs() > CLEAR * u_a && b.abs() > CLEAR * u_b {
        return Err(format!(
            "the rotation has opposite signs at {} and {}",
            shown(from),
            shown(to)
        ));
    }
    Ok(of_both_lines(series, from, to).filter(|ratio| ratio.factor > 0.0))
}

/// The ratio of the values of a series at both lines, of either sign: none where it lacks one of them, or they are too
/// uncertain for a ratio.
fn of_both_lines(series: &Series<'_>, from: Wavelength, to: Wavelength) -> Option<Ratio> {
    let ((a, u_a), (b, u_b)) = (series.mean_at(from)?, series.mean_at(to)?);
    // Relative variances add (JCGM 100:2008, eq. 12); both have their own errors only, the preparation is one.
    let relative = (u_a / a).hypot(u_b / b);
    // A value of 0 has no relative uncertainty: infinite, or none at all.
    if a * b == 0.0 || relative.is_nan() || relative > MOST_UNCERTAIN {
        return None;
    }
    let is_used = |m: &&Member| {
        [from, to]
            .iter()
            .any(|line| (m.wavelength.nanometres() - line.nanometres()).abs() <= ONE_LINE_NM)
    };
    Some(Ratio {
        factor: b / a,
        u: relative * (b / a).abs(),
        origins: series.members.iter().filter(is_used).map(|m| m.at).collect(),
        warnings: Vec::new(),
    })
}

/// Ratios of several series in one.
fn combined(method: LineMethod, from: Wavelength, to: Wavelength, ratios: Vec<Ratio>) -> Option<LineConversion> {
    if ratios.is_empty() {
        return None;
    }
    let values: Vec<(f64, f64)> = ratios.iter().map(|ratio| (ratio.factor, ratio.u)).collect();
    let (factor, standard_uncertainty) = weighted_mean(&values);
    let mut made = LineConversion {
        method,
        from_nm: from.nanometres(),
        to_nm: to.nanometres(),
        factor,
        standard_uncertainty,
        references: Vec::new(),
        warnings: Vec::new(),
    };
    for ratio in ratios {
        made.references.extend(ratio.origins);
        for warning in ratio.warnings {
            if !made.warnings.contains(&warning) {
                made.warnings.push(warning);
            }
        }
    }
    Some(made)
}

/// For each reference, the one of its series that is pooled in its place.
fn represent(references: &[Reference], series: &[Series<'_>], steps: &[LineStep]) -> Vec<Option<usize>> {
    let mut stands_for = vec![None; references.len()];
    for series in series {
        // Relative uncertainty at the line of the measurement; a value read there comes before all others.
        let reach = |member: &Member| match &steps[member.at] {
            LineStep::Same | LineStep::Unknown => Some(0.0),
            LineStep::Converted(made) => Some((member.u / member.value).hypot(made.signed_relative())),
            LineStep::Refused(_) => None,
        };
        let best = series
            .members
            .iter()
            .filter_map(|member| Some((reach(member)?, member)))
            .min_by(|a, b| a.0.total_cmp(&b.0));
        let Some((_, best)) = best else { continue };
        for member in &series.members {
            if (member.wavelength.nanometres() - best.wavelength.nanometres()).abs() > ONE_LINE_NM {
                stands_for[member.at] = Some(best.at);
            }
        }
    }
    stands_for
}

fn shown(line: Wavelength) -> String {
    format!("{} nm", (line.to_air().nanometres() * 10.0).round() / 10.0)
}

/// Mean and standard deviation of the wavelength λ0 of the one-term law for colourless compounds, nm. Sucrose has 146 nm
/// (λ0² = 0.0213 µm², from memory), aromatic compounds 200 to 250 nm (common practice).
const LAMBDA0_MEAN_NM: f64 = 180.0;
const LAMBDA0_SD_NM: f64 = 45.0;

/// Ends of the range in which the generic law is used, nm.
const GENERIC_RANGE_NM: std::ops::RangeInclusive<f64> = 545.0..=634.0;

/// The conversion by the one-term law `[α] = A/(λ² − λ0²)` with λ0 drawn from its prior; none outside 546 to 633 nm.
///
/// Biot's law of rotatory dispersion in Drude's one-term form (IUPAC Gold Book, "optical rotatory dispersion"; Drude,
/// The Theory of Optics, 1902).
fn generic_conversion(from: Wavelength, to: Wavelength) -> Option<LineConversion> {
    let (from_nm, to_nm) = (from.nanometres(), to.nanometres());
    if !GENERIC_RANGE_NM.contains(&from_nm) || !GENERIC_RANGE_NM.contains(&to_nm) {
        return None;
    }
    let factor = |lambda0: f64| (from_nm * from_nm - lambda0 * lambda0) / (to_nm * to_nm - lambda0 * lambda0);
    // Three-point Gauss–Hermite rule for the mean; the half difference of the outer points over √3 for the slope.
    let outer = 3f64.sqrt() * LAMBDA0_SD_NM;
    let (low, centre, high) = (
        factor(LAMBDA0_MEAN_NM - outer),
        factor(LAMBDA0_MEAN_NM),
        factor(LAMBDA0_MEAN_NM + outer),
    );
    Some(LineConversion {
        method: LineMethod::GenericLaw,
        from_nm,
        to_nm,
        factor: low / 6.0 + 2.0 * centre / 3.0 + high / 6.0,
        standard_uncertainty: (high - low).abs() / (2.0 * 3f64.sqrt()),
        references: Vec::new(),
        warnings: Vec::new(),
    })
}

/// What the compound would read at another line than the one stated, by its own values.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct OwnLine {
    /// The other line.
    pub line: Wavelength,
    /// Its value there over that at the line stated; below zero where the rotation has the other sign there.
    pub factor: f64,
    /// Standard uncertainty relative to the factor.
    pub relative_sd: f64,
}

/// Of some lines, those that the compound's own values of the solvent, stage and basis of the measurement reach, from the
/// line of the measurement; one that is not stated is taken as D.
pub fn own_lines<'a>(
    measured: &Conditions,
    references: impl IntoIterator<Item = &'a Reference>,
    effects: &EffectTable,
    lines: impl Iterator<Item = Wavelength>,
) -> Vec<OwnLine> {
    let stated = measured.line.as_ref().unwrap_or(&SpectralLine::SodiumD);
    let (Some(from), Some(solvent)) = (stated.wavelength(), &measured.solvent) else {
        return Vec::new();
    };
    let mut series = gather(references, effects);
    series.retain(|series| {
        let (conditions, form) = (&series.example.conditions, &series.example.form);
        conditions
            .solvent
            .as_ref()
            .is_some_and(|s| kinship(s, solvent) == Kinship::Same)
            && conditions.stage == measured.stage
            && conditions.basis == measured.basis
            && matches!(form, FormLink::Same | FormLink::Hydrate { .. })
    });
    let reach = |to: Wavelength| {
        let by_law = series.iter().filter(|series| series.n_lines() >= DISPERSION_LINES);
        let by_law = by_law
            .filter_map(|series| by_dispersion(series, from, to).ok().flatten())
            .collect();
        let made = combined(LineMethod::OwnDispersion, from, to, by_law).or_else(|| {
            let pairs = series
                .iter()
                .filter_map(|series| of_both_lines(series, from, to))
                .collect();
            combined(LineMethod::BothLines, from, to, pairs)
        })?;
        Some(OwnLine {
            line: to,
            factor: made.factor,
            relative_sd: (made.standard_uncertainty / made.factor).abs(),
        })
    };
    lines.filter_map(reach).collect()
}

/// The factor of the law between any two wavelengths in nm at the mean λ0, and its relative change for one standard
/// deviation of λ0, with nothing said on whether the law holds there: for guessing that a value was read at another line,
/// never for converting a reference. None within reach of the law's pole.
pub(super) fn one_term_factor(from: f64, to: f64) -> Option<(f64, f64)> {
    let factor = |lambda0: f64| (from * from - lambda0 * lambda0) / (to * to - lambda0 * lambda0);
    let centre = factor(LAMBDA0_MEAN_NM);
    let (low, high) = (
        factor(LAMBDA0_MEAN_NM - LAMBDA0_SD_NM),
        factor(LAMBDA0_MEAN_NM + LAMBDA0_SD_NM),
    );
    let pole = LAMBDA0_MEAN_NM + 2.0 * LAMBDA0_SD_NM;
    (from.min(to) > pole).then_some((centre, (high - low).abs() / 2.0 / centre))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The sugar scale's specific rotations at 26.016 g/100 mL: 78.369 at 546.2271 nm and 66.547 at 589.44 nm, 57.179 at
    /// 632.99 nm, all vacuum (GOST 8.258-2013 Annex A, computed from the published formula). The generic law must reach
    /// each from the other within two of its own standard deviations.
    #[test]
    fn the_generic_law_reaches_the_sugar_scale() {
        let green = SpectralLine::at_nanometres(546.1).unwrap();
        let red = SpectralLine::at_nanometres(632.8).unwrap();
        for (from, to, ratio) in [
            (&SpectralLine::SodiumD, &green, 78.369 / 66.547),
            (&SpectralLine::SodiumD, &red, 57.179 / 66.547),
        ] {
            let made = generic_conversion(from.wavelength().unwrap(), to.wavelength().unwrap()).unwrap();
            let sd = made.signed_relative().abs();
            assert!((made.factor / ratio - 1.0).abs() < 2.0 * sd, "{made:?} {ratio}");
            assert!(sd < 0.02);
        }
        let blue = SpectralLine::at_nanometres(435.8).unwrap();
        assert!(generic_conversion(SpectralLine::SodiumD.wavelength().unwrap(), blue.wavelength().unwrap()).is_none());
    }
}
