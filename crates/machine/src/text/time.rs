//! Times as IEC 61131-3 writes them: `T#1.5s`, `T#200ms`, `TIME#1m30s`.

/// The longest time that a file may name: 30 days, in ms.
pub const LONGEST_MS: u64 = 30 * 24 * 3_600_000;

/// Reads a time in ms. The error says what is wrong, fit to follow "this time".
///
/// # Errors
/// When the text isn't a time literal or the time is longer than [`LONGEST_MS`].
///
/// ```
/// use machine::text::time::parse_time;
/// assert_eq!(parse_time("T#1m30s"), Ok(90_000));
/// assert_eq!(parse_time("T#1.5s"), Ok(1_500));
/// assert!(parse_time("5s").is_err());
/// ```
pub fn parse_time(text: &str) -> Result<u64, String> {
    let text = text.trim();
    let body = ["T#", "TIME#", "t#", "time#"]
        .iter()
        .find_map(|prefix| text.strip_prefix(prefix))
        .ok_or_else(|| format!("`{text}` is not a time"))?;
    let mut rest = body;
    let mut total = 0.0_f64;
    let mut last_unit = f64::INFINITY;
    if rest.is_empty() {
        return Err(format!("`{text}` has no number"));
    }
    while !rest.is_empty() {
        let digits = rest.find(|c: char| !(c.is_ascii_digit() || c == '.' || c == '_')).unwrap_or(rest.len());
        let (number, after) = rest.split_at(digits);
        let letters = after.find(|c: char| !c.is_ascii_alphabetic()).unwrap_or(after.len());
        let (unit, after) = after.split_at(letters);
        let value: f64 =
            number.replace('_', "").parse().map_err(|_| format!("`{text}`: a number is missing before `{unit}`"))?;
        let unit_ms = match unit.to_ascii_lowercase().as_str() {
            "d" => 86_400_000.0,
            "h" => 3_600_000.0,
            "m" => 60_000.0,
            "s" => 1_000.0,
            "ms" => 1.0,
            "" => return Err(format!("`{text}`: a unit is missing after {number}")),
            _ => return Err(format!("`{text}`: `{unit}` is no unit of time")),
        };
        if unit_ms >= last_unit {
            return Err(format!("`{text}`: units go from the longest to the shortest"));
        }
        last_unit = unit_ms;
        total += value * unit_ms;
        rest = after.trim_start_matches('_');
    }
    #[allow(clippy::cast_precision_loss)]
    let longest = LONGEST_MS as f64;
    if total > longest {
        return Err(format!("`{text}` is longer than 30 days"));
    }
    // In range, so the cast is exact after rounding.
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)]
    Ok(total.round() as u64)
}

/// What to do about a bad time.
pub const HINT: &str = "write times like T#200ms, T#1.5s, T#2m, T#1h or T#1m30s";

/// Writes a time the way the file does.
///
/// ```
/// use machine::text::time::show_time;
/// assert_eq!(show_time(90_000), "T#1m30s");
/// assert_eq!(show_time(1_500), "T#1s500ms");
/// assert_eq!(show_time(0), "T#0s");
/// ```
#[must_use]
pub fn show_time(ms: u64) -> String {
    if ms == 0 {
        return "T#0s".to_string();
    }
    let mut text = "T#".to_string();
    let mut rest = ms;
    for (unit, size) in [("d", 86_400_000), ("h", 3_600_000), ("m", 60_000), ("s", 1_000), ("ms", 1)] {
        if rest >= size {
            text.push_str(&format!("{}{unit}", rest / size));
            rest %= size;
        }
    }
    text
}
