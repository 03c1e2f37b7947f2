//! The sizes of paper, and the room that is left on it.

/// A size of paper with its margins, in points (1/72 inch).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PageSize {
    /// Width of the paper.
    pub width: f64,
    /// Height of the paper.
    pub height: f64,
    /// Margin left and right.
    pub side: f64,
    /// Margin above, with the header in it.
    pub top: f64,
    /// Margin below, with the footer in it.
    pub bottom: f64,
}

impl PageSize {
    /// ISO 216: 210 mm by 297 mm.
    pub const A4: Self = Self { width: 595.28, height: 841.89, side: 40.0, top: 54.0, bottom: 58.0 };
    /// ANSI Y14.1: 8.5 inches by 11 inches.
    pub const LETTER: Self = Self { width: 612.0, height: 792.0, side: 40.0, top: 54.0, bottom: 58.0 };

    /// The same paper lying across.
    #[must_use]
    pub fn across(self) -> Self {
        Self { width: self.height, height: self.width, ..self }
    }

    /// Width of what can be printed.
    #[must_use]
    pub fn room_across(self) -> f64 {
        self.width - 2.0 * self.side
    }

    /// Height of what can be printed below the title of a sheet.
    #[must_use]
    pub fn room_down(self) -> f64 {
        /// What the title and the line below it take.
        const TITLE: f64 = 62.0;
        self.height - self.top - self.bottom - TITLE
    }
}
