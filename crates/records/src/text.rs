//! Texts of people, cleaned before they are kept: no control characters, no NUL, a limit on their length.

use crate::error::{Error, Result};
use jiff::Timestamp;

/// Letters of a name at most.
pub const LONGEST_NAME: usize = 200;
/// Letters of one line at most.
pub const LONGEST_LINE: usize = 4_000;
/// Letters of notes at most.
pub const LONGEST_NOTES: usize = 100_000;

/// One line without control characters or blanks at its ends, which may be empty.
pub(crate) fn line(what: &str, text: &str, longest: usize) -> Result<String> {
    let clean: String = text.chars().map(|letter| if letter.is_control() { ' ' } else { letter }).collect();
    not_too_long(what, clean.trim(), longest)
}

/// A name: one line that says something.
pub(crate) fn name(what: &str, text: &str) -> Result<String> {
    let clean = line(what, text, LONGEST_NAME)?;
    if clean.is_empty() {
        return Err(Error::refused(what, "it is empty", "give it a name"));
    }
    Ok(clean)
}

/// Several lines; line ends and tabs stay, other control characters become blanks.
pub(crate) fn notes(what: &str, text: &str) -> Result<String> {
    let text = text.replace("\r\n", "\n");
    let keep = |letter: char| if letter.is_control() && !matches!(letter, '\n' | '\t') { ' ' } else { letter };
    let clean: String = text.chars().map(keep).collect();
    not_too_long(what, clean.trim(), LONGEST_NOTES)
}

fn not_too_long(what: &str, text: &str, longest: usize) -> Result<String> {
    if text.chars().count() > longest {
        let cause = format!("it is longer than {longest} letters");
        return Err(Error::refused(what, cause, "shorten it, or keep the rest in the notes"));
    }
    Ok(text.to_owned())
}

/// A number that is finite and not below 0.
pub(crate) fn amount(what: &str, value: f64) -> Result<f64> {
    if value.is_finite() && value >= 0.0 {
        return Ok(value);
    }
    Err(Error::refused(what, format!("{value} is no amount"), "give a number from 0 up"))
}

/// A number from 0 that is still to be believed; more is a slip of the finger or of a column.
pub(crate) fn up_to(what: &str, value: f64, most: f64) -> Result<f64> {
    let value = amount(what, value)?;
    if value <= most {
        return Ok(value);
    }
    Err(Error::refused(what, format!("{value} is more than {most}"), "look for a digit too many, or another unit"))
}

/// The same for whole numbers.
pub(crate) fn count_up_to(what: &str, value: u32, most: u32) -> Result<u32> {
    if value <= most {
        return Ok(value);
    }
    Err(Error::refused(what, format!("{value} is more than {most}"), "look for a digit too many"))
}

/// A probability.
pub(crate) fn probability(what: &str, value: f64) -> Result<f64> {
    if (0.0..=1.0).contains(&value) {
        return Ok(value);
    }
    Err(Error::refused(what, format!("{value} is no probability"), "give a number from 0 to 1"))
}

/// The number that a serial number ends with, by which a machine file tells revisions: `PW-1187` is 1187.
///
/// ```
/// assert_eq!(records::serial_number("PW-1187"), Some(1187));
/// assert_eq!(records::serial_number("no digits"), None);
/// ```
#[must_use]
pub fn serial_number(serial: &str) -> Option<u64> {
    let serial = serial.trim_end();
    let digits = serial.chars().rev().take_while(char::is_ascii_digit).count();
    // More than the database can hold is no serial number of a machine.
    serial[serial.len() - digits..].parse::<u64>().ok().filter(|number| i64::try_from(*number).is_ok())
}

/// A time as it is kept.
pub(crate) fn to_database(time: Timestamp) -> i64 {
    time.as_microsecond()
}

/// A time as it was kept.
pub(crate) fn of_database(microseconds: i64) -> Timestamp {
    // Only this crate writes times, so that one out of range is damage, shown as the end of time.
    Timestamp::from_microsecond(microseconds).unwrap_or(Timestamp::MAX)
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    #[test]
    fn texts_are_cleaned_and_limited() {
        assert_eq!(line("it", " a\0b\nc ", 10).unwrap(), "a b c");
        assert_eq!(notes("it", "a\r\nb\0").unwrap(), "a\nb");
        assert!(name("it", " \n ").is_err());
        assert!(line("it", &"x".repeat(11), 10).is_err());
        assert!(amount("it", f64::NAN).is_err() && amount("it", -1.0).is_err());
        assert!(probability("it", 1.1).is_err() && probability("it", f64::NAN).is_err());
    }

    #[test]
    fn the_number_of_a_serial_number() {
        assert_eq!(serial_number("PW-1187 "), Some(1187));
        assert_eq!(serial_number("2025/17"), Some(17));
        assert_eq!(serial_number("99999999999999999999999"), None);
        assert_eq!(serial_number("Ü"), None);
    }
}
