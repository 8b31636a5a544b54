//! The sugar scale and the rotation of quartz against published values.
//!
//! `tests/data/ord_tables.csv` and `tests/data/published_checks.csv` hold the values with their sources; `seen` tells whether
//! a figure was read (`yes`), computed from a formula that was read (`computed`), repaired (`partly`) or is from memory (`no`).
//! Only quartz from 328 to 760 nm and the sugar scale are acceptance values.

use biot::instrument::{StandardError, quartz, sugar};
use biot::quantity::{Angle, Concentration, Length, SpecificRotation, SpectralLine, Temperature, Wavelength};
use biot::statement::observed_angle;
use serde::Deserialize;

#[derive(Deserialize)]
struct Dispersion {
    compound: String,
    wavelength_nm: f64,
    rotation: f64,
    source: String,
    seen: String,
}

fn table(compound: &str, seen: &str) -> Vec<Dispersion> {
    csv::Reader::from_reader(include_str!("../data/ord_tables.csv").as_bytes())
        .deserialize()
        .map(Result::unwrap)
        .filter(|row: &Dispersion| row.compound.starts_with(compound) && row.seen == seen)
        .collect()
}

#[derive(Deserialize)]
struct Check {
    topic: String,
    quantity: String,
    value: String,
    seen: String,
}

/// The value of a published check that was read on a page.
fn check(topic: &str, quantity: &str) -> String {
    let found: Vec<Check> = csv::Reader::from_reader(include_str!("../data/published_checks.csv").as_bytes())
        .deserialize()
        .map(Result::unwrap)
        .filter(|row: &Check| row.topic == topic && row.quantity.starts_with(quantity) && row.seen == "yes")
        .collect();
    assert_eq!(found.len(), 1, "{topic}: {quantity}");
    found.into_iter().map(|row| row.value).collect()
}

fn in_air(nanometres: f64) -> Wavelength {
    Wavelength::in_air(nanometres).unwrap()
}

fn in_vacuum(nanometres: f64) -> Wavelength {
    Wavelength::in_vacuum(nanometres).unwrap()
}

/// Soret and Sarasin's plate, in Winkelmann, Handbuch der Physik, Optik: read from scanned print, a few digits repaired; the
/// wavelengths of the lines are from memory, to 0.1 nm. The formula must lie within 0.06 degrees per mm, to that digit, from 328
/// to 760 nm: the farthest point, 396.8 nm, is off by 0.0602.
#[test]
fn quartz_is_that_of_soret_and_sarasin() {
    let rows: Vec<Dispersion> = table("quartz (1 mm plate", "partly")
        .into_iter()
        .filter(|row| (328.0..=760.5).contains(&row.wavelength_nm))
        .collect();
    assert_eq!(rows.len(), 21);
    let mut widest = 0.0f64;
    for row in &rows {
        assert!(row.source.contains("Winkelmann"));
        let found = quartz::at_20_celsius(in_air(row.wavelength_nm)).unwrap();
        let difference = found.degrees_per_millimetre() - row.rotation;
        widest = widest.max(difference.abs());
        assert!(
            difference.abs() < 0.065,
            "{} nm: {found}, printed {}",
            row.wavelength_nm,
            row.rotation
        );
    }
    println!("largest difference {widest:.4} degrees per mm");
}

/// Computed outside the crate from the formula of Lowry and Coode-Adams, to three decimals.
#[test]
fn quartz_is_the_formula_to_half_the_last_digit() {
    let rows = table("quartz", "computed");
    assert_eq!(rows.len(), 23);
    for row in rows {
        let found = quartz::at_20_celsius(in_air(row.wavelength_nm)).unwrap();
        let difference = found.degrees_per_millimetre() - row.rotation;
        assert!(difference.abs() <= 0.000_5 + 1e-9, "{} nm: {found}", row.wavelength_nm);
    }
}

/// Observers at the D line, 20 °C (Winkelmann, Handbuch der Physik, Optik): 21.684 (D₁), 21.67, 21.67, 21.727 (D₂): each
/// within their own spread, 0.06 degrees per mm. A sugar scale by quartz says the same: 16.29 g sucrose per 100 mL
/// in 200 mm turn like 1 mm of quartz (Mahin and Carr, Quantitative Agricultural Analysis, p. 131; [α] 66.5).
#[test]
fn quartz_at_the_sodium_line_is_what_observers_found() {
    let printed = check("B quartz", "rotation per mm at D");
    let sodium = quartz::at_20_celsius(SpectralLine::SodiumD.wavelength().unwrap()).unwrap();
    let mut n_observers = 0;
    for part in printed.split('/') {
        let value: f64 = part.split_whitespace().next().unwrap().parse().unwrap();
        assert!((sodium.degrees_per_millimetre() - value).abs() <= 0.06, "{value}");
        n_observers += 1;
    }
    assert_eq!(n_observers, 4);
    let weight: f64 = check("B", "Laurent scale").parse().unwrap();
    let sugar = observed_angle(
        SpecificRotation::from_conventional(66.5),
        sugar::CELL,
        Concentration::from_grams_per_100_millilitres(weight),
    );
    assert!((sodium.over(Length::from_millimetres(1.0)).degrees() - sugar.degrees()).abs() <= 0.06);
}

/// The three laws as printed (Wiley, Principles and Practice of Agricultural Analysis, vol. 3; Sohncke, and Soret and
/// Sarasin, in Winkelmann, Handbuch der Physik, Optik). At 20 °C their factors from 0 °C spread over 0.15 %; from 20 to 25 °C,
/// where a plate is used, over 0.03 %.
#[test]
fn the_temperature_laws_are_as_printed() {
    let laws = [
        (
            quartz::TemperatureLaw::Wiley,
            "temperature formula",
            "(1 + 0.000146 t)",
            1.002_92,
        ),
        (
            quartz::TemperatureLaw::Sohncke,
            "temperature formula (Sohncke)",
            "(1+0.0000999 t+0.000000318 t^2)",
            1.002_125_2,
        ),
        (
            quartz::TemperatureLaw::SoretSarasin,
            "temperature formula (Soret & Sarasin)",
            "(1+0.000179 t)",
            1.003_58,
        ),
    ];
    let text = include_str!("../data/published_checks.csv");
    let spread = |values: &[f64]| {
        values.iter().copied().fold(f64::NEG_INFINITY, f64::max) - values.iter().copied().fold(f64::INFINITY, f64::min)
    };
    let (mut at_20, mut at_25) = (Vec::new(), Vec::new());
    for (law, quantity, formula, by_hand) in laws {
        assert!(text.contains(quantity) && text.contains(formula), "{law:?}");
        let factor = law.factor_from_0_celsius(Temperature::from_celsius(20.0)).unwrap();
        assert!((factor - by_hand).abs() < 1e-12, "{law:?} {factor}");
        at_20.push(factor);
        let warm = quartz::at(in_air(589.3), Temperature::from_celsius(25.0), law).unwrap();
        let cool = quartz::at(in_air(589.3), Temperature::from_celsius(20.0), law).unwrap();
        assert_eq!(cool, quartz::at_20_celsius(in_air(589.3)).unwrap());
        at_25.push(warm.degrees_per_millimetre() / cool.degrees_per_millimetre());
        assert!(law.factor_from_0_celsius(Temperature::from_celsius(-5.0)).is_err());
        assert!(law.factor_from_0_celsius(Temperature::from_celsius(f64::NAN)).is_err());
    }
    println!("factors from 0 °C at 20 °C {at_20:?}, spread {:.6}", spread(&at_20));
    println!("factors from 20 °C at 25 °C {at_25:?}, spread {:.6}", spread(&at_25));
    assert!((spread(&at_20) - 0.001_454_8).abs() < 1e-9);
    assert!(spread(&at_25) < 0.000_35);
}

/// Wiley works out a plate of 33° at 0 °C to 33.09834° at 20 °C; his own formula gives 33.09636°, so the printed number is a
/// slip, and it must stay visible that it is.
#[test]
fn wileys_printed_example_does_not_follow_from_his_formula() {
    let printed: f64 = check("B quartz", "worked: plate 33 deg").parse().unwrap();
    let factor = quartz::TemperatureLaw::Wiley
        .factor_from_0_celsius(Temperature::from_celsius(20.0))
        .unwrap();
    assert!((33.0 * factor - 33.096_36).abs() < 1e-9);
    assert!((33.0 * factor - printed).abs() > 0.001);
}

/// Computed outside the crate from the formula of GOST 8.258-2013, Annex A, to four decimals; vacuum wavelengths.
#[test]
fn the_sugar_scale_is_the_formula_to_half_the_last_digit() {
    let rows = table("sucrose, normal sugar solution", "computed");
    assert_eq!(rows.len(), 15);
    for row in rows {
        let found = sugar::normal_solution(in_vacuum(row.wavelength_nm)).unwrap();
        assert!(
            (found.degrees() - row.rotation).abs() <= 0.000_05,
            "{} nm: {found}",
            row.wavelength_nm
        );
    }
}

/// GOST 8.258-2013, Annex A: 34.626° ± 0.001° at 589.4400 nm in vacuum, 200 mm, 20 °C (read). Not wholly independent: it
/// served to reconstruct the exponents. 29.751° at 632.9914 nm (from memory of OIML R 14) is, and is only printed here.
#[test]
fn the_sugar_scale_has_its_published_value_at_the_sodium_line() {
    let sodium = sugar::normal_solution(in_vacuum(589.44)).unwrap();
    assert!((sodium.degrees() - 34.626).abs() <= 0.001, "{sodium}");
    let red = sugar::normal_solution(in_vacuum(632.9914)).unwrap();
    println!("632.9914 nm: {red:.4}, from memory 29.751°");
}

/// The definition of the scale: GOST 8.258-2013, Annex A.
#[test]
fn the_scale_is_defined_as_printed() {
    let number = |quantity: &str| -> f64 { check("A sugar scale", quantity).parse().unwrap() };
    assert_eq!(
        sugar::NORMAL_CONCENTRATION.grams_per_100_millilitres(),
        number("normal sugar solution: mass")
    );
    assert_eq!(sugar::CELL.millimetres(), number("path length defining"));
    assert_eq!(sugar::DEFINING_NANOMETRES, number("defining wavelength"));
    assert_eq!(sugar::TEMPERATURE.celsius(), 20.0);
    assert_eq!(check("A sugar scale", "scale linearity"), "linear 0..100 degZ");
    let green = in_vacuum(sugar::DEFINING_NANOMETRES);
    for z in [-25.0, 0.0, 50.0, 100.0] {
        let angle = sugar::angle_of(sugar::SugarDegrees::from_z(z), green).unwrap();
        assert!((angle.degrees() - z / 100.0 * 40.777).abs() < 1e-4, "{angle}");
        assert!((sugar::reading_of(angle, green).unwrap().z() - z).abs() < 1e-9);
    }
    assert_eq!(sugar::reading_of(Angle::from_degrees(0.0), green).unwrap().z(), 0.0);
    assert_eq!(format!("{:.2}", sugar::SugarDegrees::from_z(99.996)), "100.00 °Z");
}

/// ISO 592:1998: 26.00 g anhydrous sucrose in 100 mL, 200 mm, 20 °C: 34.62°. The scale gives it, scaled by concentration, to
/// half the last digit if 589.3 nm is taken as a vacuum wavelength; as the air wavelength it is, the scale gives 34.60°, within
/// what the standard's own tolerance of the lamp (589.3 ± 0.3 nm) moves.
#[test]
fn the_check_solution_of_iso_592_comes_out() {
    let printed: f64 = check("A", "check solution: 26.00 g").parse().unwrap();
    let scaled = |wavelength: Wavelength| {
        sugar::normal_solution(wavelength).unwrap().degrees() * 26.00
            / sugar::NORMAL_CONCENTRATION.grams_per_100_millilitres()
    };
    assert_eq!(printed, 34.62);
    assert!((scaled(in_vacuum(589.3)) - printed).abs() <= 0.005);
    let air = scaled(in_air(589.3));
    println!("in vacuum {:.4}, in air {air:.4}", scaled(in_vacuum(589.3)));
    let lamp = (scaled(in_air(589.0)) - scaled(in_air(589.6))) / 2.0;
    assert!((air - printed).abs() <= lamp, "{air} {lamp}");
    assert!((air - 34.602).abs() <= 0.000_5, "{air}");
}

#[test]
fn what_no_formula_reaches_is_refused() {
    assert!(matches!(
        sugar::normal_solution(in_vacuum(435.8)),
        Err(StandardError::Wavelength { .. })
    ));
    assert!(sugar::normal_solution(in_vacuum(901.0)).is_err());
    // The defining line, given in air, is still the defining line.
    let green = in_vacuum(sugar::DEFINING_NANOMETRES).to_air();
    assert!((sugar::normal_solution(green).unwrap().degrees() - 40.777).abs() < 1e-4);
    let error = quartz::at_20_celsius(in_air(230.0)).unwrap_err().to_string();
    assert!(
        error.contains("230 nm") && error.contains("237.3 to 2500 nm"),
        "{error}"
    );
    assert!(quartz::at_20_celsius(in_air(237.3)).is_ok() && quartz::at_20_celsius(in_air(2500.0)).is_ok());
}

proptest::proptest! {
    /// Rotation falls with wavelength, for quartz and for sucrose: a wrong exponent or sign would break it.
    #[test]
    fn rotation_falls_with_wavelength(nanometres in 547.0..898.0f64, step in 0.1..2.0f64) {
        let (near, far) = (in_vacuum(nanometres), in_vacuum(nanometres + step));
        proptest::prop_assert!(sugar::normal_solution(near).unwrap() > sugar::normal_solution(far).unwrap());
        proptest::prop_assert!(quartz::at_20_celsius(near).unwrap() > quartz::at_20_celsius(far).unwrap());
    }
}
