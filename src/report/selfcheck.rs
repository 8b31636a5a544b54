//! What a library says of the model, and of the effects of conditions.

use super::number::{interval, signed};
use super::{Column, Page, Table, truncate};
use crate::compare::{Aspect, Case, EffectEstimate, SHARES, wilson95};
use crate::tasks::selfcheck::{EffectsReport, PredictedEntry, SelfCheckReport};
use serde::Serialize;
use std::collections::BTreeMap;

/// How often intervals held and values were hit, over some predictions.
#[derive(Clone, Debug, Serialize)]
pub struct CoverageJson {
    /// Which predictions: all, by transfer, or by the number of sources.
    pub of: String,
    /// Predictions.
    pub predicted: u64,
    /// Values within a tenth of what was expected, or within twice their own uncertainty.
    pub hits: u64,
    /// The intervals of 50, 80 and 95 %.
    pub intervals: Vec<IntervalJson>,
}

/// How often an interval held the value.
#[derive(Clone, Debug, Serialize)]
pub struct IntervalJson {
    /// Share of probability the interval promises.
    pub promised: f64,
    /// Values it held.
    pub held: u64,
    /// Share of them.
    pub share: f64,
    /// Wilson's 95 % interval of that share.
    pub wilson95: [f64; 2],
}

/// A value the 95 % interval missed.
#[derive(Clone, Debug, Serialize)]
pub struct MissJson<'a> {
    /// Number of the entry.
    pub entry: i64,
    /// Number of its compound.
    pub compound: i64,
    /// Name of its compound.
    pub name: &'a str,
    /// Citation of its source.
    pub source: &'a str,
    /// The text as printed.
    pub as_printed: &'a str,
    /// Its value, deg mL g⁻¹ dm⁻¹.
    pub value: f64,
    /// What was expected.
    pub expected: f64,
    /// The 95 % interval.
    pub interval95: [f64; 2],
    /// How far outside, in half-widths of the interval.
    pub half_widths: f64,
    /// The verdict on the value, taken as a measurement.
    pub verdict: &'static str,
    /// The aspect in which the heaviest reference differs most.
    pub transfer: String,
    /// Sources it was predicted from.
    pub independent_sources: usize,
    /// The entries it was predicted from, heaviest first.
    pub predicted_from: &'a [i64],
}

/// A value of a sample whose excess by another method is printed, against the optical purity found for it.
#[derive(Clone, Debug, Serialize)]
pub struct ExcessPairJson<'a> {
    /// Number of the entry.
    pub entry: i64,
    /// Number of its compound.
    pub compound: i64,
    /// Name of its compound.
    pub name: &'a str,
    /// Citation of its source.
    pub source: &'a str,
    /// The text as printed.
    pub as_printed: &'a str,
    /// The printed excess, a fraction.
    pub excess: f64,
    /// Whether it is a lower bound.
    pub excess_at_least: bool,
    /// The 95 % interval of the optical purity.
    pub optical_purity95: [f64; 2],
    /// Whether the interval holds the excess, or reaches it where it is a lower bound.
    pub held: bool,
    /// Sources it was predicted from.
    pub independent_sources: usize,
}

/// How often the optical purity holds a printed excess.
#[derive(Clone, Debug, Serialize)]
pub struct ExcessCoverageJson<'a> {
    /// Values of samples with a printed excess by another method that were predicted.
    pub pairs: u64,
    /// Of them, values whose 95 % interval of the optical purity holds it.
    pub held: u64,
    /// Wilson's 95 % interval of that share; none without pairs.
    pub wilson95: Option<[f64; 2]>,
    /// The pairs, those that were missed first.
    pub list: Vec<ExcessPairJson<'a>>,
}

impl<'a> ExcessCoverageJson<'a> {
    fn new(predicted: &[&'a PredictedEntry]) -> Self {
        let mut list: Vec<ExcessPairJson<'a>> = predicted
            .iter()
            .filter_map(|one| {
                Some(ExcessPairJson {
                    entry: one.entry,
                    compound: one.compound,
                    name: &one.name,
                    source: &one.citation,
                    as_printed: &one.as_printed,
                    excess: one.excess?,
                    excess_at_least: one.excess_at_least,
                    optical_purity95: one.purity95,
                    held: one.holds_excess()?,
                    independent_sources: one.independent_sources,
                })
            })
            .collect();
        list.sort_by_key(|pair| pair.held);
        let pairs = list.len() as u64;
        let held = list.iter().filter(|pair| pair.held).count() as u64;
        Self {
            pairs,
            held,
            wilson95: (pairs > 0).then(|| wilson95(held, pairs)),
            list,
        }
    }
}

/// The values of files that were added for the self-check alone.
#[derive(Clone, Debug, Serialize)]
pub struct WithJson {
    /// Entries that the library does not hold.
    pub added: u64,
    /// Rows that the library holds already.
    pub already_there: u64,
    /// Rows that were refused.
    pub refused: u64,
    /// The first of them: file, line and why.
    pub first_refused: Vec<String>,
}

/// A self-check.
#[derive(Clone, Debug, Serialize)]
pub struct SelfCheckJson<'a> {
    /// Compounds looked at.
    pub compounds: u64,
    /// Values that can be pooled.
    pub values: u64,
    /// Values without a comparable one of another source.
    pub alone: u64,
    /// Values of samples whose excess is known from a rotation only, which are not predicted.
    pub circular: u64,
    /// Values predicted.
    pub predicted: u64,
    /// Coverage of all predictions, then by transfer, then by number of sources.
    pub coverage: Vec<CoverageJson>,
    /// Printed excesses by another method against the optical purity.
    pub excess: ExcessCoverageJson<'a>,
    /// The values of files that were added for this check alone.
    pub with: Option<WithJson>,
    /// Verdicts on the values, taken as measurements.
    pub verdicts: BTreeMap<&'static str, u64>,
    /// Values outside their 95 % interval, the worst first.
    pub misses: Vec<MissJson<'a>>,
}

impl<'a> SelfCheckJson<'a> {
    /// Takes a report into the shape that is printed.
    pub fn new(report: &'a SelfCheckReport) -> Self {
        let all: Vec<&PredictedEntry> = report.predicted.iter().collect();
        let mut coverage = vec![of("all", &all)];
        let mut by_transfer: BTreeMap<String, Vec<&PredictedEntry>> = BTreeMap::new();
        let mut by_sources: BTreeMap<usize, Vec<&PredictedEntry>> = BTreeMap::new();
        let mut verdicts = BTreeMap::new();
        for one in &all {
            by_transfer.entry(transfer(one.transfer)).or_default().push(one);
            by_sources.entry(one.independent_sources.min(3)).or_default().push(one);
            *verdicts.entry(one.verdict.as_str()).or_default() += 1;
        }
        coverage.extend(by_transfer.iter().map(|(name, part)| of(name, part)));
        coverage.extend(by_sources.iter().map(|(n, part)| {
            let name = match n {
                1 => "1 source".to_owned(),
                3 => "3 or more sources".to_owned(),
                n => format!("{n} sources"),
            };
            of(&name, part)
        }));
        let excess = ExcessCoverageJson::new(&all);
        let mut missed: Vec<&PredictedEntry> = all.into_iter().filter(|one| !one.inside()[2]).collect();
        missed.sort_by(|a, b| b.half_widths().total_cmp(&a.half_widths()));
        Self {
            compounds: report.compounds,
            values: report.values,
            alone: report.alone,
            circular: report.circular,
            predicted: report.predicted.len() as u64,
            coverage,
            excess,
            with: None,
            verdicts,
            misses: missed
                .into_iter()
                .map(|one| MissJson {
                    entry: one.entry,
                    compound: one.compound,
                    name: &one.name,
                    source: &one.citation,
                    as_printed: &one.as_printed,
                    value: one.value,
                    expected: one.expected,
                    interval95: one.intervals[2],
                    half_widths: one.half_widths(),
                    verdict: one.verdict.as_str(),
                    transfer: transfer(one.transfer),
                    independent_sources: one.independent_sources,
                    predicted_from: &one.predicted_from,
                })
                .collect(),
        }
    }
}

fn of(name: &str, predicted: &[&PredictedEntry]) -> CoverageJson {
    let n = predicted.len() as u64;
    CoverageJson {
        of: name.to_owned(),
        predicted: n,
        hits: predicted.iter().filter(|one| one.is_hit()).count() as u64,
        intervals: SHARES
            .iter()
            .enumerate()
            .map(|(at, &promised)| {
                let held = predicted.iter().filter(|one| one.inside()[at]).count() as u64;
                IntervalJson {
                    promised,
                    held,
                    share: if n == 0 { 0.0 } else { held as f64 / n as f64 },
                    wilson95: wilson95(held, n),
                }
            })
            .collect(),
    }
}

fn transfer(transfer: Option<(Aspect, Case)>) -> String {
    transfer.map_or_else(|| "same conditions".to_owned(), |(aspect, case)| effect(aspect, case))
}

/// An effect in words.
fn effect(aspect: Aspect, case: Case) -> String {
    let word = |value: serde_json::Value| value.as_str().unwrap_or_default().to_owned();
    let aspect_word = word(serde_json::json!(aspect));
    match (aspect, case) {
        (Aspect::Source, _) => "another source".to_owned(),
        (_, Case::Differs) => aspect_word,
        (_, Case::Unknown) => format!("{aspect_word} not known"),
        (_, case) => format!("{aspect_word}, {}", word(serde_json::json!(case))),
    }
}

/// Most misses a page lists; JSON lists all.
const MOST_MISSES: usize = 25;

/// Writes a self-check.
pub fn self_check(json: &SelfCheckJson<'_>, page: &mut Page) {
    page.paragraph(&format!(
        "Each value left out with its whole source and the copies of it, and predicted from other sources: {} of {} values \
         of {} compounds have another source to be predicted from.",
        json.predicted, json.values, json.compounds
    ));
    if let Some(with) = &json.with {
        page.paragraph(&format!(
            "Of the files alone, predicted from the library and from each other. Values added: {}; rows the library holds \
             already: {}; refused: {}.",
            with.added, with.already_there, with.refused
        ));
        for refused in &with.first_refused {
            page.point(refused);
        }
    }
    if json.circular > 0 {
        page.note(&format!(
            "{} values are of samples whose enantiomeric excess is known from a rotation only; they are not predicted.",
            json.circular
        ));
    }
    if json.predicted == 0 {
        return;
    }
    let mut table = Table::new(&[
        Column::Text("predictions that differ most in"),
        Column::Number("values"),
        Column::Number("hit %"),
        Column::Number("in 50 %"),
        Column::Number("in 80 %"),
        Column::Number("in 95 %"),
        Column::Word("Wilson 95 %"),
    ]);
    let percent = |share: f64| format!("{:.0}", 100.0 * share);
    for row in &json.coverage {
        let mut cells = vec![
            row.of.clone(),
            row.predicted.to_string(),
            percent(row.hits as f64 / row.predicted as f64),
        ];
        cells.extend(row.intervals.iter().map(|one| percent(one.share)));
        cells.extend(row.intervals.last().map(|one| {
            let [low, high] = one.wilson95;
            format!("{:.1} to {:.1}", 100.0 * low, 100.0 * high)
        }));
        table.row(cells);
    }
    page.gap();
    page.table(&table);
    page.gap();
    page.note(
        "Hit: within a tenth of what was expected, or within twice the value's own uncertainty. Values of one compound are \
         not independent of each other.",
    );
    let verdicts: Vec<String> = json.verdicts.iter().map(|(code, n)| format!("{code} {n}")).collect();
    page.note(&format!(
        "Taken as measurements they would be judged: {}.",
        verdicts.join(", ")
    ));
    excess_pairs(&json.excess, page);
    if json.misses.is_empty() {
        return;
    }
    page.heading("Outside their 95 % interval, the farthest first");
    for miss in json.misses.iter().take(MOST_MISSES) {
        page.point(&format!(
            "entry {} of {}: {}, expected {} ({}); {:.1} half-widths; differs most in: {}; from entries {}. {}: {}",
            miss.entry,
            miss.name,
            signed(miss.value, 1),
            signed(miss.expected, 1),
            interval(miss.interval95[0], miss.interval95[1]),
            miss.half_widths,
            miss.transfer,
            listed(miss.predicted_from),
            truncate(miss.source, 60),
            truncate(miss.as_printed, 100),
        ));
    }
    if json.misses.len() > MOST_MISSES {
        page.note(&format!("{} more; --json lists all.", json.misses.len() - MOST_MISSES));
    }
}

/// The printed excesses against the optical purity.
fn excess_pairs(json: &ExcessCoverageJson<'_>, page: &mut Page) {
    let Some([low, high]) = json.wilson95 else { return };
    page.heading("Samples whose enantiomeric excess by another method is printed");
    page.paragraph(&format!(
        "The 95 % interval of the optical purity holds the printed excess of {} of {} (Wilson {:.1} to {:.1} %).",
        json.held,
        json.pairs,
        100.0 * low,
        100.0 * high
    ));
    let mut table = Table::new(&[
        Column::Number("entry"),
        Column::Text("compound"),
        Column::Number("ee %"),
        Column::Word("optical purity 95 %"),
        Column::Word("held"),
        Column::Text("as printed"),
    ]);
    for pair in json.list.iter().take(MOST_PAIRS) {
        let [low, high] = pair.optical_purity95;
        table.row([
            pair.entry.to_string(),
            truncate(pair.name, 40),
            format!(
                "{}{:.1}",
                if pair.excess_at_least { ">" } else { "" },
                100.0 * pair.excess
            ),
            format!("{:.1} to {:.1}", 100.0 * low, 100.0 * high),
            if pair.held { "yes" } else { "no" }.to_owned(),
            truncate(pair.as_printed, 60),
        ]);
    }
    page.gap();
    page.table(&table);
    if json.list.len() > MOST_PAIRS {
        page.note(&format!("{} more; --json lists all.", json.list.len() - MOST_PAIRS));
    }
}

/// Most pairs a page lists; JSON lists all.
const MOST_PAIRS: usize = 40;

fn listed(entries: &[i64]) -> String {
    let shown: Vec<String> = entries.iter().take(6).map(ToString::to_string).collect();
    let more = if entries.len() > 6 { ", …" } else { "" };
    format!("{}{more}", shown.join(", "))
}

/// Effects re-estimated from a library.
#[derive(Clone, Debug, Serialize)]
pub struct EffectsJson<'a> {
    /// Compounds looked at.
    pub compounds: u64,
    /// The file the table was written to.
    pub output: Option<String>,
    /// The estimates.
    pub estimates: &'a [EffectEstimate],
    /// What they say, one sentence each.
    pub sentences: Vec<String>,
}

impl<'a> EffectsJson<'a> {
    /// Takes a report into the shape that is printed.
    pub fn new(report: &'a EffectsReport, output: Option<String>) -> Self {
        Self {
            compounds: report.compounds,
            output,
            estimates: &report.estimates,
            sentences: report
                .table
                .rows()
                .iter()
                .filter_map(|row| row.sentence("this library"))
                .collect(),
        }
    }
}

/// Writes the re-estimated effects.
pub fn effects(json: &EffectsJson<'_>, page: &mut Page) {
    if json.estimates.is_empty() {
        page.paragraph(
            "No two values of this library differ in one condition only; there is nothing to estimate from.",
        );
        return;
    }
    for sentence in &json.sentences {
        page.paragraph(sentence);
    }
    let mut table = Table::new(&[
        Column::Text("effect"),
        Column::Number("compounds"),
        Column::Number("pairs"),
        Column::Number("one source"),
        Column::Number("left out"),
        Column::Number("robust sd %"),
        Column::Number("net sd %"),
        Column::Number("table %"),
        Column::Number("new %"),
        Column::Number("failure"),
    ]);
    let percent = |value: Option<f64>| value.map_or_else(String::new, |value| format!("{:.2}", 100.0 * value));
    for one in json.estimates {
        table.row([
            effect(one.aspect, one.case),
            one.compounds.to_string(),
            one.pairs.to_string(),
            one.same_source_pairs.to_string(),
            one.left_out.to_string(),
            percent(one.robust_sd),
            percent(one.net_sd),
            percent(Some(one.starting_sd)),
            percent(Some(one.relative_sd)),
            format!("{:.2}", one.failure),
        ]);
    }
    page.gap();
    page.table(&table);
    page.gap();
    page.note(
        "Per kelvin, per factor e in concentration, else once. Left out: pairs of opposite sign or more than five times \
         apart. Net: pairs of one source first, less what their own uncertainties explain; new: shrunk to the table where \
         fewer than ten compounds have a vote.",
    );
}
