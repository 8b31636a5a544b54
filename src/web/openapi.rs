//! What a check sent by a program must hold, in the terms of JSON Schema: the readers of `fields` in another form.

use crate::quantity::{LEAST, MOST};
use serde_json::{Map, Value, json};

/// A number as it is typed; a unit may follow it.
const NUMBER: &str = "[-+\u{2212}]?[0-9]{1,8}(\\.[0-9]{1,9})?";
/// The same above zero.
const ABOVE_ZERO: &str = "\\+?([1-9][0-9]{0,3}(\\.[0-9]{1,9})?|0\\.0{0,2}[1-9][0-9]{0,6})";
/// Units of mass per volume, as `parse_concentration` knows them, and of amount per volume.
const PER_VOLUME: &str = "g/100 ?mL|g/dL|% ?w/v|%|g/mL|mg/mL|g/L|kg/m3|mg/L|mg/dL|mol/L|M|mmol/L|mM";
/// Units of mass per mass.
const PER_MASS: &str = "% ?w/w|% ?\\(w/w\\)|wt ?%|mg/g|g/kg|g/100 ?g";
/// Of every field that may be left out: null, or a text of nothing.
const LEFT_OUT: &str = "^\\s*$";

/// The fields of a check: names and units are those of the options of `biot check`. The numbers of compounds in this
/// library reach to `highest`.
///
/// A value, or an angle with cell and concentration, must be given; the concentration is stated, or is a mass in a volume,
/// or the density of a neat liquid; a density beside a concentration is for one by mass alone. Each way is one schema.
pub(super) fn check_request(highest: i64) -> Value {
    let value = (
        "value",
        given_number(
            "measured specific rotation, deg mL g⁻¹ dm⁻¹; a text keeps its digits",
            " ?(°|deg)?",
        ),
    );
    let angle = [
        (
            "angle",
            given_number(
                "observed angle, blank subtracted; a bare number is in degrees",
                ANGLE_UNITS,
            ),
        ),
        (
            "cell",
            above_zero("cell length; a bare number is in mm", " ?(mm|cm|dm|m|in)?"),
        ),
    ];
    let per_volume = (
        "conc",
        above_zero(
            "concentration; a bare number is in g/100 mL",
            &format!(" ?({PER_VOLUME})?"),
        ),
    );
    let mass = [
        (
            "mass",
            above_zero("mass dissolved; a bare number is in g", " ?(g|mg|ug|kg)?"),
        ),
        (
            "volume",
            above_zero(
                "volume it was made up to; a bare number is in mL",
                " ?(mL|L|uL|cm3|dm3)?",
            ),
        ),
    ];
    let density = ("density", density());
    let by_mass = [
        (
            "conc",
            text(
                "concentration by mass, which needs the density of the solution",
                &format!("{ABOVE_ZERO} ?({PER_MASS})"),
            ),
        ),
        density.clone(),
    ];
    let neat = [
        density.clone(),
        (
            "solvent",
            json!({"enum": ["neat", null, ""], "description": "a density alone: neat"}),
        ),
    ];

    let ways: Vec<Vec<Field>> = vec![
        vec![value.clone()],
        vec![value.clone(), per_volume.clone()],
        [&[value.clone()][..], &mass].concat(),
        [&[value.clone()][..], &by_mass].concat(),
        vec![value, density],
        [&angle[..], &[per_volume]].concat(),
        [&angle[..], &mass].concat(),
        [&angle[..], &by_mass].concat(),
        [&angle[..], &neat].concat(),
    ];
    json!({
        "type": "object",
        "description": "A value, or an angle with cell and concentration. What is null, empty or left out is not known.",
        "anyOf": ways.iter().map(|way| one_way(way, highest)).collect::<Vec<_>>(),
        "examples": [
            {"compound": "L-proline", "value": "-84.1", "solvent": "H2O", "conc": "1", "temp": 25, "line": "D"},
            {"compound": "sucrose", "angle": "13.3 deg", "cell": "200 mm", "conc": "10 g/100 mL", "solvent": "H2O",
             "temp": "20 °C", "line": "D", "ee": "99"},
            {"compound": "ONIBWKKTOPOVIA-SCSAIBSYSA-N", "value": 84.0, "mirror_image": true}
        ]
    })
}

type Field = (&'static str, Value);

const ANGLE_UNITS: &str = " ?(°|deg|mdeg|arcmin|rad|mrad)?";
/// The fields of a measurement; each way to give one has some of them.
const MEASURED: [&str; 7] = ["value", "angle", "cell", "conc", "mass", "volume", "density"];

/// One way to give a measurement: its own fields must be there, the other ones of a measurement must not.
fn one_way(own: &[Field], highest: i64) -> Value {
    let is_value = own.iter().any(|(name, _)| *name == "value");
    let mut properties = Map::new();
    for (name, schema) in common(highest) {
        properties.insert(name.to_owned(), schema);
    }
    for name in MEASURED {
        properties.insert(
            name.to_owned(),
            json!({"type": ["string", "null"], "pattern": LEFT_OUT}),
        );
    }
    if is_value {
        let cell = above_zero("cell length; a bare number is in mm", " ?(mm|cm|dm|m|in)?");
        properties.insert("cell".to_owned(), or_left_out(&cell));
    }
    let mut required = vec!["compound"];
    for (name, schema) in own {
        properties.insert((*name).to_owned(), schema.clone());
        if *name != "solvent" {
            required.push(name);
        }
    }
    json!({"type": "object", "properties": properties, "required": required, "additionalProperties": false})
}

/// The fields every way has.
fn common(highest: i64) -> Vec<Field> {
    let words = |meaning: &str| json!({"type": ["string", "number", "null"], "description": meaning});
    vec![
        (
            "compound",
            json!({
                "description": "name, CAS number, InChIKey, SMILES, or number in this library",
                "anyOf": [{"type": "integer", "minimum": 1, "maximum": highest}, {"type": "string", "pattern": "\\S"}]
            }),
        ),
        (
            "mirror_image",
            json!({"type": ["boolean", "null"], "description": "the sample is the mirror image of the compound named"}),
        ),
        (
            "blank",
            or_left_out(&given_number(
                "blank that was subtracted; tells whether its sign was turned; a bare number is in degrees",
                ANGLE_UNITS,
            )),
        ),
        (
            "uncertainty",
            or_left_out(&above_zero(
                "standard uncertainty of the value, or of the angle where an angle is given",
                " ?(°|deg)?",
            )),
        ),
        ("solvent", words("solvent, or neat")),
        ("temp", or_left_out(&temperature())),
        ("line", or_left_out(&line())),
        (
            "stage",
            json!({"enum": ["initial", "final", "", null], "description": "of a mutarotating solution"}),
        ),
        ("basis", words("basis of the value: dried, anhydrous")),
        ("form", words("form that was weighed: monohydrate, hydrochloride")),
        ("ee", or_left_out(&excess())),
    ]
}

/// Space around a text does not count: the characters with the Unicode property White_Space.
const SPACE: &str = "[ \\t\\n\\v\\f\\r\\u0085\\u00a0\\u1680\\u2000-\\u200a\\u2028\\u2029\\u202f\\u205f\\u3000]*";

fn text(meaning: &str, pattern: &str) -> Value {
    json!({"type": "string", "pattern": format!("^{SPACE}(?:{pattern}){SPACE}$"), "description": meaning})
}

/// Bare numbers between bounds of either sign: zero, or of a size that is held ([`LEAST`]).
fn bare(low: f64, high: f64) -> [Value; 3] {
    [
        json!({"type": "number", "minimum": LEAST, "maximum": high}),
        json!({"type": "number", "minimum": low, "maximum": -LEAST}),
        json!({"const": 0}),
    ]
}

/// A number of any sign, or a text of one with a unit.
fn given_number(meaning: &str, units: &str) -> Value {
    let [above, below, zero] = bare(-MOST, MOST);
    json!({"description": meaning, "anyOf": [above, below, zero, text(meaning, &format!("{NUMBER}{units}"))]})
}

/// A number above zero, or a text of one with a unit.
fn above_zero(meaning: &str, units: &str) -> Value {
    json!({
        "description": meaning,
        "anyOf": [{"type": "number", "minimum": LEAST, "maximum": MOST}, text(meaning, &format!("{ABOVE_ZERO}{units}"))]
    })
}

fn density() -> Value {
    let meaning = "density of the neat liquid, or of a solution given in % w/w; a bare number is in g/mL";
    json!({
        "description": meaning,
        "anyOf": [
            {"type": "number", "minimum": LEAST, "exclusiveMaximum": 25},
            text(meaning, "(1?[0-9]|2[0-4])\\.[0-9]{0,6}[1-9] ?(g/mL|g/cm3|kg/L)?")
        ]
    })
}

fn temperature() -> Value {
    let meaning = "temperature; a bare number is in °C";
    let [above, below, zero] = bare(-100.0, 300.0);
    json!({
        "description": meaning,
        "anyOf": [
            above,
            below,
            zero,
            text(meaning, "([-\u{2212}]?[0-9]{1,2}(\\.[0-9]{1,6})?|[12][0-9]{2}(\\.[0-9]{1,6})?) ?(°C|C)?"),
            text(meaning, "(1[89][0-9]|[2-4][0-9]{2})(\\.[0-9]{1,6})? ?K")
        ]
    })
}

fn line() -> Value {
    let meaning = "light: D, another line's letter, or a wavelength in air; a bare number is in nm";
    json!({
        "description": meaning,
        "anyOf": [
            {"type": "number", "minimum": 180, "maximum": 2500},
            {"enum": ["D", "Na", "Hg", "HeNe", "C", "F", "G'", "e"]},
            text(meaning, "(1[89][0-9]|[2-9][0-9]{2}|1[0-9]{3})(\\.[0-9]{1,6})?( ?nm)?")
        ]
    })
}

fn excess() -> Value {
    let meaning = "enantiomeric excess by another method, per cent; > or ≥ before it for a lower bound";
    let [above, below, zero] = bare(-100.0, 100.0);
    json!({
        "description": meaning,
        "anyOf": [
            above,
            below,
            zero,
            text(meaning, "[-\u{2212}]?[0-9]{1,2}(\\.[0-9]{1,6})? ?%?"),
            text(meaning, "[>≥] ?[0-9]{1,2}(\\.[0-9]{1,6})? ?%?")
        ]
    })
}

/// A field that need not be given.
fn or_left_out(schema: &Value) -> Value {
    let mut schema = schema.clone();
    if let Some(ways) = schema.get_mut("anyOf").and_then(Value::as_array_mut) {
        ways.push(json!({"type": ["string", "null"], "pattern": LEFT_OUT}));
    }
    schema
}
