//! A row of names and words as statements: of these lamps, this is said.
//!
//! A word for how lamps are closes the names before it ("X1, X2 on"), or, at
//! the beginning, holds for those behind it ("on: X1, X2"). A clause ends with
//! a comma, a sentence with a semicolon, a full stop or the end of the line.

use std::ops::Range;

use super::names::LampNames;
use super::tokens::{Placed, Token};
use super::words::{Scope, Spoken, Word};
use crate::reading::mistake::{MistakeKind, Mistakes};

/// Of whom something is said.
#[derive(Clone, Debug)]
pub(super) enum Who {
    /// Of the lamps from the one to the other, by name; both are the same for a single lamp.
    Lamps(usize, usize),
    /// Of all these of which nothing else is said; for `none`, the opposite is said.
    Those { scope: Scope, rest: bool, none: bool },
    /// Of a name that stands for no lamp.
    Nobody,
}

/// A subject and where it is.
#[derive(Clone, Debug)]
pub(super) struct Subject {
    pub who: Who,
    pub span: Range<usize>,
}

/// Of these lamps, those excepted left out, this is said.
#[derive(Clone, Debug)]
pub(super) struct Statement {
    pub subjects: Vec<Subject>,
    pub except: Vec<Subject>,
    pub said: Spoken,
    /// Where the word is that says it.
    pub span: Range<usize>,
}

/// Names of which a text without any word for how lamps are says that they are lit.
#[derive(Debug)]
struct Bare {
    subjects: Vec<Subject>,
    except: Vec<Subject>,
    only: Option<Range<usize>>,
}

#[derive(Debug, Default)]
enum Excepting {
    #[default]
    No,
    /// The exceptions belong to these names, of which nothing has been said yet.
    Of(Vec<Subject>),
    /// They belong to this statement.
    From(usize),
}

/// Reads the statements.
pub(super) fn statements(tokens: &[Placed], names: &LampNames, mistakes: &mut Mistakes) -> Vec<Statement> {
    let says = |placed: &Placed| matches!(placed.token, Token::Word(Word::Say(_) | Word::Not) | Token::LampOr(..));
    let mut parser = Parser {
        tokens,
        names,
        mistakes,
        at: 0,
        next_clause_says: clauses_that_say(tokens),
        scope: Scope::Everything,
        open: Vec::new(),
        except: Vec::new(),
        excepting: Excepting::No,
        carry: None,
        only: None,
        neither: false,
        lamps: false,
        recent: None,
        same_clause: false,
        last_said: None,
        bare: Vec::new(),
        out: Vec::new(),
    };
    while parser.at < tokens.len() {
        parser.step();
    }
    parser.end();
    parser.settle_bare(tokens.iter().any(says));
    parser.out
}

/// For each token, whether the clause that begins behind it has a word of its own for how lamps are.
fn clauses_that_say(tokens: &[Placed]) -> Vec<bool> {
    let mut says = vec![false; tokens.len()];
    let mut clause_says = false;
    for (i, placed) in tokens.iter().enumerate().rev() {
        says[i] = clause_says;
        match placed.token {
            Token::Word(Word::Comma | Word::But) | Token::End => clause_says = false,
            Token::Word(Word::Say(_) | Word::Not) => clause_says = true,
            _ => {}
        }
    }
    says
}

struct Parser<'t> {
    tokens: &'t [Placed],
    names: &'t LampNames,
    mistakes: &'t mut Mistakes,
    at: usize,
    next_clause_says: Vec<bool>,
    /// What "all" and "rest" mean behind "outputs:".
    scope: Scope,
    /// Names of which nothing has been said yet.
    open: Vec<Subject>,
    except: Vec<Subject>,
    excepting: Excepting,
    /// Said in front of the names.
    carry: Option<(Spoken, Range<usize>)>,
    only: Option<Range<usize>>,
    neither: bool,
    /// "lamps" was said.
    lamps: bool,
    /// The last statement of this sentence.
    recent: Option<usize>,
    /// It was made in this clause.
    same_clause: bool,
    last_said: Option<Spoken>,
    bare: Vec<Bare>,
    out: Vec<Statement>,
}

impl Parser<'_> {
    fn peek(&self, ahead: usize) -> Option<Token> {
        self.tokens.get(self.at + ahead).map(|placed| placed.token)
    }

    fn step(&mut self) {
        let Placed { token, span } = self.tokens[self.at].clone();
        self.at += 1;
        match token {
            Token::LampOr(_, spoken) if !self.open.is_empty() => self.say(spoken, span),
            Token::Lamp(lamp) | Token::LampOr(lamp, _) => self.lamp(lamp, span),
            Token::Nobody => self.nobody(span),
            Token::End => self.end(),
            Token::Range | Token::Dash { .. } | Token::Colon => {}
            Token::Word(word) => self.word(word, span),
        }
    }

    fn word(&mut self, word: Word, span: Range<usize>) {
        match word {
            Word::Say(spoken) => self.say(spoken, span),
            Word::Steady => self.say(Spoken::LIT, span),
            Word::Not => self.not(span),
            Word::All => self.all(span),
            Word::None => self.none(span),
            Word::Else | Word::Rest => {
                let scope = self.narrowed();
                self.subject(Who::Those { scope, rest: true, none: false }, span);
            }
            Word::Except => self.begin_exceptions(span),
            Word::Only => self.only(span),
            Word::Which(scope) => self.which(scope, span),
            Word::Lamps => self.lamps = true,
            Word::But if !self.open.is_empty() => self.begin_exceptions(span),
            Word::Comma | Word::But => self.comma(),
            Word::Neither => self.neither = true,
            Word::Of | Word::To | Word::And | Word::Filler => {}
        }
    }

    /// A lamp, or the range that begins with it.
    fn lamp(&mut self, lamp: usize, span: Range<usize>) {
        if self.peek(0) != Some(Token::Range) {
            return self.subject(Who::Lamps(lamp, lamp), span);
        }
        let Some(to) = self.tokens.get(self.at + 1).cloned() else {
            return self.subject(Who::Lamps(lamp, lamp), span);
        };
        self.at += 2;
        let span = span.start..to.span.end;
        match to.token {
            Token::Lamp(other) | Token::LampOr(other, _) if self.names.same_sort(lamp, other) => {
                self.subject(Who::Lamps(lamp, other), span);
            }
            Token::Lamp(other) | Token::LampOr(other, _) => {
                let [from, to] = [lamp, other].map(|end| self.names.lamps[end].label.as_str());
                self.mistakes.add(
                    MistakeKind::Unclear,
                    span.clone(),
                    format!("`{from}` and `{to}` are lamps of different sorts, so the range between them is not clear"),
                    "give one range for the inputs and one for the outputs",
                );
                self.subject(Who::Nobody, span);
            }
            _ => self.subject(Who::Nobody, span),
        }
    }

    fn nobody(&mut self, span: Range<usize>) {
        if self.peek(0) == Some(Token::Range) {
            self.at += 2;
        }
        self.subject(Who::Nobody, span);
    }

    fn subject(&mut self, who: Who, span: Range<usize>) {
        let subject = Subject { who, span };
        match (&self.excepting, &self.carry) {
            (Excepting::Of(_) | Excepting::From(_), _) => self.except.push(subject),
            (Excepting::No, Some((said, at))) => {
                let (said, at) = (*said, at.clone());
                self.state(vec![subject], Vec::new(), said, at);
            }
            (Excepting::No, None) => self.open.push(subject),
        }
    }

    fn state(&mut self, subjects: Vec<Subject>, except: Vec<Subject>, said: Spoken, span: Range<usize>) {
        self.out.push(Statement { subjects, except, said, span });
        self.recent = Some(self.out.len() - 1);
        self.same_clause = true;
        self.last_said = Some(said);
    }

    /// The scope named behind "all", "rest" or "none" ("rest of the inputs"), else the one in force.
    fn narrowed(&mut self) -> Scope {
        let mut ahead = 0;
        loop {
            match self.peek(ahead) {
                Some(Token::Word(Word::Of | Word::Lamps)) => ahead += 1,
                Some(Token::Word(Word::Which(scope))) => {
                    self.at += ahead + 1;
                    return scope;
                }
                _ => return self.scope,
            }
        }
    }

    fn all(&mut self, span: Range<usize>) {
        let mut ahead = 0;
        while matches!(self.peek(ahead), Some(Token::Word(Word::Of | Word::Lamps))) {
            ahead += 1;
        }
        // "all of X0 to X7 on", "X0 to X7 all on", "inputs all on": the names are there already.
        let names_follow = self.peek(ahead).is_some_and(Token::is_lamp);
        let names_before = self.at >= 2
            && !self.open.is_empty()
            && matches!(
                self.tokens[self.at - 2].token,
                Token::Lamp(_) | Token::LampOr(..) | Token::Nobody | Token::Word(Word::Which(_))
            );
        match self.peek(ahead) {
            _ if names_follow || names_before => {}
            Some(Token::Word(Word::Else | Word::Rest)) => self.at += ahead,
            _ => {
                let scope = self.narrowed();
                self.subject(Who::Those { scope, rest: false, none: false }, span);
            }
        }
    }

    fn none(&mut self, span: Range<usize>) {
        let mut rest = false;
        let mut ahead = 0;
        while let Some(Token::Word(word @ (Word::Of | Word::Lamps | Word::Else | Word::Rest))) = self.peek(ahead) {
            rest |= matches!(word, Word::Else | Word::Rest);
            ahead += 1;
        }
        if self.peek(ahead).is_some_and(Token::is_lamp) && !rest {
            self.neither = true;
            return;
        }
        self.at += ahead;
        let scope = self.narrowed();
        self.subject(Who::Those { scope, rest, none: true }, span);
    }

    fn which(&mut self, scope: Scope, span: Range<usize>) {
        let after_of = self.at >= 2 && self.tokens[self.at - 2].token == Token::Word(Word::Of);
        match self.peek(0) {
            // "inputs X0 and X1": the names say which.
            Some(next) if next.is_lamp() => {}
            Some(Token::Colon) => {
                // "inputs: off" says it of all of them; "inputs: X0 on" only heads what follows.
                self.end();
                self.scope = scope;
                self.at += 1;
            }
            Some(Token::Word(Word::Only | Word::None | Word::Rest | Word::Else)) => self.scope = scope,
            _ if after_of => self.scope = scope,
            _ => self.subject(Who::Those { scope, rest: false, none: false }, span),
        }
    }

    fn only(&mut self, span: Range<usize>) {
        let ends = matches!(self.peek(0), None | Some(Token::End | Token::Word(Word::Comma | Word::But)));
        match self.recent {
            Some(recent)
                if ends && self.open.is_empty() && self.same_clause && self.out[recent].said == Spoken::LIT =>
            {
                self.rest_is_dark(span);
            }
            _ => self.only = Some(span),
        }
    }

    fn rest_is_dark(&mut self, span: Range<usize>) {
        let subject = Subject { who: Who::Those { scope: self.scope, rest: true, none: false }, span: span.clone() };
        let recent = self.recent;
        self.state(vec![subject], Vec::new(), Spoken::DARK, span);
        self.recent = recent;
    }

    /// Whether a name or a word for lamps comes next, so that a word before it speaks of what follows.
    fn names_follow(&self) -> bool {
        let mut ahead = 0;
        loop {
            match self.peek(ahead) {
                Some(Token::Colon | Token::Word(Word::Only | Word::Of | Word::Lamps)) => ahead += 1,
                Some(token) if token.is_lamp() => return true,
                Some(Token::Word(Word::All | Word::Rest | Word::Which(_) | Word::Else)) => return true,
                _ => return false,
            }
        }
    }

    fn say(&mut self, spoken: Spoken, span: Range<usize>) {
        let spoken = if std::mem::take(&mut self.neither) {
            match spoken.opposite() {
                Some(opposite) => opposite,
                None => return self.unclear_not(span),
            }
        } else {
            spoken
        };
        match std::mem::take(&mut self.excepting) {
            Excepting::Of(main) => {
                let except = std::mem::take(&mut self.except);
                let spoken = self.turned_by_not(spoken);
                self.close(main, except, spoken, span);
            }
            Excepting::From(statement) if !self.except.is_empty() => {
                let spoken = self.turned_by_not(spoken);
                let excepted = std::mem::take(&mut self.except);
                self.out[statement].except.extend(excepted.iter().cloned());
                self.state(excepted, Vec::new(), spoken, span);
            }
            Excepting::From(_) | Excepting::No if !self.open.is_empty() => {
                let open = std::mem::take(&mut self.open);
                let spoken = self.turned_by_not(spoken);
                self.close(open, Vec::new(), spoken, span);
            }
            Excepting::From(_) | Excepting::No => self.say_without_names(spoken, span),
        }
    }

    fn say_without_names(&mut self, spoken: Spoken, span: Range<usize>) {
        if self.names_follow() {
            self.carry = Some((spoken, span));
            return;
        }
        match self.recent {
            // A second word for the same names: the same again, or a contradiction.
            Some(recent) if self.same_clause => {
                if self.out[recent].said != spoken {
                    let subjects = self.out[recent].subjects.clone();
                    self.state(subjects, Vec::new(), spoken, span);
                }
            }
            _ if self.lamps || self.scope != Scope::Everything => {
                let who = Who::Those { scope: self.scope, rest: false, none: false };
                self.close(vec![Subject { who, span: span.clone() }], Vec::new(), spoken, span);
            }
            _ => self.mistakes.add(
                MistakeKind::NobodyNamed,
                span,
                "it is not said which lamp is like this",
                "put the labels before it, as in `X1 X2 on`",
            ),
        }
    }

    /// "leuchtet nicht": a "not" behind the word turns it round.
    fn turned_by_not(&mut self, spoken: Spoken) -> Spoken {
        let ends = match self.peek(1) {
            None => true,
            Some(Token::End | Token::Word(Word::Comma | Word::But | Word::And)) => true,
            Some(_) => false,
        };
        match spoken.opposite() {
            Some(opposite) if ends && self.peek(0) == Some(Token::Word(Word::Not)) => {
                self.at += 1;
                opposite
            }
            _ => spoken,
        }
    }

    /// Something is said of the open names.
    fn close(&mut self, subjects: Vec<Subject>, except: Vec<Subject>, said: Spoken, span: Range<usize>) {
        let only = self.only.take();
        let none = subjects.iter().any(|subject| matches!(subject.who, Who::Those { none: true, .. }));
        let rest = subjects.iter().any(|subject| matches!(subject.who, Who::Those { rest: true, .. }));
        // "X12, X14, rest off": the names before the rest are the opposite of it.
        let (named, others): (Vec<Subject>, Vec<Subject>) = if rest || none {
            subjects.into_iter().partition(|subject| matches!(subject.who, Who::Lamps(..) | Who::Nobody))
        } else {
            (Vec::new(), subjects)
        };
        if !named.is_empty() {
            let of_rest = if none { said.opposite() } else { Some(said) };
            match of_rest.and_then(Spoken::opposite) {
                Some(opposite) => self.state(named, Vec::new(), opposite, span.clone()),
                None => self.nothing_said(&named),
            }
        }
        self.state(others, except, said, span);
        if let Some(only) = only
            && said == Spoken::LIT
        {
            self.rest_is_dark(only);
        }
    }

    fn not(&mut self, span: Range<usize>) {
        match self.peek(0) {
            Some(Token::Word(Word::Say(spoken))) => {
                let behind = self.tokens[self.at].span.clone();
                self.at += 1;
                match spoken.opposite() {
                    Some(opposite) => self.say(opposite, span.start..behind.end),
                    None => self.unclear_not(span.start..behind.end),
                }
            }
            Some(Token::Word(Word::Which(_) | Word::Else | Word::Lamps | Word::Rest)) if self.open.is_empty() => {
                self.none(span);
            }
            Some(Token::Word(Word::All)) if self.open.is_empty() => self.unclear_not(span),
            _ if !self.open.is_empty() || !self.except.is_empty() => {
                let said = self.last_said.and_then(Spoken::opposite).unwrap_or(Spoken::DARK);
                self.say(said, span);
            }
            Some(token) if token.is_lamp() => match self.recent {
                Some(_) => self.begin_exceptions(span),
                None => self.carry = Some((Spoken::DARK, span)),
            },
            _ => self.unclear_not(span),
        }
    }

    fn unclear_not(&mut self, span: Range<usize>) {
        self.open.clear();
        self.mistakes.add(
            MistakeKind::Unclear,
            span,
            "what is not so is said, and that leaves more than one possibility",
            "say how the lamp is: `on`, `off`, `flickers` or `not looked at`",
        );
    }

    fn begin_exceptions(&mut self, span: Range<usize>) {
        self.settle_exceptions();
        if !self.open.is_empty() {
            self.excepting = Excepting::Of(std::mem::take(&mut self.open));
        } else if let Some(recent) = self.recent {
            self.excepting = Excepting::From(recent);
        } else {
            self.mistakes.add(
                MistakeKind::Unclear,
                span,
                "an exception from nothing",
                "say first what it is an exception from, as in `X0-X7 on except X3`",
            );
        }
    }

    /// The exceptions that have no word of their own: implied to be the opposite.
    fn settle_exceptions(&mut self) {
        match std::mem::take(&mut self.excepting) {
            Excepting::From(statement) => {
                let except = std::mem::take(&mut self.except);
                self.out[statement].except.extend(except);
            }
            Excepting::Of(main) => {
                let except = std::mem::take(&mut self.except);
                self.bare.push(Bare { subjects: main, except, only: self.only.take() });
            }
            Excepting::No => {}
        }
    }

    fn comma(&mut self) {
        let says = self.next_clause_says[self.at - 1];
        if says {
            self.carry = None;
            if matches!(self.excepting, Excepting::From(_)) && !self.except.is_empty() {
                self.settle_exceptions();
            }
        }
        self.same_clause = false;
    }

    /// The end of a sentence.
    fn end(&mut self) {
        self.settle_exceptions();
        let open = std::mem::take(&mut self.open);
        // "nothing else", "none": complete without a further word.
        if open.iter().any(|subject| matches!(subject.who, Who::Those { none: true, .. })) {
            let span = open.last().map_or(0..0, |subject| subject.span.clone());
            self.close(open, Vec::new(), Spoken::LIT, span);
        } else if !open.is_empty() {
            let only = self.only.take();
            self.bare.push(Bare { subjects: open, except: Vec::new(), only });
        }
        self.carry = None;
        self.only = None;
        self.neither = false;
        self.lamps = false;
        self.recent = None;
        self.same_clause = false;
        self.last_said = None;
    }

    fn settle_bare(&mut self, text_says: bool) {
        for Bare { subjects, except, only } in std::mem::take(&mut self.bare) {
            let groups = subjects.iter().any(|subject| matches!(subject.who, Who::Those { .. }));
            if text_says || groups {
                self.nothing_said(&subjects);
                continue;
            }
            let span = subjects.first().map_or(0..0, |subject| subject.span.clone());
            self.only = only;
            self.close(subjects, except, Spoken::LIT, span);
        }
    }

    fn nothing_said(&mut self, subjects: &[Subject]) {
        for subject in subjects {
            let label = |lamp: usize| self.names.lamps[lamp].label.as_str();
            let what = match subject.who {
                Who::Nobody => continue,
                Who::Lamps(from, to) if from == to => format!("it is not said how `{}` is", label(from)),
                Who::Lamps(from, to) => format!("it is not said how `{}` to `{}` are", label(from), label(to)),
                Who::Those { .. } => "it is not said how these are".to_owned(),
            };
            self.mistakes.add(
                MistakeKind::NothingSaid,
                subject.span.clone(),
                what,
                "put `on`, `off`, `flickers` or `not looked at` behind it",
            );
        }
    }
}
