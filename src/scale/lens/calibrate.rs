//! A camera from the corners of a flat board in several photographs.
//!
//! Homographies of the views give a first focal length, the optical axis taken through the middle of the
//! frame; then focal lengths, axis, two radial and two tangential terms and the pose of every view are
//! refined together by damped least squares on the distances between corners seen and predicted.

use super::Lens;
use crate::scale::field::plane_of;
use nalgebra::{DMatrix, DVector, Matrix2, Matrix3, Rotation3, SMatrix, Vector2, Vector3};

/// Corners of the board in one photograph.
#[derive(Debug, Clone)]
pub struct View {
    /// Corners on the board, millimetres.
    pub mm: Vec<[f64; 2]>,
    /// The same corners in the photograph, pixels.
    pub px: Vec<[f64; 2]>,
}

/// A calibrated camera.
#[derive(Debug, Clone)]
pub struct Calibration {
    /// The lens; its third radial term is zero.
    pub lens: Lens,
    /// Standard errors, in the order of [`Calibration::NAMES`].
    pub se: [f64; 8],
    /// Root mean square distance of corners from where the fit puts them, pixels.
    pub rms_px: f64,
    /// The same for each photograph.
    pub view_rms_px: Vec<f64>,
    /// How far from the centre of the frame corners were seen, as a share of the half-diagonal.
    pub reach: f64,
}

impl Calibration {
    /// Names of the parameters fitted.
    pub const NAMES: [&str; 8] = ["fx", "fy", "cx", "cy", "k1", "k2", "p1", "p2"];
}

/// Why photographs give no calibration.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum CalibrationError {
    /// Fewer photographs than a calibration needs.
    #[error("{0} photographs show the whole board: {LEAST_VIEWS} are needed")]
    Few(usize),
    /// The views do not determine the focal length: the board was never tilted.
    #[error("the focal length cannot be told: the board lies square to the camera in all photographs")]
    Square,
    /// The corners fit no camera; root mean square distance in pixels.
    #[error("the corners fit no camera: they are off by {0:.1} px")]
    NoFit(f64),
}

/// Fewest photographs a camera is calibrated from: three suffice for the equations, more show errors.
pub const LEAST_VIEWS: usize = 5;
/// Largest root mean square distance accepted, in thousandths of the half-diagonal: some 2 px of 12 MP.
const FITS: f64 = 0.8;
/// Largest relative standard error of the focal length accepted.
const FOCAL_SE: f64 = 0.02;
/// Tilt that at least one view must show, radians: 8 degrees.
const LEAST_TILT: f64 = 0.14;
const INNER: usize = 8;

/// Calibrates a camera from views of a flat board in frames of `frame` = (width, height) pixels.
///
/// # Errors
/// [`CalibrationError`].
///
/// # References
/// Zhang 2000, A flexible new technique for camera calibration, IEEE Transactions on Pattern Analysis and
/// Machine Intelligence 22, 1330-1334, doi:10.1109/34.888718: sections 3.1 (closed form, here with the axis
/// through the middle and no skew), 3.2 and 3.3 (refinement with the lens).
pub fn calibrate(views: &[View], frame: (f64, f64)) -> Result<Calibration, CalibrationError> {
    if views.len() < LEAST_VIEWS {
        return Err(CalibrationError::Few(views.len()));
    }
    // All is done in half-diagonals about the middle of the frame: numbers near one.
    let middle = [(frame.0 - 1.0) / 2.0, (frame.1 - 1.0) / 2.0];
    let size = frame.0.hypot(frame.1) / 2.0;
    let largest = views
        .iter()
        .flat_map(|v| &v.mm)
        .map(|p| p[0].abs().max(p[1].abs()))
        .fold(f64::MIN_POSITIVE, f64::max);
    let views: Vec<View> = views
        .iter()
        .map(|v| View {
            mm: v.mm.iter().map(|p| p.map(|x| x / largest)).collect(),
            px: v.px.iter().map(|p| [0, 1].map(|i| (p[i] - middle[i]) / size)).collect(),
        })
        .collect();
    let planes: Vec<Matrix3<f64>> = views
        .iter()
        .map(|v| plane_of(&v.mm, &v.px))
        .collect::<Option<_>>()
        .ok_or(CalibrationError::Square)?;
    let count: usize = views.iter().map(|v| v.mm.len()).sum();
    // Views near square give no first focal length, or a wrong one: then from short and long ones.
    let mut best: Option<(DVector<f64>, DMatrix<f64>, f64)> = None;
    for focal in first_focal(&planes).into_iter().chain([[1.5; 2], [5.0; 2]]) {
        if best.as_ref().is_some_and(|b| (b.2 / count as f64).sqrt() <= FITS * 1e-3) {
            break;
        }
        let fitted = start(&planes, focal).and_then(|p| refine(&views, p));
        if let Some(fitted) = fitted.filter(|f| best.as_ref().is_none_or(|b| f.2 < b.2)) {
            best = Some(fitted);
        }
    }
    let (p, covariance, sum) = best.ok_or(CalibrationError::Square)?;
    // Poses near square leave the focal length open, whatever else the fit found.
    let tilts = (0..views.len()).map(|i| turned(&pose(&p, i)).matrix()[(2, 2)].abs().min(1.0).acos());
    if tilts.fold(0.0, f64::max) < LEAST_TILT {
        return Err(CalibrationError::Square);
    }
    let rms = (sum / count as f64).sqrt();
    if rms > FITS * 1e-3 {
        return Err(CalibrationError::NoFit(rms * size));
    }
    let mut se = [0.0; INNER];
    let free = (2 * count - p.len()) as f64;
    for (i, s) in se.iter_mut().enumerate() {
        *s = (covariance[(i, i)] * sum / free).max(0.0).sqrt() * if i < 4 { size } else { 1.0 };
    }
    if se[0] > FOCAL_SE * p[0] * size {
        return Err(CalibrationError::Square);
    }
    let view_rms_px = views
        .iter()
        .enumerate()
        .map(|(i, v)| size * (squares(v, &inner(&p), &pose(&p, i)) / v.mm.len() as f64).sqrt())
        .collect();
    let reach = views.iter().flat_map(|v| &v.px).map(|q| q[0].hypot(q[1])).fold(0.0, f64::max);
    let lens = Lens {
        focal: [p[0] * size, p[1] * size],
        centre: [p[2] * size + middle[0], p[3] * size + middle[1]],
        radial: [p[4], p[5], 0.0],
        tangential: [p[6], p[7]],
    };
    Ok(Calibration { lens, se, rms_px: rms * size, view_rms_px, reach })
}

/// Camera and poses to begin with, for a focal length.
fn start(planes: &[Matrix3<f64>], focal: [f64; 2]) -> Option<DVector<f64>> {
    let mut p = DVector::zeros(INNER + 6 * planes.len());
    p[0] = focal[0];
    p[1] = focal[1];
    for (i, h) in planes.iter().enumerate() {
        p.rows_mut(INNER + 6 * i, 6).copy_from_slice(&first_pose(h, focal)?);
    }
    Some(p)
}

/// Focal lengths from the views' homographies: the two directions of a board are at right angles and
/// equally long (Zhang 2000, equations 3 and 4), linear in the inverse squares.
fn first_focal(planes: &[Matrix3<f64>]) -> Option<[f64; 2]> {
    let (mut a, mut b) = (Matrix2::zeros(), Vector2::zeros());
    for h in planes {
        let h = h / h.norm();
        let (u, v) = (h.column(0), h.column(1));
        let (s, d) = (u + v, u - v);
        // Right angles between the sides, and between the diagonals, which says that the sides are equal.
        for (m, n) in [(u, v), (s.column(0), d.column(0))].map(|(m, n)| (m.into_owned(), n.into_owned())) {
            let row = Vector2::new(m[0] * n[0], m[1] * n[1]);
            a += row * row.transpose();
            b -= row * m[2] * n[2];
        }
    }
    let x = a.try_inverse()? * b;
    if x[0] > 0.0 && x[1] > 0.0 {
        return Some([x[0].powf(-0.5), x[1].powf(-0.5)]);
    }
    // Nearly square views: one focal length for both directions is told apart where two are not.
    let (num, den) = (b[0] + b[1], a.sum());
    (num > 0.0 && den > 0.0).then(|| [(den / num).sqrt(); 2])
}

/// Turn (axis times angle) and place of a board from its homography.
fn first_pose(h: &Matrix3<f64>, focal: [f64; 2]) -> Option<[f64; 6]> {
    let inverse = Matrix3::from_diagonal(&Vector3::new(1.0 / focal[0], 1.0 / focal[1], 1.0));
    let m = inverse * h;
    let scale = 2.0 / (m.column(0).norm() + m.column(1).norm());
    // The board lies in front of the camera.
    let m = m * if m[(2, 2)] < 0.0 { -scale } else { scale };
    let (u, v) = (m.column(0).into_owned(), m.column(1).into_owned());
    let rough = Matrix3::from_columns(&[u, v, u.cross(&v)]);
    let svd = rough.svd(true, true);
    let turn = Rotation3::from_matrix_unchecked(svd.u? * svd.v_t?).scaled_axis();
    let t = m.column(2);
    Some([turn[0], turn[1], turn[2], t[0], t[1], t[2]])
}

type Inner = [f64; INNER];
type Pose = [f64; 6];

fn inner(p: &DVector<f64>) -> Inner {
    std::array::from_fn(|i| p[i])
}

fn pose(p: &DVector<f64>, view: usize) -> Pose {
    std::array::from_fn(|i| p[INNER + 6 * view + i])
}

/// Where a camera with `inner` puts a point of a board in `pose`.
fn project(c: &Inner, lens: &Lens, rotation: &Rotation3<f64>, pose: &Pose, mm: [f64; 2]) -> [f64; 2] {
    let q = rotation * Vector3::new(mm[0], mm[1], 0.0) + Vector3::new(pose[3], pose[4], pose[5]);
    let z = q[2].max(1e-9);
    lens.bend([c[0] * q[0] / z + c[2], c[1] * q[1] / z + c[3]])
}

fn lens_of(c: &Inner) -> Lens {
    Lens { focal: [c[0], c[1]], centre: [c[2], c[3]], radial: [c[4], c[5], 0.0], tangential: [c[6], c[7]] }
}

fn turned(pose: &Pose) -> Rotation3<f64> {
    Rotation3::new(Vector3::new(pose[0], pose[1], pose[2]))
}

/// Sum of squared distances in one view.
fn squares(view: &View, c: &Inner, pose: &Pose) -> f64 {
    let (lens, rotation) = (lens_of(c), turned(pose));
    let off = |(m, q): (&[f64; 2], &[f64; 2])| {
        let here = project(c, &lens, &rotation, pose, *m);
        (here[0] - q[0]).powi(2) + (here[1] - q[1]).powi(2)
    };
    view.mm.iter().zip(&view.px).map(off).sum()
}

/// Damped least squares over camera and poses; parameters, inverse of the normal matrix, sum of squares.
fn refine(views: &[View], start: DVector<f64>) -> Option<(DVector<f64>, DMatrix<f64>, f64)> {
    let cost = |p: &DVector<f64>| -> f64 {
        views.iter().enumerate().map(|(i, v)| squares(v, &inner(p), &pose(p, i))).sum()
    };
    let mut p = start;
    let mut best = cost(&p);
    let mut damping = 1e-3;
    for _ in 0..200 {
        let (a, g) = normal_equations(views, &p);
        let mut damped = a;
        for i in 0..p.len() {
            damped[(i, i)] *= 1.0 + damping;
        }
        let Some(solved) = damped.cholesky() else {
            damping *= 10.0;
            if damping > 1e8 {
                return None;
            }
            continue;
        };
        let next = &p + solved.solve(&g);
        let value = cost(&next);
        if value.is_finite() && value <= best {
            let gain = best - value;
            p = next;
            best = value;
            damping = (damping * 0.1).max(1e-12);
            if gain <= 1e-12 * best {
                break;
            }
        } else {
            damping *= 10.0;
            if damping > 1e8 {
                break;
            }
        }
    }
    let (a, _) = normal_equations(views, &p);
    let inverse = a.cholesky()?.inverse();
    (best.is_finite() && p.iter().all(|v| v.is_finite())).then_some((p, inverse, best))
}

/// The camera and one view's pose with one of their numbers moved by a step.
type Moved = (Inner, Lens, Pose, Rotation3<f64>);

fn normal_equations(views: &[View], p: &DVector<f64>) -> (DMatrix<f64>, DVector<f64>) {
    const LOCAL: usize = INNER + 6;
    let mut a = DMatrix::zeros(p.len(), p.len());
    let mut g = DVector::zeros(p.len());
    for (i, view) in views.iter().enumerate() {
        let (c, pose) = (inner(p), pose(p, i));
        // A corner depends on the camera and on its own view's pose only; derivatives by central differences.
        let moved: Vec<[Moved; 2]> = (0..LOCAL)
            .map(|k| {
                [-STEP, STEP].map(|step| {
                    let (mut c, mut pose) = (c, pose);
                    if k < INNER {
                        c[k] += step;
                    } else {
                        pose[k - INNER] += step;
                    }
                    (c, lens_of(&c), pose, turned(&pose))
                })
            })
            .collect();
        let (lens, rotation) = (lens_of(&c), turned(&pose));
        let mut block = SMatrix::<f64, LOCAL, LOCAL>::zeros();
        let mut side = SMatrix::<f64, LOCAL, 1>::zeros();
        for (m, q) in view.mm.iter().zip(&view.px) {
            let here = project(&c, &lens, &rotation, &pose, *m);
            let (mut jx, mut jy) = (SMatrix::<f64, LOCAL, 1>::zeros(), SMatrix::<f64, LOCAL, 1>::zeros());
            for (k, pair) in moved.iter().enumerate() {
                let [low, high] = [0, 1].map(|w| project(&pair[w].0, &pair[w].1, &pair[w].3, &pair[w].2, *m));
                jx[k] = (high[0] - low[0]) / (2.0 * STEP);
                jy[k] = (high[1] - low[1]) / (2.0 * STEP);
            }
            block += jx * jx.transpose() + jy * jy.transpose();
            side += jx * (q[0] - here[0]) + jy * (q[1] - here[1]);
        }
        let place = |k: usize| if k < INNER { k } else { INNER + 6 * i + k - INNER };
        for k in 0..LOCAL {
            g[place(k)] += side[k];
            for l in 0..LOCAL {
                a[(place(k), place(l))] += block[(k, l)];
            }
        }
    }
    (a, g)
}

/// Step of the differences; all parameters are near one.
const STEP: f64 = 1e-5;
