//! Readings from a table: which column holds what, and which rows cannot be used and why.

use crate::exchange::decode::read_whole;
use crate::exchange::jcamp::{self, JcampError};
use crate::exchange::rows::{self, Event, Format, ReadError, ReadOptions};
use crate::measurement::{Reading, ReadingRole};
use crate::quantity::{
    Angle, Concentration, QuantityError, Wavelength, parse_angle, parse_concentration, parse_length, parse_line,
    parse_number, parse_temperature,
};
use serde::Serialize;
use std::path::Path;

/// What a column of readings holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Column {
    /// Sample, blank or standard.
    Role,
    /// The angle.
    Angle,
    /// Time since some beginning.
    Time,
    /// Temperature.
    Temperature,
    /// Wavelength or line.
    Wavelength,
    /// Cell length.
    Cell,
    /// Sample id.
    Sample,
    /// Who read.
    Operator,
    /// Which filling of the cell.
    Filling,
    /// Which preparation.
    Preparation,
    /// Concentration.
    Concentration,
    /// Absorbance.
    Absorbance,
    /// Turbidity.
    Turbidity,
}

/// Each column with its word, the unit of a bare number, and the names by which headings are known.
const COLUMNS: [(Column, &str, &str, &[&str]); 13] = [
    (Column::Role, "role", "", &["type", "kind", "art", "rolle", "was"]),
    (
        Column::Angle,
        "angle",
        "deg",
        &[
            "rotation",
            "observed rotation",
            "reading",
            "alpha",
            "α",
            "winkel",
            "drehwinkel",
            "drehung",
            "ablesung",
            "angle observé",
            "a",
        ],
    ),
    (
        Column::Time,
        "time",
        "s",
        &["t", "zeit", "temps", "elapsed", "elapsed time", "seconds"],
    ),
    (
        Column::Temperature,
        "temperature",
        "C",
        &["temp", "temperatur", "température", "cell temperature"],
    ),
    (
        Column::Wavelength,
        "wavelength",
        "nm",
        &[
            "lambda",
            "λ",
            "line",
            "wellenlänge",
            "linie",
            "longueur d'onde",
            "light",
        ],
    ),
    (
        Column::Cell,
        "cell",
        "mm",
        &[
            "path",
            "path length",
            "cell length",
            "length",
            "l",
            "küvette",
            "rohr",
            "schichtlänge",
            "tube",
        ],
    ),
    (
        Column::Sample,
        "sample",
        "",
        &["sample id", "id", "probe", "proben-id", "échantillon", "batch", "name"],
    ),
    (
        Column::Operator,
        "operator",
        "",
        &["user", "by", "bediener", "opérateur", "analyst", "who"],
    ),
    (Column::Filling, "filling", "", &["fill", "füllung", "refill"]),
    (
        Column::Preparation,
        "preparation",
        "",
        &["prep", "weighing", "einwaage", "ansatz"],
    ),
    (
        Column::Concentration,
        "conc",
        "g/100mL",
        &["c", "concentration", "konz", "konz.", "konzentration"],
    ),
    (Column::Absorbance, "absorbance", "", &["abs", "extinktion"]),
    (Column::Turbidity, "turbidity", "NTU", &["trübung", "ntu"]),
];

/// The words that name a column in a mapping.
pub fn words() -> String {
    COLUMNS.map(|(_, word, ..)| word).join(", ")
}

/// A column with the unit its heading tells.
#[derive(Clone, Debug, PartialEq)]
struct Known {
    column: Column,
    unit: String,
}

/// What a person said of the columns: `COLUMN=FIELD[:UNIT]`.
pub fn parse_mapping(text: &str) -> Result<(String, String), String> {
    let wrong = || {
        format!(
            "\"{text}\" maps no column; write it like \"Winkel=angle:mdeg\"; the fields are {}",
            words()
        )
    };
    let (heading, target) = text.split_once('=').ok_or_else(wrong)?;
    let word = target.split(':').next().unwrap_or_default().trim();
    let known = word == "-" || COLUMNS.iter().any(|(_, name, ..)| *name == word);
    if heading.trim().is_empty() || !known {
        return Err(wrong());
    }
    Ok((heading.trim().to_owned(), target.trim().to_owned()))
}

fn recognise(heading: &str, mapping: &[(String, String)]) -> Option<Known> {
    if let Some((_, target)) = mapping.iter().find(|(told, _)| told == heading.trim()) {
        let (word, unit) = target.split_once(':').unwrap_or((target, ""));
        let (column, _, own, _) = COLUMNS.iter().find(|(_, name, ..)| *name == word.trim())?;
        let unit = if unit.is_empty() { own } else { unit.trim() };
        return Some(Known {
            column: *column,
            unit: unit.to_owned(),
        });
    }
    let (name, unit) = split_unit(heading);
    let (column, _, own, _) = COLUMNS
        .iter()
        .find(|(_, word, _, names)| *word == name || names.contains(&name.as_str()))?;
    // T is a temperature and t a time, unless the unit says otherwise.
    let is_capital = heading.trim().starts_with('T') && name == "t";
    if *column == Column::Time && (matches!(unit.as_str(), "C" | "°C" | "K") || (is_capital && unit.is_empty())) {
        return Some(Known {
            column: Column::Temperature,
            unit: if unit.is_empty() { "C".to_owned() } else { unit },
        });
    }
    // A sample column may say mm in its id; only columns of numbers have units.
    if own.is_empty() && !unit.is_empty() {
        return None;
    }
    Some(Known {
        column: *column,
        unit: if unit.is_empty() { (*own).to_owned() } else { unit },
    })
}

/// Units as headings name them, and as the parsers of quantities do.
const UNITS: [(&str, &str); 14] = [
    ("deg", "deg"),
    ("mdeg", "mdeg"),
    ("rad", "rad"),
    ("mrad", "mrad"),
    ("s", "s"),
    ("ms", "ms"),
    ("min", "min"),
    ("h", "h"),
    ("c", "C"),
    ("k", "K"),
    ("nm", "nm"),
    ("mm", "mm"),
    ("cm", "cm"),
    ("dm", "dm"),
];

/// A heading's name in lower case and its unit: "T (°C)", "angle [mdeg]", "t/s", "angle_deg", "conc_g_per_100ml".
fn split_unit(heading: &str) -> (String, String) {
    let heading = heading.trim().trim_start_matches('\u{FEFF}');
    for (open, close) in [('(', ')'), ('[', ']')] {
        if let Some((name, rest)) = heading.split_once(open) {
            return (fold(name), rest.trim_end_matches(close).trim().to_owned());
        }
    }
    if let Some((name, unit)) = heading.split_once('/') {
        return (fold(name), unit.trim().to_owned());
    }
    let lower = heading.to_lowercase();
    if let Some((name, _)) = lower.split_once("_g_per_100ml") {
        return (fold(name), "g/100mL".to_owned());
    }
    if let Some((name, unit)) = lower.rsplit_once('_')
        && let Some((_, unit)) = UNITS.iter().find(|(word, _)| *word == unit)
    {
        return (fold(name), (*unit).to_owned());
    }
    (fold(heading), String::new())
}

fn fold(name: &str) -> String {
    name.trim().to_lowercase().replace('_', " ")
}

/// A row that cannot be used.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct RejectedReading {
    /// Its line.
    pub line: u64,
    /// Why.
    pub reason: String,
}

/// The readings of a file.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct ReadingsFile {
    /// The readings, in order.
    pub readings: Vec<Reading>,
    /// Rows that cannot be used.
    pub rejected: Vec<RejectedReading>,
    /// Headings that mean nothing here.
    pub unmapped: Vec<String>,
    /// Rows whose angle is in another unit than that of the column.
    pub n_other_units: usize,
}

/// Why a file gives no readings.
#[derive(Debug, thiserror::Error)]
pub enum ReadingsError {
    /// It cannot be read as a table.
    #[error(transparent)]
    Read(#[from] ReadError),
    /// No heading is known, and the lines are no bare angles.
    #[error(
        "{path}: no line of headings is found (the first line holds: {first}); begin it with a line such as \
         role,angle_deg,time_s, or map a column with --map COLUMN=angle"
    )]
    NoHeadings {
        /// The file.
        path: String,
        /// What the first line holds.
        first: String,
    },
    /// No column holds the angle.
    #[error(
        "{path}: no column holds the angle (the headings are {found}); head it angle_deg, or map it with --map COLUMN=angle"
    )]
    NoAngle {
        /// The file.
        path: String,
        /// The headings.
        found: String,
    },
    /// Two columns hold the same.
    #[error(
        "{path}: the columns \"{first}\" and \"{second}\" both hold the {field}; leave one out with --map \"{second}=-\""
    )]
    Twice {
        /// The file.
        path: String,
        /// A column.
        first: String,
        /// The other one.
        second: String,
        /// What both hold.
        field: &'static str,
    },
    /// A curve that is no JCAMP-DX.
    #[error("{path}: {error}")]
    Curve {
        /// The file.
        path: String,
        /// What is wrong.
        error: JcampError,
    },
    /// The unit of a curve's abscissa is no wavelength.
    #[error("{path}: the abscissa of the curve is in \"{unit}\"; NANOMETERS, MICROMETERS and 1/CM are read")]
    Abscissa {
        /// The file.
        path: String,
        /// The unit.
        unit: String,
    },
    /// The unit of a curve's ordinate is no angle.
    #[error(
        "{path}: the ordinate of the curve is in \"{unit}\"; DEGREES, MILLIDEGREES and RADIANS are observed angles (biot \
         dispersion takes a curve of specific rotations)"
    )]
    Ordinate {
        /// The file.
        path: String,
        /// The unit.
        unit: String,
    },
    /// There are no rows.
    #[error(
        "{path} holds no readings; a table needs a heading line such as role,angle_deg,time_s and a row for each reading"
    )]
    NoRows {
        /// The file.
        path: String,
    },
}

/// Reads the readings of a table.
///
/// A curve of JCAMP-DX gives one reading at each wavelength. The delimiter, the encoding and the line of headings are found as for an import; a file of bare numbers, one a line, is
/// taken as angles of the sample. A cell may name its own unit. A row that cannot be read is rejected with the reason.
///
/// # Errors
/// See [`ReadingsError`].
pub fn read_readings(path: &Path, mapping: &[(String, String)]) -> Result<ReadingsFile, ReadingsError> {
    if jcamp::is_jcamp_file(path).map_err(|error| ReadError::io(path, error))? {
        return curve_readings(path);
    }
    let mut file = ReadingsFile::default();
    let mut columns: Vec<Option<Known>> = Vec::new();
    let mut headings: Vec<String> = Vec::new();
    let name = path.display().to_string();
    let options = ReadOptions {
        format: (path.extension().is_none_or(|ending| ending != "xlsx")).then_some(Format::Table),
        ..ReadOptions::default()
    };
    let knows = |heading: &str| recognise(heading, mapping).is_some();
    let read = rows::read(path, &options, &knows, &mut |event| -> Result<(), ReadingsError> {
        match event {
            Event::Begin(_) => {}
            Event::Columns(found) => {
                headings = found.to_vec();
                columns = assign(&name, found, mapping, &mut file.unmapped)?;
            }
            Event::Row(row) => {
                let made = match row.fault {
                    Some(fault) => Err(fault),
                    None => reading(row.line, &row.cells, &columns, &headings),
                };
                match made {
                    Ok((reading, other_unit)) => {
                        file.n_other_units += usize::from(other_unit);
                        file.readings.push(reading);
                    }
                    Err(reason) => file.rejected.push(RejectedReading { line: row.line, reason }),
                }
            }
        }
        Ok(())
    });
    match read {
        Err(ReadingsError::Read(ReadError::Empty { .. })) => return Err(ReadingsError::NoRows { path: name }),
        Err(ReadingsError::Read(error @ ReadError::NoHeadings { .. })) => match bare_angles(path) {
            Some(bare) => file = bare,
            None => return Err(no_headings(name, error)),
        },
        other => other?,
    }
    if file.readings.is_empty() && file.rejected.is_empty() {
        return Err(ReadingsError::NoRows { path: name });
    }
    Ok(file)
}

/// A curve of JCAMP-DX: at each wavelength one reading of the sample.
fn curve_readings(path: &Path) -> Result<ReadingsFile, ReadingsError> {
    let name = || path.display().to_string();
    let (text, _) = read_whole(path, None)?;
    let curve = jcamp::parse(&text).map_err(|error| ReadingsError::Curve { path: name(), error })?;
    let unit = curve.y_unit.to_uppercase();
    let degrees: fn(f64) -> f64 = match unit.as_str() {
        "DEGREES" | "DEGREE" | "DEG" => |y| y,
        "MILLIDEGREES" | "MILLIDEGREE" | "MDEG" => |y| 1e-3 * y,
        "RADIANS" | "RAD" => f64::to_degrees,
        _ => {
            return Err(ReadingsError::Ordinate {
                path: name(),
                unit: curve.y_unit,
            });
        }
    };
    let Some((points, is_vacuum)) = curve.by_nanometres(false) else {
        return Err(ReadingsError::Abscissa {
            path: name(),
            unit: curve.x_unit,
        });
    };
    let mut file = ReadingsFile::default();
    for (at, (nm, y)) in points.into_iter().enumerate() {
        let line = at as u64 + 1;
        let made = if is_vacuum {
            Wavelength::in_vacuum(nm)
        } else {
            Wavelength::in_air(nm)
        };
        match made {
            Ok(wavelength) => file.readings.push(Reading {
                wavelength_nm: Some(wavelength.to_air().nanometres()),
                ..Reading::of(line, ReadingRole::Sample, Angle::from_degrees(degrees(y)))
            }),
            Err(error) => file.rejected.push(RejectedReading {
                line,
                reason: format!("point {line}: {error}"),
            }),
        }
    }
    Ok(file)
}

/// What a table without known headings is in need of.
fn no_headings(name: String, error: ReadError) -> ReadingsError {
    let ReadError::NoHeadings { first, .. } = error else {
        return error.into();
    };
    ReadingsError::NoHeadings { path: name, first }
}

fn assign(
    path: &str,
    headings: &[String],
    mapping: &[(String, String)],
    unmapped: &mut Vec<String>,
) -> Result<Vec<Option<Known>>, ReadingsError> {
    let columns: Vec<Option<Known>> = headings.iter().map(|heading| recognise(heading, mapping)).collect();
    for (at, known) in columns.iter().enumerate() {
        let Some(known) = known else {
            if !headings[at].trim().is_empty() {
                unmapped.push(headings[at].clone());
            }
            continue;
        };
        let first = columns[..at]
            .iter()
            .position(|other| other.as_ref().is_some_and(|o| o.column == known.column));
        if let Some(first) = first {
            return Err(ReadingsError::Twice {
                path: path.to_owned(),
                first: headings[first].clone(),
                second: headings[at].clone(),
                field: COLUMNS
                    .iter()
                    .find(|(c, ..)| *c == known.column)
                    .map_or("", |(_, word, ..)| word),
            });
        }
    }
    if !columns.iter().flatten().any(|known| known.column == Column::Angle) {
        return Err(ReadingsError::NoAngle {
            path: path.to_owned(),
            found: headings.join(", "),
        });
    }
    Ok(columns)
}

/// A file without headings whose every line is one angle.
fn bare_angles(path: &Path) -> Option<ReadingsFile> {
    let text = std::fs::read_to_string(path).ok()?;
    let mut file = ReadingsFile::default();
    for (at, line) in text.lines().enumerate().filter(|(_, line)| !line.trim().is_empty()) {
        let angle = parse_angle(line.trim().trim_end_matches([';', ','])).ok()?;
        file.readings
            .push(Reading::of(at as u64 + 1, ReadingRole::Sample, angle));
    }
    (!file.readings.is_empty()).then_some(file)
}

/// One row; true when its angle names another unit than the column's.
fn reading(
    line: u64,
    cells: &[String],
    columns: &[Option<Known>],
    headings: &[String],
) -> Result<(Reading, bool), String> {
    let mut made: Option<Reading> = None;
    let mut rest = Reading::of(line, ReadingRole::Sample, Angle::from_degrees(0.0));
    let mut other_unit = false;
    for ((cell, known), heading) in cells.iter().zip(columns).zip(headings) {
        let Some(known) = known else { continue };
        let text = cell.trim();
        if text.is_empty() {
            continue;
        }
        let at = |error: String| format!("column \"{heading}\": {error}");
        let quantity = |error: QuantityError| at(error.to_string());
        let whole = with_unit(text, &known.unit);
        match known.column {
            Column::Role => rest.role = role(text).map_err(at)?,
            Column::Angle => {
                other_unit = names_unit(text) && whole_unit(text) != whole_unit(&format!("1 {}", known.unit));
                let angle = parse_angle(&whole).map_err(quantity)?;
                if angle.degrees().abs() > 100_000.0 {
                    return Err(at(format!("{text} is no angle of an analyser")));
                }
                made = Some(Reading::of(line, ReadingRole::Sample, angle));
            }
            Column::Time => rest.seconds = Some(seconds(text, &known.unit).map_err(at)?),
            Column::Temperature => rest.temperature = Some(parse_temperature(&whole).map_err(quantity)?),
            Column::Wavelength => {
                let found = parse_line(if text.chars().any(char::is_alphabetic) {
                    text
                } else {
                    &whole
                })
                .map_err(quantity)?;
                let nanometres = found.wavelength().map(|w| w.to_air().nanometres());
                rest.wavelength_nm = Some(nanometres.ok_or_else(|| at(format!("{text} has no wavelength")))?);
            }
            Column::Cell => rest.cell = Some(parse_length(&whole).map_err(quantity)?),
            Column::Sample => rest.sample = Some(text.to_owned()),
            Column::Operator => rest.operator = Some(text.to_owned()),
            Column::Filling => rest.filling = Some(text.to_owned()),
            Column::Preparation => rest.preparation = Some(text.to_owned()),
            Column::Concentration => {
                let stated = parse_concentration(&whole).map_err(quantity)?;
                let c: Concentration = stated.to_mass_concentration(None, None).map_err(quantity)?;
                rest.concentration = Some(c);
            }
            Column::Absorbance => rest.absorbance = Some(parse_number(text).map_err(quantity)?.value()),
            Column::Turbidity => {
                let bare = text.trim_end_matches("NTU");
                rest.turbidity = Some(parse_number(bare).map_err(quantity)?.value());
            }
        }
    }
    let angle = made.ok_or("the row has no angle")?.angle;
    Ok((Reading { angle, ..rest }, other_unit))
}

fn role(text: &str) -> Result<ReadingRole, String> {
    match text.to_lowercase().as_str() {
        "sample" | "s" | "probe" | "échantillon" | "analyte" => Ok(ReadingRole::Sample),
        "blank" | "b" | "zero" | "solvent" | "blindwert" | "null" | "leer" | "blanc" => Ok(ReadingRole::Blank),
        "standard" | "std" | "control" | "quartz" | "plate" | "kontrolle" | "étalon" => Ok(ReadingRole::Standard),
        _ => Err(format!("\"{text}\" is no role; use sample, blank or standard")),
    }
}

/// Whether a cell holds more than a number.
fn names_unit(text: &str) -> bool {
    text.chars()
        .any(|c| c.is_alphabetic() && !matches!(c, 'e' | 'E') || matches!(c, '°' | '\'' | '′' | 'º'))
}

/// The unit a text names, with the ways of writing a degree brought to one.
fn whole_unit(text: &str) -> String {
    let unit = text.trim_start_matches(|c: char| !c.is_alphabetic() && !matches!(c, '°' | 'º' | '\'' | '′'));
    let unit = unit.trim().trim_start_matches(['e', 'E']);
    match unit {
        "°" | "º" | "deg" | "degree" | "degrees" | "d" | "g" => "deg".to_owned(),
        other => other.to_owned(),
    }
}

fn with_unit(text: &str, unit: &str) -> String {
    if names_unit(text) || unit.is_empty() {
        text.to_owned()
    } else {
        format!("{text} {unit}")
    }
}

/// A time in seconds: a number in the column's unit, or `min:s` or `h:min:s`.
fn seconds(text: &str, unit: &str) -> Result<f64, String> {
    let wrong = || format!("\"{text}\" is no time; write seconds, 2 min, or 0:02:30");
    if text.contains(':') {
        let parts: Vec<f64> = text
            .split(':')
            .map(|part| part.trim().replace(',', ".").parse::<f64>().map_err(|_| wrong()))
            .collect::<Result<_, _>>()?;
        return match parts[..] {
            [m, s] => Ok(60.0 * m + s),
            [h, m, s] => Ok(3600.0 * h + 60.0 * m + s),
            _ => Err(wrong()),
        }
        .and_then(|t| if t.is_finite() { Ok(t) } else { Err(wrong()) });
    }
    let number_end = text.find(char::is_alphabetic).unwrap_or(text.len());
    let own = text[number_end..].trim();
    let factor = match if own.is_empty() { unit } else { own } {
        "s" | "sec" | "second" | "seconds" | "sek" | "" => 1.0,
        "ms" => 1e-3,
        "min" | "minutes" | "minute" => 60.0,
        "h" | "hours" | "hour" | "std" => 3600.0,
        "d" | "days" => 86400.0,
        _ => return Err(wrong()),
    };
    let value = parse_number(text[..number_end].trim()).map_err(|_| wrong())?;
    Ok(value.value() * factor)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn headings_are_known_with_their_units() {
        for (heading, column, unit) in [
            ("angle_deg", Column::Angle, "deg"),
            ("Winkel [mdeg]", Column::Angle, "mdeg"),
            ("t/min", Column::Time, "min"),
            ("temperature_c", Column::Temperature, "C"),
            ("t", Column::Time, "s"),
            ("T", Column::Temperature, "C"),
            ("T/K", Column::Temperature, "K"),
            ("Temp (°C)", Column::Temperature, "°C"),
            ("wavelength_nm", Column::Wavelength, "nm"),
            ("cell_mm", Column::Cell, "mm"),
            ("cell", Column::Cell, "mm"),
            ("conc_g_per_100ml", Column::Concentration, "g/100mL"),
        ] {
            let known = recognise(heading, &[]).unwrap_or_else(|| panic!("{heading}"));
            assert_eq!((known.column, known.unit.as_str()), (column, unit), "{heading}");
        }
        assert_eq!(recognise("smell", &[]), None);
        let told = parse_mapping("x=angle:mrad").unwrap();
        assert_eq!(recognise("x", &[told]).unwrap().unit, "mrad");
        assert!(parse_mapping("x=smell").is_err());
    }

    #[test]
    fn times_are_read() {
        for (text, unit, wanted) in [
            ("90", "s", 90.0),
            ("1,5", "min", 90.0),
            ("2 min", "s", 120.0),
            ("0:02:30", "s", 150.0),
        ] {
            assert_eq!(seconds(text, unit), Ok(wanted), "{text}");
        }
        assert!(seconds("soon", "s").is_err() && seconds("NaN", "s").is_err());
    }
}
