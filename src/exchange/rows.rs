//! The rows of a file that is imported, whatever its format: cells under headings, one record each.
//!
//! [`read`] finds the format and hands out [`Event`]s: first what the file is, then its headings, then its rows, so that a
//! file of any length passes in constant memory. What a row means is the business of [`super::record`].

use super::spreadsheet_bounds::SpreadsheetBounds;
use super::{cif_in, jsonl_in, table_in, text_in, xlsx_in};
use crate::statement::Statement;
use std::fs::File;
use std::io::{self, Read};
use std::path::{Path, PathBuf};

/// A format that can be read.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Format {
    /// Delimited text.
    Table,
    /// A spreadsheet, XLSX.
    Xlsx,
    /// One JSON object a line.
    JsonLines,
    /// Crystallographic information file.
    Cif,
    /// Any text, read for the rotations printed in it.
    Text,
}

impl Format {
    /// The format's word.
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Table => "csv",
            Self::Xlsx => "xlsx",
            Self::JsonLines => "jsonl",
            Self::Cif => "cif",
            Self::Text => "text",
        }
    }
}

/// How a file is to be read.
#[derive(Clone, Debug, Default)]
pub struct ReadOptions {
    /// The format; found by content and name without it.
    pub format: Option<Format>,
    /// Label of the encoding, as the WHATWG Encoding Standard lists them; found by content without it.
    pub encoding: Option<String>,
    /// The delimiter of a table; found by content without it.
    pub delimiter: Option<char>,
    /// The sheet of a spreadsheet; the first without it.
    pub sheet: Option<String>,
    /// What a spreadsheet may unpack to.
    pub bounds: SpreadsheetBounds,
}

/// What a file was found to be.
#[derive(Clone, Debug, PartialEq)]
pub struct About {
    /// Its format.
    pub format: Format,
    /// Its encoding, where it is text.
    pub encoding: Option<&'static str>,
    /// Whether the encoding was guessed from the bytes, not told by a mark.
    pub encoding_guessed: bool,
    /// The delimiter of a table.
    pub delimiter: Option<char>,
    /// The sheet.
    pub sheet: Option<String>,
    /// The line of the headings.
    pub heading_line: Option<u64>,
}

impl About {
    /// A file of which only the format is known.
    pub const fn of(format: Format) -> Self {
        Self {
            format,
            encoding: None,
            encoding_guessed: false,
            delimiter: None,
            sheet: None,
            heading_line: None,
        }
    }
}

/// One record of a file.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Row {
    /// Its line (row, in a spreadsheet), from 1.
    pub line: u64,
    /// Its cells as they stand in the file, in the order of the headings; missing ones at the end are empty.
    pub cells: Vec<String>,
    /// Why it cannot be used at all, when it cannot.
    pub fault: Option<String>,
    /// The statement, where the reader of printed text found the row.
    pub statement: Option<Box<Statement>>,
    /// The record as it stands in a file of lines.
    pub raw: Option<String>,
    /// Bytes of the file read so far.
    pub bytes: u64,
}

/// What reading a file gives.
#[derive(Debug)]
pub enum Event<'a> {
    /// What the file is; first, once.
    Begin(&'a About),
    /// The headings; again whenever a format without a heading line shows a new one at the end.
    Columns(&'a [String]),
    /// A record.
    Row(Row),
}

/// Why a file cannot be read.
#[derive(Debug, thiserror::Error)]
pub enum ReadError {
    /// The system refuses.
    #[error("{} cannot be read: {error}; check the path and the permissions", path.display())]
    Io {
        /// The file.
        path: PathBuf,
        /// What the system says.
        error: io::Error,
    },
    /// The format cannot be found.
    #[error("{}: no format is recognised; name it with --format (csv, xlsx, jsonl, cif, text)", path.display())]
    Format {
        /// The file.
        path: PathBuf,
    },
    /// There is nothing in it.
    #[error("{} is empty; look whether it is the right file and was saved", path.display())]
    Empty {
        /// The file.
        path: PathBuf,
    },
    /// No heading is known.
    #[error(
        "{}: no line of headings is found (the first line holds: {first}); give a heading line with a value and a \
         compound, map the columns with --map COLUMN=FIELD, or read printed text with --format text", path.display()
    )]
    NoHeadings {
        /// The file.
        path: PathBuf,
        /// What the first line holds.
        first: String,
    },
    /// There are more columns than any table has.
    #[error("{} has {n_columns} columns; at most {MOST_COLUMNS} are read, so this is no table of values", path.display())]
    Columns {
        /// The file.
        path: PathBuf,
        /// The columns of its headings.
        n_columns: usize,
    },
    /// The encoding is not known or does not fit.
    #[error("{}: {detail}; name the encoding with --encoding", path.display())]
    Encoding {
        /// The file.
        path: PathBuf,
        /// What is wrong.
        detail: String,
    },
    /// A spreadsheet that cannot be read.
    #[error("{} is no readable XLSX file: {detail}; open it in a spreadsheet and save it anew, or save it as CSV", path.display())]
    Spreadsheet {
        /// The file.
        path: PathBuf,
        /// What is wrong.
        detail: String,
    },
    /// The sheet is not there.
    #[error("{} has no sheet \"{asked}\"; its sheets are {}", path.display(), found.join(", "))]
    Sheet {
        /// The file.
        path: PathBuf,
        /// The sheet asked for.
        asked: String,
        /// The sheets it has.
        found: Vec<String>,
    },
    /// The file is larger, unpacked or in one record, than will be read.
    #[error("{}: {what} is larger than {limit_mib} MiB; split the file", path.display())]
    TooLarge {
        /// The file.
        path: PathBuf,
        /// What is too large.
        what: &'static str,
        /// The limit.
        limit_mib: u64,
    },
    /// A spreadsheet unpacks to something no table of values is.
    #[error(
        "{}: the spreadsheet has more than {limit} {what}; copy the table of values into a new one, or save it as CSV",
        path.display()
    )]
    Bound {
        /// The file.
        path: PathBuf,
        /// What there is too much of.
        what: &'static str,
        /// The limit.
        limit: u64,
    },
}

impl ReadError {
    /// An error of the system about a file.
    pub fn io(path: &Path, error: io::Error) -> Self {
        Self::Io {
            path: path.to_owned(),
            error,
        }
    }

    /// The file.
    pub fn path(&self) -> &Path {
        match self {
            Self::Io { path, .. }
            | Self::Format { path }
            | Self::Empty { path }
            | Self::NoHeadings { path, .. }
            | Self::Columns { path, .. }
            | Self::Encoding { path, .. }
            | Self::Spreadsheet { path, .. }
            | Self::Sheet { path, .. }
            | Self::TooLarge { path, .. }
            | Self::Bound { path, .. } => path,
        }
    }
}

/// Most columns of a row; a longer one is refused as a row.
pub const MOST_COLUMNS: usize = 4096;

/// Most bytes of one record.
pub const MOST_RECORD: u64 = 16 << 20;

/// Most bytes of a file that is held as a whole (printed text, CIF).
pub const MOST_WHOLE: u64 = 256 << 20;

/// Reads a file; `knows` says whether a heading means something, by which the line of headings is found.
///
/// # Errors
/// What `visit` returns, or a [`ReadError`]; rows that cannot be used are no errors but come with their fault.
pub fn read<E: From<ReadError>>(
    path: &Path,
    options: &ReadOptions,
    knows: &dyn Fn(&str) -> bool,
    visit: &mut dyn FnMut(Event<'_>) -> Result<(), E>,
) -> Result<(), E> {
    let format = match options.format {
        Some(format) => format,
        None => find_format(path)?,
    };
    match format {
        Format::Table => table_in::read(path, options, knows, visit),
        Format::Xlsx => xlsx_in::read(path, options, knows, visit),
        Format::JsonLines => jsonl_in::read(path, visit),
        Format::Cif => cif_in::read(path, options, visit),
        Format::Text => text_in::read(path, options, visit),
    }
}

/// The format, by the first bytes and then by the ending of the name.
fn find_format(path: &Path) -> Result<Format, ReadError> {
    let mut head = Vec::new();
    File::open(path)
        .and_then(|file| file.take(4096).read_to_end(&mut head))
        .map_err(|error| ReadError::io(path, error))?;
    if head.is_empty() {
        return Err(ReadError::Empty { path: path.to_owned() });
    }
    let ending = path
        .extension()
        .map(|ending| ending.to_string_lossy().to_lowercase())
        .unwrap_or_default();
    if head.starts_with(b"PK\x03\x04") || ending == "xlsx" {
        return Ok(Format::Xlsx);
    }
    let by_name = match ending.as_str() {
        "csv" | "tsv" | "tab" => Some(Format::Table),
        "jsonl" | "ndjson" => Some(Format::JsonLines),
        "cif" => Some(Format::Cif),
        _ => None,
    };
    if let Some(format) = by_name {
        return Ok(format);
    }
    let text = String::from_utf8_lossy(&head);
    let mut lines = text
        .trim_start_matches('\u{FEFF}')
        .lines()
        .map(str::trim)
        .filter(|line| !line.is_empty() && !line.starts_with('#'));
    let first = lines.next().unwrap_or_default();
    if first.starts_with('{') {
        return Ok(Format::JsonLines);
    }
    if first.to_lowercase().starts_with("data_") {
        return Ok(Format::Cif);
    }
    if ending == "txt" || ending.is_empty() || first.contains([',', ';', '\t', '|']) {
        return Ok(Format::Table);
    }
    Err(ReadError::Format { path: path.to_owned() })
}

/// How many lines end in some bytes.
pub(super) fn n_line_ends(bytes: &[u8]) -> u64 {
    bytes.iter().map(|&byte| u64::from(byte == b'\n')).sum()
}

/// A text cut to a number of characters, with `…` where something was dropped.
pub(super) fn shortened(text: &str, n_chars: usize) -> String {
    if text.chars().count() <= n_chars {
        return text.to_owned();
    }
    let head: String = text.chars().take(n_chars.saturating_sub(1)).collect();
    format!("{head}…")
}

/// Finds the line of headings among the first rows: the one with most known headings, the earliest of equals.
pub(super) fn find_headings(rows: &[Vec<String>], knows: &dyn Fn(&str) -> bool) -> Option<(usize, usize)> {
    let mut best: Option<(usize, usize)> = None;
    for (at, row) in rows.iter().enumerate() {
        let n_known = row
            .iter()
            .filter(|cell| cell.chars().count() <= 60 && knows(cell))
            .count();
        if n_known > best.map_or(0, |(_, most)| most) {
            best = Some((at, n_known));
        }
    }
    best
}
