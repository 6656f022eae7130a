//! A scale that changes over the frame: a plane seen in perspective through a lens with one radial term.
//!
//! The plane (millimetres) goes to the photograph by a homography, then away from or towards the centre of
//! the frame by `1 + k r²`, `r` in half-diagonals. Nine parameters, fitted to surveyed points by damped
//! least squares with their covariance, from which the standard error of the scale at any point follows.

use super::lens::Lens;
use nalgebra::{DMatrix, Matrix3, SMatrix, SVector, Vector3};

type Params = SVector<f64, 9>;
type Square = SMatrix<f64, 9, 9>;

/// Standard deviation believed of the radial term before the dots are seen: lenses of phones and macro
/// lenses stay within a few per cent at the corner (common practice, no source). It keeps the term near
/// zero where the dots cannot tell.
const RADIAL_PRIOR: f64 = 0.03;
/// The same for what is left of a lens that was calibrated: it changes a little with focus and temperature
/// (common practice, no source).
const CALIBRATED_PRIOR: f64 = 0.002;
/// Localisation error assumed at least, in pixels: a handful of dots may agree by chance.
const LEAST_ERROR_PX: f64 = 0.03;

/// What is known of the lens before points are fitted.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Bending {
    /// It bends nothing.
    None,
    /// One radial term, to be found from the points.
    Unknown,
    /// It was calibrated; what is left may still show in the points.
    Calibrated(Lens),
}

impl Bending {
    /// The calibrated lens if there is one, else a radial term to be found.
    pub fn of(lens: Option<&Lens>) -> Self {
        lens.map_or(Self::Unknown, |l| Self::Calibrated(*l))
    }

    fn prior(&self) -> f64 {
        match self {
            Self::None => 1e-9,
            Self::Unknown => RADIAL_PRIOR,
            Self::Calibrated(_) => CALIBRATED_PRIOR,
        }
    }

    fn lens(self) -> Option<Lens> {
        match self {
            Self::Calibrated(lens) => Some(lens),
            _ => None,
        }
    }
}

/// A plane in the photograph.
#[derive(Debug, Clone)]
pub struct Field {
    /// Straightens pixels before anything else.
    lens: Option<Lens>,
    /// Homography in row order without the last element (1), then the radial term; normalised coordinates.
    params: Params,
    covariance: Square,
    to_plane: Matrix3<f64>,
    mm: Normal,
    px: Normal,
    /// Root mean square distance of the points from where the fit puts them, in pixels.
    pub rms_px: f64,
    /// Points used.
    pub points: usize,
}

/// Centre and size that bring coordinates to about one.
#[derive(Debug, Clone, Copy)]
struct Normal {
    centre: [f64; 2],
    size: f64,
}

impl Normal {
    fn of(points: &[[f64; 2]]) -> Self {
        let n = points.len().max(1) as f64;
        let centre = [0, 1].map(|i| points.iter().map(|p| p[i]).sum::<f64>() / n);
        let spread = points.iter().map(|p| distance(*p, centre)).fold(1e-9, f64::max);
        Self { centre, size: spread }
    }

    fn to(self, p: [f64; 2]) -> [f64; 2] {
        [(p[0] - self.centre[0]) / self.size, (p[1] - self.centre[1]) / self.size]
    }

    fn from(self, p: [f64; 2]) -> [f64; 2] {
        [p[0] * self.size + self.centre[0], p[1] * self.size + self.centre[1]]
    }
}

/// Distance between two points.
pub(super) fn distance(a: [f64; 2], b: [f64; 2]) -> f64 {
    (a[0] - b[0]).hypot(a[1] - b[1])
}

impl Field {
    /// Fits a plane to points known in millimetres (`mm`) and in pixels (`px`) of a photograph of
    /// `frame` = (width, height). A calibrated lens straightens the pixels first. `None` for fewer than four
    /// points or when they determine no plane (three on a line of four).
    ///
    /// Points far off the others' plane must be left out by the caller; see [`Field::residuals`].
    ///
    /// # References
    /// Hartley & Zisserman 2004, Multiple View Geometry, 2nd ed., algorithm 4.1 (start) and section 4.5
    /// (refinement by reprojection error); covariance section 5.2.
    pub fn fit(mm: &[[f64; 2]], px: &[[f64; 2]], frame: (f64, f64), bending: Bending) -> Option<Self> {
        if mm.len() < 4 || mm.len() != px.len() {
            return None;
        }
        let mm_normal = Normal::of(mm);
        let px_normal = Normal {
            centre: [(frame.0 - 1.0) / 2.0, (frame.1 - 1.0) / 2.0],
            size: frame.0.hypot(frame.1) / 2.0,
        };
        let from: Vec<[f64; 2]> = mm.iter().map(|p| mm_normal.to(*p)).collect();
        let lens = bending.lens();
        let to: Vec<[f64; 2]> = px.iter().map(|p| px_normal.to(straight(lens.as_ref(), *p))).collect();
        let mut params = linear(&from, &to)?;
        let prior = bending.prior();
        let radial = bending != Bending::None;
        // Residuals are in half-diagonals; the prior is weighed against the error the dots show.
        let mut sigma = LEAST_ERROR_PX / px_normal.size;
        let mut covariance = Square::zeros();
        for _ in 0..3 {
            let (best, cov) = refine(&from, &to, params, sigma, prior)?;
            params = best;
            covariance = cov;
            let free = (2 * mm.len()).saturating_sub(8 + usize::from(radial)).max(1) as f64;
            let sum: f64 =
                from.iter().zip(&to).map(|(m, p)| distance(project(&params, *m), *p).powi(2)).sum();
            // Few degrees of freedom underestimate the error half the time: lean on the least error.
            sigma = ((sum + 2.0 * (LEAST_ERROR_PX / px_normal.size).powi(2)) / (free + 2.0)).sqrt();
            sigma = sigma.max(LEAST_ERROR_PX / px_normal.size);
        }
        let to_plane = matrix(&params).try_inverse()?;
        let mut field = Self {
            lens,
            params,
            covariance,
            to_plane,
            mm: mm_normal,
            px: px_normal,
            rms_px: 0.0,
            points: mm.len(),
        };
        let sum: f64 = field.residuals(mm, px).iter().map(|r| r * r).sum();
        field.rms_px = (sum / mm.len() as f64).sqrt();
        field.rms_px.is_finite().then_some(field)
    }

    /// A plane seen straight on or in parallel projection: `mm_of_px` takes pixel differences to
    /// millimetres, row by row. It has no error of its own.
    pub fn affine(mm_of_px: [[f64; 2]; 2], frame: (f64, f64)) -> Option<Self> {
        let centre = [(frame.0 - 1.0) / 2.0, (frame.1 - 1.0) / 2.0];
        let [[a, b], [c, d]] = mm_of_px;
        let det = a * d - b * c;
        if !det.is_finite() || det.abs() < 1e-18 {
            return None;
        }
        let params =
            Params::from_column_slice(&[d / det, -b / det, 0.0, -c / det, a / det, 0.0, 0.0, 0.0, 0.0]);
        Some(Self {
            lens: None,
            params,
            covariance: Square::zeros(),
            to_plane: matrix(&params).try_inverse()?,
            mm: Normal { centre: [0.0; 2], size: 1.0 },
            px: Normal { centre, size: 1.0 },
            rms_px: 0.0,
            points: 0,
        })
    }

    /// A plane that tilts along one line only: `mm_per_px` at `at` (pixels), where the line runs in direction
    /// `along` (unit vector), and `growth`, the relative change of the scale along the line a pixel farther.
    /// It has no error of its own.
    pub fn tilted_along(mm_per_px: f64, at: [f64; 2], along: [f64; 2], growth: f64) -> Option<Self> {
        if !(mm_per_px > 0.0 && growth.is_finite()) {
            return None;
        }
        // With x along the line in straight-on pixels, u = x / (1 + a x): dx/du changes by 2 a a pixel.
        let (a, [c, s]) = (growth / 2.0, along);
        let turned = Matrix3::new(c, -s, 0.0, s, c, 0.0, a, 0.0, 1.0);
        let params = Params::from_column_slice(&[
            turned[(0, 0)],
            turned[(0, 1)],
            0.0,
            turned[(1, 0)],
            turned[(1, 1)],
            0.0,
            turned[(2, 0)],
            0.0,
            0.0,
        ]);
        Some(Self {
            lens: None,
            params,
            covariance: Square::zeros(),
            to_plane: turned.try_inverse()?,
            mm: Normal { centre: [0.0; 2], size: mm_per_px },
            px: Normal { centre: at, size: 1.0 },
            rms_px: 0.0,
            points: 0,
        })
    }

    /// The same plane seen through a calibrated lens: pixels are straightened first.
    #[must_use]
    pub fn through(self, lens: Option<Lens>) -> Self {
        Self { lens, ..self }
    }

    /// Where a point of the plane (millimetres) appears, in pixels.
    pub fn to_px(&self, mm: [f64; 2]) -> [f64; 2] {
        let px = self.px.from(project(&self.params, self.mm.to(mm)));
        self.lens.map_or(px, |l| l.bend(px))
    }

    /// Which point of the plane (millimetres) appears at a pixel.
    pub fn to_mm(&self, px: [f64; 2]) -> [f64; 2] {
        let d = self.px.to(straight(self.lens.as_ref(), px));
        let k = self.params[8];
        let mut q = d;
        if k != 0.0 {
            for _ in 0..12 {
                let f = 1.0 + k * (q[0] * q[0] + q[1] * q[1]);
                q = [d[0] / f, d[1] / f];
            }
        }
        let v = self.to_plane * Vector3::new(q[0], q[1], 1.0);
        self.mm.from([v[0] / v[2], v[1] / v[2]])
    }

    /// Millimetres per pixel at a pixel: the square root of the area a pixel covers.
    pub fn mm_per_px(&self, px: [f64; 2]) -> f64 {
        let h = 0.5;
        let [x0, x1] = [-h, h].map(|d| self.to_mm([px[0] + d, px[1]]));
        let [y0, y1] = [-h, h].map(|d| self.to_mm([px[0], px[1] + d]));
        let (ux, uy) = (x1[0] - x0[0], x1[1] - x0[1]);
        let (vx, vy) = (y1[0] - y0[0], y1[1] - y0[1]);
        (ux * vy - uy * vx).abs().sqrt()
    }

    /// Relative standard error of [`Field::mm_per_px`] from the errors of the points (delta method).
    pub fn relative_se(&self, px: [f64; 2]) -> f64 {
        if self.covariance.trace() == 0.0 {
            return 0.0;
        }
        let log_scale = |params: Params| {
            let to_plane = matrix(&params).try_inverse().unwrap_or(self.to_plane);
            let moved = Self { params, to_plane, ..self.clone() };
            moved.mm_per_px(px).ln()
        };
        let mut gradient = Params::zeros();
        for i in 0..9 {
            let step = (1e-3 * self.covariance[(i, i)].sqrt()).max(1e-9);
            let [low, high] = [-step, step].map(|s| {
                let mut p = self.params;
                p[i] += s;
                log_scale(p)
            });
            gradient[i] = (high - low) / (2.0 * step);
        }
        (gradient.transpose() * self.covariance * gradient)[0].max(0.0).sqrt()
    }

    /// Distance in pixels between each point of `px` and where the fit puts it.
    pub fn residuals(&self, mm: &[[f64; 2]], px: &[[f64; 2]]) -> Vec<f64> {
        mm.iter().zip(px).map(|(m, p)| distance(self.to_px(*m), *p)).collect()
    }

    /// The radial term: relative displacement at the corner of the frame.
    pub fn radial(&self) -> f64 {
        self.params[8]
    }

    /// Ratio of the smallest to the largest scale over `points` (pixels): 1 straight on.
    pub fn evenness(&self, points: &[[f64; 2]]) -> f64 {
        let scales = points.iter().map(|p| self.mm_per_px(*p));
        let (low, high) = scales.fold((f64::INFINITY, 0.0_f64), |(l, h), s| (l.min(s), h.max(s)));
        low / high
    }
}

fn straight(lens: Option<&Lens>, px: [f64; 2]) -> [f64; 2] {
    lens.map_or(px, |l| l.straighten(px))
}

/// The homography that takes points `from` to points `to` in the least squares sense; both of a size near
/// one.
pub(super) fn plane_of(from: &[[f64; 2]], to: &[[f64; 2]]) -> Option<Matrix3<f64>> {
    linear(from, to).map(|p| matrix(&p))
}

fn matrix(p: &Params) -> Matrix3<f64> {
    Matrix3::new(p[0], p[1], p[2], p[3], p[4], p[5], p[6], p[7], 1.0)
}

fn project(p: &Params, [x, y]: [f64; 2]) -> [f64; 2] {
    let w = p[6] * x + p[7] * y + 1.0;
    let (a, b) = ((p[0] * x + p[1] * y + p[2]) / w, (p[3] * x + p[4] * y + p[5]) / w);
    let f = 1.0 + p[8] * (a * a + b * b);
    [a * f, b * f]
}

/// The homography by the direct linear transform.
fn linear(from: &[[f64; 2]], to: &[[f64; 2]]) -> Option<Params> {
    // Pixels are brought to unit spread as well: the system is then well conditioned.
    let normal = Normal::of(to);
    let mut m = DMatrix::<f64>::zeros(2 * from.len().max(5), 9);
    for (i, (&[x, y], p)) in from.iter().zip(to).enumerate() {
        let [u, v] = normal.to(*p);
        let rows =
            [[x, y, 1.0, 0.0, 0.0, 0.0, -u * x, -u * y, -u], [0.0, 0.0, 0.0, x, y, 1.0, -v * x, -v * y, -v]];
        for (r, row) in rows.iter().enumerate() {
            for (c, value) in row.iter().enumerate() {
                m[(2 * i + r, c)] = *value;
            }
        }
    }
    let svd = (m.transpose() * &m).symmetric_eigen();
    let least = svd.eigenvalues.imin();
    // A second eigenvalue near zero: the points do not determine one plane.
    let mut values: Vec<f64> = svd.eigenvalues.iter().copied().collect();
    values.sort_by(f64::total_cmp);
    if values[1] < 1e-10 * values[8] {
        return None;
    }
    let h = svd.eigenvectors.column(least);
    let h = Matrix3::new(h[0], h[1], h[2], h[3], h[4], h[5], h[6], h[7], h[8]);
    let back =
        Matrix3::new(normal.size, 0.0, normal.centre[0], 0.0, normal.size, normal.centre[1], 0.0, 0.0, 1.0);
    let h = back * h;
    let last = h[(2, 2)];
    if last.abs() < 1e-12 {
        return None;
    }
    let h = h / last;
    Some(Params::from_column_slice(&[
        h[(0, 0)],
        h[(0, 1)],
        h[(0, 2)],
        h[(1, 0)],
        h[(1, 1)],
        h[(1, 2)],
        h[(2, 0)],
        h[(2, 1)],
        0.0,
    ]))
}

/// Damped least squares on the reprojection error, with the prior on the radial term; the parameters and
/// their covariance.
fn refine(
    from: &[[f64; 2]],
    to: &[[f64; 2]],
    start: Params,
    sigma: f64,
    prior: f64,
) -> Option<(Params, Square)> {
    let weight = 1.0 / (sigma * sigma);
    let cost = |p: &Params| {
        let sum: f64 = from.iter().zip(to).map(|(m, t)| distance(project(p, *m), *t).powi(2)).sum();
        sum * weight + (p[8] / prior).powi(2)
    };
    let normal_equations = |p: &Params| {
        let (mut a, mut g) = (Square::zeros(), Params::zeros());
        for (m, t) in from.iter().zip(to) {
            let here = project(p, *m);
            let (jx, jy) = jacobian(p, *m);
            let (rx, ry) = (t[0] - here[0], t[1] - here[1]);
            a += (jx * jx.transpose() + jy * jy.transpose()) * weight;
            g += (jx * rx + jy * ry) * weight;
        }
        a[(8, 8)] += 1.0 / (prior * prior);
        g[8] -= p[8] / (prior * prior);
        (a, g)
    };
    let mut p = start;
    let mut best = cost(&p);
    let mut damping = 1e-3;
    for _ in 0..40 {
        let (a, g) = normal_equations(&p);
        let mut damped = a;
        for i in 0..9 {
            damped[(i, i)] *= 1.0 + damping;
        }
        let step = damped.cholesky()?.solve(&g);
        let next = p + step;
        let value = cost(&next);
        if value <= best {
            let gain = best - value;
            p = next;
            best = value;
            damping = (damping * 0.2).max(1e-12);
            if gain < 1e-9 * (1.0 + best) {
                break;
            }
        } else {
            damping *= 8.0;
            if damping > 1e8 {
                break;
            }
        }
    }
    let (a, _) = normal_equations(&p);
    Some((p, a.cholesky()?.inverse()))
}

/// Derivatives of the projected point with respect to the parameters.
fn jacobian(p: &Params, [x, y]: [f64; 2]) -> (Params, Params) {
    let w = p[6] * x + p[7] * y + 1.0;
    let (a, b) = ((p[0] * x + p[1] * y + p[2]) / w, (p[3] * x + p[4] * y + p[5]) / w);
    let (k, r2) = (p[8], a * a + b * b);
    let f = 1.0 + k * r2;
    // d(a f)/da and so on.
    let (aa, ab, bb) = (f + 2.0 * k * a * a, 2.0 * k * a * b, f + 2.0 * k * b * b);
    let da = [x / w, y / w, 1.0 / w, 0.0, 0.0, 0.0, -a * x / w, -a * y / w];
    let db = [0.0, 0.0, 0.0, x / w, y / w, 1.0 / w, -b * x / w, -b * y / w];
    let (mut jx, mut jy) = (Params::zeros(), Params::zeros());
    for i in 0..8 {
        jx[i] = aa * da[i] + ab * db[i];
        jy[i] = ab * da[i] + bb * db[i];
    }
    jx[8] = a * r2;
    jy[8] = b * r2;
    (jx, jy)
}

#[cfg(test)]
mod tests {
    use super::{Bending, Field, Params, jacobian, project};

    fn grid() -> Vec<[f64; 2]> {
        (0..25).map(|i| [f64::from(i % 5) * 10.0, f64::from(i / 5) * 10.0]).collect()
    }

    #[test]
    fn a_plane_drawn_with_known_parameters_is_found_again() {
        let truth = Params::from_column_slice(&[0.5, 0.06, 0.02, -0.05, 0.45, -0.03, 0.06, -0.04, 0.02]);
        let (mm, frame) = (grid(), (800.0, 600.0));
        let px: Vec<[f64; 2]> = mm
            .iter()
            .map(|p| {
                let q = project(&truth, [(p[0] - 20.0) / 28.0, (p[1] - 20.0) / 28.0]);
                [399.5 + 500.0 * q[0], 299.5 + 500.0 * q[1]]
            })
            .collect();
        let field = Field::fit(&mm, &px, frame, Bending::Unknown).unwrap();
        assert!(field.rms_px < 1e-3, "{}", field.rms_px);
        assert!((field.radial() - 0.02).abs() < 1e-3);
        for p in [[3.0, 4.0], [35.0, 22.0]] {
            let back = field.to_mm(field.to_px(p));
            assert!((back[0] - p[0]).abs() < 1e-6 && (back[1] - p[1]).abs() < 1e-6);
        }
    }

    #[test]
    fn derivatives_agree_with_differences() {
        let p = Params::from_column_slice(&[0.5, 0.06, 0.02, -0.05, 0.45, -0.03, 0.06, -0.04, 0.02]);
        let m = [0.7, -0.4];
        let (jx, jy) = jacobian(&p, m);
        for i in 0..9 {
            let [a, b] = [-1e-6, 1e-6].map(|d| {
                let mut q = p;
                q[i] += d;
                project(&q, m)
            });
            assert!((jx[i] - (b[0] - a[0]) / 2e-6).abs() < 1e-8);
            assert!((jy[i] - (b[1] - a[1]) / 2e-6).abs() < 1e-8);
        }
    }

    #[test]
    fn points_on_a_line_give_no_plane() {
        let mm: Vec<[f64; 2]> = (0..6).map(|i| [f64::from(i), 0.0]).collect();
        let px: Vec<[f64; 2]> = mm.iter().map(|p| [p[0] * 10.0, 5.0]).collect();
        assert!(Field::fit(&mm, &px, (100.0, 100.0), Bending::Unknown).is_none());
    }

    #[test]
    fn a_plane_tilted_along_a_line_changes_along_it_only() {
        let (s, c) = 0.6_f64.sin_cos();
        let field = Field::tilted_along(0.05, [300.0, 200.0], [c, s], 2e-4).unwrap();
        let step = |from: f64, across: f64| {
            let at = |t: f64| [300.0 + t * c - across * s, 200.0 + t * s + across * c];
            let (a, b) = (field.to_mm(at(from - 0.5)), field.to_mm(at(from + 0.5)));
            (b[0] - a[0]).hypot(b[1] - a[1])
        };
        assert!((step(0.0, 0.0) - 0.05).abs() < 1e-6);
        assert!((step(10.0, 0.0) / 0.05 - 1.002).abs() < 1e-5, "{}", step(10.0, 0.0));
        assert!((step(0.0, 50.0) / 0.05 - 1.0).abs() < 1e-4);
    }

    #[test]
    fn an_affine_plane_measures_in_both_directions() {
        let field = Field::affine([[0.1, 0.0], [0.0, 0.2]], (100.0, 100.0)).unwrap();
        let (a, b) = (field.to_mm([10.0, 10.0]), field.to_mm([20.0, 30.0]));
        assert!((b[0] - a[0] - 1.0).abs() < 1e-9 && (b[1] - a[1] - 4.0).abs() < 1e-9);
        assert!((field.mm_per_px([50.0, 50.0]) - 0.02_f64.sqrt()).abs() < 1e-9);
    }
}
