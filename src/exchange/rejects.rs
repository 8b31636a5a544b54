//! The rows that were refused, in a file of their own that can be mended and imported again.
//!
//! A CSV file with the columns of the original in their original form and two more at the end, `line` and `reason`, which
//! an import leaves out. It takes its name only when it is complete, and never the place of another file.

use super::cell::guard_cell;
use super::rows::{Format, Row, shortened};
use serde_json::{Value, json};
use std::io::{self, BufWriter, Write};
use std::path::{Path, PathBuf};
use tempfile::NamedTempFile;

/// A file of refused rows in the making; nothing is made until the first one.
pub struct Rejects {
    /// Where it goes; none when rejects are not kept.
    path: Option<PathBuf>,
    writer: Option<Writer>,
}

/// The columns that are added.
const ADDED: [&str; 2] = ["line", "reason"];

/// Refused lines of JSON stay such lines, with a key `rejected`; rows of all other formats become a table.
enum Writer {
    Lines(BufWriter<NamedTempFile>),
    Table {
        writer: Box<csv::Writer<BufWriter<NamedTempFile>>>,
        /// Columns that are written: those of the file without the two an earlier import added.
        n_columns: usize,
        n_headings: usize,
    },
}

impl Rejects {
    /// Keeps rejects for a path that must be free.
    ///
    /// # Errors
    /// `AlreadyExists` when a file is there.
    pub fn new(path: PathBuf) -> io::Result<Self> {
        if path.exists() {
            return Err(io::ErrorKind::AlreadyExists.into());
        }
        Ok(Self {
            path: Some(path),
            writer: None,
        })
    }

    /// Keeps none.
    pub const fn none() -> Self {
        Self {
            path: None,
            writer: None,
        }
    }

    /// The free path beside an input: `FILE.rejects.csv` (`.jsonl` for JSON Lines), then `FILE.rejects-2.csv` and so on.
    /// The rejects of a mended rejects file are named after the first input.
    pub fn beside(input: &Path, format: Format) -> PathBuf {
        let ending = if format == Format::JsonLines { "jsonl" } else { "csv" };
        let name = input.file_name().unwrap_or_default().to_string_lossy().into_owned();
        let base = name.rfind(".rejects").map_or(name.as_str(), |at| &name[..at]);
        let first = input.with_file_name(format!("{base}.rejects.{ending}"));
        std::iter::once(first.clone())
            .chain((2..10_000).map(|n| input.with_file_name(format!("{base}.rejects-{n}.{ending}"))))
            .find(|path| !path.exists())
            .unwrap_or(first)
    }

    /// Adds a row.
    ///
    /// # Errors
    /// When the file cannot be written.
    pub fn add(&mut self, headings: &[String], row: &Row, reason: &str) -> io::Result<()> {
        let Some(path) = &self.path else { return Ok(()) };
        let writer = if let Some(writer) = &mut self.writer {
            writer
        } else {
            let folder = path.parent().filter(|folder| !folder.as_os_str().is_empty());
            let file = BufWriter::new(NamedTempFile::new_in(folder.unwrap_or(Path::new(".")))?);
            self.writer.insert(Writer::begin(file, headings, row.raw.is_some())?)
        };
        match writer {
            Writer::Lines(out) => {
                let raw = row.raw.as_deref().unwrap_or_default();
                let mut object = match serde_json::from_str(raw) {
                    Ok(Value::Object(object)) => object,
                    _ => serde_json::Map::from_iter([("text".to_owned(), Value::from(raw))]),
                };
                object.insert("rejected".to_owned(), json!({"line": row.line, "reason": reason}));
                serde_json::to_writer(&mut *out, &Value::Object(object))?;
                out.write_all(b"\n")
            }
            Writer::Table {
                writer,
                n_columns,
                n_headings,
            } => {
                let surplus: Vec<&str> = row
                    .cells
                    .iter()
                    .skip(*n_headings)
                    .map(String::as_str)
                    .filter(|cell| !cell.trim().is_empty())
                    .collect();
                // Cells beyond the headings would push line and reason aside; the reason tells them instead.
                let reason = if surplus.is_empty() {
                    reason.to_owned()
                } else {
                    format!("{reason} (further cells: {})", shortened(&surplus.join(" | "), 500))
                };
                let cells = (0..*n_columns).map(|at| guarded(row.cells.get(at).map_or("", String::as_str)));
                let record: Vec<String> = cells.chain([row.line.to_string(), reason]).collect();
                Ok(writer.write_record(&record)?)
            }
        }
    }

    /// Gives the file its name; none when no row was refused.
    ///
    /// # Errors
    /// When it cannot be written, or a file has taken the name meanwhile.
    pub fn finish(self) -> io::Result<Option<PathBuf>> {
        let (Some(path), Some(writer)) = (self.path, self.writer) else {
            return Ok(None);
        };
        let buffer = match writer {
            Writer::Lines(out) => out,
            Writer::Table { writer, .. } => writer
                .into_inner()
                .map_err(|error| io::Error::other(error.to_string()))?,
        };
        let file = buffer.into_inner().map_err(io::IntoInnerError::into_error)?;
        file.persist_noclobber(&path).map_err(|error| error.error)?;
        Ok(Some(path))
    }
}

impl Writer {
    fn begin(file: BufWriter<NamedTempFile>, headings: &[String], is_lines: bool) -> io::Result<Self> {
        if is_lines {
            return Ok(Self::Lines(file));
        }
        let mut writer = Box::new(csv::Writer::from_writer(file));
        let n_headings = headings.len();
        let is_reject = headings.ends_with(&ADDED.map(str::to_owned));
        let n_columns = if is_reject {
            n_headings - ADDED.len()
        } else {
            n_headings
        };
        writer.write_record(headings.iter().take(n_columns).map(String::as_str).chain(ADDED))?;
        Ok(Self::Table {
            writer,
            n_columns,
            n_headings,
        })
    }
}

/// A cell that a spreadsheet would run as a formula gets an apostrophe; numbers stay as they are.
fn guarded(cell: &str) -> String {
    // A cell that came with an apostrophe is guarded as it stands.
    if cell.starts_with('\'') || cell.trim().parse::<f64>().is_ok() {
        cell.to_owned()
    } else {
        guard_cell(cell).into_owned()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_of_rejects_never_pile_up() {
        assert_eq!(
            Rejects::beside(Path::new("a/x.csv"), Format::Table),
            Path::new("a/x.csv.rejects.csv")
        );
        assert_eq!(
            Rejects::beside(Path::new("a/x.csv.rejects.csv"), Format::Table),
            Path::new("a/x.csv.rejects.csv")
        );
        assert_eq!(
            Rejects::beside(Path::new("x.xlsx"), Format::Xlsx),
            Path::new("x.xlsx.rejects.csv")
        );
    }

    #[test]
    fn formulas_are_guarded_and_numbers_are_not() {
        assert_eq!(guarded("=1+1"), "'=1+1");
        assert_eq!(guarded("-49.1"), "-49.1");
        assert_eq!(guarded("@x"), "'@x");
        assert_eq!(guarded("plain"), "plain");
    }
}
