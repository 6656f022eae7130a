//! Which found fish is which true fish.

use frygauge::imaging::path;
use frygauge::render::{Rendered, TrueFish};

/// For each found midline the index of its true fish, each true fish at most once: pairs are taken in order of
/// their mean distance, up to an eighth of the true length. Of a fish cut by the frame the part in it counts.
pub fn matches(found: &[&[[f64; 2]]], rendered: &Rendered) -> Vec<Option<usize>> {
    let truth = &rendered.truth.fish;
    let shown: Vec<Vec<[f64; 2]>> = truth.iter().map(|fish| in_frame(fish, rendered)).collect();
    let mut pairs = Vec::new();
    for (i, line) in found.iter().enumerate() {
        let points = path::resample(line, 17);
        for (j, (fish, own)) in truth.iter().zip(&shown).enumerate() {
            let gap: f64 = points.iter().map(|p| nearest(*p, own)).sum::<f64>() / points.len() as f64;
            // Both ways, so that a piece of a fish does not pass for the whole.
            let back: f64 = path::resample(own, 17).iter().map(|p| nearest(*p, &points)).sum::<f64>() / 17.0;
            let distance = gap.max(back);
            if distance < fish.total_length_px / 8.0 {
                pairs.push((distance, i, j));
            }
        }
    }
    pairs.sort_by(|a, b| a.0.total_cmp(&b.0));
    let mut of_found = vec![None; found.len()];
    let mut taken = vec![false; truth.len()];
    for (_, i, j) in pairs {
        if of_found[i].is_none() && !taken[j] {
            of_found[i] = Some(j);
            taken[j] = true;
        }
    }
    of_found
}

/// The midline of a fish where the frame shows it; all of it where the frame shows nothing.
fn in_frame(fish: &TrueFish, rendered: &Rendered) -> Vec<[f64; 2]> {
    let (w, h) = (f64::from(rendered.image.width()), f64::from(rendered.image.height()));
    let all = path::resample(&fish.midline, 65);
    let inside = |p: &&[f64; 2]| (0.0..w).contains(&p[0]) && (0.0..h).contains(&p[1]);
    let shown: Vec<[f64; 2]> = all.iter().filter(inside).copied().collect();
    if shown.len() < 2 { all } else { shown }
}

/// Distance from a point to a polyline's nearest vertex or piece.
fn nearest(p: [f64; 2], line: &[[f64; 2]]) -> f64 {
    line.windows(2)
        .map(|w| {
            let (dx, dy) = (w[1][0] - w[0][0], w[1][1] - w[0][1]);
            let t = ((p[0] - w[0][0]) * dx + (p[1] - w[0][1]) * dy) / (dx * dx + dy * dy).max(1e-12);
            let t = t.clamp(0.0, 1.0);
            (p[0] - w[0][0] - t * dx).hypot(p[1] - w[0][1] - t * dy)
        })
        .fold(f64::INFINITY, f64::min)
}
