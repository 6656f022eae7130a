//! Any bytes as a sheet of the register: problems with row and column, or cells that can be read as what they may be.
#![no_main]

use frygauge::season::register::{Problems, Sheet};
use libfuzzer_sys::fuzz_target;
use std::path::Path;

fuzz_target!(|bytes: &[u8]| {
    let mut problems = Problems::default();
    let Some(sheet) = Sheet::parse(Path::new("tanks.csv"), bytes, &mut problems) else {
        assert!(!problems.is_empty(), "what is not read is told");
        return;
    };
    for row in sheet.rows() {
        for column in ["tank", "date", "volume_l"] {
            row.text(column);
            row.date(column, &mut problems);
            row.number(column, &mut problems);
        }
    }
    problems.iter().for_each(|problem| drop(problem.to_string()));
});
