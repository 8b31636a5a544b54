//! The store and the search index: the only place that knows SQL and tantivy.
//!
//! One file holds one library; [`Library`] opens it. Questions are in `queries`, changes in `changes` (each a
//! transaction with a line in the history), the file itself (creating, opening, refusing) in `file`, copies in
//! `backup`. The search index in `index` is a cache beside the file. Not for: what a user wants to do with it, which is
//! the business of [`crate::tasks`]. Start reading at `types`.

mod accounts;
mod backup;
mod changes;
mod checks;
mod equipment;
mod error;
mod file;
mod findings;
mod history;
mod index;
mod measurements;
mod queries;
mod review;
mod rows;
mod search;
mod share;
mod structured;
mod types;
mod undo;
mod versions;

pub use accounts::{AccessToken, Account, Credentials, Holder, Role};
pub use backup::CopyReport;
pub use changes::{CompoundChoice, LoadCounts, Loader};
pub use checks::{KeptCheck, NewCheck};
pub use equipment::{ControlCheck, Equipment, EquipmentKind, Loan};
pub use error::LibraryError;
pub use file::Access;
pub use findings::AcceptedFinding;
pub use history::{HistoryCheck, HistoryLine};
pub use measurements::{Measurement, MeasurementFilter, NewMeasurement};
pub use queries::{PrintDistribution, Statistics, mirrored_descriptor};
pub use review::{KeyedDifference, Keyers, SecondKeying};
pub use search::{Dextro, Filter, Found, Hit, Why, is_inchikey};
pub use share::HistoryHead;
pub use types::{
    Change, Chirality, Compound, CompoundId, Entry, EntryContent, EntryId, EntryKind, Hand, Identity, LimitMethod,
    NewCompound, NewSource, ReviewState, Source, SourceId, SourceKind,
};
pub use undo::{Batch, UndoReport};
pub use versions::{Versions, versions};

use crate::compound::name;
use rusqlite::Connection;
use std::cell::RefCell;
use std::path::{Path, PathBuf};

/// A name in the one form in which names are compared: an inverted index name turned around, then folded.
fn folded(name: &str) -> String {
    name::fold(&name::turned_around(name))
}

/// An open library.
pub struct Library {
    connection: Connection,
    path: PathBuf,
    access: Access,
    /// Opened by the first search that needs it.
    index: RefCell<Option<index::NameIndex>>,
    /// The file that was opened, under whatever name it is now.
    identity: Option<file::Identity>,
}

impl Library {
    /// Creates an empty library and opens it for writing. The file is readable by its owner only.
    ///
    /// # Errors
    /// `Exists` when a file is there, `Unwritable` or `NetworkDrive` when the place will not do.
    pub fn create(path: &Path, change: &Change) -> Result<Self, LibraryError> {
        Self::create_filled(path, change, |_| Ok(()))
    }

    /// Creates a library, fills it, and only then gives it its name: another process sees it whole or not at all.
    ///
    /// # Errors
    /// As [`Library::create`], and whatever `fill` returns; then no file is left.
    pub fn create_filled(
        path: &Path,
        change: &Change,
        fill: impl FnOnce(&mut Library) -> Result<(), LibraryError>,
    ) -> Result<Self, LibraryError> {
        file::create(path, change, |connection| {
            let mut library = Self {
                connection,
                path: path.to_owned(),
                access: Access::Write,
                index: RefCell::new(None),
                identity: None,
            };
            fill(&mut library)?;
            Ok(library.connection)
        })?;
        Self::open(path, Access::Write)
    }

    /// Opens a library that is there.
    ///
    /// # Errors
    /// See [`LibraryError`]: not found, damaged, not a library, newer than this program, not writable.
    pub fn open(path: &Path, access: Access) -> Result<Self, LibraryError> {
        // Taken before the file is opened: one that is replaced in between is seen as replaced, not as the same.
        let identity = file::Identity::of(path);
        let connection = file::open(path, access)?;
        Ok(Self {
            connection,
            path: path.to_owned(),
            access,
            index: RefCell::new(None),
            identity,
        })
    }

    /// Whether another file lies at the path now, as after a restore. This library still shows the old one.
    pub fn is_replaced(&self) -> bool {
        self.identity.is_some() && file::Identity::of(&self.path) != self.identity
    }

    /// The file.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// What it was opened for.
    pub fn access(&self) -> Access {
        self.access
    }
}
