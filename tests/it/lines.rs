//! References read at another line than the measurement: which conversion is used, and how far it can be trusted.
//!
//! Published tables of rotation against wavelength (`tests/data/ord_tables.csv`, each row with its source): a line is left
//! out, the others stand in the library, and the value converted to the line left out must hold within the uncertainty
//! stated for it.

use biot::compare::{
    Conditions, EffectTable, FormLink, HandKnown, LineMethod, Options, Pooling, Reference, ReferenceOutcome,
    SampleExcess, own_lines, pool,
};
use biot::quantity::{Concentration, SpecificRotation, SpectralLine, Temperature, Wavelength};
use biot::solvent::Solvent;

/// Rows of the tables whose compound begins so and which were seen so: wavelength and value.
fn table(compound: &str, seen: &str) -> Vec<(f64, f64)> {
    csv::Reader::from_reader(&include_bytes!("../data/ord_tables.csv")[..])
        .records()
        .map(Result::unwrap)
        .filter(|row| row[0].starts_with(compound) && &row[9] == seen)
        .map(|row| (row[4].parse().unwrap(), row[5].parse().unwrap()))
        .collect()
}

fn at(line: SpectralLine) -> Conditions {
    Conditions {
        temperature: Some(Temperature::from_celsius(20.0)),
        line: Some(line),
        solvent: Some(Solvent::parse("H2O").unwrap()),
        concentration: Some(Concentration::from_grams_per_100_millilitres(26.0)),
        ..Conditions::default()
    }
}

fn air(nm: f64) -> SpectralLine {
    SpectralLine::At(Wavelength::in_air(nm).unwrap())
}

fn reference(line: SpectralLine, value: f64, u: f64, source: i64) -> Reference {
    Reference {
        value: SpecificRotation::from_conventional(value),
        own_uncertainty: SpecificRotation::from_conventional(u),
        mirror: false,
        source,
        excess: SampleExcess::Stated { mean: 1.0, sd: 0.0 },
        hand: HandKnown::Independent,
        conditions: at(line),
        form: FormLink::Same,
        draft: false,
        quoted: false,
        excluded: None,
    }
}

fn pooled(line: SpectralLine, references: &[Reference]) -> Pooling {
    pool(&at(line), references, &EffectTable::built_in(), &Options::default())
}

/// The value converted, and its standard uncertainty: its own and that of the conversion.
fn converted(outcome: &ReferenceOutcome) -> (f64, f64) {
    let made = outcome.line_conversion.as_ref().unwrap();
    let value = outcome.value_here.unwrap();
    let own = outcome.own_uncertainty.unwrap();
    (value, own.hypot(value * made.standard_uncertainty / made.factor))
}

/// How predictions of lines left out turned out.
#[derive(Debug, Default)]
struct Tally {
    predicted: usize,
    within_one: usize,
    within_two: usize,
    /// The farthest, in standard uncertainties.
    farthest: f64,
    /// The largest relative error within the range of the lines left in, and beyond it.
    worst: [f64; 2],
}

impl Tally {
    /// Leaves each line out and predicts it from the rest, values good to u.
    fn leave_out(&mut self, points: &[(SpectralLine, f64)], u: f64) {
        for (line, value) in points {
            let rest: Vec<Reference> = points
                .iter()
                .filter(|(other, _)| !other.same_light(line))
                .map(|(line, value)| reference(line.clone(), *value, u, 1))
                .collect();
            let made = pooled(line.clone(), &rest);
            let used = made.references.iter().find(|outcome| outcome.used);
            let Some(outcome) = used.filter(|outcome| {
                outcome
                    .line_conversion
                    .as_ref()
                    .is_some_and(|made| made.method == LineMethod::OwnDispersion)
            }) else {
                continue;
            };
            let (predicted, u) = converted(outcome);
            let z = (predicted - value).abs() / u;
            self.predicted += 1;
            self.within_one += usize::from(z <= 1.0);
            self.within_two += usize::from(z <= 2.0);
            self.farthest = self.farthest.max(z);
            let is_beyond = usize::from(!outcome.line_conversion.as_ref().unwrap().warnings.is_empty());
            self.worst[is_beyond] = self.worst[is_beyond].max((predicted / value - 1.0).abs());
        }
    }

    fn holds(&self, name: &str) {
        println!("{name}: {self:?}");
        assert!(self.predicted >= 7, "{name}: {self:?}");
        assert!(
            20 * self.within_two >= 19 * self.predicted && self.farthest <= 3.0,
            "{name}: {self:?}"
        );
    }
}

fn air_table(compound: &str, seen: &str, nm: std::ops::RangeInclusive<f64>) -> Vec<(SpectralLine, f64)> {
    let rows = table(compound, seen).into_iter();
    rows.filter(|(at, _)| nm.contains(at))
        .map(|(at, value)| (air(at), value))
        .collect()
}

/// Specific rotations of the sugar scale from the angles in 200 mm at 26.016 g/100 mL.
fn sugar_scale() -> Vec<(SpectralLine, f64)> {
    table("sucrose, normal", "computed")
        .into_iter()
        .map(|(nm, angle)| {
            (
                SpectralLine::At(Wavelength::in_vacuum(nm).unwrap()),
                angle / (2.0 * 0.26016),
            )
        })
        .collect()
}

/// Quartz as measured by Soret and Sarasin (Winkelmann, Handbuch der Physik, Optik; good to 0.06), quartz by the law of
/// Lowry and Coode-Adams, and the sugar scale (GOST 8.258-2013 Annex A), as if each were a compound in solution.
#[test]
fn a_line_left_out_is_predicted_within_the_stated_uncertainty() {
    let measured = air_table("quartz", "partly", 328.0..=761.0);
    let computed = air_table("quartz", "computed", 360.0..=1020.0);
    let sugar = sugar_scale();
    for (name, points, u) in [
        ("quartz, measured", &measured, 0.06 / 3f64.sqrt()),
        ("quartz, computed", &computed, 0.0005),
        ("sugar scale", &sugar, 0.0005),
        ("sugar scale, as if printed to 0.1", &sugar, 0.05 / 3f64.sqrt()),
    ] {
        let mut tally = Tally::default();
        tally.leave_out(points, u);
        tally.holds(name);
    }
}

/// The lines of common lamps, four to seven of them: what a paper prints.
#[test]
fn a_few_lines_predict_another_within_the_stated_uncertainty() {
    let computed = air_table("quartz", "computed", 360.0..=640.0);
    let lamps = [365.015, 404.656, 435.833, 546.074, 576.96, 589.3, 632.816];
    let points: Vec<(SpectralLine, f64)> = lamps
        .iter()
        .map(|&nm| computed.iter().find(|(line, _)| *line == air(nm)).unwrap().clone())
        .collect();
    for u in [0.0005, 0.005, 0.05] {
        let mut tally = Tally::default();
        for chosen in 0u32..1 << lamps.len() {
            if chosen.count_ones() >= 4 {
                let some: Vec<_> = (0..lamps.len())
                    .filter(|i| chosen & (1 << i) != 0)
                    .map(|i| points[i].clone())
                    .collect();
                tally.leave_out(&some, u);
            }
        }
        tally.holds(&format!("quartz by the lines of lamps, each to {u}"));
    }
}

/// The generic law on both tables: every pair of lines from 546 to 633 nm.
#[test]
fn the_generic_law_holds_from_green_to_red_and_is_used_nowhere_else() {
    let quartz = air_table("quartz", "computed", 540.0..=640.0);
    let sugar = sugar_scale();
    let mut n = 0;
    for points in [&quartz, &sugar] {
        for (from, a) in points {
            for (to, b) in points.iter().filter(|(to, _)| !to.same_light(from)) {
                let made = pooled(to.clone(), &[reference(from.clone(), *a, 0.0005, 1)]);
                let nm = |line: &SpectralLine| line.wavelength().unwrap().nanometres();
                let is_near = [from, to].iter().all(|line| (545.0..=634.0).contains(&nm(line)));
                let outcome = &made.references[0];
                assert_eq!(outcome.used, is_near, "{from} {to}");
                if is_near {
                    assert_eq!(outcome.line_conversion.as_ref().unwrap().method, LineMethod::GenericLaw);
                    let (value, u) = converted(outcome);
                    assert!((value - b).abs() < 2.0 * u, "{from} {to}: {value} ± {u}, {b}");
                    n += 1;
                } else {
                    assert!(outcome.reason.as_ref().unwrap().contains("546 and 633 nm only"));
                }
            }
        }
    }
    assert!(n > 60, "{n}");
}

fn line(nm: f64) -> SpectralLine {
    SpectralLine::at_nanometres(nm).unwrap()
}

/// By hand: one source reads 100 ± 0.5 at 589 nm and 350 ± 1 at 365 nm, so another's 340 at 365 nm is 340 · 100/350 =
/// 97.143 at 589 nm, the factor good to 0.2857 √((0.5/100)² + (1/350)²) = 0.001645.
#[test]
fn values_of_one_source_at_both_lines_convert_those_of_another() {
    let made = pooled(
        line(589.3),
        &[
            reference(line(589.3), 100.0, 0.5, 1),
            reference(line(365.0), 350.0, 1.0, 1),
            reference(line(365.0), 340.0, 1.0, 2),
        ],
    );
    let outcome = &made.references[2];
    let conversion = outcome.line_conversion.as_ref().unwrap();
    assert_eq!(conversion.method, LineMethod::BothLines);
    assert_eq!(conversion.references, [0, 1]);
    assert!((outcome.value_here.unwrap() - 97.142_857).abs() < 1e-5);
    assert!(
        (conversion.standard_uncertainty - 0.001_645).abs() < 1e-6,
        "{conversion:?}"
    );
    assert!(outcome.used && made.references[0].used);
    // The first source's value at 365 nm would be its own value at 589 nm over again.
    assert!(!made.references[1].used);
    assert_eq!(made.references[1].series_value, Some(0));
}

#[test]
fn values_of_two_sources_make_no_ratio() {
    let made = pooled(
        line(589.3),
        &[
            reference(line(589.3), 100.0, 0.5, 1),
            reference(line(365.0), 350.0, 1.0, 2),
        ],
    );
    assert!(made.references[0].used && !made.references[1].used);
    assert!(made.references[1].line_conversion.is_none());
}

#[test]
fn own_values_of_opposite_sign_bar_the_generic_law() {
    let made = pooled(
        line(589.3),
        &[
            reference(line(589.3), -8.0, 0.2, 1),
            reference(line(546.1), 6.0, 0.2, 1),
            reference(line(546.1), 5.5, 0.2, 2),
        ],
    );
    let reason = made.references[2].reason.as_ref().unwrap();
    assert!(
        !made.references[2].used && reason.contains("opposite signs"),
        "{reason}"
    );
}

/// A law that changes sign within the data: nothing is carried across, and the generic law does not step in.
#[test]
fn dispersion_data_that_change_sign_convert_nothing_across() {
    let law = |nm: f64| {
        let square = (nm * 1e-3).powi(2);
        30.0 / (square - 0.04) - 32.0 / (square - 0.03)
    };
    let mut references: Vec<Reference> = [365.0, 404.7, 435.8, 486.1, 546.1, 578.0, 632.8, 670.0]
        .iter()
        .map(|&nm| reference(line(nm), law(nm), 0.05, 1))
        .collect();
    references.push(reference(line(365.0), law(365.0), 0.05, 2));
    let made = pooled(line(589.3), &references);
    let last = made.references.last().unwrap();
    assert!(!last.used && last.line_conversion.is_none(), "{last:?}");
}

/// One-term law by hand with a band at 330 nm: 365 nm is 1.11 times that, where the law fails.
#[test]
fn a_line_near_the_band_and_a_line_beyond_the_data_are_warned_of() {
    let law = |nm: f64| 10.0 / ((nm * 1e-3).powi(2) - 0.33f64.powi(2));
    let lines = [365.0, 404.7, 435.8, 546.1];
    let mut references: Vec<Reference> = lines.iter().map(|&nm| reference(line(nm), law(nm), 0.01, 1)).collect();
    references.push(reference(line(365.0), law(365.0), 0.01, 2));
    let made = pooled(line(589.3), &references);
    let conversion = made.references[4].line_conversion.as_ref().unwrap();
    assert_eq!(conversion.method, LineMethod::OwnDispersion);
    assert!((conversion.factor / (law(589.3) / law(365.0)) - 1.0).abs() < 0.01);
    let said = conversion.warnings.join(" ");
    assert!(
        said.contains("extrapolates") && said.contains("absorption band"),
        "{said}"
    );
}

/// A reference in another solvent is not converted by data in this one.
#[test]
fn dispersion_data_serve_their_own_solvent_only() {
    let sugar = sugar_scale();
    let mut references: Vec<Reference> = sugar
        .iter()
        .map(|(line, value)| reference(line.clone(), *value, 0.0005, 1))
        .collect();
    let mut other = reference(line(780.0), 36.0, 0.1, 2);
    references.push(other.clone());
    other.conditions.solvent = Some(Solvent::parse("EtOH").unwrap());
    references.push(other);
    let made = pooled(line(589.3), &references);
    let n = sugar.len();
    assert!(made.references[n].used && !made.references[n + 1].used);
}

/// A value that may have been read at another line: the sugar scale (GOST 8.258-2013 Annex A) without its mercury line leads
/// from D to it, and (S)-propylene oxide turns its sign between 633 and 355 nm (`tests/data/ord_tables.csv`).
#[test]
fn the_compounds_own_values_say_what_another_line_would_read() {
    let scale = sugar_scale();
    let green = air(546.07);
    let (at_green, others): (Vec<_>, Vec<_>) = scale.into_iter().partition(|(line, _)| line.same_light(&green));
    let references: Vec<Reference> = others
        .iter()
        .map(|(line, value)| reference(line.clone(), *value, 0.02, 1))
        .collect();
    let sodium = Conditions {
        line: None,
        ..at(SpectralLine::SodiumD)
    };
    let asked = [air(546.07), air(365.0)];
    let asked = || asked.iter().filter_map(SpectralLine::wavelength);
    let found = own_lines(&sodium, &references, &EffectTable::built_in(), asked());
    let green = found
        .iter()
        .find(|own| (own.line.nanometres() - 546.2).abs() < 1.0)
        .unwrap();
    let published = at_green[0].1 / 66.547;
    assert!(
        (green.factor / published - 1.0).abs() < 2.0 * green.relative_sd,
        "{green:?}"
    );
    assert!(green.relative_sd < 0.01);

    let (read, stated) = (air(355.0), air(633.0));
    let rows = table("(S)-propylene oxide", "no");
    let values: Vec<Reference> = rows
        .iter()
        .map(|(nm, value)| reference(air(*nm), *value, 0.05, 1))
        .collect();
    let found = own_lines(
        &at(stated),
        &values,
        &EffectTable::built_in(),
        read.wavelength().into_iter(),
    );
    assert!(
        (found[0].factor - 7.49 / -8.39).abs() < 1e-9 && found[0].relative_sd < 0.02,
        "{found:?}"
    );
    // In another solvent nothing is known.
    let elsewhere = Conditions {
        solvent: Some(Solvent::parse("CHCl3").unwrap()),
        ..at(air(633.0))
    };
    assert!(
        own_lines(
            &elsewhere,
            &values,
            &EffectTable::built_in(),
            read.wavelength().into_iter()
        )
        .is_empty()
    );
}

/// A rotation printed without its line is that of sodium D (common practice of papers and handbooks): at another line it
/// is treated as one that prints D, and never as a value read at the line of the measurement.
#[test]
fn a_line_that_is_not_printed_is_taken_as_d() {
    let none = |value: f64, source: i64| Reference {
        conditions: Conditions {
            line: None,
            ..at(SpectralLine::SodiumD)
        },
        ..reference(SpectralLine::SodiumD, value, 0.1, source)
    };
    let outcome = |measured: SpectralLine, references: &[Reference]| pooled(measured, references).references[0].clone();
    // At D it holds, with what the line may do; nothing leads from D to 365 nm.
    let near = outcome(SpectralLine::SodiumD, &[none(66.5, 1)]);
    assert!(near.weight > 0.99 && near.line_conversion.is_none(), "{near:?}");
    let far = outcome(air(365.0), &[none(66.5, 1)]);
    assert!(
        far.weight == 0.0 && far.reason.clone().unwrap().contains("taken as D"),
        "{far:?}"
    );
    // Another source's values at both lines (sucrose, from memory) lead there, as from a printed D, with a wider
    // uncertainty.
    let (d, uv) = (66.41, 193.42);
    let both = [
        reference(SpectralLine::SodiumD, d, 0.02, 2),
        reference(air(365.0), uv, 0.05, 2),
    ];
    let of = |first: Reference| {
        let references: Vec<Reference> = std::iter::once(first).chain(both.clone()).collect();
        outcome(air(365.0), &references).line_conversion.unwrap()
    };
    let printed = of(reference(SpectralLine::SodiumD, 66.5, 0.1, 1));
    let assumed = of(none(66.5, 1));
    assert_eq!(printed.factor, assumed.factor);
    assert!(
        (assumed.factor - uv / d).abs() < 1e-9 && assumed.factor > 2.5,
        "{assumed:?}"
    );
    assert!(
        assumed.standard_uncertainty > 3.0 * printed.standard_uncertainty,
        "{assumed:?}"
    );
    assert!(assumed.warnings.iter().any(|warning| warning.contains("taken as D")));
    // The same of a measurement whose line is not given.
    let measured = Conditions {
        line: None,
        ..at(SpectralLine::SodiumD)
    };
    let table = EffectTable::built_in();
    let pooling = pool(
        &measured,
        &[reference(air(365.0), uv, 0.05, 2)],
        &table,
        &Options::default(),
    );
    assert_eq!(pooling.references[0].weight, 0.0, "{:?}", pooling.references[0]);
}

/// Old tables print light by its colour; a colour is no wavelength.
#[test]
fn a_line_without_a_wavelength_is_comparable_with_itself_alone() {
    let red = || SpectralLine::Named("red".to_owned());
    let weight = |measured: SpectralLine| pooled(measured, &[reference(red(), 60.0, 0.5, 1)]).references[0].weight;
    assert_eq!(weight(SpectralLine::SodiumD), 0.0);
    assert_eq!(weight(air(656.3)), 0.0);
    assert!(weight(red()) > 0.99);
}
