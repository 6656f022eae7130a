//! A mistake in a file of the register: where it is and what to do.

use std::fmt;
use std::path::{Path, PathBuf};

/// One mistake.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Problem {
    /// The file.
    pub file: PathBuf,
    /// Line of the file, from 1.
    pub row: Option<u64>,
    /// Name of the column.
    pub column: Option<String>,
    /// What is wrong.
    pub what: String,
    /// What to do.
    pub hint: String,
}

impl Problem {
    /// A mistake in `file`.
    pub fn new(file: &Path, what: impl Into<String>, hint: &str) -> Self {
        Self { file: file.into(), row: None, column: None, what: what.into(), hint: hint.into() }
    }

    /// The same in line `row`.
    #[must_use]
    pub fn row(mut self, row: u64) -> Self {
        self.row = Some(row);
        self
    }

    /// The same in the column called `column`.
    #[must_use]
    pub fn column(mut self, column: &str) -> Self {
        self.column = Some(column.into());
        self
    }
}

impl fmt::Display for Problem {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}", self.file.display())?;
        if let Some(row) = self.row {
            write!(f, ", row {row}")?;
        }
        if let Some(column) = &self.column {
            write!(f, ", column {column}")?;
        }
        write!(f, ": {}", self.what)
    }
}

/// All mistakes found; never empty as an error.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Problems(Vec<Problem>);

impl Problems {
    /// Adds one.
    pub fn add(&mut self, problem: Problem) {
        self.0.push(problem);
    }

    /// Whether there is none.
    pub fn is_empty(&self) -> bool {
        self.0.is_empty()
    }

    /// The mistakes in the order they were found.
    pub fn iter(&self) -> std::slice::Iter<'_, Problem> {
        self.0.iter()
    }
}

impl<'a> IntoIterator for &'a Problems {
    type Item = &'a Problem;
    type IntoIter = std::slice::Iter<'a, Problem>;
    fn into_iter(self) -> Self::IntoIter {
        self.iter()
    }
}

impl fmt::Display for Problems {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (i, problem) in self.0.iter().enumerate() {
            let lead = if i == 0 { "" } else { "\n" };
            write!(f, "{lead}{problem}")?;
        }
        Ok(())
    }
}

impl std::error::Error for Problems {}
