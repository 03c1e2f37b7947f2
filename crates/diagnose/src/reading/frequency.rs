//! How often it fails, from what people say: "1 in 20 cycles", "every tenth jar", "5 % of the time".

use std::ops::Range;

use super::complaint::read_complaint;
use super::mistake::{MistakeKind, ReadingError};
use crate::evidence::Complaint;

/// What "now and then" is taken for, cycles (common practice, no source).
const NOW_AND_THEN: f64 = 20.0;
/// Rarer than this nobody counts.
const RAREST: f64 = 1e6;

/// The German and Spanish words were not reviewed by native speakers.
const VAGUE: &[&str] = &[
    "now and then",
    "every now and then",
    "sometimes",
    "occasionally",
    "intermittent",
    "intermittently",
    "from time to time",
    "once in a while",
    "sporadic",
    "sporadically",
    "manchmal",
    "ab und zu",
    "sporadisch",
    "a veces",
    "de vez en cuando",
];

/// Reads after how many cycles it fails once, with the place in the text that says so. `None` if nothing is
/// said of it, or if it fails every time.
///
/// ```
/// use diagnose::reading::read_frequency;
/// assert_eq!(read_frequency("stops midway, 1 in 20 cycles").map(|(cycles, _)| cycles), Some(20.0));
/// assert_eq!(read_frequency("every 10th jar").map(|(cycles, _)| cycles), Some(10.0));
/// assert_eq!(read_frequency("5 % of the time").map(|(cycles, _)| cycles), Some(20.0));
/// assert_eq!(read_frequency("it won't start"), None);
/// ```
#[must_use]
pub fn read_frequency(text: &str) -> Option<(f64, Range<usize>)> {
    let lower = text.to_ascii_lowercase();
    let words = words(&lower);
    for at in 0..words.len() {
        if let Some((cycles, count)) = said_at(&words[at..])
            && cycles > 1.0
            && cycles <= RAREST
        {
            return Some((cycles, words[at].1.start..words[at + count - 1].1.end));
        }
    }
    VAGUE.iter().find_map(|phrase| lower.find(phrase).map(|at| (NOW_AND_THEN, at..at + phrase.len())))
}

/// Reads what is complained of, and after how many cycles it comes once: "it stops midway, 1 in 20 cycles". One of
/// the two is enough.
///
/// # Errors
/// One mistake, if the text says neither, or more than one complaint.
pub fn read_complained(text: &str) -> Result<(Option<Complaint>, Option<f64>), Vec<ReadingError>> {
    let often = read_frequency(text).map(|(cycles, _)| cycles);
    match read_complaint(text) {
        Ok(complaint) => Ok((Some(complaint), often)),
        Err(mistakes) if often.is_some() && mistakes.iter().all(|one| one.kind == MistakeKind::NoSuchName) => {
            Ok((None, often))
        }
        Err(mistakes) => Err(mistakes),
    }
}

/// Words, numbers and percent signs, each with its place.
fn words(text: &str) -> Vec<(&str, Range<usize>)> {
    let mut found: Vec<(&str, Range<usize>)> = Vec::new();
    let kind = |letter: char| match letter {
        letter if letter.is_ascii_digit() || letter == '.' => 1,
        letter if letter.is_alphabetic() || letter == '\'' => 2,
        '%' | '/' => 3,
        _ => 0,
    };
    let mut open: Option<(usize, i32)> = None;
    for (at, letter) in text.char_indices().chain([(text.len(), ' ')]) {
        let this = kind(letter);
        if let Some((from, before)) = open
            && this != before
        {
            if before != 0 {
                found.push((&text[from..at], from..at));
            }
            open = None;
        }
        if open.is_none() {
            open = Some((at, this));
        }
    }
    found
}

fn said_at(words: &[(&str, Range<usize>)]) -> Option<(f64, usize)> {
    let word = |at: usize| words.get(at).map_or("", |(word, _)| *word);
    let number = |at: usize| number(word(at));
    match word(0) {
        // "every 10th", "every tenth", "every 10 cycles"; German "jedes zehnte", Spanish "cada 10".
        "every" | "each" | "jede" | "jeder" | "jedes" | "jeden" | "cada" => Some((number(1)?, 2)),
        _ => {
            let first = number(0)?;
            match word(1) {
                "in" | "of" | "out" | "from" | "every" | "von" | "de" | "per" | "/" => {
                    let skip = if matches!(word(2), "of" | "every") { 3 } else { 2 };
                    Some((number(skip)? / first, skip + 1)).filter(|_| first > 0.0)
                }
                "%" | "percent" | "prozent" => Some((100.0 / first, 2)).filter(|_| first > 0.0),
                _ => None,
            }
        }
    }
}

fn number(word: &str) -> Option<f64> {
    const SAID: [(&str, f64); 26] = [
        ("once", 1.0),
        ("one", 1.0),
        ("a", 1.0),
        ("twice", 2.0),
        ("two", 2.0),
        ("second", 2.0),
        ("other", 2.0),
        ("three", 3.0),
        ("third", 3.0),
        ("four", 4.0),
        ("fourth", 4.0),
        ("five", 5.0),
        ("fifth", 5.0),
        ("six", 6.0),
        ("sixth", 6.0),
        ("eight", 8.0),
        ("eighth", 8.0),
        ("ten", 10.0),
        ("tenth", 10.0),
        ("twelve", 12.0),
        ("twenty", 20.0),
        ("twentieth", 20.0),
        ("fifty", 50.0),
        ("hundred", 100.0),
        ("zehnte", 10.0),
        ("thousand", 1000.0),
    ];
    let plain = word.parse::<f64>().ok().filter(|number| number.is_finite());
    plain.or_else(|| SAID.iter().find(|(said, _)| *said == word).map(|(_, number)| *number))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn cycles(text: &str) -> Option<f64> {
        read_frequency(text).map(|(cycles, _)| cycles)
    }

    #[test]
    fn people_say_it_in_many_ways() {
        for text in
            ["1 in 20", "1 in 20 cycles", "once in 20 jars", "once every twenty", "5 out of 100", "1/20", "sometimes"]
        {
            assert_eq!(cycles(text), Some(20.0), "{text}");
        }
        assert_eq!(cycles("every other cycle"), Some(2.0));
        assert_eq!(cycles("it stops midway about 1 in 50 times"), Some(50.0));
    }

    #[test]
    fn what_is_no_frequency_is_none() {
        for text in ["", "won't start", "1 in 1", "20 in 1", "in 20", "every", "1 in", "0 in 20", "1 in 0", "0 %", "…%"]
        {
            assert_eq!(cycles(text), None, "{text}");
        }
    }

    #[test]
    fn the_place_is_what_says_so() {
        let text = "stops 1 in 20 cycles";
        let (_, place) = read_frequency(text).unwrap_or((0.0, 0..0));
        assert_eq!(&text[place], "1 in 20");
    }
}
