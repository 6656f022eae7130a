//! Why a model cannot be used.

use std::path::PathBuf;

/// Why a model file was refused.
#[derive(Debug, thiserror::Error)]
pub enum ModelError {
    /// The file is missing or may not be read.
    #[error("cannot read the model {}: {source}", path.display())]
    Unreadable {
        /// The path as it was given.
        path: PathBuf,
        /// What the system said.
        source: std::io::Error,
    },
    /// The text is not JSON, or not of a model.
    #[error("{name} is no bladder model: line {line}, column {column}: {detail}")]
    Malformed {
        /// The model's path or name.
        name: String,
        /// Line from 1; 0 when the text ends too early.
        line: usize,
        /// Column from 1.
        column: usize,
        /// What the reader of JSON said.
        detail: String,
    },
    /// The model says things that cannot be.
    #[error("the model {name} cannot be used: {detail}")]
    Unsound {
        /// The model's path or name.
        name: String,
        /// What is wrong.
        detail: String,
    },
    /// Made for a program that sees other things in a strip.
    #[error("the model {name} has format {found}; this program reads format {expected}")]
    OtherFormat {
        /// The model's path or name.
        name: String,
        /// Its format.
        found: u32,
        /// The format of this program.
        expected: u32,
    },
}

impl ModelError {
    /// What to do about it.
    pub fn hint(&self) -> &'static str {
        match self {
            Self::Unreadable { .. } => "check the path, or leave out --model to use the one built in",
            Self::Malformed { .. } => "give a model.json as written by the fit, whole and unedited",
            Self::Unsound { .. } => "the file is damaged or was edited; fit it again or use the one built in",
            Self::OtherFormat { .. } => "fit the model again with this version of the program",
        }
    }
}
