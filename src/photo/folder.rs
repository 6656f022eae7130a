//! Paths to a sorted list of photographs, each once, each with a name of its own.

use super::{PhotoError, format};
use sha2::{Digest, Sha256};
use std::collections::{BTreeMap, HashMap, HashSet};
use std::path::{Path, PathBuf};

/// A photograph to be scored.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Source {
    /// Where it is.
    pub path: PathBuf,
    /// Its name in every result: the path below the folder given, `/` between parts; longer when two
    /// would share one.
    pub name: String,
    /// Size in bytes.
    pub bytes: u64,
}

/// A photograph left out because its bytes are those of one already taken.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Duplicate {
    /// Name of the one left out.
    pub name: String,
    /// Name of the one kept.
    pub kept: String,
}

/// What the paths hold.
#[derive(Debug, Default)]
pub struct Listing {
    /// The photographs, sorted by name.
    pub sources: Vec<Source>,
    /// Those left out.
    pub duplicates: Vec<Duplicate>,
    /// Files below the folders given that are no photographs by their names.
    pub others: usize,
}

/// Lists the photographs that `paths` (files and folders) hold. Folders are walked; hidden files, and
/// folders of results (they hold `results.json`), are passed over. A file given by name is taken whatever
/// it is called.
///
/// # Errors
/// [`PhotoError::Unreadable`] for a path that does not exist or a folder that cannot be read.
pub fn list(paths: &[PathBuf]) -> Result<Listing, PhotoError> {
    let mut listing = Listing::default();
    let mut found: Vec<(PathBuf, PathBuf, u64)> = Vec::new();
    let mut seen = HashSet::new();
    for root in paths {
        let unreadable = |source| PhotoError::Unreadable { path: root.clone(), source };
        let metadata = root.metadata().map_err(unreadable)?;
        if !metadata.is_dir() {
            if seen.insert(root.canonicalize().map_err(unreadable)?) {
                let name = root.file_name().map(PathBuf::from).unwrap_or_default();
                found.push((root.clone(), name, metadata.len()));
            }
            continue;
        }
        let walk = walkdir::WalkDir::new(root).follow_links(true).sort_by_file_name().into_iter();
        let walk = walk.filter_entry(|e| e.depth() == 0 || (!is_hidden(e.path()) && !is_results(e.path())));
        for entry in walk {
            let entry = entry.map_err(|e| PhotoError::Unreadable {
                path: e.path().unwrap_or(root).to_path_buf(),
                source: e.into(),
            })?;
            if entry.file_type().is_dir() {
                continue;
            }
            if !format::is_picture_name(&entry.file_name().to_string_lossy()) {
                listing.others += 1;
                continue;
            }
            let path = entry.path();
            let below = path.strip_prefix(root).unwrap_or(path).to_path_buf();
            let size = entry.metadata().map_or(0, |m| m.len());
            if seen.insert(path.canonicalize().unwrap_or_else(|_| path.to_path_buf())) {
                found.push((path.to_path_buf(), below, size));
            }
        }
    }
    let names = unique_names(&found);
    listing.sources =
        found.into_iter().zip(names).map(|((path, _, bytes), name)| Source { path, name, bytes }).collect();
    listing.sources.sort_by(|a, b| a.name.cmp(&b.name).then_with(|| a.path.cmp(&b.path)));
    drop_duplicates(&mut listing);
    Ok(listing)
}

fn is_hidden(path: &Path) -> bool {
    path.file_name().is_some_and(|n| n.to_string_lossy().starts_with('.'))
}

/// A folder this command wrote: its annotated pictures are not photographs.
fn is_results(path: &Path) -> bool {
    path.join("results.json").is_file() && path.join("fish.csv").is_file()
}

/// Names for the photographs: the path below the folder given, with as much of the path before it as it
/// takes to tell any two apart.
fn unique_names(found: &[(PathBuf, PathBuf, u64)]) -> Vec<String> {
    let parts = |path: &Path| -> Vec<String> {
        path.components()
            .filter_map(|c| match c {
                std::path::Component::Normal(part) => Some(part.to_string_lossy().into_owned()),
                _ => None,
            })
            .collect()
    };
    let full: Vec<Vec<String>> = found.iter().map(|(path, ..)| parts(path)).collect();
    let mut taken: Vec<usize> = found.iter().map(|(_, below, _)| parts(below).len().max(1)).collect();
    let tail = |i: usize, n: usize| full[i][full[i].len().saturating_sub(n)..].join("/");
    loop {
        let mut count: HashMap<String, usize> = HashMap::new();
        for (i, &n) in taken.iter().enumerate() {
            *count.entry(tail(i, n)).or_default() += 1;
        }
        let mut grew = false;
        for i in 0..taken.len() {
            if count[&tail(i, taken[i])] > 1 && taken[i] < full[i].len() {
                taken[i] += 1;
                grew = true;
            }
        }
        if !grew {
            return (0..taken.len()).map(|i| tail(i, taken[i])).collect();
        }
    }
}

/// Leaves out every photograph whose bytes are those of an earlier one. Only files of equal size can be
/// equal, so only those are read here. One that cannot be read stays: scoring it will say why.
fn drop_duplicates(listing: &mut Listing) {
    let mut by_size: BTreeMap<u64, Vec<usize>> = BTreeMap::new();
    for (i, source) in listing.sources.iter().enumerate() {
        by_size.entry(source.bytes).or_default().push(i);
    }
    let mut same_as: HashMap<usize, usize> = HashMap::new();
    for (_, group) in by_size.into_iter().filter(|(size, group)| *size > 0 && group.len() > 1) {
        let mut first: HashMap<String, usize> = HashMap::new();
        for i in group {
            let Ok(bytes) = std::fs::read(&listing.sources[i].path) else { continue };
            match first.entry(sha256(&bytes)) {
                std::collections::hash_map::Entry::Occupied(kept) => drop(same_as.insert(i, *kept.get())),
                std::collections::hash_map::Entry::Vacant(place) => drop(place.insert(i)),
            }
        }
    }
    let mut i = 0;
    let names: Vec<String> = listing.sources.iter().map(|s| s.name.clone()).collect();
    listing.sources.retain(|source| {
        let kept = same_as.get(&i);
        i += 1;
        if let Some(&kept) = kept {
            listing.duplicates.push(Duplicate { name: source.name.clone(), kept: names[kept].clone() });
        }
        kept.is_none()
    });
}

/// SHA-256 of `bytes` in lower-case hexadecimal.
///
/// ```
/// // FIPS 180-4 example message, NIST "SHA256.pdf".
/// assert_eq!(
///     frygauge::photo::sha256(b"abc"),
///     "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
/// );
/// ```
pub fn sha256(bytes: &[u8]) -> String {
    use std::fmt::Write as _;
    Sha256::digest(bytes).iter().fold(String::with_capacity(64), |mut hex, byte| {
        let _ = write!(hex, "{byte:02x}");
        hex
    })
}
