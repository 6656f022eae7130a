//! A CSV file as a spreadsheet of any locale saves it.
//!
//! Spreadsheets separate columns by comma, semicolon or tab, write decimal points or commas, and put a
//! byte-order mark in front, all by the language they run in. What can be told for certain is read; what
//! could mean two things (03/04/2026, `1.500` beside semicolons, `1,5` beside commas) is refused.

use super::{Problem, Problems};
use jiff::civil::Date;
use std::path::{Path, PathBuf};

/// How numbers of a file may be written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Decimal {
    /// Columns are separated by commas: a decimal point only.
    Point,
    /// Columns are separated by semicolons: a decimal comma, or a point where it cannot be a thousands mark.
    PointOrComma,
    /// Columns are separated by tabs, which tells nothing of the locale.
    Unknown,
}

/// A table of text with where each row came from.
#[derive(Debug, Clone)]
pub struct Sheet {
    file: PathBuf,
    columns: Vec<String>,
    rows: Vec<(u64, Vec<String>)>,
    decimal: Decimal,
}

impl Sheet {
    /// Splits the bytes of `file` into cells. Rows without any text are skipped.
    ///
    /// Problems: not UTF-8, no header, a column twice, a row longer than the header.
    pub fn parse(file: &Path, bytes: &[u8], problems: &mut Problems) -> Option<Self> {
        let save_as = "save it as CSV UTF-8 in the spreadsheet";
        if bytes.starts_with(&[0xFF, 0xFE]) || bytes.starts_with(&[0xFE, 0xFF]) {
            problems.add(Problem::new(file, "text in UTF-16, as saved by `Unicode text`", save_as));
            return None;
        }
        if bytes.starts_with(b"PK\x03\x04") {
            problems.add(Problem::new(file, "a spreadsheet document, not CSV", save_as));
            return None;
        }
        let bytes = bytes.strip_prefix(&[0xEF, 0xBB, 0xBF]).unwrap_or(bytes);
        let text = match std::str::from_utf8(bytes) {
            Ok(text) => text,
            Err(e) => {
                let readable = String::from_utf8_lossy(&bytes[..e.valid_up_to()]);
                let row = readable.matches('\n').count() as u64 + 1;
                problems.add(Problem::new(file, "letters that are not UTF-8", save_as).row(row));
                return None;
            }
        };
        // Some spreadsheets say in a first line how columns are separated.
        let (skipped, text, said) = match text.split_once('\n') {
            Some((first, rest)) if first.trim_end().len() == 5 && first.starts_with("sep=") => {
                (1, rest, first.as_bytes().get(4).copied())
            }
            _ => (0, text, None),
        };
        let delimiter = said.unwrap_or_else(|| delimiter(text.lines().next().unwrap_or_default()));
        let decimal = match delimiter {
            b',' => Decimal::Point,
            b';' => Decimal::PointOrComma,
            _ => Decimal::Unknown,
        };
        let mut reader = csv::ReaderBuilder::new()
            .has_headers(false)
            .flexible(true)
            .delimiter(delimiter)
            .from_reader(text.as_bytes());
        let mut table = Vec::new();
        for record in reader.records() {
            match record {
                Ok(record) => {
                    let row = record.position().map_or(0, csv::Position::line) + skipped;
                    let cells: Vec<String> = record.iter().map(tidy).collect();
                    if cells.iter().any(|c| !c.is_empty()) {
                        table.push((row, cells));
                    }
                }
                Err(e) => {
                    problems.add(Problem::new(file, format!("not CSV: {e}"), save_as));
                    return None;
                }
            }
        }
        let mut table = table.into_iter();
        let Some((header_row, header)) = table.next() else {
            problems.add(Problem::new(file, "empty", "the first row names the columns"));
            return None;
        };
        let columns: Vec<String> = header.iter().map(|c| c.to_lowercase()).collect();
        for (i, column) in columns.iter().enumerate() {
            if !column.is_empty() && columns[..i].contains(column) {
                let problem =
                    Problem::new(file, format!("the column {column} is there twice"), "remove one of them");
                problems.add(problem.row(header_row).column(column));
            }
        }
        let used = columns.iter().rposition(|c| !c.is_empty()).map_or(0, |i| i + 1);
        let rows: Vec<_> = table.collect();
        for (row, cells) in &rows {
            if let Some(extra) = cells.iter().skip(used).find(|c| !c.is_empty()) {
                let what = format!("more cells than the header has columns: `{extra}`");
                let hint =
                    "a text with a separator in it needs quotes; a new column needs a name in the first row";
                problems.add(Problem::new(file, what, hint).row(*row));
            }
        }
        Some(Self { file: file.into(), columns, rows, decimal })
    }

    /// Checks the header: `needed` columns are there, and every column is `needed` or `known`.
    /// `extra` says how a column of one's own would be allowed.
    pub fn expect(&self, needed: &[&str], known: &[&str], extra: &str, problems: &mut Problems) {
        for column in needed {
            if !self.columns.iter().any(|c| c == column) {
                let hint = format!("the first row must name: {}", needed.join(", "));
                problems.add(
                    Problem::new(&self.file, format!("no column {column}"), &hint).row(1).column(column),
                );
            }
        }
        let all: Vec<&str> = needed.iter().chain(known).copied().collect();
        for column in self.columns.iter().filter(|c| !c.is_empty() && !all.contains(&c.as_str())) {
            let near = all.iter().copied().min_by_key(|a| edits(a, column)).filter(|a| edits(a, column) <= 2);
            let hint = match near {
                Some(near) => format!("perhaps {near} is meant; {extra}"),
                None => format!("known columns: {}; {extra}", all.join(", ")),
            };
            problems.add(
                Problem::new(&self.file, format!("unknown column {column}"), &hint).row(1).column(column),
            );
        }
    }

    /// Whether there is a column of this name.
    pub fn has(&self, column: &str) -> bool {
        self.columns.iter().any(|c| c == column)
    }

    /// The rows.
    pub fn rows(&self) -> impl Iterator<Item = Row<'_>> {
        self.rows.iter().map(|(line, cells)| Row { sheet: self, line: *line, cells })
    }
}

/// One row of a sheet.
#[derive(Debug, Clone, Copy)]
pub struct Row<'a> {
    sheet: &'a Sheet,
    /// Line of the file, from 1.
    pub line: u64,
    cells: &'a [String],
}

impl<'a> Row<'a> {
    /// The text of a cell; `None` when it is empty or the column is not there.
    pub fn text(&self, column: &str) -> Option<&'a str> {
        let at = self.sheet.columns.iter().position(|c| c == column)?;
        self.cells.get(at).map(String::as_str).filter(|c| !c.is_empty())
    }

    /// A problem in this row.
    pub fn problem(&self, column: &str, what: impl Into<String>, hint: &str) -> Problem {
        Problem::new(&self.sheet.file, what, hint).row(self.line).column(column)
    }

    /// The text of a cell that may not be empty.
    pub fn needed(&self, column: &str, problems: &mut Problems) -> Option<&'a str> {
        let text = self.text(column);
        // A column that is not there at all has been reported once.
        if text.is_none() && self.sheet.columns.iter().any(|c| c == column) {
            problems.add(self.problem(column, "empty", "fill it in"));
        }
        text
    }

    /// A date.
    pub fn date(&self, column: &str, problems: &mut Problems) -> Option<Date> {
        let text = self.text(column)?;
        date(text).map_err(|(what, hint)| problems.add(self.problem(column, what, hint))).ok()
    }

    /// A finite number.
    pub fn number(&self, column: &str, problems: &mut Problems) -> Option<f64> {
        let text = self.text(column)?;
        number(text, self.sheet.decimal)
            .map_err(|(what, hint)| problems.add(self.problem(column, what, hint)))
            .ok()
    }

    /// A number above zero.
    pub fn positive(&self, column: &str, problems: &mut Problems) -> Option<f64> {
        let value = self.number(column, problems)?;
        if value > 0.0 {
            return Some(value);
        }
        problems.add(self.problem(
            column,
            format!("{value} is not above zero"),
            "leave it empty if it is not known",
        ));
        None
    }

    /// A whole number, zero or more.
    pub fn count(&self, column: &str, problems: &mut Problems) -> Option<u64> {
        let value = self.number(column, problems)?;
        if value >= 0.0 && value.fract() == 0.0 && value < 9e15 {
            return Some(value as u64);
        }
        problems.add(self.problem(
            column,
            format!("{value} is not a count"),
            "give a whole number, zero or more",
        ));
        None
    }
}

type Refusal = (String, &'static str);

/// A date as `YYYY-MM-DD` and in no other way.
fn date(text: &str) -> Result<Date, Refusal> {
    const WRITE: &str =
        "write it as 2026-04-20 (year-month-day); in a spreadsheet give the column the format `text` first";
    let parts: Vec<&str> = text.split('-').collect();
    let digits = |s: &str, n: usize| s.len() == n && s.bytes().all(|b| b.is_ascii_digit());
    if let [year, month, day] = parts[..]
        && digits(year, 4)
        && digits(month, 2)
        && digits(day, 2)
    {
        return text
            .parse()
            .map_err(|_| (format!("`{text}` is no day of the calendar"), "check year, month and day"));
    }
    if text.bytes().all(|b| b.is_ascii_digit()) {
        return Err((format!("`{text}` is a spreadsheet's number of a day, not a date"), WRITE));
    }
    if text.split(['/', '.', '-']).filter(|p| !p.is_empty()).count() == 3 {
        return Err((format!("`{text}` could be day/month or month/day and is not guessed"), WRITE));
    }
    Err((format!("`{text}` is not a date"), WRITE))
}

/// A number that can mean one thing only.
fn number(text: &str, decimal: Decimal) -> Result<f64, Refusal> {
    const PLAIN: &str = "write digits with one decimal point and no thousands marks, like 1500.5";
    let refuse = |why: &str| Err((format!("`{text}` {why}"), PLAIN));
    let unsigned = text.strip_prefix(['-', '+', '\u{2212}']).unwrap_or(text);
    if unsigned.is_empty()
        || !unsigned
            .chars()
            .all(|c| c.is_ascii_digit() || matches!(c, '.' | ',' | ' ' | '\u{a0}' | '\u{202f}' | '\''))
    {
        return refuse("is not a number");
    }
    if unsigned.contains([' ', '\u{a0}', '\u{202f}', '\'']) {
        return refuse("has a thousands mark");
    }
    let (points, commas) = (unsigned.matches('.').count(), unsigned.matches(',').count());
    if points + commas > 1 {
        return refuse("has a thousands mark");
    }
    // One to three digits, a mark and three digits: thousands in one locale, a decimal in another.
    let ambiguous = unsigned.split(['.', ',']).map(str::len).eq([unsigned.len().saturating_sub(4), 3])
        && (5..=7).contains(&unsigned.len())
        && !unsigned.starts_with('0');
    match (decimal, points, commas) {
        (Decimal::Point, _, 1) => return refuse("has a comma beside a decimal point file"),
        (Decimal::PointOrComma | Decimal::Unknown, 1, _) | (Decimal::Unknown, _, 1) if ambiguous => {
            return refuse("could be thousands or a decimal and is not guessed");
        }
        _ => {}
    }
    let plain = text.replace(',', ".").replace('\u{2212}', "-");
    match plain.parse::<f64>() {
        Ok(value) if value.is_finite() && unsigned.starts_with(|c: char| c.is_ascii_digit()) => Ok(value),
        _ => refuse("is not a number"),
    }
}

/// The separator of a header line: the one that is there most often outside quotes.
fn delimiter(header: &str) -> u8 {
    let mut quoted = false;
    let mut counts = [(b',', 0), (b';', 0), (b'\t', 0)];
    for byte in header.bytes() {
        if byte == b'"' {
            quoted = !quoted;
        } else if !quoted && let Some(count) = counts.iter_mut().find(|(d, _)| *d == byte) {
            count.1 += 1;
        }
    }
    // The first of equals: a header without any separator is a comma file with one column.
    counts.iter().rev().max_by_key(|(_, n)| *n).map_or(b',', |(d, _)| *d)
}

/// A cell without the spaces around it, ordinary and non-breaking.
fn tidy(cell: &str) -> String {
    cell.trim_matches(|c: char| c.is_whitespace() || c == '\u{a0}' || c == '\u{feff}').to_owned()
}

/// How many letters must be put in, taken out or changed (Levenshtein 1966).
fn edits(a: &str, b: &str) -> usize {
    let b: Vec<char> = b.chars().collect();
    let mut row: Vec<usize> = (0..=b.len()).collect();
    for (i, x) in a.chars().enumerate() {
        let mut diagonal = row[0];
        row[0] = i + 1;
        for (j, y) in b.iter().enumerate() {
            let replaced = diagonal + usize::from(x != *y);
            diagonal = row[j + 1];
            row[j + 1] = replaced.min(row[j] + 1).min(row[j + 1] + 1);
        }
    }
    row[b.len()]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_number_is_read_only_when_it_can_mean_one_thing() {
        use Decimal::{Point, PointOrComma, Unknown};
        for (text, decimal, value) in [
            ("1500", Point, 1500.0),
            ("1.5", Point, 1.5),
            ("1.500", Point, 1.5),
            ("-3", Point, -3.0),
            ("1,5", PointOrComma, 1.5),
            ("1,500", PointOrComma, 1.5),
            ("17.25", PointOrComma, 17.25),
            ("0.125", PointOrComma, 0.125),
            ("1,5", Unknown, 1.5),
        ] {
            assert_eq!(number(text, decimal), Ok(value), "{text} {decimal:?}");
        }
        for (text, decimal) in [
            ("1,5", Point),
            ("1.500", PointOrComma),
            ("12.500", PointOrComma),
            ("1.500", Unknown),
            ("1,500", Unknown),
            ("1.234,5", PointOrComma),
            ("1 500", Point),
            ("1\u{a0}500", PointOrComma),
            ("1'500", Point),
            ("NaN", Point),
            ("inf", Point),
            ("1e400", Point),
            (".5", Point),
            ("12 L", Point),
            ("", Point),
        ] {
            assert!(number(text, decimal).is_err(), "{text} {decimal:?}");
        }
    }

    #[test]
    fn a_date_is_read_only_in_one_form() {
        assert_eq!(date("2026-04-20").unwrap(), jiff::civil::date(2026, 4, 20));
        for text in [
            "20/04/2026",
            "04/20/2026",
            "20.4.2026",
            "20-04-2026",
            "2026-4-2",
            "2026-02-30",
            "46132",
            "soon",
            "26-04-20",
        ] {
            assert!(date(text).is_err(), "{text}");
        }
        assert!(date("03/04/2026").unwrap_err().0.contains("not guessed"));
        assert!(date("2026-02-30").unwrap_err().0.contains("no day"));
    }

    #[test]
    fn edits_are_counted_as_levenshtein_did() {
        // From memory: the customary example.
        assert_eq!(edits("kitten", "sitting"), 3);
        assert_eq!(edits("", "ab"), 2);
        assert_eq!(edits("tank", "tank"), 0);
    }
}
