//! What sharing a library asks of the store beyond ordinary questions: a steady view for long readings, every source,
//! and the state of the history. The other direction, records that keep their stable ids, is in `changes::keep`.

use super::Library;
use super::error::LibraryError;
use super::rows::{self, SELECT_SOURCE};
use super::types::Source;
use rusqlite::OptionalExtension;

/// The newest line of the history, which stands for all lines before it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct HistoryHead {
    /// Lines so far.
    pub n_lines: u64,
    /// The hash of the newest line, hexadecimal SHA-256.
    pub digest: String,
}

impl Library {
    /// Runs several readings on one state of the library, whatever other processes write meanwhile.
    pub fn in_snapshot<T, E: From<LibraryError>>(&self, read: impl FnOnce(&Self) -> Result<T, E>) -> Result<T, E> {
        // Dropped at the end, which ends the transaction; nothing was written in it.
        let _transaction = self.connection.unchecked_transaction().map_err(LibraryError::from)?;
        read(self)
    }

    /// Calls `visit` with every source, in order of its number. Reads the whole table.
    pub fn for_each_source(
        &self,
        mut visit: impl FnMut(Source) -> Result<(), LibraryError>,
    ) -> Result<(), LibraryError> {
        let mut select = self
            .connection
            .prepare_cached(&format!("{SELECT_SOURCE} ORDER BY id"))?;
        let mut rows = select.query([])?;
        while let Some(row) = rows.next()? {
            visit(rows::source_from_row(row)?)?;
        }
        Ok(())
    }

    /// The newest line of the history; None for a library without one.
    pub fn history_head(&self) -> Result<Option<HistoryHead>, LibraryError> {
        Ok(self
            .connection
            .query_row("SELECT id, hash FROM history ORDER BY id DESC LIMIT 1", [], |row| {
                Ok(HistoryHead {
                    n_lines: row.get::<_, i64>(0)?.cast_unsigned(),
                    digest: row.get(1)?,
                })
            })
            .optional()?)
    }
}
