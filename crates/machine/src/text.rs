//! The small languages inside the strings of a machine file: conditions, step
//! sentences, times, chances, label ranges. Each parser takes a string and gives
//! a value or a [`Mistake`] with the range of bytes it is about.

pub mod chance;
pub mod effect;
pub mod expression;
pub mod hand;
pub mod label_range;
pub mod sentence;
pub mod time;

use std::ops::Range;

/// A mistake inside a string.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Mistake {
    /// The bytes it is about.
    pub range: Range<usize>,
    /// What is wrong.
    pub what: String,
    /// What to do.
    pub hint: String,
}

impl Mistake {
    /// A mistake with its hint.
    pub fn new(range: Range<usize>, what: impl Into<String>, hint: impl Into<String>) -> Self {
        Self { range, what: what.into(), hint: hint.into() }
    }

    /// The same mistake in a string that begins `by` bytes further on.
    #[must_use]
    pub fn shifted(mut self, by: usize) -> Self {
        self.range = self.range.start + by..self.range.end + by;
        self
    }
}

/// A word of a string and where it stands in it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Word {
    /// The word.
    pub text: String,
    /// Its bytes.
    pub range: Range<usize>,
}

impl Word {
    /// The same word in a string that begins `by` bytes further on.
    #[must_use]
    pub fn shifted(mut self, by: usize) -> Self {
        self.range = self.range.start + by..self.range.end + by;
        self
    }
}
