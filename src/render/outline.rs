//! Outlines of larvae: how depth changes from snout to tail.

/// Samples along the body in the tables of an anatomy.
pub(super) const STATIONS: usize = 256;

/// Outline of a slender, newly hatched larva: full depth over the greatest depth. Shaped after the body
/// widths measured on light-pad photographs of coregonid fry (0.075 at the head, 0.070 at a
/// quarter, 0.045 at half, 0.040 at 0.7, 0.030 at 0.9 of total length).
pub(super) const SLENDER: [(f64, f64); 11] = [
    (0.0, 0.0),
    (0.02, 0.62),
    (0.06, 0.96),
    (0.10, 1.0),
    (0.25, 0.93),
    (0.38, 0.74),
    (0.50, 0.60),
    (0.70, 0.53),
    (0.90, 0.40),
    (0.96, 0.22),
    (1.0, 0.10),
];

/// Outline of a deep-bodied, older larva (perch-like, from memory).
pub(super) const DEEP: [(f64, f64); 11] = [
    (0.0, 0.0),
    (0.02, 0.30),
    (0.06, 0.58),
    (0.12, 0.82),
    (0.25, 1.0),
    (0.38, 0.96),
    (0.50, 0.82),
    (0.68, 0.55),
    (0.85, 0.34),
    (0.94, 0.28),
    (1.0, 0.20),
];

/// Value of a table on 0..1 at `s`, linear; 0 outside.
pub(super) fn table(values: &[f64], s: f64) -> f64 {
    if !(0.0..=1.0).contains(&s) {
        return 0.0;
    }
    let x = s * (STATIONS - 1) as f64;
    let i = (x as usize).min(STATIONS - 2);
    let t = x - i as f64;
    values[i] * (1.0 - t) + values[i + 1] * t
}

/// A smooth curve through `knots` at `s` (Catmull-Rom on uneven knots; a square root at the blunt snout).
pub(super) fn through(knots: &[(f64, f64)], s: f64) -> f64 {
    if s < knots[1].0 {
        return knots[1].1 * (s / knots[1].0).max(0.0).sqrt();
    }
    let i = knots.iter().rposition(|k| k.0 <= s).unwrap_or(0).min(knots.len() - 2);
    let slope = |j: usize| {
        let (a, b) = (knots[j.saturating_sub(1).max(1)], knots[(j + 1).min(knots.len() - 1)]);
        (b.1 - a.1) / (b.0 - a.0)
    };
    let (p, q) = (knots[i], knots[i + 1]);
    let (h, t) = (q.0 - p.0, (s - p.0) / (q.0 - p.0));
    let (t2, t3) = (t * t, t * t * t);
    p.1 * (2.0 * t3 - 3.0 * t2 + 1.0)
        + slope(i) * h * (t3 - 2.0 * t2 + t)
        + q.1 * (3.0 * t2 - 2.0 * t3)
        + slope(i + 1) * h * (t3 - t2)
}
