//! Every page held against axe-core (Deque Systems, MPL-2.0, from npm) in Chromium, at the width of a phone and of a desk.
//!
//! Both come from outside and may be missing: the test then says that it was not run, or fails where `.ci/test` requires
//! them.

#[path = "support/season.rs"]
mod season_of_four;
#[path = "support/tools.rs"]
mod tools;

use assert_cmd::Command;
use std::fs;
use std::path::{Path, PathBuf};

const WIDTHS: [u32; 2] = [390, 1280];

#[derive(Debug, serde::Deserialize)]
struct Found {
    violations: Vec<Violation>,
    passes: Vec<String>,
}

#[derive(Debug, serde::Deserialize)]
#[allow(dead_code)] // shown when the test fails
struct Violation {
    id: String,
    help: String,
    nodes: Vec<String>,
}

struct Checker {
    browser: PathBuf,
    axe: String,
    folder: tempfile::TempDir,
}

impl Checker {
    fn new() -> Option<Self> {
        let names = ["chromium", "chromium-browser", "google-chrome"].map(PathBuf::from);
        let browser = tools::tool("Chromium", &names)?;
        let axe = tools::below_target("accessibility/node_modules/axe-core/axe.min.js");
        let axe = fs::read_to_string(tools::tool("axe-core", &[axe])?).unwrap();
        Some(Self { browser, axe, folder: tempfile::tempdir().unwrap() })
    }

    /// What axe finds in `page` when it is `width` pixels wide. The page stands in a frame, for the browser's own window
    /// cannot be as narrow as a phone.
    fn check(&self, page: &str, width: u32) -> Found {
        let end = page.rfind("</body>").expect("a page has a body");
        let run = include_str!("accessibility/run.js");
        let with = format!(
            "{}<script>{}</script><script>{run}</script>{}",
            &page[..end],
            self.axe.replace("</script", "<\\/script"),
            &page[end..]
        );
        fs::write(self.folder.path().join("page.html"), with).unwrap();
        let around = format!(
            "<!DOCTYPE html><html><body><iframe src=\"page.html\" width=\"{width}\" height=\"900\"></iframe><script>\
             onmessage = (e) => {{ const p = document.createElement('pre'); p.id = 'found';\
             p.textContent = btoa(unescape(encodeURIComponent(JSON.stringify(e.data)))); document.body.append(p); }};\
             </script></body></html>"
        );
        let frame = self.folder.path().join("frame.html");
        fs::write(&frame, around).unwrap();
        let out = std::process::Command::new(&self.browser)
            .args([
                "--headless",
                "--no-sandbox",
                "--disable-gpu",
                "--virtual-time-budget=60000",
                "--dump-dom",
            ])
            .arg(format!("--window-size={},1000", width.max(500) + 50))
            .arg(format!("--user-data-dir={}", self.folder.path().join("profile").display()))
            .arg(format!("file://{}", frame.display()))
            .output()
            .unwrap();
        let dom = String::from_utf8_lossy(&out.stdout);
        let found = dom
            .split_once("<pre id=\"found\">")
            .and_then(|(_, rest)| rest.split_once("</pre>"))
            .unwrap_or_else(|| panic!("the browser gave no result: {}", String::from_utf8_lossy(&out.stderr)))
            .0;
        let json = base64::Engine::decode(&base64::prelude::BASE64_STANDARD, found).unwrap();
        serde_json::from_slice(&json).unwrap()
    }
}

fn frygauge(dir: &Path, args: &[&str]) {
    let mut command = Command::new(assert_cmd::cargo::cargo_bin!("frygauge"));
    command.current_dir(dir).args(args).assert().success();
}

/// Every kind of page the commands write.
fn pages(dir: &Path) -> Vec<(&'static str, String)> {
    let season = dir.join("season");
    fs::create_dir(&season).unwrap();
    season_of_four::season(&season);
    let image = Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-images/P05-light-pad-02.jpg");
    frygauge(dir, &["report", "--season", "season", "--out", "morning"]);
    frygauge(dir, &["growth", "--season", "season", "--out", "growth"]);
    frygauge(dir, &["compare", "--season", "season", "--by-column", "sprayer", "--out", "compared"]);
    frygauge(dir, &["score", image.to_str().unwrap(), "--px-per-mm", "32", "--out", "scored"]);
    ["morning/report.html", "growth/growth.html", "compared/comparison.html", "scored/report.html"]
        .map(|name| (name, fs::read_to_string(dir.join(name)).unwrap()))
        .to_vec()
}

#[test]
fn pages_pass_axe_at_the_width_of_a_phone_and_of_a_desk() {
    let Some(checker) = Checker::new() else { return };
    let dir = tempfile::tempdir().unwrap();
    let mut wrong = Vec::new();
    for (name, page) in pages(dir.path()) {
        for width in WIDTHS {
            let found = checker.check(&page, width);
            assert!(found.passes.iter().any(|p| p == "color-contrast"), "{name}: axe did not see the page");
            wrong.extend(found.violations.into_iter().map(|v| format!("{name} at {width} px: {v:?}")));
        }
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
}

/// The check itself can fail.
#[test]
fn axe_finds_a_picture_without_words_and_grey_on_grey() {
    let Some(checker) = Checker::new() else { return };
    let page = "<!DOCTYPE html><html lang=\"en\"><head><title>x</title></head><body><main><h1>x</h1><img src=\"x.png\">\
        <p style=\"color:#999;background:#aaa\">grey</p></main></body></html>";
    let found = checker.check(page, 390);
    let ids: Vec<&str> = found.violations.iter().map(|v| v.id.as_str()).collect();
    assert!(ids.contains(&"image-alt") && ids.contains(&"color-contrast"), "{ids:?}");
}
