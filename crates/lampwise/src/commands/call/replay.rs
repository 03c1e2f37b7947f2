//! `--replay`: the whole call once more, entry by entry, as it was answered then.

use diagnose::call::Entry;
use diagnose::next::Terms;

use super::opened::Opened;
use super::{closing, state, turn};
use crate::failure::Failure;
use crate::screen::{BAD, STRONG, Screen, paragraph};

/// Shows the call.
pub fn run(opened: Opened, terms: Terms, screen: &Screen) -> Result<(), Failure> {
    let entries = &opened.record.entries;
    if screen.json {
        let session = opened.session(terms, entries.clone())?;
        return screen.print_json(&state::document(&session, &opened.record, None));
    }
    let mut session = opened.session(terms.clone(), Vec::new())?;
    let width = screen.width;
    let mut out = format!("{STRONG}{}{STRONG:#}\n", session.machine().name);
    for remark in &opened.remarks {
        paragraph(&mut out, width, "  ", "  ", BAD, remark);
    }
    // What makes sense only together with a later entry is shown with it.
    let mut waiting: Vec<Entry> = Vec::new();
    for entry in entries {
        if waiting.is_empty()
            && let Some(question) = session.question()
        {
            out.push('\n');
            out.push_str(&turn::turn(&session, Some(question), width));
        }
        out.push_str(&closing::replayed(entry));
        waiting.push(entry.clone());
        if session.add(waiting.clone()).is_ok() {
            waiting.clear();
        }
    }
    // All mistakes are told with the numbers of their entries.
    let session = if waiting.is_empty() { session } else { opened.session(terms, entries.clone())? };
    out.push_str(&closing::page(&session, &opened.record, width));
    screen.print(&out)
}
