//! The file that keeps scales and lenses by name.

use crate::cli::{Failure, Place};
use crate::scale::stored::{StoredLens, StoredScale};
use serde::{Deserialize, Serialize};
use std::io::Write;
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
        self.scale.iter().find(|s| s.name == name).ok_or_else(|| {
            let names: Vec<&str> = self.scale.iter().map(|s| s.name.as_str()).collect();
            let hint = if names.is_empty() {
                "store one with frygauge scale measure".to_owned()
            } else {
                format!("stored are: {}", names.join(", "))
            };
            Failure::usage(format!("no stored scale is called {name:?}")).at(Place::file(path)).hint(hint)
        })
    }

    /// The lens called `name`.
    ///
    /// # Errors
    /// A [`Failure`] that lists the names there are.
    pub fn find_lens(&self, name: &str, path: &Path) -> Result<&StoredLens, Failure> {
        self.lens.iter().find(|l| l.name == name).ok_or_else(|| {
            let names: Vec<&str> = self.lens.iter().map(|l| l.name.as_str()).collect();
            let hint = if names.is_empty() {
                "calibrate one with frygauge scale --lens".to_owned()
            } else {
                format!("stored are: {}", names.join(", "))
            };
            Failure::usage(format!("no stored lens is called {name:?}")).at(Place::file(path)).hint(hint)
        })
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
        let aside = path.with_extension("toml.new");
        let mut file = std::fs::File::create(&aside).map_err(|e| failed(&e))?;
        file.write_all(text.as_bytes()).and_then(|()| file.sync_all()).map_err(|e| failed(&e))?;
        std::fs::rename(&aside, path).map_err(|e| failed(&e))
    }
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
