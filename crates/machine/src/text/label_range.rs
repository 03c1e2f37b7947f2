//! Lists of lamp labels: `X0..X7 X10..X13 POWER`. Ranges count in decimal or in octal.

use super::{Mistake, Word};

/// The most labels that one range may stand for.
const LARGEST_RANGE: u32 = 1_000;

/// Expands a list of labels and ranges, separated by blanks or commas.
///
/// # Errors
/// When the ends of a range don't belong together, or it has too many labels.
///
/// ```
/// use machine::text::label_range::expand;
/// let labels: Vec<String> = expand("X6..X11 POWER", true).unwrap().into_iter().map(|word| word.text).collect();
/// assert_eq!(labels, ["X6", "X7", "X10", "X11", "POWER"]);
/// ```
pub fn expand(text: &str, octal: bool) -> Result<Vec<Word>, Mistake> {
    let mut labels = Vec::new();
    let mut at = 0;
    for part in text.split([' ', ',', '\t', '\n']) {
        let range = at..at + part.len();
        at = range.end + 1;
        if part.is_empty() {
            continue;
        }
        match part.split_once("..").filter(|(from, to)| !from.is_empty() && !to.is_empty()) {
            Some((from, to)) => {
                for label in one_range(from, to, octal).map_err(|what| {
                    Mistake::new(range.clone(), what, "a range looks like X0..X7: the same letters, then a number")
                })? {
                    labels.push(Word { text: label, range: range.clone() });
                }
            }
            None => labels.push(Word { text: part.to_string(), range }),
        }
    }
    Ok(labels)
}

fn one_range(from: &str, to: &str, octal: bool) -> Result<Vec<String>, String> {
    let radix = if octal { 8 } else { 10 };
    let (prefix, first) = split_number(from);
    let (to_prefix, last) = split_number(to);
    if prefix != to_prefix && !to_prefix.is_empty() {
        return Err(format!("`{from}` and `{to}` begin differently"));
    }
    let number = |digits: &str| {
        u32::from_str_radix(digits, radix).map_err(|_| {
            let system = if octal { "octal" } else { "decimal" };
            format!("`{digits}` is not {system} number")
                .replace("not octal", "not an octal")
                .replace("not decimal", "not a decimal")
        })
    };
    let (low, high) = (number(first)?, number(last)?);
    if low > high || high - low > LARGEST_RANGE {
        return Err(format!("the range {from}..{to} does not go upwards or is too long"));
    }
    let width = if first.starts_with('0') && first.len() == last.len() { first.len() } else { 1 };
    Ok((low..=high)
        .map(|n| if octal { format!("{prefix}{n:0width$o}") } else { format!("{prefix}{n:0width$}") })
        .collect())
}

fn split_number(label: &str) -> (&str, &str) {
    let digits = label.bytes().rev().take_while(u8::is_ascii_digit).count();
    label.split_at(label.len() - digits)
}
