//! Sheets as files: PDF, SVG and HTML.

pub mod html;
#[cfg_attr(not(feature = "typeset"), path = "render/without_typesetter.rs")]
pub mod pdf;
pub mod svg;

/// What keeps pages from being set. None of it is the reader's mistake.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct TypesetError {
    /// What the typesetting library says.
    pub messages: Vec<String>,
}

impl std::fmt::Display for TypesetError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "the pages can't be set: {}", self.messages.join("; "))
    }
}

impl std::error::Error for TypesetError {}
