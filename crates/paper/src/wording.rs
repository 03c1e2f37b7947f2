//! Words that several sheets need: who, how long, how probable, and causes in the language of the sheet.

use std::collections::BTreeSet;

use diagnose::answer::{Cause, Member};
use diagnose::next::{Movement, Proposal, ToDo};
use machine::caution::Caution;
use machine::model::{DeviationKind, Remedy, Who, Words};
use machine::{Alternative, Machine};

use crate::desk::Desk;
use crate::document::{Block, Span};
use crate::language::{Label, Language};
use crate::{phrase, said};

const OPERATOR: Label = Label::new("operator", "Bediener", "operario");
const TECHNICIAN: Label = Label::new("technician", "Techniker", "técnico");
const ELECTRICIAN: Label = Label::new("qualified electrician", "Elektrofachkraft", "electricista cualificado");
const MARKS: Label = Label::new(
    "Cautions, said before what they belong to by their letter:",
    "Warnungen, vor dem Genannten mit ihrem Buchstaben:",
    "Precauciones, indicadas con su letra antes de cada acción:",
);

/// Who may do something.
pub fn who(who: Who, language: Language) -> &'static str {
    match who {
        Who::Operator => OPERATOR,
        Who::Technician => TECHNICIAN,
        Who::Electrician => ELECTRICIAN,
    }
    .of(language)
}

/// Minutes, short.
pub fn minutes(minutes: f64, language: Language) -> String {
    let text = match minutes {
        minutes if minutes < 1.0 => format!("{:.0}\u{a0}s", (minutes * 60.0).max(1.0)),
        minutes if minutes < 120.0 => format!("{minutes:.0}\u{a0}min"),
        minutes => format!("{:.1}\u{a0}h", minutes / 60.0),
    };
    language.numbers(&text)
}

/// A probability, short; never rounded to certainty.
pub fn percent(probability: f64) -> String {
    match probability * 100.0 {
        p if p >= 99.5 => ">99\u{a0}%".to_owned(),
        p if p >= 0.95 => format!("{p:.0}\u{a0}%"),
        p if p > 0.0 => "<1\u{a0}%".to_owned(),
        _ => "0\u{a0}%".to_owned(),
    }
}

/// A caution in the language of the sheet.
pub fn caution(caution: Caution, language: Language) -> String {
    caution.words().in_language(language.tag()).to_owned()
}

/// Cautions of a sheet that are said in full once, above everything, and by their letter before what they belong to. A letter
/// means the same on all sheets.
#[derive(Default)]
pub struct Marks(BTreeSet<Caution>);

impl Marks {
    /// What stands before the words: "! A C ", or nothing.
    pub fn before(&mut self, cautions: &[Caution]) -> Option<Span> {
        self.0.extend(cautions);
        let marks: Vec<String> = cautions.iter().map(|one| letter(*one).to_string()).collect();
        (!marks.is_empty()).then(|| Span::strong(format!("!\u{a0}{} ", marks.join("\u{a0}"))))
    }

    /// All that were used, to be set above everything.
    pub fn legend(&self, language: Language) -> Vec<Block> {
        if self.0.is_empty() {
            return Vec::new();
        }
        let texts = self.0.iter().map(|one| format!("{} {}", letter(*one), caution(*one, language)));
        vec![Block::Text(vec![Span::plain(MARKS.of(language))]), Block::Caution(texts.collect())]
    }
}

fn letter(caution: Caution) -> char {
    ('A'..='Z').zip(Caution::ALL).find(|(_, one)| *one == caution).map_or('!', |(letter, _)| letter)
}

/// What is said before something: cautions, then what can move.
pub fn said_before(desk: &Desk<'_>, cautions: &[Caution], movements: &[Movement]) -> Vec<String> {
    let mut said: Vec<String> = cautions.iter().map(|one| caution(*one, desk.language())).collect();
    said.extend(can_move(desk, movements));
    said
}

/// What can move, in one sentence.
pub fn can_move(desk: &Desk<'_>, movements: &[Movement]) -> Option<String> {
    said::can_move(desk.machine(), desk.language(), movements)
}

/// The same where it stands in a list: of many only that they are many.
pub fn can_move_in_short(desk: &Desk<'_>, movements: &[Movement]) -> Option<String> {
    said::can_move_in_short(desk.machine(), desk.language(), movements)
}

/// What a cause is called: in English as the answer says it, else from the words of its members.
pub fn cause(desk: &Desk<'_>, cause: &Cause) -> String {
    if desk.language() == Language::English {
        return cause.words.clone();
    }
    of_members(cause.members.iter().map(|one| member(desk, one)))
}

/// A cause by the words of its members, of which the first ones stand for all; empty if there are none.
pub fn of_members(words: impl Iterator<Item = String>) -> String {
    /// Members that stand for all.
    const NAMED: usize = 2;
    // The same thing forgotten in two routines has the same words.
    let mut named: Vec<String> = Vec::new();
    for words in words {
        if !named.contains(&words) {
            named.push(words);
        }
    }
    let more = if named.len() > NAMED { " / …" } else { "" };
    named.truncate(NAMED);
    format!("{}{more}", named.join(" / "))
}

/// What a deviation is called, with its device.
pub fn member(desk: &Desk<'_>, member: &Member) -> String {
    deviation(desk, &member.key).unwrap_or_else(|| member.words.clone())
}

fn deviation(desk: &Desk<'_>, key: &str) -> Option<String> {
    deviation_words(desk.alternatives(), key, desk.language())
}

/// What the deviation of this key is called, with its device. What only another alternative than the first has is among the
/// causes, too.
pub fn deviation_words(alternatives: &[Alternative], key: &str, language: Language) -> Option<String> {
    let all = alternatives.iter().map(|one| &one.machine);
    let mut all = all.flat_map(|machine| machine.deviations.rows().map(move |row| (machine, row)));
    let (machine, row) = all.find(|(_, row)| row.key == key)?;
    let words = phrase::words(&row.words, key, language);
    Some(match row.kind {
        DeviationKind::Fault(device) => {
            let device = &machine.devices[device];
            format!("{}: {words}", phrase::words(&device.words, &device.name, language))
        }
        DeviationKind::Lapse => words.to_owned(),
    })
}

/// What somebody is asked to do. With a remedy stands its device where its own words don't name it, as nothing else on
/// paper says which of several like ones is meant.
pub fn to_be_done(desk: &Desk<'_>, to_do: &ToDo, words: &Words, key: &str) -> String {
    let remedy = match to_do {
        ToDo::Remedy(remedy) => desk.machine().remedies.get(*remedy),
        _ => None,
    };
    remedy.map_or_else(|| desk.words(words, key).to_owned(), |row| remedy_words(desk.machine(), row, desk.language()))
}

/// A remedy, with its device where its own words don't name it: by its tag, as `B4`, else by what people call it.
pub fn remedy_words(machine: &Machine, remedy: &Remedy, language: Language) -> String {
    let words = phrase::words(&remedy.words, &remedy.key, language);
    let Some(device) = remedy.device.and_then(|device| machine.devices.get(device)) else { return words.to_owned() };
    // `B4 cable` and `dc24` are names of the file alone.
    let is_tag = device.name.starts_with(char::is_uppercase)
        && device.name.contains(|letter: char| letter.is_ascii_digit())
        && !device.name.contains(' ');
    let mechanism = machine.mechanisms.rows().find(|row| row.name == device.name);
    let stand_in = device.name.replace('_', " ");
    let name = match mechanism {
        Some(row) if !is_tag => phrase::words(&row.words, &stand_in, language),
        _ if is_tag => stand_in.as_str(),
        _ => phrase::words(&device.words, &stand_in, language),
    };
    if words.contains(name) { words.to_owned() } else { format!("{name}: {words}") }
}

/// The words of an answer to something that is asked.
pub fn answer(desk: &Desk<'_>, to_do: &ToDo, key: &str, english: &str) -> String {
    said::answer(desk.machine(), desk.language(), to_do, key, english)
}

/// A cause as an answer tells it, in the language of the sheet; `key` is that of its deviation.
pub fn told_cause(desk: &Desk<'_>, words: &str, key: Option<&str>) -> String {
    let known = key.filter(|_| desk.language() != Language::English);
    match known.and_then(|key| deviation(desk, key)) {
        Some(words) => words,
        None => said::common(words).map_or(words, |label| label.of(desk.language())).to_owned(),
    }
}

/// Minutes and who, for something proposed.
pub fn effort(desk: &Desk<'_>, proposal: &Proposal) -> String {
    format!("{}, {}", minutes(proposal.minutes, desk.language()), who(proposal.who, desk.language()))
}
