//! Records to HTML, CSV, JSON, charts and annotated pictures; templates beside it.

pub mod chart;
