//! How well the causes of a value that does not fit are found: slips applied to the starter library, beside the best
//! possible classifier.
//!
//! `cargo bench --bench faults [-- CASES [SEED]]` prints a confusion table for two mixes of slips: every slip as often as
//! any other, and as often as `data/causes.toml` has them. Without arguments 400 cases of each.

#![allow(
    clippy::unwrap_used,
    clippy::print_stdout,
    missing_docs,
    reason = "a bench that fails says where, and prints"
)]

mod fault_model;

use biot::compare::{CauseCode, CauseTable};
use fault_model::{Real, real_entries, simulate, starter, table};
use std::time::Instant;

fn main() {
    let numbers: Vec<u64> = std::env::args().filter_map(|word| word.parse().ok()).collect();
    let n = numbers.first().map_or(400, |n| *n as usize);
    let seed = numbers.get(1).copied().unwrap_or(1815);
    let folder = tempfile::tempdir().unwrap();
    let library = starter(folder.path());
    let real = real_entries(&library);
    println!("{} entries of the starter library, {n} cases, seed {seed}", real.len());
    let causes = CauseTable::built_in();
    let usual = |code: CauseCode| causes.of(code).prior;
    let even = |code: CauseCode| if code == CauseCode::None { 3.0 } else { 1.0 };
    for (name, prior) in [
        ("each slip as often", &even as &dyn Fn(CauseCode) -> f64),
        ("as in data/causes.toml", &usual),
    ] {
        let start = Instant::now();
        let mut misses = Vec::new();
        let score = simulate(&library, &real, n, seed, prior, |real, case, result, sure| {
            if misses.len() < 40 {
                let named: Vec<String> = result
                    .causes
                    .iter()
                    .take(4)
                    .map(|c| format!("{} {:.3} ({:.1})", c.code.as_str(), c.probability, c.corrected_value))
                    .collect();
                misses.push(format!(
                    "  {}: {} {:?} reported {}, cell {}, best {:.3}; expected {:?} ± {:?}; named {}",
                    in_short(real),
                    case.code.as_str(),
                    case.slip,
                    case.reported,
                    case.cell,
                    sure,
                    result.pooled.as_ref().map(|p| (p.value * 10.0).round() / 10.0),
                    result
                        .pooled
                        .as_ref()
                        .map(|p| (p.standard_uncertainty * 10.0).round() / 10.0),
                    named.join(", ")
                ));
            }
        });
        println!("\n{name} ({:.1} s)\n{}", start.elapsed().as_secs_f64(), table(&score));
        println!("misses where the best classifier is sure and right:");
        for miss in &misses {
            println!("{miss}");
        }
    }
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
