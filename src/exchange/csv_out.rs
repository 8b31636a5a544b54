//! Comma-separated values: a heading, then one row an entry, in UTF-8. Numbers stand with their printed digits.

use super::cell::guard_cell;
use super::export::{ExportError, Exported, Limit, Row, Sink, columns};
use super::fields::Cell;
use std::io::Write;

/// What a row cannot hold.
pub const LIMITS: [Limit; 3] = [
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
];

/// Writes rows.
pub struct CsvOut<'a> {
    writer: csv::Writer<&'a mut (dyn Write + Send)>,
}

impl<'a> CsvOut<'a> {
    /// Writes the heading.
    pub fn new(out: &'a mut (dyn Write + Send)) -> Result<Self, ExportError> {
        let mut writer = csv::Writer::from_writer(out);
        writer
            .write_record(columns().map(|(name, _)| name))
            .map_err(std::io::Error::from)?;
        Ok(Self { writer })
    }
}

impl Sink for CsvOut<'_> {
    fn entry(&mut self, row: &Row<'_>, _: &mut Exported) -> Result<(), ExportError> {
        let record = row.record();
        for (name, _) in columns() {
            let text = record.get(name).map(ToString::to_string).unwrap_or_default();
            // A number finer than its printed digits is a text to a spreadsheet, but never a formula it could run.
            let cell = match record.get(name) {
                Some(Cell::Number(_)) => text.into(),
                _ => guard_cell(&text),
            };
            self.writer.write_field(cell.as_bytes()).map_err(std::io::Error::from)?;
        }
        self.writer.write_record(None::<&[u8]>).map_err(std::io::Error::from)?;
        Ok(())
    }

    fn finish(mut self: Box<Self>) -> Result<(), ExportError> {
        Ok(self.writer.flush()?)
    }
}
