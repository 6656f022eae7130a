//! What a person must put right: what failed, where, and what to do.

use super::Exit;
use std::fmt;
use std::path::{Path, PathBuf};

/// Where something failed: a file, and in a table its row and column.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Place {
    /// The file.
    pub file: PathBuf,
    /// Line of the file, from 1 (the header of a table is line 1).
    pub row: Option<u64>,
    /// Name of the column.
    pub column: Option<String>,
}

impl Place {
    /// A place in `file`.
    pub fn file(file: impl AsRef<Path>) -> Self {
        Self { file: file.as_ref().to_path_buf(), row: None, column: None }
    }

    /// The same at line `row` of the file.
    #[must_use]
    pub fn row(mut self, row: u64) -> Self {
        self.row = Some(row);
        self
    }

    /// The same in the column called `name`.
    #[must_use]
    pub fn column(mut self, name: impl Into<String>) -> Self {
        self.column = Some(name.into());
        self
    }
}

impl fmt::Display for Place {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "in {}", self.file.display())?;
        if let Some(row) = self.row {
            write!(f, ", row {row}")?;
        }
        if let Some(column) = &self.column {
            write!(f, ", column {column}")?;
        }
        Ok(())
    }
}

/// An error as a person reads it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Failure {
    /// What failed, one sentence without a full stop.
    pub what: String,
    /// Where.
    pub place: Option<Place>,
    /// What to do.
    pub hint: Option<String>,
    /// How the command ends.
    pub exit: Exit,
}

impl Failure {
    /// A usage or configuration error: nothing has been written.
    pub fn usage(what: impl Into<String>) -> Self {
        Self { what: what.into(), place: None, hint: None, exit: Exit::Usage }
    }

    /// The command had to stop; what was finished is kept.
    pub fn stopped(what: impl Into<String>) -> Self {
        Self { exit: Exit::Stopped, ..Self::usage(what) }
    }

    /// Says where.
    #[must_use]
    pub fn at(mut self, place: Place) -> Self {
        self.place = Some(place);
        self
    }

    /// Says what to do.
    #[must_use]
    pub fn hint(mut self, hint: impl Into<String>) -> Self {
        self.hint = Some(hint.into());
        self
    }
}
