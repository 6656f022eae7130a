//! Ellipses and circles through points.

use nalgebra::{Matrix3, SMatrix, Vector3};

/// An ellipse in the plane.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Ellipse {
    /// Centre, x.
    pub x: f64,
    /// Centre, y.
    pub y: f64,
    /// Longer half-axis.
    pub a: f64,
    /// Shorter half-axis.
    pub b: f64,
    /// Angle of the longer axis from x towards y, radians.
    pub angle: f64,
}

impl Ellipse {
    /// A circle.
    pub fn circle(x: f64, y: f64, r: f64) -> Self {
        Self { x, y, a: r, b: r, angle: 0.0 }
    }

    /// Radius in the direction of a point over the point's distance would be 1 on the outline: this is its
    /// inverse, below 1 inside and above 1 outside.
    pub fn level(&self, x: f64, y: f64) -> f64 {
        self.levels()(x, y)
    }

    /// [`Ellipse::level`] for many points.
    fn levels(&self) -> impl Fn(f64, f64) -> f64 + use<> {
        let Self { x, y, a, b, angle } = *self;
        let (s, c) = angle.sin_cos();
        move |px, py| {
            let (dx, dy) = (px - x, py - y);
            let (u, v) = ((dx * c + dy * s) / a, (dy * c - dx * s) / b);
            (u * u + v * v).sqrt()
        }
    }

    /// Distance from the outline along the ray from the centre, negative inside. For slightly flattened
    /// ellipses this is the distance to the outline to within `(1 - b/a)^2`.
    pub fn distance(&self, x: f64, y: f64) -> f64 {
        self.distances()(x, y)
    }

    /// [`Ellipse::distance`] for many points.
    pub fn distances(&self) -> impl Fn(f64, f64) -> f64 + use<> {
        let (level, Self { x, y, b, .. }) = (self.levels(), *self);
        move |px, py| {
            let level = level(px, py);
            let r = ((px - x).powi(2) + (py - y).powi(2)).sqrt();
            if level < 1e-12 { -b } else { r - r / level }
        }
    }

    /// Geometric mean of the half-axes.
    pub fn radius(&self) -> f64 {
        (self.a * self.b).sqrt()
    }
}

/// The circle through three points, `None` when they lie on a line.
pub fn circle_through(p: [[f64; 2]; 3]) -> Option<Ellipse> {
    let [[ax, ay], [bx, by], [cx, cy]] = p;
    let d = 2.0 * (ax * (by - cy) + bx * (cy - ay) + cx * (ay - by));
    if d.abs() < 1e-9 {
        return None;
    }
    let (a2, b2, c2) = (ax * ax + ay * ay, bx * bx + by * by, cx * cx + cy * cy);
    let x = (a2 * (by - cy) + b2 * (cy - ay) + c2 * (ay - by)) / d;
    let y = (a2 * (cx - bx) + b2 * (ax - cx) + c2 * (bx - ax)) / d;
    let r = (ax - x).hypot(ay - y);
    r.is_finite().then(|| Ellipse::circle(x, y, r))
}

/// The ellipse that fits `points` (x, y) best in the algebraic sense; `None` for fewer than six points or
/// when no ellipse fits.
///
/// # References
/// Halir & Flusser 1998, Numerically stable direct least squares fitting of ellipses, WSCG 6:125-132.
pub fn fit(points: &[[f64; 2]]) -> Option<Ellipse> {
    if points.len() < 6 {
        return None;
    }
    let n = points.len() as f64;
    let mx = points.iter().map(|p| p[0]).sum::<f64>() / n;
    let my = points.iter().map(|p| p[1]).sum::<f64>() / n;
    let scale =
        (points.iter().map(|p| (p[0] - mx).powi(2) + (p[1] - my).powi(2)).sum::<f64>() / n).sqrt().max(1e-12);
    let (mut s1, mut s2, mut s3) = (Matrix3::zeros(), Matrix3::zeros(), Matrix3::zeros());
    for p in points {
        let (x, y) = ((p[0] - mx) / scale, (p[1] - my) / scale);
        let quadratic = Vector3::new(x * x, x * y, y * y);
        let linear = Vector3::new(x, y, 1.0);
        s1 += quadratic * quadratic.transpose();
        s2 += quadratic * linear.transpose();
        s3 += linear * linear.transpose();
    }
    let t: Matrix3<f64> = -s3.try_inverse()? * s2.transpose();
    let m = s1 + s2 * t;
    let reduced = Matrix3::from_rows(&[m.row(2) / 2.0, -m.row(1), m.row(0) / 2.0]);
    let a1 =
        reduced.complex_eigenvalues().iter().filter(|l| l.im.abs() < 1e-9 * (1.0 + l.re.abs())).find_map(
            |l| {
                let shifted: SMatrix<f64, 3, 3> = reduced - Matrix3::identity() * l.re;
                let svd = shifted.svd(false, true);
                let v = svd.v_t?;
                let least = svd.singular_values.imin();
                let v = v.row(least).transpose();
                (4.0 * v[0] * v[2] - v[1] * v[1] > 0.0).then_some(v)
            },
        )?;
    let a2 = t * a1;
    from_conic([a1[0], a1[1], a1[2], a2[0], a2[1], a2[2]]).map(|e| Ellipse {
        x: e.x * scale + mx,
        y: e.y * scale + my,
        a: e.a * scale,
        b: e.b * scale,
        angle: e.angle,
    })
}

/// Centre, axes and angle of `A x² + B xy + C y² + D x + E y + F = 0`.
fn from_conic([a, b, c, d, e, f]: [f64; 6]) -> Option<Ellipse> {
    let det = b * b - 4.0 * a * c;
    if det >= 0.0 {
        return None;
    }
    let x = (2.0 * c * d - b * e) / det;
    let y = (2.0 * a * e - b * d) / det;
    let common = 2.0 * (a * e * e + c * d * d - b * d * e + det * f);
    let root = (a - c).hypot(b);
    let axis = |sum: f64| -> Option<f64> {
        let v = common * sum;
        (v > 0.0).then(|| v.sqrt() / -det)
    };
    let (p, q) = (axis(a + c + root)?, axis(a + c - root)?);
    let (long, short) = (p.max(q), p.min(q));
    // Direction of the longer axis: eigenvector of the quadratic form with the smaller magnitude.
    let mut angle = 0.5 * b.atan2(a - c);
    let (s, co) = angle.sin_cos();
    let along = a * co * co + b * s * co + c * s * s;
    let across = a * s * s - b * s * co + c * co * co;
    if along.abs() > across.abs() {
        angle += std::f64::consts::FRAC_PI_2;
    }
    let result = Ellipse { x, y, a: long, b: short, angle: angle.rem_euclid(std::f64::consts::PI) };
    (long.is_finite() && short.is_finite() && short > 0.0).then_some(result)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn points_of_an_ellipse_give_it_back(
            x in -50.0..500.0f64, y in -50.0..500.0f64, a in 20.0..200.0f64, flat in 0.5..0.98f64,
            angle in 0.05..3.0f64, from in 0.0..6.0f64, arc in 2.5..6.2f64,
        ) {
            let (b, (s, c)) = (a * flat, angle.sin_cos());
            let points: Vec<[f64; 2]> = (0..60).map(|i| {
                let t = from + arc * f64::from(i) / 59.0;
                let (u, v) = (a * t.cos(), b * t.sin());
                [x + u * c - v * s, y + u * s + v * c]
            }).collect();
            let e = fit(&points).unwrap();
            prop_assert!((e.x - x).abs() < 1e-3 * a && (e.y - y).abs() < 1e-3 * a, "{e:?}");
            prop_assert!((e.a - a).abs() < 1e-3 * a && (e.b - b).abs() < 1e-3 * a, "{e:?}");
            prop_assert!(points.iter().all(|p| e.distance(p[0], p[1]).abs() < 1e-3 * a));
        }
    }
}
