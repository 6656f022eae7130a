//! The ink of every search pixel and its noise: how far it departs from bare background in the direction fish depart.

use super::background::{Surface, block_statistic, neighbourhood_quantile};
use super::ground::Ground;
use crate::imaging::{
    Plane,
    plane::{noise_about_zero, quantile},
    reduce::reduce_f32,
};

/// Ink on a bright background: the share of the light that is taken, blue weighed in.
pub(super) fn on_bright(ground: &mut Ground, luma: &Plane<f32>, chroma: Option<&[Plane<f32>; 2]>) {
    let (w, h) = (luma.width, luma.height);
    let mut luma_line = vec![0.0; w];
    let mut luma_ink = Plane::filled(w, h, 0.0f32);
    let mut blue_ink = chroma.map(|_| Plane::filled(w, h, 0.0f32));
    let mut cb_line = vec![0.0; w];
    let mut spread = vec![0.0; w];
    for y in 0..h {
        ground.luma.row(y, &mut luma_line);
        if let (Some([cb, _]), Some([cb_ground, _]), Some(out)) = (chroma, &ground.chroma, &mut blue_ink) {
            cb_ground.row(y, &mut cb_line);
            let (sx, sy) = (luma.width.div_ceil(cb.width), luma.height.div_ceil(cb.height));
            let row = cb.row((y / sy).min(cb.height - 1));
            for (piece, cb) in spread.chunks_mut(sx).zip(row) {
                piece.fill(cb - 128.0);
            }
            let out = &mut out.data[y * w..(y + 1) * w];
            let bare = luma_line.iter().zip(&cb_line);
            for (((o, v), cb), (luma, cb_bare)) in out.iter_mut().zip(luma.row(y)).zip(&spread).zip(bare) {
                *o = 1.0 - (v + 1.772 * cb) / (luma + 1.772 * (cb_bare - 128.0)).max(1.0);
            }
        }
        let out = &mut luma_ink.data[y * w..(y + 1) * w];
        for ((o, v), bare) in out.iter_mut().zip(luma.row(y)).zip(&luma_line) {
            *o = 1.0 - v / bare.max(1.0);
        }
    }
    if let Some(blue) = blue_ink {
        ground.blue_share = blue_share(&luma_ink, &blue, &ground.lit);
        for (l, b) in luma_ink.data.iter_mut().zip(&blue.data) {
            *l += ground.blue_share * (b - *l);
        }
    }
    for (ink, lit) in luma_ink.data.iter_mut().zip(&ground.lit.data) {
        if !lit {
            *ink = 0.0;
        }
    }
    ground.ink = luma_ink;
}

/// Side of the squares, search pixels, over which the noise of luma and blue is judged: what is faint is found and
/// measured by its area, and the colour of compressed photographs is wrong by whole blocks, which no average over
/// neighbours mends.
const FAINT_SIDE: usize = 6;
/// What compression leaves wrong in the blue of a whole block, as a share of white: a chroma step of 14 levels
/// (ITU-T T.81 table K.2 at quality 60, scaled as is common) over eight, in blue, over the square root of twelve.
const COARSE_BLUE: f32 = 0.0035;
/// Least noise of such squares.
const LEAST_NOISE: f32 = 0.0005;

/// The share of blue that serves best: bodies absorb about twice as much blue as luma, so channels are
/// weighted as for a signal of 1 in luma and 2 in blue over their own noise (the matched combination of two
/// measurements with independent noise).
fn blue_share(luma: &Plane<f32>, blue: &Plane<f32>, lit: &Plane<bool>) -> f32 {
    let inside = |p: &Plane<f32>| {
        let means = reduce_f32(p, FAINT_SIDE);
        let at = |i: usize| (i % means.width * FAINT_SIDE, i / means.width * FAINT_SIDE);
        let lit = (0..means.data.len()).filter(|i| lit.at(at(*i).0, at(*i).1));
        noise_about_zero(lit.map(|i| means.data[i])).unwrap_or(0.01).max(LEAST_NOISE)
    };
    let (nl, nb) = (inside(luma), inside(blue));
    let (wl, wb) = (1.0 / (nl * nl), 1.0 / (nb * nb + COARSE_BLUE * COARSE_BLUE));
    wb / (wl + wb)
}

/// Ink on a dark background: the light that is added, in units of the brightest tissue.
pub(super) fn on_dark(ground: &mut Ground, luma: &Plane<f32>) {
    let (w, h) = (luma.width, luma.height);
    let mut line = vec![0.0; w];
    let mut ink = Plane::filled(w, h, 0.0f32);
    for y in 0..h {
        ground.luma.row(y, &mut line);
        for x in 0..w {
            if ground.lit.at(x, y) {
                ink.set(x, y, luma.at(x, y) - line[x]);
            }
        }
    }
    let mut above: Vec<f32> = ink.data.iter().step_by(3).copied().filter(|v| *v > 0.0).collect();
    let noise = quantile(&mut above.clone(), 0.5).unwrap_or(1.0);
    above.retain(|v| *v > 8.0 * noise);
    ground.white = quantile(&mut above, 0.75).unwrap_or(100.0).max(10.0);
    for v in &mut ink.data {
        *v /= ground.white;
    }
    ground.ink = ink;
}

/// Standard deviation of the ink on bare background, by block: medians over neighbours, so that fish do not
/// count as noise.
pub(super) fn noise_surface(ink: &Plane<f32>, block: usize) -> Surface {
    let own = block_statistic(ink, block, |values| {
        let middle = quantile(values, 0.5).unwrap_or(0.0);
        values.iter_mut().for_each(|v| *v = (*v - middle).abs());
        1.4826 * quantile(values, 0.4).unwrap_or(0.0) * 1.286
    });
    let lit =
        Plane { width: own.width, height: own.height, data: own.data.iter().map(|v| *v > 0.0).collect() };
    let fallback =
        quantile(&mut own.data.iter().copied().filter(|v| *v > 0.0).collect::<Vec<_>>(), 0.5).unwrap_or(0.01);
    let blocks = neighbourhood_quantile(&own, &lit, 5, 0.4, fallback);
    Surface { blocks: blocks.map(|v| v.max(0.001)), block }
}
