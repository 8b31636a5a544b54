//! What pairs of published values tell of the effects of conditions: the table of effects re-estimated from a library.
//!
//! A pair is two values of one compound that differ in one aspect only. Start reading at [`PairTally::add`] and
//! [`PairTally::estimates`].

use super::conditions::{Aspect, Conditions, solvent_case};
use super::effects::{Case, Effect, EffectTable};
use crate::quantity::SpectralLine;
use crate::statement::Stage;
use serde::Serialize;
use std::collections::BTreeMap;

/// A published value as the pairs take it: of one hand and form, of a sample whose excess is not stated.
#[derive(Clone, Debug)]
pub struct PublishedValue {
    /// Specific rotation, deg mL g⁻¹ dm⁻¹.
    pub value: f64,
    /// Its own standard uncertainty.
    pub own_uncertainty: f64,
    /// Its source.
    pub source: i64,
    /// Its conditions.
    pub conditions: Conditions,
}

/// One vote: what the pairs of a compound say of one effect.
#[derive(Clone, Debug, Default)]
struct Vote {
    compound: i64,
    /// Relative differences (per kelvin, per factor e, or once), and what their variance is expected to be without the
    /// effect: own uncertainties, floor, and small differences in other aspects.
    same_source: Vec<(f64, f64)>,
    other_source: Vec<(f64, f64)>,
    /// Pairs of opposite sign or more than a factor of five apart.
    n_gross: u32,
}

/// Pairs of a library, by effect.
#[derive(Clone, Debug, Default)]
pub struct PairTally {
    votes: BTreeMap<(Aspect, Case), Vec<Vote>>,
}

/// What the pairs say of one effect.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct EffectEstimate {
    /// The aspect.
    pub aspect: Aspect,
    /// The case.
    pub case: Case,
    /// Compounds that have a vote.
    pub compounds: u32,
    /// Pairs.
    pub pairs: u32,
    /// Pairs within one source.
    pub same_source_pairs: u32,
    /// Pairs left out as gross errors or changes of sign: opposite signs, or more than a factor of five apart.
    pub left_out: u32,
    /// Median of the votes: the relative change of the rotation, per kelvin or factor e where the aspect is a number.
    pub median_change: Option<f64>,
    /// Robust standard deviation of the relative differences, all pairs: 1.4826 times the median of the votes.
    pub robust_sd: Option<f64>,
    /// The same from pairs of one source first, less what the pairs' own uncertainties explain.
    pub net_sd: Option<f64>,
    /// The figure of the starting table.
    pub starting_sd: f64,
    /// The new figure: the net one, shrunk to the starting table where fewer than ten compounds have a vote. Where the
    /// effect is smaller than what the pairs' own uncertainties explain, it is what was seen, at most the table's figure.
    pub relative_sd: f64,
    /// Share of compounds with a pair that was left out or lies five robust standard deviations apart, shrunk likewise to
    /// the starting table's probability of failure.
    pub failure: f64,
}

impl EffectEstimate {
    /// Why the new figure, for the table.
    fn reason(&self, starting: &Effect) -> String {
        let seen = self.net_sd.map_or_else(String::new, |sd| format!("; net sd {sd:.3}"));
        let apart = match self.left_out {
            0 => String::new(),
            n => format!("; {n} more of opposite sign or more than five times apart"),
        };
        let shrunk = if f64::from(self.compounds) < ENOUGH_VOTES {
            format!("; shrunk to {}: {}", starting.relative_sd, starting.reason)
        } else {
            String::new()
        };
        format!(
            "from {} pairs of {} compounds{seen}{apart}{shrunk}",
            self.pairs, self.compounds
        )
    }
}

/// Two values further apart than this factor are a gross error, not an effect.
const GROSS_FACTOR: f64 = 5.0;

/// A pair further apart than this many robust standard deviations is another effect than most pairs show.
const FAR: f64 = 5.0;

/// The smallest effect that pairs can show, as a share of the starting table's.
const LEAST_SHARE: f64 = 0.1;

/// Votes from which the starting table no longer counts.
const ENOUGH_VOTES: f64 = 10.0;

/// 1.4826 = 1/Φ⁻¹(3/4): from the median of absolute deviations to the standard deviation of a normal distribution.
const ROBUST: f64 = 1.482_602_218_505_602;

impl PairTally {
    /// Adds the values of one compound. Values that are equal in two sources are copies and make no pair.
    pub fn add(&mut self, compound: i64, values: &[PublishedValue], starting: &EffectTable) {
        let mut votes: BTreeMap<(Aspect, Case), Vote> = BTreeMap::new();
        for (i, a) in values.iter().enumerate() {
            for b in &values[i + 1..] {
                let same_source = a.source == b.source;
                let Some(pair) = lone_case(a, b) else { continue };
                if a.value * b.value == 0.0 || (a.value == b.value && !same_source) {
                    continue;
                }
                let vote = votes.entry((pair.aspect, pair.case)).or_insert_with(|| Vote {
                    compound,
                    ..Vote::default()
                });
                let ratio = a.value / b.value;
                if ratio < 0.0 || ratio.abs().ln().abs() > GROSS_FACTOR.ln() {
                    vote.n_gross += 1;
                    continue;
                }
                let size = (a.value * b.value).sqrt();
                let difference = ((a.value - b.value) / size).abs() / pair.steps;
                let floor = starting
                    .row(pair.aspect, pair.case)
                    .map_or(0.0, |row| row.absolute_floor);
                let own = a.own_uncertainty.powi(2) + b.own_uncertainty.powi(2);
                let others: f64 = pair
                    .beside
                    .iter()
                    .map(|&(aspect, case, steps)| (starting.sd(aspect, case, size) * steps).powi(2))
                    .sum();
                let expected = ((own + others) / pair.steps.powi(2) + floor * floor) / (size * size);
                if same_source {
                    vote.same_source.push((difference, expected));
                } else {
                    vote.other_source.push((difference, expected));
                }
            }
        }
        for (case, vote) in votes {
            self.votes.entry(case).or_default().push(vote);
        }
    }

    /// The estimates, one for each row of the starting table that pairs speak of; `without` leaves one compound out.
    pub fn estimates(&self, starting: &EffectTable, without: Option<i64>) -> Vec<EffectEstimate> {
        starting
            .rows()
            .iter()
            .filter_map(|row| {
                let votes: Vec<&Vote> = self
                    .votes
                    .get(&(row.aspect, row.case))?
                    .iter()
                    .filter(|vote| Some(vote.compound) != without)
                    .collect();
                (!votes.is_empty()).then(|| estimate(row, &votes))
            })
            .collect()
    }

    /// The starting table with the new figures.
    pub fn table(&self, starting: &EffectTable, without: Option<i64>) -> EffectTable {
        let mut table = starting.clone();
        for made in self.estimates(starting, without) {
            let Some(row) = starting.row(made.aspect, made.case) else {
                continue;
            };
            if made.pairs == 0 {
                continue;
            }
            table.replace(Effect {
                relative_sd: made.relative_sd,
                failure: made.failure,
                origin: "estimated".to_owned(),
                compounds: made.compounds,
                pairs: made.pairs,
                median_change: made.median_change,
                reason: made.reason(row),
                ..row.clone()
            });
        }
        table
    }
}

fn estimate(row: &Effect, votes: &[&Vote]) -> EffectEstimate {
    let mut all = Vec::new();
    let mut preferred = Vec::new();
    let mut expected = Vec::new();
    for vote in votes {
        let pairs: Vec<(f64, f64)> = vote.same_source.iter().chain(&vote.other_source).copied().collect();
        if pairs.is_empty() {
            continue;
        }
        all.push(median(pairs.iter().map(|(difference, _)| *difference).collect()));
        let first = if vote.same_source.is_empty() {
            &vote.other_source
        } else {
            &vote.same_source
        };
        preferred.push(median(first.iter().map(|(difference, _)| *difference).collect()));
        expected.push(median(first.iter().map(|(_, expected)| *expected).collect()));
    }
    let count = |n: usize| u32::try_from(n).unwrap_or(u32::MAX);
    let n_votes = all.len() as f64;
    // Two sources differ by two draws of the spread between sources, any other pair by one draw.
    let draws = if row.aspect == Aspect::Source { 2.0 } else { 1.0 };
    let robust_sd = ROBUST * median(preferred);
    let robust = robust_sd.powi(2) / draws;
    let noise = median(expected) / draws;
    let net_variance = (!all.is_empty()).then(|| (robust - noise).max(0.0));
    // An effect that is lost in the pairs' own uncertainties is not shown to be nothing: what was seen bounds it.
    let seen = match net_variance {
        Some(net) if net >= noise => net,
        Some(net) => robust.min(row.relative_sd.powi(2)).max(net),
        None => 0.0,
    };
    let share = (n_votes / ENOUGH_VOTES).min(1.0);
    // An estimate of a spread is off by a factor, not by an amount: the two are averaged in their logarithms. Few equal
    // values do not show that an effect is nothing.
    let least = (LEAST_SHARE * row.relative_sd).powi(2).max(1e-12);
    let relative_variance =
        (share * seen.max(least).ln() + (1.0 - share) * row.relative_sd.powi(2).max(1e-12).ln()).exp();
    // Only a solvent, and what stands for one, is known to turn or change a rotation altogether.
    let failure = if row.failure > 0.0 {
        let far = FAR * robust_sd;
        let fails = |vote: &&&Vote| {
            vote.n_gross > 0
                || vote
                    .same_source
                    .iter()
                    .chain(&vote.other_source)
                    .any(|(difference, _)| *difference > far)
        };
        let n_failed = votes.iter().filter(fails).count() as f64;
        let share = (votes.len() as f64 / ENOUGH_VOTES).min(1.0);
        // Jeffreys' prior: none in a dozen does not show that it never happens.
        share * (n_failed + 0.5) / (votes.len() as f64 + 1.0) + (1.0 - share) * row.failure
    } else {
        0.0
    };
    EffectEstimate {
        aspect: row.aspect,
        case: row.case,
        compounds: count(all.len()),
        pairs: votes
            .iter()
            .map(|vote| count(vote.same_source.len() + vote.other_source.len()))
            .sum(),
        same_source_pairs: votes.iter().map(|vote| count(vote.same_source.len())).sum(),
        left_out: votes.iter().map(|vote| vote.n_gross).sum(),
        median_change: (!all.is_empty()).then(|| median(all.clone())),
        robust_sd: (!all.is_empty()).then(|| ROBUST * median(all)),
        net_sd: net_variance.map(f64::sqrt),
        starting_sd: row.relative_sd,
        relative_sd: relative_variance.sqrt(),
        failure: failure.min(0.85),
    }
}

/// The median; zero of nothing.
fn median(mut values: Vec<f64>) -> f64 {
    values.sort_by(f64::total_cmp);
    match values.len() {
        0 => 0.0,
        n if n % 2 == 1 => values[n / 2],
        n => f64::midpoint(values[n / 2 - 1], values[n / 2]),
    }
}

/// The one effect two values differ by.
struct LoneCase {
    aspect: Aspect,
    case: Case,
    /// Kelvins, or logarithm of the ratio of concentrations; 1 where the aspect is no number.
    steps: f64,
    /// Small differences beside it: temperature and concentration.
    beside: Vec<(Aspect, Case, f64)>,
}

/// The effect two values differ by, when it is one: temperature and concentration do not count beside another aspect, and
/// a condition missing on both sides counts as equal.
fn lone_case(a: &PublishedValue, b: &PublishedValue) -> Option<LoneCase> {
    let (x, y) = (&a.conditions, &b.conditions);
    let mut small = Vec::new();
    match (x.temperature, y.temperature) {
        (Some(t), Some(u)) if t != u => {
            let kelvins = (t.celsius() - u.celsius()).abs();
            small.push((Aspect::Temperature, Case::Differs, kelvins));
        }
        (Some(_), None) | (None, Some(_)) => small.push((Aspect::Temperature, Case::Unknown, 1.0)),
        _ => {}
    }
    match (x.concentration, y.concentration) {
        (Some(c), Some(d)) if c != d => {
            let steps = (c.grams_per_100_millilitres() / d.grams_per_100_millilitres())
                .ln()
                .abs();
            small.push((Aspect::Concentration, Case::Differs, steps));
        }
        (Some(_), None) | (None, Some(_)) => small.push((Aspect::Concentration, Case::Unknown, 1.0)),
        _ => {}
    }
    let mut main = Vec::new();
    match (&x.line, &y.line) {
        (Some(p), Some(q)) if !p.same_light(q) => return None,
        // A line that is not printed is D, or the pair differs in line.
        (Some(p), None) | (None, Some(p)) if !p.same_light(&SpectralLine::SodiumD) => return None,
        (Some(_), None) | (None, Some(_)) => main.push((Aspect::Line, Case::Unknown)),
        _ => {}
    }
    if x.solvent != y.solvent
        && let (_, Some(case)) = solvent_case(x.solvent.as_ref(), y.solvent.as_ref())
    {
        main.push((Aspect::Solvent, case));
    }
    match (x.stage, y.stage) {
        (a, b) if a == b => {}
        (Some(_), Some(_)) | (Some(Stage::Initial), None) | (None, Some(Stage::Initial)) => return None,
        _ => main.push((Aspect::Stage, Case::Unknown)),
    }
    match (&x.basis, &y.basis) {
        (a, b) if a == b => {}
        (Some(_), Some(_)) => main.push((Aspect::Basis, Case::Differs)),
        _ => main.push((Aspect::Basis, Case::Unknown)),
    }
    let lone = |(aspect, case), steps, beside| LoneCase {
        aspect,
        case,
        steps,
        beside,
    };
    match (&main[..], &small[..]) {
        ([one], _) => Some(lone(*one, 1.0, small)),
        ([], [(aspect, case, steps)]) => Some(lone((*aspect, *case), *steps, Vec::new())),
        ([], []) if a.source != b.source => Some(lone((Aspect::Source, Case::Between), 1.0, Vec::new())),
        _ => None,
    }
}
