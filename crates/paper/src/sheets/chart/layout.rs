//! Lays a chart out. Steps follow each other downwards; branches stand side by side and come together
//! again where the chart does so in an orderly way. Whatever leads elsewhere (back, out of a branch, into
//! a branch) becomes an arrow with the name of its target, and what is reached only so begins a piece of
//! its own. Every step and every transition is drawn exactly once.

use std::collections::BTreeMap;

use super::block::{self, Block, Column, Kind};
use super::graph::Graph;

/// Branches within branches beyond this are drawn as arrows.
const DEEPEST: usize = 4;

/// A run of blocks on one axis; it can be cut between any two of them.
pub type Piece = Vec<Block>;

/// The chart in pieces none of whose blocks is larger than this.
pub fn pieces(graph: &Graph, widest: f64, tallest: f64) -> Vec<Piece> {
    let mut layout = Layout {
        graph,
        widest,
        tallest,
        state: State {
            placed: vec![false; graph.steps.len()],
            drawn: vec![false; graph.bars.len()],
            waiting: Vec::new(),
        },
        reserved: Vec::new(),
    };
    let mut pieces = Vec::new();
    let initial = (0..graph.steps.len()).filter(|step| graph.steps[*step].initial);
    let others = 0..graph.steps.len();
    for step in initial.chain(others) {
        if !layout.state.placed[step] {
            pieces.push(layout.piece(step));
            layout.joins(&mut pieces);
        }
    }
    // What no step leads to is still part of the chart.
    for bar in 0..graph.bars.len() {
        if !layout.state.drawn[bar] {
            layout.state.waiting.push(bar);
            layout.joins(&mut pieces);
        }
    }
    pieces
}

/// Where a branch is to end.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Stop {
    /// Before this step.
    Step(usize),
    /// Before this transition, which waits for all branches.
    Join(usize),
}

/// What was drawn so far.
#[derive(Clone)]
struct State {
    placed: Vec<bool>,
    drawn: Vec<bool>,
    /// Transitions that wait for several steps and stand by themselves.
    waiting: Vec<usize>,
}

struct Layout<'g> {
    graph: &'g Graph,
    widest: f64,
    tallest: f64,
    state: State,
    /// Steps before which an outer branch is to end.
    reserved: Vec<usize>,
}

/// How a run goes on.
enum Next {
    /// With this step.
    Step(usize),
    /// At the place where its branch is to end.
    Open,
    /// Not at all.
    Closed,
}

impl Layout<'_> {
    /// A piece that begins with a step.
    fn piece(&mut self, step: usize) -> Piece {
        let mut blocks = Vec::new();
        if !self.graph.steps[step].initial {
            blocks.push(block::entry());
        }
        self.run(step, None, 0, &mut blocks);
        blocks
    }

    /// Pieces that begin with transitions that wait for several steps.
    fn joins(&mut self, pieces: &mut Vec<Piece>) {
        while let Some(bar) = self.state.waiting.pop() {
            if self.state.drawn[bar] {
                continue;
            }
            let row = &self.graph.bars[bar];
            let names: Vec<&str> = row.from.iter().map(|step| self.name(*step)).collect();
            let mut blocks = vec![block::label(&format!("{}: {}", join_name(bar), names.join(" · ")))];
            if row.from.len() > 1 {
                blocks.push(block::double_line());
            }
            if let Next::Step(step) = self.cross(bar, None, 0, &mut blocks) {
                self.run(step, None, 0, &mut blocks);
            }
            pieces.push(blocks);
        }
    }

    fn name(&self, step: usize) -> &str {
        self.graph.steps.get(step).map_or("", |step| &step.name)
    }

    /// Draws from a step on; gives whether it is open at the end.
    fn run(&mut self, first: usize, stop: Option<Stop>, depth: usize, blocks: &mut Vec<Block>) -> bool {
        let mut step = first;
        loop {
            self.state.placed[step] = true;
            blocks.push(block::step(&self.graph.steps[step]));
            let out = self.graph.out(step);
            let next = match out[..] {
                [] => Next::Closed,
                [only] if self.graph.bars[only].from.len() > 1 => {
                    if stop == Some(Stop::Join(only)) {
                        Next::Open
                    } else {
                        self.wait(only, blocks);
                        Next::Closed
                    }
                }
                [only] => self.cross(only, stop, depth, blocks),
                _ => self.choose(&out, stop, depth, blocks),
            };
            match next {
                Next::Step(next) => step = next,
                Next::Open => return true,
                Next::Closed => return false,
            }
        }
    }

    /// An arrow to a transition that waits for several steps and is drawn elsewhere.
    fn wait(&mut self, bar: usize, blocks: &mut Vec<Block>) {
        blocks.push(block::jump(&join_name(bar)));
        self.state.waiting.push(bar);
    }

    /// Draws a transition and sees where it leads.
    fn cross(&mut self, bar: usize, stop: Option<Stop>, depth: usize, blocks: &mut Vec<Block>) -> Next {
        self.state.drawn[bar] = true;
        blocks.push(block::bar(&self.graph.bars[bar]));
        match self.graph.bars[bar].to[..] {
            [] => Next::Closed,
            [only] => self.go(only, stop, blocks),
            _ => self.part(bar, stop, depth, blocks),
        }
    }

    /// Goes to a step, or draws an arrow to it.
    fn go(&mut self, step: usize, stop: Option<Stop>, blocks: &mut Vec<Block>) -> Next {
        if stop == Some(Stop::Step(step)) {
            return Next::Open;
        }
        if self.state.placed[step] || self.reserved.contains(&step) {
            blocks.push(block::jump(self.name(step)));
            return Next::Closed;
        }
        Next::Step(step)
    }

    fn too_large(&self, block: &Block) -> bool {
        block.left + block.right > self.widest || block.height > self.tallest
    }

    /// Alternatives.
    fn choose(&mut self, out: &[usize], stop: Option<Stop>, depth: usize, blocks: &mut Vec<Block>) -> Next {
        let before = self.state.clone();
        let merge = self.merge(out, stop);
        if depth < DEEPEST {
            let inner = merge.map(Stop::Step);
            if let Some(step) = merge {
                self.reserved.push(step);
            }
            let columns: Vec<Column> = out
                .iter()
                .map(|bar| {
                    let mut column = Vec::new();
                    let open = if self.graph.bars[*bar].from.len() > 1 {
                        self.wait(*bar, &mut column);
                        false
                    } else {
                        match self.cross(*bar, inner, depth + 1, &mut column) {
                            Next::Step(step) => self.run(step, inner, depth + 1, &mut column),
                            Next::Open => true,
                            Next::Closed => false,
                        }
                    };
                    Column { block: block::stack(&column), open }
                })
                .collect();
            if merge.is_some() {
                self.reserved.pop();
            }
            let block = block::branches(Kind::Alternative, &columns);
            if !self.too_large(&block) {
                blocks.push(block);
                return match merge.filter(|_| columns.iter().any(|column| column.open)) {
                    Some(step) => self.go(step, stop, blocks),
                    None => Next::Closed,
                };
            }
        }
        self.state = before;
        for (index, bar) in out.iter().enumerate() {
            let row = &self.graph.bars[*bar];
            let last = index + 1 == out.len();
            if row.from.len() > 1 {
                blocks.push(block::rung(Kind::Alternative, None, &join_name(*bar), last));
                self.state.waiting.push(*bar);
                continue;
            }
            self.state.drawn[*bar] = true;
            let names: Vec<&str> = row.to.iter().map(|step| self.name(*step)).collect();
            blocks.push(block::rung(Kind::Alternative, Some(row), &names.join(" ‖ "), last));
        }
        Next::Closed
    }

    /// Parallel branches behind a transition.
    fn part(&mut self, bar: usize, stop: Option<Stop>, depth: usize, blocks: &mut Vec<Block>) -> Next {
        let to = self.graph.bars[bar].to.clone();
        let before = self.state.clone();
        let join = self.join(&to);
        if depth < DEEPEST {
            let inner = join.map(Stop::Join);
            let mut columns: Vec<(Vec<Block>, bool)> = Vec::new();
            for step in &to {
                let mut column = Vec::new();
                let open = match self.go(*step, None, &mut column) {
                    Next::Step(step) => self.run(step, inner, depth + 1, &mut column),
                    _ => false,
                };
                columns.push((column, open));
            }
            let whole = join.filter(|_| columns.iter().all(|(_, open)| *open));
            if whole.is_none() {
                for (column, open) in &mut columns {
                    if let (true, Some(join)) = (*open, join) {
                        self.wait(join, column);
                        *open = false;
                    }
                }
            }
            let columns: Vec<Column> =
                columns.into_iter().map(|(blocks, open)| Column { block: block::stack(&blocks), open }).collect();
            let block = block::branches(Kind::Parallel, &columns);
            if !self.too_large(&block) {
                blocks.push(block);
                return match whole {
                    Some(join) => self.cross(join, stop, depth, blocks),
                    None => Next::Closed,
                };
            }
        }
        self.state = before;
        for (index, step) in to.iter().enumerate() {
            blocks.push(block::rung(Kind::Parallel, None, self.name(*step), index + 1 == to.len()));
        }
        Next::Closed
    }

    /// The step at which most alternatives come together soonest; the end of the branch that they are in counts too.
    fn merge(&self, out: &[usize], stop: Option<Stop>) -> Option<usize> {
        let stop = match stop {
            Some(Stop::Step(step)) => Some(step),
            _ => None,
        };
        let mut reached: BTreeMap<usize, (usize, usize)> = BTreeMap::new();
        for bar in out {
            for (step, distance) in self.ahead(*bar, stop) {
                let entry = reached.entry(step).or_default();
                entry.0 += 1;
                entry.1 += distance;
            }
        }
        let shared = reached.into_iter().filter(|(_, (branches, _))| *branches > 1);
        shared
            .max_by_key(|(step, (branches, distance))| {
                (*branches, std::cmp::Reverse(*distance), std::cmp::Reverse(*step))
            })
            .map(|(step, _)| step)
    }

    /// The steps that can be reached behind a transition without passing what is drawn, each with its distance.
    fn ahead(&self, bar: usize, stop: Option<usize>) -> Vec<(usize, usize)> {
        let mut found: Vec<(usize, usize)> = Vec::new();
        let mut next = self.behind(bar, 0);
        let mut at = 0;
        while at < next.len() {
            let (step, distance) = next[at];
            at += 1;
            let ended = Some(step) == stop;
            let blocked = self.state.placed[step] || (self.reserved.contains(&step) && !ended);
            if blocked || found.iter().any(|(known, _)| *known == step) {
                continue;
            }
            found.push((step, distance));
            if !ended {
                for bar in self.graph.out(step) {
                    if self.graph.bars[bar].from.len() == 1 {
                        next.extend(self.behind(bar, distance + 1));
                    }
                }
            }
        }
        found
    }

    /// The step behind a transition; behind parallel branches, the one at which these have come together.
    fn behind(&self, bar: usize, distance: usize) -> Vec<(usize, usize)> {
        /// Parallel branches one behind the other that are passed over.
        const MOST: usize = 8;
        let mut to = &self.graph.bars[bar].to;
        for _ in 0..MOST {
            match to[..] {
                [only] => return vec![(only, distance)],
                [] => return Vec::new(),
                _ => match self.join(to) {
                    Some(join) => to = &self.graph.bars[join].to,
                    None => return Vec::new(),
                },
            }
        }
        Vec::new()
    }

    /// The transition at which all these parallel branches come together soonest.
    fn join(&self, to: &[usize]) -> Option<usize> {
        let mut reached: BTreeMap<usize, (usize, usize)> = BTreeMap::new();
        for first in to {
            let mut seen = vec![(*first, 0)];
            let mut joins: Vec<usize> = Vec::new();
            let mut at = 0;
            while at < seen.len() {
                let (step, distance) = seen[at];
                at += 1;
                for bar in self.graph.out(step) {
                    let row = &self.graph.bars[bar];
                    let waits = row.from.len() > 1 && row.from.len() == to.len() && !self.state.drawn[bar];
                    if waits && !joins.contains(&bar) {
                        joins.push(bar);
                        let entry = reached.entry(bar).or_default();
                        entry.0 += 1;
                        entry.1 += distance;
                    }
                    // Inner parallel branches come together on the way, so that they are gone through.
                    for next in &row.to {
                        if !seen.iter().any(|(known, _)| known == next) {
                            seen.push((*next, distance + 1));
                        }
                    }
                }
            }
        }
        let shared = reached.into_iter().filter(|(_, (branches, _))| *branches == to.len());
        shared.min_by_key(|(bar, (_, distance))| (*distance, *bar)).map(|(bar, _)| bar)
    }
}

/// The name of a transition that is drawn by itself.
fn join_name(bar: usize) -> String {
    format!("T{}", bar + 1)
}
