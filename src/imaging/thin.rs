//! Thinning of a mask to lines one pixel wide.

use super::Plane;

/// Thins `mask` to its skeleton in place, keeping connectivity.
///
/// # References
/// Zhang & Suen 1984, Commun. ACM 27(3):236-239, doi 10.1145/357994.358023.
pub fn thin(mask: &mut Plane<bool>) {
    let (w, h) = (mask.width as i64, mask.height as i64);
    let mut live: Vec<(i64, i64)> =
        (0..h).flat_map(|y| (0..w).map(move |x| (x, y))).filter(|&(x, y)| mask.get_or(x, y, false)).collect();
    loop {
        let mut changed = false;
        for pass in 0..2 {
            let gone: Vec<(i64, i64)> =
                live.iter().copied().filter(|&(x, y)| deletable(mask, x, y, pass)).collect();
            for &(x, y) in &gone {
                mask.set(x as usize, y as usize, false);
            }
            changed |= !gone.is_empty();
            live.retain(|&(x, y)| mask.get_or(x, y, false));
        }
        if !changed {
            return;
        }
    }
}

fn deletable(mask: &Plane<bool>, x: i64, y: i64, pass: usize) -> bool {
    let p = neighbours(mask, x, y);
    let count = p.iter().filter(|v| **v).count();
    let rises = (0..8).filter(|&i| !p[i] && p[(i + 1) % 8]).count();
    let (n, e, s, w) = (p[0], p[2], p[4], p[6]);
    // First pass: not (n e s) and not (e s w); second pass: not (n e w) and not (n s w).
    let open = if pass == 0 { !(e && s && (n || w)) } else { !(n && w && (e || s)) };
    (2..=6).contains(&count) && rises == 1 && open
}

/// The eight neighbours clockwise from north.
pub fn neighbours(mask: &Plane<bool>, x: i64, y: i64) -> [bool; 8] {
    [(0, -1), (1, -1), (1, 0), (1, 1), (0, 1), (-1, 1), (-1, 0), (-1, -1)]
        .map(|(dx, dy)| mask.get_or(x + dx, y + dy, false))
}
