//! The reader against labelled strings, and the writer against the reader.
//!
//! `rotation_strings_dev.jsonl`: free-text annotations of PubChem (largely the Hazardous Substances Data Bank, U.S.
//! National Library of Medicine) as collected in the open data set pyrfume-data (MIT licence). `journal_dev.jsonl`: short
//! statements from open-access articles, patents, public-domain books and data sheets, named per item. `notation_forms.jsonl`
//! and `notation_invented.jsonl`: our own examples of printed forms (common practice; the values are invented). All are labelled by reading, not by this program.

use biot::notation::{Found, ReadStatement, Style, read, write};
use biot::quantity::{ConcentrationUnit, Length, Printed, SpectralLine};
use biot::solvent::Solvent;
use biot::statement::{PrintedConcentration, RotationKind, Sign, Stage, StatedExcess, StatedTemperature, Statement};
use proptest::prelude::*;
use serde_json::Value;

/// What a labelled file must score; the figures are those reached, so that nothing gets worse unnoticed.
struct Bar {
    file: &'static str,
    /// Least share of statements right in value, sign, temperature, light and solvent.
    right: f64,
    /// Largest share of right, unsuspicious statements that carry a doubt.
    doubted: f64,
}

const CORE: [&str; 12] = [
    "value",
    "low",
    "high",
    "sign_stated",
    "sign_ambiguous",
    "temperature_c",
    "temperature_low",
    "temperature_high",
    "temperature_note",
    "wavelength_nm",
    "line",
    "solvent",
];

fn agree(label: &Value, found: &Value, keys: &[&str]) -> bool {
    keys.iter().all(|key| match (label.get(key), found.get(key)) {
        (Some(a), Some(b)) => match (a.as_f64(), b.as_f64()) {
            (Some(a), Some(b)) => (a - b).abs() <= 1e-6 * a.abs().max(1.0),
            _ => a == b,
        },
        (a, b) => a.is_none() && b.is_none(),
    })
}

#[test]
fn labelled_strings_are_read_right() {
    for bar in [
        Bar {
            file: include_str!("../data/rotation_strings_dev.jsonl"),
            right: 0.995,
            doubted: 0.02,
        },
        Bar {
            file: include_str!("../data/journal_dev.jsonl"),
            right: 0.99,
            doubted: 0.02,
        },
        Bar {
            file: include_str!("../data/notation_invented.jsonl"),
            right: 0.99,
            doubted: 0.02,
        },
        Bar {
            file: include_str!("../data/notation_forms.jsonl"),
            right: 0.995,
            doubted: 0.05,
        },
    ] {
        let mut labelled = 0;
        let mut right = 0;
        let mut sound = 0;
        let mut sound_doubted = 0;
        for line in bar.file.lines() {
            let item: Value = serde_json::from_str(line).unwrap();
            let text = item["text"].as_str().unwrap();
            let found: Vec<Value> = read(text)
                .iter()
                .map(|found| serde_json::to_value(ReadStatement::from(found)).unwrap())
                .collect();
            let labels = item["rotations"].as_array().unwrap();
            labelled += labels.len();
            if item["distractor"] == Value::Bool(true) {
                assert!(found.is_empty(), "a statement was found in {text}: {found:?}");
            }
            let mut next = 0;
            for found in &found {
                let doubted = found["doubts"].as_array().is_some_and(|doubts| !doubts.is_empty());
                match labels[next..].iter().position(|label| agree(label, found, &CORE[..5])) {
                    Some(skipped) => {
                        let label = &labels[next + skipped];
                        next += skipped + 1;
                        if agree(label, found, &CORE) {
                            right += 1;
                            if label.get("suspect").is_none() {
                                sound += 1;
                                sound_doubted += usize::from(doubted);
                            }
                        }
                    }
                    None => assert!(doubted, "wrong in value or sign without a doubt in {text}: {found}"),
                }
            }
        }
        assert!(
            f64::from(right) >= bar.right * labelled as f64,
            "{right} of {labelled} right"
        );
        assert!(
            sound_doubted as f64 <= bar.doubted * f64::from(sound),
            "{sound_doubted} of {sound} doubted"
        );
    }
}

#[test]
fn spans_are_bytes_of_the_text_that_was_read() {
    let text = "Öl; [α]D20 −12.3 (c 1.00, CHCl3). Später [α]<sub>D</sub> +5°.";
    let spans: Vec<&str> = read(text).iter().map(|found| &text[found.start..found.end]).collect();
    assert_eq!(spans, ["[α]D20 −12.3 (c 1.00, CHCl3)", "[α]<sub>D</sub> +5°"]);
}

/// What the notation prints of a statement.
fn printed_part(statement: &Statement) -> Statement {
    Statement {
        as_printed: String::new(),
        doubts: Vec::new(),
        ..statement.clone()
    }
}

fn number(range: std::ops::Range<f64>) -> impl Strategy<Value = Printed> {
    (range, 0u8..4).prop_map(|(value, decimals)| {
        let scale = 10f64.powi(i32::from(decimals));
        Printed::new((value * scale).round() / scale + 0.0, decimals)
    })
}

fn above_zero(range: std::ops::Range<f64>) -> impl Strategy<Value = Printed> {
    number(range).prop_filter("above zero", |printed| printed.value() > 0.0)
}

fn solvents() -> impl Strategy<Value = Option<Solvent>> {
    let names = [
        "H2O",
        "D2O",
        "MeOH",
        "EtOH",
        "EtOH 95%",
        "iPrOH",
        "CHCl3",
        "CDCl3",
        "CH2Cl2",
        "CCl4",
        "acetone",
        "Et2O",
        "EtOAc",
        "THF",
        "dioxane",
        "MeCN",
        "DMF",
        "DMSO",
        "pyridine",
        "benzene",
        "toluene",
        "hexane",
        "cyclohexane",
        "AcOH",
        "TFA",
        "formic acid",
        "neat",
        "HCl 1 N aq",
        "HCl dilute aq",
        "HCl aq",
        "HCl 0.1 N in EtOH",
        "MeOH/H2O 1:1",
        "MeOH 50% aq",
        "CHCl3/MeOH",
        "isooctane",
        "NaOH 0.05 N aq",
        "pH 7 buffer",
        "1,2-dichloroethane",
    ];
    proptest::option::weighted(0.8, proptest::sample::select(names.to_vec()))
        .prop_map(|name| name.map(|name| Solvent::parse(name).expect("a canonical id")))
}

fn lines() -> impl Strategy<Value = Option<SpectralLine>> {
    prop_oneof![
        3 => Just(Some(SpectralLine::SodiumD)),
        1 => Just(None),
        1 => (180u32..2500).prop_map(|nm| Some(SpectralLine::at_nanometres(f64::from(nm)).expect("a wavelength"))),
        1 => Just(Some(SpectralLine::at_nanometres(546.1).expect("a wavelength"))),
        1 => Just(Some(SpectralLine::Named("Hg".to_owned()))),
    ]
}

fn temperatures() -> impl Strategy<Value = Option<StatedTemperature>> {
    prop_oneof![
        3 => (0u8..100).prop_map(|t| Some(StatedTemperature::At(Printed::new(f64::from(t), 0)))),
        1 => (0u16..600).prop_map(|t| Some(StatedTemperature::At(Printed::new(f64::from(t) / 10.0, 1)))),
        1 => (5u8..20).prop_map(|t| Some(StatedTemperature::At(Printed::new(-f64::from(t), 0)))),
        1 => (15u8..20, 21u8..30).prop_map(|(a, b)| Some(StatedTemperature::Range(
            Printed::new(f64::from(a), 0), Printed::new(f64::from(b), 0)))),
        1 => Just(Some(StatedTemperature::Words("room".to_owned()))),
        2 => Just(None),
    ]
}

fn concentrations() -> impl Strategy<Value = Option<PrintedConcentration>> {
    let unit = proptest::sample::select(ConcentrationUnit::ALL.to_vec());
    let one = (
        above_zero(0.001..30.0),
        proptest::option::weighted(0.2, above_zero(30.0..60.0)),
        unit,
    )
        .prop_map(|(low, high, unit)| PrintedConcentration {
            low,
            high,
            unit,
            unit_printed: true,
        });
    proptest::option::weighted(0.8, one)
}

prop_compose! {
    fn statements()(
        kind in proptest::sample::select(vec![RotationKind::Specific, RotationKind::Observed, RotationKind::Molar]),
        a in number(-2000.0..2000.0),
        b in above_zero(0.5..50.0),
        shape in 0u8..5,
        plus_minus in proptest::option::weighted(0.2, above_zero(0.1..9.0)),
        sign in proptest::sample::select(vec![Sign::Stated, Sign::Stated, Sign::NotStated, Sign::Ambiguous]),
        approx in proptest::bool::weighted(0.1),
        temperature in temperatures(),
        line in lines(),
        solvent in solvents(),
        concentration in concentrations(),
        path in proptest::option::weighted(0.2, 10u16..300),
        rest in (proptest::option::weighted(0.2, above_zero(50.0..100.0)), proptest::bool::ANY, 0u8..8),
    ) -> Statement {
        let (ee, at_least, extra) = rest;
        let mut statement = Statement {
            kind, sign, approx, temperature, line, solvent, concentration,
            path: path.map(|mm| Length::from_millimetres(f64::from(mm))),
            ee: ee.map(|percent| StatedExcess { percent, at_least, method: None }),
            ..Statement::default()
        };
        match extra {
            0 => statement.stage = Some(Stage::Initial),
            1 => statement.stage = Some(Stage::Final),
            2 => statement.basis = Some("dried".to_owned()),
            3 => statement.basis = Some("anhydrous".to_owned()),
            4 => statement.time_note = Some("24 h".to_owned()),
            _ => {}
        }
        // A solvent that contradicts a concentration is not printed so.
        if statement.solvent == Some(Solvent::Neat) {
            statement.concentration = None;
        }
        let a = if sign == Sign::Stated { a } else { Printed::new(a.value().abs(), a.decimals()) };
        let decimals = a.decimals().max(b.decimals());
        let upper: Printed = format!("{:.*}", usize::from(decimals), a.value() + b.value()).parse().expect("digits");
        match shape {
            0 if sign != Sign::Ambiguous => {
                statement.low = Some(a);
                statement.high = Some(upper);
            }
            1 if sign == Sign::Stated => statement.low = Some(a),
            2 if sign == Sign::Stated => statement.high = Some(a),
            _ => {
                statement.value = Some(a);
                statement.plus_minus = plus_minus;
                if a.value() == 0.0 && sign == Sign::Ambiguous {
                    statement.sign = Sign::Stated;
                }
            }
        }
        if statement.kind != RotationKind::Specific && statement.line == Some(SpectralLine::Named("Hg".to_owned())) {
            statement.line = None;
        }
        statement
    }
}

/// Labelled strings with pieces lost, doubled, moved: damage that no label foresees.
fn damaged() -> impl Strategy<Value = String> {
    let texts: Vec<String> = [
        include_str!("../data/rotation_strings_dev.jsonl"),
        include_str!("../data/journal_dev.jsonl"),
        include_str!("../data/notation_forms.jsonl"),
    ]
    .iter()
    .flat_map(|file| file.lines())
    .map(|line| {
        serde_json::from_str::<Value>(line).expect("a line of JSON")["text"]
            .as_str()
            .unwrap_or("")
            .to_owned()
    })
    .collect();
    let edits = proptest::collection::vec(
        (0u8..4, any::<prop::sample::Index>(), any::<prop::sample::Index>()),
        0..12,
    );
    (proptest::sample::select(texts), edits).prop_map(|(text, edits)| {
        let mut chars: Vec<char> = text.chars().collect();
        for (edit, a, b) in edits {
            if chars.len() < 2 {
                break;
            }
            let (a, b) = (a.index(chars.len()), b.index(chars.len()));
            let (low, high) = (a.min(b), a.max(b));
            match edit {
                0 => drop(chars.drain(low..(low + 6).min(high + 1))),
                1 => chars.swap(a, b),
                2 => {
                    let piece = chars[low..(low + 12).min(high + 1)].to_vec();
                    chars.splice(b..b, piece);
                }
                _ => chars.insert(
                    a,
                    ['-', '(', '[', ']', ')', '°', ' ', '^', '$', '\\', '<', '±', '\n'][b % 13],
                ),
            }
        }
        chars.into_iter().collect()
    })
}

fn only_one(found: &[Found], text: &str) -> Statement {
    let [found] = found else {
        panic!("{} statements read from {text}: {found:?}", found.len());
    };
    found.statement.clone()
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(400))]

    #[test]
    fn reading_what_was_written_gives_the_same(statement in statements()) {
        for style in Style::ALL {
            let text = write(&statement, style).unwrap();
            let read_back = printed_part(&only_one(&read(&text), &text));
            prop_assert_eq!(&read_back, &printed_part(&statement), "{:?}: {}", style, text);
        }
    }

    #[test]
    fn any_text_is_read_with_spans_inside_it(text in "\\PC{0,300}") {
        for found in read(&text) {
            prop_assert!(text.get(found.start..found.end).is_some());
        }
    }

    #[test]
    fn damaged_strings_are_read_with_spans_in_order(text in damaged()) {
        let mut before = 0;
        for found in read(&text) {
            prop_assert!(text.get(found.start..found.end).is_some());
            prop_assert!(found.start >= before, "{}", text);
            before = found.start;
        }
    }

    #[test]
    fn soup_of_notation_is_read(pieces in proptest::collection::vec(proptest::sample::select(vec![
        "[α]", "[a]", "D", "20", "25 °C", "−12.3", "+5", "°", " to ", "±", "(", ")", "[", "]", "c 1.0", "CHCl3", ", ", "; ",
        "specific rotation ", "optical rotation: ", "lit. ", "/D", "589 nm", "%", "ee", "\\alpha", "$", "^{", "}", "_", "~",
        "<sub>", "</sub>", "&alpha;", "and ", "= ", "\n", ". ", "0.5 N HCl", "比旋度为", "- 5° 30'", "deg ", "→",
    ]), 0..40)) {
        let text = pieces.concat();
        for found in read(&text) {
            prop_assert!(text.get(found.start..found.end).is_some());
        }
    }
}

/// A power of ten as programs write it (ISO 6093:1985, NR3) belongs to the number; what no bench has is not cut to a number
/// that looks well.
#[test]
fn a_number_is_read_with_its_power_of_ten_or_not_at_all() {
    let values = |text: &str| -> Vec<String> {
        let found = read(text);
        found
            .iter()
            .filter_map(|one| Some(one.statement.value?.to_string()))
            .collect()
    };
    assert_eq!(values("[α]D20 +4.18e1 (c 1, MeOH)"), ["41.8"]);
    assert_eq!(values("[α]D20 −1.5E+2 (c 1, MeOH)"), ["-150"]);
    assert!(values("[α]D20 +1e300 (c 1, MeOH)").is_empty());
}

#[test]
fn long_lines_are_read_whole() {
    let piece = "prose about a compound, [α]D20 −12.3 (c 1.00, CHCl3); 1H NMR and so on. ";
    let text = piece.repeat(1000);
    let found = read(&text);
    assert!(found.len() >= 990, "{} of 1000", found.len());
    for text in [
        "[".repeat(100_000),
        "(c 1".repeat(50_000),
        "[α]D ".repeat(50_000),
        "rotation ".repeat(30_000),
        "+".repeat(100_000),
    ] {
        assert!(read(&text).len() < 50_001);
    }
}
