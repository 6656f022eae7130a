//! The file that keeps scales and lenses by name.

use crate::cli::{Failure, Place, write_whole};
use crate::scale::stored::{StoredLens, StoredScale};
use serde::{Deserialize, Serialize};
use std::path::Path;

/// The file of stored scales.
#[derive(Debug, Clone, Default, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct StoredScales {
    /// The scales, in order of their names.
    #[serde(default)]
    pub scale: Vec<StoredScale>,
    /// The lenses, in order of their names.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub lens: Vec<StoredLens>,
}

impl StoredScales {
    /// Name of the file in the current folder.
    pub const FILE: &str = "frygauge-scales.toml";

    /// Reads the file; empty when it is not there.
    ///
    /// # Errors
    /// A [`Failure`] when it is there but cannot be understood.
    pub fn load(path: &Path) -> Result<Self, Failure> {
        let text = match std::fs::read_to_string(path) {
            Ok(text) => text,
            Err(e) if e.kind() == std::io::ErrorKind::NotFound => return Ok(Self::default()),
            Err(e) => {
                return Err(Failure::usage(format!("cannot read the stored scales: {e}"))
                    .at(Place::file(path))
                    .hint("check the path given to --scales"));
            }
        };
        toml::from_str(&text).map_err(|e| {
            let mut place = Place::file(path);
            if let Some(span) = e.span() {
                place = place.row(text[..span.start].lines().count().max(1) as u64);
            }
            Failure::usage(e.message().lines().next().unwrap_or_default().to_owned())
                .at(place)
                .hint("correct the line, or store the scale again with frygauge scale")
        })
    }

    /// The scale called `name`.
    ///
    /// # Errors
    /// A [`Failure`] that lists the names there are.
    pub fn find(&self, name: &str, path: &Path) -> Result<&StoredScale, Failure> {
        named(&self.scale, |s| &s.name, name, ("scale", "store one with frygauge scale measure"), path)
    }

    /// The lens called `name`.
    ///
    /// # Errors
    /// A [`Failure`] that lists the names there are.
    pub fn find_lens(&self, name: &str, path: &Path) -> Result<&StoredLens, Failure> {
        named(&self.lens, |l| &l.name, name, ("lens", "calibrate one with frygauge scale --lens"), path)
    }

    /// Adds a scale and writes the file.
    pub(super) fn store(mut self, new: StoredScale, replace: bool, path: &Path) -> Result<(), Failure> {
        put(&mut self.scale, new, |s| &s.name, ("scale", replace), path)?;
        self.write(path)
    }

    /// Adds a lens and writes the file.
    pub(super) fn store_lens(mut self, new: StoredLens, replace: bool, path: &Path) -> Result<(), Failure> {
        put(&mut self.lens, new, |l| &l.name, ("lens", replace), path)?;
        self.write(path)
    }

    /// Writes the file whole, beside the old one first.
    fn write(&self, path: &Path) -> Result<(), Failure> {
        let failed = |e: &dyn std::fmt::Display| {
            Failure::usage(format!("cannot write the stored scales: {e}"))
                .at(Place::file(path))
                .hint("give a folder that exists with --scales")
        };
        let text = toml::to_string_pretty(self).map_err(|e| failed(&e))?;
        write_whole(path, text.as_bytes()).map_err(|e| failed(&e))
    }
}

/// The one of things kept by name, or a failure that lists the names there are; `what` they are, and how to get one.
fn named<'a, T>(
    kept: &'a [T],
    name_of: impl Fn(&T) -> &String,
    name: &str,
    (what, how): (&str, &str),
    path: &Path,
) -> Result<&'a T, Failure> {
    kept.iter().find(|k| name_of(k) == name).ok_or_else(|| {
        let names: Vec<&str> = kept.iter().map(|k| name_of(k).as_str()).collect();
        let hint =
            if names.is_empty() { how.to_owned() } else { format!("stored are: {}", names.join(", ")) };
        Failure::usage(format!("no stored {what} is called {name:?}")).at(Place::file(path)).hint(hint)
    })
}

/// Adds `new` to things kept by name, in the place of one of the same name only with `replace`.
fn put<T>(
    kept: &mut Vec<T>,
    new: T,
    name: impl Fn(&T) -> &String,
    (what, replace): (&str, bool),
    path: &Path,
) -> Result<(), Failure> {
    if let Some(old) = kept.iter_mut().find(|k| name(k) == name(&new)) {
        if !replace {
            return Err(Failure::usage(format!("a {what} called {:?} is stored already", name(&new)))
                .at(Place::file(path))
                .hint("give another name, or --replace"));
        }
        *old = new;
    } else {
        kept.push(new);
    }
    kept.sort_by(|a, b| name(a).cmp(name(b)));
    Ok(())
}
