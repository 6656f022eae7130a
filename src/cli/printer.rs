//! The one place that writes to the terminal: results to stdout, all else to stderr.

use super::{Failure, Place};
use std::io::{IsTerminal, Write};

/// When messages are coloured.
#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
pub enum ColorChoice {
    /// On a terminal, unless `NO_COLOR` is set.
    Auto,
    /// Always.
    Always,
    /// Never.
    Never,
}

/// Writes messages, wrapped to 80 columns; colour only repeats what the words say.
#[derive(Debug, Clone)]
pub struct Printer {
    color: bool,
    quiet: bool,
    results: bool,
}

const RED: &str = "\x1b[1;31m";
const YELLOW: &str = "\x1b[1;33m";
const CYAN: &str = "\x1b[1;36m";
const RESET: &str = "\x1b[0m";
const WIDTH: usize = 80;

impl Printer {
    /// A printer; `quiet` leaves out notes and progress.
    pub fn new(color: ColorChoice, quiet: bool) -> Self {
        let color = match color {
            ColorChoice::Always => true,
            ColorChoice::Never => false,
            ColorChoice::Auto => std::io::stderr().is_terminal() && std::env::var_os("NO_COLOR").is_none(),
        };
        Self { color, quiet, results: true }
    }

    /// The same without results: for a command that is a step of another one.
    #[must_use]
    pub fn without_results(&self) -> Self {
        Self { results: false, ..self.clone() }
    }

    /// Whether progress may be drawn: not when quiet, not when nobody is at the terminal.
    pub fn shows_progress(&self) -> bool {
        !self.quiet && std::io::stderr().is_terminal()
    }

    /// A result, to stdout, as it is. A reader that has gone away is no error.
    pub fn result(&self, text: &str) {
        if self.results {
            let _ = writeln!(std::io::stdout().lock(), "{text}");
        }
    }

    /// What went well, or is worth knowing; left out when quiet.
    pub fn note(&self, text: &str) {
        if !self.quiet {
            self.write("", "", text);
        }
    }

    /// Something that may make results wrong, with where and what to do.
    pub fn warning(&self, what: &str, place: Option<&Place>, hint: Option<&str>) {
        self.message("warning: ", YELLOW, what, place, hint);
    }

    /// An error that does not stop the command: one photograph of many.
    pub fn error(&self, what: &str, place: Option<&Place>, hint: Option<&str>) {
        self.message("error: ", RED, what, place, hint);
    }

    /// The error that ends the command.
    pub fn failure(&self, failure: &Failure) {
        self.error(&failure.what, failure.place.as_ref(), failure.hint.as_deref());
    }

    fn message(&self, lead: &str, color: &str, what: &str, place: Option<&Place>, hint: Option<&str>) {
        self.write(lead, color, what);
        if let Some(place) = place {
            self.write("  ", "", &place.to_string());
        }
        if let Some(hint) = hint {
            self.write("hint: ", CYAN, hint);
        }
    }

    fn write(&self, lead: &str, color: &str, text: &str) {
        let indent = " ".repeat(lead.len().min(2));
        let options = textwrap::Options::new(WIDTH).initial_indent(lead).subsequent_indent(&indent);
        // Paths are not broken: they are copied from the terminal.
        let options = options.break_words(false).word_splitter(textwrap::WordSplitter::NoHyphenation);
        let mut text = textwrap::fill(text, options);
        if self.color && !color.is_empty() {
            text.replace_range(..lead.len(), &format!("{color}{}{RESET} ", lead.trim_end()));
        }
        let _ = writeln!(std::io::stderr().lock(), "{text}");
    }
}

/// Rows of cells as lines for the terminal: columns as wide as their widest cell, numbers to the right,
/// never wider than 80 columns (the last columns are left out, and it says so).
pub fn columns(header: &[&str], rows: &[Vec<String>]) -> String {
    let width = |i: usize| {
        let cells = rows.iter().filter_map(|r| r.get(i)).map(|c| c.chars().count());
        cells.chain([header[i].chars().count()]).max().unwrap_or(0)
    };
    let widths: Vec<usize> = (0..header.len()).map(width).collect();
    let mut shown = 0;
    let mut total = 0;
    while shown < widths.len() && total + widths[shown] + 2 * usize::from(shown > 0) <= WIDTH {
        total += widths[shown] + 2 * usize::from(shown > 0);
        shown += 1;
    }
    let numeric: Vec<bool> = (0..shown)
        .map(|i| {
            let mut cells = rows.iter().filter_map(|r| r.get(i)).filter(|c| !c.is_empty()).peekable();
            cells.peek().is_some()
                && cells.all(|c| c.starts_with(|c: char| c.is_ascii_digit() || "-<>≥≤".contains(c)))
        })
        .collect();
    let line = |cells: &mut dyn Iterator<Item = &str>| -> String {
        let cells: Vec<String> = cells
            .take(shown)
            .enumerate()
            .map(|(i, c)| {
                let w = widths[i];
                if numeric[i] { format!("{c:>w$}") } else { format!("{c:<w$}") }
            })
            .collect();
        cells.join("  ").trim_end().to_owned()
    };
    let mut lines = vec![line(&mut header.iter().copied())];
    lines.extend(rows.iter().map(|r| line(&mut r.iter().map(String::as_str))));
    if shown < header.len() {
        lines.push(format!("(not shown: {})", header[shown..].join(", ")));
    }
    lines.join("\n")
}

#[cfg(test)]
mod tests {
    use super::columns;

    #[test]
    fn numbers_stand_to_the_right_and_lines_fit_80_columns() {
        let rows =
            vec![vec!["P01".into(), "9".into(), "x".repeat(60)], vec!["P10".into(), "12".into(), "y".into()]];
        let text = columns(&["tank", "fish", "notes"], &rows);
        let lines: Vec<&str> = text.lines().collect();
        assert_eq!(lines[0], "tank  fish  notes");
        assert!(lines[1].starts_with("P01      9  xxx"));
        assert!(lines[2].starts_with("P10     12  y"));
        assert!(lines.iter().all(|l| l.chars().count() <= 80));
        let wide = columns(&["tank", "a", "b"], &[vec!["P01".into(), "x".repeat(50), "y".repeat(50)]]);
        assert!(wide.ends_with("(not shown: b)"));
    }
}
