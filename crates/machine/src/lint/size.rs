//! Limits on size, held before anything is resolved.

use crate::problem::Problems;
use crate::tree::{Table, Value};

/// The most points (inputs and outputs) of a machine.
const MOST_POINTS: usize = 2_000;
/// The most steps of a machine.
const MOST_STEPS: usize = 2_000;
/// The most entries of any other table or list.
const MOST_ENTRIES: usize = 5_000;

/// Whether a file is too large to be resolved; then the reason is noted.
pub(crate) fn refuse_huge(root: &Table, problems: &mut Problems) -> bool {
    let changes = root.entries_of("revisions").iter().filter_map(|entry| entry.node.table()?.table("change"));
    let mut refused = false;
    for tree in std::iter::once(root).chain(changes) {
        let points = tree.entries_of("inputs").len() + tree.entries_of("outputs").len();
        let charts = tree.entries_of("charts").iter().filter_map(|entry| entry.node.table());
        let steps: usize = charts.map(|chart| chart.entries_of("steps").len()).sum();
        for (count, most, what) in [(points, MOST_POINTS, "points"), (steps, MOST_STEPS, "steps")] {
            if count > most {
                let text = format!("{count} {what}, more than {most}");
                problems.error(tree.span, "too-large", text, "split the machine into several files");
                refused = true;
            }
        }
        if let Some((span, count)) = long_table(tree) {
            let text = format!("{count} entries, more than {MOST_ENTRIES}");
            problems.error(span, "too-large", text, "no table or list of a machine is as long as this");
            refused = true;
        }
    }
    if root.entries_of("revisions").len() > 100 {
        problems.error(root.span, "too-large", "more than 100 revisions", "split the machine into several files");
        refused = true;
    }
    refused
}

fn long_table(table: &Table) -> Option<(crate::source::Span, usize)> {
    for entry in &table.entries {
        match &entry.node.value {
            Value::Table(inner) if inner.entries.len() > MOST_ENTRIES => {
                return Some((entry.key_span, inner.entries.len()));
            }
            Value::Table(inner) => {
                if let Some(found) = long_table(inner) {
                    return Some(found);
                }
            }
            Value::List(list) if list.len() > MOST_ENTRIES => return Some((entry.key_span, list.len())),
            _ => {}
        }
    }
    None
}
