//! The modules import in one direction only: a stage never a later one, and nothing but the command line all.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

/// Modules in the order of the data flow. Each may import those before it.
const FLOW: [&str; 11] = [
    "units",
    "photo",
    "scale",
    "segmentation",
    "fish",
    "bladder",
    "pipeline",
    "tank",
    "decision",
    "season",
    "cli",
];
/// Leaves import leaves only.
const LEAVES: [&str; 4] = ["units", "imaging", "stats", "records"];
/// These see records and leaves, not the stages: they keep and show what stages found.
const SEE_RECORDS: [&str; 3] = ["ledger", "report", "desk"];
/// The season's course of each tank and list of who needs somebody first are finished records: its page shows them.
const ALSO: [(&str, &str); 1] = [("report", "season")];
/// The renderer is independent of the reader.
const RENDER: &str = "render";

fn sources(dir: &Path, out: &mut Vec<PathBuf>) {
    for entry in std::fs::read_dir(dir).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            sources(&path, out);
        } else if path.extension().is_some_and(|e| e == "rs") {
            out.push(path);
        }
    }
}

/// The modules of the crate that a source imports: from `use crate::x` (groups too) and `crate::x::` in code.
/// Test modules, comments and documentation are left out: a test may build its input as it likes.
fn imports(text: &str) -> Vec<String> {
    let mut code = String::new();
    for line in text.lines() {
        if line.trim_start().starts_with("#[cfg(test)]") {
            break;
        }
        code.push_str(line.split("//").next().unwrap_or_default());
        code.push('\n');
    }
    let mut found = Vec::new();
    for (at, _) in code.match_indices("crate::") {
        let rest = &code[at + "crate::".len()..];
        if let Some(group) = rest.strip_prefix('{') {
            let mut depth = 1;
            let mut name = String::new();
            let mut take = true;
            for c in group.chars() {
                match c {
                    '{' => depth += 1,
                    '}' => depth -= 1,
                    _ => {}
                }
                if depth == 1 && (c.is_alphanumeric() || c == '_') && take {
                    name.push(c);
                } else {
                    if !name.is_empty() {
                        found.push(std::mem::take(&mut name));
                        take = false;
                    }
                    if depth == 1 && c == ',' {
                        take = true;
                    }
                }
                if depth == 0 {
                    break;
                }
            }
        } else {
            found.push(rest.chars().take_while(|c| c.is_alphanumeric() || *c == '_').collect());
        }
    }
    found
}

#[test]
fn imports_go_one_way() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let mut files = Vec::new();
    sources(&root, &mut files);
    files.sort();
    let place = |m: &str| FLOW.iter().position(|f| *f == m);
    let mut wrong: BTreeMap<String, Vec<String>> = BTreeMap::new();
    let mut checked = 0;
    for file in files {
        let below = file.strip_prefix(&root).unwrap();
        let first = below.components().next().unwrap().as_os_str().to_string_lossy();
        let module = first.trim_end_matches(".rs").to_owned();
        if matches!(module.as_str(), "lib" | "main") || below.ends_with("tests.rs") {
            continue;
        }
        for import in imports(&std::fs::read_to_string(&file).unwrap()) {
            checked += 1;
            let leaf = LEAVES.contains(&import.as_str());
            let allowed = import == module
                || ALSO.contains(&(module.as_str(), import.as_str()))
                || match module.as_str() {
                    "cli" => true,
                    m if LEAVES.contains(&m) => leaf,
                    m if SEE_RECORDS.contains(&m) => leaf,
                    m if m == RENDER => leaf,
                    m => leaf || matches!((place(m), place(&import)), (Some(a), Some(b)) if b < a),
                };
            if !allowed {
                wrong.entry(below.display().to_string()).or_default().push(import);
            }
        }
    }
    assert!(checked > 50, "only {checked} imports were read: the reader of this test is broken");
    assert!(wrong.is_empty(), "imports against the flow: {wrong:#?}");
}

#[test]
fn groups_and_paths_are_both_read() {
    let text = "use crate::{stats::{a, b}, tank};\nfn f() { crate::fish::g(); } // crate::cli\n#[cfg(test)]\nuse crate::cli;";
    assert_eq!(imports(text), ["stats", "tank", "fish"]);
}
