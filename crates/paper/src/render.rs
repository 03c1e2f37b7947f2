//! Sheets as files: PDF, SVG and HTML.

pub mod html;
pub mod pdf;
pub mod svg;
