//! A value against its siblings: other values of the same compound and form, taken to its own conditions.
//!
//! Each value is left out in turn, the others are pooled at its conditions by [`crate::compare::pool`], and the value is
//! held against their 95 % prediction interval, widened by its own uncertainty and by the excess its sample may have had.
//! A value that another, differently printed one supports is not looked at, and at most [`MOST_SIBLINGS`] are pooled, so
//! that the work grows with the number of entries and not with its square.
//!
//! Siblings are values in the same or a kindred solvent, or without a printed one. Rotations differ so much between other
//! solvents that such values, where there are no nearer ones, only show a factor of ten; an acid or base, which makes
//! another species, shows nothing of a value without it.

use super::{Code, Finding, Item, Settings, Severity, Subject, labels, shown, signed};
use crate::compare::{Conditions, FormLink, HandKnown, Pooling, ReadingWorth, Reference, SampleExcess, pool, value_of};
use crate::quantity::{SpectralLine, Temperature};
use crate::solvent::{Kinship, Solvent, Substance, kinship};
use crate::statement::Role;

/// Siblings that are pooled: those with the likest conditions.
const MOST_SIBLINGS: usize = 12;

/// Neighbours in value that are looked at for support.
const MOST_NEIGHBOURS: usize = 8;

/// Two values of like conditions within this share of the larger one support each other.
const SUPPORT: f64 = 0.05;

/// Standard deviation of an excess that is not stated: that of Beta(40, 1), a fraction.
const UNSTATED_EXCESS_SD: f64 = 0.024;

/// A value that can be judged.
struct Judged<'a> {
    at: usize,
    item: &'a Item,
    value: f64,
    uncertainty: f64,
    conditions: Conditions,
    excess: SampleExcess,
    form: Option<String>,
}

/// Finds values that contradict their siblings.
pub(super) fn among(subject: &Subject, items: &[Item], settings: &Settings, found: &mut Vec<Finding>) {
    let worth = ReadingWorth::default();
    let mut judged: Vec<Judged<'_>> = items
        .iter()
        .enumerate()
        .filter(|(_, item)| {
            !item.specification && !item.identity_unclear && (settings.judge_kept_out || !item.kept_out)
        })
        .filter_map(|(at, item)| {
            let (value, uncertainty) = value_of(&item.statement, subject.molar_mass, None, &worth).ok()?;
            Some(Judged {
                at,
                item,
                value: value.conventional(),
                uncertainty: uncertainty.conventional(),
                conditions: Conditions::of(&item.statement, subject.molar_mass),
                excess: SampleExcess::of(item.statement.ee.as_ref()),
                form: item.statement.form.as_ref().map(|form| form.trim().to_lowercase()),
            })
        })
        .filter(|judged| match judged.excess {
            SampleExcess::Stated { mean, .. } => mean.abs() >= settings.options.lowest_excess,
            SampleExcess::NotStated => true,
        })
        .collect();
    if judged.len() < 2 {
        return;
    }
    judged.sort_by(|a, b| a.value.total_cmp(&b.value));
    let mut pairs_told: Vec<[usize; 2]> = Vec::new();
    for place in 0..judged.len() {
        if is_supported(&judged, place) {
            continue;
        }
        let this = &judged[place];
        let siblings = siblings(&judged, place, settings.judge_kept_out);
        if siblings.is_empty() {
            continue;
        }
        let Some(mut finding) = against_siblings(this, &siblings, items, settings) else {
            continue;
        };
        // Of two values alone nobody knows which is wrong: the finding is about both, and told once.
        if let [other] = siblings[..] {
            let pair = [this.at.min(other.at), this.at.max(other.at)];
            if pairs_told.contains(&pair) {
                continue;
            }
            pairs_told.push(pair);
            finding.entries = pair.to_vec();
            finding.against.clear();
        }
        found.push(finding);
    }
}

/// Whether a value of like conditions that is not a copy lies near. Looks at the nearest in the sorted list only.
fn is_supported(judged: &[Judged<'_>], place: usize) -> bool {
    let this = &judged[place];
    let supports = |other: &Judged<'_>| {
        let near = SUPPORT * this.value.abs().max(other.value.abs()) + this.uncertainty.hypot(other.uncertainty);
        (this.value - other.value).abs() <= near
            && !is_copy(this, other)
            && forms_agree(this, other)
            && distance(&this.conditions, &other.conditions).is_some_and(|distance| distance < FAR)
    };
    let below = judged[..place].iter().rev().take(MOST_NEIGHBOURS);
    let above = judged[place + 1..].iter().take(MOST_NEIGHBOURS);
    below.chain(above).any(supports)
}

/// The values that this one is held against: of the same form, not its copies, the likest conditions first. A value that
/// is kept out is held against the others, never they against it.
fn siblings<'a, 'b>(judged: &'b [Judged<'a>], place: usize, judge_kept_out: bool) -> Vec<&'b Judged<'a>> {
    let this = &judged[place];
    let mut siblings: Vec<(f64, &Judged<'_>)> = judged
        .iter()
        .enumerate()
        .filter(|(at, other)| {
            *at != place
                && !(judge_kept_out && other.item.kept_out)
                && !is_copy(this, other)
                && forms_agree(this, other)
        })
        .filter_map(|(_, other)| Some((distance(&this.conditions, &other.conditions)?, other)))
        .collect();
    siblings.sort_by(|(a, x), (b, y)| a.total_cmp(b).then(x.at.cmp(&y.at)));
    let of_other_solvents =
        |other: &Judged<'_>| solvent_distance(&this.conditions, &other.conditions) == Some(OTHER_SOLVENT);
    if siblings.iter().any(|(_, other)| !of_other_solvents(other)) {
        siblings.retain(|(_, other)| !of_other_solvents(other));
    }
    siblings.truncate(MOST_SIBLINGS);
    siblings.into_iter().map(|(_, other)| other).collect()
}

/// Whether a solvent makes another species of an ionisable solute.
fn ionises(solvent: &Solvent) -> bool {
    matches!(solvent, Solvent::Buffer(_)) || solvent.substances().into_iter().any(Substance::ionises)
}

/// How unlike two solvents are; none when the values say nothing of each other.
fn solvent_distance(a: &Conditions, b: &Conditions) -> Option<f64> {
    match (&a.solvent, &b.solvent) {
        (Some(a), Some(b)) => match kinship(a, b) {
            Kinship::Same => Some(0.0),
            Kinship::Kindred => Some(2.0),
            Kinship::Other => (!ionises(a) && !ionises(b)).then_some(OTHER_SOLVENT),
        },
        (Some(known), None) | (None, Some(known)) => (!ionises(known)).then_some(3.0),
        (None, None) => Some(3.0),
    }
}

fn is_copy(a: &Judged<'_>, b: &Judged<'_>) -> bool {
    (a.value - b.value).abs() <= 1e-6 * a.value.abs().max(b.value.abs()).max(1.0)
        && distance(&a.conditions, &b.conditions).is_some()
}

fn forms_agree(a: &Judged<'_>, b: &Judged<'_>) -> bool {
    match (&a.form, &b.form) {
        (Some(a), Some(b)) => a == b,
        _ => true,
    }
}

/// Distance of two solvents that are no kin.
const OTHER_SOLVENT: f64 = 6.0;

/// From this distance on conditions are not alike.
const FAR: f64 = 5.0;

/// How unlike two conditions are, in no unit; none when they cannot be compared.
fn distance(a: &Conditions, b: &Conditions) -> Option<f64> {
    let solvent = solvent_distance(a, b)?;
    let line = match (&a.line, &b.line) {
        (Some(a), Some(b)) if a.same_light(b) => 0.0,
        (Some(a), Some(b)) => match (a.wavelength(), b.wavelength()) {
            (Some(_), Some(_)) if near_the_middle(a) && near_the_middle(b) => 4.0,
            (Some(_), Some(_)) => return None,
            _ => 2.0,
        },
        _ => 1.0,
    };
    if a.stage != b.stage {
        return None;
    }
    let celsius = |t: Option<Temperature>| t.map(Temperature::celsius);
    let temperature = match (celsius(a.temperature), celsius(b.temperature)) {
        (Some(a), Some(b)) => ((a - b).abs() / 10.0).min(3.0),
        _ => 0.5,
    };
    let concentration = match (a.concentration, b.concentration) {
        (Some(a), Some(b)) => {
            (a.grams_per_100_millilitres() / b.grams_per_100_millilitres())
                .ln()
                .abs()
                .min(3.0)
                * 0.5
        }
        _ => 0.5,
    };
    Some(solvent + line + temperature + concentration)
}

/// Whether a generic law may carry a value from one line to another.
fn near_the_middle(line: &SpectralLine) -> bool {
    line.wavelength()
        .is_some_and(|wavelength| (545.0..=634.0).contains(&wavelength.nanometres()))
}

fn against_siblings(
    this: &Judged<'_>,
    siblings: &[&Judged<'_>],
    items: &[Item],
    settings: &Settings,
) -> Option<Finding> {
    let nearer = siblings.iter().any(|other| {
        solvent_distance(&this.conditions, &other.conditions).is_some_and(|distance| distance < OTHER_SOLVENT)
    });
    if !nearer && !is_of_another_order(this, siblings) {
        return None;
    }
    let references: Vec<Reference> = siblings.iter().map(|sibling| reference(this, sibling)).collect();
    let pooling = pool(&this.conditions, &references, &settings.effects, &settings.options);
    let expected = Expected::of(&pooling, this)?;
    if expected.holds(this.value) {
        return None;
    }
    let used: Vec<usize> = siblings
        .iter()
        .zip(&pooling.references)
        .filter(|(_, outcome)| outcome.used)
        .map(|(sibling, _)| sibling.at)
        .collect();
    let lead = format!(
        "Entry {} gives {}, but {} (entr{} {}) {} to {} to {} at its conditions",
        this.item.label,
        signed(this.value),
        if used.len() == 1 {
            "one sibling".to_owned()
        } else {
            format!("{} siblings", used.len())
        },
        if used.len() == 1 { "y" } else { "ies" },
        labels(items, &used),
        if used.len() == 1 { "leads" } else { "lead" },
        signed(expected.low),
        signed(expected.high),
    );
    let (code, severity, reason) = if nearer && expected.holds(-this.value) && !expected.spans_zero() {
        (
            Code::SignFlip,
            Severity::High,
            format!("{lead}: it fits with the other sign."),
        )
    } else if let Some((words, fits)) = POWERS
        .iter()
        .map(|&(words, factor)| (words, factor * this.value))
        .find(|&(_, fits)| expected.holds(fits) && !expected.spans_zero())
    {
        let reason = format!("{lead}: it fits {words}, as {}.", signed(fits));
        (Code::PowerOfTen, Severity::High, reason)
    } else if !nearer {
        return None;
    } else {
        let far = expected.half_widths(this.value);
        let severity = if far >= CLEARLY_OUTSIDE {
            Severity::Medium
        } else {
            Severity::Low
        };
        let reason = format!(
            "{lead}, {} half-widths of this interval from its middle.",
            shown((far * 10.0).round() / 10.0)
        );
        (Code::Outlier, severity, reason)
    };
    let mut finding = Finding::new(code, severity, reason, vec![this.at]);
    finding.against = used;
    Some(finding)
}

/// Whether a value is so far from the middle of its siblings that a factor of ten can be missing; spares the pooling.
fn is_of_another_order(this: &Judged<'_>, siblings: &[&Judged<'_>]) -> bool {
    let mut sizes: Vec<f64> = siblings.iter().map(|sibling| sibling.value.abs()).collect();
    sizes.sort_by(f64::total_cmp);
    let ratio = this.value.abs() / sizes[sizes.len() / 2].max(f64::MIN_POSITIVE);
    !(0.25..=4.0).contains(&ratio)
}

/// What a value is tried with.
const POWERS: [(&str, f64); 4] = [
    ("divided by 10", 0.1),
    ("times 10", 10.0),
    ("divided by 100", 0.01),
    ("times 100", 100.0),
];

/// A value this many half-widths of the interval from its middle is clearly outside.
const CLEARLY_OUTSIDE: f64 = 1.5;

fn reference(this: &Judged<'_>, sibling: &Judged<'_>) -> Reference {
    use crate::quantity::SpecificRotation;
    Reference {
        value: SpecificRotation::from_conventional(sibling.value),
        own_uncertainty: SpecificRotation::from_conventional(sibling.uncertainty),
        mirror: false,
        source: sibling.item.source,
        excess: sibling.excess,
        // The signs within one compound are what is tested, so each is taken as it stands.
        hand: HandKnown::Independent,
        conditions: sibling.conditions.clone(),
        form: if sibling.form == this.form {
            FormLink::Same
        } else {
            FormLink::Unknown
        },
        draft: sibling.item.draft,
        quoted: sibling.item.statement.role.is_some_and(|role| role != Role::Measured),
        excluded: None,
    }
}

/// Where one further value lies with 95 % probability.
struct Expected {
    low: f64,
    high: f64,
}

impl Expected {
    /// The interval for a value with this one's uncertainty and excess. A stated excess e scales it by e.
    fn of(pooling: &Pooling, this: &Judged<'_>) -> Option<Self> {
        let posterior = pooling.posterior.as_ref()?;
        let (excess, excess_sd) = match this.excess {
            SampleExcess::Stated { mean, sd } => (mean, sd),
            SampleExcess::NotStated => (1.0, UNSTATED_EXCESS_SD),
        };
        let own = this.uncertainty / excess.abs();
        let further = posterior.widened(|c| c.tau * c.tau + own * own + (excess_sd * c.mean).powi(2));
        let ends = [excess * further.quantile(0.025), excess * further.quantile(0.975)];
        Some(Self {
            low: ends[0].min(ends[1]),
            high: ends[0].max(ends[1]),
        })
    }

    fn holds(&self, value: f64) -> bool {
        (self.low..=self.high).contains(&value)
    }

    fn spans_zero(&self) -> bool {
        self.holds(0.0)
    }

    fn half_widths(&self, value: f64) -> f64 {
        let half = (self.high - self.low) / 2.0;
        (value - f64::midpoint(self.low, self.high)).abs() / half
    }
}
