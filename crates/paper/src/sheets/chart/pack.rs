//! Puts the pieces of a chart onto pages: in columns from left to right, cut before steps where a piece
//! is longer than a page, with the name of the step with which it goes on.

use crate::drawing::Drawing;

use super::block::{self, Block};
use super::layout::Piece;

/// Between columns, and between pieces in a column.
const ACROSS: f64 = 16.0;
const DOWN: f64 = 16.0;
/// What the arrow to the next column takes.
const ARROW: f64 = 32.0;
/// Half of the widest name below an arrow.
const ARROW_HALF: f64 = 60.0;
/// What must be left of the width for such a name.
pub const MARGIN: f64 = 2.0 * ARROW_HALF;
/// What the arrows before and behind a part of a piece take together.
pub const ARROWS: f64 = 2.0 * ARROW;

/// What is left free around a page, so that no line at its edge is cut off.
const EDGE: f64 = 0.5;

/// The pages.
pub fn pages(pieces: &[Piece], about: &str, width: f64, height: f64) -> Vec<Drawing> {
    let (width, height) = (width - 2.0 * EDGE, height - 2.0 * EDGE);
    let chunks: Vec<Block> = pieces.iter().flat_map(|piece| chunks(piece, width, height)).collect();
    let mut pages: Vec<Page> = Vec::new();
    for chunk in &chunks {
        let placed = pages.last_mut().is_some_and(|page| page.place(chunk, width, height));
        if !placed {
            let mut page = Page::new(about);
            page.begin_column(chunk);
            pages.push(page);
        }
    }
    pages.into_iter().map(|page| with_edge(about, &page.drawing)).collect()
}

fn with_edge(about: &str, inside: &Drawing) -> Drawing {
    let mut whole = Drawing::new(about, inside.width + 2.0 * EDGE, inside.height + 2.0 * EDGE);
    whole.put(inside, EDGE, EDGE);
    whole
}

struct Page {
    drawing: Drawing,
    /// Left edge and width of the last column, and how far down it is taken.
    left: f64,
    wide: f64,
    down: f64,
}

impl Page {
    fn new(about: &str) -> Self {
        Self { drawing: Drawing::new(about, 0.0, 0.0), left: 0.0, wide: 0.0, down: 0.0 }
    }

    /// Puts a chunk below the last one, or beside it; gives whether there was room.
    fn place(&mut self, chunk: &Block, width: f64, height: f64) -> bool {
        let wide = chunk.left + chunk.right;
        if self.down + DOWN + chunk.height <= height && self.left + wide.max(self.wide) <= width {
            self.put(chunk, self.down + DOWN);
            return true;
        }
        let left = self.left + self.wide + ACROSS;
        if left + wide <= width && chunk.height <= height {
            self.left = left;
            self.wide = 0.0;
            self.begin_column(chunk);
            return true;
        }
        false
    }

    fn begin_column(&mut self, chunk: &Block) {
        self.down = 0.0;
        self.put(chunk, 0.0);
    }

    fn put(&mut self, chunk: &Block, y: f64) {
        self.drawing.put(&chunk.drawn, self.left + chunk.left, y);
        self.down = y + chunk.height;
        self.wide = self.wide.max(chunk.left + chunk.right);
        self.drawing.width = self.drawing.width.max(self.left + self.wide);
        self.drawing.height = self.drawing.height.max(self.down);
    }
}

/// A piece in parts that are no longer than a page.
fn chunks(piece: &Piece, width: f64, height: f64) -> Vec<Block> {
    let mut chunks = Vec::new();
    let mut rest = &piece[..];
    let mut entry = false;
    while !rest.is_empty() {
        let (count, cut) = fitting(rest, width, height - if entry { ARROW } else { 0.0 });
        let (now, later) = rest.split_at(count);
        let mut blocks = Vec::new();
        if entry {
            blocks.push(block::entry());
        }
        blocks.extend_from_slice(now);
        if cut {
            // Where it goes on with a transition, the step behind that is what is looked for.
            let next = later.iter().find_map(|block| block.begins.clone());
            blocks.push(block::jump(next.as_deref().unwrap_or("…")));
        }
        chunks.push(block::stack(&blocks));
        rest = later;
        entry = true;
    }
    chunks
}

/// How many blocks fit, and whether something is left over; if so they end before a step where possible.
fn fitting(blocks: &[Block], width: f64, height: f64) -> (usize, bool) {
    // Blocks that reach far to the left and others that reach far to the right can be too wide together.
    let (mut left, mut right) = (ARROW_HALF, ARROW_HALF);
    let narrow = blocks.iter().take_while(|block| {
        (left, right) = (block.left.max(left), block.right.max(right));
        left + right <= width
    });
    let narrow = narrow.count().max(1);
    if narrow >= blocks.len() && blocks.iter().map(|block| block.height).sum::<f64>() <= height {
        return (blocks.len(), false);
    }
    let mut used = ARROW;
    let fits = blocks[..narrow].iter().take_while(|block| {
        used += block.height;
        used <= height
    });
    let most = fits.count().max(1);
    let before_step = (1..=most).rev().find(|count| blocks.get(*count).is_some_and(|block| block.begins.is_some()));
    let count = before_step.unwrap_or(most);
    (count, count < blocks.len())
}

#[cfg(test)]
mod tests {
    use super::super::graph::{Bar, StepBox};
    use super::*;
    use crate::drawing::Item;

    fn step(name: &str) -> Block {
        block::step(&StepBox { name: name.to_owned(), initial: false, actions: vec!["Y1 valve".to_owned()] })
    }

    fn bar() -> Block {
        block::bar(&Bar { from: vec![0], to: vec![1], condition: "X1".to_owned() })
    }

    #[test]
    fn a_cut_before_a_transition_names_the_step_behind_it() {
        // So tall that nothing stands beside it but an arrow.
        let tall = Block { height: 200.0, ..bar() };
        let pages = pages(&[vec![tall, bar(), step("tally")]], "chart", 300.0, 240.0);
        let texts: Vec<&str> = (pages.iter().flat_map(|page| &page.items))
            .filter_map(|item| if let Item::Text(text) = item { Some(text.text.as_str()) } else { None })
            .collect();
        assert!(texts.contains(&"→ tally") && !texts.iter().any(|text| text.contains('…')), "{texts:?}");
    }

    #[test]
    fn no_line_is_at_the_edge_of_a_page() {
        let pages = pages(&[vec![step("fill"), bar()]], "chart", 300.0, 240.0);
        let page = &pages[0];
        let points = page.items.iter().flat_map(|item| match item {
            Item::Line { points, .. } => points.clone(),
            Item::Frame { x, y, width, height, .. } => vec![(*x, *y), (x + width, y + height)],
            _ => Vec::new(),
        });
        let (across, down): (Vec<f64>, Vec<f64>) = points.unzip();
        assert!(!across.is_empty());
        assert!(across.iter().all(|x| (EDGE..=page.width - EDGE).contains(x)), "{across:?} of {}", page.width);
        assert!(down.iter().all(|y| (EDGE..=page.height - EDGE).contains(y)), "{down:?} of {}", page.height);
    }
}
