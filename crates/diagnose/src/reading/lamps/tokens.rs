//! A text about lamps as a row of names and words. Unknown and ambiguous names
//! become mistakes here, so that the sentence around them is still read.

use std::ops::Range;

use super::names::{Found, LampNames};
use super::words::{Scope, Spoken, Word, phrases};
use crate::reading::mistake::{MistakeKind, Mistakes, listed};
use crate::reading::nearest::nearest;
use crate::reading::unit::{Unit, UnitKind, key, units};

/// One token.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Token {
    /// A lamp.
    Lamp(usize),
    /// A lamp that is called like a word for how lamps are, such as one labelled `ON`.
    LampOr(usize, Spoken),
    /// A name that stands for no lamp; the mistake is already noted.
    Nobody,
    /// A word.
    Word(Word),
    /// From the lamp before to the lamp behind.
    Range,
    /// A dash whose meaning depends on its neighbours; whether it sits like a minus sign.
    Dash {
        /// A blank before it and none behind.
        sign: bool,
    },
    /// `:` or `=`.
    Colon,
    /// End of a line or sentence.
    End,
}

impl Token {
    /// Whether it names a lamp, or tries to.
    pub fn is_lamp(self) -> bool {
        matches!(self, Self::Lamp(_) | Self::LampOr(..) | Self::Nobody)
    }
}

/// A token and where it is.
#[derive(Clone, Debug)]
pub(super) struct Placed {
    pub token: Token,
    pub span: Range<usize>,
}

/// Reads the names and words of a text.
pub(super) fn tokens(text: &str, names: &LampNames, mistakes: &mut Mistakes) -> Vec<Placed> {
    let mut lexer = Lexer { text, names, mistakes, units: units(text), at: 0, last_lamp: None, out: Vec::new() };
    while lexer.at < lexer.units.len() {
        lexer.next();
    }
    weigh_neighbours(lexer.out)
}

struct Lexer<'t> {
    text: &'t str,
    names: &'t LampNames,
    mistakes: &'t mut Mistakes,
    units: Vec<Unit>,
    at: usize,
    last_lamp: Option<usize>,
    out: Vec<Placed>,
}

impl Lexer<'_> {
    fn next(&mut self) {
        let unit = &self.units[self.at];
        match unit.kind {
            UnitKind::Line => self.push(1, Token::End),
            UnitKind::Quoted => {
                let name = key(&unit.text);
                let found = self.names.get(name.iter().map(String::as_str));
                self.name(1, found);
            }
            UnitKind::Letters | UnitKind::Digits | UnitKind::Mark => {
                if !self.phrase() {
                    self.other();
                }
            }
        }
    }

    fn push(&mut self, count: usize, token: Token) {
        let span = self.span(count);
        match token {
            Token::Lamp(lamp) | Token::LampOr(lamp, _) => self.last_lamp = Some(lamp),
            Token::End => self.last_lamp = None,
            _ => {}
        }
        self.out.push(Placed { token, span });
        self.at += count;
    }

    fn span(&self, count: usize) -> Range<usize> {
        self.units[self.at].span.start..self.units[self.at + count - 1].span.end
    }

    /// A lamp's name or a word, whichever is longer; false if neither begins here.
    fn phrase(&mut self) -> bool {
        let name = self.names.longest(&self.units, self.at).filter(|(count, _)| !self.is_cut_short(*count));
        let word = phrases()
            .longest(&self.units, self.at, |_| false)
            .and_then(|(count, words)| Some((count, *words.first()?)))
            .filter(|(count, _)| !self.is_cut_short(*count));
        match (name, word) {
            (Some((count, found)), Some((words, word))) if count == words => self.name_or_word(count, found, word),
            (Some((count, found)), word) if word.is_none_or(|(words, _)| words < count) => {
                let said = self.said_by_name(count);
                self.name(count, Some(found));
                if let Some((word, span)) = said {
                    self.out.push(Placed { token: Token::Word(word), span });
                }
            }
            (_, Some((count, word))) => self.push(count, Token::Word(word)),
            _ => return false,
        }
        true
    }

    /// Whether the name goes on behind these units without a blank, as in `X3a` or `I0.35`:
    /// then it is another name. A word may follow at once: `X3on`.
    fn is_cut_short(&self, count: usize) -> bool {
        let next = self.at + count;
        let Some(unit) = self.units.get(next) else { return false };
        if unit.after_blank {
            return false;
        }
        match unit.kind {
            UnitKind::Letters | UnitKind::Digits => {
                let word = phrases().longest(&self.units, next, |_| false);
                let ends_in_digits = self.units[next - 1].kind == UnitKind::Digits;
                !(ends_in_digits && word.is_some_and(|(_, words)| matches!(words.first(), Some(Word::Say(_)))))
            }
            UnitKind::Mark => {
                unit.text == "."
                    && self.units.get(next + 1).is_some_and(|more| more.kind == UnitKind::Digits && !more.after_blank)
            }
            UnitKind::Line | UnitKind::Quoted => false,
        }
    }

    fn name_or_word(&mut self, count: usize, found: Found, word: Word) {
        let typed = self.text.get(self.span(count)).unwrap_or_default();
        let exactly = match &found {
            Found::Lamp(lamp) => self.names.lamps[*lamp].label == typed,
            Found::Several(_) | Found::Rows(_) => false,
        };
        match (&found, word) {
            (Found::Rows(_), _) => self.push(count, Token::Word(word)),
            (Found::Lamp(lamp), Word::Say(spoken)) => self.push(count, Token::LampOr(*lamp, spoken)),
            (Found::Lamp(lamp), Word::Steady) => self.push(count, Token::LampOr(*lamp, Spoken::LIT)),
            (_, Word::Filler | Word::Lamps | Word::Which(_)) if typed.len() > 2 => self.name(count, Some(found)),
            _ if exactly => self.name(count, Some(found)),
            _ => self.push(count, Token::Word(word)),
        }
    }

    fn name(&mut self, count: usize, found: Option<Found>) {
        match found {
            Some(Found::Lamp(lamp)) => self.push(count, Token::Lamp(lamp)),
            Some(Found::Rows(title)) => self.push(count, Token::Word(Word::Which(Scope::Title(title)))),
            Some(Found::Several(lamps)) => {
                if self.mistakes.wanted() {
                    let labels: Vec<&str> = lamps.iter().map(|lamp| self.names.lamps[*lamp].label.as_str()).collect();
                    self.mistakes.add(
                        MistakeKind::SeveralOfThatName,
                        self.span(count),
                        format!("several lamps are called `{}`", self.typed(count)),
                        format!("say which by its label: {}", listed(&labels, "or")),
                    );
                }
                self.push(count, Token::Nobody);
            }
            None => self.unknown(count),
        }
    }

    fn typed(&self, count: usize) -> &str {
        self.text.get(self.span(count)).unwrap_or_default().trim_matches(['"', '`', '“', '”'])
    }

    /// Of a name like "pump on" the last word also says how the lamp is, unless another such word follows.
    fn said_by_name(&self, count: usize) -> Option<(Word, Range<usize>)> {
        let last = &self.units[self.at + count - 1];
        let word = *phrases().get([last.text.as_str()]).first()?;
        if count < 2 || !matches!(word, Word::Say(_)) {
            return None;
        }
        let mut next = self.at + count;
        while let Some((taken, words)) = phrases().longest(&self.units, next, |_| false) {
            match words.first() {
                Some(Word::Filler | Word::Steady) => next += taken,
                Some(Word::Say(_) | Word::Not) => return None,
                _ => break,
            }
        }
        match self.units.get(next).map(|unit| unit.text.as_str()) {
            Some(":" | "=" | "?") => None,
            _ => Some((word, last.span.clone())),
        }
    }

    /// What is neither a name nor a word: numbers that go on a list, marks, mistakes.
    fn other(&mut self) {
        let unit = self.units[self.at].clone();
        let next = self.units.get(self.at + 1);
        let stands_alone = next.is_none_or(|next| next.after_blank || next.kind == UnitKind::Line);
        match (unit.kind, unit.text.as_str()) {
            (UnitKind::Digits, _) => self.number(&unit),
            (UnitKind::Mark, ",") => self.push(1, Token::Word(Word::Comma)),
            (UnitKind::Mark, ";") => self.push(1, Token::End),
            (UnitKind::Mark, ".") if stands_alone => self.push(1, Token::End),
            (UnitKind::Mark, ".") => self.push(1, Token::Word(Word::Comma)),
            (UnitKind::Mark, "..") => self.push(1, Token::Range),
            (UnitKind::Mark, ":" | "=") => self.colon(),
            (UnitKind::Mark, "/" | "&") => self.push(1, Token::Word(Word::And)),
            (UnitKind::Mark, "+") if unit.after_blank && !stands_alone => {
                self.push(1, Token::Word(Word::Say(Spoken::LIT)));
            }
            (UnitKind::Mark, "+") => self.push(1, Token::Word(Word::And)),
            (UnitKind::Mark, "-" | "–" | "—" | "−") => {
                self.push(1, Token::Dash { sign: unit.after_blank && !stands_alone });
            }
            (UnitKind::Mark, "?") => self.push(1, Token::Word(Word::Say(Spoken::NotLooked))),
            (UnitKind::Mark, "(" | ")" | "[" | "]" | "!" | "*" | "'" | "’" | "\"") => {
                self.push(1, Token::Word(Word::Filler));
            }
            _ => {
                let count = self.unknown_length();
                self.unknown(count);
            }
        }
    }

    /// A bare number after a numbered label stands for one with the same letters: "X1, 2 and 3".
    fn number(&mut self, unit: &Unit) {
        let stem = self.last_lamp.and_then(|lamp| self.names.stem(lamp));
        let found = stem
            .filter(|_| !self.is_cut_short(1))
            .and_then(|stem| self.names.get(stem.iter().map(String::as_str).chain([unit.text.as_str()])));
        match found {
            Some(found) => self.name(1, Some(found)),
            None => {
                let count = self.unknown_length();
                self.unknown(count);
            }
        }
    }

    /// A colon or equals sign; the 1 or 0 behind it is lit or dark.
    fn colon(&mut self) {
        self.push(1, Token::Colon);
        if !self.out.iter().rev().nth(1).is_some_and(|before| before.token.is_lamp()) {
            return;
        }
        let Some(unit) = self.units.get(self.at) else { return };
        let said = match (unit.kind, unit.text.as_str()) {
            (UnitKind::Digits, "1") => Spoken::LIT,
            (UnitKind::Digits, "0") => Spoken::DARK,
            _ => return,
        };
        if !self.is_cut_short(1) {
            self.push(1, Token::Word(Word::Say(said)));
        }
    }

    /// How many units belong to the unknown name that begins here.
    fn unknown_length(&self) -> usize {
        let mut count = 1;
        while let Some(unit) = self.units.get(self.at + count) {
            let part = match unit.kind {
                UnitKind::Letters | UnitKind::Digits => {
                    !unit.after_blank
                        || (phrases().longest(&self.units, self.at + count, |_| false).is_none()
                            && self.names.longest(&self.units, self.at + count).is_none())
                }
                UnitKind::Mark => {
                    !unit.after_blank
                        && unit.text == "."
                        && self
                            .units
                            .get(self.at + count + 1)
                            .is_some_and(|more| more.kind == UnitKind::Digits && !more.after_blank)
                }
                UnitKind::Line | UnitKind::Quoted => false,
            };
            if !part {
                break;
            }
            count += 1;
        }
        count
    }

    fn unknown(&mut self, count: usize) {
        if self.mistakes.wanted() {
            const USUAL: [&str; 16] = [
                "on",
                "lit",
                "off",
                "dark",
                "flickers",
                "flickering",
                "blinks",
                "blinking",
                "flashing",
                "unknown",
                "rest",
                "except",
                "others",
                "inputs",
                "outputs",
                "nothing",
            ];
            let typed = self.typed(count).to_owned();
            let alike = nearest(&typed, USUAL, 1);
            let slip = alike.first().filter(|word| typed.len() >= 4 && strsim::damerau_levenshtein(word, &typed) <= 2);
            let hint = match slip {
                Some(word) => format!("did you mean `{word}`?"),
                None => self.names.hint(&typed),
            };
            self.mistakes.add(MistakeKind::NoSuchName, self.span(count), format!("no lamp is called `{typed}`"), hint);
        }
        self.push(count, Token::Nobody);
    }
}

/// Settles the tokens whose meaning depends on those beside them, and drops the fillers.
fn weigh_neighbours(all: Vec<Placed>) -> Vec<Placed> {
    let rough: Vec<Placed> = all.into_iter().filter(|placed| placed.token != Token::Word(Word::Filler)).collect();
    // With a minus sign at the beginning or any plus sign, `+X3 -X4` is shorthand, and dashes are signs.
    let signed = matches!(rough.first().map(|placed| placed.token), Some(Token::Dash { sign: true }))
        || rough.iter().any(|placed| placed.token == Token::Word(Word::Say(Spoken::LIT)) && placed.span.len() == 1);
    let mut settled: Vec<Placed> = Vec::with_capacity(rough.len());
    for (i, placed) in rough.iter().enumerate() {
        let before = settled.last().map(|placed| placed.token);
        let behind = rough.get(i + 1).map(|placed| placed.token);
        let between_lamps = before.is_some_and(Token::is_lamp) && behind.is_some_and(Token::is_lamp);
        let token = match placed.token {
            Token::Dash { sign: true } if signed => Token::Word(Word::Say(Spoken::DARK)),
            Token::Dash { .. } | Token::Word(Word::To) if between_lamps => Token::Range,
            Token::Dash { .. } if matches!(behind, Some(Token::Word(Word::Say(_) | Word::Not | Word::Steady))) => {
                Token::Colon
            }
            Token::Dash { .. } => Token::Word(Word::Comma),
            Token::Range if !between_lamps => Token::Word(Word::Comma),
            Token::Word(Word::To) => continue,
            Token::Word(Word::Steady) => {
                let said = |token| matches!(token, Some(Token::Word(Word::Say(_))));
                let negated = before == Some(Token::Word(Word::Not));
                if said(before) || (said(behind) && !negated) {
                    continue;
                }
                Token::Word(Word::Say(Spoken::LIT))
            }
            other => other,
        };
        settled.push(Placed { token, span: placed.span.clone() });
    }
    settled
}
