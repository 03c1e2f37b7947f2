//! `lampwise sheet`: printed sheets. What stands on them and how they look is worked out in `paper`; here
//! it is chosen, and saved.

use std::fmt::Write as _;
use std::fs::OpenOptions;
use std::io::{ErrorKind, Write as _};
use std::path::{Path, PathBuf};
use std::sync::Arc;

use clap::ValueEnum;
use diagnose::Shelf;
use diagnose::call::{Record, fingerprint};
use machine::Machine;
use paper::document;
use paper::{Desk, Language, PageSize, Request};
use serde_json::json;

use super::call::read_record;
use crate::arguments::{MachineChoice, Paper, Sheet, SheetFormat, SheetLanguage, SheetName};
use crate::failure::Failure;
use crate::input::{self, Chosen};
use crate::progress;
use crate::screen::{Screen, padded};

/// Makes the sheets and saves or prints them.
pub fn run(arguments: &Sheet, screen: &Screen, shelf: Arc<dyn Shelf>) -> Result<(), Failure> {
    let record = arguments.call.as_deref().map(read_record).transpose()?;
    let choice = choice(&arguments.choice, record.as_ref());
    let mut chosen = input::choose(&choice)?;
    if record.is_none() {
        of_one_revision(&mut chosen);
    }
    let file = file_name(&choice.machine);
    let language = language(arguments.language);
    let Some(desk) = Desk::new(&chosen.alternatives, &file, choice.serial, language) else {
        return Err(Failure::file(chosen.reading.sources, Vec::new()));
    };
    let desk = desk.with_shelf(shelf);
    if arguments.sheets.is_empty() && !arguments.all {
        return list(&desk, screen);
    }
    let format = format(arguments)?;
    let size = size(arguments.paper);
    let call = record.map(|record| call(record, &chosen, desk.machine())).transpose()?;
    let requests = requests(arguments, call)?;
    let made = progress::while_working("making the sheets", || make(&desk, &requests, size, format, arguments.all))?;
    if let Some(path) = &arguments.output {
        save(path, &made.bytes, arguments.replace)?;
    }
    let saved = arguments.output.as_ref().map(|path| path.display().to_string());
    if screen.json {
        let text = match (&saved, format) {
            (None, SheetFormat::Svg | SheetFormat::Html) => Some(String::from_utf8_lossy(&made.bytes).into_owned()),
            _ => None,
        };
        return screen.print_json(&json!({
            "schema": "lampwise.sheet/1",
            "machine": {
                "name": desk.machine().name,
                "version": desk.machine().version,
                "revision": desk.machine().revision,
            },
            "language": desk.head().language,
            "format": name_of(format),
            "sheets": made.sheets.iter().map(|sheet| json!({ "name": sheet.name, "title": sheet.title })).collect::<Vec<_>>(),
            "text": text,
            "saved_as": saved,
        }));
    }
    match saved {
        Some(path) => {
            let titles: Vec<&str> = made.sheets.iter().map(|sheet| sheet.title.as_str()).collect();
            screen.print(&format!("{} saved as {path}\n", titles.join(", ")))
        }
        None => screen.print(&String::from_utf8_lossy(&made.bytes)),
    }
}

/// A sheet hangs in one machine, and its head names one revision: where none was chosen, it is the first.
fn of_one_revision(chosen: &mut Chosen) {
    let Some(first) = chosen.alternatives.first().map(|one| one.machine.revision.clone()) else { return };
    chosen.alternatives.retain(|one| one.machine.revision == first);
}

struct Made {
    sheets: Vec<document::Sheet>,
    bytes: Vec<u8>,
}

fn make(
    desk: &Desk<'_>,
    requests: &[Request],
    size: PageSize,
    format: SheetFormat,
    bound: bool,
) -> Result<Made, Failure> {
    let sheets = desk.all(requests, size).map_err(|error| Failure::new("no-sheet", error.what, error.hint))?;
    if sheets.is_empty() {
        let hint = "the machine file has none; docs/machine-file.md shows how one is written";
        return Err(Failure::new("no-sheet", "there is no procedure to print", hint));
    }
    let mut names: Vec<&str> = sheets.iter().map(|sheet| sheet.name.as_str()).collect();
    names.sort_unstable();
    if let Some(twice) = names.windows(2).find(|pair| pair[0] == pair[1]) {
        let what = format!("the sheet `{}` was asked for twice", twice[0]);
        return Err(Failure::new("twice", what, "name each sheet once"));
    }
    let internal = |error: paper::render::TypesetError| {
        Failure::new(
            "typesetting",
            error.to_string(),
            "take --format html; if this goes on, report it with the machine file",
        )
    };
    let bytes = match format {
        SheetFormat::Pdf => paper::render::pdf::pdf(desk.head(), &sheets, size, bound).map_err(internal)?,
        SheetFormat::Html => paper::render::html::html(desk.head(), &sheets).into_bytes(),
        SheetFormat::Svg => match sheets.as_slice() {
            [one] => paper::render::svg::svg(desk.head(), one, size).map_err(internal)?.into_bytes(),
            _ => {
                let hint = "ask for one sheet, or save as .pdf or .html";
                return Err(Failure::new("one-picture", "an SVG file holds one sheet", hint));
            }
        },
    };
    Ok(Made { sheets, bytes })
}

/// The machine that is meant: what the arguments leave open is as it was in the saved call.
fn choice(arguments: &MachineChoice, record: Option<&Record>) -> MachineChoice {
    let mut choice = arguments.clone();
    let Some(record) = record else { return choice };
    if choice.revision.is_none() && choice.serial.is_none() {
        (choice.revision, choice.serial) = (record.revision.clone(), record.serial);
    }
    if choice.settings.is_empty() {
        choice.settings.clone_from(&record.settings);
    }
    if choice.library.is_empty() {
        choice.library = record.libraries.iter().map(PathBuf::from).collect();
    }
    choice
}

/// A saved call as a sheet, if it is about this machine.
fn call(record: Record, chosen: &Chosen, machine: &Machine) -> Result<Request, Failure> {
    if record.machine != machine.name {
        let what = format!("the call is about a `{}`, and the file describes a `{}`", record.machine, machine.name);
        return Err(Failure::new("other-machine", what, "name the machine file that the call was made with"));
    }
    let now = fingerprint(chosen.reading.sources.iter().map(|source| source.text.as_str()));
    let changed = record.fingerprint != now;
    Ok(Request::Call { record: Box::new(record), changed })
}

fn requests(arguments: &Sheet, mut call: Option<Request>) -> Result<Vec<Request>, Failure> {
    let names: &[SheetName] = if arguments.all { SheetName::value_variants() } else { &arguments.sheets };
    let mut requests = Vec::new();
    for name in names {
        requests.push(match name {
            SheetName::Lamps => Request::Lamps,
            SheetName::LampChart => Request::LampChart,
            SheetName::Timing => Request::Timing,
            SheetName::Chart => Request::Chart,
            SheetName::Symptoms => Request::Symptoms,
            SheetName::Tree => Request::CheckTree,
            SheetName::Commissioning => Request::Commissioning,
            SheetName::Procedures => Request::Procedures(arguments.procedure.clone()),
            SheetName::Call => match call.take() {
                Some(call) => call,
                // A binder is whole without one.
                None if arguments.all => continue,
                None => {
                    let hint = "name the file with --call, such as `--call call-117.txt`";
                    return Err(Failure::new("no-call", "it is not said which call", hint));
                }
            },
        });
    }
    Ok(requests)
}

fn list(desk: &Desk<'_>, screen: &Screen) -> Result<(), Failure> {
    let about = |name: &SheetName| {
        name.to_possible_value()
            .map(|value| (value.get_name().to_owned(), value.get_help().map(ToString::to_string).unwrap_or_default()))
            .unwrap_or_default()
    };
    let sheets: Vec<(String, String)> = SheetName::value_variants().iter().map(about).collect();
    if screen.json {
        let sheets: Vec<_> = sheets.iter().map(|(name, about)| json!({ "name": name, "about": about })).collect();
        return screen.print_json(&json!({
            "schema": "lampwise.sheets/1",
            "machine": {
                "name": desk.machine().name,
                "version": desk.machine().version,
                "revision": desk.machine().revision,
            },
            "sheets": sheets,
        }));
    }
    let mut out = String::new();
    for (name, about) in sheets {
        _ = writeln!(out, "  {} {about}", padded(&name, 14));
    }
    out.push_str("\nSave one with its name and --output FILE.pdf, all of them bound with --all.\n");
    screen.print(&out)
}

/// The name of the machine file as it stands on the sheets: without folders, which are nobody's business.
pub(super) fn file_name(path: &Path) -> String {
    path.file_name().map_or_else(|| path.display().to_string(), |name| name.to_string_lossy().into_owned())
}

fn format(arguments: &Sheet) -> Result<SheetFormat, Failure> {
    let end = arguments.output.as_ref().and_then(|path| path.extension());
    let by_name = match end.map(|end| end.to_string_lossy().to_lowercase()).as_deref() {
        Some("pdf") => Some(SheetFormat::Pdf),
        Some("svg") => Some(SheetFormat::Svg),
        Some("html" | "htm") => Some(SheetFormat::Html),
        _ => None,
    };
    let Some(format) = arguments.format.or(by_name) else {
        let hint = "name a file that ends in .pdf, .svg or .html with --output, or say --format";
        return Err(Failure::new("no-format", "it is not said how the sheets are to be written", hint));
    };
    if format == SheetFormat::Pdf && arguments.output.is_none() {
        let hint = "name a file with --output, such as `--output sheets.pdf`";
        return Err(Failure::new("no-output", "a PDF is no text to be printed on a screen", hint));
    }
    Ok(format)
}

fn name_of(format: SheetFormat) -> &'static str {
    match format {
        SheetFormat::Pdf => "pdf",
        SheetFormat::Svg => "svg",
        SheetFormat::Html => "html",
    }
}

fn size(paper: Paper) -> PageSize {
    match paper {
        Paper::A4 => PageSize::A4,
        Paper::Letter => PageSize::LETTER,
    }
}

fn language(language: SheetLanguage) -> Language {
    match language {
        SheetLanguage::En => Language::English,
        SheetLanguage::De => Language::German,
        SheetLanguage::Es => Language::Spanish,
    }
}

/// Writes a file; one that is there is only overwritten if that was asked for.
pub(super) fn save(path: &Path, bytes: &[u8], replace: bool) -> Result<(), Failure> {
    let mut options = OpenOptions::new();
    options.write(true);
    if replace {
        options.create(true).truncate(true)
    } else {
        options.create_new(true)
    };
    let mut file = options.open(path).map_err(|error| match error.kind() {
        ErrorKind::AlreadyExists => {
            let what = format!("`{}` is there already and is not overwritten", path.display());
            Failure::new("exists", what, "choose another name, or say --replace")
        }
        _ => Failure::write(path, &error),
    })?;
    file.write_all(bytes).map_err(|error| Failure::write(path, &error))
}
