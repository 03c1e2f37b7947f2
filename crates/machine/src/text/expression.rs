//! Conditions in the boolean subset of IEC 61131-3 Structured Text:
//! `door = shut AND NOT (stop = pressed)`, `level <> low`, `jars >= 12`, `T#2s`,
//! `R_TRIG(reset = pressed)`. NOT binds tighter than AND (or `&`), then XOR, then OR.
//!
//! Here is syntax only: which names exist and what they mean is the resolver's affair.

use std::fmt;
use std::ops::Range;

use logos::Logos;

use super::time::{self, parse_time, show_time};
use super::{Mistake, Word};

/// How deeply parentheses and NOT may be nested.
pub const DEEPEST: usize = 64;

/// The most words and signs in one condition.
pub const LONGEST: usize = 1_000;

/// The most XORs in one condition: each doubles the work of evaluating it.
pub const MOST_XORS: usize = 6;

/// A condition as written.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Expression {
    /// TRUE or FALSE.
    Always(bool),
    /// A bare time: this step has lasted so many ms.
    Time(u64, Range<usize>),
    /// A bare name.
    Name(Word),
    /// A comparison.
    Compare(Word, Comparison, Operand),
    /// `R_TRIG(…)` (rising) or `F_TRIG(…)`.
    Edge {
        /// R_TRIG.
        rising: bool,
        /// What is watched.
        inner: Box<Expression>,
    },
    /// NOT.
    Not(Box<Expression>),
    /// Two or more, joined by AND.
    And(Vec<Expression>),
    /// Two or more, joined by OR.
    Or(Vec<Expression>),
    /// Either, but not both.
    Xor(Box<Expression>, Box<Expression>),
}

/// How two sides are compared.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[allow(missing_docs)]
pub enum Comparison {
    Equal,
    Unequal,
    AtLeast,
    AtMost,
    Above,
    Below,
}

/// The right side of a comparison.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Operand {
    /// A name: a position, a setting.
    Name(Word),
    /// A whole number.
    Whole(u32, Word),
    /// A time in ms.
    Time(u64, Word),
}

impl Operand {
    /// The word as written.
    #[must_use]
    pub fn word(&self) -> &Word {
        match self {
            Self::Name(word) | Self::Whole(_, word) | Self::Time(_, word) => word,
        }
    }
}

#[derive(Logos, Clone, Copy, Debug, PartialEq, Eq)]
#[logos(skip r"[ \t\r\n]+")]
enum Token {
    #[token("(")]
    Open,
    #[token(")")]
    Close,
    #[token("&")]
    And,
    #[token("=")]
    Equal,
    #[token("<>")]
    Unequal,
    #[token(">=")]
    AtLeast,
    #[token("<=")]
    AtMost,
    #[token(">")]
    Above,
    #[token("<")]
    Below,
    #[regex(r"[Tt]([Ii][Mm][Ee])?#[0-9A-Za-z_.]*")]
    Time,
    #[regex(r"[0-9][0-9_]*")]
    Number,
    #[regex(r"[\p{Alphabetic}_%][\p{Alphabetic}\p{N}_.%]*")]
    Name,
    #[regex(r"'[^']*'")]
    Quoted,
}

/// Reads a condition.
///
/// # Errors
/// The first mistake in it, with the bytes it is about.
///
/// ```
/// use machine::text::expression::parse;
/// assert_eq!(parse("a = on & NOT b").unwrap().to_string(), "a = on AND NOT b");
/// let mistake = parse("(a = on").unwrap_err();
/// assert_eq!((mistake.what.as_str(), mistake.range), ("this ( is never closed", 0..1));
/// ```
pub fn parse(text: &str) -> Result<Expression, Mistake> {
    let mut parser = Parser { text, tokens: Vec::new(), at: 0 };
    for (token, range) in Token::lexer(text).spanned() {
        match token {
            Ok(token) => parser.tokens.push((token, range)),
            Err(()) => return Err(bad_character(text, range)),
        }
    }
    if parser.tokens.is_empty() {
        return Err(Mistake::new(0..text.len(), "the condition is empty", "write a condition such as door = shut"));
    }
    parser.refuse_huge()?;
    let expression = parser.expression(0, 0)?;
    match parser.peek() {
        None => Ok(expression),
        Some((Token::Close, range)) => {
            Err(Mistake::new(range, "this ) was never opened", "take it out, or put a ( where the group begins"))
        }
        Some((Token::Equal | Token::Unequal | Token::AtLeast | Token::AtMost | Token::Above | Token::Below, range)) => {
            Err(Mistake::new(range, "only a name can be compared", "write NAME = POSITION, joined by AND or OR"))
        }
        Some((_, range)) => Err(Mistake::new(
            range.clone(),
            format!("expected AND, OR, XOR or the end, found `{}`", &text[range]),
            "two conditions are joined by AND or OR; a name is one word (use _ instead of a blank)",
        )),
    }
}

fn bad_character(text: &str, range: Range<usize>) -> Mistake {
    let found = text.get(range.clone()).unwrap_or("");
    let hint = match found.chars().next() {
        Some('\'') => "a label in quotes ends with another '",
        Some('!') => "write NOT for \"not\" and <> for \"is not\"",
        Some('|') => "write OR",
        Some(':') => "write = to compare",
        _ => "conditions consist of names, =, <>, AND, OR, XOR, NOT, parentheses, numbers and times",
    };
    Mistake::new(range, format!("`{found}` has no place in a condition"), hint)
}

struct Parser<'t> {
    text: &'t str,
    tokens: Vec<(Token, Range<usize>)>,
    at: usize,
}

/// The word operators, by binding power.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Join {
    Or,
    Xor,
    And,
}

impl Parser<'_> {
    fn refuse_huge(&self) -> Result<(), Mistake> {
        let xors = self.tokens.iter().filter(|(_, range)| self.text(range).eq_ignore_ascii_case("XOR")).count();
        if self.tokens.len() > LONGEST || xors > MOST_XORS {
            let what = format!("this condition has more than {LONGEST} words or {MOST_XORS} XORs");
            return Err(Mistake::new(0..self.text.len(), what, "give parts of it a name with latches"));
        }
        Ok(())
    }

    fn peek(&self) -> Option<(Token, Range<usize>)> {
        self.tokens.get(self.at).cloned()
    }

    fn text(&self, range: &Range<usize>) -> &str {
        self.text.get(range.clone()).unwrap_or("")
    }

    fn is_word(&self, word: &str) -> bool {
        matches!(self.peek(), Some((Token::Name, range)) if self.text(&range).eq_ignore_ascii_case(word))
    }

    fn join(&self) -> Option<Join> {
        match self.peek() {
            Some((Token::And, _)) => Some(Join::And),
            _ if self.is_word("AND") => Some(Join::And),
            _ if self.is_word("XOR") => Some(Join::Xor),
            _ if self.is_word("OR") => Some(Join::Or),
            _ => None,
        }
    }

    /// Pratt parsing: operators that bind at least as tightly as `least` are taken.
    fn expression(&mut self, least: u8, depth: usize) -> Result<Expression, Mistake> {
        let mut left = self.operand(depth)?;
        while let Some(join) = self.join() {
            let power = match join {
                Join::Or => 1,
                Join::Xor => 2,
                Join::And => 3,
            };
            if power < least {
                break;
            }
            self.at += 1;
            let right = self.expression(power + 1, depth)?;
            left = joined(join, left, right);
        }
        Ok(left)
    }

    fn operand(&mut self, depth: usize) -> Result<Expression, Mistake> {
        let Some((token, range)) = self.peek() else {
            let last = self.tokens.last().map_or(0..self.text.len(), |(_, range)| range.clone());
            let after = self.text(&last).to_string();
            return Err(Mistake::new(
                last,
                format!("expected a name, NOT, ( or a literal after `{after}`, found the end"),
                "finish the condition or take the last word out",
            ));
        };
        if depth > DEEPEST {
            return Err(Mistake::new(
                range,
                format!("nested more than {DEEPEST} deep"),
                "give parts of it a name with a latch, or split the step",
            ));
        }
        match token {
            Token::Open => {
                self.at += 1;
                let inner = self.expression(0, depth + 1)?;
                self.close(range)?;
                Ok(inner)
            }
            Token::Time => {
                self.at += 1;
                Ok(Expression::Time(self.time(&range)?, range))
            }
            Token::Name if self.is_word("NOT") => {
                self.at += 1;
                Ok(Expression::Not(Box::new(self.expression(4, depth + 1)?)))
            }
            Token::Name if self.is_word("TRUE") || self.is_word("FALSE") => {
                let value = self.is_word("TRUE");
                self.at += 1;
                Ok(Expression::Always(value))
            }
            Token::Name if self.is_word("R_TRIG") || self.is_word("F_TRIG") => self.edge(depth),
            Token::Name if self.join().is_none() => self.named(),
            Token::Quoted => self.named(),
            _ => Err(Mistake::new(
                range.clone(),
                format!("expected a name, NOT, ( or a literal, found `{}`", self.text(&range)),
                "a condition reads like: door = shut AND NOT stop = pressed",
            )),
        }
    }

    fn close(&mut self, open: Range<usize>) -> Result<(), Mistake> {
        match self.peek() {
            Some((Token::Close, _)) => {
                self.at += 1;
                Ok(())
            }
            None => Err(Mistake::new(open, "this ( is never closed", "put a ) where the group ends")),
            Some((_, range)) => Err(Mistake::new(
                range.clone(),
                format!("expected ), AND, OR or XOR, found `{}`", self.text(&range)),
                "two conditions are joined by AND or OR; a group ends with )",
            )),
        }
    }

    fn edge(&mut self, depth: usize) -> Result<Expression, Mistake> {
        let rising = self.is_word("R_TRIG");
        let (_, name) = self.peek().unwrap_or((Token::Name, 0..0));
        self.at += 1;
        let Some((Token::Open, open)) = self.peek() else {
            return Err(Mistake::new(
                name,
                "a ( is missing behind this",
                "write R_TRIG(start = pressed): true at the moment of pressing",
            ));
        };
        self.at += 1;
        let inner = Box::new(self.expression(0, depth + 1)?);
        self.close(open)?;
        Ok(Expression::Edge { rising, inner })
    }

    fn word(&self, token: Token, range: Range<usize>) -> Word {
        let text = self.text(&range);
        let text = if token == Token::Quoted { text.trim_matches('\'') } else { text };
        Word { text: text.to_string(), range }
    }

    fn named(&mut self) -> Result<Expression, Mistake> {
        let Some((token, range)) = self.peek() else { return Ok(Expression::Always(true)) };
        self.at += 1;
        let left = self.word(token, range);
        let comparison = match self.peek() {
            Some((Token::Equal, _)) => Comparison::Equal,
            Some((Token::Unequal, _)) => Comparison::Unequal,
            Some((Token::AtLeast, _)) => Comparison::AtLeast,
            Some((Token::AtMost, _)) => Comparison::AtMost,
            Some((Token::Above, _)) => Comparison::Above,
            Some((Token::Below, _)) => Comparison::Below,
            _ => return Ok(Expression::Name(left)),
        };
        let (_, sign) = self.peek().unwrap_or((Token::Equal, 0..0));
        self.at += 1;
        let right = match self.peek() {
            Some((Token::Number, range)) => {
                let digits = self.text(&range).replace('_', "");
                let whole = digits.parse().map_err(|_| {
                    Mistake::new(range.clone(), "this number is too large", "counts go up to 4,294,967,295")
                })?;
                Operand::Whole(whole, self.word(Token::Number, range))
            }
            Some((Token::Time, range)) => Operand::Time(self.time(&range)?, self.word(Token::Time, range)),
            Some((token @ (Token::Name | Token::Quoted), range))
                if token == Token::Quoted || (self.join().is_none() && !self.is_word("NOT")) =>
            {
                Operand::Name(self.word(token, range))
            }
            found => {
                let what = found.map_or("the end".to_string(), |(_, range)| format!("`{}`", self.text(&range)));
                return Err(Mistake::new(
                    sign,
                    format!("expected a position, a number or a time behind this, found {what}"),
                    "write NAME = POSITION, such as door = shut",
                ));
            }
        };
        self.at += 1;
        Ok(Expression::Compare(left, comparison, right))
    }

    fn time(&self, range: &Range<usize>) -> Result<u64, Mistake> {
        parse_time(self.text(range)).map_err(|what| Mistake::new(range.clone(), what, time::HINT))
    }
}

/// Joins two parts; a row of the same operator becomes one list.
fn joined(join: Join, left: Expression, right: Expression) -> Expression {
    match (join, left) {
        (Join::And, Expression::And(mut list)) => {
            list.push(right);
            Expression::And(list)
        }
        (Join::And, left) => Expression::And(vec![left, right]),
        (Join::Or, Expression::Or(mut list)) => {
            list.push(right);
            Expression::Or(list)
        }
        (Join::Or, left) => Expression::Or(vec![left, right]),
        (Join::Xor, left) => Expression::Xor(Box::new(left), Box::new(right)),
    }
}

impl Expression {
    /// Shows every name and comparison to `see`, in the order of the text.
    pub fn visit<'e>(&'e self, see: &mut impl FnMut(&'e Self)) {
        match self {
            Self::Always(_) | Self::Time(..) => {}
            Self::Name(_) | Self::Compare(..) => see(self),
            Self::Edge { inner, .. } | Self::Not(inner) => inner.visit(see),
            Self::And(list) | Self::Or(list) => list.iter().for_each(|part| part.visit(see)),
            Self::Xor(left, right) => {
                left.visit(see);
                right.visit(see);
            }
        }
    }

    /// The same expression in a string that begins `by` bytes further on.
    #[must_use]
    pub fn shifted(self, by: usize) -> Self {
        match self {
            Self::Always(value) => Self::Always(value),
            Self::Time(ms, range) => Self::Time(ms, range.start + by..range.end + by),
            Self::Name(word) => Self::Name(word.shifted(by)),
            Self::Compare(left, comparison, right) => {
                let right = match right {
                    Operand::Name(word) => Operand::Name(word.shifted(by)),
                    Operand::Whole(whole, word) => Operand::Whole(whole, word.shifted(by)),
                    Operand::Time(ms, word) => Operand::Time(ms, word.shifted(by)),
                };
                Self::Compare(left.shifted(by), comparison, right)
            }
            Self::Edge { rising, inner } => Self::Edge { rising, inner: Box::new(inner.shifted(by)) },
            Self::Not(inner) => Self::Not(Box::new(inner.shifted(by))),
            Self::And(list) => Self::And(list.into_iter().map(|part| part.shifted(by)).collect()),
            Self::Or(list) => Self::Or(list.into_iter().map(|part| part.shifted(by)).collect()),
            Self::Xor(left, right) => Self::Xor(Box::new(left.shifted(by)), Box::new(right.shifted(by))),
        }
    }

    fn power(&self) -> u8 {
        match self {
            Self::Or(_) => 1,
            Self::Xor(..) => 2,
            Self::And(_) => 3,
            _ => 4,
        }
    }

    fn write(&self, f: &mut fmt::Formatter<'_>, least: u8) -> fmt::Result {
        let group = self.power() < least;
        if group {
            f.write_str("(")?;
        }
        match self {
            Self::Always(value) => f.write_str(if *value { "TRUE" } else { "FALSE" })?,
            Self::Time(ms, _) => f.write_str(&show_time(*ms))?,
            Self::Name(word) => write_name(f, word)?,
            Self::Compare(left, comparison, right) => {
                write_name(f, left)?;
                write!(f, " {comparison} ")?;
                match right {
                    Operand::Name(word) => write_name(f, word)?,
                    Operand::Whole(whole, _) => write!(f, "{whole}")?,
                    Operand::Time(ms, _) => f.write_str(&show_time(*ms))?,
                }
            }
            Self::Edge { rising, inner } => {
                f.write_str(if *rising { "R_TRIG(" } else { "F_TRIG(" })?;
                inner.write(f, 0)?;
                f.write_str(")")?;
            }
            Self::Not(inner) => {
                f.write_str("NOT ")?;
                inner.write(f, 4)?;
            }
            Self::And(list) => write_list(f, list, " AND ", 4)?,
            Self::Or(list) => write_list(f, list, " OR ", 2)?,
            Self::Xor(left, right) => {
                left.write(f, 2)?;
                f.write_str(" XOR ")?;
                right.write(f, 3)?;
            }
        }
        if group { f.write_str(")") } else { Ok(()) }
    }
}

fn write_list(f: &mut fmt::Formatter<'_>, list: &[Expression], between: &str, least: u8) -> fmt::Result {
    for (index, part) in list.iter().enumerate() {
        if index > 0 {
            f.write_str(between)?;
        }
        part.write(f, least)?;
    }
    Ok(())
}

/// Words that are a name only in quotes.
const RESERVED: [&str; 8] = ["AND", "OR", "XOR", "NOT", "TRUE", "FALSE", "R_TRIG", "F_TRIG"];

/// Whether a word means something to conditions, so that it is a name only in quotes.
pub(crate) fn is_reserved(word: &str) -> bool {
    RESERVED.iter().any(|one| word.eq_ignore_ascii_case(one))
}

/// The name, in quotes unless it reads back as the same name without them.
fn write_name(f: &mut fmt::Formatter<'_>, word: &Word) -> fmt::Result {
    let mut tokens = Token::lexer(&word.text);
    // Blanks around a name are skipped by the lexer, but belong to a quoted one.
    let whole = tokens.next() == Some(Ok(Token::Name)) && tokens.span() == (0..word.text.len());
    if whole && !is_reserved(&word.text) { f.write_str(&word.text) } else { write!(f, "'{}'", word.text) }
}

impl fmt::Display for Comparison {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Equal => "=",
            Self::Unequal => "<>",
            Self::AtLeast => ">=",
            Self::AtMost => "<=",
            Self::Above => ">",
            Self::Below => "<",
        })
    }
}

impl fmt::Display for Expression {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.write(f, 0)
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]

    use super::*;

    #[test]
    fn a_quoted_name_is_written_such_that_it_reads_the_same() {
        for text in ["'up '", "' up'", "'not'", "'TRUE' AND a", "a = 'OR'", "'7'", "''", "'E-STOP' = on", "'T#1s'"] {
            let read = parse(text).unwrap();
            let again = parse(&read.to_string()).unwrap();
            assert_eq!(again.to_string(), read.to_string(), "{text}");
            assert_eq!(again.facts_as_text(), read.facts_as_text(), "{text}");
        }
    }

    impl Expression {
        /// Every name with what it is compared with, as read.
        fn facts_as_text(&self) -> Vec<String> {
            let mut facts = Vec::new();
            self.visit(&mut |part| match part {
                Self::Name(word) => facts.push(word.text.clone()),
                Self::Compare(left, _, right) => facts.push(format!("{}|{}", left.text, right.word().text)),
                _ => {}
            });
            facts
        }
    }
}
