//! Raster algorithms: pure functions on pixels, no knowledge of fish.
