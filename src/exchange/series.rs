//! Tables of numbers to compute with: readings over time, rotations at wavelengths, values at known excess.
//!
//! A caller names the [`Column`]s it wants; [`read`] finds them by their headings or by what a person said, reads every
//! cell with its unit (its own, the heading's, or the column's), and gives the rows that can be used and, each with its
//! line and reason, those that cannot.

use super::field::{folded, split_unit};
use super::rows::{self, Event, ReadError, ReadOptions};
use crate::quantity::QuantityError;
use std::path::{Path, PathBuf};

/// A column that is wanted.
#[derive(Clone, Copy, Debug)]
pub struct Column {
    /// The word that names it in a mapping; also a heading of it.
    pub word: &'static str,
    /// Other headings, in lower case.
    pub headings: &'static [&'static str],
    /// Reads a cell with its unit to a number in the caller's unit.
    pub parse: fn(&str) -> Result<f64, QuantityError>,
    /// Whether a row without it is of no use.
    pub required: bool,
}

/// A row that can be used.
#[derive(Clone, Debug, PartialEq)]
pub struct SeriesRow {
    /// Its line in the file, from 1.
    pub line: u64,
    /// Its numbers, in the order of the columns wanted.
    pub values: Vec<Option<f64>>,
}

/// A row that cannot be used.
#[derive(Clone, Debug, PartialEq, Eq, serde::Serialize)]
pub struct RefusedRow {
    /// Its line in the file, from 1.
    pub line: u64,
    /// The heading of the cell that is wrong, where one is.
    pub column: Option<String>,
    /// Why.
    pub reason: String,
}

/// What a table of numbers holds.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Series {
    /// The rows that can be used.
    pub rows: Vec<SeriesRow>,
    /// The rows that cannot.
    pub refused: Vec<RefusedRow>,
    /// Headings that were not used.
    pub unused: Vec<String>,
}

/// Why a table cannot be used.
#[derive(Debug, thiserror::Error)]
pub enum SeriesFileError {
    /// It cannot be read.
    #[error(transparent)]
    Read(#[from] ReadError),
    /// No heading is known.
    #[error(
        "{}: no line of headings is found (the first line holds: {first}); give a heading line with {words}, or say which \
         column holds what with --map \"HEADING=WORD\"", path.display()
    )]
    Headings {
        /// The file.
        path: PathBuf,
        /// What the first line holds.
        first: String,
        /// The words of the columns that are needed.
        words: String,
    },
    /// A column that is needed is not there.
    #[error(
        "{}: no column holds the {word}; its headings are {}; name a column {word}, or say which it is with --map \
         \"HEADING={word}\"", path.display(), found.join(", ")
    )]
    Missing {
        /// The file.
        path: PathBuf,
        /// The column wanted.
        word: &'static str,
        /// The headings found.
        found: Vec<String>,
    },
    /// Two columns hold the same.
    #[error(
        "{}: the columns \"{first}\" and \"{second}\" both hold the {word}; leave one out with --map \"{second}=-\"",
        path.display()
    )]
    Twice {
        /// The file.
        path: PathBuf,
        /// What they hold.
        word: &'static str,
        /// A heading.
        first: String,
        /// The other one.
        second: String,
    },
    /// A mapping has another form.
    #[error("\"{text}\" does not map a column; write HEADING=WORD or HEADING=WORD:UNIT, with a word of {words}")]
    Mapping {
        /// The text.
        text: String,
        /// The words.
        words: String,
    },
    /// More rows than are computed with.
    #[error("{} has more than {MOST_ROWS} rows; thin it out", path.display())]
    TooLong {
        /// The file.
        path: PathBuf,
    },
}

impl SeriesFileError {
    /// The file, where the error is about one.
    pub fn path(&self) -> Option<&Path> {
        match self {
            Self::Read(error) => Some(error.path()),
            Self::Headings { path, .. }
            | Self::Missing { path, .. }
            | Self::Twice { path, .. }
            | Self::TooLong { path } => Some(path),
            Self::Mapping { .. } => None,
        }
    }
}

/// Most rows of a table.
pub const MOST_ROWS: usize = 2_000_000;

/// A column found: which of those wanted, and the unit of its bare numbers.
type Found = Option<(usize, Option<String>)>;

/// Reads a table; `mappings` are texts of the form `HEADING=WORD[:UNIT]`, or `HEADING=-` to leave a column out.
///
/// # Errors
/// When the file cannot be read, or a required column is not there. Rows that cannot be read are in the result.
pub fn read(path: &Path, wanted: &[Column], mappings: &[String]) -> Result<Series, SeriesFileError> {
    let told = mappings
        .iter()
        .map(|text| parse_mapping(text, wanted))
        .collect::<Result<Vec<_>, _>>()?;
    let knows = |heading: &str| recognise(heading, wanted, &told).is_some();
    let mut series = Series::default();
    let mut columns: Vec<Found> = Vec::new();
    let mut headings: Vec<String> = Vec::new();
    rows::read::<SeriesFileError>(path, &ReadOptions::default(), &knows, &mut |event| {
        match event {
            Event::Begin(_) => {}
            Event::Columns(found) => {
                columns = assign(path, found, wanted, &told)?;
                headings = found.to_vec();
                series.unused = found
                    .iter()
                    .zip(&columns)
                    .filter(|(heading, column)| column.is_none() && !heading.trim().is_empty())
                    .map(|(heading, _)| heading.clone())
                    .collect();
            }
            Event::Row(row) => {
                if series.rows.len() + series.refused.len() >= MOST_ROWS {
                    return Err(SeriesFileError::TooLong { path: path.to_owned() });
                }
                match numbers(&row, wanted, &columns, &headings) {
                    Ok(values) => series.rows.push(SeriesRow { line: row.line, values }),
                    Err((column, reason)) => series.refused.push(RefusedRow {
                        line: row.line,
                        column,
                        reason,
                    }),
                }
            }
        }
        Ok(())
    })
    .map_err(|error| match error {
        SeriesFileError::Read(ReadError::NoHeadings { path, first }) => SeriesFileError::Headings {
            path,
            first,
            words: wanted
                .iter()
                .filter(|column| column.required)
                .map(|column| column.word)
                .collect::<Vec<_>>()
                .join(" and "),
        },
        other => other,
    })?;
    Ok(series)
}

/// A column told by a person: heading, which column (none leaves it out), unit.
type Told = (String, Option<usize>, Option<String>);

fn parse_mapping(text: &str, wanted: &[Column]) -> Result<Told, SeriesFileError> {
    let wrong = || SeriesFileError::Mapping {
        text: text.to_owned(),
        words: wanted.iter().map(|column| column.word).collect::<Vec<_>>().join(", "),
    };
    let (heading, target) = text.rsplit_once('=').ok_or_else(wrong)?;
    if target.trim() == "-" {
        return Ok((heading.trim().to_owned(), None, None));
    }
    let (word, unit) = match target.split_once(':') {
        Some((word, unit)) => (word.trim(), Some(unit.trim().to_owned())),
        None => (target.trim(), None),
    };
    let at = wanted.iter().position(|column| column.word == word).ok_or_else(wrong)?;
    Ok((heading.trim().to_owned(), Some(at), unit))
}

/// The column a heading means.
fn recognise(heading: &str, wanted: &[Column], told: &[Told]) -> Found {
    let heading = heading.trim();
    if let Some((_, at, unit)) = told.iter().find(|(known, ..)| known == heading) {
        return at.map(|at| (at, unit.clone()));
    }
    let by_name = |name: &str| {
        let folded = folded(name);
        wanted
            .iter()
            .position(|column| column.word.replace('_', " ") == folded || column.headings.contains(&folded.as_str()))
    };
    if let Some(at) = by_name(heading) {
        return Some((at, None));
    }
    if let Some((name, unit)) = split_unit(heading)
        && let Some(at) = by_name(name)
    {
        return Some((at, Some(unit.to_owned())));
    }
    // "time_s", "angle_deg": the last word is the unit when the column can read it.
    let words = heading.rfind(['_', ' '])?;
    let (name, unit) = (&heading[..words], heading[words + 1..].trim());
    let at = by_name(name)?;
    (wanted[at].parse)(&format!("500 {unit}"))
        .is_ok()
        .then(|| (at, Some(unit.to_owned())))
}

fn assign(path: &Path, headings: &[String], wanted: &[Column], told: &[Told]) -> Result<Vec<Found>, SeriesFileError> {
    let columns: Vec<Found> = headings
        .iter()
        .map(|heading| recognise(heading, wanted, told))
        .collect();
    for (at, column) in wanted.iter().enumerate() {
        let holders: Vec<&String> = headings
            .iter()
            .zip(&columns)
            .filter(|(_, found)| found.as_ref().is_some_and(|(which, _)| *which == at))
            .map(|(heading, _)| heading)
            .collect();
        match holders[..] {
            [first, second, ..] => {
                return Err(SeriesFileError::Twice {
                    path: path.to_owned(),
                    word: column.word,
                    first: first.clone(),
                    second: second.clone(),
                });
            }
            [] if column.required => {
                return Err(SeriesFileError::Missing {
                    path: path.to_owned(),
                    word: column.word,
                    found: headings.to_vec(),
                });
            }
            _ => {}
        }
    }
    Ok(columns)
}

fn numbers(
    row: &rows::Row,
    wanted: &[Column],
    columns: &[Found],
    headings: &[String],
) -> Result<Vec<Option<f64>>, (Option<String>, String)> {
    if let Some(fault) = &row.fault {
        return Err((None, fault.clone()));
    }
    let mut values = vec![None; wanted.len()];
    for (at, found) in columns.iter().enumerate() {
        let Some((which, unit)) = found else { continue };
        let cell = row.cells.get(at).map_or("", String::as_str).trim();
        let is_bare = cell
            .chars()
            .last()
            .is_some_and(|c| c.is_ascii_digit() || matches!(c, '.' | ','));
        let text = match unit {
            Some(unit) if is_bare => format!("{cell} {unit}"),
            _ => cell.to_owned(),
        };
        if cell.is_empty() {
            continue;
        }
        let value = (wanted[*which].parse)(&text).map_err(|error| (headings.get(at).cloned(), error.to_string()))?;
        if !value.is_finite() {
            return Err((headings.get(at).cloned(), format!("\"{cell}\" is not a finite number")));
        }
        values[*which] = Some(value);
    }
    match wanted
        .iter()
        .zip(&values)
        .find(|(column, value)| column.required && value.is_none())
    {
        Some((column, _)) => Err((None, format!("the row has no {}", column.word))),
        None => Ok(values),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::{parse_angle, parse_time};
    use std::io::Write;

    const WANTED: [Column; 2] = [
        Column {
            word: "time",
            headings: &["t", "zeit"],
            parse: |text| parse_time(text).map(crate::quantity::Time::seconds),
            required: true,
        },
        Column {
            word: "angle",
            headings: &["alpha"],
            parse: |text| parse_angle(text).map(crate::quantity::Angle::degrees),
            required: true,
        },
    ];

    fn of(text: &str, mappings: &[&str]) -> Result<Series, SeriesFileError> {
        let mut file = tempfile::NamedTempFile::with_suffix(".csv").unwrap();
        file.write_all(text.as_bytes()).unwrap();
        let mappings: Vec<String> = mappings.iter().map(|&text| text.to_owned()).collect();
        read(file.path(), &WANTED, &mappings)
    }

    fn pairs(series: &Series) -> Vec<(f64, f64)> {
        series
            .rows
            .iter()
            .map(|row| (row.values[0].unwrap(), row.values[1].unwrap()))
            .collect()
    }

    #[test]
    fn units_stand_in_the_heading_the_cell_or_the_mapping() {
        let by_heading = of("time_min,angle_deg\n1,2.5\n2,2.25\n", &[]).unwrap();
        assert_eq!(pairs(&by_heading), [(60.0, 2.5), (120.0, 2.25)]);
        let by_cell = of("Zeit;alpha\n1 min;2,5\n90;−250 mdeg\n", &[]).unwrap();
        assert_eq!(pairs(&by_cell), [(60.0, 2.5), (90.0, -0.25)]);
        let by_person = of("clock,x,note\n1,2.5,a\n", &["clock=time:h", "x=angle"]).unwrap();
        assert_eq!(pairs(&by_person), [(3600.0, 2.5)]);
        assert_eq!(by_person.unused, ["note"]);
    }

    #[test]
    fn rows_that_cannot_be_read_are_told_with_line_and_column() {
        let series = of("time,angle\n1,2.5\n2,NaN\n3,\n4,1e999\n5 kg,1\n", &[]).unwrap();
        assert_eq!(series.rows.len(), 1);
        let lines: Vec<u64> = series.refused.iter().map(|row| row.line).collect();
        assert_eq!(lines, [3, 4, 5, 6]);
        assert_eq!(series.refused[0].column.as_deref(), Some("angle"));
        assert!(series.refused[3].reason.contains("kg"));
    }

    #[test]
    fn columns_that_are_missing_or_twice_are_named() {
        let missing = of("time,other\n1,2\n", &[]).unwrap_err();
        assert!(
            matches!(missing, SeriesFileError::Missing { word: "angle", .. }),
            "{missing}"
        );
        let twice = of("time,angle,alpha\n1,2,3\n", &[]).unwrap_err();
        assert!(matches!(twice, SeriesFileError::Twice { .. }), "{twice}");
        assert!(of("time,angle,alpha\n1,2,3\n", &["alpha=-"]).is_ok());
        assert!(of("time,angle\n1,2\n", &["x=weight"]).is_err());
    }
}
