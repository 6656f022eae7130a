//! A camera that does not look straight down: the perspective of a tilted plane.

use super::canvas::Canvas;
use super::dice::Dice;

/// The plane of the dish as a tilted camera sees it. The scale at the centre of the frame, as the
/// geometric mean of both directions, stays what it was.
#[derive(Debug, Clone, Copy)]
pub(super) struct Tilt {
    centre: [f64; 2],
    /// Direction in which the plane recedes.
    along: [f64; 2],
    sin: f64,
    cos: f64,
    /// Distance of the camera, pixels.
    distance: f64,
    scale: f64,
}

impl Tilt {
    /// A tilt of at most `most_deg` degrees for a frame of `width` by `height`.
    pub fn draw(dice: &mut Dice, most_deg: f64, width: f64, height: f64) -> Self {
        let angle = most_deg.to_radians() * dice.within(0.0, 1.0);
        let turn = dice.angle();
        Self {
            centre: [0.5 * width, 0.5 * height],
            along: [turn.cos(), turn.sin()],
            sin: angle.sin(),
            cos: angle.cos(),
            distance: dice.within(1.6, 4.0) * width.max(height),
            scale: 1.0 / angle.cos().sqrt(),
        }
    }

    /// Where a point of the flat scene appears.
    pub fn forward(&self, p: [f64; 2]) -> [f64; 2] {
        let (dx, dy) = (p[0] - self.centre[0], p[1] - self.centre[1]);
        let u = dx * self.along[0] + dy * self.along[1];
        let v = dy * self.along[0] - dx * self.along[1];
        let near = self.scale / (1.0 + u * self.sin / self.distance);
        self.back_to_frame(u * self.cos * near, v * near)
    }

    /// Which point of the flat scene appears at `p`.
    pub fn inverse(&self, p: [f64; 2]) -> [f64; 2] {
        let (dx, dy) = (p[0] - self.centre[0], p[1] - self.centre[1]);
        let a = (dx * self.along[0] + dy * self.along[1]) / self.scale;
        let b = (dy * self.along[0] - dx * self.along[1]) / self.scale;
        let u = a / (self.cos - a * self.sin / self.distance);
        let v = b * (1.0 + u * self.sin / self.distance);
        self.back_to_frame(u, v)
    }

    fn back_to_frame(&self, u: f64, v: f64) -> [f64; 2] {
        [
            self.centre[0] + u * self.along[0] - v * self.along[1],
            self.centre[1] + u * self.along[1] + v * self.along[0],
        ]
    }

    /// The canvas seen through the tilt.
    pub fn warp(&self, canvas: Canvas) -> Canvas {
        if self.sin < 1e-4 {
            return canvas;
        }
        let mut out = Canvas::new(canvas.width, canvas.height, [0.0; 3]);
        out.paint_all(|x, y, pixel| {
            let [u, v] = self.inverse([x, y]);
            *pixel = canvas.sample(u, v);
        });
        out
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn inverse_undoes_forward() {
        let tilt = Tilt::draw(&mut Dice::new(3, 0), 15.0, 1200.0, 900.0);
        for p in [[10.0, 20.0], [600.0, 450.0], [1100.0, 880.0]] {
            let q = tilt.inverse(tilt.forward(p));
            assert!((q[0] - p[0]).hypot(q[1] - p[1]) < 1e-8, "{p:?} {q:?}");
        }
    }

    #[test]
    fn the_scale_at_the_centre_is_kept() {
        let tilt = Tilt::draw(&mut Dice::new(5, 0), 15.0, 1200.0, 900.0);
        let c = tilt.forward([600.0, 450.0]);
        let (a, b) = (tilt.forward([600.1, 450.0]), tilt.forward([600.0, 450.1]));
        let area = (a[0] - c[0]) * (b[1] - c[1]) - (a[1] - c[1]) * (b[0] - c[0]);
        assert!((area / 0.01 - 1.0).abs() < 1e-3, "{area}");
    }
}
