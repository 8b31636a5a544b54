//! Delimited text: commas, semicolons, tabs or bars, in any encoding, with the line of headings somewhere near the top.
//!
//! The delimiter is the one under which most headings are known. Records pass one at a time; one longer than
//! [`MOST_RECORD`] (a quotation mark that is never closed) ends the reading with an error.

use super::decode::{Decoding, find_encoding};
use super::rows::{
    About, Event, Format, MOST_COLUMNS, MOST_RECORD, ReadError, ReadOptions, Row, find_headings, shortened,
};
use csv::StringRecord;
use std::cell::Cell;
use std::fs::File;
use std::io::{self, Read};
use std::path::Path;
use std::rc::Rc;

/// Decoded bytes that are looked at to find delimiter and headings.
const PROBE: usize = 1 << 16;

/// Rows among which the headings are looked for.
const PROBE_ROWS: usize = 30;

/// The delimiters tried, the likeliest of equals first.
const DELIMITERS: [char; 4] = ['\t', ';', ',', '|'];

/// Reads a table.
pub(super) fn read<E: From<ReadError>>(
    path: &Path,
    options: &ReadOptions,
    knows: &dyn Fn(&str) -> bool,
    visit: &mut dyn FnMut(Event<'_>) -> Result<(), E>,
) -> Result<(), E> {
    let found = find_encoding(path, options.encoding.as_deref())?;
    let open = || File::open(path).map_err(|error| ReadError::io(path, error));
    let mut probe = Vec::new();
    Decoding::new(open()?, found.encoding)
        .take(PROBE as u64)
        .read_to_end(&mut probe)
        .map_err(|error| ReadError::io(path, error))?;
    if probe.len() < PROBE && probe.iter().all(u8::is_ascii_whitespace) {
        return Err(ReadError::Empty { path: path.to_owned() }.into());
    }
    let shape = find_shape(&probe, options.delimiter, knows).ok_or_else(|| ReadError::NoHeadings {
        path: path.to_owned(),
        first: shortened(
            String::from_utf8_lossy(&probe)
                .lines()
                .next()
                .unwrap_or_default()
                .trim(),
            80,
        ),
    })?;

    let ends_in_two = probe.windows(2).any(|pair| pair == b"\r\n");
    let record_bytes = Rc::new(Cell::new(0));
    let file_bytes = Rc::new(Cell::new(0));
    let counted = Counted {
        input: open()?,
        bytes: Rc::clone(&file_bytes),
    };
    let limited = Limited {
        input: Decoding::new(counted, found.encoding),
        bytes: Rc::clone(&record_bytes),
    };
    let mut reader = builder(shape.delimiter).from_reader(limited);
    let mut record = StringRecord::new();
    let mut n_columns = 0;
    let mut at = 0;
    loop {
        let more = reader
            .read_record(&mut record)
            .map_err(|error| read_error(path, &error))?;
        if !more {
            return Ok(());
        }
        record_bytes.set(0);
        // The reader takes the second half of "\r\n" for the beginning of the next record and counts its line there.
        let line = record
            .position()
            .map_or(0, |p| p.line() + u64::from(ends_in_two && p.byte() > 0));
        if at < shape.heading_row {
            at += 1;
            continue;
        }
        if at == shape.heading_row {
            at += 1;
            let headings: Vec<String> = record.iter().map(|cell| cell.trim().to_owned()).collect();
            n_columns = headings.len();
            if n_columns > MOST_COLUMNS {
                return Err(ReadError::Columns {
                    path: path.to_owned(),
                    n_columns,
                }
                .into());
            }
            visit(Event::Begin(&About {
                encoding: Some(found.encoding.name()),
                encoding_guessed: found.guessed,
                delimiter: Some(shape.delimiter),
                heading_line: Some(line),
                ..About::of(Format::Table)
            }))?;
            visit(Event::Columns(&headings))?;
            continue;
        }
        if record.iter().all(|cell| cell.trim().is_empty()) {
            continue;
        }
        let mut row = Row {
            line,
            bytes: file_bytes.get(),
            fault: fault(&record, n_columns, found.encoding.name()),
            ..Row::default()
        };
        row.cells.extend(record.iter().take(MOST_COLUMNS).map(str::to_owned));
        visit(Event::Row(row))?;
    }
}

/// Where the table begins and what separates its cells.
struct Shape {
    delimiter: char,
    heading_row: usize,
}

fn find_shape(probe: &[u8], told: Option<char>, knows: &dyn Fn(&str) -> bool) -> Option<Shape> {
    let tried = told.map_or(DELIMITERS.to_vec(), |delimiter| vec![delimiter]);
    let mut best: Option<(Shape, usize)> = None;
    for delimiter in tried {
        let rows: Vec<Vec<String>> = builder(delimiter)
            .from_reader(probe)
            .records()
            .map_while(Result::ok)
            .take(PROBE_ROWS)
            .map(|record| record.iter().take(MOST_COLUMNS).map(str::to_owned).collect())
            .collect();
        if let Some((heading_row, n_known)) = find_headings(&rows, knows)
            && best.as_ref().is_none_or(|(_, most)| n_known > *most)
        {
            best = Some((Shape { delimiter, heading_row }, n_known));
        }
    }
    best.map(|(shape, _)| shape)
}

fn builder(delimiter: char) -> csv::ReaderBuilder {
    let mut builder = csv::ReaderBuilder::new();
    builder
        .delimiter(u8::try_from(delimiter).unwrap_or(b','))
        .flexible(true)
        .has_headers(false);
    builder
}

/// Why a record cannot be used.
fn fault(record: &StringRecord, n_columns: usize, encoding: &str) -> Option<String> {
    let surplus = record.iter().skip(n_columns).any(|cell| !cell.trim().is_empty());
    if surplus {
        return Some(format!(
            "the row has {} cells where the headings are {n_columns}; a cell that holds the delimiter needs quotation marks",
            record.len()
        ));
    }
    text_fault(record.as_slice(), encoding)
}

/// Why a text cannot be used: bytes that are no characters.
pub(super) fn text_fault(text: &str, encoding: &str) -> Option<String> {
    if text.contains('\0') {
        return Some("the row holds a NUL byte; the file is damaged or in another encoding".to_owned());
    }
    if text.contains('\u{FFFD}') {
        return Some(format!(
            "the row holds bytes that are no text in {encoding}; name the encoding with --encoding"
        ));
    }
    None
}

fn read_error(path: &Path, error: &csv::Error) -> ReadError {
    if let csv::ErrorKind::Io(inner) = error.kind() {
        if inner
            .get_ref()
            .is_some_and(<dyn std::error::Error + Send + Sync>::is::<RecordTooLong>)
        {
            return ReadError::TooLarge {
                path: path.to_owned(),
                what: "one record (is a quotation mark not closed?)",
                limit_mib: MOST_RECORD >> 20,
            };
        }
        return ReadError::io(path, io::Error::new(inner.kind(), inner.to_string()));
    }
    ReadError::io(path, io::Error::new(io::ErrorKind::InvalidData, error.to_string()))
}

/// A record passes [`MOST_RECORD`].
#[derive(Debug, thiserror::Error)]
#[error("one record is longer than {} MiB", MOST_RECORD >> 20)]
struct RecordTooLong;

/// Ends a stream with an error when one record takes too many bytes of it.
struct Limited<R> {
    input: R,
    /// Bytes since the last record.
    bytes: Rc<Cell<u64>>,
}

impl<R: Read> Read for Limited<R> {
    fn read(&mut self, out: &mut [u8]) -> io::Result<usize> {
        if self.bytes.get() > MOST_RECORD {
            return Err(io::Error::other(RecordTooLong));
        }
        let n = self.input.read(out)?;
        self.bytes.set(self.bytes.get() + n as u64);
        Ok(n)
    }
}

/// Counts the bytes that were read of a stream.
struct Counted<R> {
    input: R,
    bytes: Rc<Cell<u64>>,
}

impl<R: Read> Read for Counted<R> {
    fn read(&mut self, out: &mut [u8]) -> io::Result<usize> {
        let n = self.input.read(out)?;
        self.bytes.set(self.bytes.get() + n as u64);
        Ok(n)
    }
}
