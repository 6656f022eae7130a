//! What is true of the fish of a scene, as its photograph shows them.

use super::TrueFish;
use super::anatomy::Bladder;
use super::body::{Body, Light};
use super::layout::Placed;
use super::scene::Scene;
use super::stage::Stage;
use super::tilt::Tilt;
use crate::records::View;

impl Scene {
    /// The truth of every placed fish, in the order they were asked for.
    pub(super) fn truth(
        &self,
        placed: &[Placed],
        stage: &Stage,
        tilt: &Tilt,
        width: f64,
        height: f64,
    ) -> Vec<TrueFish> {
        let outlines: Vec<Vec<([f64; 2], f64)>> = placed.iter().map(|p| outline(p, &stage.light)).collect();
        let mut fish: Vec<(usize, TrueFish)> = placed
            .iter()
            .enumerate()
            .map(|(i, p)| {
                let midline: Vec<[f64; 2]> = p.pose.midline.iter().map(|q| tilt.forward(*q)).collect();
                let length_px =
                    midline.windows(2).map(|w| (w[1][0] - w[0][0]).hypot(w[1][1] - w[0][1])).sum();
                let view = view(p.pose.roll);
                let body = Body { anatomy: &p.guest.anatomy, pose: &p.pose, light: &stage.light };
                let depth = (0..=100)
                    .map(|k| {
                        let s = f64::from(k) / 100.0;
                        body.half_seen(s, true) + body.half_seen(s, false)
                    })
                    .fold(0.0, f64::max);
                let gas = match &p.guest.anatomy.bladder {
                    Bladder::Gas { shape, .. } => Some(shape),
                    _ => None,
                };
                let inside =
                    |q: &[f64; 2]| q[0] >= 0.0 && q[1] >= 0.0 && q[0] <= width - 1.0 && q[1] <= height - 1.0;
                let touching = (0..placed.len()).any(|j| j != i && touch(&outlines[i], &outlines[j]));
                let cut = !midline.iter().all(inside);
                (
                    p.guest.index,
                    TrueFish {
                        total_length_mm: self.fry[p.guest.index].length_mm,
                        total_length_px: length_px,
                        depth_px: depth * p.pose.length,
                        inflated: gas.is_some(),
                        bladder_position: gas.map(|g| g.at),
                        bladder_length: gas.map(|g| 2.0 * g.a),
                        view,
                        back_left: (view != View::Top).then_some(p.pose.back_left),
                        touching,
                        cut,
                        vessel: p.vessel.map(|v| v as u32 + 1),
                        midline,
                    },
                )
            })
            .collect();
        fish.sort_by_key(|f| f.0);
        fish.into_iter().map(|f| f.1).collect()
    }
}

/// The word for a roll about the long axis.
fn view(roll: f64) -> View {
    let turn = roll.sin().abs();
    if turn < 0.4 {
        View::Side
    } else if turn > 0.92 {
        View::Top
    } else {
        View::Oblique
    }
}

/// Points along a larva with its half extent there, pixels.
fn outline(p: &Placed, light: &Light) -> Vec<([f64; 2], f64)> {
    let body = Body { anatomy: &p.guest.anatomy, pose: &p.pose, light };
    (0..=80)
        .map(|k| {
            let s = f64::from(k) / 80.0;
            let half = 0.5 * (body.half_seen(s, true) + body.half_seen(s, false));
            (p.pose.point(s), half * p.pose.length + 0.5)
        })
        .collect()
}

fn touch(a: &[([f64; 2], f64)], b: &[([f64; 2], f64)]) -> bool {
    a.iter().any(|(p, r)| b.iter().any(|(q, t)| (p[0] - q[0]).hypot(p[1] - q[1]) < r + t + 1.5))
}
