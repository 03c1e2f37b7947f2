//! A chart as the layout needs it: steps and transitions with the texts that stand beside them.

/// A step.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct StepBox {
    /// What stands in the box.
    pub name: String,
    /// Whether it is active at the beginning.
    pub initial: bool,
    /// What it does; each in a box of its own.
    pub actions: Vec<String>,
}

/// A transition.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Bar {
    /// The steps before it.
    pub from: Vec<usize>,
    /// The steps behind it.
    pub to: Vec<usize>,
    /// What stands beside it.
    pub condition: String,
}

/// A chart.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Graph {
    /// The steps.
    pub steps: Vec<StepBox>,
    /// The transitions.
    pub bars: Vec<Bar>,
}

impl Graph {
    /// The transitions out of a step.
    pub fn out(&self, step: usize) -> Vec<usize> {
        (0..self.bars.len()).filter(|bar| self.bars[*bar].from.contains(&step)).collect()
    }
}
