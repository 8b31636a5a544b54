//! Copies of a library: made page by page while others may read and write, and verified by reading them back.

use super::error::LibraryError;
use super::index::NameIndex;
use super::{Access, Library, Statistics, file};
use rusqlite::backup::Backup;
use rusqlite::{Connection, OpenFlags};
use std::path::{Path, PathBuf};
use std::time::Duration;

/// What a verified copy holds.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct CopyReport {
    /// Where the copy lies.
    pub copy: PathBuf,
    /// What it holds, counted in the copy.
    pub counts: Statistics,
    /// Where the file that was replaced is kept, after a restore.
    pub kept_aside: Option<PathBuf>,
}

impl Library {
    /// Copies the library to a new file and verifies the copy.
    ///
    /// # Errors
    /// `Exists` when the file is there; `CopyDiffers` when the copy does not read back.
    pub fn backup(&self, to: &Path) -> Result<CopyReport, LibraryError> {
        copy(self, to)
    }

    /// Replaces the library at `path` by a backup, which is verified first. The current file, damaged or not, is kept
    /// aside beside it.
    ///
    /// # Errors
    /// When the backup is not found, damaged, or of a newer format; then nothing is changed.
    pub fn restore(path: &Path, from: &Path) -> Result<CopyReport, LibraryError> {
        let backup = Library::open(from, Access::Read)?;
        let problems = file::integrity_problems(&backup.connection).map_err(|error| damaged(from, &error))?;
        if let Some(problem) = problems.first() {
            return Err(LibraryError::Damaged {
                path: from.to_owned(),
                detail: problem.clone(),
            });
        }
        if path.exists() && same_file(path, from) {
            return Err(LibraryError::Refused(format!(
                "{} cannot be restored from itself",
                path.display()
            )));
        }
        let staged = with_suffix(path, &format!(".restore-{}", uuid::Uuid::now_v7().simple()));
        let report = copy(&backup, &staged)?;
        let kept_aside = if path.exists() {
            let aside = free_name(path);
            move_library(path, &aside)?;
            Some(aside)
        } else {
            None
        };
        if let Err(error) = std::fs::rename(&staged, path) {
            // Put back what was there: the name must not stay empty because of a failed last step.
            if let Some(aside) = &kept_aside {
                move_library(aside, path)?;
            }
            return Err(io(path, error));
        }
        NameIndex::discard(path);
        Ok(CopyReport {
            copy: path.to_owned(),
            counts: report.counts,
            kept_aside,
        })
    }
}

/// Pages copied in one step, between which other processes get their turn.
const PAGES_PER_STEP: i32 = 4096;

fn copy(library: &Library, to: &Path) -> Result<CopyReport, LibraryError> {
    if to.exists() {
        return Err(LibraryError::Exists { path: to.to_owned() });
    }
    let folder = to
        .parent()
        .filter(|folder| !folder.as_os_str().is_empty())
        .unwrap_or(Path::new("."));
    let unwritable = |detail: String| LibraryError::Unwritable {
        path: to.to_owned(),
        detail,
    };
    let staged = tempfile::Builder::new()
        .prefix(".biot-copy-")
        .suffix(".part")
        .tempfile_in(folder)
        .map_err(|error| unwritable(error.to_string()))?;
    {
        let mut target = Connection::open_with_flags(staged.path(), OpenFlags::SQLITE_OPEN_READ_WRITE)?;
        let backup = Backup::new(&library.connection, &mut target)?;
        backup
            .run_to_completion(PAGES_PER_STEP, Duration::ZERO, None)
            .map_err(|error| file::in_words(library.path(), error))?;
        drop(backup);
        super::accounts::forget_sessions(&target)?;
        // A copy is one file, without a log beside it; the first writer turns the log on again.
        target.pragma_update(None, "journal_mode", "DELETE")?;
        target.close().map_err(|(_, error)| file::in_words(to, error))?;
    }
    staged
        .as_file()
        .sync_all()
        .map_err(|error| unwritable(error.to_string()))?;
    let counts = verify(staged.path(), to)?;
    staged.persist_noclobber(to).map_err(|error| match error.error.kind() {
        std::io::ErrorKind::AlreadyExists => LibraryError::Exists { path: to.to_owned() },
        _ => unwritable(error.error.to_string()),
    })?;
    Ok(CopyReport {
        copy: to.to_owned(),
        counts,
        kept_aside: None,
    })
}

/// Reads a copy back: every page, every reference, the chain of the history, and the counts.
fn verify(staged: &Path, named: &Path) -> Result<Statistics, LibraryError> {
    let differs = |detail: String| LibraryError::CopyDiffers {
        path: named.to_owned(),
        detail,
    };
    let copy = Library::open(staged, Access::Read).map_err(|error| differs(error.to_string()))?;
    if let Some(problem) = file::integrity_problems(&copy.connection)?.first() {
        return Err(differs(problem.clone()));
    }
    copy.statistics()
}

fn damaged(path: &Path, error: &LibraryError) -> LibraryError {
    LibraryError::Damaged {
        path: path.to_owned(),
        detail: error.to_string(),
    }
}

fn io(path: &Path, source: std::io::Error) -> LibraryError {
    LibraryError::Io {
        path: path.to_owned(),
        source,
    }
}

fn same_file(a: &Path, b: &Path) -> bool {
    matches!((a.canonicalize(), b.canonicalize()), (Ok(a), Ok(b)) if a == b)
}

/// Moves a library file with the log and shared memory that belong to it.
fn move_library(from: &Path, to: &Path) -> Result<(), LibraryError> {
    std::fs::rename(from, to).map_err(|error| io(from, error))?;
    for suffix in ["-wal", "-shm"] {
        let log = with_suffix(from, suffix);
        if log.exists() {
            std::fs::rename(&log, with_suffix(to, suffix)).map_err(|error| io(&log, error))?;
        }
    }
    Ok(())
}

/// A name beside the file that is not taken.
fn free_name(path: &Path) -> PathBuf {
    let mut n = 1;
    loop {
        let name = with_suffix(path, &format!(".replaced-{n}"));
        if !name.exists() {
            return name;
        }
        n += 1;
    }
}

fn with_suffix(path: &Path, suffix: &str) -> PathBuf {
    let mut name = path.as_os_str().to_owned();
    name.push(suffix);
    PathBuf::from(name)
}
