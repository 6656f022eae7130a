//! Opening and making the ledger file: who may write, which version it is, whose file it is.

use super::error::BUSY_SECONDS;
use super::{LedgerError, NEWEST, migrate};
use rusqlite::{Connection, OpenFlags, TransactionBehavior};
use std::path::{Path, PathBuf};
use std::time::Duration;

/// The number at bytes 68-71 of every ledger: `fryg` in ASCII.
pub const APPLICATION_ID: i32 = 0x6672_7967;

/// An open season ledger.
#[derive(Debug)]
pub struct Ledger {
    pub(super) conn: Connection,
    path: PathBuf,
    writable: bool,
}

impl Ledger {
    /// Makes a new, empty ledger at `path`.
    ///
    /// # Errors
    /// [`LedgerError::Exists`] when something is there already; what the file system says otherwise.
    pub fn create(path: &Path) -> Result<Self, LedgerError> {
        if path.exists() {
            return Err(LedgerError::Exists { path: path.into() });
        }
        let flags = OpenFlags::SQLITE_OPEN_READ_WRITE
            | OpenFlags::SQLITE_OPEN_CREATE
            | OpenFlags::SQLITE_OPEN_NO_MUTEX;
        let conn = Connection::open_with_flags(path, flags).map_err(|e| opening(path, e))?;
        let mut ledger = Self { conn, path: path.into(), writable: true };
        // Before the first table: the page size cannot change later, and WAL is a property of the file.
        let made = ledger.prepare_to_write().and_then(|()| {
            let tx = ledger.conn.transaction_with_behavior(TransactionBehavior::Immediate)?;
            tx.pragma_update(None, "application_id", APPLICATION_ID)?;
            migrate::run(&tx, 0, NEWEST)?;
            tx.commit()
        });
        made.map_err(|e| LedgerError::from_sqlite(path, e))?;
        Ok(ledger)
    }

    /// Opens the ledger at `path` to read and write, bringing an older one up to date in one transaction.
    ///
    /// # Errors
    /// [`LedgerError::Missing`], [`LedgerError::NotSqlite`], [`LedgerError::NotALedger`],
    /// [`LedgerError::Newer`], [`LedgerError::ReadOnly`]; the file is not touched then.
    pub fn open(path: &Path) -> Result<Self, LedgerError> {
        look_at(path)?;
        if !folder_is_writable(path) {
            // What is wrong with the file itself is worth more than that it cannot be written.
            return match Self::open_read_only(path) {
                Ok(_) | Err(LedgerError::OlderReadOnly { .. }) => {
                    Err(LedgerError::ReadOnly { path: path.into() })
                }
                Err(error) => Err(error),
            };
        }
        let flags = OpenFlags::SQLITE_OPEN_READ_WRITE | OpenFlags::SQLITE_OPEN_NO_MUTEX;
        let conn = Connection::open_with_flags(path, flags).map_err(|e| opening(path, e))?;
        let mut ledger = Self { conn, path: path.into(), writable: true };
        let found = ledger.version()?;
        if ledger.conn.is_readonly("main").unwrap_or(true) {
            return Err(LedgerError::ReadOnly { path: path.into() });
        }
        let ready = ledger.prepare_to_write().and_then(|()| {
            if found < NEWEST {
                let tx = ledger.conn.transaction_with_behavior(TransactionBehavior::Immediate)?;
                // Another process may have done it while this one waited for the lock.
                let found = tx.pragma_query_value(None, "user_version", |row| row.get(0))?;
                migrate::run(&tx, found, NEWEST)?;
                tx.commit()?;
            }
            Ok(())
        });
        ready.map_err(|e| LedgerError::from_sqlite(path, e))?;
        Ok(ledger)
    }

    /// Opens the ledger at `path` to read only: works beside a writer, and on a read-only mount.
    ///
    /// # Errors
    /// As [`Ledger::open`]; [`LedgerError::OlderReadOnly`] when the file is of an older version.
    pub fn open_read_only(path: &Path) -> Result<Self, LedgerError> {
        look_at(path)?;
        let flags = OpenFlags::SQLITE_OPEN_READ_ONLY | OpenFlags::SQLITE_OPEN_NO_MUTEX;
        let conn = if folder_is_writable(path) || wal_holds_pages(path) {
            Connection::open_with_flags(path, flags).map_err(|e| opening(path, e))?
        } else {
            // SQLite needs a lock file beside a WAL database unless it is told that nobody can write here.
            let uri = format!("file:{}?immutable=1", percent_encoded(path));
            Connection::open_with_flags(uri, flags | OpenFlags::SQLITE_OPEN_URI)
                .map_err(|e| opening(path, e))?
        };
        let ledger = Self { conn, path: path.into(), writable: false };
        ledger
            .conn
            .busy_timeout(Duration::from_secs(BUSY_SECONDS))
            .map_err(|e| LedgerError::from_sqlite(path, e))?;
        let found = ledger.version()?;
        if found < NEWEST {
            return Err(LedgerError::OlderReadOnly { path: path.into(), found, known: NEWEST });
        }
        Ok(ledger)
    }

    /// As [`Ledger::open`], on a disk that has room for `pages` database pages only: for tests of what
    /// happens when it fills up.
    ///
    /// # Errors
    /// As [`Ledger::open`].
    #[doc(hidden)]
    pub fn open_with_page_limit(path: &Path, pages: u32) -> Result<Self, LedgerError> {
        let ledger = Self::open(path)?;
        ledger.conn.pragma_update(None, "max_page_count", pages).map_err(|e| ledger.error(e))?;
        Ok(ledger)
    }

    /// The file.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Whether it was opened to write.
    pub fn is_writable(&self) -> bool {
        self.writable
    }

    /// The `user_version`, after making sure that the file is a ledger and not a newer one.
    fn version(&self) -> Result<i32, LedgerError> {
        let path = self.path.clone();
        let number = |name| self.conn.pragma_query_value(None, name, |row| row.get(0));
        let id: i32 = number("application_id").map_err(|e| LedgerError::from_sqlite(&path, e))?;
        let found: i32 = number("user_version").map_err(|e| LedgerError::from_sqlite(&path, e))?;
        if id != APPLICATION_ID {
            return Err(LedgerError::NotALedger { path, found: id });
        }
        if found > NEWEST {
            return Err(LedgerError::Newer { path, found, known: NEWEST });
        }
        Ok(found)
    }

    /// Settings of a writing connection.
    fn prepare_to_write(&mut self) -> rusqlite::Result<()> {
        self.conn.busy_timeout(Duration::from_secs(BUSY_SECONDS))?;
        self.conn.pragma_update(None, "journal_mode", "WAL")?;
        // FULL: a transaction that was reported as done survives a power cut, not only a killed process.
        self.conn.pragma_update(None, "synchronous", "FULL")?;
        self.conn.pragma_update(None, "foreign_keys", true)?;
        self.conn.pragma_update(None, "recursive_triggers", true)?;
        self.conn.pragma_update(None, "trusted_schema", false)
    }

    /// What SQLite says about this file, as an error that says who must act.
    pub(super) fn error(&self, source: rusqlite::Error) -> LedgerError {
        LedgerError::from_sqlite(&self.path, source)
    }
}

/// Opening fails with `SQLITE_CANTOPEN` for missing rights as well as for odd paths.
fn opening(path: &Path, error: rusqlite::Error) -> LedgerError {
    match error.sqlite_error_code() {
        Some(rusqlite::ErrorCode::CannotOpen) if !folder_is_writable(path) => {
            LedgerError::ReadOnly { path: path.into() }
        }
        _ => LedgerError::from_sqlite(path, error),
    }
}

/// Refuses what SQLite would silently take for an empty database.
fn look_at(path: &Path) -> Result<(), LedgerError> {
    let data = match std::fs::metadata(path) {
        Ok(data) => data,
        Err(e) if e.kind() == std::io::ErrorKind::NotFound => {
            return Err(LedgerError::Missing { path: path.into() });
        }
        Err(source) => return Err(LedgerError::Io { path: path.into(), source }),
    };
    if !data.is_file() || data.len() == 0 {
        return Err(LedgerError::NotSqlite { path: path.into() });
    }
    Ok(())
}

/// Whether a file can be made beside `path`: the only question a mount, a right and a quota answer alike.
fn folder_is_writable(path: &Path) -> bool {
    let folder = path.parent().filter(|p| !p.as_os_str().is_empty()).unwrap_or(Path::new("."));
    let probe = folder.join(format!(".frygauge-{}", std::process::id()));
    match std::fs::OpenOptions::new().write(true).create_new(true).open(&probe) {
        Ok(_) => {
            // Left behind it would only be an empty hidden file; the answer is the same.
            let _ = std::fs::remove_file(&probe);
            true
        }
        Err(e) => !matches!(
            e.kind(),
            std::io::ErrorKind::PermissionDenied
                | std::io::ErrorKind::ReadOnlyFilesystem
                | std::io::ErrorKind::NotFound
        ),
    }
}

/// Whether the write-ahead log beside `path` holds anything that is not in the file itself.
fn wal_holds_pages(path: &Path) -> bool {
    let mut wal = path.as_os_str().to_owned();
    wal.push("-wal");
    std::fs::metadata(wal).is_ok_and(|m| m.len() > 0)
}

/// A path as the path of a `file:` URI.
fn percent_encoded(path: &Path) -> String {
    use std::fmt::Write as _;
    path.to_string_lossy().bytes().fold(String::new(), |mut uri, byte| {
        match byte {
            b'A'..=b'Z' | b'a'..=b'z' | b'0'..=b'9' | b'/' | b'-' | b'_' | b'.' | b'~' => {
                uri.push(char::from(byte));
            }
            _ => {
                let _ = write!(uri, "%{byte:02X}");
            }
        }
        uri
    })
}
