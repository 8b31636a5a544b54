//! Versions of what a library file rests on, for reports of faults.

use super::{file, index};
use serde::Serialize;

/// Versions of what a library file rests on.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Versions {
    /// The format of library files this program writes.
    pub schema: i64,
    /// The format of the search index.
    pub index: u32,
    /// The version of SQLite.
    pub sqlite: String,
}

/// The versions of this program.
pub fn versions() -> Versions {
    Versions {
        schema: file::FORMAT,
        index: index::INDEX_FORMAT,
        sqlite: rusqlite::version().to_owned(),
    }
}
