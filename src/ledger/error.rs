//! What can go wrong with the ledger, and what to do about it.

use std::path::{Path, PathBuf};

/// Why the ledger could not be opened, read or written. Nothing is half-written when one is returned.
#[derive(Debug, thiserror::Error)]
pub enum LedgerError {
    /// No file there.
    #[error("{}: no ledger here", path.display())]
    Missing {
        /// Where it was looked for.
        path: PathBuf,
    },
    /// A file is there already.
    #[error("{}: already exists and is left as it is", path.display())]
    Exists {
        /// The file.
        path: PathBuf,
    },
    /// The file is not an SQLite database.
    #[error("{}: not an SQLite file", path.display())]
    NotSqlite {
        /// The file.
        path: PathBuf,
    },
    /// An SQLite database of some other program.
    #[error("{}: an SQLite file, but not a frygauge ledger (application id {found})", path.display())]
    NotALedger {
        /// The file.
        path: PathBuf,
        /// The application id found in it.
        found: i32,
    },
    /// Written by a newer frygauge.
    #[error("{}: ledger version {found}, this frygauge knows versions up to {known}", path.display())]
    Newer {
        /// The file.
        path: PathBuf,
        /// Its `user_version`.
        found: i32,
        /// The newest version known here.
        known: i32,
    },
    /// An older ledger opened where it cannot be brought up to date.
    #[error("{}: ledger version {found} must be brought to version {known} first, but it can only be read", path.display())]
    OlderReadOnly {
        /// The file.
        path: PathBuf,
        /// Its `user_version`.
        found: i32,
        /// The newest version known here.
        known: i32,
    },
    /// The file or its folder cannot be written.
    #[error("{}: the ledger cannot be written (read-only file, folder or mount)", path.display())]
    ReadOnly {
        /// The file.
        path: PathBuf,
    },
    /// Another program kept the ledger locked.
    #[error("{}: another program has been writing to the ledger for {seconds} seconds", path.display())]
    Busy {
        /// The file.
        path: PathBuf,
        /// How long was waited.
        seconds: u64,
    },
    /// No room on the disk.
    #[error("{}: the disk is full", path.display())]
    DiskFull {
        /// The file.
        path: PathBuf,
    },
    /// SQLite finds the file damaged.
    #[error("{}: the ledger is damaged: {detail}", path.display())]
    Damaged {
        /// The file.
        path: PathBuf,
        /// What SQLite said.
        detail: String,
    },
    /// A row holds something its column never should.
    #[error("{}: {what}", path.display())]
    BadRow {
        /// The file.
        path: PathBuf,
        /// Which row, and what it holds.
        what: String,
    },
    /// What was to be written does not fit what is there.
    #[error("{what}")]
    Refused {
        /// What was refused.
        what: String,
        /// What to do.
        hint: String,
    },
    /// The file system refused.
    #[error("{}: {source}", path.display())]
    Io {
        /// The file.
        path: PathBuf,
        /// What the system said.
        source: std::io::Error,
    },
    /// Anything else SQLite says.
    #[error("{}: {source}", path.display())]
    Sqlite {
        /// The file.
        path: PathBuf,
        /// What SQLite said.
        source: rusqlite::Error,
    },
}

/// Seconds a writer waits for another one.
pub(super) const BUSY_SECONDS: u64 = 20;

impl LedgerError {
    /// What to do about it.
    pub fn hint(&self) -> String {
        match self {
            Self::Missing { .. } => "make a season folder with `frygauge season new DIR`, or name the right one".into(),
            Self::Exists { .. } => "choose another name, or move the file away first".into(),
            Self::NotSqlite { .. } => {
                "season.sqlite must be the file frygauge made; put back a copy made by `frygauge season backup`".into()
            }
            Self::NotALedger { .. } => "this file belongs to another program; name the season's own folder".into(),
            Self::Newer { .. } => "use the newer frygauge that wrote it; the file was not touched".into(),
            Self::OlderReadOnly { .. } => "copy the season folder to a disk that can be written and run the command there".into(),
            Self::ReadOnly { .. } => {
                "nothing was written; check the rights of the folder, or copy the season to a disk that can be written".into()
            }
            Self::Busy { .. } => "nothing was written; wait until the other scoring run or desk is done and run this again".into(),
            Self::DiskFull { .. } => {
                "what was recorded before is kept; make room and run the command again: photographs already recorded add nothing".into()
            }
            Self::Damaged { .. } => {
                "do not write to it; put back the newest copy made by `frygauge season backup` and score the photographs since".into()
            }
            Self::BadRow { .. } => "run `frygauge season check`; put back a copy made by `frygauge season backup`".into(),
            Self::Refused { hint, .. } => hint.clone(),
            Self::Io { .. } => "check the path, the rights and the room on the disk".into(),
            Self::Sqlite { .. } => "run `frygauge season check`".into(),
        }
    }

    /// The variant that says who must act, from what SQLite says about the file at `path`.
    pub(super) fn from_sqlite(path: &Path, source: rusqlite::Error) -> Self {
        use rusqlite::ErrorCode as Code;
        let path = path.to_path_buf();
        match source.sqlite_error_code() {
            Some(Code::NotADatabase) => Self::NotSqlite { path },
            Some(Code::DatabaseCorrupt) => Self::Damaged { path, detail: source.to_string() },
            Some(Code::ReadOnly | Code::PermissionDenied) => Self::ReadOnly { path },
            Some(Code::DatabaseBusy | Code::DatabaseLocked) => Self::Busy { path, seconds: BUSY_SECONDS },
            Some(Code::DiskFull) => Self::DiskFull { path },
            _ => Self::Sqlite { path, source },
        }
    }
}
