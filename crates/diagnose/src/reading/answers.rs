//! Answers to checks: "B1 own-led: on; F3 supply = missing".

use std::ops::Range;

use machine::Machine;
use machine::id::{CheckId, Id};
use machine::model::{Check, Observable};

use super::mistake::{MistakeKind, Mistakes, ReadingError, listed};
use super::nearest::{nearest, of_same_beginning};
use super::phrase::Phrases;
use super::things::{bare_key, is_article, is_word};
use super::unit::{Unit, UnitKind, units};
use crate::evidence::CheckReport;

// The German and Spanish words were not reviewed by native speakers.
/// Words for the first of two answers, on or there.
const YES: &str = "yes, on, lit, there, present, it is, it does, true, 1, ja, an, leuchtet, da, vorhanden, si, encendido, encendida, hay";
/// Words for the second, off or missing.
const NO: &str = "no, off, dark, out, not lit, not on, missing, not there, absent, none, gone, dead, it isnt, it is not, it doesnt, false, 0, nein, aus, dunkel, fehlt, nicht da, apagado, apagada, falta, no hay";

/// The most commas, and one, in an answer.
const MOST_CLAUSES: usize = 4;

/// By what a check was called; an earlier one goes before a later one.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
enum CalledBy {
    Key,
    Part,
    Device,
}

/// Reads answers to checks, separated by commas, semicolons or lines. A check
/// is called by its key (`B1/own-led`, also `B1 own led`), or by a part of it
/// that no other check has; the answer by its key or words, or yes and no where
/// there are two answers. The reports come in the order of the text, at most
/// one for each check.
///
/// # Errors
/// Every mistake of the text: checks that don't exist or are not clear, answers
/// that the check does not have, two answers to one check.
pub fn read_checks(machine: &Machine, text: &str) -> Result<Vec<CheckReport>, Vec<ReadingError>> {
    let mistakes = Mistakes::check_length(text)?;
    let mut reader = Reader {
        machine,
        text,
        checks: names(machine),
        mistakes,
        reports: Vec::new(),
        answered: vec![None; machine.checks.len()],
    };
    let units = units(text);
    for sentence in units.split(|unit| unit.kind == UnitKind::Line || unit.text == ";") {
        let clauses: Vec<&[Unit]> = sentence.split(|unit| unit.text == ",").collect();
        let mut at = 0;
        while at < clauses.len() {
            // An answer may have commas in it: take as many clauses as still are one answer.
            let whole = (2..=MOST_CLAUSES.min(clauses.len() - at))
                .rev()
                .find(|count| reader.is_answered(&clauses[at..at + count].concat()));
            let count = whole.unwrap_or(1);
            let part = essential(&clauses[at..at + count].concat());
            if part.iter().any(is_word) {
                reader.part(&part);
            }
            at += count;
        }
    }
    reader.mistakes.or(reader.reports)
}

/// Without the marks between the words of a key, which make no difference; `:` and `=` end the key.
fn essential(units: &[Unit]) -> Vec<Unit> {
    units.iter().filter(|unit| is_word(unit) || matches!(unit.text.as_str(), ":" | "=")).cloned().collect()
}

/// Each check under its key, the last part of its key, and the part before it.
fn names(machine: &Machine) -> Phrases<(CheckId, CalledBy)> {
    let mut names = Phrases::default();
    for (id, check) in machine.checks.iter() {
        names.add_key(bare_key(&check.key), (id, CalledBy::Key));
        if let Some((device, part)) = check.key.rsplit_once('/') {
            names.add_key(bare_key(part), (id, CalledBy::Part));
            names.add_key(bare_key(device), (id, CalledBy::Device));
        }
    }
    names
}

struct Reader<'t> {
    machine: &'t Machine,
    text: &'t str,
    checks: Phrases<(CheckId, CalledBy)>,
    mistakes: Mistakes,
    reports: Vec<CheckReport>,
    answered: Vec<Option<(usize, Range<usize>)>>,
}

impl Reader<'_> {
    /// Whether these units are one check and one of its answers.
    fn is_answered(&self, units: &[Unit]) -> bool {
        let units = essential(units);
        let Some(start) = units.iter().position(|unit| !is_article(&unit.text)) else { return false };
        let Some((count, called)) = self.checks.longest(&units, start, is_article) else { return false };
        let said: Vec<&str> = units[start + count..]
            .iter()
            .filter(|unit| is_word(unit) && !is_article(&unit.text))
            .map(|unit| unit.text.as_str())
            .collect();
        called.iter().any(|(check, _)| answer_of(&self.machine.checks[*check], &said).is_some())
    }

    fn part(&mut self, units: &[Unit]) {
        let start = units.iter().position(|unit| !is_article(&unit.text)).unwrap_or(0);
        let units = &units[start..];
        let whole = units[0].span.start..units[units.len() - 1].span.end;
        let colon = units.iter().position(|unit| !is_word(unit));
        let Some((count, called)) = self.checks.longest(units, 0, is_article) else {
            let key = colon
                .filter(|colon| *colon > 0)
                .map_or(whole.clone(), |colon| units[0].span.start..units[colon - 1].span.end);
            return self.unknown_check(key);
        };
        let best = called.iter().map(|(_, by)| *by).min();
        let checks: Vec<CheckId> = called.iter().filter(|(_, by)| Some(*by) == best).map(|(id, _)| *id).collect();
        let key = units[0].span.start..units[count - 1].span.end;
        let answer = &units[count..];
        if let Some(colon) = answer.iter().position(|unit| !is_word(unit)).filter(|colon| *colon > 0) {
            // Words between the check's name and the colon: it was called otherwise.
            return self.unknown_check(units[0].span.start..answer[colon - 1].span.end);
        }
        let words: Vec<Unit> = answer.iter().filter(|unit| is_word(unit) && !is_article(&unit.text)).cloned().collect();
        let span = words.first().zip(words.last()).map(|(first, last)| first.span.start..last.span.end);
        match (checks.as_slice(), span) {
            ([check], Some(span)) => self.answer(*check, &words, span, whole),
            ([check], None) => {
                let hint = format!("put {} behind it", self.answers(*check));
                self.mistakes.add(MistakeKind::NothingSaid, key, "the answer to this check is missing", hint);
            }
            _ => {
                let keys: Vec<&str> =
                    checks.iter().map(|check| self.machine.checks[*check].key.as_str()).take(8).collect();
                self.mistakes.add(
                    MistakeKind::SeveralOfThatName,
                    key.clone(),
                    format!("`{}` can be more than one check", self.text.get(key).unwrap_or_default()),
                    format!("say which: {}", listed(&keys, "or")),
                );
            }
        }
    }

    fn unknown_check(&mut self, span: Range<usize>) {
        if !self.mistakes.wanted() {
            return;
        }
        let typed = self.text.get(span.clone()).unwrap_or_default();
        let keys = || self.machine.checks.rows().map(|check| check.key.as_str());
        let mut near = nearest(typed, keys(), 3);
        if near.is_empty() {
            // It may name the device rightly, and what of it wrongly.
            near = of_same_beginning(&bare_key(typed), keys().map(|key| (key, bare_key(key))), 4);
        }
        let hint = if near.is_empty() {
            "write it as `DEVICE/CHECK: ANSWER`, as in the list of checks".to_owned()
        } else {
            format!("did you mean {}?", listed(&near, "or"))
        };
        self.mistakes.add(MistakeKind::NoSuchName, span, format!("there is no check `{typed}`"), hint);
    }

    fn answer(&mut self, check: CheckId, words: &[Unit], span: Range<usize>, whole: Range<usize>) {
        let row = &self.machine.checks[check];
        let said: Vec<&str> = words.iter().map(|unit| unit.text.as_str()).collect();
        let Some(answer) = answer_of(row, &said) else {
            let typed = self.text.get(span.clone()).unwrap_or_default();
            let what = format!("`{typed}` is no answer to `{}`", row.key);
            let hint = format!("say {}", self.answers(check));
            self.mistakes.add(MistakeKind::NoSuchName, span, what, hint);
            return;
        };
        match &self.answered[check.index()] {
            Some((before, _)) if *before == answer => {}
            Some((_, other)) => self.mistakes.push(ReadingError {
                kind: MistakeKind::Contradiction,
                span: whole,
                other: Some(other.clone()),
                what: format!("`{}` is answered in two ways", row.key),
                hint: "say it once".to_owned(),
            }),
            None => {
                self.answered[check.index()] = Some((answer, whole));
                self.reports.push(CheckReport { check, answer });
            }
        }
    }

    fn answers(&self, check: CheckId) -> String {
        let keys: Vec<&str> = self.machine.checks[check].answers.iter().map(|answer| answer.key.as_str()).collect();
        listed(&keys, "or")
    }
}

/// The answer that was said, if it is clear: by key, by words, then as yes or no.
fn answer_of(check: &Check, said: &[&str]) -> Option<usize> {
    let is = |text: &str| {
        let key: Vec<String> = bare_key(text).into_iter().filter(|unit| !is_article(unit)).collect();
        !key.is_empty() && key.iter().map(String::as_str).eq(said.iter().copied())
    };
    if let Some(answer) = check.answers.iter().position(|answer| is(&answer.key)) {
        return Some(answer);
    }
    let by_words = |answer: &machine::model::Answer| {
        is(&answer.words.english) || answer.words.translations.iter().any(|(_, text)| is(text))
    };
    if let Some(answer) = check.answers.iter().position(by_words) {
        return Some(answer);
    }
    let two = check.answers.len() == 2 && !matches!(check.observes, Observable::Position(_));
    let among = |list: &str| list.split(", ").any(is);
    match (two && among(YES), two && among(NO)) {
        (true, false) => Some(0),
        (false, true) => Some(1),
        _ => None,
    }
}

/// The answers as a person would write them: `B1/own-led: on; F3/supply: off`.
/// Answers that the machine's checks do not have are left out.
#[must_use]
pub fn describe_checks(machine: &Machine, reports: &[CheckReport]) -> String {
    let said = reports.iter().filter_map(|report| {
        let check = machine.checks.get(report.check)?;
        Some(format!("{}: {}", check.key, check.answers.get(report.answer)?.key))
    });
    said.collect::<Vec<_>>().join("; ")
}
