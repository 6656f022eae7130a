//! Raster algorithms: pure functions on pixels, no knowledge of fish.
//!
//! Rasters are row-major, x (column) to the right, y (row) down; pixel centres lie at whole numbers.

pub mod blur;
pub mod components;
pub mod distance;
pub mod ellipse;
pub mod path;
pub mod plane;
pub mod reduce;
pub mod skeleton;
pub mod thin;

pub use plane::Plane;
