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
    let blue = chroma.zip(ground.chroma.as_ref()).map(|([values, _], [bare, _])| Blue { values, bare });
    let share = blue.as_ref().map_or(0.0, |blue| blue_share(ground, luma, blue));
    let mut rows = Rows::new(w);
    let mut ink = Plane::filled(w, h, 0.0f32);
    for y in 0..h {
        rows.read(&ground.luma, luma, blue.as_ref(), y);
        let read = rows.luma.iter().zip(&rows.blue).zip(ground.lit.row(y));
        for (out, ((luma, blue), lit)) in ink.data[y * w..(y + 1) * w].iter_mut().zip(read) {
            *out = if *lit { luma + share * (blue - luma) } else { 0.0 };
        }
    }
    (ground.blue_share, ground.ink) = (share, ink);
}

/// The blue differences of a photograph, at half the search resolution, and of bare background.
struct Blue<'a> {
    values: &'a Plane<f32>,
    bare: &'a Surface,
}

/// Ink of one row of search pixels in luma and in blue; of grey photographs the same twice.
struct Rows {
    luma: Vec<f32>,
    blue: Vec<f32>,
    bare_luma: Vec<f32>,
    bare_blue: Vec<f32>,
}

impl Rows {
    fn new(w: usize) -> Self {
        Self { luma: vec![0.0; w], blue: vec![0.0; w], bare_luma: vec![0.0; w], bare_blue: vec![0.0; w] }
    }

    fn read(&mut self, bare: &Surface, luma: &Plane<f32>, blue: Option<&Blue>, y: usize) {
        bare.row(y, &mut self.bare_luma);
        let seen = luma.row(y).iter().zip(&self.bare_luma);
        for (out, (v, bare)) in self.luma.iter_mut().zip(seen) {
            *out = 1.0 - v / bare.max(1.0);
        }
        let Some(Blue { values, bare }) = blue else {
            self.blue.copy_from_slice(&self.luma);
            return;
        };
        bare.row(y, &mut self.bare_blue);
        let cb = values.row((y / 2).min(values.height - 1));
        let bare = self.bare_luma.chunks(2).zip(self.bare_blue.chunks(2));
        for (((out, luma), (bare_luma, bare_cb)), cb) in
            self.blue.chunks_mut(2).zip(luma.row(y).chunks(2)).zip(bare).zip(cb)
        {
            for (((out, luma), bare_luma), bare_cb) in out.iter_mut().zip(luma).zip(bare_luma).zip(bare_cb) {
                *out = 1.0 - (luma + 1.772 * (cb - 128.0)) / (bare_luma + 1.772 * (bare_cb - 128.0)).max(1.0);
            }
        }
    }
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
fn blue_share(ground: &Ground, luma: &Plane<f32>, blue: &Blue) -> f32 {
    let (w, h) = (luma.width, luma.height);
    let mut rows = Rows::new(w);
    // Mean ink of lit squares, in luma and in blue.
    let mut means = [Vec::new(), Vec::new()];
    for y0 in (0..h).step_by(FAINT_SIDE) {
        let high = FAINT_SIDE.min(h - y0);
        let mut bands = [0, 1].map(|_| Plane::filled(w, high, 0.0f32));
        for y in 0..high {
            rows.read(&ground.luma, luma, Some(blue), y0 + y);
            bands[0].data[y * w..(y + 1) * w].copy_from_slice(&rows.luma);
            bands[1].data[y * w..(y + 1) * w].copy_from_slice(&rows.blue);
        }
        for (means, band) in means.iter_mut().zip(&bands) {
            let band = reduce_f32(band, FAINT_SIDE).data;
            let lit = ground.lit.row(y0).iter().step_by(FAINT_SIDE);
            means.extend(band.into_iter().zip(lit).filter(|(_, lit)| **lit).map(|(v, _)| v));
        }
    }
    let [nl, nb] = means.map(|means| noise_about_zero(means.into_iter()).unwrap_or(0.01).max(LEAST_NOISE));
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

#[cfg(test)]
mod tests {
    use crate::photo::{Chroma, Pixels};
    use crate::segmentation::prepare;

    /// A yellow bar on white, seen in blue alone, at a reduction that is no power of two.
    #[test]
    fn blue_lies_where_it_was_photographed() {
        let (width, height, bar) = (6200_u32, 640_u32, 5000..5060);
        let cb = (0..width / 2 * height / 2)
            .map(|i| if bar.contains(&(2 * (i % (width / 2)))) { 60 } else { 128 });
        let neutral = vec![128; (width / 2 * height / 2) as usize];
        let pixels = Pixels {
            width,
            height,
            luma: vec![200; (width * height) as usize],
            chroma: Some(Chroma { width: width / 2, height: height / 2, cb: cb.collect(), cr: neutral }),
        };
        let ground = prepare(&pixels);
        assert_eq!(ground.factor, 3);
        let row = ground.ink.row(100);
        let most = row.iter().copied().fold(0.0, f32::max);
        let (first, last) =
            (row.iter().position(|v| *v > 0.5 * most), row.iter().rposition(|v| *v > 0.5 * most));
        let (first, last) = (3 * first.unwrap(), 3 * last.unwrap() + 2);
        assert!(first.abs_diff(5000) < 6 && last.abs_diff(5059) < 6, "{first} to {last}");
    }
}
