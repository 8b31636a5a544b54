//! Change with time, against published values of sugars, a general least-squares library, and simulated benches.

use biot::measurement::kinetics::{Course, CourseLaw, TimedReading, follow};
use biot::quantity::{Angle, Time};
use rand::SeedableRng;
use rand_distr::{Distribution, Normal};
use rand_pcg::Pcg64;

fn readings(points: impl IntoIterator<Item = (f64, f64)>, u: Option<f64>) -> Vec<TimedReading> {
    points
        .into_iter()
        .map(|(t, angle)| TimedReading {
            time: Time::from_seconds(t),
            angle: Angle::from_degrees(angle),
            uncertainty: u.map(Angle::from_degrees),
        })
        .collect()
}

/// Rotation of D-glucose in water: 112.2 at first and 52.6 at equilibrium (OpenStax Organic Chemistry, ch. 25); rate at
/// 293 K, second order with water, 4.6e-6 dm³ mol⁻¹ s⁻¹ (abstract on mutarotation catalysis by aquated Cu(II), Library of
/// the Czech Academy of Sciences), times 55.4 mol/L of water.
const INITIAL: f64 = 112.2;
const EQUILIBRIUM: f64 = 52.6;
const RATE: f64 = 4.6e-6 * 55.4;

/// Readings of 10 g/100 mL in 1 dm, so that the angle is a tenth of [α].
fn glucose(times: impl Iterator<Item = f64>, noise: f64, rng: &mut Pcg64) -> Vec<(f64, f64)> {
    let normal = Normal::new(0.0, noise).unwrap();
    times
        .map(|t| {
            let alpha = EQUILIBRIUM + (INITIAL - EQUILIBRIUM) * (-RATE * t).exp();
            (t, 0.1 * alpha + normal.sample(rng))
        })
        .collect()
}

fn even(n: u32, from: f64, to: f64) -> impl Iterator<Item = f64> {
    (0..n).map(move |i| from + (to - from) * f64::from(i) / f64::from(n - 1))
}

/// A solution of glucose followed for four half-lives gives back the published values and a half-life of 45.3 min
/// (ln 2 over 0.0153 min⁻¹, the rate the same source's constant gives), within three standard uncertainties.
#[test]
fn published_glucose_values_come_back() {
    let mut rng = Pcg64::seed_from_u64(11);
    let made = follow(&readings(glucose(even(40, 60.0, 11_000.0), 0.003, &mut rng), None)).unwrap();
    assert_eq!(made.law, CourseLaw::FirstOrder);
    let found = made.first_order.unwrap();
    for (estimate, published) in [
        (found.initial, 0.1 * INITIAL),
        (found.equilibrium, 0.1 * EQUILIBRIUM),
        (found.rate_per_second, RATE),
    ] {
        let off = (estimate.value - published).abs();
        assert!(off < 3.0 * estimate.standard_uncertainty, "{estimate:?} {published}");
    }
    assert!((found.half_life_s.value / 60.0 - 2f64.ln() / 0.0153).abs() < 0.5);
    assert!(made.flags.is_empty(), "{:?}", made.flags);
    // 36.4 % of the α-pyranose at equilibrium (quimicaorganica.org, mutarotation), from [α] of the two forms at 18.7 and
    // 112.2; the sources round their values, so a percentage point is allowed.
    let alpha = (10.0 * found.equilibrium.value - 18.7) / (INITIAL - 18.7);
    assert!((100.0 * alpha - 36.4).abs() < 1.0, "{alpha}");
}

/// Parameters and uncertainties of scipy.optimize.curve_fit (`tests/scripts/make_fit_golden.py`), to six digits.
#[test]
fn a_general_library_fits_the_same() {
    let golden: serde_json::Value = serde_json::from_str(include_str!("../data/fit_golden.json")).unwrap();
    let cases = golden["timecourses"].as_array().unwrap();
    assert_eq!(cases.len(), 3);
    for case in cases {
        let list = |name: &str| {
            case[name]
                .as_array()
                .unwrap()
                .iter()
                .map(|x| x.as_f64().unwrap())
                .collect::<Vec<_>>()
        };
        let points = list("time_s").into_iter().zip(list("angle"));
        let made = follow(&readings(points, case["u"].as_f64())).unwrap();
        let found = made.first_order.unwrap();
        // The library's data start at the first reading; ours at zero too, so the initial values are the same.
        let close = |ours: f64, name: &str| {
            let theirs = case[name].as_f64().unwrap();
            assert!((ours / theirs - 1.0).abs() < 2e-6, "{name}: {ours} {theirs}");
        };
        close(found.equilibrium.value, "equilibrium");
        close(found.equilibrium.standard_uncertainty, "u_equilibrium");
        close(found.initial.value, "initial");
        close(found.initial.standard_uncertainty, "u_initial");
        close(found.rate_per_second.value, "rate");
        close(
            found.rate_per_second.standard_uncertainty / found.rate_per_second.value,
            "u_relative_rate",
        );
    }
}

/// Makes a series of readings of one simulated bench.
type Bench = Box<dyn FnMut(&mut Pcg64) -> Vec<(f64, f64)>>;

fn has(course: &Course, code: &str) -> bool {
    course.flags.iter().any(|flag| flag.code == code)
}

/// Simulated benches: how often each flag is raised where its fault is there, and where it is not. The rates are printed;
/// the bounds leave room for sampling only (100 series each).
#[test]
fn flags_find_their_faults_and_seldom_others() {
    const SERIES: usize = 100;
    let mut rng = Pcg64::seed_from_u64(7);
    let normal = Normal::new(0.0, 0.003).unwrap();
    let codes = [
        "too-short",
        "rate-vague",
        "late-start",
        "no-change",
        "not-this-law",
        "outlying-reading",
    ];
    let mut table: Vec<(&str, Vec<f64>, f64)> = Vec::new();
    let mut scenarios: Vec<(&str, Bench)> = vec![
        (
            "four half-lives",
            Box::new(|rng| glucose(even(30, 60.0, 11_000.0), 0.003, rng)),
        ),
        (
            "a tenth of one",
            Box::new(|rng| glucose(even(30, 60.0, 330.0), 0.003, rng)),
        ),
        (
            "one half-life",
            Box::new(|rng| glucose(even(30, 60.0, 2800.0), 0.003, rng)),
        ),
        (
            "after the end",
            Box::new(|rng| glucose(even(30, 60_000.0, 80_000.0), 0.003, rng)),
        ),
        (
            "a second reaction",
            Box::new(move |rng| {
                let mut points = glucose(even(30, 60.0, 11_000.0), 0.003, rng);
                for (t, y) in &mut points {
                    *y += 0.4 * (-*t / 600.0).exp();
                }
                points
            }),
        ),
        (
            "a bubble",
            Box::new(move |rng| {
                let mut points = glucose(even(30, 60.0, 11_000.0), 0.003, rng);
                points[13].1 += 0.03 + normal.sample(rng);
                points
            }),
        ),
    ];
    for (name, make) in &mut scenarios {
        let courses: Vec<Course> = (0..SERIES)
            .map(|_| follow(&readings(make(&mut rng), None)).unwrap())
            .collect();
        let rate = |code: &str| courses.iter().filter(|c| has(c, code)).count() as f64 / SERIES as f64;
        let first_order = courses.iter().filter(|c| c.law == CourseLaw::FirstOrder).count() as f64 / SERIES as f64;
        table.push((name, codes.iter().map(|code| rate(code)).collect(), first_order));
    }
    println!("{:18} first-order {}", "", codes.join(" "));
    for (name, rates, first_order) in &table {
        println!("{name:18} {first_order:10.3} {rates:?}");
    }
    let rate = |row: usize, code: &str| table[row].1[codes.iter().position(|known| *known == code).unwrap()];
    assert!(table[0].2 > 0.99);
    for code in codes {
        assert!(rate(0, code) <= 0.03, "false alarm {code}: {}", rate(0, code));
    }
    assert!(rate(1, "too-short") > 0.99 && rate(2, "too-short") > 0.99);
    assert!(rate(3, "no-change") > 0.85, "{}", rate(3, "no-change"));
    assert!(rate(4, "not-this-law") > 0.8, "{}", rate(4, "not-this-law"));
    assert!(rate(5, "outlying-reading") > 0.95, "{}", rate(5, "outlying-reading"));
}

/// 95 % intervals hold the truth about 95 times in a hundred (Wilson bounds of 400 series at 99 %: 91.6 to 97.3 %).
#[test]
fn intervals_hold_the_truth_as_often_as_they_say() {
    const SERIES: usize = 400;
    let mut rng = Pcg64::seed_from_u64(3);
    let mut held = [0; 3];
    for _ in 0..SERIES {
        let made = follow(&readings(glucose(even(15, 60.0, 9000.0), 0.01, &mut rng), None)).unwrap();
        let found = made.first_order.unwrap();
        for (count, (estimate, truth)) in held.iter_mut().zip([
            (found.initial, 0.1 * INITIAL),
            (found.equilibrium, 0.1 * EQUILIBRIUM),
            (found.rate_per_second, RATE),
        ]) {
            *count += usize::from((estimate.interval95[0]..=estimate.interval95[1]).contains(&truth));
        }
    }
    println!("held the truth, of {SERIES}: initial, equilibrium, rate {held:?}");
    for count in held {
        let share = count as f64 / SERIES as f64;
        assert!((0.916..=0.973).contains(&share), "{share}");
    }
}
