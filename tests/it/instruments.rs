//! Shared instruments: the register with its loans, checks against control standards, their chart, and what is due. All
//! instruments, plates and readings are invented; what the numbers are checked against stands beside each test.

use biot::instrument::chart::{Rule, chart};
use biot::instrument::control::{ControlError, e_n};
use biot::instrument::register::{Cell, Instrument, Standard, StandardKind};
use biot::library::{Access, Change, EquipmentKind, Library, LibraryError};
use biot::quantity::{Angle, SpectralLine, Temperature};
use biot::tasks::control::{self, CheckError, CheckMade, ControlState, ReadingOfStandard};
use biot::tasks::register;
use serde::Deserialize;
use std::path::{Path, PathBuf};
use tempfile::TempDir;
use time::macros::{date, datetime};
use time::{Duration, OffsetDateTime};

const NOW: OffsetDateTime = datetime!(2026-03-02 09:00 UTC);

fn on(at: OffsetDateTime) -> Change {
    Change {
        who: "keeper".to_owned(),
        why: "test".to_owned(),
        at,
    }
}

fn cell() -> Cell {
    Cell {
        length_mm: 100.02,
        length_uncertainty_mm: Some(0.01),
        volume_ml: Some(1.5),
        jacketed: true,
        windows: Some("glass".to_owned()),
        seals: Some("PTFE".to_owned()),
        note: None,
    }
}

fn plate(due_on: Option<&str>) -> Standard {
    Standard {
        kind: StandardKind::QuartzPlate,
        certified_deg: Some(34.612),
        expanded_uncertainty_deg: Some(0.002),
        temperature_c: 20.0,
        line: SpectralLine::SodiumD,
        coefficient_per_kelvin: Some(0.000_144),
        concentration_g_per_100ml: None,
        cell_mm: None,
        due_on: due_on.map(str::to_owned),
        note: None,
    }
}

fn instrument() -> Instrument {
    Instrument {
        lines: vec![SpectralLine::SodiumD],
        angle_uncertainty_deg: Some(0.002),
        resolution_deg: None,
        check_every_days: Some(30),
        note: None,
    }
}

/// A library with an instrument "north", a cell "long" and two plates.
fn registered() -> (TempDir, PathBuf, Library) {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("library.biot");
    let mut library = Library::create(&path, &on(NOW)).unwrap();
    let change = on(NOW);
    register::keep(
        &mut library,
        (EquipmentKind::Instrument, "north"),
        &instrument(),
        false,
        &change,
    )
    .unwrap();
    register::keep(&mut library, (EquipmentKind::Cell, "long"), &cell(), false, &change).unwrap();
    for (name, due) in [("plate 1", Some("2026-12-31")), ("plate 2", None)] {
        register::keep(
            &mut library,
            (EquipmentKind::Standard, name),
            &plate(due),
            false,
            &change,
        )
        .unwrap();
    }
    (folder, path, library)
}

fn reading(standard: &str, readings: &[f64]) -> ReadingOfStandard {
    ReadingOfStandard {
        instrument: "north".to_owned(),
        standard: standard.to_owned(),
        readings: readings.iter().copied().map(Angle::from_degrees).collect(),
        blank: Vec::new(),
        line: None,
        temperature: Some(Temperature::from_celsius(20.0)),
        cell: None,
        at: None,
    }
}

fn check(library: &mut Library, standard: &str, readings: &[f64], at: OffsetDateTime) -> Result<CheckMade, CheckError> {
    control::check(library, &reading(standard, readings), true, &on(at))
}

fn state(library: &Library, at: OffsetDateTime) -> ControlState {
    let (north, _) = register::instrument(library, "north").unwrap();
    control::state_at(library, north.id, at).unwrap()
}

#[derive(Deserialize)]
struct Golden {
    name: String,
    differences: Vec<f64>,
    centre: f64,
    sigma: f64,
    alarms: Vec<(usize, String)>,
}

/// Against numpy (`tests/scripts/make_control_golden.py`): centre, sigma and every alarm of seven simulated series.
#[test]
fn charts_are_those_of_a_plain_computation() {
    let golden: Vec<Golden> = serde_json::from_str(include_str!("../data/control_golden.json")).unwrap();
    assert_eq!(golden.len(), 7);
    let mut n_alarms = 0;
    for series in golden {
        let differences: Vec<Angle> = series.differences.iter().copied().map(Angle::from_degrees).collect();
        let drawn = chart(&differences, None);
        let name = &series.name;
        assert!(
            (drawn.centre.unwrap().degrees() - series.centre).abs() < 1e-12,
            "{name}"
        );
        assert!((drawn.sigma.unwrap().degrees() - series.sigma).abs() < 1e-12, "{name}");
        assert_eq!(drawn.established, series.differences.len() >= 20, "{name}");
        let word = |rule: Rule| serde_json::to_value(rule).unwrap().as_str().unwrap().to_owned();
        let mut found: Vec<(usize, String)> = drawn.alarms.iter().map(|it| (it.at, word(it.rule))).collect();
        let mut due = series.alarms;
        found.sort();
        due.sort();
        n_alarms += due.len();
        assert_eq!(found, due, "{name}");
    }
    assert!(n_alarms > 20);
}

/// By hand, ISO 13528:2022, 9.7: readings 34.617, 34.619, 34.618 (mean 34.618, standard uncertainty of the mean 0.001/√3),
/// the instrument's 0.002, the plate's 0.002/2: `E_n = 0.006 / (2 √(0.001²/3 + 0.002² + 0.001²)) = 1.2990`.
#[test]
fn a_check_is_scored_as_by_hand() {
    let (_folder, _, mut library) = registered();
    let made = check(&mut library, "plate 1", &[34.617, 34.619, 34.618], NOW).unwrap();
    let by_hand = 0.006 / (2.0 * (1e-6f64 / 3.0 + 4e-6 + 1e-6).sqrt());
    assert!((by_hand - 1.2990).abs() < 5e-5);
    assert!((made.check.e_n.unwrap() - by_hand).abs() < 1e-9);
    assert_eq!(made.check.passes(), Some(false));
    assert!(made.tests.contains("angle only"));
    // At 25 °C the certificate's coefficient moves the expected angle: 34.612 (1 + 5 · 0.000144).
    let mut warm = reading("plate 1", &[34.637]);
    warm.temperature = Some(Temperature::from_celsius(25.0));
    let made = control::check(&mut library, &warm, false, &on(NOW)).unwrap();
    assert!((made.check.expected_deg - 34.612 * 1.000_72).abs() < 1e-9);
    assert_eq!((made.check.passes(), made.id), (Some(true), None));
}

#[test]
fn an_instrument_is_in_control_until_a_check_fails_or_is_overdue() {
    let (_folder, _, mut library) = registered();
    assert_eq!(state(&library, NOW), ControlState::NeverChecked);
    check(&mut library, "plate 1", &[34.612, 34.613], NOW).unwrap();
    assert!(matches!(state(&library, NOW), ControlState::InControl { .. }));
    assert_eq!(state(&library, NOW - Duration::days(1)), ControlState::NeverChecked);
    assert!(matches!(
        state(&library, NOW + Duration::days(30)),
        ControlState::InControl { .. }
    ));
    assert!(matches!(
        state(&library, NOW + Duration::days(31)),
        ControlState::Overdue { every_days: 30, .. }
    ));
    // A failure with one plate is not healed by another plate, but by a repair and the same plate.
    let later = NOW + Duration::days(2);
    check(&mut library, "plate 1", &[34.640, 34.641], later).unwrap();
    check(&mut library, "plate 2", &[34.612, 34.612], later + Duration::hours(1)).unwrap();
    let failed = state(&library, later + Duration::hours(2));
    assert!(matches!(failed, ControlState::OutOfControl { .. }), "{failed:?}");
    assert!(failed.caution("north").unwrap().contains("plate 1"));
    assert!(matches!(
        state(&library, NOW + Duration::days(1)),
        ControlState::InControl { .. }
    ));
    check(&mut library, "plate 1", &[34.612, 34.613], later + Duration::hours(3)).unwrap();
    assert!(matches!(
        state(&library, later + Duration::hours(4)),
        ControlState::InControl { .. }
    ));
}

#[test]
fn a_standard_out_of_use_condemns_no_instrument_for_ever() {
    let (_folder, _, mut library) = registered();
    check(&mut library, "plate 1", &[34.640, 34.641], NOW).unwrap();
    check(&mut library, "plate 2", &[34.612, 34.612], NOW + Duration::hours(1)).unwrap();
    let retired = NOW + Duration::hours(2);
    register::retire(&mut library, EquipmentKind::Standard, "plate 1", &on(retired)).unwrap();
    assert!(matches!(
        state(&library, NOW + Duration::hours(1)),
        ControlState::OutOfControl { .. }
    ));
    assert!(matches!(
        state(&library, NOW + Duration::hours(3)),
        ControlState::InControl { .. }
    ));
}

#[test]
fn what_cannot_be_judged_is_refused_and_nothing_is_kept() {
    let (_folder, _, mut library) = registered();
    let bare = Instrument {
        angle_uncertainty_deg: None,
        ..instrument()
    };
    let uncertified = Standard {
        expanded_uncertainty_deg: None,
        ..plate(None)
    };
    let change = on(NOW);
    register::keep(&mut library, (EquipmentKind::Instrument, "bare"), &bare, false, &change).unwrap();
    register::keep(
        &mut library,
        (EquipmentKind::Standard, "vague"),
        &uncertified,
        false,
        &change,
    )
    .unwrap();
    let mut read = reading("vague", &[34.612]);
    read.instrument = "bare".to_owned();
    let refused = control::check(&mut library, &read, true, &change).unwrap_err();
    assert!(
        matches!(refused, CheckError::Control(ControlError::NoUncertainty { .. })),
        "{refused}"
    );
    for readings in [&[][..], &[34.612, f64::NAN], &[f64::INFINITY]] {
        let refused = check(&mut library, "plate 1", readings, NOW).unwrap_err();
        assert!(matches!(refused, CheckError::NoReading), "{refused}");
    }
    let expired = check(&mut library, "plate 1", &[34.612], datetime!(2027-01-01 09:00 UTC)).unwrap_err();
    assert!(matches!(expired, CheckError::Expired { .. }), "{expired}");
    assert!(check(&mut library, "plate 1", &[34.612], datetime!(2026-12-31 09:00 UTC)).is_ok());
    let unknown = check(&mut library, "plate 3", &[34.612], NOW).unwrap_err();
    assert!(unknown.to_string().contains("plate 1, plate 2"), "{unknown}");
    assert_eq!(library.control_checks(None, None).unwrap().len(), 1);
}

/// A reading of a display with steps of 0.01° is worth 0.01°/√12 (JCGM 100:2008, F.2.2.1) where nothing else is known.
#[test]
fn the_step_of_the_display_is_an_uncertainty() {
    let coarse = Instrument {
        angle_uncertainty_deg: None,
        resolution_deg: Some(0.01),
        ..instrument()
    };
    assert!((coarse.reading_uncertainty().unwrap().degrees() - 0.002_886_75).abs() < 1e-8);
    let both = Instrument {
        resolution_deg: Some(0.01),
        ..instrument()
    };
    assert!((both.reading_uncertainty().unwrap().degrees() - 4e-6f64.mul_add(1.0, 1e-4 / 12.0).sqrt()).abs() < 1e-12);
    let found = biot::instrument::control::found(&[Angle::from_degrees(34.61)], &[], coarse.reading_uncertainty());
    let expected = biot::instrument::control::expected(
        &plate(None),
        &SpectralLine::SodiumD,
        Some(Temperature::from_celsius(20.0)),
        None,
    );
    assert!(e_n(&found.unwrap(), &expected.unwrap()).unwrap().abs() < 1.0);
}

/// The day named is the last one: a loan is late on the day after.
#[test]
fn a_loan_is_late_on_the_day_after_its_last() {
    let (_folder, _, mut library) = registered();
    let past = register::lend(&mut library, "long", "cellar", Some(date!(2026 - 03 - 01)), &on(NOW)).unwrap_err();
    assert!(past.to_string().contains("over already"), "{past}");
    let until = Some(date!(2026 - 03 - 10));
    register::lend(&mut library, "LONG", "third floor", until, &on(NOW)).unwrap();
    let late = |today| -> Vec<bool> {
        let due = control::due(&library, today).unwrap();
        due.iter()
            .filter(|it| it.kind == EquipmentKind::Cell)
            .map(|it| it.overdue)
            .collect()
    };
    assert_eq!(late(date!(2026 - 03 - 10)), [false]);
    assert_eq!(late(date!(2026 - 03 - 11)), [true]);
}

#[test]
fn writers_at_the_same_time_do_not_get_the_same_cell_or_name() {
    let (_folder, path, library) = registered();
    drop(library);
    let at_once = |run: fn(&mut Library, usize) -> Result<(), LibraryError>| -> usize {
        let threads: Vec<_> = (0..6)
            .map(|n| {
                let path = path.clone();
                std::thread::spawn(move || run(&mut Library::open(&path, Access::Write).unwrap(), n))
            })
            .collect();
        let results: Vec<_> = threads.into_iter().map(|thread| thread.join().unwrap()).collect();
        for refused in results.iter().filter_map(|result| result.as_ref().err()) {
            assert!(matches!(refused, LibraryError::Refused(_)), "{refused}");
        }
        results.iter().filter(|result| result.is_ok()).count()
    };
    let lent = at_once(|library, n| register::lend(library, "long", &format!("bench {n}"), None, &on(NOW)).map(|_| ()));
    assert_eq!(lent, 1);
    let added = at_once(|library, n| {
        let name = if n % 2 == 0 { "Short" } else { "short" };
        register::keep(library, (EquipmentKind::Cell, name), &cell(), false, &on(NOW)).map(|_| ())
    });
    assert_eq!(added, 1);
    let library = Library::open(&path, Access::Read).unwrap();
    assert!(library.check_history().unwrap().is_sound());
    assert!(library.check_integrity().unwrap().is_empty());
}

fn tamper(path: &Path, sql: &str) -> usize {
    rusqlite::Connection::open(path).unwrap().execute(sql, []).unwrap()
}

/// A check, a loan or a certificate that somebody mends in the file itself no longer is what the history says.
#[test]
fn mending_a_check_in_the_file_shows() {
    for sql in [
        "UPDATE control_check SET content = json_set(content, '$.found_deg', 34.612)",
        "UPDATE control_check SET at = '2026-04-01T09:00:00Z'",
        "UPDATE control_check SET struck_at = '2026-04-01T09:00:00Z'",
        "DELETE FROM control_check",
        "UPDATE equipment SET content = json_set(content, '$.certified_deg', 34.64) WHERE name = 'plate 1'",
        "UPDATE equipment SET retired_at = '2026-04-01T09:00:00Z' WHERE name = 'plate 2'",
        "UPDATE loan SET borrower = 'nobody'",
        "UPDATE loan SET back_on = '2026-03-02'",
        "DELETE FROM loan",
        "INSERT INTO loan (uid, equipment, borrower, lent_on) SELECT 'x', id, 'nobody', '2026-01-01' FROM equipment \
         WHERE name = 'plate 1'",
    ] {
        let (_folder, path, mut library) = registered();
        check(&mut library, "plate 1", &[34.640, 34.641], NOW).unwrap();
        register::lend(&mut library, "long", "third floor", None, &on(NOW)).unwrap();
        let mut better = instrument();
        better.resolution_deg = Some(0.001);
        register::keep(
            &mut library,
            (EquipmentKind::Instrument, "north"),
            &better,
            true,
            &on(NOW),
        )
        .unwrap();
        assert!(library.check_history().unwrap().is_sound());
        assert_eq!(tamper(&path, sql), 1, "{sql}");
        let found = library.check_history().unwrap();
        assert_eq!(found.changed_outside.len(), 1, "{sql}: {found:?}");
    }
}
