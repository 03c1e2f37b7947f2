//! The fields of one row, whatever it was written in.

use crate::error::{Error, Result};
use crate::text;
use jiff::Timestamp;
use std::collections::BTreeMap;

/// What a field holds.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Held {
    /// A text, a number or a truth value, as it was written.
    Text(String),
    /// A list.
    List(Vec<String>),
}

/// The fields of one row.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Fields {
    pub line: u64,
    pub held: BTreeMap<String, Held>,
}

impl Fields {
    /// Whether the row has this field at all, even if it is empty.
    pub fn has(&self, name: &str) -> bool {
        self.held.contains_key(name)
    }

    /// The text of a field; empty if it is not there.
    pub fn text(&self, name: &str) -> Result<&str> {
        match self.held.get(name) {
            None => Ok(""),
            Some(Held::Text(text)) => Ok(text),
            Some(Held::List(_)) => Err(Error::refused(name, "it is a list", "give one text")),
        }
    }

    /// The lines of a list; none if it is not there.
    pub fn list(&self, name: &str) -> Vec<&str> {
        match self.held.get(name) {
            None => Vec::new(),
            Some(Held::Text(text)) => text.lines().map(str::trim).filter(|line| !line.is_empty()).collect(),
            Some(Held::List(lines)) => lines.iter().map(|line| line.trim()).filter(|line| !line.is_empty()).collect(),
        }
    }

    /// A field that may be empty.
    pub fn optional(&self, name: &str) -> Result<Option<String>> {
        Ok(Some(self.text(name)?.trim()).filter(|text| !text.is_empty()).map(str::to_owned))
    }

    /// A number; a comma may stand for the decimal point.
    pub fn number(&self, name: &str) -> Result<Option<f64>> {
        let Some(typed) = self.optional(name)? else { return Ok(None) };
        number(name, &typed).map(Some)
    }

    /// A whole number from 0.
    pub fn whole<N: std::str::FromStr>(&self, name: &str) -> Result<Option<N>> {
        let Some(typed) = self.optional(name)? else { return Ok(None) };
        let hint = "give a whole number from 0";
        let read =
            typed.parse().map_err(|_| Error::refused(name, format!("`{}` is no whole number", short(&typed)), hint));
        read.map(Some)
    }

    /// A time.
    pub fn time(&self, name: &str) -> Result<Option<Timestamp>> {
        let Some(typed) = self.optional(name)? else { return Ok(None) };
        let hint = "write it as 2026-03-01T09:00:00Z, with Z or the difference from it";
        let read = typed.parse().map_err(|_| Error::refused(name, format!("`{}` is no time", short(&typed)), hint))?;
        // As finely as it is kept, so that it is found again.
        Ok(Some(text::of_database(text::to_database(read))))
    }

    /// Yes or no; no if it is empty.
    pub fn truth(&self, name: &str) -> Result<bool> {
        match self.text(name)?.trim().to_ascii_lowercase().as_str() {
            "" | "false" | "no" | "0" => Ok(false),
            "true" | "yes" | "1" => Ok(true),
            other => Err(Error::refused(name, format!("`{}` is neither yes nor no", short(other)), "write yes or no")),
        }
    }
}

pub(super) fn number(name: &str, typed: &str) -> Result<f64> {
    let plain = if typed.contains('.') { typed.to_owned() } else { typed.replacen(',', ".", 1) };
    plain
        .trim()
        .parse::<f64>()
        .ok()
        .filter(|number| number.is_finite())
        .ok_or_else(|| Error::refused(name, format!("`{}` is no number", short(typed)), "give a number such as 3.5"))
}

/// The beginning of what was typed, for messages.
pub(super) fn short(typed: &str) -> String {
    typed.chars().take(40).map(|letter| if letter.is_control() { ' ' } else { letter }).collect()
}

/// Whether a spreadsheet would take a cell for a formula, however many quotes stand before it.
fn looks_like_a_formula(cell: &str) -> bool {
    cell.trim_start_matches('\'').starts_with(['=', '+', '-', '@', '\t', '\r'])
}

/// A cell that no spreadsheet takes for a formula: with a quote before it, if it would.
pub(super) fn guarded(cell: &str) -> String {
    if looks_like_a_formula(cell) { format!("'{cell}") } else { cell.to_owned() }
}

/// The cell as it was before [`guarded`].
pub(super) fn unguarded(cell: &str) -> &str {
    match cell.strip_prefix('\'') {
        Some(rest) if looks_like_a_formula(rest) => rest,
        _ => cell,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn cells_that_look_like_formulas_are_guarded_and_come_back() {
        for cell in ["=1+1", "+1", "-1", "@SUM(A1)", "'=1", "''+1", "\t=1", "'quoted'", "", "plain", "a=b", "'"] {
            let kept = guarded(cell);
            assert!(!kept.starts_with(['=', '+', '-', '@', '\t', '\r']), "{kept}");
            assert_eq!(unguarded(&kept), cell);
        }
    }
}
