//! A camera's lens: how it bends straight lines, calibrated from photographs of a chessboard.
//!
//! [`board`] finds the inner corners of a chessboard to a fraction of a pixel, [`calibrate`] fits the camera
//! to the corners of several photographs, and a [`Lens`] takes points of a photograph to where a pinhole
//! camera would have put them. Only points are moved, never the picture: those a scale is read from, and
//! those a length is measured along. Where the lens is known it is applied before anything else, so that
//! all later geometry sees straight lines.

pub mod board;
mod calibrate;

pub use calibrate::{Calibration, CalibrationError, View, calibrate};

use crate::photo::orient::mirrored;
use serde::{Deserialize, Serialize};

/// A lens and camera in pixels of the frame: the centre of pixel (0, 0) is the point (0, 0).
///
/// A ray with slopes `x`, `y` meets the frame at `focal * x' + centre`, where, with `r² = x² + y²`,
/// `x' = x (1 + k1 r² + k2 r⁴ + k3 r⁶) + 2 p1 x y + p2 (r² + 2 x²)` and
/// `y' = y (1 + k1 r² + k2 r⁴ + k3 r⁶) + p1 (r² + 2 y²) + 2 p2 x y`.
///
/// # References
/// Brown 1971, Close-range camera calibration, Photogrammetric Engineering 37, 855-866; order and signs of
/// the terms as in OpenCV's calib3d.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Lens {
    /// Focal lengths along x and y, pixels.
    pub focal: [f64; 2],
    /// Where the optical axis meets the frame, pixels.
    pub centre: [f64; 2],
    /// Radial terms k1, k2, k3.
    pub radial: [f64; 3],
    /// Tangential terms p1, p2.
    pub tangential: [f64; 2],
}

impl Lens {
    /// A lens with one radial term: the relative displacement at the corner of a frame of `frame` = (width,
    /// height) pixels.
    pub fn radial(frame: (f64, f64), corner: f64) -> Self {
        Self {
            focal: [frame.0.hypot(frame.1) / 2.0; 2],
            centre: [(frame.0 - 1.0) / 2.0, (frame.1 - 1.0) / 2.0],
            radial: [corner, 0.0, 0.0],
            tangential: [0.0; 2],
        }
    }

    /// Where the lens puts a point that a pinhole camera would have put at `px`.
    pub fn bend(&self, px: [f64; 2]) -> [f64; 2] {
        let [x, y] = [0, 1].map(|i| (px[i] - self.centre[i]) / self.focal[i]);
        self.on_frame(self.bent(x, y))
    }

    /// Where a pinhole camera would have put what the photograph shows at `px`; the inverse of [`Lens::bend`].
    ///
    /// ```
    /// use frygauge::scale::lens::Lens;
    /// let lens = Lens {
    ///     focal: [5000.0; 2], centre: [2000.0, 1500.0], radial: [-0.2, 0.03, 0.0], tangential: [0.0; 2],
    /// };
    /// let straight = lens.straighten([100.0, 100.0]);
    /// // A barrel lens draws corners towards the middle.
    /// assert!(straight[0] < 100.0 && straight[1] < 100.0);
    /// let back = lens.bend(straight);
    /// assert!((back[0] - 100.0).abs() < 1e-6 && (back[1] - 100.0).abs() < 1e-6);
    /// ```
    pub fn straighten(&self, px: [f64; 2]) -> [f64; 2] {
        let target = [0, 1].map(|i| (px[i] - self.centre[i]) / self.focal[i]);
        let [mut x, mut y] = target;
        for _ in 0..20 {
            let here = self.bent(x, y);
            let (ex, ey) = (target[0] - here[0], target[1] - here[1]);
            if ex.abs().max(ey.abs()) < 1e-12 {
                break;
            }
            // Newton's step with derivatives by differences: converges also where the bend is strong.
            let h = 1e-6;
            let (a, b) = (self.bent(x + h, y), self.bent(x, y + h));
            let (xx, yx) = ((a[0] - here[0]) / h, (a[1] - here[1]) / h);
            let (xy, yy) = ((b[0] - here[0]) / h, (b[1] - here[1]) / h);
            let det = xx * yy - xy * yx;
            // Beyond the place where the fitted lens folds over there is no inverse.
            if det < 0.05 {
                break;
            }
            x += (yy * ex - xy * ey) / det;
            y += (xx * ey - yx * ex) / det;
        }
        [x * self.focal[0] + self.centre[0], y * self.focal[1] + self.centre[1]]
    }

    /// Straightened pixels to a pixel at `px`: square root of the change of area.
    pub fn stretch(&self, px: [f64; 2]) -> f64 {
        let [a, b] = [-0.5, 0.5].map(|d| self.straighten([px[0] + d, px[1]]));
        let [c, d] = [-0.5, 0.5].map(|d| self.straighten([px[0], px[1] + d]));
        ((b[0] - a[0]) * (d[1] - c[1]) - (b[1] - a[1]) * (d[0] - c[0])).abs().sqrt()
    }

    /// The same lens for a frame turned upright by EXIF `orientation`; `width` and `height` are those of the
    /// frame as the sensor gives it.
    #[must_use]
    pub fn turned(&self, orientation: u16, width: u32, height: u32) -> Self {
        let far = [f64::from(width) - 1.0, f64::from(height) - 1.0];
        let mut lens = *self;
        // Mirrored along x the second tangential term changes sign, along y the first.
        let mut mirror = |i: usize| {
            lens.centre[i] = far[i] - lens.centre[i];
            lens.tangential[1 - i] = -lens.tangential[1 - i];
        };
        (0..2).filter(|i| mirrored(orientation)[*i]).for_each(&mut mirror);
        if (5..=8).contains(&orientation) {
            lens.focal.swap(0, 1);
            lens.centre.swap(0, 1);
            lens.tangential.swap(0, 1);
        }
        lens
    }

    fn bent(&self, x: f64, y: f64) -> [f64; 2] {
        let r2 = x * x + y * y;
        let [k1, k2, k3] = self.radial;
        let [p1, p2] = self.tangential;
        let f = 1.0 + r2 * (k1 + r2 * (k2 + r2 * k3));
        [
            x * f + 2.0 * p1 * x * y + p2 * (r2 + 2.0 * x * x),
            y * f + p1 * (r2 + 2.0 * y * y) + 2.0 * p2 * x * y,
        ]
    }

    fn on_frame(&self, slope: [f64; 2]) -> [f64; 2] {
        [0, 1].map(|i| slope[i] * self.focal[i] + self.centre[i])
    }
}

/// A point of a frame turned upright by EXIF `orientation`, in pixels of the frame as the sensor gives it,
/// which is `width` by `height`.
pub fn to_sensor([x, y]: [f64; 2], orientation: u16, width: u32, height: u32) -> [f64; 2] {
    let [u, v] = if (5..=8).contains(&orientation) { [y, x] } else { [x, y] };
    let [from_right, from_below] = mirrored(orientation);
    [
        if from_right { f64::from(width) - 1.0 - u } else { u },
        if from_below { f64::from(height) - 1.0 - v } else { v },
    ]
}

#[cfg(test)]
mod tests {
    use super::{Lens, to_sensor};

    const LENS: Lens = Lens {
        focal: [530.0, 534.0],
        centre: [342.0, 236.0],
        radial: [-0.27, 0.05, 0.01],
        tangential: [0.0018, -0.0012],
    };

    #[test]
    fn straightening_undoes_bending_over_the_whole_frame() {
        for (x, y) in [(0.0, 0.0), (639.0, 0.0), (0.0, 479.0), (320.0, 240.0), (639.0, 479.0)] {
            let back = LENS.bend(LENS.straighten([x, y]));
            assert!((back[0] - x).hypot(back[1] - y) < 1e-7, "{x} {y}: {back:?}");
        }
        assert!((LENS.stretch([342.0, 236.0]) - 1.0).abs() < 1e-3);
        assert!(LENS.stretch([10.0, 10.0]) > 1.05);
    }

    /// A point of the sensor's frame turned upright, as `photo::orient` turns pixels.
    fn turn([x, y]: [f64; 2], orientation: u16, far: [f64; 2]) -> [f64; 2] {
        let (right, below) = (far[0] - x, far[1] - y);
        match orientation {
            2 => [right, y],
            3 => [right, below],
            4 => [x, below],
            5 => [y, x],
            6 => [below, x],
            7 => [below, right],
            8 => [y, right],
            _ => [x, y],
        }
    }

    #[test]
    fn a_turned_lens_bends_a_turned_frame_the_same() {
        for orientation in 1..=8 {
            let turned = LENS.turned(orientation, 640, 480);
            let far = [639.0, 479.0];
            for p in [[20.0, 30.0], [600.0, 100.0], [250.0, 470.0]] {
                let upright = turn(LENS.bend(p), orientation, far);
                let ours = turned.bend(turn(p, orientation, far));
                let off = (ours[0] - upright[0]).hypot(ours[1] - upright[1]);
                assert!(off < 1e-9, "orientation {orientation}: {off}");
                assert_eq!(to_sensor(turn(p, orientation, far), orientation, 640, 480), p);
            }
        }
    }
}
