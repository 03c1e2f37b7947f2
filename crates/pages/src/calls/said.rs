//! Kinds of entries and complaints as lists say them; what an entry says stands in [`paper::entry`].

use diagnose::call::Kind;
use diagnose::reading::read_complained;
use diagnose::wording::complaint;

/// What kind of entry it is, as people say it.
pub fn kind_in_words(kind: Kind) -> &'static str {
    match kind {
        Kind::Unknown => "nobody knows",
        Kind::Cannot => "nobody there can do",
        Kind::Found => "checked",
        kind => kind.word(),
    }
}

/// A complaint as a list of calls says it.
pub fn complaint_in_words(text: &str) -> String {
    complained(text).unwrap_or_else(|| text.to_owned())
}

/// Keys of complaints are replaced, words of callers stay.
fn complained(text: &str) -> Option<String> {
    let (first, rest) = text.split_once(',').map_or((text, None), |(first, rest)| (first, Some(rest.trim())));
    let is_key = first.contains('-') && !first.contains(' ');
    let (known, _) = read_complained(first).ok().filter(|_| is_key)?;
    let words = complaint(known?);
    Some(rest.map_or_else(|| words.to_owned(), |rest| format!("{words}, {rest}")))
}
