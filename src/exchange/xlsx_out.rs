//! A spreadsheet: a heading, then one row an entry. Numbers are numbers, shown with their printed digits; since most
//! readers see the value only, the last column, `digits`, says how many stood behind the decimal mark.

use super::cell::guard_cell;
use super::export::{ExportError, Exported, Limit, Row, Sink, columns, digits};
use super::fields::{Cell, Figure};
use rust_xlsxwriter::{Format, Workbook, XlsxError};
use std::io::{self, Write};

/// What a row cannot hold.
pub const LIMITS: [Limit; 5] = [
    Limit {
        what: "history",
        why: "only the entries as they are now are written",
    },
    Limit {
        what: "compounds and sources without an entry",
        why: "each row is an entry",
    },
    Limit {
        what: "empty texts",
        why: "an empty cell is a field that is not there",
    },
    Limit {
        what: "control characters",
        why: "readers of spreadsheets change all but tab and line feed",
    },
    Limit {
        what: "texts of more than 32,767 characters, and more than 1,048,575 entries",
        why: "such an export is refused",
    },
];

/// Most rows of a sheet, the heading included (the format's own limit).
const MOST_ROWS: u32 = 1_048_576;

/// Most decimals of a printed number.
const MOST_DECIMALS: usize = 12;

/// Writes rows.
pub struct XlsxOut<'a> {
    out: &'a mut (dyn Write + Send),
    workbook: Workbook,
    /// The number format for each count of printed decimals.
    formats: Vec<Format>,
    row: u32,
}

impl<'a> XlsxOut<'a> {
    /// Writes the heading.
    pub fn new(out: &'a mut (dyn Write + Send)) -> Result<Self, ExportError> {
        let mut workbook = Workbook::new();
        let sheet = workbook.add_worksheet_with_constant_memory().map_err(written)?;
        sheet.set_name("entries").map_err(written)?;
        sheet.set_freeze_panes(1, 1).map_err(written)?;
        let bold = Format::new().set_bold();
        for (at, name) in (0..).zip(columns().map(|(name, _)| name).chain(["digits"])) {
            sheet.write_string_with_format(0, at, name, &bold).map_err(written)?;
        }
        let formats = (0..=MOST_DECIMALS)
            .map(|decimals| match decimals {
                0 => Format::new().set_num_format("0"),
                n => Format::new().set_num_format(format!("0.{}", "0".repeat(n))),
            })
            .collect();
        Ok(Self {
            out,
            workbook,
            formats,
            row: 1,
        })
    }
}

impl Sink for XlsxOut<'_> {
    fn entry(&mut self, row: &Row<'_>, _: &mut Exported) -> Result<(), ExportError> {
        let unholdable = |reason: String| ExportError::Unholdable {
            entry: row.entry.id.0,
            format: "xlsx",
            reason,
        };
        if self.row == MOST_ROWS {
            return Err(unholdable(format!("a sheet holds {} entries", MOST_ROWS - 1)));
        }
        let record = row.record();
        let sheet = self.workbook.worksheet_from_index(0).map_err(written)?;
        let n_columns = columns().count();
        for (at, (name, _)) in (0..).zip(columns()) {
            let result = match record.get(name) {
                None => continue,
                Some(Cell::Number(Figure { value, decimals: None })) => sheet.write_number(self.row, at, *value),
                Some(Cell::Number(Figure {
                    value,
                    decimals: Some(decimals),
                })) => {
                    let format = &self.formats[usize::from(*decimals).min(MOST_DECIMALS)];
                    sheet.write_number_with_format(self.row, at, *value, format)
                }
                Some(Cell::Flag(flag)) => sheet.write_boolean(self.row, at, *flag),
                Some(cell) => sheet.write_string(self.row, at, guard_cell(&cell.to_string())),
            };
            result.map_err(|error| match error {
                XlsxError::MaxStringLengthExceeded => {
                    unholdable(format!("the text in {name} has more than 32,767 characters"))
                }
                other => written(other),
            })?;
        }
        if let Some(digits) = digits(&record) {
            let column = u16::try_from(n_columns).unwrap_or(u16::MAX);
            sheet.write_string(self.row, column, digits).map_err(written)?;
        }
        self.row += 1;
        Ok(())
    }

    fn finish(mut self: Box<Self>) -> Result<(), ExportError> {
        // The archive is written in many small pieces.
        let mut out = io::BufWriter::new(&mut self.out);
        self.workbook.save_to_writer(&mut out).map_err(written)?;
        Ok(out.flush()?)
    }
}

fn written(error: XlsxError) -> ExportError {
    ExportError::Io(match error {
        XlsxError::IoError(error) => error,
        other => io::Error::other(other),
    })
}
