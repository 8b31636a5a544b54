//! The file of a library: creating it whole or not at all, opening it, and refusing what is damaged, newer, or lies
//! where writing would do harm.

use super::error::LibraryError;
use super::history;
use super::types::Change;
use rusqlite::config::DbConfig;
use rusqlite::{Connection, ErrorCode, OpenFlags};
use rusqlite_migration::{M, Migrations};
use std::path::{Path, PathBuf};
use std::time::Duration;

/// Migrations in order; the number of those applied stands in the file as `user_version`.
fn migrations() -> Migrations<'static> {
    Migrations::new(vec![
        M::up(include_str!("../../schema/0001_library.sql")),
        M::up(include_str!("../../schema/0002_findings_and_review.sql")),
        M::up(include_str!("../../schema/0003_instruments.sql")),
        M::up(include_str!("../../schema/0004_measurements.sql")),
        M::up(include_str!("../../schema/0005_accounts.sql")),
        M::up(include_str!("../../schema/0006_checks.sql")),
    ])
}

/// The newest format this program knows: the number of migrations.
pub(super) const FORMAT: i64 = 6;

/// Marks an SQLite file as a library ("BIOT").
const APPLICATION_ID: i64 = 0x4249_4F54;

/// Pages a writer keeps in memory, in kibibytes. A load writes all over its indices: with SQLite's own 2 MiB it would
/// read the same pages from the disk again and again.
const WRITER_CACHE: i64 = 64 << 10;

/// How long a writer waits for another one.
const PATIENCE: Duration = Duration::from_secs(30);

/// Which file lies at a path, whatever its name.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Identity {
    #[cfg(unix)]
    device: u64,
    #[cfg(unix)]
    number: u64,
    #[cfg(not(unix))]
    created: std::time::SystemTime,
}

impl Identity {
    /// The file at a path; none when there is none or the system does not say.
    pub(super) fn of(path: &Path) -> Option<Self> {
        let about = std::fs::metadata(path).ok()?;
        #[cfg(unix)]
        {
            use std::os::unix::fs::MetadataExt;
            Some(Self {
                device: about.dev(),
                number: about.ino(),
            })
        }
        #[cfg(not(unix))]
        Some(Self {
            created: about.created().ok()?,
        })
    }
}

/// What a library is opened for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Access {
    /// Reading; never waits for writers and changes nothing.
    Read,
    /// Reading and writing.
    Write,
}

/// Makes a new file: `fill` is run on a hidden file beside it, which then takes the name in one step. When another
/// process is first, its file stays and `Exists` is returned.
pub(super) fn create(
    path: &Path,
    change: &Change,
    fill: impl FnOnce(Connection) -> Result<Connection, LibraryError>,
) -> Result<(), LibraryError> {
    if path.exists() {
        return Err(LibraryError::Exists { path: path.to_owned() });
    }
    let folder = folder_of(path);
    let unwritable = |error: &std::io::Error| LibraryError::Unwritable {
        path: path.to_owned(),
        detail: error.to_string(),
    };
    std::fs::create_dir_all(&folder).map_err(|error| unwritable(&error))?;
    refuse_network_drive(path)?;
    // Readable by its owner only: tempfile creates files with mode 0600.
    let file = tempfile::Builder::new()
        .prefix(".biot-new-")
        .suffix(".part")
        .tempfile_in(&folder)
        .map_err(|error| unwritable(&error))?;
    let mut connection = Connection::open_with_flags(file.path(), OpenFlags::SQLITE_OPEN_READ_WRITE)?;
    connection.pragma_update(None, "journal_mode", "MEMORY")?;
    configure(&connection, Access::Write)?;
    migrate(&mut connection, path)?;
    let tx = connection.transaction()?;
    let uid = uuid::Uuid::now_v7().to_string();
    tx.execute("INSERT INTO meta (key, value) VALUES ('uid', ?)", [&uid])?;
    history::record(&tx, change, "create", "library", &uid, None, None)?;
    tx.commit()?;
    let connection = fill(connection)?;
    connection.pragma_update(None, "journal_mode", "WAL")?;
    connection.close().map_err(|(_, error)| error)?;
    file.as_file().sync_all().map_err(|error| unwritable(&error))?;
    match file.persist_noclobber(path) {
        Ok(_) => Ok(()),
        Err(error) if error.error.kind() == std::io::ErrorKind::AlreadyExists => {
            Err(LibraryError::Exists { path: path.to_owned() })
        }
        Err(error) => Err(unwritable(&error.error)),
    }
}

/// Opens a file that is there.
pub(super) fn open(path: &Path, access: Access) -> Result<Connection, LibraryError> {
    if !path.is_file() {
        return Err(LibraryError::NotFound { path: path.to_owned() });
    }
    let mut connection = match access {
        Access::Read => open_for_reading(path)?,
        Access::Write => {
            refuse_network_drive(path)?;
            open_for_writing(path)?
        }
    };
    let format = check_format(&connection, path)?;
    if format > FORMAT && access == Access::Write {
        return Err(LibraryError::Newer {
            path: path.to_owned(),
            found: format,
            known: FORMAT,
        });
    }
    if format < FORMAT {
        // An older file is brought up to date once; it needs writing even when it is opened for reading.
        refuse_network_drive(path)?;
        let mut writer = open_for_writing(path)?;
        migrate(&mut writer, path)?;
        if access == Access::Read {
            drop(writer);
            connection = open_for_reading(path)?;
        } else {
            connection = writer;
        }
    }
    Ok(connection)
}

/// Checks every page and the foreign keys of a file; the problems found, in words.
pub(super) fn integrity_problems(connection: &Connection) -> Result<Vec<String>, LibraryError> {
    let mut problems: Vec<String> = connection
        .prepare("PRAGMA integrity_check(20)")?
        .query_map([], |row| row.get(0))?
        .collect::<Result<_, _>>()?;
    problems.retain(|problem| problem != "ok");
    let dangling: i64 = connection.query_row("SELECT count(*) FROM pragma_foreign_key_check", [], |row| row.get(0))?;
    if dangling > 0 {
        problems.push(format!("{dangling} records point to a record that is not there"));
    }
    Ok(problems)
}

/// Brings what the store says into words that name the file.
pub(super) fn in_words(path: &Path, error: rusqlite::Error) -> LibraryError {
    let detail = error.to_string();
    let path = path.to_owned();
    match error.sqlite_error_code() {
        Some(ErrorCode::DatabaseCorrupt) => LibraryError::Damaged { path, detail },
        Some(ErrorCode::NotADatabase) => LibraryError::NotALibrary {
            path,
            found: "the file does not start like a database".to_owned(),
        },
        Some(ErrorCode::DatabaseBusy | ErrorCode::DatabaseLocked) => LibraryError::Busy {
            path,
            seconds: PATIENCE.as_secs(),
        },
        Some(ErrorCode::ReadOnly | ErrorCode::PermissionDenied | ErrorCode::CannotOpen | ErrorCode::DiskFull) => {
            LibraryError::Unwritable { path, detail }
        }
        _ => LibraryError::Sqlite(error),
    }
}

fn open_for_writing(path: &Path) -> Result<Connection, LibraryError> {
    let connect = || -> Result<Connection, rusqlite::Error> {
        let connection = Connection::open_with_flags(
            path,
            OpenFlags::SQLITE_OPEN_READ_WRITE | OpenFlags::SQLITE_OPEN_NO_MUTEX,
        )?;
        configure(&connection, Access::Write)?;
        Ok(connection)
    };
    let connection = connect().map_err(|error| in_words(path, error))?;
    if connection.is_readonly("main")? {
        return Err(LibraryError::Unwritable {
            path: path.to_owned(),
            detail: "the file may only be read".to_owned(),
        });
    }
    check_format(&connection, path)?;
    // A backup that was put in place has no log yet; for others this changes nothing.
    connection
        .pragma_update(None, "journal_mode", "WAL")
        .map_err(|error| in_words(path, error))?;
    Ok(connection)
}

/// Opens for reading. Where the folder cannot be written, SQLite cannot make its shared-memory file; with no other
/// writer's log beside the file, it is then read as it stands.
fn open_for_reading(path: &Path) -> Result<Connection, LibraryError> {
    let flags = OpenFlags::SQLITE_OPEN_READ_ONLY | OpenFlags::SQLITE_OPEN_NO_MUTEX;
    let connect = || -> Result<Connection, rusqlite::Error> {
        let connection = Connection::open_with_flags(path, flags)?;
        configure(&connection, Access::Read)?;
        connection.query_row("SELECT count(*) FROM sqlite_schema", [], |_| Ok(()))?;
        Ok(connection)
    };
    match connect() {
        Ok(connection) => Ok(connection),
        Err(error)
            if matches!(
                error.sqlite_error_code(),
                Some(ErrorCode::CannotOpen | ErrorCode::ReadOnly)
            ) && !log_of(path).exists() =>
        {
            let escaped: String = path
                .to_string_lossy()
                .chars()
                .flat_map(|c| match c {
                    '%' => "%25".chars().collect::<Vec<_>>(),
                    '?' => "%3f".chars().collect(),
                    '#' => "%23".chars().collect(),
                    c => vec![c],
                })
                .collect();
            let connection = Connection::open_with_flags(
                format!("file:{escaped}?immutable=1"),
                flags | OpenFlags::SQLITE_OPEN_URI,
            )
            .map_err(|error| in_words(path, error))?;
            configure(&connection, Access::Read).map_err(|error| in_words(path, error))?;
            Ok(connection)
        }
        Err(error) => Err(in_words(path, error)),
    }
}

/// Settings of every connection. Commits reach the disk (`synchronous` FULL): a library is small and precious.
fn configure(connection: &Connection, access: Access) -> Result<(), rusqlite::Error> {
    connection.busy_timeout(PATIENCE)?;
    // A file may come from anybody: no functions from its schema, no surprise by a damaged record.
    connection.set_db_config(DbConfig::SQLITE_DBCONFIG_TRUSTED_SCHEMA, false)?;
    if access == Access::Write {
        connection.set_db_config(DbConfig::SQLITE_DBCONFIG_ENABLE_FKEY, true)?;
        connection.pragma_update(None, "synchronous", "FULL")?;
        connection.pragma_update(None, "cache_size", -WRITER_CACHE)?;
    }
    connection.set_prepared_statement_cache_capacity(64);
    Ok(())
}

fn migrate(connection: &mut Connection, path: &Path) -> Result<(), LibraryError> {
    migrations().to_latest(connection).map_err(|error| match error {
        rusqlite_migration::Error::RusqliteError { err, .. } => in_words(path, err),
        other => LibraryError::Damaged {
            path: path.to_owned(),
            detail: other.to_string(),
        },
    })
}

/// The format of the file, after checking that it is a library at all.
fn check_format(connection: &Connection, path: &Path) -> Result<i64, LibraryError> {
    let pragma = |name: &str| -> Result<i64, LibraryError> {
        connection
            .pragma_query_value(None, name, |row| row.get(0))
            .map_err(|error| in_words(path, error))
    };
    let application = pragma("application_id")?;
    if application != APPLICATION_ID {
        return Err(LibraryError::NotALibrary {
            path: path.to_owned(),
            found: "a database of another program".to_owned(),
        });
    }
    pragma("user_version")
}

/// The write-ahead log beside a library file.
fn log_of(path: &Path) -> PathBuf {
    let mut name = path.as_os_str().to_owned();
    name.push("-wal");
    PathBuf::from(name)
}

fn folder_of(path: &Path) -> PathBuf {
    match path.parent() {
        Some(folder) if !folder.as_os_str().is_empty() => folder.to_owned(),
        _ => PathBuf::from("."),
    }
}

/// File systems where several machines may write and SQLite's locks and shared memory cannot be trusted.
const NETWORK_FILE_SYSTEMS: [&str; 12] = [
    "nfs",
    "nfs4",
    "cifs",
    "smb3",
    "smbfs",
    "afs",
    "ncpfs",
    "ceph",
    "glusterfs",
    "fuse.glusterfs",
    "fuse.sshfs",
    "davfs",
];

/// Refuses a path on a network drive, as far as the system's table of mounts tells (Linux; elsewhere unknown).
fn refuse_network_drive(path: &Path) -> Result<(), LibraryError> {
    let Ok(mounts) = std::fs::read_to_string("/proc/self/mounts") else {
        return Ok(());
    };
    let Ok(folder) = folder_of(path).canonicalize() else {
        return Ok(());
    };
    match file_system(&mounts, &folder) {
        Some(kind) if NETWORK_FILE_SYSTEMS.contains(&kind) => Err(LibraryError::NetworkDrive {
            path: path.to_owned(),
            kind: kind.to_owned(),
        }),
        _ => Ok(()),
    }
}

/// The kind of file system a folder lies on, from a table of mounts (device, mount point, kind, …).
fn file_system<'a>(mounts: &'a str, folder: &Path) -> Option<&'a str> {
    mounts
        .lines()
        .filter_map(|line| {
            let mut fields = line.split(' ');
            let point = fields.nth(1)?.replace("\\040", " ");
            let kind = fields.next()?;
            folder.starts_with(&point).then_some((point.len(), kind))
        })
        // A later mount on the same point covers an earlier one.
        .max_by_key(|(length, _)| *length)
        .map(|(_, kind)| kind)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn format_is_the_number_of_migrations() {
        migrations().validate().unwrap();
        let mut connection = Connection::open_in_memory().unwrap();
        migrations().to_latest(&mut connection).unwrap();
        let version: i64 = connection
            .pragma_query_value(None, "user_version", |row| row.get(0))
            .unwrap();
        assert_eq!(version, FORMAT);
        assert_eq!(check_format(&connection, Path::new("x")).unwrap(), FORMAT);
    }

    #[test]
    fn network_drives_are_found_in_the_table_of_mounts() {
        let mounts = "/dev/sda1 / ext4 rw 0 0\nserver:/home /home nfs4 rw 0 0\n//s/a /mnt/my\\040share cifs rw 0 0\n";
        assert_eq!(file_system(mounts, Path::new("/home/a")), Some("nfs4"));
        assert_eq!(file_system(mounts, Path::new("/homes/a")), Some("ext4"));
        assert_eq!(file_system(mounts, Path::new("/mnt/my share/x")), Some("cifs"));
    }
}
