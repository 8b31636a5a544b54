//! Keeping a library: where it lies, its first opening with the starter entries, backup, restore, counts.

use crate::exchange::starter::{StarterReport, load_starter};
use crate::library::{Access, Change, CopyReport, HistoryCheck, Library, LibraryError, Statistics};
use etcetera::BaseStrategy;
use std::path::{Path, PathBuf};

/// What happened while a library was opened, for a person to read.
#[derive(Clone, Debug, PartialEq)]
pub enum Notice {
    /// No library was there: one is made and filled with the starter entries.
    FirstUse {
        /// Where.
        path: PathBuf,
    },
    /// Starter records loaded so far.
    Loading {
        /// Records done.
        done: usize,
        /// Records in all.
        total: usize,
    },
    /// The starter entries are in.
    Loaded(StarterReport),
}

/// Where a library lies when no file is named: `biot/library.biot` in the platform's folder for a user's data.
///
/// # Errors
/// When the system names no home folder.
pub fn default_path() -> Result<PathBuf, LibraryError> {
    let strategy = etcetera::base_strategy::choose_native_strategy().map_err(|error| {
        LibraryError::Refused(format!(
            "there is no home folder to keep a library in ({error}); name a file with --library"
        ))
    })?;
    Ok(strategy.data_dir().join("biot").join("library.biot"))
}

/// Opens the library; where none is, one is made with the starter entries. Two processes at first use are no problem:
/// the first to finish gives the file its name, the other opens that.
pub fn open_or_create(path: &Path, access: Access, notify: &mut dyn FnMut(Notice)) -> Result<Library, LibraryError> {
    if !path.exists() {
        notify(Notice::FirstUse { path: path.to_owned() });
        match create_with_starter(path, notify) {
            Ok(_) | Err(LibraryError::Exists { .. }) => {}
            Err(error) => return Err(error),
        }
    }
    Library::open(path, access)
}

/// Creates a library with the starter entries.
///
/// # Errors
/// `Exists` when a file is there, and what [`Library::create`] returns.
pub fn create_with_starter(path: &Path, notify: &mut dyn FnMut(Notice)) -> Result<Library, LibraryError> {
    let change = Change::now("biot", "first use of this library");
    let mut report = StarterReport::default();
    let library = Library::create_filled(path, &change, |library| {
        report = load_starter(library, &mut |done, total| notify(Notice::Loading { done, total }))?;
        Ok(())
    })?;
    notify(Notice::Loaded(report));
    Ok(library)
}

/// Copies the library to a new file and verifies the copy.
pub fn backup(library: &Library, to: &Path) -> Result<CopyReport, LibraryError> {
    library.backup(to)
}

/// Puts a verified backup in the place of the library; the file that was there is kept aside.
pub fn restore(path: &Path, from: &Path) -> Result<CopyReport, LibraryError> {
    Library::restore(path, from)
}

/// Counts of what the library holds.
pub fn statistics(library: &Library) -> Result<Statistics, LibraryError> {
    library.statistics()
}

/// What a check of the whole file found.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Health {
    /// Damage of the file, in words; empty when there is none.
    pub problems: Vec<String>,
    /// The history against itself and against the entries.
    pub history: HistoryCheck,
}

/// Checks every page of the file and the chain of its history.
pub fn check(library: &Library) -> Result<Health, LibraryError> {
    Ok(Health {
        problems: library.check_integrity()?,
        history: library.check_history()?,
    })
}
