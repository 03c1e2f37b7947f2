//! What is printed and how: text wrapped to the screen's width, or JSON. Output
//! is put together first and written at once, so that nothing is half shown; a
//! reader that goes away meanwhile (`| head`) is no error.

use std::fmt::Write as _;
use std::io::{self, ErrorKind, Write as _};

use anstyle::{AnsiColor, Effects, Style};
use serde_json::Value;
use unicode_width::UnicodeWidthStr;

use crate::failure::Failure;

pub use diagnose::wording::percent;

/// Titles.
pub const TITLE: Style = AnsiColor::Yellow.on_default().effects(Effects::BOLD);
/// What matters most.
pub const STRONG: Style = Style::new().effects(Effects::BOLD);
/// Side remarks.
pub const FAINT: Style = Style::new().effects(Effects::DIMMED);
/// In order.
pub const GOOD: Style = AnsiColor::Green.on_default();
/// Missing or wrong.
pub const BAD: Style = AnsiColor::Red.on_default().effects(Effects::BOLD);
/// A lit lamp, a bar.
pub const LIT: Style = AnsiColor::Cyan.on_default();
/// As it comes.
pub const PLAIN: Style = Style::new();

/// Columns where the width is not known.
const USUAL_WIDTH: usize = 80;

/// Where output goes.
#[derive(Clone, Copy, Debug)]
pub struct Screen {
    /// Whether JSON is wanted.
    pub json: bool,
    /// Columns to fill.
    pub width: usize,
}

impl Screen {
    /// The standard output; lines are as wide as a terminal allows, and 80 columns elsewhere.
    pub fn new(json: bool) -> Self {
        let width = terminal_size::terminal_size_of(io::stdout())
            .map_or(USUAL_WIDTH, |(width, _)| usize::from(width.0).clamp(50, USUAL_WIDTH));
        Self { json, width }
    }

    /// Prints text that is complete.
    pub fn print(&self, text: &str) -> Result<(), Failure> {
        let mut out = anstream::stdout().lock();
        match out.write_all(text.as_bytes()).and_then(|()| out.flush()) {
            Err(error) if error.kind() != ErrorKind::BrokenPipe => Err(Failure::output(&error)),
            _ => Ok(()),
        }
    }

    /// Prints a JSON document.
    pub fn print_json(&self, value: &Value) -> Result<(), Failure> {
        self.print(&format!("{value:#}\n"))
    }
}

/// How many columns a text takes.
pub fn columns(text: &str) -> usize {
    text.width()
}

/// Writes a text in lines of at most `width` columns, `first` before the first of them and
/// `rest` before the others.
pub fn paragraph(out: &mut String, width: usize, first: &str, rest: &str, style: Style, text: &str) {
    for (index, line) in
        wrapped(text, width.saturating_sub(columns(first)), width.saturating_sub(columns(rest))).iter().enumerate()
    {
        let before = if index == 0 { first } else { rest };
        _ = writeln!(out, "{before}{style}{line}{style:#}");
    }
}

fn wrapped(text: &str, first: usize, rest: usize) -> Vec<String> {
    let mut lines = Vec::new();
    let mut line = String::new();
    for word in text.split_whitespace() {
        let room = if lines.is_empty() { first } else { rest };
        if !line.is_empty() && columns(&line) + 1 + columns(word) > room {
            lines.push(std::mem::take(&mut line));
        }
        if !line.is_empty() {
            line.push(' ');
        }
        line.push_str(word);
    }
    lines.push(line);
    lines
}

/// A text filled up with blanks to so many columns.
pub fn padded(text: &str, width: usize) -> String {
    format!("{text}{}", " ".repeat(width.saturating_sub(columns(text))))
}

/// A bar of so many columns, in eighths of a column.
pub fn bar(share: f64, width: usize) -> String {
    const EIGHTHS: [&str; 8] = ["", "▏", "▎", "▍", "▌", "▋", "▊", "▉"];
    // At most a few hundred eighths; clamped, so the conversion is exact.
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)]
    let eighths = (share.clamp(0.0, 1.0) * (width * 8) as f64).round() as usize;
    padded(&format!("{}{}", "█".repeat(eighths / 8), EIGHTHS[eighths % 8]), width)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lines_are_broken_between_words() {
        assert_eq!(wrapped("one two three", 7, 5), ["one two", "three"]);
        assert_eq!(wrapped("", 7, 5), [""]);
        assert_eq!(wrapped("unbreakable", 3, 3), ["unbreakable"]);
    }

    #[test]
    fn a_bar_always_takes_its_columns() {
        for share in [0.0, 0.03, 0.5, 0.99, 1.0, 7.0, f64::NAN] {
            assert_eq!(columns(&bar(share, 12)), 12, "{share}");
        }
    }
}
