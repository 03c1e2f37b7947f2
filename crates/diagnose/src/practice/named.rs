//! What somebody means by a word or two: things are found by their key, else by any words of theirs.

/// Words that say nothing about which one is meant.
const FILLERS: [&str; 8] = ["the", "a", "an", "is", "was", "it", "of", "at"];

/// Whether something of this key and these words is meant.
type Way<'w> = &'w dyn Fn(&str, &[String]) -> bool;

/// Which of these is meant: by its key, else by its words, else by words that it has among others, else by their
/// beginnings. Each is a key and a text in which it can be found; more than one where the words fit them all.
///
/// ```
/// use diagnose::practice::meant;
/// let all = [("lapse/cup in", "forgotten: put the cup in"), ("B3/dead", "door switch: dead"), ("B4/dead", "lift switch: dead")];
/// assert_eq!(meant("cup", all), [0]);
/// assert_eq!(meant("b3/dead", all), [1]);
/// assert_eq!(meant("the switch", all), [1, 2]);
/// assert!(meant("spoon", all).is_empty());
/// ```
#[must_use]
pub fn meant<'k>(typed: &str, all: impl IntoIterator<Item = (&'k str, &'k str)>) -> Vec<usize> {
    let all: Vec<(&str, Vec<String>)> = all.into_iter().map(|(key, text)| (key, words(text))).collect();
    let those = |is_so: Way<'_>| -> Vec<usize> { (0..all.len()).filter(|at| is_so(all[*at].0, &all[*at].1)).collect() };
    let wanted = words(typed);
    let telling: Vec<&String> = wanted.iter().filter(|word| !FILLERS.contains(&word.as_str())).collect();
    if telling.is_empty() {
        return Vec::new();
    }
    let by_key = those(&|key, _| key.eq_ignore_ascii_case(typed.trim()) || words(key) == wanted);
    let has = |own: &[String], word: &str| own.iter().any(|one| one == word);
    let begins = |own: &[String], word: &str| own.iter().any(|one| one.starts_with(word));
    let in_key = |key: &str, own: &[String]| {
        let key = words(key);
        telling.iter().all(|word| has(&key, word) || has(own, word))
    };
    let ways: [Way<'_>; 3] = [&|_, own| own == wanted, &in_key, &|key, own| {
        telling.iter().all(|word| begins(&words(key), word) || begins(own, word))
    }];
    let by_words = || ways.into_iter().map(those).find(|found| !found.is_empty()).unwrap_or_default();
    if by_key.is_empty() { by_words() } else { by_key }
}

fn words(text: &str) -> Vec<String> {
    let lower = text.to_lowercase();
    let parts = lower.split(|letter: char| !letter.is_alphanumeric());
    parts.filter(|part| !part.is_empty()).map(str::to_owned).collect()
}
