//! Thinning of a mask to lines one pixel wide.

use super::Plane;

/// Whether a pixel may go, by which of its neighbours are set, in each of the two passes.
static DELETABLE: [[bool; 256]; 2] = [deletable_by_code(0), deletable_by_code(1)];

/// Thins `mask` to its skeleton in place, keeping connectivity.
///
/// # References
/// Zhang & Suen 1984, Commun. ACM 27(3):236-239, doi 10.1145/357994.358023.
pub fn thin(mask: &mut Plane<bool>) {
    let (w, h) = (mask.width, mask.height);
    // Within a border every pixel has all its neighbours.
    let stride = w + 2;
    let mut set = vec![false; stride * (h + 2)];
    for (row, out) in mask.data.chunks(w.max(1)).zip(set[stride..].chunks_mut(stride)) {
        out[1..=w].copy_from_slice(row);
    }
    let mut live: Vec<usize> = (0..set.len()).filter(|&i| set[i]).collect();
    let mut gone = Vec::new();
    loop {
        let mut changed = false;
        for deletable in &DELETABLE {
            gone.clear();
            gone.extend(live.iter().copied().filter(|&i| deletable[code(&set, i, stride)]));
            for &i in &gone {
                set[i] = false;
            }
            changed |= !gone.is_empty();
            live.retain(|&i| set[i]);
        }
        if !changed {
            break;
        }
    }
    for (row, thinned) in mask.data.chunks_mut(w.max(1)).zip(set[stride..].chunks(stride)) {
        row.copy_from_slice(&thinned[1..=w]);
    }
}

/// Which neighbours of pixel `i` are set: a bit for each, clockwise from north.
fn code(set: &[bool], i: usize, stride: usize) -> usize {
    let [above, below] = [&set[i - stride - 1..][..3], &set[i + stride - 1..][..3]];
    let around =
        [above[1], above[2], set[i + 1], below[2], below[1], below[0], set[i - 1], above[0]].map(usize::from);
    (0..8).map(|k| around[k] << k).sum()
}

const fn deletable_by_code(pass: usize) -> [bool; 256] {
    let mut table = [false; 256];
    let mut code = 0;
    while code < 256 {
        let count = (code as u8).count_ones();
        // Clockwise round the pixel, how often nothing is followed by something.
        let before = (code as u8).rotate_left(1);
        let rises = (code as u8 & !before).count_ones();
        let [n, e, s, w] = [code & 1 != 0, code & 4 != 0, code & 16 != 0, code & 64 != 0];
        // First pass: not (n e s) and not (e s w); second pass: not (n e w) and not (n s w).
        let open = if pass == 0 { !(e && s && (n || w)) } else { !(n && w && (e || s)) };
        table[code] = 2 <= count && count <= 6 && rises == 1 && open;
        code += 1;
    }
    table
}

/// The eight neighbours clockwise from north.
pub fn neighbours(mask: &Plane<bool>, x: i64, y: i64) -> [bool; 8] {
    [(0, -1), (1, -1), (1, 0), (1, 1), (0, 1), (-1, 1), (-1, 0), (-1, -1)]
        .map(|(dx, dy)| mask.get_or(x + dx, y + dy, false))
}
