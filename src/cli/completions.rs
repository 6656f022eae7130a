//! `completions` and `manual`: the command line for shells and manual readers.

use super::{Context, Exit, Failure, Place, definition};
use std::path::PathBuf;

/// Arguments of `completions`.
#[derive(Debug, clap::Args)]
pub struct Completions {
    /// Shell to write for
    shell: clap_complete::Shell,
}

impl Completions {
    /// Prints the script.
    pub fn run(&self, context: &Context) -> Exit {
        let mut script = Vec::new();
        clap_complete::generate(self.shell, &mut definition(), "frygauge", &mut script);
        context.printer.result(String::from_utf8_lossy(&script).trim_end());
        Exit::Done
    }
}

/// Arguments of `manual`.
#[derive(Debug, clap::Args)]
pub struct Manual {
    /// Folder to write to
    #[arg(value_name = "DIR")]
    folder: PathBuf,
}

impl Manual {
    /// Writes one page a command.
    ///
    /// # Errors
    /// A [`Failure`] when the folder cannot be written to.
    pub fn run(&self, context: &Context) -> Result<Exit, Failure> {
        std::fs::create_dir_all(&self.folder)
            .and_then(|()| clap_mangen::generate_to(definition(), &self.folder))
            .map_err(|e| {
                Failure::usage(format!("cannot write manual pages: {e}"))
                    .at(Place::file(&self.folder))
                    .hint("give a folder you may write to")
            })?;
        context.printer.note(&format!("manual pages written to {}", self.folder.display()));
        Ok(Exit::Done)
    }
}
