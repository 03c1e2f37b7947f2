//! What is wrong with a file: severity, place, cause, hint. Messages are
//! gathered, never thrown; the caller decides what an error means for it.

use annotate_snippets::renderer::DecorStyle;
use annotate_snippets::{AnnotationKind, Level, Renderer, Snippet};
use serde_json::{Value, json};

use crate::source::{Source, Span};

/// How bad it is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Severity {
    /// The file can't be used as it is.
    Error,
    /// It can be used, but answers may be wrong.
    Warning,
    /// Worth knowing.
    Note,
}

impl Severity {
    /// The word in messages and in JSON.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Error => "error",
            Self::Warning => "warning",
            Self::Note => "note",
        }
    }
}

/// One mistake or remark.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Problem {
    /// How bad it is.
    pub severity: Severity,
    /// Where it is.
    pub span: Span,
    /// Stable short name of this kind of problem, such as `unknown-key`.
    pub code: &'static str,
    /// What is wrong, as a lower-case sentence without full stop.
    pub what: String,
    /// What to do about it.
    pub hint: Option<String>,
}

impl Problem {
    /// Whether it keeps the file from being used.
    #[must_use]
    pub fn is_error(&self) -> bool {
        self.severity == Severity::Error
    }

    /// The problem with file, line, column, source line and hint.
    /// `colour` adds terminal colours; without it the text is plain ASCII around the source line.
    #[must_use]
    pub fn render(&self, sources: &[Source], colour: bool) -> String {
        let level = match self.severity {
            Severity::Error => Level::ERROR,
            Severity::Warning => Level::WARNING,
            Severity::Note => Level::NOTE,
        };
        let renderer = if colour { Renderer::styled() } else { Renderer::plain() }.decor_style(DecorStyle::Ascii);
        let title = level.primary_title(&self.what).id(self.code);
        let Some(source) = sources.get(self.span.file as usize) else {
            return renderer.render(&[title.element(Level::HELP.message(self.hint.as_deref().unwrap_or("")))]);
        };
        // Only the lines in question go to the renderer, so that a large file with many mistakes is quick.
        let span = clip(self.span, &source.text);
        let first = source.text[..span.start].rfind('\n').map_or(0, |at| at + 1);
        let last = source.text[span.end..].find('\n').map_or(source.text.len(), |at| span.end + at);
        let snippet = Snippet::source(&source.text[first..last])
            .line_start(source.line_column(first).line)
            .path(&source.name)
            .annotation(AnnotationKind::Primary.span(span.start - first..span.end - first));
        let mut group = title.element(snippet);
        if let Some(hint) = &self.hint {
            group = group.element(Level::HELP.message(hint));
        }
        renderer.render(&[group])
    }

    /// The problem as a JSON object: severity, code, file, line, column, end, message, hint.
    #[must_use]
    pub fn to_json(&self, sources: &[Source]) -> Value {
        let source = sources.get(self.span.file as usize);
        let start = source.map(|source| source.line_column(self.span.start as usize));
        let end = source.map(|source| source.line_column(self.span.end as usize));
        json!({
            "severity": self.severity.word(),
            "code": self.code,
            "file": source.map(|source| source.name.as_str()),
            "line": start.map(|place| place.line),
            "column": start.map(|place| place.column),
            "end_line": end.map(|place| place.line),
            "end_column": end.map(|place| place.column),
            "message": self.what,
            "hint": self.hint,
        })
    }
}

/// A range that the renderer can show: within the text, at character boundaries.
fn clip(span: Span, text: &str) -> std::ops::Range<usize> {
    let inside = |mut at: usize| {
        at = at.min(text.len());
        while !text.is_char_boundary(at) {
            at -= 1;
        }
        at
    };
    let start = inside(span.start as usize);
    start..inside(span.end as usize).max(start)
}

/// The most problems that are listed for one file.
pub const MOST_PROBLEMS: usize = 1_000;

/// The problems found so far.
#[derive(Clone, Debug, Default)]
pub struct Problems {
    list: Vec<Problem>,
}

impl Problems {
    /// Notes an error.
    pub fn error(&mut self, span: Span, code: &'static str, what: impl Into<String>, hint: impl Into<String>) {
        self.add(Severity::Error, span, code, what.into(), hint.into());
    }

    /// Notes a warning.
    pub fn warning(&mut self, span: Span, code: &'static str, what: impl Into<String>, hint: impl Into<String>) {
        self.add(Severity::Warning, span, code, what.into(), hint.into());
    }

    /// Notes a remark.
    pub fn note(&mut self, span: Span, code: &'static str, what: impl Into<String>, hint: impl Into<String>) {
        self.add(Severity::Note, span, code, what.into(), hint.into());
    }

    fn add(&mut self, severity: Severity, span: Span, code: &'static str, what: String, hint: String) {
        let hint = (!hint.is_empty()).then_some(hint);
        self.push(Problem { severity, span, code, what, hint });
    }

    /// Adds a problem unless the very same is there. After [`MOST_PROBLEMS`] only says that there are more.
    pub fn push(&mut self, problem: Problem) {
        if self.list.len() > MOST_PROBLEMS || self.list.contains(&problem) {
            return;
        }
        if self.list.len() == MOST_PROBLEMS {
            self.list.push(Problem {
                severity: Severity::Error,
                span: problem.span,
                code: "too-many-problems",
                what: format!("more than {MOST_PROBLEMS} problems; the others are not shown"),
                hint: Some("put the first ones right and look again".to_string()),
            });
            return;
        }
        self.list.push(problem);
    }

    /// Adds those of `others` that are not there yet.
    pub fn extend(&mut self, others: impl IntoIterator<Item = Problem>) {
        others.into_iter().for_each(|problem| self.push(problem));
    }

    /// How many there are.
    #[must_use]
    pub fn len(&self) -> usize {
        self.list.len()
    }

    /// Whether there are none.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.list.is_empty()
    }

    /// Whether any of them is an error.
    #[must_use]
    pub fn has_errors(&self) -> bool {
        self.list.iter().any(Problem::is_error)
    }

    /// Whether the text could not be read as TOML throughout.
    #[must_use]
    pub fn has_syntax_errors(&self) -> bool {
        self.list.iter().any(|problem| problem.code == "toml")
    }

    /// All of them, in the order of the text.
    #[must_use]
    pub fn into_sorted(mut self) -> Vec<Problem> {
        self.list.sort_by(|a, b| (a.span, a.severity, a.code).cmp(&(b.span, b.severity, b.code)));
        self.list
    }
}
