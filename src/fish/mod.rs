//! A region and a scale to a measured fish: midline, length, depth, head and back, view, the
//! straightened strip and the flags that say what the fish can be used for.

mod borders;
mod bubbles;
mod crop;
mod ends;
mod exposure;
mod followed;
mod fragments;
mod glints;
mod heads;
mod judge;
pub mod likeness;
mod measure;
mod midline;
mod onward;
mod parting;
mod profile;
mod ribbon;
mod separate;
mod shadows;
mod shape;
mod straight;
mod strands;
pub mod strip;
mod tails;

pub use fragments::measure_all;
pub use judge::Evidence;
pub use measure::{Outcome, measure};

use crate::photo::Pixels;
use crate::records::View;
use crate::segmentation::Ground;
use crate::units::Px;
use ndarray::Array3;

/// Strip pixels to one total length.
pub const STRIP_PER_LENGTH: usize = 320;
/// Columns before the snout and behind the tail.
pub const STRIP_MARGIN: usize = 16;
/// Width of a strip in pixels.
pub const STRIP_WIDTH: usize = STRIP_PER_LENGTH + 2 * STRIP_MARGIN;
/// Height of a strip in pixels; the midline runs through its middle row.
pub const STRIP_HEIGHT: usize = 112;

/// A fish resampled along its midline: head left, back up (where the back is known), one scale both ways.
#[derive(Debug, Clone)]
pub struct Strip {
    /// Axes: channel (red, green, blue), row (from the back down), column (from the snout to the tail).
    /// Values are divided by the bare background beside the fish: 1 is bare background, 0 is black.
    pub values: Array3<f32>,
    /// Photograph pixels to one strip pixel: above 1 the strip shows less than the photograph did.
    pub pixels_per_strip_pixel: f32,
    /// Standard deviation of the background's noise in the same units as `values`.
    pub noise: f32,
}

/// Why a fish does not count, or what else to know about it. [`Flag::name`] is the word in `fish.csv`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Flag {
    /// Cut by the edge of the photograph.
    CutByFrame,
    /// Touches or crosses another fish; the evidence did not separate them.
    Overlap,
    /// Touched another fish and was separated.
    Separated,
    /// Touches the wall of its vessel.
    AtWall,
    /// Bent so much that the midline is not to be trusted.
    Coiled,
    /// The end of the tail fin is too faint to see.
    TailFaint,
    /// Which end is the head is not certain.
    HeadUncertain,
    /// Seen obliquely.
    Oblique,
    /// The background behind it is clipped white.
    Clipped,
    /// Much of its trunk is clipped white: a bladder in it would not show.
    TrunkClipped,
    /// The bladder is longer than a fifth of the fish.
    OverInflated,
}

impl Flag {
    /// Every flag.
    pub const ALL: [Self; 11] = [
        Self::CutByFrame,
        Self::Overlap,
        Self::Separated,
        Self::AtWall,
        Self::Coiled,
        Self::TailFaint,
        Self::HeadUncertain,
        Self::Oblique,
        Self::Clipped,
        Self::TrunkClipped,
        Self::OverInflated,
    ];

    /// Whether the length of a fish so flagged does not count. That of one whose tail is faint does where its end is seen.
    pub fn spoils_length(self) -> bool {
        use Flag::{AtWall, Clipped, Coiled, CutByFrame, HeadUncertain, Overlap};
        matches!(self, CutByFrame | Overlap | Coiled | AtWall | Clipped | HeadUncertain)
    }

    /// Whether the call of a fish so flagged does not count.
    pub fn spoils_call(self) -> bool {
        matches!(self, Self::Overlap | Self::Coiled | Self::TrunkClipped)
    }

    /// The word in the `flags` column.
    pub fn name(self) -> &'static str {
        match self {
            Self::CutByFrame => "cut_by_frame",
            Self::Overlap => "overlap",
            Self::Separated => "separated",
            Self::AtWall => "at_wall",
            Self::Coiled => "coiled",
            Self::TailFaint => "tail_faint",
            Self::HeadUncertain => "head_uncertain",
            Self::Oblique => "oblique",
            Self::Clipped => "clipped",
            Self::TrunkClipped => "trunk_clipped",
            Self::OverInflated => "over_inflated",
        }
    }
}

/// A measured fish.
#[derive(Debug, Clone)]
pub struct Fish {
    /// From the snout tip to the end of the tail fin, evenly spaced, pixels of the photograph, x then y.
    pub midline: Vec<[f64; 2]>,
    /// Outline of the body without the fin fold, pixels of the photograph, not closed: left side from snout to tail, right
    /// side back, as many points each.
    pub outline: Vec<[f64; 2]>,
    /// Length of the midline.
    pub total_length: Px,
    /// Standard error of the length from the picture alone (no scale error).
    pub length_se: Px,
    /// Greatest depth (side view) or width (top view) without the fin fold.
    pub depth: Px,
    /// Greatest depth or width of the head, the least compressible part.
    pub head_depth: Px,
    /// From where it is seen.
    pub view: View,
    /// Probability that the end taken for the head is the head.
    pub p_head: f64,
    /// Standard deviation of the blur at the body's edge, in pixels.
    pub blur: Px,
    /// What to know about it, sorted, each once.
    pub flags: Vec<Flag>,
    /// Whether it counts for length.
    pub use_length: bool,
    /// Whether it counts for the call.
    pub use_call: bool,
    /// Dish or well of the frame, from 1, when walls were found.
    pub vessel: Option<u32>,
    /// Whether its back is to the left of one who walks along the midline, as seen in the photograph.
    pub back_left: bool,
    /// What is added to the ground behind it to judge its tissue by, grey levels: a dark ground gives no reference, and the
    /// brightness of the trunk stands in; 0 on a bright one.
    pub reference: f32,
}

/// Where a body has tapered, as a share of its length from the snout (from memory).
const TAPERED: f64 = 0.8;

impl Fish {
    /// The straightened picture of it, of the photograph it was found in and that photograph's ground.
    pub fn straightened(&self, pixels: &Pixels, ground: &Ground) -> Strip {
        let behind = |x: f64, y: f64| ground.background_rgb(x, y).map(|v| v + self.reference);
        strip::straighten(pixels, &self.midline, self.back_left, behind)
    }

    /// Depth or width across the midline at a share of the length from the snout, without the fin fold.
    pub fn depth_at(&self, share: f64) -> Px {
        // The outline runs down the left side and back up the right one.
        let stations = self.outline.len() / 2;
        let k = (share.clamp(0.0, 1.0) * stations.saturating_sub(1) as f64).round() as usize;
        let sides = self.outline.get(k).zip(self.outline.iter().rev().nth(k));
        Px(sides.map_or(0.0, |(left, right)| (left[0] - right[0]).hypot(left[1] - right[1])))
    }

    /// Depth where it should have tapered, as a share of the greatest: about a third in larvae (from memory), more where what is
    /// seen of it ends before its tail does.
    pub fn taper(&self) -> f64 {
        self.depth_at(TAPERED).0 / self.depth.0.max(1e-9)
    }

    /// Adds a flag, with what it says of length and call.
    pub fn flag(&mut self, flag: Flag) {
        if !self.flags.contains(&flag) {
            self.flags.push(flag);
            self.flags.sort_unstable();
        }
        self.use_length &= !flag.spoils_length();
        self.use_call &= !flag.spoils_call();
    }
}

#[cfg(test)]
mod tests {
    use super::Flag;

    #[test]
    fn every_flag_is_explained() {
        let page = include_str!("../../docs/flags.md");
        for flag in Flag::ALL {
            let start = format!("| `{}` |", flag.name());
            let row = page.lines().find(|l| l.starts_with(&start)).unwrap_or_else(|| panic!("{start}"));
            let cells: Vec<&str> = row.trim_matches('|').split('|').map(str::trim).collect();
            assert_eq!(cells[2].starts_with("yes"), !flag.spoils_length(), "{row}");
            assert_eq!(cells[3].starts_with("yes"), !flag.spoils_call(), "{row}");
        }
    }
}
