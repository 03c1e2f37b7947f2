//! Which names a mistyped one may have meant: those that look like it, and
//! for numbered labels the neighbours in number.

use super::unit::{Unit, UnitKind, fold, units};

/// A typed name longer than this is not compared; it is no slip of a finger.
const LONGEST_COMPARED: usize = 40;

/// The keys that begin most like the typed one, such as all of the device it names, at most `count`;
/// none if not even the first units are alike.
pub(super) fn of_same_beginning<'k>(
    typed: &[String],
    keys: impl IntoIterator<Item = (&'k str, Vec<String>)>,
    count: usize,
) -> Vec<String> {
    let shared = |key: &[String]| key.iter().zip(typed).take_while(|(one, other)| one == other).count();
    let keys: Vec<(usize, &str)> = keys.into_iter().map(|(key, units)| (shared(&units), key)).collect();
    let most = keys.iter().map(|(shared, _)| *shared).max().filter(|most| *most > 0);
    keys.into_iter().filter(|(shared, _)| Some(*shared) == most).take(count).map(|(_, key)| key.to_owned()).collect()
}

/// The names most like the typed one, the likeliest first, at most `count`.
pub(super) fn nearest<'n>(typed: &str, names: impl IntoIterator<Item = &'n str>, count: usize) -> Vec<String> {
    if typed.len() > LONGEST_COMPARED {
        return Vec::new();
    }
    let wanted = fold(typed);
    let mut scored: Vec<(usize, usize, &str)> = Vec::new();
    for (place, name) in names.into_iter().enumerate() {
        if name.len() > LONGEST_COMPARED || scored.iter().any(|(_, _, other)| *other == name) {
            continue;
        }
        let offered = fold(name);
        let apart = strsim::damerau_levenshtein(&wanted, &offered);
        let longer = wanted.chars().count().max(offered.chars().count());
        let part = wanted.len() > 2 && (offered.contains(&wanted) || wanted.contains(&offered) && offered.len() > 2);
        if apart * 2 <= longer || part {
            scored.push((if part { apart.min(1) } else { apart }, place, name));
        }
    }
    scored.sort_unstable();
    scored.into_iter().take(count).map(|(_, _, name)| name.to_owned()).collect()
}

/// The labels just below and just above a numbered label that does not exist.
pub(super) fn numbered_neighbours<'n>(typed: &str, labels: impl IntoIterator<Item = &'n str>) -> Vec<String> {
    let Some((stem, number)) = stem_and_number(typed) else { return Vec::new() };
    let mut below: Option<(u64, &str)> = None;
    let mut above: Option<(u64, &str)> = None;
    for label in labels {
        let Some((other_stem, other)) = stem_and_number(label) else { continue };
        if other_stem != stem {
            continue;
        }
        if other < number && below.is_none_or(|(best, _)| other > best) {
            below = Some((other, label));
        }
        if other > number && above.is_none_or(|(best, _)| other < best) {
            above = Some((other, label));
        }
    }
    below.into_iter().chain(above).map(|(_, label)| label.to_owned()).collect()
}

/// The labels of the same letters whose number is the typed one but for a digit too many, too few or wrong, the
/// nearest in number first.
pub(super) fn slips_of_a_digit<'n>(typed: &str, labels: impl IntoIterator<Item = &'n str>) -> Vec<String> {
    let Some((stem, number)) = stem_and_number(typed) else { return Vec::new() };
    let mut found: Vec<(usize, u64, &str)> = Vec::new();
    for label in labels {
        let Some((other_stem, other)) = stem_and_number(label).filter(|(other, _)| *other == stem) else { continue };
        let apart = strsim::damerau_levenshtein(&format!("{stem}{number}"), &format!("{other_stem}{other}"));
        // A doubled digit is the likeliest slip of all.
        let doubled = number.to_string().contains(&other.to_string());
        if apart <= 1 {
            found.push((usize::from(!doubled), number.abs_diff(other), label));
        }
    }
    found.sort_unstable();
    found.into_iter().take(2).map(|(.., label)| label.to_owned()).collect()
}

/// A label without its last number, and that number: `I0.3` is `i0.` and 3.
pub(super) fn stem_and_number(label: &str) -> Option<(String, u64)> {
    if label.len() > LONGEST_COMPARED {
        return None;
    }
    let mut parts: Vec<Unit> = units(label);
    let last = parts.pop()?;
    if last.kind != UnitKind::Digits {
        return None;
    }
    Some((parts.into_iter().map(|unit| unit.text).collect(), last.text.parse().ok()?))
}

#[cfg(test)]
mod tests {
    use super::*;

    const LABELS: [&str; 6] = ["X0", "X7", "X10", "Y7", "POWER", "RUN"];

    #[test]
    fn a_digit_typed_twice_is_taken_for_one() {
        let labels: Vec<String> = (1..=10).map(|number| format!("I{number}")).collect();
        assert_eq!(slips_of_a_digit("I77", labels.iter().map(String::as_str)), ["I7"]);
        assert_eq!(slips_of_a_digit("I20", labels.iter().map(String::as_str)), ["I2", "I10"]);
        assert!(slips_of_a_digit("I777", labels.iter().map(String::as_str)).is_empty());
    }

    #[test]
    fn neighbours_in_number_are_offered() {
        assert_eq!(numbered_neighbours("X9", LABELS), ["X7", "X10"]);
        assert_eq!(numbered_neighbours("x 20", LABELS), ["X10"]);
        assert!(numbered_neighbours("Z9", LABELS).is_empty());
    }

    #[test]
    fn names_that_look_alike_are_offered() {
        assert_eq!(nearest("POWR", LABELS, 3), ["POWER"]);
        assert_eq!(nearest("nozzel", ["nozzle lift", "nozzle", "door"], 1), ["nozzle"]);
        assert!(nearest("quite another", LABELS, 3).is_empty());
    }
}
