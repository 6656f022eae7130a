//! EXIF orientation: the eight ways a camera may have been held.

use super::{Chroma, Pixels};

/// Turns and mirrors `pixels` so that the picture is upright; `orientation` is the EXIF value 1-8 (others
/// leave it as it is).
///
/// # References
/// CIPA DC-008 (Exif 2.32), tag 0x0112.
pub fn upright(pixels: Pixels, orientation: u16) -> Pixels {
    if !(2..=8).contains(&orientation) {
        return pixels;
    }
    let Pixels { width, height, luma, chroma } = pixels;
    let luma = turn(&luma, width as usize, height as usize, orientation);
    // With an odd side the colour cells shift by one pixel when mirrored: under half a colour cell.
    let chroma = chroma.map(|c| {
        let (w, h) = (c.width as usize, c.height as usize);
        let (width, height) = swapped(c.width, c.height, orientation);
        Chroma { width, height, cb: turn(&c.cb, w, h, orientation), cr: turn(&c.cr, w, h, orientation) }
    });
    let (width, height) = swapped(width, height, orientation);
    Pixels { width, height, luma, chroma }
}

/// Side of the blocks a turned picture is copied in: both the rows read and those written stay in cache.
const BLOCK: usize = 64;

/// Width and height with rows and columns exchanged where `orientation` exchanges them; its own inverse.
pub fn swapped(width: u32, height: u32, orientation: u16) -> (u32, u32) {
    if (5..=8).contains(&orientation) { (height, width) } else { (width, height) }
}

/// Whether columns of the frame as the sensor gives it are counted from the right, and rows from below.
pub fn mirrored(orientation: u16) -> [bool; 2] {
    [matches!(orientation, 2 | 3 | 7 | 8), matches!(orientation, 3 | 4 | 6 | 7)]
}

fn turn(plane: &[u8], w: usize, h: usize, orientation: u16) -> Vec<u8> {
    match orientation {
        2 => plane.chunks_exact(w).flat_map(|row| row.iter().rev().copied()).collect(),
        3 => plane.iter().rev().copied().collect(),
        4 => plane.chunks_exact(w).rev().flatten().copied().collect(),
        _ => {
            // Output row y, column x comes from input column y, row x, each perhaps counted from the far end.
            let [from_right, from_bottom] = mirrored(orientation);
            let mut out = vec![0; w * h];
            for y0 in (0..w).step_by(BLOCK) {
                for x0 in (0..h).step_by(BLOCK) {
                    for y in y0..(y0 + BLOCK).min(w) {
                        let column = if from_right { w - 1 - y } else { y };
                        for x in x0..(x0 + BLOCK).min(h) {
                            let row = if from_bottom { h - 1 - x } else { x };
                            out[y * h + x] = plane[row * w + column];
                        }
                    }
                }
            }
            out
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The letter F, upright, three wide and five high.
    const F: [&str; 5] = ["###", "#..", "##.", "#..", "#.."];

    fn stored(rows: &[&str]) -> Pixels {
        let luma: Vec<u8> = rows.iter().flat_map(|r| r.bytes()).collect();
        Pixels { width: rows[0].len() as u32, height: rows.len() as u32, luma, chroma: None }
    }

    fn shown(p: &Pixels) -> Vec<String> {
        p.luma.chunks(p.width as usize).map(|r| String::from_utf8_lossy(r).into_owned()).collect()
    }

    /// The eight stored letters are those drawn in the Exif specification for each value.
    #[test]
    fn every_orientation_comes_out_upright() {
        let stored_as: [&[&str]; 8] = [
            &["###", "#..", "##.", "#..", "#.."],
            &["###", "..#", ".##", "..#", "..#"],
            &["..#", "..#", ".##", "..#", "###"],
            &["#..", "#..", "##.", "#..", "###"],
            &["#####", "#.#..", "#...."],
            &["#....", "#.#..", "#####"],
            &["....#", "..#.#", "#####"],
            &["#####", "..#.#", "....#"],
        ];
        for (i, rows) in stored_as.iter().enumerate() {
            assert_eq!(shown(&upright(stored(rows), i as u16 + 1)), F, "orientation {}", i + 1);
        }
    }
}
