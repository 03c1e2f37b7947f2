//! Sheets as a PDF: vector graphics, fonts embedded, text that can be selected. Typeset with the fonts
//! that come with the library, so that a page looks the same everywhere; without a clock, so that the
//! same sheets give the same bytes.

use std::sync::LazyLock;

use rayon::prelude::*;
use serde_json::{Value, json};
use typst::diag::{FileError, FileResult, SourceDiagnostic};
use typst::foundations::{Bytes, Datetime, Duration, Label, Smart};
use typst::introspection::Introspector as _;
use typst::layout::Abs;
use typst::syntax::{FileId, RootedPath, Source, VirtualPath, VirtualRoot};
use typst::text::{Font, FontBook};
use typst::utils::{LazyHash, PicoStr};
use typst::{Library, LibraryExt, World};
use typst_layout::PagedDocument;
use typst_pdf::PdfOptions;

use crate::document::{Block, Sheet};
use crate::head::Head;
use crate::page::PageSize;

use super::TypesetError;

const TEMPLATE: &str = include_str!("page.typ");

struct Fonts {
    book: LazyHash<FontBook>,
    fonts: Vec<Font>,
}

static FONTS: LazyLock<Fonts> = LazyLock::new(|| {
    let fonts: Vec<Font> = typst_assets::fonts().flat_map(|data| Font::iter(Bytes::new(data))).collect();
    Fonts { book: LazyHash::new(FontBook::from_fonts(&fonts)), fonts }
});

static LIBRARY: LazyLock<LazyHash<Library>> = LazyLock::new(|| LazyHash::new(Library::default()));

/// The few files that the pages are made of; there are no others.
struct Desk {
    main: Source,
    files: Vec<(FileId, Bytes)>,
}

impl World for Desk {
    fn library(&self) -> &LazyHash<Library> {
        &LIBRARY
    }

    fn book(&self) -> &LazyHash<FontBook> {
        &FONTS.book
    }

    fn main(&self) -> FileId {
        self.main.id()
    }

    fn source(&self, id: FileId) -> FileResult<Source> {
        if id == self.main.id() { Ok(self.main.clone()) } else { Err(missing(id)) }
    }

    fn file(&self, id: FileId) -> FileResult<Bytes> {
        let found = self.files.iter().find(|(known, _)| *known == id);
        found.map(|(_, bytes)| bytes.clone()).ok_or_else(|| missing(id))
    }

    fn font(&self, index: usize) -> Option<Font> {
        FONTS.fonts.get(index).cloned()
    }

    fn today(&self, _: Option<Duration>) -> Option<Datetime> {
        None
    }
}

fn missing(id: FileId) -> FileError {
    FileError::NotFound(id.vpath().get_without_slash().into())
}

fn file_id(name: &str) -> Result<FileId, TypesetError> {
    let path = VirtualPath::new(name).map_err(|_| TypesetError { messages: vec![format!("no path: {name}")] })?;
    Ok(RootedPath::new(VirtualRoot::Project, path).intern())
}

/// Sets the sheets; `bound` puts a first page with the contents before them.
///
/// # Errors
/// What the typesetting library says; that is a mistake in this crate.
pub fn pdf(head: &Head, sheets: &[Sheet], size: PageSize, bound: bool) -> Result<Vec<u8>, TypesetError> {
    let document = document(head, sheets, size, bound)?;
    let title = title(head, sheets, bound);
    let options = PdfOptions {
        ident: Smart::Custom(title),
        creator: Smart::Custom(Some("Lampwise".to_owned())),
        ..PdfOptions::default()
    };
    let mut bytes = typst_pdf::pdf(&document, &options).map_err(|errors| failed(&errors))?;
    leave_unsaid(&mut bytes);
    Ok(bytes)
}

/// Blanks out an entry of the catalogue that says what holds without it (ISO 32000-1, table 321: `Suspects` is false
/// unless said otherwise), because readers built on poppler warn of it.
fn leave_unsaid(bytes: &mut [u8]) {
    const ENTRY: &[u8] = b"/MarkInfo<</Marked true/Suspects false>>";
    const SHORTER: &[u8] = b"/MarkInfo<</Marked true               >>";
    if let Some(at) = bytes.windows(ENTRY.len()).rposition(|part| part == ENTRY) {
        // As long as before: the file has a table of where things are.
        bytes[at..at + SHORTER.len()].copy_from_slice(SHORTER);
    }
}

/// How many pages the sheets take.
///
/// # Errors
/// As for [`pdf`].
pub fn page_count(head: &Head, sheets: &[Sheet], size: PageSize, bound: bool) -> Result<usize, TypesetError> {
    Ok(document(head, sheets, size, bound)?.pages().len())
}

/// The pages of a sheet one below the other, letters as outlines.
pub(super) fn pages_as_svg(head: &Head, sheet: &Sheet, size: PageSize) -> Result<String, TypesetError> {
    let document = document(head, std::slice::from_ref(sheet), size, false)?;
    Ok(typst_svg::svg_merged(&document, &typst_svg::SvgOptions::default(), Abs::zero()))
}

/// Sets the sheets; one with little on its last page is set in smaller letters where that saves the page.
fn document(head: &Head, sheets: &[Sheet], size: PageSize, bound: bool) -> Result<PagedDocument, TypesetError> {
    let usual = vec![1.0; sheets.len()];
    let mut document = set(head, sheets, &usual, size, bound)?;
    let smaller = sheets
        .par_iter()
        .map(|sheet| {
            let (pages, fill) = extent(&document, sheet, size).unwrap_or((1, 1.0));
            if sheet.one_page || pages < 2 || fill > LITTLE {
                return Ok(1.0);
            }
            // Letters take room across and down, so that little smaller ones can't save much.
            let before = (pages - 1) as f64;
            let enough = (before / (before + fill.max(0.0))).sqrt() + 0.02;
            for scale in SMALLER.into_iter().filter(|scale| *scale <= enough) {
                let alone = set(head, std::slice::from_ref(sheet), &[scale], size, false)?;
                if extent(&alone, sheet, size).is_some_and(|(now, _)| now < pages) {
                    return Ok(scale);
                }
            }
            Ok(1.0)
        })
        .collect::<Result<Vec<f64>, TypesetError>>()?;
    if smaller != usual {
        document = set(head, sheets, &smaller, size, bound)?;
    }
    // What is remembered from one document to the next is of no use here, and takes memory.
    typst::comemo::evict(0);
    Ok(document)
}

/// Share of a page's room: less than this on the last page of a sheet is little.
const LITTLE: f64 = 0.25;
/// Sizes of letters that are tried then, of the usual one. Smaller ones would be hard to read in a cabinet.
const SMALLER: [f64; 3] = [0.96, 0.92, 0.88];

/// How many pages a sheet takes, and the share of the last one that is filled.
fn extent(document: &PagedDocument, sheet: &Sheet, size: PageSize) -> Option<(usize, f64)> {
    let introspector = document.introspector();
    let place = |mark: &str| {
        let label = Label::new(PicoStr::intern(&format!("{mark}-{}", sheet.name)))?;
        introspector.position(introspector.query_label(label).ok()?.location()?)
    };
    let (begin, end) = (place("sheet")?, place("end")?);
    let paper = if sheet.landscape { size.across() } else { size };
    let room = paper.height - paper.top - paper.bottom;
    Some((end.page.get() + 1 - begin.page.get().min(end.page.get()), (end.point.y.to_pt() - paper.top) / room))
}

fn set(
    head: &Head,
    sheets: &[Sheet],
    scales: &[f64],
    size: PageSize,
    bound: bool,
) -> Result<PagedDocument, TypesetError> {
    let mut files = Vec::new();
    let mut sheets_data = Vec::new();
    for (sheet, scale) in sheets.iter().zip(scales) {
        let mut data = data_of(sheet, &mut files)?;
        data["scale"] = json!(scale);
        sheets_data.push(data);
    }
    let data = json!({
        "head": head,
        "title": title(head, sheets, bound),
        "bound": bound,
        "width": size.width,
        "height": size.height,
        "side": size.side,
        "top": size.top,
        "bottom": size.bottom,
        "sheets": sheets_data,
    });
    files.push((file_id("data.json")?, Bytes::from_string(data.to_string())));
    let desk = Desk { main: Source::new(file_id("page.typ")?, TEMPLATE.to_owned()), files };
    typst::compile::<PagedDocument>(&desk).output.map_err(|errors| failed(&errors))
}

fn title(head: &Head, sheets: &[Sheet], bound: bool) -> String {
    match sheets {
        [one] if !bound => format!("{}: {}", head.machine, one.title),
        _ => format!("{}: {}", head.machine, head.binder),
    }
}

/// A sheet as data; its drawings become files of their own.
fn data_of(sheet: &Sheet, files: &mut Vec<(FileId, Bytes)>) -> Result<Value, TypesetError> {
    let mut blocks = Vec::new();
    for block in &sheet.blocks {
        blocks.push(match block {
            Block::Drawing(drawing) => {
                let name = format!("drawing-{}.svg", files.len());
                files.push((file_id(&name)?, Bytes::from_string(drawing.svg_in_its_font())));
                let body = json!({
                    "file": name, "width": drawing.width, "height": drawing.height, "about": drawing.about,
                });
                json!({ "kind": "drawing", "body": body })
            }
            other => json!(other),
        });
    }
    Ok(json!({
        "name": sheet.name,
        "title": sheet.title,
        "about": sheet.about,
        "one_page": sheet.one_page,
        "landscape": sheet.landscape,
        "blocks": blocks,
    }))
}

fn failed(errors: &[SourceDiagnostic]) -> TypesetError {
    TypesetError { messages: errors.iter().map(|error| error.message.to_string()).collect() }
}
