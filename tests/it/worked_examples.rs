//! Worked examples of textbooks and courses: `tests/data/worked_examples.csv`, each row with its source.
//!
//! The inputs are coded by hand from the question, through the parsers a person's input goes through; the answer is read
//! from the file and met to half its last printed digit.

use biot::quantity::{
    Concentration, Fraction, MolarMass, Printed, SpecificRotation, parse_angle, parse_concentration, parse_length,
    parse_mass, parse_molar_mass, parse_percent, parse_volume,
};
use biot::statement::{
    concentration_from_angle, concentration_of_mass_in_volume, enantiomer_fraction, excess_of_fraction, mass_in_volume,
    observed_angle, optical_purity, specific_from_angle, specific_of_mixture,
};
use std::collections::BTreeMap;

/// Rows on the composition of a mixture of anomers, which need an equilibrium between two forms: not part of this crate
/// yet.
const COMPOSITION: [&str; 4] = ["W003", "W039", "W041", "W043"];

fn answers() -> BTreeMap<String, Printed> {
    let mut reader = csv::Reader::from_reader(include_str!("../data/worked_examples.csv").as_bytes());
    let headers = reader.headers().unwrap().clone();
    let column = |name: &str| headers.iter().position(|header| header == name).unwrap();
    let (id, answer) = (column("id"), column("answer"));
    reader
        .records()
        .map(|row| {
            let row = row.unwrap();
            (row[id].to_owned(), row[answer].parse().unwrap())
        })
        .collect()
}

fn specific(value: f64) -> SpecificRotation {
    SpecificRotation::from_conventional(value)
}

fn concentration(text: &str, molar_mass: Option<MolarMass>) -> Concentration {
    parse_concentration(text)
        .unwrap()
        .to_mass_concentration(molar_mass, None)
        .unwrap()
}

/// The specific rotation of an angle in a cell at a concentration, all as text.
fn specific_of(angle: &str, length: &str, c: &str) -> f64 {
    specific_from_angle(
        parse_angle(angle).unwrap(),
        parse_length(length).unwrap(),
        concentration(c, None),
    )
    .conventional()
}

/// The same with a mass made up to a volume.
fn specific_of_weighed(angle: &str, length: &str, mass: &str, volume: &str) -> f64 {
    let c = concentration_of_mass_in_volume(parse_mass(mass).unwrap(), parse_volume(volume).unwrap());
    specific_from_angle(parse_angle(angle).unwrap(), parse_length(length).unwrap(), c).conventional()
}

fn angle_of(rotation: f64, length: &str, c: Concentration) -> f64 {
    observed_angle(specific(rotation), parse_length(length).unwrap(), c).degrees()
}

/// The specific rotation of a mixture in which the enantiomer of the given rotation makes up the given per cent.
fn rotation_of_mixture(percent: &str, enantiopure: f64) -> f64 {
    let excess = excess_of_fraction(parse_percent(percent).unwrap());
    specific_of_mixture(excess, specific(enantiopure)).conventional()
}

/// What the crate computes, row by row, in the unit of the answer.
fn computed() -> Vec<(&'static str, f64)> {
    vec![
        // OpenStax Organic Chemistry (McMurry 10e), ch. 5.3: 1.20 g cocaine in 7.50 mL chloroform, 5.00 cm, [α]D −16.
        ("W002", {
            let c = concentration_of_mass_in_volume(parse_mass("1.20 g").unwrap(), parse_volume("7.50 mL").unwrap());
            angle_of(-16.0, "5.00 cm", c)
        }),
        // Student page of questions: c 0.007 g/mL, 2 cm, 0.087°.
        ("W007", specific_of("0.087 deg", "2 cm", "0.007 g/mL")),
        // Student page of questions: 6.00 g in 40.0 mL tetrachloromethane, 10.0 cm, +3.30°.
        ("W008", specific_of_weighed("+3.30 deg", "10.0 cm", "6.00 g", "40.0 mL")),
        // How-to page: 750 g/L, 1.5 dm, 102°.
        ("W012", specific_of("102 deg", "1.5 dm", "750 g/L")),
        // McMurry, Organic Chemistry: 1.50 g coniine in 10.0 mL ethanol, 5.00 cm, +1.21°.
        ("W014", specific_of_weighed("+1.21 deg", "5.00 cm", "1.50 g", "10.0 mL")),
        // Problem of the kind in Wade, Organic Chemistry: 6 g (+)- and 4 g (−)-butan-2-ol, pure +13.5.
        ("W018", rotation_of_mixture("60 %", 13.5)),
        // Homework page: +14° at 1 g/mL in 1 dm, cholesterol pure (−) −32; the fraction of (+).
        ("W025", {
            let sample = specific(specific_of("14 deg", "1 dm", "1 g/mL"));
            enantiomer_fraction(optical_purity(sample, specific(32.0))).percent()
        }),
        // Course page of questions: L-alanine 0.33°, 1.2 dm, 1.3 g/mL.
        ("W028", specific_of("0.33 deg", "1.2 dm", "1.3 g/mL")),
        // Course pages of questions: a molar solution of (R)-butan-2-ol mixed with an equal volume of racemate, 1 dm, [α]
        // −13.9; the source rounds c to the digits it prints, so these go on.
        ("W030", angle_of(-13.9, "1 dm", concentration("0.0600 g/mL", None))),
        ("W031", angle_of(-13.9, "1 dm", concentration("0.0637 g/mL", None))),
        // Course page of questions: −2° at 0.2 g/mL in 1 dm, R +20; the fraction of R.
        ("W033", {
            let sample = specific(specific_of("-2 deg", "1 dm", "0.2 g/mL"));
            enantiomer_fraction(optical_purity(sample, specific(20.0))).percent()
        }),
        // Course page of questions: 80 % R, pure R −146.0.
        ("W038", rotation_of_mixture("80 %", -146.0)),
        // Course answer: sugar in 60 cm³, 300 mm, 9°, [α] 60; the mass.
        ("W046", {
            let c = concentration_from_angle(
                parse_angle("9 deg").unwrap(),
                parse_length("300 mm").unwrap(),
                specific(60.0),
            );
            mass_in_volume(c, parse_volume("60 cm3").unwrap()).grams()
        }),
        // Course answer: 200 kg/m³ of impure sugar read 19° in 20 cm, [α] 0.5 deg m² kg⁻¹ (50 deg mL g⁻¹ dm⁻¹); the purity.
        ("W047", {
            let found = concentration_from_angle(
                parse_angle("19 deg").unwrap(),
                parse_length("20 cm").unwrap(),
                specific(50.0),
            );
            let weighed = concentration("200 kg/m3", None);
            100.0 * found.grams_per_100_millilitres() / weighed.grams_per_100_millilitres()
        }),
        // Encyclopedia: the excess of a 70 : 30 mixture.
        ("W052", excess_of_fraction(parse_percent("70 %").unwrap()).percent()),
        // Course page of questions: (+)-tartaric acid, 0.150 g/mL, 2.00 dm, [α] +12.0.
        ("W053", angle_of(12.0, "2.00 dm", concentration("0.150 g/mL", None))),
        // Wade, Organic Chemistry, 8th ed., 5-33: 68 % (+)-tartaric acid, pure +12.0.
        ("W055", rotation_of_mixture("68 %", 12.0)),
    ]
}

#[test]
fn every_worked_example_comes_out() {
    let answers = answers();
    let mut faults = Vec::new();
    for (id, found) in computed() {
        let answer = answers[id];
        if (found - answer.value()).abs() > answer.half_last_digit() + 1e-12 {
            faults.push(format!("{id}: {found}, answer {answer}"));
        }
    }
    assert!(faults.is_empty(), "{}", faults.join("\n"));
}

#[test]
fn every_row_is_checked_or_listed() {
    let mut known: Vec<&str> = computed().into_iter().map(|(id, _)| id).chain(COMPOSITION).collect();
    known.sort_unstable();
    let answers = answers();
    let rows: Vec<&str> = answers.keys().map(String::as_str).collect();
    assert_eq!(known, rows);
}

/// W030 and W031: the amount concentration of the excess gives the mass concentration the source prints, to half its last
/// digit; M 74.12 and 74.122 as printed there.
#[test]
fn molar_concentrations_give_the_printed_mass_concentrations() {
    for (amount, mass, printed) in [
        ("0.81 mol/L", "74.12 g/mol", 6.00),
        ("0.86 mol/L", "74.122 g/mol", 6.37),
    ] {
        let c = concentration(amount, Some(parse_molar_mass(mass).unwrap()));
        assert!((c.grams_per_100_millilitres() - printed).abs() <= 0.005, "{c}");
    }
}

/// W047: 0.5 deg m² kg⁻¹ is 50 deg mL g⁻¹ dm⁻¹.
#[test]
fn the_unit_of_the_sugar_question_is_converted() {
    let si = specific(50.0).radian_square_metres_per_kilogram();
    assert!((si.to_degrees() - 0.5).abs() < 1e-12, "{si}");
}

proptest::proptest! {
    /// By the definitions `ee = F₊ − F₋`, `F₊ + F₋ = 1`.
    #[test]
    fn excess_and_fraction_are_inverse(percent in -100.0..100.0f64) {
        let excess = Fraction::from_percent(percent);
        let (one, other) = (
            enantiomer_fraction(excess).ratio(),
            enantiomer_fraction(Fraction::from_percent(-percent)).ratio(),
        );
        proptest::prop_assert!((one + other - 1.0).abs() < 1e-12);
        proptest::prop_assert!((one - other - excess.ratio()).abs() < 1e-12);
        let back = excess_of_fraction(enantiomer_fraction(excess));
        proptest::prop_assert!((back.percent() - percent).abs() < 1e-9);
    }

    #[test]
    fn angle_and_concentration_are_inverse(rotation in 1.0..500.0f64, c in 0.01..50.0f64, length in 0.1..4.0f64) {
        let length = biot::quantity::Length::from_decimetres(length);
        let concentration = Concentration::from_grams_per_100_millilitres(c);
        let angle = observed_angle(specific(-rotation), length, concentration);
        let back = concentration_from_angle(angle, length, specific(-rotation)).grams_per_100_millilitres();
        proptest::prop_assert!((back / c - 1.0).abs() < 1e-12);
    }
}
