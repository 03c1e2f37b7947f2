//! Texts with names, and places in them. Every mistake that the reader finds
//! points to a [`Span`]; a [`Source`] turns it into line and column.

use std::ops::Range;

/// A text that was read, with the name that messages call it by.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Source {
    /// File name as shown to people.
    pub name: String,
    /// The text.
    pub text: String,
}

/// A stretch of one of the texts that belong to a reading.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
pub struct Span {
    /// Which text: 0 is the machine file, others are device libraries.
    pub file: u32,
    /// First byte.
    pub start: u32,
    /// Byte after the last.
    pub end: u32,
}

impl Span {
    /// The stretch of bytes in text number `file`.
    #[must_use]
    pub fn new(file: u32, range: Range<usize>) -> Self {
        let clip = |at: usize| u32::try_from(at).unwrap_or(u32::MAX);
        Self { file, start: clip(range.start), end: clip(range.end) }
    }

    /// The bytes as a range.
    #[must_use]
    pub fn range(self) -> Range<usize> {
        self.start as usize..self.end as usize
    }
}

/// Line and column, both counted from 1; columns count characters, not bytes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct LineColumn {
    /// Line.
    pub line: usize,
    /// Column.
    pub column: usize,
}

impl Source {
    /// A text with a name.
    pub fn new(name: impl Into<String>, text: impl Into<String>) -> Self {
        Self { name: name.into(), text: text.into() }
    }

    /// Where a byte is; a byte behind the end counts as the end.
    ///
    /// ```
    /// use machine::source::{LineColumn, Source};
    /// let source = Source::new("a.toml", "ü = 1\nx = 2");
    /// assert_eq!(source.line_column(7), LineColumn { line: 2, column: 1 });
    /// assert_eq!(source.line_column(3), LineColumn { line: 1, column: 3 });
    /// ```
    #[must_use]
    pub fn line_column(&self, byte: usize) -> LineColumn {
        let mut end = byte.min(self.text.len());
        while !self.text.is_char_boundary(end) {
            end -= 1;
        }
        let before = &self.text[..end];
        let line_start = before.rfind('\n').map_or(0, |at| at + 1);
        LineColumn { line: before.matches('\n').count() + 1, column: before[line_start..].chars().count() + 1 }
    }
}
