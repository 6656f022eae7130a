//! One photograph from its file to rows, an annotated picture and its part of the report.

use super::Options;
use super::folder::ResultsFolder;
use super::samples::SampleSheet;
use crate::cli::Failure;
use crate::photo::{self, Buffers, Photo, Source};
use crate::pipeline::{Sample, Scored, Settings, fish_rows, photo_row, refused_row, score};
use crate::records::{FishRow, PhotoRow, PhotoStatus};
use crate::report::annotate::{FishMark, Marks, RefusedMark, annotate};
use crate::report::{CloseUp, PhotoSection, jpeg, photo_section, strip_picture};
use crate::scale;
use std::time::Instant;

/// Longest side of the annotated pictures, pixels: a 6 mm fry at 20 px/mm in a 24 MP frame keeps 60.
const PICTURE_SIDE: u32 = 3200;
/// Longest side of the pictures inside the report page.
const PAGE_SIDE: u32 = 1600;
/// JPEG quality of annotated pictures, and of those inside the page.
const QUALITY: [u8; 2] = [85, 72];

/// A finished photograph.
#[derive(Debug)]
pub struct Done {
    /// Its row.
    pub photo: PhotoRow,
    /// Its sample.
    pub sample: Sample,
    /// Its fish.
    pub fish: Vec<FishRow>,
    /// What to do when it was refused.
    pub hint: Option<String>,
}

/// What a worker needs, and the memory it keeps.
pub struct Worker<'a> {
    /// How to score.
    pub options: &'a Options,
    /// Which sample a photograph belongs to.
    pub sheet: &'a SampleSheet,
    /// Where pictures go.
    pub folder: &'a ResultsFolder,
    buffers: Buffers,
}

impl<'a> Worker<'a> {
    /// A worker without memory yet.
    pub fn new(options: &'a Options, sheet: &'a SampleSheet, folder: &'a ResultsFolder) -> Self {
        Self { options, sheet, folder, buffers: Buffers::default() }
    }

    /// Scores `source`, the photograph of place `index`.
    ///
    /// # Errors
    /// Only when results cannot be written; a photograph that cannot be read gives a refused row.
    pub fn run(&mut self, source: &Source, index: usize) -> Result<Done, Failure> {
        let begun = Instant::now();
        let name = &source.name;
        let refused = |sha256: &str, error: &photo::PhotoError| Done {
            photo: refused_row(name, sha256, error),
            sample: self
                .sheet
                .sample(name, &source.path, None, None, self.options)
                .map(|s| s.0)
                .unwrap_or_default(),
            fish: Vec::new(),
            hint: Some(error.hint().to_owned()),
        };
        let bytes = match photo::read(&source.path) {
            Ok(bytes) => bytes,
            Err(error) => return Ok(refused("", &error)),
        };
        let sha256 = photo::sha256(&bytes);
        let decoded = photo::decode_with(&mut self.buffers, &bytes, name);
        drop(bytes);
        let photo = match decoded {
            Ok(photo) => photo,
            Err(error) => return Ok(refused(&sha256, &error)),
        };
        let mut scale = self.options.scale.clone();
        // The command line goes before the sheet.
        if scale.wanted == scale::Wanted::Auto
            && let Some(given) = self.sheet.scale(name)
        {
            scale.wanted = scale::Wanted::Given(given);
        }
        let settings = Settings { model: self.options.model(), scale: &scale, strips: self.options.pictures };
        let scored = score(&photo, &settings);
        let mut row = photo_row(name, &sha256, &photo, &scored, begun.elapsed().as_secs_f64());
        let card = scored.card.as_ref();
        let (sample, clock_says) =
            match self.sheet.sample(name, &source.path, Some(&photo.tags), card, self.options) {
                Ok(sample) => sample,
                Err(conflict) => {
                    // Fish of an unknown tank count for none.
                    row.status = PhotoStatus::Refused;
                    row.reason = conflict.to_string();
                    row.fish = 0;
                    let hint =
                        "put the right card beside the dish, or correct the sheet or the folder".to_owned();
                    return Ok(Done {
                        photo: row,
                        sample: Sample::default(),
                        fish: Vec::new(),
                        hint: Some(hint),
                    });
                }
            };
        if clock_says.is_some() {
            row.flags = [row.flags.as_str(), "clock_differs"]
                .iter()
                .filter(|f| !f.is_empty())
                .copied()
                .collect::<Vec<_>>()
                .join(";");
        }
        let fish = fish_rows(name, &sample, &scored);
        if self.options.pictures {
            self.pictures(&photo, &scored, &fish, &row, &sample, index)?;
        }
        self.buffers.recycle(photo);
        row.seconds = Some((begun.elapsed().as_secs_f64() * 1e3).round() / 1e3);
        Ok(Done { photo: row, sample, fish, hint: None })
    }

    fn pictures(
        &self,
        photo: &Photo,
        scored: &Scored,
        rows: &[FishRow],
        row: &PhotoRow,
        sample: &Sample,
        index: usize,
    ) -> Result<(), Failure> {
        let broken = |e: String| Failure::stopped(format!("cannot draw {}: {e}", row.photo));
        let reasons: Vec<String> =
            rows.iter().map(|r| if r.use_call.is_yes() { String::new() } else { main_reason(r) }).collect();
        let sample = sample_words(sample);
        let marks = Marks {
            caption: format!("{} {sample}", row.photo),
            fish: scored
                .fish
                .iter()
                .zip(rows)
                .zip(&reasons)
                .map(|((f, r), reason)| FishMark {
                    number: r.fish,
                    midline: &f.fish.midline,
                    outline: &f.fish.outline,
                    call: r.call,
                    left_out: reason,
                })
                .collect(),
            refused: scored
                .refused
                .iter()
                .map(|r| RefusedMark { outline: &r.outline, reason: r.reason })
                .collect(),
        };
        let draw = |side: u32, quality: u8| {
            let factor = photo.pixels.factor_for(side);
            let picture = annotate(&photo.pixels.shrunk(factor), f64::from(factor), &marks);
            jpeg(&picture, quality).map_err(|e| broken(e.to_string()))
        };
        self.folder.write(&picture_name(&row.photo), &draw(PICTURE_SIDE, QUALITY[0])?)?;
        let mut close_ups = Vec::new();
        for (f, r) in scored.fish.iter().zip(rows) {
            let Some(strip) = &f.strip else { continue };
            let strip = jpeg(&strip_picture(&strip.values), QUALITY[1]).map_err(|e| broken(e.to_string()))?;
            close_ups.push(CloseUp::new(r, &strip));
        }
        let picture = draw(PAGE_SIDE, QUALITY[1])?;
        let section = PhotoSection { index, row, sample, picture: &picture, close_ups };
        let html = photo_section(section).map_err(|e| broken(e.to_string()))?;
        self.folder.write(&part_name(index), html.as_bytes())
    }
}

/// Where the annotated picture of a photograph goes: `pictures/` and its name, ending in `.jpg`.
fn picture_name(photo: &str) -> String {
    let ending = if photo.to_ascii_lowercase().ends_with(".jpg") { "" } else { ".jpg" };
    format!("pictures/{photo}{ending}")
}

/// Where a photograph's part of the report waits for the others.
pub fn part_name(index: usize) -> String {
    format!(".parts/{index:06}.html")
}

/// Tank and date in words.
fn sample_words(sample: &Sample) -> String {
    let date = sample.date.map(|d| d.to_string());
    [sample.tank.clone(), date].into_iter().flatten().collect::<Vec<_>>().join(" ")
}

/// The first reason a fish does not count, short enough for a label.
fn main_reason(row: &FishRow) -> String {
    let flag = row.flags.split(';').find(|f| !f.is_empty()).unwrap_or("not counted");
    flag.replace('_', " ")
}
