//! What stands on a sheet, before it is known how it is printed: blocks one below the other.
//! Sheets are computed into these; `render` makes pages of them.

use serde::Serialize;

use crate::drawing::Drawing;

/// One sheet.
#[derive(Clone, Debug, Serialize)]
pub struct Sheet {
    /// Short name, such as `lamps`; unique within a binder.
    pub name: String,
    /// The title in the language of the sheet.
    pub title: String,
    /// A line below the title.
    pub about: String,
    /// Whether it is to fit on one page; then the letters become smaller where need be.
    pub one_page: bool,
    /// Whether the paper lies across.
    pub landscape: bool,
    /// What stands on it.
    pub blocks: Vec<Block>,
}

/// A part of a sheet.
#[derive(Clone, Debug, Serialize)]
#[serde(tag = "kind", content = "body", rename_all = "snake_case")]
pub enum Block {
    /// A heading within the sheet.
    Heading(String),
    /// A paragraph.
    Text(Vec<Span>),
    /// Something to be careful of, in a frame of its own.
    Caution(Vec<String>),
    /// Rows and columns.
    Table(Table),
    /// A drawing; it is never broken.
    Drawing(Drawing),
    /// A numbered step with answers.
    Card(Card),
    /// Lists of blocks side by side.
    Beside(Vec<Vec<Block>>),
    /// What follows begins on a new page.
    NewPage,
}

/// A run of letters.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Span {
    /// How it is set.
    pub style: Style,
    /// The text; of a reference, what is said for it.
    pub text: String,
    /// For a reference: the mark that it leads to.
    pub to: Option<String>,
}

/// How a run of letters is set.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Style {
    /// As it comes.
    Plain,
    /// Bold.
    Strong,
    /// Side remarks.
    Faint,
    /// A box to tick.
    Tick,
    /// A line to write on.
    Blank,
    /// A reference to a mark, with its page on paper.
    Reference,
}

impl Span {
    /// As it comes.
    pub fn plain(text: impl Into<String>) -> Self {
        Self { style: Style::Plain, text: text.into(), to: None }
    }

    /// Bold.
    pub fn strong(text: impl Into<String>) -> Self {
        Self { style: Style::Strong, text: text.into(), to: None }
    }

    /// A side remark.
    pub fn faint(text: impl Into<String>) -> Self {
        Self { style: Style::Faint, text: text.into(), to: None }
    }

    /// A box to tick.
    #[must_use]
    pub fn tick() -> Self {
        Self { style: Style::Tick, text: String::new(), to: None }
    }

    /// A line to write on.
    #[must_use]
    pub fn blank() -> Self {
        Self { style: Style::Blank, text: String::new(), to: None }
    }

    /// A reference to a mark.
    pub fn reference(text: impl Into<String>, to: impl Into<String>) -> Self {
        Self { style: Style::Reference, text: text.into(), to: Some(to.into()) }
    }
}

/// A cell of a table.
pub type Cell = Vec<Span>;

/// Rows and columns. The head is repeated on each page.
#[derive(Clone, Debug, Serialize)]
pub struct Table {
    /// The columns.
    pub columns: Vec<Column>,
    /// The rows, each with a cell for each column.
    pub rows: Vec<Vec<Cell>>,
    /// Whether the letters are small.
    pub small: bool,
}

impl Table {
    /// The same without the columns in which nothing stands.
    #[must_use]
    pub fn without_empty_columns(self) -> Self {
        let says = |span: &Span| !span.text.is_empty() || matches!(span.style, Style::Tick | Style::Blank);
        let kept: Vec<bool> = (0..self.columns.len())
            .map(|at| self.rows.iter().any(|row| row.get(at).is_some_and(|cell| cell.iter().any(says))))
            .collect();
        let column = |at: usize| kept.get(at).copied().unwrap_or_default();
        let columns = self.columns.into_iter().enumerate().filter(|(at, _)| column(*at)).map(|(_, one)| one).collect();
        let row =
            |row: Vec<Cell>| row.into_iter().enumerate().filter(|(at, _)| column(*at)).map(|(_, one)| one).collect();
        Self { columns, rows: self.rows.into_iter().map(row).collect(), ..self }
    }
}

/// A column of a table.
#[derive(Clone, Debug, Serialize)]
pub struct Column {
    /// What stands above it.
    pub head: String,
    /// Its share of the width that is left; 0: as wide as what stands in it.
    pub share: u32,
    /// Whether its cells are centred.
    pub centred: bool,
}

impl Column {
    /// As wide as what stands in it.
    pub fn narrow(head: impl Into<String>) -> Self {
        Self { head: head.into(), share: 0, centred: false }
    }

    /// As wide as what stands in it, centred.
    pub fn mark(head: impl Into<String>) -> Self {
        Self { head: head.into(), share: 0, centred: true }
    }

    /// With this share of the width that is left.
    pub fn wide(head: impl Into<String>, share: u32) -> Self {
        Self { head: head.into(), share, centred: false }
    }
}

/// A numbered step: cautions, what to do, and what follows each answer.
#[derive(Clone, Debug, Serialize)]
pub struct Card {
    /// The number before it.
    pub number: String,
    /// The mark by which others refer to it.
    pub mark: Option<String>,
    /// What is said before the words.
    pub cautions: Vec<String>,
    /// What to do.
    pub words: Vec<Span>,
    /// A side remark: minutes, who.
    pub remark: String,
    /// Answers, each with what follows.
    pub answers: Vec<Answer>,
}

/// An answer on a [`Card`].
#[derive(Clone, Debug, Serialize)]
pub struct Answer {
    /// What is answered.
    pub words: Vec<Span>,
    /// What follows from it.
    pub then: Vec<Span>,
    /// What is to be done then, one after the other; numbered where it is set.
    pub in_turn: Vec<Vec<Span>>,
}

impl Answer {
    /// An answer with what follows, and nothing to be done in turn.
    pub fn new(words: Vec<Span>, then: Vec<Span>) -> Self {
        Self { words, then, in_turn: Vec::new() }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn columns_in_which_nothing_stands_go_and_those_to_be_filled_in_stay() {
        let row = |name: &str| vec![vec![Span::plain(name)], vec![Span::plain("")], Cell::new(), vec![Span::tick()]];
        let columns = ["lamp", "where", "own LED", "right"].map(Column::narrow).to_vec();
        let table = Table { columns, rows: vec![row("X0"), row("X1")], small: false }.without_empty_columns();
        assert_eq!(table.columns.iter().map(|one| one.head.as_str()).collect::<Vec<_>>(), ["lamp", "right"]);
        assert_eq!(
            table.rows,
            [vec![vec![Span::plain("X0")], vec![Span::tick()]], vec![vec![Span::plain("X1")], vec![Span::tick()]]]
        );
    }
}
