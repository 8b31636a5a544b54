//! Sharing a library: entries to a file, and a bundle of another library into this one.

use crate::exchange::export::{self, ExportError, Exported, Format, Selection};
use crate::exchange::take::{
    self, Conflict, Decision, Difference, Keep, RecordKind, Resolution, Run, TakeError, Taken,
};
use crate::library::{Change, Library, LibraryError, SourceId};
use serde::{Deserialize, Serialize};
use std::collections::HashMap;
use std::fs::{self, File};
use std::io::{self, BufReader, Write};
use std::path::{Path, PathBuf};
use time::OffsetDateTime;
use time::format_description::well_known::Rfc3339;

/// Why nothing was shared.
#[derive(Debug, thiserror::Error)]
pub enum ShareError {
    /// The export failed.
    #[error(transparent)]
    Export(#[from] ExportError),
    /// The bundle was not taken in.
    #[error(transparent)]
    Take(#[from] TakeError),
    /// A file cannot be read or written.
    #[error("cannot {doing} {path}: {source}")]
    File {
        /// What was being done.
        doing: &'static str,
        /// The file.
        path: PathBuf,
        /// What the system says.
        source: io::Error,
    },
    /// A file of conflicts cannot be understood.
    #[error("{path} is no file of conflicts: {reason}; write one with --conflicts-to and change only `keep`")]
    Conflicts {
        /// The file.
        path: PathBuf,
        /// What is wrong with it.
        reason: String,
    },
    /// No source, or several, answer.
    #[error(
        "{found} sources answer to \"{asked}\"; give a DOI, a whole citation, or a stable id as biot show --json lists it"
    )]
    UnknownSource {
        /// What was asked for.
        asked: String,
        /// How many answer.
        found: usize,
    },
}

impl From<LibraryError> for ShareError {
    fn from(error: LibraryError) -> Self {
        Self::Export(error.into())
    }
}

/// Exports to a file that appears whole or not at all. An existing file is replaced only when told to.
pub fn export_file(
    library: &Library,
    path: &Path,
    may_replace: bool,
    format: Format,
    selection: &Selection,
    progress: &mut dyn FnMut(u64, u64),
) -> Result<Exported, ShareError> {
    write_file(path, may_replace, |file| {
        export_to(library, format, selection, file, progress)
    })
}

/// Writes a file that appears whole or not at all. An existing file is replaced only when told to.
///
/// # Errors
/// What `write` returns, and a [`ShareError::File`] when the file cannot be made.
pub fn write_file<T, E: From<ShareError>>(
    path: &Path,
    may_replace: bool,
    write: impl FnOnce(&mut File) -> Result<T, E>,
) -> Result<T, E> {
    let failed = |source| ShareError::File {
        doing: "write",
        path: path.to_owned(),
        source,
    };
    if !may_replace && path.exists() {
        return Err(failed(io::ErrorKind::AlreadyExists.into()).into());
    }
    let folder = match path.parent() {
        Some(folder) if !folder.as_os_str().is_empty() => folder,
        _ => Path::new("."),
    };
    let mut file = new_file(folder).map_err(failed)?;
    let written = write(file.as_file_mut())?;
    file.as_file().sync_all().map_err(failed)?;
    let persisted = if may_replace {
        file.persist(path)
    } else {
        file.persist_noclobber(path)
    };
    persisted.map_err(|error| failed(error.error))?;
    Ok(written)
}

/// Exports to a stream.
pub fn export_to(
    library: &Library,
    format: Format,
    selection: &Selection,
    out: &mut (dyn Write + Send),
    progress: &mut dyn FnMut(u64, u64),
) -> Result<Exported, ShareError> {
    Ok(export::export(library, format, selection, &now(), out, progress)?)
}

/// The source with a stable id, a DOI or a citation.
pub fn source(library: &Library, asked: &str) -> Result<SourceId, ShareError> {
    let asked = asked.trim();
    if let Some(source) = library.source_by_uid(asked)? {
        return Ok(source.id);
    }
    let doi = asked.rsplit_once("doi.org/").map_or(asked, |(_, doi)| doi);
    let mut found = library.sources_by_doi(doi)?;
    if found.is_empty() {
        found = library.sources_by_citation(asked)?;
    }
    match found[..] {
        [ref source] => Ok(source.id),
        _ => Err(ShareError::UnknownSource {
            asked: asked.to_owned(),
            found: found.len(),
        }),
    }
}

/// Takes a bundle in, or finds out what that would come to.
pub fn take_file(
    library: &mut Library,
    path: &Path,
    resolution: &Resolution,
    run: Run,
    change: &Change,
    progress: &mut dyn FnMut(u64),
) -> Result<Taken, ShareError> {
    let file = File::open(path).map_err(|source| ShareError::File {
        doing: "read",
        path: path.to_owned(),
        source,
    })?;
    let name = path
        .file_name()
        .map_or_else(|| "bundle".into(), |name| format!("bundle {}", name.to_string_lossy()));
    Ok(take::take(
        library,
        BufReader::new(file),
        &name,
        resolution,
        run,
        change,
        progress,
    )?)
}

/// Writes conflicts to a file in which a person decides them. An existing file is not replaced.
pub fn write_conflicts(path: &Path, conflicts: &[Conflict]) -> Result<(), ShareError> {
    let failed = |source| ShareError::File {
        doing: "write",
        path: path.to_owned(),
        source,
    };
    let file = ConflictsFile {
        conflict: conflicts.iter().map(ConflictLines::from).collect(),
    };
    let text = toml::to_string_pretty(&file).map_err(|error| failed(io::Error::other(error)))?;
    let mut out = File::create_new(path).map_err(failed)?;
    out.write_all(CONFLICTS_HEAD.as_bytes()).map_err(failed)?;
    out.write_all(text.as_bytes()).map_err(failed)
}

/// Reads the decisions from a file of conflicts; conflicts whose `keep` is empty are left out.
pub fn read_decisions(path: &Path) -> Result<HashMap<(RecordKind, String), Decision>, ShareError> {
    let text = fs::read_to_string(path).map_err(|source| ShareError::File {
        doing: "read",
        path: path.to_owned(),
        source,
    })?;
    let wrong = |reason: String| ShareError::Conflicts {
        path: path.to_owned(),
        reason,
    };
    let file: ConflictsFile = toml::from_str(&text).map_err(|error| wrong(error.message().to_owned()))?;
    let mut decisions = HashMap::new();
    for conflict in file.conflict {
        let keep = match conflict.keep.trim() {
            "" => continue,
            "ours" => Keep::Ours,
            "theirs" => Keep::Theirs,
            other => {
                return Err(wrong(format!(
                    "of the {} {} `{other}` is to be kept, which is neither `ours` nor `theirs`",
                    conflict.record.as_str(),
                    conflict.uid
                )));
            }
        };
        let decision = Decision {
            keep,
            differences: conflict.difference,
        };
        if decisions
            .insert((conflict.record, conflict.uid.clone()), decision)
            .is_some()
        {
            return Err(wrong(format!("{} stands in it twice", conflict.uid)));
        }
    }
    Ok(decisions)
}

/// What stands above the conflicts, for the person who edits them.
const CONFLICTS_HEAD: &str = "\
# Records that differ between this library (ours) and a bundle (theirs).
# Set each `keep` to \"ours\" or \"theirs\", then run: biot take BUNDLE --yes --conflicts THIS-FILE
# Change nothing else: a decision holds only for the differences it was made on.

";

/// A file of conflicts.
#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct ConflictsFile {
    #[serde(default)]
    conflict: Vec<ConflictLines>,
}

/// One conflict in it.
#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct ConflictLines {
    record: RecordKind,
    uid: String,
    #[serde(default)]
    about: String,
    #[serde(default)]
    keep: String,
    #[serde(default)]
    difference: Vec<Difference>,
}

impl From<&Conflict> for ConflictLines {
    fn from(conflict: &Conflict) -> Self {
        Self {
            record: conflict.record,
            uid: conflict.uid.clone(),
            about: conflict.about.clone(),
            keep: match conflict.keep {
                None => String::new(),
                Some(Keep::Ours) => "ours".to_owned(),
                Some(Keep::Theirs) => "theirs".to_owned(),
            },
            difference: conflict.differences.clone(),
        }
    }
}

/// A temporary file beside the one to be written, with the permissions of any new file.
fn new_file(folder: &Path) -> io::Result<tempfile::NamedTempFile> {
    let mut builder = tempfile::Builder::new();
    builder.prefix(".biot-export-");
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt;
        // The mask of the user's shell is taken off by the system.
        builder.permissions(fs::Permissions::from_mode(0o666));
    }
    builder.tempfile_in(folder)
}

fn now() -> String {
    OffsetDateTime::now_utc()
        .replace_nanosecond(0)
        .unwrap_or(OffsetDateTime::UNIX_EPOCH)
        .format(&Rfc3339)
        .unwrap_or_default()
}
