//! The caller's validation set: fish whose true state a person established, against what they were called.

use std::path::Path;

use super::{Failure, Place};
use crate::records::Call;
use crate::tank::Validation;

/// Reviewed calls: CSV with the columns `truth` and `call` (`inflated`, `not_inflated`, `unsure`), and `count` where a row
/// stands for several fish.
///
/// # Errors
/// A [`Failure`] with the row and column at fault, or when the set cannot correct anything.
pub fn read(path: &Path) -> Result<Validation, Failure> {
    let file = std::fs::File::open(path).map_err(|e| {
        Failure::usage(format!("cannot be read: {e}")).at(Place::file(path)).hint("check the path")
    })?;
    let mut reader = csv::ReaderBuilder::new().trim(csv::Trim::All).flexible(true).from_reader(file);
    let hint =
        "one row a fish: truth, call, each inflated or not_inflated, a call may be unsure; or add a count";
    let header = reader
        .headers()
        .map_err(|e| Failure::usage(format!("cannot be read as CSV: {e}")).at(Place::file(path)).hint(hint))?
        .clone();
    let at_column = |name: &str| header.iter().position(|h| h.trim_start_matches('\u{feff}') == name);
    let missing = |name: &str| {
        Failure::usage(format!("no column {name}")).at(Place::file(path).row(1).column(name)).hint(hint)
    };
    let truth = at_column("truth").ok_or_else(|| missing("truth"))?;
    let call = at_column("call").ok_or_else(|| missing("call"))?;
    let count = at_column("count");
    let mut found = Validation::default();
    for record in reader.records() {
        let record = record.map_err(|e| {
            Failure::usage(format!("cannot be read as CSV: {e}")).at(Place::file(path)).hint(hint)
        })?;
        let row = record.position().map_or(0, csv::Position::line);
        let place = |column: &str| Place::file(path).row(row).column(column);
        let word = |at: usize, column: &str| -> Result<Call, Failure> {
            match record.get(at).unwrap_or("") {
                "inflated" => Ok(Call::Inflated),
                "not_inflated" => Ok(Call::NotInflated),
                "unsure" => Ok(Call::Unsure),
                other => Err(Failure::usage(format!("{other} is no state")).at(place(column)).hint(hint)),
            }
        };
        let n = match count.and_then(|c| record.get(c)).filter(|c| !c.is_empty()) {
            None => 1,
            Some(cell) => cell.parse::<u32>().map(u64::from).map_err(|_| {
                Failure::usage(format!("{cell} is not a count"))
                    .at(place("count"))
                    .hint("write a whole number")
            })?,
        };
        found
            .add(word(truth, "truth")?, word(call, "call")?, n)
            .map_err(|e| Failure::usage(e.to_string()).at(place("truth")).hint("leave such fish out"))?;
    }
    // A set that cannot correct anything is a mistake to hear of now, not in every row.
    found.correct(1, 2, crate::stats::Level::P95).map_err(|e| {
        Failure::usage(format!("cannot correct calls: {e}"))
            .at(Place::file(path))
            .hint("review more fish of both kinds")
    })?;
    Ok(found)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn file(text: &str) -> tempfile::NamedTempFile {
        let f = tempfile::NamedTempFile::new().unwrap();
        std::fs::write(f.path(), text).unwrap();
        f
    }

    #[test]
    fn counts_and_single_fish_are_added_up() {
        let f = file(
            "truth,call,count\ninflated,inflated,9\ninflated,not_inflated,\nnot_inflated,not_inflated,8\nnot_inflated,unsure,2\n",
        );
        let v = read(f.path()).unwrap();
        assert_eq!(
            (v.inflated_right, v.inflated_wrong, v.not_inflated_right, v.not_inflated_unsure),
            (9, 1, 8, 2)
        );
    }

    #[test]
    fn mistakes_are_named_with_row_and_column() {
        for (text, row, column) in [
            ("truth,call\ninflated,full\n", 2, "call"),
            ("truth,call\nunsure,inflated\n", 2, "truth"),
            ("truth,call,count\ninflated,inflated,-3\n", 2, "count"),
            ("truth\ninflated\n", 1, "call"),
        ] {
            let f = file(text);
            let place = read(f.path()).unwrap_err().place.unwrap();
            assert_eq!((place.row, place.column.as_deref()), (Some(row), Some(column)), "{text}");
        }
        let one_kind = file("truth,call\ninflated,inflated\n");
        assert!(read(one_kind.path()).unwrap_err().what.contains("cannot correct"));
    }
}
