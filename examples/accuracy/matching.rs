//! Which found fish is which true fish.

use frygauge::imaging::path;
use frygauge::render::TrueFish;

/// For each found midline the index of its true fish, each true fish at most once: pairs are taken in order of
/// their mean distance, up to an eighth of the true length.
pub fn matches(found: &[&[[f64; 2]]], truth: &[TrueFish]) -> Vec<Option<usize>> {
    let mut pairs = Vec::new();
    for (i, line) in found.iter().enumerate() {
        let points = path::resample(line, 17);
        for (j, fish) in truth.iter().enumerate() {
            let own = path::resample(&fish.midline, 65);
            let gap: f64 = points.iter().map(|p| nearest(*p, &own)).sum::<f64>() / points.len() as f64;
            // Both ways, so that a piece of a fish does not pass for the whole.
            let back: f64 = path::resample(&own, 17).iter().map(|p| nearest(*p, &points)).sum::<f64>() / 17.0;
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
