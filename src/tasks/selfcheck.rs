//! The model held against the library itself: each value is left out with its whole source and the copies of it, and
//! predicted from the values of other sources. Also, what pairs of values tell of the effects of conditions.

use super::check::{CheckSettings, Holdings, reading_worth};
use super::import::{ImportError, ImportReport, ImportRequest, import};
use crate::compare::{
    Aspect, Case, EffectEstimate, EffectTable, FormLink, PairTally, PublishedValue, ReadingWorth, Reference,
    SampleExcess, VerdictCode, predict,
};
use crate::library::{Access, Change, Compound, Entry, Library, LibraryError};
use rayon::prelude::*;
use std::path::Path;
use std::sync::Arc;

/// How a library is checked against itself.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct SelfCheckRequest {
    /// Whether the effects of conditions are re-estimated for each compound, from all others.
    pub re_estimate: bool,
    /// Only entries whose number in this library file is above this one are predicted; all without it.
    pub after: Option<i64>,
}

/// A value that was predicted.
#[derive(Clone, Debug)]
pub struct PredictedEntry {
    /// Number of the entry in this library file.
    pub entry: i64,
    /// Number of its compound.
    pub compound: i64,
    /// Name of its compound.
    pub name: String,
    /// Citation of its source.
    pub citation: Arc<str>,
    /// The text as printed.
    pub as_printed: String,
    /// Its value, deg mL g⁻¹ dm⁻¹.
    pub value: f64,
    /// Its own standard uncertainty.
    pub own_uncertainty: f64,
    /// Enantiomeric excess of its sample, where it is printed and was not found by a rotation, a fraction.
    pub excess: Option<f64>,
    /// Whether that excess is a lower bound.
    pub excess_at_least: bool,
    /// What was to be expected.
    pub expected: f64,
    /// Intervals of 50, 80 and 95 %.
    pub intervals: [[f64; 2]; 3],
    /// The verdict on the value, taken as a measurement.
    pub verdict: VerdictCode,
    /// The 95 % interval of the optical purity it would be given.
    pub purity95: [f64; 2],
    /// The aspect in which the heaviest reference differs most.
    pub transfer: Option<(Aspect, Case)>,
    /// References and sources it was predicted from.
    pub entries_used: usize,
    /// Sources among them.
    pub independent_sources: usize,
    /// Numbers of the entries it was predicted from, heaviest first.
    pub predicted_from: Vec<i64>,
}

impl PredictedEntry {
    /// Whether the value lies in each of the intervals.
    pub fn inside(&self) -> [bool; 3] {
        self.intervals.map(|[low, high]| (low..=high).contains(&self.value))
    }

    /// Whether the value was hit: within a tenth of what was to be expected, or within its own uncertainty (twice).
    pub fn is_hit(&self) -> bool {
        let apart = (self.value - self.expected).abs();
        apart <= 0.1 * self.expected.abs() || apart <= 2.0 * self.own_uncertainty
    }

    /// Whether the 95 % interval of the optical purity holds the printed excess, where one by another method is printed; of a
    /// lower bound, whether the interval reaches it.
    pub fn holds_excess(&self) -> Option<bool> {
        let [low, high] = self.purity95;
        self.excess
            .map(|excess| excess <= high && (self.excess_at_least || low <= excess))
    }

    /// How far the value lies outside, in half-widths of the 95 % interval.
    pub fn half_widths(&self) -> f64 {
        let [low, high] = self.intervals[2];
        let centre = f64::midpoint(low, high);
        (self.value - centre).abs() / ((high - low) / 2.0).max(f64::MIN_POSITIVE)
    }
}

/// What a self-check came to.
#[derive(Clone, Debug, Default)]
pub struct SelfCheckReport {
    /// Compounds looked at.
    pub compounds: u64,
    /// Values that can be pooled.
    pub values: u64,
    /// Values without a comparable one of another source.
    pub alone: u64,
    /// Values of samples whose excess is known from a rotation only, which are not predicted.
    pub circular: u64,
    /// Values that were predicted, in order of compounds.
    pub predicted: Vec<PredictedEntry>,
}

/// Compounds that are worked on together.
const CHUNK: usize = 1024;

/// Checks a library against itself, on all cores. `progress` is told the compounds done.
///
/// # Errors
/// When the library cannot be read.
pub fn self_check(
    library: &Library,
    request: SelfCheckRequest,
    settings: &CheckSettings,
    progress: &mut dyn FnMut(u64),
) -> Result<SelfCheckReport, LibraryError> {
    library.in_snapshot(|library| {
        let worth = reading_worth(library)?;
        let tally = if request.re_estimate {
            Some(tally(library, &settings.effects, &worth, &mut |_| {})?)
        } else {
            None
        };
        let mut report = SelfCheckReport::default();
        in_chunks(library, progress, &mut |chunk| {
            report.compounds += chunk.len() as u64;
            let parts: Vec<SelfCheckReport> = chunk
                .par_iter()
                .map(|holdings| {
                    let own_effects = tally
                        .as_ref()
                        .map(|tally| tally.table(&settings.effects, Some(holdings.compound.id.0)));
                    of_compound(
                        holdings,
                        own_effects.as_ref().unwrap_or(&settings.effects),
                        &worth,
                        settings,
                        request.after,
                    )
                })
                .collect();
            for part in parts {
                report.values += part.values;
                report.alone += part.alone;
                report.circular += part.circular;
                report.predicted.extend(part.predicted);
            }
        })?;
        Ok(report)
    })
}

/// Predicts the values of files from a library and from each other, in a copy of the library at `scratch`, which must not
/// exist and is left for the caller to remove. All drafts count as confirmed values do. The library stays as it is.
///
/// # Errors
/// When a file cannot be read, a mapping does not fit, or a library cannot be read or written.
pub fn self_check_with(
    library: &Library,
    files: &ImportRequest,
    scratch: &Path,
    request: SelfCheckRequest,
    settings: &CheckSettings,
    progress: &mut dyn FnMut(u64),
) -> Result<(ImportReport, SelfCheckReport), ImportError> {
    library.backup(scratch)?;
    let mut copy = Library::open(scratch, Access::Write)?;
    let mut last = 0;
    copy.for_each_entry(|entry| {
        last = last.max(entry.id.0);
        Ok(())
    })?;
    let change = Change::now("biot", "self-check with the values of files");
    let imported = import(&mut copy, files, &change, &mut |_, _| {})?;
    let request = SelfCheckRequest {
        after: Some(last),
        ..request
    };
    let mut settings = settings.clone();
    settings.options.draft_variance_factor = 1.0;
    let report = self_check(&copy, request, &settings, progress)?;
    Ok((imported, report))
}

/// Predicts the values of one compound.
fn of_compound(
    holdings: &Holdings,
    effects: &EffectTable,
    worth: &ReadingWorth,
    settings: &CheckSettings,
    after: Option<i64>,
) -> SelfCheckReport {
    let gathered = holdings.against(false, None, worth);
    let references: Vec<Reference> = gathered.references.iter().map(|g| g.reference.clone()).collect();
    let mut report = SelfCheckReport::default();
    for (at, own) in gathered.references.iter().enumerate() {
        let is_asked = after.is_none_or(|after| own.entry.id.0 > after);
        if !is_asked || !is_own(&holdings.compound, own.entry, &own.reference) {
            continue;
        }
        report.values += 1;
        if is_circular(own.entry) {
            report.circular += 1;
            continue;
        }
        let Some(made) = predict(&references, at, effects, &settings.options, &settings.thresholds) else {
            report.alone += 1;
            continue;
        };
        let (entries_used, independent_sources) = made
            .pooling
            .pooled
            .as_ref()
            .map_or((0, 0), |pooled| (pooled.entries_used, pooled.independent_sources));
        let staying = crate::compare::staying(&references, at);
        let mut from: Vec<(f64, i64)> = gathered
            .references
            .iter()
            .zip(staying)
            .filter(|(other, stays)| *stays && other.reference.excluded.is_none())
            .zip(&made.pooling.references)
            .filter(|(_, outcome)| outcome.used)
            .map(|((other, _), outcome)| (outcome.weight, other.entry.id.0))
            .collect();
        from.sort_by(|a, b| b.0.total_cmp(&a.0));
        report.predicted.push(PredictedEntry {
            entry: own.entry.id.0,
            compound: holdings.compound.id.0,
            name: holdings.compound.name.clone(),
            citation: Arc::clone(own.citation),
            as_printed: own.entry.statement.as_printed.clone(),
            value: own.reference.value.conventional(),
            own_uncertainty: own.reference.own_uncertainty.conventional(),
            excess: match own.reference.excess {
                SampleExcess::Stated { .. } => own.entry.statement.ee.as_ref().map(|ee| ee.fraction().ratio()),
                SampleExcess::NotStated => None,
            },
            excess_at_least: own.entry.statement.ee.as_ref().is_some_and(|ee| ee.at_least),
            expected: made.expected,
            intervals: made.intervals,
            verdict: made.verdict,
            purity95: made.purity95,
            transfer: made.transfer,
            entries_used,
            independent_sources,
            predicted_from: from.into_iter().map(|(_, entry)| entry).collect(),
        });
    }
    report
}

/// Whether a reference is a value of the compound itself that can be pooled.
fn is_own(compound: &Compound, entry: &Entry, reference: &Reference) -> bool {
    entry.compound == compound.id && reference.excluded.is_none() && reference.form == FormLink::Same
}

/// Whether the excess of the sample is known from a rotation only.
fn is_circular(entry: &Entry) -> bool {
    let stated = entry.statement.ee.as_ref();
    stated.is_some_and(crate::statement::StatedExcess::is_from_rotation)
}

/// What pairs of values tell of the effects of conditions.
#[derive(Clone, Debug)]
pub struct EffectsReport {
    /// Compounds looked at.
    pub compounds: u64,
    /// The estimates, by effect.
    pub estimates: Vec<EffectEstimate>,
    /// The starting table with the new figures.
    pub table: EffectTable,
}

/// Re-estimates the effects of conditions from the pairs of a library. `progress` is told the compounds done.
///
/// # Errors
/// When the library cannot be read.
pub fn learn_effects(
    library: &Library,
    starting: &EffectTable,
    progress: &mut dyn FnMut(u64),
) -> Result<EffectsReport, LibraryError> {
    library.in_snapshot(|library| {
        let worth = reading_worth(library)?;
        let mut compounds = 0;
        let tally = tally(library, starting, &worth, &mut |done| {
            compounds = done;
            progress(done);
        })?;
        Ok(EffectsReport {
            compounds,
            estimates: tally.estimates(starting, None),
            table: tally.table(starting, None),
        })
    })
}

fn tally(
    library: &Library,
    starting: &EffectTable,
    worth: &ReadingWorth,
    progress: &mut dyn FnMut(u64),
) -> Result<PairTally, LibraryError> {
    let mut tally = PairTally::default();
    in_chunks(library, progress, &mut |chunk| {
        for holdings in chunk {
            let gathered = holdings.against(false, None, worth);
            let values: Vec<PublishedValue> = gathered
                .references
                .iter()
                .filter(|g| is_own(&holdings.compound, g.entry, &g.reference) && g.entry.statement.ee.is_none())
                .map(|g| PublishedValue {
                    value: g.reference.value.conventional(),
                    own_uncertainty: g.reference.own_uncertainty.conventional(),
                    source: g.reference.source,
                    conditions: g.reference.conditions.clone(),
                })
                .collect();
            tally.add(holdings.compound.id.0, &values, starting);
        }
    })?;
    Ok(tally)
}

/// Reads what the library holds of every compound, some at a time.
fn in_chunks(
    library: &Library,
    progress: &mut dyn FnMut(u64),
    work: &mut dyn FnMut(&[Holdings]),
) -> Result<(), LibraryError> {
    let mut chunk = Vec::with_capacity(CHUNK);
    let mut done = 0;
    library.for_each_compound(|compound| {
        chunk.push(Holdings::read(library, compound)?);
        if chunk.len() == CHUNK {
            work(&chunk);
            done += chunk.len() as u64;
            progress(done);
            chunk.clear();
        }
        Ok(())
    })?;
    work(&chunk);
    progress(done + chunk.len() as u64);
    Ok(())
}
