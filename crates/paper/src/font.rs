//! How wide texts are: the letters' own widths from the font that the pages are set in, so that
//! drawings can leave room for what is written in them.

use std::sync::LazyLock;

use ttf_parser::Face;

/// The family that all pages are set in; it comes with the typesetting library.
pub const FAMILY: &str = "Libertinus Serif";

/// Advance of a letter that the font does not have, in em.
const UNKNOWN: f64 = 0.65;

struct Faces {
    regular: Option<Face<'static>>,
    bold: Option<Face<'static>>,
}

static FACES: LazyLock<Faces> = LazyLock::new(|| {
    let mut faces = Faces { regular: None, bold: None };
    for data in typst_assets::fonts() {
        let Ok(face) = Face::parse(data, 0) else { continue };
        let family = face.names().into_iter().find(|name| name.name_id == ttf_parser::name_id::FAMILY);
        if face.is_italic() || family.and_then(|name| name.to_string()).as_deref() != Some(FAMILY) {
            continue;
        }
        match face.weight() {
            ttf_parser::Weight::Normal => faces.regular = Some(face),
            ttf_parser::Weight::Bold => faces.bold = Some(face),
            _ => {}
        }
    }
    faces
});

/// The width of a text set in this size, in the unit of the size.
pub fn width(text: &str, size: f64, bold: bool) -> f64 {
    let face = if bold { &FACES.bold } else { &FACES.regular };
    let em: f64 = text
        .chars()
        .map(|letter| {
            let Some(face) = face else { return UNKNOWN };
            let advance = face.glyph_index(letter).and_then(|glyph| face.glyph_hor_advance(glyph));
            advance.map_or(UNKNOWN, |advance| f64::from(advance) / f64::from(face.units_per_em()))
        })
        .sum();
    em * size
}

/// Breaks a text into lines that are at most so wide; a word that is wider is broken within.
pub fn lines(text: &str, size: f64, bold: bool, widest: f64) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    let mut line = String::new();
    // What belongs together is not broken apart.
    let breaks = |letter: char| letter.is_whitespace() && letter != '\u{a0}';
    for word in text.split(breaks).filter(|word| !word.is_empty()) {
        let longer = if line.is_empty() { word.to_owned() } else { format!("{line} {word}") };
        if width(&longer, size, bold) <= widest {
            line = longer;
            continue;
        }
        if !line.is_empty() {
            lines.push(std::mem::take(&mut line));
        }
        for letter in word.chars() {
            if !line.is_empty() && width(&format!("{line}{letter}"), size, bold) > widest {
                lines.push(std::mem::take(&mut line));
            }
            line.push(letter);
        }
    }
    if !line.is_empty() {
        lines.push(line);
    }
    lines
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bold_is_wider_and_all_letters_count() {
        assert!(FACES.regular.is_some() && FACES.bold.is_some());
        assert!(width("nozzle", 10.0, true) > width("nozzle", 10.0, false));
        assert!((width("XX", 10.0, false) - 2.0 * width("X", 10.0, false)).abs() < 1e-9);
    }

    #[test]
    fn the_font_has_every_sign_that_sheets_use() {
        for face in [&FACES.regular, &FACES.bold] {
            for sign in ['\u{2212}', '–', '→', '●', '○', '◐', '~', '«', '¿', 'ß'] {
                assert!(face.as_ref().is_some_and(|face| face.glyph_index(sign).is_some()), "{sign}");
            }
        }
    }

    #[test]
    fn lines_fit_and_nothing_is_lost() {
        let text = "the lid is bolted and a verylongwordthatdoesnotfitatall follows";
        let lines = lines(text, 8.0, false, 50.0);
        assert!(lines.iter().all(|line| width(line, 8.0, false) <= 50.0), "{lines:?}");
        let kept: String = lines.concat().split_whitespace().collect();
        assert_eq!(kept, text.split_whitespace().collect::<String>());
    }
}
