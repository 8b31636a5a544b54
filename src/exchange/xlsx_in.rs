//! Spreadsheets: one sheet of an XLSX file, cell by cell, a formula by the value that was stored with it.
//!
//! The file is unpacked once to nowhere before anything reads it, see [`spreadsheet_bounds`].

use super::rows::{About, Event, Format, MOST_COLUMNS, ReadError, ReadOptions, Row, find_headings, shortened};
use super::spreadsheet_bounds;
use calamine::{DataRef, Reader, Xlsx};
use std::fs::File;
use std::io::BufReader;
use std::path::Path;

/// Rows among which the headings are looked for.
const PROBE_ROWS: usize = 30;

/// Reads a sheet.
pub(super) fn read<E: From<ReadError>>(
    path: &Path,
    options: &ReadOptions,
    knows: &dyn Fn(&str) -> bool,
    visit: &mut dyn FnMut(Event<'_>) -> Result<(), E>,
) -> Result<(), E> {
    let size = spreadsheet_bounds::admit(path, &options.bounds)?;
    let damaged = |error: calamine::XlsxError| ReadError::Spreadsheet {
        path: path.to_owned(),
        detail: error.to_string(),
    };
    let file = File::open(path).map_err(|error| ReadError::io(path, error))?;
    let mut book: Xlsx<_> = Xlsx::new(BufReader::new(file)).map_err(damaged)?;
    let sheets = book.sheet_names();
    let sheet = match &options.sheet {
        None => sheets
            .first()
            .cloned()
            .ok_or_else(|| ReadError::Empty { path: path.to_owned() })?,
        Some(asked) => sheets
            .iter()
            .find(|sheet| *sheet == asked)
            .cloned()
            .ok_or_else(|| ReadError::Sheet {
                path: path.to_owned(),
                asked: asked.clone(),
                found: sheets.clone(),
            })?,
    };
    let mut cells = book.worksheet_cells_reader(&sheet).map_err(damaged)?;
    let mut out = Sheet {
        path,
        name: &sheet,
        size,
        knows,
        probe: Some(Vec::new()),
        n_columns: 0,
        visit,
    };
    let mut row = Row::default();
    while let Some(cell) = cells.next_cell().map_err(damaged)? {
        let (at_row, at_column) = cell.get_position();
        let line = u64::from(at_row) + 1;
        if line != row.line {
            out.row(std::mem::take(&mut row))?;
            row.line = line;
        }
        let text = text_of(cell.get_value());
        let at_column = at_column as usize;
        if text.is_empty() {
            continue;
        }
        if at_column >= MOST_COLUMNS {
            row.fault = Some(format!("the row has more than {MOST_COLUMNS} columns"));
            continue;
        }
        if row.cells.len() <= at_column {
            row.cells.resize(at_column + 1, String::new());
        }
        row.cells[at_column] = text;
    }
    out.row(row)?;
    out.finish()
}

/// The rows of a sheet on their way: the first ones wait until the headings are found among them.
struct Sheet<'a, E> {
    path: &'a Path,
    name: &'a str,
    size: u64,
    knows: &'a dyn Fn(&str) -> bool,
    probe: Option<Vec<Row>>,
    n_columns: usize,
    visit: &'a mut dyn FnMut(Event<'_>) -> Result<(), E>,
}

impl<E: From<ReadError>> Sheet<'_, E> {
    fn row(&mut self, row: Row) -> Result<(), E> {
        if row.cells.iter().all(|cell| cell.trim().is_empty()) && row.fault.is_none() {
            return Ok(());
        }
        let Some(probe) = &mut self.probe else {
            return self.hand_out(row);
        };
        probe.push(row);
        if probe.len() < PROBE_ROWS {
            return Ok(());
        }
        self.begin()
    }

    fn finish(&mut self) -> Result<(), E> {
        if self.probe.is_some() { self.begin() } else { Ok(()) }
    }

    /// Finds the headings among the rows that wait, and hands out the rows below them.
    fn begin(&mut self) -> Result<(), E> {
        let rows = self.probe.take().unwrap_or_default();
        let texts: Vec<Vec<String>> = rows.iter().map(|row| row.cells.clone()).collect();
        let Some((at, _)) = find_headings(&texts, self.knows) else {
            let error = match texts.first() {
                None => ReadError::Empty {
                    path: self.path.to_owned(),
                },
                Some(first) => ReadError::NoHeadings {
                    path: self.path.to_owned(),
                    first: shortened(&first.join(", "), 80),
                },
            };
            return Err(error.into());
        };
        let headings: Vec<String> = texts[at].iter().map(|cell| cell.trim().to_owned()).collect();
        self.n_columns = headings.len();
        (self.visit)(Event::Begin(&About {
            sheet: Some(self.name.to_owned()),
            heading_line: Some(rows[at].line),
            ..About::of(Format::Xlsx)
        }))?;
        (self.visit)(Event::Columns(&headings))?;
        for row in rows.into_iter().skip(at + 1) {
            self.hand_out(row)?;
        }
        Ok(())
    }

    fn hand_out(&mut self, mut row: Row) -> Result<(), E> {
        if row.fault.is_none()
            && row
                .cells
                .iter()
                .skip(self.n_columns)
                .any(|cell| !cell.trim().is_empty())
        {
            row.fault = Some("the row has a cell in a column without a heading".to_owned());
        }
        row.bytes = self.size;
        (self.visit)(Event::Row(row))
    }
}

/// A cell as text. Numbers are written with at most 12 significant digits, which drops the noise of binary fractions
/// that a calculated cell carries.
fn text_of(cell: &DataRef<'_>) -> String {
    match cell {
        DataRef::Int(value) => value.to_string(),
        DataRef::Float(value) => number_text(*value),
        DataRef::String(text) => text.clone(),
        DataRef::SharedString(text) => (*text).to_owned(),
        DataRef::Bool(value) => value.to_string(),
        // A value that the spreadsheet took for a date is no number; in words, it is refused and seen.
        DataRef::DateTime(date) => format!("date {}", date.as_f64()),
        DataRef::DateTimeIso(text) => format!("date {text}"),
        DataRef::DurationIso(text) => format!("duration {text}"),
        DataRef::Error(error) => error.to_string(),
        DataRef::Empty => String::new(),
    }
}

fn number_text(value: f64) -> String {
    let rounded: f64 = format!("{value:.11e}").parse().unwrap_or(value);
    rounded.to_string()
}

#[cfg(test)]
mod tests {
    use super::number_text;

    #[test]
    fn numbers_lose_the_noise_of_binary_fractions() {
        assert_eq!(number_text(0.1 + 0.2), "0.3");
        assert_eq!(number_text(-49.1), "-49.1");
        assert_eq!(number_text(20.0), "20");
        assert_eq!(number_text(1e-3), "0.001");
    }
}
