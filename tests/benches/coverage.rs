//! Coverage of the intervals for the optical purity p, by simulation.
//!
//! `cargo bench --bench coverage [-- RUNS [SEED]]` prints three parts: (a) truth drawn from the priors, where 95 % is the
//! target; (b) a fixed grid of situations, every cell printed; (c) wrong models, printed without a target.

use biot::compare::{
    Conditions, EffectTable, FormLink, HandKnown, Measured, Options, Reference, SampleExcess, Thresholds, VerdictCode,
    judge, pool,
};
use biot::quantity::{Concentration, SpecificRotation, SpectralLine, Temperature};
use biot::solvent::Solvent;
use rand::{RngExt, SeedableRng};
use rand_distr::{Distribution, StandardNormal};
use rand_pcg::Pcg64;
use std::io::Write;
use std::sync::Mutex;
use std::sync::atomic::{AtomicUsize, Ordering};

/// One situation: how truth and references are made.
#[derive(Clone, Copy)]
struct Situation {
    n_references: usize,
    /// Between-source sd relative to M; none draws it from its half-normal prior.
    spread: Option<f64>,
    /// Own uncertainty of references and measurement relative to M.
    own: f64,
    /// True p; none draws it uniformly from −1 to 1.
    purity: Option<f64>,
    /// All references in another solvent.
    other_solvent: bool,
    /// Draw gross errors with this probability; none draws the probability from its prior.
    gross: Option<f64>,
    /// First parameter of the Beta(a, 1) the samples' excess is drawn from.
    excess_shape: f64,
    wrong: Wrong,
    /// Draw M from its prior at a scale that the model is told.
    scale: Option<f64>,
}

#[derive(Clone, Copy, PartialEq)]
enum Wrong {
    Nothing,
    /// Every reference after the first repeats the first, rounded otherwise.
    Copies,
    /// One reference is a tenth.
    OneGross,
    /// All references share a shift of 10 % that nothing tells of.
    SharedShift,
}

fn normal(rng: &mut Pcg64) -> f64 {
    StandardNormal.sample(rng)
}

struct Tally {
    runs: u32,
    held: u32,
    width: f64,
    held_m: u32,
    prior_driven: u32,
    agrees: u32,
    decided: u32,
    wrong_call: u32,
}

fn simulate(situation: &Situation, runs: u32, rng: &mut Pcg64) -> Tally {
    let effects = EffectTable::built_in();
    let options = Options {
        scale: situation.scale,
        ..Options::default()
    };
    let thresholds = Thresholds::built_in();
    let conditions = |solvent: &str| Conditions {
        temperature: Some(Temperature::from_celsius(20.0)),
        line: Some(SpectralLine::SodiumD),
        solvent: Solvent::parse(solvent).ok(),
        concentration: Some(Concentration::from_grams_per_100_millilitres(1.0)),
        stage: None,
        basis: None,
    };
    let mut tally = Tally {
        runs,
        held: 0,
        width: 0.0,
        held_m: 0,
        prior_driven: 0,
        agrees: 0,
        decided: 0,
        wrong_call: 0,
    };
    for _ in 0..runs {
        let sign = if rng.random::<f64>() < 0.5 { -1.0 } else { 1.0 };
        // M over one and a half decades, or from its prior (sd 4 m, as in the model).
        let m = match situation.scale {
            Some(scale) => 4.0 * scale * normal(rng),
            None => sign * 10f64.powf(1.0 + 1.5 * rng.random::<f64>()),
        };
        let size = situation.scale.unwrap_or_else(|| m.abs().max(options.lowest_scale));
        let sd = |aspect, case| effects.sd(aspect, case, size);
        let tau = match situation.spread {
            Some(relative) => relative * size,
            None => sd(biot::compare::Aspect::Source, biot::compare::Case::Between) * normal(rng).abs(),
        };
        let pi = if let Some(pi) = situation.gross {
            pi
        } else {
            // Beta(1.5, 48.5) by two gamma draws.
            let gamma =
                |shape: f64, rng: &mut Pcg64| rand_distr::Gamma::new(shape, 1.0).map_or(0.0, |gamma| gamma.sample(rng));
            let (a, b) = (gamma(options.gross.0, rng), gamma(options.gross.1, rng));
            a / (a + b)
        };
        let delta = if situation.other_solvent {
            sd(biot::compare::Aspect::Solvent, biot::compare::Case::Other) * normal(rng)
        } else if situation.wrong == Wrong::SharedShift {
            0.1 * m
        } else {
            0.0
        };
        let own = situation.own * size;
        let mut values: Vec<f64> = (0..situation.n_references)
            .map(|_| {
                if rng.random::<f64>() < pi {
                    return 4.0 * size * normal(rng);
                }
                let e = rng.random::<f64>().powf(1.0 / situation.excess_shape);
                e * (m + delta + tau * normal(rng)) + own * normal(rng)
            })
            .collect();
        match situation.wrong {
            Wrong::Copies => {
                let first = values[0];
                for (i, value) in values.iter_mut().enumerate().skip(1) {
                    *value = first * (1.0 + 1e-4 * i as f64);
                }
            }
            Wrong::OneGross => values[0] *= 0.1,
            Wrong::Nothing | Wrong::SharedShift => {}
        }
        let references: Vec<Reference> = values
            .iter()
            .enumerate()
            .map(|(i, &value)| Reference {
                value: SpecificRotation::from_conventional(value),
                own_uncertainty: SpecificRotation::from_conventional(own),
                mirror: false,
                source: i64::try_from(i).unwrap_or(0),
                excess: SampleExcess::NotStated,
                hand: HandKnown::Independent,
                conditions: conditions(if situation.other_solvent { "CHCl3" } else { "EtOH" }),
                form: FormLink::Same,
                draft: false,
                quoted: false,
                excluded: None,
            })
            .collect();
        let p = situation.purity.unwrap_or_else(|| 2.0 * rng.random::<f64>() - 1.0);
        let x = p * (m + tau * normal(rng)) + own * normal(rng);
        let pooling = pool(&conditions("EtOH"), &references, &effects, &options);
        let measured = Measured {
            value: SpecificRotation::from_conventional(x),
            uncertainty: SpecificRotation::from_conventional(own),
            degrees_of_freedom: None,
            excess: None,
        };
        let judgement = judge(&pooling, &measured, &thresholds);
        let (Some(purity), Some(pooled)) = (judgement.optical_purity, pooling.pooled) else {
            continue;
        };
        let [low, high] = purity.bounded95;
        tally.held += u32::from((low..=high).contains(&p));
        tally.width += high - low;
        tally.held_m += u32::from((pooled.interval95[0]..=pooled.interval95[1]).contains(&m));
        tally.prior_driven += u32::from(pooled.driven_by_prior);
        tally.agrees += u32::from(judgement.verdict.code == VerdictCode::Agrees);
        let code = judgement.verdict.code;
        tally.decided += u32::from(code != VerdictCode::Undecided);
        tally.wrong_call += u32::from(match code {
            VerdictCode::Opposite => p > 0.0,
            VerdictCode::Lower => p.abs() > 0.999,
            VerdictCode::Exceeds => p.abs() <= 1.0,
            _ => false,
        });
    }
    tally
}

fn main() {
    let mut numbers = std::env::args().skip(1).filter_map(|a| a.parse::<u64>().ok());
    let runs = u32::try_from(numbers.next().unwrap_or(800)).unwrap_or(800);
    let seed = numbers.next().unwrap_or(1815);
    let mut out = std::io::stdout().lock();
    let base = Situation {
        n_references: 3,
        spread: None,
        own: 0.01,
        purity: None,
        other_solvent: false,
        gross: None,
        excess_shape: 40.0,
        wrong: Wrong::Nothing,
        scale: None,
    };
    let _ = writeln!(
        out,
        "seed {seed}; runs a line: {} in (a), {runs} in (b) and (c)",
        8 * runs
    );
    let _ = writeln!(out, "(a) truth drawn from the priors; target 95 ± 1 %");
    let _ = writeln!(out, "references  own u  p held %  mean width  M held %");
    let drawn: Vec<Situation> = [1, 2, 3, 5, 10]
        .into_iter()
        .flat_map(|n_references| {
            [0.005, 0.03].map(|own| Situation {
                n_references,
                own,
                scale: Some(50.0),
                ..base
            })
        })
        .collect();
    for (cell, tally) in drawn.iter().zip(simulate_all(&drawn, 8 * runs, seed)) {
        let _ = writeln!(
            out,
            "{:10}  {:5}  {:8.2}  {:10.3}  {:8.2}",
            cell.n_references,
            cell.own,
            percent(tally.held, tally.runs),
            tally.width / f64::from(tally.runs),
            percent(tally.held_m, tally.runs)
        );
    }

    let _ = writeln!(
        out,
        "(b) fixed grid; no cell under 90 %; * = driven by the prior (fewer than 3 sources)"
    );
    let _ = writeln!(
        out,
        "references  solvent  spread  own u  true p  p held %  mean width  wrong call %"
    );
    let mut grid = Vec::new();
    for (n_references, other_solvent) in [(1, false), (2, false), (4, false), (10, false), (10, true)] {
        for spread in [0.0, 0.02, 0.04] {
            for own in [0.005, 0.03] {
                for purity in [-1.0, 0.0, 0.5, 0.9, 1.0] {
                    grid.push(Situation {
                        n_references,
                        spread: Some(spread),
                        own,
                        purity: Some(purity),
                        other_solvent,
                        gross: Some(0.02),
                        ..base
                    });
                }
            }
        }
    }
    let tallies = simulate_all(&grid, runs, seed + 1);
    for (cell, tally) in grid.iter().zip(&tallies) {
        let _ = writeln!(out, "{}", grid_line(cell, tally));
    }
    // The lowest of many cells is low by chance alone: such cells are simulated anew, longer, and those runs count.
    let low: Vec<Situation> = grid
        .iter()
        .zip(&tallies)
        .filter(|(_, tally)| percent(tally.held, tally.runs) < LOOK_AGAIN)
        .map(|(cell, _)| *cell)
        .collect();
    let longer = 16 * runs;
    let _ = writeln!(
        out,
        "cells under {LOOK_AGAIN} % anew, {longer} runs each (standard error {:.1} %)",
        100.0 * (0.9 * 0.1 / f64::from(longer)).sqrt()
    );
    let mut lowest = f64::INFINITY;
    for (cell, tally) in low.iter().zip(simulate_all(&low, longer, seed + 3)) {
        lowest = lowest.min(percent(tally.held, tally.runs));
        let _ = writeln!(out, "{}", grid_line(cell, &tally));
    }
    let _ = writeln!(out, "lowest cell {:.2} %", lowest.min(100.0));

    let _ = writeln!(out, "(c) wrong models, four references, p from -1 to 1; no target");
    let four = Situation {
        n_references: 4,
        gross: Some(0.0),
        ..base
    };
    let wrong = [
        (
            "all references copy the first",
            Situation {
                wrong: Wrong::Copies,
                ..four
            },
        ),
        (
            "references of excess Beta(8, 1), not stated",
            Situation {
                excess_shape: 8.0,
                ..four
            },
        ),
        (
            "one reference of four a tenth",
            Situation {
                wrong: Wrong::OneGross,
                ..four
            },
        ),
        (
            "all references shifted by 10 %, not told",
            Situation {
                wrong: Wrong::SharedShift,
                ..four
            },
        ),
        (
            "spread between sources 8 %, twice the prior's scale",
            Situation {
                spread: Some(0.08),
                ..four
            },
        ),
    ];
    let cells = wrong.map(|(_, cell)| cell);
    for ((name, _), tally) in wrong.iter().zip(simulate_all(&cells, runs, seed + 2)) {
        let _ = writeln!(
            out,
            "{name:52} p held {:6.2} %, mean width {:.3}",
            percent(tally.held, tally.runs),
            tally.width / f64::from(tally.runs)
        );
    }
}

/// Cells of the grid below this percentage are simulated anew with more runs.
const LOOK_AGAIN: f64 = 92.0;

fn grid_line(cell: &Situation, tally: &Tally) -> String {
    format!(
        "{:10}  {:7}  {:6}  {:5}  {:6}  {:8.2}  {:10.3}  {:12.2}{}",
        cell.n_references,
        if cell.other_solvent { "other" } else { "same" },
        cell.spread.unwrap_or_default(),
        cell.own,
        cell.purity.unwrap_or_default(),
        percent(tally.held, tally.runs),
        tally.width / f64::from(tally.runs),
        percent(tally.wrong_call, tally.runs),
        if tally.prior_driven > 0 { " *" } else { "" }
    )
}

fn percent(count: u32, of: u32) -> f64 {
    100.0 * f64::from(count) / f64::from(of)
}

/// Simulates each situation with a generator of its own, on two threads; the result does not depend on their pace.
fn simulate_all(cells: &[Situation], runs: u32, seed: u64) -> Vec<Tally> {
    let next = AtomicUsize::new(0);
    let done: Mutex<Vec<(usize, Tally)>> = Mutex::new(Vec::with_capacity(cells.len()));
    std::thread::scope(|scope| {
        for _ in 0..2 {
            scope.spawn(|| {
                loop {
                    let at = next.fetch_add(1, Ordering::Relaxed);
                    let Some(cell) = cells.get(at) else { break };
                    let mut rng = Pcg64::seed_from_u64(seed.wrapping_mul(1_000).wrapping_add(at as u64));
                    let tally = simulate(cell, runs, &mut rng);
                    if let Ok(mut done) = done.lock() {
                        done.push((at, tally));
                    }
                }
            });
        }
    });
    let mut done = done.into_inner().unwrap_or_default();
    done.sort_by_key(|(at, _)| *at);
    done.into_iter().map(|(_, tally)| tally).collect()
}
