//! `lampwise guide`: one page for an operator's phone. What is on it is worked out in `paper::guide`; here the machine
//! is chosen, its pictures are read, and the page is saved.

use std::path::Path;

use diagnose::Shelf;
use diagnose::call::fingerprint;
use machine::Machine;
use paper::guide::{self, LARGEST, Picture, Request};
use serde_json::json;

use super::sheet::{file_name, save};
use crate::arguments::Guide;
use crate::failure::Failure;
use crate::input;
use crate::progress;
use crate::screen::{Screen, paragraph};

/// The largest picture that is put into a page, bytes.
const LARGEST_PICTURE: usize = 400_000;

/// Makes the guide and saves it.
pub fn run(arguments: &Guide, screen: &Screen, shelf: &dyn Shelf) -> Result<(), Failure> {
    let chosen = input::choose(&arguments.choice)?;
    let Some(first) = chosen.alternatives.first() else {
        return Err(Failure::file(chosen.reading.sources, Vec::new()));
    };
    let mut remarks = Vec::new();
    let pictures = pictures(&first.machine, &arguments.choice.machine, &mut remarks);
    let request = Request {
        file: &file_name(&arguments.choice.machine),
        fingerprint: &fingerprint(chosen.reading.sources.iter().map(|source| source.text.as_str())),
        serial: arguments.choice.serial,
        pictures: &pictures,
    };
    let made = progress::while_working("working the guide out", || {
        guide::guide_from_shelf(&chosen.alternatives, &request, shelf)
    });
    let Some(made) = made else { return Err(Failure::file(chosen.reading.sources, Vec::new())) };
    let bytes = made.html.len();
    if bytes > LARGEST {
        remarks.push(format!("the page has {bytes} bytes, more than a phone should be sent ({LARGEST})"));
    }
    save(&arguments.output, made.html.as_bytes(), arguments.replace)?;
    let place = arguments.output.display().to_string();
    if screen.json {
        return screen.print_json(&json!({
            "schema": "lampwise.guide/1",
            "machine": {
                "name": first.machine.name,
                "version": first.machine.version,
                "revision": first.machine.revision,
            },
            "saved_as": place,
            "bytes": bytes,
            "questions": made.questions,
            "causes": made.causes,
            "rows": made.rows,
            "left_out": made.left_out,
            "pictures": pictures.iter().map(|one| &one.name).collect::<Vec<_>>(),
            "remarks": remarks,
        }));
    }
    let mut out = String::new();
    let text = format!(
        "Guide saved as {place}: {:.2} MB, {} questions for an operator, {} causes.",
        bytes as f64 / 1e6,
        made.questions,
        made.causes
    );
    let plain = anstyle::Style::new();
    paragraph(&mut out, screen.width, "", "  ", plain, &text);
    for remark in remarks {
        paragraph(&mut out, screen.width, "  ", "  ", plain, &remark);
    }
    screen.print(&out)
}

/// The pictures that the machine names, from beside its file; what can't be used is remarked on.
fn pictures(machine: &Machine, file: &Path, remarks: &mut Vec<String>) -> Vec<Picture> {
    let inputs = machine.inputs.rows().filter_map(|row| row.picture.as_ref());
    let outputs = machine.outputs.rows().filter_map(|row| row.picture.as_ref());
    let mut names: Vec<&String> = inputs.chain(outputs).map(|(name, ..)| name).collect();
    names.sort_unstable();
    names.dedup();
    let folder = file.parent().unwrap_or(Path::new(""));
    let mut pictures = Vec::new();
    for name in names {
        let end = Path::new(name).extension().map(|end| end.to_string_lossy().to_lowercase());
        let kind = match end.as_deref() {
            Some("png") => "image/png",
            Some("jpg" | "jpeg") => "image/jpeg",
            Some("webp") => "image/webp",
            _ => {
                remarks
                    .push(format!("the picture `{name}` is left out: only .png, .jpg and .webp are put into a page"));
                continue;
            }
        };
        match input::read_bytes(&folder.join(name), "the picture", LARGEST_PICTURE) {
            Ok(bytes) => pictures.push(Picture { name: name.clone(), kind, bytes }),
            Err(failure) => remarks.push(format!("the picture `{name}` is left out: {}", failure.first_message())),
        }
    }
    pictures
}
