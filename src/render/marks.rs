//! Man-made marks: moulded letters, pen labels, rulers and clips.

use super::canvas::Canvas;
use super::clutter::stroke;
use super::dice::Dice;
use crate::records::Lighting;

/// Strokes of a few capitals and digits on a unit square, y down.
const GLYPHS: [&[&[(f64, f64)]]; 12] = [
    &[&[(0.0, 1.0), (0.5, 0.0), (1.0, 1.0)], &[(0.2, 0.6), (0.8, 0.6)]],
    &[
        &[(0.0, 0.0), (0.0, 1.0), (0.7, 1.0), (0.9, 0.75), (0.7, 0.5), (0.0, 0.5)],
        &[(0.0, 0.0), (0.6, 0.0), (0.8, 0.25), (0.6, 0.5)],
    ],
    &[&[(1.0, 0.15), (0.7, 0.0), (0.3, 0.0), (0.0, 0.3), (0.0, 0.7), (0.3, 1.0), (0.7, 1.0), (1.0, 0.85)]],
    &[&[(0.0, 0.0), (0.0, 1.0), (0.6, 1.0), (1.0, 0.7), (1.0, 0.3), (0.6, 0.0), (0.0, 0.0)]],
    &[&[(0.0, 1.0), (0.0, 0.0), (0.7, 0.0), (0.9, 0.25), (0.7, 0.5), (0.0, 0.5)]],
    &[&[(0.2, 0.2), (0.5, 0.0), (0.5, 1.0)], &[(0.2, 1.0), (0.8, 1.0)]],
    &[&[(0.0, 0.25), (0.3, 0.0), (0.8, 0.0), (1.0, 0.3), (0.0, 1.0), (1.0, 1.0)]],
    &[&[(0.0, 0.0), (1.0, 0.0), (0.5, 0.4), (1.0, 0.7), (0.6, 1.0), (0.0, 0.9)]],
    &[&[(0.7, 1.0), (0.7, 0.0), (0.0, 0.7), (1.0, 0.7)]],
    &[&[(0.9, 0.0), (0.1, 0.0), (0.0, 0.45), (0.6, 0.4), (1.0, 0.7), (0.6, 1.0), (0.0, 0.9)]],
    &[&[(0.8, 0.0), (0.1, 0.5), (0.1, 0.8), (0.5, 1.0), (0.9, 0.8), (0.7, 0.5), (0.1, 0.6)]],
    &[&[(0.5, 0.0), (0.1, 0.2), (0.1, 0.8), (0.5, 1.0), (0.9, 0.8), (0.9, 0.2), (0.5, 0.0)]],
];

/// Places the strokes of glyph `which`, `size` pixels high, on the picture.
fn glyph(which: usize, at: [f64; 2], size: f64, turn: f64, mirrored: bool) -> Vec<Vec<[f64; 2]>> {
    let (sin, cos) = turn.sin_cos();
    let flip = if mirrored { -1.0 } else { 1.0 };
    GLYPHS[which % GLYPHS.len()]
        .iter()
        .map(|line| {
            line.iter()
                .map(|(x, y)| {
                    let (x, y) = (0.65 * size * flip * (x - 0.5), size * (y - 0.5));
                    [at[0] + cos * x - sin * y, at[1] + sin * x + cos * y]
                })
                .collect()
        })
        .collect()
}

/// A letter or digit moulded into the plastic: a dark and a bright line side by side.
pub(super) fn moulded(canvas: &mut Canvas, dice: &mut Dice, at: [f64; 2], size: f64, turn: f64) {
    let strength = dice.within(0.08, 0.45);
    let width = (size * dice.within(0.06, 0.14)).max(1.2);
    let shift = 0.45 * width;
    let which = dice.count(0, GLYPHS.len() - 1);
    let mirrored = dice.chance(0.3);
    for (sign, offset) in [(-1.0, 0.0), (0.6, shift)] {
        for line in glyph(which, [at[0] + offset, at[1] + offset], size, turn, mirrored) {
            stroke(canvas, &line, width, |pixel, cover| {
                for p in pixel.iter_mut() {
                    *p *= (1.0 + sign * strength * cover) as f32;
                }
            });
        }
    }
}

/// A label of two or three characters by felt pen.
pub(super) fn pen(canvas: &mut Canvas, dice: &mut Dice, at: [f64; 2], size: f64) {
    let turn = dice.normal() * 0.4;
    let colour = match dice.count(0, 3) {
        0 => [0.05, 0.08, 0.5],
        1 => [0.6, 0.05, 0.05],
        2 => [0.05, 0.35, 0.1],
        _ => [0.05, 0.05, 0.06],
    };
    let width = (size * dice.within(0.10, 0.2)).max(1.5);
    let opacity = dice.within(0.5, 0.95);
    for i in 0..dice.count(1, 3) {
        let step = 0.9 * size * i as f64;
        let place = [at[0] + step * turn.cos(), at[1] + step * turn.sin()];
        let which = dice.count(0, GLYPHS.len() - 1);
        for mut line in glyph(which, place, size * dice.within(0.9, 1.1), turn, false) {
            for p in &mut line {
                *p = [p[0] + 0.05 * size * dice.normal(), p[1] + 0.05 * size * dice.normal()];
            }
            stroke(canvas, &line, width, |pixel, cover| {
                for c in 0..3 {
                    let k = (cover * opacity) as f32;
                    pixel[c] *= 1.0 - k + k * colour[c] as f32;
                }
            });
        }
    }
}

/// A ruler with millimetre graduations along one long edge, from `at` in direction `turn`; `true_mm` is its
/// length in millimetres.
pub(super) fn ruler(
    canvas: &mut Canvas,
    dice: &mut Dice,
    at: [f64; 2],
    turn: f64,
    true_mm: usize,
    px_per_mm: f64,
    kind: Lighting,
) {
    let (sin, cos) = turn.sin_cos();
    let body = dice.within(6.0, 14.0) * px_per_mm;
    let long = (true_mm as f64 + 4.0) * px_per_mm;
    let pass = match kind {
        Lighting::Transmitted => dice.within(0.3, 0.9),
        _ => dice.within(0.2, 0.8),
    };
    let steel = dice.within(0.25, 0.6);
    let place = |u: f64, v: f64| [at[0] + cos * u - sin * v, at[1] + sin * u + cos * v];
    let corners = [place(-2.0 * px_per_mm, 0.0), place(long, 0.0), place(long, body), place(-2.0, body)];
    let b = corners.iter().fold([f64::MAX, f64::MAX, f64::MIN, f64::MIN], |b, p| {
        [b[0].min(p[0]), b[1].min(p[1]), b[2].max(p[0]), b[3].max(p[1])]
    });
    canvas.paint([b[0] - 40.0, b[1] - 40.0, b[2] + 40.0, b[3] + 40.0], |x, y, pixel| {
        let (dx, dy) = (x - at[0], y - at[1]);
        let (u, v) = (dx * cos + dy * sin, dy * cos - dx * sin);
        if u > -2.0 * px_per_mm && u < long && v > 0.0 && v < body {
            for p in pixel.iter_mut() {
                *p = if kind == Lighting::Transmitted { *p * pass as f32 } else { steel as f32 };
            }
        }
    });
    let ink = dice.within(0.03, 0.25) as f32;
    let width = (dice.within(0.10, 0.22) * px_per_mm).max(1.0);
    let jitter = dice.within(0.0, 0.02) * px_per_mm;
    for mm in 0..=true_mm {
        let reach = if mm % 10 == 0 {
            5.5
        } else if mm % 5 == 0 {
            4.2
        } else {
            3.0
        } * px_per_mm
            * 0.75;
        let u = mm as f64 * px_per_mm + jitter * dice.normal();
        stroke(canvas, &[place(u, 0.15 * px_per_mm), place(u, reach)], width, |pixel, cover| {
            for p in pixel.iter_mut() {
                *p *= 1.0 - cover as f32 * (1.0 - ink);
            }
        });
        if mm % 10 == 0 {
            let size = 1.8 * px_per_mm;
            for line in glyph(5 + (mm / 10) % 7, place(u, reach + size), size, turn, false) {
                stroke(canvas, &line, 0.8 * width, |pixel, cover| {
                    for p in pixel.iter_mut() {
                        *p *= 1.0 - cover as f32 * (1.0 - ink);
                    }
                });
            }
        }
    }
}

/// A dark clip or a finger's edge reaching in from the side of the frame.
pub(super) fn clip(canvas: &mut Canvas, dice: &mut Dice, kind: Lighting) {
    let (w, h) = (canvas.width as f64, canvas.height as f64);
    let depth = dice.within(0.03, 0.10) * w.min(h);
    let half = dice.within(0.03, 0.10) * w.max(h);
    let along = dice.within(0.1, 0.9);
    let (a, b) = match dice.count(0, 3) {
        0 => ([along * w, -depth], [along * w, depth]),
        1 => ([along * w, h + depth], [along * w, h - depth]),
        2 => ([-depth, along * h], [depth, along * h]),
        _ => ([w + depth, along * h], [w - depth, along * h]),
    };
    let shade = if kind == Lighting::Dark { dice.within(0.05, 0.5) } else { dice.within(0.01, 0.08) };
    stroke(canvas, &[a, b], half, |pixel, cover| {
        for p in pixel.iter_mut() {
            *p = *p * (1.0 - cover as f32) + (shade * cover) as f32;
        }
    });
}
