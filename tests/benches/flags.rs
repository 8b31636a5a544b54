//! Detection and false-alarm rates of the quality flags, by simulated benches with known faults.
//!
//! `cargo bench --bench flags [-- RUNS [SEED]]`. Each fault is put into a bench that is clean otherwise: six readings 10 s
//! apart with sd 0.0015° on a display of 0.001°, four blanks before and four after, angle −0.482° at c 1, l 1 dm. Benches with
//! two concentrations draw the true rotation anew and have 0.3 % of scatter in each concentration. All values are invented.

use biot::measurement::flags::CODES;
use biot::measurement::{Amount, Defaults, Reading, ReadingRole, ReduceSettings, Setup, Uncertainties, reduce};
use biot::quantity::{Angle, Concentration, Fraction, Length, Temperature};
use rand::{RngExt, SeedableRng};
use rand_distr::{Distribution, StandardNormal};
use rand_pcg::Pcg64;
use std::collections::BTreeMap;
use std::io::Write;

/// What is wrong with a bench.
#[derive(Clone, Copy)]
struct Fault {
    name: &'static str,
    /// The flags of which one should speak.
    flags: &'static [&'static str],
    spoil: fn(&mut Bench, &mut Pcg64),
}

struct Bench {
    readings: Vec<Reading>,
    setup: Setup,
}

fn normal(rng: &mut Pcg64) -> f64 {
    StandardNormal.sample(rng)
}

fn shown(angle: f64) -> Angle {
    Angle::from_degrees((angle * 1000.0).round() / 1000.0)
}

fn setup() -> Setup {
    let c = Concentration::from_grams_per_100_millilitres(1.0);
    let mut setup = Setup::new(Length::from_decimetres(1.0), Amount::Concentration(c));
    setup.counts_instrument = true;
    setup.counts_temperature = true;
    setup.stated_temperature = Some(Temperature::from_celsius(20.0));
    setup.resolution = Some(Angle::from_degrees(0.001));
    setup.uncertainties = Uncertainties {
        instrument: Some(Angle::from_degrees(0.002)),
        concentration: Some(Fraction::from_ratio(0.003)),
        ..Uncertainties::default()
    };
    setup
}

fn add(readings: &mut Vec<Reading>, role: ReadingRole, n: usize, centre: f64, c: Option<f64>, rng: &mut Pcg64) {
    for _ in 0..n {
        let at = readings.len() as u64;
        readings.push(Reading {
            seconds: Some(10.0 * at as f64),
            temperature: Some(Temperature::from_celsius(20.0 + 0.1 * normal(rng))),
            concentration: c.map(Concentration::from_grams_per_100_millilitres),
            ..Reading::of(at + 2, role, shown(centre + 0.0015 * normal(rng)))
        });
    }
}

/// A bench without a fault.
fn clean(rng: &mut Pcg64) -> Bench {
    let mut readings = Vec::new();
    add(&mut readings, ReadingRole::Blank, 4, 0.001, None, rng);
    add(&mut readings, ReadingRole::Sample, 6, -0.481, None, rng);
    add(&mut readings, ReadingRole::Blank, 4, 0.001, None, rng);
    Bench {
        readings,
        setup: setup(),
    }
}

/// A clean bench at two concentrations; `wrong` is what the second is really diluted by, and `most` the largest angle.
fn two(wrong: f64, least: f64, most: f64, rng: &mut Pcg64) -> Bench {
    let mut readings = Vec::new();
    add(&mut readings, ReadingRole::Blank, 4, 0.001, None, rng);
    let sign = if rng.random::<bool>() { 1.0 } else { -1.0 };
    let full = sign * (least + (most - least) * rng.random::<f64>());
    let wrapped = |angle: f64| angle - 180.0 * (angle / 180.0).round();
    let first = full * (1.0 + 0.003 * normal(rng));
    let second = 0.5 * wrong * full * (1.0 + 0.003 * normal(rng));
    add(
        &mut readings,
        ReadingRole::Sample,
        6,
        wrapped(first) + 0.001,
        Some(20.0),
        rng,
    );
    add(
        &mut readings,
        ReadingRole::Sample,
        6,
        wrapped(second) + 0.001,
        Some(10.0),
        rng,
    );
    let mut setup = setup();
    setup.amount = Amount::Concentration(Concentration::from_grams_per_100_millilitres(20.0));
    Bench { readings, setup }
}

fn samples(bench: &mut Bench) -> impl Iterator<Item = &mut Reading> {
    bench.readings.iter_mut().filter(|r| r.role == ReadingRole::Sample)
}

fn moved(reading: &mut Reading, by: f64) {
    reading.angle = shown(reading.angle.degrees() + by);
}

fn drift(bench: &mut Bench, total: f64) {
    for (i, reading) in samples(bench).enumerate() {
        moved(reading, total * i as f64 / 5.0);
    }
}

fn outlier(bench: &mut Bench, by: f64, rng: &mut Pcg64) {
    let at = rng.random_range(0..6);
    if let Some(reading) = samples(bench).nth(at) {
        moved(reading, by);
    }
}

fn blanks(bench: &mut Bench, by: f64, from: usize) {
    for reading in bench
        .readings
        .iter_mut()
        .filter(|r| r.role == ReadingRole::Blank)
        .skip(from)
    {
        moved(reading, by);
    }
}

const FAULTS: [Fault; 24] = [
    Fault {
        name: "drift of 0.006° over the series",
        flags: &["drift"],
        spoil: |b, _| drift(b, 0.006),
    },
    Fault {
        name: "drift of 0.012°",
        flags: &["drift"],
        spoil: |b, _| drift(b, 0.012),
    },
    Fault {
        name: "drift of 0.03°",
        flags: &["drift"],
        spoil: |b, _| drift(b, 0.03),
    },
    Fault {
        name: "one reading off by 0.008°",
        flags: &["outlying-reading"],
        spoil: |b, r| outlier(b, 0.008, r),
    },
    Fault {
        name: "one reading off by 0.015°",
        flags: &["outlying-reading"],
        spoil: |b, r| outlier(b, 0.015, r),
    },
    Fault {
        name: "one reading off by 0.05°",
        flags: &["outlying-reading"],
        spoil: |b, r| outlier(b, 0.05, r),
    },
    Fault {
        name: "wrong blank, 0.006° off",
        flags: &["blank-not-zero"],
        spoil: |b, _| blanks(b, 0.006, 0),
    },
    Fault {
        name: "wrong blank, 0.02° off",
        flags: &["blank-not-zero"],
        spoil: |b, _| blanks(b, 0.02, 0),
    },
    Fault {
        name: "blank moved by 0.006° meanwhile",
        flags: &["blank-changed"],
        spoil: |b, _| blanks(b, 0.006, 4),
    },
    Fault {
        name: "no blank",
        flags: &["no-blank"],
        spoil: |b, _| b.readings.retain(|r| r.role == ReadingRole::Sample),
    },
    Fault {
        name: "180° turn, second concentration",
        flags: &["half-turn"],
        spoil: |b, r| *b = two(1.0, 95.0, 170.0, r),
    },
    Fault {
        name: "reading of 76 to 89°, one size",
        flags: &["near-90"],
        spoil: |b, r| {
            let by = 76.5 + 12.0 * r.random::<f64>();
            for reading in samples(b) {
                moved(reading, by);
            }
        },
    },
    Fault {
        name: "dilution wrong by 2 %",
        flags: &["not-proportional"],
        spoil: |b, r| *b = two(1.02, 2.0, 70.0, r),
    },
    Fault {
        name: "dilution wrong by 5 %",
        flags: &["not-proportional"],
        spoil: |b, r| *b = two(1.05, 2.0, 70.0, r),
    },
    Fault {
        name: "dilution wrong by half",
        flags: &["not-proportional"],
        spoil: |b, r| *b = two(0.5, 2.0, 70.0, r),
    },
    Fault {
        name: "sample scatters threefold",
        flags: &["noisy-sample"],
        spoil: |b, r| {
            for reading in samples(b) {
                moved(reading, 0.0045 * normal(r));
            }
        },
    },
    Fault {
        name: "sample scatters eightfold",
        flags: &["noisy-sample"],
        spoil: |b, r| {
            for reading in samples(b) {
                moved(reading, 0.012 * normal(r));
            }
        },
    },
    Fault {
        name: "angle of 0.010°",
        flags: &["small-angle"],
        spoil: |b, _| {
            for reading in samples(b) {
                moved(reading, 0.492);
            }
        },
    },
    Fault {
        name: "2 K too warm",
        flags: &["temperature-off"],
        spoil: |b, _| {
            for reading in samples(b) {
                reading.temperature = reading
                    .temperature
                    .map(|t| Temperature::from_celsius(t.celsius() + 2.0));
            }
        },
    },
    Fault {
        name: "temperature moves by 2 K",
        flags: &["temperature-unsteady"],
        spoil: |b, _| {
            for (i, reading) in samples(b).enumerate() {
                reading.temperature = reading
                    .temperature
                    .map(|t| Temperature::from_celsius(t.celsius() + 0.4 * i as f64));
            }
        },
    },
    Fault {
        name: "absorbance 1.5",
        flags: &["low-light"],
        spoil: |b, _| {
            for r in samples(b) {
                r.absorbance = Some(1.5);
            }
        },
    },
    Fault {
        name: "turbidity 6 NTU",
        flags: &["turbid"],
        spoil: |b, _| {
            for r in samples(b) {
                r.turbidity = Some(6.0);
            }
        },
    },
    Fault {
        name: "a row copied twice",
        flags: &["duplicate-readings"],
        spoil: |b, _| {
            let copy = b.readings[6].clone();
            b.readings.insert(7, copy);
        },
    },
    Fault {
        name: "clock set back",
        flags: &["time-backwards"],
        spoil: |b, _| {
            for r in b.readings.iter_mut().skip(7) {
                r.seconds = r.seconds.map(|s| s - 60.0);
            }
        },
    },
];

fn codes(bench: &Bench, defaults: &Defaults) -> Vec<String> {
    reduce(&bench.readings, &bench.setup, defaults, &ReduceSettings::default())
        .map(|made| made.flags.into_iter().map(|flag| flag.code).collect())
        .unwrap_or_default()
}

fn main() -> std::io::Result<()> {
    let numbers: Vec<u64> = std::env::args().skip(1).filter_map(|text| text.parse().ok()).collect();
    let runs = numbers.first().copied().unwrap_or(2000).max(1);
    let seed = numbers.get(1).copied().unwrap_or(1);
    let defaults = Defaults::built_in();
    let mut out = std::io::stdout().lock();
    let percent = |n: u64| 100.0 * n as f64 / runs as f64;
    writeln!(
        out,
        "{runs} runs of each, seed {seed}\n\n{:<36} {:<24} detected",
        "fault", "flag"
    )?;
    for (at, fault) in FAULTS.iter().enumerate() {
        let mut rng = Pcg64::seed_from_u64(seed.wrapping_add(1000 * (at as u64 + 1)));
        let mut n = 0;
        for _ in 0..runs {
            let mut bench = clean(&mut rng);
            (fault.spoil)(&mut bench, &mut rng);
            n += u64::from(
                codes(&bench, &defaults)
                    .iter()
                    .any(|code| fault.flags.contains(&code.as_str())),
            );
        }
        writeln!(
            out,
            "{:<36} {:<24} {:6.1} %",
            fault.name,
            fault.flags.join(", "),
            percent(n)
        )?;
    }
    writeln!(
        out,
        "\n{:<36} {:>10} {:>18}",
        "false alarms", "one size", "two concentrations"
    )?;
    let mut alarms: BTreeMap<String, [u64; 2]> = BTreeMap::new();
    let mut rng = Pcg64::seed_from_u64(seed);
    for _ in 0..runs {
        for (kind, bench) in [clean(&mut rng), two(1.0, 2.0, 70.0, &mut rng)].iter().enumerate() {
            for code in codes(bench, &defaults) {
                alarms.entry(code).or_default()[kind] += 1;
            }
        }
    }
    for (code, _) in CODES {
        let found = alarms.get(code).copied().unwrap_or_default();
        writeln!(
            out,
            "{code:<36} {:>8.1} % {:>16.1} %",
            percent(found[0]),
            percent(found[1])
        )?;
    }
    Ok(())
}
