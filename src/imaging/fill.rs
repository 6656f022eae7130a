//! Values of pixels that show something else, drawn in from those round them.

use super::Plane;

/// Rounds of averaging; a hole of some twenty pixels is smooth after them.
const ROUNDS: usize = 40;

/// Replaces the pixels of `hole` by a surface that meets the pixels round it and is as level as can be within (the
/// discrete Laplace equation, relaxed in place). Holes that reach the edge of the raster meet what is left.
pub fn fill(plane: &mut Plane<f32>, hole: &Plane<bool>) {
    let width = plane.width;
    let inside: Vec<usize> = (0..hole.data.len()).filter(|i| hole.data[*i]).collect();
    let around = |i: usize| {
        let (x, y) = ((i % width) as i64, (i / width) as i64);
        [(-1, 0), (1, 0), (0, -1), (0, 1)].map(|(dx, dy)| (x + dx, y + dy))
    };
    // From the rim inwards first: what is far from it starts from what is near.
    let mut known = hole.map(|hole| !hole);
    let mut left = inside.clone();
    while !left.is_empty() {
        let mean = |plane: &Plane<f32>, i: usize| {
            let near = around(i).into_iter().filter(|(x, y)| known.get_or(*x, *y, false));
            let (sum, count) = near.fold((0.0, 0), |(sum, n), (x, y)| (sum + plane.get_or(x, y, 0.0), n + 1));
            (count > 0).then(|| sum / count as f32)
        };
        let rim: Vec<(usize, f32)> = left.iter().filter_map(|i| Some((*i, mean(plane, *i)?))).collect();
        if rim.is_empty() {
            return;
        }
        for &(i, v) in &rim {
            plane.data[i] = v;
        }
        rim.iter().for_each(|(i, _)| known.data[*i] = true);
        left.retain(|i| !known.data[*i]);
    }
    for _ in 0..ROUNDS {
        for &i in &inside {
            let own = plane.data[i];
            let sum: f32 = around(i).into_iter().map(|(x, y)| plane.get_or(x, y, own)).sum();
            plane.data[i] = 0.25 * sum;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A sloping plane solves the Laplace equation: a hole in it is filled to the same slope.
    #[test]
    fn a_hole_in_a_slope_is_filled_to_the_slope() {
        let slope = |x: usize, y: usize| 0.3 * x as f32 - 0.1 * y as f32;
        let mut plane = Plane::filled(30, 20, 0.0);
        let mut hole = Plane::filled(30, 20, false);
        for y in 0..20 {
            for x in 0..30 {
                let inside = (10..18).contains(&x) && (6..13).contains(&y);
                hole.set(x, y, inside);
                plane.set(x, y, if inside { 9.0 } else { slope(x, y) });
            }
        }
        fill(&mut plane, &hole);
        for y in 0..20 {
            for x in 0..30 {
                assert!((plane.at(x, y) - slope(x, y)).abs() < 0.02, "{x} {y}: {}", plane.at(x, y));
            }
        }
    }

    #[test]
    fn a_raster_that_is_all_hole_stays() {
        let mut plane = Plane::filled(4, 4, 2.0);
        fill(&mut plane, &Plane::filled(4, 4, true));
        assert!(plane.data.iter().all(|v| *v == 2.0));
    }
}
