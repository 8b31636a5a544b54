//! Checks a chemist would try, on the starter library. The published values are those of the entries named; what the
//! verdict must be follows from them.

use biot::compare::{CauseCode, Conditions, FiellerShape, MethodExcess, Size, VerdictCode};
use biot::library::{Access, Library};
use biot::measurement::{self, Defaults};
use biot::quantity::{self, SpecificRotation};
use biot::solvent::Solvent;
use biot::statement::Stage;
use biot::tasks::care;
use biot::tasks::check::{
    CheckRequest, CheckResult, CheckSettings, DeriveError, DerivedRequest, check, keep_derived, mirror_of,
};
use biot::tasks::resolve::{Resolution, resolve};
use std::sync::OnceLock;

/// One starter library for all tests of this file.
fn starter() -> Library {
    static FOLDER: OnceLock<tempfile::TempDir> = OnceLock::new();
    let folder = FOLDER.get_or_init(|| {
        let folder = tempfile::tempdir().unwrap();
        care::open_or_create(&folder.path().join("starter.biot"), Access::Read, &mut |_| {}).unwrap();
        folder
    });
    Library::open(&folder.path().join("starter.biot"), Access::Read).unwrap()
}

/// A measurement as a chemist states it: value, solvent, c in g/100 mL, °C; the sodium line.
struct Case {
    compound: &'static str,
    value: f64,
    solvent: Option<&'static str>,
    conc: Option<&'static str>,
    temp: Option<&'static str>,
    stage: Option<Stage>,
    form: Option<&'static str>,
    excess: Option<f64>,
}

const CASE: Case = Case {
    compound: "",
    value: 0.0,
    solvent: None,
    conc: None,
    temp: None,
    stage: None,
    form: None,
    excess: None,
};

fn run(case: &Case) -> CheckResult {
    let library = starter();
    let Resolution::One(found) = resolve(&library, case.compound).unwrap() else {
        panic!("{} is not one compound", case.compound)
    };
    let molar_mass = found.compound.molar_mass;
    let concentration = case.conc.map(|c| {
        quantity::parse_concentration(c)
            .unwrap()
            .to_mass_concentration(molar_mass, None)
            .unwrap()
    });
    let value = SpecificRotation::from_conventional(case.value);
    let request = CheckRequest {
        compound: found.compound.id,
        mirror_image: false,
        measured: measurement::of_value(value, 0.05, concentration, None, &Defaults::built_in()),
        conditions: Conditions {
            temperature: case.temp.map(|t| quantity::parse_temperature(t).unwrap()),
            line: Some(quantity::parse_line("D").unwrap()),
            solvent: case.solvent.map(|s| Solvent::parse(s).unwrap()),
            concentration,
            stage: case.stage,
            basis: None,
        },
        cell: None,
        blank: None,
        form: case.form.map(str::to_owned),
        excess: case.excess.map(|ratio| MethodExcess::Value { ratio, sd: 0.01 }),
    };
    check(&library, &request, &CheckSettings::default()).unwrap()
}

/// L-proline: entries in water, among them −80.9 (c 1, H₂O, 20 °C, D).
const PROLINE: Case = Case {
    compound: "L-proline",
    solvent: Some("H2O"),
    conc: Some("1"),
    temp: Some("20"),
    ..CASE
};

fn code(case: &Case) -> VerdictCode {
    run(case).verdict.code
}

#[test]
fn the_published_value_agrees() {
    let result = run(&Case {
        value: -80.9,
        ..PROLINE
    });
    assert_eq!(result.verdict.code, VerdictCode::Agrees, "{}", result.verdict.sentence);
    let purity = result.optical_purity.unwrap();
    assert!(
        purity.bounded95.unwrap()[1] > 0.995 && purity.bounded.unwrap() > 0.9,
        "{purity:?}"
    );
    let pooled = result.pooled.unwrap();
    assert!(pooled.prediction95[0] <= pooled.interval95[0] && pooled.prediction95[1] >= pooled.interval95[1]);
}

#[test]
fn half_of_it_is_lower_and_half_pure() {
    let result = run(&Case {
        value: -40.4,
        ..PROLINE
    });
    assert_eq!(result.verdict.code, VerdictCode::Lower, "{}", result.verdict.sentence);
    let purity = result.optical_purity.unwrap();
    let bounded = purity.bounded.unwrap();
    assert!((bounded - 0.5).abs() < 0.05, "{purity:?}");
    let ratio = purity.enantiomer_ratio.unwrap();
    assert!((ratio[0] + ratio[1] - 100.0).abs() < 1e-9 && (ratio[0] - 50.0 * (1.0 + bounded)).abs() < 1e-9);
    assert_eq!(purity.fieller95.shape, FiellerShape::Interval);
}

#[test]
fn the_opposite_sign_is_the_other_hand() {
    let result = run(&Case { value: 80.9, ..PROLINE });
    assert_eq!(
        result.verdict.code,
        VerdictCode::Opposite,
        "{}",
        result.verdict.sentence
    );
    assert!(result.optical_purity.unwrap().bounded.unwrap() < -0.9);
}

/// D-proline is not in the library; its structure is the mirror image of one that is (InChIKey from RDKit's table:
/// L-proline ONIBWKKTOPOVIA-BYPYZUCNSA-N).
#[test]
fn a_structure_whose_mirror_image_is_known_finds_it() {
    let library = starter();
    let found = mirror_of(&library, "OC(=O)[C@H]1CCCN1").unwrap().unwrap();
    assert_eq!(found.inchikey.as_deref(), Some("ONIBWKKTOPOVIA-BYPYZUCNSA-N"));
    assert!(mirror_of(&library, "OC(=O)[C@@H]1CCCN1").unwrap().is_none());
    assert!(mirror_of(&library, "no structure").unwrap().is_none());
}

/// Both borneols are in the library, ±37.7 in ethanol and ±44.4 in toluene: each informs the other with its sign turned.
#[test]
fn the_mirror_image_s_entries_count_with_their_sign_turned() {
    let result = run(&Case {
        compound: "(+)-borneol (D-borneol)",
        value: 37.7,
        solvent: Some("EtOH"),
        ..CASE
    });
    let turned: Vec<_> = result.references.iter().filter(|r| r.mirror_image && r.used).collect();
    assert!(!turned.is_empty());
    assert!(
        turned
            .iter()
            .all(|r| r.value.unwrap() < 0.0 && r.value_here.unwrap() > 0.0),
        "{turned:?}"
    );
    assert!(result.pooled.unwrap().value > 0.0);
}

#[test]
fn twice_it_exceeds() {
    let result = run(&Case {
        value: -162.0,
        ..PROLINE
    });
    assert_eq!(result.verdict.code, VerdictCode::Exceeds, "{}", result.verdict.sentence);
    assert!(result.probabilities.unwrap().exceeds > 0.975);
    // Bounded at one, the posterior would call the sample pure; the plain ratio says two.
    let purity = result.optical_purity.unwrap();
    assert_eq!(
        (purity.bounded, purity.bounded95, purity.enantiomer_ratio),
        (None, None, None)
    );
    assert!(purity.ratio.unwrap() > 1.8, "{purity:?}");
}

#[test]
fn nearly_zero_is_said_to_be_near_zero() {
    assert_eq!(code(&Case { value: 0.1, ..PROLINE }), VerdictCode::NearZero);
}

#[test]
fn a_solvent_no_reference_has_is_not_agreement() {
    let result = run(&Case {
        value: -80.9,
        solvent: Some("DMSO"),
        ..PROLINE
    });
    assert_eq!(
        result.verdict.code,
        VerdictCode::Undecided,
        "{}",
        result.verdict.sentence
    );
    let solvents: Vec<_> = result
        .references
        .iter()
        .flat_map(|r| &r.differences)
        .filter(|d| d.size == Size::Large)
        .collect();
    assert!(!solvents.is_empty());
    // And the opposite sign there is no proof of the other hand.
    let result = run(&Case {
        value: 80.9,
        solvent: Some("DMSO"),
        ..PROLINE
    });
    assert_ne!(
        result.verdict.code,
        VerdictCode::Opposite,
        "{}",
        result.verdict.sentence
    );
}

/// (R)-(−)-salbutamol hydrochloride: one entry, −32.2 (c 0.1, H₂O, 20 °C, D): worth ±5 in a 1 dm cell.
#[test]
fn one_dilute_reference_decides_nothing_close_to_it() {
    let case = Case {
        compound: "(R)-(−)-salbutamol hydrochloride",
        value: -32.2,
        solvent: Some("H2O"),
        conc: Some("0.1"),
        temp: Some("20"),
        ..CASE
    };
    let result = run(&case);
    assert_eq!(
        result.verdict.code,
        VerdictCode::Undecided,
        "{}",
        result.verdict.sentence
    );
    let pooled = result.pooled.unwrap();
    assert!(pooled.driven_by_prior && pooled.independent_sources == 1);
    assert!(pooled.standard_uncertainty > 4.5, "{pooled:?}");
}

/// A solvent that is not printed may be of another class, which gives the pooled value long tails. JCGM 100:2008, 6.2: what
/// is read as a standard uncertainty is doubled to an interval of about 95 %, so it must not promise a narrower one.
#[test]
fn the_uncertainty_beside_the_pooled_value_promises_no_more_than_its_interval() {
    let result = run(&Case {
        compound: "(−)-menthol",
        value: -40.0,
        solvent: Some("EtOH"),
        conc: Some("2"),
        temp: Some("20"),
        ..CASE
    });
    let pooled = result.pooled.unwrap();
    let half = (pooled.interval95[1] - pooled.interval95[0]) / 2.0;
    assert!(half > 20.0 && 2.0 * pooled.standard_uncertainty > half, "{pooled:?}");
}

/// D-glucose turns by +112 when the crystals are just dissolved and by +52.7 in the end (any textbook of organic
/// chemistry); a value printed without a stage is that of equilibrium (common practice).
#[test]
fn an_initial_value_is_not_held_against_values_at_equilibrium() {
    let case = |value: f64, stage: Option<Stage>| {
        run(&Case {
            compound: "D-glucose",
            value,
            solvent: Some("H2O"),
            conc: Some("10"),
            temp: Some("20"),
            stage,
            ..CASE
        })
    };
    let initial = case(112.0, Some(Stage::Initial));
    assert_eq!(
        initial.verdict.code,
        VerdictCode::NoBasis,
        "{}",
        initial.verdict.sentence
    );
    let reasons: Vec<String> = initial.references.iter().filter_map(|r| r.reason.clone()).collect();
    assert!(
        reasons.iter().any(|reason| reason.contains("taken as equilibrium")),
        "{reasons:?}"
    );
    for stage in [None, Some(Stage::Final)] {
        assert_eq!(case(52.7, stage).verdict.code, VerdictCode::Agrees);
    }
}

/// L-rhamnose: teaching tables print +8.9, −8.0 and +9.4 without solvent (initial and final values mixed).
#[test]
fn references_that_disagree_in_sign_decide_no_hand() {
    for value in [8.9, -8.0] {
        let result = run(&Case {
            compound: "L-rhamnose",
            value,
            solvent: Some("H2O"),
            conc: Some("4"),
            temp: Some("20"),
            ..CASE
        });
        assert!(
            !matches!(
                result.verdict.code,
                VerdictCode::Agrees | VerdictCode::Opposite | VerdictCode::Lower
            ),
            "{value}: {}",
            result.verdict.sentence
        );
    }
}

/// Testosterone propionate: only limits (a pharmacopoeial monograph).
#[test]
fn a_specification_alone_is_no_basis() {
    let result = run(&Case {
        compound: "testosterone propionate",
        value: 85.0,
        solvent: Some("dioxane"),
        ..CASE
    });
    assert_eq!(result.verdict.code, VerdictCode::NoBasis);
    assert!(result.pooled.is_none() && result.optical_purity.is_none());
    assert!(!result.references.is_empty() && result.references.iter().all(|r| !r.used && r.reason.is_some()));
    assert!(
        result.cautions.iter().any(|c| c.contains("official text")),
        "{:?}",
        result.cautions
    );
}

#[test]
fn what_is_not_given_is_an_unknown_aspect_and_said_so() {
    let result = run(&Case {
        compound: "L-proline",
        value: -80.9,
        ..CASE
    });
    assert!(
        result
            .cautions
            .iter()
            .any(|c| c.contains("solvent, temperature, concentration")),
        "{:?}",
        result.cautions
    );
    assert!(
        result
            .references
            .iter()
            .any(|r| r.used && r.differences.iter().any(|d| d.size == Size::Unknown))
    );
    assert_eq!(
        result.verdict.code,
        VerdictCode::Undecided,
        "{}",
        result.verdict.sentence
    );
}

/// A sugar read soon after it was dissolved: α-D-glucose begins at +112.2 and ends at +52.6, β-D-glucose begins at +18.7
/// (OpenStax Organic Chemistry, ch. 25.5). Its anomers' values explain a reading on the way; an acid's do not come into it.
#[test]
fn a_sugar_that_has_not_come_to_rest_is_known_by_its_anomers() {
    for value in [112.0, 90.0, 30.0] {
        let result = run(&Case {
            compound: "D-glucose",
            value,
            solvent: Some("H2O"),
            conc: Some("10"),
            temp: Some("20"),
            ..CASE
        });
        let cause = result.causes.iter().find(|c| c.code == CauseCode::NotAtEquilibrium);
        assert!(
            cause.is_some_and(|c| c.probability > 0.1),
            "{value} {:#?}",
            result.causes
        );
        let isomers = result.causes.iter().filter(|c| c.code == CauseCode::OtherStereoisomer);
        assert!(isomers.clone().all(|c| !c.sentence.contains("glucose")));
    }
}

#[test]
fn weights_sum_to_one_and_nothing_is_dropped_in_silence() {
    for compound in [
        "L-proline",
        "L-alanine",
        "sucrose",
        "D-glucose",
        "(-)-nicotine",
        "cholesterol",
    ] {
        let result = run(&Case {
            compound,
            value: 10.0,
            solvent: Some("H2O"),
            conc: Some("5"),
            temp: Some("20"),
            ..CASE
        });
        let total: f64 = result.references.iter().filter(|r| r.used).map(|r| r.weight).sum();
        assert!(
            result.pooled.is_none() || (total - 1.0).abs() < 1e-9,
            "{compound}: {total}"
        );
        for reference in result.references.iter().filter(|r| !r.used) {
            assert!(
                reference.reason.as_ref().is_some_and(|reason| !reason.is_empty()),
                "{compound} {reference:?}"
            );
            assert_eq!(reference.weight, 0.0);
        }
    }
}

/// Whewell's arithmetic for a hydrate: the same substance weighed with one water reads less by the molar masses,
/// 115.13 / (115.13 + 18.015).
#[test]
fn a_hydrate_weighed_is_converted_exactly() {
    let dry = run(&Case {
        value: -80.9,
        ..PROLINE
    })
    .pooled
    .unwrap()
    .value;
    let wet = run(&Case {
        value: -80.9,
        form: Some("monohydrate"),
        ..PROLINE
    })
    .pooled
    .unwrap()
    .value;
    assert!((wet / dry - 115.13 / (115.13 + 18.015)).abs() < 2e-3, "{wet} {dry}");
}

#[test]
fn an_excess_by_another_method_is_held_against_the_rotation() {
    let half = run(&Case {
        value: -41.0,
        excess: Some(0.5),
        ..PROLINE
    })
    .excess_check
    .unwrap();
    assert!(half.agreement.unwrap().agrees && half.meanings.is_empty(), "{half:?}");
    let wrong = run(&Case {
        value: -41.0,
        excess: Some(0.98),
        ..PROLINE
    })
    .excess_check
    .unwrap();
    assert!(!wrong.agreement.unwrap().agrees, "{wrong:?}");
    assert_eq!(wrong.meanings[0].code, "impurity");
}

/// −49.5 / 0.98 = −50.51: kept as a draft at 100 % ee with its uncertainty, in a library of its own; an ee by rotation is
/// refused; a pair that does not agree with the references is kept out of pooling.
#[test]
fn what_rotation_and_ee_imply_can_be_kept_as_a_derived_draft() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("own.biot");
    care::open_or_create(&path, Access::Read, &mut |_| {}).unwrap();
    let mut library = Library::open(&path, Access::Write).unwrap();
    let Resolution::One(found) = resolve(&library, "L-proline").unwrap() else {
        panic!("one compound")
    };
    let change = biot::library::Change::now("tester", "invented");
    let derived = DerivedRequest {
        citation: "invented notebook, page 1".to_owned(),
        excess_method: "HPLC, chiral column".to_owned(),
    };
    let request = |value: f64| CheckRequest {
        compound: found.compound.id,
        mirror_image: false,
        measured: measurement::stated(
            SpecificRotation::from_conventional(value),
            SpecificRotation::from_conventional(0.4),
            None,
        ),
        conditions: Conditions {
            temperature: Some(quantity::parse_temperature("20").unwrap()),
            line: Some(quantity::parse_line("D").unwrap()),
            solvent: Some(Solvent::parse("H2O").unwrap()),
            ..Conditions::default()
        },
        cell: None,
        blank: None,
        form: None,
        excess: Some(MethodExcess::Value { ratio: 0.98, sd: 0.01 }),
    };
    let good = request(-80.0);
    let result = check(&library, &good, &CheckSettings::default()).unwrap();
    let added = keep_derived(&mut library, &good, &result, &derived, &change).unwrap();
    let entry = &added.entry;
    assert_eq!(entry.state, biot::library::ReviewState::Draft);
    assert!(entry.kept_out.is_none() && entry.statement.as_printed.contains("Derived, not measured"));
    assert!((entry.statement.value.unwrap().value() + 80.0 / 0.98).abs() < 0.01);
    // u = √((0.4/0.98)² + (80·0.01/0.98²)²) = 0.928, its rectangular half-width 1.61.
    assert!((entry.statement.plus_minus.unwrap().value() - 1.61).abs() < 0.01);
    assert!(!entry.statement.ee.as_ref().unwrap().is_from_rotation());
    // Not for the measurement it was made from, whatever ee is told this time; for another sample it is a reference.
    for own in [
        good.clone(),
        CheckRequest {
            excess: None,
            ..good.clone()
        },
    ] {
        let again = check(&library, &own, &CheckSettings::default()).unwrap();
        let left_out = again.references.iter().find(|r| r.entry == entry.id.0).unwrap();
        assert!(
            !left_out.used && left_out.reason.as_ref().unwrap().contains("by construction"),
            "{left_out:?}"
        );
    }
    let again = check(&library, &request(-79.0), &CheckSettings::default()).unwrap();
    let used = again.references.iter().find(|r| r.entry == entry.id.0).unwrap();
    assert!(used.used && used.weight > 0.0);
    assert!((used.own_uncertainty.unwrap() - 0.928).abs() < 0.35, "{used:?}");

    let wet = request(-60.0);
    let result = check(&library, &wet, &CheckSettings::default()).unwrap();
    let added = keep_derived(&mut library, &wet, &result, &derived, &change).unwrap();
    assert!(added.entry.kept_out.is_some());

    let circular = DerivedRequest {
        excess_method: "optical rotation".to_owned(),
        ..derived
    };
    assert!(matches!(
        keep_derived(&mut library, &good, &result, &circular, &change),
        Err(DeriveError::Circular { .. })
    ));
}
