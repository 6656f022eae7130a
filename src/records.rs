//! The records everything is reported from: one struct a row of `fish.csv`, `tanks.csv` and `photos.csv`.
//!
//! Field order is column order. Missing is `None`: an empty CSV cell and `null` in JSON, never 0 or NaN.
//! Lengths of columns ending in `_mm` are millimetres, in `_px` pixels of the oriented photograph
//! (x to the right, y down, pixel centres at whole numbers). Fractions are 0-1.

use jiff::civil::Date;
use serde::{Deserialize, Serialize};

/// Words for what is refused that several stages say, or of which a photograph may hold dozens.
pub mod refusal {
    /// Too small or too faint to be argued about.
    pub const TOO_LITTLE: &str = "too small or faint";
    /// A wall of a vessel, or what is left of one.
    pub const WALL: &str = "vessel wall";
    /// Outside every vessel.
    pub const OUTSIDE: &str = "outside the vessel";
}

/// How the dish was lit, as decided for the photograph.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Lighting {
    /// Light from below: bright background, fish darker.
    Transmitted,
    /// Dark dish, light from the side or above: fish brighter than the background.
    Dark,
    /// Pale tray, light from above: bright background, fish darker, glints brighter.
    Pale,
}

/// From where the fish is seen.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum View {
    /// Lying on its side.
    Side,
    /// Seen from above or below.
    Top,
    /// Between the two.
    Oblique,
    /// Cannot be told.
    Unclear,
}

/// The call on the gas bladder.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Call {
    /// Holds gas.
    Inflated,
    /// Holds none.
    NotInflated,
    /// The picture does not tell.
    Unsure,
}

/// `yes` or `no`, as the CSV columns write it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum YesNo {
    /// `yes`
    Yes,
    /// `no`
    No,
}

impl From<bool> for YesNo {
    fn from(yes: bool) -> Self {
        if yes { Self::Yes } else { Self::No }
    }
}

impl YesNo {
    /// Whether it is `yes`.
    pub fn is_yes(self) -> bool {
        self == Self::Yes
    }
}

/// What became of a photograph.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum PhotoStatus {
    /// Scored; its fish count.
    Scored,
    /// Scored, but should be taken again for the reason given.
    Retake,
    /// Could not be scored; the reason says why.
    Refused,
}

/// A row of `fish.csv`: one fish of one photograph.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct FishRow {
    /// Name of the photograph as given in `photos.csv`.
    pub photo: String,
    /// Tank, empty when nothing said it.
    pub tank: Option<String>,
    /// Date of the sample.
    pub date: Option<Date>,
    /// Age in days post hatch.
    pub age_dph: Option<f64>,
    /// Number of the fish in its photograph, from 1, as drawn in the annotated picture.
    pub fish: u32,
    /// Midline centre.
    pub x_px: f64,
    /// Midline centre.
    pub y_px: f64,
    /// Tip of the snout.
    pub snout_x_px: f64,
    /// Tip of the snout.
    pub snout_y_px: f64,
    /// End of the tail fin.
    pub tail_x_px: f64,
    /// End of the tail fin.
    pub tail_y_px: f64,
    /// Total length along the midline, snout to the end of the tail fin.
    pub total_length_px: f64,
    /// Total length; empty without a scale.
    pub total_length_mm: Option<f64>,
    /// Standard error of the total length, scale error included.
    pub total_length_se_mm: Option<f64>,
    /// Greatest body depth without the fin fold.
    pub depth_mm: Option<f64>,
    /// From where it is seen.
    pub view: View,
    /// The call.
    pub call: Call,
    /// Calibrated probability that the bladder is inflated; empty when it could not be judged.
    pub p_inflated: Option<f64>,
    /// Centre of the bladder as a fraction of total length from the snout.
    pub bladder_position: Option<f64>,
    /// Bladder length along the body.
    pub bladder_length_mm: Option<f64>,
    /// Bladder height across the body.
    pub bladder_height_mm: Option<f64>,
    /// Whether the fish counts for length.
    pub use_length: YesNo,
    /// Whether the fish counts for the inflation call.
    pub use_call: YesNo,
    /// Why it does not count, and what else to know; joined by `;`.
    pub flags: String,
    /// Which dish or well of the frame.
    pub vessel: Option<u32>,
    /// `model`, or the initials of the person who made the call.
    pub caller: String,
    /// Greatest depth (side view) or width (top view) of the head, the least compressible part.
    #[serde(default)]
    pub head_depth_mm: Option<f64>,
}

impl FishRow {
    /// Whether `flags` holds `flag`.
    pub fn has_flag(&self, flag: &str) -> bool {
        self.flags.split(';').any(|f| f == flag)
    }
}

/// A row of `tanks.csv`: one tank on one date.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct TankRow {
    /// Tank, or the name of the folder when no tank was given.
    pub tank: String,
    /// Date of the sample.
    pub date: Option<Date>,
    /// Age in days post hatch.
    pub age_dph: Option<f64>,
    /// Photographs scored.
    pub photos: u32,
    /// Fish found.
    pub fish: u32,
    /// Fish called inflated or not.
    pub called: u32,
    /// Fish called inflated.
    pub inflated: u32,
    /// Fish called not inflated.
    pub not_inflated: u32,
    /// Fish whose call is unsure.
    pub unsure: u32,
    /// Inflated share of those called.
    pub inflation: Option<f64>,
    /// Lower limit.
    pub inflation_low: Option<f64>,
    /// Upper limit.
    pub inflation_high: Option<f64>,
    /// Share corrected for the caller's error rate; empty without a validation set.
    pub inflation_corrected: Option<f64>,
    /// Lower limit.
    pub inflation_corrected_low: Option<f64>,
    /// Upper limit.
    pub inflation_corrected_high: Option<f64>,
    /// Fish whose length counts.
    pub measured: u32,
    /// Mean total length.
    pub mean_length_mm: Option<f64>,
    /// Lower limit.
    pub mean_length_low_mm: Option<f64>,
    /// Upper limit.
    pub mean_length_high_mm: Option<f64>,
    /// Standard deviation of total length.
    pub sd_length_mm: Option<f64>,
    /// Coefficient of variation of total length.
    pub cv_length: Option<f64>,
    /// Lower limit.
    pub cv_length_low: Option<f64>,
    /// Upper limit.
    pub cv_length_high: Option<f64>,
    /// 5th percentile of total length.
    pub p05_length_mm: Option<f64>,
    /// Median total length.
    pub median_length_mm: Option<f64>,
    /// 95th percentile of total length.
    pub p95_length_mm: Option<f64>,
    /// Mean greatest depth.
    pub mean_depth_mm: Option<f64>,
    /// Warnings: few fish, many unsure, mixed scales; joined by `; `.
    pub notes: String,
}

/// A row of `photos.csv`: one photograph.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct PhotoRow {
    /// Name: the path below the folder given, with `/` between parts.
    pub photo: String,
    /// SHA-256 of the file's bytes, lower-case hex.
    pub sha256: String,
    /// What became of it.
    pub status: PhotoStatus,
    /// Why it should be taken again or was refused.
    pub reason: String,
    /// Width after orientation.
    pub width_px: Option<u32>,
    /// Height after orientation.
    pub height_px: Option<u32>,
    /// How the dish was lit.
    pub lighting: Option<Lighting>,
    /// Scale at the centre of the frame.
    pub mm_per_px: Option<f64>,
    /// Its standard error.
    pub mm_per_px_se: Option<f64>,
    /// `given`, `card`, `ruler`, `dish`, `tags`, `stored`; empty without a scale.
    pub scale_source: Option<String>,
    /// Fish found.
    pub fish: u32,
    /// Edge sharpness judged on the fish: standard deviation of the blur in pixels, smaller is sharper.
    pub sharpness: Option<f64>,
    /// What else to know; joined by `;`.
    pub flags: String,
    /// Time the photograph took.
    pub seconds: Option<f64>,
}

impl FishRow {
    /// Columns of `fish.csv`, in order.
    pub const COLUMNS: [&str; 27] = [
        "photo",
        "tank",
        "date",
        "age_dph",
        "fish",
        "x_px",
        "y_px",
        "snout_x_px",
        "snout_y_px",
        "tail_x_px",
        "tail_y_px",
        "total_length_px",
        "total_length_mm",
        "total_length_se_mm",
        "depth_mm",
        "view",
        "call",
        "p_inflated",
        "bladder_position",
        "bladder_length_mm",
        "bladder_height_mm",
        "use_length",
        "use_call",
        "flags",
        "vessel",
        "caller",
        "head_depth_mm",
    ];
}

impl TankRow {
    /// Columns of `tanks.csv`, in order.
    pub const COLUMNS: [&str; 28] = [
        "tank",
        "date",
        "age_dph",
        "photos",
        "fish",
        "called",
        "inflated",
        "not_inflated",
        "unsure",
        "inflation",
        "inflation_low",
        "inflation_high",
        "inflation_corrected",
        "inflation_corrected_low",
        "inflation_corrected_high",
        "measured",
        "mean_length_mm",
        "mean_length_low_mm",
        "mean_length_high_mm",
        "sd_length_mm",
        "cv_length",
        "cv_length_low",
        "cv_length_high",
        "p05_length_mm",
        "median_length_mm",
        "p95_length_mm",
        "mean_depth_mm",
        "notes",
    ];
}

impl PhotoRow {
    /// Columns of `photos.csv`, in order.
    pub const COLUMNS: [&str; 14] = [
        "photo",
        "sha256",
        "status",
        "reason",
        "width_px",
        "height_px",
        "lighting",
        "mm_per_px",
        "mm_per_px_se",
        "scale_source",
        "fish",
        "sharpness",
        "flags",
        "seconds",
    ];
}
