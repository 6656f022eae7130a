//! The printed scale card: where its marks lie, what its symbol says, how it is drawn and how it is read.
//!
//! A card carries a QR symbol (ISO/IEC 18004, version 3) that names the card's geometry and, if wanted,
//! tank and date; a set of solid dots at surveyed places; a 100 mm bar to check the printer with; and a
//! place for the dish. Coordinates are millimetres from the top left corner of the card, x right, y down.

mod dots;
mod drawing;
mod grid;
mod payload;
mod read;
mod sheet;
mod symbol;

pub use drawing::{Drawing, Mark};
pub use payload::{Payload, PayloadError, Symbol};
pub use read::{Card, CardProblem, Found, read};
pub use sheet::{Paper, Sheet, SheetError};

/// Modules along a side of the symbol: version 3.
pub(super) const MODULES: usize = 29;
/// Side of a module, millimetres.
pub(super) const MODULE_MM: f64 = 0.6;
/// Radius of a dot, millimetres.
pub(super) const DOT_MM: f64 = 1.1;
/// Length of the check bar, millimetres.
pub const BAR_MM: f64 = 100.0;

/// A layout of the card. The id is part of the symbol; a layout, once published, never changes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Geometry {
    /// `D90`: a ring of dots round a dish of up to 94 mm outer diameter.
    Dish90,
    /// `D60`: the same for dishes of up to 64 mm.
    Dish60,
    /// `S100`: a strip to lie beside a dish or tray.
    Strip,
}

impl Geometry {
    /// All layouts.
    pub const ALL: [Self; 3] = [Self::Dish90, Self::Dish60, Self::Strip];

    /// The id written in the symbol.
    pub fn id(self) -> &'static str {
        match self {
            Self::Dish90 => "D90",
            Self::Dish60 => "D60",
            Self::Strip => "S100",
        }
    }

    /// The layout with this id.
    pub fn from_id(id: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|g| g.id() == id)
    }

    /// Width and height of the card, millimetres.
    pub fn size(self) -> [f64; 2] {
        match self {
            Self::Dish90 => [110.0, 134.0],
            Self::Dish60 => [88.0, 108.0],
            Self::Strip => [128.0, 26.0],
        }
    }

    /// Top left corner of the symbol's first module, millimetres.
    pub fn symbol_at(self) -> [f64; 2] {
        match self {
            Self::Strip => [4.0, 4.3],
            _ => [5.0, 4.0],
        }
    }

    /// Centre of the place for the dish, and the radius of the ring of dots round it, millimetres.
    pub fn ring(self) -> Option<([f64; 2], f64)> {
        match self {
            Self::Dish90 => Some(([55.0, 77.0], 50.0)),
            Self::Dish60 => Some(([41.0, 65.0], 35.0)),
            Self::Strip => None,
        }
    }

    /// Ends of the check bar's centre line, millimetres: outer edges of its end marks.
    pub fn bar(self) -> [[f64; 2]; 2] {
        match self {
            Self::Dish90 => [[5.0, 131.0], [105.0, 131.0]],
            Self::Dish60 => [[84.0, 4.0], [84.0, 104.0]],
            Self::Strip => [[25.0, 16.5], [125.0, 16.5]],
        }
    }

    /// Centres of the dots, millimetres.
    pub fn dots(self) -> Vec<[f64; 2]> {
        let mut dots = Vec::new();
        if let Some((centre, radius)) = self.ring() {
            let count = if self == Self::Dish90 { 40 } else { 28 };
            for i in 0..count {
                let a = std::f64::consts::TAU * f64::from(i) / f64::from(count);
                dots.push([centre[0] + radius * a.cos(), centre[1] + radius * a.sin()]);
            }
            let reach = radius - 1.0;
            for (sx, sy) in [(-1.0, -1.0), (1.0, -1.0), (-1.0, 1.0), (1.0, 1.0)] {
                let (x, y) = (centre[0] + sx * reach, centre[1] + sy * reach);
                dots.extend([[x, y], [x - sx * 7.0, y], [x, y - sy * 7.0]]);
            }
        } else {
            for i in 0..11 {
                let x = 25.0 + 10.0 * f64::from(i);
                dots.extend([[x, 4.0], [x, 22.0]]);
            }
        }
        dots
    }

    /// Centres of the symbol's three finder patterns (top left, top right, bottom left), millimetres.
    pub(super) fn finders(self) -> [[f64; 2]; 3] {
        let [x, y] = self.symbol_at();
        let (near, far) = (3.5 * MODULE_MM, (MODULES as f64 - 3.5) * MODULE_MM);
        [[x + near, y + near], [x + far, y + near], [x + near, y + far]]
    }
}

#[cfg(test)]
mod tests {
    use super::{DOT_MM, Geometry, MODULE_MM, MODULES};

    #[test]
    fn marks_lie_on_the_card_and_clear_of_each_other() {
        for g in Geometry::ALL {
            let [w, h] = g.size();
            let dots = g.dots();
            let [sx, sy] = g.symbol_at();
            let side = MODULES as f64 * MODULE_MM;
            let quiet = 4.0 * MODULE_MM;
            for (i, d) in dots.iter().enumerate() {
                assert!(d[0] > 2.0 && d[0] < w - 2.0 && d[1] > 2.0 && d[1] < h - 2.0, "{g:?} {d:?}");
                for e in &dots[..i] {
                    assert!((d[0] - e[0]).hypot(d[1] - e[1]) > 4.0 * DOT_MM, "{g:?} {d:?} {e:?}");
                }
                let clear = d[0] + DOT_MM < sx - quiet
                    || d[0] - DOT_MM > sx + side + quiet
                    || d[1] - DOT_MM > sy + side + quiet;
                assert!(clear, "{g:?}: dot {d:?} in the quiet zone");
                let [a, b] = g.bar();
                let (bx, by) = (d[0].clamp(a[0], b[0]), d[1].clamp(a[1], b[1]));
                assert!((d[0] - bx).hypot(d[1] - by) > DOT_MM + 1.6, "{g:?}: dot {d:?} on the bar");
            }
            let [a, b] = g.bar();
            assert!(((b[0] - a[0]).hypot(b[1] - a[1]) - super::BAR_MM).abs() < 1e-9);
            assert_eq!(Geometry::from_id(g.id()), Some(g));
        }
    }
}
