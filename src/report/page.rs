//! The report page of one run: tanks, charts, every photograph, every fish.
//!
//! The page is written in three parts so that a run of hundreds of photographs never holds all of its
//! pictures in memory: [`Page::head`], one [`photo_section`] a photograph, [`Page::tail`].

use super::chart::{Axis, Chart, Panel, Point};
use super::results::Provenance;
use crate::records::{Call, FishRow, PhotoRow, PhotoStatus, TankRow};
use askama::Template;
use base64::Engine as _;
use base64::prelude::BASE64_STANDARD;

/// Width of a histogram's bins, millimetres.
const BIN_MM: f64 = 0.25;

/// A close-up of one fish.
#[derive(Debug)]
pub struct CloseUp {
    number: u32,
    kind: &'static str,
    words: String,
    picture: String,
}

impl CloseUp {
    /// The close-up of the fish in `row`: its straightened picture as JPEG bytes.
    pub fn new(row: &FishRow, picture: &[u8]) -> Self {
        let (kind, call) = match row.call {
            _ if !row.use_call.is_yes() => ("left_out", "not counted"),
            Call::Inflated => ("inflated", "● in"),
            Call::NotInflated => ("not_inflated", "○ not"),
            Call::Unsure => ("unsure", "◆ unsure"),
        };
        let mut words = call.to_owned();
        if let Some(p) = row.p_inflated {
            words.push_str(&format!(" · p {p:.2}"));
        }
        match row.total_length_mm {
            Some(mm) => words.push_str(&format!(" · {mm:.2} mm")),
            None => words.push_str(&format!(" · {:.0} px", row.total_length_px)),
        }
        if !row.use_length.is_yes() {
            words.push_str(" (length not counted)");
        }
        if !row.flags.is_empty() {
            words.push_str(&format!(" · {}", row.flags.replace(';', ", ").replace('_', " ")));
        }
        Self { number: row.fish, kind, words, picture: BASE64_STANDARD.encode(picture) }
    }

    /// Unsure fish first, then those not inflated, inflated, not counted; each by number.
    fn order(&self) -> (u8, u32) {
        let rank = match self.kind {
            "unsure" => 0,
            "not_inflated" => 1,
            "inflated" => 2,
            _ => 3,
        };
        (rank, self.number)
    }
}

/// One photograph of the page.
#[derive(Debug)]
pub struct PhotoSection<'a> {
    /// Its place among the photographs, from 0.
    pub index: usize,
    /// Its row.
    pub row: &'a PhotoRow,
    /// Tank and date, in words.
    pub sample: String,
    /// The annotated picture as JPEG bytes.
    pub picture: &'a [u8],
    /// The close-ups, in any order.
    pub close_ups: Vec<CloseUp>,
}

#[derive(Template)]
#[template(path = "photo.html")]
struct PhotoTemplate {
    index: usize,
    name: String,
    sample: String,
    facts: String,
    again: bool,
    advice: String,
    picture: String,
    fish: u32,
    close_ups: Vec<CloseUp>,
}

/// A photograph as HTML.
///
/// # Errors
/// When the template cannot be filled.
pub fn photo_section(section: PhotoSection) -> Result<String, askama::Error> {
    let row = section.row;
    let mut close_ups = section.close_ups;
    close_ups.sort_by_key(CloseUp::order);
    let scale = row.mm_per_px.map_or_else(
        || "no scale".to_owned(),
        |s| format!("{:.1} px/mm ({})", 1.0 / s, row.scale_source.as_deref().unwrap_or("unknown")),
    );
    PhotoTemplate {
        index: section.index,
        name: row.photo.clone(),
        sample: section.sample,
        facts: format!("{} fish · {scale}", row.fish),
        again: row.status == PhotoStatus::Retake,
        advice: row.reason.clone(),
        picture: BASE64_STANDARD.encode(section.picture),
        fish: row.fish,
        close_ups,
    }
    .render()
}

/// What the page says besides its photographs.
#[derive(Debug)]
pub struct Page<'a> {
    /// The photographs.
    pub photos: &'a [PhotoRow],
    /// The tanks.
    pub tanks: &'a [TankRow],
    /// The fish.
    pub fish: &'a [FishRow],
    /// Where the results came from.
    pub provenance: &'a Provenance,
    /// Level of the intervals, a fraction.
    pub level: f64,
    /// What the sizes say: a section of trusted HTML with its heading, or nothing.
    pub size: &'a str,
}

#[derive(Template)]
#[template(path = "page.html")]
struct HeadTemplate {
    title: String,
    summary: String,
    stopped: bool,
    problems: Vec<(String, String)>,
    level: String,
    corrected: bool,
    tanks: Vec<TankCells>,
    inflation: String,
    lengths: String,
    size: String,
}

#[derive(Template)]
#[template(path = "end.html")]
struct TailTemplate {
    provenance: Vec<(String, String)>,
}

struct TankCells {
    tank: String,
    date: String,
    age: String,
    fish: String,
    inflated: String,
    corrected: String,
    unsure: String,
    length: String,
    cv: String,
    range: String,
    notes: String,
}

impl TankCells {
    fn of(t: &TankRow) -> Self {
        let some = |v: Option<f64>, digits: usize| v.map(|v| format!("{v:.digits$}")).unwrap_or_default();
        let percent = |v: Option<f64>| v.map(|v| format!("{:.0} %", 100.0 * v)).unwrap_or_default();
        let both = |a: String, b: String| if a.is_empty() { a } else { format!("{a}–{b}") };
        let limits = |a: Option<f64>, b: Option<f64>| {
            both(a.map(|v| format!("{:.0}", 100.0 * v)).unwrap_or_default(), percent(b))
        };
        let mut corrected = percent(t.inflation_corrected);
        if !corrected.is_empty() {
            corrected =
                format!("{corrected} ({})", limits(t.inflation_corrected_low, t.inflation_corrected_high));
        }
        Self {
            tank: t.tank.clone(),
            date: t.date.map(|d| d.to_string()).unwrap_or_default(),
            age: some(t.age_dph, 0),
            fish: t.fish.to_string(),
            inflated: if t.called > 0 {
                let limits = limits(t.inflation_low, t.inflation_high);
                format!("{} ({limits}) · {} of {}", percent(t.inflation), t.inflated, t.called)
            } else {
                String::new()
            },
            corrected,
            unsure: t.unsure.to_string(),
            length: match (t.mean_length_mm, t.mean_length_low_mm, t.mean_length_high_mm) {
                (Some(mean), Some(low), Some(high)) => format!("{mean:.2} ({low:.2}–{high:.2})"),
                (mean, ..) => some(mean, 2),
            },
            cv: t.cv_length.map(|v| format!("{:.1} %", 100.0 * v)).unwrap_or_default(),
            range: both(some(t.p05_length_mm, 2), some(t.p95_length_mm, 2)),
            notes: t.notes.clone(),
        }
    }
}

impl Page<'_> {
    /// The page up to its first photograph.
    ///
    /// # Errors
    /// When the template cannot be filled.
    pub fn head(&self) -> Result<String, askama::Error> {
        let scored = self.photos.iter().filter(|p| p.status != PhotoStatus::Refused).count();
        let problems = self
            .photos
            .iter()
            .filter(|p| p.status != PhotoStatus::Scored || !p.reason.is_empty())
            .map(|p| {
                let lead = match p.status {
                    PhotoStatus::Refused => "not scored: ",
                    PhotoStatus::Retake => "take it again: ",
                    PhotoStatus::Scored => "",
                };
                (p.photo.clone(), format!("{lead}{}", p.reason))
            })
            .collect();
        let plural = |n: usize, one: &str| format!("{n} {one}{}", if n == 1 { "" } else { "s" });
        HeadTemplate {
            title: "Fry scored from photographs".to_owned(),
            summary: format!(
                "{} fish in {}, {} by tank and date. Run {}.",
                self.fish.len(),
                plural(scored, "photograph"),
                plural(self.tanks.len(), "sample"),
                self.provenance.started
            ),
            stopped: !self.provenance.complete,
            problems,
            level: format!("{} %", trim(100.0 * self.level)),
            corrected: self.tanks.iter().any(|t| t.inflation_corrected.is_some()),
            tanks: self.tanks.iter().map(TankCells::of).collect(),
            inflation: self.inflation().map(|c| c.to_html()).unwrap_or_default(),
            lengths: self.lengths().map(|c| c.to_html()).unwrap_or_default(),
            size: self.size.to_owned(),
        }
        .render()
    }

    /// The page after its last photograph.
    ///
    /// # Errors
    /// When the template cannot be filled.
    pub fn tail(&self) -> Result<String, askama::Error> {
        let p = self.provenance;
        let mut provenance = vec![
            ("Version".to_owned(), p.version.clone()),
            ("Bladder model".to_owned(), format!("{} (SHA-256 {})", p.model, p.model_sha256)),
            ("Run".to_owned(), p.started.clone()),
        ];
        provenance.extend(p.options.iter().map(|(k, v)| (k.clone(), v.clone())));
        TailTemplate { provenance }.render()
    }

    /// Inflated share with limits, a mark a sample.
    fn inflation(&self) -> Option<Chart> {
        let called: Vec<&TankRow> = self.tanks.iter().filter(|t| t.inflation.is_some()).collect();
        if called.is_empty() {
            return None;
        }
        let points = called.iter().enumerate().filter_map(|(i, t)| {
            Some(Point::new(i as f64, t.inflation?).interval(t.inflation_low?, t.inflation_high?))
        });
        let lowest =
            called.iter().min_by(|a, b| a.inflation.unwrap_or(1.0).total_cmp(&b.inflation.unwrap_or(1.0)))?;
        let words = format!(
            "Share of called fish called inflated, with Wilson limits, for {} samples. Lowest: {} at {:.0} %.",
            called.len(),
            self.sample_name(lowest),
            100.0 * lowest.inflation.unwrap_or(0.0)
        );
        let names: Vec<String> = called.iter().map(|t| self.sample_name(t)).collect();
        Some(Chart::new("Inflated fish by sample", words).panel(
            Panel::new(Axis::categories("Sample", names), Axis::percent("Inflated")).bars("", 0.6, points),
        ))
    }

    /// A histogram of total length a tank and date, all on one axis.
    fn lengths(&self) -> Option<Chart> {
        let of = |t: &TankRow| -> Vec<f64> {
            self.fish
                .iter()
                .filter(|f| f.use_length.is_yes() && f.date == t.date)
                .filter(|f| {
                    f.tank.as_deref().map_or_else(|| f.photo.starts_with(&t.tank), |tank| tank == t.tank)
                })
                .filter_map(|f| f.total_length_mm)
                .collect()
        };
        let samples: Vec<(&TankRow, Vec<f64>)> =
            self.tanks.iter().map(|t| (t, of(t))).filter(|(_, v)| !v.is_empty()).collect();
        let all = || samples.iter().flat_map(|(_, v)| v.iter().copied());
        let (low, high) = (all().min_by(f64::total_cmp)?, all().max_by(f64::total_cmp)?);
        // Wide spreads get wider bins, so that a bar never gets thinner than can be seen.
        let bin = BIN_MM * ((high - low) / BIN_MM / 40.0).ceil().max(1.0);
        let (low, high) = ((low / bin).floor() * bin, (high / bin).floor() * bin + bin);
        let mut chart = Chart::new(
            "Total length by sample",
            format!(
                "Histograms of total length in {} samples, from {low:.2} to {high:.2} mm.",
                samples.len()
            ),
        )
        .columns(2);
        for (t, lengths) in &samples {
            chart = chart.panel(
                Panel::new(Axis::number("Total length (mm)").from(low).to(high), Axis::counts("Fish"))
                    .title(format!("{} · {} fish", self.sample_name(t), lengths.len()))
                    .histogram("", bin, lengths),
            );
        }
        Some(chart)
    }

    /// The tank, and the date where the run has more than one.
    fn sample_name(&self, t: &TankRow) -> String {
        let several = self.tanks.iter().any(|o| o.date != t.date);
        match t.date {
            Some(date) if several => format!("{} {}", t.tank, date.strftime("%m-%d")),
            _ => t.tank.clone(),
        }
    }
}

/// A number without trailing zeros.
fn trim(value: f64) -> String {
    let text = format!("{value:.2}");
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}
