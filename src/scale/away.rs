//! How sure a scale is at a distance from where it was read.

/// A scale read along one line of the frame, as from a ruler: tilt across the line does not show in it, and
/// an unknown lens changes the scale between the line and the fish.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Away {
    /// Middle of the line, pixels.
    pub from: [f64; 2],
    /// Unit vector along it.
    pub along: [f64; 2],
    /// Relative standard error of the scale one pixel farther along the line, and one pixel off it.
    pub per_px: [f64; 2],
    /// Centre of the frame and its half-diagonal, pixels.
    pub middle: [f64; 2],
    /// See `middle`.
    pub half_diagonal: f64,
    /// Mean square distance of the line from the centre of the frame, in half-diagonals.
    pub line_r2: f64,
    /// Standard deviation of the lens's relative displacement at the corner.
    pub bend: f64,
}

impl Away {
    /// Relative standard error that the distance of pixel `x`, `y` from the line adds.
    pub fn relative_se(&self, [x, y]: [f64; 2]) -> f64 {
        let d = [x - self.from[0], y - self.from[1]];
        let along = d[0] * self.along[0] + d[1] * self.along[1];
        let across = d[1] * self.along[0] - d[0] * self.along[1];
        let r2 = (x - self.middle[0]).hypot(y - self.middle[1]).powi(2) / self.half_diagonal.powi(2);
        // A displacement of b r² stretches by 1 + 3 b r² outward and 1 + b r² around: 2 b r² in the mean.
        let lens = 2.0 * self.bend * (r2 - self.line_r2).abs();
        (along * self.per_px[0]).hypot(across * self.per_px[1]).hypot(lens)
    }
}

#[cfg(test)]
mod tests {
    use super::Away;

    #[test]
    fn the_error_grows_off_the_line_and_towards_the_corners() {
        let away = Away {
            from: [500.0, 900.0],
            along: [1.0, 0.0],
            per_px: [0.0, 1e-5],
            middle: [500.0, 500.0],
            half_diagonal: 500.0,
            line_r2: 0.64,
            bend: 0.01,
        };
        // On the line's own middle only what it measured counts; at the frame's centre tilt and lens.
        assert!(away.relative_se([500.0, 900.0]) < 1e-12);
        let centre = away.relative_se([500.0, 500.0]);
        assert!((centre - 0.004_f64.hypot(0.0128)).abs() < 1e-12, "{centre}");
    }
}
