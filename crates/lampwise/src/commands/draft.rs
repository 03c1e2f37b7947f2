//! `lampwise draft`: a first machine file from an I/O list.

use machine::draft::{DraftError, LARGEST_LIST, draft, draft_sheet};
use serde_json::json;

use super::demo::save;
use crate::arguments::Draft;
use crate::failure::Failure;
use crate::input::{self, spreadsheet};
use crate::screen::Screen;

/// Drafts, and prints or saves the text.
pub fn run(arguments: &Draft, screen: &Screen) -> Result<(), Failure> {
    let list = input::read_bytes(&arguments.list, "the I/O list", LARGEST_LIST.max(spreadsheet::LARGEST))?;
    let name = arguments.list.file_stem().map(|stem| stem.to_string_lossy().into_owned()).unwrap_or_default();
    let fault = |place: &str, error: DraftError| {
        let what = format!("can't draft from `{}`{place}: {error}", arguments.list.display());
        Failure::new("draft", what, error.hint())
    };
    let drafted = if spreadsheet::is_spreadsheet(&list) {
        let sheet = spreadsheet::read(&arguments.list, list, arguments.sheet.as_deref())?;
        draft_sheet(&name, &sheet.name, &sheet.lines)
            .map_err(|error| fault(&format!(", sheet `{}`", sheet.name), error))?
    } else if arguments.sheet.is_some() {
        let what = format!("`{}` has no sheets: it is no .xlsx or .ods file", arguments.list.display());
        return Err(Failure::new("no-sheets", what, "leave out --sheet"));
    } else {
        draft(&name, &list).map_err(|error| fault("", error))?
    };
    if let Some(path) = &arguments.output {
        save(path, &drafted.text)?;
    }
    if screen.json {
        return screen.print_json(&json!({
            "schema": "lampwise.draft/1",
            "text": drafted.text,
            "points": drafted.points,
            "left_out": drafted.left_out,
            "saved_as": arguments.output.as_ref().map(|path| path.display().to_string()),
        }));
    }
    match &arguments.output {
        None => screen.print(&drafted.text),
        Some(path) => {
            let mut text = format!("{} points drafted in {}\n", drafted.points, path.display());
            for line in &drafted.left_out {
                text.push_str(&format!("left out: {line}\n"));
            }
            text.push_str("Go through the lines marked \"please confirm\", then run `lampwise lint` on the file.\n");
            screen.print(&text)
        }
    }
}
