//! Fuzzing of everything that reads text from outside, without tools beside cargo.
//!
//! `cargo test --test fuzz [-- SECONDS [TARGET...]]` feeds each target (all of them unless some are named) with texts made
//! from its seeds: bytes changed, pieces cut, doubled and crossed, words of its dictionary put in. Three seconds for all
//! targets unless told. A text that makes the target behave in a way not seen before (its answer has another shape) joins
//! the seeds of this run. Overflow checks and debug assertions are on, as in all tests.
//!
//! A text that makes a target panic, break a property or take longer than [`SLOWEST`] is written to `target/fuzz/`, and
//! the run fails. `cargo test --test fuzz -- TARGET FILE` runs one such text again. The texts are the same in each run;
//! `BIOT_FUZZ_SEED=random` (or a number) asks for others, and each run prints its seed. A text that ends the process, by
//! taking all memory, is found with `BIOT_FUZZ_LAST=FILE`: the file holds the text under way. `ulimit -v` bounds the memory.

mod targets;

use rand::rngs::SysRng;
use rand::{RngExt, SeedableRng, TryRng};
use rand_pcg::Pcg64;
use std::collections::HashSet;
use std::io::Write as _;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::PathBuf;
use std::process::ExitCode;
use std::time::{Duration, Instant};
use targets::{TARGETS, Target};

/// The seed of a run that names none.
const FIXED_SEED: u64 = 20_261_125;
/// Longest time for one text; the longest take seconds on a busy machine, so that more means a loop or worse growth.
const SLOWEST: Duration = Duration::from_mins(2);
/// Longest text that mutation makes, in bytes.
const LONGEST: usize = 1 << 13;
/// Longest text that repetition makes, in bytes.
const LONGEST_REPEATED: usize = 1 << 17;
/// Most texts kept beside the seeds.
const MOST_KEPT: usize = 4000;

fn main() -> ExitCode {
    let words: Vec<String> = std::env::args().skip(1).filter(|word| !word.starts_with('-')).collect();
    if let [name, file] = &words[..]
        && let Some(target) = TARGETS.iter().find(|target| target.name == name)
        && let Ok(text) = std::fs::read(file)
    {
        (target.run)(&text);
        return ExitCode::SUCCESS;
    }
    let seconds = words.iter().find_map(|word| word.parse::<f64>().ok()).unwrap_or(3.0);
    let chosen: Vec<&Target> = TARGETS
        .iter()
        .filter(|target| {
            let named = |word: &String| word == target.name;
            words.iter().any(named)
                || !words
                    .iter()
                    .any(|word| TARGETS.iter().any(|target| word == target.name))
        })
        .collect();
    let seed = match std::env::var("BIOT_FUZZ_SEED") {
        Ok(text) if text == "random" => SysRng.try_next_u64().unwrap_or(FIXED_SEED),
        Ok(text) => text.parse().unwrap_or(FIXED_SEED),
        Err(_) => FIXED_SEED,
    };
    say(&format!("seed {seed}, {seconds} s for {} targets", chosen.len()));
    let each = Duration::from_secs_f64(seconds.clamp(0.1, 86_400.0) / chosen.len().max(1) as f64);
    let mut failed = false;
    for target in chosen {
        failed |= !fuzz(target, each, seed);
    }
    if failed { ExitCode::FAILURE } else { ExitCode::SUCCESS }
}

/// Runs one target for a time; whether all went well.
fn fuzz(target: &Target, time: Duration, seed: u64) -> bool {
    let mut random = Pcg64::seed_from_u64(seed);
    let mut corpus = (target.seeds)();
    let n_seeds = corpus.len();
    let mut shapes = HashSet::new();
    let last = std::env::var_os("BIOT_FUZZ_LAST");
    let start = Instant::now();
    let mut n_run = 0u64;
    let mut next_seed = 0;
    while start.elapsed() < time || n_run < 8 {
        // The seeds themselves come first.
        let text = if next_seed < n_seeds {
            next_seed += 1;
            corpus[next_seed - 1].clone()
        } else {
            mutate(&corpus, target.dictionary, &mut random)
        };
        if let Some(file) = &last
            && let Err(error) = std::fs::write(file, &text)
        {
            say(&format!("{}: {error}", file.display()));
            return false;
        }
        let began = Instant::now();
        let outcome = catch_unwind(AssertUnwindSafe(|| (target.run)(&text)));
        n_run += 1;
        match outcome {
            Ok(shape) if began.elapsed() < SLOWEST => {
                if shapes.insert(shape) && next_seed == n_seeds && corpus.len() < n_seeds + MOST_KEPT {
                    corpus.push(text);
                }
            }
            outcome => {
                let what = if outcome.is_err() { "fails" } else { "is too slow" };
                let kept = keep(target.name, &text);
                say(&format!(
                    "{}: a text of {} bytes {what}; {kept}",
                    target.name,
                    text.len()
                ));
                return false;
            }
        }
    }
    say(&format!(
        "{:<10} {n_run:>8} texts from {n_seeds} seeds, {} shapes of answers, {:.1} s",
        target.name,
        shapes.len(),
        start.elapsed().as_secs_f64()
    ));
    true
}

/// Writes a failing text to a file and says how to run it again.
fn keep(name: &str, text: &[u8]) -> String {
    let folder = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("target/fuzz");
    let path = folder.join(format!("{name}-{}", std::process::id()));
    match std::fs::create_dir_all(&folder).and_then(|()| std::fs::write(&path, text)) {
        Ok(()) => format!("run it again with: cargo test --test fuzz -- {name} {}", path.display()),
        Err(error) => format!("it could not be kept ({error}): {}", text.escape_ascii()),
    }
}

/// A text made from those at hand.
fn mutate(corpus: &[Vec<u8>], dictionary: &[&str], random: &mut Pcg64) -> Vec<u8> {
    let pick = |random: &mut Pcg64| corpus[random.random_range(0..corpus.len())].clone();
    let mut text = pick(random);
    for _ in 0..random.random_range(1..6) {
        let n = text.len();
        let at = random.random_range(0..=n);
        let to = at + random.random_range(0..=(n - at).min(40));
        match random.random_range(0..9) {
            0 => text.insert(at, random.random_range(0..=255)),
            1 if n > 0 => text[at.min(n - 1)] = random.random_range(0..=255),
            2 => drop(text.drain(at..to)),
            3 => {
                let piece = text[at..to].to_vec();
                text.splice(at..at, piece);
            }
            4 | 5 if !dictionary.is_empty() => {
                let word = dictionary[random.random_range(0..dictionary.len())];
                text.splice(at..if random.random_bool(0.5) { to } else { at }, word.bytes());
            }
            6 => {
                let other = pick(random);
                let from = random.random_range(0..=other.len());
                text.splice(at.., other[from..].iter().copied());
            }
            7 if n > 0 => text[at.min(n - 1)] ^= 1 << random.random_range(0..8),
            8 if to > at && random.random_bool(0.1) => {
                let piece = text[at..to].to_vec();
                let most = (LONGEST_REPEATED / piece.len()).min(1 << random.random_range(2..14));
                text.splice(at..at, piece.repeat(most));
                return text;
            }
            _ => {}
        }
        text.truncate(LONGEST);
    }
    text
}

fn say(line: &str) {
    let _ = writeln!(std::io::stdout(), "{line}");
}
