//! What was said, in words. Entries keep the keys of checks, remedies and questions, so that they mean the same for ever;
//! people read what these ask and answer.

use diagnose::call::{Entry, Kind};
use diagnose::reading::{read_checks, read_complained, read_remedies};
use diagnose::wording::{complaint, says};
use machine::Machine;
use machine::model::Remedy;

/// An entry as people say it.
pub fn in_words(machine: &Machine, entry: &Entry) -> String {
    let words = match entry.kind {
        Kind::Complaint => complained(&entry.text),
        Kind::Found => found(machine, &entry.text),
        Kind::Tried => tried(machine, &entry.text),
        Kind::Unknown | Kind::Cannot => question(machine, &entry.text),
        _ => None,
    };
    words.unwrap_or_else(|| entry.text.clone())
}

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

fn found(machine: &Machine, text: &str) -> Option<String> {
    let reports = read_checks(machine, text).ok().filter(|reports| !reports.is_empty())?;
    let one = |report: &diagnose::evidence::CheckReport| {
        let check = machine.checks.get(report.check)?;
        let answer = check.answers.get(report.answer)?;
        Some(format!("{} – {}", check.operator.english, answer.words.english))
    };
    let all: Option<Vec<String>> = reports.iter().map(one).collect();
    all.map(|all| all.join("; "))
}

fn tried(machine: &Machine, text: &str) -> Option<String> {
    let remedies = read_remedies(machine, text).ok().filter(|remedies| !remedies.is_empty())?;
    let all: Option<Vec<String>> =
        remedies.iter().map(|id| machine.remedies.get(*id).map(|one| remedy(machine, one))).collect();
    all.map(|all| all.join("; "))
}

/// A remedy with the device it is about, where its words do not say it.
fn remedy(machine: &Machine, remedy: &Remedy) -> String {
    let words = &remedy.words.english;
    match remedy.device.and_then(|device| machine.devices.get(device)) {
        Some(device) if !says(words, &device.name) => format!("{words} ({})", device.name),
        _ => words.clone(),
    }
}

/// What a question's key asks.
fn question(machine: &Machine, key: &str) -> Option<String> {
    match key {
        "complaint" => return Some("what is wrong".to_owned()),
        "did" => return Some("what was done last".to_owned()),
        "lamps" => return Some("which lamps are lit".to_owned()),
        "go-on" => return Some("going on as usual".to_owned()),
        _ => {}
    }
    let (kind, name) = key.split_once(':')?;
    match kind {
        "check" => machine.checks.rows().find(|check| check.key == name).map(|check| check.operator.english.clone()),
        "remedy" => machine.remedies.rows().find(|one| one.key == name).map(|one| remedy(machine, one)),
        "lamp" => Some(format!("how the lamp {name} is")),
        "position" => {
            let row = machine.mechanisms.rows().find(|row| row.name == name)?;
            Some(format!("where it stands: {}", row.words.english))
        }
        "do" => Some(format!("doing: {}", name.replace(['-', '_'], " "))),
        _ => None,
    }
}
