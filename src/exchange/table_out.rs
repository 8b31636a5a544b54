//! Tables of answers: named columns and one row each, as CSV or XLSX. Texts are guarded against being run as formulas.

use super::cell::{guard_cell, unguard_cell};
use rust_xlsxwriter::{Format as CellFormat, Workbook, XlsxError};
use std::io::{self, Write};

/// One cell.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum OutCell<'a> {
    /// Nothing.
    Empty,
    /// A text.
    Text(&'a str),
    /// A cell of a table that was read: written as it stood, a number as a number.
    Given(&'a str),
    /// A number, written with six significant digits.
    Number(f64),
    /// A whole number.
    Count(u64),
    /// True or false.
    Flag(bool),
}

/// A number in six significant digits, without trailing zeros; none where it is not finite.
fn digits(value: f64) -> Option<f64> {
    if value == 0.0 {
        return Some(0.0);
    }
    let factor = 10f64.powf(5.0 - value.abs().log10().floor());
    let rounded = (value * factor).round() / factor;
    rounded.is_finite().then_some(rounded)
}

/// The number a text is, when it is nothing else.
fn plain_number(text: &str) -> Option<f64> {
    let text = text.trim();
    let is_plain = text
        .bytes()
        .all(|b| b.is_ascii_digit() || matches!(b, b'+' | b'-' | b'.' | b'e' | b'E'));
    text.parse::<f64>().ok().filter(|number| is_plain && number.is_finite())
}

/// Writes the rows of a table.
pub trait TableOut: Send {
    /// Writes a row; missing cells at the end are empty.
    ///
    /// # Errors
    /// When the output cannot be written, or the format has no place for the row.
    fn row(&mut self, cells: &[OutCell<'_>]) -> io::Result<()>;

    /// Ends the table.
    ///
    /// # Errors
    /// When the output cannot be written.
    fn finish(self: Box<Self>) -> io::Result<()>;
}

/// Begins a table of comma-separated values in UTF-8.
///
/// # Errors
/// When the output cannot be written.
pub fn csv<'a>(out: &'a mut (dyn Write + Send), headings: &[&str]) -> io::Result<Box<dyn TableOut + 'a>> {
    let mut table = CsvTable {
        writer: csv::Writer::from_writer(out),
    };
    let cells: Vec<OutCell<'_>> = headings.iter().map(|heading| OutCell::Text(heading)).collect();
    table.row(&cells)?;
    Ok(Box::new(table))
}

struct CsvTable<'a> {
    writer: csv::Writer<&'a mut (dyn Write + Send)>,
}

impl TableOut for CsvTable<'_> {
    fn row(&mut self, cells: &[OutCell<'_>]) -> io::Result<()> {
        for cell in cells {
            match cell {
                OutCell::Empty => self.writer.write_field(""),
                OutCell::Text(text) => self.writer.write_field(guard_cell(text).as_bytes()),
                OutCell::Given(text) if plain_number(text).is_some() => self.writer.write_field(text.trim()),
                OutCell::Given(text) => self.writer.write_field(guard_cell(unguard_cell(text)).as_bytes()),
                OutCell::Number(value) => match digits(*value) {
                    Some(number) => self.writer.write_field(number.to_string()),
                    None => self.writer.write_field(""),
                },
                OutCell::Count(count) => self.writer.write_field(count.to_string()),
                OutCell::Flag(flag) => self.writer.write_field(if *flag { "true" } else { "false" }),
            }
            .map_err(csv_failed)?;
        }
        self.writer.write_record(None::<&[u8]>).map_err(csv_failed)
    }

    fn finish(mut self: Box<Self>) -> io::Result<()> {
        self.writer.flush()
    }
}

/// The error of the stream below, so that a closed pipe is known as one.
fn csv_failed(error: csv::Error) -> io::Error {
    match error.into_kind() {
        csv::ErrorKind::Io(error) => error,
        other => io::Error::other(format!("{other:?}")),
    }
}

/// Most rows of a sheet, the heading included (the format's own limit).
const MOST_ROWS: u32 = 1_048_576;

/// Begins a spreadsheet of one sheet.
///
/// # Errors
/// When the output cannot be written.
pub fn xlsx<'a>(
    out: &'a mut (dyn Write + Send),
    sheet_name: &str,
    headings: &[&str],
) -> io::Result<Box<dyn TableOut + 'a>> {
    let mut workbook = Workbook::new();
    let sheet = workbook.add_worksheet_with_constant_memory().map_err(failed)?;
    sheet.set_name(sheet_name).map_err(failed)?;
    sheet.set_freeze_panes(1, 0).map_err(failed)?;
    let bold = CellFormat::new().set_bold();
    for (at, heading) in (0..).zip(headings) {
        sheet
            .write_string_with_format(0, at, guard_cell(heading), &bold)
            .map_err(failed)?;
    }
    Ok(Box::new(XlsxTable { out, workbook, row: 1 }))
}

struct XlsxTable<'a> {
    out: &'a mut (dyn Write + Send),
    workbook: Workbook,
    row: u32,
}

impl TableOut for XlsxTable<'_> {
    fn row(&mut self, cells: &[OutCell<'_>]) -> io::Result<()> {
        if self.row == MOST_ROWS {
            return Err(io::Error::other(format!(
                "a sheet holds at most {} rows; write the answers as csv or jsonl",
                MOST_ROWS - 1
            )));
        }
        let sheet = self.workbook.worksheet_from_index(0).map_err(failed)?;
        for (at, cell) in (0..).zip(cells) {
            match cell {
                OutCell::Empty | OutCell::Text("") | OutCell::Given("") => continue,
                OutCell::Text(text) => sheet.write_string(self.row, at, guard_cell(text)),
                OutCell::Given(text) => match plain_number(text) {
                    Some(number) => sheet.write_number(self.row, at, number),
                    None => sheet.write_string(self.row, at, guard_cell(unguard_cell(text))),
                },
                OutCell::Number(value) => match digits(*value) {
                    Some(number) => sheet.write_number(self.row, at, number),
                    None => continue,
                },
                OutCell::Count(count) => sheet.write_number(self.row, at, *count as f64),
                OutCell::Flag(flag) => sheet.write_boolean(self.row, at, *flag),
            }
            .map_err(failed)?;
        }
        self.row += 1;
        Ok(())
    }

    fn finish(mut self: Box<Self>) -> io::Result<()> {
        // The archive is written in many small pieces.
        let mut out = io::BufWriter::new(&mut self.out);
        self.workbook.save_to_writer(&mut out).map_err(failed)?;
        out.flush()
    }
}

fn failed(error: XlsxError) -> io::Error {
    match error {
        XlsxError::IoError(error) => error,
        other => io::Error::other(other),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn texts_are_guarded_and_numbers_are_not() {
        let mut out: Vec<u8> = Vec::new();
        let mut table = csv(&mut out, &["id", "=SUM(A1)", "value"]).unwrap();
        table
            .row(&[
                OutCell::Given("-49.10"),
                OutCell::Given("'-menthol"),
                OutCell::Given("=A1"),
            ])
            .unwrap();
        table
            .row(&[OutCell::Text("=1+1"), OutCell::Empty, OutCell::Number(-49.123_456_7)])
            .unwrap();
        table
            .row(&[
                OutCell::Text("a,b"),
                OutCell::Flag(true),
                OutCell::Number(f64::INFINITY),
            ])
            .unwrap();
        table.finish().unwrap();
        let text = String::from_utf8(out).unwrap();
        assert_eq!(
            text,
            "id,'=SUM(A1),value\n-49.10,'-menthol,'=A1\n'=1+1,,-49.1235\n\"a,b\",true,\n"
        );
    }
}
