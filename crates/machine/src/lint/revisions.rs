//! Serial ranges that can't be read or overlap, and removals of what isn't there.

use crate::problem::Problems;
use crate::reading::serial_range;
use crate::source::Span;
use crate::tree::Table;

/// Notes mistakes in the revisions of a file.
pub(crate) fn lint_revisions(root: &Table, problems: &mut Problems) {
    let mut seen: Vec<(u64, u64, String)> = Vec::new();
    let base = root.table("machine");
    let base_name = base.and_then(|table| table.string("revision")).unwrap_or_else(|| "base".to_string());
    let others = root.entries_of("revisions").iter().filter_map(|entry| Some((entry.key.clone(), entry.node.table()?)));
    for (name, table) in base.map(|table| (base_name, table)).into_iter().chain(others) {
        let Some(text) = table.text("serials") else { continue };
        let mut at = 0;
        for part in text.text.split(',') {
            let start = at + part.len() - part.trim_start().len();
            let span = text.part(start..start + part.trim().len());
            at += part.len() + 1;
            one_range(part.trim(), span, &name, &mut seen, problems);
        }
    }
    for entry in root.entries_of("revisions") {
        let Some(table) = entry.node.table() else { continue };
        for text in table.texts("remove") {
            let path: Vec<&str> = text.text.split('.').collect();
            if !root.clone().remove(&path) {
                let what = format!("there is no `{}` to remove", text.text);
                problems.error(text.span, "unknown-name", what, "write the path of a key, such as inputs.X5");
            }
        }
    }
}

fn one_range(part: &str, span: Span, name: &str, seen: &mut Vec<(u64, u64, String)>, problems: &mut Problems) {
    let Some((from, to)) = serial_range(part) else {
        let hint = "write serials = \"1500-1999, 2100-\"";
        problems.error(span, "bad-serials", format!("`{part}` is no range of serial numbers"), hint);
        return;
    };
    let to = to.unwrap_or(u64::MAX);
    if from > to {
        problems.error(span, "bad-serials", format!("`{part}` goes downwards"), "write the lower number first");
        return;
    }
    if let Some((.., other)) = seen.iter().find(|(low, high, _)| from <= *high && *low <= to) {
        let what = format!("these serial numbers of revision {name} are also in revision {other}");
        problems.error(span, "serials-overlap", what, "each machine belongs to one revision");
    }
    seen.push((from, to, name.to_string()));
}
