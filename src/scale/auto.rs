//! The best scale a photograph offers, held against the others it offers.

use super::away::Away;
use super::card::{self, CardProblem, Payload};
use super::dish::{self, DishProblem};
use super::lens::Lens;
use super::ruler::{self, Ruler, RulerProblem};
use super::stored::{StoredLens, StoredScale};
use super::{Field, Scale, ScaleSource, tags};
use crate::photo::{Pixels, Tags};
use crate::units::MmPerPx;

/// Which scale the user wants.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub enum Wanted {
    /// The best there is: card, ruler, dish of known diameter, resolution tags, stored scale.
    #[default]
    Auto,
    /// This one; the others are only held against it.
    Given(MmPerPx),
    /// From this source or not at all.
    Only(ScaleSource),
}

/// What the search for a scale may use.
#[derive(Debug, Clone, Default)]
pub struct Options {
    /// Which scale the user wants.
    pub wanted: Wanted,
    /// Inner diameter of the dish, millimetres.
    pub dish_mm: Option<f64>,
    /// Height of the fish above the card, ruler or dish rim's plane, millimetres: the thickness of the dish
    /// floor and half a fish. Zero says that they lie in one plane; `None` that nobody measured.
    pub floor_mm: Option<f64>,
    /// Distance from the lens to the fish, millimetres.
    pub camera_mm: Option<f64>,
    /// Measured length of the card's 100 mm check bar, millimetres.
    pub printed_bar_mm: Option<f64>,
    /// Scale stored for this camera or objective.
    pub stored: Option<StoredScale>,
    /// Lens stored for this camera.
    pub lens: Option<StoredLens>,
}

/// How serious a [`Reason`] is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Severity {
    /// Worth knowing.
    Note,
    /// May make lengths wrong.
    Warning,
    /// The photograph should be taken again.
    Retake,
}

/// Something to tell about a photograph's scale.
#[derive(Debug, Clone, PartialEq)]
pub struct Reason {
    /// How serious it is.
    pub severity: Severity,
    /// Word for the `flags` column.
    pub flag: &'static str,
    /// What happened and what to do, one sentence without a full stop. Text read from the photograph is
    /// escaped.
    pub text: String,
}

/// One source's own scale, before the best is chosen.
#[derive(Debug, Clone)]
pub struct Reading {
    /// The scale.
    pub scale: Scale,
    /// How it was read: dots used, residual, what was assumed.
    pub detail: String,
}

/// What was found.
#[derive(Debug, Clone, Default)]
pub struct Decision {
    /// The scale; `None` when nothing says it: lengths stay in pixels.
    pub scale: Option<Scale>,
    /// Every scale found, best first.
    pub readings: Vec<Reading>,
    /// What the user should know.
    pub reasons: Vec<Reason>,
    /// What the card in the frame says, also when it gives no scale.
    pub card: Option<Payload>,
    /// Outlines (pixels) inside which printed marks lie, and no fish.
    pub printed: Vec<Vec<[f64; 2]>>,
}

impl Decision {
    /// The most serious reason.
    pub fn worst(&self) -> Option<&Reason> {
        self.reasons.iter().rev().max_by_key(|r| r.severity)
    }

    fn tell(&mut self, severity: Severity, flag: &'static str, text: impl Into<String>) {
        self.reasons.push(Reason { severity, flag, text: text.into() });
    }

    fn read(&mut self, scale: Scale, detail: impl Into<String>) {
        self.readings.push(Reading { scale, detail: detail.into() });
    }
}

/// Relative standard error taken for a scale typed by the user, who measured it once.
const GIVEN_SE: f64 = 0.002;
/// Relative standard error taken for resolution tags written by microscope software.
const TAGS_SE: f64 = 0.005;
/// Relative standard error of an office printer's size when nobody measured the check bar, and when
/// somebody did, to a quarter of a millimetre in 100 (common practice, no source).
const PRINT_SE: f64 = 0.002;
const BAR_SE: f64 = 0.001;
/// Relative standard error of a ruler's own length: accuracy class II of directive 2014/32/EU, annex X,
/// allows 0.3 mm in a length such as 100 mm (from memory), evenly spread.
const RULER_SE: f64 = 0.002;
/// Standard deviation of a camera's tilt about either axis, radians: held by hand over a dish it is off by a
/// few degrees (common practice, no source).
const TILT: f64 = 0.05;
/// How many observed tilts that belief weighs.
const TILT_WEIGHT: f64 = 2.0;
/// Distance of the lens in widths of the frame where nobody measured it: root mean inverse square over 0.7
/// (a phone) to 4 (a long macro lens), evenly in the logarithm.
const CAMERA: f64 = 1.33;
/// Relative standard error of a dish: which edge of the wall was seen, moulding tolerance.
const DISH_SE: f64 = 0.01;
/// Height of the fish over card or ruler where nobody measured it: a dish floor of one to two millimetres.
const FLOOR_MM: f64 = 2.0;
/// Distance of a phone's lens in widths of the frame: a field of view of 70 degrees. Longer lenses stand
/// farther away, which makes the error of an unknown height smaller.
const NEAREST_CAMERA: f64 = 0.7;
/// Disagreement of two sources that is told, and that spoils the photograph.
const DISAGREE: f64 = 0.02;
const SPOILT: f64 = 0.10;

/// Finds the scale of a photograph; see the module's words for the order.
pub fn auto(pixels: &Pixels, tags: &Tags, options: &Options) -> Decision {
    let mut decision = Decision::default();
    let lens = match options.lens.as_ref().map(|l| l.lens_of(pixels, tags)) {
        None => None,
        Some(Ok(lens)) => Some(lens),
        Some(Err(other)) => {
            decision.tell(Severity::Warning, "lens_of_other_camera", other.to_string());
            None
        }
    };
    let lens = lens.as_ref();
    if let Wanted::Given(mm_per_px) = options.wanted {
        decision.read(Scale::uniform(mm_per_px, GIVEN_SE, ScaleSource::Given), "given for this run");
    }
    from_card(pixels, options, lens, &mut decision);
    // A ruler is looked for when it may become the scale or must be held against a card or a number typed.
    if matches!(options.wanted, Wanted::Auto | Wanted::Given(_) | Wanted::Only(ScaleSource::Ruler)) {
        from_ruler(pixels, options, lens, &mut decision);
    }
    if let Some(diameter) = options.dish_mm {
        from_dish(pixels, diameter, options, lens, &mut decision);
    }
    if let Some(mm_per_px) = tags::read(tags) {
        decision
            .read(Scale::uniform(mm_per_px, TAGS_SE, ScaleSource::Tags), "resolution written in the file");
    }
    if let Some(stored) = &options.stored {
        match stored.scale(pixels.width, pixels.height) {
            Ok(scale) => decision.read(scale, format!("stored scale {:?}", stored.name)),
            Err(other) => decision.tell(Severity::Warning, "stored_scale_other_frame", other.to_string()),
        }
    }
    if let Some(lens) = lens {
        for reading in &mut decision.readings {
            reading.scale = reading.scale.clone().through(Some(*lens));
        }
    }
    choose(&mut decision, options);
    decision
}

/// What the height of the fish over the measured plane does: a factor, and the relative standard error that
/// is left. `width_mm` is the longer side of the frame.
///
/// Fish nearer the camera by `h` look larger by `h / Z`. With both known the factor takes it out. With the
/// camera's distance unknown the error lies between nothing and `h` over the nearest likely distance, and
/// counts as evenly spread between the two.
fn lift(options: &Options, width_mm: f64) -> (f64, f64) {
    let height = options.floor_mm.unwrap_or(FLOOR_MM);
    match (options.floor_mm, options.camera_mm) {
        // Heights are known to about half a millimetre.
        (Some(_), Some(camera)) if camera > height => (1.0 - height / camera, 0.5 / camera),
        (None, Some(camera)) if camera > height => (1.0, height / camera / 3.0_f64.sqrt()),
        _ => (1.0, height / (NEAREST_CAMERA * width_mm) / 3.0_f64.sqrt()),
    }
}

fn frame(pixels: &Pixels) -> (f64, f64) {
    (f64::from(pixels.width), f64::from(pixels.height))
}

fn from_card(pixels: &Pixels, options: &Options, lens: Option<&Lens>, decision: &mut Decision) {
    let found = card::read(pixels, lens);
    decision.card = found.payload;
    if let Some(card) = found.card {
        let size = frame(pixels);
        let middle = [(size.0 - 1.0) / 2.0, (size.1 - 1.0) / 2.0];
        let width_mm = card.field.mm_per_px(middle) * size.0.max(size.1);
        let (nearer, height_se) = lift(options, width_mm);
        let (print, print_se) = match options.printed_bar_mm {
            Some(bar) => (bar / card::BAR_MM, BAR_SE),
            None => (1.0, PRINT_SE),
        };
        let shared = print_se.hypot(height_se);
        let detail = format!(
            "card {}, {} of {} dots, residual {:.3} mm{}",
            card.payload.geometry.id(),
            card.dots.0,
            card.dots.1,
            card.rms_mm,
            if card.mirrored { ", seen from below" } else { "" }
        );
        decision.printed.extend(card.printed);
        match Scale::on_plane(card.field, nearer * print, shared, size, ScaleSource::Card) {
            Some(scale) => decision.read(scale, detail),
            None => decision.tell(
                Severity::Retake,
                "card_unreadable",
                "the card's dots give no plane: lay it flat and take the photograph from above",
            ),
        }
    }
    for problem in found.problems {
        let shown = |text: &str| {
            let short: String = text.chars().take(40).collect();
            format!("{short:?}")
        };
        let (severity, flag, text) = match problem {
            CardProblem::Several(n) => (
                Severity::Retake,
                "two_cards",
                format!("{n} cards in the frame: leave one, so that tank and scale are certain"),
            ),
            CardProblem::OtherVersion(text) => (
                Severity::Retake,
                "card_version",
                format!("a card of another version, {}: print a new one with frygauge card", shown(&text)),
            ),
            CardProblem::Damaged(text) => (
                Severity::Retake,
                "card_unreadable",
                format!(
                    "the card's text {} cannot be read: print a new one with frygauge card",
                    shown(&text)
                ),
            ),
            CardProblem::Foreign(text) => (
                Severity::Note,
                "foreign_code",
                format!("a code in the frame is no card: {}; it was not followed", shown(&text)),
            ),
            CardProblem::FewDots { found, of } => (
                Severity::Retake,
                "card_hidden",
                format!(
                    "only {found} of the card's {of} dots are seen: it is torn, covered or cut by the frame"
                ),
            ),
            CardProblem::NotFlat(hundredths) => (
                Severity::Retake,
                "card_not_flat",
                format!("the card does not lie flat (dots off by {:.2} mm)", f64::from(hundredths) / 100.0),
            ),
        };
        decision.tell(severity, flag, text);
    }
}

fn from_ruler(pixels: &Pixels, options: &Options, lens: Option<&Lens>, decision: &mut Decision) {
    match ruler::read(pixels, None, lens) {
        None => {}
        Some(Ok(found)) => {
            let size = frame(pixels);
            let (nearer, height_se) = lift(options, found.mm_per_px * size.0.max(size.1));
            if let Some(scale) = along_ruler(&found, options, size, nearer, height_se) {
                let Ruler { length_mm, pitch_mm, .. } = found;
                decision.read(scale, format!("ruler, {length_mm:.0} mm of it, ticks {pitch_mm} mm apart"));
            }
            decision.printed.push(found.outline);
        }
        Some(Err(ruler::Unread { problem, outline })) => {
            decision.printed.push(outline);
            let (flag, text) = match problem {
                RulerProblem::Inches => {
                    ("ruler_inches", "the ruler is divided into inches: turn its millimetre side up".to_owned())
                }
                RulerProblem::Unclear => (
                    "ruler_unclear",
                    "a graduation is seen, but not whether its ticks are millimetres: get the longer ticks in \
                     focus and in the frame"
                        .to_owned(),
                ),
                RulerProblem::Short(mm) => (
                    "ruler_short",
                    format!("only {mm} mm of a ruler are seen: {} mm are needed", ruler::LEAST_MM),
                ),
            };
            // With a card the ruler is not needed.
            let severity = if decision.readings.is_empty() { Severity::Warning } else { Severity::Note };
            decision.tell(severity, flag, text);
        }
    }
}

/// The scale of a frame of `size` from a ruler in it: the tilt that shows along the ruler taken out, the
/// tilt across it and the lens counted as uncertainty that grows with the distance from the ruler.
fn along_ruler(
    ruler: &Ruler,
    options: &Options,
    size: (f64, f64),
    nearer: f64,
    height_se: f64,
) -> Option<Scale> {
    let half_diagonal = size.0.hypot(size.1) / 2.0;
    let ends = ruler.ends.map(|p| ruler.lens.straighten(p));
    let from = ruler.middle;
    let along = [0, 1].map(|i| ends[1][i] - ends[0][i]);
    let long = along[0].hypot(along[1]);
    let along = along.map(|v| v / long);
    // Ticks that stand wider are nearer: millimetres to the pixel fall as their spacing grows.
    let growth = -ruler.gradient / half_diagonal;
    let field = Field::tilted_along(ruler.mm_per_px, from, along, growth)?;
    // On a plane whose distance changes by t/Z a millimetre, lengths along the tilt change by twice, areas'
    // roots by one and a half times that. The tilt seen along the ruler says how large the one across may be.
    let camera = options.camera_mm.unwrap_or(CAMERA * size.0.max(size.1) * ruler.mm_per_px);
    let (seen, believed) = (growth / 2.0, TILT / camera * ruler.mm_per_px);
    let tilt = ((TILT_WEIGHT * believed.powi(2) + seen.powi(2)) / (TILT_WEIGHT + 1.0)).sqrt();
    let middle = [(size.0 - 1.0) / 2.0, (size.1 - 1.0) / 2.0];
    let line_r2 = ((from[0] - middle[0]).hypot(from[1] - middle[1]).powi(2) + long * long / 12.0)
        / half_diagonal.powi(2);
    let away = Away {
        from,
        along,
        per_px: [ruler.gradient_se / half_diagonal, 1.5 * tilt],
        middle,
        half_diagonal,
        line_r2,
        bend: ruler.bend_se,
    };
    let shared = [ruler.relative_se, RULER_SE, TILT * TILT / 2.0, height_se];
    let shared = shared.iter().map(|s| s * s).sum::<f64>().sqrt();
    let scale = Scale::on_plane(field.through(Some(ruler.lens)), nearer, shared, size, ScaleSource::Ruler)?;
    Some(scale.read_at(away, size))
}

fn from_dish(
    pixels: &Pixels,
    diameter: f64,
    options: &Options,
    lens: Option<&Lens>,
    decision: &mut Decision,
) {
    match dish::read(pixels, diameter, lens) {
        Ok(dish::Wall { ellipse: wall, doubt }) => {
            // Evenly likely over the middle half of the line.
            let doubt = 0.5 * doubt / 3.0_f64.sqrt();
            let radius = diameter / 2.0;
            let (s, c) = wall.angle.sin_cos();
            let (p, q) = (radius / wall.a, radius / wall.b);
            let mix = (p - q) * s * c;
            let plane = [[p * c * c + q * s * s, mix], [mix, p * s * s + q * c * c]];
            let size = frame(pixels);
            let (nearer, height_se) = lift(
                &Options { floor_mm: Some(options.floor_mm.unwrap_or(0.0)), ..options.clone() },
                p * size.0.max(size.1),
            );
            let tilt = (wall.b / wall.a).clamp(0.0, 1.0).acos().to_degrees();
            let scale = Field::affine(plane, size).and_then(|f| {
                Scale::on_plane(f, nearer, DISH_SE.hypot(height_se).hypot(doubt), size, ScaleSource::Dish)
            });
            if let Some(scale) = scale {
                let detail = format!(
                    "dish, the innermost wall edge taken for {diameter} mm, its plane for the fish's, tilt {tilt:.0} degrees"
                );
                decision.read(scale, detail);
            }
        }
        Err(DishProblem::Cut) => decision.tell(
            Severity::Retake,
            "dish_cut",
            "the dish wall runs out of the frame: get the whole dish in, or lay a card beside it",
        ),
        Err(DishProblem::None) => {
            decision.tell(Severity::Warning, "no_dish", "no round dish wall found for --dish-mm");
        }
    }
}

/// Takes the first reading that is wanted and holds the others against it.
fn choose(decision: &mut Decision, options: &Options) {
    let wanted = |r: &Reading| match options.wanted {
        Wanted::Auto | Wanted::Given(_) => true,
        Wanted::Only(source) => r.scale.source == source,
    };
    let Some(chosen) = decision.readings.iter().find(|r| wanted(r)).map(|r| r.scale.clone()) else {
        // What kept the only source from being read is what must be put right.
        for reason in decision.reasons.iter_mut().filter(|r| r.severity == Severity::Warning) {
            reason.severity = Severity::Retake;
        }
        decision.tell(
            Severity::Warning,
            "no_scale",
            "no scale found, lengths stay in pixels: lay a printed card (frygauge card) or a millimetre ruler \
             beside the dish, or give --dish-mm or --px-per-mm",
        );
        return;
    };
    let mut told = Vec::new();
    for other in decision.readings.iter().filter(|r| r.scale.source != chosen.source) {
        let ratio = other.scale.centre.get() / chosen.centre.get();
        let off = ratio.ln().abs();
        // Three standard errors of the two together are no contradiction, however large.
        if off < DISAGREE.max(3.0 * other.scale.relative_se.hypot(chosen.relative_se)) {
            continue;
        }
        let (mine, its) = (chosen.source.name(), other.scale.source.name());
        let physical =
            matches!(other.scale.source, ScaleSource::Card | ScaleSource::Ruler | ScaleSource::Dish);
        let severity = if physical && off > SPOILT { Severity::Retake } else { Severity::Warning };
        let percent = 100.0 * (ratio - 1.0);
        if chosen.source == ScaleSource::Card && physical {
            let bar = card::BAR_MM * ratio;
            let text = format!(
                "the card is not at its printed size: by the {its} its check bar measures {bar:.1} mm; measure \
                 the bar and print with --printed-bar-mm, and never photograph a card on a screen"
            );
            told.push(Reason { severity: Severity::Retake, flag: "card_wrong_size", text });
        } else {
            let text = format!("scale by {its} differs from scale by {mine} by {percent:+.1} %: check both");
            told.push(Reason { severity, flag: "scale_disagrees", text });
        }
    }
    decision.reasons.extend(told);
    decision.scale = Some(chosen);
}
