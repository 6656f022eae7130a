//! The `[hatchery]` table of `frygauge.toml`.

use super::{Problem, Problems};
use serde::Deserialize;
use std::path::Path;

/// The inflated share to be expected at an age, as a band.
#[derive(Debug, Clone, Copy, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Expected {
    /// Age in days post hatch.
    pub dph: f64,
    /// Lower end, a fraction 0-1: a good tank is seldom below.
    pub low: f64,
    /// Upper end.
    pub high: f64,
}

/// What holds for the whole season.
#[derive(Debug, Clone, Default, PartialEq, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Settings {
    /// Title of the report.
    pub name: String,
    /// Species profile of tanks whose row says none.
    pub species: Option<String>,
    /// Columns of `tanks.csv` that are treatments.
    pub treatments: Vec<String>,
    /// Days between the samples of a tank while its window is open; 1 unless told otherwise.
    pub sample_every_days: Option<u32>,
    /// Inflation to be expected by age: the hatchery's own experience. Goes before the profile's.
    pub expected_inflation: Vec<Expected>,
    /// First and last day of the inflation window. Goes before the profile's.
    pub window_dph: Option<[f64; 2]>,
    /// Outlet meshes owned, nominal openings in millimetres; without any, those that stand in `tanks.csv`.
    pub meshes_mm: Vec<f64>,
    /// Graders owned, clear openings between bars in millimetres.
    pub graders_mm: Vec<f64>,
    /// Length below which fish are not to be handled, millimetres.
    pub handling_length_mm: Option<f64>,
    /// Name of the weight profile.
    pub weight: Option<String>,
    /// Names of the rules of who can eat whom.
    pub prey_rules: Vec<String>,
}

/// Columns of `tanks.csv` that cannot be treatments.
const TAKEN: [&str; 9] = [
    "tank",
    "hatch_date",
    "species",
    "stocked_date",
    "stocked_number",
    "volume_l",
    "temperature_c",
    "screen_mm",
    "notes",
];

impl Settings {
    /// Reads the `[hatchery]` table; the rest of the file belongs to the commands.
    pub(super) fn parse(path: &Path, bytes: &[u8], problems: &mut Problems) -> Option<Self> {
        #[derive(Deserialize)]
        struct File {
            #[serde(default)]
            hatchery: Settings,
        }
        let Ok(text) = std::str::from_utf8(bytes) else {
            problems.add(Problem::new(path, "letters that are not UTF-8", "save it as UTF-8"));
            return None;
        };
        let text = text.strip_prefix('\u{feff}').unwrap_or(text);
        let settings = match toml::from_str::<File>(text) {
            Ok(file) => file.hatchery,
            Err(e) => {
                let row = e.span().map_or(1, |s| text[..s.start].matches('\n').count() as u64 + 1);
                let what = e.message().lines().next().unwrap_or_default().to_owned();
                let hint = "see docs/register.md for the names of the [hatchery] table";
                problems.add(Problem::new(path, what, hint).row(row));
                return None;
            }
        };
        let mut wrong = |what: String, hint: &str, key: &str| {
            let row = text.lines().position(|l| l.trim_start().starts_with(key)).map_or(1, |i| i as u64 + 1);
            problems.add(Problem::new(path, what, hint).row(row).column(key));
        };
        for treatment in &settings.treatments {
            if TAKEN.contains(&treatment.as_str())
                || *treatment != treatment.trim().to_lowercase()
                || treatment.is_empty()
            {
                let hint = "give lower-case names of columns of tanks.csv, other than frygauge's own";
                wrong(format!("`{treatment}` cannot be a treatment"), hint, "treatments");
            }
        }
        if settings.sample_every_days == Some(0) {
            wrong("0 days between samples".into(), "give 1 or more", "sample_every_days");
        }
        if settings.window_dph.is_some_and(|[a, b]| !(a >= 0.0 && b > a && b < 400.0)) {
            wrong(
                "not a window".into(),
                "give its first and last day post hatch, like [4, 13]",
                "window_dph",
            );
        }
        let usable = |v: &f64| v.is_finite() && *v > 0.0;
        for (key, sizes, most) in
            [("meshes_mm", &settings.meshes_mm, 20.0), ("graders_mm", &settings.graders_mm, 200.0)]
        {
            if let Some(bad) = sizes.iter().find(|v| !usable(v) || **v > most) {
                let hint = format!("openings are in millimetres, above 0 and at most {most}");
                wrong(format!("an opening of {bad} mm"), &hint, key);
            }
        }
        if settings.handling_length_mm.is_some_and(|v| !usable(&v)) {
            wrong("not a length".into(), "give it in millimetres, above 0", "handling_length_mm");
        }
        let curve = &settings.expected_inflation;
        if curve.iter().any(|e| !(e.dph >= 0.0 && 0.0 <= e.low && e.low <= e.high && e.high <= 1.0)) {
            let hint = "each needs dph, and low and high as fractions 0 to 1, low not above high";
            wrong("not a band".into(), hint, "expected_inflation");
        }
        if curve.windows(2).any(|w| w[1].dph <= w[0].dph) {
            wrong("the ages do not rise".into(), "order the bands by dph, each once", "expected_inflation");
        }
        Some(settings)
    }
}
