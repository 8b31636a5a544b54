//! The starter library.

use crate::library::{Library, LibraryError};

/// What loading the starter entries came to. Loaded and refused rows add up to the rows of the files.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct StarterReport {
    /// Entries loaded.
    pub loaded: usize,
    /// Rows that could not be loaded.
    pub refused: Vec<RefusedRow>,
    /// Rows loaded, by file.
    pub files: Vec<(String, usize)>,
    /// Compounds of which only the name is known.
    pub name_only: usize,
}

/// A row that could not be loaded.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct RefusedRow {
    /// The file.
    pub file: String,
    /// The line in it.
    pub line: usize,
    /// Why.
    pub reason: String,
}

/// Loads the starter entries into a library, in one transaction.
pub fn load_starter(
    _library: &mut Library,
    _progress: &mut dyn FnMut(usize, usize),
) -> Result<StarterReport, LibraryError> {
    Ok(StarterReport::default())
}
