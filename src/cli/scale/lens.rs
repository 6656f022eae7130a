//! `frygauge scale --lens`: a camera calibrated from photographs of a chessboard.

use super::StoredScales;
use crate::cli::{Context, Exit, Failure, Place};
use crate::photo::{self, Tags, orient::swapped};
use crate::scale::lens::{Calibration, View, board, calibrate, to_sensor};
use crate::scale::stored::StoredLens;
use std::path::{Path, PathBuf};

/// Arguments.
#[derive(Debug, clap::Args)]
pub(super) struct LensArgs {
    /// Calibrate a camera's lens from photographs of a chessboard and store it
    #[arg(long, value_name = "PHOTOS", num_args = 1..)]
    lens: Vec<PathBuf>,
    /// With --lens: its name, such as "stand camera"; by default camera and focal length as photographs say
    #[arg(long, value_name = "NAME", requires = "lens")]
    name: Option<String>,
    /// With --lens: the chessboard's inner corners across and down, one fewer than squares
    #[arg(long, value_name = "CxR", value_parser = corners, default_value = "9x6")]
    corners: (usize, usize),
    /// With --lens: put it in the place of a lens of the same name
    #[arg(long, requires = "lens")]
    replace: bool,
}

fn corners(text: &str) -> Result<(usize, usize), String> {
    let sides =
        text.split_once(['x', 'X']).and_then(|(c, r)| Some((c.trim().parse().ok()?, r.trim().parse().ok()?)));
    sides
        .filter(|(c, r)| (3..=60).contains(c) && (3..=60).contains(r))
        .ok_or_else(|| "write it as 9x6; a board has 3 to 60 inner corners a side".into())
}

/// What all photographs of a calibration have in common.
#[derive(Clone, PartialEq)]
struct Camera {
    make: Option<String>,
    model: Option<String>,
    focal_length_mm: Option<f64>,
    frame: (u32, u32),
}

/// Share of the half-diagonal below which the lens is extrapolated over much of the frame.
const FAR_ENOUGH: f64 = 0.75;

impl LensArgs {
    /// Whether photographs of a board were given.
    pub(super) fn asked(&self) -> bool {
        !self.lens.is_empty()
    }

    /// Calibrates the camera and stores its lens.
    ///
    /// # Errors
    /// A [`Failure`] when photographs come from several cameras, too few show the board, or no camera fits.
    pub(super) fn run(&self, stored: StoredScales, file: &Path, context: &Context) -> Result<Exit, Failure> {
        if !self.asked() {
            return Err(Failure::usage("nothing to do")
                .hint("give --lens and photographs of a chessboard, or see frygauge scale --help"));
        }
        let (columns, rows) = self.corners;
        // Squares of any size give the same lens: only the pose of the board scales.
        let mm: Vec<[f64; 2]> =
            (0..columns * rows).map(|i| [(i % columns) as f64, (i / columns) as f64]).collect();
        let mut camera: Option<Camera> = None;
        let mut views = Vec::new();
        let mut seen = Vec::new();
        for path in &self.lens {
            let picture = photo::open(path)
                .map_err(|e| Failure::usage(e.to_string()).at(Place::file(path)).hint(e.hint()))?;
            let this = camera_of(&picture.tags, (picture.pixels.width, picture.pixels.height));
            if *camera.get_or_insert_with(|| this.clone()) != this {
                return Err(Failure::usage(
                    "this photograph comes from another camera, focal length or size",
                )
                .at(Place::file(path))
                .hint("give photographs of one camera at one focal length and picture size"));
            }
            match board::corners(&picture.pixels, columns, rows) {
                Some(px) => {
                    let px = px
                        .into_iter()
                        .map(|p| to_sensor(p, picture.tags.orientation, this.frame.0, this.frame.1))
                        .collect();
                    views.push(View { mm: mm.clone(), px });
                    seen.push(path);
                }
                None => context.printer.warning(
                    &format!("not all {columns} by {rows} inner corners of a board are seen"),
                    Some(&Place::file(path)),
                    None,
                ),
            }
        }
        let Some(camera) = camera else { return Ok(Exit::Done) };
        let frame = (f64::from(camera.frame.0), f64::from(camera.frame.1));
        let found = calibrate(&views, frame).map_err(|e| {
            Failure::usage(e.to_string()).hint(
                "take ten photographs of a flat board, sharp and whole in the frame, tilted 20 to 40 degrees to \
                 every side, near the middle and in the corners; say its inner corners with --corners",
            )
        })?;
        Self::advise(&found, &seen, context);
        let lens = StoredLens {
            name: self.name.clone().unwrap_or_else(|| camera.name()),
            make: camera.make,
            model: camera.model,
            focal_length_mm: camera.focal_length_mm,
            width_px: camera.frame.0,
            height_px: camera.frame.1,
            photos: views.len() as u32,
            rms_px: found.rms_px,
            reach: found.reach,
            stored: jiff::ZonedDateTime::now().date(),
            lens: found.lens,
        };
        let json = serde_json::to_string(&lens).unwrap_or_default();
        let line = summary(&lens, &found);
        stored.store_lens(lens, self.replace, file)?;
        context.printer.result(if context.json { &json } else { &line });
        Ok(Exit::Done)
    }

    fn advise(found: &Calibration, seen: &[&PathBuf], context: &Context) {
        if found.reach < FAR_ENOUGH {
            context.printer.warning(
                &format!(
                    "the boards reach only {:.0} % of the way to the corners of the frame: the lens is guessed beyond",
                    100.0 * found.reach
                ),
                None,
                Some("add photographs with the board in the corners"),
            );
        }
        let mut sorted = found.view_rms_px.clone();
        sorted.sort_by(f64::total_cmp);
        let usual = sorted[sorted.len() / 2];
        for (rms, path) in found.view_rms_px.iter().zip(seen) {
            if *rms > 3.0 * usual.max(0.05) {
                context.printer.warning(
                    &format!("corners are off by {rms:.2} px, {usual:.2} px is usual"),
                    Some(&Place::file(path)),
                    Some("leave this photograph out: it may be soft, or the board bent"),
                );
            }
        }
    }
}

fn camera_of(tags: &Tags, frame: (u32, u32)) -> Camera {
    Camera {
        make: tags.make.clone(),
        model: tags.model.clone(),
        focal_length_mm: tags.focal_length_mm,
        frame: swapped(frame.0, frame.1, tags.orientation),
    }
}

impl Camera {
    /// A name when none is given.
    fn name(&self) -> String {
        let focal = self.focal_length_mm.map(|f| format!("{f} mm"));
        let words: Vec<&str> =
            [self.model.as_deref(), focal.as_deref()].into_iter().flatten().map(str::trim).collect();
        if words.is_empty() { "camera".into() } else { words.join(" ") }
    }
}

/// What was found, in words that say what it does to a picture.
fn summary(lens: &StoredLens, found: &Calibration) -> String {
    let (w, h) = (f64::from(lens.width_px), f64::from(lens.height_px));
    // Farther out than boards were seen the numbers would be a guess.
    let share = found.reach.min(1.0);
    let far = [0, 1].map(|i| {
        let middle = ([w, h][i] - 1.0) / 2.0;
        middle * (1.0 + share)
    });
    let moved = lens.lens.straighten(far);
    let from = |p: [f64; 2]| (p[0] - lens.lens.centre[0]).hypot(p[1] - lens.lens.centre[1]);
    format!(
        "{}: {} photographs, corners off by {:.2} px rms\n\
         camera: {}\n\
         focal length {:.1} by {:.1} px (standard errors {:.1}, {:.1}), axis at {:.1}, {:.1}\n\
         at {:.0} % of the way to the corner points stand {:+.2} % from the middle, lengths are off by {:+.2} %",
        lens.name,
        lens.photos,
        lens.rms_px,
        lens.camera(),
        lens.lens.focal[0],
        lens.lens.focal[1],
        found.se[0],
        found.se[1],
        lens.lens.centre[0],
        lens.lens.centre[1],
        100.0 * share,
        100.0 * (from(far) / from(moved) - 1.0),
        100.0 * (1.0 / lens.lens.stretch(far) - 1.0),
    )
}
