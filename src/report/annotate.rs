//! The photograph with every call drawn on it, for a person to check forty fish in ten seconds.
//!
//! A call is told three ways at once: by the line about the fish (whole, dashed, dotted), by the shape and
//! tone of its label (dark pill with a filled disc, white box with an empty ring, striped box with a
//! question mark) and by a word. So it survives a grey print and eyes that do not tell colours apart.

mod label;

use crate::records::{Call, refusal};
use image::RgbImage;
use label::{Box2, Lettering, Room};
use tiny_skia::{
    Color, FillRule, LineCap, LineJoin, Paint, Path, PathBuilder, Pixmap, Stroke, StrokeDash, Transform,
};

/// A fish to draw; coordinates are pixels of the photograph.
#[derive(Debug, Clone)]
pub struct FishMark<'a> {
    /// Its number in `fish.csv`.
    pub number: u32,
    /// From the snout to the end of the tail fin.
    pub midline: &'a [[f64; 2]],
    /// Outline of the body.
    pub outline: &'a [[f64; 2]],
    /// The call.
    pub call: Call,
    /// Why it does not count for the call; empty when it counts.
    pub left_out: &'a str,
}

/// A refused candidate to draw.
#[derive(Debug, Clone)]
pub struct RefusedMark<'a> {
    /// Outline in pixels of the photograph.
    pub outline: &'a [[f64; 2]],
    /// Why it is no fish.
    pub reason: &'a str,
}

/// What is drawn on one photograph.
#[derive(Debug, Clone, Default)]
pub struct Marks<'a> {
    /// Name and sample, written below the picture.
    pub caption: String,
    /// The fish.
    pub fish: Vec<FishMark<'a>>,
    /// What was refused.
    pub refused: Vec<RefusedMark<'a>>,
}

const INK: [u8; 3] = [13, 33, 49];
const NOT_INK: [u8; 3] = [176, 58, 10];
const UNSURE_INK: [u8; 3] = [84, 40, 120];
const REFUSED_INK: [u8; 3] = [90, 90, 90];

/// Boxes of refused things larger than this share of the picture are not drawn.
const LARGEST_BOX: f32 = 0.02;

/// What there may be dozens of in a photograph: like ones within this share of its width are named once, and those whose box is not
/// drawn not at all.
const COMMON: [&str; 3] = [refusal::TOO_LITTLE, refusal::WALL, refusal::OUTSIDE];
const NEAR: f32 = 0.2;
/// What the legend says of that.
const REFUSED_LEGEND: &str = "thin box: refused; one word stands for its like nearby";

/// Draws `marks` on a copy of the photograph that is `shrink` times smaller than the one the marks were
/// measured on, and a legend below it.
pub fn annotate(base: &RgbImage, shrink: f64, marks: &Marks) -> RgbImage {
    let letters = Lettering::for_width(base.width());
    let legend = letters.height() * 2 + 12;
    let (w, h) = (base.width(), base.height());
    let Some(mut canvas) = Pixmap::new(w, h + legend) else { return base.clone() };
    canvas.fill(Color::WHITE);
    for (to, from) in canvas.data_mut().chunks_exact_mut(4).zip(base.as_raw().chunks_exact(3)) {
        to[..3].copy_from_slice(from);
    }
    let place = |points: &[[f64; 2]]| -> Vec<[f32; 2]> {
        points.iter().map(|p| p.map(|v| ((v + 0.5) / shrink - 0.5) as f32)).collect()
    };
    let pen = (letters.height() as f32 / 12.0).max(1.0);
    // The box around a dish wall would be lines across every fish in it.
    let too_large = |around: &Box2| around.w * around.h > LARGEST_BOX * (w * h) as f32;
    for refused in &marks.refused {
        let outline = place(refused.outline);
        if too_large(&Box2::around(&outline)) {
            continue;
        }
        if let Some(path) = polygon(&outline, true) {
            cased(&mut canvas, &path, REFUSED_INK, 0.7 * pen, None);
        }
    }
    for fish in &marks.fish {
        draw_fish(&mut canvas, fish, &place(fish.outline), &place(fish.midline), pen);
    }
    // Labels come last, each where it hides least of the fish and of the labels before it.
    let frame = Box2 { x: 0.0, y: 0.0, w: w as f32, h: h as f32 };
    let bodies: Vec<Vec<[f32; 2]>> =
        marks.fish.iter().map(|f| place([f.outline, f.midline].concat().as_slice())).collect();
    let mut room = Room::new(frame, bodies.concat());
    for fish in &marks.fish {
        let text = label_text(fish);
        let midline = place(fish.midline);
        let at = room.beside(letters.chip(&text), &midline);
        letters.draw_chip(&mut canvas, at, style(fish), &text);
    }
    // A crowd of specks must not bury the fish: the word is left out where there is no room for it, and where the same
    // word stands nearby.
    let mut said: Vec<(&str, [f32; 2])> = Vec::new();
    let near = NEAR * w as f32;
    for refused in &marks.refused {
        let around = Box2::around(&place(refused.outline));
        let [x, y] = [around.x + 0.5 * around.w, around.y + 0.5 * around.h];
        let like =
            |(word, at): &(&str, [f32; 2])| *word == refused.reason && (at[0] - x).hypot(at[1] - y) < near;
        // A word without its box must not pass for the name of what lies beside it.
        let common = COMMON.contains(&refused.reason);
        if common && (too_large(&around) || said.iter().any(like)) {
            continue;
        }
        if let Some(at) = room.free(letters.plain(refused.reason), around) {
            letters.draw_plain(&mut canvas, at, refused.reason);
            said.push((refused.reason, [x, y]));
        }
    }
    draw_legend(&mut canvas, &letters, marks, h);
    let mut out = RgbImage::new(w, h + legend);
    for (to, from) in out.chunks_exact_mut(3).zip(canvas.data().chunks_exact(4)) {
        to.copy_from_slice(&from[..3]);
    }
    out
}

/// How a fish is drawn.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Style {
    Inflated,
    NotInflated,
    Unsure,
    LeftOut,
}

fn style(fish: &FishMark) -> Style {
    match fish.call {
        _ if !fish.left_out.is_empty() => Style::LeftOut,
        Call::Inflated => Style::Inflated,
        Call::NotInflated => Style::NotInflated,
        Call::Unsure => Style::Unsure,
    }
}

impl Style {
    fn ink(self) -> [u8; 3] {
        match self {
            Self::Inflated => INK,
            Self::NotInflated => NOT_INK,
            Self::Unsure => UNSURE_INK,
            Self::LeftOut => REFUSED_INK,
        }
    }

    fn dash(self, pen: f32) -> Option<[f32; 2]> {
        match self {
            Self::Inflated => None,
            Self::NotInflated => Some([8.0 * pen, 4.0 * pen]),
            Self::Unsure => Some([0.1, 3.2 * pen]),
            Self::LeftOut => Some([2.0 * pen, 4.0 * pen]),
        }
    }
}

fn label_text(fish: &FishMark) -> String {
    let word = match style(fish) {
        Style::Inflated => "in",
        Style::NotInflated => "not",
        Style::Unsure => "?",
        Style::LeftOut => fish.left_out,
    };
    format!("{} {word}", fish.number)
}

fn draw_fish(canvas: &mut Pixmap, fish: &FishMark, outline: &[[f32; 2]], midline: &[[f32; 2]], pen: f32) {
    let style = style(fish);
    let thin = if style == Style::LeftOut { 0.6 } else { 1.1 };
    // The line stands off the body, so that what is called can still be seen.
    if let Some(path) = polygon(&stand_off(outline, midline, 2.5 * pen), true) {
        cased(canvas, &path, style.ink(), thin * pen, style.dash(pen));
    }
    if let Some(path) = polygon(midline, false) {
        stroke(canvas, &path, style.ink(), 120, 0.4 * pen, None);
    }
    // The snout is a dot, the end of the tail a bar across.
    if let Some(&[x, y]) = midline.first()
        && let Some(dot) = PathBuilder::from_circle(x, y, 2.2 * pen)
    {
        cased(canvas, &dot, style.ink(), pen, None);
        fill(canvas, &dot, style.ink(), 255);
    }
    if let [.., [ax, ay], [bx, by]] = midline {
        let (dx, dy) = (bx - ax, by - ay);
        let n = dx.hypot(dy).max(1e-3);
        let (nx, ny) = (-dy / n * 5.0 * pen, dx / n * 5.0 * pen);
        if let Some(bar) = polygon(&[[bx - nx, by - ny], [bx + nx, by + ny]], false) {
            cased(canvas, &bar, style.ink(), 1.3 * pen, None);
        }
    }
}

/// The outline moved outwards by `by`, away from the nearest point of the midline.
fn stand_off(outline: &[[f32; 2]], midline: &[[f32; 2]], by: f32) -> Vec<[f32; 2]> {
    let away = |&[x, y]: &[f32; 2]| {
        let nearest = midline
            .iter()
            .map(|m| (x - m[0], y - m[1]))
            .min_by(|a, b| a.0.hypot(a.1).total_cmp(&b.0.hypot(b.1)));
        let (dx, dy) = nearest.unwrap_or((0.0, 0.0));
        let n = dx.hypot(dy);
        if n > 1e-3 { [x + dx / n * by, y + dy / n * by] } else { [x, y] }
    };
    outline.iter().map(away).collect()
}

fn draw_legend(canvas: &mut Pixmap, letters: &Lettering, marks: &Marks, top: u32) {
    let count = |s: Style| marks.fish.iter().filter(|f| style(f) == s).count();
    let y = top as f32 + 4.0;
    let mut x = 6.0;
    for (s, text) in [
        (Style::Inflated, format!("in: inflated {}", count(Style::Inflated))),
        (Style::NotInflated, format!("not: not inflated {}", count(Style::NotInflated))),
        (Style::Unsure, format!("?: unsure {}", count(Style::Unsure))),
        (Style::LeftOut, format!("not counted {}", count(Style::LeftOut))),
    ] {
        let size = letters.chip(&text);
        if x + size[0] > canvas.width() as f32 {
            break;
        }
        letters.draw_chip(canvas, Box2 { x, y, w: size[0], h: size[1] }, s, &text);
        x += size[0] + 10.0;
    }
    let size = letters.plain(REFUSED_LEGEND);
    if !marks.refused.is_empty() && x + size[0] <= canvas.width() as f32 {
        letters.draw_plain(canvas, Box2 { x, y, w: size[0], h: size[1] }, REFUSED_LEGEND);
    }
    let size = letters.plain(&marks.caption);
    let below = Box2 { x: 6.0, y: y + letters.height() as f32 + 4.0, w: size[0], h: size[1] };
    letters.draw_plain(canvas, below, &marks.caption);
}

fn polygon(points: &[[f32; 2]], closed: bool) -> Option<Path> {
    let mut path = PathBuilder::new();
    let (first, rest) = points.split_first()?;
    path.move_to(first[0], first[1]);
    for p in rest {
        path.line_to(p[0], p[1]);
    }
    if closed {
        path.close();
    }
    path.finish()
}

fn paint(ink: [u8; 3], alpha: u8) -> Paint<'static> {
    let mut paint = Paint::default();
    paint.set_color_rgba8(ink[0], ink[1], ink[2], alpha);
    paint.anti_alias = true;
    paint
}

fn fill(canvas: &mut Pixmap, path: &Path, ink: [u8; 3], alpha: u8) {
    canvas.fill_path(path, &paint(ink, alpha), FillRule::Winding, Transform::identity(), None);
}

fn stroke(canvas: &mut Pixmap, path: &Path, ink: [u8; 3], alpha: u8, width: f32, dash: Option<[f32; 2]>) {
    let stroke = Stroke {
        width,
        line_cap: LineCap::Round,
        line_join: LineJoin::Round,
        dash: dash.and_then(|d| StrokeDash::new(d.to_vec(), 0.0)),
        ..Stroke::default()
    };
    canvas.stroke_path(path, &paint(ink, alpha), &stroke, Transform::identity(), None);
}

/// A line with a pale casing, so that it shows on a dark dish as on a bright pad.
fn cased(canvas: &mut Pixmap, path: &Path, ink: [u8; 3], width: f32, dash: Option<[f32; 2]>) {
    stroke(canvas, path, [255, 255, 255], 150, width * 2.4, dash);
    stroke(canvas, path, ink, 255, width, dash);
}

#[cfg(test)]
mod tests {
    use super::*;

    fn marks<'a>(midline: &'a [[f64; 2]], outline: &'a [[f64; 2]], call: Call) -> Marks<'a> {
        let fish = FishMark { number: 1, midline, outline, call, left_out: "" };
        Marks { caption: "P01/a.jpg".into(), fish: vec![fish], refused: Vec::new() }
    }

    /// The three calls must stay apart in a grey print: any two pictures differ in luma where the label is.
    #[test]
    fn calls_differ_in_grey() {
        let base = RgbImage::from_pixel(640, 400, image::Rgb([200, 205, 210]));
        let midline: Vec<[f64; 2]> = (0..30).map(|i| [200.0 + 5.0 * f64::from(i), 200.0]).collect();
        let outline = [[200.0, 200.0], [270.0, 190.0], [345.0, 200.0], [270.0, 210.0]];
        let grey = |call| {
            let picture = annotate(&base, 1.0, &marks(&midline, &outline, call));
            image::imageops::grayscale(&picture)
        };
        let pictures = [Call::Inflated, Call::NotInflated, Call::Unsure].map(grey);
        for (a, b) in [(0, 1), (0, 2), (1, 2)] {
            let different =
                pictures[a].iter().zip(pictures[b].iter()).filter(|(x, y)| x.abs_diff(**y) > 60).count();
            assert!(different > 150, "{a} {b}: {different}");
        }
    }

    #[test]
    fn specks_beside_each_other_share_one_word() {
        let base = RgbImage::from_pixel(800, 600, image::Rgb([200, 205, 210]));
        let speck = |x: f64, y: f64| [[x, y], [x + 6.0, y], [x + 6.0, y + 6.0], [x, y + 6.0]];
        let words = |reason, places: &[[f64; 2]]| {
            let specks: Vec<_> = places.iter().map(|[x, y]| speck(*x, *y)).collect();
            let mut with = marks(&[], &[], Call::Unsure);
            with.fish.clear();
            with.refused = specks.iter().map(|outline| RefusedMark { outline, reason }).collect();
            // What is drawn of words differs from the photograph and lies outside the specks' boxes.
            let picture = annotate(&base, 1.0, &with);
            let free = |x: u32, y: u32| {
                places.iter().all(|p| {
                    f64::from(x) < p[0] - 4.0
                        || f64::from(x) > p[0] + 10.0
                        || f64::from(y) < p[1] - 4.0
                        || f64::from(y) > p[1] + 10.0
                })
            };
            picture
                .enumerate_pixels()
                .filter(|(x, y, v)| *y < 600 && free(*x, *y) && **v != base[(0, 0)])
                .count()
        };
        let one = words(refusal::TOO_LITTLE, &[[300.0, 300.0]]);
        assert!(one > 100);
        assert_eq!(words(refusal::TOO_LITTLE, &[[300.0, 300.0], [300.0, 360.0]]), one);
        assert!(words(refusal::TOO_LITTLE, &[[300.0, 300.0], [300.0, 560.0]]) > one * 3 / 2);
        assert!(words("round thing", &[[300.0, 300.0], [300.0, 360.0]]) > one);
    }

    #[test]
    fn marks_outside_the_frame_do_no_harm() {
        let base = RgbImage::new(64, 64);
        let far = [[-500.0, 1e6], [1e6, -500.0], [f64::MAX, 0.0]];
        let picture = annotate(&base, 2.0, &marks(&far, &far, Call::Unsure));
        assert_eq!(picture.width(), 64);
        annotate(&base, 2.0, &marks(&[], &[], Call::Inflated));
    }
}
