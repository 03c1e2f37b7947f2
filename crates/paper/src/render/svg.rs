//! Sheets as SVG. What is drawn here (charts, time lines) is written with its texts as texts; a sheet
//! without drawings is its pages as they are printed, one below the other, with letters as outlines.

use crate::document::{Block, Sheet};
use crate::drawing::{Anchor, Drawing};
use crate::head::Head;
use crate::page::PageSize;

use super::TypesetError;
use super::pdf::pages_as_svg;

/// Space between the parts of a picture, points.
const GAP: f64 = 14.0;
/// Size of the letters of head and foot.
const SIZE: f64 = 10.0;

/// The sheet as one picture.
///
/// # Errors
/// As for [`pdf`](super::pdf::pdf).
pub fn svg(head: &Head, sheet: &Sheet, size: PageSize) -> Result<String, TypesetError> {
    let drawings: Vec<&Drawing> = sheet
        .blocks
        .iter()
        .filter_map(|block| match block {
            Block::Drawing(drawing) => Some(drawing),
            _ => None,
        })
        .collect();
    if drawings.is_empty() {
        return pages_as_svg(head, sheet, size);
    }
    Ok(stacked(head, sheet, &drawings, size).svg())
}

/// The drawings one below the other, with the head above and the foot below them.
fn stacked(head: &Head, sheet: &Sheet, drawings: &[&Drawing], size: PageSize) -> Drawing {
    let width = drawings.iter().map(|drawing| drawing.width).fold(size.room_across(), f64::max) + 2.0 * GAP;
    let mut picture = Drawing::new(format!("{}: {}", head.machine, sheet.title), width, 0.0);
    let mut y = GAP + SIZE;
    let line = |picture: &mut Drawing, y: &mut f64, bold: bool, text: &str| {
        for part in crate::font::lines(text, SIZE, bold, width - 2.0 * GAP) {
            picture.text(GAP, *y, SIZE, bold, Anchor::Start, part);
            *y += 1.3 * SIZE;
        }
    };
    line(&mut picture, &mut y, true, &format!("{}: {}", head.machine, sheet.title));
    line(&mut picture, &mut y, false, &head.file);
    line(&mut picture, &mut y, true, &head.safety);
    line(&mut picture, &mut y, false, &sheet.about);
    for drawing in drawings {
        picture.put(drawing, GAP, y);
        y += drawing.height + GAP;
    }
    picture.height = y;
    picture
}
