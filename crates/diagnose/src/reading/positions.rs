//! Where mechanisms stand: "nozzle up, door shut, table between".

use std::ops::Range;
use std::sync::LazyLock;

use machine::Machine;
use machine::id::MechanismId;
use machine::model::MechanismClass;

use super::mistake::{MistakeKind, Mistakes, ReadingError, listed};
use super::phrase::Phrases;
use super::things::{Found, SaidPlace, Thing, Things, is_article, is_word};
use super::unit::{Unit, UnitKind, units};
use crate::evidence::PositionReport;

/// What a word does in a sentence about positions.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Word {
    Between,
    Not,
    Neither,
    NotLooked,
    And,
    Filler,
}

// The German and Spanish words were not reviewed by native speakers.
const WORDS: &[(Word, &str)] = &[
    (
        Word::Between,
        "between, in between, somewhere between, stuck between, between its positions, between positions, midway, halfway, half way, in the middle, partway, part way, zwischen, dazwischen, mittendrin, auf halbem weg, a medias, entre medias, a medio camino",
    ),
    (Word::Not, "not, isnt, is not, arent, are not, no longer, nicht, no"),
    (Word::Neither, "neither, weder"),
    (
        Word::NotLooked,
        "unknown, not looked at, not looked, not seen, not known, not visible, cant see, cannot see, cant tell, dont know, unbekannt, nicht gesehen, no se ve, no se, no lo se",
    ),
    (Word::And, "and, nor, or, but, und, noch, y, e, ni"),
    (
        Word::Filler,
        "the, a, an, is, are, was, at, in, on, to, its, it, stands, stands at, stays, now, also, still, position, in position, both, all, i, see, ist, sind, steht, der, die, das, den, im, auf, esta, estan, el, la, los, las, en",
    ),
];

static PHRASES: LazyLock<Phrases<Word>> = LazyLock::new(|| {
    let mut phrases = Phrases::default();
    for (word, list) in WORDS {
        list.split(", ").for_each(|phrase| phrases.add(phrase, *word));
    }
    phrases
});

/// Reads where mechanisms stand. The reports come in the order of the text, at
/// most one for each mechanism.
///
/// A mechanism is called by its name, its words, or one word of these where no
/// other has it; a position by its name or a word that means the same
/// (`closed` for `shut`). Several mechanisms may share a position ("door and lid
/// shut"). "Not shut" is understood for what hands move between two positions;
/// a driven mechanism that is not up may be down or between, so that has to be
/// said. "Not seen" gives no report.
///
/// # Errors
/// Every mistake of the text: unknown mechanisms and positions, contradictions,
/// and what leaves more than one possibility.
pub fn read_positions(machine: &Machine, text: &str) -> Result<Vec<PositionReport>, Vec<ReadingError>> {
    let mistakes = Mistakes::check_length(text)?;
    let mut reader = Reader {
        text,
        units: units(text),
        at: 0,
        things: Things::of(machine),
        machine,
        mistakes,
        open: Vec::new(),
        not: None,
        neither: None,
        closed: Vec::new(),
        reports: Vec::new(),
        places: vec![None; machine.mechanisms.len()],
    };
    while reader.at < reader.units.len() {
        reader.step();
    }
    reader.end();
    reader.mistakes.or(reader.reports)
}

struct Reader<'t> {
    text: &'t str,
    units: Vec<Unit>,
    at: usize,
    things: Things<'t>,
    machine: &'t Machine,
    mistakes: Mistakes,
    /// Mechanisms of which nothing has been said yet.
    open: Vec<(MechanismId, Range<usize>)>,
    not: Option<Range<usize>>,
    /// "neither", and the positions it denies.
    neither: Option<(Range<usize>, Vec<SaidPlace>)>,
    /// The mechanisms of which a position was said last, in this clause.
    closed: Vec<(MechanismId, Range<usize>)>,
    reports: Vec<PositionReport>,
    /// For each mechanism where it was said to stand; the inner `None` is "between".
    places: Vec<Option<(Option<u8>, Range<usize>)>>,
}

impl Reader<'_> {
    fn span(&self, count: usize) -> Range<usize> {
        self.units[self.at].span.start..self.units[self.at + count - 1].span.end
    }

    fn step(&mut self) {
        let name = self.things.longest(&self.units, self.at);
        let place = self.things.longest_place(&self.units, self.at);
        let word =
            PHRASES.longest(&self.units, self.at, |_| false).and_then(|(count, words)| Some((count, *words.first()?)));
        let length = |count: Option<usize>| count.unwrap_or(0);
        let named = length(name.as_ref().map(|(count, _)| *count));
        let placed = length(place.as_ref().map(|(count, _)| *count));
        let worded = length(word.map(|(count, _)| count));
        // A position that is called like a mechanism or a word is a position only behind a mechanism.
        let fits = place.as_ref().is_some_and(|(_, place)| {
            self.open.iter().any(|(mechanism, _)| self.things.position(*mechanism, place).is_some())
        });
        match (name, place, word) {
            (_, Some((count, place)), _) if fits && placed >= named && placed >= worded => self.place(count, place),
            (Some((count, found)), _, _) if named >= placed && named >= worded => self.name(count, found),
            (_, _, Some((count, word))) if worded >= placed || !fits => self.word(count, word),
            (_, Some((count, place)), _) => self.place(count, place),
            _ => self.other(),
        }
    }

    fn name(&mut self, count: usize, found: Found) {
        let span = self.span(count);
        let typed = self.text.get(span.clone()).unwrap_or_default();
        match found {
            Found::Thing(Thing::Mechanism(mechanism)) => self.open.push((mechanism, span)),
            Found::Thing(Thing::Supply(_)) => {
                let what = format!("`{typed}` is a supply and has no positions");
                self.mistakes.add(
                    MistakeKind::NoSuchName,
                    span,
                    what,
                    "say what was seen of a supply as the answer to a check",
                );
                self.skip_clause();
                return;
            }
            Found::Several(things) => {
                self.things.several(span, typed, &things, &mut self.mistakes);
                self.skip_clause();
                return;
            }
        }
        self.at += count;
    }

    fn place(&mut self, count: usize, place: SaidPlace) {
        let span = self.span(count);
        self.at += count;
        if let Some((_, denied)) = &mut self.neither {
            denied.push(place);
            return;
        }
        if self.open.is_empty() && !self.closed.is_empty() {
            // A second position for the same mechanism: the same, or a contradiction.
            self.open = std::mem::take(&mut self.closed);
        }
        if self.open.is_empty() {
            self.mistakes.add(
                MistakeKind::NobodyNamed,
                span,
                "it is not said what stands there",
                "put the mechanism before its position, as in `door shut`",
            );
            return;
        }
        let not = self.not.take();
        let open = std::mem::take(&mut self.open);
        for (mechanism, at) in &open {
            match (self.things.position(*mechanism, &place), &not) {
                (Some(position), None) => self.stands(*mechanism, Some(position), at.start..span.end),
                (Some(position), Some(not)) => self.not_there(*mechanism, position, not.start..span.end),
                (None, _) => self.no_such_position(*mechanism, span.clone()),
            }
        }
        self.closed = open;
    }

    fn no_such_position(&mut self, mechanism: MechanismId, span: Range<usize>) {
        let typed = self.text.get(span.clone()).unwrap_or_default();
        let name = self.things.name(Thing::Mechanism(mechanism));
        let what = format!("`{name}` has no position `{typed}`");
        let hint = format!("it has {} and can be `between`", listed(&self.things.positions(mechanism), "and"));
        self.mistakes.add(MistakeKind::NoSuchName, span, what, hint);
    }

    fn not_there(&mut self, mechanism: MechanismId, position: u8, span: Range<usize>) {
        let Some(row) = self.machine.mechanisms.get(mechanism) else { return };
        if row.positions.len() == 2 && row.class != MechanismClass::Driven {
            return self.stands(mechanism, Some(1 - position.min(1)), span);
        }
        let mut left = self.things.positions(mechanism);
        left.remove(usize::from(position).min(left.len() - 1));
        left.push("between".to_owned());
        let name = self.things.name(Thing::Mechanism(mechanism));
        let said: Vec<String> = left.into_iter().map(|place| format!("{name} {place}")).collect();
        self.mistakes.add(
            MistakeKind::Unclear,
            span,
            format!("where `{name}` is not leaves more than one possibility"),
            format!("say where it is: {}", listed(&said, "or")),
        );
    }

    fn stands(&mut self, mechanism: MechanismId, position: Option<u8>, span: Range<usize>) {
        use machine::id::Id;
        let Some(place) = self.places.get_mut(mechanism.index()) else { return };
        match place {
            Some((before, _)) if *before == position => {}
            Some((_, other)) => {
                let other = other.clone();
                let name = self.things.name(Thing::Mechanism(mechanism));
                self.mistakes.push(ReadingError {
                    kind: MistakeKind::Contradiction,
                    span,
                    other: Some(other),
                    what: format!("`{name}` is said to be in two places"),
                    hint: "say it once; a mechanism on its way is `between`".to_owned(),
                });
            }
            None => {
                *place = Some((position, span));
                self.reports.push(PositionReport { mechanism, position });
            }
        }
    }

    fn word(&mut self, count: usize, word: Word) {
        let span = self.span(count);
        self.at += count;
        match word {
            Word::Between => {
                let open = std::mem::take(&mut self.open);
                if open.is_empty() || self.not.take().is_some() {
                    let hint = "say which mechanism and where it is, as in `lift between` or `lift up`";
                    self.mistakes.add(
                        MistakeKind::Unclear,
                        span,
                        "it is not clear what stands between its positions",
                        hint,
                    );
                } else {
                    for (mechanism, at) in open {
                        self.stands(mechanism, None, at.start..span.end);
                    }
                }
            }
            Word::Not => self.not = Some(span),
            Word::Neither => self.neither = Some((span, Vec::new())),
            Word::NotLooked => self.open.clear(),
            Word::And | Word::Filler => {}
        }
    }

    fn other(&mut self) {
        let unit = &self.units[self.at];
        match (unit.kind, unit.text.as_str()) {
            (UnitKind::Line, _) | (UnitKind::Mark, ";" | ".") => {
                self.end();
                self.at += 1;
            }
            (UnitKind::Mark, ",") => {
                self.end_of_neither();
                self.closed.clear();
                self.at += 1;
            }
            (UnitKind::Mark, "?") => self.word(1, Word::NotLooked),
            (UnitKind::Mark, ":" | "=" | "-" | "–" | "(" | ")" | "!" | "/") => self.at += 1,
            _ => {
                let mut count = 1;
                while self
                    .units
                    .get(self.at + count)
                    .is_some_and(|unit| is_word(unit) && self.nothing_begins(self.at + count))
                {
                    count += 1;
                }
                let span = self.span(count);
                let typed = self.text.get(span.clone()).unwrap_or_default();
                if let Some((mechanism, _)) = self.open.last().cloned() {
                    self.no_such_position(mechanism, span);
                } else {
                    self.things.unknown(span, typed, &mut self.mistakes);
                }
                self.at += count;
                self.skip_clause();
            }
        }
    }

    fn nothing_begins(&self, at: usize) -> bool {
        self.things.longest(&self.units, at).is_none()
            && self.things.longest_place(&self.units, at).is_none()
            && PHRASES.longest(&self.units, at, is_article).is_none()
    }

    /// After a mistake the rest of the clause is left out, so that one slip is one mistake.
    fn skip_clause(&mut self) {
        self.open.clear();
        self.closed.clear();
        self.not = None;
        self.neither = None;
        while self.units.get(self.at).is_some_and(|unit| !matches!(unit.text.as_str(), "," | ";" | "\n")) {
            self.at += 1;
        }
    }

    /// "neither up nor down" is between, if these are all its positions.
    fn end_of_neither(&mut self) {
        let Some((span, denied)) = self.neither.take() else { return };
        for (mechanism, at) in std::mem::take(&mut self.open) {
            let positions: std::collections::BTreeSet<u8> =
                denied.iter().filter_map(|place| self.things.position(mechanism, place)).collect();
            let all = self.things.positions(mechanism);
            if positions.len() == all.len() {
                self.stands(mechanism, None, at.start..span.end);
            } else {
                let name = self.things.name(Thing::Mechanism(mechanism));
                self.mistakes.add(
                    MistakeKind::Unclear,
                    span.clone(),
                    format!("where `{name}` is not leaves more than one possibility"),
                    format!("say where it is: {} or `between`", listed(&all, "or")),
                );
            }
        }
    }

    fn end(&mut self) {
        self.end_of_neither();
        for (mechanism, span) in std::mem::take(&mut self.open) {
            let name = self.things.name(Thing::Mechanism(mechanism));
            self.mistakes.add(
                MistakeKind::NothingSaid,
                span,
                format!("it is not said where `{name}` is"),
                format!("say {} or `between` behind it", listed(&self.things.positions(mechanism), "or")),
            );
        }
        self.closed.clear();
        self.not = None;
    }
}

/// The reports as a person would say them: `lift up, door shut, table between`.
/// Reports about what the machine does not have are left out.
#[must_use]
pub fn describe_positions(machine: &Machine, reports: &[PositionReport]) -> String {
    let things = Things::of(machine);
    let said = reports.iter().filter_map(|report| {
        machine.mechanisms.get(report.mechanism)?;
        let place = match report.position {
            None => "between".to_owned(),
            Some(position) => things.positions(report.mechanism).get(usize::from(position))?.clone(),
        };
        Some(format!("{} {place}", things.name(Thing::Mechanism(report.mechanism))))
    });
    said.collect::<Vec<_>>().join(", ")
}
