//! The results folder: written aside and put in place whole, or kept up to date one whole file at a time.

use crate::cli::{Failure, Place};
use std::io;
use std::path::{Path, PathBuf};

/// A results folder being written.
#[derive(Debug)]
pub struct ResultsFolder {
    /// Where files go now.
    root: PathBuf,
    /// Where the folder will stand.
    out: PathBuf,
    replace: bool,
    placed: bool,
}

impl ResultsFolder {
    /// A folder written beside `out` and renamed to it by [`Self::place`]. An `out` that holds anything is
    /// only replaced with `replace`, and only when it holds results.
    ///
    /// # Errors
    /// A [`Failure`] when `out` may not be used.
    pub fn stage(out: &Path, replace: bool) -> Result<Self, Failure> {
        check(out, replace)?;
        let name = out.file_name().map_or_else(|| "results".into(), |n| n.to_string_lossy().into_owned());
        let root = out.with_file_name(format!(".{name}.unfinished-{}", std::process::id()));
        let parent = root.parent().unwrap_or(Path::new(""));
        let make = || {
            if !parent.as_os_str().is_empty() {
                std::fs::create_dir_all(parent)?;
            }
            std::fs::create_dir(&root)
        };
        make().map_err(|e| unwritable(out, &e))?;
        Ok(Self { root, out: out.to_path_buf(), replace, placed: false })
    }

    /// A folder written in place, each file whole or not at all, for results that grow.
    ///
    /// # Errors
    /// A [`Failure`] when `out` may not be used.
    pub fn live(out: &Path, replace: bool) -> Result<Self, Failure> {
        check(out, replace)?;
        let make = || {
            if out.exists() && replace {
                std::fs::remove_dir_all(out)?;
            }
            std::fs::create_dir_all(out)
        };
        make().map_err(|e| unwritable(out, &e))?;
        Ok(Self { root: out.to_path_buf(), out: out.to_path_buf(), replace, placed: true })
    }

    /// Where the folder stands, or will.
    pub fn out(&self) -> &Path {
        &self.out
    }

    /// Path of a file that is not yet in its final place.
    pub fn path(&self, name: &str) -> PathBuf {
        self.root.join(name)
    }

    /// Writes a file, whole or not at all.
    ///
    /// # Errors
    /// A [`Failure`] that keeps what was finished.
    pub fn write(&self, name: &str, bytes: &[u8]) -> Result<(), Failure> {
        self.write_with(name, |file| io::Write::write_all(file, bytes))
    }

    /// Writes a file by `fill`, whole or not at all.
    ///
    /// # Errors
    /// A [`Failure`] that keeps what was finished.
    pub fn write_with(
        &self,
        name: &str,
        fill: impl FnOnce(&mut io::BufWriter<std::fs::File>) -> io::Result<()>,
    ) -> Result<(), Failure> {
        let path = self.root.join(name);
        let mut aside = path.clone().into_os_string();
        aside.push(".part");
        let aside = PathBuf::from(aside);
        let write = || {
            if let Some(parent) = path.parent() {
                std::fs::create_dir_all(parent)?;
            }
            let mut file = io::BufWriter::new(std::fs::File::create(&aside)?);
            fill(&mut file)?;
            io::Write::flush(&mut file)?;
            std::fs::rename(&aside, &path)
        };
        write().map_err(|e| {
            let _ = std::fs::remove_file(&aside);
            let stands = if self.replace { "the earlier results stand" } else { "what was finished is kept" };
            Failure::stopped(format!("cannot write results: {e}"))
                .at(Place::file(&path))
                .hint(format!("make room on the disk, then run again; {stands}"))
        })
    }

    /// Puts the folder in place.
    ///
    /// # Errors
    /// A [`Failure`] that says where the results are instead.
    pub fn place(mut self) -> Result<(), Failure> {
        if self.placed {
            return Ok(());
        }
        let old = self.root.with_extension("replaced");
        let swap = || {
            if self.out.exists() {
                if self.replace {
                    std::fs::rename(&self.out, &old)?;
                } else {
                    // An empty folder was there from the start.
                    std::fs::remove_dir(&self.out)?;
                }
            }
            std::fs::rename(&self.root, &self.out)
        };
        let swapped = swap();
        self.placed = true;
        swapped.map_err(|e| {
            Failure::stopped(format!("cannot put the results in place: {e}"))
                .at(Place::file(&self.out))
                .hint(format!("they are complete in {}", self.root.display()))
        })?;
        let _ = std::fs::remove_dir_all(&old);
        Ok(())
    }
}

impl Drop for ResultsFolder {
    /// A folder that never came to be leaves nothing behind.
    fn drop(&mut self) {
        if !self.placed {
            let _ = std::fs::remove_dir_all(&self.root);
        }
    }
}

fn check(out: &Path, replace: bool) -> Result<(), Failure> {
    let fail = |what: &str, hint: &str| Err(Failure::usage(what).at(Place::file(out)).hint(hint));
    if !out.exists() {
        return Ok(());
    }
    if !out.is_dir() {
        return fail("the results folder is a file", "give another folder with --out");
    }
    let mut entries = std::fs::read_dir(out).map_err(|e| unwritable(out, &e))?;
    if entries.next().is_none() {
        return Ok(());
    }
    if !replace {
        return fail(
            "the results folder already holds files",
            "give another folder with --out, or --replace to replace earlier results",
        );
    }
    if !out.join("results.json").is_file() {
        return fail(
            "the folder holds other files, not results",
            "give another folder with --out: it is not replaced",
        );
    }
    Ok(())
}

fn unwritable(out: &Path, error: &io::Error) -> Failure {
    Failure::usage(format!("cannot write to the results folder: {error}"))
        .at(Place::file(out))
        .hint("give a folder you may write to with --out")
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A disk that fills up half-way through a file.
    #[test]
    fn a_file_that_cannot_be_finished_leaves_nothing_of_itself() {
        let dir = std::env::temp_dir().join(format!("frygauge-folder-{}", std::process::id()));
        let folder = ResultsFolder::live(&dir, false).unwrap();
        folder.write("fish.csv", b"first").unwrap();
        let full = |file: &mut io::BufWriter<std::fs::File>| {
            io::Write::write_all(file, b"half of the sec")?;
            Err(io::Error::from(io::ErrorKind::StorageFull))
        };
        let failure = folder.write_with("fish.csv", full).unwrap_err();
        assert_eq!(failure.exit, crate::cli::Exit::Stopped);
        assert!(failure.hint.unwrap().contains("make room"));
        assert_eq!(std::fs::read(folder.path("fish.csv")).unwrap(), b"first");
        assert_eq!(std::fs::read_dir(&dir).unwrap().count(), 1);
        std::fs::remove_dir_all(&dir).unwrap();
    }
}
