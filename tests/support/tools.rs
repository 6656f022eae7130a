//! Programs from outside that some tests hold ours against.

use std::path::{Path, PathBuf};

/// Set by `.ci/test`: a tool that is missing is then a failure.
const REQUIRED: &str = "FRYGAUGE_REQUIRE_TOOLS";

/// The first of `places` that is there: files, or names of programs. Without any the test is left out, and says so, or
/// fails where tools are required.
pub fn tool(what: &str, places: &[PathBuf]) -> Option<PathBuf> {
    let found = places.iter().find_map(|place| {
        if place.components().count() > 1 {
            return place.exists().then(|| place.clone());
        }
        let path = std::env::var_os("PATH")?;
        std::env::split_paths(&path).map(|folder| folder.join(place)).find(|file| file.is_file())
    });
    if found.is_none() {
        let tried: Vec<String> = places.iter().map(|p| p.display().to_string()).collect();
        let said = format!("{what} is missing (looked for {}); .ci/test installs it", tried.join(", "));
        assert!(std::env::var_os(REQUIRED).is_none(), "{said}");
        eprintln!("NOT RUN: {said}");
    }
    found
}

/// A file below the folder of built things, where `.ci/test` puts what it fetches.
pub fn below_target(path: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("target").join(path)
}
