//! A copy of the ledger made while it is in use.

use super::{Ledger, LedgerError};
use rusqlite::{Connection, backup::Backup};
use std::path::Path;
use std::time::Duration;

impl Ledger {
    /// Copies the ledger to `to` as it is at one moment, while others read and write it. The copy is a
    /// ledger itself: it is written beside `to`, checked, and given its name last.
    ///
    /// # Errors
    /// [`LedgerError::Exists`] when there is a file at `to`; [`LedgerError::Damaged`] when the copy does not
    /// pass SQLite's integrity check; what the file system says otherwise. No file is left behind then.
    pub fn backup(&self, to: &Path) -> Result<(), LedgerError> {
        if to.exists() {
            return Err(LedgerError::Exists { path: to.into() });
        }
        let mut part = to.as_os_str().to_owned();
        part.push(format!(".{}.part", std::process::id()));
        let part = std::path::PathBuf::from(part);
        let made = self.copy_to(&part).and_then(|()| {
            // A hard link refuses to take the place of a file that came there meanwhile; a rename would not.
            std::fs::hard_link(&part, to)
                .or_else(|_| {
                    if to.exists() {
                        Err(std::io::ErrorKind::AlreadyExists.into())
                    } else {
                        std::fs::rename(&part, to)
                    }
                })
                .map_err(|source| LedgerError::Io { path: to.into(), source })
        });
        let _ = std::fs::remove_file(&part);
        made
    }

    fn copy_to(&self, part: &Path) -> Result<(), LedgerError> {
        let on = |e| match LedgerError::from_sqlite(part, e) {
            LedgerError::Sqlite { path, source }
                if source.sqlite_error_code() == Some(rusqlite::ErrorCode::CannotOpen) =>
            {
                let _ = source;
                LedgerError::ReadOnly { path }
            }
            other => other,
        };
        let _ = std::fs::remove_file(part);
        let mut copy = Connection::open(part).map_err(on)?;
        {
            let backup = Backup::new(&self.conn, &mut copy).map_err(on)?;
            // One step for all pages: the copy is of one moment, and readers do not stop writers in WAL.
            backup.run_to_completion(i32::MAX, Duration::from_millis(50), None).map_err(on)?;
        }
        // One whole file, without a log beside it.
        copy.pragma_update(None, "journal_mode", "DELETE").map_err(on)?;
        let said: String = copy.query_row("PRAGMA integrity_check(1)", [], |r| r.get(0)).map_err(on)?;
        if said != "ok" {
            return Err(LedgerError::Damaged { path: part.into(), detail: said });
        }
        copy.close().map_err(|(_, e)| on(e))?;
        let io = |source| LedgerError::Io { path: part.into(), source };
        std::fs::File::open(part).and_then(|f| f.sync_all()).map_err(io)
    }
}
