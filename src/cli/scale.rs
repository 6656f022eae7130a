//! `frygauge scale`: scales kept by name for microscope objectives and fixed cameras, and their lenses.

mod file;
mod lens;

pub use file::StoredScales;

use super::{Context, Exit, Failure, Place, columns};
use crate::photo;
use crate::scale::ruler;
use crate::scale::stored::StoredScale;
use std::path::PathBuf;

/// Arguments.
#[derive(Debug, clap::Args)]
#[command(arg_required_else_help = true)]
pub struct ScaleCommand {
    /// File the scales and lenses are kept in
    #[arg(long, value_name = "FILE", default_value = StoredScales::FILE, global = true)]
    scales: PathBuf,
    #[command(flatten)]
    lens: lens::LensArgs,
    #[command(subcommand)]
    action: Option<Action>,
}

#[derive(Debug, clap::Subcommand)]
enum Action {
    /// Measure the scale in photographs of a stage micrometer or ruler and store it under a name
    Measure(Measure),
    /// Store a scale known from elsewhere under a name
    Store(Store),
    /// List the stored scales and lenses
    List,
}

#[derive(Debug, clap::Args)]
struct Measure {
    /// Name: the camera and objective, such as "stereo 2x"
    name: String,
    /// Photographs of the micrometer or ruler, all through the same optics
    #[arg(required = true)]
    photos: Vec<PathBuf>,
    /// Distance of neighbouring lines in millimetres: 0.01 or 0.1 on most stage micrometers
    #[arg(long, value_name = "MM")]
    division_mm: Option<f64>,
    /// Put it in the place of a scale of the same name
    #[arg(long)]
    replace: bool,
}

#[derive(Debug, clap::Args)]
struct Store {
    /// Name: the camera and objective
    name: String,
    /// Pixels to one millimetre
    #[arg(long, value_name = "X")]
    px_per_mm: f64,
    /// Width and height of the frames it holds for, such as 4000x3000
    #[arg(long, value_name = "WxH", value_parser = frame)]
    frame: (u32, u32),
    /// Put it in the place of a scale of the same name
    #[arg(long)]
    replace: bool,
}

fn frame(text: &str) -> Result<(u32, u32), String> {
    let sides =
        text.split_once(['x', 'X']).and_then(|(w, h)| Some((w.trim().parse().ok()?, h.trim().parse().ok()?)));
    sides.filter(|(w, h)| *w > 0 && *h > 0).ok_or_else(|| "write it as 4000x3000".into())
}

/// Relative standard error of a scale typed in, measured by somebody once.
const TYPED_SE: f64 = 0.005;
/// Least relative standard error of a stage micrometer read: its own tolerance and the focus.
const MICROMETER_SE: f64 = 0.002;

impl ScaleCommand {
    /// Measures, stores or lists.
    ///
    /// # Errors
    /// A [`Failure`] when no graduation is read, photographs disagree, or the file cannot be used.
    pub fn run(&self, context: &Context) -> Result<Exit, Failure> {
        let stored = StoredScales::load(&self.scales)?;
        if self.lens.asked() && self.action.is_some() {
            return Err(Failure::usage("--lens calibrates a camera and takes no further command")
                .hint("write frygauge scale --lens board-*.jpg"));
        }
        match &self.action {
            None => self.lens.run(stored, &self.scales, context),
            Some(Action::List) => Ok(self.list(&stored, context)),
            Some(Action::Store(store)) => {
                if !(store.px_per_mm.is_finite() && store.px_per_mm > 0.0) {
                    return Err(Failure::usage("--px-per-mm must be above zero").hint("write 152.5"));
                }
                let new = StoredScale {
                    name: store.name.clone(),
                    mm_per_px: 1.0 / store.px_per_mm,
                    relative_se: TYPED_SE,
                    width_px: store.frame.0,
                    height_px: store.frame.1,
                    measured_from: "typed in".into(),
                    stored: jiff::ZonedDateTime::now().date(),
                };
                self.keep(stored, new, store.replace, context)
            }
            Some(Action::Measure(measure)) => {
                let new = measure.measure(context)?;
                self.keep(stored, new, measure.replace, context)
            }
        }
    }

    fn keep(
        &self,
        stored: StoredScales,
        new: StoredScale,
        replace: bool,
        context: &Context,
    ) -> Result<Exit, Failure> {
        let line = format!(
            "{}: {:.3} px/mm, standard error {:.2} %, from {}",
            new.name,
            1.0 / new.mm_per_px,
            100.0 * new.relative_se,
            new.measured_from
        );
        let json = serde_json::to_string(&new).unwrap_or_default();
        stored.store(new, replace, &self.scales)?;
        context.printer.result(if context.json { &json } else { &line });
        Ok(Exit::Done)
    }

    fn list(&self, stored: &StoredScales, context: &Context) -> Exit {
        if context.json {
            let all = serde_json::json!({ "scales": stored.scale, "lenses": stored.lens });
            context.printer.result(&all.to_string());
            return Exit::Done;
        }
        if stored.scale.is_empty() && stored.lens.is_empty() {
            context.printer.note(&format!("no scales are stored in {}", self.scales.display()));
            return Exit::Done;
        }
        let rows: Vec<Vec<String>> = stored
            .scale
            .iter()
            .map(|s| {
                vec![
                    s.name.clone(),
                    format!("{:.3}", 1.0 / s.mm_per_px),
                    format!("{:.2}", 100.0 * s.relative_se),
                    format!("{}x{}", s.width_px, s.height_px),
                    s.stored.to_string(),
                ]
            })
            .collect();
        if !rows.is_empty() {
            context.printer.result(&columns(&["name", "px/mm", "se %", "frame", "stored"], &rows));
        }
        let rows: Vec<Vec<String>> = stored
            .lens
            .iter()
            .map(|l| {
                vec![
                    l.name.clone(),
                    l.model.clone().unwrap_or_else(|| "no name".into()),
                    l.focal_length_mm.map_or_else(String::new, |f| f.to_string()),
                    format!("{}x{}", l.width_px, l.height_px),
                    format!("{:.2}", l.rms_px),
                    l.stored.to_string(),
                ]
            })
            .collect();
        if !rows.is_empty() {
            context.printer.result(&columns(&["lens", "camera", "mm", "frame", "rms px", "stored"], &rows));
        }
        Exit::Done
    }
}

impl Measure {
    /// The scale that all photographs agree on.
    fn measure(&self, context: &Context) -> Result<StoredScale, Failure> {
        if self.division_mm.is_some_and(|d| !(d.is_finite() && d > 0.0)) {
            return Err(Failure::usage("--division-mm must be above zero").hint("write 0.01 for hundredths"));
        }
        let mut readings: Vec<(f64, f64)> = Vec::new();
        let mut size = None;
        for path in &self.photos {
            let picture = photo::open(path)
                .map_err(|e| Failure::usage(e.to_string()).at(Place::file(path)).hint(e.hint()))?;
            let frame = (picture.pixels.width, picture.pixels.height);
            if *size.get_or_insert(frame) != frame {
                return Err(Failure::usage("the photographs have different sizes")
                    .at(Place::file(path))
                    .hint("give photographs of one camera and one setting"));
            }
            let problem = match ruler::read(&picture.pixels, self.division_mm, None) {
                Some(Ok(found)) => {
                    context.printer.note(&format!(
                        "{}: {:.3} px/mm over {:.2} mm",
                        path.display(),
                        1.0 / found.mm_per_px,
                        found.length_mm
                    ));
                    readings.push((found.mm_per_px, found.relative_se));
                    continue;
                }
                Some(Err(unread)) => match unread.problem {
                    ruler::RulerProblem::Inches => "the graduation is in inches",
                    ruler::RulerProblem::Unclear => "the lines' lengths do not tell their distance",
                    ruler::RulerProblem::Short(_) => "too little of the graduation is seen",
                },
                None => "no graduation was found",
            };
            return Err(Failure::usage(problem)
                .at(Place::file(path))
                .hint("fill the frame with sharp lines, and say their distance with --division-mm"));
        }
        let n = readings.len() as f64;
        let mean = readings.iter().map(|r| r.0).sum::<f64>() / n;
        let spread = if readings.len() > 1 {
            (readings.iter().map(|r| (r.0 - mean).powi(2)).sum::<f64>() / (n - 1.0) / n).sqrt() / mean
        } else {
            0.0
        };
        if let Some((worst, at)) = readings
            .iter()
            .zip(&self.photos)
            .map(|(r, p)| ((r.0 / mean - 1.0).abs(), p))
            .max_by(|a, b| a.0.total_cmp(&b.0))
            .filter(|(worst, _)| *worst > 0.02)
        {
            return Err(Failure::usage(format!(
                "this photograph's scale is {:.1} % off the mean",
                100.0 * worst
            ))
            .at(Place::file(at))
            .hint("all photographs must be taken through the same optics: check zoom and objective"));
        }
        let own = readings.iter().map(|r| r.1).fold(0.0, f64::max);
        let (width_px, height_px) = size.unwrap_or_default();
        Ok(StoredScale {
            name: self.name.clone(),
            mm_per_px: mean,
            relative_se: MICROMETER_SE.hypot(own).hypot(spread),
            width_px,
            height_px,
            measured_from: format!("{} photographs of a graduation", readings.len()),
            stored: jiff::ZonedDateTime::now().date(),
        })
    }
}
