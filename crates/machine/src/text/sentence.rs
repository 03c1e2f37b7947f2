//! Steps in a short sentence: `do lift down and clamp shut until lift = down`,
//! `run pump for fill_time`, `wait until start = pressed`, `run Y7 blinking until reset = pressed`.

use super::expression::{self, Expression};
use super::time::{self, parse_time};
use super::{Mistake, Word};

/// A step as written.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Sentence {
    /// What it does.
    pub clauses: Vec<Clause>,
    /// What ends it.
    pub end: Option<End>,
}

/// What ends a step.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum End {
    /// A condition.
    Until(Expression),
    /// A time.
    Time(Duration),
}

/// A time, or the name of a setting that holds one.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Duration {
    /// So many ms.
    Ms(u64),
    /// The setting's name.
    Setting(Word),
}

/// What a clause does.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Verb {
    /// The command stays until another `do` for the same mechanism.
    Do,
    /// Only during this step.
    Run,
    /// On until reset.
    Set,
    /// Off.
    Reset,
    /// Count one.
    Count,
    /// Counter to nought.
    Clear,
}

impl Verb {
    /// The verb of this word.
    #[must_use]
    pub fn from_word(word: &str) -> Option<Self> {
        Some(match word {
            "do" => Self::Do,
            "run" => Self::Run,
            "set" => Self::Set,
            "reset" => Self::Reset,
            "count" => Self::Count,
            "clear" => Self::Clear,
            _ => return None,
        })
    }
}

/// One thing that a step does.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Clause {
    /// How.
    pub verb: Verb,
    /// The mechanism, output, latch or counter.
    pub object: Word,
    /// The position, if named.
    pub position: Option<Word>,
    /// When within the step.
    pub timing: Option<ClauseTiming>,
    /// Only while this holds.
    pub condition: Option<Expression>,
}

/// When a clause acts within its step.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum ClauseTiming {
    /// From then on.
    After(Duration),
    /// Only so long.
    For(Duration),
    /// On and off in turn, the same time each.
    Blinking(Duration),
}

/// Half a period of blinking where nothing is said, ms.
const BLINK_MS: u64 = 500;

const HINT: &str = "a step reads like: do lift down until lift = down; run pump for T#4s; wait until start = pressed";

/// The words of a text: separated by blanks; commas stand alone; a group in parentheses is one word.
#[must_use]
pub fn words(text: &str) -> Vec<Word> {
    let mut words: Vec<Word> = Vec::new();
    let mut start: Option<usize> = None;
    let mut depth = 0_usize;
    let mut end = |start: &mut Option<usize>, at: usize| {
        if let Some(from) = start.take() {
            words.push(Word { text: text[from..at].to_string(), range: from..at });
        }
    };
    for (at, character) in text.char_indices() {
        match character {
            '(' => {
                if depth == 0 {
                    end(&mut start, at);
                    start = Some(at);
                }
                depth += 1;
            }
            ')' if depth > 0 => {
                depth -= 1;
                if depth == 0 {
                    end(&mut start, at + 1);
                }
            }
            ',' if depth == 0 => {
                end(&mut start, at);
                start = Some(at);
                end(&mut start, at + 1);
            }
            blank if blank.is_whitespace() && depth == 0 => end(&mut start, at),
            _ if start.is_none() => start = Some(at),
            _ => {}
        }
    }
    end(&mut start, text.len());
    words
}

/// Reads a word as a time literal or a setting's name.
///
/// # Errors
/// When it looks like a time but isn't one.
pub fn duration(word: &Word) -> Result<Duration, Mistake> {
    let text = &word.text;
    if text.contains('#') || text.starts_with(|first: char| first.is_ascii_digit()) {
        return parse_time(text).map(Duration::Ms).map_err(|what| Mistake::new(word.range.clone(), what, time::HINT));
    }
    Ok(Duration::Setting(word.clone()))
}

/// Reads a step sentence.
///
/// # Errors
/// The first mistake in it.
///
/// ```
/// use machine::text::sentence::{End, parse};
/// let step = parse("do lift down and clamp shut until lift = down").unwrap();
/// assert_eq!(step.clauses.len(), 2);
/// assert!(matches!(step.end, Some(End::Until(_))));
/// ```
pub fn parse(text: &str) -> Result<Sentence, Mistake> {
    let words = words(text);
    if words.is_empty() {
        return Err(Mistake::new(0..text.len(), "the step is empty", HINT));
    }
    let until = words.iter().position(|word| word.text == "until");
    let before = &words[..until.unwrap_or(words.len())];
    let end = match until {
        Some(at) => {
            let from = words[at].range.end;
            let condition = expression::parse(&text[from..]).map_err(|mistake| mistake.shifted(from))?;
            Some(End::Until(condition.shifted(from)))
        }
        None => None,
    };
    if before.first().is_some_and(|word| word.text == "wait") {
        return waiting(before, end);
    }
    let mut clauses = clauses(before, None)?;
    let end = match (end, clauses.last_mut()) {
        (None, Some(last)) => match last.timing.take() {
            Some(ClauseTiming::For(time)) => Some(End::Time(time)),
            other => {
                last.timing = other;
                None
            }
        },
        (end, _) => end,
    };
    Ok(Sentence { clauses, end })
}

fn waiting(before: &[Word], end: Option<End>) -> Result<Sentence, Mistake> {
    match (before, end) {
        ([_], Some(end)) => Ok(Sentence { clauses: Vec::new(), end: Some(end) }),
        ([_, time], None) => Ok(Sentence { clauses: Vec::new(), end: Some(End::Time(duration(time)?)) }),
        ([word, ..], _) => {
            Err(Mistake::new(word.range.clone(), "`wait` takes `until` and a condition, or a time", HINT))
        }
        ([], _) => Ok(Sentence::default()),
    }
}

/// Reads the clauses of a table key such as `do = "lift down, clamp shut"`.
///
/// # Errors
/// The first mistake in it.
pub fn parse_clauses(text: &str, verb: Verb) -> Result<Vec<Clause>, Mistake> {
    clauses(&words(text), Some(verb))
}

fn clauses(words: &[Word], given: Option<Verb>) -> Result<Vec<Clause>, Mistake> {
    let mut list = Vec::new();
    let mut verb = given;
    for part in words.split(|word| word.text == "," || word.text.eq_ignore_ascii_case("and")) {
        let Some(first) = part.first() else {
            let place = words.first().map_or(0..0, |word| word.range.clone());
            return Err(Mistake::new(place, "something is missing beside `,` or `and`", HINT));
        };
        let own = if given.is_none() || part.len() > 1 { Verb::from_word(&first.text) } else { None };
        let rest = if own.is_some() { &part[1..] } else { part };
        verb = own.or(verb);
        let Some(verb) = verb else {
            return Err(Mistake::new(
                first.range.clone(),
                format!("expected do, run, set, reset, count, clear or wait, found `{}`", first.text),
                HINT,
            ));
        };
        list.push(clause(verb, rest, first)?);
    }
    Ok(list)
}

fn clause(verb: Verb, words: &[Word], first: &Word) -> Result<Clause, Mistake> {
    let is_suffix = |word: &Word| matches!(word.text.as_str(), "after" | "for" | "blinking" | "if");
    let named = words.iter().position(is_suffix).unwrap_or(words.len());
    let (object, position) = match &words[..named] {
        [object] => (object.clone(), None),
        [object, position] => (object.clone(), Some(position.clone())),
        [] => return Err(Mistake::new(first.range.clone(), "what to act on is missing behind this", HINT)),
        [_, _, third, ..] => {
            return Err(Mistake::new(
                third.range.clone(),
                format!("did not expect `{}` here", third.text),
                "an action is a mechanism and a position, such as lift down; join two actions by `and`",
            ));
        }
    };
    let mut clause = Clause { verb, object, position, timing: None, condition: None };
    let mut rest = &words[named..];
    while let Some((suffix, after)) = rest.split_first() {
        let next = after.first().filter(|word| !is_suffix(word));
        match (suffix.text.as_str(), next) {
            ("after", Some(time)) => clause.timing = Some(ClauseTiming::After(duration(time)?)),
            ("for", Some(time)) => clause.timing = Some(ClauseTiming::For(duration(time)?)),
            ("blinking", Some(time)) => clause.timing = Some(ClauseTiming::Blinking(duration(time)?)),
            ("blinking", None) => clause.timing = Some(ClauseTiming::Blinking(Duration::Ms(BLINK_MS))),
            ("if", Some(group)) => {
                let condition = expression::parse(&group.text).map_err(|m| m.shifted(group.range.start))?;
                clause.condition = Some(condition.shifted(group.range.start));
            }
            (other, _) => {
                return Err(Mistake::new(
                    suffix.range.clone(),
                    format!("did not expect `{other}` here, or something is missing behind it"),
                    "actions may end with: after T#1s, for T#2s, blinking, if (door = shut)",
                ));
            }
        }
        rest = if next.is_some() { &after[1..] } else { after };
    }
    Ok(clause)
}
