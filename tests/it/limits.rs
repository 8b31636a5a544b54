//! The limits of the starter library: every row of `spec_ranges.csv` is held against a measurement made as its method
//! says.

use biot::compare::Conditions;
use biot::compare::limits::{Basis, Guard, LimitOutcome, ReadingTime, Sample, Side, Standing};
use biot::library::{Access, Entry, EntryKind, Library};
use biot::quantity::{Length, Printed};
use biot::statement::RotationKind;
use biot::tasks::care;
use biot::tasks::limits::{
    AID, LimitsRequest, MonographAnswer, Reading, batch_limits, limits, read_batches, with_reading,
};
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

fn specifications(library: &Library) -> Vec<Entry> {
    let mut found = Vec::new();
    library
        .for_each_entry(|entry| {
            if entry.kind == EntryKind::Specification {
                found.push(entry);
            }
            Ok(())
        })
        .unwrap();
    found
}

/// A sample measured as the method of a specification says, that reads `value` once the method's factor is divided by.
fn as_prescribed(entry: &Entry, value: f64) -> Sample {
    let statement = &entry.statement;
    let factor = entry
        .method
        .as_ref()
        .and_then(|method| method.divide_by)
        .map_or(1.0, Printed::value);
    let sample = Sample {
        conditions: Conditions {
            basis: None,
            ..Conditions::of(statement, None)
        },
        cell: statement.path.or(Some(Length::from_millimetres(100.0))),
        basis: statement.basis.as_deref().and_then(Basis::read),
        read_after_minutes: statement
            .time_note
            .as_deref()
            .and_then(ReadingTime::read)
            .map(|time| match time {
                ReadingTime::Within(minutes) | ReadingTime::After(minutes) => minutes,
            }),
        ..Sample::default()
    };
    let reading = match statement.kind {
        RotationKind::Observed => Reading::Angle(biot::quantity::Angle::from_degrees(value)),
        _ => Reading::Value(Printed::new(value * factor, 6)),
    };
    with_reading(sample, reading, Some(1e-4), None)
}

fn answer(library: &Library, entry: &Entry, sample: Sample) -> MonographAnswer {
    let request = LimitsRequest {
        compound: entry.compound,
        sample,
        guard: Some(Guard::Probability(0.95)),
    };
    let result = limits(library, &request).unwrap();
    assert_eq!(result.caution, AID);
    result
        .monographs
        .into_iter()
        .find(|monograph| monograph.limits.entry == entry.id.0)
        .unwrap()
}

/// All 71 rows: 69 decide, and the two that do not say why.
#[test]
fn every_row_of_the_starter_limits_is_handled_or_says_why_not() {
    let library = starter();
    let entries = specifications(&library);
    assert_eq!(entries.len(), 71);
    let mut undecided = Vec::new();
    for entry in &entries {
        let name = entry.substance.clone().unwrap();
        let ends = [entry.statement.low, entry.statement.high].map(|end| end.map(Printed::value));
        let (inside, beyond) = match ends {
            [Some(low), Some(high)] => (f64::midpoint(low, high), vec![2.0 * low - high, 2.0 * high - low]),
            [Some(low), None] => (low + 1.0, vec![low - 1.0]),
            other => panic!("{name}: {other:?}"),
        };
        let good = answer(&library, entry, as_prescribed(entry, inside));
        let bad: Vec<MonographAnswer> = beyond
            .iter()
            .map(|&value| answer(&library, entry, as_prescribed(entry, value)))
            .collect();
        assert_eq!(good.side, Some(Side::Inside), "{name}");
        assert!(good.conformity.unwrap().probability > 0.999, "{name}");
        for bad in &bad {
            assert_ne!(bad.side, Some(Side::Inside), "{name}");
            assert!(bad.conformity.unwrap().probability < 0.001, "{name}");
        }
        if good.outcome == LimitOutcome::NotDecided {
            assert!(good.guarded.is_none() && !good.reasons.is_empty(), "{name}");
            undecided.push((name, good.reasons.join(" ")));
        } else {
            assert_eq!(good.outcome, LimitOutcome::Inside, "{name}: {:?}", good.reasons);
            assert!(bad.iter().all(|bad| bad.outcome == LimitOutcome::Outside), "{name}");
            assert!(
                good.method.iter().all(|check| check.standing != Standing::Close),
                "{name}: {:?}",
                good.method
            );
        }
    }
    undecided.sort();
    let names: Vec<&str> = undecided.iter().map(|(name, _)| name.as_str()).collect();
    assert_eq!(names, ["L-lysine acetate", "levodopa (observed angle)"]);
    assert!(
        undecided[0].1.contains("memory") && undecided[1].1.contains("tube"),
        "{undecided:?}"
    );
}

fn compound(library: &Library, name: &str) -> biot::library::CompoundId {
    match resolve(library, name).unwrap() {
        Resolution::One(found) => found.compound.id,
        _ => panic!("{name}"),
    }
}

/// Testosterone has two monographs: 101 to 105 (25 °C, dioxane) and 106 to 114 (20 °C).
#[test]
fn several_monographs_are_all_answered() {
    let library = starter();
    let id = compound(&library, "testosterone");
    let sample = with_reading(Sample::default(), Reading::Value(Printed::new(110.0, 0)), None, None);
    let result = limits(
        &library,
        &LimitsRequest {
            compound: id,
            sample,
            guard: None,
        },
    )
    .unwrap();
    let outcomes: Vec<LimitOutcome> = result.monographs.iter().map(|it| it.outcome).collect();
    assert_eq!(outcomes.len(), 2);
    assert!(outcomes.contains(&LimitOutcome::Inside) && outcomes.contains(&LimitOutcome::Outside));
    // What was not given is a proviso of every answer.
    assert!(
        result
            .monographs
            .iter()
            .all(|it| it.provided.iter().any(|it| it.starts_with("temperature")))
    );
}

/// Dextrose, 52.6 to 53.2 on the anhydrous basis: 48.1/(1 − 0.090) = 52.857.
#[test]
fn batches_are_brought_to_the_basis_and_refused_rows_say_why() {
    let library = starter();
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("lots.csv");
    std::fs::write(
        &file,
        "lot;date;value;uncertainty;water\nA;2026-01-10;48,1;0,1;9,0\nB;2026-02-11;47,0;0,1;9,0\nC;;x;0,1;9,0\nD;;48.1;-1;9\n\
         E;;48.1;0.1;100\n",
    )
    .unwrap();
    let (batches, refused) = read_batches(&file, &Sample::default()).unwrap();
    assert_eq!((batches.len(), refused.len()), (2, 3));
    assert_eq!(refused.iter().map(|row| row.line).collect::<Vec<_>>(), [4, 5, 6]);
    let result = batch_limits(&library, compound(&library, "dextrose"), &batches, refused, None).unwrap();
    let series = &result.monographs[0];
    assert!((series.batches[0].value.unwrap() - 48.1 / 0.91).abs() < 1e-9);
    assert_eq!(series.batches[0].rounded.as_deref(), Some("52.9"));
    assert_eq!(series.counts, [1, 1, 0]);
    assert_eq!(series.trend.unwrap().n, 2);
    // A file without values is refused as a whole.
    std::fs::write(&file, "lot,date\nA,2026-01-10\n").unwrap();
    assert!(read_batches(&file, &Sample::default()).is_err());
}

/// Every row of the starter limits by the name it prints and by that before its bracket, through the program: the answer
/// holds the row's own limits, or the candidates hold its compound.
#[test]
fn every_printed_name_leads_to_its_limits() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("starter.biot");
    care::open_or_create(&file, Access::Read, &mut |_| {}).unwrap();
    let library = Library::open(&file, Access::Read).unwrap();
    let entries = specifications(&library);
    assert_eq!(entries.len(), 71);
    let mut ambiguous = Vec::new();
    for entry in &entries {
        let printed = entry.substance.clone().unwrap();
        let plain = printed
            .split_once(" (")
            .map_or(printed.clone(), |(plain, _)| plain.to_owned());
        let end = entry.statement.low.or(entry.statement.high).unwrap();
        let reading = match entry.statement.kind {
            RotationKind::Observed => "--angle",
            _ => "--value",
        };
        for name in [&printed, &plain] {
            let run = std::process::Command::new(env!("CARGO_BIN_EXE_biot"))
                .env_clear()
                .args(["limits", name, &format!("{reading}={end}"), "--json", "--library"])
                .arg(&file)
                .output()
                .unwrap();
            let json: serde_json::Value = serde_json::from_slice(&run.stdout).unwrap();
            match run.status.code() {
                Some(0) => {
                    let monographs = json["monographs"].as_array().unwrap();
                    let own = monographs.iter().any(|it| it["limits"]["entry"] == entry.id.0);
                    assert!(own, "{name}: {json}");
                }
                Some(3) => {
                    let candidates = json["error"]["candidates"].as_array().unwrap();
                    let own = candidates.iter().any(|it| it["compound"] == entry.compound.0);
                    assert!(own, "{name}: {json}");
                    ambiguous.push(name.clone());
                }
                other => panic!("{name}: {other:?} {json}"),
            }
        }
    }
    ambiguous.sort();
    ambiguous.dedup();
    // Names of families: both hands, or several stereoisomers, bear them.
    let families = [
        "arginine",
        "asparagine",
        "ephedrine hydrochloride",
        "ephedrine sulfate",
        "mannitol",
        "sorbitol",
    ];
    assert_eq!(ambiguous, families);
}
