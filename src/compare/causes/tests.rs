//! Each cause against its own definition.

use super::*;
use crate::compare::{FormLink, HandKnown, SampleExcess};
use crate::compare::{Options, Reference, pool};
use crate::quantity::{Concentration, SpectralLine, Temperature};
use crate::solvent::Solvent;

/// Two sources that agree on −100 in water, c 2, 20 °C, D; 5 % of scatter or so is left.
fn conditions() -> Conditions {
    Conditions {
        temperature: Some(Temperature::from_celsius(20.0)),
        line: Some(SpectralLine::SodiumD),
        solvent: Some(Solvent::parse("H2O").unwrap()),
        concentration: Some(Concentration::from_grams_per_100_millilitres(2.0)),
        stage: None,
        basis: None,
    }
}

fn pooling() -> Pooling {
    let reference = |source: i64, value: f64| Reference {
        value: SpecificRotation::from_conventional(value),
        own_uncertainty: SpecificRotation::from_conventional(0.5),
        mirror: false,
        source,
        excess: SampleExcess::Stated { mean: 1.0, sd: 0.0 },
        hand: HandKnown::Independent,
        conditions: conditions(),
        form: FormLink::Same,
        draft: false,
        quoted: false,
        excluded: None,
    };
    let references = [reference(1, -100.2), reference(2, -99.8)];
    pool(
        &conditions(),
        &references,
        &EffectTable::built_in(),
        &Options::default(),
    )
}

fn measured(value: f64) -> Measured {
    Measured {
        value: SpecificRotation::from_conventional(value),
        uncertainty: SpecificRotation::from_conventional((0.008 * value).abs().max(0.15)),
        degrees_of_freedom: None,
        excess: None,
    }
}

fn context() -> CauseContext {
    CauseContext {
        cell: Some(Length::from_millimetres(100.0)),
        molar_mass: Some(MolarMass::from_grams_per_mole(300.0)),
        formula: Some("C17H19NO4".to_owned()),
        ..CauseContext::default()
    }
}

fn found(value: f64, context: &CauseContext) -> Vec<Cause> {
    found_of(&measured(value), context)
}

fn found_of(measured: &Measured, context: &CauseContext) -> Vec<Cause> {
    causes(
        &pooling(),
        measured,
        &conditions(),
        context,
        &EffectTable::built_in(),
        &CauseTable::built_in(),
    )
}

/// The codes of the first class.
fn first(causes: &[Cause]) -> Vec<CauseCode> {
    causes.iter().filter(|c| c.class == 1).map(|c| c.code).collect()
}

/// Each slip by its definition, on a compound of −100: what is reported, and which cause must be in the first class.
/// 100 °Z are 34.626° (GOST 8.258-2013, Annex A); [M] = [α] M / 100; α = [α] l c / 100; a turn is 180 · 100/(l c).
#[test]
fn each_slip_is_found_by_its_definition() {
    let cases = [
        (-100.0, CauseCode::None),
        (100.0, CauseCode::OppositeHand),
        (-62.0, CauseCode::PartialPurity),
        (-0.05, CauseCode::PartialPurity),
        (-1000.0, CauseCode::ConcentrationUnit),
        (-1000.0 * 10.0, CauseCode::ConcentrationUnit),
        (-200.0, CauseCode::CellLength),
        (-10.0, CauseCode::CellLength),
        (-100.0 * 2.0 / 100.0, CauseCode::AngleAsSpecific),
        (-100.0 + 18000.0 / 2.0, CauseCode::HalfTurn),
        (-100.0 * 100.0 / 34.626, CauseCode::SugarDegrees),
        (-300.0, CauseCode::MolarAsSpecific),
    ];
    for (value, code) in cases {
        let found = found(value, &context());
        assert!(first(&found).contains(&code), "{value} {code:?}: {found:#?}");
        let total: f64 = found.iter().map(|c| c.probability).sum();
        assert!((total - 1.0).abs() < 1e-9 && found.iter().any(|c| c.code == CauseCode::None));
        assert!(
            found
                .windows(2)
                .all(|w| w[0].class <= w[1].class && w[1].class <= w[0].class + 1)
        );
    }
}

/// A tenth of the length and a tenth of the concentration give one corrected value, so they share a class; partial purity
/// and dilution give any smaller value.
#[test]
fn what_cannot_be_told_apart_is_one_class() {
    let tenth = found(-10.0, &context());
    let class = |causes: &[Cause], code: CauseCode| causes.iter().find(|c| c.code == code).unwrap().class;
    assert_eq!(
        class(&tenth, CauseCode::CellLength),
        class(&tenth, CauseCode::ConcentrationUnit)
    );
    let members = tenth.iter().filter(|c| c.class == 1);
    assert!(
        members.clone().all(|c| (c.corrected_value + 100.0).abs() < 1e-9),
        "{tenth:#?}"
    );
    let small = found(-80.0, &context());
    assert_eq!(
        class(&small, CauseCode::PartialPurity),
        class(&small, CauseCode::Diluted)
    );
    assert_ne!(class(&small, CauseCode::PartialPurity), class(&small, CauseCode::None));
}

/// A blank of −0.5° added instead of subtracted at c 2 in 1 dm moves the value by 2 · (−0.5) · 100/2 = −50.
#[test]
fn a_known_blank_explains_its_own_shift() {
    let context = CauseContext {
        blank: Some(Angle::from_degrees(-0.5)),
        ..context()
    };
    let found = found(-150.0, &context);
    let blank = found.iter().find(|c| c.code == CauseCode::BlankSign).unwrap();
    assert!(
        blank.class == 1 && (blank.corrected_value + 100.0).abs() < 1e-9,
        "{found:#?}"
    );
}

/// In a cell that is not known a blank has the shift of a usual one: 0.5° at c 2 moves the value by 50 in 1 dm, by 25 in 2 dm.
#[test]
fn a_known_blank_in_an_unknown_cell_may_be_of_any_usual_one() {
    let context = CauseContext {
        blank: Some(Angle::from_degrees(-0.5)),
        cell: None,
        ..context()
    };
    for reported in [-150.0, -125.0] {
        let found = found(reported, &context);
        let fits = |c: &&Cause| c.code == CauseCode::BlankSign && (c.corrected_value + 100.0).abs() < 1e-9;
        assert!(found.iter().any(|c| fits(&c)), "{reported}: {found:#?}");
    }
}

/// Where another method gives the excess, the value expected is that of such a sample, and a sample that is less pure means
/// that the other method is wrong.
#[test]
fn an_excess_by_another_method_is_believed_before_the_purity_is_doubted() {
    let with = |value: f64, excess: crate::compare::MethodExcess| {
        let measured = Measured {
            excess: Some(excess),
            ..measured(value)
        };
        found_of(&measured, &context())
    };
    let half = crate::compare::MethodExcess::Value { ratio: 0.5, sd: 0.01 };
    assert!(first(&with(-50.0, half)).contains(&CauseCode::None));
    assert!(first(&with(50.0, half)).contains(&CauseCode::OppositeHand));
    let pure = crate::compare::MethodExcess::AtLeast(0.99);
    let probability = |causes: &[Cause], code: CauseCode| causes.iter().find(|c| c.code == code).unwrap().probability;
    let (with, without) = (with(-75.0, pure), found(-75.0, &context()));
    assert!(probability(&without, CauseCode::PartialPurity) > probability(&without, CauseCode::Diluted));
    assert!(probability(&with, CauseCode::PartialPurity) < 0.3 * probability(&with, CauseCode::Diluted));
    let partial = with.iter().find(|c| c.code == CauseCode::PartialPurity).unwrap();
    assert!(partial.sentence.contains("not the one stated"), "{}", partial.sentence);
}

/// An angle of 0.02° given as a specific rotation is good to some thousandths of a degree, not to the tenths that they make
/// at c 0.02: it is told from a racemate.
#[test]
fn an_angle_is_as_good_as_an_angle() {
    let found_here = {
        let conditions = Conditions {
            concentration: Some(Concentration::from_grams_per_100_millilitres(0.2)),
            ..conditions()
        };
        let measured = Measured {
            value: SpecificRotation::from_conventional(-0.2),
            uncertainty: SpecificRotation::from_conventional(2.5),
            degrees_of_freedom: None,
            excess: None,
        };
        let (effects, table) = (EffectTable::built_in(), CauseTable::built_in());
        causes(&pooling(), &measured, &conditions, &context(), &effects, &table)
    };
    assert!(
        first(&found_here).contains(&CauseCode::AngleAsSpecific),
        "{found_here:#?}"
    );
}

/// Weighed as a hydrate that is known: −100 · 300/354 where the form weighed is 54 g/mol heavier.
#[test]
fn a_form_of_the_library_explains_its_ratio() {
    let context = CauseContext {
        known_forms: vec![KnownForm {
            name: "its dodecahydrate".to_owned(),
            factor: 300.0 / 516.0,
            is_hydrate: true,
        }],
        ..context()
    };
    let found = found(-100.0 * 300.0 / 516.0, &context);
    let form = found.iter().find(|c| c.code == CauseCode::OtherForm).unwrap();
    assert!((form.corrected_value + 100.0).abs() < 1e-6 && form.sentence.contains("dodecahydrate"));
    assert!(form.probability > 0.2, "{found:#?}");
}

#[test]
fn another_stage_and_another_isomer_need_values_of_their_own() {
    let without = found(40.0, &context());
    assert!(
        without
            .iter()
            .all(|c| !matches!(c.code, CauseCode::NotAtEquilibrium | CauseCode::OtherStereoisomer))
    );
    let isomer = CauseContext {
        isomers: vec![Isomer {
            name: "the epimer".to_owned(),
            values: vec![(40.0, 1.0)],
        }],
        ..context()
    };
    let with = found(40.0, &isomer);
    assert_eq!(first(&with), [CauseCode::OtherStereoisomer], "{with:#?}");
    assert!(with[0].sentence.contains("the epimer") && with[0].corrected_value == 40.0);
    let stage = CauseContext {
        other_stages: vec![(
            SpecificRotation::from_conventional(-160.0),
            SpecificRotation::from_conventional(1.0),
        )],
        ..context()
    };
    assert_eq!(first(&found(-135.0, &stage)), [CauseCode::NotAtEquilibrium]);
}

/// However absurd the value, the probabilities stay probabilities.
#[test]
fn absurd_values_are_no_panic() {
    for value in [0.0, 1e-300, 1e12, -1e12, 1e300] {
        let found = found(value, &CauseContext::default());
        let total: f64 = found.iter().map(|c| c.probability).sum();
        assert!((total - 1.0).abs() < 1e-9, "{value} {total}");
        assert!(found.iter().all(|c| c.probability.is_finite()));
    }
}

/// Where nothing can be compared there is nothing to explain.
#[test]
fn without_references_there_are_no_causes() {
    let none = pool(&conditions(), &[], &EffectTable::built_in(), &Options::default());
    let found = causes(
        &none,
        &measured(1.0),
        &conditions(),
        &context(),
        &EffectTable::built_in(),
        &CauseTable::built_in(),
    );
    assert!(found.is_empty());
}

/// Partial purity must not swallow every smaller value: with the expected value known to 1 %, its density at x integrates
/// to its share of samples that are not racemic.
#[test]
fn the_density_of_partial_purity_is_proper() {
    let pooling = pooling();
    let expected = Expected::of(pooling.posterior.as_ref().unwrap(), (1.0, 0.0), pooling.scale);
    let table = CauseTable::built_in();
    let (same, other) = (Kind::Purity { is_opposite: false }, Kind::Purity { is_opposite: true });
    for kind in [same, other, Kind::Dilution] {
        let total: f64 = (-3000..3000)
            .map(|i| 0.1 * expected.likelihood(&kind, f64::from(i) * 0.1 + 0.05, 0.5, &table))
            .sum();
        assert!((total - 1.0).abs() < 0.01, "{kind:?} {total}");
    }
}
