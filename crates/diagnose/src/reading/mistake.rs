//! A mistake in a typed report: where, what, and what to type instead.

use std::fmt;
use std::ops::Range;

use annotate_snippets::renderer::DecorStyle;
use annotate_snippets::{AnnotationKind, Level, Renderer, Snippet};

/// The longest text that is read, in bytes; nobody says more about one moment.
pub const LONGEST_TEXT: usize = 64 * 1024;

/// After so many mistakes the rest of a text is not reported on.
const MOST_MISTAKES: usize = 25;

/// What kind of mistake it is, for programs; people read the words.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum MistakeKind {
    /// The text is longer than [`LONGEST_TEXT`].
    TooLong,
    /// Nothing of the machine has this name.
    NoSuchName,
    /// More than one thing has this name.
    SeveralOfThatName,
    /// The same thing is said to be in two ways.
    Contradiction,
    /// A name without a word about how it is.
    NothingSaid,
    /// A word about how it is, without a name.
    NobodyNamed,
    /// It can't be told which of several is meant.
    Unclear,
}

impl MistakeKind {
    /// Stable short name, for JSON and messages.
    #[must_use]
    pub fn code(self) -> &'static str {
        match self {
            Self::TooLong => "too-long",
            Self::NoSuchName => "no-such-name",
            Self::SeveralOfThatName => "several-of-that-name",
            Self::Contradiction => "contradiction",
            Self::NothingSaid => "nothing-said",
            Self::NobodyNamed => "nobody-named",
            Self::Unclear => "unclear",
        }
    }
}

/// A mistake in what was typed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ReadingError {
    /// What kind of mistake.
    pub kind: MistakeKind,
    /// Where, in bytes of the text.
    pub span: Range<usize>,
    /// The other place that it is about, for a contradiction.
    pub other: Option<Range<usize>>,
    /// What is wrong: a fragment in lower case that fits behind a colon.
    pub what: String,
    /// What to type instead.
    pub hint: String,
}

impl fmt::Display for ReadingError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} ({})", self.what, self.hint)
    }
}

impl std::error::Error for ReadingError {}

/// The mistakes as a terminal shows them, each under the text it is in.
///
/// `name` says where the text came from, such as `--lamps`; `colour` whether a
/// terminal reads it.
///
/// ```
/// use diagnose::reading::{read_complaint, render_mistakes};
/// let text = "it is purple";
/// let mistakes = read_complaint(text).unwrap_err();
/// let shown = render_mistakes("--complaint", text, &mistakes, false);
/// assert!(shown.contains("it is purple"));
/// assert!(shown.contains("help: "));
/// ```
#[must_use]
pub fn render_mistakes(name: &str, text: &str, mistakes: &[ReadingError], colour: bool) -> String {
    let renderer = if colour { Renderer::styled() } else { Renderer::plain() }.decor_style(DecorStyle::Ascii);
    let mut shown = String::new();
    for mistake in mistakes {
        let here = AnnotationKind::Primary.span(within(text, &mistake.span));
        let mut snippet = Snippet::source(text).path(name).annotation(here);
        if let Some(other) = &mistake.other {
            snippet = snippet.annotation(AnnotationKind::Context.span(within(text, other)).label("said here first"));
        }
        let title = Level::ERROR.primary_title(mistake.what.as_str()).id(mistake.kind.code());
        let report = title.element(snippet).element(Level::HELP.message(mistake.hint.as_str()));
        shown.push_str(&renderer.render(&[report]));
        shown.push('\n');
    }
    shown
}

/// The span, cut to the text and to whole letters, so that no caller can break the rendering.
fn within(text: &str, span: &Range<usize>) -> Range<usize> {
    let cut = |mut at: usize| {
        at = at.min(text.len());
        while !text.is_char_boundary(at) {
            at -= 1;
        }
        at
    };
    let start = cut(span.start);
    start..cut(span.end).max(start)
}

/// The mistakes found so far in one text.
#[derive(Debug, Default)]
pub(super) struct Mistakes {
    found: Vec<ReadingError>,
}

impl Mistakes {
    /// Refuses a text that is too long.
    pub fn check_length(text: &str) -> Result<Self, Vec<ReadingError>> {
        if text.len() <= LONGEST_TEXT {
            return Ok(Self::default());
        }
        let mut start = LONGEST_TEXT;
        while !text.is_char_boundary(start) {
            start -= 1;
        }
        Err(vec![ReadingError {
            kind: MistakeKind::TooLong,
            span: start..text.len(),
            other: None,
            what: format!("the text is {} bytes long, more than is read", text.len()),
            hint: format!("say it in at most {LONGEST_TEXT} bytes"),
        }])
    }

    /// Whether further mistakes are still taken; looking for hints is dear.
    pub fn wanted(&self) -> bool {
        self.found.len() < MOST_MISTAKES
    }

    /// Adds a mistake.
    pub fn add(&mut self, kind: MistakeKind, span: Range<usize>, what: impl Into<String>, hint: impl Into<String>) {
        self.push(ReadingError { kind, span, other: None, what: what.into(), hint: hint.into() });
    }

    /// Adds a mistake, unless there are too many already.
    pub fn push(&mut self, mistake: ReadingError) {
        if self.wanted() {
            self.found.push(mistake);
        }
    }

    /// The result, or all mistakes in the order of the text.
    pub fn or<T>(self, read: T) -> Result<T, Vec<ReadingError>> {
        if self.found.is_empty() { Ok(read) } else { Err(self.all()) }
    }

    /// All mistakes in the order of the text.
    pub fn all(mut self) -> Vec<ReadingError> {
        self.found.sort_by_key(|mistake| (mistake.span.start, mistake.span.end));
        self.found
    }
}

/// Names in a row for people: `` `X7`, `X10` and `Y7` ``.
pub(super) fn listed<S: AsRef<str>>(names: &[S], last: &str) -> String {
    let quoted: Vec<String> = names.iter().map(|name| format!("`{}`", name.as_ref())).collect();
    match quoted.as_slice() {
        [] => String::new(),
        [one] => one.clone(),
        [front @ .., end] => format!("{} {last} {end}", front.join(", ")),
    }
}
