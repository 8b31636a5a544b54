//! The posterior of the pooled value and of the optical purity against brute force: the model of `src/compare/mod.rs` is
//! written down once more as a sampler, without any of the algebra that the crate uses.
//!
//! Everything but M is drawn from its prior: between-source sd τ half-normal (in strata), probability of a gross error π from
//! Beta(1.5, 48.5), each sample's excess from Beta(40, 1) or its stated value, each shared draw and each source's draw from
//! its normal distribution. Along M the likelihood times the prior is summed on a fixed grid, so the average over the
//! draws is the posterior density. Figures come with a standard error from twenty batches; the crate must lie within four of
//! them plus two per cent of the posterior's width, which is what its quadrature (16 nodes for τ, 2 to 8 for each excess) and
//! its merging of components may cost.

use biot::compare::{
    Aspect, Case, Conditions, EffectTable, FiellerShape, FormLink, HandKnown, Options, Pooling, Reference,
    SampleExcess, fieller, pool, purity_density,
};
use biot::quantity::{Concentration, SpecificRotation, SpectralLine, Temperature};
use biot::solvent::Solvent;
use rand::{RngExt, SeedableRng};
use rand_distr::{Beta, ChiSquared, Distribution, StandardNormal};
use rand_pcg::Pcg64;
use statrs::distribution::ContinuousCDF;

/// The common scale m all cases are told, deg mL g⁻¹ dm⁻¹.
const SCALE: f64 = 100.0;
/// Sd of the prior of M and of a gross error: 4 m.
const WIDE: f64 = 4.0 * SCALE;
const BATCHES: usize = 20;

fn conditions(solvent: Option<&str>, celsius: f64, c: f64) -> Conditions {
    Conditions {
        temperature: Some(Temperature::from_celsius(celsius)),
        line: Some(SpectralLine::SodiumD),
        solvent: solvent.map(|name| Solvent::parse(name).unwrap()),
        concentration: Some(Concentration::from_grams_per_100_millilitres(c)),
        stage: None,
        basis: None,
    }
}

/// A reference at the conditions of the measurement: ethanol, 20 °C, c 1, sodium D.
fn reference(value: f64, uncertainty: f64, source: i64) -> Reference {
    Reference {
        value: SpecificRotation::from_conventional(value),
        own_uncertainty: SpecificRotation::from_conventional(uncertainty),
        mirror: false,
        source,
        excess: SampleExcess::NotStated,
        hand: HandKnown::Independent,
        conditions: conditions(Some("EtOH"), 20.0, 1.0),
        form: FormLink::Same,
        draft: false,
        quoted: false,
        excluded: None,
    }
}

fn pooled(references: &[Reference], scale: Option<f64>) -> Pooling {
    let options = Options {
        scale,
        ..Options::default()
    };
    pool(
        &conditions(Some("EtOH"), 20.0, 1.0),
        references,
        &EffectTable::built_in(),
        &options,
    )
}

fn normal(rng: &mut Pcg64) -> f64 {
    StandardNormal.sample(rng)
}

fn density(deviation: f64, sd: f64) -> f64 {
    let z = deviation / sd;
    (-0.5 * z * z).exp() / (sd * (2.0 * std::f64::consts::PI).sqrt())
}

/// A reference as the sampler takes it, with the coefficients of the shared draws worked out by hand.
#[derive(Clone)]
struct Plain {
    value: f64,
    sd: f64,
    source: usize,
    /// Mean and sd of a stated excess.
    excess: Option<(f64, f64)>,
    sign_free: bool,
    /// Shared draw and its coefficient.
    shared: Vec<(usize, f64)>,
    /// Probability that its shared draws fail.
    fails: f64,
    /// Standard deviation of a transfer that fails.
    failed: f64,
}

fn plain(value: f64, sd: f64, source: usize) -> Plain {
    Plain {
        value,
        sd,
        source,
        excess: None,
        sign_free: false,
        shared: Vec::new(),
        fails: 0.0,
        failed: 3.0 * SCALE,
    }
}

/// What the draws of one batch sum to, at each point of the grid: density, density times τ, and for each reference density
/// times the probability that it is a gross error.
struct Batch {
    density: Vec<f64>,
    tau: f64,
    gross: Vec<f64>,
}

/// The grid along M: fine within `reach` of each of the `centres`, ever wider elsewhere, out to 4.5 sd of the prior.
fn grid(centres: &[f64], reach: f64) -> Vec<f64> {
    let fine = reach / 30.0;
    let mut points = vec![-4.5 * WIDE];
    let mut m = points[0];
    while m < 4.5 * WIDE {
        let outside = centres
            .iter()
            .map(|c| (m - c).abs() - reach)
            .fold(f64::INFINITY, f64::min);
        m += fine.max(0.2 * outside);
        points.push(m);
    }
    points
}

/// The weight of each point of a grid in the trapezoidal rule.
fn trapezoid(points: &[f64]) -> Vec<f64> {
    let at = |i: usize| points[i.min(points.len() - 1)];
    (0..points.len())
        .map(|i| (at(i + 1) - at(i.saturating_sub(1))) / 2.0)
        .collect()
}

/// Scale of the half-normal prior of τ: the row source, between of the table of effects.
fn tau_prior_sd() -> f64 {
    EffectTable::built_in().sd(Aspect::Source, Case::Between, SCALE)
}

/// Samples the posterior in batches of `n`; τ is drawn from its prior unless it is given.
fn sample(references: &[Plain], points: &[f64], given_tau: Option<f64>, n: usize, seed: u64) -> Vec<Batch> {
    let mut rng = Pcg64::seed_from_u64(seed);
    let tau_sd = tau_prior_sd();
    let standard = statrs::distribution::Normal::standard();
    let gross_prior = Beta::new(1.5, 48.5).unwrap();
    let count = |it: &mut dyn Iterator<Item = usize>| it.max().map_or(0, |most| most + 1);
    let n_sources = count(&mut references.iter().map(|r| r.source));
    let n_shared = count(&mut references.iter().flat_map(|r| r.shared.iter().map(|s| s.0)));
    let weights = trapezoid(points);
    let prior: Vec<f64> = points
        .iter()
        .zip(&weights)
        .map(|(m, w)| w * density(*m, WIDE))
        .collect();
    let mut eta = vec![0.0; n_sources];
    let mut delta = vec![0.0; n_shared];
    let mut failing = vec![(0.0, 1.0); n_shared];
    for r in references.iter().filter(|r| r.fails > 0.0) {
        for &(at, coefficient) in &r.shared {
            failing[at] = (r.fails, r.failed / coefficient);
        }
    }
    let mut drawn = vec![(0.0, 0.0); references.len()];
    let wide: Vec<f64> = references.iter().map(|r| density(r.value, WIDE)).collect();
    let mut of_reference = vec![0.0; references.len()];
    let mut batches = Vec::with_capacity(BATCHES);
    for _ in 0..BATCHES {
        let mut batch = Batch {
            density: vec![0.0; points.len()],
            tau: 0.0,
            gross: vec![0.0; references.len()],
        };
        for stratum in 0..n {
            let uniform = (stratum as f64 + rng.random::<f64>()) / n as f64;
            let tau = given_tau.unwrap_or_else(|| tau_sd * standard.inverse_cdf(f64::midpoint(1.0, uniform)));
            let pi: f64 = gross_prior.sample(&mut rng);
            eta.fill_with(|| tau * normal(&mut rng));
            for (draw, &(probability, factor)) in delta.iter_mut().zip(&failing) {
                let failed = probability > 0.0 && rng.random::<f64>() < probability;
                *draw = normal(&mut rng) * if failed { factor } else { 1.0 };
            }
            for (r, drawn) in references.iter().zip(&mut drawn) {
                let excess = match r.excess {
                    Some((mean, sd)) => mean + sd * normal(&mut rng),
                    None => rng.random::<f64>().powf(1.0 / 40.0),
                };
                let shift: f64 = r.shared.iter().map(|&(at, coefficient)| coefficient * delta[at]).sum();
                *drawn = (excess, shift + eta[r.source]);
            }
            for (at, &m) in points.iter().enumerate() {
                let mut joint = prior[at];
                for (i, r) in references.iter().enumerate() {
                    let expected = drawn[i].0 * (m + drawn[i].1);
                    let sound = if r.sign_free {
                        0.5 * (density(r.value - expected, r.sd) + density(-r.value - expected, r.sd))
                    } else {
                        density(r.value - expected, r.sd)
                    };
                    let wrong = pi * wide[i];
                    let either = (1.0 - pi) * sound + wrong;
                    joint *= either;
                    of_reference[i] = wrong / either;
                }
                batch.density[at] += joint;
                batch.tau += joint * tau;
                for (sum, share) in batch.gross.iter_mut().zip(&of_reference) {
                    *sum += joint * share;
                }
            }
        }
        batches.push(batch);
    }
    batches
}

/// The sum of batches.
fn sum(batches: &[&Batch]) -> Batch {
    let add = |of: &dyn Fn(&Batch) -> &Vec<f64>| -> Vec<f64> {
        (0..of(batches[0]).len())
            .map(|i| batches.iter().map(|b| of(b)[i]).sum())
            .collect()
    };
    Batch {
        density: add(&|b| &b.density),
        tau: batches.iter().map(|b| b.tau).sum(),
        gross: add(&|b| &b.gross),
    }
}

impl Batch {
    /// The posterior weight of each point of the grid is `density` over this.
    fn total(&self) -> f64 {
        self.density.iter().sum()
    }

    fn mean(&self, points: &[f64]) -> f64 {
        points.iter().zip(&self.density).map(|(m, d)| m * d).sum::<f64>() / self.total()
    }

    fn sd(&self, points: &[f64]) -> f64 {
        let mean = self.mean(points);
        let squares = points.iter().zip(&self.density).map(|(m, d)| (m - mean).powi(2) * d);
        (squares.sum::<f64>() / self.total()).sqrt()
    }

    fn quantile(&self, points: &[f64], p: f64) -> f64 {
        quantile(points, &self.density, p)
    }
}

/// The quantile of weights at sorted points: half of each weight lies on either side of its point, those of the ends
/// within.
fn quantile(points: &[f64], weights: &[f64], p: f64) -> f64 {
    let total: f64 = weights.iter().sum();
    let mut before = 0.0;
    let mut last = (points[0], 0.0);
    for (at, (&m, &w)) in points.iter().zip(weights).enumerate().skip(1) {
        before += weights[at - 1];
        let below = if at + 1 == points.len() {
            total
        } else {
            before + w / 2.0
        };
        let now = (m, below / total);
        if now.1 >= p {
            let share = (p - last.1) / (now.1 - last.1);
            return last.0 + share * (now.0 - last.0);
        }
        last = now;
    }
    last.0
}

/// A figure with its standard error.
#[derive(Clone, Copy, Debug)]
struct Figure {
    value: f64,
    error: f64,
}

/// A figure over all batches, and its standard error by leaving one batch out at a time (jackknife).
fn figure(batches: &[Batch], of: impl Fn(&Batch) -> f64) -> Figure {
    let all: Vec<&Batch> = batches.iter().collect();
    let value = of(&sum(&all));
    let without: Vec<f64> = (0..batches.len())
        .map(|left_out| {
            let mut rest = all.clone();
            rest.remove(left_out);
            of(&sum(&rest))
        })
        .collect();
    let n = batches.len() as f64;
    let mean = without.iter().sum::<f64>() / n;
    let variance = (n - 1.0) / n * without.iter().map(|w| (w - mean).powi(2)).sum::<f64>();
    Figure {
        value,
        error: variance.sqrt(),
    }
}

/// Whether the crate's figure is that of the sampler, within four standard errors and the stated share of the width.
fn same(name: &str, found: f64, brute: Figure, width: f64) {
    println!(
        "  {name}: {found:.4} against {:.4} ± {:.4}, width {width:.3}",
        brute.value, brute.error
    );
    assert!(
        brute.error < 0.06 * width,
        "{name}: the sampler is too coarse to test anything: {brute:?}, width {width}"
    );
    assert!(
        (found - brute.value).abs() <= 4.0 * brute.error + 0.02 * width,
        "{name}: {found} against {brute:?}, width {width}"
    );
}

/// Compares everything the posterior gives with the sampler, whose grid is fine within `reach` of each of `centres`.
fn compare(references: &[Reference], plain: &[Plain], (centres, reach): (&[f64], f64), n: usize) -> Pooling {
    let pooling = pooled(references, Some(SCALE));
    assert_eq!(pooling.scale, SCALE);
    let posterior = pooling.posterior.clone().unwrap();
    let summary = pooling.pooled.clone().unwrap();
    let points = grid(centres, reach);
    let batches = sample(plain, &points, None, n, 20_251);
    let quantile = |p: f64| figure(&batches, |b| b.quantile(&points, p));
    let (mean, sd) = (
        figure(&batches, |b| b.mean(&points)),
        figure(&batches, |b| b.sd(&points)),
    );
    // The heart of the distribution; the sd can be much wider, where a reference alone may be a gross error.
    let middle = quantile(0.5).value;
    let heart = (quantile(0.75).value - quantile(0.25).value) / 1.349;
    same("mean", posterior.mean(), mean, sd.value);
    let alone = posterior.widened(|_| 0.0);
    assert_eq!(alone.quantile(0.5), summary.value);
    let (low, high) = (quantile(0.158_655), quantile(0.841_345));
    let central = Figure {
        value: (high.value - low.value) / 2.0,
        error: low.error.hypot(high.error) / 2.0,
    };
    let found = (alone.quantile(0.841_345) - alone.quantile(0.158_655)) / 2.0;
    same("central half-width", found, central, central.value);
    // 1.959964: any table of the normal distribution.
    let of_interval = (summary.interval95[1] - summary.interval95[0]) / 2.0 / 1.959_964;
    let stated = summary.standard_uncertainty;
    assert!((stated / found.max(of_interval) - 1.0).abs() < 1e-5, "{summary:?}");
    same("sd", posterior.sd(), sd, sd.value);
    for (name, p, found) in [
        ("2.5 %", 0.025, summary.interval95[0]),
        ("25 %", 0.25, alone.quantile(0.25)),
        ("median", 0.5, alone.quantile(0.5)),
        ("75 %", 0.75, alone.quantile(0.75)),
        ("97.5 %", 0.975, summary.interval95[1]),
    ] {
        let brute = quantile(p);
        // Far tails lie where the distribution is thin: their own distance from the middle, over two, is the width there.
        same(name, found, brute, heart.max((brute.value - middle).abs() / 2.0));
    }
    let tau = figure(&batches, |b| b.tau / b.total());
    same("τ", summary.between_source_sd, tau, tau.value);
    for (at, outcome) in pooling.references.iter().enumerate() {
        let brute = figure(&batches, |b| b.gross[at] / b.total());
        let found = outcome.gross_error_probability.unwrap();
        same(
            "gross error",
            found,
            brute,
            brute.value.min(1.0 - brute.value).max(0.005),
        );
    }
    pooling
}

fn effect(aspect: Aspect, case: Case) -> f64 {
    EffectTable::built_in().sd(aspect, case, SCALE)
}

#[test]
fn one_reference() {
    let pooling = compare(
        &[reference(98.0, 1.5, 1)],
        &[plain(98.0, 1.5, 0)],
        (&[100.0], 25.0),
        2_000,
    );
    // Nothing tells one reference from a gross error, so its probability is the prior's 1.5/50.
    let gross = pooling.references[0].gross_error_probability.unwrap();
    assert!((gross - 0.03).abs() < 0.003, "{gross}");
    assert!(pooling.pooled.unwrap().driven_by_prior);
}

#[test]
fn one_unconfirmed_draft() {
    let mut draft = reference(98.0, 5.0, 1);
    draft.draft = true;
    compare(&[draft], &[plain(98.0, 5.0 * 2f64.sqrt(), 0)], (&[100.0], 40.0), 2_000);
}

#[test]
fn two_references_in_the_same_conditions() {
    compare(
        &[reference(98.0, 2.0, 1), reference(104.0, 3.0, 2)],
        &[plain(98.0, 2.0, 0), plain(104.0, 3.0, 1)],
        (&[102.0], 6.0),
        2_000,
    );
}

#[test]
fn two_references_that_disagree() {
    compare(
        &[reference(98.0, 4.0, 1), reference(118.0, 4.0, 2)],
        &[plain(98.0, 4.0, 0), plain(118.0, 4.0, 1)],
        (&[112.0], 40.0),
        3_000,
    );
}

#[test]
fn three_references_one_warmer_and_one_without_solvent() {
    let mut warmer = reference(104.0, 3.0, 2);
    warmer.conditions = conditions(Some("EtOH"), 30.0, 1.0);
    let mut bare = reference(120.0, 3.0, 3);
    bare.conditions = conditions(None, 20.0, 1.0);
    let mut plains = [plain(98.0, 3.0, 0), plain(104.0, 3.0, 1), plain(120.0, 3.0, 2)];
    plains[1].shared = vec![(0, 10.0 * effect(Aspect::Temperature, Case::Differs))];
    plains[2].shared = vec![(1, effect(Aspect::Solvent, Case::Unknown))];
    plains[2].fails = EffectTable::built_in().failure(Aspect::Solvent, Case::Unknown);
    plains[2].failed = effect(Aspect::Solvent, Case::Other);
    compare(
        &[reference(98.0, 3.0, 1), warmer, bare],
        &plains,
        (&[102.0], 18.0),
        8_000,
    );
}

/// One slope in temperature and one in the logarithm of c serve all references, so those on either side of the
/// measurement's conditions bracket it.
#[test]
fn references_on_either_side_share_a_slope() {
    let mut cold = reference(96.0, 3.0, 1);
    cold.conditions = conditions(Some("EtOH"), 10.0, 0.5);
    let mut warm = reference(106.0, 3.0, 2);
    warm.conditions = conditions(Some("EtOH"), 30.0, 2.0);
    let mut plains = [plain(96.0, 3.0, 0), plain(106.0, 3.0, 1)];
    let slope = effect(Aspect::Temperature, Case::Differs);
    let log_slope = effect(Aspect::Concentration, Case::Differs) * 2f64.ln();
    plains[0].shared = vec![(0, -10.0 * slope), (1, -log_slope)];
    plains[1].shared = vec![(0, 10.0 * slope), (1, log_slope)];
    compare(&[cold, warm], &plains, (&[102.0], 18.0), 2_000);
}

#[test]
fn two_references_in_one_other_solvent_share_its_effect() {
    let mut chloroform = [reference(120.0, 3.0, 1), reference(124.0, 3.0, 2)];
    for reference in &mut chloroform {
        reference.conditions = conditions(Some("CHCl3"), 20.0, 1.0);
    }
    let [a, b] = chloroform;
    let mut plains = [plain(120.0, 3.0, 0), plain(124.0, 3.0, 1), plain(98.0, 3.0, 2)];
    for plain in &mut plains[..2] {
        plain.shared = vec![(0, effect(Aspect::Solvent, Case::Other))];
        plain.fails = EffectTable::built_in().failure(Aspect::Solvent, Case::Other);
    }
    compare(&[a, b, reference(98.0, 3.0, 3)], &plains, (&[101.0], 18.0), 8_000);
}

#[test]
fn four_references_one_ten_times_too_small() {
    let values = [98.0, 103.0, 10.0, 101.0];
    let references: Vec<Reference> = (1..).zip(values).map(|(i, y)| reference(y, 2.0, i)).collect();
    let plains: Vec<Plain> = values.iter().enumerate().map(|(i, &y)| plain(y, 2.0, i)).collect();
    let pooling = compare(&references, &plains, (&[102.5], 15.0), 2_000);
    assert!(pooling.references[2].gross_error_probability.unwrap() > 0.99);
}

#[test]
fn three_references_of_two_sources() {
    compare(
        &[
            reference(98.0, 3.0, 7),
            reference(110.0, 3.0, 4),
            reference(99.0, 3.0, 7),
        ],
        &[plain(98.0, 3.0, 0), plain(110.0, 3.0, 1), plain(99.0, 3.0, 0)],
        (&[104.0], 20.0),
        2_000,
    );
}

#[test]
fn a_stated_excess_alone_and_beside_one_not_stated() {
    let mut alone = reference(80.0, 1.5, 1);
    alone.excess = SampleExcess::Stated { mean: 0.8, sd: 0.02 };
    let mut of_alone = plain(80.0, 1.5, 0);
    of_alone.excess = Some((0.8, 0.02));
    compare(&[alone], &[of_alone], (&[100.0], 25.0), 2_000);
    let mut impure = reference(80.0, 1.5, 1);
    impure.excess = SampleExcess::Stated { mean: 0.8, sd: 0.01 };
    let mut plains = [plain(80.0, 1.5, 0), plain(98.0, 1.5, 1)];
    plains[0].excess = Some((0.8, 0.01));
    compare(&[impure, reference(98.0, 1.5, 2)], &plains, (&[101.0], 15.0), 2_000);
}

#[test]
fn an_entry_of_the_mirror_image() {
    let mut mirror = reference(-104.0, 2.0, 1);
    mirror.mirror = true;
    compare(
        &[mirror, reference(98.0, 2.0, 2)],
        &[plain(104.0, 2.0, 0), plain(98.0, 2.0, 1)],
        (&[102.0], 6.0),
        2_000,
    );
}

/// A hand inferred from the sign: the printed sign is right or wrong with even odds, whatever it is.
#[test]
fn an_inferred_hand_informs_the_magnitude_only() {
    let inferred = |value: f64| {
        let mut inferred = reference(value, 2.0, 1);
        inferred.hand = HandKnown::FromSign;
        inferred
    };
    let mut plains = [plain(-106.0, 2.0, 0), plain(98.0, 3.0, 1)];
    plains[0].sign_free = true;
    let pooling = compare(
        &[inferred(-106.0), reference(98.0, 3.0, 2)],
        &plains,
        (&[103.0, -103.0], 18.0),
        2_000,
    );
    assert!(pooling.hand_can_be_tested);
    let with_plus = pooled(&[inferred(106.0), reference(98.0, 3.0, 2)], Some(SCALE));
    assert_eq!(with_plus.pooled.unwrap().value, pooling.pooled.unwrap().value);
}

/// With eight references the crate carries one or two nodes for each unknown excess.
#[test]
fn eight_references() {
    let values = [98.0, 103.0, 91.0, 107.0, 100.5, 95.0, 102.0, 99.0];
    let references: Vec<Reference> = (1..).zip(values).map(|(i, y)| reference(y, 5.0, i)).collect();
    let plains: Vec<Plain> = values.iter().enumerate().map(|(i, &y)| plain(y, 5.0, i)).collect();
    compare(&references, &plains, (&[102.0], 15.0), 1_200);
}

/// p uniform on −1…1 and x ~ Normal(p M, u² + p² τ²): both M and p on grids, everything else drawn.
#[test]
fn the_optical_purity_of_a_measured_value() {
    let references = [reference(98.0, 3.0, 1), reference(104.0, 3.0, 2)];
    let plains = [plain(98.0, 3.0, 0), plain(104.0, 3.0, 1)];
    let posterior = pooled(&references, Some(SCALE)).posterior.unwrap();
    let points = grid(&[102.0], 15.0);
    // The posterior density of M at each of many τ, in batches.
    let tau_sd = tau_prior_sd();
    let at_tau: Vec<(f64, Vec<Batch>)> = (0..20)
        .map(|step: u32| {
            let tau = tau_sd * 4.0 * (f64::from(step) + 0.5) / 20.0;
            (tau, sample(&plains, &points, Some(tau), 100, 7 + u64::from(step)))
        })
        .collect();
    let u = 2.0f64;
    for (x, low, high) in [(80.0, 0.55, 1.0), (-30.0, -0.5, -0.1), (103.0, 0.75, 1.0)] {
        let found = purity_density(
            &posterior,
            SpecificRotation::from_conventional(x),
            SpecificRotation::from_conventional(u),
        );
        let ps: Vec<f64> = (0..=60).map(|i| low + (high - low) * f64::from(i) / 60.0).collect();
        let widths = trapezoid(&ps);
        let at = |batch: usize, p: f64| -> f64 {
            at_tau
                .iter()
                .map(|(tau, batches)| {
                    let sd = u.hypot(p * tau);
                    let of_m = points.iter().zip(&batches[batch].density);
                    density(*tau, tau_sd) * of_m.map(|(m, d)| d * density(x - p * m, sd)).sum::<f64>()
                })
                .sum()
        };
        let batches: Vec<Batch> = (0..BATCHES)
            .map(|batch| Batch {
                density: ps.iter().zip(&widths).map(|(&p, width)| width * at(batch, p)).collect(),
                tau: 0.0,
                gross: Vec::new(),
            })
            .collect();
        let (mean_found, sd_found) = found.moments();
        let sd = figure(&batches, |b| b.sd(&ps));
        println!("x {x}");
        same("mean of p", mean_found, figure(&batches, |b| b.mean(&ps)), sd.value);
        same("sd of p", sd_found, sd, sd.value);
        for p in [0.025, 0.25, 0.5, 0.75, 0.975] {
            let brute = figure(&batches, |b| b.quantile(&ps, p));
            same("quantile of p", found.quantile(p), brute, sd.value);
        }
        // The shortest 95 % interval holds 95 % of the crate's own posterior, which is checked above.
        let [from, to] = found.shortest(0.95);
        assert!(to - from < found.quantile(0.975) - found.quantile(0.025) + 1e-9);
    }
}

/// Fieller's set holds the true ratio in 95 % of trials whatever the denominator, exactly when both uncertainties are one
/// estimate of the given degrees of freedom times known factors: Fieller, J. R. Stat. Soc. B 16 (1954) 175.
#[test]
fn fiellers_set_holds_the_ratio_in_95_of_100_trials() {
    const TRIALS: u32 = 20_000;
    let mut rng = Pcg64::seed_from_u64(11);
    // True ratio, denominator in units of its sd, degrees of freedom.
    for (ratio, denominator, df) in [
        (0.8, 30.0, None),
        (0.8, 30.0, Some(5.0)),
        (0.5, 2.5, None),
        (0.5, 2.5, Some(4.0)),
        (1.0, 0.5, None),
        (2.0, 1.0, Some(8.0)),
    ] {
        let (ux, um) = (0.7, 1.0);
        let mut held = 0;
        let mut shapes = [0u32; 3];
        for _ in 0..TRIALS {
            let s = df.map_or(1.0, |df| {
                let chi: f64 = ChiSquared::new(df).unwrap().sample(&mut rng);
                (chi / df).sqrt()
            });
            let x = ratio * denominator + ux * normal(&mut rng);
            let m = denominator + um * normal(&mut rng);
            let set = fieller((x, s * ux), (m, s * um), df, 0.95);
            assert_eq!(set.degrees_of_freedom, df);
            let inside = |low: Option<f64>, high: Option<f64>| (low.unwrap()..=high.unwrap()).contains(&ratio);
            let (shape, holds) = match set.shape {
                FiellerShape::Interval => (0, inside(set.low, set.high)),
                FiellerShape::Exclusive => (1, !inside(set.low, set.high)),
                FiellerShape::Unbounded => (2, true),
            };
            shapes[shape] += 1;
            held += u32::from(holds);
        }
        let coverage = f64::from(held) / f64::from(TRIALS);
        let error = (0.95 * 0.05 / f64::from(TRIALS)).sqrt();
        println!("ratio {ratio}, denominator {denominator} sd, df {df:?}: {coverage} ± {error}, shapes {shapes:?}");
        assert!((coverage - 0.95).abs() <= 4.0 * error, "{coverage} ± {error}");
        if denominator > 10.0 {
            assert_eq!(shapes, [TRIALS, 0, 0]);
        } else {
            assert!(shapes.iter().all(|&n| n > 0), "not every shape was met: {shapes:?}");
        }
    }
}

#[test]
fn a_value_ten_times_too_small_among_four_hardly_moves_the_pooled_value() {
    let good: Vec<Reference> = (1..)
        .zip([98.0, 103.0, 101.0])
        .map(|(i, y)| reference(y, 1.0, i))
        .collect();
    let alone = pooled(&good, None).pooled.unwrap();
    let mut all = good;
    all.push(reference(10.1, 1.0, 9));
    let pooling = pooled(&all, None);
    let with = pooling.pooled.unwrap();
    let moved = (with.value - alone.value).abs();
    println!("{alone:?}\n{with:?}\nmoved {moved}");
    assert!(
        moved < alone.standard_uncertainty.min(with.standard_uncertainty),
        "{moved}"
    );
    assert!(with.standard_uncertainty < 2.0 * alone.standard_uncertainty);
    assert!(pooling.references[3].gross_error_probability.unwrap() > 0.95);
    assert!(pooling.references[3].weight < 0.02);
}

/// A lost minus is a gross error like a lost factor of ten.
#[test]
fn a_lost_minus_among_four_hardly_moves_the_pooled_value() {
    let good: Vec<Reference> = (1..)
        .zip([-98.0, -103.0, -101.0])
        .map(|(i, y)| reference(y, 1.0, i))
        .collect();
    let alone = pooled(&good, None).pooled.unwrap();
    let mut all = good;
    all.push(reference(99.0, 1.0, 9));
    let with = pooled(&all, None).pooled.unwrap();
    assert!(
        (with.value - alone.value).abs() < alone.standard_uncertainty,
        "{with:?}"
    );
}

/// Ten references share one solvent effect, so their number does not shrink it; the prior of M (sd 4 m) does by 0.4 %.
#[test]
fn ten_references_in_another_solvent_keep_its_whole_effect() {
    let values = [98.0, 103.0, 101.0, 99.5, 100.5, 97.0, 102.0, 104.0, 98.5, 101.5];
    let same_solvent: Vec<Reference> = (1..).zip(values).map(|(i, y)| reference(y, 1.0, i)).collect();
    let mut other = same_solvent.clone();
    for reference in &mut other {
        reference.conditions = conditions(Some("CHCl3"), 20.0, 1.0);
    }
    let same_solvent = pooled(&same_solvent, Some(SCALE)).pooled.unwrap();
    let other = pooled(&other, Some(SCALE)).pooled.unwrap();
    let effect = effect(Aspect::Solvent, Case::Other);
    println!(
        "{} against {}, effect {effect}",
        same_solvent.standard_uncertainty, other.standard_uncertainty
    );
    assert!(other.standard_uncertainty > 0.99 * effect);
    assert!(same_solvent.standard_uncertainty < 0.1 * effect);
    assert_eq!(other.independent_sources, 10);
}

#[test]
fn copies_in_several_sources_count_once() {
    let alone = pooled(&[reference(98.0, 1.0, 1), reference(103.0, 1.0, 2)], Some(SCALE))
        .pooled
        .unwrap();
    let mut quoted = reference(98.0, 1.0, 3);
    quoted.quoted = true;
    let mut bare = reference(98.0, 1.0, 4);
    bare.conditions.temperature = None;
    bare.conditions.concentration = None;
    let all = [reference(98.0, 1.0, 1), quoted, bare, reference(103.0, 1.0, 2)];
    let pooling = pooled(&all, Some(SCALE));
    let with = pooling.pooled.unwrap();
    assert_eq!((with.entries_used, with.independent_sources), (2, 2));
    assert_eq!(with, alone);
    let copies: Vec<Option<usize>> = pooling.references.iter().map(|r| r.copy_of).collect();
    assert_eq!(copies, [None, Some(0), Some(0), None]);
    assert!(
        pooling.references[1]
            .reason
            .as_deref()
            .unwrap()
            .contains("one measurement")
    );
    // Another solvent is another measurement, even of the same value.
    let mut elsewhere = reference(98.0, 1.0, 3);
    elsewhere.conditions = conditions(Some("CHCl3"), 20.0, 1.0);
    let pooling = pooled(&[reference(98.0, 1.0, 1), elsewhere], Some(SCALE));
    assert_eq!(pooling.pooled.unwrap().entries_used, 2);
}

/// A quoted value never stands for the measured one it copies, even when it prints more.
#[test]
fn the_measured_one_of_two_copies_is_kept() {
    let mut quoted = reference(98.0, 1.0, 1);
    quoted.quoted = true;
    let mut measured = reference(98.0, 1.0, 2);
    measured.conditions.temperature = None;
    let pooling = pooled(&[quoted, measured], Some(SCALE));
    assert!(pooling.references[1].used && pooling.references[0].copy_of == Some(1));
}
