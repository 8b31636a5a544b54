//! Compounds that fit a measured rotation, on the starter library; the expected compounds are those whose entries print the
//! value asked for.

use biot::compare::Conditions;
use biot::library::{Access, Library};
use biot::measurement::{self, Defaults};
use biot::quantity::{self, SpecificRotation};
use biot::solvent::Solvent;
use biot::tasks::care;
use biot::tasks::check::CheckSettings;
use biot::tasks::identify::{Among, Identified, IdentifyRequest, identify};
use biot::tasks::resolve::{Resolution, resolve};
use std::sync::OnceLock;

fn starter() -> Library {
    static FOLDER: OnceLock<tempfile::TempDir> = OnceLock::new();
    let folder = FOLDER.get_or_init(|| {
        let folder = tempfile::tempdir().unwrap();
        care::open_or_create(&folder.path().join("starter.biot"), Access::Read, &mut |_| {}).unwrap();
        folder
    });
    Library::open(&folder.path().join("starter.biot"), Access::Read).unwrap()
}

/// A value in a solvent at c 1, 20 °C, D.
fn find(value: f64, solvent: &str, among: Among) -> Identified {
    let concentration = Some(quantity::parse_concentration("1").unwrap());
    let concentration = concentration.map(|c| c.to_mass_concentration(None, None).unwrap());
    let request = IdentifyRequest {
        measured: measurement::of_value(
            SpecificRotation::from_conventional(value),
            0.05,
            concentration,
            None,
            &Defaults::built_in(),
        ),
        conditions: Conditions {
            temperature: Some(quantity::parse_temperature("20").unwrap()),
            line: Some(quantity::parse_line("D").unwrap()),
            solvent: Some(Solvent::parse(solvent).unwrap()),
            concentration,
            ..Conditions::default()
        },
        among,
        limit: 200,
    };
    identify(&starter(), &request, &CheckSettings::default()).unwrap()
}

/// Proline: −80.9 (c 1, H₂O, 20 °C, D) in the compilation. Its hand follows the sign.
#[test]
fn the_compound_of_a_published_value_is_among_those_that_fit() {
    let found = find(-80.9, "H2O", Among::Library);
    let proline = found.candidates.iter().find(|c| c.name == "L-proline").unwrap();
    assert!(proline.fits && !proline.mirror_image && proline.expected < 0.0);
    let turned = find(80.9, "H2O", Among::Library);
    assert!(turned.candidates.iter().all(|c| c.name != "L-proline"));
    let mirror = turned.candidates.iter().find(|c| c.name.contains("L-proline")).unwrap();
    assert!(mirror.mirror_image && mirror.expected > 0.0);
    assert!((mirror.probability - proline.probability).abs() < 1e-9);
}

#[test]
fn a_rotation_alone_leaves_many_and_the_probabilities_sum_to_one() {
    let found = find(-80.9, "H2O", Among::Library);
    assert!(found.fitting > 5 && found.fitting_by_chance > 1.0, "{found:?}");
    let listed: f64 = found.candidates.iter().map(|c| c.probability).sum();
    assert!((listed + found.probability_of_others - 1.0).abs() < 1e-9 && listed < 1.0);
    assert!(
        found
            .candidates
            .windows(2)
            .all(|w| w[0].probability >= w[1].probability)
    );
    assert!(
        found.candidates[0].probability < 0.5,
        "no rotation identifies a compound"
    );
}

#[test]
fn a_formula_a_mass_and_a_list_narrow_it_down() {
    let found = find(-80.9, "H2O", Among::Formula("C5H9NO2".to_owned()));
    assert!(found.candidates.iter().all(|c| c.formula.as_deref() == Some("C5H9NO2")));
    assert_eq!(found.candidates[0].name, "L-proline");
    let mass = quantity::parse_molar_mass("115.1").unwrap();
    let found = find(-80.9, "H2O", Among::Mass(mass));
    assert!(
        found
            .candidates
            .iter()
            .all(|c| (c.molar_mass.unwrap() - 115.1).abs() <= 0.5)
    );
    assert!(found.candidates.iter().any(|c| c.name == "L-proline"));
    let named = |name: &str| match resolve(&starter(), name).unwrap() {
        Resolution::One(one) => one.compound.id,
        other => panic!("{other:?}"),
    };
    let list = vec![named("L-proline"), named("sucrose")];
    let found = find(-80.9, "H2O", Among::These(list));
    assert_eq!(
        (found.compounds_looked_at, found.candidates[0].name.as_str()),
        (2, "L-proline")
    );
}

/// No compound of the library rotates by −20000, and an unknown formula holds nothing.
#[test]
fn nothing_fits_where_nothing_can() {
    let found = find(-20_000.0, "H2O", Among::Library);
    assert!(found.candidates.is_empty() && found.fitting == 0 && found.probability_of_others == 1.0);
    let found = find(-80.9, "H2O", Among::Formula("C1000H2".to_owned()));
    assert_eq!((found.compounds_looked_at, found.fitting), (0, 0));
}
