//! The register of shared equipment and the checks against control standards, on a library of their own. All names are
//! invented.

use biot::instrument::chart::Rule;
use biot::instrument::control::NoVerdict;
use biot::instrument::register::{Cell, Instrument, Standard, StandardKind};
use biot::library::{Access, Change, EquipmentKind, Library, LibraryError, NewMeasurement};
use biot::quantity::{Angle, SpecificRotation, SpectralLine, Temperature};
use biot::tasks::control::{self, CheckError, ControlState, ReadingOfStandard};
use biot::tasks::register;
use biot::tasks::use_log::{self, LogFilter, Use};
use tempfile::TempDir;
use time::macros::datetime;
use time::{Duration, OffsetDateTime};

const START: OffsetDateTime = datetime!(2026-01-05 09:00 UTC);

fn at(days: i64) -> Change {
    Change {
        who: "keeper".to_owned(),
        why: "test".to_owned(),
        at: START + Duration::days(days),
    }
}

fn library() -> (TempDir, Library) {
    let folder = TempDir::new().unwrap();
    let path = folder.path().join("library.biot");
    Library::create(&path, &at(0)).unwrap();
    let mut library = Library::open(&path, Access::Write).unwrap();
    let instrument = Instrument {
        angle_uncertainty_deg: Some(0.002),
        check_every_days: Some(30),
        ..Instrument::default()
    };
    register::keep(
        &mut library,
        (EquipmentKind::Instrument, "north"),
        &instrument,
        false,
        &at(0),
    )
    .unwrap();
    let plate = Standard {
        kind: StandardKind::QuartzPlate,
        certified_deg: Some(34.612),
        expanded_uncertainty_deg: Some(0.002),
        temperature_c: 20.0,
        line: SpectralLine::SodiumD,
        coefficient_per_kelvin: Some(0.000_144),
        concentration_g_per_100ml: None,
        cell_mm: None,
        due_on: Some("2026-12-31".to_owned()),
        note: None,
    };
    register::keep(&mut library, (EquipmentKind::Standard, "plate"), &plate, false, &at(0)).unwrap();
    let cell = Cell {
        length_mm: 100.02,
        length_uncertainty_mm: None,
        volume_ml: None,
        jacketed: false,
        windows: None,
        seals: None,
        note: None,
    };
    register::keep(&mut library, (EquipmentKind::Cell, "long"), &cell, false, &at(0)).unwrap();
    (folder, library)
}

fn read(degrees: f64) -> ReadingOfStandard {
    ReadingOfStandard {
        instrument: "north".to_owned(),
        standard: "plate".to_owned(),
        readings: vec![Angle::from_degrees(degrees)],
        blank: Vec::new(),
        line: None,
        temperature: Some(Temperature::from_celsius(20.0)),
        cell: None,
        at: None,
    }
}

#[test]
fn a_check_is_kept_and_tells_the_state_of_the_instrument() {
    let (_folder, mut library) = library();
    let instrument = register::instrument(&library, "North").unwrap().0;
    let state = |library: &Library, days| control::state_at(library, instrument.id, at(days).at).unwrap();
    assert_eq!(state(&library, 1), ControlState::NeverChecked);
    // (34.613 − 34.612) / √(0.004² + 0.002²) = 0.22 (ISO 13528:2022, 9.7, by hand).
    let made = control::check(&mut library, &read(34.613), true, &at(2)).unwrap();
    assert!((made.check.e_n.unwrap() - 0.2236).abs() < 1e-3);
    assert_eq!(made.check.passes(), Some(true));
    assert_eq!(state(&library, 1), ControlState::NeverChecked, "not before it was made");
    assert!(matches!(state(&library, 3), ControlState::InControl { .. }));
    assert!(matches!(
        state(&library, 40),
        ControlState::Overdue { every_days: 30, .. }
    ));
    let made = control::check(&mut library, &read(34.63), true, &at(41)).unwrap();
    assert_eq!(made.check.passes(), Some(false));
    assert!(state(&library, 42).caution("north").unwrap().contains("out of control"));
    // Struck out with a reason, the check before counts again, and is overdue.
    library.strike_control_check(made.id.unwrap(), &at(43)).unwrap();
    assert!(matches!(state(&library, 43), ControlState::Overdue { .. }));
    assert!(library.check_history().unwrap().is_sound());
}

#[test]
fn a_plate_out_of_date_tests_nothing() {
    let (_folder, mut library) = library();
    let late = control::check(&mut library, &read(34.612), true, &at(400));
    assert!(matches!(late, Err(CheckError::Expired { .. })), "{late:?}");
    let mut future = read(34.612);
    future.at = Some(at(10).at);
    assert!(matches!(
        control::check(&mut library, &future, true, &at(5)),
        Err(CheckError::InFuture(_))
    ));
    let mut none = read(34.612);
    none.readings.clear();
    assert!(matches!(
        control::check(&mut library, &none, true, &at(5)),
        Err(CheckError::NoReading)
    ));
    assert!(library.control_checks(None, None).unwrap().is_empty());
}

/// Twenty calm checks, then eight on one side, each within E_n = 1: the run of eight is the alarm.
#[test]
fn a_drift_shows_in_the_chart_before_a_check_fails() {
    let (_folder, mut library) = library();
    let wobble = [
        0.0, 0.0006, -0.0004, 0.0003, -0.0006, 0.0002, 0.0004, -0.0003, 0.0005, -0.0005,
    ];
    for day in 1..=20 {
        let off = wobble[usize::try_from(day).unwrap() % wobble.len()];
        let made = control::check(&mut library, &read(34.612 + off), true, &at(day)).unwrap();
        assert!(made.alarms.is_empty() && !made.is_out_of_control(), "{day}");
    }
    let mut made = Vec::new();
    for day in 21..=28 {
        made.push(control::check(&mut library, &read(34.6124), true, &at(day)).unwrap());
    }
    assert!(made.iter().all(|it| it.check.passes() == Some(true)));
    let (last, before) = made.split_last().unwrap();
    assert!(before.iter().all(|it| !it.is_out_of_control()));
    assert_eq!(last.alarms, [Rule::OneSide]);
    assert!(last.is_out_of_control());
    let chart = control::chart_of(&library, "north", "plate").unwrap();
    assert_eq!(chart.checks.len(), 28);
    assert!(chart.is_out_of_control() && chart.rules_at(27) == [Rule::OneSide]);
    let north = register::instrument(&library, "north").unwrap().0;
    let state = control::state_at(&library, north.id, at(29).at).unwrap();
    assert!(matches!(state, ControlState::OutOfControl { .. }), "{state:?}");
}

/// Seven calm checks and one beyond their limits but within E_n = 1: a warning that says how little it rests on.
#[test]
fn limits_from_few_checks_warn_and_do_not_condemn() {
    let (_folder, mut library) = library();
    let north = register::instrument(&library, "north").unwrap().0;
    for day in 1..=14 {
        let off = if day % 2 == 0 { 0.0001 } else { -0.0001 };
        control::check(&mut library, &read(34.612 + off), true, &at(day)).unwrap();
    }
    let made = control::check(&mut library, &read(34.6155), true, &at(15)).unwrap();
    assert_eq!(made.check.passes(), Some(true), "{:?}", made.check.e_n);
    assert_eq!(made.alarms, [Rule::BeyondLimits]);
    assert!(!made.chart.established && !made.is_out_of_control());
    let state = control::state_at(&library, north.id, at(16).at).unwrap();
    let caution = state.caution("north").unwrap();
    assert!(matches!(state, ControlState::Warning { .. }), "{state:?}");
    assert!(
        caution.contains("provisional") && caution.contains("15 checks"),
        "{caution}"
    );
    // The certificate still condemns: 34.63 has E_n = 0.018/0.00447 = 4.
    let failed = control::check(&mut library, &read(34.63), true, &at(17)).unwrap();
    assert!(failed.is_out_of_control());
}

/// A sucrose solution with a certificate but no coefficient: at 20 °C there is a verdict, at 23 °C there is none, whatever it
/// reads; such a check neither counts as one nor heals a failure, and has no place in the chart.
#[test]
fn a_check_without_a_verdict_neither_condemns_nor_heals() {
    let (_folder, mut library) = library();
    let north = register::instrument(&library, "north").unwrap().0;
    let solution = Standard {
        kind: StandardKind::Sucrose,
        certified_deg: Some(34.6),
        expanded_uncertainty_deg: Some(0.01),
        temperature_c: 20.0,
        line: SpectralLine::SodiumD,
        coefficient_per_kelvin: None,
        concentration_g_per_100ml: Some(26.0),
        cell_mm: Some(200.0),
        due_on: None,
        note: None,
    };
    let named = (EquipmentKind::Standard, "sugar");
    register::keep(&mut library, named, &solution, false, &at(0)).unwrap();
    let at_celsius = |celsius: Option<f64>, degrees: f64| ReadingOfStandard {
        standard: "sugar".to_owned(),
        temperature: celsius.map(Temperature::from_celsius),
        ..read(degrees)
    };
    let warm = control::check(&mut library, &at_celsius(Some(23.0), 34.2), true, &at(1)).unwrap();
    assert_eq!(warm.check.no_verdict, Some(NoVerdict::TemperatureLawNotSourced));
    assert_eq!((warm.check.passes(), warm.check.e_n), (None, None));
    assert!(warm.check.difference().degrees() < -0.3 && !warm.is_out_of_control());
    let unread = control::check(&mut library, &at_celsius(None, 34.6), true, &at(1)).unwrap();
    assert_eq!(unread.check.no_verdict, Some(NoVerdict::TemperatureNotRead));
    let state = |library: &Library, days| control::state_at(library, north.id, at(days).at).unwrap();
    assert_eq!(state(&library, 2), ControlState::NeverChecked);
    assert_eq!(control::due(&library, at(2).at.date()).unwrap()[0].due_on, None);
    let cold = control::check(&mut library, &at_celsius(Some(20.0), 34.2), true, &at(3)).unwrap();
    assert_eq!(cold.check.passes(), Some(false));
    control::check(&mut library, &at_celsius(Some(23.0), 34.55), true, &at(4)).unwrap();
    assert!(matches!(state(&library, 5), ControlState::OutOfControl { .. }));
    let chart = control::chart_of(&library, "north", "sugar").unwrap();
    assert_eq!((chart.checks.len(), chart.charted.len()), (4, 1));
    assert!(!chart.is_out_of_control(), "the newest check says nothing");
    // With the certificate's coefficient the same readings have a verdict: 34.6 (1 − 3 · 0.00047) = 34.5512.
    let own = Standard {
        coefficient_per_kelvin: Some(-0.000_47),
        ..solution
    };
    register::keep(&mut library, named, &own, true, &at(6)).unwrap();
    let warm = control::check(&mut library, &at_celsius(Some(23.0), 34.551), true, &at(6)).unwrap();
    assert!((warm.check.expected_deg - 34.551_214).abs() < 1e-6);
    assert_eq!(warm.check.passes(), Some(true));
}

#[test]
fn loans_and_names_are_unambiguous() {
    let (_folder, mut library) = library();
    let again = register::keep(
        &mut library,
        (EquipmentKind::Instrument, "NORTH"),
        &Instrument::default(),
        false,
        &at(1),
    );
    assert!(matches!(again, Err(LibraryError::Refused(_))));
    let until = Some((START + Duration::days(20)).date());
    let (cell, loan) = register::lend(&mut library, "long", "third floor", until, &at(1)).unwrap();
    assert_eq!(loan.due_on.as_deref(), Some("2026-01-25"));
    assert!(register::lend(&mut library, "long", "attic", None, &at(2)).is_err());
    assert!(register::retire(&mut library, EquipmentKind::Cell, "long", &at(2)).is_err());
    let due = control::due(&library, (START + Duration::days(30)).date()).unwrap();
    let back = due.iter().find(|it| it.kind == EquipmentKind::Cell).unwrap();
    assert!(back.overdue && back.what.contains("third floor"));
    assert!(
        due.iter()
            .any(|it| it.kind == EquipmentKind::Instrument && it.due_on.is_none())
    );
    register::take_back(&mut library, "long", &at(3)).unwrap();
    assert!(library.open_loan(cell.id).unwrap().is_none());
    register::retire(&mut library, EquipmentKind::Cell, "long", &at(4)).unwrap();
    assert!(register::cell(&library, "long").is_err());
    assert!(library.check_history().unwrap().is_sound());
}

#[test]
fn two_people_changing_one_record_lose_nothing() {
    let (_folder, mut library) = library();
    let seen = register::instrument(&library, "north").unwrap().0;
    library
        .change_equipment(seen.id, seen.revision, &seen.content, &at(1))
        .unwrap();
    let late = library.change_equipment(seen.id, seen.revision, &seen.content, &at(2));
    assert!(matches!(late, Err(LibraryError::Refused(text)) if text.contains("somebody else")));
}

/// A preset fills in what is not given, and a solvent that attacks a cell is pointed out (chloroform swells nitrile seals:
/// common practice); what was kept stands in the use log by month and operator.
#[test]
fn a_preset_fills_in_a_measurement_and_the_log_counts_it() {
    let folder = TempDir::new().unwrap();
    let path = folder.path().join("library.biot");
    let run = |arguments: &[&str]| {
        let output = std::process::Command::new(env!("CARGO_BIN_EXE_biot"))
            .args(["--json", "--quiet", "--library", path.to_str().unwrap()])
            .args(arguments)
            .output()
            .unwrap();
        let json: serde_json::Value = serde_json::from_slice(&output.stdout).unwrap_or_default();
        (output.status.code(), json)
    };
    let registered = [
        vec!["register", "instrument", "north", "--angle-uncertainty", "0.002"],
        vec![
            "register",
            "cell",
            "long",
            "--length",
            "100.02 mm",
            "--seals",
            "nitrile",
        ],
        vec![
            "register",
            "preset",
            "routine",
            "--line",
            "D",
            "--temp",
            "20",
            "--readings",
            "5",
            "--settle",
            "0.01",
            "--instrument",
            "north",
            "--cell",
            "long",
        ],
    ];
    for arguments in &registered {
        assert_eq!(run(arguments).0, Some(0), "{arguments:?}");
    }
    assert_eq!(run(&["register", "lend", "long", "--to", "third floor"]).0, Some(0));
    let (code, answer) = run(&[
        "reduce",
        "--preset",
        "routine",
        "--angle=-0.482",
        "--angle=-0.480",
        "--angle=-0.51",
        "--conc",
        "1",
        "--solvent",
        "CHCl3",
        "--sample",
        "S1",
        "--keep",
        "--by",
        "AB",
    ]);
    assert_eq!(code, Some(0), "{answer}");
    let text = answer.to_string();
    for flag in [
        "preset-readings",
        "not-settled",
        "cell-material",
        "cell-lent",
        "instrument-control",
    ] {
        assert!(text.contains(flag), "{flag}: {text}");
    }
    let csv = folder.path().join("log.csv");
    let (code, log) = run(&["log", "--output", csv.to_str().unwrap()]);
    assert_eq!(code, Some(0));
    assert_eq!(log["summary"][0]["operator"], "AB");
    assert_eq!(log["summary"][0]["instrument"], "north");
    assert_eq!(log["summary"][0]["measurements"], 1);
    assert_eq!(std::fs::read_to_string(&csv).unwrap().lines().count(), 2);
}

/// What happened within one second stands in the log as it was entered, whatever the numbers are.
#[test]
fn the_log_keeps_the_order_of_entry_within_a_second() {
    let (_folder, mut library) = library();
    let instrument = register::instrument(&library, "north").unwrap().0;
    control::check(&mut library, &read(34.612), true, &at(1)).unwrap();
    control::check(&mut library, &read(34.613), true, &at(1)).unwrap();
    let measured = NewMeasurement {
        operator: "AB".to_owned(),
        sample: "S1".to_owned(),
        compound: None,
        instrument: Some(instrument.id),
        cell: None,
        supersedes: None,
        value: SpecificRotation::from_conventional(12.0),
        uncertainty: SpecificRotation::from_conventional(0.1),
        degrees_of_freedom: None,
        concentration: None,
        content: serde_json::json!({}),
        readings: Vec::new(),
    };
    library.add_measurements(&[measured], &at(1)).unwrap();
    control::check(&mut library, &read(34.611), true, &at(1)).unwrap();
    let lines = use_log::lines(&library, &LogFilter::default()).unwrap();
    let order: Vec<_> = lines.iter().map(|line| (line.what, line.number)).collect();
    assert_eq!(
        order,
        [(Use::Check, 1), (Use::Check, 2), (Use::Measurement, 1), (Use::Check, 3)]
    );
}
