//! JSON Lines: one flat object an entry, with the fields of a row. Numbers are JSON numbers with their printed digits;
//! since most readers see the value only, the field `digits` says how many stood behind the decimal mark.

use super::export::{ExportError, Exported, Limit, Row, Sink, columns, digits};
use super::fields::Cell;
use std::io::{self, BufWriter, Write};

/// What a line cannot hold.
pub const LIMITS: [Limit; 2] = [
    Limit {
        what: "history",
        why: "only the entries as they are now are written",
    },
    Limit {
        what: "compounds and sources without an entry",
        why: "each line is an entry",
    },
];

/// Writes lines.
pub struct JsonOut<'a> {
    out: BufWriter<&'a mut (dyn Write + Send)>,
}

impl<'a> JsonOut<'a> {
    /// Begins.
    pub fn new(out: &'a mut (dyn Write + Send)) -> Self {
        Self {
            out: BufWriter::new(out),
        }
    }
}

impl Sink for JsonOut<'_> {
    fn entry(&mut self, row: &Row<'_>, _: &mut Exported) -> Result<(), ExportError> {
        let record = row.record();
        let mut between = "{";
        for (name, _) in columns() {
            let Some(cell) = record.get(name) else { continue };
            write!(self.out, "{between}\"{name}\":")?;
            match cell {
                // Digits of print are the text of a JSON number.
                Cell::Number(figure) if figure.is_plain() => write!(self.out, "{figure}")?,
                cell => serde_json::to_writer(&mut self.out, cell).map_err(io::Error::from)?,
            }
            between = ",";
        }
        if let Some(digits) = digits(&record) {
            write!(self.out, ",\"digits\":\"{digits}\"")?;
        }
        self.out.write_all(b"}\n")?;
        Ok(())
    }

    fn finish(mut self: Box<Self>) -> Result<(), ExportError> {
        Ok(self.out.flush()?)
    }
}
