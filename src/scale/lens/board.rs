//! The inner corners of a chessboard, to a fraction of a pixel.
//!
//! A corner where four squares meet is a saddle of brightness: bright and dark take turns twice round it.
//! Saddles are found in a reduced photograph, joined into a grid from one of them outward (neighbours on a
//! chessboard are saddles of opposite sense), and then placed at full resolution where all gradients round
//! them run past.

use crate::imaging::Plane;
use crate::imaging::blur::gaussian;
use crate::imaging::plane::quantile;
use crate::imaging::reduce::reduce;
use crate::photo::Pixels;
use nalgebra::{Matrix2, Vector2};
use std::collections::BTreeMap;

/// Longest side of the reduced photograph.
const SIDE: usize = 1400;
/// Samples on the ring round a saddle.
const RING: usize = 32;
/// How far a corner may lie from where its neighbours put it, as a share of a square.
const ASTRAY: f64 = 0.3;
/// Most saddles looked at, strongest first, as a multiple of the corners wanted.
const LOOKED_AT: usize = 6;

struct Saddle {
    at: [f64; 2],
    /// Twice the direction in which it is bright, as a unit vector; its opposite for a neighbour.
    sense: [f64; 2],
}

/// The `columns` by `rows` inner corners of a chessboard in pixels, row by row; `None` when not all are
/// seen. Which corner is the first, and whether the order is mirrored, depends on how the board lies: both
/// are views of the same board, one of them from behind.
pub fn corners(pixels: &Pixels, columns: usize, rows: usize) -> Option<Vec<[f64; 2]>> {
    let (w, h) = (pixels.width as usize, pixels.height as usize);
    let factor = w.max(h).div_ceil(SIDE);
    let plane = gaussian(&reduce(&pixels.luma, w, h, factor), 1.0);
    // Small boards show fine saddles only, soft photographs coarse ones only.
    for scale in [1.0, 2.5] {
        let saddles = saddles(&plane, scale, columns * rows);
        for seed in 0..saddles.len().min(40) {
            let Some(grid) = grow(&saddles, seed) else { continue };
            let Some(found) = rectangle(&grid, columns, rows) else { continue };
            let up = |v: f64| v * factor as f64 + (factor as f64 - 1.0) / 2.0;
            let rough: Vec<[f64; 2]> = found.iter().map(|i| saddles[*i].at.map(up)).collect();
            return place(pixels, &rough, columns);
        }
    }
    None
}

/// Saddles of brightness, strongest first, that look like where four squares meet.
fn saddles(plane: &Plane<f32>, scale: f64, wanted: usize) -> Vec<Saddle> {
    let smooth = gaussian(plane, scale as f32);
    let (w, h) = (smooth.width, smooth.height);
    let edge = (6.0 * scale) as usize + 2;
    if w <= 2 * edge || h <= 2 * edge {
        return Vec::new();
    }
    let mut strength = Plane::filled(w, h, 0.0f32);
    for y in 1..h - 1 {
        let (above, here, below) = (smooth.row(y - 1), smooth.row(y), smooth.row(y + 1));
        for x in 1..w - 1 {
            let xx = here[x - 1] - 2.0 * here[x] + here[x + 1];
            let yy = above[x] - 2.0 * here[x] + below[x];
            let xy = 0.25 * (above[x - 1] + below[x + 1] - above[x + 1] - below[x - 1]);
            strength.set(x, y, (xy * xy - xx * yy).max(0.0));
        }
    }
    let reach = (2.0 * scale).ceil() as usize;
    let mut peaks: Vec<(f32, usize, usize)> = Vec::new();
    for y in edge..h - edge {
        for x in edge..w - edge {
            let s = strength.at(x, y);
            if s < 0.05 {
                continue;
            }
            let highest = (y - reach..=y + reach)
                .all(|v| (x - reach..=x + reach).all(|u| strength.at(u, v) < s || (u, v) == (x, y)));
            if highest {
                peaks.push((s, x, y));
            }
        }
    }
    peaks.sort_by(|a, b| b.0.total_cmp(&a.0).then(a.2.cmp(&b.2)).then(a.1.cmp(&b.1)));
    let ringed = peaks.iter().filter_map(|(_, x, y)| {
        let at = [*x as f64, *y as f64];
        // The ring must cross the four squares: any radius that does will do.
        [4.0, 2.5, 6.0]
            .iter()
            .find_map(|r| sense(plane, at, r * scale.max(1.2)))
            .map(|sense| Saddle { at, sense })
    });
    ringed.take(LOOKED_AT * wanted).collect()
}

/// Bright and dark round a point: twice the bright direction when there are just two of each, opposite each
/// other.
fn sense(plane: &Plane<f32>, at: [f64; 2], radius: f64) -> Option<[f64; 2]> {
    let ring: Vec<f32> = (0..RING)
        .map(|i| {
            let (s, c) = (std::f64::consts::TAU * i as f64 / RING as f64).sin_cos();
            plane.bilinear(at[0] + radius * c, at[1] + radius * s)
        })
        .collect();
    let mut sorted = ring.clone();
    let (low, high) = (quantile(&mut sorted, 0.1)?, quantile(&mut sorted, 0.9)?);
    if high - low < 12.0 {
        return None;
    }
    let middle = f32::midpoint(low, high);
    let changes = (0..RING).filter(|i| (ring[*i] > middle) != (ring[(i + 1) % RING] > middle)).count();
    if changes != 4 {
        return None;
    }
    let alike = (0..RING).filter(|i| (ring[*i] > middle) == (ring[(i + RING / 2) % RING] > middle)).count();
    if alike < RING * 3 / 4 {
        return None;
    }
    let (mut c, mut s) = (0.0, 0.0);
    for (i, v) in ring.iter().enumerate() {
        let (sin, cos) = (2.0 * std::f64::consts::TAU * i as f64 / RING as f64).sin_cos();
        c += f64::from(v - middle) * cos;
        s += f64::from(v - middle) * sin;
    }
    let size = c.hypot(s);
    (size > 1e-6).then(|| [c / size, s / size])
}

type Grid = BTreeMap<(i32, i32), usize>;

/// Numbers saddles outward from one of them; columns and rows are as they come.
fn grow(saddles: &[Saddle], seed: usize) -> Option<Grid> {
    let opposite = |a: &Saddle, b: &Saddle| a.sense[0] * b.sense[0] + a.sense[1] * b.sense[1] < -0.5;
    let away =
        |i: usize, j: usize| [saddles[j].at[0] - saddles[i].at[0], saddles[j].at[1] - saddles[i].at[1]];
    let long = |v: [f64; 2]| v[0].hypot(v[1]);
    let mut near: Vec<usize> =
        (0..saddles.len()).filter(|j| *j != seed && opposite(&saddles[seed], &saddles[*j])).collect();
    near.sort_by(|a, b| long(away(seed, *a)).total_cmp(&long(away(seed, *b))));
    // One side along each of two directions that cross.
    let first = *near.first()?;
    let u = away(seed, first);
    let second = near.iter().copied().find(|j| {
        let v = away(seed, *j);
        let across = (u[0] * v[1] - u[1] * v[0]).abs() / (long(u) * long(v));
        across > 0.5 && long(v) < 2.5 * long(u)
    })?;
    let v = away(seed, second);
    let mut grid = Grid::from([((0, 0), seed)]);
    let mut taken = vec![false; saddles.len()];
    taken[seed] = true;
    // Steps along columns and rows where each corner stands: perspective and lens change them slowly.
    let mut steps = BTreeMap::from([((0, 0), [u, v])]);
    let mut queue = std::collections::VecDeque::from([(0, 0)]);
    while let Some(cell) = queue.pop_front() {
        let here = grid[&cell];
        let step = steps[&cell];
        for (dx, dy) in [(1, 0), (-1, 0), (0, 1), (0, -1)] {
            let next = (cell.0 + dx, cell.1 + dy);
            if grid.contains_key(&next) {
                continue;
            }
            let along = usize::from(dx == 0);
            let way = f64::from(dx + dy);
            let by = step[along].map(|s| s * way);
            let expected = [saddles[here].at[0] + by[0], saddles[here].at[1] + by[1]];
            let off = |j: usize| long([saddles[j].at[0] - expected[0], saddles[j].at[1] - expected[1]]);
            let found = (0..saddles.len())
                .filter(|j| !taken[*j] && opposite(&saddles[here], &saddles[*j]))
                .min_by(|a, b| off(*a).total_cmp(&off(*b)))
                .filter(|j| off(*j) < ASTRAY * long(by));
            let Some(found) = found else { continue };
            taken[found] = true;
            grid.insert(next, found);
            let seen = away(here, found).map(|s| s * way);
            let mut new = step;
            new[along] = [0, 1].map(|i| f64::midpoint(step[along][i], seen[i]));
            // The first guess of the step along the other direction is bettered by neighbours already found.
            steps.insert(next, new);
            queue.push_back(next);
        }
    }
    Some(grid)
}

/// The whole rectangle of `columns` by `rows` in the grid, row by row, whichever way round it was numbered.
fn rectangle(grid: &Grid, columns: usize, rows: usize) -> Option<Vec<usize>> {
    for (wide, high, swapped) in [(columns, rows, false), (rows, columns, true)] {
        let (wide, high) = (wide as i32, high as i32);
        for (x0, y0) in grid.keys() {
            let cells: Option<Vec<usize>> = (0..rows as i32)
                .flat_map(|r| (0..columns as i32).map(move |c| if swapped { (r, c) } else { (c, r) }))
                .map(|(x, y)| grid.get(&(x0 + x, y0 + y)).copied())
                .collect();
            // A grid larger than the board has a corner that is none: nobody knows which.
            let spare = grid.len() as i32 - wide * high;
            if let Some(cells) = cells.filter(|_| spare <= 2) {
                return Some(cells);
            }
        }
    }
    None
}

/// Places corners at full resolution: the point past which all gradients near it run.
///
/// # References
/// Förstner & Gülch 1987, A fast operator for detection and precise location of distinct points, corners
/// and centres of circular features, ISPRS Intercommission Workshop, Interlaken, 281-305.
fn place(pixels: &Pixels, rough: &[[f64; 2]], columns: usize) -> Option<Vec<[f64; 2]>> {
    let gap = |i: usize, j: usize| (rough[i][0] - rough[j][0]).hypot(rough[i][1] - rough[j][1]);
    (0..rough.len())
        .map(|i| {
            let (c, r) = (i % columns, i / columns);
            let beside = if c > 0 { gap(i, i - 1) } else { gap(i, i + 1) };
            let above = if r > 0 { gap(i, i - columns) } else { gap(i, i + columns) };
            // Wide enough for soft edges, and clear of the neighbouring corners.
            let reach = (0.3 * beside.min(above)).clamp(2.5, 40.0);
            settle(pixels, rough[i], reach)
        })
        .collect()
}

fn settle(pixels: &Pixels, start: [f64; 2], reach: f64) -> Option<[f64; 2]> {
    let mut at = start;
    let sigma = 0.5 * reach;
    // Large squares need no more than some twenty samples a side.
    let stride = (reach / 10.0).max(1.0);
    let steps = (reach / stride).ceil() as i32;
    for _ in 0..30 {
        let (mut a, mut b) = (Matrix2::zeros(), Vector2::zeros());
        for v in -steps..=steps {
            for u in -steps..=steps {
                let (dx, dy) = (f64::from(u) * stride, f64::from(v) * stride);
                let (x, y) = (at[0] + dx, at[1] + dy);
                let s = |x, y| f64::from(crate::scale::sample(pixels, x, y));
                let g = Vector2::new(s(x + 1.0, y) - s(x - 1.0, y), s(x, y + 1.0) - s(x, y - 1.0));
                let weight = (-(dx * dx + dy * dy) / (2.0 * sigma * sigma)).exp();
                let outer = g * g.transpose() * weight;
                a += outer;
                b += outer * Vector2::new(dx, dy);
            }
        }
        let step = a.try_inverse()? * b;
        at = [at[0] + step[0], at[1] + step[1]];
        if (at[0] - start[0]).hypot(at[1] - start[1]) > reach {
            return None;
        }
        if step.norm() < 1e-3 {
            break;
        }
    }
    Some(at)
}

#[cfg(test)]
mod tests {
    use super::corners;
    use crate::photo::Pixels;
    use crate::render::card::View;

    fn board(p: [f64; 2]) -> Option<f64> {
        let [x, y] = p.map(|v| (v / 10.0).floor());
        let on = (0.0..8.0).contains(&x) && (0.0..6.0).contains(&y);
        let margin = (-0.8..8.8).contains(&(p[0] / 10.0)) && (-0.8..6.8).contains(&(p[1] / 10.0));
        margin.then(|| if on && (x + y) % 2.0 == 0.0 { 1.0 } else { 0.0 })
    }

    #[test]
    fn corners_of_a_drawn_board_are_found_to_a_tenth_of_a_pixel() {
        for seed in 0..4 {
            let mut view = View::plain([560, 420], 4.2, [40.0, 30.0]);
            view.tilt = 0.1 * seed as f64;
            view.tilt_axis = 0.7 * seed as f64;
            view.turn = 1.1 * seed as f64;
            let view = view;
            let found = corners(&Pixels::from_rgb(&view.take(seed, board)), 7, 5).expect("all corners");
            assert_eq!(found.len(), 35);
            for at in &found {
                let mm = view.to_mm(*at);
                let off =
                    (mm[0] / 10.0 - (mm[0] / 10.0).round()).hypot(mm[1] / 10.0 - (mm[1] / 10.0).round());
                assert!(off * 10.0 * 4.2 < 0.12, "seed {seed}: {} px", off * 42.0);
            }
            // Neighbours in the list are neighbours on the board.
            let mm: Vec<[f64; 2]> = found.iter().map(|p| view.to_mm(*p)).collect();
            for i in (0..35).filter(|i| i % 7 < 6) {
                let step = (mm[i + 1][0] - mm[i][0]).hypot(mm[i + 1][1] - mm[i][1]);
                assert!((step - 10.0).abs() < 0.2, "{step}");
            }
        }
    }

    #[test]
    fn boards_of_another_size_and_bare_frames_give_nothing() {
        let view = View::plain([560, 420], 4.2, [40.0, 30.0]);
        let pixels = Pixels::from_rgb(&view.take(1, board));
        assert!(corners(&pixels, 9, 6).is_none());
        assert!(corners(&pixels, 5, 4).is_none());
        assert!(corners(&Pixels::from_rgb(&view.take(1, |_| None)), 7, 5).is_none());
    }
}
