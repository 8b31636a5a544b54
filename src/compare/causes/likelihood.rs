//! What the references lead to expect, and the density of a reported value under each kind of hypothesis.

use super::hypotheses::Kind;
use super::settings::CauseTable;
use crate::compare::Aspect;
use crate::compare::conditions::{Conditions, transfers};
use crate::compare::effects::{Case, EffectTable};
use crate::compare::lines;
use crate::compare::mixture::{Mixture, normal_density};
use crate::compare::pool::Options;
use crate::compare::reference::Reference;

/// Another stereoisomer with its published values at the measurement's conditions.
#[derive(Clone, Debug, PartialEq)]
pub struct Isomer {
    /// Its name.
    pub name: String,
    /// Mean and variance of what it would read, one for each of its references; (deg mL g⁻¹ dm⁻¹, squared).
    pub values: Vec<(f64, f64)>,
}

/// What another compound would read at the conditions of the measurement: one normal distribution for each of its
/// references, with the reference's own uncertainty, that of its transfer, and the scatter between sources. A light
/// stand-in for pooling, for compounds that are only candidates.
pub fn values_of_isomer(
    measured: &Conditions,
    references: &[Reference],
    effects: &EffectTable,
    options: &Options,
) -> Vec<(f64, f64)> {
    let lines = lines::steps(measured, references, effects);
    references
        .iter()
        .zip(lines.steps.iter().zip(&lines.stands_for))
        .filter(|(reference, (_, nearer))| reference.excluded.is_none() && nearer.is_none())
        .filter_map(|(reference, (line, _))| {
            let size = (line.factor()? * reference.value.conventional()).abs();
            let scale = size.max(options.lowest_scale);
            let made = transfers(measured, &reference.conditions, &reference.form, line, effects, scale).ok()?;
            let hand = if reference.mirror { -1.0 } else { 1.0 };
            let shared: f64 = made.shared.iter().map(|transfer| transfer.sd * transfer.sd).sum();
            let own = made.factor * reference.own_uncertainty.conventional();
            let between = effects.sd(Aspect::Source, Case::Between, scale);
            Some((
                hand * made.factor * reference.value.conventional(),
                own * own + shared + between * between,
            ))
        })
        .collect()
}

/// Standard uncertainty of x − shift. What of u is relative belongs to the value, not to the shift, which is exact.
pub(super) fn shifted_uncertainty(x: f64, u: f64, shift: f64, reading: f64) -> f64 {
    let share = if x == 0.0 {
        1.0
    } else {
        ((x - shift) / x).abs().min(1.0)
    };
    if shift == 0.0 { u } else { reading.hypot(u * share) }
}

/// The largest share of a value that its uncertainty grows with it, as that of weighing, flask and cell does (common
/// practice); what is beyond it comes from the angle.
const MOST_RELATIVE: f64 = 0.03;

/// Standard uncertainty of x = factor · y where the factor came after the reading: it multiplies what an angle is worth
/// (`reading`), while what is relative to the value stays so.
pub(super) fn multiplied_uncertainty(x: f64, u: f64, factor: f64, reading: f64) -> f64 {
    if reading == 0.0 {
        return u;
    }
    let relative = (u * u - reading * reading).max(0.0).sqrt().min(MOST_RELATIVE * x.abs());
    let angle = (u * u - relative * relative).max(0.0).sqrt();
    relative.hypot(angle * factor)
}

/// What a right measurement of the sample would read: a mixture of normal distributions.
pub(super) struct Expected {
    /// Weight, mean and variance (with that between sources).
    parts: Vec<(f64, f64, f64)>,
    /// The components under which the references tell nothing, likewise.
    wide: Vec<(f64, f64, f64)>,
    /// Their share.
    pub(super) wide_weight: f64,
    /// Median of the rest.
    pub(super) centre: f64,
}

/// A component wider than this many scales says that the references do not hold: all of them gross errors, or the transfer
/// failed.
const WIDE: f64 = 1.5;

/// Nodes of the integration over an expected value, and its reach in standard deviations.
const NODES: usize = 41;
const REACH: f64 = 4.5;

impl Expected {
    /// Of a sample that reads `share` of M, a mean with its standard deviation.
    pub(super) fn of(posterior: &Mixture, (share, sd): (f64, f64), scale: f64) -> Self {
        let pure = posterior.widened(|c| c.tau * c.tau);
        // The product of two independent quantities.
        let all = pure.components().iter().map(|c| {
            let variance = share * share * c.variance + sd * sd * (c.mean * c.mean + c.variance);
            (c.weight, share * c.mean, variance)
        });
        let (mut wide, mut parts): (Vec<_>, Vec<_>) = all.partition(|c| c.2.sqrt() > WIDE * scale);
        if parts.is_empty() {
            std::mem::swap(&mut parts, &mut wide);
        }
        let weight = |of: &[(f64, f64, f64)]| of.iter().map(|c| c.0).sum::<f64>();
        let (tight_weight, wide_weight) = (weight(&parts), weight(&wide));
        for part in &mut parts {
            part.0 /= tight_weight;
        }
        for part in &mut wide {
            part.0 /= wide_weight;
        }
        let mut by_mean: Vec<&(f64, f64, f64)> = parts.iter().collect();
        by_mean.sort_by(|a, b| a.1.total_cmp(&b.1));
        let mut below = 0.0;
        let middle = by_mean.iter().find(|c| {
            below += c.0;
            below >= 0.5
        });
        Self {
            centre: middle.map_or(0.0, |c| c.1),
            parts,
            wide,
            wide_weight,
        }
    }

    /// Density of the reported value x, with standard uncertainty u, under a kind of hypothesis.
    pub(super) fn likelihood(&self, kind: &Kind, x: f64, u: f64, table: &CauseTable) -> f64 {
        let u2 = u * u;
        match kind {
            Kind::Scale {
                factor,
                relative_sd,
                reading,
            } => {
                let own = multiplied_uncertainty(x, u, *factor, *reading);
                self.parts
                    .iter()
                    .map(|(w, m, v)| {
                        let variance = factor * factor * (v + relative_sd * relative_sd * m * m) + own * own;
                        w * normal_density(x - factor * m, variance)
                    })
                    .sum()
            }
            Kind::Shift { shift, sd, reading } => {
                let own = shifted_uncertainty(x, u, *shift, *reading);
                let further = sd * sd + own * own;
                self.parts
                    .iter()
                    .map(|(w, m, v)| w * normal_density(x - m - shift, v + further))
                    .sum()
            }
            Kind::Purity { is_opposite } => {
                let p = table.purity;
                let hand = if *is_opposite { -1.0 } else { 1.0 };
                let partial = self.reduced(hand * x, u2, |ratio| {
                    if ratio > 0.0 {
                        p.shape * ratio.powf(p.shape - 1.0)
                    } else {
                        0.0
                    }
                });
                // A racemate has no hand.
                if *is_opposite {
                    partial
                } else {
                    p.racemic * normal_density(x, u2) + (1.0 - p.racemic) * partial
                }
            }
            Kind::Dilution => {
                let shape = table.dilution.shape;
                self.reduced(x, u2, |ratio| {
                    if ratio > 0.0 {
                        shape * ratio.powf(shape - 1.0)
                    } else {
                        0.0
                    }
                })
            }
            Kind::Stage { values } => self.between(values, x, u2),
            Kind::Other { values } => {
                let extra = table.scatter.other_value_relative;
                let sum: f64 = values
                    .iter()
                    .map(|(m, v)| normal_density(x - m, v + (extra * m).powi(2) + u2))
                    .sum();
                sum / values.len().max(1) as f64
            }
            Kind::Suspect => 0.0,
        }
    }

    /// Density of x = p y with p from a density on −1 to 1 and y as expected:
    /// `Σ w ∫ N(y; m, v + u²) density(x/y) / |y| dy`. The uncertainty of x is put upon y, which is exact at p = 1 and too
    /// wide below it by less than the scatter of y.
    fn reduced(&self, x: f64, u2: f64, density: impl Fn(f64) -> f64) -> f64 {
        let step = 2.0 * REACH / (NODES - 1) as f64;
        let size = x.abs().max(1e-9);
        self.parts
            .iter()
            .map(|&(w, m, v)| {
                let sd = (v + u2).sqrt();
                let sum: f64 = (0..NODES)
                    .map(|i| {
                        let z = i as f64 * step - REACH;
                        let y = m + z * sd;
                        if y.abs() <= size {
                            return 0.0;
                        }
                        (-0.5 * z * z).exp() * density(x / y) / y.abs()
                    })
                    .sum();
                w * sum * step / (2.0 * std::f64::consts::PI).sqrt()
            })
            .sum()
    }

    /// Density of a value on the way from another stage of mutarotation to the one expected: uniform between the two.
    fn between(&self, values: &[(f64, f64)], x: f64, u2: f64) -> f64 {
        const STEPS: usize = 10;
        let each = |&(other, variance): &(f64, f64)| -> f64 {
            (0..STEPS)
                .map(|i| {
                    // Middles of ten steps, each blurred by its own width.
                    let q = (i as f64 + 0.5) / STEPS as f64;
                    self.parts
                        .iter()
                        .map(|(w, m, v)| {
                            let width = (other - m) / STEPS as f64;
                            let spread = (1.0 - q).powi(2) * v + q * q * variance + width * width / 12.0 + u2;
                            w * normal_density(x - m - q * (other - m), spread)
                        })
                        .sum::<f64>()
                })
                .sum::<f64>()
                / STEPS as f64
        };
        values.iter().map(each).sum::<f64>() / values.len().max(1) as f64
    }

    /// Density of x where the components that tell nothing hold; 0 where there are none.
    pub(super) fn wide(&self, x: f64, u: f64) -> f64 {
        self.wide
            .iter()
            .map(|(w, m, v)| w * normal_density(x - m, v + u * u))
            .sum()
    }

    /// Density of x where the references are suspect: off by some tens of per cent, or altogether wrong.
    pub(super) fn suspect(&self, x: f64, u: f64, table: &CauseTable, scale: f64) -> f64 {
        let s = table.scatter;
        let off: f64 = self
            .parts
            .iter()
            .map(|(w, m, v)| w * normal_density(x - m, v + (s.suspect_relative * m).powi(2) + u * u))
            .sum();
        // Wrong altogether: a sign or a factor lost, or any other compound's value, whose logarithms are nearly normal.
        let near = normal_density(x, (4.0 * scale).powi(2) + u * u);
        let size = x.abs().max(u);
        let logarithm = (size / s.suspect_median).ln();
        let any = 0.5 * normal_density(logarithm, s.suspect_log_sd.powi(2)) / size;
        (1.0 - s.suspect_gross) * off + s.suspect_gross * f64::midpoint(near, any)
    }

    /// What the value would be without the slip.
    pub(super) fn corrected(&self, kind: &Kind, x: f64, u: f64) -> f64 {
        match kind {
            Kind::Scale { factor, .. } => x / factor,
            Kind::Shift { shift, sd, reading } => {
                let own = shifted_uncertainty(x, u, *shift, *reading);
                self.unshifted(x - shift, sd * sd, own * own)
            }
            Kind::Purity { .. } | Kind::Dilution | Kind::Stage { .. } => self.centre,
            Kind::Other { .. } | Kind::Suspect => x,
        }
    }

    /// Mean of y given x = y + s, s of mean zero and variance `v_shift`.
    fn unshifted(&self, x: f64, v_shift: f64, u2: f64) -> f64 {
        if v_shift == 0.0 {
            return x;
        }
        let (mut total, mut sum) = (0.0, 0.0);
        for &(w, m, v) in &self.parts {
            let density = w * normal_density(x - m, v + v_shift + u2);
            total += density;
            // The shift takes its share of the difference; what is left is the value.
            sum += density * (x - (x - m) * v_shift / (v + v_shift + u2));
        }
        if total > 0.0 { sum / total } else { x }
    }
}
