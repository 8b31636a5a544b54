//! What can go wrong with a library file, in words that say what to do.

use std::path::PathBuf;

/// Why the library could not be read or changed.
#[derive(Debug, thiserror::Error)]
pub enum LibraryError {
    /// No file is there.
    #[error("there is no library at {path}; name another with --library, or let biot info make one there")]
    NotFound {
        /// The path asked for.
        path: PathBuf,
    },
    /// A file is there already.
    #[error("{path} exists already; choose another name, or open it")]
    Exists {
        /// The path asked for.
        path: PathBuf,
    },
    /// The file is no library.
    #[error("{path} is not a Biot library ({found}); name another file with --library")]
    NotALibrary {
        /// The file.
        path: PathBuf,
        /// What was found instead.
        found: String,
    },
    /// The file is damaged.
    #[error("the library {path} is damaged ({detail}); restore it from a backup with `biot restore FILE`")]
    Damaged {
        /// The file.
        path: PathBuf,
        /// What the store says.
        detail: String,
    },
    /// The file was written by a newer program.
    #[error(
        "the library {path} has format {found}, newer than format {known} of this program; it can be read, but not \
         changed: use a newer Biot"
    )]
    Newer {
        /// The file.
        path: PathBuf,
        /// Its format.
        found: i64,
        /// The newest format known here.
        known: i64,
    },
    /// The file or its folder cannot be written.
    #[error("{path} cannot be written ({detail}); choose a place you may write to with --library")]
    Unwritable {
        /// The file.
        path: PathBuf,
        /// What the system says.
        detail: String,
    },
    /// The file lies on a network drive.
    #[error(
        "{path} lies on a network drive ({kind}), where several writers would damage it; keep the file on a local disk \
         and share copies with `biot backup`"
    )]
    NetworkDrive {
        /// The file.
        path: PathBuf,
        /// The kind of file system.
        kind: String,
    },
    /// The library was opened for reading only.
    #[error("the library {path} was opened for reading only")]
    ReadOnly {
        /// The file.
        path: PathBuf,
    },
    /// Another process kept the library locked for too long.
    #[error("another process has been writing to {path} for more than {seconds} s; try again when it has finished")]
    Busy {
        /// The file.
        path: PathBuf,
        /// How long was waited.
        seconds: u64,
    },
    /// A record asked for does not exist.
    #[error("there is no {what} {id} in this library")]
    Unknown {
        /// Compound, source or entry.
        what: &'static str,
        /// Its number or stable id.
        id: String,
    },
    /// The compound is there already.
    #[error("this structure is in the library already, as \"{name}\" (compound {id})")]
    CompoundExists {
        /// Its number.
        id: i64,
        /// Its name.
        name: String,
    },
    /// An edit was based on an older revision.
    #[error(
        "entry {entry} was changed meanwhile: the edit is based on revision {based_on}, the library holds {found}; look \
         at it again"
    )]
    RevisionChanged {
        /// The entry's number.
        entry: i64,
        /// The revision the edit was based on.
        based_on: i64,
        /// The revision in the library.
        found: i64,
    },
    /// A change that makes no sense.
    #[error("{0}")]
    Refused(String),
    /// A backup does not hold what the library holds.
    #[error("the copy {path} does not read back as the original ({detail}); the disk may be full or failing")]
    CopyDiffers {
        /// The copy.
        path: PathBuf,
        /// What differs.
        detail: String,
    },
    /// A stored field cannot be understood.
    #[error(
        "the library holds a {what} that cannot be read: {value}; restore it from a backup with `biot restore FILE`"
    )]
    Stored {
        /// The field.
        what: &'static str,
        /// What is stored.
        value: String,
    },
    /// A file could not be read or written.
    #[error("{path}: {source}")]
    Io {
        /// The file.
        path: PathBuf,
        /// What the system says.
        source: std::io::Error,
    },
    /// Anything else the store says.
    #[error("the store reports: {0}")]
    Sqlite(#[from] rusqlite::Error),
    /// Anything else the search index says; searching goes on without it.
    #[error("the search index reports: {0}")]
    Index(#[from] tantivy::TantivyError),
}
