//! Any text, read for the rotations printed in it: one row for each.

use super::decode::read_whole;
use super::rows::{About, Event, Format, ReadError, ReadOptions, Row, n_line_ends};
use crate::notation;
use std::path::Path;

/// The one column: the text as printed.
pub(super) const COLUMNS: [&str; 1] = ["as_printed"];

/// Reads the text.
pub(super) fn read<E: From<ReadError>>(
    path: &Path,
    options: &ReadOptions,
    visit: &mut dyn FnMut(Event<'_>) -> Result<(), E>,
) -> Result<(), E> {
    let (text, encoding) = read_whole(path, options.encoding.as_deref())?;
    visit(Event::Begin(&About {
        encoding: Some(encoding.encoding.name()),
        encoding_guessed: encoding.guessed,
        ..About::of(Format::Text)
    }))?;
    visit(Event::Columns(&COLUMNS.map(str::to_owned)))?;
    let mut line = 1;
    let mut counted = 0;
    for found in notation::read(&text) {
        let before = text.as_bytes().get(counted..found.start).unwrap_or_default();
        line += n_line_ends(before);
        counted = found.start.max(counted);
        visit(Event::Row(Row {
            line,
            cells: vec![found.statement.as_printed.clone()],
            statement: Some(Box::new(found.statement)),
            bytes: found.end as u64,
            ..Row::default()
        }))?;
    }
    Ok(())
}
