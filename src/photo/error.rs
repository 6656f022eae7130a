//! Why a photograph cannot be read. Each variant says who must act and what to do.

use std::path::PathBuf;

/// Who can put a [`PhotoError`] right.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Who {
    /// Whoever runs the command: a path, a right, a disk.
    Operator,
    /// Whoever takes or exports the photographs.
    Photographer,
}

/// Why a photograph was not read.
#[derive(Debug, thiserror::Error)]
pub enum PhotoError {
    /// The file is missing or may not be read.
    #[error("cannot read the file: {source}")]
    Unreadable {
        /// The path as it was given.
        path: PathBuf,
        /// What the system said.
        source: std::io::Error,
    },
    /// The file has no bytes.
    #[error("the file is empty (0 bytes)")]
    Empty,
    /// The bytes are those of no picture format.
    #[error("not a photograph: the bytes are {found}")]
    NotAPhotograph {
        /// What they look like.
        found: &'static str,
    },
    /// A picture format that is recognised but not read.
    #[error("{format} is not read")]
    Unsupported {
        /// The format, as people call it.
        format: &'static str,
        /// What to do instead.
        advice: &'static str,
    },
    /// The file ends before the picture does.
    #[error("the file is cut short: {detail}")]
    Truncated {
        /// Where it stops.
        detail: String,
    },
    /// The decoder gave up.
    #[error("the picture is damaged: {detail}")]
    Damaged {
        /// What the decoder said.
        detail: String,
    },
    /// More pixels than a photograph has.
    #[error(
        "{width} x {height} pixels is more than is read (at most {max_side} a side, {max_megapixels} million in all)"
    )]
    TooLarge {
        /// Width the header claims.
        width: u64,
        /// Height the header claims.
        height: u64,
        /// Longest side read.
        max_side: u32,
        /// Most pixels read, in millions.
        max_megapixels: u32,
    },
    /// Fewer pixels than a fish needs.
    #[error("{width} x {height} pixels is too small (at least {min_side} a side)")]
    TooSmall {
        /// Width.
        width: u32,
        /// Height.
        height: u32,
        /// Shortest side read.
        min_side: u32,
    },
    /// More bytes than a photograph has.
    #[error("the file has {megabytes} MB, more than is read (at most {max_megabytes} MB)")]
    TooManyBytes {
        /// Size of the file.
        megabytes: u64,
        /// Most that is read.
        max_megabytes: u64,
    },
}

impl PhotoError {
    /// Who must act.
    pub fn who(&self) -> Who {
        match self {
            Self::Unreadable { .. } => Who::Operator,
            _ => Who::Photographer,
        }
    }

    /// What to do about it, one sentence without a full stop.
    pub fn hint(&self) -> &str {
        match self {
            Self::Unreadable { .. } => "check the path and that you may read the file",
            Self::Empty | Self::Truncated { .. } => "copy it from the camera again",
            Self::NotAPhotograph { .. } => "give JPEG, PNG, TIFF or WebP photographs",
            Self::Unsupported { advice, .. } => advice,
            Self::Damaged { .. } => "copy it from the camera again, or take the photograph again",
            Self::TooLarge { .. } => "crop it to the dish or export it smaller",
            Self::TooSmall { .. } => "give the photograph itself, not its thumbnail",
            Self::TooManyBytes { .. } => "export it as a JPEG of quality 90 or more",
        }
    }
}
