//! Which tank and date a photograph belongs to: the options, the sample sheet, the folders it lies in, the
//! camera's clock.

use super::Options;
use crate::cli::{Failure, Place};
use crate::photo::{Duplicate, PhotoError, Source, Tags};
use crate::pipeline::Sample;
use crate::scale::card::Payload;
use crate::scale::labels::{Claim, Conflict, LabelSource, reconcile};
use crate::units::MmPerPx;
use jiff::civil::Date;
use std::collections::HashMap;
use std::path::{Component, Path};

/// Columns of a sample sheet that mean something; others are refused, for a misspelt one would be lost.
const COLUMNS: [&str; 9] =
    ["photo", "tank", "date", "age_dph", "hatch", "px_per_mm", "sprayer", "crew", "note"];

/// A sample sheet: what each photograph shows.
#[derive(Debug, Default)]
pub struct SampleSheet {
    lines: HashMap<String, Line>,
}

#[derive(Debug, Clone, Default)]
struct Line {
    tank: Option<String>,
    date: Option<Date>,
    age_dph: Option<f64>,
    hatch: Option<Date>,
    scale: Option<MmPerPx>,
}

/// The failure for a path that cannot be listed.
pub fn unreadable(error: &PhotoError) -> Failure {
    let failure = Failure::usage(error.to_string()).hint(error.hint());
    match error {
        PhotoError::Unreadable { path, .. } => failure.at(Place::file(path)),
        _ => failure,
    }
}

impl SampleSheet {
    /// Reads the sheet at `path` for the photographs `sources`.
    ///
    /// # Errors
    /// A [`Failure`] with row and column for a sheet that cannot be read, an unknown or missing column, a bad
    /// date or number, a photograph that is not there, and one named twice.
    pub fn read(path: &Path, sources: &[Source], duplicates: &[Duplicate]) -> Result<Self, Failure> {
        Self::parse(path, Some(&Known::of(sources, duplicates)))
    }

    /// Reads the sheet before its photographs have come: names are taken as they stand. Without a path it is
    /// empty.
    ///
    /// # Errors
    /// As [`Self::read`], but for photographs that are not there.
    pub fn read_ahead(path: Option<&Path>) -> Result<Self, Failure> {
        path.map_or_else(|| Ok(Self::default()), |path| Self::parse(path, None))
    }

    fn parse(path: &Path, known: Option<&Known>) -> Result<Self, Failure> {
        let place = || Place::file(path);
        let bytes = std::fs::read(path).map_err(|e| {
            Failure::usage(format!("cannot read the sample sheet: {e}"))
                .at(place())
                .hint("check the path given to --samples")
        })?;
        // Spreadsheets save with a byte-order mark, and with semicolons where the comma is a decimal sign.
        let bytes = bytes.strip_prefix(b"\xEF\xBB\xBF").unwrap_or(&bytes);
        let first = bytes.split(|&b| b == b'\n').next().unwrap_or_default();
        let semicolons = first.contains(&b';') && !first.contains(&b',');
        let mut reader = csv::ReaderBuilder::new()
            .delimiter(if semicolons { b';' } else { b',' })
            .trim(csv::Trim::All)
            .from_reader(bytes);
        let broken = |e: &csv::Error| {
            let row = e.position().map_or(1, csv::Position::line);
            Failure::usage(match e.kind() {
                csv::ErrorKind::UnequalLengths { expected_len, len, .. } => {
                    format!("this row has {len} cells, the header has {expected_len}")
                }
                csv::ErrorKind::Utf8 { .. } => "this row is not UTF-8 text".to_owned(),
                other => format!("not a CSV table: {other:?}"),
            })
            .at(place().row(row))
            .hint("save the sheet as CSV UTF-8, one line a photograph")
        };
        let header = reader.headers().map_err(|e| broken(&e))?.clone();
        for name in &header {
            if !COLUMNS.contains(&name) {
                return Err(Failure::usage(format!("unknown column {name:?}"))
                    .at(place().row(1).column(name))
                    .hint(format!("columns may be: {}", COLUMNS.join(", "))));
            }
        }
        let column = |name: &str| header.iter().position(|h| h == name);
        let Some(photo_column) = column("photo") else {
            return Err(Failure::usage("no column named photo")
                .at(place().row(1))
                .hint("the sheet needs the columns photo, tank, date"));
        };
        let mut lines = HashMap::new();
        let mut rows: HashMap<String, u64> = HashMap::new();
        for record in reader.records() {
            let record = record.map_err(|e| broken(&e))?;
            let row = record.position().map_or(0, csv::Position::line);
            let at = |name: &str| place().row(row).column(name);
            let cell = |name: &str| column(name).and_then(|i| record.get(i)).filter(|c| !c.is_empty());
            let given = record.get(photo_column).unwrap_or_default();
            let name = match known {
                Some(known) => known.find(given).map_err(|f| f.at(at("photo")))?,
                None => given.replace('\\', "/"),
            };
            if let Some(before) = rows.insert(name.clone(), row) {
                return Err(Failure::usage(format!("photo {given:?} stands here and in row {before}"))
                    .at(at("photo"))
                    .hint("leave one of the two rows out"));
            }
            let day = |name: &str| -> Result<Option<Date>, Failure> {
                cell(name).map(str::parse).transpose().map_err(|_| {
                    Failure::usage(format!("{:?} is not a date", cell(name).unwrap_or_default()))
                        .at(at(name))
                        .hint("write dates as 2026-05-02")
                })
            };
            let number = |name: &str, least: f64, rule: &str| -> Result<Option<f64>, Failure> {
                let Some(text) = cell(name) else { return Ok(None) };
                match text.parse::<f64>() {
                    Ok(v) if v.is_finite() && v >= least => Ok(Some(v)),
                    _ => Err(Failure::usage(format!("{text:?} is not {rule}"))
                        .at(at(name))
                        .hint("write a number with a point, such as 39.5, or leave the cell empty")),
                }
            };
            let line = Line {
                tank: cell("tank").map(str::to_owned),
                date: day("date")?,
                age_dph: number("age_dph", 0.0, "an age in days post hatch")?,
                hatch: day("hatch")?,
                scale: number("px_per_mm", f64::MIN_POSITIVE, "a scale in pixels to the millimetre")?
                    .and_then(MmPerPx::from_px_per_mm),
            };
            lines.insert(name, line);
        }
        Ok(Self { lines })
    }

    /// What the sheet says of the photograph `name`. A sheet read ahead may name less of the path than the
    /// photograph's whole name.
    fn line(&self, name: &str) -> Option<&Line> {
        let mut ends = std::iter::successors(Some(name), |rest| rest.split_once('/').map(|(_, end)| end));
        ends.find_map(|end| self.lines.get(end))
    }

    /// The scale the sheet gives the photograph `name`.
    pub fn scale(&self, name: &str) -> Option<MmPerPx> {
        self.line(name)?.scale
    }

    /// The sample of the photograph `name` at `path`, whose card says `card`; and the camera clock's date when
    /// it is another.
    ///
    /// A tank or date on the command line is meant for every photograph and goes before sheet and folders
    /// without contradiction; before the card it does not, for the card lay beside the fish.
    ///
    /// # Errors
    /// [`Conflict`] when sheet, card and folders name different tanks or dates.
    pub fn sample(
        &self,
        name: &str,
        path: &Path,
        tags: Option<&Tags>,
        card: Option<&Payload>,
        options: &Options,
    ) -> Result<(Sample, Option<Date>), Conflict> {
        let line = self.line(name).cloned().unwrap_or_default();
        let (folder_tank, folder_date) = from_folders(path);
        let outside = |source| matches!(source, LabelSource::Sheet | LabelSource::Folder);
        let claim = |source, tank: Option<String>, date| Claim {
            source,
            tank: tank.filter(|_| !outside(source) || options.tank.is_none()),
            date: Option::filter(date, |_: &Date| !outside(source) || options.date.is_none()),
        };
        let clock = tags.and_then(|t| t.taken).map(jiff::civil::DateTime::date);
        let label = reconcile(&[
            claim(LabelSource::Given, options.tank.clone(), options.date),
            claim(LabelSource::Sheet, line.tank, line.date),
            claim(LabelSource::Card, card.and_then(|c| c.tank.clone()), card.and_then(|c| c.date)),
            claim(LabelSource::Folder, folder_tank, folder_date),
            claim(LabelSource::Exif, None, clock),
        ])?;
        let date = label.date.map(|d| d.0);
        let tank = label.tank.map(|t| t.0).or_else(|| folder_name(path));
        let age = |hatch: Date| date.map(|d| f64::from((d - hatch).get_days()));
        let registered = tank.as_ref().and_then(|t| options.hatch_of.get(t)).copied();
        let age_dph = line.age_dph.or_else(|| line.hatch.or(registered).or(options.hatch).and_then(age));
        Ok((Sample { tank, date, age_dph: age_dph.filter(|a| *a >= 0.0) }, label.clock_says))
    }
}

/// Names a sheet may use for the photographs at hand.
struct Known {
    by_name: HashMap<String, Vec<String>>,
}

impl Known {
    /// Every photograph may be called by its whole name or any end of it that starts at a folder.
    fn of(sources: &[Source], duplicates: &[Duplicate]) -> Self {
        let mut by_name: HashMap<String, Vec<String>> = HashMap::new();
        let names = sources.iter().map(|s| &s.name).chain(duplicates.iter().map(|d| &d.name));
        for name in names {
            let mut rest = name.as_str();
            loop {
                by_name.entry(rest.to_owned()).or_default().push(name.clone());
                match rest.split_once('/') {
                    Some((_, end)) => rest = end,
                    None => break,
                }
            }
        }
        Self { by_name }
    }

    fn find(&self, given: &str) -> Result<String, Failure> {
        let given = given.replace('\\', "/");
        let mut rest = given.as_str();
        // The sheet may name more of the path than was given on the command line.
        loop {
            match self.by_name.get(rest).map(Vec::as_slice) {
                Some([name]) => return Ok(name.clone()),
                Some(several) if several.contains(&rest.to_owned()) => return Ok(rest.to_owned()),
                Some(several) => {
                    return Err(Failure::usage(format!("{given:?} may be {} or {}", several[0], several[1]))
                        .hint("write the folder too"));
                }
                None => {}
            }
            match rest.split_once('/') {
                Some((_, end)) => rest = end,
                None => {
                    return Err(Failure::usage(format!(
                        "photo {given:?} is not among the photographs given"
                    ))
                    .hint("check its spelling, or add its folder to the command"));
                }
            }
        }
    }
}

/// Tank and date from the last two folders, `TANK/DATE` or `DATE/TANK`.
fn from_folders(path: &Path) -> (Option<String>, Option<Date>) {
    let absolute = std::path::absolute(path).unwrap_or_else(|_| path.to_path_buf());
    let folders: Vec<String> = absolute
        .parent()
        .into_iter()
        .flat_map(Path::components)
        .filter_map(|c| match c {
            Component::Normal(part) => Some(part.to_string_lossy().into_owned()),
            _ => None,
        })
        .collect();
    let date = |text: &str| text.parse::<Date>().ok();
    match folders.as_slice() {
        [.., tank, last] if date(last).is_some() => (Some(tank.clone()), date(last)),
        [.., first, tank] if date(first).is_some() => (Some(tank.clone()), date(first)),
        _ => (None, None),
    }
}

/// The folder a photograph lies in: what a sample is called when nothing else names it.
fn folder_name(path: &Path) -> Option<String> {
    let absolute = std::path::absolute(path).ok()?;
    Some(absolute.parent()?.file_name()?.to_string_lossy().into_owned())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn folders_name_tank_and_date_in_either_order() {
        let day = Some(jiff::civil::date(2026, 5, 2));
        let of = |path: &str| from_folders(Path::new(path));
        assert_eq!(of("/season/P01/2026-05-02/a.jpg"), (Some("P01".into()), day));
        assert_eq!(of("/season/2026-05-02/P01/a.jpg"), (Some("P01".into()), day));
        assert_eq!(of("/season/P01/a.jpg"), (None, None));
        assert_eq!(of("/2026-05-02/P01/closer/a.jpg"), (None, None));
    }
}
