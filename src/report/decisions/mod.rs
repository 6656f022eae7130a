//! Decisions as rows for CSV, as charts, and as the section of the morning report.

mod charts;
mod rows;
mod section;

pub use charts::grade_chart;
pub use rows::{GradeRow, GrowthRow, ScreenRow, grade_rows, growth_row, screen_rows};
pub use section::section;
