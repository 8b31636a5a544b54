//! Rotation against wavelength: from a file, or from what the library holds of a compound.

use crate::compare::{Conditions, ReadingWorth, value_of};
use crate::dispersion::{ConversionError, Dispersion, DispersionPoint, LineFactor, Predicted, analyse};
use crate::exchange::decode::read_whole;
use crate::exchange::jcamp::{self, JcampError};
use crate::exchange::rows::ReadError;
use crate::exchange::series::{self, Column, RefusedRow, SeriesFileError};
use crate::library::{Compound, CompoundId, Entry, EntryKind, Identity, Library, LibraryError, ReviewState, SourceId};
use crate::quantity::{
    Medium, ONE_LINE_NM, Printed, SpecificRotation, SpectralLine, Wavelength, parse_line, parse_number,
};
use crate::solvent::{Kinship, Solvent, kinship};
use crate::statement::Stage;
use crate::tasks::reduce::SampleResult;
use std::path::Path;

/// A table with its laws, and what was asked of them.
#[derive(Clone, Debug)]
pub struct DispersionResult {
    /// The table and its laws.
    pub dispersion: Dispersion,
    /// Rotations at the lines asked for.
    pub predicted: Vec<(Wavelength, Result<Predicted, ConversionError>)>,
    /// The conversion asked for.
    pub conversion: Option<LineConversion>,
    /// Rows of the file that could not be read.
    pub refused: Vec<RefusedRow>,
    /// Entries of the library the points come from, one a point; empty for a file.
    pub entries: Vec<i64>,
    /// Entries that were left out, with the reason.
    pub left_out: Vec<(i64, String)>,
    /// The unit of the values, where the file names it.
    pub unit: Option<String>,
}

/// A value taken from one line to another.
#[derive(Clone, Debug)]
pub struct LineConversion {
    /// The line it was measured at.
    pub from: Wavelength,
    /// The line it is taken to.
    pub to: Wavelength,
    /// The value and its standard uncertainty before.
    pub value: (f64, f64),
    /// The factor, or why there is none.
    pub factor: Result<LineFactor, ConversionError>,
}

impl LineConversion {
    /// The value at the other line: `y = r x`, `u²(y) = (r u(x))² + (x u(r))²` (JCGM 100:2008, eq. 10; value and factor
    /// are independent).
    pub fn converted(&self) -> Option<(f64, f64)> {
        let factor = self.factor.as_ref().ok()?;
        let (value, u) = self.value;
        Some((
            factor.factor * value,
            (factor.factor * u).hypot(value * factor.uncertainty),
        ))
    }
}

/// What is asked of a table.
#[derive(Clone, Debug, Default)]
pub struct DispersionRequest {
    /// What a person said of the columns.
    pub mappings: Vec<String>,
    /// Medium of the file's wavelengths.
    pub is_vacuum: bool,
    /// Standard uncertainty of every value, where no column gives it.
    pub uncertainty: Option<SpecificRotation>,
    /// Lines at which the rotation is wanted.
    pub at: Vec<SpectralLine>,
    /// A conversion: from, to, value and standard uncertainty.
    pub convert: Option<(SpectralLine, SpectralLine, f64, f64)>,
}

/// Why there is no result.
#[derive(Debug, thiserror::Error)]
pub enum DispersionError {
    /// The file does not do.
    #[error(transparent)]
    File(#[from] SeriesFileError),
    /// The JCAMP-DX file does not do.
    #[error("{error}")]
    Jcamp {
        /// The file.
        path: std::path::PathBuf,
        /// What is wrong.
        error: JcampError,
    },
    /// The unit of its abscissa is no wavelength.
    #[error("the abscissa of the curve is in \"{unit}\"; NANOMETERS, MICROMETERS and 1/CM are read")]
    Abscissa {
        /// The unit.
        unit: String,
    },
    /// The library fails.
    #[error(transparent)]
    Library(#[from] LibraryError),
    /// No value can be used.
    #[error("no value at a known wavelength can be used{detail}")]
    Nothing {
        /// Why, behind a colon.
        detail: String,
    },
    /// A line without a wavelength.
    #[error("the line {line} has no wavelength known here; give it in nm")]
    Line {
        /// The line.
        line: String,
    },
}

/// Where a table names the sodium line by its letter, nm (common practice).
const SODIUM_D_NM: f64 = 589.3;

/// The columns of a table.
const COLUMNS: [Column; 3] = [
    Column {
        word: "wavelength",
        headings: &["λ", "lambda", "wl", "line", "wellenlänge", "longueur d'onde"],
        parse: |text| match parse_line(text)? {
            // A number of nm is kept as it is: here 589.0 and 589.6 are two lines.
            SpectralLine::SodiumD => Ok(parse_number(text.trim().trim_end_matches("nm"))
                .map(Printed::value)
                .ok()
                .filter(|nm| (588.0..590.0).contains(nm))
                .unwrap_or(SODIUM_D_NM)),
            line => Ok(line.wavelength().map_or(f64::NAN, Wavelength::nanometres)),
        },
        required: true,
    },
    Column {
        word: "value",
        headings: &[
            "rotation",
            "specific rotation",
            "[α]",
            "[a]",
            "α",
            "alpha",
            "angle",
            "molar rotation",
            "[m]",
        ],
        parse: |text| parse_number(text.trim_end_matches(['°', ' '])).map(Printed::value),
        required: true,
    },
    Column {
        word: "uncertainty",
        headings: &["u", "standard uncertainty", "sd", "±"],
        parse: |text| parse_number(text.trim_end_matches(['°', ' '])).map(|u| u.value().abs()),
        required: false,
    },
];

/// Fits the dispersion of a table (CSV, XLSX) or of a JCAMP-DX curve.
///
/// # Errors
/// When the file cannot be read or no value of it can be used.
pub fn of_file(path: &Path, request: &DispersionRequest) -> Result<DispersionResult, DispersionError> {
    let mut refused = Vec::new();
    let mut unit = None;
    let rows: Vec<(f64, bool, f64, Option<f64>)> =
        if jcamp::is_jcamp_file(path).map_err(|error| SeriesFileError::Read(ReadError::io(path, error)))? {
            let (text, _) = read_whole(path, None).map_err(SeriesFileError::Read)?;
            let curve = jcamp::parse(&text).map_err(|error| DispersionError::Jcamp {
                path: path.to_owned(),
                error,
            })?;
            unit = Some(curve.y_unit.clone());
            let Some((points, is_vacuum)) = curve.by_nanometres(request.is_vacuum) else {
                return Err(DispersionError::Abscissa { unit: curve.x_unit });
            };
            points.into_iter().map(|(nm, y)| (nm, is_vacuum, y, None)).collect()
        } else {
            let series = series::read(path, &COLUMNS, &request.mappings)?;
            refused = series.refused;
            series
                .rows
                .iter()
                .filter_map(|row| Some((row.values[0]?, request.is_vacuum, row.values[1]?, row.values[2])))
                .collect()
        };
    let points: Vec<DispersionPoint> = rows
        .into_iter()
        .filter_map(|(nm, is_vacuum, value, u)| {
            let made = if is_vacuum {
                Wavelength::in_vacuum(nm)
            } else {
                Wavelength::in_air(nm)
            };
            Some(DispersionPoint {
                wavelength: made.ok()?,
                rotation: SpecificRotation::from_conventional(value),
                uncertainty: u
                    .filter(|u| *u > 0.0)
                    .map(SpecificRotation::from_conventional)
                    .or(request.uncertainty),
            })
        })
        .collect();
    if points.is_empty() {
        let detail = refused.first().map_or_else(
            || format!(": {} holds no row of values", path.display()),
            |row: &RefusedRow| format!(": line {} of {}: {}", row.line, path.display(), row.reason),
        );
        return Err(DispersionError::Nothing { detail });
    }
    let mut made = result(&points, request)?;
    made.refused = refused;
    made.unit = unit;
    Ok(made)
}

/// Fits the dispersion of results at several wavelengths; none where they stand at fewer than two.
pub fn of_results<'a>(results: impl IntoIterator<Item = &'a SampleResult>) -> Option<Dispersion> {
    let points: Vec<DispersionPoint> = results
        .into_iter()
        .filter_map(|result| {
            Some(DispersionPoint {
                wavelength: result.line.as_ref()?.wavelength()?,
                rotation: result.reduced.value,
                uncertainty: Some(result.reduced.uncertainty),
            })
        })
        .collect();
    let first = points.first()?.wavelength.to_air().nanometres();
    let differs = |point: &DispersionPoint| (point.wavelength.to_air().nanometres() - first).abs() > 0.1;
    points.iter().any(differs).then(|| analyse(&points))
}

/// Fits the dispersion of the values the library holds of a compound in one solvent.
///
/// Values of other sources, temperatures and concentrations are taken together, so their scatter is part of the
/// uncertainty; specifications, drafts withdrawn, values kept out and those of unclear identity are left out.
///
/// # Errors
/// When the library fails or holds no value that can be used.
pub fn of_compound(
    library: &Library,
    compound: CompoundId,
    solvent: Option<&Solvent>,
    request: &DispersionRequest,
) -> Result<DispersionResult, DispersionError> {
    let of = library.compound(compound)?;
    let (usable, mut left_out) = usable_of(library, &of)?;
    let mut points = Vec::new();
    let mut entries = Vec::new();
    for (entry, conditions, point) in usable {
        let is_here = match (solvent, &conditions.solvent) {
            (None, _) => true,
            (Some(asked), Some(found)) => kinship(asked, found) == Kinship::Same,
            (Some(_), None) => false,
        };
        if is_here {
            points.push(point);
            entries.push(entry.id.0);
        } else {
            let reason = "in another solvent, or in none that is printed";
            left_out.push((entry.id.0, reason.to_owned()));
        }
    }
    left_out.sort_by_key(|(entry, _)| *entry);
    if points.is_empty() {
        let detail = format!(": {} entries of {} were left out", left_out.len(), of.name);
        return Err(DispersionError::Nothing { detail });
    }
    let mut made = result(&points, request)?;
    made.entries = entries;
    made.left_out = left_out;
    Ok(made)
}

/// Entries of a compound that give a value at a known wavelength with what they say of the conditions, and those that give
/// none, with the reason.
type UsableValues = (Vec<(Entry, Conditions, DispersionPoint)>, Vec<(i64, String)>);

fn usable_of(library: &Library, of: &Compound) -> Result<UsableValues, LibraryError> {
    let mut usable = Vec::new();
    let mut left_out = Vec::new();
    for entry in library.entries(of.id)? {
        let conditions = Conditions::of(&entry.statement, of.molar_mass);
        let wavelength = conditions.line.as_ref().and_then(SpectralLine::wavelength);
        let reason = if entry.kind == EntryKind::Specification {
            "a specification"
        } else if entry.state == ReviewState::Withdrawn {
            "withdrawn"
        } else if entry.identity == Identity::Unclear || entry.kept_out.is_some() {
            "kept out of pooling"
        } else if let Some(wavelength) = wavelength {
            match value_of(&entry.statement, of.molar_mass, None, &ReadingWorth::default()) {
                Ok((rotation, uncertainty)) => {
                    let point = DispersionPoint {
                        wavelength,
                        rotation,
                        uncertainty: Some(uncertainty),
                    };
                    usable.push((entry, conditions, point));
                }
                Err(error) => left_out.push((entry.id.0, error.to_string())),
            }
            continue;
        } else {
            "no line is printed"
        };
        left_out.push((entry.id.0, reason.to_owned()));
    }
    Ok((usable, left_out))
}

/// Fewest lines of one source that make a table: with two, a law of two constants runs through both whatever they are.
pub const LEAST_LINES: usize = 3;

/// What one source gives of a compound in one solvent, form and stage.
#[derive(Clone, Debug)]
pub struct LineTable {
    /// The source.
    pub source: SourceId,
    /// The solvent; none where none is printed.
    pub solvent: Option<Solvent>,
    /// The form, such as a hydrate.
    pub form: Option<String>,
    /// The stage of mutarotation.
    pub stage: Option<Stage>,
    /// Its entries, one a value, in the order of `points`.
    pub entries: Vec<Entry>,
    /// Its values.
    pub points: Vec<DispersionPoint>,
    /// Its lines, nm in air, the shortest first.
    pub lines_nm: Vec<f64>,
}

/// Tables, and the entries that are in none, with the reason.
pub type LineTables = (Vec<LineTable>, Vec<(i64, String)>);

/// The values the library holds of a compound, by source, solvent, form and stage, those with most lines first; and the
/// entries that were left out, with the reason.
///
/// # Errors
/// When the library fails, or the compound is unknown.
pub fn tables_of(library: &Library, compound: CompoundId) -> Result<LineTables, LibraryError> {
    let (usable, left_out) = usable_of(library, &library.compound(compound)?)?;
    let mut tables: Vec<LineTable> = Vec::new();
    for (entry, conditions, point) in usable {
        let is_same = |a: &Option<Solvent>, b: &Option<Solvent>| match (a, b) {
            (Some(a), Some(b)) => kinship(a, b) == Kinship::Same,
            (None, None) => true,
            _ => false,
        };
        let of = tables.iter_mut().find(|table| {
            table.source == entry.source
                && is_same(&table.solvent, &conditions.solvent)
                && table.form == entry.statement.form
                && table.stage == entry.statement.stage
        });
        match of {
            Some(table) => {
                table.points.push(point);
                table.entries.push(entry);
            }
            None => tables.push(LineTable {
                source: entry.source,
                solvent: conditions.solvent,
                form: entry.statement.form.clone(),
                stage: entry.statement.stage,
                entries: vec![entry],
                points: vec![point],
                lines_nm: Vec::new(),
            }),
        }
    }
    for table in &mut tables {
        let air = |point: &DispersionPoint| point.wavelength.to_air().nanometres();
        let mut nm: Vec<f64> = table.points.iter().map(air).collect();
        nm.sort_by(f64::total_cmp);
        nm.dedup_by(|later, earlier| (*later - *earlier).abs() <= ONE_LINE_NM);
        table.lines_nm = nm;
    }
    tables.sort_by_key(|table| std::cmp::Reverse(table.lines_nm.len()));
    Ok((tables, left_out))
}

/// Fits the dispersion of what one source gives.
///
/// # Errors
/// When a line asked for has no known wavelength.
pub fn of_table(table: &LineTable, request: &DispersionRequest) -> Result<DispersionResult, DispersionError> {
    let mut made = result(&table.points, request)?;
    made.entries = table.entries.iter().map(|entry| entry.id.0).collect();
    Ok(made)
}

fn result(points: &[DispersionPoint], request: &DispersionRequest) -> Result<DispersionResult, DispersionError> {
    let wavelength = |line: &SpectralLine| {
        line.wavelength()
            .ok_or_else(|| DispersionError::Line { line: line.to_string() })
    };
    let dispersion = analyse(points);
    let mut predicted = Vec::new();
    for line in &request.at {
        let at = wavelength(line)?;
        predicted.push((at, dispersion.at(at)));
    }
    let conversion = match &request.convert {
        Some((from, to, value, u)) => {
            let (from, to) = (wavelength(from)?, wavelength(to)?);
            Some(LineConversion {
                from,
                to,
                value: (*value, *u),
                factor: dispersion.ratio(from, to),
            })
        }
        None => None,
    };
    Ok(DispersionResult {
        dispersion,
        predicted,
        conversion,
        refused: Vec::new(),
        entries: Vec::new(),
        left_out: Vec::new(),
        unit: None,
    })
}

/// The medium in words.
pub fn medium(wavelength: Wavelength) -> &'static str {
    match wavelength.medium() {
        Medium::Air => "air",
        Medium::Vacuum => "vacuum",
    }
}
