//! Parts of a chart drawing that are put together like bricks. A block hangs on an axis at x = 0, on
//! which it is entered at its top and left at its bottom; it keeps within its own left, right and
//! height, so that blocks side by side or one below the other never overlap.

use crate::drawing::{Anchor, Drawing};
use crate::font;

use super::graph::{Bar, StepBox};

/// Size of the letters in steps, and of those beside them.
const NAME: f64 = 8.0;
const TEXT: f64 = 7.0;
/// From one line of text to the next.
const NAME_LINE: f64 = 9.5;
const TEXT_LINE: f64 = 8.2;
/// Least and greatest width of a step.
const STEP_LEAST: f64 = 44.0;
const STEP_MOST: f64 = 80.0;
/// Widest text of an action, and of a condition.
const ACTION_MOST: f64 = 112.0;
const CONDITION_MOST: f64 = 112.0;
/// Thickness of lines, and of the bar of a transition.
const THIN: f64 = 0.7;
const THICK: f64 = 1.8;
/// Half of a transition's bar.
const HALF_BAR: f64 = 8.0;
/// Between blocks side by side.
pub const GAP: f64 = 12.0;
/// Between the two lines of a parallel branch.
const DOUBLE: f64 = 2.6;

/// A part of a drawing.
#[derive(Clone, Debug, Default)]
pub struct Block {
    /// How far it reaches to the left of its axis.
    pub left: f64,
    /// How far it reaches to the right of its axis.
    pub right: f64,
    /// How far it reaches down.
    pub height: f64,
    /// What is drawn, relative to the top of the axis.
    pub drawn: Drawing,
    /// The step that it begins with, for whoever continues elsewhere.
    pub begins: Option<String>,
}

/// The two ways in which branches begin and end.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// One of them is followed.
    Alternative,
    /// All of them are followed.
    Parallel,
}

/// A column of branches.
pub struct Column {
    /// What hangs in it.
    pub block: Block,
    /// Whether it goes on below.
    pub open: bool,
}

impl Block {
    fn reach(&mut self, left: f64, right: f64) {
        self.left = self.left.max(left);
        self.right = self.right.max(right);
    }

    /// A text that begins at x.
    fn write(&mut self, x: f64, y: f64, size: f64, bold: bool, text: &str) {
        self.reach(-x, x + font::width(text, size, bold));
        self.drawn.text(x, y, size, bold, Anchor::Start, text);
    }

    fn axis(&mut self, from: f64, to: f64) {
        self.drawn.line(&[(0.0, from), (0.0, to)], THIN);
    }

    fn arrow(&mut self, tip: f64) {
        let points = vec![(0.0, tip), (-2.2, tip - 5.0), (2.2, tip - 5.0)];
        self.drawn.items.push(crate::drawing::Item::Shape { points, grey: 0.0 });
        self.reach(2.2, 2.2);
    }
}

/// A step with its actions; double if it is an initial one.
pub fn step(step: &StepBox) -> Block {
    let names = match font::lines(&step.name, NAME, true, STEP_MOST - 12.0) {
        lines if lines.is_empty() => vec![String::new()],
        lines => lines,
    };
    let widest = names.iter().map(|line| font::width(line, NAME, true)).fold(0.0, f64::max);
    let width = (widest + 12.0).max(STEP_LEAST);
    let actions: Vec<Vec<String>> =
        step.actions.iter().map(|text| font::lines(text, TEXT, false, ACTION_MOST)).collect();
    let action_height = |lines: &Vec<String>| lines.len().max(1) as f64 * TEXT_LINE + 4.0;
    let actions_height: f64 = actions.iter().map(action_height).sum();
    let height = (names.len() as f64 * NAME_LINE + 8.0).max(20.0);
    let mut block = Block { begins: Some(step.name.clone()), ..Block::default() };
    block.reach(width / 2.0, width / 2.0);
    block.drawn.frame(-width / 2.0, 0.0, width, height, THIN, Some(1.0));
    if step.initial {
        block.drawn.frame(-width / 2.0 + 2.4, 2.4, width - 4.8, height - 4.8, THIN, None);
    }
    let first = height / 2.0 - names.len() as f64 * NAME_LINE / 2.0 + 0.75 * NAME_LINE;
    for (index, line) in names.iter().enumerate() {
        block.drawn.text(0.0, first + index as f64 * NAME_LINE, NAME, true, Anchor::Middle, line);
    }
    if !actions.is_empty() {
        let left = width / 2.0 + 8.0;
        let widest = actions.iter().flatten().map(|line| font::width(line, TEXT, false)).fold(20.0, f64::max) + 8.0;
        block.drawn.line(&[(width / 2.0, height / 2.0), (left, height / 2.0)], THIN);
        let mut y = 0.0;
        for lines in &actions {
            let tall = action_height(lines);
            let tall = if actions.len() == 1 { tall.max(height) } else { tall };
            block.drawn.frame(left, y, widest, tall, THIN, Some(1.0));
            let top = y + (tall - lines.len() as f64 * TEXT_LINE) / 2.0 + 0.76 * TEXT_LINE;
            for (index, line) in lines.iter().enumerate() {
                block.drawn.text(left + 4.0, top + index as f64 * TEXT_LINE, TEXT, false, Anchor::Start, line);
            }
            y += tall;
        }
        block.reach(0.0, left + widest);
    }
    block.height = height.max(actions_height);
    block.axis(height, block.height);
    block
}

/// A transition: a link with a bar across it and the condition beside it.
pub fn bar(bar: &Bar) -> Block {
    let lines = font::lines(&bar.condition, TEXT, false, CONDITION_MOST);
    let tall = lines.len().max(1) as f64 * TEXT_LINE;
    let height = tall.max(6.0) + 13.0;
    let mut block = Block { height, ..Block::default() };
    block.reach(HALF_BAR, HALF_BAR);
    block.axis(0.0, height);
    block.drawn.line(&[(-HALF_BAR, height / 2.0), (HALF_BAR, height / 2.0)], THICK);
    let top = height / 2.0 - tall / 2.0 + 0.76 * TEXT_LINE;
    for (index, line) in lines.iter().enumerate() {
        block.write(HALF_BAR + 4.0, top + index as f64 * TEXT_LINE, TEXT, false, line);
    }
    block
}

/// An arrow to something that is drawn elsewhere; nothing follows it.
pub fn jump(to: &str) -> Block {
    let text = format!("→ {to}");
    let lines = font::lines(&text, NAME, true, CONDITION_MOST);
    let mut block = Block { height: 14.0 + lines.len() as f64 * NAME_LINE + 6.0, ..Block::default() };
    block.axis(0.0, 7.0);
    block.arrow(11.0);
    for (index, line) in lines.iter().enumerate() {
        let half = font::width(line, NAME, true) / 2.0;
        block.reach(half, half);
        block.drawn.text(0.0, 20.0 + index as f64 * NAME_LINE, NAME, true, Anchor::Middle, line);
    }
    block
}

/// An arrow from something that is drawn elsewhere.
pub fn entry() -> Block {
    let mut block = Block { height: 10.0, ..Block::default() };
    block.axis(0.0, 6.0);
    block.arrow(10.0);
    block
}

/// Names side by side above something: what must come together there.
pub fn label(text: &str) -> Block {
    let lines = font::lines(text, TEXT, false, 2.0 * CONDITION_MOST);
    let mut block = Block { height: lines.len() as f64 * TEXT_LINE + 4.0, ..Block::default() };
    for (index, line) in lines.iter().enumerate() {
        let half = font::width(line, TEXT, false) / 2.0;
        block.reach(half, half);
        block.drawn.text(0.0, 0.8 * TEXT_LINE + index as f64 * TEXT_LINE, TEXT, false, Anchor::Middle, line);
    }
    block
}

/// The double line that stands for what comes together or parts, without branches.
pub fn double_line() -> Block {
    let mut block = Block { height: DOUBLE + 4.0, ..Block::default() };
    let half = STEP_LEAST / 2.0;
    block.reach(half, half);
    block.drawn.line(&[(-half, 0.0), (half, 0.0)], THIN);
    block.drawn.line(&[(-half, DOUBLE), (half, DOUBLE)], THIN);
    block.axis(DOUBLE, DOUBLE + 4.0);
    block
}

/// One branch beside the axis, with its target drawn elsewhere; the axis goes on below unless it is the last.
pub fn rung(kind: Kind, bar: Option<&Bar>, to: &str, last: bool) -> Block {
    let target = font::lines(&format!("→ {to}"), NAME, true, CONDITION_MOST);
    let lines = bar.map(|bar| font::lines(&bar.condition, TEXT, false, CONDITION_MOST)).unwrap_or_default();
    let tall = lines.len() as f64 * TEXT_LINE + target.len() as f64 * NAME_LINE;
    let mut block = Block { height: tall + 6.0, ..Block::default() };
    let middle = block.height / 2.0;
    let end = if last { middle } else { block.height };
    block.axis(0.0, end);
    if kind == Kind::Parallel {
        block.drawn.line(&[(DOUBLE, 0.0), (DOUBLE, end)], THIN);
    }
    block.reach(DOUBLE, DOUBLE);
    block.drawn.line(&[(0.0, middle), (22.0, middle)], THIN);
    if bar.is_some() {
        block.drawn.line(&[(12.0, middle - 6.0), (12.0, middle + 6.0)], THICK);
    }
    let mut y = 3.0;
    for line in &lines {
        block.write(26.0, y + 0.76 * TEXT_LINE, TEXT, false, line);
        y += TEXT_LINE;
    }
    for line in &target {
        block.write(26.0, y + 0.76 * NAME_LINE, NAME, true, line);
        y += NAME_LINE;
    }
    block
}

/// Blocks one below the other on the same axis.
pub fn stack(blocks: &[Block]) -> Block {
    let mut whole = Block { begins: blocks.first().and_then(|block| block.begins.clone()), ..Block::default() };
    for block in blocks {
        whole.reach(block.left, block.right);
        whole.drawn.put(&block.drawn, 0.0, whole.height);
        whole.height += block.height;
    }
    whole
}

/// Branches side by side, the first on the axis; those that are open come together below.
pub fn branches(kind: Kind, columns: &[Column]) -> Block {
    /// From the line above to the branches, and from these to the line below.
    const DROP: f64 = 6.0;
    let mut whole = Block::default();
    let mut axes = Vec::new();
    let mut at = 0.0_f64;
    for (index, column) in columns.iter().enumerate() {
        if index > 0 {
            at += GAP + column.block.left;
        }
        axes.push(at);
        at += column.block.right;
    }
    whole.reach(columns.first().map_or(0.0, |first| first.block.left), at);
    let thick = match kind {
        Kind::Alternative => 0.0,
        Kind::Parallel => DOUBLE,
    };
    let top = DROP;
    let tallest = columns.iter().map(|column| column.block.height).fold(0.0, f64::max);
    let bottom = top + thick + DROP + tallest + DROP;
    let across = |whole: &mut Block, y: f64, from: f64, to: f64| match kind {
        Kind::Alternative => whole.drawn.line(&[(from, y), (to, y)], THIN),
        Kind::Parallel => {
            whole.drawn.line(&[(from - 6.0, y), (to + 6.0, y)], THIN);
            whole.drawn.line(&[(from - 6.0, y + DOUBLE), (to + 6.0, y + DOUBLE)], THIN);
            whole.reach(6.0, to + 6.0);
        }
    };
    whole.axis(0.0, top);
    across(&mut whole, top, 0.0, axes.last().copied().unwrap_or(0.0));
    for (column, x) in columns.iter().zip(&axes) {
        let begin = top + thick + DROP;
        whole.drawn.line(&[(*x, top + thick), (*x, begin)], THIN);
        whole.drawn.put(&column.block.drawn, *x, begin);
        if column.open {
            whole.drawn.line(&[(*x, begin + column.block.height), (*x, bottom)], THIN);
        }
    }
    let open: Vec<f64> = columns.iter().zip(&axes).filter(|(column, _)| column.open).map(|(_, x)| *x).collect();
    whole.height = bottom;
    if let Some(last) = open.last() {
        across(&mut whole, bottom, 0.0, *last);
        whole.height = bottom + thick + DROP;
        whole.axis(bottom + thick, whole.height);
    }
    whole
}
