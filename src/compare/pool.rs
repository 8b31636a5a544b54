//! Pooling: what the references say of M, the specific rotation of the enantiopure compound at the measurement's
//! conditions.

use super::conditions::{Aspect, Conditions, Difference, FormLink, Size, Transfer, transfers};
use super::copies::representatives;
use super::effects::{Case, EffectTable};
use super::filter::{Datum, Priors, SharedDraw, run};
use super::lines::{self, LineConversion, LineStep, LineSteps};
use super::mixture::Mixture;
use super::reference::{HandKnown, Reference, SampleExcess};
use crate::solvent::{Kinship, kinship};
use serde::Serialize;

/// Settings of the model, with the defaults that the manual states.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Options {
    /// Factor on the variance of an unconfirmed draft.
    pub draft_variance_factor: f64,
    /// The first parameter a of the prior Beta(a, 1) of an excess that is not stated.
    pub excess_shape: f64,
    /// The two parameters of the Beta prior of the probability of a gross error.
    pub gross: (f64, f64),
    /// References with a stated excess below this are listed, not pooled.
    pub lowest_excess: f64,
    /// Floor of the common scale m, deg mL g⁻¹ dm⁻¹.
    pub lowest_scale: f64,
    /// The common scale m, where it is known beforehand (simulations); none takes it from the references.
    pub scale: Option<f64>,
}

impl Default for Options {
    fn default() -> Self {
        Self {
            draft_variance_factor: 2.0,
            excess_shape: 40.0,
            gross: (1.5, 48.5),
            lowest_excess: 0.5,
            lowest_scale: 5.0,
            scale: None,
        }
    }
}

/// What became of one reference.
#[derive(Clone, Debug, PartialEq)]
pub struct ReferenceOutcome {
    /// Whether it was pooled.
    pub used: bool,
    /// Why not, or what to know of it.
    pub reason: Option<String>,
    /// Share in the pooled value; the shares of the used references sum to 1.
    pub weight: f64,
    /// Posterior probability that it is a gross error.
    pub gross_error_probability: Option<f64>,
    /// Its value at the measurement's line, form and hand.
    pub value_here: Option<f64>,
    /// Its own standard uncertainty, likewise.
    pub own_uncertainty: Option<f64>,
    /// Its differences of conditions.
    pub differences: Vec<Difference>,
    /// The reference it is probably a copy of.
    pub copy_of: Option<usize>,
    /// How it was taken to the line of the measurement, where that is another one.
    pub line_conversion: Option<LineConversion>,
    /// The value of the same source, solvent and preparation at a nearer line that is pooled in its place.
    pub series_value: Option<usize>,
}

/// The pooled value.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct PooledValue {
    /// Posterior median of M, deg mL g⁻¹ dm⁻¹.
    pub value: f64,
    /// The standard deviation where the posterior of M is normal; where it has long tails, the larger of half the central
    /// 68.27 % interval and of what makes a normal distribution's 95 % interval as wide as this one's.
    pub standard_uncertainty: f64,
    /// 95 % credible interval of M.
    pub interval95: [f64; 2],
    /// 95 % prediction interval of one further source's value for the enantiopure compound.
    pub prediction95: [f64; 2],
    /// Posterior mean of the between-source standard deviation τ.
    pub between_source_sd: f64,
    /// References pooled.
    pub entries_used: usize,
    /// Sources among them.
    pub independent_sources: usize,
    /// Whether the width rests on the priors rather than on the spread of sources.
    pub driven_by_prior: bool,
}

/// What the references say.
#[derive(Clone, Debug)]
pub struct Pooling {
    /// What a sample like those of the references reads of M: 1, less what is thought to lack to full excess where a
    /// reference does not state its own; weighted as the references are.
    pub(super) sample_like: f64,
    /// What became of each reference, in the order given.
    pub references: Vec<ReferenceOutcome>,
    /// Posterior of (M, τ); none when nothing can be pooled.
    pub posterior: Option<Mixture>,
    /// What of it does not depend on the measured value, so that many values share it.
    pub(super) located: Option<Located>,
    /// Its summary.
    pub pooled: Option<PooledValue>,
    /// Whether a reference of independently known hand stands in the same or kindred solvent, so that the hand can be
    /// tested.
    pub hand_can_be_tested: bool,
    /// Aspects in which this compound's rotation is known to change sign.
    pub sign_changes_with: Vec<Aspect>,
    /// The common scale m.
    pub scale: f64,
    /// Used references of either sign: positive, negative.
    pub signs: (usize, usize),
}

/// Where M lies.
#[derive(Clone, Debug)]
pub(super) struct Located {
    /// M.
    pub alone: Mixture,
    /// M with the draw of one further source.
    pub one_more: Mixture,
    /// Median of M.
    pub centre: f64,
    /// Half the width of its central 68.27 % interval.
    pub half_width: f64,
    /// Standard uncertainty of one further source's value.
    pub spread: f64,
    /// Mean of τ.
    pub tau: f64,
    /// Mass of the lighter of two modes, and how far they lie apart.
    pub modes: Option<(f64, f64)>,
}

impl Located {
    fn of(posterior: &Mixture) -> Self {
        let alone = posterior.widened(|_| 0.0);
        let one_more = posterior.widened(|c| c.tau * c.tau);
        Self {
            spread: one_more.standard_uncertainty(),
            one_more,
            centre: alone.quantile(0.5),
            half_width: alone.half_width(),
            tau: posterior.mean_tau(),
            modes: alone.two_modes(),
            alone,
        }
    }
}

/// Sources from which the spread between them is learned rather than assumed.
const SOURCES_TO_LEARN_SPREAD: usize = 3;

/// Pools the references for a measurement at `measured` conditions.
pub fn pool(measured: &Conditions, references: &[Reference], effects: &EffectTable, options: &Options) -> Pooling {
    let copies = representatives(references);
    let lines = lines::steps(measured, references, effects);
    let scale = options
        .scale
        .unwrap_or_else(|| common_scale(measured, references, &copies, &lines, options));
    let is_salt = |reference: &Reference| matches!(reference.form, FormLink::Salt { .. });
    let has_own_form = references.iter().any(|r| r.excluded.is_none() && !is_salt(r));
    let mut outcomes: Vec<ReferenceOutcome> = Vec::with_capacity(references.len());
    let mut usable: Vec<Usable> = Vec::new();
    for (at, reference) in references.iter().enumerate() {
        let mut outcome = ReferenceOutcome {
            used: false,
            reason: reference.excluded.clone(),
            weight: 0.0,
            gross_error_probability: None,
            value_here: None,
            own_uncertainty: None,
            differences: Vec::new(),
            copy_of: copies[at],
            line_conversion: match &lines.steps[at] {
                LineStep::Converted(made) => Some(made.clone()),
                _ => None,
            },
            series_value: lines.stands_for[at],
        };
        let (conditions, line) = (&reference.conditions, &lines.steps[at]);
        match transfers(measured, conditions, &reference.form, line, effects, scale) {
            Err((reason, differences)) => {
                outcome.differences = differences;
                outcome.reason.get_or_insert(reason);
            }
            Ok(made) => {
                let hand = if reference.mirror { -1.0 } else { 1.0 };
                let value = hand * made.factor * reference.value.conventional();
                let uncertainty = made.factor.abs() * reference.own_uncertainty.conventional();
                outcome.value_here = Some(value);
                outcome.own_uncertainty = Some(uncertainty);
                outcome.differences = made.differences;
                if outcome.reason.is_none() {
                    match reference.excess {
                        SampleExcess::Stated { mean, .. } if mean.abs() < options.lowest_excess => {
                            outcome.reason = Some(format!(
                                "its sample had an enantiomeric excess of {:.0} %, below {:.0} %",
                                100.0 * mean,
                                100.0 * options.lowest_excess
                            ));
                        }
                        _ if has_own_form && is_salt(reference) => {
                            outcome.reason = Some(
                                "another form (salt or base), and the form measured has values of its own".to_owned(),
                            );
                        }
                        _ if copies[at].is_some() => {
                            outcome.reason = Some(
                                "probably one measurement together with another reference (same value)".to_owned(),
                            );
                        }
                        _ if lines.stands_for[at].is_some() => {
                            outcome.reason = Some(
                                "another value of its series stands nearer to the line of the measurement".to_owned(),
                            );
                        }
                        _ => {
                            usable.push(Usable {
                                at,
                                value,
                                variance: uncertainty * uncertainty,
                                shared: made.shared,
                            });
                            outcome.used = true;
                        }
                    }
                }
            }
        }
        outcomes.push(outcome);
    }
    let sign_changes_with = sign_changes(references, &outcomes);
    let mut pooling = Pooling {
        sample_like: 1.0,
        references: outcomes,
        posterior: None,
        located: None,
        pooled: None,
        hand_can_be_tested: false,
        sign_changes_with,
        scale,
        signs: (0, 0),
    };
    if !usable.is_empty() {
        pooling.fill(references, usable, effects, options);
    }
    pooling
}

/// A reference that is pooled.
struct Usable {
    at: usize,
    value: f64,
    variance: f64,
    shared: Vec<Transfer>,
}

/// The common scale m: the geometric median of |value|, not below the floor, so that one value ten times off moves it
/// little and no value sets its own weight. Values count at the line of the measurement; those in the same or a kindred
/// solvent decide it where there are any.
fn common_scale(
    measured: &Conditions,
    references: &[Reference],
    copies: &[Option<usize>],
    lines: &LineSteps,
    options: &Options,
) -> f64 {
    let usable = || {
        (0..references.len())
            .filter(|&at| references[at].excluded.is_none() && copies[at].is_none() && lines.stands_for[at].is_none())
            .filter_map(|at| Some((&references[at], lines.steps[at].factor()?)))
    };
    let near = |(r, _): &(&Reference, f64)| match (&measured.solvent, &r.conditions.solvent) {
        (Some(a), Some(b)) => kinship(a, b) != Kinship::Other,
        _ => false,
    };
    let log = |(r, factor): (&Reference, f64)| (factor * r.value.conventional()).abs().max(options.lowest_scale).ln();
    let mut logs: Vec<f64> = usable().filter(near).map(log).collect();
    if logs.is_empty() {
        logs = usable().map(log).collect();
    }
    logs.sort_by(f64::total_cmp);
    match logs.len() {
        0 => options.lowest_scale,
        n if n % 2 == 1 => logs[n / 2].exp(),
        n => f64::midpoint(logs[n / 2 - 1], logs[n / 2]).exp(),
    }
}

/// Aspects in which two references of independent hand and one form differ alone and have opposite signs, both clearly.
///
/// Another aspect than the solvent counts only between values in the same known solvent: where a solvent is missing, that
/// is the likelier reason.
fn sign_changes(references: &[Reference], outcomes: &[ReferenceOutcome]) -> Vec<Aspect> {
    let mut found = Vec::new();
    let clear = |at: usize| -> Option<f64> {
        let outcome = &outcomes[at];
        let value = outcome.value_here?;
        (outcome.used && references[at].hand == HandKnown::Independent && value.abs() > 3.0 * outcome.own_uncertainty?)
            .then_some(value)
    };
    for i in 0..references.len() {
        let Some(a) = clear(i) else { continue };
        for j in i + 1..references.len() {
            let Some(b) = clear(j) else { continue };
            let same_form = references[i].form == references[j].form;
            if a * b < 0.0
                && same_form
                && let Some(aspect) = lone_difference(&references[i].conditions, &references[j].conditions)
                && !found.contains(&aspect)
            {
                found.push(aspect);
            }
        }
    }
    found
}

/// The one aspect in which two conditions are known to differ enough to turn a sign; none when it is none or several.
fn lone_difference(x: &Conditions, y: &Conditions) -> Option<Aspect> {
    let (Some(p), Some(q)) = (&x.solvent, &y.solvent) else {
        return None;
    };
    let mut differing = Vec::new();
    if kinship(p, q) != Kinship::Same {
        differing.push(Aspect::Solvent);
    }
    if let (Some(p), Some(q)) = (&x.line, &y.line)
        && !p.same_light(q)
    {
        differing.push(Aspect::Line);
    }
    if let (Some(p), Some(q)) = (x.temperature, y.temperature)
        && (p.celsius() - q.celsius()).abs() > 5.0
    {
        differing.push(Aspect::Temperature);
    }
    if let (Some(p), Some(q)) = (x.concentration, y.concentration) {
        let ratio = p.grams_per_100_millilitres() / q.grams_per_100_millilitres();
        if !(0.5..=2.0).contains(&ratio) {
            differing.push(Aspect::Concentration);
        }
    }
    if let [aspect] = differing[..] {
        Some(aspect)
    } else {
        None
    }
}

impl Pooling {
    fn fill(&mut self, references: &[Reference], mut usable: Vec<Usable>, effects: &EffectTable, options: &Options) {
        // A reference's sign tells the hand here when its hand is known independently, its form is the one measured and no
        // sign-changing aspect differs. It anchors the hand when its solvent is the same or a kindred one besides; without
        // an anchor every sign is taken as it stands, and the hand counts as untested.
        let differs = |outcome: &ReferenceOutcome, aspect: Aspect| {
            outcome
                .differences
                .iter()
                .any(|d| d.aspect == aspect && d.size != Size::None)
        };
        let tells_hand: Vec<bool> = references
            .iter()
            .zip(&self.references)
            .map(|(reference, outcome)| {
                reference.hand == HandKnown::Independent
                    && !matches!(reference.form, FormLink::Salt { .. })
                    && !self.sign_changes_with.iter().any(|&aspect| differs(outcome, aspect))
            })
            .collect();
        self.hand_can_be_tested = usable.iter().any(|u| {
            tells_hand[u.at]
                && self.references[u.at]
                    .differences
                    .iter()
                    .all(|d| d.aspect != Aspect::Solvent || matches!(d.case, None | Some(Case::Kindred)))
        });
        let anchored = self.hand_can_be_tested;

        usable.sort_by_key(|u| (references[u.at].source, u.at));
        let mut groups: Vec<(Aspect, String)> = Vec::new();
        let mut draws: Vec<SharedDraw> = Vec::new();
        let mut data: Vec<Datum> = Vec::with_capacity(usable.len());
        let mut sources: Vec<i64> = Vec::new();
        for reference in &usable {
            let origin = &references[reference.at];
            let source = sources
                .iter()
                .position(|&known| known == origin.source)
                .unwrap_or_else(|| {
                    sources.push(origin.source);
                    sources.len() - 1
                });
            let shared = reference
                .shared
                .iter()
                .map(|transfer| {
                    let index = groups
                        .iter()
                        .position(|known| *known == transfer.group)
                        .unwrap_or_else(|| {
                            groups.push(transfer.group.clone());
                            draws.push(SharedDraw {
                                failure: transfer.failure,
                                unit: transfer.sd.abs(),
                                failed: transfer.failed,
                            });
                            groups.len() - 1
                        });
                    (index, transfer.sd)
                })
                .collect();
            data.push(Datum {
                value: reference.value,
                variance: reference.variance
                    * if origin.draft {
                        options.draft_variance_factor
                    } else {
                        1.0
                    },
                excess: match origin.excess {
                    SampleExcess::Stated { mean, sd } => Some((mean, sd * sd)),
                    SampleExcess::NotStated => None,
                },
                sign_free: anchored && !tells_hand[reference.at],
                shared,
                source,
            });
        }
        let priors = Priors {
            scale: self.scale,
            tau_scale: effects.sd(Aspect::Source, Case::Between, self.scale),
            excess_shape: options.excess_shape,
            gross: options.gross,
        };
        let found = run(&data, &draws, &priors);
        let Some(posterior) = Mixture::new(found.components) else {
            return;
        };
        let weights = shares(&data, &found.gross, posterior.mean_tau(), options.excess_shape);
        let lacking = 1.0 / (options.excess_shape + 1.0);
        let not_stated = data.iter().zip(&weights).filter(|(datum, _)| datum.excess.is_none());
        self.sample_like = 1.0 - lacking * not_stated.map(|(_, weight)| weight).sum::<f64>();
        for ((reference, weight), gross) in usable.iter().zip(weights).zip(&found.gross) {
            let outcome = &mut self.references[reference.at];
            outcome.weight = weight;
            outcome.gross_error_probability = Some(*gross);
            if *gross > 0.5 {
                outcome.reason = Some("does not fit the others: probably a gross error".to_owned());
            } else if anchored && !tells_hand[reference.at] {
                outcome.reason = Some("informs the magnitude only: its sign does not tell the hand here".to_owned());
            }
        }
        self.signs = usable.iter().fold((0, 0), |(plus, minus), u| {
            if u.value > 0.0 {
                (plus + 1, minus)
            } else {
                (plus, minus + 1)
            }
        });
        let located = Located::of(&posterior);
        let (alone, one_more) = (&located.alone, &located.one_more);
        self.pooled = Some(PooledValue {
            value: located.centre,
            standard_uncertainty: alone.standard_uncertainty(),
            interval95: [alone.quantile(0.025), alone.quantile(0.975)],
            prediction95: [one_more.quantile(0.025), one_more.quantile(0.975)],
            between_source_sd: located.tau,
            entries_used: usable.len(),
            independent_sources: sources.len(),
            driven_by_prior: sources.len() < SOURCES_TO_LEARN_SPREAD,
        });
        self.located = Some(located);
        self.posterior = Some(posterior);
    }
}

/// Shares of the references in the pooled value: the inverse of the variance with which each alone tells M (its own error,
/// its differences of conditions, the spread between sources and the excess of its sample), times the probability that it
/// is sound; summing to 1. What references share is not seen here: the posterior knows it, a share does not.
fn shares(data: &[Datum], gross: &[f64], tau: f64, excess_shape: f64) -> Vec<f64> {
    let a = excess_shape;
    let prior_excess = (a / (a + 1.0), a / ((a + 1.0).powi(2) * (a + 2.0)));
    let raw: Vec<f64> = data
        .iter()
        .zip(gross)
        .map(|(datum, gross)| {
            let (e, e_variance) = datum.excess.unwrap_or(prior_excess);
            let shared: f64 = datum.shared.iter().map(|(_, sd)| sd * sd).sum();
            let variance = (datum.variance + e_variance * datum.value * datum.value) / (e * e) + shared + tau * tau;
            (1.0 - gross) / variance.max(f64::MIN_POSITIVE)
        })
        .collect();
    let total: f64 = raw.iter().sum();
    if total > 0.0 {
        raw.into_iter().map(|w| w / total).collect()
    } else {
        vec![1.0 / data.len() as f64; data.len()]
    }
}
