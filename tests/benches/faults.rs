//! How well the causes of a value that does not fit are found: slips applied to the starter library, beside the best
//! possible classifier.
//!
//! `cargo bench --bench faults [-- CASES [SEED…]]` prints a confusion table for three mixes of slips: every slip as often
//! as any other, as often as `data/causes.toml` has them, and as in a laboratory where hardly anything but purity goes
//! wrong. The best classifier knows the mix. The program does not: under each table stands what it would reach if its
//! weights were those of the mix. CASES of each for every seed; without arguments 100 and one seed, a smoke test.

#![allow(
    clippy::unwrap_used,
    clippy::print_stdout,
    missing_docs,
    reason = "a bench that fails says where, and prints"
)]

mod fault_model;

use biot::compare::{CauseCode, CauseTable};
use biot::library::{Access, Library};
use biot::tasks::check::CheckSettings;
use fault_model::{Real, Score, real_entries, simulate, starter, table};
use rayon::prelude::*;
use std::time::Instant;

/// How often a slip is made, by its code.
type Mix<'a> = dyn Fn(CauseCode) -> f64 + Sync + 'a;

/// Misses of each mix that are shown.
const MOST_SHOWN: usize = 40;

fn main() {
    let numbers: Vec<usize> = std::env::args().filter_map(|word| word.parse().ok()).collect();
    let n = numbers.first().copied().unwrap_or(100);
    let seeds = if numbers.len() > 1 { &numbers[1..] } else { &[1815] };
    let folder = tempfile::tempdir().unwrap();
    let library = starter(folder.path());
    let real = real_entries(&library);
    let file = library.path().to_owned();
    println!(
        "{} entries of the starter library, {n} cases of each mix, seeds {seeds:?}",
        real.len()
    );
    let settings = CheckSettings::default();
    let causes = settings.causes.clone();
    let even = |code: CauseCode| if code == CauseCode::None { 3.0 } else { 1.0 };
    let usual = |code: CauseCode| causes.of(code).prior;
    let pure = |code: CauseCode| match code {
        CauseCode::None => 0.5,
        CauseCode::PartialPurity => 0.2,
        CauseCode::Diluted => 0.1,
        CauseCode::OppositeHand => 0.05,
        _ => 0.0125,
    };
    let mixes: [(&str, &Mix); 3] = [
        ("each slip as often", &even),
        ("as in data/causes.toml", &usual),
        ("hardly anything but purity", &pure),
    ];
    for (name, mix) in mixes {
        let start = Instant::now();
        let run = |settings: &CheckSettings| -> Vec<(Score, Vec<String>)> {
            let of_seed = |seed: &usize| {
                let library = Library::open(&file, Access::Read).unwrap();
                let mut misses = Vec::new();
                let seed = *seed as u64;
                let score = simulate(&library, settings, &real, n, seed, mix, |real, case, result, sure| {
                    misses.push(miss(real, case, result, sure));
                });
                (score, misses)
            };
            seeds.par_iter().map(of_seed).collect()
        };
        let runs = run(&settings);
        println!("\n{name} ({:.1} s)", start.elapsed().as_secs_f64());
        for (seed, (score, _)) in seeds.iter().zip(&runs) {
            println!("seed {seed}: {}", summary(score));
        }
        let sum = |runs: &[(Score, Vec<String>)]| {
            let mut all = Score::default();
            for (score, _) in runs {
                all.add(score);
            }
            all
        };
        println!("{}", table(&sum(&runs)));
        let told = CheckSettings {
            causes: weighted(mix),
            ..settings.clone()
        };
        println!("if the program knew the mix: {}", summary(&sum(&run(&told))));
        println!("misses where the best classifier is sure and right, or has it among three:");
        for miss in runs.iter().flat_map(|(_, misses)| misses).take(MOST_SHOWN) {
            println!("  {miss}");
        }
    }
}

/// The table of causes with the weights of a mix.
fn weighted(mix: &Mix) -> CauseTable {
    let mut settings: toml::Table = include_str!("../../data/causes.toml").parse().unwrap();
    for cause in settings["cause"].as_array_mut().unwrap() {
        let code = CauseCode::ALL
            .into_iter()
            .find(|code| Some(code.as_str()) == cause["code"].as_str());
        cause["prior"] = mix(code.unwrap()).into();
    }
    CauseTable::read(&settings.to_string(), include_str!("../../data/forms.csv")).unwrap()
}

/// The line of a score's table with the right class first.
fn summary(score: &Score) -> String {
    let text = table(score);
    text.lines().rev().nth(2).unwrap_or_default().to_owned()
}

/// A miss in short.
fn miss(real: &Real, case: &fault_model::Case, result: &biot::tasks::check::CheckResult, sure: f64) -> String {
    let named: Vec<String> = result
        .causes
        .iter()
        .take(5)
        .map(|c| {
            format!(
                "{}: {} {:.3} ({:.1})",
                c.class,
                c.code.as_str(),
                c.probability,
                c.corrected_value
            )
        })
        .collect();
    let tenth = |value: f64| (value * 10.0).round() / 10.0;
    format!(
        "{}: {} {:?} reported {}, cell {:?}, best {sure:.3}; expected {:?} ± {:?}; named {}",
        in_short(real),
        case.code.as_str(),
        case.slip,
        case.reported,
        case.told_cell,
        result.pooled.as_ref().map(|p| tenth(p.value)),
        result.pooled.as_ref().map(|p| tenth(p.standard_uncertainty)),
        named.join(", ")
    )
}

/// The entry in short.
fn in_short(real: &Real) -> String {
    let solvent = real.conditions.solvent.as_ref().map(ToString::to_string);
    format!(
        "{} {:.1} ({})",
        real.compound.name,
        real.value,
        solvent.unwrap_or_default()
    )
}
